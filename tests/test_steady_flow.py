"""Steady flow reached by marching: nozzles, holes, steps, friction; and vessels that empty.

Theory: Shapiro, Compressible Fluid Flow (1953), ch. 4-6; Anderson (1995) for the nozzle with a
shock; numbers from rows ST-* and TH-5 of the reference table.
"""

import numpy as np
import pytest
from marches import AIR, GAMMA, IDEAL, P0, T0, R, cut, outside
from references import reference, references

import wavesim as ws
from wavesim import exact


def steady(net, t, gas=AIR, start=(P0, 0.0, T0, "air"), settings=IDEAL, samples=100):
    """March a network until t [s] from one state everywhere."""
    initial = dict.fromkeys(net.ducts, start)
    return ws.simulate(net, t, gas=gas, settings=settings, initial=initial, samples=samples)


def last(result, node, quantity="mass_flow"):
    """Mean of the last tenth of a trace, and how far it still moves, relative."""
    values = result.trace(quantity, node).values[-10:]
    return values.mean(), np.ptp(values) / abs(values.mean())


# nozzles --------------------------------------------------------------------------------------


@pytest.mark.parametrize("pressure_ratio", [0.95, 0.8, 0.6, 0.3])
@pytest.mark.parametrize("backwards", [False, True])
def test_converging_nozzle_passes_the_isentropic_flow(pressure_ratio, backwards):
    """A cone between two open ends, subsonic and choked."""
    p_in, wide, narrow = 1.5e5, 0.05, 0.03
    a, b = (narrow, wide) if backwards else (wide, narrow)
    first, final = ("d.end", "d.start") if backwards else ("d.start", "d.end")
    p_out = pressure_ratio * p_in
    net = ws.Network(
        {"d": ws.Pipe(0.3, a, end_diameter=b, cell_length=0.3 / 80)},
        {"in": cut(first, p_in), "out": cut(final, p_out)},
    )
    flow, drift = last(steady(net, 0.15, start=(p_out, 0.0, T0, "air")), "out")
    ideal = 0.25 * np.pi * narrow**2 * exact.orifice_flux(p_in, T0, p_out, GAMMA, R)
    assert drift < 1e-5
    assert flow == pytest.approx(ideal, rel=1e-3)


def test_large_vessel_feeds_a_nozzle_isentropically():
    """One cubic metre keeps its state within 0.05 % meanwhile."""
    narrow, p_in, p_out = 0.02, 1.5e5, P0
    net = ws.Network(
        {"d": ws.Pipe(0.2, 0.05, end_diameter=narrow, cell_length=0.002)},
        {
            "box": ws.Volume(("d.start",), volume=1.0, pressure=p_in, temperature=T0),
            "out": cut("d.end", p_out),
        },
    )
    result = steady(net, 0.03)
    p = result.trace("pressure", "box").values[-1]
    T = result.trace("temperature", "box").values[-1]
    assert p == pytest.approx(p_in, rel=5e-3)
    ideal = 0.25 * np.pi * narrow**2 * exact.orifice_flux(p, T, p_out, GAMMA, R)
    assert last(result, "out")[0] == pytest.approx(ideal, rel=1e-3)


def laval(cells):
    """Anderson's nozzle A = 1 + 2.2 (x - 1.5)^2 as sixty short cones."""
    given = references("ST-10")[0].case
    x = np.linspace(given["x_inlet"], given["x_exit"], 61)
    d = 0.1 * np.sqrt(1.0 + given["growth"] * (x - given["throat"]) ** 2)
    parts = [
        ws.Pipe(x[i + 1] - x[i], d[i], end_diameter=d[i + 1], cell_length=x[-1] / cells)
        for i in range(60)
    ]
    p_in = 1.5e5
    net = ws.Network(
        {"d": ws.Duct(parts=tuple(parts))},
        {"in": cut("d.start", p_in), "out": cut("d.end", given["pe/p0"] * p_in)},
    )
    area = net.ducts["d"].area_at
    return steady(net, 0.2, samples=2).final["d"], p_in, lambda x: area(x) / area(given["throat"])


