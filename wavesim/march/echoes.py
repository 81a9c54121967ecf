"""Echoes: what an exhaust sends back when one valve sends a short pulse, and which part sent it.

The exhaust of a computed point stands still, every cell with its mean temperature and composition
of the cycle, all valves shut, at the pressure outside.  Before the valve that is asked for, the gas
is a little denser over a few cells; that rise runs off as one pulse, and what comes back to the
valves is recorded.  Friction, bends and heat of the walls are left out: at small amplitude they
would damp by laws of still gas.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from scipy.signal import find_peaks

from wavesim.arrays.compile import compile_network
from wavesim.arrays.mesh import ducts_beyond_valves
from wavesim.descriptions.network import Network
from wavesim.descriptions.nodes import ClosedEnd, ValvePort
from wavesim.descriptions.settings import SCHEMES
from wavesim.errors import InputError, check_int, check_kind, check_number
from wavesim.fields.description import sequence
from wavesim.fields.tabular import Column, Sheet, Tabular
from wavesim.kernels import flat as f
from wavesim.kernels.nodes import FP
from wavesim.march.advance import march_to
from wavesim.results.points import Point
from wavesim.results.rays import Way, rays
from wavesim.results.waves import Reflection
from wavesim.show.quantities import rows_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes

AMPLITUDE = 1e-4  # of the pulse over the pressure
CELLS_PER_PULSE = 5.0  # cells in the width of the pulse, its 1/e half length
VISIBLE = 0.02  # share of the pulse from which an echo counts
STILL = 2e-3  # share of the pulse that the last tenth of a record must stay below to be quiet


class Echo(NamedTuple):
    """One echo, as it comes to a shut valve.

    Attributes
    ----------
    time : float
        From the sending to the peak [s].
    size : float
        Its area over that of the pulse that was sent: the share of pressure that comes back, with
        its sign; below 0 where pressure comes back as suction.
    angle : float
        Crank angle after exhaust opening of the sending cylinder, if the pulse was sent then [deg].
    own_angle : float
        The same, counted from the firing dead centre of the cylinder that hears it [deg].
    length : float
        Of the way that it has gone [m]; of that of sound at the valve where `sender` is empty.
    sender : str
        Nodes that sent it back, in order; "straight" if none did, empty if no path explains it.
    in_overlap : bool
        True if it comes in the overlap of the cylinder that hears it.
    """

    time: float
    size: float
    angle: float
    own_angle: float
    length: float
    sender: str
    in_overlap: bool


@dataclass(frozen=True, eq=False)
class Echoes(Tabular):
    """What comes to the valves after a pulse from one of them, as `echoes` returns it.

    Attributes
    ----------
    cylinder : int
        That sent the pulse.
    rpm : float
        Speed of the point [rev/min], by which time becomes crank angle.
    time : ndarray, (n,)
        Since the middle of the pulse left the valve [s].
    records : dict of ndarray, each (n,)
        Pressure above that of still gas at each shut valve, over the peak that the pulse makes at
        its own valve; by cylinder.  An echo is as high as the share of pressure that comes back,
        as far as it has not been drawn out on its way.
    sent : ndarray, (n,)
        The part of the own record that an endless pipe would show: the pulse itself.
    found : dict of list of Echo
        By cylinder, in order of time.
    quiet : bool
        True if all had died away before the record ended.
    """

    cylinder: int
    rpm: float
    time: np.ndarray
    records: Mapping[int, np.ndarray]
    sent: np.ndarray
    found: Mapping[int, list[Echo]]
    quiet: bool

    _index = "time"

    def __repr__(self) -> str:
        heard = len(self.found[self.cylinder])
        return f"<Echoes: cylinder {self.cylinder}, {self.rpm:g} rev/min, {heard} of its own>"

    def reflection(self, frequencies: Sequence[float] | np.ndarray | None = None) -> Reflection:
        """Reflection coefficient of the exhaust as the sending valve sees it.

        Parameters
        ----------
        frequencies : sequence of float, optional
            [Hz], above 0.  Default: 5 to 500 in steps of 5.

        Returns
        -------
        Reflection
            At small amplitude, about gas at rest with the mean gas of the cycle; its `impedance`
            is that of the exhaust looking downstream.

        Raises
        ------
        InputError
            If the record ends before all has died away.

        Notes
        -----
        With G the transform of the pulse that leaves, and R the coefficient, a shut valve hears
        (G + R G*)/(1 - R): what comes back is sent again.  G* is there because the pulse begins
        spread out before the valve.
        """
        if not self.quiet:
            raise InputError(
                f"Echoes: the record of {self.time[-1]:.3g} s ends before the exhaust is still; "
                "ask echoes for a longer one (longest)."
            )
        given = np.arange(5.0, 501.0, 5.0) if frequencies is None else frequencies
        frequency = np.array([
            check_number("Echoes", "frequencies", one, "Hz", 0.0, 2e4, low_open=True)
            for one in sequence("Echoes", "frequencies", given, "frequencies [Hz]")])
        turn = np.exp(-2j * np.pi * frequency[:, None] * self.time)
        heard, sent = turn @ self.records[self.cylinder], turn @ self.sent
        coefficient = (heard - sent) / (heard + sent.conj())
        return Reflection(frequency, coefficient, f"exhaust valve {self.cylinder}")

    def _columns(self):
        yield Column("time", "s", self.time)
        yield Column("crank_angle_after_exhaust_opening", "deg", 6.0 * self.rpm * self.time)
        for cylinder, record in self.records.items():
            yield Column(f"pressure_at_cylinder_{cylinder}", "1", record)

    def _rows(self, cylinder):
        rows = [["ms", "deg after exhaust opening", "way [m]", "share", "overlap", "sent back by"]]
        return rows + [
            [f"{1e3 * echo.time:.2f}", f"{echo.angle:.0f}", f"{echo.length:.2f}",
             f"{echo.size:+.2f}", "yes" if echo.in_overlap else "no", echo.sender or "several"]
            for echo in self.found[cylinder]
        ]

    def table(self, cylinder: int | None = None) -> str:
        """Text table of the echoes that a cylinder hears.

        Parameters
        ----------
        cylinder : int or None
            That listens; None: the one that sent.

        Returns
        -------
        str

        Raises
        ------
        InputError
            If there is no such cylinder.
        """
        cylinder = self.cylinder if cylinder is None else check_int(
            "Echoes", "cylinder", cylinder, 1, len(self.records))
        return rows_text(self._rows(cylinder))

    def _sheet(self):
        title = f"echoes of a pulse from cylinder {self.cylinder} at {self.rpm:g} rev/min"
        return Sheet(self._rows(self.cylinder), title)

    def plot(self, ax: "Axes | None" = None, **line_kws: Any) -> "Axes":
        """Draw what the sending valve hears against crank angle, every echo named.

        Parameters
        ----------
        ax : matplotlib Axes or None
            None makes a new figure.
        **line_kws
            For the record.

        Returns
        -------
        matplotlib Axes
        """
        from wavesim.show import plots

        return plots.plot_echoes(self, ax, **line_kws)


def echoes(
    point: Point,
    cylinder: int = 1,
    *,
    pulse: float = 0.03,
    longest: float | None = None,
    visible: float = VISIBLE,
) -> Echoes:
    """Send a short small pulse from a valve into the exhaust of a point, and name what comes back.

    Parameters
    ----------
    point : Point
        With its traces; their mean over the cycle is the gas that the pulse meets.
    cylinder : int
        Whose exhaust valve sends the pulse.
    pulse : float
        Half length of the pulse, where it has fallen to 1/e [m], 0.005 to 0.5; the pipe at the
        valve must hold 2.5 of it.  Cells are a fifth of it.
    longest : float, optional
        Length of the record [s], 0.001 to 10; default: one cycle of the engine.
    visible : float
        Share of the pulse from which an echo is listed, 0.001 to 1.

    Returns
    -------
    Echoes

    Raises
    ------
    InputError
        If the point has no traces, there is no such cylinder, or the pulse is too long.

    Notes
    -----
    All valves are shut and the gas is at rest, so that the echo of a valve that is open in the
    engine, and what mean flow does to times and losses, are not in it.  An echo is named by the
    path of sound whose time it has (`wavesim.results.rays`); where paths of one time add up, by
    the strongest.

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path())
    >>> settings = ws.Settings(cell_length=0.05, tolerance=0.05)
    >>> exhaust = study.exhausts["long collector"]
    >>> point = ws.run_point(study.engine, exhaust, 4500.0, settings=settings)
    >>> first = ws.echoes(point).found[1][0]
    >>> first.sender, first.size < -0.5
    ('merge', True)
    """
    check_kind("echoes", "point", point, Point)
    if point.samples is None:
        raise InputError("echoes: the traces of the point were not kept, so its gas is not known.")
    cylinder = check_int("echoes", "cylinder", cylinder, 1, len(point.samples.layout["cylinders"]))
    check_number("echoes", "pulse", pulse, "m", 0.005, 0.5)
    check_number("echoes", "visible", visible, "1", 0.001, 1.0)
    longest = 120.0 / point.rpm if longest is None else longest
    check_number("echoes", "longest", longest, "s", 1e-3, 10.0)
    still = _Still(point, pulse)
    still.send(cylinder)
    time, records, quiet = still.listen(longest)
    sent = np.exp(-((still.sound_at(cylinder) * time / pulse) ** 2))
    paths = rays(still.network, still.ways(), still.valves[cylinder], still.valves.values(),
                 longest=longest, faintest=0.2 * visible, capacity=still.capacity())
    found = {
        number: [
            _named(point, still, cylinder, number, time[peak], size, paths)
            for peak, size in _peaks(record - (number == cylinder) * sent, sent, visible)
        ]
        for number, record in records.items()
    }
    return Echoes(cylinder, point.rpm, time, records, sent, found, quiet)


def _peaks(record, sent, visible):
    """(sample, area over that of the pulse) of every hump of a record."""
    unit = 2.0 * sent.sum()  # the record begins in the middle of the pulse
    size = np.abs(record)
    places, _ = find_peaks(size, height=visible, prominence=visible)
    lows, _ = find_peaks(-size)
    turns = np.flatnonzero(np.diff(np.sign(record)))
    edges = np.unique(np.concatenate([[0], lows, turns + 1, [record.size]]))
    found = []
    for place in places:
        after = int(np.searchsorted(edges, place, side="right"))
        found.append((place, record[edges[after - 1] : edges[after]].sum() / unit))
    return [(place, area) for place, area in found if abs(area) >= visible]


def _named(point, still, sender, listener, time, size, paths):
    """The Echo at a time, by the strongest path that has this time."""
    near = still.pulse / still.sound_at(listener)  # half the time of the pulse
    alike = [path for path in paths if path.at == still.valves[listener]
             and abs(path.time - time) < 2.0 * near and path.size * size > 0.0]
    best = max(alike, key=lambda path: abs(path.size), default=None)
    angle = 6.0 * point.rpm * time
    opens = point.meta["events_deg"]["exhaust"][0]
    firing = point.meta["firing_angles_deg"]
    own = (opens + angle + firing[sender - 1] - firing[listener - 1]) % 720.0
    first, last = point.meta["events_deg"]["intake"][0], point.meta["events_deg"]["exhaust"][1]
    length = still.sound_at(listener) * time if best is None else best.length
    named = "" if best is None else _path_text(best.turns, still.valves[sender])
    return Echo(float(time), float(size), float(angle), float(own), float(length), named,
                bool(first <= own <= last))


def _path_text(turns, source):
    """Where a front has turned, in words; turns at the valve that sent it go without saying."""
    turns = [name for name in turns if name != source]
    if not turns:
        return "straight"
    counted = {name: turns.count(name) for name in turns}
    times = {1: "", 2: " twice"}
    return ", ".join(f"{name}{times.get(n, f' {n} times')}" for name, n in counted.items())


class _Still:
    """The exhaust of a point at rest, its valves shut."""

    def __init__(self, point, pulse):
        self.pulse, self.outside = pulse, point.meta["outside"]["exhaust"]["pressure"]
        self.network, self.valves = _alone(point.network.in_weather(point.ambient))
        settings = point.settings.replace(
            cell_length=pulse / CELLS_PER_PULSE, friction=False, wall_heat=False,
            scheme=SCHEMES[0])
        initial = {name: _mean_gas(point.samples, name, self.outside)
                   for name in self.network.ducts}
        self.model = compile_network(
            self.network, point.gas, settings, initial=initial, ambient=point.ambient)
        self.model.net.cells[f.BEND] = 0.0

    def _end(self, cylinder):
        return self.network.nodes[self.valves[cylinder]].ends[0]

    def _gas(self, cells):
        """Density and speed of sound in some cells."""
        model, U = self.model, self.model.state.U[:, cells]
        yf, yb = U[f.Y1] / U[f.R], U[f.Y2] / U[f.R]
        return U[f.R], model.gas.sound_speed(model.state.T[cells], yf, yb)

    def sound_at(self, cylinder):
        """Speed of sound at a valve [m/s]."""
        duct, side = self._end(cylinder)
        lo, hi = self.model.ducts[duct]
        return float(self._gas([lo if side == "start" else hi - 1])[1][0])

    def send(self, cylinder):
        """Raise the pressure before a shut valve, along an isentrope: it runs off as one pulse."""
        duct, side = self._end(cylinder)
        length = self.network.ducts[duct].length
        if length < 2.5 * self.pulse:
            raise InputError(
                f"echoes: pulse = {self.pulse:g} m must be at most {length / 2.5:.3g} m, for the "
                f"duct {duct!r} at the valve must hold 2.5 of it."
            )
        model, gas = self.model, self.model.gas
        cells = slice(*model.ducts[duct])
        x = model.centres(duct)
        away = x if side == "start" else length - x
        ratio = 1.0 + AMPLITUDE * np.exp(-((away / self.pulse) ** 2))
        U, T = model.state.U[:, cells], model.state.T[cells]
        yf, yb = U[f.Y1] / U[f.R], U[f.Y2] / U[f.R]
        gamma = gas.gamma(T, yf, yb)
        T = T * ratio ** ((gamma - 1.0) / gamma)
        rho = gas.density(self.outside * ratio, T, yf, yb)
        model.state.U[[f.R, f.E, f.Y1, f.Y2], cells] = (
            rho, rho * gas.e(T, yf, yb), rho * yf, rho * yb)
        model.state.T[cells] = T

    def listen(self, longest):
        """March and record: time [s], records by cylinder, and whether all has died away."""
        model = self.model
        rows = [model.ends[self._end(cylinder)] for cylinder in self.valves]
        inside = np.concatenate([np.arange(*cells) for cells in model.ducts.values()])
        rate = float(np.max(self._gas(inside)[1] * model.net.cells[f.INV_DX, inside]))
        dt = 0.98 * model.settings.cfl / rate  # a little less than the solver would take
        heard = np.empty((max(2, int(longest / dt)), len(rows)))
        for step in range(len(heard)):
            march_to(model, (step + 1) * dt, model.settings.max_steps_per_cycle)
            heard[step] = model.face[rows, FP]
        records = (heard.T / self.outside - 1.0) / AMPLITUDE
        quiet = bool(np.abs(records[:, -len(heard) // 10 :]).max() < STILL)
        return (np.arange(len(heard)) + 0.5) * dt, dict(zip(self.valves, records, strict=True)), (
            quiet)

    def ways(self):
        """Ducts as sound sees them."""
        found, area = {}, self.model.net.area
        for name, (lo, hi) in self.model.ducts.items():
            rho, c = self._gas(slice(lo, hi))
            time = float(np.sum(self.model.dx[name] / c))
            ends = tuple(float(area[face] / (rho[cell] * c[cell]))
                         for face, cell in ((lo, 0), (hi, -1)))
            found[name] = Way(time, time, self.network.ducts[name].length, ends)
        return found

    def capacity(self):
        """Admittance of stores in the time of the pulse, by name."""
        found = {}
        for name, row in self.model.stores.items():
            node = self.network.nodes.get(name)
            volume = float(self.model.net.store_volume[row])
            if node is None or not node.ends or not volume > 0.0:
                continue
            duct, side = node.ends[0]
            lo, hi = self.model.ducts[duct]
            rho, c = (float(values[0]) for values in self._gas([lo if side == "start" else hi - 1]))
            found[name] = volume / (rho * c * c * (self.pulse * np.sqrt(np.pi) / c))
        return found


def _alone(network):
    """The exhaust side with its valves shut, and the names of these by cylinder."""
    reached, _ = ducts_beyond_valves(network, "exhaust")
    nodes, valves = {}, {}
    for name, node in network.nodes.items():
        first = node.ends[0][0] if node.ends else node.core
        if first not in reached:
            continue
        if isinstance(node, ValvePort):
            valves[node.cylinder] = name
            node = ClosedEnd(node.at)
        nodes[name] = node
    ducts = {name: duct for name, duct in network.ducts.items() if name in reached}
    return Network(ducts, nodes), dict(sorted(valves.items()))


def _mean_gas(samples, duct, pressure):
    """Start state of a duct: the mean gas of the cycle at rest."""
    x = samples.centres(duct)
    mean = [samples.field(quantity, duct).mean(axis=0, dtype=float)
            for quantity in ("temperature", "fresh", "burned")]

    def start(place):
        T, yf, yb = (np.interp(place, x, values) for values in mean)
        return pressure, 0.0, T, (yf, yb)

    return start
