"""Walls of tubes: layers, the air outside, and the temperature at which heat in equals heat out.

::

    gas | inner coating | metal | wrap | air and surroundings
        Ti                             To

Heat per length of tube [W/m] passes each layer in turn:

    q = h_inner pi d (T_gas - Ti) = (Ti - To) / R = pi D (h_outer (To - Ta) + e sigma (To^4 - Ta^4))

with the bore d, the outermost diameter D and R = sum of ln(d2/d1) / (2 pi k) over the layers.
`wall_balance` solves this for Ti and To.

Hot surfaces: a bare exhaust burns skin at once and sets fire to cables, paint and dry grass;
a wrap lowers the temperature outside, raises that of the metal, and shortens its life.
"""

from dataclasses import KW_ONLY, dataclass
from functools import lru_cache
from itertools import accumulate
from math import pi
from typing import NamedTuple

import numpy as np
from scipy.constants import Stefan_Boltzmann
from scipy.constants import g as gravity

from wavesim.constants import (
    AIR_PRESSURE_RANGE,
    R_AIR,
    STANDARD_PRESSURE,
)
from wavesim.descriptions.materials import Metal, as_metal, metal_field
from wavesim.descriptions.weather import Ambient, of_weather, under
from wavesim.errors import ConvergenceError, InputError, as_floats, check_choice, check_kind
from wavesim.fields.description import Description, checked, number, part
from wavesim.guard import guarded
from wavesim.kernels.constants import PRANDTL, SUTHERLAND

_MAX_STEPS = 60
_CLOSE = 1e-10  # [K] between two steps; the next one is far smaller


@dataclass(frozen=True, kw_only=True)
class Coating(Description):
    """Ceramic or other layer on the inside of a tube.

    Parameters
    ----------
    thickness : float
        [m], 1e-6 to 0.01.
    conductivity : float
        [W/(m K)], 0.01 to 50; sprayed zirconia about 1 (from memory).

    Examples
    --------
    >>> Coating(thickness="0.2 mm", conductivity=0.9).thickness
    0.0002
    """

    thickness: float = number("m", 1e-6, 0.01)
    conductivity: float = number("W/(m K)", 0.01, 50.0, 1.0)


@dataclass(frozen=True, kw_only=True)
class Wrap(Description):
    """Insulation round the outside of a tube.

    Parameters
    ----------
    thickness : float
        [m], 1e-4 to 0.2.
    conductivity : float
        [W/(m K)], 0.01 to 5; glass or basalt tape about 0.1 at 600 K (from memory).
    emissivity : float
        Of its outer surface, 0.01 to 1; 0.9 as of most surfaces that are no metal, Incropera and
        DeWitt, Table A.11 (from memory).

    Examples
    --------
    >>> Wrap(thickness="3 mm").thickness
    0.003
    """

    thickness: float = number("m", 1e-4, 0.2)
    conductivity: float = number("W/(m K)", 0.01, 5.0, 0.1)
    emissivity: float = number("1", 0.01, 1.0, 0.9)


@dataclass(frozen=True, kw_only=True)
class Outside(Description):
    """Air round a tube, and surroundings of the same temperature.

    Parameters
    ----------
    air_speed : float
        Across the tube [m/s], 0 (still air) to 100.
    temperature : float or None
        [K], 220 to 400; None: of the weather.
    pressure : float or None
        [Pa], 3e4 to 3e5; None: of the weather.

    Examples
    --------
    >>> Outside(air_speed=5.0).air_speed
    5.0
    """

    air_speed: float = number("m/s", 0.0, 100.0, 0.0)
    temperature: float | None = number("K", 220.0, 400.0, None, **of_weather("temperature"))
    pressure: float | None = number("Pa", *AIR_PRESSURE_RANGE, None, **of_weather("pressure"))


#: Situations by name.  The air speeds are our estimates of what reaches the pipe: a cell fan of
#: moderate size, and about half the speed of a car at 100 km/h under its floor.
OUTSIDES = {
    "still air": Outside(),
    "dyno-cell fan": Outside(air_speed=6.0),
    "road speed": Outside(air_speed=14.0),
}


def _outside(owner, name, value):
    return value if isinstance(value, Outside) else check_choice(owner, name, value, OUTSIDES)


def _outside_in(value, ambient):
    """Outside that is meant, by name or itself, in a weather."""
    return under(value if isinstance(value, Outside) else OUTSIDES[value], ambient)


@lru_cache(maxsize=64)  # asked for in every step of the search for a wall temperature
def _usual_air(outside):
    return _outside_in(outside, Ambient())


