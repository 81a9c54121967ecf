"""An executor whose points march on a GPU, many at once.

    this process      hands points in and takes results, as with any executor
    lanes             threads of this process: each launches one cycle of all points that wait for
                      one, so that the device has work while a launch's last points end
    host processes    compile networks and do what lies between cycles (`host.py`)

A point goes from its host to a lane and back for every cycle; its arrays lie in memory that all
share and that the device reads by itself.
"""

import atexit
import contextlib
import os
import pickle
import subprocess
import sys
import tempfile
import threading
import time
from concurrent.futures import Executor, Future
from pathlib import Path
from typing import NamedTuple

import wavesim.kernels
from wavesim.console import tell
from wavesim.errors import InputError, SolverError, check_choice, check_int, shown
from wavesim.gpu.device import Device
from wavesim.many.host import map_memory
from wavesim.many.work import CPU, DEVICES, compute, count_workers

POINTS = 1024  # for `run_chains`, which has twice as many at work
MEMORY = 4 * 2**30  # [byte] for slots
PAGE = 512  # words of the smallest page
SHARE = 0.25  # of the memory of the machine that they take at most
LANES, MARCHING = 4, 3  # one reads samples
ALL = 0.98  # share of the points at work that passes for all of them
ALIKE = 8  # points that a host may have more than another for being of one design
MOST_HOSTS = 32
#: Hosts are many: none may take threads for its small matrices, and memory that is freed is used
#: again instead of being handed back and fetched page by page.
_ENVIRONMENT = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1", "MKL_NUM_THREADS": "1",
                "MALLOC_MMAP_THRESHOLD_": str(2**22), "MALLOC_TRIM_THRESHOLD_": str(2**28)}
_START = """
import importlib.util, sys
start, file, size, first, words, *paths = sys.argv[1:]
sys.path[:] = paths
spec = importlib.util.spec_from_file_location("wavesim", start)
sys.modules["wavesim"] = package = importlib.util.module_from_spec(spec)
spec.loader.exec_module(package)
from wavesim.many.host import serve
serve(int(file), int(size), int(first), int(words))
"""


class _Work:
    """A point that was handed in."""

    def __init__(self, number, future, host, item):
        self.number, self.future, self.host, self.item = number, future, host, item


class _Host:
    """A host process, with what it has to do."""

    def __init__(self, file, size, first, words, on_message):
        here = os.getcwd()
        paths = [path for path in sys.path if os.path.isabs(path) and path != here]
        package = Path(wavesim.kernels.__file__).parents[1]
        self.process = subprocess.Popen(
            [sys.executable, "-I", "-c", _START, str(package / "__init__.py"),
             *map(str, (file, size, first, words)), *paths],
            cwd=package, env=os.environ | _ENVIRONMENT, pass_fds=(file,),
            stdin=subprocess.PIPE, stdout=subprocess.PIPE,
            start_new_session=True,  # Ctrl-C is for the process that hands points in
        )
        self.load = 0  # points that it has
        self._lock = threading.Lock()
        self._on_message = on_message
        self._listener = threading.Thread(target=self._listen, daemon=True)
        self._listener.start()

    def send(self, kind, items):
        with self._lock, contextlib.suppress(OSError, ValueError):  # gone, which `_listen` notices
            pickle.dump((kind, items), self.process.stdin, pickle.HIGHEST_PROTOCOL)
            self.process.stdin.flush()

    def _listen(self):
        while True:
            try:
                message = pickle.load(self.process.stdout)
            except (EOFError, OSError, ValueError, pickle.UnpicklingError):
                self._on_message(self, None)
                return
            self._on_message(self, message)

    def close(self):
        """Its input ends, and so does the process."""
        with contextlib.suppress(OSError):
            self.process.stdin.close()
        self.process.wait()
        self._listener.join()
        self.process.stdout.close()


