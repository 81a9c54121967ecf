"""Many designs: samples of a design space, what each does, and the search for the best one.

A space says which fields vary and how: a pair (low, high) is a range, a list holds single values::

    space = {
        "exhaust.primary.length": (0.45, 0.90),
        "exhaust.collector.diameter": [0.050, 0.054, 0.058],
        "engine.exhaust_valve.advance_deg": (-5.0, 10.0),
    }
    found = explore(engine, exhaust, designs(study, space, 64, method="sobol"), rpm)
    print(found.summary())

Paths start with "engine" or "exhaust" and follow the rules of the variants of a study file.  All
values of a design are set before anything is checked, so that fields which depend on one another
may vary together.
"""

import csv
import itertools
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import NamedTuple

import numpy as np
from tqdm import tqdm

from wavesim.bill import Amounts, bill
from wavesim.compare import mean_over
from wavesim.description import sequence
from wavesim.engine import Engine
from wavesim.errors import InputError, check_choice, check_int, check_keys, check_number, located
from wavesim.exhaust import Exhaust
from wavesim.result import QUANTITIES, Failure, display, rows_text
from wavesim.settings import Settings
from wavesim.study import Study
from wavesim.sweep import checked_speeds
from wavesim.toml_form import build, plain, set_path
from wavesim.work import Task, count_workers, run_chains

METHODS = ("grid", "latin hypercube", "sobol")
SEARCHES = ("differential evolution", "nelder-mead")
GOALS = ("largest", "smallest")
KEEP = ("torque", "power")
#: What the bill of an exhaust adds to a design: (label, unit).
AMOUNTS = {
    "mass": ("mass of tubes and silencers", "kg"), "length": ("length of all lines", "m"),
    "gas_volume": ("gas volume", "m3"), "inner_area": ("inner area", "m2"),
    "outer_area": ("outer area", "m2"), "bends": ("number of bends", "1"),
    "bend_angle_deg": ("angle of all bends", "deg"), "tube_mass": ("mass of tubes", "kg"),
    "silencer_mass": ("mass of silencers", "kg"),
}
_MOST = 1_000_000  # designs in one list
_OUTSIDE = 1e60  # objective of a design outside the limits: above that of any inside
_FAILED = 1e6  # its excess where there is no result at all
_SPENT = "the number of designs is used up"
_FIRST_STEP = 0.15  # of Nelder and Mead's simplex, as a share of each range


# --- the space ------------------------------------------------------------------------------------


class _Range(NamedTuple):
    low: float
    high: float

    def at(self, u):
        """Value at the share `u` of the range."""
        return float(self.low + u * (self.high - self.low))

    def spread(self, n):
        return [self.at(u) for u in (np.linspace(0.0, 1.0, n) if n > 1 else [0.5])]

    def share(self, value):
        return (value - self.low) / (self.high - self.low)


class _Values(NamedTuple):
    values: tuple

    def at(self, u):
        return self.values[min(int(u * len(self.values)), len(self.values) - 1)]

    def spread(self, n):
        return list(self.values)

    def share(self, value):
        return (self.values.index(value) + 0.5) / len(self.values)


def _axis(path, given):
    """Range or values of one field."""
    if isinstance(given, tuple):
        if len(given) != 2:
            raise InputError(
                f"space: {path!r} = {given!r} must be a pair (low, high), or a list of values."
            )
        low = check_number("space", f"low end of {path!r}", given[0], "1", -1e9, 1e9)
        high = check_number("space", f"high end of {path!r}", given[1], "1", low, 1e9,
                            low_open=True)
        return _Range(low, high)
    values = sequence("space", repr(path), given, "values")
    if not values:
        raise InputError(f"space: {path!r} = [] must hold at least one value.")
    return _Values(values)


def _checked_space(raw, space):
    """Axes by path, after a look whether the paths exist."""
    if not isinstance(space, Mapping) or not space:
        raise InputError(f"space = {space!r} must map paths to ranges or lists of values.")
    for path in space:
        _value_at(raw, path)
    return {path: _axis(path, given) for path, given in space.items()}


