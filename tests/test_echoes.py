"""Echoes and cross-talk against plane-wave theory, in exhausts of one gas of one temperature."""

from dataclasses import replace
from math import pi

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.interpolate import RegularGridInterpolator

import wavesim as ws
from wavesim.exact.acoustics import area_step, junction, levine_schwinger
from wavesim.march import running

RPM = 3000.0
HOT = 700.0  # [K]
PORT = 0.1  # [m]


@pytest.fixture(scope="module")
def engine():
    """The engine of the packaged study with ports as wide as its primaries."""
    study = ws.load(ws.demo_path("collector"))
    port = ws.Pipe(PORT, 0.04)
    return study.engine.replace(exhaust_port=port)


def even_point(engine, exhaust):
    """A point whose gas was burned gas of one temperature everywhere."""
    settings = ws.Settings(cell_length=0.05, tolerance=0.1, max_cycles=1, min_cycles=1,
                           coarse_start=1.0, sample_deg=10.0)
    network = exhaust.network(engine) if isinstance(exhaust, ws.Exhaust) else exhaust
    point = ws.run_network(engine, network, RPM, settings=settings)
    cells = point.samples.cells.copy()
    cells[:, 2], cells[:, 3], cells[:, 4] = HOT, 0.0, 1.0
    return replace(point, samples=replace(point.samples, cells=cells))


def sound(point):
    return float(point.gas.sound_speed(HOT, 0.0, 1.0))


def separate(engine, *line):
    """Four equal exhausts, each of its own: what one cylinder hears comes from its line alone."""
    return ws.Exhaust(primary=line, merge=None)


def test_open_end_sends_back_suction_as_long_as_its_pipe(engine):
    """Levine and Schwinger (1948): at low frequency all comes back, 0.61 radii further out."""
    point = even_point(engine, separate(engine, ws.Pipe(0.9, 0.04)))
    first, second = ws.echoes(point, pulse=0.035).found[1][:2]
    there = PORT + 0.9 + 0.6133 * 0.02
    assert first.time == pytest.approx(2.0 * there / sound(point), abs=1e-4)
    assert first.size == pytest.approx(-1.0, abs=0.02)
    assert second.size == pytest.approx(1.0, abs=0.04)
    assert "outlet" in first.sender and "twice" in second.sender
    assert first.length == pytest.approx(2.0 * (PORT + 0.9), rel=1e-9)
    assert first.angle == pytest.approx(6.0 * RPM * first.time)


def test_step_of_area_sends_back_what_plane_waves_say(engine):
    """(A1 - A2)/(A1 + A2); what comes through the step and back is (1 - R^2) of the end's."""
    line = (ws.Pipe(0.5, 0.04), ws.Pipe(0.8, 0.06))
    point = even_point(engine, separate(engine, *line))
    step, *later = ws.echoes(point, pulse=0.03).found[1]
    mouth = next(echo for echo in later if "outlet" in echo.sender)
    theory = area_step(pi * 0.02**2, pi * 0.03**2)
    reflected = float(theory.reflection)
    assert step.size == pytest.approx(reflected, rel=0.02)
    assert step.time == pytest.approx(2.0 * (PORT + 0.5) / sound(point), abs=1e-4)
    assert mouth.size == pytest.approx(-(1.0 - reflected**2), rel=0.02)
    there = PORT + 0.5 + 0.8 + 0.6133 * 0.03
    assert mouth.time == pytest.approx(2.0 * there / sound(point), abs=1e-4)
    assert step.sender.startswith("step") and "outlet" in mouth.sender


@pytest.fixture(scope="module")
def four_into_one(engine):
    exhaust = ws.Exhaust(primary=ws.Pipe(0.7, 0.04), collector=ws.Pipe(0.6, 0.06),
                         merge=ws.Merge())
    return even_point(engine, exhaust.network(engine).with_node(
        "merge", ws.Junction(exhaust.network(engine).nodes["merge"].at, model="pressure")))


def test_merge_sends_back_what_plane_waves_say(four_into_one):
    """Of n branches (2 A1 / sum A) goes on into each and that less 1 comes back."""
    point = four_into_one
    areas = [pi * 0.02**2] * 4 + [pi * 0.03**2]
    theory = junction(areas)
    heard = ws.echoes(point, 1)
    merge = heard.found[1][0]
    assert merge.sender == "merge"
    assert merge.size == pytest.approx(float(theory.reflection), rel=0.02)
    assert merge.time == pytest.approx(2.0 * (PORT + 0.7) / sound(point), abs=1e-4)
    for other in (2, 3, 4):
        straight = heard.found[other][0]
        assert straight.sender == "straight"
        assert straight.size == pytest.approx(float(theory.transmission), rel=0.02)
        assert straight.time == pytest.approx(2.0 * (PORT + 0.7) / sound(point), abs=1e-4)


