"""Set uncertain parameters of an engine by its baseline pulls, and predict a variant honestly.

**Fit.** Every parameter p is counted as a share u of its stated range, 0 to 1.  The computed curves
f(u) are brought to the mean y of the pulls by least squares (`scipy.optimize.least_squares`),

    minimise  (y - f(u))^T S^-1 (y - f(u)) + |u - u_start|^2.

S is the covariance of the mean as far as weights go: a shift of whole pulls and noise at every
speed, their variances from the two-way table of pulls and speeds (analysis of variance: Searle,
Casella and McCulloch, Variance Components, 1992, ch. 4; from memory), and the tolerance of the
cycles.  The last term holds what the data do not determine; it is as weak as a standard deviation
of a whole range.  Sensitivities J = df/du are those of parabolas through the places of a fixed
lattice in the ranges, so that a store serves every round and every later fit.

**Uncertainty.** At the solution the estimate answers to the data by u = G y, with
G = (J^T S^-1 J + I)^-1 J^T S^-1.  So every pull has an estimate of its own, and their scatter gives
Student's t with one degree of freedom less than there are pulls, whatever the scatter over speed
looks like: a summary of each series, then an ordinary test (Matthews, Altman, Campbell and Royston
1990, BMJ 300, 230; from memory).  Where the curves cannot follow the data within S, intervals are
widened by the root of the mean weighted square (Birge 1932, Phys. Rev. 40, 207; from memory).  What
the weak term left where it was counts as uncertain as the range: uniform, with a standard deviation
of 1/sqrt(12) of it.  Where curves bend within an interval, as torque does over the burn angle near
its best, what the bend makes of the interval's half width h, f'' h^2 / 2, is added in quadrature.
Behind such a turning point a second fit is tried; where the data do not refuse it, intervals and
bands hold both.

**What cannot be told apart.** Singular values s of S^-1/2 J say what the data determine: a
combination of parameters with s below sqrt(12) is known no better than by its range.  The sum of
s^2 / (s^2 + 12) is the number of parameters that the data determine (MacKay 1992, Neural
Computation 4, 415; from memory).
"""

from collections.abc import Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, field
from functools import cached_property
from math import sqrt
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from wavesim.descriptions.engine import Engine
from wavesim.descriptions.exhaust import Exhaust
from wavesim.descriptions.network import Network
from wavesim.descriptions.pull import Pull
from wavesim.descriptions.settings import Settings
from wavesim.descriptions.weather import Ambient
from wavesim.dyno.repeat import quantile
from wavesim.dyno.uncertain import LATTICE, Curves, Factor, Offset, System, checked_axes
from wavesim.errors import (
    InputError,
    as_floats,
    check_choice,
    check_int,
    check_kind,
    check_number,
    shown,
)
from wavesim.fields.description import check_text, sequence
from wavesim.fields.tabular import Column, Sheet, Tabular
from wavesim.guard import guarded
from wavesim.many.store import Store
from wavesim.show.forms import PulledCurve
from wavesim.show.quantities import QUANTITIES, display, rows_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes

UNIFORM = 1.0 / sqrt(12.0)  # standard deviation of a range that says all there is
QUIET = Settings(tolerance=1e-4)  # cycles repeat far better than a step moves a curve
STILL = 2e-3  # move, as a share of the ranges, that ends the least squares
TURNING = 0.25  # share of a range within which a curve that turns is looked at on both sides
ALIKE = 3.84  # of chi square with one degree of freedom, exceeded in 5 %
LIKE = 0.95  # correlation from which two parameters are said to go together
NAMED = 0.3  # share of a parameter in a combination from which it is named
CERTAIN = 1e9  # degrees of freedom of a scatter that was stated
HELD_BACK = 4  # every so many-th speed is held back unless something else is said