def _value_at(raw, path):
    """Value at a dotted path in the plain form of engine and exhaust; "*" looks at the first."""
    with located(f"path {path!r}"):
        keys = str(path).split(".")
        check_choice("path", "start", keys[0], raw)
        for i, key in enumerate(keys):
            if isinstance(raw, list):
                raw = _item(raw, key)
                if key == "*" or key.isdecimal():
                    continue
            if not isinstance(raw, Mapping):
                raise InputError(f"{'.'.join(keys[:i])} has no field {key!r}.")
            check_keys(".".join(keys[:i]) or "path", [key], raw)
            raw = raw[key]
    return raw


def _item(items, key):
    """Item that a key chooses, or the only one, which needs no index."""
    if key == "*" and items:
        return items[0]
    if key.isdecimal() and int(key) < len(items):
        return items[int(key)]
    if len(items) == 1 and not key.isdecimal():
        return items[0]
    raise InputError(f"{key!r} does not choose one of the {len(items)} items (0 is the first).")


def _plain(engine, exhaust):
    for name, thing, kind in (("engine", engine, Engine), ("exhaust", exhaust, Exhaust)):
        if not isinstance(thing, kind):
            raise InputError(f"explore: {name} = {thing!r} must be of type {kind.__name__}.")
    return {"engine": plain(engine), "exhaust": plain(exhaust)}


def _built(raw, changes):
    """Engine and exhaust of a design."""
    for path, value in changes.items():
        raw = set_path(raw, path, value)
    return (
        build(Engine, raw["engine"], Path(), "engine"),
        build(Exhaust, raw["exhaust"], Path(), "exhaust"),
    )


def designs(base, space, n, *, method="grid", seed=0):
    """Designs that fill a space.

    Parameters
    ----------
    base : Study or (Engine, Exhaust)
        Where the paths lead; of a study the base.
    space : mapping of str to (float, float) or list
        Range (low, high), or single values, by dotted path.
    n : int
        Grid: number of points along each range, ends included; single values are all taken.
        Otherwise: number of designs.  1 to a million designs.
    method : {"grid", "latin hypercube", "sobol"}
        All combinations, or samples of `scipy.stats.qmc`: McKay, Beckman and Conover (1979);
        Sobol (1967), scrambled, best with n a power of two.
    seed : int
        The same seed gives the same designs.

    Returns
    -------
    list of dict
        Values by path, SI units; equal ones are left out.

    Raises
    ------
    InputError
        If a path does not exist, or a range or a number is wrong.

    Examples
    --------
    >>> from wavesim.study import demo_path, load
    >>> space = {"exhaust.collector.length": (0.2, 0.6), "exhaust.merge.angle_deg": [10, 20]}
    >>> len(designs(load(demo_path()), space, 3))
    6
    """
    engine, exhaust = _base_of(base)
    axes = _checked_space(_plain(engine, exhaust), space)
    check_choice("designs", "method", method, METHODS)
    n = check_int("designs", "n", n, 1, _MOST)
    if method == "grid":
        spread = [axis.spread(n) for axis in axes.values()]
        check_int("designs", "number of combinations", math.prod(map(len, spread)), 1, _MOST)
        rows = itertools.product(*spread)
    else:
        sample = _sample(len(axes), n, method, check_int("designs", "seed", seed, 0, 2**63))
        rows = ([axis.at(u) for axis, u in zip(axes.values(), row, strict=True)] for row in sample)
    found = [dict(zip(axes, row, strict=True)) for row in rows]
    return list({repr(design): design for design in found}.values())


def _base_of(base):
    if isinstance(base, Study):
        return base.engine_of(base.base), base.exhausts[base.base]
    if isinstance(base, (tuple, list)) and len(base) == 2:
        return base
    raise InputError(f"designs: base = {base!r} must be a Study or a pair (Engine, Exhaust).")


def _sample(dimension, n, method, seed):
    """Points of the unit cube, (n, dimension)."""
    from scipy.stats import qmc

    rng = np.random.default_rng(seed)
    if method == "sobol":  # drawn in powers of two, where it is balanced
        return qmc.Sobol(dimension, seed=rng).random_base2(max(0, (n - 1).bit_length()))[:n]
    return qmc.LatinHypercube(dimension, seed=rng).random(n)


