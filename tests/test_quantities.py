"""What a name, a unit and a sentence say: tables of quantities, CSV files, the page of meanings."""

from math import pi
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from csv_files import csv_comments, csv_rows
from fakes import fake_sweep, fake_value
from quantity_page import page

import wavesim as ws
from wavesim.fields.tables import read_columns
from wavesim.show.quantities import display

#: SI unit, shown unit and their ratio by quantity, once more and by hand.
UNITS = {
    "N m": ("N m", 1.0, ["torque"]),
    "W": ("kW", 1e3, ["power"]),
    "Pa": ("bar", 1e5, [
        "bmep", "imep_gross", "imep_net", "pmep", "pmep_exhaust", "pmep_recompression",
        "pmep_intake", "blowdown_loss", "fmep", "back_pressure", "overlap_exhaust_pressure",
        "overlap_pressure_difference", "overlap_lowest_pressure", "overlap_highest_pressure",
        "peak_pressure", "trapped_pressure", "opening_pressure"]),
    "kg": ("mg", 1e-6, [
        "air_per_cycle", "trapped_air", "short_circuit", "overlap_exhaust_backflow",
        "overlap_intake_backflow"]),
    "kg/s": ("g/s", 1e-3, ["air_mass_flow", "fuel_mass_flow", "exhaust_mass_flow"]),
    "kg/J": ("g/kWh", 1e-3 / 3.6e6, ["bsfc"]),
    "K": ("K", 1.0, ["exhaust_temperature", "trapped_temperature"]),
    "deg": ("deg", 1.0, [
        "peak_pressure_angle", "burn_angle_10", "burn_angle_50", "burn_angle_90",
        "burn_duration", "overlap_lowest_angle", "overlap_highest_angle"]),
    "1": ("", 1.0, ["air_fuel_lambda", "air_fuel_ratio"]),
}
SHARES = [
    "volumetric_efficiency", "delivery_ratio", "charging_efficiency",
    "residual_fraction", "scavenging_efficiency", "trapping_efficiency",
    "heat_loss_share", "indicated_efficiency", "imep_spread", "volumetric_efficiency_spread",
    "residual_fraction_spread", "peak_pressure_spread",
]
BY_HAND = {
    name: (unit, shown, ratio) for unit, (shown, ratio, names) in UNITS.items() for name in names
} | {name: ("1", "%", 0.01) for name in SHARES}
OLD = {
    "lambda": "air_fuel_lambda", "heat_loss": "heat_loss_share",
    "exhaust_flow": "exhaust_mass_flow", "air_flow": "air_mass_flow",
    "fuel_flow": "fuel_mass_flow",
}
SPEEDS = (1000.0, 2000.0, 3000.0)


@pytest.fixture
def sweep():
    return fake_sweep(SPEEDS, (100.0, 200.0, 150.0), "number #1, long")


@pytest.fixture
def path(sweep, tmp_path):
    sweep.to_csv(tmp_path / "a.csv")
    return tmp_path / "a.csv"


# --- tables ---------------------------------------------------------------------------------------


def test_every_quantity_has_the_unit_that_is_known_of_it():
    assert {name: found.unit for name, found in ws.QUANTITIES.items()} == {
        name: unit for name, (unit, _, _) in BY_HAND.items()}


@pytest.mark.parametrize("name", BY_HAND)
def test_shown_value_is_the_si_value_in_the_shown_unit(name):
    _, shown, ratio = BY_HAND[name]
    assert display(name).unit == shown
    assert display(name).factor == pytest.approx(1.0 / ratio)
    assert float(display(name).text(123.0 * ratio)) == pytest.approx(123.0)


def test_every_name_has_one_label_and_a_sentence():
    for table in (ws.QUANTITIES, ws.CYLINDERS, ws.TRACES, ws.SOUNDS):
        for name, found in table.items():
            assert name.isidentifier() and found[:2] == (found.label, found.unit)
            assert found.meaning.endswith(".") and found.meaning[0].isalnum(), name
        labels = [found.label for found in table.values()]
        assert len(set(labels)) == len(labels)


