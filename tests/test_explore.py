"""Designs over any field, what they do, and the search for the best; mostly on an invented engine.

The invented engine has torque = 200 - 400 (collector length - 0.5 m)^2 - 0.01 |rpm - 4000| / 10,
so that the best design is known.
"""

import math
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest
from csv_files import csv_comments, csv_records
from fakes import press_ctrl_c
from matplotlib import pyplot

import wavesim.many.explore
import wavesim.many.optimise
import wavesim.many.work
from wavesim import (
    InputError,
    Pull,
    Settings,
    SolverError,
    Store,
    demo_path,
    designs,
    explore,
    load,
    optimise,
    speed_sweep,
)
from wavesim.descriptions.study import Study
from wavesim.many.explore import Design
from wavesim.many.pool import Workplace
from wavesim.many.space import built_pair, plain_pair
from wavesim.many.work import AHEAD, Task, run_chains
from wavesim.results.points import Point
from wavesim.show.quantities import QUANTITIES

CHEAP = Settings(cell_length=0.1, sample_deg=10.0, tolerance=5e-2)
LENGTH, BORE, RATIO = (
    "exhaust.collector.length", "exhaust.collector.diameter", "engine.compression_ratio"
)
SPACE = {LENGTH: (0.1, 0.8), BORE: [0.050, 0.058]}
RPM = (3000.0, 4000.0, 5000.0)


@pytest.fixture(scope="module")
def study():
    return load(demo_path("collector"))


@pytest.fixture(scope="module")
def system(study):
    return study.engine, study.exhausts[study.base]


@pytest.fixture
def invented(monkeypatch):
    """Invented engine in place of the real one; gives the list of what it computed."""
    calls = []

    def run(engine, exhaust, rpm, **_):
        length, bore = exhaust.collector[0].length, exhaust.collector[0].diameter
        calls.append((length, bore, rpm))
        if length > 0.79:
            raise SolverError("Unphysical state in duct 'collector'")
        torque = 200.0 - 400.0 * (length - 0.5) ** 2 - 1e-3 * abs(rpm - 4000.0)
        values = dict.fromkeys(QUANTITIES, 1.0)
        values |= {"torque": torque, "power": torque * rpm * math.pi / 30.0, "bsfc": length}
        audit = {"converged": bore < 0.057, "cycles": 3}
        return Point(rpm, values, {}, None, audit, {})

    monkeypatch.setattr(wavesim.many.work, "run_point", run)
    return calls


def test_what_a_design_leaves_alone_is_built_once(system):
    engine, exhaust = system
    raw, other = plain_pair(*system), plain_pair(engine.replace(bore=0.07), exhaust)
    a, b = (built_pair(raw, {LENGTH: length}) for length in (0.3, 0.4))
    assert a[0] is b[0] and a[0] == engine
    assert a[1].primary[0] is b[1].primary[0] and a[1].primary == exhaust.primary
    assert [pair[1].collector[0].length for pair in (a, b)] == [0.3, 0.4]
    assert built_pair(raw, {RATIO: 9.0})[0].compression_ratio == 9.0
    assert built_pair(raw, {})[0] == engine
    assert built_pair(other, {LENGTH: 0.3})[0].bore == 0.07


# --- designs --------------------------------------------------------------------------------------


def test_grid_holds_every_combination_and_both_ends(study):
    found = designs(study, {**SPACE, RATIO: [10.0, 11.0]}, 3)
    assert len(found) == 12 and found[0] == {LENGTH: 0.1, BORE: 0.050, RATIO: 10.0}
    assert sorted({d[LENGTH] for d in found}) == pytest.approx([0.1, 0.45, 0.8])


@pytest.mark.parametrize("method", ["latin hypercube", "sobol"])
def test_samples_fill_the_space_evenly_and_repeat_with_their_seed(study, method):
    space = {LENGTH: (0.1, 0.8), "exhaust.primary.length": (0.4, 0.9)}
    found = designs(study, space, 32, method=method, seed=3)
    assert found == designs(study, space, 32, method=method, seed=3)
    assert found != designs(study, space, 32, method=method, seed=4)
    for path, (low, high) in space.items():  # one sample in every 32nd of each range
        places = sorted(int(32 * (d[path] - low) / (high - low)) for d in found)
        assert places == list(range(32))


