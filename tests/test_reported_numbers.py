"""What a result reports, each number against something that did not make it.

One engine of three cylinders in which nothing is equal: primaries of three lengths, a piston pin
off the axis, thin air, a lean mixture.  Its traces are fine in crank angle; integrals of them,
the first law, handbook formulas and the stated valve events give every quantity once more.  All
data are invented.
"""

from math import pi, sqrt

import numpy as np
import pytest
from scipy.optimize import brentq

import wavesim as ws
from wavesim.march.evaluate import STROKES, evaluate

RPM = 4200.0
THIN_AIR = ws.Ambient(pressure=92e3, temperature=285.0)
LAMBDA = 1.12
#: Of each cylinder after its own firing dead centre [deg]: the lift tables below begin and end so.
EXHAUST_OPENS, EXHAUST_CLOSES, INTAKE_OPENS, INTAKE_CLOSES = 128.0, 372.0, 343.0, 597.0
CYLINDERS = (1, 2, 3)
FIRING = {1: 0.0, 3: 240.0, 2: 480.0}  # crank angle of each firing dead centre [deg]
SAMPLE_DEG = 0.25
R_MOLAR = 8.314462618  # CODATA 2018 [J/(mol K)]
M_AIR = 28.965e-3  # dry air [kg/mol], Heywood (1988) table 3.1, from memory
BORE, STROKE, ROD, PIN, RATIO = 0.086, 0.086, 0.143, 0.004, 10.5


def lift(opens, closes):
    """Lift table that leaves the seat at `opens` and is back at `closes`, steep at both."""
    half = 0.5 * (closes - opens)
    return ws.LiftTable(
        angle_deg=(-half, 2.0 - half, -0.4 * half, 0.4 * half, half - 2.0, half),
        lift=(0.0, 4e-4, 8.5e-3, 8.5e-3, 4e-4, 0.0),
        lobe_centre_deg=abs(0.5 * (opens + closes) - 360.0),
    )


@pytest.fixture(scope="module")
def systems():
    """Engine and exhaust."""
    study = ws.load(ws.demo_path("collector"))
    engine, exhaust = study.engine, study.exhausts[study.base]
    engine = engine.replace(
        firing_order=(1, 3, 2), pin_offset=PIN, air_fuel_lambda=LAMBDA,
        intake=engine.intake.replace(ambient=THIN_AIR),
        exhaust_valve=engine.exhaust_valve.replace(lift=lift(EXHAUST_OPENS, EXHAUST_CLOSES)),
        intake_valve=engine.intake_valve.replace(lift=lift(INTAKE_OPENS, INTAKE_CLOSES)),
    )
    bores = {0.45: 0.036, 0.90: 0.038, 0.70: 0.042}
    exhaust = exhaust.replace(
        ambient=THIN_AIR, primary=None,
        primaries=tuple((ws.Pipe(length, bore, wall_temperature=700.0),)
                        for length, bore in bores.items()),
    )
    return engine, exhaust


@pytest.fixture(scope="module")
def point(systems):
    settings = ws.Settings(cell_length=0.03, sample_deg=SAMPLE_DEG, tolerance=5e-4)
    point = ws.run_point(*systems, RPM, settings=settings)
    assert point.converged
    return point


@pytest.fixture(scope="module")
def own(point):
    """Trace of a quantity in a cylinder or at its valve, against that cylinder's own angle."""

    def trace(quantity, number, side=None):
        place = f"{side} valve {number}" if side else f"cylinder {number}"
        return point.trace(quantity, place).own_angle(number)

    return trace


@pytest.fixture(scope="module")
def works(own):
    """Closed integral of pressure over volume by cylinder and stroke [J], (3, 4)."""
    return np.array([
        [own("pressure", n).integral(start, start + 180.0, over=own("volume", n))
         for start in (0.0, 180.0, 360.0, 540.0)]
        for n in CYLINDERS
    ])


def at(trace, angle):
    """Value of a trace at an angle [deg]."""
    return np.interp(angle, trace.x, trace.values, period=720.0)


def by_cylinder(function):
    return np.array([function(n) for n in CYLINDERS])


SWEPT = 0.25 * pi * BORE**2 * (sqrt((ROD + 0.5 * STROKE) ** 2 - PIN**2)
                               - sqrt((ROD - 0.5 * STROKE) ** 2 - PIN**2))  # of one cylinder
CYCLE = 120.0 / RPM  # [s]


def piston_way(angle):
    """Of the piston from its highest place [m]; Heywood (1988) sec. 2.2 with the pin off axis."""
    turned = np.radians(angle)
    side = 0.5 * STROKE * np.sin(turned) - PIN
    return sqrt((ROD + 0.5 * STROKE) ** 2 - PIN**2) - (
        0.5 * STROKE * np.cos(turned) + np.sqrt(ROD**2 - side**2))


PUSHED = 0.25 * pi * BORE**2 * (piston_way(180.0) - piston_way(360.0))  # by half a turn [m3]


