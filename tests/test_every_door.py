"""Wrong arguments at every public function and method, with arguments that their examples show.

The examples of the docstrings are run once, and what every public function and method was called
with is noted.  What no example calls stands in `doors.py`.  A door that neither knows is named.
"""

import doctest
import importlib
import inspect
import pkgutil
import random
import signal
import sys
from collections.abc import Callable
from contextlib import contextmanager, suppress
from functools import partial
from typing import get_origin

import numpy as np
import pytest
from doors import WRONG, doors, more_doors
from public import handed_out, public_classes, public_functions, public_methods
from store_worker import invented_point
from test_doors import is_told
from test_result_objects import made  # noqa: F401

import wavesim
import wavesim.dyno.sound
import wavesim.many.store
import wavesim.many.work
from wavesim.guard import _resolved

#: Doors that are tried in test_doors.py, where results are invented, or that cannot be tried.
ELSEWHERE = {
    "run_point", "run_network", "run_study", "speed_sweep", "speed_sweeps", "explore", "optimise",
    "simulate", "transmission_loss", "load", "save", "Store.run_point",
    "periodic_states", "PeriodicStates.__init__",
    "celsius",  # a sum; the messages themselves stand on the units
}

#: What happens to be right, and takes long.
SLOW = {("echoes", "longest", "a number"), ("echoes", "flow", "truth")}
#: Arguments of textbook solutions for which one half would not do.
USUAL = {
    "gamma": 1.4, "gas_constant": 287.0, "temperature": 300.0, "c": 340.0, "c0": 340.0,
    "ends": "open-open", "kind": "mineral", "exit_area": 2.0, "shock_mach": 2.0,
    "area": np.array([2.0, 1.0, 1.5]), "throat_index": 1, "profile": np.sin, "shell": 0.15,
    "x": np.linspace(0.0, 1.0, 5), "wall": 1e-3, "hole": 3e-3, "pipe": 0.05, "frequency": 100.0,
}


def public_doors():
    """Public functions and methods by name, as they are called from outside."""
    found = {name.rpartition(".")[2]: function for name, function in public_functions()
             if function.__module__ != "wavesim.errors"}
    for kind in (public_classes() | handed_out()).values():
        for _, function in public_methods(kind):
            if _asks(function) and not getattr(kind, "_is_protocol", False):
                found[function.__qualname__] = function
    return {name: function for name, function in found.items() if name not in ELSEWHERE}


def _asks(method):
    """True if a method has arguments, apart from pairs that it hands on."""
    _, *more = inspect.signature(method).parameters.values()
    return any(one.kind is not one.VAR_KEYWORD for one in more)


DOORS = public_doors()
SOME = 6  # wrong values for each argument; all of them at night


@pytest.fixture(scope="module")
def called(made, tmp_path_factory):  # noqa: F811
    """Arguments of the first call of each door, by its name."""
    codes = {inspect.unwrap(function).__code__: name for name, function in DOORS.items()}
    found = {}

    def note(frame, event, _):
        name = codes.get(frame.f_code) if event == "call" else None
        if name is not None and name not in found:
            found[name] = {word: frame.f_locals[word] for word in list(inspect.signature(
                inspect.unwrap(DOORS[name])).parameters) if word in frame.f_locals}

    def noted(action):
        usual = sys.getprofile()
        sys.setprofile(note)
        try:
            action()
        finally:
            sys.setprofile(usual)

    folder = tmp_path_factory.mktemp("doors")
    (folder / "t.csv").write_text("rpm,deg\n1,2\n2,3\n")
    runner = doctest.DocTestRunner(verbose=False)
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        for example in examples_of_docstrings():
            noted(partial(runner.run, example, out=lambda _: None))
        for action in more_doors(folder):
            noted(action)
        for thing in made.values():
            for name, function in public_methods(type(thing)):
                if all(one.default is not one.empty or one.kind is one.VAR_KEYWORD
                       for one in list(inspect.signature(function).parameters.values())[1:]):
                    with suppress(wavesim.InputError, TypeError, ImportError):  # or no method
                        noted(getattr(thing, name))
            if hasattr(thing, "to_csv"):
                noted(partial(thing.to_csv, folder / f"{type(thing).__name__}.csv"))
        for module in (wavesim.many.work, wavesim.many.store):
            patch.setattr(module, "run_point", lambda e, x, rpm, **_: invented_point(rpm))
        for name, (function, arguments) in doors(folder).items():
            if name not in ELSEWHERE:  # some results are invented, and lack what is asked
                with suppress(wavesim.InputError, KeyError):
                    noted(partial(function, **arguments))
    for name, function in DOORS.items():
        if name not in found and function.__module__.startswith("wavesim.exact"):
            found[name] = usual_values(function)
    return found