def test_samples_of_any_number_and_of_single_values(study):
    found = designs(study, {LENGTH: (0.1, 0.8), BORE: [0.05, 0.054]}, 21, method="sobol")
    assert len(found) == 21 and {d[BORE] for d in found} == {0.05, 0.054}
    assert len(designs(study, {BORE: [0.05, 0.054]}, 50, method="sobol")) == 2  # equal ones go


def test_a_pair_of_engine_and_exhaust_is_a_base_too(study, system):
    assert designs(system, SPACE, 2) == designs(study, SPACE, 2)


@pytest.mark.parametrize(
    ("space", "message"),
    [
        ({"exhaust.colector.length": (0.1, 0.8)}, "did you mean 'collector'"),
        ({"exhaust.collector.lenght": (0.1, 0.8)}, "did you mean 'length'"),
        ({"exhausts.collector.length": (0.1, 0.8)}, "must be one of 'engine', 'exhaust'"),
        ({"exhaust.collector.1.length": (0.1, 0.8)}, "does not choose one of the 1 items"),
        ({"exhaust.tailpipe.length": (0.1, 0.8)}, "does not choose one of the 0 items"),
        ({"engine.bore.x": [1]}, "has no field 'x'"),
        ({LENGTH: (0.8, 0.1)}, "high end of 'exhaust.collector.length' = 0.1"),
        ({LENGTH: (0.1, 0.5, 0.8)}, r"must be a pair \(low, high\), or a list"),
        ({LENGTH: (0.1, float("nan"))}, "not a finite number"),
        ({LENGTH: []}, "at least one value"),
        ({LENGTH: "short"}, "must be a sequence"),
        ({}, "must map paths"),
    ],
)
def test_bad_spaces_are_refused(study, space, message):
    with pytest.raises(InputError, match=message):
        designs(study, space, 3)


def test_bad_arguments_of_designs_are_refused(study):
    for arguments, message in (
        ({"n": 0}, "n = 0"), ({"n": 2.5}, "n = 2.5"), ({"n": 3, "method": "random"}, "grid"),
        ({"n": 3, "method": "sobol", "seed": -1}, "seed = -1"),
    ):  # fmt: skip
        with pytest.raises(InputError, match=message):
            designs(study, SPACE, **arguments)
    with pytest.raises(InputError, match="number of combinations"):
        designs(study, {LENGTH: (0.1, 0.8), BORE: (0.05, 0.06)}, 2000)
    with pytest.raises(InputError, match="Study or a pair"):
        designs("study", SPACE, 3)


# --- explore --------------------------------------------------------------------------------------


def test_table_of_designs_holds_values_averages_and_the_bill(system, study, invented):
    found = explore(*system, designs(study, SPACE, 3), RPM, progress=False)
    assert len(found) == 6 and found.paths == (LENGTH, BORE)
    assert found["torque"].shape == (6, 3) and found.rpm.tolist() == list(RPM)
    assert found["torque"][2] == pytest.approx([198.0, 199.0, 198.0])
    assert found.mean("torque")[2] == pytest.approx(198.5)
    assert found.mean("torque", (3500, 4500))[2] == pytest.approx(198.75)
    assert found[LENGTH][2] == pytest.approx(0.45) and found[BORE][:2] == [0.050, 0.058]
    longer, shorter = found.designs[2].amounts, found.designs[0].amounts
    assert longer["length"] - shorter["length"] == pytest.approx(0.35)
    assert longer["mass"] > shorter["mass"]
    assert found.built(2)[1].collector[0].length == pytest.approx(0.45)


def test_failed_designs_are_kept_with_their_error(system, invented):
    space = {LENGTH: [0.3, 0.8, 99.0]}
    found = explore(*system, space, RPM, progress=False)
    assert list(found.failures) == [1, 2]
    assert found.failures[1].startswith("3000 rev/min: Unphysical state in duct 'collector'; 4000")
    assert "length = 99 m is outside the valid range" in found.failures[2]
    assert np.isnan(found["torque"][1:]).all() and np.isnan(found["mass"][2])
    assert [d.changes[LENGTH] for d in found.best()] == [0.3]
    assert "3 designs, 2 failed" in found.summary()


