"""Gas exchange of a cycle: pressure and gas while the valves overlap, and the parts of pumping.

Everything is read off the samples of the last cycle by straight lines from sample to sample; the
work of whole strokes is that which the march has summed up step by step.  Angles are those of each
cylinder, 0 at its firing dead centre; a valve opens and closes at the lift at which all events of a
point hold, the smaller of the two checking lifts.
"""

from typing import NamedTuple

import numpy as np

from wavesim.descriptions.engine import CYCLE_DEG

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
    found = []
    for number, (exhaust, intake) in enumerate(valves, start=1):
        own = _Own(samples, number)
        found.append(
            _overlap(own, exhaust, intake, events)
            | _pumping(own, events, work[number - 1], outside)
            | {"blowdown_work": _blowdown(own, events)}
        )
    return {name: np.array([one[name] for one in found]) for name in found[0]}


class _Own:
    """Samples of one cycle against the own angle of a cylinder, a sample longer at both ends."""

    def __init__(self, samples, number):
        self.samples, self.place = samples, f"cylinder {number}"
        angle = (samples.x - samples.layout["firing_angles_deg"][number - 1]) % CYCLE_DEG
        order = np.argsort(angle, kind="stable")
        self.order = np.concatenate((order[-1:], order, order[:1]))
        self.x = angle[self.order]
        self.x[0] -= CYCLE_DEG
        self.x[-1] += CYCLE_DEG
        self.pressure, self.volume = self("pressure", self.place), self("volume", self.place)

    def __call__(self, quantity, at):
        """A quantity at a place."""
        return self.samples.trace(quantity, at).values[self.order]

    def at(self, angle, values):
        """Value at an angle, on straight lines between the samples."""
        return float(np.interp(angle, self.x, values))

    def window(self, start, stop, values):
        """Corners of the straight lines from one angle to another."""
        inside = slice(self.x.searchsorted(start, "right"), self.x.searchsorted(stop))
        ends = np.interp((start, stop), self.x, values)
        return np.concatenate((ends[:1], values[inside], ends[1:]))

    def work(self, start, stop, gauge=0.0):
        """Integral of pressure less `gauge` over volume [J]."""
        p, V = (self.window(start, stop, one) for one in (self.pressure, self.volume))
        return _area(V, p - gauge)


def _area(x, y):
    """Area under straight lines from corner to corner."""
    return float(0.5 * (x[1:] - x[:-1]) @ (y[1:] + y[:-1]))


def _overlap(own, exhaust, intake, events):
    """What the valves of one cylinder see while both are open."""
    names = ("overlap_exhaust_pressure", "overlap_pressure_difference",
             "overlap_lowest_pressure", "overlap_lowest_angle",
             "overlap_highest_pressure", "overlap_highest_angle")
    if events.overlap is None:
        return dict.fromkeys(names, np.nan) | {
            "overlap_exhaust_backflow": 0.0, "overlap_intake_backflow": 0.0,
        }
    start, stop = events.overlap
    middle, width = 0.5 * (start + stop), stop - start
    x = own.window(start, stop, own.x)
    behind, before = (own.window(start, stop, own("pressure", at)) for at in (exhaust, intake))
    lowest, highest, mean = np.argmin(behind), np.argmax(behind), _area(x, behind) / width
    values = (mean, _area(x, before) / width - mean, behind[lowest], x[lowest] - middle,
              behind[highest], x[highest] - middle)
    seconds = 1.0 / (6.0 * own.samples.layout["rpm"])  # in a degree
    return dict(zip(names, values, strict=True)) | {
        f"overlap_{side}_backflow":
            seconds * _positive_area(x, sign * own.window(start, stop, own("mass_flow", valve)))
        for side, sign, valve in (("exhaust", 1.0, exhaust), ("intake", -1.0, intake))
    }


def _positive_area(x, y):
    """Area between straight lines and zero where they are above it."""
    turns = np.flatnonzero(y[:-1] * y[1:] < 0.0)  # between this corner and the next
    if not turns.size:
        return _area(x, np.maximum(0.0, y))
    zeros = x[turns] + (x[turns + 1] - x[turns]) * y[turns] / (y[turns] - y[turns + 1])
    order = np.concatenate((np.arange(x.size), turns + 0.5)).argsort(kind="stable")
    heights = np.concatenate((np.maximum(0.0, y), np.zeros(turns.size)))
    return _area(np.concatenate((x, zeros))[order], heights[order])


def _pumping(own, events, work, outside):
    """Work of the piston on the gas against the pressure outside, by its parts [J]."""
    def shut_between(start, stop):  # the part of a stroke in which no valve is open
        if events.shut is None:
            return 0.0
        first, last = max(events.shut[0], start), min(events.shut[1], stop)
        return -own.work(first, last, outside) if first < last else 0.0

    strokes = {"exhaust": (EXPANSION_END, EXHAUST_END, work[1]),
               "intake": (EXHAUST_END, INTAKE_END, work[2])}
    parts = {"pumping_recompression": 0.0}
    for name, (start, stop, done) in strokes.items():
        filled = own.at(stop, own.volume) - own.at(start, own.volume)
        shut = shut_between(start, stop)
        parts[f"pumping_{name}"] = outside * filled - done - shut
        parts["pumping_recompression"] += shut
    return parts


def _blowdown(own, events):
    """Work that an expansion without loss to the end of the stroke would have given more [J]."""
    opens = events.exhaust_opens
    if opens >= EXPANSION_END:
        return 0.0
    T, fresh, burned = (own.at(opens, own(name, own.place))
                        for name in ("temperature", "fresh", "burned"))
    gamma = float(own.samples.gas.gamma(T, fresh, burned))
    start, stop = (own.at(angle, own.volume) for angle in (opens, EXPANSION_END))
    pressure = own.at(opens, own.pressure)
    kept = pressure * start * (1.0 - (start / stop) ** (gamma - 1.0)) / (gamma - 1.0)
    return kept - own.work(opens, EXPANSION_END)