# --- what a design does ---------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Design:
    """One design and what it does.

    Attributes
    ----------
    changes : dict
        Values by path.
    rpm : ndarray, (n_rpm,)
        Speeds [rev/min].
    quantities : dict
        Arrays (n_rpm,) in SI units by the names of `wavesim.QUANTITIES`; NaN where a speed failed.
    amounts : dict
        From the bill, by the names of `AMOUNTS`; empty if the design could not be built.
    converged : bool
        True if every speed converged.
    error : str
        Why there are no or not all numbers; empty if all is well.
    """

    changes: dict
    rpm: np.ndarray
    quantities: dict
    amounts: dict
    converged: bool
    error: str

    def mean(self, name, band=None):
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
        low, high = _checked_band(band, self.rpm)
        values = self.quantities[name]
        return float(values[0]) if low == high else mean_over(self.rpm, values, low, high)

    def excess(self, limits):
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
        return _FAILED
    over = 0.0 if high is None else max(0.0, float(values.max()) - high) / (abs(high) or 1.0)
    under = 0.0 if low is None else max(0.0, low - float(values.min())) / (abs(low) or 1.0)
    return over + under


def _checked_band(band, rpm):
    if band is None:
        return float(rpm[0]), float(rpm[-1])
    if np.shape(band) != (2,):
        raise InputError(f"band = {band!r} must be a pair (low, high) in rev/min.")
    low = check_number("band", "low", band[0], "rev/min", rpm[0], rpm[-1])
    return low, check_number("band", "high", band[1], "rev/min", low, rpm[-1], low_open=True)


def _checked_limits(limits):
    limits = dict(limits or {})
    for name, pair in limits.items():
        check_choice("limits", "name", name, [*QUANTITIES, *AMOUNTS])
        if not isinstance(pair, (tuple, list)) or len(pair) != 2 or tuple(pair) == (None, None):
            raise InputError(
                f"limits: {name!r} = {pair!r} must be a pair (lowest, highest), one may be None."
            )
        for value in pair:
            if value is not None:
                unit = (QUANTITIES | AMOUNTS)[name][1]
                check_number("limits", name, value, unit, -math.inf, math.inf)
    return limits


def _checked_keep(*names):
    """Quantities to keep, each once."""
    for name in names:
        check_choice("explore", "keep", name, list(QUANTITIES))
    return tuple(dict.fromkeys(names))


class _Bench(NamedTuple):
    """Where designs are tried out: what `explore` and `optimise` share."""

    raw: dict
    rpm: list
    settings: Settings
    keep: tuple
    executor: object
    threads: int
    store: object

    def run(self, changes, limits, *, chained, progress):
        """Designs with their results, those that were finished; True if interrupted.

        Designs whose bill is outside `limits` are not computed.  `chained` speeds start from their
        neighbours, else all start cold and side by side.
        """
        built = [self._begin(change, limits) for change in changes]
        chains, owners = [], []
        for i, (_, engine, exhaust) in enumerate(built):
            if engine is not None:
                tasks = [Task(engine, exhaust, rpm, self.settings) for rpm in self.rpm]
                chains += [tasks] if chained else [[task] for task in tasks]
                owners += [i] if chained else [i] * len(tasks)
        done = run_chains(
            chains, executor=self.executor, threads=self.threads, store=self.store, traces=False,
            strict=False, progress=progress, label="designs",
        )
        outcomes = [[] for _ in built]
        for i, chain in zip(owners, done.chains, strict=True):
            outcomes[i] += chain
        found = [
            design if engine is None else self._finish(design, own)
            for (design, engine, _), own in zip(built, outcomes, strict=True)
        ]
        return [design for design in found if design is not None], done.interrupted

    def _begin(self, changes, limits):
        """Design without results, engine and exhaust; both None if there is nothing to compute."""
        empty = {name: np.full(len(self.rpm), math.nan) for name in self.keep}
        rpm = np.array(self.rpm)
        try:
            engine, exhaust = _built(self.raw, changes)
            amounts = _amounts(exhaust, engine)
        except InputError as error:
            return Design(changes, rpm, empty, {}, False, str(error)), None, None
        design = Design(changes, rpm, empty, amounts, False, "")
        broken = {n: pair for n, pair in limits.items() if n in AMOUNTS}
        if design.excess(broken) > 0.0:
            shown = ", ".join(f"{n} = {amounts[n]:.4g} {AMOUNTS[n][1]}" for n in broken)
            text = f"not computed, outside the limits: {shown}"
            return Design(changes, rpm, empty, amounts, False, text), None, None
        return design, engine, exhaust

    def _finish(self, design, outcomes):
        """Design with its results, or None if a speed is missing."""
        if None in outcomes:
            return None
        notes = [
            f"{rpm:g} rev/min: {outcome.text}"
            for rpm, outcome in zip(self.rpm, outcomes, strict=True)
            if isinstance(outcome, Failure)
        ]
        quantities = {
            name: np.array([_value(outcome, name) for outcome in outcomes]) for name in self.keep
        }
        converged = not notes and all(point.converged for point in outcomes)
        return Design(
            design.changes, design.rpm, quantities, design.amounts, converged, "; ".join(notes)
        )


