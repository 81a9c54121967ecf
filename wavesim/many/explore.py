"""Many designs: what each does at some speeds, and which is the best."""

import math
import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, field
from numbers import Integral, Real
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple, overload

import numpy as np

from wavesim.descriptions.engine import Engine
from wavesim.descriptions.exhaust import Exhaust
from wavesim.descriptions.network import Network
from wavesim.descriptions.pull import Pull
from wavesim.descriptions.settings import Settings, given_settings
from wavesim.descriptions.weather import Ambient
from wavesim.errors import InputError, check_choice, check_int, check_kind, check_number, shown
from wavesim.fields.description import sequence
from wavesim.fields.tabular import Column, Sheet, data_frame, write_csv
from wavesim.guard import guarded
from wavesim.many.maps import SpeedMap
from wavesim.many.pool import Workplace, workplace
from wavesim.many.space import (
    built_pair,
    designs,
    field_at,
    field_unit,
    in_si,
    plain_pair,
)
from wavesim.many.store import Store
from wavesim.many.sweep import checked_speeds
from wavesim.many.work import Task, run_chains
from wavesim.results.bill import bill
from wavesim.results.curves import ByName, CurveMethods, Reading, mean_over, place_of_speed
from wavesim.results.points import Failure
from wavesim.show.quantities import QUANTITIES, column_notes, display, rows_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from pandas import DataFrame

GOALS = ("largest", "smallest")
KEEP = ("torque", "power")
NOT_COMPUTED = "not computed"  # how the error of a design begins whose bill is outside the limits
#: Lowest and highest value, one of which may be None, by name of a quantity or an amount.
Limits = Mapping[str, tuple[float | None, float | None]]
#: What the bill of an exhaust adds to a design: (label, unit).
AMOUNTS = {
    "mass": ("mass of tubes and silencers", "kg"), "length": ("length of all lines", "m"),
    "gas_volume": ("gas volume", "m3"), "inner_area": ("inner area", "m2"),
    "outer_area": ("outer area", "m2"), "bends": ("number of bends", "1"),
    "bend_angle_deg": ("angle of all bends", "deg"), "tube_mass": ("mass of tubes", "kg"),
    "silencer_mass": ("mass of silencers", "kg"),
}
_REASON = re.compile(r"^[\d.]+ rev/min: ")  # before the text of a speed that failed
_NUMBER = re.compile(r"[-+]?\d+(\.\d+)?(e[-+]?\d+)?")
FAILED_EXCESS = 1e6  # its excess where there is no result at all


