"""Comparison of two speed curves: differences, crossings, averages, refusals."""

from dataclasses import replace

import numpy as np
import pytest
from csv_files import csv_rows
from fakes import fake_sweep
from hypothesis import given
from hypothesis import strategies as st

from wavesim import Comparison, Comparisons, CrossingSpeed, Curve, compare, describe
from wavesim.errors import InputError
from wavesim.results.points import Sweep

SPEEDS = (1000.0, 2000.0, 3000.0, 4000.0)
LEVELS = st.lists(st.integers(-3, 3), min_size=2, max_size=12)


def against_flat(difference, rpm=None):
    """Comparison whose difference of torque is given."""
    rpm = 1000.0 + 500.0 * np.arange(len(difference)) if rpm is None else rpm
    reference = fake_sweep(rpm, [100.0] * len(rpm), "flat")
    return compare(reference, fake_sweep(rpm, 100.0 + np.asarray(difference, float), "wavy"))


def test_difference_is_variant_minus_reference_in_si_units_and_percent():
    c = compare(fake_sweep(SPEEDS, [100, 200, 100, 50], "a"),
                fake_sweep(SPEEDS, [110, 190, 100, 75], "b"))
    assert c.names == ("a", "b") and not c.interpolated.any()
    assert c.difference().tolist() == [10.0, -10.0, 0.0, 25.0]
    assert c.percent() == pytest.approx([10.0, -5.0, 0.0, 50.0])
    power_a, power_b = c.values("power")
    assert c.difference("power") == pytest.approx(power_b - power_a)
    assert c.percent("power") == pytest.approx(c.percent("torque"))


def test_sweep_compared_with_itself_differs_nowhere():
    a = fake_sweep(SPEEDS, [100, 200, 100, 50])
    c = compare(a, a)
    assert not c.difference().any() and c.crossings() == []
    assert c.names[0] != c.names[1]
    assert "no difference at any speed" in c.summary()
    assert "do not cross" in c.summary()


def test_crossing_lies_on_the_straight_line_between_the_speeds():
    (crossing,) = against_flat([-1.0, 3.0], rpm=(1000.0, 2000.0)).crossings()
    assert crossing == (1250.0, 1000.0, 2000.0, "wavy")


@pytest.mark.parametrize(
    ("difference", "where"),
    [
        ([-1, 0, 1], [1500.0]),  # zero at a computed speed
        ([-1, 0, 0, 0, 1], [2000.0]),  # equal over a band, then ahead: its middle
        ([-1, 0, 0, 1], [1750.0]),
        ([1, 0, 1], []),  # touches and turns back
        ([0, 1, 2], []),  # starts equal
        ([-2, -1, 0], []),  # ends equal
        ([0, 0, 0], []),
        ([1, -1, 1, -1], [1250.0, 1750.0, 2250.0]),  # every change of place
        ([-1, np.nan, 1], []),  # not known in between
    ],
)
def test_every_change_of_sign_is_a_crossing_and_nothing_else(difference, where):
    assert against_flat(difference).crossing_rpm().tolist() == where


@given(LEVELS)
def test_crossings_alternate_and_swap_with_the_order_of_comparison(levels):
    c = against_flat(levels)
    back = compare(c.b, c.a)
    assert back.crossing_rpm().tolist() == pytest.approx(c.crossing_rpm().tolist())
    ahead = [crossing.ahead for crossing in c.crossings()]
    assert all(p != q for p, q in zip(ahead, ahead[1:], strict=False))
    signs = np.sign([v for v in levels if v])
    assert len(ahead) == np.count_nonzero(np.diff(signs))


def test_power_crosses_where_torque_crosses():
    c = against_flat([-1.0, 2.0, -5.0])
    assert c.crossing_rpm("power").tolist() == c.crossing_rpm("torque").tolist()


def test_different_speeds_are_joined_and_interpolated_and_it_is_said():
    a = fake_sweep((1000, 2000, 3000), [100, 200, 100], "a")
    b = fake_sweep((1500, 2500, 4000), [150, 150, 300], "b")
    c = compare(a, b)
    assert c.rpm.tolist() == [1500.0, 2000.0, 2500.0, 3000.0]  # both cover these
    assert c.interpolated.tolist() == [True] * 4
    assert c.values()[0].tolist() == [150.0, 200.0, 150.0, 100.0]
    assert c.values()[1].tolist() == [150.0, 150.0, 150.0, 200.0]
    assert "interpolated linearly" in c.summary() and "1500*" in c.summary()
    same = compare(a, fake_sweep((1000, 2000, 3000), [1, 2, 3], "c"))
    assert "interpolated" not in same.summary() and "*" not in same.table()


