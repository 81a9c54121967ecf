"""Study files: reading, refusing, writing."""

import pytest

from wavesim.descriptions.pipes import Pipe
from wavesim.descriptions.study import Study, demo_path, load, save
from wavesim.descriptions.valves import Cam, LiftTable, seat_events
from wavesim.errors import InputError
from wavesim.fields.tables import Table
from wavesim.fields.toml_form import differences, set_path
from wavesim.gas.fuels import FUELS

DEMO = demo_path("collector").read_text(encoding="utf-8")
STUDY = load(demo_path("collector"))


@pytest.fixture
def write(tmp_path):
    """Function that writes a changed copy of the demo beside its CSV files and loads it."""
    for csv in demo_path("collector").parent.glob("*.csv"):
        (tmp_path / csv.name).write_text(csv.read_text())

    def load_changed(old="", new=""):
        assert old in DEMO
        path = tmp_path / "study.toml"
        path.write_text(DEMO.replace(old, new, 1))
        return load(path)

    return load_changed


def test_demo_is_the_promised_engine():
    engine = STUDY.engine
    assert engine.displacement == pytest.approx(2e-3, rel=0.02)
    assert len(STUDY.rpm) == 12 and (STUDY.rpm[0], STUDY.rpm[-1]) == (2000.0, 7000.0)
    assert STUDY.base == "short collector" and list(STUDY.exhausts)[1:] == ["long collector"]
    assert STUDY.exhausts["short collector"].collector[0].length == 0.15
    assert STUDY.exhausts["long collector"].collector[0].length == 0.60
    assert engine.intake.plate_angle_deg == 90.0
    assert isinstance(engine.intake_valve.lift, LiftTable)
    assert isinstance(engine.exhaust_valve.lift, Cam)
    assert isinstance(engine.combustion.burn_10_90_deg, Table)


def test_demo_valves_are_sporty_not_wild():
    for side, valve in (("intake", STUDY.engine.intake_valve),
                        ("exhaust", STUDY.engine.exhaust_valve)):
        opens, closes = seat_events(valve, side, checking_lift=0.001)
        assert 220.0 < closes - opens < 245.0
        assert 0.009 <= max(valve.lift.lift if side == "intake" else [valve.lift.lift]) <= 0.010


def test_variants_change_only_what_they_set():
    long = STUDY.exhausts["long collector"]
    back = long.with_collector(length=0.15).replace(name="short collector")
    assert back == STUDY.exhausts["short collector"]
    assert STUDY.engines == {} and STUDY.engine_of("long collector") == STUDY.engine


def test_variant_may_change_engine_and_lines(write):
    study = write(
        'set = {"exhaust.collector.length" = 0.60}',
        'set = {"engine.exhaust_valve.advance_deg" = 5, "exhaust.merge.angle_deg" = 20, '
        '"exhaust.tailpipe" = [{length = 1.0, diameter = 0.058}, {length = 0.5, diameter = 0.05}]}',
    )
    name = "long collector"
    assert study.engine_of(name).exhaust_valve.advance_deg == 5.0
    assert study.engine.exhaust_valve.advance_deg == 0.0
    assert study.exhausts[name].merge.angle_deg == 20.0
    assert study.exhausts[name].tailpipe == (Pipe(1.0, 0.058), Pipe(0.5, 0.05))


def test_rpm_range_includes_its_stop(write):
    old = DEMO[DEMO.index("\nrpm = [") : DEMO.index("\n\n# --- the engine")]
    study = write(old, "\nrpm = {start = 2000, stop = 3000, step = 250}")
    assert study.rpm == (2000.0, 2250.0, 2500.0, 2750.0, 3000.0)


def test_none_means_none(write):
    study = write("wall_temperature = 700", 'wall_temperature = "none"')
    assert study.exhausts[study.base].collector[0].wall_temperature is None


@pytest.mark.parametrize(
    "change",
    [
        {},
        {"name": 'quotes " and \\ and Ä'},
        {"engines": {"long collector": STUDY.engine.replace(air_fuel_lambda=1.0)}},
        {"engine": STUDY.engine.replace(fuel=FUELS["E85"], banks=(1, 1, 1, 1))},
        {"engine": STUDY.engine.replace(
            intake_valve=STUDY.engine.intake_valve.replace(
                lift=Cam(opens_deg=10, closes_deg=50, lift=0.01)))},
        {"exhausts": {
            "a": STUDY.exhausts["short collector"],
            "stacks": STUDY.exhausts["short collector"].replace(merge=None, collector=()),
            "b.c": STUDY.exhausts["short collector"].replace(
                primary=None, primaries=[Pipe(0.7, 0.04)] * 4, tailpipe=(Pipe(1, 0.05),) * 2)}},
    ],
)  # fmt: skip
def test_saved_study_loads_as_equal(change, tmp_path):
    study = STUDY.replace(**change)
    path = tmp_path / "out.toml"
    save(study, path)
    assert load(path) == study


def test_only_differences_are_written_for_a_variant(tmp_path):
    save(STUDY, tmp_path / "out.toml")
    last = (tmp_path / "out.toml").read_text().splitlines()[-1]
    assert last == '"exhaust.collector.0.length" = 0.6'


