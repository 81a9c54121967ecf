"""The search of a space for the best design within limits."""

import contextlib
import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from wavesim.console import progress_bar
from wavesim.descriptions.engine import Engine
from wavesim.descriptions.exhaust import Exhaust
from wavesim.descriptions.network import Network
from wavesim.descriptions.pull import Pull
from wavesim.descriptions.settings import Settings
from wavesim.descriptions.weather import Ambient
from wavesim.errors import InputError, check_choice, check_int, shown
from wavesim.fields.tabular import Column, Sheet, Tabular
from wavesim.guard import guarded
from wavesim.many.explore import (
    AMOUNTS,
    FAILED_EXCESS,
    GOALS,
    KEEP,
    NOT_COMPUTED,
    Design,
    Exploration,
    Limits,
    checked_band,
    checked_keep,
    checked_limits,
    make_bench,
    value_text,
)
from wavesim.many.pool import POINTS
from wavesim.many.space import (
    MOST_DESIGNS,
    Range,
    Values,
    checked_space,
    field_at,
    field_unit,
    sample,
)
from wavesim.many.store import Store
from wavesim.many.work import CPU
from wavesim.results.compare import Comparison
from wavesim.show.quantities import QUANTITIES, display, rows_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes

SEARCHES = ("differential evolution", "nelder-mead")
_OUTSIDE = 1e60  # objective of a design outside the limits: above that of any inside
_SPENT = "the number of designs is used up"
_EDGE = 0.02  # share of a range next to its ends
_FIRST_STEP = 0.15  # of Nelder and Mead's simplex, as a share of each range
_LEFT = 10  # generations that large ones leave, where nobody has said how large
_FEW = 20  # generations below which large ones take short steps
#: Of differential evolution.  Few generations do not come near with the long steps of scipy, and
#: large ones keep their designs apart without them: Zaharie (2002), MENDEL (from memory), has the
#: step below which a population collapses fall with the root of its size.
_SHORT = {"mutation": (0.2, 0.5), "recombination": 0.9}


