"""Immutable descriptions: fields that carry their own check, copies with changes, plain dicts.

A description is a frozen dataclass whose fields are made by the helpers below::

    @dataclass(frozen=True, kw_only=True)
    class Pipe(Description):
        length: float = number("m", 0.001, 30.0)

Each helper stores ``check(owner, name, value) -> value`` in the metadata of the field.
`Description.__post_init__` runs them in order, keeps what they return, then calls `_check` for
rules that join several fields.  A field with a unit takes "42 mm" as well as 0.042 (`in_si`).  The
same metadata (unit, range, kinds of parts) serve the reader of study files and the documentation,
so that each range is written once.
"""

import dataclasses
import inspect
import unicodedata
from abc import ABCMeta
from collections.abc import Iterable, Mapping
from dataclasses import MISSING
from functools import lru_cache
from math import isfinite
from typing import Any, Self

from wavesim.errors import (
    Gathering,
    InputError,
    check_choice,
    check_int,
    check_keys,
    check_number,
    located,
    nearest,
    shown,
)
from wavesim.guard import guarded
from wavesim.measures import COMMON_UNITS, UnknownUnit, in_unit, is_stated

_KINDS = {}
LONGEST_TEXT = 1000  # letters of a name or another text
DEEPEST = 40  # steps into tables within tables, more than any description has
_NO_LETTERS = ("Cc", "Cs", "Zl", "Zp")  # controls, halves of letters, ends of lines


class _Door(ABCMeta):
    """Refuses fields that are not known, missing, given twice or too many, in our own words."""

    __instancecheck__ = type.__instancecheck__  # none is registered from outside, and asked often

    def __call__(cls, *values, **fields):
        if cls.__abstractmethods__:
            raise InputError(f"{cls.__name__}: only its kinds can be made, such as "
                             f"{', '.join(kind.__name__ for kind in cls.__subclasses__())}.")
        unnamed, known, needed = _field_names(cls)
        if not values and fields.keys() <= known.keys() and needed.keys() <= fields.keys():
            return super().__call__(**fields)  # as nearly always
        if len(values) > len(unnamed):
            raise InputError(
                f"{cls.__name__}: {len(values)} values without a name, at most {len(unnamed)} may "
                f"have none{': ' if unnamed else ''}{', '.join(unnamed)}."
            )
        first = unnamed[: len(values)]
        twice = [name for name in first if name in fields]
        if twice:
            raise InputError(f"{cls.__name__}: the field {twice[0]!r} is given twice.")
        check_keys(cls.__name__, [*first, *fields], known, needed)
        return super().__call__(*values, **fields)

    @property
    def __signature__(cls):
        """That of the dataclass, for whoever asks for help."""
        own = inspect.signature(cls.__init__)
        return own.replace(parameters=list(own.parameters.values())[1:])


@lru_cache(maxsize=256)
def _field_names(kind):
    """Names of the fields that may stand without their name, of all, and of those needed.

    All are keys of a mapping; the last are so with what could be given.
    """
    fields = dataclasses.fields(kind)
    return (
        tuple(field.name for field in fields if not field.kw_only),
        dict.fromkeys(field.name for field in fields),
        {field.name: field.metadata["such_as"] for field in fields if field.default is MISSING},
    )


@lru_cache(maxsize=256)
def _checks(kind):
    """Name and check of every field."""
    return tuple((field.name, field.metadata["check"]) for field in dataclasses.fields(kind))


