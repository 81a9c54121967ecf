"""Files that a dynamometer writes: columns of any names, in SI units.

A log is a table of text in whatever form its maker chose: commas, semicolons or tabs between the
cells, decimal commas, lines about the test above the header, remarks, a row of units below it.  The
user says which column is which quantity, and in which unit, and nothing is guessed beyond the form.
Where the file states units of its own they are held against those of the user.
"""

import csv
import re
from collections.abc import Mapping
from math import isfinite, nan, pi
from typing import NamedTuple

import numpy as np

from wavesim.errors import InputError, check_choice, check_kind, nearest, shown, shown_path
from wavesim.fields.tables import Row, cell_number, with_points
from wavesim.measures import in_unit, is_stated
from wavesim.reading import read_text
from wavesim.show.quantities import QUANTITIES
from wavesim.units import metric_hp
from wavesim.writing import as_path

MOST_ROWS = 100_000
SEPARATORS = (";", "\t", ",", "|")
REMARKS = ("#", "//", "%")
_SEARCHED = 300  # lines in which the header is looked for
_WITHOUT = {"", "-", "--", "---", "n/a", "na", "nan", "null", "none", "#n/a"}  # cells of no number

#: What is measured beside the quantities of a point: SI unit by name.
WEATHER = {"barometer": "Pa", "inlet_air_temperature": "K", "relative_humidity": "1"}
#: SI unit of all that is known, by name.
SI_UNITS = {"rpm": "rev/min", **WEATHER, **{name: known.unit for name, known in QUANTITIES.items()}}

#: Units as dynamometers write them, in small letters: (factor, unit of `wavesim.measures`).
_WORDS = {
    **dict.fromkeys(("nm", "n.m", "n-m", "n*m", "newton metres", "newton meters"), (1.0, "N m")),
    **dict.fromkeys(("lb ft", "lbft", "lb-ft", "lb.ft", "lbs ft", "lbs-ft", "ft lb", "ft-lb",
                     "ftlb", "ft.lb", "ft lbs", "ft-lbs", "lbf ft", "lbf-ft", "lbf.ft", "ft lbf",
                     "ft-lbf"), (1.0, "lbf foot")),
    **dict.fromkeys(("lb in", "lb-in", "in lb", "in-lb", "lbf in", "in lbf"), (1.0, "lbf inch")),
    **dict.fromkeys(("kgf m", "kgf-m", "kgm", "kg m", "kg-m", "mkg", "mkp", "kpm"),
                    (metric_hp / 75.0, "N m")),
    **dict.fromkeys(("ps", "cv", "ch", "pk", "metric hp"), (metric_hp, "W")),
    **dict.fromkeys(("hp", "bhp"), (1.0, "hp")), "kw": (1.0, "kW"), "w": (1.0, "W"),
    **dict.fromkeys(("rpm", "1/min", "/min", "min-1", "min^-1", "r/min", "u/min", "rev/min"),
                    (1.0, "rev/min")),
    **dict.fromkeys(("rps", "r/s", "rev/s", "1/s", "hz"), (1.0, "rev/s")),
    **dict.fromkeys(("krpm", "rpm x1000", "x1000 rpm", "rpm/1000"), (1000.0, "rev/min")),
    "rad/s": (30.0 / pi, "rev/min"),
    **dict.fromkeys(("c", "deg c", "degc", "°c", "celsius"), (1.0, "degC")),
    **dict.fromkeys(("f", "deg f", "degf", "°f", "fahrenheit"), (1.0, "degF")), "k": (1.0, "K"),
    "kg/hr": (1.0, "kg/h"), "lb/hr": (1.0, "lb/h"), "lbs/hr": (1.0, "lb/h"), "g/hr": (1.0, "g/h"),
    "% rh": (1.0, "%"), "%rh": (1.0, "%"), "kpa": (1.0, "kPa"), "hpa": (1.0, "hPa"),
    "inhg": (1.0, "inHg"), "in hg": (1.0, "inHg"), "mm hg": (1.0, "mmHg"),
}  # fmt: skip
_NO_UNIT = ("", "1", "-", "lambda", "afr", "ratio", ":1")
#: Units that a message offers, by SI unit.
_OFFERED = {
    "N m": "'N m', 'lb ft', 'kgf m'", "W": "'kW', 'hp', 'PS'", "rev/min": "'rpm', 'rev/s'",
    "Pa": "'mbar', 'kPa', 'bar', 'inHg', 'psi'", "K": "'degC', 'degF', 'K'", "1": "'%', '1'",
    "kg/s": "'kg/h', 'g/s', 'lb/h'", "kg/J": "'g/(kW h)'",
}  # fmt: skip


