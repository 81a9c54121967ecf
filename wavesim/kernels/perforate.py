"""Exchange between two ducts through a perforated wall, cell by cell.

The gas in a hole has the velocity U (positive from core to annulus) and obeys

    rho l dU/dt = p_core - p_annulus - (r0 rho c + b + rho |U| (1 - sigma^2) / (2 Cd^2)) U,

with the length l = t + 0.75 d, the resistance r0 = 0.006 (1 + 72.23 M) of the linear impedance
(Sullivan and Crocker, JASA 64 (1978); growth with the grazing Mach number M from Rao and Munjal,
J. Sound Vib. 108 (1986); both from memory) and the resistance b of a packing behind the hole.

The exchange is a step of its own before that of the ducts, and changes the gas that the ducts then
see: in that order waves come through the wall with second order, for the two steps in turn are the
symmetric splitting of Strang (1968) seen half a step later.  Velocity and pressure difference are
found together, implicitly: the trapezoidal rule, which turns into the backward one where the holes
follow within less than a step, so that no hole area limits the step.  What leaves one cell enters
the other; the wall takes the axial momentum of what passes.

A packing in the annulus resists the flow along it in proportion to the velocity and holds the gas
near the temperature of its fibres; half a step of that comes before the exchange, half behind.

The holes of one wall lie side by side, as do the cells on its two sides: hole `first + k` joins the
core cell `core + k` to the annulus cell `annulus + k`.  All loops run over one wall.
"""

import math

import numpy as np

from . import flat as f
from .cells import decay, pick
from .jit import kernel, leaf, part
from .thermo import energy_cv, gas_constant, viscosity

LINEAR_RESISTANCE = 0.006
GRAZING = 72.23
LARGEST_SHARE = 0.3  # of the gas of a cell that may pass in one step
MU_COLD = 1.81e-5  # [Pa s] air at 293 K, for which resistivities are given


@part
def exchange(net, state, work, record, dt):
    """Gas through all holes in one step; renews the primitive values of the cells concerned."""
    U, W, T, cells = state.U, work.W, state.T, net.cells
    par, passed, speed = net.hole_par, work.hole, state.hole_u
    for wall in range(net.hole_wall.shape[0]):
        first, count = net.hole_wall[wall, f.FIRST_HOLE], net.hole_wall[wall, f.HOLES]
        core, annulus = net.hole_wall[wall, f.CORE_CELL], net.hole_wall[wall, f.ANNULUS_CELL]
        if par[f.RESIST, first] > 0.0:
            fibres(U, W, T, cells, par, record.wall, first, count, annulus, 0.5 * dt)
        state.clock[f.CAPPED_HOLE] += hole_velocities(
            U, W, T, cells, par, passed, speed, first, count, core, annulus, dt
        )
        passing_gas(U, W, passed, first, count, core, annulus)
        if par[f.RESIST, first] > 0.0:
            count_ways(
                passed[f.PASS_R], work.F[f.R], net.area, record.ways, first, count, core, annulus,
                dt,
            )
        add(U, cells, passed, passed[f.PASS_CORE], first, count, core, -1.0)
        add(U, cells, passed, passed[f.PASS_ANNULUS], first, count, annulus, 1.0)
        renew(U, W, T, net.gas_R, net.gas_coef, count, core)
        renew(U, W, T, net.gas_R, net.gas_coef, count, annulus)
        if par[f.RESIST, first] > 0.0:
            fibres(U, W, T, cells, par, record.wall, first, count, annulus, 0.5 * dt)


