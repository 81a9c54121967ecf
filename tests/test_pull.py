"""Walls of a pull: metal that warms in the course of time, and speeds in order of time.

The wall alone is held against an exact exponential and against an integrator of scipy that solves
the loss to the air in its own way; the pull of an engine against the same integrator, and against
the walls of minutes at one speed.
"""

import threading
from dataclasses import replace
from functools import partial
from types import SimpleNamespace
from unittest.mock import patch

import numpy as np
import pytest
from case_pull import (
    BORE,
    CHANGE,
    COARSE,
    PULL,
    RATE,
    RPM,
    STEP,
    between,
    exponential,
    heat_capacity,
    integrated,
    integrated_pull,
    linear_warming,
    metal,
    swept,
)
from case_wall_temperature import BARE, WALLS, header
from case_wall_temperature import study as complete
from test_store import same

import wavesim as ws
from wavesim.descriptions.warming import metal_of
from wavesim.kernels import flat as f
from wavesim.many.store import point_key
from wavesim.march import advance
from wavesim.march.walltemp import FibresSince, SolvedPacking, update_walls

each_wall = pytest.mark.parametrize("wall", WALLS.values(), ids=WALLS)


def engine():
    return complete().engine


def exhaust():
    return header(complete(), BARE)


def sweep(pull, rpm=RPM, settings=COARSE, **options):
    return ws.speed_sweep(
        engine(), exhaust(), rpm, settings=settings, pull=pull, progress=False, **options
    )


@pytest.fixture
def pulled():
    return swept(RATE)


@pytest.fixture
def steady():
    return swept(0.0)


# --- one metre of wall ---------------------------------------------------------------------------


@each_wall
@pytest.mark.parametrize("substep", [0.2, 30.0])
def test_metal_follows_a_step_of_the_gas_temperature_by_the_exact_exponential(wall, substep):
    """Where the loss to the air is linear, whatever the length of the steps."""
    metal, taken, given = exponential(wall, *STEP)
    found = linear_warming(wall, *STEP, substep=substep)
    assert metal - STEP[2] > 200.0
    assert found.metal == pytest.approx(metal, abs=1e-7)  # the slope of the loss is a difference
    assert found.from_gas == pytest.approx(taken, rel=1e-9)
    assert found.to_air == pytest.approx(given, rel=1e-8)
    assert found.stored == pytest.approx(heat_capacity(wall, BORE) * (metal - STEP[2]), rel=1e-9)


@each_wall
def test_metal_comes_to_rest_where_heat_in_and_out_are_equal(wall):
    h, T_gas = np.array([20.0, 150.0, 600.0]), np.array([500.0, 900.0, 1300.0])
    balance = ws.wall_balance(h, T_gas, wall, BORE)
    for start in (250.0, 1500.0):
        late = ws.wall_warming(start, h, T_gas, wall, BORE, 1e7)
        for name in ("inner", "outer"):
            assert getattr(late, name) == pytest.approx(getattr(balance, name), abs=1e-6)
        assert late.heat == pytest.approx(balance.heat, rel=1e-8)
        assert late.metal == pytest.approx(metal_of(balance, wall, BORE), abs=1e-6)


@each_wall
def test_wall_keeps_what_it_takes_from_the_gas_and_does_not_give_to_the_air(wall):
    """To round-off by itself; each to 1e-6 of the heat received against scipy."""
    first, last, start, duration = CHANGE
    result = ws.wall_warming(start, *first, wall, BORE, duration, then=last)
    balance = result.from_gas - result.stored - result.to_air
    assert abs(balance) < 1e-13 * result.from_gas
    gas_side = partial(between, first, last, duration)
    (T,), (taken,), (given,) = integrated(wall, BORE, start, gas_side, duration)
    assert result.metal == pytest.approx(T, abs=1e-4)
    assert result.from_gas == pytest.approx(taken, rel=1e-6)
    assert abs(result.to_air - given) < 1e-6 * taken
    assert abs(result.stored - heat_capacity(wall, BORE) * (T - start)) < 1e-6 * taken


def test_error_of_a_warming_wall_is_of_third_order_in_its_steps():
    def at_end(substep):
        return float(ws.wall_warming(500.0, 300.0, 1000.0, BARE, BORE, 16.0,
                                     then=(500.0, 1300.0), substep=substep).metal)

    errors = [at_end(substep) - at_end(0.1) for substep in (2.0, 1.0, 0.5)]
    assert 7.0 < errors[0] / errors[1] < 9.0 and 7.0 < errors[1] / errors[2] < 9.0


