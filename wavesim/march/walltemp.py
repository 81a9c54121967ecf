"""Wall temperatures that converge together with the engine cycle.

During a cycle the march collects for every cell the conductance between gas and wall and the heat
passed.  Their quotient is the gas temperature that the wall has felt; the balance of that inner
side against the outside (`wavesim.descriptions.walls`) gives the temperature for the next cycle.
The heat capacity of the wall is far too large to follow the cycle: its temperature is one number.

In a pull the balance gives way to the warming of the metal since the speed before (`march/pull.py`
says from where, `wavesim.descriptions.warming` how), with the gas side of that speed at the
beginning and that of the last cycle at the end.

Fibres of a packing are so fine that the gas between them has their temperature at once; what they
take up is what gas that comes through the holes brings along, which no conductance of the fibres
tells.  In a pull they warm as the metal does.  See `SolvedPacking`.
"""

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from wavesim.descriptions.nodes import Perforate
from wavesim.descriptions.pull import WallSection, WallsLeft
from wavesim.descriptions.walls import Sections, sections_of, wall_balances
from wavesim.descriptions.warming import Warming, metal_of, wall_warming
from wavesim.kernels import flat as f

START_COEFFICIENT = 200.0  # [W/m2/K] gas to wall before the first cycle
START_GAS = 1050.0  # [K]
#: Heat from a packing outward: conductivity of fibre and gas together [W/m/K] (order of handbook
#: values for mineral wool at 600 K, from memory), and the outer coefficient of a warm case.
PACKING_CONDUCTIVITY = 0.08
CASE_COEFFICIENT = 12.0  # [W/m2/K] still air and radiation
LARGEST_STEP = 0.1  # share of the temperature by which fibres change from cycle to cycle
UNSURE = 0.1  # share of the heat for the gas that fibres hold which may be misjudged
TURNS = 2  # so often fibres turn back before every change of theirs waits for the one before


class Since(NamedTuple):
    """Cells of a wall at the speed before in a pull, or where it starts.

    Attributes
    ----------
    metal : ndarray
        Temperature of the metal [K].
    coefficient, felt : ndarray or None
        Gas side: heat transfer coefficient [W/m2/K] and gas temperature [K]; None at the first
        speed.
    duration : float
        Time since then [s].
    pause : float
        Time before that with the engine off [s].
    """

    metal: np.ndarray
    coefficient: np.ndarray | None
    felt: np.ndarray | None
    duration: float
    pause: float


@dataclass(eq=False)
class WallGroup:
    """All cells of a model that share one Wall; they are solved together.

    Attributes
    ----------
    sections : Sections
        Their wall and the bore of each cell [m].
    cells : ndarray of int
        Rows on the cell axis.
    surface : ndarray
        Wetted wall area of each cell [m2].
    since : Since or None
        In a pull: what it was at the speed before.
    coefficient, felt : ndarray
        Gas side of the last solution.
    state : WallState, Warming or None
        Last solution.
    """

    sections: Sections
    cells: np.ndarray
    surface: np.ndarray
    coefficient: np.ndarray
    felt: np.ndarray
    since: Since | None = None
    state: object = None


@dataclass
class SolvedWall:
    """One part of a duct, with its share of a group; it has what the group has, of its cells.

    Attributes
    ----------
    duct : str
        Name of the duct.
    piece : int
        Which of its parts.
    position : ndarray
        Middle of each cell from the start of the duct [m].
    length : float
        Of a cell [m].
    group : WallGroup
    own : slice
        Its share of the arrays of the group.
    """

    duct: str
    piece: int
    position: np.ndarray
    length: float
    group: WallGroup | None = None
    own: slice | None = None

    @property
    def wall(self):
        return self.group.sections.wall

    @property
    def cells(self):
        return self.group.cells[self.own]

    @property
    def bore(self):
        return self.group.sections.bore[self.own]

    @property
    def surface(self):
        return self.group.surface[self.own]

    @property
    def coefficient(self):
        return self.group.coefficient[self.own]

    @property
    def felt(self):
        return self.group.felt[self.own]

    @property
    def state(self):
        return type(self.group.state)(*(values[self.own] for values in self.group.state))


class FibresSince(NamedTuple):
    """Fibres of a packing at the speed before in a pull, or where it starts.

    Attributes
    ----------
    fibres : ndarray
        Their temperature [K].
    gain : ndarray or None
        Heat that they took up less what they passed on [W], by cell; None at the first speed.
    duration : float
        Time since then [s].
    pause : float
        Time before that with the engine off [s].
    """

    fibres: np.ndarray
    gain: np.ndarray | None
    duration: float
    pause: float