class FittedParameter(NamedTuple):
    """One parameter of a fit.

    Attributes
    ----------
    path : str
        Dotted path, such as "engine.combustion.ca50_deg".
    kind : str
        "value", "factor" or "offset".
    unit : str
        SI unit of the value; "1" for a factor and where none is known.
    start, value : float
        Before and after the fit.
    standard_deviation : float
        Of the estimate.
    low, high : float
        Interval of the stated confidence, inside the range.
    limits : (float, float)
        The range.
    determined : bool
        False if the range alone says as much.

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> single = study.engine.replace(firing_order=(1,))
    >>> short, long = (ws.Exhaust(primary=ws.Pipe(x, "40 mm"), merge=None) for x in (0.5, 0.9))
    >>> pulls = [[42.1, 39.4, 45.2], [41.7, 39.1, 45.1], [42.3, 39.6, 45.6]]  # N m, invented
    >>> found = ws.fit([3000, 4500, 6000], pulls, single, short,
    ...                {"engine.friction.constant": (0.0, 9e4)}, hold_back=0, progress=False,
    ...                settings=ws.Settings(cell_length=0.1, tolerance=0.01))
    >>> friction = found.parameters[0]
    >>> friction.path, friction.determined
    ('engine.friction.constant', True)
    """

    path: str
    kind: str
    unit: str
    start: float
    value: float
    standard_deviation: float
    low: float
    high: float
    limits: tuple[float, float]
    determined: bool


