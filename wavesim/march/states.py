"""Periodic states of an engine at one speed: what several starts lead to, and how stable it is.

An engine whose cylinders are alike need not run so that they do the same: where every other firing
helps the next but one, the cylinders fall into two groups, and the same engine can then run in
several ways.  A cycle of the march maps the state at crank angle 0, all cells and stores, on that
at 720.  A periodic state is a fixed point of this map, and the eigenvalues of its derivative there
are the Floquet multipliers: a small disturbance ends up multiplied by the largest of them, cycle
after cycle, and dies out if that is below one (Guckenheimer and Holmes, Nonlinear Oscillations,
Dynamical Systems and Bifurcations of Vector Fields (1983), sec. 1.5).

* Multipliers are read off the way in which two marches part that start a millionth apart, one of
  them disturbed: dynamic mode decomposition (Schmid, J. Fluid Mech. 656 (2010) 5).
* A state in which all cylinders do the same may be unstable, so that no march stays in it.  Half
  way between a state and what it is one firing later, with the cylinders renamed, lies one nearer
  to it (what alternates cancels); Newton's method with GMRES finishes (Saad and Schultz, SIAM J.
  Sci. Stat. Comput. 7 (1986) 856), one cycle for every product with the derivative.

All three references from memory.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from wavesim.arrays.compile import compile_network
from wavesim.constants import RPM_RANGE
from wavesim.descriptions.engine import Engine
from wavesim.descriptions.exhaust import Exhaust, network_of
from wavesim.descriptions.network import Network
from wavesim.descriptions.settings import Settings, given_settings
from wavesim.descriptions.symmetry import succession
from wavesim.descriptions.weather import Ambient, as_ambient
from wavesim.errors import SolverError, check_choice, check_number
from wavesim.fields.description import sequence
from wavesim.fields.tabular import Column, Sheet, Tabular
from wavesim.gas.models import EngineGas, PerfectGas, given_gas
from wavesim.guard import guarded
from wavesim.kernels import flat as f
from wavesim.march.advance import march_to, run_cycle
from wavesim.march.burn import check_burn, take_burn
from wavesim.march.cycles import restart_of, rough_run, settle, take_over
from wavesim.march.prolong import prolong
from wavesim.march.run import point_of
from wavesim.march.walltemp import find_solved_walls
from wavesim.results.points import Point
from wavesim.show.quantities import rows_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes

STARTS = ("lower speed", "higher speed", "one cylinder disturbed", "one firing later", "all alike")
TOLERANCE = 1e-6  # to which a state is settled, if the settings ask for no less
CYCLES = 300  # at most until it is
SAME = 5e-4  # share of the mean by which imep_net of any cylinder may differ within one state
LESS = 0.3  # share of the gas that is taken from the disturbed cylinder
SPEED = 600.0  # [m/s] against which velocities count
EVEN_FIRINGS = 80  # half steps towards cylinders that do the same
NEWTON, KRYLOV = 10, 20  # iterations, products with the derivative in each
EXACT = 1e-8  # residual at which Newton's method has found a state
SLIGHT, SEEN = 1e-6, 10  # disturbance for the multipliers, and cycles that it is watched
FAINTEST = 1e-2  # share of the strongest pattern in which a disturbance dies below which is noise
TOO_LARGE = 1e-3  # disturbance that has grown beyond this is no longer small


class _Gas(NamedTuple):
    """What `take_over` needs of a point."""

    restart: dict


@guarded
@dataclass(frozen=True)
class PeriodicState:
    """One way in which an engine can run at a speed.

    Attributes
    ----------
    point : Point
        Its last cycle; `point.cylinders["imep_net"]` tells the cylinders apart.
    starts : tuple of str
        The starts that led here.
    multiplier : complex
        Leading Floquet multiplier, of one cycle: of its size a small disturbance is after one
        cycle what it was before, in the long run.
    alternation : float
        Growth in a cycle of a small disturbance that makes every other firing stronger; NaN with
        an odd number of cylinders.
    shift_of : int or None
        Place of the state that this one is one firing later, if that was found too.
    """

    point: Point
    starts: tuple[str, ...]
    multiplier: complex
    alternation: float
    shift_of: int | None = None

    def __repr__(self) -> str:
        kind = "stable" if self.stable else "unstable"
        return f"<PeriodicState: {self.point.torque:.2f} N m, {kind}>"

    @property
    def stable(self) -> bool:
        """True if a small disturbance dies out."""
        return abs(self.multiplier) < 1.0

    @property
    def imep(self) -> np.ndarray:
        """Net mean effective pressure of each cylinder [Pa], (n_cylinder,)."""
        return self.point.cylinders["imep_net"]

    @property
    def spread(self) -> float:
        """Largest less smallest net mean effective pressure of the cylinders over their mean."""
        return float(np.ptp(self.imep) / self.imep.mean())


@guarded
class PeriodicStates(Tabular):
    """All periodic states that were found at a speed; a sequence of `PeriodicState`.

    Attributes
    ----------
    rpm : float
        Engine speed [rev/min].
    states : tuple of PeriodicState
        That of the cold start first.
    notes : tuple of str
        Starts that led to no state, and why.
    """

    def __init__(
        self, rpm: float, states: Sequence[PeriodicState], notes: Sequence[str] = ()
    ) -> None:
        self.rpm, self.states, self.notes = rpm, tuple(states), tuple(notes)

    def __len__(self) -> int:
        return len(self.states)

    def __iter__(self) -> Iterator[PeriodicState]:
        return iter(self.states)

    def __getitem__(self, place: int) -> PeriodicState:
        return self.states[place]

    def __repr__(self) -> str:
        return f"<PeriodicStates at {self.rpm:g} rev/min: {len(self)}>"

    @property
    def torque_range(self) -> float:
        """Largest less smallest torque of the stable states [N m], 0 if there is one."""
        torques = [state.point.torque for state in self if state.stable]
        return max(torques) - min(torques) if torques else 0.0

    def summary(self) -> str:
        """Readable text: torque, cylinders and stability of each state, and what led to it.

        Returns
        -------
        str
            Torque in N m, mean effective pressures in bar by cylinder number.
        """
        sheet = self._sheet()
        return "\n".join([sheet.caption, rows_text(sheet.rows), *sheet.notes])

    def plot(self, ax: "Axes | None" = None) -> "Axes":
        """Draw the net mean effective pressure of the cylinders of each state.

        Parameters
        ----------
        ax : matplotlib Axes or None
            None makes a new figure.
        """
        from wavesim.show import plots

        return plots.plot_cylinders(
            [state.point for state in self], ax, [self._name(i) for i in range(len(self))]
        )

    def _name(self, i):
        state = self[i]
        kind = "stable" if state.stable else "unstable"
        shift = "" if state.shift_of is None else f", {state.shift_of + 1} one firing later"
        return f"{i + 1}, {kind}{shift}"

    def _sheet(self):
        head = [["", "torque", "imep_net by cylinder", "spread", "multiplier", "alternation",
                 "found from"], ["", "N m", "bar", "%", "a cycle", "a cycle", ""]]
        body = [
            [self._name(i), f"{state.point.torque:.2f}",
             "  ".join(f"{p / 1e5:.3f}" for p in state.imep), f"{100.0 * state.spread:.2f}",
             f"{abs(state.multiplier):.3f}", f"{state.alternation:.3f}", ", ".join(state.starts)]
            for i, state in enumerate(self)
        ]
        found = f"{len(self)} periodic state{'s' * (len(self) != 1)} at {self.rpm:g} rev/min"
        return Sheet([*head, *body], found, self.notes, heads=2)

    def _columns(self):
        yield Column("torque", "N m", np.array([state.point.torque for state in self]))
        for n in range(self[0].imep.size):
            yield Column(f"imep_net {n + 1}", "Pa", np.array([state.imep[n] for state in self]))
        yield Column("spread", "1", np.array([state.spread for state in self]))
        yield Column("multiplier", "1", np.array([abs(state.multiplier) for state in self]))
        yield Column("alternation", "1", np.array([state.alternation for state in self]))
        yield Column("stable", "", [state.stable for state in self])

    def _meanings(self):
        return [f"periodic states at {self.rpm:g} rev/min", *self.notes]


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
        Those that the starts led to, stable, and that in which all cylinders do the same, stable or
        not.  The last two starts need cylinders that are alike, else they are left out.

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
    described = network_of(engine, exhaust)
    settings = settings.replace(
        tolerance=min(settings.tolerance, TOLERANCE),
        max_cycles=max(settings.max_cycles, CYCLES),
    )
    gas = gas or EngineGas(engine.fuel, engine.air_fuel_lambda)
    check_burn(engine, gas)
    bench = _Bench(engine, described, settings, gas, as_ambient(ambient))
    found = Search(bench, rpm)
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

    engine: object
    described: object
    settings: object
    gas: object
    ambient: object
    network: object = field(init=False)

    def __post_init__(self):
        self.network = self.described.in_weather(self.ambient)

    def model(self, rpm):
        """(model, walls) before the first cycle."""
        model = compile_network(
            self.network, self.gas, self.settings, engine=self.engine, rpm=rpm,
            ambient=self.ambient, samples=round(720.0 / self.settings.sample_deg),
        )
        return model, find_solved_walls(model)

    def settled(self, model, walls, rpm, start, settings=None):
        """The Run of a model."""
        cycles = settle(model, walls, settings or self.settings, rpm=rpm, fuel_flow=None, stop=None)
        return Run(model, walls, cycles, [start])

    def cold(self, rpm, start):
        """The Run of a cold start, as `run_point` makes it."""
        demand = {"rpm": rpm, "fuel_flow": None, "stop": None}
        rough = rough_run(
            self.network, self.gas, self.engine, self.settings, self.ambient, None, demand
        )
        model, walls = self.model(rpm)
        if rough is not None:
            prolong(rough.model, model)
            take_burn(model, rough.model)
        return self.settled(model, walls, rpm, start)

    def copied(self, run, rpm):
        """(model, walls) with the gas and the walls of a Run, which may be of another speed."""
        model, walls = self.model(rpm)
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
        self.next = succession(bench.engine, bench.network)
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
            point_of(self.bench.described, run.model, run.walls, run.cycles, self.rpm)
            for run in self.runs
        ]
        found = []
        for i, (run, point) in enumerate(zip(self.runs, points, strict=True)):
            multiplier, alternation = _stability(CycleMap(run.model))
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
        _fill_less(model, {1: LESS})
        return self.bench.settled(model, walls, self.rpm, "one cylinder disturbed")

    def _from_shifted(self):
        model, walls = self.bench.copied(self.runs[0], self.rpm)
        model.state.plan[:, f.PLANNED] = self.runs[0].model.state.plan[:, f.PLANNED]
        CycleMap(model).fire(_Renaming(model, self.next))
        return self.bench.settled(model, walls, self.rpm, "one firing later")

    def _all_alike(self):
        """A state found by Newton's method; None if there is none near."""
        model, walls = self.bench.copied(self.runs[0], self.rpm)
        model.state.plan[:, f.PLANNED] = self.runs[0].model.state.plan[:, f.PLANNED]
        cycle = CycleMap(model)
        renaming = _Renaming(model, self.next)
        before = None
        for _ in range(EVEN_FIRINGS):
            state = cycle.state()
            cycle.fire(renaming)
            after = cycle.state()
            cycle.set(0.5 * (state + after))
            if before is not None and np.linalg.norm(after - state) < EXACT:
                break
            before = state
        if not _newton(cycle):
            self.notes.append("No state in which all cylinders do the same was found.")
            return None
        few = self.bench.settings.replace(min_cycles=3, max_cycles=3)
        return self.bench.settled(model, walls, self.rpm, "all alike", few)


