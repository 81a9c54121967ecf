"""A space of designs: which fields of an engine or exhaust vary and how, and samples of it.

Both ends of a range, and the single values, are tried when a space is given: one that no engine or
exhaust takes is refused at once, as are lengths in millimetres.

A pair (low, high) is a range, a list holds single values, in SI units or stated as "450 mm"::

    space = {
        "exhaust.primary.length": (0.45, 0.90),
        "exhaust.collector.diameter": [0.050, 0.054, 0.058],
        "engine.exhaust_valve.advance_deg": (-5.0, 10.0),
    }
    found = explore(engine, exhaust, designs(study, space, 64, method="sobol"), rpm)
    print(found.summary())

Paths start with "engine" or "exhaust" and follow the rules of the variants of a study file.  In a
network of one's own they lead to ducts and nodes by name, "*" standing for any text:
"exhaust.ducts.primary *.length", "exhaust.nodes.merge.volume".  All values of a design are set
before anything is checked, so that fields which depend on one another may vary together.
"""

import dataclasses
import itertools
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from wavesim.descriptions.engine import Engine
from wavesim.descriptions.exhaust import SYSTEMS, Exhaust
from wavesim.descriptions.network import Network
from wavesim.descriptions.study import Study
from wavesim.errors import (
    InputError,
    check_choice,
    check_int,
    check_keys,
    check_kind,
    check_number,
    located,
    shown,
)
from wavesim.fields.description import chosen_index, names_like, path_keys, sequence
from wavesim.fields.toml_form import Variants, plain, set_path
from wavesim.guard import guarded
from wavesim.measures import in_unit, is_stated

METHODS = ("grid", "latin hypercube", "sobol")
MOST_DESIGNS = 1_000_000  # designs in one list


class Range(NamedTuple):
    low: float
    high: float

    def at(self, u):
        """Value at the share `u` of the range."""
        return float(self.low + u * (self.high - self.low))

    def spread(self, n):
        return [self.at(u) for u in (np.linspace(0.0, 1.0, n) if n > 1 else [0.5])]

    def share(self, value):
        return (value - self.low) / (self.high - self.low)


class Values(NamedTuple):
    values: tuple

    def at(self, u):
        return self.values[min(int(u * len(self.values)), len(self.values) - 1)]

    def spread(self, n):
        return list(self.values)

    def share(self, value):
        return (self.values.index(value) + 0.5) / len(self.values)


def in_si(raw, path, value):
    """Value of the field at a path, in SI units if it was stated as a text such as "42 mm"."""
    unit = is_stated(value) and field_unit(raw, path)
    if not unit:
        return value
    try:
        return in_unit(value, unit)
    except ValueError as error:
        raise InputError(f"space: {path!r} = {shown(value)} {error}.") from error


def _axis(raw, path, given):
    """Range or values of one field."""
    if isinstance(given, tuple | list):
        given = type(given)(in_si(raw, path, value) for value in given)
    if isinstance(given, tuple):
        if len(given) != 2:
            raise InputError(
                f"space: {path!r} = {shown(given)} must be a pair (low, high), or a list of values."
            )
        low = check_number("space", f"low end of {path!r}", given[0], "1", -1e9, 1e9)
        high = check_number("space", f"high end of {path!r}", given[1], "1", low, 1e9,
                            low_open=True)
        return Range(low, high)
    values = sequence("space", repr(path), given, "values")
    if not values:
        raise InputError(f"space: {path!r} = [] must hold at least one value.")
    return Values(values)


def checked_space(raw, space):
    """Axes by path, after a look whether the paths exist."""
    if not isinstance(space, Mapping) or not space:
        raise InputError(f"space = {shown(space)} must map paths to ranges or lists of values.")
    for path in space:
        field_at(raw, path)
    axes = {path: _axis(raw, path, given) for path, given in space.items()}
    for path, axis in axes.items():
        _check_ends(raw, path, axis, axes)
    return axes


def _check_ends(raw, path, axis, axes):
    """Refuse a range whose end nothing takes, and single values of which none is taken.

    Fields may depend on one another, so that an end is tried beside the base, and beside low, high
    and middle values of the other fields.
    """
    if isinstance(axis, Range):
        for word, value in (("low", axis.low), ("high", axis.high)):
            error = _refusal(raw, path, value, axes)
            if error is not None:
                raise InputError(f"space: {word} end of {path!r} = {shown(value)}: {error}")
        return
    refused = [_refusal(raw, path, value, axes) for value in axis.values]
    if None not in refused:
        raise InputError(
            f"space: none of the values of {path!r} can be built, the first is refused by: "
            f"{refused[0]}"
        )


def _refusal(raw, path, value, axes):
    """Why no design with this value can be built, or None."""
    first = None
    others = [name for name in axes if name != path]
    for share in (None, 0.0, 1.0, 0.5):
        beside = {} if share is None else {name: axes[name].at(share) for name in others}
        try:
            built_pair(raw, {**beside, path: value})
        except InputError as error:
            first = first or error
        else:
            return None
        if not others:
            break
    return first


