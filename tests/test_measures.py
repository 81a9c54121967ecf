"""Values with their units: exact, of the right dimension, in every field that has a unit."""

import dataclasses
import json
import re
import tomllib

import numpy as np
import pytest
from examples_of_all_kinds import NODES, OTHERS, PARTS
from scipy import constants

import wavesim as ws
from wavesim.errors import InputError
from wavesim.fields.toml_form import build
from wavesim.measures import _KINDS, FIRST_GAUGE, LAST_GAUGE, in_unit, is_stated

fluids = pytest.importorskip("fluids")


@pytest.mark.parametrize(("text", "unit", "value"), [
    ("42 mm", "m", 0.042), ("4.2cm", "m", 0.042), ("1.65 inch", "m", 0.04191),
    ("1 5/8 inch", "m", 0.041275), ("1-3/4 in", "m", 0.04445), ('5/8"', "m", 0.015875),
    ("2 foot", "m", 0.6096), ("50 thou", "m", 0.00127), ("0.3 m", "m", 0.3),
    ("250 degC", "K", 523.15), ("-5 °C", "K", 268.15), ("212 degF", "K", 373.15),
    ("500 K", "K", 500.0), ("1.013 bar", "Pa", 101300.0), ("96 kPa", "Pa", 96000.0),
    ("4 litre", "m3", 0.004), ("500 cc", "m3", 0.0005), ("95 deg", "deg", 95.0),
    ("30 %", "1", 0.3), ("3000 rpm", "rev/min", 3000.0), ("36 km/h", "m/s", 10.0),
    ("100 g/litre", "kg/m3", 100.0), ("44 MJ/kg", "J/kg", 44e6), ("0.1 W/(m K)", "W/(m K)", 0.1),
    ("1e-3 m", "m", 0.001), (" 7 mm ", "m", 0.007),
])  # fmt: skip
def test_value_with_an_exact_unit_is_that_written_in_si_to_the_bit(text, unit, value):
    assert in_unit(text, unit) == value


@pytest.mark.parametrize(("text", "unit", "value"), [
    ("14.7 psi", "Pa", 14.7 * constants.psi), ("1.5 inHg", "Pa", 1.5 * 25.4 * constants.mmHg),
    ("760 mmHg", "Pa", constants.atm), ("500 cfm", "m3/s", 500 * constants.foot**3 / 60.0),
    ("400 cpsi", "1/m2", 400 / constants.inch**2), ("60 mph", "m/s", 60 * constants.mph),
    ("200 hp", "W", 200 * constants.hp), ("3 lb", "kg", 3 * constants.lb),
    ("28 inH2O", "Pa", 28 * 249.08891),  # of 4 degC, NIST SP 811 (from memory)
])  # fmt: skip
def test_other_units_are_those_of_scipy(text, unit, value):
    assert in_unit(text, unit) == pytest.approx(value, rel=3e-7)


@pytest.mark.parametrize(("standard", "schedule"), [
    ("Birmingham", "BWG"), ("standard wire", "BSWG")])
def test_gauges_of_wire_are_those_of_the_handbook_tables(standard, schedule):
    for n in range(FIRST_GAUGE, LAST_GAUGE + 1):
        expected = fluids.piping.t_from_gauge(n, SI=True, schedule=schedule)
        assert ws.gauge(n, standard) == pytest.approx(expected, abs=5.1e-6)


@pytest.mark.parametrize("n", [10, 12, 14, 16, 18, 20])
def test_gauge_of_sheet_follows_from_its_mass_per_area(n):
    """The U.S. standard gauge of 1893 is one of mass (from memory): 16 is 2.5 lb/ft2.

    The manufacturers' standard takes 41.82 lb/ft2 for an inch of steel.
    """
    mass = {10: 5.625, 12: 4.375, 14: 3.125, 16: 2.5, 18: 2.0, 20: 1.5}[n]  # lb/ft2
    assert ws.gauge(n, "sheet") == pytest.approx(mass / 41.82 * constants.inch, abs=2e-6)


