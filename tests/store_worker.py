"""A sweep of cheap invented points into a store, with a log: run by tests that kill it.

    python store_worker.py FOLDER LOG COUNT SECONDS

Each line of the log is "started RPM" or "kept RPM", appended in one write.
"""

import os
import sys
import time

import numpy as np

import wavesim.many.work
from wavesim import Settings, demo_path, load, speed_sweep
from wavesim.many.store import Store
from wavesim.results.points import Point
from wavesim.results.traces import Samples
from wavesim.show.quantities import QUANTITIES

LAYOUT = {"ducts": {}, "stores": {}, "nodes": {}, "ends": []}


def invented_point(rpm):
    """Point whose torque is a hundredth of its speed, with small samples."""
    values = dict.fromkeys(QUANTITIES, 1.0) | {"torque": 0.01 * rpm}
    samples = Samples(np.arange(3.0), "theta_deg", np.full((3, 5, 4), rpm, dtype=np.float32),
                      np.zeros((3, 0, 5)), np.zeros((3, 0, 3)), LAYOUT)
    audit = {"converged": True, "cycles": 3}
    return Point(rpm, values, {"imep_net": np.array([rpm])}, samples, audit, {"version": "x"})


def speeds(count):
    """Speeds of the sweep."""
    return [1000.0 + 10.0 * i for i in range(count)]


def main(folder, log_path, count, seconds):
    log = os.open(log_path, os.O_WRONLY | os.O_APPEND | os.O_CREAT)

    def slow_run(engine, exhaust, rpm, **_):
        os.write(log, f"started {rpm}\n".encode())
        time.sleep(float(seconds))
        return invented_point(rpm)

    class LoggedStore(Store):
        def put(self, key, outcome):
            super().put(key, outcome)
            os.write(log, f"kept {outcome.rpm}\n".encode())

    wavesim.many.work.run_point = slow_run
    wavesim.many.work.make_ready = lambda *_: None  # nothing is marched
    study = load(demo_path("collector"))
    sweep = speed_sweep(
        study.engine, study.exhausts[study.base], speeds(int(count)), settings=Settings(),
        threads=2, store=LoggedStore(folder), progress=False,
    )
    expected = 0.01 * np.array(speeds(int(count)))
    assert np.array_equal(sweep["torque"], expected) and not sweep.failures


if __name__ == "__main__":
    main(*sys.argv[1:])
