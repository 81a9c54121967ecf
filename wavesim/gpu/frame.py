"""The march of engine cycles on a GPU: a crew of threads for each point.

The counterpart of `kernels/march.py` and of the frame of a step in `kernels/step.py`; every stage
is that of the kernels, as `translate` makes it.  What the threads of a crew must agree on (the
step, the crank angle, how the march stands) one of them finds and puts into the mail at the head of
their shared memory.  Between stages they wait for each other where one reads what another wrote.

What bounds the march is the memory, so what a processor does in several loops over all cells is one
here: `find_fluxes` goes from primitive values to fluxes, and `update` from these to the primitive
values of the next step.

A block is made of a few crews, which line up twice in a step: the march is so long a program that
a multiprocessor spends much of its time on fetching it, and crews that are at the same stage fetch
it once.  A crew takes the next point that waits, reads its slot (`slots`) from the memory of
the host, marches a cycle, writes back what has changed and takes the next.
"""

import numpy as np

from wavesim.gpu.slots import (
    BENCH,
    CELLS_END,
    CHUNK,
    CHUNK_END,
    FRESH,
    GAS_KIND,
    JOB_AT,
    KEPT_END,
    MAIL_AT,
    MAX_STEPS,
    N_ENTRY,
    NEAR_AT,
    NEAR_END,
    PLACE,
    PROFILE,
    ROW,
    ROWS,
    SAMPLED,
    STATUS,
    TAKEN,
    TOLD_END,
    USED,
)
from wavesim.gpu.target import (
    add_to,
    barrier,
    by_columns,
    cells_at_once,
    clock,
    crew,
    crew_of_launch,
    ends_at_once,
    first_cell,
    first_end,
    half,
    highest,
    line_up,
    meet,
    near,
    part,
    row,
    rows,
    thread,
    threads,
    view_1,
    view_2,
    view_3,
    whole,
    words,
)
from wavesim.gpu.translate import made, together
from wavesim.kernels import flat as f
from wavesim.kernels.constants import MIXTURE

march, step, nodes, stores = made("march"), made("step"), made("nodes"), made("stores")
perforate, openings, cells, tapers = map(made, ("perforate", "openings", "cells", "tapers"))

# What the march of the engine gas does in several loops is one here.
find_fluxes_of_cells = together(
    "cells", "reconstruct", "take_tapers", "fraction_slopes", "keep_at_ends", "wall_pressure",
    "flux_mixture", "carry_parts", in_tiles=True,
    passed_on=["rm", "um", "pm", "rp", "up", "pp", "per_z", "half_f", "half_b", "per_mass"],
)
update_and_look = together(
    "cells", "find_per_z", "update_mixture", "add_push", "apply_walls", "primitives_mixture",
    "highest_rate", passed_on=["per_z", "w"],
)
_WALL_PRESSURE = f.PER_Z  # its row, which is free, for these loops hand 1/(rho c) on themselves

GO_ON = -1
QUARTERS = 8  # of a cycle, in which the march is cut as on a processor
(TOP, JOB, STANDING, DUE, LAST,  # the mail: whole numbers
 QUARTER, TURNED, STEPS, HAS_BEGUN,  # of the cycle; steps in the quarters before, and in this one
 T, DT, BEFORE, THETA, THETA_LATER) = range(MAIL_AT, NEAR_AT)
RECORDED = ROWS["record.wall"][1]
PROFILED = False  # True adds up the ticks of every stage, in the job


def _places(group, names):
    return tuple(N_ENTRY * PLACE[f"{group}.{name}"] for name in names)


(_GAS_R, _GAS_COEF, _CELLS, _AREA, _DUCT, _TAPER, _END_INT, _END_PAR, _PAIR, _PAIR_PAR, _JOINT,
 _LISTED, _STORE_INT, _STORE_VOLUME, _HOLE_WALL, _HOLE_PAR, _CYL_PAR, _VALVE_AREA, _SLICE_END,
 _OPTIONS) = _places("net", f.Net._fields[1:])
_U, _T, _END, _STORE, _CYL, _HOLE_U, _CLOCK, _PLAN = _places("state", f.State._fields)
_W, _Q, _F, _NOW, _HOLE = _places("work", f.Work._fields)
(_END_SUM, _CYL_SUM, _WALL, _WAYS, _FIELD, _STORES, _ENDS, _INTERVAL) = _places(
    "record", f.Record._fields)
