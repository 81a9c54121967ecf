"""Predict a variant with the uncertainty of a fit.

A variant shares the parameters with the baseline, so an error of one moves both curves.  With
g = df_variant/du - df_base/du each pull's own estimate of the parameters u (`wavesim.dyno.fit`)
moves the difference by g u: common errors cancel, and Student's t gives the band; second
derivatives widen it as they widen the intervals of the fit.  The band for all
speeds together is that of `wavesim.dyno.repeat`.
"""

from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from wavesim.descriptions.engine import Engine
from wavesim.descriptions.exhaust import Exhaust
from wavesim.descriptions.network import Network
from wavesim.dyno.fit import CERTAIN, Fit, listed
from wavesim.dyno.repeat import CrossingSet, crossing_set, curve_length, quantile, sup_quantile
from wavesim.dyno.uncertain import Curves, System
from wavesim.errors import InputError, as_floats, check_choice, check_kind
from wavesim.fields.description import check_text, sequence
from wavesim.fields.tabular import Column, Sheet, Tabular
from wavesim.guard import guarded
from wavesim.many.store import Store
from wavesim.show.quantities import QUANTITIES, display, rows_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes

CAUTION = (
    "The band holds what the parameters of the fit explain.  What the model leaves out of both "
    "systems, or of one, is not in it.  After a change of the exhaust check the mixture over the "
    "whole speed range before full load."
)


