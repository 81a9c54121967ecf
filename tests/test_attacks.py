"""Attacks by the dozen: no foreign exception, no hang, no lost and no overwritten file.

A few of each run with every test, many with `-m nightly`.
"""

import os
import random
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import numpy as np
import pytest
from attacks import damage, write_hostile
from quick_app import RPM, quick_study
from store_worker import invented_point, speeds

import wavesim.front.app
import wavesim.front.report
import wavesim.many.work
from wavesim import InputError, Settings, Store, Sweep, demo_path, load, save, speed_sweep
from wavesim.front.app import main
from wavesim.kernels import jit

APP = Path(__file__).with_name("quick_app.py")
CACHE = Path(__file__).with_name("cache_worker.py")


def many(few, nightly, seeds=(21, 22)):
    """Parameters (seed, number of attacks): a few always, many at night."""
    return pytest.mark.parametrize(("seed", "count"), [
        (seeds[0], few), pytest.param(seeds[1], nightly, marks=pytest.mark.nightly)
    ])


def within(seconds, action):
    """What an action returns; fails if it takes longer."""
    found = []
    thread = threading.Thread(target=lambda: found.append(action()), daemon=True)
    thread.start()
    thread.join(seconds)
    assert found, f"no answer within {seconds} s"
    return found[0]