@guarded
@dataclass(frozen=True, eq=False)
class Optimum(Tabular):
    """What a search found.

    Attributes
    ----------
    best : Design
        The best design within the limits, or the one nearest to them.
    value : float
        Its objective; NaN if it is not within the limits.
    feasible : bool
        True if it keeps to the limits.
    engine, exhaust : Engine, Exhaust or Network
        Of the best design; the base if it could not be built.
    exploration : Exploration
        All designs that were tried, in order.
    message : str
        How the search ended.
    interrupted : bool
        True if it was stopped by Ctrl-C.
    scores : ndarray, (n_design,)
        Objective of every design that was tried, in the order of `exploration`; NaN where a design
        failed or is outside the limits.
    goal : {"largest", "smallest"}
        Where the objective should go.
    base : Design or None
        What the base does at the same speeds, computed without heed of the limits; None if the
        search was stopped before.
    objective : Objective
        Name, unit and values of what was searched for.
    limits : dict
        That were kept, as they were given.
    space : dict
        What was searched by path: a pair `low`, `high`, or single `values`.
    generation : int or None
        Designs of a generation; None for a search that has none.

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> settings = ws.Settings(cell_length=0.05, tolerance=0.05)
    >>> single = study.engine.replace(firing_order=(1,))
    >>> header = ws.Exhaust(primary=ws.Pipe("700 mm", "40 mm"), merge=None)
    >>> best = ws.optimise(single, header, {"exhaust.primary.length": (0.5, 0.9)}, [4500],
    ...                    evaluations=10, settings=settings, progress=False)
    >>> bool(best.gain >= 0.0), best.best.changes.keys() == best.space.keys()
    (True, True)
    >>> len(best.summary().splitlines()) > 3
    True
    >>> ax = best.plot()
    """

    best: Design
    value: float
    feasible: bool
    engine: Engine
    exhaust: Exhaust | Network
    exploration: Exploration
    message: str
    interrupted: bool
    scores: np.ndarray
    goal: str
    base: Design | None
    objective: "Objective"
    limits: dict[str, tuple[float | None, float | None]]
    space: dict[str, Any]
    generation: int | None

    def __repr__(self) -> str:
        return (f"<Optimum: {self.objective.text(self.value)}, {self._state}, of "
                f"{len(self.exploration)} designs>")

    @property
    def base_value(self) -> float:
        """Objective of the base, whatever the limits; NaN if it failed or was not computed."""
        return math.nan if self.base is None or self.base.error else self.objective(self.base)

    @property
    def gain(self) -> float:
        """Objective of the best design less that of the base; NaN if one of them is not known."""
        return self.value - self.base_value

    @property
    def comparison(self) -> Comparison | None:
        """Curves of the best design and the base side by side; None with less than two speeds."""
        both = (self.base, self.best)
        if None in both or any(one.error for one in both) or self.best.rpm.size < 2:
            return None
        return Comparison(*both, names=("base", "best design"))

    @property
    def edges(self) -> dict[str, str]:
        """"low" or "high" by path, for fields of the best design at an end of their range.

        A better design may lie beyond.  At the edge is what lies within 2 % of the range of it.
        """
        found = {}
        for path, axis in self.space.items():
            if not isinstance(axis, Range):
                continue
            share = axis.share(self.best.changes[path])
            if share < _EDGE or share > 1.0 - _EDGE:
                found[path] = "low" if share < _EDGE else "high"
        return found

    @property
    def _state(self):
        return "within the limits" if self.feasible else "outside the limits, none was inside"

    def _rows(self):
        """Cells of the table of fields: base, best, what was searched, and at which edge it is."""
        raw, edges = self.exploration.base, self.edges
        rows = [["field", "base", "best", "searched", ""]]
        for path, value in self.best.changes.items():
            axis, unit = self.space[path], field_unit(raw, path)
            span = " to ".join(map(value_text, axis)) if isinstance(axis, Range) else (
                ", ".join(map(value_text, axis.values))
            )
            edge = f"at the {edges[path]} edge of the space" if path in edges else ""
            rows.append([f"{path} [{unit}]" if unit else path, value_text(field_at(raw, path)),
                         value_text(value), span, edge])
        return rows

    def _sentences(self):
        found = [f"{self.objective.label}: {self.objective.text(self.value)}, {self._state}"]
        base = self.base_value
        if not math.isnan(base):
            share = f" ({100.0 * self.gain / abs(base):+.1f} %)" if base else ""
            gain = "" if math.isnan(self.gain) else (
                f", gain {self.objective.text(self.gain, '+')}{share}"
            )
            found[0] += f"; base: {self.objective.text(base)}{gain}"
        found += [self._limit_text(name) for name in self.limits]
        if self.edges:
            found.append("The best design lies at the edge of the space: a better one may lie "
                         "beyond.")
        by = f", in generations of {self.generation}" if self.generation else ""
        found += [f"{len(self.exploration)} designs were tried{by}: {self.message}."]
        failed = self.exploration.failure_note()
        return [*found, *([failed] if failed else [])]

    def _limit_text(self, name):
        """A limit, and how much of it the best design uses."""
        low, high = self.limits[name]
        unit, factor = _shown_unit(name)
        span = " and ".join(
            f"{word} {factor * end:.5g}" for word, end in (("at least", low), ("at most", high))
            if end is not None
        )
        values = self.best.amounts.get(name, math.nan) if name in AMOUNTS else (
            self.best.quantities[name])
        lowest, highest = (factor * float(find(values)) for find in (np.min, np.max))
        used = f"{lowest:.4g}" if lowest == highest else f"{lowest:.4g} to {highest:.4g}"
        return f"Limit on {_label(name)}: {span} {unit}; the best design has {used} {unit}."

    def summary(self) -> str:
        """Readable text: best design, objective, gain, limits, end of the search, both curves."""
        parts = [rows_text(self._rows()), "\n".join(self._sentences())]
        if self.comparison is not None:
            parts += ["A = base, B = best design", self.comparison.table()]
            parts += self.comparison.findings()
        return "\n\n".join(parts)

    def _sheet(self):
        return Sheet(self._rows(), "best design", self._sentences())

    def plot(self, ax: "Axes | None" = None, **line_kws: Any) -> "Axes":
        """Draw the search: the objective of every design in turn, and the best so far.

        Parameters
        ----------
        ax : matplotlib Axes or None
            None makes a new figure.
        **line_kws
            For the line of the best so far.

        Returns
        -------
        matplotlib Axes
        """
        from wavesim.show import plots

        better = np.fmin if self.goal == "smallest" else np.fmax
        factor = self.objective.factor
        return plots.plot_search(
            factor * self.scores, factor * better.accumulate(self.scores), ax,
            label=self.objective.axis, base=factor * self.base_value, **line_kws,
        )

    def _meanings(self):
        return [*self.exploration._meanings(), "objective: what the search should make "
                f"{self.goal}; none where a design failed or is outside the limits"]

    def _columns(self):
        """All designs that were tried, and their objective."""
        return [*self.exploration._columns(), Column("objective", "", self.scores)]


