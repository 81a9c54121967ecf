"""Speed curves: what all of them can do, and those that were measured.

A `Sweep` is a computed curve, a `Curve` a measured one or one from elsewhere.  Comparisons and
figures ask only for the form that both have, `wavesim.show.forms.SpeedCurve`.
"""

from collections.abc import Iterable, Mapping, Sequence
from math import inf, isnan, pi
from numbers import Real
from typing import TYPE_CHECKING, Any, overload

import numpy as np

from wavesim import errors
from wavesim.constants import RPM_RANGE
from wavesim.errors import InputError, check_choice, check_kind, check_number, nearest
from wavesim.fields.description import sequence
from wavesim.fields.tabular import Column, Sheet, Tabular, data_set
from wavesim.guard import guarded
from wavesim.show.forms import shown
from wavesim.show.quantities import QUANTITIES, column_notes

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from numpy.typing import ArrayLike
    from xarray import Dataset

#: Shares of the largest power by which power and torque may disagree before a unit must be wrong.
_POWER_SLIP = 0.5


class ByName:
    """Quantities by name: as items, as attributes, and in the completion of a prompt.

    A class gives items by name, `thing["torque"]`, and says which (`_names`, unless these are its
    `quantities`); here follow `thing.torque` and `dir(thing)`.
    """

    @property
    def _names(self):
        return self.quantities

    def __getattr__(self, name: str) -> Any:
        # Python asks for private names before there are any fields, as when it unpickles.
        if not name.startswith("_") and self.__dict__:
            if name in self._names:
                return self[name]
            guess = nearest(name, dir(self))
            raise AttributeError(f"{type(self).__name__} has no quantity {name!r}{guess}")
        raise AttributeError(name)

    def __dir__(self) -> Iterable[str]:
        return [*super().__dir__(), *self._names]

    def _ipython_key_completions_(self):
        return list(self._names)


@guarded
class CurveMethods(ByName, Tabular):
    """What every speed curve can do, out of its form."""

    _index = "rpm"

    def unit(self, quantity: str) -> str:
        """SI unit of a quantity, "1" where it has none."""
        return QUANTITIES[check_choice(self._owner, "quantity", quantity, self.quantities)].unit

    def uncertainty(self, quantity: str) -> np.ndarray | None:
        """Half width of the band in which the values lie, (n,); None: it is not stated."""
        check_choice(self._owner, "quantity", quantity, self.quantities)
        return None

    def plot(
        self, ax: "Axes | None" = None, quantity: str | None = None, **line_kws: Any
    ) -> "Axes":
        """Draw torque and power, or another quantity, against engine speed.

        Parameters
        ----------
        ax : matplotlib Axes or None
            None makes a new figure.
        quantity : str or None
            One that the curve holds; None: torque and power in one chart, or the first quantity if
            it holds no torque.
        **line_kws
            For the line.

        Returns
        -------
        matplotlib Axes

        Raises
        ------
        InputError
            If there is no such quantity.
        """
        from wavesim.show import plots

        if quantity is None and {"torque", "power"} <= set(self.quantities):
            return plots.plot_power_chart(self, ax, **line_kws)
        return plots.plot_speed_curves(self, quantity or self._main, ax, **line_kws)

    def to_xarray(self) -> "Dataset":
        """The curve as an xarray Dataset along the engine speed, SI units.

        Returns
        -------
        xarray.Dataset
            Coordinate "rpm"; every variable has its unit in `attrs["units"]`.

        Raises
        ------
        ImportError
            If xarray is not installed (`pip install xarray`).
        """
        return data_set(self._columns(), self._index, self.name)

    @property
    def _owner(self):
        return type(self).__name__

    @property
    def _main(self):
        return "torque" if "torque" in self.quantities else next(iter(self.quantities))

    def _columns(self):
        columns = [Column("rpm", "rev/min", self.rpm)]
        for name in self.quantities:
            columns.append(Column(name, self.unit(name), self[name]))
            half_width = self.uncertainty(name)
            if half_width is not None:
                columns.append(Column(f"{name}_uncertainty", self.unit(name), half_width))
        return columns

    def _meanings(self):
        known = [name for name in self.quantities if name in QUANTITIES]
        return [self.name or type(self).__name__, *self.notes, *column_notes(["rpm", *known])]

    def _sheet(self):
        names = list(self.quantities)
        formats = [shown(name, self) for name in names]
        head = [["rpm", *(name.replace("_", " ") for name in names), ""],
                ["", *(one.unit for one in formats), ""]]
        columns = [[one.text(v) for v in self[name]]
                   for one, name in zip(formats, names, strict=True)]
        doubts = ["" if good else "not trusted" for good in self.trusted]
        speeds = [f"{rpm:g}" for rpm in self.rpm]
        body = map(list, zip(speeds, *columns, doubts, strict=True))
        return Sheet([*head, *body], self.name, self.notes, heads=2)


