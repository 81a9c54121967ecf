"""Command line and report: what is printed and written, and the exit code of each way to end."""

import os
import re
import signal
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from csv_files import csv_records
from fakes import fake_sweep, press_ctrl_c

import wavesim.front.app
import wavesim.many.work
from wavesim import compare
from wavesim.descriptions.study import demo_path, load, save
from wavesim.front.app import EXAMPLES, main
from wavesim.front.report import study_text, telling_speeds, write_report
from wavesim.many.sweep import run_study
from wavesim.results.points import Sweep

FILES = {
    "summary.txt", "sweep_short_collector.csv", "sweep_short_collector.npz",
    "sweep_long_collector.csv", "sweep_long_collector.npz", "difference_long_collector.csv",
    "contributions_long_collector.csv", "contributions_long_collector.png",
    "chart.png", "torque_power.png", "difference.png", "exhaust_valve_pressure.png",
}


@pytest.fixture
def study_file(coarse_study, tmp_path):
    """Function that writes the coarse study, changed, to a file."""
    def write(**changes):
        settings = coarse_study.settings.replace(**changes.pop("settings", {}))
        path = tmp_path / "study.toml"
        save(coarse_study.replace(settings=settings, **changes), path)
        return path

    return write


def run(path, out, *more):
    return main(["run", str(path), "--out", str(out), *map(str, more)])


def files_in(folder):
    """Names of the files in a folder; the store beside them is a folder."""
    return {path.name for path in folder.iterdir() if path.is_file()}


# --- the way it should go -------------------------------------------------------------------------


def test_run_prints_tables_and_writes_every_file(study_file, tmp_path, capsys):
    out = tmp_path / "a" / "out"
    assert run(study_file(), out, "--threads", 2) == 0
    assert files_in(out) == FILES
    printed = capsys.readouterr()
    text = printed.out
    assert "2 exhausts at 3 speeds" in text and "Elapsed time" in text
    assert "B = long collector" in text and "volumetric" in text and "N m" in text
    assert (out / "summary.txt").read_text() in text
    assert all(f"wrote {out / name}" in text for name in FILES)
    assert "6/6" in printed.err  # the progress bar


def test_written_results_can_be_read_again(study_file, tmp_path):
    out = tmp_path / "out"
    assert run(study_file(rpm=(4500.0, 6000.0)), out) == 0
    sweep = Sweep.load(out / "sweep_long_collector.npz")
    assert sweep.name == "long collector" and sweep.rpm.tolist() == [4500.0, 6000.0]
    rows = csv_records(out / "sweep_long_collector.csv")
    assert [float(row["torque [N m]"]) for row in rows] == sweep["torque"].tolist()


def test_speeds_of_the_command_line_replace_those_of_the_study(study_file, tmp_path):
    out = tmp_path / "out"
    assert run(study_file(), out, "--rpm", 6000, 5500) == 0
    assert Sweep.load(out / "sweep_short_collector.npz").rpm.tolist() == [5500.0, 6000.0]


def test_one_speed_is_reported_without_a_comparison(study_file, tmp_path, capsys):
    out = tmp_path / "out"
    assert run(study_file(), out, "--rpm", 6000) == 0
    assert "No comparison" in capsys.readouterr().out
    assert files_in(out) == {
        name for name in FILES if not name.startswith("difference")
    }


def test_run_writes_nothing_beside_its_folder(study_file, tmp_path, monkeypatch):
    (tmp_path / "here").mkdir()
    path = study_file()
    monkeypatch.chdir(tmp_path / "here")
    assert run(path, tmp_path / "out", "--rpm", 6000) == 0
    assert not list((tmp_path / "here").iterdir())
    assert {entry.name for entry in tmp_path.iterdir()} == {"here", "out", "study.toml"}