# --- crank angle --------------------------------------------------------------------------------


@pytest.mark.parametrize("number", CYLINDERS)
def test_a_cylinder_keeps_its_mass_exactly_while_its_valves_are_shut(point, number):
    """The angle of every sample, checked by events whose angles are stated."""
    mass = point.trace("mass", f"cylinder {number}")
    angle = (mass.x[1:] - FIRING[number]) % 720.0
    change = np.abs(np.diff(mass.values)) / mass.values[0]
    moved = change > 1e-12
    assert angle[moved].min() == pytest.approx(EXHAUST_OPENS, abs=0.75)
    assert angle[moved].max() == pytest.approx(INTAKE_CLOSES, abs=0.75)
    assert moved[(angle > EXHAUST_OPENS + 0.75) & (angle < INTAKE_CLOSES - 0.75)].all()


@pytest.mark.parametrize("number", CYLINDERS)
@pytest.mark.parametrize(
    ("side", "opens", "closes"),
    [("exhaust", EXHAUST_OPENS, EXHAUST_CLOSES), ("intake", INTAKE_OPENS, INTAKE_CLOSES)],
)
def test_gas_passes_a_valve_while_it_is_open_and_at_no_other_angle(
    own, side, opens, closes, number
):
    flow = own("mass_flow", number, side)
    passing = np.abs(flow.values) > 0.0
    assert flow.x[passing][0] == pytest.approx(opens, abs=0.75)
    assert flow.x[passing][-1] == pytest.approx(closes, abs=0.75)
    assert passing[(flow.x > opens + 0.75) & (flow.x < closes - 0.75)].all()


@pytest.mark.parametrize("number", CYLINDERS)
def test_volume_by_the_crank_is_the_volume_that_the_gas_fills(point, own, number):
    """m R T / p, all from the march, against the place of the piston: Heywood (1988) sec. 2.2."""
    mass, T, p = (own(name, number).values for name in ("mass", "temperature", "pressure"))
    gas_constant = point.gas.R(own("fresh", number).values, own("burned", number).values)
    volume = own("volume", number)
    assert volume.values == pytest.approx(mass * gas_constant * T / p, rel=2e-4)
    assert volume.values.min() == pytest.approx(SWEPT / (RATIO - 1.0), rel=1e-5)
    assert np.ptp(volume.values) == pytest.approx(SWEPT, rel=1e-5)
    assert min(abs(volume.x[volume.values.argmin()] - top) for top in (0.0, 360.0)) < 3.0


# --- work and pressure ---------------------------------------------------------------------------


def test_work_of_each_stroke_is_the_integral_of_pressure_over_volume(point, works):
    for i, stroke in enumerate(STROKES):
        assert point.cylinders[f"work_{stroke}"] == pytest.approx(works[:, i], rel=2e-4)


def test_mean_effective_pressures_are_integrals_over_the_swept_volume(point, works):
    expected = {
        "imep_gross": works[:, 0] + works[:, 3], "imep_net": works.sum(axis=1),
        "pmep_exhaust": -works[:, 1] - THIN_AIR.pressure * PUSHED,
        "pmep_intake": -works[:, 2] + THIN_AIR.pressure * PUSHED,
    }
    for name, work in expected.items():
        bound = {"rel": 3e-4, "abs": 3e-4 * THIN_AIR.pressure}  # of work against the air outside
        assert point.cylinders[name] == pytest.approx(work / SWEPT, **bound)
        assert point.values[name] == pytest.approx(work.mean() / SWEPT, **bound)
    pumping = -(works[:, 1] + works[:, 2]).mean() / SWEPT
    assert point.pmep == pytest.approx(pumping, abs=1e-3 * THIN_AIR.pressure)


def test_mean_effective_pressures_add_up(point):
    assert point.imep_net == pytest.approx(point.imep_gross - point.pmep, rel=1e-12)
    parts = point.pmep_exhaust + point.pmep_recompression + point.pmep_intake
    assert point.pmep == pytest.approx(parts, rel=1e-12)
    assert point.bmep == pytest.approx(point.imep_net - point.fmep, rel=1e-12)
    own = point.cylinders
    assert own["imep_net"] == pytest.approx(own["imep_gross"] - own["pmep"], rel=1e-12)


def test_friction_is_that_of_the_formula(point):
    """Chen and Flynn, SAE 650733 (1965), with the constants of the engine."""
    peak = np.mean([point.trace("pressure", f"cylinder {n}").values.max() for n in CYLINDERS])
    speed = 2.0 * SWEPT / (0.25 * pi * BORE**2) * RPM / 60.0
    assert point.fmep == pytest.approx(4e4 + 0.005 * peak + 9e3 * speed + 90.0 * speed**2, rel=1e-4)


