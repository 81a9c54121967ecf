"""The march in time: whole cycles without a return to Python.

One step:
    1. primitive values of all cells, largest wave speed, step size;
    2. samples that fall into the step;
    3. exchange through perforated walls, packings;
    4. face values half a step ahead (MUSCL-Hancock);
    5. stores half a step ahead, nodes at all duct ends;
    6. fluxes, update, wall friction and heat;
    7. stores, sums, clock.
The second scheme, `characteristics`, has its own 4 and 6.
"""

import math

import numpy as np

from . import cells, characteristics
from . import flat as f
from .cylinder import volume
from .jit import entry, leaf, stage
from .nodes import F_BURNED, F_ENE, F_FRESH, F_MASS, FP, FV, inner_states, solve_ends
from .perforate import exchange
from .stores import store_now, stores_ahead, stores_rate, stores_step
from .thermo import PERFECT

LEAVES = 1e-9  # Mach number from which gas counts as leaving; the round-off of rest lies below


@stage
def primitives(net, state, work):
    """Fill the primitive rows; returns the largest (|u|+c)/dx, not finite if a state is bad."""
    n = net.area.shape[0] - 1
    U = state.U
    W = work.W
    if net.gas_kind == PERFECT:
        cells.primitives_perfect(
            n, U[f.R], U[f.M], U[f.E], U[f.Y1], U[f.Y2], state.T, W[f.U], W[f.P], W[f.C], W[f.YF],
            W[f.YB], W[f.RATE], net.cells[f.INV_DX], net.gas_R[0], net.gas_coef[0, 1] * 1e-3,
        )
    else:
        cells.primitives_mixture(
            n, U[f.R], U[f.M], U[f.E], U[f.Y1], U[f.Y2], state.T, W[f.U], W[f.P], W[f.C], W[f.YF],
            W[f.YB], W[f.RATE], net.cells[f.INV_DX], net.gas_R, net.gas_coef,
        )
    top = cells.largest(n, work.rate_bits)
    work.rate_bits[0] = top  # cell 0 is a ghost: its row serves to read the bits as a float
    return W[f.RATE, 0]


@stage
def reset_ghosts(net, state):
    """Give ghost cells the state of the cell beside them, so that loops meet only sound gas."""
    for k in range(net.end_cell.shape[0]):
        i = net.end_cell[k]
        step = 1 if net.end_sign[k] > 0.0 else -1
        for g in (i + step, i + 2 * step):
            for row in range(f.N_CONSERVED):
                state.U[row, g] = state.U[row, i]
            state.T[g] = state.T[i]


@leaf
def carry_on(d1, d2):
    """Difference to a ghost cell of something that leaves: like the last one, unless it jumps."""
    low = min(d1, 2.0 * d2)
    high = max(d1, 2.0 * d2)
    return max(0.0, low) + min(0.0, high)


@stage
def fill_ghosts(net, state, work):
    """Ghost cells for the slopes of the end cells.

    What moves outward (the outgoing wave; entropy and fractions of gas that leaves) continues the
    differences inside; what moves inward is given by the face of the last step, half a cell away.
    """
    r = state.U[f.R]
    u = work.W[f.U]
    p = work.W[f.P]
    for k in range(net.end_cell.shape[0]):
        i = net.end_cell[k]
        s = net.end_sign[k]
        step = 1 if s > 0.0 else -1
        g = i + step
        j = i - step
        h = j - step
        face = state.end[k]
        z = r[i] * work.W[f.C, i]
        c2 = work.W[f.C, i] ** 2
        sz = s * z
        out = carry_on(p[i] - p[j] + sz * (u[i] - u[j]), p[j] - p[h] + sz * (u[j] - u[h]))
        back = 2.0 * (face[f.ES_P] - p[i] - sz * (face[f.ES_U] - u[i]))
        dp = 0.5 * (out + back)
        leaves = face[f.ES_V] > LEAVES * work.W[f.C, i]
        if leaves:
            jump = r[i] - r[j] - (p[i] - p[j]) / c2
            entropy = carry_on(jump, r[j] - r[h] - (p[j] - p[h]) / c2)
            entropy *= 1.0 - cells.steepness(abs(jump) / r[i])  # a contact ends, it does not go on
        else:
            entropy = 2.0 * (face[f.ES_R] - r[i] - (face[f.ES_P] - p[i]) / c2)
        r[g] = max(0.2 * r[i], r[i] + entropy + dp / c2)
        p[g] = max(0.2 * p[i], p[i] + dp)
        u[g] = u[i] + 0.5 * (out - back) / sz
        ghost_fraction(work.W[f.YF], i, j, h, g, face[f.ES_YF], leaves)
        ghost_fraction(work.W[f.YB], i, j, h, g, face[f.ES_YB], leaves)


