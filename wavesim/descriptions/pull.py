"""A pull on a dynamometer: the speed rises steadily, and the walls warm while it does."""

from collections.abc import Collection
from dataclasses import KW_ONLY, dataclass
from typing import Any

from wavesim.constants import RPM_RANGE
from wavesim.errors import InputError, check_number, shown
from wavesim.fields.description import (
    Description,
    checked,
    in_si,
    integer,
    number,
    numbers,
    sequence,
)
from wavesim.fields.description import text as word

METAL_RANGE = (200.0, 2000.0)  # [K]


@dataclass(frozen=True, kw_only=True)
class Warmed(Description):
    """Walls as they stand after minutes at one speed, where a pull begins.

    Parameters
    ----------
    rpm : float
        Engine speed [rev/min], 100 to 30000.
    plate_angle_deg : float or None
        Angle of every throttle plate then [deg], 0 to 90; None: as it stands in the pull.

    Examples
    --------
    >>> Warmed(rpm=2500, plate_angle_deg=30).rpm
    2500.0
    """

    rpm: float = number("rev/min", *RPM_RANGE)
    plate_angle_deg: float | None = number("deg", 0.0, 90.0, None)


@dataclass(frozen=True, kw_only=True)
class WallSection(Description):
    """Metal of one piece of a duct, or the fibres of a packing in it.

    Parameters
    ----------
    duct : str
        Name of the duct.
    piece : int
        Which of its tubes, 0 to 1000.
    positions : sequence of float
        From the start of the duct [m], 0 to 1000, increasing.
    temperatures : sequence of float
        Of metal or fibres there [K], 200 to 2000; as many.

    Raises
    ------
    InputError
        If a value is outside its range or the positions do not fit.

    Examples
    --------
    >>> WallSection(duct="pipe/1", positions=(0.1, 0.2), temperatures=(600, 610)).duct
    'pipe/1'
    """

    duct: str = word()
    piece: int = integer(0, 1000, 0)
    positions: tuple[float, ...] = numbers("m", 0.0, 1000.0)
    temperatures: tuple[float, ...] = numbers("K", *METAL_RANGE)

    def _check(self):
        if not self.positions or len(self.positions) != len(self.temperatures):
            self._refuse(
                f"positions has {len(self.positions)} and temperatures {len(self.temperatures)} "
                "numbers, needs as many of each and one at least."
            )
        if any(b <= a for a, b in zip(self.positions, self.positions[1:], strict=False)):
            self._refuse(f"positions = {self.positions} m must increase.")


def _sections(owner, name, value):
    sections = sequence(owner, name, value, "WallSection")
    for section in sections:
        if not isinstance(section, WallSection):
            raise InputError(
                f"{owner}: {name} holds {shown(section)}, must be of type WallSection."
            )
    return sections


@dataclass(frozen=True)
class WallsLeft(Description):
    """Metal temperatures that a run has left behind: `point.walls_left`.

    Parameters
    ----------
    sections : sequence of WallSection

    Examples
    --------
    >>> WallsLeft((WallSection(duct="a", positions=(0.1,), temperatures=(400.0,)),))
    <WallsLeft: 1 sections>
    """

    sections: tuple[WallSection, ...] = checked(_sections, kinds=(WallSection,))

    def __repr__(self):  # hundreds of numbers would hide the rest of a message
        return f"<WallsLeft: {len(self.sections)} sections>"


def _start(owner, name, value):
    value = getattr(value, "walls_left", value)  # of a Point or a Sweep
    value = in_si(owner, name, value, "K")
    if isinstance(value, (Warmed, WallsLeft)) or (isinstance(value, str) and value == "cold"):
        return value
    if isinstance(value, str) or value is None:
        raise InputError(
            f"{owner}: {name} = {shown(value)} must be 'cold', a temperature in K, a Warmed, or a "
            "Point or Sweep whose walls were solved."
        )
    return check_number(owner, name, value, "K", *METAL_RANGE)


@dataclass(frozen=True)
class Pull(Description):
    """Speed that rises steadily, with walls that warm from a stated start.

    Parameters
    ----------
    rate : float
        Rise of the engine speed [rev/min/s], 1e-6 to 1e5; from 2000 to 7000 rev/min at 400 takes
        12.5 s.
    walls : float, "cold", Warmed, WallsLeft, Point or Sweep
        The metal at the first speed: of one temperature [K], 200 to 2000; as cold as the air
        outside; after minutes at one speed; or as a run with the same exhaust has left it, where
        a Sweep counts with its last speed.
    pause : float
        Time between that start and the first speed with the engine off [s], 0 to 1e6.  The walls
        give heat to the air outside; none comes or goes by way of the still gas.

    Raises
    ------
    InputError
        If a value is outside its range.

    Notes
    -----
    A pull is a chain of speeds in order of time.  At each of them the cycles are run until they
    repeat, with the walls of that moment: gas follows its walls within a cycle or two, walls
    follow the gas within some 20 s.  Between two speeds the metal of every `Wall` warms, cell by
    cell (`wall_warming`), with heat transfer coefficients and gas temperatures that change from
    those of the one to those of the other in proportion to time; so results move a little when
    speeds are added, most where they are far apart.  A speed that fails is passed over, and the
    walls warm on; if it is the first, the pull begins at the next.

    Without a pull a `Wall` has the temperature that it reaches after minutes at that speed.  At
    full load that is far hotter than a pull of 10 to 20 s leaves it.

    Pipes with a stated `wall_temperature` keep it, and so do ports and cylinders.  The fibres of
    packed silencers warm too, by the heat that gas brings through the holes; their cases do not.

    Hot surfaces: a pipe that a pull has left at 600 K burns skin and looks no different.

    Examples
    --------
    >>> Pull(400.0, walls="450 K").duration((2000.0, 7000.0))
    12.5
    """

    rate: float = number("rev/min/s", 1e-6, 1e5)
    walls: Any = checked(_start, kinds=(Warmed, WallsLeft))
    _: KW_ONLY
    pause: float = number("s", 0.0, 1e6, 0.0)

    def duration(self, rpm: Collection[float]) -> float:
        """Time from the lowest to the highest of some speeds [s]; `rpm` in rev/min."""
        if not len(rpm):
            self._refuse("no speeds, so no duration.")
        return (max(rpm) - min(rpm)) / self.rate

    @property
    def start_text(self) -> str:
        """Where the walls begin, in a few words."""
        if isinstance(self.walls, Warmed):
            plate = self.walls.plate_angle_deg
            load = "" if plate is None else f" with the throttle at {plate:g} deg"
            begin = f"walls warmed at {self.walls.rpm:g} rev/min{load}"
        elif isinstance(self.walls, WallsLeft):
            begin = "the walls of the run before"
        else:
            begin = "cold walls" if self.walls == "cold" else f"{self.walls:g} K"
        return begin + (f" and a pause of {self.pause:g} s" if self.pause else "")


def check_pull(network):
    """InputError if no wall of a network could warm in a pull."""
    if not any(tube.wall for duct in network.ducts.values() for tube in duct.parts):
        raise InputError(
            "Pull: no pipe has a wall that could warm, give one at least wall=Wall(...) instead of "
            "a wall_temperature."
        )
