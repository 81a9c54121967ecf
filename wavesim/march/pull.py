"""Speeds of a pull in order of time: what one hands to the next, and where the first begins.

A point of a pull keeps under "pull" of its `meta`, fit for JSON, what the next speed needs of it:
the metal of its walls is in "walls_left", time and gas side are here.  So a pull goes on from a
point that comes out of a file.
"""

from dataclasses import dataclass, field

import numpy as np

from wavesim.descriptions.nodes import Carburettor, Throttle
from wavesim.descriptions.pull import WallsLeft, Warmed
from wavesim.errors import InputError
from wavesim.fields.description import describe
from wavesim.march.walltemp import FibresSince, Since

BOOKS = ("heat_from_gas", "heat_stored", "heat_to_air")


@dataclass
class Moment:
    """One speed of a pull before its cycles are run.

    Attributes
    ----------
    pull : Pull
    time : float
        Since the first speed [s].
    duration : float
        Since the speed before [s].
    metal : float, "cold" or dict
        Of the speed before, or of the start: by (duct, piece) (positions, temperatures).
    gas : dict or None
        Heat transfer coefficients and gas temperatures of the speed before; None at the first.
    gains : dict
        Heat that the fibres of packings took up there and kept [W/m] by duct: (positions, gains).
    books : dict
        Heat of all walls since the first speed [J] by the names of `BOOKS`.
    """

    pull: object
    time: float
    duration: float
    metal: object
    gas: dict | None = None
    gains: dict = field(default_factory=dict)
    books: dict = field(default_factory=lambda: dict.fromkeys(BOOKS, 0.0))

    def since(self, solved):
        """What the cells of a SolvedWall were at the speed before."""
        metal = self._metal(solved)
        if self.gas is None:
            return Since(metal, None, None, 0.0, self.pull.pause)
        known = [self._at(solved, self.gas, i) for i in (1, 2)]
        return Since(metal, *known, self.duration, 0.0)

    def fibres_since(self, packing, cold):
        """What the cells of a SolvedPacking were at the speed before; `cold` is the air [K]."""
        if isinstance(self.metal, dict):
            positions, temperatures = self._known(self.metal, (packing.duct, 0))
            fibres = np.interp(packing.position, positions, temperatures)
        else:
            fibres = np.full(packing.position.size, cold if self.metal == "cold" else self.metal)
        if self.gas is None:
            return FibresSince(fibres, None, 0.0, self.pull.pause)
        per_metre = np.interp(packing.position, *self._known(self.gains, packing.duct))
        return FibresSince(fibres, packing.length * per_metre, self.duration, 0.0)

    def _metal(self, solved):
        if isinstance(self.metal, dict):
            return self._at(solved, self.metal, 1)
        start = solved.wall.air.temperature if self.metal == "cold" else self.metal
        return np.full(solved.bore.size, start)

    @staticmethod
    def _at(solved, sections, row):
        """A row of what is known of a piece of a duct, at the cells of this mesh."""
        known = Moment._known(sections, (solved.duct, solved.piece))
        return np.interp(solved.position, known[0], known[row])

    @staticmethod
    def _known(sections, place):
        if place not in sections:
            duct, piece = place if isinstance(place, tuple) else (place, 0)
            raise InputError(
                f"Pull: walls say nothing of piece {piece} of the duct {duct!r}, they must come "
                "from a run with the same exhaust."
            )
        return sections[place]


def moment_of(pull, rpm, start, warm):
    """The moment of a pull at a speed [rev/min].

    Parameters
    ----------
    pull : Pull
    rpm : float
    start : Point or None
        The speed before; a point without a pull, or none: this speed is the first.
    warm : callable
        Gives the Point in which a Warmed leaves the engine.

    Raises
    ------
    InputError
        If the speed before is of another pull or is no lower.
    """
    before = None if start is None else start.meta.get("pull")
    if before is None:
        walls = pull.walls
        if isinstance(walls, Warmed):
            walls = warm(walls).walls_left
        return Moment(pull, 0.0, 0.0, _by_piece(walls) if isinstance(walls, WallsLeft) else walls)
    if before["pull"] != describe(pull):
        raise InputError("run_point: start is a Point of another Pull than pull.")
    if start.rpm >= rpm:
        raise InputError(
            f"run_point: start has {start.rpm:g} rev/min, the speed before in a pull must be lower "
            f"than rpm = {rpm:g} rev/min."
        )
    duration = (rpm - start.rpm) / pull.rate
    gas = {(duct, piece): rows for duct, piece, *rows in before["gas"]}
    return Moment(
        pull, before["time"] + duration, duration, _by_piece(start.walls_left), gas,
        {duct: rows for duct, *rows in before.get("gains", ())},
        {name: before[name] for name in BOOKS},
    )


def _by_piece(left):
    return {(s.duct, s.piece): (s.positions, s.temperatures) for s in left.sections}


def throttled(network, warmed):
    """The network with its throttle plates as a Warmed says."""
    angle = warmed.plate_angle_deg
    if angle is None:
        return network
    plates = {
        name: node for name, node in network.nodes.items()
        if isinstance(node, (Throttle, Carburettor))
    }  # fmt: skip
    if not plates:
        raise InputError(
            f"Warmed: plate_angle_deg = {angle:g} deg, but the intake has no Throttle to set."
        )
    moved = {name: node.replace(plate_angle_deg=angle) for name, node in plates.items()}
    return network.replace(nodes={**network.nodes, **moved})


def pull_facts(moment, walls, packings):
    """What the next speed of a pull and the reader of a Point need, fit for JSON."""
    totals = dict(moment.books)
    for solved in walls:
        for name, per_metre in zip(BOOKS, solved.state[-len(BOOKS):], strict=True):
            totals[name] += float((per_metre * solved.length).sum())
    gas = [
        [s.duct, s.piece, s.position.tolist(), s.coefficient.tolist(), s.felt.tolist()]
        for s in walls
    ]
    gains = [[p.duct, p.position.tolist(), (p.gain / p.length).tolist()] for p in packings]
    return {"pull": {"pull": describe(moment.pull), "time": moment.time, "gas": gas,
                     "gains": gains, **totals}}
