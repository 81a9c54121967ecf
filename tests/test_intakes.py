"""Intakes as they are found: what follows what, and that rated parts pass the flow of their bench.

All data are invented.
"""

from math import pi, sqrt

import numpy as np
import pytest
from scipy.optimize import brentq
from steady_flow import cut, last, steady

import wavesim as ws
from wavesim import exact
from wavesim.arrays.compile import compile_network
from wavesim.errors import InputError
from wavesim.fields.toml_form import build
from wavesim.kernels import flat as f
from wavesim.march.pull import throttled

STUDY = ws.load(ws.demo_path("collector"))
ENGINE = STUDY.engine
EXHAUST = STUDY.exhausts[STUDY.base]
RUNNER, STACK, INLET = ws.Pipe(0.1, 0.04), ws.Pipe(0.06, 0.042), ws.Pipe(0.3, 0.06)
P0, T0 = ws.Ambient().pressure, ws.Ambient().temperature
FLOWS = [("110 cfm", "1.5 inHg", 0.040), ("350 cfm", "3 inHg", 0.070), ("500 cfm", "1.5 inHg", 0.1),
         ("60 cfm", "10 inH2O", 0.036), ("300 cfm", "1.5 inHg", 0.050)]


def network(**changes):
    given = {"runner": RUNNER, "plenum_volume": 0.004, "throttle_diameter": 0.05, "inlet": INLET}
    return ws.assemble(ENGINE.replace(intake=ws.Intake(**(given | changes))), EXHAUST)


def way(net, valve):
    """Nodes and ducts from an intake valve back to where several ways meet, or to the air."""
    passed, (end,) = [], net.nodes[valve].ends
    while True:
        duct = end[0]
        node = net.node_at(f"{duct}.{'end' if end[1] == 'start' else 'start'}")
        passed += [duct, node]
        others = [e for e in net.nodes[node].ends if e[0] != duct]
        if len(others) != 1:
            return passed
        end = others[0]


# --- what follows what ----------------------------------------------------------------------------


def test_throttle_of_every_cylinder_stands_between_its_stack_and_its_runner():
    net = network(throttle_at="runner", throttle_diameter=0.04, stack=STACK, inlets=2)
    for n in range(1, 5):
        assert way(net, f"intake valve {n}") == [
            f"intake port {n}", f"step runner {n} - intake port {n}", f"runner {n}",
            f"step throttle body {n} - runner {n}", f"throttle body {n}", f"throttle {n}",
            f"stack {n}", "plenum"]
    assert {end[0] for end in net.nodes["plenum"].ends} == {
        "inlet 1", "inlet 2", *(f"stack {n}" for n in range(1, 5))}


def test_individual_stacks_open_to_the_air_each():
    net = network(throttle_at="runner", throttle_diameter=None, plenum_volume=None, inlet=(),
                  carburettor=ws.FlowRating("110 cfm", "1.5 inHg"), stack=STACK,
                  filter=ws.FlowRating("100 cfm", "5 inH2O"))
    assert way(net, "intake valve 3")[-5:] == [
        "carburettor 3", "stack 3", "filter 3", "filter housing 3", "air inlet 3"]
    assert "plenum" not in net.nodes
    assert sum(isinstance(node, ws.OpenEnd) and node.intake for node in net.nodes.values()) == 4


def test_throttle_between_airbox_and_runners():
    net = network(airbox_volume=0.006, airbox_duct=ws.Pipe(0.2, 0.055),
                  filter=ws.FlowRating("300 cfm", "5 inH2O"))
    ends = {name: {end[0] for end in net.nodes[name].ends} for name in ("airbox", "plenum",
                                                                        "throttle", "filter")}
    assert ends["airbox"] == {"inlet", "airbox duct"}
    assert ends["throttle"] == {"airbox duct", "throttle body"}
    assert ends["filter"] == {"filter housing", "inlet"}
    assert ends["plenum"] == {"throttle body", *(f"runner {n}" for n in range(1, 5))}


def test_common_plenum_with_two_inlets_has_two_throttles():
    net = network(inlets=2)
    assert {end[0] for end in net.nodes["plenum"].ends} == {
        "throttle body 1", "throttle body 2", *(f"runner {n}" for n in range(1, 5))}
    assert {"air inlet 1", "air inlet 2", "throttle 1", "throttle 2"} <= set(net.nodes)


