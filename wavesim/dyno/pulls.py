"""Pulls on a dynamometer: several of one system as one curve with its mean and its scatter.

A pull is a curve of what was measured, `wavesim.Curve`.  Several of one system are read on common
speeds and make a `MeasuredPulls`, which has the form of a speed curve itself: whatever compares or
draws computed sweeps takes it as well.  Its band is that of the mean at one speed, from the scatter
between the pulls by Student's t.  Whether two systems differ is a question of its own, for which
drift over the session and all speeds together count: `wavesim.dyno.repeat.measured_difference`.
"""

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Literal, overload

import numpy as np
from numpy.typing import ArrayLike

from wavesim.constants import RPM_RANGE
from wavesim.dyno.logfile import read_log, wanted_columns
from wavesim.dyno.rows import curves_of, gaps
from wavesim.errors import InputError, as_floats, check_choice, check_kind, check_number
from wavesim.fields.description import check_text, sequence
from wavesim.fields.tabular import Column
from wavesim.guard import guarded
from wavesim.results.curves import Curve, CurveMethods, Reading, place_of_speed
from wavesim.show.forms import SpeedCurve, check_forms

#: Confidence of the band of the mean.
LEVEL = 0.95
#: Distances of common speeds [rev/min].
_STEPS = (5, 10, 20, 25, 50, 100, 200, 250, 500, 1000, 2000)
_MOST_SPEEDS = 60
_FITTED = 5  # rows about a common speed through which a parabola is laid
_SLACK = 0.1  # share of a step by which a pull may miss the first and the last common speed


@guarded
def read_pulls(
    paths: str | Path | Sequence[str | Path],
    columns: Mapping[str, str | tuple[str, str]],
    *,
    name: str = "",
    direction: Literal["up", "down", "all"] | None = None,
    decimal: Literal[".", ","] | None = None,
    rpm: ArrayLike | None = None,
    order: Sequence[float] | None = None,
) -> "MeasuredPulls":
    """Measured pulls of one system from CSV files.

    Cells are separated by commas, semicolons, tabs or upright strokes; decimals by points or
    commas.  Lines above the header and empty ones are passed over, and those that begin with "#",
    "//" or "%".  Below the header a row of units may stand; it is held against the stated units.

    Parameters
    ----------
    paths : str, Path, or sequence of them
        One file for each pull, in the order in which they were made.
    columns : mapping of str to str or (str, str)
        Heading of the column and its unit, by quantity.  "rpm" must be there and one of
        `wavesim.QUANTITIES` at least, such as "torque", "power", "air_fuel_lambda",
        "air_fuel_ratio", "fuel_mass_flow", "air_mass_flow", "back_pressure" (gauge) and
        "exhaust_temperature"; "barometer", "inlet_air_temperature" and "relative_humidity" are
        known as well.  Units are written as usual: "N m", "Nm", "lb ft", "kW", "hp", "PS" (metric),
        "mbar", "degC", "kg/h", "%", "rev/s".  A heading alone is enough where the file states the
        unit, and for what has none.  Other names are welcome with a unit, in which they stay.
    name : str
        Of the system; empty: the name of the first file.
    direction : {"up", "down", "all"} or None
        Of a file with several sweeps, each that rises or falls becomes a pull, or all rows
        together one; None: a file must hold one sweep.
    decimal : {".", ","} or None
        Mark before the decimals; None: what the numbers show.
    rpm : array_like or None
        Common speeds [rev/min]; None: as for `MeasuredPulls`.
    order : sequence of float or None
        When each pull was made: numbers in the session, or times.

    Returns
    -------
    MeasuredPulls
        All in SI units; `notes` say what was odd about the files: gaps, repeated rows, falling
        speeds, power that does not go with torque.

    Raises
    ------
    InputError
        If a file or a column cannot be read, a unit is unknown or must be wrong, a file holds
        several sweeps and no direction was given, or one pull is a copy of another.

    Notes
    -----
    Power in the file is held against torque times speed.  Where both are given, torque in lb ft
    under "N m", power in hp under "kW" and speeds in rev/s under "rpm" are refused; of torque alone
    nobody can tell.  A dynamometer may correct what it writes: whether these numbers are corrected
    already only the user knows.

    Examples
    --------
    >>> import tempfile
    >>> text = "Speed;Torque;Baro\\n1/min;Nm;mbar\\n3000;141,0;990\\n4000;158,5;990\\n"
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = Path(folder) / "pull.csv"
    ...     _ = path.write_text(text)
    ...     pulls = read_pulls(path, {"rpm": "Speed", "torque": ("Torque", "N m"),
    ...                               "barometer": "Baro"}, name="open")
    >>> pulls.torque.tolist(), pulls["barometer"].tolist()
    ([141.0, 158.5], [99000.0, 99000.0])
    """
    owner = "read_pulls"
    if direction is not None:
        check_choice(owner, "direction", direction, ("up", "down", "all"))
    if decimal is not None:
        check_choice(owner, "decimal", decimal, (".", ","))
    wanted = wanted_columns(owner, columns)
    paths = [paths] if isinstance(paths, (str, Path)) else sequence(owner, "paths", paths, "files")
    if not paths:
        raise InputError(f"{owner}: paths = [] must hold one file at least.")
    curves, stems = [], []
    for path in paths:
        log = read_log(path, wanted, decimal)
        stems.append(Path(path).stem)
        again = f" ({stems.count(stems[-1])})" if stems.count(stems[-1]) > 1 else ""
        curves += curves_of(log, stems[-1] + again, direction)
    name = check_text(owner, "name", name) or Path(paths[0]).stem
    return MeasuredPulls(name, curves, rpm=rpm, order=order)


