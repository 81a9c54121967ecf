"""What every result offers: a short repr, a table, a figure, a file, a data frame, completion."""

import builtins
import copy
import html.parser
import pickle

import numpy as np
import pandas
import pytest
from csv_files import csv_rows
from matplotlib import pyplot
from matplotlib.axes import Axes
from public import handed_out

import wavesim as ws
from wavesim.show.quantities import QUANTITIES, TRACES

NASTY = "<script>alert('&')</script>"
OFFERS = {"table": "_repr_html_", "plot": "plot", "csv": "to_csv", "frame": "to_frame"}
#: What a result does not offer, and why that makes sense.
ROW = "one row of what hands it out"
LACKS = {
    "Amounts": dict.fromkeys(OFFERS, ROW),
    "BandDifference": dict.fromkeys(OFFERS, ROW),
    "CrossingSet": dict.fromkeys(OFFERS, "speeds and pieces of their range"),
    "FittedParameter": dict.fromkeys(OFFERS, ROW),
    "Band": dict.fromkeys(("plot", "csv", "frame"), ROW),
    "BillRow": dict.fromkeys(OFFERS, ROW),
    "CrossingSpeed": dict.fromkeys(("plot", "csv", "frame"), ROW),
    "Measure": dict.fromkeys(OFFERS, "says what variants are held against"),
    "Objective": dict.fromkeys(OFFERS, "says what was searched for"),
    "PeriodicState": dict.fromkeys(OFFERS, ROW),
    "Echo": dict.fromkeys(OFFERS, ROW),
    "Extreme": dict.fromkeys(OFFERS, "a place and a value"),
    "Failure": dict.fromkeys(OFFERS, "two texts"),
    "Reading": dict.fromkeys(OFFERS, ROW),
    "Reason": dict.fromkeys(OFFERS, ROW),
    "Route": dict.fromkeys(OFFERS, ROW),
    "Slope": dict.fromkeys(OFFERS, ROW),
    "StoreCheck": dict.fromkeys(("plot", "csv", "frame"), "a list of files"),
    "Warming": dict.fromkeys(OFFERS, "temperatures and heats of a wall, or arrays of them"),
    "WallState": dict.fromkeys(OFFERS, "three temperatures or arrays of them"),
}
#: Results whose quantities are items and attributes.
BY_NAME = ("Curve", "Design", "Exploration", "MeasuredPulls", "Point", "Reading", "Sweep")


@pytest.fixture(autouse=True)
def closed_figures():
    yield
    pyplot.close("all")


@pytest.fixture(scope="module")
def made(sweeps, tmp_path_factory):
    """One object of every result class, the names in them as nasty as can be."""
    base, variant = sweeps.values()
    base = ws.Sweep(base.points, {9000.0: NASTY}, NASTY)
    engine, exhaust = base[4500].engine, base[4500].exhaust.replace(name=NASTY)
    cheap = ws.Settings(cell_length=0.1, sample_deg=10.0, tolerance=5e-2)
    comparison = ws.compare(base, variant)
    space = {"exhaust.collector.length": (0.2, 0.6)}
    found = ws.optimise(engine, exhaust, space, [6000], evaluations=10, settings=cheap,
                        progress=False)
    curve = ws.Curve(NASTY, [3000, 6000], {"torque": [100.0, 120.0], NASTY: [1.0, 2.0]},
                     units={NASTY: NASTY}, uncertainty={"torque": 3.0}, notes=NASTY)
    pulls = ws.MeasuredPulls(NASTY, [curve, ws.Curve("2", [3000, 6000], {"torque": [99.0, 123.0]})])
    bill = ws.bill(exhaust, engine)
    pipe = ws.Network({NASTY: ws.Pipe(0.5, 0.04)},
                      {"wall": ws.ClosedEnd(f"{NASTY}.start"), "tip": ws.OpenEnd(f"{NASTY}.end")})
    folder = tmp_path_factory.mktemp("store")
    (folder / NASTY.replace("/", "")).write_text("")
    transient = ws.simulate(pipe, 1e-3, samples=5)
    measured = ws.measured_difference(
        [3000, 6000], [[100.0, 110.0], [101.0, 112.0]], [[105.0, 109.0], [106.0, 112.0]],
        names=(NASTY, "b"))
    fitted = ws.fit([3000, 4500, 6000], [[150.0, 169.0, 171.0], [149.0, 168.0, 172.0]], engine,
                    exhaust, {"engine.friction.constant": (0.0, 9e4)}, settings=cheap,
                    hold_back=0, progress=False)
    things = [
        measured, measured.crossings(), measured.band_average(), fitted, fitted.parameters[0],
        ws.predict(fitted, exhaust, [3000.0, 6000.0], names=(NASTY, "b"), progress=False),
        base[4500], base, base[4500].samples, base[4500].trace("pressure", "outlet"), comparison,
        ws.compare(base, variant, curve),
        base[4500].trace("pressure", "outlet").highest(), ws.contributions(base, variant),
        base[4500].waves("exhaust valve 1"), base[4500].waves("exhaust valve 1").reflection(),
        ws.echoes(base[4500]), ws.echoes(base[4500]).found[1][0], ws.cross_talk(base[4500]),
        ws.arrivals(base), ws.arrivals(base).routes[0], ws.wave_diagram(base[4500]),
        ws.attribution(ws.Sweep([base[6000]]), ["tip"]), *_maps(engine, exhaust),
        ws.explain(base, variant), ws.explain(base, variant).reasons[0],
        comparison.crossings()[0] if comparison.crossings() else None,
        comparison.band_averages()[0], found, found.exploration, found.best, found.objective,
        bill, bill.rows[0], bill.total, curve, curve[6000], pulls, transient,
        ws.transmission_loss(ws.Chamber(0.1, 0.05, case_diameter=0.1), frequencies=[200, 400]),
        *_sounds(base, variant), *_choice(base, variant), *_states(base[4500]),
        ws.Store(folder).check(), ws.Failure("SolverError", NASTY),
        ws.wall_balance(50.0, 800.0, ws.Wall(1.5e-3, "mild steel"), 0.05),
        ws.wall_warming(300.0, 50.0, 800.0, ws.Wall(1.5e-3, "mild steel"), 0.05, 1.0),
    ]
    return {type(thing).__name__: thing for thing in things}


