"""Values as people state them: a number with its unit, such as "42 mm", "1 5/8 inch" or "250 degC".

A unit is a word of the tables below, or several of them with powers: "kg/m3", "W/(m K)", "ft3/min".
Factors are kept as fractions, so that "42 mm" is 0.042 to the last bit, as if it had been written
in SI.  Pressures are absolute: 14.7 psi is the air outside.
"""

import re
from fractions import Fraction
from typing import NamedTuple

from scipy import constants as _c

from wavesim.constants import ZERO_CELSIUS

LONGEST = 60  # letters of a stated value


def _exact(value):
    """The decimal number as which a float is written, as a fraction."""
    return Fraction(str(value))


class UnknownUnit(ValueError):
    """A word that is no unit; the message goes on after the value."""

    def __init__(self, word):
        self.word = word
        super().__init__(f"has an unknown unit {word!r}, known are {', '.join(COMMON_UNITS)}")


class _Unit(NamedTuple):
    factor: Fraction
    powers: tuple  # of metre, kilogram, second, kelvin, degree, mole

    def times(self, other, power=1):
        powers = tuple(a + power * b for a, b in zip(self.powers, other.powers, strict=True))
        return _Unit(self.factor * other.factor**power, powers)


_NONE = _Unit(Fraction(1), (0,) * 6)
_BASES = {
    word: _Unit(Fraction(1), tuple(int(i == place) for i in range(6)))
    for place, word in enumerate(("m", "kg", "s", "K", "deg", "mol"))
}

#: What each word is: a number times a unit of words before it.  Inch, foot, pound, mile, atmosphere
#: and the weight of a kilogram are exact by definition; mercury and water as is conventional
#: (13595.1 and 1000 kg/m3 under standard gravity).
_WORDS = {
    # length
    "mm": (_exact(_c.milli), "m"), "cm": (_exact(_c.centi), "m"), "km": (1000, "m"),
    "um": (_exact(_c.micro), "m"), "inch": (_exact(_c.inch), "m"), "foot": (12, "inch"),
    "thou": (Fraction(1, 1000), "inch"), "mile": (5280, "foot"),
    # time, rotation and angle
    "ms": (_exact(_c.milli), "s"), "min": (60, "s"), "h": (60, "min"), "rev": (360, "deg"),
    "rpm": (1, "rev/min"), "Hz": (1, "1/s"), "mph": (1, "mile/h"), "kmh": (1, "km/h"),
    # mass and force
    "g": (_exact(_c.gram), "kg"), "lb": (_exact(_c.pound), "kg"), "N": (1, "kg m/s2"),
    "lbf": (_exact(_c.g), "lb m/s2"),
    # volume
    "litre": (1, "dm3"), "dm": (Fraction(1, 10), "m"), "ml": (1, "cm3"), "cc": (1, "cm3"),
    "cfm": (1, "foot3/min"), "cpsi": (1, "1/inch2"),
    # pressure
    "Pa": (1, "N/m2"), "kPa": (1000, "Pa"), "hPa": (100, "Pa"), "MPa": (1000000, "Pa"),
    "bar": (_exact(_c.bar), "Pa"), "mbar": (100, "Pa"), "atm": (_exact(_c.atm), "Pa"),
    "psi": (1, "lbf/inch2"), "mmHg": (_exact(_c.g) * Fraction("13.5951"), "Pa"),
    "inHg": (1000 * _exact(_c.inch), "mmHg"), "mmH2O": (_exact(_c.g), "Pa"),
    "inH2O": (1000 * _exact(_c.inch), "mmH2O"),
    # energy
    "J": (1, "N m"), "kJ": (1000, "J"), "MJ": (1000000, "J"), "W": (1, "J/s"),
    "kW": (1000, "W"), "hp": (550, "foot lbf/s"),
    # share
    "%": (Fraction(1, 100), "1"),
}  # fmt: skip
_ALIASES = {
    "in": "inch", "inches": "inch", '"': "inch", "ft": "foot", "feet": "foot", "µm": "um",
    "thousandths": "thou", "degrees": "deg", "degree": "deg", "°": "deg", "l": "litre",
    "L": "litre", "liter": "litre", "litres": "litre", "liters": "litre", "lbs": "lb",
    "kelvin": "K", "sec": "s", "hour": "h", "grams": "g", "revs": "rev",
}
#: Scales of temperature: (factor, zero in K).
_SCALES = {
    "degC": (Fraction(1), _exact(ZERO_CELSIUS)),
    "degF": (Fraction(5, 9), _exact(ZERO_CELSIUS) - 32 * Fraction(5, 9)),
}
_SCALES |= {"°C": _SCALES["degC"], "°F": _SCALES["degF"], "celsius": _SCALES["degC"],
            "fahrenheit": _SCALES["degF"]}