@guarded
class Description(metaclass=_Door):
    """Base of all descriptions: checked at construction, never changed afterwards."""

    def __init_subclass__(cls, **kwargs):
        super().__init_subclass__(**kwargs)
        known = _KINDS.setdefault(cls.__name__, cls)
        if (known.__module__, known.__qualname__) != (cls.__module__, cls.__qualname__):
            raise InputError(
                f"Description: {cls.__module__} describes a second {cls.__name__!r} beside that of "
                f"{known.__module__}; files tell classes by their names, give it another."
            )
        _KINDS[cls.__name__] = cls  # the same place once more: a cell of a notebook run again
        guarded(cls)

    def __post_init__(self):
        owner, faults = self._owner, []
        for name, check in _checks(type(self)):
            given = getattr(self, name)
            try:
                value = check(owner, name, given)
            except InputError as error:
                faults.append(error)
                continue
            if value is not given:
                object.__setattr__(self, name, value)
        if faults:
            found = Gathering(owner)
            for error in faults:
                found.note(error)
            found.tell()
        self._check()

    def _check(self):
        """Rules that join several fields; a description without such rules keeps this."""

    @property
    def _owner(self):
        return type(self).__name__

    def _refuse(self, sentence):
        """Raise InputError with the name of this description in front."""
        raise InputError(f"{self._owner}: {sentence}")

    def replace(self, **changes: Any) -> Self:
        """Copy with some fields changed, checked like a new description.

        Parameters
        ----------
        **changes
            New values by field name.

        Raises
        ------
        InputError
            If a field is unknown or a value is refused.

        Examples
        --------
        >>> from wavesim.descriptions.pipes import Pipe
        >>> Pipe(0.75, 0.038).replace(length=0.80).length
        0.8
        """
        _, known, _ = _field_names(type(self))
        if not changes.keys() <= known.keys():
            check_keys(self._owner, changes, known)
        return type(self)(**{name: getattr(self, name) for name in known} | changes)


class Named(Mapping):
    """Immutable ordered mapping from names to things; equal by content, hashable, picklable.

    Parameters
    ----------
    items : mapping or iterable of (str, object)
        The pairs in order.
    owner : str
        Used in messages.

    Raises
    ------
    InputError
        If a name is empty, no text, or given twice.
    """

    def __init__(self, items, owner="Named"):
        self._things = {}
        for name, thing in _pairs(owner, items):
            if not isinstance(name, str) or not name.strip():
                raise InputError(f"{owner}: {shown(name)} is no name, names are texts, not empty.")
            check_text(owner, "a name", name)
            if name in self._things:
                raise InputError(f"{owner}: the name {name!r} is given twice.")
            self._things[name] = thing

    def __getitem__(self, name):
        return self._things[name]

    def __iter__(self):
        return iter(self._things)

    def __len__(self):
        return len(self._things)

    def __contains__(self, name):
        return name in self._things

    def values(self):
        return self._things.values()

    def items(self):
        return self._things.items()

    def __hash__(self):
        return hash(tuple(self._things.items()))

    def __repr__(self):
        return repr(self._things)


def _pairs(owner, items):
    """The pairs of a mapping, or those that are listed."""
    listed = items.items() if isinstance(items, Mapping) else items
    try:
        return [(name, thing) for name, thing in listed]
    except (TypeError, ValueError):
        raise InputError(
            f"{owner} = {shown(items)} must be a mapping, or pairs of a name and a thing."
        ) from None


# --- fields ------------------------------------------------------------------------------------


def checked(check, default=MISSING, optional=False, such_as="", **metadata):
    """Field whose values pass through ``check(owner, name, value)``.

    A field with a unit takes texts such as "42 mm" too: the check sees the number in SI units.

    Parameters
    ----------
    check : callable
        Returns the value to keep or raises InputError.
    default : object
        Value when none is given; without it the field must be given.
    optional : bool
        True lets None pass unchecked; a default of None implies it.
    such_as : str
        What could be given, for the message that a field is missing.
    **metadata
        Facts about the field for readers: unit, low, high, choices, kinds, many.
    """

    optional = optional or default is None
    unit = metadata.get("unit")

    def check_or_none(owner, name, value):
        if value is None and optional:
            return None
        si = value if unit is None or type(value) is float else in_si(owner, name, value, unit)
        try:
            return check(owner, name, si)
        except InputError as error:
            if si is value or not isinstance(value, str):
                raise
            raise InputError(f"{str(error).rstrip('.')}, given as {shown(value)}.") from None

    is_plain = unit is None and not optional  # nothing to do before the check
    facts = {"check": check if is_plain else check_or_none, "optional": optional,
             "such_as": such_as, **metadata}
    return dataclasses.field(default=default, metadata=facts)


