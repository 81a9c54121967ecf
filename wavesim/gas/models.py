"""The working gas: a perfect gas, or an engine gas of air, fresh charge and burned products.

The engine gas is an ideal mixture of three parts, carried as mass fractions: `yf` of fresh charge
(air with fuel vapour), `yb` of burned products, and ambient air as the rest.  The specific
internal energy of each part is a polynomial in x = T / 1000 K,

    e(T) = c0 + c1 x + c2 x^2 + ... ,    cv = de/dT,    h = e + R T,    h(298.15 K) = 0,

fitted once per gas to published polynomials of the species (`wavesim.gas.gasfit`); the gas constant
is exact.  Composition is frozen: no dissociation, which matters above about 1800 K.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import NamedTuple

import numpy as np
from numpy.polynomial.polynomial import polyder, polyval

from wavesim.constants import LAMBDA_RANGE, R_AIR
from wavesim.errors import ConvergenceError, check_kind, check_number
from wavesim.fields.description import (
    Description,
    Named,
    checked,
    describe,
    number,
    restore,
)
from wavesim.gas import fuels
from wavesim.gas.fuels import DRY_AIR, FUELS, Fuel
from wavesim.gas.gasfit import DEGREE, T_POSITIVE, fit_energy
from wavesim.gas.species import MOLAR_GAS_CONSTANT, T_REFERENCE, mixture_mass, molar_mass
from wavesim.guard import guarded
from wavesim.kernels.constants import MIXTURE, PERFECT, PRANDTL, SUTHERLAND

__all__ = [
    "FUELS", "EngineGas", "Fuel", "GasTable", "PerfectGas", "TableGas", "describe_gas",
    "restore_gas",
]

#: One number or an array of them.
Numbers = float | np.ndarray


class GasTable(NamedTuple):
    """A gas as plain numbers for the kernels.

    `kind` is PERFECT or MIXTURE; `R` (3,) [J/(kg K)] and `coef` (3, DEGREE + 1) [J/kg] hold one
    row per part (air, fresh, burned): e = sum over k of coef[part, k] * (T / 1000 K)**k.
    """

    kind: int
    R: np.ndarray
    coef: np.ndarray


@guarded
class _Gas:
    """Relations of every ideal gas; subclasses give R, cv, e and temperature.

    T and the mass fractions yf (fresh charge) and yb (burned) are floats or arrays that
    broadcast against each other; SI units throughout.
    """

    prandtl = PRANDTL
    humidity = 0.0  # mass of water vapour in a kilogram of its air

    def cp(self, T: Numbers, yf: Numbers = 0.0, yb: Numbers = 0.0) -> Numbers:
        """Heat capacity at constant pressure [J/(kg K)] at temperature T [K]."""
        return self.cv(T, yf, yb) + self.R(yf, yb)

    def gamma(
        self, T: Numbers = T_REFERENCE, yf: Numbers = 0.0, yb: Numbers = 0.0
    ) -> Numbers:
        """Ratio of heat capacities [1] at temperature T [K]."""
        return 1.0 + self.R(yf, yb) / self.cv(T, yf, yb)

    def h(self, T: Numbers, yf: Numbers = 0.0, yb: Numbers = 0.0) -> Numbers:
        """Specific enthalpy e + R T [J/kg] at temperature T [K]."""
        return self.e(T, yf, yb) + self.R(yf, yb) * T

    def sound_speed(self, T: Numbers, yf: Numbers = 0.0, yb: Numbers = 0.0) -> Numbers:
        """Speed of sound sqrt(gamma R T) [m/s], frozen composition, at temperature T [K]."""
        return np.sqrt(self.gamma(T, yf, yb) * self.R(yf, yb) * T)

    def density(
        self, p: Numbers, T: Numbers, yf: Numbers = 0.0, yb: Numbers = 0.0
    ) -> Numbers:
        """Density p / (R T) [kg/m3] at pressure p [Pa] and temperature T [K]."""
        return p / (self.R(yf, yb) * T)

    def viscosity(self, T: Numbers) -> Numbers:
        """Dynamic viscosity [Pa s] at temperature T [K] by Sutherland's law for air.

        Burned gas is given the same value: kinetic theory with the transport data of GRI-Mech
        3.0 agrees within 7 % from 600 to 2000 K and is about 10 % lower at 300 K.
        """
        mu, T0, S = SUTHERLAND
        return mu * (T / T0) ** 1.5 * (T0 + S) / (T + S)

    def conductivity(self, T: Numbers, yf: Numbers = 0.0, yb: Numbers = 0.0) -> Numbers:
        """Thermal conductivity viscosity * cp / prandtl [W/(m K)] at temperature T [K]."""
        return self.viscosity(T) * self.cp(T, yf, yb) / self.prandtl


@guarded
class PerfectGas(_Gas):
    """Gas of constant heat capacities; its mass fractions carry a tracer and change nothing.

    Parameters
    ----------
    gamma : float
        Ratio of heat capacities [1], above 1, up to 2.
    R : float
        Gas constant [J/(kg K)], above 0 (1 suits dimensionless tests), up to 10 000.
    heat_per_fresh : float
        Heat released per kilogram of fresh charge that burns [J/kg], 0 to 1e8.
    fuel_fraction : float
        Mass of fuel in a kilogram of fresh charge [kg/kg], 0 to 1.

    Raises
    ------
    InputError
        If a value is outside its range.

    Examples
    --------
    >>> gas = PerfectGas(gamma=1.4, R=287.05)
    >>> round(float(gas.sound_speed(300.0)), 3)
    347.219
    >>> round(float(gas.cp(300.0) - gas.cv(300.0)), 2), gas.gamma(300.0), gas.R()
    (287.05, 1.4, 287.05)
    >>> round(float(gas.temperature(gas.e(500.0))), 6), round(float(gas.h(500.0) - gas.e(500.0)))
    (500.0, 143525)
    >>> round(float(gas.density(101325.0, 288.15)), 3)
    1.225
    >>> bool(gas.viscosity(900.0) > gas.viscosity(300.0))
    True
    >>> bool(gas.conductivity(900.0) > gas.conductivity(300.0))
    True
    >>> gas.describe()["gamma"], len(gas.table().R)
    (1.4, 3)
    """

    def __init__(
        self,
        gamma: float = 1.4,
        R: float = R_AIR,
        *,
        heat_per_fresh: float = 0.0,
        fuel_fraction: float = 0.0,
    ) -> None:
        def check(field, value, unit, low, high, **opened):
            return check_number("PerfectGas", field, value, unit, low, high, **opened)

        self._gamma = check("gamma", gamma, "1", 1.0, 2.0, low_open=True)
        self._R = check("R", R, "J/(kg K)", 0.0, 1e4, low_open=True)
        self.heat_per_fresh = check("heat_per_fresh", heat_per_fresh, "J/kg", 0.0, 1e8)
        self.fuel_fraction = check("fuel_fraction", fuel_fraction, "kg/kg", 0.0, 1.0)

    def _values(self):
        return self._gamma, self._R, self.heat_per_fresh, self.fuel_fraction

    def describe(self) -> dict:
        """Plain data, ready for JSON: see `describe_gas`."""
        names = ("gamma", "R", "heat_per_fresh", "fuel_fraction")
        return {"type": "PerfectGas", **dict(zip(names, self._values(), strict=True))}

    def __eq__(self, other):
        return isinstance(other, PerfectGas) and self._values() == other._values()

    def __hash__(self):
        return hash(self._values())

    def __repr__(self):
        fields = self.describe()
        kind = fields.pop("type")
        return f"{kind}({', '.join(f'{name}={value!r}' for name, value in fields.items())})"

    def R(self, yf: Numbers = 0.0, yb: Numbers = 0.0) -> Numbers:
        """Gas constant [J/(kg K)]."""
        return self._R + 0.0 * (yf + yb)

    def cv(
        self, T: Numbers = T_REFERENCE, yf: Numbers = 0.0, yb: Numbers = 0.0
    ) -> Numbers:
        """Heat capacity at constant volume [J/(kg K)]."""
        return self.R(yf, yb) / (self._gamma - 1.0) + 0.0 * T

    def e(self, T: Numbers, yf: Numbers = 0.0, yb: Numbers = 0.0) -> Numbers:
        """Specific internal energy cv T [J/kg] at temperature T [K]."""
        return self.cv(T, yf, yb) * T

    def temperature(self, e: Numbers, yf: Numbers = 0.0, yb: Numbers = 0.0) -> Numbers:
        """Temperature [K] at internal energy e [J/kg]."""
        return e / self.cv(e, yf, yb)

    def table(self) -> GasTable:
        """The gas as plain numbers, a GasTable of kind PERFECT."""
        coef = np.zeros((3, DEGREE + 1))
        coef[:, 1] = 1000.0 * self.cv()
        return GasTable(PERFECT, np.full(3, self._R), coef)


@guarded
class _Mixture(_Gas):
    """Relations of an ideal mixture of three parts; `_table` holds their numbers."""

    @cached_property
    def _slopes(self):
        """Coefficients of the heat capacities, as `_table.coef`."""
        return polyder(self._table.coef, axis=1)

    def R(self, yf: Numbers = 0.0, yb: Numbers = 0.0) -> Numbers:
        """Gas constant [J/(kg K)] of the mixture."""
        air, fresh, burned = self._table.R
        return air + yf * (fresh - air) + yb * (burned - air)

    def cv(self, T: Numbers, yf: Numbers = 0.0, yb: Numbers = 0.0) -> Numbers:
        """Heat capacity at constant volume [J/(kg K)] at temperature T [K]."""
        return 1e-3 * _blended(self._slopes, T, yf, yb)

    def e(self, T: Numbers, yf: Numbers = 0.0, yb: Numbers = 0.0) -> Numbers:
        """Specific sensible internal energy h - R T [J/kg] at temperature T [K]."""
        return _blended(self._table.coef, T, yf, yb)

    def temperature(self, e: Numbers, yf: Numbers = 0.0, yb: Numbers = 0.0) -> Numbers:
        """Temperature [K] at sensible internal energy e [J/kg], by Newton's method.

        Raises
        ------
        ConvergenceError
            If an energy belongs to no temperature between 100 and 5000 K.
        """
        e, yf, yb = np.broadcast_arrays(e, yf, yb)
        T = np.full(e.shape, 800.0)
        for _ in range(50):
            new = np.clip(T - (self.e(T, yf, yb) - e) / self.cv(T, yf, yb), *T_POSITIVE)
            done = np.abs(new - T) <= 1e-10 * T
            T = new
            if np.all(done):
                break
        missed = ~(np.abs(self.e(T, yf, yb) - e) <= 1e-9 * self.cv(T, yf, yb) * T)
        if np.any(missed):
            raise ConvergenceError(
                f"{type(self).__name__}: temperature at e = {e[missed].flat[0]:.6g} J/kg was not "
                f"found between {T_POSITIVE[0]:g} K and {T_POSITIVE[1]:g} K."
            )
        return T[()]


@dataclass(frozen=True)
class EngineGas(_Mixture, Description):
    """Ideal mixture of ambient air, fresh charge and burned products of one mixture strength.

    Parameters
    ----------
    fuel : str or Fuel
        A name in FUELS or a fuel of your own; "petrol" is gasoline.
    lam : float
        Excess-air ratio of the fresh charge [1], 0.6 to 1.6; below 1 is rich.
    air : mapping of str to float
        Moles of the species of the air in any scale, O2 among them, and H2O if it is humid; if not
        given, dry air, to which a run adds the humidity of its weather.

    Raises
    ------
    InputError
        If the fuel or a species is unknown or a value is outside its range.

    Notes
    -----
    Burned products: CO2, H2O, the rest of the air and, if lean, O2; if rich, CO and H2 with
    ``CO H2O = 3.5 CO2 H2`` (Heywood 1988, section 4.9, from memory).  Species data: NASA TM-4513
    (1993).  From 250 to 2500 K the fitted cp is within 0.5 % and h(T) - h(298.15 K) within 0.2 %
    of the species data, for gasoline within 0.2 % and 0.1 %.

    Examples
    --------
    >>> gas = EngineGas("gasoline", lam=1.0)
    >>> round(gas.air_fuel_ratio, 1), round(gas.heat_per_fresh / 1e6, 2)
    (14.6, 2.76)
    >>> round(float(gas.gamma(600.0, yb=1.0)), 2)
    1.33
    >>> round(float(gas.cp(600.0) - gas.cv(600.0) - gas.R()), 6) == 0.0, gas.table().R.shape
    (True, (3,))
    >>> round(float(gas.temperature(gas.e(700.0))), 3), bool(gas.h(700.0) > gas.e(700.0))
    (700.0, True)
    >>> bool(480.0 < gas.sound_speed(600.0) < 500.0), bool(gas.density(101325.0, 288.15) > 1.2)
    (True, True)
    >>> bool(gas.viscosity(900.0) > gas.viscosity(300.0))
    True
    >>> bool(gas.conductivity(900.0) > gas.conductivity(300.0))
    True
    """

    fuel: Fuel = checked(fuels.as_fuel, FUELS["gasoline"], kinds=(Fuel,), choices=tuple(FUELS))
    lam: float = number("1", *LAMBDA_RANGE, 1.0)
    air: Named = checked(fuels.air_amounts, DRY_AIR)

    @cached_property
    def humidity(self) -> float:
        """Mass of water vapour in a kilogram of the air [kg/kg]."""
        return self.air.get("H2O", 0.0) * molar_mass("H2O") / mixture_mass(self.air)

    @cached_property
    def air_fuel_ratio(self) -> float:
        """Mass of air, vapour included, per mass of fuel in the fresh charge [kg/kg]."""
        return self.lam * self.fuel.stoichiometric_ratio(self.air)

    @property
    def fuel_fraction(self) -> float:
        """Mass of fuel in a kilogram of fresh charge [kg/kg]."""
        return 1.0 / (1.0 + self.air_fuel_ratio)

    @property
    def heating_value(self) -> float:
        """Lower heating value of the fuel [J/kg]."""
        return self.fuel.lower_heating_value

    @cached_property
    def heat_per_fresh(self) -> float:
        """Heat released when a kilogram of fresh charge turns to burned products [J/kg].

        If rich, the heating value of the CO and H2 left over is not released.
        """
        return self.fuel_fraction * fuels.released_heat(self.fuel, self.lam, self.air)

    @cached_property
    def parts(self) -> tuple[Mapping[str, float], ...]:
        """Moles by species of air, fresh charge and burned products; the scales differ."""
        return (
            dict(self.air),
            fuels.fresh_moles(self.fuel, self.lam, self.air),
            fuels.burned_moles(self.fuel, self.lam, self.air),
        )

    @cached_property
    def _table(self):
        R = [MOLAR_GAS_CONSTANT * sum(m.values()) / mixture_mass(m) for m in self.parts]
        coef = [_fit(tuple(m.items()), part_R) for m, part_R in zip(self.parts, R, strict=True)]
        return GasTable(MIXTURE, np.array(R), np.array(coef))

    def table(self) -> GasTable:
        """The gas as plain numbers, a GasTable of kind MIXTURE."""
        return GasTable(MIXTURE, self._table.R.copy(), self._table.coef.copy())


@guarded
class TableGas(_Mixture):
    """Gas of a table, such as the one that a result keeps of the gas that made it.

    Parameters
    ----------
    R : sequence of float, (3,)
        Gas constants of air, fresh charge and burned gas [J/(kg K)].
    coef : sequence, (3, n)
        Coefficients of their internal energy [J/kg], see `GasTable`.

    Examples
    --------
    >>> table = PerfectGas(gamma=1.4, R=287.05).table()
    >>> gas = TableGas(table.R, table.coef)
    >>> round(float(gas.sound_speed(300.0)), 3)
    347.219
    >>> round(float(gas.cp(300.0) - gas.cv(300.0)), 2), round(float(gas.gamma(300.0)), 6)
    (287.05, 1.4)
    >>> round(float(gas.R()), 2)
    287.05
    >>> round(float(gas.temperature(gas.e(500.0))), 6), round(float(gas.h(500.0) - gas.e(500.0)))
    (500.0, 143525)
    >>> round(float(gas.density(101325.0, 288.15)), 3)
    1.225
    >>> bool(gas.viscosity(900.0) > gas.viscosity(300.0))
    True
    >>> bool(gas.conductivity(900.0) > gas.conductivity(300.0))
    True
    """

    def __init__(self, R: Sequence[float], coef: Sequence[Sequence[float]]) -> None:
        self._table = GasTable(MIXTURE, np.array(R, dtype=float), np.array(coef, dtype=float))


def describe_gas(gas):
    """Plain data of a gas, ready for JSON.

    Parameters
    ----------
    gas : PerfectGas or EngineGas

    Returns
    -------
    dict
    """
    return describe(gas) if isinstance(gas, Description) else gas.describe()


def restore_gas(data):
    """Gas from what `describe_gas` returned.

    Parameters
    ----------
    data : dict

    Returns
    -------
    PerfectGas or EngineGas

    Raises
    ------
    InputError
        If a field is unknown or a value is refused.

    Examples
    --------
    >>> restore_gas(describe_gas(PerfectGas(gamma=1.3))) == PerfectGas(gamma=1.3)
    True
    """
    if data.get("type") != "PerfectGas":
        return restore(data)
    return PerfectGas(**{name: value for name, value in data.items() if name != "type"})


@lru_cache(maxsize=256)
def _fit(moles, gas_constant):
    """Coefficients of one part; kept, because every run of an engine asks for the same gas."""
    return fit_energy(dict(moles), gas_constant)


def _blended(coef, T, yf, yb):
    """Polynomials of the three parts at T [K], weighted by mass."""
    air, fresh, burned = polyval(np.asarray(T) / 1000.0, coef.T)
    return air + yf * (fresh - air) + yb * (burned - air)


def given_gas(owner, gas):
    """`gas` after checking that it is a gas or None.

    Parameters
    ----------
    owner : str
        Function that asks, for messages.
    gas : PerfectGas, EngineGas or None

    Raises
    ------
    InputError
        If it is something else.
    """
    return check_kind(owner, "gas", gas, PerfectGas, EngineGas, optional=True)
