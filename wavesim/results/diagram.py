"""Wave diagrams: pressure over the way from a valve to the open air and over crank angle."""

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from wavesim.descriptions.nodes import OpenEnd, Perforate
from wavesim.errors import InputError, check_int, check_kind
from wavesim.fields.tabular import Column, Sheet, Tabular
from wavesim.guard import guarded
from wavesim.results.arrivals import Tracer
from wavesim.results.points import Point
from wavesim.show.quantities import display

if TYPE_CHECKING:
    from matplotlib.animation import FuncAnimation
    from matplotlib.axes import Axes

FRONTS = 5  # lines of fronts between exhaust opening and bottom dead centre, both included
BOTTOM = 180.0  # dead centre of expansion [deg]


@guarded
@dataclass(frozen=True, eq=False)
class WaveDiagram(Tabular):
    """Pressure from a valve to the open air over crank angle, and fronts that run in it.

    Attributes
    ----------
    rpm : float
        [rev/min].
    cylinder : int
    x : ndarray, (n_x,)
        Way from the valve [m], middles of the cells.
    angle : ndarray, (n_angle,)
        Crank angle after the cylinder's own firing dead centre, 0 to 720 [deg].
    pressure : ndarray, (n_angle, n_x)
        Absolute [Pa].
    velocity : ndarray, (n_angle, n_x)
        Of the gas, positive away from the valve [m/s].
    joints : list of (float, str)
        Way from the valve [m] and name of each node on it.
    fronts : list of (ndarray, ndarray)
        Way [m] and crank angle [deg] of fronts that leave the valve from exhaust opening to bottom
        dead centre, run to the end, and back.
    events : dict
        Valve events of each side [deg].

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> settings = ws.Settings(cell_length=0.05, tolerance=0.05)
    >>> single = study.engine.replace(firing_order=(1,))
    >>> header = ws.Exhaust(primary=ws.Pipe("700 mm", "40 mm"), merge=None)
    >>> point = ws.run_point(single, header, 4500.0, settings=settings)
    >>> found = ws.wave_diagram(point)
    >>> found.pressure.shape == (len(found.angle), len(found.x))
    True
    >>> ax = found.plot()
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     film = found.animate(step_deg=90.0)
    ...     ws.plots.save_animation(film, f"{folder}/waves.gif").name
    'waves.gif'
    """

    rpm: float
    cylinder: int
    x: np.ndarray
    angle: np.ndarray
    pressure: np.ndarray
    velocity: np.ndarray
    joints: list
    fronts: list
    events: dict

    def __repr__(self) -> str:
        return f"<WaveDiagram: cylinder {self.cylinder}, {self.rpm:g} rev/min, {self.x[-1]:.2f} m>"

    def _columns(self):
        angle, x = np.meshgrid(self.angle, self.x, indexing="ij")
        yield Column("crank_angle", "deg", angle.ravel())
        yield Column("way", "m", x.ravel())
        yield Column("pressure", "Pa", self.pressure.ravel())
        yield Column("velocity", "m/s", self.velocity.ravel())

    def _sheet(self):
        look = display("pressure")
        rows = [["", look.axis, "way [m]", "crank angle [deg]"]]
        for word, find in (("lowest", np.argmin), ("highest", np.argmax)):
            i, j = np.unravel_index(find(self.pressure), self.pressure.shape)
            rows.append([word, look.text(self.pressure[i, j]), f"{self.x[j]:.3f}",
                         f"{self.angle[i]:.0f}"])
        return Sheet(rows, f"pressure behind exhaust valve {self.cylinder}")

    def plot(self, ax: "Axes | None" = None, **image_kws: Any) -> "Axes":
        """Draw the pressure as a picture with the fronts, joints and overlap over it.

        Parameters
        ----------
        ax : matplotlib Axes or None
            None makes a new figure.
        **image_kws
            For the picture.

        Returns
        -------
        matplotlib Axes
        """
        from wavesim.show import plots

        return plots.plot_wave_diagram(self, ax, **image_kws)

    def animate(
        self, axes: "Sequence[Axes] | np.ndarray | None" = None, *, step_deg: float = 10.0
    ) -> "FuncAnimation":
        """Pressure and velocity along the way, moving through one cycle.

        Parameters
        ----------
        axes : pair of matplotlib Axes, or None
            Pressure above, velocity below; None makes a new figure.
        step_deg : float
            Crank angle between two pictures [deg], 0.5 to 90.

        Returns
        -------
        matplotlib.animation.FuncAnimation
            For a notebook (`to_jshtml`), or for `wavesim.plots.save_animation`.
        """
        from wavesim.show import plots

        return plots.animate_waves(self, axes, step_deg=step_deg)


