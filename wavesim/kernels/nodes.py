"""The nodes of a network: takes the inner states of all ends, gives their faces and fluxes.

Rows of `inner` (n_end, N_INNER) hold the gas just inside each end, half a step ahead; rows of
`face` (n_end, N_FACE_OUT) receive outward velocity, pressure, density, fractions and the outward
fluxes per area of mass, enthalpy, fresh charge and burned gas.  What leaves one duct enters
another to the last bit: the downstream flux is copied, never computed twice.
"""

import math

from . import flat as f
from .ends import (
    UNSOLVED,
    end_anechoic,
    end_closed,
    isentropic_density,
    leaving_density,
    port_in,
    port_out,
    wave_pressure,
    wave_velocity,
)
from .jit import part, stage
from .pairs import pair, pair_loss
from .thermo import caloric, enthalpy, gamma_cp

MAX_ITERATIONS = 30  # of the pressure in a junction
FLOORED = 1.001e-3  # of the pressure inside, by which a face is known to lie on its floor
N_INNER = 13
(IR, IU, IP, IYF, IYB, IGAMMA, ICP, IGAS, IT,
 I_HALF_F, I_HALF_B,  # half the slopes of the fractions across the end cell, outward
 I_MOVED,  # share of that cell that IYF and IYB expect to leave in the step
 I_PER_MASS) = range(N_INNER)  # step times area of the end over mass of the cell [m2 s/kg]
N_FACE_OUT = 9
FV, FP, FR, FYF, FYB, F_MASS, F_ENE, F_FRESH, F_BURNED = range(N_FACE_OUT)


@stage
def inner_states(net, state, work, inner, dt):
    """Collect the reconstructed state of the cell at each end, velocities turned outward."""
    for k in range(net.end_int.shape[0]):
        i = net.end_int[k, f.END_CELL]
        sign = net.end_par[k, f.SIGN]
        row = f.RP if sign > 0.0 else f.RM
        r = work.Q[row, i]
        u = work.Q[row + (f.UM - f.RM), i]
        p = work.Q[row + (f.PM - f.RM), i]
        moved = min(1.0, max(0.0, sign * u * dt * net.cells[f.INV_DX, i]))
        half_f = sign * work.Q[f.HALF_F, i]
        half_b = sign * work.Q[f.HALF_B, i]
        yf = work.W[f.YF, i] + (1.0 - moved) * half_f
        yb = work.W[f.YB, i] + (1.0 - moved) * half_b
        gas_R = net.gas_R[0] + yf * (net.gas_R[1] - net.gas_R[0]) + yb * (
            net.gas_R[2] - net.gas_R[0]
        )
        T = p / (r * gas_R)
        gamma, cp, _ = gamma_cp(net.gas_R, net.gas_coef, T, yf, yb)
        if u * u * r > gamma * p and abs(work.W[f.U, i]) < work.W[f.C, i]:
            # a sonic exit lies between mean and face: the fan's invariant is read off there
            inside = abs(work.W[f.U, i]) / work.W[f.C, i]
            way = (1.0 - inside) / (abs(u) / math.sqrt(gamma * p / r) - inside)
            r = state.U[f.R, i] + way * (r - state.U[f.R, i])
            u = work.W[f.U, i] + way * (u - work.W[f.U, i])
            p = work.W[f.P, i] + way * (p - work.W[f.P, i])
            T = p / (r * gas_R)
        inner[k, IR] = r
        inner[k, IU] = sign * u
        inner[k, IP] = p
        inner[k, IYF] = yf
        inner[k, IYB] = yb
        inner[k, IGAMMA] = gamma
        inner[k, ICP] = cp
        inner[k, IGAS] = gas_R
        inner[k, IT] = T
        inner[k, I_HALF_F] = half_f
        inner[k, I_HALF_B] = half_b
        inner[k, I_MOVED] = moved
        inner[k, I_PER_MASS] = work.Q[f.PER_MASS, i] * net.end_par[k, f.AREA]


