"""The engine: time of one cycle, and how a step divides between cells, ends and samples.

What the cells of a network cost is the step of a single closed duct with the same physics and as
many cells, those included that ducts have as ghosts at their ends, for the loops run over them
too.  What is left of a step belongs to ends, nodes and stores.
"""

import ducts
from engines import COMPLETE, OPEN, Cycles
from measuring import Row, least

from wavesim.arrays.mesh import GHOSTS

RPM = 4500.0


def run(quick):
    """All rows."""
    turns = 5 if quick else 15
    yield from shares_of_a_step(turns)
    yield from one_cycle(turns)


def shares_of_a_step(turns):
    """Rows of the parts of a step of the demo engine."""
    bare, sampled = Cycles(OPEN, RPM, samples=False), Cycles(OPEN, RPM)
    duct = ducts.full(bare.cells_and_ghosts - 2 * GHOSTS)
    cost = least(
        {"engine": bare.step_cost, "sampled": sampled.step_cost, "cells": stepper(duct)}, turns
    )
    yield Row(f"demo engine, {bare.cells} cells: one step without samples", 1e6 * cost["engine"],
              "us")
    yield Row(f"one duct of as many cells and ghosts, {bare.cells_and_ghosts}: one step",
              1e6 * cost["cells"], "us")
    yield Row("demo engine: share of ends and nodes in a step",
              100.0 * (1.0 - cost["cells"] / cost["engine"]), "%", "<= 35")
    yield Row("demo engine: a sample every degree adds", 100.0 * (
        cost["sampled"] / cost["engine"] - 1.0), "%")


def stepper(duct, steps=4000):
    """A call that marches a duct and returns the seconds of one step."""

    def work():
        seconds, done = duct.march(steps=steps)
        return seconds / done

    return work


def one_cycle(turns):
    """Rows of a cycle of the engine with a complete system."""
    engine = Cycles(COMPLETE, 3000.0)
    steps = []

    def cycle():
        seconds, count = engine.march()
        steps.append(count)
        return seconds

    cost = least({"cycle": cycle}, turns)["cycle"]
    yield Row("complete system, 3000 rev/min, default mesh: one cycle on one thread", 1e3 * cost,
              "ms", "<= 60")
    yield Row(f"complete system, {engine.cells} cells: steps of that cycle", steps[-1])
    yield Row("complete system: one step", 1e6 * cost / steps[-1], "us")
