"""Filling of an engine without manifolds: against exhaust pressure and inlet Mach index.

A cylinder between two reservoirs, so that no wave tunes anything.  With very large valves that open
and close at the dead centres, slow turning and a perfect gas without heat to the walls it must draw
what the ideal cycle says: an energy balance of the intake stroke, for all pressures of the exhaust.
The same balance with the heat capacities of the engine's gas gives a steeper fall with exhaust
pressure, with which that of usual valves and hot walls is compared.

Over engine speed the volumetric efficiency of three sets of intake valves is drawn against the
inlet Mach index, the mean speed through the valve over that of sound.  One curve must come of it,
level until about half and then falling, as Livengood and Stanitz (1943) found.  While the valve is
open the flow through it is also integrated by scipy, from the state in which it opens.
"""

from functools import cache

import numpy as np
from references import references
from reservoirs import INLET_TEMPERATURE, SETTINGS, engine, inlet_mach_index, network
from scipy.integrate import solve_ivp
from scipy.optimize import brentq
from suite import Case, Check

import wavesim as ws
from wavesim import exact
from wavesim.descriptions.valves import SEAT_LIFT, effective_area, seat_events

R = 287.05
P_INLET = 1e5
SLOW = 500.0  # rev/min
RATIOS = (1.0, 1.1, 1.3, 1.5)  # of exhaust to inlet pressure
OTHERS = ((8.0, 1.35), (12.0, 1.35), (10.0, 1.3), (10.0, 1.4))  # compression ratio, gamma
#: Lift that opens at one dead centre and closes at the next, whole within 8 deg.
SQUARE = ws.LiftTable(
    angle_deg=(-90, -82, 82, 90), lift=(0, 0.015, 0.015, 0), lobe_centre_deg=90
)
LARGE = ws.Valve(
    diameter=0.05, count=2, lift=SQUARE,
    flow=ws.FlowCoefficients(lift_ratio=(0.05, 0.3), forward=(1.0, 1.0)),
)
ADIABATIC = ws.Woschni(factor=0.0)
REAL_RPM = 2000.0
SPEEDS = np.arange(1000.0, 8001.0, 500.0)
#: Intake valve: head diameter and lift [m].
VALVES = {"40 mm": (0.040, 0.010), "32 mm": (0.032, 0.008), "40 mm, low lift": (0.040, 0.006)}
QUASI_STEADY = (0.4, 0.6, 0.8, 1.0)
P_AIR = 101325.0


# the ideal cycle ----------------------------------------------------------------------------------


def ideal_filling(ratio, compression_ratio, gamma):
    """Volumetric efficiency of the ideal cycle over exhaust-to-inlet pressure ratio.

    (k-1)/k + (r - p_e/p_i) / (k (r-1)): energy balance of the intake stroke of a perfect gas.
    """
    k, r = gamma, compression_ratio
    return (k - 1.0) / k + (r - ratio) / (k * (r - 1.0))


def ideal_point(ratio, compression_ratio=10.0, gamma=1.35):
    """The engine with very large valves."""
    return _ideal_point(ratio, compression_ratio, gamma)


@cache
def _ideal_point(ratio, compression_ratio, gamma):
    one = engine(LARGE, LARGE, compression_ratio=compression_ratio, heat=ADIABATIC)
    return ws.run_network(
        one, network(P_INLET, ratio * P_INLET), SLOW,
        settings=SETTINGS.replace(cell_length=0.01, tolerance=1e-4, friction=False),
        gas=ws.PerfectGas(gamma, R, heat_per_fresh=2e6),
    )


# usual valves -------------------------------------------------------------------------------------


def usual_engine(diameter=0.040, lift=0.010, opens=10.0, closes=50.0, overlap=10.0, **changes):
    """Two valves and a mild cam; angles at 0.2 mm of lift."""
    intake = ws.Cam(opens_deg=opens, closes_deg=closes, lift=lift, checking_lift=2e-4)
    exhaust = ws.Cam(opens_deg=50.0, closes_deg=overlap, lift=0.0095, checking_lift=2e-4)
    return engine(ws.Valve(diameter=diameter, lift=intake),
                  ws.Valve(diameter=0.034, count=2, lift=exhaust), **changes)


