"""Pipes and bends, lines of parts, and the ducts that the solver sees.

A *part* is one piece of an exhaust or intake.  Pipes and bends are pieces of tube; plates,
monoliths, chambers, silencers and side branches (`wavesim.descriptions.parts` and `.silencers`)
are made of several ducts and nodes.  A *line* is a tuple of parts laid end to end; its bores may
jump.  A *duct* is a run of tubes without jumps: one stretch of the computed gas column, with x
running from its start to its end.
"""

from abc import ABC, abstractmethod
from collections.abc import Sequence
from dataclasses import KW_ONLY, dataclass
from functools import cached_property
from math import hypot, inf, pi, radians, sin, sqrt
from typing import Any, NamedTuple

import numpy as np

from wavesim.constants import CELL_RANGE, FACTOR_RANGE, WALL_TEMPERATURE_RANGE
from wavesim.descriptions.materials import roughness_field
from wavesim.descriptions.pieces import Branch, Opening
from wavesim.descriptions.walls import Wall
from wavesim.errors import InputError, check_number, shown
from wavesim.fields.description import MISSING, Description, checked, number, part
from wavesim.kernels.constants import (
    HAALAND_FACTOR,
    HAALAND_POWER,
    HAALAND_ROUGH,
    HAALAND_SMOOTH,
    LAMINAR,
    TURBULENT,
)

LENGTH_RANGE = (0.001, 30.0)  # [m]
BORE_RANGE = (0.003, 0.5)  # [m]
OUTER_RANGE = (0.003, 0.6)  # outer diameter of tube [m]
TUBE_WALL_RANGE = (0.0002, 0.05)  # thickness of its metal [m]

_SAME_BORE = 1e-6  # relative difference below which two bores count as equal
_ON_BORDER = 1e-9  # [m] from the border of a part, within which a cut is made there


class Amounts(NamedTuple):
    """What one part adds to the bill.

    Attributes
    ----------
    length : float
        Along the line [m].
    gas_volume : float
        [m3].
    inner_area, outer_area : float
        Wall touched by the gas, and outside of the metal [m2].
    bends : int
        Number of bends.
    bend_angle_deg : float
        Their angle [deg].
    tube_mass, silencer_mass : float
        [kg].

    Examples
    --------
    >>> import wavesim as ws
    >>> bend = ws.Bend("42 mm", 90, radius_ratio=1.5).amounts(ws.Wall(thickness="1.5 mm"))
    >>> bend.bends, bend.bend_angle_deg, round(bend.length, 3)
    (1, 90.0, 0.099)
    """

    length: float = 0.0
    gas_volume: float = 0.0
    inner_area: float = 0.0
    outer_area: float = 0.0
    bends: int = 0
    bend_angle_deg: float = 0.0
    tube_mass: float = 0.0
    silencer_mass: float = 0.0


def together(amounts):
    """Sum of any number of Amounts."""
    return Amounts(*map(sum, zip(Amounts(), *amounts, strict=True)))


class Part(Description, ABC):
    """Base of all that can be laid in a line.

    Every part knows what it is made of (`pieces`) and what it adds to the bill (`amounts`).  One
    that adds length knows the bore at which it starts (`diameter`) and ends (`outlet_diameter`).
    """

    @property
    def outlet_diameter(self) -> float:
        """Bore at the end [m]."""
        return self.diameter

    @property
    @abstractmethod
    def pieces(self) -> tuple:
        """What the part is made of, in the order in which the gas meets it.

        A tuple of tubes and of what `wavesim.descriptions.pieces` knows; the line makes ducts and
        nodes of them.
        """

    @property
    def adds_length(self) -> bool:
        """False for what stands at one place of the line: a plate, a side branch."""
        return not all(isinstance(piece, (Opening, Branch)) for piece in self.pieces)

    @abstractmethod
    def amounts(self, wall: Wall) -> Amounts:
        """What the part adds to the bill.

        Parameters
        ----------
        wall : Wall
            Wall of tubes that have none of their own.

        Returns
        -------
        Amounts
        """


