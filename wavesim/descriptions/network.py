"""Network: named ducts, named nodes, and a check that lists all its faults at once."""

from collections import Counter
from dataclasses import dataclass

from wavesim.descriptions.nodes import SIDES, Junction, Node, Perforate, ValvePort
from wavesim.descriptions.pipes import as_duct
from wavesim.errors import InputError, nearest
from wavesim.fields.description import Description, Named, checked


def _named_ducts(owner, field, value):
    named = Named(value, f"{owner}.{field}")
    return Named({name: as_duct(thing, f"duct {name!r}") for name, thing in named.items()})


def _named_nodes(owner, field, value):
    named = Named(value, f"{owner}.{field}")
    for name, node in named.items():
        if not isinstance(node, Node):
            raise InputError(f"{owner}: node {name!r} = {node!r} must be a Node.")
    return named


@dataclass(frozen=True)
class Network(Description):
    """Ducts and the nodes at their ends.

    Parameters
    ----------
    ducts : mapping or iterable of pairs
        Duct, Pipe or sequence of Pipes by name; kept as Ducts.
    nodes : mapping or iterable of pairs
        Nodes by name.

    Raises
    ------
    InputError
        If a name is given twice or an item is of a wrong kind.  Faults of the topology are left
        to `check` and `validate`.

    Examples
    --------
    >>> from wavesim.descriptions.pipes import Pipe
    >>> from wavesim.descriptions.nodes import ClosedEnd
    >>> Network({"pipe": Pipe(1.0, 0.04)}, {"wall": ClosedEnd("pipe.start")}).check()
    ["'pipe.end' is open: no node connects this duct end (add OpenEnd or ClosedEnd there)"]
    """

    ducts: Named = checked(_named_ducts)
    nodes: Named = checked(_named_nodes)

    def bore(self, duct: str, side: str) -> float:
        """Diameter at one end of a duct [m].

        Parameters
        ----------
        duct : str
            Name of the duct.
        side : {"start", "end"}
            Which end.
        """
        found = self.ducts[duct]
        return found.start_diameter if side == "start" else found.end_diameter

    def check(self) -> list[str]:
        """All faults of the topology.

        Returns
        -------
        list of str
            One phrase per fault, each naming the duct end or the node; empty if all is well.
        """
        if not self.ducts:
            return ["the network is empty: it has no ducts"]
        return [
            *self._shared_names(),
            *self._unknown_ends(),
            *self._unmatched_ends(),
            *self._narrow_ends(),
            *self._lone_junctions(),
            *self._valve_faults(),
            *self._perforate_faults(),
        ]

    def validate(self) -> "Network":
        """Raise one InputError that numbers all faults, or return the network itself.

        Raises
        ------
        InputError
            If `check` finds anything.
        """
        faults = self.check()
        if faults:
            listed = "; ".join(f"({i}) {fault}" for i, fault in enumerate(faults, start=1))
            raise InputError(f"Network: {len(faults)} fault(s): {listed}.")
        return self

    def _is_known(self, duct, side):
        return duct in self.ducts and side in SIDES

    def _shared_names(self):
        return [
            f"the name {name!r} is given to a duct and to a node"
            for name in self.ducts
            if name in self.nodes
        ]

    def _unknown_ends(self):
        for name, node in self.nodes.items():
            for duct, side in node.ends:
                if side not in SIDES:
                    wrong = f"{duct}.{side}" if duct else side
                    yield f"node {name!r}: {wrong!r} must end in '.start' or '.end'"
                elif duct not in self.ducts:
                    guess = nearest(duct, self.ducts).rstrip(".")
                    yield f"node {name!r}: '{duct}.{side}' names an unknown duct{guess}"

    def _unmatched_ends(self):
        uses = Counter(end for node in self.nodes.values() for end in node.ends)
        for duct in self.ducts:
            for side in SIDES:
                if uses[duct, side] == 0:
                    yield (
                        f"'{duct}.{side}' is open: no node connects this duct end "
                        "(add OpenEnd or ClosedEnd there)"
                    )
                elif uses[duct, side] > 1:
                    users = [n for n, node in self.nodes.items() if (duct, side) in node.ends]
                    yield (
                        f"'{duct}.{side}' is connected {uses[duct, side]} times, by "
                        f"{', '.join(map(repr, users))}"
                    )

    def _narrow_ends(self):
        for name, node in self.nodes.items():
            if node.diameter is None:
                continue
            for duct, side in node.ends:
                if self._is_known(duct, side) and node.diameter > self.bore(duct, side):
                    yield (
                        f"node {name!r}: diameter = {node.diameter:g} m is larger than the bore "
                        f"of '{duct}.{side}', valid are at most {self.bore(duct, side):g} m"
                    )

    def _lone_junctions(self):
        return [
            f"junction {name!r} has {len(node.at)} branch(es), needs at least 2"
            for name, node in self.nodes.items()
            if isinstance(node, Junction) and len(node.at) < 2
        ]

    def _valve_faults(self):
        found = [node for node in self.nodes.values() if isinstance(node, ValvePort)]
        ports = Counter((node.cylinder, node.side) for node in found)
        last = max((cylinder for cylinder, _ in ports), default=0)
        for cylinder in range(1, last + 1):
            for side in ("intake", "exhaust"):
                count = ports[cylinder, side]
                if count != 1:
                    yield f"cylinder {cylinder} has {count} {side} valve ports, needs exactly 1"

    def _perforate_faults(self):
        for name, node in self.nodes.items():
            if isinstance(node, Perforate):
                yield from self._side_by_side_faults(name, node)

    def _side_by_side_faults(self, name, node):
        pair = node.core, node.annulus
        unknown = [duct for duct in pair if duct not in self.ducts]
        for duct in unknown:
            guess = nearest(duct, self.ducts).rstrip(".")
            yield f"node {name!r}: {duct!r} names an unknown duct{guess}"
        if node.core == node.annulus:
            yield f"node {name!r}: core and annulus are both {node.core!r}, must be two ducts"
        elif not unknown:
            core, annulus = (self.ducts[duct] for duct in pair)
            yield from self._misfits(name, node, core, annulus)

    def _misfits(self, name, node, core, annulus):
        if abs(core.length - annulus.length) > 1e-9 * core.length:
            yield (
                f"node {name!r}: {node.annulus!r} is {annulus.length:.9g} m long, must be as long "
                f"as {node.core!r}, {core.length:.9g} m"
            )
        cells = [[tube.cell_length for tube in duct.parts] for duct in (core, annulus)]
        if cells[0] != cells[1]:
            yield (
                f"node {name!r}: cell_length of {node.core!r} and {node.annulus!r} must be equal "
                f"part by part, got {cells[0]} and {cells[1]} in m"
            )
        if node.hole_diameter > core.start_diameter:
            yield (
                f"node {name!r}: hole_diameter = {node.hole_diameter:g} m is larger than the bore "
                f"of {node.core!r}, valid are at most {core.start_diameter:g} m"
            )