def test_laval_nozzle_holds_its_shock_where_theory_puts_it():
    """ST-10, pe/p0 = 0.6784; pressures 1 %, place two cells."""
    cells = 300
    row = {r.quantity: r.value for r in references("ST-10")}
    final, p_in, area_of = laval(cells)
    x, p = final["x"], final["p"] / p_in
    mach = final["u"] / np.sqrt(GAMMA * R * final["T"])
    ahead = mach > 1.0
    shock = x[np.flatnonzero(ahead)[-1]]
    assert abs(shock - row["x_shock"]) < 2.0 * 3.0 / cells
    area = area_of(x)
    theory_mach, theory_p = exact.nozzle_profile(
        area, int(np.argmin(area)), GAMMA, row["A_shock/A*"]
    )
    clear = np.abs(x - row["x_shock"]) > 4.0 * 3.0 / cells
    assert p[clear] == pytest.approx(theory_p[clear], rel=1e-2)
    assert mach[0] == pytest.approx(theory_mach[0], rel=1e-2)
    assert mach[-1] == pytest.approx(row["Me"], rel=1e-2)


# holes ----------------------------------------------------------------------------------------


def through_hole(p_in, T_in, p_out, gamma, hole, where, coefficient=0.8, bore=0.05, t=0.4):
    """Mass flow [kg/s] through a hole at the outlet, at the inlet, or in the middle of a duct."""
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


CHOKED = [row for row in references("ST-7") if row.quantity == "mass_flux"]


@pytest.mark.parametrize("where", ["outlet", "inlet", "middle"])
@pytest.mark.parametrize("row", [r for r in CHOKED if r.case["p_0"] <= 3e5 and r.case["T_0"] < 340])
def test_choked_hole_passes_the_critical_flow(row, where):
    """ST-7 with a discharge coefficient of 0.8; 0.1 %."""
    given = row.case
    _, flow = through_hole(given["p_0"], given["T_0"], 0.6e5, given["gamma"], 0.01, where)
    assert flow == pytest.approx(0.8 * 0.25 * np.pi * 0.01**2 * row.value, rel=1e-3)


@pytest.mark.parametrize("row", CHOKED, ids=[row.label for row in CHOKED])
def test_hot_vessel_chokes_its_outlet_at_the_critical_flow(row):
    """ST-7 from a large volume of hot gas through its own opening; the volume hardly changes."""
    given = row.case
    share = 0.05
    net = ws.Network(
        {"d": ws.Pipe(0.2, 0.05, cell_length=0.01)},
        {
            "box": ws.Volume(("d.start",), volume=1.0, pressure=given["p_0"],
                             temperature=given["T_0"], discharge_coefficient=share),
            "out": cut("d.end", 0.6e5),
        },
    )
    result = steady(net, 0.02, ws.PerfectGas(given["gamma"], R), (0.6e5, 0.0, T0, "air"))
    drop = (result.trace("pressure", "box").values[-1] / given["p_0"]) ** (
        0.5 * (given["gamma"] + 1.0) / given["gamma"]
    )
    into_duct = -result.samples.faces[-1, result.samples.layout["ends"].index(["d", "start"]), 2]
    assert into_duct == pytest.approx(
        drop * share * 0.25 * np.pi * 0.05**2 * row.value, rel=1e-3
    )


SUBCRITICAL = references("ST-8")


@pytest.mark.parametrize("where", ["outlet", "inlet"])
@pytest.mark.parametrize("row", SUBCRITICAL, ids=[row.label for row in SUBCRITICAL])
def test_unchoked_hole_passes_the_isentropic_flow(row, where):
    """ST-8 with a discharge coefficient of 0.8; 0.1 %."""
    given = row.case
    p_out = given["pressure_ratio"] * given["p_0"]
    _, flow = through_hole(given["p_0"], given["T_0"], p_out, given["gamma"], 0.01, where)
    assert flow == pytest.approx(0.8 * 0.25 * np.pi * 0.01**2 * row.value, rel=1e-3)


