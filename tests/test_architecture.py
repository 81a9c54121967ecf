"""The borders of the house: who may import whom, and what must not load at import."""

import ast
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import wavesim

PACKAGE = Path(wavesim.__file__).parent
KERNELS = sorted((PACKAGE / "kernels").glob("*.py"))
MODULES = sorted(p for p in PACKAGE.rglob("*.py") if p.parent.name != "kernels")

#: The floors of the house from the ground up.  A module imports only from floors below its own,
#: and on its own floor only from modules that stand before it.
FLOORS = {
    "ground": "_version constants units measures words errors guard console writing reading",
    "kernels": "constants flat jit thermo cylinder ends pairs cells tapers nodes perforate stores "
               "openings step march characteristics",
    "fields": "description tables toml_form tabular",
    "gas": "species gasfit fuels flame models",
    "exact": "_tools tuning acoustics riemann silencers steady engine losses waves",
    "descriptions": "weather materials settings combustion valves walls warming pieces pipes "
                    "ratings nodes tubework parts silencers intake lines network joints engine "
                    "assemble exhaust symmetry pull study",
    "gpu": "slots target loops translate frame launches device",
    "arrays": "mesh compile",
    "show": "quantities forms style reasons maps film bands sounds fronts plots drawings panels "
            "pages",
    "results": "files traces waves compact curves bill conditions points rays arrivals diagram "
               "contributions explain states compare comparisons",
    "march": "evaluate exchange books readout burn walltemp pull prolong rig precompile advance "
             "cycles run cyclemap states running echoes attribution acoustics",
    "many": "space store work host pool refine sweep maps explore sensitivity optimise",
    "dyno": "logfile rows pulls correction repeat uncertain fit predict sound sound_file "
            "sound_curve choice",
    "front": "folder report content sheet_html sheet_pdf sheet session commands app",
    "door": "__init__ __main__",
}
#: (floor, place on it) by module, such as "march.run".
LAYERS = {
    name if floor in ("ground", "door") else f"{floor}.{name}": (height, place)
    for height, (floor, names) in enumerate(FLOORS.items())
    for place, name in enumerate(names.split())
}
#: The `__init__` of a folder stands at the end of its floor.
LAYERS |= {floor: (height, 99) for height, floor in enumerate(FLOORS) if floor not in
           ("ground", "door")}
#: Who may index the columns of `kernels.flat`: the rooms that fill the arrays, march them and read
#: them.  All others get named values.
ARRAY_ROOMS = {
    "arrays.mesh", "arrays.compile", "march.advance", "march.cycles", "march.books",
    "march.readout", "march.burn", "march.walltemp", "march.prolong", "march.cyclemap",
    "march.states", "march.acoustics", "march.running", "march.echoes",
    "gpu.slots", "gpu.frame", "gpu.loops", "many.host",
}


def module_name(path, package=PACKAGE):
    """Name of a module below the package, "march.run"; a folder's own is that of the folder."""
    parts = path.relative_to(package).with_suffix("").parts
    return ".".join(parts[:-1] if len(parts) > 1 and parts[-1] == "__init__" else parts)


def own_imports(path, package=PACKAGE):
    """Names of the modules of the package that a file imports, wherever in it."""
    known = {module_name(p, package) for p in package.rglob("*.py")}
    room = list(path.relative_to(package).parts[:-1])
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            bases = [name.name.split(".") for name in node.names]
            found |= {".".join(base[1:]) or "__init__" for base in bases if base[0] == "wavesim"}
        elif isinstance(node, ast.ImportFrom):
            base = (node.module or "").split(".") if node.module else []
            if node.level:
                base = room[: len(room) + 1 - node.level] + base
            elif base[:1] == ["wavesim"]:
                base = base[1:]
            else:
                continue
            for name in node.names:
                full = ".".join([*base, name.name])
                found.add(full if full in known else ".".join(base) or "__init__")
    return found - {module_name(path, package)}


def upward_imports(package=PACKAGE):
    """Pairs (module, what it imports) that do not go down."""
    wrong = []
    for path in sorted(package.rglob("*.py")):
        name = module_name(path, package)
        assert name in LAYERS, f"{name} has no floor: add it to FLOORS"
        for other in own_imports(path, package):
            if other not in LAYERS or LAYERS[other] >= LAYERS[name]:
                wrong.append((name, other))
    return wrong


def column_users(package=PACKAGE):
    """Modules outside the kernels that import `kernels.flat`."""
    names = {module_name(path, package): path for path in package.rglob("*.py")}
    return {
        name for name, path in names.items()
        if not name.startswith("kernels") and "kernels.flat" in own_imports(path, package)
    }


def drawing():
    """Floors as they are drawn in the guide, from the ground up."""
    guide = (PACKAGE.parent / "DEVELOPERS.md").read_text(encoding="utf-8")
    block = guide.split("## The house")[1].split("```")[1]
    floors = {}
    for line in block.strip("\n").splitlines():
        if line.startswith(" "):
            floors[list(floors)[-1]] += " " + " ".join(line.split())
        else:
            floor, names = line.split(maxsplit=1)
            floors[floor] = " ".join(names.split())
    return dict(reversed(floors.items()))


def imports(path, top_level_only=False):
    """Names of the modules that a file imports when it is used, not those for type hints alone."""
    tree = ast.parse(path.read_text())
    hints = {
        inner for node in tree.body
        if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING"
        for inner in ast.walk(node)
    }
    nodes = tree.body if top_level_only else ast.walk(tree)
    found = set()
    for node in nodes:
        if node in hints:
            continue
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            found.add("." * node.level + (node.module or ""))
    return found


def test_every_module_imports_from_lower_floors_only():
    assert upward_imports() == []