def listed(words):
    """Words with commas and an "and"."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


@guarded
@dataclass(frozen=True, eq=False)
class Fit(Tabular):
    """Parameters set to measured curves, as `fit` returns them.

    Attributes
    ----------
    parameters : tuple of FittedParameter
    covariance, correlation : ndarray, (n, n)
        Of the estimates, SI units.  Standard deviations are those of the pulls' own estimates, the
        correlation is that of the sensitivities, and ranges count where the data say nothing.
    singular_values : ndarray, (n,)
        Of the sensitivities in units of the scatter, each parameter counted in its range; largest
        first.
    effective_parameters : float
        How many parameters the data determine.
    undetermined : tuple of dict
        Combinations that are known no better than by the ranges: shares of the ranges by path,
        which moved together hardly move the curves.  Empty if there are none.
    rpm : ndarray, (m,)
        [rev/min].
    held_back : ndarray of bool, (m,)
        True at speeds that were kept out of the fit.
    measured, scatter, start, computed : dict of ndarray, each (m,)
        By quantity, SI units: mean of the pulls, half width of its band at one speed, computed
        before and after the fit.
    misfit : float
        Root of the mean weighted square of what is left; near 1 if scatter explains it.
    degrees_of_freedom : float
        Of Student's t: one less than there are pulls, or 1e9 where the scatter was stated.
    level : float
        Confidence of intervals and bands.
    rounds : int
        Curves that the least squares asked for.
    not_converged : int
        Computed points whose cycles did not repeat.

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> single = study.engine.replace(firing_order=(1,))
    >>> short, long = (ws.Exhaust(primary=ws.Pipe(x, "40 mm"), merge=None) for x in (0.5, 0.9))
    >>> pulls = [[42.1, 39.4, 45.2], [41.7, 39.1, 45.1], [42.3, 39.6, 45.6]]  # N m, invented
    >>> found = ws.fit([3000, 4500, 6000], pulls, single, short,
    ...                {"engine.friction.constant": (0.0, 9e4)}, hold_back=0, progress=False,
    ...                settings=ws.Settings(cell_length=0.1, tolerance=0.01))
    >>> [parameter.path for parameter in found.parameters]
    ['engine.friction.constant']
    >>> sorted(found.error()), len(found.summary().splitlines()) > 2
    ([], True)
    >>> axes = found.plot(), found.plot_residuals()
    """

    parameters: tuple[FittedParameter, ...]
    covariance: np.ndarray
    correlation: np.ndarray
    singular_values: np.ndarray
    effective_parameters: float
    undetermined: tuple[dict[str, float], ...]
    rpm: np.ndarray
    held_back: np.ndarray
    measured: dict[str, np.ndarray]
    scatter: dict[str, np.ndarray]
    start: dict[str, np.ndarray]
    computed: dict[str, np.ndarray]
    misfit: float
    degrees_of_freedom: float
    level: float
    rounds: int
    not_converged: int
    _made: Any = field(repr=False)  # what a prediction needs

    def __repr__(self) -> str:
        return (f"<Fit: {len(self.parameters)} parameters to {self.rpm.size} speeds, "
                f"{self.effective_parameters:.1f} determined>")

    @property
    def values(self) -> dict[str, float]:
        """Fitted values by path."""
        return {one.path: one.value for one in self.parameters}

    @property
    def other_minima(self) -> tuple[dict[str, float], ...]:
        """Values by path of other fits that the data do not refuse, as on the far side of the best
        burn angle."""
        made = self._made
        return tuple({axis.path: float(axis.value(u)) for axis, u in
                      zip(made.axes, shares, strict=True)} for shares in made.others)

    @cached_property
    def _fitted(self):
        made = self._made
        curves = Curves(made.system, made.axes, self.rpm, tuple(self.measured), {})
        return made.system.changed(curves.changes(made.shares))

    @property
    def engine(self) -> Engine:
        """The engine with the fitted parameters."""
        return self._fitted.engine

    @property
    def exhaust(self) -> Exhaust | Network:
        """The baseline's exhaust with the fitted parameters."""
        return self._fitted.exhaust

    @property
    def pull(self) -> Pull | None:
        """The pull with the fitted parameters."""
        return self._fitted.pull

    def error(self, quantity: str | None = None) -> dict[str, float]:
        """Root mean square error at the speeds that were held back.

        Parameters
        ----------
        quantity : str or None
            One that was fitted; None: the first.

        Returns
        -------
        dict
            SI unit: "before" and "after" the fit, and the half width of the "band" of the measured
            mean; empty if nothing was held back.

        Raises
        ------
        InputError
            If the quantity was not fitted.
        """
        name = next(iter(self.measured)) if quantity is None else quantity
        check_choice("Fit", "quantity", name, self.measured)
        if not self.held_back.any():
            return {}
        out = self.held_back
        return {"before": _rms((self.start[name] - self.measured[name])[out]),
                "after": _rms((self.computed[name] - self.measured[name])[out]),
                "band": _rms(self.scatter[name][out])}

    def summary(self) -> str:
        """Readable text: parameters with intervals, what is left, what cannot be told apart."""
        return "\n".join([rows_text([[*row, ""] for row in self._rows()]), "",
                          *self._sentences()])

    def plot(
        self, ax: "Axes | None" = None, quantity: str | None = None, **line_kws: Any
    ) -> "Axes":
        """Draw the mean of the pulls, and what was computed before and after the fit.

        Parameters
        ----------
        ax : matplotlib Axes or None
            None makes a new figure.
        quantity : str or None
            One that was fitted; None: the first.
        **line_kws
            For the line after the fit.

        Returns
        -------
        matplotlib Axes

        Raises
        ------
        InputError
            If the quantity was not fitted.
        """
        from wavesim.show import plots

        return plots.plot_fit(self, ax, quantity, **line_kws)

    def plot_residuals(
        self, ax: "Axes | None" = None, quantity: str | None = None, **line_kws: Any
    ) -> "Axes":
        """Draw what the pulls lie above the computed curve, before and after the fit.

        Parameters
        ----------
        ax, quantity, **line_kws
            As for `plot`.

        Returns
        -------
        matplotlib Axes

        Raises
        ------
        InputError
            If the quantity was not fitted.
        """
        from wavesim.show import plots

        return plots.plot_residuals(self, ax, quantity, **line_kws)

    def _rows(self):
        rows = [["parameter", "unit", "start", "fitted", f"{100.0 * self.level:g} % interval"]]
        for one in self.parameters:
            name = one.path if one.kind == "value" else f"{one.kind} on {one.path}"
            interval = (f"{one.low:.4g} to {one.high:.4g}" if one.determined
                        else "no better than its range")
            unit = "" if one.unit == "1" else one.unit
            rows.append([name, unit, f"{one.start:.4g}", f"{one.value:.4g}",
                         interval])
        return rows

    def _sentences(self):
        speeds = int((~self.held_back).sum())
        yield (f"The data, {len(self.measured)} "
               f"{'quantity' if len(self.measured) == 1 else 'quantities'} at {speeds} speeds, "
               f"determine {self.effective_parameters:.1f} of {len(self.parameters)} parameters.")
        yield (f"What is left is {self.misfit:.2f} times the scatter of the mean"
               + ("; all intervals are that much wider." if self.misfit > 1.0 else "."))
        yield from map(self._told, self.undetermined)
        yield from self._alike()
        edges = [one.path for one in self.parameters if one.determined
                 and min(one.value - one.limits[0], one.limits[1] - one.value)
                 < 0.01 * (one.limits[1] - one.limits[0])]
        for other in self.other_minima:
            told = ", ".join(f"{path} = {value:.4g}" for path, value in other.items())
            yield f"Nearly as well fits {told}; intervals and bands hold both."
        if edges:
            yield f"At the end of its range: {', '.join(edges)}."
        for name in self.measured:
            yield self._tested(name)
        if self.not_converged:
            yield f"{self.not_converged} computed points did not converge."

    def _told(self, combination):
        """Sentence on a combination that the data do not determine."""
        if len(combination) == 1:
            return f"These data say no more of {next(iter(combination))} than its range."
        widths = {one.path: one.limits[1] - one.limits[0] for one in self.parameters}
        # as far as the first of them can go: half of its range
        scale = 0.5 / max(map(abs, combination.values()))
        moves = [f"{path} {'up' if share > 0.0 else 'down'} by "
                 f"{abs(scale * share * widths[path]):.3g}" for path, share in combination.items()]
        return (f"These data cannot tell apart {listed(list(combination))}: "
                f"{listed(moves)} hardly move the curves.")

    def _alike(self):
        """Sentences on pairs of parameters that go together and are still determined."""
        named = [set(combination) for combination in self.undetermined]
        for i, one in enumerate(self.parameters):
            for j in range(i):
                other = self.parameters[j]
                r = self.correlation[i, j]
                if abs(r) > LIKE and not any({one.path, other.path} <= n for n in named):
                    yield (f"{other.path} and {one.path} are hard to tell apart: their estimates "
                           f"are correlated by {r:+.2f}.")

    def _tested(self, name):
        look, error = display(name), self.error(name)
        if not error:
            return f"No speed was held back to test the {look.label}."
        better = error["after"] < error["before"]
        count = int(self.held_back.sum())
        after, before, band = (f"{look.text(error[name])} {look.unit}".strip()
                               for name in ("after", "before", "band"))
        return (f"At the {count} {'speed' if count == 1 else 'speeds'} held back the error of the "
                f"{look.label} is {after} after the fit, {before} before it; the band of the "
                f"pulls' mean is {band} either way."
                + ("" if better else "  The fit has not made it better: do not rely on it."))

    def _columns(self):
        for name, unit in (("path", ""), ("kind", ""), ("unit", "")):
            yield Column(name, unit, [getattr(one, name) for one in self.parameters])
        for name in ("start", "value", "standard_deviation", "low", "high"):
            yield Column(name, "", [getattr(one, name) for one in self.parameters])
        yield Column("determined", "", [int(one.determined) for one in self.parameters])

    def _meanings(self):
        return ["parameters set to measured curves, each in the unit that its line names",
                f"low, high: interval of {100.0 * self.level:g} %",
                "determined: 0 if the range alone says as much", *self._sentences()]

    def _sheet(self):
        return Sheet(self._rows(), "fitted parameters", list(self._sentences()))


