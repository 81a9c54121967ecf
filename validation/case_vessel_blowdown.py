"""Vessels that empty through a hole and fill from the air.

One litre of cold air at 10 bar and half a litre of hot gas at 5 bar, as in a cylinder when its
exhaust valve opens, discharge through a choked hole: pressure over time against the closed form,
the time at which the hole ceases to choke, and the slow end against quadrature of the mass balance
with the flow of de Saint-Venant and Wantzel (Shapiro 1953, ch. 4).  Burned gas with its own heat
capacity is set against the isentrope of cantera.  Filling from the air warms a vessel by the work
done on it; its pressure rises as energy says.
"""

from functools import cache

import numpy as np
from case_gas_properties import BURNED, PART_INDEX, phase, set_moles
from marches import GAMMA, IDEAL, P0, T0, R, cut
from references import reference, references
from scipy.integrate import cumulative_trapezoid, solve_ivp
from steady_flow import steady
from suite import Case, Check

import wavesim as ws
from wavesim import exact

BLOWDOWNS = [row for row in references("TH-5") if row.quantity == "p/p0"]
STUB_BORE, STUB_LENGTH = 0.05, 0.02  # m
STUB = 0.25 * np.pi * STUB_BORE**2 * STUB_LENGTH  # m3
P_FIRST = 2e4  # in the vessel that is filled [Pa]


def hole_area(given):
    """Area of the hole of a case of TH-5 [m2]."""
    return given.get("area", 0.25 * np.pi * given.get("diameter", 0.0) ** 2)


def through_opening(given, gas=None, fill="air"):
    """Pressure trace of a vessel that empties through its own opening into a pipe."""
    gas = ws.PerfectGas(given["gamma"], given["R"]) if gas is None else gas
    bore = 0.06
    net = ws.Network(
        {"d": ws.Pipe(0.05, bore, cell_length=0.01)},
        {
            "box": ws.Volume(("d.start",), volume=given["volume"], pressure=given["p_0"],
                             temperature=given["T_0"], fill=fill,
                             discharge_coefficient=hole_area(given) / (0.25 * np.pi * bore**2)),
            "out": cut("d.end", 0.9e5),
        },
    )
    result = ws.simulate(
        net, given["t"] * 1.01, gas=gas, settings=IDEAL,
        initial={"d": (0.9e5, 0.0, 300.0, "air")}, samples=1010,
    )
    return result.trace("pressure", "box")


def through_nozzle(given, t, p_out=1e5):
    """Pressure trace of a vessel whose hole ends a wide stub, the gas of which is part of it."""
    diameter = np.sqrt(hole_area(given) / (0.25 * np.pi))
    net = ws.Network(
        {"d": ws.Pipe(STUB_LENGTH, STUB_BORE, cell_length=0.004)},
        {
            "box": ws.Volume(("d.start",), volume=given["volume"] - STUB, pressure=given["p_0"],
                             temperature=given["T_0"]),
            "out": cut("d.end", p_out).replace(diameter=diameter),
        },
    )
    result = ws.simulate(
        net, t, gas=ws.PerfectGas(given["gamma"], given["R"]), settings=IDEAL, samples=1010,
        initial={"d": (given["p_0"], 0.0, given["T_0"], "air")},
    )
    return result.trace("pressure", "box")


@cache
def filling():
    """Result of a vessel that fills from the air through a short pipe of 10 mm."""
    net = ws.Network(
        {"d": ws.Pipe(0.02, 0.01, cell_length=0.002)},
        {
            "box": ws.Volume(("d.start",), volume=1e-3, pressure=P_FIRST, temperature=T0),
            "in": cut("d.end"),
        },
    )
    return steady(net, 0.2, start=(P0, 0.0, T0, "air"), samples=2000)


def at(trace, t):
    """Value of a trace at a time [s]."""
    return np.interp(t, trace.x, trace.values)


# references -----------------------------------------------------------------------------------