def test_every_floor_names_modules_that_are_there():
    assert set(LAYERS) == {module_name(path) for path in PACKAGE.rglob("*.py")}


def test_columns_are_indexed_in_the_rooms_of_the_arrays_only():
    assert column_users() == ARRAY_ROOMS


def test_guide_draws_the_floors():
    assert drawing() == FLOORS


@pytest.fixture
def copied(tmp_path):
    """The package in another place, to be spoiled."""
    ignored = shutil.ignore_patterns("__pycache__", "data")
    return Path(shutil.copytree(PACKAGE, tmp_path / "wavesim", ignore=ignored))


@pytest.mark.parametrize(
    ("module", "line"),
    [
        ("results/points.py", "from wavesim.results.compare import compare"),
        ("show/plots.py", "from wavesim.results.points import Sweep"),
        ("march/evaluate.py", "import wavesim"),
        ("kernels/flat.py", "from . import step"),
        ("fields/description.py", "def late():\n    from wavesim.many.work import Task"),
    ],
)
def test_import_that_goes_up_is_noticed(copied, module, line):
    path = copied / module
    path.write_text(path.read_text() + f"\n{line}\n")
    assert [name for name, _ in upward_imports(copied)] == [module_name(path, copied)]


def test_room_that_begins_to_index_columns_is_noticed(copied):
    path = copied / "march" / "evaluate.py"
    path.write_text(path.read_text() + "\nfrom wavesim.kernels import flat as f\n")
    assert column_users(copied) - ARRAY_ROOMS == {"march.evaluate"}


def column_names(package=PACKAGE):
    """Names of columns, rows and codes in `kernels.flat`; counts `N_...` are no columns."""
    tree = ast.parse((package / "kernels" / "flat.py").read_text())
    targets = [target for node in tree.body if isinstance(node, ast.Assign)
               for target in node.targets]
    names = {node.id for target in targets for node in ast.walk(target)
             if isinstance(node, ast.Name)}
    return {name for name in names if not name.startswith("N_") or name == "N_ANGLE"}


def names_read(node):
    """Attributes of `f` that a syntax tree reads: not those by which it only fills an array."""
    if isinstance(node, ast.Assign):
        filled = node.targets
    elif isinstance(node, ast.AugAssign):
        filled = [node.target]
    else:
        filled = [key for key in node.keys if key] if isinstance(node, ast.Dict) else []
    found = {node.attr} if isinstance(node, ast.Attribute) and getattr(
        node.value, "id", "") == "f" else set()
    inner = (child for child in ast.iter_child_nodes(node) if child not in filled)
    return found.union(*map(names_read, inner))


def columns_nobody_reads(package=PACKAGE):
    """Columns that are filled at most; those of a range that is read as a slice are read."""
    read = {"WORK_1", "WORK_2"}  # within WORK_0 : WORK_3 + 1
    for path in package.rglob("*.py"):
        read |= names_read(ast.parse(path.read_text(encoding="utf-8")))
    return column_names(package) - read


def test_every_column_of_the_arrays_is_read():
    assert columns_nobody_reads() == set()


def test_column_that_is_filled_only_is_noticed(copied):
    flat = copied / "kernels" / "flat.py"
    flat.write_text(flat.read_text() + "\nMOOD = 3\n")
    filling = copied / "march" / "books.py"
    filling.write_text(filling.read_text() + "\n\ndef fill(a):\n    a[f.MOOD] = 1.0\n")
    assert columns_nobody_reads(copied) == {"MOOD"}


@pytest.mark.parametrize("path", KERNELS, ids=lambda p: p.stem)
def test_kernels_import_only_numbers_and_each_other(path):
    allowed = {"math", "numpy", "typing"} | {"." + p.stem for p in KERNELS} | {"."}
    if path.stem == "jit":
        allowed |= {"contextlib", "hashlib", "os", "pathlib", "pickle", "secrets", "stat", "sys",
                    "numba", "numba.core.caching", "numba.core.compiler", "numba.core.serialize",
                    "wavesim.console"}
    assert imports(path) <= allowed


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_numba_stays_in_the_kernels(path):
    if path.name == "target.py":  # the decorators for GPUs
        return
    assert not any(name.split(".")[0] == "numba" for name in imports(path))


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_matplotlib_is_imported_where_figures_are_made_and_only_when_drawing(path):
    heavy = [name for name in imports(path) if name.split(".")[0] == "matplotlib"]
    assert not heavy or path.parent.name == "show"
    early = [n for n in imports(path, top_level_only=True) if n.split(".")[0] == "matplotlib"]
    assert not early


@pytest.mark.parametrize(
    "path", sorted((PACKAGE / "exact").glob("*.py")), ids=lambda p: p.stem
)
def test_exact_solutions_never_use_a_kernel(path):
    assert not any("kernels" in name or "run" in name.split(".") for name in imports(path))


def loaded(code):
    """Which of some modules are loaded after a line of code in a fresh process."""
    watched = ("matplotlib", "scipy.optimize", "pandas", "wavesim.exact")
    code += f"; import sys; print(*(m for m in {watched} if m in sys.modules))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return done.stdout.strip()


def test_import_of_the_package_loads_neither_matplotlib_nor_the_optimizers():
    assert loaded("import wavesim") == ""


def test_exact_solutions_are_loaded_when_asked_for_and_bring_no_optimizers():
    assert loaded("import wavesim as ws; ws.exact.sound_speed(300.0, 1.4, 287.05)") == (
        "wavesim.exact")


def test_front_door_shows_all_its_names():
    assert set(wavesim.__all__) <= set(dir(wavesim))


def test_every_public_name_has_a_docstring():
    for name in wavesim.__all__:
        thing = getattr(wavesim, name)
        assert isinstance(thing, dict) or (thing.__doc__ or "").strip(), name
