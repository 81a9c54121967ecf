"""A sweep of invented points into a store that is interrupted: run by tests that press Ctrl-C.

    python interrupt_worker.py FOLDER COUNT SECONDS DEAF

The points take SECONDS each; with DEAF 1 they do not notice that they are to stop, as kernels that
are being compiled do not.  Prints "ready" once Ctrl-C is looked after, and in the end a line
"TAKEN KEPT FREE": seconds from the first Ctrl-C to the end of the sweep, points in memory, keys
that can be claimed.
"""

import signal
import sys
import time

from store_worker import invented_point, speeds

import wavesim.many.work
from wavesim import Settings, Store, demo_path, load, speed_sweep
from wavesim.many.store import point_key
from wavesim.march.advance import Interrupted


def main(folder, count, seconds, deaf):
    pressed = []

    def slow_run(engine, exhaust, rpm, *, stop, **_):
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            time.sleep(0.002)
            if not deaf and stop.is_set():
                raise Interrupted
        return invented_point(rpm)

    class Clocked:
        """The real handler, with a clock."""

        def __init__(self, handler):
            self.handler = handler

        def __call__(self, *arguments):
            pressed.append(time.monotonic())
            return self.handler(*arguments)

    real = signal.signal

    def clocked_signal(number, handler):
        if handler is signal.default_int_handler:  # the sweep is over; what comes now is not ours
            handler = signal.SIG_IGN
        if handler in (signal.SIG_IGN, signal.SIG_DFL):
            return real(number, handler)
        before = real(number, Clocked(handler))
        print("ready", flush=True)
        return before

    wavesim.many.work.signal.signal = clocked_signal
    wavesim.many.work.run_point = slow_run
    wavesim.many.work.make_ready = lambda *_: None  # nothing is marched
    study, store = load(demo_path("collector")), Store(folder)
    pair = study.engine, study.exhausts[study.base]
    sweep = speed_sweep(*pair, speeds(count), settings=Settings(), threads=2, store=store,
                        progress=False)
    end = time.monotonic()
    real(signal.SIGINT, signal.SIG_IGN)
    assert not sweep.failures and sweep.interrupted == bool(pressed)
    assert len(sweep) == count or pressed
    keys = [point_key(*pair, rpm, Settings()) for rpm in speeds(count)]
    free = sum(store.claim(key) for key in keys)
    print(end - (pressed or [end])[0], len(sweep), free, flush=True)


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]), float(sys.argv[3]), bool(int(sys.argv[4])))
