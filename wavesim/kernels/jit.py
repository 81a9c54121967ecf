"""The decorators of all compiled functions: the only place that names numba's options.

numba's own cache notices a change of one file only, so a kernel that calls an edited kernel of
another file would keep the old physics.  The cache folder is therefore named by a hash of every
source in this room: any edit gives a new folder, a revert finds the old one again.
"""

import hashlib
import os
from pathlib import Path

import numba

# Without `nnan` and `ninf` the tests for bad states survive; the rest lets loops vectorise.
_FAST = {"contract", "arcp", "nsz", "afn", "reassoc"}


def _cache_folder():
    """Folder named by the source of every kernel, or None if nothing can be written."""
    sources = sorted(Path(__file__).parent.glob("*.py"))
    digest = hashlib.sha256(b"".join(path.read_bytes() for path in sources)).hexdigest()[:12]
    root = os.environ.get("WAVESIM_CACHE") or os.path.join(
        os.environ.get("XDG_CACHE_HOME") or os.path.expanduser("~/.cache"), "wavesim"
    )
    folder = os.path.join(root, digest)
    try:
        os.makedirs(folder, exist_ok=True)
    except OSError:
        return None
    return folder if os.access(folder, os.W_OK) else None


FOLDER = _cache_folder()


def is_kept():
    """True if what is compiled here is found again by another process."""
    return FOLDER is not None and not numba.config.DISABLE_JIT


def is_compiled(kernel):
    """True if a kernel of this checkout and version has been compiled into the cache before."""
    name = f"*.{kernel.__name__}-*.nbc"
    return is_kept() and any(Path(kernel.stats.cache_path).glob(name))


def compile_for(kernel, *arguments):
    """Compile a kernel for arguments of the types of these."""
    kernel.compile(tuple(map(numba.typeof, arguments)))


def _compile(function, **options):
    before = numba.config.CACHE_DIR
    numba.config.CACHE_DIR = FOLDER or before
    try:
        return numba.njit(
            nogil=True,
            error_model="numpy",
            fastmath=_FAST,
            cache=FOLDER is not None,
            no_cfunc_wrapper=True,
            _nrt=False,  # nothing is allocated: no counting of references
            **options,
        )(function)
    finally:
        numba.config.CACHE_DIR = before


def entry(function):
    """Compile on first call: cached per source version, GIL released, x/0 gives inf."""
    return _compile(function)


def kernel(function):
    """Like `entry`, for functions that only other kernels call.

    Unpacking arrays at an entry from Python takes longer to compile than many a function itself.
    """
    return _compile(function, no_cpython_wrapper=True)


def leaf(function):
    """Like `kernel`, and always inlined: for small functions called inside vectorised loops."""
    return _compile(function, no_cpython_wrapper=True, forceinline=True)


def stage(function):
    """Like `kernel`, and always inlined: for functions of whole networks.

    Handing hundreds of array fields over takes longer to run than most of them do.
    """
    return _compile(function, no_cpython_wrapper=True, forceinline=True)


def aside(function):
    """Like `kernel`, for what few steps need: never written into what calls it.

    numba lets a kernel inherit the order to be inlined from the stage that calls it, and the rest
    of the march then runs some per cent slower for what it seldom does.
    """
    return _compile(function, no_cpython_wrapper=True, forceinline=False)


def part(function):
    """For a stretch of one other function, written into it before that is compiled.

    It costs no compilation of its own: a stage is translated alone and once more wherever it is
    used, and the same again with whatever holds that.
    """
    return _compile(function, no_cpython_wrapper=True, inline="always")
