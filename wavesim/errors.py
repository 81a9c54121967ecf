"""Errors of the package and the small checks that word them.

Every message is one sentence that says who (object and field), what came (value and unit) and
what is allowed (range or choices), with a guess at the slip where one is likely.
"""

import difflib
import math
from contextlib import contextmanager
from numbers import Integral, Real

import numpy as np

from wavesim.constants import ZERO_CELSIUS
from wavesim.units import bar, cc, cm, inch, kPa, litre, mm
from wavesim.words import meant

# Frequent slips of unit, by SI unit: (quantity, SI name, other unit, factor, offset), where
# other * factor + offset is the SI value.
_SLIPS = {
    "m": (
        ("lengths", "metres", "mm", mm, 0.0),
        ("lengths", "metres", "cm", cm, 0.0),
        ("lengths", "metres", "inch", inch, 0.0),
    ),
    "m3": (
        ("volumes", "cubic metres", "litres", litre, 0.0),
        ("volumes", "cubic metres", "cm3", cc, 0.0),
    ),
    "K": (("temperatures", "kelvin", "degC", 1.0, ZERO_CELSIUS),),
    "Pa": (
        ("pressures", "pascal", "bar", bar, 0.0),
        ("pressures", "pascal", "kPa", kPa, 0.0),
    ),
}


class WavesimError(Exception):
    """Base of every error this package raises on purpose."""


class InputError(WavesimError, ValueError):
    """A description, a setting or a file holds something that cannot be right."""


class ConvergenceError(WavesimError):
    """A calculation ran but did not settle within the stated tolerance."""


class SolverError(WavesimError):
    """A calculation left the physical range.

    Parameters
    ----------
    message : str
        Sentence for the reader.
    duct : str or None
        Duct in which it happened, if known.
    position : float or None
        Distance from the start of that duct [m].
    crank_angle_deg : float or None
        Crank angle [deg].
    cycle : int or None
        Number of the engine cycle.
    """

    def __init__(
        self,
        message: str,
        *,
        duct: str | None = None,
        position: float | None = None,
        crank_angle_deg: float | None = None,
        cycle: int | None = None,
    ) -> None:
        super().__init__(message)
        self.duct = duct
        self.position = position
        self.crank_angle_deg = crank_angle_deg
        self.cycle = cycle


@contextmanager
def located(path):
    """Put `path` in front of the message of any InputError raised inside the block.

    Parameters
    ----------
    path : str
        Place in a study file or dotted path, such as "exhaust.collector".
    """
    try:
        yield
    except InputError as error:
        raise InputError(f"{path}: {error}") from error


def _to_float(value):
    """Float of a real number, infinite where an integer is too large for one."""
    try:
        return float(value)
    except OverflowError:
        return math.inf


def with_unit(value, unit):
    """Value and unit as text, "0.042 m" or "12 (no unit)".

    Parameters
    ----------
    value : object
        Numbers are written with up to nine significant figures, all else by repr.
    unit : str
        SI unit; "1" stands for none.
    """
    is_number = isinstance(value, Real) and not isinstance(value, (bool, np.bool_))
    shown = f"{_to_float(value):.9g}" if is_number else repr(value)
    return f"{shown} {'(no unit)' if unit == '1' else unit}"


def range_text(unit, low, high, low_open=False, high_open=False):
    """Words for a range of numbers, such as "0.003 m to 0.5 m".

    Parameters
    ----------
    unit : str
        SI unit of both limits.
    low, high : float
        Limits, infinite where there is none.
    low_open, high_open : bool
        True where the limit itself does not belong to the range.
    """
    if math.isinf(high):
        return f"{'above' if low_open else 'at least'} {with_unit(low, unit)}"
    if math.isinf(low):
        return f"{'below' if high_open else 'at most'} {with_unit(high, unit)}"
    left = with_unit(low, unit) + (" (excluded)" if low_open else "")
    right = with_unit(high, unit) + (" (excluded)" if high_open else "")
    return f"{left} to {right}"


def _slip_hint(value, unit, low, high):
    """Bracketed guess at a mistaken unit, or an empty text."""
    for quantity, name, other, factor, offset in _SLIPS.get(unit, ()):
        meant = value * factor + offset
        if value > 0.0 and low <= meant <= high:
            return f" ({quantity} are in {name}: {value:.9g} {other} is {meant:.6g})"
    return ""


