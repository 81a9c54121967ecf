"""The back-end for GPUs: where there is no GPU, all of it but the device itself."""

import ast
import json
import os
import re
import subprocess
import sys
import time
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from slow_gpu import SlowGpu

import wavesim as ws
from wavesim.many import host, pool
from wavesim.many.host import Space
from wavesim.many.store import Store, point_key
from wavesim.many.work import Task, compute, run_chains

HERE = Path(__file__).parent
COARSE = ws.Settings(cell_length=0.05, tolerance=0.02)
SPEEDS = (3000.0, 6000.0)


def has_compiler():
    """True if numba-cuda is there; an NVIDIA GPU need not be."""
    from importlib.util import find_spec

    return find_spec("numba_cuda") is not None


def has_gpu():
    """True if there is a GPU that can be used."""
    from wavesim.gpu.device import Device

    try:
        Device()
    except ws.InputError:
        return False
    return True


needs_compiler = pytest.mark.skipif(not has_compiler(), reason="numba-cuda is not installed")
needs_gpu = pytest.mark.skipif(not has_gpu(), reason="there is no NVIDIA GPU here")


@pytest.fixture(scope="module")
def slow_pool():
    """A pool whose device is the processor, with two host processes."""
    with pool.GpuPool(2, SlowGpu()) as made:
        yield made


@pytest.fixture
def as_gpu(slow_pool, monkeypatch):
    """Let `device="gpu"` mean that pool."""
    monkeypatch.setattr(pool, "gpu_pool", lambda hosts=None: slow_pool)
    return slow_pool


@pytest.fixture(scope="module")
def system(coarse_study):
    return coarse_study.engine, coarse_study.exhausts["short collector"]


# --- round the device -----------------------------------------------------------------------------


def test_what_lies_between_cycles_is_that_of_the_processor_to_the_last_bit(slow_pool, system):
    task = Task(*system, 4500.0, COARSE)
    one = run_chains([[task]], executor=slow_pool, threads=2, progress=False).chains[0][0]
    other = compute(task)
    assert one.values == other.values and one.audit["history"] == other.audit["history"]
    for name in ("cells", "stores", "faces"):
        assert np.array_equal(getattr(one.samples, name), getattr(other.samples, name))
    for name, values in other.restart["fine"]["state"].items():
        assert np.array_equal(one.restart["fine"]["state"][name], values, equal_nan=True)


def test_a_sweep_with_solved_walls_and_packed_silencers_is_the_same(as_gpu):
    study = ws.load(ws.demo_path("complete"))
    name = "complete, 51 mm"
    given = study.engine_of(name), study.exhausts[name], SPEEDS
    coarse = ws.Settings(cell_length=0.1, tolerance=0.02)
    here = ws.speed_sweep(*given, settings=coarse, progress=False)
    there = ws.speed_sweep(*given, settings=coarse, progress=False, device="gpu")
    assert np.array_equal(here.torque, there.torque)
    assert [p.meta["walls"] for p in here] == [p.meta["walls"] for p in there]


def test_an_exploration_is_the_same(as_gpu, system):
    space = {"exhaust.primary.length": [0.6, 1.0]}
    here, there = (
        ws.explore(*system, space, SPEEDS, settings=COARSE, progress=False, device=device)
        for device in ("cpu", "gpu")
    )
    assert np.array_equal(here.torque, there.torque) and here.torque.shape == (2, 2)


PATH = "exhaust.primary.length"
TINY = {"settings": ws.Settings(cell_length=0.2, sample_deg=10.0, tolerance=0.05),
        "progress": False}


@pytest.fixture(scope="module")
def single(system):
    """One cylinder with a pipe."""
    pipe = ws.Exhaust(primary=ws.Pipe("700 mm", "40 mm"), merge=None)
    return system[0].replace(firing_order=(1,)), pipe


def test_a_search_is_the_same(as_gpu, single):
    here, there = (
        ws.optimise(*single, {PATH: (0.5, 0.9)}, [4500.0], evaluations=10, generation=5,
                    device=device, **TINY)
        for device in ("cpu", "gpu")
    )
    assert np.array_equal(here.scores, there.scores) and len(here.scores) == 10


def test_slopes_are_the_same(as_gpu, single):
    here, there = (ws.sensitivities(*single, [PATH], [4500.0], device=device, **TINY)[PATH]
                   for device in ("cpu", "gpu"))
    assert here == there


