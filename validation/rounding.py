"""What rounding leaves of a law that is kept exactly, on any processor.

What leaves a cell, store or wall enters the next to the last bit; left is the rounding of the sums
on both sides.  In a step, `ROUNDINGS` results that depend on each other are rounded for a cell: the
two factors of each of its two fluxes, their two products, the difference, and the sum.  Each is
off by at most half of 2.2e-16 of what the cell holds, evenly spread, so by 2.2e-16 / sqrt(12) in
the mean of squares (IEEE 754, doubles).  Over n steps such errors walk at random, to

    2.2e-16 sqrt(ROUNDINGS n / 12),

and `SURE` times that is met by one in two million.  Sums over N cells that hold alike have errors
smaller by sqrt(N).  Gas at rest under a pressure p is pushed by the rounding of p, by no more than
that share of the sound speed in a step, for a step is no longer than sound needs for a cell.
"""

from math import sqrt
from sys import float_info

ROUNDINGS = 8  # two factors and a product for two fluxes, their difference, the sum: cells.py
SURE = 5.0  # standard deviations
WHY = (
    "Every flux is added on one side and taken off on the other; eight roundings a step, each of "
    "up to half of 2.2e-16, walk at random; five times their mean after so many steps "
    "(rounding.py)."
)


def left(steps, cells=1):
    """Relative error that rounding may leave after so many steps in the sum of some cells."""
    return SURE * float_info.epsilon * sqrt(ROUNDINGS * steps / (12.0 * cells))


def left_in_cycle(audit):
    """The same for the last cycle of an engine, whose `Point.audit` is given."""
    return left(audit["steps"] / audit["cycles"])


def bound(share):
    """As the `allowed` of a Check."""
    return f"{share:.2g} abs"
