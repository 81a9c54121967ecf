"""The weather: air outside of one pressure, temperature and humidity, and all places that it fills.

Many things stand in the air outside: the mouth of an intake, the end of an exhaust, the wall of a
pipe.  Each may state its own air; where it says nothing (None) it stands in the weather of the run.
A field says so by `of_weather` among its facts, and `under` fills all of them in a description.

Humid air is lighter than dry air, and of each kilogram less is oxygen.  The mole share of vapour is

    x = relative_humidity  f(p, T)  p_saturated(T) / p,

with the saturation pressure over water, below freezing too, and the enhancement factor f of vapour
beside air: Picard, Davis, Gläser and Fujii, Metrologia 45 (2008) 149, "CIPM-2007", appendix A
(constants from memory, checked by their numbers).
"""

from dataclasses import dataclass, fields
from functools import cache
from math import exp

from wavesim.constants import (
    AIR_PRESSURE_RANGE,
    STANDARD_PRESSURE,
    STANDARD_TEMPERATURE,
    ZERO_CELSIUS,
)
from wavesim.errors import InputError, shown
from wavesim.fields.description import PLAIN, Description, Named, number
from wavesim.gas.fuels import DRY_AIR

MOST_VAPOUR = 0.3  # mole share of vapour in air


def saturation_pressure(temperature):
    """Pressure of saturated water vapour over water [Pa].

    Parameters
    ----------
    temperature : float
        [K], 220 to 375.

    Notes
    -----
    CIPM-2007, eq. A1.1, within 0.04 % of the IAPWS formula from 0 to 100 degrees Celsius; below 0
    it is that over supercooled water, as meteorologists state humidity.

    Examples
    --------
    >>> round(saturation_pressure(298.15))
    3170
    """
    T = temperature
    return exp(1.2378847e-5 * T * T - 1.9121316e-2 * T + 33.93711047 - 6.3431645e3 / T)


def enhancement(pressure, temperature):
    """Saturation pressure of vapour in air over that of vapour alone [1].

    Parameters
    ----------
    pressure : float
        Of the air [Pa].
    temperature : float
        [K].

    Notes
    -----
    CIPM-2007, eq. A1.2, fitted from 60 to 110 kPa and 15 to 27 degrees Celsius.
    """
    return 1.00062 + 3.14e-8 * pressure + 5.6e-7 * (temperature - ZERO_CELSIUS) ** 2


@dataclass(frozen=True, kw_only=True)
class Ambient(Description):
    """Still air outside.

    Parameters
    ----------
    pressure : float
        Absolute pressure [Pa], 3e4 to 3e5, vapour included; by default the standard atmosphere of
        the CGPM (1954).
    temperature : float
        Temperature [K], 220 to 340; by default 25 degrees Celsius, our choice.
    relative_humidity : float
        Pressure of the vapour over that in saturated air, 0 to 1.

    Raises
    ------
    InputError
        If a value is outside its range, or more than 30 % of the air would be vapour.

    Notes
    -----
    The air that an engine draws is a mixture of dry air and vapour, in its density, heat capacity
    and oxygen.  Not modelled: fog and dew (no water evaporates or condenses anywhere, be it in the
    plenum or in a cold tailpipe), the slower burning of humid charge, and the viscosity of vapour.
    All air of a run has the humidity of that at the intake, also what an exhaust sucks in.

    Examples
    --------
    >>> sultry = Ambient(temperature=303.15, relative_humidity=0.8)
    >>> round(sultry.vapour_share, 4), round(sultry.dry_pressure)
    (0.0337, 97913)
    """

    pressure: float = number("Pa", *AIR_PRESSURE_RANGE, STANDARD_PRESSURE)
    temperature: float = number("K", 220.0, 340.0, STANDARD_TEMPERATURE)
    relative_humidity: float = number("1", 0.0, 1.0, 0.0)

    def _check(self):
        if self.vapour_share > MOST_VAPOUR:
            self._refuse(
                f"relative_humidity = {self.relative_humidity:g} (no unit) at {self.temperature:g} "
                f"K and {self.pressure:g} Pa makes {100.0 * self.vapour_share:.0f} % of the air "
                f"vapour, valid are 0 to {100.0 * MOST_VAPOUR:.0f} %."
            )

    @property
    def vapour_share(self) -> float:
        """Mole share of water vapour in the air [1]."""
        saturated = enhancement(self.pressure, self.temperature)
        saturated *= saturation_pressure(self.temperature) / self.pressure
        return self.relative_humidity * saturated

    @property
    def dry_pressure(self) -> float:
        """Pressure of the air without its vapour [Pa]."""
        return (1.0 - self.vapour_share) * self.pressure


def as_ambient(value):
    """The weather that is given, or an Ambient() for None.

    Parameters
    ----------
    value : Ambient or None

    Raises
    ------
    InputError
        If it is something else.
    """
    if value is not None and not isinstance(value, Ambient):
        raise InputError(f"ambient = {shown(value)} must be an Ambient.")
    return value or Ambient()


def moist_air(vapour_share):
    """Moles by species of air of which a share is vapour; dry air at 0.

    Parameters
    ----------
    vapour_share : float
        Mole share of water vapour [1].
    """
    if vapour_share == 0.0:
        return DRY_AIR
    dry = sum(DRY_AIR.values())
    return Named({**DRY_AIR, "H2O": dry * vapour_share / (1.0 - vapour_share)}, "moist air")


# --- places that the weather fills ----------------------------------------------------------------


def of_weather(attribute=None):
    """Facts of a field whose None stands for the weather, or for one of its values.

    Parameters
    ----------
    attribute : str or None
        Name of a value of Ambient; None: the Ambient itself.
    """

    def fill(value, ambient):
        if value is not None:
            return value
        return ambient if attribute is None else getattr(ambient, attribute)

    return {"weather": fill}


def under(thing, ambient):
    """Copy of a description in which every place that states no air has that of the weather.

    Parameters
    ----------
    thing : Description, Named, tuple or plain value
        What to fill; itself is returned if nothing is left to fill.
    ambient : Ambient
        The weather.
    """
    return _under(thing, ambient, {})


def _under(thing, ambient, known):
    """See `under`; `known` holds what was filled already, for one pipe may serve all cylinders."""
    if type(thing) in PLAIN:
        return thing
    if not isinstance(thing, tuple) and isinstance(thing, Description):
        if id(thing) not in known:
            known[id(thing)] = _filled(thing, ambient, known)
        return known[id(thing)]
    if isinstance(thing, (tuple, Named)):
        old = tuple(thing.values() if isinstance(thing, Named) else thing)
        new = tuple(_under(item, ambient, known) for item in old)
        if all(a is b for a, b in zip(old, new, strict=True)):
            return thing
        return Named(zip(thing, new, strict=True)) if isinstance(thing, Named) else new
    return thing


def _filled(thing, ambient, known):
    """Copy of a description whose fields are filled; itself if there is nothing to fill."""
    changes = {}
    for name, fill in _filled_fields(type(thing)):
        value = getattr(thing, name)
        if fill is None and type(value) in PLAIN:
            continue
        new = _under(value, ambient, known) if fill is None else fill(value, ambient)
        if new is not value:
            changes[name] = new
    return thing.replace(**changes) if changes else thing


@cache
def _filled_fields(kind):
    """Pairs of the name of a field and what fills it; None: as a description or a list of them."""
    return [(field.name, field.metadata.get("weather")) for field in fields(kind)
            if "weather" in field.metadata or "unit" not in field.metadata]  # else numbers
