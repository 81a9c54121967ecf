"""Figures of one point: wave diagram, loop of pressure and volume, flows at the valves."""

from math import pi

import numpy as np
import pytest
from PIL import Image

import wavesim as ws
from wavesim.results.contributions import PARTS
from wavesim.show import reasons, style


@pytest.fixture(scope="module")
def point():
    study = ws.load(ws.demo_path("collector"))
    settings = ws.Settings(cell_length=0.04, tolerance=1e-2)
    return ws.run_point(study.engine, study.exhausts["long collector"], 4000.0, settings=settings)


def test_wave_diagram_runs_from_the_valve_through_every_joint_to_the_open_air(point):
    found = ws.wave_diagram(point, 2)
    names = [name for _, name in found.joints]
    assert names[0] == "exhaust valve 2" and names[-2:] == ["merge", "outlet"]
    ducts = point.network.ducts
    merge = ducts["exhaust port 2"].length + ducts["primary 2"].length
    assert dict((name, x) for x, name in found.joints)["merge"] == pytest.approx(merge)
    assert found.joints[-1][0] == pytest.approx(merge + ducts["collector"].length)
    assert np.all(np.diff(found.x) > 0.0) and np.all(np.diff(found.angle) > 0.0)


def test_picture_holds_the_traces_along_the_way(point):
    found = ws.wave_diagram(point, 3)
    at = np.argmin(np.abs(found.x - 0.5))
    trace = point.trace("pressure", "primary 3", found.x[at] - 0.08).own_angle(3)
    assert found.angle == pytest.approx(trace.x)
    assert found.pressure[:, at] == pytest.approx(trace.values, rel=1e-6)


def test_velocity_along_the_way_carries_the_mass_of_the_traces(point):
    """Mass through a section of the way in a cycle, against the trace at the joint."""
    found = ws.wave_diagram(point, 3)
    at = np.argmin(np.abs(found.x - 0.5))
    trace = point.trace("velocity", "primary 3", found.x[at] - 0.08).own_angle(3)
    assert found.velocity[:, at] == pytest.approx(trace.values, rel=1e-6, abs=1e-6)
    assert found.velocity.mean() > 0.0  # away from the valve


def test_way_that_is_run_against_its_duct_turns_its_velocity_round():
    """A pipe laid from the open end to the valve: the same engine, the same way."""
    pipe, engine = ws.Pipe(0.6, 0.04), ws.load(ws.demo_path("collector")).engine
    forth = ws.Exhaust(primary=pipe, merge=None).network(engine)
    ends = {"primary 1.start": "primary 1.end", "primary 1.end": "primary 1.start"}
    nodes = {name: node.replace(at=tuple(ends[f"{d}.{s}"] if f"{d}.{s}" in ends else f"{d}.{s}"
                                         for d, s in node.ends))
             if any(d == "primary 1" for d, _ in node.ends) else node
             for name, node in forth.nodes.items()}
    back = ws.Network(forth.ducts, nodes)
    settings = ws.Settings(cell_length=0.05, tolerance=0.01)
    a, b = (ws.wave_diagram(ws.run_network(engine, one, 4000.0, settings=settings))
            for one in (forth, back))
    assert b.velocity == pytest.approx(a.velocity, abs=0.5)
    assert b.pressure == pytest.approx(a.pressure, rel=1e-3)


def test_picture_of_the_film_shows_the_gas_at_its_crank_angle(point):
    found = ws.wave_diagram(point, 1)
    axes = ws.plots.new_axes(2, height=2.0)
    film = found.animate(axes, step_deg=90.0)
    angles = list(film.new_frame_seq())
    assert angles[0] == found.events["exhaust"][0] and len(angles) == 8
    (line,), (swift,) = ([one for one in ax.lines if one.get_linewidth() == 2.2] for ax in axes)
    film._func(angles[3])
    own = angles[3] % 720.0
    for drawn, factor, values in ((line, 1e-5, found.pressure), (swift, 1.0, found.velocity)):
        wanted = [np.interp(own, found.angle, values[:, i]) for i in range(found.x.size)]
        assert drawn.get_ydata() == pytest.approx(factor * np.array(wanted), rel=1e-9, abs=1e-9)
    words = []
    for angle in (100.0, 200.0, 360.0, 450.0):
        film._func(angle)
        words.append(next(text.get_text() for text in axes[0].texts if "firing" in text.get_text()))
    assert [word.split(", ")[1] for word in words] == ["valves shut", "exhaust open", "overlap",
                                                       "intake open"]


def test_film_replaces_its_own_file_and_no_other(point, tmp_path):
    film = ws.wave_diagram(point).animate(ws.plots.new_axes(2, height=1.5), step_deg=90.0)
    place = tmp_path / "film.gif"
    for _ in range(2):
        assert ws.plots.save_animation(film, place, dpi=20) == place
    with Image.open(place) as picture:
        assert picture.n_frames == 8 and picture.info["loop"] == 0
    assert sorted(path.name for path in tmp_path.iterdir()) == ["film.gif"]
    foreign = tmp_path / "mine.gif"
    Image.new("L", (2, 2)).save(foreign)
    before = foreign.read_bytes()
    with pytest.raises(ws.InputError, match="mine.gif' was not written by wavesim"):
        ws.plots.save_animation(film, foreign, dpi=20)
    assert foreign.read_bytes() == before
    with pytest.raises(ws.InputError, match="its suffix must be .gif"):
        ws.plots.save_animation(film, tmp_path / "film.mp4")
    with pytest.raises(ws.InputError, match="must be an animation"):
        ws.plots.save_animation("film", place)


