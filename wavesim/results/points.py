"""Results: one operating point, many in order of speed, a march without an engine.

All keep plain arrays and can be written to one .npz file (arrays and a JSON header, no pickle) and
read back."""

import contextlib
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple, overload

import numpy as np

from wavesim._version import __version__
from wavesim.descriptions.assemble import assemble
from wavesim.descriptions.engine import Engine
from wavesim.descriptions.exhaust import Exhaust
from wavesim.descriptions.network import Network
from wavesim.descriptions.nodes import Ambient
from wavesim.descriptions.pull import Pull, WallsLeft
from wavesim.descriptions.settings import Settings
from wavesim.descriptions.symmetry import succession
from wavesim.errors import InputError, check_choice, check_kind, shown_path
from wavesim.fields.description import describe, restore, sequence
from wavesim.fields.tabular import Column, Sheet, Tabular
from wavesim.gas.models import EngineGas, PerfectGas, describe_gas, restore_gas
from wavesim.guard import guarded
from wavesim.results.compact import pack_restart, pack_samples, unpack_restart, unpack_samples
from wavesim.results.conditions import conditions_of
from wavesim.results.curves import ByName, CurveMethods, place_of_speed
from wavesim.results.files import intact, read_npz, save_npz
from wavesim.results.traces import Samples, Trace
from wavesim.results.waves import Waves, split_waves
from wavesim.show.quantities import QUANTITIES, column_notes, display, heading, rows_text
from wavesim.writing import as_path

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from pandas import DataFrame

FORMAT = "wavesim sweep 3"
POINT_FORMAT = "wavesim point 3"  # of the files of a store
_READ = (FORMAT, "wavesim sweep 2")  # the second: of earlier versions, with every bit
#: Share of the charge that is not fresh, above which hardly any gasoline engine burns it: Heywood
#: (1988), sec. 9.4 (from memory).
MOST_DILUENT = 0.3
UNEVEN = 0.01  # share by which imep_net of cylinders that are alike may differ without a word
#: What tables show of a sweep unless asked for more.
SHOWN = ("torque", "power", "volumetric_efficiency", "residual_fraction", "pmep", "back_pressure",
         "exhaust_temperature")