def _imep(model):
    """Net mean effective pressure of each cylinder in the last cycle [Pa]."""
    work = model.record.cyl_sum[:, f.WORK_0 : f.WORK_3 + 1].sum(axis=1)
    return work * len(work) / model.engine.displacement


def _fill_less(model, shares):
    """Take a share of its gas from each cylinder, by number; what is left keeps its temperature."""
    for number, share in shares.items():
        row = model.stores[f"cylinder {number}"]
        model.state.store[row, [f.SM, f.SE, f.SF, f.SB]] *= 1.0 - share


# --- the map of a cycle ---------------------------------------------------------------------------


class _Renaming:
    """Rows of all arrays after the cylinders have changed places, one firing later."""

    def __init__(self, model, following):
        self.cells = np.arange(model.state.T.size)
        for name, (lo, hi) in model.ducts.items():
            self.cells[lo:hi] = np.arange(*model.ducts[following.ducts[name]])
        self.ends = np.arange(model.state.end.shape[0])
        for (duct, side), row in model.ends.items():
            self.ends[row] = model.ends[following.ducts[duct], side]
        cylinders = {f"cylinder {a}": f"cylinder {b}" for a, b in following.cylinders.items()}
        names = following.nodes | cylinders
        self.stores = np.arange(model.state.store.shape[0])
        for name, row in model.stores.items():
            self.stores[row] = model.stores[names[name]]
        self.cylinders = np.array([following.cylinders[n + 1] - 1 for n in range(len(cylinders))])
        self.holes = np.arange(model.state.hole_u.size)
        first = {annulus: (hole, count) for hole, count, _, annulus in model.net.hole_wall}
        for annulus, (hole, count) in first.items():
            other = first[self.cells[annulus]][0]
            self.holes[hole : hole + count] = np.arange(other, other + count)


