"""Wall temperatures that converge together with the engine cycle.

During a cycle the march collects for every cell the conductance between gas and wall and the heat
passed.  Their quotient is the gas temperature that the wall has felt; the balance of that inner
side against the outside (`wavesim.descriptions.walls`) gives the temperature for the next cycle.
The heat capacity of the wall is far too large to follow the cycle: its temperature is one number.
"""

from dataclasses import dataclass

import numpy as np

from wavesim.descriptions.nodes import Perforate
from wavesim.descriptions.walls import WallState, wall_balance
from wavesim.kernels import flat as f

START_COEFFICIENT = 200.0  # [W/m2/K] gas to wall before the first cycle
START_GAS = 1050.0  # [K]
#: Heat from a packing outward: conductivity of fibre and gas together [W/m/K] (order of handbook
#: values for mineral wool at 600 K, from memory), and the outer coefficient of a warm case.
PACKING_CONDUCTIVITY = 0.08
CASE_COEFFICIENT = 12.0  # [W/m2/K] still air and radiation


@dataclass
class SolvedWall:
    """Cells that share one Wall.

    Attributes
    ----------
    duct : str
        Name of the duct.
    wall : Wall
    cells : ndarray of int
        Rows on the cell axis.
    bore : ndarray
        Bore of each cell [m].
    surface : ndarray
        Wetted wall area of each cell [m2].
    state : WallState or None
        Last solution.
    """

    duct: str
    wall: object
    cells: np.ndarray
    bore: np.ndarray
    surface: np.ndarray
    state: object = None


def find_solved_walls(model):
    """All walls of a model whose temperature is to be solved, with a first guess applied."""
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
            found.append(SolvedWall(name, part.wall, lo + mine, bore, surface))
    _balance(found, [np.full(s.bore.size, START_COEFFICIENT) for s in found],
             [np.full(s.bore.size, START_GAS) for s in found])
    for solved in found:
        model.net.cells[f.WALL, solved.cells] = solved.state.inner
    return found


def _balance(walls, coefficients, temperatures):
    """Solve walls for what the gas does to them, all of one description together."""
    alike = {}
    for given in zip(walls, coefficients, temperatures, strict=True):
        alike.setdefault(given[0].wall, []).append(given)
    for wall, group in alike.items():
        members, h, T = zip(*group, strict=True)
        bore = np.concatenate([solved.bore for solved in members])
        state = wall_balance(np.concatenate(h), np.concatenate(T), wall, bore)
        stops = np.cumsum([solved.bore.size for solved in members])[:-1]
        shares = zip(*(np.split(values, stops) for values in state), strict=True)
        for solved, share in zip(members, shares, strict=True):
            solved.state = WallState(*share)


def update_walls(model, walls, cycle_time):
    """New wall temperatures from the heat of the last cycle; returns the mean of all [K]."""
    gained, grip = model.record.wall
    temperature = model.net.cells[f.WALL]
    h = [grip[solved.cells] / (cycle_time * solved.surface) for solved in walls]
    felt = temperature - gained / np.maximum(grip, 1e-30)
    _balance(walls, h, [felt[solved.cells] for solved in walls])
    for solved in walls:
        temperature[solved.cells] = solved.state.inner
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