_R_CELLS, _R_AREA, _R_T, _R_WALL, _R_W, _R_Q, _R_F, _R_GAS = (first for first, _ in ROWS.values())
_INNER, _FACE = N_ENTRY * PLACE["inner"], N_ENTRY * PLACE["face"]


@part
def views(far, own):
    """All arrays of the point of a crew; what is not used costs nothing.

    `far` are the words of its slot, of its bench, and where the conserved values begin.

    Made anew for every stage, so that no thread keeps places of dozens of arrays in its registers.
    """
    table = whole(own)
    slot, bench, gas = far
    net = f.Net(
        table[JOB_AT + GAS_KIND], view_1(own, table, _GAS_R), view_2(own, table, _GAS_COEF),
        rows(bench, _R_CELLS, f.N_CELL), row(bench, _R_AREA, table[_AREA + 1]),
        view_2(whole(slot), table, _DUCT),
        view_1(table, table, _TAPER), view_2(table, table, _END_INT), view_2(own, table, _END_PAR),
        view_2(table, table, _PAIR), view_2(own, table, _PAIR_PAR), view_2(table, table, _JOINT),
        view_1(table, table, _LISTED), view_2(table, table, _STORE_INT),
        view_1(own, table, _STORE_VOLUME), view_2(table, table, _HOLE_WALL),
        view_2(slot, table, _HOLE_PAR), view_2(own, table, _CYL_PAR),
        view_3(slot, table, _VALVE_AREA), view_1(own, table, _SLICE_END),
        view_1(own, table, _OPTIONS),
    )
    state = f.State(
        by_columns(gas, f.N_CONSERVED, table[_U + 2]), row(bench, _R_T, table[_T + 1]),
        view_2(own, table, _END), view_2(own, table, _STORE), view_2(own, table, _CYL),
        view_1(slot, table, _HOLE_U), view_1(own, table, _CLOCK), view_2(own, table, _PLAN),
    )
    work = f.Work(
        rows(bench, _R_W, f.N_PRIMITIVE), rows(bench, _R_Q, f.N_FACE), rows(bench, _R_F, f.N_FLUX),
        view_2(own, table, _NOW), view_2(slot, table, _HOLE),
    )
    record = f.Record(
        view_2(own, table, _END_SUM), view_2(own, table, _CYL_SUM),
        rows(bench, _R_WALL, RECORDED), view_2(slot, table, _WAYS),
        view_3(half(slot), table, _FIELD), view_3(slot, table, _STORES), view_3(slot, table, _ENDS),
        view_1(own, table, _INTERVAL),
    )
    return net, state, work, record, view_2(own, table, _INNER), view_2(own, table, _FACE)


# --- stages: each sees the arrays anew ------------------------------------------------------------


@part
def reset_ghosts(far, own):
    """As `step.reset_ghosts`, and the primitive values likewise."""
    net, state, work, record, inner, face = views(far, own)
    step.reset_ghosts(net, state)
    k = first_end()
    while k < net.end_int.shape[0]:
        i = net.end_int[k, f.END_CELL]
        side = 1 if net.end_par[k, f.SIGN] > 0.0 else -1
        for q in range(f.U, f.RATE):
            work.W[q, i + side] = work.W[q, i + 2 * side] = work.W[q, i]
        k += ends_at_once()


@part
def is_usual(net):
    """True if the loops of `together` will do: engine gas beside walls."""
    walls = net.options[f.FRICTION_ON] + net.options[f.HEAT_ON]
    return net.gas_kind == MIXTURE and net.options[f.MIXED] > 0.0 and walls > 0.0


@part
def is_known(far, own):
    """True if the update of the step before has left the primitive values of what it made.

    They are found once more where a quarter begins, as on a processor: each time brings the
    temperature nearer to the energy.
    """
    net, state, work, record, inner, face = views(far, own)
    return whole(own)[STEPS] > 0 and is_usual(net)


@part
def primitives(far, own):
    """Primitive values; the largest rate of all cells goes into the mail."""
    net, state, work, record, inner, face = views(far, own)
    rate = step.primitives(net, state, work)
    highest(whole(own), TOP, np.float64(rate).view(np.int64))


