"""The first compilation in two processes side by side.

Compilation runs on one core.  When a version of the kernels is used for the first time, a second
process compiles the part that the march comes to last, and leaves it in the cache of the kernels,
where the first one finds it.
"""

import os
import subprocess
import sys
import threading
from contextlib import contextmanager
from pathlib import Path

from wavesim.compile import compile_network
from wavesim.gas import PerfectGas
from wavesim.kernels import march, nodes, openings, stores
from wavesim.kernels.jit import compile_for, is_compiled, is_kept
from wavesim.network import Network
from wavesim.nodes import ClosedEnd, OpenEnd
from wavesim.pipes import Pipe
from wavesim.settings import Settings

_LOCK = threading.Lock()
_looked = False  # once per process is enough


@contextmanager
def help_to_compile():
    """Tell of a compilation, if this version is not in the cache, and let another process help."""
    helper = None
    if _is_first():
        print("wavesim: its kernels are compiled first, once for this version; this takes some "
              "twenty seconds.", file=sys.stderr, flush=True)
        helper = _start()
    try:
        yield
    finally:
        if helper is not None:
            helper.terminate()  # what it has not done by now has been done here
            helper.wait()


def _is_first():
    global _looked
    with _LOCK:
        first, _looked = not _looked, True
    return first and not is_compiled(march.march)  # it calls all others and is kept last


def _start():
    """The other process, or None where it would be of no use."""
    if not is_kept() or (os.cpu_count() or 1) < 2:
        return None
    root = str(Path(__file__).parents[1])
    path = os.pathsep.join(filter(None, (root, os.environ.get("PYTHONPATH"))))
    try:
        return subprocess.Popen(
            [sys.executable, "-m", "wavesim.precompile"], env=os.environ | {"PYTHONPATH": path},
            stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )
    except OSError:  # no other process to be had: this one does it all
        return None


def compile_share():
    """Compile ends and stores for the arrays of any network."""
    ends = {"wall": ClosedEnd("pipe.start"), "mouth": OpenEnd("pipe.end")}
    model = compile_network(Network({"pipe": Pipe(0.1, 0.04)}, ends), PerfectGas(), Settings())
    now = model.net, model.state, model.work
    compile_for(nodes.solve_ends, *now, model.inner, model.face, 0.0, 0.0)
    compile_for(openings.spare_small_stores, *now, model.inner, model.face, 0.0, 0.0)
    compile_for(stores.stores_ahead, *now, model.inner, 0.0, 0.0)
    compile_for(stores.stores_step, *now, model.record, model.face, 0.0, 0.0, 0.0)


if __name__ == "__main__":
    compile_share()