#: Names of kinds of quantities and a way to write one, by SI unit.
_KINDS = {
    "m": ("a length", "42 mm"), "m2": ("an area", "12 cm2"), "m3": ("a volume", "4 litre"),
    "K": ("a temperature", "250 degC"), "Pa": ("a pressure", "14.7 psi"),
    "deg": ("an angle", "95 deg"), "kg": ("a mass", "800 g"), "s": ("a time", "20 s"),
    "rev/min": ("a speed of rotation", "3000 rpm"), "m/s": ("a speed", "100 km/h"),
    "m3/s": ("a volume flow", "400 cfm"), "1": ("a number without a unit", "30 %"),
    "kg/m3": ("a density", "100 g/litre"), "W": ("a power", "90 kW"), "N": ("a force", "20 N"),
    "J": ("an energy", "5 kJ"), "kg/s": ("a mass flow", "20 g/s"),
    "1/m2": ("a number per area", "400 cpsi"), "W/(m K)": ("a conductivity", "0.1 W/(m K)"),
}  # fmt: skip

_NUMBER = r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d{1,2})?"
_STATED = re.compile(
    rf"\s*(?:(?:(?P<whole>\d+)[ -]+)?(?P<top>\d+)/(?P<bottom>\d+)|(?P<number>{_NUMBER}))"
    r"\s*(?P<unit>(?:1/)?[^\d\s.,+-].*?)\s*"
)
_POWER = re.compile(r"(.+?)\^?(-?\d)")


def is_stated(text: object) -> bool:
    """True for a text that is a number with something behind it, as a stated value is.

    Parameters
    ----------
    text : object
        Anything.

    Examples
    --------
    >>> [is_stated(text) for text in ("42 mm", "16 gauge", "drawn", "42", 42)]
    [True, True, False, False, False]
    """
    return isinstance(text, str) and len(text) <= LONGEST and _STATED.fullmatch(text) is not None


def in_unit(text: str, unit: str) -> float:
    """Number of a stated value in an SI unit.

    Parameters
    ----------
    text : str
        Such as "42 mm"; `is_stated` is True for it.
    unit : str
        SI unit, "1" for none.

    Returns
    -------
    float
        The nearest to the exact value.

    Raises
    ------
    ValueError
        If the unit is not known or of another dimension; the message goes on after the value.

    Examples
    --------
    >>> in_unit("42 mm", "m"), in_unit("1 5/8 inch", "m"), in_unit("250 degC", "K")
    (0.042, 0.041275, 523.15)
    >>> in_unit("16 gauge", "m")  # Birmingham
    0.001651
    >>> in_unit("250 degC", "m")
    Traceback (most recent call last):
    ...
    ValueError: is a temperature, must be a length in m such as '42 mm'
    """
    found = _STATED.fullmatch(text)
    value, word = _number(found), found["unit"]
    if word in _SCALES:
        factor, zero = _SCALES[word]
        stated = _Unit(Fraction(1), _BASES["K"].powers)
        value = value * factor + zero
    elif word.lower() in GAUGES:
        stated = _BASES["m"]
        value = _gauge(word.lower(), value)
    else:
        stated = _unit(word)
    wanted = _unit(unit)
    if stated.powers != wanted.powers:
        raise ValueError(f"is {_kind(stated)}, must be {_wanted(unit)}")
    return float(value * stated.factor / wanted.factor)