@kernel
def fibres(U, W, T, cells, par, books, first, count, annulus, dt):
    """Resistance and heat of the fibres in annulus cells over the time `dt`, to second order."""
    r, m, e = U[f.R], U[f.M], U[f.E]
    u, p, c = W[f.U], W[f.P], W[f.C]
    vol, wall = cells[f.VOL], cells[f.WALL]
    resist, fibre = par[f.RESIST], par[f.FIBRE]
    gain, grip = books[f.GAIN], books[f.GRIP]
    for k in range(np.uintp(count)):
        j = np.uintp(annulus) + k
        q = np.uintp(first) + k
        slowed = decay(dt * resist[q] * viscosity(T[j]) / (MU_COLD * r[j]))
        capacity = p[j] * p[j] / (T[j] * (r[j] * c[j] * c[j] - p[j]))  # r cv
        held = (1.0 - decay(dt * fibre[q] / capacity)) * capacity
        heat = held * (wall[j] - T[j])
        rubbed = 0.5 * m[j] * u[j] * (1.0 - slowed * slowed)  # kinetic energy turned into heat
        warmer = 1.0 + (heat + rubbed) / (capacity * T[j])
        e[j] += heat
        m[j] *= slowed
        u[j] *= slowed
        p[j] *= warmer
        c[j] *= 0.5 * (1.0 + warmer)  # its root, to second order
        T[j] *= warmer
        gain[j] += heat * vol[j]
        grip[j] += held * vol[j]


@kernel
def hole_velocities(U, W, T, cells, par, passed, speed, first, count, core, annulus, dt):
    """Velocities in the holes after the step, and the volume of gas that passes each.

    With s the resistance over the inertance of a step, the mean lies the share max(1/2, 1 - 1/s)
    of the way from the old velocity to the new: then the new one never swings through.  Returns how
    many were held to `LARGEST_SHARE`.
    """
    r = U[f.R]
    u, p, c = W[f.U], W[f.P], W[f.C]
    inv_vol = cells[f.INV_VOL]
    hole_area, length = par[f.HOLE_AREA], par[f.HOLE_LENGTH]
    loss, packing = par[f.HOLE_LOSS], par[f.HOLE_BACKING]
    volume = passed[f.PASS_VOLUME]
    capped = 0.0
    for k in range(np.uintp(count)):
        i = np.uintp(core) + k
        j = np.uintp(annulus) + k
        q = np.uintp(first) + k
        old = speed[q]
        area = hole_area[q]
        drop = p[i] - p[j]
        outward = drop > 0.0  # in steady flow the gas of the donor fills the hole
        donor_r = pick(outward, r[i], r[j])
        donor_c = pick(outward, c[i], c[j])
        stiff = r[i] * c[i] * c[i] * inv_vol[i] + r[j] * c[j] * c[j] * inv_vol[j]
        answer = dt * area * stiff
        inertia = donor_r * length[q] / dt
        backing = packing[q] * viscosity(T[j]) / MU_COLD
        linear = donor_r * LINEAR_RESISTANCE * (donor_c + GRAZING * abs(u[i])) + backing
        square = donor_r * loss[q]
        stiffness = (0.5 * answer + linear + square * abs(old)) / inertia
        theta = max(0.5, 1.0 - 1.0 / stiffness)
        push = inertia / theta * old + drop
        hold = inertia / theta + theta * answer + linear
        mean = 2.0 * push / (hold + math.sqrt(hold * hold + 4.0 * square * abs(push)))
        limit = LARGEST_SHARE / (area * dt * pick(mean > 0.0, inv_vol[i], inv_vol[j]))
        kept = min(limit, max(-limit, mean))
        new = old + (mean - old) / theta
        speed[q] = kept if kept != mean and abs(old) <= limit else new
        volume[q] = kept * area * dt
        capped += 1.0 if kept != mean else 0.0
    return capped


