"""Maps: a quantity over one dimension of a description and speed, with the arithmetic beside it.

The ridge of a map is where, at one speed, the quantity is highest along the dimension: the length
that suits this speed.  Tuned-length arithmetic (`wavesim.exact`) says where it should lie: a small
wave runs at the speed of sound along the ducts and is back at the exhaust valve in the middle of
the overlap.  Waves of an engine are strong and come later (`exact.strong_return_time`), so that
ridges mostly lie at lower speeds than these lines; how far is what a map shows.
"""

from dataclasses import dataclass, field, replace
from math import nan
from typing import TYPE_CHECKING, Any

import numpy as np

from wavesim.descriptions.engine import CYCLE_DEG, Engine
from wavesim.descriptions.exhaust import Exhaust, network_of
from wavesim.descriptions.network import Network
from wavesim.descriptions.nodes import OpenEnd
from wavesim.descriptions.valves import valve_events
from wavesim.errors import InputError, check_choice, check_int, check_kind, check_number
from wavesim.fields.tabular import Column, Sheet, Tabular
from wavesim.guard import guarded
from wavesim.results.arrivals import BEYOND, routes_to
from wavesim.results.points import Point
from wavesim.results.rays import Way
from wavesim.show.quantities import QUANTITIES, column_notes, display, rows_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes

GOALS = ("largest", "smallest")
_LONGEST = 0.2  # time for which fronts are followed [s]


