"""First law of a closed cylinder, integrated by scipy: a twin of the kernels."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.integrate import solve_ivp

from wavesim import exact
from wavesim.descriptions.valves import SEAT_LIFT, seat_events

WIEBE_A, WIEBE_M = 6.908, 2.0
MOTORED_EXPONENT = 1.33  # of the pressure without fire in Woschni's combustion term


@dataclass(frozen=True)
class SingleZone:
    """Gas of one state between bottom dead centres, valves shut.

    dU = dQ - p dV - h A (T - T_wall) dt,  U = m cv T

    Q is released by Wiebe's law (1962; Heywood 1988 eq. 9.10).  h = 3.26 B^-0.2 p^0.8 T^-0.55
    w^0.8 with p in kPa and w = C1 Sp + C2 Vd T_r/(p_r V_r) (p - p_motored): Woschni, SAE 670931
    (1967), as in Heywood (1988) eq. 12.19; r is the state at intake closing.

    Parameters
    ----------
    engine : wavesim.Engine
        Dimensions, wall temperatures and valve events.
    gas : wavesim.PerfectGas
    rpm : float
        Engine speed [rev/min].
    ratio : float
        Compression ratio.
    pressure, temperature : float
        At the start, bottom dead centre [Pa], [K].
    wall_heat : bool
        Woschni's heat to the walls, or none.
    heat, start, duration : float
        Heat released [J] and when: angle after top dead centre, duration [deg].
    """

    engine: object
    gas: object
    rpm: float
    ratio: float
    pressure: float
    temperature: float
    wall_heat: bool = False
    heat: float = 0.0
    start: float = 0.0
    duration: float = 1.0
    precision: float = 1e-10  # relative, of the integration
    step: float = 0.5  # its longest step [deg]

    @cached_property
    def swept(self):
        """Swept volume of one cylinder [m3]."""
        return self.engine.displacement / self.engine.cylinders

    @property
    def clearance(self):
        """Volume at top dead centre [m3]."""
        return self.swept / (self.ratio - 1.0)

    @cached_property
    def mass(self):
        """Mass of the gas [kg]."""
        volume = self.ratio * self.clearance
        return self.pressure * volume / (float(self.gas.R()) * self.temperature)

    @cached_property
    def closed(self):
        """Angles between which no valve is open [deg after top dead centre]."""
        return (seat_events(self.engine.intake_valve, "intake", SEAT_LIFT)[1] - 720.0,
                seat_events(self.engine.exhaust_valve, "exhaust")[0])

    def volume(self, theta):
        """Volume [m3] at angles after top dead centre [deg]."""
        travel = exact.crank_travel(theta, self.engine.stroke, self.engine.rod)
        return self.clearance + self.engine.bore_area * travel

    @cached_property
    def capacity(self):
        """Heat capacity at constant volume [J/K]."""
        return self.mass * float(self.gas.cv())

    def pressure_at(self, theta, T):
        """Pressure [Pa] at an angle [deg] and a temperature [K]."""
        return self.mass * float(self.gas.R()) * T / self.volume(theta)

    def energy_at(self, theta, T):
        """Internal energy [J] at an angle [deg] and a temperature [K]."""
        return self.capacity * T

    def temperature_at(self, theta, energy, near):
        """Temperature [K] that goes with an internal energy [J]; the search begins at `near`."""
        return energy / self.capacity

    def release(self, theta):
        """Heat of combustion [J/deg]."""
        y = (theta - self.start) / self.duration
        if not 0.0 < y < 1.0:
            return 0.0
        n = WIEBE_M + 1.0
        rate = WIEBE_A * n * y**WIEBE_M * np.exp(-WIEBE_A * y**n) / -np.expm1(-WIEBE_A)
        return self.heat * rate / self.duration

    def gas_speed(self, theta, p, trapped):
        """Woschni's w [m/s]; `trapped` is the temperature at intake closing [K]."""
        closes, opens = self.closed
        speed = self.engine.mean_piston_speed(self.rpm)
        if not closes < theta < opens:
            return 6.18 * speed
        if theta < self.start or not self.heat:
            return 2.28 * speed
        p_r, V_r = self.pressure_at(closes, trapped), self.volume(closes)
        motored = p_r * (V_r / self.volume(theta)) ** MOTORED_EXPONENT
        excess = max(0.0, p - motored)
        return 2.28 * speed + 3.24e-3 * self.swept * trapped / (p_r * V_r) * excess

    def loss(self, theta, T, trapped):
        """Heat to the walls [J/deg]."""
        if not self.wall_heat:
            return 0.0
        engine, walls = self.engine, self.engine.heat
        p = self.pressure_at(theta, T)
        w = self.gas_speed(theta, p, trapped)
        h = 3.26 * engine.bore**-0.2 * (1e-3 * p) ** 0.8 * T**-0.55 * w**0.8
        liner = 4.0 * (self.volume(theta) - self.clearance) / engine.bore
        flow = (
            walls.head_area_factor * engine.bore_area * (T - walls.head_temperature)
            + walls.piston_area_factor * engine.bore_area * (T - walls.piston_temperature)
            + liner * (T - walls.liner_temperature)
        )
        return h * flow / (6.0 * self.rpm)

    def turn(self):
        """Compression and expansion.

        Returns
        -------
        dict
            Angle "theta" from -180 to 180 by whole degrees, pressure "p" [Pa], temperature "T"
            [K]; heat "lost" to the walls and "work" given in the whole turn [J], and both until
            each angle as "losses" and "works".
        """
        engine, trapped, near = self.engine, None, self.temperature

        def slope(theta, y):
            nonlocal near
            near = T = self.temperature_at(theta, y[0], near)
            lost = self.loss(theta, T, trapped)
            turned = exact.crank_travel_slope(theta, engine.stroke, engine.rod) * np.radians(1.0)
            work = self.pressure_at(theta, T) * engine.bore_area * turned
            return [self.release(theta) - work - lost, lost, work]

        def integrate(low, high, y, stops):
            return solve_ivp(slope, (low, high), y, "DOP853", stops, rtol=self.precision,
                             atol=1e-12, max_step=self.step).y

        def temperatures(theta, energy):
            found = [self.temperature]
            for angle, U in zip(theta, energy, strict=True):
                found.append(self.temperature_at(angle, U, found[-1]))
            return np.array(found[1:])

        theta, closes = np.arange(-180.0, 181.0), self.closed[0]
        start = self.energy_at(-180.0, self.temperature)
        open_part = integrate(-180.0, closes, [start, 0.0, 0.0],
                              np.append(theta[theta < closes], closes))
        trapped = self.temperature_at(closes, open_part[0, -1], self.temperature)
        closed_part = integrate(closes, 180.0, open_part[:, -1], theta[theta > closes])
        U, lost, work = np.concatenate([open_part[:, :-1], closed_part], axis=1)
        T = temperatures(theta, U)
        p = np.array([self.pressure_at(angle, now) for angle, now in zip(theta, T, strict=True)])
        return {"theta": theta, "p": p, "T": T, "lost": lost[-1], "work": work[-1],
                "losses": lost, "works": work}


