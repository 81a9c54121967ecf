"""A study of many designs, killed three times: nothing is lost and nothing is computed twice.

    python benchmarks/kill_study.py [DESIGNS]

Runs `explore` over a thousand designs of the demo engine (one speed, a very coarse mesh) into a
store in a subprocess, sends it SIGKILL at three random moments, starts it once more and counts.
"""

import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

COARSE = {"cell_length": 0.1, "tolerance": 5e-2, "sample_deg": 10.0}
SPACE = {
    "exhaust.primary.length": (0.4, 0.9), "exhaust.collector.length": (0.1, 0.8),
    "exhaust.collector.diameter": (0.05, 0.065),
}
KILLS = 3


def work(folder, count):
    """Explore the designs into the store; logs every start and every point that was kept."""
    import wavesim.many.work
    from wavesim import Settings, Store, demo_path, designs, explore, load

    log = os.open(folder / "log", os.O_WRONLY | os.O_APPEND | os.O_CREAT)
    run_point = wavesim.many.work.run_point

    def logged(engine, exhaust, rpm, **options):
        os.write(log, f"started {hash((engine, exhaust, rpm))}\n".encode())
        return run_point(engine, exhaust, rpm, **options)

    class LoggedStore(Store):
        def put(self, key, outcome):
            super().put(key, outcome)
            os.write(log, f"kept {key}\n".encode())

    wavesim.many.work.run_point = logged
    study = load(demo_path("collector"))
    wanted = designs(study, SPACE, count, method="sobol", seed=1)
    found = explore(
        study.engine, study.exhausts[study.base], wanted, [6000], settings=Settings(**COARSE),
        store=LoggedStore(folder / "store"), progress=False,
    )
    assert len(found) == count


def lines(folder, word):
    """What the log says after a word."""
    path = folder / "log"
    rows = path.read_text().splitlines() if path.exists() else []
    return [row.split()[1] for row in rows if row.startswith(word)]


def main(count):
    chance = random.Random(5)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        command = [sys.executable, __file__, "--work", name, str(count)]
        environment = {**os.environ, "PYTHONHASHSEED": "0"}
        clock = time.perf_counter()
        for kill in range(1, KILLS + 1):
            worker = subprocess.Popen(command, env=environment)
            goal = int(count * (kill - chance.uniform(0.2, 0.8)) / KILLS)
            while len(lines(folder, "kept")) < goal and worker.poll() is None:
                time.sleep(0.01)
            time.sleep(chance.uniform(0.0, 0.05))
            worker.send_signal(signal.SIGKILL)
            worker.wait()
            print(f"killed at {len(list((folder / 'store').glob('*.npz')))} results")
        subprocess.run(command, env=environment, check=True)
        seconds = time.perf_counter() - clock
        report(folder, count, seconds)


def report(folder, count, seconds):
    """Count results, repeated results, and computations that the kills cut short."""
    from wavesim import Store

    found = Store(folder / "store").check()
    kept = Counter(lines(folder, "kept"))
    started = len(lines(folder, "started"))
    twice = sum(number > 1 for number in kept.values())
    print(f"{found.finished} results, {twice} computed twice, {len(found.damaged)} damaged, "
          f"{len(found.foreign)} foreign")
    print(f"{started} computations were begun, {started - count} cut short by {KILLS} kills; "
          f"{seconds:.0f} s")
    assert found == (count, (), ())


if __name__ == "__main__":
    if sys.argv[1:2] == ["--work"]:
        work(Path(sys.argv[2]), int(sys.argv[3]))
    else:
        main(int(sys.argv[1]) if sys.argv[1:] else 1000)
