"""Metal that warms: one temperature for a length of tube, in the course of time.

::

    gas | inner coating | half the metal  T  half the metal | wrap | air and surroundings

The metal is thin and conducts well beside gas and air, so that one temperature T stands for it (the
Biot number of 1.5 mm of steel is some 0.005).  With half of its resistance on either side, the
resistances inside and outside sum up to that of `wall_balance`, which is its state after a long
time.  Per metre of tube, with the bore d:

    C dT/dt = q_in - q_out(T),   C = mass_per_length heat_capacity,
    q_in = (T_gas - T) / (1 / (h_inner pi d) + R_inside),
    q_out = (T - To) / R_outside = heat_to_outside(To)

Not counted: heat along the tube, heat held by coating and wrap.
"""

from math import ceil, log, pi
from typing import NamedTuple

import numpy as np

from wavesim.descriptions.walls import Wall, WallState, alike, heat_to_outside
from wavesim.errors import check_kind, check_number
from wavesim.guard import guarded

SUBSTEP = 0.2  # [s] tube has a time constant of some 20 s
_MOST_SUBSTEPS = 200
_PROBE = 1e-3  # [K] for the slope of the heat to the air
_CLOSE = 1e-9  # [K]
_MAX_STEPS = 40


class Warming(NamedTuple):
    """A wall after some time; arrays shaped like the arguments of `wall_warming` together.

    Attributes
    ----------
    inner, outer : ndarray
        Temperature of the innermost and the outermost surface at the end [K].
    heat : ndarray
        From gas to wall at the end [W/m].
    metal : ndarray
        Temperature of the metal at the end [K].
    from_gas, stored, to_air : ndarray
        Heat received, kept and given off in all this time [J/m]; the first is the sum of the
        others.

    Examples
    --------
    >>> import wavesim as ws
    >>> after = ws.wall_warming(300.0, 100.0, 900.0, ws.Wall(thickness="1.5 mm"), 0.04, 10.0)
    >>> bool(abs(after.from_gas - after.stored - after.to_air) < 1e-9 * after.from_gas)
    True
    """

    inner: np.ndarray
    outer: np.ndarray
    heat: np.ndarray
    metal: np.ndarray
    from_gas: np.ndarray
    stored: np.ndarray
    to_air: np.ndarray


def metal_of(state: WallState, wall: Wall, diameter: float | np.ndarray) -> np.ndarray:
    """Temperature of the metal [K] in the middle of its resistance, of a wall in balance."""
    return state.inner - state.heat * wall.inner_resistance(diameter)