def test_wall_cools_toward_the_air_when_no_gas_passes():
    late = [ws.wall_warming(T, 0.0, 900.0, BARE, BORE, 3e4) for T in (700.0, 250.0)]
    assert [float(one.metal) for one in late] == pytest.approx([298.15, 298.15], abs=0.5)
    assert late[0].from_gas == 0.0 and late[0].to_air == pytest.approx(-late[0].stored)


# --- an engine -----------------------------------------------------------------------------------


def test_heat_of_walls_and_gas_is_balanced_over_a_pull(pulled):
    """All cells of all walls, against scipy with the gas side of each speed; all to 1e-6."""
    total, (found, expected) = integrated_pull()
    books = pulled[6000].meta["pull"]
    mine = np.array([books[key] for key in ("heat_from_gas", "heat_stored", "heat_to_air")])
    assert pulled[3000].meta["pull"]["heat_from_gas"] == 0.0 and mine[0] > 1e5
    assert abs(mine[0] - mine[1] - mine[2]) < 1e-12 * mine[0]
    assert np.abs(mine - total).max() < 1e-6 * mine[0]
    assert found == pytest.approx(expected, abs=1e-4)


def test_walls_of_a_pull_receive_the_heat_that_the_cycle_gives():
    """At the second speed, once the cycle repeats to 1e-6."""
    fine = COARSE.replace(tolerance=1e-6, max_cycles=200)
    handed = []

    def spy(model, walls, cycle_time):
        gain = [model.record.wall[f.GAIN, solved.cells].copy() for solved in walls]
        result = update_walls(model, walls, cycle_time)
        handed.append((gain, [solved.state.heat * solved.length for solved in walls], cycle_time))
        return result

    before = ws.run_point(engine(), exhaust(), 3000.0, settings=COARSE, pull=PULL)
    with patch.object(advance, "update_walls", spy):
        after = ws.run_point(
            engine(), exhaust(), 4500.0, settings=fine, pull=PULL, start=before
        )
    assert after.converged
    gain, heat, cycle_time = handed[-1]
    given = -sum(part.sum() for part in gain) / cycle_time
    assert sum(part.sum() for part in heat) == pytest.approx(given, rel=1e-6)


def test_pull_of_infinite_duration_ends_within_a_kelvin_of_solved_walls(steady):
    slow = swept(1e-3, RPM[:2])
    assert np.abs(metal(slow[4500]) - metal(steady[4500])).max() < 1.0
    assert slow[4500].torque == pytest.approx(steady[4500].torque, rel=2e-3)


def test_walls_of_a_short_pull_lie_between_their_start_and_those_of_minutes(pulled, steady):
    assert np.all(metal(pulled[3000]) == 450.0)
    for slow, fast in zip(RPM, RPM[1:], strict=False):
        assert metal(pulled[slow]).mean() + 20.0 < metal(pulled[fast]).mean()
        assert np.all(metal(pulled[fast]) < metal(steady[fast]))
    assert pulled[6000].meta["pull"]["time"] == 10.0
    assert pulled.converged


def test_pull_is_the_same_to_the_bit_on_any_number_of_workers(pulled):
    systems = [("A", engine(), exhaust()), ("B", engine(), exhaust())]
    both = ws.speed_sweeps(
        systems, RPM, settings=COARSE, pull={"A": PULL, "B": PULL}, threads=3, progress=False
    )
    for other in both:
        for a, b in zip(pulled, other, strict=True):
            assert same(*(replace(p, audit=p.audit | {"wall_time": 0.0}) for p in (a, b)))


# --- where a pull begins -------------------------------------------------------------------------


def first(pull, ambient=None):
    return ws.run_point(engine(), exhaust(), 3000.0, settings=COARSE, pull=pull, ambient=ambient)


def test_cold_walls_are_as_cold_as_the_air_outside():
    point = first(ws.Pull(300.0, walls="cold"), ambient=ws.Ambient(temperature=280.0))
    assert np.all(metal(point) == 280.0)


def test_warmed_walls_are_those_of_minutes_at_that_speed_and_throttle():
    point = first(ws.Pull(300.0, walls=ws.Warmed(rpm=4000.0, plate_angle_deg=35.0)))
    part_load = engine().replace(intake=engine().intake.replace(plate_angle_deg=35.0))
    warm = ws.run_point(part_load, exhaust(), 4000.0, settings=COARSE)
    full = ws.run_point(engine(), exhaust(), 4000.0, settings=COARSE)
    assert np.abs(metal(point) - metal(warm)).max() < 1e-9
    assert metal(warm).mean() < metal(full).mean() - 5.0
    assert point.engine == engine()  # the throttle is open again


