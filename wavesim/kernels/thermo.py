"""Scalar relations of the working gas.

The gas is a mixture of three parts: ambient air (0), fresh charge (1) and burned gas (2) with the
mass fractions 1 - yf - yb, yf and yb.  The specific internal energy of a part is a polynomial

    e_part(T) = sum_k coef[part, k] * (T / 1000 K)**k          [J/kg],   k = 0 .. 7,

so a perfect gas is the special case with coef[:, 1] = 1000 cv and all other coefficients zero.
"""

import math

from .constants import MU_0, T_0, T_SUTHERLAND
from .jit import kernel, leaf

AIR, FRESH, BURNED = 0, 1, 2
MAX_ITERATIONS = 12  # of the temperature
T_SCALE = 1e-3  # polynomials run in kilokelvin to keep the coefficients of one size


@leaf
def mix(part, yf, yb, column):
    """Mass-weighted value of one coefficient column of the three parts."""
    air = part[AIR, column]
    return air + yf * (part[FRESH, column] - air) + yb * (part[BURNED, column] - air)


@leaf
def gas_constant(R, yf, yb):
    """Specific gas constant of the mixture [J/kg/K]."""
    return R[AIR] + yf * (R[FRESH] - R[AIR]) + yb * (R[BURNED] - R[AIR])


@leaf
def energy_cv(coef, T, yf, yb):
    """Specific internal energy [J/kg] and cv [J/kg/K] of the mixture at T [K]."""
    t = T * T_SCALE
    c7 = mix(coef, yf, yb, 7)
    c6 = mix(coef, yf, yb, 6)
    c5 = mix(coef, yf, yb, 5)
    c4 = mix(coef, yf, yb, 4)
    c3 = mix(coef, yf, yb, 3)
    c2 = mix(coef, yf, yb, 2)
    c1 = mix(coef, yf, yb, 1)
    c0 = mix(coef, yf, yb, 0)
    e = c0 + t * (c1 + t * (c2 + t * (c3 + t * (c4 + t * (c5 + t * (c6 + t * c7))))))
    high = 4.0 * c4 + t * (5.0 * c5 + t * (6.0 * c6 + t * 7.0 * c7))
    de = c1 + t * (2.0 * c2 + t * (3.0 * c3 + t * high))
    return e, de * T_SCALE


@leaf
def horner(e, d1, d2, d3, t, c):
    """A step of Horner's scheme for a polynomial and its Taylor coefficients 1 to 3."""
    return e * t + c, d1 * t + e, d2 * t + d1, d3 * t + d2


@leaf
def energy_series(coef, T, yf, yb):
    """Series of the specific internal energy of the mixture about T [K].

    Returns e [J/kg], de/dT = cv, and the coefficients of dT^2 and dT^3.
    """
    t = T * T_SCALE
    d1 = d2 = d3 = mix(coef, yf, yb, 7)
    e = d1 * t + mix(coef, yf, yb, 6)
    d1, e = d1 * t + e, e * t + mix(coef, yf, yb, 5)
    d2, d1, e = d2 * t + d1, d1 * t + e, e * t + mix(coef, yf, yb, 4)
    e, d1, d2, d3 = horner(e, d1, d2, d3, t, mix(coef, yf, yb, 3))
    e, d1, d2, d3 = horner(e, d1, d2, d3, t, mix(coef, yf, yb, 2))
    e, d1, d2, d3 = horner(e, d1, d2, d3, t, mix(coef, yf, yb, 1))
    e, d1, d2, d3 = horner(e, d1, d2, d3, t, mix(coef, yf, yb, 0))
    return e, d1 * T_SCALE, d2 * T_SCALE**2, d3 * T_SCALE**3


@leaf
def temperature_rise(coef, T, yf, yb, target):
    """Rise of temperature [K] from T that brings the internal energy to `target` [J/kg].

    By the series of the energy about T, turned round to third order.  Returns also 1/cv there.
    """
    e, cv, bend, twist = energy_series(coef, T, yf, yb)
    per_cv = 1.0 / cv
    q = bend * per_cv
    k = twist * per_cv
    d = (target - e) * per_cv
    d *= 1.0 - d * (q - d * (2.0 * q * q - k))
    return d, per_cv * (1.0 - d * (2.0 * q - d * (4.0 * q * q - 3.0 * k)))


@kernel
def temperature(coef, e, yf, yb, guess):
    """Temperature [K] at the specific internal energy `e`, found from `guess`, and cv [J/kg/K].

    The last value is 1 if the iteration ended without converging.
    """
    T = guess
    per_cv = 0.0
    missed = 1
    for _ in range(MAX_ITERATIONS):
        d, per_cv = temperature_rise(coef, T, yf, yb, e)
        T += min(0.5 * T, max(-0.5 * T, d))
        if abs(d) < 1e-3 * T:  # leaves an error of the order of its fourth power
            missed = 0
            break
    return T, 1.0 / per_cv, missed


@kernel
def enthalpy(R, coef, T, yf, yb):
    """Specific enthalpy h = e + R T [J/kg]."""
    e, _ = energy_cv(coef, T, yf, yb)
    return e + gas_constant(R, yf, yb) * T


@kernel
def gamma_cp(R, coef, T, yf, yb):
    """Ratio of specific heats, cp [J/kg/K] and gas constant [J/kg/K] at T."""
    gas_R = gas_constant(R, yf, yb)
    _, cv = energy_cv(coef, T, yf, yb)
    return 1.0 + gas_R / cv, cv + gas_R, gas_R


@kernel
def caloric(R, coef, T, yf, yb):
    """What `gamma_cp` gives and the specific enthalpy [J/kg] at T."""
    gas_R = gas_constant(R, yf, yb)
    e, cv = energy_cv(coef, T, yf, yb)
    return 1.0 + gas_R / cv, cv + gas_R, gas_R, e + gas_R * T


@leaf
def viscosity(T):
    """Dynamic viscosity of air [Pa s]: Sutherland's law."""
    return MU_0 * (T / T_0) * math.sqrt(T / T_0) * (T_0 + T_SUTHERLAND) / (T + T_SUTHERLAND)
