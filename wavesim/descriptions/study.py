"""A study: one engine, a base exhaust with its variants, the speeds, and its TOML file."""

import tomllib
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from wavesim.constants import RPM_RANGE
from wavesim.descriptions.engine import Engine
from wavesim.descriptions.exhaust import SYSTEMS, network_of
from wavesim.descriptions.pull import Pull, check_pull
from wavesim.descriptions.settings import Settings
from wavesim.descriptions.weather import Ambient
from wavesim.errors import (
    Gathering,
    InputError,
    check_choice,
    check_keys,
    check_kind,
    check_number,
    located,
    shown,
)
from wavesim.fields.description import (
    DEEPEST,
    Description,
    Named,
    check_text,
    checked,
    in_si,
    make,
    numbers,
    part,
    text,
)
from wavesim.fields.toml_form import build, differences, plain, set_path, toml_text
from wavesim.guard import guarded
from wavesim.reading import read_text
from wavesim.writing import as_path, write_signed

_KEYS = ("name", "rpm", "engine", "exhaust", "ambient", "pull", "variants", "settings")
_PARTS = ("engine", "exhaust", "pull")  # what a variant may change
LARGEST_STUDY = 2**21  # [byte]
_ALIKE = 100  # first letters of a fault that is told once: long ones are cut
_VARIANT_KEYS = ("name", "set")  # and `from`, which may be left out


def _named(*kinds):
    def check(owner, name, value):
        named = Named(value, f"{owner}.{name}")
        for key, thing in named.items():
            if not isinstance(thing, kinds):
                listed = " or ".join(kind.__name__ for kind in kinds)
                raise InputError(
                    f"{owner}: {name} {key!r} = {shown(thing)} must be of type {listed}."
                )
        return named

    return check


@dataclass(frozen=True, kw_only=True)
class Study(Description):
    """What is to be compared, and at which speeds.

    Parameters
    ----------
    engine : Engine
        The engine.
    exhausts : mapping of str to Exhaust or Network
        Base first, then the variants.  Each takes its key as its name.
    rpm : sequence of float
        Engine speeds [rev/min], 100 to 30000, strictly increasing.
    settings : Settings
        How to calculate.
    ambient : Ambient
        The weather, for every place that states no air of its own.
    name : str
        Title for reports.
    engines : mapping of str to Engine
        Engines of those variants that change the engine too, by name of the variant.
    pulls : mapping of str to Pull
        Of those exhausts whose walls warm in a pull, by name; the solved walls of the others stand
        where they come to rest at each speed.

    Raises
    ------
    InputError
        If a value is refused or an engine and its exhaust do not fit together.

    Examples
    --------
    >>> study = load(demo_path("collector"))
    >>> study.base, study.replace(rpm=(3000, 4500)).rpm
    ('short collector', (3000.0, 4500.0))
    """

    engine: Engine = part(Engine)
    exhausts: Named = checked(_named(*SYSTEMS))
    rpm: tuple[float, ...] = numbers("rev/min", *RPM_RANGE)
    settings: Settings = part(Settings, default=Settings())
    ambient: Ambient = part(Ambient, default=Ambient())
    name: str = text("")
    engines: Named = checked(_named(Engine), Named({}))
    pulls: Named = checked(_named(Pull), Named({}))

    def _check(self):
        self._check_rpm()
        if not self.exhausts:
            self._refuse("exhausts = {} must hold at least one Exhaust, the base.")
        check_keys("Study: engines", self.engines, self.exhausts, what="variant")
        check_keys("Study: pulls", self.pulls, self.exhausts, what="exhaust")
        renamed = {name: e.replace(name=name) for name, e in self.exhausts.items()}
        object.__setattr__(self, "exhausts", Named(renamed))
        found = Gathering("Study")
        for name, exhaust in self.exhausts.items():
            with found.noting(), located(f"exhaust {name!r}"):
                network = network_of(self.engine_of(name), exhaust)
                network.in_weather(
                    self.ambient, unequal_pressures=self.settings.unequal_pressures
                )
                if name in self.pulls:
                    check_pull(network)
        found.tell()

    def _check_rpm(self):
        low, high = RPM_RANGE
        if not self.rpm:
            self._refuse(
                f"rpm = () is empty, needs at least one speed in rev/min, {low:g} to {high:g}."
            )
        for slow, fast in zip(self.rpm, self.rpm[1:], strict=False):
            if fast <= slow:
                self._refuse(
                    f"rpm = {fast:g} rev/min follows {slow:g} rev/min, speeds must increase "
                    f"strictly within {low:g} to {high:g} rev/min."
                )

    @property
    def base(self) -> str:
        """Name of the base exhaust."""
        return next(iter(self.exhausts))

    def engine_of(self, name: str) -> Engine:
        """Engine that goes with the exhaust of that name.

        Examples
        --------
        >>> import wavesim as ws
        >>> study = ws.load(ws.demo_path("collector"))
        >>> study.engine_of("long collector") == study.engine
        True
        """
        return self.engines.get(name, self.engine)


