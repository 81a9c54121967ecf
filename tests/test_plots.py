"""Figures: what is drawn, in which units, on whose Axes; nothing is shown or imported early."""

import subprocess
import sys

import numpy as np
import pytest
from fakes import fake_sweep
from matplotlib import pyplot
from matplotlib.colors import to_hex

from wavesim import (
    Chamber,
    Curve,
    PerforatedSilencer,
    TransmissionLoss,
    compare,
    transmission_loss,
)
from wavesim.errors import InputError
from wavesim.front.report import write_report
from wavesim.results.traces import Trace
from wavesim.show import plots, style

SPEEDS = (1000.0, 2000.0, 3000.0)


@pytest.fixture
def ax():
    (axes,) = plots.new_axes(1)
    return axes


@pytest.fixture(autouse=True)
def no_window(monkeypatch):
    """Showing a figure is an error; new figures are closed again."""
    def refuse(*_, **__):
        raise AssertionError("a library must not show figures")

    monkeypatch.setattr(pyplot, "show", refuse)
    yield
    pyplot.close("all")


def line(ax, label):
    """The line with that label."""
    (found,) = [one for one in ax.get_lines() if one.get_label() == label]
    return found


def texts(ax):
    return [text.get_text() for text in ax.texts]


def test_import_loads_neither_matplotlib_nor_optimisers_and_is_quick():
    code = (
        "import sys, time; t = time.perf_counter(); import wavesim; "
        "print(time.perf_counter() - t); wavesim.plots.plot_trace; wavesim.compare; "
        "assert not {'matplotlib', 'scipy.optimize', 'pandas'} & set(sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert float(done.stdout) < 3.0  # well under 1 s on an idle machine


def test_speed_curves_are_in_workshop_units_with_grey_for_the_reference(ax):
    a, b = fake_sweep(SPEEDS, [100, 120, 90], "a"), fake_sweep(SPEEDS, [90, 130, 95], "b")
    assert plots.plot_speed_curves([a, b], "power", ax=ax) is ax
    assert ax.get_ylabel() == "power [kW]" and ax.get_xlabel() == "engine speed [rev/min]"
    assert line(ax, "a").get_ydata() == pytest.approx(1e-3 * a["power"])
    assert to_hex(line(ax, "a").get_color()) == plots.REFERENCE
    assert to_hex(line(ax, "b").get_color()) == plots.COLOURS[0].lower()
    assert line(ax, "a").get_marker() != line(ax, "b").get_marker()


def test_points_that_did_not_converge_are_open_and_said_so(ax):
    a = fake_sweep(SPEEDS, [100, 120, 90], "a", loose=(2000.0,))
    plots.plot_speed_curves(a, ax=ax)
    hollow = [one for one in ax.get_lines() if one.get_markerfacecolor() == "white"]
    assert [list(one.get_xdata()) for one in hollow] == [[2000.0], []]
    assert "not trusted" in [t.get_text() for t in ax.get_legend().get_texts()]


def test_converged_curves_have_no_open_markers(ax):
    plots.plot_speed_curves(fake_sweep(SPEEDS, [100, 120, 90], "a"), ax=ax)
    assert len(ax.get_lines()) == 1


def test_difference_marks_every_crossing_with_its_speed(ax):
    a, b = fake_sweep(SPEEDS, [100, 100, 100], "a"), fake_sweep(SPEEDS, [90, 110, 95], "b")
    plots.plot_difference(compare(a, b), ax=ax)
    assert line(ax, "b").get_ydata().tolist() == [-10.0, 10.0, -5.0]
    assert texts(ax) == ["1500", "2700", "curves cross [rev/min]"]
    ticks = [one.get_xdata()[0] for one in ax.get_lines() if one.get_marker() == "|"]
    assert ticks == pytest.approx([1500.0, 2000.0 + 2000.0 / 3.0])
    assert ax.get_ylabel() == "difference of torque [N m]"


def test_difference_of_several_variants_needs_one_reference(ax):
    a, b, c = (fake_sweep(SPEEDS, [100, 100 + i, 100 - i], str(i)) for i in range(3))
    plots.plot_difference([compare(a, b), compare(a, c)], "volumetric_efficiency", ax=ax)
    assert ax.get_ylabel() == "difference of volumetric efficiency [points]"
    with pytest.raises(InputError, match="same reference"):
        plots.plot_difference([compare(a, b), compare(b, c)], ax=ax)
    with pytest.raises(InputError, match="at least one"):
        plots.plot_difference([], ax=ax)


def test_torque_and_power_stand_one_above_the_other():
    a, b = fake_sweep(SPEEDS, [100, 120, 90], "a"), fake_sweep(SPEEDS, [90, 130, 95], "b")
    for axes in (plots.plot_torque_power([a, b]), plots.plot_differences(compare(a, b))):
        assert len(axes) == 2 and axes[0].figure is axes[1].figure
        assert axes[0].get_legend() and not axes[1].get_legend()
        assert "[kW]" in axes[1].get_ylabel() and not axes[0].get_xlabel()
    with pytest.raises(InputError, match="2 Axes"):
        plots.plot_torque_power([a, b], plots.new_axes(3))


def test_comparison_plots_itself_on_what_it_is_given(ax):
    c = compare(fake_sweep(SPEEDS, [100, 120, 90], "a"), fake_sweep(SPEEDS, [90, 130, 95], "b"))
    assert c.plot(ax) is ax and len(ax.figure.axes) == 1
    pair = plots.new_axes(2)
    assert c.plot(pair, "power") is pair[1] and pair[0].get_ylabel() == "power [kW]"
    assert len(c.plot().figure.axes) == 2
    assert pair[0].get_xlim() == pair[1].get_xlim()


def test_trace_against_crank_angle_or_time(ax):
    angle = np.arange(0.0, 720.0, 2.0)
    trace = Trace(angle, np.full(360, 2e5), "pressure", "outlet")
    assert trace.plot(ax, lw=3.0) is ax
    assert ax.get_ylabel() == "pressure [bar]" and set(line(ax, "outlet").get_ydata()) == {2.0}
    assert line(ax, "outlet").get_linewidth() == 3.0
    assert ax.get_xlim() == (0.0, 720.0)
    other = plots.plot_trace(Trace(np.array([0.0, 0.01]), np.ones(2), "velocity", "tip", "time"))
    assert other.get_xlabel() == "time [ms]" and line(other, "tip").get_xdata().tolist() == [0, 10]


def test_traces_of_different_quantities_do_not_share_an_axis(ax):
    x = np.arange(3.0)
    traces = [Trace(x, x, "pressure", "a"), Trace(x, x, "velocity", "a")]
    with pytest.raises(InputError, match="one and the same quantity"):
        plots.plot_trace(traces, ax)
    with pytest.raises(InputError, match="2 labels for 1 traces"):
        plots.plot_trace(traces[0], ax, label=["p", "q"])
    with pytest.raises(InputError, match="at least one"):
        plots.plot_trace([], ax)


def test_valve_pressure_is_drawn_in_the_cylinders_own_angle(sweeps, ax):
    base = sweeps["short collector"]
    plots.plot_valve_pressure(list(sweeps.values()), 4500.0, ax, cylinder=3)
    point = base[4500.0]
    trace = point.trace("pressure", "exhaust valve 3")
    x, y = line(ax, "short collector").get_data()
    firing = point.meta["firing_angles_deg"][2]
    for angle in (140.0, 360.0, 500.0):
        i = int(np.argmin(np.abs((trace.x - firing - angle) % 720.0)))
        assert y[np.flatnonzero(np.isclose(x, (trace.x[i] - firing) % 720.0))] == pytest.approx(
            1e-5 * trace.values[i]
        )
    assert "cylinder 3" in ax.get_xlabel() and "4500 rev/min" in texts(ax)


def test_overlap_shading_spans_intake_opening_to_exhaust_closing(sweeps, ax):
    plots.plot_valve_pressure(sweeps["short collector"], 4500.0, ax)
    events = sweeps["short collector"][4500.0].meta["events_deg"]
    (patch,) = ax.patches
    assert patch.get_x() == pytest.approx(events["intake"][0])
    assert patch.get_x() + patch.get_width() == pytest.approx(events["exhaust"][1])
    assert any(text.startswith("overlap") for text in texts(ax))


def test_valve_pressures_share_one_scale(sweeps):
    axes = plots.plot_valve_pressures(list(sweeps.values()), (3000.0, 6000.0))
    assert axes[0].get_ylim() == axes[1].get_ylim()
    assert axes[0].get_legend() and not axes[1].get_legend()


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ({"rpm": 3100.0}, "no point at 3100"),
        ({"rpm": 3000.0, "cylinder": 5}, "cylinder = 5"),
        ({"rpm": 3000.0, "side": "outlet"}, "side = 'outlet'"),
    ],
)
def test_valve_pressure_refuses_what_is_not_there(sweeps, ax, arguments, message):
    with pytest.raises(InputError, match=message):
        plots.plot_valve_pressure(list(sweeps.values()), ax=ax, **arguments)


