"""The store: nothing lost, nothing repeated, whatever is killed, damaged or shared."""

import json
import os
import pickle
import random
import shutil
import signal
import subprocess
import sys
import time
import tracemalloc
import zipfile
from collections import Counter
from pathlib import Path

import numpy as np
import pytest
from store_worker import invented_point, speeds

import wavesim.many.store
import wavesim.many.work
from wavesim import (
    EngineGas,
    InputError,
    PerfectGas,
    Settings,
    SolverError,
    Store,
    Sweep,
    demo_path,
    load,
    run_point,
    speed_sweep,
)
from wavesim.many.store import FORMAT, point_key, source_digest
from wavesim.results.compact import STEPS
from wavesim.results.files import read_npz, write_npz
from wavesim.results.points import Failure
from wavesim.results.traces import Samples

CHEAP = Settings(cell_length=0.1, sample_deg=10.0, tolerance=5e-2)
PACKAGE = Path(wavesim.__file__).parent
WORKER = Path(__file__).with_name("store_worker.py")
COUNT = 40
KEY, OTHER = "a" * 64, "b" * 64


@pytest.fixture(scope="module")
def system():
    study = load(demo_path("collector"))
    return study.engine, study.exhausts[study.base]


@pytest.fixture
def store(tmp_path):
    return Store(tmp_path / "store")


def same(a, b):
    """True if two points agree to the last bit, their traces in ducts to what files round."""
    return (
        (a.rpm, a.audit, a.meta) == (b.rpm, b.audit, b.meta)
        and repr(a.values) == repr(b.values)  # NaN included
        and a.cylinders.keys() == b.cylinders.keys()
        and all(
            np.array_equal(a.cylinders[name], b.cylinders[name], equal_nan=True)
            for name in a.cylinders
        )
        and (a.samples is None) == (b.samples is None)
        and (a.samples is None or (
            np.all(np.abs(a.samples.cells.astype(float) - b.samples.cells)
                   <= 0.51 * np.array(STEPS)[:, None])
            and a.samples.layout == b.samples.layout
        ))
    )  # fmt: skip


# --- killed -------------------------------------------------------------------------------------


def start_worker(tmp_path, seconds=0.03):
    arguments = [tmp_path / "store", tmp_path / "log", COUNT, seconds]
    return subprocess.Popen([sys.executable, WORKER, *map(str, arguments)])


def read_log(tmp_path):
    """Pairs (word, speed) in the order they were written."""
    path = tmp_path / "log"
    lines = path.read_text().splitlines() if path.exists() else []
    return [(word, float(rpm)) for word, rpm in map(str.split, lines)]


def wait_for_more(tmp_path, process, count, already):
    """Wait until the worker has kept `count` more points."""
    deadline = time.monotonic() + 60.0
    while process.poll() is None and time.monotonic() < deadline:
        if sum(word == "kept" for word, _ in read_log(tmp_path)) >= already + count:
            return
        time.sleep(0.002)


def test_study_killed_three_times_repeats_nothing_and_loses_nothing(tmp_path):
    chance = random.Random(7)
    for _ in range(3):
        before = read_log(tmp_path)
        worker = start_worker(tmp_path)
        wait_for_more(tmp_path, worker, chance.randint(3, 9), Counter(w for w, _ in before)["kept"])
        time.sleep(chance.uniform(0.0, 0.03))
        worker.send_signal(signal.SIGKILL)
        assert worker.wait() == -signal.SIGKILL
        kept = {rpm for word, rpm in before if word == "kept"}
        started = {rpm for word, rpm in read_log(tmp_path)[len(before):] if word == "started"}
        assert not kept & started  # what was finished is not even begun again
    assert start_worker(tmp_path).wait() == 0
    log = read_log(tmp_path)
    kept = Counter(rpm for word, rpm in log if word == "kept")
    assert max(kept.values()) == 1 and set(kept) <= set(speeds(COUNT))
    assert len(kept) >= COUNT - 3  # a kill may fall between keeping a point and saying so
    # Each kill cost at most what was in work: two points in threads and two not put away yet.
    assert COUNT <= sum(word == "started" for word, _ in log) <= COUNT + 3 * 4
    found = Store(tmp_path / "store").check()
    assert found == (COUNT, (), ())


