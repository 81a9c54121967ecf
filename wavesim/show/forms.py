"""The forms of what can be compared and drawn: nobody here asks where numbers come from.

A curve may have been computed or measured.  Comparisons and figures ask for the form only, so that
whatever has these names can be compared and drawn.
"""

from collections.abc import Collection, Mapping, Sequence
from math import floor, log10
from typing import Protocol, runtime_checkable

import numpy as np

from wavesim import errors
from wavesim.errors import InputError, check_choice
from wavesim.show.quantities import QUANTITIES, SOUNDS, Display, display


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

    Examples
    --------
    >>> import wavesim as ws
    >>> a = ws.Curve("short", [3000, 4000, 5000], {"torque": [141.0, 158.0, 171.0]})
    >>> b = ws.Curve("long", [3000, 4000, 5000], {"torque": [145.0, 161.0, 165.0]})
    >>> isinstance(a, ws.SpeedCurve)
    True
    >>> a.unit("torque"), a.uncertainty("torque") is None
    ('N m', True)
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
class PulledCurve(SpeedCurve, Protocol):
    """A speed curve that is the mean of several pulls.

    Attributes
    ----------
    pulls : sequence of SpeedCurve
    order : tuple of float or None
        When each pull was made.
    """

    @property
    def pulls(self) -> Sequence[SpeedCurve]: ...

    @property
    def order(self) -> tuple[float, ...] | None: ...

    def by_pull(self, quantity: str, rpm: np.ndarray | None = None) -> np.ndarray:
        """A quantity of every pull (n_pull, m) at some speeds, or at those of the curve."""


@runtime_checkable
class DifferenceParts(Protocol):
    """Parts of a difference of torque against speed.

    Attributes
    ----------
    rpm : ndarray, (n,)
        Speeds [rev/min].
    parts : mapping of str to ndarray, each (n,)
        By name [N m].
    labels : mapping of str to str
        Words for them.
    total : ndarray, (n,)
        Their sum [N m].
    names : (str, str)
        Of reference and variant.
    """

    @property
    def rpm(self) -> np.ndarray: ...

    @property
    def parts(self) -> Mapping[str, np.ndarray]: ...

    @property
    def labels(self) -> Mapping[str, str]: ...

    @property
    def total(self) -> np.ndarray: ...

    @property
    def names(self) -> tuple[str, str]: ...


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


@runtime_checkable
class EchoRecord(Protocol):
    """What a shut valve hears after a pulse.

    Attributes
    ----------
    cylinder : int
        That sent the pulse.
    rpm : float
        [rev/min].
    time : ndarray, (n,)
        [s].
    records : mapping of int to ndarray, each (n,)
        By cylinder, share of the pulse.
    found : mapping of int to list
        Echoes with angle [deg], size, sender and in_overlap, by cylinder.
    flow : bool
        True if the engine ran.
    """

    @property
    def cylinder(self) -> int: ...

    @property
    def rpm(self) -> float: ...

    @property
    def time(self) -> np.ndarray: ...

    @property
    def records(self) -> Mapping[int, np.ndarray]: ...

    @property
    def found(self) -> Mapping[int, list]: ...

    @property
    def overlap(self) -> tuple[float, float] | None: ...

    @property
    def flow(self) -> bool: ...


@runtime_checkable
class PairShares(Protocol):
    """Shares of pressure by sender and listener.

    Attributes
    ----------
    rpm : float
        [rev/min].
    size, time : ndarray, (n, n)
        Share, and time on the way [s].
    in_overlap : ndarray of bool, (n, n)
    """

    @property
    def rpm(self) -> float: ...

    @property
    def size(self) -> np.ndarray: ...

    @property
    def time(self) -> np.ndarray: ...

    @property
    def in_overlap(self) -> np.ndarray: ...


@runtime_checkable
class ArrivalForm(Protocol):
    """Crank angles at which fronts come to a valve, against engine speed.

    Attributes
    ----------
    cylinder : int
    rpm : ndarray, (n,)
        [rev/min].
    routes : sequence
        With name and size.
    first, peak : ndarray, (n_route, n)
        [deg].
    overlap : (float, float) or None
        [deg].
    """

    @property
    def cylinder(self) -> int: ...

    @property
    def rpm(self) -> np.ndarray: ...

    @property
    def routes(self) -> Sequence: ...

    @property
    def first(self) -> np.ndarray: ...

    @property
    def peak(self) -> np.ndarray: ...

    @property
    def overlap(self) -> tuple[float, float] | None: ...


