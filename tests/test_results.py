"""Results: files that keep every bit, traces, tables, failures and interruption of a sweep."""

import json
import re
import zlib
from dataclasses import replace

import numpy as np
import pytest
from csv_files import csv_rows
from fakes import fake_sweep, fake_value, press_ctrl_c

from wavesim.descriptions.assemble import assemble
from wavesim.descriptions.settings import Settings
from wavesim.descriptions.study import demo_path, load
from wavesim.descriptions.weather import Ambient
from wavesim.errors import InputError, SolverError
from wavesim.gas.models import EngineGas, PerfectGas
from wavesim.many.sweep import speed_sweep
from wavesim.march.run import run_point
from wavesim.results.compact import STEPS, pack_samples, unpack_samples
from wavesim.results.points import Point, Sweep, pack_points, point_meta
from wavesim.results.traces import Samples
from wavesim.show.quantities import CYLINDERS, QUANTITIES, TRACES, display

COARSE = Settings(cell_length=0.03, sample_deg=2.0, tolerance=2e-3)
# Enough steps for a cycle at 6000 rev/min on this mesh, too few for one at 2000 rev/min.
FEW_STEPS = COARSE.replace(max_steps_per_cycle=1500)


@pytest.fixture(scope="module")
def stored(base, tmp_path_factory):
    """A sweep written to a file and read back."""
    path = tmp_path_factory.mktemp("store") / "base.result"
    base.failures[9000.0] = "it burst"
    base.save(path)
    del base.failures[9000.0]
    return path, Sweep.load(path)


# --- files ----------------------------------------------------------------------------------------


def test_sweep_from_a_file_equals_the_sweep_that_was_written(base, stored):
    _, again = stored
    assert again.name == base.name and again.failures == {9000.0: "it burst"}
    assert again.interrupted is base.interrupted
    for name in QUANTITIES:
        assert np.array_equal(again[name], base[name], equal_nan=True)
    for old, new in zip(base, again, strict=True):
        assert (new.rpm, new.audit, new.meta) == (old.rpm, old.audit, old.meta)
        assert (new.engine, new.exhaust) == (old.engine, old.exhaust)
        assert new.samples.layout == old.samples.layout
        assert new.cylinders.keys() == old.cylinders.keys()
        for name, values in old.cylinders.items():
            assert np.array_equal(new.cylinders[name], values)


def test_traces_of_an_exact_file_are_the_same_to_the_last_bit(base, tmp_path):
    base.save(tmp_path / "exact.npz", exact=True)
    old, new = base[4500], Sweep.load(tmp_path / "exact.npz")[4500]
    for field in ("x", "cells", "stores", "faces"):
        a, b = getattr(old.samples, field), getattr(new.samples, field)
        assert a.dtype == b.dtype and a.tobytes() == b.tobytes()
    a = old.trace("mass_flow", "collector", 0.1)
    b = new.trace("mass_flow", "collector", 0.1)
    assert a.values.tobytes() == b.values.tobytes()


def test_traces_of_a_file_are_rounded_to_stated_steps_and_no_more(base, stored):
    old, new = base[4500].samples, stored[1][4500].samples
    assert new.cells.dtype == np.float32 and new.cells.shape == old.cells.shape
    off = np.abs(new.cells.astype(float) - old.cells).max(axis=(0, 2)) / STEPS
    assert np.all(off < 0.501) and np.all(off[:3] > 0.4)
    assert np.array_equal(new.x, old.x)
    for name in ("stores", "faces"):
        a, b = getattr(old, name), getattr(new, name)
        assert b.dtype == a.dtype == float and b == pytest.approx(a, rel=1e-7, abs=1e-37)


def test_writing_what_was_read_changes_nothing_more(stored, tmp_path):
    path, again = stored
    again.save(tmp_path / "again.npz")
    twice = Sweep.load(tmp_path / "again.npz")
    for a, b in zip(again, twice, strict=True):
        assert a.samples.cells.tobytes() == b.samples.cells.tobytes()
        assert a.samples.faces.tobytes() == b.samples.faces.tobytes()
    assert (tmp_path / "again.npz").read_bytes() == path.read_bytes()