@pytest.mark.slow
def test_a_fit_and_what_it_predicts_are_the_same(as_gpu, single):
    pulls = [[42.1, 39.4, 45.2], [41.7, 39.1, 45.1]]  # N m, invented

    def found(device):
        fitted = ws.fit([3000.0, 4500.0, 6000.0], pulls, *single,
                        {"engine.friction.constant": (0.0, 9e4)}, hold_back=0, device=device,
                        **TINY)
        ahead = ws.predict(fitted, single[1].with_primary(length=0.5), [4000.0, 5000.0],
                           device=device, progress=False)
        return fitted.values, ahead.half_width.tolist()

    assert found("cpu") == found("gpu")


def test_a_pull_goes_from_speed_to_speed(as_gpu):
    study = ws.load(ws.demo_path("complete"))
    name = "open collector"
    given = study.engine_of(name), study.exhausts[name], SPEEDS
    options = {"settings": ws.Settings(cell_length=0.1, tolerance=0.02), "progress": False,
               "pull": ws.Pull(300.0, walls="cold")}
    here = ws.speed_sweep(*given, **options)
    assert np.array_equal(ws.speed_sweep(*given, **options, device="gpu").torque, here.torque)


def test_a_failing_point_says_where_as_on_a_processor(as_gpu, system):
    few = COARSE.replace(max_steps_per_cycle=1000, cell_length=0.01)
    here, there = (
        ws.speed_sweep(*system, SPEEDS[:1], settings=few, progress=False, device=device)
        for device in ("cpu", "gpu")
    )
    assert here.failures and here.failures == there.failures


def test_a_wall_without_balance_is_the_fault_of_its_own_point_alone(monkeypatch):
    def update(points):
        if "bad" in points:
            raise ws.ConvergenceError("no balance")
        return [f"mean of {point}" for point in points]

    monkeypatch.setattr(host, "update_many", update)
    points = [SimpleNamespace(wanted=name, work=SimpleNamespace(send="send", throw="throw"))
              for name in ("one", "bad", "other")]
    answers = [(call, str(value)) for _, call, value in host._solved(points)]
    assert answers == [("send", "mean of one"), ("throw", "no balance"), ("send", "mean of other")]


def test_points_that_nobody_waits_for_are_dropped(system):
    with pool.GpuPool(1, SlowGpu()) as made:
        futures = [made.submit(compute, Task(*system, 3000.0 + i, COARSE)) for i in range(20)]
        cancelled = [future.cancel() for future in futures[1:]]
        assert all(cancelled) and futures[0].result().converged
        patience = time.monotonic() + 60.0
        while made._work and time.monotonic() < patience:
            time.sleep(0.05)
        assert not made._work and [host.load for host in made.hosts] == [0]


def test_a_device_that_cannot_be_made_ready_says_why(single):
    class Broken(SlowGpu):
        def lanes(self, memory, count):
            raise OSError("no pages")

    with (pool.GpuPool(1, Broken()) as broken,
          pytest.raises(ws.SolverError, match="the GPU failed: no pages")):
        run_chains([[Task(*single, 4500.0, TINY["settings"])]], executor=broken, progress=False)


@pytest.mark.parametrize("waiting, launches, marching, at_work, is_worth", [
    (0, 0, 0, 900, False),
    (1, 0, 0, 900, True),  # the device is idle
    (60, 1, 40, 900, True),  # it has room
    (60, 1, 50, 900, False),  # more will come, to fill it
    (100, 2, 250, 900, True),  # they fill it
    (60, 1, 50, 110, True),  # no more will come
    (800, 3, 100, 900, False),  # enough is queued
])
def test_a_launch_waits_for_points_that_may_come_and_for_no_others(
        waiting, launches, marching, at_work, is_worth):
    state = SimpleNamespace(
        _ready=[None] * waiting, _running=launches, _marching=marching,
        _work=dict.fromkeys(range(at_work)), device=SimpleNamespace(resident=100))
    assert pool.GpuPool._is_worth_it(state) is is_worth


def test_points_wait_for_the_device_and_those_that_do_not_fit_into_memory_for_room(system):
    class Tight(SlowGpu):
        pool, asking = None, 0

        def memory_for(self, size, lanes):
            return 3 * 2**20  # for one point with traces in each of two processes

        def lanes(self, memory, count):
            patience = time.monotonic() + 60.0
            while self.asking == 0 and time.monotonic() < patience:
                time.sleep(0.01)
                self.asking = len(self.pool._ready) if self.pool else 0
            return super().lanes(memory, count)

    device = Tight()
    with pool.GpuPool(2, device) as device.pool:
        tasks = [[Task(*system, rpm, COARSE)] for rpm in (2500.0, 3000.0, 3500.0, 4000.0, 5000.0)]
        done = run_chains(tasks, executor=device.pool, threads=5, traces=False, progress=False)
    assert [outcome.converged for chain in done.chains for outcome in chain] == [True] * 5
    assert device.asking > 0


