"""Tube as it is bought ready made: bent tubes, megaphones, flanges.

Each is a few pieces of tube, so that they are computed as pipes, bends and tapers are.  A stepped
primary needs no part of its own: it is a line of tubes of different bores.
"""

from dataclasses import KW_ONLY, dataclass
from math import pi, radians, tan
from typing import Any

from wavesim.constants import CELL_RANGE, FACTOR_RANGE, WALL_TEMPERATURE_RANGE
from wavesim.descriptions.materials import Metal, as_metal, metal_field, roughness_field
from wavesim.descriptions.pipes import (
    BORE_RANGE,
    LENGTH_RANGE,
    OUTER_RANGE,
    TUBE_WALL_RANGE,
    Amounts,
    Bend,
    Part,
    Pipe,
    check_metal,
    together,
    with_bores,
)
from wavesim.descriptions.walls import Wall
from wavesim.errors import check_number
from wavesim.fields.description import number, numbers, part

#: Fields of a tube that its pieces take over as they are.
_SHARED = ("thickness", "wall_temperature", "wall", "roughness", "heat_factor",
           "friction_factor_scale", "cell_length")


def _shared(part):
    return {name: getattr(part, name) for name in _SHARED}


@dataclass(frozen=True)
class BentTube(Part):
    """Tube with bends in it, known by its length along the centre line: a primary as it is made.

    Between, before and behind the bends lie straight pieces, all of the same length.

    Parameters
    ----------
    length : float
        Of the whole along the centre line, bends included [m], 0.001 to 30.
    diameter : float or None
        Inner diameter [m], 0.003 to 0.5; None: from `outer_diameter`.
    angles_deg : sequence of float
        Angle of every bend in the direction of the flow [deg], 1 to 180.
    radius : float
        Of the centre line of all bends [m], 0.0015 to 50, at least half the diameter.
    outer_diameter, thickness
        As for `Pipe`.
    wall_temperature, wall, roughness, heat_factor, friction_factor_scale, cell_length
        As for `Pipe`.

    Raises
    ------
    InputError
        If a value is outside its range, or the bends are longer than the tube.

    Examples
    --------
    >>> primary = BentTube("750 mm", outer_diameter="42.4 mm", thickness="1.6 mm",
    ...                    angles_deg=(90, 60), radius="60 mm")
    >>> [type(piece).__name__ for piece in primary.pieces]
    ['Pipe', 'Bend', 'Pipe', 'Bend', 'Pipe']
    >>> round(sum(piece.length for piece in primary.pieces), 12), round(primary.straight, 4)
    (0.75, 0.1976)
    """

    length: float = number("m", *LENGTH_RANGE)
    diameter: float = number("m", *BORE_RANGE, default=None)
    _: KW_ONLY
    angles_deg: tuple[float, ...] = numbers("deg", 1.0, 180.0)
    radius: float = number("m", 0.0015, 50.0)
    outer_diameter: float | None = number("m", *OUTER_RANGE, default=None)
    thickness: float | None = number("m", *TUBE_WALL_RANGE, default=None)
    wall_temperature: float | None = number("K", *WALL_TEMPERATURE_RANGE, default=None)
    wall: Wall | None = part(Wall, default=None, optional=True)
    roughness: float = roughness_field()
    heat_factor: float = number("1", *FACTOR_RANGE, default=1.0)
    friction_factor_scale: float = number("1", *FACTOR_RANGE, default=1.0)
    cell_length: float | None = number("m", *CELL_RANGE, default=None)

    def replace(self, **changes: Any) -> "BentTube":
        """See `Description.replace`; of bore and outer diameter the one that is changed counts.

        Examples
        --------
        >>> tube = BentTube(0.5, angles_deg=(90,), radius=0.07, outer_diameter=0.05,
        ...                 thickness=0.002)
        >>> tube.replace(outer_diameter=0.06).diameter, tube.replace(diameter=0.04).outer_diameter
        (0.056, None)
        """
        return super().replace(**with_bores(self, changes))

    def _check(self):
        check_metal(self)
        if not self.angles_deg:
            self._refuse("angles_deg = () holds no bend; a straight tube is a Pipe.")
        bends = sum(bend.length for bend in self.bends)
        shortest = bends + LENGTH_RANGE[0] * (len(self.angles_deg) + 1)
        check_number(self._owner, "length", self.length, "m", shortest, LENGTH_RANGE[1],
                     hint=f"its bends alone are {bends:.6g} m")

    @property
    def bends(self) -> tuple[Bend, ...]:
        """The bends."""
        return tuple(
            Bend(self.diameter, angle, radius=self.radius, **_shared(self))
            for angle in self.angles_deg
        )

    @property
    def straight(self) -> float:
        """Length of each straight piece [m]."""
        bends = sum(bend.length for bend in self.bends)
        return (self.length - bends) / (len(self.angles_deg) + 1)

    @property
    def pieces(self) -> tuple:
        """See `Part.pieces`: straight pieces with the bends between them."""
        straight = Pipe(self.straight, self.diameter, **_shared(self))
        return (straight, *(piece for bend in self.bends for piece in (bend, straight)))

    def amounts(self, wall: Wall) -> Amounts:
        """See `Part.amounts`: those of its pieces."""
        return together(piece.amounts(wall) for piece in self.pieces)