@pytest.mark.parametrize("share", [0.1, 0.3, 0.6])
def test_plate_in_a_duct_loses_the_head_of_its_jet(share):
    """Thin plate: K = (1/(sigma Cd) - 1)^2 on the pipe's dynamic pressure, the jet's own recovery
    behind the plate included (Idelchik; Kirchhoff's jet with Borda's loss).
    """
    bore, coefficient = 0.05, 0.7
    result, flow = through_hole(P0 + 200.0, T0, P0, GAMMA, bore * np.sqrt(share), "middle",
                                coefficient, bore, t=1.2)
    a, b = result.final["a"], result.final["b"]
    head = 0.5 * flow**2 / (b["rho"][-1] * (0.25 * np.pi * bore**2) ** 2)
    loss = a["p"][-3] + 0.5 * a["rho"][-3] * a["u"][-3] ** 2 - (
        b["p"][3] + 0.5 * b["rho"][3] * b["u"][3] ** 2
    )
    assert loss / head == pytest.approx((1.0 / (share * coefficient) - 1.0) ** 2, rel=2e-2)


def test_flow_through_a_hole_reverses_with_the_pressure():
    """Same flow both ways with one coefficient; in the ratio of two with two."""

    def flow(p_a, p_b, coefficient):
        pipe = ws.Pipe(0.2, 0.05, cell_length=0.02)
        net = ws.Network(
            {"a": pipe, "b": pipe},
            {"left": cut("a.start", p_a), "right": cut("b.end", p_b), "hole": ws.Orifice(
                ("a.end", "b.start"), diameter=0.01, discharge_coefficient=coefficient)},
        )
        return last(steady(net, 0.8), "right")[0]

    forward, backward = flow(2e5, 0.8e5, 0.8), flow(0.8e5, 2e5, 0.8)
    assert forward == pytest.approx(-backward, rel=1e-5)
    assert flow(2e5, 0.8e5, (0.8, 0.6)) == pytest.approx(forward, rel=1e-6)
    assert flow(0.8e5, 2e5, (0.8, 0.6)) == pytest.approx(-0.75 * forward, rel=1e-3)


@pytest.mark.parametrize("angle", [20.0, 40.0])
def test_throttle_chokes_at_its_effective_area(angle):
    bore = 0.05
    pipe = ws.Pipe(0.2, bore, cell_length=0.02)
    plate = ws.Throttle(("a.end", "b.start"), diameter=bore, plate_angle_deg=angle)
    net = ws.Network(
        {"a": pipe, "b": pipe}, {"in": cut("a.start", 2e5), "out": cut("b.end", 6e4), "t": plate}
    )
    result = steady(net, 0.3)
    a = result.final["a"]
    mach = a["u"][-3] / np.sqrt(GAMMA * R * a["T"][-3])
    iso = exact.isentropic(mach, GAMMA)
    p, T = a["p"][-3] / iso.pressure, a["T"][-3] / iso.temperature
    ideal = plate.effective_area * exact.choked_flux(p, T, GAMMA, R)
    assert last(result, "out")[0] == pytest.approx(ideal, rel=1e-3)


# steps ----------------------------------------------------------------------------------------


def over_step(first, second, p_in, p_out, contraction_coefficient=None, flip=False):
    """States (Mach, p, p0, rho, u) beside a step between two ducts of the given bores [m]."""
    at = ("a.end", "b.start")
    step = ws.AreaStep(
        at[::-1] if flip else at, contraction_coefficient=contraction_coefficient
    )
    net = ws.Network(
        {"a": ws.Pipe(0.3, first, cell_length=0.015), "b": ws.Pipe(0.3, second, cell_length=0.015)},
        {"in": cut("a.start", p_in), "out": cut("b.end", p_out), "step": step},
    )
    result = steady(net, 0.4, start=(p_out, 0.0, T0, "air"), samples=2)

    def state(name, cell):
        f = {k: v[cell] for k, v in result.final[name].items()}
        mach = f["u"] / np.sqrt(GAMMA * R * f["T"])
        return mach, f["p"], f["p"] / exact.isentropic(mach, GAMMA).pressure, f["rho"], f["u"]

    return state("a", -3), state("b", 3)


ENLARGEMENTS = [row for row in references("ST-11") if row.quantity == "loss"]


