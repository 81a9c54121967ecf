"""Waves of finite amplitude in a perfect gas: simple waves, shocks, ends and area changes.

A wave that runs into gas at rest (sound speed c0) in one direction obeys

    u = 2 (c - c0)/(gamma - 1),   p/p0 = (c/c0)**(2 gamma/(gamma - 1)),   speed = u + c

as long as no shock has formed.  Landau and Lifshitz, Fluid Mechanics, ch. X; Whitham, Linear and
Nonlinear Waves (1974), ch. 6; Liepmann and Roshko, Elements of Gasdynamics (1957), ch. 3; Rudinger,
Nonsteady Duct Flow (1969).  X stands for (p/p0)**((gamma-1)/(2 gamma)) = c/c0.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from wavesim.exact._tools import Numbers, require, root
from wavesim.exact.losses import sudden_enlargement
from wavesim.exact.steady import normal_shock
from wavesim.guard import guarded


class SimpleWave(NamedTuple):
    """State inside a simple wave: velocity, sound speed and wave speed u + c, all [m/s]."""

    u: float
    c: float
    speed: float


def _c_ratio(p_ratio, gamma):
    return np.asarray(p_ratio, dtype=float) ** (0.5 * (gamma - 1.0) / gamma)


def _p_ratio(c_ratio, gamma):
    return c_ratio ** (2.0 * gamma / (gamma - 1.0))


@guarded
def simple_wave(p_ratio: Numbers, c0: float, gamma: float) -> SimpleWave:
    """Gas inside a wave running to the right into gas at rest.

    Parameters
    ----------
    p_ratio : float or ndarray  p/p0.
    c0 : float                  Sound speed at rest [m/s].
    gamma : float

    Returns
    -------
    SimpleWave                  u, c, u + c [m/s].  Whitham (1974) sec. 6.8.

    >>> print(round(float(simple_wave(1.5, 347.219, 1.4).u), 2))
    103.53
    """
    c = c0 * _c_ratio(p_ratio, gamma)
    u = 2.0 * (c - c0) / (gamma - 1.0)
    return SimpleWave(u, c, u + c)


@guarded
def reflect_closed(p_ratio: Numbers, gamma: float) -> Numbers:
    """p/p0 at a closed end while a simple wave of `p_ratio` arrives: (2X - 1)**(2g/(g-1)).

    Rudinger (1969); valid until a shock forms.

    >>> print(f"{reflect_closed(1.5, 1.4):.5g}")
    2.2006
    """
    return _p_ratio(2.0 * _c_ratio(p_ratio, gamma) - 1.0, gamma)


class OpenReflection(NamedTuple):
    """Exit velocity [m/s] and p/p0 of the reflected wave alone."""

    u: float
    p_ratio: float


@guarded
def reflect_open(p_ratio: Numbers, c0: Numbers, gamma: float) -> OpenReflection:
    """Simple wave of `p_ratio` at an end held at p0: exit velocity 2 u, reflected X = 2 - X.

    Rudinger (1969); subsonic outflow.  `c0` [m/s].  Returns `OpenReflection`.

    >>> print(f"{reflect_open(1.5, 340.0, 1.4)[0]:.5g}")
    202.76
    """
    reflected = _p_ratio(2.0 - _c_ratio(p_ratio, gamma), gamma)
    return OpenReflection(2.0 * simple_wave(p_ratio, c0, gamma).u, reflected)


@guarded
def breaking_time(steepest_fall: Numbers, gamma: float) -> Numbers:
    """Time at which a simple wave breaks [s]: 2/((g+1) max(-du/dx)).

    `steepest_fall` is the largest -du/dx of the start profile [1/s].  Whitham (1974) sec. 2.1, 6.8.

    >>> print(f"{breaking_time(100.0, 1.4):.5g}")
    0.0083333
    """
    return 2.0 / ((gamma + 1.0) * steepest_fall)


class SimpleWaveField(NamedTuple):
    """A simple wave on a grid: u, c [m/s], p/p0 and rho/rho0."""

    u: np.ndarray
    c: np.ndarray
    p_ratio: np.ndarray
    rho_ratio: np.ndarray


@guarded
def simple_wave_field(
    profile: Callable[[np.ndarray], np.ndarray],
    x: np.ndarray,
    t: float,
    amplitude: float,
    c0: float,
    gamma: float,
) -> SimpleWaveField:
    """Simple wave running to the right, at time t, on any grid.

    Parameters
    ----------
    profile : callable          u [m/s] at t = 0 as a function of x [m], vectorised.
    x : (n,) ndarray            Places [m].
    t : float                   Time [s], before the wave breaks.
    amplitude : float           Bound of \\|profile\\| [m/s].
    c0, gamma : float           Sound speed at rest [m/s], ratio of specific heats.

    Returns
    -------
    SimpleWaveField             Arrays of shape (n,).

    Raises
    ------
    InputError                  If the wave has broken before t.

    Notes
    -----
    Each value of u keeps its speed c0 + (g+1)/2 u, so x = x0 + (c0 + (g+1)/2 profile(x0)) t; the
    foot x0 is found by bisection.  Whitham (1974) sec. 6.8.
    """
    x = np.asarray(x, dtype=float)
    foot = _foot(profile, x, t, amplitude, c0, gamma)
    u = profile(foot)
    c = c0 + 0.5 * (gamma - 1.0) * u
    rho_ratio = (c / c0) ** (2.0 / (gamma - 1.0))
    return SimpleWaveField(u, c, _p_ratio(c / c0, gamma), rho_ratio)


def _foot(profile, x, t, amplitude, c0, gamma):
    def arrival(x0):
        return x0 + (c0 + 0.5 * (gamma + 1.0) * profile(x0)) * t

    reach = 0.5 * (gamma + 1.0) * amplitude * t
    low, high = x - c0 * t - reach, x - c0 * t + reach
    span = np.linspace(low.min(), high.max(), 4001)
    require(
        np.diff(arrival(span)) >= 0.0,
        f"simple_wave_field: the wave has broken before t = {t:.6g} s; ask for an earlier time.",
    )
    for _ in range(60):
        middle = 0.5 * (low + high)
        short = arrival(middle) < x
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    return 0.5 * (low + high)


@guarded
def sine_piston_shock_distance(
    amplitude: Numbers, frequency: Numbers, c0: Numbers, gamma: float
) -> Numbers:
    """Distance at which the wave of a sine piston first breaks [m], to leading order in u/c.

    `amplitude` [m/s], `frequency` [Hz], `c0` [m/s]: 2 c0**2/((g+1) omega u).  Landau and Lifshitz,
    sec. 101-102.

    >>> print(f"{sine_piston_shock_distance(10.0, 100.0, 340.0, 1.4):.5g}")
    15.332
    """
    return 2.0 * c0**2 / ((gamma + 1.0) * 2.0 * np.pi * frequency * amplitude)


class ShockOnset(NamedTuple):
    """Time [s] and place [m] at which a shock first forms."""

    t: float
    x: float


@guarded
def accelerating_piston_shock(acceleration: Numbers, c0: Numbers, gamma: float) -> ShockOnset:
    """Birth of the shock before a piston of constant `acceleration` [m/s2] from rest.

    t = 2 c0/((g+1) a), x = c0 t.  Landau and Lifshitz, sec. 101.  Returns `ShockOnset`.

    >>> print(round(accelerating_piston_shock(2e4, 347.219, 1.4).t * 1e3, 3))
    14.467
    """
    t = 2.0 * c0 / ((gamma + 1.0) * acceleration)
    return ShockOnset(t, c0 * t)


@guarded
def ramp_shock_distance(
    rise: Numbers, rise_time: Numbers, p0: Numbers, c0: Numbers, gamma: float
) -> Numbers:
    """First crossing of characteristics [m] when the inlet pressure rises linearly from p0.

    `rise` [Pa] within `rise_time` [s]: 2 g p0 c0 t_r/((g+1) dp), the crossing at the foot of the
    wave.  Derived here from the simple wave.

    >>> print(f"{ramp_shock_distance(2e4, 1e-3, 1e5, 340.0, 1.4):.5g}")
    1.9833
    """
    return 2.0 * gamma * p0 * c0 * rise_time / ((gamma + 1.0) * rise)


@guarded
def rarefaction_wall_time(c_ratio: Numbers, gamma: float) -> Numbers:
    """When the gas at a closed end has cooled to c/c0 under a centred rarefaction.

    Parameters
    ----------
    c_ratio : float or ndarray  r = c/c0 at the wall, 0 < r <= 1.
    gamma : float

    Returns
    -------
    float or ndarray            t c0/L (no unit), L = distance of the wall from the centre.

    Notes
    -----
    r**-N P_{N-1}((r + 1/r)/2), N = (g+1)/(2(g-1)), P the Legendre function: the Riemann function of
    the Euler-Poisson-Darboux equation of interacting simple waves.  Landau and Lifshitz sec. 105
    treat this problem; the closed form was rebuilt and checked by a march of characteristics.

    >>> print(round(float(rarefaction_wall_time(0.9, 1.4)), 6))
    1.394668
    """
    from scipy.special import eval_legendre

    n = 0.5 * (gamma + 1.0) / (gamma - 1.0)
    r = np.asarray(c_ratio, dtype=float)
    return r**-n * eval_legendre(n - 1.0, 0.5 * (r + 1.0 / r))


# Shocks ---------------------------------------------------------------------------------------


class MovingShock(NamedTuple):
    """Gas behind a shock running into gas at rest, index 1 before and 2 behind."""

    pressure: float
    density: float
    temperature: float
    u: float
    mach: float


@guarded
def moving_shock(shock_mach: Numbers, gamma: float) -> MovingShock:
    """Shock of Mach number Ms >= 1 running into gas at rest.

    Returns
    -------
    MovingShock     p2/p1, rho2/rho1, T2/T1, u2/c1 = 2/(g+1) (Ms - 1/Ms), and M2 = u2/c2.
                    Liepmann and Roshko (1957) sec. 2.13, 3.2.

    >>> print(round(moving_shock(3.0, 1.4).density, 6))
    3.857143
    """
    still = normal_shock(shock_mach, gamma)
    u = 2.0 / (gamma + 1.0) * (shock_mach - 1.0 / shock_mach)
    return MovingShock(
        still.pressure, still.density, still.temperature, u, u / np.sqrt(still.temperature)
    )


class ShockAtWall(NamedTuple):
    """Behind the reflected shock: p5/p2, p5/p1, T5/T1 (no unit)."""

    over_incident: float
    pressure: float
    temperature: float


@guarded
def shock_at_closed_end(shock_mach: Numbers, gamma: float) -> ShockAtWall:
    """Head-on reflection of a shock of Mach number `shock_mach` at a closed end.

    p5/p2 = ((3g-1) p2/p1 - (g-1)) / ((g-1) p2/p1 + (g+1)).  Liepmann and Roshko (1957) sec. 3.
    Returns `ShockAtWall`.

    >>> print(f"{shock_at_closed_end(1.5, 1.4)[0]:.5g}")
    2.2069
    """
    g, before = gamma, moving_shock(shock_mach, gamma)
    p21 = before.pressure
    p52 = ((3.0 * g - 1.0) * p21 - (g - 1.0)) / ((g - 1.0) * p21 + (g + 1.0))
    q = (g - 1.0) / (g + 1.0)
    t52 = p52 * (1.0 + q * p52) / (q + p52)
    return ShockAtWall(p52, p52 * p21, t52 * before.temperature)


class ShockAtOpenEnd(NamedTuple):
    """Exit of an open pipe behind an arriving shock: u3/c1, c3/c1, M3, p3/p1 (no unit)."""

    u: float
    c: float
    mach: float
    pressure: float


@guarded
def shock_at_open_end(shock_mach: float, gamma: float) -> ShockAtOpenEnd:
    """Quasi-steady exit of a pipe open to p1, after a shock has arrived.

    A rarefaction runs back and lowers p2 to p1; if the exit would exceed Mach 1 it stops there, and
    if the flow behind the shock is supersonic nothing runs back.  Rudinger (1969).  Returns
    `ShockAtOpenEnd`.

    >>> print(round(shock_at_open_end(1.2, 1.4).mach, 6))
    0.610113
    """
    g, shock = gamma, moving_shock(shock_mach, gamma)
    c2 = np.sqrt(shock.temperature)
    if shock.mach >= 1.0:
        return ShockAtOpenEnd(shock.u, c2, shock.mach, shock.pressure)
    outgoing = shock.u + 2.0 * c2 / (g - 1.0)
    c3 = max(c2 * shock.pressure ** (-0.5 * (g - 1.0) / g), outgoing * (g - 1.0) / (g + 1.0))
    u3 = outgoing - 2.0 * c3 / (g - 1.0)
    return ShockAtOpenEnd(u3, c3, u3 / c3, shock.pressure * _p_ratio(c3 / c2, g))


class OpenEndLimits(NamedTuple):
    """Shock Mach numbers above which the exit is sonic, and above which M2 exceeds 1."""

    sonic_exit: float
    supersonic_flow: float


@guarded
def open_end_limits(gamma: float) -> OpenEndLimits:
    """Shock Mach numbers that part the three regimes of `shock_at_open_end`, as `OpenEndLimits`.

    >>> print(f"{open_end_limits(1.4)[0]:.5g}")
    1.3461
    """

    def unchoked_excess(ms):
        shock = moving_shock(ms, gamma)
        c2 = np.sqrt(shock.temperature)
        c3 = c2 * shock.pressure ** (-0.5 * (gamma - 1.0) / gamma)
        return shock.u + 2.0 * (c2 - c3) / (gamma - 1.0) - c3

    sonic = root(unchoked_excess, 1.0, 10.0)
    fast = root(lambda ms: moving_shock(ms, gamma).mach - 1.0, 1.0, 10.0)
    return OpenEndLimits(sonic, fast)


class PistonShock(NamedTuple):
    """Shock Mach number, p2/p1 and shock speed [m/s]."""

    mach: float
    pressure: float
    speed: float


@guarded
def piston_shock(speed: Numbers, c0: Numbers, gamma: float) -> PistonShock:
    """Shock before a piston set moving at once with `speed` [m/s] into gas at rest.

    Ms = q + sqrt(1 + q**2), q = (g+1) u/(4 c0).  Liepmann and Roshko (1957) sec. 3.2.  Returns
    `PistonShock`.

    >>> print(f"{piston_shock(100.0, 340.0, 1.4)[0]:.5g}")
    1.1919
    """
    q = 0.25 * (gamma + 1.0) * speed / c0
    mach = q + np.sqrt(1.0 + q**2)
    return PistonShock(mach, normal_shock(mach, gamma).pressure, mach * c0)


@guarded
def piston_rarefaction(speed: Numbers, c0: Numbers, gamma: float) -> np.ndarray:
    """p/p0 at a piston withdrawn at once with `speed` [m/s], 0 beyond the escape speed.

    >>> print(f"{piston_rarefaction(100.0, 340.0, 1.4):.5g}")
    0.65418
    """
    c_ratio = 1.0 - 0.5 * (gamma - 1.0) * np.asarray(speed, dtype=float) / c0
    return _p_ratio(np.maximum(c_ratio, 0.0), gamma)


@guarded
def escape_speed(c0: Numbers, gamma: float) -> Numbers:
    """Speed of gas expanding from rest into vacuum [m/s]: 2 c0/(g-1), `c0` [m/s].

    Landau and Lifshitz sec. 99.

    >>> print(f"{escape_speed(340.0, 1.4):.5g}")
    1700
    """
    return 2.0 * c0 / (gamma - 1.0)


# Nodes ----------------------------------------------------------------------------------------


class WaveAtStep(NamedTuple):
    """p/p0 on the side of the incident wave and beyond the step."""

    before: float
    beyond: float


@guarded
def wave_at_area_change(
    p_ratio: float, area_ratio: float, gamma: float, law: str = "isentropic"
) -> WaveAtStep:
    """Simple wave meeting an abrupt change of area, quasi-steady, gas at rest beyond.

    Parameters
    ----------
    p_ratio : float             p/p0 of the incident wave.
    area_ratio : float          Area beyond over area before.
    gamma : float
    law : str                   "isentropic": energy and mass, no entropy made (contraction, or an
                                ideal diffuser); "momentum": mass, energy and momentum with the
                                narrow side's pressure on the annulus (sudden enlargement, outflow).

    Returns
    -------
    WaveAtStep                  p1/p0 and p2/p0.

    Raises
    ------
    InputError                  Unknown law, or "momentum" for a contraction or a suction wave.

    Notes
    -----
    Benson, The Thermodynamics and Gas Dynamics of Internal Combustion Engines I (1982), treats
    both.

    >>> print(round(wave_at_area_change(1.5, 0.25, 1.4).before, 6))
    1.944189
    """
    require(
        law in ("isentropic", "momentum"),
        f"wave_at_area_change: law must be 'isentropic' or 'momentum', got {law!r}.",
    )
    if law == "isentropic":
        return _isentropic_step(p_ratio, area_ratio, gamma)
    require(
        p_ratio > 1.0 and area_ratio > 1.0,
        "wave_at_area_change: the momentum law needs p_ratio > 1 and area_ratio > 1 (no unit), "
        f"got {p_ratio}, {area_ratio}.",
    )
    return _momentum_step(p_ratio, area_ratio, gamma)


def _before_step(p_ratio, x1, gamma):
    """Velocity over c0 before the step: the arriving Riemann invariant is kept."""
    return 2.0 / (gamma - 1.0) * (2.0 * _c_ratio(p_ratio, gamma) - 1.0 - x1)


def _isentropic_step(p_ratio, area_ratio, gamma):
    from scipy.optimize import root as system_root

    g = gamma

    def residual(x):
        u1 = _before_step(p_ratio, x[0], g)
        u2 = 2.0 / (g - 1.0) * (x[1] - 1.0)
        energy = x[0] ** 2 - x[1] ** 2 + 0.5 * (g - 1.0) * (u1**2 - u2**2)
        power = 2.0 / (g - 1.0)
        return energy, x[0] ** power * u1 - area_ratio * x[1] ** power * u2

    linear = 1.0 + 2.0 / (1.0 + area_ratio) * (p_ratio - 1.0)
    start = _c_ratio([linear, linear], g)
    found = system_root(residual, start, tol=1e-13)
    require(
        max(np.abs(residual(found.x))) < 1e-9,
        f"wave_at_area_change: no subsonic solution for p_ratio = {p_ratio} (no unit).",
    )
    return WaveAtStep(*(float(v) for v in _p_ratio(found.x, g)))


def _momentum_step(p_ratio, area_ratio, gamma):
    g = gamma

    def beyond(x1):
        """p2/p0, u2/c0 from the steady enlargement fed by the state before the step."""
        m1 = _before_step(p_ratio, x1, g) / x1
        flow = sudden_enlargement(m1, area_ratio, g)
        heat = (1.0 + 0.5 * (g - 1.0) * m1**2) / (1.0 + 0.5 * (g - 1.0) * flow.mach**2)
        return flow.pressure * _p_ratio(x1, g), flow.mach * x1 * np.sqrt(heat)

    def excess(x1):
        p2, u2 = beyond(x1)
        return u2 - 2.0 / (g - 1.0) * (_c_ratio(p2, g) - 1.0)

    incident = 2.0 * _c_ratio(p_ratio, g) - 1.0
    sonic, still = 2.0 * incident / (g + 1.0), incident
    x1 = root(excess, sonic * (1.0 + 1e-12), still * (1.0 - 1e-9))
    return WaveAtStep(float(_p_ratio(x1, g)), float(beyond(x1)[0]))


@guarded
def wave_at_junction(p_ratio: Numbers, others: int, gamma: float) -> Numbers:
    """p/p0 at a junction of one pipe with `others` equal pipes, one static pressure, homentropic.

    X = (2 X_incident - 1 + n)/(1 + n).  Benson (1982).

    >>> print(round(float(wave_at_junction(1.5, 4, 1.4)), 6))
    1.179411
    """
    x = (2.0 * _c_ratio(p_ratio, gamma) - 1.0 + others) / (1.0 + others)
    return _p_ratio(x, gamma)
