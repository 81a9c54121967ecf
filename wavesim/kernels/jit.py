"""The decorators of all compiled functions: the only place that names numba's options.

numba's own cache notices a change of one file only, so a kernel that calls an edited kernel of
another file would keep the old physics.  The cache folder is therefore named by a hash of every
source in this room: any edit gives a new folder, a revert finds the old one again.

What lies in that folder is executed.  So it is used only if nobody but the user can have put
anything there, and every file ends in a hash of its content: one that is damaged is deleted and its
kernel compiled anew.  Where nothing can be kept, everything is compiled in every process.
"""

import contextlib
import hashlib
import os
import pickle
import secrets
import stat
import sys
from pathlib import Path

import numba
from numba.core.caching import _Cache
from numba.core.compiler import CompileResult
from numba.core.serialize import dumps

from wavesim.console import tell

# Without `nnan` and `ninf` the tests for bad states survive; the rest lets loops vectorise.
_FAST = {"contract", "arcp", "nsz", "afn", "reassoc"}
_ROOM = 2**24  # [byte] free on the disk: three times what all kernels take
_HASH = hashlib.sha256
_OTHERS_WRITE = stat.S_IWGRP | stat.S_IWOTH


def _cache_folder():
    """Folder named by the source of every kernel, and why nothing can be kept there, or None."""
    sources = sorted(Path(__file__).parent.glob("*.py"))
    digest = _HASH(b"".join(path.read_bytes() for path in sources)).hexdigest()[:12]
    chosen = os.environ.get("WAVESIM_CACHE")
    usual = os.environ.get("XDG_CACHE_HOME") or os.path.expanduser("~/.cache")
    root = os.path.abspath(chosen or os.path.join(usual, "wavesim"))
    folder = os.path.join(root, digest)
    try:
        os.makedirs(root, 0o700, exist_ok=True)
        with contextlib.suppress(FileExistsError):
            os.mkdir(folder, 0o700)
        if not chosen:
            _keep_to_ourselves(root)
        if not (_is_ours(folder) and _is_safe_above(root)):
            return folder, f"others could change what is in {folder}"
        if not os.access(folder, os.W_OK):
            return folder, f"{folder} cannot be written to"
    except OSError as error:
        return folder, f"{folder}: {error.strerror or error}"
    return folder, None


def _keep_to_ourselves(root):
    """Take from others the right to write to a folder that only the library uses."""
    found = os.stat(root)
    if hasattr(os, "getuid") and found.st_uid == os.getuid() and found.st_mode & _OTHERS_WRITE:
        os.chmod(root, stat.S_IMODE(found.st_mode) & ~_OTHERS_WRITE)


def _is_ours(folder):
    """True if a folder, and no link, belongs to the user, and nobody else may write to it."""
    if not hasattr(os, "getuid"):
        return True
    found = os.lstat(folder)
    mine = stat.S_ISDIR(found.st_mode) and found.st_uid == os.getuid()
    return mine and not found.st_mode & _OTHERS_WRITE


def _is_safe_above(root):
    """True if nobody else can put another folder in the place of one of the user in here."""
    if not hasattr(os, "getuid"):
        return True
    found = os.stat(root)
    if found.st_mode & stat.S_ISVTX:  # as in /tmp
        return True
    return found.st_uid in (os.getuid(), 0) and not found.st_mode & _OTHERS_WRITE


FOLDER, _OBSTACLE = _cache_folder()


def is_used():
    """True unless numba is switched off."""
    return not numba.config.DISABLE_JIT


def is_kept():
    """True if what is compiled here is found again by another process."""
    return _OBSTACLE is None and is_used()


def obstacle():
    """Why nothing that is compiled can be kept; None if it can."""
    return _OBSTACLE


def has_room():
    """True unless the disk is too full to keep all kernels."""
    with contextlib.suppress(AttributeError, OSError):
        disk = os.statvfs(FOLDER)
        return disk.f_bavail * disk.f_frsize > _ROOM
    return True


def is_compiled(kernel):
    """True if a kernel of this checkout and version lies in the cache, and is sound."""
    return is_kept() and any(_content(path) for path in kernel._cache.files())


def compile_for(kernel, *arguments):
    """Compile a kernel for arguments of the types of these."""
    kernel.compile(tuple(map(numba.typeof, arguments)))


class _Shelf(_Cache):
    """The compiled forms of one kernel, each in a file of its own."""

    def __init__(self, function):
        module, version = function.__module__.rpartition(".")[2], sys.version_info
        line = function.__code__.co_firstlineno
        self.stem = f"{module}.{function.__name__}-{line}.py{version[0]}{version[1]}."

    @property
    def cache_path(self):
        return FOLDER

    def files(self):
        """All files, for whatever arguments and machines."""
        return list(Path(FOLDER).glob(f"{self.stem}*.nbc"))

    def load_overload(self, signature, context):
        """Compiled form for a signature, or None."""
        context.refresh()
        key, path = self._place(signature, context.codegen())
        content = _content(path)
        if content is None:
            return None
        try:
            kept_key, payload = pickle.loads(content)
            return CompileResult._rebuild(context, *payload) if kept_key == key else None
        except Exception:  # of an unfinished version of numba, or of one that will be
            _discard(path)
            return None

    def save_overload(self, signature, result):
        """Keep a compiled form, if it can be kept."""
        if any(not loop.can_cache for loop in result.lifted) or result.library.has_dynamic_globals:
            return
        key, path = self._place(signature, result.codegen)
        _write(path, dumps((key, result._reduce())))

    def _place(self, signature, codegen):
        """Everything that the machine code depends on but the source, and a path named by it."""
        key = (numba.__version__, str(signature), repr(codegen.magic_tuple()))
        name = f"{self.stem}{_HASH(repr(key).encode()).hexdigest()[:16]}.nbc"
        return key, os.path.join(FOLDER, name)

    def flush(self):
        for path in self.files():
            _discard(path)

    def enable(self):
        """Always is."""

    def disable(self):
        """Never is."""


_told = set()


def _tell_once(what, remark):
    if what not in _told:
        _told.add(what)
        tell(remark)


def _content(path):
    """What is in a file before the hash at its end; None if it is not there or was damaged."""
    try:
        with open(path, "rb") as file:
            content = file.read()
    except FileNotFoundError:
        return None
    except OSError:
        content = b""
    size = _HASH().digest_size
    if len(content) > size and _HASH(content[:-size]).digest() == content[-size:]:
        return content[:-size]
    _discard(path)
    _tell_once("damaged", "a damaged file in the cache of the kernels was deleted; what it held is "
                          "compiled anew.")
    return None


def _discard(path):
    with contextlib.suppress(OSError):
        os.unlink(path)


def _write(path, content):
    """Write a file aside and rename it; one remark if that is not possible."""
    unfinished = os.path.join(FOLDER, f".{secrets.token_hex(8)}.tmp")
    try:
        with open(unfinished, "xb") as file:
            file.write(content + _HASH(content).digest())
        os.replace(unfinished, path)
    except OSError as error:
        _tell_once("unkept", f"the kernels cannot be kept in {FOLDER} ({error.strerror or error}): "
                             "every process will compile them.")
    finally:
        _discard(unfinished)


def _compile(function, **options):
    compiled = numba.njit(
        nogil=True,
        error_model="numpy",
        fastmath=_FAST,
        no_cfunc_wrapper=True,
        _nrt=False,  # nothing is allocated: no counting of references
        **options,
    )(function)
    if is_kept():
        compiled._cache = _Shelf(function)
    return compiled


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
