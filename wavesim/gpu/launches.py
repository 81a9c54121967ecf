"""Launches: one cycle of many points, whose slots lie in memory of the host and of the device."""

import numpy as np

from wavesim.gpu import slots

_MOST = 65536  # points of a launch


class Lane:
    """One of the lanes on which launches follow each other; two lanes overlap.

    Parameters
    ----------
    device : Device
        With the march loaded.
    host : ndarray of int64
        Memory with all slots.
    address, mirror : int
        Of the same memory, as the device sees it, and of that of the device.
    """

    def __init__(self, device, host, address, mirror):
        self.device, self.host, self.address, self.mirror = device, host, address, mirror
        self.stream = device.stream()
        self.list = device.allocate(8 * (_MOST + 1))

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
        device, host = self.device, self.host
        device.enter()
        starts = np.asarray(starts, dtype=np.int64)
        jobs = host[starts[:, None] + slots.JOB_AT + np.arange(slots.N_JOB)]
        for start, job in zip(starts.tolist(), jobs, strict=True):
            if job[slots.WANT] == slots.READ:
                span = slice(start + job[slots.KEPT_END], start + job[slots.FIELD_END])
                device.copy_out(host[span], self.mirror + 8 * span.start, self.stream)
            elif job[slots.FRESH]:
                new = host[start:start + job[slots.KEPT_END]]
                device.copy_in(self.mirror + 8 * start, new, self.stream)
                host[start + slots.JOB_AT + slots.FRESH] = 0
        self._march(starts, jobs)
        device.wait(self.stream)

    def _march(self, starts, jobs):
        marched = np.flatnonzero(jobs[:, slots.WANT] == slots.MARCH)
        if marched.size == 0:
            return
        device = self.device
        near = device.fit(int(jobs[marched, slots.NEAR_END].max()))
        order = marched[np.argsort(-jobs[marched, slots.COST], kind="stable")]
        for first in range(0, order.size, _MOST):
            some = order[first:first + _MOST]
            device.copy_in(self.list, np.concatenate(([0], starts[some])), self.stream)
            given = (self.address, self.mirror, self.list + 8, some.size, self.list)
            device.launch(min(device.blocks, some.size), near, given, self.stream)