def _value(outcome, name):
    return math.nan if isinstance(outcome, Failure) else outcome.values[name]


def _amounts(exhaust, engine):
    made = bill(exhaust, engine)
    return {"mass": made.mass} | dict(zip(Amounts._fields, made.total, strict=True))


def _bench(owner, engine, exhaust, rpm, settings, keep, executor, threads, store):
    """Checked surroundings of an exploration."""
    return _Bench(
        _plain(engine, exhaust), checked_speeds(owner, rpm), settings or Settings(), keep,
        executor, count_workers(executor, threads, owner), store,
    )


# --- many designs ---------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Exploration:
    """Many designs and what they do.

    Attributes
    ----------
    designs : tuple of Design
        In the order they were asked for.
    interrupted : bool
        True if it was stopped before all designs were computed; those finished are here.
    base : dict
        Plain form of engine and exhaust that the designs change.
    """

    designs: tuple
    interrupted: bool
    base: dict = field(repr=False)

    def __len__(self):
        return len(self.designs)

    def __iter__(self):
        return iter(self.designs)

    def __repr__(self):
        return f"<Exploration: {len(self)} designs, {len(self.failures)} failed>"

    @property
    def rpm(self):
        """Speeds [rev/min], (n_rpm,)."""
        return self.designs[0].rpm

    @property
    def paths(self):
        """Paths that vary, in order."""
        return tuple(dict.fromkeys(path for design in self for path in design.changes))

    @property
    def quantities(self):
        """Names of the quantities that were kept."""
        return tuple(self.designs[0].quantities) if self.designs else ()

    @property
    def failures(self):
        """Error text by number of the design, from 0."""
        return {i: design.error for i, design in enumerate(self) if design.error}

    def __getitem__(self, name):
        """A quantity (n_design, n_rpm), an amount (n_design,) or the values of a path (list)."""
        check_choice("Exploration", "name", name, [*self.quantities, *AMOUNTS, *self.paths])
        if name in AMOUNTS:
            return self.mean(name)
        if name in self.quantities:
            return np.array([design.quantities[name] for design in self])
        return [design.changes.get(name) for design in self]

    def mean(self, name, band=None):
        """Averages over speed as `Design.mean` gives them, (n_design,)."""
        return np.array([design.mean(name, band) for design in self])

    def built(self, design):
        """Engine and exhaust of a design.

        Parameters
        ----------
        design : Design or int
            One of these, or its number from 0.
        """
        design = design if isinstance(design, Design) else self.designs[design]
        return _built(self.base, design.changes)

    def best(self, name="torque", *, goal="largest", band=None, limits=None, count=1):
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
        limits = _checked_limits(limits)
        for known in limits:
            check_choice("best", "limits", known, [*self.quantities, *AMOUNTS])
        sign = 1.0 if goal == "smallest" else -1.0
        fit = [d for d in self if not d.error and d.excess(limits) == 0.0]
        return sorted(fit, key=lambda design: sign * design.mean(name, band))[:count]

    def summary(self, name=None, *, goal="largest", band=None, count=10):
        """The best designs as a text table, averages over speed in common units.

        Parameters
        ----------
        name, goal, band, count
            As for `best`; None: the first quantity that was kept.
        """
        if not self.designs:
            return "no designs"
        best = self.best(name or self.quantities[0], goal=goal, band=band, count=count)
        shown = [display(quantity) for quantity in self.quantities]
        rows = [[*self.paths, *(d.axis for d in shown), "mass [kg]", "length [m]", ""]]
        for design in best:
            values = [_text(design.changes.get(path)) for path in self.paths]
            means = [
                d.text(design.mean(quantity, band))
                for d, quantity in zip(shown, self.quantities, strict=True)
            ]
            rows.append([*values, *means, f"{design.amounts['mass']:.2f}",
                         f"{design.amounts['length']:.2f}",
                         "" if design.converged else "not converged"])
        loose = sum(not d.converged and not d.error for d in self)
        note = (f"{len(self)} designs, {len(self.failures)} failed, {loose} did not converge"
                f"{', interrupted' if self.interrupted else ''}")
        return f"{rows_text(rows)}\n{note}"

    def to_csv(self, path, *, per_speed=False):
        """Write all designs to a CSV file, SI units.

        Parameters
        ----------
        path : str or Path
            The file; an existing one is overwritten.
        per_speed : bool
            False: one line for each design with averages over speed.  True: one line for each
            design and speed.

        Notes
        -----
        Cells of what failed are empty; the last column holds the error.
        """
        names = self.quantities
        units = [f"{n} [{QUANTITIES[n][1]}]" for n in names]
        amounts = [f"{n} [{unit}]" for n, (_, unit) in AMOUNTS.items()]
        with open(path, "w", newline="", encoding="utf-8") as file:
            out = csv.writer(file)
            speed = ["rpm [rev/min]"] if per_speed else []
            out.writerow(["design", *self.paths, *speed, *units, *amounts, "converged", "error"])
            for i, design in enumerate(self):
                head = [i, *(_text(design.changes.get(p)) for p in self.paths)]
                tail = [*(_cell(design.amounts.get(n, math.nan)) for n in AMOUNTS),
                        int(design.converged), design.error]
                if not per_speed:
                    out.writerow([*head, *(_cell(design.mean(n)) for n in names), *tail])
                    continue
                for j, rpm in enumerate(design.rpm):
                    values = (_cell(design.quantities[n][j]) for n in names)
                    out.writerow([*head, repr(float(rpm)), *values, *tail])


