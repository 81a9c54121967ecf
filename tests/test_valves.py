"""Lift synthesis, measured lift, effective area, events."""

from math import pi

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from wavesim import InputError
from wavesim.descriptions.valves import (
    LOBES,
    TYPICAL_FLOW,
    Cam,
    FlowCoefficients,
    LiftTable,
    Valve,
    effective_area,
    lift_curve,
    seat_events,
)

SIDES = ("intake", "exhaust")
OPENS = {"intake": 360.0, "exhaust": 180.0}
CLOSES = {"intake": 540.0, "exhaust": 360.0}


def cam(**changes):
    values = {"opens_deg": 20.0, "closes_deg": 50.0, "lift": 0.0095, "checking_lift": 0.001}
    return Cam(**{**values, **changes})


def valve(lift, **changes):
    return Valve(**{"diameter": 0.033, "lift": lift, **changes})


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("lobe", LOBES)
@given(
    opens=st.floats(-40.0, 90.0),
    closes=st.floats(-40.0, 90.0),
    peak=st.floats(0.004, 0.015),
    checking=st.floats(5e-5, 1.5e-3),
)
def test_lift_at_the_stated_angles_is_the_checking_lift(side, lobe, opens, closes, peak, checking):
    try:
        lift = cam(opens_deg=opens, closes_deg=closes, lift=peak, checking_lift=checking, lobe=lobe)
    except InputError as error:  # a long lobe so near its peak has no room on the cam
        assume("checking_lift is too near the peak lift" not in str(error))
        raise
    stated = [OPENS[side] - opens, CLOSES[side] + closes]
    assert lift_curve(valve(lift), side, stated) == pytest.approx(checking, rel=1e-9)


@pytest.mark.parametrize("lobe", LOBES)
def test_lobe_is_symmetric_and_peaks_at_its_centre(lobe):
    lift = cam(lobe=lobe)
    angle = np.linspace(0.0, 200.0, 4001)
    right, left = lift.lift_at(angle), lift.lift_at(-angle)
    np.testing.assert_array_equal(right, left)
    assert right[0] == right.max() == pytest.approx(0.0095, rel=1e-15)
    assert np.all(np.diff(right) <= 0.0)


@pytest.mark.parametrize("lobe", LOBES)
def test_lift_velocity_acceleration_and_jerk_vanish_at_the_seat(lobe):
    lift = cam(lobe=lobe)
    half = 0.5 * lift.base_duration_deg
    assert lift.lift_at(half) == lift.lift_at(half + 5.0) == 0.0
    # So the lift leaves the seat with the fourth power: halving the distance leaves 1/16.
    near, far = lift.lift_at(half * (1 - 0.002)), lift.lift_at(half * (1 - 0.004))
    assert far / near == pytest.approx(16.0, rel=0.1)
    slope = lift.lift_at(half * (1 - 1e-4)) / (half * 1e-4)
    assert slope < 1e-9 * lift.lift / half * 10


def test_fuller_lobes_open_more_area():
    areas = []
    for lobe in ("gentle", "medium", "full"):
        theta = np.arange(0.0, 720.0)
        areas.append(lift_curve(valve(cam(lobe=lobe)), "intake", theta).clip(1e-3).sum())
    assert areas == sorted(areas) and areas[0] < 0.98 * areas[2]


@pytest.mark.parametrize("side", SIDES)
def test_lift_repeats_every_cycle(side):
    theta = np.linspace(-300.0, 400.0, 701)
    lift = lift_curve(valve(cam()), side, theta)
    np.testing.assert_allclose(lift_curve(valve(cam()), side, theta + 720.0), lift, atol=1e-15)
    assert lift_curve(valve(cam()), side, 0.0) == 0.0


@pytest.mark.parametrize("side", SIDES)
def test_advance_moves_the_curve_earlier_and_lash_takes_lift_off(side):
    theta = np.linspace(0.0, 720.0, 1441)
    plain = lift_curve(valve(cam()), side, theta)
    early = lift_curve(valve(cam(), advance_deg=7.0), side, theta - 7.0)
    np.testing.assert_allclose(early, plain, atol=1e-15)
    slack = lift_curve(valve(cam(), lash=0.0003), side, theta)
    np.testing.assert_allclose(slack, np.maximum(plain - 0.0003, 0.0), atol=1e-15)