@guarded
@dataclass(frozen=True, eq=False)
class SpeedMap(Tabular):
    """A quantity over one dimension of a description and speed, as `Exploration.map` makes it.

    Attributes
    ----------
    path : str
        Dotted path of the dimension.
    unit : str
        Its SI unit, empty for none.
    x : ndarray, (n_x,)
        Its values, increasing.
    rpm : ndarray, (n_rpm,)
        Speeds [rev/min].
    quantity : str
        A key of `QUANTITIES`.
    values : ndarray, (n_x, n_rpm)
        SI unit; NaN where a point failed.
    trusted : ndarray of bool, (n_x, n_rpm)
        False where a point did not converge.
    base : float
        Value of the dimension in the base; NaN if it is none.
    systems : tuple of (Engine, Exhaust or Network) or None
        That belong to `x`; None where they cannot be built.
    title : str
        What a difference is one of; empty for the quantity itself.

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> single = study.engine.replace(firing_order=(1,))
    >>> header = ws.Exhaust(primary=ws.Pipe("700 mm", "40 mm"), merge=None)
    >>> settings = ws.Settings(cell_length=0.05, tolerance=0.02)
    >>> found = ws.explore(single, header, {"exhaust.primary.length": [0.5, 0.7, 0.9]},
    ...                    [3500, 4500], settings=settings, progress=False).map("torque")
    >>> found.values.shape
    (3, 2)
    >>> lengths, inside = found.ridge()
    >>> change = found.difference()  # from the base
    >>> len(change.table().splitlines()) > 2
    True
    >>> ax = change.plot()
    """

    path: str
    unit: str
    x: np.ndarray
    rpm: np.ndarray
    quantity: str
    values: np.ndarray
    trusted: np.ndarray
    base: float
    systems: tuple[tuple[Engine, Exhaust | Network] | None, ...] = field(repr=False)
    title: str = ""

    def __repr__(self) -> str:
        what = f"{self.quantity}, {self.title}" if self.title else self.quantity
        return f"<SpeedMap: {what}, {self.x.size} values of {self.path}, {self.rpm.size} speeds>"

    def ridge(
        self, goal: str = "largest", least: float = 0.01
    ) -> tuple[np.ndarray, np.ndarray]:
        """Where the quantity is highest along the dimension, at each speed.

        Parameters
        ----------
        goal : {"largest", "smallest"}
            Follow the heights or the valleys.
        least : float
            Share of the span of the whole map by which a place must stand above the lowest value on
            either side, 0 to 1: less is a ripple.

        Returns
        -------
        x : ndarray, (n_rpm,)
            The highest such place between the ends of the dimension, by the parabola through a
            point and its two neighbours; NaN where there is none.
        best : ndarray of bool, (n_rpm,)
            True where it is also higher than both ends: what was tried holds the best.

        Examples
        --------
        A made surface whose best length falls with speed:

        >>> x, rpm = np.linspace(0.2, 0.8, 7), np.array([3000.0, 4000.0])
        >>> heights = 100.0 - (x[:, None] - (0.63 - 1e-4 * (rpm - 3000.0))) ** 2
        >>> made = SpeedMap("exhaust.collector.length", "m", x, rpm, "torque", heights,
        ...                 heights > 0.0, 0.3, 7 * (None,))
        >>> made.ridge()[0].round(6).tolist()
        [0.63, 0.53]
        """
        sign = 1.0 if check_choice("SpeedMap", "goal", goal, GOALS) == "largest" else -1.0
        check_number("SpeedMap", "least", least, "1", 0.0, 1.0)
        known = self.values[np.isfinite(self.values)]
        rise = least * float(np.ptp(known)) if known.size else 0.0
        tops = [_highest_top(self.x, sign * column, rise) for column in self.values.T]
        place = np.array([x for x, _ in tops])
        edges = sign * self.values[[0, -1]]
        with np.errstate(invalid="ignore"):
            best = np.array([top for _, top in tops]) > edges.max(axis=0)
        return place, best

    def difference(self, reference: "SpeedMap | None" = None, title: str = "") -> "SpeedMap":
        """This map less another, or less its own base.

        Parameters
        ----------
        reference : SpeedMap or None
            Of the same quantity and dimension, with at least two values and speeds in common; None:
            at each speed the value at the base, on a straight line between its neighbours.
        title : str
            What the difference is one of, for figures.

        Returns
        -------
        SpeedMap
            At the values and speeds that both hold.

        Raises
        ------
        InputError
            If the two do not fit together, or the base lies outside the values that were tried.
        """
        check_kind("SpeedMap", "reference", reference, SpeedMap, optional=True)
        if reference is None:
            return replace(self, values=self.values - self._at_base(),
                           title=title or "less the base")
        for name in ("quantity", "path"):
            mine, other = getattr(self, name), getattr(reference, name)
            if mine != other:
                raise InputError(f"SpeedMap: {name} of the reference is {other!r}, must be {mine!r}"
                                 ".")
        x, i, k = np.intersect1d(self.x, reference.x, return_indices=True)
        rpm, j, m = np.intersect1d(self.rpm, reference.rpm, return_indices=True)
        if min(x.size, rpm.size) < 2:
            raise InputError(f"SpeedMap: the two maps share {x.size} values and {rpm.size} speeds, "
                             "must share at least 2 of each.")
        here, there = np.ix_(i, j), np.ix_(k, m)
        return replace(
            self, x=x, rpm=rpm, values=self.values[here] - reference.values[there],
            trusted=self.trusted[here] & reference.trusted[there],
            systems=tuple(self.systems[n] for n in i), title=title or "difference of two maps")

    def _at_base(self):
        """The quantity at the base, (n_rpm,)."""
        if not self.x[0] <= self.base <= self.x[-1]:
            raise InputError(f"SpeedMap: {self.path} of the base, {self.base:g} {self.unit}, must "
                             f"lie within {self.x[0]:g} to {self.x[-1]:g} {self.unit}.")
        return np.array([np.interp(self.base, self.x, column) for column in self.values.T])

    def tuned_speeds(
        self,
        sound: float | Point,
        *,
        cylinder: int = 1,
        leaves_deg: float | None = None,
        echoes: int = 2,
        visible: float = 0.1,
        most: int = 5,
    ) -> dict[str, np.ndarray]:
        """Speeds at which arithmetic has waves meet the middle of the overlap.

        Parameters
        ----------
        sound : float or Point
            Speed of sound in all ducts [m/s], 200 to 1000; or a computed point with its traces,
            from which each duct takes its mean over the cycle.
        cylinder : int
            At whose exhaust valve.
        leaves_deg : float or None
            Crank angle after the firing dead centre of its cylinder at which a wave leaves, -720 to
            720 [deg]; None: the exhaust opens, and it is the front that meets the overlap.
        echoes : int
            How often an own wave may have been sent back, 1 to 4; a pulse of another cylinder once
            less.
        visible : float
            Share of the pressure that was sent from which a wave counts, by plane waves.
        most : int
            At most so many waves, the loudest of those that meet the overlap at a speed of the map.

        Returns
        -------
        dict of ndarray, each (n_x,)
            Speeds [rev/min] by the name of the wave and what it brings, the loudest first; NaN
            where a design cannot be built or has no such wave.  At lower speeds, below its line, a
            front has come before the middle of the overlap.  Of waves that take the same time the
            loudest is named.

        Raises
        ------
        InputError
            If a value is out of range, or the point lacks a duct.

        Notes
        -----
        `exact.return_rpm`: a small wave in still gas, from the valve of the cylinder that sends it
        to the middle of the overlap at the other, or to the dead centre of gas exchange where there
        is none.  Valve events are those of `point.meta["events_deg"]`.  An open end adds its end
        correction.

        Examples
        --------
        The echo of the open end of pipes of 0.9 and 1.8 m behind a port of 0.09 m, each with the
        end correction:

        >>> import wavesim as ws
        >>> engine = ws.load(ws.demo_path("collector")).engine
        >>> pipes = [ws.Exhaust(primary=ws.Pipe(x, 0.04), merge=None) for x in (0.9, 1.8)]
        >>> rpm, flat = np.array([3e3, 12e3]), np.ones((2, 2))
        >>> made = ws.SpeedMap("exhaust.primary.length", "m", np.array([0.9, 1.8]), rpm, "torque",
        ...                    flat, flat > 0.0, 0.9, tuple((engine, pipe) for pipe in pipes))
        >>> list(made.tuned_speeds(550.0, echoes=1))
        ['own wave from outlet 1: suction']
        """
        if isinstance(sound, Point):
            sound = _means(sound)
        else:
            sound = check_number("tuned_speeds", "sound", sound, "m/s", 200.0, 1000.0)
        check_number("tuned_speeds", "visible", visible, "1", 0.001, 1.0)
        check_int("tuned_speeds", "echoes", echoes, 1, 4)
        check_int("tuned_speeds", "most", most, 1, 20)
        check_int("tuned_speeds", "cylinder", cylinder, 1, max(
            (system[0].cylinders for system in self.systems if system), default=1))
        if leaves_deg is not None:
            check_number("tuned_speeds", "leaves_deg", leaves_deg, "deg", -CYCLE_DEG, CYCLE_DEG)
        found = [_tuned(*system, sound, cylinder, leaves_deg, visible, echoes) if system else {}
                 for system in self.systems]
        size = {name: size for one in found for name, (_, size) in one.items()}
        speeds = {name: np.array([one.get(name, (nan, 0.0))[0] for one in found])
                  for name in sorted(size, key=lambda name: -abs(size[name]))}
        chosen = {}
        for name, rpm in speeds.items():
            seen = np.nanmin(rpm) <= self.rpm[-1] and np.nanmax(rpm) >= self.rpm[0]
            known = any(np.allclose(rpm, other, equal_nan=True) for other in chosen.values())
            if seen and not known and len(chosen) < most:
                chosen[name] = rpm
        return chosen

    def _columns(self):
        n_x, n_rpm = self.values.shape
        yield Column(self.path, self.unit, np.repeat(self.x, n_rpm))
        yield Column("rpm", "rev/min", np.tile(self.rpm, n_x))
        name = f"{self.quantity} {self.title}" if self.title else self.quantity
        yield Column(name, QUANTITIES[self.quantity].unit, self.values.ravel())
        yield Column("converged", "", self.trusted.ravel().astype(int))

    def _meanings(self):
        yield from column_notes(["rpm", self.quantity])
        if self.title:
            yield f"{self.quantity} {self.title}: a difference."

    def _rows(self):
        look, sign = display(self.quantity), "+" if self.title else ""
        x, best = self.ridge()
        rows = [["rev/min", *(f"{value:g}" for value in self.x), "ridge", ""]]
        for rpm, column, place, holds in zip(self.rpm, self.values.T, x, best, strict=True):
            word = "" if np.isnan(place) or holds else "an end is higher"
            cells = [look.text(value, sign) for value in column]
            rows.append([f"{rpm:g}", *cells, "-" if np.isnan(place) else f"{place:.4g}", word])
        return rows

    def table(self) -> str:
        """Text table: a line for each speed, a column for each value, and the ridge."""
        return f"{self._caption()}\n{rows_text(self._rows())}"

    def _caption(self):
        unit = f" [{self.unit}]" if self.unit else ""
        title = f", {self.title}," if self.title else ""
        return f"{display(self.quantity).axis}{title} over {self.path}{unit}"

    def _sheet(self):
        return Sheet(self._rows(), self._caption())

    def plot(
        self,
        ax: "Axes | None" = None,
        *,
        sound: float | Point | None = None,
        goal: str = "largest",
        **fill_kws: Any,
    ) -> "Axes":
        """Draw the map, filled, with its ridge and base; a difference with its zero line.

        Parameters
        ----------
        ax : matplotlib Axes or None
            None makes a new figure.
        sound : float, Point or None
            Draw the lines of `tuned_speeds` over it; None: none.
        goal : {"largest", "smallest"}
            As for `ridge`.
        **fill_kws
            For the filled contours.

        Returns
        -------
        matplotlib Axes

        Raises
        ------
        InputError
            If there are fewer than two values or speeds.
        """
        from wavesim.show import plots

        lines = {} if sound is None else self.tuned_speeds(sound)
        return plots.plot_map(self, ax, lines=lines, goal=goal, **fill_kws)


