"""Conical taper: reflected pulse, transmission loss and modes against spherical waves.

In a cone the wave equation of the cross-section has exact solutions, sound of an apex over the
distance from it (Munjal 2014, ch. 2; Fletcher and Rossing 1998, ch. 8; from memory).  A small pulse
of some 1.5 ms runs into tapers between two pipes, cells of 5 mm: compared are the wave that comes
back, in time and as a reflection coefficient, and the transmission loss to 1 kHz.  Cones closed at
one end and open at the other, 50 cells long, must sound the modes tan kL = -k r (open at the wide
end) and tan kL = k r (open at the narrow end), r being the distance of the closed end from the
apex.
"""

from functools import cache
from typing import NamedTuple

import numpy as np
from marches import AIR, C0, GAMMA, IDEAL, P0, T0, cut, endless, modes
from scipy.optimize import brentq
from suite import Case, Check
from transmission import FREQUENCY, C, area, computed, rms

import wavesim as ws

NARROW, WIDE = 0.04, 0.08  # m, bores of all tapers
LENGTHS = (0.1, 0.3, 0.6)  # m
CELL = 0.005  # m
AMPLITUDE = 1e-4  # of the pressure at rest
WIDTH = 0.1  # standard deviation of the pulse [m]
BEFORE, BEHIND = 2.0, 0.5  # m, pipes at both ends of the taper
CENTRE = BEFORE - 5.0 * WIDTH  # of the pulse at the start [m]
TONES = (100.0, 200.0, 400.0)  # Hz
MUNJAL = "Munjal, Acoustics of Ducts and Mufflers, 2nd ed. 2014, ch. 2 (spherical waves)"
FLETCHER = "Fletcher and Rossing, The Physics of Musical Instruments, 2nd ed. 1998, ch. 8"


def cone(k, length, first, last):
    """Matrices (n, 2, 2) that give (p, rho c times volume velocity) at the first end of a cone from
    those at its last; `k` [1/m] (n,), bores of the ends [m].

    p = (A exp(-jkr) + B exp(jkr))/r, rho c v = j p'/k, with r negative where the cone narrows.
    """
    apex = first * length / (last - first)

    def basis(r, section):
        there, back = np.exp(-1j * k * r) / r, np.exp(1j * k * r) / r
        slopes = -(1j * k + 1.0 / r) * there, (1j * k - 1.0 / r) * back
        return np.moveaxis(
            np.array([[there, back], [1j * section * slope / k for slope in slopes]]), -1, 0
        )

    return basis(apex, area(first)) @ np.linalg.inv(basis(apex + length, area(last)))


def loss(k, length, first, last):
    """Transmission loss of a taper between endless pipes [dB]."""
    (a, b), (c, d) = np.moveaxis(cone(k, length, first, last), 0, -1)
    inlet, outlet = area(first), area(last)
    ratio = 0.5 * (a + b * outlet + c / inlet + d * outlet / inlet)
    return 20.0 * np.log10(np.abs(ratio)) + 10.0 * np.log10(inlet / outlet)


def reflection(k, length, first, last):
    """Pressure reflection coefficient (complex) at the start of a taper into an endless pipe."""
    (a, b), (c, d) = np.moveaxis(cone(k, length, first, last), 0, -1)
    impedance = area(first) * (a + b * area(last)) / (c + d * area(last))
    return (impedance - 1.0) / (impedance + 1.0)


class Echo(NamedTuple):
    """Wave that comes back from a taper, at the far end of the pipe, over the incident peak."""

    time: np.ndarray  # s, from the moment at which the pulse stood at `CENTRE`
    wave: np.ndarray
    theory: np.ndarray

    def tones(self):
        """Reflection coefficients at `TONES` over those of theory (complex)."""
        turn = np.exp(-2j * np.pi * np.outer(TONES, self.time))
        return (turn @ self.wave) / (turn @ self.theory)

    def peak(self, name):
        """Value of the largest swing of the wave or of its theory."""
        wave = getattr(self, name)
        return wave[np.argmax(np.abs(wave))]


