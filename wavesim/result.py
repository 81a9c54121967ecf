"""Results: named quantities with units, traces against crank angle, and the audit of a run.

A `Point` is one converged operating point, a `Sweep` many of them in order of speed, a `Transient`
a march of a network without an engine.  All keep plain arrays and can be written to one .npz file
(arrays and a JSON header, no pickle) and read back.
"""

import csv
import json
from dataclasses import dataclass, field
from math import pi
from pathlib import Path

import numpy as np

from wavesim.description import describe, restore
from wavesim.errors import InputError, check_choice

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
_FIELD = ("pressure", "velocity", "temperature", "fresh", "burned")
_STORE = ("pressure", "temperature", "mass", "fresh", "burned")
_FACE = ("pressure", "velocity", "mass_flow")


@dataclass(frozen=True)
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


@dataclass(frozen=True)
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
    ducts : dict
        (first cell, one past the last, cell length, gas constants) by name.
    """

    x: np.ndarray
    x_name: str
    cells: np.ndarray
    stores: np.ndarray
    faces: np.ndarray
    layout: dict  # JSON-able: ducts, stores, ends by node, areas, gas constants

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
        if x is None or not 0.0 <= x <= info["length"]:
            raise InputError(
                f"trace: x = {x} m is outside duct {duct!r}, valid are 0 to {info['length']:g} m."
            )
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


@dataclass(frozen=True)
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
        """Readable text: every quantity with its unit, then the audit."""
        lines = [f"{self.rpm:g} rev/min"]
        for name, value in self.values.items():
            label, unit = QUANTITIES[name]
            unit = "" if unit == "1" else f" {unit}"
            lines.append(f"  {label:<52s} {value:.5g}{unit}")
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
        """A Point by its speed, or the values of a quantity as an array (n_point,)."""
        if isinstance(key, str):
            check_choice("Sweep", "quantity", key, list(QUANTITIES))
            return np.array([point.values[key] for point in self.points])
        for point in self.points:
            if abs(point.rpm - key) < 1e-6:
                return point
        raise KeyError(f"no point at {key:g} rev/min; there are {[p.rpm for p in self.points]}")

    @property
    def converged(self):
        """True if every point converged and none failed."""
        return not self.failures and all(point.converged for point in self.points)

    def table(self, names=("torque", "power", "volumetric_efficiency", "residual_fraction",
                           "pmep", "back_pressure", "exhaust_temperature")):
        """Text table of some quantities against speed, in SI units, with flags."""
        head = ["rpm", *names, "cycles", "flag"]
        rows = [
            [f"{p.rpm:g}", *(f"{p.values[n]:.5g}" for n in names), str(p.audit["cycles"]),
             "" if p.converged else "not converged"]
            for p in self.points
        ]
        rows += [[f"{rpm:g}", *[""] * (len(names) + 1), text] for rpm, text in
                 sorted(self.failures.items())]
        head = [f"{h} [{QUANTITIES[h][1]}]" if h in QUANTITIES else h for h in head]
        widths = [max(len(row[i]) for row in [head, *rows]) for i in range(len(head) - 1)] + [0]
        return "\n".join(
            "  ".join(cell.rjust(w) for cell, w in zip(row, widths, strict=True)).rstrip()
            for row in [head, *rows]
        )

    def summary(self):
        """The table with the name above it."""
        return f"{self.name or 'sweep'}\n{self.table()}"

    def to_csv(self, path):
        """Write all quantities against speed to a CSV file, units in the header, SI.

        Parameters
        ----------
        path : str or Path
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

        Parameters
        ----------
        path : str or Path
        """
        arrays, heads = {}, []
        for i, p in enumerate(self.points):
            heads.append(
                {"rpm": p.rpm, "values": p.values, "audit": p.audit, "meta": p.meta,
                 "layout": p.samples.layout, "x_name": p.samples.x_name,
                 "cylinders": list(p.cylinders)}
            )
            arrays[f"{i}/x"] = p.samples.x
            arrays[f"{i}/cells"] = p.samples.cells
            arrays[f"{i}/stores"] = p.samples.stores
            arrays[f"{i}/faces"] = p.samples.faces
            for name, values in p.cylinders.items():
                arrays[f"{i}/cylinder/{name}"] = values
        header = {
            "format": "wavesim sweep 1", "name": self.name, "points": heads,
            "failures": [[rpm, text] for rpm, text in self.failures.items()],
            "interrupted": self.interrupted,
        }
        arrays["header"] = np.frombuffer(json.dumps(header).encode(), dtype=np.uint8)
        np.savez_compressed(Path(path), **arrays)

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
        try:
            with np.load(Path(path), allow_pickle=False) as file:
                arrays = {name: file[name] for name in file.files}
            header = json.loads(bytes(arrays["header"]).decode())
        except (OSError, ValueError, KeyError) as error:
            raise InputError(f"Sweep: cannot read {path}: {error}.") from error
        points = []
        for i, head in enumerate(header["points"]):
            samples = Samples(
                arrays[f"{i}/x"], head["x_name"], arrays[f"{i}/cells"], arrays[f"{i}/stores"],
                arrays[f"{i}/faces"], head["layout"],
            )
            cylinders = {n: arrays[f"{i}/cylinder/{n}"] for n in head["cylinders"]}
            points.append(
                Point(head["rpm"], head["values"], cylinders, samples, head["audit"], head["meta"])
            )
        failures = {rpm: text for rpm, text in header["failures"]}
        return cls(points, failures, header["name"], header["interrupted"])


@dataclass(frozen=True)
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


def point_meta(engine, exhaust, settings, extra):
    """Header of a Point: the full description of what was computed, and the library version."""
    from wavesim import __version__

    return {
        "engine": describe(engine), "exhaust": describe(exhaust), "settings": describe(settings),
        "version": __version__, **extra,
    }