@leaf
def ghost_fraction(y, i, j, h, g, at_face, leaves):
    """Ghost value of a mass fraction."""
    if leaves:
        jump = y[i] - y[j]
        y[g] = y[i] + (1.0 - cells.steepness(abs(jump))) * carry_on(jump, y[j] - y[h])
    else:
        y[g] = 2.0 * at_face - y[i]


@stage
def reconstruct(net, state, work, dt):
    """Face values of all cells."""
    n = net.area.shape[0] - 1
    W = work.W
    Q = work.Q
    inv_dx = net.cells[f.INV_DX]
    cells.reconstruct(
        n, dt, state.U[f.R], W[f.U], W[f.P], W[f.C], inv_dx, net.cells[f.DLNA],
        Q[f.RM], Q[f.UM], Q[f.PM], Q[f.RP], Q[f.UP], Q[f.PP],
    )
    cells.reconstruct_fractions(
        n, dt, W[f.YF], W[f.YB], W[f.U], inv_dx, Q[f.FM], Q[f.FP], Q[f.BM], Q[f.BP]
    )
    if net.gas_kind == PERFECT:
        over_gm1 = net.gas_coef[0, 1] * 1e-3 / net.gas_R[0]
        cells.face_energy_perfect(n, Q[f.RM], Q[f.UM], Q[f.PM], Q[f.EM], over_gm1)
        cells.face_energy_perfect(n, Q[f.RP], Q[f.UP], Q[f.PP], Q[f.EP], over_gm1)
    else:
        cells.face_energy_mixture(n, Q[f.RM], Q[f.UM], Q[f.PM], Q[f.FM], Q[f.BM], Q[f.EM],
                                  net.gas_R, net.gas_coef)
        cells.face_energy_mixture(n, Q[f.RP], Q[f.UP], Q[f.PP], Q[f.FP], Q[f.BP], Q[f.EP],
                                  net.gas_R, net.gas_coef)


@stage
def fluxes(net, work):
    """HLLC fluxes at all faces; those at duct ends are overwritten by the nodes."""
    n = net.area.shape[0] - 1
    Q = work.Q
    F = work.F
    k = 0.86 if net.gas_kind != PERFECT else 0.5 + 0.5 / (1.0 + net.gas_R[0] / (
        net.gas_coef[0, 1] * 1e-3))
    cells.flux_hllc(
        n, Q[f.RM], Q[f.UM], Q[f.PM], Q[f.EM], Q[f.RP], Q[f.UP], Q[f.PP], Q[f.EP], work.W[f.C], k,
        F[f.R], F[f.M], F[f.E],
    )
    cells.flux_fractions(n, F[f.R], Q[f.FM], Q[f.FP], Q[f.BM], Q[f.BP], F[f.Y1], F[f.Y2])


@stage
def update(net, state, work, record, dt):
    """New conserved values of all cells."""
    n = net.area.shape[0] - 1
    U = state.U
    Q = work.Q
    F = work.F
    inv_vol = net.cells[f.INV_VOL]
    cells.update_flow(n, dt, net.area, inv_vol, Q[f.PM], Q[f.PP], F[f.R], F[f.M], F[f.E],
                      U[f.R], U[f.M], U[f.E])
    cells.update_fractions(n, dt, net.area, inv_vol, F[f.Y1], F[f.Y2], U[f.Y1], U[f.Y2])
    if net.options[f.FRICTION_ON] > 0.0:
        cells.apply_friction(n, dt, U[f.R], U[f.M], work.W[f.DRAG], work.W[f.SLOW])
    if net.options[f.HEAT_ON] > 0.0:
        cells.apply_wall_heat(
            n, dt, U[f.R], U[f.M], U[f.E], state.T, work.W[f.P], work.W[f.C], net.cells[f.WALL],
            work.W[f.STANTON], work.still, net.cells[f.VOL], record.wall_gain, record.wall_grip,
        )