class CycleMap:
    """A cycle of a model as a map of its state on itself; walls and steps stay as they are.

    A state is one vector.  Cells count by their share of the volume and relative to the gas that
    they hold, a store like a hundredth of all cells; what the march remembers beside the gas,
    such as the faces of the last step, hardly counts.
    """

    def __init__(self, model):
        self.model = model
        state = model.state
        self.arrays = [state.U, state.T, state.end, state.store, state.cyl, state.hole_u,
                       model.work.W[f.WARMED]]
        self.sizes = np.concatenate([size.ravel() for size in self._sizes()])
        self.counts = self.sizes < 1e5  # what is gas

    def _sizes(self):
        state, net = self.model.state, self.model.net
        rho = state.U[f.R]
        inside = np.zeros(rho.size, dtype=bool)
        for lo, hi in self.model.ducts.values():
            inside[lo:hi] = True
        volume = np.where(inside, net.cells[f.VOL], 0.0)
        per_share = np.sqrt(volume.sum() / np.where(inside, volume, 1e30))
        heat = np.maximum(np.abs(state.U[f.E]), 1e5 / 0.4)
        cells = per_share * np.stack([rho, rho * SPEED, heat, rho, rho])
        store = np.full_like(state.store, 1e9)
        held = net.store_int[:, f.STORE_KIND] != f.AMBIENT
        mass = state.store[held, f.SM]
        for column, unit in ((f.SM, 1.0), (f.SE, 0.5 * SPEED**2), (f.SF, 1.0), (f.SB, 1.0),
                             (f.SX, SPEED), (f.SY, SPEED), (f.SZ, SPEED)):
            store[held, column] = 10.0 * mass * unit
        return (
            np.where(inside, cells, 1e9), np.full_like(state.T, 1e9),
            1e7 * np.maximum(np.abs(state.end), 1.0), store,
            1e6 * np.maximum(np.abs(state.cyl), 1e-6), np.full_like(state.hole_u, 1e6),
            np.full_like(state.T, 1e9),
        )

    def state(self):
        """The state now."""
        return np.concatenate([a.ravel() for a in self.arrays]) / self.sizes

    def set(self, state):
        """Put a state into the model."""
        values, at = state * self.sizes, 0
        for array in self.arrays:
            array[...] = values[at : at + array.size].reshape(array.shape)
            at += array.size
        self.model.work.store[:, f.N_ANGLE] = np.nan  # known volumes belong to another angle

    def __call__(self, state=None):
        """The state a cycle later."""
        if state is not None:
            self.set(state)
        run_cycle(self.model, self.model.settings, 1, None, sampled=False)
        self.model.state.plan[:, f.FASTEST] = 0.0
        return self.state()

    def fire(self, renaming):
        """March to the next firing and rename the cylinders."""
        model = self.model
        model.state.clock[:] = 0.0
        model.record.interval[:] = 0.0
        for sums in (model.record.end_sum, model.record.cyl_sum, model.record.wall):
            sums[:] = 0.0
        interval = 720.0 / len(renaming.cylinders)
        march_to(model, interval / model.net.options[f.OMEGA_DEG],
                 model.settings.max_steps_per_cycle)
        U, T, end, store, cyl, hole_u, warmed = self.arrays
        U[:] = U[:, renaming.cells]
        end[:] = end[renaming.ends]
        store[:] = store[renaming.stores]
        cyl[:] = cyl[renaming.cylinders]
        hole_u[:] = hole_u[renaming.holes]
        for array in (T, warmed):
            array[:] = array[renaming.cells]
        model.state.plan[:, f.FASTEST] = 0.0
        model.work.store[:, f.N_ANGLE] = np.nan