@guarded
@dataclass(frozen=True)
class Objective:
    """What a search makes large or small: a quantity averaged over speed, or a function.

    Attributes
    ----------
    name : str
        Of the quantity, the amount or the function.
    label, unit : str
        For people, in the unit that they read.
    factor : float
        From the SI unit to that one.
    wanted : str or callable
        As it was given to `optimise`.
    band : (float, float) or None
        Speeds to average a quantity over [rev/min]; None: all.

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> settings = ws.Settings(cell_length=0.05, tolerance=0.05)
    >>> single = study.engine.replace(firing_order=(1,))
    >>> header = ws.Exhaust(primary=ws.Pipe("700 mm", "40 mm"), merge=None)
    >>> best = ws.optimise(single, header, {"exhaust.primary.length": (0.5, 0.9)}, [4500],
    ...                    evaluations=10, settings=settings, progress=False)
    >>> best.objective.name, best.objective.text(0.05)
    ('torque', '0.1 N m')
    """

    name: str
    label: str
    unit: str
    factor: float
    wanted: str | Callable[[Design], float]
    band: tuple[float, float] | None

    def __call__(self, design: Design) -> float:
        """Value of a design in SI units."""
        if callable(self.wanted):
            return float(self.wanted(design))
        return design.mean(self.wanted, self.band)

    @property
    def axis(self) -> str:
        """Label with the unit, for a figure."""
        return f"{self.label} [{self.unit}]" if self.unit else self.label

    def text(self, value: float, sign: str = "") -> str:
        """A value with its unit for people, "none" where there is none."""
        if math.isnan(value):
            return "none"
        if self.wanted in QUANTITIES:
            return f"{display(self.wanted).text(value, sign)} {self.unit}".rstrip()
        return f"{self.factor * value:{sign}.5g} {self.unit}".rstrip()


def _objective(wanted, band, rpm):
    """Objective of a name or a function."""
    if callable(wanted):
        name = getattr(wanted, "__name__", type(wanted).__name__)
        return Objective(name, "objective" if name == "<lambda>" else name, "", 1.0, wanted, band)
    unit, factor = _shown_unit(wanted)
    label = _label(wanted)
    if wanted in QUANTITIES and len(rpm) > 1:
        low, high = checked_band(band, np.array(rpm))
        label = f"mean {label} from {low:g} to {high:g} rev/min"
    return Objective(wanted, label, unit, factor, wanted, band)


def _shown_unit(name):
    """Unit for people of a quantity or an amount, and the factor to it."""
    if name in AMOUNTS:
        return AMOUNTS[name][1].replace("1", ""), 1.0
    look = display(name)
    return look.unit, look.factor


def _label(name):
    return AMOUNTS[name][0] if name in AMOUNTS else display(name).label


class _Stopped(Exception):
    """Carries nothing: ends a search of scipy from inside."""


