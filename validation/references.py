"""Reader of references.csv, the one place where published numbers are written down.

Columns: ``id`` (family and number), ``case`` (the given quantities, ``name=value`` in SI, blanks
between), ``quantity``, ``value``, ``unit``, ``tolerance`` (absolute, in the unit: 0.6 of the last
printed digit, half for rounding and a tenth for numbers rounded twice), ``solver_tolerance`` (what
a simulation may miss it by: ``0.5 %``, ``0.3 dB``, ``0.01 abs``, ``1.5 cells``, or empty),
``source``, ``status`` (R recomputed independently, S confirmed by search, M from memory of the
source, R+M formula from memory and number recomputed).
"""

import csv
from functools import cache
from pathlib import Path
from typing import NamedTuple

PATH = Path(__file__).with_name("references.csv")


class Reference(NamedTuple):
    """One row of the table; `case` is a dict of floats (text where the entry is no number)."""

    id: str
    case: dict
    quantity: str
    value: float
    unit: str
    tolerance: float
    solver_tolerance: str
    source: str
    status: str

    @property
    def label(self):
        """Readable name for a test id."""
        given = ",".join(f"{k}={v}" for k, v in self.case.items())
        return f"{self.id}-{self.quantity}-{given}"


def _number(text):
    try:
        return float(text)
    except ValueError:
        return text


def _row(entry):
    case = dict(pair.split("=", 1) for pair in entry["case"].split())
    return Reference(
        **{
            **entry,
            "case": {k: _number(v) for k, v in case.items()},
            "value": float(entry["value"]),
            "tolerance": float(entry["tolerance"]),
        }
    )


@cache
def _table():
    with PATH.open(newline="", encoding="utf-8") as file:
        return tuple(_row(entry) for entry in csv.DictReader(file))


def references(*ids):
    """Rows of the given ids in the order of the table; all rows without an id."""
    rows = [row for row in _table() if not ids or row.id in ids]
    missing = set(ids) - {row.id for row in rows}
    if missing:
        raise KeyError(f"no rows in {PATH.name} for {sorted(missing)}")
    return rows


def reference(id, quantity, **case):
    """The single row of `id` and `quantity` whose case holds the given entries."""
    found = [
        row
        for row in references(id)
        if row.quantity == quantity and case.items() <= row.case.items()
    ]
    if len(found) != 1:
        raise KeyError(f"{len(found)} rows for {id}, {quantity}, {case}")
    return found[0]
