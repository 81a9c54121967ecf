"""The public verbs: march a network in time, or run an engine until its cycle repeats itself."""

import time
from collections.abc import Mapping
from dataclasses import replace
from math import inf
from threading import Event
from typing import Any

import numpy as np

from wavesim.arrays.compile import compile_network
from wavesim.constants import RPM_RANGE
from wavesim.descriptions.engine import Engine
from wavesim.descriptions.exhaust import Exhaust
from wavesim.descriptions.network import Network
from wavesim.descriptions.pull import Pull, check_pull
from wavesim.descriptions.settings import Settings, given_settings
from wavesim.descriptions.weather import Ambient
from wavesim.errors import InputError, check_int, check_kind, check_number, shown
from wavesim.fields.description import describe
from wavesim.gas.models import EngineGas, PerfectGas, given_gas
from wavesim.guard import guarded
from wavesim.march.advance import SamplesWanted, march_here, march_to
from wavesim.march.books import contents, cycle_ledger, ledger
from wavesim.march.burn import burn_angles
from wavesim.march.cycles import (
    change,
    check_mixture,
    restart_of,
    roughing,
    settled,
    settling,
    take_over,
)
from wavesim.march.evaluate import amounts_of, evaluate
from wavesim.march.exchange import Events, exchange_of
from wavesim.march.pull import moment_of, pull_facts, throttled
from wavesim.march.readout import (
    cycle_sums,
    engine_facts,
    final_state,
    mean_gauge,
    samples_of,
    valve_flows,
    valve_names,
    wall_facts,
)
from wavesim.march.rig import rig_of
from wavesim.march.walltemp import lay_on, walls_left
from wavesim.results.points import Point, Transient, point_meta


