"""Losses of pipes: sudden enlargement, junctions, wall friction, cooling.

Pressure losses are on the dynamic head named; friction factors are those of Darcy (four times
those of Fanning).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from wavesim.exact._tools import Numbers, require, root
from wavesim.exact.steady import isentropic, mach_from_impulse
from wavesim.guard import guarded


class Enlargement(NamedTuple):
    """Flow behind a sudden enlargement (all without unit)."""

    mach: float
    pressure: float
    stagnation_pressure: float
    loss: float


@guarded
def sudden_enlargement(mach: float, ratio: float, gamma: float) -> Enlargement:
    """Sudden enlargement with the pressure of the narrow side on the annular wall.

    Parameters
    ----------
    mach : float                Mach number in the narrow pipe, 0 < mach <= 1.
    ratio : float               Wide area over narrow area, >= 1.
    gamma : float

    Returns
    -------
    Enlargement                 M2, p2/p1, p02/p01 and (p01 - p02)/(p01 - p1).

    Notes
    -----
    Mass, energy and p1 A2 + rho1 u1**2 A1 = (p2 + rho2 u2**2) A2; the compressible form of the
    Borda-Carnot loss (1 - A1/A2)**2.  Shapiro (1953) ch. 5.

    >>> print(round(sudden_enlargement(0.3, 2.0, 1.4).pressure, 6))
    1.032062
    """
    require(ratio >= 1.0, f"sudden_enlargement: area ratio must be >= 1 (no unit), got {ratio}.")
    require(0.0 < mach <= 1.0, f"sudden_enlargement: need 0 < mach <= 1 (no unit), got {mach}.")
    g, m2 = gamma, mach**2
    k2 = m2 * (1.0 + 0.5 * (g - 1.0) * m2) / (ratio + g * m2) ** 2
    behind = mach_from_impulse(k2, g)
    pressure = (ratio + g * m2) / (ratio * (1.0 + g * behind**2))
    stagnation = pressure * isentropic(mach, g).pressure / isentropic(behind, g).pressure
    # 1 - p1/p01 without cancellation, so that slow flow has a loss too.
    head = -np.expm1(-g / (g - 1.0) * np.log1p(0.5 * (g - 1.0) * m2))
    return Enlargement(behind, pressure, stagnation, (1.0 - stagnation) / head)


@guarded
def combining_loss(flow_ratio: float, angle_deg: float, branch_area: float = 1.0) -> float:
    """Branch loss of a combining junction by momentum alone, incompressible.

    Parameters
    ----------
    flow_ratio : float          Branch flow over combined flow, 0..1.
    angle_deg : float           Between the branch and the axis it joins [deg].
    branch_area : float         Over the area of the combined leg.

    Returns
    -------
    float                       (p0 branch - p0 combined) over the combined dynamic head (no unit).

    Notes
    -----
    Both inlets at one static pressure, straight legs of equal area, wall forces neglected:
    (p - pc)/(rho Uc**2) = 1 - (1-q)**2 - q**2/phi cos(angle).  Derived here.

    >>> print(f"{combining_loss(0.5, 90.0):.5g}")
    0.75
    """
    q, phi = flow_ratio, branch_area
    rise = 1.0 - (1.0 - q) ** 2 - q**2 / phi * np.cos(np.radians(angle_deg))
    return 2.0 * rise + (q / phi) ** 2 - 1.0


@guarded
def dividing_loss(
    flow_ratio: Numbers, angle_deg: Numbers, main_over_branch: Numbers = 1.0
) -> Numbers:
    """Branch loss of a dividing junction on the combined dynamic head (no unit), incompressible.

    `flow_ratio` is branch over combined flow, `angle_deg` the branch angle [deg],
    `main_over_branch` the area ratio.  Hager (1984): 1 + (q psi)**2 - 2 q psi cos(3/4 angle).

    >>> print(f"{dividing_loss(0.5, 90.0):.5g}")
    0.86732
    """
    speed = flow_ratio * main_over_branch
    return 1.0 + speed**2 - 2.0 * speed * np.cos(0.75 * np.radians(angle_deg))


@guarded
def laminar(reynolds: Numbers) -> Numbers:
    """Darcy friction factor of laminar pipe flow, 64/Re (no unit).  Poiseuille (1840).

    >>> print(f"{laminar(1000.0):.5g}")
    0.064
    """
    return 64.0 / reynolds


@guarded
def colebrook(reynolds: float, roughness: float = 0.0) -> float:
    """Darcy friction factor of turbulent pipe flow, solved to round-off.

    Parameters
    ----------
    reynolds : float            Reynolds number, > 0.
    roughness : float           Relative roughness, height over diameter (no unit).

    Returns
    -------
    float                       Darcy f (no unit).

    Notes
    -----
    Colebrook (1939): 1/sqrt(f) = -2 log10(eps/3.7 + 2.51/(Re sqrt(f))).

    >>> print(round(colebrook(1e5, 1e-3), 6))
    0.022175
    """

    def excess(y):
        return y + 2.0 * np.log10(roughness / 3.7 + 2.51 * y / reynolds)

    return root(excess, 1e-3, 100.0) ** -2.0


@guarded
def haaland(reynolds: Numbers, roughness: Numbers = 0.0) -> Numbers:
    """Darcy friction factor, explicit (no unit).  Haaland (1983), J. Fluids Eng. 105.

    >>> print(f"{haaland(1e5, 1e-4):.5g}")
    0.018265
    """
    inside = (roughness / 3.7) ** 1.11 + 6.9 / reynolds
    return (-1.8 * np.log10(inside)) ** -2.0


@guarded
def churchill(reynolds: Numbers, roughness: Numbers = 0.0) -> Numbers:
    """Darcy friction factor, laminar to rough in one formula (no unit).

    Churchill (1977), Chem. Eng. 84(24); `roughness` is relative.

    >>> print(f"{churchill(1e5, 1e-4):.5g}")
    0.018463
    """
    a = (-2.457 * np.log((7.0 / reynolds) ** 0.9 + 0.27 * roughness)) ** 16
    b = (37530.0 / reynolds) ** 16
    return 8.0 * ((8.0 / reynolds) ** 12 + (a + b) ** -1.5) ** (1.0 / 12.0)


@guarded
def pipe_cooling(
    temperature: float,
    wall_temperature: float,
    h: float,
    diameter: float,
    length: float,
    mass_flow: float,
    cp: float,
) -> float:
    """Gas temperature behind a pipe with an even wall.

    Parameters
    ----------
    temperature, wall_temperature : float   Of the gas at the inlet and of the wall [K].
    h : float                               Heat transfer coefficient [W/(m2 K)].
    diameter, length : float                [m].
    mass_flow, cp : float                   [kg/s], [J/(kg K)].

    Returns
    -------
    float                                   Gas temperature at the exit [K].

    Notes
    -----
    Incropera and DeWitt, Fundamentals of Heat and Mass Transfer, ch. 8.

    >>> print(round(pipe_cooling(1100.0, 600.0, 150.0, 0.04, 1.0, 0.02, 1100.0), 3))
    812.26
    """
    units = h * np.pi * diameter * length / (mass_flow * cp)
    return wall_temperature + (temperature - wall_temperature) * np.exp(-units)