@pytest.mark.parametrize(("side", "expected"), [("intake", (340, 590)), ("exhaust", (160, 410))])
def test_events_of_a_cam_are_the_stated_angles(side, expected):
    assert seat_events(valve(cam()), side) == pytest.approx(expected, abs=1e-9)
    shifted = seat_events(valve(cam(), advance_deg=4.0), side)
    assert shifted == pytest.approx(np.array(expected) - 4.0, abs=1e-9)


def measured(**changes):
    values = {
        "angle_deg": (-120, -90, -60, -30, 0, 30, 60, 90, 120),
        "lift": (0, 0.0008, 0.004, 0.0078, 0.009, 0.0078, 0.004, 0.0008, 0),
        "lobe_centre_deg": 110.0,
    }
    return LiftTable(**{**values, **changes})


@pytest.mark.parametrize(("side", "centre"), [("intake", 470.0), ("exhaust", 250.0)])
def test_measured_lift_passes_through_its_points(side, centre):
    table = measured()
    lift = lift_curve(valve(table), side, centre + np.array(table.angle_deg))
    np.testing.assert_allclose(lift, table.lift, atol=1e-15)
    between = lift_curve(valve(table), side, centre + np.linspace(-180.0, 180.0, 3601))
    assert between.max() == 0.009 and between.min() == 0.0
    assert lift_curve(valve(table), side, centre + 121.0) == 0.0


def test_events_of_a_table_are_found_at_any_lift():
    opens, closes = seat_events(valve(measured()), "intake", checking_lift=0.004)
    assert (opens, closes) == pytest.approx((410.0, 530.0), abs=1e-9)


def test_lift_table_from_csv_converts_cam_degrees_and_millimetres(tmp_path):
    path = tmp_path / "cam.csv"
    path.write_text("cam_deg,mm\n-60,0\n0,9\n60,0.02\n")
    table = LiftTable.from_csv(path, lobe_centre_deg=105, angle_scale=2.0, lift_scale=1e-3)
    assert table.angle_deg == (-120.0, 0.0, 120.0)
    assert table.lift == pytest.approx((0.0, 0.009, 2e-5))


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("count", [1, 2])
def test_small_lift_opens_the_curtain(side, count):
    theta = np.linspace(0.0, 720.0, 2881)
    intake = valve(cam(), count=count)
    lift = lift_curve(intake, side, theta)
    small = lift < 0.05 * 0.033
    forward, reverse = effective_area(intake, side, theta)
    curtain = count * TYPICAL_FLOW[side].forward[0] * pi * 0.033 * lift
    np.testing.assert_allclose(forward[small], curtain[small], rtol=1e-14)
    np.testing.assert_array_equal(forward, reverse)


def test_area_never_exceeds_the_heads():
    flow = FlowCoefficients(lift_ratio=(0.1, 0.4), forward=(1.1, 1.1), reverse=(0.5, 0.5))
    open_wide = valve(cam(lift=0.015), count=2, flow=flow)
    forward, reverse = effective_area(open_wide, "exhaust", np.linspace(0.0, 720.0, 721))
    assert forward.max() == pytest.approx(2 * pi / 4 * 0.033**2, rel=1e-14)
    assert reverse.max() == pytest.approx(0.5 * 2 * pi * 0.033 * 0.015, rel=1e-3)


def test_coefficients_on_the_head_fall_to_zero_with_the_lift():
    flow = FlowCoefficients(lift_ratio=(0.1, 0.3), forward=(0.3, 0.6), reference="head")
    forward, _ = flow.areas(0.033 * np.array([0.0, 0.05, 0.1, 0.2, 0.5]), 0.033)
    head = pi / 4 * 0.033**2
    np.testing.assert_allclose(forward / head, [0.0, 0.15, 0.3, 0.45, 0.6], rtol=1e-13)


def test_flow_coefficients_from_csv(tmp_path):
    path = tmp_path / "flow.csv"
    path.write_text("ld,out,in\n0.05,0.7,0.6\n0.3,0.5,0.4\n")
    assert FlowCoefficients.from_csv(path, reverse="in").reverse == (0.6, 0.4)
    assert FlowCoefficients.from_csv(path).reverse is None


def test_typical_coefficients_lie_in_the_published_bands():
    exhaust, intake = TYPICAL_FLOW["exhaust"], TYPICAL_FLOW["intake"]
    assert 0.65 <= exhaust.forward[0] <= 0.75 and 0.5 <= exhaust.forward[-1] <= 0.65
    assert all(i <= e for i, e in zip(intake.forward, exhaust.forward, strict=True))