@guarded
def simulate(
    network: Network,
    duration: float,
    *,
    gas: PerfectGas | EngineGas | None = None,
    settings: Settings | None = None,
    initial: Mapping[str, Any] | None = None,
    samples: int = 200,
    ambient: Ambient | None = None,
) -> Transient:
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
        State at the start by duct name, see `wavesim.arrays.compile.compile_network`.
    samples : int
        Number of equally spaced records, the first at time 0.
    ambient : Ambient, optional
        The weather, for every place that states no air of its own; default: an Ambient().

    Returns
    -------
    Transient

    Raises
    ------
    InputError
        If something in the description is wrong.
    SolverError
        If a state turns unphysical or the step limit is reached; says where and when.

    Examples
    --------
    >>> import wavesim as ws
    >>> shut = Network({"tube": ws.Pipe("1 m", "40 mm")},
    ...                {"left": ws.ClosedEnd("tube.start"), "right": ws.ClosedEnd("tube.end")})
    >>> rest = simulate(shut, 0.01, samples=3)
    >>> float(rest.samples.trace("velocity", "tube", 0.5).values.max())
    0.0
    """
    settings = given_settings("simulate", settings)
    check_kind("simulate", "network", network, Network)
    duration = check_number("simulate", "duration", duration, "s", 0.0, 1e4, low_open=True)
    samples = check_int("simulate", "samples", samples, 0, 10_000_000)
    gas = given_gas("simulate", gas) or PerfectGas()
    model = compile_network(
        network, gas, settings, samples=samples, initial=initial, ambient=ambient
    )
    model.record.interval[0] = duration / samples if samples else 0.0
    before = contents(model)
    march_to(model, duration, settings.max_steps_per_cycle)
    x = np.arange(samples) * model.record.interval[0]
    audit = ledger(model, before, contents(model), 0.0, 0.0)
    return Transient(samples_of(model, x, "time"), final_state(model), audit)


@guarded
def run_point(
    engine: Engine,
    exhaust: Exhaust | Network,
    rpm: float,
    *,
    settings: Settings | None = None,
    gas: PerfectGas | EngineGas | None = None,
    fuel_flow: float | None = None,
    ambient: Ambient | None = None,
    pull: Pull | None = None,
    start: Point | None = None,
    stop: Event | None = None,
) -> Point:
    """Run an engine at one speed until its cycle repeats itself.

    Parameters
    ----------
    engine : Engine
    exhaust : Exhaust or Network
        What stands behind the engine; a Network as for `run_network`.
    rpm : float
        Engine speed [rev/min], 100 to 30000.
    settings, gas, fuel_flow, ambient, pull, start, stop
        As for `run_network`.

    Returns
    -------
    Point
        `point.converged` tells whether the tolerance was met.

    Raises
    ------
    WavesimError
        As `run_network` does.

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> coarse = ws.Settings(cell_length=0.05, tolerance=0.02)
    >>> point = run_point(study.engine, study.exhausts["short collector"], 4500, settings=coarse)
    >>> print(f"{point.torque:.0f} N m, {len(point.cylinders['imep_net'])} cylinders")
    171 N m, 4 cylinders
    """
    work = point_work(engine, exhaust, rpm, settings, gas, fuel_flow, ambient, pull, start, stop)
    return march_here(work, stop)


def _checked_fuel_flow(fuel_flow, gas):
    """Fuel mass flow [kg/s] or None; refused if it is none or meets a gas without fuel."""
    if fuel_flow is None:
        return None
    fuel_flow = check_number("run_point", "fuel_flow", fuel_flow, "kg/s", 0.0, inf, low_open=True)
    if gas is not None and not isinstance(gas, EngineGas):
        raise InputError(
            f"run_point: fuel_flow = {fuel_flow:g} kg/s needs an EngineGas, whose mixture follows "
            f"from it, must be None with gas = {shown(gas)}."
        )
    return fuel_flow


@guarded
def run_network(
    engine: Engine,
    network: Network,
    rpm: float,
    *,
    settings: Settings | None = None,
    gas: PerfectGas | EngineGas | None = None,
    fuel_flow: float | None = None,
    ambient: Ambient | None = None,
    pull: Pull | None = None,
    start: Point | None = None,
    stop: Event | None = None,
) -> Point:
    """Run an engine with a network of one's own until its cycle repeats itself.

    Parameters
    ----------
    engine : Engine
        Cylinders, valves, combustion and friction are taken from it; its ports and its intake are
        those of the network.
    network : Network
        Intake and exhaust, with the valve ports of every cylinder: `Exhaust.network` gives one to
        start from.
    rpm : float
        Engine speed [rev/min], 100 to 30000.
    settings : Settings, optional
    gas : PerfectGas or EngineGas, optional
        Default: the engine's fuel at its mixture strength.
    fuel_flow : float, optional
        Fuel mass flow [kg/s], above 0, that is delivered whatever air the engine draws: the
        mixture strength follows from the air, instead of being that of the engine.
    ambient : Ambient, optional
        The weather, for every place that states no air of its own; default: an Ambient().
    pull : Pull, optional
        This speed is one of a pull: its walls have warmed since the start of the pull.  Default:
        walls that are solved stand where they come to rest after minutes at this speed.
    start : Point, optional
        A point of the same engine and network, computed or from a file, whose gas is taken over:
        at the same speed that of its own mesh, so that the run goes on where that one ended; at a
        speed near by that of the coarse mesh, on which a run begins.  If it is of the same pull, it
        is the speed before in time, and its walls have warmed since; else this speed is the first
        of the pull.
    stop : threading.Event, optional
        When set, the run ends with `Interrupted` within a quarter turn.

    Returns
    -------
    Point
        `point.converged` tells whether the tolerance was met; it has no `exhaust`.

    Raises
    ------
    InputError
        If something in the description is wrong.
    SolverError
        If a state turns unphysical or the step limit is reached; says where and when.
    ConvergenceError
        If the fuel flow would need a mixture outside `LAMBDA_RANGE`.

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> coarse = ws.Settings(cell_length=0.05, tolerance=0.02)
    >>> network = study.exhausts["short collector"].network(study.engine)
    >>> point = run_network(study.engine, network, 4500, settings=coarse)
    >>> print(f"{point.torque:.0f} N m")
    171 N m
    """
    work = point_work(engine, network, rpm, settings, gas, fuel_flow, ambient, pull, start, stop)
    return march_here(work, stop)


def point_work(engine, system, rpm, settings=None, gas=None, fuel_flow=None, ambient=None,
               pull=None, start=None, stop=None):
    """The work for a Point of an engine with an Exhaust or a Network.

    It asks for every `Cycle`, for walls and for samples, see `march_here`.
    """
    settings = given_settings("run_point", settings)
    rpm = check_number("run_point", "rpm", rpm, "rev/min", *RPM_RANGE)
    given_gas("run_point", gas)
    fuel_flow = _checked_fuel_flow(fuel_flow, gas)
    check_kind("run_point", "start", start, Point, optional=True)
    check_kind("run_point", "pull", pull, Pull, optional=True)
    clock = time.perf_counter()
    rig = rig_of(engine, system, settings, gas, ambient)
    moment = None
    if pull is not None:
        check_pull(rig.network)

        def warm(warmed):
            return run_network(
                engine, throttled(rig.network, warmed), warmed.rpm, settings=settings, gas=rig.gas,
                ambient=rig.ambient, stop=stop,
            )

        moment = moment_of(pull, rpm, start, warm)
        if start is not None and not start.restart:  # from a file: its walls alone
            start = None
    demand = {"rpm": rpm, "fuel_flow": fuel_flow}
    goes_on = start is not None and start.rpm == rpm and "fine" in start.restart
    rough = None if goes_on else (yield from roughing(rig, start, demand, moment))
    model, walls = rig.at(rpm, moment, None if rough is None else rough.model)
    if rough is None and start is not None:
        take_over(model, start, "fine" if goes_on else None)
        if moment is not None:
            lay_on(model, walls)
    cycles = yield from settling(model, walls, settings, **demand)
    if fuel_flow is not None:
        check_mixture(model.gas, fuel_flow)
    yield SamplesWanted(model)
    point = point_of(rig, model, walls, cycles, rpm, fuel_flow, rough, moment)
    if goes_on:
        point = replace(point, restart=start.restart | {
            "fine": restart_of(model, same_speed=True), "gas": model.gas,
        })
    point.audit["wall_time"] = time.perf_counter() - clock
    return point


def point_of(rig, model, walls, cycles, rpm, fuel_flow=None, rough=None, moment=None):
    """Point of a model after its last cycle.

    Parameters
    ----------
    rig : Rig
        That made the model.
    model : Model
    walls : list of SolvedWall
    cycles : Cycles
        Of this model.
    rpm, fuel_flow, moment
        As in `run_network`.
    rough : Cycles or None
        Of the coarse mesh.
    """
    engine, settings = model.engine, model.settings
    back_pressure, by_cylinder = mean_gauge(model, "exhaust")
    x = np.arange(model.record.field.shape[0]) * settings.sample_deg
    samples = samples_of(model, x, "theta_deg")
    facts = engine_facts(engine, model)
    sums, air = cycle_sums(model), model.network.air_outside("intake", model.ambient)
    exchange = exchange_of(
        samples, valve_names(model), Events(*facts["events_deg"]["exhaust"],
                                            *facts["events_deg"]["intake"]),
        sums.work, air.pressure,
    )
    amounts = amounts_of(
        sums, valve_flows(model, "intake"), valve_flows(model, "exhaust"), by_cylinder,
        burn_angles(model), exchange,
    )
    values, cylinders = evaluate(engine, model.gas, rpm, amounts, back_pressure, air)
    audit = cycle_ledger(model, cycles.before, cycles.after)
    audit |= {
        "cycles": len(cycles.history),
        "coarse_cycles": len(rough.history) if rough else 0,
        "converged": settled(cycles.history, settings.tolerance),
        "tolerance": settings.tolerance,
        "last_change": float(change(cycles.history)),
        "history": [list(watched) for watched in cycles.history],
        "steps": cycles.steps,
        "burns_limited": cycles.burns_limited,
        "cells": int(sum(hi - lo for lo, hi in model.ducts.values())),
        "wall_time": 0.0,
    }
    exhaust = None if isinstance(rig.system, Network) else rig.system
    meta = point_meta(
        engine, exhaust, settings, gas=model.gas, fuel_flow=fuel_flow, network=rig.described,
        facts=facts | wall_facts(walls),
    )
    if walls:
        meta["walls_left"] = describe(walls_left(model, walls))
    if moment is not None:
        meta |= pull_facts(moment, walls, model.packings)
    if rough is None:
        restart = restart_of(model)
    else:
        restart = restart_of(rough.model) | {"fine": restart_of(model, same_speed=True)}
    return Point(rpm, values, cylinders, samples, audit, meta, restart)