@guarded
@dataclass(frozen=True, eq=False)
class Point(ByName, Tabular):
    """One operating point of an engine with an exhaust.

    Attributes
    ----------
    rpm : float
        Engine speed [rev/min].
    values : dict
        Scalars by the names of `QUANTITIES`, SI units; also `point["torque"]` and `point.torque`.
    cylinders : dict
        Arrays (n_cylinder,) by the names of `CYLINDERS`, SI units: amounts of the last cycle, of
        which `values` are made, and quantities of each cylinder alone.
    samples : Samples or None
        The last cycle against crank angle; see `trace`.  None: they were not kept.
    audit : dict
        Cycles, steps, convergence, mass and energy imbalance, wall time; and how often the last
        cycle took each emergency exit of the solver, 0 in a sound run (`march.books.EXITS`).
    meta : dict
        All that made the point, fit for JSON: engine, exhaust or network, settings, gas, fuel
        flow, weather, library version; and valve events, firing angles, wall temperatures.  See
        `engine`, `exhaust`, `network`, `gas`, `ambient`, `weather`.
    kept : str
        Key under which a store keeps it; empty if none does.

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> settings = ws.Settings(cell_length=0.05, tolerance=0.05)
    >>> single = study.engine.replace(firing_order=(1,))
    >>> header = ws.Exhaust(primary=ws.Pipe("700 mm", "40 mm"), merge=None)
    >>> point = ws.run_point(single, header, 4500.0, settings=settings)
    >>> point.converged, point["torque"] == point.torque
    (True, True)
    >>> trace = point.trace("pressure", "exhaust valve 1")
    >>> trace.unit, bool(trace.highest().value > 1.5e5)
    ('Pa', True)
    >>> waves = point.waves("exhaust valve 1")
    >>> print(point.summary().splitlines()[0])
    4500 rev/min
    >>> ax = point.plot()
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     point.save(f"{folder}/point.npz")
    ...     ws.Point.load(f"{folder}/point.npz").torque == point.torque
    True
    """

    rpm: float
    values: dict
    cylinders: dict
    samples: Samples | None
    audit: dict
    meta: dict
    restart: dict = field(default_factory=dict, repr=False)
    kept: str = field(default="", repr=False)

    def __getitem__(self, quantity: str) -> float:
        """A quantity by its name, in SI units."""
        return self.values[check_choice("Point", "quantity", quantity, self.values)]

    def __repr__(self) -> str:
        values = [f"{display(name).text(self.values[name])} {display(name).unit}"
                  for name in ("torque", "power") if name in self.values]
        flags = [] if self.converged else ["not converged"]
        return f"<Point: {', '.join([f'{self.rpm:g} rev/min', *values, *flags])}>"

    @property
    def quantities(self) -> tuple[str, ...]:
        """Names of the quantities."""
        return tuple(self.values)

    @property
    def converged(self) -> bool:
        """True if the cycle repeated itself within the tolerance."""
        return bool(self.audit["converged"])

    @property
    def engine(self) -> Engine:
        """The engine as it was described."""
        return restore(self.meta["engine"])

    @property
    def exhaust(self) -> Exhaust | None:
        """The exhaust as it was described; None if a network was given in its place."""
        return restore(self.meta["exhaust"])

    @property
    def settings(self) -> Settings:
        """How the calculation was run."""
        return restore(self.meta["settings"])

    @property
    def ambient(self) -> Ambient:
        """The weather, which stood wherever engine and exhaust stated no air of their own."""
        return restore(self.meta["ambient"])

    @property
    def gas(self) -> PerfectGas | EngineGas:
        """The gas of the last cycle: a PerfectGas or an EngineGas.

        With a given fuel flow its mixture strength is the one that followed from it.
        """
        return restore_gas(self.meta["gas"])

    @property
    def network(self) -> Network:
        """The network that was run."""
        given = self.meta["network"]
        return assemble(self.engine, self.exhaust) if given is None else restore(given)

    @property
    def pull(self) -> Pull | None:
        """The pull of which this speed is one; None: its solved walls are in balance."""
        held = self.meta.get("pull")
        return None if held is None else restore(held["pull"])

    @property
    def walls_left(self) -> WallsLeft:
        """Metal temperatures of the walls that were solved, where a `Pull` may begin."""
        if "walls_left" not in self.meta:
            raise InputError("Point: no wall of it was solved, so none can be handed to a Pull.")
        return restore(self.meta["walls_left"])

    @property
    def wall_temperatures(self) -> dict[str, float]:
        """Mean temperature [K] of the metal of walls that were solved, and of fibres, by duct."""
        found = {}
        for section in self.walls_left.sections if self.meta.get("walls") else ():
            found.setdefault(section.duct, []).extend(section.temperatures)
        return {duct: sum(values) / len(values) for duct, values in found.items()}

    @property
    def wall_note(self) -> str:
        """Sentence on the temperatures that the pipe walls have; empty where it is not known."""
        if "walls" not in self.meta:
            return ""
        if self.pull is not None:
            return (f"Pipe walls warm in a pull of {self.pull.rate:g} rev/min/s from "
                    f"{self.pull.start_text}.")
        if self.meta["walls"]:
            return "Pipe walls are solved: as warm as after minutes at each speed."
        return "Pipe walls have the temperatures that were stated."

    @property
    def weather(self) -> dict[str, Ambient]:
        """Surroundings by the name of the node that opens into them: a dict of Ambient."""
        return {name: restore(ambient) for name, ambient in self.meta["weather"].items()}

    def trace(self, quantity: str, at: str, x: float | None = None) -> Trace:
        """One quantity at one place against crank angle: see `Samples.trace`."""
        return self._recorded().trace(quantity, at, x)

    def _recorded(self):
        if self.samples is None:
            raise InputError(
                "Point: its traces were not kept, only its quantities; those of a run lie in its "
                "folder \"store\"."
            )
        return self.samples

    def waves(
        self,
        at: str,
        x: float | None = None,
        *,
        quiet: float | None = None,
        flow: float | None = None,
    ) -> Waves:
        """The two running parts of the pressure at a place: on along the duct, and back.

        Parameters
        ----------
        at, x
            A duct with a position, or a node that takes one duct end, as for `trace`.
        quiet : float or None
            Pressure between the waves [Pa], above 0; None: its mean over the cycle.
        flow : float or None
            Velocity along the duct on which the waves ride [m/s], -2000 to 2000; None: 0.

        Returns
        -------
        Waves

        Raises
        ------
        InputError
            If there is no such duct or node, or a value is out of range.

        Notes
        -----
        By the invariants of Riemann, exact for waves of any size that have met in a gas of one
        entropy and constant heat capacities; each sample is taken with its own temperature and
        composition.  Where hot and cool gas pass, or friction and area changes act within the
        length of the wave, the parts hold what these send back as well.
        """
        return split_waves(self._recorded(), at, x, quiet, flow)

    def plot(
        self, ax: "Axes | None" = None, *, cylinder: int = 1, side: str = "exhaust", **line_kws: Any
    ) -> "Axes":
        """Draw the pressure at a valve over the cycle: see `plots.plot_valve_pressure`.

        Parameters
        ----------
        ax : matplotlib Axes or None
            None makes a new figure.
        cylinder : int
            Number of the cylinder, from 1.
        side : {"exhaust", "intake"}
            Which valve.
        **line_kws
            For the line.

        Returns
        -------
        matplotlib Axes

        Raises
        ------
        InputError
            If there is no such cylinder, or the traces of the point were not kept.
        """
        from wavesim.show import plots

        alone = Sweep([self], name=getattr(self.exhaust, "name", ""))
        return plots.plot_valve_pressure(
            alone, self.rpm, ax, cylinder=cylinder, side=side, **line_kws
        )

    def to_csv(self, path: str | Path) -> None:
        """Write all quantities to a CSV file of one line: see `Sweep.to_csv`."""
        Sweep([self]).to_csv(path)

    def to_frame(self) -> "DataFrame":
        """All quantities as a pandas DataFrame of one row: see `Sweep.to_frame`."""
        return Sweep([self]).to_frame()

    def _sheet(self):
        rows = [["quantity", "value", "unit"]]
        for name, value in self.values.items():
            shown = display(name)
            rows.append([shown.label, shown.text(value), shown.unit])
        cycles = self.audit["cycles"]
        ended = "converged" if self.converged else "not converged"
        notes = [f"{ended} after {cycles} cycles", self.wall_note]
        return Sheet(rows, f"{self.rpm:g} rev/min", [note for note in notes if note])

    def summary(self) -> str:
        """Readable text: all quantities in common units (kW, bar, %), the walls, then the audit."""
        lines = [f"{self.rpm:g} rev/min"]
        for label, value, unit in self._sheet().rows[1:]:
            lines.append(f"  {label:<52s} {value} {unit}".rstrip())
        lines += [f"  {self.wall_note}"] if self.wall_note else []
        lines.append("  audit")
        for name, value in self.audit.items():
            if not isinstance(value, list):
                text = f"{value:.3g}" if isinstance(value, float) else str(value)
                lines.append(f"    {name:<50s} {text}")
        return "\n".join(lines)

    def save(self, path: str | Path, *, exact: bool = False) -> None:
        """Write this point to one .npz file: see `Sweep.save`."""
        Sweep([self]).save(path, exact=exact)

    @classmethod
    def load(cls, path: str | Path) -> "Point":
        """Read a point that `save` has written; a run can start from it.

        Parameters
        ----------
        path : str or Path

        Returns
        -------
        Point

        Raises
        ------
        InputError
            If the file is missing, was not written by `save`, or holds several points.
        """
        found = Sweep.load(path)
        if len(found) != 1:
            raise InputError(
                f"Point: {shown_path(path)} holds {len(found)} points, take one of "
                "Sweep.load(path) by its speed."
            )
        return found.points[0]