@pytest.mark.parametrize("row", ENLARGEMENTS, ids=[row.label for row in ENLARGEMENTS])
def test_sudden_enlargement_loses_what_borda_and_carnot_say(row):
    """ST-11: Mach number, pressures and loss behind the step within 1 %."""
    given, narrow, p_in = row.case, 0.03, 1.5e5
    theory = exact.sudden_enlargement(given["mach"], given["area_ratio"], GAMMA)
    p_out = p_in * exact.isentropic(given["mach"], GAMMA).pressure * theory.pressure
    before, behind = over_step(narrow, narrow * np.sqrt(given["area_ratio"]), p_in, p_out)
    assert before[0] == pytest.approx(given["mach"], rel=1e-2)
    found = {
        "M2": behind[0], "p2/p1": behind[1] / before[1], "p02/p01": behind[2] / before[2],
        "loss": (before[2] - behind[2]) / (before[2] - before[1]),
    }
    for quantity, value in found.items():
        target = reference("ST-11", quantity, **given).value
        assert value == pytest.approx(target, rel=1e-2), quantity


@pytest.mark.parametrize("flip", [False, True])
@pytest.mark.parametrize("mach", [0.1, 0.3, 0.5])
@pytest.mark.parametrize("coefficient", [None, 0.8, 1.0])
@pytest.mark.parametrize("ratio", [2.0, 4.0])
def test_sudden_contraction_loses_what_the_description_says(ratio, coefficient, mach, flip):
    """Stagnation pressure lost over the dynamic pressure in the narrow duct."""
    narrow, p_in = 0.03, 1.5e5
    p_out = p_in * exact.isentropic(mach, GAMMA).pressure
    before, behind = over_step(narrow * np.sqrt(ratio), narrow, p_in, p_out, coefficient, flip)
    node = ws.AreaStep(("a.end", "b.start"), contraction_coefficient=coefficient)
    head = 0.5 * behind[3] * behind[4] ** 2
    found = (before[2] - behind[2]) / head
    assert found == pytest.approx(node.contraction_loss(1.0 / ratio), rel=1e-2, abs=1e-4)


def test_loss_free_contraction_chokes_where_its_duct_is_sonic():
    """Contraction coefficient one: the isentropic flow of the narrow duct, choked at its mouth."""
    narrow = 0.03
    _, behind = over_step(0.06, narrow, 3e5, 1e5, contraction_coefficient=1.0)
    ideal = exact.choked_flux(3e5, T0, GAMMA, R)
    assert behind[3] * behind[4] == pytest.approx(ideal, rel=1e-3)


# friction and entry ---------------------------------------------------------------------------


def test_long_rough_pipe_follows_fanno():
    """Shapiro (1953) ch. 6 with the friction factor of Haaland (1983) at the flow's own Re."""
    bore, length, roughness = 0.02, 2.0, 1e-4
    net = ws.Network(
        {"d": ws.Pipe(length, bore, roughness=roughness, cell_length=0.02)},
        {"in": cut("d.start", 1.5e5), "out": cut("d.end", 1.1e5)},
    )
    settings = ws.Settings(wall_heat=False)
    final = steady(net, 0.5, settings=settings, samples=2).final["d"]
    mach = final["u"] / np.sqrt(GAMMA * R * final["T"])
    i, j = 5, len(mach) - 6
    mu = AIR.viscosity(final["T"][i : j + 1])
    reynolds = final["rho"][i : j + 1] * final["u"][i : j + 1] * bore / mu
    factor = np.mean([exact.haaland(re, roughness / bore) for re in reynolds])
    run = factor * (final["x"][j] - final["x"][i]) / bore
    assert mach[j] == pytest.approx(exact.fanno_exit_mach(mach[i], run, GAMMA), rel=3e-3)
    ratio = exact.fanno_ratios(mach[j], GAMMA).pressure / exact.fanno_ratios(
        mach[i], GAMMA).pressure
    assert final["p"][j] / final["p"][i] == pytest.approx(ratio, rel=3e-3)


