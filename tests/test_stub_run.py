"""From the arrays of a cycle to quantities, traces and files: a run that marches nothing.

The place of the march is taken by known numbers, another for every column and every cylinder, so
that what comes out is known by hand, at once and without the compiler: `faults.py` plants many of
its faults before these tests.  Formulas are those of Heywood, Internal Combustion Engine
Fundamentals (1988), ch. 2 and 6.  All data are invented.
"""

from math import pi, sqrt

import numpy as np
import pytest
from csv_files import csv_rows

import wavesim as ws
from wavesim.kernels import flat as f
from wavesim.march import run
from wavesim.march.books import EXITS
from wavesim.march.cycles import Cycles, Watched

RPM = 4200.0
BORE, STROKE, ROD, RATIO, PIN = 0.086, 0.08, 0.14, 10.5, 0.004
CYLINDERS = (1, 2, 3)
FIRING = np.array([0.0, 480.0, 240.0])  # of cylinders 1, 2, 3; order 1, 3, 2
INSIDE, OUTSIDE = ws.Ambient(pressure=92e3, temperature=285.0), ws.Ambient(
    pressure=95e3, temperature=288.0)
LAMBDA = 1.15
AIR_FUEL = 12.5 / 0.2095 * 28.965 / 114.23 * LAMBDA  # C8H18 in dry air, Heywood sec. 3.4
FUEL = 1.0 / (1.0 + AIR_FUEL)  # share of the fresh charge
SWEPT = 0.25 * pi * BORE**2 * (sqrt((ROD + 0.5 * STROKE) ** 2 - PIN**2)
                               - sqrt((ROD - 0.5 * STROKE) ** 2 - PIN**2))
EACH = np.array([1.0, 1.1, 1.3])
#: What the last cycle left in `Record.cyl_sum`.
SUMS = {
    "WORK_0": 900.0 * EACH, "WORK_1": -40.0 * EACH**2, "WORK_2": 25.0 * EACH,
    "WORK_3": -250.0 * EACH, "WALL_LOSS": 310.0 * EACH**2, "HEAT_RELEASE": 1500.0 * EACH,
    "PEAK": 6e6 * EACH, "PEAK_ANGLE": np.array([14.0, 718.0, 11.0]), "FRESH_BURNED": 4.8e-4 * EACH,
    "TRAP_MASS": 6e-4 * EACH, "TRAP_FRESH": 5e-4 * EACH**0.5, "TRAP_BURNED": 7e-5 * EACH**2,
    "TRAP_P": 1.6e5 * EACH, "TRAP_T": 350.0 * EACH, "EVO_P": 5e5 * EACH, "EVO_T": 1500.0 * EACH,
    "EVO_MASS": 6.1e-4 * EACH,
}
#: Start and duration of combustion that stood in `Net.cyl_par` [deg].
START, DURATION = np.array([-25.0, -20.0, -31.0]), np.array([60.0, 75.0, 66.0])
#: What passed the valves, out of the ducts: mass, energy, fresh charge, burned gas.
INTAKE = np.outer(EACH, [5.6e-4, 210.0, 5.4e-4, 1.5e-5])
HOT = 950.0  # [K] of the gas that leaves
EXHAUST = -np.outer(EACH, [5.9e-4, 0.0, 3e-5, 5.5e-4])
BACK = np.array([7e3, 9e3, 14e3])  # gauge pressure at the exhaust valves [Pa]
SPIKE = 100.0  # own angle of each cylinder at which its exhaust valve sees a spike [deg]
STEP = 2.0  # [deg]


def place(model, duct):
    """Place of the cells of a duct [m]."""
    lo, hi = model.ducts[duct]
    return (np.arange(hi - lo) + 0.5) * model.network.ducts[duct].length / (hi - lo)


