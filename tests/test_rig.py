"""What the speeds of one design share: every model is as if it had been made alone."""

import numpy as np
import pytest
from examples_of_all_kinds import NODES, OTHERS, PARTS
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from random_systems import engines

import wavesim as ws
from wavesim.errors import WavesimError
from wavesim.kernels import flat as f
from wavesim.march import rig as room
from wavesim.march.prolong import Lines
from wavesim.march.pull import Moment
from wavesim.march.rig import Rig, rig_of
from wavesim.march.walltemp import TURNS, update_many, update_walls
from wavesim.results.points import pack_points

COARSE = ws.Settings(cell_length=0.05, tolerance=0.02)
SPEEDS = (4000.0, 1500.0, 7000.0)
#: Fields of `Net` that a speed decides or a run writes to: `use_gas`, walls, burn.
OWN = ("gas_R", "gas_coef", "cells", "cyl_par", "slice_end", "options")
#: A burn that is another at every speed.
BURN = ws.Wiebe(ca50_deg=ws.Table((1000, 8000), (6, 14)),
                burn_10_90_deg=ws.Table((1000, 8000), (20, 40)))


@pytest.fixture(scope="module")
def system():
    study = ws.load(ws.demo_path("complete"))
    return study.engine.replace(combustion=BURN), list(study.exhausts.values())[1]


def bits(model, walls):
    """Every number of a model and of its walls, as bytes by name."""
    tables = {
        f"{part}.{name}": np.asarray(values)
        for part in ("net", "state", "work", "record")
        for name, values in getattr(model, part)._asdict().items()
    }
    tables |= {"inner": model.inner, "face": model.face}
    for i, wall in enumerate(walls):
        for name in ("cells", "bore", "surface", "position", "coefficient", "felt"):
            tables[f"wall {i} {name}"] = getattr(wall, name)
        tables |= {f"wall {i} {name}": v for name, v in wall.state._asdict().items()}
    for i, packing in enumerate(model.packings):
        for name in ("loss", "beyond", "capacity", "changed", "gain", "turns"):
            tables[f"packing {i} {name}"] = np.array(getattr(packing, name), float)  # None: nan
    plain = {"ducts": model.ducts, "ends": model.ends, "stores": model.stores, "dx": model.dx,
             "alike": model.alike, "gas": model.gas}
    return plain | {
        name: (values.dtype.str, values.shape, values.tobytes()) for name, values in tables.items()
    }


def different(one, other):
    """Names of what two models do not have in common."""
    a, b = bits(*one), bits(*other)
    return [name for name in a.keys() | b.keys() if a.get(name) != b.get(name)]


def spoil(model, walls):
    """Do to a model what a run does, and worse: other numbers in all that it owns."""
    for name in OWN:
        getattr(model.net, name)[...] = 7.0
    for tables in (model.state, model.work, model.record, (model.inner, model.face)):
        for values in tables:
            values[...] = 7.0
    for wall in walls:
        wall.group.coefficient = wall.group.felt = wall.group.state = None
    for packing in model.packings:
        packing.changed = packing.gain = None
        packing.turns = 7
    for names in (model.ducts, model.ends, model.stores, model.dx):
        names.clear()
    model.gas = None


def test_model_of_a_rig_is_the_same_whatever_was_run_before(system):
    """Each speed in turn, after all others of the rig were spoilt, against a rig of its own."""
    rig = Rig(*system, COARSE)
    for mesh in ("at", "coarse_at"):
        for rpm in SPEEDS + SPEEDS:
            alone = getattr(Rig(*system, COARSE), mesh)(rpm)
            shared = getattr(rig, mesh)(rpm)
            assert different(shared, alone) == []
            spoil(*shared)


def test_comparison_of_models_sees_a_table_that_one_speed_spoils_for_another(system):
    rig = Rig(*system, COARSE)
    model, _ = rig.at(4000.0)
    model.net.end_par[0, f.AREA] *= 2.0  # what nobody may do
    assert different(rig.at(4000.0), Rig(*system, COARSE).at(4000.0)) == ["net.end_par"]


def test_march_leaves_alone_what_its_speeds_share(system):
    rig = Rig(*system, COARSE)
    model, _ = rig.at(4000.0)
    shared = [name for name in model.net._fields if name not in OWN]
    before = {name: np.array(getattr(model.net, name)).tobytes() for name in shared}
    ws.run_point(*system, 4000.0, settings=COARSE)
    seen = rig_of(*system, COARSE).at(4000.0)[0]
    assert [n for n in shared if np.array(getattr(seen.net, n)).tobytes() != before[n]] == []


def test_burn_and_slices_are_those_of_the_speed(system):
    """Worked out from the description, not by the compiler."""
    rig = Rig(*system, COARSE)
    for rpm in SPEEDS:
        model, _ = rig.at(rpm)
        start, duration = system[0].combustion.start_and_duration(rpm)
        assert set(model.net.cyl_par[:, f.SOC]) == {round(start, 6)}
        assert set(model.net.cyl_par[:, f.DURATION]) == {duration}
        assert model.net.options[f.OMEGA_DEG] == 6.0 * rpm
        ends = model.net.slice_end * 6.0 * rpm
        burns = (np.array(system[0].firing_angles_deg) + start) % 720.0
        assert ends[-1] == pytest.approx(720.0, abs=1e-9)
        for angle in burns:
            assert np.min(np.abs(ends - angle)) < 2e-6
        assert model.state.plan.shape == (ends.size, f.N_PLAN)


