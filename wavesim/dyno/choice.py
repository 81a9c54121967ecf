"""Which of many variants: what each gives and costs, and those that none of the others beats.

A variant is dominated if another is at least as good in every aim and better in one.  Those that
are not make up the non-dominated set, after Pareto: whoever wants more of one aim must give away
some of another.
"""

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from wavesim.descriptions.exhaust import Exhaust
from wavesim.dyno.sound_curve import sound_curve
from wavesim.errors import InputError, check_choice, check_kind
from wavesim.fields.description import check_text, sequence
from wavesim.fields.tabular import Column, Sheet, Tabular
from wavesim.guard import guarded
from wavesim.many.explore import AMOUNTS, Exploration, checked_band
from wavesim.results.bill import bill
from wavesim.results.curves import mean_over
from wavesim.results.points import Sweep
from wavesim.show.quantities import display, rows_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes

#: What is aimed at unless it is said, as far as it is known.
AIMS = ("torque", "mass", "sound_level_a")
MOST_AIMS = 3  # that a figure can show
_OF_BILL = ("mass", "length")
_MARK = "*"


@guarded
class Measure(NamedTuple):
    """What variants are held against.

    Attributes
    ----------
    label : str
        Words.
    unit : str
        SI unit.
    goal : str
        "largest" or "smallest"; empty where neither is better.
    shown : (str, float, int)
        Unit for people, its factor from the SI unit, and digits after the point.
    head : (str, str)
        Two lines of heading in tables.

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> single = study.engine.replace(firing_order=(1,))
    >>> header = ws.Exhaust(primary=ws.Pipe("700 mm", "40 mm"), merge=None)
    >>> settings = ws.Settings(cell_length=0.05, tolerance=0.02)
    >>> found = ws.explore(single, header, {"exhaust.primary.length": [0.5, 0.9]}, [4500],
    ...                    settings=settings, progress=False)
    >>> mass = ws.choice(found).measures["mass"]
    >>> mass.label, mass.unit, mass.text(2.5)
    ('mass of tubes and silencers', 'kg', '2.50')
    """

    label: str
    unit: str
    goal: str
    shown: tuple[str, float, int]
    head: tuple[str, str]

    @property
    def axis(self) -> str:
        """Label of an axis, with what is better."""
        unit = f" [{self.shown[0]}]" if self.shown[0] else ""
        better = {"largest": ", more is better", "smallest": ", less is better"}.get(self.goal, "")
        return f"{self.label}{unit}{better}"

    def text(self, value: float) -> str:
        """A value in SI units as people read it, without its unit."""
        return "-" if math.isnan(value) else f"{self.shown[1] * value:.{self.shown[2]}f}"