def test_cross_talk_tells_who_is_heard_by_whom_how_loud_and_how_late(engine):
    """Primaries of four lengths: every pair has a time of its own; sizes as plane waves say."""
    lengths = {1: 0.5, 2: 0.6, 3: 0.75, 4: 0.95}
    exhaust = ws.Exhaust(
        primaries=tuple((ws.Pipe(length, 0.04),) for length in lengths.values()),
        collector=ws.Pipe(0.6, 0.06), merge=ws.Merge())
    network = exhaust.network(engine)
    network = network.with_node("merge", ws.Junction(network.nodes["merge"].at, model="pressure"))
    point = even_point(engine, network)
    found = ws.cross_talk(point, pulse=0.03)
    share = float(junction([pi * 0.02**2] * 4 + [pi * 0.03**2]).transmission)
    opens = point.meta["events_deg"]["exhaust"][0]
    firing = point.meta["firing_angles_deg"]
    for i in lengths:
        for j in set(lengths) - {i}:
            way = 2.0 * PORT + lengths[i] + lengths[j]
            assert found.size[i - 1, j - 1] == pytest.approx(share, rel=0.05)
            late = 6.0 * RPM * way / sound(point)  # [deg]
            assert 6.0 * RPM * found.time[i - 1, j - 1] == pytest.approx(late, abs=2.0)
            own = (opens + late + firing[i - 1] - firing[j - 1]) % 720.0
            assert found.first_angle[i - 1, j - 1] == pytest.approx(own, abs=2.0)


def test_cylinders_on_exhausts_of_their_own_do_not_hear_each_other(engine):
    point = even_point(engine, separate(engine, ws.Pipe(0.6, 0.04)))
    found = ws.cross_talk(point, pulse=0.03)
    assert np.all(found.size[~np.eye(4, dtype=bool)] == 0.0)
    assert not found.in_overlap[~np.eye(4, dtype=bool)].any()
    assert np.all(np.abs(np.diag(found.size)) > 0.9)


def seen_by_plane_waves(frequency, c, line, radius):
    """Reflection coefficient at the start of a line of (length, bore), open with a thin wall.

    Transfer of plane waves from section to section (Munjal 2014, ch. 2); the end by the exact
    solution of Levine and Schwinger (1948).
    """
    found = []
    for one in frequency:
        k = 2.0 * pi * one / c
        end = levine_schwinger(k * radius)
        R = -end.reflection * np.exp(-2j * k * radius * end.correction)
        bores = [bore for _, bore in line]
        for i in range(len(line) - 1, -1, -1):
            length, bore = line[i]
            R = R * np.exp(-2j * k * length)
            if i:  # one pressure and one volume flow on both sides of a step
                z = (1.0 + R) / (1.0 - R) * (bores[i - 1] / bore) ** 2
                R = (z - 1.0) / (z + 1.0)
        found.append(R)
    return np.array(found)


def test_a_complete_system_sends_back_what_transfer_matrices_say(engine):
    """Up to 500 Hz within 3 % of the incident wave: pipe, expansion chamber and tailpipe."""
    line = [(0.6, 0.04), (0.30, 0.12), (0.45, 0.045)]
    exhaust = separate(engine, *(ws.Pipe(length, bore) for length, bore in line))
    frequency = np.arange(20.0, 501.0, 20.0)
    found = ws.exhaust_reflection(
        exhaust.network(engine), 2, frequencies=frequency, temperature=HOT, pulse=0.03)
    c = float(ws.EngineGas().sound_speed(HOT, 0.0, 1.0))
    theory = seen_by_plane_waves(frequency, c, [(PORT, 0.04), *line], 0.0225)
    off = np.abs(found.coefficient - theory)
    print("largest difference of the reflection:", off.max())
    assert off.max() < 0.03
    assert found.at == "exhaust valve 2"


def test_reflection_of_a_point_is_that_of_its_gas(engine):
    """The same exhaust, once as a network of one temperature, once as a point that had it."""
    exhaust = separate(engine, ws.Pipe(0.7, 0.04))
    frequency = [50.0, 150.0, 400.0]
    point = even_point(engine, exhaust)
    of_point = ws.exhaust_reflection(point, frequencies=frequency)
    alone = ws.exhaust_reflection(exhaust.network(engine), frequencies=frequency, temperature=HOT,
                                  gas=point.gas)
    assert of_point.coefficient == pytest.approx(alone.coefficient, abs=1e-3)