def _highest_top(x, y, rise):
    """(place, height) of the highest point that stands above both sides by a rise at least."""
    with np.errstate(invalid="ignore"):
        i = 1 + np.flatnonzero((y[1:-1] > y[:-2]) & (y[1:-1] >= y[2:]))
    tops = (_vertex(x[k - 1 : k + 2], y[k - 1 : k + 2]) for k in i
            if y[k] - max(np.nanmin(y[:k]), np.nanmin(y[k:])) >= rise)
    return max(tops, key=lambda top: top[1], default=(nan, nan))


def _vertex(x, y):
    """Place and height of the vertex of the parabola through three points."""
    before, after = np.diff(y) / np.diff(x)
    bend = (after - before) / (x[2] - x[0])
    place = 0.5 * (x[0] + x[1]) - 0.5 * before / bend
    height = y[1] + (place - x[1]) * (before + bend * (place - x[0]))
    return float(place), float(height)


def _tuned(engine, exhaust, sound, cylinder, leaves, visible, echoes):
    """(speed [rev/min], size) by name of each wave that comes to a valve."""
    from wavesim import exact

    network = network_of(engine, exhaust)
    speeds = _speeds(network, sound)
    ways = {name: _way(network, name, c) for name, c in speeds.items()}
    events, _ = valve_events(engine.exhaust_valve, engine.intake_valve)
    leaves = events["exhaust"][0] if leaves is None else leaves
    middle = 0.5 * (events["intake"][0] + events["exhaust"][1])
    if events["intake"][0] >= events["exhaust"][1]:
        middle = 0.5 * CYCLE_DEG  # dead centre of gas exchange
    firing, found = engine.firing_angles_deg, {}
    for route, ray in routes_to(network, ways, cylinder, longest=_LONGEST, visible=visible,
                                echoes=echoes):
        later = firing[route.cylinder - 1] - firing[cylinder - 1]
        legs = [(ways[duct].length, speeds[duct]) for duct, _ in ray.legs]
        legs += [_beyond(network, network.nodes[name], speeds) for name in ray.turns
                 if isinstance(network.nodes[name], OpenEnd)]
        length, c = np.array(legs).T
        rpm = exact.return_rpm((middle - leaves - later) % CYCLE_DEG, 0.5 * length, c)
        name = f"{route.name}: {'suction' if route.size < 0.0 else 'pressure'}"
        if name not in found or abs(route.size) > abs(found[name][1]):
            found[name] = rpm, route.size
    return found


def _speeds(network, sound):
    """Speed of sound by duct [m/s]: one for all, or the means by `_means`."""
    if not isinstance(sound, dict):
        return dict.fromkeys(network.ducts, sound)
    missing = [name for name in network.ducts if name not in sound]
    if missing:
        raise InputError(f"tuned_speeds: the point has no duct {missing[0]!r}.")
    return {name: sound[name] for name in network.ducts}


def _means(point):
    """Mean speed of sound in each duct of a point over the cycle [m/s]."""
    from wavesim import exact

    if point.samples is None:
        raise InputError("tuned_speeds: the traces of the point were not kept.")
    return {name: exact.mean_speed(point.samples.field("sound_speed", name).astype(float))
            for name in point.samples.layout["ducts"]}


def _way(network, name, c):
    """A duct as sound sees it; the density is taken to be the same everywhere."""
    length = network.ducts[name].length
    areas = tuple(network.bore(name, side) ** 2 for side in ("start", "end"))
    return Way(length / c, length / c, length, areas)


def _beyond(network, node, speeds):
    """Length that a wave goes beyond an open end and back [m], and its speed there [m/s]."""
    (duct, side), = node.ends
    return BEYOND[node.radiation] * network.bore(duct, side), speeds[duct]
