"""The forms of what can be compared and drawn: nobody here asks where numbers come from.

A curve may have been computed or measured.  Comparisons and figures ask for the form only, so that
whatever has these names can be compared and drawn.
"""

from collections.abc import Collection, Sequence
from math import floor, log10
from typing import Protocol, runtime_checkable

import numpy as np

from wavesim import errors
from wavesim.errors import InputError, check_choice
from wavesim.show.quantities import QUANTITIES, Display, display


@runtime_checkable
class SpeedCurve(Protocol):
    """Quantities against engine speed, computed or measured.

    Attributes
    ----------
    name : str
        For tables and figures.
    rpm : ndarray, (n,)
        Speeds [rev/min], increasing.
    quantities : collection of str
        Names of the quantities it holds: keys of `QUANTITIES`, which are in SI units, or others.
    trusted : ndarray of bool, (n,)
        False where the values are not to be trusted, as where a cycle did not converge.
    notes : sequence of str
        Sentences on what limits it.
    """

    @property
    def name(self) -> str: ...

    @property
    def rpm(self) -> np.ndarray: ...

    @property
    def quantities(self) -> Collection[str]: ...

    @property
    def trusted(self) -> np.ndarray: ...

    @property
    def notes(self) -> Sequence[str]: ...

    def __getitem__(self, quantity: str) -> np.ndarray:
        """Values of a quantity, (n,), NaN where there is none."""

    def unit(self, quantity: str) -> str:
        """Unit of a quantity, "1" where it has none."""

    def uncertainty(self, quantity: str) -> np.ndarray | None:
        """Half width of the band in which the values lie, (n,), or None if it is not stated."""


@runtime_checkable
class TracedCurve(SpeedCurve, Protocol):
    """A speed curve whose points hold traces of what went on within a cycle.

    Attributes
    ----------
    points : sequence
        With `rpm`, `meta`, `exhaust` and `trace`, as a Point has them.
    """

    @property
    def points(self) -> Sequence: ...


@runtime_checkable
class CurveDifference(Protocol):
    """Two speed curves side by side.

    Attributes
    ----------
    a, b : SpeedCurve
        Reference and variant.
    names : (str, str)
        Their names.
    rpm : ndarray, (n,)
        Speeds [rev/min].
    trusted : ndarray of bool, (n,)
        False where one of the two is not to be trusted.
    """

    @property
    def a(self) -> SpeedCurve: ...

    @property
    def b(self) -> SpeedCurve: ...

    @property
    def names(self) -> tuple[str, str]: ...

    @property
    def rpm(self) -> np.ndarray: ...

    @property
    def trusted(self) -> np.ndarray: ...

    def difference(self, quantity: str) -> np.ndarray:
        """b - a at each speed, (n,)."""

    def uncertainty(self, quantity: str) -> np.ndarray | None:
        """Half width of the band in which the difference lies, (n,), or None."""

    def crossings(self, quantity: str) -> Sequence:
        """Crossings with `rpm` and, for people, `rounded` [rev/min]."""


@runtime_checkable
class TraceForm(Protocol):
    """One quantity against crank angle or time: see `wavesim.Trace`."""

    @property
    def x(self) -> np.ndarray: ...

    @property
    def values(self) -> np.ndarray: ...

    @property
    def quantity(self) -> str: ...

    @property
    def at(self) -> str: ...

    @property
    def x_name(self) -> str: ...

    @property
    def cylinder(self) -> int: ...


@runtime_checkable
class LossCurve(Protocol):
    """Transmission loss [dB] against frequency [Hz]: see `wavesim.TransmissionLoss`."""

    @property
    def frequency(self) -> np.ndarray: ...

    @property
    def loss(self) -> np.ndarray: ...


_WORDS = {
    SpeedCurve: "a speed curve such as a Sweep or a Curve",
    TracedCurve: "a Sweep whose points hold their traces",
    CurveDifference: "a Comparison, as compare returns it",
    TraceForm: "a Trace",
    LossCurve: "a TransmissionLoss",
}


def check_form(owner: str, field: str, thing: object, form: type):
    """Return `thing` after checking that it has a form.

    Parameters
    ----------
    owner, field : str
        Function and argument, for the message.
    thing : object
        What the user gave.
    form : type
        One of the protocols of this module.

    Raises
    ------
    InputError
        If something is missing; the message names it.
    """
    if isinstance(thing, form):
        return thing
    named = {name for kind in form.__mro__ for name in (*vars(kind), *_hints(kind))}
    missing = sorted(n for n in named if not n.startswith("_") and not hasattr(thing, n))
    lacks = f"; it has no {', '.join(missing)}" if missing else ""
    raise InputError(f"{owner}: {field} = {errors.shown(thing)} must be {_WORDS[form]}{lacks}.")


def check_forms(owner: str, field: str, things: object, form: type) -> list:
    """One or more things of a form as a list, each checked by `check_form`."""
    if isinstance(things, form):
        return [things]
    if isinstance(things, str) or not hasattr(things, "__iter__"):
        check_form(owner, field, things, form)
    things = list(things)
    if not things:
        raise InputError(f"{owner}: {field} = [] must hold {_WORDS[form]}, at least one.")
    return [check_form(owner, f"{field}[{i}]", one, form) for i, one in enumerate(things)]


def _hints(kind):
    return kind.__dict__.get("__annotations__", {})


def shown(quantity: str, *curves: SpeedCurve) -> Display:
    """Label, readable unit, factor and decimals of a quantity that some curves hold.

    Parameters
    ----------
    quantity : str
        Those that are no key of `QUANTITIES` are shown in their own unit, to four figures of the
        largest value.
    *curves : SpeedCurve
        At least one.

    Returns
    -------
    Display

    Raises
    ------
    InputError
        If a curve does not hold the quantity, or not in the unit of the others.
    """
    for curve in curves:
        check_choice(f"curve {curve.name!r}", "quantity", quantity, curve.quantities)
    if quantity in QUANTITIES:
        return display(quantity)
    units = {curve.unit(quantity): curve.name for curve in curves}
    if len(units) > 1:
        listed = " and ".join(f"{name!r} in {unit}" for unit, name in units.items())
        raise InputError(f"{quantity!r} is held by {listed}, must be in one unit.")
    (unit,) = units
    values = np.abs(np.concatenate([curve[quantity] for curve in curves]))
    largest = np.max(values, initial=0.0, where=np.isfinite(values))
    decimals = max(0, 3 - floor(log10(largest))) if largest else 1
    return Display(quantity.replace("_", " "), "" if unit == "1" else unit, 1.0, decimals)
