"""One speed curve on one thread, two threads, two processes and a Dask cluster of two workers.

    python benchmarks/scale_out.py [SPEEDS]

Prints seconds, the ratio to one thread, and the largest memory of this process.  All four must
agree.  The first line tells what the machine has to give: how much more two processes of plain
arithmetic get done together than one.  Shared machines often give less than two.
"""

import multiprocessing
import resource
import sys
import time
from concurrent.futures import ProcessPoolExecutor

import numpy as np

import wavesim as ws

WORKERS = 2


def spin(_):
    """Seconds that a loop of plain arithmetic takes."""
    clock = time.perf_counter()
    sum(i * i for i in range(10_000_000))
    return time.perf_counter() - clock


def capacity(pool):
    """Work that two processes get done together over that of one alone."""
    alone = min(spin(None) for _ in range(3))
    return WORKERS * alone / min(max(pool.map(spin, range(WORKERS))) for _ in range(3))


def timed(label, sweep, base=None):
    """Run, print and return (seconds, torque)."""
    clock = time.perf_counter()
    torque = sweep()["torque"]
    seconds = time.perf_counter() - clock
    ratio = "" if base is None else f"{base[0] / seconds:6.2f} times one thread"
    same = base is None or np.allclose(torque, base[1], rtol=5e-3)
    print(f"{label:<24s} {seconds:7.2f} s {ratio}{'' if same else '  OTHER RESULTS'}", flush=True)
    return seconds, torque


def main(count):
    study = ws.load(ws.demo_path())
    system = study.engine, study.exhausts[study.base]
    rpm = np.linspace(2000.0, 7000.0, count)

    def sweep(**options):
        return lambda: ws.speed_sweep(*system, rpm, progress=False, **options)

    spawn = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(WORKERS, mp_context=spawn) as pool:
        print(f"the machine gives {capacity(pool):.2f} times one core", flush=True)
    sweep(threads=WORKERS)()  # compiles and warms up
    base = timed("one thread", sweep(threads=1))
    timed("two threads", sweep(threads=WORKERS), base)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    print(f"largest memory so far    {peak:7.0f} MiB")
    with ProcessPoolExecutor(WORKERS, mp_context=spawn) as pool:
        ws.speed_sweep(*system, rpm[-2:], executor=pool, progress=False)
        timed("two processes", sweep(executor=pool), base)
    on_cluster(system, rpm, sweep, base)


def on_cluster(system, rpm, sweep, base):
    """The same on a Dask cluster, after its workers have loaded the kernels."""
    from distributed import Client, LocalCluster

    with (
        LocalCluster(n_workers=WORKERS, threads_per_worker=1, dashboard_address=":0") as cluster,
        Client(cluster) as client,
        client.get_executor() as pool,
    ):
        ws.speed_sweep(*system, rpm[-2:], executor=pool, progress=False)
        timed("Dask, two workers", sweep(executor=pool), base)


if __name__ == "__main__":
    main(int(sys.argv[1]) if sys.argv[1:] else 20)
