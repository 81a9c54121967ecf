"""The default mesh is fine enough, and the order in which things are listed does not matter."""

import numpy as np
import pytest
from case_mesh import EXHAUSTS, LONG, USUAL, torque

import wavesim as ws
from wavesim.arrays.compile import draw
from wavesim.descriptions.network import Network

SPEEDS = (2500.0, 4000.0, 5500.0, 7000.0)


@pytest.mark.slow
@pytest.mark.parametrize("name", EXHAUSTS)
def test_torque_at_the_default_mesh_is_that_of_a_mesh_four_times_finer(name):
    usual, fine = (
        np.array([torque(name, rpm, dx) for rpm in SPEEDS]) for dx in (USUAL, 0.25 * USUAL)
    )
    for rpm, a, b in zip(SPEEDS, usual, fine, strict=True):
        print(f"{name}, {rpm:g} rev/min: {a:.2f} and {b:.2f} N m, {100 * (a / b - 1):+.3f} %")
    assert np.max(np.abs(usual / fine - 1.0)) < 3e-3


def test_torque_hardly_changes_when_the_cells_are_halved():
    usual, fine = (torque(LONG, 4500.0, dx) for dx in (USUAL, 0.5 * USUAL))
    assert abs(usual / fine - 1.0) < 2.5e-3


def test_order_of_speeds_and_of_ducts_does_not_change_the_result():
    study = ws.load(ws.demo_path("collector"))
    exhaust = study.exhausts["short collector"]
    settings = ws.Settings(cell_length=0.03, tolerance=1e-4)
    speeds = [3000.0, 4000.0, 5000.0]
    up = ws.speed_sweep(study.engine, exhaust, speeds, settings=settings, progress=False)
    down = ws.speed_sweep(
        study.engine, exhaust, speeds[::-1], settings=settings, progress=False, threads=1
    )
    np.testing.assert_allclose(up["torque"], down["torque"], rtol=1e-4)


def test_ducts_listed_backwards_give_the_same_cycle(monkeypatch):
    from wavesim.march import rig

    study = ws.load(ws.demo_path("collector"))
    exhaust = study.exhausts["short collector"]
    settings = ws.Settings(cell_length=0.03, tolerance=1e-3)
    forward = ws.run_point(study.engine, exhaust, 4000.0, settings=settings)

    def backwards(network, *args, **kwargs):
        turned = Network(
            list(network.ducts.items())[::-1], list(network.nodes.items())[::-1]
        )
        return draw(turned, *args, **kwargs)

    monkeypatch.setattr(rig, "draw", backwards)
    monkeypatch.setattr(rig, "_kept", rig.Rig)  # none is kept from the run before
    turned = ws.run_point(study.engine, exhaust, 4000.0, settings=settings)
    assert turned.torque == pytest.approx(forward.torque, rel=1e-6)


def burst(network, settings):
    start = {"a": lambda x: (np.where(x < 0.2, 1.6e5, 101325.0), 0 * x, 298.15 + 0 * x, "air")}
    model_end = ws.simulate(network, 4e-3, settings=settings, initial=start).final
    return np.concatenate([model_end[name]["p"] for name in network.ducts if name in "abc"])


def test_a_seam_between_equal_bores_is_as_one_duct():
    """Three ducts end to end, listed in any order, give what one duct of their length gives."""
    settings = ws.Settings(cell_length=0.01)
    walls = {"w": ws.ClosedEnd("a.start"), "o": ws.ClosedEnd("c.end")}
    steps = {"s": ws.AreaStep(("b.start", "a.end")), "t": ws.AreaStep(("b.end", "c.start"))}
    pipe = ws.Pipe(0.4, 0.04)
    three = burst(ws.Network({"a": pipe, "b": pipe, "c": pipe}, walls | steps), settings)
    turned = ws.Network({"c": pipe, "b": pipe, "a": pipe}, steps | walls)
    backwards = burst(turned, settings).reshape(3, -1)[::-1].ravel()
    one = burst(
        ws.Network({"a": ws.Pipe(1.2, 0.04)},
                   {"w": ws.ClosedEnd("a.start"), "o": ws.ClosedEnd("a.end")}),
        settings,
    )
    np.testing.assert_allclose(three, one, rtol=1e-12)
    np.testing.assert_allclose(backwards, one, rtol=1e-12)


def test_a_ring_of_equal_bores_is_cut_once_and_keeps_its_gas():
    pipe = ws.Pipe(0.3, 0.04)
    ring = ws.Network(
        {"a": pipe, "b": pipe},
        {"s": ws.AreaStep(("a.end", "b.start")), "t": ws.AreaStep(("b.end", "a.start"))},
    )
    start = {"a": lambda x: (1e5 + 2e4 * (x < 0.1), 0 * x, 298.15 + 0 * x, "air")}
    result = ws.simulate(ring, 5e-3, settings=ws.Settings(cell_length=0.01), initial=start)
    assert abs(result.audit["mass_error"]) < 1e-12
    assert abs(result.audit["energy_error"]) < 1e-12


def test_a_coarse_start_leads_to_the_same_cycle():
    study = ws.load(ws.demo_path("collector"))
    exhaust = study.exhausts["short collector"]
    settings = ws.Settings(cell_length=0.015, tolerance=1e-4)
    at_once = ws.run_point(
        study.engine, exhaust, 5000.0, settings=settings.replace(coarse_start=1.0)
    )
    from_coarse = ws.run_point(study.engine, exhaust, 5000.0, settings=settings)
    assert from_coarse.audit["coarse_cycles"] > 0
    assert from_coarse.audit["cycles"] < at_once.audit["cycles"]
    assert from_coarse.torque == pytest.approx(at_once.torque, rel=1e-4)
