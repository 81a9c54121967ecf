"""Runs: a network in time, or an engine cycle after cycle until it repeats itself."""

import time
from dataclasses import dataclass
from math import pi

import numpy as np

from wavesim.assemble import assemble
from wavesim.compile import compile_network, use_gas
from wavesim.errors import ConvergenceError, InputError, SolverError, check_number
from wavesim.gas import EngineGas, PerfectGas
from wavesim.kernels import flat as f
from wavesim.kernels.characteristics import march_lines
from wavesim.kernels.march import march
from wavesim.nodes import Volume
from wavesim.precompile import help_to_compile
from wavesim.prolong import prolong
from wavesim.result import Point, Samples, Transient, point_meta
from wavesim.settings import SCHEMES, Settings
from wavesim.valves import CHECKING_LIFT, seat_events
from wavesim.walltemp import find_solved_walls, update_walls

START_UP = 2  # cycles before the step plan is kept
CHUNK_DEG = 90.0  # the run looks up between chunks, for a stop request
RPM_RANGE = (100.0, 30000.0)
LAMBDA_RANGE = (0.6, 1.6)


class Interrupted(Exception):
    """A run was asked to stop; carries nothing, the caller keeps what was finished."""


def simulate(network, duration, *, gas=None, settings=None, initial=None, samples=200):
    """March a network without an engine.

    Walls whose temperature is solved in the cycles of an engine stay as cold as the air outside.

    Parameters
    ----------
    network : Network
    duration : float
        Time to march [s], above 0.
    gas : PerfectGas or EngineGas, optional
        Default: air as a perfect gas, gamma 1.4, R 287.05 J/(kg K).
    settings : Settings, optional
    initial : mapping, optional
        State at the start by duct name, see `wavesim.compile.compile_network`.
    samples : int
        Number of equally spaced records, the first at time 0.

    Returns
    -------
    Transient

    Raises
    ------
    InputError
        If something in the description is wrong.
    SolverError
        If a state turns unphysical or the step limit is reached; says where and when.
    """
    settings = settings or Settings()
    check_number("simulate", "duration", duration, "s", 0.0, 1e4, low_open=True)
    gas = gas or PerfectGas()
    model = compile_network(network, gas, settings, samples=samples, initial=initial)
    model.record.interval[0] = duration / samples if samples else 0.0
    before = contents(model)
    march_to(model, duration, settings.max_steps_per_cycle)
    x = np.arange(samples) * model.record.interval[0]
    audit = _ledger(model, before, contents(model), 0.0, 0.0)
    return Transient(_samples(model, x, "time"), _final(model), audit)


def run_point(
    engine, exhaust, rpm, *, settings=None, gas=None, fuel_flow=None, start=None, stop=None
):
    """Run an engine at one speed until its cycle repeats itself.

    Parameters
    ----------
    engine : Engine
    exhaust : Exhaust
    rpm : float
        Engine speed [rev/min], 100 to 30000.
    settings : Settings, optional
    gas : PerfectGas or EngineGas, optional
        Default: the engine's fuel at its mixture strength.
    fuel_flow : float, optional
        Fuel mass flow [kg/s], above 0, that is delivered whatever air the engine draws: the
        mixture strength follows from the air, instead of being that of the engine.
    start : Point, optional
        A point of the same engine and exhaust at a speed near by, whose gas is taken over.
    stop : threading.Event, optional
        When set, the run ends with `Interrupted` within a quarter turn.

    Returns
    -------
    Point
        `point.converged` tells whether the tolerance was met.

    Raises
    ------
    InputError
        If something in the description is wrong.
    SolverError
        If a state turns unphysical or the step limit is reached; says where and when.
    ConvergenceError
        If the fuel flow would need a mixture outside `LAMBDA_RANGE`.
    """
    settings = settings or Settings()
    rpm = check_number("run_point", "rpm", rpm, "rev/min", *RPM_RANGE)
    gas = gas or EngineGas(engine.fuel, engine.air_fuel_lambda)
    clock = time.perf_counter()
    network = assemble(engine, exhaust)
    demand = {"rpm": rpm, "fuel_flow": fuel_flow, "stop": stop}
    rough = _rough_run(network, gas, engine, settings, start, demand)
    model = compile_network(
        network, gas, settings, engine=engine, rpm=rpm, samples=round(720.0 / settings.sample_deg)
    )
    walls = find_solved_walls(model)
    if rough is not None:
        prolong(rough.model, model)
    elif start is not None:
        _take_over(model, start)
    cycles = _settle(model, walls, settings, **demand)
    if fuel_flow is not None:
        _check_mixture(model.gas, fuel_flow)
    values, cylinders = _evaluate(model, engine, rpm)
    audit = _cycle_ledger(model, cycles.before, cycles.after)
    audit |= {
        "cycles": len(cycles.history),
        "coarse_cycles": len(rough.history) if rough else 0,
        "converged": _settled(cycles.history, settings.tolerance),
        "tolerance": settings.tolerance,
        "last_change": float(_change(cycles.history)),
        "history": [list(map(float, row)) for row in cycles.history],
        "steps": cycles.steps,
        "cells": int(sum(hi - lo for lo, hi in model.ducts.values())),
        "wall_time": time.perf_counter() - clock,
    }
    x = np.arange(model.record.field.shape[0]) * settings.sample_deg
    meta = point_meta(engine, exhaust, settings, _facts(engine, model) | _wall_facts(walls))
    return Point(
        rpm, values, cylinders, _samples(model, x, "theta_deg"), audit, meta,
        _restart(rough.model if rough else model),
    )


