"""Stores that pass many times what they hold in a step (`validation/case_small_stores.py`)."""

import case_small_stores as small
import numpy as np
import pytest
from case_conservation import books, mach_after_rest, run_model
from marches import P0, T0

import wavesim as ws
from wavesim.arrays.compile import compile_network
from wavesim.kernels import flat as f

SIZES = [("junction", volume) for volume in small.JUNCTIONS] + [
    ("volume", volume) for volume in small.VOLUMES
]


@pytest.mark.parametrize(("kind", "volume"), SIZES)
def test_pressure_of_two_to_one_is_let_go_at_a_store_of_any_size(kind, volume):
    """Default Courant number; 300 to 900 K, three gases.  What is there stays between what was."""
    result = small.tee(volume, kind)
    for what in ("mass_error", "energy_error"):
        assert abs(result.audit[what]) < 1e-13
    states = result.samples.stores[:, 0]
    assert P0 * 0.9 < states[:, 0].min() and states[:, 0].max() < 2.1 * P0
    assert 270.0 < states[:, 1].min() and states[:, 1].max() < 950.0
    fractions = [states[:, 3], states[:, 4], 1.0 - states[:, 3] - states[:, 4]]
    for duct in result.final.values():
        fractions += [duct["fresh"], duct["burned"], 1.0 - duct["fresh"] - duct["burned"]]
    for share in fractions:
        assert share.min() > -1e-12 and share.max() < 1.0 + 1e-12


def test_volume_without_gas_passes_what_comes():
    """Balances of mass and energy, solved with scipy."""
    theory, found = small.without_gas(), small.between_pipes(1e-6)
    assert small.plateau(found, "a") == pytest.approx(theory.before, rel=2e-4)
    assert small.plateau(found, "b") == pytest.approx(theory.behind, rel=2e-4)


@pytest.mark.parametrize("kind", small.LEAST)
def test_pressure_in_a_store_tends_to_a_limit_with_its_volume(kind):
    assert small.order(kind) == pytest.approx(1.0, abs=0.2)


def test_torque_tends_to_a_limit_with_the_volume_of_the_merge():
    assert small.torque(3500.0, 1e-7) == pytest.approx(small.torque(3500.0, 1e-8), rel=5e-4)


def test_gas_at_rest_stays_at_rest_around_the_smallest_junction():
    start = {name: (P0, 0.0, T0 + 200.0 * i, "burned") for i, name in enumerate("abc")}
    assert mach_after_rest(small.rest_network(), start, small.GAS, steps=3000) < 1e-12


@pytest.mark.parametrize("seed", range(8))
def test_any_stores_survive_any_start(seed):
    """Pipes of 10 to 80 mm, 0.5 to 5 bar, 280 to 1600 K, stores from 1e-8 m3: books and fractions.

    A junction whose velocity swings with what it passes once ended a third of these.
    """
    rng = np.random.default_rng(seed)
    names = "abcd"
    ends = tuple(f"{name}.end" for name in names)
    ways = [tuple(map(float, way)) for way in rng.normal(size=(4, 3))]
    nodes = {f"wall {name}": ws.ClosedEnd(f"{name}.start") for name in names}
    nodes["meet"] = (
        ws.Junction(ends, directions=ways, volume=10.0 ** rng.uniform(-8.0, -4.0)) if seed % 2
        else ws.Volume(ends, volume=10.0 ** rng.uniform(-6.0, -4.0), temperature=300.0)
    )
    bores = 10.0 ** rng.uniform(-2.0, -1.1, 4)
    net = ws.Network(
        {name: ws.Pipe(0.2, float(bore)) for name, bore in zip(names, bores, strict=True)}, nodes
    )
    start = {
        name: (10.0 ** rng.uniform(4.7, 5.7), rng.uniform(-100.0, 100.0),
               rng.uniform(280.0, 1600.0), fill)
        for name, fill in zip(names, ("air", "fresh", "burned", (0.3, 0.4)), strict=True)
    }
    model = compile_network(net, ws.EngineGas(), ws.Settings(wall_heat=False), initial=start)
    before = books(model)
    status, _ = run_model(model, 0.01, 100_000)
    assert status == f.OK
    assert books(model) == pytest.approx(before, rel=1e-12)
    store = model.state.store[model.stores["meet"]]
    shares = [store[[f.SF, f.SB]] / store[f.SM]]
    shares += [model.state.U[[f.Y1, f.Y2], lo:hi] / model.state.U[f.R, lo:hi]
               for lo, hi in model.ducts.values()]
    for share in shares:
        assert share.min() > -1e-12 and share.sum(axis=0).max() < 1.0 + 1e-12


def test_merge_holds_a_ball_of_gas_as_wide_as_its_widest_pipe():
    study = ws.load(ws.demo_path("collector"))
    merge = ws.assemble(study.engine, study.exhausts[study.base]).nodes["merge"]
    assert merge.volume == pytest.approx(np.pi / 6.0 * 0.058**3)
