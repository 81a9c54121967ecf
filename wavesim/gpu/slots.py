"""Slots: all arrays of one model in one stretch of memory, as the GPU reads and writes them.

A slot is made of words of 8 bytes:

    table    where each array begins, and its lengths
    job      what is asked of the GPU and what it answers
    mail     by which the threads of a crew tell each other
    near     small arrays: ends, stores, cylinders, plan; during a cycle they lie in the memory that
             the threads of the crew share
    cells    geometry and wall temperatures
    told     the gas, and what the walls have done to it
    kept     the rest of the geometry, and the scratch, which one cycle hands on to the next
    samples  of the stores and ends, and of all cells if traces are wanted

While a crew marches a point, its cells lie on the bench of that crew (`ROWS`): there a row begins a
fixed number of words behind the one before, whatever the point, so that a thread finds all values
of its cell from one address.  The gas, of which most is read and written, goes to the memory that
the crew shares, cell by cell, if it fits there.

There are two of each slot, at the same place in memory of the host and of the device.  All goes to
the device before the first cycle, and before the next ones what lies before `told`; what lies
before `kept` comes back after each.  Samples come back when they are asked for.

The arrays of a model in a slot are views of it, so that the code between cycles knows nothing of
slots.
"""

from math import prod
from typing import NamedTuple

import numpy as np

from wavesim.errors import InputError
from wavesim.kernels import flat as f

GROUPS = ("net", "state", "work", "record")
NEAR = (
    "net.gas_R", "net.gas_coef", "net.taper", "net.end_int", "net.end_par", "net.pair",
    "net.pair_par", "net.joint", "net.listed", "net.store_int", "net.store_volume",
    "net.hole_wall", "net.cyl_par", "net.slice_end", "net.options", "state.end", "state.store",
    "state.cyl", "state.clock", "state.plan", "work.store", "inner", "face", "record.end_sum",
    "record.cyl_sum", "record.interval",
)
CELLS = ("net.cells",)
TOLD = ("state.U", "state.T", "state.hole_u", "record.wall", "record.ways")
KEPT = ("net.duct", "net.area", "net.hole_par", "net.valve_area",
        "work.W", "work.Q", "work.F", "work.hole")
SAMPLES = ("record.store", "record.end", "record.field")
ARRAYS = (*NEAR, *CELLS, *TOLD, *KEPT, *SAMPLES)
PLACE = {name: place for place, name in enumerate(ARRAYS)}
N_ENTRY = 4  # of the table: first word, lengths (1 where there is none)

N_MAIL = 14
CREW = 128  # threads that march one point
N_JOB = 40
(GAS_KIND, NEAR_END, CELLS_END, TOLD_END, KEPT_END, SAMPLES_END, FIELD_END,
 WANT, FRESH, SAMPLED, MAX_STEPS, COST,  # what is asked; not on the device yet; by which those
 # that take longest go first
 STATUS, CHUNK, TAKEN, USED) = range(16)  # how it ended, in which quarter turn, steps in it, before
CHUNK_END = 16  # 8 times [s] at which a quarter turn ends, floats
PROFILE = 24  # ticks of the stages of a step
MOST_CELLS = 8192  # of a model, ghost cells among them
ROW = MOST_CELLS + 32  # words from one row on a bench to the next
#: Rows on a bench: the first of each array, and how many it has.
ROWS = {}
for _name, _count in (("net.cells", f.N_CELL), ("net.area", 1), ("state.T", 1), ("record.wall", 2),
                      ("work.W", f.N_PRIMITIVE), ("work.Q", f.N_FACE), ("work.F", f.N_FLUX),
                      ("state.U", f.N_CONSERVED)):
    ROWS[_name] = sum(count for _, count in ROWS.values()), _count
BENCH = ROW * sum(count for _, count in ROWS.values())  # words of a bench
MARCH, READ = range(2)  # WANT: a cycle, or the samples of the last one
JOB_AT = N_ENTRY * len(ARRAYS)
MAIL_AT = JOB_AT + N_JOB
NEAR_AT = MAIL_AT + N_MAIL


class Layout(NamedTuple):
    """Where the arrays of a model lie in its slot.

    Attributes
    ----------
    table : ndarray of int64, (N_ENTRY * n_array,)
    job : ndarray of int64
        Ends of the sections.
    words : int
        Size of the slot.
    """

    table: np.ndarray
    job: np.ndarray
    words: int


def arrays_of(model):
    """All arrays of a model by their names here."""
    found = {f"{group}.{name}": values for group in GROUPS
             for name, values in getattr(model, group)._asdict().items() if name != "gas_kind"}
    return found | {"inner": model.inner, "face": model.face}


