"""A study folder on disk: every finished operating point, kept under a key of what it depends on.

    store = Store("study")
    sweep = speed_sweep(engine, exhaust, rpm, store=store)      # killed?  start it again

The key is the SHA-256 of the description of engine, exhaust, speed, settings, gas and weather, of
the version of the library and of the source of every module but those that only show.  A point is
one file:

    KEY.npz          with its traces, rounded            (speed_sweep, speed_sweeps)
    KEY.values.npz   its scalars only, or its failure    (explore, optimise)

Files are written to a temporary name, flushed to the disk and then renamed, so that a file either
is complete or is not there, whenever the process dies.  A file that cannot be read, or that holds
another point than its name says, is never touched: the point is computed again and goes to
KEY.2.npz.  Nothing in a file is ever executed, and nothing is unpacked before its size is known;
but whoever may write to the folder may invent results.

Several processes may use one folder.  Whoever computes a point holds a lock on one byte, chosen by
the key, of the file "claims"; the operating system drops the lock when the process ends, however
it ends, so that no claim outlives its owner and none needs a heartbeat.  Where there are no such
locks (no `fcntl`, or a network disk without them) two processes may compute the same point twice;
nothing else can go wrong.

Scalars keep every bit; traces are rounded as `Sweep.save` rounds them.  A point from the store
carries the gas that a run can start from, and the walls that a pull has left, so that the pull goes
on from there as if it had never been interrupted; its key holds the pull and the speeds before.
"""

import contextlib
import errno
import hashlib
import itertools
import json
import os
import re
import threading
import time
from functools import lru_cache
from pathlib import Path
from typing import NamedTuple

from wavesim import errors
from wavesim._version import __version__
from wavesim.constants import RPM_RANGE
from wavesim.descriptions.engine import Engine
from wavesim.descriptions.exhaust import Exhaust
from wavesim.descriptions.network import Network
from wavesim.descriptions.pull import Pull
from wavesim.descriptions.settings import Settings, given_settings
from wavesim.descriptions.weather import Ambient, as_ambient
from wavesim.errors import InputError, check_kind, check_number, shown, shown_path
from wavesim.fields.description import Description, describe
from wavesim.fields.tabular import Sheet
from wavesim.gas.models import EngineGas, PerfectGas
from wavesim.guard import guarded
from wavesim.march.run import run_point
from wavesim.results.files import intact, read_npz, write_npz
from wavesim.results.points import (
    POINT_FORMAT,
    Failure,
    Point,
    pack_points,
    unpack_points,
)
from wavesim.results.traces import SAMPLE_ARRAYS
from wavesim.show.quantities import QUANTITIES
from wavesim.writing import TEMPORARY, PlaceTaken, as_path, whole_file

try:
    import fcntl
except ImportError:  # no such locks on this system
    fcntl = None

FORMAT = POINT_FORMAT
CLAIMS = "claims"
#: Places that only arrange or show results, by their path in the package: no part of the key.
_SHOWING = (
    "__init__.py", "__main__.py", "words.py", "console.py", "writing.py", "exact", "show", "dyno",
    "front", "many", "results/compare.py", "results/comparisons.py", "results/conditions.py",
    "results/curves.py", "results/bill.py", "fields/tabular.py",
)
_POINT_FILE = re.compile(r"([0-9a-f]{64})(\.values)?(\.\d+)?\.npz")
_TEMPORARY = re.compile(rf"{TEMPORARY}|\.[0-9a-f]{{64}}\.\d+\.\d+\.tmp")  # the second: of old
_LEFT_BEHIND = 3600.0  # [s] age at which a temporary file has lost its process
_TAKEN = (errno.EACCES, errno.EAGAIN)


@guarded
class StoreCheck(NamedTuple):
    """What is in the folder of a store.

    Attributes
    ----------
    finished : int
        Files with a point or a failure that can be read.
    damaged : tuple of str
        Files that have the name of a point and cannot be read, or hold another point.
    foreign : tuple of str
        All that the store did not make.

    Examples
    --------
    >>> import tempfile
    >>> import wavesim as ws
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     print(ws.Store(folder).check().summary())
    0 points are kept
    """

    finished: int
    damaged: tuple[str, ...]
    foreign: tuple[str, ...]

    def __repr__(self) -> str:
        counts = f"{len(self.damaged)} damaged, {len(self.foreign)} foreign files"
        return f"<StoreCheck: {self.finished} points, {counts}>"

    def summary(self) -> str:
        """Readable text; damaged and foreign files by name."""
        lines = [self._kept()]
        lines += [f"{what} file, left alone: {name}" for what, name in self._left_alone()]
        return "\n".join(lines)

    def _repr_html_(self) -> str:
        rows = [["left alone", "file"], *self._left_alone()]
        return Sheet(rows, self._kept()).html()

    def _kept(self):
        return "1 point is kept" if self.finished == 1 else f"{self.finished} points are kept"

    def _left_alone(self):
        return [("damaged", name) for name in self.damaged] + [
            ("foreign", name) for name in self.foreign
        ]


