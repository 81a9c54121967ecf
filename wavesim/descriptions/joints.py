"""Where the lines of an exhaust meet: merges, and what joins the two banks of a V engine."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

from wavesim.descriptions.lines import PARTS
from wavesim.descriptions.nodes import check_joint_volume
from wavesim.descriptions.pipes import BORE_RANGE, LENGTH_RANGE, Part, Pipe, Tube, line
from wavesim.fields.description import Description, choice, number

#: What the cone of a merge takes over from the tube behind it.
_OF_THE_WALL = ("wall_temperature", "wall", "roughness", "heat_factor", "friction_factor_scale",
                "cell_length")


@dataclass(frozen=True, kw_only=True)
class Merge(Description):
    """Where the primaries of a header meet the collector; between two banks, a Y-pipe.

    Without a cone the joint has no length.  With one, as merge collectors are made, the tubes end
    side by side in a cone that begins with the area of all of them.

    Parameters
    ----------
    angle_deg : float
        Angle of each primary with the axis of the collector [deg], 0 to 90; 15 is common practice,
        no source.
    model : {"momentum", "pressure"}
        As for Junction.
    volume : float or None
        Gas volume of the joint itself [m3], 1e-8 to 0.1.  None: with a cone none to speak of;
        without one that of a ball as wide as the widest pipe, which yields to waves as 2/3 of its
        bore of such pipe.
    cone_length : float or None
        Length of the cone between the tubes and what follows [m], 0.001 to 30; None: no cone.
    cone_diameter : float or None
        Bore at the end of the cone [m], 0.003 to 0.5; None: the bore of what follows.  A narrower
        one makes a throat, behind which the bore jumps unless a taper follows.

    Notes
    -----
    The cone has the wall, roughness and factors of the first pipe or bend behind it.  Gas that
    comes from one tube alone is taken to fill the whole cone where it begins, which loses what a
    sudden enlargement loses; a jet that stays together for some bores loses less.

    Examples
    --------
    >>> tubes, collector = 4 * [(Pipe(0.7, 0.040),)], (Pipe(0.5, 0.058),)
    >>> cone = Merge(cone_length=0.12).cone(tubes, collector)
    >>> cone.length, round(cone.diameter, 6), cone.end_diameter
    (0.12, 0.08, 0.058)
    """

    angle_deg: float = number("deg", 0.0, 90.0, 15.0)
    model: str = choice(("momentum", "pressure"), "momentum")
    volume: float | None = number("m3", 1e-8, 0.1, None)
    cone_length: float | None = number("m", *LENGTH_RANGE, None)
    cone_diameter: float | None = number("m", *BORE_RANGE, None)

    def _check(self):
        check_joint_volume(self)
        if self.cone_diameter is not None and self.cone_length is None:
            self._refuse(
                f"cone_diameter = {self.cone_diameter:g} m needs a cone, give its cone_length, "
                f"{LENGTH_RANGE[0]:g} m to {LENGTH_RANGE[1]:g} m."
            )

    def cone(self, tubes: Sequence[Sequence[Part]], behind: Sequence[Part]) -> Pipe | None:
        """The cone of this merge.

        Parameters
        ----------
        tubes : sequence of lines
            Parts of each line that ends here.
        behind : line
            Parts that follow.

        Returns
        -------
        Pipe or None
            None: the merge has no cone.

        Raises
        ------
        InputError
            If all tubes together are wider than a pipe may be.
        """
        if self.cone_length is None:
            return None
        wide = sqrt(sum(_long(tube)[-1].outlet_diameter ** 2 for tube in tubes))
        if wide > BORE_RANGE[1]:
            self._refuse(
                f"cone_length = {self.cone_length:g} m: {len(tubes)} tubes side by side have the "
                f"area of a bore of {wide:g} m, must be at most {BORE_RANGE[1]:g} m."
            )
        walls = [part for part in behind if isinstance(part, Tube)]
        kept = {name: getattr(walls[0], name) for name in _OF_THE_WALL} if walls else {}
        follows = [self.cone_diameter] if self.cone_diameter else [
            part.diameter for part in _long(behind)]
        return Pipe(self.cone_length, wide, end_diameter=(follows or [wide])[0], **kept)


def _long(parts):
    """The parts of a line that add length."""
    return [part for part in parts if part.adds_length]


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
        Gas volume of each of the two junctions beside that of the pipes [m3], 1e-8 to 0.1; None:
        none to speak of.

    Examples
    --------
    >>> from wavesim.descriptions.pipes import Pipe
    >>> HPipe(tube=Pipe("0.3 m", "40 mm")).tube[0].diameter
    0.04
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
        Gas volume beside that of the pipes [m3], 1e-8 to 0.1; None: none to speak of.

    Examples
    --------
    >>> XPipe(angle_deg=20).angle_deg
    20.0
    """

    angle_deg: float = number("deg", 0.0, 80.0, 20.0)
    model: str = choice(("momentum", "pressure"), "momentum")
    volume: float | None = number("m3", 1e-8, 0.1, None)

    def _check(self):
        check_joint_volume(self)