def test_band_average_is_an_integral_over_speed_not_a_mean_of_points():
    rpm = (1000.0, 1100.0, 1200.0, 3000.0)  # crowded at one end
    c = compare(fake_sweep(rpm, [100] * 4, "a"), fake_sweep(rpm, [200, 200, 200, 100], "b"),
                bands=[(1000, 3000), (1200, 2100)])
    whole, part = c.band_averages()
    assert whole.a == pytest.approx(100.0)
    assert whole.b == pytest.approx((200 * 200 + 1800 * 150) / 2000.0)
    assert (part.low, part.high) == (1200.0, 2100.0)
    assert part.b == pytest.approx(175.0)  # ends inside the last straight piece
    assert part.difference == pytest.approx(75.0) and part.percent == pytest.approx(75.0)


def test_default_bands_are_thirds_whose_mean_is_the_average_of_the_whole():
    c = compare(fake_sweep(SPEEDS, [100, 200, 100, 50]), fake_sweep(SPEEDS, [90, 20, 110, 70]))
    whole = compare(c.a, c.b, bands=[(1000, 4000)]).band_averages()[0]
    assert c.bands == ((1000.0, 2000.0), (2000.0, 3000.0), (3000.0, 4000.0))
    assert np.mean([band.b for band in c.band_averages()]) == pytest.approx(whole.b)


def test_percent_of_nothing_is_no_number():
    c = compare(fake_sweep(SPEEDS, [0, 1, 1, 1]), fake_sweep(SPEEDS, [1, 1, 1, 1]))
    assert np.isnan(c.percent()[0]) and c.percent()[1] == 0.0


def test_summary_names_extremes_crossings_and_weak_points():
    a = fake_sweep(SPEEDS, [100, 200, 100, 50], "stock", loose=(2000.0,))
    b = fake_sweep(SPEEDS, [90, 220, 100, 60], "tuned", failures={5000.0: "burst"})
    text = compare(a, b).summary()
    assert "A = stock" in text and "B = tuned" in text
    assert "furthest above A at 2000 rev/min, +20.0 N m (+10.0 %)" in text
    assert "furthest below A at 1000 rev/min, -10.0 N m (-10.0 %)" in text
    assert "cross near 1300 rev/min (between 1000 and 2000); above it B is higher" in text
    assert "stock: Not converged at 2000 rev/min." in text
    assert "tuned: Failed at 5000 rev/min." in text
    assert "kW" in text and "0.05 %" in text


def test_differences_of_shares_are_called_points():
    c = compare(fake_sweep(SPEEDS, [1] * 4), fake_sweep(SPEEDS, [2] * 4))
    assert "points" in c.table(["volumetric_efficiency"])


def test_csv_states_names_and_si_units_and_keeps_every_digit(tmp_path):
    a = fake_sweep((1000, 2000, 3000), [100, 200, 100 / 3], "a")
    b = fake_sweep((1000, 3000), [110, 150], "b")
    c = compare(a, b)
    c.to_csv(tmp_path / "c.csv", ["torque"])
    head, *rows = csv_rows(tmp_path / "c.csv")
    assert head == ["rpm [rev/min]", "interpolated", "torque a [N m]", "torque b [N m]",
                    "torque difference [N m]", "torque difference [%]"]
    assert [row[1] for row in rows] == ["0", "1", "0"]
    assert [float(row[4]) for row in rows] == c.difference().tolist()


@pytest.mark.parametrize(
    ("a", "b", "message"),
    [
        ("x", fake_sweep(SPEEDS, [1] * 4), "must be a speed curve"),
        (fake_sweep(SPEEDS, [1] * 4), Sweep([], name="lost"), r"\('lost'\) holds no point"),
        (fake_sweep((1000, 2000), [1, 1], "low"), fake_sweep((3000, 4000), [1, 1], "high"),
         "'low' covers 1000 to 2000 rev/min and 'high' covers 3000 to 4000 rev/min"),
        (fake_sweep((1000, 2000), [1, 1]), fake_sweep((2000, 4000), [1, 1]), "at least 2 speeds"),
        (fake_sweep((2000,), [1]), fake_sweep((2000,), [1]), "at least 2 speeds"),
    ],
)
def test_sweeps_that_cannot_be_compared_are_refused(a, b, message):
    with pytest.raises(InputError, match=message):
        compare(a, b)