def test_best_follows_goal_band_and_limits(system, study, invented):
    found = explore(*system, designs(study, SPACE, 8), RPM, keep=("torque", "bsfc"), progress=False)
    lengths = sorted(set(found[LENGTH]))
    assert found.best()[0].changes[LENGTH] == lengths[4] == pytest.approx(0.5)
    assert found.best("bsfc", goal="smallest")[0].changes[LENGTH] == lengths[0]
    assert found.best("length")[0].changes[LENGTH] == lengths[6]  # the last one failed
    heaviest = found.designs[5].amounts["mass"]
    light = found.best(limits={"mass": (None, heaviest)}, count=99)
    assert light and all(d.amounts["mass"] <= heaviest for d in light)
    strong = found.best(limits={"torque": (197.0, None)}, count=99)
    assert all(d.quantities["torque"].min() >= 197.0 for d in strong) and len(strong) < len(found)
    with pytest.raises(InputError, match="did you mean 'torque'"):
        found.best("torqe")
    with pytest.raises(InputError, match="limits"):
        found.best(limits={"pmep": (None, 1e5)})  # was not kept
    with pytest.raises(InputError, match="band"):
        found.best(band=(2000, 4000))


def test_designs_that_did_not_converge_are_flagged(system, study, invented):
    found = explore(*system, {BORE: [0.050, 0.058]}, RPM, progress=False)
    assert [design.converged for design in found] == [True, False]
    assert found.summary().count("not converged") == 1 and "1 did not converge" in found.summary()


def test_csv_holds_designs_or_designs_and_speeds(system, invented, tmp_path):
    found = explore(*system, {LENGTH: [0.3, 0.8]}, RPM, progress=False)
    found.to_csv(tmp_path / "a.csv")
    found.to_csv(tmp_path / "b.csv", per_speed=True)
    rows = csv_records(tmp_path / "a.csv")
    assert [float(row[LENGTH]) for row in rows] == [0.3, 0.8]
    assert float(rows[0]["torque [N m]"]) == found.mean("torque")[0]
    assert rows[1]["torque [N m]"] == "" and "Unphysical" in rows[1]["error"]
    assert float(rows[1]["mass [kg]"]) > 0.0
    comments = csv_comments(tmp_path / "a.csv")
    assert comments[0] == "averages over speed of each design"
    assert any(line.startswith("torque [N m]: Torque.  Brake torque") for line in comments)
    assert csv_comments(tmp_path / "b.csv")[0] == "each design at each speed"
    rows = csv_records(tmp_path / "b.csv")
    assert [float(row["rpm [rev/min]"]) for row in rows] == [*RPM, *RPM]
    assert [float(row["torque [N m]"]) for row in rows[:3]] == found["torque"][0].tolist()


def test_fields_that_depend_on_one_another_may_vary_together(system, invented):
    """A rod shorter than the old throw is fine if the stroke shrinks with it."""
    found = explore(*system, [{"engine.rod": 0.04, "engine.stroke": 0.03}], RPM, progress=False)
    assert not found.failures and found.built(0)[0].rod == 0.04


def test_interrupted_exploration_keeps_what_was_finished(system, study, invented, monkeypatch):
    press_ctrl_c(monkeypatch, after=6)
    found = explore(*system, designs(study, SPACE, 20), RPM, threads=1, progress=False)
    assert found.interrupted and 0 < len(found) < 40
    assert all(not np.isnan(d.quantities["torque"]).any() for d in found if not d.error)
    assert "interrupted" in found.summary()


def test_designs_are_made_while_others_are_computed(system, invented):
    made = []

    def chains():
        for length in np.linspace(0.2, 0.5, 12):
            made.append(len(invented))
            yield [Task(*built_pair(plain_pair(*system), {LENGTH: length}), RPM[0], CHEAP)]

    done = run_chains(chains(), threads=1, progress=False, tasks=12)
    assert len(done.chains) == 12 and not done.interrupted
    assert made[0] == 0 and made[-1] >= 12 - 1 - AHEAD


def test_exploration_goes_on_from_its_store(system, study, invented, tmp_path):
    store = Store(tmp_path)
    wanted = designs(study, SPACE, 4)
    first = explore(*system, wanted[:5], RPM, store=store, progress=False)
    assert len(invented) == 15
    again = explore(*system, wanted, RPM, store=store, progress=False)
    assert len(invented) == 24 and store.check().finished == 24
    assert np.array_equal(again["torque"][:5], first["torque"], equal_nan=True)