@guarded
class Sweep(CurveMethods):
    """Operating points of one engine and one exhaust in order of speed.

    `sweep["torque"]` and `sweep.torque` are a quantity at all speeds, `sweep[4500]` is the Point at
    one of them.

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

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> settings = ws.Settings(cell_length=0.05, tolerance=0.05)
    >>> single = study.engine.replace(firing_order=(1,))
    >>> header = ws.Exhaust(primary=ws.Pipe("700 mm", "40 mm"), merge=None)
    >>> sweep = ws.speed_sweep(single, header, [3500, 4500], settings=settings, progress=False)
    >>> sweep.torque.shape, bool(sweep[4500].torque == sweep["torque"][1])
    ((2,), True)
    >>> print(sweep.table(["torque", "power"]).splitlines()[0])
     rpm  torque  power  cycles
    >>> ax = sweep.plot(quantity="volumetric_efficiency")
    >>> sweep.unit("power"), len(sweep.summary()) > 0
    ('W', True)
    >>> sweep.uncertainty("torque") is None  # computed curves have tolerances instead
    True
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     sweep.save(f"{folder}/sweep.npz")
    ...     len(ws.Sweep.load(f"{folder}/sweep.npz"))
    2
    """

    def __init__(
        self,
        points: Iterable[Point],
        failures: Mapping[float, str] | None = None,
        name: str = "",
        interrupted: bool = False,
    ) -> None:
        points = sequence("Sweep", "points", points, "Point")
        for i, point in enumerate(points):
            check_kind("Sweep", f"points[{i}]", point, Point)
        check_kind("Sweep", "failures", failures, Mapping, optional=True)
        check_kind("Sweep", "name", name, str)
        self.points = sorted(points, key=lambda point: point.rpm)
        self.failures = dict(failures or {})
        self.name = name
        self.interrupted = interrupted

    def __len__(self) -> int:
        return len(self.points)

    def __iter__(self) -> Iterator[Point]:
        return iter(self.points)

    def __repr__(self) -> str:
        return f"<Sweep {self.name!r}: {len(self)} points, {len(self.failures)} failed>"

    @property
    def rpm(self) -> np.ndarray:
        """Speeds [rev/min], (n_point,)."""
        return np.array([point.rpm for point in self.points])

    @property
    def quantities(self) -> tuple[str, ...]:
        """Names of the quantities."""
        held = self.points[0].values if self.points else QUANTITIES
        return tuple(name for name in QUANTITIES if name in held)

    @overload
    def __getitem__(self, key: str) -> np.ndarray: ...

    @overload
    def __getitem__(self, key: float) -> Point: ...

    def __getitem__(self, key):
        """A Point by its speed [rev/min], or a quantity as an array (n_point,) in SI units."""
        if isinstance(key, str):
            check_choice("Sweep", "quantity", key, self.quantities)
            return np.array([point.values[key] for point in self.points])
        return self.points[place_of_speed("Sweep", key, self.rpm)]

    @property
    def converged(self) -> bool:
        """True if every point converged and none failed."""
        return not self.failures and all(point.converged for point in self.points)

    @property
    def trusted(self) -> np.ndarray:
        """True at the speeds whose cycle converged, (n_point,)."""
        return np.array([point.converged for point in self.points], dtype=bool)

    @property
    def walls_left(self) -> WallsLeft:
        """Metal temperatures that the last speed has left, where a `Pull` may begin."""
        if not self.points:
            raise InputError("Sweep: it has no points, so it leaves no walls to a Pull.")
        return self.points[-1].walls_left

    @property
    def wall_notes(self) -> tuple[str, ...]:
        """Sentences on the temperatures that the pipe walls have, as a rule one."""
        return tuple(dict.fromkeys(p.wall_note for p in self.points if p.wall_note))

    @property
    def uneven(self) -> tuple[Point, ...]:
        """Points whose cylinders, though alike, differ by more than `UNEVEN` in imep_net."""
        return tuple(
            point for point in self.points
            if point.values.get("imep_spread", 0.0) > UNEVEN and "engine" in point.meta
            and succession(point.engine, point.network) is not None
        )

    @property
    def state_notes(self) -> tuple[str, ...]:
        """Sentence on speeds at which alike cylinders differ, if there are any."""
        uneven = self.uneven
        if not uneven:
            return ()
        speeds = ", ".join(f"{point.rpm:g}" for point in uneven)
        widest = max(point.values["imep_spread"] for point in uneven)
        return (
            f"At {speeds} rev/min cylinders that are alike differ by up to "
            f"{100.0 * widest:.1f} % in imep_net: the engine may have other periodic states there, "
            "and this is the one that a cold start leads to (see periodic_states).",
        )

    @property
    def burn_notes(self) -> tuple[str, ...]:
        """Sentences on speeds at which hardly an engine would burn its charge as it did here."""
        fresh = {p.rpm: p.values.get("scavenging_efficiency", 1.0) for p in self.points}
        thin = {rpm: share for rpm, share in fresh.items() if share < 1.0 - MOST_DILUENT}
        cut = [f"{p.rpm:g}" for p in self.points if p.audit.get("burns_limited", 0)]
        found = []
        if thin:
            found.append(
                f"At {', '.join(f'{rpm:g}' for rpm in thin)} rev/min as little as "
                f"{100.0 * min(thin.values()):.0f} % of what the cylinders hold is fresh charge, "
                "which hardly any engine burns; here it burned as stated.  Look for exhaust that "
                "flows back in overlap."
            )
        if cut:
            found.append(
                f"At {', '.join(cut)} rev/min the FlameScaling asked for a longer burn than the "
                "cycle has room for, and got what there is."
            )
        return tuple(found)

    @property
    def notes(self) -> tuple[str, ...]:
        """Sentences on what limits the curve: convergence, failures, walls, states, burn."""
        found = []
        if not self.trusted.all():
            loose = ", ".join(f"{rpm:g}" for rpm in self.rpm[~self.trusted])
            found.append(f"Not converged at {loose} rev/min.")
        if self.failures:
            lost = ", ".join(f"{rpm:g}" for rpm in sorted(self.failures))
            found.append(f"Failed at {lost} rev/min.")
        found += [*self.wall_notes, *self.state_notes, *self.burn_notes]
        return (*found, *self.repeat_notes)

    @property
    def repeat_notes(self) -> tuple[str, ...]:
        """Sentence on the tolerance of the cycles, if there are any."""
        if not self.points:
            return ()
        return (f"Cycles were run until they repeat within {100.0 * self.tolerance:.2g} %; "
                "smaller differences mean nothing.",)

    @property
    def conditions(self) -> dict:
        """What it was computed under besides the exhaust, plain data by heading.

        `compare` names every difference between those of two sweeps.
        """
        return conditions_of(self.points)

    @property
    def tolerance(self) -> float:
        """Share within which every cycle repeats those before it, the largest of all points."""
        return max((point.audit["tolerance"] for point in self.points), default=0.0)

    def table(self, names: Sequence[str] = SHOWN) -> str:
        """Text table of some quantities against speed, in units that are common in a workshop.

        Parameters
        ----------
        names : sequence of str
            Keys of `QUANTITIES`; torque in N m, power in kW, pressures in bar, shares in %.

        Returns
        -------
        str
            One line for each speed with the cycles it took and a flag where it did not converge or
            failed; below it the errors of failed speeds, which temperatures the walls have, where
            cylinders that are alike differ, and where hardly an engine would burn its charge.

        Raises
        ------
        InputError
            If a quantity does not exist.
        """
        names = sequence("Sweep", "names", names, "names of quantities")
        for name in names or ("",):
            check_choice("Sweep", "names", name, QUANTITIES)
        *words, units = heading(names)
        head = [["", *row, "", ""] for row in words]
        head[-1][0], head[-1][-2] = "rpm", "cycles"
        body = self._rows(names)
        below = self._below()
        return "\n".join([rows_text([*head, ["", *units, "", ""], *body]), *below])

    def _rows(self, names):
        """Cells of the table below its heading."""
        rows = [
            (p.rpm, [*(display(n).text(p.values[n]) for n in names), str(p.audit["cycles"]),
                     "" if p.converged else "not converged"])
            for p in self.points
        ]
        rows += [(rpm, [*["-"] * (len(names) + 1), "failed"]) for rpm in self.failures]
        return [[f"{rpm:g}", *cells] for rpm, cells in sorted(rows)]

    def _below(self):
        """Sentences below a table."""
        return [*self._errors(), *self.wall_notes, *self.state_notes, *self.burn_notes]

    def _errors(self):
        return [f"{rpm:g} rev/min failed: {text}" for rpm, text in sorted(self.failures.items())]

    def _sheet(self):
        head = [["rpm", *(name.replace("_", " ") for name in SHOWN), "cycles", ""],
                ["", *(display(name).unit for name in SHOWN), "", ""]]
        below = self._below()
        return Sheet([*head, *self._rows(SHOWN)], self.name, below, heads=2)

    def summary(self) -> str:
        """The table with the name above it."""
        return f"{self.name or 'sweep'}\n{self.table()}"

    def _columns(self):
        """All quantities and what the audit says of each speed; failed speeds are left out."""
        audits = [point.audit for point in self.points]
        return [
            *super()._columns(),
            Column("cycles", "", [audit["cycles"] for audit in audits]),
            Column("converged", "", self.trusted.astype(int)),
            Column("mass_error", "1", [float(audit["mass_error"]) for audit in audits]),
            Column("energy_error", "1", [float(audit["energy_error"]) for audit in audits]),
        ]

    def _meanings(self):
        names = ["rpm", *self.quantities, "cycles", "converged", "mass_error", "energy_error"]
        return [f"{self.name or 'sweep'}, wavesim {__version__}", *column_notes(names)]

    def save(self, path: str | Path, *, exact: bool = False) -> None:
        """Write everything to one .npz file: arrays, and a JSON header with the descriptions.

        All quantities keep every bit, and so does the gas at the end of the last cycle, from which
        `run_point` can start.  Traces are rounded to what no figure shows: in the ducts to 20 Pa,
        0.05 m/s, 0.1 K and 0.0002 of the mass fractions, at valves, open ends and in cylinders to
        single precision.

        Parameters
        ----------
        path : str or Path
            The file; one that was written so before is replaced.  A dozen speeds of four
            cylinders take some 9 MB.
        exact : bool
            True keeps every bit of the traces, in about seven times the room.

        Raises
        ------
        InputError
            If the file cannot be written, or another one is there.
        """
        self.save_beside(path, "", (), exact=exact)

    def save_beside(
        self, path: str | Path, folder: str, keys: Iterable[str], *, exact: bool = False
    ) -> None:
        """As `save`; the traces of points that a store beside the file keeps may stay there.

        Parameters
        ----------
        path : str or Path
        folder : str
            Name of the folder of the store, beside the file.
        keys : iterable of str
            Keys under which it keeps points: of these the file holds all but traces and the gas to
            start from, which `load` fetches from the store.  Without that folder they are gone.
        exact : bool
            As for `save`, for all other points.

        Raises
        ------
        InputError
            As `save` does.
        """
        keys = set(keys)
        lean = [replace(p, samples=None) if p.kept in keys else p for p in self.points]
        arrays, heads = pack_points(lean, exact=exact)
        for point, head in zip(self.points, heads, strict=True):
            if point.kept in keys:
                head["kept"] = {"folder": folder, "key": point.kept}
        header = {
            "format": FORMAT, "name": self.name, "points": heads,
            "failures": [[rpm, text] for rpm, text in self.failures.items()],
            "interrupted": self.interrupted,
        }
        save_npz(path, "Sweep.save", arrays, header)

    @classmethod
    def load(cls, path: str | Path) -> "Sweep":
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
        arrays, header = read_npz(path, _READ, "Sweep")
        with intact(path, "Sweep"):
            points = [
                _fetched(point, head.get("kept"), as_path("Sweep", path).parent)
                for point, head in zip(unpack_points(arrays, header["points"]), header["points"],
                                       strict=True)
            ]
            failures = {rpm: text for rpm, text in header["failures"]}
            return cls(points, failures, header["name"], header["interrupted"])


