"""Emergency exits of the solver: none in the packaged studies, each counted where it is taken.

An exit is a clamp, a floor or an iteration given up, after which a run goes on with a number that
its model does not give.  Here each is provoked by a state that no engine reaches, or by leaving the
iterations next to no steps.
"""

import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import wavesim as ws
from wavesim.arrays.compile import compile_network
from wavesim.errors import SolverError
from wavesim.kernels import flat as f
from wavesim.march.advance import march_to
from wavesim.march.books import EXITS, exits

P0, T0 = 1e5, 300.0
PIPE = ws.Pipe(0.1, 0.04, cell_length=0.02)
NONE = dict.fromkeys(EXITS, 0)
GIVEN_UP = [name for name in EXITS if name.startswith("unsolved")]


def taken(point):
    return {name: point.audit[name] for name in EXITS}


def test_no_exit_is_taken_in_the_packaged_study_of_two_collectors(sweeps):
    for sweep in sweeps.values():
        for point in sweep.points:
            assert taken(point) == NONE


def test_no_exit_is_taken_in_the_packaged_study_of_complete_systems():
    study = ws.load(ws.demo_path("complete"))
    settings = ws.Settings(cell_length=0.03, sample_deg=2.0, tolerance=1e-2)
    *_, exhaust = study.exhausts.values()
    for rpm in (study.rpm[0], study.rpm[-1]):
        point = ws.run_point(study.engine, exhaust, rpm, settings=settings)
        assert point.converged and taken(point) == NONE


# --- floors and caps ------------------------------------------------------------------------------


def exits_of(ducts, nodes, initial, duration=1e-6, gas=None):
    """What a short march counts."""
    held = {end for node in nodes.values() for end in node.ends}
    walls = {f"{name} {side}": ws.ClosedEnd(f"{name}.{side}") for name in ducts
             for side in ("start", "end") if (name, side) not in held}
    model = compile_network(
        ws.Network(ducts, nodes | walls), gas or ws.PerfectGas(), ws.Settings(), initial=initial)
    try:
        march_to(model, duration, 100)
    except SolverError:
        pass  # it goes on from no physical state; what was counted before stays
    return exits(model)


def test_gas_that_rushes_off_a_wall_leaves_the_floor_of_its_pressure():
    """Beyond 2 c / (gamma - 1) there is a vacuum: 1736 m/s of air at 300 K."""
    for u, counted in ((-400.0, False), (-2500.0, True)):
        found = exits_of({"d": PIPE}, {}, {"d": (P0, -u, T0, "air")})
        assert (found["floored_faces"] > 0) == counted
    assert {name for name, count in found.items() if count} == {"floored_faces"}


def test_volume_that_is_emptied_within_a_step_takes_no_exit():
    """Gas rushes off on both sides, at 900 m/s, from volumes of 1 cm3 to 2 litres."""
    ducts = {"a": PIPE, "b": PIPE}
    off = {"a": (P0, -900.0, T0, "air"), "b": (P0, 900.0, T0, "air")}
    for volume in 10.0 ** np.arange(-6.0, -2.5, 0.25):
        box = {"box": ws.Volume(("a.end", "b.start"), volume=volume, pressure=P0, temperature=T0)}
        assert exits_of(ducts, box, off, duration=1e-4) == NONE


def test_holes_pass_at_most_a_share_of_a_cell():
    """A thin tube, more than half of its wall open, in a vessel at a fiftieth of its pressure."""
    ducts = {"core": ws.Pipe(0.1, 0.01, cell_length=0.02),
             "annulus": ws.Pipe(0.1, 0.1, cell_length=0.02)}
    holes = {"holes": ws.Perforate("core", "annulus", hole_diameter=0.005, porosity=0.6,
                                   wall_thickness=3e-4)}
    for pressure, counted in ((P0, False), (P0 / 50.0, True)):
        start = {"core": (P0, 0.0, T0, "air"), "annulus": (pressure, 0.0, T0, "air")}
        found = exits_of(ducts, holes, start, duration=2e-4)
        assert (found["capped_holes"] > 0) == counted


# --- stores ---------------------------------------------------------------------------------------


@pytest.fixture
def turning():
    """A cylinder of the example, compiled."""
    study = ws.load(ws.demo_path("collector"))
    engine = study.engine.replace(firing_order=(1,))
    exhaust = ws.Exhaust(primary=ws.Pipe(0.3, 0.04), merge=None)
    return compile_network(ws.assemble(engine, exhaust), ws.EngineGas(),
                           ws.Settings(cell_length=0.05), engine=engine, rpm=3000.0)