def test_two_processes_share_a_folder_and_the_work(tmp_path):
    workers = [start_worker(tmp_path) for _ in range(2)]
    assert [worker.wait() for worker in workers] == [0, 0]  # each checks its complete sweep
    started = Counter(rpm for word, rpm in read_log(tmp_path) if word == "started")
    assert started == Counter(speeds(COUNT))
    assert Store(tmp_path / "store").check() == (COUNT, (), ())


def test_claim_of_a_killed_process_is_free_again(store):
    code = (f"import time; from wavesim import Store; s = Store({str(store.folder)!r}); "
            f"print(s.claim({KEY!r}), flush=True); time.sleep(60)")
    other = subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True)
    assert other.stdout.readline() == "True\n"
    assert not store.claim(KEY) and store.claim(OTHER)
    other.kill()
    other.wait()
    other.stdout.close()
    assert store.claim(KEY)


def test_claim_holds_against_other_objects_of_the_process(store):
    twin = Store(store.folder)
    assert store.claim(KEY) and not twin.claim(KEY)
    twin.check()
    del twin
    assert not Store(store.folder).claim(KEY)
    store.release(KEY)
    assert Store(store.folder).claim(KEY)


def test_without_locks_everything_can_be_claimed(store, monkeypatch):
    monkeypatch.setattr(wavesim.many.store, "fcntl", None)
    assert store.claim(KEY) and not store.claim(KEY)
    store.release(KEY)
    assert store.claim(KEY)


# --- kept -----------------------------------------------------------------------------------------


def test_point_comes_back_to_the_last_bit(system, store):
    point = run_point(*system, 6000, settings=CHEAP)
    store.put(KEY, point)
    assert same(store.get(KEY), point) and store.get(OTHER) is None
    assert store.get(KEY).exhaust == system[1] and (store.written, store.found) == (1, 2)


def test_scalars_do_not_stand_in_for_traces(store):
    point = invented_point(2000.0)
    bare = invented_point(2000.0)
    object.__setattr__(bare, "samples", None)
    store.put(KEY, bare)
    assert store.get(KEY) is None and same(store.get(KEY, traces=False), bare)
    store.put(KEY, point)
    assert same(store.get(KEY), point) and store.check().finished == 2


def test_failure_is_finished_too(system, store, monkeypatch):
    few = CHEAP.replace(cell_length=0.03, max_steps_per_cycle=1500)
    first = speed_sweep(*system, [2000, 6000], settings=few, store=store, progress=False)
    assert list(first.failures) == [2000.0] and store.written == 2

    def never(*_, **__):
        raise AssertionError("computed again")

    monkeypatch.setattr(wavesim.many.work, "run_point", never)
    again = speed_sweep(*system, [2000, 6000], settings=few, store=store, progress=False)
    assert again.failures == first.failures and same(again[6000], first[6000])
    with pytest.raises(SolverError, match="Step limit"):
        store.run_point(*system, 2000, settings=few)


def test_bad_input_is_not_kept(system, store):
    engine, exhaust = system
    wrong = exhaust.replace(primary=None, primaries=[exhaust.primary] * 3)
    with pytest.raises(InputError):
        speed_sweep(engine, wrong, [6000], settings=CHEAP, store=store, progress=False)
    assert store.check().finished == 0 and store.claim(point_key(engine, wrong, 6000, CHEAP))


def test_speed_after_a_kept_one_starts_cold(system, store):
    speeds = [5000, 5500, 6000]
    whole = speed_sweep(*system, speeds, settings=CHEAP, threads=1, store=store, progress=False)
    (store.folder / f"{point_key(*system, 6000, CHEAP)}.npz").unlink()
    again = speed_sweep(*system, speeds, settings=CHEAP, threads=1, store=store, progress=False)
    assert again[6000].torque == run_point(*system, 6000, settings=CHEAP).torque
    assert again[6000].torque == pytest.approx(whole[6000].torque, rel=CHEAP.tolerance)


def test_store_computes_a_single_point_once(system, store):
    gas = PerfectGas(1.35, 288.0, heat_per_fresh=2.7e6, fuel_fraction=0.06)
    first = store.run_point(*system, 6000, settings=CHEAP, gas=gas)
    assert same(store.run_point(*system, 6000, settings=CHEAP, gas=gas), first)
    assert (store.written, store.found) == (1, 1)


# --- the key --------------------------------------------------------------------------------------


