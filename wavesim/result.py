"""Results: named quantities with units, traces against crank angle, and the audit of a run.

A `Point` is one converged operating point, a `Sweep` many of them in order of speed, a `Transient`
a march of a network without an engine.  All keep plain arrays and can be written to one .npz file
(arrays and a JSON header, no pickle) and read back.
"""

import csv
import json
from dataclasses import dataclass, field
from math import pi
from typing import NamedTuple

import numpy as np

from wavesim.description import describe, restore
from wavesim.errors import InputError, check_choice, check_number

#: Scalars of a Point: (label, SI unit).
QUANTITIES = {
    "torque": ("torque", "N m"),
    "power": ("power", "W"),
    "bmep": ("brake mean effective pressure", "Pa"),
    "imep_gross": ("gross indicated mean effective pressure", "Pa"),
    "imep_net": ("net indicated mean effective pressure", "Pa"),
    "pmep": ("pumping mean effective pressure", "Pa"),
    "pmep_exhaust": ("pumping of the exhaust stroke", "Pa"),
    "pmep_intake": ("pumping of the intake stroke", "Pa"),
    "fmep": ("friction mean effective pressure", "Pa"),
    "volumetric_efficiency": ("volumetric efficiency", "1"),
    "air_per_cycle": ("air delivered to the cylinders per cycle", "kg"),
    "trapped_air": ("air trapped in the cylinders per cycle", "kg"),
    "residual_fraction": ("residual gas at intake closing", "1"),
    "scavenging_efficiency": ("fresh share of the trapped gas", "1"),
    "trapping_efficiency": ("trapped share of the delivered fresh charge", "1"),
    "short_circuit": ("fresh charge lost to the exhaust per cycle", "kg"),
    "lambda": ("excess-air ratio", "1"),
    "air_fuel_ratio": ("air-fuel ratio by mass", "1"),
    "air_flow": ("air mass flow", "kg/s"),
    "fuel_flow": ("fuel mass flow", "kg/s"),
    "exhaust_flow": ("exhaust mass flow", "kg/s"),
    "bsfc": ("brake specific fuel consumption", "kg/J"),
    "exhaust_temperature": ("mean stagnation temperature at the exhaust valves", "K"),
    "back_pressure": ("mean gauge pressure at the exhaust valves", "Pa"),
    "peak_pressure": ("peak cylinder pressure", "Pa"),
    "peak_pressure_angle": ("crank angle of peak pressure", "deg"),
    "trapped_pressure": ("cylinder pressure at intake closing", "Pa"),
    "trapped_temperature": ("cylinder temperature at intake closing", "K"),
    "opening_pressure": ("cylinder pressure at exhaust opening", "Pa"),
    "heat_loss": ("share of the released heat lost to the cylinder walls", "1"),
    "indicated_efficiency": ("net indicated efficiency", "1"),
}
#: Quantities of a trace: (label, SI unit).
TRACES = {
    "pressure": ("pressure", "Pa"),
    "velocity": ("velocity", "m/s"),
    "temperature": ("temperature", "K"),
    "fresh": ("mass fraction of fresh charge", "1"),
    "burned": ("mass fraction of burned gas", "1"),
    "mass_flow": ("mass flow", "kg/s"),
    "mass": ("mass", "kg"),
}
FORMAT = "wavesim sweep 1"
#: What people read: (unit, factor from SI, decimals) by SI unit.
_READABLE = {
    "N m": ("N m", 1.0, 1),
    "W": ("kW", 1e-3, 1),
    "Pa": ("bar", 1e-5, 3),
    "K": ("K", 1.0, 0),
    "deg": ("deg", 1.0, 1),
    "m/s": ("m/s", 1.0, 1),
    "kg": ("mg", 1e6, 1),
    "kg/s": ("g/s", 1e3, 2),
    "kg/J": ("g/kWh", 3.6e9, 1),
    "1": ("", 1.0, 3),
}
_PERCENT = {
    "volumetric_efficiency", "residual_fraction", "scavenging_efficiency", "trapping_efficiency",
    "heat_loss", "indicated_efficiency",
}
_FIELD = ("pressure", "velocity", "temperature", "fresh", "burned")
_STORE = ("pressure", "temperature", "mass", "fresh", "burned")
_FACE = ("pressure", "velocity", "mass_flow")
_ARRAYS = ("x", "cells", "stores", "faces")  # of Samples