def _cell(value):
    return "" if math.isnan(value) else repr(float(value))


def _text(value):
    return f"{value:.6g}" if isinstance(value, float) else "" if value is None else str(value)


def explore(
    engine, exhaust, designs, rpm, *, settings=None, keep=KEEP, executor=None, threads=None,
    store=None, progress=True,
):
    """What many designs do at some speeds.

    Parameters
    ----------
    engine : Engine
    exhaust : Exhaust
        The base that the designs change.
    designs : list of dict, or mapping of str to list
        Values by dotted path, as `designs` returns them; or a space of single values, of which all
        combinations are taken.
    rpm : sequence of float
        Speeds [rev/min], 100 to 30000.
    settings : Settings, optional
    keep : sequence of str
        Keys of `wavesim.QUANTITIES` to keep.
    executor, threads, store, progress
        As for `speed_sweep`.  The store keeps all scalars of a point, without its traces.

    Returns
    -------
    Exploration
        Designs that cannot be built or computed are kept with their error; after Ctrl-C it holds
        what was finished.

    Raises
    ------
    InputError
        If a path, a quantity, a speed or the executor is wrong.
    """
    keep = _checked_keep(*keep)
    bench = _bench("explore", engine, exhaust, rpm, settings, keep, executor, threads, store)
    found, interrupted = bench.run(
        _checked_designs(bench.raw, engine, exhaust, designs), {}, chained=True, progress=progress
    )
    return Exploration(tuple(found), interrupted, bench.raw)


def _checked_designs(raw, engine, exhaust, wanted):
    if isinstance(wanted, Mapping):
        for path, values in wanted.items():
            if isinstance(values, tuple):
                raise InputError(
                    f"explore: {path!r} = {values!r} is a range, sample it first by designs(...)."
                )
        return designs((engine, exhaust), wanted, 1)
    wanted = list(sequence("explore", "designs", wanted, "dicts of values by path"))
    known = set()
    for i, changes in enumerate(wanted):
        if not isinstance(changes, Mapping):
            raise InputError(f"explore: designs[{i}] = {changes!r} must map paths to values.")
        for path in set(changes) - known:
            _value_at(raw, path)
            known.add(path)
    return [dict(changes) for changes in wanted]