def test_work_of_a_rounded_trace_is_the_reported_mean_effective_pressure(base, stored):
    """Pressure and volume of a cylinder keep single precision: 1e-6 of the integral, not a step."""
    for old, new in zip(base, stored[1], strict=True):
        for point in (old, new):
            pressure, volume = (point.trace(name, "cylinder 1") for name in ("pressure", "volume"))
            work = pressure.integral(over=volume)
            swept = np.ptp(volume.values)
            assert work / swept == pytest.approx(point.cylinders["imep_net"][0], rel=5e-3)
        works = [p.trace("pressure", "cylinder 1").integral(over=p.trace("volume", "cylinder 1"))
                 for p in (old, new)]
        assert works[1] == pytest.approx(works[0], rel=1e-6)
        flows = [p.trace("mass_flow", "exhaust valve 2").integral() for p in (old, new)]
        assert flows[1] == pytest.approx(flows[0], rel=1e-6)


@pytest.mark.parametrize("cells", [
    np.full((4, 5, 3), 7.0), np.zeros((1, 5, 1)),
    np.cumsum(np.full((4, 5, 3), 4e8), axis=0) * [[[1], [-1], [1], [0], [0]]],  # wider than 16 bits
    np.linspace(-1e6, 1e6, 60).reshape(4, 5, 3)[::-1],
])
def test_any_gas_is_packed_within_half_a_step(cells):
    cells = np.asarray(cells, dtype=np.float32)
    samples = Samples(np.arange(float(len(cells))), "theta_deg", cells,
                      np.zeros((len(cells), 0, 5)), np.zeros((len(cells), 0, 3)), {})
    again = unpack_samples(*pack_samples(samples, False))
    bound = 0.5 * np.array(STEPS)[:, None] + 1.2e-7 * np.abs(cells)
    assert np.all(np.abs(again.cells.astype(float) - cells) <= bound)


def test_gas_that_is_no_number_keeps_every_bit():
    cells = np.full((3, 5, 2), np.nan, dtype=np.float32)
    samples = Samples(np.arange(3.0), "theta_deg", cells, np.zeros((3, 0, 5)), np.zeros((3, 0, 3)),
                      {})
    arrays, facts = pack_samples(samples, False)
    assert "rounded" not in facts
    assert unpack_samples(arrays, facts).cells.tobytes() == cells.tobytes()


def test_a_dozen_speeds_take_less_than_ten_megabytes():
    """The usual mesh and sampling of the example study, at one speed."""
    study = load(demo_path("collector"))
    point = run_point(study.engine, study.exhausts[study.base], 4500)
    packed, _ = pack_points([point])
    size = sum(len(zlib.compress(np.ascontiguousarray(one).tobytes(), 4))
               for one in packed.values())
    assert size < 10e6 / 12
    full = sum(one.nbytes for one in pack_points([point], exact=True)[0].values())
    assert size < 0.12 * full


# --- where a run goes on --------------------------------------------------------------------------


def test_run_from_a_saved_point_is_the_run_from_the_point_itself_to_the_last_bit(base, stored):
    old, new = base[4500], stored[1][4500]
    for rpm in (4500, 4700):
        runs = [run_point(p.engine, p.exhaust, rpm, settings=COARSE, start=p) for p in (old, new)]
        assert repr(runs[0].values) == repr(runs[1].values)
        assert runs[0].audit["cycles"] == runs[1].audit["cycles"]


