"""The running parts of a pressure, against waves that were made to meet."""

from math import pi

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.interpolate import CubicSpline

import wavesim as ws
from wavesim.results.traces import Trace
from wavesim.results.waves import split_waves

QUIET = 1.1e5  # [Pa]
X = np.arange(0.0, 720.0, 2.0)  # [deg]
ON = np.exp(-(((X - 300.0) / 60.0) ** 2)) - 0.5 * np.exp(-(((X - 520.0) / 40.0) ** 2))
BACK = -0.7 * np.exp(-(((X - 340.0) / 50.0) ** 2)) + 0.4 * np.exp(-(((X - 100.0) / 30.0) ** 2))


class Recorded:
    """What `split_waves` asks of samples, made by hand."""

    def __init__(self, **values):
        self.values = values

    def trace(self, quantity, at, x):
        return Trace(X, np.broadcast_to(self.values[quantity], X.shape), quantity, at, rpm=3000.0)

    def direction(self, at):
        return 1.0


def isentrope(gas, temperature, burned, low, high):
    """Temperature and integral of dp/(rho c) against pressure, both 0 at QUIET; scipy does it.

    Along an isentrope c_p dT = dp / rho; across a wave du = dp/(rho c).
    """
    def rates(log_p, state):
        T = state[0]
        R, cp = float(gas.R(0.0, burned)), float(gas.cp(T, 0.0, burned))
        return [R * T / cp, R * T / float(gas.sound_speed(T, 0.0, burned))]

    branches = [solve_ivp(rates, np.log([QUIET, end]), [temperature, 0.0], rtol=1e-11, atol=1e-11,
                          t_eval=np.linspace(*np.log([QUIET, end]), 400)) for end in (low, high)]
    log_p = np.concatenate([branches[0].t[::-1], branches[1].t[1:]])
    T, way = (np.concatenate([branches[0].y[i][::-1], branches[1].y[i][1:]]) for i in (0, 1))
    return CubicSpline(np.exp(log_p), T), CubicSpline(np.exp(log_p), way), CubicSpline(
        way, np.exp(log_p))


GASES = {
    "air": (ws.PerfectGas(), 300.0, 0.0),
    "burned gas": (ws.EngineGas("gasoline", 1.0), 1000.0, 1.0),
}


@pytest.mark.parametrize("flow", [0.0, 90.0])
@pytest.mark.parametrize("gas", GASES)
@pytest.mark.parametrize(("size", "share"), [(1e-4, 1e-3), (0.35, 1e-2)])
def test_waves_that_were_made_to_meet_are_told_apart(gas, size, share, flow):
    """At 1e-4 of the pressure within 0.1 % of the wave, at 0.35 bar in a bar within 1 %."""
    model, temperature, burned = GASES[gas]
    T_of, way_of, p_of = isentrope(model, temperature, burned, 0.4 * QUIET, 2.4 * QUIET)
    p_on, p_back = QUIET * (1.0 + size * ON), QUIET * (1.0 + size * BACK)
    pressure = p_of(way_of(p_on) + way_of(p_back))
    T = T_of(pressure)
    made = Recorded(
        pressure=pressure, velocity=flow + way_of(p_on) - way_of(p_back),
        gamma=model.gamma(T, 0.0, burned), sound_speed=model.sound_speed(T, 0.0, burned))
    found = split_waves(made, "pipe", 0.0, QUIET, flow)
    for trace, wave in ((found.on, p_on), (found.back, p_back)):
        off = np.abs(trace.values - wave).max() / (QUIET * size)
        assert off < share, (gas, off)


@pytest.mark.parametrize("flow", [0.0, 60.0])
def test_waves_of_the_march_come_through_each_other_unchanged(flow):
    """Two waves of 0.2 bar that meet, against each of them alone on the same cells."""
    c, gamma = 347.0, 1.4
    T = c * c / (gamma * 287.05)

    def state(x, right, left):
        """Simple waves (Earnshaw): velocity 5 (c - c0) either way in a gas of gamma 1.4."""
        ratio = [1.0 + size * np.exp(-(((x - place) / 0.08) ** 2))
                 for size, place in ((right, 0.5), (left, 1.5))]
        both = [r ** (1.0 / 7.0) - 1.0 for r in ratio]
        sound = c * (1.0 + both[0] + both[1])
        u = flow + 5.0 * c * (both[0] - both[1])
        return QUIET * (sound / c) ** 7.0, u, T * (sound / c) ** 2.0, "air"

    network = ws.Network({"pipe": ws.Pipe(2.0, 0.04)}, {
        "left": ws.AnechoicEnd("pipe.start"), "right": ws.AnechoicEnd("pipe.end")})
    settings = ws.Settings(cell_length=0.002, friction=False, wall_heat=False)

    def run(right, left):
        return ws.simulate(network, 3e-3, initial={"pipe": lambda x: state(x, right, left)},
                           samples=301, settings=settings)

    together = run(0.2, -0.15).waves("pipe", 1.0, quiet=QUIET, flow=flow)
    for name, size in (("on", 0.2), ("back", -0.15)):
        alone = run(max(size, 0.0), min(size, 0.0)).trace("pressure", "pipe", 1.0)
        for values in (getattr(together, name).values, alone.values):
            wave = values - QUIET
            assert wave[np.argmax(np.abs(wave))] == pytest.approx(size * QUIET, rel=0.01)