# --- cycles ---------------------------------------------------------------------------------------


@dataclass
class _Cycles:
    """Cycles of one model: what was watched in each, and the books around the last."""

    model: object
    history: list
    steps: int
    before: tuple
    after: tuple


def _settle(model, walls, settings, *, rpm, fuel_flow, stop):
    """Run cycles until they repeat themselves."""
    history, steps = [], 0
    for cycle in range(1, settings.max_cycles + 1):
        before = contents(model)
        sampled = cycle == settings.max_cycles or _may_settle(history, settings.tolerance)
        steps += _cycle(model, settings, cycle, stop, sampled)
        after = contents(model)
        mean_wall = update_walls(model, walls, 120.0 / rpm)
        history.append([*_watched(model), mean_wall])
        if fuel_flow is not None:
            _follow_fuel(model, model.engine, rpm, fuel_flow)
        if sampled and cycle >= settings.min_cycles and _settled(history, settings.tolerance):
            break
    return _Cycles(model, history, steps, before, after)


def _rough_run(network, gas, engine, settings, start, demand):
    """Cycles on a coarser mesh, from which the fine one starts; None if there are to be none.

    They cost a fraction of the fine cycles and take away most of what must settle.  A coarse run
    that fails is no fault: the fine one then starts without it.
    """
    if settings.coarse_start == 1.0:
        return None
    rough = settings.replace(
        cell_length=min(0.2, settings.coarse_start * settings.cell_length), coarse_start=1.0,
        tolerance=max(1e-2, settings.tolerance), sample_deg=10.0, min_cycles=1, max_cycles=20,
    )
    model = compile_network(network, gas, rough, engine=engine, rpm=demand["rpm"])
    walls = find_solved_walls(model)
    if start is not None:
        _take_over(model, start)
    try:
        return _settle(model, walls, rough, **demand)
    except SolverError:
        return None


def _restart(model):
    """What another run needs to start from the gas of this one."""
    return {
        "state": [np.copy(a) for a in model.state], "ducts": dict(model.ducts),
        "walls": model.net.cells[f.WALL].copy(), "gas": model.gas,
    }


# --- marching -------------------------------------------------------------------------------------

_MARCH = dict(zip(SCHEMES, (march, march_lines), strict=True))


def march_to(model, t_end, max_steps, cycle=None, used=0):
    """March to `t_end`, `used` of `max_steps` steps being spent; turns a status into a sentence."""
    with help_to_compile():
        status, steps = _MARCH[model.settings.scheme](
            model.net, model.state, model.work, model.record, model.inner, model.face, t_end,
            max_steps - used,
        )
    if status != f.OK:
        raise _trouble(model, status, steps, max_steps, cycle)
    return steps


