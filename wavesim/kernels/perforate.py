"""Exchange between two ducts through a perforated wall, cell by cell.

The gas in a hole has the velocity U (positive from core to annulus) and obeys

    rho l dU/dt = p_core - p_annulus - (r0 rho c + rho |U| (1 - sigma^2) / (2 Cd^2)) U,

with the length l = t + 0.75 d and the resistance r0 = 0.006 (1 + 72.23 M) of the linear impedance
(Sullivan and Crocker, JASA 64 (1978); growth with the grazing Mach number M from Rao and Munjal,
J. Sound Vib. 108 (1986); both from memory).  The mean velocity over a step is found implicitly,
trapezoidal in time, with the pressures' own answer to the exchange, so that no hole area limits the
step.  What leaves one cell enters the other; the wall takes the axial momentum of what passes.
"""

from . import flat as f
from .jit import stage

LINEAR_RESISTANCE = 0.006
GRAZING = 72.23
LARGEST_SHARE = 0.3  # of the gas of a cell that may pass in one step


@stage
def give(net, state, i, mass, momentum, energy, fresh, burned):
    """Add gas to a cell, all amounts extensive."""
    per = net.cells[f.INV_VOL, i]
    state.U[f.R, i] += per * mass
    state.U[f.M, i] += per * momentum
    state.U[f.E, i] += per * energy
    state.U[f.Y1, i] += per * fresh
    state.U[f.Y2, i] += per * burned


@stage
def exchange(net, state, work, dt):
    """Gas through all holes in one step, driven by the pressures half a step ahead.

    Called before the flux update, so that `state` and `work` still hold the start of the step.
    """
    for k in range(net.hole.shape[0]):
        i = net.hole[k, 0]
        j = net.hole[k, 1]
        par = net.hole_par[k]
        old = state.hole_u[k]
        r = 0.5 * (state.U[f.R, i] + state.U[f.R, j])
        c1 = work.W[f.C, i]
        c2 = work.W[f.C, j]
        drop = 0.5 * (work.Q[f.PM, i] + work.Q[f.PP, i] - work.Q[f.PM, j] - work.Q[f.PP, j])
        resistance = r * (
            LINEAR_RESISTANCE * (c1 + GRAZING * abs(work.W[f.U, i])) + par[f.HOLE_LOSS] * abs(old)
        ) + par[f.HOLE_BACKING]
        inertia = 2.0 * r * par[f.HOLE_LENGTH] / dt
        answer = 0.5 * dt * r * par[f.HOLE_AREA] * (
            c1 * c1 * net.cells[f.INV_VOL, i] + c2 * c2 * net.cells[f.INV_VOL, j]
        )
        mean = (inertia * old + drop) / (inertia + answer + resistance)
        d = i if mean > 0.0 else j  # the donor
        other = j if mean > 0.0 else i
        volume = abs(mean) * par[f.HOLE_AREA] * dt
        limit = LARGEST_SHARE * net.cells[f.VOL, d]
        if volume > limit:
            mean *= limit / volume
            volume = limit
        state.hole_u[k] = 2.0 * mean - old
        mass = volume * state.U[f.R, d]
        energy = volume * (state.U[f.E, d] + work.W[f.P, d])
        fresh = volume * state.U[f.Y1, d]
        burned = volume * state.U[f.Y2, d]
        give(net, state, other, mass, 0.0, energy, fresh, burned)
        give(net, state, d, -mass, -volume * state.U[f.M, d], -energy, -fresh, -burned)
