"""Two speed curves side by side: difference, crossing speeds, averages over bands of speed.

A curve may be computed or measured: anything of the form `wavesim.show.forms.SpeedCurve`.  Both are
taken as straight between their speeds.  Where the two hold different speeds, both are read on all
speeds of either inside the range that both cover, and the summary says which speeds only one holds.
`wavesim.results.comparisons` puts several curves beside one base.
"""

import itertools
import string
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from wavesim.errors import InputError, check_choice, check_number
from wavesim.fields.description import sequence
from wavesim.fields.tabular import Column, Sheet, data_frame, write_csv
from wavesim.guard import guarded
from wavesim.results.conditions import differences
from wavesim.results.contributions import Contributions, contributions
from wavesim.results.curves import mean_over
from wavesim.show.forms import SpeedCurve, check_form, shown
from wavesim.show.quantities import QUANTITIES, column_notes, rows_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from pandas import DataFrame

#: What is compared unless asked for: those of these that both curves hold.
DEFAULT = ("torque", "power")
#: Steps to which the speed of a crossing is rounded [rev/min]: the largest one that is no more than
#: a tenth of the distance of its neighbours, for a straight line places it no better.
_STEPS = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)


class CrossingSpeed(NamedTuple):
    """A speed at which two curves change places.

    Attributes
    ----------
    rpm : float
        Speed of the crossing [rev/min], on a straight line between its neighbours.
    below, above : float
        Neighbouring speeds [rev/min] between which it lies.
    ahead : str
        Name of the curve whose value is higher above the crossing.

    Examples
    --------
    >>> import wavesim as ws
    >>> a = ws.Curve("short", [3000, 4000, 5000], {"torque": [141.0, 158.0, 171.0]})
    >>> b = ws.Curve("long", [3000, 4000, 5000], {"torque": [145.0, 161.0, 165.0]})
    >>> crossing = ws.compare(a, b).crossings("torque")[0]
    >>> crossing.rounded, crossing.below, crossing.above
    (4300.0, 4000.0, 5000.0)
    """

    rpm: float
    below: float
    above: float
    ahead: str

    @property
    def rounded(self) -> float:
        """The speed as far as its neighbours allow to know it [rev/min]: for people to read.

        Rounded to the largest of 1, 2, 5, 10, ... that is at most a tenth of their distance.

        Examples
        --------
        >>> CrossingSpeed(3079.4, 3000.0, 3500.0, "B").rounded
        3100.0
        """
        fine = [step for step in _STEPS if step <= 0.1 * (self.above - self.below)]
        step = max(fine, default=1)
        return float(step * round(self.rpm / step))

    def _repr_html_(self) -> str:
        row = [f"{self.rounded:.0f}", f"{self.below:g}", f"{self.above:g}", self.ahead]
        return Sheet([["crossing [rev/min]", "below", "above", "ahead"], row]).html()


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

    Examples
    --------
    >>> import wavesim as ws
    >>> a = ws.Curve("short", [3000, 4000, 5000], {"torque": [141.0, 158.0, 171.0]})
    >>> b = ws.Curve("long", [3000, 4000, 5000], {"torque": [145.0, 161.0, 165.0]})
    >>> for band in ws.compare(a, b).band_averages("torque"):
    ...     print(f"{band.low:.0f} to {band.high:.0f} rev/min: {band.difference:+.1f} N m")
    3000 to 3667 rev/min: +3.7 N m
    3667 to 4333 rev/min: +2.3 N m
    4333 to 5000 rev/min: -3.0 N m
    """

    low: float
    high: float
    a: float
    b: float
    difference: float
    percent: float

    def _repr_html_(self) -> str:
        row = [f"{self.low:.0f} to {self.high:.0f}", *(f"{value:.6g}" for value in self[2:])]
        return Sheet([["rev/min", "a", "b", "b - a", "%"], row]).html()


@guarded
class Comparison:
    """Difference of two speed curves, as `compare` returns it for one variant.

    Attributes
    ----------
    a, b : SpeedCurve
        Reference and variant.
    names : (str, str)
        Their names, for tables and figures.
    quantities : tuple of str
        What both curves hold.
    rpm : ndarray, (n,)
        Speeds of the comparison [rev/min].
    interpolated : ndarray of bool, (n,)
        True where one of the two has no such speed but was read off its neighbours.
    bands : tuple of (float, float)
        Bands of speed [rev/min].
    letters : (str, str)
        What the two are called in tables and sentences.

    Parameters
    ----------
    a, b : SpeedCurve
        Reference and variant.
    bands : sequence of (float, float), optional
        As for `compare`.
    names, letters : (str, str), optional
        Default: the names of the curves; A and B.
    more_rpm : sequence of float
        Further speeds to compare at [rev/min], inside the range that both cover.

    Examples
    --------
    >>> import wavesim as ws
    >>> a = ws.Curve("short", [3000, 4000, 5000], {"torque": [141.0, 158.0, 171.0]})
    >>> b = ws.Curve("long", [3000, 4000, 5000], {"torque": [145.0, 161.0, 165.0]})
    >>> found = ws.compare(a, b)
    >>> found.difference("torque").tolist(), found.percent("torque").round(1).tolist()
    ([4.0, 3.0, -6.0], [2.8, 1.9, -3.5])
    >>> before, after = found.values("torque")
    >>> found.crossing_rpm("torque").round().tolist(), len(found.crossings())
    ([4333.0], 1)
    >>> found.uncertainty("torque") is None, found.threshold("torque").tolist()
    (True, [0.0, 0.0, 0.0])
    >>> for sentence in found.findings(["torque"]):
    ...     print(sentence)
    Torque: B lies furthest above A at 3000 rev/min, +4.0 N m (+2.8 %).
    Torque: B lies furthest below A at 5000 rev/min, -6.0 N m (-3.5 %).
    Torque: the curves cross near 4300 rev/min (between 4000 and 5000); above it A is higher.
    >>> found.notes(), found.differences(), found.speed_notes()
    ([], [], [])
    >>> print(found.table(["torque"]).splitlines()[0])
     rpm  torque A  torque B  B - A
    >>> [round(band.difference, 1) for band in found.band_averages("torque")]
    [3.7, 2.3, -3.0]
    >>> len(found.summary(["torque"]).splitlines()) > 3
    True
    >>> ax = found.plot(quantity="torque")
    """

    def __init__(
        self,
        a: SpeedCurve,
        b: SpeedCurve,
        *,
        bands: Sequence[tuple[float, float]] | None = None,
        names: tuple[str, str] | None = None,
        letters: tuple[str, str] = ("A", "B"),
        more_rpm: Sequence[float] | np.ndarray = (),
    ) -> None:
        self.a, self.b = checked_curve(a, "a"), checked_curve(b, "b")
        self.names = tuple(names or distinct_names(a, b))
        self.letters = tuple(letters)
        self.quantities = _shared_quantities(a, b, self.names)
        low, high = common_range(self.names, a, b)
        speeds = np.union1d(np.union1d(a.rpm, b.rpm), more_rpm)
        self.rpm = speeds[(speeds >= low) & (speeds <= high)]
        self.interpolated = ~(np.isin(self.rpm, a.rpm) & np.isin(self.rpm, b.rpm))
        self.bands = _checked_bands(bands, low, high)

    def __repr__(self) -> str:
        return f"<Comparison: {self.names[1]!r} against {self.names[0]!r}, {self.rpm.size} speeds>"

    @property
    def trusted(self) -> np.ndarray:
        """False where a value, or a neighbour it was read off, is not to be trusted, (n,)."""
        shares = [np.interp(self.rpm, s.rpm, np.array(s.trusted, float)) for s in (self.a, self.b)]
        return np.minimum(*shares) == 1.0

    def values(self, quantity: str = "torque") -> tuple[np.ndarray, np.ndarray]:
        """Values of both curves.

        Parameters
        ----------
        quantity : str
            One that both curves hold.

        Returns
        -------
        a, b : ndarray, (n,)
            In SI units at `rpm`, interpolated linearly between the speeds of the curve.

        Raises
        ------
        InputError
            If there is no such quantity.
        """
        check_choice("Comparison", "quantity", quantity, self.quantities)
        self._shown(quantity)  # refuses two units
        return tuple(np.interp(self.rpm, s.rpm, s[quantity]) for s in (self.a, self.b))

    def difference(self, quantity: str = "torque") -> np.ndarray:
        """b - a at each speed in SI units, (n,); raises as `values` does."""
        a, b = self.values(quantity)
        return b - a

    def uncertainty(self, quantity: str = "torque") -> np.ndarray | None:
        """Half width of the band in which the difference lies.

        Parameters
        ----------
        quantity : str
            One that both curves hold.

        Returns
        -------
        ndarray, (n,), or None
            In SI units; None where no curve states its uncertainty.

        Raises
        ------
        InputError
            If there is no such quantity.

        Notes
        -----
        Root of the sum of squares, as for independent errors (JCGM 100:2008, eq. 10; from memory).
        A curve that states none counts as exact.
        """
        check_choice("Comparison", "quantity", quantity, self.quantities)
        stated = [(s.rpm, s.uncertainty(quantity)) for s in (self.a, self.b)]
        widths = [np.interp(self.rpm, rpm, width) for rpm, width in stated if width is not None]
        return np.sqrt(np.sum(np.square(widths), axis=0)) if widths else None

    def threshold(self, quantity: str = "torque") -> np.ndarray:
        """Least difference that means something.

        Parameters
        ----------
        quantity : str
            One that both curves hold.

        Returns
        -------
        ndarray, (n,)
            In SI units: within how much the cycles of both curves repeat (the tolerance of each
            times its value), and the stated `uncertainty`; 0 where neither is known.

        Raises
        ------
        InputError
            If there is no such quantity.
        """
        loose = sum(
            getattr(curve, "tolerance", 0.0) * np.abs(values)
            for curve, values in zip((self.a, self.b), self.values(quantity), strict=True)
        )
        half_width = self.uncertainty(quantity)
        return loose if half_width is None else loose + half_width

    def percent(self, quantity: str = "torque") -> np.ndarray:
        """100 (b - a) / a at each speed, (n,), NaN where a is 0; raises as `values` does."""
        a, b = self.values(quantity)
        return _percent(a, b)

    def crossings(self, quantity: str = "torque") -> list[CrossingSpeed]:
        """Speeds at which the difference changes sign.

        Parameters
        ----------
        quantity : str
            One that both curves hold.

        Returns
        -------
        list of CrossingSpeed
            In order of speed.  A difference within its `threshold` says nothing of who is ahead:
            one that shrinks below it and grows again with the same sign is no crossing, nor one
            that ends there.  Where it changes sign within the threshold, the neighbours are the
            speeds on both sides at which it is larger, and where it is zero over several speeds or
            changes its sign several times there, the middle is taken.

        Raises
        ------
        InputError
            If there is no such quantity.
        """
        check_choice("Comparison", "quantity", quantity, self.quantities)
        # Power is torque times speed: its curves cross where those of torque do.
        joined = quantity == "power" and "torque" in self.quantities
        quantity = "torque" if joined else quantity
        y = self.difference(quantity)
        return [
            CrossingSpeed(rpm, float(self.rpm[i]), float(self.rpm[j]), self.names[int(y[j] > 0.0)])
            for rpm, i, j in _changes_of_lead(self.rpm, y, self.threshold(quantity))
        ]

    def crossing_rpm(self, quantity: str = "torque") -> np.ndarray:
        """Speeds [rev/min] at which the curves change places, (n_crossing,): see `crossings`."""
        return np.array([crossing.rpm for crossing in self.crossings(quantity)])

    def band_averages(self, quantity: str = "torque") -> list[Band]:
        """Averages over each band of speed.

        Parameters
        ----------
        quantity : str
            One that both curves hold.

        Returns
        -------
        list of Band
            Integral over speed divided by the width of the band (trapezoidal rule, exact for
            curves that are straight between their speeds), so that unequal steps of speed
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

    def contributions(self) -> Contributions:
        """What the difference of torque is made of: see `wavesim.contributions`.

        Returns
        -------
        Contributions
            At the speeds that both curves hold, under the names of the comparison.

        Raises
        ------
        InputError
            If one of the two is no Sweep, for only what was computed has an account; otherwise as
            `wavesim.contributions`.

        Examples
        --------
        >>> import wavesim as ws
        >>> study = ws.load(ws.demo_path("collector"))
        >>> settings = ws.Settings(cell_length=0.1, tolerance=0.05)
        >>> a, b = (ws.speed_sweep(study.engine, one, [3000, 4500], settings=settings)
        ...         for one in study.exhausts.values())
        >>> found = ws.compare(a, b).contributions()
        >>> bool(np.abs(found.total - ws.compare(a, b).difference("torque")).max() < 1e-9)
        True
        """
        found = contributions(self.a, self.b)
        return Contributions(found.rpm, found.parts, self.names)

    def notes(self) -> list[str]:
        """Sentences on what limits the comparison, those of both curves among them."""
        return [*self.differences(), *self.speed_notes(), *self._own_notes()]

    def differences(self) -> list[str]:
        """Sentences on all that the two curves do not share besides the exhaust.

        Returns
        -------
        list of str
            On engine, settings, gas, weather, fuel flow and version of the library, one each; and
            one where it is not known of a curve what it was made under.  Which temperatures the
            walls have is said by the notes of the curves.
        """
        known = [getattr(curve, "conditions", None) for curve in (self.a, self.b)]
        if all(known):
            return differences(*known, self.letters)
        return [
            f"{letter}: engine, fuel, weather and walls are not known here and are taken to be "
            "those of the other curve."
            for letter, own, other in zip(self.letters, known, known[::-1], strict=True)
            if other and not own
        ]

    def speed_notes(self) -> list[str]:
        """Sentences on speeds that only one of the two curves holds."""
        found = []
        for letter, curve in zip(self.letters, (self.a, self.b), strict=True):
            outside = curve.rpm[~np.isin(curve.rpm, self.rpm)]
            if outside.size:
                found.append(f"Only {letter} covers {_speeds(outside)}: not compared there.")
        if self.interpolated.any():
            lacks = [
                f"{letter} holds no {_speeds(self.rpm[~np.isin(self.rpm, curve.rpm)])}"
                for letter, curve in zip(self.letters, (self.a, self.b), strict=True)
                if not np.isin(self.rpm, curve.rpm).all()
            ]
            found.append(f"{'; '.join(lacks)}: values marked * are interpolated linearly.")
        return found

    def _own_notes(self):
        found = []
        own = [
            [note for note in curve.notes if note not in getattr(curve, "repeat_notes", ())]
            for curve in (self.a, self.b)
        ]
        shared = [note for note in own[0] if note in own[1]]
        for name, notes in zip(self.names, own, strict=True):
            found += [f"{name}: {note}" for note in notes if note not in shared]
        return [*found, *shared, *self._repeat_notes()]

    def _repeat_notes(self):
        """What is known of a difference: how far the cycles of each curve repeat themselves."""
        known = [curve for curve in (self.a, self.b) if hasattr(curve, "repeat_notes")]
        if len(known) < 2:
            return [f"{name}: {note}"
                    for name, curve in zip(self.names, (self.a, self.b), strict=True)
                    if curve in known for note in curve.repeat_notes]
        shares = [100.0 * curve.tolerance for curve in known]
        first, second = self.letters
        return [f"The cycles of {first} repeat within {shares[0]:.2g} %, those of {second} within "
                f"{shares[1]:.2g} %: a difference below {sum(shares):.2g} % means nothing."]

    def _chosen(self, quantities):
        """The quantities that were asked for, else those of DEFAULT, or the first there is."""
        if quantities is None:
            return [name for name in DEFAULT if name in self.quantities] or self.quantities[:1]
        names = sequence("Comparison", "quantities", quantities, "names of quantities")
        return [check_choice("Comparison", "quantity", q, self.quantities) for q in names]

    def _shown(self, quantity):
        return shown(quantity, self.a, self.b)

    def _rows(self, quantities):
        """Cells of the table, two lines of heading first."""
        head, units = ["rpm"], [""]
        first, second = self.letters
        marks = np.where(self.interpolated, "*", " " if self.interpolated.any() else "")
        body = [[f"{rpm:g}{mark}"] for rpm, mark in zip(self.rpm, marks, strict=True)]
        for quantity in quantities:
            look = self._shown(quantity)
            name = quantity.replace("_", " ")
            head += [f"{name} {first}", f"{name} {second}", f"{second} - {first}", ""]
            units += [look.unit, look.unit, _unit_of_difference(look), "%"]
            a, b = self.values(quantity)
            for row, va, vb, percent in zip(body, a, b, _percent(a, b), strict=True):
                row += [look.text(va), look.text(vb), look.text(vb - va, "+"), f"{percent:+.1f}"]
        return [head, units, *body]

    def table(self, quantities: Sequence[str] | None = None) -> str:
        """Text table of both curves and their difference, in units that are common in a workshop.

        Parameters
        ----------
        quantities : sequence of str or None
            What both curves hold; None: torque and power.

        Returns
        -------
        str
            A is the reference, B the variant.

        Raises
        ------
        InputError
            If a curve does not hold a quantity.
        """
        return rows_text([[*row, ""] for row in self._rows(self._chosen(quantities))])

    def summary(self, quantities: Sequence[str] | None = None) -> str:
        """Readable text: table, crossings, extremes, averages over the bands, and caveats.

        Parameters
        ----------
        quantities : sequence of str or None
            What both curves hold; None: torque and power.

        Returns
        -------
        str

        Raises
        ------
        InputError
            If a curve does not hold a quantity.
        """
        quantities = self._chosen(quantities)
        parts = [self._legend(), self.table(quantities)]
        parts += [*self.findings(quantities), self._band_table(quantities)]
        return "\n\n".join(part for part in [*parts, "\n".join(self.notes())] if part)

    def findings(self, quantities: Sequence[str] | None = None) -> list[str]:
        """What the difference amounts to: extremes, crossings, and where it means nothing.

        Parameters
        ----------
        quantities : sequence of str or None
            What both curves hold; None: torque and power.

        Returns
        -------
        list of str
            A paragraph for each quantity; torque and power cross together, so that one is enough.

        Raises
        ------
        InputError
            If a curve does not hold a quantity.
        """
        quantities = self._chosen(quantities)
        spoken = [q for q in quantities if not (q == "power" and "torque" in quantities)]
        return [
            "\n".join([*self._extremes(q), *self._crossing_lines(q), *self._doubt(q)])
            for q in spoken
        ]

    def _legend(self):
        return "\n".join(f"{letter} = {name}"
                         for letter, name in zip(self.letters, self.names, strict=True))

    def _repr_html_(self) -> str:
        rows = self._rows(self._chosen(None))
        return Sheet(rows, self._legend().replace("\n", ", "), self.notes(), heads=2).html()

    def _doubt(self, quantity):
        """Sentence on where the difference is smaller than its uncertainty or the tolerance."""
        label = self._shown(quantity).label.capitalize()
        half_width, y = self.uncertainty(quantity), np.abs(self.difference(quantity))
        if half_width is None:
            lost = self.rpm[y <= self.threshold(quantity)]
            told = (f"{label}: at {_speeds(lost)} the difference is smaller than the tolerance of "
                    "the cycles.")
            return [told] if lost.size and y.any() else []
        lost = self.rpm[y <= half_width]
        if not lost.size:
            return [f"{label}: the difference exceeds the stated uncertainty at every speed."]
        if lost.size == self.rpm.size:
            return [f"{label}: the difference is within the stated uncertainty at every speed."]
        return [f"{label}: the difference is within the stated uncertainty at {_speeds(lost)}."]

    def _extremes(self, quantity):
        y, percent, look = self.difference(quantity), self.percent(quantity), self._shown(quantity)
        lines, (first, second) = [], self.letters
        for word, sign in (("furthest above", 1.0), ("furthest below", -1.0)):
            if np.nanmax(sign * y, initial=0.0) > 0.0:
                i = int(np.nanargmax(sign * y))
                amount = f"{look.text(y[i], '+')} {_unit_of_difference(look)}".rstrip()
                lines.append(f"{look.label.capitalize()}: {second} lies {word} {first} at "
                             f"{self.rpm[i]:g} rev/min, {amount} ({percent[i]:+.1f} %).")
        return lines or [f"{look.label.capitalize()}: no difference at any speed."]

    def _crossing_lines(self, quantity):
        label = self._shown(quantity).label.capitalize()
        letter = dict(zip(self.names, self.letters, strict=True))
        lines = [
            f"{label}: the curves cross near {c.rounded:.0f} rev/min (between {c.below:g} and "
            f"{c.above:g}); above it {letter[c.ahead]} is higher."
            for c in self.crossings(quantity)
        ]
        return lines or [f"{label}: the curves do not cross."]

    def _band_table(self, quantities):
        first, second = self.letters
        rows = [["rev/min", "average of", first, second, f"{second} - {first}", "%", ""]]
        for quantity in quantities:
            look = self._shown(quantity)
            unit = f" [{look.unit}]" if look.unit else ""
            rows += [
                [f"{band.low:.0f} to {band.high:.0f}", quantity.replace("_", " ") + unit,
                 look.text(band.a), look.text(band.b), look.text(band.difference, "+"),
                 f"{band.percent:+.1f}", ""]
                for band in self.band_averages(quantity)
            ]
        return rows_text(rows)

    def to_csv(self, path: str | Path, quantities: Sequence[str] | None = None) -> None:
        """Write both curves and their difference to a CSV file, units in the header, SI.

        Lines that begin with "#" say what each quantity means.

        Parameters
        ----------
        path : str or Path
            The file; an existing one is overwritten.
        quantities : sequence of str or None
            What both curves hold; None: torque and power.

        Raises
        ------
        InputError
            If a curve does not hold a quantity.
        """
        known = [name for name in self._chosen(quantities) if name in QUANTITIES]
        meanings = column_notes(["rpm", "interpolated", *known])
        title = f"{self.names[1]} against {self.names[0]}"
        write_csv("Comparison", path, self._columns(quantities), [title, *meanings])

    def to_frame(self, quantities: Sequence[str] | None = None) -> "DataFrame":
        """Both curves and their difference as a pandas DataFrame, SI units.

        Parameters
        ----------
        quantities : sequence of str or None
            What both curves hold; None: torque and power.

        Returns
        -------
        pandas.DataFrame
            The index is the speed [rev/min]; `frame.attrs["units"]` holds the units by name.

        Raises
        ------
        InputError
            If a curve does not hold a quantity.
        ImportError
            If pandas is not installed (`pip install pandas`).
        """
        return data_frame(self._columns(quantities), index="rpm")

    def _columns(self, quantities):
        columns = [Column("rpm", "rev/min", self.rpm),
                   Column("interpolated", "", self.interpolated.astype(int))]
        for quantity in self._chosen(quantities):
            a, b = self.values(quantity)
            unit, half_width = self.a.unit(quantity), self.uncertainty(quantity)
            columns += [Column(f"{quantity} {name}", unit, values)
                        for name, values in zip(self.names, (a, b), strict=True)]
            columns += [Column(f"{quantity} difference", unit, b - a),
                        Column(f"{quantity} difference", "%", _percent(a, b))]
            if half_width is not None:
                name = f"{quantity} uncertainty of the difference"
                columns.append(Column(name, unit, half_width))
        return columns

    def plot(
        self,
        ax: "Axes | Sequence[Axes] | np.ndarray | None" = None,
        quantity: str | None = None,
        **line_kws: Any,
    ) -> "Axes":
        """Draw both curves and their difference.

        Parameters
        ----------
        ax : matplotlib Axes, pair of Axes, or None
            A pair takes the curves and, below, the difference; a single Axes only the difference;
            None makes a new figure with both.
        quantity : str or None
            One that both curves hold; None: torque, or the first if there is no torque.
        **line_kws
            For the line of the difference.

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

        quantity = quantity or self._chosen(None)[0]
        if ax is None or np.size(ax) == 2:
            return plots.plot_comparison(self, quantity, axes=ax, **line_kws)[-1]
        return plots.plot_difference(self, quantity, ax=ax, **line_kws)


# --- checks ---------------------------------------------------------------------------------------


def checked_curve(curve, field):
    """A speed curve with at least one point."""
    check_form("compare", field, curve, SpeedCurve)
    if not len(curve.rpm):
        raise InputError(f"compare: {field} ({curve.name!r}) holds no point, needs at least one.")
    return curve


def _shared_quantities(a, b, names):
    """Names of the quantities that both curves hold."""
    shared = tuple(name for name in a.quantities if name in b.quantities)
    if not shared:
        held = " and ".join(
            f"{name!r} holds {', '.join(curve.quantities)}"
            for name, curve in zip(names, (a, b), strict=True)
        )
        raise InputError(f"compare: {held}, but they must share a quantity.")
    return shared


def letters_of(count):
    """A, B, ... Z, AA, AB, ...: what some curves are called in tables."""
    alphabet = string.ascii_uppercase
    longer = ("".join(pair) for pair in itertools.product(alphabet, alphabet))
    return tuple(itertools.islice(itertools.chain(alphabet, longer), count))


def distinct_names(*curves):
    """Different names for curves: those that are alike get their letter."""
    letters = letters_of(len(curves))
    names = [curve.name or letter for curve, letter in zip(curves, letters, strict=True)]
    return tuple(
        f"{name} ({letter})" if names.count(name) > 1 else name
        for name, letter in zip(names, letters, strict=True)
    )


def common_range(names, *curves):
    """Range of speed that all curves cover."""
    low, high = max(s.rpm[0] for s in curves), min(s.rpm[-1] for s in curves)
    if not low < high:
        spans = " and ".join(
            f"{name!r} covers {s.rpm[0]:g} to {s.rpm[-1]:g} rev/min"
            for name, s in zip(names, curves, strict=True)
        )
        raise InputError(f"compare: {spans}, but they must share a range with at least 2 speeds.")
    return float(low), float(high)


def _checked_bands(bands, low, high):
    if bands is None:
        edges = np.linspace(low, high, 4)
        return tuple((float(p), float(q)) for p, q in zip(edges, edges[1:], strict=False))
    found = []
    for band in sequence("compare", "bands", bands, "pairs of speeds [rev/min]"):
        if len(sequence("compare", "a band", band, "two speeds [rev/min]")) != 2:
            raise InputError("compare: every band must be a pair (low, high) in rev/min.")
        first = check_number("compare", "low end of a band", band[0], "rev/min", low, high)
        last = check_number("compare", "high end of a band", band[1], "rev/min", first, high,
                            low_open=True)
        found.append((first, last))
    return tuple(found)


# --- arithmetic -----------------------------------------------------------------------------------


def _speeds(rpm):
    """Speeds in words, a long list by its ends."""
    if rpm.size > 8:
        return f"{rpm.size} speeds from {rpm[0]:g} to {rpm[-1]:g} rev/min"
    return ", ".join(f"{speed:g}" for speed in rpm) + " rev/min"


def _unit_of_difference(shown):
    """A difference of two shares is no share of either: call it points."""
    return "points" if shown.unit == "%" else shown.unit


def _percent(a, b):
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(np.equal(a, 0.0), np.nan, 100.0 * (np.subtract(b, a)) / a)


def _changes_of_lead(x, y, threshold):
    """(place, index before, index after) of every change of sign beyond a threshold."""
    clear = np.where(np.abs(y) <= threshold, 0.0, y)
    found = []
    for _, i, j in _sign_changes(x, clear):
        places = [place for place, _, _ in _sign_changes(x[i : j + 1], y[i : j + 1])]
        found.append((0.5 * (places[0] + places[-1]), i, j))
    return found


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
