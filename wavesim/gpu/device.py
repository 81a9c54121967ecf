"""One GPU: what it has, the march compiled for it, its memory, and launches.

The march is compiled once for a kind of device and kept beside the kernels of the processor, under
the hash of everything that it is made of.  No device is needed for the first step of that
(`assembly`), so that tests can take it anywhere.
"""

import contextlib
import ctypes
import hashlib
import importlib.util
import os
import re
import secrets
import sys
import threading
from pathlib import Path

import numpy as np

import wavesim.kernels
from wavesim.errors import InputError
from wavesim.gpu.launches import Lane
from wavesim.gpu.slots import BENCH, CREW
from wavesim.kernels import jit

EXTRA = "pip install 'numba-cuda[cu13]'"
CREWS = 4  # of a block, of which a multiprocessor has one: 128 registers remain for a thread
SHARE = 0.8  # of the free memory of the device that slots may take
PAGE = 2**20
LEAST = 64 * PAGE
_OWN = Path(__file__).parent


def assembly(capability):
    """The march in the assembly language of GPUs.

    Parameters
    ----------
    capability : (int, int)
        Compute capability of the device, such as (9, 0).

    Returns
    -------
    str
    """
    from wavesim.gpu.frame import cycles  # brings numba-cuda, which only the compiler needs
    from wavesim.gpu.target import compiled

    return compiled(cycles, 8, capability, (CREWS * CREW, 1))


def _digest(capability, driver):
    """Name of all that the compiled march depends on."""
    from importlib.metadata import version

    folders = (Path(wavesim.kernels.__file__).parent, _OWN)
    sources = sorted(path for folder in folders for path in folder.glob("*.py"))
    versions = [version(name) for name in ("numba-cuda", "numba", "numpy")]
    what = repr((versions, capability, driver, sys.version_info[:2])).encode()
    return hashlib.sha256(b"".join([what, *(path.read_bytes() for path in sources)])).hexdigest()


def _kept(path):
    """What is in a file after the hash of it, None if it is not there or is damaged."""
    with contextlib.suppress(OSError):
        content = path.read_bytes()
        if hashlib.sha256(content[32:]).digest() == content[:32]:
            return content[32:]
    return None


def _keep(path, content):
    unfinished = path.with_name(f".{secrets.token_hex(8)}.tmp")
    with contextlib.suppress(OSError):
        unfinished.write_bytes(hashlib.sha256(content).digest() + content)
        os.replace(unfinished, path)
    with contextlib.suppress(OSError):
        unfinished.unlink()


def _for_driver(code, version):
    """Assembly that says of itself to be no newer than what a driver knows; what is used is old."""
    major, minor = version // 1000 - 4, version % 1000 // 10  # CUDA 13.0 knows assembly 9.0
    stated = re.search(r"^\.version (\d+)\.(\d+)", code, re.MULTILINE)
    if tuple(map(int, stated.groups())) <= (major, minor):
        return code
    return code.replace(stated.group(), f".version {major}.{max(0, minor - 1)}", 1)


