"""Engine arithmetic in closed form: crank, burning law, ideal cycle, blowdown.

Heywood, Internal Combustion Engine Fundamentals (1988), ch. 2, 5, 9.  Crank angles are in degrees,
0 at top dead centre.
"""

from __future__ import annotations

import numpy as np

from wavesim.exact._tools import Numbers, require
from wavesim.exact.steady import critical_pressure_ratio
from wavesim.guard import guarded


@guarded
def crank_travel(theta_deg: Numbers, stroke: float, rod: float, pin_offset: float = 0.0) -> Numbers:
    """Piston travel from its highest place.

    Parameters
    ----------
    theta_deg : float or ndarray    Crank angle [deg], 0 with the crank in line with the bore.
    stroke, rod : float             Twice the crank radius, rod length between centres [m].
    pin_offset : float              Of the bore axis from the crank axis, towards the side on which
                                    the crank pin goes down [m].

    Returns
    -------
    float or ndarray                Travel downwards [m].

    Raises
    ------
    InputError                      If the rod is too short to turn.

    Notes
    -----
    Heywood (1988) sec. 2.2.

    >>> print(round(crank_travel(90.0, 0.086, 0.1455) * 1e3, 4))
    49.4991
    """
    r = 0.5 * stroke
    require(
        rod > r + abs(pin_offset),
        f"crank_travel: rod must be longer than {r + abs(pin_offset)} m, got {rod} m.",
    )
    theta = np.radians(theta_deg)
    top = np.sqrt((rod + r) ** 2 - pin_offset**2)
    height = r * np.cos(theta) + np.sqrt(rod**2 - (r * np.sin(theta) - pin_offset) ** 2)
    return top - height


@guarded
def crank_travel_slope(
    theta_deg: Numbers, stroke: Numbers, rod: Numbers, pin_offset: Numbers = 0.0
) -> Numbers:
    """Piston travel per crank angle [m/rad]; times the angular speed it is the piston speed.

    Arguments as of `crank_travel`.  Heywood (1988) eq. 2.11.

    >>> print(f"{crank_travel_slope(90.0, 0.086, 0.143):.5g}")
    0.043
    """
    r, theta = 0.5 * stroke, np.radians(theta_deg)
    side = r * np.sin(theta) - pin_offset
    return r * np.sin(theta) + side * r * np.cos(theta) / np.sqrt(rod**2 - side**2)


@guarded
def fastest_piston(stroke: float, rod: float) -> tuple[float, float]:
    """Crank angle [deg] and slope [m/rad] of the fastest downward travel, `stroke`, `rod` [m].

    >>> print(f"{fastest_piston(0.086, 0.143)[0]:.5g}")
    74.5
    """
    from scipy.optimize import minimize_scalar

    best = minimize_scalar(
        lambda a: -crank_travel_slope(a, stroke, rod),
        bounds=(30.0, 90.0),
        method="bounded",
        options={"xatol": 1e-9},
    )
    return float(best.x), float(-best.fun)


@guarded
def cylinder_volume(
    theta_deg: Numbers, bore: Numbers, stroke: Numbers, rod: Numbers, compression_ratio: Numbers
) -> Numbers:
    """Cylinder volume [m3] at a crank angle [deg]; lengths in [m].  Heywood (1988) eq. 2.4.

    >>> print(f"{1e6 * cylinder_volume(180.0, 0.086, 0.086, 0.143, 10.5):.5g}")
    552.14
    """
    area = 0.25 * np.pi * bore**2
    clearance = area * stroke / (compression_ratio - 1.0)
    return clearance + area * crank_travel(theta_deg, stroke, rod)


@guarded
def wiebe_burned(progress: Numbers, a: Numbers = 6.908, shape: Numbers = 2.0) -> Numbers:
    """Burned fraction 1 - exp(-a y**(m+1)) at `progress` y = 0..1 of the burn (no unit).

    Wiebe (1962); Heywood (1988) eq. 9.10.  Reaches 1 - exp(-a) at y = 1.

    >>> print(f"{wiebe_burned(0.5):.5g}")
    0.57832
    """
    return -np.expm1(-a * np.asarray(progress, dtype=float) ** (shape + 1.0))


@guarded
def wiebe_progress(burned: Numbers, a: Numbers = 6.908, shape: Numbers = 2.0) -> Numbers:
    """Progress y (no unit) at which the fraction `burned` has burned: inverse of `wiebe_burned`.

    >>> print(round(float(wiebe_progress(0.5)), 6))
    0.464684
    """
    return (-np.log1p(-np.asarray(burned, dtype=float)) / a) ** (1.0 / (shape + 1.0))


@guarded
def otto_efficiency(compression_ratio: Numbers, gamma: float) -> Numbers:
    """Efficiency of the constant-volume cycle, 1 - r**(1-g) (no unit).  Heywood (1988) eq. 5.31.

    >>> print(f"{otto_efficiency(10.0, 1.4):.5g}")
    0.60189
    """
    return 1.0 - compression_ratio ** (1.0 - gamma)


# Vessels --------------------------------------------------------------------------------------


@guarded
def vessel_time_constant(
    volume: Numbers, area: Numbers, temperature: Numbers, gamma: float, gas_constant: float
) -> Numbers:
    """Time constant of choked discharge [s]: V/(A c0 K), K = (2/(g+1))**((g+1)/(2(g-1))).

    `volume` [m3], effective `area` [m2], `temperature` at the start [K].  Shapiro (1953) ch. 4,
    from the mass balance of an isentropic vessel.

    >>> print(f"{vessel_time_constant(1e-3, 1e-5, 300.0, 1.4, 287.0):.5g}")
    0.49771
    """
    g = gamma
    k = (2.0 / (g + 1.0)) ** (0.5 * (g + 1.0) / (g - 1.0))
    return volume / (area * np.sqrt(g * gas_constant * temperature) * k)


@guarded
def vessel_pressure(t: Numbers, time_constant: Numbers, gamma: float) -> Numbers:
    """p/p0 in a vessel emptying through a choked hole, at t [s] after opening (no unit).

    (1 + (g-1) t/(2 tau))**(-2 g/(g-1)), valid while choked (`vessel_unchoke_time`).

    >>> tau = vessel_time_constant(1e-3, 7.853982e-5, 300.0, 1.4, 287.05)
    >>> print(round(vessel_pressure(0.01, tau, 1.4), 6))
    0.804506
    """
    g = gamma
    return (1.0 + 0.5 * (g - 1.0) * t / time_constant) ** (-2.0 * g / (g - 1.0))


@guarded
def vessel_unchoke_time(
    pressure: Numbers, back_pressure: Numbers, time_constant: Numbers, gamma: float
) -> Numbers:
    """Time [s] until a vessel at `pressure` stops choking against `back_pressure` [Pa].

    >>> print(f"{vessel_unchoke_time(5e5, 1e5, 0.5, 1.4):.5g}")
    0.37212
    """
    g = gamma
    end = back_pressure / (critical_pressure_ratio(g) * pressure)
    return 2.0 * time_constant / (g - 1.0) * (end ** (-0.5 * (g - 1.0) / g) - 1.0)


@guarded
def filled_vessel_temperature(temperature: Numbers, gamma: float) -> Numbers:
    """Temperature [K] in an empty adiabatic vessel after filling from gas at `temperature` [K].

    gamma T0: the energy balance of an open system.  Shapiro (1953) ch. 2.

    >>> print(f"{filled_vessel_temperature(300.0, 1.4):.5g}")
    420
    """
    return gamma * temperature
