"""A disk that fills up: from some write on, whatever the library writes finds no space."""

import errno
import io
import os
from contextlib import contextmanager
from unittest import mock

import wavesim.writing


class _Disk:
    """Counts what is written by the library; from write number `full_at` on there is no space."""

    def __init__(self, full_at):
        self.full_at, self.writes, self.refused = full_at, 0, 0

    def check(self):
        self.writes += 1
        if self.writes >= self.full_at:
            self.refused += 1
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    def open(self, file, mode="r", **options):
        if "w" not in mode or not isinstance(file, int):
            return open(file, mode, **options)
        buffer = io.BufferedWriter(_Raw(self, file), buffer_size=1 << 14)
        return buffer if "b" in mode else io.TextIOWrapper(buffer, **options)


class _Raw(io.FileIO):
    def __init__(self, disk, handle):
        super().__init__(handle, "wb")
        self.disk = disk

    def write(self, data):
        self.disk.check()
        return super().write(data)


@contextmanager
def disk_full_at(write):
    """Let the disk be full from this write of the library on, counted from 1 (16 kB each).

    Yields an object with the numbers of `writes` that were tried and that were `refused`.
    """
    disk = _Disk(write)
    with mock.patch.object(wavesim.writing, "open", disk.open, create=True):
        yield disk