@guarded
def demo_path(name: str = "demo") -> Path:
    """Path of an example study that comes with the package.

    Parameters
    ----------
    name : {"demo", "collector", "complete", "gain"}
        Open collectors and complete systems of two bores on a V6; a short and a long collector on
        a four; complete systems of two bores beside an open collector on that four; short and long
        open collectors on the V6, where the longer give torque.

    Raises
    ------
    InputError
        If there is no such study.

    Examples
    --------
    >>> demo_path("collector").name
    'collector.toml'
    """
    folder = Path(__file__).parents[1] / "data"
    check_choice("demo_path", "name", name, sorted(
        path.stem for path in folder.glob("*/*.toml") if path.stem == path.parent.name
    ))
    return folder / name / f"{name}.toml"


@guarded
def load(path: str | Path, *, outside: bool = False) -> Study:
    """Study from a TOML file.

    Parameters
    ----------
    path : str or Path
        The file.  Its tables are [engine], [exhaust], [ambient], [pull], [[variants]] and
        [settings], its keys `name` and `rpm` (a list, or a table of start, stop and step).  A
        variant has a `name` and a table `set` from dotted paths, such as
        "exhaust.collector.length" or "pull.rate", to values; with `from`, the name of a variant
        before it, it starts from that one instead of the base.  `pull = "none"` in `set` gives
        it the walls of minutes at each speed.
    outside : bool
        True also reads curves from CSV files outside the folder of the study, which a study of a
        stranger has no business to name.

    Returns
    -------
    Study
        Lengths and all else in SI units, as in the file.

    Raises
    ------
    InputError
        If the file cannot be read, is no TOML, or holds an unknown key or a refused value; the
        message starts with the place in the file.  Of several faults all are told, numbered.

    Examples
    --------
    >>> study = load(demo_path("collector"))
    >>> list(study.exhausts), study.engine.firing_order
    (['short collector', 'long collector'], (1, 3, 4, 2))
    """
    path = as_path("load", path)
    raw = _read(path)
    found = Gathering(path.name)
    with found.noting():
        check_keys(path.name, raw, _KEYS, ("rpm", "engine", "exhaust"), "key")
    systems = _Systems(path.parent, outside, found)
    systems.read_base(raw)
    with found.noting():
        for name, origin, changes in _variants(raw, found):
            systems.read_variant(name, origin, changes)
    values = systems.values() | {"name": raw.get("name", "")}
    for key, kind in (("settings", Settings), ("ambient", Ambient)):
        with found.noting():
            values[key] = build(kind, raw.get(key, {}), path.parent, key, outside=outside)
    with found.noting():
        values["rpm"] = _rpm(raw.get("rpm", []))
    with found.noting(), located(path.name):
        if not found.faults:
            return make(Study, values)
        known = {key: values[key] for key in ("rpm", "name") if key in raw and key in values}
        needed = dict.fromkeys(("engine", "exhausts", "rpm"))  # told above if they are missing
        make(Study, needed | known, broken=needed.keys() - known.keys())
    return found.tell()


class _Systems:
    """Engines, exhausts and pulls of a file, base first; what is wrong with them is collected."""

    def __init__(self, folder, outside, found):
        self.folder, self.outside, self.found = folder, outside, found
        self.tables, self.built, self.told = {}, {}, set()

    def read_base(self, raw):
        """What the base consists of, as far as it is there."""
        self.base = _base_name(raw.get("exhaust"))
        self._read(self.base, {key: raw[key] for key in _PARTS if key in raw}, "")
        self.told = {fault[:_ALIKE] for fault in self.found.faults}

    def read_variant(self, name, origin, changes):
        """A variant, as what it changes of another."""
        place = f"variants {name!r}"
        with self.found.noting():
            if name in self.tables:
                raise InputError(f"{place}: the name {name!r} is given twice.")
            origin = self.base if origin is None else origin
            changed = self.tables[check_choice(place, "from", origin, self.tables)]
            for where, value in changes.items():
                with self.found.noting(), located(place):
                    changed = set_path(changed, where, value)
            self._read(name, changed, f"{place}: ")

    def values(self):
        """Fields of the Study; some are None if there was a fault."""
        engine = self.built[self.base].get("engine")
        exhausts = [(name, parts.get("exhaust")) for name, parts in self.built.items()]
        engines = {name: parts.get("engine") for name, parts in self.built.items()}
        pulls = {name: parts["pull"] for name, parts in self.built.items() if "pull" in parts}
        return {"engine": engine, "exhausts": exhausts, "pulls": pulls,
                "engines": {name: own for name, own in engines.items() if own != engine}}

    def _read(self, name, table, prefix):
        """Build what one exhaust consists of.  A fault of the base is told once."""
        self.tables[name], self.built[name] = table, {}
        for key, kind in (("engine", Engine), ("exhaust", SYSTEMS), ("pull", Pull)):
            if key not in table or (key == "pull" and table[key] == "none"):
                continue
            own = Gathering(key)
            with own.noting():
                self.built[name][key] = build(
                    kind, table[key], self.folder, prefix + key, outside=self.outside
                )
            self.found.faults += [
                fault for fault in own.faults
                if fault.removeprefix(prefix)[:_ALIKE] not in self.told
            ]


