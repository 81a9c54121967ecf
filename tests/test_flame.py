"""Burn angles that answer to the charge: the published correlation, and engines that use it."""

import pytest

import wavesim as ws
from wavesim.gas.flame import burn_angle_ratio, laminar_burning_velocity

COARSE = ws.Settings(cell_length=0.03, sample_deg=2.0, tolerance=1e-4)
RPM = 2500.0


@pytest.fixture(scope="module")
def system():
    study = ws.load(ws.demo_path("collector"))
    return study.engine, study.exhausts["long collector"]


@pytest.fixture(scope="module")
def plain(system):
    return ws.run_point(*system, RPM, settings=COARSE)


def scaled(engine, scaling):
    return engine.replace(combustion=engine.combustion.replace(scaling=scaling))


def test_flame_is_as_fast_as_published():
    """Metghalchi and Keck (1982) in Heywood (1988), table 9.3 (from memory): the fastest mixtures
    of gasoline, iso-octane and methanol at 298 K and 1 atm."""
    for fuel, phi, velocity in (
        ("gasoline", 1.21, 0.305), ("iso-octane", 1.13, 0.263), ("methanol", 1.11, 0.369),
    ):
        assert laminar_burning_velocity(fuel, 1.0 / phi) == pytest.approx(velocity, rel=1e-12)


def test_burned_gas_slows_the_flame_and_lengthens_the_burn():
    """Rhodes and Keck (1985), Hires et al. (1978), both from memory: from 5 % to 15 % of residual
    gas by moles the velocity falls from 0.795 to 0.522 of that without, the burn angle grows 1.32
    times."""
    clean, some, much = (laminar_burning_velocity("gasoline", 1.0, x) for x in (0.0, 0.05, 0.15))
    assert some / clean == pytest.approx(0.795, abs=5e-4)
    assert much / clean == pytest.approx(0.522, abs=5e-4)
    assert burn_angle_ratio(1.0, much / some) == pytest.approx(1.32, abs=5e-3)


def test_hot_flame_is_faster_and_pressed_flame_slower():
    """Exponents 2.18 and -0.16 of a stoichiometric mixture."""
    cold = laminar_burning_velocity("iso-octane", 1.0)
    assert laminar_burning_velocity("iso-octane", 1.0, temperature=596.0) / cold == pytest.approx(
        2.0**2.18
    )
    assert laminar_burning_velocity("iso-octane", 1.0, pressure=202650.0) / cold == pytest.approx(
        2.0**-0.16
    )


def test_scaling_about_a_point_changes_nothing_there(system, plain):
    engine, exhaust = system
    same = ws.run_point(scaled(engine, ws.FlameScaling.of(plain)), exhaust, RPM, settings=COARSE)
    assert same.torque == pytest.approx(plain.torque, rel=3e-4)


def test_scaled_burn_is_the_burn_that_it_says(system, plain):
    """The engine that burns by residual gas does what one with that burn angle stated does: the
    angle worked out here from the result of the run."""
    engine, exhaust = system
    scaling = ws.FlameScaling(residual=0.03, air_fuel_lambda=engine.air_fuel_lambda)
    point = ws.run_point(scaled(engine, scaling), exhaust, RPM, settings=COARSE)
    yb, yf = point.residual_fraction, point.scavenging_efficiency
    x = yb * point.gas.R(0.0, 1.0) / point.gas.R(yf, yb)
    fall = [1.0 - 2.06 * share**0.77 for share in (x, 0.03)]
    stated = float(engine.combustion.burn_10_90_deg(RPM))
    angle = stated * (fall[0] / fall[1]) ** (-2.0 / 3.0)
    assert angle > 1.2 * stated
    assert point.burn_duration == pytest.approx(angle, rel=1e-3)
    assert point.burn_angle_50 == pytest.approx(engine.combustion.ca50_deg, abs=1e-9)
    burn = engine.combustion.replace(burn_10_90_deg=float(angle))
    fixed = ws.run_point(engine.replace(combustion=burn), exhaust, RPM, settings=COARSE)
    assert point.torque == pytest.approx(fixed.torque, rel=1e-3)
    assert abs(point.torque - plain.torque) > 5e-3 * plain.torque
    assert point.audit["burns_limited"] == 0


