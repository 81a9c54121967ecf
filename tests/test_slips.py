"""Forty slips that users make: what they are told, in a table to be read aloud.

`python tests/test_slips.py` prints the table.
"""

import re
import tempfile
from pathlib import Path

import pytest

import wavesim as ws
from wavesim.fields.toml_form import build

STUDY = ws.load(ws.demo_path("collector"))
ENGINE, EXHAUST = STUDY.engine, STUDY.exhausts["short collector"]
PIPE = ws.Pipe("0.5 m", "42 mm")
CAM = ws.Cam(opens_deg=20, closes_deg=50, lift=0.009, checking_lift=0.001)
COARSE = {"settings": ws.Settings(cell_length=0.05, tolerance=0.02), "progress": False}
LONGEST = 300  # characters


def study_text(right, wrong):
    """Load the collector study with one place changed."""
    def act():
        text = ws.demo_path("collector").read_text(encoding="utf-8")
        assert right in text
        with tempfile.TemporaryDirectory() as folder:
            for path in ws.demo_path("collector").parent.iterdir():
                (Path(folder) / path.name).write_bytes(path.read_bytes())
            (Path(folder) / "study.toml").write_text(text.replace(right, wrong, 1))
            ws.load(Path(folder) / "study.toml")

    return act


#: What was meant: (what is done, what the answer must name).
SLIPS = {
    "millimetres for metres": (
        lambda: ws.Pipe(750, "38 mm"), ["Pipe", "length", "750 m", "0.001 m to 30 m"]),
    "a bore in millimetres": (
        lambda: ws.Pipe(0.75, 38), ["diameter", "38 m", "38 mm is 0.038"]),
    "a number as text": (lambda: ws.Pipe("0.75", "38 mm"), ["length = '0.75'", "m"]),
    "a unit of the wrong kind": (
        lambda: ws.Pipe("0.75 m", "38 degC"), ["diameter", "temperature", "must be a length"]),
    "an unknown unit": (lambda: ws.Pipe("0.75 m", "2 hands"), ["unknown unit 'hands'", "inch"]),
    "degrees Celsius for kelvin": (
        lambda: ws.Pipe(0.75, 0.038, wall_temperature=150), ["150 K", "150 degC is 423.15"]),
    "a misspelt field": (lambda: ws.Pipe(0.75, diamter=0.038), ["diamter", "'diameter'"]),
    "a bore called so": (lambda: ws.Pipe(0.75, bore=0.038), ["'bore'", "'diameter'"]),
    "no diameter": (lambda: ws.Pipe(0.75), ["Pipe", "diameter"]),
    "an unknown metal": (lambda: ws.Wall("1 mm", "chrome"), ["metal", "'chrome'", "mild steel"]),
    "an unknown gauge": (lambda: ws.Wall("60 gauge", "mild steel"), ["thickness", "gauge"]),
    "a word for a muffler": (
        lambda: build(ws.Exhaust, {"primary": {"part": "muffler"}}, Path("."), "exhaust"),
        ["muffler", "perforated silencer"]),
    "a header called so": (lambda: ws.Exhaust(header=PIPE), ["'header'", "'primary'"]),
    "no primary": (lambda: ws.Exhaust(collector=PIPE), ["Exhaust", "primary"]),
    "a merge without a pipe behind it": (
        lambda: ws.Exhaust(primary=PIPE), ["merge", "collector", "None"]),
    "a link of one bank": (
        lambda: ws.run_point(ENGINE, EXHAUST.replace(bank_link=ws.XPipe(), pipe=PIPE), 3000),
        ["bank_link", "banks"]),
    "three primaries for four cylinders": (
        lambda: ws.run_point(ENGINE, ws.Exhaust(primaries=[PIPE] * 3, merge=None), 3000),
        ["primaries", "3", "4"]),
    "an engine without firing order": (
        lambda: ws.Engine(bore=0.086, stroke=0.086, rod=0.143, compression_ratio=10,
                          intake_valve=ENGINE.intake_valve, exhaust_valve=ENGINE.exhaust_valve,
                          intake_port=PIPE, exhaust_port=PIPE, intake=ENGINE.intake),
        ["firing_order", "(1,) for a single"]),
    "a firing order with a cylinder twice": (
        lambda: ENGINE.replace(firing_order=(1, 3, 3, 2)), ["firing_order"]),
    "a six without banks": (
        lambda: ENGINE.replace(firing_order=(1, 2, 3, 4, 5, 6)), ["banks"]),
    "firing intervals of a turn": (
        lambda: ENGINE.replace(firing_intervals_deg=(90, 90, 90, 90), banks=(1,) * 4),
        ["360 deg", "720 deg"]),
    "a rod shorter than the crank": (lambda: ENGINE.replace(rod="40 mm"), ["rod", "0.04 m"]),
    "a compression ratio of bars": (
        lambda: ENGINE.replace(compression_ratio=105), ["compression_ratio", "105", "25"]),
    "an unknown fuel": (lambda: ENGINE.replace(fuel="diesel"), ["fuel", "'diesel'", "gasoline"]),
    "an air-fuel ratio for lambda": (
        lambda: ENGINE.replace(air_fuel_lambda=13.2), ["air_fuel_lambda = 13.2", "0.6", "1.6"]),
    "a lift in millimetres": (
        lambda: CAM.replace(lift=9), ["lift", "9 m", "9 mm is 0.009"]),
    "a checking lift above the lift": (
        lambda: CAM.replace(checking_lift=0.02),
        ["checking_lift", "0.02 m", "below the peak lift"]),
    "valves wider than the bore": (
        lambda: ENGINE.replace(intake_valve=ws.Valve(diameter="95 mm", lift=CAM)),
        ["intake_valve.diameter", "0.095 m", "0.086 m"]),
    "a throttle past wide open": (
        lambda: ENGINE.intake.replace(plate_angle_deg=95), ["plate_angle_deg", "95 deg", "90 deg"]),
    "a silencer case as wide as its pipe": (
        lambda: ws.Chamber("0.4 m", "50 mm", case_diameter="50 mm"), ["Chamber", "case_diameter"]),
    "a speed of zero": (
        lambda: ws.run_point(ENGINE, EXHAUST, 0), ["rpm", "100 rev/min", "30000 rev/min"]),
    "a speed twice": (
        lambda: ws.speed_sweep(ENGINE, EXHAUST, [3000, 3000], **COARSE), ["rpm", "3000"]),
    "engine and exhaust exchanged": (
        lambda: ws.speed_sweep(EXHAUST, ENGINE, [3000], **COARSE), ["Engine", "Exhaust"]),
    "cells of sixteen metres": (
        lambda: ws.Settings(cell_length=16), ["cell_length", "16 m", "16 mm is 0.016"]),
    "a path that leads nowhere": (
        lambda: ws.vary(EXHAUST, "primary.lenght", 0.6), ["lenght", "'length'"]),
    "a space in millimetres": (
        lambda: ws.explore(ENGINE, EXHAUST, {"exhaust.primary.length": [450, 600]}, [3000],
                           **COARSE),
        ["exhaust.primary.length", "450 m", "450 mm is 0.45"]),
    "a misspelt table of a study": (
        study_text("[exhaust.merge]", "[exhaust.merg]"),
        ["merg", "'merge'"]),
    "a curve that is not there": (
        study_text('csv = "intake_lift.csv"', 'csv = "lift.csv"'), ["lift.csv", "there is none"]),
    "a column that is not there": (
        study_text('lift = "lift_mm"', 'lift = "lift"'), ["'lift'", "lift_mm"]),
    "a study that is not there": (
        lambda: ws.load("no_such.toml"), ["no_such.toml", "there is none"]),
}  # fmt: skip


def told(slip):
    """What the user is told of a slip."""
    with pytest.raises((ws.InputError, TypeError)) as caught:
        SLIPS[slip][0]()
    return str(caught.value)


def table():
    """All slips and their answers, as text."""
    return "\n".join(f"{slip:<40s} {told(slip)}" for slip in SLIPS)


def test_there_are_forty_slips():
    assert len(SLIPS) == 40


@pytest.mark.parametrize("slip", SLIPS)
def test_slip_is_answered_in_one_short_sentence_with_name_value_and_cure(slip):
    message = told(slip)
    for word in SLIPS[slip][1]:
        assert word in message
    assert len(message) < LONGEST and "\n" not in message
    assert message[-1] in ".?" and not re.search(r"[a-z]\. [A-Z]", message)


if __name__ == "__main__":
    print(table())
