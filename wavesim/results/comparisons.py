"""Any number of speed curves against one base: each difference, one table, one figure."""

from collections.abc import Iterator, Sequence
from numbers import Integral
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from wavesim.errors import InputError, check_choice, check_int
from wavesim.fields.description import sequence
from wavesim.fields.tabular import Column, Sheet, data_frame, write_csv
from wavesim.guard import guarded
from wavesim.results.compare import (
    DEFAULT,
    Comparison,
    checked_curve,
    common_range,
    distinct_names,
    letters_of,
)
from wavesim.show.forms import SpeedCurve, shown
from wavesim.show.quantities import QUANTITIES, column_notes, rows_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from pandas import DataFrame


@guarded
def compare(
    a: SpeedCurve,
    b: SpeedCurve,
    *more: SpeedCurve,
    bands: Sequence[tuple[float, float]] | None = None,
) -> "Comparison | Comparisons":
    """Compare speed curves, computed or measured, with one of them as the base.

    Parameters
    ----------
    a : Sweep, Curve or another speed curve
        The base; every difference is that of a variant less this one.
    b, *more : Sweep, Curve or another speed curve
        The variants, as many as there are.
    bands : sequence of (float, float), optional
        Bands of speed (low, high) [rev/min] to average over, inside the range that all curves
        cover.  Default: that range in three equal parts.

    Returns
    -------
    Comparison or Comparisons
        Of one variant a Comparison, of several Comparisons, which hold one for each.

    Raises
    ------
    InputError
        If one is no speed curve, if they share no quantity or less than two speeds' worth of range,
        or if a band is empty or leaves the range.

    Examples
    --------
    >>> from wavesim.results.curves import Curve
    >>> before = Curve("before", [3000, 4000, 5000], {"torque": [141.0, 158.5, 171.0]})
    >>> after = Curve("after", [3000, 5000], {"torque": [139.0, 175.0]})
    >>> compare(before, after).difference("torque").tolist()
    [-2.0, -1.5, 4.0]
    >>> again = Curve("again", [3000, 4000, 5000], {"torque": [141.0, 160.0, 171.5]})
    >>> [pair.crossing_rpm().tolist() for pair in compare(before, after, again)]
    [[4272.727272727273], []]
    """
    return Comparisons(a, (b, *more), bands=bands) if more else Comparison(a, b, bands=bands)


