"""What passes the openings of the stores in a step: never more than they hold.

A large store changes little in a step: its ends see it half a step ahead (`stores_ahead`), and what
they pass is what it gains or loses.  A small one is filled and emptied many times over.  The
pressure p_s that its ends see then solves

    p_s = p + theta (p' - p),   p' the pressure after the step, theta = max(1/2, 1 - 1/s),

with s the step over the time in which sound empties the store.  Up to s = 2 this is the implicit
midpoint rule, as for a large store; beyond, p' is the pressure at which as much comes as goes,
reached within one step and without swinging about it.

What leaves is at most `HELD` of the gas that was there; beyond that, it is gas in the state after
the step: m' y' = m y + what comes - what goes, solved for y', and likewise for the energy.  All
weights are positive, so that no fraction leaves 0 to 1 and no heat runs out.  With the volume goes
the store's own gas; what is left is a junction without mass, where as much goes as comes, and what
goes is what has come, well mixed.
"""

import math

from . import flat as f
from .jit import aside, kernel, part, stage
from .nodes import F_BURNED, F_ENE, F_FRESH, F_MASS, FYB, FYF, node_port
from .stores import STIFF, cell_velocity, show
from .thermo import caloric, energy_cv, gas_constant

HELD = 0.5  # share of a store's gas that may leave in a step as it was
UNHARMED = 0.25  # steps over the time in which sound empties a store, up to which it has enough
TOLERANCE = 1e-8  # of the last step of the pressure; the masses are then set right
MIXED = 1e-6  # of the enthalpy that leaves: what the ends saw against what came out
TURNS = 3  # renewals of the velocity of a junction cell, and of gas before they go half way only
NEAR = 1e-4  # of the pressure: so near it must be before the gas is renewed once more
MAX_TRIALS = 80
TEMPERATURES = 12  # trials of the temperature after a step


@kernel
def after_step(R, coef, row, kinetic, gain, energy, fresh, burned, loss, h_kept):
    """State of a store after a step, and of what leaves it.

    `row` is its state before, `gain` to `loss` what passes [kg, J], `h_kept` the enthalpy [J/kg] of
    the gas as it was.  Returns temperature, gas constant and cv after the step; fractions, enthalpy
    and a temperature of what leaves; 1 if the temperature was not found.
    """
    mass = row[f.SM]
    kept = min(loss, HELD * mass)
    rest = loss - kept
    whole = mass + gain - kept
    left = 1.0 - kept / mass
    yf = (left * row[f.SF] + fresh) / whole
    yb = (left * row[f.SB] + burned) / whole
    gas_R = gas_constant(R, yf, yb)
    heat = row[f.SE] + energy - kept * h_kept - (mass + gain) * kinetic
    T = row[f.ST]
    e = 0.0
    cv = 0.0
    missed = 1
    for _ in range(TEMPERATURES):  # (whole - rest) e + rest h = heat
        e, cv = energy_cv(coef, T, yf, yb)
        step = (heat - whole * e - rest * gas_R * T) / (whole * cv + rest * gas_R)
        step = min(T, max(-0.5 * T, step))
        T += step
        e += cv * step
        if abs(step) < 1e-8 * T:
            missed = 0
            break
    share = rest / loss if loss > 0.0 else 1.0
    yf_out = (1.0 - share) * row[f.SF] / mass + share * yf
    yb_out = (1.0 - share) * row[f.SB] / mass + share * yb
    h_out = (1.0 - share) * h_kept + share * (e + gas_R * T)
    return T, gas_R, cv, yf_out, yb_out, h_out, (1.0 - share) * row[f.ST] + share * T, missed


@kernel
def closer(p, off, low, high, tried, off_before, slope):
    """Next trial of a pressure between `low` and `high` that is `off` at p: by the secant.

    `tried` is the trial before, 0 if there is none.  Returns (next trial, slope).
    """
    if tried > 0.0 and tried != p:
        slope = max(1.0, (off - off_before) / (p - tried))
    after = max(0.4 * p, min(2.5 * p, p - off / slope))
    if not low < after < high:
        after = 0.5 * (low + min(high, 2.0 * p))
    return after, slope


@part
def passed(net, face, s, dt):
    """What comes into a store in a step: mass, energy, fresh charge, burned gas; mass that leaves.
    """
    gain = 0.0
    energy = 0.0
    fresh = 0.0
    burned = 0.0
    loss = 0.0
    for j in range(net.store_int[s, f.STORE_FIRST], net.store_int[s, f.STORE_LAST]):
        k = net.listed[j]
        share = dt * net.end_par[k, f.AREA]
        if face[k, F_MASS] > 0.0:
            gain += share * face[k, F_MASS]
            energy += share * face[k, F_ENE]
            fresh += share * face[k, F_FRESH]
            burned += share * face[k, F_BURNED]
        else:
            loss -= share * face[k, F_MASS]
    return gain, energy, fresh, burned, loss


@part
def let_go(net, face, s, scale, yf, yb, h0, heat_too):
    """Give what leaves a store these fractions, and this stagnation enthalpy with its mass scaled.
    """
    for j in range(net.store_int[s, f.STORE_FIRST], net.store_int[s, f.STORE_LAST]):
        k = net.listed[j]
        if face[k, F_MASS] < 0.0:
            if heat_too:
                face[k, F_MASS] *= scale
                face[k, F_ENE] = face[k, F_MASS] * h0
            face[k, FYF] = yf
            face[k, FYB] = yb
            face[k, F_FRESH] = face[k, F_MASS] * yf
            face[k, F_BURNED] = face[k, F_MASS] * yb


