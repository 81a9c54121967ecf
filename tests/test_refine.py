"""Speeds that a sweep adds by itself, on invented engines whose curves are known."""

import math

import numpy as np
import pytest

import wavesim.many.work
from wavesim import InputError, Pull, demo_path, load, run_study, speed_sweep, speed_sweeps
from wavesim.results.points import Point
from wavesim.show.quantities import QUANTITIES

RPM = range(2000, 7001, 500)
CURVES = {
    "straight": lambda rpm: 150.0 + 0.01 * rpm,
    "hole": lambda rpm: 200.0 - 60.0 * math.exp(-(((rpm - 3000.0) / 150.0) ** 2)),
    "jump": lambda rpm: 200.0 if rpm < 4300.0 else 170.0,
    "flat": lambda rpm: 180.0,
    "tilted": lambda rpm: 180.0 + 0.004 * (rpm - 5100.0),
}


@pytest.fixture
def curves(monkeypatch):
    """The engine obeys the curve that its exhaust is named after; gives all that was computed."""
    calls = []

    def run(engine, exhaust, rpm, **_):
        calls.append((exhaust.name, rpm))
        torque = CURVES[exhaust.name](rpm)
        values = dict.fromkeys(QUANTITIES, 1.0)
        values |= {"torque": torque, "power": torque * rpm * math.pi / 30.0}
        audit = {"converged": True, "cycles": 3, "tolerance": 1e-3}
        return Point(rpm, values, {}, None, audit, {})

    monkeypatch.setattr(wavesim.many.work, "run_point", run)
    return calls


@pytest.fixture(scope="module")
def study():
    return load(demo_path("collector"))


def swept(study, name, **options):
    exhaust = study.exhausts[study.base].replace(name=name)
    return speed_sweep(study.engine, exhaust, RPM, progress=False, **options)


def test_straight_curve_gets_no_more_speeds(study, curves):
    assert swept(study, "straight", refine=50).rpm.tolist() == list(RPM)


def test_speeds_gather_round_a_hole_and_a_straight_line_then_misses_by_one_percent(study, curves):
    found = swept(study, "hole", refine=25)
    added = sorted(set(found.rpm) - set(RPM))
    assert added and all(2000.0 < rpm < 4000.0 for rpm in added)
    fine = np.arange(2000.0, 7001.0, 10.0)
    exactly = np.array([CURVES["hole"](rpm) for rpm in fine])
    missed = np.abs(np.interp(fine, found.rpm, found["torque"]) - exactly).max()
    coarse = np.abs(np.interp(fine, list(RPM), [CURVES["hole"](r) for r in RPM]) - exactly).max()
    assert missed < 0.01 * 200.0 < coarse


def test_jump_is_narrowed_to_the_closest_distance(study, curves):
    rpm = swept(study, "jump", refine=25).rpm
    i = int(np.searchsorted(rpm, 4300.0))
    assert 25.0 <= rpm[i] - rpm[i - 1] < 50.0
    assert np.diff(rpm).min() >= 24.5


def test_crossing_is_narrowed_and_all_systems_get_the_same_speeds(study, curves):
    exhaust = study.exhausts[study.base]
    systems = [(name, study.engine, exhaust.replace(name=name)) for name in ("flat", "tilted")]
    flat, tilted = speed_sweeps(systems, RPM, refine=60, progress=False)
    assert flat.rpm.tolist() == tilted.rpm.tolist()
    assert set(flat.rpm) - set(RPM) and all(5000 <= rpm <= 5500 for rpm in set(flat.rpm) - set(RPM))
    near = np.sort(np.abs(flat.rpm - 5100.0))
    assert near[1] < 130.0


def test_nothing_is_computed_twice_and_what_was_asked_for_stays(study, curves):
    found = swept(study, "hole", refine=50)
    assert len(curves) == len(set(curves)) == len(found)
    assert set(RPM) <= set(found.rpm)


def test_refine_of_a_study_and_its_limits(study, curves, monkeypatch):
    monkeypatch.setitem(CURVES, study.exhausts[study.base].name, CURVES["flat"])
    for name in study.exhausts:
        monkeypatch.setitem(CURVES, name, CURVES["tilted" if name != study.base else "flat"])
    found = run_study(study.replace(rpm=tuple(RPM)), refine=100, progress=False)
    assert all(len(sweep) > len(RPM) for sweep in found.values())
    for refine in (5, -100, "fine", 1e6):
        with pytest.raises(InputError, match="refine = "):
            swept(study, "flat", refine=refine)
    with pytest.raises(InputError, match="must be None in a pull"):
        swept(study, "flat", refine=100, pull=Pull(rate=400, walls=450))
