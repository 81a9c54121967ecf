"""The command line with invented results, run by tests that look after its consoles and its files.

    python quick_app.py ARGUMENTS OF wavesim
"""

import signal
import sys

import numpy as np
from fakes import fake_sweep

import wavesim.__main__
import wavesim.front.app
import wavesim.front.report
from wavesim.console import progress_bar
from wavesim.many.store import point_key
from wavesim.results.points import Failure

RPM = np.arange(2000.0, 7000.0, 1000.0)


def quick_study(study, *, store=None, **_):
    """Sweeps with chosen numbers, and a progress bar that moves; no Ctrl-C cuts through it."""
    usual = signal.signal(signal.SIGINT, signal.SIG_IGN)
    with progress_bar(10, "speeds", "point") as bar:
        for _ in range(10):
            bar.update()
            bar.refresh()
    signal.signal(signal.SIGINT, usual)
    if store is not None:
        pair = study.engine, study.exhausts[study.base]
        store.put(point_key(*pair, 2000.0, study.settings), Failure("SolverError", "it burst"))
    return {n: fake_sweep(RPM, 100.0 + 0.01 * RPM + i, n) for i, n in enumerate(study.exhausts)}


if __name__ == "__main__":
    wavesim.front.app.run_study = quick_study
    wavesim.front.report.telling_speeds = lambda *_: []  # the sweeps hold no traces
    wavesim.__main__.run(sys.argv[1:])