def test_every_layout_comes_back_from_a_study():
    table = {"runner": {"length": "100 mm", "diameter": "40 mm"}, "plenum_volume": "none",
             "throttle_diameter": "none", "throttle_at": "runner",
             "stack": {"length": "60 mm", "diameter": "42 mm"},
             "carburettor": {"flow": "110 cfm", "depression": "1.5 inHg"}}
    found = build(ws.Intake, table, ws.demo_path("collector").parent, "engine.intake")
    assert found.carburettor == ws.FlowRating("110 cfm", "1.5 inHg")
    assert found.plenum_volume is None and found.stack == (ws.Pipe(0.06, 0.042),)


@pytest.mark.parametrize(("changes", "message"), [
    ({"carburettor": ws.FlowRating(0.1, 5000)}, "whose rating includes its throttle; give"),
    ({"throttle_diameter": None, "plate_angle_deg": 40}, "has no throttle to turn; give a"),
    ({"plenum_volume": None}, "needs throttle_at = 'runner'"),
    ({"plenum_volume": None, "throttle_at": "runner"}, "inlet needs a plenum_volume"),
    ({"inlet": ()}, "must hold at least one Pipe before a plenum"),
    ({"airbox_volume": 0.005}, "give both airbox_volume and airbox_duct"),
    ({"airbox_volume": 0.005, "airbox_duct": INLET, "throttle_at": "runner"}, "one box too many"),
    ({"stack": STACK}, "stack needs throttle_at = 'runner'"),
])
def test_intake_that_does_not_fit_together_is_refused_with_the_cure(changes, message):
    with pytest.raises(InputError, match=message):
        network(**changes)


def test_duct_too_narrow_for_the_rated_flow_is_named():
    with pytest.raises(InputError, match="'carburettor': a bore of 0.06 m at 'inlet.end' is too "
                                         "narrow for the rated flow of 0.47"):
        network(throttle_diameter=None, carburettor=ws.FlowRating("1000 cfm", "1.5 inHg"))


# --- the flow of the bench ------------------------------------------------------------------------


def bench(node, bore, p_out):
    """Steady mass flow [kg/s] from still standard air through a node into still air."""
    pipe = ws.Pipe(0.2, bore, cell_length=0.02)
    net = ws.Network({"a": pipe, "b": pipe}, {
        "in": cut("a.start", P0, T0), "out": cut("b.end", p_out), "part": node})
    return last(steady(net, 0.5, start=(p_out, 0.0, T0, "air")), "out")[0]


@pytest.mark.parametrize(("flow", "depression", "bore"), FLOWS)
def test_carburettor_passes_its_rated_flow_at_its_rated_depression(flow, depression, bore):
    """Within 1 %: the stated bound; it is met to some 0.01 %."""
    rating = ws.FlowRating(flow, depression)
    node = ws.Carburettor(("a.end", "b.start"), rating=rating)
    passed = bench(node, bore, P0 - rating.depression)
    density = P0 / (287.05 * T0)
    assert passed == pytest.approx(density * rating.flow, rel=1e-3)


def test_carburettor_passes_less_at_less_depression_by_the_root():
    """Incompressible flow goes with the root of the pressure difference; at 0.4 % it nearly is."""
    rating = ws.FlowRating("50 cfm", 400.0)
    node = ws.Carburettor(("a.end", "b.start"), rating=rating)
    assert bench(node, 0.06, P0 - 100.0) == pytest.approx(0.5 * rating.mass_flow, rel=0.005)


def test_carburettor_chokes_at_its_throat():
    rating = ws.FlowRating("60 cfm", "1.5 inHg")
    node = ws.Carburettor(("a.end", "b.start"), rating=rating)
    throat = node.throat(0.25 * pi * 0.04**2)
    assert bench(node, 0.04, 0.4 * P0) == pytest.approx(
        throat * exact.choked_flux(P0, T0, 1.4, 287.05), rel=2e-3)


