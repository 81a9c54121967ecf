"""Silencers and side branches as parts of a line.

::

    perforated silencer            chamber with tubes              side tube     resonator
     ______________________         _______________________           | |          _____
    |  annulus (packed?)   |       |  ____                 |          | |         |     |
    |:::::::::::::::::::::::       | annulus    body  _____|          | |         |_   _|
    ------- core -----------       |______        __________    ------   ---   -----| |----
    ------------------------        tube in                     ------------   ------------

All are computed in one dimension: sound whose wavelength is not long against the width of the
case (above about 0.6 times sound speed over case diameter) goes other ways than shown here.
"""

from dataclasses import KW_ONLY, dataclass
from functools import partial
from math import pi, sqrt

from wavesim.constants import (
    CELL_RANGE,
    DISCHARGE_RANGE,
    FACTOR_RANGE,
    FLANGED_END,
    HOLE_DISCHARGE,
    HOLE_RANGE,
    POROSITY_RANGE,
    SHEET_RANGE,
    WALL_TEMPERATURE_RANGE,
)
from wavesim.descriptions.materials import (
    ROUGHNESS,
    Metal,
    Packing,
    as_metal,
    metal_field,
    roughness_field,
)
from wavesim.descriptions.nodes import Orifice, Perforate, Volume
from wavesim.descriptions.pieces import Beside, Branch, Opening, Stretch
from wavesim.descriptions.pipes import BORE_RANGE, LENGTH_RANGE, Amounts, Part, Pipe
from wavesim.descriptions.walls import Wall
from wavesim.errors import check_number
from wavesim.fields.description import number, part

CASE_RANGE = (0.005, 0.5)  # [m]
_SMALLEST_GAP = 0.002  # [m] between tube and case, our choice
_RESONATOR_START = 600.0  # [K] of the burned gas in it before the first cycle, our choice


def _disc(outer, inner=0.0):
    """Area of a ring [m2]."""
    return 0.25 * pi * (outer * outer - inner * inner)


def _tube_mass(density, bore, thickness, length):
    return density * pi * (bore + thickness) * thickness * length