class Display(NamedTuple):
    """How a quantity is shown to people.

    Attributes
    ----------
    label : str
        Words.
    unit : str
        Unit to show, empty where there is none.
    factor : float
        Shown value = factor times SI value.
    decimals : int
        Digits after the point in tables.
    """

    label: str
    unit: str
    factor: float
    decimals: int

    @property
    def axis(self):
        """Label for an axis, such as "power [kW]"."""
        return f"{self.label} [{self.unit}]" if self.unit else self.label

    def text(self, value, sign=""):
        """SI value in the shown unit, as text without the unit; "+" for `sign` forces a sign."""
        return f"{self.factor * value:{sign}.{self.decimals}f}"


def display(quantity):
    """Label, readable unit, factor and decimals of a quantity.

    Parameters
    ----------
    quantity : str
        A key of `QUANTITIES` or of `TRACES`.

    Returns
    -------
    Display

    Raises
    ------
    InputError
        If there is no such quantity.

    Examples
    --------
    >>> display("power").axis, display("power").text(51397.0)
    ('power [kW]', '51.4')
    """
    known = QUANTITIES | TRACES
    label, unit = known[check_choice("display", "quantity", quantity, known)]
    readable = ("%", 100.0, 1) if quantity in _PERCENT else _READABLE[unit]
    return Display(label, *readable)


def rows_text(rows):
    """Rows of cells as right-aligned columns; the last column is left-aligned."""
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]) - 1)]
    return "\n".join(
        "  ".join([*(c.rjust(w) for c, w in zip(row, widths, strict=False)), row[-1]]).rstrip()
        for row in rows
    )


def heading(names):
    """Header rows of a table of quantities: their words stacked, the unit below."""
    words = [name.split("_") for name in names]
    height = max((len(w) for w in words), default=0)
    stacked = [[""] * (height - len(w)) + w for w in words]
    rows = [[column[i] for column in stacked] for i in range(height)]
    return [*rows, [display(name).unit for name in names]]


@dataclass(frozen=True, eq=False)
class Trace:
    """One quantity against crank angle or time.

    Attributes
    ----------
    x : ndarray, (n_sample,)
        Crank angle of cylinder 1 [deg], 0 at its firing top dead centre, or time [s].
    values : ndarray, (n_sample,)
        In SI units.
    quantity, at : str
        What and where.
    x_name : str
        "theta_deg" or "time".
    """

    x: np.ndarray
    values: np.ndarray
    quantity: str
    at: str
    x_name: str = "theta_deg"

    @property
    def unit(self):
        """SI unit of the values."""
        return TRACES[self.quantity][1]

    def plot(self, ax=None, **line_kws):
        """Draw the trace on a matplotlib Axes and return it."""
        from wavesim import plots

        return plots.plot_trace(self, ax=ax, **line_kws)


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
        stores, nodes and ends by name, and the gas constants [J/(kg K)] of air, fresh, burned.
    """

    x: np.ndarray
    x_name: str
    cells: np.ndarray
    stores: np.ndarray
    faces: np.ndarray
    layout: dict

    def places(self):
        """Names that `trace` understands."""
        return [*self.layout["ducts"], *self.layout["stores"], *self.layout["nodes"]]

    def trace(self, quantity, at, x=None):
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
            Values between cells are interpolated linearly.

        Raises
        ------
        InputError
            If the place or the quantity does not exist there.
        """
        check_choice("trace", "quantity", quantity, list(TRACES))
        check_choice("trace", "at", at, self.places())
        if at in self.layout["ducts"]:
            values = self._in_duct(quantity, at, x)
            at = f"{at} at {x:.4g} m"
        elif at in self.layout["nodes"] and quantity in _FACE:
            values = self.faces[:, self.layout["nodes"][at], _FACE.index(quantity)]
        elif at in self.layout["nodes"]:
            duct, side = self.layout["ends"][self.layout["nodes"][at]]
            length = self.layout["ducts"][duct]["length"]
            values = self._in_duct(quantity, duct, 0.0 if side == "start" else length)
        elif quantity in _STORE:
            values = self.stores[:, self.layout["stores"][at], _STORE.index(quantity)]
        else:
            raise InputError(f"trace: {quantity!r} is not recorded in {at!r}, only {_STORE}.")
        return Trace(self.x, np.asarray(values, dtype=float), quantity, at, self.x_name)

    def _in_duct(self, quantity, duct, x):
        info = self.layout["ducts"][duct]
        check_number(f"trace in duct {duct!r}", "x", x, "m", 0.0, info["length"])
        if quantity == "mass_flow":
            rho = self._density(duct, x)
            d = np.interp(x, info["stations"], info["bores"])
            return rho * self._in_duct("velocity", duct, x) * 0.25 * pi * d * d
        if quantity not in _FIELD:
            raise InputError(f"trace: {quantity!r} is not recorded in ducts.")
        values = self.field(quantity, duct)
        place = min(max(x / info["dx"] - 0.5, 0.0), values.shape[1] - 1.0)
        i = min(int(place), values.shape[1] - 2)
        w = place - i
        return (1.0 - w) * values[:, i] + w * values[:, i + 1]

    def _density(self, duct, x):
        air, fresh, burned = self.layout["gas_R"]
        yf, yb = self._in_duct("fresh", duct, x), self._in_duct("burned", duct, x)
        gas_R = air + yf * (fresh - air) + yb * (burned - air)
        return self._in_duct("pressure", duct, x) / (
            gas_R * self._in_duct("temperature", duct, x)
        )

    def field(self, quantity, duct):
        """Values of one quantity in a whole duct, (n_sample, n_cell), start to end."""
        check_choice("field", "quantity", quantity, _FIELD)
        check_choice("field", "duct", duct, list(self.layout["ducts"]))
        info = self.layout["ducts"][duct]
        return self.cells[:, _FIELD.index(quantity), info["lo"] : info["hi"]]

    def centres(self, duct):
        """Positions of the cell centres of a duct [m], (n_cell,)."""
        info = self.layout["ducts"][duct]
        return (np.arange(info["hi"] - info["lo"]) + 0.5) * info["dx"]


