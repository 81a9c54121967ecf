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

from wavesim.arrays.compile import compile_network
from wavesim.arrays.mesh import ducts_beyond_valves
from wavesim.descriptions.network import Network
from wavesim.descriptions.nodes import AnechoicEnd, ClosedEnd, OpenEnd, ValvePort
from wavesim.descriptions.settings import SCHEMES, Settings
from wavesim.descriptions.weather import Ambient, as_ambient
from wavesim.errors import InputError, check_int, check_kind, check_number
from wavesim.fields.description import sequence
from wavesim.fields.tabular import Column, Sheet, Tabular
from wavesim.gas.models import EngineGas, PerfectGas, given_gas
from wavesim.guard import guarded
from wavesim.kernels import flat as f
from wavesim.kernels.nodes import FP
from wavesim.march.advance import march_to
from wavesim.march.running import Running
from wavesim.results.arrivals import Tracer
from wavesim.results.points import Point
from wavesim.results.rays import Way, rays, turns_text
from wavesim.results.waves import Reflection
from wavesim.show.quantities import rows_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes

AMPLITUDE = 1e-4  # of the pulse over the pressure
CELLS_PER_PULSE = 5.0  # cells in the width of the pulse, its 1/e half length
VISIBLE = 0.05  # share of the pulse from which an echo counts
LOUD = 0.5  # share of the strongest echo from which the first one stands for a pair of cylinders
LEFT = 2.0  # half lengths after which the pulse has left its valve
STILL = 1e-4  # share of the pulse below which an exhaust is still


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

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> settings = ws.Settings(cell_length=0.05, tolerance=0.05)
    >>> single = study.engine.replace(firing_order=(1,))
    >>> header = ws.Exhaust(primary=ws.Pipe("700 mm", "40 mm"), merge=None)
    >>> point = ws.run_point(single, header, 4500.0, settings=settings)
    >>> echo = ws.echoes(point).found[1][0]
    >>> echo.sender, bool(echo.size < -0.5)
    ('step exhaust port 1 - primary 1', False)
    """

    time: float
    size: float
    angle: float
    own_angle: float
    length: float
    sender: str
    in_overlap: bool


@guarded
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
        as far as it has not been drawn out on its way.  With flow, pressure above that of the same
        engine without the pulse.
    sent : ndarray, (n,)
        The part of the own record that an endless pipe would show: the pulse itself.
    found : dict of list of Echo
        By cylinder, in order of time.
    overlap : (float, float) or None
        Overlap of each cylinder in crank angle after its exhaust opening [deg].
    flow : bool
        True if the engine ran; False if the gas stood still and all valves were shut.

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> settings = ws.Settings(cell_length=0.05, tolerance=0.05)
    >>> single = study.engine.replace(firing_order=(1,))
    >>> header = ws.Exhaust(primary=ws.Pipe("700 mm", "40 mm"), merge=None)
    >>> point = ws.run_point(single, header, 4500.0, settings=settings)
    >>> found = ws.echoes(point)
    >>> [echo.sender for echo in found.found[1][:1]]
    ['step exhaust port 1 - primary 1']
    >>> len(found.table(cylinder=1)) > 0
    True
    >>> ax = found.plot()
    """

    cylinder: int
    rpm: float
    time: np.ndarray
    records: Mapping[int, np.ndarray]
    sent: np.ndarray
    found: Mapping[int, list[Echo]]
    overlap: tuple[float, float] | None
    flow: bool = False

    _index = "time"

    def __repr__(self) -> str:
        heard = len(self.found[self.cylinder])
        return f"<Echoes: cylinder {self.cylinder}, {self.rpm:g} rev/min, {heard} of its own>"

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
        title = (f"echoes of a pulse from cylinder {self.cylinder} at {self.rpm:g} rev/min, "
                 f"{'engine running' if self.flow else 'gas at rest'}")
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


