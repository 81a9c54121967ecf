"""Results: one operating point, many in order of speed, a march without an engine.

All keep plain arrays and can be written to one .npz file (arrays and a JSON header, no pickle) and
read back."""

from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from wavesim._version import __version__
from wavesim.descriptions.assemble import assemble
from wavesim.errors import InputError, check_choice
from wavesim.fields.description import describe, restore
from wavesim.gas.models import describe_gas, restore_gas
from wavesim.results.files import read_npz, write_csv, write_npz
from wavesim.results.traces import SAMPLE_ARRAYS, Samples
from wavesim.show.quantities import (
    QUANTITIES,
    column_head,
    column_notes,
    display,
    heading,
    rows_text,
)

FORMAT = "wavesim sweep 2"


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
        Arrays (n_cylinder,) by the names of `CYLINDERS`, SI units: amounts of the last cycle, of
        which `values` are made, and quantities of each cylinder alone.
    samples : Samples
        The last cycle against crank angle; see `trace`.
    audit : dict
        Cycles, steps, convergence, mass and energy imbalance, wall time.
    meta : dict
        All that made the point, fit for JSON: engine, exhaust or network, settings, gas, fuel
        flow, weather, library version; and valve events, firing angles, wall temperatures.  See
        `engine`, `exhaust`, `network`, `gas`, `ambient`, `weather`.
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
        """The exhaust as it was described; None if a network was given in its place."""
        return restore(self.meta["exhaust"])

    @property
    def ambient(self):
        """The weather, which stood wherever engine and exhaust stated no air of their own."""
        return restore(self.meta["ambient"])

    @property
    def gas(self):
        """The gas of the last cycle: a PerfectGas or an EngineGas.

        With a given fuel flow its mixture strength is the one that followed from it.
        """
        return restore_gas(self.meta["gas"])

    @property
    def network(self):
        """The network that was run."""
        given = self.meta["network"]
        return assemble(self.engine, self.exhaust) if given is None else restore(given)

    @property
    def weather(self):
        """Surroundings by the name of the node that opens into them: a dict of Ambient."""
        return {name: restore(ambient) for name, ambient in self.meta["weather"].items()}

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

        Lines that begin with "#" say what each column means.  Speeds that failed are left out.

        Parameters
        ----------
        path : str or Path
            The file; an existing one is overwritten.
        """
        names = ["rpm", *QUANTITIES, "cycles", "converged", "mass_error", "energy_error"]
        rows = [
            [repr(p.rpm), *(repr(float(p.values[n])) for n in QUANTITIES), p.audit["cycles"],
             int(p.converged), p.audit["mass_error"], p.audit["energy_error"]]
            for p in self.points
        ]
        notes = [f"{self.name or 'sweep'}, wavesim {__version__}", *column_notes(names)]
        write_csv(path, notes, [[column_head(name) for name in names], *rows])

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


def pack_points(points):
    """Points as arrays by name and a list of JSON heads; those without samples stay without."""
    arrays, heads = {}, []
    for i, p in enumerate(points):
        head = {"rpm": p.rpm, "values": p.values, "audit": p.audit, "meta": p.meta,
                "cylinders": list(p.cylinders)}
        arrays[f"{i}/cylinders"] = np.array(list(p.cylinders.values()))  # one file member, not 40
        if p.samples is not None:
            head |= {"layout": p.samples.layout, "x_name": p.samples.x_name}
            arrays |= {f"{i}/{name}": getattr(p.samples, name) for name in SAMPLE_ARRAYS}
        heads.append(head)
    return arrays, heads


def unpack_points(arrays, heads):
    """Points from what `pack_points` returned, without the gas to start from."""
    points = []
    for i, head in enumerate(heads):
        samples = None
        if "layout" in head:
            x, *rest = (arrays[f"{i}/{name}"] for name in SAMPLE_ARRAYS)
            samples = Samples(x, head["x_name"], *rest, head["layout"])
        cylinders = dict(zip(head["cylinders"], arrays[f"{i}/cylinders"], strict=True))
        points.append(
            Point(head["rpm"], head["values"], cylinders, samples, head["audit"], head["meta"])
        )
    return points


def point_meta(engine, exhaust, settings, *, gas, fuel_flow, network, facts):
    """Header of a Point: all that made it.

    Parameters
    ----------
    engine : Engine
    exhaust : Exhaust or None
        None: the network was given instead.
    settings : Settings
    gas : PerfectGas or EngineGas
        Of the last cycle.
    fuel_flow : float or None
        If it was given [kg/s].
    network : Network
        That was run.  It is written down where no exhaust is there to assemble it from.
    facts : dict
        What else is known, fit for JSON.
    """
    return {
        "engine": describe(engine), "exhaust": describe(exhaust), "settings": describe(settings),
        "network": describe(network) if exhaust is None else None,
        "gas": describe_gas(gas), "fuel_flow": fuel_flow,
        "version": __version__, **facts,
    }
