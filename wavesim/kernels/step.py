"""What every step of every scheme does: the frame round the interior of the ducts.

One step:
    1. primitive values of all cells, largest wave speed, step size;         `open_step`
    2. samples that fall into the step;
    3. exchange through perforated walls, packings; wall coefficients;
    4. what the scheme makes of the interior up to the duct ends;
    5. stores half a step ahead, nodes at all duct ends;                     `solve_ends_ahead`
    6. what the scheme makes of the new end fluxes;
    7. stores, sums, clock.                                                  `close_step`
Steps 4 and 6 stand in `march` and `characteristics`.
"""

import math

import numpy as np

from . import cells
from . import flat as f
from .constants import PERFECT
from .cylinder import volume
from .jit import leaf, part, stage
from .nodes import F_BURNED, F_ENE, F_FRESH, F_MASS, FP, FV, hand_over, solve_ends
from .openings import spare_small_stores
from .perforate import exchange
from .stores import store_now, stores_ahead, stores_rate, stores_step
from .tapers import taper_rates

GO_ON = -1  # no status: there is a step to take


@stage
def primitives(net, state, work):
    """Fill the primitive rows; returns the largest (|u|+c)/dx, not finite if a state is bad."""
    n = net.area.shape[0] - 1
    U = state.U
    W = work.W
    if net.gas_kind == PERFECT:
        cells.primitives_perfect(
            n, U[f.R], U[f.M], U[f.E], state.T, W[f.U], W[f.P], W[f.C], W[f.RATE],
            net.cells[f.INV_DX], net.gas_R[0], net.gas_coef[0, 1] * 1e-3,
        )
        if net.options[f.MIXED] > 0.0:
            cells.fractions(n, U[f.R], U[f.Y1], U[f.Y2], W[f.YF], W[f.YB])
    else:
        cells.primitives_mixture(
            n, U[f.R], U[f.M], U[f.E], U[f.Y1], U[f.Y2], state.T, W[f.U], W[f.P], W[f.C], W[f.YF],
            W[f.YB], W[f.RATE], net.cells[f.INV_DX], net.gas_R, net.gas_coef,
        )
    if net.taper.shape[0] > 0:
        taper_rates(net.taper, W[f.U], W[f.C], net.cells[f.VOL], net.area, W[f.RATE])
    return cells.largest(n, W[f.RATE])


@part
def reset_ghosts(net, state):
    """Give ghost cells the state of the cell beside them, so that loops meet only sound gas."""
    for k in range(net.end_int.shape[0]):
        i = net.end_int[k, f.END_CELL]
        step = 1 if net.end_par[k, f.SIGN] > 0.0 else -1
        i, near, far = np.uintp(i), np.uintp(i + step), np.uintp(i + 2 * step)
        for row in range(f.N_CONSERVED):
            state.U[row, near] = state.U[row, far] = state.U[row, i]
        state.T[near] = state.T[far] = state.T[i]


@stage
def walls(net, state, work):
    """Wall coefficients of all cells at the present state."""
    g = net.cells
    cells.wall_coefficients(
        net.area.shape[0] - 1, state.U[f.R], work.W[f.U], state.T, g[f.DIAM], g[f.ROUGH],
        g[f.FRICTION], g[f.BEND], g[f.HEAT], work.W[f.DRAG], work.W[f.SLOW], work.W[f.STANTON],
        work.W[f.STILL],
    )


