"""Pipes sound the notes of acoustics: three end conditions, three temperatures, mean flow.

A small pulse makes a pipe ring, and the peaks of the spectrum of its pressure are the notes.  They
are compared with the half and quarter waves of pipes with ideal ends (Kinsler et al. 2000, ch. 10),
of pipes longer by the end correction of Levine and Schwinger (1948) at 300, 600 and 900 K, and of a
pipe along which the temperature falls (rows AC-1 to AC-8).  With mean flow (AC-9, Munjal 2014) the
notes fall by 1 - M^2 and die away, because an inlet through which gas flows gives back less than it
gets: frequency and share kept per round trip are read from the ringing by the matrix pencil (Hua
and Sarkar 1990).
"""

from functools import cache

import numpy as np
from case_travel_times import cantera_sound_speed
from marches import AIR, C0, GAMMA, IDEAL, P0, R, cut, modes, outside
from references import reference, references
from suite import Case, Check

import wavesim as ws
from wavesim import exact

ENDS = ("closed-open", "open-open", "closed-closed")
CORRECTION = {  # over the radius, at low frequency
    "none": 0.0,
    "unflanged": reference("AC-6", "end_correction_published").value,
    "flanged": reference("AC-7", "end_correction_flanged").value,
}
BORE = 0.05  # m
WARMEST_AIR = 340.0  # that the description of an open end allows [K]


def pulse(length, T, fill, gamma, amplitude=1e-4):
    """Start state: a short pressure hump off the middle, so that all low modes sound."""

    def start(x):
        s = np.clip((x / length - 0.13) / 0.25, 0.0, 1.0)
        q = amplitude * np.sin(np.pi * s) ** 2
        return P0 * (1.0 + q), 0.0 * x, T * (1.0 + q) ** ((gamma - 1.0) / gamma), fill

    return start


def sounding_modes(
    ends, radiation, gas, T, fill, length=0.75, diameter=BORE, cells=50, count=3, probe=0.04
):
    """First frequencies found in the march and those of theory [Hz], (count,) each.

    Theory lengthens the pipe by the end correction of low frequency.  The air outside is as warm
    as the pipe, or as warm as the describing class allows.  `probe` is a share of the length.
    """
    air = outside(P0, min(T, WARMEST_AIR))

    def end(at, kind):
        if kind == "closed":
            return ws.ClosedEnd(at)
        return ws.OpenEnd(at, radiation=radiation, ambient=air)

    first, last = ends.split("-")
    net = ws.Network(
        {"d": ws.Pipe(length, diameter, cell_length=length / cells)},
        {"first": end("d.start", first), "last": end("d.end", last)},
    )
    yb = 1.0 if fill == "burned" else 0.0
    gamma, c = float(gas.gamma(T, 0.0, yb)), float(gas.sound_speed(T, 0.0, yb))
    theory = exact.pipe_modes(length, ends, count, c, 0.5 * CORRECTION[radiation] * diameter)
    duration = 20.0 / theory[0]
    result = ws.simulate(
        net, duration, gas=gas, settings=IDEAL, samples=int(duration * theory[-1] * 12.0),
        initial={"d": pulse(length, T, fill, gamma)},
    )
    trace = result.trace("pressure", "d", probe * length)
    settled = len(trace.x) // 20
    return modes(trace.values[settled:] / P0, trace.x[1], theory), theory


def closed_pipe(start, length, settings=IDEAL, gas=AIR, cells=50, open_end=None, periods=30):
    """Pressure trace at a closed end of a pipe, (n,) [1], and its time step [s]."""
    last = open_end or ws.ClosedEnd("d.end")
    net = ws.Network(
        {"d": ws.Pipe(length, BORE, cell_length=length / cells)},
        {"wall": ws.ClosedEnd("d.start"), "end": last},
    )
    duration = 2.0 * periods * length / C0
    result = ws.simulate(
        net, duration, gas=gas, settings=settings, samples=100 * periods, initial={"d": start}
    )
    trace = result.trace("pressure", "wall")
    return trace.values[100:] / P0, trace.x[1]


GRADIENT_ROWS = [row for row in references("AC-5") if row.quantity.startswith("mode")]


