"""Results as tables: CSV files, data frames, and what a notebook shows.

A result says its columns, once, in SI units; files and data frames are made of them here.  What a
notebook shows is text for people, in the units of a workshop, and every piece of it is escaped.
"""

import csv
import io
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from wavesim.guard import guarded
from wavesim.writing import begins_with, whole_file, write_signed

if TYPE_CHECKING:
    from pandas import DataFrame
    from xarray import Dataset


class Column(NamedTuple):
    """One column of a table.

    Attributes
    ----------
    name : str
        Of the quantity.
    unit : str
        SI unit; empty for what is no quantity, such as names.
    values : sequence or ndarray
        One for each row.
    """

    name: str
    unit: str
    values: Sequence | np.ndarray

    @property
    def heading(self) -> str:
        """Name and unit, such as "torque [N m]"."""
        return f"{self.name} [{self.unit}]" if self.unit else self.name

    def plain(self) -> list:
        """Values as Python's own numbers and texts."""
        return self.values.tolist() if isinstance(self.values, np.ndarray) else list(self.values)


def write_csv(
    owner: str, path: str | Path, columns: Iterable[Column], notes: Iterable[str] = ()
) -> None:
    """Write columns to a CSV file: notes, then names with units, then rows with every digit.

    Parameters
    ----------
    owner : str
        Class of the result, for messages.
    path : str or Path
        The file; one that was written so is replaced: with notes unless it was edited since,
        without them if it has the same columns.
    columns : iterable of Column
        All of the same length.  Rows with a "#" in a cell are put in quotes.
    notes : iterable of str
        Lines that each get a "# " in front; readers skip them as comments.

    Raises
    ------
    InputError
        If the file cannot be written, or another one is there.
    """
    columns = list(columns)
    rows = zip(*(column.plain() for column in columns), strict=True)
    text = io.StringIO(newline="")
    out, quoting = csv.writer(text), csv.writer(text, quoting=csv.QUOTE_ALL)
    for note in notes:
        one_line = " ".join(note.splitlines())
        text.write(f"# {one_line}{out.dialect.lineterminator}")
    for row in ([column.heading for column in columns], *rows):
        (quoting if any("#" in str(cell) for cell in row) else out).writerow(row)
    if notes:
        write_signed(path, owner, text.getvalue())
        return
    heading = text.getvalue().partition("\n")[0].encode()
    with whole_file(path, owner, text=True, is_own=begins_with(heading)) as file:
        file.write(text.getvalue())


def data_frame(columns: Iterable[Column], index: str | None = None) -> "DataFrame":
    """Columns as a pandas DataFrame.

    Parameters
    ----------
    columns : iterable of Column
        All of the same length.
    index : str or None
        Name of the column that becomes the index.

    Returns
    -------
    pandas.DataFrame
        Columns carry their names, and their unit where a name is there twice;
        `frame.attrs["units"]` holds the SI units by name.

    Raises
    ------
    ImportError
        If pandas is not installed.
    """
    try:
        import pandas
    except ImportError as error:
        raise ImportError(
            "to_frame needs pandas, which is not installed: pip install pandas."
        ) from error
    named = {}
    for column in columns:
        named[column.heading if column.name in named else column.name] = column
    frame = pandas.DataFrame({name: column.plain() for name, column in named.items()})
    if index is not None:
        frame = frame.set_index(index)
    frame.attrs["units"] = {name: column.unit for name, column in named.items() if column.unit}
    return frame


def data_set(columns: Iterable[Column], index: str, title: str = "") -> "Dataset":
    """Columns as an xarray Dataset along one of them.

    Parameters
    ----------
    columns : iterable of Column
        All of the same length.
    index : str
        Name of the column that becomes the coordinate.
    title : str
        Attribute of the data set.

    Returns
    -------
    xarray.Dataset
        Every variable has its SI unit in `attrs["units"]`.

    Raises
    ------
    ImportError
        If xarray is not installed.
    """
    try:
        import xarray
    except ImportError as error:
        raise ImportError(
            "to_xarray needs xarray, which is not installed: pip install xarray."
        ) from error
    made = {
        column.name: (index, np.asarray(column.plain()), {"units": column.unit})
        for column in columns
    }
    coordinate = {index: made.pop(index)}
    return xarray.Dataset(made, coordinate, {"title": title} if title else {})


class Sheet(NamedTuple):
    """What people see of a result as a table.

    Attributes
    ----------
    rows : list of list of str
        Cells, the heading first.
    caption : str
        Above the table.
    notes : sequence of str
        Sentences below it.
    heads : int
        How many of the rows belong to the heading.
    """

    rows: list
    caption: str = ""
    notes: Sequence[str] = ()
    heads: int = 1

    def html(self) -> str:
        """The table for a notebook; names and texts of the user cannot act as markup."""
        from html import escape  # its list of entities takes as long to load as all of this module

        def lines(rows, tag):
            cells = ("".join(f"<{tag}>{escape(str(cell))}</{tag}>" for cell in row) for row in rows)
            return "".join(f"<tr>{one}</tr>" for one in cells)

        head = lines(self.rows[: self.heads], "th")
        body = lines(self.rows[self.heads :], "td")
        above = f"<caption>{escape(self.caption)}</caption>" if self.caption else ""
        below = "".join(f"<p>{escape(note)}</p>" for note in self.notes)
        return f"<table>{above}<thead>{head}</thead><tbody>{body}</tbody></table>{below}"


@guarded
class Tabular:
    """Base of results that are tables.

    A class says its columns for files and data frames (`_columns`, with the name of the one that
    is the index of a frame in `_index`), what they mean (`_meanings`), and what people are shown
    (`_sheet`).
    """

    _index: str | None = None

    def _columns(self) -> Iterable[Column]:
        raise NotImplementedError

    def _meanings(self) -> Iterable[str]:
        return ()

    def _sheet(self) -> Sheet:
        raise NotImplementedError

    def to_csv(self, path: str | Path) -> None:
        """Write the result to a CSV file, SI units in the header.

        Lines that begin with "#" say what is in it.

        Parameters
        ----------
        path : str or Path
            The file; an existing one is overwritten.

        Raises
        ------
        InputError
            If the file cannot be written.
        """
        write_csv(type(self).__name__, path, self._columns(), self._meanings())

    def to_frame(self) -> "DataFrame":
        """The result as a pandas DataFrame, in SI units.

        Returns
        -------
        pandas.DataFrame
            Its columns carry the names of the quantities; `frame.attrs["units"]` holds their
            units by name.

        Raises
        ------
        ImportError
            If pandas is not installed (`pip install pandas`).
        """
        return data_frame(self._columns(), self._index)

    def _repr_html_(self) -> str:
        return self._sheet().html()
