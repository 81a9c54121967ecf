"""Descriptions as plain TOML data and back.

Every description is a table whose keys are its fields.  "none" stands for None where a field may
be None; ``csv = "file.csv"`` in the table of a curve hands all other keys to the `from_csv` of its
class.

A line is a table, an array of tables, or a table with an array `parts` and keys that all of these
share where they know them::

    [exhaust.pipe]
    diameter = 0.054
    parts = [
        {length = 0.9},
        {part = "bend", angle_deg = 45, radius_ratio = 1.5},
        {part = "perforated silencer", length = 0.4, case_diameter = 0.13},
    ]

`part` is the class of a part in small letters; without it a table is a Pipe.

A mapping by name is a table of its items.  The ducts of a network are lines in it, its nodes are
tables in which `node` is the class, without it an AreaStep::

    [exhaust.nodes."outlet 2"]
    node = "open end"
    at = "tailpipe 2.end"
"""

import dataclasses
import inspect
import json
import os
import re
from collections.abc import Mapping
from functools import cache

from wavesim.errors import (
    Gathering,
    InputError,
    check_choice,
    check_keys,
    located,
    nearest,
    shown,
)
from wavesim.fields.description import Description, Named, chosen_index, make, names_like, path_keys
from wavesim.words import spoken
from wavesim.writing import as_path

_NONE = "none"
_NUMBERS = frozenset((float, int, bool))  # of which no description is built


def build(kind, raw, folder, path, *, outside=True):
    """Description from a TOML table.

    Parameters
    ----------
    kind : type or tuple of type
        Description class; of several the one that "type" names or that knows most of the keys.
    raw : dict
        The table.
    folder : Path
        Where CSV files are looked for.
    path : str
        Place of the table in the file, for messages.
    outside : bool
        False refuses files that do not lie in the folder or below it.

    Raises
    ------
    InputError
        With the path in front, for every key that is unknown or missing and every value that is
        refused.
    """
    reader = _Reader(folder, outside, path)
    thing = reader.build(kind, raw, path)
    reader.found.tell()
    return thing


class Variants:
    """Descriptions of tables that `set_path` made of one: what it left alone is built once.

    Parameters
    ----------
    kind, base, folder, path
        As for `build`; `base` may not change afterwards.
    """

    def __init__(self, kind, base, folder, path):
        self.kind, self.base, self.folder, self.path = kind, base, folder, path
        self.made = {}
        self.thing = self._read(base, keep=True)

    def build(self, raw):
        """Description from a table, as the function `build` makes it."""
        return self.thing if raw is self.base else self._read(raw)

    def _read(self, raw, keep=False):
        reader = _Reader(self.folder, True, self.path, self.made, keep)
        thing = reader.build(self.kind, raw, self.path)
        reader.found.tell()
        return thing