@pytest.fixture(scope="module")
def point():
    study = ws.load(ws.demo_path("collector"))
    exhaust = next(iter(study.exhausts.values()))
    return ws.run_point(study.engine, exhaust, 4500.0,
                        settings=ws.Settings(cell_length=0.04, tolerance=1e-2))


def test_parts_of_an_engine_make_the_pressure_again(point):
    """By the rule of small waves up to a tenth of their product; direction known at a valve."""
    at_valve = point.waves("exhaust valve 1")
    beside = point.waves("exhaust port 1", 0.0)
    excess = at_valve.on.values + at_valve.back.values - 2.0 * at_valve.quiet
    whole = at_valve.pressure.values - at_valve.quiet
    assert np.abs(excess - whole).max() < 0.1 * np.abs(whole).max()
    # What the valve sends runs on: the blowdown is in that part, at the node as in the duct.
    for waves in (at_valve, beside):
        own = waves.on.own_angle(1)
        assert 120.0 < own.highest().x < 260.0
        assert own.highest().value > waves.back.highest().value


def test_reflection_is_wave_back_over_wave_on_at_harmonics_of_the_cycle(point):
    found = point.waves("exhaust valve 1")
    reflection = found.reflection(highest=600.0)
    assert reflection.frequency.max() <= 600.0
    order = reflection.frequency / (4500.0 / 120.0)
    assert order == pytest.approx(np.rint(order)) and order[0] == 1.0
    on, back = (np.fft.rfft(trace.values - found.quiet) for trace in (found.on, found.back))
    order = np.rint(order).astype(int)
    assert reflection.coefficient == pytest.approx(back[order] / on[order], rel=1e-9)
    assert reflection.impedance == pytest.approx(
        (on + back)[order] / (on - back)[order], rel=1e-9)


def test_reflection_of_made_waves_is_the_one_that_was_made():
    """A wave back that is half the wave on, a quarter of a cycle late."""
    on = QUIET * (1.0 + 1e-5 * sum(np.cos(np.radians(0.5 * k * X)) / k for k in range(1, 9)))
    back = QUIET - 0.5 * (on - QUIET)[(np.arange(X.size) - X.size // 4) % X.size]
    rho_c = 400.0
    c = QUIET * 1.4 / rho_c
    made = Recorded(pressure=on + back - QUIET, velocity=(on - back) / rho_c, gamma=1.4,
                    sound_speed=c)
    found = split_waves(made, "pipe", 0.0, QUIET, 0.0).reflection()
    order = found.frequency / 25.0
    wanted = -0.5 * np.exp(-1j * 0.5 * pi * order)
    assert found.coefficient[:8] == pytest.approx(wanted[:8], abs=2e-3)
    assert order[:8] == pytest.approx(np.arange(1.0, 9.0))


def test_a_shut_valve_sends_back_what_comes(point):
    """Without flow the two parts are equal: all is reflected."""
    found = point.waves("exhaust valve 1")
    shut = (found.on.x > 420.0) & (found.on.x < 700.0)
    assert found.on.values[shut] == pytest.approx(found.back.values[shut], rel=1e-9)


def test_waves_refuse_what_cannot_be(point):
    with pytest.raises(ws.InputError, match="waves: at = 'cylinder 1'"):
        point.waves("cylinder 1")
    with pytest.raises(ws.InputError, match="waves: quiet = -1 Pa"):
        point.waves("exhaust valve 1", quiet=-1.0)
    with pytest.raises(ws.InputError, match="needs a cycle of an engine"):
        pipe = ws.Network({"pipe": ws.Pipe(0.5, 0.04)}, {
            "a": ws.ClosedEnd("pipe.start"), "b": ws.OpenEnd("pipe.end")})
        ws.simulate(pipe, 1e-4, samples=4).waves("pipe", 0.1).reflection()
    with pytest.raises(ws.InputError, match="highest = 1 Hz is below all harmonics"):
        point.waves("exhaust valve 1").reflection(highest=1.0)
