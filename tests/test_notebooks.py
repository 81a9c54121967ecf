"""The notebooks: stored without output, they run, and their text tells what comes out."""

import json
from pathlib import Path

import numpy as np
import pytest
from matplotlib import pyplot

NOTEBOOKS = Path(__file__).parents[1] / "notebooks"
NAMES = sorted(path.stem for path in NOTEBOOKS.glob("*.ipynb"))


def cells(name):
    """Cells of a notebook."""
    return json.loads((NOTEBOOKS / f"{name}.ipynb").read_text(encoding="utf-8"))["cells"]


def run(name):
    """Names that all code cells leave behind, run in order."""
    found = {}
    for i, cell in enumerate(cells(name)):
        if cell["cell_type"] == "code":
            exec(compile("".join(cell["source"]), f"{name}, cell {i}", "exec"), found)
    pyplot.close("all")
    return found


@pytest.mark.parametrize("name", NAMES)
def test_notebook_is_stored_without_output(name):
    book = json.loads((NOTEBOOKS / f"{name}.ipynb").read_text(encoding="utf-8"))
    assert (book["nbformat"], book["nbformat_minor"]) == (4, 5)
    assert len({cell["id"] for cell in book["cells"]}) == len(book["cells"])
    for cell in book["cells"]:
        assert set(cell) >= {"cell_type", "id", "metadata", "source"}
        if cell["cell_type"] == "code":
            assert cell["outputs"] == [] and cell["execution_count"] is None


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
