"""Where a speed curve needs more speeds: where it bends, jumps, or crosses another one.

Between two speeds a curve is drawn as a straight line.  The line is believed unless a smooth curve
through the neighbours leaves it by more than `SHARE` of the largest torque, or two curves change
places there.
"""

import numpy as np

SHARE = 0.01  # of the largest torque by which a straight line may miss
REFINE_RANGE = (10.0, 5000.0)  # [rev/min]
_ROUND = 1.0  # speeds are added on whole rev/min


def speeds_to_add(sweeps, closest):
    """Speeds in the middle of the spans where a straight line is not to be trusted.

    Parameters
    ----------
    sweeps : sequence of Sweep
        The base first.
    closest : float
        Least distance of two speeds [rev/min].

    Returns
    -------
    list of float
        In increasing order [rev/min]; empty where all lines are good, or speeds stand as close as
        they may.
    """
    known = np.unique(np.concatenate([[*sweep.rpm, *sweep.failures] for sweep in sweeps]))
    doubtful = set()
    for sweep in sweeps:
        doubtful |= _bent(sweep.rpm, sweep["torque"]) if len(sweep) > 2 else set()
    for other in sweeps[1:]:
        doubtful |= _crossed(sweeps[0], other)
    found = set()
    for low, high in doubtful:
        middle = _ROUND * round(0.5 * (low + high) / _ROUND)
        is_far = min(middle - low, high - middle) >= closest - 0.5 * _ROUND
        if is_far and not np.any(np.abs(known - middle) < closest - 0.5 * _ROUND):
            found.add(float(middle))
    return sorted(found)


def _bent(x, y):
    """Spans (low, high) whose middle a line may miss.

    A line over a span of width h misses the middle of a smooth curve by h^2 y'' / 8.  The second
    derivative is that of the parabola through three neighbours, the larger of those at both ends.
    """
    left, right = np.diff(x)[:-1], np.diff(x)[1:]
    slopes = np.diff(y) / np.diff(x)
    bend = np.abs(2.0 * np.diff(slopes) / (left + right))
    at_ends = np.concatenate([[bend[0]], bend, [bend[-1]]])
    width = np.diff(x)
    missed = width**2 * np.maximum(at_ends[:-1], at_ends[1:]) / 8.0
    bad = missed > SHARE * np.abs(y).max()
    return {(float(x[i]), float(x[i + 1])) for i in np.flatnonzero(bad)}


def _crossed(base, other):
    """Spans in which one curve overtakes the other beyond what the cycles repeat."""
    common = np.intersect1d(base.rpm, other.rpm)
    a, b = (curve["torque"][np.isin(curve.rpm, common)] for curve in (base, other))
    clear = np.abs(b - a) > base.tolerance * np.abs(a) + other.tolerance * np.abs(b)
    places = np.flatnonzero(clear)
    return {
        (float(common[i]), float(common[j]))
        for i, j in zip(places, places[1:], strict=False)
        if (b[i] > a[i]) != (b[j] > a[j])
    }
