"""Operating points on an executor: chains of tasks, with progress, interruption and a store.

A chain is a list of tasks that are computed one after the other, such as the speeds of a pull, each
with the walls that the last good one left.  All start from cold gas.  The unit of work is one
point: a module-level function with arguments that can be pickled.
What comes next is decided here, in the caller's process, so that results, order, progress and
errors are the same on threads, on processes and on a cluster.  Only this process touches the store.
"""

import os
import threading
import time
from collections import deque
from concurrent.futures import FIRST_COMPLETED, Executor, ThreadPoolExecutor, wait
from contextlib import contextmanager
from dataclasses import replace
from typing import NamedTuple

from tqdm import tqdm

from wavesim.errors import InputError, WavesimError, check_int
from wavesim.many.store import point_key
from wavesim.march.run import run_point
from wavesim.results.points import Failure, Point

POLL = 0.2  # [s] between looks at points that another process computes
AHEAD = 2  # chains in work for every worker: none waits while results travel or are put away


class Task(NamedTuple):
    """One operating point to compute."""

    engine: object
    exhaust: object
    rpm: float
    settings: object
    fuel_flow: float | None = None  # [kg/s] given, instead of the mixture of the engine
    ambient: object = None  # the weather; None: an Ambient()
    pull: object = None  # its chain is a pull in order of time: each needs the one before


class Outcomes(NamedTuple):
    """What came out of chains.

    Attributes
    ----------
    chains : list of list of Point, Failure or None
        Shaped like the tasks; None was not computed.
    interrupted : bool
        True if the work was stopped by Ctrl-C.
    """

    chains: list
    interrupted: bool


def compute(task, start=None, traces=True, stop=None):
    """One operating point, for an executor.

    Parameters
    ----------
    task : Task
    start : Point or None
        The speed before in a pull, whose walls are taken over.
    traces : bool
        False leaves the samples out of what is returned.
    stop : threading.Event or None
        Ends the computation with `Interrupted`; for threads only.

    Returns
    -------
    Point or Failure
    """
    try:
        point = run_point(
            task.engine, task.exhaust, task.rpm, settings=task.settings,
            fuel_flow=task.fuel_flow, ambient=task.ambient, pull=task.pull, start=start, stop=stop,
        )
    except WavesimError as error:
        return Failure(type(error).__name__, str(error))
    return point if traces else replace(point, samples=None)


def count_workers(executor, threads, owner):
    """How many points are computed at once.

    Parameters
    ----------
    executor : concurrent.futures.Executor or None
    threads : int or None
        Number wished, 1 to 256.  None: as many as the executor has workers, where it tells, else
        one per core.
    owner : str
        Function that asks, for messages.

    Raises
    ------
    InputError
        If `executor` is no executor or `threads` is out of range.
    """
    if executor is not None and not isinstance(executor, Executor):
        raise InputError(
            f"{owner}: executor = {executor!r} must be a concurrent.futures.Executor, such as "
            "ProcessPoolExecutor() or the get_executor() of a Dask client."
        )
    if threads is not None:
        return check_int(owner, "threads", threads, 1, 256)
    if hasattr(executor, "_client"):  # Dask
        return max(1, sum(executor._client.nthreads().values()))
    return getattr(executor, "_max_workers", None) or os.cpu_count() or 1


@contextmanager
def _straight_from_workers(executor):
    """Let a Dask client fetch results from the workers of its own machine.

    Usually they come by way of the scheduler, which takes part of a core from the workers.
    """
    client = getattr(executor, "_client", None)
    local = type(getattr(client, "cluster", None)).__name__ == "LocalCluster"
    if not local:
        yield
        return
    before = client.direct_to_workers
    client.direct_to_workers = True
    try:
        yield
    finally:
        client.direct_to_workers = before


def run_chains(chains, *, executor=None, threads=1, store=None, traces=True, strict=True,
               progress=True, label="speeds"):
    """Compute chains of tasks.

    Parameters
    ----------
    chains : sequence of sequence of Task
    executor : concurrent.futures.Executor or None
        None: a pool of `threads` threads.
    threads : int
        Points computed at once.
    store : Store or None
        Points found there are not computed; finished ones are put there.
    traces : bool
        Keep the samples of the points.
    strict : bool
        True raises the first InputError, False takes it as a failure of that point.
    progress : bool
        Show a progress bar.
    label : str
        Its title.

    Returns
    -------
    Outcomes

    Raises
    ------
    InputError
        If a description is wrong and `strict` holds.
    """
    total = sum(map(len, chains))
    pool = executor or ThreadPoolExecutor(threads)
    bar = tqdm(total=total, disable=not progress, unit="point", desc=label)
    with bar, _straight_from_workers(executor):
        crew = _Crew(chains, pool, threads, store, traces, strict, bar)
        try:
            crew.work()
        except KeyboardInterrupt:
            crew.stop.set()
            bar.set_description("stopping")
        except BaseException:
            crew.stop.set()
            raise
        finally:
            crew.finish()
            if executor is None:
                pool.shutdown(wait=True)
    return Outcomes(crew.outcomes, crew.stop.is_set())