@guarded
def demo_pulls(system: str = "short collector") -> list[Path]:
    """Files of invented pulls that come with the package.

    Nobody measured them: they are computed for an engine that is a little different from that of
    the study "collector", and disturbed by weather, scatter and drift (`notebooks/pulls.py`).

    Parameters
    ----------
    system : {"short collector", "long collector"}
        Both were pulled in turn, the short one first.

    Returns
    -------
    list of Path
        In the order of the session.

    Raises
    ------
    InputError
        If there is no such system.

    Examples
    --------
    >>> [path.name for path in demo_pulls("long collector")][:2]
    ['2_long_collector.csv', '4_long_collector.csv']
    >>> pulls = read_pulls(demo_pulls("long collector"), {
    ...     "rpm": "Engine speed", "torque": ("Torque", "N m"), "power": ("Power", "kW")})
    >>> len(pulls.pulls), pulls.rpm[[0, -1]].tolist()
    (4, [2000.0, 7000.0])
    """
    folder = Path(__file__).parents[1] / "data" / "pulls"
    found = {}
    for path in sorted(folder.glob("[0-9]*.csv")):
        found.setdefault(path.stem.partition("_")[2].replace("_", " "), []).append(path)
    return found[check_choice("demo_pulls", "system", system, found)]


@guarded
class MeasuredPulls(CurveMethods):
    """Several pulls of one system: mean and scatter on common speeds.

    Everything that takes a Sweep to compare or to draw takes it as well.

    Parameters
    ----------
    name : str
        Of the system, for tables and figures.
    pulls : sequence of Curve
        In the order in which they were made; one at least.
    rpm : array_like or None
        Common speeds [rev/min], increasing, which all pulls cover.  None: the speeds of the pulls
        if these are the same, else round numbers as far apart as the rows of the pulls, sixty at
        most.
    order : sequence of float or None
        When each pull was made, as `measured_difference` takes it.
    notes : sequence of str
        Further sentences.

    Attributes
    ----------
    name : str
    rpm : ndarray, (m,)
        Common speeds [rev/min].
    pulls : tuple of Curve
        As they were read, on their own speeds.
    order : tuple of float or None
    quantities : tuple of str
        What all pulls hold.
    trusted : ndarray of bool, (m,)
        False where a pull has a gap, or is not trusted itself.
    notes : tuple of str

    Raises
    ------
    InputError
        If pulls share no speeds or no quantity, hold one in two units, or one is a copy of
        another.

    Notes
    -----
    Between its rows a pull is a straight line.  Where it has five rows or more within half a step
    of a common speed, the parabola that fits these best is read there instead, so that noise from
    row to row averages out and a peak stays as high as it is.

    `uncertainty` is half the width of the 95 % confidence interval of the mean at one speed, by
    Student's t from the standard deviation between the pulls, as if they were independent: drift
    over the session makes it too small or too large.

    Examples
    --------
    >>> first = Curve("first", [3000, 4000, 5000], {"torque": [141.0, 158.5, 171.0]})
    >>> second = Curve("second", [3000, 4000, 5000], {"torque": [143.0, 159.5, 170.0]})
    >>> pulls = MeasuredPulls("open", [first, second])
    >>> pulls.torque.tolist()
    [142.0, 159.0, 170.5]
    >>> pulls.scatter("torque").round(2).tolist()
    [1.41, 0.71, 0.71]
    >>> pulls.by_pull("torque", [3500.0]).round(2).tolist()
    [[149.75], [151.25]]
    >>> pulls.unit("torque"), bool(np.all(pulls.uncertainty("torque") > 0.0))
    ('N m', True)
    >>> pulls.without("second").torque.tolist()
    [141.0, 158.5, 171.0]
    >>> pulls.changed(lambda pull: pull).torque.tolist() == pulls.torque.tolist()
    True
    >>> ax = pulls.plot(quantity="torque")
    """

    def __init__(
        self,
        name: str,
        pulls: Sequence[Curve],
        *,
        rpm: ArrayLike | None = None,
        order: Sequence[float] | None = None,
        notes: Sequence[str] = (),
    ) -> None:
        self.name = check_text("MeasuredPulls", "name", name)
        curves = check_forms(self._owner, "pulls", pulls, SpeedCurve)
        self.pulls = tuple(check_kind(self._owner, "pulls", curve, Curve) for curve in curves)
        for pull in self.pulls:
            if len(pull) < 2:
                raise InputError(f"{self._owner}: the pull {pull.name!r} holds one speed, needs 2 "
                                 "at least.")
        self._units = self._shared_units()
        self._refuse_copies()
        self.rpm = _frozen(_common_speeds(self._owner, self.pulls) if rpm is None
                           else self._checked_speeds(rpm))
        self.order = self._checked_order(order)
        self._by_pull = {name: self.by_pull(name, self.rpm) for name in self._units}
        self.trusted = _frozen(np.all([_trusted(pull, self.rpm) for pull in self.pulls], axis=0))
        self._stated_notes = tuple(sequence(self._owner, "notes", notes, "texts"))
        self.notes = (*self._stated_notes, *self._own_notes())

    @property
    def _owner(self):
        return f"MeasuredPulls {self.name!r}"

    def __repr__(self) -> str:
        count = f"{len(self.pulls)} pull" + ("s" if len(self.pulls) > 1 else "")
        names = ", ".join(self.quantities)
        return f"<MeasuredPulls {self.name!r}: {count}, {self.rpm.size} speeds, {names}>"

    def __len__(self) -> int:
        return self.rpm.size

    @property
    def quantities(self) -> tuple[str, ...]:
        """Names of the quantities that all pulls hold."""
        return tuple(self._units)

    @overload
    def __getitem__(self, key: str) -> np.ndarray: ...

    @overload
    def __getitem__(self, key: float) -> Reading: ...

    def __getitem__(self, key):
        """Mean of a quantity (m,), or the means of all quantities at a common speed [rev/min]."""
        if isinstance(key, str):
            return _frozen(self._known(key).mean(axis=0))
        i = place_of_speed(self._owner, key, self.rpm)
        row = {name: float(values[:, i].mean()) for name, values in self._by_pull.items()}
        return Reading(float(self.rpm[i]), row, bool(self.trusted[i]))

    def unit(self, quantity: str) -> str:
        """Unit of a quantity, "1" where it has none."""
        return self._units[check_choice(self._owner, "quantity", quantity, self._units)]

    def scatter(self, quantity: str) -> np.ndarray | None:
        """Standard deviation between the pulls, (m,); None for a single pull."""
        values = self._known(quantity)
        return values.std(axis=0, ddof=1) if len(values) > 1 else None

    def uncertainty(self, quantity: str) -> np.ndarray | None:
        """Half width of the 95 % interval of the mean at one speed, (m,); None for one pull."""
        from scipy.special import stdtrit

        scatter = self.scatter(quantity)
        if scatter is None:
            return None
        n = len(self.pulls)
        return stdtrit(n - 1, 0.5 + 0.5 * LEVEL) * scatter / np.sqrt(n)

    def by_pull(self, quantity: str, rpm: ArrayLike | None = None) -> np.ndarray:
        """A quantity of every pull by itself.

        Parameters
        ----------
        quantity : str
            One that all pulls hold.
        rpm : array_like or None
            Speeds [rev/min] that all pulls cover; None: the common speeds.

        Returns
        -------
        ndarray, (n_pull, m)
            In the order of the pulls.

        Raises
        ------
        InputError
            If there is no such quantity, or a pull does not cover the speeds.
        """
        check_choice(self._owner, "quantity", quantity, self._units)
        speeds = self.rpm if rpm is None else self._checked_speeds(rpm)
        return np.array([_read(pull, quantity, speeds) for pull in self.pulls])

    def without(self, *names: str) -> "MeasuredPulls":
        """The same without some pulls, such as one in which a hose came off.

        Parameters
        ----------
        *names : str
            Of the pulls.

        Returns
        -------
        MeasuredPulls

        Raises
        ------
        InputError
            If there is no such pull, or none would be left.
        """
        known = [pull.name for pull in self.pulls]
        gone = {check_choice(self._owner, "pull", name, known) for name in names}
        kept = [i for i, name in enumerate(known) if name not in gone]
        order = None if self.order is None else [self.order[i] for i in kept]
        return MeasuredPulls(self.name, [self.pulls[i] for i in kept], order=order,
                             notes=self._stated_notes)

    def changed(self, change: Callable[[Curve], Curve]) -> "MeasuredPulls":
        """The same after a change of every pull, read on the same speeds.

        Parameters
        ----------
        change : callable
            Makes the new Curve of a pull out of the old one.

        Returns
        -------
        MeasuredPulls
        """
        return MeasuredPulls(self.name, [change(pull) for pull in self.pulls], rpm=self.rpm,
                             order=self.order, notes=self._stated_notes)

    def _known(self, quantity):
        return self._by_pull[check_choice(self._owner, "quantity", quantity, self._by_pull)]

    def _columns(self):
        columns = super()._columns()
        if len(self.pulls) > 1:
            columns += [Column(f"{name}_scatter", self.unit(name), self.scatter(name))
                        for name in self.quantities]
        return [*columns, Column("trusted", "", self.trusted.astype(int))]

    # --- checks -----------------------------------------------------------------------------------

    def _refuse_copies(self):
        for i, pull in enumerate(self.pulls):
            for other in self.pulls[:i]:
                if _is_copy(pull, other):
                    raise InputError(f"{self._owner}: the pull {pull.name!r} is a copy of "
                                     f"{other.name!r}, which would make the scatter too small.")

    def _shared_units(self):
        """Units of the quantities that all pulls hold."""
        units = {}
        for name in self.pulls[0].quantities:
            held = [pull for pull in self.pulls if name in pull.quantities]
            if len(held) < len(self.pulls):
                continue
            found = {pull.unit(name) for pull in held}
            if len(found) > 1:
                raise InputError(f"{self._owner}: {name!r} is held in {' and '.join(sorted(found))}"
                                 ", must be in one unit.")
            units[name] = found.pop()
        if not units:
            raise InputError(f"{self._owner}: the pulls share no quantity.")
        return units

    def _checked_speeds(self, rpm):
        speeds = as_floats(self._owner, "rpm", rpm)
        if speeds.ndim != 1 or speeds.size < 1 or not np.all(np.diff(speeds) > 0.0):
            raise InputError(f"{self._owner}: rpm must hold increasing speeds in rev/min.")
        low, high = _covered(self.pulls)
        slack = _SLACK * (np.diff(speeds).min() if speeds.size > 1 else 0.0)
        for speed in (speeds[0], speeds[-1]):
            check_number(self._owner, "rpm", float(speed), "rev/min",
                         max(low - slack, RPM_RANGE[0]), high + slack, hint="all pulls cover that")
        return speeds

    def _checked_order(self, order):
        if order is None:
            return None
        found = as_floats(self._owner, "order", order)
        if found.shape != (len(self.pulls),) or not np.all(np.isfinite(found)):
            raise InputError(f"{self._owner}: order must hold {len(self.pulls)} numbers, one for "
                             "each pull.")
        return tuple(found.tolist())

    def _own_notes(self):
        """What is odd about some pulls, each sentence once, and what the band means."""
        pulls_of = {}
        for pull in self.pulls:
            for note in pull.notes:
                pulls_of.setdefault(note, []).append(pull.name)
        notes = []
        for note, names in pulls_of.items():
            shared = len(names) == len(self.pulls)
            notes.append(note if shared else f"{_listed(names)}: {note}")
        some = {name for pull in self.pulls for name in pull.quantities} - set(self._units)
        if some:
            notes.append(f"Not in every pull and left out: {', '.join(sorted(some))}.")
        n = len(self.pulls)
        notes.append(
            f"Mean of {n} pulls; its band covers the scatter between them (95 % at one speed), not "
            "what all of them share." if n > 1 else "One pull: its scatter is not known."
        )
        return notes


