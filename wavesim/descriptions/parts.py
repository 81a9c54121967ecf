"""Parts of a line that are neither tube nor silencer: restriction plates and monoliths."""

from dataclasses import KW_ONLY, dataclass
from functools import partial
from math import pi, sqrt

from wavesim.constants import (
    CELL_RANGE,
    DISCHARGE_RANGE,
    SHEET_RANGE,
    WALL_TEMPERATURE_RANGE,
)
from wavesim.descriptions.materials import Metal, as_metal, metal_field
from wavesim.descriptions.nodes import Orifice
from wavesim.descriptions.pieces import Opening, Stretch
from wavesim.descriptions.pipes import BORE_RANGE, LENGTH_RANGE, Amounts, Part, Pipe
from wavesim.descriptions.walls import Wall
from wavesim.errors import check_number
from wavesim.fields.description import number

#: Laminar friction f Re and Nusselt number of square channels over those of round ones, 56.91 / 64
#: and 2.976 / 3.657 (constant wall temperature), Shah and London (1978), from memory.
SQUARE_FRICTION, SQUARE_NUSSELT = 56.91 / 64.0, 2.976 / 3.657


@dataclass(frozen=True)
class Plate(Part):
    """Thin plate with one hole across the line: a restriction.

    It must stand between two other parts and adds no length.

    Parameters
    ----------
    diameter : float
        Diameter of the hole [m], 0.003 to 0.5 and no larger than the bore on either side.
    discharge_coefficient : float
        Of the hole in both directions, above 0, at most 1.2; 0.8 is common practice, no source (a
        sharp edge has some 0.61 in slow flow, a well rounded one nearly 1).

    Examples
    --------
    >>> Plate("30 mm").diameter
    0.03
    """

    diameter: float = number("m", *BORE_RANGE)
    _: KW_ONLY
    discharge_coefficient: float = number("1", *DISCHARGE_RANGE, 0.8, low_open=True)

    @property
    def pieces(self) -> tuple:
        """See `Part.pieces`: an Orifice, however wide the hole."""
        hole = partial(
            Orifice, diameter=self.diameter, discharge_coefficient=self.discharge_coefficient
        )
        return (Opening("plate", self.diameter, hole),)

    def amounts(self, wall: Wall) -> Amounts:
        """See `Part.amounts`; a plate adds nothing."""
        return Amounts()


@dataclass(frozen=True)
class Monolith(Part):
    """Catalyst brick: a bundle of parallel square channels across the whole case.

    Parameters
    ----------
    length : float
        [m], 0.001 to 30.
    diameter : float
        Inner diameter of the case [m], 0.01 to 0.5; cones that lead to it are tapered pipes.
    cell_density : float
        Channels per area [1/m2], 1e4 to 3e6: 400 per square inch is ``400 * units.cpsi``, 6.2e5.
    wall_thickness : float
        Between two channels, wash coat included [m], 1e-5 to 2e-3 and below half the pitch.
    wall_density : float
        Of these walls [kg/m3], 500 to 9000; porous cordierite is near 1700 (from memory).
    wall_temperature : float or None
        Temperature of the channel walls [K], 200 to 1500; None: no heat passes.
    shell : float or str
        Thickness of the case [m], 0.0003 to 0.01, or a text such as "16 gauge"; 1.5 mm is common
        practice, no source.
    metal : str or Metal
        Of the case.
    cell_length : float or None
        Wanted length of the computing cells [m], 0.0005 to 1; None: the setting for the whole run.

    Raises
    ------
    InputError
        If a value is outside its range.

    Notes
    -----
    Computed as one duct with the open area of all channels and their hydraulic diameter, with a
    sudden contraction before and an enlargement behind it.  No chemistry: reactions would add heat.

    Examples
    --------
    >>> brick = Monolith(0.12, 0.1, cell_density=6.2e5, wall_thickness=0.17e-3)
    >>> round(brick.open_fraction, 3), round(1e3 * brick.hydraulic_diameter, 2)
    (0.75, 1.1)
    """

    length: float = number("m", *LENGTH_RANGE)
    diameter: float = number("m", 0.01, BORE_RANGE[1])
    _: KW_ONLY
    cell_density: float = number("1/m2", 1e4, 3e6)
    wall_thickness: float = number("m", 1e-5, 2e-3)
    wall_density: float = number("kg/m3", 500.0, 9000.0, 1700.0)
    wall_temperature: float | None = number("K", *WALL_TEMPERATURE_RANGE, default=None)
    shell: float = number("m", *SHEET_RANGE, 0.0015)
    metal: str | Metal = metal_field("stainless 409")
    cell_length: float | None = number("m", *CELL_RANGE, default=None)

    def _check(self):
        check_number(self._owner, "wall_thickness", self.wall_thickness, "m", 1e-5,
                     0.5 * self.pitch, hint="below half the pitch of the channels")

    @property
    def pitch(self) -> float:
        """Distance of neighbouring channels [m]."""
        return 1.0 / sqrt(self.cell_density)

    @property
    def hydraulic_diameter(self) -> float:
        """Width of a channel [m]."""
        return self.pitch - self.wall_thickness

    @property
    def open_fraction(self) -> float:
        """Open share of the cross-section."""
        return (self.hydraulic_diameter / self.pitch) ** 2

    @property
    def wetted_area(self) -> float:
        """Surface of all channels [m2]."""
        return 4.0 * self.gas_volume / self.hydraulic_diameter

    @property
    def gas_volume(self) -> float:
        """Gas volume [m3]."""
        return self.open_fraction * self._case_volume

    @property
    def _case_volume(self):
        return 0.25 * pi * self.diameter**2 * self.length

    @property
    def channels(self) -> Pipe:
        """The channels as one Pipe of the same open area and hydraulic diameter."""
        return Pipe(
            self.length,
            self.diameter * sqrt(self.open_fraction),
            hydraulic_diameter=self.hydraulic_diameter,
            wall_temperature=self.wall_temperature,
            roughness=0.0,  # without influence in laminar flow
            friction_factor_scale=SQUARE_FRICTION,
            heat_factor=SQUARE_NUSSELT,
            cell_length=self.cell_length,
        )

    @property
    def pieces(self) -> tuple:
        """See `Part.pieces`: the channels."""
        return (Stretch("channels", self.channels),)

    def amounts(self, wall: Wall) -> Amounts:
        """See `Part.amounts`; carrier and case count as silencer mass."""
        outer = self.diameter + 2.0 * self.shell
        shell = as_metal(self.metal).density * pi * (self.diameter + self.shell) * self.shell
        carrier = self.wall_density * (1.0 - self.open_fraction) * self._case_volume
        return Amounts(
            length=self.length,
            gas_volume=self.gas_volume,
            inner_area=self.wetted_area,
            outer_area=pi * outer * self.length,
            silencer_mass=shell * self.length + carrier,
        )
