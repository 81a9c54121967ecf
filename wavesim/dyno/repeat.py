"""Is a measured difference larger than the scatter from pull to pull?

Two systems are pulled several times, best in turn: A, B, A, B, ...  Every pull k of system s gives
a curve over speed,

    y_k(r) = f_s(r) + drift(r) (order_k - mean order) + e_k(r),

in which e_k holds what shifts a whole pull, what scatters smoothly over speed, and noise.  At every
speed the difference f_b - f_a and the drift follow from ordinary least squares over all pulls, with
nu = n_a + n_b - 3 degrees of freedom, so that an oven that warms up or a tyre that wears is not
taken for a gain.

**Scatter** is the residual variance, relative to the mean curve, smoothed over speed.  A smoothed
variance has more degrees of freedom than nu, by Satterthwaite's rule nu / sum_ij w_i w_j rho_ij^2
with the correlations rho of the residuals between speeds (Satterthwaite 1946, Biometrics Bull. 2,
110).  Squared sample correlations are too large by about 1/nu; three quarters of that are taken
off, which leaves the bands a little wide where there are few pulls.

**Pointwise band**: Student's t; right for one speed that was chosen beforehand.

**Simultaneous band**: holds at all speeds together, as a claim about a range of speed needs.  The
chance that the studentised difference leaves +-u somewhere is bounded by the expected number of
excursions of a smooth Gaussian curve over a common scale,

    2 [ P(t_nu > u) + L / (2 pi) (1 + u^2 / nu)^(-nu/2) ],

where L is the length of the curve that the normalised residuals draw over speed (Gaussian
kinematic formula: Adler and Taylor 2007, Random Fields and Geometry; L from residuals as Taylor and
Worsley 2007, J. Am. Stat. Assoc. 102, 913; both from memory), or by Bonferroni's inequality where
that is sharper.  Bootstraps of whole pulls, the obvious choice, miss badly at three to five pulls.

What these bands cover was found by simulation (`tests/test_repeat.py`).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from wavesim.errors import InputError, as_floats, check_choice, check_int, check_number
from wavesim.fields.description import check_text, sequence
from wavesim.fields.tabular import Column, Sheet, Tabular
from wavesim.guard import guarded
from wavesim.show.forms import PulledCurve
from wavesim.show.quantities import QUANTITIES, display, rows_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes

SMOOTHING = 0.2  # standard deviation of the weights over speed, as a share of the range of speed
DEBIASED = 0.75  # share of the bias of squared correlations that is taken off
PLANNED = (3, 5, 10)  # numbers of pulls of which the summary says what they show
FINE = 50  # places looked at between two speeds for the set of crossings
MOST_PULLS = 1000


@guarded
class CrossingSet(NamedTuple):
    """Where two measured curves may cross.

    Attributes
    ----------
    estimates : tuple of float
        Speeds at which the estimated difference changes sign [rev/min].
    pieces : tuple of (float, float)
        All speeds at which a difference of zero is not refused [rev/min]; together they hold each
        true crossing with the stated confidence, and may lie apart.

    Examples
    --------
    >>> import wavesim as ws
    >>> rpm = [2000.0, 4000.0, 6000.0]
    >>> a = [[150.0, 181.0, 170.0], [149.2, 180.3, 169.1], [149.6, 180.0, 169.2]]
    >>> b = [[153.1, 179.9, 174.2], [153.5, 179.7, 173.7], [152.6, 179.2, 173.6]]
    >>> found = ws.measured_difference(rpm, a, b)
    >>> crossing = found.crossings()
    >>> len(crossing.estimates), len(crossing.pieces) > 0
    (2, True)
    """

    estimates: tuple[float, ...]
    pieces: tuple[tuple[float, float], ...]

    def __str__(self) -> str:
        """A sentence for people."""
        if not self.pieces:
            return "There is no crossing within these speeds."
        listed = " or ".join(f"from {low:.0f} to {high:.0f}" for low, high in self.pieces)
        apart = (f"  The set is in {len(self.pieces)} pieces, each of which may hold a crossing."
                 if len(self.pieces) > 1 else "")
        return f"The curves may cross {listed} rev/min.{apart}"


@guarded
class BandDifference(NamedTuple):
    """Difference of an average over a band of speed.

    Attributes
    ----------
    low, high : float
        The band [rev/min].
    difference, half_width : float
        b - a and half the width of its confidence interval, SI unit.
    percent : float
        100 times the difference over the average of a.

    Examples
    --------
    >>> import wavesim as ws
    >>> rpm = [2000.0, 4000.0, 6000.0]
    >>> a = [[150.0, 181.0, 170.0], [149.2, 180.3, 169.1], [149.6, 180.0, 169.2]]
    >>> b = [[153.1, 179.9, 174.2], [153.5, 179.7, 173.7], [152.6, 179.2, 173.6]]
    >>> found = ws.measured_difference(rpm, a, b)
    >>> band = found.band_average(2000, 4000)
    >>> band.low, band.high, round(band.difference, 2)
    (2000.0, 4000.0, 1.48)
    """

    low: float
    high: float
    difference: float
    half_width: float
    percent: float


@guarded
@dataclass(frozen=True, eq=False)
class MeasuredDifference(Tabular):
    """Difference of two systems over speed with its bands, as `measured_difference` returns it.

    Attributes
    ----------
    rpm : ndarray, (m,)
        Speeds [rev/min].
    a, b : ndarray, (n_a, m), (n_b, m)
        The pulls.
    difference : ndarray, (m,)
        b - a, drift taken out.
    standard_error : ndarray, (m,)
    half_width : ndarray, (m,)
        Of the pointwise band.
    simultaneous_half_width : ndarray, (m,)
        Of the band that holds at all speeds together.
    drift : ndarray, (m,)
        Change from one pull to the next.
    level : float
        Confidence, such as 0.95.
    names : (str, str)
    degrees_of_freedom : int
        Of the least squares at one speed; the bands have more, from the other speeds.
    order : (tuple of float, tuple of float)
        When the pulls were made.
    likeness : float
        Correlation of the scatter at neighbouring speeds.
    quantity : str
        What was measured, a key of `QUANTITIES`.

    Examples
    --------
    >>> import wavesim as ws
    >>> rpm = [2000.0, 4000.0, 6000.0]
    >>> a = [[150.0, 181.0, 170.0], [149.2, 180.3, 169.1], [149.6, 180.0, 169.2]]
    >>> b = [[153.1, 179.9, 174.2], [153.5, 179.7, 173.7], [152.6, 179.2, 173.6]]
    >>> found = ws.measured_difference(rpm, a, b)
    >>> found.is_real.tolist()
    [True, False, True]
    >>> len(found.crossings().estimates), bool(found.band_average(2000, 4000).difference > 0.0)
    (2, True)
    >>> bool(found.smallest_difference(10) < found.smallest_difference(3)), found.pulls_needed(5.0)
    (True, 2)
    >>> len(found.summary().splitlines()) > 2
    True
    >>> ax = found.plot()
    """

    _index = "rpm"

    rpm: np.ndarray
    a: np.ndarray
    b: np.ndarray
    difference: np.ndarray
    standard_error: np.ndarray
    half_width: np.ndarray
    simultaneous_half_width: np.ndarray
    drift: np.ndarray
    level: float
    names: tuple[str, str]
    degrees_of_freedom: int
    order: tuple[tuple[float, ...], tuple[float, ...]]
    likeness: float
    quantity: str = "torque"

    def __repr__(self) -> str:
        return (f"<MeasuredDifference: {self.names[1]!r} against {self.names[0]!r}, "
                f"{len(self.a)} and {len(self.b)} pulls, {self.rpm.size} speeds>")

    @property
    def is_real(self) -> np.ndarray:
        """True at speeds where the simultaneous band does not hold zero, (m,)."""
        return np.abs(self.difference) > self.simultaneous_half_width

    @property
    def bands(self) -> dict[str, np.ndarray]:
        """Half widths by name, the widest first."""
        share = f"{100.0 * self.level:g} %"
        return {f"{share} at all speeds together": self.simultaneous_half_width,
                f"{share} at a speed chosen before": self.half_width}

    @property
    def pieces(self) -> tuple[tuple[float, float], ...]:
        """Where the curves may cross [rev/min], as `crossings` has it."""
        return self.crossings().pieces

    def summary(self) -> str:
        """Readable text: the table, what is real, where the curves may cross, what pulls show."""
        return "\n".join([rows_text(self._rows()), "",
                          *self._sentences()])

    def plot(self, ax: "Axes | None" = None, **line_kws: Any) -> "Axes":
        """Draw the difference with both bands, and where the curves may cross.

        Parameters
        ----------
        ax : matplotlib Axes or None
            None makes a new figure.
        **line_kws
            For the line.

        Returns
        -------
        matplotlib Axes
        """
        from wavesim.show import plots

        return plots.plot_bands(self, ax, **line_kws)

    def _rows(self):
        look, (a, b) = display(self.quantity), self.names
        percent = 100.0 * self.difference / self.a.mean(axis=0)
        unit = look.unit
        rows = [["rpm", a, b, "difference", "", "one speed +-", "all speeds +-", ""],
                ["", unit, unit, unit, "%", unit, unit, ""]]
        for i, rpm in enumerate(self.rpm):
            rows.append([
                f"{rpm:g}", look.text(self.a[:, i].mean()), look.text(self.b[:, i].mean()),
                look.text(self.difference[i], "+"), f"{percent[i]:+.1f}",
                look.text(self.half_width[i]), look.text(self.simultaneous_half_width[i]),
                "real" if self.is_real[i] else "",
            ])
        return rows

    def _sentences(self):
        look, (a, b) = display(self.quantity), self.names
        share, average = f"{100.0 * self.level:g} %", self.band_average()
        yield f"Bands of {share}; a drift over the session is taken out of all of it."
        yield from self._real_ranges()
        yield str(self.crossings())
        yield (f"Averaged over {average.low:g} to {average.high:g} rev/min {b!r} less {a!r} is "
               f"{look.text(average.difference, '+')} +- {look.text(average.half_width)} "
               f"{look.unit} ({average.percent:+.1f} %).")
        drift = 100.0 * float(np.mean(self.drift / np.vstack([self.a, self.b]).mean(axis=0)))
        yield f"The {look.label} drifted by {drift:+.2f} % from one pull to the next."
        shown = ", ".join(look.text(self.smallest_difference(n)) for n in PLANNED)
        yield (f"In four of five sessions {', '.join(map(str, PLANNED))} pulls of each system show "
               f"a difference of the average of {shown} {look.unit}, if pulls go on to scatter so.")

    def _real_ranges(self):
        """Sentences on the ranges of speed in which one system is ahead for certain."""
        sign = np.where(self.is_real, np.sign(self.difference), 0.0)
        starts = np.flatnonzero(np.diff(sign, prepend=np.nan) != 0.0)
        ends = np.append(starts[1:], sign.size) - 1
        a, b = self.names
        for i, j in zip(starts, ends, strict=True):
            if sign[i]:
                where = (f"from {self.rpm[i]:g} to {self.rpm[j]:g}" if j > i
                         else f"at {self.rpm[i]:g}")
                yield f"{b!r} is {'above' if sign[i] > 0 else 'below'} {a!r} {where} rev/min."
        if not sign.any():
            yield "Nowhere is the difference larger than the band for all speeds together."

    def _columns(self):
        unit = QUANTITIES[self.quantity].unit
        yield Column("rpm", "rev/min", self.rpm)
        yield Column("difference", unit, self.difference)
        yield Column("standard_error", unit, self.standard_error)
        yield Column("half_width", unit, self.half_width)
        yield Column("simultaneous_half_width", unit, self.simultaneous_half_width)
        yield Column("drift", unit, self.drift)
        yield Column("real", "", self.is_real.astype(int))

    def _meanings(self):
        a, b = self.names
        yield (f"difference of {QUANTITIES[self.quantity].label}, {b} less {a}, from {len(self.b)} "
               f"and {len(self.a)} pulls, drift taken out")
        yield f"half_width: of the band that holds at one speed with {100 * self.level:g} %"
        yield "simultaneous_half_width: of the band that holds at all speeds together"
        yield "drift: change from one pull to the next"
        yield "real: 1 where the band for all speeds does not hold zero"

    def _sheet(self):
        return Sheet(self._rows(), f"{self.names[1]} against {self.names[0]}",
                     list(self._sentences()), heads=2)

    def crossings(self) -> CrossingSet:
        """Where the two curves may cross.

        Returns
        -------
        CrossingSet
            By inverting the t test of the difference; between speeds all is read straight.
        """
        return crossing_set(self.rpm, self.difference, self.half_width, self.likeness)

    def band_average(
        self, low: float | None = None, high: float | None = None
    ) -> BandDifference:
        """Difference of the average over a band of speed.

        Parameters
        ----------
        low, high : float or None
            Limits [rev/min] inside the speeds; None: the first and the last.

        Returns
        -------
        BandDifference
            With Student's t on the averages of the pulls, drift taken out.

        Raises
        ------
        InputError
            If the band leaves the speeds or is empty.
        """
        low, high = self._band(low, high)
        fit = _Fit(self._averages(low, high)[:, None], self.order)
        reference = float(fit.mean_a[0])
        difference = float(fit.difference[0])
        width = float(quantile(self.level, fit.nu) * fit.factor * np.sqrt(fit.variance[0]))
        return BandDifference(low, high, difference, width, 100.0 * difference / reference)

    def smallest_difference(
        self, pulls: int, power: float = 0.8, low: float | None = None, high: float | None = None
    ) -> float:
        """Smallest true difference of a band average that so many pulls are likely to show.

        Parameters
        ----------
        pulls : int
            Of each system, in turn, 2 to 1000.
        power : float
            Chance to show it, 0.5 to 0.99.
        low, high : float or None
            The band [rev/min]; None: all speeds.

        Returns
        -------
        float
            SI unit; from the scatter of these pulls, by the noncentral t distribution.

        Raises
        ------
        InputError
            If a value is out of range.
        """
        pulls = check_int("smallest_difference", "pulls", pulls, 2, MOST_PULLS)
        check_number("smallest_difference", "power", power, "1", 0.5, 0.99)
        from scipy.optimize import brentq

        fit = _Fit(self._averages(*self._band(low, high))[:, None], self.order)
        turns = tuple(range(0, 2 * pulls, 2)), tuple(range(1, 2 * pulls, 2))
        factor, nu = _factor(turns)
        error = factor * np.sqrt(fit.variance[0])
        limit = quantile(self.level, nu)
        shown = brentq(lambda delta: _power(delta, limit, nu) - power, 0.0, 40.0 + limit)
        return float(shown * error)

    def pulls_needed(
        self,
        difference: float,
        power: float = 0.8,
        low: float | None = None,
        high: float | None = None,
    ) -> int | None:
        """Pulls of each system that are likely to show a difference of a band average.

        Parameters
        ----------
        difference : float
            SI unit, above 0.
        power, low, high
            As for `smallest_difference`.

        Returns
        -------
        int or None
            None if more than 1000 would be needed.

        Raises
        ------
        InputError
            If a value is out of range.
        """
        difference = check_number("pulls_needed", "difference", difference, "SI", 0.0, np.inf,
                                  low_open=True)
        few, many = 1, MOST_PULLS  # too few, enough if any number is
        if self.smallest_difference(many, power, low, high) > difference:
            return None
        while many - few > 1:
            middle = (few + many) // 2
            if self.smallest_difference(middle, power, low, high) <= difference:
                many = middle
            else:
                few = middle
        return many

    def _band(self, low, high):
        owner, first, last = "band_average", self.rpm[0], self.rpm[-1]
        low = first if low is None else check_number(owner, "low", low, "rev/min", first, last)
        high = last if high is None else high
        return float(low), check_number(owner, "high", high, "rev/min", low, last, low_open=True)

    def _averages(self, low, high):
        """Average of every pull over a band, those of a before those of b."""
        inside = self.rpm[(self.rpm > low) & (self.rpm < high)]
        places = np.concatenate([[low], inside, [high]])
        weights = np.convolve(np.diff(places), (0.5, 0.5)) / (high - low)
        heights = [np.interp(places, self.rpm, pull) for pull in (*self.a, *self.b)]
        return np.array(heights) @ weights


@guarded
def measured_difference(
    rpm: ArrayLike | None,
    a: ArrayLike | PulledCurve,
    b: ArrayLike | PulledCurve,
    *,
    quantity: str = "torque",
    order: tuple[Sequence[float], Sequence[float]] | None = None,
    level: float = 0.95,
    names: tuple[str, str] | None = None,
) -> MeasuredDifference:
    """Difference of two systems that were pulled several times each.

    Parameters
    ----------
    rpm : array_like, (m,), or None
        Common speeds of all pulls [rev/min], increasing, at least two.  None, of two
        `MeasuredPulls`: the speeds of a that b covers.
    a, b : array_like, (n_a, m), (n_b, m), or MeasuredPulls
        A quantity in every pull of the two systems, positive; two pulls of each at least.
    quantity : str
        What was measured, a key of `QUANTITIES`; of `MeasuredPulls` it is taken.
    order : (sequence of float, sequence of float) or None
        When every pull of a and of b was made: numbers in the session, or times.  None: as
        `MeasuredPulls` say, else in turn, a first.
    level : float
        Confidence, 0.5 to 0.999.
    names : (str, str) or None
        Of the systems; None: those of `MeasuredPulls`, else A and B.

    Returns
    -------
    MeasuredDifference

    Raises
    ------
    InputError
        If shapes do not fit, a value is not positive and finite, there are too few pulls, or the
        order does not let drift and difference be told apart.

    Examples
    --------
    >>> rpm = [2000.0, 4000.0, 6000.0]
    >>> a = [[150.0, 181.0, 170.0], [149.2, 180.3, 169.1], [149.6, 180.0, 169.2]]
    >>> b = [[153.1, 180.9, 174.2], [153.5, 180.7, 173.7], [152.6, 180.2, 173.6]]
    >>> found = measured_difference(rpm, a, b)
    >>> found.is_real.tolist()
    [True, False, True]
    """
    owner = "measured_difference"
    if isinstance(a, PulledCurve) and isinstance(b, PulledCurve):
        rpm, a, b, order, names = _of_pulls(rpm, a, b, quantity, order, names)
    names = ("A", "B") if names is None else names
    rpm, a, b = (as_floats(owner, name, values)
                 for name, values in {"rpm": rpm, "a": a, "b": b}.items())
    first, second = (check_text(owner, "names", name) for name in _pair(owner, "names", names))
    if rpm.ndim != 1 or rpm.size < 2 or not np.all(np.diff(rpm) > 0.0):
        raise InputError(f"{owner}: rpm must hold at least 2 increasing speeds in rev/min.")
    for name, pulls in (("a", a), ("b", b)):
        if pulls.ndim != 2 or pulls.shape[1] != rpm.size or len(pulls) < 2:
            raise InputError(
                f"{owner}: {name} has the shape {pulls.shape}, must be (pulls, {rpm.size}) with at "
                "least 2 pulls."
            )
        if not np.all(np.isfinite(pulls) & (pulls > 0.0)):
            raise InputError(f"{owner}: {name} must hold finite values above 0.")
    level = check_number(owner, "level", level, "1", 0.5, 0.999)
    check_choice(owner, "quantity", quantity, QUANTITIES)
    fit = _Fit(np.vstack([a, b]), _checked_order(owner, order, len(a), len(b)))
    weights = _weights(rpm)
    error = fit.factor * fit.mean * np.sqrt(weights @ (fit.variance / fit.mean**2))
    nu = _smoothed_freedom(fit, weights)
    one = quantile(level, nu)
    sup = sup_quantile(level, float(np.mean(nu)), curve_length(fit.residuals), rpm.size)
    return MeasuredDifference(
        rpm, a, b, fit.difference, error, one * error, sup * error, fit.drift, level,
        (first, second), fit.nu, fit.order, _likeness(fit.residuals), quantity,
    )


def _of_pulls(rpm, a, b, quantity, order, names):
    """Arguments of `measured_difference` as arrays, out of two `MeasuredPulls`."""
    if rpm is None:
        rpm = a.rpm[(a.rpm >= b.rpm[0]) & (a.rpm <= b.rpm[-1])]
        if rpm.size < 2:
            spans = " and ".join(f"{c.name!r} {c.rpm[0]:g} to {c.rpm[-1]:g}" for c in (a, b))
            raise InputError(f"measured_difference: the pulls share no range of speed, {spans} "
                             "rev/min.")
    if order is None and a.order is not None and b.order is not None:
        order = a.order, b.order
    names = (a.name, b.name) if names is None else names
    return rpm, a.by_pull(quantity, rpm), b.by_pull(quantity, rpm), order, names


def _pair(owner, name, value):
    """Two of something, one for each system."""
    pair = sequence(owner, name, value, "two, one for each system")
    if len(pair) != 2:
        raise InputError(f"{owner}: {name} must be two, one for each system, got {len(pair)}.")
    return pair


def _checked_order(owner, order, n_a, n_b):
    """Order of the pulls as two tuples; InputError if drift and difference look the same in it."""
    if order is None:
        last = range(max(n_a, n_b))
        order = [2 * i for i in last][:n_a], [2 * i + 1 for i in last][:n_b]
    pair = tuple(
        tuple(as_floats(owner, "order", one).ravel().tolist())
        for one in _pair(owner, "order", order)
    )
    if (len(pair[0]), len(pair[1])) != (n_a, n_b):
        raise InputError(f"{owner}: order must give a number for each of the {n_a} + {n_b} pulls.")
    if len(set(pair[0] + pair[1])) < n_a + n_b or not np.all(np.isfinite(pair[0] + pair[1])):
        raise InputError(f"{owner}: order must be finite and hold no number twice.")
    if n_a + n_b < 4:
        raise InputError(f"{owner}: {n_a} + {n_b} pulls are too few, 4 are needed at least.")
    return pair


def crossing_set(rpm, difference, half_width, likeness=1.0):
    """Where a difference may be zero: between speeds all is read straight.

    Parameters
    ----------
    rpm, difference, half_width : ndarray, (m,)
        Half width of the band at one speed.
    likeness : float
        Correlation of errors at neighbouring speeds.

    Returns
    -------
    CrossingSet
    """
    share = np.append(np.tile(np.arange(FINE) / FINE, rpm.size - 1), 1.0)
    i = np.append(np.repeat(np.arange(rpm.size - 1), FINE), rpm.size - 2)
    speed, d = ((1.0 - share) * y[i] + share * y[i + 1] for y in (rpm, difference))
    # Between two speeds noise averages out: as much as neighbouring residuals differ.
    one, two = (1.0 - share) * half_width[i], share * half_width[i + 1]
    inside = d * d <= one**2 + two**2 + 2.0 * likeness * one * two
    passed = np.diff(np.sign(d)) != 0.0  # a band may be narrower than the distance of two places
    inside[1:] |= passed
    inside[:-1] |= passed
    edges = np.flatnonzero(np.diff(np.concatenate([[False], inside, [False]]).astype(int)))
    pieces = tuple(
        (float(speed[max(i - 1, 0)]), float(speed[min(j, speed.size - 1)]))  # outward
        for i, j in zip(edges[::2], edges[1::2], strict=True)
    )
    change = np.flatnonzero(np.diff(np.sign(difference)) != 0.0)
    estimates = tuple(
        float(np.interp(0.0, *_rising(difference[i : i + 2], rpm[i : i + 2]))) for i in change
    )
    return CrossingSet(estimates, pieces)


# --- least squares --------------------------------------------------------------------------------


def _regressors(order):
    """Columns: one, system b, order about its mean; (n, 3)."""
    times = np.array([*order[0], *order[1]])
    system = np.repeat([0.0, 1.0], [len(order[0]), len(order[1])])
    return np.column_stack([np.ones(times.size), system, times - times.mean()])


def _factor(order):
    """Standard error of the difference over the scatter of one pull, and degrees of freedom."""
    x = _regressors(order)
    return float(np.sqrt(np.linalg.inv(x.T @ x)[1, 1])), x.shape[0] - x.shape[1]


class _Fit:
    """Least squares of all pulls at every speed."""

    def __init__(self, pulls, order):
        x = _regressors(order)
        constants, *_ = np.linalg.lstsq(x, pulls, rcond=None)
        self.order = order
        self.factor, self.nu = _factor(order)
        self.mean_a, self.difference, self.drift = constants
        self.residuals = pulls - x @ constants
        self.variance = np.sum(self.residuals**2, axis=0) / self.nu
        self.mean = pulls.mean(axis=0)


# --- scatter over speed ---------------------------------------------------------------------------


def _weights(rpm):
    """Weights that smooth over speed, (m, m), each row summing to 1."""
    width = SMOOTHING * (rpm[-1] - rpm[0])
    weights = np.exp(-0.5 * ((rpm[:, None] - rpm) / width) ** 2)
    return weights / weights.sum(axis=1, keepdims=True)


def _normalised(residuals):
    """Residuals of unit length at every speed; zero where there are none."""
    length = np.linalg.norm(residuals, axis=0)
    return residuals / np.where(length > 0.0, length, 1.0)


def _smoothed_freedom(fit, weights):
    """Degrees of freedom of the smoothed variance at every speed, at least those of one speed."""
    squares = (_normalised(fit.residuals).T @ _normalised(fit.residuals)) ** 2
    bias = DEBIASED / fit.nu
    shares = np.einsum("ij,jk,ik->i", weights, (squares - bias) / (1.0 - bias), weights)
    return fit.nu / np.clip(shares, 1.0 / weights.shape[0], 1.0)


def curve_length(residuals):
    """Length of the curve of normalised residuals over speed."""
    steps = np.diff(_normalised(residuals), axis=1)
    return float(np.linalg.norm(steps, axis=0).sum())


def _likeness(residuals):
    """Mean correlation of the residuals at neighbouring speeds."""
    z = _normalised(residuals)
    return float(np.mean(np.sum(z[:, 1:] * z[:, :-1], axis=0)))


def quantile(level, nu):
    """Two-sided quantile of Student's t."""
    from scipy import stats

    return stats.t.isf(0.5 * (1.0 - level), nu)


def sup_quantile(level, nu, length, speeds):
    """Quantile for all speeds together: see the head of this module."""
    from scipy import stats
    from scipy.optimize import brentq

    def excess(u):
        excursions = length / (2.0 * np.pi) * (1.0 + u * u / nu) ** (-0.5 * nu)
        return 2.0 * (stats.t.sf(u, nu) + excursions) - (1.0 - level)

    lowest = float(quantile(level, nu))
    bonferroni = float(stats.t.isf(0.5 * (1.0 - level) / speeds, nu))
    if bonferroni <= lowest or excess(bonferroni) > 0.0:
        return bonferroni
    return brentq(excess, lowest, bonferroni) if excess(lowest) > 0.0 else lowest


def _power(shift, limit, nu):
    """Chance that |t| exceeds a limit when its mean is shifted by so many standard errors."""
    from scipy import stats

    chances = stats.nct.sf(limit, nu, shift), stats.nct.cdf(-limit, nu, shift)
    return float(sum(np.nan_to_num(chance) for chance in chances))  # the far tail comes as NaN


def _rising(x, y):
    """Pairs in order of x, as np.interp wants them."""
    order = np.argsort(x)
    return np.asarray(x)[order], np.asarray(y)[order]
