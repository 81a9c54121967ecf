"""Maps over one dimension and speed: ridges of made surfaces, tuned lengths, differences."""

import numpy as np
import pytest
from csv_files import csv_rows
from matplotlib import pyplot

import wavesim as ws
from wavesim import exact

PATH = "exhaust.collector.length"
RPM = np.array([2000.0, 3000.0, 4500.0, 7000.0])


@pytest.fixture(autouse=True)
def closed_figures():
    yield
    pyplot.close("all")


@pytest.fixture(scope="module")
def study():
    return ws.load(ws.demo_path("collector"))


def made(values, x, rpm=RPM, base=0.3, trusted=None, quantity="torque"):
    values = np.asarray(values, dtype=float)
    trusted = np.isfinite(values) if trusted is None else trusted
    return ws.SpeedMap(PATH, "m", np.asarray(x, dtype=float), rpm, quantity, values, trusted, base,
                       len(x) * (None,))


def best_length(rpm):
    return 0.7 - 8e-5 * (rpm - 2000.0)


# --- ridges ---------------------------------------------------------------------------------------


def test_ridge_of_a_surface_of_parabolas_is_found_to_the_last_digits():
    x = np.array([0.1, 0.15, 0.3, 0.42, 0.5, 0.66, 0.8])  # uneven
    found = made(150.0 - 40.0 * (x[:, None] - best_length(RPM)) ** 2, x)
    place, best = found.ridge()
    assert place == pytest.approx(best_length(RPM), abs=1e-12)
    assert best.all()


def test_ridge_of_a_smooth_surface_comes_nearer_with_the_square_of_the_step_or_faster():
    errors = []
    for n in (13, 25, 49):
        x = np.linspace(0.1, 0.9, n)
        off = (x[:, None] - best_length(RPM)) / 0.2
        place, _ = made(150.0 + 20.0 * np.exp(-0.5 * off**2), x).ridge()
        errors.append(np.abs(place - best_length(RPM)).max())
    assert errors[0] < 2e-3 and errors[2] < errors[0] / 14.0


def test_valley_is_the_ridge_of_what_is_turned_over():
    x = np.linspace(0.1, 0.9, 9)
    heights = 150.0 + 30.0 * np.cos(9.0 * (x[:, None] - best_length(RPM)))
    up, down = made(heights, x).ridge(), made(-heights, x).ridge("smallest")
    assert np.array_equal(up[0], down[0]) and np.array_equal(up[1], down[1])


def test_place_that_an_end_tops_is_told_from_the_best_and_a_slope_has_none():
    x = np.linspace(0.0, 1.0, 11)
    hill = np.exp(-0.5 * ((x - 0.5) / 0.1) ** 2)
    place, best = made(np.transpose([hill, hill + 3.0 * x, x, 2.0 * hill]), x).ridge()
    assert place[0] == pytest.approx(0.5) and best.tolist() == [True, False, False, True]
    assert 0.5 < place[1] < 0.55 and np.isnan(place[2])


def test_ripple_below_a_hundredth_of_the_span_is_no_ridge():
    x = np.linspace(0.0, 1.0, 11)
    slope = 100.0 * x
    hill = slope[:, None] + np.outer(np.arange(11) == 3, [10.3, 11.5, 0.0, 0.0])
    assert np.isfinite(made(hill, x).ridge()[0]).tolist() == [False, True, False, False]
    assert np.isfinite(made(hill, x).ridge(least=0.0)[0]).tolist() == [True, True, False, False]


def test_point_that_failed_is_no_ridge_and_hides_none():
    x = np.linspace(0.1, 0.9, 9)
    heights = 150.0 - 40.0 * (x[:, None] - 0.5) ** 2 + 0.0 * RPM
    heights[4, 0] = heights[1, 1] = np.nan
    place, _ = made(heights, x).ridge()
    assert np.isnan(place[0]) and place[1:] == pytest.approx(0.5)


# --- differences ----------------------------------------------------------------------------------


def test_difference_from_the_base_is_zero_at_the_base_and_reads_between_values():
    x = np.array([0.1, 0.2, 0.4, 0.8])
    found = made(np.outer(x, [1.0, -2.0, 3.0, 0.0]) + RPM, x)  # straight: read off exactly
    off = found.difference()
    assert off.values == pytest.approx(np.outer(x - 0.3, [1.0, -2.0, 3.0, 0.0]), abs=1e-12)
    assert off.title == "less the base"
    with pytest.raises(ws.InputError, match="of the base, 0.9 m, must lie within 0.1 to 0.8 m"):
        made(found.values, x, base=0.9).difference()


def test_difference_of_two_maps_holds_what_both_have():
    a = made(np.arange(16.0).reshape(4, 4), [0.1, 0.2, 0.3, 0.4])
    b = made(10.0 * np.arange(9.0).reshape(3, 3), [0.2, 0.25, 0.4], RPM[1:])
    found = a.difference(b, "long less short")
    assert found.x.tolist() == [0.2, 0.4] and found.rpm.tolist() == RPM[1:].tolist()
    assert found.values.tolist() == [[5.0, -4.0, -13.0], [-47.0, -56.0, -65.0]]
    with pytest.raises(ws.InputError, match="share 1 values and 4 speeds"):
        a.difference(made(np.ones((2, 4)), [0.1, 0.9]))
    with pytest.raises(ws.InputError, match="quantity of the reference is 'power'"):
        a.difference(made(np.ones((2, 4)), [0.1, 0.2], quantity="power"))