def known_cycle(model, walls, settings, **demand):
    """Fill what a cycle leaves behind with known numbers."""
    yield from ()  # no cycle is asked for
    for name, values in SUMS.items():
        model.record.cyl_sum[:, getattr(f, name)] = values
    model.net.cyl_par[:, [f.SOC, f.DURATION]] = np.column_stack((START, DURATION))
    enthalpy = float(model.gas.h(HOT, 3e-5 / 5.9e-4, 5.5e-4 / 5.9e-4))
    theta = STEP * np.arange(model.record.end.shape[0])
    for n, each in enumerate(EACH):
        model.record.end_sum[model.ends[f"intake port {n + 1}", "end"]] = INTAKE[n]
        row = model.ends[f"exhaust port {n + 1}", "start"]
        model.record.end_sum[row] = EXHAUST[n]
        model.record.end_sum[row, f.OUT_ENERGY] = -5.9e-4 * each * enthalpy
        model.record.end[:, row, 0] = OUTSIDE.pressure + BACK[n]
        model.record.end[:, row, 1] = -10.0 * (n + 1)
        model.record.end[:, row, 2] = -0.01 * (n + 1)
        spike = (theta - FIRING[n]) % 720.0 == SPIKE
        model.record.end[spike, row, 0] += 360.0  # and 1 Pa in the mean
        store = model.stores[f"cylinder {n + 1}"]
        model.record.store[:, store] = np.outer(
            1.0 + 0.001 * ((theta - FIRING[n]) % 720.0), [1e5, 400.0, 5e-4, 0.3, 0.2])
    for duct, (lo, hi) in model.ducts.items():
        x = place(model, duct)
        for row, (base, slope) in enumerate(((1e5, 4e3), (30.0, 8.0), (700.0, -50.0), (0.3, 0.1),
                                             (0.2, -0.1))):
            rise = 0.01 * base * theta[:, None] / 720.0
            model.record.field[:, row, lo:hi] = base + slope * x + rise
    model.state.clock[f.UNSOLVED_END:] = np.arange(1.0, len(EXITS) + 1.0)
    history = [Watched(1.0, 1.0, 1.0, 1.0, 1.0, 1.0)] * 3
    return Cycles(model, history, 100, (1.0, 1.0), (1.0, 1.0), 0)


@pytest.fixture(scope="module")
def point():
    study = ws.load(ws.demo_path("collector"))
    engine = study.engine.replace(
        bore=BORE, stroke=STROKE, rod=ROD, compression_ratio=RATIO, pin_offset=PIN,
        firing_order=(1, 3, 2), fuel="iso-octane", air_fuel_lambda=LAMBDA,
        intake=study.engine.intake.replace(ambient=INSIDE),
        friction=ws.ChenFlynn(constant=3e4, peak_pressure=0.006, speed=8e3, speed_squared=110.0),
    )
    exhaust = ws.Exhaust(primary=ws.Pipe(0.6, 0.036, end_diameter=0.044),
                         collector=ws.Pipe(0.5, 0.05), ambient=OUTSIDE)
    settings = ws.Settings(cell_length=0.05, sample_deg=STEP, coarse_start=1.0,
                           unequal_pressures=True)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(run, "settling", known_cycle)
        return ws.run_point(engine, exhaust, RPM, settings=settings)


def work(*strokes):
    """Work of strokes by cylinder [J]."""
    return sum(SUMS[f"WORK_{stroke}"] for stroke in strokes)


def both(point, name, by_cylinder, together, rel=1e-12):
    """A quantity of each cylinder and of all."""
    assert point.cylinders[name] == pytest.approx(by_cylinder, rel=rel)
    assert point.values[name] == pytest.approx(together, rel=rel)


# --- work ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(("name", "sign", "strokes"), [
    ("imep_gross", 1.0, (0, 3)), ("imep_net", 1.0, (0, 1, 2, 3)), ("pmep", -1.0, (1, 2)),
])
def test_mean_effective_pressure_is_the_work_of_its_strokes_over_the_swept_volume(
    point, name, sign, strokes
):
    own = sign * work(*strokes) / SWEPT
    both(point, name, own, own.mean())


@pytest.mark.parametrize(("name", "stroke", "sign"), [("exhaust", 1, -1.0), ("intake", 2, 1.0)])
def test_pumping_of_a_stroke_is_its_work_against_the_air_outside_the_intake(
    point, name, stroke, sign
):
    """Half a turn moves the piston by just its stroke, though its pin is off the axis."""
    crank = 0.5 * STROKE
    height = [turn * crank + sqrt(ROD**2 - PIN**2) for turn in (1.0, -1.0)]
    filled = sign * 0.25 * pi * BORE**2 * (height[0] - height[1])
    own = (INSIDE.pressure * filled - work(stroke)) / SWEPT
    both(point, f"pmep_{name}", own, own.mean(), rel=1e-9)


def test_no_pumping_is_counted_as_recompression_where_valves_overlap(point):
    both(point, "pmep_recompression", 0.0, 0.0)


def test_work_of_each_stroke_keeps_its_name(point):
    for i, stroke in enumerate(("expansion", "exhaust", "intake", "compression")):
        assert point.cylinders[f"work_{stroke}"] == pytest.approx(SUMS[f"WORK_{i}"])