@guarded
@dataclass(frozen=True, eq=False)
class Transient(Tabular):
    """A march of a network without an engine.

    Attributes
    ----------
    samples : Samples
        Everything against time; see `trace`.
    final : dict
        By duct: x, rho, u, p, T, fresh, burned at the last instant, each (n_cell,).
    audit : dict
        Steps, mass and energy before and after, what passed the ends, imbalance, emergency exits
        as in a Point.

    Examples
    --------
    >>> import wavesim as ws
    >>> pipe = ws.Network({"pipe": ws.Pipe("1 m", "40 mm")},
    ...                   {"wall": ws.ClosedEnd("pipe.start"), "mouth": ws.OpenEnd("pipe.end")})
    >>> rest = ws.simulate(pipe, 1e-3, samples=5)
    >>> rest.trace("pressure", "pipe", 0.5).values.round().tolist()
    [101325.0, 101325.0, 101325.0, 101325.0, 101325.0]
    >>> rest.waves("pipe", 0.5).at
    'pipe at 0.5 m'
    >>> ax = rest.plot(quantity="pressure")
    """

    samples: Samples
    final: dict
    audit: dict

    def __repr__(self) -> str:
        ducts = ", ".join(self.final)
        return f"<Transient: {self.samples.x.size} records, {self.audit['steps']} steps, {ducts}>"

    def trace(self, quantity: str, at: str, x: float | None = None) -> Trace:
        """One quantity at one place against time: see `Samples.trace`."""
        return self.samples.trace(quantity, at, x)

    def waves(
        self,
        at: str,
        x: float | None = None,
        *,
        quiet: float | None = None,
        flow: float | None = None,
    ) -> Waves:
        """The two running parts of the pressure at a place: on along the duct, and back.

        Parameters
        ----------
        at, x
            A duct with a position, or a node that takes one duct end, as for `trace`.
        quiet : float or None
            Pressure between the waves [Pa], above 0; None: that at the start.
        flow : float or None
            Velocity along the duct on which the waves ride [m/s], -2000 to 2000; None: that at
            the start.

        Returns
        -------
        Waves

        Raises
        ------
        InputError
            If there is no such duct or node, or a value is out of range.

        Notes
        -----
        By the invariants of Riemann, exact for waves of any size that have met in a gas of one
        entropy and constant heat capacities; each sample is taken with its own temperature and
        composition.  Where hot and cool gas pass, or friction and area changes act within the
        length of the wave, the parts hold what these send back as well.
        """
        return split_waves(self.samples, at, x, quiet, flow)

    def plot(
        self,
        ax: "Axes | None" = None,
        quantity: str = "pressure",
        at: Sequence[str] | None = None,
        **line_kws: Any,
    ) -> "Axes":
        """Draw a quantity at some places against time: see `Samples.plot`."""
        return self.samples.plot(ax, quantity, at, **line_kws)

    def to_csv(
        self, path: str | Path, quantity: str = "pressure", at: Sequence[str] | None = None
    ) -> None:
        """Write a quantity at some places against time to a CSV file: see `Samples.to_csv`."""
        self.samples.to_csv(path, quantity, at)

    def to_frame(
        self, quantity: str = "pressure", at: Sequence[str] | None = None
    ) -> "DataFrame":
        """A quantity at some places against time: see `Samples.to_frame`."""
        return self.samples.to_frame(quantity, at)

    def _sheet(self):
        rows = [[name.replace("_", " "), f"{value:.6g}"] for name, value in self.audit.items()]
        return Sheet([["audit", "value"], *rows], "march in time")