@cache
def gradient_notes():
    """Frequencies [Hz] of the rows AC-5: 900 K at the closed end, 500 K at the open end."""
    given = GRADIENT_ROWS[0].case
    length = given["length"]

    def start(x):
        T = given["T_closed"] + (given["T_open"] - given["T_closed"]) * x / length
        q = 1e-4 * np.sin(np.pi * np.clip((x / length - 0.1) / 0.3, 0.0, 1.0)) ** 2
        return P0 * (1.0 + q), 0.0 * x, T * (1.0 + q) ** (0.4 / 1.4), "air"

    air = ws.OpenEnd("d.end", radiation="none", ambient=outside(P0, WARMEST_AIR))
    signal, dt = closed_pipe(start, length, cells=100, open_end=air)
    return modes(signal, dt, [row.value for row in GRADIENT_ROWS])


def radiating_modes(length, ends, count, c, radius):
    """Frequencies [Hz] of a pipe whose open ends have the end correction of their own frequency."""
    found = exact.pipe_modes(length, ends, count, c)
    for _ in range(4):  # each step changes the note by a thousandth of what the last one did
        corrections = [exact.levine_schwinger(2.0 * np.pi * f / c * radius).correction * radius
                       for f in found]
        found = np.array([
            exact.pipe_modes(length, ends, count, c, extra)[n]
            for n, extra in enumerate(corrections)
        ])
    return found


# mean flow ----------------------------------------------------------------------------------------

FLOW_ROWS = references("AC-9")
INLETS = {"choked": "closed-open", "open": "open-open"}  # and the pipe that sounds like it
SUPPLY = 3e5  # pressure before a choked inlet [Pa]


def kept_share(inlet, mach, gamma=GAMMA):
    """Size of the reflection at an inlet through which gas flows at `mach`; an exit keeps all.

    Open: energy and entropy of the air outside are given, p' + rho u u' = 0.  Choked: its mass
    flow and energy are given, rho'/rho + u'/u = 0 and cp T' + u u' = 0, from which
    p'/p = -(1 + (gamma - 1) M^2) u'/u.
    """
    if inlet == "open":
        return (1.0 - mach) / (1.0 + mach)
    stiff, soft = 1.0 + (gamma - 1.0) * mach**2, gamma * mach
    return (stiff - soft) / (stiff + soft)