class Setup(NamedTuple):
    """What a prediction needs of a fit."""

    system: System
    axes: tuple
    shares: np.ndarray  # (n,) the estimate, as shares of the ranges
    others: list  # (n,) each, other minima that the data do not refuse
    bent: np.ndarray  # (2 n, n) half the squares of half widths; what bends then do to estimates
    deviations: np.ndarray  # (k, n) each pull's own share of its error, widened by the misfit
    ranges: np.ndarray  # (n, n) covariance of what the ranges leave open
    settings: Settings
    ambient: Ambient | None


@guarded
def fit(
    rpm: ArrayLike | None,
    pulls: ArrayLike | Mapping[str, ArrayLike] | PulledCurve,
    engine: Engine,
    exhaust: Exhaust | Network,
    space: Mapping[str, tuple[float, float] | Factor | Offset],
    *,
    quantity: str | Sequence[str] = "torque",
    scatter: tuple[float, float] | None = None,
    hold_back: int | None = None,
    level: float = 0.95,
    rounds: int = 20,
    settings: Settings | None = None,
    ambient: Ambient | None = None,
    pull: Pull | None = None,
    threads: int | None = None,
    executor: Executor | None = None,
    store: Store | None = None,
    progress: bool = True,
    device: str = "cpu",
) -> Fit:
    """Set parameters of an engine so that computed curves meet its baseline pulls.

    Parameters
    ----------
    rpm : array_like, (m,), or None
        Speeds of the pulls [rev/min], increasing, at least three; of `MeasuredPulls` those to be
        met, None: all of their common speeds that are to be trusted.
    pulls : MeasuredPulls, array_like, (n, m), or mapping of str to array_like
        The pulls of one quantity, or those of several by name, such as {"torque": ...,
        "fuel_mass_flow": ...}; keys of `QUANTITIES`, SI units, two pulls at least.  One pull
        alone, (m,), needs `scatter`.
    engine : Engine
    exhaust : Exhaust or Network
        The baseline as it was pulled.
    space : mapping of str to (float, float), Factor or Offset
        Range of each uncertain parameter by dotted path, as for `designs`.  A pair is the range of
        the value itself, {"engine.combustion.ca50_deg": (2.0, 20.0)}, which starts where the
        description has it, or in the middle.  A Factor multiplies and an Offset moves all numbers
        that are there, also in lists and tables: {"engine.*_valve.flow.forward": Factor(0.9, 1.1)}.
        Paths begin with "engine", "exhaust" or, as "pull.walls", "pull".
    quantity : str or sequence of str
        What an array holds; of `MeasuredPulls` what is to be met.
    scatter : (float, float) or None
        Standard deviations, as shares of the value, of the shift of a whole pull and of the noise
        at one speed; None: the pulls tell.
    hold_back : int or None
        Every so many-th speed is kept out of the fit to test it, 2 to 10; 0: none.  None: every
        fourth if enough are left.
    level : float
        Confidence of the intervals, 0.5 to 0.999.
    rounds : int
        Most curves that the least squares may ask for, 1 to 100.
    settings : Settings, optional
        A tolerance of 1e-4 by default: the cycles must repeat better than a step moves a curve.
    ambient, pull, threads, executor, store, progress, device
        As for `explore`.  With a store, points that were computed once serve all later fits.  The
        curves of all sensitivities are computed side by side, those of the rounds one after the
        other.

    Returns
    -------
    Fit

    Raises
    ------
    InputError
        If shapes do not fit, a path holds no number, a range is impossible, or the values that
        are fitted are not at least two more than the parameters.
    SolverError
        If a curve cannot be computed.

    Notes
    -----
    What all pulls of a session have in common, such as the calibration of the dynamometer, is not
    in their scatter and therefore not in the intervals.

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> single = study.engine.replace(firing_order=(1,))
    >>> short = ws.Exhaust(primary=ws.Pipe(0.5, "40 mm"), merge=None)
    >>> pulls = [[42.1, 39.4, 45.2], [41.7, 39.1, 45.1], [42.3, 39.6, 45.6]]  # N m, invented
    >>> found = fit([3000, 4500, 6000], pulls, single, short,
    ...             {"engine.friction.constant": (0.0, 9e4)}, hold_back=0, progress=False,
    ...             settings=ws.Settings(cell_length=0.1, tolerance=0.01))
    >>> found.parameters[0].determined
    True
    """
    settings = check_kind("fit", "settings", settings, Settings, optional=True) or QUIET
    check_kind("fit", "pull", pull, Pull, optional=True)
    check_kind("fit", "ambient", ambient, Ambient, optional=True)
    level = check_number("fit", "level", level, "1", 0.5, 0.999)
    rounds = check_int("fit", "rounds", rounds, 1, 100)
    data = _Data.of(rpm, pulls, quantity, scatter, settings.tolerance)
    system = System(engine, exhaust, pull)
    axes = checked_axes(system, space)
    out = _held_back(hold_back, data.rpm.size, len(data.means), len(axes))
    run = {"settings": settings, "ambient": ambient, "threads": threads, "executor": executor,
           "store": store, "progress": progress, "device": device}
    curves = Curves(system, axes, data.rpm, tuple(data.means), run)
    shares = np.array([(axis.start - axis.low) / (axis.high - axis.low) for axis in axes])
    first = curves.at([shares])[0]
    kept = np.tile(~out, len(data.means))
    whiten = data.whitening(first, ~out)
    solution = _solved(curves, shares, data.mean, kept, whiten, rounds)
    precision = _Precision(solution, shares, data, kept, whiten, level)
    setting = Setup(system, axes, solution.shares, solution.others, precision.bent,
                    precision.deviations, precision.ranges, settings, ambient)
    return _as_fit(setting, data, solution, precision, first, out, level, curves.loose)