@part
def find_rate(far, own, known):
    """The largest rate of stores goes into the mail, and of tapers, which an update leaves out."""
    net, state, work, record, inner, face = views(far, own)
    bits = np.float64(stores.stores_rate(net, state, work)).view(np.int64)
    if known:
        rate, taper = work.W[f.RATE], net.taper
        tapers.taper_rates(taper, work.W[f.U], work.W[f.C], net.cells[f.VOL], net.area, rate)
        q = first_cell()
        while q < taper.shape[0]:  # those that the thread itself has found
            bits = max(bits, np.float64(rate[taper[q]]).view(np.int64))
            q += cells_at_once()
    highest(whole(own), TOP, bits)


@part
def decide(far, own):
    """What one thread finds for all: how the march stands, the step, and the clock after it."""
    net, state, work, record, inner, face = views(far, own)
    told = whole(own)
    rate = np.int64(told[TOP]).view(np.float64)
    told[TOP] = 0
    t, t_end = state.clock[f.TIME], own[JOB_AT + CHUNK_END + told[QUARTER]]
    standing = GO_ON
    dt = 0.0
    if not rate < 1e12:
        standing = f.BAD_STATE
    elif t >= t_end * (1.0 - 1e-14):
        standing = f.OK
    elif told[TURNED] + told[STEPS] >= told[JOB_AT + MAX_STEPS]:
        standing = f.TOO_MANY_STEPS
    else:
        dt = step.step_size(net, state, rate, t, t_end)
        if not dt > 0.0:
            standing = f.NO_STEP
    told[STANDING] = standing
    told[HAS_BEGUN] = told[STEPS]
    own[T] = t
    own[DT] = dt
    own[BEFORE] = state.clock[f.LAST_DT]
    if standing == f.OK:
        told[QUARTER] += 1
        told[TURNED] += told[STEPS]
        told[STEPS] = 0
    if standing != GO_ON:
        return
    told[STEPS] += 1
    due = int(state.clock[f.IN_SLICE]) % 5 == 0  # as in `step.open_step`
    told[DUE] = 1 if due and net.options[f.FRICTION_ON] + net.options[f.HEAT_ON] > 0.0 else 0
    later = step.time_after(net, state, t, dt, t_end)
    own[THETA] = step.crank_angle(net.options[f.OMEGA_DEG], t)
    own[THETA_LATER] = step.crank_angle(net.options[f.OMEGA_DEG], later)
    state.clock[f.TIME] = later
    state.clock[f.LAST_DT] = dt
    state.clock[f.STEPS] += 1.0


@part
def add_samples(far, own, k, t, dt, second):
    """As `step.add_samples`, from sample `k` on."""
    net, state, work, record, inner, face = views(far, own)
    interval = record.interval[0]
    n = net.area.shape[0] - 1
    while k < record.store.shape[0]:
        at = record.interval[1] + k * interval
        if at >= t + dt:
            break
        w = min(1.0, max(0.0, (at - t) / dt))
        if not second:
            w = 1.0 - w
        if record.field.shape[0] > 0:
            out = record.field[k]
            i = first_cell()
            while i < n:
                for q in range(f.N_FIELD):
                    value = work.W[f.P, i]
                    if q == 1:
                        value = work.W[f.U, i]
                    elif q == 2:
                        value = state.T[i]
                    elif q == 3:
                        value = work.W[f.YF, i]
                    elif q == 4:
                        value = work.W[f.YB, i]
                    if second:
                        out[q, i] += np.float32(w * value)
                    else:
                        out[q, i] = np.float32(w * value)
                i += cells_at_once()
        step.sample_stores(net, state, work, record.store[k], t + dt if second else t, w, second)
        j = first_end()
        while j < net.end_int.shape[0]:
            record.end[k, j, 0] = face[j, nodes.FP]
            record.end[k, j, 1] = face[j, nodes.FV]
            record.end[k, j, 2] = face[j, nodes.F_MASS] * net.end_par[j, f.AREA]
            j += ends_at_once()
        k += 1
    return k