class Tube(Part):
    """Base of the parts that a duct is made of: `Pipe` and `Bend`.

    A tube has a length, a bore that is constant or changes linearly along it, and the fields
    `hydraulic_diameter` (None: the bore), `roughness`, `friction_factor_scale`, `heat_factor`,
    `wall_temperature`, `wall`, `thickness` and `cell_length` of `Pipe`.  Its loss beyond wall
    friction is spread evenly over its length.
    """

    def _check(self):
        if self.wall is not None and self.wall_temperature is not None:
            self._refuse("give wall_temperature (a fixed temperature in K) or wall, not both.")
        hydraulic = self.hydraulic_diameter
        narrowest = min(self.diameter, self.outlet_diameter) if hydraulic is None else hydraulic
        hint = "friction laws hold to 5 % of the bore"
        largest = 0.05 * narrowest
        check_number(self._owner, "roughness", self.roughness, "m", 0.0, largest, hint=hint)

    @property
    def pieces(self) -> tuple:
        """See `Part.pieces`: a tube is one by itself."""
        return (self,)

    @property
    def gas_volume(self) -> float:
        """Gas volume [m3]."""
        d1, d2 = self.diameter, self.outlet_diameter
        return pi / 12.0 * self.length * (d1 * d1 + d1 * d2 + d2 * d2)

    @property
    @abstractmethod
    def loss_constants(self) -> tuple[float, float]:
        """Constants (a, b) of the loss beyond wall friction, K = a + b f.

        K refers to the local dynamic pressure, f is the Darcy friction factor of the tube at the
        local Reynolds number.
        """

    def loss_coefficient(self, reynolds: float | np.ndarray) -> float | np.ndarray:
        """Loss beyond wall friction, as a share of the local dynamic pressure.

        Parameters
        ----------
        reynolds : float or ndarray
            Reynolds number on the hydraulic diameter.

        Returns
        -------
        float or ndarray
            K, such that the pressure falls by K rho u^2 / 2 more than in a straight tube of the
            same length.

        Examples
        --------
        >>> from wavesim import Pipe
        >>> float(Pipe("1 m", "40 mm", extra_loss=0.3).loss_coefficient(1e5))
        0.3
        """
        a, b = self.loss_constants
        return a + b * friction_factor(reynolds, self.roughness / self._friction_bore)

    @property
    def _friction_bore(self):
        if self.hydraulic_diameter is not None:
            return self.hydraulic_diameter
        return 0.5 * (self.diameter + self.outlet_diameter)

    @property
    def _perimeter_factor(self):
        """Perimeter over that of a round tube of the same area."""
        hydraulic = self.hydraulic_diameter
        return 1.0 if hydraulic is None else self.diameter / hydraulic

    def amounts(self, wall: Wall) -> Amounts:
        """See `Part.amounts`; a cone is taken as long as its flank."""
        wall = metal_of(self, wall)
        d1, d2 = self.diameter, self.outlet_diameter
        flank = hypot(self.length, 0.5 * (d2 - d1)) * self._perimeter_factor
        mean = 0.5 * (d1 + d2)
        return Amounts(
            length=self.length,
            gas_volume=self.gas_volume,
            inner_area=pi * mean * flank,
            outer_area=pi * wall.metal_outer_diameter(mean) * flank,
            tube_mass=wall.mass_per_length(mean) * flank,
        )


# --- tube by its outer diameter -----------------------------------------------------------------


def metal_of(tube, wall):
    """Wall of a tube: its own, else the given one with the thickness that the tube states."""
    if tube.wall is not None or tube.thickness is None:
        return tube.wall or wall
    return wall.replace(thickness=tube.thickness)