def in_si(owner, name, value, unit):
    """A value with its texts such as "42 mm" turned into numbers in an SI unit.

    Parameters
    ----------
    owner, name : str
        Object and field, for the message.
    value : object
        Anything; the items of a list are looked at, and what is no number with a unit stays as it
        is.
    unit : str
        SI unit of the field, "1" for none.

    Raises
    ------
    InputError
        If a unit is unknown or of another dimension.

    Examples
    --------
    >>> in_si("Pipe", "length", "42 mm", "m"), in_si("Pipe", "length", 0.042, "m")
    (0.042, 0.042)
    >>> in_si("Pipe", "length", "250 degC", "m")
    Traceback (most recent call last):
    ...
    wavesim.errors.InputError: Pipe: length = '250 degC' is a temperature, must be a length in m \
such as '42 mm'.
    """
    if isinstance(value, (list, tuple)):
        if _are_floats(value) or not any(map(is_stated, value)):
            return value
        return [in_si(owner, f"{name}[{i}]", one, unit) for i, one in enumerate(value)]
    if not is_stated(value):
        return value
    said = f"{owner}: {name} = {shown(value)}"
    try:
        return in_unit(value, unit)
    except UnknownUnit as error:
        raise InputError(f"{said} {error}{nearest(error.word, COMMON_UNITS)}") from None
    except ValueError as error:
        raise InputError(f"{said} {error}.") from None


def _are_floats(values):
    """True if all of a list are plain floats, as nearly all are."""
    return set(map(type, values)) == {float}


def number(unit, low, high, default=MISSING, *, low_open=False, high_open=False, **metadata):
    """Field for one number in SI units; the arguments are those of `errors.check_number`."""

    def check(owner, name, value):
        if type(value) is float and low < value < high:  # as nearly always
            return value
        return check_number(
            owner, name, value, unit, low, high, low_open=low_open, high_open=high_open
        )

    return checked(check, default, unit=unit, low=low, high=high, **metadata)


def sequence(owner, name, value, what):
    """`value` as a tuple, refusing texts, mappings and anything that cannot be listed."""
    listed = isinstance(value, Iterable) and not isinstance(value, (str, bytes, Mapping))
    if not listed or getattr(value, "ndim", 1) == 0:
        raise InputError(f"{owner}: {name} = {shown(value)} must be a sequence of {what}.")
    return tuple(value)


def numbers(unit, low, high, default=MISSING):
    """Field for a sequence of numbers in SI units, kept as a tuple; both limits included."""

    def check(owner, name, value):
        values = sequence(owner, name, value, f"numbers [{unit}]")
        if (_are_floats(values) and isfinite(sum(values))
                and low <= min(values) and max(values) <= high):
            return values
        return tuple(
            check_number(owner, f"{name}[{i}]", v, unit, low, high) for i, v in enumerate(values)
        )

    return checked(check, default, unit=unit, low=low, high=high)


def integer(low, high, default=MISSING, unit="1"):
    """Field for one whole number, both limits included."""

    def check(owner, name, value):
        return check_int(owner, name, value, low, high, unit)

    return checked(check, default, unit=unit, low=low, high=high)


def choice(choices, default=MISSING):
    """Field for one of a few words."""

    def check(owner, name, value):
        return check_choice(owner, name, value, choices)

    return checked(check, default, choices=tuple(choices))


def flag(default=MISSING):
    """Field for True or False."""

    def check(owner, name, value):
        if not isinstance(value, bool):
            raise InputError(f"{owner}: {name} = {shown(value)} must be one of True, False.")
        return value

    return checked(check, default, choices=(True, False))


def check_text(owner, name, value):
    """Return a text of one line that every file and most consoles can hold."""
    if not isinstance(value, str):
        raise InputError(f"{owner}: {name} = {shown(value)} must be a text in quotes.")
    if len(value) > LONGEST_TEXT:
        raise InputError(
            f"{owner}: {name} = {shown(value)} has {len(value)} letters, more than {LONGEST_TEXT}."
        )
    printable = value.isprintable()  # such a text holds none of these, and most are such
    if not printable and any(unicodedata.category(letter) in _NO_LETTERS for letter in value):
        raise InputError(
            f"{owner}: {name} = {shown(value)} must be one line of letters, without control "
            "characters."
        )
    return value