@guarded
@dataclass(frozen=True, eq=False)
class Design(CurveMethods):
    """One design and what it does: a speed curve, to be drawn and compared like any other.

    Attributes
    ----------
    changes : dict
        Values by path.
    rpm : ndarray, (n_rpm,)
        Speeds [rev/min].
    quantities : dict
        Arrays (n_rpm,) in SI units by the names of `wavesim.QUANTITIES`; NaN where a speed failed.
    amounts : dict
        From the bill, by the names of `AMOUNTS`; empty if the design could not be built, and for a
        Network, which does not know the cases of its silencers.
    trusted : ndarray of bool, (n_rpm,)
        True at the speeds that converged.
    failures : dict
        Error text by speed [rev/min] for the speeds that have no numbers.
    error : str
        Why there are no or not all numbers; empty if all is well.

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> settings = ws.Settings(cell_length=0.05, tolerance=0.05)
    >>> single = study.engine.replace(firing_order=(1,))
    >>> header = ws.Exhaust(primary=ws.Pipe("700 mm", "40 mm"), merge=None)
    >>> found = ws.explore(single, header, {"exhaust.primary.length": [0.5, 0.7, 0.9]}, [4500],
    ...                    settings=settings, progress=False)
    >>> design = found.designs[0]
    >>> design.changes, design.converged
    ({'exhaust.primary.length': 0.5}, True)
    >>> bool(design.mean("torque") == design.torque[0])
    True
    >>> bool(design.excess({"torque": (1000.0, None)}) > 0.0)  # far below that limit
    True
    >>> design.unit("torque"), design.uncertainty("torque") is None
    ('N m', True)
    >>> ax = design.plot(quantity="torque")
    """

    changes: dict[str, Any]
    rpm: np.ndarray
    quantities: dict[str, np.ndarray]
    amounts: dict[str, float]
    trusted: np.ndarray
    failures: dict[float, str]
    error: str

    def __repr__(self) -> str:
        state = "failed" if self.error else "" if self.converged else "not converged"
        return f"<Design: {self.name}, {self.rpm.size} speeds{', ' * bool(state)}{state}>"

    @property
    def name(self) -> str:
        """What it changes, for tables and figures."""
        listed = [f"{path.split('.', 1)[-1]} = {value_text(value)}"
                  for path, value in self.changes.items()]
        return ", ".join(listed) or "base"

    @property
    def converged(self) -> bool:
        """True if every speed converged."""
        return bool(np.all(self.trusted))

    @property
    def notes(self) -> tuple[str, ...]:
        """Sentences on what limits it: speeds that did not converge, and errors."""
        loose = ~self.trusted & ~np.isin(self.rpm, list(self.failures))
        speeds = ", ".join(f"{rpm:g}" for rpm in self.rpm[loose])
        found = [f"Not converged at {speeds} rev/min."] if speeds else []
        return (*found, *([f"Failed: {self.error}"] if self.error else []))

    @property
    def _names(self):
        return [*self.quantities, *self.amounts]

    @overload
    def __getitem__(self, key: str) -> np.ndarray: ...

    @overload
    def __getitem__(self, key: float) -> Reading: ...

    def __getitem__(self, key):
        """A quantity (n_rpm,), an amount, the value of a path, or all quantities at a speed."""
        if not isinstance(key, str):
            i = place_of_speed("Design", key, self.rpm)
            row = {name: float(values[i]) for name, values in self.quantities.items()}
            return Reading(float(self.rpm[i]), row, bool(self.trusted[i]))
        check_choice("Design", "name", key, [*self._names, *self.changes])
        return (self.quantities | self.amounts | self.changes)[key]

    def mean(self, name: str, band: tuple[float, float] | None = None) -> float:
        """Average of a quantity over speed, or an amount of the bill.

        Parameters
        ----------
        name : str
            A quantity that was kept, or a key of `AMOUNTS`.
        band : (float, float) or None
            Limits [rev/min] within the speeds; None: all speeds.

        Returns
        -------
        float
            Integral over speed divided by the width of the band, SI unit; NaN if a speed failed.

        Raises
        ------
        InputError
            If the quantity was not kept or the band lies outside the speeds.
        """
        check_choice("Design", "name", name, [*self.quantities, *AMOUNTS])
        if name in AMOUNTS:
            return self.amounts.get(name, math.nan)
        low, high = checked_band(band, self.rpm)
        values = self.quantities[name]
        return float(values[0]) if low == high else mean_over(self.rpm, values, low, high)

    def excess(self, limits: Limits) -> float:
        """How far the design is outside limits: 0 inside, else the sum of relative excesses.

        Parameters
        ----------
        limits : mapping of str to (float or None, float or None)
            Lowest and highest value by name of a quantity, which must hold at every speed, or of
            an amount.
        """
        total = 0.0
        for name, (low, high) in limits.items():
            values = self.amounts.get(name, math.nan) if name in AMOUNTS else self.quantities[name]
            total += _excess(np.asarray(values, dtype=float), low, high)
        return total


def _excess(values, low, high):
    if np.isnan(values).any():
        return FAILED_EXCESS
    over = 0.0 if high is None else max(0.0, float(values.max()) - high) / (abs(high) or 1.0)
    under = 0.0 if low is None else max(0.0, low - float(values.min())) / (abs(low) or 1.0)
    return over + under


def checked_band(band, rpm):
    if band is None:
        return float(rpm[0]), float(rpm[-1])
    if len(sequence("band", "limits", band, "two speeds in rev/min")) != 2:
        raise InputError(f"band = {shown(band)} must be a pair (low, high) in rev/min.")
    low = check_number("band", "low", band[0], "rev/min", rpm[0], rpm[-1])
    return low, check_number("band", "high", band[1], "rev/min", low, rpm[-1], low_open=True)


def checked_limits(limits):
    check_kind("limits", "limits", limits, Mapping, optional=True)
    limits = dict(limits or {})
    for name, pair in limits.items():
        check_choice("limits", "name", name, [*QUANTITIES, *AMOUNTS])
        if not isinstance(pair, (tuple, list)) or len(pair) != 2 or tuple(pair) == (None, None):
            raise InputError(
                f"limits: {name!r} = {shown(pair)} must be a pair (lowest, highest), one may be "
                "None."
            )
        for value in pair:
            if value is not None:
                unit = (QUANTITIES | AMOUNTS)[name][1]
                check_number("limits", name, value, unit, -math.inf, math.inf)
    return limits