def test_no_more_comes_back_of_a_point_than_is_needed(system, invented, tmp_path):
    asked = []

    class Noting(ThreadPoolExecutor):
        def submit(self, call, task, *rest):
            asked.append(task.values_alone)
            return super().submit(call, task, *rest)

    for more in ({}, {"store": Store(tmp_path)}, {"pull": Pull(300.0, walls="cold")}):
        with Noting(1) as executor:
            explore(*system, [{}], RPM[:1], executor=executor, progress=False, **more)
    assert asked == [True, False, False]
    file, = tmp_path.glob("*.npz")
    assert Store(tmp_path).get(file.name[:64], traces=False).audit["cycles"] == 3  # all of it


def test_real_engine_gives_what_a_sweep_gives(system, study):
    found = explore(*system, {LENGTH: [0.15, 0.6]}, [5000, 6000], settings=CHEAP, progress=False)
    for i, length in enumerate((0.15, 0.6)):
        sweep = speed_sweep(
            system[0], system[1].with_collector(length=length), [5000, 6000], settings=CHEAP,
            threads=1, progress=False,
        )
        assert found["torque"][i] == pytest.approx(sweep["torque"], rel=CHEAP.tolerance)
        assert found["torque"][i, 0] == sweep["torque"][0]  # both start cold there


def test_bad_arguments_of_explore_are_refused(system):
    cases = [
        ({"designs": {LENGTH: (0.1, 0.8)}}, "is a range, sample it first"),
        ({"designs": "all"}, "must be a sequence"), ({"designs": [3]}, r"designs\[0\] = 3"),
        ({"designs": [{"exhaust.x": 1}]}, "no field 'x'"),
        ({"keep": ("torqe",)}, "did you mean 'torque'"), ({"rpm": []}, "rpm = .* is empty"),
        ({"executor": "threads"}, "must be a concurrent.futures.Executor"),
    ]
    for changes, message in cases:
        arguments = {"designs": [{LENGTH: 0.3}], "rpm": RPM, **changes}
        with pytest.raises(InputError, match=message):
            explore(*system, progress=False, **arguments)
    with pytest.raises(InputError, match="must be of type Engine"):
        explore(*system[::-1], {LENGTH: [0.3]}, RPM)


def test_ends_of_a_range_are_tried_when_it_is_given_and_millimetres_get_their_hint(study, system):
    for space, end, fragment in (
        ({LENGTH: (0.1, 450.0)}, "high end", "450 mm is 0.45"),
        ({LENGTH: (100.0, 450.0)}, "low end", "100 mm is 0.1"),
        ({BORE: (-0.05, 0.05)}, "low end", "outside the valid range"),
    ):
        for ask in (lambda s: designs(study, s, 4), lambda s: optimise(*system, s, RPM)):
            with pytest.raises(InputError, match=f"space: {end} of .*{fragment}"):
                ask(space)
    with pytest.raises(InputError, match="none of the values of .* 54 mm is 0.054"):
        designs(study, {BORE: [54.0, 58.0]}, 1)
    with pytest.raises(InputError, match="none of the designs can be built.* 54 mm is 0.054"):
        explore(*system, [{BORE: 54.0}, {BORE: 58.0}], RPM)


def test_ends_that_are_right_only_together_are_taken(study):
    """A rod shorter than the old throw is fine where the stroke shrinks with it."""
    space = {"engine.rod": (0.04, 0.05), "engine.stroke": (0.03, 0.04)}
    assert len(designs(study, space, 3)) == 9
    with pytest.raises(InputError, match="low end of 'engine.rod'"):
        designs(study, {"engine.rod": (0.04, 0.15)}, 3)


def test_commonest_failure_is_told_with_its_first_words(system, invented):
    found = explore(*system, {LENGTH: [0.3, 0.795, 0.8, 0.81, 99.0]}, RPM, progress=False)
    note = found.failure_note()
    assert note.startswith("Of the 4 that failed, 3 did with such words: Unphysical state in duct")
    assert note in found.summary() and note in found._repr_html_().replace("&#x27;", "'")
    good = explore(*system, {LENGTH: [0.3, 0.4]}, RPM, progress=False)
    assert good.failure_note() == "" and "2 designs, 0 failed" in good.summary()