def test_key_depends_on_everything_and_on_nothing_else(system, monkeypatch):
    engine, exhaust = system
    base = point_key(engine, exhaust, 3000, CHEAP)
    assert base == point_key(engine, exhaust, 3000.0, CHEAP.replace()) and len(base) == 64
    others = [
        point_key(engine.replace(compression_ratio=10.6), exhaust, 3000, CHEAP),
        point_key(engine, exhaust.with_collector(length=0.1500001), 3000, CHEAP),
        point_key(engine, exhaust, 3000.0001, CHEAP),
        point_key(engine, exhaust, 3000, CHEAP.replace(cfl=0.8)),
        point_key(engine, exhaust, 3000, CHEAP, gas=PerfectGas()),
        point_key(engine, exhaust, 3000, CHEAP, gas=PerfectGas(1.3)),
        point_key(engine, exhaust, 3000, CHEAP, gas=EngineGas()),
        point_key(engine, exhaust, 3000, CHEAP, fuel_flow=1e-3),
    ]
    monkeypatch.setattr(wavesim.many.store, "_library", lambda: "next version")
    others.append(point_key(engine, exhaust, 3000, CHEAP))
    assert len({base, *others}) == len(others) + 1


#: Places whose source does not move a result, as the store should see them.
SHOWING = {
    "__init__.py", "__main__.py", "console.py", "words.py", "writing.py", "results/bill.py",
    "fields/tabular.py", "results/compare.py", "results/comparisons.py", "results/conditions.py",
    "results/curves.py",
    *(f"{room}/{path.name}" for room in ("exact", "show", "dyno", "front", "many")
      for path in (PACKAGE / room).glob("*.py")),
}


def test_edit_of_any_module_that_computes_changes_the_key_and_showing_does_not(tmp_path):
    copied = Path(shutil.copytree(PACKAGE, tmp_path / "wavesim"))
    sound = source_digest(copied)
    assert sound == source_digest(PACKAGE)
    blind = set()
    for path in copied.rglob("*.py"):
        source = path.read_bytes()
        path.write_bytes(source + b"# edited\n")
        if source_digest(copied) == sound:
            blind.add(path.relative_to(copied).as_posix())
        path.write_bytes(source)
    assert blind == SHOWING


def test_new_module_deep_in_the_house_changes_the_key(tmp_path):
    copied = Path(shutil.copytree(PACKAGE, tmp_path / "wavesim"))
    (copied / "march" / "deeper").mkdir()
    (copied / "march" / "deeper" / "new.py").write_text("")
    assert source_digest(copied) != source_digest(PACKAGE)


def test_key_is_the_same_in_another_process(system):
    code = ("from wavesim import *; from wavesim.many.store import point_key; "
            "s = load(demo_path('collector')); "
            "print(point_key(s.engine, s.exhausts[s.base], 3000, Settings()))")
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True,
        env={**os.environ, "PYTHONHASHSEED": "77"},
    )
    assert done.stdout.strip() == point_key(*system, 3000, Settings())


# --- damaged and foreign files --------------------------------------------------------------------


