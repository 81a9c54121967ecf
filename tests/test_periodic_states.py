"""Periodic states: what starts lead to, what takes the place of what, and how disturbances die.

The engine of the demo on coarse cells; `validation/case_periodic_states.py` shows the rest.
"""

import numpy as np
import pytest

import wavesim as ws
from wavesim.descriptions.symmetry import succession
from wavesim.kernels import flat as f
from wavesim.march import cyclemap, states
from wavesim.march.cyclemap import CycleMap, Renaming
from wavesim.march.states import search

COARSE = ws.Settings(cell_length=0.03)
SPLIT = 5000.0  # speed at which cylinders that are alike fall into two groups


@pytest.fixture(scope="module")
def study():
    return ws.load(ws.demo_path("collector"))


def system(study, model="momentum"):
    exhaust = study.exhausts["long collector"]
    return study.engine, ws.vary(exhaust, "merge.model", model)


@pytest.fixture(scope="module")
def split(study):
    """All states at a speed with several."""
    return ws.periodic_states(*system(study), SPLIT, settings=COARSE)


# --- what takes the place of what -----------------------------------------------------------------


def test_succession_follows_the_firing_order(study):
    engine, exhaust = system(study)
    found = succession(engine, exhaust.network(engine))
    assert found.cylinders == {1: 3, 3: 4, 4: 2, 2: 1}
    assert found.ducts["primary 3"] == "primary 4" and found.ducts["collector"] == "collector"
    assert found.nodes["intake valve 2"] == "intake valve 1"


def test_pairs_take_the_place_of_pairs_only_if_the_order_lets_them(study):
    engine, exhaust = system(study)
    in_pairs = exhaust.replace(
        pair_merge=ws.Merge(angle_deg=10.0), pairs=((1, 4), (2, 3)), secondary=ws.Pipe(0.4, 0.045)
    )
    found = succession(engine, in_pairs.network(engine))
    assert found.ducts["secondary 1-4"] == "secondary 2-3"
    neighbours = in_pairs.replace(pairs=((1, 3), (2, 4)))
    assert succession(engine, neighbours.network(engine)) is None


def test_cylinders_that_differ_have_no_succession(study):
    engine, exhaust = system(study)
    network = exhaust.network(engine)
    longer = network.replace(ducts=dict(network.ducts) | {"primary 2": ws.Pipe(0.8, 0.038)})
    assert succession(engine, longer) is None
    uneven = engine.replace(
        firing_intervals_deg=(170, 190, 180, 180), banks=(1, 1, 1, 1))
    assert succession(uneven, network) is None


def test_four_firings_with_renaming_are_a_cycle(study):
    """The pressure junction does not know how its ducts lie, so that renaming changes nothing; the
    crank stands on a grid of 1e-6 deg.
    """
    found = search(*system(study, "pressure"), 3000.0, COARSE, ())
    cycle = CycleMap(found.runs[0].model)
    renaming = Renaming(found.runs[0].model, found.next)
    start = cycle.state()
    whole = cycle()
    cycle.set(start)
    for _ in range(4):
        cycle.fire(renaming)
    assert np.abs(cycle.state() - whole)[cycle.counts].max() < 1e-8


# --- states ---------------------------------------------------------------------------------------


def test_engine_with_two_groups_of_cylinders_has_a_state_its_shift_and_an_unstable_one(split):
    first, shift, alike = split
    assert first.starts[0] == "cold" and first.stable and first.spread > 0.01
    assert shift.shift_of == 0 and shift.stable
    assert shift.imep == pytest.approx(first.imep[[1, 0, 0, 1]], rel=2e-3)
    assert alike.starts == ("all alike",) and not alike.stable and alike.spread < 1e-3
    assert alike.alternation == pytest.approx(abs(alike.multiplier), rel=0.05)
    assert split.torque_range == abs(first.point.torque - shift.point.torque)


def test_every_state_repeats_itself(split):
    for state in split:
        history = np.array(state.point.audit["history"])
        assert history[-1, 2] == pytest.approx(history[-2, 2], rel=1e-5)


def test_disturbance_grows_as_the_multiplier_says(study):
    """An alternation of 1e-5 marched for six cycles from the unstable state."""
    found = search(*system(study), SPLIT, COARSE, ("all alike",))
    model = found.runs[-1].model
    cycle = CycleMap(model)
    multiplier, growth = cyclemap.stability(cycle)
    start, works = cycle.state(), []
    order = np.argsort(model.net.cyl_par[:, f.PHASE])
    for size in (0.0, 1e-5):
        cycle.set(start)
        cyclemap.fill_less(
            model, {int(n) + 1: -size * (-1.0) ** i for i, n in enumerate(order)}
        )
        for _ in range(6):
            cycle()
            works.append(model.record.cyl_sum[order, f.WORK_0 : f.WORK_3 + 1].sum(axis=1))
    alternation = np.subtract(works[6:], works[:6]) @ [1.0, -1.0, 1.0, -1.0]
    assert abs(multiplier) > 1.1
    assert alternation[-1] / alternation[-2] == pytest.approx(abs(multiplier), rel=0.03)
    assert growth == pytest.approx(abs(multiplier), rel=0.03)


