"""Gas exchange of a cycle: pressure and gas while the valves overlap, and the parts of pumping.

Everything is read off the samples of the last cycle by straight lines from sample to sample; the
work of whole strokes is that which the march has summed up step by step.  Angles are those of each
cylinder, 0 at its firing dead centre; a valve opens and closes at the lift at which all events of a
point hold, the smaller of the two checking lifts.
"""

from dataclasses import replace
from typing import NamedTuple

import numpy as np

EXPANSION_END, EXHAUST_END, INTAKE_END = 180.0, 360.0, 540.0  # dead centres [deg]


class Events(NamedTuple):
    """Valve events of a cylinder, own crank angle [deg]."""

    exhaust_opens: float
    exhaust_closes: float
    intake_opens: float
    intake_closes: float

    @property
    def overlap(self):
        """Start and stop of the overlap, or None if the valves are never open together."""
        window = self.intake_opens, self.exhaust_closes
        return window if window[0] < window[1] else None

    @property
    def shut(self):
        """Start and stop of the time between exhaust closing and intake opening, or None."""
        window = self.exhaust_closes, self.intake_opens
        return window if window[0] < window[1] else None


def exchange_of(samples, valves, events, work, outside):
    """Amounts of the gas exchange by cylinder, under the names of `CYLINDERS`.

    Parameters
    ----------
    samples : Samples
        Of one cycle against crank angle.
    valves : sequence of (str, str)
        Names of the exhaust and the intake valve of each cylinder.
    events : Events
    work : ndarray, (n_cyl, 4)
        Work of the gas in the four strokes [J].
    outside : float
        Pressure of the air that the engine breathes [Pa]; pumping work counts against it.

    Returns
    -------
    dict of ndarray, each (n_cyl,)
        NaN for what needs an overlap where there is none.
    """
    found = [
        _overlap(samples, n, *names, events)
        | _pumping(samples, n, events, strokes, outside)
        | {"blowdown_work": _blowdown(samples, n, events)}
        for n, (names, strokes) in enumerate(zip(valves, work, strict=True), start=1)
    ]
    return {name: np.array([one[name] for one in found]) for name in found[0]}


def _overlap(samples, number, exhaust, intake, events):
    """What the valves of one cylinder see while both are open."""
    names = ("overlap_exhaust_pressure", "overlap_pressure_difference",
             "overlap_lowest_pressure", "overlap_lowest_angle",
             "overlap_highest_pressure", "overlap_highest_angle")
    if events.overlap is None:
        return dict.fromkeys(names, np.nan) | {
            "overlap_exhaust_backflow": 0.0, "overlap_intake_backflow": 0.0,
        }
    window, middle = events.overlap, 0.5 * sum(events.overlap)
    behind, before = (samples.trace("pressure", at).own_angle(number) for at in (exhaust, intake))
    lowest, highest = behind.lowest(*window), behind.highest(*window)
    mean = behind.mean(*window)
    values = (mean, before.mean(*window) - mean, lowest.value, lowest.x - middle,
              highest.value, highest.x - middle)
    return dict(zip(names, values, strict=True)) | {
        "overlap_exhaust_backflow": _passed(samples, exhaust, number, window, 1.0),
        "overlap_intake_backflow": _passed(samples, intake, number, window, -1.0),
    }


def _passed(samples, valve, number, window, sign):
    """Mass that passes a valve in a window the way of `sign`, +1 out of the duct [kg]."""
    flow = samples.trace("mass_flow", valve).own_angle(number)
    x, y = flow.x, sign * flow.values
    turns = np.flatnonzero(y[:-1] * y[1:] < 0.0)  # between this sample and the next
    zeros = x[turns] + (x[turns + 1] - x[turns]) * y[turns] / (y[turns] - y[turns + 1])
    x, y = np.insert(x, turns + 1, zeros), np.insert(y, turns + 1, 0.0)
    return replace(flow, x=x, values=np.maximum(0.0, y)).integral(*window)


def _loop(samples, number):
    """Pressure and volume of a cylinder against its own angle."""
    place = f"cylinder {number}"
    return tuple(samples.trace(name, place).own_angle(number) for name in ("pressure", "volume"))


def _at(trace, angle):
    return float(np.interp(angle, trace.x, trace.values, period=720.0))


def _pumping(samples, number, events, work, outside):
    """Work of the piston on the gas against the pressure outside, by its parts [J]."""
    pressure, volume = _loop(samples, number)
    gauge = replace(pressure, values=pressure.values - outside)

    def shut_between(start, stop):  # the part of a stroke in which no valve is open
        if events.shut is None:
            return 0.0
        first, last = max(events.shut[0], start), min(events.shut[1], stop)
        return -gauge.integral(first, last, over=volume) if first < last else 0.0

    strokes = {"exhaust": (EXPANSION_END, EXHAUST_END, work[1]),
               "intake": (EXHAUST_END, INTAKE_END, work[2])}
    parts = {}
    for name, (start, stop, done) in strokes.items():
        filled = _at(volume, stop) - _at(volume, start)
        shut = shut_between(start, stop)
        parts[f"pumping_{name}"] = outside * filled - done - shut
        parts["pumping_recompression"] = parts.get("pumping_recompression", 0.0) + shut
    return parts


def _blowdown(samples, number, events):
    """Work that an expansion without loss to the end of the stroke would have given more [J]."""
    opens = events.exhaust_opens
    if opens >= EXPANSION_END:
        return 0.0
    pressure, volume = _loop(samples, number)
    gamma = _at(samples.trace("gamma", f"cylinder {number}").own_angle(number), opens)
    start, stop = _at(volume, opens), _at(volume, EXPANSION_END)
    kept = _at(pressure, opens) * start * (1.0 - (start / stop) ** (gamma - 1.0)) / (gamma - 1.0)
    return kept - pressure.integral(opens, EXPANSION_END, over=volume)