@dataclass(frozen=True)
class Megaphone(Part):
    """Megaphone: a cone that opens, with or without a reverse cone behind it.

    Parameters
    ----------
    length : float or None
        Of the opening cone along its axis [m], 0.001 to 30.
    diameter : float
        Inner diameter where it begins [m], 0.003 to 0.5.
    end_diameter : float
        Inner diameter at its mouth, where it is widest [m], 0.003 to 0.5 and more than `diameter`.
    angle_deg : float or None
        Instead of the length: angle between opposite flanks (the included angle) [deg], 0.5 to 90.
    reverse_length : float
        Of the reverse cone [m]: 0 (none), or 0.001 to 30.
    reverse_diameter : float or None
        Inner diameter where the reverse cone ends [m], 0.003 to 0.5 and less than `end_diameter`.
    thickness : float or None
        As for `Pipe`.
    wall_temperature, wall, roughness, heat_factor, friction_factor_scale, cell_length
        As for `Pipe`.

    Raises
    ------
    InputError
        If a value is outside its range, not exactly one of length and angle is given, or the cones
        do not open and close.

    Notes
    -----
    The waves are those of a cone.  Flow that leaves the wall of a wide cone is not: beyond some 10
    degrees between the flanks less pressure is recovered than computed (common practice, no
    source).

    Examples
    --------
    >>> megaphone = Megaphone(diameter=0.045, end_diameter=0.09, angle_deg=8.0,
    ...                       reverse_length=0.03, reverse_diameter=0.05)
    >>> [round(piece.length, 4) for piece in megaphone.pieces], megaphone.outlet_diameter
    ([0.3218, 0.03], 0.05)
    """

    length: float | None = number("m", *LENGTH_RANGE, default=None)
    _: KW_ONLY
    diameter: float = number("m", *BORE_RANGE)
    end_diameter: float = number("m", *BORE_RANGE)
    angle_deg: float | None = number("deg", 0.5, 90.0, None)
    reverse_length: float = number("m", 0.0, LENGTH_RANGE[1], 0.0)
    reverse_diameter: float | None = number("m", *BORE_RANGE, default=None)
    thickness: float | None = number("m", *TUBE_WALL_RANGE, default=None)
    wall_temperature: float | None = number("K", *WALL_TEMPERATURE_RANGE, default=None)
    wall: Wall | None = part(Wall, default=None, optional=True)
    roughness: float = roughness_field()
    heat_factor: float = number("1", *FACTOR_RANGE, default=1.0)
    friction_factor_scale: float = number("1", *FACTOR_RANGE, default=1.0)
    cell_length: float | None = number("m", *CELL_RANGE, default=None)

    outer_diameter = None

    def _check(self):
        owner, (shortest, longest) = self._owner, LENGTH_RANGE
        check_metal(self)
        if (self.length is None) == (self.angle_deg is None):
            self._refuse("give exactly one of length (in m) and angle_deg (between the flanks).")
        check_number(owner, "end_diameter", self.end_diameter, "m", self.diameter, BORE_RANGE[1],
                     low_open=True, hint="a megaphone opens; a cone that narrows is a Pipe with an "
                                         "end_diameter")
        check_number(owner, "length", self.cone_length, "m", shortest, longest, hint="of the cone")
        if (self.reverse_length == 0.0) != (self.reverse_diameter is None):
            self._refuse("give both reverse_length and reverse_diameter, or neither.")
        if self.reverse_length:
            check_number(owner, "reverse_length", self.reverse_length, "m", shortest, longest)
            check_number(owner, "reverse_diameter", self.reverse_diameter, "m", BORE_RANGE[0],
                         self.end_diameter, high_open=True, hint="a reverse cone narrows")

    @property
    def cone_length(self) -> float:
        """Length of the opening cone along its axis [m]."""
        if self.length is not None:
            return self.length
        return 0.5 * (self.end_diameter - self.diameter) / tan(0.5 * radians(self.angle_deg))

    @property
    def outlet_diameter(self) -> float:
        """Inner diameter where the gas leaves it [m]."""
        return self.reverse_diameter or self.end_diameter

    @property
    def pieces(self) -> tuple:
        """See `Part.pieces`: one taper or two."""
        cone = Pipe(self.cone_length, self.diameter, end_diameter=self.end_diameter,
                    **_shared(self))
        if not self.reverse_length:
            return (cone,)
        return cone, Pipe(self.reverse_length, self.end_diameter,
                          end_diameter=self.reverse_diameter, **_shared(self))

    def amounts(self, wall: Wall) -> Amounts:
        """See `Part.amounts`: those of its cones."""
        return together(piece.amounts(wall) for piece in self.pieces)