def find_bore(tube, bore="diameter", outer="outer_diameter"):
    """Fill in the bore of a tube that is given by its outer diameter, and refuse contradictions.

    Parameters
    ----------
    tube : Part
        With the fields of these names, `thickness` and `wall`.
    bore, outer : str
        Names of the two fields.
    """
    given, around = getattr(tube, bore), getattr(tube, outer)
    if around is None:
        return
    if tube.thickness is None and tube.wall is None:
        tube._refuse(
            f"{outer} = {around:.9g} m needs the thickness of the metal, such as thickness = "
            "'16 gauge', or a wall."
        )
    metal = 2.0 * tube.thickness if tube.wall is None else tube.wall.metal_outer_diameter(0.0)
    left = round(around - metal, 12)  # a picometre is no bore
    inner = check_number(tube._owner, bore, left, "m", *BORE_RANGE,
                         hint=f"{outer} less the metal on both sides")
    if given is not None and not same_bore(given, inner):
        tube._refuse(
            f"{bore} = {given:.9g} m stands beside {outer} = {around:.9g} m, which leaves "
            f"{inner:.9g} m; give one of the two."
        )
    object.__setattr__(tube, bore, inner)


def check_metal(tube):
    """Refuse a tube without a bore, or whose thickness is stated twice."""
    if tube.wall is not None and tube.thickness is not None:
        tube._refuse("give the thickness beside the wall or in it, not both.")
    find_bore(tube)
    if tube.diameter is None:
        tube._refuse("missing field diameter (the bore), or outer_diameter with thickness.")


def with_bores(tube, changes, pairs=(("diameter", "outer_diameter"),)):
    """Changes of a tube in which bore and outer diameter do not contradict one another.

    Whichever of the two is changed counts; with another thickness or wall the outer one stays.
    """
    changes = dict(changes)
    for bore, outer in pairs:
        if bore in changes and outer not in changes:
            changes[outer] = None
        elif {outer, "thickness", "wall"} & changes.keys() and bore not in changes:
            if changes.get(outer, getattr(tube, outer)) is not None:
                changes[bore] = None
    return changes


def friction_factor(reynolds, relative_roughness=0.0):
    """Darcy friction factor of steady flow.

    Parameters
    ----------
    reynolds : float or ndarray
        Reynolds number on the hydraulic diameter, above 0.
    relative_roughness : float or ndarray
        Sand-grain roughness over hydraulic diameter, 0 to 0.05.

    Notes
    -----
    64 / Re below 2300, Haaland, J. Fluids Eng. 105 (1983) 89, above 4000, a linear blend between;
    within 2 % of Colebrook (1939).

    Examples
    --------
    >>> round(float(friction_factor(1e5)), 5)
    0.01782
    """
    re = np.asarray(reynolds, dtype=float)
    root = -HAALAND_FACTOR * np.log10(
        (relative_roughness / HAALAND_ROUGH) ** HAALAND_POWER
        + HAALAND_SMOOTH / np.maximum(re, LAMINAR)
    )
    blend = np.clip((re - LAMINAR) / (TURBULENT - LAMINAR), 0.0, 1.0)
    return (1.0 - blend) * 64.0 / re + blend / root**2