class Wanted(NamedTuple):
    """A column that the user wants.

    Attributes
    ----------
    quantity : str
    heading : str
        Of the column.
    unit : str or None
        As the user states it.
    si : str or None
        SI unit of the quantity; None: it is kept in the unit that is stated.
    """

    quantity: str
    heading: str
    unit: str | None
    si: str | None


class Log(NamedTuple):
    """What was read of a file.

    Attributes
    ----------
    owner : str
        Name of the file, for messages.
    lines : ndarray of int, (n,)
        Where each row stands in the file.
    values : dict of str to ndarray, each (n,)
        By quantity, in SI units where it has one; NaN in empty cells.
    units : dict of str to str
        Of those that are no key of `QUANTITIES`.
    factors : dict of str to float
        SI value of the unit in which each stood in the file.
    """

    owner: str
    lines: np.ndarray
    values: dict
    units: dict
    factors: dict


def read_log(path, columns, decimal=None):
    """Columns of a file of a dynamometer.

    Parameters
    ----------
    path : str or Path
    columns : sequence of Wanted
    decimal : str or None
        Mark before the decimals, "." or ","; None: what the numbers show.

    Returns
    -------
    Log

    Raises
    ------
    InputError
        If the file or a column is missing, a cell is no number, a unit is unknown, or the file
        states another one.
    """
    path = as_path("read_pulls", path)
    owner = path.name if path.name.isprintable() else shown_path(path)
    lines = [
        (number, line) for number, line in enumerate(read_text(path, owner).split("\n"), start=1)
        if line.strip() and not line.lstrip().startswith(REMARKS)
    ]  # fmt: skip
    if not lines:
        raise InputError(f"{owner}: the file is empty, a line with the names of the columns is "
                         "needed.")
    start, separator, places = _header(owner, lines, columns)
    header, *rows = _rows(owner, lines[start:], separator)
    stated = [_bracket(header.cells[place]) for place in places]
    if rows and _is_of_units(rows[0], places, columns):
        below = rows.pop(0).cells
        stated = [_plain_unit(below[place]) if place < len(below) else unit
                  for place, unit in zip(places, stated, strict=True)]
    if len(rows) > MOST_ROWS:
        raise InputError(f"{owner}: the table has {len(rows)} rows, at most {MOST_ROWS} are read.")
    if not rows:
        raise InputError(f"{owner}: no row of numbers stands below the names of the columns.")
    chosen = _chosen(owner, header, rows, places, separator)
    chosen = _decimals(owner, chosen, decimal)
    values, of_one = {}, {}
    for i, (one, unit) in enumerate(zip(columns, stated, strict=True)):
        of_one[one.quantity], zero = _conversion(owner, one, unit)
        numbers = _numbers(owner, chosen, i, one.heading)
        with np.errstate(over="ignore"):
            values[one.quantity] = of_one[one.quantity] * numbers + zero
    units = {one.quantity: one.si or one.unit for one in columns
             if one.quantity not in ("rpm", *QUANTITIES)}
    return Log(owner, np.array([row.line for row in chosen]), values, units, of_one)


def wanted_columns(owner, columns):
    """Checked columns that the user names.

    Parameters
    ----------
    owner : str
        Who asks, for messages.
    columns : mapping of str to str or (str, str)
        Heading, or heading and unit, by quantity.

    Raises
    ------
    InputError
        If there is no speed, a quantity has no unit, or something is no text.
    """
    check_kind(owner, "columns", columns, Mapping, what="a mapping from quantities to the headings "
               "of their columns, or to pairs of heading and unit")
    if "rpm" not in columns:
        raise InputError(f"{owner}: columns must name that of the speed, such as "
                         "{'rpm': ('Speed', 'rpm')}.")
    if len(columns) < 2:
        raise InputError(f"{owner}: columns must name one at least beside the speed.")
    return [_wanted(owner, quantity, given) for quantity, given in columns.items()]