class _Crew:
    """State of `run_chains`: what waits, what is in work, what another process holds."""

    def __init__(self, chains, pool, width, store, traces, strict, bar):
        self.chains, self.pool, self.limit = chains, pool, AHEAD * width
        self.store, self.traces, self.strict, self.bar = store, traces, strict, bar
        self.stop = threading.Event()
        self.is_threads = isinstance(pool, ThreadPoolExecutor)
        self.outcomes = [[None] * len(chain) for chain in chains]
        self.waiting = deque(range(len(chains)))
        self.active = {}  # future: (chain, place, True if the chain goes on after it)
        self.starts = {}  # future: what its point started from
        self.keys = {}  # of the store, by (chain, place)
        self.held = []  # (chain, place, start) of points that another process computes

    def work(self):
        """Go on until every task has an outcome."""
        while True:
            while self.waiting and len(self.active) < self.limit:
                self._go_on(self.waiting.popleft(), 0, None)
            if not self.active and not self.held:
                return
            for future in self._next_done():
                self._take(future)
            self._look_at_held()

    def finish(self):
        """Keep what is done, cancel what is not, give up all claims."""
        for future in self.active:
            future.cancel()
        if self.is_threads:  # they stop within a quarter turn
            wait(self.active)
        for future in list(self.active):
            if future.done() and not future.cancelled() and future.exception() is None:
                self._keep(*self.active[future][:2], future.result())
        if self.store is not None:
            for i, place, _ in self.active.values():
                self.store.release(self._key(i, place))

    def _go_on(self, i, place, start):
        """Put the next task of a chain to work that is neither kept nor computed elsewhere."""
        while place < len(self.chains[i]):
            if self._begin(i, place, start, True):
                return
            if self.chains[i][place].pull is None:
                start = None
            elif self.outcomes[i][place] is None:  # another process computes what the next needs
                return
            else:
                start = _walls_of(self.outcomes[i][place]) or start
            place += 1

    def _begin(self, i, place, start, goes_on):
        """Put one task to work; False if it is kept already or somebody else computes it."""
        if self.store is not None:
            key = self._key(i, place)
            if self._found(i, place, key):
                return False
            if not self.store.claim(key):
                self.held.append((i, place, start))
                return False
            if self._found(i, place, key):  # finished between the look and the claim
                self.store.release(key)
                return False
        task = self.chains[i][place]
        stop = self.stop if self.is_threads else None
        future = self.pool.submit(compute, task, start, self.traces, stop)
        self.active[future] = (i, place, goes_on)
        self.starts[future] = start
        return True

    def _found(self, i, place, key):
        outcome = self.store.get(key, self.traces)
        if outcome is None:
            return False
        self._note(i, place, outcome)
        return True

    def _next_done(self):
        """Futures that are done, in the order of the tasks."""
        if not self.active:
            time.sleep(POLL)
            return []
        done, _ = wait(
            self.active, timeout=POLL if self.held else None, return_when=FIRST_COMPLETED
        )
        return sorted(done, key=lambda future: self.active[future])

    def _take(self, future):
        """Receive a result: first the next point goes to work, then this one is put away."""
        i, place, goes_on = self.active[future]
        outcome = future.result()
        if self.strict and isinstance(outcome, Failure) and outcome.kind == "InputError":
            raise InputError(outcome.text)
        start = self.starts.pop(future)
        if goes_on:
            is_pull = self.chains[i][place].pull is not None  # past a failure its walls warm on
            self._go_on(i, place + 1, _walls_of(outcome) or (start if is_pull else None))
        self._keep(i, place, outcome)
        del self.active[future]

    def _look_at_held(self):
        """Take up points that another process has finished or has given up."""
        held, self.held = self.held, []
        for i, place, start in held:
            if len(self.active) >= self.limit:
                self.held.append((i, place, start))
            elif self.chains[i][place].pull is not None:
                self._go_on(i, place, start)
            else:
                self._begin(i, place, None, False)

    def _keep(self, i, place, outcome):
        if self.outcomes[i][place] is not None:
            return
        if self.store is not None:
            key = self._key(i, place)
            if not isinstance(outcome, Failure) or outcome.kind != "InputError":
                self.store.put(key, outcome)
            self.store.release(key)
        self._note(i, place, outcome)

    def _note(self, i, place, outcome):
        self.outcomes[i][place] = outcome
        self.bar.update()

    def _key(self, i, place):
        if (i, place) not in self.keys:
            task = self.chains[i][place]
            before = self.chains[i][:place] if task.pull is not None else ()
            self.keys[i, place] = point_key(
                *task[:4], fuel_flow=task.fuel_flow, ambient=task.ambient, pull=task.pull,
                before=[(earlier.rpm, earlier.fuel_flow) for earlier in before],
            )
        return self.keys[i, place]


def _walls_of(outcome):
    """What the next point of a pull needs of this one, and no more: it may travel far."""
    if not isinstance(outcome, Point) or "pull" not in outcome.meta:
        return None
    walls = {name: outcome.meta[name] for name in ("pull", "walls_left")}
    return replace(
        outcome, values={}, cylinders={}, samples=None, audit={}, meta=walls, restart={}
    )