@stage
def leave(net, inner, face, k, v, p_star):
    """Face of an end through which gas of the duct leaves; only a shock changes its entropy.

    The fractions are those of the stretch of the end cell that leaves (`cells.carry_parts`).
    """
    r = leaving_density(inner[k, IR], inner[k, IP], inner[k, IGAMMA], p_star)
    less = inner[k, I_MOVED] - min(1.0, r * v * inner[k, I_PER_MASS])
    yf = inner[k, IYF] + less * inner[k, I_HALF_F]
    yb = inner[k, IYB] + less * inner[k, I_HALF_B]
    T = p_star / (r * inner[k, IGAS])
    h0 = enthalpy(net.gas_R, net.gas_coef, T, yf, yb) + 0.5 * v * v
    put(face, k, v, p_star, r, yf, yb, r * v, h0)


@stage
def put(face, k, v, p, r, yf, yb, flux, h0):
    """Write one face."""
    face[k, FV] = v
    face[k, FP] = p
    face[k, FR] = r
    face[k, FYF] = yf
    face[k, FYB] = yb
    face[k, F_MASS] = flux
    face[k, F_ENE] = flux * h0
    face[k, F_FRESH] = flux * yf
    face[k, F_BURNED] = flux * yb


@stage
def node_closed(net, inner, face, k):
    """Rigid wall."""
    p = end_closed(inner[k, IR], inner[k, IU], inner[k, IP], inner[k, IGAMMA])
    r = isentropic_density(inner[k, IR], inner[k, IP], inner[k, IGAMMA], p)
    put(face, k, 0.0, p, r, inner[k, IYF], inner[k, IYB], 0.0, 0.0)


@part
def node_anechoic(net, state, inner, face, k):
    """Endless equal duct beyond the end, filled with gas at rest of the duct's composition."""
    p_out = net.end_par[k, f.P_REF]
    T_out = net.end_par[k, f.T_REF]
    yf = inner[k, IYF]
    yb = inner[k, IYB]
    gamma, _, gas_R = gamma_cp(net.gas_R, net.gas_coef, T_out, yf, yb)
    r_out = p_out / (gas_R * T_out)
    v, p, missed = end_anechoic(
        inner[k, IR], inner[k, IU], inner[k, IP], inner[k, IGAMMA], r_out, p_out, gamma
    )
    state.clock[f.UNSOLVED_END] += missed
    if v >= 0.0:
        leave(net, inner, face, k, v, p)
        return
    r = isentropic_density(r_out, p_out, gamma, p)
    h0 = enthalpy(net.gas_R, net.gas_coef, p / (r * gas_R), yf, yb) + 0.5 * v * v
    put(face, k, v, p, r, yf, yb, r * v, h0)


@part
def port_shares(net, k, theta_deg):
    """Throat over bore area of a port, (out of the duct, into the duct)."""
    area = net.end_par[k, f.AREA]
    valve = net.end_int[k, f.END_VALVE]
    if valve < 0:
        return net.end_par[k, f.CD_OUT], net.end_par[k, f.CD_IN]
    n = net.valve_area.shape[2] - 1  # the last column repeats the first
    phase = net.cyl_par[net.store_int[net.end_int[k, f.END_STORE], f.STORE_CYL], f.PHASE]
    x = (theta_deg - phase) / 720.0
    x = (x - math.floor(x)) * n
    i = min(int(x), n - 1)
    w = x - i
    out = (1.0 - w) * net.valve_area[valve, 0, i] + w * net.valve_area[valve, 0, i + 1]
    into = (1.0 - w) * net.valve_area[valve, 1, i] + w * net.valve_area[valve, 1, i + 1]
    return min(1.0, out / area), min(1.0, into / area)


