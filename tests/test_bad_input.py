"""Wrong descriptions: each is refused in one sentence that says who, what, and what is allowed."""

import math

import pytest

from wavesim.descriptions.combustion import ChenFlynn, Wiebe, Woschni
from wavesim.descriptions.engine import vee_firing_intervals
from wavesim.descriptions.exhaust import Exhaust, Merge
from wavesim.descriptions.intake import Intake
from wavesim.descriptions.network import Network
from wavesim.descriptions.nodes import (
    AnechoicEnd,
    AreaStep,
    ClosedEnd,
    Junction,
    OpenEnd,
    Orifice,
    Throttle,
    ValvePort,
    Volume,
)
from wavesim.descriptions.pipes import Duct, Pipe
from wavesim.descriptions.settings import Settings
from wavesim.descriptions.study import demo_path, load
from wavesim.descriptions.valves import Cam, FlowCoefficients, LiftTable, Valve, seat_events
from wavesim.descriptions.weather import Ambient
from wavesim.errors import InputError, check_int
from wavesim.fields.description import Named, restore, vary
from wavesim.fields.tables import Table

STUDY = load(demo_path("collector"))
ENGINE = STUDY.engine
EXHAUST = STUDY.exhausts[STUDY.base]
CAM = Cam(opens_deg=20, closes_deg=50, lift=0.009, checking_lift=0.001)
PAIR = ("a.end", "b.start")
NAN, INF = math.nan, math.inf


def lift_table(angle_deg=(-100, 0, 100), lift=(0, 0.009, 0), lobe_centre_deg=110):
    return LiftTable(angle_deg=angle_deg, lift=lift, lobe_centre_deg=lobe_centre_deg)


def flow(lift_ratio=(0.1, 0.3), forward=(0.7, 0.5), **more):
    return FlowCoefficients(lift_ratio=lift_ratio, forward=forward, **more)


def engine(**changes):
    return lambda: ENGINE.replace(**changes)


def exhaust(**changes):
    return lambda: EXHAUST.replace(**changes)


def study(**changes):
    return lambda: STUDY.replace(**changes)


def settings(**changes):
    return lambda: Settings(**changes)


def network(nodes):
    ducts = {"a": Pipe(1.0, 0.04), "b": Pipe(1.0, 0.05)}
    return lambda: Network(ducts, nodes).validate()


CLOSED = {"w": ClosedEnd("a.start"), "x": ClosedEnd("b.end")}