def _wanted(owner, quantity, given):
    check_kind(owner, "columns", quantity, str, what="names of quantities")
    pair = (given, None) if isinstance(given, str) else given
    texts = isinstance(pair, (tuple, list)) and len(pair) == 2 and isinstance(pair[0], str)
    if not texts or not isinstance(pair[1], (str, type(None))):
        raise InputError(f"{owner}: columns[{quantity!r}] = {shown(given)} must be the heading of "
                         "a column, or a pair of heading and unit.")
    heading, unit = pair
    if not heading.strip():
        raise InputError(f"{owner}: columns[{quantity!r}] = {shown(given)} names no column.")
    si = SI_UNITS.get(quantity)
    if si is None and unit is None:
        raise InputError(
            f"{owner}: {quantity!r} is no known quantity, its unit must be stated as in "
            f"('heading', 'unit'){nearest(quantity, SI_UNITS)}"
        )
    if si is not None and unit is not None:
        _factors(owner, quantity, unit, si)
    return Wanted(quantity, heading, unit, si)


# --- units ----------------------------------------------------------------------------------------


def factors(unit, si):
    """(factor, zero) of a unit, so that factor times a number plus zero is the SI value.

    Parameters
    ----------
    unit : str
        As people write it, such as "Nm" or "lb-ft".
    si : str
        SI unit.

    Raises
    ------
    ValueError
        If the unit is not known or of another dimension.

    Examples
    --------
    >>> factors("Nm", "N m"), factors("°C", "K")
    ((1.0, 0.0), (1.0, 273.15))
    >>> round(factors("lb-ft", "N m")[0], 6), round(factors("PS", "W")[0], 3)
    (1.355818, 735.499)
    """
    word = " ".join(unit.replace("·", ".").split())
    word = re.sub(r"\s*(\(?abs\.?\)?|\(a\))$", "", word)
    if si == "1" and word.lower() in _NO_UNIT:
        return 1.0, 0.0
    times, word = _WORDS.get(word.lower(), (1.0, word))
    if not is_stated(f"1 {word}"):
        raise ValueError("is no unit")
    zero = in_unit(f"0 {word}", si)
    return times * (in_unit(f"1 {word}", si) - zero), zero


def _factors(owner, quantity, unit, si):
    try:
        return factors(unit, si)
    except ValueError as error:
        offered = _OFFERED.get(si, f"{si!r}")
        raise InputError(f"{owner}: unit of {quantity} = {shown(unit)} is not one for it, must be "
                         f"such as {offered}.") from error


def _conversion(owner, column, in_file):
    """(factor, zero) of a column; InputError where the user and the file do not agree."""
    if column.si is None:
        return 1.0, 0.0
    try:
        own = factors(in_file, column.si) if in_file else None
    except ValueError:  # words that mean something to its maker
        own = None
    if column.unit is None:
        if own is not None:
            return own
        if column.si in ("1", "rev/min"):
            return 1.0, 0.0
        offered = _OFFERED.get(column.si, f"{column.si!r}")
        raise InputError(f"{owner}: the unit of {column.quantity} stands neither in the file nor "
                         f"in columns; give (heading, unit), with a unit such as {offered}.")
    stated = factors(column.unit, column.si)
    if own is not None and not np.allclose(own, stated, rtol=1e-4, atol=0.0):
        than = (f"one that is {own[0] / stated[0]:.5g} times as large" if own[1] == stated[1]
                else "another scale")
        raise InputError(f"{owner}: {column.quantity} is said to be in {shown(column.unit)}, but "
                         f"the unit in the file is {than}.")
    return stated


# --- the form of the file -------------------------------------------------------------------------


def _header(owner, lines, columns):
    """Line among `lines` that holds the names of the columns, what separates them, their places."""
    best, found = [], None
    for i, (_, line) in enumerate(lines[:_SEARCHED]):
        for separator in SEPARATORS:
            cells = _cells_of_line(line, separator)
            named = [one for one in columns if _places(cells, one.heading)]
            if len(named) > len(best):
                best, found = named, (i, separator, cells)
        if len(best) == len(columns):
            break
    if len(best) < len(columns):
        missing = next(one for one in columns if one not in best)
        # Names are offered only where others of the line were known: it is the user's own table.
        hint = nearest(missing.heading, found[2]) if found else "."
        raise InputError(f"{owner}: no line holds the column {shown(missing.heading)} of "
                         f"{missing.quantity}{' beside the others' if best else ''}{hint}")
    start, separator, cells = found
    places = []
    for one in columns:
        there = _places(cells, one.heading)
        if len(there) > 1:
            raise InputError(f"{owner}: the column {shown(one.heading)} stands {len(there)} times "
                             "in the header.")
        places += there
    return start, separator, places


