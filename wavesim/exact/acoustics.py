"""Plane waves of small amplitude: pipe modes, open ends, steps, junctions, resonators, sound.

Kinsler, Frey, Coppens and Sanders, Fundamentals of Acoustics (4th ed. 2000); Munjal, Acoustics of
Ducts and Mufflers (2nd ed. 2014); Pierce, Acoustics (1981).  Reflection coefficients are those of
pressure.  c is the sound speed [m/s], k = 2 pi f/c, a the pipe radius [m].
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np

from wavesim.constants import UNFLANGED_END
from wavesim.exact._tools import Numbers, require, root
from wavesim.exact.tuning import travel_time
from wavesim.guard import guarded

PISTON_END = 8.0 / (3.0 * np.pi)  # end correction over radius, rigid piston in a baffle, Rayleigh

_ENDS = ("closed-open", "open-open", "closed-closed")
_FIRST_ZERO_J1 = 3.8317


@guarded
def pipe_modes(
    length: float, ends: str, count: int, c: float, end_correction: float = 0.0, mach: float = 0.0
) -> np.ndarray:
    """Lowest resonances of a uniform pipe.

    Parameters
    ----------
    length : float              Pipe length [m].
    ends : str                  "closed-open", "open-open" or "closed-closed".
    count : int                 How many modes.
    c : float                   Sound speed [m/s].
    end_correction : float      Added length of each open end [m], e.g. UNFLANGED_END * radius.
    mach : float                Mach number of a mean flow (fixed velocity at a "closed" end, fixed
                                pressure at an open one).

    Returns
    -------
    (count,) ndarray            Frequencies [Hz].

    Raises
    ------
    InputError                  Unknown ends.

    Notes
    -----
    (2n-1) c/4L or n c/2L, times 1 - M**2 for a round trip against and with the flow.  Kinsler et
    al. (2000) ch. 10; Munjal (2014) ch. 2.

    >>> [round(float(f), 1) for f in pipe_modes(1.0, "closed-open", 2, 343.2)]
    [85.8, 257.4]
    """
    _check_ends("pipe_modes", ends)
    n = np.arange(1, count + 1)
    quarters = 2 * n - 1 if ends == "closed-open" else 2 * n
    length = length + ends.count("open") * end_correction
    return quarters * c / (4.0 * length) * (1.0 - mach**2)


@guarded
def gradient_modes(
    temperature: Callable[[Numbers], Numbers],
    length: float,
    ends: str,
    count: int,
    gamma: float,
    gas_constant: float,
) -> np.ndarray:
    """Lowest resonances of a pipe along which the temperature varies, at one static pressure.

    Parameters
    ----------
    temperature : callable      T(x) [K], x from 0 to length [m]; x = 0 is the first-named end.
    length : float              [m].
    ends : str                  "closed-open", "open-open" or "closed-closed".
    count : int                 How many modes.
    gamma, gas_constant : float

    Returns
    -------
    (count,) ndarray            Frequencies [Hz].

    Notes
    -----
    (T p')' + omega**2/(g R) p = 0 (Munjal 2014, ch. 2).  With p = r sin(phase) and T p' = s r
    cos(phase) the phase grows steadily with omega, and mode n is where it has gained n half turns
    (n - 1/2 between unlike ends), so that no mode is missed (Prüfer's substitution).
    """
    from scipy.integrate import solve_ivp

    _check_ends("gradient_modes", ends)
    start = 0.0 if ends.startswith("open") else 0.5 * np.pi
    half = 0.5 if ends == "closed-open" else 0.0
    travel = travel_time(temperature, length, gamma, gas_constant)
    middle = temperature(0.5 * length)

    def phase_gain(f):
        stiffness = (2.0 * np.pi * f) ** 2 / (gamma * gas_constant)
        scale = np.sqrt(stiffness * middle)

        def slope(x, phase):
            bend = stiffness / scale * np.sin(phase) ** 2
            return scale / temperature(x) * np.cos(phase) ** 2 + bend

        run = solve_ivp(slope, (0.0, length), [start], "DOP853", rtol=1e-11, atol=1e-11)
        return run.y[0, -1] - start

    def mode(n):
        turns = n - half
        guess = turns / (2.0 * travel)
        low, high = 0.5 * guess, 2.0 * guess
        return root(lambda f: phase_gain(f) - turns * np.pi, low, high)

    return np.array([mode(n) for n in range(1, count + 1)])


def _check_ends(owner, ends):
    require(ends in _ENDS, f"{owner}: ends must be one of {', '.join(_ENDS)}, got {ends!r}.")


# Open ends ------------------------------------------------------------------------------------


class OpenEnd(NamedTuple):
    """Size of the reflection coefficient, and end correction over the radius (no unit)."""

    reflection: float
    correction: float


@guarded
def levine_schwinger(ka: float) -> OpenEnd:
    """Unflanged thin-walled open end, plane wave, no flow: exact theory by quadrature.

    Parameters
    ----------
    ka : float                  Wave number times radius, 0 <= ka < 3.83 (first zero of J1).

    Returns
    -------
    OpenEnd                     \\|R\\| and l/a.

    Raises
    ------
    InputError                  Outside the range.

    Notes
    -----
    Levine and Schwinger (1948), Phys. Rev. 73, 383, the integrals for \\|R\\| and l/a; both are
    smoothed by x = ka sin(s), x = exp(s).  At ka = 0 the second gives 0.6127, not the 0.6133
    printed there.

    >>> end = levine_schwinger(0.5)
    >>> print(round(end.reflection, 5), round(end.correction, 5))
    0.89644 0.58184
    """
    require(
        0.0 <= ka < _FIRST_ZERO_J1,
        f"levine_schwinger: ka must be in 0 to {_FIRST_ZERO_J1} (no unit), got {ka}.",
    )
    if ka == 0.0:
        return OpenEnd(1.0, float(_far_part(0.0)) / np.pi)
    return OpenEnd(_reflection(ka), float(_near_part(ka) + _far_part(ka)) / np.pi)


def _reflection(ka):
    from scipy.integrate import quad
    from scipy.special import j1, y1

    def integrand(s):
        x = ka * np.sin(s)
        # arctan2 lets the angle run on through pi/2 where y1 changes sign.
        return np.arctan2(j1(x), -y1(x)) / x if x > 0.0 else 0.0

    area = quad(integrand, 0.0, 0.5 * np.pi, epsabs=1e-13, epsrel=1e-12)[0]
    return float(np.exp(-2.0 * ka / np.pi * area))


def _near_part(ka):
    from scipy.integrate import quad
    from scipy.special import j1, y1

    def integrand(s):
        x = ka * np.sin(s)
        return np.log(np.pi * j1(x) * np.hypot(j1(x), y1(x))) / x if x > 0.0 else 0.0

    return quad(integrand, 0.0, 0.5 * np.pi, epsabs=1e-12, epsrel=1e-11)[0]


def _far_part(ka):
    """Second integral over log(x): smooth and dying at both ends, so the plain sum is exact."""
    step = 0.1
    x = np.exp(np.arange(-25.0, 40.0, step))
    return step * np.sum(_log_bessel(x) / np.hypot(x, ka))


def _log_bessel(x):
    """log(1/(2 I1 K1)), with series where the functions lose digits or fail."""
    from scipy.special import ive, kve

    small = -0.5 * x**2 * (np.log(0.5 * x) + np.euler_gamma - 0.25)
    large = np.log(x) + 0.375 / x**2
    middle = np.clip(x, 1e-3, 1e3)
    value = -np.log(2.0 * ive(1, middle) * kve(1, middle))
    return np.select([x < 1e-3, x > 1e3], [small, large], value)


@guarded
def end_fit_davies(ka: Numbers) -> Numbers:
    """\\|R\\| of an unflanged open end, polynomial for ka < 1.5 (no unit).

    Davies, Bento Coelho and Bhattacharya (1980), J. Sound Vib. 72; within 0.5 % of the quadrature.

    >>> print(f"{end_fit_davies(0.5):.5g}")
    0.89693
    """
    return 1.0 + ka * (0.01336 + ka * (-0.59079 + ka * (0.33576 - 0.06432 * ka)))


@guarded
def end_fit_silva(ka: Numbers) -> OpenEnd:
    """Unflanged open end, causal fit for ka < 3, as `OpenEnd`.

    Silva, Guillemain, Kergomard, Mallaroni and Norris (2009), J. Sound Vib. 322; within 0.6 % in
    \\|R\\| and 2.2 % in l/a of the quadrature.

    >>> print(f"{end_fit_silva(0.5).reflection:.5g}")
    0.89416
    """
    z = np.square(ka)
    size = (1.0 + 0.800 * z) / (1.0 + z * (1.300 + z * (0.266 + 0.0263 * z)))
    shape = (1.0 + 0.0599 * z) / (1.0 + z * (0.238 + z * (-0.0153 + 0.00150 * z)))
    return OpenEnd(size, UNFLANGED_END * shape)


@guarded
def radiated_fraction(ka: Numbers) -> Numbers:
    """Share of the arriving power an open end radiates at low ka: 1 - R**2 ~ (ka)**2 (no unit).

    Levine and Schwinger (1948).

    >>> print(f"{radiated_fraction(0.5):.5g}")
    0.25
    """
    return np.square(ka)


# Steps and junctions --------------------------------------------------------------------------


class Scattering(NamedTuple):
    """Pressure reflection and transmission coefficient (no unit)."""

    reflection: float
    transmission: float


@guarded
def junction(areas: Sequence[float], incident: int = 0) -> Scattering:
    """Plane wave at a compact junction with one pressure.

    Parameters
    ----------
    areas : sequence of float   Areas of all pipes [m2] (or any unit).
    incident : int              Index of the pipe the wave comes from; -1 is the last.

    Returns
    -------
    Scattering                  R = (S - others)/(sum), T = 2 S/(sum).  Pierce (1981) ch. 7.

    >>> junction([1.0, 1.0, 1.0]).transmission == 2.0 / 3.0
    True
    """
    require(
        -len(areas) <= incident < len(areas),
        f"junction: incident must be 0 to {len(areas) - 1}, or counted from the end below 0.",
    )
    total, own = float(np.sum(areas)), float(areas[incident])
    return Scattering((2.0 * own - total) / total, 2.0 * own / total)


@guarded
def area_step(area_1: float, area_2: float) -> Scattering:
    """Plane wave from pipe 1 into pipe 2, areas [m2], as `Scattering`.  Pierce (1981) ch. 7.

    >>> print(f"{area_step(1.0, 2.25).reflection:.5g}")
    -0.38462
    """
    return junction((area_1, area_2))


@guarded
def temperature_contact(temperature_1: float, temperature_2: float) -> Scattering:
    """Plane wave from gas at T1 into gas at T2 [K], one area, gamma and pressure, as `Scattering`.

    R = (1 - y)/(1 + y), T = 2/(1 + y), y = rho1 c1/(rho2 c2) = sqrt(T2/T1).  Kinsler et al. (2000)
    ch. 6.

    >>> print(f"{temperature_contact(900.0, 400.0).reflection:.5g}")
    0.2
    """
    y = np.sqrt(temperature_2 / temperature_1)
    return Scattering((1.0 - y) / (1.0 + y), 2.0 / (1.0 + y))


@guarded
def choked_nozzle_reflection(mach: Numbers, gamma: float) -> Numbers:
    """Pressure reflection of a compact choked nozzle fed at `mach` (no unit).

    (1 - (g-1) M/2)/(1 + (g-1) M/2).  Marble and Candel (1977), J. Sound Vib. 55.

    >>> print(f"{choked_nozzle_reflection(0.2, 1.4):.5g}")
    0.92308
    """
    q = 0.5 * (gamma - 1.0) * mach
    return (1.0 - q) / (1.0 + q)


@guarded
def helmholtz_frequency(
    neck_area: Numbers, neck_length: Numbers, volume: Numbers, c: Numbers
) -> Numbers:
    """Helmholtz resonance with a lumped neck [Hz].

    `neck_area` [m2], `neck_length` [m] with its end corrections, `volume` [m3], `c` [m/s]:
    c/(2 pi) sqrt(S/(V L)).  Kinsler et al. (2000) ch. 10.

    >>> print(f"{helmholtz_frequency(1e-4, 0.02, 1e-3, 340.0):.5g}")
    121
    """
    return c / (2.0 * np.pi) * np.sqrt(neck_area / (volume * neck_length))


@guarded
def helmholtz_frequency_distributed(
    neck_area: float, neck_length: float, volume: float, c: float
) -> float:
    """Lowest resonance [Hz] of a pipe (neck) open to p = 0 on a compact volume.

    Same arguments as `helmholtz_frequency`; kL tan(kL) = S L/V.  Kinsler et al. (2000) ch. 10.

    >>> print(f"{helmholtz_frequency_distributed(1e-4, 0.02, 1e-3, 340.0):.5g}")
    120.96
    """
    fill = neck_area * neck_length / volume
    kl = root(lambda z: z * np.sin(z) - fill * np.cos(z), 0.0, 0.5 * np.pi)
    return kl * c / (2.0 * np.pi * neck_length)


# Sound ----------------------------------------------------------------------------------------


@guarded
def a_weighting(frequency: Numbers) -> Numbers:
    """A-weighting [dB] at `frequency` [Hz].  IEC 61672-1 (2013), annex E.

    >>> print(round(float(a_weighting(100.0)), 1))
    -19.1
    """
    f2 = np.square(np.asarray(frequency, dtype=float))
    poles = np.square([20.599, 107.6526, 737.8622, 12194.22])

    def gain(g2):
        slow, fast = (g2 + poles[0]) * (g2 + poles[3]), (g2 + poles[1]) * (g2 + poles[2])
        return g2**2 / (slow * np.sqrt(fast))

    return 20.0 * np.log10(gain(f2) / gain(1e6))


@guarded
def monopole_pressure(
    density: float, frequency: float, flow: float, distance: float, half_space: bool = False
) -> float:
    """Sound pressure of a compact source.

    Parameters
    ----------
    density : float             Of the air [kg/m3].
    frequency : float           [Hz].
    flow : float                Volume flow, rms [m3/s].
    distance : float            [m].
    half_space : bool           Source on a rigid plane: twice the pressure.

    Returns
    -------
    float                       Pressure, rms [Pa]: rho f Q/(2 r).  Pierce (1981) ch. 4.

    >>> print(f"{monopole_pressure(1.2, 100.0, 1e-3, 1.0):.5g}")
    0.06
    """
    return (2.0 if half_space else 1.0) * density * frequency * flow / (2.0 * distance)


@guarded
def monopole_power(density: Numbers, c: Numbers, frequency: Numbers, flow: Numbers) -> Numbers:
    """Power of a compact source in free space [W]: rho c k**2 Q**2/(4 pi).  Pierce (1981) ch. 4.

    `density` [kg/m3], `c` [m/s], `frequency` [Hz], `flow` rms [m3/s].

    >>> print(f"{monopole_power(1.2, 340.0, 100.0, 1e-3):.5g}")
    0.00011088
    """
    k = 2.0 * np.pi * frequency / c
    return density * c * k**2 * flow**2 / (4.0 * np.pi)


@guarded
def sound_level(value: Numbers, reference: Numbers = 2e-5, power: bool = False) -> Numbers:
    """Level [dB] of an rms pressure [Pa] re 20 uPa, or of a power (state its reference) [W].

    >>> print(f"{sound_level(1.0):.5g}")
    93.979
    """
    return (10.0 if power else 20.0) * np.log10(value / reference)


@guarded
def distance_change(near: Numbers, far: Numbers) -> Numbers:
    """Change of level from distance `near` to `far` [m] of a compact source [dB].

    >>> print(f"{distance_change(0.5, 1.0):.5g}")
    -6.0206
    """
    return 20.0 * np.log10(near / far)


@guarded
def decibel_sum(levels: Sequence[float]) -> float:
    """Level [dB] of several incoherent sources of the given levels [dB].

    >>> print(f"{decibel_sum([90.0, 90.0]):.5g}")
    93.01
    """
    return 10.0 * np.log10(np.sum(10.0 ** (0.1 * np.asarray(levels, dtype=float))))
