"""Where the lines of an exhaust meet: merges, and what joins the two banks of a V engine."""

from dataclasses import dataclass

from wavesim.descriptions.lines import PARTS
from wavesim.descriptions.nodes import check_joint_volume
from wavesim.descriptions.pipes import Part, line
from wavesim.fields.description import Description, choice, number


@dataclass(frozen=True, kw_only=True)
class Merge(Description):
    """Where the primaries of a header meet the collector; between two banks, a Y-pipe.

    Parameters
    ----------
    angle_deg : float
        Angle of each primary with the axis of the collector [deg], 0 to 90; 15 is common practice,
        no source.
    model : {"momentum", "pressure"}
        As for Junction.
    volume : float or None
        Gas volume [m3], 1e-8 to 0.1; None: from the bores.
    """

    angle_deg: float = number("deg", 0.0, 90.0, 15.0)
    model: str = choice(("momentum", "pressure"), "momentum")
    volume: float | None = number("m3", 1e-8, 0.1, None)

    def _check(self):
        check_joint_volume(self)


@dataclass(frozen=True, kw_only=True)
class HPipe(Description):
    """H-pipe: a tube from one bank to the other where their collectors end.

    Parameters
    ----------
    tube : Part or sequence of Part
        Line from bank 1 to bank 2.
    angle_deg : float
        Angle of the tube with the axis of the pipes, at both ends [deg], 10 to 90.
    model : {"momentum", "pressure"}
        As for Junction.
    volume : float or None
        Gas volume of each of the two junctions [m3], 1e-8 to 0.1; None: from the bores.
    """

    tube: tuple[Part, ...] = line(kinds=PARTS)
    angle_deg: float = number("deg", 10.0, 90.0, 90.0)
    model: str = choice(("momentum", "pressure"), "momentum")
    volume: float | None = number("m3", 1e-8, 0.1, None)

    def _check(self):
        check_joint_volume(self)


@dataclass(frozen=True, kw_only=True)
class XPipe(Description):
    """X-pipe: two pipes that touch and open into one another where the collectors of two banks end.

    Parameters
    ----------
    angle_deg : float
        Angle of each pipe with the axis between them [deg], 0 to 80; 20 is common practice, no
        source.
    model : {"momentum", "pressure"}
        As for Junction.
    volume : float or None
        Gas volume [m3], 1e-8 to 0.1; None: from the bores.
    """

    angle_deg: float = number("deg", 0.0, 80.0, 20.0)
    model: str = choice(("momentum", "pressure"), "momentum")
    volume: float | None = number("m3", 1e-8, 0.1, None)

    def _check(self):
        check_joint_volume(self)
