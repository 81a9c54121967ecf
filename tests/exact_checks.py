"""Shared by the exact-solution tests: compare a row of the reference table with a calculation."""

import pytest
from references import references


def rows(calls):
    """Parametrise a test over every table row of the ids in `calls`."""
    found = references(*calls)
    return pytest.mark.parametrize("row", found, ids=[row.label for row in found])


def check(calls, row):
    """Assert that the calculation of the row's id gives the row's value within its tolerance."""
    computed = calls[row.id](**row.case)[row.quantity]
    assert computed == pytest.approx(row.value, rel=1e-12, abs=row.tolerance)