def test_run_from_a_saved_point_of_its_own_speed_has_converged_at_once(stored, base, tmp_path):
    point = stored[1][4500]
    again = run_point(point.engine, point.exhaust, 4500, settings=COARSE, start=point)
    assert again.converged and again.audit["coarse_cycles"] == 0
    assert again.audit["cycles"] == COARSE.min_cycles < point.audit["cycles"]
    assert again.torque == pytest.approx(point.torque, rel=COARSE.tolerance)
    again.save(tmp_path / "p.npz")
    third = run_point(point.engine, point.exhaust, 4600, settings=COARSE,
                      start=Point.load(tmp_path / "p.npz"))  # it still has the coarse gas too
    assert third.converged
    again = run_point(point.engine, point.exhaust, 4500, settings=COARSE,
                      start=Point.load(tmp_path / "p.npz"))
    assert again.audit["cycles"] == COARSE.min_cycles


def test_point_is_loaded_alone_and_several_are_told(base, stored, tmp_path):
    base[6000].save(tmp_path / "one.npz")
    found = Point.load(tmp_path / "one.npz")
    assert found.rpm == 6000 and repr(found.values) == repr(base[6000].values)
    with pytest.raises(InputError, match="holds 3 points, take one of Sweep.load"):
        Point.load(stored[0])
    with pytest.raises(InputError, match="missing"):
        Point.load(tmp_path / "missing.npz")


def test_files_hold_no_pickle_and_keep_the_name_they_were_given(stored):
    path, _ = stored
    assert path.exists()
    with np.load(path, allow_pickle=False) as file:
        assert all(file[name].dtype != object for name in file.files)


def test_described_engine_and_exhaust_of_a_file_run_again(stored):
    point = stored[1][6000]
    again = run_point(point.engine, point.exhaust, 6000, settings=COARSE)
    assert again.torque == pytest.approx(point.torque, rel=5e-3)
    with pytest.raises(InputError, match="without the gas to start from"):
        run_point(point.engine, point.exhaust, 6000, settings=COARSE,
                  start=replace(point, restart={}))


def test_other_files_are_refused_in_one_sentence(tmp_path):
    bad = {"text": b"rpm,torque\n1,2\n", "empty": b"", "torn": b"PK\x03\x04 and no more"}
    for name, content in bad.items():
        (tmp_path / name).write_bytes(content)
    np.save(tmp_path / "array.npy", np.arange(3))
    np.savez(tmp_path / "other.npz", header=np.frombuffer(b'{"format": "x"}', dtype=np.uint8))
    np.savez(tmp_path / "alien.npz", a=np.arange(3))
    for name in ("text", "empty", "torn", "array.npy", "alien.npz", "other.npz", "missing"):
        with pytest.raises(InputError, match=name):
            Sweep.load(tmp_path / name)


def test_csv_header_names_every_quantity_with_its_si_unit(base, tmp_path):
    base.to_csv(tmp_path / "a.csv")
    head, *rows = csv_rows(tmp_path / "a.csv")
    assert head[:3] == ["rpm [rev/min]", "torque [N m]", "power [W]"]
    assert {name: found.unit for name, found in QUANTITIES.items()}.items() <= {
        re.fullmatch(r"(\S+) \[(.+)\]", cell).groups() for cell in head if "[" in cell
    }
    assert [float(row[1]) for row in rows] == base["torque"].tolist()
    assert [row[head.index("converged")] for row in rows] == ["1"] * 3


# --- traces ---------------------------------------------------------------------------------------


def test_trace_between_cell_centres_is_a_straight_line(base):
    point = base[3000]
    centres = point.samples.centres("collector")
    field = point.samples.field("pressure", "collector")
    assert np.array_equal(point.trace("pressure", "collector", centres[2]).values,
                          field[:, 2].astype(float))
    x = centres[2] + 0.25 * (centres[3] - centres[2])
    between = point.trace("pressure", "collector", x).values
    assert between == pytest.approx(0.75 * field[:, 2] + 0.25 * field[:, 3], rel=1e-6)


