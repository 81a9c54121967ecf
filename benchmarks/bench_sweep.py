"""Speed curves of the engine with a complete system: time, cycles, memory."""

import json

import numpy as np
from engines import COMPLETE, speeds, system
from measuring import Row, fresh_process, least, seconds

import wavesim as ws

PEAK = """
import json, resource, sys
sys.path.insert(0, "benchmarks")
from engines import COMPLETE, speeds, system
import wavesim as ws

count = int(sys.argv[1])
ws.speed_sweep(*system(COMPLETE), speeds(count), threads=2, progress=False)
try:  # the peak of this process alone; that of getrusage also knows the one that started it
    peak = next(line for line in open("/proc/self/status") if line.startswith("VmHWM"))
    mebibytes = int(peak.split()[1]) / 1024.0
except OSError:
    unit = 1024.0**2 if sys.platform == "darwin" else 1024.0
    mebibytes = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / unit
print(json.dumps(mebibytes))
"""


def run(quick):
    """All rows."""
    count = 2 if quick else 20
    curve = speeds(count)

    def sweep(threads):
        return ws.speed_sweep(*system(COMPLETE), curve, threads=threads, progress=False)

    sweep(2)  # warm
    cost = least({"two": lambda: seconds(lambda: sweep(2))}, 1 if quick else 3)["two"]
    # the target is for twenty speeds
    yield Row(f"complete system, curve of {count} speeds, warm, two threads", cost, "s",
              "" if quick else "<= 4")
    yield from cycles(sweep(1))
    _, told = fresh_process("-c", PEAK, str(count))
    yield Row(f"complete system, curve of {count} speeds: peak memory of a fresh process",
              json.loads(told), "MiB", "<= 500")


def cycles(sweep):
    """Rows of the number of cycles."""
    books = [sweep[rpm].audit for rpm in sweep.rpm]
    fine = np.mean([book["cycles"] for book in books])
    coarse = np.mean([book["coarse_cycles"] for book in books])
    share = ws.Settings().coarse_start ** -2
    tolerance = 100.0 * ws.Settings().tolerance
    yield Row(f"cycles to {tolerance:g} % from a cold start, mean: on the fine mesh",
              fine, target="<= 5")
    yield Row("cycles before these on the coarse mesh, mean", coarse)
    yield Row("both, counted in fine cycles by their work", fine + share * coarse)