@dataclass(frozen=True)
class Pipe(Tube):
    """One piece of tube with a bore that is constant or changes linearly along it.

    Parameters
    ----------
    length : float
        Length along the centre line [m], 0.001 to 30.
    diameter : float or None
        Inner diameter at the start [m], 0.003 to 0.5; of a passage that is not round: diameter
        of a circle of the same area.  None: from `outer_diameter`.
    end_diameter : float or None
        Inner diameter at the end [m], same range; None: as at the start.  This makes a taper.
    outer_diameter, end_outer_diameter : float or None
        Instead: outer diameter of the metal at the start and at the end [m], 0.003 to 0.6, as tube
        is bought; the bore is less by the metal on both sides (and a coating), so that `thickness`
        or `wall` must be given.
    thickness : float or None
        Of the metal [m], 0.0002 to 0.05, or a text such as "16 gauge" (Birmingham), for bore and
        bill alone; None: that of the wall, in a bill without one that of the bill.
    wall_temperature : float or None
        Temperature of the inner wall [K], 200 to 1500.
    wall : Wall or None
        Instead: a wall whose temperature is solved.  Neither of the two: no heat passes the wall.
    roughness : float or str
        Sand-grain roughness [m], 0 to 0.005 and at most 5 % of the bore, or the state of the
        surface by name: "drawn", "new steel" (the default, Moody 1944), "light rust", "heavy rust",
        "scale" (`wavesim.descriptions.materials.ROUGHNESS` names the sources).
    heat_factor : float
        Factor on the steady-flow Nusselt number, 0 to 10.  Pulsating flow near the valves carries
        more heat than steady flow: 1.5 to 3 is common practice, no source.
    friction_factor_scale : float
        Factor on the friction factor, 0 to 10; 0 is frictionless.
    extra_loss : float
        Loss coefficient beyond wall friction, 0 to 100, spread over the length and referred to the
        local dynamic pressure: for a flexible joint, a probe, a crushed spot, or a steep taper.
        A taper by itself loses nothing; how much real ones lose that widen by more than some 10
        deg or narrow by more than 30 deg in all is tabulated in `validation/case_short_cones.py`.
    hydraulic_diameter : float or None
        Four times area over perimeter [m], 1e-4 to 0.5 and no larger than the diameter, which must
        then be constant; None: the bore of a round tube.
    cell_length : float or None
        Wanted cell length [m], 0.0005 to 1; None: the setting for the whole run.

    Raises
    ------
    InputError
        If a value is outside its range.

    Examples
    --------
    >>> round(Pipe(0.75, 0.038).gas_volume, 9)
    0.000850586

    Tube of 1 5/8 inch and 16 gauge:

    >>> tube = Pipe("30 inch", outer_diameter="1 5/8 inch", thickness="16 gauge")
    >>> round(tube.diameter, 6), tube.length
    (0.037973, 0.762)
    """

    length: float = number("m", *LENGTH_RANGE)
    diameter: float = number("m", *BORE_RANGE, default=None)
    _: KW_ONLY
    end_diameter: float | None = number("m", *BORE_RANGE, default=None)
    outer_diameter: float | None = number("m", *OUTER_RANGE, default=None)
    end_outer_diameter: float | None = number("m", *OUTER_RANGE, default=None)
    thickness: float | None = number("m", *TUBE_WALL_RANGE, default=None)
    wall_temperature: float | None = number("K", *WALL_TEMPERATURE_RANGE, default=None)
    wall: Wall | None = part(Wall, default=None, optional=True)
    roughness: float = roughness_field()
    heat_factor: float = number("1", *FACTOR_RANGE, default=1.0)
    friction_factor_scale: float = number("1", *FACTOR_RANGE, default=1.0)
    extra_loss: float = number("1", 0.0, 100.0, default=0.0)
    hydraulic_diameter: float | None = number("m", 1e-4, 0.5, default=None)
    cell_length: float | None = number("m", *CELL_RANGE, default=None)

    def replace(self, **changes: Any) -> "Pipe":
        """See `Description.replace`; of bore and outer diameter the one that is changed counts.

        Examples
        --------
        >>> tube = Pipe(0.5, outer_diameter=0.05, thickness=0.002)
        >>> tube.replace(outer_diameter=0.06).diameter, tube.replace(diameter=0.04).outer_diameter
        (0.056, None)
        """
        pairs = (("diameter", "outer_diameter"), ("end_diameter", "end_outer_diameter"))
        return super().replace(**with_bores(self, changes, pairs))

    def _check(self):
        check_metal(self)
        find_bore(self, "end_diameter", "end_outer_diameter")
        if self.hydraulic_diameter is not None:
            if not same_bore(self.diameter, self.outlet_diameter):
                self._refuse("hydraulic_diameter needs the same diameter at both ends.")
            check_number(self._owner, "hydraulic_diameter", self.hydraulic_diameter, "m", 1e-4,
                         self.diameter, hint="a round tube has the largest")
        super()._check()

    @property
    def outlet_diameter(self) -> float:
        """Inner diameter at the end [m]."""
        return self.diameter if self.end_diameter is None else self.end_diameter

    @property
    def loss_constants(self) -> tuple[float, float]:
        """Constants (a, b) of the loss beyond wall friction; see `Tube.loss_constants`."""
        return self.extra_loss, 0.0

    def cut(self, x: float) -> tuple["Pipe", "Pipe"]:
        """The two pieces before and behind a position.

        Parameters
        ----------
        x : float
            Position from the start [m], within the pipe.

        Returns
        -------
        (Pipe, Pipe)
            A taper goes on with its slope, the extra loss is shared by length.

        Raises
        ------
        InputError
            If a piece would be shorter than a pipe may be.

        Examples
        --------
        >>> from wavesim import Pipe
        >>> front, rest = Pipe("1 m", "40 mm").cut(0.4)
        >>> round(front.length, 6), round(rest.length, 6)
        (0.4, 0.6)
        """
        check_number("Pipe", "position", x, "m", 0.0, self.length, low_open=True, high_open=True)
        share = x / self.length
        tapered = self.end_diameter is not None
        middle = self.diameter + share * (self.outlet_diameter - self.diameter)
        return (
            self.replace(length=x, end_diameter=middle if tapered else None,
                         extra_loss=share * self.extra_loss),
            self.replace(length=self.length - x, diameter=middle if tapered else self.diameter,
                         extra_loss=(1.0 - share) * self.extra_loss),
        )


