"""The first compilation, in other processes.

When a version of the kernels is used for the first time, a second process compiles them into their
cache while this one waits: so Ctrl-C works at once, in the midst of the compiler.  Compilation runs
on one core; a third process compiles the part that the march comes to last, and leaves it where the
second finds it.

They end with the process that started them, however that ends, and import nothing from the working
directory, where anything may lie.
"""

import os
import subprocess
import sys
import threading
import time
from pathlib import Path

import wavesim.kernels
from wavesim.arrays.compile import compile_network
from wavesim.console import tell
from wavesim.descriptions.network import Network
from wavesim.descriptions.nodes import ClosedEnd, OpenEnd
from wavesim.descriptions.pipes import Pipe
from wavesim.descriptions.settings import Settings
from wavesim.gas.models import PerfectGas
from wavesim.kernels import characteristics, jit, march, nodes, openings, stores

#: What the march is found by in another process.
MARCHES = {"march": march.march, "march_lines": characteristics.march_lines}
ENDS = "ends and stores"
_PACKAGE = Path(wavesim.kernels.__file__).parents[1]
_POLL = 0.05  # [s]
_START = """
import importlib.util, sys
start, parent, share, *paths = sys.argv[1:]
sys.path[:] = paths
spec = importlib.util.spec_from_file_location("wavesim", start)
sys.modules["wavesim"] = package = importlib.util.module_from_spec(spec)
spec.loader.exec_module(package)
from wavesim.march.precompile import help_out
help_out(share, int(parent))
"""

_LOCK = threading.Lock()
_looked = set()  # marches that were compiled, or cannot be compiled elsewhere


def prepare(name, is_asked_to_stop=lambda: False):
    """See to it that a march is in the cache of the kernels, where that is possible.

    Parameters
    ----------
    name : str
        A key of `MARCHES`.
    is_asked_to_stop : callable
        Asked again and again; once it says True, this returns without the march.
    """
    if name in _looked:  # the usual case, at once
        return
    with _LOCK:
        if name in _looked or not jit.is_used():
            return
        if not jit.is_compiled(MARCHES[name]):
            _announce()
            if jit.is_kept() and jit.has_room():
                _compile_elsewhere(name, is_asked_to_stop)
        if not is_asked_to_stop():
            _looked.add(name)


def _announce():
    once, reason = "for this version", jit.obstacle()
    if reason is not None:
        once = f"in every process, for they cannot be kept ({reason})"
    tell(f"its kernels are compiled first, once {once}; this takes some twenty seconds.")


def _compile_elsewhere(name, is_asked_to_stop):
    """Let other processes compile, and wait for the one with the march."""
    helpers = []
    try:
        helpers.append(_helper(name))
        if (os.cpu_count() or 1) > 1:
            helpers.append(_helper(ENDS))
        while helpers[0].poll() is None and not is_asked_to_stop():
            time.sleep(_POLL)
    except OSError:  # no other process to be had: this one does it all
        pass
    finally:
        for helper in helpers:
            helper.kill()
            helper.communicate()


def _helper(share):
    """Process that compiles a share of the kernels.

    Isolated from all that the environment and the working directory could slip in: it imports from
    where this process does.
    """
    here = os.getcwd()
    paths = [path for path in sys.path if os.path.isabs(path) and path != here]
    start = str(_PACKAGE / "__init__.py")
    return subprocess.Popen(
        [sys.executable, "-I", "-c", _START, start, str(os.getpid()), share, *paths],
        env=os.environ | {"WAVESIM_CACHE": os.path.dirname(jit.FOLDER)}, cwd=_PACKAGE,
        stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )


def help_out(share, parent):
    """Compile one share, as long as the process that wants it lives."""
    for watch in (_until_parent_changes, _until_input_ends):
        threading.Thread(target=watch, args=(parent,), daemon=True).start()
    compile_share(share)


def _until_parent_changes(parent):
    """Where the system gives orphans another parent."""
    while os.getppid() == parent:
        time.sleep(4.0 * _POLL)
    os._exit(1)


def _until_input_ends(parent):
    """Everywhere, unless another child of the parent holds the other end of the pipe too."""
    os.read(0, 1)
    os._exit(1)


def compile_share(share):
    """Compile a march, or the ends and stores, for the arrays of any network."""
    ends = {"wall": ClosedEnd("pipe.start"), "mouth": OpenEnd("pipe.end")}
    model = compile_network(Network({"pipe": Pipe(0.1, 0.04)}, ends), PerfectGas(), Settings())
    now = model.net, model.state, model.work
    inner, face, record = model.inner, model.face, model.record
    if share in MARCHES:
        jit.compile_for(MARCHES[share], *now, record, inner, face, 0.0, 1)
        return
    jit.compile_for(nodes.solve_ends, *now, inner, face, 0.0, 0.0)
    jit.compile_for(openings.spare_small_stores, *now, inner, face, 0.0, 0.0)
    jit.compile_for(stores.stores_ahead, *now, inner, 0.0, 0.0)
    jit.compile_for(stores.stores_step, *now, record, face, 0.0, 0.0, 0.0)
