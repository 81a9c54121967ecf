"""An engine on a network of one's own: changes, runs, sweeps, files, and what sound says of it."""

import json
import tomllib
from pathlib import Path

import numpy as np
import pytest
from case_own_networks import (
    engine_networks,
    engine_point,
    passed,
    passed_by_bypass,
    passed_by_tails,
    with_bypass,
    with_two_tails,
)

import wavesim as ws
from wavesim.arrays.compile import compile_network
from wavesim.fields.toml_form import build, plain, toml_text
from wavesim.many.store import point_key

COARSE = ws.Settings(cell_length=0.05, sample_deg=10.0, tolerance=2e-2)
PIPE = ws.Pipe(1.0, 0.05)
STRAIGHT = ws.Network(
    {"pipe": PIPE}, {"wall": ws.ClosedEnd("pipe.start"), "mouth": ws.OpenEnd("pipe.end")}
)


@pytest.fixture(scope="module")
def system():
    study = ws.load(ws.demo_path("collector"))
    return study.engine, study.exhausts[study.base]


@pytest.fixture(scope="module")
def network(system):
    engine, exhaust = system
    return exhaust.network(engine)


# --- sound ----------------------------------------------------------------------------------------


def test_bypass_passes_the_plane_waves_of_two_ways_side_by_side():
    """Within 0.1 % of the incident wave to 1 kHz; transfer matrices, Munjal (2014) ch. 2."""
    size = (0.62, 0.05)
    found = passed(with_bypass, "pipe behind bypass", size)
    assert found.min() < 0.02 and found.max() > 0.98  # the two ways extinguish and help each other
    np.testing.assert_allclose(found, passed_by_bypass(size), atol=1e-3)


@pytest.mark.parametrize("tail", ["tail 1", "tail 2"])
def test_box_divides_plane_waves_between_two_tailpipes(tail):
    """Within 0.3 % of the incident wave to 1 kHz; transfer matrices, Munjal (2014) ch. 3."""
    found = passed(with_two_tails, f"{tail} end")
    np.testing.assert_allclose(found, passed_by_tails()[tail], atol=3e-3)


# --- an engine ------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["bypass", "two tailpipes"])
def test_engine_with_a_branched_exhaust_closes_its_books(name):
    point = engine_point(name)
    assert point.converged
    assert abs(point.audit["mass_error"]) < 1e-12
    assert abs(point.audit["energy_error"]) < 1e-12
    assert point.network == engine_networks()[1][name] and point.exhaust is None


def test_gas_of_both_tailpipes_is_what_leaves_the_cylinders():
    point = engine_point("two tailpipes")
    out = [point.trace("mass_flow", outlet).values.mean() for outlet in ("outlet", "outlet 2")]
    assert min(out) > 0.1 * max(out)
    assert sum(out) == pytest.approx(point.exhaust_mass_flow, rel=5e-3)  # every 2 degrees


def test_network_of_an_exhaust_runs_like_the_exhaust(system, network):
    by_exhaust = ws.run_point(*system, 4500, settings=COARSE)
    by_network = ws.run_network(system[0], network, 4500, settings=COARSE)
    assert by_network.values == by_exhaust.values
    assert by_network.samples.cells.tobytes() == by_exhaust.samples.cells.tobytes()
    assert by_exhaust.exhaust == system[1] and by_network.exhaust is None
    assert by_exhaust.network == by_network.network == network


def test_cut_pipe_carries_waves_as_before():
    """The pieces lie side by side without a node: the same cells, the same numbers to the bit."""
    start = {"pipe": lambda x: (1e5 * (1.0 + np.exp(-((x - 0.3) / 0.05) ** 2)), 0.0 * x,
                                300.0 + 0.0 * x, "air")}
    halves = STRAIGHT.cut("pipe", 0.5, "rear")
    model = compile_network(halves, ws.PerfectGas(), ws.Settings(cell_length=0.01))
    assert ("pipe", "end") not in model.ends
    settings = ws.Settings(cell_length=0.01, friction=False)
    whole = ws.simulate(STRAIGHT, 4e-3, settings=settings, initial=start, samples=0).final["pipe"]
    apart = ws.simulate(
        halves, 4e-3, settings=settings, samples=0,
        initial={"pipe": start["pipe"], "rear": lambda x: start["pipe"](x + 0.5)},
    ).final
    for name in ("p", "u", "T"):
        joined = np.concatenate([apart["pipe"][name], apart["rear"][name]])
        np.testing.assert_allclose(joined, whole[name], rtol=1e-12, atol=1e-9)