def checked_keep(keep, *more):
    """Quantities to keep, each once."""
    names = (*sequence("explore", "keep", keep, "names of quantities"), *more)
    for name in names:
        check_choice("explore", "keep", name, list(QUANTITIES))
    return tuple(dict.fromkeys(names))


class Bench(NamedTuple):
    """Where designs are tried out: what `explore` and `optimise` share."""

    raw: dict
    rpm: list
    settings: Settings
    ambient: Ambient | None
    pull: Pull | None
    keep: tuple
    place: Workplace
    store: object

    def run(self, changes, limits, *, progress):
        """Designs with their results, those that were finished; True if interrupted.

        Designs whose bill is outside `limits` are not computed.
        """
        begun, owners = [], []  # designs, and of which of them each chain is

        def chains():
            for change in changes:
                design, engine, exhaust = self._begin(change, limits)
                begun.append((design, engine is not None))
                for own in self._chains(engine, exhaust) if engine is not None else ():
                    owners.append(len(begun) - 1)
                    yield own

        done = run_chains(
            chains(), **self.place._asdict(), store=self.store, traces=False, strict=False,
            progress=progress, label="designs", tasks=len(changes) * len(self.rpm),
        )
        outcomes = [[] for _ in begun]
        for i, chain in zip(owners, done.chains, strict=True):
            outcomes[i] += chain
        found = [
            self._finish(design, own) if is_computed else design
            for (design, is_computed), own in zip(begun, outcomes, strict=True)
        ]
        return [design for design in found if design is not None], done.interrupted

    def _chains(self, engine, exhaust):
        """Chains of tasks of a design: its speeds one after the other in a pull, else apart."""
        tasks = [
            Task(engine, exhaust, rpm, self.settings, ambient=self.ambient, pull=self.pull,
                 values_alone=self.pull is None)
            for rpm in self.rpm
        ]
        return [tasks] if self.pull else [[task] for task in tasks]

    def _begin(self, changes, limits):
        """Design without results, engine and exhaust; both None if there is nothing to compute."""
        empty = {name: np.full(len(self.rpm), math.nan) for name in self.keep}
        rpm, none = np.array(self.rpm), np.zeros(len(self.rpm), dtype=bool)

        def without_numbers(amounts, text):
            lost = dict.fromkeys(self.rpm, text) if text else {}
            return Design(changes, rpm, empty, amounts, none, lost, text)

        try:
            engine, exhaust = built_pair(self.raw, changes)
            amounts = _amounts(exhaust, engine)
        except InputError as error:
            return without_numbers({}, str(error)), None, None
        design = without_numbers(amounts, "")
        broken = {n: pair for n, pair in limits.items() if n in amounts}
        if design.excess(broken) > 0.0:
            told = ", ".join(f"{n} = {amounts[n]:.4g} {AMOUNTS[n][1]}" for n in broken)
            text = f"{NOT_COMPUTED}, outside the limits: {told}"
            return without_numbers(amounts, text), None, None
        return design, engine, exhaust

    def _finish(self, design, outcomes):
        """Design with its results, or None if a speed is missing."""
        if None in outcomes:
            return None
        failures = {
            rpm: outcome.text for rpm, outcome in zip(self.rpm, outcomes, strict=True)
            if isinstance(outcome, Failure)
        }
        quantities = {
            name: np.array([_value(outcome, name) for outcome in outcomes]) for name in self.keep
        }
        trusted = [not isinstance(one, Failure) and one.converged for one in outcomes]
        error = "; ".join(f"{rpm:g} rev/min: {text}" for rpm, text in failures.items())
        return Design(
            design.changes, design.rpm, quantities, design.amounts, np.array(trusted), failures,
            error,
        )


def _value(outcome, name):
    return math.nan if isinstance(outcome, Failure) else outcome.values[name]


def _amounts(exhaust, engine):
    if not isinstance(exhaust, Exhaust):
        return {}
    total = bill(exhaust, engine).total
    return {"mass": total.tube_mass + total.silencer_mass, **total._asdict()}


