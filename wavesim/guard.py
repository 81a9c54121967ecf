"""Public functions that answer an argument of a wrong type with one sentence.

What is right costs nothing but a frame: only when a function fails with an error that is not ours
are its arguments held against their type hints, and the first that does not fit is named.  A
formula of numbers alone may have no answer for them, and says so.  Any other error with arguments
that fit is a fault of the library, or of a function that the user gave, and passes as it is.
"""

import inspect
import types
from collections.abc import Callable, Collection, Iterable, Mapping
from functools import wraps
from numbers import Integral, Real
from typing import Any, Literal, TypeVar, Union, get_args, get_origin

import numpy as np

from wavesim.errors import InputError, WavesimError, nearest, shown

_Thing = TypeVar("_Thing", bound=Callable)
_SPECIAL = ("__init__", "__call__", "__getitem__")
_LOOKED_AT = 10_000  # elements of a list
_WORDS = {float: "a number", int: "a whole number", bool: "True or False", str: "a text",
          np.ndarray: "an array of numbers", type(None): "None"}


def guarded(thing: _Thing) -> _Thing:
    """Let a function, or all public methods of a class, name arguments of a wrong type.

    Parameters
    ----------
    thing : function or type

    Returns
    -------
    function or type
        That raises InputError where arguments that do not fit their type hints made it fail with
        an error that is not one of the library, and where a keyword is not known.

    Examples
    --------
    >>> @guarded
    ... def half(number: float) -> float:
    ...     return 0.5 * number
    >>> half(number="two")
    Traceback (most recent call last):
    ...
    wavesim.errors.InputError: half: number = 'two' (str) must be a number.
    >>> half(nmber=2.0)
    Traceback (most recent call last):
    ...
    wavesim.errors.InputError: half: no argument 'nmber'; did you mean 'number'?
    """
    if isinstance(thing, type):
        for name, member in list(vars(thing).items()):
            if name.startswith("_") and name not in _SPECIAL:
                continue
            if isinstance(member, types.FunctionType):
                setattr(thing, name, guarded(member))
            elif isinstance(member, classmethod | staticmethod):
                setattr(thing, name, type(member)(guarded(member.__func__)))
        return thing

    @wraps(thing)
    def answer(*values, **named):
        try:
            return thing(*values, **named)
        except WavesimError:
            raise
        except Exception as error:
            reason = (_misfit(thing, values, named) or _lack(thing, error, values, named)
                      or _no_answer(thing, error, values, named))
            if reason is None:
                raise
            raise InputError(reason) from error

    return answer


def _misfit(function, values, named):
    """Sentence about the first argument that does not fit, or None."""
    owner = _owner(function, values)
    signature = inspect.signature(function)
    try:
        given = signature.bind(*values, **named).arguments
    except TypeError as error:
        kinds = inspect.Parameter
        known = [name for name, one in signature.parameters.items()
                 if one.kind in (kinds.KEYWORD_ONLY, kinds.POSITIONAL_OR_KEYWORD)]
        unknown = [name for name in named if name not in known]
        if unknown:
            return f"{owner}: no argument {unknown[0]!r}{nearest(unknown[0], known)}"
        return f"{owner}: {error}."
    for name, value in given.items():
        parameter = signature.parameters[name]
        hint = _resolved(parameter.annotation, function)
        if parameter.kind is parameter.VAR_POSITIONAL:
            hint = tuple[hint, ...]
        if parameter.kind is parameter.VAR_KEYWORD or _fits(value, hint):
            continue
        return (f"{owner}: {name} = {shown(value)} ({type(value).__name__}) must be "
                f"{_words(hint)}.")
    return None


def _owner(function, values):
    """Name of a function for the reader; of a method, by the class of the object at hand."""
    name = function.__qualname__.removesuffix(".__init__")
    if next(iter(inspect.signature(function).parameters), None) != "self" or not values:
        return name
    method = name.rpartition(".")[2] if function.__name__ != "__init__" else ""
    return f"{type(values[0]).__name__}.{method}".removesuffix(".")


def _lack(function, error, values, named):
    """Sentence about an argument that lacks what was asked of it, or None."""
    if not isinstance(error, AttributeError):
        return None
    for name, value in inspect.signature(function).bind(*values, **named).arguments.items():
        parts = value if isinstance(value, list | tuple) else ()
        if name != "self" and (value is error.obj or any(part is error.obj for part in parts)):
            return (f"{_owner(function, values)}: {name} = {shown(value)} ({type(value).__name__}) "
                    f"is of no use here: it has no {error.name!r}.")
    return None


