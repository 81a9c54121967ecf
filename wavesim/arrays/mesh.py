"""Cells of all ducts on one axis: geometry and walls by cell, and where each duct lies.

::

    ghosts | duct a | duct b | ghosts | ghosts | duct c | ghosts

Ducts whose bores are equal where they meet need no node: they are laid side by side, a seam, and
the gas passes from one to the other as inside a duct.

An engine's ducts have cells of different lengths.  Sound is half as fast in the cold intake as in
the exhaust, so cells half as long cost no smaller step there.  A short run of ducts, such as an
open collector, is crossed by waves many times in a cycle and its error adds up: down to half the
usual length its cells are as long as `SHORT_RUN` of them allow.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from wavesim.descriptions.nodes import AreaStep, Perforate
from wavesim.descriptions.pipes import same_bore
from wavesim.kernels import flat as f
from wavesim.kernels.constants import HAALAND_POWER, HAALAND_ROUGH

GHOSTS = 2
MIN_CELLS = 3  # in a duct: the end cells look at two neighbours
SEAM_RATIO = 1.5  # largest ratio of the cell lengths on the two sides of a seam
INTAKE = 0.55  # share of the wanted cell length in intakes
FINEST = 0.5  # and at least in short runs
SHORT_RUN = 20  # cells
STEEP = 0.05  # logarithm of the areas at the ends of a cell from which it is treated by itself


@dataclass(frozen=True)
class Mesh:
    """Where everything lies.

    Attributes
    ----------
    cells : ndarray, (N_CELL, n)
        See `wavesim.kernels.flat`.
    area : ndarray, (n + 1,)
        Face areas [m2], 0 between ghosts.
    ducts : dict
        (first cell, one past the last) by duct name, in the order of the network.
    dx : dict
        Cell length [m] by duct name.
    seams : dict
        Name of the duct that follows without a node, by duct name.
    """

    cells: np.ndarray
    area: np.ndarray
    ducts: dict
    dx: dict
    seams: dict

    @property
    def tapers(self):
        """Cells over which the bore changes steeply, ndarray of int."""
        inside = np.concatenate([np.arange(*span) for span in self.ducts.values()])
        ratio = self.area[inside + 1] / self.area[inside]
        return inside[np.abs(np.log(ratio)) > STEEP]


def make_mesh(network, settings, join=True):
    """Mesh of a network.

    Parameters
    ----------
    network : Network
    settings : Settings
    join : bool
        Make seams; without, every duct has its two ends.

    Returns
    -------
    Mesh
    """
    joined = _seams(network)
    shares = _shares(network, settings, joined)
    counts = {
        name: _count(duct, shares[name] * settings.cell_length)
        for name, duct in network.ducts.items()
    }
    dx = {name: duct.length / counts[name] for name, duct in network.ducts.items()}
    # the lines of the other scheme want equal cells
    join = join and settings.scheme == "finite volume"
    chains, seams = _chains(network, _close(joined, dx) if join else {})
    columns, areas, lies = [], [], {}
    at = 0
    for chain in chains:
        pieces = [_duct_rows(network.ducts[name], counts[name]) for name in chain]
        columns += [_ghosts(pieces[0][0][:, :1])] + [rows for rows, _ in pieces]
        columns += [_ghosts(pieces[-1][0][:, -1:])]
        areas += [np.zeros(GHOSTS)] + [area[:-1] for _, area in pieces]
        areas += [pieces[-1][1][-1:], np.zeros(GHOSTS - 1)]
        at += GHOSTS
        for name in chain:
            lies[name] = (at, at + counts[name])
            at += counts[name]
        at += GHOSTS
    return Mesh(
        np.ascontiguousarray(np.concatenate(columns, axis=1)),
        np.append(np.concatenate(areas), 0.0),
        {name: lies[name] for name in network.ducts},
        dx,
        seams,
    )


def _shares(network, settings, joined):
    """Cell length of every duct over the one of the settings, where a pipe has no own."""
    shares = dict.fromkeys(network.ducts, 1.0)
    intake, _ = ducts_beyond_valves(network, "intake")
    exhaust, _ = ducts_beyond_valves(network, "exhaust")
    if not (intake or exhaust) or settings.scheme != "finite volume":
        return shares  # the lines of the other scheme want equal cells
    for chain in _chains(network, joined)[0]:
        length = sum(network.ducts[name].length for name in chain)
        share = length / (SHORT_RUN * settings.cell_length)
        shares.update(dict.fromkeys(chain, min(1.0, max(FINEST, share))))
    shares.update(dict.fromkeys(intake, INTAKE))
    for node in network.nodes.values():
        if isinstance(node, Perforate):  # holes join cell to cell
            shares[node.annulus] = shares[node.core]
    return shares


def ducts_beyond_valves(network, side):
    """Ducts that gas reaches from the valves of one side without passing a cylinder.

    Parameters
    ----------
    network : Network
    side : {"intake", "exhaust"}

    Returns
    -------
    ducts : set of str
    air : Beyond or None
        The air outside that the nodes of this side open to.
    """
    return network.beyond_valves[side]


def _count(duct, cell_length):
    """Number of cells in a duct."""
    wanted = [tube.cell_length or cell_length for tube in duct.parts]
    return max(
        MIN_CELLS, round(sum(t.length / w for t, w in zip(duct.parts, wanted, strict=True)))
    )


def _seams(network):
    """Duct behind each duct that needs no node at its end, whatever their cells."""
    pairs = [_seam(network, node) for node in network.nodes.values()]
    return dict(pair for pair in pairs if pair)


def _close(seams, dx):
    """Those of the seams on whose two sides cells are about as long."""
    return {a: b for a, b in seams.items() if 1.0 / SEAM_RATIO < dx[a] / dx[b] < SEAM_RATIO}


def _chains(network, seams):
    """Ducts in runs that meet in seams, and the seams; one that would close a ring is cut."""
    seams = dict(seams)
    chains, laid = [], set()
    behind = set(seams.values())
    for heads_only in (True, False):  # what is left after all heads are rings: cut them
        for name in network.ducts:
            if name in laid or (heads_only and name in behind):
                continue
            chain = [name]
            while chain[-1] in seams and seams[chain[-1]] not in laid | set(chain):
                chain.append(seams[chain[-1]])
            if seams.get(chain[-1]) == name:
                del seams[chain[-1]]
            chains.append(chain)
            laid |= set(chain)
    return chains, seams


def _seam(network, node):
    """(duct before, duct behind) if a node joins two equal bores, end to start."""
    if not isinstance(node, AreaStep):
        return None
    (a, side_a), (b, side_b) = sorted(node.ends, key=lambda end: end[1])
    if (side_a, side_b) != ("end", "start"):
        return None
    return (a, b) if same_bore(network.bore(a, "end"), network.bore(b, "start")) else None


def _ghosts(column):
    """Ghost cells: as wide and rough as the cell beside them, without walls, never updated."""
    rows = np.zeros((f.N_CELL, GHOSTS))
    rows[f.DIAM] = column[f.DIAM]
    rows[f.WALL] = 300.0
    return rows


def wall_at_first(part):
    """Temperature of a wall [K]: as given, or of the air outside where it is to be solved."""
    if part.wall is not None:
        return part.wall.air.temperature
    return part.wall_temperature or 300.0  # without either no heat passes


def _keep_throats(duct, faces, area):
    """Give the area of a throat that lies between two faces to the nearer one.

    Else it would be missed, and with it the flow that it lets pass.
    """
    bores = duct.diameter_at(duct.breaks)
    first = 0  # of the breaks with the bore of this one
    for last in range(1, len(bores) - 1):
        if not same_bore(bores[last], bores[last - 1]):
            first = last
        if first > 0 and bores[last] < min(bores[first - 1], bores[last + 1]):
            inside = np.searchsorted(faces, duct.breaks[[first, last]] + np.array([-1e-9, 1e-9]))
            if inside[0] == inside[1]:
                face = np.argmin(np.abs(faces[1:-1] - duct.breaks[first])) + 1
                area[face] = min(area[face], 0.25 * np.pi * bores[first] ** 2)


@lru_cache(maxsize=512)  # cylinders share their pipes, and so do most designs of a search
def _duct_rows(duct, count):
    """Rows of `Net.cells` for the cells of one duct, and its face areas; not to be written to."""
    faces = np.arange(count + 1.0) * (duct.length / count)
    faces[-1] = duct.length
    centres = 0.5 * (faces[1:] + faces[:-1])
    area = duct.area_at(faces)
    _keep_throats(duct, faces, area)
    before = duct.volume_to(faces)
    vol = before[1:] - before[:-1]
    parts, at = duct.parts, duct.part_index(centres)
    rows = np.zeros((f.N_CELL, count))
    rows[f.INV_DX] = count / duct.length
    rows[f.DLNA] = (area[1:] - area[:-1]) / vol
    rows[f.VOL] = vol
    rows[f.INV_VOL] = 1.0 / vol
    rows[f.DIAM] = duct.hydraulic_diameter_at(centres)
    rough = np.array([p.roughness for p in parts])[at]
    rows[f.ROUGH] = (rough / (HAALAND_ROUGH * rows[f.DIAM])) ** HAALAND_POWER
    # losses of bends are a + b f: the second part acts like more friction
    losses = np.array([p.loss_constants for p in parts]) / (
        2.0 * np.array([[p.length] for p in parts])
    )
    scale = np.array([p.friction_factor_scale for p in parts])[at]
    rows[f.FRICTION] = 0.5 * scale / rows[f.DIAM]
    if losses.any():
        rows[f.BEND] = duct.mean(losses[:, 0], faces[:-1], faces[1:])
        rows[f.FRICTION] += duct.mean(losses[:, 1], faces[:-1], faces[1:])
    warm = np.array([p.wall_temperature is not None or p.wall is not None for p in parts])
    rows[f.HEAT] = (warm * [p.heat_factor for p in parts])[at]
    rows[f.WALL] = np.array([wall_at_first(p) for p in parts])[at]
    return rows, area
