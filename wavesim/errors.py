"""Errors of the package and the small checks that word them.

Every message is one sentence that says who (object and field), what came (value and unit) and
what is allowed (range or choices), with a guess at the slip where one is likely.
"""

import difflib
import math
import reprlib
from collections.abc import Container, Mapping, Sequence
from contextlib import contextmanager
from numbers import Integral, Real

import numpy as np

from wavesim.constants import ZERO_CELSIUS
from wavesim.units import bar, cc, cm, inch, kPa, litre, mm
from wavesim.words import meant

LONGEST_MESSAGE = 298  # characters of a message
LONGEST_VALUE = 60  # characters of a value in a message, about
LONGEST_PATH = 130  # characters of a path in a message
MOST_FAULTS = 20  # of several that are told

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
    """Base of every error this package raises on purpose.

    Examples
    --------
    >>> import wavesim as ws
    >>> try:
    ...     ws.Pipe("700 mm", "-42 mm")
    ... except ws.WavesimError as error:
    ...     print(error)
    Pipe: diameter = -0.042 m is outside the valid range 0.003 m to 0.5 m, given as '-42 mm'.
    """


class InputError(WavesimError, ValueError):
    """A description, a setting or a file holds something that cannot be right.

    Parameters
    ----------
    message : str
        One sentence.  Of more than 300 characters the middle is left out.

    Examples
    --------
    >>> import wavesim as ws
    >>> try:
    ...     ws.Engine(bore="86 mm", storke="86 mm")
    ... except ws.InputError as error:
    ...     print("stroke" in str(error))
    True
    """

    def __init__(self, message: str) -> None:
        super().__init__(_tellable(message))


class Faults(InputError):
    """Several things that cannot be right, told in one go.

    Parameters
    ----------
    owner : str
        Whose faults they are.
    faults : sequence of str
        One sentence for each.
    """

    def __init__(self, owner: str, faults: Sequence[str]) -> None:
        self.owner = owner
        self.faults = tuple(map(_tellable, faults))
        WavesimError.__init__(self, owner, self.faults)

    def __str__(self):
        lines = [f"({i}) {fault}" for i, fault in enumerate(self.faults, start=1)]
        if len(lines) > MOST_FAULTS:
            lines[MOST_FAULTS:] = [f"and {len(lines) - MOST_FAULTS} more"]
        return "\n".join([f"{self.owner} has {len(self.faults)} faults:", *lines])


class Gathering:
    """Faults that are collected, to be told in one go.

    Parameters
    ----------
    owner : str
        Whose faults they are.

    Examples
    --------
    >>> found = Gathering("study.toml")
    >>> for value in (1, -1, "x"):
    ...     with found.noting():
    ...         _ = check_number("Pipe", "length", value, "m", 0.001, 30.0)
    >>> len(found.faults)
    2
    """

    def __init__(self, owner):
        self.owner, self.faults = owner, []

    @contextmanager
    def noting(self):
        """Collect the InputError that is raised inside the block, or all in it."""
        try:
            yield
        except InputError as error:
            self.note(error)

    def note(self, error):
        """Collect one InputError, or all in it."""
        self.faults += getattr(error, "faults", None) or [str(error)]

    def tell(self):
        """Raise InputError if there is a fault."""
        if len(self.faults) > 1:
            raise Faults(self.owner, self.faults)
        if self.faults:
            raise InputError(self.faults[0])


class ConvergenceError(WavesimError):
    """A calculation ran but did not settle within the stated tolerance.

    Examples
    --------
    >>> import wavesim as ws
    >>> issubclass(ws.ConvergenceError, ws.WavesimError)
    True
    """


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

    Examples
    --------
    >>> import wavesim as ws
    >>> error = ws.SolverError("The pressure fell below zero.", duct="tailpipe", position=0.3)
    >>> error.duct, error.position
    ('tailpipe', 0.3)
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


def _tellable(message):
    """One line of letters that can be shown, not too long; it may hold words of a stranger."""
    message = message if isinstance(message, str) else shown(message)
    if not message.isprintable():
        message = "".join(
            letter if letter.isprintable() else letter.encode("unicode_escape").decode()
            for letter in message
        )
    return _shortened(message, LONGEST_MESSAGE)


def _shortened(message, longest):
    """A text without its middle, where it is too long to be read."""
    if len(message) <= longest:
        return message
    tail = longest // 2
    return f"{message[: longest - tail - 7]} [...] {message[-tail:]}"


class _Glance(reprlib.Repr):
    """What can be said of any object in a few words."""

    def __init__(self):
        super().__init__()
        self.maxlevel, self.maxstring, self.maxother = 3, LONGEST_VALUE, LONGEST_VALUE
        self.maxlist = self.maxtuple = self.maxset = self.maxfrozenset = self.maxdict = 6

    def repr_int(self, value, level):
        digits = int(value.bit_length() * math.log10(2.0)) + 1
        return repr(value) if digits <= 40 else f"a whole number of some {digits} digits"

    def repr_instance(self, value, level):
        try:
            text = " ".join(repr(value).split())
        except Exception:  # what a stranger's object does when asked is its own affair
            text = None
        if text is None or len(text) > self.maxother or type(value).__repr__ is object.__repr__:
            return f"an object of type {type(value).__name__}"
        return text


def shown(value):
    """A value for a message: its repr where that is short, else an idea of it.

    Parameters
    ----------
    value : object
        Anything: a text of a million letters, a list within a list a thousand deep.

    Examples
    --------
    >>> shown([1, [2, [3, [4, 5]]]]), shown(10**5000)
    ('[1, [2, [3, [...]]]]', 'a whole number of some 5001 digits')
    """
    return _shortened(_Glance().repr(value), 2 * LONGEST_VALUE)


