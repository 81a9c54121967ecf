"""From lines of parts to ducts and nodes.

A line is laid part by part.  Tubes of equal bore grow into one duct; every other part starts a new
one and says what stands at the joint before or behind it:

- tube of another bore: AreaStep
- Plate: Orifice
- Monolith: duct "... channels" between two AreaSteps
- PerforatedSilencer: duct "... core" in line, duct "... annulus" closed at both ends beside it, and
  a Perforate that couples them
- Chamber: duct "... chamber"; a tube that reaches in meets the chamber and the closed duct "...
  inlet annulus" or "... outlet annulus" in a Junction; a hole between two chambers is an Orifice
- SideTube: Junction with the closed duct "... side tube"
- Resonator: Junction with the duct "... neck", which opens into the Volume "... resonator"

Ducts of one line are numbered "pipe/1", "pipe/2", ... in the direction of the flow.
"""

from collections import Counter
from dataclasses import dataclass, field

from wavesim.descriptions.nodes import AreaStep, ClosedEnd, Junction, Orifice, Perforate, Volume
from wavesim.descriptions.parts import Monolith, Plate
from wavesim.descriptions.pipes import Bend, Duct, Pipe, same_bore
from wavesim.descriptions.silencers import Chamber, PerforatedSilencer, Resonator, SideTube
from wavesim.errors import InputError

_RESONATOR_START = 600.0  # [K] of the burned gas in it before the first cycle
_HOLE_COEFFICIENT = 0.8  # of a hole in a baffle, the default of Orifice


@dataclass
class _Branch:
    """Duct that hangs on a joint by its end `joined`; behind it a wall or a volume."""

    label: str
    pipe: Pipe
    joined: str
    owner: object  # the name of its line, or the piece whose name it takes
    volume: float | None = None


@dataclass
class _Joint:
    """What stands between two ducts that follow one another."""

    by: str = ""  # the class of the part that asks for it
    hole: float | None = None
    coefficient: float = _HOLE_COEFFICIENT
    plate: bool = False
    branches: list = field(default_factory=list)

    def narrow(self, part, hole, coefficient=_HOLE_COEFFICIENT):
        """Add a hole; the smaller of two counts."""
        self.by = type(part).__name__
        if self.hole is None or hole < self.hole:
            self.hole, self.coefficient = hole, coefficient

    @property
    def is_plain(self):
        return self.hole is None and not self.branches


@dataclass
class _Piece:
    """One duct in line."""

    line: str
    tubes: list
    joint: _Joint
    label: str = ""
    silencer: PerforatedSilencer | None = None
    base: str = ""

    @property
    def name(self):
        return f"{self.base} {self.label}" if self.label else self.base


class _Row:
    """Pieces of consecutive lines while their parts are laid."""

    def __init__(self):
        self.pieces = []
        self.joint = _Joint()
        self.line = ""

    def add_line(self, name, parts):
        self.line = name
        first = len(self.pieces)
        for part in parts:
            _LAYERS[type(part)](self, part)
        new = self.pieces[first:]
        for i, piece in enumerate(new, start=1):
            piece.base = name if len(new) == 1 else f"{name}/{i}"

    def piece(self, tubes, label="", silencer=None):
        self.pieces.append(_Piece(self.line, tubes, self.joint, label, silencer))
        self.joint = _Joint()
        return self.pieces[-1]

    def tube(self, tube):
        last = self.pieces[-1] if self.pieces else None
        grows = last is not None and last.line == self.line and not last.label
        if grows and self.joint.is_plain and same_bore(last.tubes[-1].outlet_diameter,
                                                       tube.diameter):
            last.tubes.append(tube)
        else:
            self.piece([tube])

    def plate(self, plate):
        self.joint.narrow(plate, plate.diameter, plate.discharge_coefficient)
        self.joint.plate = True

    def monolith(self, monolith):
        self.piece([monolith.channels], "channels")

    def perforated(self, silencer):
        self.piece([silencer.core], "core", silencer)

    def chamber(self, chamber):
        if chamber.inlet_tube is None:
            self.joint.narrow(chamber, chamber.diameter)
        else:
            self.tube(chamber.inlet_tube)
        joint = self.joint
        body = self.piece([chamber.body], "chamber")
        if chamber.inlet_tube is not None:
            branch = _Branch("inlet annulus", chamber.inlet_annulus, "end", body)
            joint.branches.append(branch)
        if chamber.outlet_tube is None:
            self.joint.narrow(chamber, chamber.outlet_diameter)
        else:
            branch = _Branch("outlet annulus", chamber.outlet_annulus, "start", body)
            self.joint.branches.append(branch)
            self.tube(chamber.outlet_tube)

    def side_tube(self, side):
        self._branch(side, _Branch("side tube", side.tube, "start", self.line))

    def resonator(self, can):
        self._branch(can, _Branch("neck", can.neck, "start", self.line, can.volume))

    def _branch(self, part, branch):
        self.joint.by = type(part).__name__
        self.joint.branches.append(branch)