def test_back_pressure_of_an_end_that_swallows_waves_is_a_number(system, network):
    endless = ws.AnechoicEnd("collector.end", pressure=1.1e5, temperature=900.0)
    point = ws.run_network(system[0], network.with_node("outlet", endless), 4500, settings=COARSE)
    mean = np.mean([point.trace("pressure", f"exhaust valve {n}").values.mean()
                    for n in range(1, 5)])
    assert point.back_pressure == pytest.approx(mean - 1.1e5, rel=1e-9)


def test_intake_of_an_end_that_swallows_waves_starts_at_its_pressure(system, network):
    quiet = ws.AnechoicEnd("inlet.start", pressure=0.8e5, temperature=280.0, intake=True)
    model = compile_network(
        network.with_node("air inlet", quiet), ws.EngineGas(), COARSE, engine=system[0], rpm=4500.0
    )
    lo, hi = model.ducts["runner 2"]
    U, T = model.state.U[:, lo:hi], model.state.T[lo:hi]
    np.testing.assert_allclose(T, 280.0)
    np.testing.assert_allclose(U[0] * model.gas.R(1.0, 0.0) * T, 0.8e5, rtol=1e-12)


def test_valves_are_known_by_their_cylinder_not_by_their_name(system, network):
    renamed = {
        "my " + name if isinstance(node, ws.ValvePort) else name: node
        for name, node in reversed(list(network.nodes.items()))
    }
    other = ws.Network(network.ducts, renamed)
    a, b = (ws.run_network(system[0], net, 6000, settings=COARSE) for net in (network, other))
    assert b.torque == pytest.approx(a.torque, rel=1e-6)
    assert b.cylinders["peak_pressure"] == pytest.approx(a.cylinders["peak_pressure"], rel=1e-6)


def test_start_from_a_point_of_another_network_is_refused(system, network):
    engine, _ = system
    point = ws.run_network(engine, network, 6000, settings=COARSE)
    merge = network.nodes["merge"].replace(model="pressure", volume=None)
    other = network.with_node("merge", merge)
    with pytest.raises(ws.InputError, match="same engine, exhaust and mesh"):
        ws.run_network(engine, other, 6000, settings=COARSE, start=point)


# --- many, and files ------------------------------------------------------------------------------


def test_network_is_swept_saved_and_loaded_like_an_exhaust(system, network, tmp_path):
    shorter = network.with_part("collector", length=0.10).replace(name="short")
    store = ws.Store(tmp_path / "store")
    sweep = ws.speed_sweep(
        system[0], shorter, [5500, 6000], settings=COARSE, store=store, progress=False
    )
    assert sweep.name == "short" and not sweep.failures and store.written == 2
    sweep.save(tmp_path / "sweep.npz")
    again = ws.Sweep.load(tmp_path / "sweep.npz")
    assert again[6000].network == shorter and again[6000].torque == sweep[6000].torque
    ws.speed_sweep(system[0], shorter, [5500, 6000], settings=COARSE, store=store, progress=False)
    assert store.written == 2


def test_key_of_the_store_tells_networks_apart(system, network):
    engine, exhaust = system
    longer = ws.vary(network, "ducts.collector.length", 0.2)
    keys = {point_key(engine, thing, 3000, COARSE) for thing in (exhaust, network, longer)}
    assert len(keys) == 3
    assert point_key(engine, exhaust.network(engine), 3000, COARSE) in keys