class _Data(NamedTuple):
    """Measured curves."""

    rpm: np.ndarray
    means: dict  # (m,) by quantity
    mean: np.ndarray  # (q m,) end to end
    pulls: np.ndarray  # (n, q m)
    stated: tuple | None
    tolerance: float

    @classmethod
    def of(cls, rpm, pulls, quantity, scatter, tolerance):
        if isinstance(pulls, PulledCurve):
            rpm = pulls.rpm[pulls.trusted] if rpm is None else rpm
            names = [quantity] if isinstance(quantity, str) else quantity
            pulls = {name: pulls.by_pull(name, rpm) for name in sequence(
                "fit", "quantity", names, "names of quantities")}
        rpm = as_floats("fit", "rpm", rpm)
        if rpm.ndim != 1 or rpm.size < 3 or not np.all(np.diff(rpm) > 0.0):
            raise InputError("fit: rpm must hold at least 3 increasing speeds in rev/min.")
        given = dict(pulls) if isinstance(pulls, Mapping) else {
            check_text("fit", "quantity", quantity): pulls}
        if not given:
            raise InputError("fit: pulls = {} must hold one quantity at least.")
        arrays = {}
        for name, values in given.items():
            check_choice("fit", "quantity", name, QUANTITIES)
            arrays[name] = np.atleast_2d(as_floats("fit", f"pulls of {name}", values))
        least = 2 if scatter is None else 1
        shapes = {array.shape for array in arrays.values()}
        (shape, *more) = shapes
        if more or len(shape) != 2 or shape[1] != rpm.size or shape[0] < least:
            told = ", ".join(map(str, sorted(shapes)))
            raise InputError(f"fit: pulls have the shape {told}, must be (pulls, {rpm.size}) with "
                             f"at least {least} pulls.")
        if not all(np.all(np.isfinite(array)) for array in arrays.values()):
            raise InputError("fit: pulls must hold finite values.")
        if scatter is not None:
            pair = sequence("fit", "scatter", scatter, "two shares, of shift and of noise")
            if len(pair) != 2:
                raise InputError(f"fit: scatter = {shown(scatter)} must be two shares, of shift "
                                 "and of noise.")
            scatter = tuple(check_number("fit", "scatter", one, "1", 0.0, 1.0) for one in pair)
        all_pulls = np.hstack(list(arrays.values()))
        means = {name: array.mean(axis=0) for name, array in arrays.items()}
        return cls(rpm, means, all_pulls.mean(axis=0), all_pulls, scatter, tolerance)

    @property
    def freedom(self):
        return CERTAIN if self.stated else len(self.pulls) - 1.0

    @property
    def errors(self):
        """Rows whose squares add up to the variance of the mean, (k, q m)."""
        n, m = len(self.pulls), self.rpm.size
        if self.stated is None:
            return (self.pulls - self.mean) / sqrt(n * (n - 1.0))
        shift, noise = (one / sqrt(n) for one in self.stated)
        shifts = np.kron(np.eye(len(self.means)), np.ones(m))
        return np.vstack([shift * shifts, noise * np.eye(self.mean.size)]) * self.mean

    def whitening(self, first, kept):
        """Matrix (q k, q k) that makes errors of the kept values independent and of size one."""
        blocks, k = [], int(kept.sum())
        for pulls, curve in zip(np.split(self.pulls, len(self.means), axis=1),
                                np.split(first, len(self.means)), strict=True):
            size = np.maximum(np.abs(curve), 0.1 * np.abs(curve).max())[kept]
            shift, noise = self.stated or _components((pulls - pulls.mean(axis=0))[:, kept] / size)
            n = len(pulls)
            one = shift**2 / n + (noise**2 / n + self.tolerance**2) * np.eye(k)
            blocks.append(np.linalg.inv(np.linalg.cholesky(one * np.outer(size, size))))
        whole = np.zeros((k * len(blocks), k * len(blocks)))
        for i, block in enumerate(blocks):
            whole[i * k : (i + 1) * k, i * k : (i + 1) * k] = block
        return whole