# --- arithmetic -----------------------------------------------------------------------------------


def _listed(names):
    more = f" and {len(names) - 3} more" if len(names) > 3 else ""
    return ", ".join(names[:3]) + more


def _frozen(array):
    array = np.array(array)
    array.flags.writeable = False
    return array


def _is_copy(a, b):
    if a.rpm.shape != b.rpm.shape or set(a.quantities) != set(b.quantities):
        return False
    if len(a) < 3 or not np.array_equal(a.rpm, b.rpm):
        return False
    return all(np.array_equal(a[name], b[name], equal_nan=True) for name in a.quantities)


def _covered(pulls):
    return max(float(p.rpm[0]) for p in pulls), min(float(p.rpm[-1]) for p in pulls)


def _common_speeds(owner, pulls):
    """Speeds of the pulls if they are the same, else round ones that all cover."""
    if all(np.array_equal(pull.rpm, pulls[0].rpm) for pull in pulls) and (
        len(pulls[0]) <= 2 * _MOST_SPEEDS
    ):
        return pulls[0].rpm
    low, high = _covered(pulls)
    spans = " and ".join(f"{p.name!r} {p.rpm[0]:.0f} to {p.rpm[-1]:.0f}" for p in pulls[:2])
    if not low < high:
        raise InputError(f"{owner}: the pulls share no range of speed, {spans} rev/min.")
    usual = float(np.median([np.median(np.diff(pull.rpm)) for pull in pulls]))
    least = max(0.9 * usual, (high - low) / _MOST_SPEEDS)
    step = next((step for step in _STEPS if step >= least), _STEPS[-1])
    first, last = np.ceil(low / step - _SLACK), np.floor(high / step + _SLACK)
    speeds = step * np.arange(first, last + 1.0)
    return speeds if speeds.size > 1 else np.array([low, high])