@guarded
class Choice(Tabular):
    """Variants, what they give and cost, and which of them none of the others beats.

    Attributes
    ----------
    names : tuple of str
        Of the variants, in the order they were given.
    measures : dict
        Measure by name; `found["mass"]` is an array (n,) in SI units, NaN where it is not known.
    aims : tuple of str
        Measures in which the non-dominated set is sought.
    trusted : ndarray of bool, (n,)
        True where every speed converged.
    notes : tuple of str
        Sentences on what is not known.

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> single = study.engine.replace(firing_order=(1,))
    >>> header = ws.Exhaust(primary=ws.Pipe("700 mm", "40 mm"), merge=None)
    >>> settings = ws.Settings(cell_length=0.05, tolerance=0.02)
    >>> found = ws.explore(single, header, {"exhaust.primary.length": [0.5, 0.9]}, [3500, 4500],
    ...                    settings=settings, progress=False)
    >>> pick = ws.choice(found)
    >>> aims = ("peak_torque", "mass")
    >>> pick.front(aims).shape, len(pick.best(aims)) > 0
    ((2,), True)
    >>> len(pick.table().splitlines()) > 2
    True
    >>> ax = pick.plot(aims=aims)
    """

    measures: dict[str, Measure]
    _index = "variant"

    def __init__(
        self,
        names: Sequence[str],
        measures: Mapping[str, Measure],
        values: Mapping[str, np.ndarray],
        *,
        aims: Sequence[str],
        trusted: np.ndarray,
        notes: Sequence[str] = (),
    ) -> None:
        self.names, self.measures = tuple(names), dict(measures)
        self._values = {name: np.asarray(values[name], dtype=float) for name in measures}
        self.trusted, self.notes = np.asarray(trusted, dtype=bool), tuple(notes)
        self.aims = self._checked_aims(aims)

    def __len__(self) -> int:
        return len(self.names)

    def __getitem__(self, measure: str) -> np.ndarray:
        """Values of a measure in SI units, (n,)."""
        return self._values[check_choice("Choice", "measure", measure, self.measures)]

    def __repr__(self) -> str:
        return (f"<Choice: {int(self.front().sum())} of {len(self)} variants are beaten by no "
                f"other in {', '.join(self.aims)}>")

    def _checked_aims(self, aims):
        aims = tuple(sequence("Choice", "aims", aims, "names of measures"))
        for aim in aims:
            check_choice("Choice", "aim", aim, self.measures)
            if not self.measures[aim].goal:
                raise InputError(f"Choice: {aim!r} cannot be aimed at: neither more nor less of it "
                                 "is better.")
        if not aims or len(set(aims)) < len(aims):
            raise InputError("Choice: aims must name one measure at least, each once.")
        return aims

    def front(self, aims: Sequence[str] | None = None) -> np.ndarray:
        """Which variants are not dominated.

        Parameters
        ----------
        aims : sequence of str or None
            Measures that count; None: `aims`.

        Returns
        -------
        ndarray of bool, (n,)
            False too for variants of which an aim is not known.

        Raises
        ------
        InputError
            If there is no such measure, or neither more nor less of it is better.
        """
        aims = self.aims if aims is None else self._checked_aims(aims)
        signs = [1.0 if self.measures[aim].goal == "largest" else -1.0 for aim in aims]
        return non_dominated(np.column_stack(
            [sign * self[aim] for sign, aim in zip(signs, aims, strict=True)]))

    def best(self, aims: Sequence[str] | None = None) -> tuple[str, ...]:
        """Names of the variants that are not dominated, by the first aim; raises as `front`."""
        aims = self.aims if aims is None else self._checked_aims(aims)
        kept = np.flatnonzero(self.front(aims))
        sign = -1.0 if self.measures[aims[0]].goal == "largest" else 1.0
        return tuple(self.names[i] for i in kept[np.argsort(sign * self[aims[0]][kept],
                                                             kind="stable")])

    def table(self) -> str:
        """Text table of all variants; a star stands before those that are not dominated."""
        return "\n".join([rows_text(self._rows()), "", *self._sentences()])

    def plot(
        self, ax: "Axes | None" = None, aims: Sequence[str] | None = None, **marker_kws: Any
    ) -> "Axes":
        """Draw the variants over two or three aims, the non-dominated ones named.

        Parameters
        ----------
        ax : matplotlib Axes or None
            None makes a new figure.
        aims : sequence of str or None
            Two or three measures; the third becomes the shade of the dots.  None: the first three
            of `aims`.  Designs of an exploration are named by their numbers.
        **marker_kws
            For all dots.

        Returns
        -------
        matplotlib Axes

        Raises
        ------
        InputError
            If there are not two or three aims, or as `front`.
        """
        from wavesim.show import plots

        aims = self.aims[:MOST_AIMS] if aims is None else self._checked_aims(aims)
        if not 2 <= len(aims) <= MOST_AIMS:
            raise InputError(f"Choice: aims = {', '.join(aims)} must be two or three to be drawn.")
        columns = {self.measures[aim].axis: self.measures[aim].shown[1] * self[aim]
                   for aim in aims}
        down = [self.measures[aim].goal == "smallest" for aim in aims]
        short = [name.partition(":")[0] for name in self.names]  # the number of a design
        return plots.plot_front(columns, self.front(aims), short, down, self.trusted, ax,
                                **marker_kws)

    def _columns(self):
        yield Column("variant", "", list(self.names))
        for name, measure in self.measures.items():
            yield Column(name, measure.unit, self[name])
        yield Column("not_dominated", "", self.front().astype(int))
        yield Column("converged", "", self.trusted.astype(int))

    def _meanings(self):
        for name, measure in self.measures.items():
            yield f"{name} [{measure.unit}]: {measure.label}"
        yield from self._sentences()

    def _sentences(self):
        goals = [f"{aim} ({self.measures[aim].goal})" for aim in self.aims]
        said = f"{_MARK}: no other variant is at least as good in all of {', '.join(goals)} and " \
               "better in one."
        return [said, *self.notes]

    def _rows(self):
        front = self.front()
        shown = self.measures.values()
        heads = [["", "variant", *(m.head[0] for m in shown), ""],
                 ["", "", *(m.head[1] for m in shown), ""],
                 ["", "", *(m.shown[0] for m in shown), ""]]
        body = []
        for i, name in enumerate(self.names):
            cells = [one.text(self[key][i]) for key, one in self.measures.items()]
            doubt = "" if self.trusted[i] else "not converged"
            body.append([_MARK if front[i] else "", name, *cells, doubt])
        return [*heads, *body]

    def _sheet(self):
        return Sheet(self._rows(), "variants", self._sentences(), heads=3)