@dataclass(frozen=True)
class Bend(Tube):
    """Smooth bend of constant bore, such as a mandrel bend or a turn-out at the end of a tailpipe.

    Parameters
    ----------
    diameter : float or None
        Inner diameter [m], 0.003 to 0.5; None: from `outer_diameter`.
    angle_deg : float
        Angle by which the flow is turned [deg], 1 to 180.
    radius : float or None
        Radius of the centre line [m], at least half the diameter, at most 100 diameters.
    radius_ratio : float or None
        Instead: this radius over the diameter, 0.5 to 100; mandrel bends have 1 to 2.  (Catalogues
        often count in outer diameters; then give the radius itself.)
    outer_diameter, thickness
        As for `Pipe`.
    wall_temperature, wall, roughness, heat_factor, friction_factor_scale, cell_length
        As for `Pipe`.

    Raises
    ------
    InputError
        If not exactly one of `radius` and `radius_ratio` is given or a value is outside its range.

    Notes
    -----
    Rennels and Hudson, Pipe Flow (2012), ch. 15, in the form of the Python package `fluids`:

        K_total = f alpha r/d + (0.10 + 2.4 f) sin(alpha/2)
                  + 6.6 f (sqrt(sin(alpha/2)) + sin(alpha/2)) / (r/d)^(4 alpha/pi).

    The first term is the friction of the straight tube, which is computed anyway; the rest is
    linear in f and gives `loss_constants`.  Handbooks differ by 15 % and more about such numbers,
    and the formula holds for a bend with straight tube behind it: bends close together lose
    less or more than their sum.

    Examples
    --------
    >>> bend = Bend(0.05, 90, radius_ratio=1.5)
    >>> round(bend.length, 4), round(float(bend.loss_coefficient(1e5)), 3)
    (0.1178, 0.206)
    """

    diameter: float = number("m", *BORE_RANGE, default=None)
    angle_deg: float = number("deg", 1.0, 180.0, default=None)
    _: KW_ONLY
    outer_diameter: float | None = number("m", *OUTER_RANGE, default=None)
    thickness: float | None = number("m", *TUBE_WALL_RANGE, default=None)
    radius: float | None = number("m", 0.0015, 50.0, default=None)
    radius_ratio: float | None = number("1", 0.5, 100.0, default=None)
    wall_temperature: float | None = number("K", *WALL_TEMPERATURE_RANGE, default=None)
    wall: Wall | None = part(Wall, default=None, optional=True)
    roughness: float = roughness_field()
    heat_factor: float = number("1", *FACTOR_RANGE, default=1.0)
    friction_factor_scale: float = number("1", *FACTOR_RANGE, default=1.0)
    cell_length: float | None = number("m", *CELL_RANGE, default=None)

    hydraulic_diameter = None

    def replace(self, **changes: Any) -> "Bend":
        """See `Description.replace`; of bore and outer diameter the one that is changed counts.

        Examples
        --------
        >>> tube = Bend(angle_deg=90, radius=0.07, outer_diameter=0.05, thickness=0.002)
        >>> tube.replace(outer_diameter=0.06).diameter, tube.replace(diameter=0.04).outer_diameter
        (0.056, None)
        """
        return super().replace(**with_bores(self, changes))

    def _check(self):
        check_metal(self)
        if self.angle_deg is None:
            self._refuse("missing field angle_deg (valid range 1 deg to 180 deg).")
        if (self.radius is None) == (self.radius_ratio is None):
            self._refuse("give exactly one of radius (in m) and radius_ratio (radius / diameter).")
        d = self.diameter
        check_number(self._owner, "radius", self.centre_radius, "m", 0.5 * d, 100.0 * d,
                     hint="of the centre line")
        check_number(self._owner, "length", self.length, "m", *LENGTH_RANGE, hint="of the arc")
        super()._check()

    @property
    def centre_radius(self) -> float:
        """Radius of the centre line [m]."""
        return self.radius_ratio * self.diameter if self.radius is None else self.radius

    @property
    def length(self) -> float:
        """Length along the centre line [m]."""
        return radians(self.angle_deg) * self.centre_radius

    @property
    def loss_constants(self) -> tuple[float, float]:
        """Constants (a, b) of the loss beyond wall friction; see `Tube.loss_constants`."""
        half = sin(0.5 * radians(self.angle_deg))
        ratio = self.centre_radius / self.diameter
        separation = 6.6 * (sqrt(half) + half) / ratio ** (self.angle_deg / 45.0)
        return 0.10 * half, 2.4 * half + separation

    def amounts(self, wall: Wall) -> Amounts:
        """See `Part.amounts`."""
        return super().amounts(wall)._replace(bends=1, bend_angle_deg=self.angle_deg)


