"""First law of a closed cylinder of perfect gas, integrated by scipy: a twin of the kernels."""

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

    m cv dT = dQ - p dV - h A (T - T_wall) dt

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

    def pressure_at(self, theta, T):
        """Pressure [Pa] at an angle [deg] and a temperature [K]."""
        return self.mass * float(self.gas.R()) * T / self.volume(theta)

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
            [K]; heat "lost" to the walls and "work" given in the whole turn [J].
        """
        capacity = self.mass * float(self.gas.cv())
        engine, trapped = self.engine, None

        def slope(theta, y):
            lost = self.loss(theta, y[0], trapped)
            turned = exact.crank_travel_slope(theta, engine.stroke, engine.rod) * np.radians(1.0)
            work = self.pressure_at(theta, y[0]) * engine.bore_area * turned
            return [(self.release(theta) - work - lost) / capacity, lost, work]

        def integrate(low, high, y, stops):
            return solve_ivp(slope, (low, high), y, "DOP853", stops, rtol=1e-10, atol=1e-12,
                             max_step=0.5).y

        theta, closes = np.arange(-180.0, 181.0), self.closed[0]
        open_part = integrate(-180.0, closes, [self.temperature, 0.0, 0.0],
                              np.append(theta[theta < closes], closes))
        trapped = open_part[0, -1]
        closed_part = integrate(closes, 180.0, open_part[:, -1], theta[theta > closes])
        T, lost, work = np.concatenate([open_part[:, :-1], closed_part], axis=1)
        return {"theta": theta, "p": self.pressure_at(theta, T), "T": T, "lost": lost[-1],
                "work": work[-1]}