def speed():
    """Mean piston speed [m/s]."""
    return 2.0 * SWEPT / (0.25 * pi * BORE**2) * RPM / 60.0


def test_friction_has_four_terms(point):
    """A + B p_max + C s + D s^2 (Chen and Flynn, SAE 650733)."""
    fmep = 3e4 + 0.006 * 6e6 * EACH.mean() + 8e3 * speed() + 110.0 * speed() ** 2
    assert point.fmep == pytest.approx(fmep, rel=1e-12)
    for name, slope in (("constant", 1.0), ("peak_pressure", 70e5), ("speed", 12.0),
                        ("speed_squared", 144.0)):
        more = point.engine.friction.replace(**{name: 1e-3})
        less = more.replace(**{name: 0.0})
        rise = (more.mean_effective_pressure(70e5, 12.0)
                - less.mean_effective_pressure(70e5, 12.0))
        assert rise == pytest.approx(1e-3 * slope, rel=1e-6)


def test_torque_turns_through_four_pi_in_a_cycle(point):
    assert point.bmep == pytest.approx(point.imep_net - point.fmep, rel=1e-12)
    torque = (work(0, 1, 2, 3).sum() - 3.0 * SWEPT * point.fmep) / (4.0 * pi)
    assert point.torque == pytest.approx(torque, rel=1e-9)
    assert point.power == pytest.approx(2.0 * pi * RPM / 60.0 * torque, rel=1e-9)


# --- gas ----------------------------------------------------------------------------------------


def test_gas_at_the_events_keeps_its_name(point):
    names = {
        "trapped_mass": "TRAP_MASS", "trapped_fresh": "TRAP_FRESH", "trapped_burned": "TRAP_BURNED",
        "trapped_pressure": "TRAP_P", "trapped_temperature": "TRAP_T", "opening_pressure": "EVO_P",
        "opening_temperature": "EVO_T", "opening_mass": "EVO_MASS", "wall_heat": "WALL_LOSS",
        "released_heat": "HEAT_RELEASE", "burned_charge": "FRESH_BURNED", "peak_pressure": "PEAK",
    }
    for name, column in names.items():
        assert point.cylinders[name] == pytest.approx(SUMS[column], rel=1e-12)
    for name in ("trapped_pressure", "trapped_temperature", "opening_pressure", "peak_pressure"):
        assert point.values[name] == pytest.approx(SUMS[names[name]].mean(), rel=1e-12)


def test_shares_of_the_trapped_gas_are_of_its_mass(point):
    mass, fresh, burned = (SUMS[name] for name in ("TRAP_MASS", "TRAP_FRESH", "TRAP_BURNED"))
    both(point, "residual_fraction", burned / mass, burned.sum() / mass.sum())
    both(point, "scavenging_efficiency", fresh / mass, fresh.sum() / mass.sum())
    both(point, "trapping_efficiency", fresh / INTAKE[:, 2], fresh.sum() / INTAKE[:, 2].sum())


def test_air_is_what_the_fresh_charge_holds_beside_its_fuel(point):
    delivered = INTAKE[:, 2] * (1.0 - FUEL)
    both(point, "air_per_cycle", delivered, delivered.sum(), rel=1e-3)
    trapped = SUMS["TRAP_FRESH"] * (1.0 - FUEL)
    both(point, "trapped_air", trapped, trapped.sum(), rel=1e-3)
    assert point.air_mass_flow == pytest.approx(delivered.sum() * RPM / 120.0, rel=1e-3)
    assert point.fuel_mass_flow == pytest.approx(INTAKE[:, 2].sum() * FUEL * RPM / 120.0, rel=1e-3)
    assert point.air_fuel_ratio == pytest.approx(AIR_FUEL, rel=1e-3)
    assert point.air_fuel_lambda == LAMBDA


def test_volumetric_efficiency_refers_to_the_air_at_the_intake(point):
    """Density by the gas law, 28.965 g/mol: thinner than the air at the exhaust."""
    density = INSIDE.pressure * 28.965e-3 / (8.314462618 * INSIDE.temperature)
    own = INTAKE[:, 2] * (1.0 - FUEL) / (density * SWEPT)
    both(point, "volumetric_efficiency", own, own.mean(), rel=1e-3)


