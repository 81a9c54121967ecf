"""Gas at one state: volumes, junction cells and cylinders.

A store holds mass, total energy, fresh charge, burned gas and, for a junction cell, a momentum
vector.  The ends see it half a step ahead.  Volumes and cells find that pressure implicitly from
the waves that arrive, so that a small cell never limits the step; a cylinder extrapolates its own
rates, for its volume is large against what passes in a step.
"""

import math

from . import flat as f
from .cylinder import heat_release, volume, wall_loss
from .ends import power
from .jit import leaf, part, stage
from .nodes import F_BURNED, F_ENE, F_FRESH, F_MASS, FP, FV, ICP, IGAS, IP, IR, IT, IU
from .thermo import energy_cv, gas_constant, temperature

HASTE = 4.0  # cfl over this is the share of a cylinder's gas that may pass in a step
STIFF = 2.0  # steps over the time in which sound empties a store, from which it is solved for
LOWEST = 0.3  # share of a volume's pressure below which the first trial does not bring it
CLIPPED = 1e-9  # mass fraction outside 0 to 1 that is more than round-off
STALLED = 0.1  # share of a cell's own stream below which less passes than that, for stability


@stage
def show(work, s, p, T, yf, yb, cv, gas_R, h, vol):
    """Write the state that the ends of store `s` will see."""
    row = work.store[s]
    row[f.NP] = p
    row[f.NT] = T
    row[f.NYF] = yf
    row[f.NYB] = yb
    row[f.NGAMMA] = 1.0 + gas_R / cv
    row[f.NCP] = cv + gas_R
    row[f.NR] = gas_R
    row[f.NH] = h
    row[f.NVOL] = vol
    row[f.NRHO] = p / (gas_R * T)


@stage
def store_now(net, state, s, vol):
    """Pressure, temperature, mass fractions and cv of store `s` at the present instant."""
    mass = state.store[s, f.SM]
    yf = state.store[s, f.SF] / mass
    yb = state.store[s, f.SB] / mass
    kinetic = 0.5 * (
        state.store[s, f.SX] ** 2 + state.store[s, f.SY] ** 2 + state.store[s, f.SZ] ** 2
    ) / (mass * mass)
    e = state.store[s, f.SE] / mass - kinetic
    T, cv, missed = temperature(net.gas_coef, e, yf, yb, state.store[s, f.ST])
    if missed > 0:
        state.clock[f.UNSOLVED_STORE] += 1.0
    state.store[s, f.ST] = T
    return mass / vol * gas_constant(net.gas_R, yf, yb) * T, T, yf, yb, cv


@stage
def stores_rate(net, state, work):
    """Rate that bounds the step [1/s] so that no cylinder empties in it; NaN if one has no gas.

    It rules only where a small clearance volume stands wide open to coarse cells.
    """
    rate = 0.0
    for s in range(net.store_int.shape[0]):
        if net.store_int[s, f.STORE_KIND] == f.AMBIENT:
            continue
        mass = state.store[s, f.SM]
        if not (mass > 0.0 and work.store[s, f.NP] > 0.0 and math.isfinite(state.store[s, f.SE])):
            return math.nan
        if net.store_int[s, f.STORE_KIND] == f.CYLINDER:
            rate = max(rate, HASTE * abs(state.store[s, f.RATE_M]) / mass)
    return rate