def test_pull_begins_with_the_walls_that_the_one_before_left_after_a_pause(pulled, tmp_path):
    pulled.save(tmp_path / "pull.npz")
    left = ws.Sweep.load(tmp_path / "pull.npz")
    point = first(ws.Pull(300.0, walls=left, pause=90.0))
    T = metal(pulled[6000])
    bore = np.concatenate([
        pulled[6000].network.ducts[s.duct].diameter_at(np.array(s.positions))
        for s in pulled[6000].walls_left.sections
    ])
    rested = ws.wall_warming(T, 0.0, 0.0, BARE, bore, 90.0).metal
    assert np.abs(metal(point) - rested).max() < 1e-9
    assert np.all(metal(point) < T)
    hot = first(ws.Pull(300.0, walls=left[6000]))
    assert np.all(metal(hot) == T)


# --- fibres of a packing --------------------------------------------------------------------------


class _Gas:
    def cp(self, *_):
        return 1000.0


def warmed_fibres(duration, *, start, gas, carried, loss, beyond, capacity):
    """Fibres of two cells [K] some time after they were at `start`, by Newton's method.

    Gas of the temperature `gas` [K] comes through the holes and carries `carried` [W/K].
    """
    cycle_time, two = 0.04, np.ones(2)
    packing = SolvedPacking("annulus", np.array([0.1, 0.2]), 0.1, slice(0, 2), slice(2, 4),
                            slice(0, 2), loss * two, beyond * two, capacity * two)
    cells = np.zeros((max(f.WALL, f.VOL) + 1, 4))
    ways = np.zeros((6, 2))
    ways[:2] = carried * cycle_time / 1000.0
    ways[2] = 1e3 * ways[0]  # so much flows along the core that its temperature stays
    record = SimpleNamespace(wall=np.zeros((2, 4)), ways=ways)
    model = SimpleNamespace(net=SimpleNamespace(cells=cells), record=record, gas=_Gas(),
                            state=SimpleNamespace(U=np.zeros((8, 4))))
    gain = carried * (gas - start) - loss * (start - beyond)
    packing.look_back(model, FibresSince(start * two, gain * two, duration, 0.0))
    for _ in range(40):
        record.wall[f.GAIN, :2] = -carried * (gas - cells[f.WALL, :2]) * cycle_time
        packing.update(model, cycle_time)
    return cells[f.WALL, :2].copy()


@pytest.mark.parametrize("duration", [0.01, 2.0, 60.0, 1e6])
def test_fibres_follow_a_step_of_the_gas_temperature_by_the_exact_exponential(duration):
    """C dT/dt = w (Tg - T) - l (T - To), by hand, whatever the length of the step."""
    given = {"start": 450.0, "gas": 900.0, "carried": 3.0, "loss": 0.4, "beyond": 300.0,
             "capacity": 50.0}
    rest = (3.0 * 900.0 + 0.4 * 300.0) / 3.4
    exact = rest + (450.0 - rest) * np.exp(-3.4 * duration / 50.0)
    assert warmed_fibres(duration, **given) == pytest.approx(exact, abs=0.02)


def packed_system():
    """Engine and exhaust with a packed silencer behind primaries that warm."""
    study = complete()
    primary = {"wall": BARE, "wall_temperature": None}
    return study.engine, study.exhausts["complete, 51 mm"].with_primary(**primary)


def fibres(point):
    """Fibres of the silencer [K]."""
    (section,) = [s for s in point.walls_left.sections if "annulus" in s.duct]
    return np.array(section.temperatures)


def test_fibres_begin_with_the_pull_and_warm_towards_those_of_minutes():
    rpm, settings = (3000.0, 3500.0, 4500.0), COARSE.replace(max_cycles=30)
    runs = {
        rate: ws.speed_sweep(*packed_system(), rpm, settings=settings, progress=False,
                             pull=ws.Pull(rate, walls=450.0) if rate else None)
        for rate in (400.0, 1e-4, None)
    }
    for rate in (400.0, 1e-4):
        assert fibres(runs[rate][3000]) == pytest.approx(450.0, abs=1e-9)
    pulled, slow, minutes = (fibres(run[4500]) for run in runs.values())
    assert np.all(pulled > 450.0) and np.all(slow > pulled + 20.0)
    assert slow == pytest.approx(minutes, abs=3.0)


def test_fibres_cool_in_the_pause_before_a_pull():
    engine, exhaust = packed_system()
    settings = COARSE.replace(max_cycles=8)
    hot, rested = (
        ws.run_point(engine, exhaust, 3000.0, settings=settings,
                     pull=ws.Pull(400.0, walls=600.0, pause=pause)) for pause in (0.0, 120.0)
    )
    assert fibres(hot) == pytest.approx(600.0, abs=1e-9)
    assert np.all(fibres(rested) < 595.0) and np.all(fibres(rested) > 300.0)