def _cycle(model, settings, cycle, stop, sampled=True):
    """One engine cycle from crank angle 0 to 720, with samples or not; returns the steps."""
    record = model.record
    for sums in (record.end_sum, record.cyl_sum, record.wall):
        sums[:] = 0.0
    omega = model.net.options[f.OMEGA_DEG]
    model.state.clock[:] = 0.0
    model.record.interval[:] = settings.sample_deg / omega if sampled else 0.0, 0.0
    used = 0
    for angle in np.arange(CHUNK_DEG, 720.0 + 1.0, CHUNK_DEG):
        used += march_to(model, angle / omega, settings.max_steps_per_cycle, cycle, used)
        if stop is not None and stop.is_set():
            raise Interrupted
    _plan_steps(model, settings, cycle)
    return used


def _plan_steps(model, settings, cycle):
    """Steps of each slice of the next cycle, from the fastest waves of this one.

    After the start-up the number only grows, so that it settles.
    """
    plan = model.state.plan
    wanted = np.ceil(plan[:, f.FASTEST] * model.net.options[f.SLICE_TIME] / settings.cfl)
    settled = cycle > START_UP
    plan[:, f.PLANNED] = np.maximum(wanted, plan[:, f.PLANNED] if settled else 0.0)
    plan[:, f.FASTEST] = 0.0


def _trouble(model, status, steps, max_steps, cycle):
    """SolverError that says where and when."""
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


def _take_over(model, point):
    """Start from the gas of another point of the same engine and exhaust."""
    restart = point.restart
    if not restart:
        raise InputError("run_point: start is a Point from a file, it holds no gas to start from.")
    if restart["ducts"] != model.ducts:
        raise InputError("run_point: start must be a Point of the same engine, exhaust and mesh.")
    for mine, other in zip(model.state, restart["state"], strict=True):
        mine[...] = other
    model.state.plan[:] = 0.0
    model.net.cells[f.WALL] = restart["walls"]
    use_gas(model, restart["gas"] if isinstance(model.gas, EngineGas) else model.gas)


# --- mixture --------------------------------------------------------------------------------------


def _follow_fuel(model, engine, rpm, fuel_flow):
    """Mixture for the next cycle: the given fuel in the air that the last one drew."""
    gas = model.gas
    intake = model.record.end_sum[_valve_rows(model, "intake")]
    air = intake[:, f.OUT_FRESH].sum() * (1.0 - gas.fuel_fraction) * rpm / 120.0
    stoichiometric = gas.air_fuel_ratio / gas.lam
    lam = float(np.clip(air / (fuel_flow * stoichiometric), *LAMBDA_RANGE))
    if abs(lam - gas.lam) > 1e-7:
        use_gas(model, EngineGas(engine.fuel, lam))


def _check_mixture(gas, fuel_flow):
    if not LAMBDA_RANGE[0] < gas.lam < LAMBDA_RANGE[1]:
        raise ConvergenceError(
            f"run_point: fuel_flow = {fuel_flow:g} kg/s needs an excess-air ratio beyond "
            f"{gas.lam:g}; the valid range is {LAMBDA_RANGE[0]:g} to {LAMBDA_RANGE[1]:g}."
        )


# --- books ----------------------------------------------------------------------------------------


def contents(model):
    """Mass [kg] and energy [J] in all ducts and stores."""
    mass = energy = 0.0
    for lo, hi in model.ducts.values():
        vol = model.net.cells[f.VOL, lo:hi]
        mass += float(vol @ model.state.U[f.R, lo:hi])
        energy += float(vol @ model.state.U[f.E, lo:hi])
    held = model.net.store_int[:, f.STORE_KIND] != f.AMBIENT
    return mass + float(model.state.store[held, f.SM].sum()), energy + float(
        model.state.store[held, f.SE].sum()
    )


def _outer_ends(model):
    """Rows of the ends through which gas leaves or enters the system."""
    net = model.net
    outside = np.zeros(net.end_int.shape[0], dtype=bool)
    outside[net.end_int[:, f.END_KIND] == f.ANECHOIC] = True
    port = net.end_int[:, f.END_KIND] == f.PORT
    outside[port] = net.store_int[net.end_int[port, f.END_STORE], f.STORE_KIND] == f.AMBIENT
    return outside


