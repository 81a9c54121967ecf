"""Engines whose cylinders are all alike: what takes the place of what, one firing later."""

from dataclasses import fields
from typing import NamedTuple

from wavesim.descriptions.engine import CYCLE_DEG
from wavesim.descriptions.nodes import SIDES, Perforate, ValvePort

_PLACE = {"at", "cylinder", "directions", "core", "annulus"}  # fields that say where a node is


class Succession(NamedTuple):
    """What stands one firing later where each cylinder, duct and node stands now.

    Attributes
    ----------
    cylinders : dict of int to int
    ducts, nodes : dict of str to str
        By name.
    """

    cylinders: dict
    ducts: dict
    nodes: dict


def succession(engine, network):
    """Succession of the cylinders of an engine, or None if they are not alike.

    They are alike if they fire at even intervals and every cylinder has the same ducts, nodes and
    neighbours as the one that fires next.  How the ducts of a junction are turned in space does not
    count.

    Parameters
    ----------
    engine : Engine
    network : Network
        Of this engine, with the valve ports of all cylinders.

    Returns
    -------
    Succession or None

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> header = study.exhausts["long collector"].network(study.engine)
    >>> found = succession(study.engine, header)
    >>> found.ducts["primary 1"], found.ducts["primary 3"], found.ducts["collector"]
    ('primary 3', 'primary 4', 'collector')
    """
    cylinders = _next_to_fire(engine)
    return None if cylinders is None else _Search(network, cylinders).run()


def _next_to_fire(engine):
    """Cylinder that fires next, by number; None if the intervals are uneven."""
    angles = engine.firing_angles_deg
    order = sorted(range(len(angles)), key=angles.__getitem__)
    interval = CYCLE_DEG / len(order)
    if any(abs(angles[n] - i * interval) > 1e-6 for i, n in enumerate(order)):
        return None
    following = order[1:] + order[:1]
    return {n + 1: m + 1 for n, m in zip(order, following, strict=True)}


class _Search:
    """Goes along the ducts from the valves and notes what corresponds to what."""

    def __init__(self, network, cylinders):
        self.network, self.cylinders = network, cylinders
        self.at = {end: name for name, node in network.nodes.items() for end in node.ends}
        self.ducts, self.nodes = {}, {}

    def run(self):
        """The Succession, or None."""
        ports = {
            (node.side, node.cylinder): name
            for name, node in self.network.nodes.items() if isinstance(node, ValvePort)
        }
        for (side, cylinder), name in ports.items():
            self.nodes[name] = ports[side, self.cylinders[cylinder]]
        while self._go_on():
            pass
        for known, names in ((self.ducts, self.network.ducts), (self.nodes, self.network.nodes)):
            for name in names:  # what no valve leads to has no other in its place
                known.setdefault(name, name)
        is_whole = self._is_one_to_one() and self._fits()
        return Succession(self.cylinders, self.ducts, self.nodes) if is_whole else None

    def _go_on(self):
        """Note the ducts and nodes that those known lead to; False if there are none."""
        before = len(self.ducts) + len(self.nodes)
        for name, other in list(self.nodes.items()):
            ends, others = (
                [end for end in self.network.nodes[n].ends if end[0] not in known]
                for n, known in ((name, self.ducts), (other, self.ducts.values()))
            )
            if len(ends) == len(others) == 1:
                self.ducts[ends[0][0]] = others[0][0]
        for duct, other in self.ducts.items():
            for side in SIDES:
                self.nodes.setdefault(self.at[duct, side], self.at[other, side])
        return len(self.ducts) + len(self.nodes) > before

    def _is_one_to_one(self):
        return all(
            sorted(known) == sorted(known.values()) == sorted(names)
            for known, names in ((self.ducts, self.network.ducts), (self.nodes, self.network.nodes))
        )

    def _fits(self):
        """True if all that corresponds is alike and hangs together alike."""
        described = self.network.ducts
        return all(described[a] == described[b] for a, b in self.ducts.items()) and all(
            self._is_alike(self.network.nodes[a], self.network.nodes[b])
            for a, b in self.nodes.items()
        )

    def _is_alike(self, node, other):
        if type(node) is not type(other):
            return False
        if isinstance(node, Perforate):
            if (self.ducts[node.core], self.ducts[node.annulus]) != (other.core, other.annulus):
                return False
        reached = {(self.ducts[duct], side) for duct, side in node.ends}
        own = [field.name for field in fields(node) if field.name not in _PLACE]
        return reached == set(other.ends) and all(
            getattr(node, name) == getattr(other, name) for name in own
        )