@guarded
def echoes(
    point: Point,
    cylinder: int = 1,
    *,
    pulse: float = 0.03,
    longest: float | None = None,
    visible: float = VISIBLE,
    flow: bool = False,
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
    flow : bool
        False: the gas stands still and all valves are shut.  True: the pulse is sent into the
        running engine when the exhaust valve opens, and runs in the gas as it moves; it takes some
        ten times as long.

    Returns
    -------
    Echoes

    Raises
    ------
    InputError
        If the point has no traces, there is no such cylinder, or the pulse is too long; with flow,
        if the point lacks the gas to go on from.

    Notes
    -----
    In still gas the echo of a valve that is open in the engine, and what flow does to times and
    losses, are left out.  With flow they are in it, and a record at an open valve is lower than at
    a shut one, which doubles what comes.  An echo is named by the
    path of sound whose time it has (`wavesim.results.rays`); where paths of one time add up, by
    the strongest.

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
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
    check_kind("echoes", "flow", flow, bool)
    longest = 120.0 / point.rpm if longest is None else longest
    check_number("echoes", "longest", longest, "s", 1e-3, 10.0)
    still = _of_point(point, pulse)
    still.send(cylinder)
    if flow:
        angle = point.meta["events_deg"]["exhaust"][0] + (
            point.meta["firing_angles_deg"][cylinder - 1])
        time, records, sound = Running(point, pulse / CELLS_PER_PULSE).response(
            cylinder, angle, pulse, longest)
    else:
        (time, records), sound = still.listen(longest), still.sound_at(cylinder)
    sent = np.exp(-((sound * time / pulse) ** 2))
    paths = rays(still.network, still.ways(), still.valves[cylinder], still.valves.values(),
                 longest=longest, faintest=0.2 * visible, capacity=still.capacity(),
                 delay=still.delays())
    if flow:
        paths = _in_moving_gas(point, cylinder, paths)
    found = {
        number: [
            _named(point, still, cylinder, number, time[peak], size, paths)
            for peak, size in _peaks(record - (number == cylinder) * sent, sent, visible)
            if time[peak] * sound > LEFT * pulse  # before, it is the pulse itself
        ]
        for number, record in records.items()
    }
    return Echoes(cylinder, point.rpm, time, records, sent, found, _overlap(point), flow)


@guarded
@dataclass(frozen=True, eq=False)
class CrossTalk(Tabular):
    """Which cylinder is heard at whose exhaust valve, as `cross_talk` returns it.

    Attributes
    ----------
    rpm : float
        Engine speed [rev/min].
    size : ndarray, (n_cyl, n_cyl)
        Share of the pressure of cylinder i + 1 that comes to the valve of cylinder j + 1 in the
        first loud echo, [i, j]; on the diagonal a cylinder hears itself.  0 where none is heard.
    time : ndarray, (n_cyl, n_cyl)
        How long it is on its way [s].
    first_angle, peak_angle : ndarray, (n_cyl, n_cyl)
        When the pulse of exhaust opening, and when its peak, comes to the valve of cylinder j + 1,
        in crank angle after the firing dead centre of that cylinder, 0 to 720 [deg].
    in_overlap : ndarray of bool, (n_cyl, n_cyl)
        True where the pulse, as long after its peak as before it, meets the overlap of j + 1.

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> settings = ws.Settings(cell_length=0.05, tolerance=0.05)
    >>> exhaust = study.exhausts["long collector"]
    >>> found = ws.cross_talk(ws.run_point(study.engine, exhaust, 4500.0, settings=settings))
    >>> found.size.shape, bool(found.size[0, 1] > 0.2)
    ((4, 4), True)
    >>> len(found.table().splitlines()) > 4
    True
    >>> ax = found.plot()
    """

    rpm: float
    size: np.ndarray
    time: np.ndarray
    first_angle: np.ndarray
    peak_angle: np.ndarray
    in_overlap: np.ndarray

    def __repr__(self) -> str:
        return f"<CrossTalk: {len(self.size)} cylinders, {self.rpm:g} rev/min>"

    def _pairs(self):
        return [(i, j) for i in range(len(self.size)) for j in range(len(self.size))]

    def _columns(self):
        pairs = self._pairs()
        yield Column("sender", "", [i + 1 for i, _ in pairs])
        yield Column("listener", "", [j + 1 for _, j in pairs])
        for name, unit in (("size", "1"), ("time", "s"), ("first_angle", "deg"),
                           ("peak_angle", "deg"), ("in_overlap", "")):
            yield Column(name, unit, [getattr(self, name)[pair].item() for pair in pairs])

    def _rows(self):
        rows = [["from", "to", "share", "ms", "deg after own firing TDC", "overlap"]]
        for i, j in sorted(self._pairs(), key=lambda pair: (pair[0] == pair[1], pair)):
            rows.append([
                f"{i + 1}", f"{j + 1}", f"{self.size[i, j]:+.2f}", f"{1e3 * self.time[i, j]:.2f}",
                f"{self.first_angle[i, j]:.0f} to {self.peak_angle[i, j]:.0f}",
                "yes" if self.in_overlap[i, j] else "no"])
        return rows

    def table(self) -> str:
        """Text table: a line for each sender and listener, those that hear themselves last."""
        return rows_text(self._rows())

    def _sheet(self):
        return Sheet(self._rows(), f"cross-talk at {self.rpm:g} rev/min")

    def plot(self, ax: "Axes | None" = None, **image_kws: Any) -> "Axes":
        """Draw the shares as a picture over senders and listeners, those in overlap framed.

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

        return plots.plot_cross_talk(self, ax, **image_kws)


@guarded
def cross_talk(point: Point, **kwargs: Any) -> CrossTalk:
    """Find which cylinder is heard at whose exhaust valve, how loud and when.

    Parameters
    ----------
    point : Point
        With its traces.
    **kwargs
        As for `echoes`: pulse, longest, visible, flow.

    Returns
    -------
    CrossTalk

    Raises
    ------
    InputError
        As `echoes` does.

    Notes
    -----
    One march of `echoes` for each cylinder.  The peak of a pulse leaves the valve later than its
    front by as much as the pressure at the valve of the point takes to its highest value within 120
    deg after exhaust opening.  Loud is what has half of the strongest echo.

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> point = ws.run_point(study.engine, study.exhausts["short collector"], 4500,
    ...                      settings=ws.Settings(cell_length=0.05, tolerance=0.02))
    >>> len(cross_talk(point).size)
    4
    """
    check_kind("cross_talk", "point", point, Point)
    n = point.engine.cylinders
    size, time, first = (np.zeros((n, n)) for _ in range(3))
    rise = np.zeros((n, 1))
    opens, closes = point.meta["events_deg"]["exhaust"]
    intake_opens = point.meta["events_deg"]["intake"][0]
    for i in range(n):
        heard = echoes(point, i + 1, **kwargs)
        own = point.trace("pressure", f"exhaust valve {i + 1}").own_angle(i + 1)
        rise[i] = own.highest(opens, opens + 120.0).x - opens
        for j in range(n):
            found = _first_loud(heard.found[j + 1])
            if found is not None:
                size[i, j], time[i, j], first[i, j] = found.size, found.time, found.own_angle
    lasts = first + 2.0 * rise
    meets = (size != 0.0) & np.any(
        [(first + turn < closes) & (lasts + turn > intake_opens) for turn in (0.0, -720.0)], axis=0)
    return CrossTalk(point.rpm, size, time, first, (first + rise) % 720.0, meets)


def _in_moving_gas(point, cylinder, paths):
    """Paths with the times that fronts need along the recorded gas, sent at exhaust opening."""
    tracer, opens = Tracer(point), point.meta["events_deg"]["exhaust"][0]
    times = (tracer.late(path, opens, cylinder) / (6.0 * point.rpm) for path in paths)
    return [path._replace(time=time) for path, time in zip(paths, times, strict=True)
            if np.isfinite(time)]


def _first_loud(found):
    """The first echo that has at least `LOUD` of the strongest, or None."""
    most = max((abs(echo.size) for echo in found), default=0.0)
    return next((echo for echo in found if abs(echo.size) >= LOUD * most), None)


def _peaks(record, sent, visible):
    """(sample, area over that of the pulse) of every hump of a record."""
    from scipy.signal import find_peaks  # slow to load, and few runs need it

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


def _overlap(point):
    """Overlap in crank angle after exhaust opening [deg], or None."""
    (opens, stop), (start, _) = (point.meta["events_deg"][side] for side in ("exhaust", "intake"))
    return (start - opens, stop - opens) if start < stop else None


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
    named = "" if best is None else (
        turns_text(name for name in best.turns if name != still.valves[sender]) or "straight")
    return Echo(float(time), float(size), float(angle), float(own), float(length), named,
                bool(first <= own <= last))


@guarded
def exhaust_reflection(
    source: Point | Network,
    cylinder: int = 1,
    *,
    frequencies: Sequence[float] | np.ndarray | None = None,
    temperature: float | None = None,
    gas: PerfectGas | EngineGas | None = None,
    ambient: Ambient | None = None,
    pulse: float = 0.03,
    longest: float = 1.0,
) -> Reflection:
    """Reflection coefficient of an exhaust as the valve of a cylinder sees it, small waves.

    Parameters
    ----------
    source : Point or Network
        A point with its traces, whose mean gas of the cycle stands still in the exhaust; or a
        network with the valve ports of an engine, such as `Exhaust.network` gives, in which burned
        gas of one temperature stands still.
    cylinder : int
        From whose exhaust valve it is seen; all other valves are shut.
    frequencies : sequence of float, optional
        [Hz], above 0.  Default: 5 to 500 in steps of 5.
    temperature : float, optional
        Of the gas in a Network [K], 200 to 2000; default: 900.  None for a Point.
    gas : PerfectGas or EngineGas, optional
        In a Network; default: that of burned gasoline.  None for a Point.
    ambient : Ambient, optional
        Weather of a Network; default: an Ambient().  None for a Point.
    pulse : float
        Half length of the pulse that is sent [m], as for `echoes`.
    longest : float
        Time after which the march ends if the exhaust is not still [s], 0.01 to 10: peaks that are
        sharper than its inverse are blurred.

    Returns
    -------
    Reflection
        With the impedance looking downstream.

    Raises
    ------
    InputError
        If a value is out of range, there is no such cylinder, or a Point comes with a temperature,
        a gas or a weather.

    Notes
    -----
    One pulse of a thousandth of a bar at most, friction and wall heat left out, the valve replaced
    by an end that swallows what comes.  With G the transform of the pulse, which begins spread out
    before the valve, it hears (G + R G*)/2.

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> network = study.exhausts["long collector"].network(study.engine)
    >>> found = ws.exhaust_reflection(network, frequencies=[20.0], temperature=900.0)
    >>> found.coefficient.shape
    (1,)
    """
    owner = "exhaust_reflection"
    check_kind(owner, "source", source, Point, Network)
    check_number(owner, "pulse", pulse, "m", 0.005, 0.5)
    check_number(owner, "longest", longest, "s", 0.01, 10.0)
    given = np.arange(5.0, 501.0, 5.0) if frequencies is None else frequencies
    frequency = np.array([
        check_number(owner, "frequencies", one, "Hz", 0.0, 2e4, low_open=True)
        for one in sequence(owner, "frequencies", given, "frequencies [Hz]")])
    if isinstance(source, Point):
        if not temperature is gas is ambient is None:
            raise InputError(f"{owner}: a Point has its own temperature, gas and weather.")
        cylinder = check_int(owner, "cylinder", cylinder, 1, source.engine.cylinders)
        still = _of_point(source, pulse, cylinder)
    else:
        still = _of_network(source, cylinder, temperature, gas, as_ambient(ambient), pulse)
    still.send(cylinder)
    time, records = still.listen(longest, STILL)
    sent = np.exp(-((still.sound_at(cylinder) * time / pulse) ** 2))
    turn = np.exp(-2j * np.pi * frequency[:, None] * time)
    heard, pulse_heard = turn @ records[cylinder], turn @ sent
    coefficient = (2.0 * heard - pulse_heard) / pulse_heard.conj()
    return Reflection(frequency, coefficient, still.valves[cylinder])


def _of_network(network, cylinder, temperature, gas, ambient, pulse):
    """A network at rest with burned gas of one temperature."""
    owner = "exhaust_reflection"
    T = 900.0 if temperature is None else check_number(
        owner, "temperature", temperature, "K", 200.0, 2000.0)
    known = [node.cylinder for node in network.nodes.values() if isinstance(node, ValvePort)]
    if not known:
        raise InputError(f"{owner}: the Network has no valve port to look from.")
    check_int(owner, "cylinder", cylinder, 1, max(known))
    gas = given_gas(owner, gas) or EngineGas()
    network = network.in_weather(ambient)
    return _Still(
        network, gas, Settings(), ambient, outside=network.air_outside("exhaust", ambient).pressure,
        mean_gas=lambda duct: lambda x: [np.full(len(x), value) for value in (T, 0.0, 1.0)],
        pulse=pulse, swallows=cylinder)


class _Still:
    """The exhaust side of a network at rest, its valves shut; one of them may swallow what comes.

    Parameters
    ----------
    network : Network
        With its weather.
    gas, settings, ambient
        As for a run.
    outside : float
        Pressure everywhere [Pa].
    mean_gas : callable
        From the name of a duct to a function of x that gives temperature and mass fractions.
    pulse : float
        Half length of the pulse [m].
    swallows : int or None
        Cylinder whose valve does.
    """

    def __init__(
        self, network, gas, settings, ambient, *, outside, mean_gas, pulse, swallows=None
    ):
        self.pulse, self.outside = pulse, outside
        self.network, self.valves = _alone(network)
        if swallows is not None:
            self._swallow(swallows, mean_gas)
        settings = settings.replace(
            cell_length=pulse / CELLS_PER_PULSE, friction=False, wall_heat=False,
            scheme=SCHEMES[0], unequal_pressures=True)
        initial = {name: _at_rest(outside, mean_gas(name)) for name in self.network.ducts}
        self.model = compile_network(
            self.network, gas, settings, initial=initial, ambient=ambient)
        self.model.net.cells[f.BEND] = 0.0

    def _swallow(self, cylinder, mean_gas):
        """Put an end that sends nothing back in the place of a valve."""
        name, (duct, side) = self.valves[cylinder], self._end(cylinder)
        x = 0.0 if side == "start" else self.network.ducts[duct].length
        T, _, _ = mean_gas(duct)(np.array([x]))
        end = AnechoicEnd(f"{duct}.{side}", pressure=self.outside, temperature=float(T[0]))
        self.network = self.network.without_node(name).with_node(name, end)

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

    def listen(self, longest, quiet=0.0):
        """March and record: time [s] and records by cylinder.

        It ends early when all records have stayed below `quiet` for a tenth of `longest`.
        """
        model = self.model
        rows = [model.ends[self._end(cylinder)] for cylinder in self.valves]
        inside = np.concatenate([np.arange(*cells) for cells in model.ducts.values()])
        rate = float(np.max(self._gas(inside)[1] * model.net.cells[f.INV_DX, inside]))
        dt = 0.98 * model.settings.cfl / rate  # a little less than the solver would take
        heard = np.empty((max(2, int(longest / dt)), len(rows)))
        last = look = max(1, len(heard) // 10)
        for step in range(len(heard)):
            march_to(model, (step + 1) * dt, model.settings.max_steps_per_cycle)
            heard[step] = (model.face[rows, FP] / self.outside - 1.0) / AMPLITUDE
            if np.abs(heard[step]).max() >= quiet:
                last = step + look
            elif step >= last:
                heard = heard[: step + 1]
                break
        return (np.arange(len(heard)) + 0.5) * dt, dict(zip(self.valves, heard.T, strict=True))

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


    def delays(self):
        """Time that sound spends beyond open ends, by name: there and back along their correction.

        End corrections 0.6133 and 0.8217 of the radius, as the march has them.
        """
        found = {}
        for name, node in self.network.nodes.items():
            if isinstance(node, OpenEnd):
                duct, side = node.ends[0]
                lo, hi = self.model.ducts[duct]
                c = float(self._gas([lo if side == "start" else hi - 1])[1][0])
                end = self.model.net.end_par[self.model.ends[duct, side]]
                found[name] = 2.0 * end[f.RAD_MASS] * end[f.RAD_RADIUS] / c
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


def _of_point(point, pulse, swallows=None):
    """The exhaust of a point at rest with its mean gas of the cycle."""
    samples = point.samples

    def mean_gas(duct):
        x = samples.centres(duct)
        means = [samples.field(quantity, duct).mean(axis=0, dtype=float)
                 for quantity in ("temperature", "fresh", "burned")]
        return lambda place: [np.interp(place, x, mean) for mean in means]

    return _Still(
        point.network.in_weather(point.ambient), point.gas, point.settings, point.ambient,
        outside=point.meta["outside"]["exhaust"]["pressure"], mean_gas=mean_gas, pulse=pulse,
        swallows=swallows)


def _at_rest(pressure, mean_gas):
    """Start state of a duct."""
    def start(x):
        T, yf, yb = mean_gas(x)
        return pressure, 0.0, T, (yf, yb)

    return start
