"""Steady one-dimensional flow of a perfect gas.

Books: Shapiro, The Dynamics and Thermodynamics of Compressible Fluid Flow (1953), ch. 4-7;
NACA Report 1135 (1953); Anderson, Modern Compressible Flow (3rd ed. 2003).  Ratios with a zero
refer to the stagnation state, with a star to the sonic state.  `gamma` is the ratio of specific
heats, `gas_constant` is R [J/(kg K)].
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from wavesim.exact._tools import Numbers, require, root
from wavesim.guard import guarded

_HIGHEST_MACH = 1e3


class IsentropicRatios(NamedTuple):
    """Static over stagnation values, and area over sonic area (all without unit)."""

    temperature: float
    pressure: float
    density: float
    area: float


@guarded
def isentropic(mach: Numbers, gamma: float) -> IsentropicRatios:
    """Isentropic ratios at a Mach number.  NACA 1135 eq. 43-45, 80.

    Parameters
    ----------
    mach : float or ndarray     Mach number, > 0.
    gamma : float               Ratio of specific heats.

    Returns
    -------
    IsentropicRatios            T/T0, p/p0, rho/rho0, A/A*.

    >>> print(round(isentropic(2.0, 1.4).area, 6))
    1.6875
    """
    t = 1.0 / (1.0 + 0.5 * (gamma - 1.0) * mach**2)
    p = t ** (gamma / (gamma - 1.0))
    return IsentropicRatios(t, p, t ** (1.0 / (gamma - 1.0)), area_ratio(mach, gamma))


@guarded
def area_ratio(mach: Numbers, gamma: float) -> Numbers:
    """A/A* of isentropic flow at `mach` > 0 (no unit).  NACA 1135 eq. 80.

    >>> print(f"{area_ratio(2.0, 1.4):.5g}")
    1.6875
    """
    g = gamma
    base = 2.0 / (g + 1.0) * (1.0 + 0.5 * (g - 1.0) * np.square(mach))
    return base ** (0.5 * (g + 1.0) / (g - 1.0)) / mach


@guarded
def mach_from_area_ratio(ratio: Numbers, gamma: float, supersonic: bool = False) -> Numbers:
    """Mach number at an area ratio A/A*, on the branch asked for.

    Parameters
    ----------
    ratio : float or ndarray    A/A*, >= 1.
    gamma : float               Ratio of specific heats.
    supersonic : bool           Which of the two solutions.

    Returns
    -------
    float or ndarray            Mach number.

    Raises
    ------
    InputError                  If a ratio is below 1: the flow would be choked upstream.

    >>> print(round(mach_from_area_ratio(1.6875, 1.4, supersonic=True), 6))
    2.0
    """
    ratio = np.asarray(ratio, dtype=float)
    require(ratio >= 1.0, f"mach_from_area_ratio: A/A* must be >= 1 (no unit), got {ratio}.")
    low, high = (1.0, _HIGHEST_MACH) if supersonic else (1e-12, 1.0)

    def one(value):
        return root(lambda m: area_ratio(m, gamma) - value, low, high)

    found = np.array([one(v) for v in ratio.ravel()]).reshape(ratio.shape)
    return found if found.ndim else float(found)


@guarded
def mach_from_pressure_ratio(ratio: Numbers, gamma: float) -> Numbers:
    """Mach number at a static to stagnation pressure ratio 0 < p/p0 <= 1.  NACA 1135 eq. 44.

    >>> print(f"{mach_from_pressure_ratio(0.5283, 1.4):.5g}")
    0.99997
    """
    exponent = (gamma - 1.0) / gamma
    return np.sqrt(2.0 / (gamma - 1.0) * np.expm1(-exponent * np.log(ratio)))


@guarded
def dynamic_head_ratio(mach: Numbers, gamma: float) -> Numbers:
    """(p0 - p) / (rho u**2 / 2) at `mach` > 0 (no unit): 1 for an incompressible fluid.

    >>> print(f"{dynamic_head_ratio(1.0, 1.4):.5g}")
    1.2756
    """
    p = isentropic(mach, gamma).pressure
    return (1.0 / p - 1.0) / (0.5 * gamma * mach**2)


class ShockRatios(NamedTuple):
    """Normal shock: Mach number behind it, and ratios behind over before (all without unit)."""

    mach: float
    pressure: float
    density: float
    temperature: float
    stagnation_pressure: float


@guarded
def normal_shock(mach: Numbers, gamma: float) -> ShockRatios:
    """Stationary normal shock.  NACA 1135 eq. 93-99.

    Parameters
    ----------
    mach : float or ndarray     Mach number before the shock, >= 1.
    gamma : float               Ratio of specific heats.

    Returns
    -------
    ShockRatios                 M2, p2/p1, rho2/rho1, T2/T1, p02/p01.

    Raises
    ------
    InputError                  If mach < 1: entropy would fall.

    >>> print(round(normal_shock(2.0, 1.4).pressure, 6))
    4.5
    """
    require(np.asarray(mach) >= 1.0, f"normal_shock: mach must be >= 1 (no unit), got {mach}.")
    g, m2 = gamma, np.square(mach)
    pressure = 1.0 + 2.0 * g / (g + 1.0) * (m2 - 1.0)
    density = (g + 1.0) * m2 / (2.0 + (g - 1.0) * m2)
    behind = np.sqrt((1.0 + 0.5 * (g - 1.0) * m2) / (g * m2 - 0.5 * (g - 1.0)))
    stagnation = pressure * isentropic(mach, g).pressure / isentropic(behind, g).pressure
    return ShockRatios(behind, pressure, density, pressure / density, stagnation)


@guarded
def critical_pressure_ratio(gamma: float) -> float:
    """p*/p0 at which a throat chokes (no unit).  Shapiro (1953) ch. 4.

    >>> print(f"{critical_pressure_ratio(1.4):.5g}")
    0.52828
    """
    return (2.0 / (gamma + 1.0)) ** (gamma / (gamma - 1.0))


@guarded
def choked_flux(p0: float, temperature: float, gamma: float, gas_constant: float) -> float:
    """Mass flow per area of a choked throat.

    Parameters
    ----------
    p0, temperature : float     Stagnation pressure [Pa] and temperature [K].
    gamma, gas_constant : float

    Returns
    -------
    float                       [kg/(m2 s)].

    Notes
    -----
    Shapiro (1953) ch. 4: p0/sqrt(R T0) sqrt(g) (2/(g+1))**((g+1)/(2(g-1))).

    >>> print(round(choked_flux(2e5, 300.0, 1.4, 287.05), 3))
    466.671
    """
    g = gamma
    shape = np.sqrt(g) * (2.0 / (g + 1.0)) ** (0.5 * (g + 1.0) / (g - 1.0))
    return shape * p0 / np.sqrt(gas_constant * temperature)


@guarded
def orifice_flux(
    p0: float, temperature: float, p: Numbers, gamma: float, gas_constant: float
) -> Numbers:
    """Ideal mass flow per effective area of a nozzle or orifice, choked or not.

    Parameters
    ----------
    p0, temperature : float     Upstream stagnation pressure [Pa] and temperature [K].
    p : float or ndarray        Downstream pressure [Pa], 0 <= p <= p0.
    gamma, gas_constant : float

    Returns
    -------
    float or ndarray            [kg/(m2 s)]; multiply by the effective area.

    Raises
    ------
    InputError                  If p > p0 (swap the sides) or p < 0.

    Notes
    -----
    de Saint-Venant and Wantzel (1839); Shapiro (1953) ch. 4.

    >>> print(round(orifice_flux(1.2e5, 300.0, 0.9 * 1.2e5, 1.4, 287.05), 3))
    172.803
    """
    ratio = np.asarray(p, dtype=float) / p0
    require((ratio >= 0.0) & (ratio <= 1.0), f"orifice_flux: need 0 <= p <= p0 Pa, got p = {p}.")
    throat = np.maximum(ratio, critical_pressure_ratio(gamma))
    mach = mach_from_pressure_ratio(throat, gamma)
    density = throat ** (1.0 / gamma) * p0 / (gas_constant * temperature)
    speed = mach * np.sqrt(gamma * gas_constant * temperature * throat ** ((gamma - 1.0) / gamma))
    return density * speed


class NozzleShock(NamedTuple):
    """Converging-diverging nozzle with a normal shock in its diverging part (all without unit)."""

    shock_area: float
    mach_before: float
    mach_behind: float
    stagnation_ratio: float
    exit_mach: float
    exit_pressure: float


@guarded
def nozzle_shock(exit_area: float, shock_area: float, gamma: float) -> NozzleShock:
    """Nozzle with a shock standing at a known area.

    Parameters
    ----------
    exit_area, shock_area : float   Over the throat area, 1 <= shock_area <= exit_area.
    gamma : float

    Returns
    -------
    NozzleShock                     shock area, M before and behind, p02/p01, exit Mach number,
                                    exit pressure over p01.

    Notes
    -----
    Anderson (2003) ch. 5: A2* = A1* p01/p02 behind the shock.

    >>> print(round(nozzle_shock(2.0, 1.5, 1.4).exit_pressure, 6))
    0.704452
    """
    require(
        1.0 <= shock_area <= exit_area,
        "nozzle_shock: need 1 <= shock_area <= exit_area (no unit), got "
        f"{shock_area} and {exit_area}.",
    )
    before = mach_from_area_ratio(shock_area, gamma, supersonic=True)
    shock = normal_shock(before, gamma)
    loss = shock.stagnation_pressure
    exit_mach = mach_from_area_ratio(max(1.0, exit_area * loss), gamma)
    exit_pressure = loss * isentropic(exit_mach, gamma).pressure
    return NozzleShock(shock_area, before, shock.mach, loss, exit_mach, exit_pressure)


class NozzleLimits(NamedTuple):
    """Exit pressures over p0 that part the regimes of a converging-diverging nozzle (no unit)."""

    choking: float
    shock_at_exit: float
    fully_expanded: float


@guarded
def nozzle_limits(exit_area: float, gamma: float) -> NozzleLimits:
    """Where a nozzle of `exit_area` (over the throat area) chokes, has its shock at the exit, and
    expands fully.  Anderson (2003) ch. 5.  Returns `NozzleLimits`.

    >>> print(f"{nozzle_limits(2.0, 1.4)[0]:.5g}")
    0.93716
    """
    slow = mach_from_area_ratio(exit_area, gamma)
    fast = mach_from_area_ratio(exit_area, gamma, supersonic=True)
    full = isentropic(fast, gamma).pressure
    at_exit = full * normal_shock(fast, gamma).pressure
    return NozzleLimits(isentropic(slow, gamma).pressure, at_exit, full)


@guarded
def nozzle_shock_from_back_pressure(
    exit_area: float, exit_pressure: float, gamma: float
) -> NozzleShock:
    """Find the shock that gives a known exit pressure.

    Parameters
    ----------
    exit_area : float           Over the throat area.
    exit_pressure : float       Over the inlet stagnation pressure (no unit).
    gamma : float

    Returns
    -------
    NozzleShock

    Raises
    ------
    InputError                  If no shock stands inside the nozzle at this pressure.

    >>> print(f"{nozzle_shock_from_back_pressure(2.0, 0.6, 1.4)[0]:.5g}")
    1.7557
    """
    limits = nozzle_limits(exit_area, gamma)
    require(
        limits.shock_at_exit <= exit_pressure <= limits.choking,
        f"nozzle_shock_from_back_pressure: exit_pressure = {exit_pressure} (no unit) is outside "
        f"{limits.shock_at_exit:.6g} to {limits.choking:.6g}: no shock inside the nozzle.",
    )

    def excess(shock_area):
        return nozzle_shock(exit_area, shock_area, gamma).exit_pressure - exit_pressure

    return nozzle_shock(exit_area, root(excess, 1.0, exit_area), gamma)


@guarded
def nozzle_profile(
    area: np.ndarray, throat_index: int, gamma: float, shock_area: float | None = None
) -> tuple[np.ndarray, np.ndarray]:
    """Mach number and pressure along a choked nozzle.

    Parameters
    ----------
    area : (n,) ndarray         Area along the nozzle over the throat area, >= 1.
    throat_index : int          Position of the throat in `area`.
    gamma : float
    shock_area : float, optional    Area at which a shock stands; none if not given.

    Returns
    -------
    mach, pressure : (n,) ndarray   Mach number and p over the inlet stagnation pressure.

    >>> print(f"{nozzle_profile([2.0, 1.0, 1.5], 1, 1.4)[0][-1]:.5g}")
    1.8541
    """
    area = np.asarray(area, dtype=float)
    place = np.arange(area.size)
    mach = np.where(
        place <= throat_index,
        mach_from_area_ratio(area, gamma),
        mach_from_area_ratio(area, gamma, supersonic=True),
    )
    loss = np.ones(area.size)
    if shock_area is not None:
        behind = (place > throat_index) & (area >= shock_area)
        state = nozzle_shock(max(area.max(), shock_area), shock_area, gamma)
        loss[behind] = state.stagnation_ratio
        mach[behind] = mach_from_area_ratio(area[behind] * state.stagnation_ratio, gamma)
    return mach, loss * isentropic(mach, gamma).pressure


# Fanno flow: friction without heat ------------------------------------------------------------


@guarded
def fanno_length(mach: Numbers, gamma: float) -> Numbers:
    """f L*/D up to the sonic point, with the Darcy factor f (= 4 f Fanning).

    Parameters
    ----------
    mach : float or ndarray     Mach number, > 0.
    gamma : float

    Returns
    -------
    float or ndarray            f L*/D (no unit).  Shapiro (1953) eq. 6.21.

    >>> print(round(fanno_length(0.3, 1.4), 6))
    5.299253
    """
    g, m2 = gamma, np.square(mach)
    crowd = (g + 1.0) * m2 / (2.0 + (g - 1.0) * m2)
    return (1.0 - m2) / (g * m2) + 0.5 * (g + 1.0) / g * np.log(crowd)


@guarded
def mach_from_fanno_length(length: float, gamma: float, supersonic: bool = False) -> float:
    """Mach number from which f L*/D = `length` (Darcy f) reaches the sonic point (no unit).

    >>> print(f"{mach_from_fanno_length(1.0, 1.4):.5g}")
    0.50874
    """
    low, high = (1.0, _HIGHEST_MACH) if supersonic else (1e-6, 1.0)
    return root(lambda m: fanno_length(m, gamma) - length, low, high)


class FannoRatios(NamedTuple):
    """Values over those at the sonic point (all without unit)."""

    pressure: float
    temperature: float
    stagnation_pressure: float


@guarded
def fanno_ratios(mach: Numbers, gamma: float) -> FannoRatios:
    """p/p*, T/T*, p0/p0* of Fanno flow at `mach` > 0.  Shapiro (1953) ch. 6.

    >>> print(f"{fanno_ratios(0.5, 1.4)[0]:.5g}")
    2.1381
    """
    g = gamma
    temperature = 0.5 * (g + 1.0) / (1.0 + 0.5 * (g - 1.0) * np.square(mach))
    return FannoRatios(np.sqrt(temperature) / mach, temperature, area_ratio(mach, g))


@guarded
def fanno_exit_mach(mach: float, friction_length: float, gamma: float) -> float:
    """Mach number behind a pipe.

    Parameters
    ----------
    mach : float                Subsonic Mach number at the inlet.
    friction_length : float     f L/D of the pipe with Darcy f (no unit).
    gamma : float

    Returns
    -------
    float                       Mach number at the exit.

    Raises
    ------
    InputError                  If the pipe is longer than the sonic length.

    >>> print(round(fanno_exit_mach(0.3, 0.02 * 1.5 / 0.04, 1.4), 6))
    0.317363
    """
    left = fanno_length(mach, gamma) - friction_length
    require(left >= 0.0, f"fanno_exit_mach: the pipe chokes, its f L/D is {-left:.4g} too long.")
    return mach_from_fanno_length(left, gamma)


@guarded
def fanno_inlet_mach_choked(friction_length: float, gamma: float) -> float:
    """Inlet Mach number of a pipe of f L/D = `friction_length` (Darcy f) choked at its exit.

    >>> print(f"{fanno_inlet_mach_choked(1.0, 1.4):.5g}")
    0.50874
    """
    return mach_from_fanno_length(friction_length, gamma)


# Rayleigh flow: heat without friction ---------------------------------------------------------


class RayleighRatios(NamedTuple):
    """Values over those at the sonic point (all without unit)."""

    stagnation_temperature: float
    temperature: float
    pressure: float


@guarded
def rayleigh(mach: Numbers, gamma: float) -> RayleighRatios:
    """T0/T0*, T/T*, p/p* of Rayleigh flow at `mach`.  Shapiro (1953) ch. 7.

    >>> print(round(rayleigh(0.5, 1.4).pressure, 6))
    1.777778
    """
    g, m2 = gamma, np.square(mach)
    pressure = (g + 1.0) / (1.0 + g * m2)
    stagnation = 2.0 * (g + 1.0) * m2 * (1.0 + 0.5 * (g - 1.0) * m2) / (1.0 + g * m2) ** 2
    return RayleighRatios(stagnation, pressure**2 * m2, pressure)


@guarded
def mach_from_rayleigh(
    stagnation_temperature: float, gamma: float, supersonic: bool = False
) -> float:
    """Mach number at T0/T0* = `stagnation_temperature` (no unit, 0..1) on the branch asked for.

    Raises `InputError` outside the range; the relation is a quadratic in M**2.

    >>> print(f"{mach_from_rayleigh(0.5, 1.4):.5g}")
    0.38365
    """
    k2 = stagnation_temperature / (2.0 * (gamma + 1.0))
    require(
        (0.0 < stagnation_temperature <= 1.0),
        f"mach_from_rayleigh: T0/T0* must be in 0..1 (no unit), got {stagnation_temperature}.",
    )
    return mach_from_impulse(k2, gamma, supersonic)


def mach_from_impulse(k2, gamma, supersonic=False):
    """Solve k2 = M**2 (1 + (g-1)/2 M**2) / (1 + g M**2)**2: mass flow over impulse, squared.

    >>> print(f"{mach_from_impulse(0.144, 1.4):.3g}")
    0.5
    """
    g = gamma
    spread = np.sqrt(max(0.0, 1.0 - 2.0 * (g + 1.0) * k2))
    if not supersonic:
        return np.sqrt(2.0 * k2 / (1.0 - 2.0 * g * k2 + spread))
    lead = g * g * k2 - 0.5 * (g - 1.0)
    require(lead > 0.0, "mach_from_rayleigh: no supersonic flow has so low a T0/T0*.")
    return np.sqrt(0.5 * (1.0 - 2.0 * g * k2 + spread) / lead)