# --- fixed points and multipliers -----------------------------------------------------------------


def _newton(cycle):
    """Find a fixed point near the present state, and leave the model there; False if it fails."""
    state = cycle.state()
    for _ in range(NEWTON):
        after = cycle(state)
        off = after - state
        size = np.linalg.norm(off)
        if not np.isfinite(size):
            return False
        if size < EXACT:
            cycle.set(state)
            return True

        def derivative(direction, state=state, after=after):
            return (cycle(state + SLIGHT * direction) - after) / SLIGHT - direction

        state = state + _gmres(derivative, -off)
    return False


def _gmres(product, right):
    """Vector that `product` turns into `right`, to 1 %."""
    length = np.linalg.norm(right)
    basis, H = [right / length], np.zeros((KRYLOV + 1, KRYLOV))
    for j in range(KRYLOV):
        vector = product(basis[j])
        for _ in range(2):
            for i in range(j + 1):
                share = basis[i] @ vector
                H[i, j] += share
                vector = vector - share * basis[i]
        H[j + 1, j] = np.linalg.norm(vector)
        target = np.zeros(j + 2)
        target[0] = length
        found = np.linalg.lstsq(H[: j + 2, : j + 1], target, rcond=None)[0]
        left = np.linalg.norm(H[: j + 2, : j + 1] @ found - target)
        if left < 1e-2 * length or H[j + 1, j] < 1e-12:
            break
        basis.append(vector / H[j + 1, j])
    return np.array(basis[: j + 1]).T @ found


