"""Curves that were measured: what is refused, and comparison with computed ones and each other."""

from math import pi

import numpy as np
import pytest
from csv_files import csv_records
from fakes import fake_sweep
from matplotlib import pyplot

from wavesim import Curve, InputError, SpeedCurve, Sweep, compare, plots
from wavesim.show.forms import CurveDifference, TracedCurve

SPEEDS = (2000.0, 3000.0, 4000.0)


def pull(torque=(100.0, 120.0, 110.0), name="pull", rpm=SPEEDS, **more):
    """Invented pull on a dynamometer."""
    return Curve(name, rpm, {"torque": torque}, **more)


@pytest.fixture(autouse=True)
def closed_figures():
    yield
    pyplot.close("all")


@pytest.fixture
def ax():
    (axes,) = plots.new_axes(1)
    return axes


# --- the curve itself -----------------------------------------------------------------------------


def test_power_follows_from_torque_and_torque_from_power():
    """Power is torque times angular velocity, 2 pi rpm / 60; so are their uncertainties."""
    made = pull(uncertainty={"torque": [1.0, 2.0, 3.0]})
    omega = 2.0 * pi * np.array(SPEEDS) / 60.0
    assert made.power == pytest.approx(omega * made.torque)
    assert made.uncertainty("power") == pytest.approx(omega * [1.0, 2.0, 3.0])
    back = Curve("back", SPEEDS, {"power": made.power}, uncertainty={"power": 1000.0})
    assert back.torque == pytest.approx(made.torque)
    assert back.uncertainty("torque") == pytest.approx(1000.0 / omega)
    assert made.quantities == ("torque", "power") and back.unit("torque") == "N m"


def test_power_that_was_measured_is_kept_as_it_is():
    power = [21e3, 37.7e3, 46.1e3]  # rounded, and corrected a little differently
    made = Curve("both", SPEEDS, {"torque": [100.0, 120.0, 110.0], "power": power})
    assert made.power.tolist() == power


def test_power_in_kilowatts_is_noticed():
    with pytest.raises(InputError, match=r"power = 37.7 W at 3000 rev/min does not go with torque "
                                         r"= 120 N m, which makes 37699.1 W \(powers are in W"):
        Curve("slip", SPEEDS[:2], {"torque": [100.0, 120.0], "power": [20.9, 37.7]})


def test_quantities_of_ones_own_have_the_unit_that_is_stated():
    made = Curve("own", SPEEDS, {"oil_pressure": [3.1, 3.5, np.nan]}, units={"oil_pressure": "bar"})
    assert made.unit("oil_pressure") == "bar" and made[3000].oil_pressure == 3.5
    assert made.uncertainty("oil_pressure") is None and len(made) == 3
    assert "oil pressure" in made._repr_html_() and "3.500" in made._repr_html_()
    assert repr(made) == "<Curve 'own': 3 speeds, oil_pressure>"


def test_numbers_of_a_curve_cannot_be_changed_by_accident():
    torque = np.array([100.0, 120.0, 110.0])
    made = pull(torque)
    torque[0] = 0.0
    assert made.torque[0] == 100.0
    for array in (made.rpm, made.torque, made.power, made.trusted):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 1.0


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ({"name": 3}, "name = 3 must be a text"),
        ({"rpm": []}, r"rpm = \[\] is empty"),
        ({"rpm": (2000, 2000, 3000)}, "rpm = 2000 rev/min follows 2000 rev/min"),
        ({"rpm": (2000, 3000, 4e5)}, "400000 rev/min is outside the valid range 100 rev/min"),
        ({"rpm": 3000}, "rpm = 3000 must be a sequence"),
        ({"torque": (1.0, 2.0)}, "torque has 2 values for 3 speeds"),
        ({"torque": (1.0, "2", 3.0)}, r"torque = '2' is not a number .* N m"),
        ({"torque": (1.0, np.inf, 3.0)}, "torque = inf N m is not a finite number"),
        ({"uncertainty": {"torque": -1.0}}, "uncertainty of torque = -1 N m is outside"),
        ({"uncertainty": {"torqe": 1.0}}, "did you mean 'torque'"),
        ({"uncertainty": {"torque": [1.0, 2.0]}}, "uncertainty of torque has 2 values"),
        ({"units": {"torque": "lbf ft"}}, "unit of torque = 'lbf ft' must be 'N m'"),
        ({"units": {"speed": "1"}}, "units = 'speed' must be one of 'torque'"),
        ({"trusted": [True, False]}, "trusted must hold 3 times True or False"),
        ({"trusted": [1, 0, 1]}, "trusted must hold 3 times True or False"),
        ({"notes": ["a", 3]}, r"notes = \('a', 3\) must be a text"),
    ],
)
def test_wrong_curve_is_refused_in_one_sentence(arguments, message):
    with pytest.raises(InputError, match=message) as caught:
        pull(**arguments)
    assert str(caught.value).startswith("Curve")


