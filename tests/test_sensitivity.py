"""Slopes of band averages: exact where the answer is known, honest about step and noise."""

import math

import numpy as np
import pytest
from csv_files import csv_rows
from matplotlib import pyplot

import wavesim as ws
import wavesim.many.work
from wavesim.many.sensitivity import usual_step
from wavesim.results.points import Point
from wavesim.show.quantities import QUANTITIES

LENGTH, RATIO = "exhaust.collector.length", "engine.compression_ratio"
ADVANCE = "engine.exhaust_valve.advance_deg"
RPM = (3000.0, 4000.0, 6000.0)
COARSE = ws.Settings(cell_length=0.1, tolerance=0.02)


@pytest.fixture(autouse=True)
def closed_figures():
    yield
    pyplot.close("all")


@pytest.fixture(scope="module")
def system():
    study = ws.load(ws.demo_path("collector"))
    return study.engine, study.exhausts[study.base]


@pytest.fixture
def invented(monkeypatch):
    """Puts an invented torque in place of the march; its cycles repeat as the tolerance says."""
    def put(torque, noise=0.0, loose=()):
        dice = np.random.default_rng(7)

        def run(engine, exhaust, rpm, *, settings, **_):
            value = torque(engine, exhaust, rpm)
            value *= 1.0 + noise * settings.tolerance / COARSE.tolerance * dice.standard_normal()
            values = dict.fromkeys(QUANTITIES, 1.0) | {"torque": value}
            return Point(rpm, values, {}, None, {"converged": rpm not in loose, "cycles": 3}, {})

        monkeypatch.setattr(wavesim.many.work, "run_point", run)

    return put


def found(system, paths, **more):
    return ws.sensitivities(*system, paths, RPM, settings=COARSE, threads=1, progress=False, **more)


def mean_rpm():
    """Mean of the speed over the band."""
    return 0.5 * (RPM[0] + RPM[-1])


def test_slope_of_a_parabola_is_exact_on_any_step(system, invented):
    invented(lambda engine, exhaust, rpm: 100.0 + rpm * 1e-3 * exhaust.collector[0].length**2)
    base = system[1].collector[0].length
    for step in (None, 0.05):
        one = found(system, {LENGTH: step})[LENGTH]
        assert one.slope == pytest.approx(2.0 * base * 1e-3 * mean_rpm(), rel=1e-9)
        assert one.value == base and one.change == pytest.approx(0.01 * base)
        assert one.below < one.slope < one.above
        assert one.effect == pytest.approx(0.01 * base * one.slope)


def test_error_of_a_curve_that_bends_more_falls_with_the_square_of_the_step(system, invented):
    invented(lambda engine, exhaust, rpm: 100.0 + 50.0 * math.sin(5.0 * exhaust.collector[0].length)
             )
    true = 250.0 * math.cos(5.0 * system[1].collector[0].length)
    errors = [abs(found(system, {LENGTH: step})[LENGTH].slope - true) for step in (0.04, 0.02)]
    assert errors[0] / errors[1] == pytest.approx(4.0, rel=0.01)


def test_chosen_step_is_the_best_for_a_quantity_that_changes_over_its_dimension():
    """Of Q = exp(x/L) with noise e: h^2/6 L^3 + e/h is least at the step that is taken."""
    share, scale = 1e-3, 0.4
    steps = np.linspace(0.2, 3.0, 400) * usual_step("m", scale, share)
    error = steps**2 / (6.0 * scale**3) + share / steps
    assert steps[np.argmin(error)] == pytest.approx(usual_step("m", scale, share), rel=0.01)


def test_noise_that_is_told_is_that_of_the_runs(system, invented):
    """A thousandth of random noise: told from the two base runs, and met by the slopes."""
    invented(lambda engine, exhaust, rpm: 200.0, noise=1e-3)
    slopes = found(system, [LENGTH, RATIO, "engine.bore", "engine.stroke", "engine.rod"])
    assert 0.02 < slopes.noise < 0.5  # of 0.2 N m a point, and three of them
    pulls = [one.slope / one.noise for one in slopes]
    assert max(map(abs, pulls)) < 4.0 and all(one.noise > 0.0 for one in slopes)
    assert slopes[LENGTH].step > usual_step("m", slopes[LENGTH].value, 1e-4)


def test_angles_take_steps_of_degrees_though_they_are_zero(system, invented):
    invented(lambda engine, exhaust, rpm: 100.0 + 0.3 * engine.exhaust_valve.advance_deg)
    one = found(system, [ADVANCE])[ADVANCE]
    assert one.unit == "deg" and one.change == 1.0 and one.slope == pytest.approx(0.3)
    assert one.change_text == "1 deg"