def _fetched(point, kept, beside):
    """A point with the traces that a store beside its file keeps, without them if they are gone."""
    if kept is None:
        return point
    folder, key = kept["folder"], kept["key"]
    if not re.fullmatch(r"\w[\w.-]*", folder) or not re.fullmatch("[0-9a-f]{64}", key):
        raise ValueError("a store that is not beside the file")
    for number in ("", *(f".{n}" for n in range(2, 10))):  # a damaged file is left, another made
        place = beside / folder / f"{key}{number}.npz"
        with contextlib.suppress(InputError):
            arrays, header = read_npz(place, POINT_FORMAT, "Store", sealed=True)
            with intact(place, "Store"):
                (found,) = unpack_points(arrays, [header["point"]])
                if header["key"] == key and found.rpm == point.rpm:
                    return replace(point, samples=found.samples, restart=found.restart, kept=key)
    return point


class Failure(NamedTuple):
    """What there is instead of a Point where a calculation failed.

    Attributes
    ----------
    kind : str
        Class of the error, such as "SolverError".
    text : str
        Its sentence.

    Examples
    --------
    >>> import wavesim as ws
    >>> failure = ws.Failure("SolverError", "The pressure fell below zero.")
    >>> failure.kind
    'SolverError'
    """

    kind: str
    text: str