@runtime_checkable
class BandedDifference(Protocol):
    """Difference of two systems against engine speed, with bands round it.

    Attributes
    ----------
    rpm, difference : ndarray, (n,)
        [rev/min]; SI unit.
    bands : mapping of str to ndarray, each (n,)
        Half widths by what is said of them, the widest first.
    pieces : sequence of (float, float)
        Where the curves may cross [rev/min]; empty where nothing is said of it.
    names : (str, str)
        Of reference and variant.
    quantity : str
        A key of `QUANTITIES`.
    """

    @property
    def rpm(self) -> np.ndarray: ...

    @property
    def difference(self) -> np.ndarray: ...

    @property
    def bands(self) -> Mapping[str, np.ndarray]: ...

    @property
    def pieces(self) -> Sequence[tuple[float, float]]: ...

    @property
    def names(self) -> tuple[str, str]: ...

    @property
    def quantity(self) -> str: ...


@runtime_checkable
class FittedCurves(Protocol):
    """Measured curves and what was computed for them before and after a fit.

    Attributes
    ----------
    rpm : ndarray, (n,)
        [rev/min].
    held_back : ndarray of bool, (n,)
        True at speeds that were kept out of the fit.
    measured, scatter, start, computed : mapping of str to ndarray, each (n,)
        By quantity, keys of `QUANTITIES`, SI units: mean of the pulls and the half width of its
        band, computed before and after the fit.
    """

    @property
    def rpm(self) -> np.ndarray: ...

    @property
    def held_back(self) -> np.ndarray: ...

    @property
    def measured(self) -> Mapping[str, np.ndarray]: ...

    @property
    def scatter(self) -> Mapping[str, np.ndarray]: ...

    @property
    def start(self) -> Mapping[str, np.ndarray]: ...

    @property
    def computed(self) -> Mapping[str, np.ndarray]: ...


@runtime_checkable
class WayPicture(Protocol):
    """Pressure over a way and crank angle.

    Attributes
    ----------
    rpm : float
        [rev/min].
    cylinder : int
    x : ndarray, (n_x,)
        [m].
    angle : ndarray, (n_angle,)
        [deg].
    pressure : ndarray, (n_angle, n_x)
        [Pa].
    joints : sequence of (float, str)
    fronts : sequence of (ndarray, ndarray)
    events : mapping
        Valve events of each side [deg].
    """

    @property
    def rpm(self) -> float: ...

    @property
    def cylinder(self) -> int: ...

    @property
    def x(self) -> np.ndarray: ...

    @property
    def angle(self) -> np.ndarray: ...

    @property
    def pressure(self) -> np.ndarray: ...

    @property
    def joints(self) -> Sequence: ...

    @property
    def fronts(self) -> Sequence: ...

    @property
    def events(self) -> Mapping: ...


@runtime_checkable
class LoopForm(Protocol):
    """A point with the traces of its cylinders.

    Attributes
    ----------
    rpm : float
        [rev/min].
    meta : mapping
        With events and air outside.
    """

    @property
    def rpm(self) -> float: ...

    @property
    def meta(self) -> Mapping: ...

    def trace(self, quantity: str, at: str) -> TraceForm:
        """One quantity at one place against crank angle."""


@runtime_checkable
class MapForm(Protocol):
    """A quantity over one dimension and speed: see `wavesim.SpeedMap`."""

    @property
    def path(self) -> str: ...

    @property
    def unit(self) -> str: ...

    @property
    def x(self) -> np.ndarray: ...

    @property
    def rpm(self) -> np.ndarray: ...

    @property
    def quantity(self) -> str: ...

    @property
    def values(self) -> np.ndarray: ...

    @property
    def trusted(self) -> np.ndarray: ...

    @property
    def base(self) -> float: ...

    @property
    def title(self) -> str: ...

    def ridge(self, goal: str) -> tuple[np.ndarray, np.ndarray]:
        """Place of the ridge at each speed, and whether nothing that was tried is higher."""