@guarded
def wall_warming(
    metal_temperature: float | np.ndarray,
    h_inner: float | np.ndarray,
    gas_temperature: float | np.ndarray,
    wall: Wall,
    diameter: float | np.ndarray,
    duration: float,
    *,
    then: tuple | None = None,
    substep: float = SUBSTEP,
) -> Warming:
    """Temperature of a wall some time later.

    Parameters
    ----------
    metal_temperature : float or ndarray
        Of the metal at the start [K].
    h_inner : float or ndarray
        Heat transfer coefficient from gas to wall [W/(m2 K)], at least 0.
    gas_temperature : float or ndarray
        Gas temperature that goes with it [K].
    wall : Wall
        Layers and surroundings.
    diameter : float or ndarray
        Bore [m].
    duration : float
        [s], 0 to 1e9.
    then : (h_inner, gas_temperature) or None
        Those at the end, to which they change in proportion to time; None: they stay.
    substep : float
        Longest step [s], 1e-6 to 1e6.  A duration of more than 200 of them is cut into 200 that
        grow shorter, down to this one at the end: what was long ago is forgotten.

    Returns
    -------
    Warming

    Raises
    ------
    InputError
        If a time is out of range.

    Notes
    -----
    Each step solves the equation with its loss to the air linear about the state at the beginning
    and the gas of its middle (the exponential Rosenbrock-Euler method; Hochbruck and Ostermann,
    Acta Numerica 19 (2010) 209, from memory), exact where the loss is linear and the gas stays,
    else of second order; for long steps it is Newton's method for `wall_balance`.  The result is
    extrapolated from these steps and from steps twice as long (Richardson), to third order.

    Examples
    --------
    >>> tube = Wall(0.0015, "mild steel")
    >>> [round(float(wall_warming(300.0, 100.0, 900.0, tube, 0.05, t).metal)) for t in (10, 1e6)]
    [381, 726]
    """
    check_number("wall_warming", "duration", duration, "s", 0.0, 1e9)
    check_number("wall_warming", "substep", substep, "s", 1e-6, 1e6)
    check_kind("wall_warming", "wall", wall, Wall)
    h_last, T_last = (h_inner, gas_temperature) if then is None else then
    T, h, gas, h_last, gas_last, bore = alike("wall_warming", {
        "metal_temperature": metal_temperature, "h_inner": h_inner,
        "gas_temperature": gas_temperature, "then[0]": h_last, "then[1]": T_last,
        "diameter": diameter,
    })
    inside, edges = wall.inner_resistance(bore), _substeps(duration, substep)

    def gas_side(share):
        return _grip(h + share * (h_last - h), bore, inside), gas + share * (gas_last - gas)

    rough, fine = (_march(T, gas_side, wall, bore, times) for times in (edges[::2], edges))
    metal, from_gas, stored, to_air = (4.0 * fine - rough) / 3.0
    grip, gas_now = gas_side(1.0)
    heat = grip * (gas_now - metal)
    outer, _, _ = _loss(metal, wall, bore, metal)
    return Warming(metal + heat * inside, outer, heat, metal, from_gas, stored, to_air)


def _march(T, gas_side, wall, bore, times):
    """Metal temperature [K] and heat from the gas, stored and to the air [J/m] at the last time."""
    capacity = wall.mass_per_length(bore) * wall.material.heat_capacity
    from_gas, stored, to_air = np.zeros((3, *T.shape))
    outer = T
    for begin, end in zip(times, times[1:], strict=False):
        dt, (grip, gas) = end - begin, gas_side(0.5 * (begin + end) / times[-1])
        outer, loss, slope = _loss(T, wall, bore, outer)
        stiffness = grip + slope  # [W/(m K)] per kelvin of the metal
        surplus = grip * (gas - T) - loss
        warmer = -surplus / stiffness * np.expm1(-stiffness * dt / capacity)
        held = capacity * warmer
        mean = (surplus * dt - held) / stiffness  # [K s] integral of what T has risen
        from_gas = from_gas + grip * ((gas - T) * dt - mean)
        to_air = to_air + loss * dt + slope * mean
        stored = stored + held
        T = T + warmer
    return np.array([T, from_gas, stored, to_air])


def _substeps(duration, substep):
    """Times from 0 to `duration` [s] between an even number of steps; 0 if there is no time."""
    steps = min(2 * ceil(0.5 * duration / substep), _MOST_SUBSTEPS)
    if steps == 0:
        return [0.0]
    power = max(1.0, log(duration / substep) / log(_MOST_SUBSTEPS))
    return [duration * (1.0 - (1.0 - i / steps) ** power) for i in range(steps + 1)]


def _grip(h, bore, inside):
    """Conductance of one metre between gas and metal [W/(m K)]."""
    return h * pi * bore / (1.0 + h * pi * bore * inside)


def _loss(T, wall, bore, outer):
    """Outermost temperature [K], heat to the air [W/m] and its slope [W/(m K)] by that of the
    metal.

    Newton's method from a guess `outer`; the law rises and bends one way on either side of the
    air's temperature, so that after its first step it approaches the root from one side.
    """
    outside, diameter = wall.outer_resistance(bore), wall.outer_diameter(bore)
    for _ in range(_MAX_STEPS):
        loss = heat_to_outside(outer, diameter, wall)
        slope = (heat_to_outside(outer + _PROBE, diameter, wall) - loss) / _PROBE
        step = (T - outer - outside * loss) / (1.0 + outside * slope)
        outer = outer + step
        if np.all(np.abs(step) <= _CLOSE):
            break
    return outer, loss + slope * step, slope / (1.0 + outside * slope)
