"""From lines of parts to ducts and nodes.

A line is laid part by part, and a part piece by piece (`wavesim.descriptions.pieces`).  Tubes of
equal bore grow into one duct; every other part starts a new one or stands at the joint:

- tube of another bore: AreaStep
- BentTube, Megaphone, Flange: the tubes that they consist of
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

from wavesim.descriptions.nodes import AreaStep, ClosedEnd, Junction
from wavesim.descriptions.parts import Monolith, Plate
from wavesim.descriptions.pieces import Branch, Opening, Stretch
from wavesim.descriptions.pipes import Bend, Duct, Pipe, same_bore
from wavesim.descriptions.silencers import Chamber, PerforatedSilencer, Resonator, SideTube
from wavesim.descriptions.tubework import BentTube, Flange, Megaphone
from wavesim.errors import InputError

#: All kinds of parts of an exhaust; in study files `part` says which, a Pipe needs none.
PARTS = (
    Pipe, Bend, BentTube, Megaphone, Flange, Plate, Monolith, PerforatedSilencer, Chamber, SideTube,
    Resonator,
)


@dataclass
class _Joint:
    """What stands between two ducts that follow one another."""

    openings: list = field(default_factory=list)
    branches: list = field(default_factory=list)
    part: str = ""  # the class of the part that stands there, the last of several

    @property
    def is_plain(self):
        return not self.openings and not self.branches


@dataclass
class _Hanging:
    """One branch at a joint."""

    branch: Branch
    owner: object  # the name of its line, or the duct whose name it takes
    number: str = ""  # " 1", " 2", ... if the owner has several of its kind

    def called(self, label):
        owner = self.owner.base if isinstance(self.owner, _Laid) else self.owner
        return f"{owner} {label}{self.number}"

    @property
    def name(self):
        return self.called(self.branch.label)


@dataclass
class _Laid:
    """One duct in line."""

    line: str
    tubes: list
    joint: _Joint  # before it
    stretch: Stretch | None = None  # None: of tubes, that may grow
    base: str = ""

    @property
    def name(self):
        return self.base if self.stretch is None else f"{self.base} {self.stretch.label}"


class _Row:
    """Ducts of consecutive lines while their parts are laid."""

    def __init__(self):
        self.ducts = []
        self.joint = _Joint()
        self.line = ""

    def add_line(self, name, parts):
        self.line = name
        first = len(self.ducts)
        for part in parts:
            for piece in part.pieces:
                self._add(piece, type(part).__name__)
        new = self.ducts[first:]
        for i, duct in enumerate(new, start=1):
            duct.base = name if len(new) == 1 else f"{name}/{i}"

    def _add(self, piece, part):
        match piece:
            case Opening():
                self.joint.openings.append(piece)
                self.joint.part = part
            case Branch():
                self.joint.branches.append(_Hanging(piece, self.line))
                self.joint.part = part
            case Stretch():
                self._stretch(piece)
            case tube:
                self._tube(tube)

    def _tube(self, tube):
        last = self.ducts[-1] if self.ducts else None
        grows = last is not None and last.line == self.line and last.stretch is None
        if grows and self.joint.is_plain and same_bore(last.tubes[-1].outlet_diameter,
                                                       tube.diameter):
            last.tubes.append(tube)
        else:
            self._duct([tube])

    def _stretch(self, stretch):
        laid = self._duct([stretch.pipe], stretch)
        laid.joint.branches += [_Hanging(branch, laid) for branch in stretch.at_start]
        self.joint.branches += [_Hanging(branch, laid) for branch in stretch.at_end]

    def _duct(self, tubes, stretch=None):
        self.ducts.append(_Laid(self.line, tubes, self.joint, stretch))
        self.joint = _Joint()
        return self.ducts[-1]


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
        if after is None and (not row.ducts or not row.ducts[0].joint.is_plain):
            joint = row.ducts[0].joint if row.ducts else row.joint
            self._refuse_lone(named_lines[0][0], joint, "before")
        if not row.joint.is_plain:
            self._refuse_lone(row.line, row.joint, "behind")
        _number_branches(row.ducts)
        for laid in row.ducts:
            self._add_duct(laid)
            start = f"{laid.name}.start"
            if after is not None:
                self._join(after, start, laid.joint)
            after = f"{laid.name}.end"
        return f"{row.ducts[0].name}.start", after

    @staticmethod
    def _refuse_lone(line, joint, where):
        raise InputError(
            f"{line}: {joint.part} must stand between two other parts, put a Pipe {where} it."
        )

    def tubes(self, end):
        """Tubes of the duct that has a duct end such as "pipe/1.end"."""
        return self.ducts[end.rpartition(".")[0]].parts

    def bore(self, end):
        """Bore at a duct end such as "pipe/1.end" [m]."""
        name, _, side = end.rpartition(".")
        duct = self.ducts[name]
        return duct.start_diameter if side == "start" else duct.end_diameter

    def _add_duct(self, laid):
        self.ducts[laid.name] = Duct(parts=laid.tubes)
        beside = laid.stretch and laid.stretch.beside
        if beside:
            name = f"{laid.base} {beside.label}"
            self.ducts[name] = Duct(parts=beside.pipe)
            self._close(name, "start")
            self._close(name, "end")
            self.nodes[f"{beside.node_label} {laid.base}"] = beside.node(laid.name, name)

    def _close(self, duct, side):
        self.nodes[f"wall {duct} {side}"] = ClosedEnd(f"{duct}.{side}")

    def _join(self, a, b, joint):
        between = f"{a.rpartition('.')[0]} - {b.rpartition('.')[0]}"
        across = self._across(a, b, joint)
        if len(across) + bool(joint.branches) > 1:
            stand = "a hole and a side branch" if joint.branches else " and ".join(across)
            raise InputError(
                f"{between}: {joint.part} stands where {stand} meet, put a Pipe between them."
            )
        if joint.branches:
            ends = [self._add_branch(hanging) for hanging in joint.branches]
            across = {"junction": Junction((a, *ends, b), model="pressure")}
        for label, node in (across or {"step": AreaStep((a, b))}).items():
            self.nodes[f"{label} {between}"] = node

    def _across(self, a, b, joint):
        """Node by label of what stands across a joint; of several alike the narrowest counts."""
        narrow = min(self.bore(a), self.bore(b)) * (1.0 - 1e-6)
        alike = {}
        for opening in joint.openings:
            alike.setdefault(opening.label, []).append(opening)
        return {
            label: min(openings, key=lambda opening: opening.diameter).node((a, b))
            for label, openings in alike.items()
            if any(not one.must_narrow or one.diameter < narrow for one in openings)
        }

    def _add_branch(self, hanging):
        branch, name = hanging.branch, hanging.name
        self.ducts[name] = Duct(parts=branch.pipe)
        far = "start" if branch.joined == "end" else "end"
        if branch.far_node is None:
            self._close(name, far)
        else:
            self.nodes[hanging.called(branch.far_label)] = branch.far_node(f"{name}.{far}")
        return f"{name}.{branch.joined}"


def _number_branches(ducts):
    """Number the branches of which an owner has several of one kind."""
    branches = [hanging for laid in ducts for hanging in laid.joint.branches]
    total, seen = Counter(hanging.name for hanging in branches), Counter()
    for hanging in branches:
        name = hanging.name
        seen[name] += 1
        if total[name] > 1:
            hanging.number = f" {seen[name]}"