def text(default=MISSING):
    """Field for a text of one line."""
    return checked(check_text, default)


def part(*kinds, default=MISSING, optional=False, **metadata):
    """Field for a description of one of `kinds`; None is accepted if it is optional."""

    def check(owner, name, value):
        if not isinstance(value, kinds):
            names = [kind.__name__ for kind in kinds]
            guess = nearest(value, names) if isinstance(value, str) else "."
            listed = " or ".join(names)
            raise InputError(f"{owner}: {name} = {shown(value)} must be of type {listed}{guess}")
        return value

    return checked(check, default, optional, kinds=kinds, **metadata)


# --- copies by path ----------------------------------------------------------------------------


@guarded
def vary(thing: Description, path: str, value: Any) -> Description:
    """Copy of a description with the field at a dotted path changed.

    Parameters
    ----------
    thing : Description
        Where the path starts.
    path : str
        Field names joined by dots.  Items of a tuple are chosen by index from 0 or all by "*",
        items of a named mapping by name, in which "*" stands for any text; a tuple of one item is
        entered without an index, and the line of a duct without its name: "collector.length",
        "primaries.0.1.diameter", "primaries.*.0.length", "ducts.primary *.length".
    value : object
        New value of that field.

    Returns
    -------
    Description
        Checked like a new one; the original stays as it is.

    Raises
    ------
    InputError
        If no such field exists (the nearest name is offered) or the value is refused.

    Examples
    --------
    >>> from wavesim.descriptions.nodes import AnechoicEnd
    >>> vary(AnechoicEnd("pipe.end"), "pressure", 2e5).pressure
    200000.0
    """
    keys = path_keys(path)
    with located(path):
        return _vary(thing, keys, value)


def path_keys(path):
    """The keys of a dotted path."""
    keys = check_text("path", "path", path).split(".")
    if len(keys) > DEEPEST:
        raise InputError(f"path = {shown(path)} has {len(keys)} steps, more than {DEEPEST}.")
    return keys


def chosen_index(key, items):
    """The index that a key of a path stands for, in a list; empty if it is none of `items`."""
    is_index = key.isdecimal() and len(key) < 10
    return [int(key)] if is_index and int(key) < len(items) else []


def _vary(thing, keys, value):
    if not keys:
        return value
    key, rest = keys[0], keys[1:]
    if isinstance(thing, tuple):
        return _vary_tuple(thing, keys, value)
    if isinstance(thing, Named):
        names = names_like(key, thing)
        for name in names:
            check_choice("mapping", "name", name, thing)
        return Named({**thing, **{name: _vary(thing[name], rest, value) for name in names}})
    if not isinstance(thing, Description):
        raise InputError(f"{shown(thing)} has no field {key!r}, the path goes too far.")
    fields = [field.name for field in dataclasses.fields(thing)]
    if key not in fields and len(fields) == 1 and isinstance(getattr(thing, *fields), tuple):
        key, rest = fields[0], keys
    check_keys(type(thing).__name__, [key], fields)
    return thing.replace(**{key: _vary(getattr(thing, key), rest, value)})


def names_like(key, names):
    """Names that a key of a path means: those that fit where it holds "*", else itself.

    Parameters
    ----------
    key : str
        From a path.
    names : iterable of str
        What there is.

    Raises
    ------
    InputError
        If "*" fits nothing.

    Examples
    --------
    >>> names_like("primary *", ["primary 1", "primary 2", "collector"])
    ['primary 1', 'primary 2']
    """
    if "*" not in key:
        return [key]
    found = [name for name in names if _fits(key.split("*"), name)]
    if not found:
        raise InputError(f"{key!r} fits none of {', '.join(map(repr, names))}.")
    return found