@dataclass
class SolvedPacking:
    """The fibres in an annulus.

    Their temperature is to be such that the heat that they take up passes to the case.  It is found
    by Newton's method.  Gas that comes into a cell of the annulus, through the holes or from the
    cells beside, brings its heat along and leaves with the temperature of the fibres there; gas
    that comes into a cell of the core mixes with what flows there.  So the masses that have gone
    each way in the cycle tell what a change of the temperature in one cell does to all others.
    What the fibres give to the gas that they hold, when they have just been made warmer, does not
    count.  In a large case that is ten times what the change does to the balance, and not all of
    it: the gas driven out for want of room warms fibres elsewhere, or keeps cold air from coming in
    at the tail.  Newton's full steps then swing from cycle to cycle, in some systems for ever.  So
    a share `UNSURE` of the gas held stands against each step as inertia; fibres that would turn
    back wait for a cycle in which nothing of the last change is left; and those that have turned
    `TURNS` times always wait.  None of this moves fibres that are in balance.

    In a pull the heat that is left over warms them.  With T0 and g0 of the speed before, a time t
    ago, and the heat capacity C of a cell

        C (T - T0)/t = (1 - s) g0 + s g(T),    s = 1/(1 - exp(-z)) - 1/z,    z = r t/C,

    r being what a kelvin more takes from g: exact for a cell by itself whose gas stays, and the
    balance without a pull where t is long (exponential fitting; Liniger and Willoughby, SIAM J.
    Numer. Anal. 7 (1970) 47, from memory).

    Attributes
    ----------
    duct : str
        Name of the annulus.
    position : ndarray
        Middle of each cell from the start of the duct [m].
    length : float
        Of a cell [m].
    cells, core : slice
        Of the annulus and of the core, on the cell axis.
    holes : slice
        Of the wall between them.
    loss : ndarray
        Heat to what lies beyond [W/K] of each cell.
    beyond : ndarray
        Temperature [K] of the air outside, or of the case where it is given.
    capacity : ndarray
        Of the fibres of each cell [J/K].
    since : FibresSince or None
        In a pull: what they were at the speed before.
    changed : ndarray or None
        Change of the temperatures [K] after the last cycle; None before the first, which tells
        more of the start than of the fibres.
    gain : ndarray or None
        Heat that they took up in the last cycle less what they passed on [W].
    turns : int
        How often a change would have undone the one before.
    """

    duct: str
    position: np.ndarray
    length: float
    cells: slice
    core: slice
    holes: slice
    loss: np.ndarray
    beyond: np.ndarray
    capacity: np.ndarray
    since: FibresSince | None = None
    changed: np.ndarray | None = None
    gain: np.ndarray | None = None
    turns: int = 0

    def look_back(self, model, since):
        """Set the fibres to what they were at the speed before, or to the end of a pause."""
        fade = np.exp(-self.loss / self.capacity * since.pause)
        rested = self.beyond + (since.fibres - self.beyond) * fade
        self.since = since._replace(fibres=rested, pause=0.0)
        model.net.cells[f.WALL, self.cells] = rested

    def update(self, model, cycle_time):
        """Give the fibres new temperatures after a cycle."""
        if self.changed is None:
            self.changed, self.gain = 0.0, np.zeros_like(self.loss)
            return
        T = model.net.cells[f.WALL, self.cells]
        rate = float(model.gas.cp(T.mean(), 0.0, 1.0)) / cycle_time
        held = rate * model.net.cells[f.VOL, self.cells] * model.state.U[f.R, self.cells]
        taken = -model.record.wall[f.GAIN, self.cells] / cycle_time + held * self.changed
        left = self.gain = taken - self.loss * (T - self.beyond)
        ways = rate * model.record.ways[:, self.holes]
        slopes, own = self._slopes(ways), np.diag_indices(T.size)
        if self.since is not None:
            left, inertia = self._in_a_pull(T, left, ways)
            if inertia is None:  # no time has passed
                self.changed = 0.0
                return
            slopes[own] -= inertia
        slopes[own] -= np.minimum(UNSURE * held, -slopes[own])  # steps of half at least
        step = np.linalg.solve(slopes, np.append(-left, np.zeros(T.size)))[: T.size]
        if self._waits(step):
            self.changed = 0.0
            return
        self.changed = np.clip(step, -LARGEST_STEP * T, LARGEST_STEP * T)
        T += self.changed

    def _waits(self, step):
        """True if the change before is to die away first."""
        if not np.any(self.changed):
            return False
        turns = bool(np.sum(step * self.changed) < 0.0)
        self.turns += turns
        return turns or self.turns >= TURNS

    def _in_a_pull(self, T, left, ways):
        """What is left over beside the warming of the fibres [W], and their inertia [W/K]."""
        before, passed, duration, _ = self.since
        if passed is None or duration == 0.0:
            return left, None
        z = np.clip((ways[1] + self.loss) * duration / self.capacity, 1e-3, 1e12)
        share = 1.0 / -np.expm1(-z) - 1.0 / z
        inertia = self.capacity / (share * duration)
        return left + (1.0 - share) / share * passed - inertia * (T - before), inertia

    def _slopes(self, ways):
        """What a kelvin more in each cell adds to the heat left over in each [W/K], (2 n, 2 n).

        The cells of the annulus come first, then those of the core, in which no heat may be left.
        `ways` are as in `Record.ways`, in watts per kelvin that the gas carries along.
        """
        out, into, core_on, core_back, on, back = ways
        n = out.size
        slopes = np.zeros((2 * n, 2 * n))
        between = np.zeros(1)  # the last cell of the annulus and the first of the core
        _diagonal(slopes, -1)[:] = np.concatenate((on[:-1], between, core_on[:-1]))
        _diagonal(slopes, 1)[:] = np.concatenate((back[:-1], between, core_back[:-1]))
        _diagonal(slopes, n)[:], _diagonal(slopes, -n)[:] = out, into
        own = -np.concatenate((on, core_on))
        own[1:n] -= back[:-1]
        own[n + 1 :] -= core_back[:-1]
        own[n] -= core_back[0]  # out of the upper end, much like the next cell
        own[:n] -= into + self.loss
        own[n:] -= out
        own -= 1e-6 * ways.max() + 1e-12  # where nothing moves
        _diagonal(slopes, 0)[:] = own
        return slopes