@pytest.mark.parametrize("band", [(500, 2000), (2000, 5000), (2000, 2000), (3000, 2000), (1, 2, 3),
                                  ("low", "high"), 2000])
def test_bands_outside_the_common_range_are_refused(band):
    a = fake_sweep(SPEEDS, [1] * 4)
    with pytest.raises(InputError, match="band"):
        compare(a, a, bands=[band])


def test_unknown_quantity_is_refused_with_the_nearest_name():
    c = compare(fake_sweep(SPEEDS, [1] * 4), fake_sweep(SPEEDS, [1] * 4))
    for ask in (c.values, c.difference, c.crossings, c.band_averages, lambda q: c.table([q])):
        with pytest.raises(InputError, match="did you mean 'torque'"):
            ask("torqe")


def test_comparison_of_computed_sweeps(sweeps):
    c = compare(*sweeps.values(), bands=[(3000, 4500)])
    assert isinstance(c, Comparison) and repr(c).startswith("<Comparison: 'long collector'")
    short, long = sweeps.values()
    assert c.difference("volumetric_efficiency") == pytest.approx(
        long["volumetric_efficiency"] - short["volumetric_efficiency"]
    )
    assert "long collector" in c.summary(["torque", "power", "pmep", "bsfc", "exhaust_mass_flow"])


# --- what else differs ----------------------------------------------------------------------------


def changed(sweep, name, **meta):
    """A sweep whose points say that something else made them."""
    points = [replace(point, meta=point.meta | meta) for point in sweep]
    return Sweep(points, name=name)


def test_every_difference_besides_the_exhaust_is_named_with_its_values_and_unit(sweeps):
    base, other = sweeps.values()
    point = base[3000]
    assert not compare(base, other).differences()
    cases = {
        "engine": (
            {"engine": describe(point.engine.replace(compression_ratio=11.0))},
            "differ in engine: compression_ratio (10.5 and 11)."),
        "mesh": (
            {"settings": point.meta["settings"] | {"cell_length": 0.02, "tolerance": 1e-4}},
            "settings: cell_length (0.03 m and 0.02 m), tolerance (0.002 and 0.0001)."),
        "weather": (
            {"outside": point.meta["outside"] | {"intake": point.meta["outside"]["intake"]
                                                 | {"pressure": 97e3}}},
            "weather: intake.pressure (101325 Pa and 97000 Pa)."),
        "fuel": (
            {"engine": describe(point.engine.replace(fuel="ethanol"))},
            "differ in engine: fuel (gasoline and ethanol)."),
        "fuel flow": ({"fuel_flow": 2e-3}, "fuel flow (by the mixture of the engine and given)."),
        "gas": ({"gas": point.meta["gas"] | {"lam": 0.8}}, "differ in gas: lam (0.92 and 0.8)."),
    }
    for meta, sentence in cases.values():
        text = compare(base, changed(other, "b", **meta)).summary()
        assert sentence in text, text


def test_a_measured_curve_is_said_to_know_nothing_of_engine_and_weather(sweeps):
    base = next(iter(sweeps.values()))
    pull = Curve("pull", [3000, 6000], {"torque": [150.0, 160.0]})
    notes = compare(base, pull).notes()
    assert any(note.startswith("B: engine, fuel, weather and walls are not") for note in notes)
    assert not compare(pull, pull).differences()


def test_speeds_that_only_one_curve_holds_are_named():
    a = fake_sweep((1000, 2000, 3000, 5000), [100, 200, 100, 90], "a")
    b = fake_sweep((2000, 2500, 3000, 4000), [150, 150, 150, 300], "b")
    notes = compare(a, b).notes()
    assert "Only A covers 1000, 5000 rev/min: not compared there." in notes
    assert ("A holds no 2500, 4000 rev/min: values marked * are interpolated linearly."
            in notes)


# --- crossings that are worth their words ---------------------------------------------------------


