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
#: They run engines some dozens to two hundred times; the checks of every change run them too.
SLOW = ("back_pressure", "collector_length", "how_far", "session")
RUN = [pytest.param(name, marks=pytest.mark.slow) if name in SLOW else name for name in NAMES]
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


@pytest.mark.slow
def test_session_finds_the_engine_that_made_its_pulls_as_far_as_they_tell():
    found = run("session")
    truth = {"engine.combustion.ca50_deg": 11.0, "engine.friction.constant": 48000.0,
             "engine.air_fuel_lambda": 0.90}
    for one in found["found"].parameters:
        assert one.low <= truth[one.path] <= one.high
    error = found["found"].error("torque")
    assert error["before"] == pytest.approx(4.0, abs=0.3) and error["after"] < 0.7
    assert error["after"] < error["band"]
    gap = np.abs(found["prediction"].difference - found["seen"])
    assert (gap < found["half"] + found["prediction"].simultaneous_half_width).all()
    compared = ws.compare(*found["sweeps"], bands=[(2200, 3000), (3000, 4800), (4800, 6900)])
    low, middle, high = (band.percent for band in compared.band_averages("torque"))
    assert low == pytest.approx(-17.0, abs=1.0) and middle == pytest.approx(7.0, abs=0.6)
    assert abs(high) < 1.0 and not found["measured"].is_real[found["measured"].rpm > 5700.0].any()


def test_narrow_pipe_costs_by_the_fifth_power_and_more_than_pumping():
    found = run("pipe_bore")
    opened, piped, bores = found["opened"], found["piped"], found["bores"]
    lost = np.array([1.0 - sweep[7000].power / opened[7000].power for sweep in piped])
    assert (np.diff(lost) < 0.0).all() and lost[0] > 0.11 and lost[-1] < 0.015
    assert (lost[1:] / lost[:-1] < 0.65).all()
    back = [sweep[7000].back_pressure for sweep in piped]
    assert np.polyfit(np.log(bores), np.log(back), 1)[0] == pytest.approx(-5.0, abs=0.5)
    pumping = [one["exhaust_stroke"][0] / one.total[0] for one in found["fixed"]]
    assert pumping[0] < 0.5 < pumping[-1]
    for sweep in piped:
        change = ws.compare(opened, sweep).percent("torque")
        assert -12.0 < change[0] < -10.0 and 5.0 < change[1] < 10.0


def test_engine_feels_the_echo_of_a_silencer_and_not_its_back_pressure():
    sweeps = run("inside_silencer")["sweeps"]
    plain = sweeps["plain pipe"]
    for name in ("packed", "empty", "chamber"):
        here = sweeps[name]
        assert 0.84 < here[2000].torque / plain[2000].torque < 0.90
        assert here[2000].back_pressure < plain[2000].back_pressure
        rise = here[2000].overlap_exhaust_pressure - plain[2000].overlap_exhaust_pressure
        assert 0.09e5 < rise < 0.15e5
        assert all(here[rpm].torque > plain[rpm].torque for rpm in (3000, 4500))
        assert 0.03e5 < here[6000].back_pressure - plain[6000].back_pressure < 0.12e5
    begins, ends = ws.arrivals(plain[2000]).overlap
    peak = {}
    for name in ("packed", "plain pipe"):
        for rpm in (2000, 3000):
            found = ws.arrivals(sweeps[name][rpm], visible=0.05)
            far = [i for i, route in enumerate(found.routes)
                   if route.cylinder == 1 and route.length > 4.0]
            assert len(far) == 1 and found.routes[far[0]].size < -0.15
            peak[name, rpm] = found.peak[far[0], 0]
    assert peak["packed", 2000] < begins < peak["packed", 3000] < ends
    assert begins < peak["plain pipe", 2000] < ends < peak["plain pipe", 3000]


@pytest.mark.slow
def test_no_plate_gives_torque_and_the_pressure_in_overlap_decides():
    found = run("back_pressure")
    opened, plain, fixed = found["opened"], found["plain"], found["fixed"]
    for sweep in found["plates"]:
        assert (sweep["back_pressure"] > plain["back_pressure"]).all()
        assert (sweep["torque"] < 1.002 * plain["torque"]).all()
    for rpm in (2500, 3000):
        assert plain[rpm].torque > 1.07 * opened[rpm].torque
        assert plain[rpm].back_pressure < opened[rpm].back_pressure
    change = ws.compare(opened, plain).percent("torque")
    follows = {name: np.corrcoef(plain[name] - opened[name], change)[0, 1]
               for name in ("back_pressure", "overlap_exhaust_pressure")}
    assert abs(follows["back_pressure"]) < 0.2 and follows["overlap_exhaust_pressure"] < -0.7
    assert fixed[1500].air_fuel_lambda > 1.1
    gain, kept = (one[1500].torque - plain[1500].torque for one in (opened, fixed))
    assert kept / gain == pytest.approx(0.5, abs=0.1)


@pytest.mark.slow
def test_sign_stands_in_every_model_and_the_size_does_not():
    rows = run("how_far")["rows"]
    change = np.array([*rows.values()])
    assert (change[:, 0] < -14.0).all() and (change[:, 1] > 3.0).all()
    assert (np.abs(change[:, 2]) < 7.0).all()
    mesh = np.array([row for name, row in rows.items() if name.startswith("cells")])
    assert np.ptp(mesh, axis=0).max() < 0.2
    volumes, coarse, fine = (row for name, row in rows.items() if name.startswith("perfect gas"))
    assert (np.abs(fine - volumes) < np.abs(coarse - volumes)).all()
    assert rows["merge of one pressure"][1] < 0.5 * rows["merge by momentum, 12 deg"][1]