def test_demo_copies_the_study_and_runs_it(tmp_path, capsys):
    assert main(["demo", "collector", "--out", str(tmp_path), "--rpm", "6000", "6300"]) == 0
    for original in demo_path("collector").parent.iterdir():
        assert (tmp_path / "study" / original.name).read_bytes() == original.read_bytes()
    assert load(tmp_path / "study" / "collector.toml") == load(demo_path("collector"))
    assert FILES < {path.name for path in tmp_path.iterdir()}
    assert "used as it is" not in capsys.readouterr().out


def test_demo_uses_a_changed_study_and_says_so(tmp_path, capsys, coarse_study):
    (tmp_path / "study").mkdir()
    mine = tmp_path / "study" / "collector.toml"
    save(coarse_study.replace(name="my own"), mine)
    before = mine.read_bytes()
    assert main(["demo", "collector", "--out", str(tmp_path), "--rpm", "6000"]) == 0
    assert mine.read_bytes() == before
    text = capsys.readouterr().out
    assert re.search(r"collector\.toml differs .*: used as it is", text) and "my own" in text


# --- other ways to end ----------------------------------------------------------------------------


def test_failed_points_end_with_1_and_the_others_are_written(study_file, tmp_path, capsys):
    path = study_file(rpm=(2000.0, 5500.0, 6000.0), settings={"max_steps_per_cycle": 1500})
    assert run(path, tmp_path / "out") == 1
    printed = capsys.readouterr()
    assert "of 6 points 2 failed and 0 did not converge" in printed.err
    assert "2000 rev/min failed: Step limit reached in duct" in printed.out
    assert files_in(tmp_path / "out") == FILES
    assert list(Sweep.load(tmp_path / "out" / "sweep_short_collector.npz").failures) == [2000.0]


def test_points_that_do_not_converge_end_with_1(study_file, tmp_path, capsys):
    path = study_file(rpm=(5500.0, 6000.0), settings={"max_cycles": 3, "tolerance": 1e-6})
    assert run(path, tmp_path / "out") == 1
    printed = capsys.readouterr()
    assert "of 4 points 0 failed and 4 did not converge" in printed.err
    assert "not converged" in printed.out


def test_nothing_finished_still_reports(study_file, tmp_path, capsys):
    path = study_file(rpm=(1500.0, 2000.0), settings={"max_steps_per_cycle": 1000})
    assert run(path, tmp_path / "out") == 1
    assert "holds no point" in capsys.readouterr().out
    assert not list((tmp_path / "out").glob("*.png"))


@pytest.mark.parametrize("with_finished", [True, False])
def test_interruption_ends_with_130_and_writes_what_was_finished(
    study_file, tmp_path, capsys, monkeypatch, with_finished
):
    press_ctrl_c(monkeypatch, after=2 * with_finished)
    path, out = study_file(rpm=(4500.0, 5500.0, 6000.0)), tmp_path / "out"
    assert run(path, out, "--threads", 1) == 130
    assert "interrupted" in capsys.readouterr().err
    sweeps = [Sweep.load(out / f"sweep_{name}_collector.npz") for name in ("short", "long")]
    assert all(sweep.interrupted for sweep in sweeps)
    finished = sum(map(len, sweeps))
    assert 2 * with_finished <= finished < 6
    monkeypatch.undo()
    assert run(path, out) == 0
    text = capsys.readouterr().out
    assert (f"{finished} point" in text and "came from" in text) or not finished


def test_run_goes_on_from_its_store_unless_told_not_to(study_file, tmp_path, capsys):
    path, out = study_file(rpm=(5500.0, 6000.0)), tmp_path / "out"
    assert run(path, out) == 0
    first = capsys.readouterr().out
    assert f"Finished points are kept in {out / 'store'}" in first and "came from" not in first
    kept = sorted((out / "store").glob("*.npz"))
    assert len(kept) == 4
    kept[0].write_bytes(kept[0].read_bytes()[:1000])
    (out / "store" / "notes.txt").write_text("mine")
    assert run(path, out) == 0
    again = capsys.readouterr().out
    assert "3 points came from" in again
    assert f"{kept[0]} is damaged: left alone" in again and "notes.txt does not belong" in again
    assert run(path, out, "--fresh") == 0
    fresh = capsys.readouterr().out
    assert f"4 points of earlier runs were removed from {out / 'store'}" in fresh
    assert "came from" not in fresh and "notes.txt does not belong" in fresh
    assert kept[0].read_bytes()[999:] and (out / "store" / "notes.txt").read_text() == "mine"
    assert run(path, out) == 0
    assert "4 points came from" in capsys.readouterr().out  # those of the fresh run