@guarded
class Comparisons:
    """Several curves against one base, as `compare` returns them.

    `found[0]` and `found["name of the curve"]` are one Comparison; iterating gives all.

    Parameters
    ----------
    base : SpeedCurve
    variants : sequence of SpeedCurve
        At least one.
    bands : sequence of (float, float), optional
        As for `compare`.

    Attributes
    ----------
    base : SpeedCurve
    pairs : tuple of Comparison
        In the order of the variants, with the letters A for the base, then B, C, ...
    names : tuple of str
        Of all curves, the base first.
    letters : tuple of str
    quantities : tuple of str
        What all curves hold.
    rpm : ndarray, (n,)
        Speeds [rev/min] of all comparisons together.

    Examples
    --------
    >>> import wavesim as ws
    >>> a = ws.Curve("short", [3000, 4000, 5000], {"torque": [141.0, 158.0, 171.0]})
    >>> b = ws.Curve("long", [3000, 4000, 5000], {"torque": [145.0, 161.0, 165.0]})
    >>> c = ws.Curve("longer", [3000, 4000, 5000], {"torque": [147.0, 160.0, 160.0]})
    >>> found = ws.compare(a, b, c)
    >>> [pair.difference().tolist() for pair in found]
    [[4.0, 3.0, -6.0], [6.0, 2.0, -11.0]]
    >>> print(found.table(["torque"]))
     rpm  torque A      B  B - A      C  C - A
               N m    N m      %    N m      %
    3000     141.0  145.0   +2.8  147.0   +4.3
    4000     158.0  161.0   +1.9  160.0   +1.3
    5000     171.0  165.0   -3.5  160.0   -6.4
    >>> len(found.summary().splitlines()) > 3, found.notes()
    (True, [])
    >>> ax = found.plot(quantity="torque")
    """

    def __init__(
        self,
        base: SpeedCurve,
        variants: Sequence[SpeedCurve],
        *,
        bands: Sequence[tuple[float, float]] | None = None,
    ) -> None:
        variants = sequence("compare", "variants", variants, "speed curves")
        if not variants:
            raise InputError("compare: variants is empty, needs one curve at least.")
        fields = ["a", "b", *(f"curve {n}" for n in range(3, len(variants) + 2))]
        curves = [checked_curve(c, f) for c, f in zip((base, *variants), fields, strict=True)]
        self.base = base
        self.names, self.letters = distinct_names(*curves), letters_of(len(curves))
        low, high = common_range(self.names, *curves)
        speeds = np.unique(np.concatenate([curve.rpm for curve in curves]))
        if bands is None:
            edges = np.linspace(low, high, 4).tolist()
            bands = list(zip(edges, edges[1:], strict=False))
        self.pairs = tuple(
            Comparison(base, curve, bands=bands, names=(self.names[0], name),
                       letters=(self.letters[0], letter), more_rpm=speeds)
            for curve, name, letter in zip(variants, self.names[1:], self.letters[1:], strict=True)
        )
        self.quantities = tuple(
            name for name in base.quantities if all(name in pair.quantities for pair in self.pairs)
        )
        if not self.quantities:
            raise InputError("compare: the curves share no quantity, compare them two by two.")
        self.rpm = np.unique(np.concatenate([pair.rpm for pair in self.pairs]))

    def __len__(self) -> int:
        return len(self.pairs)

    def __iter__(self) -> Iterator[Comparison]:
        return iter(self.pairs)

    def __getitem__(self, key: int | str) -> Comparison:
        """The comparison of one variant, by its number from 0 or by its name."""
        if isinstance(key, Integral) and not isinstance(key, bool):
            return self.pairs[check_int("Comparisons", "number", key, 0, len(self) - 1)]
        name = check_choice("Comparisons", "name", key, self.names[1:])
        return self.pairs[self.names.index(name) - 1]

    def __repr__(self) -> str:
        return (f"<Comparisons: {len(self)} curves against {self.names[0]!r}, {self.rpm.size} "
                "speeds>")

    def _chosen(self, quantities):
        if quantities is None:
            return [name for name in DEFAULT if name in self.quantities] or self.quantities[:1]
        names = self.pairs[0]._chosen(quantities)
        return [check_choice("Comparisons", "quantity", name, self.quantities) for name in names]

    def _rows(self, quantity):
        """Cells of the table of one quantity, two lines of heading first."""
        look = shown(quantity, self.base, *(pair.b for pair in self.pairs))
        read = np.zeros(self.rpm.size, dtype=bool)
        for pair in self.pairs:
            read |= np.isin(self.rpm, pair.rpm[pair.interpolated])
        marks = np.where(read, "*", " " if read.any() else "")
        base = np.interp(self.rpm, self.base.rpm, self.base[quantity])
        columns = [[f"{rpm:g}{mark}" for rpm, mark in zip(self.rpm, marks, strict=True)],
                   [look.text(value) for value in base]]
        head, units = ["rpm", f"{quantity.replace('_', ' ')} A"], ["", look.unit]
        for pair, letter in zip(self.pairs, self.letters[1:], strict=True):
            at = {rpm: i for i, rpm in enumerate(pair.rpm.tolist())}
            b, percent = pair.values(quantity)[1], pair.percent(quantity)
            places = [at.get(rpm) for rpm in self.rpm.tolist()]
            columns.append(["-" if i is None else look.text(b[i]) for i in places])
            columns.append(["-" if i is None else f"{percent[i]:+.1f}" for i in places])
            head += [letter, f"{letter} - A"]
            units += [look.unit, "%"]
        return [head, units, *map(list, zip(*columns, strict=True))]

    def table(self, quantities: Sequence[str] | None = None) -> str:
        """Text tables of all curves and their differences, one for each quantity.

        Parameters
        ----------
        quantities : sequence of str or None
            What all curves hold; None: torque and power.

        Returns
        -------
        str
            A is the base; differences are in per cent of it.

        Raises
        ------
        InputError
            If a curve does not hold a quantity.
        """
        return "\n\n".join(
            rows_text([[*row, ""] for row in self._rows(quantity)])
            for quantity in self._chosen(quantities)
        )

    def notes(self) -> list[str]:
        """Sentences on what limits the comparisons, each once."""
        return list(dict.fromkeys(note for pair in self.pairs for note in pair.notes()))

    def summary(self, quantities: Sequence[str] | None = None) -> str:
        """Readable text: tables, then what each variant gains and loses, then caveats.

        Parameters
        ----------
        quantities : sequence of str or None
            What all curves hold; None: torque and power.

        Returns
        -------
        str

        Raises
        ------
        InputError
            If a curve does not hold a quantity.
        """
        parts = [self._legend(), self.table(quantities)]
        for pair in self.pairs:
            parts.append("\n".join([pair.names[1], *pair.findings(self._chosen(quantities))]))
        return "\n\n".join([*parts, "\n".join(self.notes())])

    def _legend(self):
        return "\n".join(f"{letter} = {name}"
                         for letter, name in zip(self.letters, self.names, strict=True))

    def _repr_html_(self) -> str:
        rows = self._rows(self._chosen(None)[0])
        return Sheet(rows, self._legend().replace("\n", ", "), self.notes(), heads=2).html()

    def to_csv(self, path: str | Path, quantities: Sequence[str] | None = None) -> None:
        """Write all curves and their differences to a CSV file, units in the header, SI.

        Lines that begin with "#" say what each quantity means.

        Parameters
        ----------
        path : str or Path
            The file; one that was written so before is replaced.
        quantities : sequence of str or None
            What all curves hold; None: torque and power.

        Raises
        ------
        InputError
            If a curve does not hold a quantity, or the file cannot be written.
        """
        known = [name for name in self._chosen(quantities) if name in QUANTITIES]
        title = f"{', '.join(self.names[1:])} against {self.names[0]}"
        write_csv("Comparisons", path, self._columns(quantities),
                  [title, *column_notes(["rpm", *known])])

    def to_frame(self, quantities: Sequence[str] | None = None) -> "DataFrame":
        """All curves and their differences as a pandas DataFrame, SI units.

        Parameters
        ----------
        quantities : sequence of str or None
            What all curves hold; None: torque and power.

        Returns
        -------
        pandas.DataFrame
            The index is the speed [rev/min]; NaN where a curve does not reach.

        Raises
        ------
        InputError
            If a curve does not hold a quantity.
        ImportError
            If pandas is not installed (`pip install pandas`).
        """
        return data_frame(self._columns(quantities), index="rpm")

    def _columns(self, quantities):
        columns = [Column("rpm", "rev/min", self.rpm)]
        for quantity in self._chosen(quantities):
            unit = self.base.unit(quantity)
            base = np.interp(self.rpm, self.base.rpm, self.base[quantity])
            columns.append(Column(f"{quantity} {self.names[0]}", unit, base))
            for pair in self.pairs:
                b, name = pair.values(quantity)[1], pair.names[1]
                inside = np.isin(self.rpm, pair.rpm)
                values = np.full(self.rpm.size, np.nan)
                values[inside] = b
                columns += [Column(f"{quantity} {name}", unit, values),
                            Column(f"{quantity} {name} less base", unit, values - base)]
        return columns

    def plot(
        self,
        ax: "Axes | Sequence[Axes] | np.ndarray | None" = None,
        quantity: str | None = None,
        **line_kws: Any,
    ) -> "Axes":
        """Draw all curves and, below, their differences from the base.

        Parameters
        ----------
        ax : matplotlib Axes, pair of Axes, or None
            A pair takes the curves and, below, the differences; a single Axes only the differences;
            None makes a new figure with both.
        quantity : str or None
            One that all curves hold; None: torque, or the first if there is no torque.
        **line_kws
            For the lines of the differences.

        Returns
        -------
        matplotlib Axes
            The one with the differences.

        Raises
        ------
        InputError
            If there is no such quantity.
        """
        from wavesim.show import plots

        quantity = quantity or self._chosen(None)[0]
        if ax is None or np.size(ax) == 2:
            return plots.plot_comparison(self.pairs, quantity, axes=ax, **line_kws)[-1]
        return plots.plot_difference(self.pairs, quantity, ax=ax, **line_kws)
