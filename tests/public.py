"""What the front door offers, found by walking it: names, methods, and what they hand out."""

import dataclasses
import inspect
import typing
from collections.abc import Callable
from functools import cached_property

from matplotlib.animation import FuncAnimation
from matplotlib.axes import Axes
from numpy.typing import ArrayLike
from pandas import DataFrame

import wavesim
from wavesim.fields.description import Description

#: What modules import for their hints alone; a Dataset of xarray is nobody's result class either.
HINT_ONLY = {"ArrayLike": ArrayLike, "Axes": Axes, "DataFrame": DataFrame, "Dataset": DataFrame,
             "FuncAnimation": FuncAnimation}
#: Classes that say what is to be computed, not what came out.
DESCRIBING = (Description, wavesim.PerfectGas, wavesim.TableGas, Exception)
#: Methods of Python that users meet.
_SPECIAL = ("__init__", "__call__", "__getitem__", "__len__", "__iter__")


def public_functions():
    """Pairs (name, function) of all functions of the front door and of its modules."""
    for name in wavesim.__all__:
        thing = getattr(wavesim, name)
        if inspect.isfunction(thing):
            yield name, thing
        elif inspect.ismodule(thing):
            for inner, function in vars(thing).items():
                if _is_own(function, thing) and not inner.startswith("_"):
                    yield f"{name}.{inner}", function


def _is_own(function, module):
    """True for functions of a module, or of those in it if it is a folder."""
    return inspect.isfunction(function) and function.__module__.startswith(module.__name__)


def public_classes():
    """All classes of the front door, by name."""
    named = {name: getattr(wavesim, name) for name in wavesim.__all__}
    return {name: thing for name, thing in named.items() if inspect.isclass(thing)}


def public_methods(kind):
    """Pairs (name, function) of the methods and properties of a class, those of its bases too.

    The arguments of data classes and named tuples are their fields, which carry the hints.
    """
    made = dataclasses.is_dataclass(kind) or issubclass(kind, tuple) or _is_form(kind)
    found = {}
    for base in reversed(kind.__mro__):
        if not base.__module__.startswith("wavesim"):
            continue
        for name, thing in vars(base).items():
            wanted = name in _SPECIAL and not (made and name == "__init__")
            if not wanted and name.startswith("_"):
                continue
            function = _function(thing)
            if function is not None:
                found[name] = function
    return found.items()


def _is_form(kind):
    return getattr(kind, "_is_protocol", False)


def _function(thing):
    if isinstance(thing, property):
        return thing.fget
    if isinstance(thing, cached_property):
        return thing.func
    if isinstance(thing, classmethod | staticmethod):
        return thing.__func__
    return thing if inspect.isfunction(thing) else None


def missing_hints(function):
    """Names of the parameters, and "return", that carry no type hint; those of overloads count."""
    declared = typing.get_overloads(function) or [function]
    return [word for one in declared for word in _missing(one)]


def _missing(function):
    signature = inspect.signature(function)
    first = next(iter(signature.parameters), None)
    lacking = [
        name for name, parameter in signature.parameters.items()
        if parameter.annotation is parameter.empty
        and not (name == first and name in ("self", "cls"))
    ]
    if signature.return_annotation is signature.empty:
        lacking.append("return")
    return lacking


def hints_of(function):
    """Hints as types, those of overloads in a list."""
    declared = typing.get_overloads(function) or [function]
    return [typing.get_type_hints(one, localns=HINT_ONLY) for one in declared]


def handed_out():
    """Classes of the package whose objects public functions hand out, less descriptions.

    They are followed through methods and fields: a Comparison hands out speeds of crossing.
    Modules such as `exact` are left out: their results are named numbers and arrays.
    """
    waiting = [function for name, function in public_functions() if "." not in name]
    for kind in public_classes().values():
        if not issubclass(kind, DESCRIBING):
            waiting += [function for _, function in public_methods(kind)]
    found = {}
    while waiting:
        function = waiting.pop()
        for hints in hints_of(function):
            for kind in _kinds(hints.get("return")):
                if kind.__name__ not in found:
                    found[kind.__name__] = kind
                    waiting += [method for _, method in public_methods(kind)]
                    waiting += [_returns(hint) for hint in _fields(kind)]
    return dict(sorted(found.items()))


def _fields(kind):
    return typing.get_type_hints(kind, localns=HINT_ONLY).values()


def _returns(hint):
    """A function whose hint says that it returns something: fields are followed like methods."""
    def give():
        raise NotImplementedError

    give.__annotations__ = {"return": hint}
    return give


def _kinds(hint):
    """Result classes of the package in a hint, however deep."""
    if typing.get_origin(hint) in (type, Callable):
        return
    if inspect.isclass(hint) and not typing.get_args(hint):
        own = hint.__module__.startswith("wavesim") and not issubclass(hint, DESCRIBING)
        if own and not _is_form(hint):
            yield hint
    for inner in typing.get_args(hint):
        yield from _kinds(inner)