@part
def sample(far, own):
    """As `step.sample`."""
    net, state, work, record, inner, face = views(far, own)
    k = int(state.clock[f.NEXT_SAMPLE])
    t, before, dt = own[T], own[BEFORE], own[DT]
    done = k
    for turn in range(2):
        second = turn == 0
        start, length = t, dt
        if second:
            start, length = t - before, before if whole(own)[HAS_BEGUN] > 0 else 0.0
        if length > 0.0:
            last = add_samples(far, own, done, start, length, second)
            if second:
                done = last
    barrier()
    if thread() == 0:
        state.clock[f.NEXT_SAMPLE] = done


@part
def exchange(far, own):
    net, state, work, record, inner, face = views(far, own)
    perforate.exchange(net, state, work, record, own[DT])


@part
def wall_coefficients(far, own):
    net, state, work, record, inner, face = views(far, own)
    if whole(own)[DUE] > 0:
        step.walls(net, state, work)


@part
def fill_ghosts(far, own):
    net, state, work, record, inner, face = views(far, own)
    march.fill_ghosts(net, state, work)


@part
def find_fluxes(far, own):
    """As `march.reconstruct` and `march.fluxes`.

    In the usual case only face values of steep tapers and of cells at ends of ducts are written.
    """
    net, state, work, record, inner, face = views(far, own)
    dt, r = own[DT], state.U[f.R]
    if not is_usual(net):
        march.reconstruct(net, state, work, dt)
        barrier()
        march.fluxes(net, work)
        return
    W, Q, F, g = work.W, work.Q, work.F, net.cells
    if net.taper.shape[0] > 0:
        tapers.taper_faces(
            net.taper, dt, r, W[f.U], W[f.P], W[f.C], g[f.INV_DX], g[f.VOL], net.area,
            W[f.WARMED], Q[f.RM], Q[f.UM], Q[f.PM], Q[f.RP], Q[f.UP], Q[f.PP], W[f.PUSH],
            state.clock,
        )
        barrier()
    find_fluxes_of_cells(
        net.area.shape[0] - 1, dt, r, W[f.U], W[f.P], W[f.C], g[f.INV_DX], g[f.DLNA],
        W[f.WARMED], net.taper, Q, g[f.INV_VOL], W[f.YF], W[f.YB], W[_WALL_PRESSURE],
        cells.PUSH_OF_MIXTURE, F[f.R], F[f.M], F[f.E], net.area, net.gas_R, net.gas_coef, F[f.Y1],
        F[f.Y2],
    )


@part
def inner_states(far, own):
    net, state, work, record, inner, face = views(far, own)
    nodes.inner_states(net, state, work, inner, own[DT])


@part
def stores_ahead(far, own):
    net, state, work, record, inner, face = views(far, own)
    stores.stores_ahead(net, state, work, inner, own[DT], own[THETA])


@part
def middle(own):
    """Crank angle [deg] in the middle of the step."""
    omega = view_1(own, whole(own), _OPTIONS)[f.OMEGA_DEG]
    return own[THETA] + 0.5 * own[DT] * omega


@part
def solve_ends(far, own):
    net, state, work, record, inner, face = views(far, own)
    nodes.solve_ends(net, state, work, inner, face, own[DT], middle(own))


@part
def spare_small_stores(far, own):
    net, state, work, record, inner, face = views(far, own)
    openings.spare_small_stores(net, state, work, inner, face, own[DT], middle(own))


@part
def hand_over(far, own):
    net, state, work, record, inner, face = views(far, own)
    nodes.hand_over(net, state, work, inner, face, own[DT])


@part
def update(far, own):
    """As `march.update`; in the usual case also the primitive values of the next step."""
    net, state, work, record, inner, face = views(far, own)
    dt = own[DT]
    if not is_usual(net):
        march.update(net, state, work, record, dt)
        return
    U, W, F, g = state.U, work.W, work.F, net.cells
    wall = W[_WALL_PRESSURE]
    bits = update_and_look(
        net.area.shape[0] - 1, U[f.R], W[f.C], dt, net.area, g[f.INV_VOL], wall, wall, F[f.R],
        F[f.M], F[f.E], F[f.Y1], F[f.Y2], U[f.M], U[f.E], U[f.Y1], U[f.Y2], W[f.PUSH], net.taper,
        dt * net.options[f.FRICTION_ON], dt * net.options[f.HEAT_ON], state.T, W[f.P], g[f.WALL],
        W[f.DRAG], W[f.SLOW], W[f.STANTON], W[f.STILL], g[f.VOL], record.wall[f.GAIN],
        record.wall[f.GRIP], W[f.WARMED], W[f.U], W[f.YF], W[f.YB], g[f.INV_DX], net.gas_R,
        net.gas_coef,
    )
    highest(whole(own), TOP, bits)