# --- the best design ------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Optimum:
    """What a search found.

    Attributes
    ----------
    best : Design
        The best design within the limits, or the one nearest to them.
    value : float
        Its objective; NaN if it is not within the limits.
    feasible : bool
        True if it keeps to the limits.
    engine, exhaust : Engine, Exhaust
        Of the best design.
    exploration : Exploration
        All designs that were tried, in order.
    message : str
        How the search ended.
    interrupted : bool
        True if it was stopped by Ctrl-C.
    """

    best: Design
    value: float
    feasible: bool
    engine: Engine
    exhaust: Exhaust
    exploration: Exploration
    message: str
    interrupted: bool

    def summary(self):
        """Readable text: the best design, its objective, and how the search ended."""
        rows = [[path, _text(value)] for path, value in self.best.changes.items()]
        state = "within the limits" if self.feasible else "outside the limits, none was inside"
        return "\n".join([
            rows_text(rows), f"objective {self.value:.6g}, {state}",
            f"{len(self.exploration)} designs were tried: {self.message}",
        ])


class _Stopped(Exception):
    """Carries nothing: ends a search of scipy from inside."""


def optimise(
    engine, exhaust, space, rpm, *, objective="torque", goal="largest", band=None, limits=None,
    method="differential evolution", evaluations=200, seed=0, settings=None, keep=KEEP,
    executor=None, threads=None, store=None, progress=True,
):
    """Search a space for the best design within limits.

    Parameters
    ----------
    engine : Engine
    exhaust : Exhaust
        The base; it is the first design tried if it lies in the space.
    space : mapping of str to (float, float) or list
        As for `designs`.
    rpm : sequence of float
        Speeds [rev/min], 100 to 30000.
    objective : str or callable
        Quantity, averaged over speed; or a function of a `Design` that returns a number.
    goal : {"largest", "smallest"}
        Where the objective should go.
    band : (float, float) or None
        Speeds to average a quantity over [rev/min]; None: all.
    limits : mapping of str to (float or None, float or None)
        Lowest and highest value by quantity, which must hold at every speed, or by amount of the
        bill, such as {"mass": (None, 12.0), "peak_pressure": (None, 9e6)}.  Designs whose bill is
        outside are not computed.
    method : {"differential evolution", "nelder-mead"}
        Search of the whole space, a generation of designs at a time; or from the base (or the
        middle of the space) downhill, for ranges only.
    evaluations : int
        How many designs to try at most, 10 to a million.
    seed : int
        The same seed gives the same search on every executor.
    settings, executor, threads, store, progress
        As for `explore`.
    keep : sequence of str
        Quantities to keep besides those that the objective and the limits need.

    Returns
    -------
    Optimum
        After Ctrl-C the best of what was finished.

    Raises
    ------
    InputError
        If an argument is wrong, or nothing was finished before an interruption.

    Notes
    -----
    A design within the limits beats any outside, and of two outside the one nearer to the limits
    wins: Deb (2000), Comput. Methods Appl. Mech. Engrg. 186 (from memory).  The searches are those
    of scipy: Storn and Price (1997), Nelder and Mead (1965).
    """
    check_choice("optimise", "goal", goal, GOALS)
    check_choice("optimise", "method", method, SEARCHES)
    evaluations = check_int("optimise", "evaluations", evaluations, 10, _MOST)
    seed = check_int("optimise", "seed", seed, 0, 2**63)
    limits = _checked_limits(limits)
    needed = [name for name in limits if name in QUANTITIES]
    if not callable(objective):
        check_choice("optimise", "objective", objective, [*QUANTITIES, *AMOUNTS])
        needed += [objective] if objective in QUANTITIES else []
    keep = _checked_keep(*keep, *needed)
    bench = _bench("optimise", engine, exhaust, rpm, settings, keep, executor, threads, store)
    if band is not None:
        _checked_band(band, np.array(bench.rpm))
    axes = _checked_space(bench.raw, space)
    with tqdm(total=evaluations, disable=not progress, unit="design", desc="search") as bar:
        search = _Search(bench, axes, objective, goal, band, limits, method, bar)
        message = search.run(evaluations, seed)
    if not search.tried:
        raise InputError("optimise: interrupted before the first design was finished.")
    found = Exploration(tuple(search.tried), search.interrupted, bench.raw)
    best = min(search.tried, key=search.cost)
    feasible = search.cost(best) < _OUTSIDE
    built = found.built(best) if best.amounts else (engine, exhaust)
    return Optimum(
        best, search.score(best) if feasible else math.nan, feasible, *built, found, message,
        search.interrupted,
    )


