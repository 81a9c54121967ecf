"""Holes, openings of vessels and throttles against isentropic flow, choked and not.

A hole of 10 mm with a discharge coefficient of 0.8 stands at the inlet, at the outlet or in the
middle of a pipe of 50 mm; a large vessel of hot gas empties through its own opening, as a cylinder
does through a valve; a throttle plate chokes.  Mass flow is compared with coefficient times area
times the flux of de Saint-Venant and Wantzel (Shapiro 1953, ch. 4), and for burned gas, whose heat
capacity falls as it expands, with the largest flux along the isentrope of cantera.
"""

import numpy as np
from case_gas_properties import BURNED, PART_INDEX, isentropic_flux
from marches import GAMMA, T0, R, cut
from references import references
from steady_flow import last, mach_of, steady
from suite import Case, Check

import wavesim as ws
from wavesim import exact

BORE, HOLE, COEFFICIENT = 0.05, 0.01, 0.8  # m, m, 1
AREA = COEFFICIENT * 0.25 * np.pi * HOLE**2  # effective, of the hole [m2]
SHARE = 0.05  # of its bore that the opening of the vessel takes
OPENING = SHARE * 0.25 * np.pi * BORE**2  # m2
CHOKED = [row for row in references("ST-7") if row.quantity == "mass_flux"]
COLD = [row for row in CHOKED if row.case["p_0"] <= 3e5 and row.case["T_0"] < 340.0]
SUBCRITICAL = references("ST-8")
GAS = ws.EngineGas("gasoline")
#: Pressure [Pa] and temperature [K] of the vessel, pressure behind [Pa].
BURNED_STATES = ((4e5, 1200.0, 0.6e5), (8e5, 2000.0, 1e5), (1.5e5, 1200.0, 1.2e5))
PLATES = (20.0, 40.0)  # angles of the throttle [deg]
SOURCE = "de Saint-Venant and Wantzel (1839); Shapiro (1953) ch. 4"


def through_hole(p_in, T_in, p_out, gamma, hole, where, coefficient=COEFFICIENT, bore=BORE, t=0.4):
    """Flow through a hole at the outlet, at the inlet, or in the middle of a duct.

    Returns the result and the mass flow [kg/s].
    """
    pipe = ws.Pipe(0.2, bore, cell_length=0.02)
    inlet, outlet = cut("a.start", p_in, T_in), cut("a.end", p_out)
    narrow = {"diameter": hole, "discharge_coefficient": coefficient}
    ducts, nodes = {"a": pipe}, {"in": inlet, "out": outlet}
    if where == "outlet":
        nodes["out"] = outlet.replace(**narrow)
    elif where == "inlet":
        nodes["in"] = inlet.replace(**narrow)
    else:
        ducts["b"] = pipe
        nodes["out"] = cut("b.end", p_out)
        nodes["hole"] = ws.Orifice(("a.end", "b.start"), **narrow)
    result = steady(
        ws.Network(ducts, nodes), t, ws.PerfectGas(gamma, R), (p_out, 0.0, T_in, "air")
    )
    return result, last(result, "out")[0]


def hole_flow(given, where):
    """Mass flow [kg/s] of the `case` of a row; choked unless it has a pressure ratio."""
    p_out = given["pressure_ratio"] * given["p_0"] if "pressure_ratio" in given else 0.6e5
    return through_hole(given["p_0"], given["T_0"], p_out, given["gamma"], HOLE, where)[1]


def vessel_opening(p_0, T_0, gas, fill="air", p_out=0.6e5):
    """Mass flow [kg/s] out of the opening of a cubic metre of gas into a pipe, after 20 ms.

    Also the pressure [Pa] and temperature [K] that the vessel has by then.
    """
    net = ws.Network(
        {"d": ws.Pipe(0.2, BORE, cell_length=0.01)},
        {
            "box": ws.Volume(("d.start",), volume=1.0, pressure=p_0, temperature=T_0, fill=fill,
                             discharge_coefficient=SHARE),
            "out": cut("d.end", p_out),
        },
    )
    result = steady(net, 0.02, gas, (p_out, 0.0, T0, "air"))
    state = [result.trace(name, "box").values[-1] for name in ("pressure", "temperature")]
    return -result.samples.faces[-1, result.samples.layout["ends"].index(["d", "start"]), 2], *state


def two_ways(p_a, p_b, coefficient):
    """Mass flow [kg/s] from a to b through a hole in the middle of a pipe."""
    pipe = ws.Pipe(0.2, BORE, cell_length=0.02)
    net = ws.Network(
        {"a": pipe, "b": pipe},
        {"left": cut("a.start", p_a), "right": cut("b.end", p_b), "hole": ws.Orifice(
            ("a.end", "b.start"), diameter=HOLE, discharge_coefficient=coefficient)},
    )
    return last(steady(net, 0.8), "right")[0]


