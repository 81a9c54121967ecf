"""Heated and cooled pipes against Rayleigh flow, its integral with friction, and a log mean.

Air of 300 to 1100 K runs through pipes with warm and cold walls.  The influence coefficients of
Shapiro (1953, table 8.1) are integrated with Haaland's friction factor and Gnielinski's Nusselt
number (1976) at the local Reynolds number, knowing only the states far before and behind the pipe:
mass flow, heat and pressure drop.  Without friction, pressure and Mach number follow from those at
the inlet and the rise of stagnation temperature (Rayleigh; Shapiro ch. 7).  One pipe is compared
with the exponential law of an even wall.  Cells of 20 mm.
"""

from functools import cache
from typing import NamedTuple

import numpy as np
from marches import AIR, GAMMA, P0, T0, R
from scipy.optimize import brentq
from steady_flow import (
    CP,
    PRANDTL,
    RECOVERY,
    darcy,
    face_at,
    flow_through,
    gnielinski,
    influence,
    mach_of,
    pressure,
    warmth,
)
from suite import Case, Check

import wavesim as ws
from wavesim import exact

ROUGHNESS = 4.5e-5  # m, that of a pipe if nothing else is said


class Hot(NamedTuple):
    """A pipe with a wall of one temperature between a source and the open air; SI units."""

    p_in: float
    T_in: float
    T_wall: float
    bore: float = 0.04
    length: float = 2.0
    heat_factor: float = 1.5
    friction: bool = True

    @property
    def label(self):
        """Short description."""
        slick = "" if self.friction else ", no friction"
        return f"{self.T_in:g} K into {self.T_wall:g} K, {self.p_in / 1e5:g} bar{slick}"


WARM_OR_COLD = tuple(
    Hot(p, T, wall) for T, wall in ((300.0, 600.0), (900.0, 500.0), (1100.0, 700.0))
    for p in (1.3e5, 1.8e5)
)
EVEN = Hot(1.2e5, 1000.0, 800.0, heat_factor=1.0)  # slow flow, moderate cooling
SLICK = tuple(
    Hot(1.6e5, 400.0, wall, bore=0.03, length=3.0, heat_factor=2.0, friction=False)
    for wall in (250.0, 1200.0)
)


@cache
def heated_pipe(hot, cell_length=0.02):
    """Steady flow through a pipe; the result of `simulate`."""
    pipe = ws.Pipe(hot.length, hot.bore, wall_temperature=hot.T_wall, heat_factor=hot.heat_factor,
                   cell_length=cell_length)
    return flow_through(pipe, hot.p_in, P0, T_in=hot.T_in, friction=hot.friction)


def slopes(hot, flux):
    """Friction and heating along a pipe as `steady_flow.influence` takes them.

    Heat flows by the difference between the wall and the recovery temperature of a turbulent layer,
    T (1 + Pr^(1/3) (gamma - 1) / 2 M^2): Schlichting, Boundary-Layer Theory, and White, Viscous
    Fluid Flow (from memory).
    """

    def at(mach, total):
        T = total * exact.isentropic(mach, GAMMA).temperature
        felt = T * (1.0 + RECOVERY * 0.5 * (GAMMA - 1.0) * mach**2)
        re = flux * hot.bore / AIR.viscosity(T)
        f = darcy(re, ROUGHNESS / hot.bore)
        stanton = gnielinski(re, f) / (re * PRANDTL)
        heating = hot.heat_factor * 4.0 * stanton * (hot.T_wall - felt) / hot.bore / total
        return f / hot.bore * hot.friction, heating

    return at


def mouth(hot, mach):
    """(p, stagnation temperature) of gas that has come to a Mach number from the source at rest.

    From a reservoir if it is cold, else by a simple wave in an endless pipe, as `flow_through`.
    """
    if hot.T_in == T0:
        return hot.p_in * exact.isentropic(mach, GAMMA).pressure, hot.T_in
    x = 1.0 / (1.0 + 0.5 * (GAMMA - 1.0) * mach)  # sound speed over that at rest
    total = hot.T_in * x**2 / exact.isentropic(mach, GAMMA).temperature
    return hot.p_in * x ** (2.0 * GAMMA / (GAMMA - 1.0)), total


def follow(hot, mach, to):
    """(p, stagnation temperature, flux) at `to` [m] of gas that enters at a Mach number."""
    p, total = mouth(hot, mach)
    flux = p * mach * np.sqrt(GAMMA / (R * total * exact.isentropic(mach, GAMMA).temperature))
    end, total = influence(mach, total, (0.0, to), slopes(hot, flux))
    return pressure(flux, end, total), total, flux


@cache
def entry_mach(hot):
    """Mach number at the inlet with which the outlet has the pressure of the air."""
    return brentq(lambda mach: follow(hot, mach, hot.length)[0] - P0, 0.05, 0.4)


