"""Operating points on an executor: chains of tasks, with progress, interruption and a store.

A chain is a list of tasks that are computed one after the other, such as the speeds of a pull, each
with the walls that the last good one left.  All start from cold gas.  The unit of work is one
point: a module-level function with arguments that can be pickled.
What comes next is decided here, in the caller's process, so that results, order, progress and
errors are the same on threads, on processes and on a cluster.  Only this process touches the store.
"""

import os
import signal
import threading
import time
from concurrent.futures import (
    Executor,
    ProcessPoolExecutor,
    ThreadPoolExecutor,
    wait,
)
from contextlib import contextmanager
from dataclasses import replace
from queue import Empty, SimpleQueue
from typing import NamedTuple

from wavesim.console import progress_bar, tell
from wavesim.errors import InputError, WavesimError, check_int, shown
from wavesim.many.store import point_key
from wavesim.march.advance import make_ready
from wavesim.march.run import run_point
from wavesim.results.points import Failure, Point, values_alone, without_traces

POLL = 0.2  # [s] between looks at points that another process computes
GRACE = 2.0  # [s] for threads to notice that they are to stop
CPU, GPU = DEVICES = ("cpu", "gpu")
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
    values_alone: bool = False  # nothing else is wanted of its point; a store keeps it whole


class Outcomes(NamedTuple):
    """What came out of chains.

    Attributes
    ----------
    chains : list of list of Point, Failure or None
        Shaped like the tasks; None was not computed.  Of an iterator, those that were taken.
    interrupted : bool
        True if Ctrl-C was pressed, be it so late that nothing is missing.
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
        False leaves the samples, and the gas to start from, out of what is returned.
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
    return wanted_of(point, task, traces)


def wanted_of(point, task, traces):
    """What is handed back of a point: as little as is wanted, for it may travel far."""
    if task.values_alone:
        return values_alone(point)
    return point if traces else without_traces(point)


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
            f"{owner}: executor = {shown(executor)} must be a concurrent.futures.Executor, such as "
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


def run_chains(chains, *, executor=None, threads=1, device=CPU, call=None, store=None,
               traces=True, strict=True, progress=True, label="speeds", tasks=None):
    """Compute chains of tasks.

    Parameters
    ----------
    chains : iterable of sequence of Task
        Those of an iterator are taken when there is room for more work, so that the first are
        computed while the next are made.
    executor : concurrent.futures.Executor or None
        None: a pool of `threads` threads.
    threads : int
        Points computed at once.
    device : {"cpu", "gpu"}
        What marches the cycles; part of the key of a point in a store.
    call : callable or None
        What the executor computes: a function like `compute`; None: that.
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
    tasks : int or None
        At most so many there are in an iterator, for the progress bar.

    Returns
    -------
    Outcomes

    Raises
    ------
    InputError
        If a description is wrong and `strict` holds.
    """
    pool = executor or ThreadPoolExecutor(threads)
    crew = _Crew(chains, pool, threads, store, traces, strict)
    crew.device, crew.call = device, call or compute
    most = sum(map(len, chains)) if tasks is None else tasks
    with (
        _interrupts_ask(crew),
        progress_bar(most, label, "point", shown=progress) as crew.bar,
        _straight_from_workers(executor),
    ):
        try:
            crew.work()
        except KeyboardInterrupt:
            crew.asked = max(crew.asked, 1)
        except BaseException:
            crew.stop.set()
            raise
        finally:
            crew.finish()
            if executor is None:
                pool.shutdown(wait=not crew.active, cancel_futures=True)
    left = chains[len(crew.outcomes):] if tasks is None else ()  # where it was interrupted
    return Outcomes(crew.outcomes + [[None] * len(chain) for chain in left], crew.asked > 0)


@contextmanager
def _interrupts_ask(crew):
    """Let Ctrl-C ask the crew to stop instead of cutting through whatever is being done.

    Only where Ctrl-C would raise KeyboardInterrupt here; who has other plans for it keeps them.
    """
    usual = signal.getsignal(signal.SIGINT)
    is_main = threading.current_thread() is threading.main_thread()
    if not is_main or usual is not signal.default_int_handler:
        yield
        return
    signal.signal(signal.SIGINT, crew.interrupt)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, usual)


class _Crew:
    """State of `run_chains`: what waits, what is in work, what another process holds."""

    bar = None  # that shows how far the work is
    device = call = None  # what marches the cycles, and what the pool computes

    def __init__(self, chains, pool, width, store, traces, strict):
        self.coming, self.pool, self.limit = iter(chains), pool, AHEAD * width
        self.chains, self.outcomes = [], []  # that were taken
        self.store, self.traces, self.strict = store, traces, strict
        self.stop = threading.Event()
        self.asked = 0  # how often Ctrl-C was pressed
        self.may_raise = False  # while nothing is done but waiting
        self.is_threads = isinstance(pool, ThreadPoolExecutor)
        self.is_here = isinstance(pool, (ThreadPoolExecutor, ProcessPoolExecutor))
        self.active = {}  # future: (chain, place, True if the chain goes on after it)
        self.done = SimpleQueue()  # of these, as they are done: to look at all takes too long
        self.starts = {}  # future: what its point started from
        self.keys = {}  # of the store, by (chain, place)
        self.claimed = set()  # keys that are ours to compute
        self.held = []  # (chain, place, start) of points that another process computes
        self.told = set()  # remarks that were made, each once

    def interrupt(self, *_):
        """Ctrl-C was pressed, in the midst of anything: only waiting is cut short.

        Pressed again, threads that have not stopped yet are not waited for.
        """
        self.asked += 1
        if self.may_raise:
            raise KeyboardInterrupt

    def _wait(self, call, *values, **options):
        """What a call returns that waits, and that an interruption ends."""
        self.may_raise = True
        try:
            if self.asked and not self.stop.is_set():  # pressed just before
                raise KeyboardInterrupt
            return call(*values, **options)
        finally:
            self.may_raise = False

    def work(self):
        """Go on until every task has an outcome or somebody asks to stop."""
        while not self.asked:
            if len(self.active) < self.limit and self._take_up():
                if self.done.empty():
                    continue
            elif not self.active and not self.held:
                self.bar.total = sum(map(len, self.chains))
                return
            for future in self._next_done():
                if self.asked:  # its worker may have been stopped by the same Ctrl-C
                    return
                self._take(future)
            self._look_at_held()

    def _take_up(self):
        """Put the next chain to work; False if there is none."""
        chain = next(self.coming, None)
        if chain is None:
            return False
        self.chains.append(chain)
        self.outcomes.append([None] * len(chain))
        self._go_on(len(self.chains) - 1, 0, None)
        return True

    def finish(self):
        """Keep what is done, cancel what is not, give up all claims."""
        if self.asked:
            self.stop.set()
            self.bar.set_description("stopping")
        try:
            for future in self.active:
                future.cancel()
            if self.is_threads:
                self._wait_for_threads()
            for future in [future for future in self.active if future.done()]:
                i, place, _ = self.active.pop(future)
                if not future.cancelled() and future.exception() is None:
                    self._keep(i, place, future.result())
        finally:
            for key in list(self.claimed):
                self._release(key)

    def _wait_for_threads(self):
        """They stop within a quarter turn; one that compiles does not, and is left alone."""
        latest = time.monotonic() + GRACE
        left = self.active.keys()
        while left and self.asked < 2 and time.monotonic() < latest:
            try:
                left = self._wait(wait, left, timeout=POLL).not_done
            except KeyboardInterrupt:
                self.asked = 2

    def _go_on(self, i, place, start):
        """Put the next task of a chain to work that is neither kept nor computed elsewhere."""
        while place < len(self.chains[i]) and not self.asked:
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
            self.claimed.add(key)
            if self._found(i, place, key):  # finished between the look and the claim
                self._release(key)
                return False
        task = self.chains[i][place]
        if self.store is not None:
            task = task._replace(values_alone=False)
        if self.is_here:
            make_ready(task.settings, lambda: self.asked > 0)
            if self.asked:
                return False
        stop = self.stop if self.is_threads else None
        future = self.pool.submit(self.call, task, start, self.traces, stop)
        self.active[future] = (i, place, goes_on)
        self.starts[future] = start
        future.add_done_callback(self.done.put)
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
            self._tell("waiting", f"{len(self.held)} of these points are computed by another "
                       "process that uses the same store; waiting for it.")
            time.sleep(POLL)
            return []
        try:
            done = [self._wait(self.done.get, timeout=POLL if self.held else None)]
        except Empty:
            return []
        while not self.done.empty():
            done.append(self.done.get())
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
        """Note an outcome and put it into the store; where that fails it is noted all the same."""
        if self.outcomes[i][place] is not None:
            return
        self._note(i, place, outcome)
        if self.store is None:
            return
        key = self._key(i, place)
        try:
            if not isinstance(outcome, Failure) or outcome.kind != "InputError":
                self.store.put(key, outcome)
        except (InputError, OSError) as error:
            self._tell("unkept", f"{error} The results stay in memory.")
        finally:
            self._release(key)

    def _release(self, key):
        self.store.release(key)
        self.claimed.discard(key)

    def _tell(self, what, remark):
        """Make a remark once, clear of the progress bar."""
        if what not in self.told:
            self.told.add(what)
            self.bar.clear()
            tell(remark)

    def _note(self, i, place, outcome):
        if self.store is not None and isinstance(outcome, Point):
            outcome = replace(outcome, kept=self._key(i, place))
            if self.chains[i][place].values_alone:
                outcome = values_alone(outcome)
        self.outcomes[i][place] = outcome
        self.bar.update()

    def _key(self, i, place):
        if (i, place) not in self.keys:
            task = self.chains[i][place]
            before = self.chains[i][:place] if task.pull is not None else ()
            self.keys[i, place] = point_key(
                *task[:4], fuel_flow=task.fuel_flow, ambient=task.ambient, pull=task.pull,
                before=[(earlier.rpm, earlier.fuel_flow) for earlier in before], device=self.device,
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
