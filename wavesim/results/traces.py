"""Recorded samples of a run, and one quantity at one place against crank angle or time."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from math import pi
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from wavesim.descriptions.engine import CYCLE_DEG
from wavesim.errors import InputError, check_choice, check_int, check_number
from wavesim.fields.tabular import Column, Sheet, Tabular, data_frame, data_set, write_csv
from wavesim.gas.models import TableGas
from wavesim.guard import guarded
from wavesim.show.quantities import TRACES, display

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from pandas import DataFrame
    from xarray import Dataset

_FIELD = ("pressure", "velocity", "temperature", "fresh", "burned")
_STORE = ("pressure", "temperature", "mass", "fresh", "burned")
_FACE = ("pressure", "velocity", "mass_flow")
_OF_GAS = ("density", "sound_speed", "gamma")  # follow from pressure, temperature, composition
_IN_DUCT = (*_FIELD, "mass_flow", *_OF_GAS, "mach")
_IN_STORE = (*_STORE, *_OF_GAS, "volume")
SAMPLE_ARRAYS = ("x", "cells", "stores", "faces")  # of Samples
ANGLE_LIMIT = 10.0 * CYCLE_DEG  # of windows: beyond it an angle is a slip
#: What x is, by its name: (name of the column, unit).
_AXES = {"theta_deg": ("crank_angle", "deg"), "time": ("time", "s")}
_KINDS = ("ducts", "stores", "nodes")  # of places


class Extreme(NamedTuple):
    """Lowest or highest value of a trace.

    Attributes
    ----------
    x : float
        Crank angle [deg] or time [s].
    value : float
        SI unit of the trace.

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> settings = ws.Settings(cell_length=0.05, tolerance=0.05)
    >>> single = study.engine.replace(firing_order=(1,))
    >>> header = ws.Exhaust(primary=ws.Pipe("700 mm", "40 mm"), merge=None)
    >>> point = ws.run_point(single, header, 4500.0, settings=settings)
    >>> peak = point.trace("pressure", "exhaust valve 1").highest()
    >>> bool(peak.value > 1.5e5), 0.0 <= peak.x < 720.0
    (True, True)
    """

    x: float
    value: float


@guarded
@dataclass(frozen=True, eq=False)
class Trace(Tabular):
    """One quantity against crank angle or time.

    Attributes
    ----------
    x : ndarray, (n_sample,)
        Crank angle [deg], 0 at the firing top dead centre of `cylinder`, or time [s].
    values : ndarray, (n_sample,)
        In SI units.
    quantity, at : str
        What and where.
    x_name : str
        "theta_deg" or "time".
    rpm : float or None
        Engine speed [rev/min].
    firing_angles_deg : tuple of float
        Where on `x` each cylinder has its firing top dead centre [deg].
    cylinder : int
        From whose firing top dead centre the crank angle counts.

    Examples
    --------
    Between samples a trace is a straight line, and one against crank angle repeats itself:

    >>> x = np.arange(0.0, 720.0, 180.0)
    >>> trace = Trace(x, np.array([4e5, 1e5, 2e5, 1e5]), "pressure", "cylinder 1",
    ...               rpm=3000.0, firing_angles_deg=(0.0, 540.0))
    >>> trace.mean(), trace.mean(630.0, 90.0)
    (200000.0, 325000.0)
    >>> trace.highest(180.0, 540.0).value
    200000.0
    >>> ax = trace.plot()
    >>> trace.own_angle(2).values.tolist()
    [100000.0, 400000.0, 100000.0, 200000.0]
    """

    x: np.ndarray
    values: np.ndarray
    quantity: str
    at: str
    x_name: str = "theta_deg"
    rpm: float | None = None
    firing_angles_deg: tuple = ()
    cylinder: int = 1

    @property
    def unit(self) -> str:
        """SI unit of the values."""
        return TRACES[self.quantity].unit

    def own_angle(self, cylinder: int, start: float = 0.0) -> "Trace":
        """The same trace against a cylinder's own crank angle.

        Parameters
        ----------
        cylinder : int
            Number of the cylinder, from 1.
        start : float
            Own angle at which the trace begins [deg], -720 to 720.

        Returns
        -------
        Trace
            0 is the firing top dead centre of that cylinder, 360 that of gas exchange; every
            value stays what it was.

        Raises
        ------
        InputError
            If the trace runs over time or there is no such cylinder.

        Examples
        --------
        >>> x = np.arange(0.0, 720.0, 1.0)
        >>> trace = Trace(x, x, "temperature", "outlet", firing_angles_deg=(0.0, 540.0))
        >>> own = trace.own_angle(2, start=-180.0)
        >>> float(own.x[0]), float(own.values[0])
        (-180.0, 360.0)
        """
        self._must_be_cyclic("own_angle")
        last = len(self.firing_angles_deg)
        firing = self.firing_angles_deg[check_int("own_angle", "cylinder", cylinder, 1, last) - 1]
        start = check_number("own_angle", "start", start, "deg", -CYCLE_DEG, CYCLE_DEG)
        x = (self.x - firing - start) % CYCLE_DEG + start
        order = np.argsort(x, kind="stable")
        shifted = tuple((angle - firing) % CYCLE_DEG for angle in self.firing_angles_deg)
        return replace(self, x=x[order], values=self.values[order], firing_angles_deg=shifted,
                       cylinder=int(cylinder))

    def mean(self, start: float | None = None, stop: float | None = None) -> float:
        """Mean over a window of crank angle or time.

        Parameters
        ----------
        start, stop : float or None
            Ends of the window on `x`, [deg] or [s].  Crank angles run on beyond 720: from 600 to
            120 is the same window as from 600 to 840.  Both None: the whole trace.

        Returns
        -------
        float
            Of the straight lines between the samples, SI unit.

        Raises
        ------
        InputError
            If only one end is given, the window is empty, longer than a cycle, or leaves the time
            that was recorded.

        Examples
        --------
        >>> trace = Trace(np.arange(0.0, 720.0, 1.0), np.arange(720.0), "velocity", "outlet")
        >>> trace.mean(100.0, 200.0)
        150.0
        """
        x, (y,) = self._window("mean", start, stop)
        return _area(x, y) / float(x[-1] - x[0])

    def integral(
        self,
        start: float | None = None,
        stop: float | None = None,
        *,
        over: "Trace | None" = None,
    ) -> float:
        """Integral over time, or over another trace.

        Parameters
        ----------
        start, stop : float or None
            Window, as for `mean`.
        over : Trace or None
            Trace with the same `x`, such as the volume of the cylinder; None: time.

        Returns
        -------
        float
            SI unit of the values times s, or times that of `over`; by the trapezoidal rule.  The
            integral of pressure over volume is the work of the gas [J].

        Raises
        ------
        InputError
            As `mean` does; if the trace knows no engine speed; if `over` has another `x`.

        Examples
        --------
        >>> x = np.arange(0.0, 720.0, 1.0)
        >>> flow = Trace(x, np.full(720, 0.02), "mass_flow", "outlet", rpm=6000.0)
        >>> round(flow.integral(), 12)  # a cycle of 6000 rev/min takes 0.02 s
        0.0004
        """
        if over is None:
            x, (y,) = self._window("integral", start, stop)
            return _area(x, y) * self._seconds("integral")
        if not isinstance(over, Trace) or not np.array_equal(over.x, self.x):
            raise InputError("integral: over must be a Trace with the same x as this one.")
        _, (y, z) = self._window("integral", start, stop, over.values)
        return _area(z, y)

    def lowest(self, start: float | None = None, stop: float | None = None) -> "Extreme":
        """Lowest value in a window, and where it is.

        Parameters
        ----------
        start, stop : float or None
            Window, as for `mean`.

        Returns
        -------
        Extreme
            Place and value; the first of several that are equal.

        Raises
        ------
        InputError
            As `mean` does.

        Examples
        --------
        >>> trace = Trace(np.arange(0.0, 720.0, 1.0), np.arange(720.0), "velocity", "outlet")
        >>> trace.lowest(100.0, 200.0)
        Extreme(x=100.0, value=100.0)
        """
        return self._extreme("lowest", np.argmin, start, stop)

    def highest(self, start: float | None = None, stop: float | None = None) -> "Extreme":
        """Highest value in a window, and where it is: see `lowest`."""
        return self._extreme("highest", np.argmax, start, stop)

    def _extreme(self, owner, find, start, stop):
        x, (y,) = self._window(owner, start, stop)
        i = int(find(y))
        if self._is_cyclic:
            first = float(self.x[0]) if start is None else start
            return Extreme(float(x[i] + first), float(y[i]))
        return Extreme(float(x[i]), float(y[i]))

    @property
    def _is_cyclic(self):
        return self.x_name != "time"

    def _must_be_cyclic(self, owner):
        if not self._is_cyclic:
            raise InputError(f"{owner}: the trace of {self.at!r} runs over time, not crank angle.")

    def _seconds(self, owner):
        """Time [s] in one unit of `x`."""
        if not self._is_cyclic:
            return 1.0
        if self.rpm is None:
            raise InputError(f"{owner}: the trace of {self.at!r} knows no engine speed (rpm).")
        return 1.0 / (6.0 * self.rpm)

    def _window(self, owner, start, stop, *more):
        """Corners of the straight lines in a window: places, and values of this and `more`."""
        if (start is None) != (stop is None):
            raise InputError(f"{owner}: start and stop must be given both or not at all.")
        columns = (self.values, *more)
        if self._is_cyclic:
            return self._turning_window(owner, start, stop, columns)
        first, last = float(self.x[0]), float(self.x[-1])
        if start is None:
            start, stop = first, last
        start = check_number(owner, "start", start, "s", first, last, high_open=True)
        stop = check_number(owner, "stop", stop, "s", start, last, low_open=True)
        inside = (self.x > start) & (self.x < stop)
        x = np.concatenate([[start], self.x[inside], [stop]])
        return x, [np.interp(x, self.x, column) for column in columns]

    def _turning_window(self, owner, start, stop, columns):
        if start is None:
            start, stop = float(self.x[0]), float(self.x[0]) + CYCLE_DEG
        start = check_number(owner, "start", start, "deg", -ANGLE_LIMIT, ANGLE_LIMIT)
        stop = check_number(owner, "stop", stop, "deg", -ANGLE_LIMIT, ANGLE_LIMIT)
        width = stop - start if stop > start else (stop - start) % CYCLE_DEG
        if not 0.0 < width <= CYCLE_DEG:
            raise InputError(
                f"{owner}: from start = {start:g} deg to stop = {stop:g} deg must be more than 0 "
                f"and at most {CYCLE_DEG:g} deg."
            )
        places = np.sort((self.x - start) % CYCLE_DEG)
        x = np.concatenate([[0.0], places[(places > 0.0) & (places < width)], [width]])
        return x, [np.interp(x + start, self.x, column, period=CYCLE_DEG) for column in columns]

    def plot(self, ax: "Axes | None" = None, **line_kws: Any) -> "Axes":
        """Draw the trace on a matplotlib Axes and return it."""
        from wavesim.show import plots

        return plots.plot_trace(self, ax=ax, **line_kws)

    def __repr__(self) -> str:
        return f"<Trace: {self.quantity} at {self.at}, {self.x.size} samples>"

    @property
    def _index(self):
        return _AXES[self.x_name][0]

    def _columns(self):
        return [Column(*_AXES[self.x_name], self.x),
                Column(self.quantity, self.unit, self.values)]

    def _sheet(self):
        shown, (x, *_) = display(self.quantity), self._columns()
        rows = [["", shown.axis, f"at {x.heading}".replace("_", " ")]]
        for word, find in (("lowest", np.argmin), ("highest", np.argmax)):
            i = find(self.values)
            rows.append([word, shown.text(self.values[i]), f"{self.x[i]:.6g}"])
        return Sheet(rows, f"{self.quantity} at {self.at}, {self.x.size} samples")


@guarded
@dataclass(frozen=True, eq=False)
class Samples:
    """Recorded samples of all ducts, stores and ends, with the names of their rows.

    Attributes
    ----------
    x : ndarray, (n_sample,)
        Crank angle [deg] or time [s].
    cells : ndarray, (n_sample, 5, n) float32
        Pressure, velocity, temperature, fresh and burned fraction.
    stores : ndarray, (n_sample, n_store, 5)
        Pressure, temperature, mass, fresh and burned fraction.
    faces : ndarray, (n_sample, n_end, 3)
        Pressure, velocity and mass flow out of the duct at each duct end.
    layout : dict
        Which row is what, fit for JSON: ducts (first cell, one past the last, cell length, bores),
        stores, nodes and ends by name; volumes [m3] of stores, geometry of cylinders; which duct
        ends each node joins; the table of the gas; engine speed and firing angles.

    Examples
    --------
    >>> import wavesim as ws
    >>> pipe = ws.Network({"pipe": ws.Pipe(0.5, 0.04)},
    ...                   {"wall": ws.ClosedEnd("pipe.start"), "mouth": ws.OpenEnd("pipe.end")})
    >>> samples = ws.simulate(pipe, 1e-4, samples=3).samples
    >>> samples.connections
    {'wall': ('pipe.start',), 'mouth': ('pipe.end',)}
    >>> print(samples.trace("sound_speed", "pipe", 0.2).values.round(1))
    [346.1 346.1 346.1]
    >>> samples.places(), samples.direction("mouth")
    (['pipe', 'wall', 'mouth'], 1.0)
    >>> samples.field("density", "pipe").shape == (3, samples.centres("pipe").size)
    True
    >>> ax = samples.plot(quantity="pressure", at=["mouth"])
    >>> samples.field("density", "pipe").shape
    (3, 31)
    """

    x: np.ndarray
    x_name: str
    cells: np.ndarray
    stores: np.ndarray
    faces: np.ndarray
    layout: dict

    def places(self) -> list[str]:
        """Names that `trace` understands."""
        return [*self.layout["ducts"], *self.layout["stores"], *self.layout["nodes"]]

    @property
    def connections(self) -> dict[str, tuple[str, ...]]:
        """Duct ends that each node joins: a dict of tuples of "duct.side" by the node's name.

        A perforated wall joins no ends: it names the two ducts that lie side by side.
        """
        return {name: tuple(ends) for name, ends in self.layout["connections"].items()}

    def direction(self, at: str) -> float:
        """Sign of the recorded velocity at a place along its duct.

        Parameters
        ----------
        at : str
            A duct, or a node that takes one duct end.

        Returns
        -------
        float
            1.0 where gas that runs from the start of the duct to its end has a velocity above 0,
            as everywhere in a duct; -1.0 at a node at the start of a duct.

        Raises
        ------
        InputError
            If there is no such duct or node.
        """
        check_choice("waves", "at", at, [*self.layout["ducts"], *self.layout["nodes"]])
        if at in self.layout["ducts"]:
            return 1.0
        _, side = self.layout["ends"][self.layout["nodes"][at]]
        return -1.0 if side == "start" else 1.0

    @cached_property
    def gas(self) -> TableGas:
        """The gas that was computed, a TableGas: its relations take T, fresh and burned."""
        return TableGas(self.layout["gas"]["R"], self.layout["gas"]["coef"])

    def trace(self, quantity: str, at: str, x: float | None = None) -> Trace:
        """One quantity at one place against crank angle or time.

        Parameters
        ----------
        quantity : str
            A key of `TRACES`.
        at : str
            A duct, with its position `x`; a cylinder, volume or junction cell; or a node that
            takes one duct end, such as "exhaust valve 1" or "outlet".
        x : float or None
            Position from the start of the duct [m], 0 to its length.

        Returns
        -------
        Trace
            Values between cells are interpolated linearly.  Density, speed of sound, ratio of heat
            capacities and Mach number follow from the values recorded there and the gas.

        Raises
        ------
        InputError
            If the place or the quantity does not exist there.
        """
        check_choice("trace", "quantity", quantity, TRACES)
        if type(at) is not str or not any(at in self.layout[kind] for kind in _KINDS):
            check_choice("trace", "at", at, self.places())
        if at in self.layout["ducts"]:
            values = self._in_duct(quantity, at, x)
            at = f"{at} at {x:.4g} m"
        elif at in self.layout["nodes"]:
            values = self._at_node(quantity, at)
        else:
            values = self._in_store(quantity, at)
        return Trace(
            self.x, np.asarray(values, dtype=float), quantity, at, self.x_name,
            self.layout.get("rpm"), tuple(self.layout.get("firing_angles_deg", ())),
        )

    def _of_gas(self, quantity, known):
        """A quantity of the gas from those that `known(quantity)` gives, in double precision."""
        mixture = [known(name).astype(float) for name in ("temperature", "fresh", "burned")]
        if quantity == "density":
            return self.gas.density(known("pressure"), *mixture)
        if quantity == "mach":
            return known("velocity") / self.gas.sound_speed(*mixture)
        return getattr(self.gas, quantity)(*mixture)

    def _in_duct(self, quantity, duct, x):
        info = self.layout["ducts"][duct]
        check_number(f"trace in duct {duct!r}", "x", x, "m", 0.0, info["length"])
        _check_recorded(quantity, "ducts", _IN_DUCT)
        if quantity == "mass_flow":
            rho = self._in_duct("density", duct, x)
            d = np.interp(x, info["stations"], info["bores"])
            return rho * self._in_duct("velocity", duct, x) * 0.25 * pi * d * d
        if quantity not in _FIELD:
            return self._of_gas(quantity, lambda name: self._in_duct(name, duct, x))
        values = self.field(quantity, duct)
        place = min(max(x / info["dx"] - 0.5, 0.0), values.shape[1] - 1.0)
        i = min(int(place), values.shape[1] - 2)
        w = place - i
        return (1.0 - w) * values[:, i] + w * values[:, i + 1]

    def _at_node(self, quantity, at):
        _check_recorded(quantity, repr(at), _IN_DUCT)
        row = self.layout["nodes"][at]
        if quantity in _FACE:
            return self.faces[:, row, _FACE.index(quantity)]
        if quantity not in _FIELD:
            return self._of_gas(quantity, lambda name: self._at_node(name, at))
        duct, side = self.layout["ends"][row]
        length = self.layout["ducts"][duct]["length"]
        return self._in_duct(quantity, duct, 0.0 if side == "start" else length)

    def _in_store(self, quantity, at):
        _check_recorded(quantity, repr(at), _IN_STORE)
        if quantity == "volume":
            return self._volume(at)
        if quantity not in _STORE:
            return self._of_gas(quantity, lambda name: self._in_store(name, at))
        return self.stores[:, self.layout["stores"][at], _STORE.index(quantity)]

    def _volume(self, at):
        """Volume of a store at every sample [m3]."""
        from wavesim.exact.engine import crank_travel  # loads more than most runs need

        cylinder = self.layout["cylinders"].get(at)
        if cylinder is None:
            return np.full(self.x.shape, self.layout["volumes"][at])
        travel = crank_travel(
            self.x - cylinder["firing_deg"], cylinder["stroke"], cylinder["rod"],
            cylinder["pin_offset"],
        )
        return cylinder["clearance"] + 0.25 * pi * cylinder["bore"] ** 2 * travel

    def field(self, quantity: str, duct: str) -> np.ndarray:
        """Values of one quantity in a whole duct, (n_sample, n_cell), start to end.

        Parameters
        ----------
        quantity : str
            What `trace` gives in a duct, but for "mass_flow".
        duct : str
            Name of the duct.

        Returns
        -------
        ndarray, (n_sample, n_cell)
            What was recorded in single precision.

        Raises
        ------
        InputError
            If there is no such duct or the quantity is not recorded in ducts.
        """
        check_choice("field", "quantity", quantity, (*_FIELD, *_OF_GAS, "mach"))
        check_choice("field", "duct", duct, list(self.layout["ducts"]))
        if quantity not in _FIELD:
            return self._of_gas(quantity, lambda name: self.field(name, duct))
        info = self.layout["ducts"][duct]
        return self.cells[:, _FIELD.index(quantity), info["lo"] : info["hi"]]

    def centres(self, duct: str) -> np.ndarray:
        """Positions of the cell centres of a duct [m], (n_cell,)."""
        ducts = self.layout["ducts"]
        info = ducts[check_choice("Samples", "duct", duct, ducts)]
        return (np.arange(info["hi"] - info["lo"]) + 0.5) * info["dx"]

    def __repr__(self) -> str:
        counts = ", ".join(f"{len(self.layout[kind])} {kind}" for kind in _KINDS)
        return f"<Samples: {self.x.size} records of {counts}>"

    def plot(
        self,
        ax: "Axes | None" = None,
        quantity: str = "pressure",
        at: Sequence[str] | None = None,
        **line_kws: Any,
    ) -> "Axes":
        """Draw a quantity at some places against crank angle or time.

        Parameters
        ----------
        ax : matplotlib Axes or None
            None makes a new figure.
        quantity : str
            A key of `TRACES`.
        at : sequence of str or None
            Places that need no position: stores and nodes.  None: the exhaust valves of an engine;
            without an engine all nodes that take one duct end.
        **line_kws
            For all lines.

        Returns
        -------
        matplotlib Axes

        Raises
        ------
        InputError
            If a place or the quantity does not exist there.
        """
        from wavesim.show import plots

        valves = [name for name in self.layout["nodes"] if name.startswith("exhaust valve ")]
        return plots.plot_trace(self._traces(quantity, at or valves or None), ax=ax, **line_kws)

    def to_csv(
        self, path: str | Path, quantity: str = "pressure", at: Sequence[str] | None = None
    ) -> None:
        """Write a quantity at some places against crank angle or time to a CSV file, SI units.

        Parameters
        ----------
        path : str or Path
            The file; an existing one is overwritten.
        quantity : str
            A key of `TRACES`.
        at : sequence of str or None
            Places that need no position: stores and nodes.  None: all nodes that take one duct
            end, which are valves and open or closed ends.

        Raises
        ------
        InputError
            If a place or the quantity does not exist there.
        """
        write_csv("Samples", path, self._columns(quantity, at))

    def to_frame(
        self, quantity: str = "pressure", at: Sequence[str] | None = None
    ) -> "DataFrame":
        """A quantity at some places as a pandas DataFrame, SI units.

        Parameters
        ----------
        quantity, at
            As for `to_csv`.

        Returns
        -------
        pandas.DataFrame
            One column for each place; the index is the crank angle [deg] or the time [s].

        Raises
        ------
        InputError
            If a place or the quantity does not exist there.
        ImportError
            If pandas is not installed (`pip install pandas`).
        """
        x, *columns = self._columns(quantity, at)
        return data_frame([x, *columns], index=x.name)

    def to_xarray(
        self, quantity: str = "pressure", at: Sequence[str] | None = None
    ) -> "Dataset":
        """A quantity at some places as an xarray Dataset, SI units.

        Parameters
        ----------
        quantity, at
            As for `to_csv`.

        Returns
        -------
        xarray.Dataset
            A variable for each place along the crank angle [deg] or the time [s], its unit in
            `attrs["units"]`.

        Raises
        ------
        InputError
            If a place or the quantity does not exist there.
        ImportError
            If xarray is not installed (`pip install xarray`).
        """
        columns = self._columns(quantity, at)
        return data_set(columns, columns[0].name, quantity)

    def _traces(self, quantity, at):
        at = list(self.layout["nodes"]) if at is None else [at] if isinstance(at, str) else at
        return [self.trace(quantity, place) for place in at]

    def _columns(self, quantity, at):
        traces = self._traces(quantity, at)
        unit = TRACES[quantity].unit
        return [
            Column(*_AXES[self.x_name], self.x),
            *(Column(trace.at, unit, trace.values) for trace in traces),
        ]

    def _repr_html_(self) -> str:
        rows = [["kind", "names for trace"]]
        rows += [[kind, ", ".join(self.layout[kind])] for kind in _KINDS]
        return Sheet(rows, f"{self.x.size} records").html()

def _check_recorded(quantity, where, there):
    if quantity not in there:
        raise InputError(
            f"trace: {quantity!r} is not recorded in {where}, only {', '.join(there)}."
        )


def _area(x, y):
    """Area under straight lines from corner to corner."""
    return float(0.5 * np.diff(x) @ (y[1:] + y[:-1]))
