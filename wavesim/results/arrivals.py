"""Arrivals: when the fronts of an exhaust come back to a valve, along the computed gas.

A front that leaves a valve runs on with u + c and back with c - u of the gas it meets, cell by cell
and moment by moment, as the characteristics of the gas do (dx/dt = u +- c).  At a joint it goes on
at once; at an open end it spends the time that the end correction asks for.  Which joints send
something back, and about how much, is known from plane waves (`wavesim.results.rays`).
"""

from dataclasses import dataclass
from math import pi
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from wavesim.constants import FLANGED_END, UNFLANGED_END
from wavesim.descriptions.engine import CYCLE_DEG
from wavesim.descriptions.nodes import OpenEnd, ValvePort
from wavesim.errors import InputError, check_int, check_kind, check_number
from wavesim.fields.tabular import Column, Sheet, Tabular
from wavesim.guard import guarded
from wavesim.results.points import Point, Sweep
from wavesim.results.rays import Way, rays, turns_text
from wavesim.show.quantities import rows_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes

RISE_DEG = 120.0  # after exhaust opening, in which the blowdown has its peak
#: End correction over the radius: free end and end in a wall, as the march has them.
BEYOND = {"unflanged": UNFLANGED_END, "flanged": FLANGED_END, "none": 0.0}


class Route(NamedTuple):
    """A way on which a front comes to the valve of a cylinder.

    Attributes
    ----------
    name : str
        In words.
    cylinder : int
        That sends it.
    size : float
        About its pressure over that of the front that was sent.
    length : float
        [m].

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> settings = ws.Settings(cell_length=0.05, tolerance=0.05)
    >>> single = study.engine.replace(firing_order=(1,))
    >>> header = ws.Exhaust(primary=ws.Pipe("700 mm", "40 mm"), merge=None)
    >>> point = ws.run_point(single, header, 4500.0, settings=settings)
    >>> route = ws.arrivals(point).routes[0]
    >>> route.name, route.cylinder
    ('own wave from outlet 1', 1)
    """

    name: str
    cylinder: int
    size: float
    length: float


@guarded
@dataclass(frozen=True, eq=False)
class Arrivals(Tabular):
    """Crank angles at which fronts come to the exhaust valve of a cylinder.

    Attributes
    ----------
    cylinder : int
    rpm : ndarray, (n,)
        [rev/min].
    routes : list of Route
    first, peak : ndarray, (n_route, n)
        When the front of exhaust opening, and when the peak of the blowdown, has come on each
        route: crank angle after the firing dead centre of the cylinder [deg], beyond 720 where it
        comes in a later cycle.  NaN where gas that flows against it at the speed of sound stops it.
    overlap : (float, float) or None
        [deg].

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> settings = ws.Settings(cell_length=0.05, tolerance=0.05)
    >>> single = study.engine.replace(firing_order=(1,))
    >>> header = ws.Exhaust(primary=ws.Pipe("700 mm", "40 mm"), merge=None)
    >>> point = ws.run_point(single, header, 4500.0, settings=settings)
    >>> found = ws.arrivals(point)
    >>> [route.name for route in found.routes]
    ['own wave from outlet 1']
    >>> len(found.tuned_speeds()), len(found.table()) > 0
    (1, True)
    >>> ax = found.plot()
    """

    cylinder: int
    rpm: np.ndarray
    routes: list[Route]
    first: np.ndarray
    peak: np.ndarray
    overlap: tuple[float, float] | None

    _index = "rpm"

    def __repr__(self) -> str:
        return (f"<Arrivals: cylinder {self.cylinder}, {len(self.routes)} routes, "
                f"{self.rpm.size} speeds>")

    def tuned_speeds(self) -> list[np.ndarray]:
        """Speeds at which the peak on each route meets the middle of the overlap.

        Returns
        -------
        list of ndarray
            For each route the speeds [rev/min], on straight lines between those that were computed;
            empty where it never does within their range, and without overlap.
        """
        if self.overlap is None:
            return [np.array([]) for _ in self.routes]
        middle = 0.5 * sum(self.overlap)
        found = []
        for peak in self.peak:
            off = (peak - middle + 0.5 * CYCLE_DEG) % CYCLE_DEG - 0.5 * CYCLE_DEG
            i = np.flatnonzero((off[:-1] * off[1:] <= 0.0) & (np.abs(np.diff(off)) < 180.0))
            share = off[i] / np.where(off[i] == off[i + 1], 1.0, off[i] - off[i + 1])
            met = self.rpm[i] + share * (self.rpm[i + 1] - self.rpm[i])
            found.append(np.unique(met))  # one that lies on a speed ends two intervals
        return found

    def _columns(self):
        yield Column("rpm", "rev/min", self.rpm)
        for route, first, peak in zip(self.routes, self.first, self.peak, strict=True):
            yield Column(f"first of {route.name}", "deg", first)
            yield Column(f"peak of {route.name}", "deg", peak)

    def _rows(self):
        head = ["route", "share", "way [m]", *(f"{rpm:g}" for rpm in self.rpm), "tuned [rev/min]"]
        rows = [head]
        for route, first, peak, tuned in zip(
            self.routes, self.first, self.peak, self.tuned_speeds(), strict=True
        ):
            rows.append([
                route.name, f"{route.size:+.2f}", f"{route.length:.2f}",
                *(f"{a:.0f} to {b:.0f}" for a, b in zip(first, peak, strict=True)),
                ", ".join(f"{rpm:.0f}" for rpm in tuned) or "none"])
        return rows

    def table(self) -> str:
        """Text table: from the front to the peak, in deg after firing dead centre, by speed."""
        return rows_text(self._rows())

    def _sheet(self):
        return Sheet(self._rows(), f"arrivals at exhaust valve {self.cylinder}")

    def plot(self, ax: "Axes | None" = None, **line_kws: Any) -> "Axes":
        """Draw the arrivals against engine speed over the band of the overlap.

        Parameters
        ----------
        ax : matplotlib Axes or None
            None makes a new figure.
        **line_kws
            For the lines of the peaks.

        Returns
        -------
        matplotlib Axes
        """
        from wavesim.show import plots

        return plots.plot_arrivals(self, ax, **line_kws)