def _number(found):
    if found["number"]:
        return Fraction(found["number"])
    if int(found["bottom"]) == 0:
        raise ValueError("divides by 0")
    return int(found["whole"] or 0) + Fraction(int(found["top"]), int(found["bottom"]))


def _unit(text):
    """Unit of words with powers: what stands behind each "/" divides."""
    over, *under = re.split(r"/(?![^(]*\))", text)
    unit = _product(over)
    for part in under:
        unit = unit.times(_product(part.strip().removeprefix("(").removesuffix(")")), -1)
    return unit


def _product(text):
    unit = _NONE
    for word in re.split(r"[\s*·]+", text.strip()):
        unit = unit.times(*_factor(word))
    return unit


def _factor(word):
    """Unit and power of one word."""
    if word == "1":
        return _NONE, 1
    known, power = _word(word), 1
    if known is None and (parted := _POWER.fullmatch(word)):
        known, power = _word(parted[1]), int(parted[2])
    if known is None:
        raise UnknownUnit(word)
    return known, power


def _word(word):
    word = _ALIASES.get(word, word)
    if word in _WORDS:
        number, of = _WORDS[word]
        return _Unit(Fraction(number), _NONE.powers).times(_unit(of))
    return _BASES.get(word)


def _kind(unit):
    for si, (name, _) in _KINDS.items():
        if _unit(si).powers == unit.powers:
            return name
    return "of another dimension"


def _wanted(unit):
    if unit == "1":
        return "a number without a unit, or a share in %"
    name, example = _KINDS.get(unit, ("a value", ""))
    return f"{name} in {unit}" + (f" such as {example!r}" if example else "")


#: Units that a message names; many more are known.
COMMON_UNITS = ("mm", "cm", "inch", "litre", "cm3", "degC", "degF", "bar", "psi", "kPa", "inHg",
                "deg", "g", "kg", "rpm", "cfm", "gauge")

# --- gauge -------------------------------------------------------------------------------------

#: Thickness by gauge number, 7 to 24 [thousandth inch]; all from memory.
#: Birmingham or Stubs' iron wire gauge (BWG), by which the walls of steel tube are ordered in
#: ASTM A513 and the usual handbooks: what "gauge" alone means here.
_BIRMINGHAM = (180, 165, 148, 134, 120, 109, 95, 83, 72, 65, 58, 49, 42, 35, 32, 28, 25, 22)
#: British Standard wire gauge (SWG), Order in Council of 1883, BS 3737.
_STANDARD_WIRE = (176, 160, 144, 128, 116, 104, 92, 80, 72, 64, 56, 48, 40, 36, 32, 28, 24, 22)
#: Manufacturers' standard gauge (MSG) of uncoated steel sheet in the United States, which rests on
#: the U.S. standard gauge of 1893 (USSG): by it sheet is sold, and what is rolled of it.
_SHEET = ("179.3", "164.4", "149.5", "134.5", "119.6", "104.6", "89.7", "74.7", "67.3", "59.8",
          "53.8", "47.8", "41.8", "35.9", "32.9", "29.9", "26.9", "23.9")
FIRST_GAUGE, LAST_GAUGE = 7, 24
GAUGES = {
    **dict.fromkeys(("gauge", "gage", "ga", "bwg"), _BIRMINGHAM),
    "swg": _STANDARD_WIRE,
    **dict.fromkeys(("sheet gauge", "msg", "ussg"), _SHEET),
}


def _gauge(standard, number):
    if number not in range(FIRST_GAUGE, LAST_GAUGE + 1):
        raise ValueError(f"is no gauge, valid are the whole numbers {FIRST_GAUGE} to {LAST_GAUGE}")
    thickness = GAUGES[standard][int(number) - FIRST_GAUGE]
    return Fraction(thickness) / 1000 * _exact(_c.inch)