@runtime_checkable
class SlopesForm(Protocol):
    """Slopes of a band average by dimension.

    Attributes
    ----------
    quantity : str
    band : (float, float)
        [rev/min].
    slopes : sequence
        With path, change_text, change, effect, noise and remark.
    """

    @property
    def quantity(self) -> str: ...

    @property
    def band(self) -> tuple[float, float]: ...

    @property
    def slopes(self) -> Sequence: ...


@runtime_checkable
class WayFilm(WayPicture, Protocol):
    """Pressure and velocity over a way and crank angle.

    Attributes
    ----------
    velocity : ndarray, (n_angle, n_x)
        Away from the valve [m/s].
    """

    @property
    def velocity(self) -> np.ndarray: ...


@runtime_checkable
class SoundForm(Protocol):
    """Sound at one speed: see `wavesim.Sound`.

    Attributes
    ----------
    rpm : float
        [rev/min].
    orders : ndarray, (n,)
    place : str
        Where it is heard.
    """

    @property
    def rpm(self) -> float: ...

    @property
    def orders(self) -> np.ndarray: ...

    @property
    def place(self) -> str: ...

    def order_levels(self, weighting: str) -> np.ndarray:
        """Level of each order [dB]."""

    def third_octaves(self, weighting: str) -> tuple[np.ndarray, np.ndarray]:
        """Mid-band frequencies [Hz] and levels [dB]."""


@runtime_checkable
class SoundCurveForm(SpeedCurve, Protocol):
    """A speed curve of levels, with the orders behind them: see `wavesim.SoundCurve`."""

    @property
    def orders(self) -> np.ndarray: ...

    @property
    def place(self) -> str: ...

    def order_levels(self, weighting: str) -> np.ndarray:
        """Level of each order at each speed [dB], (n_rpm, n_order)."""


@runtime_checkable
class InsertionLossForm(Protocol):
    """Differences of levels against speed [dB]: see `wavesim.InsertionLoss`."""

    @property
    def rpm(self) -> np.ndarray: ...

    @property
    def total(self) -> np.ndarray: ...

    @property
    def total_a(self) -> np.ndarray: ...

    @property
    def names(self) -> tuple[str, str]: ...

    @property
    def place(self) -> str: ...


@runtime_checkable
class ReflectionForm(Protocol):
    """Reflection coefficient against frequency.

    Attributes
    ----------
    frequency : ndarray, (n,)
        [Hz].
    coefficient : ndarray of complex, (n,)
    at : str
        The place.
    """

    @property
    def frequency(self) -> np.ndarray: ...

    @property
    def coefficient(self) -> np.ndarray: ...

    @property
    def at(self) -> str: ...



_WORDS = {
    SpeedCurve: "a speed curve such as a Sweep or a Curve",
    TracedCurve: "a Sweep whose points hold their traces",
    PulledCurve: "a MeasuredPulls, as read_pulls returns it",
    DifferenceParts: "the parts of a difference, as `contributions` returns them",
    CurveDifference: "a Comparison, as compare returns it",
    TraceForm: "a Trace",
    EchoRecord: "an Echoes, as echoes returns it",
    PairShares: "a CrossTalk, as cross_talk returns it",
    ArrivalForm: "an Arrivals, as arrivals returns it",
    BandedDifference: "a MeasuredDifference or a Prediction",
    FittedCurves: "a Fit, as fit returns it",
    WayPicture: "a WaveDiagram, as wave_diagram returns it",
    WayFilm: "a WaveDiagram, as wave_diagram returns it",
    LoopForm: "a Point with its traces",
    MapForm: "a SpeedMap, as the map of an Exploration returns it",
    SlopesForm: "a Sensitivities, as sensitivities returns it",
    ReflectionForm: "a Reflection, as reflection returns it",
    LossCurve: "a TransmissionLoss",
    SoundForm: "a Sound, as sound returns it",
    SoundCurveForm: "a SoundCurve, as sound_curve returns it",
    InsertionLossForm: "an InsertionLoss, as insertion_loss returns it",
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
        Those that are no key of `QUANTITIES` or `SOUNDS` are shown in their own unit, to four
        figures of the largest value.
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
    if quantity in QUANTITIES or quantity in SOUNDS:
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
