"""Sweeps on threads, processes and a cluster: the same numbers, order, progress and errors."""

import multiprocessing
import pickle
from concurrent.futures import Executor, ProcessPoolExecutor, ThreadPoolExecutor

import numpy as np
import pytest
from fakes import press_ctrl_c

import wavesim.many.work
from wavesim import EngineGas, InputError, PerfectGas, Pipe, Settings, run_point, speed_sweep
from wavesim.many.store import Store
from wavesim.many.sweep import speed_sweeps
from wavesim.many.work import Task, compute, count_workers
from wavesim.results.points import Failure
from wavesim.show.quantities import QUANTITIES

CHEAP = Settings(cell_length=0.1, sample_deg=10.0, tolerance=5e-2)
SPEEDS = (3000.0, 3500.0, 5500.0, 6000.0)
KINDS = ("threads", "processes", "cluster")


@pytest.fixture(scope="module")
def pools():
    """Two workers of each kind, started once and closed at the end."""
    from distributed import Client, LocalCluster

    spawn = multiprocessing.get_context("spawn")
    with (
        ThreadPoolExecutor(2) as threads,
        ProcessPoolExecutor(2, mp_context=spawn) as processes,
        LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=":0") as cluster,
        Client(cluster) as client,
        client.get_executor() as dask,
    ):
        yield dict(zip(KINDS, (threads, processes, dask), strict=True))


@pytest.fixture(params=KINDS)
def pool(request, pools):
    return pools[request.param]


@pytest.fixture(scope="module")
def system(coarse_study):
    return coarse_study.engine, coarse_study.exhausts["short collector"]


@pytest.fixture(scope="module")
def usual(system):
    """The sweep on the library's own threads."""
    return speed_sweep(*system, SPEEDS, settings=CHEAP, threads=2, progress=False)


# --- the same on each -----------------------------------------------------------------------------


def test_every_executor_gives_the_same_bits(pool, system, usual):
    sweep = speed_sweep(*system, SPEEDS, settings=CHEAP, executor=pool, progress=False)
    assert sweep.rpm.tolist() == list(SPEEDS) and not sweep.interrupted
    for name in QUANTITIES:
        assert np.array_equal(sweep[name], usual[name], equal_nan=True), name
    for ours, theirs in zip(sweep, usual, strict=True):
        assert ours.samples.cells.tobytes() == theirs.samples.cells.tobytes()
        assert ours.meta == theirs.meta and ours.audit["cycles"] == theirs.audit["cycles"]


def test_every_executor_keeps_the_order_of_systems_and_speeds(pool, coarse_study):
    systems = [(name, coarse_study.engine, e) for name, e in coarse_study.exhausts.items()]
    sweeps = speed_sweeps(
        systems[::-1], SPEEDS[::-1], settings=CHEAP, executor=pool, progress=False
    )
    assert [sweep.name for sweep in sweeps] == ["long collector", "short collector"]
    assert all(sweep.rpm.tolist() == list(SPEEDS) for sweep in sweeps)


def test_every_executor_reports_a_failed_speed_alike(pool, system):
    few = CHEAP.replace(cell_length=0.03, max_steps_per_cycle=1500)
    sweep = speed_sweep(*system, (2000, 6000), settings=few, executor=pool, progress=False)
    own = speed_sweep(*system, (2000, 6000), settings=few, threads=2, progress=False)
    assert sweep.rpm.tolist() == [6000.0] and sweep.failures == own.failures
    assert "Step limit reached in duct" in sweep.failures[2000.0]


def test_every_executor_raises_bad_input_alike(pool, system):
    engine, exhaust = system
    three = exhaust.replace(primary=None, primaries=[(Pipe(0.5, 0.04),)] * 3)
    with pytest.raises(InputError, match="primaries has 3 lines, must have 4"):
        speed_sweep(engine, three, SPEEDS, settings=CHEAP, executor=pool, progress=False)


def test_every_executor_shows_progress_point_by_point(pool, system, capsys):
    speed_sweep(*system, (5500, 6000), settings=CHEAP, executor=pool)
    assert "2/2" in capsys.readouterr().err


def test_every_executor_keeps_finished_points_when_interrupted(pool, system, monkeypatch):
    press_ctrl_c(monkeypatch, after=1)
    sweep = speed_sweep(*system, SPEEDS, settings=CHEAP, executor=pool, progress=False)
    assert sweep.interrupted and 0 < len(sweep) < len(SPEEDS) and not sweep.failures
    assert pool.submit(abs, -1).result() == 1  # the pool of the caller stays open


