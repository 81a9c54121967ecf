"""Shared by cases and tests: networks marched until the flow is steady, and the laws of a pipe."""

from typing import NamedTuple

import numpy as np
from marches import AIR, GAMMA, IDEAL, P0, T0, R, cut, endless
from scipy.integrate import solve_ivp

import wavesim as ws
from wavesim import exact
from wavesim.descriptions.lines import Plan

PRANDTL = 0.71
RECOVERY = PRANDTL ** (1.0 / 3.0)  # of turbulent flow; Kays and Crawford (1993), from memory
CP = GAMMA * R / (GAMMA - 1.0)


def steady(net, t, gas=AIR, start=(P0, 0.0, T0, "air"), settings=IDEAL, samples=100):
    """March a network until t [s] from one state everywhere."""
    initial = dict.fromkeys(net.ducts, start)
    return ws.simulate(net, t, gas=gas, settings=settings, initial=initial, samples=samples)


def last(result, node, quantity="mass_flow"):
    """Mean of the last tenth of a trace, and how far it still moves, relative."""
    values = result.trace(quantity, node).values[-10:]
    return values.mean(), np.ptp(values) / abs(values.mean())


def flow_through(parts, p_in, p_out, t=0.5, T_in=T0, **settings):
    """Steady flow of air through a line of parts to an open end; the result of `simulate`.

    It comes from an open end, or, hot, from an endless pipe in which `p_in` is the pressure at
    rest.
    """
    plan = Plan()
    first, final = plan.lay(("line", parts if isinstance(parts, tuple) else (parts,)))
    source = cut if T_in == T0 else endless
    plan.nodes["in"], plan.nodes["out"] = source(first, p_in, T_in), cut(final, p_out)
    result = steady(
        ws.Network(plan.ducts, plan.nodes), t, start=(0.5 * (p_in + p_out), 0.0, T_in, "air"),
        settings=ws.Settings(**settings),
    )
    drift = last(result, "out")[1]
    if drift > 1e-4:
        raise RuntimeError(f"flow is not steady yet: it moves by {drift:.1e} of its size")
    return result


# states along a duct, given as the columns of a result ----------------------------------------


def mach_of(gas):
    """Mach number in every cell."""
    return gas["u"] / np.sqrt(GAMMA * R * gas["T"])


def reynolds_of(gas, bore):
    """Reynolds number in every cell of a duct of that bore [m]."""
    return gas["rho"] * gas["u"] * bore / AIR.viscosity(gas["T"])


def warmth(gas):
    """Stagnation temperature in every cell [K]."""
    return gas["T"] * (1.0 + 0.5 * (GAMMA - 1.0) * mach_of(gas) ** 2)


def stagnation(gas, i):
    """Stagnation pressure in cell i [Pa]."""
    return gas["p"][i] / exact.isentropic(mach_of(gas)[i], GAMMA).pressure


class Face(NamedTuple):
    """Flow through the end of a duct: pressure [Pa], Mach number, stagnation temperature [K] and
    mass flux [kg/(m2 s)]; the last two without regard to direction.
    """

    p: float
    mach: float
    T0: float
    flux: float


def face_at(result, node, bore):
    """The `Face` of a round duct of `bore` [m] at a node.

    Faces belong to the middle of a step, cells to its end.
    """
    p, u, flow = (
        abs(result.trace(name, node).values[-10:].mean())
        for name in ("pressure", "velocity", "mass_flow")
    )
    flux = flow / (0.25 * np.pi * bore**2)
    T = p * u / (flux * R)
    return Face(p, u / np.sqrt(GAMMA * R * T), T + 0.5 * u**2 / CP, flux)


# laws of a pipe -------------------------------------------------------------------------------


def darcy(re, rough=0.0):
    """Friction factor of the solver, written down once more: laminar, blended, Haaland."""
    share = np.clip((re - 2300.0) / 1700.0, 0.0, 1.0)
    return (1.0 - share) * exact.laminar(re) + share * exact.haaland(np.maximum(re, 2300.0), rough)


def gnielinski(re, factor):
    """Nusselt number of turbulent flow with the Darcy factor of the wall.  Gnielinski (1976)."""
    f8 = factor / 8.0
    return f8 * (re - 1000.0) * PRANDTL / (
        1.0 + 12.7 * np.sqrt(f8) * (PRANDTL ** (2.0 / 3.0) - 1.0)
    )


def influence(mach, T0, span, slopes):
    """Mach number and stagnation temperature [K] at the end of a `span` (x, x) [m] of round pipe.

    Influence coefficients of Shapiro (1953) table 8.1 for friction and heating;
    `slopes(M, T0)` gives f/D [1/m] and d(ln T0)/dx [1/m].
    """

    def rate(x, state):
        m2, T0 = state
        friction, heating = slopes(np.sqrt(m2), T0)
        swell = 1.0 + 0.5 * (GAMMA - 1.0) * m2
        grow = GAMMA * m2 * friction + (1.0 + GAMMA * m2) * heating
        return [m2 * swell / (1.0 - m2) * grow, heating * T0]

    m2, T0 = solve_ivp(rate, span, [mach**2, T0], rtol=1e-10, atol=1e-12).y[:, -1]
    return np.sqrt(m2), T0


def pressure(flux, mach, T0):
    """Pressure [Pa] of a mass flux [kg/(m2 s)] at a Mach number and stagnation temperature [K]."""
    T = T0 * exact.isentropic(mach, GAMMA).temperature
    return flux / mach * np.sqrt(R * T / GAMMA)


def along(gas, i, j, slopes):
    """(p, T0) in cell j by `influence`, starting from the state of cell i."""
    mach, T0 = influence(mach_of(gas)[i], warmth(gas)[i], (gas["x"][i], gas["x"][j]), slopes)
    return pressure(gas["rho"][i] * gas["u"][i], mach, T0), T0
