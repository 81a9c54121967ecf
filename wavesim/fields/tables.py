"""Tables of one quantity against another, read straight between points and held at the ends."""

import csv
import re
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

import numpy as np

from wavesim.errors import (
    LONGEST_VALUE,
    InputError,
    check_choice,
    check_kind,
    check_number,
    shown,
)
from wavesim.fields.description import MISSING, Description, checked, numbers, text
from wavesim.reading import read_text
from wavesim.writing import as_path


@dataclass(frozen=True)
class Table(Description):
    """Piecewise linear function, constant outside its range.

    Parameters
    ----------
    x : sequence of float
        Positions, strictly increasing, at least two.
    y : sequence of float
        Values, as many as `x`.
    name : str
        For messages.

    Raises
    ------
    InputError
        If `x` does not increase, lengths differ or a number is not finite.

    Examples
    --------
    >>> advance = Table([2000, 6000], [8.0, 12.0])
    >>> float(advance(4000)), float(advance(9000))
    (10.0, 12.0)
    """

    x: tuple = numbers("1", -1e12, 1e12)
    y: tuple = numbers("1", -1e12, 1e12)
    name: str = text("")

    @property
    def _owner(self):
        named = isinstance(self.name, str) and self.name
        return f"Table {self.name[:LONGEST_VALUE]!r}" if named else "Table"

    def _check(self):
        check_points(self._owner, "x", self.x, "y", self.y)

    def __call__(self, x: float | np.ndarray) -> float | np.ndarray:
        """Value at `x` (number or array)."""
        return np.interp(x, self.x, self.y)

    @classmethod
    def from_csv(
        cls,
        path: str | Path,
        x: str | None = None,
        y: str | None = None,
        x_scale: float = 1.0,
        y_scale: float = 1.0,
    ) -> "Table":
        """Table from two columns of a CSV file with a header line.

        Parameters
        ----------
        path : str or Path
            The file; lines that start with "#" are skipped.
        x, y : str or None
            Names of the columns; None takes the first and the second.
        x_scale, y_scale : float
            Factors to SI units, such as 1e-3 for a column in mm.

        Raises
        ------
        InputError
            If the file or a column is missing or a cell is no number.
        """
        columns = read_columns(path, (x, y), (x_scale, y_scale))
        return cls(*columns, name=Path(path).name)


def number_or_table(unit, low, high, default=MISSING):
    """Field for a number, or a Table of it against rpm; both limits included."""

    def check(owner, name, value):
        if not isinstance(value, Table):
            return check_number(owner, name, value, unit, low, high)
        for y in value.y:
            check_number(owner, f"{name} table", y, unit, low, high)
        return value

    return checked(check, default, unit=unit, low=low, high=high, kinds=(Table,))


def value_at(value, rpm):
    """Number from a field that may be a Table against rpm.

    Parameters
    ----------
    value : float or Table
        The field.
    rpm : float
        Engine speed [rev/min].
    """
    return float(value(rpm)) if isinstance(value, Table) else value


def check_points(owner, x_name, x, y_name, y):
    """Refuse points of a curve unless x increases strictly and y has as many, at least two."""
    if len(x) != len(y):
        raise InputError(
            f"{owner}: {x_name} has {len(x)} and {y_name} {len(y)} values, "
            "both must have the same number (at least 2)."
        )
    if len(x) < 2:
        raise InputError(
            f"{owner}: {x_name} = {shown(x)} has {len(x)} values, at least 2 are needed."
        )
    for i in range(1, len(x)):
        if x[i] <= x[i - 1]:
            raise InputError(
                f"{owner}: {x_name}[{i}] = {x[i]:g} must be greater than the value before it, "
                f"{x[i - 1]:g} (values must increase strictly)."
            )


def read_columns(path, names, scales):
    """Columns of a CSV file as lists of floats.

    Parameters
    ----------
    path : str or Path
        File with one header line; empty lines and lines that start with "#" are skipped.  Cells
        are separated by commas, or by semicolons or tabs if these stand in the header; then
        numbers may have decimal commas.
    names : sequence of str or None
        Header of each wanted column; None takes the column at the same place as in `names`.
    scales : sequence of float
        Factor applied to each column.

    Returns
    -------
    list of list of float
        One list per wanted column.

    Raises
    ------
    InputError
        If the file cannot be read, a column is missing or a cell is no number.  What stands in a
        cell is never repeated: the file may be somebody's secret that another one's study names.
        The names in the header are, if all below them are numbers.
    """
    path = as_path("CSV", path)
    owner = path.name
    scales = [check_number(owner, "scale", s, "1", 0.0, 1e9, low_open=True) for s in scales]
    header, rows = _cells(owner, read_text(path, owner))
    places = [_place(owner, header, rows, i, name) for i, name in enumerate(names)]
    return [
        [value * scale for value in _numbers(owner, rows, place, names[i])]
        for i, (place, scale) in enumerate(zip(places, scales, strict=True))
    ]


