"""Uncertain parameters of an engine, an exhaust or a pull, and the curves that they move.

A parameter is a range of a value at a dotted path, or a `Factor` on or an `Offset` to all numbers
that are there.  It is counted as a share of its range, 0 to 1.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

import numpy as np

from wavesim.descriptions.engine import Engine
from wavesim.descriptions.exhaust import Exhaust
from wavesim.descriptions.network import Network
from wavesim.descriptions.pull import Pull
from wavesim.errors import InputError, SolverError, check_number, shown
from wavesim.fields.description import chosen_index, names_like, path_keys
from wavesim.fields.toml_form import build, plain
from wavesim.guard import guarded
from wavesim.many.explore import explore
from wavesim.many.space import built_pair, field_at, field_unit, plain_pair

LATTICE = 8  # steps of the lattice of sensitivities in a range


@guarded
@dataclass(frozen=True)
class Factor:
    """Uncertain factor on all numbers at a path, for `fit`; it starts at 1.

    Parameters
    ----------
    low, high : float
        Limits, above 0, on both sides of 1.

    Raises
    ------
    InputError
        If 1 does not lie between them.

    Examples
    --------
    >>> Factor(0.9, 1.1).moved(0.6, 1.05)
    0.63
    """

    low: float
    high: float
    neutral = 1.0

    def __post_init__(self):
        check_number("Factor", "low", self.low, "1", 0.0, 1.0, low_open=True)
        check_number("Factor", "high", self.high, "1", 1.0, 1e3)
        _check_wide("Factor", self.low, self.high)

    def moved(self, number: float, value: float) -> float:
        """A number at the path when the factor has a value."""
        return number * value


@guarded
@dataclass(frozen=True)
class Offset:
    """Uncertain amount to be added to all numbers at a path, for `fit`; it starts at 0.

    Parameters
    ----------
    low, high : float
        Limits in the SI unit of the field, on both sides of 0.

    Raises
    ------
    InputError
        If 0 does not lie between them.

    Examples
    --------
    >>> Offset(-5.0, 5.0).moved(8.0, 1.5)
    9.5
    """

    low: float
    high: float
    neutral = 0.0

    def __post_init__(self):
        check_number("Offset", "low", self.low, "SI", -1e9, 0.0)
        check_number("Offset", "high", self.high, "SI", 0.0, 1e9)
        _check_wide("Offset", self.low, self.high)

    def moved(self, number: float, value: float) -> float:
        """A number at the path when the offset has a value."""
        return number + value


def _check_wide(owner, low, high):
    if low == high:
        raise InputError(f"{owner}: low = high = {low:g} leaves no range.")


class Axis(NamedTuple):
    """How one parameter acts."""

    path: str
    mover: Factor | Offset | None  # None: the value itself is set
    low: float
    high: float
    start: float
    unit: str

    @property
    def kind(self):
        return "value" if self.mover is None else type(self.mover).__name__.lower()

    def value(self, share):
        return self.low + share * (self.high - self.low)

    def changes(self, raw, share):
        """Values by path that set the parameter in a system of this plain form."""
        value = self.value(share)
        if self.mover is None:
            return {self.path: value}
        return {path: _moved(path, leaf, self.mover, value)
                for path, leaf in _leaves(raw, path_keys(self.path))}

    def acts_in(self, raw):
        """True if a system has the field."""
        try:
            field_at(raw, self.path)
        except InputError:
            return False
        return True


def _leaves(raw, keys, walked=()):
    """Pairs (path without "*", what stands there) for a path."""
    if not keys:
        yield ".".join(walked), raw
        return
    key, rest = keys[0], keys[1:]
    if isinstance(raw, list):
        chosen = range(len(raw)) if key == "*" else chosen_index(key, raw)
        if not chosen and len(raw) == 1:
            chosen, rest = [0], keys
        for i in chosen:
            yield from _leaves(raw[i], rest, (*walked, str(i)))
    elif isinstance(raw, Mapping):
        for name in names_like(key, raw):
            yield from _leaves(raw.get(name), rest, (*walked, name))


def _moved(path, leaf, mover, value):
    """Numbers of a field after a factor or an offset; of a table those that depend on x."""
    if isinstance(leaf, Mapping) and "y" in leaf:
        return {**leaf, "y": _moved(path, leaf["y"], mover, value)}
    if isinstance(leaf, list):
        return [_moved(path, one, mover, value) for one in leaf]
    if isinstance(leaf, bool) or not isinstance(leaf, int | float):
        raise InputError(f"fit: {path!r} = {shown(leaf)} holds no numbers to be moved.")
    return mover.moved(leaf, value)


class System(NamedTuple):
    """What is pulled: engine, exhaust, and the pull in which its walls warm."""

    engine: Engine
    exhaust: Exhaust | Network
    pull: Pull | None

    @property
    def raw(self):
        own = {} if self.pull is None else {"pull": plain(self.pull)}
        return plain_pair(self.engine, self.exhaust) | own

    def changed(self, changes):
        """The system with values by path."""
        own = {path: v for path, v in changes.items() if not path.startswith("pull.")}
        engine, exhaust = built_pair(plain_pair(self.engine, self.exhaust), own)
        return System(engine, exhaust, self.pulled(changes))

    def pulled(self, changes):
        """Its pull with values by path."""
        own = {path.partition(".")[2]: v for path, v in changes.items()
               if path.startswith("pull.")}
        if not own:
            return self.pull
        return build(Pull, plain(self.pull) | own, Path(), "pull")


class Curves:
    """Computed curves of a system against its parameters; what was computed is remembered."""

    def __init__(self, system, axes, rpm, quantities, run):
        self.system, self.raw, self.rpm = system, system.raw, rpm
        self.quantities, self.run, self.known, self.loose = quantities, run, {}, 0
        self.axes = [axis if axis.acts_in(self.raw) else None for axis in axes]

    def changes(self, shares):
        """Values by path."""
        found = {}
        for axis, share in zip(self.axes, shares, strict=True):
            if axis is not None:
                found |= axis.changes(self.raw, share)
        return found

    def at(self, rows):
        """Curves of all quantities end to end, (k, q m), at rows of shares of the ranges."""
        keys = [tuple(map(float, row)) for row in rows]
        groups = {}  # by pull, for which all designs of an exploration share one
        for key in dict.fromkeys(keys):
            if key not in self.known:
                pull = self.system.pulled(self.changes(key))
                groups.setdefault(repr(pull), (pull, []))[1].append(key)
        for pull, new in groups.values():
            self._compute(pull, new)
        return np.array([self.known[key] for key in keys])

    def _compute(self, pull, keys):
        wanted = [{path: value for path, value in self.changes(key).items()
                   if not path.startswith("pull.")} for key in keys]
        found = explore(
            self.system.engine, self.system.exhaust, wanted, self.rpm.tolist(), pull=pull,
            keep=self.quantities, **self.run,
        )
        if found.interrupted:
            raise KeyboardInterrupt
        for key, design in zip(keys, found, strict=True):
            if design.error:
                raise SolverError(f"fit: no curve at {design.name}: {design.error}")
            self.loose += int(np.sum(~design.trusted))
            self.known[key] = np.concatenate([design[name] for name in self.quantities])

    def derivatives(self, shares):
        """First and second derivatives by shares of the ranges, (q m, n) each.

        Those of the parabola through the three nearest places of the lattice along each parameter.
        """
        place = np.clip(np.round(np.multiply(shares, LATTICE)), 1, LATTICE - 1)
        acting = [i for i, axis in enumerate(self.axes) if axis is not None]
        steps = np.eye(len(self.axes))[acting]
        slopes, bends = np.zeros((2, self.rpm.size * len(self.quantities), len(self.axes)))
        if acting:
            rows = np.vstack([[place], place + steps, place - steps]) / LATTICE
            middle, high, low = np.split(self.at(rows), [1, 1 + len(acting)])
            off = (np.multiply(shares, LATTICE) - place)[acting, None]
            bend = high + low - 2.0 * middle
            slopes[:, acting] = LATTICE * (0.5 * (high - low) + off * bend).T
            bends[:, acting] = LATTICE**2 * bend.T
        return slopes, bends


def checked_axes(system, space):
    """How each parameter acts, after a look whether both ends of its range can be built."""
    if not isinstance(space, Mapping) or not space:
        raise InputError(f"fit: space = {shown(space)} must map paths to ranges.")
    raw, axes = system.raw, []
    for path, given in space.items():
        value = field_at(raw, path)
        if isinstance(given, Factor | Offset):
            unit = "1" if isinstance(given, Factor) else field_unit(raw, path) or "1"
            axis = Axis(path, given, given.low, given.high, given.neutral, unit)
        else:
            axis = _plain_axis(raw, path, given, value)
        axes.append(axis)
        for word, share in (("low", 0.0), ("high", 1.0)):
            try:
                system.changed(axis.changes(raw, share))
            except InputError as error:
                raise InputError(f"fit: {word} end of {path!r}: {error}") from error
    fields = [name for axis in axes for name, _ in _leaves(raw, path_keys(axis.path))]
    twice = {name for name in fields if fields.count(name) > 1}
    if twice:
        raise InputError(f"fit: {', '.join(sorted(twice))} is moved by two parameters.")
    return tuple(axes)


def _plain_axis(raw, path, given, value):
    """Axis of the value itself."""
    if not isinstance(given, tuple | list) or len(given) != 2:
        raise InputError(f"fit: {path!r} = {shown(given)} must be a range (low, high), a Factor or "
                         "an Offset.")
    low = check_number("fit", f"low end of {path!r}", given[0], "SI", -1e9, 1e9)
    high = check_number("fit", f"high end of {path!r}", given[1], "SI", low, 1e9, low_open=True)
    if isinstance(value, list | Mapping):
        raise InputError(f"fit: {path!r} holds more than one number: give a Factor or an Offset.")
    known = isinstance(value, int | float) and not isinstance(value, bool)
    if known and not low <= value <= high:
        raise InputError(
            f"fit: {path!r} = {value:g} stands outside its range, {low:g} to {high:g}."
        )
    unit = field_unit(raw, path) or "1"
    return Axis(path, None, low, high, float(value) if known else 0.5 * (low + high), unit)
