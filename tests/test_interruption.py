"""Nothing hangs and nothing is lost: Ctrl-C at any moment, full disks, folders that vanish."""

import random
import shutil
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import numpy as np
import pytest
from full_disk import disk_full_at
from store_worker import invented_point, speeds

import wavesim.many.work
from wavesim import InputError, Settings, Store, speed_sweep
from wavesim.many.store import point_key

WORKER = Path(__file__).with_name("interrupt_worker.py")
SPEEDS = speeds(8)


@pytest.fixture
def system(coarse_study):
    return coarse_study.engine, coarse_study.exhausts["short collector"]


@pytest.fixture
def store(tmp_path):
    return Store(tmp_path / "store")


@pytest.fixture(autouse=True)
def quick_points(monkeypatch):
    """Points are invented, and are there at once."""
    monkeypatch.setattr(wavesim.many.work, "run_point", lambda e, x, rpm, **_: invented_point(rpm))


def swept(system, store, seconds=20.0, **options):
    """A sweep, which must come to an end within some seconds."""
    found = []

    def work():
        try:
            found.append(speed_sweep(
                *system, SPEEDS, settings=Settings(), threads=2, store=store, progress=False,
                **options,
            ))
        except Exception as error:
            found.append(error)

    thread = threading.Thread(target=work, daemon=True)
    thread.start()
    thread.join(seconds)
    assert found, "the sweep hangs"
    if isinstance(found[0], Exception):
        raise found[0]
    return found[0]


def is_complete(sweep):
    return np.array_equal(sweep["torque"], 0.01 * np.array(SPEEDS)) and not sweep.failures


# --- the store cannot be written -----------------------------------------------------------------


@pytest.mark.parametrize("write", range(1, 12))
def test_full_disk_keeps_the_curve_in_memory_and_says_so_once(system, store, capsys, write):
    with disk_full_at(write) as disk:
        assert is_complete(swept(system, store))
    assert disk.refused
    (line,) = capsys.readouterr().err.splitlines()
    assert "No space left on device" in line and "stay in memory" in line and len(line) < 300
    assert [path.name for path in store.folder.iterdir() if path.suffix == ".tmp"] == []
    found = store.check()
    assert found.damaged == found.foreign == () and found.finished < len(SPEEDS)
    assert is_complete(swept(system, store))  # what had no space is computed again, nothing hangs
    assert store.check() == (len(SPEEDS), (), ())


def test_claims_are_free_after_any_error_of_the_store(system, store, monkeypatch):
    def broken(*_):
        raise ZeroDivisionError("the store has a fault")

    with monkeypatch.context() as patch:
        patch.setattr(Store, "put", broken)
        with pytest.raises(ZeroDivisionError):
            swept(system, store)
    assert is_complete(swept(system, store))


def test_claims_are_free_after_bad_input(system, store, monkeypatch):
    def refuse(*_, **__):
        raise InputError("Engine: it does not fit.")

    with monkeypatch.context() as patch:
        patch.setattr(wavesim.many.work, "run_point", refuse)
        with pytest.raises(InputError, match="does not fit"):
            swept(system, store)
    assert is_complete(swept(system, store))


def test_folder_that_is_removed_during_the_work_costs_no_result(
    system, store, monkeypatch, capsys
):
    def run(engine, exhaust, rpm, **_):
        while rpm == SPEEDS[3] and store.folder.exists():  # a file may just be written there
            shutil.rmtree(store.folder, ignore_errors=True)
        return invented_point(rpm)

    with monkeypatch.context() as patch:
        patch.setattr(wavesim.many.work, "run_point", run)
        assert is_complete(swept(system, store))
    assert capsys.readouterr().err.count("stay in memory") == 1
    with pytest.raises(InputError, match="cannot use the folder"):
        store.check()
    again = Store(store.folder)
    assert is_complete(swept(system, again)) and again.check() == (len(SPEEDS), (), ())


def test_claims_hold_against_others_after_their_file_was_replaced(system, store):
    (store.folder / "claims").unlink()
    key = point_key(*system, SPEEDS[0], Settings())
    assert Store(store.folder).claim(key)
    code = f"from wavesim import Store; print(Store({str(store.folder)!r}).claim({key!r}))"
    other = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert other.stdout == "False\n"


def test_waiting_for_another_process_is_said_once(system, store, capsys):
    keys = [point_key(*system, rpm, Settings()) for rpm in SPEEDS[2:4]]
    code = (f"import sys; from wavesim import Store; s = Store({str(store.folder)!r}); "
            f"print(all(s.claim(k) for k in {keys!r}), flush=True); sys.stdin.read()")
    other = subprocess.Popen([sys.executable, "-c", code], text=True, stdin=subprocess.PIPE,
                             stdout=subprocess.PIPE)
    assert other.stdout.readline() == "True\n"
    threading.Timer(1.0, other.kill).start()
    assert is_complete(swept(system, store))
    other.communicate()
    said = capsys.readouterr().err
    assert said == ("wavesim: 2 of these points are computed by another process that uses the "
                    "same store; waiting for it.\n")


# --- Ctrl-C ---------------------------------------------------------------------------------------


def interrupted_sweep(folder, moments, *, count=40, seconds=0.03, deaf=False):
    """Press Ctrl-C at moments after the start of a sweep [s]; returns what the worker prints.

    Those are seconds from the first Ctrl-C to the end, points in memory, keys that can be claimed.
    """
    command = [sys.executable, WORKER, folder, str(count), str(seconds), str(int(deaf))]
    worker = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    assert worker.stdout.readline() == "ready\n"
    clock = time.monotonic()
    for moment in moments:
        time.sleep(max(0.0, clock + moment - time.monotonic()))
        worker.send_signal(signal.SIGINT)
    out, err = worker.communicate(timeout=60)
    assert worker.returncode == 0 and err == "", err
    return tuple(map(float, out.split()))


def test_interrupted_sweep_keeps_what_was_finished(tmp_path):
    taken, kept, free = interrupted_sweep(tmp_path, [0.3])
    assert taken < 1.0 and 0 < kept < 40 and free == 40
    assert Store(tmp_path).check().finished == kept


def test_second_interruption_does_not_wait_for_what_cannot_stop(tmp_path):
    taken, kept, free = interrupted_sweep(tmp_path, [0.3, 0.6], seconds=4.0, deaf=True)
    assert taken < 1.5 and kept == 0 and free == 40


def test_what_cannot_stop_is_not_waited_for_long(tmp_path):
    taken, _, free = interrupted_sweep(tmp_path, [0.3], seconds=4.5, deaf=True)
    assert taken < 3.5 and free == 40


@pytest.mark.parametrize("seed", [11, pytest.param(12, marks=pytest.mark.nightly)])
def test_interruptions_at_any_moment_leave_all_claims_free(tmp_path, seed):
    """Twice within some milliseconds, or further apart, while points finish all the time."""
    chance = random.Random(seed)
    for i in range(3 if seed == 11 else 30):
        first = chance.uniform(0.0, 0.5)
        second = first + chance.choice([0.0, 1e-4, 1e-3, chance.uniform(0.0, 0.2)])
        folder = tmp_path / str(i)
        _, kept, free = interrupted_sweep(folder, [first, second], seconds=0.01, count=60)
        found = Store(folder).check()
        assert free == 60 and found.damaged == found.foreign == ()
        assert found.finished == kept
