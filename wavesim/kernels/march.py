"""The march in time: whole cycles without a return to Python.

One step:
    1. primitive values of all cells, largest wave speed, step size;
    2. samples that fall into the step;
    3. face values half a step ahead (MUSCL-Hancock);
    4. stores half a step ahead, nodes at all duct ends;
    5. fluxes, update, wall friction and heat;
    6. stores, sums, clock.
"""

import numpy as np

from . import cells
from . import flat as f
from .cylinder import volume
from .jit import kernel
from .nodes import F_BURNED, F_ENE, F_FRESH, F_MASS, FP, FV, inner_states, solve_ends
from .stores import store_now, stores_ahead, stores_step
from .thermo import PERFECT

REFRESH = 16  # steps in which every cell's wall coefficients are renewed once


@kernel
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


@kernel
def reset_ghosts(net, state):
    """Give ghost cells the state of the cell beside them, so that loops meet only sound gas."""
    for k in range(net.end_cell.shape[0]):
        i = net.end_cell[k]
        step = 1 if net.end_sign[k] > 0.0 else -1
        for g in (i + step, i + 2 * step):
            for row in range(f.N_CONSERVED):
                state.U[row, g] = state.U[row, i]
            state.T[g] = state.T[i]


@kernel
def fill_ghosts(net, state, work):
    """Mirror the cell beside each end about the face state of the last step."""
    for k in range(net.end_cell.shape[0]):
        i = net.end_cell[k]
        g = i + (1 if net.end_sign[k] > 0.0 else -1)
        r = state.U[f.R, i]
        p = work.W[f.P, i]
        state.U[f.R, g] = max(0.2 * r, 2.0 * state.end[k, f.ES_R] - r)
        work.W[f.P, g] = max(0.2 * p, 2.0 * state.end[k, f.ES_P] - p)
        work.W[f.U, g] = 2.0 * state.end[k, f.ES_U] - work.W[f.U, i]
        work.W[f.YF, g] = 2.0 * state.end[k, f.ES_YF] - work.W[f.YF, i]
        work.W[f.YB, g] = 2.0 * state.end[k, f.ES_YB] - work.W[f.YB, i]


@kernel
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


@kernel
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


@kernel
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
        cells.apply_friction(n, dt, U[f.R], U[f.M], work.W[f.DRAG])
    if net.options[f.HEAT_ON] > 0.0:
        cells.apply_wall_heat(
            n, dt, U[f.R], U[f.M], U[f.E], state.T, work.W[f.P], work.W[f.C], net.cells[f.WALL],
            work.W[f.STANTON], work.still, net.cells[f.VOL], record.wall_gain,
        )


@kernel
def refresh_walls(net, state, work, lo, hi):
    """Renew the wall coefficients of the cells lo <= i < hi."""
    g = net.cells
    cells.wall_coefficients(
        lo, hi, state.U[f.R], work.W[f.U], state.T, work.W[f.C], net.gas_R, net.gas_coef,
        work.W[f.YF], work.W[f.YB], g[f.DIAM], g[f.ROUGH], g[f.FRICTION], g[f.HEAT],
        work.W[f.DRAG], work.W[f.STANTON], work.still,
    )


@kernel
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


@kernel
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


@kernel
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


@kernel
def march(net, state, work, record, inner, face, t_end, max_steps):
    """March to the time `t_end` [s]; returns (status, steps taken).

    On a bad state the arrays are left as they are, so that the caller can say where.
    """
    n = net.area.shape[0] - 1
    cfl = net.options[f.CFL]
    omega = net.options[f.OMEGA_DEG]
    sampling = record.interval[0] > 0.0
    walls = net.options[f.FRICTION_ON] + net.options[f.HEAT_ON] > 0.0
    chunk = n // REFRESH + 1
    first = True
    steps = 0
    while True:
        t = state.clock[f.TIME]
        reset_ghosts(net, state)
        rate = primitives(net, state, work)
        if not rate < 1e12:
            return f.BAD_STATE, steps
        last_dt = state.clock[f.LAST_DT]
        if sampling and not first:
            done = add_samples(net, state, work, record, face, t - last_dt, last_dt, True)
            state.clock[f.NEXT_SAMPLE] = done
        if t >= t_end * (1.0 - 1e-14):
            return f.OK, steps
        if steps >= max_steps:
            return f.TOO_MANY_STEPS, steps
        dt = min(cfl / rate, net.options[f.MAX_DT])
        if dt > t_end - t:
            dt = t_end - t
        elif 2.0 * dt > t_end - t:
            dt = 0.5 * (t_end - t)  # two equal last steps instead of one long and one tiny
        if not dt > 0.0:
            return f.NO_STEP, steps
        theta = omega * t
        if sampling:
            add_samples(net, state, work, record, face, t, dt, False)
        if walls:
            if first:
                refresh_walls(net, state, work, 0, n)
            else:
                lo = (steps % REFRESH) * chunk
                refresh_walls(net, state, work, lo, min(n, lo + chunk))
        fill_ghosts(net, state, work)
        reconstruct(net, state, work, dt)
        solve_ends_ahead(net, state, work, inner, face, dt, theta)
        update(net, state, work, record, dt)
        stores_step(net, state, work, record, face, dt, theta)
        sum_ends(net, record, face, dt)
        state.clock[f.TIME] = t + dt if dt < t_end - t else t_end
        state.clock[f.LAST_DT] = dt
        state.clock[f.STEPS] += 1.0
        steps += 1
        first = False


@kernel
def solve_ends_ahead(net, state, work, inner, face, dt, theta):
    """Stores and nodes half a step ahead; end fluxes replace those of the interior scheme."""
    fluxes(net, work)
    inner_states(net, work, inner)
    stores_ahead(net, state, work, inner, dt, theta)
    solve_ends(net, state, work, inner, face, dt, theta + 0.5 * dt * net.options[f.OMEGA_DEG])