@cache
def real_point(ratio, heat=ADIABATIC):
    """Usual valves without overlap, and engine gas."""
    one = usual_engine(opens=-8.0, overlap=-8.0, heat=heat)
    return ws.run_network(one, network(P_INLET, ratio * P_INLET), REAL_RPM, settings=SETTINGS)


def balanced_filling(ratio, residual_temperature, one):
    """The ideal cycle once more, with the engine's gas in place of a perfect one.

    The residual at top dead centre has the pressure of the exhaust and a temperature [K]; at bottom
    dead centre it has mixed with the fresh charge.  m_i h(T_i) + m_r e_r(T_r) - p_i V_d is the
    energy of both at their common temperature.
    """
    gas, T_i = ws.EngineGas(one.fuel, one.air_fuel_lambda), INLET_TEMPERATURE
    swept, clearance = one.displacement, one.clearance_volume
    m_r = ratio * P_INLET * clearance / (gas.R(0.0, 1.0) * residual_temperature)

    def fresh_mass(T):
        filled = P_INLET * (swept + clearance) / T
        return (filled - m_r * gas.R(0.0, 1.0)) / gas.R(1.0, 0.0)

    def excess(T):
        brought = gas.h(T_i, 1.0, 0.0) - gas.e(T, 1.0, 0.0)
        held = gas.e(residual_temperature, 0.0, 1.0) - gas.e(T, 0.0, 1.0)
        return fresh_mass(T) * brought + m_r * held - P_INLET * swept

    air = fresh_mass(brentq(excess, 250.0, 600.0)) * (1.0 - gas.fuel_fraction)
    return float(air / (gas.density(P_INLET, T_i) * swept))


def slope(filling):
    """Change of volumetric efficiency with the pressure ratio, by a straight line."""
    return np.polyfit(RATIOS, filling, 1)[0]


def balanced_slope():
    """That of the balance, with the residual as hot as computed."""
    points = [real_point(ratio) for ratio in RATIOS]
    hot = [float(np.interp(360.0, *_trace(point, "temperature"))) for point in points]
    return slope([balanced_filling(ratio, T, point.engine)
                  for ratio, T, point in zip(RATIOS, hot, points, strict=True)])


def _trace(point, quantity):
    trace = point.trace(quantity, "cylinder 1")
    return trace.x, trace.values.astype(float)


@cache
def over_speed(valve, speeds=tuple(SPEEDS)):
    """Inlet Mach index and volumetric efficiency of one set of intake valves, (n,) each."""
    one = usual_engine(*VALVES[valve])
    c = exact.sound_speed(INLET_TEMPERATURE, 1.4, R)
    air = network(P_AIR, P_AIR)
    filling = [
        ws.run_network(one, air, rpm, settings=SETTINGS).volumetric_efficiency for rpm in speeds
    ]
    return np.array([inlet_mach_index(one, rpm, c) for rpm in speeds]), np.array(filling)


def knee(index, filling, steep=(0.75, 0.9)):
    """Index where the level of the best filling meets a line through the steep part."""
    low, high = np.interp(steep, index, filling)
    return steep[0] - (filling.max() - low) * (steep[1] - steep[0]) / (low - high)


# quasi-steady flow through the valve --------------------------------------------------------------


@cache
def quasi_steady_engine():
    """A large exhaust valve that shuts as the intake opens, which closes before gas flows back."""
    intake = ws.Cam(opens_deg=0.0, closes_deg=25.0, lift=0.01, checking_lift=SEAT_LIFT)
    return engine(ws.Valve(diameter=0.04, lift=intake), LARGE, heat=ADIABATIC)


