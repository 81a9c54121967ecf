"""Consoles that are closed, gone, narrow or poor in letters, names of any kind: no result lost."""

import io
import logging
import os
import pty
import struct
import subprocess
import sys
import termios
from fcntl import ioctl
from pathlib import Path

import numpy as np
import pytest
from fakes import fake_sweep

from wavesim import InputError, Sweep, compare, console, demo_path, load, plots, save
from wavesim.front.report import report_names, write_report
from wavesim.show.plots import legend_name

APP = Path(__file__).with_name("quick_app.py")
NAMES = ["排气管 Größe", "_cost $5 or $6", "ein ganz langer Name " * 40, r"$\frac{1$", "a%s{}\\n"]
FILES = {"summary.txt", "chart.png", "torque_power.png", "difference.png", "store", ".wavesim"}


@pytest.fixture
def study_file(tmp_path):
    """The demo with names that are hard to print."""
    study = load(demo_path("collector"))
    exhaust = study.exhausts[study.base]
    save(study.replace(name="Vergleich 比較 $x$", exhausts=dict.fromkeys(NAMES, exhaust)),
         tmp_path / "study.toml")
    return tmp_path / "study.toml"


def command(study, out):
    return [sys.executable, str(APP), "run", str(study), "--out", str(out)]


def check(code, out):
    """All is well and everything was written."""
    assert code == 0
    there = set(os.listdir(out))
    assert FILES <= there and len([name for name in there if name.endswith(".npz")]) == len(NAMES)
    loaded = {Sweep.load(out / name).name for name in there if name.endswith(".npz")}
    assert loaded == set(NAMES)


def redirected(study, out, how):
    """Run in a shell with redirected consoles; returns exit code and what is left to be seen."""
    line = " ".join(f"'{word}'" for word in command(study, out))
    done = subprocess.run(["bash", "-c", f"set -o pipefail; {line} {how}"], text=True,
                          capture_output=True, timeout=120)
    assert "Traceback" not in done.stderr and "Exception" not in done.stderr, done.stderr
    return done.returncode


@pytest.mark.parametrize("how", [
    ">&-", "2>&-", ">&- 2>&- <&-", "| head -n 1", "| true", "2>&1 | head -c 30", "> /dev/full",
    "2> /dev/full",
])  # fmt: skip
def test_console_that_is_closed_or_gone_costs_no_result(study_file, tmp_path, how):
    check(redirected(study_file, tmp_path / "out", how), tmp_path / "out")


@pytest.mark.parametrize("encoding", ["ascii", "cp1252", "latin-1:strict"])
def test_console_of_few_letters_costs_no_result(study_file, tmp_path, encoding):
    environment = os.environ | {"PYTHONIOENCODING": encoding}
    done = subprocess.run(command(study_file, tmp_path / "out"), capture_output=True,
                          env=environment, timeout=120)
    check(done.returncode, tmp_path / "out")
    assert b"Traceback" not in done.stderr and b"\\u6bd4" in done.stdout


@pytest.mark.parametrize("columns", [1, 7])
def test_narrow_console_costs_no_result(study_file, tmp_path, columns):
    screen, end = pty.openpty()
    ioctl(end, termios.TIOCSWINSZ, struct.pack("HHHH", 5, columns, 0, 0))
    process = subprocess.Popen(command(study_file, tmp_path / "out"), stdout=subprocess.DEVNULL,
                               stderr=end)
    os.close(end)
    shown = b""
    try:
        while chunk := os.read(screen, 1 << 16):
            shown += chunk
    except OSError:  # the other end is closed
        pass
    os.close(screen)
    check(process.wait(timeout=60), tmp_path / "out")
    bars = [line for line in shown.decode().replace("\r", "\n").split("\n") if line]
    assert b"Traceback" not in shown and bars and max(map(len, bars)) <= max(columns, 2)


def test_progress_in_a_file_is_a_line_now_and_then(capsys):
    with console.progress_bar(1000, "speeds", "point") as bar:
        for _ in range(1000):
            bar.update()
    said = capsys.readouterr().err
    assert "\r" not in said and 1 <= len(said.splitlines()) <= 3
    assert "1000/1000" in said.splitlines()[-1]