def test_torque_and_power_are_the_work_at_the_crankshaft(point, works):
    """4 pi radians to a cycle; power = 2 pi n torque."""
    torque = (works.sum() - point.fmep * len(CYLINDERS) * SWEPT) / (4.0 * pi)
    assert point.torque == pytest.approx(torque, rel=3e-4)
    assert point.torque == pytest.approx(point.bmep * 3.0 * SWEPT / (4.0 * pi), rel=1e-9)
    assert point.power == pytest.approx(2.0 * pi * RPM / 60.0 * point.torque, rel=1e-12)


def test_peak_pressure_and_its_angle_are_those_of_the_trace(point, own):
    traces = [own("pressure", n) for n in CYLINDERS]
    peaks = np.array([trace.values.max() for trace in traces])
    angles = np.array([trace.x[trace.values.argmax()] for trace in traces])
    assert point.cylinders["peak_pressure"] == pytest.approx(peaks, rel=1e-3)
    assert point.cylinders["peak_pressure_angle"] == pytest.approx(angles, abs=0.6)
    assert point.peak_pressure == pytest.approx(peaks.mean(), rel=1e-3)
    assert point.peak_pressure_angle == pytest.approx(angles.mean(), abs=0.4)
    assert 5.0 < point.peak_pressure_angle < 25.0  # half is burned at 9 deg


def test_burn_angles_are_those_of_the_gas_that_turns_into_burned_gas(point, own):
    """Between the valves the mass fraction of burned gas grows by the charge that burns."""
    for share in (10, 50, 90):
        angles = []
        for n in CYLINDERS:
            trace = own("burned", n)
            shut = np.append(trace.x[trace.x > 650.0] - 720.0, trace.x[trace.x < 100.0])
            burned = np.append(trace.values[trace.x > 650.0], trace.values[trace.x < 100.0])
            burned = (burned - burned[0]) / (burned[-1] - burned[0])
            angles.append(np.interp(0.01 * share, burned, shut))
        found = point.cylinders[f"burn_angle_{share}"]
        assert found == pytest.approx(angles, abs=0.3)  # a step is up to 0.3 deg
        assert point.values[f"burn_angle_{share}"] == pytest.approx(np.mean(angles), abs=0.3)
    burn = point.engine.combustion
    assert point.burn_angle_50 == pytest.approx(burn.ca50_deg, abs=1e-6)
    assert point.burn_duration == pytest.approx(float(burn.burn_10_90_deg(RPM)), abs=1e-9)


def test_pressure_of_motored_cylinders_peaks_just_before_dead_centre(systems):
    """The walls cool the gas; an angle before dead centre is negative, not near 720."""
    engine, exhaust = systems
    engine = engine.replace(pin_offset=0.0)
    settings = ws.Settings(cell_length=0.05, sample_deg=10.0, tolerance=2e-2)
    gas = ws.PerfectGas(1.38, 287.0)
    motored = ws.run_point(engine, exhaust, RPM, settings=settings, gas=gas)
    for angle in (*motored.cylinders["peak_pressure_angle"], motored.peak_pressure_angle):
        assert -2.0 < angle < 0.0
    assert motored.imep_net < 0.0
    assert np.isnan(motored.bsfc) and np.isnan(motored.heat_loss_share)


def test_back_pressure_is_the_mean_of_the_trace_less_the_air_outside(point):
    means = [point.trace("pressure", f"exhaust valve {n}").mean() for n in CYLINDERS]
    expected = np.array(means) - THIN_AIR.pressure
    assert point.cylinders["back_pressure"] == pytest.approx(expected, rel=1e-9)
    assert point.back_pressure == pytest.approx(expected.mean(), rel=1e-9)


def test_back_pressure_is_no_pumping_work(point):
    """They are told apart in the words, and differ in the numbers."""
    assert abs(point.back_pressure - point.pmep) > 0.2 * point.back_pressure


# --- gas exchange -------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def overlap(point):
    """From intake opening to exhaust closing, own angle [deg]."""
    window = point.meta["events_deg"]["intake"][0], point.meta["events_deg"]["exhaust"][1]
    assert window == pytest.approx((INTAKE_OPENS, EXHAUST_CLOSES), abs=0.75)
    return window


def finely(trace, window):
    """Angles and values of a trace in a window, on a grid of its own."""
    angle = np.linspace(*window, 4001)
    return angle, at(trace, angle)


def test_pressure_in_overlap_is_that_of_the_traces_at_the_valves(point, own, overlap):
    middle, found = np.mean(overlap), point.cylinders
    for n in CYLINDERS:
        angle, behind = finely(own("pressure", n, "exhaust"), overlap)
        _, before = finely(own("pressure", n, "intake"), overlap)
        mean = np.trapezoid(behind, angle) / np.ptp(angle)
        driving = np.trapezoid(before - behind, angle) / np.ptp(angle)
        assert found["overlap_exhaust_pressure"][n - 1] == pytest.approx(mean, rel=1e-5)
        assert found["overlap_pressure_difference"][n - 1] == pytest.approx(driving, abs=2.0)
        for word, find in (("lowest", np.argmin), ("highest", np.argmax)):
            place = find(behind)
            assert found[f"overlap_{word}_pressure"][n - 1] == pytest.approx(
                behind[place], rel=1e-5)
            assert found[f"overlap_{word}_angle"][n - 1] == pytest.approx(
                angle[place] - middle, abs=0.02)
    for name in ("overlap_exhaust_pressure", "overlap_lowest_angle"):
        assert point.values[name] == pytest.approx(found[name].mean(), rel=1e-12)


