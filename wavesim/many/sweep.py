"""Many operating points at once: speed curves on threads, processes or a cluster.

The kernels release the interpreter lock, so threads share the cores.  Every speed starts cold, so
that what comes out at one speed depends on no other, on no order and on no number of workers.  The
speeds of a pull are one chain in order of time.
"""

from collections.abc import Iterable, Mapping
from concurrent.futures import Executor

import numpy as np

from wavesim.constants import RPM_RANGE
from wavesim.descriptions.engine import Engine
from wavesim.descriptions.exhaust import SYSTEMS, Exhaust
from wavesim.descriptions.network import Network
from wavesim.descriptions.pull import Pull
from wavesim.descriptions.settings import Settings, given_settings
from wavesim.descriptions.study import Study
from wavesim.descriptions.weather import Ambient
from wavesim.errors import InputError, check_kind, check_number, shown
from wavesim.fields.description import check_text, sequence
from wavesim.guard import guarded
from wavesim.many.pool import workplace
from wavesim.many.refine import REFINE_RANGE, speeds_to_add
from wavesim.many.store import Store
from wavesim.many.work import Task, run_chains
from wavesim.results.points import Failure, Sweep


@guarded
def speed_sweep(
    engine: Engine,
    exhaust: Exhaust | Network,
    rpm: Iterable[float],
    *,
    settings: Settings | None = None,
    threads: int | None = None,
    executor: Executor | None = None,
    store: Store | None = None,
    progress: bool = True,
    name: str | None = None,
    fuel_from: Sweep | None = None,
    ambient: Ambient | None = None,
    pull: Pull | None = None,
    refine: float | None = None,
    device: str = "cpu",
) -> Sweep:
    """Operating points of an engine with an exhaust over a list of speeds.

    Parameters
    ----------
    engine : Engine
    exhaust : Exhaust or Network
    rpm : sequence of float
        Speeds [rev/min], 100 to 30000, in any order, no two the same.
    settings : Settings, optional
    threads : int or None
        1 to 256 points at once; None: as many as the executor has workers, else one per core.
    executor : concurrent.futures.Executor or None
        Where to compute: `ProcessPoolExecutor()`, `Client(...).get_executor()` of Dask, or any
        other.  It stays open.  None: a pool of threads.
    store : Store or None
        Folder that keeps every finished point.  What it holds already is not computed again.
    progress : bool
        Show a progress bar.
    name : str or None
        For tables and figures; None: the name of the exhaust.
    fuel_from : Sweep or None
        The fuel flow of this result against speed, interpolated, is delivered whatever air the
        engine draws, as when the exhaust is changed and the fuel metering is not.  None: the
        mixture strength of the engine.
    ambient : Ambient or None
        The weather, for every place that states no air of its own; None: an Ambient().
    pull : Pull or None
        The speeds are passed in a pull, while the walls warm.  None: walls that are solved stand
        where they come to rest after minutes at each speed, which at full load is far hotter than
        a pull of 10 to 20 s leaves them.
    refine : float or None
        Adds speeds by itself, no closer to one another than this [rev/min], 10 to 5000: between
        two speeds where the torque bends or jumps by so much that a straight line may miss it by
        1 % of the largest torque, and, of several systems, where the curve of one crosses that of
        the first.  None: the speeds that were given.
    device : {"cpu", "gpu"}
        What marches the cycles.  "gpu": an NVIDIA GPU, hundreds of points at once, which pays for
        many points and not for a few; `threads` are then the processes that compile networks and
        do what lies between cycles, and with an executor every worker uses the GPU that it sees.
        The numbers agree with those of a processor but for rounding, which grows as far as the
        tolerance allows; a store keeps the points of both apart.

    Returns
    -------
    Sweep
        Speeds that failed are in `sweep.failures` with their error; after Ctrl-C it holds what was
        finished and `sweep.interrupted` is True.

    Raises
    ------
    InputError
        If the description, a speed, the number of threads or the executor is wrong, or there is no
        GPU that can be used.

    Notes
    -----
    Every speed starts cold, from gas at rest, whatever other speeds there are: the list of speeds,
    the number of points at once, the place where they are computed and what the store holds do not
    move a bit of the result.  Where an engine can run in more than one periodic state, this is the
    one that a cold start leads to; `periodic_states` looks for the others.  A pull is one chain,
    whose speeds are computed one after the other, so that it takes as long on any number of
    workers; several systems share these.

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> coarse = ws.Settings(cell_length=0.05, tolerance=0.02)
    >>> sweep = speed_sweep(study.engine, study.exhausts["short collector"], [3000, 4500],
    ...                     settings=coarse, progress=False)
    >>> sweep.torque.shape, sweep[4500].converged
    ((2,), True)
    """
    check_kind("speed_sweep", "exhaust", exhaust, *SYSTEMS)
    name = exhaust.name if name is None else check_text("speed_sweep", "name", name)
    return speed_sweeps(
        [(name, engine, exhaust)], rpm, settings=settings, threads=threads, executor=executor,
        store=store, progress=progress, fuel_from=fuel_from, ambient=ambient, pull=pull,
        refine=refine, device=device,
    )[0]