def test_engine_whose_cylinders_do_the_same_has_one_state(study):
    (only,) = ws.periodic_states(*system(study), 3000.0, settings=COARSE)
    assert set(only.starts) == {"cold", *states.STARTS}
    assert only.stable and only.spread < 1e-3


def test_turning_flow_at_the_outlet_keeps_no_cylinders_apart(study):
    """On the usual cells an end cell that jumped when its flow turned kept them 6e-4 apart."""
    (only,) = ws.periodic_states(*system(study, "pressure"), 4000.0, starts=())
    assert only.stable and only.spread < 1e-5


def test_summary_lists_every_state_and_what_led_to_it(split):
    text = split.summary()
    assert "3 periodic states at 5000 rev/min" in text
    for word in ("stable, 1 one firing later", "unstable", "cold", "all alike", "multiplier"):
        assert word in text
    assert len(text.splitlines()) == 3 + len(split)


def test_leading_multiplier_of_known_maps_is_found():
    """Two modes that die, one of them swinging: rotation by 72 degrees and 0.8 a cycle."""
    angle = np.radians(72.0)
    A = np.zeros((3, 3))
    A[:2, :2] = 0.8 * np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    A[2, 2] = 0.3
    columns = [np.array([1.0, 0.2, 2.0])]
    for _ in range(9):
        columns.append(A @ columns[-1])
    columns = np.array(columns).T
    found = cyclemap._leading(columns[:, :-1], columns[:, 1:])
    assert abs(found) == pytest.approx(0.8, rel=1e-6)
    assert abs(np.angle(found)) == pytest.approx(angle, rel=1e-6)


class Map:
    """A map of a vector on itself with the words of a CycleMap."""

    def __init__(self, law, start):
        self.law, self.now = law, np.array(start)

    def state(self):
        return self.now

    def set(self, state):
        self.now = state

    def __call__(self, state=None):
        self.now = self.law(self.now if state is None else state)
        return self.now


def test_fixed_point_is_found_where_disturbances_grow():
    """x = A x + b with multipliers 1.5, 0.9 and -0.7: solved by numpy."""
    turn = np.linalg.qr(np.arange(9.0).reshape(3, 3) + np.eye(3))[0]
    A, b = turn @ np.diag([1.5, 0.9, -0.7]) @ turn.T, np.array([1.0, -2.0, 0.5])
    found = Map(lambda x: A @ x + b, np.zeros(3))
    assert cyclemap.newton(found)
    assert found.state() == pytest.approx(np.linalg.solve(np.eye(3) - A, b), abs=1e-7)


def test_step_beyond_what_an_engine_can_be_is_halved():
    """Newton's first step from 3 to the root of x = x + arctan(x) goes to -9.5, beyond -5."""

    def law(x):
        if np.abs(x).max() > 5.0:
            raise ws.SolverError("no gas")
        return x + np.arctan(x)

    found = Map(law, [3.0])
    assert cyclemap.newton(found)
    assert found.state() == pytest.approx([0.0], abs=1e-7)


@pytest.mark.parametrize(("given", "told"), [
    ({"step": 0.5}, "step = 0.5 is outside the valid range 0.001"),
    ({"rpm": 50.0}, "rpm = 50 rev/min is outside the valid range 100"),
    ({"starts": ["warm"]}, "starts = 'warm' must be one of 'lower speed'"),
    ({"starts": 3}, "starts = 3"),
    ({"settings": 1}, "settings = 1"),
    ({"engine": None}, "engine = None"),
])
def test_wrong_argument_is_told(study, given, told):
    engine, exhaust = system(study)
    arguments = {"engine": engine, "exhaust": exhaust, "rpm": 3000.0} | given
    with pytest.raises(ws.InputError) as error:
        ws.periodic_states(**arguments)
    assert told in str(error.value)


# --- what a sweep says of it ----------------------------------------------------------------------


def test_sweep_and_comparison_say_where_cylinders_that_are_alike_differ(study, split):
    point = split[0].point
    sweep = ws.Sweep([point], name="long")
    (note,) = sweep.state_notes
    assert "At 5000 rev/min" in note and "periodic_states" in note and note in sweep.notes
    assert note in sweep.table()
    even = ws.Sweep([split[2].point], name="even")
    assert even.state_notes == ()


def test_cylinders_that_are_not_alike_may_differ_without_a_word(study, split):
    engine, exhaust = system(study)
    network = exhaust.network(engine)
    longer = network.replace(ducts=dict(network.ducts) | {"primary 2": ws.Pipe(0.8, 0.038)})
    few = COARSE.replace(max_cycles=2, min_cycles=2)
    point = ws.run_point(engine, longer, SPLIT, settings=few)
    assert point.imep_spread > 0.01
    assert ws.Sweep([point]).state_notes == ()


def test_list_of_states_has_rows_of_its_own(split):
    assert isinstance(split, ws.PeriodicStates) and isinstance(split[0], ws.PeriodicState)
    assert len(list(split)) == len(split) == 3 and "3" in repr(split)
