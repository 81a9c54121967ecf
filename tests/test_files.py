"""Files: written whole or not at all, and nothing of the user's is ever replaced."""

import errno
import os
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from fakes import fake_sweep
from full_disk import disk_full_at
from scipy.io import wavfile

import wavesim.front.app
import wavesim.front.report
import wavesim.show.plots
import wavesim.writing
from wavesim import InputError, demo_path, load, save
from wavesim.dyno.sound_file import write_wav
from wavesim.fields.tabular import Column, write_csv
from wavesim.front.app import main
from wavesim.front.folder import ResultFolder
from wavesim.front.report import report_names, write_report
from wavesim.writing import as_path, whole_file

RPM = np.arange(2000.0, 7000.0, 1000.0)


def results(names=("one", "two")):
    """Results with chosen numbers, as a study would give them."""
    return {n: fake_sweep(RPM, 100.0 + i + 0.01 * RPM, n) for i, n in enumerate(names)}


def table(number):
    """Columns of a small table."""
    return [Column("rpm", "rev/min", [number]), Column("torque", "N m", [10 * number])]


def everything(folder):
    """Content of all files below a folder, by their path in it; the desk of the library apart."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and ".wavesim" not in path.parts
    }


@pytest.fixture
def figures_without_traces(monkeypatch):
    """Sweeps of `results` hold no samples: the figure of valve pressures is left out."""
    monkeypatch.setattr(wavesim.front.report, "telling_speeds", lambda *_: [])


@pytest.fixture
def quick_figures(monkeypatch, figures_without_traces):
    """Figures are some bytes."""
    def write(ax, path):
        with whole_file(path, "save_figure") as file:
            file.write(b"a figure" * 5000)

    for name in ("new_axes", "plot_power_chart", "plot_torque_power", "plot_differences"):
        monkeypatch.setattr(wavesim.show.plots, name, lambda *_, **__: [None])
    monkeypatch.setattr(wavesim.front.report, "titled", lambda axes, _: axes)
    monkeypatch.setattr(wavesim.show.plots, "save_figure", write)


@pytest.fixture
def swift(monkeypatch, quick_figures):
    """The command line, with results that are there at once."""
    monkeypatch.setattr(
        wavesim.front.app, "run_study", lambda study, **_: results(list(study.exhausts))
    )


def run(study, out, *more):
    return main(["run", str(study), "--out", str(out), "--fresh", *map(str, more)])


@pytest.fixture
def study_file(tmp_path):
    """The demo study in a folder of its own."""
    folder = Path(shutil.copytree(demo_path("collector").parent, tmp_path / "mine"))
    return folder / "collector.toml"


# --- the helper -----------------------------------------------------------------------------------


def test_file_appears_only_when_it_is_complete(tmp_path):
    path = tmp_path / "a.txt"
    with whole_file(path, "x", text=True) as file:
        file.write("whole")
        file.flush()
        assert not path.exists() and len(os.listdir(tmp_path)) == 1
    assert path.read_text() == "whole" and os.listdir(tmp_path) == ["a.txt"]


@pytest.mark.parametrize("error", [ZeroDivisionError, KeyboardInterrupt, OSError(errno.EIO, "bad")])
def test_file_that_fails_leaves_what_was_there(tmp_path, error):
    path = tmp_path / "a.txt"
    path.write_text("old")
    with pytest.raises((ZeroDivisionError, KeyboardInterrupt, InputError)):
        with whole_file(path, "x", text=True, is_own=lambda _: True) as file:
            file.write("half")
            raise error
    assert path.read_text() == "old" and os.listdir(tmp_path) == ["a.txt"]


def test_names_of_unfinished_files_cannot_be_foreseen_and_are_opened_exclusively(
    tmp_path, monkeypatch
):
    seen = []
    real = os.open

    def look(path, flags, *more, **options):
        if str(path).endswith(".tmp"):
            seen.append((Path(path).name, bool(flags & os.O_EXCL and flags & os.O_CREAT)))
        return real(path, flags, *more, **options)

    monkeypatch.setattr(wavesim.writing.os, "open", look)
    for name in "ab":
        with whole_file(tmp_path / name, "x"):
            pass
    (first, exclusive), (second, too) = seen
    assert first != second and exclusive and too


def test_replaced_file_keeps_its_permissions_and_a_link_stays_a_link(tmp_path):
    path, link = tmp_path / "a.csv", tmp_path / "link.csv"
    for number in (1, 2):
        write_csv("x", path, table(number), ["a note"])
        path.chmod(0o640)
    link.symlink_to(path)
    write_csv("x", link, table(3), ["a note"])
    lines = path.read_text().splitlines()
    assert link.is_symlink() and lines[:3] == ["# a note", "rpm [rev/min],torque [N m]", "3,30"]
    assert path.stat().st_mode & 0o777 == 0o640


def test_new_file_has_the_permissions_of_any_other(tmp_path):
    (tmp_path / "usual").write_text("")
    with whole_file(tmp_path / "a", "x"):
        pass
    assert (tmp_path / "a").stat().st_mode == (tmp_path / "usual").stat().st_mode


def test_devices_and_pipes_are_written_directly(tmp_path):
    fifo = tmp_path / "fifo"
    os.mkfifo(fifo)
    code = f"print(open({str(fifo)!r}).read().split()[0])"
    reader = subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True)
    write_csv("x", fifo, table(1))
    assert reader.communicate(timeout=30)[0] == "rpm\n"
    assert os.listdir(tmp_path) == ["fifo"]
    with whole_file(os.devnull, "x") as file:
        file.write(b"gone")


def test_file_that_comes_in_between_is_not_replaced(tmp_path):
    path = tmp_path / "a.csv"
    with pytest.raises(InputError, match="was not written by wavesim"):
        with whole_file(path, "x", text=True) as file:
            file.write("ours")
            path.write_text("theirs")
    assert path.read_text() == "theirs" and os.listdir(tmp_path) == ["a.csv"]


@pytest.mark.parametrize("wrong", [None, 5, b"a.csv", ["a"], "", "a\0b", "\ud800"])
def test_what_is_no_path_is_refused(wrong):
    with pytest.raises(InputError, match="path = "):
        as_path("Sweep.save", wrong)


@pytest.mark.parametrize("how", ["folder missing", "is a folder", "too long", "under a file"])
def test_place_that_cannot_be_written_is_refused_in_one_sentence(tmp_path, how):
    (tmp_path / "file").write_text("")
    path = {"folder missing": tmp_path / "no" / "a", "is a folder": tmp_path,
            "too long": tmp_path / ("x" * 300), "under a file": tmp_path / "file" / "a"}[how]
    with pytest.raises(InputError) as caught:
        write_csv("Sweep", path, table(1))
    assert str(caught.value).startswith("Sweep: cannot write ")
    assert len(str(caught.value)) < 300


# --- whose file it is -----------------------------------------------------------------------------


def test_study_that_was_edited_is_not_replaced(tmp_path):
    study, path = load(demo_path("collector")), tmp_path / "study.toml"
    save(study, path)
    save(study.replace(name="again"), path)
    assert load(path).name == "again"
    with path.open("a") as file:
        file.write("# my remark\n")
    mine = path.read_bytes()
    with pytest.raises(InputError, match="was not written by wavesim or was changed since"):
        save(study, path)
    assert path.read_bytes() == mine


def test_table_that_was_edited_is_not_replaced(tmp_path):
    path = tmp_path / "a.csv"
    for number in (1, 3):
        write_csv("x", path, table(number), ["what it means"])
    lines = path.read_text().splitlines()
    assert lines[:3] == ["# what it means", "rpm [rev/min],torque [N m]", "3,30"]
    path.write_text(path.read_text().replace("3,30", "3,31"))
    for content in (path.read_text(), "rpm [rev/min],torque [N m]\n3,30\n", "mine"):
        path.write_text(content)
        with pytest.raises(InputError, match="not written by wavesim or was changed since"):
            write_csv("x", path, table(3), ["what it means"])
        assert path.read_text() == content


def test_table_without_notes_replaces_one_with_the_same_columns(tmp_path):
    path = tmp_path / "a.csv"
    for number in (1, 3):
        write_csv("x", path, table(number))
    assert path.read_text().splitlines() == ["rpm [rev/min],torque [N m]", "3,30"]
    path.write_text("rpm,torque\n1,2\n")
    with pytest.raises(InputError, match="not written by wavesim"):
        write_csv("x", path, table(3))


def test_figure_of_another_program_is_not_replaced(tmp_path):
    ax = wavesim.plots.new_axes()[0]
    for suffix in ("png", "pdf", "svg", "eps"):
        path = tmp_path / f"a.{suffix}"
        for _ in range(2):
            wavesim.plots.save_figure(ax, path)
        ax.figure.savefig(path)
        theirs = path.read_bytes()
        with pytest.raises(InputError, match="not written by wavesim"):
            wavesim.plots.save_figure(ax, path)
        assert path.read_bytes() == theirs


def test_sound_of_another_program_is_not_replaced(tmp_path):
    path, tone = tmp_path / "a.wav", np.sin(np.arange(801.0))
    for _ in range(2):  # the second replaces the first
        write_wav(tone, path, full_scale=1.0, rate=8000)
    rate, samples = wavfile.read(path)
    assert rate == 8000 and samples.size == 801
    wavfile.write(path, 8000, samples)
    before = path.read_bytes()
    with pytest.raises(InputError, match="was not written by wavesim"):
        write_wav(tone, path, full_scale=1.0, rate=8000)
    assert path.read_bytes() == before


def test_archive_of_another_program_is_not_replaced(tmp_path):
    sweep, path = results()["one"], tmp_path / "a.npz"
    for _ in range(2):
        sweep.save(path)
    np.savez(path, a=np.arange(3))
    theirs = path.read_bytes()
    with pytest.raises(InputError, match="not written by wavesim"):
        sweep.save(path)
    assert path.read_bytes() == theirs


def test_report_replaces_its_own_files_and_no_others(tmp_path, figures_without_traces):
    first = write_report(results(), tmp_path)
    assert write_report(results(), tmp_path) == first
    assert {path.name for path in first} <= set(report_names(results()))
    for path in first:
        before = everything(tmp_path)
        path.write_bytes(before[path.name] + b"\nmy remark")
        changed = everything(tmp_path)
        with pytest.raises(InputError, match="changed since"):
            write_report(results(), tmp_path)
        assert everything(tmp_path) == changed
        path.write_bytes(before[path.name])
    assert write_report(results(), tmp_path) == first


@pytest.mark.parametrize("name", report_names(["short collector", "long collector"]))
def test_foreign_file_is_refused_before_anything_is_computed(
    tmp_path, study_file, monkeypatch, capsys, name
):
    monkeypatch.setattr(wavesim.front.app, "run_study", None)  # is not called
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / name).write_text("mine")
    before = everything(tmp_path)
    assert run(study_file, tmp_path / "out") == 2
    said = capsys.readouterr()
    assert name in said.err and said.err.count("\n") == 1 and said.out == ""
    assert everything(tmp_path) == before


def test_inputs_of_the_study_are_never_overwritten(tmp_path, swift, capsys):
    """Not even where they are results of an earlier run, which might be replaced otherwise."""
    out = tmp_path / "out"
    folder = Path(shutil.copytree(demo_path("collector").parent, out))
    assert run(folder / "collector.toml", out) == 0
    text = (folder / "collector.toml").read_text()
    lift = text[text.index('csv = "intake_lift.csv"'):].split('"')[1]
    os.replace(out / lift, out / "sweep_long_collector.csv")
    os.replace(folder / "collector.toml", out / "summary.txt")
    (out / "summary.txt").write_text(text.replace(lift, "sweep_long_collector.csv"))
    known = ResultFolder(out)
    known._remember({n: wavesim.front.folder._hash_of(out / n)
                     for n in ("summary.txt", "sweep_long_collector.csv")})
    before = everything(out)
    capsys.readouterr()
    assert run(out / "summary.txt", out) == 2
    assert "is read by the study" in capsys.readouterr().err and everything(out) == before


def test_linked_input_is_known_as_the_same_file(tmp_path, study_file, swift, capsys):
    out = tmp_path / "out"
    out.mkdir()
    os.link(study_file, out / "summary.txt")
    (out / "difference.png").symlink_to(study_file)
    before = everything(tmp_path)
    assert run(study_file, out) == 2
    assert "is read by the study" in capsys.readouterr().err and everything(tmp_path) == before


def test_killed_report_is_known_again(tmp_path, quick_figures, monkeypatch):
    """Killed between any two of its files: the next run may replace all of them."""
    real, count = os.replace, len(write_report(results(), tmp_path / "whole"))
    for last in range(count):
        out, moves = tmp_path / str(last), []
        write_report(results(), out)

        def move(a, b, moves=moves, last=last):
            if ".wavesim/writing" in str(a):
                moves.append(b)
                if len(moves) > last:
                    raise KeyboardInterrupt
            real(a, b)

        with monkeypatch.context() as patch:
            patch.setattr(wavesim.front.folder.os, "replace", move)
            with pytest.raises(KeyboardInterrupt):
                write_report(results(("one", "two")), out)
        assert len(write_report(results(), out)) == count


def test_folder_that_is_in_the_way_is_told(tmp_path, figures_without_traces):
    (tmp_path / "summary.txt").mkdir()
    with pytest.raises(InputError, match="summary.txt"):
        write_report(results(), tmp_path)


@pytest.mark.parametrize("content", ["mine", "[" * 100000, "{}", '{"format": 1, "files": []}'])
def test_list_of_somebody_else_is_left_alone(tmp_path, figures_without_traces, content):
    (tmp_path / ".wavesim").mkdir()
    (tmp_path / ".wavesim" / "files.json").write_text(content)
    with pytest.raises(InputError, match="files.json"):
        write_report(results(), tmp_path)
    assert (tmp_path / ".wavesim" / "files.json").read_text() == content


# --- folders and disks that take nothing ---------------------------------------------------------


def test_unwritable_folder_is_refused_before_anything_is_computed(
    tmp_path, study_file, monkeypatch, capsys
):
    """Root may write everywhere, so the refusal of the system is played."""
    def refuse(*_, **__):
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))

    monkeypatch.setattr(wavesim.front.app, "run_study", None)  # is not called
    monkeypatch.setattr(wavesim.front.folder.tempfile, "mkdtemp", refuse)
    assert run(study_file, tmp_path / "out") == 2
    error = capsys.readouterr().err
    assert "cannot write to the folder" in error and "Permission denied" in error


def test_full_disk_at_any_write_of_a_report_loses_nothing(tmp_path, quick_figures):
    """What was there stays or is replaced by what is complete; the sentence names what is not."""
    old, new = results(), results(("one", "two"))
    for name, sweep in new.items():
        new[name] = fake_sweep(RPM, 2.0 * sweep["torque"], name)
    write_report(new, tmp_path / "new")
    complete = everything(tmp_path / "new")
    writes = 0
    while True:
        out = tmp_path / "out"
        write_report(old, out)
        before = everything(out)
        writes += 1
        with disk_full_at(writes) as disk:
            try:
                write_report(new, out)
                break
            except InputError as error:
                assert "No space left on device" in str(error) and len(str(error)) < 300
                assert disk.refused
        there = everything(out)
        assert there.keys() == complete.keys()
        for name, content in there.items():
            assert content in (before[name], complete[name]), name
        shutil.rmtree(out)
    assert writes > 10


def test_full_disk_ends_with_1_and_the_tables_are_printed(tmp_path, study_file, swift, capsys):
    with disk_full_at(8):
        assert run(study_file, tmp_path / "out") == 1
    said = capsys.readouterr()
    assert "B - A" in said.out and "wrote" in said.out
    assert "No space left on device" in said.err and said.err.count("\n") == 1


def test_figure_that_cannot_be_drawn_costs_no_other_file(tmp_path, swift, study_file, monkeypatch,
                                                         capsys):
    def fail(*_, **__):
        raise RuntimeError("no fonts here")

    monkeypatch.setattr(wavesim.show.plots, "plot_differences", fail)  # on top of `swift`
    assert run(study_file, tmp_path / "out") == 1
    said = capsys.readouterr().err
    assert "1 file (difference.png) could not be written" in said and ": no fonts here." in said
    assert {"torque_power.png", "sweep_long_collector.npz"} <= set(os.listdir(tmp_path / "out"))