@guarded
@dataclass(frozen=True, eq=False)
class Prediction(Tabular):
    """What a variant will do against the baseline, as `predict` returns it.

    Attributes
    ----------
    rpm : ndarray, (m,)
        [rev/min].
    base, variant : ndarray, (m,)
        Computed with the fitted parameters, SI unit.
    difference : ndarray, (m,)
        variant - base.
    half_width, simultaneous_half_width : ndarray, (m,)
        Of its band at one speed, and of the one that holds at all speeds together: parameters err
        in both curves alike.
    unpaired_half_width : ndarray, (m,)
        What `half_width` would be if both curves erred on their own.
    variant_half_width : ndarray, (m,)
        Of the variant's own curve at one speed.
    quantity : str
    names : (str, str)
        Of baseline and variant.
    level : float
        Confidence.
    notes : tuple of str
        Sentences on what limits it.

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> single = study.engine.replace(firing_order=(1,))
    >>> short, long = (ws.Exhaust(primary=ws.Pipe(x, "40 mm"), merge=None) for x in (0.5, 0.9))
    >>> pulls = [[42.1, 39.4, 45.2], [41.7, 39.1, 45.1], [42.3, 39.6, 45.6]]  # N m, invented
    >>> found = ws.fit([3000, 4500, 6000], pulls, single, short,
    ...                {"engine.friction.constant": (0.0, 9e4)}, hold_back=0, progress=False,
    ...                settings=ws.Settings(cell_length=0.1, tolerance=0.01))
    >>> ahead = ws.predict(found, long, [3000.0, 4500.0], progress=False)
    >>> ahead.rpm.tolist(), len(ahead.crossings().estimates) <= 1, len(ahead.summary()) > 0
    ([3000.0, 4500.0], True, True)
    >>> ax = ahead.plot()
    """

    _index = "rpm"

    rpm: np.ndarray
    base: np.ndarray
    variant: np.ndarray
    difference: np.ndarray
    half_width: np.ndarray
    simultaneous_half_width: np.ndarray
    unpaired_half_width: np.ndarray
    variant_half_width: np.ndarray
    quantity: str
    names: tuple[str, str]
    level: float
    notes: tuple[str, ...]

    def __repr__(self) -> str:
        return (f"<Prediction: {self.names[1]!r} against {self.names[0]!r}, {self.rpm.size} "
                "speeds>")

    @property
    def bands(self) -> dict[str, np.ndarray]:
        """Half widths by name, the widest first."""
        share = f"{100.0 * self.level:g} %"
        found = {f"{share} if both curves erred apart": self.unpaired_half_width,
                 f"{share} at all speeds together": self.simultaneous_half_width,
                 f"{share} at a speed chosen before": self.half_width}
        return dict(sorted(found.items(), key=lambda one: -float(np.mean(one[1]))))

    @property
    def pieces(self) -> tuple[tuple[float, float], ...]:
        """Where the curves may cross [rev/min], as `crossings` has it."""
        return self.crossings().pieces

    def crossings(self) -> CrossingSet:
        """Where the two curves may cross: where the band at one speed holds zero."""
        return crossing_set(self.rpm, self.difference, self.half_width)

    def summary(self) -> str:
        """Readable text: the table, where the curves may cross, what is not in the band."""
        return "\n".join([rows_text(self._rows()), "", *self._sentences()])

    def plot(self, ax: "Axes | None" = None, **line_kws: Any) -> "Axes":
        """Draw the difference with its bands.

        Parameters
        ----------
        ax : matplotlib Axes or None
            None makes a new figure.
        **line_kws
            For the line.

        Returns
        -------
        matplotlib Axes
        """
        from wavesim.show import plots

        return plots.plot_bands(self, ax, **line_kws)

    def _rows(self):
        look, unit = display(self.quantity), display(self.quantity).unit
        rows = [["rpm", *self.names, "difference", "one speed +-", "all speeds +-", "apart +-", ""],
                ["", *6 * [unit], ""]]
        for i, rpm in enumerate(self.rpm):
            widths = (self.half_width, self.simultaneous_half_width, self.unpaired_half_width)
            beyond = abs(self.difference[i]) > self.simultaneous_half_width[i]
            rows.append([f"{rpm:g}", look.text(self.base[i]), look.text(self.variant[i]),
                         look.text(self.difference[i], "+"), *(look.text(w[i]) for w in widths),
                         "beyond the band" if beyond else ""])
        return rows

    def _sentences(self):
        narrower = float(np.mean(self.half_width) / np.mean(self.unpaired_half_width))
        yield (f"Bands of {100.0 * self.level:g} %.  Errors that both curves share cancel: the "
               f"band of the difference is {narrower:.2f} times as wide as if they erred apart.")
        yield str(self.crossings())
        yield from self.notes

    def _columns(self):
        unit = QUANTITIES[self.quantity].unit
        yield Column("rpm", "rev/min", self.rpm)
        for name in ("base", "variant", "difference", "half_width", "simultaneous_half_width",
                     "unpaired_half_width", "variant_half_width"):
            yield Column(name, unit, getattr(self, name))

    def _meanings(self):
        return [f"{QUANTITIES[self.quantity].label}: {self.names[1]} (variant) against "
                f"{self.names[0]} (base), predicted", *self._sentences()]

    def _sheet(self):
        return Sheet(self._rows(), f"{self.names[1]} against {self.names[0]}, predicted",
                     list(self._sentences()), heads=2)