@part
def add_samples(net, state, work, record, face, t, dt, second):
    """Add one side of a linear interpolation to every sample that falls into [t, t + dt).

    The first side is the state at t (second = False), the other that at t + dt, added when it is
    known.  Returns the index of the next sample.
    """
    interval = record.interval[0]
    k = int(state.clock[f.NEXT_SAMPLE])
    n = net.area.shape[0] - 1
    while k < record.field.shape[0]:
        at = record.interval[1] + k * interval
        if at >= t + dt:
            break
        w = min(1.0, max(0.0, (at - t) / dt))
        if not second:
            w = 1.0 - w
        row = record.field[k]
        rows = (work.W[f.P], work.W[f.U], state.T, work.W[f.YF], work.W[f.YB])
        for q in range(f.N_FIELD):
            values = rows[q]
            out = row[q]
            if second:
                for i in range(n):
                    out[i] += np.float32(w * values[i])
            else:
                for i in range(n):
                    out[i] = np.float32(w * values[i])
        sample_stores(net, state, work, record.store[k], t + dt if second else t, w, second)
        for j in range(net.end_int.shape[0]):  # faces belong to the middle of the step
            record.end[k, j, 0] = face[j, FP]
            record.end[k, j, 1] = face[j, FV]
            record.end[k, j, 2] = face[j, F_MASS] * net.end_par[j, f.AREA]
        k += 1
    return k


@part
def sample(net, state, work, record, face, t, has_begun, dt):
    """Add the present state to the samples of the step before and of the next one, if there is."""
    before = state.clock[f.LAST_DT]
    for second in (True, False):  # in a loop, for a second copy would take a second to compile
        start, length = (t - before, before if has_begun else 0.0) if second else (t, dt)
        if length > 0.0:
            done = add_samples(net, state, work, record, face, start, length, second)
            if second:
                state.clock[f.NEXT_SAMPLE] = done


@part
def sample_stores(net, state, work, out, t, w, second):
    """Add the share `w` of the present state of all stores to a sample."""
    for s in range(net.store_int.shape[0]):
        if net.store_int[s, f.STORE_KIND] == f.AMBIENT:
            p = work.store[s, f.NP]
            T = work.store[s, f.NT]
            mass = 0.0
            yf = work.store[s, f.NYF]
            yb = work.store[s, f.NYB]
        else:
            vol = net.store_volume[s]
            if net.store_int[s, f.STORE_KIND] == f.CYLINDER:
                cyl = net.cyl_par[net.store_int[s, f.STORE_CYL]]
                vol = volume(cyl, t * net.options[f.OMEGA_DEG])
            p, T, yf, yb, _ = store_now(net, state, s, vol)
            mass = state.store[s, f.SM]
        old = 1.0 if second else 0.0
        out[s, 0] = old * out[s, 0] + w * p
        out[s, 1] = old * out[s, 1] + w * T
        out[s, 2] = old * out[s, 2] + w * mass
        out[s, 3] = old * out[s, 3] + w * yf
        out[s, 4] = old * out[s, 4] + w * yb


@part
def sum_ends(net, record, face, dt):
    """Add what has passed each end."""
    for k in range(net.end_int.shape[0]):
        area = dt * net.end_par[k, f.AREA]
        out = record.end_sum[k]
        out[f.OUT_MASS] += area * face[k, F_MASS]
        out[f.OUT_ENERGY] += area * face[k, F_ENE]
        out[f.OUT_FRESH] += area * face[k, F_FRESH]
        out[f.OUT_BURNED] += area * face[k, F_BURNED]


@stage
def step_size(net, state, rate, t, t_end):
    """Size of the next step [s].

    Without slices: the Courant limit, the last two steps equal.  With slices (engine cycles): every
    slice of the cycle is cut into equal steps, as many as the cycle before needed, so that a cycle
    which repeats itself is marched in the same steps and nothing keeps it from settling.  What
    switches in a cylinder does so at the end of a slice.
    """
    cfl = net.options[f.CFL]
    slices = net.slice_end.shape[0]
    if slices == 0:
        dt = cfl / rate
        rest = t_end - t
        return min(rest, 0.5 * rest if rest < 2.0 * dt and rest > dt else dt)
    now = int(state.clock[f.SLICE])
    while now < slices - 1 and net.slice_end[now] <= t:
        now += 1
    state.clock[f.SLICE] = now
    plan = state.plan[now]
    rest = net.slice_end[now] - t
    left = state.clock[f.STEPS_LEFT]
    if left < 1.0:
        left = plan[f.PLANNED] if plan[f.PLANNED] > 0.0 else math.ceil(rest * rate / cfl)
    if rest * rate > left * max(cfl, f.HARD_CFL):
        left = math.ceil(rest * rate / cfl)
    plan[f.FASTEST] = max(plan[f.FASTEST], rate)
    state.clock[f.STEPS_LEFT] = left
    return rest / left