@cache
def filling_stroke(index):
    """Gas drawn in one intake stroke [kg]: by the library, and by scipy from the same start."""
    one, gas = quasi_steady_engine(), ws.PerfectGas(1.35, R, heat_per_fresh=2e6)
    c = exact.sound_speed(INLET_TEMPERATURE, 1.35, R)
    rpm = index / inlet_mach_index(one, 1.0, c)
    settings = SETTINGS.replace(tolerance=1e-4, sample_deg=1.0, friction=False)
    point = ws.run_network(one, network(P_AIR, P_AIR), rpm, settings=settings, gas=gas)
    opens, closes = seat_events(one.intake_valve, "intake", SEAT_LIFT)
    start = [np.interp(opens, *_trace(point, what)) for what in ("pressure", "temperature")]
    return point.air_per_cycle, drawn(one, gas, rpm, (opens, closes), *start)


def drawn(one, gas, rpm, angles, p, T):
    """Gas that isentropic flow through the open valve brings into the cylinder [kg]."""
    gamma, per_second = gas.gamma(), 6.0 * rpm
    cp = gamma * R / (gamma - 1.0)
    swept = one.displacement
    clearance = swept / (one.compression_ratio - 1.0)

    def volume(theta):
        return clearance + one.bore_area * exact.crank_travel(theta, one.stroke, one.rod)

    def flow(theta, p, T):
        """Into the cylinder [kg/s] and its temperature [K]."""
        forward, reverse = effective_area(one.intake_valve, "intake", theta)
        if p <= P_AIR:
            flux = exact.orifice_flux(P_AIR, INLET_TEMPERATURE, p, gamma, R)
            return float(forward * flux), INLET_TEMPERATURE
        return -float(reverse * exact.orifice_flux(p, T, P_AIR, gamma, R)), T

    def slope(theta, y):
        mass, energy, _ = y
        T = energy / (mass * R / (gamma - 1.0))
        p = mass * R * T / volume(theta)
        rate, carried = flow(theta, p, T)
        turned = exact.crank_travel_slope(theta, one.stroke, one.rod) * np.radians(1.0)
        work = p * one.bore_area * turned
        return [rate / per_second, rate * cp * carried / per_second - work, rate / per_second]

    mass = p * volume(angles[0]) / (R * T)
    start = [mass, mass * R * T / (gamma - 1.0), 0.0]
    return solve_ivp(slope, angles, start, "RK45", rtol=1e-7, atol=1e-12, max_step=1.0).y[2, -1]


# --- checks ---------------------------------------------------------------------------------------


def _ideal_checks():
    why = ("At 500 rev/min gas flows with some per cent of the speed of sound for the few degrees "
           "in which the pressures become equal.")
    source = "energy balance of the intake stroke; Taylor, The Internal-Combustion Engine I, ch. 6"
    for row in references("WE-1"):
        yield Check(
            f"ideal cycle, exhaust at {row.case['ratio']:g} of the inlet pressure",
            ideal_point(row.case["ratio"]).volumetric_efficiency, row.value, "0.1 %", row.source,
            why,
        )
    for r, k in OTHERS:
        yield Check(
            f"ideal cycle, exhaust at 1.3 of the inlet pressure, compression ratio {r:g}, "
            f"gamma {k:g}", ideal_point(1.3, r, k).volumetric_efficiency,
            ideal_filling(1.3, r, k), "0.1 %", source + " (formula from memory, derived anew)", why,
        )
    name = f"usual valves, {REAL_RPM:g} rev/min: change of volumetric efficiency with the ratio"
    cold, hot = (slope([real_point(x, heat).volumetric_efficiency for x in RATIOS])
                 for heat in (ADIABATIC, ws.Woschni()))
    yield Check(
        f"{name}, no wall heat", cold, balanced_slope(), "5 %",
        "energy balance of the intake stroke with the engine's gas, derived here",
        "The balance knows no pushing out after bottom dead centre, which takes its share at all "
        "pressures alike.",
    )
    yield Check(
        f"{name}, wall heat", hot, slope(ideal_filling(np.array(RATIOS), 10.0, 1.35)), "20 %",
        source + " (from memory)",
        "One gamma of 1.35 for hot and cold gas, and the residual gives heat to the walls while "
        "it mixes.",
    )