@guarded
def predict(
    found: Fit,
    variant: Exhaust | Network,
    rpm: Sequence[float] | np.ndarray | None = None,
    *,
    engine: Engine | None = None,
    quantity: str | None = None,
    names: tuple[str, str] | None = None,
    threads: int | None = None,
    executor: Executor | None = None,
    store: Store | None = None,
    progress: bool = True,
    device: str = "cpu",
) -> Prediction:
    """What a variant will do against the baseline, with the uncertainty of the fit.

    Parameters
    ----------
    found : Fit
        It holds the baseline, its weather, settings and pull.
    variant : Exhaust or Network
    rpm : sequence of float or None
        Speeds [rev/min], increasing; None: those of the fit.
    engine : Engine or None
        That of the variant if it is another one, before the fit; None: that of the baseline.
    quantity : str or None
        A key of `QUANTITIES`; None: the first that was fitted.
    names : (str, str) or None
        Of baseline and variant; None: those of the exhausts.
    threads, executor, store, progress, device
        As for `fit`.

    Returns
    -------
    Prediction

    Raises
    ------
    InputError
        If an argument is wrong.
    SolverError
        If a curve cannot be computed.

    Notes
    -----
    A parameter that the variant does not have, as of a merge that it lacks, acts on the baseline
    alone.

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> single = study.engine.replace(firing_order=(1,))
    >>> short, long = (ws.Exhaust(primary=ws.Pipe(x, "40 mm"), merge=None) for x in (0.5, 0.9))
    >>> pulls = [[42.1, 39.4, 45.2], [41.7, 39.1, 45.1], [42.3, 39.6, 45.6]]  # N m, invented
    >>> found = ws.fit([3000, 4500, 6000], pulls, single, short,
    ...                {"engine.friction.constant": (0.0, 9e4)}, hold_back=0, progress=False,
    ...                settings=ws.Settings(cell_length=0.1, tolerance=0.01))
    >>> prediction = predict(found, long, [3000.0, 4500.0], progress=False)
    >>> bool((prediction.half_width < prediction.unpaired_half_width).all())
    True
    """
    made = check_kind("predict", "found", found, Fit)._made
    rpm = found.rpm if rpm is None else as_floats("predict", "rpm", rpm)
    if rpm.ndim != 1 or rpm.size < 2 or not np.all(np.diff(rpm) > 0.0):
        raise InputError("predict: rpm must hold at least 2 increasing speeds in rev/min.")
    quantity = next(iter(found.measured)) if quantity is None else quantity
    check_choice("predict", "quantity", quantity, QUANTITIES)
    check_kind("predict", "engine", engine, Engine, optional=True)
    run = {"settings": made.settings, "ambient": made.ambient, "threads": threads,
           "executor": executor, "store": store, "progress": progress, "device": device}
    systems = made.system, System(engine or made.system.engine, variant, made.system.pull)
    base, other = (Curves(one, made.axes, rpm, (quantity,), run) for one in systems)
    y_base, y_other = (curves.at([made.shares])[0] for curves in (base, other))
    g_base, g_other = (np.array(curves.derivatives(made.shares)) for curves in (base, other))
    half, together = _band(made, found, *(g_other - g_base))
    alone = [_band(made, found, *g)[0] for g in (g_base, g_other)]
    for shares in made.others:  # these would say so much else
        moved = np.abs([y.at([shares])[0] - y.at([made.shares])[0] for y in (base, other)])
        change = np.abs(other.at([shares])[0] - base.at([shares])[0] - (y_other - y_base))
        half, together = half + change, together + change
        alone = [one + two for one, two in zip(alone, moved, strict=True)]
    lacking = [axis.path for axis, acts in zip(made.axes, other.axes, strict=True) if acts is None]
    notes = [f"The variant has no {listed(lacking)}, which acts on the baseline alone."
             ] if lacking else []
    return Prediction(
        rpm, y_base, y_other, y_other - y_base, half, together, np.hypot(*alone), alone[1],
        quantity, _names(names, systems), found.level, (*notes, CAUTION),
    )


def _band(made, found, slopes, bends):
    """Half widths at one speed and at all speeds together, of what has these derivatives (m, n)."""
    moves = made.deviations @ slopes.T
    open_ = np.sqrt(np.einsum("ij,jk,ik->i", slopes, made.ranges, slopes))
    one = quantile(found.level, found.degrees_of_freedom)
    half = np.hypot(one * np.linalg.norm(moves, axis=0), quantile(found.level, CERTAIN) * open_)
    squares, shifts = np.split(made.bent, 2)
    half = np.hypot(half, np.linalg.norm(bends @ squares - slopes @ shifts, axis=1))
    every = sup_quantile(found.level, found.degrees_of_freedom, curve_length(moves),
                         len(slopes))
    return half, half * every / one


def _names(names, systems):
    if names is None:
        return tuple(one.exhaust.name for one in systems)
    pair = sequence("predict", "names", names, "two, of baseline and variant")
    if len(pair) != 2:
        raise InputError(f"predict: names must be two, of baseline and variant, got {len(pair)}.")
    return tuple(check_text("predict", "names", name) for name in pair)
