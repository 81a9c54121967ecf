"""Correction to the air of a standard: worked numbers, limits, and there and back.

The worked numbers (`validation/references.csv`) were computed for this project beside the code from
the formulas as sources quote them; no worked example printed in a standard was at hand.
"""

import logging

import numpy as np
import pytest
from fakes import fake_sweep
from hypothesis import given, settings
from hypothesis import strategies as st
from references import reference, references
from test_hostile_files import refused

import wavesim as ws
from wavesim import Ambient, Curve, MeasuredPulls, corrected, correction_factor, uncorrected
from wavesim.dyno.correction import FACTOR, STANDARDS
from wavesim.dyno.pulls import read_pulls

RPM = np.arange(2000.0, 7001.0, 500.0)
TORQUE = 150.0 + 30.0 * np.sin((RPM - 2000.0) / 1500.0)
HOT = Ambient(pressure=97.5e3, temperature=305.15)

WORKED = [row for row in references("TH-13") if row.quantity == "correction_factor"]


@pytest.mark.parametrize("row", WORKED, ids=lambda row: row.label)
def test_factor_agrees_with_worked_numbers_to_their_last_digit(row):
    """That of 60 degF within 1e-4, for its reference rounds it to 15.6 degC."""
    standard = row.case["standard"].replace("-", " ")
    found = correction_factor(standard, row.case["p"], row.case["T"])
    assert found == pytest.approx(row.value, abs=row.tolerance)


@pytest.mark.parametrize("name", STANDARDS)
def test_factor_is_one_in_the_air_of_the_standard(name):
    standard = STANDARDS[name]
    factor = correction_factor(name, standard.pressure, standard.celsius + 273.15)
    assert factor == pytest.approx(1.0, abs=1e-12)


def test_dry_pressure_agrees_with_a_worked_number():
    """By Tetens' formula, of which the vapour of CIPM-2007 is 1e-4 of the pressure away."""
    row = reference("TH-13", "dry_pressure")
    air = Ambient(pressure=row.case["p"], temperature=row.case["T"],
                  relative_humidity=row.case["relative_humidity"])
    assert air.dry_pressure == pytest.approx(row.value, abs=row.tolerance)
    humid = correction_factor("SAE J1349", 101e3, 298.15, 0.6)
    assert humid == pytest.approx(1.18 * 99.0 / 99.0995 - 0.18, rel=1.5e-4)


def test_humidity_counts_only_where_the_air_is_dry():
    for name, standard in STANDARDS.items():
        dry, humid = (correction_factor(name, 99e3, 298.15, one) for one in (0.0, 0.9))
        assert (humid > dry) == standard.dry and (humid == dry) == (not standard.dry)


def test_factor_follows_the_density_of_the_air():
    """Colder and heavier air needs less correction, for every standard."""
    for name in STANDARDS:
        pressure = correction_factor(name, np.linspace(95e3, 101e3, 5), 298.15)
        warmth = correction_factor(name, 99e3, np.linspace(290.0, 305.0, 5))
        assert np.all(np.diff(pressure) < 0.0) and np.all(np.diff(warmth) > 0.0)


# --- limits ---------------------------------------------------------------------------------------


@pytest.fixture
def remarks(monkeypatch):
    heard = []
    monkeypatch.setattr(logging.getLogger("wavesim"), "warning", lambda _, text: heard.append(text))
    return heard


@pytest.mark.parametrize("name", STANDARDS)
def test_air_of_a_mountain_is_warned_of(name, remarks):
    correction_factor(name, 79e3, 298.15)
    assert any(f"{name} holds for a correction factor of 0.93 to 1.07" in one for one in remarks)
    there = corrected(Curve("high", RPM, {"torque": TORQUE}), name,
                      Ambient(pressure=79e3, temperature=298.15))
    assert any("is not to be trusted" in note for note in there.notes)


def test_heat_and_pressure_beyond_the_limits_are_warned_of_by_name(remarks):
    correction_factor("ISO 1585", 104e3, 273.15 + 41.0)
    assert remarks == ["ISO 1585 holds for an inlet temperature of 15 to 35 degC, here it is 41.0 "
                       "degC: the correction is not to be trusted."]
    remarks.clear()
    correction_factor("SAE J1349", 106e3, 273.15 + 30.0)
    assert remarks == ["SAE J1349 holds for a pressure of the dry air of 90 to 105 kPa, here it is "
                       "106.0 kPa: the correction is not to be trusted."]


def test_usual_air_is_not_warned_of(remarks):
    for name in STANDARDS:
        correction_factor(name, 99.5e3, 296.0, 0.0)
    assert remarks == []