@pytest.mark.parametrize("share", [0.3, 0.6, 0.9])
def test_throat_of_a_carburettor_loses_what_borda_and_carnot_say(share):
    """In slow air the depression over the dynamic pressure in the throat is (1 - s)^2 + s^2.

    s is throat over bore: the jet mixes in the duct, and what is left of it is lost in the box.
    """
    area, throat, density = 1e-3, share * 1e-3, P0 / (287.05 * T0)
    flow = 10.0 * throat  # 10 m/s
    depression = 0.5 * density * (flow / throat) ** 2 * ((1.0 - share) ** 2 + share**2)
    assert ws.FlowRating(flow, depression).throat(area) == pytest.approx(throat, rel=0.01)


def test_plate_of_a_carburettor_leaves_open_what_that_of_a_throttle_does():
    rating = ws.FlowRating("110 cfm", "1.5 inHg")
    for angle in (20.0, 45.0, 70.0):
        node = ws.Carburettor(("a.end", "b.start"), rating=rating, plate_angle_deg=angle)
        plate = ws.Throttle(("a.end", "b.start"), diameter=0.04, plate_angle_deg=angle)
        assert node.open_share == pytest.approx(plate.open_area / (0.25 * pi * 0.04**2), rel=1e-12)


def test_warm_up_turns_the_plates_of_carburettors_too():
    net = network(throttle_at="runner", throttle_diameter=None, plenum_volume=None, inlet=(),
                  carburettor=ws.FlowRating("110 cfm", "1.5 inHg"))
    turned = throttled(net, ws.Warmed(rpm=3000.0, plate_angle_deg=30.0))
    assert all(turned.nodes[f"carburettor {n}"].plate_angle_deg == 30.0 for n in range(1, 5))


@pytest.mark.parametrize("share", [1.0, 0.5])
def test_filter_loses_its_rated_pressure_at_its_rated_flow(share):
    """The loss goes with the square of the flow.  Flow is set by the pressure behind the filter.

    Stagnation pressures before and behind from exact isentropic relations.
    """
    rating = ws.FlowRating("150 cfm", 2500.0)
    bore = 0.06
    area = 0.25 * pi * bore**2
    node = ws.Resistance(("a.end", "b.start"), rating=rating)
    # behind the filter the air leaves with its dynamic pressure too
    flux = share * rating.mass_flow / area
    dynamic = 0.5 * flux**2 / (P0 / (287.05 * T0))
    passed = bench(node, bore, P0 - share**2 * rating.depression - dynamic)
    assert passed == pytest.approx(share * rating.mass_flow, rel=0.01)


def test_filter_resists_both_ways_alike():
    rating = ws.FlowRating("150 cfm", 2500.0)
    node = ws.Resistance(("a.end", "b.start"), rating=rating)
    net = ws.Network({"a": ws.Pipe(0.2, 0.06), "b": ws.Pipe(0.2, 0.06)}, {
        "in": ws.OpenEnd("a.start"), "out": ws.OpenEnd("b.end"), "part": node})
    model = compile_network(net, ws.PerfectGas(), ws.Settings())
    row = model.net.pair_par[0]
    assert row[f.LOSS_ON] == row[f.LOSS_BACK] == pytest.approx(
        2500.0 / (0.5 * rating.mass_flow**2 / (0.25 * pi * 0.06**2) ** 2 / (P0 / 287.05 / T0)),
        rel=0.06)


@pytest.mark.parametrize("inlets", [1, 2, 3])
def test_plenum_rings_by_all_its_inlets(inlets):
    """k V tan(k L) = sum of areas: a volume with open necks of length L, end correction included.

    Kinsler and Frey, Fundamentals of Acoustics, on the Helmholtz resonator (from memory).
    """
    bore, length, volume = 0.04, 0.1, 0.008
    net = network(throttle_at="runner", throttle_diameter=0.04, stack=STACK, inlets=inlets,
                  plenum_volume=volume, inlet=ws.Pipe(length, bore), entry_loss=0.0)
    for duct in [name for name in net.ducts if not name.startswith("inlet")]:
        net = net.without_duct(duct)
    for name in [name for name in net.nodes if not name.startswith(("air inlet", "plenum"))]:
        net = net.without_node(name)
    net = net.with_node("plenum", net.nodes["plenum"].replace(pressure=P0 + 50.0, fill="air"))
    area, whole = 0.25 * pi * bore**2 * inlets, length + 0.6133 * 0.5 * bore
    k = brentq(lambda k: k * volume * np.tan(k * whole) - area, 1e-3, 0.49 * pi / whole)
    period = 2.0 * pi / (k * ws.PerfectGas().sound_speed(T0))
    still = {name: (P0, 0.0, T0, "air") for name in net.ducts}
    run = ws.simulate(net, 3.0 * period, samples=900, initial=still,
                      settings=ws.Settings(cell_length=0.01, friction=False))
    trace = run.trace("pressure", "plenum")
    signal = trace.values - P0
    down = np.flatnonzero((signal[:-1] > 0.0) & (signal[1:] <= 0.0))
    times = [np.interp(0.0, [-signal[i], -signal[i + 1]], [trace.x[i], trace.x[i + 1]])
             for i in down]
    assert np.diff(times).mean() == pytest.approx(period, rel=0.01)