def test_interruption_elsewhere_ends_with_130(study_file, tmp_path, monkeypatch):
    def stop(*_, **__):
        raise KeyboardInterrupt

    monkeypatch.setattr(wavesim.front.app, "run_study", stop)
    assert run(study_file(), tmp_path / "out") == 130


def test_interruption_while_results_are_written_waits_for_them(
    study_file, tmp_path, monkeypatch, capsys
):
    real = wavesim.front.app.write_files

    def write(sweeps, *rest):
        os.kill(os.getpid(), signal.SIGINT)
        return real(sweeps, *rest)

    monkeypatch.setattr(wavesim.front.app, "write_files", write)
    out = tmp_path / "out"
    assert run(study_file(rpm=(5500.0, 6000.0)), out) == 0 and files_in(out) == FILES

    def press_twice(sweeps, *rest):
        for _ in range(2):
            os.kill(os.getpid(), signal.SIGINT)
        return real(sweeps, *rest)

    before = {name: (out / name).read_bytes() for name in FILES}
    monkeypatch.setattr(wavesim.front.app, "write_files", press_twice)
    assert run(study_file(rpm=(4500.0, 5500.0)), out) == 130
    assert "interrupted" in capsys.readouterr().err and files_in(out) == FILES
    assert before == {name: (out / name).read_bytes() for name in FILES}


def test_bad_input_ends_with_2_and_one_sentence(study_file, tmp_path, capsys):
    good = study_file()
    (tmp_path / "file").write_text("")
    typo = tmp_path / "typo.toml"
    typo.write_text(good.read_text().replace("collector", "colector"))
    cases = [
        ([tmp_path / "missing.toml", "--out", tmp_path / "out"], "missing.toml: cannot read"),
        ([typo, "--out", tmp_path / "out"], "did you mean 'collector'"),
        ([good, "--out", tmp_path / "out", "--rpm", 50], "50 rev/min"),
        ([good, "--out", tmp_path / "out", "--rpm", 3000, 3000], "3000 rev/min follows"),
        ([good, "--out", tmp_path / "out", "--threads", 0], "threads = 0"),
        ([good, "--out", tmp_path / "file"], "cannot make the folder"),
    ]
    for arguments, message in cases:
        assert main(["run", *map(str, arguments)]) == 2
        error = capsys.readouterr().err.strip()
        assert message in error and error.startswith("wavesim: ") and "\n" not in error


@pytest.mark.parametrize("arguments", [[], ["run"], ["compare"], ["fly"],
                                       ["demo", "--out", "x", "--threads", "two"]])
def test_bad_arguments_end_with_2(arguments, capsys):
    with pytest.raises(SystemExit) as stopped:
        main(arguments)
    assert stopped.value.code == 2 and "usage" in capsys.readouterr().err