def _ledger(model, before, after, source, scale_energy):
    """Imbalance of mass and energy between two instants, relative to what passed or is held."""
    ends = model.record.end_sum[_outer_ends(model)]
    lost_mass, lost_energy = ends[:, f.OUT_MASS].sum(), ends[:, f.OUT_ENERGY].sum()
    inside = np.concatenate([np.arange(lo, hi) for lo, hi in model.ducts.values()])
    gained = float(model.record.wall[f.GAIN][inside].sum())
    mass_error = after[0] - before[0] + lost_mass
    energy_error = after[1] - before[1] + lost_energy - gained - source
    mass_scale = max(np.abs(ends[:, f.OUT_MASS]).sum(), before[0])
    energy_scale = max(np.abs(ends[:, f.OUT_ENERGY]).sum(), abs(before[1]), scale_energy)
    return {
        "mass_error": float(mass_error / mass_scale),
        "energy_error": float(energy_error / energy_scale),
        "mass_before": before[0], "mass_after": after[0],
        "energy_before": before[1], "energy_after": after[1],
        "wall_heat": gained,
        "steps": int(model.state.clock[f.STEPS]),
    }


def _cycle_ledger(model, before, after):
    """Imbalance over one cycle, relative to the air that passed and to the heat that was released.

    Where next to no air passes or burns, what the system holds and what enters it count instead.
    """
    sums = model.record.cyl_sum
    work = sums[:, f.WORK_0 : f.WORK_3 + 1].sum()
    released, lost = sums[:, f.HEAT_RELEASE].sum(), sums[:, f.WALL_LOSS].sum()
    books = _ledger(model, before, after, released - lost - work, released)
    ends = model.record.end_sum[_outer_ends(model)]
    passed = np.abs(ends[:, f.OUT_MASS]).sum()
    books["mass_error"] *= max(passed, before[0]) / max(0.5 * passed, 1e-6 * before[0])
    return books


# --- convergence ----------------------------------------------------------------------------------


def _watched(model):
    """What must repeat: trapped fresh charge, net work, pumping work, flow out, end states."""
    sums = model.record.cyl_sum
    ends = model.record.end_sum[_outer_ends(model)]
    work = sums[:, f.WORK_0 : f.WORK_3 + 1]
    return [
        sums[:, f.TRAP_FRESH].sum(),
        sums[:, f.TRAP_BURNED].sum(),
        work.sum(),
        work[:, 1:3].sum(),
        ends[ends[:, f.OUT_MASS] > 0.0, f.OUT_ENERGY].sum(),
    ]


def _change(history, back=1):
    """Largest difference between the last cycle and the one `back` cycles before it.

    Masses, work and temperature are relative; pumping work counts against the net work.
    """
    if len(history) <= back:
        return np.inf
    new, old = np.array(history[-1]), np.array(history[-1 - back])
    scale = np.abs(new)
    scale[1] = max(scale[1], 0.1 * scale[0])  # residual gas against the charge
    scale[3] = scale[2]  # pumping against the net work
    return float(np.max(np.abs(new - old) / np.maximum(scale, 1e-300)))


def _may_settle(history, tolerance):
    """False if the next cycle cannot repeat the last two: they differ by too much.

    Twice the tolerance, and a tenth for what is relative to another cycle.
    """
    return _change(history) <= 2.2 * tolerance


def _settled(history, tolerance):
    """True if the last cycle repeats the two before it within the tolerance and is to stay there.

    What is still to come is the sum of the changes that follow, if each is as much smaller than
    the one before as the last was.  A point that jitters has no such trend: it has settled when it
    repeats the third cycle before, too.
    """
    if any(_change(history, back) > tolerance for back in (1, 2)):
        return False
    last, before = _change(history), _change(history[:-1])
    to_come = last * last / (before - last) if last < before else np.inf
    return to_come <= tolerance or _change(history, 3) <= tolerance