@stage
def stores_ahead(net, state, work, inner, dt, theta_deg):
    """State of all stores at half a step ahead; `theta_deg` is the angle at the step's start."""
    omega = net.options[f.OMEGA_DEG]
    for s in range(net.store_int.shape[0]):
        kind = net.store_int[s, f.STORE_KIND]
        if kind == f.AMBIENT:
            continue
        if kind == f.CYLINDER:
            cyl = net.cyl_par[net.store_int[s, f.STORE_CYL]]
            if work.store[s, f.N_ANGLE] != theta_deg:  # not the end of the step before
                work.store[s, f.NV_KNOWN] = volume(cyl, theta_deg)
            vol = work.store[s, f.NV_KNOWN]
            vol_half = volume(cyl, theta_deg + 0.5 * dt * omega)
            p, _, _, _, _ = store_now(net, state, s, vol)
            mass = state.store[s, f.SM] + 0.5 * dt * state.store[s, f.RATE_M]
            energy = state.store[s, f.SE] + 0.5 * dt * state.store[s, f.RATE_E]
            energy -= p * (vol_half - vol)
            yf = state.store[s, f.SF] / state.store[s, f.SM]
            yb = state.store[s, f.SB] / state.store[s, f.SM]
            e = energy / mass
            gas_R = gas_constant(net.gas_R, yf, yb)
            T, cv, missed = temperature(net.gas_coef, e, yf, yb, state.store[s, f.ST])
            if missed > 0:
                state.clock[f.UNSOLVED_STORE] += 1.0
            p_half = mass / vol_half * gas_R * T
            show(work, s, p_half, T, yf, yb, cv, gas_R, e + gas_R * T, vol_half)
            continue
        vol = net.store_volume[s]
        p, T, yf, yb, cv = store_now(net, state, s, vol)
        gas_R = gas_constant(net.gas_R, yf, yb)
        gamma = 1.0 + gas_R / cv
        give = 0.5 * dt * gamma * gas_R * T / vol
        above = p
        below = 1.0
        for j in range(net.store_int[s, f.STORE_FIRST], net.store_int[s, f.STORE_LAST]):
            k = net.listed[j]
            area = net.end_par[k, f.AREA] * net.end_par[k, f.CD_OUT]
            r = inner[k, IR]
            c = math.sqrt(inner[k, IGAS] * inner[k, IT] * inner[k, ICP] / (
                inner[k, ICP] - inner[k, IGAS]))
            above += give * area * (r * inner[k, IU] + inner[k, IP] / c)
            below += give * area / c
        now = work.store[s]
        now[f.N_BEFORE] = p
        now[f.N_STIFF] = 2.0 * (below - 1.0)
        p_half = above / below
        if p_half < LOWEST * p:  # no linear matter any more
            now[f.N_STIFF] = max(STIFF, now[f.N_STIFF])
        if now[f.N_STIFF] > STIFF:
            even = (above - p) / (below - 1.0)  # pressure at which as much comes as goes
            p_half = p + (1.0 - 1.0 / now[f.N_STIFF]) * (even - p)
        p_half = max(LOWEST * p, p_half)
        T_half = T * power(p_half / p, (gamma - 1.0) / gamma)
        e_half, cv_half = energy_cv(net.gas_coef, T_half, yf, yb)
        show(work, s, p_half, T_half, yf, yb, cv_half, gas_R, e_half + gas_R * T_half, vol)
        mass = state.store[s, f.SM]
        work.store[s, f.NVX] = state.store[s, f.SX] / mass
        work.store[s, f.NVY] = state.store[s, f.SY] / mass
        work.store[s, f.NVZ] = state.store[s, f.SZ] / mass


@stage
def stores_step(net, state, work, record, face, dt, theta_deg, theta_next):
    """Add what has passed the ends; move pistons, burn, lose heat to the walls."""
    for s in range(net.store_int.shape[0]):
        if net.store_int[s, f.STORE_KIND] == f.AMBIENT:
            continue
        row = state.store[s]
        mass = 0.0
        energy = 0.0
        fresh = 0.0
        burned = 0.0
        for j in range(net.store_int[s, f.STORE_FIRST], net.store_int[s, f.STORE_LAST]):
            k = net.listed[j]
            area = net.end_par[k, f.AREA]
            mass += face[k, F_MASS] * area
            energy += face[k, F_ENE] * area
            fresh += face[k, F_FRESH] * area
            burned += face[k, F_BURNED] * area
        state.store[s, f.RATE_M] = mass
        state.store[s, f.RATE_E] = energy
        held = row[f.SM]
        row[f.SM] += dt * mass
        row[f.SE] += dt * energy
        keep_parts(state, row, row[f.SF] + dt * fresh, row[f.SB] + dt * burned)
        if net.store_int[s, f.STORE_KIND] == f.CELL:
            vx, vy, vz = cell_velocity(net, work, row, face, s, held, row[f.SM], dt, 1.0)
            row[f.SX] = row[f.SM] * vx
            row[f.SY] = row[f.SM] * vy
            row[f.SZ] = row[f.SM] * vz
        if net.store_int[s, f.STORE_KIND] == f.CYLINDER:
            cylinder_step(net, state, work, record, s, dt, theta_deg, theta_next)