def test_best_design_at_the_edge_of_what_was_tried_is_said(system, invented):
    found = explore(*system, {LENGTH: [0.2, 0.3, 0.4], BORE: [0.05]}, RPM, progress=False)
    assert f"At the edge of what was tried: {LENGTH} has the highest value" in found.summary()
    assert "edge" not in explore(*system, {LENGTH: [0.4, 0.5, 0.6]}, RPM, progress=False).summary()


def test_pairs_and_one_dimension_show_every_design_with_names_and_units(system, study, invented):
    found = explore(*system, designs(study, {LENGTH: (0.1, 0.7), BORE: (0.045, 0.055),
                                             RATIO: (9.0, 11.0)}, 3), RPM, progress=False)
    axes = found.plot_pairs()
    assert len(axes) == 3 and axes[0].get_xlabel() == f"{LENGTH} [m]"
    assert (axes[1].get_xlabel(), axes[1].get_ylabel()) == (f"{LENGTH} [m]", RATIO)
    dots = axes[0].collections[0]
    assert dots.get_offsets().shape == (27, 2)
    assert np.array_equal(dots.get_array(), found.mean("torque"))
    (star,) = [line for line in axes[0].get_lines() if line.get_marker() == "*"]
    assert star.get_xdata()[0] == found.best()[0].changes[LENGTH]
    assert axes[0].figure.axes[-1].get_ylabel() == "mean torque [N m]"
    one = found.plot(against=BORE)
    assert one.get_xlabel() == f"{BORE} [m]" and len(one.get_lines()[0].get_xdata()) == 27
    for paths in ([LENGTH], ["engine.bore", LENGTH]):
        with pytest.raises(InputError, match="path"):
            found.plot_pairs(paths=paths)
    pyplot.close("all")


# --- optimise -------------------------------------------------------------------------------------


@pytest.mark.parametrize("method", ["differential evolution", "nelder-mead"])
def test_search_finds_the_known_optimum(system, invented, method):
    found = optimise(*system, {LENGTH: (0.1, 0.7)}, RPM, method=method, evaluations=120,
                     progress=False)
    assert found.feasible and found.best.changes[LENGTH] == pytest.approx(0.5, abs=0.005)
    assert found.value == pytest.approx(found.best.mean("torque")) and found.value > 198.4
    assert found.exhaust.collector[0].length == found.best.changes[LENGTH]
    assert found.exploration.designs[0].changes[LENGTH] == pytest.approx(0.15)  # the base
    assert "within the limits" in found.summary()


@pytest.mark.parametrize("method", ["differential evolution", "nelder-mead"])
def test_search_keeps_to_limits_on_the_bill_and_on_quantities(system, invented, method):
    reach = optimise(
        *system, {LENGTH: (0.1, 0.8)}, RPM, limits={"length": (None, 3.35)}, method=method,
        evaluations=120, progress=False,
    )
    assert reach.feasible and reach.best.amounts["length"] <= 3.35
    assert reach.best.changes[LENGTH] == pytest.approx(0.35, abs=0.005)  # primaries: 4 x 0.75 m
    assert all(length <= 0.3500001 for length, _, _ in invented)  # what is too long is not run
    thrifty = optimise(
        *system, {LENGTH: (0.1, 0.8)}, RPM, limits={"bsfc": (None, 0.4)}, method=method,
        evaluations=120, progress=False,
    )
    assert thrifty.feasible and thrifty.best.changes[LENGTH] == pytest.approx(0.4, abs=0.005)