def test_gas_that_flows_back_in_overlap_is_the_integral_of_its_flow(point, own, overlap):
    """Out of the exhaust duct is into the cylinder; out of it into the intake duct is negative."""
    for side, sign in (("exhaust", 1.0), ("intake", -1.0)):
        masses = []
        for n in CYLINDERS:
            angle, flow = finely(own("mass_flow", n, side), overlap)
            masses.append(np.trapezoid(np.maximum(0.0, sign * flow), angle) / (6.0 * RPM))
        found = point.cylinders[f"overlap_{side}_backflow"]
        assert found == pytest.approx(masses, rel=1e-3, abs=1e-9)
        assert point.values[f"overlap_{side}_backflow"] == pytest.approx(sum(found), rel=1e-12)
    assert point.overlap_exhaust_backflow > 1e-6 or point.overlap_intake_backflow > 1e-6


def test_delivery_trapping_and_charging_are_of_one_reference(point):
    """Heywood (1988) eqs. 6.20 to 6.25; the reference by the gas law of the fresh charge."""
    gas = point.gas
    charge = THIN_AIR.pressure / (float(gas.R(1.0, 0.0)) * THIN_AIR.temperature) * SWEPT
    delivered = point.cylinders["intake_fresh"] / charge
    assert point.cylinders["delivery_ratio"] == pytest.approx(delivered, rel=1e-6)
    assert point.delivery_ratio == pytest.approx(delivered.mean(), rel=1e-6)
    assert point.charging_efficiency == pytest.approx(
        point.delivery_ratio * point.trapping_efficiency, rel=1e-12)


def test_blowdown_loses_what_lies_under_the_expansion_that_went_on(point, own):
    """Area between the line p V^gamma from exhaust opening on and the trace."""
    opens = point.meta["events_deg"]["exhaust"][0]
    for n in CYLINDERS:
        pressure, volume = own("pressure", n), own("volume", n)
        gamma = at(own("gamma", n), opens)
        angle = np.linspace(opens, 180.0, 8001)
        V, p = at(volume, angle), at(pressure, angle)
        area = np.trapezoid(p[0] * (V[0] / V) ** gamma - p, V)
        assert point.cylinders["blowdown_work"][n - 1] == pytest.approx(area, rel=2e-3)
        assert point.cylinders["blowdown_loss"][n - 1] == pytest.approx(area / SWEPT, rel=2e-3)
    assert point.blowdown_loss > 0.01 * point.imep_gross


def test_gas_shut_in_at_dead_centre_is_pressed_together_and_let_go(systems):
    """Valves that never overlap: no overlap is reported, and its pumping is a part of its own."""
    engine, exhaust = systems
    engine = engine.replace(
        exhaust_valve=engine.exhaust_valve.replace(lift=lift(128.0, 335.0)),
        intake_valve=engine.intake_valve.replace(lift=lift(380.0, 597.0)),
    )
    settings = ws.Settings(cell_length=0.05, tolerance=2e-2, sample_deg=0.25)
    point = ws.run_point(engine, exhaust, RPM, settings=settings)
    assert np.isnan(point.overlap_exhaust_pressure) and np.isnan(point.overlap_highest_angle)
    assert point.overlap_exhaust_backflow == point.overlap_intake_backflow == 0.0
    window = point.meta["events_deg"]["exhaust"][1], point.meta["events_deg"]["intake"][0]
    areas = []
    for n in CYLINDERS:
        pressure, volume = (point.trace(name, f"cylinder {n}").own_angle(n)
                            for name in ("pressure", "volume"))
        angle, p = finely(pressure, window)
        areas.append(-np.trapezoid(p - THIN_AIR.pressure, at(volume, angle)))
    assert point.cylinders["pumping_recompression"] == pytest.approx(areas, rel=2e-3, abs=0.01)
    assert max(areas) > 0.05
    parts = point.pmep_exhaust + point.pmep_recompression + point.pmep_intake
    assert point.pmep == pytest.approx(parts, rel=1e-12)


# --- gas at the events --------------------------------------------------------------------------