def make_bench(
    owner, engine, exhaust, rpm, settings, ambient, pull, keep, executor, threads, store,
    device,
):
    """Checked surroundings of an exploration."""
    settings = given_settings(owner, settings)
    return Bench(
        plain_pair(engine, exhaust), checked_speeds(owner, rpm), settings,
        ambient, check_kind(owner, "pull", pull, Pull, optional=True), keep,
        workplace(owner, device, executor, threads, settings.scheme),
        check_kind(owner, "store", store, Store, optional=True),
    )


@guarded
@dataclass(frozen=True, eq=False)
class Exploration(ByName):
    """Many designs and what they do.

    `found[3]` is the design number 3, counted from 0; `found["torque"]` and `found.torque` hold a
    quantity of all designs, (n_design, n_rpm), and `found["mass"]` an amount of the bill,
    (n_design,).

    Attributes
    ----------
    designs : tuple of Design
        In the order they were asked for.
    interrupted : bool
        True if it was stopped before all designs were computed; those finished are here.
    base : dict
        Plain form of engine and exhaust that the designs change.
    pull : Pull or None
        In which the speeds were passed.

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> settings = ws.Settings(cell_length=0.05, tolerance=0.05)
    >>> single = study.engine.replace(firing_order=(1,))
    >>> header = ws.Exhaust(primary=ws.Pipe("700 mm", "40 mm"), merge=None)
    >>> found = ws.explore(single, header, {"exhaust.primary.length": [0.5, 0.7, 0.9]}, [4500],
    ...                    settings=settings, progress=False)
    >>> found.mean("torque").shape, found.failure_note()
    ((3,), '')
    >>> design = found.best("torque")[0]
    >>> sorted(design.changes), len(found.edge_note(design)) > 0
    (['exhaust.primary.length'], True)
    >>> engine, exhaust = found.built(design)
    >>> exhaust.primary[0].length == design.changes["exhaust.primary.length"]
    True
    >>> print(found.summary("torque", count=1).splitlines()[0])
    exhaust.primary.length  torque [N m]  power [kW]  mass [kg]  length [m]
    >>> ax = found.plot(name="torque")
    """

    designs: tuple[Design, ...]
    interrupted: bool
    base: dict[str, Any] = field(repr=False)
    pull: Pull | None = None

    def __len__(self) -> int:
        return len(self.designs)

    def __iter__(self) -> Iterator[Design]:
        return iter(self.designs)

    def __repr__(self) -> str:
        return f"<Exploration: {len(self)} designs, {len(self.failures)} failed>"

    @property
    def rpm(self) -> np.ndarray:
        """Speeds [rev/min], (n_rpm,)."""
        return self.designs[0].rpm if self.designs else np.array([])

    @property
    def paths(self) -> tuple[str, ...]:
        """Paths that vary, in order."""
        return tuple(dict.fromkeys(path for design in self for path in design.changes))

    @property
    def quantities(self) -> tuple[str, ...]:
        """Names of the quantities that were kept."""
        return tuple(self.designs[0].quantities) if self.designs else ()

    @property
    def failures(self) -> dict[int, str]:
        """Error text by number of the design, from 0."""
        return {i: design.error for i, design in enumerate(self) if design.error}

    @property
    def _names(self):
        return [*self.quantities, *AMOUNTS]

    @overload
    def __getitem__(self, key: int) -> Design: ...

    @overload
    def __getitem__(self, key: str) -> Any: ...

    def __getitem__(self, key):
        """A design by its number, or by name what all of them have.

        A quantity is an array (n_design, n_rpm), an amount one (n_design,), and the values of a
        path are a list.
        """
        if isinstance(key, Integral):
            return self.designs[check_int("Exploration", "number", key, 0, len(self) - 1)]
        check_choice("Exploration", "name", key, [*self._names, *self.paths])
        if key in AMOUNTS:
            return self.mean(key)
        if key in self.quantities:
            return np.array([design.quantities[key] for design in self])
        return [design.changes.get(key) for design in self]

    def mean(self, name: str, band: tuple[float, float] | None = None) -> np.ndarray:
        """Averages over speed as `Design.mean` gives them, (n_design,)."""
        return np.array([design.mean(name, band) for design in self])

    def built(self, design: Design | int) -> tuple[Engine, Exhaust]:
        """Engine and exhaust of a design.

        Parameters
        ----------
        design : Design or int
            One of these, or its number from 0.
        """
        design = design if isinstance(design, Design) else self[design]
        return built_pair(self.base, design.changes)

    def best(
        self,
        name: str = "torque",
        *,
        goal: str = "largest",
        band: tuple[float, float] | None = None,
        limits: Limits | None = None,
        count: int = 1,
    ) -> list[Design]:
        """The best designs within limits, best first.

        Parameters
        ----------
        name : str
            Quantity, averaged over speed, or amount of the bill.
        goal : {"largest", "smallest"}
            What counts as good.
        band : (float, float) or None
            Speeds to average over [rev/min]; None: all.
        limits : mapping of str to (float or None, float or None)
            Lowest and highest value by quantity, which must hold at every speed, or amount.
        count : int
            At most so many.

        Returns
        -------
        list of Design
            Without those that failed; `design.converged` tells of the others.

        Raises
        ------
        InputError
            If a name or a limit is wrong.
        """
        check_choice("best", "goal", goal, GOALS)
        limits = checked_limits(limits)
        for known in limits:
            check_choice("best", "limits", known, [*self.quantities, *AMOUNTS])
        sign = 1.0 if goal == "smallest" else -1.0
        fit = [d for d in self if not d.error and d.excess(limits) == 0.0]
        return sorted(fit, key=lambda design: sign * design.mean(name, band))[:count]

    def summary(
        self,
        name: str | None = None,
        *,
        goal: str = "largest",
        band: tuple[float, float] | None = None,
        count: int = 10,
    ) -> str:
        """The best designs as a text table, averages over speed in common units.

        Parameters
        ----------
        name, goal, band, count
            As for `best`; None: the first quantity that was kept.
        """
        if not self.designs:
            return "no designs"
        best = self.best(name or self.quantities[0], goal=goal, band=band)
        below = [self._note(), self.failure_note(), *map(self.edge_note, best)]
        lines = [rows_text(self._rows(name, goal, band, count)), *below]
        return "\n".join(line for line in lines if line)

    def _rows(self, name=None, goal="largest", band=None, count=10):
        """Cells of the table of the best designs, one line of heading."""
        best = self.best(name or self.quantities[0], goal=goal, band=band, count=count)
        shown = [display(quantity) for quantity in self.quantities]
        rows = [[*self.paths, *(d.axis for d in shown), "mass [kg]", "length [m]", ""]]
        for design in best:
            values = [value_text(design.changes.get(path)) for path in self.paths]
            bill = [f"{design.amounts[n]:.2f}" if n in design.amounts else "-"
                    for n in ("mass", "length")]
            means = [
                d.text(design.mean(quantity, band))
                for d, quantity in zip(shown, self.quantities, strict=True)
            ]
            rows.append([*values, *means, *bill, "" if design.converged else "not converged"])
        return rows

    def _note(self):
        loose = sum(not d.converged and not d.error for d in self)
        pull = self.pull
        walls = "" if pull is None else (
            f"; walls warm in a pull of {pull.rate:g} rev/min/s from {pull.start_text}")
        return (f"{len(self)} designs, {len(self.failures)} failed, {loose} did not converge"
                f"{', interrupted' if self.interrupted else ''}{walls}")

    def failure_note(self) -> str:
        """Sentence on the failure that is met most often, by its first text; empty if none is.

        Failures count as one where they differ in their numbers only.
        """
        reasons = [_REASON.split(text, maxsplit=1)[-1] for text in self.failures.values()]
        kinds = Counter(_NUMBER.sub("#", reason) for reason in reasons)
        if not kinds:
            return ""
        (kind, count), = kinds.most_common(1)
        first = next(reason for reason in reasons if _NUMBER.sub("#", reason) == kind)
        of = "all" if count == len(reasons) else f"{count}"
        return f"Of the {len(reasons)} that failed, {of} did with such words: {first}"

    def edge_note(self, design: Design) -> str:
        """Sentence on the fields that have the lowest or highest value tried; empty if none has.

        Parameters
        ----------
        design : Design
            One of these.
        """
        found = []
        for path in self.paths:
            values = [value for value in self[path] if isinstance(value, Real)]
            if len(set(values)) > 1:
                word = {min(values): "lowest", max(values): "highest"}.get(design.changes.get(path))
                found += [f"{path} has the {word} value that was tried"] if word else []
        return (f"At the edge of what was tried: {', '.join(found)}.  A better design may lie "
                "beyond." if found else "")

    def _repr_html_(self) -> str:
        if not self.designs:
            return Sheet([["no designs"]]).html()
        notes = [note for note in (self._note(), self.failure_note()) if note]
        return Sheet(self._rows(), "the best, averages over speed", notes).html()

    def plot(
        self,
        ax: "Axes | None" = None,
        name: str | None = None,
        *,
        against: str | None = None,
        band: tuple[float, float] | None = None,
        **marker_kws: Any,
    ) -> "Axes":
        """Draw what every design does as a dot.

        Parameters
        ----------
        ax : matplotlib Axes or None
            None makes a new figure.
        name : str or None
            Quantity, averaged over speed, or amount of the bill; None: the first quantity that was
            kept.
        against : str or None
            Path, quantity or amount along the axis; None: the first path that varies.
        band : (float, float) or None
            Speeds to average over [rev/min]; None: all.
        **marker_kws
            For the dots.

        Returns
        -------
        matplotlib Axes
            Designs that failed are left out; those that did not converge have open dots.

        Raises
        ------
        InputError
            If there are no designs or no such name.
        """
        from wavesim.show import plots

        if not self.designs:
            raise InputError("Exploration: there are no designs to draw.")
        along = against or next(iter(self.paths), "mass")
        x_label, x = self._axis(along, band)
        y_label, y = self._axis(name or self.quantities[0], band)
        good = [i for i, design in enumerate(self) if not design.error]
        return plots.plot_dots(
            [x[i] for i in good], [y[i] for i in good],
            [self.designs[i].converged for i in good], x_label, y_label, ax, **marker_kws,
        )

    def plot_pairs(
        self,
        axes: "Sequence[Axes] | np.ndarray | None" = None,
        name: str | None = None,
        *,
        band: tuple[float, float] | None = None,
        paths: Sequence[str] | None = None,
    ) -> np.ndarray:
        """Draw every pair of fields that vary, each design a dot whose shade says how good it is.

        Parameters
        ----------
        axes : sequence of matplotlib Axes, or None
            As many as there are pairs; None makes a new figure.
        name : str or None
            Quantity, averaged over speed, or amount of the bill; None: the first quantity that was
            kept.
        band : (float, float) or None
            Speeds to average over [rev/min]; None: all.
        paths : sequence of str or None
            At least two of those that vary with numbers; None: all of them, at most five.

        Returns
        -------
        ndarray of matplotlib Axes, (n_pair,)
            In the order of `itertools.combinations`; the first carries the scale of shades.

        Raises
        ------
        InputError
            If fewer than two numbers vary, or there is no such name.

        Examples
        --------
        >>> import wavesim as ws
        >>> study = ws.load(ws.demo_path("collector"))
        >>> single = study.engine.replace(firing_order=(1,))
        >>> header = ws.Exhaust(primary=ws.Pipe("700 mm", "40 mm"), merge=None)
        >>> space = {"exhaust.primary.length": [0.6, 0.8],
        ...          "exhaust.primary.diameter": [0.038, 0.042]}
        >>> found = ws.explore(single, header, space, [4500], progress=False,
        ...                    settings=ws.Settings(cell_length=0.05, tolerance=0.05))
        >>> found.plot_pairs(name="torque").shape
        (1,)
        """
        from wavesim.show import plots

        numeric = [path for path in self.paths
                   if all(isinstance(value, Real) for value in self[path])]
        chosen = numeric[:5] if paths is None else list(sequence(
            "Exploration", "paths", paths, "paths that vary"
        ))
        for path in chosen:
            check_choice("Exploration", "path", path, numeric)
        if len(chosen) < 2:
            raise InputError(
                f"Exploration: paths = {shown(chosen)} must be at least two numbers that vary."
            )
        label, values = self._axis(name or self.quantities[0], band)
        good = [i for i, design in enumerate(self) if not design.error]
        columns = {self._axis(path, band)[0]: [self[path][i] for i in good] for path in chosen}
        return plots.plot_pairs(columns, np.asarray(values)[good], label, axes)

    def map(self, quantity: str | None = None, path: str | None = None) -> SpeedMap:
        """A quantity over one dimension and speed.

        Parameters
        ----------
        quantity : str or None
            One that was kept; None: the first.
        path : str or None
            The path that varies; None: the only one.

        Returns
        -------
        SpeedMap
            Its `plot` draws the map with its ridge, the base, and on demand tuned-length
            arithmetic; its `difference` is a map too.  Of designs with one value the first counts.

        Raises
        ------
        InputError
            If no or more than one dimension varies, or its values are no numbers.

        Examples
        --------
        >>> import wavesim as ws
        >>> study = ws.load(ws.demo_path("collector"))
        >>> coarse = ws.Settings(cell_length=0.05, tolerance=0.02)
        >>> found = ws.explore(study.engine, study.exhausts["short collector"],
        ...                    {"exhaust.collector.length": [0.15, 0.6]}, [3000, 4500],
        ...                    settings=coarse, progress=False)
        >>> found.map("torque").difference().values[0].tolist()  # the base itself
        [0.0, 0.0]
        """
        if not self.designs:
            raise InputError("Exploration: there are no designs to map.")
        quantity = quantity or self.quantities[0]
        check_choice("Exploration", "quantity", quantity, self.quantities)
        if path is None and len(self.paths) != 1:
            raise InputError(f"Exploration: the designs vary {len(self.paths)} paths, say which "
                             "one the map is over.")
        path = check_choice("Exploration", "path", path or self.paths[0], self.paths)
        others = {repr({p: v for p, v in design.changes.items() if p != path}) for design in self}
        if len(others) > 1:
            raise InputError(f"Exploration: a map over {path!r} needs designs that differ in "
                             "nothing else.")
        pairs = [_built_or_none(self.base, design.changes) for design in self]
        x = np.array([_number_at(path, pair, design)
                      for pair, design in zip(pairs, self, strict=True)])
        _, order = np.unique(x, return_index=True)
        chosen = [self.designs[i] for i in order]
        base = field_at(self.base, path)
        base = float(base) if isinstance(base, Real) and not isinstance(base, bool) else math.nan
        return SpeedMap(
            path, field_unit(self.base, path), x[order], self.rpm, quantity,
            np.array([design.quantities[quantity] for design in chosen]),
            np.array([design.trusted for design in chosen]), base,
            tuple(pairs[i] for i in order))

    def _axis(self, name, band):
        """Label and one value for each design."""
        check_choice("Exploration", "name", name, [*self._names, *self.paths])
        if name in AMOUNTS:
            label, unit = AMOUNTS[name]
            return f"{label} [{unit}]", self.mean(name)
        if name in self.quantities:
            return f"mean {display(name).axis}", display(name).factor * self.mean(name, band)
        unit = field_unit(self.base, name)
        return f"{name} [{unit}]" if unit else name, self[name]

    def to_csv(self, path: str | Path, *, per_speed: bool = False) -> None:
        """Write all designs to a CSV file, SI units.

        Lines that begin with "#" say what each quantity means.

        Parameters
        ----------
        path : str or Path
            The file; one that was written so before is replaced.
        per_speed : bool
            False: one line for each design with averages over speed.  True: one line for each
            design and speed.

        Raises
        ------
        InputError
            If the file cannot be written.

        Notes
        -----
        Cells of what failed are empty; the last column holds the error.

        Raises
        ------
        InputError
            If the file cannot be written, or another one is there.
        """
        write_csv("Exploration", path, self._columns(per_speed), self._meanings(per_speed))

    def to_frame(self, *, per_speed: bool = False) -> "DataFrame":
        """All designs as a pandas DataFrame, SI units.

        Parameters
        ----------
        per_speed : bool
            As for `to_csv`.

        Returns
        -------
        pandas.DataFrame
            The columns are paths, quantities and amounts; `frame.attrs["units"]` holds the units.

        Raises
        ------
        ImportError
            If pandas is not installed (`pip install pandas`).
        """
        return data_frame(self._columns(per_speed))

    def _meanings(self, per_speed=False):
        kind = "each design at each speed" if per_speed else "averages over speed of each design"
        return [
            kind, *column_notes([*(["rpm"] if per_speed else []), *self.quantities]),
            *(f"{name} [{unit}]: {label}" for name, (label, unit) in AMOUNTS.items()),
        ]

    def _columns(self, per_speed=False):
        if per_speed:
            rows = [(i, design, j) for i, design in enumerate(self) for j in range(self.rpm.size)]
        else:
            rows = [(i, design, None) for i, design in enumerate(self)]
        found = [Column("design", "", [i for i, _, _ in rows])]
        found += [Column(path, "", [design.changes.get(path) for _, design, _ in rows])
                  for path in self.paths]
        if per_speed:
            found.append(Column("rpm", "rev/min", [float(self.rpm[j]) for _, _, j in rows]))
        for name in self.quantities:
            values = [design.mean(name) if j is None else design.quantities[name][j]
                      for _, design, j in rows]
            found.append(Column(name, QUANTITIES[name].unit, [_or_none(v) for v in values]))
        found += [Column(name, unit, [design.amounts.get(name) for _, design, _ in rows])
                  for name, (_, unit) in AMOUNTS.items()]
        found.append(Column("converged", "", [int(design.converged) for _, design, _ in rows]))
        found.append(Column("error", "", [design.error for _, design, _ in rows]))
        return found


