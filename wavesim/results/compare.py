"""Two speed curves side by side: difference, crossing speeds, averages over bands of speed.

Both curves are taken as straight between the speeds that were computed.  Where the two sweeps hold
different speeds, both are read on all speeds of either inside the range that both cover.
"""

from typing import NamedTuple

import numpy as np

from wavesim.errors import InputError, check_choice, check_number
from wavesim.results.files import write_csv
from wavesim.results.points import Sweep
from wavesim.show.quantities import QUANTITIES, column_notes, display, rows_text

DEFAULT = ("torque", "power")


class Crossing(NamedTuple):
    """A speed at which two curves change places.

    Attributes
    ----------
    rpm : float
        Speed of the crossing [rev/min], on a straight line between its neighbours.
    below, above : float
        Neighbouring speeds [rev/min] between which it lies.
    ahead : str
        Name of the sweep whose value is higher above the crossing.
    """

    rpm: float
    below: float
    above: float
    ahead: str


class Band(NamedTuple):
    """Averages over a band of speed.

    Attributes
    ----------
    low, high : float
        Limits of the band [rev/min].
    a, b : float
        Averages over speed of both curves, SI unit of the quantity.
    difference : float
        b - a, SI unit.
    percent : float
        100 (b - a) / a, NaN where a is 0.
    """

    low: float
    high: float
    a: float
    b: float
    difference: float
    percent: float


def compare(a, b, *, bands=None):
    """Compare two speed curves.

    Parameters
    ----------
    a, b : Sweep
        Reference and variant; every difference is b - a.
    bands : sequence of (float, float), optional
        Bands of speed (low, high) [rev/min] to average over, inside the range that both sweeps
        cover.  Default: that range in three equal parts.

    Returns
    -------
    Comparison

    Raises
    ------
    InputError
        If `a` or `b` is no Sweep, if they share less than two speeds' worth of range, or if a band
        is empty or leaves the range.
    """
    return Comparison(a, b, bands=bands)


