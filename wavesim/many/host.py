"""A process that does for points on a GPU all that lies before, between and after their cycles.

It compiles networks, lays the arrays of each model into a slot of memory that it shares with the
process that drives the device (`pool.py`), and goes on with the work of a point
(`march.run.point_work`) whenever a cycle has been marched.  What is done between cycles is thereby
the same as on a processor.

Messages come in by the standard input and go out by the standard output, pickled.
"""

import gc
import mmap
import os
import pickle
import sys
import threading
import time
from collections import deque

import numpy as np

from wavesim.errors import ConvergenceError, InputError, WavesimError
from wavesim.gpu import slots
from wavesim.kernels import flat as f
from wavesim.many.work import wanted_of
from wavesim.march.advance import SamplesWanted, WallsWanted, begin_cycle, trouble
from wavesim.march.run import point_work
from wavesim.march.walltemp import update_many
from wavesim.results.points import Failure

#: How many things of Python may be new before those that hold each other are looked for: a host has
#: many that live long, and hardly any of these.
GARBAGE = 100_000
FLUSH = 0.02  # [s] after which what is ready is told
TOGETHER = 16  # points whose walls are solved at once; the arrays of more leave the near caches


class Space:
    """Which words of a stretch of memory are free."""

    def __init__(self, first, words):
        self.holes = [(first, words)]
        self.words = words

    def take(self, words):
        """First of so many words, or None if there are not as many side by side."""
        for i, (at, size) in enumerate(self.holes):
            if size >= words:
                self.holes[i:i + 1] = [(at + words, size - words)] if size > words else []
                return at
        return None

    def give_back(self, at, words):
        """Free words that were taken."""
        merged = []
        for start, size in sorted([*self.holes, (at, words)]):
            if merged and sum(merged[-1]) == start:
                merged[-1] = (merged[-1][0], merged[-1][1] + size)
            else:
                merged.append((start, size))
        self.holes = merged


class _Point:
    """One point at work."""

    def __init__(self, number, task, start, traces):
        self.number, self.task, self.traces = number, task, traces
        self.work = point_work(
            task.engine, task.exhaust, task.rpm, task.settings, fuel_flow=task.fuel_flow,
            ambient=task.ambient, pull=task.pull, start=start,
        )
        self.model = self.slot = self.words = self.wanted = None