# name of the case: (what is done, fragments of the message)
CASES = {
    # --- numbers of every wrong sort -----------------------------------------------------------
    "negative length": (
        lambda: Pipe(-0.75, 0.038), ["Pipe: length = -0.75 m", "0.001 m to 30 m"]),
    "zero diameter": (
        lambda: Pipe(0.75, 0.0), ["Pipe: diameter = 0 m", "0.003 m to 0.5 m"]),
    "length not a number": (
        lambda: Pipe(NAN, 0.038), ["Pipe: length = nan m", "not a finite", "0.001 m to 30 m"]),
    "infinite length": (
        lambda: Pipe(INF, 0.038), ["Pipe: length = inf m", "not a finite", "0.001 m to 30 m"]),
    "integer beyond all floats": (
        lambda: Pipe(10**400, 0.038), ["Pipe: length = inf m", "not a finite", "0.001 m to 30 m"]),
    "text for a length": (
        lambda: Pipe("0.75", 0.038), ["Pipe: length = '0.75' is not a number", "0.001 m to"]),
    "truth for a length": (
        lambda: Pipe(True, 0.038), ["Pipe: length = True is not a number", "0.001 m to 30 m"]),
    "nothing for a length": (
        lambda: Pipe(None, 0.038), ["Pipe: length = None is not a number", "0.001 m to 30 m"]),
    "millimetres": (
        lambda: Pipe(0.75, 42), ["diameter = 42 m", "0.003 m to 0.5 m", "42 mm is 0.042"]),
    "metres that were millimetres": (
        lambda: Pipe(75, 0.038), ["length = 75 m", "75 mm is 0.075"]),
    "degrees Celsius": (
        lambda: Pipe(1, 0.04, wall_temperature=100),
        ["wall_temperature = 100 K", "200 K to 1500 K", "100 degC is 373.15"]),
    "bar": (
        lambda: AnechoicEnd("a.end", pressure=1.0),
        ["AnechoicEnd: pressure = 1 Pa", "1000 Pa to 10000000 Pa", "1 bar is 100000"]),
    "litres": (
        lambda: Volume(PAIR, volume=4),
        ["Volume: volume = 4 m3", "1e-06 m3 to 1 m3", "4 litres is 0.004"]),
    "rough as a file": (
        lambda: Pipe(0.75, 0.038, roughness=0.003), ["roughness = 0.003 m", "0 m to 0.0019 m"]),
    "negative friction factor": (
        lambda: Pipe(1, 0.04, friction_factor_scale=-1),
        ["friction_factor_scale = -1", "0 to 10 (no unit)"]),
    "ambient on a mountain of no planet": (
        lambda: Ambient(pressure=1e4), ["Ambient: pressure = 10000 Pa", "30000 Pa to 300000 Pa"]),
    "ambient hot as an oven": (
        lambda: Ambient(temperature=500), ["temperature = 500 K", "220 K to 340 K"]),
    "whole number with a fraction": (
        lambda: check_int("Valve", "count", 1.5, 1, 4),
        ["Valve: count = 1.5", "whole number", "1 to 4 (no unit)"]),
    # --- pipes, ducts, nodes -------------------------------------------------------------------
    "duct with a jump": (
        lambda: Duct(parts=(Pipe(1, 0.04), Pipe(1, 0.05))),
        ["Duct: parts[1].diameter = 0.05 m", "0.04 m", "AreaStep"]),
    "duct without parts": (lambda: Duct(parts=()), ["Duct: parts = ()", "at least one Pipe"]),
    "line of lengths": (lambda: Duct(parts=(0.75,)), ["Duct: parts = (0.75,)", "Pipe"]),
    "end that is no text": (lambda: ClosedEnd((7,)), ["ClosedEnd: at = (7,)", "'pipe.end'"]),
    "orifice with one end": (
        lambda: Orifice("a.end", diameter=0.02), ["Orifice: at = 'a.end'", "2 duct end"]),
    "orifice coefficient of three": (
        lambda: Orifice(PAIR, diameter=0.02, discharge_coefficient=(0.8, 0.7, 0.6)),
        ["Orifice: discharge_coefficient = (0.8, 0.7, 0.6)", "1 or 2"]),
    "orifice coefficient zero": (
        lambda: Orifice(PAIR, diameter=0.02, discharge_coefficient=0),
        ["discharge_coefficient = 0", "0 (excluded) to 1.2 (no unit)"]),
    "volume with too few coefficients": (
        lambda: Volume(("a.end", "b.end", "c.end"), volume=1e-3, discharge_coefficient=(1, 1)),
        ["Volume: discharge_coefficient", "needs 1 or 3"]),
    "contraction wider than the pipe": (
        lambda: AreaStep(PAIR, contraction_coefficient=1.5),
        ["contraction_coefficient = 1.5", "0.5 to 1 (no unit)"]),
    "throttle past wide open": (
        lambda: Throttle(PAIR, diameter=0.06, plate_angle_deg=95),
        ["Throttle: plate_angle_deg = 95 deg", "0 deg to 90 deg"]),
    "throttle below closed": (
        lambda: Throttle(PAIR, diameter=0.06, plate_angle_deg=5),
        ["Throttle: plate_angle_deg = 5 deg", "8 deg to 90 deg"]),
    "shaft thicker than half the throttle": (
        lambda: Throttle(PAIR, diameter=0.06, shaft_diameter=0.04),
        ["shaft_diameter = 0.04 m", "0 m to 0.03 m"]),
    "unknown radiation": (
        lambda: OpenEnd("a.end", radiation="unflangd"),
        ["OpenEnd: radiation = 'unflangd'", "'unflanged', 'flanged', 'none'",
         "did you mean 'unflanged'?"]),
    "intake flag as text": (
        lambda: OpenEnd("a.end", intake="yes"), ["OpenEnd: intake = 'yes'", "True, False"]),
    "ambient as a number": (
        lambda: OpenEnd("a.end", ambient=101325.0), ["OpenEnd: ambient = 101325.0", "Ambient"]),
    "unknown fill": (
        lambda: Volume(PAIR, volume=1e-3, fill="burnt"),
        ["Volume: fill = 'burnt'", "'fresh', 'burned', 'air'", "did you mean 'burned'?"]),
    "unknown junction model": (
        lambda: Junction(PAIR, model="momentun"),
        ["Junction: model = 'momentun'", "'momentum', 'pressure'", "did you mean 'momentum'?"]),
    "junction with both kinds of direction": (
        lambda: Junction(PAIR, directions=[(1, 0, 0)] * 2, angles_deg=(0, 90)),
        ["Junction: give directions or angles_deg"]),
    "junction with an angle missing": (
        lambda: Junction(PAIR, angles_deg=(0,)), ["angles_deg has 1 entries", "must have 2"]),
    "junction with a flat direction": (
        lambda: Junction(PAIR, directions=[(1, 0), (0, 1)]),
        ["Junction: directions[0] = (1.0, 0.0)", "three numbers"]),
    "valve port of cylinder zero": (
        lambda: ValvePort("a.end", cylinder=0, side="exhaust"),
        ["ValvePort: cylinder = 0", "1 to 64 (no unit)"]),
    "valve port of an unknown side": (
        lambda: ValvePort("a.end", cylinder=1, side="exhast"),
        ["ValvePort: side = 'exhast'", "'intake', 'exhaust'", "did you mean 'exhaust'?"]),
    # --- networks ------------------------------------------------------------------------------
    "open port": (network(CLOSED), ["Network", "'a.end' is open", "'b.start' is open"]),
    "end connected twice": (
        network({**CLOSED, "s": AreaStep(PAIR), "again": ClosedEnd("a.end")}),
        ["'a.end' is connected 2 times, by 's', 'again'"]),
    "unknown duct": (
        network({**CLOSED, "s": AreaStep(PAIR), "y": ClosedEnd("aa.end")}),
        ["node 'y': 'aa.end' names an unknown duct", "did you mean 'a'?"]),
    "side that is neither start nor end": (
        network({**CLOSED, "s": AreaStep(PAIR), "y": ClosedEnd("a.middle")}),
        ["node 'y': 'a.middle' must end in '.start' or '.end'"]),
    "orifice larger than the pipe": (
        network({**CLOSED, "o": Orifice(PAIR, diameter=0.045)}),
        ["node 'o': diameter = 0.045 m", "'a.end'", "at most 0.04 m"]),
    "nozzle larger than the pipe": (
        network({"w": ClosedEnd("a.start"), "s": AreaStep(PAIR),
                 "mouth": OpenEnd("b.end", diameter=0.06)}),
        ["node 'mouth': diameter = 0.06 m", "'b.end'", "at most 0.05 m"]),
    "junction with one branch": (
        network({**CLOSED, "j": Junction("a.end"), "y": ClosedEnd("b.start")}),
        ["junction 'j' has 1 branch", "at least 2"]),
    "two valve ports for one": (
        network({"v": ValvePort("a.start", cylinder=1, side="exhaust"), "s": AreaStep(PAIR),
                 "u": ValvePort("b.end", cylinder=1, side="exhaust")}),
        ["cylinder 1 has 0 intake valve ports", "cylinder 1 has 2 exhaust valve ports"]),
    "empty network": (lambda: Network({}, {}).validate(), ["the network is empty"]),
    "name given twice": (
        lambda: Network([("a", Pipe(1, 0.04)), ("a", Pipe(2, 0.04))], {}),
        ["Network.ducts: the name 'a' is given twice"]),
    "name that is no text": (lambda: Network({7: Pipe(1, 0.04)}, {}), ["Network.ducts: 7"]),
    "node that is none": (
        lambda: Network({"a": Pipe(1, 0.04)}, {"x": "a.end"}), ["node 'x' = 'a.end'", "Node"]),
    "duct that is none": (lambda: Network({"a": 1.0}, {}), ["duct 'a': parts = 1.0", "Pipe"]),
    # --- valves --------------------------------------------------------------------------------
    "valve that never opens": (
        lambda: lift_table(lift=(0, 0, 0)),
        ["LiftTable: peak of lift = 0 m", "0.0005 m to 0.03 m", "never opens"]),
    "lift table not sorted": (
        lambda: lift_table(angle_deg=(-100, 50, 0), lift=(0, 0.009, 0)),
        ["LiftTable: angle_deg[2] = 0", "50", "increase strictly"]),
    "lift table that does not close": (
        lambda: lift_table(lift=(0, 0.009, 0.001)), ["lift[-1] = 0.001 m", "0 m to 5e-05 m"]),
    "lift table of unequal lists": (
        lambda: lift_table(lift=(0, 0.009)), ["angle_deg has 3 and lift 2 values"]),
    "lift in millimetres": (
        lambda: lift_table(lift=(0, 9, 0)), ["lift[1] = 9 m", "0 m to 0.03 m", "9 mm is 0.009"]),
    "lift as one number": (lambda: lift_table(lift=0.009), ["LiftTable: lift = 0.009", "sequence"]),
    "negative lift": (lambda: lift_table(lift=(0, -1, 0)), ["lift[1] = -1 m", "0 m to 0.03 m"]),
    "checking lift above lift": (
        lambda: CAM.replace(checking_lift=0.01),
        ["Cam: checking_lift = 0.01 m", "0 m (excluded) to 0.009 m (excluded)"]),
    "checking lift at the peak": (
        lambda: CAM.replace(checking_lift=0.00899),
        ["Cam: base_duration_deg", "0 deg to 700 deg", "too near the peak"]),
    "cam that is open too long": (
        lambda: CAM.replace(opens_deg=150, closes_deg=150),
        ["Cam: duration_deg = 480 deg", "60 deg to 400 deg"]),
    "unknown lobe": (
        lambda: CAM.replace(lobe="ful"), ["Cam: lobe = 'ful'", "'medium'", "did you mean 'full'?"]),
    "lash above lift": (
        lambda: Valve(diameter=0.03, lift=CAM.replace(lift=0.0015), lash=0.0018),
        ["Valve: lash = 0.0018 m", "0 m to 0.0015 m (excluded)", "never opens"]),
    "lash that keeps the valve below the lift of its timing": (
        lambda: Valve(diameter=0.03, lift=CAM.replace(lift=0.0015, checking_lift=0.001),
                      lash=0.0006),
        ["Valve: checking_lift = 0.001 m", "0 m (excluded) to 0.0009 m", "never opens so far"]),
    "five valves": (
        lambda: Valve(diameter=0.03, lift=CAM, count=5),
        ["Valve: count = 5", "1 to 4 (no unit)"]),
    "lift of another kind": (
        lambda: Valve(diameter=0.03, lift=0.009),
        ["Valve: lift = 0.009", "Cam or CamCard or LiftTable"]),
    "flow coefficient above reason": (
        lambda: flow(forward=(0.7, 1.5)), ["forward[1] = 1.5", "to 1.2 (no unit)"]),
    "head coefficient at zero lift": (
        lambda: flow(lift_ratio=(0, 0.3), reference="head"),
        ["lift_ratio[0] = 0", "0 (excluded) to 0.6", "closed valve"]),
    "reverse coefficients too few": (
        lambda: flow(reverse=(0.6,)), ["lift_ratio has 2 and reverse 1 values"]),
    "events at a lift never reached": (
        lambda: seat_events(Valve(diameter=0.03, lift=CAM), "intake", 0.02),
        ["Valve: checking_lift = 0.02 m", "0 m (excluded) to 0.009 m"]),
    # --- engine --------------------------------------------------------------------------------
    "firing order that misses a cylinder": (
        engine(firing_order=(1, 3, 5, 2)),
        ["Engine: firing_order = (1, 3, 5, 2) (no unit)", "1 to 4 exactly once"]),
    "firing order that repeats a cylinder": (
        engine(firing_order=(1, 3, 3, 2)), ["firing_order = (1, 3, 3, 2)", "1 to 4 exactly once"]),
    "no firing order": (engine(firing_order=()), ["Engine: firing_order = ()"]),
    "firing order as text": (engine(firing_order="1342"), ["firing_order = '1342'", "sequence"]),
    "intervals that miss the cycle": (
        engine(firing_intervals_deg=(180, 180, 180, 90)),
        ["Engine: firing_intervals_deg: the sum = 630 deg", "720 deg"]),
    "intervals too few": (
        engine(firing_intervals_deg=(360, 360)),
        ["firing_intervals_deg = (360.0, 360.0) has 2 entries, must have 4"]),
    "banks too few": (engine(banks=(1, 2)), ["Engine: banks = (1, 2) has 2", "must have 4"]),
    "compression ratio of one": (
        engine(compression_ratio=1),
        ["compression_ratio = 1", "1 (excluded) to 25 (no unit)"]),
    "rod shorter than the throw": (
        engine(rod=0.04), ["Engine: rod = 0.04 m", "0.043 m (excluded) to 1 m", "crank throw"]),
    "pin offset too large": (
        engine(rod=0.06, pin_offset=0.01), ["pin_offset = 0.01 m", "-0.0085 m to 0.0085 m"]),
    "bore in millimetres": (
        engine(bore=86), ["Engine: bore = 86 m", "0.02 m to 0.3 m", "86 mm is 0.086"]),
    "valve wider than the bore": (
        engine(bore=0.03),
        ["intake_valve.diameter = 0.033 m", "0.005 m to 0.03 m (excluded)"]),
    "mixture that does not burn": (
        engine(air_fuel_lambda=2.5),
        ["air_fuel_lambda = 2.5", "0.6 to 1.6 (no unit)"]),
    "unknown fuel": (
        engine(fuel="gasolin"),
        ["Engine: fuel = 'gasolin'", "'iso-octane'", "did you mean 'gasoline'?"]),
    "intake of another kind": (
        engine(intake=EXHAUST), ["Engine: intake = ", "must be of type Intake"]),
    "crankshaft that cannot fire so": (
        lambda: vee_firing_intervals((1, 4, 3, 2), (1,) * 4, (0, 180, 180, 0), 0),
        ["firing_order = (1, 4, 3, 2)", "the sum = 1080 deg must be 720 deg"]),
    "crankshaft with a pin missing": (
        lambda: vee_firing_intervals((1, 2), (1, 2), (0,), 90),
        ["vee_firing_intervals: pin_angles_deg = (0,)", "must have 2"]),
    "closed plenum": (
        lambda: ENGINE.intake.replace(plate_angle_deg=100),
        ["Intake: plate_angle_deg = 100 deg", "8 deg to 90 deg"]),
    "burn duration zero": (
        lambda: Wiebe(burn_10_90_deg=0), ["Wiebe: burn_10_90_deg = 0 deg", "5 deg to 120 deg"]),
    "burn duration zero in a table": (
        lambda: Wiebe(burn_10_90_deg=Table([1000, 2000], [20, 0])),
        ["Wiebe: burn_10_90_deg table = 0 deg", "5 deg to 120 deg"]),
    "combustion that starts before compression": (
        lambda: Wiebe(burn_10_90_deg=120, shape=8),
        ["Wiebe: burn_10_90_deg = 120 deg", "-180 deg to 360 deg"]),
    "cold piston": (
        lambda: Woschni(piston_temperature=20),
        ["piston_temperature = 20 K", "300 K to 900 K"]),
    "friction in bar": (
        lambda: ChenFlynn(constant=-0.4), ["ChenFlynn: constant = -0.4 Pa", "0 Pa to 300000 Pa"]),
    # --- exhaust -------------------------------------------------------------------------------
    "no primary": (exhaust(primary=None), ["Exhaust: give exactly one of primary and primaries"]),
    "both kinds of primary": (
        exhaust(primaries=[Pipe(0.7, 0.04)] * 4), ["exactly one of primary and primaries"]),
    "merge without a collector": (exhaust(collector=()), ["Exhaust: merge needs a collector"]),
    "change of a part that is not there": (
        lambda: EXHAUST.with_tailpipe(length=1.0), ["Exhaust: tailpipe = () has no Pipe"]),
    "merge that looks backwards": (
        lambda: Merge(angle_deg=120), ["Merge: angle_deg = 120 deg", "0 deg to 90 deg"]),
    # --- settings, study, tables ---------------------------------------------------------------
    "courant number above one": (
        settings(cfl=1.5), ["Settings: cfl = 1.5", "0.05 to 1 (no unit)"]),
    "unknown scheme": (
        settings(scheme="finite volumes"),
        ["Settings: scheme = 'finite volumes'", "'characteristics'",
         "did you mean 'finite volume'?"]),
    "samples that miss the cycle": (
        settings(sample_deg=0.7), ["Settings: sample_deg = 0.7 deg", "divide 720 deg"]),
    "fewest cycles above most": (
        settings(min_cycles=9, max_cycles=5), ["Settings: min_cycles = 9", "1 to 5"]),
    "no speeds": (study(rpm=()), ["Study: rpm = ()", "100 to 30000"]),
    "negative speed": (
        study(rpm=(-2000, 3000)), ["rpm[0] = -2000 rev/min", "100 rev/min to 30000 rev/min"]),
    "speeds that fall": (
        study(rpm=(3000, 2000)), ["rpm = 2000 rev/min follows 3000", "increase strictly"]),
    "study without an exhaust": (study(exhausts={}), ["Study: exhausts = {}", "at least one"]),
    "exhaust of another kind": (
        study(exhausts={"a": ENGINE}), ["Study: exhausts 'a' = ", "must be of type Exhaust"]),
    "engine of no variant": (
        study(engines={"longcollector": ENGINE}),
        ["Study: engines: no variant 'longcollector'", "did you mean 'long collector'?"]),
    "exhaust that does not fit": (
        study(exhausts={"x": Exhaust(primaries=[Pipe(0.7, 0.04)] * 3, merge=None)}),
        ["exhaust 'x': Exhaust: primaries has 3 lines, must have 4"]),
    "table of one point": (lambda: Table([1], [2]), ["Table: x = (1.0,)", "at least 2"]),
    "table not increasing": (
        lambda: Table([1, 3, 3], [1, 2, 3], name="spark"),
        ["Table 'spark': x[2] = 3", "greater than the value before it", "3"]),
    "table with a hole": (lambda: Table([1, 2], [1, NAN]), ["Table: y[1] = nan", "not a finite"]),
    # --- paths and plain data ------------------------------------------------------------------
    "unknown field in a path": (
        lambda: vary(EXHAUST, "colector.length", 0.3),
        ["colector.length: Exhaust: no field 'colector'", "did you mean 'collector'?"]),
    "unknown last field in a path": (
        lambda: vary(ENGINE, "intake.runner.lenght", 0.3),
        ["intake.runner.lenght: Pipe: no field 'lenght'", "did you mean 'length'?"]),
    "refused value by path": (
        lambda: vary(EXHAUST, "collector.length", 600),
        ["collector.length: Pipe: length = 600 m", "0.001 m to 30 m", "600 mm is 0.6"]),
    "index past the end": (
        lambda: vary(EXHAUST, "collector.3.length", 0.3), ["'3' does not choose one of the 1"]),
    "item not chosen": (
        lambda: vary(EXHAUST.replace(collector=[Pipe(1, 0.05)] * 2), "collector.length", 0.3),
        ["'length' does not choose one of the 2 items"]),
    "path through a number": (
        lambda: vary(ENGINE, "bore.mm", 0.086), ["bore.mm: 0.086 has no field 'mm'"]),
    "path to an unknown name": (
        lambda: vary(STUDY, "exhausts.long colector.radiation", "none"),
        ["'long colector' must be one of", "did you mean 'long collector'?"]),
    "unknown field in a copy": (
        lambda: EXHAUST.with_collector(bore=0.06), ["Pipe: no field 'bore' among length"]),
    "unknown type in plain data": (
        lambda: restore({"type": "Pip", "length": 1}),
        ["restore: type = 'Pip'", "did you mean 'Pipe'?"]),
    "missing field in plain data": (
        lambda: restore({"type": "Pipe", "length": 1}), ["Pipe: missing field diameter"]),
    "empty name": (lambda: Named({" ": 1}), ["Named: ' ' is no name"]),
    "inlet of nothing": (
        lambda: Intake(runner=(), plenum_volume=1e-3, throttle_diameter=0.05, inlet=Pipe(1, 0.05)),
        ["Intake: runner = ()", "at least one Pipe"]),
}  # fmt: skip