# --- from arrays to quantities --------------------------------------------------------------------


def _samples(model, x, x_name):
    """Samples with the names of their rows."""
    network = model.network
    ducts = {
        name: {
            "lo": int(lo), "hi": int(hi), "dx": model.dx[name], "length": duct.length,
            "stations": [float(b) for b in duct.breaks],
            "bores": [p.diameter for p in duct.parts] + [duct.end_diameter],
        }
        for (name, (lo, hi)), duct in zip(model.ducts.items(), network.ducts.values(), strict=True)
    }
    nodes = {
        name: model.ends[node.ends[0]]
        for name, node in network.nodes.items()
        if len(node.ends) == 1 and not isinstance(node, Volume)
    }
    held = {name: row for name, row in model.stores.items() if name not in nodes}
    layout = {
        "ducts": ducts, "stores": held, "nodes": nodes,
        "ends": [list(end) for end in model.ends],
        "gas_R": [float(v) for v in model.net.gas_R],
    }
    record = model.record
    return Samples(x, x_name, record.field, record.store, record.end, layout)


def _final(model):
    """Last state of every duct."""
    out = {}
    for name, (lo, hi) in model.ducts.items():
        cells = slice(lo, hi)
        U = model.state.U[:, cells]
        out[name] = {
            "x": model.centres(name),
            "rho": U[f.R].copy(),
            "u": U[f.M] / U[f.R],
            "p": model.work.W[f.P, cells].copy(),
            "T": model.state.T[cells].copy(),
            "fresh": U[f.Y1] / U[f.R],
            "burned": U[f.Y2] / U[f.R],
        }
    return out


def _valve_rows(model, side):
    """End rows of the valves of one side, by cylinder."""
    nodes = model.network.nodes
    count = model.net.cyl_par.shape[0]
    return [model.ends[nodes[f"{side} valve {n}"].ends[0]] for n in range(1, count + 1)]


def _facts(engine, model):
    """Valve events, the lift at which they hold, and firing angles, for analysis and figures."""
    valves = {"exhaust": engine.exhaust_valve, "intake": engine.intake_valve}
    # One lift for both sides, the smaller of the two stated ones: only so is overlap comparable.
    level = min(getattr(v.lift, "checking_lift", CHECKING_LIFT) for v in valves.values())
    events = {side: list(seat_events(valve, side, level)) for side, valve in valves.items()}
    return {
        "events_deg": events,
        "events_lift": level,
        "firing_angles_deg": [float(a) for a in engine.firing_angles_deg],
    }


def _wall_facts(walls):
    """Solved wall temperatures by duct: inner and outer surface, highest and mean [K]."""
    out = {}
    for solved in walls:
        inner, outer = solved.state.inner, solved.state.outer
        out.setdefault(solved.duct, []).append(
            {"inner_mean": float(inner.mean()), "inner_max": float(inner.max()),
             "outer_mean": float(outer.mean()), "outer_max": float(outer.max()),
             "heat": float((solved.state.heat).mean())}
        )
    return {"walls": out}