@dataclass(frozen=True)
class Wall(Description):
    """Wall whose temperature follows from the heat that passes it.

    It is that of rest, after minutes at one speed and load.  What a pull of seconds leaves is far
    colder at full load: see `Pull`.

    Parameters
    ----------
    thickness : float or str
        Of the metal [m], 0.0002 to 0.05, or a text such as "16 gauge" (Birmingham wire gauge).
    metal : str or Metal
        A name in `wavesim.descriptions.materials.METALS`, or a Metal.
    emissivity : float or None
        Of the bare outer surface, 0.01 to 1; None: that of the metal.
    coating : Coating or None
        Layer on the inside.
    wrap : Wrap or None
        Insulation on the outside; its emissivity then counts.
    outside : str or Outside
        "still air", "dyno-cell fan", "road speed", or an Outside.

    Raises
    ------
    InputError
        If a value is outside its range.

    Examples
    --------
    >>> wrapped = Wall("16 gauge", "stainless 304", wrap=Wrap(thickness=0.003))
    >>> round(1e3 * wrapped.outer_diameter(0.05), 2)
    59.3
    """

    thickness: float = number("m", 0.0002, 0.05)
    metal: str | Metal = metal_field()
    _: KW_ONLY
    emissivity: float | None = number("1", 0.01, 1.0, None)
    coating: Coating | None = part(Coating, default=None, optional=True)
    wrap: Wrap | None = part(Wrap, default=None, optional=True)
    outside: str | Outside = checked(
        _outside, "still air", kinds=(Outside,), weather=_outside_in
    )

    @property
    def material(self) -> Metal:
        """The Metal."""
        return as_metal(self.metal)

    @property
    def air(self) -> Outside:
        """The Outside; where it states no temperature or pressure, those of an Ambient()."""
        return _usual_air(self.outside)

    @property
    def outer_emissivity(self) -> float:
        """Emissivity of the outermost surface."""
        if self.wrap is not None:
            return self.wrap.emissivity
        return self.material.emissivity if self.emissivity is None else self.emissivity

    def metal_bore(self, diameter: float | np.ndarray) -> float | np.ndarray:
        """Inner diameter of the metal [m] at a bore `diameter` [m] left to the gas.

        Examples
        --------
        >>> from wavesim import Wall
        >>> wall = Wall(thickness="1.5 mm")
        >>> float(wall.metal_bore(0.04))
        0.04
        """
        return diameter + (0.0 if self.coating is None else 2.0 * self.coating.thickness)

    def metal_outer_diameter(self, diameter: float | np.ndarray) -> float | np.ndarray:
        """Outer diameter of the metal [m] at a bore `diameter` [m].

        Examples
        --------
        >>> from wavesim import Wall
        >>> wall = Wall(thickness="1.5 mm")
        >>> round(float(wall.metal_outer_diameter(0.04)), 6)
        0.043
        """
        return self.metal_bore(diameter) + 2.0 * self.thickness

    def outer_diameter(self, diameter: float | np.ndarray) -> float | np.ndarray:
        """Outermost diameter [m], wrap included, at a bore `diameter` [m]."""
        wrap = 0.0 if self.wrap is None else 2.0 * self.wrap.thickness
        return self.metal_outer_diameter(diameter) + wrap

    def mass_per_length(self, diameter: float | np.ndarray) -> float | np.ndarray:
        """Mass of the metal [kg/m] at a bore `diameter` [m]; coating and wrap are not counted.

        Examples
        --------
        >>> from wavesim import Wall
        >>> wall = Wall(thickness="1.5 mm")
        >>> 1.4 < float(wall.mass_per_length(0.04)) < 1.6  # steel of 7.7 to 8.1 t/m3
        True
        """
        ring = 0.25 * pi * (
            self.metal_outer_diameter(diameter) ** 2 - self.metal_bore(diameter) ** 2
        )
        return self.material.density * ring

    def resistance(self, diameter: float | np.ndarray) -> float | np.ndarray:
        """Thermal resistance of all layers for one metre of tube [K m/W].

        Parameters
        ----------
        diameter : float or ndarray
            Bore [m].

        Examples
        --------
        >>> from wavesim import Wall
        >>> wall = Wall(thickness="1.5 mm")
        >>> bool(0.0 < wall.resistance(0.04) < 1e-3)
        True
        """
        bore, outer = self.metal_bore(diameter), self.metal_outer_diameter(diameter)
        total = _layer(bore, outer, self.material.conductivity)
        if self.wrap is not None:
            total = total + _layer(outer, self.outer_diameter(diameter), self.wrap.conductivity)
        return total + self._coating_resistance(diameter)

    def inner_resistance(self, diameter: float | np.ndarray) -> float | np.ndarray:
        """The part of `resistance` between gas and the middle of the metal [K m/W].

        Examples
        --------
        >>> from wavesim import Wall
        >>> wall = Wall(thickness="1.5 mm")
        >>> bool(0.0 <= wall.inner_resistance(0.04) < wall.resistance(0.04))
        True
        """
        return self._coating_resistance(diameter) + 0.5 * self._metal_resistance(diameter)

    def outer_resistance(self, diameter: float | np.ndarray) -> float | np.ndarray:
        """The part of `resistance` between the middle of the metal and the air [K m/W].

        Examples
        --------
        >>> from wavesim import Wall
        >>> wall = Wall(thickness="1.5 mm")
        >>> bool(0.0 <= wall.outer_resistance(0.04) < wall.resistance(0.04))
        True
        """
        return self.resistance(diameter) - self.inner_resistance(diameter)

    def _metal_resistance(self, diameter):
        bore, outer = self.metal_bore(diameter), self.metal_outer_diameter(diameter)
        return _layer(bore, outer, self.material.conductivity)

    def _coating_resistance(self, diameter):
        if self.coating is None:
            return 0.0
        return _layer(diameter, self.metal_bore(diameter), self.coating.conductivity)

    def metal_temperature(
        self, state: "WallState", diameter: float | np.ndarray
    ) -> float | np.ndarray:
        """Temperature of the metal at its hot side [K], to hold against its service limit.

        Parameters
        ----------
        state : WallState
            From `wall_balance`.
        diameter : float or ndarray
            Bore [m].

        Examples
        --------
        >>> from wavesim import Wall
        >>> wall = Wall(thickness="1.5 mm")
        >>> from wavesim import wall_balance
        >>> state = wall_balance(100.0, 900.0, wall, 0.04)
        >>> bool(state.outer <= wall.metal_temperature(state, 0.04) <= state.inner)
        True
        """
        return state.inner - state.heat * self._coating_resistance(diameter)