def point_key(engine, exhaust, rpm, settings, *, gas=None, fuel_flow=None, ambient=None,
              pull=None, before=(), device="cpu"):
    """Key of an operating point: 64 hexadecimal digits.

    Parameters
    ----------
    engine : Engine
    exhaust : Exhaust or Network
    rpm : float
        Engine speed [rev/min].
    settings : Settings
    gas : PerfectGas, EngineGas or None
        As for `run_point`.
    fuel_flow : float or None
        As for `run_point` [kg/s].
    ambient : Ambient or None
        As for `run_point`.
    pull : Pull or None
        As for `run_point`.
    before : sequence of (float, float or None)
        Speeds of the pull before this one [rev/min] with their fuel flow, in order of time.
    device : {"cpu", "gpu"}
        What marches the cycles: their numbers differ in the last digits.

    Returns
    -------
    str
        SHA-256 of all this and of the version and source of the library.

    Raises
    ------
    InputError
        If one of these is something else.
    """
    owner = "point_key"
    check_kind(owner, "engine", engine, Engine)
    check_kind(owner, "exhaust", exhaust, Description, optional=True)
    check_kind(owner, "settings", settings, Settings)
    check_kind(owner, "gas", gas, EngineGas, PerfectGas, optional=True)
    if fuel_flow is not None:
        check_number(owner, "fuel_flow", fuel_flow, "kg/s", 0.0, 100.0, low_open=True)
    rpm = check_number(owner, "rpm", rpm, "rev/min", *RPM_RANGE)
    what = {
        "engine": _text(engine), "exhaust": _text(exhaust), "rpm": rpm,
        "settings": _text(settings), "fuel_flow": fuel_flow,
        "ambient": _text(as_ambient(ambient)),
        "gas": _text(gas) if gas is None or isinstance(gas, Description) else repr(gas),
        "pull": _text(pull), "before": [list(speed) for speed in before],
        "library": _library(),
    }
    if device != "cpu":
        what["device"] = device
    return hashlib.sha256(json.dumps(what, sort_keys=True).encode()).hexdigest()


@lru_cache(maxsize=256)  # most points differ from the last in their speed alone
def _text(description):
    return json.dumps(describe(description), sort_keys=True)


@lru_cache(maxsize=1)
def _library():
    """Version, and a hash of the source of every module that computes."""
    return f"{__version__} {source_digest(Path(__file__).parents[1])}"


def source_digest(folder):
    """SHA-256 of the names and the source of all modules below a folder, but those that show.

    Parameters
    ----------
    folder : Path
        The package.

    Returns
    -------
    str
        64 hexadecimal digits.
    """
    digest = hashlib.sha256()
    for path in sorted(folder.rglob("*.py")):
        place = path.relative_to(folder)
        if place.parts[0] not in _SHOWING and place.as_posix() not in _SHOWING:
            source = path.read_bytes()
            digest.update(f"{place.as_posix()} {len(source)}\n".encode() + source)
    return digest.hexdigest()


