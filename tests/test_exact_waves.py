"""Finite-amplitude waves against published numbers and against the conservation laws."""

import numpy as np
import pytest
from exact_checks import check, rows

from wavesim import exact
from wavesim.errors import InputError


def simple(p_ratio, T, gamma, R):
    wave = exact.simple_wave(p_ratio, exact.sound_speed(T, gamma, R), gamma)
    return {"u": wave.u, "c": wave.c, "wave_speed": wave.speed}


def closed(p_ratio, gamma):
    return {"p_ratio": exact.reflect_closed(p_ratio, gamma)}


def opened(p_ratio, T, gamma, R):
    end = exact.reflect_open(p_ratio, exact.sound_speed(T, gamma, R), gamma)
    return {"exit_velocity": end.u, "reflected_p_ratio": end.p_ratio}


def junction(p_ratio, others, gamma):
    return {"p_ratio": exact.wave_at_junction(p_ratio, others, gamma)}


def area_change(p_ratio, area_ratio, gamma, law="isentropic"):
    return exact.wave_at_area_change(p_ratio, area_ratio, gamma, law)._asdict()


WAVES = {
    "FW-1": simple,
    "FW-2": closed,
    "FW-3": opened,
    "FW-11": area_change,
    "FW-12": area_change,
    "FW-13": junction,
}


@rows(WAVES)
def test_finite_wave_has_and_meets_the_published_pressure(row):
    check(WAVES, row)


def steepening(amplitude, wavelength, T, gamma, R, time_share=None, xi=None):
    c0, k = exact.sound_speed(T, gamma, R), 2.0 * np.pi / wavelength
    breaks = exact.breaking_time(k * amplitude, gamma)
    if xi is None:
        return {"breaking_time": breaks, "breaking_distance": c0 * breaks}
    t = time_share * breaks
    field = exact.simple_wave_field(
        lambda x: amplitude * np.sin(k * x), np.array([xi + c0 * t]), t, amplitude, c0, gamma
    )
    return {"u": field.u[0]}


def sine_piston(amplitude, frequency, T, gamma, R):
    c0 = exact.sound_speed(T, gamma, R)
    return {"shock_distance": exact.sine_piston_shock_distance(amplitude, frequency, c0, gamma)}


def shock_birth(T, gamma, R, acceleration=None, p_0=None, rise=None, rise_time=None):
    c0 = exact.sound_speed(T, gamma, R)
    if acceleration is None:
        ramp = exact.ramp_shock_distance(rise, rise_time, p_0, c0, gamma)
        return {"ramp_shock_distance": ramp}
    t, x = exact.accelerating_piston_shock(acceleration, c0, gamma)
    return {"shock_time": t, "shock_distance": x}


STEEPENING = {"FW-4": steepening, "FW-5": sine_piston, "FW-6": shock_birth}


@rows(STEEPENING)
def test_compression_steepens_into_a_shock_as_published(row):
    check(STEEPENING, row)


def gun(gamma, c_ratio=None, incident_c_ratio=None):
    power = 2.0 * gamma / (gamma - 1.0)
    if c_ratio is None:
        return {"reflected_p_ratio": exact.reflect_closed(incident_c_ratio**power, gamma)}
    return {
        "wall_time": exact.rarefaction_wall_time(c_ratio, gamma),
        "wall_p_ratio": c_ratio**power,
    }


def shock_at_wall(shock_mach, gamma):
    wall = exact.shock_at_closed_end(shock_mach, gamma)
    return {
        "p2/p1": exact.moving_shock(shock_mach, gamma).pressure,
        "p5/p1": wall.pressure,
        "T5/T1": wall.temperature,
    }


def shock_at_exit(gamma, shock_mach=None):
    if shock_mach is None:
        return exact.open_end_limits(gamma)._asdict()
    shock, end = exact.moving_shock(shock_mach, gamma), exact.shock_at_open_end(shock_mach, gamma)
    return {
        "u2/c1": shock.u,
        "M2": shock.mach,
        "u3/c1": end.u,
        "c3/c1": end.c,
        "M3": end.mach,
        "p3/p1": end.pressure,
    }