@pytest.mark.parametrize("case", CASES)
def test_wrong_description_is_refused_in_one_telling_sentence(case):
    action, fragments = CASES[case]
    with pytest.raises(InputError) as caught:
        action()
    message = str(caught.value)
    for fragment in fragments:
        assert fragment in message
    assert message[-1] in ".?" and "\n" not in message
    assert ". " not in message and "? " not in message


@pytest.mark.parametrize(
    ("content", "columns", "fragments"),
    [
        (None, (None, None), ["curve.csv: cannot read the file"]),
        ("# only a remark\n", (None, None), ["curve.csv: the file is empty", "header"]),
        ("rpm,deg\n1,2\n2,3\n", ("rmp", None), ["column = 'rmp'", "'rpm', 'deg'", "mean 'rpm'?"]),
        ("rpm\n1\n2\n", (None, None), ["curve.csv: needs 2 columns, found 1"]),
        ("rpm,deg\n1,2\n2,\n", (None, None), ["curve.csv: line 3 has no number in column 2"]),
        ("rpm,deg\n1,2\n2,x\n", (None, None), ["curve.csv: line 3 has no number in column 2"]),
        ("rpm,deg\n1,2\n", (None, None), ["Table 'curve.csv': x = (1.0,)", "at least 2"]),
        ("rpm,deg\n2,2\n1,2\n", (None, None), ["Table 'curve.csv': x[1] = 1", "increase"]),
        ("rpm,deg\n1,2\n2,nan\n", (None, None), ["'curve.csv': y[1] = nan", "not a finite"]),
    ],
)
def test_wrong_csv_is_refused_with_the_name_of_the_file(tmp_path, content, columns, fragments):
    path = tmp_path / "curve.csv"
    if content is not None:
        path.write_text(content)
    with pytest.raises(InputError) as caught:
        Table.from_csv(path, *columns)
    for fragment in fragments:
        assert fragment in str(caught.value)


def test_csv_in_a_missing_directory_is_named(tmp_path):
    with pytest.raises(InputError, match="cannot read the file .*nowhere"):
        Table.from_csv(tmp_path / "nowhere" / "curve.csv")
