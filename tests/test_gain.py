"""The packaged study of a gain: what its head says comes out, and why."""

import numpy as np
import pytest
from test_exits import NONE, taken

import wavesim as ws

RPM = (1750.0, 2750.0, 3750.0, 5000.0)


@pytest.fixture(scope="module")
def study():
    return ws.load(ws.demo_path("gain")).replace(rpm=RPM)


@pytest.fixture(scope="module")
def pair(study):
    return [*ws.run_study(study, progress=False).values()]


def test_nothing_was_tuned_for_the_gain(study):
    """Engine and headers are those of the first study; the variant changes one length."""
    demo = ws.load(ws.demo_path())
    short, long = study.exhausts.values()
    assert study.engine == demo.engine and study.settings == demo.settings
    base = demo.exhausts["open collectors"]
    assert short.replace(name="") == base.replace(name="").with_collector(length=0.15)
    assert long.replace(name="") == base.replace(name="").with_collector(length=0.46)


def test_a_longer_collector_gains_and_costs_what_the_study_says(pair):
    gain = dict(zip(RPM, ws.compare(*pair).percent("torque"), strict=True))
    assert gain[1750.0] == pytest.approx(12.0, abs=1.0)
    assert gain[2750.0] == pytest.approx(-15.9, abs=1.0)
    assert gain[3750.0] == pytest.approx(14.6, abs=1.0)
    assert abs(gain[5000.0]) < 1.0
    for sweep in pair:
        for point in sweep:
            assert point.converged and taken(point) == NONE


def test_gain_and_loss_are_filling_and_follow_the_pressure_in_overlap(pair):
    parts = ws.contributions(*pair).parts
    filling = parts["trapped_mass"] + parts["fresh_share"]
    short, long = pair
    whole = long["torque"] - short["torque"]
    large = np.abs(whole) > 5.0
    assert (filling[large] / whole[large] > 0.9).all()
    pressure = long["overlap_exhaust_pressure"] - short["overlap_exhaust_pressure"]
    assert (np.sign(pressure[large]) == -np.sign(whole[large])).all()
    assert (np.abs(pressure[large]) > 0.15e5).all()


def test_words_name_the_echo_of_the_open_end(pair):
    """As `attribution` does, which takes that echo away."""
    said = ws.explain(*pair)
    assert "outlet bank 1" in said.at(3750.0).wave and "suction" in said.at(3750.0).wave
    for rpm in (2750.0, 3750.0):
        assert set(said.at(rpm).carriers) == {"trapped_mass", "fresh_share"}


def test_bank_with_a_longer_collector_swings_more_slowly(pair):
    """The primaries against one another, a quarter of a wave long, swing as before."""
    frequency = np.arange(60.0, 221.0, 4.0)
    notes = []
    for sweep in pair:
        size = np.abs(ws.exhaust_reflection(sweep[3750.0], frequencies=frequency).impedance)
        top = np.flatnonzero((size[1:-1] > size[:-2]) & (size[1:-1] > size[2:])) + 1
        notes.append(frequency[top])
    (bank, own), (slow, same) = notes
    assert slow / bank == pytest.approx(0.76, abs=0.05)
    assert same == pytest.approx(own, rel=0.06)


@pytest.mark.slow
def test_echo_of_the_open_end_makes_the_whole_difference(pair):
    silent = [ws.attribution(ws.Sweep([sweep[2750.0], sweep[3750.0]]), ["tip"]).without["tip"]
              for sweep in pair]
    short, long = (sweep["torque"] for sweep in silent)
    assert long == pytest.approx(short, rel=5e-3)


@pytest.mark.slow
def test_gain_is_that_on_finer_cells(study, pair):
    fine = [*ws.run_study(study.replace(settings=study.settings.replace(cell_length=0.0125)),
                          progress=False).values()]
    coarse = ws.compare(*pair).percent("torque")
    assert ws.compare(*fine).percent("torque") == pytest.approx(coarse, abs=0.5)