def _diagonal(square, above):
    """What stands so many columns to the right of the diagonal of a square, as a view."""
    n = len(square)
    first = above if above >= 0 else -above * n
    return square.reshape(-1)[first :: n + 1][: n - abs(above)]


def find_solved_walls(model, moment=None):
    """All walls of a model whose temperature is to be solved, with a first guess applied.

    In a pull, at a `Moment`, the guess is what the walls become with the gas of the speed before.
    """
    walls = lay_walls(model)
    guess(model, walls, moment)
    return walls


def lay_walls(model):
    """All walls of a model whose temperature is to be solved, without temperatures yet."""
    found, alike = [], {}
    for name, duct in model.network.ducts.items():
        if all(part.wall is None for part in duct.parts):
            continue
        lo, _ = model.ducts[name]
        centres = model.centres(name)
        part_of = duct.part_index(centres)
        for i, part in enumerate(duct.parts):
            mine = np.flatnonzero(part_of == i)
            if part.wall is None or mine.size == 0:
                continue
            found.append(SolvedWall(name, i, centres[mine], model.dx[name]))
            share = found[-1], lo + mine, duct.diameter_at(centres[mine])
            alike.setdefault(part.wall, []).append(share)
    for wall, shares in alike.items():
        _group(model, wall, *zip(*shares, strict=True))
    model.packings = _find_packings(model)
    return found


def guess(model, walls, moment=None):
    """Give walls that have no temperatures the first ones, and all of them to the gas."""
    for group in _groups(walls):
        if moment is not None:
            befores = [_look_back(one, moment.since(one)) for one in walls if one.group is group]
            metal, h, felt, *_ = zip(*befores, strict=True)
            metal, h, felt = map(np.concatenate, (metal, h, felt))
            group.since = Since(metal, h, felt, *befores[0][3:])
            group.coefficient, group.felt = h, felt
    _solve([group for group in _groups(walls) if group.state is None])
    lay_on(model, walls)
    if moment is not None:
        for packing in model.packings:
            packing.look_back(model, moment.fibres_since(packing, model.ambient.temperature))


def _find_packings(model):
    """All packings of a model.

    A case of given temperature takes what passes the fibres; else the air outside takes what
    passes the fibres and the case.
    """
    found = []
    holes = {annulus: (first, first + count) for first, count, _, annulus in model.net.hole_wall}
    for node in model.network.nodes.values():
        if not isinstance(node, Perforate) or node.packing is None:
            continue
        lo, hi = model.ducts[node.annulus]
        core = model.network.ducts[node.core].diameter_at(model.centres(node.core))
        case = np.hypot(core, model.network.ducts[node.annulus].diameter_at(
            model.centres(node.annulus)))
        layer = np.log(case / core) / (2.0 * np.pi * PACKING_CONDUCTIVITY)
        annulus = model.network.ducts[node.annulus]
        stated = [annulus.parts[i].wall_temperature
                  for i in annulus.part_index(model.centres(node.annulus))]
        free = np.array([T is None for T in stated])
        skin = np.where(free, 1.0 / (np.pi * case * CASE_COEFFICIENT), 0.0)
        filled = model.net.cells[f.VOL, lo:hi] / node.packing.gas_fraction
        found.append(SolvedPacking(
            node.annulus, model.centres(node.annulus), model.dx[node.annulus],
            slice(lo, hi), slice(*model.ducts[node.core]), slice(*holes[lo]),
            loss=model.dx[node.annulus] / (layer + skin),
            beyond=np.array([model.ambient.temperature if T is None else T for T in stated]),
            capacity=node.packing.heat_capacity * filled,
        ))
    return found