def test_gas_at_valve_closing_is_that_of_the_traces(point, own):
    mass = by_cylinder(lambda n: at(own("mass", n), INTAKE_CLOSES))
    fresh, burned, p, T = (
        by_cylinder(lambda n, name=name: at(own(name, n), INTAKE_CLOSES))
        for name in ("fresh", "burned", "pressure", "temperature")
    )
    found = point.cylinders
    assert found["trapped_mass"] == pytest.approx(mass, rel=1e-4)
    assert found["trapped_fresh"] == pytest.approx(mass * fresh, rel=1e-4)
    assert found["trapped_burned"] == pytest.approx(mass * burned, rel=1e-4)
    assert found["trapped_pressure"] == pytest.approx(p, rel=1e-2)  # it rises by 1 % a degree
    assert found["trapped_temperature"] == pytest.approx(T, rel=3e-3)
    assert point.trapped_pressure == pytest.approx(p.mean(), rel=1e-2)
    assert point.trapped_temperature == pytest.approx(T.mean(), rel=3e-3)
    assert found["residual_fraction"] == pytest.approx(burned, rel=1e-4)
    assert point.residual_fraction == pytest.approx((mass @ burned) / mass.sum(), rel=1e-4)
    assert point.scavenging_efficiency == pytest.approx((mass @ fresh) / mass.sum(), rel=1e-4)


def test_gas_at_exhaust_opening_is_that_of_the_traces(point, own):
    p, T, mass = (
        by_cylinder(lambda n, name=name: at(own(name, n), EXHAUST_OPENS))
        for name in ("pressure", "temperature", "mass")
    )
    assert point.cylinders["opening_pressure"] == pytest.approx(p, rel=1.5e-2)
    assert point.cylinders["opening_temperature"] == pytest.approx(T, rel=5e-3)
    assert point.cylinders["opening_mass"] == pytest.approx(mass, rel=3e-3)
    assert point.opening_pressure == pytest.approx(p.mean(), rel=1.5e-2)


def test_trapped_gas_obeys_the_gas_law(point):
    """p V = m R T with the volume at the stated angle and the molar masses of the parts."""
    found = point.cylinders
    offset = 0.5 * STROKE * np.sin(np.radians(INTAKE_CLOSES)) - PIN
    height = 0.5 * STROKE * np.cos(np.radians(INTAKE_CLOSES)) + sqrt(ROD**2 - offset**2)
    down = sqrt((ROD + 0.5 * STROKE) ** 2 - PIN**2) - height
    volume = SWEPT / (RATIO - 1.0) + 0.25 * pi * BORE**2 * down
    air, fresh, burned = gas_constants()
    fractions = found["trapped_fresh"], found["trapped_burned"]
    rest = found["trapped_mass"] - sum(fractions)
    mean_R = (fractions[0] * fresh + fractions[1] * burned + rest * air) / found["trapped_mass"]
    pressure = found["trapped_mass"] * mean_R * found["trapped_temperature"] / volume
    assert found["trapped_pressure"] == pytest.approx(pressure, rel=1e-2)


def gas_constants():
    """Of air, fresh charge and burned gas [J/(kg K)], by the molecules.

    Gasoline C1 H1.87, its vapour 106 g/mol; lean: C + O2, H + O2/4, the rest of the air remains.
    """
    fuel, oxygen = 12.011 + 1.87 * 1.008, 1.0 + 1.87 / 4.0  # [g], [mol] to one mol of carbon
    air = LAMBDA * oxygen / 0.2095  # [mol]
    mass = fuel + air * 1e3 * M_AIR  # [g]
    moles = {"fresh": air + fuel / 106.0, "burned": air - oxygen + 1.0 + 1.87 / 2.0}
    return R_MOLAR / M_AIR, *(1e3 * R_MOLAR * n / mass for n in moles.values())


# --- flows and books ----------------------------------------------------------------------------


def test_flows_through_the_valves_are_integrals_over_time(point):
    for side, sign in (("intake", 1.0), ("exhaust", -1.0)):  # traces are positive out of the duct
        flows = [point.trace("mass_flow", f"{side} valve {n}").integral() for n in CYLINDERS]
        assert point.cylinders[f"{side}_mass"] == pytest.approx(sign * np.array(flows), rel=2e-3)


def test_mixture_is_that_of_the_fuel(point):
    """Stoichiometric C H1.87 with dry air: one mol of carbon takes 1 + 1.87 / 4 mol of oxygen."""
    stoichiometric = (1.0 + 1.87 / 4.0) / 0.2095 * 1e3 * M_AIR / (12.011 + 1.87 * 1.008)
    assert point.air_fuel_lambda == LAMBDA
    assert point.air_fuel_ratio == pytest.approx(LAMBDA * stoichiometric, rel=1e-3)


def test_air_and_fuel_pass_the_air_inlet(point):
    """In a settled cycle what the cylinders take is what comes in from outside."""
    inlet = -point.trace("mass_flow", "air inlet").mean()
    assert inlet > 0.0
    assert point.air_mass_flow + point.fuel_mass_flow == pytest.approx(inlet, rel=2e-3)
    assert point.air_mass_flow / point.fuel_mass_flow == pytest.approx(point.air_fuel_ratio)
    assert point.air_mass_flow == pytest.approx(point.air_per_cycle / CYCLE, rel=1e-9)