def damage(path, how):
    data = path.read_bytes()
    path.write_bytes({
        "empty": b"", "cut short": data[: len(data) // 2], "text": b"rpm,torque\n1,2\n",
        "flipped": data[:-400] + bytes([data[-400] ^ 8]) + data[-399:],
        "zeros": bytes(len(data)), "cut header": data[100:],
    }[how])  # fmt: skip


@pytest.mark.parametrize("how", ["empty", "cut short", "text", "flipped", "zeros", "cut header"])
def test_damaged_file_is_told_left_alone_and_replaced_beside(store, how):
    store.put(KEY, invented_point(2000.0))
    path = store.folder / f"{KEY}.npz"
    damage(path, how)
    left = path.read_bytes()
    assert store.get(KEY) is None and store.check() == (0, (path.name,), ())
    assert f"damaged file, left alone: {path.name}" in store.check().summary()
    store.put(KEY, invented_point(2000.0))
    assert same(store.get(KEY), invented_point(2000.0)) and path.read_bytes() == left
    assert store.check() == (1, (path.name,), ())
    damage(store.folder / f"{KEY}.2.npz", how)
    store.put(KEY, invented_point(2000.0))
    assert same(store.get(KEY), invented_point(2000.0)) and store.check().finished == 1


def test_no_flipped_bit_changes_a_point(store):
    """Wherever a bit flips, the file is refused or the point is still the same."""
    point = invented_point(2000.0)
    store.put(KEY, point)
    path = store.folder / f"{KEY}.npz"
    whole = path.read_bytes()
    chance = random.Random(3)
    refused = 0
    for _ in range(300):
        at, bit = chance.randrange(len(whole)), chance.randrange(8)
        path.write_bytes(whole[:at] + bytes([whole[at] ^ (1 << bit)]) + whole[at + 1 :])
        found = store.get(KEY)
        assert found is None or same(found, point)
        refused += found is None
    assert refused > 200


def rewritten(path, change):
    """Write a record anew with other arrays or another header, as a forger without a seal would."""
    with np.load(path) as file:
        arrays = {name: file[name] for name in file.files}
    header = json.loads(bytes(arrays["header"]).decode())
    change(arrays, header)
    arrays["header"] = np.frombuffer(json.dumps(header).encode(), dtype=np.uint8)
    np.savez(path, **arrays)


def resealed(path, change):
    """Forge a record with a seal that fits."""
    arrays, header = read_npz(path, FORMAT, "Store")
    change(arrays, header)
    with open(path, "wb") as file:
        write_npz(file, arrays, header, compress=False)


def test_clearing_removes_finished_points_and_nothing_else(store):
    store.put(KEY, invented_point(2000.0))
    store.put(OTHER, Failure("SolverError", "It burst."))
    damaged = store.folder / f"{'c' * 64}.npz"
    damaged.write_bytes(b"PK and no more")
    misnamed = store.folder / f"{'d' * 64}.npz"
    misnamed.write_bytes((store.folder / f"{KEY}.npz").read_bytes())
    (store.folder / "notes.txt").write_text("mine")
    assert store.clear() == 2 and store.get(KEY) is None and store.get(OTHER) is None
    assert store.check() == (0, (damaged.name, misnamed.name), ("notes.txt",))
    store.put(KEY, invented_point(2000.0))
    assert store.get(KEY) is not None


def test_record_that_another_program_changed_is_damaged(store):
    store.put(KEY, invented_point(2000.0))
    path = store.folder / f"{KEY}.npz"
    rewritten(path, lambda arrays, header: header["point"]["values"].update(torque=999.0))
    assert store.get(KEY) is None and store.check().damaged == (path.name,)
    path.unlink()
    store.put(KEY, invented_point(2000.0))
    rewritten(path, lambda arrays, header: arrays["0/cells"].fill(1.0))
    assert store.get(KEY) is None
    path.unlink()
    store.put(KEY, invented_point(2000.0))
    rewritten(path, lambda arrays, header: arrays.pop("seal"))
    assert store.get(KEY) is None


def rounded(header):
    return header["point"]["rounded"]


FORGERIES = {
    "no torque": lambda a, h: h["point"]["values"].pop("torque"),
    "torque in words": lambda a, h: h["point"]["values"].update(torque="much"),
    "torque yes": lambda a, h: h["point"]["values"].update(torque=True),
    "no speed": lambda a, h: h["point"].pop("rpm"),
    "speed as a list": lambda a, h: h["point"].update(rpm=[2000.0]),
    "no audit": lambda a, h: h["point"].update(audit=None),
    "no point": lambda a, h: h.update(point=None),
    "a failure without words": lambda a, h: h.update(failure=["SolverError"]),
    "another key": lambda a, h: h.update(key=OTHER),
    "no key": lambda a, h: h.pop("key"),
    "another format": lambda a, h: h.update(format="wavesim sweep 1"),
    "a list for a header": lambda a, h: h.clear(),
    "no samples": lambda a, h: a.pop("0/cells"),
    "samples of another length": lambda a, h: a.update({"0/cells": a["0/cells"][:1]}),
    "samples of another shape": lambda a, h: rounded(h)["shapes"].update(cells=[-3, -5, 4]),
    "samples of three bytes": lambda a, h: rounded(h).update(bytes=3),
    "samples of no step": lambda a, h: rounded(h).update(steps=["x"] * 5),
    "samples without end": lambda a, h: rounded(h)["shapes"].update(cells=[10**9, 5, 10**9]),
    "no cylinders": lambda a, h: a.pop("0/cylinders"),
    "layout in words": lambda a, h: h["point"].update(layout="none"),
}


@pytest.mark.parametrize("how", FORGERIES)
def test_forged_record_is_told_and_its_point_computed_again(store, how):
    store.put(KEY, invented_point(2000.0))
    path = store.folder / f"{KEY}.npz"
    resealed(path, FORGERIES[how])
    assert store.get(KEY) is None and store.check() == (0, (path.name,), ())
    store.put(KEY, invented_point(2000.0))
    assert same(store.get(KEY), invented_point(2000.0))


def archive(path, members):
    """Packed members; zeros follow their content, in millions."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, (content, zeros) in members.items():
            with packed.open(name, "w", force_zip64=True) as file:
                file.write(content)
                for _ in range(zeros):
                    file.write(bytes(10**6))


def npy(shape, content=b"", kind="<f8"):
    """An array file whose head says what it likes."""
    head = f"{{'descr': {kind!r}, 'fortran_order': False, 'shape': {shape}, }}"
    head += " " * (63 - (len(head) + 10) % 64) + "\n"
    return b"\x93NUMPY\x01\x00" + len(head).to_bytes(2, "little") + head.encode() + content


class Bomb:
    def __reduce__(self):
        return (os.abort, ())


BOMBS = {
    "millions of zeros": {"header.npy": (npy((300 * 10**6,), kind="|u1"), 300)},
    "a head that promises much": {"header.npy": (npy((2**40,)), 0)},
    "a head of many dimensions": {"header.npy": (npy((1,) * 40, bytes(8)), 0)},
    "a pickle": {"header.npy": (npy((1,), pickle.dumps(Bomb()), "|O"), 0)},
    "a pickle by its name": {"header.pkl": (pickle.dumps(Bomb()), 0)},
    "a deep header": {"header.npy": (npy((10**5,), b"[" * 10**5, "|u1"), 0)},
    "a long number": {"header.npy": (npy((5000,), b"1" * 5000, "|u1"), 0)},
    "no array": {"header.npy": (b"text", 0)},
    "no members": {},
}


@pytest.mark.parametrize("how", BOMBS)
def test_archive_made_to_burst_is_refused_before_it_is_unpacked(store, how):
    path = store.folder / f"{KEY}.npz"
    archive(path, BOMBS[how])
    tracemalloc.start()
    assert store.get(KEY) is None and store.check() == (0, (path.name,), ())
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 2e7
    with pytest.raises(InputError, match="damaged"):
        Sweep.load(path)


def test_large_sweep_of_nearly_nothing_can_be_read(tmp_path):
    """What is packed well is no bomb."""
    point = invented_point(2000.0)
    quiet = Samples(np.arange(720.0), "theta_deg", np.zeros((720, 5, 3000), np.float32),
                    np.zeros((720, 0, 5)), np.zeros((720, 0, 3)), point.samples.layout)
    object.__setattr__(point, "samples", quiet)
    Sweep([point]).save(tmp_path / "a.npz")
    assert (tmp_path / "a.npz").stat().st_size < 1e5
    assert Sweep.load(tmp_path / "a.npz")[2000].samples.cells.shape == (720, 5, 3000)


def test_pipes_and_devices_in_the_place_of_records_are_not_waited_for(store):
    os.mkfifo(store.folder / f"{KEY}.npz")
    (store.folder / f"{OTHER}.npz").symlink_to("/dev/zero")
    assert store.get(KEY) is None and store.get(OTHER) is None
    assert len(store.check().damaged) == 2
    for key in (KEY, OTHER):
        store.put(key, invented_point(2000.0))
        assert same(store.get(key), invented_point(2000.0))


def test_links_of_strangers_lead_nowhere(store, tmp_path):
    """Neither to a file that would be overwritten nor to one that would be made."""
    mine = tmp_path / "mine.txt"
    mine.write_text("precious")
    (store.folder / f"{KEY}.npz").symlink_to(mine)
    (store.folder / f"{OTHER}.npz").symlink_to(tmp_path / "new.txt")
    for key in (KEY, OTHER):
        store.put(key, invented_point(2000.0))
        assert same(store.get(key), invented_point(2000.0))
    assert mine.read_text() == "precious" and not (tmp_path / "new.txt").exists()
    (tmp_path / "other").mkdir()
    (tmp_path / "other" / "claims").symlink_to(tmp_path / "made.txt")
    with pytest.raises(InputError, match="cannot use the folder"):
        Store(tmp_path / "other")
    assert not (tmp_path / "made.txt").exists()


def test_two_processes_that_keep_the_same_point_replace_nothing(store, monkeypatch):
    """Without locks both may compute it; the second finds the name taken at the last moment."""
    real = os.link

    def late(source, place):
        monkeypatch.setattr(os, "link", real)
        Path(place).write_bytes(b"another process came first")
        return real(source, place)

    monkeypatch.setattr(os, "link", late)
    store.put(KEY, invented_point(2000.0))
    assert (store.folder / f"{KEY}.npz").read_bytes() == b"another process came first"
    assert same(store.get(KEY), invented_point(2000.0))


def test_file_with_the_name_of_another_point_is_damaged(store):
    store.put(KEY, invented_point(2000.0))
    (store.folder / f"{KEY}.npz").rename(store.folder / f"{OTHER}.npz")
    assert store.get(OTHER) is None and store.check() == (0, (f"{OTHER}.npz",), ())


def test_foreign_files_are_told_and_left_alone(store):
    store.put(KEY, Failure("SolverError", "it burst"))
    (store.folder / "notes.txt").write_text("mine")
    (store.folder / "folder").mkdir()
    np.savez(store.folder / "sweep.npz", a=np.arange(3))
    assert store.check() == (1, (), ("folder", "notes.txt", "sweep.npz"))
    assert "foreign file, left alone: notes.txt" in store.check().summary()
    Store(store.folder)
    assert (store.folder / "notes.txt").read_text() == "mine"


def test_only_old_temporary_files_of_its_own_are_swept_up(store):
    names = [f".{KEY}.123.0.tmp", f".{KEY}.123.1.tmp", ".mine.tmp"]
    for name in names:
        (store.folder / name).write_bytes(b"half")
    for name in (names[0], names[2]):
        os.utime(store.folder / name, (0.0, 0.0))
    Store(store.folder)
    assert [(store.folder / name).exists() for name in names] == [False, True, True]


def test_folder_that_cannot_be_used_is_refused(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError, match="cannot use the folder"):
        Store(tmp_path / "file" / "store")


# --- sweeps whose traces lie in a store beside them ----------------------------------------------


@pytest.fixture
def beside(system, tmp_path):
    """A sweep computed with a store beside its file, and the path of the file."""
    store = Store(tmp_path / "store")
    sweep = speed_sweep(*system, [5500, 6000], settings=CHEAP, store=store, progress=False)
    path = tmp_path / "sweep.npz"
    sweep.save_beside(path, "store", [point.kept for point in sweep])
    return sweep, path


def test_sweep_beside_its_store_is_small_and_has_its_traces_from_there(beside):
    sweep, path = beside
    again = Sweep.load(path)
    assert path.stat().st_size < 60_000
    for old, new in zip(sweep, again, strict=True):
        assert same(old, new) and old.kept == new.kept
        assert new.restart.keys() == old.restart.keys()
        flow = [point.trace("mass_flow", "outlet").values for point in (old, new)]
        assert flow[1] == pytest.approx(flow[0], rel=1e-6, abs=1e-9)


def test_sweep_whose_store_is_gone_keeps_its_quantities(beside):
    sweep, path = beside
    shutil.rmtree(path.parent / "store")
    again = Sweep.load(path)
    assert np.array_equal(again["torque"], sweep["torque"])
    with pytest.raises(InputError, match="traces were not kept.*lie in its folder"):
        again[6000].trace("pressure", "outlet")


def test_damaged_point_of_a_store_costs_its_traces_alone(beside):
    sweep, path = beside
    kept = path.parent / "store" / f"{sweep[6000].kept}.npz"
    kept.write_bytes(kept.read_bytes()[:2000])
    again = Sweep.load(path)
    assert again[6000].samples is None and again[5500].samples is not None
    Store(path.parent / "store").put(sweep[6000].kept, sweep[6000])  # goes to KEY.2.npz
    assert Sweep.load(path)[6000].samples is not None


@pytest.mark.parametrize("kept", [
    {"folder": "..", "key": KEY}, {"folder": "a/b", "key": KEY}, {"folder": "/tmp", "key": KEY},
    {"folder": "store", "key": "../secret"}, {"folder": "store"}, {"folder": 7, "key": KEY},
])
def test_sweep_fetches_traces_from_nowhere_but_a_folder_beside_it(beside, kept):
    _, path = beside
    arrays, header = read_npz(path, "wavesim sweep 3", "Sweep")
    header["points"][0]["kept"] = kept
    with open(path, "wb") as file:
        write_npz(file, arrays, header, compress=True)
    with pytest.raises(InputError, match="damaged or was not written by Sweep.save"):
        Sweep.load(path)


def test_whole_sweep_needs_no_store(beside, tmp_path):
    sweep, path = beside
    sweep.save(tmp_path / "whole.npz")
    shutil.rmtree(path.parent / "store")
    assert Sweep.load(tmp_path / "whole.npz")[6000].samples is not None
