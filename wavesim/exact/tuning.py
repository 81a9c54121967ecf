"""Travel times of waves, the crank angles at which echoes are back, and lengths tuned by them.

A small wave runs along the gas at c + u, with the sound speed c and the velocity u of the gas
(Landau and Lifshitz, Fluid Mechanics, 2nd ed. 1987, sec. 68; Kinsler et al. 2000, ch. 5).  All the
arithmetic of tuned lengths is this and the crank, which turns 6 N degrees in a second at N rev/min.
A strong wave comes back later, for it returns against the stream that it has set going:
`strong_return_time` follows it.

The rules of thumb at the end carry their own sources and are converted from inches to SI.  Lengths
are in metres, speeds in m/s, engine speeds `rpm` in rev/min, crank angles in degrees.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from wavesim.exact._tools import Numbers, require
from wavesim.guard import guarded
from wavesim.units import cc, inch

# Travel times ---------------------------------------------------------------------------------


@guarded
def sound_speed(temperature: Numbers, gamma: float, gas_constant: float) -> Numbers:
    """Sound speed of a perfect gas [m/s] at `temperature` [K]: sqrt(gamma R T).

    Kinsler et al. (2000) ch. 5.

    >>> print(round(float(sound_speed(900.0, 1.33, 288.0)), 2))
    587.14
    """
    return np.sqrt(gamma * gas_constant * temperature)


@guarded
def mean_speed(speed: Numbers | Sequence[float]) -> float:
    """Speed [m/s] that needs as much time as the speeds given, each over an equal piece of the way.

    The harmonic mean; `speed` [m/s] of any shape, such as (n_time, n_cell) of a duct.

    >>> print(round(float(mean_speed([400.0, 600.0])), 6))
    480.0
    """
    return 1.0 / np.mean(1.0 / np.asarray(speed, dtype=float))


@guarded
def wave_time(
    length: float | Sequence[float],
    c: float | Sequence[float],
    velocity: float | Sequence[float] = 0.0,
) -> float:
    """Time in which a small wave runs along ducts that lie end to end.

    Parameters
    ----------
    length : float or sequence      Of each duct [m], >= 0.
    c : float or sequence           Sound speed in each [m/s].
    velocity : float or sequence    Of the gas in each [m/s], positive along with the wave.

    Returns
    -------
    float                           Sum of L/(c + u) [s].

    Raises
    ------
    InputError                      If a length is negative, or the wave cannot run against the gas.

    Notes
    -----
    Landau and Lifshitz (1987) sec. 68.

    A metre of hot and half a metre of cooler gas:

    >>> print(round(1e3 * wave_time([1.0, 0.5], [550.0, 500.0]), 4))
    2.8182
    """
    length, pace = np.asarray(length, dtype=float), np.add(c, velocity)
    require(length >= 0.0, f"wave_time: length must be at least 0 m, got {length}.")
    require(pace > 0.0, f"wave_time: c + velocity must be above 0 m/s, got {pace}.")
    return float(np.sum(length / pace))


@guarded
def round_trip_time(
    length: float | Sequence[float],
    c: float | Sequence[float],
    velocity: float | Sequence[float] = 0.0,
) -> float:
    """Time in which a small wave runs along ducts to their end and back.

    Parameters
    ----------
    length, c, velocity             As for `wave_time`; `velocity` is positive away from the start.

    Returns
    -------
    float                           [s]; 2 L/c in still gas, and longer by 1/(1 - M**2) with flow.

    Raises
    ------
    InputError                      As for `wave_time`.

    >>> print(round(1e3 * round_trip_time(0.8, 550.0), 4))
    2.9091
    """
    return wave_time(length, c, velocity) + wave_time(length, c, np.negative(velocity))


@guarded
def travel_time(
    temperature: Callable[[Numbers], Numbers],
    length: float,
    gamma: float,
    gas_constant: float,
    velocity: Callable[[Numbers], Numbers] | None = None,
) -> float:
    """Time of sound through gas whose state changes along the way: the integral of dx/(c + u).

    Parameters
    ----------
    temperature : callable          T(x) [K] on 0..length.
    length : float                  [m].
    gamma, gas_constant : float     Ratio of specific heats, R [J/(kg K)].
    velocity : callable or None     u(x) [m/s], positive along with the wave; None: still gas.

    Returns
    -------
    float                           [s].

    Raises
    ------
    InputError                      If the wave cannot run against the gas.

    Notes
    -----
    Landau and Lifshitz (1987) sec. 68.

    >>> print(round(1e3 * travel_time(lambda x: 900.0 - 400.0 * x, 1.0, 1.4, 287.05), 6))
    1.905381
    """
    from scipy.integrate import quad

    def slowness(x):
        u = 0.0 if velocity is None else velocity(x)
        return wave_time(1.0, sound_speed(temperature(x), gamma, gas_constant), u)

    return quad(slowness, 0.0, length, epsabs=0.0, epsrel=1e-12)[0]


# Crank angles ---------------------------------------------------------------------------------


@guarded
def crank_angle(time: Numbers, rpm: Numbers) -> Numbers:
    """Crank angle [deg] that passes in a time [s] at `rpm` [1/min]: 6 N t.

    >>> print(round(crank_angle(2.9091e-3, 6000.0), 2))
    104.73
    """
    return 6.0 * rpm * time


@guarded
def return_delay(rpm: Numbers, length: Numbers, c: Numbers, velocity: Numbers = 0.0) -> Numbers:
    """Crank angle [deg] for a small wave to run down a pipe and back: 12 N L/c in still gas.

    `rpm` [1/min]; `length` [m], `c` [m/s] and `velocity` [m/s] as for `round_trip_time`: of one
    pipe, or of each of several.

    >>> print(round(return_delay(6000.0, 0.8, 550.0), 3))
    104.727
    >>> print(round(return_delay(6000.0, 0.8, 550.0, velocity=110.0), 3))
    109.091
    """
    return crank_angle(round_trip_time(length, c, velocity), rpm)


@guarded
def arrival_angle(leaves_deg: Numbers, rpm: Numbers, *times: Numbers) -> Numbers:
    """Crank angle [deg] at which a wave arrives that left at `leaves_deg` and took `times` [s].

    The echo of a merge at the exhaust valve, which opens at 130 deg; and the pulse of the cylinder
    that fires 180 deg later, which comes down its own primary and up this one:

    >>> primary = wave_time(0.8, 550.0)
    >>> print(round(arrival_angle(130.0, 6000.0, primary, primary), 1))
    234.7
    >>> print(round(arrival_angle(130.0 + 180.0, 6000.0, primary, primary), 1))
    414.7
    """
    return leaves_deg + crank_angle(sum(times), rpm)


@guarded
def return_rpm(delay_deg: Numbers, length: Numbers, c: Numbers, velocity: Numbers = 0.0) -> Numbers:
    """Speed [1/min] at which a wave is back after `delay_deg` [deg]; see `return_delay`.

    >>> print(round(return_rpm(120.0, 0.8, 550.0), 3))
    6875.0
    """
    return delay_deg / (6.0 * round_trip_time(length, c, velocity))


@guarded
def return_speed(delay_deg: Numbers, rpm: Numbers, length: Numbers) -> Numbers:
    """Wave speed [m/s] that brings a wave back after `delay_deg` [deg]; see `return_delay`.

    >>> print(round(return_speed(120.0, 6875.0, 0.8), 3))
    550.0
    """
    return 12.0 * rpm * length / delay_deg


@guarded
def tuned_length(
    rpm: float, delay_deg: float, c: float, velocity: float = 0.0, end_correction: float = 0.0
) -> float:
    """Length of pipe [m] from the valve to an end that sends a wave back after `delay_deg`.

    Parameters
    ----------
    rpm : float                     Engine speed [1/min].
    delay_deg : float               Crank angle from the start of the wave until it is back [deg].
    c : float                       Sound speed of the gas in the pipe [m/s]; see `mean_speed`.
    velocity : float                Of this gas [m/s], smaller than c.
    end_correction : float          Length that the air outside adds to an open end [m], such as
                                    UNFLANGED_END times the radius; 0 at a merge.

    Returns
    -------
    float                           delay (c**2 - u**2)/(12 N c) less the end correction.

    Raises
    ------
    InputError                      If the gas is as fast as sound, or no length is left.

    Notes
    -----
    `return_delay` turned round.  It holds for small waves.  The blowdown of an engine is none: its
    echo is later (`strong_return_time`), so that a length from this arithmetic answers best at a
    lower speed than was asked for.

    >>> print(round(tuned_length(6875.0, 120.0, 550.0), 6))
    0.8
    """
    require(abs(velocity) < c, f"tuned_length: velocity must be below c = {c} m/s, got {velocity}.")
    length = delay_deg * (c**2 - velocity**2) / (12.0 * rpm * c) - end_correction
    require(
        length > 0.0,
        f"tuned_length: delay_deg = {delay_deg} deg at {rpm} rev/min is over before the wave has "
        f"passed the end correction of {end_correction} m.",
    )
    return length


@guarded
def strong_return_time(
    t: np.ndarray, excess: np.ndarray, length: float, c: float, gamma: float
) -> float:
    """Time until the head of a strong wave is back from an open end, by the theory of simple waves.

    Parameters
    ----------
    t : (n,) array              Times since the head has left [s], rising.
    excess : (n,) array         X - 1 of the outgoing wave where it leaves, with
                                X = (p/p0)**((g-1)/(2g)); 0 up to t = 0.
    length : float              From there to the open end [m].
    c : float                   Sound speed of the gas at rest [m/s].
    gamma : float               Its ratio of specific heats.

    Returns
    -------
    float                       [s]; 2 L/c for a weak wave, longer behind a compression.

    Notes
    -----
    The head runs out at c into still gas.  On its way back it meets the wave: dx/dt = u - c there,
    where every u and X came along a straight line of slope u + c from the start.  Whitham, Linear
    and Nonlinear Waves (1974), sec. 6.8.  The gas is all of one entropy, and the lines do not cross
    before the head has met them.

    >>> rise = np.linspace(0.0, 5e-3, 500)
    >>> weak = strong_return_time(rise, 1e-6 * np.sin(300.0 * rise) ** 2, 0.8, 550.0, 1.33)
    >>> print(round(6.0 * 6000.0 * weak, 1))
    104.7
    """
    from scipy.integrate import solve_ivp

    t, excess = np.asarray(t, dtype=float), np.asarray(excess, dtype=float)
    require(t.ndim == 1 and t.shape == excess.shape and np.all(np.isfinite([t, excess])),
            "strong_return_time: t and excess must be finite and of one length.")
    require(0.0 < length < np.inf and 0.0 < c < np.inf and 1.0 < gamma < np.inf,
            "strong_return_time: length and c must be above 0, gamma above 1, all finite.")

    def slope_out(above):
        return c * (1.0 + (gamma + 1.0) / (gamma - 1.0) * above)

    def excess_at(x, now):
        """X - 1 at a place and a time: of the last wavelet that has got so far."""
        sent = np.append(t[(t > 0.0) & (t < now)], now)
        above = np.interp(sent, t, excess)
        reach = (now - sent) * slope_out(above)
        got = np.flatnonzero(reach >= x)
        if not len(got):
            return 0.0
        pair = slice(got[-1] + 1, got[-1] - 1 if got[-1] else None, -1)
        return np.interp(x, reach[pair], above[pair])

    def back(now, x):
        above = excess_at(x[0], now)
        return [c * (2.0 / (gamma - 1.0) * above - 1.0 - above)]

    def nearly_there(now, x):
        return x[0] - 1e-3 * length

    nearly_there.terminal = True
    leaves = length / c
    run = solve_ivp(back, (leaves, 4.0 * leaves), [length], events=nearly_there,
                    max_step=0.02 * leaves)
    now, rest = run.t[-1], run.y[0, -1]
    return float(now - rest / back(now, [rest])[0])


# Firing frequency -----------------------------------------------------------------------------


@guarded
def firing_frequency(cylinders: int, rpm: Numbers) -> Numbers:
    """Firing frequency of a four-stroke engine [Hz]: n N/120, `rpm` [1/min].

    Heywood (1988) ch. 2: each cylinder fires once in two turns.

    >>> print(f"{firing_frequency(4, 6000.0):.5g}")
    200
    """
    return cylinders * rpm / 120.0


@guarded
def resonant_rpm(frequency: Numbers, cylinders: int, order: int = 1) -> Numbers:
    """Speed [1/min] at which a multiple of the firing frequency meets a resonance: 120 f/(n k).

    `frequency` [Hz] of the resonance (`pipe_modes`, `helmholtz_frequency`), `order` k = 1, 2, ...
    `firing_frequency` turned round.  Where a tailpipe of a four-cylinder engine sounds:

    >>> from wavesim.exact.acoustics import pipe_modes
    >>> note = pipe_modes(2.0, "open-open", 1, 450.0)[0]
    >>> print(round(float(resonant_rpm(note, 4))))
    3375
    """
    return 120.0 * frequency / (cylinders * order)


# Rules of thumb -------------------------------------------------------------------------------


@guarded
def length_rule(exhaust_opens_deg: Numbers, rpm: Numbers) -> Numbers:
    """Primary length [m] from the exhaust valve by a rule of thumb.

    `exhaust_opens_deg` before bottom dead centre, `rpm` [1/min] of the wanted peak.  Bell,
    Four-Stroke Performance Tuning: P[in] = 850 (180 + EVO)/N - 3.

    >>> print(f"{length_rule(45.0, 6000.0):.5g}")
    0.73342
    """
    return (850.0 * (180.0 + exhaust_opens_deg) / rpm - 3.0) * inch


@guarded
def bore_rule(cylinder_displacement: Numbers, length: Numbers) -> Numbers:
    """Primary bore [m] by a rule of thumb; `cylinder_displacement` [m3], primary `length` [m].

    Bell, Four-Stroke Performance Tuning: d[in] = 2.1 sqrt(cc/(25 (P[in] + 3))).

    >>> print(f"{bore_rule(0.5e-3, 0.9):.5g}")
    0.038478
    """
    return 2.1 * np.sqrt(cylinder_displacement / cc / (25.0 * (length / inch + 3.0))) * inch


@guarded
def peak_torque_rule(primary_area: Numbers, cylinder_displacement: Numbers) -> Numbers:
    """Speed of peak torque [1/min] from the primary's area [m2] and the cylinder's volume [m3].

    Workshop rule: 88200 A[in2]/V[in3], which is a mean speed of 74.7 m/s during the stroke.

    >>> print(f"{peak_torque_rule(1.1e-3, 0.5e-3):.5g}")
    4928.6
    """
    return 88200.0 * primary_area / cylinder_displacement * inch


@guarded
def stroke_mean_speed(
    primary_area: Numbers, cylinder_displacement: Numbers, rpm: Numbers
) -> Numbers:
    """Mean gas speed [m/s] in a primary while one displacement leaves in half a turn.

    `primary_area` [m2], `cylinder_displacement` [m3], `rpm` [1/min]: V/A over 30/N seconds.

    >>> print(f"{stroke_mean_speed(1.1e-3, 0.5e-3, 6000.0):.5g}")
    90.909
    """
    return cylinder_displacement / primary_area * rpm / 30.0