@pytest.mark.parametrize(("call", "message"), [
    (lambda point, net: ws.echoes(net), "echoes: point = .* must be of type Point"),
    (lambda point, net: ws.echoes(point, 5), "echoes: cylinder = 5 .*valid range 1"),
    (lambda point, net: ws.echoes(point, pulse=0.1), "must be at most 0.04 m, for the duct"),
    (lambda point, net: ws.exhaust_reflection(net, frequencies=[-1.0]), "frequencies = -1 Hz"),
    (lambda point, net: ws.exhaust_reflection(net, temperature=90.0), "temperature = 90 K"),
    (lambda point, net: ws.exhaust_reflection(point, temperature=900.0), "has its own temperature"),
    (lambda point, net: ws.exhaust_reflection(net, 7), "cylinder = 7"),
])
def test_slips_are_told_in_one_sentence(engine, four_into_one, call, message):
    with pytest.raises(ws.InputError, match=message):
        call(four_into_one, separate(engine, ws.Pipe(0.7, 0.04)).network(engine))


# --- with flow ------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def running_point():
    study = ws.load(ws.demo_path("collector"))
    settings = ws.Settings(cell_length=0.04, tolerance=1e-3)
    return ws.run_point(study.engine, study.exhausts["long collector"], 2500.0, settings=settings)


@pytest.fixture(scope="module")
def in_flow(running_point):
    return ws.echoes(running_point, pulse=0.032, longest=0.012, flow=True)


def test_answer_of_the_running_engine_is_that_of_a_pulse_turned_over_and_as_small_as_one_likes(
        running_point, in_flow, monkeypatch):
    """Two marches of the same steps: their difference over the pulse does not depend on it."""
    for amplitude in (-1e-3, 1e-5):
        monkeypatch.setattr(running, "AMPLITUDE", amplitude)
        again = ws.echoes(running_point, pulse=0.032, longest=0.012, flow=True)
        assert np.array_equal(again.time, in_flow.time)
        late = in_flow.time > 3e-4  # beyond the steep flank of the pulse itself
        for number, record in in_flow.records.items():
            assert np.abs(again.records[number] - record)[late].max() < 5e-3


def test_echo_in_moving_gas_comes_when_the_recorded_gas_lets_it(running_point, in_flow):
    """dx/dt = u + c to the merge and u - c back, by scipy on the recorded fields."""
    point = running_point
    ducts = ("exhaust port 1", "primary 1")
    lengths = [point.samples.layout["ducts"][name]["length"] for name in ducts]
    x = np.concatenate([before + point.samples.centres(name)
                        for name, before in zip(ducts, (0.0, lengths[0]), strict=True)])
    seconds = point.samples.x / (6.0 * point.rpm)
    u, c = (RegularGridInterpolator(
        (seconds, x), np.hstack([point.samples.field(name, duct) for duct in ducts]),
        bounds_error=False, fill_value=None) for name in ("velocity", "sound_speed"))
    opens = point.meta["events_deg"]["exhaust"][0] / (6.0 * point.rpm)

    def run(sign, begin, start, stop):
        def reached(t, y):
            return y[0] - stop

        reached.terminal = True
        found = solve_ivp(lambda t, y: u((t, y[0])) + sign * c((t, y[0])), (begin, begin + 0.01),
                          [start], events=reached, rtol=1e-8, max_step=1e-4)
        return float(found.t_events[0][0])

    there = run(1.0, opens, 0.0, sum(lengths))
    time = run(-1.0, there, sum(lengths), 0.0) - opens
    merge = next(echo for echo in in_flow.found[1] if echo.sender == "merge")
    assert merge.time == pytest.approx(time, abs=1e-4)
    assert merge.angle == pytest.approx(6.0 * point.rpm * merge.time)
    assert -0.8 < merge.size < -0.5


def test_shut_neighbours_hear_in_flow_what_plane_waves_say_and_the_open_valve_swallows(
        running_point, in_flow):
    """Of five branches 2 A1 / sum A goes on into each; densities at the merge are nearly alike."""
    areas = [pi * 0.019**2] * 4 + [pi * 0.029**2]
    share = float(junction(areas).transmission)
    for other in (2, 3, 4):
        first = in_flow.found[other][0]
        assert first.sender == "straight" and first.size == pytest.approx(share, abs=0.05)
    still = ws.echoes(running_point, pulse=0.032, longest=0.012)
    second = [echo for echo in still.found[1] if "twice" in echo.sender]
    assert second and abs(second[0].size) > 0.5  # a shut valve sends it on its way again
    late = in_flow.time > 1.2 * in_flow.found[1][0].time
    assert np.abs(in_flow.records[1][late]).max() < 0.1  # an open one before a cylinder does not


def test_flow_needs_the_gas_to_go_on_from(running_point):
    bare = replace(running_point, restart={})
    with pytest.raises(ws.InputError, match="flow = True needs a point with the gas"):
        ws.echoes(bare, flow=True)
    with pytest.raises(ws.InputError, match="echoes: flow = 'yes'"):
        ws.echoes(running_point, flow="yes")
