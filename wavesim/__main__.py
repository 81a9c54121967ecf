"""Entry point of `python -m wavesim`."""

import os
import sys
import threading

from wavesim.front.app import INTERRUPTED, main


def leave(code):
    """End the process; after Ctrl-C without waiting for threads that cannot be stopped.

    Such is one that compiles.  Everything is written by now.
    """
    others = set(threading.enumerate()) - {threading.main_thread()}
    if code == INTERRUPTED and any(not thread.daemon for thread in others):
        os._exit(code)
    sys.exit(code)


if __name__ == "__main__":
    leave(main())