def test_something_else_than_a_sweep_is_refused(ax):
    a = fake_sweep(SPEEDS, [100, 120, 90], "a")
    for wrong, what in [([], r"curves = \[\] must hold"), ([a, "b"], r"curves\[1\] = 'b' must be"),
                        ("b", "curves = 'b' must be"), (7, "it has no .*rpm, trusted")]:
        with pytest.raises(InputError, match=f"plot_speed_curves: .*{what}"):
            plots.plot_speed_curves(wrong, ax=ax)


def test_figures_are_written_and_bad_paths_are_refused(tmp_path, ax):
    path = plots.save_figure(ax, tmp_path / "a.png")
    assert path.read_bytes()[:4] == b"\x89PNG"
    for wrong in (tmp_path / "nowhere" / "a.png", tmp_path / "a.xyz"):
        with pytest.raises(InputError, match="cannot write"):
            plots.save_figure(ax, wrong)


def test_without_axes_a_new_figure_is_made():
    a = fake_sweep(SPEEDS, [100, 120, 90], "a")
    first, second = plots.plot_speed_curves(a), plots.plot_speed_curves(a)
    assert first.figure is not second.figure


# --- what tells curves apart ----------------------------------------------------------------------


def test_no_two_curves_of_a_figure_are_alike_on_a_grey_print():
    shades = [style.luma(style.colour(i)) for i in range(7)]
    assert np.diff(sorted(shades)).min() > 0.07 and max(shades) < 0.8
    neighbours = np.abs(np.diff(shades))
    assert neighbours.min() > 0.1
    assert len({str(style.dash(i)) for i in range(7)}) == 7
    assert len({plots.MARKERS[i % len(plots.MARKERS)] for i in range(7)}) == 7