# --- engines --------------------------------------------------------------------------------------

SINGLE = ENGINE.replace(firing_order=(1,))
PIPE = ws.Exhaust(primary=ws.Pipe(0.5, 0.04), merge=None)
QUICK = ws.Settings(cell_length=0.05, tolerance=3e-3, sample_deg=10.0)


def filled(**intake):
    given = {"runner": ws.Pipe(0.25, 0.045, end_diameter=0.042), "plenum_volume": None,
             "throttle_diameter": None, "throttle_at": "runner", "stack": ws.Pipe(0.06, 0.05)}
    engine = SINGLE.replace(intake=ws.Intake(**(given | intake)))
    return ws.run_point(engine, PIPE, 4500.0, settings=QUICK)


def test_engine_fills_less_behind_a_smaller_carburettor_or_filter():
    """More than steady flow would cost, and the same for both, which follow laws of their own.

    The flow of one cylinder pulses, and a resistance damps the waves that fill it.
    """
    free = filled()
    lost = []
    for flow in ("220 cfm", "150 cfm", "110 cfm"):
        rating = ws.FlowRating(flow, "1.5 inHg")
        points = filled(carburettor=rating), filled(filter=rating)
        lost.append([1.0 - p.volumetric_efficiency / free.volumetric_efficiency for p in points])
        mean = free.air_per_cycle * 4500.0 / 120.0 / rating.mass_flow
        assert min(lost[-1]) > mean**2 * rating.depression / P0
        assert lost[-1][0] == pytest.approx(lost[-1][1], rel=0.15)
    assert np.all(np.diff(lost, axis=0) > 0.0)


def test_stack_tunes_the_filling_by_its_length():
    """A stack longer by 0.3 m moves the filling of this engine by more than 2 %."""
    short, long = (filled(stack=ws.Pipe(length, 0.05)) for length in (0.05, 0.35))
    assert abs(long.volumetric_efficiency - short.volumetric_efficiency) > 0.02


def test_two_inlets_breathe_as_one_of_twice_the_area():
    """In and behind the plenum nothing but the area of the mouths matters, if they are alike."""
    pipe = ws.Pipe(0.2, 0.03)
    twice = ws.Pipe(0.2, 0.03 * sqrt(2.0), friction_factor_scale=sqrt(2.0))
    common = {"throttle_at": "inlet", "plenum_volume": 0.002, "stack": ()}
    two = filled(**common, inlet=pipe, inlets=2)
    one = filled(**common, inlet=twice)
    assert two.volumetric_efficiency == pytest.approx(one.volumetric_efficiency, rel=0.01)
    assert two.volumetric_efficiency > 1.02 * filled(**common, inlet=pipe).volumetric_efficiency


def test_books_of_an_engine_with_boxes_and_carburettors_close():
    point = ws.run_point(
        SINGLE.replace(intake=ws.Intake(
            runner=RUNNER, plenum_volume=0.003, throttle_diameter=None, inlet=INLET,
            carburettor=ws.FlowRating("110 cfm", "1.5 inHg"), airbox_volume=0.005,
            airbox_duct=ws.Pipe(0.1, 0.05), filter=ws.FlowRating("150 cfm", "5 inH2O"))),
        PIPE, 4500.0, settings=QUICK)
    assert point.converged and abs(point.audit["mass_error"]) < 1e-9
    assert np.isfinite(point.torque)