def test_air_that_cannot_be_is_refused():
    refused(lambda: correction_factor("ISO 1585", 990.0, 298.15), "pressure = 990 Pa")
    refused(lambda: correction_factor("ISO 1585", 99e3, 25.0), "temperature = 25 K", "25 degC is")
    refused(lambda: correction_factor("ISO 1585", 99e3, 298.15, 60.0), "relative_humidity = 60")
    refused(lambda: correction_factor("ISO 1586", 99e3, 298.15), "did you mean 'ISO 1585'")
    refused(lambda: correction_factor("ISO 1585", [99e3, 98e3], [298.15, 299.0, 300.0]), "answer")


# --- curves ---------------------------------------------------------------------------------------

AIR = st.builds(Ambient, pressure=st.floats(7e4, 1.1e5), temperature=st.floats(260.0, 320.0),
                relative_humidity=st.floats(0.0, 1.0))  # fmt: skip


@settings(max_examples=100, deadline=None, derandomize=True, database=None)
@given(air=AIR, standard=st.sampled_from(list(STANDARDS)))
def test_there_and_back_is_the_curve_itself(air, standard):
    """To round-off: x f / f is x within two units of the last place."""
    curve = Curve("a", RPM, {"torque": TORQUE, "air_fuel_lambda": 0.9 + 0.0 * RPM},
                  uncertainty={"torque": 2.0}, notes=["own"])
    there = corrected(curve, standard, air)
    for back in (uncorrected(there, standard), uncorrected(there, standard, air)):
        for name in ("torque", "power"):
            assert back[name] == pytest.approx(curve[name], rel=5e-16)
        assert back.uncertainty("torque") == pytest.approx(2.0, rel=5e-16)
        assert np.array_equal(back["air_fuel_lambda"], curve["air_fuel_lambda"])
        assert back.notes == ("own",) and FACTOR not in back.quantities


@settings(max_examples=50, deadline=None, derandomize=True, database=None)
@given(air=AIR, other=AIR, standard=st.sampled_from(list(STANDARDS)))
def test_factor_from_air_to_air_does_not_depend_on_the_way(air, other, standard):
    """What one air corrects to, and the other takes off, is the ratio of the two factors."""
    curve = Curve("a", RPM, {"torque": TORQUE})
    moved = uncorrected(Curve("b", RPM, {"torque": corrected(curve, standard, air).torque}),
                        standard, other)
    factors = [correction_factor(standard, one.pressure, one.temperature, one.relative_humidity)
               for one in (air, other)]
    assert moved.torque == pytest.approx(TORQUE * factors[0] / factors[1], rel=1e-14)


def test_only_torque_power_and_their_pressure_are_corrected():
    curve = Curve("a", RPM, {"torque": TORQUE, "bmep": 1e4 * TORQUE, "bsfc": 7e-8 + 0.0 * RPM,
                             "oil": RPM}, units={"oil": "bar"})
    there = corrected(curve, "ISO 1585", HOT)
    factor = correction_factor("ISO 1585", HOT.pressure, HOT.temperature)
    for name in ("torque", "power", "bmep"):
        assert there[name] == pytest.approx(factor * curve[name], rel=1e-15)
    for name in ("bsfc", "oil"):
        assert np.array_equal(there[name], curve[name])
    assert there[FACTOR] == pytest.approx(factor) and there["barometer"][0] == HOT.pressure
    assert there.unit("oil") == "bar"


def test_correction_is_not_made_twice_nor_taken_back_by_another_standard():
    there = corrected(Curve("a", RPM, {"torque": TORQUE}), "ISO 1585", HOT)
    refused(lambda: corrected(there, "SAE J1349", HOT), "corrected already, by ISO 1585")
    refused(lambda: uncorrected(there, "SAE J1349"), "corrected by ISO 1585, not by SAE J1349")


def test_correction_of_a_dynamometer_is_taken_off_by_its_standard():
    curve = Curve("a", RPM, {"torque": TORQUE})
    factor = correction_factor("DIN 70020", HOT.pressure, HOT.temperature)
    assert uncorrected(curve, "DIN 70020", HOT).torque == pytest.approx(TORQUE / factor)


def test_curve_without_its_air_is_refused():
    curve = Curve("a", RPM, {"torque": TORQUE})
    refused(lambda: corrected(curve, "ISO 1585"), "'a' does not say in which air", "barometer is")
    air = {"torque": TORQUE, "barometer": 99e3 + 0 * RPM, "inlet_air_temperature": 300 + 0 * RPM}
    curve = Curve("a", RPM, air, units={"barometer": "Pa", "inlet_air_temperature": "K"})
    refused(lambda: corrected(curve, "ISO 1585"), "relative_humidity is missing", "give ambient")
    assert corrected(curve, "DIN 70020").torque == pytest.approx(
        TORQUE * correction_factor("DIN 70020", 99e3, 300.0)
    )