@dataclass(frozen=True)
class PerforatedSilencer(Part):
    """Straight-through silencer (muffler): a perforated core in a case, empty or packed with fibre.

    Parameters
    ----------
    length : float
        Length of the perforated part and of the case [m], 0.001 to 30.
    diameter : float
        Inner diameter of the core [m], 0.003 to 0.5.
    case_diameter : float
        Inner diameter of the case [m], at least 2 mm more than the outside of the core, at most
        0.5; of an oval case: diameter of a circle of the same area.
    hole_diameter : float
        [m], 0.0003 to 0.03 and no larger than the core; 3.5 mm is common practice, no source.
    porosity : float
        Open share of the wall of the core, 0.001 to 0.6; 0.3 is common practice, no source.
    core_wall : float or str
        Thickness of the core [m], 0.0003 to 0.01, or a text such as "18 gauge"; 1.5 mm is common
        practice, no source.
    discharge_coefficient : float
        Of the holes, above 0, at most 1.2; square-edged holes in thin sheet have 0.7 to 0.85
        (common practice, no source).
    packing : Packing or None
        None: the space round the core holds gas only.
    core_loss : float or None
        Loss coefficient of the core beyond wall friction, 0 to 100; None: see `core`.
    roughness : float or str
        Of the core, as for `Pipe`.
    wall_temperature : float or None
        Of the case [K], 200 to 1500; None: no heat passes an empty silencer, and from a packed one
        it passes on to the air outside.  A packing lies between gas and case: what its fibres let
        through is found with the cycles of an engine.
    heat_factor : float
        Factor on the steady-flow Nusselt number at the case of an empty silencer, 0 to 10.
    shell : float or str
        Thickness of case and end plates [m], 0.0003 to 0.01, or a text such as "18 gauge"; 1.2 mm
        is common practice, no source.
    metal : str or Metal
        Of core, case and end plates.
    cell_length : float or None
        Wanted length of the computing cells [m], 0.0005 to 1; None: the setting for the whole run.

    Raises
    ------
    InputError
        If a value is outside its range.

    Examples
    --------
    >>> box = PerforatedSilencer(0.40, 0.054, case_diameter=0.13, hole_diameter=0.0035,
    ...                          porosity=0.3, packing=Packing(bulk_density=120.0))
    >>> round(box.annulus.diameter, 4), box.holes
    (0.1168, 2116)
    """

    length: float = number("m", *LENGTH_RANGE)
    diameter: float = number("m", *BORE_RANGE)
    _: KW_ONLY
    case_diameter: float = number("m", *CASE_RANGE)
    hole_diameter: float = number("m", *HOLE_RANGE, 0.0035)
    porosity: float = number("1", *POROSITY_RANGE, 0.3)
    core_wall: float = number("m", *SHEET_RANGE, 0.0015)
    discharge_coefficient: float = number("1", *DISCHARGE_RANGE, HOLE_DISCHARGE, low_open=True)
    packing: Packing | None = part(Packing, default=None, optional=True)
    core_loss: float | None = number("1", 0.0, 100.0, None)
    roughness: float = roughness_field()
    wall_temperature: float | None = number("K", *WALL_TEMPERATURE_RANGE, default=None)
    heat_factor: float = number("1", *FACTOR_RANGE, default=1.0)
    shell: float = number("m", *SHEET_RANGE, 0.0012)
    metal: str | Metal = metal_field()
    cell_length: float | None = number("m", *CELL_RANGE, default=None)

    def _check(self):
        check_number(self._owner, "case_diameter", self.case_diameter, "m",
                     self.core_outer + _SMALLEST_GAP, CASE_RANGE[1],
                     hint="at least 2 mm more than the outside of the core")
        check_number(self._owner, "hole_diameter", self.hole_diameter, "m", HOLE_RANGE[0],
                     self.diameter, hint="no larger than the core")

    @property
    def core_outer(self) -> float:
        """Outer diameter of the core [m]."""
        return self.diameter + 2.0 * self.core_wall

    @property
    def holes(self) -> int:
        """Number of holes, to the nearest whole."""
        wall = pi * self.diameter * self.length
        return round(self.porosity * wall / _disc(self.hole_diameter))

    @property
    def core(self) -> Pipe:
        """The core as a Pipe.

        Notes
        -----
        Flow along a perforated wall loses 0.06 x dynamic pressure beyond what a smooth wall takes,
        x being the area of all holes over that of the core: a fit to measured concentric-tube
        silencers, M. L. Munjal, Acoustics of Ducts and Mufflers (2014), ch. 3 (from memory).  A
        part of it comes by itself: gas passes into the space round the core and back, and gives its
        axial momentum to the wall.  The pipe has the rest, 0.03 x with an empty and 0.05 x with
        a packed space, so that the whole silencer loses what the fit says within 15 %.
        """
        share = 0.03 if self.packing is None else 0.05
        loss = share * 4.0 * self.porosity * self.length / self.diameter
        return Pipe(
            self.length,
            self.diameter,
            roughness=self.roughness,
            extra_loss=loss if self.core_loss is None else self.core_loss,
            cell_length=self.cell_length,
        )

    @property
    def annulus(self) -> Pipe:
        """The space round the core as a Pipe of the same area and hydraulic diameter.

        Its area counts the fibre of a packing as gas; the node that couples core and annulus
        knows the packing.
        """
        gap = self.case_diameter - self.core_outer
        return Pipe(
            self.length,
            sqrt(self.case_diameter**2 - self.core_outer**2),
            hydraulic_diameter=gap,
            roughness=min(self.roughness, 0.05 * gap),
            wall_temperature=self.wall_temperature,
            heat_factor=self.heat_factor,
            cell_length=self.cell_length,
        )

    @property
    def pieces(self) -> tuple:
        """See `Part.pieces`: the core, and beside it the annulus behind the holes."""
        holes = partial(
            Perforate,
            hole_diameter=self.hole_diameter,
            porosity=self.porosity,
            wall_thickness=self.core_wall,
            discharge_coefficient=self.discharge_coefficient,
            packing=self.packing,
        )
        beside = Beside("annulus", self.annulus, "perforate", holes)
        return (Stretch("core", self.core, beside=beside),)

    @property
    def gas_volume(self) -> float:
        """Gas volume of core and annulus without the fibre [m3]."""
        share = 1.0 if self.packing is None else self.packing.gas_fraction
        return self.core.gas_volume + share * self.annulus.gas_volume

    @property
    def packing_mass(self) -> float:
        """Mass of the packing [kg]."""
        density = 0.0 if self.packing is None else self.packing.bulk_density
        return density * self.annulus.gas_volume

    def amounts(self, wall: Wall) -> Amounts:
        """See `Part.amounts`: core, case, two end plates and packing are silencer mass."""
        density, case = as_metal(self.metal).density, self.case_diameter
        core = _tube_mass(density, self.diameter, self.core_wall, self.length)
        shell = _tube_mass(density, case, self.shell, self.length)
        plates = 2.0 * density * self.shell * _disc(case, self.diameter)
        return Amounts(
            length=self.length,
            gas_volume=self.gas_volume,
            inner_area=pi * (self.core_outer + self.diameter + case) * self.length,
            outer_area=pi * (case + 2.0 * self.shell) * self.length + 2.0 * _disc(case),
            silencer_mass=(1.0 - self.porosity) * core + shell + plates + self.packing_mass,
        )