def throttle_flow(angle):
    """Choked mass flow [kg/s] past a throttle plate, and that of its effective area."""
    pipe = ws.Pipe(0.2, BORE, cell_length=0.02)
    plate = ws.Throttle(("a.end", "b.start"), diameter=BORE, plate_angle_deg=angle)
    net = ws.Network(
        {"a": pipe, "b": pipe}, {"in": cut("a.start", 2e5), "out": cut("b.end", 6e4), "t": plate}
    )
    result = steady(net, 0.3)
    a = result.final["a"]
    iso = exact.isentropic(mach_of(a)[-3], GAMMA)
    p, T = a["p"][-3] / iso.pressure, a["T"][-3] / iso.temperature
    return last(result, "out")[0], plate.effective_area * exact.choked_flux(p, T, GAMMA, R)


EXACT = ("The relation of the hole is solved to round-off; left are the digits of the table and "
         "the last of the way to steady flow.")


def _hole_checks():
    for rows, places in ((COLD, ("outlet", "inlet", "middle")), (SUBCRITICAL, ("outlet", "inlet"))):
        for row in rows:
            ratio = row.case.get("pressure_ratio")
            state = f"pressure ratio {ratio:g}" if ratio else "choked"
            for where in places:
                yield Check(
                    f"mass flow of a hole, {where}, {state}", hole_flow(row.case, where),
                    AREA * row.value, "0.001 %", row.source, EXACT, "kg/s",
                )
    flux = exact.choked_flux(2e5, T0, GAMMA, R)
    for forward, coefficient in ((True, 0.8), (False, 0.6)):
        pressures = (2e5, 0.8e5) if forward else (0.8e5, 2e5)
        yield Check(
            f"mass flow of a hole in a pipe, {'forward' if forward else 'reverse'} with "
            f"coefficient {coefficient:g}", abs(two_ways(*pressures, (0.8, 0.6))),
            coefficient / COEFFICIENT * AREA * flux, "0.001 %", SOURCE, EXACT, "kg/s",
        )


def _vessel_checks():
    for row in CHOKED:
        p_0, T_0, gamma = (row.case[name] for name in ("p_0", "T_0", "gamma"))
        flow, p, T = vessel_opening(p_0, T_0, ws.PerfectGas(gamma, R))
        yield Check(
            f"mass flow from a vessel, {p_0 / 1e5:g} bar, {T_0:g} K, choked", flow,
            OPENING * row.value * p / p_0 * np.sqrt(T_0 / T), "0.001 %", row.source, EXACT, "kg/s",
        )
    for p_0, T_0, p_out in BURNED_STATES:
        flow, p, T = vessel_opening(p_0, T_0, GAS, "burned", p_out)
        yield Check(
            f"mass flow of burned gas from {p_0 / 1e5:g} bar, {T_0:g} K, to {p_out / 1e5:g} bar",
            flow, OPENING * isentropic_flux(GAS.parts[PART_INDEX[BURNED]], T, p, p_out), "0.2 %",
            "cantera, isentrope of frozen burned gas",
            "The hole takes the ratio of heat capacities of the gas before it, which rises by one "
            "or two per cent on the way to the throat.", "kg/s",
        )


def _throttle_checks():
    for angle in PLATES:
        ours, ideal = throttle_flow(angle)
        yield Check(f"mass flow past a throttle of {angle:g} deg, choked", ours, ideal, "0.001 %",
                    SOURCE, EXACT, "kg/s")


def draw():
    """Mass flow over the pressure ratio: cold air through a hole, burned gas from a vessel."""
    axes = ws.plots.new_axes(2, height=3.4)
    fine, some = np.linspace(0.3, 1.0, 141), np.array([0.35, 0.5, 0.6, 0.7, 0.8, 0.9, 0.97])
    p_0 = 1.8e5
    axes[0].plot(fine, 1e3 * AREA * exact.orifice_flux(p_0, T0, fine * p_0, GAMMA, R),
                 color=ws.plots.REFERENCE, label="isentropic flow times area and coefficient")
    found = [1e3 * through_hole(p_0, T0, r * p_0, GAMMA, HOLE, "outlet")[1] for r in some]
    axes[0].plot(some, found, "o", color=ws.plots.COLOURS[0], label="marched")
    axes[0].set_title("Air of 300 K and 1.8 bar through a hole of 10 mm, coefficient 0.8",
                      loc="left")
    p_0, T_0 = 2.6e5, 1200.0
    moles = GAS.parts[PART_INDEX[BURNED]]
    axes[1].plot(fine[::2], [1e3 * OPENING * isentropic_flux(moles, T_0, p_0, r * p_0)
                             for r in fine[::2]], color=ws.plots.REFERENCE, label="cantera")
    for i, ratio in enumerate(some):
        flow, p, T = vessel_opening(p_0, T_0, GAS, "burned", ratio * p_0)
        axes[1].plot(ratio * p_0 / p, 1e3 * flow * p_0 / p * np.sqrt(T / T_0), "o",
                     color=ws.plots.COLOURS[1], label=None if i else "marched")
    axes[1].set_title("Burned gas of 1200 K and 2.6 bar out of a vessel", loc="left")
    axes[1].set_xlabel("pressure behind over stagnation pressure before")
    for ax in axes:
        ax.set(ylabel="mass flow [g/s]", ylim=(0.0, None))
        ax.legend(frameon=False, loc="lower left")
    return axes


def run():
    """Holes, vessels, throttles."""
    return Case((*_hole_checks(), *_vessel_checks(), *_throttle_checks()), draw())