def _components(scatter):
    """Standard deviations of the shift of a pull and of noise, from deviations (n, m)."""
    n, m = scatter.shape
    shifts = scatter.mean(axis=1)
    noise = np.sum((scatter - shifts[:, None]) ** 2) / ((n - 1) * (m - 1))
    between = m * np.sum(shifts**2) / (n - 1)
    return sqrt(max(0.0, (between - noise) / m)), sqrt(noise)


def _held_back(hold_back, speeds, quantities, parameters):
    """True at the speeds that are kept out of the fit."""
    def chosen(every):
        return np.arange(speeds) % every == every // 2 if every else np.zeros(speeds, dtype=bool)

    def left(every):
        return int((~chosen(every)).sum())

    if hold_back is None:
        hold_back = HELD_BACK
        if left(hold_back) < 3 or left(hold_back) * quantities < parameters + 2:
            hold_back = 0
    elif hold_back != 0:
        hold_back = check_int("fit", "hold_back", hold_back, 2, 10)
    if left(hold_back) < 3 or left(hold_back) * quantities < parameters + 2:
        raise InputError(
            f"fit: {parameters} parameters need {parameters + 2} values and 3 speeds at least, "
            f"there are {quantities} x {left(hold_back)}: fit fewer parameters, measure more "
            "speeds or quantities, or hold back fewer."
        )
    return chosen(hold_back)