def _fits(parts, name):
    """True if a name consists of these parts in order, with any text between them."""
    first, *middle, last = parts
    at, end = len(first), len(name) - len(last)
    if at > end or not (name.startswith(first) and name.endswith(last)):
        return False
    for part in middle:
        at = name.find(part, at, end) + len(part)
        if at < len(part):  # not found
            return False
    return True


def _vary_tuple(items, keys, value):
    key, rest = keys[0], keys[1:]
    if key == "*":
        return tuple(_vary(item, rest, value) for item in items)
    for i in chosen_index(key, items):
        return items[:i] + (_vary(items[i], rest, value),) + items[i + 1 :]
    if len(items) == 1 and not key.isdecimal():
        return (_vary(items[0], keys, value),)
    raise InputError(
        f"{key!r} does not choose one of the {len(items)} items here (indices count from 0, "
        "'*' means all)."
    )


# --- plain data --------------------------------------------------------------------------------

#: Types of values that are no description and hold none; asked first, for most values are such.
PLAIN = frozenset((float, int, bool, str, type(None)))


@guarded
def describe(thing: Any) -> Any:
    """Plain nested data of a description, ready for JSON.

    Parameters
    ----------
    thing : Description, Named, tuple or plain value
        What to write down.

    Returns
    -------
    dict, list or plain value
        Each description becomes a dict with its class name under "type".

    Examples
    --------
    >>> from wavesim import Pipe
    >>> describe(Pipe("0.5 m", "42 mm"))["diameter"]
    0.042
    """
    return _plain(thing)


def _plain(thing):
    kind = type(thing)
    if kind in PLAIN:
        return thing
    if issubclass(kind, tuple):
        is_plain = PLAIN.issuperset(map(type, thing))
        return list(thing) if is_plain else [_plain(item) for item in thing]
    if isinstance(thing, Description):
        values = ((name, getattr(thing, name)) for name, _ in _checks(kind))
        return {"type": kind.__name__,
                **{name: v if type(v) in PLAIN else _plain(v) for name, v in values}}
    if isinstance(thing, Named):
        return {"type": "Named", "items": [[name, _plain(item)] for name, item in thing.items()]}
    return thing


@guarded
def restore(data: Any) -> Any:
    """Description from what `describe` returned.

    Parameters
    ----------
    data : dict, list or plain value
        Output of `describe`, also after a round trip through JSON.

    Raises
    ------
    InputError
        If a type or a field is unknown or a value is refused.

    Examples
    --------
    >>> from wavesim import Pipe
    >>> restore(describe(Pipe("0.5 m", "42 mm"))) == Pipe(0.5, 0.042)
    True
    """
    try:
        return _restored(data)
    except RecursionError:
        raise InputError("restore: data lie too deep within one another.") from None


def _restored(data):
    if isinstance(data, (list, tuple)):
        return tuple(_restored(item) for item in data)
    if not isinstance(data, Mapping):
        return data
    values = {name: _restored(value) for name, value in data.items() if name != "type"}
    if data.get("type") == "Named":
        return Named(values.get("items", ()))
    kind = _KINDS[check_choice("restore", "type", data.get("type"), _KINDS)]
    return make(kind, values)


def make(kind, values, broken=()):
    """Description of class `kind` from field values, with errors that name unknown fields.

    Parameters
    ----------
    kind : type
        A Description class.
    values : mapping
        Field values by name.
    broken : iterable of str
        Names of values that are known to have a fault: all others are checked, and nothing is made.

    Returns
    -------
    Description or None
        None if a value is broken.

    Raises
    ------
    InputError
        For all fields that are unknown, are missing, or hold a refused value.
    """
    _, known, needed = _field_names(kind)
    if not broken and values.keys() <= known.keys() and needed.keys() <= values.keys():
        return kind(**values)
    found = Gathering(kind.__name__)
    with found.noting():
        check_keys(kind.__name__, values, known, needed)
    for field in dataclasses.fields(kind):
        if field.name in values and field.name not in broken:
            with found.noting():
                field.metadata["check"](kind.__name__, field.name, values[field.name])
    found.tell()
    return None
