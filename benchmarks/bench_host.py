"""Work beside the march: what a point costs in Python, before, between and after its cycles.

A design is made once for all its speeds (`march/rig.py`); what is left for each of them counts when
thousands of points are marched together.  It is counted in processor time of its thread.
"""

import time
from unittest import mock

from engines import COMPLETE, system
from measuring import Row, least

import wavesim as ws
from wavesim.many.store import point_key
from wavesim.march import advance
from wavesim.march.cycles import rough_run, settle
from wavesim.march.rig import Rig
from wavesim.march.run import point_of
from wavesim.march.walltemp import update_many, update_walls

RPM = 4500.0
BATCH = 20  # points in a row
DEMAND = {"rpm": RPM, "fuel_flow": None, "stop": None}


def run(quick):
    """All rows."""
    turns = 5 if quick else 25
    engine, exhaust = system(COMPLETE)
    settings = ws.Settings()
    rig = Rig(engine, exhaust, settings)
    point = _Settled(rig)
    cost = least({
        "design": lambda: busy(lambda: Rig(engine, exhaust, settings).at(RPM)),
        "begin": lambda: busy(point.begin, BATCH),
        "end": lambda: busy(point.end, BATCH),
        "key": lambda: busy(lambda: point_key(engine, exhaust, RPM, settings), BATCH),
        "between": point.between,
        "walls": point.walls_alone,
        "many walls": point.walls_together,
    }, turns)
    yield Row("complete system: a new design, to the first cycle of its first speed",
              1e3 * cost["design"], "ms")
    for what, name in (("another speed of it, to the first cycle, both meshes", "begin"),
                       ("results of the last cycle", "end"), ("key of the store", "key")):
        yield Row(f"complete system: {what}", 1e3 * cost[name], "ms")
    alone = 1e3 * (cost["begin"] + cost["end"] + cost["key"])
    yield Row("complete system: these three, the work for one point of a known design", alone, "ms",
              "<= 3")
    for what, name in (("between two cycles, walls solved", "between"),
                       ("of that the walls", "walls"),
                       (f"the walls of {BATCH} points at once, for each", "many walls")):
        yield Row(f"complete system: {what}", 1e3 * cost[name], "ms")


def busy(work, calls=1):
    """Processor time that a call takes [s], mean of some in a row."""
    clock = time.thread_time()
    for _ in range(calls):
        work()
    return (time.thread_time() - clock) / calls


class _Settled:
    """A point of a rig after its last cycle."""

    def __init__(self, rig):
        self.rig = rig
        self.rough = rough_run(rig, None, DEMAND)
        self.model, self.walls = self.begin()
        self.cycles = self.settle()

    def begin(self):
        """All before the first cycle on the fine mesh, but for the coarse cycles."""
        self.rig.coarse_at(RPM)
        model, walls = self.rig.at(RPM)
        self.rig.prolong(self.rough.model, model)
        return model, walls

    def settle(self):
        return settle(self.model, self.walls, self.rig.settings, **DEMAND)

    def end(self):
        return point_of(self.rig, self.model, self.walls, self.cycles, RPM, rough=self.rough)

    def walls_alone(self):
        points = self.points()
        return busy(lambda: [update_walls(*point) for point in points]) / BATCH

    def walls_together(self):
        points = self.points()
        return busy(lambda: update_many(points)) / BATCH

    def points(self):
        """Many of them after the same cycle."""
        found = [(*self.rig.at(RPM), 120.0 / RPM) for _ in range(BATCH)]
        for model, *_ in found:
            model.record.wall[:] = self.model.record.wall
            model.record.ways[:] = self.model.record.ways
        return found

    def between(self):
        """Seconds beside the march for one cycle; the cycle goes on repeating itself."""
        marched, count = 0.0, 0

        def cycle(*arguments):
            nonlocal marched, count
            clock = time.thread_time()
            steps = march(*arguments)
            marched, count = marched + time.thread_time() - clock, count + 1
            return steps

        march = advance.run_cycle
        with mock.patch.object(advance, "run_cycle", cycle):
            whole = busy(self.settle)
        return (whole - marched) / count