def test_point_is_the_same_to_the_bit_whatever_speeds_came_before(system):
    """With the rig kept from other speeds and with none kept."""
    room._kept.cache_clear()
    alone = ws.run_point(*system, 4000.0, settings=COARSE)
    for rpm in (1500.0, 7000.0):
        ws.run_point(*system, rpm, settings=COARSE)
    again = ws.run_point(*system, 4000.0, settings=COARSE)
    for point in (alone, again):
        point.audit["wall_time"] = 0.0
    (tables, heads), (others, other_heads) = (
        pack_points([point], exact=True) for point in (alone, again)
    )
    assert heads == other_heads
    assert {name: values.tobytes() for name, values in tables.items()} == {
        name: values.tobytes() for name, values in others.items()
    }


@pytest.mark.parametrize("change", [
    lambda e, x, s: (e.replace(bore=e.bore * (1.0 + 1e-15)), x, s),
    lambda e, x, s: (e, x.replace(radiation="none"), s),
    lambda e, x, s: (e, x, s.replace(cfl=0.8)),
    lambda e, x, s: (e, x, s, ws.EngineGas(lam=1.1)),
    lambda e, x, s: (e, x, s, None, ws.Ambient(temperature=280.0)),
], ids=["engine", "exhaust", "settings", "gas", "weather"])
def test_rig_is_kept_for_the_same_and_for_nothing_else(system, change):
    rig = rig_of(*system, COARSE)
    assert rig_of(*system, COARSE.replace()) is rig
    assert rig_of(*change(*system, COARSE)) is not rig


def test_ducts_in_another_order_have_a_rig_of_their_own(system):
    """Two networks that differ in nothing but order are laid on the cell axis differently."""
    net = system[1].network(system[0])
    turned = ws.Network(list(net.ducts.items())[::-1], list(net.nodes.items()))
    a, b = (rig_of(system[0], one, COARSE) for one in (net, turned))
    assert list(a.at(4000.0)[0].ducts) == list(b.at(4000.0)[0].ducts)[::-1]


def test_every_description_can_be_looked_up():
    """Else its points would share nothing."""
    for examples in (*PARTS.values(), *NODES.values(), *OTHERS.values()):
        for example in examples:
            assert isinstance(hash(example), int)


def test_lines_between_two_meshes_are_those_of_every_duct_to_the_bit(system):
    """Beside `numpy.interp`, with gas that jumps from cell to cell."""
    rig = Rig(*system, COARSE)
    (coarse, _), (fine, _) = rig.coarse_at(3000.0), rig.at(3000.0)
    values = np.random.default_rng(3).standard_normal((2, coarse.state.T.size))
    lines = Lines(coarse, fine)
    found = np.full((2, fine.state.T.size), np.nan)
    found[:, lines.cells] = lines(values)
    for duct, (lo, hi) in fine.ducts.items():
        own = slice(*coarse.ducts[duct])
        for row, known in zip(found, values, strict=True):
            wanted = np.interp(fine.centres(duct), coarse.centres(duct), known[own])
            assert row[lo:hi].tobytes() == wanted.tobytes()


def test_walls_of_many_points_at_once_are_those_of_each_alone(system):
    """With heat and gas through the holes drawn at random, for three speeds and a point of a pull,
    in so many cycles that fibres turn back, some more often than others.
    """
    rig, draw = Rig(*system, COARSE), np.random.default_rng(5)
    moment = Moment(ws.Pull(rate=300.0, walls=420.0), 0.0, 0.0, 420.0)
    together, alone = (
        [(*rig.at(rpm, start), 120.0 / rpm)
         for rpm, start in [(rpm, None) for rpm in SPEEDS] + [(2000.0, moment)]]
        for _ in range(2)
    )
    for _ in range(8):
        for one, other in zip(together, alone, strict=True):
            mine, its = one[0].record, other[0].record
            heat = draw.uniform(0.0, [[2.0], [0.02]], mine.wall.shape) * [[-1.0], [1.0]]
            for packing in one[0].packings:
                heat[f.GAIN, packing.cells] *= draw.choice([-40.0, 40.0])
            mine.wall[:] = its.wall[:] = heat
            mine.ways[:] = its.ways[:] = draw.uniform(0.0, 1e-4, mine.ways.shape)
        means = update_many(together)
        assert means == [update_walls(*point) for point in alone]
        for one, other in zip(together, alone, strict=True):
            assert different(one[:2], other[:2]) == []
    turns = [packing.turns for model, *_ in together for packing in model.packings]
    assert len(set(turns)) > 1 and max(turns) >= TURNS


@settings(max_examples=25, deadline=None, derandomize=True, database=None,
          suppress_health_check=list(HealthCheck))
@given(st.data())
def test_random_engines_at_one_speed_know_nothing_of_another(data):
    coarse = ws.Settings(cell_length=0.1, unequal_pressures=True)
    try:
        engine, exhaust, rpm = data.draw(engines())
        engine = engine.replace(combustion=BURN)
        alone = Rig(engine, exhaust, coarse).at(rpm)
    except WavesimError:  # drawn beyond the limits
        return
    rig = Rig(engine, exhaust, coarse)
    spoil(*rig.at(1.3 * rpm if rpm < 20_000.0 else 0.7 * rpm))
    assert different(rig.at(rpm), alone) == []
