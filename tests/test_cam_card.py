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
        ({"lobe_separation_deg": 110.0}, "exactly one of lobe_centre_deg and lobe_separation_deg"),
        ({"lobe_centre_deg": None}, "exactly one of lobe_centre_deg and lobe_separation_deg"),
        ({"intake_centre_deg": 106.0}, "intake_centre_deg needs lobe_separation_deg"),
        ({"lobe_lift": 0.0075}, "exactly one of lift"),
        ({"lift": None, "lobe_lift": 0.025}, "lift = 0.04 m is outside .* with the rocker ratio"),
        ({"lobe_centre_deg": None, "lobe_separation_deg": 130.0, "intake_centre_deg": 10.0},
         "exhaust centre = 250 deg"),
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
    with pytest.raises(ws.InputError, match="more than a Cam can hold"):
        ws.Cam.from_card("intake", **CARD, closing_lobe="gentle")


def test_card_stands_in_a_study_file(tmp_path):
    study = ws.load(ws.demo_path("collector"))
    valve = study.engine.exhaust_valve.replace(lift=card(lobe_centre_deg=112.0), lash=0.0)
    ws.save(study.replace(engine=study.engine.replace(exhaust_valve=valve)), tmp_path / "s.toml")
    assert ws.load(tmp_path / "s.toml").engine.exhaust_valve == valve


# --- a card as it comes in the box ----------------------------------------------------------------

BOX = {**CARD, "lobe_centre_deg": None, "lift": None, "lobe_separation_deg": 110.0,
       "intake_centre_deg": 106.0, "lobe_lift": 0.300 * INCH}


def test_card_of_one_camshaft_serves_both_valves():
    """Separation 110 installed at 106: 106 after and 114 before dead centre (common practice)."""
    box = ws.CamCard(**BOX)
    for side, centre in (("intake", 106.0), ("exhaust", 114.0)):
        same = card(lobe_centre_deg=centre)
        assert box.centre_deg(side) == same.centre_deg(side)
        assert box.events(side, 1e-3) == pytest.approx(same.events(side, 1e-3), abs=1e-9)
    straight = ws.CamCard(**{**BOX, "intake_centre_deg": None})
    assert straight.centre_deg("intake") == 470.0 and straight.centre_deg("exhaust") == 250.0


def test_lift_of_the_lobe_becomes_that_of_the_valve_by_the_rocker_ratio():
    box = ws.CamCard(**{**BOX, "lash": 0.0003})
    assert float(box.lift_at(0.0)) == pytest.approx(1.6 * 0.300 * INCH - 0.0003, rel=1e-12)
    cam = ws.Cam.from_card("exhaust", **BOX)
    assert cam.lift == pytest.approx(0.480 * INCH, rel=1e-12)


def test_closing_flank_of_another_shape_keeps_the_stated_duration():
    """At the checking lift nothing moves; below it the gentle flank sets the valve down later."""
    even, uneven = card(), card(closing_lobe="gentle")
    level = 1.6 * 0.050 * INCH
    assert uneven.events("intake", level) == pytest.approx(even.events("intake", level), abs=1e-9)
    (opens, closes), (same, later) = (one.events("intake", 1e-4) for one in (even, uneven))
    assert opens == pytest.approx(same, abs=1e-9) and later > closes + 1.0
    angle = np.array([-80.0, -40.0])
    np.testing.assert_allclose(uneven.lift_at(angle), even.lift_at(angle), atol=1e-15)


def test_both_common_checking_lifts_may_be_written_with_their_unit():
    assert card(checking_lift="0.050 inch").checking_lift == 0.00127
    assert card(checking_lift="1 mm", measured_at="valve").timing_lift == 0.001


def test_card_of_a_study_and_the_events_that_it_makes(tmp_path):
    content = ws.demo_path("collector").read_text()
    start = content.index("[engine.exhaust_valve.lift]")
    end = content.index("# Flow coefficients")
    content = content[:start] + """
[engine.exhaust_valve.lift]
duration_deg = 232
checking_lift = "0.050 inch"
measured_at = "tappet"
lobe_separation_deg = 110
intake_centre_deg = 106
lobe_lift = "0.300 inch"
rocker_ratio = 1.6
lash = "0.4 mm"
lash_stated = "cold"
lash_growth = "-0.1 mm"
""" + content[end:]
    (tmp_path / "card.toml").write_text(content)
    for name in ("intake_lift.csv", "exhaust_flow.csv"):
        (tmp_path / name).write_bytes((ws.demo_path("collector").parent / name).read_bytes())
    engine = ws.load(tmp_path / "card.toml").engine
    shown = engine.exhaust_valve.lift
    assert shown == ws.CamCard(**{
        **BOX, "checking_lift": 0.00127, "lobe_lift": 0.00762, "lash": 0.0004,
        "lash_stated": "cold", "lash_growth": -0.0001})
    assert engine.exhaust_valve.summary("exhaust") == shown.summary("exhaust")
    told = engine.valve_timing().splitlines()
    assert told[-2].startswith("exhaust valve peak 11.89 mm at 114.0 deg before TDC")
    closes = shown.events("exhaust", 1e-3)[1]
    opens = 360.0 - seat_events(engine.intake_valve, "intake", 1e-3)[0]
    assert told[-1] == f"overlap {opens + closes:.1f} deg at 1 mm of valve lift"


@pytest.mark.parametrize("side", ["intake", "exhaust"])
def test_summary_of_a_valve_has_lash_and_advance_in_it(side):
    """A cam that is advanced does everything earlier by so much."""
    cam = ws.Cam(opens_deg=40, closes_deg=20, lift=0.009, checking_lift=0.001)
    plain, early = (ws.Valve(diameter=0.03, lift=cam, advance_deg=a) for a in (0.0, 5.0))
    assert "opens 40.0 deg before" in plain.summary(side)
    assert "opens 45.0 deg before" in early.summary(side)
    assert "closes 15.0 deg after" in early.summary(side)
    assert "peak 8.80 mm" in plain.replace(lash=2e-4).summary(side)
