"""Engine cycle after engine cycle until it repeats itself: start, mixture, walls, convergence."""

from dataclasses import dataclass
from math import inf, isnan, nan
from typing import NamedTuple

import numpy as np

from wavesim.arrays.compile import use_gas
from wavesim.constants import LAMBDA_RANGE
from wavesim.errors import ConvergenceError, InputError, SolverError
from wavesim.gas.models import EngineGas
from wavesim.kernels import flat as f
from wavesim.march.advance import Cycle, WallsWanted, march_here, plan_steps
from wavesim.march.books import Scales, contents, outer_ends
from wavesim.march.burn import follow_burn
from wavesim.march.readout import valve_rows
from wavesim.march.walltemp import lay_on

FIRM = 1e-4  # change from cycle to cycle below which the step plan is kept
LONG = 50.0  # cycles of the last change, the most that is thought to be still to come


class Watched(NamedTuple):
    """What must repeat from cycle to cycle, of all cylinders together.

    Attributes
    ----------
    fresh, residual : float
        Fresh charge and burned gas in the cylinders when the intake valves close [kg].
    work, pumping : float
        Net work of the gas, and its part from the exhaust and intake strokes [J].
    outflow : float
        Energy that left through the ends which give off gas [J].
    wall_temperature : float
        Mean of all pipe walls [K].
    shift : float
        What ducts, volumes and cylinders hold more or less than a cycle before, over what has
        passed the outer ends.  It does not repeat but vanish.
    """

    fresh: float
    residual: float
    work: float
    pumping: float
    outflow: float
    wall_temperature: float
    shift: float = 0.0


@dataclass
class Cycles:
    """Cycles of one model: what was `Watched` in each, and the books around the last."""

    model: object
    history: list[Watched]
    steps: int
    before: tuple
    after: tuple
    burns_limited: int


def settle(model, walls, settings, *, rpm, fuel_flow, stop, firm=False):
    """Run cycles until they repeat themselves; `firm` if the steps are planned already."""
    return march_here(
        settling(model, walls, settings, rpm=rpm, fuel_flow=fuel_flow, firm=firm), stop
    )


def settling(model, walls, settings, *, rpm, fuel_flow, firm=False):
    """The work of `settle`, which asks for all that costs much, see `march_here`."""
    history, steps, limited = [], 0, 0
    masses, outside = Scales(model), outer_ends(model)
    left = masses(model)
    for cycle in range(1, settings.max_cycles + 1):
        if history:
            limited = follow_burn(model, rpm)
        held = left  # nothing between two cycles moves gas
        sampled = cycle == settings.max_cycles or _may_settle(history, settings.tolerance)
        before = contents(model) if sampled else None  # it may be the last
        steps += yield Cycle(model, settings, cycle, sampled)
        left = masses(model)
        mean_wall = yield WallsWanted(model, walls, 120.0 / rpm)
        history.append(_watched(model, mean_wall, held, left, outside))
        is_calm = change(history) <= max(FIRM, settings.tolerance)
        plan_steps(model, settings, firm or is_calm)
        if fuel_flow is not None:
            _follow_fuel(model, rpm, fuel_flow)
        if sampled and cycle >= settings.min_cycles and settled(history, settings.tolerance):
            break
    return Cycles(model, history, steps, before, contents(model), limited)


def rough_run(rig, start, demand, moment=None):
    """What `roughing` returns, marched on this processor; `demand` as for `settle`."""
    demand = dict(demand)
    stop = demand.pop("stop")
    return march_here(roughing(rig, start, demand, moment), stop)


def roughing(rig, start, demand, moment=None):
    """Cycles on a coarser mesh, from which the fine one starts; None if there are to be none.

    They cost a fraction of the fine cycles and take away most of what must settle.  A coarse run
    that fails is no fault: the fine one then starts without it.
    """
    if rig.coarse is None:
        return None
    model, walls = rig.coarse_at(demand["rpm"], moment)
    if start is not None:
        take_over(model, start)
        if moment is not None:
            lay_on(model, walls)
    try:
        return (yield from settling(model, walls, rig.coarse, **demand))
    except SolverError:
        return None


_BURN = [f.SOC, f.DURATION]


