"""What an engine would have given in the air of a standard: correction of torque and power.

Full-load torque of an engine that breathes freely follows the density of the air.  Standards agree
on an air and on a formula that carries a measured torque over to it; each has the form

    factor = (1 + s) (p_ref / p)^a (T / T_ref)^b - s,

with p the pressure of the air, without its vapour in most of them, T its temperature at the inlet,
and s the share of friction, which does not follow the air.  They differ by up to 4 %: compare only
what was corrected to one of them.  A formula cannot know an engine; the nearer the air is to that
of the standard, the less it matters.

All constants and limits here are from memory or from quotations, as `STANDARDS` says of each; none
was read in the standard itself.  They hold for engines with spark ignition at full load, without a
supercharger.  Saturation of vapour: `wavesim.descriptions.weather`, CIPM-2007.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from wavesim import console
from wavesim.constants import ZERO_CELSIUS
from wavesim.descriptions.weather import Ambient, as_ambient, enhancement, saturation_pressure
from wavesim.dyno.pulls import MeasuredPulls
from wavesim.errors import InputError, as_floats, check_choice
from wavesim.guard import guarded
from wavesim.results.curves import Curve
from wavesim.show.forms import SpeedCurve, check_form
from wavesim.units import inHg

#: What a correction multiplies.  Fuel and air flow stay as they were, and bsfc with them.
CORRECTED = ("torque", "power", "bmep")
#: Name of the factor among the quantities of a corrected curve.
FACTOR = "correction_factor"
_FACTORS = (0.93, 1.07)  # limits of ISO 1585, taken also where a standard's own are not known
_OLD_ZERO = 273.0  # [K] of 0 degrees Celsius in the formulas, which round it


@guarded
class CorrectionStandard(NamedTuple):
    """A standard air and the formula that leads to it.

    Attributes
    ----------
    name : str
    pressure : float
        Of its air [Pa].
    celsius : float
        Temperature of its air [degC].
    dry : bool
        True if pressures are those of the air without its vapour.
    zero : float
        0 degrees Celsius as the formula has it [K].
    pressure_power, temperature_power : float
        a and b of the formula.
    friction : float
        s of the formula.
    factors : (float, float)
        Factors for which it holds.
    temperatures, pressures : (float, float) or None
        Temperatures [degC] and pressures [Pa] for which it holds; None: not known here.
    source : str
        Where the numbers come from, and how far they can be trusted.

    Examples
    --------
    >>> import wavesim as ws
    >>> standard = ws.STANDARDS["ISO 1585"]
    >>> round(float(standard.factor(97.5e3, 305.15)), 5)
    1.03278
    >>> standard.warnings(99e3, 298.15), len(standard.warnings(70e3, 298.15))
    ([], 2)
    """

    name: str
    pressure: float
    celsius: float
    dry: bool
    zero: float
    pressure_power: float
    temperature_power: float
    friction: float
    factors: tuple[float, float]
    temperatures: tuple[float, float] | None
    pressures: tuple[float, float] | None
    source: str

    def factor(self, pressure: float | np.ndarray, temperature: float | np.ndarray
               ) -> float | np.ndarray:
        """Factor on torque and power.

        Parameters
        ----------
        pressure : float or ndarray
            Of the air, without vapour where `dry` says so [Pa].
        temperature : float or ndarray
            At the inlet [K].

        Returns
        -------
        float or ndarray
        """
        warmth = (temperature - ZERO_CELSIUS + self.zero) / (self.celsius + self.zero)
        thin = self.pressure / pressure
        whole = thin**self.pressure_power * warmth**self.temperature_power
        return (1.0 + self.friction) * whole - self.friction

    def warnings(self, pressure: float | np.ndarray, temperature: float | np.ndarray) -> list[str]:
        """Sentences on where an air lies outside of what the standard holds for.

        Parameters
        ----------
        pressure, temperature : float or ndarray
            As for `factor`.

        Returns
        -------
        list of str
        """
        kind = "a pressure of the dry air" if self.dry else "a pressure"
        given = (
            ("a correction factor", "", 1.0, ".3f", self.factor(pressure, temperature),
             self.factors),
            ("an inlet temperature", " degC", 1.0, ".1f", temperature - ZERO_CELSIUS,
             self.temperatures),
            (kind, " kPa", 1e-3, ".1f", pressure, self.pressures),
        )
        found = []
        for what, unit, scale, form, values, limits in given:
            if limits is None:
                continue
            low, high = float(np.nanmin(values)), float(np.nanmax(values))
            if low < limits[0] or high > limits[1]:
                worst = scale * (low if low < limits[0] else high)
                found.append(
                    f"{self.name} holds for {what} of {scale * limits[0]:g} to "
                    f"{scale * limits[1]:g}{unit}, here it is {worst:{form}}{unit}: the "
                    "correction is not to be trusted."
                )
        return found


_SQUARE_ROOT = {"zero": _OLD_ZERO, "pressure_power": 1.0, "temperature_power": 0.5,
                "friction": 0.0, "factors": _FACTORS, "temperatures": None, "pressures": None}
_ISO = {"pressure": 99e3, "celsius": 25.0, "dry": True, "zero": _OLD_ZERO, "pressure_power": 1.2,
        "temperature_power": 0.6, "friction": 0.0, "factors": _FACTORS,
        "temperatures": (15.0, 35.0), "pressures": (80e3, 110e3)}  # fmt: skip
#: Published standards by their names.
STANDARDS = {
    one.name: one for one in (
        CorrectionStandard(
            "ISO 1585", **_ISO,
            source="Formula for spark ignition as in 80/1269/EEC; formula and limits from memory.",
        ),
        CorrectionStandard(
            "SAE J1349", 99e3, 25.0, True, _OLD_ZERO, 1.0, 0.5, 0.18, _FACTORS, (15.0, 35.0),
            (90e3, 105e3),
            source="Form of June 1990, as two public pages quote it; limits from memory, that of "
                   "the factor is of ISO 1585.",
        ),
        CorrectionStandard(
            "JIS D 1001", **_ISO,
            source="Its air as found by search, exponents and limits as ISO 1585 from memory.",
        ),
        CorrectionStandard(
            "DIN 70020", 101.3e3, 20.0, False, **_SQUARE_ROOT,
            source="As a public page quotes it, with the pressure of the humid air; its limits "
                   "are not known here, that of the factor is of ISO 1585.",
        ),
        CorrectionStandard(
            "SAE J607", 29.92 * inHg, (60.0 - 32.0) / 1.8, True,
            **_SQUARE_ROOT | {"zero": ZERO_CELSIUS},
            source="Air of 60 degF and 29.92 inHg as found by search, formula from memory; its "
                   "limits are not known here, that of the factor is of ISO 1585.",
        ),
    )
}  # fmt: skip


@guarded
def correction_factor(
    standard: str,
    pressure: ArrayLike,
    temperature: ArrayLike,
    relative_humidity: ArrayLike = 0.0,
) -> float | np.ndarray:
    """Factor that carries full-load torque and power over to the air of a standard.

    An air beyond the limits of the standard is told by the logger "wavesim".

    Parameters
    ----------
    standard : {"ISO 1585", "SAE J1349", "JIS D 1001", "DIN 70020", "SAE J607"}
    pressure : array_like
        Absolute pressure of the air, with its vapour [Pa], 3e4 to 3e5.
    temperature : array_like
        Of the air at the inlet [K], 220 to 340.
    relative_humidity : array_like
        0 to 1, at the temperature of the inlet.

    Returns
    -------
    float or ndarray

    Raises
    ------
    InputError
        If there is no such standard, or a value is out of its range.

    Notes
    -----
    See the head of `wavesim.dyno.correction`; `STANDARDS` has constants, limits and sources.

    Examples
    --------
    >>> float(round(correction_factor("ISO 1585", 97.5e3, 305.15), 5))
    1.03278
    >>> float(round(correction_factor("SAE J1349", 99.5e3, 298.15, relative_humidity=0.5), 4))
    1.0132
    """
    found = _known(standard)
    air = (as_floats("correction_factor", name, value) for name, value in
           {"pressure": pressure, "temperature": temperature,
            "relative_humidity": relative_humidity}.items())
    pressure, temperature = _air(found, *air)
    for sentence in found.warnings(pressure, temperature):
        console.tell(sentence)
    factor = found.factor(pressure, temperature)
    return factor if np.ndim(factor) else float(factor)


@guarded
def corrected(
    curve: SpeedCurve, standard: str, ambient: Ambient | None = None
) -> Curve | MeasuredPulls:
    """A curve, measured or computed, as it would be in the air of a standard.

    Parameters
    ----------
    curve : Curve, MeasuredPulls, Sweep or another speed curve
    standard : {"ISO 1585", "SAE J1349", "JIS D 1001", "DIN 70020", "SAE J607"}
    ambient : Ambient or None
        The air that the engine drew.  None: that of the curve, which is measured as "barometer",
        "inlet_air_temperature" and, for standards of dry air, "relative_humidity", or stated as the
        weather of a sweep.

    Returns
    -------
    Curve or MeasuredPulls
        Torque, power and bmep times the factor, which it holds as "correction_factor" beside the
        three numbers of the air; all else as it was.  Of pulls each is corrected with its own air.
        `notes` say which standard, and where it does not hold.

    Raises
    ------
    InputError
        If there is no such standard, the air is not known, or the curve is corrected already.

    Examples
    --------
    >>> hot = Curve("hot day", [3000, 4000], {"torque": [141.0, 158.5]})
    >>> air = Ambient(pressure=97.5e3, temperature=305.15)
    >>> corrected(hot, "SAE J1349", air).torque.round(2).tolist()
    [145.53, 163.59]
    """
    found = _known(standard)
    if isinstance(curve, MeasuredPulls):
        return curve.changed(lambda pull: corrected(pull, standard, ambient))
    check_form("corrected", "curve", curve, SpeedCurve)
    if FACTOR in curve.quantities:
        raise InputError(f"corrected: {curve.name!r} is corrected already, by "
                         f"{_standard_of(curve) or 'another standard'}.")
    weather = _weather(found, curve, ambient)
    pressure, temperature = _air(found, *weather.values())
    factor = np.broadcast_to(found.factor(pressure, temperature), curve.rpm.shape)
    values = _values(curve, factor)
    values |= {name: np.broadcast_to(value, curve.rpm.shape) for name, value in weather.items()}
    values[FACTOR] = factor
    kind = " of dry air" if found.dry else ""
    notes = [f"{_MADE}{found.name} ({found.pressure / 1e3:.4g} kPa{kind}, {found.celsius:.3g} "
             "degC).", *found.warnings(pressure, temperature)]
    return _curve(curve, values, factor, [*notes, *curve.notes])


@guarded
def uncorrected(
    curve: SpeedCurve, standard: str, ambient: Ambient | None = None
) -> Curve | MeasuredPulls:
    """A corrected curve as it was in the air that the engine drew: takes `corrected` back.

    Parameters
    ----------
    curve : Curve, MeasuredPulls or another speed curve
        Corrected by `corrected`, or by a dynamometer of which the standard is known.
    standard : {"ISO 1585", "SAE J1349", "JIS D 1001", "DIN 70020", "SAE J607"}
        By which it is corrected.
    ambient : Ambient or None
        As for `corrected`.

    Returns
    -------
    Curve or MeasuredPulls

    Raises
    ------
    InputError
        If there is no such standard, the air is not known, or the curve is corrected by another
        standard.

    Examples
    --------
    >>> hot = Curve("hot day", [3000, 4000], {"torque": [141.0, 158.5]})
    >>> air = Ambient(pressure=97.5e3, temperature=305.15)
    >>> there = corrected(hot, "ISO 1585", air)
    >>> uncorrected(there, "ISO 1585").torque.round(9).tolist()
    [141.0, 158.5]
    """
    found = _known(standard)
    if isinstance(curve, MeasuredPulls):
        return curve.changed(lambda pull: uncorrected(pull, standard, ambient))
    check_form("uncorrected", "curve", curve, SpeedCurve)
    made_by = _standard_of(curve)
    if made_by not in (None, standard):
        raise InputError(f"uncorrected: {curve.name!r} is corrected by {made_by}, not by "
                         f"{standard}.")
    if FACTOR in curve.quantities:
        factor = curve[FACTOR]
    else:
        factor = found.factor(*_air(found, *_weather(found, curve, ambient).values()))
    values = _values(curve, 1.0 / factor)
    values.pop(FACTOR, None)
    notes = [note for note in curve.notes if not note.startswith((_MADE, f"{standard} holds"))]
    return _curve(curve, values, 1.0 / factor, notes)


_MADE = "Torque and power are corrected to "


def _known(standard):
    return STANDARDS[check_choice("correction", "standard", standard, STANDARDS)]


def _standard_of(curve):
    """Name of the standard by which a curve says to be corrected, or None."""
    said = next((note for note in curve.notes if note.startswith(_MADE)), None)
    return said and next((name for name in STANDARDS if said.startswith(f"{_MADE}{name} (")), None)


def _values(curve, factor):
    return {name: factor * curve[name] if name in CORRECTED else curve[name]
            for name in curve.quantities}


def _curve(curve, values, factor, notes):
    """A Curve of other values; the widths of bands follow those that are corrected."""
    widths = {name: curve.uncertainty(name) for name in curve.quantities if name in values}
    widths = {name: factor * width if name in CORRECTED else width
              for name, width in widths.items() if width is not None}
    units = {name: curve.unit(name) for name in curve.quantities if name in values}
    units |= {name: unit for name, unit in _UNITS.items() if name in values}
    notes = [note for note in notes if not note.startswith("Not to be trusted at ")]
    made = Curve(curve.name, curve.rpm, values, uncertainty=widths, units=units, notes=notes,
                 trusted=curve.trusted)
    # What `compare` asks a computed curve for, which stays true of all but the weather.
    for fact in ("conditions", "tolerance", "repeat_notes"):
        if hasattr(curve, fact):
            setattr(made, fact, getattr(curve, fact))
    if hasattr(made, "conditions"):
        made.conditions = {head: fact for head, fact in made.conditions.items()
                           if head != "weather"}
    return made


_UNITS = {"barometer": "Pa", "inlet_air_temperature": "K", "relative_humidity": "1", FACTOR: "1"}


# --- the air --------------------------------------------------------------------------------------


def _weather(standard, curve, ambient):
    """Pressure, temperature and humidity that an engine drew, by name of the quantity."""
    if ambient is not None:
        air = as_ambient(ambient)
        return dict(zip(_UNITS, (air.pressure, air.temperature, air.relative_humidity),
                        strict=False))
    stated = (getattr(curve, "conditions", None) or {}).get("weather", {}).get("intake")
    if stated:
        pressure, temperature, share = (stated[name] for name in
                                        ("pressure", "temperature", "vapour_share"))
        saturated = enhancement(pressure, temperature) * saturation_pressure(temperature)
        return dict(zip(_UNITS, (pressure, temperature, share * pressure / saturated),
                        strict=False))
    needed = list(_UNITS)[: 3 if standard.dry else 2]
    missing = [name for name in needed if name not in curve.quantities]
    if missing:
        raise InputError(
            f"corrected: {curve.name!r} does not say in which air it was made ({missing[0]} is "
            f"missing), which {standard.name} needs; give ambient."
        )
    given = [name for name in list(_UNITS)[:3] if name in curve.quantities]
    return dict.fromkeys(list(_UNITS)[:3], 0.0) | {name: _filled(curve, name) for name in given}


def _filled(curve, name):
    """Values of the air; where some are missing, those of the neighbours."""
    values = np.array(curve[name], dtype=float)
    there = np.isfinite(values)
    if not there.any():
        raise InputError(f"corrected: {curve.name!r} holds no value of {name}.")
    return np.interp(curve.rpm, curve.rpm[there], values[there])


def _air(standard, pressure, temperature, relative_humidity):
    """Pressure as the standard counts it and temperature, each checked."""
    shape = np.broadcast_shapes(*map(np.shape, (pressure, temperature, relative_humidity)))
    all_three = [np.broadcast_to(one, shape).ravel() for one in (pressure, temperature,
                                                                relative_humidity)]
    airs = [Ambient(pressure=float(p), temperature=float(t), relative_humidity=float(h))
            for p, t, h in zip(*all_three, strict=True)]
    counted = [air.dry_pressure if standard.dry else air.pressure for air in airs]
    return np.reshape(counted, shape), np.broadcast_to(temperature, shape)