def _pipe_checks(hot):
    result = heated_pipe(hot)
    first, final = (face_at(result, node, hot.bore) for node in ("in", "out"))
    entry = entry_mach(hot)
    p_entry, T_entry = mouth(hot, entry)
    _, total, flux = follow(hot, entry, hot.length)
    source = "Shapiro (1953) table 8.1; Gnielinski, Int. Chem. Eng. 16 (1976) 359"
    yield Check(
        f"mass flow, {hot.label}", final.flux, flux, "0.3 %", source,
        "The wave that draws gas from the endless pipe follows the relation of shocks, which "
        "leaves that of simple waves with the third power of its strength: 0.2 % at Mach 0.38.",
        "kg/(m2 s)",
    )
    yield Check(
        f"change of stagnation temperature, {hot.label}", final.T0 - first.T0, total - T_entry,
        "0.1 %", source,
        "The temperature of a face lies half a step of heating beside that of the cell from which "
        "heat is reckoned, which is first order in the cell length: 0.05 % with 20 mm.", "K",
    )
    yield Check(
        f"pressure drop, {hot.label}", first.p - final.p, p_entry - P0, "0.5 %", source,
        "Friction less the momentum given up by cooling: a difference in which the error of the "
        "flow is two to four times as large.", "Pa",
    )


def _rayleigh_checks(hot):
    result = heated_pipe(hot)
    gas, first = result.final["line"], face_at(result, "in", hot.bore)
    before = exact.rayleigh(first.mach, GAMMA)
    i = len(gas["x"]) // 2
    mach = exact.mach_from_rayleigh(
        before.stagnation_temperature * warmth(gas)[i] / first.T0, GAMMA
    )
    change = first.p * (exact.rayleigh(mach, GAMMA).pressure / before.pressure - 1.0)
    source = "Shapiro (1953) ch. 7"
    why = ("Momentum and energy are conserved however coarse the cells, and the fluxes belong to "
           "the temperatures of the cells: second order, 0.002 % with 20 mm.")
    yield Check(
        f"pressure change half way by Rayleigh, {hot.label}", gas["p"][i] - first.p, change,
        "0.01 %", source, why, "Pa",
    )
    yield Check(
        f"Mach number half way by Rayleigh, {hot.label}", mach_of(gas)[i], mach,
        "0.005 %", source, why,
    )


def exponential(hot, cell_length=0.02):
    """Fall of temperature [K] in a pipe, and that by the exponential law of an even wall.

    The heat transfer coefficient is that at the mean of the temperatures.
    """
    gas = heated_pipe(hot, cell_length).final["line"]
    i, j = 3, len(gas["x"]) - 4
    T_in, T_out = gas["T"][[i, j]]
    mu = AIR.viscosity(0.5 * (T_in + T_out))
    flux = gas["rho"][i] * gas["u"][i]
    re = flux * hot.bore / mu
    nusselt = hot.heat_factor * gnielinski(re, darcy(re, ROUGHNESS / hot.bore))
    rise = 0.5 * RECOVERY * np.mean(gas["u"][[i, j]] ** 2) / CP  # of what the wall feels
    law = exact.pipe_cooling(
        T_in, hot.T_wall - rise, nusselt * mu * CP / PRANDTL / hot.bore, hot.bore,
        gas["x"][j] - gas["x"][i], flux * 0.25 * np.pi * hot.bore**2, CP,
    )
    return T_in - T_out, T_in - law


def _even_check():
    return Check(
        f"fall of temperature by a log mean, {EVEN.label}", *exponential(EVEN), "1 %",
        "Incropera and DeWitt, Fundamentals of Heat and Mass Transfer, ch. 8",
        "The law takes one heat transfer coefficient for the whole pipe and knows no kinetic "
        "energy, each worth some tenths of a per cent.", "K",
    )


def draw():
    """Stagnation temperature and pressure along the pipes with friction at 1.8 bar."""
    axes = ws.plots.new_axes(2, height=3.4)
    for hot, colour in zip(WARM_OR_COLD[1::2], ws.plots.COLOURS, strict=False):
        gas = heated_pipe(hot).final["line"]
        fine = np.linspace(0.01, hot.length, 60)
        states = np.array([follow(hot, entry_mach(hot), x)[:2] for x in fine])
        for ax, theory, ours in (
            (axes[0], states[:, 1], warmth(gas)), (axes[1], 1e-5 * states[:, 0], 1e-5 * gas["p"])
        ):
            ax.plot(fine, theory, color=ws.plots.REFERENCE, zorder=1)
            ax.plot(gas["x"][1::4], ours[1::4], "o", ms=4, color=colour, label=hot.label)
    axes[1].plot([], [], color=ws.plots.REFERENCE, label="integral with friction and heat")
    axes[0].set_title("Source, wall and pressure before; 1.013 bar behind", loc="left")
    axes[0].set_ylabel("stagnation temperature [K]")
    axes[1].set(ylabel="pressure [bar]", xlabel="position [m]")
    axes[1].legend(frameon=False, loc="upper right")
    return axes


def run():
    """Pipes with friction and heat, with heat only, and the even wall."""
    integrals = (check for hot in (*WARM_OR_COLD, *SLICK) for check in _pipe_checks(hot))
    rayleigh = (check for hot in SLICK for check in _rayleigh_checks(hot))
    return Case((*integrals, *rayleigh, _even_check()), draw())