def test_a_difference_within_the_tolerance_is_no_crossing():
    small = 0.05  # of 100 N m; the cycles of both repeat within 0.05 % each
    assert against_flat([-small, small]).crossings() == []
    assert against_flat([-1.0, small, -1.0]).crossings() == []
    (crossing,) = against_flat([-1.0, -small, small, 1.0]).crossings()
    assert (crossing.below, crossing.above) == (1000.0, 2500.0)
    assert crossing.rpm == pytest.approx(1750.0)
    assert "at 1500, 2000 rev/min the difference is smaller than the tolerance" in (
        against_flat([-1.0, -small, small, 1.0]).summary())


def test_a_difference_within_the_stated_uncertainty_is_no_crossing():
    a = Curve("a", SPEEDS, {"torque": [100.0] * 4}, uncertainty={"torque": 3.0})
    b = Curve("b", SPEEDS, {"torque": [98.0, 102.0, 106.0, 94.0]}, uncertainty={"torque": 4.0})
    (crossing,) = compare(a, b).crossings()
    assert (crossing.below, crossing.above) == (3000.0, 4000.0)


@pytest.mark.parametrize(("rpm", "below", "above", "rounded"), [
    (3079.4, 3000.0, 3500.0, 3100.0), (4825.2, 4500.0, 5000.0, 4850.0),
    (4826.0, 4750.0, 5000.0, 4820.0), (1333.3, 1300.0, 1350.0, 1335.0), (5001.2, 5000, 5005, 5001),
])
def test_crossing_is_read_no_closer_than_a_tenth_of_the_distance_of_the_speeds(
    rpm, below, above, rounded
):
    assert CrossingSpeed(rpm, below, above, "b").rounded == rounded


# --- several curves -------------------------------------------------------------------------------


def test_several_curves_are_compared_with_one_base(tmp_path):
    base = fake_sweep(SPEEDS, [100, 200, 100, 50], "base")
    two = fake_sweep(SPEEDS, [110, 190, 100, 75], "two")
    three = Curve("pull", (2000.0, 3000.0, 4000.0), {"torque": [210.0, 90.0, 55.0]})
    found = compare(base, two, three)
    assert isinstance(found, Comparisons) and len(found) == 2 and found.letters == ("A", "B", "C")
    assert found["pull"] is found[1] and [pair.a for pair in found] == [base, base]
    assert found["two"].difference().tolist() == compare(base, two).difference().tolist()
    assert found[0].bands == found[1].bands  # inside the range that all cover
    text = found.summary()
    assert "A = base\nB = two\nC = pull" in text
    assert "Torque: C lies furthest above A at 2000 rev/min, +10.0 N m (+5.0 %)." in text
    assert text.splitlines()[4].split() == ["rpm", "torque", "A", "B", "B", "-", "A", "C", "C", "-",
                                            "A"]
    assert text.splitlines()[6].split() == ["1000", "100.0", "110.0", "+10.0", "-", "-"]
    assert "Only A covers 1000 rev/min: not compared there." in text
    found.to_csv(tmp_path / "all.csv", ["torque"])
    head, *rows = csv_rows(tmp_path / "all.csv")
    assert head == ["rpm [rev/min]", "torque base [N m]", "torque two [N m]",
                    "torque two less base [N m]", "torque pull [N m]",
                    "torque pull less base [N m]"]
    assert rows[0][4] == "nan" and [float(row[5]) for row in rows[1:]] == [10.0, -10.0, 5.0]


def test_curves_of_one_name_are_told_apart():
    found = compare(*[fake_sweep(SPEEDS, [i + 1] * 4, "x") for i in range(3)])
    assert found.names == ("x (A)", "x (B)", "x (C)")


def test_curves_that_share_nothing_are_refused_by_name():
    base = fake_sweep(SPEEDS, [1] * 4, "base")
    with pytest.raises(InputError, match="curve 3 = 'x' must be a speed curve"):
        compare(base, base, "x")
    with pytest.raises(InputError, match="'far' covers 8000 to 9000 rev/min, but they must share"):
        compare(base, base, fake_sweep((8000, 9000), [1, 1], "far"))
    with pytest.raises(InputError, match="name = 'y' must be one of 'x'"):
        compare(base, fake_sweep(SPEEDS, [1] * 4, "x"), fake_sweep(SPEEDS, [1] * 4, "z"))["y"]