def test_text_of_a_gauge_is_its_thickness_and_says_the_standard():
    words = {"gauge": "Birmingham", "ga": "Birmingham", "bwg": "Birmingham",
             "SWG": "standard wire", "sheet gauge": "sheet", "msg": "sheet"}
    for word, standard in words.items():
        assert ws.Wall(f"18 {word}").thickness == ws.gauge(18, standard)


@pytest.mark.parametrize("unit", _KINDS)
def test_example_that_a_message_gives_is_right(unit):
    assert np.isfinite(in_unit(_KINDS[unit][1], unit))


@pytest.mark.parametrize("text", ["42", "drawn", "16", "", "mm", "4 2 mm", "1,65 inch", "inf m",
                                  "nan m", "4" * 60 + " m", None, 42, ["42 mm"]])
def test_what_is_no_number_with_a_unit_is_none(text):
    assert not is_stated(text)


@pytest.mark.parametrize(("action", "message"), [
    (lambda: ws.Pipe("250 degC", 0.04),
     "Pipe: length = '250 degC' is a temperature, must be a length in m such as '42 mm'."),
    (lambda: ws.Pipe(0.5, 0.04, wall_temperature="20 mm"),
     "Pipe: wall_temperature = '20 mm' is a length, must be a temperature in K such as "
     "'250 degC'."),
    (lambda: ws.Ambient(pressure="1 kg"),
     "Ambient: pressure = '1 kg' is a mass, must be a pressure in Pa such as '14.7 psi'."),
    (lambda: ws.Pipe(0.5, 0.04, heat_factor="2 m"),
     "Pipe: heat_factor = '2 m' is a length, must be a number without a unit, or a share in %."),
    (lambda: ws.Bend(0.05, "0.1 m", radius=0.1),
     "Bend: angle_deg = '0.1 m' is a length, must be an angle in deg such as '95 deg'."),
    (lambda: ws.LiftTable(angle_deg=(-100, 0, 100), lift=("0 mm", "9 deg", "0 mm"),
                          lobe_centre_deg=110),
     "LiftTable: lift[1] = '9 deg' is an angle, must be a length in m such as '42 mm'."),
    (lambda: ws.Pipe("0.5 m", "1 mm"),
     "Pipe: diameter = 0.001 m is outside the valid range 0.003 m to 0.5 m, given as '1 mm'."),
    (lambda: ws.Pipe("1/0 inch", 0.04), "Pipe: length = '1/0 inch' divides by 0."),
    (lambda: ws.Wall("16.5 gauge"),
     "Wall: thickness = '16.5 gauge' is no gauge, valid are the whole numbers 7 to 24."),
])  # fmt: skip
def test_wrong_dimension_is_refused_in_one_sentence(action, message):
    with pytest.raises(InputError) as caught:
        action()
    assert str(caught.value) == message


@pytest.mark.parametrize("text", ["1e999 m", "5 m/", "5 (", "5 %%", "5 m^", "5 K2 degC"])
def test_what_is_no_unit_is_refused(text):
    with pytest.raises(InputError, match="unknown unit"):
        ws.Pipe(text, 0.04)


def test_unknown_unit_is_told_with_the_nearest():
    with pytest.raises(InputError, match="unknown unit 'mmm'.*did you mean 'mm'"):
        ws.Pipe("42 mmm", 0.04)


# --- every field that has a unit ----------------------------------------------------------------


def examples():
    for group in (PARTS, OTHERS):
        for kind, some in group.items():
            yield from ((kind, one) for one in some)
    for groups in NODES.values():
        for group in groups:
            yield from ((type(one), one) for one in group)


def with_units():
    """Pairs (example, field) by name, of fields that have a unit and a value."""
    found = {}
    for kind, one in examples():
        for field in dataclasses.fields(kind):
            value = getattr(one, field.name)
            numeric = isinstance(value, (int, float)) or (
                isinstance(value, tuple) and value and isinstance(value[0], float))
            by_outer = field.name == "diameter" and getattr(one, "outer_diameter", None)
            if field.metadata.get("unit", "1") != "1" and numeric and not by_outer:
                found.setdefault(f"{kind.__name__}.{field.name}", (one, field))
    return found