def pulse(x):
    """State of the gas in which the pulse stands at `CENTRE`, running to the end."""
    q = AMPLITUDE * np.exp(-0.5 * ((x - CENTRE) / WIDTH) ** 2)
    return P0 * (1.0 + q), q * C0 / GAMMA, T0 * (1.0 + q) ** (0.4 / 1.4), "air"


def echo_of_theory(time, reflected):
    """Echo of the same pulse by a reflection coefficient, a function of k, by a Fourier sum."""
    step, n = time[1], 16 * len(time)
    k = 2.0 * np.pi * np.fft.rfftfreq(n, step) / C0
    k[0] = 1e-6  # the cone has no closed form at rest
    sent = np.sqrt(2.0 * np.pi) * WIDTH / (C0 * step) * np.exp(-0.5 * (k * WIDTH) ** 2)
    way = np.exp(-1j * k * (2.0 * BEFORE - CENTRE))
    return np.fft.irfft(sent * way * reflected(k), n)[: len(time)]


def caught(trace, reflected):
    """`Echo` in the pressure trace of the far end, beside that of a reflection coefficient."""
    wave = (trace.values / P0 - 1.0) / AMPLITUDE
    return Echo(trace.x, wave, echo_of_theory(trace.x, reflected))


@cache
def echo(length, first=NARROW, last=WIDE):
    """March a pulse into a taper and catch what comes back."""
    pipes = (ws.Pipe(BEFORE, first), ws.Pipe(length, first, end_diameter=last),
             ws.Pipe(BEHIND, last))
    net = ws.Network(
        {"line": ws.Duct(parts=tuple(pipe.replace(cell_length=CELL) for pipe in pipes))},
        {"back": endless("line.start"), "away": endless("line.end")},
    )

    duration = (2.0 * (BEFORE + length) - CENTRE + 6.0 * WIDTH) / C0
    trace = ws.simulate(
        net, duration, gas=AIR, settings=IDEAL, initial={"line": pulse}, samples=2000
    ).trace("pressure", "back")
    return caught(trace, lambda k: reflection(k, length, first, last))


CONES = {  # bores at the closed and at the open end [m]
    "closed at the narrow end": (0.03, 0.06),
    "closed at the wide end": (0.06, 0.03),
}
CONE_LENGTH = 0.75  # m


def cone_modes(closed, opened, count=3):
    """Lowest modes of a cone closed at one end, with no pressure at the other [Hz]."""
    distance = closed / (opened - closed)  # of the closed end from the apex, over the length

    def excess(z):
        return np.sin(z) + z * distance * np.cos(z)

    grid = np.linspace(1e-3, (count + 1) * np.pi, 1000)
    signs = np.flatnonzero(np.diff(np.sign(excess(grid))))
    turns = [brentq(excess, grid[i], grid[i + 1]) for i in signs[:count]]
    return np.array(turns) * C0 / (2.0 * np.pi * CONE_LENGTH)


def sounding_modes(closed, opened, cells=50):
    """The same as the march sounds them [Hz]."""
    theory = cone_modes(closed, opened)
    net = ws.Network(
        {"d": ws.Pipe(CONE_LENGTH, closed, end_diameter=opened, cell_length=CONE_LENGTH / cells)},
        {"wall": ws.ClosedEnd("d.start"), "mouth": cut("d.end")},
    )

    def start(x):
        q = AMPLITUDE * np.sin(np.pi * np.clip((x / CONE_LENGTH - 0.13) / 0.25, 0.0, 1.0)) ** 2
        return P0 * (1.0 + q), 0.0 * x, T0 * (1.0 + q) ** (0.4 / 1.4), "air"

    duration = 20.0 / theory[0]
    trace = ws.simulate(
        net, duration, gas=AIR, settings=IDEAL, initial={"d": start},
        samples=int(12.0 * duration * theory[-1]),
    ).trace("pressure", "wall")
    settled = len(trace.x) // 20
    return modes(trace.values[settled:] / P0, trace.x[1], theory)


