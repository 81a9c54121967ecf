"""Heat release, heat to the cylinder walls, engine friction: the descriptions."""

from dataclasses import dataclass
from functools import partial
from math import exp, log
from typing import Any

import numpy as np

from wavesim.constants import LAMBDA_RANGE, RPM_RANGE, STANDARD_PRESSURE
from wavesim.fields.description import Description, checked, choice, number, part
from wavesim.fields.tables import Table, number_or_table, value_at
from wavesim.gas.flame import FLAMES, burn_angle_ratio, laminar_burning_velocity
from wavesim.gas.fuels import known_fuel
from wavesim.kernels.constants import WIEBE_A


@dataclass(frozen=True, kw_only=True)
class FlameScaling(Description):
    """How the burn angle answers to the charge: residual gas, mixture, temperature and speed.

    At the reference point the burn angle is that of the Wiebe law; elsewhere it is multiplied by
    (speed ratio)^(1/3) (ratio of laminar burning velocities)^(-2/3).  `FlameScaling.of(point)`
    takes all values from a computed point.

    Parameters
    ----------
    residual : float
        Mole fraction of burned gas in the trapped charge of the reference point, 0 to 0.35.
    air_fuel_lambda : float
        Its excess-air ratio, 0.6 to 1.6.
    rpm : float or None
        Its speed [rev/min], 100 to 30000.  None: the burn angle does not answer to speed, because
        a table of it against rpm says so already.
    temperature, pressure : float or None
        Its trapped charge at intake closing [K], 250 to 700, and [Pa], 1e4 to 1e6.  None: the burn
        angle does not answer to it.
    held : {"half burned", "ignition"}
        What stays where the Wiebe law puts it: the angle at which half is burned, as if ignition
        were set anew for every point, or the start, as on a fixed ignition map.
    fuel : str or None
        Whose burning velocity to take, one of `wavesim.gas.flame.FLAMES`; None: that of the engine.

    Raises
    ------
    InputError
        If a value is outside its range.

    Notes
    -----
    Sources stand in `wavesim.gas.flame`.  Temperature and pressure at ignition are taken to be in
    the ratio of those at intake closing, which holds where ignition comes at the same angle.

    Examples
    --------
    A third of the flame's speed is lost from 5 % to 15 % of residual gas:

    >>> scaling = FlameScaling(residual=0.05, air_fuel_lambda=1.0)
    >>> round(scaling.angle_ratio("gasoline", 3000.0, 0.15, 1.0), 2)
    1.32
    """

    residual: float = number("1", 0.0, 0.35)
    air_fuel_lambda: float = number("1", *LAMBDA_RANGE)
    rpm: float | None = number("rev/min", *RPM_RANGE, default=None)
    temperature: float | None = number("K", 250.0, 700.0, None)
    pressure: float | None = number("Pa", 1e4, 1e6, None)
    held: str = choice(("half burned", "ignition"), "half burned")
    fuel: str | None = checked(partial(known_fuel, known=FLAMES), None, choices=tuple(FLAMES))

    def angle_ratio(
        self,
        fuel: str,
        rpm: float,
        residual: float,
        air_fuel_lambda: float,
        temperature: float | None = None,
        pressure: float | None = None,
    ) -> float:
        """Burn angle over that of the reference point.

        Parameters
        ----------
        fuel : str
            Name of the fuel of the engine, used where this description names none.
        rpm : float
            Engine speed [rev/min].
        residual : float
            Mole fraction of burned gas in the trapped charge.
        air_fuel_lambda : float
            Excess-air ratio of its fresh part.
        temperature, pressure : float or None
            Trapped charge at intake closing [K], [Pa].

        Raises
        ------
        InputError
            If the fuel has no burning velocity, or a value is outside its range.
        """
        fuel = self.fuel or fuel
        T = temperature if self.temperature is not None else None
        p = pressure if self.pressure is not None else None
        now = _velocity(fuel, residual, air_fuel_lambda, T, p)
        then = _velocity(
            fuel, self.residual, self.air_fuel_lambda, self.temperature, self.pressure
        )
        return self.speed_ratio(rpm) * burn_angle_ratio(1.0, now / then)

    def speed_ratio(self, rpm: float) -> float:
        """What speed alone does to the burn angle, over that of the reference point.

        Examples
        --------
        >>> from wavesim import FlameScaling
        >>> FlameScaling(residual=0.05, air_fuel_lambda=1.0, rpm=3000.0).speed_ratio(6000.0)
        1.2599210498948732
        """
        return 1.0 if self.rpm is None else burn_angle_ratio(rpm / self.rpm, 1.0)

    @classmethod
    def of(cls, point: Any, **changes: Any) -> "FlameScaling":
        """Scaling about a computed point, at which it changes nothing.

        Parameters
        ----------
        point : Point
            The reference; its residual gas, mixture, speed and trapped charge are taken.
        **changes
            Fields to set otherwise, such as ``held="ignition"`` or ``rpm=None``.
        """
        gas, fresh, burned = point.gas, point.scavenging_efficiency, point.residual_fraction
        return cls(**{
            "residual": float(burned * gas.R(0.0, 1.0) / gas.R(fresh, burned)),  # by moles
            "air_fuel_lambda": point.air_fuel_lambda,
            "rpm": point.rpm, "temperature": point.trapped_temperature,
            "pressure": point.trapped_pressure,
        } | changes)


