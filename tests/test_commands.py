"""The short commands: each says what it should, and refuses before it writes anything."""

import os
import tomllib
from pathlib import Path

import numpy as np
import pytest
from fakes import fake_sweep

import wavesim.front.app
from wavesim import __version__, bill, compare, demo_path, load
from wavesim.__main__ import run
from wavesim.front.app import EXAMPLES, main

DEMO = demo_path("collector").read_text(encoding="utf-8")


@pytest.fixture(autouse=True)
def workshop(tmp_path, monkeypatch):
    """A working folder."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture
def study(workshop):
    """A study to start from, as `new` makes it."""
    assert main(["new", "mine", "--example", "collector"]) == 0
    return Path("mine/study.toml")


def test_console_script_is_the_module():
    project = tomllib.loads((Path(__file__).parents[1] / "pyproject.toml").read_text())
    assert project["project"]["scripts"] == {"wavesim": "wavesim.__main__:run"}
    with pytest.raises(SystemExit) as ended:
        run(["--version"])
    assert ended.value.code == 0


def test_version_is_told(capsys):
    with pytest.raises(SystemExit):
        main(["--version"])
    assert capsys.readouterr().out == f"wavesim {__version__}\n"


@pytest.mark.parametrize("example", EXAMPLES)
def test_new_makes_a_study_that_loads_and_replaces_nothing(workshop, capsys, example):
    assert main(["new", "a", "--example", example]) == 0
    assert load("a/study.toml") == load(demo_path(example))
    (workshop / "a" / "study.toml").write_text("edited")
    assert main(["new", "a", "--example", example]) == 2
    assert "'a' is there already" in capsys.readouterr().err
    assert (workshop / "a" / "study.toml").read_text() == "edited"


def test_check_says_what_would_be_computed_and_draws_it(study, capsys):
    capsys.readouterr()
    assert main(["check", str(study), "--out", str(study.parent)]) == 0
    said = capsys.readouterr().out
    assert "no fault found" in said and "24 points to compute" in said
    assert load(study).engine.valve_timing() in said and "1998 cm3" in said
    assert {path.name for path in study.parent.glob("*.png")} == {
        "study_exhaust_1.png", "study_exhaust_2.png"}
    row = next(line for line in said.splitlines() if line.strip().startswith("long collector"))
    ducts, nodes, cells, shortest = map(float, row.split()[2:])
    network = load(study).exhausts["long collector"].network(load(study).engine)
    lengths = sum(duct.length for duct in network.ducts.values())
    assert (ducts, nodes) == (len(network.ducts), len(network.nodes))
    assert lengths / 0.016 < cells < lengths / (1e-3 * shortest)


def test_check_tells_all_faults_and_draws_nothing(study, workshop, capsys):
    study.write_text(DEMO.replace("bore = 0.086 ", "bore = 86 ")
                     .replace("stroke = 0.086 ", "stroke = 86 "))
    assert main(["check", str(study)]) == 2
    assert "has 2 faults" in capsys.readouterr().err
    assert not list(workshop.glob("*.png"))


def test_bill_lists_the_parts_of_every_exhaust(study, capsys):
    capsys.readouterr()
    assert main(["bill", str(study)]) == 0
    said, described = capsys.readouterr().out, load(study)
    for name, exhaust in described.exhausts.items():
        assert bill(exhaust.replace(name=name), described.engine).summary() in said


def test_compare_prints_the_comparison_of_saved_curves(workshop, capsys):
    rpm = np.array([3000.0, 4000.0, 5000.0])
    sweeps = [fake_sweep(rpm, [100.0, 110.0, 120.0 + i], "abc"[i]) for i in range(3)]
    for sweep in sweeps:
        sweep.save(f"{sweep.name}.npz")
    assert main(["compare", "a.npz", "b.npz", "c.npz", "--out", "d.png"]) == 0
    said = capsys.readouterr().out
    assert compare(*sweeps).summary() in said and (workshop / "d.png").exists()
    (workshop / "mine.png").write_text("precious")
    assert main(["compare", "a.npz", "b.npz", "--out", "mine.png"]) == 2
    assert (workshop / "mine.png").read_text() == "precious"
    assert main(["compare", "a.npz"]) == 2 and main(["compare", "a.npz", "mine.png"]) == 2


@pytest.mark.parametrize("wrong", [
    ["--threads", "0"], ["--rpm", "3000", "3000"], ["--rpm", "5"], ["--refine", "1"],
])
@pytest.mark.parametrize("command", [["run", "mine/study.toml"], ["demo"], ["demo", "complete"]])
def test_wrong_options_are_refused_before_a_folder_is_made(study, workshop, wrong, command):
    assert main([*command, *wrong]) == 2
    assert os.listdir(workshop) == ["mine"]


@pytest.mark.parametrize(("command", "folder"), [
    (["run", "mine/study.toml"], "study_results"), (["demo"], "demo_results"),
    (["demo", "complete"], "complete_results"),
])
def test_results_have_a_folder_of_their_own_by_default(study, workshop, monkeypatch, command,
                                                       folder):
    def stop(*_, **__):
        raise KeyboardInterrupt

    monkeypatch.setattr(wavesim.front.app, "run_study", stop)
    assert main(command) == 130
    assert sorted(os.listdir(workshop)) == sorted(["mine", folder])
