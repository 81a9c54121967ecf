"""The guard, the root finder and a type of the exact room."""

import numpy as np

from wavesim.errors import InputError

#: One number or an array of them.
Numbers = float | np.ndarray


def require(ok, message):
    """Raise `InputError` with `message` unless `ok` (a truth value or an array of them) holds."""
    if not np.all(ok):
        raise InputError(message)


def root(function, low, high):
    """Root of `function` between `low` and `high`, to round-off."""
    from scipy.optimize import brentq

    return brentq(function, low, high, xtol=1e-15, rtol=1e-14, maxiter=500)