def _group(model, wall, members, cells, bores):
    """Join members that have one wall to a group that feels the gas before the first cycle."""
    stops = np.cumsum([len(one) for one in cells]).tolist()
    cells, bore = np.concatenate(cells), np.concatenate(bores)
    surface = 4.0 * model.net.cells[f.VOL, cells] / model.net.cells[f.DIAM, cells]
    group = WallGroup(sections_of(wall, bore), cells, surface,
                      np.full(bore.size, START_COEFFICIENT), np.full(bore.size, START_GAS))
    for solved, start, stop in zip(members, [0, *stops], stops, strict=False):
        solved.group, solved.own = group, slice(start, stop)


def _groups(walls):
    """The groups of some walls, each once, in the order of their first ones."""
    return dict.fromkeys(solved.group for solved in walls)


def copied(walls):
    """The same walls for another model."""
    groups = {group: replace(group) for group in _groups(walls)}
    return [replace(solved, group=groups[solved.group]) for solved in walls]


def _look_back(solved, since):
    """What a wall was at the speed before, or at the end of the pause before a pull."""
    if since.coefficient is not None:
        return since
    rested = wall_warming(since.metal, 0.0, since.metal, solved.wall, solved.bore, since.pause)
    return Since(rested.metal, solved.coefficient, solved.felt, 0.0, 0.0)


def lay_on(model, walls):
    """Give the gas the inner surfaces that the walls have now."""
    for group in _groups(walls):
        model.net.cells[f.WALL, group.cells] = group.state.inner


def _solve(groups):
    """Solve walls for what the gas does to them."""
    at_rest = [group for group in groups if group.since is None]
    balanced = wall_balances(
        [(group.sections, group.coefficient, group.felt) for group in at_rest]
    )
    for group, state in zip(at_rest, balanced, strict=True):
        group.state = state
    for group in groups:
        if group.since is not None:
            metal, h, felt, duration, _ = group.since
            group.state = wall_warming(metal, h, felt, *group.sections[:2], duration,
                                       then=(group.coefficient, group.felt))


def walls_left(model, walls):
    """Temperatures of the metal of solved walls and of the fibres of packings, as a `WallsLeft`."""
    sections = [
        WallSection(duct=packing.duct, positions=packing.position.tolist(),
                    temperatures=model.net.cells[f.WALL, packing.cells].tolist())
        for packing in model.packings
    ]
    metals = {
        group: group.state.metal if isinstance(group.state, Warming)
        else metal_of(group.state, *group.sections[:2])
        for group in _groups(walls)
    }
    sections += [
        WallSection(duct=solved.duct, piece=solved.piece, positions=solved.position.tolist(),
                    temperatures=metals[solved.group][solved.own].tolist())
        for solved in walls
    ]
    return WallsLeft(sections)


def update_walls(model, walls, cycle_time):
    """New wall temperatures from the heat of the last cycle; returns the mean of all [K]."""
    return update_many([(model, walls, cycle_time)])[0]


def update_many(points):
    """As `update_walls`, for many points at once, each to the bit as alone.

    Parameters
    ----------
    points : sequence of (Model, list of SolvedWall, float)
        Each with the time of its cycle [s].

    Returns
    -------
    list of float
        Mean of all walls of each [K].

    Raises
    ------
    ConvergenceError
        If a wall of any point finds no balance.
    """
    for model, walls, cycle_time in points:
        gained, grip = model.record.wall
        felt = model.net.cells[f.WALL] - gained / np.maximum(grip, 1e-30)
        for group in _groups(walls):
            group.coefficient = grip[group.cells] / (cycle_time * group.surface)
            group.felt = felt[group.cells]
    _solve([group for _, walls, _ in points for group in _groups(walls)])
    for model, walls, cycle_time in points:
        lay_on(model, walls)
        for packing in model.packings:
            packing.update(model, cycle_time)
    return [_mean_wall(model) for model, _, _ in points]


def _mean_wall(model):
    T = model.net.cells[f.WALL]
    return float(np.concatenate([T[lo:hi] for lo, hi in model.ducts.values()]).mean())