class Device:
    """The first GPU of this process, or the one of a number.

    Parameters
    ----------
    number : int
        As CUDA counts them; CUDA_VISIBLE_DEVICES chooses and orders.

    Attributes
    ----------
    name : str
    capability : (int, int)
    multiprocessors : int
    resident : int
        Points that it marches at once, if the memory that the threads of a block share suffices.

    Raises
    ------
    InputError
        If there is none, no driver, or no package to reach it.
    """

    def __init__(self, number=0):
        try:
            from cuda.bindings import driver

            if importlib.util.find_spec("numba_cuda") is None:
                raise ImportError("no module numba_cuda")
        except ImportError as error:
            raise InputError(
                f"device = 'gpu' needs the package numba-cuda, which is not there ({error}): "
                f"{EXTRA}"
            ) from None
        self._driver = driver
        self._lock = threading.Lock()
        try:
            self._ask(driver.cuInit, 0)
            count = self._ask(driver.cuDeviceGetCount)
        except Exception as error:  # the package has its own for a driver that is not there
            raise InputError(
                f"device = 'gpu' needs an NVIDIA GPU with its driver: {error}"
            ) from None
        if number >= count:
            raise InputError(f"device = 'gpu' needs an NVIDIA GPU, of which {count} are there.")
        self._handle = self._ask(driver.cuDeviceGet, number)
        driver.cuDevicePrimaryCtxSetFlags(  # whoever waits sleeps; refused if it is in use already
            self._handle, driver.CUctx_flags.CU_CTX_SCHED_BLOCKING_SYNC)
        self._context = self._ask(driver.cuDevicePrimaryCtxRetain, self._handle)
        self.enter()
        about = driver.CUdevice_attribute
        self.name = self._ask(driver.cuDeviceGetName, 128, self._handle).split(b"\0")[0].decode()
        self.capability = (
            self._about(about.CU_DEVICE_ATTRIBUTE_COMPUTE_CAPABILITY_MAJOR),
            self._about(about.CU_DEVICE_ATTRIBUTE_COMPUTE_CAPABILITY_MINOR),
        )
        self.multiprocessors = self._about(about.CU_DEVICE_ATTRIBUTE_MULTIPROCESSOR_COUNT)
        self._most_near = self._about(
            about.CU_DEVICE_ATTRIBUTE_MAX_SHARED_MEMORY_PER_BLOCK_OPTIN)
        self.resident = CREWS * self.multiprocessors
        self._benches = 8 * BENCH * self.resident  # bytes, of each lane
        self._function = None

    def _ask(self, call, *arguments):
        """Call of the driver; its values, or an error in its own words."""
        status, *values = call(*arguments)
        if int(status) != 0:
            said = self._driver.cuGetErrorString(status)[1]
            text = said.decode() if said else str(status)
            raise InputError(f"the GPU answered: {text} ({call.__name__}).")
        return values[0] if len(values) == 1 else values

    def _about(self, attribute):
        return self._ask(self._driver.cuDeviceGetAttribute, attribute, self._handle)

    def lanes(self, memory, count):
        """Lanes on which cycles are launched, see `launches.Lane`.

        Parameters
        ----------
        memory : ndarray of int64
            All slots.
        count : int
            Number of lanes.
        """
        self.enter()
        self.load()
        mapped = self.pin(memory)
        mirror = self.allocate(memory.nbytes)
        benches = [self.allocate(self._benches) for _ in range(count)]
        self._held = memory, [mirror, *benches]
        return [Lane(self, memory, mapped, mirror, bench) for bench in benches]

    def memory_for(self, size, lanes):
        """Bytes of slots, at most `size`, that the device has memory for beside that of its lanes.

        Raises
        ------
        InputError
            If it has so little that no system of usual size would fit.
        """
        free, held = self.free_memory(), lanes * self._benches
        room = int(min(size, SHARE * free - held)) // PAGE * PAGE
        if room < LEAST:
            raise InputError(
                f"device = 'gpu' needs {(LEAST + held) / SHARE / 1e6:.0f} MB of the memory of the "
                f"GPU, of which {free / 1e6:.0f} MB are free."
            )
        return room

    def close(self):
        """Give back what the lanes hold."""
        self.enter()
        pinned, held = self._held
        for address in held:
            self.free(address)
        self.unpin(pinned)

    def enter(self):
        """Let the calling thread use the device."""
        self._ask(self._driver.cuCtxSetCurrent, self._context)

    def free_memory(self):
        """Bytes that are free."""
        return self._ask(self._driver.cuMemGetInfo)[0]

    def is_compiled(self):
        """True if the march for this device is kept."""
        return _kept(self._path()) is not None

    def _path(self):
        version = self._ask(self._driver.cuDriverGetVersion)
        digest = _digest(self.capability, version)
        return Path(jit.FOLDER) / f"gpu-{digest[:24]}.cubin"

    def load(self):
        """Compile the march for this device, or take it from the cache."""
        if self._function is not None:
            return
        driver, path = self._driver, self._path()
        binary = _kept(path) if jit.obstacle() is None else None
        if binary is None:
            binary = self._linked(assembly(self.capability))
            if jit.obstacle() is None:
                _keep(path, binary)
        module = self._ask(driver.cuModuleLoadData, binary)
        name = re.search(rb"_ZN7wavesim3gpu5frame6cycles\w+", binary).group()
        self._function = self._ask(driver.cuModuleGetFunction, module, name)
        attribute = driver.CUfunction_attribute.CU_FUNC_ATTRIBUTE_MAX_DYNAMIC_SHARED_SIZE_BYTES
        self._ask(driver.cuFuncSetAttribute, self._function, attribute, self._most_near)

    def _linked(self, code):
        """Machine code from assembly, by the compiler in the driver."""
        driver = self._driver
        link = self._ask(driver.cuLinkCreate, 0, [], [])
        kind = driver.CUjitInputType.CU_JIT_INPUT_PTX
        text = _for_driver(code, self._ask(driver.cuDriverGetVersion)).encode() + b"\0"
        self._ask(driver.cuLinkAddData, link, kind, text, len(text), b"march", 0, [], [])
        address, size = self._ask(driver.cuLinkComplete, link)
        binary = ctypes.string_at(int(address), int(size))
        self._ask(driver.cuLinkDestroy, link)
        return binary

    def shape(self, near_words, gas_words, points):
        """How to march points whose near arrays and gas take so many words at most.

        Returns
        -------
        tuple of int
            Blocks, crews of each, words that the threads of a block share for each crew: with the
            gas, if that leaves room for as many crews.

        Raises
        ------
        InputError
            If the near arrays take more than the threads of a block share on this device.
        """
        if 8 * near_words > self._most_near:
            raise InputError(
                f"the system has so many ends and stores that they take {8 * near_words} bytes of "
                f"the fast memory of the GPU, which has {self._most_near}; compute it without "
                "device."
            )
        wanted = -(-points // self.multiprocessors)  # few points are spread
        crews = min(CREWS, self._most_near // (8 * near_words), wanted)
        words_each = near_words + gas_words
        if 8 * crews * words_each > self._most_near:
            words_each = near_words
        return min(self.multiprocessors, -(-points // crews)), crews, words_each

    def allocate(self, size):
        """Address of new memory of the device."""
        return int(self._ask(self._driver.cuMemAlloc, size))

    def free(self, address):
        self._ask(self._driver.cuMemFree, address)

    def pin(self, memory):
        """Let the device reach memory of the host; the address that it has there."""
        driver = self._driver
        self._ask(driver.cuMemHostRegister, memory.ctypes.data, memory.nbytes,
                  driver.CU_MEMHOSTREGISTER_PORTABLE | driver.CU_MEMHOSTREGISTER_DEVICEMAP)
        return int(self._ask(driver.cuMemHostGetDevicePointer, memory.ctypes.data, 0))

    def unpin(self, memory):
        self._ask(self._driver.cuMemHostUnregister, memory.ctypes.data)

    def stream(self):
        return self._ask(self._driver.cuStreamCreate, 1)

    def wait(self, stream):
        self._ask(self._driver.cuStreamSynchronize, stream)

    def event(self):
        """A mark in a stream, with its time."""
        return self._ask(self._driver.cuEventCreate, 1)  # whoever waits for it sleeps

    def record(self, event, stream):
        self._ask(self._driver.cuEventRecord, event, stream)

    def between(self, first, last):
        """Time between two events [ms]."""
        return self._ask(self._driver.cuEventElapsedTime, first, last)

    def copy_out(self, values, address, stream):
        self._ask(self._driver.cuMemcpyDtoHAsync, values.ctypes.data, address, values.nbytes,
                  stream)

    def copy_in(self, address, values, stream):
        self._ask(self._driver.cuMemcpyHtoDAsync, address, values.ctypes.data, values.nbytes,
                  stream)

    def launch(self, blocks, crews, words, stream):
        """Start `frame.cycles` with its whole numbers, the last of which is for each crew."""
        given = np.array(words, dtype=np.int64)
        places = np.array([given.ctypes.data + 8 * i for i in range(given.size)], dtype=np.uint64)
        self._ask(self._driver.cuLaunchKernel, self._function, blocks, 1, 1, CREW * crews, 1, 1,
                  8 * crews * words[-1], stream, places.ctypes.data, 0)