def _velocity(fuel, residual, air_fuel_lambda, temperature, pressure):
    """Burning velocity [m/s], at 298 K and 1 atm where the charge is not to count."""
    return laminar_burning_velocity(
        fuel, air_fuel_lambda, residual, temperature or 298.0, pressure or STANDARD_PRESSURE
    )


@dataclass(frozen=True, kw_only=True)
class Wiebe(Description):
    """Single Wiebe law of the burned fraction.

    Parameters
    ----------
    ca50_deg : float or Table
        Angle at which half is burned [deg after firing top dead centre], -20 to 60; a Table is
        read against rpm.  8 is common practice for best torque, no source.
    burn_10_90_deg : float or Table
        Angle from 10 % to 90 % burned [deg], 5 to 120; a Table is read against rpm.  25 is common
        practice at full load, no source.
    shape : float
        Exponent m, 0.1 to 8; 2 fits measured burn curves, Heywood (1988), ch. 9 (from memory).
    efficiency : float
        Part of the available heat that is released, 0.1 to 1; 0.98 is common practice for warm
        engines, no source.
    scaling : FlameScaling or None
        How the burn angle answers to residual gas, mixture and speed.  None: it does not; the
        charge burns as stated whatever it is.

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

    Examples
    --------
    >>> Wiebe(ca50_deg=8, burn_10_90_deg=24).ca50_deg
    8.0
    """

    ca50_deg: float | Table = number_or_table("deg", -20.0, 60.0, 8.0)
    burn_10_90_deg: float | Table = number_or_table("deg", 5.0, 120.0, 25.0)
    shape: float = number("1", 0.1, 8.0, 2.0)
    efficiency: float = number("1", 0.1, 1.0, 0.98)
    scaling: FlameScaling | None = part(FlameScaling, default=None, optional=True)

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

    def start_and_duration(self, rpm: float, angle_ratio: float = 1.0) -> tuple[float, float]:
        """Start [deg after firing top dead centre] and duration [deg] of combustion.

        Parameters
        ----------
        rpm : float
            Engine speed [rev/min].
        angle_ratio : float
            Burn angle over the stated one, as `scaling` has it.

        Examples
        --------
        >>> from wavesim import Wiebe
        >>> start, duration = Wiebe().start_and_duration(3000.0)
        >>> start < 0.0 < start + duration
        True
        """
        t10, t50, t90 = (self._time_of(x) for x in (0.1, 0.5, 0.9))
        stated = value_at(self.burn_10_90_deg, rpm) / (t90 - t10)
        lead = stated * angle_ratio
        if self.scaling is not None and self.scaling.held == "ignition":
            lead = stated * self.scaling.speed_ratio(rpm)  # as the map was set
        return value_at(self.ca50_deg, rpm) - t50 * lead, stated * angle_ratio

    def burn_angles(self, start: float, duration: float) -> tuple[float, float, float]:
        """Angles at which 10 %, 50 % and 90 % are burned [deg after firing top dead centre].

        Parameters
        ----------
        start, duration : float
            Start [deg after firing top dead centre] and duration [deg] of combustion, such as
            `start_and_duration` gives them.

        Examples
        --------
        >>> burn = Wiebe(ca50_deg=9.0, burn_10_90_deg=25.0)
        >>> [round(angle, 2) for angle in burn.burn_angles(*burn.start_and_duration(3000.0))]
        [-3.18, 9.0, 21.82]
        """
        return tuple(start + duration * self._time_of(x) for x in (0.1, 0.5, 0.9))

    def _time_of(self, x):
        """Part of the duration after which the fraction x is burned."""
        return (-log(1.0 - x * (1.0 - exp(-WIEBE_A))) / WIEBE_A) ** (1.0 / (self.shape + 1.0))

    def burned_fraction(self, theta_deg: float | np.ndarray, rpm: float) -> float | np.ndarray:
        """Burned part of the charge, 0 to 1.

        Parameters
        ----------
        theta_deg : float or ndarray
            Crank angle after firing top dead centre [deg], not wrapped.
        rpm : float
            Engine speed [rev/min].

        Examples
        --------
        >>> from wavesim import Wiebe
        >>> burn = Wiebe()
        >>> start, duration = burn.start_and_duration(3000.0)
        >>> end = start + duration
        >>> float(burn.burned_fraction(start, 3000.0))
        0.0
        >>> bool(burn.burned_fraction(end, 3000.0) > 0.99)
        True
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
        Wall temperatures [K], 300 to 900; the defaults, of a warm engine at full load, are common
        practice, no source.
    head_area_factor, piston_area_factor : float
        Wall area over the area of the bore, 1 to 3; the defaults, of a pent-roof head and a flat
        piston with its lands, are common practice, no source.
    factor : float
        Factor on the coefficient, 0 to 5; 0 is adiabatic, 1 the coefficient as published in 1967.

    Notes
    -----
    The correlation itself is Woschni, SAE 670931 (1967).

    Examples
    --------
    >>> Woschni(factor=1.5).factor
    1.5
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
        A [Pa], 0 to 3e5; this default and the next three from memory, see the notes.
    peak_pressure : float
        B, 0 to 0.05 (default from memory).
    speed : float
        C [Pa s/m], 0 to 1e5 (default from memory).
    speed_squared : float
        D [Pa s2/m2], 0 to 2000 (default from memory).

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

    def mean_effective_pressure(self, peak_pressure: float, mean_piston_speed: float) -> float:
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