def _maps(engine, exhaust):
    """A map of four points, and sensitivities to one dimension."""
    cheap = ws.Settings(cell_length=0.1, sample_deg=10.0, tolerance=5e-2)
    found = ws.explore(engine, exhaust, {"exhaust.collector.length": [0.2, 0.6]}, [4500, 6000],
                       settings=cheap, progress=False)
    slopes = ws.sensitivities(engine, exhaust, ["exhaust.collector.length"], [6000],
                              settings=cheap, progress=False)
    return found.map(), slopes, slopes["exhaust.collector.length"]


def _sounds(base, variant):
    """Sound of a point and of a sweep, and what one system is quieter by."""
    curves = [ws.sound_curve(ws.Sweep(list(sweep), name=NASTY)) for sweep in (base, variant)]
    return curves[0].sounds[0], curves[0], ws.insertion_loss(*curves)


def _choice(base, variant):
    """A choice of two, and what they are held against."""
    found = ws.choice({NASTY: ws.Sweep(base.points), "b": variant})
    return found, found.measures["mass"]


def _states(point):
    """One state of a kind that has been found, and a list of it."""
    state = ws.PeriodicState(point, ("cold", NASTY), 0.6 + 0.1j, 0.5)
    return state, ws.PeriodicStates(point.rpm, [state], [NASTY])


def test_every_result_that_is_handed_out_is_a_public_name_and_has_an_example_here(made):
    handed = handed_out()
    assert {name for name, kind in handed.items() if getattr(ws, name, None) is not kind} == set()
    assert set(made) == set(handed)


RESULTS = sorted(handed_out())


@pytest.mark.parametrize("name", RESULTS)
def test_result_offers_a_short_repr_a_table_a_figure_a_file_and_a_frame(made, name):
    thing = made[name]
    lacking = {what for what, method in OFFERS.items() if not hasattr(thing, method)}
    assert lacking == set(LACKS.get(name, {}))
    text = repr(thing)
    assert len(text) < 400 and name.split(".")[-1] in text


@pytest.mark.parametrize("name", [n for n in RESULTS if "plot" not in LACKS.get(n, {})])
def test_result_draws_itself_on_given_or_new_axes(made, name):
    (ax,) = ws.plots.new_axes(1)
    assert made[name].plot(ax) is ax and ax.has_data()
    new = made[name].plot()
    assert isinstance(new, Axes) and new is not ax


class _Tags(html.parser.HTMLParser):
    """Names of all tags, and the shape of the table."""

    def __init__(self):
        super().__init__()
        self.tags, self.widths, self.text = set(), [], ""

    def handle_starttag(self, tag, attrs):
        self.tags.add(tag)
        if tag == "tr":
            self.widths.append(0)
        if tag in ("td", "th"):
            self.widths[-1] += 1

    def handle_data(self, data):
        self.text += data