def test_exhaust_gas_passes_the_outlet(point):
    outlet = point.trace("mass_flow", "outlet").mean()
    assert point.exhaust_mass_flow == pytest.approx(outlet, rel=2e-3)
    assert point.exhaust_mass_flow == pytest.approx(
        point.air_mass_flow + point.fuel_mass_flow, rel=2e-3)


def test_volumetric_efficiency_is_against_the_air_outside(point):
    """Ideal gas law at 92 kPa and 285 K, molar mass of dry air."""
    density = THIN_AIR.pressure * M_AIR / (R_MOLAR * THIN_AIR.temperature)
    whole = point.air_per_cycle / (density * 3.0 * SWEPT)
    assert point.volumetric_efficiency == pytest.approx(whole, rel=5e-4)
    air = point.cylinders["intake_fresh"] * (1.0 - 1.0 / (1.0 + point.air_fuel_ratio))
    assert point.cylinders["air_per_cycle"] == pytest.approx(air, rel=1e-9)
    assert point.cylinders["volumetric_efficiency"] == pytest.approx(
        air / (density * SWEPT), rel=5e-4)


def test_efficiencies_of_gas_exchange_join_delivered_and_trapped_charge(point):
    assert point.trapped_air == pytest.approx(point.trapping_efficiency * point.air_per_cycle)
    share = 1.0 - 1.0 / (1.0 + point.air_fuel_ratio)
    trapped = point.cylinders["trapped_fresh"].sum()
    assert point.trapped_air == pytest.approx(share * trapped, rel=1e-9)
    assert point.scavenging_efficiency == pytest.approx(
        trapped / point.cylinders["trapped_mass"].sum(), rel=1e-12)
    outside = 1.0 - point.residual_fraction - point.scavenging_efficiency
    assert -1e-12 < outside < 0.01  # little air comes back up the exhaust


def test_charge_is_conserved_in_every_cylinder(point):
    """In a settled cycle: what comes in burns or leaves; what burns leaves as burned gas."""
    found = point.cylinders
    scale = found["intake_mass"]
    mass = found["intake_mass"] - found["exhaust_mass"]
    fresh = found["intake_fresh"] - found["short_circuit"] - found["burned_charge"]
    burned = found["intake_burned"] + found["burned_charge"] - found["exhaust_burned"]
    for lost in (mass, fresh, burned):
        assert np.all(np.abs(lost) < 2e-3 * scale)
    assert point.short_circuit == pytest.approx(found["short_circuit"].sum(), rel=1e-12)
    assert np.all(found["short_circuit"] >= 0.0)


def test_energy_is_conserved_in_every_cylinder(point):
    """First law over a settled cycle: what comes in and is released leaves, or is work or lost."""
    found = point.cylinders
    work = sum(found[f"work_{stroke}"] for stroke in STROKES)
    gained = found["intake_energy"] - found["exhaust_energy"] + found["released_heat"]
    assert gained == pytest.approx(work + found["wall_heat"], rel=2e-3)


def test_released_heat_is_that_of_the_fuel_that_burned(point):
    """43.1 MJ/kg, lean, of which the description of the combustion releases 97 %."""
    found = point.cylinders
    fuel = found["burned_charge"] / (1.0 + point.air_fuel_ratio)
    assert found["released_heat"] == pytest.approx(0.97 * 43.1e6 * fuel, rel=1e-3)


def test_all_fresh_charge_in_the_cylinder_burns(point, own):
    """Fresh charge before the spark less what is left 100 deg after it."""
    before, after = (by_cylinder(lambda n, a=a: at(own("mass", n), a) * at(own("fresh", n), a))
                     for a in (660.0, 100.0))
    assert point.cylinders["burned_charge"] == pytest.approx(before - after, rel=1e-4)


def test_heat_to_the_walls_is_woschnis(point, own):
    """SAE 670931 (1967) as in Heywood (1988) eq. 12.19, over the traces."""
    engine, speed = point.engine, 2.0 * STROKE * RPM / 60.0
    spark = engine.combustion.start_and_duration(RPM)[0]

    def heat(number):
        p, T, V = (own(name, number).values for name in ("pressure", "temperature", "volume"))
        angle = own("pressure", number).x
        shut = (angle < EXHAUST_OPENS) | (angle > INTAKE_CLOSES)
        burning = shut & ((angle < EXHAUST_OPENS) | (angle > 720.0 + spark))
        p_r, T_r, V_r = (at(own(name, number), INTAKE_CLOSES)
                         for name in ("pressure", "temperature", "volume"))
        over = np.maximum(0.0, p - p_r * (V_r / V) ** 1.33)
        w = np.where(shut, 2.28, 6.18) * speed
        w += np.where(burning, 3.24e-3 * SWEPT * T_r / (p_r * V_r) * over, 0.0)
        h = 3.26 * BORE**-0.2 * (1e-3 * p) ** 0.8 * T**-0.55 * w**0.8
        head = 0.25 * pi * BORE**2
        liner = 4.0 * (V - SWEPT / (RATIO - 1.0)) / BORE
        flow = h * (1.2 * head * (T - 430.0) + 1.05 * head * (T - 500.0) + liner * (T - 400.0))
        return flow.mean() * CYCLE

    expected = by_cylinder(heat)
    assert point.cylinders["wall_heat"] == pytest.approx(expected, rel=5e-3)
    released = point.cylinders["released_heat"].sum()
    assert point.heat_loss_share == pytest.approx(expected.sum() / released, rel=5e-3)