@guarded
class Curve(CurveMethods):
    """Quantities against engine speed that were measured, or that come from elsewhere.

    Everything that takes a Sweep to compare or to draw takes a Curve as well.

    Parameters
    ----------
    name : str
        For tables and figures.
    rpm : sequence of float
        Engine speeds [rev/min], 100 to 30000, strictly increasing.
    values : mapping of str to sequence of float
        Values of each quantity, as many as speeds; NaN where there is none.  Keys of `QUANTITIES`
        are in SI units: torque in N m, power in W, pressures in Pa, flows in kg/s.  Other names are
        welcome if `units` states their unit.  Of torque and power the one follows from the other.
    uncertainty : mapping of str to float or sequence of float, optional
        Half width of the band in which the values lie, in the unit of the quantity, 0 or above:
        one for all speeds, or one for each.  `notes` should say what it covers.
    units : mapping of str to str, optional
        Units of those quantities that are no keys of `QUANTITIES`, such as {"oil_pressure": "bar"};
        they are shown as they are.
    notes : str or sequence of str
        Sentences on where the values come from and what limits them; one on the speeds that are
        not to be trusted is added.
    trusted : sequence of bool, optional
        False for speeds whose values are not to be trusted, drawn with an open marker.  Default:
        all are.

    Attributes
    ----------
    name : str
    rpm : ndarray, (n,)
    quantities : tuple of str
    notes : tuple of str
    trusted : ndarray of bool, (n,)

    Raises
    ------
    InputError
        If a speed, a value, a name or a unit is wrong, or if torque and power cannot both be in SI
        units.

    Examples
    --------
    An invented pull on a dynamometer:

    >>> pull = Curve("pull 3", [3000, 4000, 5000], {"torque": [141.0, 158.5, 171.0]},
    ...              uncertainty={"torque": 2.5}, notes="Second gear, corrected to 25 degC.")
    >>> pull.torque.tolist(), round(pull[4000].power)
    ([141.0, 158.5, 171.0], 66392)
    >>> pull.uncertainty("power").round()
    array([ 785., 1047., 1309.])
    >>> pull.unit("power")
    'W'
    >>> ax = pull.plot(quantity="torque")
    """

    def __init__(
        self,
        name: str,
        rpm: "ArrayLike",
        values: "Mapping[str, ArrayLike]",
        *,
        uncertainty: "Mapping[str, ArrayLike] | None" = None,
        units: Mapping[str, str] | None = None,
        notes: str | Sequence[str] = (),
        trusted: Iterable[bool] | None = None,
    ) -> None:
        if not isinstance(name, str):
            raise InputError(f"Curve: name = {errors.shown(name)} must be a text.")
        self.name = name
        self.rpm = _speeds(self._owner, rpm)
        self.trusted = _flags(self._owner, trusted, self.rpm.size)
        self.notes = _sentences(self._owner, notes, self.rpm[~self.trusted])
        check_kind(self._owner, "units", units, Mapping, optional=True)
        self._units = _units(self._owner, values, units or {})
        self._values = {
            name: _numbers(self._owner, name, self._units[name], given, self.rpm.size)
            for name, given in values.items()
        }
        check_kind(self._owner, "uncertainty", uncertainty, Mapping, optional=True)
        self._half_widths = {}
        for quantity, given in dict(uncertainty or {}).items():
            check_choice(self._owner, "uncertainty", quantity, self._values)
            widths = np.broadcast_to(given, self.rpm.shape) if np.ndim(given) == 0 else given
            self._half_widths[quantity] = _numbers(
                self._owner, f"uncertainty of {quantity}", self._units[quantity], widths,
                self.rpm.size, low=0.0,
            )
        self._join_torque_and_power()

    def _join_torque_and_power(self):
        """Of torque and power make the one from the other; refuse a pair in wrong units."""
        omega = self.rpm * pi / 30.0  # power = torque times angular velocity
        for known, other, factor in (("torque", "power", omega), ("power", "torque", 1.0 / omega)):
            if known in self._values and other not in self._values:
                self._values[other] = _kept(factor * self._values[known])
                self._units[other] = QUANTITIES[other].unit
                if known in self._half_widths:
                    self._half_widths[other] = _kept(factor * self._half_widths[known])
        if "torque" not in self._values:
            return
        power, made = self._values["power"], omega * self._values["torque"]
        slip = np.abs(power - made)
        if np.any(slip > _POWER_SLIP * np.nanmax(np.abs([power, made]), initial=0.0)):
            i = int(np.nanargmax(slip))
            raise InputError(
                f"{self._owner}: power = {power[i]:.6g} W at {self.rpm[i]:g} rev/min does not go "
                f"with torque = {self._values['torque'][i]:.6g} N m, which makes {made[i]:.6g} W "
                "(powers are in W, torques in N m)."
            )

    @property
    def _owner(self):
        return f"Curve {self.name!r}"

    def __len__(self) -> int:
        return self.rpm.size

    def __repr__(self) -> str:
        names = ", ".join(self.quantities)
        return f"<Curve {self.name!r}: {len(self)} speeds, {names}>"

    @property
    def quantities(self) -> tuple[str, ...]:
        """Names of the quantities it holds."""
        return tuple(self._values)

    @overload
    def __getitem__(self, key: str) -> np.ndarray: ...

    @overload
    def __getitem__(self, key: float) -> "Reading": ...

    def __getitem__(self, key):
        """A quantity as an array (n,), or all quantities at a speed [rev/min] of the curve."""
        if isinstance(key, str):
            return self._values[check_choice(self._owner, "quantity", key, self._values)]
        i = place_of_speed(self._owner, key, self.rpm)
        row = {name: float(values[i]) for name, values in self._values.items()}
        return Reading(float(self.rpm[i]), row, bool(self.trusted[i]))

    def unit(self, quantity: str) -> str:
        """Unit of a quantity, "1" where it has none."""
        return self._units[check_choice(self._owner, "quantity", quantity, self._values)]

    def uncertainty(self, quantity: str) -> np.ndarray | None:
        """Half width of the band in which the values lie, (n,); None: it is not stated."""
        check_choice(self._owner, "quantity", quantity, self._values)
        return self._half_widths.get(quantity)

    def _columns(self):
        return [*super()._columns(), Column("trusted", "", self.trusted.astype(int))]