class _Reader:
    """Reads tables and collects what is wrong with them; what has a fault becomes `_BROKEN`.

    `made` holds what was made of tables and lists, with these, by field and table; `keep` adds to
    it.
    """

    def __init__(self, folder, outside, owner, made=None, keep=False):
        self.folder, self.outside, self.found = folder, outside, Gathering(owner)
        self.made, self.keep = {} if made is None else made, keep

    def build(self, kind, raw, path):
        """Description from a table, or `_BROKEN`."""
        faults = len(self.found.faults)
        kinds = kind if isinstance(kind, tuple) else (kind,)
        with self.found.noting():
            if not isinstance(raw, Mapping):
                raise InputError(
                    f"{path}: {kinds[0].__name__} = {shown(raw)} must be a table of its fields."
                )
            kind = _kind_of(kinds, raw, path) if len(kinds) > 1 else kinds[0]
            if "csv" in raw:
                return self._from_csv(kind, raw, path)
            facts = _facts(kind)
            values = {
                name: value if type(value) in _NUMBERS or name not in facts
                else self._value(facts[name], value, f"{path}.{name}")
                for name, value in raw.items()
                if name != "type"
            }
            is_sound = len(self.found.faults) == faults
            broken = [] if is_sound else [n for n in values if _is_broken(values[n])]
            with located(path):
                thing = make(kind, values, broken)
            if len(self.found.faults) == faults:
                return thing
        return _BROKEN

    def _value(self, facts, raw, path):
        """Value of one field, made once where `made` is kept."""
        if not isinstance(raw, (list, Mapping)):
            is_none = isinstance(raw, str) and raw == _NONE and facts.get("optional")
            return None if is_none else raw
        known = self.made.get((id(facts), id(raw)))
        if known is not None:
            return known[-1]
        value = self._made_of(facts, raw, path)
        if self.keep:
            self.made[id(facts), id(raw)] = facts, raw, value  # which keeps their ids from others
        return value

    def _made_of(self, facts, raw, path):
        """Value of a table or a list: descriptions in it are built, else left to its check."""
        if "items" in facts and isinstance(raw, Mapping):
            return {
                name: self._value(facts["items"], item, f"{path}.{name}")
                for name, item in raw.items()
            }
        if "kinds" in facts and isinstance(raw, list):
            return [self._value(facts, item, f"{path}.{i}") for i, item in enumerate(raw)]
        if "kinds" in facts and isinstance(raw, Mapping):
            with self.found.noting():
                if "tag" in facts:
                    return self._line(facts, raw, path)
                return self.build(_kind_of(facts["kinds"], raw, path), raw, path)
            return _BROKEN
        return raw

    def _line(self, facts, raw, path):
        """One part of a line, or all parts of a table with shared keys."""
        if "parts" not in raw:
            return self._part(facts, raw, path)
        shared = {key: value for key, value in raw.items() if key != "parts"}
        parts = raw["parts"]
        if not isinstance(parts, list) or not all(isinstance(part, Mapping) for part in parts):
            raise InputError(f"{path}: parts = {shown(parts)} must be a list of tables.")
        kinds = [_part_kind(facts, item, f"{path}.parts.{i}") for i, item in enumerate(parts)]
        known = [{field.name for field in dataclasses.fields(kind)} for kind in kinds]
        check_keys(path, shared, sorted(set().union(*known)), what="key")
        before = len(self.found.faults)
        built = [
            self._part(facts, {**{k: v for k, v in shared.items() if k in names}, **item},
                       f"{path}.parts.{i}")
            for i, (item, names) in enumerate(zip(parts, known, strict=True))
        ]  # fmt: skip
        told = [_of_line(fault, path, shared, parts) for fault in self.found.faults[before:]]
        self.found.faults[before:] = dict.fromkeys(told)
        return built

    def _part(self, facts, raw, path):
        fields = {key: value for key, value in raw.items() if key != facts["tag"]}
        return self.build(_part_kind(facts, raw, path), fields, path)

    def _from_csv(self, kind, raw, path):
        values = {name: value for name, value in raw.items() if name not in ("csv", "type")}
        with located(path):
            if not hasattr(kind, "from_csv"):
                raise InputError(f"{kind.__name__}: no field 'csv', it cannot be read from a file.")
            if not isinstance(raw["csv"], str):
                raise InputError(f"{kind.__name__}: csv = {shown(raw['csv'])} must be a file name.")
            known = dict(list(inspect.signature(kind.from_csv).parameters.items())[1:])
            needed = [name for name, fact in known.items() if fact.default is fact.empty]
            check_keys(f"{kind.__name__} from csv", values, known, needed, "key")
            return kind.from_csv(self._file(raw["csv"]), **values)

    def _file(self, name):
        """Path of a CSV file; links are followed before it is looked where it lies."""
        path = as_path("csv", self.folder / as_path("csv", name))
        inside = os.path.realpath(self.folder)
        if not self.outside and os.path.commonpath([inside, os.path.realpath(path)]) != inside:
            raise InputError(
                f"csv = {shown(name)} lies outside the folder of the study and is not read, unless "
                "load(..., outside=True) or --outside says that it may be."
            )
        return path


def _of_line(fault, path, shared, parts):
    """A fault of a part, told of the line where it lies in a key that the parts share."""
    found = re.match(rf"{re.escape(path)}\.parts\.(\d+): \w+: ((\w+) = .*)", fault, re.DOTALL)
    if found is None or found[3] not in shared or found[3] in parts[int(found[1])]:
        return fault
    return f"{path}: {found[2]}"


_BROKEN = object()  # stands for what has a fault


def _is_broken(value):
    """True for `_BROKEN`, and for lists and tables that hold it."""
    if isinstance(value, dict):
        return any(map(_is_broken, value.values()))
    return value is _BROKEN or (isinstance(value, list) and any(map(_is_broken, value)))


@cache
def _facts(kind):
    """Facts of every field of a class, by name."""
    return {field.name: field.metadata for field in dataclasses.fields(kind)}


@cache
def _by_word(kinds):
    """Classes by what they are called in files."""
    return {spoken(kind.__name__): kind for kind in kinds}


def _part_kind(facts, raw, path):
    """Class of a part or node, by default the first."""
    tag, words = facts["tag"], _by_word(facts["kinds"])
    return words[check_choice(path, tag, raw.get(tag, next(iter(words))), words)]


def _kind_of(kinds, raw, path):
    """Class meant by a table: as "type" says, else the one that knows most of its keys."""
    names = {kind.__name__: kind for kind in kinds}
    if "type" in raw:
        return names[check_choice(path, "type", raw["type"], names)]
    if "part" in raw and len(kinds) > 1:
        raise InputError(
            f"{path}: no key 'part', the key is type and must be one of "
            f"{', '.join(map(repr, names))}{nearest(raw['part'], names)}"
        )
    readers = [kind for kind in kinds if "csv" not in raw or hasattr(kind, "from_csv")]
    return max(readers or kinds, key=lambda kind: len(_csv_keys(kind, raw) & set(raw)))