@part
def radiation_load(net, state, k, impedance, h):
    """Pressure kappa (v - v_rad) of the air outside an open end, as (kappa, v_rad).

    Z = rho c s (l + b s) / (1 + g s + d s^2), s = (a/c) d/dt, as two integrals x1, x2 of

        d P = b v + x1,   x1' = l v - g P + x2,   x2' = -P,   P = pressure / (rho c),

    taken over the step by the implicit midpoint rule, which makes no sound of its own.  `h` is the
    step in units of a/c.
    """
    lead = net.end_par[k, f.RAD_LEAD] + 0.5 * h * net.end_par[k, f.RAD_MASS]
    lag = net.end_par[k, f.RAD_LAG] + 0.5 * h * (net.end_par[k, f.RAD_DAMP] + 0.5 * h)
    push = state.end[k, f.ES_RAD_1] + 0.5 * h * state.end[k, f.ES_RAD_2]
    return impedance * lead / lag, -push / lead


@part
def radiation_step(net, state, k, v, p, h):
    """Carry the two integrals of the radiation load over a step; `p` is over rho c."""
    half = state.end[k, f.ES_RAD_2] - 0.5 * h * p
    state.end[k, f.ES_RAD_1] += h * (
        net.end_par[k, f.RAD_MASS] * v - net.end_par[k, f.RAD_DAMP] * p + half
    )
    state.end[k, f.ES_RAD_2] -= h * p


@part
def slug_step(net, state, inner, face, k, dt):
    """Gas that has left an open end and lies just before it, where it comes back from first.

    It fills at most the acoustic length of the end and is mixed evenly.  Beyond that length the
    jet is lost to the surroundings (the two limits in Disselhorst and van Wijngaarden, J. Fluid
    Mech. 99 (1980), from memory).
    """
    end = state.end[k]
    v = face[k, FV]
    if v <= 0.0:
        end[f.ES_SLUG] = max(0.0, end[f.ES_SLUG] + dt * v)
        return
    longest = net.end_par[k, f.RAD_MASS] * net.end_par[k, f.RAD_RADIUS]
    end[f.ES_SLUG] = min(longest, end[f.ES_SLUG] + dt * v)
    share = min(1.0, dt * v / end[f.ES_SLUG])
    T0 = face[k, FP] / (face[k, FR] * inner[k, IGAS]) + 0.5 * v * v / inner[k, ICP]
    end[f.ES_SLUG_T] += share * (T0 - end[f.ES_SLUG_T])
    end[f.ES_SLUG_YF] += share * (face[k, FYF] - end[f.ES_SLUG_YF])
    end[f.ES_SLUG_YB] += share * (face[k, FYB] - end[f.ES_SLUG_YB])


@part
def remember_entered(net, state, inner, face, k, dt):
    """Gas that has come in through an end, which leaves first when the flow turns.

    Kept are how far it reaches into the end cell, at most all of it, and what it is at the pressure
    of the face.  So the end cell knows where its contact lies, and a flow that turns a little
    sooner or later changes little.
    """
    end = state.end[k]
    v = face[k, FV]
    far = end[f.ES_CAME] - dt * v * net.cells[f.INV_DX, net.end_int[k, f.END_CELL]]
    end[f.ES_CAME] = min(1.0, max(0.0, far))
    if v < 0.0:
        end[f.ES_CAME_R] = face[k, FR]
        end[f.ES_CAME_YF] = face[k, FYF]
        end[f.ES_CAME_YB] = face[k, FYB]
    elif far > 0.0:  # an isentrope, to the third order of the change in a step
        turn = (face[k, FP] - end[f.ES_P]) / (inner[k, IGAMMA] * (face[k, FP] + end[f.ES_P]))
        end[f.ES_CAME_R] *= (1.0 + turn) / (1.0 - turn)


@part
def expected(state, k):
    """Velocity out of an end to start an iteration from: that of the last two steps goes on."""
    return 2.0 * state.end[k, f.ES_V] - state.end[k, f.ES_V_BEFORE]