def pack_points(points, *, exact=False):
    """Points as arrays by name and a list of JSON heads; those without samples stay without.

    The gas to start from belongs to the traces: without samples it is left out too.
    """
    arrays, heads = {}, []
    for i, p in enumerate(points):
        head = {"rpm": p.rpm, "values": p.values, "audit": p.audit, "meta": p.meta,
                "cylinders": list(p.cylinders)}
        arrays[f"{i}/cylinders"] = np.array(list(p.cylinders.values()))  # one file member, not 40
        if p.samples is not None:
            packed, facts = pack_samples(p.samples, exact)
            head |= facts
            arrays |= {f"{i}/{name}": values for name, values in packed.items()}
            if p.restart:
                packed, head["restart"] = pack_restart(p.restart)
                arrays |= {f"{i}/restart/{name}": values for name, values in packed.items()}
        heads.append(head)
    return arrays, heads


def unpack_points(arrays, heads):
    """Points from what `pack_points` returned."""
    points = []
    for i, head in enumerate(heads):
        own = {name.removeprefix(f"{i}/"): values for name, values in arrays.items()
               if name.startswith(f"{i}/")}
        samples = unpack_samples(own, head) if "layout" in head else None
        kept = {name.removeprefix("restart/"): values for name, values in own.items()
                if name.startswith("restart/")}
        restart = unpack_restart(kept, head["restart"]) if "restart" in head else {}
        cylinders = dict(zip(head["cylinders"], arrays[f"{i}/cylinders"], strict=True))
        points.append(
            Point(head["rpm"], head["values"], cylinders, samples, head["audit"], head["meta"],
                  restart)
        )
    return points


def without_traces(point):
    """A point without its traces, and so without the gas to start from, which belongs to them."""
    return replace(point, samples=None, restart={})


def values_alone(point):
    """A point with its quantities and whether it converged, and nothing that made it."""
    audit = {"converged": point.converged}
    return replace(point, cylinders={}, samples=None, audit=audit, meta={}, restart={})


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
