"""Sensitivities: how a band average answers to a small change of each dimension.

A central difference (Q(x + h) - Q(x - h))/2h has two errors: what of the curve is no parabola,
Q''' h^2/6, and what the cycles do not repeat, at most e Q/h where two runs of one design differ by
the share e.  Their sum is smallest at h = (3 e Q/Q''')^(1/3).  With Q/Q''' taken for the cube of a
length scale L, in which the quantity changes by its own size, h = L (3 e)^(1/3) (Press et al.,
Numerical Recipes, 3rd ed. 2007, sec. 5.7, from memory).  L is the dimension itself, and one radian
for an angle.  The share e is measured: the base is run a second time with a tenth of the tolerance.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from math import degrees, nan, sqrt
from numbers import Real
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from wavesim.descriptions.engine import Engine
from wavesim.descriptions.exhaust import Exhaust
from wavesim.descriptions.network import Network
from wavesim.descriptions.pull import Pull
from wavesim.descriptions.settings import Settings, given_settings
from wavesim.descriptions.weather import Ambient
from wavesim.errors import InputError, check_choice, check_kind, check_number, shown
from wavesim.fields.description import sequence
from wavesim.fields.tabular import Column, Sheet, Tabular
from wavesim.fields.toml_form import set_path
from wavesim.guard import guarded
from wavesim.many.explore import checked_band, explore
from wavesim.many.space import field_at, field_unit, plain_pair
from wavesim.many.store import Store
from wavesim.show.quantities import QUANTITIES, display, rows_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes

TIGHTER = 0.1  # share of the tolerance with which the base is run again
LEAST = 0.1  # share of the tolerance below which the repeatability is not believed to be
SURE = 2.0  # times its noise from which a slope means something


class Slope(NamedTuple):
    """What is known of one dimension.

    Attributes
    ----------
    path : str
        Dotted path.
    unit : str
        SI unit of the dimension, empty for none.
    value : float
        In the base, SI unit.
    step : float
        Of the difference to either side, SI unit.
    change : float
        Of which tables and figures tell the effect, SI unit: 1 % of the value, 1 deg of an angle,
        the step where the value is 0.
    slope : float
        Change of the band average per unit of the dimension, SI units; NaN where a run failed.
    below, above : float
        The same on either side alone.
    noise : float
        Of the slope: what the cycles do not repeat.
    remark : str
        What limits it; empty if nothing does.

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> single = study.engine.replace(firing_order=(1,))
    >>> header = ws.Exhaust(primary=ws.Pipe("700 mm", "40 mm"), merge=None)
    >>> settings = ws.Settings(cell_length=0.05, tolerance=0.02)
    >>> found = ws.sensitivities(single, header, ["exhaust.primary.length"], [4500],
    ...                          settings=settings, progress=False)
    >>> slope = found["exhaust.primary.length"]
    >>> slope.path, slope.unit, bool(slope.noise >= 0.0)
    ('exhaust.primary.length', 'm', True)
    """

    path: str
    unit: str
    value: float
    step: float
    change: float
    slope: float
    below: float
    above: float
    noise: float
    remark: str

    @property
    def effect(self) -> float:
        """Change of the band average for `change` of the dimension, SI unit of the quantity."""
        return self.slope * self.change

    @property
    def change_text(self) -> str:
        """The change in words, such as "1 % (4 mm)"."""
        if self.unit == "m":
            size = f"{1e3 * self.change:.3g} mm"
        else:
            size = f"{self.change:.3g} {self.unit}".strip()
        share = self.unit != "deg" and self.value != 0.0
        return f"1 % ({size})" if share else size


@guarded
@dataclass(frozen=True, eq=False)
class Sensitivities(Tabular):
    """Slopes of a band average by dimension, as `sensitivities` returns them.

    `found["exhaust.collector.length"]` is one Slope; iterating gives all.

    Attributes
    ----------
    quantity : str
        A key of `QUANTITIES`.
    band : (float, float)
        Speeds of the average [rev/min].
    base : float
        The average in the base, SI unit.
    noise : float
        By how much it repeats, SI unit: the base is run with the tolerance of the settings and with
        a tenth of it; the largest difference at any speed is taken for the error of each, and the
        root of the sum of their squares, weighted as in the average, for that of the mean.
    slopes : tuple of Slope
        In the order they were asked for.

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> single = study.engine.replace(firing_order=(1,))
    >>> header = ws.Exhaust(primary=ws.Pipe("700 mm", "40 mm"), merge=None)
    >>> settings = ws.Settings(cell_length=0.05, tolerance=0.02)
    >>> found = ws.sensitivities(single, header, ["exhaust.primary.length"], [4500],
    ...                          settings=settings, progress=False)
    >>> len(found.table().splitlines()) > 1
    True
    >>> ax = found.plot()
    """

    quantity: str
    band: tuple[float, float]
    base: float
    noise: float
    slopes: tuple[Slope, ...]

    _index = "path"

    def __len__(self) -> int:
        return len(self.slopes)

    def __iter__(self) -> Iterator[Slope]:
        return iter(self.slopes)

    def __getitem__(self, path: str) -> Slope:
        """The slope of a dimension by its dotted path."""
        paths = [slope.path for slope in self.slopes]
        return self.slopes[paths.index(check_choice("Sensitivities", "path", path, paths))]

    def __repr__(self) -> str:
        return (f"<Sensitivities: {self.quantity} from {self.band[0]:g} to {self.band[1]:g} "
                f"rev/min, {len(self)} dimensions>")

    def _columns(self):
        for name, unit in (("path", ""), ("unit", ""), ("value", ""), ("step", ""), ("change", ""),
                           ("slope", ""), ("below", ""), ("above", ""), ("noise", "")):
            yield Column(name, unit, [getattr(slope, name) for slope in self.slopes])
        yield Column("effect", QUANTITIES[self.quantity].unit,
                     [slope.effect for slope in self.slopes])
        yield Column("remark", "", [slope.remark for slope in self.slopes])

    def _meanings(self):
        yield (f"slope, below, above, noise: {self.quantity} [{QUANTITIES[self.quantity].unit}], "
               "mean of the band, per unit of the dimension: from both sides, from one, and what "
               "does not repeat; effect: slope times change.  All in SI units.")

    def _rows(self):
        look = display(self.quantity)
        rows = [["dimension", "value", "step", "change", f"effect [{look.unit}]", "noise",
                 "below", "above", ""]]
        for one in self.slopes:
            size = [look.factor * one.change * value
                    for value in (one.slope, one.noise, one.below, one.above)]
            cells = ["-" if np.isnan(value) else f"{value:{sign}.2g}"
                     for value, sign in zip(size, ("+", "", "+", "+"), strict=True)]
            value = f"{one.value:.4g} {one.unit}".strip()
            rows.append([one.path, value, f"{one.step:.2g}", one.change_text, *cells, one.remark])
        return rows

    def table(self) -> str:
        """Text table: the effect of a usual change of each dimension, its noise, each side alone.

        Effect, noise, and the effects by the differences below and above the base alone are those
        of the change named in the row, in units that are common in a workshop.
        """
        return f"{rows_text(self._rows())}\n\n{self._note()}"

    def _note(self):
        look = display(self.quantity)
        unit = f" {look.unit}" if look.unit else ""
        return (f"Mean {look.label} from {self.band[0]:g} to {self.band[1]:g} rev/min: "
                f"{look.text(self.base)}{unit}; it repeats within "
                f"{look.factor * self.noise:.2g}{unit}.")

    def _sheet(self):
        return Sheet(self._rows(), notes=[self._note()])

    def plot(self, ax: "Axes | None" = None, **bar_kws: Any) -> "Axes":
        """Draw the effects as bars with their noise, the largest on top.

        Parameters
        ----------
        ax : matplotlib Axes or None
            None makes a new figure.
        **bar_kws
            For the bars.

        Returns
        -------
        matplotlib Axes
        """
        from wavesim.show import plots

        return plots.plot_sensitivities(self, ax, **bar_kws)


@guarded
def sensitivities(
    engine: Engine,
    exhaust: Exhaust | Network,
    paths: Sequence[str] | Mapping[str, float | None],
    rpm: Iterable[float],
    *,
    quantity: str = "torque",
    band: tuple[float, float] | None = None,
    settings: Settings | None = None,
    executor: Executor | None = None,
    threads: int | None = None,
    store: Store | None = None,
    progress: bool = True,
    ambient: Ambient | None = None,
    pull: Pull | None = None,
    device: str = "cpu",
) -> Sensitivities:
    """How a band average answers to each dimension of an engine and its exhaust.

    Parameters
    ----------
    engine : Engine
    exhaust : Exhaust or Network
        The base.
    paths : sequence of str, or mapping of str to float or None
        Dotted paths of the dimensions; a mapping gives the step of each [SI unit], None where it is
        to be chosen.
    rpm : sequence of float
        Speeds [rev/min], 100 to 30000.
    quantity : str
        A key of `QUANTITIES`.
    band : (float, float) or None
        Speeds to average over [rev/min]; None: all.
    settings, executor, threads, store, progress, ambient, pull, device
        As for `explore`.

    Returns
    -------
    Sensitivities
        By central differences; two designs for each dimension and the base twice.

    Raises
    ------
    InputError
        If a path leads to no number, or to several that differ; if a value is 0, has no step and is
        no angle; or if the base cannot be computed.

    Notes
    -----
    The module's text gives the step.  A slope within twice its noise is said to be that.  Where the
    base stands near a ridge or in a valley, the differences of both sides have opposite signs: the
    slope is then no guide to a larger change, and the remark says so.

    Examples
    --------
    Friction of the formula takes its mean pressure times the swept volume over 4 pi:

    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> coarse = ws.Settings(cell_length=0.1, tolerance=0.02)
    >>> found = ws.sensitivities(study.engine, study.exhausts[study.base],
    ...                          ["engine.friction.constant"], [4500.0], settings=coarse,
    ...                          progress=False)
    >>> slope = found["engine.friction.constant"].slope
    >>> round(-4.0 * np.pi * slope / study.engine.displacement, 6)
    1.0
    """
    check_choice("sensitivities", "quantity", quantity, QUANTITIES)
    settings, rpm = given_settings("sensitivities", settings), list(rpm)
    steps = _given_steps(paths)
    raw = plain_pair(engine, exhaust)
    for path in steps:
        _check_path(raw, path, steps[path])

    def tried(changes, settings):
        return explore(
            engine, exhaust, changes, rpm, settings=settings, keep=[quantity], executor=executor,
            threads=threads, store=store, progress=progress, ambient=ambient, pull=pull,
            device=device)

    (first,), (second,) = (tried([{}], one) for one in (
        settings, settings.replace(tolerance=max(1e-7, TIGHTER * settings.tolerance))))
    for design in (first, second):
        if design.error:
            raise InputError(f"sensitivities: the base cannot be computed: {design.error}")
    limits = checked_band(band, first.rpm)
    base = first.mean(quantity, band)
    noise = _noise_of_mean(first.rpm, second[quantity] - first[quantity], limits)
    share = max(LEAST * settings.tolerance, noise / abs(base) if base else 0.0)
    sizes = {path: step or usual_step(*_facts(raw, path), share) for path, step in steps.items()}
    sides = [{path: field_at(raw, path) + sign * h}
             for path, h in sizes.items() for sign in (-1.0, 1.0)]
    found = tried(sides, settings)
    if len(found) < len(sides):
        raise InputError("sensitivities: interrupted before all designs were computed.")
    slopes = []
    for i, (path, h) in enumerate(sizes.items()):
        pair = found[2 * i], found[2 * i + 1]
        slopes.append(_slope(path, *_facts(raw, path), h, base,
                             [design.mean(quantity, band) for design in pair], noise,
                             _trouble(first, *pair)))
    return Sensitivities(quantity, limits, base, noise, tuple(slopes))


def _given_steps(paths):
    """Steps by path, None where they are to be chosen."""
    if isinstance(paths, Mapping):
        steps = dict(paths)
    else:
        steps = dict.fromkeys(sequence("sensitivities", "paths", paths, "dotted paths"))
    if not steps:
        raise InputError("sensitivities: paths = [] must hold at least one dotted path.")
    for path, step in steps.items():
        if step is not None:
            check_number("sensitivities", f"step of {path!r}", step, "1", 0.0, 1e9, low_open=True)
    return steps


def _check_path(raw, path, step):
    """Refuse a path that does not lead to one number."""
    check_kind("sensitivities", "path", path, str)
    value = field_at(raw, path)
    if not isinstance(value, Real) or isinstance(value, bool):
        raise InputError(f"sensitivities: {path!r} = {shown(value)} must be a number.")
    if set_path(raw, path, value) != raw:
        raise InputError(f"sensitivities: {path!r} leads to several values that differ, must lead "
                         "to one.")
    if step is None and value == 0 and field_unit(raw, path) != "deg":
        raise InputError(f"sensitivities: {path!r} is 0 in the base, it needs a step of its own.")


def _facts(raw, path):
    return field_unit(raw, path), float(field_at(raw, path))


def usual_step(unit: str, value: float, share: float) -> float:
    """Step of a central difference that does least harm.

    Parameters
    ----------
    unit : str
        Of the dimension; "deg" for an angle.
    value : float
        Of the dimension.
    share : float
        Of the quantity by which two runs of one design differ.

    Returns
    -------
    float

    Examples
    --------
    >>> round(usual_step("m", 0.5, 1e-3), 4), round(usual_step("deg", 0.0, 1e-3), 2)
    (0.0721, 8.26)
    """
    scale = degrees(1.0) if unit == "deg" else abs(value)
    return scale * (3.0 * share) ** (1.0 / 3.0)


def _noise_of_mean(rpm, off, band):
    """Root of the sum of squares of the largest error, weighted as in the mean over a band."""
    most = float(np.abs(off).max())
    low, high = band
    if low == high:
        return most
    inside = np.concatenate([[low], rpm[(rpm > low) & (rpm < high)], [high]])
    widths = np.diff(inside)
    weights = 0.5 * (np.append(widths, 0.0) + np.insert(widths, 0, 0.0)) / (high - low)
    return most * sqrt(float(np.sum(weights**2)))


def _slope(path, unit, value, step, base, sides, noise, trouble):
    """Slope of one dimension from the averages below and above the base."""
    low, high = sides
    slope, below, above = (high - low) / (2.0 * step), (base - low) / step, (high - base) / step
    own = noise / (sqrt(2.0) * step)  # of a difference of two, over two steps
    change = 1.0 if unit == "deg" else 0.01 * abs(value) or step
    remark = trouble or _doubt(slope, below, above, own)
    return Slope(path, unit, value, step, change, slope, below, above,
                 nan if np.isnan(slope) else own, remark)


def _doubt(slope, below, above, noise):
    """Sentence on what a slope is worth, empty if nothing speaks against it."""
    # A side alone has the same two errors over one step, and so twice the noise.
    sure = [side for side in (below, above) if abs(side) > SURE * 2.0 * noise]
    if len(sure) == 2 and below * above < 0.0:
        return "a ridge" if below > 0.0 else "a valley"
    return "within its noise" if abs(slope) <= SURE * noise else ""


def _trouble(*designs):
    """Sentence on runs that failed or did not converge."""
    for design in designs:
        if design.error:
            return f"failed: {design.error}"
    return "" if all(design.converged for design in designs) else "not all cycles converged"