_LIKE_A_NUMBER = r"[+-]?[\d.,]+([eE][+-]?\d+)?"


class Row(NamedTuple):
    """One row of a table that is read: the number of its line, from 1, and its cells."""

    line: int
    cells: list


def _cells(owner, content):
    """Header and rows of a table, with decimal points."""
    lines = [
        (number, line) for number, line in enumerate(content.split("\n"), start=1)
        if line.strip() and line.lstrip()[0] != "#"
    ]  # fmt: skip
    if not lines:
        raise InputError(f"{owner}: the file is empty, a header line is needed.")
    separator = _separator(lines[0][1])
    reader = csv.reader((line for _, line in lines), delimiter=separator)
    rows = []
    try:
        for cells in reader:
            rows.append(Row(lines[reader.line_num - 1][0], [cell.strip() for cell in cells]))
    except csv.Error as error:
        line = lines[min(reader.line_num, len(lines) - 1)][0]
        raise InputError(f"{owner}: line {line} cannot be read as cells of a table.") from error
    header, *rows = rows
    rows = [row for row in rows if any(row.cells)]
    for line, cells in rows:
        if any(cells[len(header.cells) :]):
            hint = "; decimal commas need semicolons between the cells" if separator == "," else ""
            raise InputError(
                f"{owner}: line {line} has {len(cells)} cells, the header {len(header.cells)}"
                f"{hint}."
            )
    if separator != ",":
        rows = with_points(owner, rows)
    return header.cells, rows


def _separator(header):
    outside_quotes = re.sub('"[^"]*"', "", header)
    return next((mark for mark in ";\t" if mark in outside_quotes), ",")


def with_points(owner, rows, advice="leave those out, or write decimal points"):
    """Rows with decimal points instead of decimal commas, where it is clear that these are some.

    Parameters
    ----------
    owner : str
        Who reads, for messages.
    rows : list of Row
    advice : str
        What to do where commas may separate thousands.

    Raises
    ------
    InputError
        If points and commas are mixed, or commas may separate thousands.
    """
    cells = [cell for row in rows for cell in row.cells]
    commas = {cell for cell in cells if "," in cell and re.fullmatch(_LIKE_A_NUMBER, cell)}
    if not commas:
        return rows
    if any("." in cell and cell_number(cell) is not None for cell in cells):
        raise InputError(f"{owner}: the numbers have decimal points and decimal commas, which is "
                         "right is not clear.")
    if all(re.fullmatch(r"[+-]?[1-9]\d{0,2}(,\d{3})+", cell) for cell in commas):
        raise InputError(f"{owner}: whether commas are decimal or separate thousands is not clear; "
                         f"{advice}.")
    points = {cell: cell.replace(",", ".") for cell in commas}
    return [Row(row.line, [points.get(cell, cell) for cell in row.cells]) for row in rows]


def _place(owner, header, rows, place, name):
    """Number of a wanted column."""
    if name is None:
        if place >= len(header):
            raise InputError(f"{owner}: needs {place + 1} columns, found {len(header)}.")
        return place
    check_kind(owner, "column", name, str)
    if header.count(name) > 1:
        raise InputError(f"{owner}: column = {shown(name)} stands {header.count(name)} times in "
                         "the header.")
    if name in header:
        return header.index(name)
    if _is_table(header, rows):
        check_choice(owner, "column", name, header)
    raise InputError(f"{owner}: column = {shown(name)} is not in the header.")


def _is_table(header, rows):
    """True if a file is a table of numbers, whose header gives no secret away."""
    names = [cell for cell in header if cell and len(cell) < 40 and cell_number(cell) is None]
    full = all(len(row.cells) == len(header) and None not in map(cell_number, row.cells)
               for row in rows)
    return len(rows) > 1 and full and len(set(names)) == len(header) > 1


def _numbers(owner, rows, place, name):
    """Numbers of a column."""
    found = []
    for line, cells in rows:
        value = cell_number(cells[place]) if place < len(cells) else None
        if value is None:
            where = f"column {shown(name) if name else place + 1}"
            raise InputError(f"{owner}: line {line} has no number in {where}.")
        found.append(value)
    return found


def cell_number(cell):
    """Float of a cell, or None; Python's own underscores are none of a table.

    Parameters
    ----------
    cell : str

    Examples
    --------
    >>> cell_number("8.5"), cell_number("1_000")
    (8.5, None)
    """
    try:
        return None if "_" in cell else float(cell)
    except ValueError:
        return None
