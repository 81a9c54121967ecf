"""The example engines, cycle by cycle and speed by speed."""

import time

import numpy as np

import wavesim as ws
from wavesim.arrays.compile import compile_network
from wavesim.kernels import flat as f
from wavesim.march.advance import CHUNK_DEG, march_to

MANY = 10**9
#: Studies: header with collector; the same with a full system.
OPEN, COMPLETE = "collector", "complete"


def system(study):
    """(engine, exhaust): the base of the demo study, the first full system of the other."""
    found = ws.load(ws.demo_path(study))
    name = found.base if study == OPEN else list(found.exhausts)[1]
    return found.engine, found.exhausts[name]


def speeds(count):
    """Engine speeds of a curve [rev/min]."""
    return np.linspace(2000.0, 7000.0, count)


class Cycles:
    """An engine on the default mesh, marched cycle after cycle as `run_point` does.

    Parameters
    ----------
    study : str
    rpm : float
    warm : int
        Cycles before the first one that is measured.
    samples : bool
        Record a sample every degree, as a run does in every cycle.
    """

    def __init__(self, study, rpm, warm=3, samples=True):
        engine, exhaust = system(study)
        settings = ws.Settings()
        self.model = compile_network(
            ws.assemble(engine, exhaust), ws.EngineGas(engine.fuel, engine.air_fuel_lambda),
            settings, engine=engine, rpm=rpm, samples=round(720.0 / settings.sample_deg),
        )
        self.omega = 6.0 * rpm
        self.interval = settings.sample_deg / self.omega if samples else 0.0
        for _ in range(warm):
            self.march()

    @property
    def cells(self):
        """Number of cells, ghosts left out."""
        return sum(hi - lo for lo, hi in self.model.ducts.values())

    @property
    def cells_and_ghosts(self):
        """Number of cells over which the loops run."""
        return self.model.net.area.size - 1

    def march(self):
        """One cycle; (seconds, steps)."""
        model = self.model
        model.state.clock[:] = 0.0
        model.record.interval[:] = self.interval, 0.0
        clock = time.perf_counter()
        for angle in np.arange(CHUNK_DEG, 720.0 + 1.0, CHUNK_DEG):
            march_to(model, angle / self.omega, MANY)
        return time.perf_counter() - clock, int(model.state.clock[f.STEPS])

    def step_cost(self):
        """Seconds of one step, mean over a cycle."""
        seconds, steps = self.march()
        return seconds / steps
