"""Network: named ducts, named nodes, copies with changes, and a check that lists all faults.

A network is changed like any description: every method whose name begins with `with` or `without`
returns a copy, in which nothing may be connected twice or to a duct that is not there.  Ends may be
left open on the way; `check` tells of them, and no run starts while there are any.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from math import cos, pi, radians, sin
from typing import Any

import numpy as np

from wavesim.descriptions.lines import PARTS, Plan
from wavesim.descriptions.nodes import (
    SIDES,
    AnechoicEnd,
    AreaStep,
    Beyond,
    Carburettor,
    ClosedEnd,
    Junction,
    Node,
    OpenEnd,
    Orifice,
    Perforate,
    Resistance,
    Throttle,
    ValvePort,
    Volume,
)
from wavesim.descriptions.pipes import TUBES, Duct, Part, Tube, as_duct, as_line
from wavesim.descriptions.weather import Ambient, under
from wavesim.errors import InputError, check_choice, check_number, located, nearest, shown
from wavesim.fields.description import Description, Named, checked, text

#: All kinds of nodes; in a study file `node` says which, an AreaStep needs none.
NODES = (
    AreaStep, Orifice, Throttle, Carburettor, Resistance, Junction, Volume, OpenEnd, ClosedEnd,
    AnechoicEnd, ValvePort, Perforate,
)
_SAME_AIR = 1e-6  # relative difference within which two pressures are one
_CLOSING = (OpenEnd, ClosedEnd, AnechoicEnd)  # they give way to what is joined to their duct


def _named_ducts(owner, field, value):
    named = Named(value, f"{owner}.{field}")
    return Named({name: as_duct(thing, f"duct {name!r}") for name, thing in named.items()})


def _named_nodes(owner, field, value):
    named = Named(value, f"{owner}.{field}")
    for name, node in named.items():
        if not isinstance(node, Node):
            raise InputError(f"{owner}: node {name!r} = {shown(node)} must be a Node.")
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
    name : str
        For legends and reports.

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

    ducts: Named = checked(
        _named_ducts, items={"kinds": TUBES, "tag": "part", "field": "parts"}
    )
    nodes: Named = checked(_named_nodes, items={"kinds": NODES, "tag": "node"})
    name: str = text("")

    # --- copies with changes --------------------------------------------------------------------

    def with_node(self, name: str, node: Node) -> "Network":
        """Copy with a node added, or put in the place of the one of that name.

        Parameters
        ----------
        name : str
            Of the node.
        node : Node
            An OpenEnd, ClosedEnd or AnechoicEnd at one of its ends gives way to it.

        Raises
        ------
        InputError
            If a duct end does not exist or belongs to another node.

        Examples
        --------
        Two tailpipes from one box:

        >>> from wavesim.descriptions.pipes import Pipe
        >>> box = Network({"in": Pipe(1.0, 0.05), "out": Pipe(0.5, 0.04)},
        ...               {"box": Volume(("in.end", "out.start"), volume=0.01),
        ...                "outlet": OpenEnd("out.end"), "wall": ClosedEnd("in.start")})
        >>> two = box.with_duct("out 2", Pipe(0.5, 0.04))
        >>> two = two.with_node("box", Volume(("in.end", "out.start", "out 2.start"), volume=0.01))
        >>> two = two.with_node("outlet 2", OpenEnd("out 2.end"))
        >>> two.check()
        []
        """
        if not isinstance(node, Node):
            self._refuse(f"node {name!r} = {node!r} must be a Node.")
        taken = set(node.ends)
        nodes = {
            key: node if key == name else other
            for key, other in self.nodes.items()
            if key == name or not (isinstance(other, _CLOSING) and taken & set(other.ends))
        }
        return self._changed(nodes=nodes | {name: node})

    def without_node(self, name: str) -> "Network":
        """Copy without a node; the ends that it took are left open.

        Parameters
        ----------
        name : str
            Of the node.

        Raises
        ------
        InputError
            If there is no such node.

        Examples
        --------
        >>> import wavesim as ws
        >>> pipe = ws.Network({"pipe": ws.Pipe("1 m", "40 mm")},
        ...                   {"wall": ws.ClosedEnd("pipe.start"), "mouth": ws.OpenEnd("pipe.end")})
        >>> sorted(pipe.without_node("mouth").nodes)
        ['wall']
        """
        check_choice(self._owner, "node", name, self.nodes)
        return self._changed(nodes={k: node for k, node in self.nodes.items() if k != name})

    def with_duct(self, name: str, duct: Duct | Tube | Sequence[Tube]) -> "Network":
        """Copy with a duct added, or put in the place of the one of that name.

        Parameters
        ----------
        name : str
            Of the duct.
        duct : Duct, Pipe, Bend or sequence of them
            Without jumps of bore; `with_line` takes any line.

        Raises
        ------
        InputError
            If it is no duct or a node has that name.

        Examples
        --------
        >>> import wavesim as ws
        >>> pipe = ws.Network({"pipe": ws.Pipe("1 m", "40 mm")},
        ...                   {"wall": ws.ClosedEnd("pipe.start"), "mouth": ws.OpenEnd("pipe.end")})
        >>> sorted(pipe.with_duct("branch", ws.Pipe("200 mm", "40 mm")).ducts)
        ['branch', 'pipe']
        """
        return self._changed(ducts={**self.ducts, name: duct})

    def without_duct(self, name: str) -> "Network":
        """Copy without a duct.

        Junctions and Volumes keep their other ends; every other node at one of its ends goes too,
        and what else that took is left open.

        Parameters
        ----------
        name : str
            Of the duct.

        Raises
        ------
        InputError
            If there is no such duct.

        Examples
        --------
        >>> import wavesim as ws
        >>> pipe = ws.Network({"pipe": ws.Pipe("1 m", "40 mm")},
        ...                   {"wall": ws.ClosedEnd("pipe.start"), "mouth": ws.OpenEnd("pipe.end")})
        >>> larger = pipe.with_duct("branch", ws.Pipe("200 mm", "40 mm"))
        >>> sorted(larger.without_duct("branch").ducts)
        ['pipe']
        """
        self._check_duct(name)
        left = {key: node.without_duct(name) for key, node in self.nodes.items()}
        return self._changed(
            {key: duct for key, duct in self.ducts.items() if key != name},
            {key: node for key, node in left.items() if node is not None},
        )

    def with_line(
        self, name: str, line: Part | Sequence[Part], after: str | None = None
    ) -> "Network":
        """Copy with a line of parts laid into it, its far end left open.

        Parameters
        ----------
        name : str
            Of the line.  It becomes one duct of that name, or several, numbered "name/1", ... in
            the direction of the flow, and ducts beside them, see `wavesim.descriptions.lines`.
        line : Part or sequence of Part
            As in an exhaust: tubes, silencers, plates, side branches.
        after : str or None
            Duct end to which it is joined, such as "collector.end"; an OpenEnd, ClosedEnd or
            AnechoicEnd there gives way.  None: its start is left open too.

        Raises
        ------
        InputError
            If a name is taken, a part does not fit, or the duct end does not exist or belongs to a
            node.

        Examples
        --------
        >>> import wavesim as ws
        >>> pipe = ws.Network({"pipe": ws.Pipe("1 m", "40 mm")},
        ...                   {"wall": ws.ClosedEnd("pipe.start"), "mouth": ws.OpenEnd("pipe.end")})
        >>> open_ended, tail = pipe.without_node("mouth"), ws.Pipe("300 mm", "40 mm")
        >>> longer = open_ended.with_line("tail", tail, after="pipe.end")
        >>> sorted(longer.ducts)
        ['pipe', 'tail']
        """
        return self._laid(name, line, after)[0]

    def with_part(self, duct: str, number: int = 0, **changes: Any) -> "Network":
        """Copy with fields of one part of a duct changed, such as its length.

        Parameters
        ----------
        duct : str
            Name of the duct.
        number : int
            Which of its parts, from 0.
        **changes
            Fields of that part.

        Raises
        ------
        InputError
            If there is no such duct, part or field, or a value is refused.

        Examples
        --------
        >>> import wavesim as ws
        >>> pipe = ws.Network({"pipe": ws.Pipe("1 m", "40 mm")},
        ...                   {"wall": ws.ClosedEnd("pipe.start"), "mouth": ws.OpenEnd("pipe.end")})
        >>> pipe.with_part("pipe", length="800 mm").ducts["pipe"].length
        0.8
        """
        parts = list(self.ducts[self._check_duct(duct)].parts)
        if number not in range(len(parts)):
            self._refuse(f"duct {duct!r} has no part number {number!r}, valid are 0 to "
                         f"{len(parts) - 1}.")
        parts[number] = parts[number].replace(**changes)
        return self.with_duct(duct, parts)

    def joined(self, a: str, b: str, name: str | None = None) -> "Network":
        """Copy with two duct ends joined by an AreaStep.

        Parameters
        ----------
        a, b : str
            Duct ends such as "pipe.end"; an OpenEnd, ClosedEnd or AnechoicEnd there gives way.
        name : str or None
            Of the node; None: "step A - B" with the names of the ducts.

        Raises
        ------
        InputError
            If a duct end does not exist or belongs to another node.

        Examples
        --------
        >>> import wavesim as ws
        >>> pipe = ws.Network({"pipe": ws.Pipe("1 m", "40 mm")},
        ...                   {"wall": ws.ClosedEnd("pipe.start"), "mouth": ws.OpenEnd("pipe.end")})
        >>> larger = pipe.with_duct("branch", ws.Pipe("200 mm", "40 mm")).without_node("mouth")
        >>> sorted(larger.joined("pipe.end", "branch.start").nodes)
        ['step pipe - branch', 'wall']
        """
        step = AreaStep((a, b))
        return self.with_node(name or "step " + " - ".join(duct for duct, _ in step.ends), step)

    def cut(self, duct: str, x: float, behind: str) -> "Network":
        """Copy with a duct cut in two and joined again by an AreaStep, which changes nothing yet.

        Parameters
        ----------
        duct : str
            Name of the duct; the piece from its start keeps it.
        x : float
            Position of the cut from the start of the duct [m].
        behind : str
            Name of the piece behind the cut.  The node is called "step DUCT - BEHIND".

        Raises
        ------
        InputError
            If there is no such duct, the position lies outside it or in a bend, the name is taken,
            or a perforated wall couples the duct with another.

        Examples
        --------
        >>> import wavesim as ws
        >>> pipe = ws.Network({"pipe": ws.Pipe("1 m", "40 mm")},
        ...                   {"wall": ws.ClosedEnd("pipe.start"), "mouth": ws.OpenEnd("pipe.end")})
        >>> cut = pipe.cut("pipe", 0.4, "rest")
        >>> round(cut.ducts["pipe"].length, 6), round(cut.ducts["rest"].length, 6)
        (0.4, 0.6)
        """
        self._check_duct(duct)
        with located(f"duct {duct!r}"):
            first, second = self.ducts[duct].cut(x)
        for name, node in self.nodes.items():
            if isinstance(node, Perforate) and duct in (node.core, node.annulus):
                self._refuse(f"duct {duct!r} cannot be cut, the perforated wall {name!r} is there.")
        self._check_new([behind])
        ducts = {}
        for name, thing in self.ducts.items():
            ducts |= {duct: first, behind: second} if name == duct else {name: thing}
        nodes = {
            key: node.with_end(f"{duct}.end", f"{behind}.end") for key, node in self.nodes.items()
        }
        return self._changed(ducts, nodes).joined(f"{duct}.end", f"{behind}.start")

    def with_link(
        self,
        name: str,
        line: Part | Sequence[Part],
        start: tuple[str, float],
        end: tuple[str, float],
        *,
        angle_deg: float = 90.0,
        model: str = "momentum",
    ) -> "Network":
        """Copy with a line that leaves one duct on its way and comes into another, or the same.

        It makes a bypass, or a link between two banks anywhere.  Both ducts are cut; what lies
        behind a cut is called "DUCT behind NAME", and between two cuts in one duct "DUCT beside
        NAME".  The junctions are "NAME start" and "NAME end".

        Parameters
        ----------
        name : str
            Of the line.
        line : Part or sequence of Part
            From `start` to `end`.
        start, end : (str, float)
            Name of a duct and position from its start [m].
        angle_deg : float
            Angle between the line and the pipes, 10 to 90 [deg]; below 90 it leaves in the
            direction of the flow and comes in with it.
        model : {"momentum", "pressure"}
            Of the junctions.

        Raises
        ------
        InputError
            As `cut` and `with_line`, or if the two places are one.

        Examples
        --------
        >>> from wavesim.descriptions.pipes import Pipe
        >>> pipe = Network({"pipe": Pipe(2.0, 0.05)}, {"wall": ClosedEnd("pipe.start"),
        ...                                            "mouth": OpenEnd("pipe.end")})
        >>> list(pipe.with_link("bypass", Pipe(1.0, 0.03), ("pipe", 0.5), ("pipe", 1.2)).ducts)
        ['pipe', 'pipe beside bypass', 'pipe behind bypass', 'bypass']
        """
        check_number(self._owner, "angle_deg", angle_deg, "deg", 10.0, 90.0)
        places = self._place("start", start), self._place("end", end)
        network, joints = self._parted(name, *places)
        network, *ends = network._laid(name, line, None)
        side, along = sin(radians(angle_deg)), cos(radians(angle_deg))
        for (before, behind), own, which, way in zip(
            joints, ends, ("start", "end"), (along, -along), strict=True
        ):
            fork = Junction(
                (f"{before}.end", f"{behind}.start", own), model=model,
                directions=((0.0, 0.0, -1.0), (0.0, 0.0, 1.0), (side, 0.0, way)),
            )
            step = network.node_at(f"{before}.end")
            network = network.without_node(step).with_node(f"{name} {which}", fork)
        return network

    def node_at(self, end: str) -> str | None:
        """Name of the node that takes a duct end.

        Parameters
        ----------
        end : str
            Such as "pipe.end".

        Returns
        -------
        str or None
            None if the end is open.

        Raises
        ------
        InputError
            If there is no such end.

        Examples
        --------
        >>> import wavesim as ws
        >>> pipe = ws.Network({"pipe": ws.Pipe("1 m", "40 mm")},
        ...                   {"wall": ws.ClosedEnd("pipe.start"), "mouth": ws.OpenEnd("pipe.end")})
        >>> pipe.node_at("pipe.end")
        'mouth'
        """
        end = self._end(end)
        return next((key for key, node in self.nodes.items() if end in node.ends), None)

    def _parted(self, name, start, end):
        """(network, joints) with a cut at two places, each joint as (duct before, duct behind)."""
        (a, x), (b, y) = start, end
        behind = [f"{duct} behind {name}" for duct in (a, b)]
        if a != b:
            return self.cut(a, x, behind[0]).cut(b, y, behind[1]), list(zip((a, b), behind,
                                                                            strict=True))
        beside = f"{a} beside {name}"
        joints = [(a, beside), (beside, behind[0])]
        network = self.cut(a, max(x, y), behind[0]).cut(a, min(x, y), beside)
        return network, joints if x < y else joints[::-1]

    def _laid(self, name, line, after):
        """(network, first, last duct end) with a line added."""
        parts = as_line(line, self._owner, f"line {name!r}", PARTS)
        if not parts:
            self._refuse(f"line {name!r} = () must hold at least one Pipe.")
        self._check_new([name])
        plan = Plan()
        before = () if after is None else self._end(after)[:1]
        plan.ducts |= {duct: self.ducts[duct] for duct in before}  # whose bore the joint needs
        ends = plan.lay((name, parts), after=after)
        ducts = {key: duct for key, duct in plan.ducts.items() if key not in before}
        self._check_new([*ducts, *plan.nodes])
        grown = self._changed({**self.ducts, **ducts})
        for key, node in plan.nodes.items():
            grown = grown.with_node(key, node)
        return grown, *ends

    def _changed(self, ducts=None, nodes=None):
        """Copy in which nothing is connected twice or to what is not there."""
        changed = self.replace(
            ducts=self.ducts if ducts is None else ducts,
            nodes=self.nodes if nodes is None else nodes,
        )
        for fault in (
            *changed._shared_names(), *changed._unknown_ends(), *changed._crowded_ends(),
            *changed._unknown_walls(),
        ):
            self._refuse(f"{fault}.")
        return changed

    def _check_duct(self, name):
        return check_choice(self._owner, "duct", name, self.ducts)

    def _end(self, end):
        """(duct, side) from a text such as "pipe.end"."""
        duct, _, side = str(end).rpartition(".")
        if not self._is_known(duct, side):
            self._refuse(f"{end!r} must be a duct end such as 'pipe.end'"
                         f"{nearest(duct, self.ducts)}")
        return duct, side

    def _check_new(self, names):
        for name in names:
            if name in self.ducts or name in self.nodes:
                self._refuse(f"the name {name!r} is taken, choose another.")

    def _place(self, which, value):
        """(duct, position) from what is given as `start` or `end` of a link."""
        if not isinstance(value, (tuple, list)) or len(value) != 2:
            self._refuse(f"{which} = {value!r} must be a pair of a duct and a position in m.")
        duct = self._check_duct(value[0])
        length = self.ducts[duct].length
        return duct, check_number(
            self._owner, f"position in {duct!r}", value[1], "m", 0.0, length, low_open=True,
            high_open=True,
        )

    # --- the air outside ------------------------------------------------------------------------

    def in_weather(self, ambient: Ambient, *, unequal_pressures: bool = True) -> "Network":
        """Copy in which every place that states no air has that of the weather.

        Parameters
        ----------
        ambient : Ambient
            The weather.
        unequal_pressures : bool
            False refuses nodes that open to air of different pressures.

        Raises
        ------
        InputError
            If pressures differ and may not.

        Examples
        --------
        >>> import wavesim as ws
        >>> pipe = ws.Network({"pipe": ws.Pipe("1 m", "40 mm")},
        ...                   {"wall": ws.ClosedEnd("pipe.start"), "mouth": ws.OpenEnd("pipe.end")})
        >>> from wavesim import Ambient
        >>> pipe.in_weather(Ambient(pressure=95e3)).nodes["mouth"].beyond.pressure
        95000.0
        """
        filled = under(self, ambient)
        open_to = {
            name: node.beyond.pressure for name, node in filled.nodes.items()
            if node.beyond is not None and node.beyond.vapour_share is not None
        }
        low, high = (pick(open_to, key=open_to.get, default=None) for pick in (min, max))
        if not unequal_pressures and low and open_to[high] > (1.0 + _SAME_AIR) * open_to[low]:
            self._refuse(
                f"{low!r} opens to air of {open_to[low]:g} Pa and {high!r} to "
                f"{open_to[high]:g} Pa, must be equal; state the weather once as `ambient`, or "
                "allow it by Settings(unequal_pressures=True)."
            )
        return filled

    def air_outside(self, side: str, ambient: Ambient) -> Beyond:
        """Mean of what lies beyond the nodes of one side of an engine, or the weather.

        Parameters
        ----------
        side : {"intake", "exhaust"}
            Which side.
        ambient : Ambient
            The weather, for a side that leads nowhere, or not to air.

        Returns
        -------
        Beyond

        Examples
        --------
        >>> import wavesim as ws
        >>> pipe = ws.Network({"pipe": ws.Pipe("1 m", "40 mm")},
        ...                   {"wall": ws.ClosedEnd("pipe.start"), "mouth": ws.OpenEnd("pipe.end")})
        >>> from wavesim import Ambient
        >>> pipe.air_outside("exhaust", Ambient(pressure=95e3)) .pressure
        95000.0
        """
        weather = Beyond(ambient.pressure, ambient.temperature, ambient.vapour_share)
        found = [node.beyond for node in self.nodes.values() if node.side == side and node.beyond]
        pressures, temperatures, shares = zip(*(found or [weather]), strict=True)
        air = [share for share in shares if share is not None] or [weather.vapour_share]
        if len(pressures) == 1:
            return Beyond(pressures[0], temperatures[0], air[0])
        return Beyond(*(float(np.mean(values)) for values in (pressures, temperatures, air)))

    @cached_property
    def beyond_valves(self) -> dict[str, tuple[set[str], Beyond | None]]:
        """By side, the ducts that gas reaches from its valves without passing a cylinder.

        With them the air outside that the nodes of this side open to, or None.

        Examples
        --------
        >>> import wavesim as ws
        >>> study = ws.load(ws.demo_path("collector"))
        >>> network = study.exhausts["short collector"].network(study.engine)
        >>> ducts, _ = network.beyond_valves["exhaust"]
        >>> "collector" in ducts, "plenum" in ducts
        (True, False)
        """
        at = {}
        for node in self.nodes.values():
            names = [name for name, _ in node.ends] or [node.core, node.annulus]
            for name in names:
                at.setdefault(name, []).append((node, names))
        return {side: self._beyond(side, at) for side in ("intake", "exhaust")}

    def _beyond(self, side, at):
        """See `beyond_valves`; `at` holds the nodes at each duct with the ducts that they join."""
        todo = [duct for node in self.nodes.values()
                if isinstance(node, ValvePort) and node.side == side for duct, _ in node.ends]
        reached, outside = set(), None
        while todo:
            duct = todo.pop()
            if duct in reached:
                continue
            reached.add(duct)
            for node, names in at[duct]:
                if node.side == side:
                    outside = node.beyond or outside
                todo += names
        return reached, outside

    # --- faults ---------------------------------------------------------------------------------

    def bore(self, duct: str, side: str) -> float:
        """Diameter at one end of a duct [m].

        Parameters
        ----------
        duct : str
            Name of the duct.
        side : {"start", "end"}
            Which end.

        Examples
        --------
        >>> import wavesim as ws
        >>> pipe = ws.Network({"pipe": ws.Pipe("1 m", "40 mm")},
        ...                   {"wall": ws.ClosedEnd("pipe.start"), "mouth": ws.OpenEnd("pipe.end")})
        >>> pipe.bore("pipe", "end")
        0.04
        """
        if duct not in self.ducts:
            check_choice("Network", "duct", duct, self.ducts)
        found = self.ducts[duct]
        return found.start_diameter if side == "start" else found.end_diameter

    def check(self) -> list[str]:
        """All faults of the topology.

        Returns
        -------
        list of str
            One phrase per fault, each naming the duct end or the node; empty if all is well.
        """
        return list(self._faults)

    @cached_property
    def _faults(self):
        if not self.ducts:
            return ["the network is empty: it has no ducts"]
        return [
            *self._shared_names(),
            *self._unknown_ends(),
            *self._open_ends(),
            *self._crowded_ends(),
            *self._narrow_ends(),
            *self._overrated(),
            *self._lone_junctions(),
            *self._valve_faults(),
            *self._unknown_walls(),
            *self._wall_misfits(),
        ]

    def validate(self) -> "Network":
        """Raise one InputError that numbers all faults, or return the network itself.

        Raises
        ------
        InputError
            If `check` finds anything.

        Examples
        --------
        >>> import wavesim as ws
        >>> pipe = ws.Network({"pipe": ws.Pipe("1 m", "40 mm")},
        ...                   {"wall": ws.ClosedEnd("pipe.start"), "mouth": ws.OpenEnd("pipe.end")})
        >>> pipe.validate() is pipe
        True
        """
        faults = self._faults
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

    def _uses(self):
        """How many nodes take each duct end."""
        return Counter(end for node in self.nodes.values() for end in node.ends)

    def _open_ends(self):
        uses = self._uses()
        for duct in self.ducts:
            for side in SIDES:
                if uses[duct, side] == 0:
                    yield (
                        f"'{duct}.{side}' is open: no node connects this duct end "
                        "(add OpenEnd or ClosedEnd there)"
                    )

    def _crowded_ends(self):
        for (duct, side), count in self._uses().items():
            if count > 1 and self._is_known(duct, side):
                users = [n for n, node in self.nodes.items() if (duct, side) in node.ends]
                yield (
                    f"'{duct}.{side}' is connected {count} times, by "
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

    def _overrated(self):
        for name, node in self.nodes.items():
            for duct, side in node.ends if isinstance(node, Carburettor) else ():
                bore = self._is_known(duct, side) and self.bore(duct, side)
                if bore and node.throat(0.25 * pi * bore**2) is None:
                    yield (
                        f"node {name!r}: a bore of {bore:g} m at '{duct}.{side}' is too narrow for "
                        f"the rated flow of {node.rating.flow:g} m3/s at "
                        f"{node.rating.depression:g} Pa"
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

    def _walls(self):
        """Perforated walls by name."""
        return {name: node for name, node in self.nodes.items() if isinstance(node, Perforate)}

    def _unknown_walls(self):
        for name, node in self._walls().items():
            for duct in (node.core, node.annulus):
                if duct not in self.ducts:
                    guess = nearest(duct, self.ducts).rstrip(".")
                    yield f"node {name!r}: {duct!r} names an unknown duct{guess}"

    def _wall_misfits(self):
        for name, node in self._walls().items():
            if node.core == node.annulus:
                yield f"node {name!r}: core and annulus are both {node.core!r}, must be two ducts"
            elif node.core in self.ducts and node.annulus in self.ducts:
                core, annulus = self.ducts[node.core], self.ducts[node.annulus]
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
