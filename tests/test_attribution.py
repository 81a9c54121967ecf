"""What an exhaust does with an echo and without it: ends that swallow, copies, plain pipes."""

import numpy as np
import pytest

import wavesim as ws
from wavesim.march.attribution import _alone, _plain, _without_echo

RPM = 3500.0
SMOOTH = ws.Settings(cell_length=0.04, tolerance=1e-3, sample_deg=2.0, friction=False,
                     wall_heat=False)


@pytest.fixture(scope="module")
def study():
    return ws.load(ws.demo_path("collector"))


def one_point(engine, exhaust, settings=SMOOTH):
    return ws.Sweep([ws.run_point(engine, exhaust, RPM, settings=settings)])


@pytest.fixture(scope="module")
def both(study):
    """Attribution of the open ends for the short and the long collector."""
    return [ws.attribution(one_point(study.engine, exhaust), ["tip"])
            for exhaust in study.exhausts.values()]


def test_length_of_a_collector_does_nothing_once_its_end_sends_nothing_back(both):
    """Without friction and heat: the longer collector would else move torque by 14 %."""
    short, long = (found.without["tip"]["torque"][0] for found in both)
    assert long == pytest.approx(short, rel=2e-3)
    whole = [found.without["tip"]["torque"][0] + found.changes["torque"]["tip"][0]
             for found in both]
    assert abs(whole[1] / whole[0] - 1.0) > 0.05


def test_changes_and_rest_make_up_the_whole(both):
    for found in both:
        for changes in found.changes.values():
            assert changes["tip"] + changes["rest"] == pytest.approx(changes["all"], abs=1e-12)
        assert set(found.changes) == {
            "torque", "overlap_exhaust_pressure", "residual_fraction", "trapped_air"}
        assert found.rpm.tolist() == [RPM]


def test_nothing_varies_in_what_comes_back_from_a_primary_without_end(study, both):
    """At the end of each primary the wave back stays what it is, while that on swings."""
    (point,) = both[0].without["all"].points
    assert "merge" not in point.network.nodes and "collector" not in point.network.ducts
    waves = point.waves("primary 2", point.network.ducts["primary 2"].length)
    back, on = (np.ptp(trace.values) for trace in (waves.back, waves.on))
    assert back < 0.12 * on


def test_mean_flow_passes_an_end_that_sends_nothing_back(study, both):
    """The gas is that of a cycle without echo, but no pressure stands against it."""
    (point,) = both[1].without["tip"].points
    mean = point.trace("pressure", "collector", point.network.ducts["collector"].length).mean()
    assert mean == pytest.approx(101325.0, rel=0.01)


def test_cylinders_with_exhausts_of_their_own_have_no_neighbours(study):
    exhaust = ws.Exhaust(primary=ws.Pipe(0.7, 0.038), merge=None)
    found = ws.attribution(one_point(study.engine, exhaust), ["neighbours"])
    assert found.changes["torque"]["neighbours"] == pytest.approx(0.0, abs=1e-9)


def test_copies_hold_one_open_valve_each(study):
    exhaust = study.exhausts["short collector"]
    (point,) = one_point(study.engine, exhaust, ws.Settings(
        cell_length=0.08, tolerance=0.1, max_cycles=3)).points
    network = _alone(point)
    valves = [name for name, node in network.nodes.items() if isinstance(node, ws.ValvePort)]
    assert sorted(valves) == sorted(
        [f"{side} valve {n}" for side in ("exhaust", "intake") for n in (1, 2, 3, 4)])
    shut = [node for node in network.nodes.values() if isinstance(node, ws.ClosedEnd)]
    assert len(shut) == 12 and not network.check()
    assert "collector of 3" in network.ducts and "collector" not in network.ducts
    assert not _without_echo(point, point).check()


def test_silencers_become_pipes_of_their_length(study):
    complete = ws.load(ws.demo_path("complete"))
    exhaust = complete.exhausts["complete, 51 mm"]
    plain = _plain(exhaust)
    assert all(isinstance(part, ws.Pipe | ws.Bend) for part in plain.tailpipe)
    lengths = [sum(part.length for part in one.tailpipe) for one in (exhaust, plain)]
    assert lengths[0] == pytest.approx(lengths[1])


def test_slips_are_told_in_one_sentence(study, both):
    sweep = both[0].without["tip"]
    with pytest.raises(ws.InputError, match="features = 'noise' must be one of"):
        ws.attribution(sweep, ["noise"])
    with pytest.raises(ws.InputError, match="holds no point"):
        ws.attribution(ws.Sweep([]))
    with pytest.raises(ws.InputError, match="silencers are known of an Exhaust"):
        ws.attribution(sweep, ["silencers"])
    with pytest.raises(ws.InputError, match="quantity = 'power' must be one of"):
        both[0].table("power")
