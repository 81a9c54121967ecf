"""When a cycle counts as repeated: what is watched, against what, and the trend of its changes."""

import json

import numpy as np
import pytest

import wavesim as ws
from wavesim.march.cycles import Watched, change, settled

ONE = Watched(fresh=5e-4, residual=1e-5, work=900.0, pumping=-20.0, outflow=800.0,
              wall_temperature=700.0)


def cycles(errors, field="work"):
    """Cycles of which one field is off by these shares, the last one being the size itself."""
    return [ONE._replace(**{field: getattr(ONE, field) * (1.0 + e)}) for e in (*errors, 0.0)]


@pytest.mark.parametrize("field", ["fresh", "work", "outflow", "wall_temperature"])
def test_change_is_relative_to_the_last_cycle(field):
    assert change(cycles([0.02], field)) == pytest.approx(0.02)
    assert change(cycles([0.05, 0.02], field), back=2) == pytest.approx(0.05)


def test_pumping_counts_against_the_net_work_and_a_small_residual_against_the_charge():
    assert change(cycles([0.5], "pumping")) == pytest.approx(0.5 * 20.0 / 900.0)
    assert change(cycles([0.5], "residual")) == pytest.approx(0.5 * 1e-5 / (0.1 * 5e-4))
    much = [ONE._replace(residual=r) for r in (2.2e-4, 2e-4)]
    assert change(much) == pytest.approx(0.1)


def test_first_cycle_repeats_nothing():
    assert change([ONE]) == np.inf and not settled([ONE], 1.0)


def test_what_is_still_to_come_must_be_within_the_tolerance_too():
    """Each change is three quarters of the one before: three times the last one is to come."""
    to_come = 1e-3
    errors = to_come * 0.75 ** np.arange(-6, 1)
    trend = [ONE._replace(work=900.0 * (1.0 + e)) for e in errors]
    assert change(trend) < change(trend, 2) < 0.8 * to_come
    assert not settled(trend, 0.9 * to_come)
    assert settled(trend, 1.1 * to_come)


def test_cycle_that_jitters_has_settled_when_it_repeats_the_third_before():
    assert settled(cycles([3e-4, 9e-4, 5e-4]), 1e-3)
    assert not settled(cycles([2e-3, 9e-4, 5e-4]), 1e-3)


def test_slow_trend_is_no_jitter():
    """Three changes of the same size in one direction, each within the tolerance."""
    assert not settled(cycles([9e-4, 6e-4, 3e-4]), 1e-3)
    assert settled(cycles([9e-6, 6e-6, 3e-6]), 1e-3)  # fifty more would not matter


def test_cycle_has_not_settled_while_something_fills():
    """The work repeats itself to the last digit, and a cylinder holds more from cycle to cycle."""
    filling = [ONE._replace(shift=shift) for shift in (3e-3, 3e-3, 3e-3)]
    assert not settled(filling, 1e-3)
    assert settled([*filling, ONE._replace(shift=9e-4)], 1e-3)


def test_engine_whose_intake_valves_hardly_open_settles_when_its_cylinders_hold_what_they_will():
    """The cylinders fill from the exhaust for many cycles, in which work and outflow hardly
    change; what they hold when the cycle has settled is what they hold long after.
    """
    study = ws.load(ws.demo_path("collector"))
    lift = study.engine.exhaust_valve.lift.replace(
        opens_deg=10, closes_deg=40, lift=0.002, checking_lift=1e-4
    )
    shut = study.engine.intake_valve.replace(lift=lift, lash=0.0018)
    engine, exhaust = study.engine.replace(intake_valve=shut), study.exhausts["short collector"]
    coarse = ws.Settings(cell_length=0.08, sample_deg=10.0, max_cycles=200)
    found, later = (
        ws.run_point(engine, exhaust, 1000.0, settings=coarse.replace(min_cycles=n))
        for n in (3, 200)
    )
    assert found.converged and found.audit["history"][-1][-1] < 1e-3
    for quantity in ("volumetric_efficiency", "residual_fraction", "trapped_pressure"):
        assert found[quantity] == pytest.approx(later[quantity], rel=4e-3), quantity


def test_history_of_a_point_names_what_was_watched(base):
    point = base[4500]
    history = [Watched(*row) for row in json.loads(json.dumps(point.audit["history"]))]
    assert len(history) == point.audit["cycles"]
    assert change(history) == point.audit["last_change"]
    assert settled(history, point.audit["tolerance"]) == point.converged
    last, engine = history[-1], point.engine
    assert last.work / engine.displacement == pytest.approx(point.imep_net, rel=1e-12)
    assert last.pumping / engine.displacement == pytest.approx(-point.pmep, rel=1e-12)