@part
def close_step(far, own):
    net, state, work, record, inner, face = views(far, own)
    stores.stores_step(net, state, work, record, face, own[DT], own[THETA], own[THETA_LATER])
    step.sum_ends(net, record, face, own[DT])


@part
def mark(own, stage):
    """Add the ticks since the last mark to those of a stage."""
    if PROFILED:
        if thread() == 0:
            told = whole(own)
            now = clock()
            told[JOB_AT + PROFILE + stage] += now - told[LAST]
            told[LAST] = now


# --- the march ------------------------------------------------------------------------------------


@part
def march_step(far, own, is_busy):
    """A step of every crew of the block that is busy.

    Stores and ends are the longest program: all crews line up before it, and before the next step.
    Pairs of ends take longest and see no store, so the warp that has them does not wait for those.
    Returns how the march of the crew stands, as in `kernels.march.march`; GO_ON after a step.
    """
    if is_busy:
        reset_ghosts(far, own)
        known = is_known(far, own)
        if not known:
            barrier()
            primitives(far, own)
        find_rate(far, own, known)
    barrier()
    mark(own, 0)
    if is_busy and thread() == 0:
        decide(far, own)
    barrier()
    mark(own, 1)
    standing = whole(own)[STANDING]
    goes_on = is_busy and standing == GO_ON
    if is_busy and whole(own)[JOB_AT + SAMPLED] > 0 and standing != f.BAD_STATE:
        sample(far, own)
    if goes_on:
        exchange(far, own)
        fill_ghosts(far, own)
    barrier()
    mark(own, 2)
    if goes_on:
        wall_coefficients(far, own)
        find_fluxes(far, own)
    barrier()
    mark(own, 3)
    if goes_on:
        inner_states(far, own)
    line_up(is_busy)
    mark(own, 4)
    if goes_on:
        stores_ahead(far, own)
    meet()
    mark(own, 5)
    if goes_on:
        solve_ends(far, own)
    barrier()
    mark(own, 6)
    if goes_on:
        spare_small_stores(far, own)
    barrier()
    mark(own, 7)
    if goes_on:
        hand_over(far, own)
    barrier()
    mark(own, 8)
    if goes_on:
        update(far, own)
        close_step(far, own)
    mark(own, 9)
    return standing


@part
def copy(source, at, target, to, count):
    """Copy words, all threads of a crew together."""
    i = thread()
    while i < count:
        target[to + i] = source[at + i]
        i += threads()


@part
def clear(target, from_word, to_word):
    """Set words to 0, all threads of a crew together."""
    i = from_word + thread()
    while i < to_word:
        target[i] = 0
        i += threads()


@part
def copy_gas(source, target):
    """Copy the conserved values, whatever the order in which they lie."""
    i = thread()
    while i < source.shape[1]:
        for k in range(f.N_CONSERVED):
            target[k, i] = source[k, i]
        i += threads()


@part
def lay(slot, bench, table, place, first):
    """Lay the rows of an array on the bench, which follow one another in a slot."""
    at, number, length = table[place], table[place + 1], table[place + 2]
    for k in range(number):
        copy(slot, at + k * length, bench, (first + k) * ROW, length)


@part
def collect(bench, slot, table, place, first):
    """Put the rows of an array from the bench into the slot."""
    at, number, length = table[place], table[place + 1], table[place + 2]
    for k in range(number):
        copy(bench, (first + k) * ROW, slot, at + k * length, length)


@part
def lay_cells(far, own):
    """Lay all cells of a slot on the bench of the crew."""
    (slot, bench, gas), table = far, whole(own)
    lay(slot, bench, table, _CELLS, _R_CELLS)
    copy(slot, table[_AREA], bench, _R_AREA * ROW, table[_AREA + 1])
    copy(slot, table[_T], bench, _R_T * ROW, table[_T + 1])
    lay(slot, bench, table, _WALL, _R_WALL)
    lay(slot, bench, table, _W, _R_W)
    lay(slot, bench, table, _Q, _R_Q)
    lay(slot, bench, table, _F, _R_F)
    copy_gas(view_2(slot, table, _U), by_columns(gas, f.N_CONSERVED, table[_U + 2]))