@dataclass(frozen=True)
class BurningZone(SingleZone):
    """The same with fresh charge that turns into burned gas, each with its own heat capacity.

    `fresh` and `burned` have methods e(T, p), the sensible internal energy [J/kg] with zero
    enthalpy at 298.15 K, and R(T, p) [J/(kg K)].  Burned gas may dissociate: then both depend on
    the pressure too, and `heat` is what complete burning would release.

    Parameters
    ----------
    fresh, burned : object
        As said above.
    residual : float
        Mass fraction of burned gas at the start.
    """

    fresh: object = None
    burned: object = None
    residual: float = 0.0
    precision: float = 1e-7
    step: float = 4.0

    @cached_property
    def mass(self):
        """Mass of the gas [kg]."""
        volume = self.ratio * self.clearance
        R = self._mixed("R", -180.0, self.temperature, self.pressure)
        return self.pressure * volume / (R * self.temperature)

    def burned_share(self, theta):
        """Mass fraction of burned gas at an angle [deg]."""
        y = min(1.0, max(0.0, (theta - self.start) / self.duration))
        burned = np.expm1(-WIEBE_A * y ** (WIEBE_M + 1.0)) / np.expm1(-WIEBE_A)
        return self.residual + (1.0 - self.residual) * burned

    def pressure_at(self, theta, T):
        """Pressure [Pa] at an angle [deg] and a temperature [K]; R hardly depends on it."""
        density = self.mass / self.volume(theta)
        p, last = 290.0 * density * T, 0.0
        while abs(p - last) > 1e-10 * p:
            last, p = p, density * self._mixed("R", theta, T, p) * T
        return p

    def energy_at(self, theta, T):
        """Internal energy [J] at an angle [deg] and a temperature [K]."""
        return self.mass * self._mixed("e", theta, T, self.pressure_at(theta, T))

    def temperature_at(self, theta, energy, near):
        """Temperature [K] that goes with an internal energy [J], by the secant method."""
        T, other = near, near + 1.0
        miss, beyond = (self.energy_at(theta, one) - energy for one in (T, other))
        while abs(other - T) > 1e-10 * T:
            T, other = other, other - beyond * (other - T) / (beyond - miss)
            miss, beyond = beyond, self.energy_at(theta, other) - energy
        return other

    def _mixed(self, what, theta, T, p):
        old, new = (float(getattr(part, what)(T, p)) for part in (self.fresh, self.burned))
        return old + self.burned_share(theta) * (new - old)