@pytest.mark.parametrize("threads", [1, 3, 4])
def test_number_of_workers_does_not_move_a_bit(system, usual, threads):
    sweep = speed_sweep(*system, SPEEDS, settings=CHEAP, threads=threads, progress=False)
    for point, other in zip(sweep, usual, strict=True):
        assert point.values == other.values and point.converged == other.converged


@pytest.mark.parametrize("speeds", [[5500.0], [6000.0, 4000.0, 3500.0]])
def test_other_speeds_of_the_list_do_not_move_a_bit(system, usual, speeds):
    sweep = speed_sweep(*system, speeds, settings=CHEAP, threads=1, progress=False)
    for rpm in set(speeds) & set(SPEEDS):
        assert sweep[rpm].values == usual[rpm].values


def test_what_the_store_holds_does_not_move_a_bit(system, usual, tmp_path):
    store = Store(tmp_path)
    for speeds in (SPEEDS[1:2], SPEEDS):
        sweep = speed_sweep(*system, speeds, settings=CHEAP, store=store, progress=False)
    assert [point.values for point in sweep] == [point.values for point in usual]


# --- what travels ---------------------------------------------------------------------------------


def test_work_and_results_can_be_pickled(system):
    task = Task(*system, 6000.0, CHEAP)
    assert pickle.loads(pickle.dumps(task)) == task
    assert pickle.loads(pickle.dumps(compute)) is compute
    for gas in (PerfectGas(1.3, 280.0), EngineGas("methanol", lam=0.9)):
        again = pickle.loads(pickle.dumps(gas))
        assert again == gas and again.sound_speed(500.0) == gas.sound_speed(500.0)


def test_point_that_travelled_starts_its_neighbour(system, usual):
    point = pickle.loads(pickle.dumps(usual[6000]))
    assert point.values == usual[6000].values
    direct = run_point(*system, 5900, settings=CHEAP, start=usual[6000])
    assert run_point(*system, 5900, settings=CHEAP, start=point).torque == direct.torque


def test_scalars_travel_without_traces(system):
    point = compute(Task(*system, 6000.0, CHEAP), traces=False)
    assert point.samples is None and point.torque > 0.0 and point.meta
    bare = compute(Task(*system, 6000.0, CHEAP, values_alone=True))
    assert bare.values == point.values and bare.converged == point.converged
    assert len(pickle.dumps(bare)) < 0.2 * len(pickle.dumps(point))
    failed = compute(Task(*system, 2000.0, CHEAP.replace(max_steps_per_cycle=1000, cfl=0.2)))
    assert isinstance(failed, Failure) and failed.kind == "SolverError"


# --- other executors ------------------------------------------------------------------------------


def test_local_cluster_sends_results_straight_to_the_caller(system, pools, monkeypatch):
    client, seen, walls_of = pools["cluster"]._client, [], wavesim.many.work._walls_of

    def look(outcome):
        seen.append(client.direct_to_workers)
        return walls_of(outcome)

    monkeypatch.setattr(wavesim.many.work, "_walls_of", look)
    before = client.direct_to_workers
    speed_sweep(*system, SPEEDS[:2], settings=CHEAP, executor=pools["cluster"], progress=False)
    assert seen and all(seen) and client.direct_to_workers == before


def test_workers_are_counted_where_the_executor_tells(pools):
    assert [count_workers(pool, None, "x") for pool in pools.values()] == [2, 2, 2]
    assert count_workers(pools["cluster"], 5, "x") == 5 and count_workers(None, 3, "x") == 3
    assert count_workers(Executor(), None, "x") >= 1


@pytest.mark.parametrize("wrong", ["threads", 2, ThreadPoolExecutor])
def test_what_is_no_executor_is_refused(system, wrong):
    with pytest.raises(InputError, match="must be a concurrent.futures.Executor"):
        speed_sweep(*system, SPEEDS, executor=wrong, progress=False)


def test_error_of_a_worker_reaches_the_caller(system, pools, monkeypatch):
    def broken(*_):
        raise MemoryError("no room")

    monkeypatch.setattr(wavesim.many.work, "compute", broken)
    with pytest.raises(MemoryError, match="no room"):
        speed_sweep(*system, SPEEDS, executor=pools["threads"], progress=False)
