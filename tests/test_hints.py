"""Type hints and examples: every public name carries them, and hints name things that exist."""

import tomllib
from pathlib import Path

import pytest
from public import hints_of, missing_hints, public_classes, public_functions, public_methods

import wavesim
from wavesim.fields.description import Description

FUNCTIONS = dict(public_functions())
CLASSES = public_classes()


@pytest.mark.parametrize("name", FUNCTIONS)
def test_every_parameter_of_a_public_function_and_what_it_returns_is_hinted(name):
    assert missing_hints(FUNCTIONS[name]) == []
    assert hints_of(FUNCTIONS[name])  # the names in them exist


@pytest.mark.parametrize("name", CLASSES)
def test_every_method_of_a_public_class_is_hinted(name):
    lacking = {
        f"{name}.{method}": missing for method, function in public_methods(CLASSES[name])
        if (missing := missing_hints(function))
    }
    assert not lacking
    for _, function in public_methods(CLASSES[name]):
        assert hints_of(function)


def test_function_without_hints_is_noticed():
    def bare(a, b: int, *args, **kwargs):
        return a

    assert missing_hints(bare) == ["a", "args", "kwargs", "return"]


def test_marker_of_type_hints_is_packaged():
    project = tomllib.loads((Path(__file__).parents[1] / "pyproject.toml").read_text())
    assert "py.typed" in project["tool"]["setuptools"]["package-data"]["wavesim"]
    assert (Path(wavesim.__file__).parent / "py.typed").exists()


@pytest.mark.parametrize("name", [name for name in FUNCTIONS if "." not in name])
def test_every_function_of_the_front_door_shows_an_example(name):
    assert ">>>" in FUNCTIONS[name].__doc__


@pytest.mark.parametrize("name", [n for n, c in CLASSES.items() if issubclass(c, Description)])
def test_every_description_shows_an_example(name):
    assert ">>>" in CLASSES[name].__doc__


@pytest.mark.parametrize("name", CLASSES)
def test_every_public_class_shows_an_example(name):
    assert ">>>" in CLASSES[name].__doc__


def shown_in(kind, method, function):
    """True if an example of the class or of the method itself uses it."""
    return f".{method}(" in _examples(kind.__doc__) or ">>>" in (function.__doc__ or "")


def _examples(doc):
    return "\n".join(line for line in (doc or "").splitlines()
                     if line.strip().startswith((">>>", "...")))


@pytest.mark.parametrize("name", CLASSES)
def test_every_method_of_a_public_class_is_used_in_an_example(name):
    kind = CLASSES[name]
    lacking = [method for method, function in public_methods(kind)
               if not method.startswith("_") and callable(vars_of(kind).get(method))
               and method not in ALIKE and not shown_in(kind, method, function)]
    assert lacking == []


#: Every table of results has the first of them, every part and node the next; with the others
#: sweeps use a Store by its keys.
ALIKE = ("to_csv", "to_frame", "to_xarray", "save_beside", "amounts", "with_end", "without_duct",
         "get", "has", "put", "claim", "release")


def vars_of(kind):
    return {name: thing for base in reversed(kind.__mro__) for name, thing in vars(base).items()
            if not isinstance(thing, property)}
