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
"""

import math

from . import flat as f
from .cells import decay
from .jit import stage
from .thermo import energy_cv, gas_constant, viscosity

LINEAR_RESISTANCE = 0.006
GRAZING = 72.23
LARGEST_SHARE = 0.3  # of the gas of a cell that may pass in one step
MU_COLD = 1.81e-5  # [Pa s] air at 293 K, for which resistivities are given


@stage
def exchange(net, state, work, record, dt):
    """Gas through all holes in one step; renews the primitive values of the cells concerned."""
    for k in range(net.hole.shape[0]):
        i = net.hole[k, 0]
        j = net.hole[k, 1]
        area = net.hole_par[k, f.HOLE_AREA]
        packed = net.hole_par[k, f.RESIST] > 0.0
        if packed:
            fibres(net, state, work, record, k, j, 0.5 * dt)
        drop = work.W[f.P, i] - work.W[f.P, j]
        old = state.hole_u[k]
        mean, new = hole_velocity(net, state, work, k, i, j, drop, dt)
        donor = i if mean > 0.0 else j
        limit = LARGEST_SHARE * net.cells[f.VOL, donor] / (area * dt)
        if abs(mean) > limit:
            mean = math.copysign(limit, mean)
            new = mean if abs(old) > limit else new
        state.hole_u[k] = new
        volume = mean * area * dt
        mass = volume * state.U[f.R, donor]
        energy = volume * (state.U[f.E, donor] + work.W[f.P, donor])
        fresh = volume * state.U[f.Y1, donor]
        burned = volume * state.U[f.Y2, donor]
        momentum = abs(volume) * state.U[f.M, donor]
        give(net, state, i, -mass, -energy, -fresh, -burned)
        give(net, state, j, mass, energy, fresh, burned)
        state.U[f.M, donor] -= net.cells[f.INV_VOL, donor] * momentum
        renew(net, state, work, i)
        renew(net, state, work, j)
        if packed:
            fibres(net, state, work, record, k, j, 0.5 * dt)


@stage
def fibres(net, state, work, record, k, j, dt):
    """Resistance and heat of the fibres in an annulus cell over the time `dt`, to second order."""
    r = state.U[f.R, j]
    resist = net.hole_par[k, f.RESIST] * viscosity(state.T[j]) / MU_COLD
    state.U[f.M, j] *= decay(dt * resist / r)
    excess = r * work.W[f.C, j] ** 2 / work.W[f.P, j] - 1.0  # gamma - 1
    capacity = work.W[f.P, j] / (state.T[j] * excess)  # r cv
    held = (1.0 - decay(dt * net.hole_par[k, f.FIBRE] / capacity)) * capacity
    heat = held * (net.cells[f.WALL, j] - state.T[j])
    state.U[f.E, j] += heat
    record.wall_gain[j] += heat * net.cells[f.VOL, j]
    record.wall_grip[j] += held * net.cells[f.VOL, j]
    renew(net, state, work, j)


@stage
def hole_velocity(net, state, work, k, i, j, drop, dt):
    """Mean velocity in a hole over the step, and that at its end.

    With s the resistance over the inertance of a step, the mean lies the share max(1/2, 1 - 1/s)
    of the way from the old velocity to the new: then the new one never swings through.
    """
    par = net.hole_par[k]
    old = state.hole_u[k]
    c1 = work.W[f.C, i]
    c2 = work.W[f.C, j]
    stiff1 = state.U[f.R, i] * c1 * c1 * net.cells[f.INV_VOL, i]
    stiff2 = state.U[f.R, j] * c2 * c2 * net.cells[f.INV_VOL, j]
    donor = i if drop > 0.0 else j  # in steady flow its gas fills the hole
    r = state.U[f.R, donor]
    inertia = r * par[f.HOLE_LENGTH] / dt
    answer = dt * par[f.HOLE_AREA] * (stiff1 + stiff2)
    backing = par[f.HOLE_BACKING]
    if backing > 0.0:
        backing *= viscosity(state.T[j]) / MU_COLD
    slip = work.W[f.C, donor] + GRAZING * abs(work.W[f.U, i])
    linear = r * LINEAR_RESISTANCE * slip + backing
    square = r * par[f.HOLE_LOSS]
    stiffness = (0.5 * answer + linear + square * abs(old)) / inertia
    theta = max(0.5, 1.0 - 1.0 / stiffness)
    push = inertia / theta * old + drop
    hold = inertia / theta + theta * answer + linear
    mean = 2.0 * push / (hold + math.sqrt(hold * hold + 4.0 * square * abs(push)))
    return mean, old + (mean - old) / theta


@stage
def give(net, state, i, mass, energy, fresh, burned):
    """Add gas to a cell, all amounts extensive."""
    per = net.cells[f.INV_VOL, i]
    state.U[f.R, i] += per * mass
    state.U[f.E, i] += per * energy
    state.U[f.Y1, i] += per * fresh
    state.U[f.Y2, i] += per * burned


@stage
def renew(net, state, work, i):
    """Primitive values of a cell from its conserved ones, by one Newton step from the old ones."""
    r = state.U[f.R, i]
    u = state.U[f.M, i] / r
    yf = state.U[f.Y1, i] / r
    yb = state.U[f.Y2, i] / r
    e, cv = energy_cv(net.gas_coef, state.T[i], yf, yb)
    T = state.T[i] + (state.U[f.E, i] / r - 0.5 * u * u - e) / cv
    gas_R = gas_constant(net.gas_R, yf, yb)
    state.T[i] = T
    work.W[f.U, i] = u
    work.W[f.P, i] = r * gas_R * T
    work.W[f.C, i] = math.sqrt((1.0 + gas_R / cv) * gas_R * T)
    work.W[f.YF, i] = yf
    work.W[f.YB, i] = yb