TUBES = (Pipe, Bend)


def as_line(value, owner="line", field="parts", kinds=TUBES):
    """Line from a part or a sequence of parts.

    Parameters
    ----------
    value : Part or iterable of Part
        One piece or several, laid end to end.
    owner, field : str
        For the message.
    kinds : tuple of type
        Classes of parts that may stand in it.

    Returns
    -------
    tuple of Part

    Raises
    ------
    InputError
        If something in it is no such part.
    """
    parts = (value,) if isinstance(value, kinds) else value
    if not isinstance(parts, (tuple, list)) or not all(isinstance(p, kinds) for p in parts):
        *first, last = (kind.__name__ for kind in kinds)
        raise InputError(
            f"{owner}: {field} = {shown(value)} must be a {', '.join(first)} or {last}, or a "
            "sequence of them."
        )
    return tuple(parts)


def line(default=MISSING, kinds=TUBES):
    """Field for a line; a default of () allows the line to be left out."""

    def check(owner, name, value):
        parts = as_line(value, owner, name, kinds)
        if not parts and default != ():
            raise InputError(f"{owner}: {name} = () must hold at least one Pipe.")
        return parts

    return checked(check, default, kinds=kinds, tag="part")


def same_bore(d1, d2):
    """True if two diameters [m] are equal within one part in a million."""
    return abs(d1 - d2) <= _SAME_BORE * max(d1, d2)