@pytest.mark.parametrize("name", [n for n in RESULTS if "table" not in LACKS.get(n, {})])
def test_table_of_a_notebook_is_one_table_and_names_cannot_act_in_it(made, name):
    page = _Tags()
    page.feed(made[name]._repr_html_())
    assert page.tags <= {"table", "caption", "thead", "tbody", "tr", "th", "td", "p"}
    assert len(page.widths) > 1 and len(set(page.widths)) == 1


def test_names_of_the_user_stand_in_the_tables_as_they_are(made):
    things = [made[name] for name in ("Sweep", "Curve", "Comparison", "Bill")]
    for thing in [*things, made["Transient"].samples]:
        page = _Tags()
        page.feed(thing._repr_html_())
        assert NASTY in page.text


@pytest.mark.parametrize("name", [n for n in RESULTS if "csv" not in LACKS.get(n, {})])
def test_file_and_frame_hold_the_same_numbers(made, name, tmp_path):
    made[name].to_csv(tmp_path / "a.csv")
    head, *rows = csv_rows(tmp_path / "a.csv")
    frame = made[name].to_frame()
    if frame.index.name is not None:
        frame = frame.reset_index()
    assert len(rows) == len(frame) > 0 and len(head) == frame.shape[1]
    units = frame.attrs["units"]
    for heading, column, values in zip(head, frame.columns, zip(*rows, strict=True), strict=True):
        unit = units.get(column)
        assert heading in (f"{column} [{unit}]", column)  # the name may hold the unit already
        for written, value in zip(values, frame[column], strict=True):
            if isinstance(value, (float, np.floating)):
                same = np.isnan(value) if written in ("", "nan") else float(written) == value
            else:
                same = written == str(value)
            assert same, (heading, written, value)


def test_file_that_cannot_be_written_is_told_in_one_sentence(made, tmp_path):
    for name in ("Sweep", "Trace", "Comparison", "Bill"):
        with pytest.raises(ws.InputError, match=rf"{name}: cannot write '.*nowhere.*': No such"):
            made[name].to_csv(tmp_path / "nowhere" / "a.csv")


def test_frame_without_pandas_says_what_is_missing(made, monkeypatch):
    real = builtins.__import__

    def without_pandas(name, *args, **kwargs):
        if name == "pandas":
            raise ImportError(name)
        return real(name, *args, **kwargs)

    monkeypatch.setattr(builtins, "__import__", without_pandas)
    with pytest.raises(ImportError, match="to_frame needs pandas, which is not installed"):
        made["Sweep"].to_frame()


# --- by name --------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", BY_NAME)
def test_quantities_are_items_attributes_and_completed(made, name):
    thing = made[name]
    assert "torque" in thing.quantities and "torque" in dir(thing)
    assert "torque" in thing._ipython_key_completions_()
    assert np.array_equal(thing["torque"], thing.torque)
    with pytest.raises(AttributeError, match=r"no quantity 'torqe'; did you mean 'torque'\?"):
        thing.torqe  # noqa: B018
    with pytest.raises(ws.InputError, match="did you mean 'torque'"):
        thing["torqe"]


@pytest.mark.parametrize("name", BY_NAME)
def test_no_quantity_hides_behind_an_attribute(made, name):
    own = set(object.__dir__(made[name]))
    assert not own & {*QUANTITIES, *TRACES}


@pytest.mark.parametrize("name", BY_NAME)
def test_results_with_attributes_by_name_can_be_copied_and_sent(made, name):
    for twin in (copy.copy(made[name]), pickle.loads(pickle.dumps(made[name]))):
        assert repr(twin) == repr(made[name])
        assert np.array_equal(twin.torque, made[name].torque)


@pytest.mark.parametrize("name", ["Sweep", "Curve", "Design"])
def test_speed_in_brackets_gives_all_quantities_at_that_speed(made, name):
    curve = made[name]
    rpm = float(curve.rpm[-1])
    assert curve[rpm].rpm == rpm
    assert curve[rpm]["torque"] == curve[rpm].torque == curve.torque[-1]
    with pytest.raises(ws.InputError, match=r"no point at 1234 rev/min, there are .*6000"):
        curve[1234]