def test_exhaust_temperature_carries_the_energy_that_the_first_law_leaves(point):
    """Energy by the first law, mass by the outlet, temperature by a root of the enthalpy."""
    found = point.cylinders
    work = sum(found[f"work_{stroke}"] for stroke in STROKES)
    energy = (found["intake_energy"] + found["released_heat"] - found["wall_heat"] - work).sum()
    mass = point.trace("mass_flow", "outlet").integral()
    fresh = found["short_circuit"].sum() / mass
    burned = found["exhaust_burned"].sum() / mass
    T = brentq(lambda T: float(point.gas.h(T, fresh, burned)) - energy / mass, 300.0, 3000.0)
    assert point.exhaust_temperature == pytest.approx(T, rel=3e-3)
    port = by_cylinder(lambda n: flow_mean(point, n))
    assert point.exhaust_temperature == pytest.approx(port.mean(), rel=0.05)


def flow_mean(point, number):
    """Temperature at an exhaust valve, mean over the mass that passes [K]."""
    flow, T = (point.trace(name, f"exhaust valve {number}").values
               for name in ("mass_flow", "temperature"))
    return (flow * T).sum() / flow.sum()


def test_consumption_and_efficiency_are_fuel_against_work(point, works):
    """43.1 MJ/kg: lower heating value of the surrogate; 3.6e9 g/kWh to the kg/J."""
    inlet = -point.trace("mass_flow", "air inlet").mean()
    fuel = inlet / (1.0 + point.air_fuel_ratio)
    assert point.bsfc == pytest.approx(fuel / point.power, rel=2e-3)
    assert point.bsfc == pytest.approx(point.fuel_mass_flow / point.power, rel=1e-12)
    assert 200.0 < 3.6e9 * point.bsfc < 300.0
    efficiency = works.sum() / CYCLE / (fuel * 43.1e6)
    assert point.indicated_efficiency == pytest.approx(efficiency, rel=2e-3)


# --- cylinders and the whole ---------------------------------------------------------------------

SUMS = ("air_per_cycle", "trapped_air", "short_circuit", "overlap_exhaust_backflow",
        "overlap_intake_backflow")
MEANS = (
    "imep_gross", "imep_net", "pmep", "pmep_exhaust", "pmep_recompression", "pmep_intake",
    "blowdown_loss", "delivery_ratio", "charging_efficiency", "volumetric_efficiency",
    "back_pressure", "peak_pressure", "peak_pressure_angle", "trapped_pressure",
    "trapped_temperature", "opening_pressure", "burn_angle_10", "burn_angle_50", "burn_angle_90",
    "burn_duration", "overlap_exhaust_pressure", "overlap_pressure_difference",
    "overlap_lowest_pressure", "overlap_lowest_angle", "overlap_highest_pressure",
    "overlap_highest_angle",
)
#: Quantities that are ratios of sums: what is weighted by what.
WEIGHTS = {
    "residual_fraction": "trapped_mass", "scavenging_efficiency": "trapped_mass",
    "trapping_efficiency": "intake_fresh", "heat_loss_share": "released_heat",
    "indicated_efficiency": "intake_fresh",
}


def test_scalars_are_made_of_the_amounts_by_cylinder_to_the_last_bit(point, tmp_path):
    point.save(tmp_path / "point.npz")
    for known in (point, ws.Sweep.load(tmp_path / "point.npz")[RPM]):
        values, cylinders = evaluate(
            known.engine, known.gas, RPM, known.cylinders, known.back_pressure,
            known.weather["air inlet"])
        assert values == point.values
        assert all(np.array_equal(cylinders[name], point.cylinders[name]) for name in cylinders)


def test_every_quantity_of_the_cylinders_is_part_of_that_of_the_whole(point):
    found = point.cylinders
    for name in SUMS:
        assert found[name].sum() == pytest.approx(point.values[name], rel=1e-12)
    for name in MEANS:
        assert found[name].mean() == pytest.approx(point.values[name], rel=1e-9)
    for name, weight in WEIGHTS.items():
        mean = np.average(found[name], weights=found[weight])
        assert mean == pytest.approx(point.values[name], rel=1e-9)
    whole = set(found) & set(ws.QUANTITIES)
    assert whole == {*SUMS, *MEANS, *WEIGHTS, "exhaust_temperature"}
    low, high = found["exhaust_temperature"].min(), found["exhaust_temperature"].max()
    assert low < point.exhaust_temperature < high