@pytest.mark.parametrize(
    ("values", "message"),
    [
        ({}, "must map names of quantities"),
        ([1.0, 2.0], "must map names of quantities"),
        ({"torqe": [1.0, 2.0]}, "'torqe' is no key of QUANTITIES, its unit .*; did you mean 'torq"),
    ],
)
def test_curve_without_known_quantities_is_refused(values, message):
    with pytest.raises(InputError, match=message):
        Curve("a", (1000, 2000), values)


# --- comparison -----------------------------------------------------------------------------------


def test_computed_and_measured_curves_have_the_form_and_only_a_sweep_has_traces():
    sweep = fake_sweep(SPEEDS, [1, 2, 3])
    assert isinstance(sweep, SpeedCurve) and isinstance(pull(), SpeedCurve)
    assert isinstance(sweep, TracedCurve) and not isinstance(pull(), TracedCurve)
    assert isinstance(compare(sweep, pull()), CurveDifference)
    assert not isinstance(3.0, SpeedCurve) and isinstance(Sweep([]), SpeedCurve)


def test_measured_curve_is_compared_with_a_computed_one(tmp_path, ax):
    computed = fake_sweep((2000, 4000), [104, 114], "computed", loose=(4000,))
    measured = pull(uncertainty={"torque": 5.0}, notes="Second gear.", trusted=[True, False, True])
    c = compare(computed, measured)
    assert c.difference().tolist() == [-4.0, 11.0, -4.0]
    assert c.uncertainty().tolist() == [5.0] * 3 and c.trusted.tolist() == [True, False, False]
    text = c.summary()
    assert "A = computed\nB = pull" in text and "3000*" in text and "kW" in text
    assert "Torque: the difference is within the stated uncertainty at 2000, 4000 rev/min." in text
    assert "pull: Second gear." in text and "pull: Not to be trusted at 3000 rev/min." in text
    assert "computed: Not converged at 4000 rev/min." in text
    assert "computed: Cycles were run until they repeat within 0.05 %" in text
    c.to_csv(tmp_path / "c.csv")
    rows = csv_records(tmp_path / "c.csv")
    assert [float(row["torque difference [N m]"]) for row in rows] == c.difference().tolist()
    assert {row["torque uncertainty of the difference [N m]"] for row in rows} == {"5.0"}
    assert c.plot(ax) is ax and len(ax.collections) == 1


def test_two_measured_curves_are_compared(ax):
    a = pull(uncertainty={"torque": 3.0}, notes="Dry air.")
    b = pull((104.0, 114.0, 110.0), "after", uncertainty={"torque": 4.0}, notes="Dry air.")
    c = compare(a, b)
    assert c.uncertainty().tolist() == [5.0] * 3  # root of the sum of squares
    assert "within the stated uncertainty at 2000, 4000 rev/min." in c.summary()
    assert c.notes() == ["Dry air."] and "tolerance" not in c.summary()
    assert compare(a, pull((200, 220, 210), "b")).summary().count("exceeds the stated unc") == 1
    same = compare(a, pull(name="again")).summary()
    assert "is within the stated uncertainty at every speed" in same and "no difference" in same
    assert len(c.plot().figure.axes) == 2


def test_comparison_knows_what_both_curves_hold():
    computed = fake_sweep(SPEEDS, [1, 2, 3], "computed")
    extra = Curve("extra", SPEEDS, {"bsfc": [7e-8] * 3, "oil": [1.0, 2.0, 3.0]},
                  units={"oil": "bar"})
    c = compare(computed, extra)
    assert c.quantities == ("bsfc",)
    assert "bsfc A" in c.table() and "torque" not in c.summary()
    assert "of brake specific fuel consumption" in c.plot().get_ylabel()
    with pytest.raises(InputError, match="quantity = 'torque' must be one of 'bsfc'"):
        c.difference("torque")
    own = Curve("own", SPEEDS, {"oil": [1.0, 1.0, 1.0]}, units={"oil": "bar"})
    text = compare(extra, own).summary(["oil"])
    assert "Oil: B lies furthest below A at 4000 rev/min, -2.000 bar" in text
    with pytest.raises(InputError, match="'computed' holds torque.* and 'own' holds oil, but"):
        compare(computed, own)