def _cells_of_line(line, separator):
    try:
        return [cell.strip() for cell in next(csv.reader([line], delimiter=separator))]
    except (csv.Error, StopIteration):
        return []


def _places(cells, heading):
    """Places of a heading: as it is written, else in any letters, else without its unit."""
    wanted = " ".join(heading.split())
    plain = [" ".join(cell.split()) for cell in cells]
    for form in (str, str.casefold, lambda text: _without_bracket(text).casefold()):
        there = [i for i, cell in enumerate(plain) if cell and form(cell) == form(wanted)]
        if there:
            return there
    return []


_UNIT = re.compile(r"\s*[\[(]([^\[\]()]*(?:\([^()]*\))?[^\[\]()]*)[\])]\s*$")


def _without_bracket(heading):
    return _UNIT.sub("", heading) or heading


def _bracket(heading):
    """Unit in brackets behind a heading, or an empty text."""
    found = _UNIT.search(heading[:200])
    return found[1].strip() if found else ""


def _rows(owner, lines, separator):
    """Rows of cells from the header on."""
    reader = csv.reader((line for _, line in lines), delimiter=separator)
    rows, first = [], 0
    try:
        for cells in reader:
            if reader.line_num > first + 1:
                raise InputError(f"{owner}: line {lines[first][0]} holds a quote that is not "
                                 "closed.")
            rows.append(Row(lines[first][0], [cell.strip() for cell in cells]))
            first = reader.line_num
    except csv.Error as error:
        raise InputError(f"{owner}: line {lines[min(first, len(lines) - 1)][0]} cannot be read as "
                         "cells of a table.") from error
    return [rows[0], *(row for row in rows[1:] if any(row.cells))]


def _is_of_units(row, places, columns):
    """True for a row that holds a unit for a wanted quantity and no number but 1."""
    cells = [row.cells[place] if place < len(row.cells) else "" for place in places]
    if any(cell != "1" and cell_number(cell.replace(",", ".")) is not None for cell in cells):
        return False
    return any(cell and one.si and _is_unit(_plain_unit(cell), one.si)
               for cell, one in zip(cells, columns, strict=True))


def _is_unit(word, si):
    try:
        factors(word, si)
    except ValueError:
        return False
    return word.lower() not in _WITHOUT


def _plain_unit(cell):
    """A unit without the brackets around it."""
    return cell[1:-1].strip() if cell[:1] + cell[-1:] in ("[]", "()") else cell


def _chosen(owner, header, rows, places, separator):
    """Rows with the wanted cells alone."""
    chosen, last = [], max(places)
    for line, cells in rows:
        if any(cells[len(header.cells) :]):
            hint = "; decimal commas need semicolons between the cells" if separator == "," else ""
            raise InputError(f"{owner}: line {line} has {len(cells)} cells, the header "
                             f"{len(header.cells)}{hint}.")
        if cells == header.cells:
            raise InputError(f"{owner}: line {line} holds the names of the columns once more; "
                             "split the file into its logs.")
        if len(cells) <= last:
            count = f"{len(cells)} cell{'s' * (len(cells) != 1)}"
            raise InputError(f"{owner}: line {line} ends after {count}, before the column "
                             f"{shown(header.cells[len(cells)])}.")
        chosen.append(Row(line, [cells[place] for place in places]))
    return chosen


def _decimals(owner, rows, decimal):
    if decimal is None:
        return with_points(owner, rows, "say decimal=',' if they are decimal, or leave them out")
    check_choice("read_pulls", "decimal", decimal, (".", ","))
    if decimal == ".":
        return rows
    # A point separates thousands then, if anything: two marks of decimals make no number.
    return [Row(line, [cell.replace(".", "..").replace(",", ".") for cell in cells])
            for line, cells in rows]


def _numbers(owner, rows, place, heading):
    """Numbers of a column, NaN where its cell is empty."""
    found = []
    for line, cells in rows:
        cell = cells[place]
        value = nan if cell.lower() in _WITHOUT else cell_number(cell)
        if value is None:
            raise InputError(f"{owner}: line {line} has no number in the column {shown(heading)}.")
        if not isfinite(value) and cell.lower() not in _WITHOUT:
            raise InputError(f"{owner}: line {line} has no finite number in the column "
                             f"{shown(heading)}.")
        found.append(value)
    return np.array(found)