def test_arrays_by_cylinder_are_those_of_the_table(point):
    assert list(point.cylinders) == list(ws.CYLINDERS)
    assert list(point.values) == list(ws.QUANTITIES)
    for name, values in point.cylinders.items():
        assert values.shape == (3,) and np.all(np.isfinite(values))
        if "burn_" in name:  # which is stated, for all alike
            continue
        if "recompression" in name or name == "overlap_lowest_angle":
            continue  # the valves overlap; the pressure falls to the end of it in all three
        assert np.ptp(values) > 0.0  # three primaries of unequal length


@pytest.mark.parametrize(
    ("spread", "name"),
    [("imep_spread", "imep_net"), ("volumetric_efficiency_spread", "volumetric_efficiency"),
     ("residual_fraction_spread", "residual_fraction"),
     ("peak_pressure_spread", "peak_pressure")],
)
def test_spread_is_the_range_over_the_mean(point, spread, name):
    low, middle, high = sorted(point.cylinders[name])
    assert point.values[spread] == pytest.approx(3.0 * (high - low) / (low + middle + high))
    assert point.values[spread] > 0.01


# --- further traces -----------------------------------------------------------------------------


def test_density_of_all_ducts_and_stores_holds_the_mass_of_the_books(point):
    samples, network = point.samples, point.network
    mass = samples.stores[0, list(samples.layout["stores"].values()), 2].sum()
    for name, duct in network.ducts.items():
        density = samples.field("density", name)[0]
        edges = np.linspace(0.0, duct.length, density.size + 1)
        mass += density @ duct.volume(edges[:-1], edges[1:])
    assert mass == pytest.approx(point.audit["mass_before"], rel=1e-6)


def test_mass_flow_at_a_node_is_density_times_velocity_times_area(point):
    """Density of the last cell against the flow that passed its face: close, not equal."""
    flow, density, velocity = (
        point.trace(name, "outlet").values for name in ("mass_flow", "density", "velocity"))
    assert np.mean(density * velocity) * 0.25 * pi * 0.058**2 == pytest.approx(
        flow.mean(), rel=0.02)


def test_gas_of_the_traces_is_that_of_the_molecules(point):
    """Gas constants by molar masses; p = rho R T; a^2 = gamma R T; Ma = u / a."""
    assert point.samples.gas.R(*np.array([[0, 1, 0], [0, 0, 1]])) == pytest.approx(
        gas_constants(), rel=5e-4)
    for place in (("outlet",), ("exhaust valve 2",), ("primary 2", 0.4), ("plenum",)):
        p, T, rho, c, gamma, fresh, burned = (
            point.trace(name, *place).values for name in
            ("pressure", "temperature", "density", "sound_speed", "gamma", "fresh", "burned"))
        air, of_fresh, of_burned = gas_constants()
        gas_constant = air + fresh * (of_fresh - air) + burned * (of_burned - air)
        assert p == pytest.approx(rho * gas_constant * T, rel=1e-3)
        assert c**2 == pytest.approx(gamma * gas_constant * T, rel=1e-3)
        assert gamma == pytest.approx(point.gas.gamma(T, fresh, burned), rel=1e-12)
        if place != ("plenum",):
            velocity, mach = (point.trace(name, *place).values for name in ("velocity", "mach"))
            assert mach == pytest.approx(velocity / c, rel=1e-9)
    hot = point.trace("gamma", "exhaust valve 1").mean()
    cold = point.trace("gamma", "plenum").mean()
    assert 1.28 < hot < 1.34 < 1.36 < cold < 1.40  # burned at 1200 K, charge at 290 K


def test_a_pulse_runs_at_the_speed_of_sound_of_the_traces():
    """Two traces of a small pulse in still air: distance over delay."""
    pipe = ws.Network({"pipe": ws.Pipe(3.0, 0.05, roughness=0.0)},
                      {"a": ws.AnechoicEnd("pipe.start"), "b": ws.AnechoicEnd("pipe.end")})

    def start(x):
        lump = 1.0 + 1e-3 * np.exp(-(((x - 0.6) / 0.1) ** 2))
        return 101325.0 * lump, 0.0 * x, 298.15 * lump ** (0.4 / 1.4), "air"

    found = ws.simulate(pipe, 6e-3, initial={"pipe": start}, samples=1200,
                        settings=ws.Settings(cell_length=0.01, friction=False))
    first, second = (found.trace("pressure", "pipe", x) for x in (1.2, 2.4))
    delay = second.x[second.values.argmax()] - first.x[first.values.argmax()]
    speed = found.trace("sound_speed", "pipe", 1.8).mean()
    assert 1.2 / delay == pytest.approx(speed, rel=5e-3)
    assert speed == pytest.approx(sqrt(1.4 * 287.05 * 298.15), rel=1e-4)