@guarded
def arrivals(
    source: Point | Sweep,
    cylinder: int = 1,
    *,
    start: float | None = None,
    visible: float = 0.1,
    echoes: int = 1,
) -> Arrivals:
    """When own echoes and the pulses of the others come to the exhaust valve of a cylinder.

    Parameters
    ----------
    source : Point or Sweep
        With traces.
    cylinder : int
        Whose valve.
    start : float, optional
        Crank angle of the sending cylinder at which the front leaves its valve [deg], -720 to 720;
        default: exhaust opening.
    visible : float
        Least share of pressure of a route, by plane waves, 0.001 to 1.
    echoes : int
        How often an own wave may have been sent back, 1 to 4; those of others one time less.

    Returns
    -------
    Arrivals
        By default of own waves back from each joint and end, and of what other cylinders send
        straight.

    Raises
    ------
    InputError
        If a point has no traces, there is no such cylinder, or a value is out of range.

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> settings = ws.Settings(cell_length=0.05, tolerance=0.05)
    >>> exhaust = study.exhausts["long collector"]
    >>> point = ws.run_point(study.engine, exhaust, 4500.0, settings=settings)
    >>> [route.name for route in ws.arrivals(point).routes][:2]
    ['own wave from merge', 'own wave from outlet']
    """
    check_kind("arrivals", "source", source, Point, Sweep)
    points = [source] if isinstance(source, Point) else source.points
    if not points or any(point.samples is None for point in points):
        raise InputError("arrivals: source must hold points with their traces, at least one.")
    cylinder = check_int("arrivals", "cylinder", cylinder, 1, points[0].engine.cylinders)
    check_number("arrivals", "visible", visible, "1", 0.001, 1.0)
    check_int("arrivals", "echoes", echoes, 1, 4)
    if start is not None:
        start = check_number("arrivals", "start", start, "deg", -CYCLE_DEG, CYCLE_DEG)
    chosen = _routes(points[len(points) // 2], cylinder, visible, echoes)
    first, peak = np.empty((2, len(chosen), len(points)))
    for j, point in enumerate(points):
        tracer = Tracer(point)
        for i, (route, ray) in enumerate(chosen):
            opens = point.meta["events_deg"]["exhaust"][0] if start is None else start
            wave = point.waves(f"exhaust valve {route.cylinder}").on.own_angle(route.cylinder)
            highest = wave.highest(opens, opens + RISE_DEG).x
            turn = tracer.firing(route.cylinder) - tracer.firing(cylinder)
            first[i, j], peak[i, j] = (
                angle + turn + tracer.late(ray, angle, route.cylinder)
                for angle in (opens, highest))
    events = points[0].meta["events_deg"]
    overlap = events["intake"][0], events["exhaust"][1]
    _near_overlap(first, peak, chosen, cylinder, 0.5 * sum(overlap))
    overlap = overlap if overlap[0] < overlap[1] else None
    return Arrivals(cylinder, np.array([point.rpm for point in points]),
                    [route for route, _ in chosen], first, peak, overlap)


def _near_overlap(first, peak, chosen, cylinder, middle):
    """Count pulses of other cylinders from that of their cycles which comes nearest the overlap."""
    for i, (route, _) in enumerate(chosen):
        if route.cylinder != cylinder:
            come = peak[i][np.isfinite(peak[i])]
            turns = np.round((come.mean() - middle) / CYCLE_DEG) if come.size else 0.0
            first[i] -= CYCLE_DEG * turns
            peak[i] -= CYCLE_DEG * turns


def _routes(point, cylinder, visible, echoes):
    """Routes to the valve of a cylinder with the rays that they follow."""
    ways = {name: _way(point.samples, name) for name in point.samples.layout["ducts"]}
    return routes_to(point.network.in_weather(point.ambient), ways, cylinder,
                     longest=2.0 * CYCLE_DEG / (6.0 * point.rpm), visible=visible, echoes=echoes)


def routes_to(network, ways, cylinder, *, longest, visible, echoes):
    """Routes to the exhaust valve of a cylinder.

    Parameters
    ----------
    network : Network
    ways : mapping of Way by duct name
    cylinder : int
    longest : float
        Time to follow fronts [s].
    visible : float
        Share of pressure from which a route is kept.
    echoes : int
        Echoes of a route at most; of a pulse from elsewhere one less.

    Returns
    -------
    list of (Route, Ray)
    """
    valves = {node.cylinder: name for name, node in network.nodes.items()
              if isinstance(node, ValvePort) and node.side == "exhaust"}
    found = []
    for number in sorted(valves, key=lambda number: (number != cylinder, number)):
        own = number == cylinder
        for ray in rays(network, ways, valves[number], [valves[cylinder]], longest=longest,
                        faintest=0.1 * visible, most_turns=2 * echoes):  # half at the own valve
            turns = _turns(ray.turns, valves.values(), valves[cylinder])
            if own <= len(turns) <= echoes - (not own):
                name = "own wave" if own else f"pulse of cylinder {number}"
                name += f" from {turns_text(turns)}" if turns else ""
                found.append((Route(name, number, ray.size, ray.length), ray))
    return [pair for pair in _together(found) if abs(pair[0].size) >= visible]


def _turns(turns, valves, own):
    """Where a ray has turned, in words; turns at the own valve go without saying."""
    return ["the other valves" if name in valves else name for name in turns if name != own]


def _together(found):
    """Rays of one name and one length, which come at one moment, as one route."""
    alike = {}
    for route, ray in found:
        alike.setdefault((route.name, round(route.length, 2)), []).append((route, ray))
    return [
        (routes[0][0]._replace(size=sum(route.size for route, _ in routes)), routes[0][1])
        for routes in alike.values()
    ]


def _way(samples, duct):
    """A duct as sound sees it, by the mean gas of the cycle."""
    info = samples.layout["ducts"][duct]
    rho, c = (samples.field(name, duct).mean(axis=0) for name in ("density", "sound_speed"))
    time = float(np.sum(info["dx"] / c))
    areas = [0.25 * pi * info["bores"][i] ** 2 for i in (0, -1)]
    return Way(time, time, info["length"],
               tuple(area / (rho[i] * c[i]) for area, i in zip(areas, (0, -1), strict=True)))


class Tracer:
    """Follows fronts through the recorded gas of a point."""

    def __init__(self, point):
        self.point, self.samples, self.speeds = point, point.samples, {}
        nodes = point.network.nodes  # assembled anew each time it is asked for
        self.node_at = {end: name for name, node in nodes.items() for end in node.ends}
        self.open_ends = {name: node for name, node in nodes.items() if isinstance(node, OpenEnd)}

    def firing(self, cylinder):
        """Crank angle of a firing dead centre [deg]."""
        return self.point.meta["firing_angles_deg"][cylinder - 1]

    def late(self, ray, angle, cylinder):
        """Crank angle that a front needs that leaves a valve at its own angle [deg]."""
        begin = now = angle + self.firing(cylinder)
        for i, (duct, side) in enumerate(ray.legs):
            now = self.through(duct, side, now)[-1]
            far = (duct, "end" if side == "start" else "start")
            last = i == len(ray.legs) - 1
            node = self.open_ends.get(self.node_at.get(far))
            if not last and node is not None:
                now += self.beyond(duct, node, now)
        return now - begin

    def through(self, duct, side, now):
        """Angles at which a front passes the faces of a duct that it enters at an angle [deg]."""
        if duct not in self.speeds:
            self.speeds[duct] = [self.samples.field(name, duct).astype(float)
                                 for name in ("velocity", "sound_speed")]
        u, c = self.speeds[duct]
        dx = self.samples.layout["ducts"][duct]["dx"]
        sign, cells = (1.0, range(u.shape[1])) if side == "start" else (
            -1.0, range(u.shape[1] - 1, -1, -1))
        angles = np.full(u.shape[1] + 1, np.nan)
        angles[0] = now
        for i, cell in enumerate(cells, start=1):
            speed = self._at(c[:, cell], now) + sign * self._at(u[:, cell], now)
            if not speed > 0.0:  # also where an angle is NaN
                break
            now += 6.0 * self.point.rpm * dx / speed
            angles[i] = now
        return angles

    def _at(self, values, angle):
        """A recorded value at a crank angle."""
        if not np.isfinite(angle):
            return np.nan
        step = CYCLE_DEG / values.size
        place = (angle - self.samples.x[0]) / step % values.size
        i = int(place)
        share = place - i
        return (1.0 - share) * values[i % values.size] + share * values[(i + 1) % values.size]

    def beyond(self, duct, node, now):
        """Crank angle that a front spends beyond an open end [deg]."""
        info = self.samples.layout["ducts"][duct]
        i = -1 if node.ends[0][1] == "end" else 0
        if not np.isfinite(now):
            return np.nan
        c = self._at(self.speeds[duct][1][:, i], now)
        return 6.0 * self.point.rpm * 2.0 * BEYOND[node.radiation] * 0.5 * info["bores"][i] / c