def test_what_leaves_counts_as_positive(point):
    assert point.cylinders["exhaust_mass"] == pytest.approx(5.9e-4 * EACH)
    assert point.cylinders["exhaust_burned"] == pytest.approx(5.5e-4 * EACH)
    both(point, "short_circuit", 3e-5 * EACH, 3e-5 * EACH.sum())
    assert point.exhaust_mass_flow == pytest.approx(5.9e-4 * EACH.sum() * RPM / 120.0)
    for i, name in enumerate(("mass", "energy", "fresh", "burned")):
        assert point.cylinders[f"intake_{name}"] == pytest.approx(INTAKE[:, i])


def test_exhaust_is_as_warm_as_its_enthalpy(point):
    both(point, "exhaust_temperature", np.full(3, HOT), HOT, rel=1e-8)
    assert (point.cylinders["exhaust_energy"] > 0.0).all()


def test_heat_is_shared_between_walls_and_work(point):
    lost, released = SUMS["WALL_LOSS"], SUMS["HEAT_RELEASE"]
    both(point, "heat_loss_share", lost / released, lost.sum() / released.sum())
    heat = INTAKE[:, 2] * FUEL * 44.3e6  # Heywood (1988) table D.4
    both(point, "indicated_efficiency", work(0, 1, 2, 3) / heat,
         work(0, 1, 2, 3).sum() / heat.sum(), rel=4e-3)
    assert point.bsfc == pytest.approx(point.fuel_mass_flow / point.power, rel=1e-12)


def test_peak_before_dead_centre_has_a_negative_angle(point):
    both(point, "peak_pressure_angle", [14.0, -2.0, 11.0], 23.0 / 3.0)


def test_burn_passes_its_shares_where_wiebe_says(point):
    """Wiebe's law with m = 2, Heywood (1988) eq. 9.10, over what has burned at its end, 0.999."""
    assert point.engine.combustion.shape == 2.0
    angles = {}
    for share in (10, 50, 90):
        progress = (-np.log(1.0 - 0.01 * share * (1.0 - np.exp(-6.908))) / 6.908) ** (1.0 / 3.0)
        angles[share] = START + progress * DURATION
        both(point, f"burn_angle_{share}", angles[share], angles[share].mean())
    both(point, "burn_duration", angles[90] - angles[10], (angles[90] - angles[10]).mean())


def test_spread_is_from_the_highest_to_the_lowest_over_the_mean(point):
    for name, own in (("peak_pressure", SUMS["PEAK"]), ("imep_net", work(0, 1, 2, 3)),
                      ("residual_fraction", SUMS["TRAP_BURNED"] / SUMS["TRAP_MASS"])):
        short = name.removesuffix("_net")
        wanted = (own.max() - own.min()) / own.mean()
        assert point.values[f"{short}_spread"] == pytest.approx(wanted, rel=1e-9)


def test_back_pressure_is_gauge_against_the_air_at_the_exhaust(point):
    assert point.cylinders["back_pressure"] == pytest.approx(BACK + 1.0, rel=1e-9)
    assert point.back_pressure == pytest.approx(BACK.mean() + 1.0, rel=1e-9)


# --- traces -------------------------------------------------------------------------------------


@pytest.mark.parametrize("number", CYLINDERS)
def test_spike_stands_at_its_own_angle_of_its_cylinder(point, number):
    trace = point.trace("pressure", f"exhaust valve {number}")
    assert trace.x[trace.values.argmax()] == (SPIKE + FIRING[number - 1]) % 720.0
    own = trace.own_angle(number)
    assert own.x[own.values.argmax()] == SPIKE
    assert np.diff(own.x) == pytest.approx(np.full(359, STEP))


@pytest.mark.parametrize("number", CYLINDERS)
def test_volume_follows_the_piston_of_its_own_cylinder(point, number):
    """Least at dead centre, sin = e / (l + r) behind 0 and 360 deg."""
    volume = point.trace("volume", f"cylinder {number}").own_angle(number)
    assert volume.x[volume.values.argmin()] % 360.0 == pytest.approx(
        np.degrees(np.arcsin(PIN / (ROD + 0.5 * STROKE))), abs=0.5 * STEP + 0.1)
    assert volume.values.min() == pytest.approx(SWEPT / (RATIO - 1.0), rel=1e-3)
    assert np.ptp(volume.values) == pytest.approx(SWEPT, rel=1e-3)


def test_trace_of_a_cylinder_holds_what_it_names(point):
    own = {name: point.trace(name, "cylinder 2").own_angle(2)
           for name in ("pressure", "temperature", "mass", "fresh", "burned")}
    for (name, trace), base in zip(own.items(), (1e5, 400.0, 5e-4, 0.3, 0.2), strict=True):
        assert trace.values == pytest.approx(base * (1.0 + 0.001 * trace.x), rel=1e-6), name