def _trusted(pull, rpm):
    """True where a pull is to be trusted: not in a gap nor beside a doubtful row."""
    good = np.interp(rpm, pull.rpm, pull.trusted.astype(float)) == 1.0
    for low, high in gaps(pull.rpm):
        good &= (rpm <= low) | (rpm >= high)
    return good


def _read(pull, quantity, speeds):
    """A quantity of a pull at some speeds: see the notes of `MeasuredPulls`."""
    there = ~np.isnan(pull[quantity])
    rpm, y = pull.rpm[there], pull[quantity][there]
    if rpm.size == 0:
        return np.full(speeds.size, np.nan)
    half = 0.5 * np.diff(speeds).min() if speeds.size > 1 else 0.0
    found = np.interp(speeds, rpm, y)
    slack = 2.0 * _SLACK * half
    found[(speeds < rpm[0] - slack) | (speeds > rpm[-1] + slack)] = np.nan
    starts = np.searchsorted(rpm, speeds - half, "left")
    stops = np.searchsorted(rpm, speeds + half, "right")
    for i in np.flatnonzero(stops - starts >= _FITTED):
        near = slice(starts[i], stops[i])
        powers = ((rpm[near] - speeds[i]) / half)[:, None] ** np.arange(3)
        found[i] = np.linalg.lstsq(powers, y[near], rcond=None)[0][0]
    return found