def test_a_point_that_never_fits_is_refused_with_its_size(system):
    class Tiny(SlowGpu):
        def memory_for(self, size, lanes):
            return 2**18

    with pool.GpuPool(1, Tiny()) as tiny:
        done = run_chains([[Task(*system, 4500.0, COARSE)]], executor=tiny, strict=False,
                          progress=False)
    assert "takes" in done.chains[0][0].text and "MB" in done.chains[0][0].text


def test_a_point_with_more_cells_than_a_bench_holds_fails_with_their_number(as_gpu, single):
    found = ws.explore(*single, [{PATH: 4.5}], [4500.0], device="gpu", progress=False,
                       settings=ws.Settings(cell_length=5e-4, coarse_start=1.0))
    assert re.search(r"has \d+ cells, and a GPU marches at most 8192", found.failures[0])


@pytest.mark.parametrize("near, gas, points, shape", [
    (2453, 4035, 528, (132, 4, 6488)),  # the gas near the threads
    (2453, 5000, 528, (132, 4, 2453)),  # no room for it
    (2453, 4035, 100, (100, 1, 6488)),  # few points are spread
    (2453, 4035, 300, (100, 3, 6488)),
    (9000, 4035, 528, (132, 3, 9000)),  # ends and stores for three crews alone
])
def test_the_gas_goes_near_the_threads_where_that_costs_no_crew(near, gas, points, shape):
    from wavesim.gpu.device import Device

    device = SimpleNamespace(multiprocessors=132, _most_near=232_448)
    assert Device.shape(device, near, gas, points) == shape


def test_the_store_keeps_points_of_both_apart(as_gpu, system, tmp_path):
    keys = {point_key(*system, 4500.0, COARSE, device=device) for device in ("cpu", "gpu")}
    assert len(keys) == 2 and point_key(*system, 4500.0, COARSE) in keys
    store = Store(tmp_path / "store")
    for device in ("cpu", "gpu", "gpu"):
        ws.speed_sweep(*system, [4500.0], settings=COARSE, progress=False, store=store,
                       device=device)
    assert store.check().finished == 2 and store.found == 1


def test_memory_of_slots_is_given_back_whole():
    space = Space(100, 50)
    first, second, third = space.take(20), space.take(20), space.take(10)
    assert (first, second, third, space.take(1)) == (100, 120, 140, None)
    for at, words in ((third, 10), (first, 20), (second, 20)):
        space.give_back(at, words)
    assert space.holes == [(100, 50)]


@pytest.mark.parametrize("given, told", [
    ({"device": "tpu"}, "device = 'tpu' must be one of 'cpu', 'gpu'"),
    ({"device": "gpu", "threads": 1000}, "threads = 1000"),
    ({"device": "gpu", "settings": ws.Settings(scheme="characteristics")}, "on a GPU"),
])
def test_what_a_gpu_cannot_do_is_refused_before_anything_is_computed(system, given, told):
    with pytest.raises(ws.InputError, match=told):
        ws.speed_sweep(*system, [4500.0], progress=False, **given)


@pytest.mark.skipif(has_gpu(), reason="there is a GPU")
def test_without_a_gpu_one_sentence_says_what_is_missing(system):
    with pytest.raises(ws.InputError, match="device = 'gpu' needs") as told:
        ws.explore(*system, [{}], [4500.0], device="gpu", progress=False)
    assert "\n" not in str(told.value)


@pytest.mark.skipif(has_gpu(), reason="there is a GPU")
@pytest.mark.parametrize("command", ["demo", "dyno"])
def test_without_a_gpu_a_command_says_so_before_it_makes_a_folder(command, tmp_path, capsys):
    from wavesim.front.app import main

    out = tmp_path / "out"
    assert main([command, "--device", "gpu", "--out", str(out)]) == 2
    assert "device = 'gpu' needs" in capsys.readouterr().err and not out.exists()


# --- the code for the device, without one ---------------------------------------------------------


def in_plain_python(what):
    """What `gpu_worker.py` finds in another process."""
    done = subprocess.run(
        [sys.executable, str(HERE / "gpu_worker.py"), what], capture_output=True, text=True,
        env=os.environ | {"NUMBA_ENABLE_CUDASIM": "1", "NUMBA_DISABLE_JIT": "1",
                          "PYTHONPATH": str(Path(ws.__file__).parents[1])},
    )
    assert done.returncode == 0, done.stderr[-2000:]
    return json.loads(done.stdout)