@guarded
def speed_sweeps(
    systems: Iterable[tuple[str, Engine, Exhaust | Network]],
    rpm: Iterable[float],
    *,
    settings: Settings | None = None,
    threads: int | None = None,
    executor: Executor | None = None,
    store: Store | None = None,
    progress: bool = True,
    fuel_from: Sweep | None = None,
    ambient: Ambient | None = None,
    pull: Pull | Mapping[str, Pull] | None = None,
    refine: float | None = None,
    device: str = "cpu",
) -> list[Sweep]:
    """Speed curves of several systems on one executor.

    Parameters
    ----------
    systems : sequence of (str, Engine, Exhaust or Network)
        With the name of each.
    rpm, settings, threads, executor, store, progress, fuel_from, ambient
        As for `speed_sweep`.
    pull : Pull, mapping of str to Pull, or None
        As for `speed_sweep`; a mapping by name gives some systems a pull of their own, and none to
        the others.
    refine : float or None
        As for `speed_sweep`; all systems get the same speeds.  Not in a pull, whose speeds follow
        one another in time.
    device : {"cpu", "gpu"}
        As for `speed_sweep`.

    Returns
    -------
    list of Sweep
        In the order of `systems`, each as `speed_sweep` returns it.

    Raises
    ------
    InputError
        If a description, a speed, the number of threads or the executor is wrong.

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> coarse = ws.Settings(cell_length=0.05, tolerance=0.02)
    >>> systems = [(name, study.engine, exhaust) for name, exhaust in study.exhausts.items()]
    >>> a, b = speed_sweeps(systems, [3000, 4500], settings=coarse, progress=False)
    >>> ws.compare(a, b).rpm.tolist()
    [3000.0, 4500.0]
    """
    speeds = checked_speeds("speed_sweep", rpm)
    systems = _checked_systems(systems)
    settings = given_settings("speed_sweep", settings)
    check_kind("speed_sweep", "store", store, Store, optional=True)
    fuel = _fuel_flows(fuel_from, speeds)
    place = workplace("speed_sweep", device, executor, threads, settings.scheme)
    systems = list(systems)
    if refine is not None:
        refine = check_number("speed_sweep", "refine", refine, "rev/min", *REFINE_RANGE)
        if pull:
            raise InputError(
                f"speed_sweep: refine = {refine:g} rev/min adds speeds between others, must be "
                "None in a pull, whose speeds follow one another in time."
            )
    options = {"settings": settings, "ambient": ambient, "pull": pull}
    work = {**place._asdict(), "store": store, "progress": progress}
    sweeps = _computed(systems, speeds, fuel, options, work)
    while refine is not None and not any(sweep.interrupted for sweep in sweeps):
        more = speeds_to_add(sweeps, refine)
        if not more:
            break
        fuel |= _fuel_flows(fuel_from, more)
        sweeps = [
            Sweep([*old.points, *new.points], old.failures | new.failures, old.name,
                  new.interrupted)
            for old, new in zip(sweeps, _computed(systems, more, fuel, options, work), strict=True)
        ]
    return sweeps


def _computed(systems, speeds, fuel, options, work):
    """Sweeps of all systems at some speeds."""
    settings, ambient, pull = (options[name] for name in ("settings", "ambient", "pull"))
    pulls = [pull.get(name) if isinstance(pull, Mapping) else pull for name, _, _ in systems]
    steady = [[speed] for speed in speeds]
    runs = [steady if one is None else [speeds] for one in pulls]
    chains = [
        [Task(engine, exhaust, speed, settings, fuel[speed], ambient, one) for speed in run]
        for (_, engine, exhaust), one, own_runs in zip(systems, pulls, runs, strict=True)
        for run in own_runs
    ]
    done = run_chains(chains, **work)
    sweeps, computed = [], iter(done.chains)
    for (name, _, _), own_runs in zip(systems, runs, strict=True):
        found = {
            rpm: outcome
            for run, outcomes in zip(own_runs, computed, strict=False)
            for rpm, outcome in zip(run, outcomes, strict=True)
            if outcome is not None
        }
        sweeps.append(_sweep(found, name, done.interrupted))
    return sweeps