@part
def keep_parts(state, row, fresh, burned):
    """Set fresh charge and burned gas of a store; round-off takes neither beyond what it holds."""
    if min(fresh, burned, row[f.SM] - fresh - burned) < -CLIPPED * row[f.SM]:
        state.clock[f.CLIPPED_FRACTION] += 1.0
    row[f.SF] = min(row[f.SM], max(0.0, fresh))
    row[f.SB] = min(row[f.SM] - row[f.SF], max(0.0, burned))


@stage
def cell_velocity(net, work, row, face, s, before, mass, dt, least):
    """Velocity (x, y, z) of the gas in a junction cell after a step, or that its ends see.

    `before` and `mass` are the gas that it held before and holds now [kg]; `row` has the momentum
    of the former.  `least` is 1 for the velocity after the step and 0 for that which the ends see:
    the one before, in a cell that sound and gas cross in more than a step, and with a faster
    crossing more and more of the one after.

    A jet brings its momentum along its duct, and the excess of its face pressure over that of the
    cell.  What leaves takes the cell's own velocity.  If it leaves slower than the cell's gas comes
    towards the branch, the branch pushes back with the rest of its momentum and pressure, so that a
    widening path loses what Borda and Carnot say.  If it leaves faster, it is drawn from all sides
    and the wall round the mouth bears what that takes.

    The velocity that balances this is reached as fast as sound and gas cross the cell: pressure
    waves set the gas in a straight passage moving long before the jet has crossed it.  In a cell
    that is crossed within a step the velocity that its ends see goes to that only as far as the
    pressure that builds up before branches ahead allows, or it would swing; and it is not faster
    than sound.
    """
    now = work.store[s]
    into = 0.0
    out = 0.0
    widest = 0.0
    against = 0.0
    gx = 0.0
    gy = 0.0
    gz = 0.0
    for j in range(net.store_int[s, f.STORE_FIRST], net.store_int[s, f.STORE_LAST]):
        k = net.listed[j]
        area = net.end_par[k, f.AREA]
        x = net.end_par[k, f.DIR_X]
        y = net.end_par[k, f.DIR_Y]
        z = net.end_par[k, f.DIR_Z]
        flow = face[k, F_MASS] * area
        push = (face[k, FP] - now[f.NP]) * area + flow * face[k, FV]
        toward = now[f.NVX] * x + now[f.NVY] * y + now[f.NVZ] * z
        against += now[f.NRHO] * area * max(0.0, toward)
        if flow > 0.0:
            into += flow
        else:
            out -= flow
            push = max(0.0, push + flow * toward) if toward > -face[k, FV] else 0.0
        gx -= push * x
        gy -= push * y
        gz -= push * z
        widest = max(widest, area)
    speed = math.sqrt(now[f.NVX] ** 2 + now[f.NVY] ** 2 + now[f.NVZ] ** 2)
    passing = max(into, out, STALLED * now[f.NRHO] * widest * speed)
    vx = now[f.NVX]
    vy = now[f.NVY]
    vz = now[f.NVZ]
    if passing > 0.0:
        c = math.sqrt(now[f.NGAMMA] * now[f.NR] * now[f.NT])
        pace = dt * (c / now[f.N_WIDTH] + passing / mass)
        vx0 = row[f.SX] / before
        vy0 = row[f.SY] / before
        vz0 = row[f.SZ] / before
        share = pace / (1.0 + pace)
        ease = 1.0
        if pace > 1.0:
            share *= max(least, 1.0 - 1.0 / pace)
            ease = 1.0 / (1.0 + (pace - 1.0) / (1.0 + pace) * against / passing)
        else:
            share *= least
        vx += ease * (vx0 - vx + share * (gx / passing - vx0))
        vy += ease * (vy0 - vy + share * (gy / passing - vy0))
        vz += ease * (vz0 - vz + share * (gz / passing - vz0))
        if pace > 1.0:
            held = min(1.0, c / max(1e-9, math.sqrt(vx * vx + vy * vy + vz * vz)))
            vx *= held
            vy *= held
            vz *= held
    return vx, vy, vz