FIELDS = with_units()


def as_text(value, unit):
    if isinstance(value, tuple):
        return [as_text(one, unit) for one in value]
    return f"{value!r} {unit}"


@pytest.mark.parametrize("name", FIELDS)
def test_field_takes_its_unit_and_refuses_another(name):
    one, field = FIELDS[name]
    value, unit = getattr(one, field.name), field.metadata["unit"]
    assert one.replace(**{field.name: as_text(value, unit)}) == one
    with pytest.raises(InputError, match=f"{field.name}.* must be .* in {re.escape(unit)}"):
        one.replace(**{field.name: as_text(value, "mol K")})


# --- studies ------------------------------------------------------------------------------------

SI = """
rpm = [3000, 4000]
[engine]
firing_order = [1]
bore = 0.0953
stroke = 0.0635
rod = 0.12
compression_ratio = 11
intake_valve = {diameter = 0.038, lift = {opens_deg = 20, closes_deg = 50, lift = 0.0105}}
exhaust_valve = {diameter = 0.0325, lift = {opens_deg = 50, closes_deg = 15, lift = 0.0098}}
intake_port = {length = 0.08, diameter = 0.038}
exhaust_port = {length = 0.0635, diameter = 0.036, wall_temperature = 523.15}
[engine.intake]
runner = {length = 0.15, diameter = 0.042}
plenum_volume = 0.005
throttle_diameter = 0.042
inlet = {length = 0.1, diameter = 0.06}
[exhaust]
primary = {length = 0.5, diameter = 0.04191, wall = {thickness = 0.001651}}
collector = {length = 0.3, diameter = 0.05, roughness = 4e-5}
[ambient]
pressure = 97500
temperature = 298.15
"""
STATED = {
    "0.0953": '"95.3 mm"', "0.0635": '"2.5 inch"', "0.12": '"120 mm"', "lift = 0.0105":
    'lift = "10.5 mm"', "opens_deg = 20": 'opens_deg = "20 deg"', "523.15": '"250 degC"',
    "0.005": '"5 litre"', "0.04191": '"1.65 inch"', "0.001651": '"16 gauge"', "4e-5": '"0.04 mm"',
    "97500": '"975 mbar"', "298.15": '"25 degC"', "[3000, 4000]": '["3000 rpm", "4000 rev/min"]',
}  # fmt: skip


def test_study_with_units_is_the_one_in_si_to_the_bit(tmp_path):
    stated = SI
    for plain, text in STATED.items():
        assert plain in stated
        stated = stated.replace(plain, text)
    for name, content in (("si.toml", SI), ("stated.toml", stated)):
        (tmp_path / name).write_text(content)
    study, same = ws.load(tmp_path / "stated.toml"), ws.load(tmp_path / "si.toml")
    assert study == same
    assert json.dumps(ws.describe(study)) == json.dumps(ws.describe(same))
    ws.save(study, tmp_path / "saved.toml")
    assert ws.load(tmp_path / "saved.toml") == same
    numbers = tomllib.loads((tmp_path / "saved.toml").read_text())
    assert numbers["engine"]["bore"] == 0.0953  # plain numbers are SI, and so are files written


def test_changes_of_a_study_take_units_too():
    study = ws.load(ws.demo_path("collector"))
    base = study.exhausts[study.base]
    assert base.with_primary(length="30 inch").primary[0].length == 0.762
    assert ws.vary(base, "primary.length", "762 mm") == ws.vary(base, "primary.length", 0.762)
    table = {"primary": {"length": "762 mm", "diameter": "38 mm"},
             "collector": {"length": "30 cm", "diameter": "58 mm"}}
    assert build(ws.Exhaust, table, ws.demo_path("collector").parent, "exhaust").primary == (
        ws.Pipe(0.762, 0.038),)


def test_speeds_of_a_range_take_units(tmp_path):
    path = tmp_path / "range.toml"
    path.write_text(SI.replace("[3000, 4000]",
                               '{start = "3000 rpm", stop = "4000 rpm", step = 500}'))
    assert ws.load(path).rpm == (3000.0, 3500.0, 4000.0)