@dataclass(frozen=True, eq=False)
class Point:
    """One operating point of an engine with an exhaust.

    Attributes
    ----------
    rpm : float
        Engine speed [rev/min].
    values : dict
        Scalars by the names of `QUANTITIES`, SI units; also as attributes, `point.torque`.
    cylinders : dict
        The same kind of scalars per cylinder as arrays (n_cylinder,).
    samples : Samples
        The last cycle against crank angle; see `trace`.
    audit : dict
        Cycles, steps, convergence, mass and energy imbalance, wall time.
    meta : dict
        Full description of engine, exhaust and settings, names, valve events, library version.
    """

    rpm: float
    values: dict
    cylinders: dict
    samples: Samples
    audit: dict
    meta: dict
    restart: dict = field(default_factory=dict, repr=False)

    def __getattr__(self, name):
        values = self.__dict__.get("values", {})
        if name in values:
            return values[name]
        raise AttributeError(f"Point has no quantity {name!r}; it has {', '.join(values)}")

    @property
    def converged(self):
        """True if the cycle repeated itself within the tolerance."""
        return bool(self.audit["converged"])

    @property
    def engine(self):
        """The engine as it was described."""
        return restore(self.meta["engine"])

    @property
    def exhaust(self):
        """The exhaust as it was described."""
        return restore(self.meta["exhaust"])

    def trace(self, quantity, at, x=None):
        """One quantity at one place against crank angle: see `Samples.trace`."""
        return self.samples.trace(quantity, at, x)

    def summary(self):
        """Readable text: every quantity in a common unit (kW, bar, %), then the audit."""
        lines = [f"{self.rpm:g} rev/min"]
        for name, value in self.values.items():
            shown = display(name)
            lines.append(f"  {shown.label:<52s} {shown.text(value)} {shown.unit}".rstrip())
        lines.append("  audit")
        for name, value in self.audit.items():
            if not isinstance(value, list):
                text = f"{value:.3g}" if isinstance(value, float) else str(value)
                lines.append(f"    {name:<50s} {text}")
        return "\n".join(lines)

    def save(self, path):
        """Write this point to one .npz file."""
        Sweep([self]).save(path)