# --- kept, killed, shared ------------------------------------------------------------------------


def test_killed_pull_goes_on_with_the_walls_it_had(pulled, tmp_path):
    """The gas starts cold after a point from the store, which moves results within the tolerance.
    """
    sweep(PULL, RPM[:2], store=ws.Store(tmp_path))
    store = ws.Store(tmp_path)
    whole = sweep(PULL, store=store)
    assert (store.found, store.written) == (2, 1)
    assert whole[6000].meta["pull"]["time"] == 10.0
    assert metal(whole[6000]) == pytest.approx(metal(pulled[6000]), abs=0.5)
    assert whole[6000].torque == pytest.approx(pulled[6000].torque, rel=2e-3)
    again = sweep(PULL, store=ws.Store(tmp_path))
    assert all(same(a, b) for a, b in zip(whole, again, strict=True))


def test_point_of_a_pull_is_kept_under_the_pull_and_the_speeds_before_it():
    given = (engine(), exhaust(), 4500.0, COARSE)
    keys = [
        point_key(*given), point_key(*given, pull=PULL),
        point_key(*given, pull=PULL, before=[(3000.0, None)]),
        point_key(*given, pull=PULL, before=[(3500.0, None)]),
        point_key(*given, pull=PULL, before=[(3000.0, 1e-3)]),
        point_key(*given, pull=PULL.replace(walls="cold")),
        point_key(*given, pull=PULL.replace(pause=1.0)),
    ]
    assert len(set(keys)) == len(keys)


def test_pull_waits_for_a_speed_that_another_process_computes(pulled, tmp_path):
    store = ws.Store(tmp_path)
    key = point_key(engine(), exhaust(), 3000.0, COARSE, pull=PULL)
    assert store.claim(key)  # as another process would

    def other():
        store.put(key, pulled[3000])
        store.release(key)

    timer = threading.Timer(0.5, other)
    timer.start()
    shared = sweep(PULL, RPM[:2], store=store)
    timer.join()
    assert shared[4500].meta["pull"]["time"] == 5.0
    assert metal(shared[4500]) == pytest.approx(metal(pulled[4500]), abs=0.5)


def test_designs_of_an_exploration_are_pulls_of_their_own(pulled):
    length = "exhaust.collector.length"
    own = exhaust().collector[0].length
    found = ws.explore(
        engine(), exhaust(), [{length: own}, {length: 0.7}], RPM, settings=COARSE, pull=PULL,
        threads=2, progress=False,
    )
    assert np.array_equal(found[0].torque, pulled["torque"])  # as a sweep, to the last bit
    alone = sweep(PULL, rpm=RPM[:1])
    assert alone["torque"][0] == pulled["torque"][0] != found[1].torque[0]
    assert f"walls warm in a pull of {PULL.rate:g} rev/min/s" in found.summary()
    minutes = ws.explore(engine(), exhaust(), [{length: own}], RPM, settings=COARSE,
                         progress=False)
    assert abs(minutes[0].torque / found[0].torque - 1.0).max() > 5e-3
    assert "pull" not in minutes.summary()
    with pytest.raises(ws.InputError, match="explore: pull = 400"):
        ws.explore(engine(), exhaust(), [{length: own}], RPM, pull=400.0)


def test_search_for_the_best_passes_its_speeds_in_a_pull():
    length = "exhaust.collector.length"
    best = ws.optimise(
        engine(), exhaust(), {length: [0.3, 0.7]}, RPM[:2], settings=COARSE, pull=PULL,
        evaluations=10, progress=False,
    )
    tried = {design.changes[length]: design.torque for design in best.exploration}
    swept_alone = ws.speed_sweep(engine(), exhaust().with_collector(length=0.7), RPM[:2],
                                 settings=COARSE, pull=PULL, progress=False)
    assert np.array_equal(tried[0.7], swept_alone["torque"])
    assert best.exploration.pull == PULL


def test_walls_warm_on_past_a_speed_that_failed(pulled):
    """The speed after it starts from the last good one."""
    real = ws.run_point

    def failing(engine, exhaust, rpm, **options):
        if rpm == 4500.0:
            raise ws.SolverError("a fault made for this test")
        return real(engine, exhaust, rpm, **options)

    with patch("wavesim.many.work.run_point", failing):
        gap = sweep(PULL)
    assert list(gap.failures) == [4500.0]
    assert gap[6000].meta["pull"]["time"] == 10.0
    assert metal(gap[6000]).mean() == pytest.approx(metal(pulled[6000]).mean(), abs=15.0)