def test_trace_beyond_the_last_centre_keeps_the_value_of_the_cell():
    layout = {"ducts": {"pipe": {"lo": 0, "hi": 2, "dx": 0.5, "length": 1.0}}, "stores": {},
              "nodes": {}, "ends": []}
    cells = np.tile(np.array([[1.0, 3.0]]), (4, 5, 1))
    samples = Samples(np.arange(4.0), "time", cells, np.zeros((4, 0, 5)), np.zeros((4, 0, 3)),
                      layout)
    expected = {0.0: 1.0, 0.25: 1.0, 0.5: 2.0, 0.75: 3.0, 1.0: 3.0}
    for x, value in expected.items():
        assert samples.trace("pressure", "pipe", x).values.tolist() == [value] * 4


def test_mass_flow_in_a_duct_agrees_with_density_times_velocity_times_area(base):
    point, x = base[3000], 0.07
    p, T, u, yf, yb = (
        point.trace(name, "collector", x).values
        for name in ("pressure", "temperature", "velocity", "fresh", "burned")
    )
    air, fresh, burned = point.gas.table().R
    gas_R = air + yf * (fresh - air) + yb * (burned - air)
    area = 0.25 * np.pi * 0.058**2
    flow = point.trace("mass_flow", "collector", x)
    assert flow.values == pytest.approx(p / gas_R / T * u * area)


def test_every_place_gives_a_pressure(base):
    point = base[3000]
    for at in point.samples.places():
        trace = point.trace("pressure", at, 0.01 if at in point.samples.layout["ducts"] else None)
        assert trace.unit == "Pa" and trace.x_name == "theta_deg"
        assert trace.values.shape == trace.x.shape == (360,)
        assert np.all(trace.values > 1e4)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("presure", "outlet"), "did you mean 'pressure'"),
        (("pressure", "outlett"), "did you mean 'outlet'"),
        (("pressure", "collector"), "x = None is not a number"),
        (("pressure", "collector", -0.01), "x = -0.01 m is outside the valid range 0 m to 0.15 m"),
        (("pressure", "collector", 0.2), "x = 0.2 m is outside"),
        (("pressure", "collector", 75.0), "75 mm is 0.075"),
        (("pressure", "collector", float("nan")), "not a finite number"),
        (("pressure", "collector", "middle"), "not a number"),
        (("velocity", "cylinder 1"), "not recorded in 'cylinder 1'"),
        (("mach", "cylinder 1"), "not recorded in 'cylinder 1'"),
        (("mass", "exhaust valve 1"), "not recorded in 'exhaust valve 1'"),
        (("volume", "collector", 0.1), "not recorded in ducts"),
        (("mass", "collector", 0.1), "not recorded in ducts"),
    ],
)
def test_trace_refuses_what_is_not_there(base, arguments, message):
    with pytest.raises(InputError, match=message):
        base[3000].trace(*arguments)


def test_field_refuses_what_is_not_there(base):
    with pytest.raises(InputError, match="quantity = 'mass'"):
        base[3000].samples.field("mass", "collector")
    with pytest.raises(InputError, match="did you mean 'collector'"):
        base[3000].samples.field("pressure", "colector")


# --- points, sweeps, tables -----------------------------------------------------------------------


def test_quantities_of_a_point_are_attributes(base):
    point = base[4500]
    assert point.torque == point.values["torque"]
    assert point.power == pytest.approx(point.torque * 4500 * np.pi / 30.0)
    with pytest.raises(AttributeError, match="no quantity 'torqe'"):
        point.torqe  # noqa: B018


def test_point_carries_valve_events_at_one_lift_for_both_sides(base):
    meta = base[4500].meta
    assert meta["events_lift"] == 1e-4
    (evo, evc), (ivo, ivc) = meta["events_deg"]["exhaust"], meta["events_deg"]["intake"]
    assert 90.0 < evo < 180.0 < ivo < 360.0 < evc < 540.0 < ivc < 720.0