def test_report_names_objective_base_gain_limits_and_edges_and_shows_both_curves(system, invented):
    found = optimise(*system, {LENGTH: (0.1, 0.4), BORE: [0.05, 0.054]}, RPM,
                     limits={"mass": (None, 50.0), "bsfc": (0.0, 0.9)}, evaluations=60,
                     band=(3000, 5000), progress=False)
    base = 200.0 - 400.0 * 0.35**2 - 0.5  # the collector of the base is 0.15 m long
    assert found.base_value == pytest.approx(base)
    assert found.gain == pytest.approx(found.value - base) and found.edges == {LENGTH: "high"}
    text = found.summary()
    row = next(line for line in text.splitlines() if LENGTH in line)
    assert row.split() == [LENGTH, "[m]", "0.15", f"{found.best.changes[LENGTH]:.6g}", "0.1", "to",
                           "0.4", "at", "the", "high", "edge", "of", "the", "space"]
    assert f"mean torque from 3000 to 5000 rev/min: {found.value:.1f} N m, within" in text
    assert f"base: {base:.1f} N m, gain +{found.gain:.1f} N m (+" in text
    assert "Limit on mass of tubes and silencers: at most 50 kg; the best design has " in text
    assert "at least 0 and at most 3.24e+09 g/kWh" in text
    assert "lies at the edge of the space: a better one may lie beyond" in text
    assert "A = base, B = best design" in text and "Torque: B lies furthest above A at" in text
    found = optimise(*system, {LENGTH: (0.1, 0.7)}, RPM, evaluations=60, progress=False)
    assert found.edges == {} and "edge" not in found.summary()


def test_base_outside_the_space_or_the_limits_is_computed_all_the_same(system, invented):
    beyond = optimise(*system, {LENGTH: (0.3, 0.7)}, RPM, evaluations=20, progress=False)
    light = optimise(*system, {LENGTH: (0.1, 0.7)}, RPM, limits={"length": (3.4, None)},
                     evaluations=20, progress=False)
    for found in (beyond, light):
        assert found.base_value == pytest.approx(200.0 - 400.0 * 0.35**2 - 0.5)
        assert found.gain > 0.0 and len(found.exploration) <= 20
        assert found.comparison.difference()[1] == pytest.approx(
            found.best["torque"][1] - found.base["torque"][1])


def test_course_of_a_search_is_drawn_with_unit_base_and_failures(system, invented):
    found = optimise(*system, {LENGTH: (0.1, 1.2)}, RPM, evaluations=40, progress=False)
    ax = found.plot()
    lines = {line.get_label(): line for line in ax.get_lines()}
    assert ax.get_ylabel() == "mean torque from 3000 to 5000 rev/min [N m]"
    assert set(lines["base"].get_ydata()) == {found.base_value}
    lost = lines["failed or outside the limits"].get_xdata()
    assert len(lost) == np.isnan(found.scores).sum() > 0
    best = lines["best so far"].get_ydata()
    assert np.all(np.diff(best[~np.isnan(best)]) >= 0.0) and best[-1] == found.value
    pyplot.close("all")


def test_search_says_when_nothing_keeps_to_the_limits(system, invented):
    found = optimise(*system, {LENGTH: (0.1, 0.7)}, RPM, limits={"bsfc": (None, 0.05)},
                     evaluations=40, progress=False)
    assert not found.feasible and math.isnan(found.value)
    assert found.best.changes[LENGTH] == pytest.approx(0.1, abs=0.02)  # the nearest
    assert "outside the limits" in found.summary()


def test_search_with_single_values_a_function_and_a_goal(system, invented):
    found = optimise(
        *system, {LENGTH: (0.1, 0.7), BORE: [0.050, 0.054]}, RPM, goal="smallest",
        objective=lambda design: (design.mean("length") - 3.3) ** 2, evaluations=100,
        progress=False,
    )
    assert found.best.changes[LENGTH] == pytest.approx(0.3, abs=0.01)
    assert found.best.changes[BORE] in (0.050, 0.054)


def test_search_repeats_with_its_seed_on_any_number_of_threads(system, invented):
    def search(seed, threads):
        found = optimise(*system, {LENGTH: (0.1, 0.7)}, RPM, evaluations=40, seed=seed,
                         threads=threads, progress=False)
        return [design.changes[LENGTH] for design in found.exploration]

    assert search(1, 1) == search(1, 3) != search(2, 1)


def test_search_never_computes_a_design_twice(system, invented):
    optimise(*system, {LENGTH: (0.1, 0.7), BORE: [0.05]}, RPM, evaluations=60, progress=False)
    assert len(invented) == len(set(invented))


@pytest.fixture
def batches(monkeypatch):
    """How many designs a search hands in at once; in a list, and none is computed."""
    sizes = []

    def run(bench, changes, limits, *, progress):
        sizes.append(len(changes))
        return [_drawn(bench, change, 100.0 + change[LENGTH]) for change in changes], False

    monkeypatch.setattr(wavesim.many.explore.Bench, "run", run)
    return sizes


