"""Crank, burning law and vessels against published numbers."""

import numpy as np
import pytest
from exact_checks import check, rows

from wavesim import exact
from wavesim.errors import InputError


def otto(compression_ratio, gamma):
    return {"efficiency": exact.otto_efficiency(compression_ratio, gamma)}


def crank(stroke, rod, theta_deg=0.0, bore=1.0, compression_ratio=10.0):
    angle, slope = exact.fastest_piston(stroke, rod)
    volume = [
        exact.cylinder_volume(a, bore, stroke, rod, compression_ratio) for a in (0.0, 90.0, 180.0)
    ]
    return {
        "travel": exact.crank_travel(theta_deg, stroke, rod),
        "travel_slope": exact.crank_travel_slope(theta_deg, stroke, rod),
        "fastest_angle": angle,
        "fastest_slope_over_radius": slope / (0.5 * stroke),
        "displacement": volume[2] - volume[0],
        "clearance": volume[0],
        "volume_90": volume[1],
    }


def wiebe(a, shape, burned=0.5):
    early, late = exact.wiebe_progress([0.1, 0.9], a, shape)
    return {
        "progress": exact.wiebe_progress(burned, a, shape),
        "progress_10_90": late - early,
        "burned_at_end": exact.wiebe_burned(1.0, a, shape),
    }


def vessel(T_0, gamma, p_0=0.0, p_back=None, volume=1.0, area=1.0, diameter=None, R=1.0, t=0.0):
    hole = area if diameter is None else 0.25 * np.pi * diameter**2
    tau = exact.vessel_time_constant(volume, hole, T_0, gamma, R)
    found = {
        "time_constant": tau,
        "p/p0": exact.vessel_pressure(t, tau, gamma),
        "filled_temperature": exact.filled_vessel_temperature(T_0, gamma),
    }
    if p_back is not None:
        found["unchoke_time"] = exact.vessel_unchoke_time(p_0, p_back, tau, gamma)
    return found


ENGINE = {"TH-1": otto, "TH-2": crank, "TH-3": wiebe, "TH-5": vessel}


@rows(ENGINE)
def test_engine_arithmetic_gives_the_published_number(row):
    check(ENGINE, row)


@pytest.mark.parametrize("offset", [0.0, 0.005])
def test_travel_slope_is_the_derivative_of_the_travel(offset):
    theta, step = np.linspace(0.0, 360.0, 25), 1e-3
    high = exact.crank_travel(theta + step, 0.086, 0.1455, offset)
    low = exact.crank_travel(theta - step, 0.086, 0.1455, offset)
    slope = exact.crank_travel_slope(theta, 0.086, 0.1455, offset)
    assert np.allclose(slope, (high - low) / np.radians(2.0 * step), atol=1e-8)


def test_travel_with_an_offset_starts_at_the_highest_place():
    travel = exact.crank_travel(np.linspace(0.0, 360.0, 3601), 0.086, 0.1455, 0.005)
    assert 0.0 <= travel.min() < 1e-7


def test_burning_law_and_its_inverse_undo_each_other():
    y = np.linspace(0.05, 0.95, 10)
    assert np.allclose(exact.wiebe_progress(exact.wiebe_burned(y, 5.0, 1.5), 5.0, 1.5), y)


def test_vessel_loses_mass_at_the_choked_rate():
    """-V d(rho)/dt at the start equals the choked flow, by a short step."""
    volume, area, p0, T0, g, R = 1e-3, 1e-4, 5e5, 400.0, 1.4, 287.05
    tau, step = exact.vessel_time_constant(volume, area, T0, g, R), 1e-7
    mass = p0 * volume / (R * T0)
    lost = mass * (1.0 - exact.vessel_pressure(step, tau, g) ** (1.0 / g)) / step
    assert lost == pytest.approx(area * exact.choked_flux(p0, T0, g, R), rel=1e-4)


def test_rod_shorter_than_the_crank_is_refused():
    with pytest.raises(InputError, match="rod"):
        exact.crank_travel(10.0, 0.086, 0.04)