def test_point_knows_the_gas_that_made_it(systems, tmp_path):
    """Run on methanol, an engine described for gasoline says methanol."""
    cheap = Settings(cell_length=0.1, sample_deg=10.0, tolerance=5e-2)
    for gas in (EngineGas("methanol", lam=0.9), PerfectGas(1.35, 288.0, heat_per_fresh=2.7e6)):
        point = run_point(*systems, 6000, settings=cheap, gas=gas)
        assert point.gas == gas and point.meta["fuel_flow"] is None
        point.save(tmp_path / "a.npz")
        again = Sweep.load(tmp_path / "a.npz")[6000]
        assert again.gas == gas and again.meta == point.meta
        T = np.array([300.0, 900.0])
        assert again.samples.gas.h(T, 0.2, 0.5) == pytest.approx(gas.h(T, 0.2, 0.5), rel=1e-12)
    assert systems[0].fuel == "gasoline"


def test_point_knows_its_network_and_its_weather(base):
    point = base[4500]
    assert point.network == assemble(point.engine, point.exhaust)
    air = point.ambient
    assert point.weather == {"air inlet": air, "outlet": air} and air == Ambient()
    given = assemble(point.engine, point.exhaust.replace(radiation="flanged"))
    meta = point_meta(point.engine, None, COARSE, gas=point.gas, fuel_flow=None, network=given,
                      facts={"rpm": 1})
    other = replace(point, meta=json.loads(json.dumps(meta)))
    assert other.exhaust is None and other.network == given and other.meta["rpm"] == 1


def test_sweep_gives_points_by_speed_and_arrays_by_name(base):
    assert len(base) == 3 and base.rpm.tolist() == [3000.0, 4500.0, 6000.0]
    assert [point.rpm for point in base] == base.rpm.tolist()
    assert base[4500].rpm == 4500.0 and base["torque"].shape == (3,)
    assert repr(base) == "<Sweep 'short collector': 3 points, 0 failed>"
    with pytest.raises(InputError, match="no point at 4600 rev/min, there are 3000, 4500, 6000"):
        base[4600]
    with pytest.raises(InputError, match="did you mean 'torque'"):
        base["torqe"]


def test_points_are_kept_in_order_of_speed():
    sweep = fake_sweep((3000, 1000, 2000), (3, 1, 2))
    assert sweep.rpm.tolist() == [1000, 2000, 3000] and sweep["torque"].tolist() == [1, 2, 3]


def test_table_shows_workshop_units_flags_and_errors():
    sweep = fake_sweep((1000, 2000), (100, 123.456), "a", loose=(2000,),
                       failures={1500.0: "Unphysical state in duct 'x'"})
    lines = sweep.table(["torque", "power", "volumetric_efficiency", "back_pressure"]).splitlines()
    assert lines[:3] == [
        "                     volumetric      back",
        " rpm  torque  power  efficiency  pressure  cycles",
        "         N m     kW           %       bar",
    ]
    filling = f"{100.0 * fake_value('volumetric_efficiency'):.1f}"
    assert lines[3].split() == ["1000", "100.0", "10.5", filling, "0.000", "5"]
    assert lines[4].split() == ["1500", "-", "-", "-", "-", "-", "failed"]
    assert lines[5].endswith("5  not converged") and "123.5" in lines[5]
    assert lines[6] == "1500 rev/min failed: Unphysical state in duct 'x'"
    assert not sweep.converged and sweep.summary().startswith("a\n")
    with pytest.raises(InputError, match="did you mean 'torque'"):
        sweep.table(["torqe"])


def test_table_of_a_sweep_without_points_still_tells_why():
    sweep = Sweep([], {1000.0: "burst"}, "a")
    assert "failed: burst" in sweep.table() and sweep.rpm.size == 0 and not sweep.converged


def test_every_quantity_has_a_readable_unit():
    for name, (label, unit, *_) in (CYLINDERS | TRACES | QUANTITIES).items():
        shown = display(name)
        assert shown.label == label and shown.factor > 0.0
        assert shown.axis == (f"{label} [{shown.unit}]" if shown.unit else label)
        assert unit == "1" or shown.unit
    assert display("bsfc").text(1.0 / 3.6e6 / 4.0) == "250.0"  # 0.25 kg/kWh
    with pytest.raises(InputError, match="did you mean 'torque'"):
        display("torqe")