@stage
def enter(net, state, inner, face, k, p0, T0, gas, yf, yb, into, kappa, v_rad):
    """Face of an end through which gas at rest at (p0, T0) enters the duct.

    `gas` holds what `thermo.caloric` gives, the enthalpy at T0.
    """
    gamma0, cp0, R0, h0 = gas
    v, p_star, T, regime = port_in(
        inner[k, IR], inner[k, IU], inner[k, IP], inner[k, IGAMMA], p0, T0, gamma0, cp0, R0, into,
        kappa, v_rad, -expected(state, k),
    )
    if regime == UNSOLVED:
        state.clock[f.UNSOLVED_END] += 1.0
    r = p_star / (R0 * T)
    put(face, k, v, p_star, r, yf, yb, r * v, h0)


@part
def node_port(net, state, work, inner, face, k, dt, theta_deg):
    """Opening into a store: the air outside, a volume, a junction cell or a cylinder.

    Written into `solve_ends` and into `openings.solve_store`.
    """
    store = work.store[net.end_int[k, f.END_STORE]]
    out, into = port_shares(net, k, theta_deg)
    r = inner[k, IR]
    un = inner[k, IU]
    p = inner[k, IP]
    gamma = inner[k, IGAMMA]
    # speed of the store's gas towards this branch: its stagnation pressure p0 drives gas into the
    # branch and stands against what comes out of it
    toward = max(
        0.0,
        store[f.NVX] * net.end_par[k, f.DIR_X]
        + store[f.NVY] * net.end_par[k, f.DIR_Y]
        + store[f.NVZ] * net.end_par[k, f.DIR_Z],
    )
    p0 = store[f.NP] + 0.5 * store[f.NRHO] * toward * toward
    kappa = 0.0
    v_rad = 0.0
    h = 0.0
    impedance = 0.0
    radius = net.end_par[k, f.RAD_RADIUS]
    if radius > 0.0:
        impedance = math.sqrt(gamma * p * r)
        h = dt * math.sqrt(gamma * p / r) / radius
        kappa, v_rad = radiation_load(net, state, k, impedance, h)
    p_wall = end_closed(r, un, p, gamma) + kappa * v_rad
    if p_wall > p0 and out > 1e-6:
        v, p_star, regime = port_out(
            r, un, p, gamma, inner[k, ICP], inner[k, IGAS], p0, out, kappa, v_rad,
            expected(state, k),
        )
        if regime == UNSOLVED:
            state.clock[f.UNSOLVED_END] += 1.0
        leave(net, inner, face, k, v, p_star)
    elif p_wall < p0 and into > 1e-6:
        slug = state.end[k, f.ES_SLUG]
        if slug > 0.0:
            # In the step that takes the last of it, air follows: a whole step of either would let
            # a little more or less of the slug decide where the contact lies.
            share = slug / max(slug, -dt * expected(state, k))  # of the volume
            own = share / state.end[k, f.ES_SLUG_T]
            T0 = 1.0 / (own + (1.0 - share) / store[f.NT])
            own *= T0  # of the mass
            yf = store[f.NYF] + own * (state.end[k, f.ES_SLUG_YF] - store[f.NYF])
            yb = store[f.NYB] + own * (state.end[k, f.ES_SLUG_YB] - store[f.NYB])
            gas = caloric(net.gas_R, net.gas_coef, T0, yf, yb)
        else:
            # all kinetic energy of the store leaves with its gas, also that across the branch
            kinetic = 0.5 * (store[f.NVX] ** 2 + store[f.NVY] ** 2 + store[f.NVZ] ** 2)
            T0 = store[f.NT] + kinetic / store[f.NCP]
            yf = store[f.NYF]
            yb = store[f.NYB]
            gas = store[f.NGAMMA], store[f.NCP], store[f.NR], store[f.NH] + kinetic
        enter(net, state, inner, face, k, p0, T0, gas, yf, yb, into, kappa, v_rad)
    else:
        node_closed(net, inner, face, k)
    if radius > 0.0:
        radiation_step(net, state, k, face[k, FV], kappa * (face[k, FV] - v_rad) / impedance, h)
        slug_step(net, state, inner, face, k, dt)


