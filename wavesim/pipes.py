"""Pipes, lines of pipes, and the ducts that the solver sees.

A *pipe* is one piece of tube, straight or tapered.  A *line* is a tuple of pipes laid end to end;
its bores may jump.  A *duct* is a line without jumps: one stretch of the computed gas column,
with x running from its start to its end.
"""

from dataclasses import KW_ONLY, dataclass
from math import pi

import numpy as np

from wavesim.description import MISSING, Description, checked, number
from wavesim.errors import InputError, check_number

LENGTH_RANGE = (0.001, 30.0)  # [m]
BORE_RANGE = (0.003, 0.5)  # [m]

# Drawn steel tube, 0.00015 ft: Moody (1944), Friction factors for pipe flow, Trans. ASME 66
# (from memory), also the usual handbook value for commercial steel.
STEEL_ROUGHNESS = 4.5e-5  # [m]

_SAME_BORE = 1e-6  # relative difference below which two bores count as equal


@dataclass(frozen=True)
class Pipe(Description):
    """One piece of tube with a bore that is constant or changes linearly along it.

    Parameters
    ----------
    length : float
        Length along the centre line [m], 0.001 to 30.
    diameter : float
        Inner diameter at the start [m], 0.003 to 0.5.
    end_diameter : float or None
        Inner diameter at the end [m], same range; None: as at the start.
    wall_temperature : float or None
        Temperature of the inner wall [K], 200 to 1500; None: no heat passes the wall.
    roughness : float
        Sand-grain roughness [m], 0 to 0.005 and at most 5 % of the bore.  Default: new steel
        tube (Moody 1944, from memory).
    heat_factor : float
        Factor on the steady-flow Nusselt number, 0 to 10.
    friction_factor_scale : float
        Factor on the friction factor, 0 to 10; 0 is frictionless.
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
    """

    length: float = number("m", *LENGTH_RANGE)
    diameter: float = number("m", *BORE_RANGE)
    _: KW_ONLY
    end_diameter: float | None = number("m", *BORE_RANGE, default=None)
    wall_temperature: float | None = number("K", 200.0, 1500.0, default=None)
    roughness: float = number("m", 0.0, 0.005, default=STEEL_ROUGHNESS)
    heat_factor: float = number("1", 0.0, 10.0, default=1.0)
    friction_factor_scale: float = number("1", 0.0, 10.0, default=1.0)
    cell_length: float | None = number("m", 0.0005, 1.0, default=None)

    def _check(self):
        largest = 0.05 * min(self.diameter, self.outlet_diameter)
        hint = "friction laws hold to 5 % of the bore"
        check_number(self._owner, "roughness", self.roughness, "m", 0.0, largest, hint=hint)

    @property
    def outlet_diameter(self):
        """Inner diameter at the end [m]."""
        return self.diameter if self.end_diameter is None else self.end_diameter

    @property
    def gas_volume(self):
        """Gas volume [m3]."""
        d1, d2 = self.diameter, self.outlet_diameter
        return pi / 12.0 * self.length * (d1 * d1 + d1 * d2 + d2 * d2)


def as_line(value, owner="line", field="parts"):
    """Line from a Pipe or a sequence of Pipes.

    Parameters
    ----------
    value : Pipe or iterable of Pipe
        One piece or several, laid end to end.
    owner, field : str
        For the message.

    Returns
    -------
    tuple of Pipe

    Raises
    ------
    InputError
        If something in it is not a Pipe.
    """
    parts = (value,) if isinstance(value, Pipe) else value
    if not isinstance(parts, (tuple, list)) or not all(isinstance(p, Pipe) for p in parts):
        raise InputError(f"{owner}: {field} = {value!r} must be a Pipe or a sequence of Pipes.")
    return tuple(parts)


def line(default=MISSING):
    """Field for a line; a default of () allows the line to be left out."""

    def check(owner, name, value):
        parts = as_line(value, owner, name)
        if not parts and default != ():
            raise InputError(f"{owner}: {name} = () must hold at least one Pipe.")
        return parts

    return checked(check, default, kinds=(Pipe,), many=True)


def same_bore(d1, d2):
    """True if two diameters [m] are equal within one part in a million."""
    return abs(d1 - d2) <= _SAME_BORE * max(d1, d2)


