"""Why two exhausts differ, in words: sentences that numbers earn, and silence where they do not.

Each sentence has a rule, and the rule its threshold, in the constants below.  What carries a
difference is read off the account of `contributions`; what the pressure in overlap has to do with
it, off the quantities of both points; which wave makes that pressure, off their `arrivals`.  None
of it proves a cause: it says which account the computed numbers fit, and what on a test bed would
speak against it.
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from wavesim.errors import InputError, check_kind
from wavesim.fields.tabular import Column, Sheet, Tabular
from wavesim.guard import guarded
from wavesim.results.arrivals import arrivals
from wavesim.results.contributions import PARTS, Contributions, contributions
from wavesim.results.curves import mean_over
from wavesim.results.points import Point, Sweep

if TYPE_CHECKING:
    from matplotlib.axes import Axes

SMALL = 0.01  # share of the torque below which a difference is not explained
CARRIES = 0.2  # share of the whole from which a part is named
MIXED = 0.65  # share of all parts' sizes that the named ones must have; half they always have
FELT = 1000.0  # change of the mean pressure in overlap that is spoken of [Pa]
LOUD = 0.15  # share of pressure from which a wave is named
LATE = 15.0  # crank angle by which a wave must come at another time to be named [deg]
SAME_WAY = 0.01  # share by which two lengths of one way may differ


class Reason(NamedTuple):
    """What is said of one speed.

    Attributes
    ----------
    rpm : float
        [rev/min].
    difference : float
        Of torque, b - a [N m].
    carriers : tuple of str
        Parts that carry it, by the names of `Contributions.parts`, the largest first; empty where
        causes are mixed or the difference is small.
    overlap : float
        Change of the mean pressure at the exhaust valves in overlap, b - a [Pa]; NaN without one.
    wave : str
        Wave that changes this pressure, in words; empty where none stands out.
    sentences : tuple of str

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> settings = ws.Settings(cell_length=0.05, tolerance=0.05)
    >>> single = study.engine.replace(firing_order=(1,))
    >>> short, long = (ws.Exhaust(primary=ws.Pipe(length, 0.04), merge=None)
    ...                for length in (0.5, 0.9))
    >>> a, b = (ws.speed_sweep(single, exhaust, [4500], settings=settings, progress=False)
    ...         for exhaust in (short, long))
    >>> reason = ws.explain(a, b).at(4500.0)
    >>> reason.rpm, bool(abs(reason.difference - (b.torque - a.torque)[0]) < 1e-9)
    (4500.0, True)
    """

    rpm: float
    difference: float
    carriers: tuple[str, ...]
    overlap: float
    wave: str
    sentences: tuple[str, ...]

    def __repr__(self) -> str:
        carried = ", ".join(self.carriers) or "mixed or small"
        return f"<Reason: {self.rpm:g} rev/min, {self.difference:+.1f} N m, {carried}>"


@guarded
@dataclass(frozen=True, eq=False)
class Explanation(Tabular):
    """Why two exhausts differ, as `explain` returns it.

    Attributes
    ----------
    a, b : Sweep
        Reference and variant.
    parts : Contributions
        The account of the torque at every speed that both hold.
    reasons : tuple of Reason
        For every such speed, in order.

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> settings = ws.Settings(cell_length=0.05, tolerance=0.05)
    >>> single = study.engine.replace(firing_order=(1,))
    >>> short, long = (ws.Exhaust(primary=ws.Pipe(length, 0.04), merge=None)
    ...                for length in (0.5, 0.9))
    >>> a, b = (ws.speed_sweep(single, exhaust, [4500], settings=settings, progress=False)
    ...         for exhaust in (short, long))
    >>> found = ws.explain(a, b)
    >>> found.at(4500.0).carriers[:1]
    ('trapped_mass',)
    >>> len(found.bands()), len(found.summary()) > 0
    (0, True)
    >>> ax = found.plot()
    """

    a: Sweep
    b: Sweep
    parts: Contributions
    reasons: tuple[Reason, ...]

    _index = "rpm"

    def __repr__(self) -> str:
        a, b = self.parts.names
        return f"<Explanation: {b!r} against {a!r}, {len(self.reasons)} speeds>"

    def at(self, rpm: float) -> Reason:
        """What is said of one speed [rev/min]; InputError where it was not computed for both."""
        for reason in self.reasons:
            if reason.rpm == rpm:
                return reason
        known = ", ".join(f"{reason.rpm:g}" for reason in self.reasons)
        raise InputError(f"Explanation: rpm = {rpm!r} must be one of {known} rev/min.")

    @property
    def telling(self) -> tuple[Reason, ...]:
        """Reasons at the speeds of largest gain and largest loss, where there are any."""
        gain = max(self.reasons, key=lambda reason: reason.difference)
        loss = min(self.reasons, key=lambda reason: reason.difference)
        return tuple(reason for reason, holds in ((gain, gain.difference > 0.0),
                                                  (loss, loss.difference < 0.0)) if holds)

    def bands(self) -> list[str]:
        """A sentence for each third of the range of speed: its average, and what carries it.

        The averages are those of `Comparison.band_averages`.
        """
        rpm, total = self.parts.rpm, self.parts.total
        if rpm.size < 3:
            return []
        found = []
        edges = np.linspace(rpm[0], rpm[-1], 4)
        size = float(self.a["torque"].mean())
        for low, high in zip(edges, edges[1:], strict=False):
            parts = {name: mean_over(rpm, values, low, high)
                     for name, values in self.parts.parts.items()}
            mean = mean_over(rpm, total, low, high)
            carried = _words(parts, _carriers(parts, mean, size))
            found.append(f"From {low:.0f} to {high:.0f} rev/min the mean difference is "
                         f"{mean:+.1f} N m{f', carried by {carried}' if carried else ''}.")
        return found

    def summary(self) -> str:
        """The account in plain sentences: the speeds of largest gain and loss, then the bands."""
        a, b = self.parts.names
        lines = [f"Why {b!r} differs from {a!r}"]
        for reason in self.telling:
            lines += ["", *reason.sentences]
        if not self.telling:
            lines += ["", "There is no difference of torque at any speed."]
        return "\n".join([*lines, "", *self.bands(), _CAUTION])

    def _columns(self):
        yield Column("rpm", "rev/min", [reason.rpm for reason in self.reasons])
        yield Column("torque difference", "N m", [reason.difference for reason in self.reasons])
        yield Column("carried by", "", [", ".join(r.carriers) for r in self.reasons])
        yield Column("overlap pressure difference", "Pa", [r.overlap for r in self.reasons])
        yield Column("wave", "", [reason.wave for reason in self.reasons])

    def _sheet(self):
        rows = [["rev/min", "N m", "carried by", "overlap [bar]", "wave"]]
        for reason in self.reasons:
            rows.append([
                f"{reason.rpm:g}", f"{reason.difference:+.1f}",
                ", ".join(PARTS[name].label for name in reason.carriers) or "mixed or small",
                f"{1e-5 * reason.overlap:+.3f}", reason.wave])
        a, b = self.parts.names
        return Sheet(rows, f"{b} against {a}", [_CAUTION])

    def plot(self, ax: "Axes | None" = None, **bar_kws: Any) -> "Axes":
        """Draw the parts of the difference over speed: see `Contributions.plot`.

        Parameters
        ----------
        ax : matplotlib Axes or None
            None makes a new figure.
        **bar_kws
            For all bars.

        Returns
        -------
        matplotlib Axes
        """
        return self.parts.plot(ax, **bar_kws)


_CAUTION = ("This is the account that the computed numbers fit; a measured trace of the pressure "
            "at the valve is its judge.")


@guarded
def explain(a: Sweep, b: Sweep, *, everywhere: bool = False) -> Explanation:
    """Say in words why two computed curves differ in torque.

    Parameters
    ----------
    a, b : Sweep
        Reference and variant, with traces; every difference is b - a.
    everywhere : bool
        True looks for the wave behind the overlap pressure at every speed; False only at those of
        largest gain and loss, of which the summary speaks.

    Returns
    -------
    Explanation
        At the speeds that both hold.

    Raises
    ------
    InputError
        As `contributions` and `arrivals` do.

    Notes
    -----
    A difference below 1 % of the torque is called small and not explained.  A part is said to carry
    the difference if it has its sign and a fifth of it; if these parts are less than 0.65 of all
    that moves, the causes are called mixed.  A change of the mean pressure in overlap below 0.01
    bar is passed over.  A wave is named if it brings at least 0.15 of its pressure, touches the
    overlap of one of the two alone and comes there at least 15 deg apart from the other; of
    cylinder 1, for all.

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> settings = ws.Settings(cell_length=0.05, tolerance=0.02)
    >>> a, b = (ws.Sweep([ws.run_point(study.engine, one, 3500.0, settings=settings)], name=name)
    ...         for name, one in study.exhausts.items())
    >>> print(ws.explain(a, b).at(3500.0).carriers[0])
    trapped_mass
    """
    for name, curve in (("a", a), ("b", b)):
        check_kind("explain", name, curve, Sweep)
    parts = contributions(a, b)
    telling = {int(np.argmax(parts.total)), int(np.argmin(parts.total))}
    reasons = tuple(
        _reason(a[rpm], b[rpm], {name: float(values[i]) for name, values in parts.parts.items()},
                parts.names, everywhere or i in telling)
        for i, rpm in enumerate(parts.rpm)
    )
    return Explanation(a, b, parts, reasons)


def _carriers(parts, whole, size):
    """Names of the parts that carry a difference, the largest first; none if mixed or small."""
    if abs(whole) < SMALL * abs(size):
        return ()
    same = {name: value for name, value in parts.items() if value * whole > 0.0}
    named = sorted((name for name, value in same.items() if abs(value) >= CARRIES * abs(whole)),
                   key=lambda name: -abs(parts[name]))
    moved = sum(map(abs, parts.values()))
    return tuple(named) if sum(abs(parts[n]) for n in named) >= MIXED * moved else ()


def _words(parts, names):
    """Parts with their amounts, as words."""
    said = [f"{PARTS[name].label} ({parts[name]:+.1f} N m)" for name in names]
    return " and ".join([", ".join(said[:-1]), said[-1]] if len(said) > 1 else said)


def _reason(a, b, parts, names, look_for_waves):
    """What is said of one speed."""
    whole = sum(parts.values())
    change = b.values["overlap_exhaust_pressure"] - a.values["overlap_exhaust_pressure"]
    first, second = names
    more = "more" if whole > 0.0 else "less"
    said = [f"At {a.rpm:g} rev/min {second!r} gives {abs(whole):.1f} N m {more} than {first!r}"]
    if abs(whole) < SMALL * abs(a.values["torque"]):
        said[0] += ", which is too little to explain."
        return Reason(a.rpm, whole, (), change, "", tuple(said))
    carriers = _carriers(parts, whole, a.values["torque"])
    carried = _words(parts, carriers)
    said[0] += f", carried by {carried}." if carried else "; its causes are mixed."
    wave = ""
    if carriers and abs(change) >= FELT:
        lower, fits = change < 0.0, (change < 0.0) == (whole > 0.0)
        word = "lower" if lower else "higher"
        said.append(
            f"In overlap the mean pressure at the exhaust valves is {1e-5 * abs(change):.2f} bar "
            f"{word} ({1e-5 * b.values['overlap_exhaust_pressure']:.2f} instead of "
            f"{1e-5 * a.values['overlap_exhaust_pressure']:.2f} bar)"
            + (", which fits." if fits else ", which does not fit: the cause lies elsewhere."))
        wave = _wave(a, b, lower) if fits and look_for_waves else ""
        if wave:
            said.append(wave)
        if fits:
            said.append(
                f"If this is so, a pressure sensor at an exhaust valve must show {word} pressure "
                f"in overlap with {second!r} at this speed; if it does not, the account is wrong.")
    return Reason(a.rpm, whole, carriers, change, wave, tuple(said))


def _wave(a: Point, b: Point, lower: bool) -> str:
    """Sentence on the wave that comes to the overlap in one of two points only, or nothing.

    Waves whose way has another length go first: what moves one on an unchanged way is the gas that
    it meets, which may itself be moved by the others.
    """
    if a.samples is None or b.samples is None:
        return ""
    found = [_loudest(arrivals(point, echoes=2)) for point in (a, b)]
    window = a.meta["events_deg"]["intake"][0], a.meta["events_deg"]["exhaust"][1]
    candidates = []
    for name in set(found[0]) & set(found[1]):
        (route, *before), (other, *after) = found[0][name], found[1][name]
        if abs(route.size) < LOUD or not np.isfinite([*before, *after]).all():
            continue
        here, there = _meets(before, window), _meets(after, window)
        shift = after[1] - before[1]
        # Suction that comes with b, or pressure that comes with a alone, lowers the pressure.
        lowers = (route.size < 0.0) == (there and not here)
        if here != there and abs(shift) >= LATE and lowers == lower:
            moved = abs(other.length - route.length) > SAME_WAY * route.length
            candidates.append(((moved, abs(route.size)), route, there, shift))
    if not candidates:
        return ""
    _, route, there, shift = max(candidates, key=lambda one: one[0])
    what = "suction" if route.size < 0.0 else "pressure"
    when = f"{abs(shift):.0f} deg {'later' if shift > 0.0 else 'earlier'}"
    meets = "meets" if there else "no longer meets"
    name = route.name.replace("own wave from", "cylinder's own wave, sent back by", 1)
    return (f"The {name}, which brings {what} ({route.size:+.2f} of what was sent), {meets} "
            f"the overlap: it comes {when}.")


def _loudest(found):
    """Loudest route of each name, for ways of several lengths share one, with front and peak."""
    order = sorted(range(len(found.routes)), key=lambda i: abs(found.routes[i].size))
    return {found.routes[i].name: (found.routes[i], found.first[i, 0], found.peak[i, 0])
            for i in order}


def _meets(arrival, window):
    """True if a wave, as long after its peak as before it, meets a window of crank angle."""
    first, peak = arrival
    last = 2.0 * peak - first
    return any(first + turn < window[1] and last + turn > window[0]
               for turn in (-720.0, 0.0, 720.0))