@part
def node_pair(net, state, inner, face, j):
    """Sudden change of area, orifice or throttle between two ducts."""
    a = net.pair[j, 0]
    b = net.pair[j, 1]
    wall_a = end_closed(inner[a, IR], inner[a, IU], inner[a, IP], inner[a, IGAMMA])
    wall_b = end_closed(inner[b, IR], inner[b, IU], inner[b, IP], inner[b, IGAMMA])
    back = wall_b > wall_a
    U = b if back else a
    D = a if back else b
    throat = net.pair_par[j, f.THROAT_BACK if back else f.THROAT_ON]
    loss = net.pair_par[j, f.LOSS_BACK if back else f.LOSS_ON]
    area_U = net.end_par[U, f.AREA]
    area_D = net.end_par[D, f.AREA]
    if loss < 0.0:
        v, pU, q, pD, missed = pair(
            inner[U, IR], inner[U, IU], inner[U, IP], inner[U, IGAMMA], inner[U, ICP],
            inner[U, IGAS], area_U, inner[D, IR], inner[D, IU], inner[D, IP], inner[D, IGAMMA],
            area_D, throat, expected(state, U),
        )
    else:
        v, pU, q, pD, missed = pair_loss(
            inner[U, IR], inner[U, IU], inner[U, IP], inner[U, IGAMMA], inner[U, ICP],
            inner[U, IGAS], area_U, inner[D, IR], inner[D, IU], inner[D, IP], inner[D, IGAMMA],
            area_D, loss, expected(state, U),
        )
    if missed > 0:
        state.clock[f.UNSOLVED_PAIR] += 1.0
    leave(net, inner, face, U, v, pU)
    flux = -face[U, F_MASS] * area_U / area_D
    yf = face[U, FYF]
    yb = face[U, FYB]
    r = -flux / q if q > 1e-9 else isentropic_density(
        inner[D, IR], inner[D, IP], inner[D, IGAMMA], pD
    )
    put(face, D, -q, pD, r, yf, yb, flux, 0.0)
    face[D, F_ENE] = -face[U, F_ENE] * area_U / area_D