class GpuPool(Executor):
    """Executor for `many.work.compute` alone.

    Parameters
    ----------
    hosts : int
        Number of host processes.
    device : Device, optional
        Or what has its methods; default: the first one.

    Raises
    ------
    InputError
        If there is no GPU that can be used.
    """

    def __init__(self, hosts, device=None):
        self.device = Device() if device is None else device
        if not self.device.is_compiled():
            tell("its march is compiled for the GPU first, once for this version; this takes a "
                 "minute or two.")
            self.device.load()
        self._max_workers = POINTS
        size = self.device.memory_for(_memory_size(), LANES)
        self._file, self._close_file = _shared_file(size)
        words = size // 8 // hosts
        self._lock = threading.Condition()
        self._work, self._last = {}, 0
        self._ready, self._quick = [], []  # points that wait for a cycle, for samples
        self._running, self._marching = 0, 0  # launches, and points in them
        self._broken, self._closed = None, False
        self._design = None, None  # of the last point, and its host
        self.cycles, self.launches, self.busy = 0, 0, 0.0
        self.hosts = [_Host(self._file, size, i * words, words, self._on_message)
                      for i in range(hosts)]
        self.memory = map_memory(self._file, size)
        self._on_device, self._lanes = [], []
        self._opener = threading.Thread(target=self._open, daemon=True)
        self._opener.start()

    def _open(self):
        """Let the device reach the memory, and begin to launch.

        The system provides its pages one by one, which takes seconds: meanwhile the host processes
        start and take up their first points.
        """
        try:
            self.memory[::PAGE].max()  # stops no other thread, as to pin pages not yet there would
            self._on_device = self.device.lanes(self.memory, LANES)
        except Exception as error:
            self._fail(_told(error))
            return
        self._lanes = [threading.Thread(target=self._drive, args=(lane,), daemon=True)
                       for lane in self._on_device]
        for lane in self._lanes:
            lane.start()

    def submit(self, function, task, start=None, traces=True, stop=None):
        """A future for a point; `function` must be `compute`."""
        if function is not compute:
            raise TypeError("a GpuPool computes points only")
        future = Future()
        with self._lock:
            if self._broken is not None:
                raise self._broken
            self._last += 1
            host = self._host_for(task)
            host.load += 1
            work = self._work[self._last] = _Work(self._last, future, host, None)
        host.send("points", [(work.number, task, start, traces)])
        future.add_done_callback(
            lambda done: done.cancelled() and host.send("forget", [work.number])
        )
        return future

    def spans(self):
        """Of each launch so far: points, new ones, ms that it took."""
        return [span for lane in self._on_device for span in lane.spans]

    def _host_for(self, task):
        """The host that has least to do, but all speeds of a design go to one: it is made once."""
        exhaust, host = self._design
        if task.exhaust is not exhaust or host.load > min(one.load for one in self.hosts) + ALIKE:
            host = min(self.hosts, key=lambda one: one.load)
            self._design = task.exhaust, host
        return host

    def shutdown(self, wait=True, *, cancel_futures=False):
        """End the host processes; what is not done is left."""
        with self._lock:
            if self._closed:
                return
            self._closed = True
            self._lock.notify_all()
        for host in self.hosts:
            host.close()
        self._opener.join()
        for lane in self._lanes:
            lane.join()
        if self._broken is None:
            self.device.close()
        self._close_file()

    def _on_message(self, host, message):
        """A host tells which points ask for a cycle and which are done; None: it has died."""
        if message is None:
            if not self._closed:
                self._fail(SolverError("a host process of the GPU ended unexpectedly."))
            return
        asked, done = message
        dropped = []
        with self._lock:
            for number, start, is_quick in asked:
                work = self._work.get(number)
                if work is None or work.future.cancelled():
                    dropped.append(number)
                    if self._work.pop(number, None) is not None:
                        host.load -= 1
                else:
                    (self._quick if is_quick else self._ready).append((work, start))
            finished = [(self._work.pop(number, None), outcome) for number, outcome in done]
            host.load -= sum(work is not None for work, _ in finished)
            self._lock.notify_all()
        if dropped:
            host.send("drop", dropped)
        for work, outcome in finished:
            if work is not None and work.future.set_running_or_notify_cancel():
                result = pickle.loads(outcome)
                if isinstance(result, Exception):
                    work.future.set_exception(result)
                else:
                    work.future.set_result(result)

    def _fail(self, error):
        with self._lock:
            self._broken = self._broken or error
            left, self._work = list(self._work.values()), {}
            self._ready, self._quick = [], []
        for work in left:
            if work.future.set_running_or_notify_cancel():
                work.future.set_exception(error)

    def _drive(self, lane):
        """Do what waits, again and again: read samples at once, launch cycles if it is worth it."""
        try:
            while True:
                with self._lock:
                    while not (self._closed or self._quick or self._is_worth_it()):
                        self._lock.wait()
                    if self._closed:
                        return
                    batch, self._quick = self._quick, []
                    is_launch = not batch
                    if is_launch:
                        batch, self._ready = self._ready, []
                        self._running += 1
                        self._marching += len(batch)
                clock = time.perf_counter()
                lane.run([start for _, start in batch])
                if is_launch:
                    with self._lock:
                        self._running -= 1
                        self._marching -= len(batch)
                        self.cycles += len(batch)
                        self.launches += 1
                        self.busy += time.perf_counter() - clock
                        self._lock.notify_all()
                by_host = {}
                for work, _ in batch:
                    by_host.setdefault(work.host, []).append(work.number)
                for host, numbers in by_host.items():
                    host.send("marched", numbers)
        except Exception as error:  # the device has failed, or a point is too large for it
            self._fail(_told(error))

    def _is_worth_it(self):
        """True if it is no use to wait for more points.

        A launch would fill the device; or the device has room for all that waits; or no point is
        left that could come before another launch ends, which may take as long as its longest.
        """
        waiting, room = len(self._ready), self.device.resident
        here = waiting + self._marching
        return waiting > 0 and (
            self._running == 0
            or (self._running < MARCHING
                and (waiting >= room or here <= room or here >= ALL * len(self._work)))
        )


