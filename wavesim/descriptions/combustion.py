"""Heat release, heat to the cylinder walls, engine friction: the descriptions."""

from dataclasses import dataclass
from math import exp, log

import numpy as np

from wavesim.fields.description import Description, number
from wavesim.fields.tables import Table, number_or_table, value_at
from wavesim.kernels.constants import WIEBE_A


@dataclass(frozen=True, kw_only=True)
class Wiebe(Description):
    """Single Wiebe law of the burned fraction.

    Parameters
    ----------
    ca50_deg : float or Table
        Angle at which half is burned [deg after firing top dead centre], -20 to 60; a Table is
        read against rpm.
    burn_10_90_deg : float or Table
        Angle from 10 % to 90 % burned [deg], 5 to 120; a Table is read against rpm.
    shape : float
        Exponent m, 0.1 to 8.
    efficiency : float
        Part of the available heat that is released, 0.1 to 1.

    Raises
    ------
    InputError
        If a value is outside its range, or combustion would start before -180 deg or end after
        360 deg.

    Notes
    -----
    x = (1 - exp(-a t^(m+1))) / (1 - exp(-a)), t = (theta - start) / duration, a = 6.908.
    Wiebe (1962) as in Heywood (1988), ch. 9 (from memory); divided by the last value so that
    x = 1 at t = 1.
    """

    ca50_deg: float | Table = number_or_table("deg", -20.0, 60.0, 8.0)
    burn_10_90_deg: float | Table = number_or_table("deg", 5.0, 120.0, 25.0)
    shape: float = number("1", 0.1, 8.0, 2.0)
    efficiency: float = number("1", 0.1, 1.0, 0.98)

    def _check(self):
        tables = [v for v in (self.ca50_deg, self.burn_10_90_deg) if isinstance(v, Table)]
        for rpm in {0.0, *(rpm for table in tables for rpm in table.x)}:
            start, duration = self.start_and_duration(rpm)
            if start < -180.0 or start + duration > 360.0:
                self._refuse(
                    f"burn_10_90_deg = {value_at(self.burn_10_90_deg, rpm):g} deg makes combustion "
                    f"last from {start:.0f} deg to {start + duration:.0f} deg, outside the valid "
                    "range -180 deg to 360 deg."
                )

    def start_and_duration(self, rpm):
        """Start [deg after firing top dead centre] and duration [deg] of combustion.

        Parameters
        ----------
        rpm : float
            Engine speed [rev/min].
        """
        t10, t50, t90 = (self._time_of(x) for x in (0.1, 0.5, 0.9))
        duration = value_at(self.burn_10_90_deg, rpm) / (t90 - t10)
        return value_at(self.ca50_deg, rpm) - t50 * duration, duration

    def _time_of(self, x):
        """Part of the duration after which the fraction x is burned."""
        return (-log(1.0 - x * (1.0 - exp(-WIEBE_A))) / WIEBE_A) ** (1.0 / (self.shape + 1.0))

    def burned_fraction(self, theta_deg, rpm):
        """Burned part of the charge, 0 to 1.

        Parameters
        ----------
        theta_deg : float or ndarray
            Crank angle after firing top dead centre [deg], not wrapped.
        rpm : float
            Engine speed [rev/min].
        """
        start, duration = self.start_and_duration(rpm)
        t = np.clip((np.asarray(theta_deg) - start) / duration, 0.0, 1.0)
        return np.expm1(-WIEBE_A * t ** (self.shape + 1.0)) / np.expm1(-WIEBE_A)


@dataclass(frozen=True, kw_only=True)
class Woschni(Description):
    """Walls of the combustion chamber and the factor on Woschni's heat transfer coefficient.

    Parameters
    ----------
    head_temperature, piston_temperature, liner_temperature : float
        Wall temperatures [K], 300 to 900.
    head_area_factor, piston_area_factor : float
        Wall area over the area of the bore, 1 to 3.
    factor : float
        Factor on the coefficient, 0 to 5; 0 is adiabatic.

    Notes
    -----
    The correlation itself is Woschni, SAE 670931 (1967).
    """

    head_temperature: float = number("K", 300.0, 900.0, 430.0)
    piston_temperature: float = number("K", 300.0, 900.0, 500.0)
    liner_temperature: float = number("K", 300.0, 900.0, 400.0)
    head_area_factor: float = number("1", 1.0, 3.0, 1.2)
    piston_area_factor: float = number("1", 1.0, 3.0, 1.05)
    factor: float = number("1", 0.0, 5.0, 1.0)


@dataclass(frozen=True, kw_only=True)
class ChenFlynn(Description):
    """Friction mean effective pressure as A + B p_max + C s + D s^2, s = mean piston speed.

    Parameters
    ----------
    constant : float
        A [Pa], 0 to 3e5.
    peak_pressure : float
        B, 0 to 0.05.
    speed : float
        C [Pa s/m], 0 to 1e5.
    speed_squared : float
        D [Pa s2/m2], 0 to 2000.

    Notes
    -----
    Form after Chen and Flynn, SAE 650733 (1965), with a quadratic term; the defaults lie in the
    middle of the constants in common use for passenger-car engines (from memory).

    Examples
    --------
    >>> round(ChenFlynn().mean_effective_pressure(70e5, 10.0))
    174000
    """

    constant: float = number("Pa", 0.0, 3e5, 0.4e5)
    peak_pressure: float = number("1", 0.0, 0.05, 0.005)
    speed: float = number("Pa s/m", 0.0, 1e5, 9000.0)
    speed_squared: float = number("Pa s2/m2", 0.0, 2000.0, 90.0)

    def mean_effective_pressure(self, peak_pressure, mean_piston_speed):
        """Friction mean effective pressure [Pa].

        Parameters
        ----------
        peak_pressure : float
            Highest cylinder pressure of the cycle [Pa].
        mean_piston_speed : float
            Mean piston speed [m/s].
        """
        s = mean_piston_speed
        return (
            self.constant
            + self.peak_pressure * peak_pressure
            + self.speed * s
            + self.speed_squared * s * s
        )