class Comparison:
    """Difference of two speed curves, as `compare` returns it.

    Attributes
    ----------
    a, b : Sweep
        Reference and variant.
    names : (str, str)
        Their names, for tables and figures.
    rpm : ndarray, (n,)
        Speeds of the comparison [rev/min].
    interpolated : ndarray of bool, (n,)
        True where one of the two was not computed at that speed but read off its neighbours.
    bands : tuple of (float, float)
        Bands of speed [rev/min].
    """

    def __init__(self, a, b, *, bands=None):
        self.a, self.b = _checked(a, "a"), _checked(b, "b")
        self.names = _names(a, b)
        low, high = _common_range(a, b, self.names)
        speeds = np.union1d(a.rpm, b.rpm)
        self.rpm = speeds[(speeds >= low) & (speeds <= high)]
        self.interpolated = ~(np.isin(self.rpm, a.rpm) & np.isin(self.rpm, b.rpm))
        self.bands = _checked_bands(bands, low, high)

    def __repr__(self):
        return f"<Comparison: {self.names[1]!r} against {self.names[0]!r}, {self.rpm.size} speeds>"

    def values(self, quantity="torque"):
        """Values of both curves.

        Parameters
        ----------
        quantity : str
            A key of `QUANTITIES`.

        Returns
        -------
        a, b : ndarray, (n,)
            In SI units at `rpm`, interpolated linearly where not computed.

        Raises
        ------
        InputError
            If there is no such quantity.
        """
        check_choice("Comparison", "quantity", quantity, QUANTITIES)
        return tuple(np.interp(self.rpm, s.rpm, s[quantity]) for s in (self.a, self.b))

    def difference(self, quantity="torque"):
        """b - a at each speed in SI units, (n,); raises as `values` does."""
        a, b = self.values(quantity)
        return b - a

    def percent(self, quantity="torque"):
        """100 (b - a) / a at each speed, (n,), NaN where a is 0; raises as `values` does."""
        a, b = self.values(quantity)
        return _percent(a, b)

    def crossings(self, quantity="torque"):
        """Speeds at which the difference changes sign.

        Parameters
        ----------
        quantity : str
            A key of `QUANTITIES`.

        Returns
        -------
        list of Crossing
            In order of speed.  A difference that touches zero and turns back, or is zero at the
            end of the range, is no crossing; where it is zero over several speeds and then has the
            other sign, the middle of the zeros is taken.

        Raises
        ------
        InputError
            If there is no such quantity.
        """
        # Power is torque times speed: its curves cross where those of torque do.
        y = self.difference("torque" if quantity == "power" else quantity)
        return [
            Crossing(rpm, float(self.rpm[i]), float(self.rpm[j]), self.names[int(y[j] > 0.0)])
            for rpm, i, j in _sign_changes(self.rpm, y)
        ]

    def crossing_rpm(self, quantity="torque"):
        """Speeds [rev/min] at which the difference changes sign, (n_crossing,): see `crossings`."""
        return np.array([crossing.rpm for crossing in self.crossings(quantity)])

    def band_averages(self, quantity="torque"):
        """Averages over each band of speed.

        Parameters
        ----------
        quantity : str
            A key of `QUANTITIES`.

        Returns
        -------
        list of Band
            Integral over speed divided by the width of the band (trapezoidal rule, exact for
            curves that are straight between computed speeds), so that unequal steps of speed
            carry their due weight.

        Raises
        ------
        InputError
            If there is no such quantity.
        """
        a, b = self.values(quantity)
        found = []
        for low, high in self.bands:
            mean_a, mean_b = (mean_over(self.rpm, y, low, high) for y in (a, b))
            change = float(_percent(mean_a, mean_b))
            found.append(Band(low, high, mean_a, mean_b, mean_b - mean_a, change))
        return found

    def notes(self):
        """Sentences on what limits the comparison: interpolation, convergence, failed speeds."""
        found = []
        if self.interpolated.any():
            found.append(
                "The sweeps hold different speeds: values marked * are interpolated linearly."
            )
        for name, sweep in zip(self.names, (self.a, self.b), strict=True):
            loose = [f"{point.rpm:g}" for point in sweep if not point.converged]
            if loose:
                found.append(f"Not converged: {name} at {', '.join(loose)} rev/min.")
            if sweep.failures:
                lost = ", ".join(f"{rpm:g}" for rpm in sorted(sweep.failures))
                found.append(f"Failed: {name} at {lost} rev/min.")
        tolerance = max(point.audit["tolerance"] for s in (self.a, self.b) for point in s)
        found.append(f"Cycles were run until they repeat within {100.0 * tolerance:.2g} %; "
                     "smaller differences mean nothing.")
        return found

    def table(self, quantities=DEFAULT):
        """Text table of both curves and their difference, in units that are common in a workshop.

        Parameters
        ----------
        quantities : sequence of str
            Keys of `QUANTITIES`.

        Returns
        -------
        str
            A is the reference, B the variant.

        Raises
        ------
        InputError
            If a quantity does not exist.
        """
        head, units = ["rpm"], [""]
        marks = np.where(self.interpolated, "*", " " if self.interpolated.any() else "")
        body = [[f"{rpm:g}{mark}"] for rpm, mark in zip(self.rpm, marks, strict=True)]
        for quantity in quantities:
            shown = display(check_choice("Comparison", "quantity", quantity, QUANTITIES))
            name = quantity.replace("_", " ")
            head += [f"{name} A", f"{name} B", "B - A", ""]
            units += [shown.unit, shown.unit, _unit_of_difference(shown), "%"]
            a, b = self.values(quantity)
            for row, va, vb, percent in zip(body, a, b, _percent(a, b), strict=True):
                row += [shown.text(va), shown.text(vb), shown.text(vb - va, "+"),
                        f"{percent:+.1f}"]
        return rows_text([[*row, ""] for row in (head, units, *body)])

    def summary(self, quantities=DEFAULT):
        """Readable text: table, crossings, extremes, averages over the bands, and caveats.

        Parameters
        ----------
        quantities : sequence of str
            Keys of `QUANTITIES`.

        Returns
        -------
        str

        Raises
        ------
        InputError
            If a quantity does not exist.
        """
        parts = [f"A = {self.names[0]}\nB = {self.names[1]}", self.table(quantities)]
        # Torque and power cross together: one sentence is enough.
        spoken = [q for q in quantities if not (q == "power" and "torque" in quantities)]
        for quantity in spoken:
            parts.append("\n".join([*self._extremes(quantity), *self._crossing_lines(quantity)]))
        parts += [self._band_table(quantities), "\n".join(self.notes())]
        return "\n\n".join(parts)

    def _extremes(self, quantity):
        y, percent, shown = self.difference(quantity), self.percent(quantity), display(quantity)
        lines = []
        for word, sign in (("most above", 1.0), ("most below", -1.0)):
            if np.nanmax(sign * y, initial=0.0) > 0.0:
                i = int(np.nanargmax(sign * y))
                amount = f"{shown.text(y[i], '+')} {_unit_of_difference(shown)}".rstrip()
                lines.append(f"{shown.label.capitalize()}: B is {word} A at {self.rpm[i]:g} "
                             f"rev/min, {amount} ({percent[i]:+.1f} %).")
        return lines or [f"{shown.label.capitalize()}: no difference at any speed."]

    def _crossing_lines(self, quantity):
        label = display(quantity).label.capitalize()
        letter = {self.names[0]: "A", self.names[1]: "B"}
        lines = [
            f"{label}: the curves cross near {c.rpm:.0f} rev/min (between {c.below:g} and "
            f"{c.above:g}), above it {letter[c.ahead]} is higher."
            for c in self.crossings(quantity)
        ]
        return lines or [f"{label}: the curves do not cross."]

    def _band_table(self, quantities):
        rows = [["rev/min", "average of", "A", "B", "B - A", "%", ""]]
        for quantity in quantities:
            shown = display(quantity)
            unit = f" [{shown.unit}]" if shown.unit else ""
            rows += [
                [f"{band.low:.0f} to {band.high:.0f}", quantity.replace("_", " ") + unit,
                 shown.text(band.a), shown.text(band.b), shown.text(band.difference, "+"),
                 f"{band.percent:+.1f}", ""]
                for band in self.band_averages(quantity)
            ]
        return rows_text(rows)

    def to_csv(self, path, quantities=DEFAULT):
        """Write both curves and their difference to a CSV file, units in the header, SI.

        Lines that begin with "#" say what each quantity means.

        Parameters
        ----------
        path : str or Path
            The file; an existing one is overwritten.
        quantities : sequence of str
            Keys of `QUANTITIES`.

        Raises
        ------
        InputError
            If a quantity does not exist.
        """
        head, columns = ["rpm [rev/min]", "interpolated"], [self.rpm, self.interpolated.astype(int)]
        for quantity in quantities:
            a, b = self.values(quantity)
            unit = QUANTITIES[quantity][1]
            head += [f"{quantity} {name} [{unit}]" for name in self.names]
            head += [f"{quantity} difference [{unit}]", f"{quantity} difference [%]"]
            columns += [a, b, b - a, _percent(a, b)]
        rows = zip(*(column.tolist() for column in columns), strict=True)
        notes = [
            f"{self.names[1]} against {self.names[0]}",
            *column_notes(["rpm", "interpolated", *quantities]),
        ]
        write_csv(path, notes, [head, *rows])

    def plot(self, ax=None, quantity="torque", **line_kws):
        """Draw both curves and their difference.

        Parameters
        ----------
        ax : matplotlib Axes, pair of Axes, or None
            A pair takes the curves and, below, the difference; a single Axes only the difference;
            None makes a new figure with both.
        quantity : str
            A key of `QUANTITIES`.
        **line_kws
            For the line of the variant and of the difference.

        Returns
        -------
        matplotlib Axes
            The one with the difference.

        Raises
        ------
        InputError
            If there is no such quantity.
        """
        from wavesim.show import plots

        if ax is None or np.size(ax) == 2:
            return plots.plot_comparison(self, quantity, axes=ax, **line_kws)[-1]
        return plots.plot_difference(self, quantity, ax=ax, **line_kws)