def _drawn(bench, changes, torque, mass=1.0, back_pressure=1.0):
    """A design of stated numbers."""
    rpm = np.array(bench.rpm)
    found = {"torque": torque, "power": 1.0, "back_pressure": back_pressure}
    quantities = {name: np.full(rpm.size, found[name]) for name in bench.keep}
    return Design(changes, rpm, quantities, {"mass": mass}, rpm > 0.0, {}, "")


SIX = {LENGTH: (0.1, 0.7), BORE: (0.045, 0.060), "exhaust.merge.angle_deg": (8.0, 20.0),
       "exhaust.primary.length": (0.4, 1.0), RATIO: (8.0, 12.0),
       "engine.combustion.efficiency": (0.9, 1.0)}


@pytest.mark.parametrize("fields, asked, first", [
    (3, {}, 18), (1, {}, 8), (3, {"generation": 40}, 40), (3, {"evaluations": 12}, 6),
])
def test_a_generation_is_handed_in_at_once(system, batches, fields, asked, first):
    space = dict(list(SIX.items())[:fields])
    found = optimise(*system, space, RPM, progress=False, **asked)
    assert batches[0] == found.generation == first and max(batches) == first
    assert len(found.exploration) <= asked.get("evaluations", 200)
    assert f"in generations of {first}: " in found.summary()


@pytest.mark.parametrize("speeds, evaluations, first", [
    (2, 1000, 100), (2, 100_000, 512), (40, 2000, 26), (40, 100, 18), (1, 10, 5),
])
def test_a_gpu_gets_generations_that_keep_it_busy_and_leave_ten(
    system, batches, monkeypatch, speeds, evaluations, first
):
    monkeypatch.setattr(wavesim.many.explore, "workplace",
                        lambda *_: Workplace(None, 1, "gpu", None))
    space = dict(list(SIX.items())[:3])
    found = optimise(*system, space, np.linspace(2000.0, 6000.0, speeds), device="gpu",
                     evaluations=evaluations, progress=False)
    assert batches[0] == found.generation == first


class Hills:
    """Torque with two hills, under limits on mass and back-pressure that cut off the higher."""

    def __init__(self, fields):
        rng = np.random.default_rng(fields)
        self.space = dict(list(SIX.items())[:fields])
        self.turned, _ = np.linalg.qr(rng.normal(size=(fields, fields)))
        self.tops, self.sharp = rng.uniform(0.3, 0.8, (2, fields)), rng.uniform(1.0, 3.0, fields)
        self.weight, self.starts = rng.uniform(0.2, 1.0, fields), rng.uniform(size=(30, fields))
        self.limits = {"mass": (None, self.mass(self.tops[0]) - 0.5),
                       "back_pressure": (None, 0.8 * self.back_pressure(self.tops[0]))}

    def torque(self, u):
        return 200.0 + sum(size * np.exp(-np.sum((self.sharp * ((u - top) @ self.turned)) ** 2))
                           for size, top in zip((40.0, 25.0), self.tops, strict=True))

    def mass(self, u):
        return 5.0 + 10.0 * float(self.weight @ u)

    def back_pressure(self, u):
        return 1e3 * float(np.sum((0.4 + u[:2]) ** -4))

    def designs(self, bench, changes):
        low, high = np.array(list(self.space.values())).T
        shares = [(np.array(list(one.values())) - low) / (high - low) for one in changes]
        return [_drawn(bench, one, self.torque(u), self.mass(u), self.back_pressure(u))
                for one, u in zip(changes, shares, strict=True)]

    def best(self):
        """Largest torque within the limits, by SLSQP from many starts."""
        from scipy.optimize import minimize

        cuts = [{"type": "ineq", "fun": lambda u, name=name, most=most:
                 1.0 - getattr(self, name)(u) / most} for name, (_, most) in self.limits.items()]
        found = [minimize(lambda u: -self.torque(u), start, method="SLSQP", constraints=cuts,
                          bounds=[(0.0, 1.0)] * len(start)) for start in self.starts]
        return max(-one.fun for one in found if one.success)


