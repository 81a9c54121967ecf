"""The march of engine cycles on a GPU: a block of threads for each point.

The counterpart of `kernels/march.py` and of the frame of a step in `kernels/step.py`; every stage
is that of the kernels, as `translate` makes it.  What the threads of a block must agree on (the
step, the crank angle, how the march stands) one of them finds and puts into the mail at the head of
their shared memory.  Between stages they wait for each other where one reads what another wrote.

A launch has as many blocks as the device can hold at once.  Each takes the next point that waits,
reads the near arrays of its slot (`slots`) into its shared memory, marches a cycle and writes them
back.
"""

import numpy as np

from wavesim.gpu.slots import (
    CHUNK,
    CHUNK_END,
    GAS_KIND,
    JOB_AT,
    MAIL_AT,
    MAX_STEPS,
    N_ENTRY,
    NEAR_AT,
    NEAR_END,
    PLACE,
    PROFILE,
    SAMPLED,
    STATUS,
    TAKEN,
    TOLD_END,
    USED,
)
from wavesim.gpu.target import (
    add_to,
    barrier,
    cells_at_once,
    clock,
    ends_at_once,
    first_cell,
    first_end,
    half,
    highest,
    near,
    part,
    thread,
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
perforate, openings, cells = made("perforate"), made("openings"), made("cells")

# What the march of the engine gas does in two loops each is one here.
find_faces = together("cells", "reconstruct", "fraction_slopes")
find_fluxes_and_parts = together("cells", "flux_mixture", "carry_parts")
update_beside_walls = together("cells", "update_mixture", "apply_walls")

GO_ON = -1
QUARTERS = 8  # of a cycle, in which the march is cut as on a processor
(TOP, JOB, STANDING, DUE, LAST,  # the mail: whole numbers
 T, DT, BEFORE, THETA, THETA_LATER) = range(MAIL_AT, NEAR_AT)
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
_INNER, _FACE = N_ENTRY * PLACE["inner"], N_ENTRY * PLACE["face"]


@part
def views(far):
    """All arrays of the point of this block; what is not used costs nothing.

    Made anew for every stage, so that no thread keeps places of dozens of arrays in its registers.
    """
    own = near()
    table = whole(own)
    net = f.Net(
        table[JOB_AT + GAS_KIND], view_1(own, table, _GAS_R), view_2(own, table, _GAS_COEF),
        view_2(far, table, _CELLS), view_1(far, table, _AREA), view_2(whole(far), table, _DUCT),
        view_1(table, table, _TAPER), view_2(table, table, _END_INT), view_2(own, table, _END_PAR),
        view_2(table, table, _PAIR), view_2(own, table, _PAIR_PAR), view_2(table, table, _JOINT),
        view_1(table, table, _LISTED), view_2(table, table, _STORE_INT),
        view_1(own, table, _STORE_VOLUME), view_2(table, table, _HOLE_WALL),
        view_2(far, table, _HOLE_PAR), view_2(own, table, _CYL_PAR),
        view_3(far, table, _VALVE_AREA), view_1(own, table, _SLICE_END),
        view_1(own, table, _OPTIONS),
    )
    state = f.State(
        view_2(far, table, _U), view_1(far, table, _T), view_2(own, table, _END),
        view_2(own, table, _STORE), view_2(own, table, _CYL), view_1(far, table, _HOLE_U),
        view_1(own, table, _CLOCK), view_2(own, table, _PLAN),
    )
    work = f.Work(
        view_2(far, table, _W), view_2(far, table, _Q), view_2(far, table, _F),
        view_2(own, table, _NOW), view_2(far, table, _HOLE),
    )
    record = f.Record(
        view_2(own, table, _END_SUM), view_2(own, table, _CYL_SUM), view_2(far, table, _WALL),
        view_2(far, table, _WAYS), view_3(half(far), table, _FIELD),
        view_3(far, table, _STORES), view_3(far, table, _ENDS), view_1(own, table, _INTERVAL),
    )
    return net, state, work, record, view_2(own, table, _INNER), view_2(own, table, _FACE)


# --- stages: each sees the arrays anew ------------------------------------------------------------


@part
def reset_ghosts(far):
    net, state, work, record, inner, face = views(far)
    step.reset_ghosts(net, state)


@part
def find_rate(far):
    """Primitive values; the largest rate of all cells and stores goes into the mail."""
    net, state, work, record, inner, face = views(far)
    rate = step.primitives(net, state, work)
    needed = stores.stores_rate(net, state, work)
    bits = max(np.float64(rate).view(np.int64), np.float64(needed).view(np.int64))
    highest(whole(near()), TOP, bits)


@part
def decide(far, t_end, steps, max_steps):
    """What one thread finds for all: how the march stands, the step, and the clock after it."""
    net, state, work, record, inner, face = views(far)
    mail = near()
    told = whole(mail)
    rate = np.int64(told[TOP]).view(np.float64)
    told[TOP] = 0
    t = state.clock[f.TIME]
    standing = GO_ON
    dt = 0.0
    if not rate < 1e12:
        standing = f.BAD_STATE
    elif t >= t_end * (1.0 - 1e-14):
        standing = f.OK
    elif steps >= max_steps:
        standing = f.TOO_MANY_STEPS
    else:
        dt = step.step_size(net, state, rate, t, t_end)
        if not dt > 0.0:
            standing = f.NO_STEP
    told[STANDING] = standing
    mail[T] = t
    mail[DT] = dt
    mail[BEFORE] = state.clock[f.LAST_DT]
    if standing != GO_ON:
        return
    due = int(state.clock[f.IN_SLICE]) % 5 == 0  # as in `step.open_step`
    told[DUE] = 1 if due and net.options[f.FRICTION_ON] + net.options[f.HEAT_ON] > 0.0 else 0
    later = step.time_after(net, state, t, dt, t_end)
    mail[THETA] = step.crank_angle(net.options[f.OMEGA_DEG], t)
    mail[THETA_LATER] = step.crank_angle(net.options[f.OMEGA_DEG], later)
    state.clock[f.TIME] = later
    state.clock[f.LAST_DT] = dt
    state.clock[f.STEPS] += 1.0


@part
def add_samples(far, k, t, dt, second):
    """As `step.add_samples`, from sample `k` on."""
    net, state, work, record, inner, face = views(far)
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
            row = record.field[k]
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
                        row[q, i] += np.float32(w * value)
                    else:
                        row[q, i] = np.float32(w * value)
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
def sample(far, has_begun):
    """As `step.sample`."""
    net, state, work, record, inner, face = views(far)
    mail = near()
    k = int(state.clock[f.NEXT_SAMPLE])
    t, before, dt = mail[T], mail[BEFORE], mail[DT]
    done = k
    for turn in range(2):
        second = turn == 0
        start, length = t, dt
        if second:
            start, length = t - before, before if has_begun else 0.0
        if length > 0.0:
            last = add_samples(far, done, start, length, second)
            if second:
                done = last
    barrier()
    if thread() == 0:
        state.clock[f.NEXT_SAMPLE] = done


@part
def exchange(far):
    net, state, work, record, inner, face = views(far)
    perforate.exchange(net, state, work, record, near()[DT])


@part
def wall_coefficients(far):
    net, state, work, record, inner, face = views(far)
    if whole(near())[DUE] > 0:
        step.walls(net, state, work)


@part
def fill_ghosts(far):
    net, state, work, record, inner, face = views(far)
    march.fill_ghosts(net, state, work)


@part
def is_usual(net):
    """True if the loops of `together` will do: engine gas, and no tapers between the loops."""
    return net.gas_kind == MIXTURE and net.options[f.MIXED] > 0.0 and net.taper.shape[0] == 0


@part
def reconstruct(far):
    net, state, work, record, inner, face = views(far)
    if not is_usual(net):
        march.reconstruct(net, state, work, near()[DT])
        return
    W, Q, g = work.W, work.Q, net.cells
    find_faces(
        net.area.shape[0] - 1, near()[DT], state.U[f.R], W[f.U], W[f.P], W[f.C], g[f.INV_DX],
        g[f.DLNA], W[f.WARMED], Q[f.RM], Q[f.UM], Q[f.PM], Q[f.RP], Q[f.UP], Q[f.PP], W[f.PER_Z],
        g[f.INV_VOL], W[f.YF], W[f.YB], Q[f.HALF_F], Q[f.HALF_B], Q[f.PER_MASS],
    )


@part
def find_fluxes(far):
    net, state, work, record, inner, face = views(far)
    if is_usual(net):
        W, Q, F = work.W, work.Q, work.F
        find_fluxes_and_parts(
            net.area.shape[0] - 1, Q[f.RM], Q[f.UM], Q[f.PM], Q[f.RP], Q[f.UP], Q[f.PP], W[f.C],
            W[f.PER_Z], cells.PUSH_OF_MIXTURE, F[f.R], F[f.M], F[f.E], net.area, W[f.YF],
            W[f.YB], Q[f.HALF_F], Q[f.HALF_B], Q[f.PER_MASS], net.gas_R, net.gas_coef, F[f.Y1],
            F[f.Y2],
        )
    else:
        march.fluxes(net, work)
    nodes.inner_states(net, state, work, inner, near()[DT])


@part
def stores_ahead(far):
    net, state, work, record, inner, face = views(far)
    mail = near()
    stores.stores_ahead(net, state, work, inner, mail[DT], mail[THETA])


@part
def middle():
    """Crank angle [deg] in the middle of the step."""
    mail = near()
    omega = view_1(near(), whole(near()), _OPTIONS)[f.OMEGA_DEG]
    return mail[THETA] + 0.5 * mail[DT] * omega


@part
def solve_ends(far):
    net, state, work, record, inner, face = views(far)
    nodes.solve_ends(net, state, work, inner, face, near()[DT], middle())


@part
def spare_small_stores(far):
    net, state, work, record, inner, face = views(far)
    openings.spare_small_stores(net, state, work, inner, face, near()[DT], middle())


@part
def hand_over(far):
    net, state, work, record, inner, face = views(far)
    nodes.hand_over(net, state, work, inner, face, near()[DT])


@part
def update(net, state, work, record, dt):
    """As `march.update`."""
    friction, heat = net.options[f.FRICTION_ON], net.options[f.HEAT_ON]
    if not is_usual(net) or friction + heat == 0.0:
        march.update(net, state, work, record, dt)
        return
    U, W, Q, F, g = state.U, work.W, work.Q, work.F, net.cells
    update_beside_walls(
        net.area.shape[0] - 1, dt, net.area, g[f.INV_VOL], Q[f.PM], Q[f.PP], F[f.R], F[f.M],
        F[f.E], F[f.Y1], F[f.Y2], U[f.R], U[f.M], U[f.E], U[f.Y1], U[f.Y2], dt * friction,
        dt * heat, state.T, W[f.P], W[f.C], W[f.PER_Z], g[f.WALL], W[f.DRAG], W[f.SLOW],
        W[f.STANTON], W[f.STILL], g[f.VOL], record.wall[f.GAIN], record.wall[f.GRIP], W[f.WARMED],
    )


@part
def close_step(far):
    net, state, work, record, inner, face = views(far)
    mail = near()
    update(net, state, work, record, mail[DT])
    stores.stores_step(net, state, work, record, face, mail[DT], mail[THETA], mail[THETA_LATER])
    step.sum_ends(net, record, face, mail[DT])


@part
def mark(stage):
    """Add the ticks since the last mark to those of a stage."""
    if PROFILED:
        if thread() == 0:
            told = whole(near())
            now = clock()
            told[JOB_AT + PROFILE + stage] += now - told[LAST]
            told[LAST] = now


# --- the march ------------------------------------------------------------------------------------


@part
def march_to(far, t_end, max_steps, is_sampled):
    """As `kernels.march.march`; returns (status, steps taken)."""
    steps = 0
    while True:
        reset_ghosts(far)
        barrier()
        mark(0)
        find_rate(far)
        barrier()
        mark(1)
        if thread() == 0:
            decide(far, t_end, steps, max_steps)
        barrier()
        mark(2)
        standing = whole(near())[STANDING]
        if is_sampled and standing != f.BAD_STATE:
            sample(far, steps > 0)
        if standing != GO_ON:
            barrier()
            return standing, steps
        exchange(far)
        wall_coefficients(far)
        fill_ghosts(far)
        barrier()
        mark(3)
        reconstruct(far)
        barrier()
        mark(4)
        find_fluxes(far)
        barrier()
        mark(5)
        stores_ahead(far)
        barrier()
        mark(6)
        solve_ends(far)
        barrier()
        mark(7)
        spare_small_stores(far)
        barrier()
        mark(8)
        hand_over(far)
        barrier()
        mark(9)
        close_step(far)
        barrier()
        mark(10)
        steps += 1


@part
def march_cycle(far):
    """A cycle in quarter turns, as `march.advance.run_cycle`; the answer goes into the job."""
    own = near()
    job, at = whole(own), JOB_AT
    used = 0
    quarter = 0
    standing, steps = f.OK, 0
    while quarter < QUARTERS:
        standing, steps = march_to(
            far, own[at + CHUNK_END + quarter], job[at + MAX_STEPS] - used, job[at + SAMPLED] > 0
        )
        if standing != f.OK:
            break
        used += steps
        quarter += 1
    if thread() == 0:
        job[at + STATUS] = standing
        job[at + CHUNK] = quarter
        job[at + TAKEN] = steps
        job[at + USED] = used
    barrier()


@part
def copy(source, target, from_word, to_word):
    """Copy words to the same place, all threads together."""
    i = from_word + thread()
    while i < to_word:
        target[i] = source[i]
        i += cells_at_once()


@part
def clear(target, from_word, to_word):
    """Set words to 0, all threads together."""
    i = from_word + thread()
    while i < to_word:
        target[i] = 0
        i += cells_at_once()


def cycles(slots, starts, count, queue):
    """One cycle of every point that waits: what a launch runs.

    Parameters
    ----------
    slots : int
        Address of the memory of the device with all slots.
    starts : int
        Address of the first word of each slot in it, those first that take longest.
    count : int
        How many there are.
    queue : int
        Address of a word that says how many were taken, 0 at first.
    """
    listed = whole(words(starts))
    mail = whole(near())
    while True:
        if thread() == 0:
            mail[JOB] = add_to(whole(words(queue)), 0, 1)
        barrier()
        job = mail[JOB]
        if job >= count:
            return
        barrier()
        far = words(slots + 8 * listed[job])
        own = whole(far)
        end = own[JOB_AT + NEAR_END]
        copy(own, mail, 0, end)
        barrier()
        clear(own, mail[_WALL], mail[JOB_AT + TOLD_END])
        barrier()
        march_cycle(far)
        barrier()
        copy(mail, own, JOB_AT, MAIL_AT)
        copy(mail, own, NEAR_AT, end)
        barrier()