@guarded
def optimise(
    engine: Engine,
    exhaust: Exhaust | Network,
    space: Mapping[str, Any],
    rpm: Iterable[float],
    *,
    objective: str | Callable[[Design], float] = "torque",
    goal: str = "largest",
    band: tuple[float, float] | None = None,
    limits: Limits | None = None,
    method: str = "differential evolution",
    evaluations: int = 200,
    generation: int | None = None,
    seed: int = 0,
    settings: Settings | None = None,
    keep: Sequence[str] = KEEP,
    executor: Executor | None = None,
    threads: int | None = None,
    store: Store | None = None,
    progress: bool = True,
    ambient: Ambient | None = None,
    pull: Pull | None = None,
    device: str = "cpu",
) -> Optimum:
    """Search a space for the best design within limits.

    Parameters
    ----------
    engine : Engine
    exhaust : Exhaust or Network
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
        outside are not computed.  A Network has no bill.
    method : {"differential evolution", "nelder-mead"}
        Search of the whole space, a generation of designs at a time; or from the base (or the
        middle of the space) downhill, for ranges only, one design after the other, which leaves all
        but the speeds of one to be computed side by side and a GPU nearly idle.
    evaluations : int
        How many designs to try at most, 10 to a million.
    generation : int or None
        Designs of a generation, which are computed side by side, 5 to half of `evaluations`.  None:
        six for each field and eight at least; on a GPU as many as keep it busy, but so few that
        ten generations are left.
    seed : int
        The same seed gives the same search on every executor, with generations of one size.
    settings, executor, threads, store, progress, ambient, pull, device
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

    Large generations that are fewer than 20 take shorter steps than is usual (`mutation` 0.2 to
    0.5, `recombination` 0.9): with the usual ones they end several times further from the optimum.
    On invented landscapes of hills, cut off by two limits, a thousand designs in ten of them came
    about as near as in many small ones with four and six fields, less near with three.  Where the
    limits leave less than 0.01 % of the space, they may find nothing inside.

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> coarse = ws.Settings(cell_length=0.05, tolerance=0.02)
    >>> best = optimise(study.engine, study.exhausts["short collector"],
    ...                 {"exhaust.primary.length": (0.5, 1.1)}, [4500], evaluations=10,
    ...                 settings=coarse, progress=False)
    >>> best.gain >= 0.0
    True
    """
    check_choice("optimise", "goal", goal, GOALS)
    check_choice("optimise", "method", method, SEARCHES)
    evaluations = check_int("optimise", "evaluations", evaluations, 10, MOST_DESIGNS)
    generation = _checked_generation(generation, method, evaluations)
    seed = check_int("optimise", "seed", seed, 0, 2**63)
    limits = checked_limits(limits)
    if not callable(objective):
        check_choice("optimise", "objective", objective, [*QUANTITIES, *AMOUNTS])
    billed = [name for name in (*limits, objective) if name in AMOUNTS]
    if billed and isinstance(exhaust, Network):
        raise InputError(
            f"optimise: {billed[0]!r} is not known of a Network, which has no bill."
        )
    needed = [name for name in limits if name in QUANTITIES]
    needed += [objective] if objective in QUANTITIES else []
    keep = checked_keep(keep, *needed)
    bench = make_bench(
        "optimise", engine, exhaust, rpm, settings, ambient, pull, keep, executor, threads, store,
        device,
    )
    if band is not None:
        checked_band(band, np.array(bench.rpm))
    axes = checked_space(bench.raw, space)
    if method == SEARCHES[0]:
        generation = generation or _usual_generation(len(axes), evaluations, bench)
    wanted = _objective(objective, band, bench.rpm)
    with progress_bar(evaluations, "search", "design", shown=progress) as bar:
        search = _Search(bench, axes, wanted, goal, limits, method, bar)
        message = search.run(evaluations, generation, seed)
        base = search.base()
    if not search.tried:
        raise InputError("optimise: interrupted before the first design was finished.")
    found = Exploration(tuple(search.tried), search.interrupted, bench.raw, pull)
    best = min(search.tried, key=search.cost)
    feasible = search.cost(best) < _OUTSIDE
    built = (engine, exhaust)
    with contextlib.suppress(InputError):
        built = found.built(best)
    scores = np.array([search.score_inside(design) for design in search.tried])
    return Optimum(
        best, search.score_inside(best), feasible, *built, found, message, search.interrupted,
        scores, goal, base, wanted, limits, axes, generation,
    )