def _told(error):
    """An error of the device in our words."""
    return error if isinstance(error, InputError) else SolverError(f"the GPU failed: {error}")


def _memory_size():
    """Bytes of memory for slots, a whole number of pages."""
    try:
        here = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES")
    except (AttributeError, ValueError, OSError):
        here = MEMORY
    return int(min(MEMORY, SHARE * here)) // 2**20 * 2**20


def _shared_file(size):
    """Number of an open file that lies in memory where the system has such, and what closes it."""
    if hasattr(os, "memfd_create"):
        file = os.memfd_create("wavesim")
        os.ftruncate(file, size)
        return file, lambda: os.close(file)
    held = tempfile.TemporaryFile()
    held.truncate(size)
    return held.fileno(), held.close


_pools = {}
_pools_lock = threading.Lock()


def gpu_pool(hosts=None):
    """The pool of this process, made when it is first asked for and kept.

    Parameters
    ----------
    hosts : int or None
        Number of host processes; None: one for each core but one.

    Raises
    ------
    InputError
        If there is no GPU that can be used.
    """
    hosts = hosts or min(MOST_HOSTS, max(1, (os.cpu_count() or 2) - 1))
    with _pools_lock:
        pool = _pools.get(hosts)
        if pool is None or pool._broken is not None:
            for old in _pools.values():
                old.shutdown()
            _pools.clear()
            pool = _pools[hosts] = GpuPool(hosts)
            atexit.register(pool.shutdown)
        return pool


def compute_on_gpu(task, start=None, traces=True, stop=None):
    """`work.compute` on the GPU of the process in which it is called, for an executor."""
    return gpu_pool().submit(compute, task, start, traces).result()


class Workplace(NamedTuple):
    """Where points are computed, as `run_chains` takes it.

    Attributes
    ----------
    executor : concurrent.futures.Executor or None
    threads : int
        Points computed at once.
    device : {"cpu", "gpu"}
    call : callable or None
        What the executor computes; None: `compute`.
    """

    executor: object
    threads: int
    device: str
    call: object


def workplace(owner, device, executor, threads, scheme="finite volume"):
    """Check where points are to be computed, and make it ready.

    Parameters
    ----------
    owner : str
        Function that asks, for messages.
    device : {"cpu", "gpu"}
        "gpu" without an executor: the GPU of this process; with one: that of each of its workers.
    executor, threads
        As for `count_workers`; on the GPU of this process `threads` are the host processes.
    scheme : str
        Of the settings.

    Returns
    -------
    Workplace

    Raises
    ------
    InputError
        If one of these is wrong, or there is no GPU that can be used.
    """
    check_choice(owner, "device", device, DEVICES)
    if device == CPU or executor is not None:
        width = count_workers(executor, threads, owner)
        call = None if device == CPU else compute_on_gpu
        place = Workplace(executor, width, device, call)
    else:
        hosts = None if threads is None else check_int(owner, "threads", threads, 1, MOST_HOSTS)
        place = Workplace(None, POINTS, device, None)
    if device != CPU and scheme != "finite volume":
        raise InputError(
            f"Settings: scheme = {shown(scheme)} is not known on a GPU; choose 'finite volume' or "
            "device = 'cpu'."
        )
    if device != CPU and executor is None:
        place = place._replace(executor=gpu_pool(hosts))
    return place