# --- tuned lengths --------------------------------------------------------------------------------


def single_pipes(study, lengths):
    """One pipe for each cylinder, whose echo is that of the open end alone."""
    engine = study.engine
    return made(np.ones((len(lengths), 2)), lengths, np.array([1000.0, 20000.0])), tuple(
        (engine, ws.Exhaust(primary=ws.Pipe(length, 0.04), merge=None)) for length in lengths)


def port_length(engine):
    return sum(pipe.length for pipe in engine.exhaust_port)


def test_line_of_an_open_pipe_is_the_arithmetic_of_the_textbook(study):
    lengths, c = np.array([0.5, 0.8, 1.2]), 560.0
    found, systems = single_pipes(study, lengths)
    found = ws.SpeedMap(**{**vars(found), "systems": systems})
    engine = study.engine
    point = ws.run_point(*systems[0], 3000.0, settings=ws.Settings(cell_length=0.1, tolerance=0.05))
    events = point.meta["events_deg"]
    delay = 0.5 * (events["intake"][0] + events["exhaust"][1]) - events["exhaust"][0]
    whole = port_length(engine) + lengths + 0.6133 * 0.02  # Levine and Schwinger (1948)
    lines = found.tuned_speeds(c, echoes=1)
    assert list(lines) == ["own wave from outlet 1: suction"]
    assert lines["own wave from outlet 1: suction"] == pytest.approx(
        [exact.return_rpm(delay, length, c) for length in whole], rel=1e-4)
    later = found.tuned_speeds(c, echoes=1, leaves_deg=events["exhaust"][0] + 0.5 * delay)
    assert later["own wave from outlet 1: suction"] == pytest.approx(
        0.5 * lines["own wave from outlet 1: suction"])


def test_line_takes_the_speed_of_sound_of_each_duct_of_a_point(study):
    lengths = np.array([0.5, 0.8])
    found, systems = single_pipes(study, lengths)
    found = ws.SpeedMap(**{**vars(found), "systems": systems})
    point = ws.run_point(*systems[0], 3000.0, settings=ws.Settings(cell_length=0.1, tolerance=0.05))
    c = {name: 1.0 / np.mean(1.0 / point.samples.field("sound_speed", name))
         for name in ("exhaust port 1", "primary 1")}
    events = point.meta["events_deg"]
    delay = 0.5 * (events["intake"][0] + events["exhaust"][1]) - events["exhaust"][0]
    time = 2.0 * (port_length(study.engine) / c["exhaust port 1"]
                  + (lengths + 0.6133 * 0.02) / c["primary 1"])
    (line,) = found.tuned_speeds(point, echoes=1).values()
    assert line == pytest.approx(delay / (6.0 * time), rel=1e-4)


def test_pulse_of_a_neighbour_meets_the_overlap_whatever_the_collector_measures(study):
    """Down its primary and up the own one: 2 L/c after it fires, as `exact.arrival_angle` says."""
    exhaust = study.exhausts[study.base]
    found = ws.explore(study.engine, exhaust, {PATH: [0.2, 0.6]}, [2500, 5000], progress=False,
                       settings=ws.Settings(cell_length=0.1, tolerance=0.05)).map()
    lines = found.tuned_speeds(550.0)
    name = next(name for name in lines if name.startswith("pulse of cylinder 3: pressure"))
    assert np.ptp(lines[name]) < 1e-9
    rpm, engine = lines[name][0], study.engine
    time = 2.0 * (port_length(engine) + exhaust.primary[0].length) / 550.0
    events = ws.run_point(engine, exhaust, 3000.0, settings=ws.Settings(
        cell_length=0.1, tolerance=0.05)).meta["events_deg"]
    leaves = events["exhaust"][0] + engine.firing_angles_deg[2] - engine.firing_angles_deg[0]
    middle = 0.5 * (events["intake"][0] + events["exhaust"][1])
    assert exact.arrival_angle(leaves, rpm, time) % 720.0 == pytest.approx(middle % 720.0)


def test_wrong_sound_is_refused_by_name(study):
    found, systems = single_pipes(study, np.array([0.5, 0.8]))
    with pytest.raises(ws.InputError, match="sound = 55 m/s"):
        found.tuned_speeds(55.0)
    bare = ws.run_point(*systems[0], 3000.0, settings=ws.Settings(cell_length=0.1, tolerance=0.05))
    found = ws.SpeedMap(**{**vars(found), "systems": (
        (study.engine, study.exhausts[study.base]),) * 2})
    with pytest.raises(ws.InputError, match="the point has no duct 'collector'"):
        found.tuned_speeds(bare)


# --- what an exploration gives --------------------------------------------------------------------