def _layer(d1, d2, conductivity):
    """Resistance of a cylindrical layer for one metre of length [K m/W]."""
    return np.log(d2 / d1) / (2.0 * pi * conductivity)


class WallState(NamedTuple):
    """Inner and outer surface temperature [K] and heat from gas to air per length [W/m].

    Examples
    --------
    >>> import wavesim as ws
    >>> state = ws.wall_balance(100.0, 900.0, ws.Wall(thickness="1.5 mm"), 0.04)
    >>> bool(900.0 > state.inner > state.outer > 300.0)
    True
    """

    inner: np.ndarray
    outer: np.ndarray
    heat: np.ndarray


def air_properties(temperature, pressure=STANDARD_PRESSURE):
    """Kinematic viscosity [m2/s] and thermal conductivity [W/(m K)] of air.

    Parameters
    ----------
    temperature : float or ndarray
        [K], 200 to 1500.
    pressure : float
        [Pa].

    Notes
    -----
    Sutherland's law for the viscosity and the law of the same form for the conductivity, F. M.
    White, Viscous Fluid Flow (1991), constants from memory; within 5 % up to 900 K.
    """
    mu0, T0, S = SUTHERLAND
    power = (temperature / T0) ** 1.5
    viscosity = mu0 * power * (T0 + S) / (temperature + S)
    k0, S = 0.0241, 194.4
    conductivity = k0 * power * (T0 + S) / (temperature + S)
    return viscosity * R_AIR * temperature / pressure, conductivity


def nusselt_still_air(rayleigh, prandtl=PRANDTL):
    """Nusselt number of free convection from a horizontal cylinder.

    Parameters
    ----------
    rayleigh : float or ndarray
        g beta |dT| D^3 / (nu alpha) at the mean of wall and air temperature, up to 1e12.
    prandtl : float
        Prandtl number.

    Notes
    -----
    Churchill and Chu, Int. J. Heat Mass Transfer 18 (1975) 1049 (from memory).
    """
    spread = (1.0 + (0.559 / prandtl) ** (9.0 / 16.0)) ** (8.0 / 27.0)
    return (0.60 + 0.387 * rayleigh ** (1.0 / 6.0) / spread) ** 2