@pytest.mark.parametrize("radiation, loss", [("unflanged", 1.0), ("flanged", 0.5), ("none", 0.0)])
def test_gas_that_enters_an_open_end_pays_the_entry_loss(radiation, loss):
    """Idelchik, Handbook of Hydraulic Resistance, Diagram 3-4: 1.0 free, 0.5 flush in a wall."""
    net = ws.Network(
        {"d": ws.Pipe(0.3, 0.05, cell_length=0.015)},
        {
            "in": ws.OpenEnd("d.start", radiation=radiation, ambient=outside()),
            "out": cut("d.end", P0 - 500.0),
        },
    )
    final = steady(net, 0.4, samples=2).final["d"]
    head = 0.5 * final["rho"][10] * final["u"][10] ** 2
    assert (P0 - final["p"][10]) / head == pytest.approx(1.0 + loss, rel=2e-2)


# vessels --------------------------------------------------------------------------------------

BLOWDOWNS = [row for row in references("TH-5") if row.quantity == "p/p0"]


@pytest.mark.parametrize("row", BLOWDOWNS, ids=[row.label for row in BLOWDOWNS])
def test_vessel_blows_down_as_its_hole_allows(row):
    """TH-5: choked discharge of an isentropic vessel through its own opening; 0.2 %."""
    given = row.case
    area = given.get("area", 0.25 * np.pi * given.get("diameter", 0.0) ** 2)
    bore = 0.06
    net = ws.Network(
        {"d": ws.Pipe(0.05, bore, cell_length=0.01)},
        {
            "box": ws.Volume(("d.start",), volume=given["volume"], pressure=given["p_0"],
                             temperature=given["T_0"],
                             discharge_coefficient=area / (0.25 * np.pi * bore**2)),
            "out": cut("d.end", 0.9e5),
        },
    )
    result = ws.simulate(
        net, given["t"] * 1.01, gas=ws.PerfectGas(given["gamma"], given["R"]), settings=IDEAL,
        initial={"d": (0.9e5, 0.0, 300.0, "air")}, samples=1010,
    )
    trace = result.trace("pressure", "box")
    found = np.interp(given["t"], trace.x, trace.values) / given["p_0"]
    assert found == pytest.approx(row.value, rel=2e-3)


def test_short_open_nozzle_blows_a_vessel_down_as_well():
    """TH-5 with the hole as the nozzle of a wide stub, whose gas counts as part of the vessel."""
    row = BLOWDOWNS[1]
    given, bore, length = row.case, 0.05, 0.02
    stub = 0.25 * np.pi * bore**2 * length
    net = ws.Network(
        {"d": ws.Pipe(length, bore, cell_length=0.004)},
        {
            "box": ws.Volume(("d.start",), volume=given["volume"] - stub, pressure=given["p_0"],
                             temperature=given["T_0"]),
            "out": cut("d.end", 1e5).replace(diameter=given["diameter"]),
        },
    )
    result = ws.simulate(
        net, given["t"] * 1.01, gas=AIR, settings=IDEAL, samples=1010,
        initial={"d": (given["p_0"], 0.0, given["T_0"], "air")},
    )
    trace = result.trace("pressure", "box")
    found = np.interp(given["t"], trace.x, trace.values) / given["p_0"]
    assert found == pytest.approx(row.value, rel=2e-3)


def test_vessel_filled_from_the_air_is_warmed_by_the_work_of_filling():
    """Energy balance of an open system: with a first share p1/p2 of gas at Ta the end temperature
    is gamma Ta / (1 + (gamma - 1) p1/p2); gamma Ta from vacuum (Shapiro 1953 ch. 2, TH-5).
    """
    p_first = 2e4
    net = ws.Network(
        {"d": ws.Pipe(0.02, 0.01, cell_length=0.002)},
        {
            "box": ws.Volume(("d.start",), volume=1e-3, pressure=p_first, temperature=T0),
            "in": cut("d.end"),
        },
    )
    result = steady(net, 0.2, start=(P0, 0.0, T0, "air"))
    p = result.trace("pressure", "box").values[-1]
    T = result.trace("temperature", "box").values[-1]
    assert p == pytest.approx(P0, rel=2e-3)
    assert T == pytest.approx(GAMMA * T0 / (1.0 + (GAMMA - 1.0) * p_first / P0), rel=2e-3)