def take_over(model, point, mesh=None):
    """Start from the gas of another point of the same engine and exhaust.

    Parameters
    ----------
    model : Model
    point : Point
    mesh : {"fine"} or None
        "fine": the gas of its fine mesh; None: of the one on which a run begins.
    """
    if not point.restart:
        raise InputError("run_point: start is a Point without the gas to start from, as those of "
                         "explore and of files by earlier versions are.")
    restart = point.restart[mesh] if mesh else point.restart
    given = dict(restart["state"])
    if "plan" in given and np.shape(given["plan"]) != np.shape(model.state.plan):
        del given["plan"]  # of other valve events; the run plans its steps anew
    state = {name: getattr(model.state, name) for name in given}
    alike = all(np.shape(state[name]) == np.shape(values) for name, values in given.items())
    if restart["ducts"] != model.ducts or not alike:
        raise InputError("run_point: start must be a Point of the same engine, exhaust and mesh.")
    for name, values in given.items():
        state[name][...] = values
    model.net.cells[f.WALL] = restart["walls"]
    if mesh:  # at the same speed the burn goes on too
        model.net.cyl_par[:, _BURN] = restart["burn"]
    if isinstance(model.gas, EngineGas):  # the mixture is taken over; fuel and air stay
        use_gas(model, model.gas.replace(lam=restart["gas"].lam))


def restart_of(model, same_speed=False):
    """What another run needs to start from the gas of this one; at the same speed its steps too."""
    return {
        "state": {name: np.copy(getattr(model.state, name)) for name in model.state._fields
                  if same_speed or name != "plan"},  # whose slices differ from speed to speed
        "ducts": dict(model.ducts), "walls": model.net.cells[f.WALL].copy(), "gas": model.gas,
        "burn": model.net.cyl_par[:, _BURN].copy(),
    }


def _follow_fuel(model, rpm, fuel_flow):
    """Mixture for the next cycle: the given fuel in the air that the last one drew."""
    gas = model.gas
    intake = model.record.end_sum[valve_rows(model, "intake")]
    air = intake[:, f.OUT_FRESH].sum() * (1.0 - gas.fuel_fraction) * rpm / 120.0
    stoichiometric = gas.air_fuel_ratio / gas.lam
    lam = float(np.clip(air / (fuel_flow * stoichiometric), *LAMBDA_RANGE))
    if abs(lam - gas.lam) > 1e-7:
        use_gas(model, gas.replace(lam=lam))


def check_mixture(gas, fuel_flow):
    if not LAMBDA_RANGE[0] < gas.lam < LAMBDA_RANGE[1]:
        raise ConvergenceError(
            f"run_point: fuel_flow = {fuel_flow:g} kg/s needs an excess-air ratio beyond "
            f"{gas.lam:g}; the valid range is {LAMBDA_RANGE[0]:g} to {LAMBDA_RANGE[1]:g}."
        )


def _watched(model, wall_temperature, held, left, outside):
    """Sums of the cycle just marched; ducts and stores `held` masses [kg] before, `left` now.

    `outside` are the `outer_ends`.
    """
    sums = model.record.cyl_sum
    ends = model.record.end_sum[outside]
    work = sums[:, f.WORK_0 : f.WORK_3 + 1]
    passed = max(0.5 * np.abs(ends[:, f.OUT_MASS]).sum(), 1e-6 * held.sum())
    return Watched(
        fresh=float(sums[:, f.TRAP_FRESH].sum()),
        residual=float(sums[:, f.TRAP_BURNED].sum()),
        work=float(work.sum()),
        pumping=float(work[:, 1:3].sum()),
        outflow=float(ends[ends[:, f.OUT_MASS] > 0.0, f.OUT_ENERGY].sum()),
        wall_temperature=wall_temperature,
        shift=float(np.abs(left - held).sum() / passed),
    )


def change(history, back=1):
    """Largest difference between the last cycle and the one `back` cycles before it.

    Masses, work and temperature are relative; pumping work counts against the net work.
    """
    if len(history) <= back:
        return inf
    new, old = history[-1], history[-1 - back]
    size = Watched(*map(abs, new))
    scale = size._replace(
        residual=max(size.residual, 0.1 * size.fresh),  # residual gas against the charge
        pumping=size.work,  # pumping against the net work
    )
    off = [abs(now - then) / max(most, 1e-300)
           for now, then, most in zip(new, old, scale, strict=True)]
    off.pop()  # the shift is a change itself
    return nan if isnan(sum(off)) else max(off)


def _may_settle(history, tolerance):
    """False if the next cycle cannot repeat the last two: they differ by too much.

    Twice the tolerance, and a tenth for what is relative to another cycle.
    """
    return change(history) <= 2.2 * tolerance


def settled(history, tolerance):
    """True if the last cycle repeats the two before it within the tolerance and is to stay there.

    What is still to come is the sum of the changes that follow, if each is as much smaller than
    the one before as the last was, or `LONG` of the last.  A point that jitters has no such trend:
    it has settled when it repeats the third cycle before, too, which is then not further off than
    the others.  And no part may still fill or empty.
    """
    if any(change(history, back) > tolerance for back in (1, 2)) or history[-1].shift > tolerance:
        return False
    last, before = change(history), change(history[:-1])
    to_come = last * min(LONG, last / (before - last) if last < before else LONG)
    return to_come <= tolerance or change(history, 3) <= min(tolerance, 2.0 * max(last, before))
