"""Wall temperatures that converge together with the engine cycle.

During a cycle the march collects for every cell the conductance between gas and wall and the heat
passed.  Their quotient is the gas temperature that the wall has felt; the balance of that inner
side against the outside (`wavesim.descriptions.walls`) gives the temperature for the next cycle.
The heat capacity of the wall is far too large to follow the cycle: its temperature is one number.

In a pull the balance gives way to the warming of the metal since the speed before (`march/pull.py`
says from where, `wavesim.descriptions.warming` how), with the gas side of that speed at the
beginning and that of the last cycle at the end.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from wavesim.descriptions.nodes import Perforate
from wavesim.descriptions.pull import WallSection, WallsLeft
from wavesim.descriptions.walls import WallState, wall_balance
from wavesim.descriptions.warming import Warming, metal_of, wall_warming
from wavesim.kernels import flat as f

START_COEFFICIENT = 200.0  # [W/m2/K] gas to wall before the first cycle
START_GAS = 1050.0  # [K]
#: Heat from a packing outward: conductivity of fibre and gas together [W/m/K] (order of handbook
#: values for mineral wool at 600 K, from memory), and the outer coefficient of a warm case.
PACKING_CONDUCTIVITY = 0.08
CASE_COEFFICIENT = 12.0  # [W/m2/K] still air and radiation


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


@dataclass
class SolvedWall:
    """Cells that share one Wall.

    Attributes
    ----------
    duct : str
        Name of the duct.
    piece : int
        Which of its parts.
    wall : Wall
    cells : ndarray of int
        Rows on the cell axis.
    bore : ndarray
        Bore of each cell [m].
    surface : ndarray
        Wetted wall area of each cell [m2].
    position : ndarray
        Middle of each cell from the start of the duct [m].
    length : float
        Of a cell [m].
    since : Since or None
        In a pull: what it was at the speed before.
    coefficient, felt : ndarray or None
        Gas side of the last solution.
    state : WallState, Warming or None
        Last solution.
    """

    duct: str
    piece: int
    wall: object
    cells: np.ndarray
    bore: np.ndarray
    surface: np.ndarray
    position: np.ndarray
    length: float
    since: Since | None = None
    coefficient: np.ndarray | None = None
    felt: np.ndarray | None = None
    state: object = None


def find_solved_walls(model, moment=None):
    """All walls of a model whose temperature is to be solved, with a first guess applied.

    In a pull, at a `Moment`, the guess is what the walls become with the gas of the speed before.
    """
    found = []
    for name, duct in model.network.ducts.items():
        lo, hi = model.ducts[name]
        centres = model.centres(name)
        part_of = duct.part_index(centres)
        for i, part in enumerate(duct.parts):
            mine = np.flatnonzero(part_of == i)
            if part.wall is None or mine.size == 0:
                continue
            bore = duct.diameter_at(centres[mine])
            surface = 4.0 * model.net.cells[f.VOL, lo + mine] / model.net.cells[f.DIAM, lo + mine]
            found.append(SolvedWall(name, i, part.wall, lo + mine, bore, surface, centres[mine],
                                    model.dx[name]))
    for solved in found:
        solved.coefficient = np.full(solved.bore.size, START_COEFFICIENT)
        solved.felt = np.full(solved.bore.size, START_GAS)
        if moment is not None:
            _look_back(solved, moment.since(solved))
    _solve(found)
    lay_on(model, found)
    return found


def _look_back(solved, since):
    """Set a wall to what it was at the speed before, or to the end of the pause before a pull."""
    if since.coefficient is not None:
        solved.since, solved.coefficient, solved.felt = since, since.coefficient, since.felt
        return
    rested = wall_warming(since.metal, 0.0, since.metal, solved.wall, solved.bore, since.pause)
    solved.since = Since(rested.metal, solved.coefficient, solved.felt, 0.0, 0.0)


def lay_on(model, walls):
    """Give the gas the inner surfaces that the walls have now."""
    for solved in walls:
        model.net.cells[f.WALL, solved.cells] = solved.state.inner


def _solve(walls):
    """Solve walls for what the gas does to them, all of one description together."""
    alike = {}
    for solved in walls:
        alike.setdefault(solved.wall, []).append(solved)
    for wall, members in alike.items():
        bore, h, felt = (
            np.concatenate([getattr(solved, name) for solved in members])
            for name in ("bore", "coefficient", "felt")
        )
        if members[0].since is None:
            kind, state = WallState, wall_balance(h, felt, wall, bore)
        else:
            kind, state = Warming, _warm(members, h, felt, wall, bore)
        stops = np.cumsum([solved.bore.size for solved in members])[:-1]
        shares = zip(*(np.split(values, stops) for values in state), strict=True)
        for solved, share in zip(members, shares, strict=True):
            solved.state = kind(*share)


def _warm(members, h, felt, wall, bore):
    """Walls of one description at the end of the time since the speed before."""
    metal, h_before, felt_before = (
        np.concatenate([getattr(solved.since, name) for solved in members])
        for name in ("metal", "coefficient", "felt")
    )
    return wall_warming(
        metal, h_before, felt_before, wall, bore, members[0].since.duration, then=(h, felt)
    )


def walls_left(walls):
    """Metal temperatures of solved walls, as a `WallsLeft`."""
    sections = []
    for solved in walls:
        state = solved.state
        metal = (
            state.metal if isinstance(state, Warming) else metal_of(state, solved.wall, solved.bore)
        )
        sections.append(WallSection(
            duct=solved.duct, piece=solved.piece, positions=solved.position.tolist(),
            temperatures=metal.tolist(),
        ))
    return WallsLeft(sections)


def update_walls(model, walls, cycle_time):
    """New wall temperatures from the heat of the last cycle; returns the mean of all [K]."""
    gained, grip = model.record.wall
    temperature = model.net.cells[f.WALL]
    felt = temperature - gained / np.maximum(grip, 1e-30)
    for solved in walls:
        solved.coefficient = grip[solved.cells] / (cycle_time * solved.surface)
        solved.felt = felt[solved.cells]
    _solve(walls)
    lay_on(model, walls)
    _update_packings(model, cycle_time)
    inside = np.concatenate([np.arange(lo, hi) for lo, hi in model.ducts.values()])
    return float(temperature[inside].mean())


def _update_packings(model, cycle_time):
    """Fibres take the temperature that they have felt, less what passes to the case.

    A case of given temperature takes what passes the fibres; else the air outside takes what
    passes the fibres and the case.
    """
    gained, grip = model.record.wall
    temperature = model.net.cells[f.WALL]
    for node in model.network.nodes.values():
        if not isinstance(node, Perforate) or node.packing is None:
            continue
        lo, hi = model.ducts[node.annulus]
        cells = slice(lo, hi)
        core = model.network.ducts[node.core].diameter_at(model.centres(node.core))
        case = np.hypot(core, model.network.ducts[node.annulus].diameter_at(
            model.centres(node.annulus)))
        layer = np.log(case / core) / (2.0 * np.pi * PACKING_CONDUCTIVITY)
        annulus = model.network.ducts[node.annulus]
        stated = [annulus.parts[i].wall_temperature
                  for i in annulus.part_index(model.centres(node.annulus))]
        free = np.array([T is None for T in stated])
        skin = np.where(free, 1.0 / (np.pi * case * CASE_COEFFICIENT), 0.0)
        loss = model.dx[node.annulus] / (layer + skin)  # [W/K]
        felt = temperature[cells] - gained[cells] / np.maximum(grip[cells], 1e-30)
        hold = grip[cells] / cycle_time
        beyond = np.array([model.ambient.temperature if T is None else T for T in stated])
        temperature[cells] = (hold * felt + loss * beyond) / np.maximum(hold + loss, 1e-30)