def emptying(given, p_out):
    """Times [s] at which an isentropic vessel has pressures [Pa] down to `p_out`."""
    gamma, gas_R = given["gamma"], given["R"]
    p = np.geomspace(given["p_0"], 1.002 * p_out, 4001)
    T = given["T_0"] * (p / given["p_0"]) ** ((gamma - 1.0) / gamma)
    flux = [exact.orifice_flux(*state, p_out, gamma, gas_R) for state in zip(p, T, strict=True)]
    return quadrature(given, p / (gas_R * T), np.array(flux)), p


def quadrature(given, density, flux):
    """Times [s] at which a vessel that loses a mass flux [kg/(m2 s)] has densities [kg/m3]."""
    slowness = given["volume"] / (hole_area(given) * flux)
    return cumulative_trapezoid(-slowness, density, initial=0.0)


def emptying_burned(given, gas):
    """`emptying` of burned gas through a choked hole, on the isentrope of cantera."""
    library = phase()
    set_moles(library, given["T_0"], gas.parts[PART_INDEX[BURNED]], given["p_0"])
    entropy = library.s
    p = np.geomspace(given["p_0"], 0.2 * given["p_0"], 1201)
    density, enthalpy = np.empty(p.size), np.empty(p.size)
    for i, pressure in enumerate(p):
        library.SP = entropy, pressure
        density[i], enthalpy[i] = library.density, library.h
    whole = p > 0.45 * given["p_0"]
    flux = [(density[i:] * np.sqrt(2.0 * (enthalpy[i] - enthalpy[i:]))).max()
            for i in np.flatnonzero(whole)]
    return quadrature(given, density[whole], np.array(flux)), p[whole]


def filled():
    """Solution of the pressure [Pa] in the vessel of `filling`: its energy is that drawn in."""
    area = 0.25 * np.pi * 0.01**2

    def rate(t, p):
        flux = exact.orifice_flux(P0, T0, min(p[0], P0), GAMMA, R)
        return [GAMMA * R * T0 * area * flux / 1e-3]

    return solve_ivp(rate, (0.0, 0.06), [P_FIRST], rtol=1e-9, atol=1e-3, max_step=1e-4,
                     dense_output=True).sol


# checks ---------------------------------------------------------------------------------------

CLOSED_FORM = "Shapiro (1953) ch. 4, isentropic vessel and choked hole"
COLD, HOT = BLOWDOWNS[0].case, BLOWDOWNS[3].case
BACK = {"cold": (COLD, 1e5), "hot": (HOT, 1.05e5)}  # pressure behind the nozzle [Pa]
PISTON = {"volume": 0.5e-3, "area": 3e-4, "p_0": 6e5, "T_0": 1800.0, "t": 2e-3}
GAS = ws.EngineGas("gasoline")
WAVES = ("Waves in the stub before the hole move the pressure by 0.2 % at first, and its gas has "
         "inertia when the flow dies away.")


def title(given):
    """Vessel and hole in words."""
    return (f"{1e3 * given['volume']:g} l, {given['p_0'] / 1e5:g} bar, {given['T_0']:g} K, hole of "
            f"{1e6 * hole_area(given):.3g} mm²")


def _closed_form_checks():
    for row in BLOWDOWNS:
        given = row.case
        yield Check(
            f"p/p0 after {1e3 * given['t']:g} ms, {title(given)}",
            at(through_opening(given), given["t"]) / given["p_0"], row.value, "0.02 %",
            CLOSED_FORM, "One balance of mass and energy; the error is proportional to the step, "
            "of which the hot vessel takes about two hundred.",
        )


def _slow_end_checks():
    for name, (given, p_out) in BACK.items():
        t, p = emptying(given, p_out)
        trace = through_nozzle(given, t[-1], p_out)
        row = reference("TH-5", "unchoke_time", volume=given["volume"])
        choked = p_out / exact.critical_pressure_ratio(given["gamma"])
        allowed = "0.02 %" if name == "cold" else "0.2 %"
        why = ("In a litre the stub holds 4 %, and the discharge lasts a thousand times as long as "
               "a wave needs through it.") if name == "cold" else WAVES
        yield Check(f"time until the nozzle ceases to choke, {title(given)}",
                    np.interp(-choked, -trace.values, trace.x), row.value, allowed, CLOSED_FORM,
                    why, "s")
        for share in (0.7, 0.4, 0.1):
            moment = t[np.searchsorted(-p, -p_out - share * (choked - p_out))]
            yield Check(
                f"pressure after {1e3 * moment:.1f} ms, unchoked, {title(given)}",
                at(trace, moment), np.interp(moment, t, p), allowed,
                "quadrature of the mass balance; Shapiro (1953) ch. 4", why, "Pa",
            )


