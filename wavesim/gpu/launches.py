"""Launches: one cycle of many points whose slots lie in memory of the host.

The device holds no more than what its blocks work at, one point each, so that its memory does not
limit how many points a launch has.
"""

import numpy as np

from wavesim.errors import InputError
from wavesim.gpu import slots

SHARE = 0.4  # of the free memory of the device that a lane may take
_MOST = 65536  # points of a launch


class Lane:
    """One of the lanes on which launches follow each other; two lanes overlap.

    Parameters
    ----------
    device : Device
        With the march loaded.
    host : ndarray of int64
        Memory with all slots.
    address : int
        Of the same memory, as the device sees it.
    """

    def __init__(self, device, host, address):
        self.device, self.host, self.address = device, host, address
        self.stream = device.stream()
        self.list = device.allocate(8 * (_MOST + 1))
        self.area, self.words = 0, 0

    def run(self, starts):
        """One cycle of each point; comes back when all are done.

        Parameters
        ----------
        starts : sequence of int
            First words of their slots, in any order.

        Raises
        ------
        InputError
            If one of them is too large for the device, or the device fails.
        """
        device, host = self.device, self.host
        device.enter()
        starts = np.asarray(starts, dtype=np.int64)
        jobs = host[starts[:, None] + slots.JOB_AT + np.arange(slots.N_JOB)]
        near = device.fit(int(jobs[:, slots.NEAR_END].max()))
        stride = int(jobs[:, slots.FIELD_END].max())
        blocks = min(device.blocks, starts.size, self._room(stride))
        order = np.argsort(-jobs[:, slots.COST], kind="stable")
        listed = np.concatenate(([0], starts[order]))
        device.copy_in(self.list, listed, self.stream)
        given = (self.address, self.list + 8, starts.size, self.list, self.area, stride)
        device.launch(blocks, near, given, self.stream)
        device.wait(self.stream)

    def _room(self, stride):
        """How many blocks have room for a slot each; takes more memory if that helps."""
        device = self.device
        wanted = device.blocks * stride
        if wanted > self.words:
            if self.area:
                device.free(self.area)
                self.area, self.words = 0, 0
            most = int(SHARE * device.free_memory()) // 8
            self.words = min(wanted, most)
            if self.words < stride:
                raise InputError(
                    f"a point of this size takes {8e-6 * stride:.0f} MB of the memory of the GPU, "
                    f"of which {8e-6 * most:.0f} MB are free; compute it without device."
                )
            self.area = device.allocate(8 * self.words)
        return self.words // stride

    def close(self):
        if self.area:
            self.device.free(self.area)
        self.device.free(self.list)