def ringing(signal, dt, rank=16):
    """Frequencies [Hz] and growth rates [1/s] in a signal, by the matrix pencil."""
    windows = np.lib.stride_tricks.sliding_window_view(signal, len(signal) // 3)
    strongest = np.linalg.svd(windows, full_matrices=False)[2][:rank].T
    steps = np.linalg.eigvals(np.linalg.pinv(strongest[:-1]) @ strongest[1:])
    rates = np.log(steps) / dt
    return rates.imag / (2.0 * np.pi), rates.real


@cache
def flowing_notes(inlet, mach, cells=50):
    """First two frequencies [Hz] and shares kept per round trip of a pipe with mean flow.

    The march starts in the steady flow with a small standing wave of the first mode.
    """
    length, c = (FLOW_ROWS[0].case[name] for name in ("length", "c"))
    T, heat = c * c / (GAMMA * R), 1.0 + 0.5 * (GAMMA - 1.0) * mach**2
    supply = SUPPLY if inlet == "choked" else P0 * heat ** (GAMMA / (GAMMA - 1.0))
    throat = BORE
    if inlet == "choked":
        flux = GAMMA * P0 * mach / c
        throat *= np.sqrt(flux / exact.choked_flux(supply, T * heat, GAMMA, R))
    net = ws.Network(
        {"d": ws.Pipe(length, BORE, cell_length=length / cells)},
        {"in": ws.OpenEnd("d.start", radiation="none", entry_loss=0.0, diameter=throat,
                          ambient=outside(supply, T * heat)),
         "out": cut("d.end")},
    )

    def start(x):
        quarter = 0.5 * np.pi * x / length
        q = 1e-4 * (np.cos(quarter) if inlet == "choked" else np.sin(2.0 * quarter))
        return P0 * (1.0 + q), mach * c + 0.0 * x, T * (1.0 + q) ** (0.4 / 1.4), "air"

    trip = 2.0 * length / (c * (1.0 - mach**2))
    result = ws.simulate(
        net, 4.0 * trip, gas=AIR, settings=IDEAL, samples=400, initial={"d": start}
    )
    trace = result.trace("pressure", "d", (0.05 if inlet == "choked" else 0.3) * length)
    f, rate = ringing(trace.values[40:] / P0 - 1.0, trace.x[1])
    theory = exact.pipe_modes(length, INLETS[inlet], 2, c, mach=mach)
    nearest = [int(np.argmin(np.abs(f - note))) for note in theory]
    return f[nearest], np.exp(rate[nearest] * trip), theory


# checks -------------------------------------------------------------------------------------------

TEMPERATURES = (300.0, 600.0, 900.0)
PIPE = 0.75  # length of the pipes with radiating ends [m]
LOW_MACHS = (0.1, 0.2, 0.3)
IDEAL_ROWS = ("AC-1", "AC-2", "AC-3")  # in the order of ENDS
LEVINE = "Kinsler et al. 2000, ch. 10; end correction of Levine and Schwinger 1948 by quadrature"
FLOW_NOTE = "travel time along and against the flow, Munjal 2014, ch. 2"
FLOW_LOSS = {
    "choked": "linear mass and energy balance of a choked inlet, see `kept_share`",
    "open": "linear energy balance of an open inlet, see `kept_share`; cf. Ingard and Singhal, "
            "J. Acoust. Soc. Am. 58 (1975)",
}


def warmth(c, gamma=GAMMA):
    """Temperature [K] at which the perfect gas has the sound speed c [m/s]."""
    return c * c / (gamma * R)


def _ideal_checks():
    for id, ends in zip(IDEAL_ROWS, ENDS, strict=True):
        rows = references(id)
        length, c = rows[0].case["length"], rows[0].case["c"]
        found, _ = sounding_modes(
            ends, "none", AIR, warmth(c), "air", length, count=len(rows), probe=0.15
        )
        for f, row in zip(found, rows, strict=True):
            yield Check(
                f"{ends} pipe of {length:g} m, ideal ends, c = {c:g} m/s, "
                f"note {row.case['mode']:.0f}",
                f, row.value, "0.02 %", row.source,
                "The peak of a spectrum over twenty periods is placed within 0.01 %, and fifty "
                "cells carry four half waves without more delay than that.",
                row.unit,
            )


@cache
def warm_notes(ends, T):
    """First three frequencies [Hz] of a pipe with free ends, found and by theory."""
    found, _ = sounding_modes(ends, "unflanged", AIR, T, "air", PIPE, probe=0.15)
    c = exact.sound_speed(T, GAMMA, R)
    return found, radiating_modes(PIPE, ends, 3, c, 0.5 * BORE)


def _warm_checks():
    for T in TEMPERATURES:
        for ends in ENDS:
            found, theory = warm_notes(ends, T)
            for n in (0, 2):
                yield Check(
                    f"{ends} pipe of {PIPE:g} m, air at {T:g} K, note {n + 1}",
                    found[n], theory[n], "0.06 %", LEVINE,
                    "The end correction adds 2 % of length at each open end and its model follows "
                    "theory within 0.6 %: 0.02 % of the note for two ends, and as much again for "
                    "the limiter and the reading.",
                    "Hz",
                )


def _correction_checks():
    rows = references("AC-8")
    for (radiation, _), row in zip(CORRECTION.items(), rows, strict=True):
        length, radius, c = (row.case[name] for name in ("length", "radius", "c"))
        found, _ = sounding_modes(
            "closed-open", radiation, AIR, warmth(c), "air", length, 2.0 * radius, probe=0.15
        )
        yield Check(
            f"closed-open pipe of {length:g} m, end correction {row.case['correction']:g} radii, "
            "note 1",
            found[0], row.value, "0.01 %", row.source,
            "The lowest note needs the correction at low frequency only, where the model of the "
            "end is exact; 0.01 % is half a per cent of the correction.",
            row.unit,
        )


def _gradient_checks():
    for f, row in zip(gradient_notes(), GRADIENT_ROWS, strict=True):
        yield Check(
            f"closed-open pipe, 900 K falling to 500 K, note {row.quantity[-1]}", f, row.value,
            "0.05 %", row.source,
            "A hundred cells follow the temperature; the travel time alone, which knows nothing of "
            "the waves that a gradient sends back, would be 6 % too high.",
            row.unit,
        )


def _burned_checks():
    gas, T = ws.EngineGas(), 900.0
    c = cantera_sound_speed(gas, T, "burned")
    for ends in ENDS[:2]:
        found, _ = sounding_modes(ends, "unflanged", gas, T, "burned", PIPE, probe=0.15)
        yield Check(
            f"{ends} pipe of {PIPE:g} m, burned gas at {T:g} K, note 1", found[0],
            radiating_modes(PIPE, ends, 1, c, 0.5 * BORE)[0], "0.1 %",
            "Kinsler et al. 2000, ch. 10; sound speed by cantera",
            "The fitted heat capacity is good to 0.5 %, which moves sound speed and note by less "
            "than 0.1 %.",
            "Hz",
        )


def _flow_checks():
    for inlet, ends in INLETS.items():
        for mach in LOW_MACHS:
            found, kept, theory = flowing_notes(inlet, mach)
            flow = f"{inlet} inlet and open exit, Mach {mach:g}"
            for n in (0, 1):
                yield Check(
                    f"{flow}, note {n + 1}", found[n],
                    reference("AC-9", "frequency", mach=mach).value
                    if ends == "closed-open" and n == 0 else theory[n],
                    "0.1 %", FLOW_ROWS[0].source if ends == "closed-open" else FLOW_NOTE,
                    "A note that loses up to half of its height per round trip is read over four "
                    "of them to some parts in ten thousand.",
                    "Hz",
                )
            yield Check(
                f"{flow}, height that note 1 keeps per round trip", kept[0],
                kept_share(inlet, mach), "0.2 %", FLOW_LOSS[inlet],
                "The scheme takes less than a thousandth from a wave of a hundred cells; an inlet "
                "that reflected as without flow would be off by a fifth and more.",
            )


LIMIT = (
    "The mean flow of AC-9 has a fixed velocity at its inlet. No part of an engine does that; a "
    "choked hole fixes the mass flow instead. Both reflect with a real coefficient, so that the "
    "notes are the same and only the ringing dies away sooner."
)


# figure -------------------------------------------------------------------------------------------


def _draw_warm(ax):
    T = np.linspace(280.0, 920.0, 40)
    for i, (ends, style) in enumerate(zip(ENDS, ("-", "--", ":"), strict=True)):
        for n in (0, 2):
            theory = warm_notes(ends, 300.0)[1][n] * np.sqrt(T / 300.0)  # at one wave length
            ax.plot(T, theory, style, color=ws.plots.REFERENCE,
                    label=f"theory, {ends}" if n == 0 else None)
            ax.plot(TEMPERATURES, [warm_notes(ends, t)[0][n] for t in TEMPERATURES],
                    ws.plots.MARKERS[i], mfc="none" if n else None, color=ws.plots.COLOURS[i],
                    label=f"marched, {ends}, note {n + 1}")
    ax.set_title(f"Pipe of {PIPE:g} m with free ends, still air", loc="left")
    ax.set_xlabel("temperature [K]")
    ax.set_ylabel("frequency [Hz]")


def _draw_flow(ax, height):
    mach = np.linspace(0.0, 0.32, 50)
    length, c = (FLOW_ROWS[0].case[name] for name in ("length", "c"))
    for i, (inlet, ends) in enumerate(INLETS.items()):
        found = [flowing_notes(inlet, m) for m in LOW_MACHS]
        if height:
            theory, marks = [kept_share(inlet, m) for m in mach], [kept[0] for _, kept, _ in found]
        else:
            theory = [exact.pipe_modes(length, ends, 1, c, mach=m)[0] for m in mach]
            marks = [f[0] for f, _, _ in found]
        ax.plot(mach, theory, ("-", "--")[i], color=ws.plots.REFERENCE,
                label=f"theory, {inlet} inlet")
        ax.plot(LOW_MACHS, marks, ws.plots.MARKERS[i], color=ws.plots.COLOURS[i],
                label=f"marched, {inlet} inlet")
    ax.set_xlabel("Mach number of the flow [-]")
    ax.set_ylabel("share of height [-]" if height else "frequency [Hz]")
    title = "Height that note 1 keeps per round trip" if height else "Note 1"
    ax.set_title(f"{title}, pipe of {length:g} m with mean flow", loc="left")
    ax.set_ylim(bottom=0.0)


def draw():
    """Notes against temperature, and notes and their decay against mean flow."""
    axes = ws.plots.new_axes(3, width=9.5, height=3.0)
    _draw_warm(axes[0])
    _draw_flow(axes[1], height=False)
    _draw_flow(axes[2], height=True)
    for ax in axes:
        ax.legend(frameon=False, loc="center left", bbox_to_anchor=(1.0, 0.5), fontsize=9)
    return axes


def run():
    """Notes of all pipes, the decay with mean flow, and the figure."""
    checks = (*_ideal_checks(), *_warm_checks(), *_correction_checks(), *_gradient_checks(),
              *_burned_checks(), *_flow_checks())
    return Case(checks, draw(), (LIMIT,))