def test_designs_vary_ducts_and_nodes_by_name(system, network):
    paths = ("exhaust.ducts.primary *.length", "exhaust.nodes.merge.directions.4.2")
    base = (system[0], network)
    found = ws.explore(
        *base, ws.designs(base, {paths[0]: [0.5, 0.7], paths[1]: [1.0]}, 1), [6000],
        settings=COARSE, progress=False,
    )
    assert not found.failures and found["torque"][0] != found["torque"][1]
    _, built = found.built(1)
    assert [built.ducts[f"primary {n}"].length for n in range(1, 5)] == [0.7] * 4
    assert "-" in found.summary().splitlines()[1]  # no mass without a bill


@pytest.mark.parametrize(
    ("path", "message"),
    [
        ("exhaust.ducts.colector.length", "did you mean 'collector'"),
        ("exhaust.ducts.tail *.length", r"'tail \*' fits none of 'inlet'"),
        ("exhaust.ducts.collector.lenght", "did you mean 'length'"),
        ("exhaust.nodes.merge.angle", "did you mean 'angles_deg'"),
    ],
)
def test_path_that_leads_nowhere_in_a_network_is_refused(system, network, path, message):
    with pytest.raises(ws.InputError, match=message):
        ws.designs((system[0], network), {path: [1.0, 2.0]}, 1)


def test_search_for_the_lightest_network_is_refused(system, network):
    with pytest.raises(ws.InputError, match="'mass' is not known of a Network"):
        ws.optimise(system[0], network, {"exhaust.ducts.collector.length": (0.1, 0.2)}, [6000],
                    limits={"mass": (None, 5.0)}, progress=False)
    with pytest.raises(ws.InputError, match="bill: exhaust = Network"):
        ws.bill(network, system[0])


@pytest.mark.parametrize("study", ["demo", "collector", "complete", "gain"])
def test_network_survives_json_and_toml(study):
    study = ws.load(ws.demo_path(study))
    for exhaust in study.exhausts.values():
        network = exhaust.network(study.engine)
        assert ws.restore(json.loads(json.dumps(ws.describe(network)))) == network
        raw = tomllib.loads(toml_text({"network": plain(network)}))["network"]
        again = build(ws.Network, raw, Path(), "network")
        assert again == network
        assert (*again.ducts, *again.nodes) == (*network.ducts, *network.nodes)


def test_study_holds_networks_beside_exhausts(system, network, tmp_path):
    engine, exhaust = system
    longer = network.with_part("collector", length=0.3)
    study = ws.Study(
        engine=engine, exhausts={"base": exhaust, "own": network, "own, longer": longer},
        rpm=[3000.0],
    )
    ws.save(study, tmp_path / "study.toml")
    assert ws.load(tmp_path / "study.toml") == study
    assert study.exhausts["own"].name == "own"


# --- changes --------------------------------------------------------------------------------------


def test_changed_copy_leaves_the_network_as_it_was(network):
    before = ws.describe(network)
    network.with_link("link", PIPE, ("primary 1", 0.2), ("primary 4", 0.3))
    network.without_duct("collector")
    assert ws.describe(network) == before


def test_link_between_banks_may_start_anywhere(system):
    engine, exhaust = system
    vee = engine.replace(banks=(1, 2, 2, 1))
    network = exhaust.replace(pipe=ws.Pipe(1.0, 0.05)).network(vee)
    linked = network.with_link(
        "link", ws.Pipe(0.4, 0.04), ("pipe bank 1", 0.25), ("pipe bank 2", 0.6)
    )
    assert linked.check() == []
    assert linked.ducts["pipe bank 2"].length == pytest.approx(0.6)
    behind = "pipe bank 1 behind link"
    assert linked.nodes["link start"].at == ("pipe bank 1.end", f"{behind}.start", "link.start")
    vectors = linked.nodes["link end"].unit_vectors
    np.testing.assert_allclose(vectors, [[0, 0, -1], [0, 0, 1], [1, 0, 0]], atol=1e-15)