def field_unit(raw, path):
    """Unit of the field at a dotted path, empty where it has none or none is known."""
    try:
        engine, exhaust = built_pair(raw, {})
        thing, *keys = ({"engine": engine, "exhaust": exhaust}, *path_keys(path))
        for key in keys:
            parent, last = thing, key
            if isinstance(thing, (tuple, list)):
                place = int(key) if key.isdecimal() else 0
                thing = thing[place] if key.isdecimal() or key == "*" else getattr(thing[0], key)
                parent = parent[place]
            elif isinstance(thing, Mapping):
                thing = thing[names_like(key, thing)[0]]
            else:
                known = [field.name for field in dataclasses.fields(thing)]
                if key not in known and "parts" in known:  # a duct of one part needs no index
                    thing = parent = thing.parts[0]
                thing = getattr(thing, key)
        facts = {field.name: field.metadata for field in dataclasses.fields(parent)}
        return facts[last].get("unit", "").replace("1", "")
    except (AttributeError, IndexError, InputError, KeyError, TypeError):
        return ""


def field_at(raw, path):
    """Value at a dotted path in the plain form of engine and exhaust; "*" looks at the first."""
    keys = path_keys(path)
    with located(f"path {path!r}"):
        check_choice("path", "start", keys[0], raw)
        for i, key in enumerate(keys):
            if isinstance(raw, list):
                raw = _item(raw, key)
                if key == "*" or key.isdecimal():
                    continue
            if not isinstance(raw, Mapping):
                raise InputError(f"{'.'.join(keys[:i])} has no field {key!r}.")
            key = names_like(key, raw)[0]
            check_keys(".".join(keys[:i]) or "path", [key], raw)
            raw = raw[key]
    return raw


def _item(items, key):
    """Item that a key chooses, or the only one, which needs no index."""
    if key == "*" and items:
        return items[0]
    for i in chosen_index(key, items):
        return items[i]
    if len(items) == 1 and not key.isdecimal():
        return items[0]
    raise InputError(f"{key!r} does not choose one of the {len(items)} items (0 is the first).")


def plain_pair(engine, exhaust):
    """Plain form of an engine and what stands behind it."""
    check_kind("explore", "engine", engine, Engine)
    check_kind("explore", "exhaust", exhaust, *SYSTEMS)
    return {"engine": plain(engine), "exhaust": plain(exhaust)}


def built_pair(raw, changes):
    """Engine and exhaust of a design."""
    changed = raw
    for path, value in changes.items():
        changed = set_path(changed, path, value)
    return tuple(_variants(raw, side, kinds).build(changed[side])
                 for side, kinds in (("engine", Engine), ("exhaust", SYSTEMS)))


_last = {}  # by side: most designs are variants of the same base


def _variants(raw, side, kinds):
    """Variants of one side of a base."""
    found = _last.get(side)
    if found is None or found.base is not raw[side]:
        found = _last[side] = Variants(kinds, raw[side], Path(), side)
    return found


@guarded
def designs(
    base: Study | tuple[Engine, Exhaust | Network],
    space: Mapping[str, Any],
    n: int,
    *,
    method: str = "grid",
    seed: int = 0,
) -> list[dict[str, Any]]:
    """Designs that fill a space.

    Parameters
    ----------
    base : Study or (Engine, Exhaust or Network)
        Where the paths lead; of a study the base.
    space : mapping of str to (float, float) or list
        Range (low, high), or single values, by dotted path.
    n : int
        Grid: number of points along each range, ends included; single values are all taken.
        Otherwise: number of designs.  1 to a million designs.
    method : {"grid", "latin hypercube", "sobol"}
        All combinations, or samples of `scipy.stats.qmc`: McKay, Beckman and Conover (1979);
        Sobol (1967), scrambled, best with n a power of two.
    seed : int
        The same seed gives the same designs.

    Returns
    -------
    list of dict
        Values by path, SI units; equal ones are left out.

    Raises
    ------
    InputError
        If a path does not exist, or a range or a number is wrong.

    Examples
    --------
    >>> from wavesim.descriptions.study import demo_path, load
    >>> space = {"exhaust.collector.length": (0.2, 0.6), "exhaust.merge.angle_deg": [10, 20]}
    >>> len(designs(load(demo_path("collector")), space, 3))
    6
    """
    engine, exhaust = _base_of(base)
    axes = checked_space(plain_pair(engine, exhaust), space)
    check_choice("designs", "method", method, METHODS)
    n = check_int("designs", "n", n, 1, MOST_DESIGNS)
    if method == "grid":
        spread = [axis.spread(n) for axis in axes.values()]
        check_int("designs", "number of combinations", math.prod(map(len, spread)), 1, MOST_DESIGNS)
        rows = itertools.product(*spread)
    else:
        shares = sample(len(axes), n, method, check_int("designs", "seed", seed, 0, 2**63))
        rows = ([axis.at(u) for axis, u in zip(axes.values(), row, strict=True)] for row in shares)
    found = [dict(zip(axes, row, strict=True)) for row in rows]
    return list({repr(design): design for design in found}.values())


def _base_of(base):
    if isinstance(base, Study):
        return base.engine_of(base.base), base.exhausts[base.base]
    if isinstance(base, (tuple, list)) and len(base) == 2:
        return base
    raise InputError(f"designs: base = {shown(base)} must be a Study or a pair (Engine, Exhaust).")


def sample(dimension, n, method, seed):
    """Points of the unit cube, (n, dimension)."""
    from scipy.stats import qmc

    rng = np.random.default_rng(seed)
    if method == "sobol":  # drawn in powers of two, where it is balanced
        return qmc.Sobol(dimension, seed=rng).random_base2(max(0, (n - 1).bit_length()))[:n]
    return qmc.LatinHypercube(dimension, seed=rng).random(n)