@dataclass(frozen=True)
class Chamber(Part):
    """Chamber silencer (muffler): an expansion chamber, with or without tubes that reach into it.

    Several in a row with baffles and internal tubes: put chambers one after the other; the tube
    through a common baffle is the outlet tube of the first with the inlet tube of the second.

    Parameters
    ----------
    length : float
        Between the end plates [m], 0.001 to 30.
    diameter : float
        Inner diameter of the inlet tube or hole [m], 0.003 to 0.5.
    end_diameter : float or None
        The same at the outlet [m]; None: as at the inlet.
    case_diameter : float
        Inner diameter of the case [m], at least 2 mm more than the outside of the tubes, at most
        0.5.
    inlet_extension, outlet_extension : float
        Length by which the inlet or outlet tube reaches into the chamber [m]: 0, or 0.001 to 30;
        both together leave at least 0.001 m of the chamber free.
    tube_wall : float or str
        Thickness of these tubes [m], 0.0003 to 0.01, or a text such as "16 gauge"; 1.5 mm is common
        practice, no source.
    wall_temperature : float or None
        Of the case [K], 200 to 1500; None: no heat passes it.
    heat_factor : float
        Factor on the steady-flow Nusselt number at the case, 0 to 10.
    shell : float or str
        Thickness of case and end plates [m], 0.0003 to 0.01, or a text such as "18 gauge"; 1.2 mm
        is common practice, no source.
    metal : str or Metal
        Of tubes, case and end plates.
    cell_length : float or None
        Wanted length of the computing cells [m], 0.0005 to 1; None: the setting for the whole run.

    Raises
    ------
    InputError
        If a value is outside its range or the tubes fill the chamber.

    Notes
    -----
    The gas beside a tube is a closed annular duct which meets tube and chamber at the end of the
    tube; no length correction is added there (a tube that reaches in acts longer by about 0.6 of
    its radius).

    Examples
    --------
    >>> Chamber("0.4 m", "50 mm", case_diameter="140 mm").case_diameter
    0.14
    """

    length: float = number("m", *LENGTH_RANGE)
    diameter: float = number("m", *BORE_RANGE)
    _: KW_ONLY
    end_diameter: float | None = number("m", *BORE_RANGE, default=None)
    case_diameter: float = number("m", *CASE_RANGE)
    inlet_extension: float = number("m", 0.0, LENGTH_RANGE[1], 0.0)
    outlet_extension: float = number("m", 0.0, LENGTH_RANGE[1], 0.0)
    tube_wall: float = number("m", *SHEET_RANGE, 0.0015)
    wall_temperature: float | None = number("K", *WALL_TEMPERATURE_RANGE, default=None)
    heat_factor: float = number("1", *FACTOR_RANGE, default=1.0)
    shell: float = number("m", *SHEET_RANGE, 0.0012)
    metal: str | Metal = metal_field()
    cell_length: float | None = number("m", *CELL_RANGE, default=None)

    def _check(self):
        widest = max(self.diameter, self.outlet_diameter) + 2.0 * self.tube_wall
        check_number(self._owner, "case_diameter", self.case_diameter, "m",
                     widest + _SMALLEST_GAP, CASE_RANGE[1],
                     hint="at least 2 mm more than the outside of the tubes")
        free, shortest = self.length, LENGTH_RANGE[0]
        for name in ("inlet_extension", "outlet_extension"):
            extension = getattr(self, name)
            check_number(self._owner, name, extension, "m", 0.0, free - shortest,
                         hint="part of the chamber stays free")
            if 0.0 < extension < shortest:
                self._refuse(
                    f"{name} = {extension:.9g} m must be 0 m or in the valid range {shortest:g} m "
                    f"to {free - shortest:.9g} m."
                )
            free -= extension

    @property
    def outlet_diameter(self) -> float:
        """Inner diameter of the outlet tube or hole [m]."""
        return self.diameter if self.end_diameter is None else self.end_diameter

    @property
    def body_length(self) -> float:
        """Length of the chamber that no tube reaches into [m]."""
        return self.length - self.inlet_extension - self.outlet_extension

    @property
    def body(self) -> Pipe:
        """The free part of the chamber as a Pipe."""
        return self._space(self.body_length, 0.0)

    @property
    def inlet_tube(self) -> Pipe | None:
        """The inlet tube as a Pipe, None without extension."""
        return self._tube(self.inlet_extension, self.diameter)

    @property
    def outlet_tube(self) -> Pipe | None:
        """The outlet tube as a Pipe, None without extension."""
        return self._tube(self.outlet_extension, self.outlet_diameter)

    @property
    def inlet_annulus(self) -> Pipe | None:
        """The gas beside the inlet tube as a Pipe, None without extension."""
        return self._space(self.inlet_extension, self.diameter + 2.0 * self.tube_wall)

    @property
    def outlet_annulus(self) -> Pipe | None:
        """The gas beside the outlet tube as a Pipe, None without extension."""
        return self._space(self.outlet_extension, self.outlet_diameter + 2.0 * self.tube_wall)

    def _tube(self, length, bore):
        return Pipe(length, bore, cell_length=self.cell_length) if length else None

    def _space(self, length, inner):
        """Ring between a tube of outer diameter `inner` and the case."""
        if not length:
            return None
        gap = self.case_diameter - inner
        return Pipe(
            length,
            sqrt(self.case_diameter**2 - inner**2),
            hydraulic_diameter=gap if inner else None,
            roughness=min(ROUGHNESS["new steel"], 0.05 * gap),
            wall_temperature=self.wall_temperature,
            heat_factor=self.heat_factor,
            cell_length=self.cell_length,
        )

    @property
    def pieces(self) -> tuple:
        """See `Part.pieces`: the body between two tubes or holes, the rings beside the tubes."""
        inlet, outlet = self.inlet_annulus, self.outlet_annulus
        body = Stretch(
            "chamber",
            self.body,
            at_start=(Branch("inlet annulus", inlet, joined="end"),) if inlet else (),
            at_end=(Branch("outlet annulus", outlet),) if outlet else (),
        )
        return (
            self.inlet_tube or self._opening(self.diameter),
            body,
            self.outlet_tube or self._opening(self.outlet_diameter),
        )

    @staticmethod
    def _opening(diameter):
        """Hole in an end plate."""
        return Opening("plate", diameter, partial(Orifice, diameter=diameter), must_narrow=True)

    @property
    def _pipes(self):
        """All ducts as Pipes."""
        found = (self.inlet_tube, self.inlet_annulus, self.body, self.outlet_annulus,
                 self.outlet_tube)  # fmt: skip
        return tuple(pipe for pipe in found if pipe is not None)

    @property
    def gas_volume(self) -> float:
        """Gas volume of chamber and tubes [m3]."""
        return sum(pipe.gas_volume for pipe in self._pipes)

    @property
    def inlet_plate_mass(self) -> float:
        """Mass of the end plate at the inlet [kg]; chambers in a row share a plate."""
        return as_metal(self.metal).density * self.shell * _disc(self.case_diameter, self.diameter)

    def amounts(self, wall: Wall) -> Amounts:
        """See `Part.amounts`: tubes, case and two end plates are silencer mass."""
        density, case = as_metal(self.metal).density, self.case_diameter
        tubes = sum(
            _tube_mass(density, tube.diameter, self.tube_wall, tube.length)
            for tube in (self.inlet_tube, self.outlet_tube)
            if tube is not None
        )
        outlet_plate = density * self.shell * _disc(case, self.outlet_diameter)
        shell = _tube_mass(density, case, self.shell, self.length)
        return Amounts(
            length=self.length,
            gas_volume=self.gas_volume,
            inner_area=sum(pipe.amounts(wall).inner_area for pipe in self._pipes),
            outer_area=pi * (case + 2.0 * self.shell) * self.length + 2.0 * _disc(case),
            silencer_mass=tubes + shell + self.inlet_plate_mass + outlet_plate,
        )