@guarded
class Reading(ByName):
    """All quantities of a curve at one speed.

    Attributes
    ----------
    rpm : float
        Engine speed [rev/min].
    values : dict
        By name of the quantity, in the unit of the curve; also as items and attributes.
    trusted : bool
        False if they are not to be trusted.

    Examples
    --------
    >>> import wavesim as ws
    >>> a = ws.Curve("short", [3000, 4000, 5000], {"torque": [141.0, 158.0, 171.0]})
    >>> b = ws.Curve("long", [3000, 4000, 5000], {"torque": [145.0, 161.0, 165.0]})
    >>> reading = a[4000]
    >>> reading.torque, reading["torque"], reading.trusted
    (158.0, 158.0, True)
    """

    def __init__(self, rpm: float, values: Mapping[str, float], trusted: bool) -> None:
        self.rpm, self.values, self.trusted = rpm, dict(values), trusted

    def __repr__(self) -> str:
        listed = ", ".join(f"{name} {value:.6g}" for name, value in self.values.items())
        return f"<Reading: {self.rpm:g} rev/min, {listed}>"

    @property
    def quantities(self) -> tuple[str, ...]:
        """Names of the quantities."""
        return tuple(self.values)

    def __getitem__(self, quantity: str) -> float:
        """Value of a quantity, in the unit of the curve."""
        return self.values[check_choice("Reading", "quantity", quantity, self.values)]