class _Solution(NamedTuple):
    """What least squares found."""

    shares: np.ndarray
    others: list  # (n,) each: other minima that the data do not refuse
    computed: np.ndarray
    slopes: np.ndarray
    bends: np.ndarray
    rounds: int


def _solved(curves, start, mean, kept, whiten, rounds):
    """Least squares in the ranges, by curves and derivatives that are remembered."""
    from scipy.optimize import least_squares

    def residuals(shares):
        return np.concatenate([whiten @ (curves.at([shares])[0] - mean)[kept], shares - start])

    def jacobian(shares):
        return np.vstack([whiten @ curves.derivatives(shares)[0][kept], np.eye(start.size)])

    def minimum(shares):
        inside = np.clip(shares, 1e-6, 1.0 - 1e-6)
        return least_squares(residuals, inside, jacobian, bounds=(0.0, 1.0), max_nfev=rounds,
                             ftol=1e-4, xtol=STILL, gtol=None)

    found = [minimum(start)]
    slopes, bends = (whiten @ one[kept] for one in curves.derivatives(found[0].x))
    found += map(minimum, _other_sides(found[0].x, slopes, bends))
    best = min(found, key=lambda one: one.cost)
    others = [one.x for one in found if one is not best
              and 2.0 * (one.cost - best.cost) < ALIKE
              and np.max(np.abs(one.x - best.x)) > 1.0 / LATTICE]
    return _Solution(best.x, others, curves.at([best.x])[0], *curves.derivatives(best.x),
                     sum(int(one.nfev) for one in found))


def _other_sides(shares, slopes, bends):
    """Starts behind a parameter's turning point, from where the curves look the same.

    Torque over the burn angle has one, its best; there the slope says nothing.
    """
    starts = []
    for i, (slope, bend) in enumerate(zip(slopes.T, bends.T, strict=True)):
        square = float(bend @ bend)
        if 0.5 * TURNING**2 * sqrt(square) < 1.0:
            continue  # what it bends is less than the scatter
        way = -float(slope @ bend) / square
        straight = np.linalg.norm(slope + bend * way) > 0.5 * np.linalg.norm(slope)
        small = abs(way) < 0.5 * TURNING
        if straight and not small:
            continue
        for step in ((-TURNING, TURNING) if small else (2.0 * way,)):
            if 0.0 <= shares[i] + step <= 1.0:
                starts.append(shares + step * np.eye(shares.size)[i])
    return starts