def test_progress_in_a_notebook_writes_over_itself(monkeypatch):
    class Cell(io.StringIO):
        """Like the console of a notebook, which is no window."""

    Cell.__module__ = "ipykernel.iostream"
    cell = Cell()
    monkeypatch.setattr(sys, "stderr", cell)
    with console.progress_bar(10, "speeds", "point") as bar:
        bar.update(10)
    assert cell.getvalue().count("\r") >= 2 and cell.getvalue().count("\n") == 1


def test_remarks_can_be_sent_elsewhere(capsys, monkeypatch):
    class Kept(logging.Handler):
        def emit(self, record):
            kept.append((record.levelname, record.getMessage()))

    kept = []
    monkeypatch.setattr(logging.getLogger("wavesim"), "handlers", [Kept()])
    console.tell("100 % of it")
    assert kept == [("WARNING", "100 % of it")] and capsys.readouterr().err == ""


def test_remarks_name_the_library_and_lines_do_not(capsys):
    console.say("a line")
    console.tell("a remark")
    assert capsys.readouterr() == ("a line\n", "wavesim: a remark\n")


def test_program_without_consoles_can_speak(monkeypatch):
    monkeypatch.setattr(sys, "stdout", None)
    monkeypatch.setattr(sys, "stderr", None)
    console.say("a line")
    console.tell("a remark")
    with console.progress_bar(3, "x", "point") as bar:
        bar.update()
    console.let_go()


# --- names ----------------------------------------------------------------------------------------


def test_names_stand_in_the_legend_as_they_are_written(tmp_path):
    rpm = np.array([2000.0, 3000.0])
    sweeps = [fake_sweep(rpm, [100.0, 110.0 + i], name) for i, name in enumerate(NAMES)]
    for axes in (plots.plot_torque_power(sweeps),
                 plots.plot_differences([compare(sweeps[0], s) for s in sweeps[1:]])):
        plots.save_figure(axes, tmp_path / "a.png")
        words = [text.get_text() for text in axes[0].get_legend().get_texts()]
        for name in NAMES:
            start = legend_name(name)[:20]
            assert any(word.startswith(start) for word in words), name


def test_legends_of_many_long_names_leave_room_for_the_curves(tmp_path):
    rpm = np.array([2000.0, 3000.0])
    sweeps = [fake_sweep(rpm, [100.0, 110.0], f"{i} {'m' * 300}") for i in range(6)]
    axes = plots.plot_torque_power(sweeps)
    plots.save_figure(axes, tmp_path / "a.png")
    size = axes[0].get_position().size
    legend = axes[0].get_legend().get_window_extent()
    assert size[0] > 0.8 and size[1] > 0.25
    assert legend.x1 <= axes[0].figure.bbox.x1


def test_names_become_different_file_names_of_bearable_length(tmp_path):
    long = ["x" * 500, "x" * 499 + "y", "管" * 300, "管" * 299 + "子", "..", "/", "$", "con"]
    found = report_names(long)
    assert len(set(found)) == len(found)
    assert all(len(name.encode()) < 200 and "/" not in name for name in found)
    rpm = np.array([2000.0, 3000.0])
    sweeps = {name: fake_sweep(rpm, [100.0, 110.0 + i], name) for i, name in enumerate(long)}
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("wavesim.front.report.telling_speeds", lambda *_: [])
        written = write_report(sweeps, tmp_path)
    assert {path.name for path in written} <= set(found)


def test_formula_that_cannot_be_drawn_is_refused_in_one_sentence(tmp_path):
    ax = plots.new_axes()[0]
    ax.set_title(r"$\frac{1$")  # the user's own words may hold formulas
    with pytest.raises(InputError, match="cannot draw") as caught:
        plots.save_figure(ax, tmp_path / "a.png")
    assert "\n" not in str(caught.value) and os.listdir(tmp_path) == []