def _read(path):
    """TOML data of a file."""
    text = read_text(path, path.name, LARGEST_STUDY)
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"{path.name}: this is no valid TOML, {error}.") from error
    except (RecursionError, ValueError) as error:
        reason = "a number is too long" if isinstance(error, ValueError) else _TOO_DEEP
        raise InputError(f"{path.name}: this is no study, {reason}.") from error
    if _is_deeper(raw, DEEPEST):
        raise InputError(f"{path.name}: this is no study, {_TOO_DEEP}.")
    return raw


_TOO_DEEP = "its tables lie too deep within one another"


def _is_deeper(raw, steps):
    """True if tables or lists lie within one another deeper than so many steps."""
    level = [raw]
    for _ in range(steps):
        level = [
            item for thing in level if isinstance(thing, (dict, list))
            for item in (thing.values() if isinstance(thing, dict) else thing)
        ]  # fmt: skip
    return bool(level)


def files_of(path: str | Path) -> list[Path]:
    """The file of a study and all files that it reads.

    Parameters
    ----------
    path : str or Path
        As for `load`.

    Returns
    -------
    list of Path

    Raises
    ------
    InputError
        As `load`, if the file cannot be read or is no TOML.
    """
    path = as_path("files_of", path)
    return [path, *(path.parent / name for name in _named_files(_read(path)))]


def _named_files(raw):
    """Names of all CSV files in TOML data."""
    if isinstance(raw, dict):
        own = [raw["csv"]] if isinstance(raw.get("csv"), str) else []
        return own + [name for value in raw.values() for name in _named_files(value)]
    return [name for item in raw for name in _named_files(item)] if isinstance(raw, list) else []


def _base_name(raw):
    name = raw.get("name", "base") if isinstance(raw, dict) else "base"
    return name if isinstance(name, str) else "base"


def _variants(raw, found):
    """Triples of name, the variant it starts from (None: the base), and changes."""
    variants = raw.get("variants", [])
    if not isinstance(variants, list) or not all(isinstance(v, dict) for v in variants):
        raise InputError(f"variants = {shown(variants)} must be tables under [[variants]].")
    for i, variant in enumerate(variants):
        place = f"variants.{i}"
        with found.noting():
            check_keys(place, variant, (*_VARIANT_KEYS, "from"), _VARIANT_KEYS, "key")
            check_text(place, "name", variant["name"])
            changes = variant["set"]
            if not isinstance(changes, dict):
                raise InputError(f"{place}: set = {shown(changes)} must be a table of paths.")
            roots = [where.split(".")[0] for where in changes]
            check_keys(f"{place}: set", roots, _PARTS, what="path from")
            yield variant["name"], variant.get("from"), changes


def _rpm(raw):
    """Speeds from a list, or from start, stop (included) and step."""
    if not isinstance(raw, dict):
        return raw
    keys = ("start", "stop", "step")
    check_keys("rpm", raw, keys, keys, "key")
    raw = {key: in_si("rpm", key, value, "rev/min") for key, value in raw.items()}
    low, high = RPM_RANGE
    start = check_number("rpm", "start", raw["start"], "rev/min", low, high)
    stop = check_number("rpm", "stop", raw["stop"], "rev/min", start, high)
    step = check_number("rpm", "step", raw["step"], "rev/min", 1.0, high)
    return [float(rpm) for rpm in start + step * np.arange((stop - start) // step + 1.0)]


@guarded
def save(study: Study, path: str | Path) -> None:
    """Write a study to a TOML file that `load` reads back as an equal Study.

    Parameters
    ----------
    study : Study
        What to write.  Curves that came from CSV files are written out as lists.
    path : str or Path
        The file.  One that `save` wrote is replaced unless it was edited since.

    Raises
    ------
    InputError
        If `study` is no Study, the file cannot be written, or another one is there.

    Examples
    --------
    >>> import tempfile
    >>> study = load(demo_path("collector"))
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     save(study, Path(folder) / "copy.toml")
    ...     load(Path(folder) / "copy.toml") == study
    True
    """
    check_kind("save", "study", study, Study)
    base = _tables(study, study.base)
    head = {"name": study.name, "rpm": list(study.rpm), "settings": plain(study.settings),
            "ambient": plain(study.ambient)}
    variants = []
    for name in list(study.exhausts)[1:]:
        changes = differences(base, _tables(study, name))
        changes.pop("exhaust.name", None)  # `name` of the variant says it
        variants.append({"name": name, "set": changes})
    table = {**head, **base, "variants": variants}
    if base["pull"] == "none":
        del table["pull"]
    write_signed(path, "save", before="", after=toml_text(table))


def _tables(study, name):
    """TOML data of what belongs to one exhaust of a study."""
    return {"engine": plain(study.engine_of(name)), "exhaust": plain(study.exhausts[name]),
            "pull": plain(study.pulls.get(name))}