@pytest.mark.parametrize("fields", [3, 4, 6])
def test_ten_large_generations_come_near_the_optimum_within_limits(system, monkeypatch, fields):
    hills = Hills(fields)
    monkeypatch.setattr(wavesim.many.explore.Bench, "run", lambda bench, changes, *_, **__: (
        hills.designs(bench, changes), False))

    def lost():
        found = [optimise(*system, hills.space, RPM, limits=hills.limits, evaluations=1000,
                          generation=100, seed=seed, progress=False) for seed in range(3)]
        values = [one.value if one.feasible else 0.0 for one in found]
        return 1.0 - float(np.median(values)) / hills.best()

    short = lost()
    assert -1e-6 < short < 2e-3
    monkeypatch.setattr(wavesim.many.optimise, "_SHORT", {})
    assert lost() > 4.0 * short  # with the usual long steps


@pytest.mark.parametrize("method", ["differential evolution", "nelder-mead"])
@pytest.mark.parametrize("evaluations", [10, 15, 31])
def test_search_tries_no_more_designs_than_asked(system, invented, method, evaluations):
    space = {LENGTH: (0.1, 0.7), BORE: (0.045, 0.055)}
    found = optimise(*system, space, RPM, method=method, evaluations=evaluations, progress=False)
    assert evaluations // 2 <= len(found.exploration) <= evaluations


def test_interrupted_search_returns_the_best_so_far(system, invented, monkeypatch):
    press_ctrl_c(monkeypatch, after=60)
    found = optimise(*system, {LENGTH: (0.1, 0.7)}, RPM, evaluations=500, threads=1, progress=False)
    assert found.interrupted and found.message == "interrupted" and len(found.exploration) > 5
    assert found.value == max(d.mean("torque") for d in found.exploration)


def test_error_of_an_objective_reaches_the_caller(system, invented):
    def objective(design):
        raise ValueError("my own mistake")

    with pytest.raises(ValueError, match="my own mistake"):
        optimise(*system, {LENGTH: (0.1, 0.7)}, RPM, objective=objective, progress=False)


def test_bad_arguments_of_optimise_are_refused(system, invented):
    cases = [
        ({"objective": "torqe"}, "did you mean 'torque'"), ({"goal": "best"}, "'largest'"),
        ({"method": "gradient"}, "'nelder-mead'"), ({"evaluations": 3}, "evaluations = 3"),
        ({"limits": {"mas": (None, 1.0)}}, "did you mean 'mass'"),
        ({"limits": {"mass": 12.0}}, "must be a pair"),
        ({"limits": {"mass": (None, None)}}, "must be a pair"),
        ({"limits": {"mass": (None, "light")}}, "mass = 'light' .* numbers in kg"),
        ({"band": (100, 200)}, "band"), ({"seed": -1}, "seed = -1"),
        ({"method": "nelder-mead", "space": {BORE: [0.05]}}, "must be a range"),
        ({"generation": 4}, "generation = 4"), ({"generation": 101}, "5 to 100"),
        ({"generation": 20, "method": "nelder-mead"}, "has no generations"),
    ]
    for changes, message in cases:
        arguments = {"space": {LENGTH: (0.1, 0.7)}, **changes}
        with pytest.raises(InputError, match=message):
            optimise(*system, rpm=RPM, progress=False, **arguments)
    assert not invented


def test_progress_bar_counts_designs(system, invented, capsys):
    optimise(*system, {LENGTH: (0.1, 0.7)}, RPM, evaluations=20, method="nelder-mead")
    shown = capsys.readouterr().err
    assert "design/s" in shown and "best so far 19" in shown


def test_study_gives_its_base(study):
    assert isinstance(study, Study)
    found = designs(study, {LENGTH: [0.2]}, 1)
    assert found == [{LENGTH: 0.2}]


def test_a_space_may_be_stated_in_the_units_of_the_workshop():
    from wavesim.many.space import designs

    study = load(demo_path("collector"))
    stated = designs(study, {"exhaust.primary.length": ("600 mm", "900 mm"),
                             "exhaust.primary.diameter": ["1.5 inch", 0.042]}, 2)
    plain = designs(study, {"exhaust.primary.length": (0.6, 0.9),
                            "exhaust.primary.diameter": [0.0381, 0.042]}, 2)
    assert stated == plain
    with pytest.raises(InputError, match=r"'exhaust.primary.length' = '600 degC' is a temperature"):
        designs(study, {"exhaust.primary.length": ["600 degC"]}, 2)