def piston(T, gamma, R, piston_speed=0.0):
    c0 = exact.sound_speed(T, gamma, R)
    shock = exact.piston_shock(piston_speed, c0, gamma)
    return {
        "shock_mach": shock.mach,
        "p2/p1": shock.pressure,
        "shock_speed": shock.speed,
        "withdrawn_p_ratio": exact.piston_rarefaction(piston_speed, c0, gamma),
        "escape_speed": exact.escape_speed(c0, gamma),
    }


SHOCKS = {"FW-7": gun, "FW-8": shock_at_wall, "FW-9": shock_at_exit, "FW-10": piston}


@rows(SHOCKS)
def test_shock_and_rarefaction_meet_an_end_as_published(row):
    check(SHOCKS, row)


def test_field_at_the_start_is_the_profile():
    x = np.linspace(0.0, 1.0, 21)
    field = exact.simple_wave_field(np.sin, x, 0.0, 1.0, 340.0, 1.4)
    assert np.allclose(field.u, np.sin(x), atol=1e-12)


def test_simple_wave_field_keeps_its_relations_and_its_mean():
    x, c0, k = np.arange(400) / 400.0, 340.0, 2.0 * np.pi
    t = 0.5 * exact.breaking_time(20.0 * k, 1.4)
    field = exact.simple_wave_field(lambda x: 20.0 * np.sin(k * x), x, t, 20.0, c0, 1.4)
    wave = exact.simple_wave(field.p_ratio, c0, 1.4)
    assert np.allclose(wave.u, field.u, atol=1e-9) and np.allclose(wave.c, field.c, rtol=1e-12)
    assert np.allclose(field.rho_ratio**1.4, field.p_ratio, rtol=1e-12)
    assert abs(field.u.mean()) < 1e-9


def test_broken_wave_is_refused():
    c0, k = 340.0, 2.0 * np.pi
    late = 1.05 * exact.breaking_time(20.0 * k, 1.4)
    with pytest.raises(InputError, match="broken"):
        exact.simple_wave_field(
            lambda x: 20.0 * np.sin(k * x), np.linspace(0.0, 1.0, 50), late, 20.0, c0, 1.4
        )


@pytest.mark.parametrize("shock_mach", [1.05, 1.5, 3.0])
def test_reflected_shock_brings_the_gas_to_rest(shock_mach):
    """The reflection is the Riemann problem of the gas behind the shock and its mirror image."""
    gas = exact.moving_shock(shock_mach, 1.4)
    u = gas.u * np.sqrt(1.4)
    met = exact.solve_riemann((gas.density, u, gas.pressure), (gas.density, -u, gas.pressure), 1.4)
    wall = exact.shock_at_closed_end(shock_mach, 1.4)
    assert wall.pressure == pytest.approx(met.p_star, rel=1e-12)


def test_piston_and_riemann_problem_agree():
    c0, u = np.sqrt(1.4), 0.7
    pushed = exact.solve_riemann((1.0, u, 1.0), (1.0, -u, 1.0), 1.4).p_star
    pulled = exact.solve_riemann((1.0, -u, 1.0), (1.0, u, 1.0), 1.4).p_star
    assert exact.piston_shock(u, c0, 1.4).pressure == pytest.approx(pushed, rel=1e-12)
    assert exact.piston_rarefaction(u, c0, 1.4) == pytest.approx(pulled, rel=1e-12)


@pytest.mark.parametrize("area_ratio", [0.25, 0.5, 2.0, 4.0])
def test_weak_wave_at_an_area_change_obeys_linear_acoustics(area_ratio):
    rise = 1e-6
    step = exact.wave_at_area_change(1.0 + rise, area_ratio, 1.4)
    linear = exact.area_step(1.0, area_ratio).transmission
    assert (step.beyond - 1.0) / rise == pytest.approx(linear, rel=1e-4)


def test_weak_wave_at_a_junction_obeys_linear_acoustics():
    rise = 1e-6
    wave = exact.wave_at_junction(1.0 + rise, 3, 1.4)
    assert (wave - 1.0) / rise == pytest.approx(exact.junction([1.0] * 4).transmission, rel=1e-4)


def test_momentum_law_is_refused_where_it_has_no_sense():
    with pytest.raises(InputError, match="momentum"):
        exact.wave_at_area_change(1.5, 0.5, 1.4, "momentum")
    with pytest.raises(InputError, match="law must be"):
        exact.wave_at_area_change(1.5, 0.5, 1.4, "isentropc")