def check_number(
    owner, field, value, unit, low, high, *, low_open=False, high_open=False, hint=""
):
    """Return `value` as a float after checking that it is a finite number within the range.

    Parameters
    ----------
    owner : str
        Object the field belongs to, such as "Pipe".
    field : str
        Name of the field.
    value : object
        What the user gave; integers and numpy scalars count as numbers, True and "1" do not.
    unit : str
        SI unit, "1" for none.
    low, high : float
        Limits of the valid range, included unless `low_open` or `high_open`.
    low_open, high_open : bool
        True to exclude a limit.
    hint : str
        Advice added to the sentence; without it a likely slip of unit is pointed out.

    Returns
    -------
    float
        The checked value.

    Raises
    ------
    InputError
        If `value` is no finite number in the range.

    Examples
    --------
    >>> check_number("Pipe", "diameter", 42, "m", 0.003, 0.5)
    Traceback (most recent call last):
    ...
    wavesim.errors.InputError: Pipe: diameter = 42 m is outside the valid range 0.003 m to 0.5 m \
(lengths are in metres: 42 mm is 0.042).
    """
    said = f"{owner}: {field} = {with_unit(value, unit)}"
    valid = f"the valid range {range_text(unit, low, high, low_open, high_open)}"
    advice = f" ({hint})" if hint else ""
    if isinstance(value, (bool, np.bool_)) or not isinstance(value, Real):
        raise InputError(f"{said} is not a number in {valid}{advice}.")
    number = _to_float(value)
    if not math.isfinite(number):
        raise InputError(f"{said} is not a finite number in {valid}{advice}.")
    too_low = number <= low if low_open else number < low
    too_high = number >= high if high_open else number > high
    if too_low or too_high:
        advice = advice or _slip_hint(number, unit, low, high)
        raise InputError(f"{said} is outside {valid}{advice}.")
    return number


def check_int(owner, field, value, low, high, unit="1"):
    """Return `value` as an int after checking that it is a whole number within the range.

    Parameters
    ----------
    owner, field : str
        Object and field, for the message.
    value : object
        Whole number; 4.0 is accepted, 4.5, True and "4" are not.
    low, high : int
        Limits, both included.
    unit : str
        Unit for the message, "1" for none.

    Raises
    ------
    InputError
        If `value` is no whole number in the range.
    """
    number = check_number(owner, field, value, unit, low, high)
    if not isinstance(value, Integral) and number != int(number):
        raise InputError(
            f"{owner}: {field} = {with_unit(value, unit)} is not a whole number in the valid "
            f"range {range_text(unit, low, high)}."
        )
    return int(number)


def nearest(name, names):
    """Question that offers what was meant, to end a sentence with; a full stop if that is unclear.

    The workshop's words (`wavesim.words`) are known; all else is compared by its letters.

    Parameters
    ----------
    name : object
        What was written.
    names : iterable of str
        What could have been meant.

    Examples
    --------
    >>> nearest("colector", ["collector", "pipe"])
    "; did you mean 'collector'?"
    >>> nearest("catalyst", ["pipe", "bend", "monolith"])
    "; did you mean 'monolith'?"
    """
    names = [str(n) for n in names]
    close = meant(name, names) or difflib.get_close_matches(str(name), names, n=1, cutoff=0.5)
    return f"; did you mean {' or '.join(map(repr, close))}?" if close else "."


def check_choice(owner, field, value, choices):
    """Return `value` after checking that it is one of `choices`.

    Parameters
    ----------
    owner, field : str
        Object and field, for the message.
    value : object
        What the user gave.
    choices : iterable of str
        Every allowed spelling.

    Raises
    ------
    InputError
        If `value` is none of them; the message lists all and offers the nearest.
    """
    choices = tuple(choices)
    if isinstance(value, str) and value in choices:
        return value
    listed = ", ".join(repr(choice) for choice in choices)
    raise InputError(f"{owner}: {field} = {value!r} must be one of {listed}"
                     f"{nearest(value, choices)}")


def check_keys(owner, given, known, needed=(), what="field"):
    """Refuse names that are not known and the lack of names that are needed.

    Parameters
    ----------
    owner : str
        Object or place in a file, for the message.
    given, known, needed : iterable of str
        What the user wrote, what exists, what must be there.
    what : str
        What the names stand for, "field" or "key".

    Raises
    ------
    InputError
        If a name is unknown (the nearest known one is offered) or missing.
    """
    given, known = tuple(given), tuple(known)
    for name in given:
        if name not in known:
            raise InputError(
                f"{owner}: no {what} {name!r} among {', '.join(known)}{nearest(name, known)}"
            )
    missing = [name for name in needed if name not in given]
    if missing:
        raise InputError(f"{owner}: missing {what} {', '.join(missing)}.")