def _evaluate(model, engine, rpm):
    """All scalars of a Point and the per-cylinder arrays."""
    gas, sums, ends = model.gas, model.record.cyl_sum, model.record.end_sum
    Vd = engine.displacement
    cycles_per_second = rpm / 120.0
    intake, exhaust = ends[_valve_rows(model, "intake")], ends[_valve_rows(model, "exhaust")]
    work = sums[:, f.WORK_0 : f.WORK_3 + 1]
    peak = sums[:, f.PEAK]
    fmep = engine.friction.mean_effective_pressure(
        float(peak.mean()), engine.mean_piston_speed(rpm)
    )
    imep_net = work.sum() / Vd
    bmep = imep_net - fmep
    torque = bmep * Vd / (4.0 * pi)
    air_share = 1.0 - gas.fuel_fraction
    delivered = intake[:, f.OUT_FRESH].sum()  # fresh charge through the intake valves, net
    trapped = sums[:, f.TRAP_FRESH].sum()
    fuel = delivered * gas.fuel_fraction
    ambient = engine.intake.ambient
    reference = float(gas.density(ambient.pressure, ambient.temperature, 0.0, 0.0))
    released = sums[:, f.HEAT_RELEASE].sum()
    lam = float(getattr(gas, "lam", float("nan")))
    out_mass, out_energy = -exhaust[:, f.OUT_MASS].sum(), -exhaust[:, f.OUT_ENERGY].sum()
    out_fresh, out_burned = -exhaust[:, f.OUT_FRESH].sum(), -exhaust[:, f.OUT_BURNED].sum()
    power = torque * rpm * pi / 30.0
    values = {
        "torque": torque,
        "power": power,
        "bmep": bmep,
        "imep_gross": (work[:, 0] + work[:, 3]).sum() / Vd,
        "imep_net": imep_net,
        "pmep": -(work[:, 1] + work[:, 2]).sum() / Vd,
        "pmep_exhaust": -work[:, 1].sum() / Vd,
        "pmep_intake": -work[:, 2].sum() / Vd,
        "fmep": fmep,
        "volumetric_efficiency": delivered * air_share / (reference * Vd),
        "air_per_cycle": delivered * air_share,
        "trapped_air": trapped * air_share,
        "residual_fraction": sums[:, f.TRAP_BURNED].sum() / sums[:, f.TRAP_MASS].sum(),
        "scavenging_efficiency": trapped / sums[:, f.TRAP_MASS].sum(),
        "trapping_efficiency": _ratio(trapped, delivered),
        "short_circuit": out_fresh,
        "lambda": lam,
        "air_fuel_ratio": air_share / gas.fuel_fraction if gas.fuel_fraction else float("inf"),
        "air_flow": delivered * air_share * cycles_per_second,
        "fuel_flow": fuel * cycles_per_second,
        "exhaust_flow": out_mass * cycles_per_second,
        "bsfc": fuel * cycles_per_second / power if power > 0.0 else float("nan"),
        "exhaust_temperature": _temperature_of(gas, out_energy, out_mass, out_fresh, out_burned),
        "back_pressure": _mean_gauge(model, "exhaust"),
        "peak_pressure": float(peak.mean()),
        "peak_pressure_angle": float(sums[:, f.PEAK_ANGLE].mean()),
        "trapped_pressure": sums[:, f.TRAP_P].mean(),
        "trapped_temperature": sums[:, f.TRAP_T].mean(),
        "opening_pressure": sums[:, f.EVO_P].mean(),
        "heat_loss": _ratio(sums[:, f.WALL_LOSS].sum(), released),
        "indicated_efficiency": _ratio(work.sum(), fuel * getattr(gas, "heating_value", 0.0)),
    }
    cylinders = {
        "imep_net": work.sum(axis=1) * len(work) / Vd,
        "trapped_fresh": sums[:, f.TRAP_FRESH].copy(),
        "residual_fraction": sums[:, f.TRAP_BURNED] / sums[:, f.TRAP_MASS],
        "peak_pressure": peak.copy(),
        "air": intake[:, f.OUT_FRESH] * air_share,
    }
    return {name: float(value) for name, value in values.items()}, cylinders


def _ratio(part, whole):
    """`part` over `whole`, NaN where there is next to no whole."""
    return part / whole if abs(whole) > 1e-6 * abs(part) else float("nan")


def _temperature_of(gas, energy, mass, fresh, burned):
    """Temperature at which `mass` carries the enthalpy `energy`."""
    if mass <= 0.0:
        return float("nan")
    yf, yb, h = fresh / mass, burned / mass, energy / mass
    T = 1000.0
    for _ in range(50):
        step = (h - float(gas.h(T, yf, yb))) / float(gas.cp(T, yf, yb))
        T += step
        if abs(step) < 1e-9 * T:
            break
    return T


def _mean_gauge(model, side):
    """Mean pressure at the valves of one side less the pressure of the surroundings there."""
    mean = model.record.end[:, _valve_rows(model, side), 0].mean()
    outlets = [
        node.ambient.pressure
        for node in model.network.nodes.values()
        if hasattr(node, "ambient") and not getattr(node, "intake", False)
    ]
    return float(mean - np.mean(outlets))