_LAYERS = {
    Pipe: _Row.tube,
    Bend: _Row.tube,
    Plate: _Row.plate,
    Monolith: _Row.monolith,
    PerforatedSilencer: _Row.perforated,
    Chamber: _Row.chamber,
    SideTube: _Row.side_tube,
    Resonator: _Row.resonator,
}


#: All kinds of parts of an exhaust; in study files `part` says which, a Pipe needs none.
PARTS = tuple(_LAYERS)


class Plan:
    """Ducts and nodes while they are collected.

    Attributes
    ----------
    ducts, nodes : dict
        By name.
    """

    def __init__(self):
        self.ducts = {}
        self.nodes = {}

    def lay(self, *named_lines, after=None):
        """Add lines end to end.

        Parameters
        ----------
        *named_lines : (str, tuple of Part)
            Name and parts of each; one part at least in all.
        after : str or None
            Duct end to which the first is joined; None leaves the start free.

        Returns
        -------
        (str, str)
            The first and the last duct end of the new ducts.

        Raises
        ------
        InputError
            If a plate, a chamber without tube or a side branch has no part before or behind it.
        """
        row = _Row()
        for name, parts in named_lines:
            row.add_line(name, parts)
        if after is None and (not row.pieces or not row.pieces[0].joint.is_plain):
            joint = row.pieces[0].joint if row.pieces else row.joint
            self._refuse_lone(named_lines[0][0], joint, "before")
        if not row.joint.is_plain:
            self._refuse_lone(row.line, row.joint, "behind")
        names = _branch_names(row.pieces)
        for piece in row.pieces:
            self._add_piece(piece)
            start = f"{piece.name}.start"
            if after is not None:
                self._join(after, start, piece.joint, names)
            after = f"{piece.name}.end"
        return f"{row.pieces[0].name}.start", after

    @staticmethod
    def _refuse_lone(line, joint, where):
        raise InputError(
            f"{line}: {joint.by} must stand between two other parts, put a Pipe {where} it."
        )

    def bore(self, end):
        """Bore at a duct end such as "pipe/1.end" [m]."""
        name, _, side = end.rpartition(".")
        duct = self.ducts[name]
        return duct.start_diameter if side == "start" else duct.end_diameter

    def _add_piece(self, piece):
        self.ducts[piece.name] = Duct(parts=piece.tubes)
        silencer = piece.silencer
        if silencer is None:
            return
        annulus = f"{piece.base} annulus"
        self.ducts[annulus] = Duct(parts=silencer.annulus)
        self._close(annulus, "start")
        self._close(annulus, "end")
        self.nodes[f"perforate {piece.base}"] = Perforate(
            piece.name,
            annulus,
            hole_diameter=silencer.hole_diameter,
            porosity=silencer.porosity,
            wall_thickness=silencer.core_wall,
            discharge_coefficient=silencer.discharge_coefficient,
            packing=silencer.packing,
        )

    def _close(self, duct, side):
        self.nodes[f"wall {duct} {side}"] = ClosedEnd(f"{duct}.{side}")

    def _join(self, a, b, joint, names):
        between = f"{a.rpartition('.')[0]} - {b.rpartition('.')[0]}"
        if joint.branches:
            if joint.hole is not None and (joint.plate or joint.hole < self._narrowest(a, b)):
                raise InputError(
                    f"{between}: {joint.by} stands where a hole and a side branch meet, put a Pipe "
                    "between them."
                )
            ends = [self._add_branch(branch, names[id(branch)]) for branch in joint.branches]
            self.nodes[f"junction {between}"] = Junction((a, *ends, b), model="pressure")
        elif joint.plate or (joint.hole is not None and joint.hole < self._narrowest(a, b)):
            self.nodes[f"plate {between}"] = Orifice(
                (a, b), diameter=joint.hole, discharge_coefficient=joint.coefficient
            )
        else:
            self.nodes[f"step {between}"] = AreaStep((a, b))

    def _narrowest(self, a, b):
        """Bore below which a hole between two ducts counts as one [m]."""
        return min(self.bore(a), self.bore(b)) * (1.0 - 1e-6)

    def _add_branch(self, branch, name):
        self.ducts[name] = Duct(parts=branch.pipe)
        far = "start" if branch.joined == "end" else "end"
        if branch.volume is None:
            self._close(name, far)
        else:
            can = name.replace(" neck", " resonator")
            self.nodes[can] = Volume(
                f"{name}.{far}", volume=branch.volume, temperature=_RESONATOR_START, fill="burned"
            )
        return f"{name}.{branch.joined}"


def _branch_names(pieces):
    """Name of each branch by its id; several of one kind in a line are numbered."""
    branches = [branch for piece in pieces for branch in piece.joint.branches]
    owners = [b.owner.base if isinstance(b.owner, _Piece) else b.owner for b in branches]
    plain = [f"{owner} {b.label}" for owner, b in zip(owners, branches, strict=True)]
    total, seen, names = Counter(plain), Counter(), {}
    for branch, name in zip(branches, plain, strict=True):
        seen[name] += 1
        names[id(branch)] = f"{name} {seen[name]}" if total[name] > 1 else name
    return names