def test_designs_are_counted_from_zero_and_failures_are_keyed_alike(made):
    found = made["Exploration"]
    assert found[0] is found.designs[0]
    assert np.array_equal(found["torque"][0], found[0]["torque"])
    assert found.mass[0] == found[0].mass == found[0].amounts["mass"]
    assert found["exhaust.collector.length"][0] == found[0]["exhaust.collector.length"]
    for i in (-1, len(found)):
        with pytest.raises(ws.InputError, match="number"):
            found[i]
    # by what stands in the brackets: a speed of a sweep and a design, a number of an exploration
    assert list(made["Sweep"].failures) == [9000.0]
    engine, exhaust = found.built(0)
    hasty = ws.Settings(cell_length=0.1, sample_deg=10.0, max_steps_per_cycle=1000)
    lost = ws.explore(engine, exhaust, [{}, {"exhaust.collector.length": -1.0}], [1500, 9000],
                      settings=hasty, progress=False)
    assert list(lost.failures) == [0, 1]
    assert list(lost[0].failures) == [1500.0] and "Step limit" in lost[0].failures[1500.0]
    assert list(lost[1].failures) == [1500.0, 9000.0]
    assert lost[0].trusted.tolist() == [False, True] and not lost[0].converged


def test_point_repr_is_short_and_tells_doubt(made):
    point = made["Point"]
    assert repr(point) == (f"<Point: 4500 rev/min, {point.torque:.1f} N m, "
                           f"{1e-3 * point.power:.1f} kW>")
    audit = point.audit | {"converged": False}
    loose = ws.Point(point.rpm, point.values, {}, None, audit, point.meta)
    assert repr(loose).endswith("kW, not converged>")
    with pytest.raises(ws.InputError, match="traces were not kept"):
        loose.trace("pressure", "outlet")


def test_frames_carry_units_and_speeds(made):
    frame = made["Sweep"].to_frame()
    assert frame.index.name == "rpm" and frame.index.tolist() == [3000.0, 4500.0, 6000.0]
    assert frame.attrs["units"]["power"] == "W"
    assert frame["torque"].tolist() == made["Sweep"].torque.tolist()
    trace = made["Samples"].to_frame("velocity", ["outlet", "exhaust valve 1"])
    assert trace.index.name == "crank_angle" and list(trace) == ["outlet", "exhaust valve 1"]
    per_speed = made["Exploration"].to_frame(per_speed=True)
    assert isinstance(per_speed, pandas.DataFrame) and per_speed["rpm"].eq(6000.0).all()


def test_search_draws_its_designs_and_the_best_so_far(made):
    found = made["Optimum"]
    best, dots = (found.plot().get_lines()[i].get_ydata() for i in (1, 0))
    assert np.array_equal(dots, found.scores, equal_nan=True)
    assert np.all(np.diff(best) >= 0.0) and best[-1] == found.value == np.nanmax(found.scores)


def test_designs_are_drawn_against_a_path_an_amount_or_a_quantity(made):
    found = made["Exploration"]
    for against, values in [("exhaust.collector.length", found["exhaust.collector.length"]),
                            ("mass", found.mass), ("power", 1e-3 * found.mean("power"))]:
        line = found.plot(against=against).get_lines()[0]
        assert line.get_xdata() == pytest.approx(np.array(values))
        assert line.get_ydata() == pytest.approx(found.mean("torque"))
    with pytest.raises(ws.InputError, match="did you mean 'mass'"):
        found.plot(against="mas")


def test_curves_and_traces_become_data_sets_with_units(made):
    pytest.importorskip("xarray")
    sweep = made["Sweep"]
    found = sweep.to_xarray()
    assert found.sizes == {"rpm": len(sweep)} and found.rpm.attrs["units"] == "rev/min"
    assert np.array_equal(found.torque.values, sweep["torque"])
    assert found.torque.attrs["units"] == "N m" and found.attrs["title"] == NASTY
    samples = made["Samples"]
    traces = samples.to_xarray("mass_flow", ["exhaust valve 1", "outlet"])
    assert traces.crank_angle.attrs["units"] == "deg"
    assert set(traces) == {"exhaust valve 1", "outlet"}
    flow = samples.trace("mass_flow", "outlet")
    assert np.array_equal(traces["outlet"].values, flow.values)
    assert float(traces["outlet"].interp(crank_angle=90.0)) == pytest.approx(
        np.interp(90.0, flow.x, flow.values))


def test_missing_xarray_is_told_in_one_sentence(made, monkeypatch):
    real = builtins.__import__

    def refuse(name, *args, **kwargs):
        if name == "xarray":
            raise ImportError(name)
        return real(name, *args, **kwargs)

    monkeypatch.setattr(builtins, "__import__", refuse)
    with pytest.raises(ImportError, match="to_xarray needs xarray, which is not installed: pip"):
        made["Curve"].to_xarray()
