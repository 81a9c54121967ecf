"""Marching a model to a time: cycles in planned steps, and errors that say where and when."""

from typing import NamedTuple

import numpy as np

from wavesim.descriptions.settings import SCHEMES
from wavesim.errors import SolverError
from wavesim.kernels import flat as f
from wavesim.march.precompile import MARCHES, prepare
from wavesim.march.walltemp import update_walls

CHUNK_DEG = 90.0  # the run looks up between chunks, for a stop request


class Interrupted(Exception):
    """A run was asked to stop; carries nothing, the caller keeps what was finished."""


_MARCH = dict(zip(SCHEMES, MARCHES, strict=True))


def make_ready(settings, is_asked_to_stop):
    """Have the kernels compiled that a calculation needs; see `precompile.prepare`."""
    prepare(_MARCH[settings.scheme], is_asked_to_stop)


def march_to(model, t_end, max_steps, cycle=None, used=0):
    """March to `t_end`, `used` of `max_steps` steps being spent; turns a status into a sentence."""
    name = _MARCH[model.settings.scheme]
    prepare(name)
    status, steps = MARCHES[name](
        model.net, model.state, model.work, model.record, model.inner, model.face, t_end,
        max_steps - used,
    )
    if status != f.OK:
        raise trouble(model, status, steps, max_steps, cycle)
    return steps


class Cycle(NamedTuple):
    """An engine cycle that is to be marched, from crank angle 0 to 720.

    Attributes
    ----------
    model : Model
    settings : Settings
    number : int
        Of the cycle, from 1.
    sampled : bool
        Whether samples are wanted.
    """

    model: object
    settings: object
    number: int
    sampled: bool


class WallsWanted(NamedTuple):
    """New wall temperatures are wanted after a cycle; see `walltemp.update_walls`.

    Attributes
    ----------
    model : Model
    walls : list of SolvedWall
    cycle_time : float
        [s]
    """

    model: object
    walls: list
    cycle_time: float


class SamplesWanted(NamedTuple):
    """The samples of the last cycle are to be read.

    Attributes
    ----------
    model : Model
    """

    model: object


def begin_cycle(cycle):
    """Set sums and clock to zero; times [s] at which the quarter turns of the cycle end."""
    model, record = cycle.model, cycle.model.record
    for sums in (record.end_sum, record.cyl_sum, record.wall, record.ways):
        sums[:] = 0.0
    omega = model.net.options[f.OMEGA_DEG]
    model.state.clock[:] = 0.0
    record.interval[:] = cycle.settings.sample_deg / omega if cycle.sampled else 0.0, 0.0
    return np.arange(CHUNK_DEG, 720.0 + 1.0, CHUNK_DEG) / omega


def run_cycle(model, settings, cycle, stop, sampled=True):
    """One engine cycle from crank angle 0 to 720, with samples or not; returns the steps."""
    used = 0
    for end in begin_cycle(Cycle(model, settings, cycle, sampled)):
        used += march_to(model, end, settings.max_steps_per_cycle, cycle, used)
        if stop is not None and stop.is_set():
            raise Interrupted
    return used


def march_here(work, stop):
    """Go through work to its end, doing on this processor whatever it asks for.

    Parameters
    ----------
    work : generator
        Yields each `Cycle` and is sent the number of steps that it took, yields `WallsWanted` and
        is sent their mean temperature [K], or the SolverError in which either ended; yields a
        `SamplesWanted` before it looks at samples.
    stop : threading.Event or None
        When set, the work ends with `Interrupted` within a quarter turn.

    Returns
    -------
    object
        What the work returns.
    """
    answer = work.send, None
    while True:
        call, value = answer
        try:
            wanted = call(value)
        except StopIteration as end:
            return end.value
        try:
            answer = work.send, _done_here(wanted, stop)
        except SolverError as error:
            answer = work.throw, error


def _done_here(wanted, stop):
    if isinstance(wanted, Cycle):
        return run_cycle(*wanted[:3], stop, wanted.sampled)
    if isinstance(wanted, WallsWanted):
        return update_walls(*wanted)
    return None  # samples are here


def plan_steps(model, settings, firm):
    """Steps of each slice of the next cycle, from the fastest waves of this one.

    Slices that are alike for another cylinder get the same number, for else the steps would tell
    the cylinders of a symmetric engine apart.  Once the plan is `firm` the number only grows, so
    that it settles; before, it does not remember how the run started.
    """
    ends = model.net.slice_end
    length = np.append(ends[:1], ends[1:] - ends[:-1]).reshape(model.alike, -1)
    plan = model.state.plan.reshape(model.alike, -1, f.N_PLAN)
    wanted = np.ceil(plan[..., f.FASTEST] * length / settings.cfl).max(axis=0)
    plan[..., f.PLANNED] = np.maximum(wanted, plan[..., f.PLANNED] if firm else 1.0)
    plan[..., f.FASTEST] = 0.0


def trouble(model, status, steps, max_steps, cycle):
    """SolverError that says where and when a march ended with a status that is not good."""
    t = float(model.state.clock[f.TIME])
    angle = t * model.net.options[f.OMEGA_DEG]
    engine = model.net.options[f.OMEGA_DEG] > 0.0
    when = f"at {angle:.1f} deg, cycle {cycle}" if engine else f"at {t:.6g} s"
    known = {"crank_angle_deg": float(angle) if engine else None, "cycle": cycle}
    cell = _worst_cell(model)
    duct, x = model.locate(cell)
    known |= {"duct": duct, "position": float(x)}
    r, p = model.state.U[f.R, cell], model.work.W[f.P, cell]
    u, T = model.work.W[f.U, cell], model.state.T[cell]
    state = f"density {r:.4g} kg/m3, pressure {p:.4g} Pa, temperature {T:.4g} K, velocity {u:.4g}"
    where = f"in duct {duct!r} at x = {x:.4f} m, {when}"
    if status == f.TOO_MANY_STEPS:
        return SolverError(
            f"Step limit reached {where}: {max_steps} steps (max_steps_per_cycle) were not "
            f"enough; the smallest step is taken there ({state} m/s).", **known
        )
    emptied = _emptied_store(model)
    if emptied is not None:
        known |= {"duct": None, "position": None}
        where, state = f"in {emptied!r}, {when}", "more gas or heat left it than it held"
    else:
        state += " m/s"
    return SolverError(
        f"Unphysical state {where} ({state}) after {steps} steps; try a smaller cfl or shorter "
        "cells there.", **known
    )


def _emptied_store(model):
    """Name of a cylinder, volume or junction without gas, if there is one."""
    for name, row in model.stores.items():
        held = model.state.store[row, [f.SM, f.SE]]
        full = held[0] > 0.0 and np.isfinite(held[1]) and model.work.store[row, f.NP] > 0.0
        if model.net.store_int[row, f.STORE_KIND] != f.AMBIENT and not full:
            return name
    return None


def _worst_cell(model):
    """A cell with a bad state, else the one that limits the step."""
    inside = np.zeros(model.net.area.size - 1, dtype=bool)
    for lo, hi in model.ducts.values():
        inside[lo:hi] = True
    rho, rate = model.state.U[f.R], model.work.W[f.RATE]
    with np.errstate(invalid="ignore"):
        bad = inside & ~((rho > 0.0) & np.isfinite(rate) & (model.work.W[f.P] > 0.0))
    bad[0] = False
    if bad.any():
        return int(np.flatnonzero(bad)[0])
    return int(np.argmax(np.where(inside, rate, -1.0)))
