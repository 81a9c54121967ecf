"""Periodic states of an engine at one speed: what several starts lead to, and how stable it is.

An engine whose cylinders are alike need not run so that they do the same: where every other firing
helps the next but one, the cylinders fall into two groups, and the same engine can then run in
several ways.  A state in which all cylinders do the same may be unstable, so that no march stays in
it.  Half way between a state and what it is one firing later, with the cylinders renamed, lies one
nearer to it (what alternates cancels); Newton's method finishes.  `cyclemap` says how, and how the
multipliers are found.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from wavesim.constants import RPM_RANGE
from wavesim.descriptions.engine import Engine
from wavesim.descriptions.exhaust import Exhaust, network_of
from wavesim.descriptions.network import Network
from wavesim.descriptions.settings import Settings, given_settings
from wavesim.descriptions.symmetry import succession
from wavesim.descriptions.weather import Ambient
from wavesim.errors import SolverError, check_choice, check_number
from wavesim.fields.description import sequence
from wavesim.gas.models import EngineGas, PerfectGas, given_gas
from wavesim.guard import guarded
from wavesim.kernels import flat as f
from wavesim.march.cyclemap import EXACT, CycleMap, Renaming, fill_less, newton, stability
from wavesim.march.cycles import restart_of, rough_run, settle, take_over
from wavesim.march.rig import rig_of
from wavesim.march.run import point_of
from wavesim.results.states import PeriodicState, PeriodicStates

STARTS = ("lower speed", "higher speed", "one cylinder disturbed", "one firing later", "all alike")
TOLERANCE = 1e-6  # to which a state is settled, if the settings ask for no less
CYCLES = 300  # at most until it is
SAME = 5e-4  # share of the mean by which imep_net of any cylinder may differ within one state
LESS = 0.3  # share of the gas that is taken from the disturbed cylinder
EVEN_FIRINGS = 80  # half steps towards cylinders that do the same


class _Gas(NamedTuple):
    """What `take_over` needs of a point."""

    restart: dict


@guarded
def periodic_states(
    engine: Engine,
    exhaust: Exhaust | Network,
    rpm: float,
    *,
    settings: Settings | None = None,
    gas: PerfectGas | EngineGas | None = None,
    ambient: Ambient | None = None,
    step: float = 0.05,
    starts: Sequence[str] = STARTS,
) -> PeriodicStates:
    """Look for all periodic states of an engine at one speed, and tell how stable each is.

    Parameters
    ----------
    engine : Engine
    exhaust : Exhaust or Network
    rpm : float
        Engine speed [rev/min], 100 to 30000.
    settings : Settings, optional
        The tolerance is 1e-6 or what they ask for, if that is less.
    gas, ambient
        As for `run_point`.
    step : float
        How far the neighbouring speeds lie below and above, as a share of `rpm`, 0.001 to 0.3.
    starts : sequence of str
        What is tried beside the cold start: the gas of a "lower speed" and of a "higher speed",
        the first state with "one cylinder disturbed", which loses a third of its gas, the first
        state "one firing later", and the state in which the cylinders are "all alike".  Default:
        all of them.

    Returns
    -------
    PeriodicStates
        A sequence of `PeriodicState`, with `summary()` and `plot()`: those that the starts led to,
        stable, and that in which all cylinders do the same, stable or not.  The last two starts
        need cylinders that are alike, else they are left out.

    Raises
    ------
    InputError
        If something in the description is wrong.
    SolverError
        If the march from the cold start turns unphysical.

    Notes
    -----
    No search can promise that there are no others.  Multipliers and unstable states belong to the
    wall temperatures and the time steps of the state from which they were found.

    Examples
    --------
    >>> import wavesim as ws
    >>> study, coarse = ws.load(ws.demo_path("collector")), ws.Settings(cell_length=0.03)
    >>> long = study.exhausts["long collector"]
    >>> found = ws.periodic_states(study.engine, long, 3500, settings=coarse, starts=["all alike"])
    >>> len(found), found[0].starts, found[0].stable
    (1, ('cold', 'all alike'), True)
    """
    found = search(engine, exhaust, rpm, settings, starts, step, gas, ambient)
    return PeriodicStates(found.rpm, found.states(), found.notes)


def search(engine, exhaust, rpm, settings=None, starts=STARTS, step=0.05, gas=None, ambient=None):
    """The `Search` of `periodic_states`, whose arguments these are, after all starts."""
    rpm = check_number("periodic_states", "rpm", rpm, "rev/min", *RPM_RANGE)
    step = check_number("periodic_states", "step", step, "1", 0.001, 0.3)
    starts = [
        check_choice("periodic_states", "starts", name, STARTS)
        for name in sequence("periodic_states", "starts", starts, "names of starts")
    ]
    settings = given_settings("periodic_states", settings)
    gas = given_gas("periodic_states", gas)
    settings = settings.replace(
        tolerance=min(settings.tolerance, TOLERANCE),
        max_cycles=max(settings.max_cycles, CYCLES),
    )
    rig = rig_of(engine, network_of(engine, exhaust), settings, gas, ambient)
    found = Search(_Bench(rig), rpm)
    found.begin(step, starts)
    return found


@dataclass
class Run:
    """A settled model and what it was settled from."""

    model: object
    walls: list
    cycles: object
    starts: list


@dataclass
class _Bench:
    """One engine and network, marched at any speed until the cycle repeats itself."""

    rig: object

    def settled(self, model, walls, rpm, start, settings=None, firm=False):
        """The Run of a model; `firm` if its plan of steps is to stay."""
        cycles = settle(
            model, walls, settings or self.rig.settings, rpm=rpm, fuel_flow=None, stop=None,
            firm=firm,
        )
        return Run(model, walls, cycles, [start])

    def cold(self, rpm, start):
        """The Run of a cold start, as `run_point` makes it."""
        demand = {"rpm": rpm, "fuel_flow": None, "stop": None}
        rough = rough_run(self.rig, None, demand)
        model, walls = self.rig.at(rpm)
        if rough is not None:
            self.rig.prolong(rough.model, model)
        return self.settled(model, walls, rpm, start)

    def copied(self, run, rpm):
        """(model, walls) with the gas and the walls of a Run, which may be of another speed."""
        model, walls = self.rig.at(rpm)
        take_over(model, _Gas(restart_of(run.model)))
        return model, walls


class Search:
    """The starts, and the states that they led to.

    Attributes
    ----------
    runs : list of Run
        One for each state.
    notes : list of str
        What led to none.
    """

    def __init__(self, bench, rpm):
        self.bench, self.rpm = bench, rpm
        self.next = succession(bench.rig.engine, bench.rig.network)
        self.runs, self.notes = [], []

    def begin(self, step, starts):
        """Try the cold start and others by name."""
        self._note(self.bench.cold(self.rpm, "cold"))
        low, high = (1.0 - step) * self.rpm, (1.0 + step) * self.rpm
        known = dict(zip(STARTS, (
            lambda: self._from_speed("lower speed", low),
            lambda: self._from_speed("higher speed", high),
            self._from_disturbed, self._from_shifted, self._all_alike,
        ), strict=True))
        for name in starts:
            if self.next is not None or name not in STARTS[-2:]:
                self._try(name, known[name])

    def states(self):
        """What was found, with its stability."""
        points = [
            point_of(self.bench.rig, run.model, run.walls, run.cycles, self.rpm)
            for run in self.runs
        ]
        found = []
        for i, (run, point) in enumerate(zip(self.runs, points, strict=True)):
            multiplier, alternation = stability(CycleMap(run.model))
            found.append(PeriodicState(
                point, tuple(run.starts), multiplier, alternation, self._shift_of(i, points)
            ))
        return found

    def _try(self, name, begin):
        try:
            run = begin()
        except SolverError as error:
            self.notes.append(f"The start {name!r} failed: {error}")
        else:
            if run is not None:
                self._note(run)

    def _note(self, run):
        """Keep a run, or only its start where the state is known."""
        imep = _imep(run.model)
        for known in self.runs:
            if np.abs(imep - _imep(known.model)).max() < SAME * np.abs(imep).mean():
                known.starts += run.starts
                return
        self.runs.append(run)

    def _shift_of(self, i, points):
        """Place of an earlier state that comes out of this one if cylinders are renamed."""
        if self.next is None:
            return None
        imep = points[i].cylinders["imep_net"]
        for _ in imep[1:]:
            imep = imep[[self.next.cylinders[n + 1] - 1 for n in range(imep.size)]]
            for j in range(i):
                other = points[j].cylinders["imep_net"]
                if np.abs(imep - other).max() < 4.0 * SAME * np.abs(other).mean():
                    return j
        return None

    def _from_speed(self, name, rpm):
        neighbour = self.bench.cold(rpm, name)
        model, walls = self.bench.copied(neighbour, self.rpm)
        return self.bench.settled(model, walls, self.rpm, name)

    def _from_disturbed(self):
        model, walls = self.bench.copied(self.runs[0], self.rpm)
        fill_less(model, {1: LESS})
        return self.bench.settled(model, walls, self.rpm, "one cylinder disturbed")

    def _from_shifted(self):
        model, walls = self.bench.copied(self.runs[0], self.rpm)
        model.state.plan[:, f.PLANNED] = self.runs[0].model.state.plan[:, f.PLANNED]
        CycleMap(model).fire(Renaming(model, self.next))
        return self.bench.settled(model, walls, self.rpm, "one firing later")

    def _all_alike(self):
        """A state found by Newton's method; None if there is none near."""
        model, walls = self.bench.copied(self.runs[0], self.rpm)
        model.state.plan[:, f.PLANNED] = self.runs[0].model.state.plan[:, f.PLANNED]
        cycle = CycleMap(model)
        renaming = Renaming(model, self.next)
        before = None
        for _ in range(EVEN_FIRINGS):
            state = cycle.state()
            cycle.fire(renaming)
            after = cycle.state()
            cycle.set(0.5 * (state + after))
            if before is not None and np.linalg.norm(after - state) < EXACT:
                break
            before = state
        if not newton(cycle):
            self.notes.append("No state in which all cylinders do the same was found.")
            return None
        found, few = cycle.state(), self.bench.rig.settings.replace(min_cycles=3, max_cycles=3)
        run = self.bench.settled(model, walls, self.rpm, "all alike", few, firm=True)
        cycle.set(found)  # from which an unstable march has begun to depart
        return run


def _imep(model):
    """Net mean effective pressure of each cylinder in the last cycle [Pa]."""
    work = model.record.cyl_sum[:, f.WORK_0 : f.WORK_3 + 1].sum(axis=1)
    return work * len(work) / model.engine.displacement