def test_bypass_leaves_and_comes_in_with_the_flow():
    bypassed = STRAIGHT.with_link(
        "bypass", ws.Pipe(0.5, 0.03), ("pipe", 0.2), ("pipe", 0.7), angle_deg=30.0
    )
    first, last = (bypassed.nodes[f"bypass {which}"].unit_vectors[2] for which in ("start", "end"))
    assert first[2] == pytest.approx(np.cos(np.pi / 6.0)) and last[2] == pytest.approx(-first[2])
    assert bypassed.nodes["bypass end"].ends[0] == ("pipe beside bypass", "end")
    back = STRAIGHT.with_link("bypass", ws.Pipe(0.5, 0.03), ("pipe", 0.7), ("pipe", 0.2))
    assert back.nodes["bypass start"].ends[1] == ("pipe behind bypass", "start")
    assert bypassed.check() == back.check() == []


def test_line_with_a_silencer_is_laid_after_an_open_end():
    box = ws.PerforatedSilencer(0.4, 0.05, case_diameter=0.12)
    longer = STRAIGHT.with_line("tail", (box, ws.Pipe(0.3, 0.05)), after="pipe.end")
    assert list(longer.ducts) == ["pipe", "tail/1 core", "tail/1 annulus", "tail/2"]
    assert "mouth" not in longer.nodes
    assert longer.with_node("mouth", ws.OpenEnd("tail/2.end")).check() == []


def test_duct_that_is_taken_away_takes_its_branch_of_a_junction_along(network):
    three = network.without_duct("primary 2")
    assert three.nodes["merge"].ends == tuple(
        end for end in network.nodes["merge"].ends if end[0] != "primary 2"
    )
    assert len(three.nodes["merge"].directions) == 4
    assert three.check() == [
        "'exhaust port 2.end' is open: no node connects this duct end (add OpenEnd or ClosedEnd "
        "there)"
    ]
    again = three.with_line("stack", ws.Pipe(0.5, 0.038), after="exhaust port 2.end")
    assert again.with_node("stack end", ws.OpenEnd("stack.end")).check() == []


def test_plenum_keeps_the_coefficients_of_its_other_mouths():
    box = ws.Volume(("a.end", "b.start", "c.start"), volume=1e-3,
                    discharge_coefficient=(0.7, 0.8, 0.9))
    assert box.without_duct("b").discharge_coefficient == (0.7, 0.9)
    assert box.without_duct("x") is box
    assert box.replace(discharge_coefficient=0.9).without_duct("a").coefficients == (0.9, 0.9)
    assert ws.Volume("a.end", volume=1e-3).without_duct("a") is None


def test_ends_that_close_give_way_to_what_is_joined():
    two = ws.Network(
        {"a": PIPE, "b": PIPE},
        {f"{name} {side}": ws.OpenEnd(f"{name}.{side}")
         for name in "ab" for side in ("start", "end")},
    )
    joined = two.joined("a.end", "b.start")
    assert list(joined.nodes) == ["a start", "b end", "step a - b"] and joined.check() == []
    assert joined.node_at("b.start") == "step a - b"
    assert joined.without_node("step a - b").node_at("b.start") is None


@pytest.mark.parametrize(
    ("parts", "x"),
    [
        (ws.Pipe(1.0, 0.05, end_diameter=0.03, extra_loss=0.4), 0.25),
        (ws.Pipe(1.0, 0.05, hydraulic_diameter=0.02), 0.6),
        ((ws.Pipe(0.5, 0.05), ws.Bend(0.05, 90, radius_ratio=1.5), ws.Pipe(0.5, 0.05)), 0.5),
        ((ws.Pipe(0.5, 0.05), ws.Bend(0.05, 90, radius_ratio=1.5), ws.Pipe(0.5, 0.05)), 0.8),
    ],
)
def test_pieces_of_a_duct_have_its_length_volume_and_losses(parts, x):
    whole = ws.Duct(parts=parts)
    pieces = whole.cut(x)
    assert pieces[0].length == pytest.approx(x)
    assert sum(piece.length for piece in pieces) == pytest.approx(whole.length)
    assert sum(float(piece.volume()) for piece in pieces) == pytest.approx(float(whole.volume()))
    loss = [sum(tube.loss_constants[0] for tube in duct.parts) for duct in (whole, *pieces)]
    assert sum(loss[1:]) == pytest.approx(loss[0])
    assert pieces[0].end_diameter == pytest.approx(float(whole.diameter_at(x)))