@stage
def walls(net, state, work):
    """Wall coefficients of all cells at the present state."""
    g = net.cells
    cells.wall_coefficients(
        net.area.shape[0] - 1, state.U[f.R], work.W[f.U], state.T, g[f.DIAM], g[f.ROUGH],
        g[f.FRICTION], g[f.BEND], g[f.HEAT], work.W[f.DRAG], work.W[f.SLOW], work.W[f.STANTON],
        work.still,
    )


@stage
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
        for j in range(net.end_kind.shape[0]):  # faces belong to the middle of the step
            record.end[k, j, 0] = face[j, FP]
            record.end[k, j, 1] = face[j, FV]
            record.end[k, j, 2] = face[j, F_MASS] * net.end_par[j, f.AREA]
        k += 1
    return k


@stage
def sample_stores(net, state, work, out, t, w, second):
    """Add the share `w` of the present state of all stores to a sample."""
    for s in range(net.store_kind.shape[0]):
        if net.store_kind[s] == f.AMBIENT:
            p = work.store[s, f.NP]
            T = work.store[s, f.NT]
            mass = 0.0
            yf = work.store[s, f.NYF]
            yb = work.store[s, f.NYB]
        else:
            vol = net.store_volume[s]
            if net.store_kind[s] == f.CYLINDER:
                cyl = net.cyl_par[net.store_cyl[s]]
                vol = volume(cyl, t * net.options[f.OMEGA_DEG])
            p, T, yf, yb = store_now(net, state, s, vol)
            mass = state.store[s, f.SM]
        old = 1.0 if second else 0.0
        out[s, 0] = old * out[s, 0] + w * p
        out[s, 1] = old * out[s, 1] + w * T
        out[s, 2] = old * out[s, 2] + w * mass
        out[s, 3] = old * out[s, 3] + w * yf
        out[s, 4] = old * out[s, 4] + w * yb


@stage
def sum_ends(net, record, face, dt):
    """Add what has passed each end."""
    for k in range(net.end_kind.shape[0]):
        area = dt * net.end_par[k, f.AREA]
        out = record.end_sum[k]
        out[f.OUT_MASS] += area * face[k, F_MASS]
        out[f.OUT_ENERGY] += area * face[k, F_ENE]
        out[f.OUT_FRESH] += area * face[k, F_FRESH]
        out[f.OUT_BURNED] += area * face[k, F_BURNED]
        if face[k, F_MASS] > 0.0:
            out[f.POS_MASS] += area * face[k, F_MASS]
            out[f.POS_ENERGY] += area * face[k, F_ENE]
            out[f.POS_FRESH] += area * face[k, F_FRESH]
            out[f.POS_BURNED] += area * face[k, F_BURNED]


@stage
def step_size(net, state, rate, t, t_end):
    """Size of the next step [s].

    Without slices: the Courant limit, the last two steps equal.  With slices (engine cycles): every
    slice of the cycle is cut into equal steps, as many as the cycle before needed, so that a cycle
    which repeats itself is marched in the same steps and nothing keeps it from settling.
    """
    cfl = net.options[f.CFL]
    slice_time = net.options[f.SLICE_TIME]
    if slice_time == 0.0:
        dt = cfl / rate
        rest = t_end - t
        return min(rest, 0.5 * rest if rest < 2.0 * dt and rest > dt else dt)
    plan = state.plan[slice_index(net, state, t)]
    rest = slice_end(net, state, t) - t
    left = state.clock[f.STEPS_LEFT]
    if left < 1.0:
        left = plan[f.PLANNED] if plan[f.PLANNED] > 0.0 else math.ceil(rest * rate / cfl)
    if rest * rate > left * max(cfl, f.HARD_CFL):
        left = math.ceil(rest * rate / cfl)
    plan[f.FASTEST] = max(plan[f.FASTEST], rate)
    state.clock[f.STEPS_LEFT] = left
    return rest / left