def curves(count):
    return [fake_sweep(SPEEDS, [100 + i, 120 - i, 90 + 2 * i], str(i)) for i in range(count)]


def styles_of(lines):
    return [(str(one._dash_pattern), to_hex(one.get_color())) for one in lines]


def test_every_curve_of_every_figure_has_a_line_of_its_own(sweeps, ax):
    some = curves(6)
    pairs = compare(*some).pairs
    plots.plot_speed_curves(some, ax=ax)
    drawn = [[line(ax, str(i)) for i in range(6)]]
    below = plots.plot_difference(pairs)
    drawn.append([line(below, str(i)) for i in range(1, 6)])
    valves = plots.plot_valve_pressure(list(sweeps.values()), 4500.0)
    drawn.append([line(valves, name) for name in sweeps])
    x = np.arange(0.0, 720.0, 90.0)
    traces = plots.plot_trace([Trace(x, x + i, "pressure", f"place {i}") for i in range(5)])
    drawn.append([line(traces, f"place {i}") for i in range(5)])
    for lines in drawn:
        assert len({pattern for pattern, _ in styles_of(lines)}) == len(lines)
        assert len({shade for _, shade in styles_of(lines)}) == len(lines)


# --- the chart on the wall ------------------------------------------------------------------------


def test_chart_shows_torque_and_power_with_peaks_and_crossings(ax):
    a, b = fake_sweep(SPEEDS, [100, 120, 90], "a"), fake_sweep(SPEEDS, [90, 130, 95], "b")
    assert plots.plot_power_chart([a, b], ax, compare(a, b)) is ax
    right = ax.figure.axes[1]
    assert ax.get_ylabel().startswith("torque [N m]")
    assert right.get_ylabel().startswith("power [kW]")
    names = [text.get_text() for text in ax.get_legend().get_texts()]
    assert names[:2] == ["a:  120.0 N m at 2000,  28.3 kW at 3000 rev/min",
                         "b:  130.0 N m at 2000,  29.8 kW at 3000 rev/min"]
    peaks = [one.get_xydata().tolist() for one in ax.get_lines() if one.get_marker() == "*"]
    assert peaks[:2] == [[[2000.0, 120.0]], [[2000.0, 130.0]]]
    (power,) = [one for one in right.get_lines() if one.get_label() == "b"]
    assert power.get_ydata() == pytest.approx(1e-3 * b["power"])
    assert texts(ax) == ["1500", "curves cross [rev/min]"]
    lowest = ax.transData.transform((0.0, 90.0))[1]
    assert right.transData.transform((0.0, 29.8))[1] < lowest  # power lies below torque
    assert all(90.0 - 2.0 <= tick <= 130.0 + 2.0 for tick in ax.get_yticks())


def test_a_sweep_and_a_measured_curve_draw_their_chart_themselves(ax):
    pull = Curve("pull", SPEEDS, {"torque": [100.0, 120.0, 90.0]})
    pull.plot(ax)
    assert len(ax.figure.axes) == 2 and "120.0 N m at 2000" in ax.get_legend().get_texts()[0]._text
    (other,) = plots.new_axes(1)
    assert fake_sweep(SPEEDS, [1, 2, 3]).plot(other, "pmep") is other
    assert len(other.figure.axes) == 1