def non_dominated(values: np.ndarray) -> np.ndarray:
    """Which rows no other row beats, more being better in every column.

    Parameters
    ----------
    values : ndarray, (n, k)

    Returns
    -------
    ndarray of bool, (n,)
        False for rows with NaN; of rows that are alike all or none are kept.

    Examples
    --------
    >>> non_dominated(np.array([[1.0, 3.0], [2.0, 2.0], [1.0, 2.0]])).tolist()
    [True, True, False]
    """
    known = np.isfinite(values).all(axis=1)
    kept = known.copy()
    rivals = values[known]
    for i in np.flatnonzero(known):
        above = rivals >= values[i]
        kept[i] = not np.any(above.all(axis=1) & (rivals > values[i]).any(axis=1))
    return kept


@guarded
def choice(
    variants: Exploration | Mapping[str, Sweep],
    *,
    bands: Sequence[tuple[float, float]] | None = None,
    aims: Sequence[str] | None = None,
    distance: float = 0.5,
    ground: bool = True,
) -> Choice:
    """Hold variants against one another: averages, peaks, mass, length, back pressure, sound.

    Parameters
    ----------
    variants : Exploration, or mapping of str to Sweep
        Of one engine.  An exploration keeps no traces, so that the sound of its designs is not
        known, and only the quantities that it was told to keep.
    bands : sequence of (float, float) or None
        Bands of speed (low, high) [rev/min] to average torque and power over, within the speeds of
        all variants.  None: that range in three equal parts.
    aims : sequence of str or None
        Measures in which to seek the non-dominated set.  None: mean torque, mass and sound level,
        as far as they are known.
    distance, ground
        For the sound, as for `sound`.

    Returns
    -------
    Choice
        Its measures: "torque" and "power", averages over all speeds, and over each band, such as
        "torque 3000 to 4000"; "peak_torque" and "peak_power" with their speeds
        "peak_torque_rpm" and "peak_power_rpm"; "back_pressure", average over all speeds; "mass"
        and "length" of the bill; "sound_level_a", mean over speed.

    Raises
    ------
    InputError
        If there is no variant, they share no range of speed, or a name is wrong.

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> coarse = ws.Settings(cell_length=0.05, tolerance=0.02)
    >>> found = ws.explore(study.engine, study.exhausts["short collector"],
    ...                    {"exhaust.primary.length": [0.6, 1.0]}, [3000, 4500], settings=coarse,
    ...                    progress=False)
    >>> ws.choice(found).aims
    ('torque', 'mass')
    """
    if isinstance(variants, Exploration):
        names = [f"{i}: {design.name}" for i, design in enumerate(variants)]
        curves, amounts = list(variants), [design.amounts for design in variants]
        notes = ["Sound is not known, for an exploration keeps no traces: sweep the designs that "
                 "are left and give these sweeps."]
    else:
        check_kind("choice", "variants", variants, Mapping)
        names, curves = [check_text("choice", "name", name) for name in variants], []
        for name, sweep in variants.items():
            curves.append(check_kind("choice", f"variants[{name!r}]", sweep, Sweep))
        amounts, notes = [_amounts(sweep) for sweep in curves], []
    curves_with = [curve for curve in curves if len(curve.rpm)]
    if not curves_with:
        raise InputError("choice: variants is empty, needs one with a speed at least.")
    low = max(curve.rpm[0] for curve in curves_with)
    high = min(curve.rpm[-1] for curve in curves_with)
    if low > high:
        raise InputError("choice: the variants share no range of speed.")
    measures, values = _of_curves(curves, _bands(bands, low, high), (low, high))
    for name in _OF_BILL:
        label, unit = AMOUNTS[name]
        measures[name] = Measure(label, unit, "smallest", (unit, 1.0, 2), (name, ""))
        values[name] = [one.get(name, math.nan) for one in amounts]
    levels = [_level(curve, distance, ground) for curve in curves]
    if np.isfinite(levels).any():
        label = f"mean A-weighted level at {distance:g} m"
        shown = display("sound_level_a")[1:]
        measures["sound_level_a"] = Measure(label, "dB", "smallest", shown, ("sound", "mean"))
        values["sound_level_a"] = levels
        notes = ["Sound is that of the flow at the open ends: flow noise and shell noise are not "
                 "in it."]
    known = [name for name in AIMS if name in measures and np.isfinite(values[name]).any()]
    trusted = [len(curve.rpm) > 0 and bool(np.all(curve.trusted)) for curve in curves]
    return Choice(names, measures, values, aims=aims or known, trusted=trusted, notes=notes)