class _Search:
    """One search: maps the unit cube to designs, remembers all that were tried."""

    def __init__(self, bench, axes, objective, goal, band, limits, method, bar):
        self.bench, self.axes, self.limits, self.bar = bench, axes, limits, bar
        self.objective, self.band, self.method = objective, band, method
        self.sign = 1.0 if goal == "smallest" else -1.0
        self.tried, self.costs, self.scores = [], {}, {}
        self.interrupted, self.error = False, None

    def run(self, evaluations, seed):
        """Search; returns how it ended."""
        try:
            if self.method == "nelder-mead":
                return self._downhill(evaluations)
            return self._evolve(evaluations, seed)
        except _Stopped:
            if self.error is not None:
                raise self.error from None
            return "interrupted"

    def score(self, design):
        """Objective of a design, NaN where a speed failed."""
        if id(design) not in self.scores:
            if design.error:
                value = math.nan
            elif callable(self.objective):
                value = float(self.objective(design))
            else:
                value = design.mean(self.objective, self.band)
            self.scores[id(design)] = value
        return self.scores[id(design)]

    def cost(self, design):
        """What the searches make small: the objective inside the limits, a wall outside."""
        excess = design.excess(self.limits)
        score = self.score(design) if excess == 0.0 else math.nan
        if math.isnan(score):
            return _OUTSIDE * (1.0 + (excess or _FAILED))
        return self.sign * score

    def costs_of(self, points):
        """Costs of rows of the unit cube, computing those designs that are new."""
        try:
            return np.array(self._costs_of(points))
        except _Stopped:
            raise
        except Exception as error:  # scipy would turn some into others
            self.error = error
            raise _Stopped from None

    def _costs_of(self, points):
        rows = [
            {path: axis.at(u) for (path, axis), u in zip(self.axes.items(), row, strict=True)}
            for row in np.clip(points, 0.0, 1.0)
        ]
        keys = [repr(row) for row in rows]
        new = {key: row for key, row in zip(keys, rows, strict=True) if key not in self.costs}
        found, self.interrupted = self.bench.run(
            list(new.values()), self.limits, chained=self.method != "nelder-mead", progress=False
        )
        self.tried += found
        self.costs |= {repr(design.changes): self.cost(design) for design in found}
        self.bar.update(len(found))
        if self.interrupted:
            raise _Stopped
        return [self.costs[key] for key in keys]

    def _evolve(self, evaluations, seed):
        from scipy.optimize import differential_evolution

        dimension = len(self.axes)
        size = min(max(8, 6 * dimension), evaluations // 2)  # two generations at least
        population = _sample(dimension, size, "latin hypercube", seed)
        start = self._start()
        if start is not None:
            population[0] = start
        found = differential_evolution(
            lambda x: self.costs_of(x.T), [(0.0, 1.0)] * dimension, init=population,
            maxiter=evaluations // size - 1, vectorized=True, updating="deferred",
            polish=False, tol=1e-5, seed=np.random.default_rng(seed),
        )
        return "the designs of a generation agree" if found.success else _SPENT

    def _downhill(self, evaluations):
        from scipy.optimize import minimize

        for path, axis in self.axes.items():
            if isinstance(axis, _Values):
                raise InputError(f"optimise: {path!r} must be a range (low, high) for nelder-mead.")
        start = self._start()
        start = np.full(len(self.axes), 0.5) if start is None else start
        step = np.where(start + _FIRST_STEP <= 1.0, _FIRST_STEP, -_FIRST_STEP)
        simplex = np.vstack([start, start + np.diag(step)])
        found = minimize(
            lambda x: float(self.costs_of(x[None])[0]), start, method="Nelder-Mead",
            bounds=[(0.0, 1.0)] * len(start),
            options={"maxfev": evaluations, "initial_simplex": simplex, "xatol": 1e-3,
                     "fatol": 0.0, "adaptive": True},
        )
        return "the simplex has shrunk" if found.success else _SPENT

    def _start(self):
        """The base as a point of the unit cube, or None if it lies outside the space."""
        try:
            shares = [
                axis.share(_value_at(self.bench.raw, path)) for path, axis in self.axes.items()
            ]
        except (TypeError, ValueError):
            return None
        inside = all(0.0 <= share <= 1.0 for share in shares)
        return np.array(shares) if inside else None
