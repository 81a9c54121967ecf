"""Tables of one quantity against another, read straight between points and held at the ends."""

import csv
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from wavesim.errors import InputError, check_choice, check_number
from wavesim.fields.description import MISSING, Description, checked, numbers, text


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
        return f"Table {self.name!r}" if self.name else "Table"

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
        return cls(*read_columns(path, (x, y), (x_scale, y_scale)), name=Path(path).name)


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
        raise InputError(f"{owner}: {x_name} = {x!r} has {len(x)} values, at least 2 are needed.")
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
        File with one header line; empty lines and lines that start with "#" are skipped.
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
        If the file cannot be read, a column is missing or a cell is no number.
    """
    path = Path(path)
    scales = [check_number(path.name, "scale", s, "1", 0.0, 1e9, low_open=True) for s in scales]
    try:
        lines = path.read_text(encoding="utf-8-sig").splitlines()
    except OSError as error:
        raise InputError(f"{path.name}: cannot read the file {str(path)!r}.") from error
    rows = list(csv.reader(line for line in lines if line.strip() and line.lstrip()[0] != "#"))
    if not rows:
        raise InputError(f"{path.name}: the file is empty, a header line is needed.")
    header = [cell.strip() for cell in rows[0]]
    columns = [_column_index(path, header, i, name) for i, name in enumerate(names)]
    return [
        [_cell(path, row, j, header) * scale for row in rows[1:]]
        for j, scale in zip(columns, scales, strict=True)
    ]


def _column_index(path, header, place, name):
    if name is not None:
        return header.index(check_choice(path.name, "column", name, header))
    if place >= len(header):
        raise InputError(f"{path.name}: needs {place + 1} columns, found {len(header)}: {header}.")
    return place


def _cell(path, row, column, header):
    cell = row[column].strip() if column < len(row) else ""
    try:
        return float(cell)
    except ValueError:
        raise InputError(
            f"{path.name}: {cell!r} in column {header[column]!r} is not a number."
        ) from None