def test_point_summary_lists_every_quantity_and_the_audit(base):
    text = base[4500].summary()
    for found in QUANTITIES.values():
        assert found.label in text
    assert "kW" in text and "converged" in text and text.startswith("4500 rev/min")


# --- sweeps that go wrong -------------------------------------------------------------------------


@pytest.fixture(scope="module")
def systems(coarse_study):
    return coarse_study.engine, coarse_study.exhausts["short collector"]


def test_failed_speed_is_kept_with_place_and_time_and_the_others_go_on(systems):
    sweep = speed_sweep(*systems, [2000, 6000], settings=FEW_STEPS, threads=1, progress=False)
    assert sweep.rpm.tolist() == [6000.0] and list(sweep.failures) == [2000.0]
    assert not sweep.converged and not sweep.interrupted
    assert re.search(
        r"in duct '[a-z0-9 /]+' at x = \d\.\d+ m, at \d+\.\d deg, cycle \d+: 1500 steps",
        sweep.failures[2000.0],
    )


def test_solver_error_knows_where_and_when(systems):
    with pytest.raises(SolverError) as caught:
        run_point(*systems, 2000, settings=FEW_STEPS)
    error = caught.value
    assert error.duct in str(error) and 0.0 <= error.position <= 1.0
    assert 0.0 < error.crank_angle_deg < 720.0 and error.cycle == 1


def test_point_that_did_not_settle_is_flagged(systems):
    hasty = COARSE.replace(max_cycles=3, tolerance=1e-6)
    sweep = speed_sweep(*systems, [6000], settings=hasty, progress=False)
    assert not sweep.converged and not sweep[6000].converged
    assert "not converged" in sweep.table()


def test_interruption_keeps_the_finished_points(systems, monkeypatch):
    press_ctrl_c(monkeypatch, after=1)
    speeds = [3000, 3500, 5500, 6000]
    sweep = speed_sweep(*systems, speeds, settings=COARSE, threads=2, progress=False)
    assert sweep.interrupted and 0 < len(sweep) < len(speeds) and not sweep.failures


def test_order_of_the_speeds_does_not_matter(systems, base):
    up = speed_sweep(*systems, [3000, 4500, 6000], settings=COARSE, threads=2, progress=False)
    down = speed_sweep(*systems, [6000, 4500, 3000], settings=COARSE, threads=2, progress=False)
    assert up.rpm.tolist() == down.rpm.tolist()
    for name in QUANTITIES:
        assert np.array_equal(up[name], down[name], equal_nan=True)
    assert up["torque"] == pytest.approx(base["torque"], rel=1e-9)


def test_number_of_threads_moves_results_within_the_tolerance_only(systems, base):
    one = speed_sweep(*systems, [3000, 4500, 6000], settings=COARSE, threads=1, progress=False)
    assert one["torque"] == pytest.approx(base["torque"], rel=10 * COARSE.tolerance)


@pytest.mark.parametrize(
    ("rpm", "threads", "message"),
    [
        ([], 1, "rpm = .* is empty"),
        ([3000, 3000], 1, "3000 rev/min more than once"),
        ([50], 1, "rpm = 50 rev/min"),
        (["fast"], 1, "rpm = 'fast'"),
        ([3000], 0, "threads = 0"),
        ([3000], 2.5, "threads = 2.5"),
    ],
)
def test_bad_speeds_and_threads_are_refused(systems, rpm, threads, message):
    with pytest.raises(InputError, match=message):
        speed_sweep(*systems, rpm, threads=threads, progress=False)


def test_progress_bar_counts_points(systems, capsys):
    speed_sweep(*systems, [6000], settings=COARSE, progress=True)
    assert "1/1" in capsys.readouterr().err


def test_no_more_fresh_charge_is_trapped_than_was_delivered(sweeps):
    """It counts when the intake valve is shut, not while some still flows back."""
    for sweep in sweeps.values():
        assert np.all(sweep["trapping_efficiency"] < 1.0 + 1e-3)