@pytest.fixture(scope="module")
def explored(study):
    return ws.explore(
        study.engine, study.exhausts[study.base],
        [{PATH: "60 cm"}, {PATH: 0.2}, {}, {PATH: 0.2}], [3000, 4500], progress=False,
        settings=ws.Settings(cell_length=0.1, tolerance=0.05), keep=["power", "torque"])


def test_map_of_an_exploration_is_in_order_and_in_si_units(explored, study):
    found = explored.map("torque")
    base = study.exhausts[study.base].collector[0].length
    assert found.x.tolist() == sorted([base, 0.2, 0.6]) and found.base == base
    assert found.unit == "m" and found.quantity == "torque"
    assert explored.map().quantity == "power"
    for i, value in enumerate(found.x):
        design = {0.2: 1, 0.6: 0}.get(value, 2)
        assert np.array_equal(found.values[i], explored[design]["torque"])
    assert found.systems[-1][1].collector[0].length == 0.6


def test_map_over_a_duct_of_a_network_knows_its_unit_and_its_base(study):
    network = study.exhausts[study.base].network(study.engine)
    found = ws.explore(study.engine, network, {"exhaust.ducts.primary *.length": [0.5, "90 cm"]},
                       [3000, 5000], settings=ws.Settings(cell_length=0.1, tolerance=0.05),
                       progress=False).map()
    assert found.unit == "m" and found.base == 0.75 and found.x.tolist() == [0.5, 0.9]
    assert "own wave from the other valves and merge: suction" in found.tuned_speeds(550.0)


def test_map_needs_one_dimension_of_numbers(study, explored):
    system, few = (study.engine, study.exhausts[study.base]), {
        "settings": ws.Settings(cell_length=0.1, tolerance=0.05), "progress": False}
    bore = "exhaust.collector.diameter"
    two = ws.explore(*system, {PATH: [0.2, 0.3], bore: [0.05, 0.06]}, [4500], **few)
    with pytest.raises(ws.InputError, match="vary 2 paths"):
        two.map()
    with pytest.raises(ws.InputError, match="differ in nothing else"):
        two.map(path=bore)
    with pytest.raises(ws.InputError, match="quantity = 'torq'|quantity.*torq"):
        explored.map("torq")
    words = ws.explore(*system, {"exhaust.radiation": ["flanged", "none"]}, [4500], **few)
    with pytest.raises(ws.InputError, match="'exhaust.radiation' = 'flanged' must be a number"):
        words.map()


# --- figures and files ----------------------------------------------------------------------------


def test_figure_marks_ridge_base_zero_line_and_what_did_not_converge():
    x = np.linspace(0.1, 0.9, 9)
    heights = 150.0 - 40.0 * (x[:, None] - best_length(RPM)) ** 2
    loose = np.ones(heights.shape, bool)
    loose[2, 1] = False
    found = made(heights, x, trusted=loose)
    ax = ws.plots.plot_map(found.difference(), ws.plots.new_axes()[0],
                           lines={"echo": 5000.0 - 2000.0 * x})
    lines = {line.get_label(): line for line in ax.lines}
    dots = lines["ridge: best at this speed"]
    assert dots.get_xdata() == pytest.approx(best_length(RPM)) and list(dots.get_ydata()) == list(
        RPM)
    assert lines["base"].get_xdata()[0] == 0.3
    assert lines["not converged"].get_xdata() == [x[2]]
    assert "no difference" in lines and "echo" in [text.get_text() for text in ax.texts]
    zero = next(c for c in ax.collections if list(getattr(c, "levels", ())) == [0.0])
    edges = np.concatenate([path.vertices for path in zero.get_paths()])
    on_base = edges[np.abs(edges[:, 0] - 0.3) < 1e-9]
    assert on_base[:, 1].min() == RPM[0] and on_base[:, 1].max() >= 4500.0  # above: a ridge
    assert ax.figure.axes[1].get_ylabel() == "difference of torque [N m]"


def test_map_of_one_speed_or_without_numbers_is_not_drawn():
    with pytest.raises(ws.InputError, match="3 values and 1 speeds"):
        made(np.ones((3, 1)), [0.1, 0.2, 0.3], RPM[:1]).plot()
    with pytest.raises(ws.InputError, match="with numbers"):
        made(np.full((3, 4), np.nan), [0.1, 0.2, 0.3]).plot()
    made(np.ones((3, 4)), [0.1, 0.2, 0.3]).plot()  # flat: nothing to see, nothing to refuse


def test_file_and_table_hold_every_value(tmp_path):
    x = [0.1, 0.2]
    found = made(np.arange(8.0).reshape(2, 4), x)
    found.to_csv(tmp_path / "map.csv")
    head, *rows = csv_rows(tmp_path / "map.csv")
    assert head == [f"{PATH} [m]", "rpm [rev/min]", "torque [N m]", "converged"]
    assert [float(row[2]) for row in rows] == list(range(8))
    assert "torque [N m] over exhaust.collector.length [m]" in found.table()
    assert "no ridge" not in found.table() and found.table().count("\n") == 5
