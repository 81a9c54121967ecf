"""Choice of a variant: averages, peaks, what it weighs and sounds, and who is beaten by nobody."""

import numpy as np
import pytest
from csv_files import csv_rows
from fakes import fake_sweep

import wavesim as ws
from wavesim.dyno.choice import non_dominated
from wavesim.show import plots

RPM = (2000.0, 3000.0, 4000.0, 5000.0)


@pytest.fixture
def found():
    """Three invented curves: the second is below the first everywhere, the third crosses it."""
    curves = {"a": (100.0, 110.0, 120.0, 100.0), "b": (90.0, 100.0, 110.0, 95.0),
              "c": (80.0, 100.0, 130.0, 140.0)}
    return ws.choice({name: fake_sweep(RPM, torque, name) for name, torque in curves.items()},
                     bands=[(2000.0, 3000.0), (4000.0, 5000.0)])


def test_averages_and_peaks_are_those_of_the_straight_lines_between_the_speeds(found):
    """By hand: a over all (105 + 115 + 110) / 3, over both bands 105 and 110, peak 120 at 4000."""
    assert found["torque"] == pytest.approx([110.0, (95.0 + 105.0 + 102.5) / 3.0,
                                             (90.0 + 115.0 + 135.0) / 3.0])
    assert found["torque 2000 to 3000"] == pytest.approx([105.0, 95.0, 90.0])
    assert found["torque 4000 to 5000"] == pytest.approx([110.0, 102.5, 135.0])
    assert found["peak_torque"].tolist() == [120.0, 110.0, 140.0]
    assert found["peak_torque_rpm"].tolist() == [4000.0, 4000.0, 5000.0]
    assert found["peak_power"] == pytest.approx(
        np.array([100.0, 95.0, 140.0]) * 5000.0 * np.pi / 30.0)


def test_nobody_beats_the_non_dominated(found):
    assert found.front(["torque"]).tolist() == [False, False, True]
    low_and_high = ["torque 2000 to 3000", "torque 4000 to 5000"]
    assert found.front(low_and_high).tolist() == [True, False, True]
    assert found.best(low_and_high) == ("a", "c")
    assert found.best(low_and_high[::-1]) == ("c", "a")
    rows = [line[0] for line in found.table().splitlines()[3:6]]
    assert rows == [" ", " ", "*"]


def test_non_dominated_set_is_that_of_the_definition():
    """All pairs, one by one, on random whole numbers with many ties, and rows that are unknown."""
    rng = np.random.default_rng(3)
    for k in (1, 2, 3, 5):
        values = rng.integers(0, 6, (60, k)).astype(float)
        values[::13, 0] = np.nan
        expected = []
        for row in values:
            beaten = any(all(y >= x for x, y in zip(row, other, strict=True))
                         and any(y > x for x, y in zip(row, other, strict=True))
                         for other in values if not np.isnan(other).any())
            expected.append(not beaten and not np.isnan(row).any())
        assert non_dominated(values).tolist() == expected


def test_sweeps_bring_their_bill_and_their_sound(sweeps):
    found = ws.choice(sweeps, distance=1.0)
    assert found.aims == ("torque", "mass", "sound_level_a")
    for i, sweep in enumerate(sweeps.values()):
        point = sweep.points[0]
        made = ws.bill(point.exhaust, point.engine)
        assert found["mass"][i] == made.mass and found["length"][i] == made.total.length
        heard = ws.sound_curve(sweep, distance=1.0)
        assert found["sound_level_a"][i] == heard.mean_level("A")
        assert found["back_pressure"][i] == pytest.approx(
            np.trapezoid(sweep["back_pressure"], sweep.rpm) / 3000.0)
    assert "flow noise and shell noise are not in it" in found.table()


def test_exploration_is_held_against_itself_and_says_that_it_has_no_sound(sweeps):
    point = sweeps["short collector"].points[0]
    coarse = ws.Settings(cell_length=0.1, sample_deg=10.0, tolerance=5e-2)
    explored = ws.explore(point.engine, point.exhaust,
                          [{"exhaust.collector.length": 0.3}, {"exhaust.collector.length": 0.6},
                           {"exhaust.collector.length": -1.0}],
                          [3000, 5000], settings=coarse, keep=("torque", "back_pressure"),
                          progress=False)
    found = ws.choice(explored)
    assert found.aims == ("torque", "mass") and "power" not in found.measures
    assert "sound_level_a" not in found.measures and "Sound is not known" in found.table()
    assert found["torque"][:2] == pytest.approx(explored.mean("torque")[:2])
    assert np.isnan(found["mass"][2]) and not found.front()[2] and not found.trusted[2]
    assert found.front()[0]  # the shorter one is lighter
    ax = found.plot()
    assert {text.get_text() for text in ax.texts} >= {"0"}


@pytest.mark.parametrize("aims", [["torque", "power"], ["torque", "peak_power", "back_pressure"]])
def test_any_two_or_three_aims_are_drawn_with_the_set_marked(found, aims):
    ax = found.plot(aims=aims)
    front = found.front(aims)
    framed = [dots for dots in ax.collections if dots.get_label() == "beaten by no other"]
    assert len(framed[0].get_offsets()) == front.sum()
    assert ax.get_xlabel() == "torque, mean [N m], more is better"
    assert {text.get_text() for text in ax.texts} == set(found.names)


def test_border_runs_over_the_corners_that_are_worse_in_both():
    """Of (1, 5), (2, 3) and (4, 1), both to be large, the corners are (1, 3) and (2, 1)."""
    ax = plots.plot_front({"x": [1.0, 2.0, 4.0], "y": [5.0, 3.0, 1.0]}, [True] * 3, list("abc"),
                          [False, False])
    (line,) = ax.get_lines()
    assert line.get_xydata().tolist() == [[1, 5], [1, 3], [2, 3], [2, 1], [4, 1]]


def test_file_holds_every_measure_and_the_mark(found, tmp_path):
    found.to_csv(tmp_path / "c.csv")
    head, *rows = csv_rows(tmp_path / "c.csv")
    assert head[0] == "variant" and head[1] == "torque [N m]" and head[-2] == "not_dominated"
    assert [row[-2] for row in rows] == ["0", "0", "1"]


def test_what_makes_no_choice_is_refused(found):
    for ask, message in (
        (lambda: found["tork"], "did you mean 'torque'"),
        (lambda: found.front(["peak_torque_rpm"]), "neither more nor less of it is better"),
        (lambda: found.plot(aims=["torque"]), "must be two or three"),
        (lambda: found.front([]), "one measure at least"),
        (lambda: ws.choice({}), "variants is empty"),
        (lambda: ws.choice({"a": 3}), r"variants\['a'\] = 3"),
        (lambda: ws.choice({"a": fake_sweep(RPM, RPM), "b": fake_sweep((6e3, 7e3), (1.0, 2.0))}),
         "share no range"),
    ):
        with pytest.raises(ws.InputError, match=message):
            ask()