def test_table_of_meanings_holds_every_name_and_sentence():
    text = " ".join(ws.quantity_table().split())
    for name, found in (
        ws.CYLINDERS | ws.TRACES | ws.SOUNDS | ws.QUANTITIES
    ).items():
        assert name in text and " ".join(found.meaning.split()) in text
    assert all(len(line) < 100 for line in ws.quantity_table().splitlines())
    one = ws.quantity_table(["torque", "mach"])
    assert one.startswith("torque: torque [N m]\n    Brake") and "\nmach: Mach number [1]" in one


@pytest.mark.parametrize(("old", "new"), OLD.items())
def test_error_for_an_old_name_offers_the_new_one(sweep, old, new):
    for ask in (lambda: sweep[old], lambda: display(old), lambda: ws.quantity_table(old),
                lambda: sweep.table([old])):
        with pytest.raises(ws.InputError, match=f"did you mean '{new}'"):
            ask()
    assert sweep[new][0] == fake_value(new)


def test_page_of_meanings_is_that_of_the_tables():
    place = Path(__file__).parents[1] / "wavesim" / "show" / "quantities.md"
    text = place.read_text(encoding="utf-8")
    assert text == page(), "renew it: python tests/quantity_page.py > wavesim/show/quantities.md"


# --- CSV files ------------------------------------------------------------------------------------


def test_every_column_of_a_csv_file_holds_its_own_quantity_in_its_unit(path):
    """Fake points hold another number for every quantity."""
    head, *rows = csv_rows(path)
    columns = dict(zip(head, zip(*rows, strict=True), strict=True))
    torque = np.array([100.0, 200.0, 150.0])
    expected = {
        "rpm [rev/min]": SPEEDS, "torque [N m]": torque,
        "power [W]": torque * np.array(SPEEDS) * 2.0 * pi / 60.0,
        "cycles": (5.0,) * 3, "converged": (1.0,) * 3,
        "mass_error [1]": (0.0,) * 3, "energy_error [1]": (0.0,) * 3,
    } | {
        f"{name} [{unit}]": (fake_value(name),) * 3
        for name, (unit, _, _) in BY_HAND.items() if name not in ("torque", "power")
    }
    assert set(columns) == set(expected)
    for name, values in expected.items():
        assert [float(cell) for cell in columns[name]] == pytest.approx(list(values))
    assert len({fake_value(name) for name in BY_HAND}) == len(BY_HAND)


def test_first_lines_of_a_csv_file_say_what_its_columns_mean(path):
    head, *_ = csv_rows(path)
    title, *lines = csv_comments(path)
    assert title == f"number #1, long, wavesim {ws.__version__}"
    assert [line.split(":")[0] for line in lines] == head
    pmep = next(line for line in lines if line.startswith("pmep [Pa]"))
    assert pmep.endswith(ws.QUANTITIES["pmep"].meaning) and "positive where" in pmep


def test_csv_files_are_read_by_common_tools(sweep, path):
    frame = pd.read_csv(path, comment="#")
    assert frame["torque [N m]"].tolist() == sweep["torque"].tolist()
    comments = len(csv_comments(path))
    table = np.genfromtxt(path, delimiter=",", comments="#", skip_header=comments + 1)
    assert table[:, 2].tolist() == sweep["power"].tolist()
    assert np.loadtxt(path, delimiter=",", skiprows=comments + 1).shape == table.shape
    speeds, power = read_columns(path, ("rpm [rev/min]", "power [W]"), (1.0, 1.0))
    assert list(speeds) == list(SPEEDS) and list(power) == sweep["power"].tolist()


def test_names_with_a_comment_sign_stay_whole(sweep, tmp_path):
    other = fake_sweep(SPEEDS, (90.0, 210.0, 150.0), "number #2,\nshort")
    ws.compare(sweep, other).to_csv(tmp_path / "b.csv", ["torque", "pmep"])
    frame = pd.read_csv(tmp_path / "b.csv", comment="#")
    assert frame["torque number #1, long [N m]"].tolist() == [100.0, 200.0, 150.0]
    assert frame["torque difference [N m]"].tolist() == [-10.0, 10.0, 0.0]
    title, *lines = csv_comments(tmp_path / "b.csv")
    assert title == "number #2, short against number #1, long"
    assert [line.split(":")[0] for line in lines] == [
        "rpm [rev/min]", "interpolated", "torque [N m]", "pmep [Pa]"]
