"""What parts are made of: the words in which a part tells its line what to lay.

A part lists its pieces in the order in which the gas meets them (`Part.pieces`).  There are four
kinds, a tube being one by itself:

- a tube grows into one duct with tubes of equal bore before and behind it
- Stretch: a duct of its own, with what hangs on its two ends and lies beside it
- Opening: what stands across the joint of two ducts
- Branch: a duct that hangs on the joint of two ducts

Labels make the names of ducts and nodes; `wavesim.descriptions.lines` lays the pieces and knows no
part by its class.
"""

from collections.abc import Callable
from typing import Any, NamedTuple


class Opening(NamedTuple):
    """What stands across the joint of two ducts.

    Attributes
    ----------
    label : str
        "plate" makes the node "plate pipe/1 - pipe/2".
    diameter : float
        Of what is open [m]; of several openings of one label at a joint the narrowest counts.
    node : callable
        ``node(ends)`` returns the Node between the two duct ends.
    must_narrow : bool
        True: it stands there only if it is narrower than both ducts, like the hole in an end plate
        that is as wide as the pipe.
    """

    label: str
    diameter: float
    node: Callable
    must_narrow: bool = False


class Branch(NamedTuple):
    """Duct that hangs on the joint of two ducts.

    Attributes
    ----------
    label : str
        "neck" makes the duct "pipe neck", or "pipe neck 1", "pipe neck 2", ... if the line has
        several.
    pipe : Pipe
        The duct.
    joined : {"start", "end"}
        Its end at the joint.
    far_label : str
        "resonator" makes the node "pipe resonator" at its other end.
    far_node : callable or None
        ``far_node(end)`` returns that node; None: the duct is closed there.
    """

    label: str
    pipe: Any
    joined: str = "start"
    far_label: str = ""
    far_node: Callable | None = None


class Beside(NamedTuple):
    """Duct that lies along a stretch, closed at both ends, and the node that couples the two.

    Attributes
    ----------
    label : str
        "annulus" makes the duct "pipe annulus".
    pipe : Pipe
        The duct.
    node_label : str
        "perforate" makes the node "perforate pipe".
    node : callable
        ``node(stretch, beside)`` returns that node, from the names of the two ducts.
    """

    label: str
    pipe: Any
    node_label: str
    node: Callable


class Stretch(NamedTuple):
    """Duct of its own in line: tubes before and behind it do not grow into it.

    Attributes
    ----------
    label : str
        "core" makes the duct "pipe core".
    pipe : Pipe
        The duct.
    at_start, at_end : tuple of Branch
        What hangs on its ends, named after it instead of after the line.
    beside : Beside or None
        What lies along it.
    """

    label: str
    pipe: Any
    at_start: tuple = ()
    at_end: tuple = ()
    beside: Beside | None = None
