"""The notebooks: they run, hold what comes out, and their text tells it."""

import base64
import functools
import json
import re
import runpy
from pathlib import Path

import numpy as np
import pytest

import wavesim as ws

NOTEBOOKS = Path(__file__).parents[1] / "notebooks"
NAMES = sorted(path.stem for path in NOTEBOOKS.glob("*.ipynb"))
#: The others take half a minute to two minutes each and are run with the slow tests.
QUICK = ("primary_length",)
RUN = [name if name in QUICK else pytest.param(name, marks=pytest.mark.slow) for name in NAMES]
NUMBER = re.compile(r"[-+]?\d+(?:\.\d+)?")


def cells(name):
    """Cells of a notebook."""
    return json.loads((NOTEBOOKS / f"{name}.ipynb").read_text(encoding="utf-8"))["cells"]


@functools.cache
def ran(name):
    """Names that all code cells leave behind, and what each cell printed and drew."""
    return runpy.run_path(str(NOTEBOOKS / "store.py"))["run"](name)


def run(name):
    return ran(name)[0]


@pytest.mark.parametrize("name", NAMES)
def test_notebook_is_small_and_numbered(name):
    assert (NOTEBOOKS / f"{name}.ipynb").stat().st_size < 200_000
    book = json.loads((NOTEBOOKS / f"{name}.ipynb").read_text(encoding="utf-8"))
    assert (book["nbformat"], book["nbformat_minor"]) == (4, 5)
    assert len({cell["id"] for cell in book["cells"]}) == len(book["cells"])
    for cell in book["cells"]:
        assert set(cell) >= {"cell_type", "id", "metadata", "source"}
    counts = [cell["execution_count"] for cell in book["cells"] if cell["cell_type"] == "code"]
    assert counts == [*range(1, len(counts) + 1)]
    shows = [cell for cell in book["cells"] if cell.get("outputs")]
    assert any("text" in one for cell in shows for one in cell["outputs"])
    assert any("data" in one for cell in shows for one in cell["outputs"])


@pytest.mark.parametrize("name", RUN)
def test_notebook_holds_what_its_cells_print_and_draw(name):
    """The words exactly, the numbers within what other machines may round otherwise."""
    stored = [cell["outputs"] for cell in cells(name) if cell["cell_type"] == "code"]
    for outputs, (printed, figures) in zip(stored, ran(name)[1], strict=True):
        text = "".join("".join(one["text"]) for one in outputs if "text" in one)
        assert NUMBER.sub("#", text) == NUMBER.sub("#", printed)
        for kept, now in zip(NUMBER.findall(text), NUMBER.findall(printed), strict=True):
            assert float(kept) == pytest.approx(float(now), rel=2e-3, abs=0.011)
        drawn = [base64.b64decode(one["data"]["image/png"]) for one in outputs if "data" in one]
        assert len(drawn) == len(figures)
        assert all(png.startswith(b"\x89PNG") for png in drawn)


@pytest.mark.parametrize("name", NAMES)
def test_notebook_says_that_its_engine_is_invented_and_its_cells_are_coarse(name):
    text = "".join(cells(name)[0]["source"])
    assert "invented" in text and "24 mm" in text


def test_primary_length_trades_the_middle_for_the_top():
    found = run("primary_length")
    sweeps, means = found["sweeps"], found["means"]
    best = {rpm: max(sweeps, key=lambda length: sweeps[length][rpm].torque)
            for rpm in (4500.0, 7500.0)}
    assert best == {4500.0: 1.0, 7500.0: 0.6}
    assert means[1.0][1] > means[0.6][1] and means[1.0][2] < means[0.6][2]
    torque = {length: sweep["torque"][sweep.rpm >= 5000.0] for length, sweep in sweeps.items()}
    assert (torque[0.8] > 0.98 * np.max([*torque.values()], axis=0)).all()
    assert found["coarse"].torque == pytest.approx(found["fine"].torque, rel=3e-3)
    pressure = {length: sweeps[length][4500].overlap_exhaust_pressure for length in (0.6, 1.0)}
    assert pressure[0.6] > 101325.0 > pressure[1.0]
    arrives = {length: ws.arrivals(sweeps[length][4500]) for length in (0.6, 1.0)}
    pulse = [route.name for route in arrives[0.6].routes].index("pulse of cylinder 3")
    first = {length: found.first[pulse, 0] for length, found in arrives.items()}
    assert 345.0 < first[0.6] < 370.0 and first[1.0] > 380.0


@pytest.mark.slow
def test_collector_pays_where_the_crest_of_the_short_one_was_and_costs_where_its_own_lies():
    found = run("collector_length")
    for (short, long), limits in zip(found["engines"].values(), ((-25.0, 13.0), (-15.0, 14.0)),
                                     strict=True):
        change = ws.compare(short, long).percent("torque")
        assert change.min() < limits[0] and change.max() > limits[1]
        parts = ws.contributions(short, long)
        filling = parts["trapped_mass"] + parts["fresh_share"]
        for i in (change.argmin(), change.argmax()):
            assert filling[i] / parts.total[i] > 0.9
        pressure = long["overlap_exhaust_pressure"] - short["overlap_exhaust_pressure"]
        assert np.corrcoef(pressure, change)[0, 1] < -0.8
    for name, sweep in found["sweeps"].items():
        crest = found["counts"][name][sweep["overlap_exhaust_pressure"].argmax()]
        assert 0.9 < crest < 1.2, name


@pytest.mark.slow
def test_collectors_are_alike_without_the_echo_of_their_ends():
    silent = run("collector_length")["silent"]
    assert silent[0] == pytest.approx(silent[1], rel=5e-3)