class Host:
    """Points at work in one process.

    Parameters
    ----------
    memory : ndarray of int64
        Shared with all processes.
    first, words : int
        What of it belongs to this one.
    """

    def __init__(self, memory, first, words):
        self.memory, self.space = memory, Space(first, words)
        self.points = {}
        self.homeless = deque()  # points that wait for room
        self.unsolved = []  # points that wait for their walls
        self.asked, self.done = [], []  # to be told

    def begin(self, number, task, start, traces):
        """Take up a point."""
        point = self.points[number] = _Point(number, task, start, traces)
        self._go_on(point, point.work.send, None)

    def has_room(self):
        """False while points wait for memory."""
        return not self.homeless

    def marched(self, number):
        """What a point has asked for lies in its slot."""
        point = self.points[number]
        cycle = point.wanted
        if isinstance(cycle, SamplesWanted):
            self._go_on(point, point.work.send, None)
            self._house()
            return
        status, taken, used = slots.answer(point.words)
        if status == f.OK:
            self._go_on(point, point.work.send, used)
        else:
            error = trouble(point.model, status, taken, cycle.settings.max_steps_per_cycle,
                            cycle.number)
            self._go_on(point, point.work.throw, error)
        self._house()

    def drop(self, number):
        """Nobody wants a point any more."""
        point = self.points.pop(number, None)
        if point is not None:
            point.work.close()
            self._leave(point)
            self.homeless = deque(one for one in self.homeless if one is not point)
            self.unsolved = [one for one in self.unsolved if one is not point]
            self._house()

    def solve_walls(self):
        """Solve the walls of all points that wait for it."""
        points, self.unsolved = self.unsolved, []
        for point, call, value in _solved(points):
            self._go_on(point, call, value)
        self._house()

    def _go_on(self, point, call, value):
        try:
            point.wanted = call(value)
        except StopIteration as end:
            self._finish(point, wanted_of(end.value, point.task, point.traces))
        except WavesimError as error:
            self._finish(point, Failure(type(error).__name__, str(error)))
        except Exception as error:  # a fault of ours: raised again where the point was handed in
            self._finish(point, error)
        else:
            self._ask(point)

    def _ask(self, point):
        if isinstance(point.wanted, WallsWanted):
            self.unsolved.append(point)
            if len(self.unsolved) == TOGETHER:
                self.solve_walls()
            return
        if isinstance(point.wanted, SamplesWanted):
            slots.ask_samples(point.words)
            self.asked.append((point.number, point.slot[0], True))
            return
        if point.wanted.model is not point.model:
            if point.model is not None:
                slots.move_out(point.model)
            self._leave(point)
            try:
                is_housed = self._settle_in(point)
            except InputError as error:
                point.work.close()
                self._finish(point, Failure("InputError", str(error)))
                return
            if not is_housed:
                self.homeless.append(point)
                return
        cycle = point.wanted
        slots.ask(point.words, begin_cycle(cycle), cycle.settings.max_steps_per_cycle,
                  cycle.sampled)
        self.asked.append((point.number, point.slot[0], False))

    def _settle_in(self, point):
        """Lay the arrays of a model into a slot; False if there is no room now."""
        model = point.wanted.model
        layout = slots.layout_of(model, point.traces)
        if layout.words > self.space.words:
            raise InputError(
                f"device = 'gpu': a point of this size takes {8e-6 * layout.words:.0f} MB, of "
                f"{8e-6 * self.space.words:.0f} MB that a process has; use fewer threads."
            )
        at = self.space.take(layout.words)
        if at is None:
            return False
        point.model, point.slot = model, (at, layout.words)
        point.words = self.memory[at:at + layout.words]
        slots.settle_in(model, layout, point.words)
        return True

    def _leave(self, point):
        if point.slot is not None:
            self.space.give_back(*point.slot)
        point.model = point.slot = point.words = None

    def _house(self):
        """Give room to points that wait for it."""
        for _ in range(len(self.homeless)):
            self._ask(self.homeless.popleft())

    def _finish(self, point, outcome):
        """Note an outcome, pickled, for its samples lie in the slot that is given up."""
        self.done.append((point.number, pickle.dumps(outcome, pickle.HIGHEST_PROTOCOL)))
        self._leave(point)
        del self.points[point.number]


def _solved(points):
    """Each point whose walls have been solved, what to call and with what."""
    try:
        means = update_many([point.wanted for point in points])
    except Exception as error:
        if len(points) > 1 and isinstance(error, ConvergenceError):  # before any change
            return [answer for point in points for answer in _solved([point])]
        return [(point, point.work.throw, error) for point in points]
    return [(point, point.work.send, mean) for point, mean in zip(points, means, strict=True)]


def map_memory(file, size):
    """Memory of a file that several processes map, as whole numbers."""
    return np.frombuffer(mmap.mmap(file, size), dtype=np.int64)


def serve(file, size, first, words):
    """What the process does until its input ends.

    Parameters
    ----------
    file, size : int
        Number of the open file of the memory, and its size [byte].
    first, words : int
        What of it belongs to this process.
    """
    gc.freeze()
    gc.set_threshold(GARBAGE)
    out, sys.stdout = sys.stdout.buffer, sys.stderr
    host = Host(map_memory(file, size), first, words)
    marched, fresh, wake, dropped = deque(), deque(), threading.Event(), set()

    def listen():
        while True:
            try:
                kind, items = pickle.load(sys.stdin.buffer)
            except (EOFError, OSError):
                os._exit(0)
            (fresh if kind == "points" else marched).extend((kind, item) for item in items)
            wake.set()

    threading.Thread(target=listen, daemon=True).start()
    told = time.monotonic()
    while True:
        if marched:
            kind, number = marched.popleft()
            if kind == "forget":  # unless it has begun, and may be in work on the device
                dropped.add(number)
            elif kind == "drop":
                host.drop(number)
            else:
                host.marched(number)
        elif host.unsolved:
            host.solve_walls()
        elif fresh and host.has_room():
            _, item = fresh.popleft()
            if item[0] in dropped:
                host.done.append((item[0], None))
            else:
                host.begin(*item)
        else:
            wake.wait(0.5)
            wake.clear()
        idle = not (marched or host.unsolved or (fresh and host.has_room()))
        if (host.asked or host.done) and (idle or time.monotonic() > told + FLUSH):
            pickle.dump((host.asked, host.done), out, pickle.HIGHEST_PROTOCOL)
            out.flush()
            host.asked, host.done = [], []
            told = time.monotonic()