def layout_of(model, traces):
    """Layout of the slot of a model; without traces no cell is sampled.

    Raises
    ------
    InputError
        If it has more cells than fit on a bench.
    """
    if model.net.area.size > MOST_CELLS:
        raise InputError(
            f"the system has {model.net.area.size} cells, and a GPU marches at most {MOST_CELLS}; "
            "let them be longer (cell_length in the settings) or compute it without device."
        )
    arrays = arrays_of(model)
    table = np.ones((len(ARRAYS), N_ENTRY), dtype=np.int64)
    job = np.zeros(N_JOB, dtype=np.int64)
    at = NEAR_AT
    for names, end in ((NEAR, NEAR_END), (CELLS, CELLS_END), (TOLD, TOLD_END), (KEPT, KEPT_END),
                       (SAMPLES[:2], SAMPLES_END), (SAMPLES[2:], FIELD_END)):
        for name in names:
            shape = arrays[name].shape
            table[PLACE[name], 0] = at
            table[PLACE[name], 1:1 + len(shape)] = shape
            if name != "record.field" or traces:
                at += -(-arrays[name].nbytes // 8)
            else:
                table[PLACE[name], 1:] = 0
        job[end] = at
    job[FRESH] = 1
    job[GAS_KIND] = model.net.gas_kind
    return Layout(table.ravel(), job, int(at))


def settle_in(model, layout, words):
    """Move the arrays of a model into its slot.

    Parameters
    ----------
    model : Model
        Its arrays become views of the slot.
    layout : Layout
    words : ndarray of int64, (layout.words,)
    """
    words[:JOB_AT] = layout.table
    words[JOB_AT:MAIL_AT] = layout.job
    words[MAIL_AT:NEAR_AT] = 0
    moved = arrays_of(model)
    for name, values in moved.items():
        if name == "record.field" and not has_field(words):
            continue
        view = moved[name] = view_of(words, name, values.ndim, values.dtype)
        if name not in SAMPLES:
            view[...] = values
    _rebind(model, moved)


def has_field(words):
    """True if a slot has room for the samples of all cells."""
    return words[N_ENTRY * PLACE["record.field"] + 1] > 0


def view_of(words, name, dimensions, kind):
    """An array of a slot."""
    at, *shape = words[N_ENTRY * PLACE[name]:][:1 + dimensions].tolist()
    size = prod(shape)
    last = at - (-size * np.dtype(kind).itemsize // 8)
    return words[at:last].view(kind)[:size].reshape(shape)


def move_out(model):
    """Let a model keep its gas and what made it when its slot is used by another."""
    _rebind(model, {name: values.copy() if name.startswith(("net", "state")) else values
                    for name, values in arrays_of(model).items()})


def _rebind(model, arrays):
    for group in GROUPS:
        before = getattr(model, group)
        names = [name for name in before._fields if f"{group}.{name}" in arrays]
        setattr(model, group, before._replace(
            **{name: arrays[f"{group}.{name}"] for name in names}
        ))
    model.inner, model.face = arrays["inner"], arrays["face"]


def most_gas(memory, starts):
    """Most words that the conserved values of slots take, by their first words in a memory."""
    entry = starts[:, None] + N_ENTRY * PLACE["state.U"] + np.arange(1, 3)
    return int(memory[entry].prod(axis=1).max())


def ask(words, ends, max_steps, sampled):
    """Ask for a cycle.

    Parameters
    ----------
    words : ndarray of int64
        The slot.
    ends : ndarray, (8,)
        Times [s] at which the quarter turns end.
    max_steps : int
        Most steps of the cycle.
    sampled : bool
        Whether samples are wanted.
    """
    job = words[JOB_AT:MAIL_AT]
    job[COST] = job[USED] or 1_000_000_000 + job[KEPT_END]  # steps of the cycle before
    job[WANT] = MARCH
    job[[SAMPLED, MAX_STEPS]] = sampled, max_steps
    job[[STATUS, CHUNK, TAKEN, USED]] = -2, 0, 0, 0
    job[PROFILE:] = 0
    job[CHUNK_END:CHUNK_END + len(ends)].view(np.float64)[:] = ends


def ask_samples(words):
    """Ask for the samples of the last cycle."""
    words[JOB_AT + WANT] = READ


def answer(words):
    """(status, steps in the quarter turn in which it ended, steps before that)."""
    job = words[JOB_AT:MAIL_AT]
    return int(job[STATUS]), int(job[TAKEN]), int(job[USED])
