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
    mapped, mirror : int
        Addresses by which the device reaches it, and as much memory of its own.
    benches : int
        Address of the benches of as many crews as the device has at work.
    """

    def __init__(self, device, host, mapped, mirror, benches):
        self.device, self.host, self.mapped, self.mirror = device, host, mapped, mirror
        self.benches = benches
        self.stream = device.stream()
        self.list = device.allocate(8 * (_MOST + 1))
        self.events = [device.event() for _ in range(2)]
        self.spans = []  # of each launch: points, new ones among them, ms that it took

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
            samples = slice(start + job[slots.KEPT_END], start + job[slots.FIELD_END])
            self.device.copy_out(self.host[samples], self.mirror + 8 * samples.start, self.stream)
        if not is_read.all():
            self._march(starts[~is_read], jobs[~is_read])
        self.device.wait(self.stream)

    def _march(self, starts, jobs):
        device, stream = self.device, self.stream
        begun, done = self.events
        near = int(jobs[:, slots.NEAR_END].max())
        gas = slots.most_gas(self.host, starts)
        blocks, crews, each = device.shape(near, gas, starts.size)
        order = np.argsort(-jobs[:, slots.COST], kind="stable")
        lists = []
        device.record(begun, stream)
        for first in range(0, order.size, _MOST):
            some = np.concatenate(([0], starts[order[first:first + _MOST]]))
            lists.append(some)
            device.copy_in(self.list, some, stream)
            given = (self.mapped, self.mirror, self.benches, self.list + 8, some.size - 1,
                     self.list, near, each)
            device.launch(blocks, crews, given, stream)
        device.record(done, stream)
        device.wait(stream)
        fresh = int((jobs[:, slots.FRESH] > 0).sum())
        self.spans.append((starts.size, fresh, device.between(begun, done)))