@guarded
def run_study(
    study: Study,
    *,
    threads: int | None = None,
    executor: Executor | None = None,
    store: Store | None = None,
    progress: bool = True,
    refine: float | None = None,
    device: str = "cpu",
) -> dict[str, Sweep]:
    """Speed curves of the base and of all variants of a study.

    Parameters
    ----------
    study : Study
    threads, executor, store, progress, refine, device
        As for `speed_sweep`.

    Returns
    -------
    dict of str to Sweep
        Base first.  Failed speeds are in `sweep.failures`; after Ctrl-C the sweeps hold what was
        finished and `sweep.interrupted` is True.

    Raises
    ------
    InputError
        If the number of threads or the executor is wrong.

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> coarse = ws.Settings(cell_length=0.05, tolerance=0.02)
    >>> study = study.replace(rpm=(3000, 4500), settings=coarse)
    >>> sweeps = run_study(study, progress=False)
    >>> [f"{name}: {sweep[3000].torque:.0f} N m" for name, sweep in sweeps.items()]
    ['short collector: 166 N m', 'long collector: 162 N m']
    """
    check_kind("run_study", "study", study, Study)
    systems = [(name, study.engine_of(name), exhaust) for name, exhaust in study.exhausts.items()]
    sweeps = speed_sweeps(
        systems, study.rpm, settings=study.settings, threads=threads, executor=executor,
        store=store, progress=progress, ambient=study.ambient, pull=study.pulls,
        refine=refine, device=device,
    )
    return dict(zip(study.exhausts, sweeps, strict=True))


def _checked_systems(systems):
    """Triples of name, engine and exhaust."""
    given = sequence("speed_sweeps", "systems", systems, "(name, Engine, Exhaust)")
    for system in given:
        if len(sequence("speed_sweeps", "system", system, "name, Engine, Exhaust")) != 3:
            raise InputError(
                f"speed_sweeps: system = {shown(system)} must be (name, Engine, Exhaust)."
            )
        name, engine, exhaust = system
        check_text("speed_sweeps", "name", name)
        check_kind("speed_sweeps", "engine", engine, Engine)
        check_kind("speed_sweeps", "exhaust", exhaust, *SYSTEMS)
    return given


def _fuel_flows(sweep, speeds):
    """Fuel flow [kg/s] by speed from another result, or None for all."""
    if sweep is None:
        return dict.fromkeys(speeds)
    if not isinstance(sweep, Sweep) or not len(sweep):
        raise InputError(f"speed_sweep: fuel_from = {shown(sweep)} must be a Sweep with points.")
    known = sweep.rpm
    if speeds[0] < known[0] or speeds[-1] > known[-1]:
        raise InputError(
            f"speed_sweep: fuel_from covers {known[0]:g} to {known[-1]:g} rev/min, rpm = "
            f"{speeds[0]:g} to {speeds[-1]:g} rev/min must lie within."
        )
    flows = np.interp(speeds, known, sweep["fuel_mass_flow"])
    return dict(zip(speeds, flows.tolist(), strict=True))


def _sweep(found, name, interrupted):
    """Sweep from outcomes by speed."""
    failures = {
        rpm: outcome.text for rpm, outcome in sorted(found.items()) if isinstance(outcome, Failure)
    }
    points = [outcome for rpm, outcome in found.items() if rpm not in failures]
    return Sweep(points, failures, name, interrupted)


def checked_speeds(owner, rpm):
    """Speeds in increasing order [rev/min]; InputError if one is wrong, twice, or none is given."""
    rpm = sequence(owner, "rpm", rpm, "speeds [rev/min]")
    speeds = [check_number(owner, "rpm", value, "rev/min", *RPM_RANGE) for value in rpm]
    if not speeds:
        raise InputError(f"{owner}: rpm = [] is empty, needs at least one speed in rev/min.")
    twice = next((speed for speed in speeds if speeds.count(speed) > 1), None)
    if twice is not None:
        raise InputError(f"{owner}: rpm holds {twice:g} rev/min more than once.")
    return sorted(speeds)