def _no_answer(function, error, values, named):
    """Sentence about numbers for which a formula has none, or None."""
    if not isinstance(error, ArithmeticError | ValueError):
        return None
    given = inspect.signature(function).bind(*values, **named).arguments
    if not all(isinstance(value, str) or callable(value) or _is_numeric(value)
               for name, value in given.items() if name != "self"):
        return None
    numbers = ", ".join(f"{name} = {shown(value)}" for name, value in given.items()
                        if _is_numeric(value))
    return f"{_owner(function, values)}: there is no answer for {numbers}."


class _Named(dict):
    """Names of a module; a class that it knows for its hints alone is known by its name here."""

    def __missing__(self, name):
        return type(name, (_Elsewhere,), {})


class _Elsewhere:
    """A class that was not imported."""


def _resolved(hint, function):
    if hint is inspect.Parameter.empty:
        return Any
    if not isinstance(hint, str):
        return hint
    module = inspect.unwrap(function).__globals__
    import builtins

    try:
        return eval(hint, {"__builtins__": {}}, _Named(vars(builtins) | module))
    except TypeError:  # a form of hint that is not known here
        return Any


def _fits(value, hint):
    """True if a value is what a hint says, as far as can be told."""
    origin, inner = get_origin(hint), get_args(hint)
    if origin in (Union, types.UnionType):
        return any(_fits(value, one) for one in inner)
    if origin is Literal:
        return any(value is one or (type(value) is type(one) and value == one) for one in inner)
    if origin is not None:
        return _fits_form(value, origin, inner)
    if hint is None:
        return value is None
    if hint is float:
        return _is_number(value, Real)
    if hint is int:
        return _is_number(value, Integral)
    if hint is np.ndarray:
        return _is_numeric(value) and np.ndim(value) > 0
    if hint is Any or not isinstance(hint, type):
        return True
    if issubclass(hint, _Elsewhere):
        if hint.__name__ == "ArrayLike":
            return _is_numeric(value)
        return any(base.__name__ == hint.__name__ for base in type(value).__mro__)
    if getattr(hint, "_is_protocol", False):
        return all(hasattr(value, name) for name in vars(hint) if not name.startswith("_"))
    return isinstance(value, hint)


def _fits_form(value, origin, inner):
    """The same for a hint such as Sequence[float]."""
    if not isinstance(origin, type) or origin is type or issubclass(origin, Callable):
        return isinstance(value, type) if origin is type else callable(value)
    if issubclass(origin, Mapping):
        if not isinstance(value, Mapping):
            return False
        return not inner or all(_fits(key, inner[0]) and _fits(one, inner[1])
                                for key, one in list(value.items())[:_LOOKED_AT])
    if not issubclass(origin, Iterable):
        return isinstance(value, origin)
    if isinstance(value, str | bytes) or not isinstance(value, Iterable):
        return False
    if not isinstance(value, Collection):
        return True  # looking would use it up
    elements = list(value)[:_LOOKED_AT]
    if origin is tuple and Ellipsis not in inner:
        return len(elements) == len(inner) and all(map(_fits, elements, inner))
    return not inner or all(_fits(one, inner[0]) for one in elements)


def _is_number(value, kind):
    if isinstance(value, np.ndarray) and value.ndim == 0:
        value = value[()]
    if isinstance(value, bool | np.bool_) or not isinstance(value, kind):
        return False
    try:
        float(value)
    except (OverflowError, ValueError):
        return False
    return True


def _is_numeric(value):
    """True for a number and for numbers in lists."""
    if isinstance(value, str | bytes | Mapping):
        return False
    try:
        array = np.asarray(value)
        return array.dtype.kind in "fiub" and bool(np.asarray(array, dtype=float).size)
    except Exception:  # a stranger's object may do anything
        return False


def _words(hint):
    """What a hint asks for, in words."""
    origin, inner = get_origin(hint), get_args(hint)
    if origin in (Union, types.UnionType):
        return " or ".join(dict.fromkeys(map(_words, inner)))
    if origin is Literal:
        return " or ".join(map(repr, inner))
    if origin is not None:
        return _form_words(origin, inner)
    if hint is None:
        return "None"
    return _WORDS.get(hint, f"of type {getattr(hint, '__name__', hint)}")


def _form_words(origin, inner):
    if not isinstance(origin, type) or issubclass(origin, Callable):
        return "a function"
    kind = {tuple: "tuple", type: "type"}.get(origin, origin.__name__)
    if issubclass(origin, Mapping) and len(inner) == 2:
        return f"a mapping from {_words(inner[0])} to {_words(inner[1])}"
    of = " and ".join(dict.fromkeys(_words(one) for one in inner if one is not Ellipsis))
    return f"a {kind.lower()}{f' of {of}' if of else ''}"