BENT = (ws.Pipe(0.5, 0.05), ws.Bend(0.05, 90, radius_ratio=1.5))


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (lambda n: n.with_node("x", ws.ClosedEnd("collecter.end")), "did you mean 'collector'"),
        (lambda n: n.with_node("x", ws.ClosedEnd("primary 1.end")),
         "'primary 1.end' is connected 2 times, by 'merge', 'x'"),
        (lambda n: n.with_node("collector", ws.ClosedEnd("collector.end")),
         "name 'collector' is given to a duct and to a node"),
        (lambda n: n.with_node("x", PIPE), "node 'x' = Pipe.* must be a Node"),
        (lambda n: n.without_node("merg"), "did you mean 'merge'"),
        (lambda n: n.without_duct("collecter"), "did you mean 'collector'"),
        (lambda n: n.with_duct("merge", PIPE), "name 'merge' is given to a duct and to a node"),
        (lambda n: n.with_part("collecter", length=1.0), "did you mean 'collector'"),
        (lambda n: n.with_part("collector", 1, length=1.0), "part number 1, valid are 0 to 0"),
        (lambda n: n.with_part("collector", lenght=1.0), "did you mean 'length'"),
        (lambda n: n.joined("collector.end", "collector.stop"), "must end in '.start' or '.end'"),
        (lambda n: n.cut("collector", 0.5, "rear"), "'collector'.*position = 0.5 m.*0.15 m"),
        (lambda n: n.cut("collector", 0.05, "merge"), "the name 'merge' is taken"),
        (lambda n: n.with_duct("bent", BENT).cut("bent", 0.55, "rear"),
         "'bent'.*position = 0.55 m lies within a bend, from 0.5 m to"),
        (lambda n: n.with_line("collector", PIPE), "the name 'collector' is taken"),
        (lambda n: n.with_line("tail", PIPE, after="colector.end"), "did you mean 'collector'"),
        (lambda n: n.with_line("tail", PIPE, after="primary 1.end"), "is connected 2 times"),
        (lambda n: n.with_line("tail", ()), "must hold at least one Pipe"),
        (lambda n: n.with_line("tail", ws.SideTube(0.3, 0.03)), "put a Pipe before it"),
        (lambda n: n.with_link("x", PIPE, ("primary 1", 0.2), "primary 2"), "end = 'primary 2' mu"),
        (lambda n: n.with_link("x", PIPE, ("primary 1", 0.2), ("primary 2", 9.0)), "= 9 m"),
        (lambda n: n.with_link("x", PIPE, ("primary 1", 0.2), ("primary 1", 0.2)), "= 0.2 m"),
        (lambda n: n.with_link("x", PIPE, ("primary 1", 0.2), ("primary 2", 0.2), angle_deg=5.0),
         "angle_deg = 5 deg"),
        (lambda n: n.node_at("outlet"), "'outlet' must be a duct end"),
    ],
)
def test_change_that_does_not_fit_is_refused(network, change, message):
    with pytest.raises(ws.InputError, match=message):
        change(network)


def test_perforated_wall_cannot_be_cut():
    box = ws.PerforatedSilencer(0.4, 0.05, case_diameter=0.12)
    silenced = STRAIGHT.with_line("tail", box, after="pipe.end")
    for duct in ("tail core", "tail annulus"):
        with pytest.raises(ws.InputError, match="perforated wall 'perforate tail' is there"):
            silenced.cut(duct, 0.2, "rear")


def test_network_that_does_not_fit_the_engine_is_refused(system, network):
    engine, exhaust = system
    cases = [
        (network.without_node("outlet"), "'collector.end' is open"),
        (STRAIGHT, "valve ports of the cylinders none, must have those of 1 to 4"),
        (exhaust.network(engine.replace(firing_order=(1, 2))), "of the cylinders 1, 2, must"),
        ("short", "exhaust = 'short' must be an Exhaust or a Network"),
    ]
    for wrong, message in cases:
        for run in (ws.run_network, ws.run_point):
            with pytest.raises(ws.InputError, match=message):
                run(engine, wrong, 4500)