def test_fronts_leave_at_exhaust_opening_and_come_back_when_arrivals_say_so(point):
    found = ws.wave_diagram(point, 1)
    x, angle = found.fronts[0]
    assert x[0] == 0.0 and angle[0] == pytest.approx(found.events["exhaust"][0])
    assert x.max() == pytest.approx(found.joints[-1][0])
    said = ws.arrivals(point, 1)
    row = [route.name for route in said.routes].index("own wave from outlet")
    assert angle[-1] == pytest.approx(said.first[row, 0], abs=1e-6) and x[-1] == pytest.approx(0.0)
    assert len(found.fronts) == 5 and np.all(np.diff(angle) >= 0.0)


def test_loop_that_is_drawn_encloses_the_work_of_the_cycle(point):
    """Shoelace formula over the drawn line, against imep_net."""
    ax = ws.plots.plot_loop(point, ws.plots.new_axes()[0], cylinder=2)
    line = next(line for line in ax.lines if len(line.get_xdata()) > 700)
    V, p = 1e-6 * np.asarray(line.get_xdata()), 1e5 * np.asarray(line.get_ydata())
    area = 0.5 * abs(np.sum(V * np.roll(p, -1) - p * np.roll(V, -1)))
    swept = point.engine.displacement / point.engine.cylinders
    assert area == pytest.approx(point.cylinders["imep_net"][1] * swept, rel=2e-3)


def test_flows_that_are_drawn_carry_the_gas_of_a_cycle(point):
    ax = ws.plots.plot_valve_flows(point, ws.plots.new_axes()[0], cylinder=1)
    for line, name in zip(ax.lines, ("exhaust_mass", "intake_mass"), strict=False):
        x, y = np.asarray(line.get_xdata()), 1e-3 * np.asarray(line.get_ydata())
        passed = np.trapezoid(y, x) / (6.0 * point.rpm)
        assert passed == pytest.approx(point.cylinders[name][0], rel=5e-3)


def test_diagram_refuses_a_cylinder_that_is_not_there(point):
    with pytest.raises(ws.InputError, match="wave_diagram: cylinder = 5"):
        ws.wave_diagram(point, 5)
    with pytest.raises(ws.InputError, match="plot_loop: cylinder = 0"):
        ws.plots.plot_loop(point, cylinder=0)


def test_area_of_a_circle_is_what_the_shoelace_gives():
    """The judge of the loop, judged."""
    angle = np.linspace(0.0, 2.0 * pi, 20000, endpoint=False)
    x, y = np.cos(angle), np.sin(angle)
    assert 0.5 * abs(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1))) == pytest.approx(pi, rel=1e-6)


# --- what an engineer must be able to read --------------------------------------------------------


def test_parts_of_a_stack_are_told_apart_without_colour():
    assert len(set(reasons.HATCHES)) == len(reasons.HATCHES) == len(PARTS)


def test_every_number_at_an_echo_stands_in_the_key_with_share_and_arrival(point):
    heard = ws.echoes(point)
    ax = heard.plot(ws.plots.new_axes()[0])
    numbers = [text.get_text() for text in ax.texts if text.get_text() != "overlap"]
    key = [text.get_text() for text in ax.get_legend().get_texts()]
    assert numbers == [line.split()[0] for line in key] and 0 < len(key) <= reasons.MOST_NAMED
    first = heard.found[1][0]
    assert key[0] == f" 1  {first.size:+.2f} at {first.angle:.0f} deg: {first.sender}"
    assert len(ax.figure.axes) == 1


def test_long_names_stay_within_the_figure():
    """A V engine with silencers, whose joints have the longest names that there are."""
    study = ws.load(ws.demo_path())
    settings = ws.Settings(cell_length=0.08, tolerance=0.05)
    point = ws.run_point(study.engine, list(study.exhausts.values())[1], 4000.0, settings=settings)
    for draw in (ws.echoes(point).plot, ws.wave_diagram(point).plot, ws.arrivals(point).plot):
        ax = draw(ws.plots.new_axes()[0])
        figure = ax.figure
        figure.draw_without_rendering()
        width, height = figure.get_size_inches() * figure.dpi
        things = [*ax.texts, *([ax.get_legend()] if ax.get_legend() else [])]
        for thing in things:
            box = thing.get_window_extent()
            assert box.x0 > -1.0 and box.y0 > -1.0, thing
            assert box.x1 < width + 1.0 and box.y1 < height + 1.0, thing


def test_routes_that_no_speed_brings_near_the_overlap_have_no_place_in_the_legend(point):
    found = ws.arrivals(point)
    middle = 0.5 * sum(found.overlap)
    away = [route.name for route, peak in zip(found.routes, found.peak, strict=True)
            if np.abs(peak - middle).min() > 250.0]
    ax = found.plot(ws.plots.new_axes()[0])
    named = " ".join(text.get_text() for text in ax.get_legend().get_texts())
    assert away and not any(name in named for name in away)
    assert "own wave from merge" in named


def test_joints_close_together_share_a_text():
    (ax,) = ws.plots.new_axes()
    style.name_joints(ax, [(0.0, "valve"), (0.5, "step a"), (1.0, "merge"), (1.05, "x-pipe"),
                           (2.0, "outlet")], 2.0)
    assert [text.get_text() for text in ax.texts] == ["valve", "merge, x-pipe", "outlet"]


def test_gas_exchange_is_magnified_in_the_loop(point):
    ax = ws.plots.plot_loop(point, ws.plots.new_axes()[0])
    (small,) = ax.child_axes
    pressure = point.trace("pressure", "cylinder 1").own_angle(1)
    pumped = pressure.values[(pressure.x >= 200.0) & (pressure.x <= 540.0)]
    assert small.get_ylim()[1] == pytest.approx(1.15e-5 * pumped.max())
    assert not ws.plots.plot_loop(point, ws.plots.new_axes()[0], logarithmic=True).child_axes