class Sweep:
    """Operating points of one engine and one exhaust in order of speed.

    Parameters
    ----------
    points : iterable of Point
        At least one, unless all speeds failed.
    failures : mapping
        Error text by speed [rev/min] for the speeds that could not be computed.
    name : str
        For tables and figures.
    interrupted : bool
        True if the sweep was stopped before all speeds were computed.
    """

    def __init__(self, points, failures=None, name="", interrupted=False):
        self.points = sorted(points, key=lambda point: point.rpm)
        self.failures = dict(failures or {})
        self.name = name
        self.interrupted = interrupted

    def __len__(self):
        return len(self.points)

    def __iter__(self):
        return iter(self.points)

    def __repr__(self):
        return f"<Sweep {self.name!r}: {len(self)} points, {len(self.failures)} failed>"

    @property
    def rpm(self):
        """Speeds [rev/min], (n_point,)."""
        return np.array([point.rpm for point in self.points])

    def __getitem__(self, key):
        """A Point by its speed [rev/min], or a quantity as an array (n_point,) in SI units."""
        if isinstance(key, str):
            check_choice("Sweep", "quantity", key, list(QUANTITIES))
            return np.array([point.values[key] for point in self.points])
        for point in self.points:
            if abs(point.rpm - key) < 1e-6:
                return point
        there = ", ".join(f"{point.rpm:g}" for point in self.points) or "none"
        raise InputError(f"Sweep: no point at {key} rev/min, there are {there}.")

    @property
    def converged(self):
        """True if every point converged and none failed."""
        return not self.failures and all(point.converged for point in self.points)

    def table(self, names=("torque", "power", "volumetric_efficiency", "residual_fraction",
                           "pmep", "back_pressure", "exhaust_temperature")):
        """Text table of some quantities against speed, in units that are common in a workshop.

        Parameters
        ----------
        names : sequence of str
            Keys of `QUANTITIES`; torque in N m, power in kW, pressures in bar, shares in %.

        Returns
        -------
        str
            One line for each speed with the cycles it took and a flag where it did not converge or
            failed; the errors of failed speeds stand below the table.

        Raises
        ------
        InputError
            If a quantity does not exist.
        """
        *words, units = heading(names)
        head = [["", *row, "", ""] for row in words]
        head[-1][0], head[-1][-2] = "rpm", "cycles"
        rows = [
            (p.rpm, [*(display(n).text(p.values[n]) for n in names), str(p.audit["cycles"]),
                     "" if p.converged else "not converged"])
            for p in self.points
        ]
        rows += [(rpm, [*["-"] * (len(names) + 1), "failed"]) for rpm in self.failures]
        body = [[f"{rpm:g}", *cells] for rpm, cells in sorted(rows)]
        notes = [f"{rpm:g} rev/min failed: {text}" for rpm, text in sorted(self.failures.items())]
        return "\n".join([rows_text([*head, ["", *units, "", ""], *body]), *notes])

    def summary(self):
        """The table with the name above it."""
        return f"{self.name or 'sweep'}\n{self.table()}"

    def to_csv(self, path):
        """Write all quantities against speed to a CSV file, units in the header, SI.

        Speeds that failed are left out.

        Parameters
        ----------
        path : str or Path
            The file; an existing one is overwritten.
        """
        names = list(QUANTITIES)
        with open(path, "w", newline="", encoding="utf-8") as file:
            out = csv.writer(file)
            out.writerow(
                ["rpm [rev/min]", *(f"{n} [{QUANTITIES[n][1]}]" for n in names), "cycles",
                 "converged", "mass_error [1]", "energy_error [1]"]
            )
            for p in self.points:
                out.writerow(
                    [repr(p.rpm), *(repr(float(p.values[n])) for n in names), p.audit["cycles"],
                     int(p.converged), p.audit["mass_error"], p.audit["energy_error"]]
                )

    def save(self, path):
        """Write everything to one .npz file: arrays, and a JSON header with the descriptions.

        Left out is only the gas at the end of the last cycle from which `run_point` can start.

        Parameters
        ----------
        path : str or Path
            The file; an existing one is overwritten.  A dozen speeds of four cylinders take about
            50 MB.
        """
        arrays, heads = pack_points(self.points)
        header = {
            "format": FORMAT, "name": self.name, "points": heads,
            "failures": [[rpm, text] for rpm, text in self.failures.items()],
            "interrupted": self.interrupted,
        }
        with open(path, "wb") as file:  # an open file keeps numpy from adding a suffix
            write_npz(file, arrays, header, compress=True)

    @classmethod
    def load(cls, path):
        """Read what `save` has written.

        Parameters
        ----------
        path : str or Path

        Returns
        -------
        Sweep

        Raises
        ------
        InputError
            If the file is missing or was not written by `save`.
        """
        arrays, header = read_npz(path, FORMAT, "Sweep")
        points = unpack_points(arrays, header["points"])
        failures = {rpm: text for rpm, text in header["failures"]}
        return cls(points, failures, header["name"], header["interrupted"])


