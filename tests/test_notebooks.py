"""The notebooks: they run, hold what comes out, and their text tells it."""

import base64
import functools
import json
import re
import runpy
from pathlib import Path

import numpy as np
import pytest

NOTEBOOKS = Path(__file__).parents[1] / "notebooks"
NAMES = sorted(path.stem for path in NOTEBOOKS.glob("*.ipynb"))
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


@pytest.mark.parametrize("name", NAMES)
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
    pressure = {length: found["overlap_pressure"](sweeps[length][4500]) for length in (0.6, 1.0)}
    assert pressure[0.6] > 0.0 > pressure[1.0]


def test_collector_costs_torque_while_the_pulse_of_the_next_cylinder_meets_the_overlap():
    found = run("collector_length")
    comparison, table, long = found["comparison"], found["table"], found["long"]
    assert table.sum(axis=0) == pytest.approx(comparison.difference("torque"), abs=1e-6)
    loss = dict(zip(found["rpm"].tolist(), comparison.percent("torque"), strict=True))
    assert loss[2500] < -25.0 and loss[3500] > 13.0
    turn = next(c.rpm for c in comparison.crossings("torque") if 2500 < c.rpm < 4000)
    crest = [found["pulse"](long[rpm])[1] for rpm in (3000, 3250)]
    assert crest[0] < found["overlap"][1] < crest[1] and 3000 < turn < 3250
    mass, share = table[:2, found["rpm"] == 2500].ravel()
    assert mass < share < 0.0 and mass + share < 0.9 * comparison.difference("torque").min()