def nusselt_cross_flow(reynolds, prandtl=PRANDTL):
    """Nusselt number of a cylinder in cross flow.

    Parameters
    ----------
    reynolds : float or ndarray
        Air speed times diameter over kinematic viscosity, up to 1e7.
    prandtl : float
        Prandtl number; reynolds times prandtl above 0.2.

    Notes
    -----
    Churchill and Bernstein, J. Heat Transfer 99 (1977) 300 (from memory).
    """
    laminar = 0.62 * np.sqrt(reynolds) * prandtl ** (1.0 / 3.0)
    laminar = laminar / (1.0 + (0.4 / prandtl) ** (2.0 / 3.0)) ** 0.25
    return 0.3 + laminar * (1.0 + (reynolds / 282000.0) ** 0.625) ** 0.8


def outer_heat_transfer(surface, diameter, outside):
    """Heat transfer coefficient of convection from a tube to the air outside.

    Parameters
    ----------
    surface : float or ndarray
        Temperature of the outer surface [K].
    diameter : float or ndarray
        Outermost diameter [m].
    outside : Outside
        The air; 298.15 K and 101325 Pa where it states none.

    Returns
    -------
    float or ndarray
        [W/(m2 K)], radiation not included.

    Notes
    -----
    Free and forced convection are joined by the fourth root of the sum of their fourth powers, as
    Incropera and DeWitt, sec. 9.9, advise for transverse flow (from memory): without wind the law
    of still air is left, in strong wind that of cross flow.
    """
    air = _usual_air(outside)
    return _convection(diameter, air.temperature, air.pressure, air.air_speed)(surface)


def _convection(diameter, T_air, pressure, air_speed):
    """`outer_heat_transfer` by the surface temperature; the air, too, may be that of each section.

    What does not depend on the surface is worked out once, for a root is sought.
    """
    cube, blown = diameter**3, air_speed * diameter
    is_still = np.equal(air_speed, 0.0)
    has_wind, has_calm = not is_still.all(), is_still.any()

    def coefficient(surface):
        film = 0.5 * (surface + T_air)
        viscosity, conductivity = air_properties(film, pressure)
        lift = gravity * np.abs(surface - T_air) / film
        nusselt = nusselt_still_air(lift * cube * PRANDTL / viscosity**2)
        if has_wind:
            joined = (nusselt**4 + nusselt_cross_flow(blown / viscosity) ** 4) ** 0.25
            nusselt = np.where(is_still, nusselt, joined) if has_calm else joined
        return nusselt * conductivity / diameter

    return coefficient


def heat_to_outside(surface, diameter, wall):
    """Heat that one metre of tube gives off by convection and radiation [W/m].

    Parameters
    ----------
    surface : float or ndarray
        Temperature of the outermost surface [K].
    diameter : float or ndarray
        Outermost diameter [m].
    wall : Wall
        Its emissivity and the air outside.
    """
    return _giving_off(diameter, *_facts_outside(wall))(surface)


def _facts_outside(wall):
    """What heat given off depends on: temperature, pressure and speed of the air, radiation."""
    air = wall.air
    emission = wall.outer_emissivity * Stefan_Boltzmann
    return air.temperature, air.pressure, air.air_speed, emission, air.temperature**4


def _giving_off(diameter, T_air, pressure, air_speed, emission, T_air_4):
    """`heat_to_outside` by the surface temperature."""
    coefficient = _convection(diameter, T_air, pressure, air_speed)
    around = pi * diameter

    def given_off(surface):
        convected = coefficient(surface) * (surface - T_air)
        return around * (convected + emission * (surface**4 - T_air_4))

    return given_off


@guarded
def wall_balance(
    h_inner: float | np.ndarray,
    gas_temperature: float | np.ndarray,
    wall: Wall,
    diameter: float | np.ndarray,
) -> WallState:
    """Temperatures at which a wall passes on as much heat as it receives.

    Parameters
    ----------
    h_inner : float or ndarray
        Heat transfer coefficient from gas to wall [W/(m2 K)], at least 0.
    gas_temperature : float or ndarray
        Gas temperature that goes with it [K].
    wall : Wall
        Layers and surroundings.
    diameter : float or ndarray
        Bore [m].

    Returns
    -------
    WallState
        (inner, outer, heat): inner surface [K], outermost surface [K], heat per length [W/m],
        shaped like the arguments together.

    Notes
    -----
    The heat given off grows with the outer temperature and the heat received falls, so that the
    balance has one root between the temperatures of gas and air.  It is found to 1e-9 K by the
    false position of Illinois (Dowell and Jarratt, BIT 11 (1971) 168).

    Examples
    --------
    >>> bare = Wall(0.0015, "mild steel")
    >>> [round(float(x)) for x in wall_balance(100.0, 900.0, bare, 0.05)]
    [727, 726, 2722]
    """
    check_kind("wall_balance", "wall", wall, Wall)
    given = {"h_inner": h_inner, "gas_temperature": gas_temperature, "diameter": diameter}
    h, T_gas, bore = alike("wall_balance", given)
    (state,) = wall_balances([(sections_of(wall, bore.ravel()), h.ravel(), T_gas.ravel())])
    return WallState(*(values.reshape(bore.shape)[()] for values in state))


