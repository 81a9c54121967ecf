"""Many operating points at once: a speed curve on a pool of threads.

The kernels release the interpreter lock, so threads share the cores.  Speeds are cut into as many
runs of neighbours as there are threads; inside a run each speed starts from the gas of the one
before it.
"""

import os
import threading
from concurrent.futures import ThreadPoolExecutor, as_completed

from tqdm import tqdm

from wavesim.errors import InputError, WavesimError, check_int, check_number
from wavesim.result import Sweep
from wavesim.run import RPM_RANGE, Interrupted, run_point
from wavesim.settings import Settings


def speed_sweep(engine, exhaust, rpm, *, settings=None, threads=None, progress=True, name=None):
    """Operating points of an engine with an exhaust over a list of speeds.

    Parameters
    ----------
    engine : Engine
    exhaust : Exhaust
    rpm : sequence of float
        Speeds [rev/min], 100 to 30000, in any order, no two the same.
    settings : Settings, optional
    threads : int or None
        1 to 256; None: one per core.
    progress : bool
        Show a progress bar.
    name : str or None
        For tables and figures; None: the name of the exhaust.

    Returns
    -------
    Sweep
        Speeds that failed are in `sweep.failures` with their error; after Ctrl-C it holds what was
        finished and `sweep.interrupted` is True.

    Raises
    ------
    InputError
        If the description, a speed or the number of threads is wrong.
    """
    name = exhaust.name if name is None else name
    return speed_sweeps(
        [(name, engine, exhaust)], rpm, settings=settings, threads=threads, progress=progress
    )[0]


def speed_sweeps(systems, rpm, *, settings=None, threads=None, progress=True):
    """Speed curves of several systems on one pool of threads.

    Parameters
    ----------
    systems : sequence of (str, Engine, Exhaust)
        With the name of each.
    rpm, settings, threads, progress
        As for `speed_sweep`.

    Returns
    -------
    list of Sweep
        In the order of `systems`, each as `speed_sweep` returns it.

    Raises
    ------
    InputError
        If a description, a speed or the number of threads is wrong.
    """
    speeds = _checked_speeds(rpm)
    settings = settings or Settings()
    threads = (os.cpu_count() or 1) if threads is None else threads
    threads = check_int("speed_sweep", "threads", threads, 1, 256)
    stop = threading.Event()
    found = [([], {}) for _ in systems]
    tasks = [(i, run) for i in range(len(systems)) for run in _runs(speeds, threads)]
    total = len(speeds) * len(systems)
    bar = tqdm(total=total, disable=not progress, unit="point", desc="speeds")
    pool = ThreadPoolExecutor(threads)
    try:
        futures = [
            pool.submit(_run_neighbours, *systems[i][1:], run, settings, stop, found[i], bar)
            for i, run in tasks
        ]
        for future in as_completed(futures):
            future.result()
    except KeyboardInterrupt:
        stop.set()
        bar.set_description("stopping")
    except BaseException:
        stop.set()
        raise
    finally:
        pool.shutdown(wait=True, cancel_futures=True)
        bar.close()
    return [
        Sweep(points, failures, name, interrupted=stop.is_set())
        for (name, _, _), (points, failures) in zip(systems, found, strict=True)
    ]


def _checked_speeds(rpm):
    speeds = [check_number("speed_sweep", "rpm", value, "rev/min", *RPM_RANGE) for value in rpm]
    if not speeds:
        raise InputError("speed_sweep: rpm = [] is empty, needs at least one speed in rev/min.")
    if len(set(speeds)) != len(speeds):
        raise InputError("speed_sweep: rpm holds the same speed in rev/min twice.")
    return sorted(speeds)


def _runs(speeds, count):
    """Speeds in `count` runs of neighbours, each from the middle of the list outward."""
    count = min(count, len(speeds))
    edges = [round(i * len(speeds) / count) for i in range(count + 1)]
    runs = [speeds[a:b] for a, b in zip(edges, edges[1:], strict=False)]
    return [run[::-1] if i < count // 2 else run for i, run in enumerate(runs)]


def _run_neighbours(engine, exhaust, run, settings, stop, found, bar):
    """Compute one run; every point starts from the gas of the last good one."""
    points, failures = found
    last = None
    for rpm in run:
        if stop.is_set():
            return
        try:
            last = run_point(
                engine, exhaust, rpm, settings=settings, start=last, stop=stop
            )
            points.append(last)
        except Interrupted:
            return
        except InputError:
            raise
        except WavesimError as error:
            failures[rpm] = str(error)
            last = None
        bar.update()