@dataclass(frozen=True)
class SideTube(Part):
    """Closed tube that branches off the line: a quarter-wave resonator.

    It must stand between two other parts and adds no length to the line.

    Parameters
    ----------
    length : float
        From the wall of the line to the closed end [m], 0.001 to 30.
    diameter : float
        Inner diameter of the side tube [m], 0.003 to 0.5.
    end_correction : float or None
        Length added for the gas that moves in the mouth [m], 0 to 0.5; None: 0.82 of the radius,
        as of an opening in a wide wall, which overstates it when the tube is as wide as the line.
    wall_temperature : float or None
        Of the side tube [K], 200 to 1500; None: no heat passes it.
    shell : float or str
        Thickness of the tube [m], 0.0003 to 0.01, or a text such as "16 gauge"; 1.5 mm is common
        practice, no source.
    metal : str or Metal
        Of the tube.
    cell_length : float or None
        Wanted length of the computing cells [m], 0.0005 to 1; None: the setting for the whole run.

    Examples
    --------
    >>> SideTube("0.1 m", "30 mm").diameter
    0.03
    """

    length: float = number("m", *LENGTH_RANGE)
    diameter: float = number("m", *BORE_RANGE)
    _: KW_ONLY
    end_correction: float | None = number("m", 0.0, 0.5, None)
    wall_temperature: float | None = number("K", *WALL_TEMPERATURE_RANGE, default=None)
    shell: float = number("m", *SHEET_RANGE, 0.0015)
    metal: str | Metal = metal_field()
    cell_length: float | None = number("m", *CELL_RANGE, default=None)

    @property
    def acoustic_length(self) -> float:
        """Length with end correction [m]."""
        added = self.end_correction
        return self.length + (FLANGED_END * 0.5 * self.diameter if added is None else added)

    @property
    def tube(self) -> Pipe:
        """The side tube as a Pipe of its acoustic length."""
        return Pipe(
            self.acoustic_length,
            self.diameter,
            wall_temperature=self.wall_temperature,
            cell_length=self.cell_length,
        )

    @property
    def pieces(self) -> tuple:
        """See `Part.pieces`: the tube, closed at its far end."""
        return (Branch("side tube", self.tube),)

    @property
    def gas_volume(self) -> float:
        """Gas volume of the tube without its end correction [m3]."""
        return _disc(self.diameter) * self.length

    def amounts(self, wall: Wall) -> Amounts:
        """See `Part.amounts`: the tube and its end cap are silencer mass."""
        density = as_metal(self.metal).density
        outer = self.diameter + 2.0 * self.shell
        cap = density * self.shell * _disc(outer)
        return Amounts(
            gas_volume=self.gas_volume,
            inner_area=pi * self.diameter * self.length + _disc(self.diameter),
            outer_area=pi * outer * self.length + _disc(outer),
            silencer_mass=_tube_mass(density, self.diameter, self.shell, self.length) + cap,
        )