# --- studies and words ---------------------------------------------------------------------------


def test_steady_pull_and_stated_walls_stand_side_by_side_in_a_study(tmp_path):
    base = header(complete(), BARE)
    study = ws.Study(
        engine=engine(), rpm=[3000.0, 4000.0], settings=COARSE,
        exhausts={"pull": base, "minutes": base, "stated": header(complete(), temperature=700.0),
                  "warmed": base},
        pulls={"pull": PULL, "warmed": ws.Pull(300.0, walls=ws.Warmed(rpm=2500.0), pause=5.0)},
    )
    ws.save(study, tmp_path / "study.toml")
    assert ws.load(tmp_path / "study.toml") == study
    found = ws.run_study(study, progress=False)
    notes = {name: one.wall_notes for name, one in found.items()}
    assert notes == {
        "pull": ("Pipe walls warm in a pull of 300 rev/min/s from 450 K.",),
        "minutes": ("Pipe walls are solved: as warm as after minutes at each speed.",),
        "stated": ("Pipe walls have the temperatures that were stated.",),
        "warmed": ("Pipe walls warm in a pull of 300 rev/min/s from walls warmed at 2500 rev/min "
                   "and a pause of 5 s.",),
    }
    for name, one in found.items():
        assert one.table().splitlines()[-1] == notes[name][0]
    said = ws.compare(found["pull"], found["minutes"]).summary()
    assert all(notes[name][0] in said for name in ("pull", "minutes"))


def test_study_file_gives_a_variant_a_pull_of_its_own_or_none(tmp_path):
    ws.save(ws.Study(engine=engine(), rpm=[3000.0], settings=COARSE,
                     exhausts={"base": exhaust()}, pulls={"base": PULL}), tmp_path / "study.toml")
    text = (tmp_path / "study.toml").read_text().replace("variants = []", "") + """
[[variants]]
name = "fast"
set = {"pull.rate" = 600, "pull.walls" = "cold"}

[[variants]]
name = "minutes"
set = {pull = "none"}
"""
    (tmp_path / "study.toml").write_text(text)
    pulls = ws.load(tmp_path / "study.toml").pulls
    assert dict(pulls) == {"base": PULL, "fast": ws.Pull(600.0, walls="cold")}


@pytest.mark.parametrize(("make", "words"), [
    (lambda: ws.Pull(0.0, walls=400.0), "rate = 0 rev/min/s"),
    (lambda: ws.Pull(300.0, walls=90.0), "walls = 90 K"),
    (lambda: ws.Pull(300.0, walls="hot"), "walls = 'hot' must be 'cold'"),
    (lambda: ws.Pull(300.0, walls=400.0, pause=-1.0), "pause = -1 s"),
    (lambda: ws.Warmed(rpm=10.0), "rpm = 10 rev/min"),
    (lambda: ws.WallSection(duct="a", positions=[0.1], temperatures=[]), "positions has 1"),
    (lambda: ws.WallSection(duct="a", positions=[0.2, 0.1], temperatures=[400, 400]), "increase"),
    (lambda: ws.WallsLeft([1]), "sections holds 1"),
    (lambda: ws.wall_warming(300.0, 1.0, 300.0, BARE, BORE, -1.0), "duration = -1 s"),
    (lambda: ws.Sweep([]).walls_left, "no points"),
    (lambda: ws.Study(engine=engine(), rpm=[3000.0], pulls={"a": PULL},
                      exhausts={"a": header(complete(), temperature=600.0)}), "no pipe has a wall"),
])  # fmt: skip
def test_pull_that_cannot_be_is_refused(make, words):
    with pytest.raises(ws.InputError, match=words):
        make()


def test_speed_that_does_not_belong_to_the_pull_is_refused(pulled):
    def go_on(rpm=4500.0, pull=PULL, system=None):
        ws.run_point(engine(), system or exhaust(), rpm, settings=COARSE, pull=pull,
                     start=pulled[3000])

    with pytest.raises(ws.InputError, match="another Pull"):
        go_on(pull=PULL.replace(rate=200.0))
    with pytest.raises(ws.InputError, match="must be lower than rpm = 2500"):
        go_on(rpm=2500.0)
    with pytest.raises(ws.InputError, match="no pipe has a wall"):
        go_on(system=header(complete(), temperature=600.0))
    other = ws.WallsLeft([ws.WallSection(duct="tailpipe", positions=[0.1], temperatures=[500.0])])
    with pytest.raises(ws.InputError, match="same exhaust"):
        first(ws.Pull(300.0, walls=other))