def _quasi_steady_checks():
    for index in QUASI_STEADY:
        ours, law = filling_stroke(index)
        yield Check(
            f"gas drawn in an intake stroke, inlet Mach index {index:g}", ours, law, "0.2 %",
            "isentropic flow through the open valve (exact.orifice_flux), integrated by scipy",
            "Samples lie a whole degree apart, and what is pushed "
            "back before the valve shuts comes in again at the next stroke.", "kg",
        )


def _index_checks():
    source = "Livengood and Stanitz, NACA TN 915 (1943); Taylor I, fig. 6-13 (from memory)"
    for valve in VALVES:
        index, filling = over_speed(valve)
        yield Check(
            f"intake valve {valve}: inlet Mach index of the knee",
            knee(index, filling), 0.575, "0.125 abs", source,
            "The knee of the published curve lies between 0.45 and 0.7; ours is where the level "
            "of the best filling meets a straight line through index 0.75 and 0.9.",
        )
    yield Check(
        "filling at index 1 over that at 0.3, mean of the valves that reach it",
        np.mean([np.interp(1.0, *both) / np.interp(0.3, *both) for both in _far()]), 0.75,
        "0.1 abs", source, "The published curve has at most 0.85, and no less than some 0.65.",
    )
    yield Check(
        "largest spread between the sets of valves at one index, 0.3 to 0.85", _spread(), 0.0,
        "0.01 abs", source,
        "One curve for all is what the index is for; heat to the walls depends on speed besides.",
    )


def _far():
    curves = (over_speed(valve) for valve in VALVES)
    return [both for both in curves if both[0][-1] >= 1.0]


def _spread():
    at = np.arange(0.3, 0.86, 0.05)
    found = [np.interp(at, *over_speed(valve)) for valve in VALVES]
    return np.ptp(found, axis=0).max()


def draw():
    """Filling over the pressure ratio, and over the inlet Mach index."""
    upper, lower = axes = ws.plots.new_axes(2, height=3.3)
    x = np.linspace(1.0, 1.5, 20)
    for i, (r, k) in enumerate(((10.0, 1.35), *OTHERS[:2])):
        upper.plot(x, ideal_filling(x, r, k), color=ws.plots.REFERENCE, lw=1.0,
                   label="" if i else "ideal cycle")
        found = RATIOS if i == 0 else (1.3,)
        upper.plot(found, [ideal_point(one, r, k).volumetric_efficiency for one in found], "o",
                   color=ws.plots.COLOURS[i], label=f"compression ratio {r:g}")
    upper.set_xlabel("exhaust pressure over inlet pressure")
    upper.set_ylabel("volumetric efficiency")
    upper.set_title("Very large valves, slow turning, no heat", loc="left")
    for i, valve in enumerate(VALVES):
        lower.plot(*over_speed(valve), "osx"[i] + "-", color=ws.plots.COLOURS[i], ms=4,
                   label=f"intake valve {valve}")
    lower.axvspan(0.45, 0.7, color=ws.plots.FAINT, alpha=0.5, lw=0, zorder=0)
    lower.set_xlabel("inlet Mach index")
    lower.set_ylabel("volumetric efficiency")
    lower.set_ylim(bottom=0.5)
    lower.set_title("Usual valves, no manifolds; grey: where the published curve bends",
                    loc="left")
    for ax in axes:
        ax.legend(frameon=False)
    return axes


def run():
    """All checks, filling over pressure ratio and Mach index as a figure."""
    return Case((*_ideal_checks(), *_quasi_steady_checks(), *_index_checks()), draw(), (
        "The ideal cycle is recomputed, the formula and the curve over the inlet Mach index are "
        "from memory of the books named.  In the curve over the index no manifold helps; an "
        "engine with runners stands above it where they are tuned.",
    ))