def split_line(parts):
    """Ducts of a line: cut wherever the bore jumps.

    Parameters
    ----------
    parts : tuple of Pipe
        The line.

    Returns
    -------
    list of Duct
        One at least, if the line is not empty.
    """
    groups = []
    for pipe in parts:
        if groups and same_bore(groups[-1][-1].outlet_diameter, pipe.diameter):
            groups[-1].append(pipe)
        else:
            groups.append([pipe])
    return [Duct(parts=group) for group in groups]


@dataclass(frozen=True, kw_only=True)
class Duct(Description):
    """Pipes end to end without a jump of bore.

    Parameters
    ----------
    parts : Pipe or sequence of Pipe
        In the direction of x.

    Raises
    ------
    InputError
        If a pipe starts with another bore than the pipe before it ends with.
    """

    parts: tuple[Pipe, ...] = line()

    def _check(self):
        for i, (a, b) in enumerate(zip(self.parts, self.parts[1:], strict=False)):
            if not same_bore(a.outlet_diameter, b.diameter):
                self._refuse(
                    f"parts[{i + 1}].diameter = {b.diameter:.9g} m must equal the bore at the "
                    f"end of the part before it, {a.outlet_diameter:.9g} m (join ducts of "
                    "different bore with an AreaStep)."
                )

    @property
    def breaks(self):
        """Positions of the ends of the parts [m], (n_part + 1,) from 0 to the length."""
        return np.concatenate(([0.0], np.cumsum([pipe.length for pipe in self.parts])))

    @property
    def length(self):
        """Length along the centre line [m]."""
        return float(self.breaks[-1])

    @property
    def start_diameter(self):
        """Bore at x = 0 [m]."""
        return self.parts[0].diameter

    @property
    def end_diameter(self):
        """Bore at x = length [m]."""
        return self.parts[-1].outlet_diameter

    def part_index(self, x):
        """Index of the part that holds each position.

        Parameters
        ----------
        x : float or ndarray
            Position from the start [m]; outside the duct the nearest part counts.

        Returns
        -------
        ndarray of int, shaped like `x`
        """
        return np.searchsorted(self.breaks[1:-1], x, side="right")

    def diameter_at(self, x):
        """Bore at a position.

        Parameters
        ----------
        x : float or ndarray
            Position from the start [m]; outside the duct the bore of the nearest end is taken.

        Returns
        -------
        float or ndarray
            Diameter [m].
        """
        bores = [pipe.diameter for pipe in self.parts] + [self.end_diameter]
        return np.interp(x, self.breaks, bores)

    def area_at(self, x):
        """Area of the cross-section at a position.

        Parameters
        ----------
        x : float or ndarray
            Position from the start [m].

        Returns
        -------
        float or ndarray
            Area [m2].
        """
        return 0.25 * pi * self.diameter_at(x) ** 2

    def volume(self, x1=0.0, x2=None):
        """Gas volume between two positions, exact for tapers.

        Parameters
        ----------
        x1, x2 : float or ndarray
            Positions from the start [m], within the duct; x2 = None is the end.

        Returns
        -------
        float or ndarray
            Volume [m3], negative if x2 < x1.
        """
        return self._volume_to(self.length if x2 is None else x2) - self._volume_to(x1)

    def _volume_to(self, x):
        """Volume from the start to x: whole parts before it and a frustum in its part."""
        breaks, i = self.breaks, self.part_index(x)
        whole = np.concatenate(([0.0], np.cumsum([pipe.gas_volume for pipe in self.parts])))
        d1 = np.array([pipe.diameter for pipe in self.parts])[i]
        d2 = self.diameter_at(x)
        return whole[i] + pi / 12.0 * (x - breaks[i]) * (d1 * d1 + d1 * d2 + d2 * d2)


def as_duct(value, owner="duct"):
    """Duct from a Duct, a Pipe or a sequence of Pipes without jumps.

    Parameters
    ----------
    value : Duct, Pipe or sequence of Pipe
        What to convert.
    owner : str
        For the message.

    Raises
    ------
    InputError
        If it is something else or the bore jumps.
    """
    return value if isinstance(value, Duct) else Duct(parts=as_line(value, owner))