@guarded
class Store:
    """Finished operating points in a folder.

    Parameters
    ----------
    folder : str or Path
        Made with its parents if it is not there.

    Attributes
    ----------
    folder : Path
    found, written : int
        How many points this object has read from the folder and written to it.

    Raises
    ------
    InputError
        If the folder cannot be made or written to.

    Examples
    --------
    >>> import tempfile
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> coarse = ws.Settings(cell_length=0.05, tolerance=0.05)
    >>> exhaust = study.exhausts["short collector"]
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     store = ws.Store(folder)
    ...     first = store.run_point(study.engine, exhaust, 4500, settings=coarse)  # computed
    ...     again = store.run_point(study.engine, exhaust, 4500, settings=coarse)  # read
    ...     print(again.torque == first.torque, store.check().summary(), store.clear())
    True 1 point is kept 1
    """

    def __init__(self, folder: str | Path) -> None:
        self.folder = as_path("Store", folder)
        self.found = self.written = 0
        self._own = {}  # files that were written here, with their stamps
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            self._claims = _claims_of(self.folder)
            self._sweep_up()
        except OSError as error:
            raise _cannot_use(self.folder, error) from error

    def __repr__(self):
        return f"<Store {str(self.folder)!r}>"

    def run_point(
        self,
        engine: Engine,
        exhaust: Exhaust | Network,
        rpm: float,
        *,
        settings: Settings | None = None,
        gas: PerfectGas | EngineGas | None = None,
        fuel_flow: float | None = None,
        ambient: Ambient | None = None,
        pull: Pull | None = None,
    ) -> Point:
        """The operating point from the folder, or computed now and kept.

        Parameters
        ----------
        engine, exhaust, rpm, settings, gas, fuel_flow, ambient, pull
            As for `wavesim.run_point`.

        Returns
        -------
        Point

        Raises
        ------
        WavesimError
            As `wavesim.run_point` does.
        """
        settings = given_settings("Store.run_point", settings)
        given = {"gas": gas, "fuel_flow": fuel_flow, "ambient": ambient, "pull": pull}
        key = point_key(engine, exhaust, rpm, settings, **given)
        outcome = self.get(key)
        if isinstance(outcome, Failure):
            raise getattr(errors, outcome.kind, errors.WavesimError)(outcome.text)
        if outcome is None:
            outcome = run_point(engine, exhaust, rpm, settings=settings, **given)
            self.put(key, outcome)
        return outcome

    # --- points -------------------------------------------------------------------------------

    def get(self, key: str, traces: bool = True) -> Point | Failure | None:
        """What is kept under a key.

        Parameters
        ----------
        key : str
            From `point_key`.
        traces : bool
            True: the point must have its traces; False: its scalars are enough.

        Returns
        -------
        Point, Failure or None
            None if there is nothing that can be read.
        """
        key = _checked_key(key)
        for path in self._paths(key, "") + self._paths(key, ".values"):
            with contextlib.suppress(InputError):
                outcome = _read(path)
                if not traces or isinstance(outcome, Failure) or outcome.samples is not None:
                    self.found += 1
                    return outcome
        return None

    def has(self, key: str) -> bool:
        """True if there is a file with a point and its traces under a key.

        Parameters
        ----------
        key : str
            From `point_key`.
        """
        return bool(self._paths(_checked_key(key), ""))

    def put(self, key: str, outcome: Point | Failure) -> None:
        """Keep a point or a failure; when this returns it is on the disk.

        Parameters
        ----------
        key : str
            From `point_key`.
        outcome : Point or Failure
            A point without samples is kept with its scalars only.

        Raises
        ------
        InputError
            If it cannot be written, as on a full disk or after the folder was removed.
        """
        key = _checked_key(key)
        check_kind("Store.put", "outcome", outcome, Point, Failure)
        if isinstance(outcome, Failure):
            arrays, header, suffix = {}, {"failure": outcome}, ".values"
        else:
            arrays, (head,) = pack_points([outcome])
            header, suffix = {"point": head}, "" if outcome.samples is not None else ".values"
        header |= {"format": FORMAT, "key": key}
        for path in self._numbered(key, suffix):
            if os.path.lexists(path):
                continue
            with contextlib.suppress(PlaceTaken):  # another process came first
                with whole_file(path, "Store") as file:
                    write_npz(file, arrays, header, compress=True)
                self._own[path] = _stamp(path)
                break
        self.written += 1

    def clear(self) -> int:
        """Remove all finished points, so that everything is computed anew.

        Returns
        -------
        int
            How many files were removed.  What is damaged or does not belong here is left alone.

        Raises
        ------
        InputError
            If the folder is no longer there or a file cannot be removed.
        """
        removed = 0
        try:
            for path in sorted(self.folder.iterdir()):
                if _POINT_FILE.fullmatch(path.name) and _is_point(path):
                    path.unlink(missing_ok=True)
                    removed += 1
        except OSError as error:
            raise _cannot_use(self.folder, error) from error
        return removed

    def check(self) -> StoreCheck:
        """Read every file and tell what is damaged and what does not belong here.

        What this store wrote itself, and nobody touched since, is not read again.

        Returns
        -------
        StoreCheck

        Raises
        ------
        InputError
            If the folder is no longer there.
        """
        finished, damaged, foreign = 0, [], []
        try:
            there = sorted(self.folder.iterdir())
        except OSError as error:
            raise _cannot_use(self.folder, error) from error
        for path in there:
            if path.name == CLAIMS or _TEMPORARY.fullmatch(path.name):
                continue
            if not _POINT_FILE.fullmatch(path.name):
                foreign.append(path.name)
                continue
            try:
                if self._own.get(path, ()) != _stamp(path):
                    _read(path)
                finished += 1
            except InputError:
                damaged.append(path.name)
        return StoreCheck(finished, tuple(damaged), tuple(foreign))

    def _numbered(self, key, suffix):
        """Names that a file under a key may have, in order."""
        yield self.folder / f"{key}{suffix}.npz"
        yield from (self.folder / f"{key}{suffix}.{n}.npz" for n in itertools.count(2))

    def _paths(self, key, suffix):
        """Files under a key, in order of their number."""
        return list(itertools.takewhile(os.path.lexists, self._numbered(key, suffix)))

    def _sweep_up(self):
        """Remove temporary files of processes that were killed while they wrote."""
        for path in self.folder.glob(".*.tmp"):
            with contextlib.suppress(FileNotFoundError):
                age = time.time() - path.stat().st_mtime
                if _TEMPORARY.fullmatch(path.name) and age > _LEFT_BEHIND:
                    path.unlink()

    # --- claims -------------------------------------------------------------------------------

    def claim(self, key: str) -> bool:
        """True if the point is now ours to compute; False if somebody computes it already.

        Parameters
        ----------
        key : str
            From `point_key`.
        """
        return self._claims.take(_checked_key(key))

    def release(self, key: str) -> None:
        """Give up a claim, when the point is kept or will not be computed."""
        self._claims.drop(_checked_key(key))