class _Precision:
    """How certain the solution is: see the head of this module."""

    def __init__(self, solution, start, data, kept, whiten, level):
        slopes = whiten @ solution.slopes[kept]
        left = whiten @ (data.mean - solution.computed)[kept]
        _, singular, self.right = np.linalg.svd(slopes, full_matrices=False)
        inverse = np.linalg.inv(slopes.T @ slopes + np.eye(start.size))
        self.misfit = sqrt(float(left @ left) / max(1.0, left.size - _effective(singular)))
        wider = max(1.0, self.misfit)
        self.singular = singular / wider
        gain = inverse @ slopes.T @ whiten
        self.deviations = wider * data.errors[:, kept] @ gain.T
        self.ranges = inverse @ np.diag(UNIFORM**2 + (0.5 - start) ** 2) @ inverse
        spread = np.linalg.norm(self.deviations, axis=0)
        scattered = _with_spread(inverse @ slopes.T @ slopes @ inverse, spread)
        self.covariance = scattered + self.ranges
        self.deviation = np.sqrt(np.diag(self.covariance))
        open_ = np.sqrt(np.diag(self.ranges))
        half = np.hypot(quantile(level, data.freedom) * spread, quantile(level, CERTAIN) * open_)
        half = np.minimum(half, 1.0)
        shifts = 0.5 * half**2 * (gain @ solution.bends[kept])
        self.bent = np.vstack([np.diag(0.5 * half**2), shifts])
        self.half = np.hypot(half, np.linalg.norm(shifts, axis=1))


def _parameters(axes, solution, precision):
    """Values with their intervals, which hold all minima that the data do not refuse."""
    near = np.vstack([solution.shares, *solution.others])
    low = np.maximum(0.0, near.min(axis=0) - precision.half)
    high = np.minimum(1.0, near.max(axis=0) + precision.half)
    return tuple(
        FittedParameter(
            axis.path, axis.kind, axis.unit, axis.start, float(axis.value(solution.shares[i])),
            float(precision.deviation[i] * (axis.high - axis.low)), float(axis.value(low[i])),
            float(axis.value(high[i])), (axis.low, axis.high),
            bool(precision.deviation[i] < UNIFORM),
        )
        for i, axis in enumerate(axes)
    )


def _as_fit(setting, data, solution, precision, first, out, level, loose):
    """Fit from the solution."""
    axes, names = setting.axes, list(data.means)
    widths = np.array([axis.high - axis.low for axis in axes])
    band = quantile(level, data.freedom) * np.linalg.norm(data.errors, axis=0)

    def by_name(values):
        return dict(zip(names, np.split(values, len(names)), strict=True))

    return Fit(
        _parameters(axes, solution, precision),
        precision.covariance * np.outer(widths, widths),
        precision.covariance / np.outer(precision.deviation, precision.deviation),
        precision.singular, _effective(precision.singular),
        _combinations(precision.singular, precision.right, [axis.path for axis in axes]),
        data.rpm, out, data.means, by_name(band), by_name(first), by_name(solution.computed),
        precision.misfit, data.freedom, level, solution.rounds, loose, setting,
    )


def _effective(singular):
    return float(np.sum(singular**2 / (singular**2 + UNIFORM**-2)))


def _with_spread(covariance, spread):
    """Covariance with the correlation of one and the standard deviations of another."""
    own = np.sqrt(np.diag(covariance))
    scale = spread / np.where(own > 0.0, own, 1.0)
    return covariance * np.outer(scale, scale)


def _combinations(singular, right, paths):
    """Combinations of parameters that are known no better than by their ranges."""
    found = []
    for s, row in zip(singular, right, strict=True):
        if s < 1.0 / UNIFORM:
            row = row * np.sign(row[np.argmax(np.abs(row))])
            found.append({paths[i]: float(row[i]) for i in np.argsort(-np.abs(row))
                          if abs(row[i]) > NAMED})
    return tuple(found)


def _rms(values):
    return float(np.sqrt(np.mean(np.square(values))))