def test_own_quantities_in_different_units_do_not_meet(ax):
    a, b = (Curve(unit, SPEEDS, {"oil": [1.0, 2.0, 3.0]}, units={"oil": unit})
            for unit in ("bar", "kPa"))
    for ask in (compare(a, b).values, compare(a, b).crossings, compare(a, b).band_averages):
        with pytest.raises(InputError, match="'oil' is held by 'bar' in bar and 'kPa' in kPa"):
            ask("oil")
    with pytest.raises(InputError, match="must be in one unit"):
        plots.plot_speed_curves([a, b], "oil", ax)


def test_gap_in_a_measured_curve_stays_a_gap(ax):
    gappy = pull((100.0, np.nan, 110.0))
    c = compare(fake_sweep(SPEEDS, [90, 100, 100], "computed"), gappy)
    assert np.isnan(c.difference()).tolist() == [False, True, False]
    assert c.crossings() == [] and "furthest above A at 2000" in c.summary()
    assert c.plot(ax) is ax


def test_band_of_a_curve_is_as_wide_as_its_uncertainty_in_shown_units(ax):
    made = pull(uncertainty={"torque": 3.0})
    plots.plot_speed_curves([fake_sweep(SPEEDS, [1, 2, 3], "c"), made], "power", ax)
    (band,) = ax.collections
    corners = band.get_paths()[0].vertices
    for rpm, power, half in zip(made.rpm, made.power, made.uncertainty("power"), strict=True):
        heights = corners[np.isclose(corners[:, 0], rpm), 1]
        assert heights.min() == pytest.approx(1e-3 * (power - half))
        assert heights.max() == pytest.approx(1e-3 * (power + half))
    names = [text.get_text() for text in ax.get_legend().get_texts()]
    assert names == ["c", "pull", "stated uncertainty"]


def test_valve_pressure_of_a_measured_curve_is_refused(ax):
    with pytest.raises(InputError, match="sweeps = <Curve 'pull'.* must be a Sweep whose points "
                                         "hold their traces; it has no points"):
        plots.plot_valve_pressure(pull(), 3000, ax)


def test_crossings_that_lie_close_share_one_label(ax):
    rpm = np.arange(1000.0, 9001.0, 1000.0)
    a = Curve("a", rpm, {"torque": [100.0] * 9})
    b = Curve("b", rpm, {"torque": [90, 90, 90, 110, 90, 90, 110, 110, 110]})
    plots.plot_difference(compare(a, b), ax=ax)
    assert [text.get_text() for text in ax.texts][:-1] == ["3500", "4500", "6500"]
    ax.clear()
    c = Curve("c", rpm, {"torque": [90, 90, 90, 101, 90, 90, 110, 110, 110]})
    plots.plot_difference(compare(a, c), ax=ax)
    assert [text.get_text() for text in ax.texts][:-1] == ["3900, 4100", "6500"]


def test_anything_of_the_form_is_compared_and_drawn(ax):
    class Table:
        name, rpm, quantities = "table", np.array(SPEEDS), ("torque",)
        trusted, notes = np.array([True] * 3), ("From a book.",)

        def __getitem__(self, quantity):
            return np.array([90.0, 121.0, 100.0])

        def unit(self, quantity):
            return "N m"

        def uncertainty(self, quantity):
            return None

    c = compare(pull(), Table())
    assert c.quantities == ("torque",) and c.difference().tolist() == [-10.0, 1.0, -10.0]
    assert "table: From a book." in c.summary()
    plots.plot_speed_curves([pull(), Table()], ax=ax)
    assert len(ax.get_lines()) == 2


def test_what_lacks_a_part_of_the_form_is_told_what():
    class Half:
        name, rpm = "half", np.array(SPEEDS)

        def __repr__(self):
            return "half"

    for a, b, field in ((pull(), Half(), "b"), (Half(), pull(), "a")):
        lacks = f"compare: {field} = half must be .*; it has no notes, quantities, trusted, unc"
        with pytest.raises(InputError, match=lacks):
            compare(a, b)
    with pytest.raises(InputError, match="comparison = <Curve 'pull'.* must be a Comparison"):
        plots.plot_comparison(pull())
    with pytest.raises(InputError, match=r"comparisons\[1\] = <Curve .* must be a Comp"):
        plots.plot_difference([compare(pull(), pull()), pull()])
    with pytest.raises(InputError, match="traces = <Curve 'pull'.* must be a Trace"):
        plots.plot_trace(pull())