def _checked_key(key):
    """A key, which names a file, refusing what `point_key` has not made."""
    if not isinstance(key, str) or not re.fullmatch("[0-9a-f]{64}", key):
        raise InputError(f"Store: key = {shown(key)} must be one that point_key has made.")
    return key


def _cannot_use(folder, error):
    reason = error.strerror or error
    return InputError(f"Store: cannot use the folder {shown_path(folder)}: {reason}.")


def _stamp(path):
    """What changes when somebody writes a file; None if it is gone."""
    with contextlib.suppress(OSError):
        found = os.stat(path)
        return found.st_ino, found.st_size, found.st_mtime_ns
    return None


def _read(path):
    """Point or Failure in a file; InputError if it is damaged or not what its name says."""
    arrays, header = read_npz(path, FORMAT, "Store", sealed=True)
    with intact(path, "Store"):
        if header["key"] != path.name[:64]:
            raise ValueError("another point than the name says")
        if "failure" in header:
            kind, text = header["failure"]
            return Failure(str(kind), str(text))
        _check_head(header["point"])
        (point,) = unpack_points(arrays, [header["point"]])
        _check_arrays(point)
    return point


def _is_point(path):
    """True if a file holds the point or failure that its name says, of this or the last format."""
    try:
        header = read_npz(path, (FORMAT, "wavesim point 2"), "Store", sealed=True)[1]
    except InputError:
        return False
    return header.get("key") == path.name[:64]


def _check_head(head):
    """Refuse the head of a point that lacks a number or has something else in its place."""
    numbers = [head["rpm"], *(head["values"][name] for name in QUANTITIES)]
    if not all(type(number) in (int, float) for number in numbers):
        raise ValueError("a quantity is no number")
    if not isinstance(head["audit"]["converged"], bool) or not isinstance(head["meta"], dict):
        raise ValueError("the audit or the description is missing")


def _check_arrays(point):
    """Refuse arrays that do not belong together."""
    if len({values.shape for values in point.cylinders.values()}) > 1:
        raise ValueError("cylinders differ in number")
    if point.samples is not None:
        lengths = {len(getattr(point.samples, name)) for name in SAMPLE_ARRAYS}
        if len(lengths) > 1 or not isinstance(point.samples.layout, dict):
            raise ValueError("samples differ in number")


class _Claims:
    """Locks of this process on bytes of one file; threads of one process go by `held`."""

    def __init__(self, path):
        self.path, self.handle = path, _opened(path)
        self.held = set()
        self.guard = threading.Lock()

    def renew(self):
        """Open the file anew if it was removed: locks on the old one hold against nobody."""
        with self.guard:
            if not self._is_there():
                before, self.handle = self.handle, _opened(self.path)
                os.close(before)

    def take(self, key):
        with self.guard:
            if key in self.held or not self._lock(key):
                return False
            self.held.add(key)
            return True

    def drop(self, key):
        with self.guard:
            self.held.discard(key)
            if fcntl is not None:
                with contextlib.suppress(OSError):
                    fcntl.lockf(self.handle, fcntl.LOCK_UN, 1, _byte(key))

    def _is_there(self):
        try:
            return os.path.samestat(os.lstat(self.path), os.fstat(self.handle))
        except OSError:
            return False

    def _lock(self, key):
        """False if another process holds the byte; True also where there are no locks."""
        if fcntl is None:
            return True
        try:
            fcntl.lockf(self.handle, fcntl.LOCK_EX | fcntl.LOCK_NB, 1, _byte(key))
        except OSError as error:
            return error.errno not in _TAKEN
        return True


def _opened(path):
    return os.open(path, os.O_RDWR | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0), 0o666)


def _byte(key):
    return int(key[:15], 16)


_open_claims = {}
_opening = threading.Lock()


def _claims_of(folder):
    """The claims of this process in a folder: one object, since closing a file drops its locks."""
    with _opening:
        # A forked child has none of its parent's locks.
        name = (os.getpid(), str(folder.resolve()))
        if name in _open_claims:
            _open_claims[name].renew()
        else:
            _open_claims[name] = _Claims(folder / CLAIMS)
        return _open_claims[name]
