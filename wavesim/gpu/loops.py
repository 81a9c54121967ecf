"""Loops over cells that stand in those which `translate.together` makes for a GPU, and only there.

They are written as those of `wavesim.kernels` are, and never called by themselves.
"""

import numpy as np

from wavesim.gpu.target import part


@part
def is_among(listed, i):
    """True if cell `i` is one of a few that are listed."""
    is_found = False
    for q in range(listed.shape[0]):
        is_found = is_found or np.uintp(listed[q]) == i
    return is_found


@part
def force_on(listed, push, i):
    """Force of the wall [N] on a cell of a steep taper, 0 on any other."""
    return push[i] if is_among(listed, i) else 0.0


def add_push(n, dt, inv_vol, push, listed, m):
    """As `tapers.push_tapers`, cell by cell."""
    for i in range(np.uintp(n)):
        m[i] += dt * inv_vol[i] * force_on(listed, push, i)


def highest_rate(n, w, inv_dx, listed):
    """As `cells.largest`, as bits.

    What an update leaves in ghost cells is not gas, and steep tapers have rates of their own.
    """
    top = np.int64(0)
    for i in range(np.uintp(n)):
        counts = inv_dx[i] > 0.0 and not is_among(listed, i)
        top = max(top, np.float64(w[i]).view(np.int64) if counts else np.int64(0))
    return top
