"""One speed curve on one thread, two threads, two processes and a Dask cluster of two workers.

    python benchmarks/scale_out.py [SPEEDS]

All four must agree.  The first row tells what the machine has to give: how much more two processes
of plain arithmetic get done together than one alone.  Shared machines often give less than two.
"""

import multiprocessing
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager

import numpy as np
from engines import OPEN, speeds, system
from measuring import Row, least, line

import wavesim as ws

WORKERS = 2
TARGETS = {"two threads": ">= 1.8", "Dask cluster of two workers": ">= 1.6"}


def run(quick):
    """All rows; a quick run leaves the cluster out."""
    yield from rows(2 if quick else 20, 1 if quick else 3, cluster=not quick)


def rows(count, turns, cluster=True):
    """Rows of a curve of `count` speeds."""
    curve = Curve(count)
    with spawned() as pool:
        yield Row("the machine: two processes of plain arithmetic over one", capacity(pool))
    curve.sweep(threads=WORKERS)  # compiles and warms up
    one, two = "one thread", "two threads"
    cost = least({one: lambda: curve.timed(one, threads=1),
                  two: lambda: curve.timed(two, threads=WORKERS)}, turns)
    yield Row(f"demo engine, curve of {count} speeds, one thread", cost[one], "s")
    yield curve.row(two, cost[one] / cost[two])
    with spawned() as pool:
        yield curve.row("two processes", cost[one] / curve.on(pool, "two processes", turns))
    if cluster:
        told = "Dask cluster of two workers"
        with dask_pool() as pool:
            yield curve.row(told, cost[one] / curve.on(pool, told, turns))
    else:
        print("The Dask cluster is left out of a quick run.")
    yield Row("largest difference of torque between these", curve.spread(), "%", "<= 0.5")


class Curve:
    """A speed curve of the demo engine and the torque that each way of computing it gives."""

    def __init__(self, count):
        self.system, self.rpm, self.torque = system(OPEN), speeds(count), {}

    def sweep(self, rpm=None, **options):
        """Torque at all speeds, or at some."""
        rpm = self.rpm if rpm is None else rpm
        return ws.speed_sweep(*self.system, rpm, progress=False, **options)["torque"]

    def timed(self, name, **options):
        """Seconds of the curve."""
        clock = time.perf_counter()
        self.torque[name] = self.sweep(**options)
        return time.perf_counter() - clock

    def on(self, pool, name, turns):
        """Seconds of the curve on an executor, after its workers have loaded the kernels."""
        self.sweep(self.rpm[-WORKERS:], executor=pool)
        return min(self.timed(name, executor=pool) for _ in range(turns))

    def row(self, name, ratio):
        """Row of a ratio to one thread."""
        return Row(f"demo engine, curve of {len(self.rpm)} speeds: {name} over one thread", ratio,
                   target=TARGETS.get(name, ""))

    def spread(self):
        """Largest difference of torque from the mean of all ways, in per cent of it."""
        torque = np.array(list(self.torque.values()))
        return 100.0 * float(np.abs(torque / torque.mean(axis=0) - 1.0).max())


def spin(_):
    """Seconds that a loop of plain arithmetic takes."""
    clock = time.perf_counter()
    sum(i * i for i in range(10_000_000))
    return time.perf_counter() - clock


def capacity(pool):
    """Work that two processes get done together over that of one alone."""
    alone = min(spin(None) for _ in range(3))
    return WORKERS * alone / min(max(pool.map(spin, range(WORKERS))) for _ in range(3))


def spawned():
    """Pool of two fresh processes."""
    return ProcessPoolExecutor(WORKERS, mp_context=multiprocessing.get_context("spawn"))


@contextmanager
def dask_pool():
    """Executor of a Dask cluster of two workers."""
    from distributed import Client, LocalCluster

    with (
        LocalCluster(n_workers=WORKERS, threads_per_worker=1, dashboard_address=":0") as cluster,
        Client(cluster) as client,
        client.get_executor() as pool,
    ):
        yield pool


def main(count):
    """Print the table."""
    print(line("what"))
    for row in rows(count, 3):
        print(line(*row.cells()), flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if sys.argv[1:] else 20)