def _csv_keys(kind, raw):
    if "csv" in raw and hasattr(kind, "from_csv"):
        return set(inspect.signature(kind.from_csv).parameters)
    return {field.name for field in dataclasses.fields(kind)}


def plain(thing):
    """TOML data of a description, complete with defaults: what `build` reads back.

    Parameters
    ----------
    thing : Description, tuple or plain value
        What to write down.
    """
    if isinstance(thing, Description):
        return {
            field.name: _tagged(field.metadata, getattr(thing, field.name))
            for field in dataclasses.fields(thing)
        }
    if isinstance(thing, Named):
        return {name: plain(item) for name, item in thing.items()}
    if isinstance(thing, tuple):
        return [plain(item) for item in thing]
    return _NONE if thing is None else thing


def _tagged(facts, value):
    """Plain value, with its class where the field allows several."""
    if "items" in facts:
        return {name: _tagged(facts["items"], item) for name, item in value.items()}
    if "field" in facts:  # the one field of the description stands for it
        value = getattr(value, facts["field"])
        facts = {name: fact for name, fact in facts.items() if name != "field"}
    if isinstance(value, tuple):
        return [_tagged(facts, item) for item in value]
    data = plain(value)
    if not isinstance(value, Description) or len(facts["kinds"]) == 1:
        return data
    if "tag" not in facts:
        return {"type": type(value).__name__, **data}
    is_default = type(value) is facts["kinds"][0]
    return data if is_default else {facts["tag"]: spoken(type(value).__name__), **data}


def set_path(raw, path, value):
    """Copy of a TOML table with the value at a dotted path changed.

    Parameters
    ----------
    raw : dict
        The table.
    path : str
        Keys joined by dots, with the rules of `description.vary`; missing tables are made, but not
        where "*" stands for names.
    value : object
        TOML value.

    Raises
    ------
    InputError
        If the path leads through something that is no table.
    """
    with located(path):
        return _set(raw, path_keys(path), value)


def _set(raw, keys, value):
    if not keys:
        return value
    key, rest = keys[0], keys[1:]
    if isinstance(raw, list):
        return _set_item(raw, keys, value)
    if not isinstance(raw, Mapping):
        raise InputError(f"{shown(raw)} has no key {key!r}, the path goes too far.")
    changed = {name: _set(raw.get(name, {}), rest, value) for name in names_like(key, raw)}
    return {**raw, **changed}


def _set_item(raw, keys, value):
    key, rest = keys[0], keys[1:]
    chosen = range(len(raw)) if key == "*" else chosen_index(key, raw)
    if not chosen and len(raw) == 1:
        return [_set(raw[0], keys, value)]
    if not chosen:
        raise InputError(
            f"{key!r} does not choose one of the {len(raw)} items here (indices count from 0, "
            "'*' means all)."
        )
    return [_set(item, rest, value) if i in chosen else item for i, item in enumerate(raw)]


def differences(base, other, path=""):
    """Changes that turn one TOML table into another, as a dict from dotted path to value.

    Parameters
    ----------
    base, other : dict, list or plain value
        Output of `plain`.
    path : str
        Where the two stand.
    """
    if base == other:
        return {}
    both = (base, other)
    plain_keys = all(isinstance(x, dict) for x in both) and not any("." in key for key in base)
    if plain_keys and base.keys() == other.keys():
        pairs = [(key, base[key], other[key]) for key in base]
    elif all(isinstance(x, list) for x in both) and len(base) == len(other) > 0:
        pairs = [(i, base[i], other[i]) for i in range(len(base))]
    else:
        return {path: other}
    found = {}
    for key, a, b in pairs:
        found.update(differences(a, b, f"{path}.{key}" if path else str(key)))
    return found


def toml_text(table, path=""):
    """TOML text of a table: plain keys first, then its sub-tables under their headers.

    Parameters
    ----------
    table : dict
        Data of str, bool, int, float, list and dict.
    path : str
        Header of this table.
    """
    lines, below = [], []
    for key, value in table.items():
        header = f"{path}.{_key(key)}" if path else _key(key)
        if isinstance(value, Mapping):
            below.append(f"\n[{header}]\n{toml_text(value, header)}")
        elif _is_tables(value):
            below.extend(f"\n[[{header}]]\n{toml_text(item, header)}" for item in value)
        else:
            lines.append(f"{_key(key)} = {_inline(value)}\n")
    return "".join(lines + below)


def _is_tables(value):
    return isinstance(value, list) and bool(value) and all(isinstance(v, Mapping) for v in value)


def _key(key):
    return key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else json.dumps(key, ensure_ascii=False)


def _inline(value):
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{_key(k)} = {_inline(v)}" for k, v in value.items()) + "}"
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(_inline(item) for item in value) + "]"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    return repr(value)