@dataclass(frozen=True, eq=False)
class Transient:
    """A march of a network without an engine.

    Attributes
    ----------
    samples : Samples
        Everything against time; see `trace`.
    final : dict
        By duct: x, rho, u, p, T, fresh, burned at the last instant, each (n_cell,).
    audit : dict
        Steps, mass and energy before and after, what passed the ends, imbalance.
    """

    samples: Samples
    final: dict
    audit: dict

    def trace(self, quantity, at, x=None):
        """One quantity at one place against time: see `Samples.trace`."""
        return self.samples.trace(quantity, at, x)


class Failure(NamedTuple):
    """What there is instead of a Point where a calculation failed.

    Attributes
    ----------
    kind : str
        Class of the error, such as "SolverError".
    text : str
        Its sentence.
    """

    kind: str
    text: str


# --- files ----------------------------------------------------------------------------------------


def pack_points(points):
    """Points as arrays by name and a list of JSON heads; those without samples stay without."""
    arrays, heads = {}, []
    for i, p in enumerate(points):
        head = {"rpm": p.rpm, "values": p.values, "audit": p.audit, "meta": p.meta,
                "cylinders": list(p.cylinders)}
        for name, values in p.cylinders.items():
            arrays[f"{i}/cylinder/{name}"] = values
        if p.samples is not None:
            head |= {"layout": p.samples.layout, "x_name": p.samples.x_name}
            arrays |= {f"{i}/{name}": getattr(p.samples, name) for name in _ARRAYS}
        heads.append(head)
    return arrays, heads


def unpack_points(arrays, heads):
    """Points from what `pack_points` returned, without the gas to start from."""
    points = []
    for i, head in enumerate(heads):
        samples = None
        if "layout" in head:
            x, *rest = (arrays[f"{i}/{name}"] for name in _ARRAYS)
            samples = Samples(x, head["x_name"], *rest, head["layout"])
        cylinders = {n: arrays[f"{i}/cylinder/{n}"] for n in head["cylinders"]}
        points.append(
            Point(head["rpm"], head["values"], cylinders, samples, head["audit"], head["meta"])
        )
    return points


def write_npz(file, arrays, header, *, compress):
    """Arrays and a JSON header into an open file, without pickle."""
    packed = np.frombuffer(json.dumps(header).encode(), dtype=np.uint8)
    (np.savez_compressed if compress else np.savez)(file, **arrays, header=packed)


def read_npz(path, form, owner):
    """Arrays and header of a file that `write_npz` has written.

    Parameters
    ----------
    path : str or Path
    form : str
        What the header calls its format.
    owner : str
        Class whose method writes such files, for messages.

    Raises
    ------
    InputError
        If the file is missing, damaged or of another kind.
    """
    try:
        with open(path, "rb") as file, np.load(file, allow_pickle=False) as npz:
            arrays = {name: npz[name] for name in npz.files}
        header = json.loads(bytes(arrays.pop("header")).decode())
    except OSError as error:
        raise InputError(
            f"{owner}: cannot read {str(path)!r}: {error.strerror or error}."
        ) from error
    except Exception as error:  # a damaged file may raise anything
        raise InputError(
            f"{owner}: {str(path)!r} is damaged or was not written by {owner}.save."
        ) from error
    if not isinstance(header, dict) or header.get("format") != form:
        raise InputError(f"{owner}: {str(path)!r} does not hold the format {form!r}.")
    return arrays, header


def point_meta(engine, exhaust, settings, extra):
    """Header of a Point: the full description of what was computed, and the library version."""
    from wavesim import __version__

    return {
        "engine": describe(engine), "exhaust": describe(exhaust), "settings": describe(settings),
        "version": __version__, **extra,
    }