def _built_or_none(raw, changes):
    try:
        return built_pair(raw, changes)
    except InputError:
        return None


def _number_at(path, pair, design):
    """Value of a dimension in SI units."""
    value = design.changes.get(path) if pair is None else field_at(plain_pair(*pair), path)
    if not isinstance(value, Real) or isinstance(value, bool):
        raise InputError(f"Exploration: {path!r} = {shown(value)} must be a number for a map.")
    return float(value)


def _or_none(value):
    return None if math.isnan(value) else float(value)


def value_text(value):
    return f"{value:.6g}" if isinstance(value, float) else "" if value is None else str(value)


@guarded
def explore(
    engine: Engine,
    exhaust: Exhaust | Network,
    designs: Sequence[Mapping[str, Any]] | Mapping[str, Sequence],
    rpm: Iterable[float],
    *,
    settings: Settings | None = None,
    keep: Sequence[str] = KEEP,
    executor: Executor | None = None,
    threads: int | None = None,
    store: Store | None = None,
    progress: bool = True,
    ambient: Ambient | None = None,
    pull: Pull | None = None,
    device: str = "cpu",
) -> Exploration:
    """What many designs do at some speeds.

    Parameters
    ----------
    engine : Engine
    exhaust : Exhaust or Network
        The base that the designs change.
    designs : list of dict, or mapping of str to list
        Values by dotted path, as `designs` returns them; or a space of single values, of which all
        combinations are taken.
    rpm : sequence of float
        Speeds [rev/min], 100 to 30000.
    settings : Settings, optional
    keep : sequence of str
        Keys of `wavesim.QUANTITIES` to keep.
    executor, threads, store, progress, ambient, pull, device
        As for `speed_sweep`; each design is a pull of its own.  The store keeps all scalars of a
        point, without its traces.

    Returns
    -------
    Exploration
        Designs that cannot be built or computed are kept with their error; after Ctrl-C it holds
        what was finished.

    Raises
    ------
    InputError
        If a path, a quantity, a speed or the executor is wrong, or no design can be built.

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> coarse = ws.Settings(cell_length=0.05, tolerance=0.02)
    >>> found = explore(study.engine, study.exhausts["short collector"],
    ...                 {"exhaust.primary.length": [0.6, 1.0]}, [4500], settings=coarse,
    ...                 progress=False)
    >>> found.best()[0].changes
    {'exhaust.primary.length': 1.0}
    """
    keep = checked_keep(keep)
    bench = make_bench(
        "explore", engine, exhaust, rpm, settings, ambient, pull, keep, executor, threads, store,
        device,
    )
    found, interrupted = bench.run(
        _checked_designs(bench.raw, engine, exhaust, designs), {}, progress=progress
    )
    return Exploration(tuple(found), interrupted, bench.raw, pull)


def _checked_designs(raw, engine, exhaust, wanted):
    if isinstance(wanted, Mapping):
        for path, values in wanted.items():
            if isinstance(values, tuple):
                raise InputError(
                    f"explore: {path!r} = {shown(values)} is a range, sample it first by "
                    "designs(...)."
                )
        return designs((engine, exhaust), wanted, 1)
    wanted = list(sequence("explore", "designs", wanted, "dicts of values by path"))
    known = set()
    for i, changes in enumerate(wanted):
        if not isinstance(changes, Mapping):
            raise InputError(f"explore: designs[{i}] = {shown(changes)} must map paths to values.")
        for path in set(changes) - known:
            field_at(raw, path)
            known.add(path)
    wanted = [{path: in_si(raw, path, value) for path, value in changes.items()}
              for changes in wanted]
    _check_some(raw, wanted)
    return wanted


def _check_some(raw, wanted):
    """Refuse a list of designs of which none can be built: a slip of unit, most likely."""
    first = None
    for changes in wanted:
        try:
            built_pair(raw, changes)
        except InputError as error:
            first = first or error
        else:
            return
    if first is not None:
        raise InputError(f"explore: none of the designs can be built, the first is refused by: "
                         f"{first}")
