"""Loops over cells that stand in those which `translate.together` makes for a GPU, and only there.

They are written as those of `wavesim.kernels` are; only what they call is a function of its own.
"""

import numpy as np

from wavesim.gpu.target import part
from wavesim.kernels import flat as f

I1 = np.uintp(1)


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


@part
def faces_of(listed, Q, i, rm, um, pm, rp, up, pp):
    """Face values of a cell: those given, or what `tapers.taper_faces` has found."""
    if is_among(listed, i):
        return Q[f.RM, i], Q[f.UM, i], Q[f.PM, i], Q[f.RP, i], Q[f.UP, i], Q[f.PP, i]
    return rm, um, pm, rp, up, pp


@part
def keep(Q, i, is_inside, rm, um, pm, rp, up, pp, half_f, half_b, per_mass):
    """Write what `nodes.inner_states` reads, which is that of cells at ends of ducts."""
    if not is_inside:
        Q[f.RM, i], Q[f.UM, i], Q[f.PM, i], Q[f.RP, i], Q[f.UP, i], Q[f.PP, i] = (
            rm, um, pm, rp, up, pp)
        Q[f.HALF_F, i], Q[f.HALF_B, i], Q[f.PER_MASS, i] = half_f, half_b, per_mass


def take_tapers(n, listed, Q, rm, um, pm, rp, up, pp):
    """Face values of steep tapers in the place of those that take the state as linear."""
    for i in range(I1, np.uintp(n) - I1):
        rm[i], um[i], pm[i], rp[i], up[i], pp[i] = faces_of(
            listed, Q, i, rm[i], um[i], pm[i], rp[i], up[i], pp[i])


def keep_at_ends(n, inv_dx, Q, rm, um, pm, rp, up, pp, half_f, half_b, per_mass):
    """Write what else than the march of the interior reads; ghosts have no length."""
    for i in range(I1, np.uintp(n) - I1):
        keep(Q, i, inv_dx[i - I1] * inv_dx[i + I1] > 0.0, rm[i], um[i], pm[i], rp[i], up[i], pp[i],
             half_f[i], half_b[i], per_mass[i])


def wall_pressure(n, pm, pp, mean):
    """All that an update needs to know of the face values: their mean, in the place of either."""
    for i in range(I1, np.uintp(n) - I1):
        mean[i] = 0.5 * (pm[i] + pp[i])


def find_per_z(n, r, c, per_z):
    """As `cells.reconstruct` finds it; to divide takes less than to write and to read it."""
    for i in range(np.uintp(n) - I1):
        per_z[i] = 1.0 / (r[i] * c[i])


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