class Sections(NamedTuple):
    """Sections of tube with one wall, and what does not change from balance to balance.

    Attributes
    ----------
    wall : Wall
    bore : ndarray
        [m].
    layers : ndarray
        Resistance of the wall [K m/W].
    outer_diameter : ndarray
        [m].
    """

    wall: Wall
    bore: np.ndarray
    layers: np.ndarray
    outer_diameter: np.ndarray


def sections_of(wall, bore):
    """The Sections of a wall at some bores [m]."""
    return Sections(wall, bore, wall.resistance(bore), wall.outer_diameter(bore))


def wall_balances(cases):
    """The states of several walls, solved together, each to the bit as alone.

    Parameters
    ----------
    cases : sequence of (Sections, ndarray, ndarray)
        Sections with h_inner and gas_temperature of each, as for `wall_balance`; they may be those
        of many points.

    Returns
    -------
    list of WallState
    """
    if not cases:
        return []
    counts = [h.size for _, h, _ in cases]
    h, T_gas, bore, layers, outer_diameter = (np.concatenate(values) for values in zip(*(
        (h, T_gas, *sections[1:]) for sections, h, T_gas in cases
    ), strict=True))
    facts = [
        values[0] if len(set(values)) == 1 else np.repeat(values, counts)
        for values in zip(*(_facts_outside(sections.wall) for sections, *_ in cases), strict=True)
    ]
    inflow = h * pi * bore / (1.0 + h * pi * bore * layers)
    given_off = _giving_off(outer_diameter, *facts)

    def excess(surface):
        return inflow * (T_gas - surface) - given_off(surface)

    T_air = facts[0]
    outer = _falling_root(excess, np.minimum(T_gas, T_air), np.maximum(T_gas, T_air), counts)
    heat = inflow * (T_gas - outer)
    states = outer + heat * layers, outer, heat
    return [
        WallState(*(values[end - count : end] for values in states))
        for end, count in zip(accumulate(counts), counts, strict=True)
    ]


def alike(owner, given):
    """Numbers or arrays by the name of their argument, as arrays of one shape."""
    arrays = [as_floats(owner, name, value) for name, value in given.items()]
    try:
        return np.broadcast_arrays(*arrays)
    except ValueError:
        shapes = ", ".join(
            f"{name} {array.shape}" for name, array in zip(given, arrays, strict=True)
        )
        raise InputError(f"{owner}: the shapes {shapes} do not fit one another.") from None


def _falling_root(function, low, high, counts):
    """Root of a falling function of an array, element by element, between `low` and `high`.

    The array holds groups of so many elements each; a group is ready when all of it has settled,
    whatever becomes of the others.
    """
    f_low, f_high = function(low), function(high)
    middle = 0.5 * (low + high)
    was_low = was_high = np.zeros(middle.shape, bool)  # side renewed before: not to stay for ever
    root, waits = np.empty_like(middle), np.ones(len(counts), bool)
    if not root.size:
        return root
    starts = np.cumsum([0, *counts[:-1]])
    for _ in range(_MAX_STEPS):
        width, part = f_low - f_high, np.full(middle.shape, 0.5)
        np.divide(f_low, width, out=part, where=width > 0.0)
        new = low + (high - low) * part
        ready = waits & np.logical_and.reduceat(np.abs(new - middle) <= _CLOSE, starts)
        if ready.any():
            np.copyto(root, new, where=np.repeat(ready, counts))
            waits &= ~ready
            if not waits.any():
                return root
        middle = new
        value = function(middle)
        is_low = value > 0.0
        is_high = ~is_low
        np.multiply(f_high, 0.5, out=f_high, where=is_low & was_low)
        np.multiply(f_low, 0.5, out=f_low, where=is_high & was_high)
        for side, place, bound, known in (
            (is_low, middle, low, f_low), (is_high, middle, high, f_high)
        ):
            np.copyto(bound, place, where=side)
            np.copyto(known, value, where=side)
        was_low, was_high = is_low, is_high
    raise ConvergenceError(
        f"Wall: no temperature between {np.min(low):.6g} K and {np.max(high):.6g} K balances its "
        f"heat within {_MAX_STEPS} steps."
    )