def _bands(bands, low, high):
    if bands is None:
        edges = np.linspace(low, high, 4).tolist()
        return list(zip(edges, edges[1:], strict=False)) if high > low else []
    return [checked_band(band, (low, high))
            for band in sequence("choice", "bands", bands, "pairs of speeds [rev/min]")]


def _of_curves(curves, bands, whole):
    """Measures that are read off speed curves, and their values."""
    measures, values = {}, {}
    for name, goal in (("torque", "largest"), ("power", "largest"), ("back_pressure", "smallest")):
        if not all(name in curve.quantities for curve in curves):
            continue
        look = display(name)
        spans = {name: whole}
        if goal == "largest":
            spans |= {f"{name} {a:.0f} to {b:.0f}": (a, b) for a, b in bands}
        unit = curves[0].unit(name)
        for key, span in spans.items():
            words = "mean" if key == name else key.removeprefix(f"{name} ")
            label = f"{look.label}, {words}{'' if key == name else ' rev/min'}"
            measures[key] = Measure(label, unit, goal, look[1:], (name.replace("_", " "), words))
            values[key] = [_mean(curve, name, *span) for curve in curves]
        if goal == "largest":
            tops = [_peak(curve, name) for curve in curves]
            measures[f"peak_{name}"] = Measure(f"peak {look.label}", unit, goal, look[1:],
                                               ("peak", name))
            values[f"peak_{name}"] = [top for top, _ in tops]
            measures[f"peak_{name}_rpm"] = Measure(f"speed of peak {look.label}", "rev/min", "",
                                                   ("rev/min", 1.0, 0), ("at", ""))
            values[f"peak_{name}_rpm"] = [rpm for _, rpm in tops]
    if not measures:
        raise InputError("choice: the variants hold neither torque nor power nor back pressure.")
    return measures, values


def _mean(curve, name, low, high):
    if not len(curve.rpm):
        return math.nan
    if low == high:
        return float(np.interp(low, curve.rpm, curve[name]))
    return mean_over(curve.rpm, curve[name], low, high)


def _peak(curve, name):
    """Largest value and its speed, NaN where a speed failed."""
    values = curve[name]
    if not len(values) or np.isnan(values).any():
        return math.nan, math.nan
    return float(values.max()), float(curve.rpm[values.argmax()])


def _amounts(sweep):
    """Mass and length of the exhaust of a sweep, nothing where it has no bill."""
    point = next(iter(sweep), None)
    exhaust = point.exhaust if point is not None and "exhaust" in point.meta else None
    if not isinstance(exhaust, Exhaust):
        return {}
    made = bill(exhaust, point.engine)
    return {"mass": made.mass, "length": made.total.length}


def _level(curve, distance, ground):
    """Mean A-weighted level of a sweep, NaN without traces."""
    if not isinstance(curve, Sweep) or not len(curve) or any(p.samples is None for p in curve):
        return math.nan
    return sound_curve(curve, distance=distance, ground=ground).mean_level("A")