@dataclass(frozen=True)
class Flange(Part):
    """Flange in the line, or a pair with its gasket: a short tube of its own bore, and its mass.

    A bore that differs from that of the tubes makes two steps, which reflect and lose.

    Parameters
    ----------
    length : float
        Thickness of all plates and gaskets together, along the line [m], 0.001 to 0.2.
    diameter : float
        Bore [m], 0.003 to 0.5.
    outer_diameter : float
        Outside [m], 0.005 to 1, more than the bore; of a flange that is not round: diameter of a
        circle of the same area, bolt holes taken off.
    metal : str or Metal
        Of the plates.
    wall_temperature : float or None
        [K], 200 to 1500; None: no heat passes it.
    cell_length : float or None
        Wanted length of the computing cells [m], 0.0005 to 1; None: the setting for the whole run.

    Raises
    ------
    InputError
        If a value is outside its range.

    Examples
    --------
    Two plates of 10 mm and a gasket:

    >>> pair = Flange("21.5 mm", "45 mm", outer_diameter="80 mm")
    >>> round(pair.mass, 3)
    0.58
    """

    length: float = number("m", LENGTH_RANGE[0], 0.2)
    diameter: float = number("m", *BORE_RANGE)
    _: KW_ONLY
    outer_diameter: float = number("m", 0.005, 1.0)
    metal: str | Metal = metal_field()
    wall_temperature: float | None = number("K", *WALL_TEMPERATURE_RANGE, default=None)
    cell_length: float | None = number("m", *CELL_RANGE, default=None)

    def _check(self):
        check_number(self._owner, "outer_diameter", self.outer_diameter, "m", self.diameter, 1.0,
                     low_open=True, hint="more than the bore")

    @property
    def pieces(self) -> tuple:
        """See `Part.pieces`: a short pipe."""
        return (Pipe(self.length, self.diameter, wall_temperature=self.wall_temperature,
                     cell_length=self.cell_length),)

    @property
    def mass(self) -> float:
        """Of the metal [kg]."""
        ring = 0.25 * pi * (self.outer_diameter**2 - self.diameter**2)
        return as_metal(self.metal).density * ring * self.length

    def amounts(self, wall: Wall) -> Amounts:
        """See `Part.amounts`; the mass counts among the tubes, the outside is rim and faces."""
        (pipe,) = self.pieces
        faces = 0.5 * pi * (self.outer_diameter**2 - self.diameter**2)
        return pipe.amounts(wall)._replace(
            outer_area=pi * self.outer_diameter * self.length + faces, tube_mass=self.mass
        )