def test_trace_at_a_valve_holds_what_it_names(point):
    assert point.trace("velocity", "exhaust valve 2").values == pytest.approx(-20.0)
    assert point.trace("mass_flow", "exhaust valve 2").values == pytest.approx(-0.02)


@pytest.mark.parametrize("x", [0.1, 0.25, 0.5])
def test_trace_in_a_duct_is_read_at_its_place(point, x):
    """Straight lines along the duct and over the cycle."""
    lines = {"pressure": (1e5, 4e3), "velocity": (30.0, 8.0), "temperature": (700.0, -50.0),
             "fresh": (0.3, 0.1), "burned": (0.2, -0.1)}
    for name, (base, slope) in lines.items():
        trace = point.trace(name, "primary 2", x)
        wanted = base + slope * x + 0.01 * base * trace.x / 720.0
        assert trace.values == pytest.approx(wanted, rel=1e-6), name
    bore = 0.036 + (0.044 - 0.036) * x / 0.6
    flow = (point.trace("density", "primary 2", x).values
            * point.trace("velocity", "primary 2", x).values * 0.25 * pi * bore**2)
    assert point.trace("mass_flow", "primary 2", x).values == pytest.approx(flow, rel=1e-6)


def test_trace_at_an_end_of_a_duct_is_read_at_that_end(point):
    """Intake valves stand at the end of their port, exhaust valves at the start."""
    early = point.trace("temperature", "exhaust valve 1").values[0]
    late = point.trace("temperature", "intake valve 1").values[0]
    ports = {name: point.network.ducts[name].length for name in ("exhaust port 1", "intake port 1")}
    assert early == pytest.approx(700.0, abs=0.6 * 50.0 * 0.05)
    assert late == pytest.approx(700.0 - 50.0 * ports["intake port 1"], abs=0.6 * 50.0 * 0.05)


# --- files --------------------------------------------------------------------------------------


def test_csv_file_holds_each_quantity_under_its_name(point, tmp_path):
    point.to_csv(tmp_path / "point.csv")
    head, row = csv_rows(tmp_path / "point.csv")
    found = {name.split(" [")[0]: cell for name, cell in zip(head, row, strict=True)}
    assert float(found["rpm"]) == RPM
    for name, value in point.values.items():
        assert float(found[name]) == pytest.approx(value, rel=1e-12, nan_ok=True), name
    assert float(found["mass_error"]) == pytest.approx(point.audit["mass_error"])
    assert float(found["energy_error"]) == pytest.approx(point.audit["energy_error"])


def test_file_gives_back_every_number(point, tmp_path):
    ws.Sweep([point], name="one").save(tmp_path / "one.npz")
    (again,) = ws.Sweep.load(tmp_path / "one.npz").points
    assert again.values == point.values and again.audit == point.audit
    for name, values in point.cylinders.items():
        np.testing.assert_array_equal(again.cylinders[name], values, err_msg=name)
    np.testing.assert_array_equal(again.samples.x, point.samples.x)
    for name in ("stores", "faces"):  # in single precision
        before, after = (getattr(one.samples, name) for one in (point, again))
        np.testing.assert_array_equal(after, before.astype(np.float32))
    off = np.abs(again.samples.cells.astype(float) - point.samples.cells)
    steps = np.array([20.0, 0.05, 0.1, 2e-4, 2e-4])  # Pa, m/s, K, fractions
    assert np.all(off.max(axis=(0, 2)) <= 0.5001 * steps + 6e-8 * np.array([1e5, 1e2, 1e3, 1, 1]))


def test_summary_names_every_emergency_exit(point):
    """Each with its own number."""
    lines = dict(line.split() for line in point.summary().split("audit\n")[1].splitlines())
    names = ("unsolved_ends", "unsolved_pairs", "unsolved_junctions", "unsolved_stores",
             "unsolved_tapers", "floored_faces", "capped_holes", "clipped_fractions")
    assert {name: lines[name] for name in names} == {
        name: str(i) for i, name in enumerate(names, start=1)}


def test_point_remembers_the_air_on_each_side(point):
    outside = point.meta["outside"]
    assert (outside["intake"]["pressure"], outside["exhaust"]["pressure"]) == (92e3, 95e3)
    assert point.weather["outlet"].temperature == 288.0
    assert point.gas.lam == LAMBDA