def shown_path(path):
    """The name of a file for a message, in quotes; of a very long one the middle is left out."""
    return _shortened(repr(str(path)), LONGEST_PATH)


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
    except Faults as error:
        raise Faults(error.owner, [f"{path}: {fault}" for fault in error.faults]) from error
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
    number = _real(value)
    text = shown(value) if number is None else f"{number:.9g}"
    return f"{text} {'(no unit)' if unit == '1' else unit}"


def _bare(value, unit):
    """The same, without "(no unit)": the range that follows says it once."""
    return with_unit(value, unit).removesuffix(" (no unit)")


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
    if math.isinf(low) and math.isinf(high):
        return f"of numbers in {unit}" if unit != "1" else "of numbers (no unit)"
    if math.isinf(high):
        return f"{'above' if low_open else 'at least'} {with_unit(low, unit)}"
    if math.isinf(low):
        return f"{'below' if high_open else 'at most'} {with_unit(high, unit)}"
    left = _bare(low, unit) + (" (excluded)" if low_open else "")
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
    number = _real(value)
    if number is not None and math.isfinite(number):
        is_above = number > low if low_open else number >= low
        is_below = number < high if high_open else number <= high
        if is_above and is_below:
            return number
    # words only now: nearly every number is right
    said = f"{owner}: {field} = {_bare(value, unit)}"
    valid = f"the valid range {range_text(unit, low, high, low_open, high_open)}"
    advice = f" ({hint})" if hint else ""
    if number is None:
        said, kind = f"{owner}: {field} = {shown(value)}", type(value).__name__
        raise InputError(f"{said} is not a number (but of type {kind}) in {valid}{advice}.")
    if not math.isfinite(number):
        raise InputError(f"{said} is not a finite number in {valid}{advice}.")
    advice = advice or _slip_hint(number, unit, low, high)
    raise InputError(f"{said} is outside {valid}{advice}.")


def _real(value):
    """Float of a real number, None of anything else."""
    if type(value) is float:
        return value
    is_number = isinstance(value, Real) and not isinstance(value, (bool, np.bool_))
    return _to_float(value) if is_number else None


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
            f"{owner}: {field} = {_bare(value, unit)} is not a whole number in the valid "
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
    word = name[:LONGEST_VALUE] if isinstance(name, str) else shown(name)
    close = meant(word, names) or difflib.get_close_matches(word, names, n=1, cutoff=0.5)
    return f"; did you mean {' or '.join(map(repr, close))}?" if close else "."


def check_kind(owner, name, value, *kinds, optional=False, what=None):
    """Return `value` after checking that it is of one of some types.

    Parameters
    ----------
    owner, name : str
        Function or object, and its argument, for the message.
    value : object
        What the user gave.
    *kinds : type
        Any of these will do.
    optional : bool
        True accepts None too.
    what : str or None
        Words for what is wanted; None: the names of the types.

    Raises
    ------
    InputError
        If `value` is of another type.

    Examples
    --------
    >>> check_kind("run_point", "rpm", "fast", int, float)
    Traceback (most recent call last):
    ...
    wavesim.errors.InputError: run_point: rpm = 'fast' (str) must be of type int or float.
    """
    if isinstance(value, kinds) or (optional and value is None):
        return value
    wanted = what or f"of type {' or '.join(kind.__name__ for kind in kinds)}"
    kind, seen = type(value).__name__, shown(value)
    said = seen if seen.endswith(f" {kind}") else f"{seen} ({kind})"
    raise InputError(f"{owner}: {name} = {said} must be {wanted}.")


def as_floats(owner, name, value):
    """A number, or numbers of any shape, as an array of floats.

    Parameters
    ----------
    owner, name : str
        Function and argument, for the message.
    value : object
        What the user gave.

    Raises
    ------
    InputError
        If it is something else.
    """
    try:
        return np.asarray(value, dtype=float)
    except (TypeError, ValueError, OverflowError, RecursionError):
        raise InputError(f"{owner}: {name} = {shown(value)} must be a number or an array of "
                         "numbers.") from None


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
    choices = choices if isinstance(choices, Container) else tuple(choices)
    if isinstance(value, str) and value in choices:
        return value
    listed = ", ".join(repr(choice) for choice in choices)
    raise InputError(f"{owner}: {field} = {shown(value)} must be one of {listed}"
                     f"{nearest(value, choices)}")


def check_keys(owner, given, known, needed=(), what="field"):
    """Refuse names that are not known and the lack of names that are needed.

    Parameters
    ----------
    owner : str
        Object or place in a file, for the message.
    given, known, needed : iterable of str
        What the user wrote, what exists, what must be there; `needed` may be a mapping from names
        to what could be given for each, for the message.
    what : str
        What the names stand for, "field" or "key".

    Raises
    ------
    InputError
        If a name is unknown (the nearest known one is offered) or missing.
    """
    given, known = tuple(given), tuple(known)
    if all(name in known for name in given) and all(name in given for name in needed):
        return
    found = Gathering(owner)
    guesses = {name: nearest(name, known) for name in given if name not in known}
    found.faults += [
        f"{owner}: no {what} {shown(name)} among {', '.join(known)}{guess}"
        for name, guess in guesses.items()
    ]
    offered = "".join(guesses.values())  # a misspelt name is one slip, not two
    said = needed if isinstance(needed, Mapping) else {}
    missing = [
        f"{name} ({said[name]})" if said.get(name) else name
        for name in needed if name not in given and repr(name) not in offered
    ]  # fmt: skip
    if missing:
        found.faults.append(f"{owner}: missing {what} {', '.join(missing)}.")
    found.tell()