@part
def node_branches(net, state, inner, face, ends, p_guess):
    """Junction of any number of ducts under one static pressure.

    Gas that flows in mixes; what flows out takes the stagnation enthalpy of the mixture.
    Returns the pressure.
    """
    p = p_guess
    h0_in = 0.0
    R_mix = inner[ends[0], IGAS]
    cp_mix = inner[ends[0], ICP]
    T_mix = inner[ends[0], IT]
    for _ in range(MAX_ITERATIONS):
        total = 0.0
        slope = 0.0
        m_in = 0.0
        sum_R = 0.0
        sum_cp = 0.0
        sum_cpT = 0.0
        for k in ends:
            area = net.end_par[k, f.AREA]
            gamma = inner[k, IGAMMA]
            v = inner[k, IU] - wave_velocity(inner[k, IR], inner[k, IP], gamma, p)
            _, stiff = wave_pressure(inner[k, IR], inner[k, IP], gamma, inner[k, IU] - v)
            if v >= 0.0:
                r = isentropic_density(inner[k, IR], inner[k, IP], gamma, p)
                m = r * v * area
                m_in += m
                sum_R += m * inner[k, IGAS]
                sum_cp += m * inner[k, ICP]
                T0 = p / (r * inner[k, IGAS]) + 0.5 * v * v / inner[k, ICP]
                sum_cpT += m * inner[k, ICP] * T0
                slope += area * (v * r / (gamma * p) - r / stiff)
            else:
                r = p / (R_mix * (T_mix - 0.5 * v * v / cp_mix))
                m = r * v * area
                slope += area * (v * r / p - r / stiff)
            total += m
        if m_in > 0.0:
            R_mix = sum_R / m_in
            cp_mix = sum_cp / m_in
            T_mix = sum_cpT / sum_cp
        step = total / slope
        p = max(p - step, 0.2 * p)
        if abs(step) < 1e-11 * p:
            break
    else:
        state.clock[f.UNSOLVED_JOINT] += 1.0
    m_in = 0.0
    m_out = 0.0
    h0_in = 0.0
    fresh_in = 0.0
    burned_in = 0.0
    for k in ends:
        area = net.end_par[k, f.AREA]
        v = inner[k, IU] - wave_velocity(inner[k, IR], inner[k, IP], inner[k, IGAMMA], p)
        if v >= 0.0:
            leave(net, inner, face, k, v, p)
            m_in += face[k, F_MASS] * area
            h0_in += face[k, F_ENE] * area
            fresh_in += face[k, F_FRESH] * area
            burned_in += face[k, F_BURNED] * area
        else:
            r = p / (R_mix * (T_mix - 0.5 * v * v / cp_mix))
            put(face, k, v, p, r, 0.0, 0.0, r * v, 0.0)
            m_out -= r * v * area
    if m_in > 0.0 and m_out > 0.0:
        balance = m_in / m_out  # 1 to the tolerance of the iteration; makes the sums exact
        for k in ends:
            if face[k, FV] < 0.0:
                flux = balance * face[k, F_MASS]
                put(face, k, face[k, FV], p, face[k, FR], fresh_in / m_in, burned_in / m_in,
                    flux, h0_in / m_in)
    else:  # nothing flows in: the branches are closed by their common pressure
        for k in ends:
            node_closed(net, inner, face, k)
    return p


@stage
def solve_ends(net, state, work, inner, face, dt, theta_deg):
    """All nodes from their inner states."""
    for k in range(net.end_int.shape[0]):
        kind = net.end_int[k, f.END_KIND]
        if kind == f.PORT:
            node_port(net, state, work, inner, face, k, dt, theta_deg)
        elif kind == f.CLOSED:
            node_closed(net, inner, face, k)
        elif kind == f.ANECHOIC:
            node_anechoic(net, state, inner, face, k)
    for j in range(net.pair.shape[0]):
        node_pair(net, state, inner, face, j)
    for j in range(net.joint.shape[0]):
        ends = net.listed[net.joint[j, 0]:net.joint[j, 1]]
        p = node_branches(net, state, inner, face, ends, state.end[ends[0], f.ES_AUX])
        state.end[ends[0], f.ES_AUX] = p


@stage
def hand_over(net, state, work, inner, face, dt):
    """Fluxes of all ends into `work.F`, faces into `state.end`."""
    for k in range(net.end_int.shape[0]):
        i = net.end_int[k, f.END_FACE]
        sign = net.end_par[k, f.SIGN]
        work.F[f.R, i] = sign * face[k, F_MASS]
        work.F[f.M, i] = face[k, F_MASS] * face[k, FV] + face[k, FP]
        work.F[f.E, i] = sign * face[k, F_ENE]
        work.F[f.Y1, i] = sign * face[k, F_FRESH]
        work.F[f.Y2, i] = sign * face[k, F_BURNED]
        remember_entered(net, state, inner, face, k, dt)
        state.end[k, f.ES_R] = face[k, FR]
        state.end[k, f.ES_U] = sign * face[k, FV]
        state.end[k, f.ES_P] = face[k, FP]
        state.end[k, f.ES_YF] = face[k, FYF]
        state.end[k, f.ES_YB] = face[k, FYB]
        state.end[k, f.ES_V_BEFORE] = state.end[k, f.ES_V]
        state.end[k, f.ES_V] = face[k, FV]
        if face[k, FP] <= FLOORED * inner[k, IP]:  # gas is drawn off beyond a vacuum
            state.clock[f.FLOORED_FACE] += 1.0