def test_each_pull_is_corrected_with_its_own_air(tmp_path):
    """The same engine on a good and on a bad day comes out the same."""
    paths = []
    for i, (kpa, celsius, percent) in enumerate([(101.0, 15.0, 40.0), (97.0, 33.0, 80.0)]):
        factor = correction_factor("ISO 1585", 1e3 * kpa, celsius + 273.15, percent / 100.0)
        rows = [f"{r};{t / factor:.12f};{kpa};{celsius};{percent}" for r, t in
                zip(RPM, TORQUE, strict=True)]
        paths.append(tmp_path / f"{i}.csv")
        paths[-1].write_text("\n".join(["n;M;p;T;RH", *rows]))
    pulls = read_pulls(paths, {
        "rpm": ("n", "rpm"), "torque": ("M", "N m"), "barometer": ("p", "kPa"),
        "inlet_air_temperature": ("T", "degC"), "relative_humidity": ("RH", "%"),
    }, name="same", order=[0, 2])  # fmt: skip
    assert np.all(pulls.scatter("torque") > 3.0)
    there = corrected(pulls, "ISO 1585")
    assert isinstance(there, MeasuredPulls) and there.order == (0.0, 2.0)
    assert there.torque == pytest.approx(TORQUE, rel=1e-11)
    assert np.all(there.scatter("torque") < 1e-9)
    back = uncorrected(there, "ISO 1585")
    assert back.by_pull("torque") == pytest.approx(pulls.by_pull("torque"), rel=1e-15)


def test_computed_sweep_is_corrected_with_its_weather():
    """Like is compared with like: one engine, computed, in two weathers; corrected by hand."""
    study = ws.load(ws.demo_path("collector"))
    coarse = ws.Settings(cell_length=0.1, sample_deg=10.0, tolerance=5e-2)
    air = Ambient(pressure=97e3, temperature=303.15, relative_humidity=0.6)
    sweep = ws.speed_sweep(study.engine, study.exhausts[study.base], [3000.0, 4000.0],
                           settings=coarse, ambient=air, threads=1, progress=False)
    there = corrected(sweep, "SAE J1349")
    dry = air.dry_pressure
    by_hand = 1.18 * (99e3 / dry) * np.sqrt((30.0 + 273.0) / 298.0) - 0.18
    assert there.torque == pytest.approx(by_hand * sweep.torque, rel=1e-9)
    assert there["relative_humidity"] == pytest.approx(0.6, rel=1e-9)
    assert uncorrected(there, "SAE J1349").torque == pytest.approx(sweep.torque, rel=1e-15)
    assert ws.compare(sweep, there).percent("torque")[0] == pytest.approx(100.0 * (by_hand - 1.0))


def test_comparison_of_corrected_sweeps_names_what_else_they_differ_in():
    """All but the weather, which the correction has levelled."""
    study = ws.load(ws.demo_path("collector"))
    coarse = ws.Settings(cell_length=0.1, sample_deg=10.0, tolerance=5e-2)
    airs = Ambient(pressure=97e3), Ambient(pressure=101e3)
    engines = study.engine, study.engine.replace(air_fuel_lambda=0.85)
    sweeps = [ws.speed_sweep(engine, study.exhausts[study.base], [3000.0, 4000.0], settings=coarse,
                             ambient=air, threads=1, progress=False)
              for engine, air in zip(engines, airs, strict=True)]
    plain, levelled = (ws.compare(*pair).notes() for pair in (
        sweeps, [corrected(sweep, "ISO 1585") for sweep in sweeps]
    ))
    assert any("differ in weather" in note for note in plain)
    assert not any("differ in weather" in note for note in levelled)
    for notes in (plain, levelled):
        assert any("differ in engine: air_fuel_lambda" in note for note in notes)
        assert any("difference below 10 % means nothing" in note for note in notes)


def test_sweep_that_does_not_say_its_weather_is_refused_or_told():
    sweep = fake_sweep(RPM, TORQUE)
    refused(lambda: corrected(sweep, "ISO 1585"), "does not say in which air")
    assert corrected(sweep, "ISO 1585", HOT).torque[0] > sweep.torque[0]


def test_gap_in_the_weather_is_filled_from_its_neighbours():
    nan = np.nan
    air = {"barometer": [99e3, nan, 97e3], "inlet_air_temperature": [300.0] * 3}
    curve = Curve("a", [2000, 3000, 4000], {"torque": [1.0] * 3, **air},
                  units={"barometer": "Pa", "inlet_air_temperature": "K"})
    assert corrected(curve, "DIN 70020")["barometer"].tolist() == [99e3, 98e3, 97e3]
