"""Numbers that several rooms share are written once."""

import ast
import inspect
import shutil
import tokenize
from pathlib import Path

import pytest

import wavesim
from wavesim import constants, exact
from wavesim.kernels import constants as kernel_constants

PACKAGE = Path(wavesim.__file__).parent

#: Home of each shared number by module.  `exact` judges the kernels and therefore states anew what
#: stands in theirs; it may share the rest.
HOMES = {
    "constants.py": (
        constants.RPM_RANGE[1], constants.STANDARD_PRESSURE, constants.STANDARD_TEMPERATURE,
        constants.R_AIR, constants.ZERO_CELSIUS, constants.UNFLANGED_END, constants.FLANGED_END,
        constants.HOLE_END, constants.HOLE_DISCHARGE, constants.HOLE_RANGE[0],
        constants.WALL_TEMPERATURE_RANGE[1],
    ),
    "kernels/constants.py": (
        *kernel_constants.SUTHERLAND, kernel_constants.PRANDTL, kernel_constants.WIEBE_A,
        kernel_constants.LAMINAR, kernel_constants.HAALAND_SMOOTH, kernel_constants.HAALAND_ROUGH,
        kernel_constants.HAALAND_POWER,
    ),
}
#: The same digits with another meaning.
OTHER_MEANINGS = {
    ("exact/losses.py", constants.HOLE_END),  # a jet turned by three quarters of the angle
    ("kernels/constants.py", constants.ZERO_CELSIUS),  # where Sutherland's law starts
    ("dyno/repeat.py", constants.HOLE_END),  # share of a bias that is taken off
    ("gas/flame.py", kernel_constants.HAALAND_POWER),  # the mixture at which methanol burns fastest
    ("constants.py", kernel_constants.T_0),  # zero on the scale of Celsius
}


def numbers(path):
    """Numbers that stand in the code of a module, not in its texts."""
    with path.open("rb") as file:
        words = [token.string for token in tokenize.tokenize(file.readline)
                 if token.type == tokenize.NUMBER]
    return set(map(ast.literal_eval, words))


def second_homes(package=PACKAGE):
    """Pairs (module, number) where a shared number is written once more."""
    found = set()
    for path in package.rglob("*.py"):
        name, here = str(path.relative_to(package)), numbers(path)
        for home, shared in HOMES.items():
            judge = home.startswith("kernels") and name.startswith("exact")
            if name != home and not judge:
                found |= {(name, value) for value in here.intersection(shared)}
    return found - OTHER_MEANINGS


def test_shared_number_is_written_once():
    assert second_homes() == set()
    for home, shared in HOMES.items():
        assert numbers(PACKAGE / home) >= set(shared)


@pytest.mark.parametrize("value", ["101_325", "6.908", "0.8217"])
def test_second_home_is_noticed(tmp_path, value):
    copy = Path(shutil.copytree(PACKAGE, tmp_path / "wavesim",
                                ignore=shutil.ignore_patterns("__pycache__", "data")))
    path = copy / "march" / "books.py"
    path.write_text(path.read_text() + f"\nAGAIN = {value}\n")
    assert second_homes(copy) == {("march/books.py", float(value))}


def test_judge_and_kernels_state_the_same_constant_of_wiebe():
    for law in (exact.wiebe_burned, exact.wiebe_progress):
        assert inspect.signature(law).parameters["a"].default == kernel_constants.WIEBE_A


def test_free_end_has_the_length_of_levine_and_schwinger():
    """Within 0.1 %: their own integral gives 0.6127."""
    theory = exact.levine_schwinger(0.0).correction
    assert constants.UNFLANGED_END == pytest.approx(theory, rel=1.1e-3)