@guarded
def wave_diagram(point: Point, cylinder: int = 1) -> WaveDiagram:
    """Pressure from an exhaust valve to the open air over one cycle, with fronts drawn through it.

    Parameters
    ----------
    point : Point
        With its traces.
    cylinder : int

    Returns
    -------
    WaveDiagram
        On the way with the fewest ducts.

    Raises
    ------
    InputError
        If the point has no traces, there is no such cylinder, or no way leads to the open air.

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> settings = ws.Settings(cell_length=0.05, tolerance=0.05)
    >>> exhaust = study.exhausts["long collector"]
    >>> point = ws.run_point(study.engine, exhaust, 4500.0, settings=settings)
    >>> [name for _, name in ws.wave_diagram(point).joints][-2:]
    ['merge', 'outlet']
    """
    check_kind("wave_diagram", "point", point, Point)
    if point.samples is None:
        raise InputError("wave_diagram: the traces of the point were not kept.")
    cylinder = check_int("wave_diagram", "cylinder", cylinder, 1, point.engine.cylinders)
    way, joints = _way_out(point.network, f"exhaust valve {cylinder}")
    firing = point.meta["firing_angles_deg"][cylinder - 1]
    own = (point.samples.x - firing) % 720.0
    order = np.argsort(own)
    x, starts, before = [], [], 0.0
    for duct, side in way:
        centres, length = point.samples.centres(duct), _length(point, duct)
        x.append(before + (length - centres[::-1] if side == "end" else centres))
        starts.append(before)
        before += length
    ways = [*starts, before]
    return WaveDiagram(
        point.rpm, cylinder, np.concatenate(x), own[order],
        _along(point, "pressure", way)[order], _along(point, "velocity", way)[order],
        list(zip(ways, joints, strict=True)), _fronts(point, way, starts, firing),
        point.meta["events_deg"])


def _along(point, quantity, way):
    """A quantity over crank angle and the whole way, (n_angle, n_x); velocity along the way."""
    found = []
    for duct, side in way:
        field = point.samples.field(quantity, duct).astype(float)
        if side == "end":
            field = -field[:, ::-1] if quantity == "velocity" else field[:, ::-1]
        found.append(field)
    return np.hstack(found)


def _length(point, duct):
    return point.samples.layout["ducts"][duct]["length"]


def _way_out(network, valve):
    """Ducts from a valve to the nearest open end, each with the side it is entered by, and nodes.

    The annulus of a silencer is no way: its holes lie along it.
    """
    annuli = {node.annulus for node in network.nodes.values() if isinstance(node, Perforate)}
    at = {end: name for name, node in network.nodes.items() for end in node.ends}
    (first,) = network.nodes[valve].ends
    todo, seen = deque([((first,), (valve,))]), {first}
    while todo:
        way, joints = todo.popleft()
        duct, side = way[-1]
        node = at[duct, "end" if side == "start" else "start"]
        joints = (*joints, node)
        if isinstance(network.nodes[node], OpenEnd):
            return way, joints
        for end in network.nodes[node].ends:
            if end not in seen and end[0] != duct and end[0] not in annuli:
                seen.add(end)
                todo.append(((*way, end), joints))
    raise InputError(f"wave_diagram: no way leads from {valve!r} to an OpenEnd.")


def _fronts(point, way, starts, firing):
    """Lines of fronts that leave the valve, run to the open end, and back."""
    tracer = Tracer(point)
    opens = point.meta["events_deg"]["exhaust"][0]
    legs = [(duct, side, start, 1.0) for (duct, side), start in zip(way, starts, strict=True)]
    back = [(duct, "start" if side == "end" else "end", start + _length(point, duct), -1.0)
            for duct, side, start, _ in reversed(legs)]
    outlet = next(node for node in point.network.nodes.values()
                  if isinstance(node, OpenEnd) and node.ends[0][0] == way[-1][0])
    found = []
    for leaves in np.linspace(opens, max(opens, BOTTOM), FRONTS):
        now, line = leaves + firing, []
        for i, (duct, side, start, sign) in enumerate([*legs, *back]):
            if i == len(legs):
                now += tracer.beyond(duct, outlet, now)
            angles = tracer.through(duct, side, now)
            step = _length(point, duct) / (angles.size - 1)
            line.append((start + sign * step * np.arange(angles.size), angles - firing))
            now = angles[-1]
        found.append(tuple(np.concatenate(part) for part in zip(*line, strict=True)))
    return found
