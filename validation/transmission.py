"""Shared by the silencer cases: loss in still air by the solver, and its distance from theory."""

import numpy as np
from marches import GAMMA, P0, R

import wavesim as ws

C = 343.2  # m/s, in all rows of the table of references
T = C**2 / (GAMMA * R)  # K
DENSITY = P0 / (R * T)  # kg/m3
FREQUENCY = np.arange(10.0, 1001.0, 10.0)  # Hz
HOT = {"gas": ws.EngineGas(), "temperature": 900.0}  # burned gas, as options of `computed`
GASES = {"air at 343.2 m/s": {}, "burned gas of 900 K": HOT}


def sound_speed(options):
    """Of the gas of one of `GASES` [m/s]."""
    return float(HOT["gas"].sound_speed(HOT["temperature"], 0.0, 1.0)) if options else C


def area(diameter):
    """Of a circle [m2]."""
    return 0.25 * np.pi * diameter**2


def computed(parts, frequencies=FREQUENCY, cell_length=0.01, **options):
    """Transmission loss [dB] in air at 343.2 m/s, or of the gas and temperature given."""
    options = {"temperature": T} | options
    result = ws.transmission_loss(
        parts, frequencies=frequencies, settings=ws.Settings(cell_length=cell_length), **options
    )
    if not result.quiet:
        raise RuntimeError("the response had not died away when the march ended")
    return result.loss


def peak(parts, around, cell_length=0.005, **options):
    """Frequency [Hz] of the largest loss within 5 % of a frequency, to 0.001 %."""
    for reach in (0.05, 0.0025, 0.000125):
        grid = around * (1.0 + reach * np.linspace(-1.0, 1.0, 40))
        around = grid[np.argmax(computed(parts, grid, cell_length, **options))]
    return around


def rms(a, b, keep=slice(None)):
    """Root mean square of the difference of two curves [dB]."""
    return float(np.sqrt(np.mean((a - b)[keep] ** 2)))


def worst(a, b, keep=slice(None)):
    """Largest difference of two curves [dB]."""
    return float(np.abs(a - b)[keep].max())


def draw_loss(ax, found, theory, title, label="computed", frequency=FREQUENCY,
              colour=ws.plots.COLOURS[0]):
    """A computed loss over the curve of linear theory."""
    first = not ax.lines
    ax.plot(frequency, theory, color=ws.plots.REFERENCE, lw=4.0, alpha=0.5,
            label="linear theory" if first else None)
    ax.plot(frequency, found, color=colour, lw=1.4, label=label)
    ax.set_title(title, loc="left")
    ax.set_ylabel("transmission loss [dB]")
    ax.set_ylim(bottom=0.0)
    ax.grid(color=ws.plots.FAINT)
    ax.legend(frameon=False)