def _checked_generation(generation, method, evaluations):
    if generation is None:
        return None
    if method != SEARCHES[0]:
        raise InputError(f"optimise: generation = {shown(generation)} is for the method "
                         f"{SEARCHES[0]!r}; {method!r} has no generations.")
    return check_int("optimise", "generation", generation, 5, evaluations // 2)


def _small_generation(fields, evaluations):
    """Six designs for each field; two generations at least."""
    return min(max(8, 6 * fields), evaluations // 2)


def _usual_generation(fields, evaluations, bench):
    """Designs of a generation where nobody has said how many."""
    small = _small_generation(fields, evaluations)
    if bench.place.device == CPU:
        return small
    at_once = 1 if bench.pull else len(bench.rpm)  # a pull goes from speed to speed
    return max(small, min(evaluations // _LEFT, -(-POINTS // at_once)))


class _Search:
    """One search: maps the unit cube to designs, remembers all that were tried."""

    def __init__(self, bench, axes, objective, goal, limits, method, bar):
        self.bench, self.axes, self.limits, self.bar = bench, axes, limits, bar
        self.objective, self.method = objective, method
        self.sign = 1.0 if goal == "smallest" else -1.0
        self.tried, self.costs, self.scores = [], {}, {}
        self.interrupted, self.error = False, None

    def run(self, evaluations, generation, seed):
        """Search; returns how it ended."""
        try:
            if self.method == "nelder-mead":
                return self._downhill(evaluations)
            return self._evolve(evaluations, generation, seed)
        except _Stopped:
            if self.error is not None:
                raise self.error from None
            return "interrupted"
        except KeyboardInterrupt:  # between two generations
            self.interrupted = True
            return "interrupted"

    def score(self, design):
        """Objective of a design, NaN where a speed failed."""
        if id(design) not in self.scores:
            self.scores[id(design)] = math.nan if design.error else self.objective(design)
        return self.scores[id(design)]

    def score_inside(self, design):
        """Objective of a design within the limits, NaN of any other."""
        return self.score(design) if self.cost(design) < _OUTSIDE else math.nan

    def cost(self, design):
        """What the searches make small: the objective inside the limits, a wall outside."""
        excess = design.excess(self.limits)
        score = self.score(design) if excess == 0.0 else math.nan
        if math.isnan(score):
            return _OUTSIDE * (1.0 + (excess or FAILED_EXCESS))
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
        found, self.interrupted = self.bench.run(list(new.values()), self.limits, progress=False)
        self.tried += found
        self.costs |= {repr(design.changes): self.cost(design) for design in found}
        self.bar.set_postfix_str(self._best_so_far(), refresh=False)
        self.bar.update(len(found))
        if self.interrupted:
            raise _Stopped
        return [self.costs[key] for key in keys]

    def _evolve(self, evaluations, size, seed):
        from scipy.optimize import differential_evolution

        dimension, generations = len(self.axes), evaluations // size
        is_large = size > _small_generation(dimension, evaluations)
        steps = _SHORT if is_large and generations < _FEW else {}
        population = sample(dimension, size, "latin hypercube", seed)
        start = self._start()
        if start is not None:
            population[0] = start
        found = differential_evolution(
            lambda x: self.costs_of(x.T), [(0.0, 1.0)] * dimension, init=population,
            maxiter=generations - 1, vectorized=True, updating="deferred",
            polish=False, tol=1e-5, seed=np.random.default_rng(seed), **steps,
        )
        return "the designs of a generation agree" if found.success else _SPENT

    def _downhill(self, evaluations):
        from scipy.optimize import minimize

        for path, axis in self.axes.items():
            if isinstance(axis, Values):
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

    def _best_so_far(self):
        """The best objective of the designs within the limits, for the progress bar."""
        inside = [cost for cost in self.costs.values() if cost < _OUTSIDE]
        if not inside:
            return "none within the limits yet"
        return f"best so far {self.objective.text(self.sign * min(inside))}"

    def base(self):
        """The base with its curve: as it was tried, or computed now; None if stopped before."""
        raw = self.bench.raw
        own = {path: field_at(raw, path) for path in self.axes}
        for design in self.tried:
            if not design.error.startswith(NOT_COMPUTED) and all(
                isinstance(value, type(own[path])) and np.isclose(value, own[path], rtol=1e-9)
                if isinstance(value, float) else value == own[path]
                for path, value in design.changes.items()
            ):
                return design
        if self.interrupted:
            return None
        found, self.interrupted = self.bench.run([{}], {}, progress=False)
        return found[0] if found else None

    def _start(self):
        """The base as a point of the unit cube, or None if it lies outside the space."""
        try:
            shares = [
                axis.share(field_at(self.bench.raw, path)) for path, axis in self.axes.items()
            ]
        except (TypeError, ValueError):
            return None
        inside = all(0.0 <= share <= 1.0 for share in shares)
        return np.array(shares) if inside else None