def examples_of_docstrings():
    for _, name, _ in pkgutil.walk_packages(wavesim.__path__, "wavesim."):
        if not name.endswith("__main__"):
            yield from doctest.DocTestFinder().find(importlib.import_module(name))


def usual_values(function):
    """Arguments of a textbook solution that it can do something with."""
    return {name: USUAL.get(name, [0.5, 0.25] if "Sequence" in str(one.annotation) else 2
                            if one.annotation == "int" else 0.5)
            for name, one in inspect.signature(function).parameters.items()
            if one.default is one.empty}


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("count", [SOME, pytest.param(len(WRONG), marks=pytest.mark.nightly)])
@pytest.mark.parametrize("door", DOORS)
def test_wrong_argument_at_any_public_door_is_told(called, door, count, monkeypatch, tmp_path):
    if door not in called:
        pytest.fail(f"no example calls {door}: give it one, or a line in more_doors")
    if door.endswith("to_xarray"):
        pytest.importorskip("xarray")
    monkeypatch.chdir(tmp_path)
    function, arguments = DOORS[door], called[door]
    parameters = inspect.signature(function).parameters
    for name in arguments:
        kind = parameters[name].kind
        if name in ("self", "cls") or kind is parameters[name].VAR_KEYWORD:
            continue
        takes_function = _takes_function(parameters[name].annotation, function)
        for what in random.Random(door + name).sample(list(WRONG), count):
            wrong = WRONG[what]
            if (door, name, what) in SLOW or (what == "a function" and takes_function):
                continue  # of the user's, whose errors are the user's
            with np.errstate(all="ignore"), at_most(20.0, f"{door}: {name} = {what}"):
                is_told(partial(_called, function, arguments | {
                    name: (wrong,) if kind is parameters[name].VAR_POSITIONAL else wrong}))


@contextmanager
def at_most(seconds, what):
    """End a block that takes longer with a failure."""
    def fail(*_):
        pytest.fail(f"{what} hangs")

    usual = signal.signal(signal.SIGALRM, fail)
    signal.setitimer(signal.ITIMER_REAL, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0.0)
        signal.signal(signal.SIGALRM, usual)


def _called(function, arguments):
    """The function with arguments by name, those of a star in their place."""
    parameters = inspect.signature(function).parameters
    stars = [name for name, one in parameters.items() if one.kind is one.VAR_POSITIONAL]
    pairs = [name for name, one in parameters.items() if one.kind is one.VAR_KEYWORD]
    named = {name: value for name, value in arguments.items() if name not in stars + pairs}
    for name in pairs:
        named |= arguments.get(name, {})
    if not stars:
        return function(**named)
    before = list(parameters)[: list(parameters).index(stars[0])]
    first = [named.pop(name) for name in before]
    return function(*first, *arguments.get(stars[0], ()), **named)


def _takes_function(hint, function):
    hint = _resolved(hint, function)
    return any(isinstance(origin := get_origin(one) or one, type) and origin is Callable
               or origin is Callable or str(one).find("Callable") >= 0
               for one in (hint, *getattr(hint, "__args__", ())))
