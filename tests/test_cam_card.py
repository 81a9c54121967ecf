"""A cam card means the lift at the place where it was measured: events, lash, flanks."""

import numpy as np
import pytest

import wavesim as ws
from wavesim.descriptions.valves import lift_curve, seat_events

INCH = 0.0254
CARD = {
    "duration_deg": 232.0, "checking_lift": 0.050 * INCH, "measured_at": "tappet",
    "lobe_centre_deg": 108.0, "lift": 0.480 * INCH, "rocker_ratio": 1.6,
}


def card(**changes):
    return ws.CamCard(**{**CARD, **changes})


def crossings(lift, level):
    """Angles from the centre at which a lift passes a level, by looking at a fine table."""
    angle = np.arange(-250.0, 250.0, 0.001)
    open_ = angle[lift.lift_at(angle) >= level]
    return open_[0], open_[-1]


@pytest.mark.parametrize("share", [0.4, 0.5, 0.6])
@pytest.mark.parametrize("lash", [0.0, 0.0003])
def test_tappet_stands_at_the_checking_lift_at_the_stated_duration(share, lash):
    """The tappet's lift is that of the valve without lash over the rocker ratio."""
    shown = card(opening_share=share, lash=lash)
    first, last = crossings(shown, 1.6 * 0.050 * INCH - lash)
    assert last - first == pytest.approx(232.0, abs=0.01)
    assert -first / (last - first) == pytest.approx(share, abs=1e-4)


def test_valve_stands_at_the_checking_lift_where_the_card_says_valve():
    shown = card(measured_at="valve", lash=0.0002)
    first, last = crossings(shown, 0.050 * INCH)
    assert last - first == pytest.approx(232.0, abs=0.01)


def test_lift_at_the_tappet_misread_as_valve_lift_moves_the_seats_by_many_degrees():
    right, wrong = (card(measured_at=place).events("intake", 1e-4) for place in ("tappet", "valve"))
    assert right[0] - wrong[0] > 8.0 and right[1] - wrong[1] > 8.0


def test_events_of_an_even_card_follow_from_centre_and_duration():
    """Common practice: opens at half the duration less the centre, closes at half plus centre
    less 180."""
    opens, closes = card().events("intake", 1.6 * 0.050 * INCH)
    assert (opens, closes) == pytest.approx((116.0 - 108.0, 116.0 + 108.0 - 180.0), abs=1e-9)
    opens, closes = card(lobe_centre_deg=114.0).events("exhaust", 1.6 * 0.050 * INCH)
    assert (opens, closes) == pytest.approx((116.0 + 114.0 - 180.0, 116.0 - 114.0), abs=1e-9)


def test_cold_lash_grows_to_the_hot_one():
    cold = card(lash=0.0004, lash_stated="cold", lash_growth=-0.0001)
    hot = card(lash=0.0003)
    angle = np.linspace(-150.0, 150.0, 601)
    np.testing.assert_allclose(cold.lift_at(angle), hot.lift_at(angle), atol=1e-15)


def test_more_lash_opens_later_and_less():
    tight, loose = card(lash=0.0001), card(lash=0.0004)
    assert loose.events("intake")[0] < tight.events("intake")[0]
    assert tight.lift_at(0.0) - loose.lift_at(0.0) == pytest.approx(0.0003, abs=1e-15)


@pytest.mark.parametrize("side", ["intake", "exhaust"])
def test_cam_from_a_card_has_the_lift_of_the_card(side):
    shown = card()
    cam = ws.Cam.from_card(side, **CARD)
    theta = np.linspace(0.0, 720.0, 1441)
    ours, same = (
        lift_curve(ws.Valve(diameter=0.04, lift=lift), side, theta) for lift in (cam, shown)
    )
    np.testing.assert_allclose(ours, same, atol=1e-9)
    valves = (ws.Valve(diameter=0.04, lift=lift) for lift in (cam, shown))
    assert np.ptp([seat_events(valve, side) for valve in valves], axis=0) == pytest.approx(
        0.0, abs=1e-6
    )


def test_lobe_centres_lie_about_the_separation():
    """108 intake on 112 of separation: 116 exhaust; straight up both stand at the separation."""
    assert ws.lobe_centres(112.0, 108.0) == (108.0, 116.0)
    assert ws.lobe_centres(112.0) == (112.0, 112.0)
    assert ws.lobe_centres(112.0, advance_deg=4.0) == (108.0, 116.0)


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"measured_at": "cam"}, "measured_at = 'cam' must be one of 'tappet', 'valve'"),
        ({"lash": 0.0003, "lash_stated": "cold"}, "'cold' needs lash_growth"),
        ({"lash": 0.0001, "lash_stated": "cold", "lash_growth": -0.0003}, "hot lash = -0.0002 m"),
        ({"checking_lift": 0.05}, "checking_lift = 0.05 m is outside the valid range"),
        ({"lift": 0.0019}, "between lash and peak"),
        ({"opening_share": 0.9}, "opening_share = 0.9"),
        ({"duration_deg": 340.0, "lift": 0.0021}, "too near the peak"),
    ],
)
def test_bad_card_is_refused(changes, sentence):
    with pytest.raises(ws.InputError, match=sentence):
        card(**changes)


def test_two_lashes_are_refused():
    with pytest.raises(ws.InputError, match="stands beside the lash of its CamCard"):
        ws.Valve(diameter=0.04, lift=card(lash=0.0003), lash=0.0002)


def test_lash_is_too_much_for_a_plain_cam():
    with pytest.raises(ws.InputError, match="more than a Cam can hold"):
        ws.Cam.from_card("intake", **CARD, lash=0.0003)


def test_card_stands_in_a_study_file(tmp_path):
    study = ws.load(ws.demo_path())
    valve = study.engine.exhaust_valve.replace(lift=card(lobe_centre_deg=112.0), lash=0.0)
    ws.save(study.replace(engine=study.engine.replace(exhaust_valve=valve)), tmp_path / "s.toml")
    assert ws.load(tmp_path / "s.toml").engine.exhaust_valve == valve
