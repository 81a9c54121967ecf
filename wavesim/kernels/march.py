"""The march in time with finite volumes: whole cycles without a return to Python.

The frame of a step stands in `step`.  The interior is `cells`: face values half a step ahead
(MUSCL-Hancock), HLLC fluxes, then, with the fluxes of the nodes at duct ends, the update, wall
friction and heat.
"""

from . import cells, tapers
from . import flat as f
from .constants import PERFECT
from .jit import entry, leaf, stage
from .nodes import inner_states
from .step import GO_ON, close_step, open_step, solve_ends_ahead


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
    Entropy and fractions are those of the gas that came in as far as it fills the end cell.
    """
    r = state.U[f.R]
    u = work.W[f.U]
    p = work.W[f.P]
    for k in range(net.end_int.shape[0]):
        i = net.end_int[k, f.END_CELL]
        s = net.end_par[k, f.SIGN]
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
        came = face[f.ES_CAME]
        entropy = 0.0
        if came < 1.0:
            jump = r[i] - r[j] - (p[i] - p[j]) / c2
            entropy = ghost_change(jump, r[j] - r[h] - (p[j] - p[h]) / c2, 1.0 / r[i])
        if came > 0.0:
            off = face[f.ES_CAME_R] - r[i] - (face[f.ES_P] - p[i]) / c2
            entropy += came * (ghost_jump(off, 1.0 / r[i]) - entropy)
        r[g] = max(0.2 * r[i], r[i] + entropy + dp / c2)
        p[g] = max(0.2 * p[i], p[i] + dp)
        u[g] = u[i] + 0.5 * (out - back) / sz
        ghost_fraction(work.W[f.YF], i, j, h, g, face[f.ES_CAME_YF], came)
        ghost_fraction(work.W[f.YB], i, j, h, g, face[f.ES_CAME_YB], came)


@leaf
def ghost_change(jump, before, per):
    """Difference to the ghost cell of what leaves; a contact, `jump` times `per`, ends there."""
    return (1.0 - cells.steepness(abs(jump) * per)) * carry_on(jump, before)


@leaf
def ghost_jump(off, per):
    """Difference to the ghost cell of what came in, by that to the face, which a contact keeps."""
    return (2.0 - cells.steepness(2.0 * abs(off) * per)) * off


@leaf
def ghost_fraction(y, i, j, h, g, entered, came):
    """Ghost value of a mass fraction."""
    change = 0.0
    if came < 1.0:
        change = ghost_change(y[i] - y[j], y[j] - y[h], 1.0)
    if came > 0.0:
        change += came * (ghost_jump(entered - y[i], 1.0) - change)
    y[g] = min(1.0, max(0.0, y[i] + change))  # between 0 and 1, as all slopes take it for granted


@stage
def reconstruct(net, state, work, dt):
    """Face values of all cells."""
    n = net.area.shape[0] - 1
    W = work.W
    Q = work.Q
    inv_dx = net.cells[f.INV_DX]
    cells.reconstruct(
        n, dt, state.U[f.R], W[f.U], W[f.P], W[f.C], inv_dx, net.cells[f.DLNA],
        W[f.WARMED], Q[f.RM], Q[f.UM], Q[f.PM], Q[f.RP], Q[f.UP], Q[f.PP], W[f.PER_Z],
    )
    if net.taper.shape[0] > 0:
        tapers.taper_faces(
            net.taper, dt, state.U[f.R], W[f.U], W[f.P], W[f.C], inv_dx, net.cells[f.VOL], net.area,
            W[f.WARMED], Q[f.RM], Q[f.UM], Q[f.PM], Q[f.RP], Q[f.UP], Q[f.PP], W[f.PUSH],
            state.clock,
        )
    if net.options[f.MIXED] > 0.0:
        cells.fraction_slopes(
            n, dt, state.U[f.R], net.cells[f.INV_VOL], W[f.YF], W[f.YB], Q[f.HALF_F], Q[f.HALF_B],
            Q[f.PER_MASS],
        )


@stage
def fluxes(net, work):
    """HLLC fluxes at all faces; those at duct ends are overwritten by the nodes."""
    n = net.area.shape[0] - 1
    Q = work.Q
    F = work.F
    c, per_z = work.W[f.C], work.W[f.PER_Z]
    if net.gas_kind == PERFECT:
        gamma = 1.0 + net.gas_R[0] / (net.gas_coef[0, 1] * 1e-3)
        cells.flux_perfect(
            n, Q[f.RM], Q[f.UM], Q[f.PM], Q[f.RP], Q[f.UP], Q[f.PP], c, per_z,
            0.25 * (gamma + 1.0), 1.0 / (gamma - 1.0), F[f.R], F[f.M], F[f.E],
        )
        if net.options[f.MIXED] > 0.0:
            cells.flux_fractions(
                n, F[f.R], net.area, work.W[f.YF], work.W[f.YB], Q[f.HALF_F], Q[f.HALF_B],
                Q[f.PER_MASS], F[f.Y1], F[f.Y2],
            )
    else:
        cells.flux_mixture(
            n, Q[f.RM], Q[f.UM], Q[f.PM], Q[f.RP], Q[f.UP], Q[f.PP], c, per_z,
            cells.PUSH_OF_MIXTURE, F[f.R], F[f.M], F[f.E],
        )
        cells.carry_parts(
            n, F[f.R], net.area, Q[f.RM], Q[f.UM], Q[f.PM], Q[f.RP], Q[f.UP], Q[f.PP],
            work.W[f.YF], work.W[f.YB], Q[f.HALF_F], Q[f.HALF_B], Q[f.PER_MASS], net.gas_R,
            net.gas_coef, F[f.E], F[f.Y1], F[f.Y2],
        )


@stage
def update(net, state, work, record, dt):
    """New conserved values of all cells."""
    n = net.area.shape[0] - 1
    U = state.U
    Q = work.Q
    F = work.F
    inv_vol = net.cells[f.INV_VOL]
    if net.options[f.MIXED] > 0.0:
        cells.update_mixture(n, dt, net.area, inv_vol, Q[f.PM], Q[f.PP], F[f.R], F[f.M], F[f.E],
                             F[f.Y1], F[f.Y2], U[f.R], U[f.M], U[f.E], U[f.Y1], U[f.Y2])
    else:
        cells.update_flow(n, dt, net.area, inv_vol, Q[f.PM], Q[f.PP], F[f.R], F[f.M], F[f.E],
                          U[f.R], U[f.M], U[f.E])
    if net.taper.shape[0] > 0:
        tapers.push_tapers(net.taper, dt, inv_vol, work.W[f.PUSH], U[f.M])
    friction, heat = net.options[f.FRICTION_ON], net.options[f.HEAT_ON]
    if friction + heat > 0.0:
        cells.apply_walls(
            n, dt * friction, dt * heat, U[f.R], U[f.M], U[f.E], state.T, work.W[f.P],
            work.W[f.C], work.W[f.PER_Z], net.cells[f.WALL], work.W[f.DRAG], work.W[f.SLOW],
            work.W[f.STANTON], work.W[f.STILL], net.cells[f.VOL], record.wall[f.GAIN],
            record.wall[f.GRIP], work.W[f.WARMED],
        )


@entry
def march(net, state, work, record, inner, face, t_end, max_steps):
    """March to the time `t_end` [s]; returns (status, steps taken)."""
    steps = 0
    while True:
        status, dt, theta = open_step(net, state, work, record, face, t_end, steps, max_steps)
        if status != GO_ON:
            return status, steps
        fill_ghosts(net, state, work)
        reconstruct(net, state, work, dt)
        fluxes(net, work)
        inner_states(net, state, work, inner, dt)
        solve_ends_ahead(net, state, work, inner, face, dt, theta)
        update(net, state, work, record, dt)
        close_step(net, state, work, record, face, dt, theta, t_end)
        steps += 1