@stage
def time_after(net, state, t, dt, t_end):
    """Time after the step; ends of slices and of the march are met exactly."""
    state.clock[f.IN_SLICE] += 1.0
    if net.slice_end.shape[0] == 0:
        return t + dt if dt < t_end - t else t_end
    state.clock[f.STEPS_LEFT] -= 1.0
    if state.clock[f.STEPS_LEFT] >= 1.0:
        return t + dt
    state.clock[f.IN_SLICE] = 0.0
    return net.slice_end[int(state.clock[f.SLICE])]


@leaf
def crank_angle(omega, t):
    """Crank angle [deg] on a grid of 1e-6 deg, so that a cycle ends at 720 and starts at 0."""
    return math.floor(omega * t * f.PER_DEGREE + 0.5) / f.PER_DEGREE


@part
def solve_ends_ahead(net, state, work, inner, face, dt, theta):
    """Stores and nodes half a step ahead; end fluxes replace those of the interior scheme."""
    stores_ahead(net, state, work, inner, dt, theta)
    middle = theta + 0.5 * dt * net.options[f.OMEGA_DEG]
    solve_ends(net, state, work, inner, face, dt, middle)
    spare_small_stores(net, state, work, inner, face, dt, middle)
    hand_over(net, state, work, inner, face, dt)


@part
def open_step(net, state, work, record, face, t_end, steps, max_steps):
    """All that comes before the interior; returns (status or GO_ON, step [s], crank angle [deg]).

    `steps` have been taken since the march began.  On a bad state the arrays are left as they are,
    so that the caller can say where.
    """
    t = state.clock[f.TIME]
    reset_ghosts(net, state)
    rate = primitives(net, state, work)
    needed = stores_rate(net, state, work)
    if not (rate < 1e12 and needed < 1e12):
        return f.BAD_STATE, 0.0, 0.0
    status = GO_ON
    dt = 0.0
    if t >= t_end * (1.0 - 1e-14):
        status = f.OK
    elif steps >= max_steps:
        status = f.TOO_MANY_STEPS
    else:
        dt = step_size(net, state, max(rate, needed), t, t_end)
        if not dt > 0.0:
            status = f.NO_STEP
    if record.interval[0] > 0.0:
        sample(net, state, work, record, face, t, steps > 0, dt if status == GO_ON else 0.0)
    if status != GO_ON:
        return status, 0.0, 0.0
    exchange(net, state, work, record, dt)
    # The coefficients follow Reynolds numbers, which change little in a step: every fifth will do,
    # the same ones in every cycle and for every cylinder.
    due = int(state.clock[f.IN_SLICE]) % 5 == 0
    if due and net.options[f.FRICTION_ON] + net.options[f.HEAT_ON] > 0.0:
        walls(net, state, work)
    return GO_ON, dt, crank_angle(net.options[f.OMEGA_DEG], t)


@part
def close_step(net, state, work, record, face, dt, theta, t_end):
    """All that comes after the interior."""
    later = time_after(net, state, state.clock[f.TIME], dt, t_end)
    theta_later = crank_angle(net.options[f.OMEGA_DEG], later)
    stores_step(net, state, work, record, face, dt, theta, theta_later)
    sum_ends(net, record, face, dt)
    state.clock[f.TIME] = later
    state.clock[f.LAST_DT] = dt
    state.clock[f.STEPS] += 1.0