TAPERS = [(length, *bores) for length in LENGTHS for bores in ((NARROW, WIDE), (WIDE, NARROW))]
_COARSE = (
    "At the narrow end of the short taper the area changes by 10 % from cell to cell; the error is "
    "of second order, and the square of 10 % is 1 %."
)
_FINE = (
    "The area changes by at most 3.3 % from cell to cell, whose square is 0.1 %; as much again is "
    "left to the pulse, 20 cells in a standard deviation."
)
_LOSS = (
    "A reflection of 0.6 that is off by 1 % in the short taper and by 0.2 % in the others moves "
    "the loss by 0.05 and 0.01 dB."
)
_MODE = (
    "A quarter wave of the third mode has 10 cells, a phase error of second order of 0.1 %, and "
    "spectra of 20 periods tell frequencies apart to less."
)


def _name(length, first, last):
    return f"taper {1e3 * first:.0f} to {1e3 * last:.0f} mm, {1e3 * length:.0f} mm long"


def _echo_checks():
    for taper in TAPERS:
        bound = ("1 %", _COARSE) if taper[0] == LENGTHS[0] else ("0.2 %", _FINE)
        found = echo(*taper)
        yield Check(f"{_name(*taper)}: peak of the wave that comes back over the incident peak",
                    found.peak("wave"), found.peak("theory"), bound[0], MUNJAL, bound[1])
        k = 2.0 * np.pi * np.array(TONES) / C0
        sizes = np.abs(reflection(k, *taper))
        for tone, size, ours in zip(TONES, sizes, np.abs(found.tones()) * sizes, strict=True):
            yield Check(f"{_name(*taper)}: size of the reflection at {tone:.0f} Hz", ours, size,
                        bound[0], MUNJAL, bound[1])


def _loss_checks():
    for length, first, last in TAPERS:
        pipe = ws.Pipe(length, first, end_diameter=last)
        off = rms(computed(pipe, cell_length=CELL),
                  loss(2.0 * np.pi * FREQUENCY / C, length, first, last))
        yield Check(f"{_name(length, first, last)}: rms error of the loss, 10 to 1000 Hz", off, 0.0,
                    "0.05 abs" if length == LENGTHS[0] else "0.01 abs", MUNJAL, _LOSS, "dB")


def _mode_checks():
    for name, bores in CONES.items():
        pairs = zip(sounding_modes(*bores), cone_modes(*bores), strict=True)
        for n, (ours, theory) in enumerate(pairs, start=1):
            yield Check(f"cone of {CONE_LENGTH:g} m, {name}: mode {n}", ours, theory, "0.1 %",
                        FLETCHER, _MODE, "Hz")


def draw():
    """Waves that come back from tapers, and the size of the reflection against frequency."""
    axes = ws.plots.new_axes(2, height=3.6)
    frequency = np.linspace(5.0, 600.0, 300)
    for length, colour in zip(LENGTHS, ws.plots.COLOURS, strict=False):
        found, name = echo(length), f"{1e3 * length:.0f} mm long"
        k = 2.0 * np.pi * np.array(TONES) / C0
        axes[0].plot(1e3 * found.time, found.theory, color=ws.plots.REFERENCE, lw=4.0, alpha=0.4)
        axes[0].plot(1e3 * found.time, found.wave, color=colour, lw=1.4, label=name)
        axes[1].plot(frequency, np.abs(reflection(2.0 * np.pi * frequency / C0, length, NARROW,
                                                  WIDE)), color=ws.plots.REFERENCE)
        axes[1].plot(TONES, np.abs(found.tones() * reflection(k, length, NARROW, WIDE)), "o",
                     color=colour, label=name)
    step = (NARROW**2 - WIDE**2) / (NARROW**2 + WIDE**2)
    axes[0].axhline(step, color=ws.plots.REFERENCE, ls=":", label="peak from an abrupt step")
    axes[1].axhline(-step, color=ws.plots.REFERENCE, ls=":")
    axes[0].set(xlabel="time [ms]", ylabel="returning over incident peak", xlim=(5.5, 13.0))
    axes[0].set_title("tapers from 40 to 80 mm (grey: theory)", loc="left")
    axes[1].set(xlabel="frequency [Hz]", ylabel="size of the reflection", ylim=(0.0, 0.65))
    for ax in axes:
        ax.grid(color=ws.plots.FAINT)
    axes[0].legend(frameon=False)
    return axes


def run():
    """Echoes, transmission losses and modes of cones."""
    return Case((*_echo_checks(), *_loss_checks(), *_mode_checks()), draw())
