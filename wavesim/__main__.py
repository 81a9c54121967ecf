"""Entry point of `python -m wavesim`."""

import os
import signal
import sys
import threading

from wavesim.front.app import INTERRUPTED, main


def run(argv=None):
    """Run the command line and end the process.

    After Ctrl-C threads that cannot be stopped, such as one that compiles, are not waited for:
    everything is written by now.
    """
    try:
        code = main(argv)
    except KeyboardInterrupt:  # pressed again while the first was answered
        code = INTERRUPTED
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # nothing is left that it could stop
    others = set(threading.enumerate()) - {threading.main_thread()}
    if code == INTERRUPTED and any(not thread.daemon for thread in others):
        os._exit(code)
    sys.exit(code)


if __name__ == "__main__":
    run()
