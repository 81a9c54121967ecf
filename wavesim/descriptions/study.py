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
from wavesim.errors import InputError, check_choice, check_keys, check_number, located
from wavesim.fields.description import Description, Named, checked, make, numbers, part, text
from wavesim.fields.toml_form import build, differences, plain, set_path, toml_text

_KEYS = ("name", "rpm", "engine", "exhaust", "ambient", "pull", "variants", "settings")
_PARTS = ("engine", "exhaust", "pull")  # what a variant may change
_VARIANT_KEYS = ("name", "set")  # and `from`, which may be left out


def _named(*kinds):
    def check(owner, name, value):
        named = Named(value, f"{owner}.{name}")
        for key, thing in named.items():
            if not isinstance(thing, kinds):
                listed = " or ".join(kind.__name__ for kind in kinds)
                raise InputError(f"{owner}: {name} {key!r} = {thing!r} must be of type {listed}.")
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
        for name, exhaust in self.exhausts.items():
            with located(f"exhaust {name!r}"):
                network = network_of(self.engine_of(name), exhaust)
                network.in_weather(
                    self.ambient, unequal_pressures=self.settings.unequal_pressures
                )
                if name in self.pulls:
                    check_pull(network)

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
        """Engine that goes with the exhaust of that name."""
        return self.engines.get(name, self.engine)


def demo_path(name: str = "demo") -> Path:
    """Path of an example study that comes with the package.

    Parameters
    ----------
    name : {"demo", "complete"}
        A short and a long collector, or complete systems of two bores beside an open collector.

    Raises
    ------
    InputError
        If there is no such study.
    """
    folder = Path(__file__).parents[1] / "data"
    check_choice("demo_path", "name", name, sorted(path.name for path in folder.iterdir()))
    return folder / name / f"{name}.toml"


def load(path: str | Path) -> Study:
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

    Returns
    -------
    Study
        Lengths and all else in SI units, as in the file.

    Raises
    ------
    InputError
        If the file cannot be read, is no TOML, or holds an unknown key or a refused value; the
        message starts with the place in the file.
    """
    path = Path(path)
    raw = _read(path)
    check_keys(path.name, raw, _KEYS, ("rpm", "engine", "exhaust"), "key")
    base_name = _base_name(raw["exhaust"])
    engine, exhaust = _pair(raw, path.parent, "")
    exhausts, engines, pulls = [(base_name, exhaust)], {}, {}
    tables = {base_name: {key: raw[key] for key in _PARTS if key in raw}}
    for name, origin, changes in _variants(raw):
        origin = base_name if origin is None else origin
        check_choice(f"variants {name!r}", "from", origin, tables)
        changed = tables[origin]
        for where, value in changes.items():
            with located(f"variants {name!r}"):
                changed = set_path(changed, where, value)
        tables[name] = changed
        own, variant = _pair(changed, path.parent, f"variants {name!r}: ")
        exhausts.append((name, variant))
        if own != engine:
            engines[name] = own
    for name, table in tables.items():
        if table.get("pull", "none") != "none":
            where = "pull" if name == base_name else f"variants {name!r}: pull"
            pulls[name] = build(Pull, table["pull"], path.parent, where)
    settings = build(Settings, raw.get("settings", {}), path.parent, "settings")
    ambient = build(Ambient, raw.get("ambient", {}), path.parent, "ambient")
    values = {"engine": engine, "exhausts": exhausts, "rpm": _rpm(raw["rpm"]),
              "settings": settings, "ambient": ambient, "name": raw.get("name", ""),
              "engines": engines, "pulls": pulls}
    with located(path.name):
        return make(Study, values)


def _read(path):
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise InputError(f"{path.name}: cannot read the file {str(path)!r}.") from error
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"{path.name}: this is no valid TOML, {error}.") from error


def _base_name(raw):
    return raw.get("name", "base") if isinstance(raw, dict) else "base"


def _pair(raw, folder, prefix):
    return (
        build(Engine, raw["engine"], folder, f"{prefix}engine"),
        build(SYSTEMS, raw["exhaust"], folder, f"{prefix}exhaust"),
    )


def _variants(raw):
    """Triples of name, the variant it starts from (None: the base), and changes."""
    variants = raw.get("variants", [])
    if not isinstance(variants, list) or not all(isinstance(v, dict) for v in variants):
        raise InputError(f"variants = {variants!r} must be tables under [[variants]].")
    for i, variant in enumerate(variants):
        check_keys(f"variants.{i}", variant, (*_VARIANT_KEYS, "from"), _VARIANT_KEYS, "key")
        if not isinstance(variant["name"], str):
            raise InputError(f"variants.{i}: name = {variant['name']!r} must be a text in quotes.")
        changes = variant["set"]
        if not isinstance(changes, dict):
            raise InputError(f"variants.{i}: set = {changes!r} must be a table of paths.")
        roots = [where.split(".")[0] for where in changes]
        check_keys(f"variants.{i}: set", roots, _PARTS, what="path from")
        yield variant["name"], variant.get("from"), changes


def _rpm(raw):
    """Speeds from a list, or from start, stop (included) and step."""
    if not isinstance(raw, dict):
        return raw
    keys = ("start", "stop", "step")
    check_keys("rpm", raw, keys, keys, "key")
    low, high = RPM_RANGE
    start = check_number("rpm", "start", raw["start"], "rev/min", low, high)
    stop = check_number("rpm", "stop", raw["stop"], "rev/min", start, high)
    step = check_number("rpm", "step", raw["step"], "rev/min", 1.0, high)
    return [float(rpm) for rpm in start + step * np.arange((stop - start) // step + 1.0)]


def save(study: Study, path: str | Path) -> None:
    """Write a study to a TOML file that `load` reads back as an equal Study.

    Parameters
    ----------
    study : Study
        What to write.  Curves that came from CSV files are written out as lists.
    path : str or Path
        The file; an existing one is overwritten.
    """
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
    Path(path).write_text(toml_text(table), encoding="utf-8")


def _tables(study, name):
    """TOML data of what belongs to one exhaust of a study."""
    return {"engine": plain(study.engine_of(name)), "exhaust": plain(study.exhausts[name]),
            "pull": plain(study.pulls.get(name))}
