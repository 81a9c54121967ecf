"""Launches: one cycle of many points, whose slots lie in memory of the host and of the device."""

import numpy as np

from wavesim.gpu import slots

CREW = 128  # threads that march one point
_MOST = 65536  # points of a launch


class Lane:
    """One of the lanes on which launches follow each other; two lanes overlap.

    Parameters
    ----------
    device : Device
        With the march loaded.
    host : ndarray of int64
        Memory with all slots.
    mirror : int
        Address of as much memory of the device.
    """

    def __init__(self, device, host, mirror):
        self.device, self.host, self.mirror = device, host, mirror
        self.stream = device.stream()
        self.list = device.allocate(8 * (_MOST + 1))
        self.events = [device.event() for _ in range(4)]
        self.spans = []  # of each launch: points, ms of copies in, of the march, of copies out

    def run(self, starts):
        """Do what slots ask for; comes back when all is done.

        Parameters
        ----------
        starts : sequence of int
            First words of the slots, in any order.

        Raises
        ------
        InputError
            If one of them is too large for the device, or the device fails.
        """
        self.device.enter()
        starts = np.asarray(starts, dtype=np.int64)
        jobs = self.host[starts[:, None] + slots.JOB_AT + np.arange(slots.N_JOB)]
        is_read = jobs[:, slots.WANT] == slots.READ
        for start, job in zip(starts[is_read].tolist(), jobs[is_read], strict=True):
            self._copy_out(start + job[slots.KEPT_END], start + job[slots.FIELD_END])
        if not is_read.all():
            self._march(starts[~is_read], jobs[~is_read])
        self.device.wait(self.stream)

    def _copy_in(self, first, last):
        self.device.copy_in(self.mirror + 8 * first, self.host[first:last], self.stream)

    def _copy_out(self, first, last):
        self.device.copy_out(self.host[first:last], self.mirror + 8 * first, self.stream)

    def _march(self, starts, jobs):
        device, stream = self.device, self.stream
        near = int(jobs[:, slots.NEAR_END].max())
        blocks, crews = device.shape(near, starts.size)
        begin, loaded, marched, done = self.events
        device.record(begin, stream)
        fresh = jobs[:, slots.FRESH] > 0
        self.host[starts + slots.JOB_AT + slots.FRESH] = 0
        new = np.where(fresh, jobs[:, slots.KEPT_END], jobs[:, slots.CELLS_END])
        for start, words in zip(starts.tolist(), new.tolist(), strict=True):
            self._copy_in(start, start + words)
        order = np.argsort(-jobs[:, slots.COST], kind="stable")
        lists = []
        for first in range(0, order.size, _MOST):
            some = np.concatenate(([0], starts[order[first:first + _MOST]]))
            lists.append(some)
            device.copy_in(self.list, some, stream)
            device.record(loaded, stream)
            given = self.mirror, self.list + 8, some.size - 1, self.list, near
            device.launch(blocks, crews, given, stream)
        device.record(marched, stream)
        for start, words in zip(starts.tolist(), jobs[:, slots.TOLD_END].tolist(), strict=True):
            self._copy_out(start + slots.JOB_AT, start + words)
        device.record(done, stream)
        device.wait(stream)
        failed = self.host[starts + slots.JOB_AT + slots.STATUS] != 0
        for start, job in zip(starts[failed].tolist(), jobs[failed], strict=True):
            self._copy_out(start + job[slots.TOLD_END], start + job[slots.KEPT_END])
        self.spans.append((starts.size, int(fresh.sum()), *(
            device.between(*pair)
            for pair in ((begin, loaded), (loaded, marched), (marched, done))
        )))