@kernel
def passing_gas(U, W, passed, first, count, core, annulus):
    """Mass, energy, fresh charge and burned gas in the volumes that pass.

    And the axial momentum that they take from the core or the annulus to the wall.
    """
    r, m, e = U[f.R], U[f.M], U[f.E]
    y1, y2, p = U[f.Y1], U[f.Y2], W[f.P]
    volume, mass, energy = passed[f.PASS_VOLUME], passed[f.PASS_R], passed[f.PASS_E]
    fresh, burned = passed[f.PASS_Y1], passed[f.PASS_Y2]
    from_core, from_annulus = passed[f.PASS_CORE], passed[f.PASS_ANNULUS]
    for k in range(np.uintp(count)):
        i = np.uintp(core) + k
        j = np.uintp(annulus) + k
        q = np.uintp(first) + k
        v = volume[q]
        outward = v > 0.0
        mass[q] = v * pick(outward, r[i], r[j])
        energy[q] = v * pick(outward, e[i] + p[i], e[j] + p[j])
        from_core[q] = max(0.0, v) * m[i]
        from_annulus[q] = max(0.0, -v) * m[j]
    for k in range(np.uintp(count)):
        i = np.uintp(core) + k
        j = np.uintp(annulus) + k
        q = np.uintp(first) + k
        v = volume[q]
        outward = v > 0.0
        fresh[q] = v * pick(outward, y1[i], y1[j])
        burned[q] = v * pick(outward, y2[i], y2[j])


@kernel
def count_ways(mass, flux, area, ways, first, count, core, annulus, dt):
    """Add what goes each way through the holes and along both ducts.

    Along the ducts it is what went in the step before: `flux` is of that step.
    """
    out, into = ways[f.WAY_OUT], ways[f.WAY_IN]
    core_on, core_back = ways[f.WAY_CORE_ON], ways[f.WAY_CORE_BACK]
    annulus_on, annulus_back = ways[f.WAY_ANNULUS_ON], ways[f.WAY_ANNULUS_BACK]
    for k in range(np.uintp(count)):
        i = np.uintp(core + 1) + k
        j = np.uintp(annulus + 1) + k
        q = np.uintp(first) + k
        out[q] += max(0.0, mass[q])
        into[q] += max(0.0, -mass[q])
        along = dt * flux[i] * area[i]
        core_on[q] += max(0.0, along)
        core_back[q] += max(0.0, -along)
        along = dt * flux[j] * area[j]
        annulus_on[q] += max(0.0, along)
        annulus_back[q] += max(0.0, -along)


@kernel
def add(U, cells, passed, momentum, first, count, lo, sign):
    """Give what has passed to the cells from `lo` on, or take it; momentum is only lost."""
    r, m, e = U[f.R], U[f.M], U[f.E]
    y1, y2 = U[f.Y1], U[f.Y2]
    inv_vol = cells[f.INV_VOL]
    mass, energy = passed[f.PASS_R], passed[f.PASS_E]
    fresh, burned = passed[f.PASS_Y1], passed[f.PASS_Y2]
    for k in range(np.uintp(count)):
        i = np.uintp(lo) + k
        q = np.uintp(first) + k
        per = inv_vol[i]
        r[i] += sign * per * mass[q]
        m[i] -= per * momentum[q]
        e[i] += sign * per * energy[q]
        y1[i] += sign * per * fresh[q]
        y2[i] += sign * per * burned[q]


@kernel
def renew(U, W, T, R, coef, count, lo):
    """Primitive values of cells from conserved ones, by one Newton step from the old ones."""
    r, m, e = U[f.R], U[f.M], U[f.E]
    y1, y2 = U[f.Y1], U[f.Y2]
    u, p, c = W[f.U], W[f.P], W[f.C]
    yf, yb = W[f.YF], W[f.YB]
    for k in range(np.uintp(count)):
        i = np.uintp(lo) + k
        per = 1.0 / r[i]
        u[i] = m[i] * per
        yf[i] = y1[i] * per
        yb[i] = y2[i] * per
        p[i] = e[i] * per - 0.5 * u[i] * u[i]  # until the pressure takes its place
    for k in range(np.uintp(count)):
        i = np.uintp(lo) + k
        T[i], p[i], c[i] = newton(R, coef, T[i], r[i], p[i], yf[i], yb[i])


@leaf
def newton(R, coef, T, r, warmth, yf, yb):
    """Temperature, pressure and sound speed at the internal energy `warmth`, T being near it."""
    e, cv = energy_cv(coef, T, yf, yb)
    per = 1.0 / cv
    T = T + (warmth - e) * per
    gas_R = gas_constant(R, yf, yb)
    return T, r * gas_R * T, math.sqrt((1.0 + gas_R * per) * gas_R * T)
