"""Paths of sound through a network: when an echo of which joint comes back, and about how large.

A front goes along a duct in the time that sound needs there, and at a node parts of it go on into
every other duct and one part back, by plane waves of small amplitude at one pressure for all ends
(Munjal, Acoustics of Ducts and Mufflers, 2nd ed. 2014, ch. 2; from memory): coming from end i of
those with the admittances Y = A/(rho c), 2 Y_i / (sum Y + Y_v) of its pressure goes on, and that
less 1 comes back.  A volume V takes gas like a duct of admittance Y_v = V/(rho c^2 t) in the length
t of the front.  Holes along a core count as an opening at its two ends.  So times are exact for
sharp fronts, sizes are what names an echo, no more.
"""

import heapq
from collections.abc import Iterable, Mapping
from itertools import count
from typing import NamedTuple

from wavesim.descriptions.network import Network
from wavesim.descriptions.nodes import AnechoicEnd, ClosedEnd, Perforate, ValvePort

MOST = 20_000  # fronts that are followed
START, END = "start", "end"


class Way(NamedTuple):
    """A duct as sound sees it.

    Attributes
    ----------
    on, back : float
        Time from start to end, and from end to start [s].
    length : float
        [m].
    admittance : (float, float)
        Area over density and speed of sound at start and end [m2 per kg/(m2 s)].
    """

    on: float
    back: float
    length: float
    admittance: tuple[float, float]


class Ray(NamedTuple):
    """A front that has come to a shut valve.

    Attributes
    ----------
    time : float
        Since it was sent [s].
    length : float
        Of its whole way [m].
    size : float
        About its pressure over that of the front that was sent.
    turns : tuple of str
        Nodes that sent it back, in order.
    at : str
        Valve that it has reached.
    legs : tuple of (str, str)
        Ducts that it has gone through, each with the side at which it came in.
    """

    time: float
    length: float
    size: float
    turns: tuple[str, ...]
    at: str
    legs: tuple[tuple[str, str], ...]


class _Place(NamedTuple):
    """A node in the graph: its ends, and the share of pressure it sends back if it has one end."""

    name: str
    ends: tuple
    extra: float
    lone: float | None


def rays(
    network: Network,
    ways: Mapping[str, Way],
    source: str,
    valves: Iterable[str],
    *,
    longest: float,
    faintest: float = 0.01,
    capacity: Mapping[str, float] | None = None,
    delay: Mapping[str, float] | None = None,
    most_turns: int | None = None,
) -> list[Ray]:
    """Fronts that reach shut valves after one was sent from a valve.

    Parameters
    ----------
    network : Network
        Exhaust side of an engine.
    ways : mapping of Way by duct name
    source : str
        Node that sends the front, at one end of a duct.
    valves : iterable of str
        Nodes whose arrivals are wanted.
    longest : float
        Time to follow fronts [s].
    faintest : float
        Share of the sent pressure below which a front is given up.
    capacity : mapping of float by node name
        Admittance of volumes, [m2 per kg/(m2 s)]; see the text of the module.
    delay : mapping of float by node name
        Time that a front spends beyond a lone end [s]: the end correction of an open one.
    most_turns : int or None
        How often a front may be sent back until it is given up; None: ever again.

    Returns
    -------
    list of Ray
        In order of time.
    """
    place_of = _places(network, capacity or {})
    valves, delay, order, found = set(valves), delay or {}, count(), []
    (duct, side), = network.nodes[source].ends
    heap = []

    def enter(time, length, size, turns, legs, duct, side):
        """Send a front into a duct at one of its sides."""
        way = ways[duct]
        time += way.on if side == START else way.back
        turned = most_turns is None or len(turns) <= most_turns
        if turned and abs(size) >= faintest and time <= longest:
            far = END if side == START else START
            legs = (*legs, (duct, side))
            front = time, next(order), length + way.length, size, turns, legs, duct, far
            heapq.heappush(heap, front)

    enter(0.0, 0.0, 1.0, (), (), duct, side)
    while heap and next(order) < MOST:
        time, _, length, size, turns, legs, duct, side = heapq.heappop(heap)
        place = place_of[duct, side]
        if place.name in valves:
            found.append(Ray(time, length, size, turns, place.name, legs))
        if place.lone is not None:
            waited = time + delay.get(place.name, 0.0)
            sent = size * place.lone, (*turns, place.name), legs
            enter(waited, length, *sent, duct, side)
            continue
        own = ways[duct].admittance[side == END]
        total = place.extra + sum(ways[name].admittance[end == END] for name, end in place.ends)
        passed = 2.0 * own / total
        for end in place.ends:
            if end == (duct, side):
                sent = size * (passed - 1.0), (*turns, place.name), legs
                enter(time, length, *sent, duct, side)
            else:
                enter(time, length, size * passed, turns, legs, *end)
    return sorted(found)


def _places(network, capacity):
    """What stands at each end of a duct; the ends of an annulus belong to those of its core."""
    beside = {node.annulus: node.core for node in network.nodes.values()
              if isinstance(node, Perforate)}
    found = {}
    for name, node in network.nodes.items():
        ends = [end for end in node.ends if end[0] not in beside]
        if not ends:
            continue
        ends += [(annulus, end) for annulus, core in beside.items()
                 for duct, end in node.ends if duct == core]
        lone = _sent_back(node) if len(ends) == 1 else None
        place = _Place(name, tuple(ends), capacity.get(name, 0.0), lone)
        found.update(dict.fromkeys(ends, place))
    return found


def _sent_back(node):
    """Share of pressure that a node at the end of one duct sends back."""
    if isinstance(node, ClosedEnd | ValvePort):
        return 1.0
    return 0.0 if isinstance(node, AnechoicEnd) else -1.0


def turns_text(turns: Iterable[str]) -> str:
    """Where a front has turned, in words, each place once.

    Examples
    --------
    >>> turns_text(["merge", "outlet", "merge"])
    'merge twice and outlet'
    """
    turns = list(turns)
    times = {1: "", 2: " twice"}
    counted = ((name, turns.count(name)) for name in dict.fromkeys(turns))
    return " and ".join(f"{name}{times.get(n, f' ({n} times)')}" for name, n in counted)