def turn_on(model):
    """March some steps on."""
    march_to(model, model.state.clock[f.TIME] + 2e-4, 100)


def test_fraction_below_zero_is_counted(turning):
    row = turning.state.store[turning.stores["cylinder 1"]]
    turn_on(turning)
    assert exits(turning) == NONE
    row[f.SF] = -1e-3 * row[f.SM]
    turn_on(turning)
    assert {name for name, count in exits(turning).items() if count} == {"clipped_fractions"}


def test_temperature_that_is_not_found_is_counted(turning):
    """An energy that no temperature has: below that of gas at absolute zero."""
    row = turning.state.store[turning.stores["cylinder 1"]]
    turn_on(turning)
    row[f.SE] = -1e7 * row[f.SM]
    try:
        turn_on(turning)
    except SolverError:
        pass
    assert exits(turning)["unsolved_stores"] > 0


# --- iterations -----------------------------------------------------------------------------------


def hasty():
    """Exits of strong waves at every kind of end, as the kernels stand."""
    ducts = {name: PIPE for name in "abcdefgh"} | {
        "wide": ws.Pipe(0.1, 0.06, cell_length=0.02),
        "cone": ws.Pipe(0.04, 0.04, end_diameter=0.06, cell_length=0.02),
    }
    nodes = {
        "box": ws.Volume(("g.end", "h.start", "cone.start"), volume=1e-6),
        "plate": ws.Orifice(("a.end", "b.start"), diameter=0.02),
        "meet": ws.Junction(("b.end", "c.start", "d.start"), model="pressure"),
        "step": ws.AreaStep(("wide.end", "f.start")),
        "mouth": ws.OpenEnd("c.end"), "far": ws.AnechoicEnd("d.end"),
        "nozzle": ws.OpenEnd("e.end", diameter=0.02), "sink": ws.OpenEnd("f.end", diameter=0.02),
    }
    initial = dict.fromkeys(ducts, (P0, 0.0, T0, "air")) | {
        "a": (4e5, 0.0, 900.0, "burned"), "c": (3e5, 0.0, 600.0, "air"),
        "d": (2e5, 50.0, 500.0, "air"), "e": (1.5e5, 0.0, 400.0, "air"),
        "f": (0.7e5, 0.0, 300.0, "air"), "wide": (2e5, 0.0, 400.0, "air"),
        "g": (2e5, 100.0, 900.0, "burned"), "cone": (P0, 200.0, 300.0, "air"),
    }
    return exits_of(ducts, nodes, initial, duration=5e-5, gas=ws.EngineGas())


def test_strong_waves_at_every_kind_of_end_take_no_exit():
    assert hasty() == NONE


SCRIPT = """
import json, sys
sys.path[:0] = json.loads(sys.argv[1])
from wavesim.kernels import ends, nodes, openings, pairs, tapers
ends.MAX_ITERATIONS = nodes.MAX_ITERATIONS = pairs.MAX_ITERATIONS = tapers.MAX_ITERATIONS = 1
openings.MAX_TRIALS = 1
import test_exits
print(json.dumps(test_exits.hasty()))
"""


def test_iteration_that_is_cut_short_is_counted_by_the_place_where_it_stands():
    """In plain Python, whose iterations can be left one step each."""
    here = Path(__file__).parent
    done = subprocess.run(
        [sys.executable, "-c", SCRIPT, json.dumps([str(here), str(here.parent)])],
        env={**os.environ, "NUMBA_DISABLE_JIT": "1"}, capture_output=True, text=True, timeout=300,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    found = json.loads(done.stdout.splitlines()[-1])
    for name in GIVEN_UP:
        assert found[name] > 0, name
    assert set(GIVEN_UP) == {"unsolved_ends", "unsolved_pairs", "unsolved_junctions",
                             "unsolved_stores", "unsolved_tapers"}


# --- outside the march ----------------------------------------------------------------------------


def test_wall_without_a_balance_says_so():
    from wavesim.descriptions.walls import wall_balance

    with pytest.raises(ws.ConvergenceError, match="Wall: no temperature"):
        wall_balance(100.0, np.nan, ws.Wall(0.0015), 0.05)
