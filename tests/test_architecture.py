"""The borders of the house: who may import whom, and what must not load at import."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import wavesim

PACKAGE = Path(wavesim.__file__).parent
KERNELS = sorted((PACKAGE / "kernels").glob("*.py"))
MODULES = sorted(p for p in PACKAGE.rglob("*.py") if p.parent.name != "kernels")


def imports(path, top_level_only=False):
    """Names of the modules that a file imports."""
    tree = ast.parse(path.read_text())
    nodes = tree.body if top_level_only else ast.walk(tree)
    found = set()
    for node in nodes:
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            found.add("." * node.level + (node.module or ""))
    return found


@pytest.mark.parametrize("path", KERNELS, ids=lambda p: p.stem)
def test_kernels_import_only_numbers_and_each_other(path):
    allowed = {"math", "numpy", "typing"} | {"." + p.stem for p in KERNELS} | {"."}
    if path.stem == "jit":
        allowed |= {"hashlib", "os", "pathlib", "numba"}
    assert imports(path) <= allowed


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_numba_stays_in_the_kernels(path):
    assert not any(name.split(".")[0] == "numba" for name in imports(path))


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_matplotlib_is_imported_by_plots_alone_and_only_when_drawing(path):
    heavy = [name for name in imports(path) if name.split(".")[0] == "matplotlib"]
    assert not heavy or path.stem == "plots"
    early = [n for n in imports(path, top_level_only=True) if n.split(".")[0] == "matplotlib"]
    assert not early


@pytest.mark.parametrize(
    "path", sorted((PACKAGE / "exact").glob("*.py")), ids=lambda p: p.stem
)
def test_exact_solutions_never_use_a_kernel(path):
    assert not any("kernels" in name or "run" in name.split(".") for name in imports(path))


def test_import_of_the_package_loads_neither_matplotlib_nor_the_optimizers():
    code = (
        "import sys, wavesim; "
        "print(*(m for m in ('matplotlib', 'scipy.optimize', 'pandas') if m in sys.modules))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == ""


def test_every_public_name_has_a_docstring():
    for name in wavesim.__all__:
        thing = getattr(wavesim, name)
        assert isinstance(thing, dict) or (thing.__doc__ or "").strip(), name