def files_below(folder):
    """Content of all files below a folder by their path; pipes and the like apart."""
    return {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@pytest.fixture
def swift(monkeypatch):
    """Results are there at once and hold no traces."""
    monkeypatch.setattr(wavesim.front.app, "run_study", quick_study)
    monkeypatch.setattr(wavesim.front.report, "telling_speeds", lambda *_: [])
    monkeypatch.setattr(wavesim.front.report, "_figures", lambda *_: {})  # slow, and not hostile


@many(25, 150)
def test_hostile_input_is_read_or_refused_in_short_sentences(tmp_path, swift, capsys, seed, count):
    chance = random.Random(seed)
    refused = 0
    for i in range(count):
        folder = tmp_path / str(i)
        path = write_hostile(chance, folder)
        before = files_below(folder)
        outcome = within(20.0, lambda path=path: loaded(path))
        assert outcome in ("read", "refused"), (i, outcome)
        refused += outcome == "refused"
        code = main(["run", str(path), "--out", str(folder / "out")])
        said = capsys.readouterr()
        assert code in (0, 1, 2), (i, code)
        assert "Traceback" not in said.out + said.err
        assert (code == 2) == (outcome == "refused"), i
        if code == 2:
            lines = said.err.splitlines()
            assert lines and all(len(line) < 320 for line in lines), (i, said.err)
            assert len(lines) == 1 or "faults:" in lines[0], (i, said.err)
            assert not (folder / "out").exists(), i  # refused before anything was written
        after = files_below(folder)
        assert all(after[name] == content for name, content in before.items()), i
    assert refused > count // 3


def loaded(path):
    """What becomes of a study: "read", "refused", or an error that is not ours."""
    try:
        load(path)
    except InputError:
        return "refused"
    except Exception as error:
        return repr(error)
    return "read"


# --- processes ------------------------------------------------------------------------------------


@pytest.fixture
def study_file(tmp_path):
    path = tmp_path / "study.toml"
    save(load(demo_path("collector")), path)
    return path


def attacked_run(chance, study, out):
    """Start the command line, and kill or interrupt it at some moment, perhaps twice."""
    process = subprocess.Popen(
        [sys.executable, str(APP), "run", str(study), "--out", str(out)],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )
    process.stdout.readline()  # it has begun
    moments = sorted(chance.uniform(0.0, 1.2) for _ in range(chance.choice((1, 2, 2))))
    signals = chance.choice((
        [signal.SIGKILL] * 2, [signal.SIGINT] * 2, [signal.SIGINT] * 2, [signal.SIGINT,
                                                                         signal.SIGKILL],
    ))  # fmt: skip
    clock = time.monotonic()
    for moment, number in zip(moments, signals, strict=False):
        if chance.random() < 0.3:
            moment = 0.0  # at once after the one before
        time.sleep(max(0.0, clock + moment - time.monotonic()))
        process.send_signal(number)
    _, err = process.communicate(timeout=60)
    assert process.returncode in (0, 130, -signal.SIGKILL, -signal.SIGINT), err
    assert "Traceback" not in err or process.returncode == -signal.SIGINT, err


@many(3, 30)
def test_killed_and_interrupted_runs_lose_and_overwrite_nothing(tmp_path, study_file, seed, count):
    """Every file that is there is complete, and the next run takes them for its own."""
    chance, out = random.Random(seed), tmp_path / "out"
    out.mkdir()
    (out / "mine.txt").write_text("precious")
    study = study_file.read_bytes()
    for _ in range(count):
        attacked_run(chance, study_file, out)
        assert (out / "mine.txt").read_text() == "precious" and study_file.read_bytes() == study
        for path in out.glob("*.npz"):
            assert Sweep.load(path).rpm.tolist() == RPM.tolist()
        for path in out.glob("sweep_*.csv"):
            assert path.read_text().count("\n") > len(RPM)
        found = Store(out / "store").check() if (out / "store").exists() else None
        assert found is None or found.damaged == found.foreign == ()
    done = subprocess.run([sys.executable, str(APP), "run", str(study_file), "--out", str(out)],
                          capture_output=True, text=True, timeout=60)
    assert done.returncode == 0, done.stderr
    assert {path.name for path in out.glob("*.npz")} == {
        "sweep_short_collector.npz", "sweep_long_collector.npz"}


# --- disks ----------------------------------------------------------------------------------------


@pytest.mark.nightly
@pytest.mark.parametrize("size", ["8k", "16k", "32k", "64k", "100k", "150k", "250k", "400k", "1m"])
def test_really_full_disk_costs_only_what_has_no_room(tmp_path, study_file, size):
    """On a disk of a few kilobytes, where the system lets us have one."""
    disk = tmp_path / "disk"
    disk.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", str(disk)]
    if subprocess.run(mount, capture_output=True).returncode:
        pytest.skip("no disk may be mounted here")
    try:
        for _ in range(2):
            done = subprocess.run(
                [sys.executable, str(APP), "run", str(study_file), "--out", str(disk / "out")],
                capture_output=True, text=True, timeout=60,
            )
            assert done.returncode in (0, 1, 2) and "Traceback" not in done.stderr, done.stderr
            remarks = [line for line in done.stderr.replace("\r", "\n").splitlines()
                       if line.startswith("wavesim:")]
            assert done.returncode == 0 or any("No space left" in line for line in remarks)
            assert all(len(line) < 320 for line in remarks)
            assert "B - A" in done.stdout or done.returncode == 2  # the tables are always printed
            for path in (disk / "out").glob("*.npz"):
                assert Sweep.load(path).rpm.tolist() == RPM.tolist()
    finally:
        subprocess.run(["umount", str(disk)], check=True)


@pytest.mark.nightly
def test_disk_that_may_only_be_read_is_told_before_anything_is_computed(tmp_path, study_file):
    disk = tmp_path / "disk"
    disk.mkdir()
    if subprocess.run(["mount", "-t", "tmpfs", "-o", "ro", "tmpfs", str(disk)],
                      capture_output=True).returncode:
        pytest.skip("no disk may be mounted here")
    try:
        done = subprocess.run(
            [sys.executable, str(APP), "run", str(study_file), "--out", str(disk)],
            capture_output=True, text=True, timeout=60,
        )
        assert done.returncode == 2 and done.stdout == ""
        assert "Read-only file system" in done.stderr and done.stderr.count("\n") == 1
    finally:
        subprocess.run(["umount", str(disk)], check=True)


# --- damaged stores and caches --------------------------------------------------------------------


@many(15, 200)
def test_damaged_store_is_told_left_alone_and_computed_again(
    tmp_path, monkeypatch, coarse_study, seed, count
):
    monkeypatch.setattr(wavesim.many.work, "run_point", lambda e, x, rpm, **_: invented_point(rpm))
    chance, store = random.Random(seed), Store(tmp_path)
    pair = coarse_study.engine, coarse_study.exhausts["short collector"]

    def swept():
        return speed_sweep(*pair, speeds(6), settings=Settings(), threads=2, store=store,
                           progress=False)

    swept()
    broken = {}
    for i in range(count):
        path = chance.choice(sorted(tmp_path.glob("*.npz")))
        sound = path.read_bytes()
        damage(chance, path)
        if path.read_bytes() != sound:
            broken[path] = path.read_bytes()
        sweep = within(30.0, swept)
        assert np.array_equal(sweep["torque"], 0.01 * np.array(speeds(6))), i
        assert all(path.read_bytes() == data for path, data in broken.items()), i
    found = store.check()
    assert found.foreign == () and set(found.damaged) <= {path.name for path in broken}
    assert len(found.damaged) > len(broken) // 2  # some changes of a name or a date matter not


@many(2, 25)
def test_damaged_kernel_cache_is_compiled_anew(tmp_path, seed, count):
    chance = random.Random(seed)
    environment = os.environ | {"WAVESIM_CACHE": str(tmp_path)}

    def compiled():
        return subprocess.run([sys.executable, str(CACHE)], capture_output=True, text=True,
                              env=environment, timeout=120)

    assert compiled().stdout == "0 1\n"
    for _ in range(count):
        (path,) = tmp_path.rglob("*half_slope*")
        sound = path.read_bytes()
        damage(chance, path)
        is_sound = path.read_bytes() == sound
        done = compiled()
        assert done.returncode == 0 and done.stdout == ("1 0\n" if is_sound else "0 1\n")
        assert done.stderr.count("\n") == (0 if is_sound else 1)
        assert compiled().stdout == "1 0\n"


@many(200, 3000)
def test_damaged_kernel_is_never_taken_for_a_sound_one(tmp_path, monkeypatch, seed, count):
    monkeypatch.setattr(jit, "FOLDER", str(tmp_path))
    chance, path = random.Random(seed), tmp_path / "a.nbc"
    content = random.Random(1).randbytes(3000)
    jit._write(path, content)
    sound = path.read_bytes()
    for _ in range(count):
        path.write_bytes(sound)
        damage(chance, path)
        assert (jit._content(path) == content) == (path.exists() and path.read_bytes() == sound)