def place_of_speed(owner: str, speed: float, rpm: np.ndarray) -> int:
    """Index of a speed [rev/min] among those of a curve; InputError if it is not there."""
    if isinstance(speed, Real) and abs(speed) < 1e9:
        for i, known in enumerate(rpm):
            if abs(known - speed) < 1e-6:
                return i
    there = ", ".join(f"{known:g}" for known in rpm) or "none"
    told = errors.with_unit(speed, "rev/min")
    raise InputError(f"{owner}: no point at {told}, there are {there}.")


# --- checks ---------------------------------------------------------------------------------------


def _speeds(owner, given):
    rpm = [check_number(owner, "rpm", speed, "rev/min", *RPM_RANGE)
           for speed in sequence(owner, "rpm", given, "speeds in rev/min")]
    if not rpm:
        raise InputError(f"{owner}: rpm = [] is empty, needs at least one speed in rev/min.")
    for slow, fast in zip(rpm, rpm[1:], strict=False):
        if fast <= slow:
            raise InputError(
                f"{owner}: rpm = {fast:g} rev/min follows {slow:g} rev/min, speeds must increase "
                "strictly."
            )
    return _kept(rpm)


def _flags(owner, given, count):
    if given is None:
        return _kept(np.ones(count, dtype=bool))
    flags = sequence(owner, "trusted", given, "True and False")
    if len(flags) != count or not all(isinstance(flag, (bool, np.bool_)) for flag in flags):
        raise InputError(f"{owner}: trusted must hold {count} times True or False, as rpm speeds.")
    return _kept(flags)


def _sentences(owner, notes, doubtful):
    notes = (notes,) if isinstance(notes, str) else sequence(owner, "notes", notes, "texts")
    if not all(isinstance(note, str) for note in notes):
        raise InputError(
            f"{owner}: notes = {errors.shown(notes)} must be a text or a sequence of texts."
        )
    speeds = ", ".join(f"{rpm:g}" for rpm in doubtful)
    return (*notes, f"Not to be trusted at {speeds} rev/min.") if speeds else notes


def _units(owner, values, stated):
    """Unit of every quantity: that of QUANTITIES, else the one that was stated."""
    if not isinstance(values, Mapping) or not values:
        raise InputError(
            f"{owner}: values = {errors.shown(values)} must map names of quantities to values."
        )
    for name, unit in stated.items():
        check_choice(owner, "units", name, values)
        if name in QUANTITIES and unit != QUANTITIES[name].unit:
            raise InputError(
                f"{owner}: unit of {name} = {unit!r} must be {QUANTITIES[name].unit!r}, in which "
                "the library has it."
            )
    units = {}
    for name in values:
        if name not in QUANTITIES and name not in stated:
            raise InputError(
                f"{owner}: {name!r} is no key of QUANTITIES, its unit must stand in `units`"
                f"{nearest(name, QUANTITIES)}"
            )
        units[name] = stated[name] if name in stated else QUANTITIES[name].unit
    return units


def _numbers(owner, name, unit, given, count, low=-inf):
    """Numbers, as many as speeds, as an array that cannot be written to; NaN may stand there."""
    values = sequence(owner, name, given, f"numbers [{unit}]")
    if len(values) != count:
        raise InputError(f"{owner}: {name} has {len(values)} values for {count} speeds.")
    return _kept([
        value if isinstance(value, (float, np.floating)) and isnan(value)
        else check_number(owner, name, value, unit, low, inf)
        for value in values
    ])


def _kept(values):
    """Array that cannot be written to."""
    array = np.array(values)
    array.flags.writeable = False
    return array


def mean_over(x, y, low, high):
    """Mean over x of the line through the points, from `low` to `high`."""
    inside = x[(x > low) & (x < high)]
    places = np.concatenate([[low], inside, [high]])
    heights = np.interp(places, x, y)
    return float(0.5 * np.diff(places) @ (heights[1:] + heights[:-1]) / (high - low))