@dataclass(frozen=True, kw_only=True)
class Resonator(Part):
    """Volume that hangs on the line by a neck: a Helmholtz resonator.

    It must stand between two other parts and adds no length to the line.

    Parameters
    ----------
    volume : float
        Gas volume behind the neck [m3], 1e-6 to 1.
    neck_length : float
        [m], 0.001 to 2.
    neck_diameter : float
        [m], 0.003 to 0.5.
    end_correction : float or None
        Length added for the gas that moves at both ends of the neck [m], 0 to 0.5; None: twice
        0.82 of its radius, as of openings in wide walls.
    mass : float
        Of the whole resonator for the bill [kg], 0 to 100.
    cell_length : float or None
        Wanted length of the computing cells [m], 0.0005 to 1; None: the setting for the whole run.

    Examples
    --------
    >>> can = Resonator(volume=0.002, neck_length=0.04, neck_diameter=0.03)
    >>> round(can.frequency(550.0))
    205
    """

    volume: float = number("m3", 1e-6, 1.0)
    neck_length: float = number("m", LENGTH_RANGE[0], 2.0)
    neck_diameter: float = number("m", *BORE_RANGE)
    end_correction: float | None = number("m", 0.0, 0.5, None)
    mass: float = number("kg", 0.0, 100.0, 0.0)
    cell_length: float | None = number("m", *CELL_RANGE, default=None)

    @property
    def acoustic_neck_length(self) -> float:
        """Length of the neck with end corrections [m]."""
        added = self.end_correction
        return self.neck_length + (FLANGED_END * self.neck_diameter if added is None else added)

    @property
    def neck(self) -> Pipe:
        """The neck as a Pipe of its acoustic length."""
        return Pipe(self.acoustic_neck_length, self.neck_diameter, cell_length=self.cell_length)

    @property
    def pieces(self) -> tuple:
        """See `Part.pieces`: the neck, which opens into the can."""
        can = partial(Volume, volume=self.volume, temperature=_RESONATOR_START, fill="burned")
        return (Branch("neck", self.neck, far_label="resonator", far_node=can),)

    @property
    def gas_volume(self) -> float:
        """Gas volume of neck and can [m3]."""
        return self.volume + _disc(self.neck_diameter) * self.neck_length

    def frequency(self, sound_speed: float) -> float:
        """Resonance frequency at low amplitude without mean flow [Hz].

        Parameters
        ----------
        sound_speed : float
            Of the gas in it [m/s].

        Notes
        -----
        c / (2 pi) sqrt(area / (length volume)), Helmholtz; any textbook of acoustics.
        """
        stiffness = _disc(self.neck_diameter) / (self.acoustic_neck_length * self.volume)
        return sound_speed / (2.0 * pi) * sqrt(stiffness)

    def amounts(self, wall: Wall) -> Amounts:
        """See `Part.amounts`: `mass` is silencer mass, the surface is not known."""
        return Amounts(gas_volume=self.gas_volume, silencer_mass=self.mass)