# --- checks ---------------------------------------------------------------------------------------


def _checked(sweep, field):
    if not isinstance(sweep, Sweep):
        raise InputError(f"compare: {field} = {sweep!r} must be a Sweep, as speed_sweep returns.")
    if not len(sweep):
        raise InputError(f"compare: {field} ({sweep.name!r}) holds no point, needs at least one.")
    return sweep


def _names(a, b):
    """Two different names for the sweeps."""
    first, second = a.name or "A", b.name or "B"
    return (first, second) if first != second else (f"{first} (A)", f"{second} (B)")


def _common_range(a, b, names):
    """Range of speed that both sweeps cover."""
    low, high = max(a.rpm[0], b.rpm[0]), min(a.rpm[-1], b.rpm[-1])
    if not low < high:
        spans = " and ".join(
            f"{name!r} covers {s.rpm[0]:g} to {s.rpm[-1]:g} rev/min"
            for name, s in zip(names, (a, b), strict=True)
        )
        raise InputError(f"compare: {spans}, but they must share a range with at least 2 speeds.")
    return float(low), float(high)


def _checked_bands(bands, low, high):
    if bands is None:
        edges = np.linspace(low, high, 4)
        return tuple((float(p), float(q)) for p, q in zip(edges, edges[1:], strict=False))
    found = []
    for band in bands:
        if np.shape(band) != (2,):
            raise InputError(f"compare: band {band!r} must be a pair (low, high) in rev/min.")
        first = check_number("compare", "low end of a band", band[0], "rev/min", low, high)
        last = check_number("compare", "high end of a band", band[1], "rev/min", first, high,
                            low_open=True)
        found.append((first, last))
    return tuple(found)


# --- arithmetic -----------------------------------------------------------------------------------


def _unit_of_difference(shown):
    """A difference of two shares is no share of either: call it points."""
    return "points" if shown.unit == "%" else shown.unit


def _percent(a, b):
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(np.equal(a, 0.0), np.nan, 100.0 * (np.subtract(b, a)) / a)


def _sign_changes(x, y):
    """(place, index before, index after) of every change of sign; NaN interrupts the line."""
    found, last = [], None
    for i, value in enumerate(y):
        if np.isnan(value):
            last = None
        elif value != 0.0:
            if last is not None and (value > 0.0) != (y[last] > 0.0):
                found.append((_zero_between(x, y, last, i), last, i))
            last = i
    return found


def _zero_between(x, y, i, j):
    """Zero of the straight line from i to j, or the middle of the zeros between them."""
    if j - i > 1:
        return float(0.5 * (x[i + 1] + x[j - 1]))
    return float(x[i] + (x[j] - x[i]) * (y[i] / (y[i] - y[j])))


def mean_over(x, y, low, high):
    """Mean over x of the line through the points, from `low` to `high`."""
    inside = x[(x > low) & (x < high)]
    places = np.concatenate([[low], inside, [high]])
    heights = np.interp(places, x, y)
    return float(0.5 * np.diff(places) @ (heights[1:] + heights[:-1]) / (high - low))
