"""What curves were computed under besides the exhaust, and in what two of them differ.

Conditions are plain data by heading, as `Sweep.conditions` gives them; two are compared field by
field.  The difference of two curves is that of the exhausts only where nothing is found.
"""

import dataclasses

from wavesim.errors import InputError
from wavesim.fields.description import restore

_TOLD = 4  # fields of a heading that are told with their values, others by their name
_WEATHER_UNITS = {"pressure": "Pa", "temperature": "K"}


def conditions_of(points):
    """Conditions of operating points, plain data by heading.

    Parameters
    ----------
    points : sequence of Point

    Returns
    -------
    dict
        Empty where the points do not say what made them.  Values are those of the first speed; the
        fuel flow is kept by speed.
    """
    if not points or "engine" not in points[0].meta:
        return {}
    meta = points[0].meta
    flows = {f"{p.rpm:g} rev/min": p.meta.get("fuel_flow") for p in points}
    given = any(flow is not None for flow in flows.values())
    gas = {name: item for name, item in meta["gas"].items() if name != "lam" or not given}
    outside = meta.get("outside", {})
    return {
        "engine": meta["engine"], "settings": meta["settings"], "gas": gas,
        "weather": {side: outside[side] for side in ("intake", "exhaust") if side in outside},
        "fuel flow": flows if given else "by the mixture of the engine",
        "version of the library": meta["version"],
    }


def differences(first, second, letters=("A", "B")):
    """Sentences on what two curves do not share besides the exhaust.

    Parameters
    ----------
    first, second : dict
        As `conditions_of` returns them.
    letters : (str, str)
        What the curves are called.

    Returns
    -------
    list of str
        One for each heading with a difference.

    Examples
    --------
    >>> differences({"engine": {"bore": 0.086}}, {"engine": {"bore": 0.084}})
    ['Besides the exhaust, A and B differ in engine: bore (0.086 and 0.084).']
    """
    found = []
    for heading in first.keys() & second.keys():
        mine, other = first[heading], second[heading]
        if heading == "gas":  # with a given fuel flow the mixture is a result
            mine, other = ({name: own[name] for name in mine.keys() & other.keys()}
                           for own in (mine, other))
        if mine != other and not _is_of_the_engine(heading, first, second):
            found.append((list(first).index(heading), _sentence(heading, mine, other, letters)))
    return [sentence for _, sentence in sorted(found)]


def _is_of_the_engine(heading, first, second):
    """True for a gas that is only what the engine's fuel and mixture make of it."""
    if heading != "gas":
        return False
    engines = [one.get("engine") for one in (first, second)]
    if not all(isinstance(engine, dict) and "fuel" in engine for engine in engines):
        return False
    own = [
        one["gas"].get("fuel") == engine["fuel"]
        and one["gas"].get("lam", engine["air_fuel_lambda"]) == engine["air_fuel_lambda"]
        for one, engine in zip((first, second), engines, strict=True)
    ]
    return all(own)


def _sentence(heading, mine, other, letters):
    start = f"Besides the exhaust, {letters[0]} and {letters[1]} differ in {heading}"
    leaves = list(_leaves(mine, other, ""))
    short = [leaf for leaf in leaves if _is_short(leaf[1]) and _is_short(leaf[2])][:_TOLD]
    told = [f"{path} ({_text(a, unit)} and {_text(b, unit)})".strip()
            for path, a, b, unit in short]
    more = [path for path, *_ in leaves if path not in {leaf[0] for leaf in short}]
    if more:
        told.append(f"{', '.join(more[:2])}{f' and {len(more) - 2} more' if more[2:] else ''}")
    colon = ":" if leaves[0][0] else ""
    return f"{start}{colon} {', '.join(told).strip()}."


def _leaves(a, b, path, unit=""):
    """(path, value, value, unit) of all that differs in two pieces of plain data."""
    if a == b:
        return
    if isinstance(a, dict) and isinstance(b, dict) and a.get("type") == b.get("type"):
        units = _units(a)
        for name in dict.fromkeys([*a, *b]):
            deeper = f"{path}.{name}" if path else name
            yield from _leaves(a.get(name), b.get(name), deeper, units.get(name, ""))
    else:
        yield path, _named(a), _named(b), unit


def _units(data):
    """Units of the numbers of a description, by field; what is none is of the weather."""
    if "type" not in data:
        return _WEATHER_UNITS
    try:
        kind = type(restore(data))
        return {f.name: f.metadata.get("unit", "") for f in dataclasses.fields(kind)}
    except (InputError, TypeError, KeyError, ValueError):
        return {}


def _named(value):
    """A description by the name of its class, for one kind stands in the place of another."""
    return value["type"] if isinstance(value, dict) and "type" in value else value


def _is_short(value):
    return not isinstance(value, list)


def _text(value, unit):
    if isinstance(value, float):
        return f"{value:.6g}{f' {unit}' if unit not in ('', '1') else ''}"
    if isinstance(value, dict):
        return "given"
    return "not stated" if value is None else str(value)