def test_crossings_stand_on_a_line_of_their_own_in_every_panel():
    some = [*curves(1), fake_sweep(SPEEDS, [90, 130, 95], "x"),
            fake_sweep(SPEEDS, [99, 99, 99], "y")]
    found = compare(*some)
    for axes in (plots.plot_comparison(found.pairs), plots.plot_differences(found.pairs),
                 plots.plot_torque_power(some, None, found.pairs)):
        for ax in axes:
            lanes = [one for one in ax.get_lines() if list(one.get_xdata()) == [0.0, 1.0]
                     and one.get_transform() == ax.transAxes]
            heights = [one.get_ydata()[0] for one in lanes]
            assert len(set(heights)) == 2 and all(0.0 < height < 0.3 for height in heights)
            low, high = ax.get_ylim()
            data = [one.get_ydata() for one in ax.get_lines() if one.get_label() in ("x", "y")]
            assert min(map(np.min, data)) > low + (max(heights) + 0.03) * (high - low)


def test_no_line_of_crossings_where_curves_differ_less_than_they_repeat(ax):
    a, b = fake_sweep(SPEEDS, [100, 100, 100], "a"), fake_sweep(SPEEDS, [99.95, 100.05, 100], "b")
    plots.plot_difference(compare(a, b), ax=ax)
    assert texts(ax) == []


# --- losses of silencers --------------------------------------------------------------------------


def test_several_losses_have_lines_of_their_own_and_the_scale_holds_the_highest(ax):
    frequency = np.arange(100.0, 1001.0, 100.0)
    one, two = (TransmissionLoss(frequency, height * np.ones(10), True) for height in (10.0, 30.0))
    plots.plot_transmission_loss(one, ax, label="one")
    assert 10.0 < ax.get_ylim()[1] < 15.0
    plots.plot_transmission_loss(two, ax, label="two")  # one after the other
    assert 30.0 < ax.get_ylim()[1] < 40.0 and ax.get_ylim()[0] == 0.0
    together = plots.plot_transmission_loss([one, two], label=["one", "two"])
    assert 30.0 < together.get_ylim()[1] < 40.0
    for axes in (ax, together):
        one_line, two_line = styles_of([line(axes, "one"), line(axes, "two")])
        assert one_line[0] != two_line[0] and one_line[1] != two_line[1]
    with pytest.raises(InputError, match="1 labels for 2 losses"):
        plots.plot_transmission_loss([one, two], label="one")
    with pytest.raises(InputError, match="a TransmissionLoss"):
        plots.plot_transmission_loss("loud", ax)


def test_first_mode_across_is_marked_at_the_zero_of_the_bessel_function(ax):
    """k r is the first zero of the derivative of J1: Munjal 1987, section 1.2, and scipy."""
    from scipy.special import jnp_zeros

    frequency = np.arange(50.0, 2001.0, 50.0)
    loss = transmission_loss(Chamber(0.2, 0.05, case_diameter=0.15), frequencies=frequency)
    c = np.sqrt(1.4 * 287.05 * 298.15)
    expected = jnp_zeros(1, 1)[0] * c / (np.pi * 0.15)
    assert loss.cut_on == pytest.approx(expected, rel=1e-4)
    loss.plot(ax)
    assert line(ax, plots.CUT_ON).get_xdata()[0] == loss.cut_on
    assert f" {expected:.0f} Hz" in texts(ax)
    assert "modes across the widest section" in loss._repr_html_()
    packed = transmission_loss(PerforatedSilencer(0.2, 0.05, case_diameter=0.2), frequencies=[100])
    assert packed.cut_on == pytest.approx(0.75 * expected, rel=0.01)  # the case, not the core
    packed.plot(ax)
    assert len([one for one in ax.get_lines() if one.get_label() == plots.CUT_ON]) == 1


# --- titles ---------------------------------------------------------------------------------------


def test_titles_of_a_report_name_study_and_engine(sweeps, tmp_path, monkeypatch):
    titles = []
    real = plots.save_figure

    def look(ax, path, dpi=40):
        titles.append(np.ravel(ax)[0].figure.get_suptitle())
        return real(ax, path, dpi)

    monkeypatch.setattr(plots, "save_figure", look)
    written = write_report(sweeps, tmp_path / "out", "Two $ collectors")
    engine = next(iter(sweeps.values()))[3000].engine.name
    drawn = [path for path in written if path.suffix == ".png"]
    assert titles == [f"Two \\$ collectors - {engine}"] * len(drawn) and len(drawn) == 5
    assert "chart.png" in [path.name for path in written]
