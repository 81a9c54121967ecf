"""Floats that turn everyday units into SI: ``38 * units.mm`` is 0.038 m.

All values come from scipy.constants except the few it does not hold.  No quantity objects: after
the multiplication a length is a plain float in metres.  Engine speeds are given in rev/min and
angles in degrees, so that there is no factor for either.  Fields of descriptions and study files
take texts such as "38 mm" as well (`wavesim.measures`).

>>> round(1.5 * inch, 6), round(20 * psi), round(celsius(650.0), 2)
(0.0381, 137895, 923.15)
"""

from numpy import ndarray as _ndarray
from scipy import constants as _c

from wavesim.constants import ZERO_CELSIUS

mm = _c.milli  #: millimetre [m]
cm = _c.centi  #: centimetre [m]
inch = _c.inch  #: inch [m]
foot = _c.foot  #: foot [m]
cpsi = 1.0 / inch**2  #: channels per square inch [1/m2]
cc = cm**3  #: cubic centimetre [m3]
litre = _c.litre  #: litre [m3]
bar = _c.bar  #: bar [Pa]
kPa = _c.kilo  #: kilopascal [Pa]
psi = _c.psi  #: pound per square inch [Pa]
inHg = 25.4 * _c.mmHg  #: inch of mercury [Pa]
inH2O = 25.4 * _c.g  #: inch of water [Pa]
atm = _c.atm  #: standard atmosphere [Pa]
gram = _c.gram  #: gram [kg]
lb = _c.pound  #: pound [kg]
cfm = _c.foot**3 / _c.minute  #: cubic foot per minute [m3/s]
kW = _c.kilo  #: kilowatt [W]
hp = _c.hp  #: mechanical (imperial) horsepower [W]
metric_hp = 75.0 * _c.kilogram_force  #: metric horsepower, 75 kgf m/s [W]


def celsius(temperature: float | _ndarray) -> float | _ndarray:
    """Kelvin from degrees Celsius.

    Parameters
    ----------
    temperature : float or ndarray
        Temperature [degC].

    Returns
    -------
    float or ndarray
        Temperature [K].

    Examples
    --------
    >>> celsius(25.0)
    298.15
    """
    return temperature + ZERO_CELSIUS