def test_later_half_of_a_slow_burn_costs_more_on_a_fixed_ignition_map(system, plain):
    engine, exhaust = system
    held = {
        name: ws.run_point(
            scaled(engine, ws.FlameScaling(residual=0.03, air_fuel_lambda=1.0, held=name)),
            exhaust, RPM, settings=COARSE,
        )
        for name in ("half burned", "ignition")
    }
    assert held["ignition"].torque < held["half burned"].torque < plain.torque
    assert held["ignition"].peak_pressure_angle > held["half burned"].peak_pressure_angle
    assert held["ignition"].burn_angle_50 > held["half burned"].burn_angle_50 + 1.0


def test_each_cylinder_burns_by_its_own_residual_gas(system):
    """The published formulas once more, by hand, from the trapped gas of every cylinder."""
    engine, exhaust = system
    uneven = exhaust.replace(primary=None, primaries=[
        ws.Pipe(length, 0.038, wall_temperature=750.0) for length in (0.4, 0.75, 0.75, 1.1)])
    scaling = ws.FlameScaling(residual=0.03, air_fuel_lambda=engine.air_fuel_lambda)
    point = ws.run_point(scaled(engine, scaling), uneven, RPM, settings=COARSE)
    own = point.cylinders
    yb, yf = (own[name] / own["trapped_mass"] for name in ("trapped_burned", "trapped_fresh"))
    x = yb * point.gas.R(0.0, 1.0) / point.gas.R(yf, yb)
    stated = float(engine.combustion.burn_10_90_deg(RPM))
    angle = stated * ((1.0 - 2.06 * x**0.77) / (1.0 - 2.06 * 0.03**0.77)) ** (-2.0 / 3.0)
    assert angle.max() > 1.02 * angle.min()
    assert own["burn_duration"] == pytest.approx(angle, rel=2e-3)
    assert point.burn_duration == pytest.approx(angle.mean(), rel=2e-3)


def test_burn_beyond_the_cycle_is_held_and_told(system):
    """Where the correlation knows no burning at all its slowest flame would take many turns."""
    engine, exhaust = system
    throttled = engine.replace(intake=engine.intake.replace(plate_angle_deg=8.0))
    scaling = ws.FlameScaling(residual=0.0, air_fuel_lambda=1.0, held="ignition")
    sweep = ws.speed_sweep(scaled(throttled, scaling), exhaust, [1500.0], progress=False,
                           settings=COARSE.replace(max_cycles=6))
    assert sweep[1500.0].audit["burns_limited"] > 0
    (said,) = [note for note in sweep.burn_notes if "FlameScaling" in note]
    assert said.startswith("At 1500 rev/min") and said in sweep.notes


def test_start_and_duration_lead_back_to_the_angles_that_were_stated():
    burn = ws.Wiebe(ca50_deg=9.0, burn_10_90_deg=25.0)
    for ratio in (1.0, 1.4):
        tenth, half, late = burn.burn_angles(*burn.start_and_duration(3000.0, ratio))
        assert (half, late - tenth) == pytest.approx((9.0, 25.0 * ratio))


def test_fuel_without_a_burning_velocity_is_refused(system):
    engine, _ = system
    scaling = ws.FlameScaling(residual=0.05, air_fuel_lambda=1.0)
    with pytest.raises(ws.InputError, match="no burning velocity of 'ethanol', give scaling.fuel"):
        scaled(engine, scaling).replace(fuel="ethanol")
    scaled(engine, scaling.replace(fuel="methanol")).replace(fuel="ethanol")


def test_perfect_gas_is_refused(system):
    engine, exhaust = system
    with pytest.raises(ws.InputError, match="needs an EngineGas"):
        ws.run_point(
            scaled(engine, ws.FlameScaling(residual=0.05, air_fuel_lambda=1.0)), exhaust, RPM,
            settings=COARSE, gas=ws.PerfectGas(1.35, 287.0, heat_per_fresh=2.7e6),
        )