def _stability(cycle):
    """(leading multiplier, growth of an alternation in a cycle) at the state of the model."""
    state, plan = cycle.state(), cycle.model.state.plan.copy()
    firing = np.argsort(cycle.model.net.cyl_par[:, f.PHASE])
    count = firing.size
    rank = np.empty(count)
    rank[firing] = np.arange(count)
    some = np.cos(1.0 + 2.0 * np.arange(count))  # no two cylinders the same, no symmetry
    every_other = np.where(rank % 2 == 0, 1.0, -1.0)
    plain = _watched(cycle, state)
    apart = _watched(cycle, state, some)
    multiplier = _leading(_differences(apart, plain))
    growth = np.nan
    if count % 2 == 0:
        apart = _watched(cycle, state, every_other)
        growth = abs(_leading(_differences(apart, plain)))
    cycle.set(state)
    cycle.model.state.plan[:] = plan
    return multiplier, float(growth)


def _watched(cycle, state, pattern=None):
    """States after each cycle from a start disturbed by a pattern of the cylinders."""
    cycle.set(state)
    if pattern is not None:
        _fill_less(cycle.model, {n + 1: -SLIGHT * share for n, share in enumerate(pattern)})
    return [cycle()[cycle.counts] for _ in range(SEEN)]


def _differences(apart, plain):
    """How far two marches are apart after each cycle, as columns, while that is little."""
    columns = [a - b for a, b in zip(apart, plain, strict=True)]
    small = [np.linalg.norm(column) < TOO_LARGE for column in columns]
    last = small.index(False) if False in small else len(small)
    return np.array(columns[:max(3, last)]).T


def _leading(columns):
    """Leading eigenvalue of the map that turns each column into the next.

    The first is left out, for much in it dies at once.
    """
    columns = columns[:, 1:] if columns.shape[1] > 4 else columns
    scale = np.linalg.norm(columns[:, :-1], axis=0)
    if not scale.min() > 0.0:
        return 0.0j
    before, after = columns[:, :-1] / scale, columns[:, 1:] / scale
    left, sizes, right = np.linalg.svd(before, full_matrices=False)
    rank = int((sizes > FAINTEST * sizes[0]).sum())
    small = left[:, :rank].T @ after @ right[:rank].T / sizes[:rank]
    values = np.linalg.eigvals(small)
    return complex(values[np.argmax(np.abs(values))])