def _burned_checks():
    t, p = emptying_burned(PISTON, GAS)
    trace = through_opening(PISTON, GAS, "burned")
    for moment in (0.5e-3, 1e-3, 2e-3):
        yield Check(
            f"pressure of burned gas after {1e3 * moment:g} ms, {title(PISTON)}",
            at(trace, moment), np.interp(moment, t, p), "0.2 %",
            "cantera, isentrope of frozen burned gas",
            "The hole takes the ratio of heat capacities in the vessel, not on the way to the "
            "throat, which costs 0.1 % of the flow.", "Pa",
        )


def _filling_checks():
    result, solution = filling(), filled()
    trace = result.trace("pressure", "box")
    for moment in (5e-3, 15e-3, 30e-3, 50e-3):
        yield Check(
            f"pressure after {1e3 * moment:g} ms of filling, 1 l, bore of 10 mm",
            at(trace, moment), solution(moment)[0], "250 abs",
            "balance of energy by scipy; Shapiro (1953) ch. 4",
            "The gas in the pipe must be set in motion first, which takes a tenth of a millisecond "
            "in which the pressure would rise by 220 Pa.", "Pa",
        )
    yield Check(
        "temperature of the vessel filled from the air",
        result.trace("temperature", "box").values[-1],
        GAMMA * T0 / (1.0 + (GAMMA - 1.0) * P_FIRST / P0), "0.2 %",
        "Shapiro (1953) ch. 2, first law of an open system",
        "The gas in the pipe, 0.2 % of the vessel, enters with a history of its own.", "K",
    )


def draw():
    """Pressure over time of both vessels, of burned gas, and of the vessel that fills."""
    axes = ws.plots.new_axes(3, height=3.0)
    for ax, (given, p_out) in zip(axes, BACK.values(), strict=False):
        t, p = emptying(given, p_out)
        trace = through_nozzle(given, t[-1], p_out)
        ax.plot(1e3 * t, 1e-5 * p, color=ws.plots.REFERENCE, label="mass balance")
        ax.plot(1e3 * trace.x[::40], 1e-5 * trace.values[::40], "o", ms=4,
                color=ws.plots.COLOURS[0], label="marched")
        ax.axhline(1e-5 * p_out / exact.critical_pressure_ratio(given["gamma"]), ls=":",
                   color=ws.plots.REFERENCE, label="ceases to choke")
        ax.set_title(title(given), loc="left")
    t, p = emptying_burned(PISTON, GAS)
    trace = through_opening(PISTON, GAS, "burned")
    axes[1].plot(1e3 * t, 1e-5 * p, "--", color=ws.plots.REFERENCE,
                 label="burned gas, 6 bar, 1800 K, cantera")
    axes[1].plot(1e3 * trace.x[::60], 1e-5 * trace.values[::60], "s", ms=4,
                 color=ws.plots.COLOURS[1], label="marched")
    trace = filling().trace("pressure", "box")
    some = trace.x < 0.06
    axes[2].plot(1e3 * trace.x[some], 1e-5 * filled()(trace.x[some])[0],
                 color=ws.plots.REFERENCE, label="balance of energy")
    axes[2].plot(1e3 * trace.x[some][::25], 1e-5 * trace.values[some][::25], "o", ms=4,
                 color=ws.plots.COLOURS[0], label="marched")
    axes[2].set_title("1 l fills from the air through a bore of 10 mm", loc="left")
    axes[2].set_xlabel("time [ms]")
    for ax in axes:
        ax.set_ylabel("pressure [bar]")
        ax.legend(frameon=False)
    return axes


def run():
    """Choked, unchoked, burned gas, filling."""
    checks = (*_closed_form_checks(), *_slow_end_checks(), *_burned_checks(), *_filling_checks())
    return Case(checks, draw())