def test_module_runs_from_the_shell_without_a_traceback(tmp_path):
    command = [sys.executable, "-m", "wavesim", "run", "none.toml", "--out", str(tmp_path)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 2 and done.stdout == ""
    assert done.stderr == "wavesim: none.toml: cannot read the file 'none.toml': there is none.\n"


# --- report ---------------------------------------------------------------------------------------


def test_run_study_keeps_the_order_of_the_exhausts(sweeps, coarse_study):
    assert list(sweeps) == list(coarse_study.exhausts)
    assert [sweep.name for sweep in sweeps.values()] == list(sweeps)


def test_variant_may_change_the_engine(coarse_study):
    engine = coarse_study.engine.replace(compression_ratio=8.0)
    study = coarse_study.replace(rpm=(6000.0,), engines={"long collector": engine})
    sweeps = run_study(study, progress=False)
    assert sweeps["long collector"][6000].engine.compression_ratio == 8.0
    assert sweeps["short collector"][6000].engine.compression_ratio == 10.5


def test_names_that_are_no_file_names_still_get_their_own_files(base, tmp_path):
    names = ["4-2-1, 41 mm", "4/2/1 41 mm", "4 2 1: 41 mm", "../..", "Größe", "grö:ße"]
    sweeps = {name: Sweep(base.points[:2], name=name) for name in names}
    files = write_report(sweeps, tmp_path / "out")
    assert len(set(files)) == len(files)
    assert all(path.parent == tmp_path / "out" and path.exists() for path in files)
    assert {Sweep.load(path).name for path in files if path.suffix == ".npz"} == set(names)


def test_text_has_one_table_for_each_sweep_and_one_comparison_for_each_variant(sweeps):
    text = study_text(sweeps)
    assert text.count("volumetric") == 2 and text.count("against the base") == 1


def test_telling_speeds_are_those_of_largest_gain_and_loss():
    rpm = np.arange(1000.0, 8000.0, 1000.0)
    a = fake_sweep(rpm, [100] * 7)
    b = fake_sweep(rpm, [100, 90, 100, 100, 130, 100, 100])
    assert telling_speeds([a, b], [compare(a, b)]) == [2000.0, 5000.0, 7000.0]
    assert telling_speeds([a], []) == [1000.0, 4000.0, 7000.0]
    assert telling_speeds([a, fake_sweep([500.0], [1])], []) == []


# --- the first page -------------------------------------------------------------------------------

README = Path(__file__).parents[1] / "README.md"
GUIDE = README.parent / "notebooks" / "guide.md"


def test_examples_of_the_readme_and_of_the_guide_run(tmp_path, monkeypatch, capsys):
    text = "".join(page.read_text(encoding="utf-8") for page in (README, GUIDE))
    blocks = re.findall(r"```python\n(.*?)```", text, re.DOTALL)
    code = "".join(blocks)
    monkeypatch.chdir(tmp_path)
    exec(compile(code, "README.md", "exec"), {})
    assert "B - A" in capsys.readouterr().out
    assert sorted(os.listdir(tmp_path)) == [
        "150_mm.wav", "collector.html", "collector.pdf", "collector.png"]


def test_readme_names_every_file_that_a_run_writes():
    text = README.read_text(encoding="utf-8")
    for name in ("summary.txt", "sweep_NAME.csv", "sweep_NAME.npz", "difference_NAME.csv",
                 "contributions_NAME.csv", "contributions_NAME.png",
                 "chart.png", "torque_power.png", "difference.png", "exhaust_valve_pressure.png"):
        assert name in text


@pytest.mark.parametrize("example", EXAMPLES)
def test_example_study_warns_of_noise_heat_gas_and_lean_mixture(example):
    text = " ".join(demo_path(example).read_text(encoding="utf-8").replace("#", "").split())
    for word in ("CAUTION", "hearing", "closed rooms", "burn skin", "lean", "Local codes"):
        assert word in text


def test_summary_ends_with_the_cautions():
    text = study_text({"one": fake_sweep([1000.0, 2000.0], [100, 110])})
    last = text.rpartition("\n\n")[2]
    said = " ".join(last.split())
    for word in ("Caution", "legal", "hearing", "burn skin", "closed rooms", "lean", "Local codes"):
        assert word in said
    assert max(map(len, last.splitlines())) <= 100


@pytest.mark.parametrize("page", [README, GUIDE, README.parent / "wavesim/show/reading.md"])
def test_links_of_the_pages_lead_to_files(page):
    links = re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)", page.read_text(encoding="utf-8"))
    assert links and all((page.parent / link).exists() for link in links)