@dataclass(frozen=True, kw_only=True)
class Duct(Description):
    """Pipes and bends end to end without a jump of bore.

    Parameters
    ----------
    parts : Pipe, Bend or sequence of them
        In the direction of x.

    Raises
    ------
    InputError
        If a part starts with another bore than the part before it ends with.

    Examples
    --------
    >>> from wavesim.descriptions.pipes import Pipe
    >>> Duct(parts=(Pipe("0.3 m", "40 mm"), Pipe("0.2 m", "40 mm", end_diameter="50 mm"))).length
    0.5
    """

    parts: tuple[Tube, ...] = line()

    def _check(self):
        for i, (a, b) in enumerate(zip(self.parts, self.parts[1:], strict=False)):
            if not same_bore(a.outlet_diameter, b.diameter):
                self._refuse(
                    f"parts[{i + 1}].diameter = {b.diameter:.9g} m must equal the bore at the "
                    f"end of the part before it, {a.outlet_diameter:.9g} m (join ducts of "
                    "different bore with an AreaStep)."
                )

    @cached_property
    def breaks(self) -> np.ndarray:
        """Positions of the ends of the parts [m], (n_part + 1,) from 0 to the length."""
        places = np.concatenate(([0.0], np.cumsum([tube.length for tube in self.parts])))
        places.flags.writeable = False
        return places

    @cached_property
    def _bores(self):
        """Bore where each part begins, and at the end [m], (n_part + 1,)."""
        return np.array([tube.diameter for tube in self.parts] + [self.end_diameter])

    @cached_property
    def _volumes(self):
        """Volume before each part, and of all [m3], (n_part + 1,)."""
        return np.concatenate(([0.0], np.cumsum([tube.gas_volume for tube in self.parts])))

    @property
    def length(self) -> float:
        """Length along the centre line [m]."""
        return float(self.breaks[-1])

    @property
    def start_diameter(self) -> float:
        """Bore at x = 0 [m]."""
        return self.parts[0].diameter

    @property
    def end_diameter(self) -> float:
        """Bore at x = length [m]."""
        return self.parts[-1].outlet_diameter

    def cut(self, x: float) -> tuple["Duct", "Duct"]:
        """The two ducts before and behind a position.

        Parameters
        ----------
        x : float
            Position from the start [m], within the duct.

        Returns
        -------
        (Duct, Duct)
            Together they have the length, the volume and the losses of the one.

        Raises
        ------
        InputError
            If the position is not within the duct or lies within a bend, or if a piece would be
            shorter than a pipe may be.

        Examples
        --------
        >>> [round(piece.length, 3) for piece in as_duct(Pipe(0.75, 0.038)).cut(0.25)]
        [0.25, 0.5]
        """
        check_number("Duct", "position", x, "m", 0.0, self.length, low_open=True, high_open=True)
        i = int(self.part_index(x))
        from_start, to_end = x - self.breaks[i], self.breaks[i + 1] - x
        if min(from_start, to_end) < _ON_BORDER:
            border = i if from_start < to_end else i + 1
            before, behind = self.parts[:border], self.parts[border:]
        elif isinstance(self.parts[i], Pipe):
            first, second = self.parts[i].cut(from_start)
            before, behind = (*self.parts[:i], first), (second, *self.parts[i + 1 :])
        else:
            self._refuse(
                f"position = {x:g} m lies within a bend, from {self.breaks[i]:g} m to "
                f"{self.breaks[i + 1]:g} m, must lie in a Pipe or where two parts meet."
            )
        return Duct(parts=before), Duct(parts=behind)

    def part_index(self, x: float | np.ndarray) -> np.ndarray:
        """Index of the part that holds each position.

        Parameters
        ----------
        x : float or ndarray
            Position from the start [m]; outside the duct the nearest part counts.

        Returns
        -------
        ndarray of int, shaped like `x`

        Examples
        --------
        >>> from wavesim import Duct, Pipe
        >>> duct = Duct(parts=(Pipe(0.5, 0.04), Pipe(0.3, 0.04, end_diameter=0.08)))
        >>> duct.part_index([0.2, 0.7]).tolist()
        [0, 1]
        """
        return np.searchsorted(self.breaks[1:-1], x, side="right")

    def diameter_at(self, x: float | np.ndarray) -> float | np.ndarray:
        """Bore at a position.

        Parameters
        ----------
        x : float or ndarray
            Position from the start [m]; outside the duct the bore of the nearest end is taken.

        Returns
        -------
        float or ndarray
            Diameter [m].

        Examples
        --------
        >>> from wavesim import Duct, Pipe
        >>> duct = Duct(parts=(Pipe(0.5, 0.04), Pipe(0.3, 0.04, end_diameter=0.08)))
        >>> round(float(duct.diameter_at(0.65)), 6)
        0.06
        """
        return np.interp(x, self.breaks, self._bores)

    def hydraulic_diameter_at(self, x: float | np.ndarray) -> float | np.ndarray:
        """Four times area over perimeter at a position.

        Parameters
        ----------
        x : float or ndarray
            Position from the start [m].

        Returns
        -------
        float or ndarray
            Hydraulic diameter [m], the bore of a round part.

        Examples
        --------
        >>> from wavesim import Duct, Pipe
        >>> duct = Duct(parts=(Pipe(0.5, 0.04), Pipe(0.3, 0.04, end_diameter=0.08)))
        >>> round(float(duct.hydraulic_diameter_at(0.65)), 6)
        0.06
        """
        given = np.array([tube.hydraulic_diameter or inf for tube in self.parts])
        return np.minimum(given[self.part_index(x)], self.diameter_at(x))

    def mean(
        self, values: Sequence[float], x1: float | np.ndarray, x2: float | np.ndarray
    ) -> float | np.ndarray:
        """Average of something that is constant in each part, between two positions.

        Parameters
        ----------
        values : sequence of float
            Value of each part.
        x1, x2 : float or ndarray
            Positions from the start [m], x1 < x2.

        Returns
        -------
        float or ndarray
            Average over the stretch; over all cells of a mesh, the sum of average times length is
            exact, however short a part is.

        Examples
        --------
        >>> from wavesim import Duct, Pipe
        >>> duct = Duct(parts=(Pipe(0.5, 0.04), Pipe(0.3, 0.04, end_diameter=0.08)))
        >>> round(float(duct.mean([1.0, 3.0], 0.4, 0.6)), 6)
        2.0
        """
        if len(values) != len(self.parts):
            self._refuse(f"{len(values)} values for {len(self.parts)} parts.")
        sums = np.concatenate(
            ([0.0], np.cumsum([v * t.length for v, t in zip(values, self.parts, strict=True)]))
        )
        breaks = self.breaks
        return (np.interp(x2, breaks, sums) - np.interp(x1, breaks, sums)) / (x2 - x1)

    def area_at(self, x: float | np.ndarray) -> float | np.ndarray:
        """Area of the cross-section at a position.

        Parameters
        ----------
        x : float or ndarray
            Position from the start [m].

        Returns
        -------
        float or ndarray
            Area [m2].

        Examples
        --------
        >>> from wavesim import Duct, Pipe
        >>> duct = Duct(parts=(Pipe(0.5, 0.04), Pipe(0.3, 0.04, end_diameter=0.08)))
        >>> round(float(duct.area_at(0.8) / duct.area_at(0.0)), 6)
        4.0
        """
        return 0.25 * pi * self.diameter_at(x) ** 2

    def volume(
        self, x1: float | np.ndarray = 0.0, x2: float | np.ndarray | None = None
    ) -> float | np.ndarray:
        """Gas volume between two positions, exact for tapers.

        Parameters
        ----------
        x1, x2 : float or ndarray
            Positions from the start [m], within the duct; x2 = None is the end.

        Returns
        -------
        float or ndarray
            Volume [m3], negative if x2 < x1.

        Examples
        --------
        >>> from wavesim import Duct, Pipe
        >>> duct = Duct(parts=(Pipe(0.5, 0.04), Pipe(0.3, 0.04, end_diameter=0.08)))
        >>> round(float(duct.volume(0.0, 0.5) * 1e6), 1)  # cm3
        628.3
        """
        return self.volume_to(self.length if x2 is None else x2) - self.volume_to(x1)

    def volume_to(self, x: float | np.ndarray) -> float | np.ndarray:
        """Gas volume from the start to a position: whole parts before it, a frustum in its part.

        Parameters
        ----------
        x : float or ndarray
            Position from the start [m], within the duct.

        Returns
        -------
        float or ndarray
            Volume [m3].

        Examples
        --------
        >>> from wavesim import Duct, Pipe
        >>> duct = Duct(parts=(Pipe(0.5, 0.04), Pipe(0.3, 0.04, end_diameter=0.08)))
        >>> round(float(duct.volume_to(0.5) * 1e6), 1)  # cm3
        628.3
        """
        breaks, i = self.breaks, self.part_index(x)
        d1, d2 = self._bores[i], self.diameter_at(x)
        return self._volumes[i] + pi / 12.0 * (x - breaks[i]) * (d1 * d1 + d1 * d2 + d2 * d2)


def as_duct(value, owner="duct"):
    """Duct from a Duct, a Pipe, a Bend or a sequence of them without jumps.

    Parameters
    ----------
    value : Duct, Tube or sequence of Tube
        What to convert.
    owner : str
        For the message.

    Raises
    ------
    InputError
        If it is something else or the bore jumps.
    """
    return value if isinstance(value, Duct) else Duct(parts=as_line(value, owner))
