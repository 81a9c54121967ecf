"""What stands for a GPU where there is none: it marches the slots by the kernels of the processor.

What a sweep on it gives must be that of the processor to the last bit, so that everything round the
device is tested: slots, host processes, launches, messages.
"""

import numpy as np

from wavesim.gpu import slots
from wavesim.kernels import flat as f
from wavesim.kernels.march import march

WHOLE = {"net.duct", "net.taper", "net.end_int", "net.pair", "net.joint", "net.listed",
         "net.store_int", "net.hole_wall"}
LINES = {"net.gas_R", "net.area", "net.taper", "net.listed", "net.store_volume", "net.slice_end",
         "net.options", "state.T", "state.hole_u", "state.clock", "record.interval"}
SOLID = {"net.valve_area", "record.store", "record.end", "record.field"}


def views(words):
    """The arrays of a slot as the kernels take them: net, state, work, record, inner, face."""
    def array(name):
        if name == "record.field" and not slots.has_field(words):
            samples = slots.view_of(words, "record.store", 3, np.float64).shape[0]
            cells = slots.view_of(words, "net.area", 1, np.float64).size - 1
            return np.zeros((samples, f.N_FIELD, cells), dtype=np.float32)
        kind = np.int64 if name in WHOLE else np.float32 if name == "record.field" else np.float64
        return slots.view_of(words, name, 1 if name in LINES else 3 if name in SOLID else 2, kind)

    kind = int(words[slots.JOB_AT + slots.GAS_KIND])
    groups = zip(slots.GROUPS, (f.Net, f.State, f.Work, f.Record), strict=True)
    made = [
        of(*(kind if name == "gas_kind" else array(f"{group}.{name}") for name in of._fields))
        for group, of in groups
    ]
    return *made, array("inner"), array("face")


def march_slot(words):
    """March the cycle that a slot asks for, as a block on a GPU does."""
    job = words[slots.JOB_AT:slots.MAIL_AT]
    if job[slots.WANT] == slots.READ:
        return
    arrays, used = views(words), 0
    for quarter, end in enumerate(job[slots.CHUNK_END:][:8].view(np.float64)):
        status, steps = march(*arrays, end, int(job[slots.MAX_STEPS]) - used)
        job[[slots.STATUS, slots.CHUNK, slots.TAKEN, slots.USED]] = status, quarter, steps, used
        if status != f.OK:
            return
        used += steps
    job[[slots.CHUNK, slots.USED]] = 8, used


class Lane:
    def __init__(self, memory):
        self.memory = memory

    def run(self, starts):
        for start in starts:
            march_slot(self.memory[start:])


class SlowGpu:
    resident = 4

    def is_compiled(self):
        return True

    def memory_for(self, size, lanes):
        return min(size, 2**28)

    def lanes(self, memory, count):
        return [Lane(memory) for _ in range(count)]

    def close(self):
        """There is nothing to give back."""