@leaf
def reaches(angle, before, after):
    """True if the crank reaches `angle` (mod 720) on its way from `before` to `after`.

    All angles lie on the grid of `step.crank_angle`, half of which keeps round-off from deciding.
    """
    angle -= 0.5 / f.PER_DEGREE
    return math.floor((after - angle) / 720.0) > math.floor((before - angle) / 720.0)


@part
def cylinder_step(net, state, work, record, s, dt, theta_deg, theta_next):
    """Piston work, heat release, wall loss and the sums of one cylinder over one step."""
    number = net.store_int[s, f.STORE_CYL]
    cyl = net.cyl_par[number]
    own = state.cyl[number]
    sums = record.cyl_sum[number]
    row = state.store[s]
    now = work.store[s]
    omega = net.options[f.OMEGA_DEG]
    before = theta_deg - cyl[f.PHASE]
    after = theta_next - cyl[f.PHASE]  # to the bit the next step's `before`: no event is lost
    middle = 0.5 * (before + after)
    p = now[f.NP]
    later = volume(cyl, theta_next)
    done = p * (later - now[f.NV_KNOWN])
    now[f.NV_KNOWN] = later
    now[f.N_ANGLE] = theta_next
    row[f.SE] -= done
    stroke = int(math.floor((middle - 720.0 * math.floor(middle / 720.0)) / 180.0))
    sums[f.WORK_0 + min(stroke, 3)] += done

    if reaches(cyl[f.SOC], before, after):
        own[f.FRESH_AT_SOC] = row[f.SF]
    share = heat_release(cyl, before, after)
    burning = max(0.0, min(share * own[f.FRESH_AT_SOC], row[f.SF]))
    if burning > 0.0:
        row[f.SF] -= burning
        row[f.SB] += burning
        released = burning * cyl[f.Q_FRESH]
        row[f.SE] += released
        sums[f.HEAT_RELEASE] += released
        sums[f.FRESH_BURNED] += burning
    lost = 0.0
    if cyl[f.HEAT_MODEL_FACTOR] > 0.0:
        lost = dt * wall_loss(cyl, own, now, middle, omega)
        row[f.SE] -= lost
        sums[f.WALL_LOSS] += lost
    state.store[s, f.RATE_E] += (burning * cyl[f.Q_FRESH] - lost) / dt

    if p > sums[f.PEAK]:
        sums[f.PEAK] = p
        sums[f.PEAK_ANGLE] = middle - 720.0 * math.floor(middle / 720.0)
    closes = reaches(cyl[f.IVC], before, after)
    opens = reaches(cyl[f.EVO], before, after)
    if closes or opens:  # at the end of a slice, and so of this step
        p, T, _, _, _ = store_now(net, state, s, later)
        if closes:
            own[f.P_IVC] = p
            own[f.V_IVC] = later
            own[f.T_IVC] = T
            sums[f.TRAP_MASS] = row[f.SM]
            sums[f.TRAP_FRESH] = row[f.SF]
            sums[f.TRAP_BURNED] = row[f.SB]
            sums[f.TRAP_P] = p
            sums[f.TRAP_T] = T
        if opens:
            sums[f.EVO_P] = p
            sums[f.EVO_T] = T
            sums[f.EVO_MASS] = row[f.SM]