@stage
def slice_index(net, state, t):
    """Slice of the cycle that holds the time t."""
    return min(int(t / net.options[f.SLICE_TIME] + 1e-6), state.plan.shape[0] - 1)


@stage
def slice_end(net, state, t):
    """Time at which the slice that holds t ends."""
    return (slice_index(net, state, t) + 1.0) * net.options[f.SLICE_TIME]


@stage
def time_after(net, state, t, dt, t_end):
    """Time after the step; ends of slices and of the march are met exactly."""
    if net.options[f.SLICE_TIME] > 0.0:
        state.clock[f.STEPS_LEFT] -= 1.0
        if state.clock[f.STEPS_LEFT] < 1.0:
            return slice_end(net, state, t)
        return t + dt
    return t + dt if dt < t_end - t else t_end


@leaf
def crank_angle(omega, t):
    """Crank angle [deg] on a grid of 1e-6 deg, so that a cycle ends at 720 and starts at 0."""
    return math.floor(omega * t * 1e6 + 0.5) / 1e6


@entry
def march(net, state, work, record, inner, face, t_end, max_steps):
    """March to the time `t_end` [s]; returns (status, steps taken).

    On a bad state the arrays are left as they are, so that the caller can say where.
    """
    omega = net.options[f.OMEGA_DEG]
    sampling = record.interval[0] > 0.0
    has_walls = net.options[f.FRICTION_ON] + net.options[f.HEAT_ON] > 0.0
    first = True
    steps = 0
    while True:
        t = state.clock[f.TIME]
        reset_ghosts(net, state)
        rate = primitives(net, state, work)
        needed = stores_rate(net, state, work)
        if not (rate < 1e12 and needed < 1e12):
            return f.BAD_STATE, steps
        rate = max(rate, needed)
        last_dt = state.clock[f.LAST_DT]
        if sampling and not first:
            done = add_samples(net, state, work, record, face, t - last_dt, last_dt, not first)
            state.clock[f.NEXT_SAMPLE] = done
        if t >= t_end * (1.0 - 1e-14):
            return f.OK, steps
        if steps >= max_steps:
            return f.TOO_MANY_STEPS, steps
        dt = step_size(net, state, rate, t, t_end)
        if not dt > 0.0:
            return f.NO_STEP, steps
        theta = crank_angle(omega, t)
        if sampling:
            add_samples(net, state, work, record, face, t, dt, steps < 0)
        exchange(net, state, work, record, dt)
        if has_walls:
            walls(net, state, work)
        lines = net.options[f.SCHEME] == f.CHARACTERISTICS
        if lines:
            characteristics.look_back(net, state, work, record, inner, dt)
        else:
            fill_ghosts(net, state, work)
            reconstruct(net, state, work, dt)
            fluxes(net, work)
            inner_states(net, state, work, inner)
        solve_ends_ahead(net, state, work, inner, face, dt, theta)
        if lines:
            characteristics.advance(net, state, work, dt)
        else:
            update(net, state, work, record, dt)
        later = time_after(net, state, t, dt, t_end)
        stores_step(net, state, work, record, face, dt, theta, crank_angle(omega, later))
        sum_ends(net, record, face, dt)
        state.clock[f.TIME] = later
        state.clock[f.LAST_DT] = dt
        state.clock[f.STEPS] += 1.0
        steps += 1
        first = False


@stage
def solve_ends_ahead(net, state, work, inner, face, dt, theta):
    """Stores and nodes half a step ahead; end fluxes replace those of the interior scheme."""
    stores_ahead(net, state, work, inner, dt, theta)
    solve_ends(net, state, work, inner, face, dt, theta + 0.5 * dt * net.options[f.OMEGA_DEG])