@part
def collect_cells(far, own):
    """Put all that a march changes of the cells from the bench into the slot."""
    (slot, bench, gas), table = far, whole(own)
    copy(bench, _R_T * ROW, slot, table[_T], table[_T + 1])
    collect(bench, slot, table, _WALL, _R_WALL)
    collect(bench, slot, table, _W, _R_W)
    collect(bench, slot, table, _Q, _R_Q)
    collect(bench, slot, table, _F, _R_F)
    copy_gas(by_columns(gas, f.N_CONSERVED, table[_U + 2]), view_2(slot, table, _U))


@part
def begin(there, far, own):
    """Read a slot from the memory of the host, and set what the cells are to tell to 0."""
    given, kept, mail = whole(there), whole(far[0]), whole(own)
    last = given[JOB_AT + KEPT_END] if given[JOB_AT + FRESH] > 0 else given[JOB_AT + CELLS_END]
    copy(given, 0, kept, 0, last)
    barrier()
    copy(kept, 0, mail, 0, kept[JOB_AT + NEAR_END])
    clear(kept, kept[_WALL], kept[JOB_AT + TOLD_END])
    barrier()
    if thread() == 0:
        mail[QUARTER] = mail[TURNED] = mail[STEPS] = 0
    barrier()
    lay_cells(far, own)
    barrier()
    if PROFILED and thread() == 0:
        mail[LAST] = clock()


@part
def end(there, far, own):
    """Write back what a cycle has changed and how it ended; all of it if it failed."""
    given, kept, mail = whole(there), whole(far[0]), whole(own)
    collect_cells(far, own)
    if thread() == 0:
        mail[JOB_AT + FRESH] = 0
        mail[JOB_AT + STATUS] = mail[STANDING]
        mail[JOB_AT + CHUNK] = mail[QUARTER]
        mail[JOB_AT + TAKEN] = mail[STEPS]
        mail[JOB_AT + USED] = mail[TURNED]
    barrier()
    copy(mail, JOB_AT, given, JOB_AT, MAIL_AT - JOB_AT)
    copy(mail, NEAR_AT, given, NEAR_AT, mail[JOB_AT + NEAR_END] - NEAR_AT)
    first = mail[JOB_AT + CELLS_END]
    last = mail[JOB_AT + TOLD_END] if mail[STANDING] == f.OK else mail[JOB_AT + KEPT_END]
    copy(kept, first, given, first, last - first)
    barrier()


def cycles(host, slots, benches, starts, count, queue, near_words, words_each):
    """One cycle of every point that waits: what a launch runs.

    Parameters
    ----------
    host, slots : int
        Address of the memory of the host with all slots, and of that of the device.
    benches : int
        Address of the benches of all crews.
    starts : int
        Address of the first word of each slot in it, those first that take longest.
    count : int
        How many there are.
    queue : int
        Address of a word that says how many were taken, 0 at first.
    near_words : int
        Words of the memory that the threads of a block share for the near arrays of each crew.
    words_each : int
        All that it shares for each crew; if more, then its gas lies there, too.
    """
    own, bench = near(words_each * crew()), words(benches + 8 * BENCH * crew_of_launch())
    gas = words(benches + 8 * (BENCH * crew_of_launch() + _R_GAS * ROW))
    if words_each > near_words:
        gas = near(words_each * crew() + near_words)
    mail, listed = whole(own), whole(words(starts))
    there, far = words(host), (words(slots), bench, gas)
    is_busy, is_open = False, True
    while True:
        if is_open and not is_busy:
            if thread() == 0:
                mail[JOB] = add_to(whole(words(queue)), 0, 1)
            barrier()
            job = mail[JOB]
            barrier()
            is_open = is_busy = job < count
            if is_open:
                there = words(host + 8 * listed[job])
                far = words(slots + 8 * listed[job]), bench, gas
                begin(there, far, own)
        if not line_up(is_busy):
            return
        standing = march_step(far, own, is_busy)
        is_over = standing != f.OK or mail[QUARTER] == QUARTERS
        if is_busy and standing != GO_ON and is_over:
            if standing != f.OK:
                primitives(far, own)  # with the rates of all cells, which say where
            end(there, far, own)
            is_busy = False