def test_differences_and_set_path_undo_each_other():
    base = {"a": {"b": 1, "c": [{"d": 2}, {"d": 3}]}, "e": [1, 2]}
    other = {"a": {"b": 5, "c": [{"d": 2}, {"d": 4}]}, "e": [1]}
    changes = differences(base, other)
    assert changes == {"a.b": 5, "a.c.1.d": 4, "e": [1]}
    for path, value in changes.items():
        base = set_path(base, path, value)
    assert base == other


def test_star_sets_all_items():
    assert set_path({"c": [{"d": 2}, {"d": 3}]}, "c.*.d", 7) == {"c": [{"d": 7}, {"d": 7}]}


def test_study_gives_each_exhaust_its_name():
    study = Study(
        engine=STUDY.engine,
        exhausts={"plain": STUDY.exhausts["short collector"]},
        rpm=range(2000, 5000, 1000),
    )
    assert study.exhausts["plain"].name == "plain" and study.rpm == (2000.0, 3000.0, 4000.0)


def test_base_without_a_name_is_called_base(write):
    assert write('name = "short collector"\n', "").base == "base"


@pytest.mark.parametrize(
    ("old", "new", "fragments"),
    [
        ("bore = 0.086", "boer = 0.086", ["engine: Engine: no field 'boer'", "'bore'"]),
        ("bore = 0.086 ", "bore = 86 ", ["engine: Engine: bore = 86 m", "0.02 m to 0.3 m",
                                         "86 mm is 0.086"]),
        ("[exhaust.collector]\nlength = 0.15", "[exhaust.collector]\nlength = -0.15",
         ["exhaust.collector: Pipe: length = -0.15 m", "0.001 m to 30 m"]),
        ("[settings]", "[setings]", ["no key 'setings'", "did you mean 'settings'"]),
        ('"exhaust.collector.length"', '"exhaust.colector.length"',
         ["variants 'long collector'", "no field 'colector'", "did you mean 'collector'"]),
        ('"exhaust.collector.length"', '"exhaust.collector.lenght"',
         ["variants 'long collector': exhaust.collector: Pipe", "did you mean 'length'"]),
        ('"exhaust.collector.length"', '"exhaust.collector.length.mm"',
         ["variants 'long collector': exhaust.collector.length.mm", "the path goes too far"]),
        ('"exhaust.collector.length"', '"settings.cfl"', ["no path from 'settings'", "exhaust"]),
        ("set = {", "sets = {", ["variants.0: no key 'sets'", "did you mean 'set'"]),
        ('csv = "intake_lift.csv"', 'csv = "missing.csv"',
         ["engine.intake_valve.lift: missing.csv: cannot read"]),
        ('lift = "lift_mm"', 'lift = "lift_m"',
         ["engine.intake_valve.lift: intake_lift.csv: column = 'lift_m'", "'lift_mm'"]),
        ("lift_scale = 0.001", 'lift_scale = "mm"', ["scale = 'mm'", "not a number"]),
        ("lift_scale = 0.001", "lift_scal = 0.001", ["no key 'lift_scal'", "'lift_scale'"]),
        ("lobe_centre_deg = 109", "", ["engine.intake_valve.lift", "missing key lobe_centre_deg"]),
        ('csv = "exhaust_flow.csv"', "csv = 7", ["csv = 7 must be a file name"]),
        ("[engine.heat]", '[engine.heat]\ncsv = "a.csv"', ["Woschni: no field 'csv'"]),
        ("stroke = 0.086 ", "", ["engine: Engine: missing field stroke"]),
        ("[exhaust.merge]", "[exhaust.merge]\nmodel2 = 1", ["exhaust.merge: Merge", "'model'"]),
        ("bore = 0.086", "bore 0.086", ["this is no valid TOML"]),
        ("[[variants]]", "[variants]", ["variants = ", "[[variants]]"]),
        ("rpm = [2000,", "rpm = [7500,", ["study.toml: Study: rpm = 2500 rev/min", "increase"]),
        ('name = "long collector"', 'name = "short collector"', ["is given twice"]),
    ],
)  # fmt: skip
def test_faults_are_named_with_their_place_in_the_file(write, old, new, fragments):
    with pytest.raises(InputError) as caught:
        write(old, new)
    message = str(caught.value)
    for fragment in fragments:
        assert fragment in message
    assert ". " not in message and "\n" not in message


def test_missing_study_file_is_named(tmp_path):
    with pytest.raises(InputError, match="nowhere.toml: cannot read the file"):
        load(tmp_path / "nowhere.toml")


def test_a_wrong_key_that_parts_share_is_told_once(tmp_path):
    text = demo_path("complete").read_text().replace("diameter = 0.051\n", "diameter = 51\n")
    (tmp_path / "wrong.toml").write_text(text)
    with pytest.raises(InputError) as caught:
        load(tmp_path / "wrong.toml")
    told = [fault.partition(": ")[2] for fault in str(caught.value).splitlines()
            if "diameter = 51 m" in fault]
    assert sum(fault.startswith("exhaust.pipe: diameter = 51 m") for fault in told) == 1
    assert not any("parts" in fault for fault in told)


def test_a_wrong_key_of_one_part_is_told_of_that_part(tmp_path):
    text = demo_path("complete").read_text().replace(
        "{length = 0.10, diameter = 0.058, end", "{length = 0.10, diameter = 58, end")
    (tmp_path / "wrong.toml").write_text(text)
    with pytest.raises(InputError, match=r"exhaust.pipe.parts.0: Pipe: diameter = 58 m"):
        load(tmp_path / "wrong.toml")