def test_ridge_and_noise_are_remarked(system, invented):
    base = system[1].collector[0].length
    invented(lambda engine, exhaust, rpm: 100.0 - 900.0 * (exhaust.collector[0].length - base) ** 2)
    slopes = found(system, [LENGTH, RATIO])
    assert slopes[LENGTH].remark == "a ridge" and slopes[RATIO].remark == "within its noise"
    invented(lambda engine, exhaust, rpm: 100.0 + 900.0 * (exhaust.collector[0].length - base) ** 2,
             loose=(4000.0,))
    assert found(system, [LENGTH])[LENGTH].remark == "not all cycles converged"


def test_friction_takes_from_the_torque_what_its_formula_says(system):
    """Torque by friction: -V/4 pi of a pressure, and the mean piston speed times that."""
    engine = system[0]
    slopes = found(system, ["engine.friction.constant", "engine.friction.speed"])
    share = -engine.displacement / (4.0 * math.pi)
    assert slopes["engine.friction.constant"].slope == pytest.approx(share, rel=1e-9)
    piston = engine.mean_piston_speed(mean_rpm())  # linear in speed, so is its mean
    assert slopes["engine.friction.speed"].slope == pytest.approx(share * piston, rel=1e-9)


def test_slope_of_an_engine_agrees_with_the_line_through_finer_runs(system):
    """Compression ratio at full load: smooth, so that a parabola through five runs is a judge."""
    ratio = system[0].compression_ratio
    tight, speeds = COARSE.replace(tolerance=1e-3), [3000.0, 6000.0]
    ratios = ratio + np.array([-1.0, -0.5, 0.0, 0.5, 1.0])
    runs = ws.explore(*system, {RATIO: ratios.tolist()}, speeds, settings=tight, progress=False)
    judge = np.polyfit(ratios - ratio, runs.mean("torque"), 2)[1]
    one = ws.sensitivities(*system, [RATIO], speeds, settings=tight, progress=False)[RATIO]
    assert one.slope == pytest.approx(judge, rel=0.03) and one.remark == ""
    assert one.slope > 0.0 and one.noise < 0.02 * one.slope


def test_what_cannot_be_varied_is_refused_by_name(system, invented):
    invented(lambda engine, exhaust, rpm: 100.0)
    with pytest.raises(ws.InputError, match="'exhaust.radiation' = .* must be a number"):
        found(system, ["exhaust.radiation"])
    with pytest.raises(ws.InputError, match="'engine.pin_offset' is 0 in the base, it needs a step"
                       ):
        found(system, ["engine.pin_offset"])
    uneven = system[0], system[1].replace(primary=tuple(
        ws.Pipe(0.5 + 0.1 * i, 0.04) for i in range(4)))
    with pytest.raises(ws.InputError, match="leads to several values that differ"):
        found(uneven, ["exhaust.primary.*.length"])
    with pytest.raises(ws.InputError, match="at least one"):
        found(system, [])
    with pytest.raises(ws.InputError, match="step of 'exhaust.collector.length'"):
        found(system, {LENGTH: -0.1})


def test_design_that_fails_leaves_the_others_and_says_so(system, invented):
    def torque(engine, exhaust, rpm):
        if exhaust.collector[0].length > system[1].collector[0].length:
            raise ws.SolverError("Unphysical state in duct 'collector'")
        return 100.0 + engine.compression_ratio

    invented(torque)
    slopes = found(system, [LENGTH, RATIO])
    assert np.isnan(slopes[LENGTH].slope) and "Unphysical state" in slopes[LENGTH].remark
    assert slopes[RATIO].slope == pytest.approx(1.0)
    assert len(slopes.plot().patches) == 2


def test_table_file_and_bars_tell_step_change_effect_and_noise(system, invented, tmp_path):
    base = system[1].collector[0].length
    invented(lambda engine, exhaust, rpm: 100.0 + 40.0 * (exhaust.collector[0].length - base)
             - 5.0 * engine.compression_ratio, noise=1e-4)
    slopes = found(system, [LENGTH, RATIO])
    table = slopes.table()
    assert f"1 % ({10.0 * base:.3g} mm)" in table and "it repeats within" in table
    slopes.to_csv(tmp_path / "slopes.csv")
    head, *rows = csv_rows(tmp_path / "slopes.csv")
    assert {"path", "step", "noise", "effect [N m]"} <= set(head) and len(rows) == 2
    ax = slopes.plot()
    wide = [bar.get_width() for bar in ax.patches]
    assert wide == pytest.approx(sorted((one.effect for one in slopes), key=abs))
    assert [label.get_text().splitlines()[0] for label in ax.get_yticklabels()][-1] == RATIO