@pytest.fixture(scope="module")
def beside_processor():
    return in_plain_python("same")


@needs_compiler
def test_blocks_of_threads_march_as_the_processor_in_any_order_of_threads(beside_processor):
    """Every kind of node, an engine with samples, a perfect gas; threads in two orders."""
    for case, (off, status, _, _, steps) in beside_processor["march"].items():
        assert (off, status) == ({}, 0) and steps > 5, case


@needs_compiler
def test_a_march_that_fails_ends_at_the_step_and_in_the_cell_of_the_processor(beside_processor):
    """Too many steps, in a steep cone, and a step so long that the gas is no more."""
    for (here, there), status in zip(beside_processor["trouble"], (2, 1), strict=True):
        assert here == there and here[0] == status


@needs_compiler
def test_one_pass_through_holes_is_what_the_processor_does_in_many(beside_processor):
    """Gas at random on both sides of a packed wall and an open one; more holes than threads."""
    for order, (off, packed, holes, capped) in beside_processor["holes"].items():
        assert (off, packed, holes) == ({}, [True, False], 22) and 0 < capped < holes, order


@needs_compiler
@pytest.mark.slow
def test_a_barrier_that_is_missing_is_found():
    found = in_plain_python("barriers")
    assert len(found) == 13 and all(found.values()), found


@needs_compiler
@pytest.mark.slow
def test_the_march_compiles_for_a_gpu_without_one():
    code = subprocess.run(
        [sys.executable, "-c",
         "from wavesim.gpu.device import assembly; print(assembly((9, 0)))"],
        capture_output=True, text=True, check=True,
    ).stdout
    assert ".target sm_90" in code and code.count(".entry") == 1
    assert code.count("bar.sync") >= 10 and code.count("div.rn.f64") < 20  # of the library alone


# --- on a device ----------------------------------------------------------------------------------


@needs_gpu
@pytest.mark.gpu
def test_a_gpu_gives_the_curve_of_the_processor_and_the_same_bits_again(system):
    here = ws.speed_sweep(*system, SPEEDS, progress=False)
    there, again = (
        ws.speed_sweep(*system, SPEEDS, progress=False, device="gpu") for _ in range(2)
    )
    np.testing.assert_allclose(there.torque, here.torque, rtol=1e-4)
    assert np.array_equal(there.torque, again.torque)


@needs_gpu
@pytest.mark.gpu
def test_a_search_on_a_gpu_ends_where_that_of_the_processor_does(system):
    space = {"exhaust.primary.length": (0.5, 1.0), "exhaust.collector.diameter": (0.05, 0.06)}
    limits = {"mass": (None, 5.5), "back_pressure": (None, 3.2e3)}
    here, there = (
        ws.optimise(*system, space, [4500.0], limits=limits, evaluations=48, generation=12,
                    settings=COARSE, device=device, progress=False)
        for device in ("cpu", "gpu")
    )
    assert here.feasible and there.feasible
    assert there.value == pytest.approx(here.value, rel=1e-4)
    assert there.best.changes == pytest.approx(here.best.changes, rel=1e-2)


@needs_compiler
@pytest.mark.parametrize("source, told", [
    ("for j in range(net.pair.shape[0]):\n    pass\nelse:\n    pass", "line 1: a shared loop"),
    ("x = 1.0\nx /= y", "line 2: a division in place"),
    ("for i in range(np.uintp(n)):\n    x[i] = 2.0 * x[i + I1]", "line 2: .* another pass writes"),
])
def test_what_the_translation_does_not_know_is_refused_with_its_line(source, told):
    from wavesim.gpu.translate import _Translator

    with pytest.raises(NotImplementedError, match=told):
        _Translator().visit(ast.parse(source))


@needs_compiler
@pytest.mark.parametrize("inside, between, told", [
    ("x[0] += 1.0", "pass", "line 4: more than a loop"),
    ("'no more'", "n = 2", "line 8: between loops"),
])
def test_what_cannot_be_one_pass_through_holes_is_refused_with_its_line(inside, between, told):
    from wavesim.gpu.translate import _functions, _Walls

    tree = ast.parse(
        f"def one(x, n):\n    for k in range(np.uintp(n)):\n        x[k] = 1.0\n    {inside}\n"
        f"def all(net):\n    for w in range(net.hole_wall.shape[0]):\n"
        f"        one(net.area, 2)\n        {between}\n        one(net.area, 2)\n"
    )
    with pytest.raises(NotImplementedError, match=told):
        _Walls(_functions(tree)).visit(tree)
