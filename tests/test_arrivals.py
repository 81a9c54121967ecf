"""Arrivals of fronts, against the waves that the march itself sends back."""

import numpy as np
import pytest

import wavesim as ws


def single(efficiency):
    """An engine of one cylinder with a plain open pipe; with less heat its exhaust is cooler."""
    study = ws.load(ws.demo_path("collector"))
    combustion = study.engine.combustion
    engine = study.engine.replace(
        firing_order=(1,), exhaust_port=ws.Pipe(0.1, 0.04),
        combustion=combustion.replace(efficiency=efficiency * combustion.efficiency))
    return engine, ws.Exhaust(primary=ws.Pipe(1.1, 0.04), merge=None)


@pytest.mark.parametrize("rpm", [1500.0, 2000.0, 3000.0])
@pytest.mark.parametrize("efficiency", [1.0, 0.5])
def test_blowdown_comes_back_from_the_open_end_as_suction_when_it_is_said_to(rpm, efficiency):
    """The crest of the wave that leaves, and the trough of the one that comes, within a degree.

    Without friction and heat to the walls, which send back something all along the pipe; of a wave
    of half a bar, at two temperatures.
    """
    settings = ws.Settings(cell_length=0.008, tolerance=5e-3, sample_deg=0.5, friction=False,
                           wall_heat=False)
    point = ws.run_point(*single(efficiency), rpm, settings=settings)
    waves = point.waves("exhaust valve 1")
    on, back = (trace.own_angle(1, -360.0) for trace in (waves.on, waves.back))
    opens = point.meta["events_deg"]["exhaust"][0]
    crest = on.highest(opens, opens + 80.0).x
    said = ws.arrivals(point, start=crest)
    (route,) = said.routes
    assert route.name == "own wave from outlet 1"
    assert route.size == pytest.approx(-1.0, abs=1e-3) and route.length == pytest.approx(2.4)
    comes = said.first[0, 0]
    assert comes == pytest.approx(back.lowest(crest + 20.0, comes + 40.0).x, abs=1.0)


@pytest.fixture(scope="module")
def sweep():
    study = ws.load(ws.demo_path("collector"))
    settings = ws.Settings(cell_length=0.04, tolerance=1e-2, sample_deg=2.0)
    return ws.speed_sweep(study.engine, study.exhausts["long collector"], (3000, 4500, 6000),
                          settings=settings, threads=1)


def test_routes_are_echoes_of_joints_and_pulses_of_the_others(sweep):
    found = ws.arrivals(sweep, 1)
    names = [route.name for route in found.routes]
    assert names[:3] == ["own wave from merge", "own wave from outlet",
                         "own wave from the other valves"]
    assert {f"pulse of cylinder {n}" for n in (2, 3, 4)} <= set(names)
    own = found.routes[names.index("own wave from merge")]
    assert own.size < -0.5 and own.cylinder == 1


def test_arrivals_come_later_in_crank_angle_at_higher_speed(sweep):
    found = ws.arrivals(sweep, 1)
    assert np.all(np.diff(found.first, axis=1) > 0.0)
    assert np.all(found.peak >= found.first)
    opens = sweep.points[0].meta["events_deg"]["exhaust"][0]
    # Sound and gas together stay below 1000 m/s on the 1.66 m to the merge and back.
    assert np.all(found.first[0] - opens > 6.0 * found.rpm * 1.66 / 1000.0)


def test_cylinders_are_told_apart_by_their_firing_order(sweep):
    """Cylinder 3 fires half a turn after cylinder 1: its pulse comes half a turn later than one
    that is sent by 1, and the same holds for every pair."""
    at_1, at_3 = ws.arrivals(sweep, 1), ws.arrivals(sweep, 3)
    from_3 = at_1.first[[route.name for route in at_1.routes].index("pulse of cylinder 3")]
    from_4 = at_3.first[[route.name for route in at_3.routes].index("pulse of cylinder 4")]
    assert from_3 == pytest.approx(from_4, abs=4.0)  # order 1, 3, 4, 2


def test_tuned_speed_is_where_the_peak_meets_the_middle_of_the_overlap():
    route = ws.Route("own wave from outlet", 1, -0.5, 2.0)
    peak = np.array([[300.0, 340.0, 380.0], [1000.0, 1060.0, 1120.0], [100.0, 110.0, 120.0]])
    found = ws.Arrivals(1, np.array([2000.0, 3000.0, 4000.0]), [route] * 3, peak - 20.0, peak,
                        (340.0, 380.0))
    tuned = found.tuned_speeds()
    assert tuned[0] == pytest.approx([3500.0])  # 360 between 340 and 380
    assert tuned[1] == pytest.approx([3333.333], abs=0.01)  # 1080 is 360 a cycle later
    assert tuned[2].size == 0
    assert "3500" in found.table() and "none" in found.table()


def test_figure_shows_a_line_for_the_peak_and_one_for_the_front_of_each_route(sweep):
    found = ws.arrivals(sweep, 1)
    ax = found.plot(ws.plots.new_axes()[0])
    assert len(ax.lines) == 2 * len(found.routes)
    assert ax.lines[0].get_ydata() == pytest.approx(found.peak[0])


def test_slips_are_told_in_one_sentence(sweep):
    with pytest.raises(ws.InputError, match="arrivals: cylinder = 9"):
        ws.arrivals(sweep, 9)
    with pytest.raises(ws.InputError, match="arrivals: visible = 0"):
        ws.arrivals(sweep, visible=0.0)
    with pytest.raises(ws.InputError, match="points with their traces"):
        ws.arrivals(ws.Sweep([]))