@part
def show_mixed(net, work, s, p, T, yf, yb, h, share):
    """Bring the gas that the ends of a store see nearer to what leaves, by a share of the way."""
    now = work.store[s]
    T = now[f.NT] + share * (T - now[f.NT])
    yf = now[f.NYF] + min(1.0, share) * (yf - now[f.NYF])
    yb = now[f.NYB] + min(1.0, share) * (yb - now[f.NYB])
    h = now[f.NH] + share * (h - now[f.NH])
    _, cp, gas_R, _ = caloric(net.gas_R, net.gas_coef, T, yf, yb)
    show(work, s, p, T, yf, yb, cp - gas_R, gas_R, h, now[f.NVOL])


@aside
def solve_store(net, state, work, inner, face, s, dt, theta_deg):
    """Faces of the ends that open into a small store, whose first trial stands in `face`."""
    kind = net.store_int[s, f.STORE_KIND]
    row = state.store[s]
    now = work.store[s]
    p = now[f.N_BEFORE]
    theta = 1.0 - 1.0 / max(STIFF, now[f.N_STIFF])
    slope = 1.0 + theta * now[f.N_STIFF]
    h_kept = now[f.NH]
    low, high, tried, off_before = 0.0, math.inf, 0.0, 0.0
    renewed = 0
    for trial in range(MAX_TRIALS):
        if trial > 0:
            for j in range(net.store_int[s, f.STORE_FIRST], net.store_int[s, f.STORE_LAST]):
                node_port(net, state, work, inner, face, net.listed[j], dt, theta_deg)
        gain, energy, fresh, burned, loss = passed(net, face, s, dt)
        kinetic = 0.5 * (now[f.NVX] ** 2 + now[f.NVY] ** 2 + now[f.NVZ] ** 2)
        T, gas_R, cv, yf_out, yb_out, h_out, T_out, missed = after_step(
            net.gas_R, net.gas_coef, row, kinetic, gain, energy, fresh, burned, loss, h_kept
        )
        p_tried = now[f.NP]
        per_mass = gas_R * T / now[f.NVOL]
        off = p_tried - p - theta * ((row[f.SM] + gain - loss) * per_mass - p)
        if off > 0.0:
            high = p_tried
        else:
            low = p_tried
        after, slope = closer(p_tried, off, low, high, tried, off_before, slope)
        mixed = loss == 0.0 or abs(h_out - now[f.NH]) < MIXED * cv * T
        turning = kind == f.CELL and renewed < TURNS
        vx, vy, vz = now[f.NVX], now[f.NVY], now[f.NVZ]
        if turning:
            vx, vy, vz = cell_velocity(net, work, row, face, s, row[f.SM], row[f.SM], dt, 0.0)
            turn = abs(vx - now[f.NVX]) + abs(vy - now[f.NVY]) + abs(vz - now[f.NVZ])
            mixed = mixed and turn * turn < MIXED * MIXED * cv * T
        done = mixed and abs(off) < slope * TOLERANCE * p_tried
        if done or trial == MAX_TRIALS - 1 or kind == f.CYLINDER:
            wanted = row[f.SM] + gain - (p + (p_tried - p) / theta) / per_mass
            scale = wanted / loss if wanted > 0.0 and loss > 0.0 else 1.0
            if kind != f.CYLINDER and scale != 1.0:  # what the iteration left
                T, gas_R, cv, yf_out, yb_out, h_out, T_out, missed = after_step(
                    net.gas_R, net.gas_coef, row, kinetic, gain, energy, fresh, burned,
                    scale * loss, h_kept,
                )
            if missed > 0 or not (done or kind == f.CYLINDER):
                state.clock[f.UNSOLVED_STORE] += 1.0
            let_go(net, face, s, scale, yf_out, yb_out, h_out + kinetic, kind != f.CYLINDER)
            break
        tried, off_before = p_tried, off
        now[f.NP] = after
        now[f.NRHO] *= after / p_tried
        if after < 1.05 * (1.0 - theta) * p:  # p' would not be positive
            theta = 1.0
            low, high, tried = 0.0, math.inf, 0.0
        near = 0.5 if renewed < TURNS else NEAR * slope
        if not mixed and abs(off) < near * p_tried:  # else p' may be nonsense
            renewed += 1
            if loss > 0.0:
                show_mixed(net, work, s, after, T_out, yf_out, yb_out, h_out,
                           1.0 if renewed <= TURNS else 0.5 if renewed <= 3 * TURNS else 0.25)
            now[f.NVX], now[f.NVY], now[f.NVZ] = vx, vy, vz
            low, high, tried = 0.0, math.inf, 0.0  # all trials were of other gas


@part
def lost(net, face, s, dt):
    """Mass [kg] that leaves a store in a step."""
    loss = 0.0
    for j in range(net.store_int[s, f.STORE_FIRST], net.store_int[s, f.STORE_LAST]):
        k = net.listed[j]
        loss -= dt * net.end_par[k, f.AREA] * min(0.0, face[k, F_MASS])
    return loss


@stage
def spare_small_stores(net, state, work, inner, face, dt, theta_deg):
    """Solve anew for all stores from which more would leave than they can give."""
    for s in range(net.store_int.shape[0]):
        kind = net.store_int[s, f.STORE_KIND]
        stiff = work.store[s, f.N_STIFF] if kind != f.CYLINDER else 1.0
        if kind == f.AMBIENT or stiff < UNHARMED:
            continue
        if stiff >= STIFF or lost(net, face, s, dt) > HELD * state.store[s, f.SM]:
            solve_store(net, state, work, inner, face, s, dt, theta_deg)
