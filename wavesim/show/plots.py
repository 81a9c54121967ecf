"""Figures: traces, speed curves, differences with their crossings, pressure at the valves.

Every function draws on the Axes it is given, or on a new figure, and returns the Axes.  Nothing is
shown on the screen and nothing is calculated here beyond the change of unit; matplotlib is imported
inside the functions only, so that `import wavesim` stays quick.

All curves of a figure differ in colour, in lightness, in line and in marker (`show.style`).  A
point that is not to be trusted, such as one that did not converge, has an open marker; where a
curve states its uncertainty, a band of that width lies behind it.  Speeds at which curves cross
stand on a line of their own below the curves, rounded to what the speeds allow.
"""

from collections.abc import Mapping, Sequence
from itertools import combinations
from math import isnan, nan
from numbers import Real
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from wavesim import errors
from wavesim.errors import InputError, check_choice, check_int, check_kind, check_number
from wavesim.fields.description import sequence
from wavesim.guard import guarded
from wavesim.show.bands import plot_bands, plot_fit, plot_residuals
from wavesim.show.film import animate_waves, save_animation
from wavesim.show.forms import (
    CurveDifference,
    LossCurve,
    PulledCurve,
    SpeedCurve,
    TracedCurve,
    TraceForm,
    check_form,
    check_forms,
    shown,
)
from wavesim.show.fronts import plot_front
from wavesim.show.maps import plot_map, plot_sensitivities
from wavesim.show.quantities import QUANTITIES, display
from wavesim.show.reasons import (
    plot_arrivals,
    plot_changes,
    plot_contributions,
    plot_cross_talk,
    plot_echoes,
    plot_loop,
    plot_reflection,
    plot_valve_flows,
    plot_wave_diagram,
)
from wavesim.show.sounds import (
    plot_insertion_loss,
    plot_sound_levels,
    plot_sound_map,
    plot_sound_orders,
    plot_third_octaves,
)
from wavesim.show.style import (
    BAND,
    COLOURS,
    DASHES,
    FAINT,
    LONGEST_NAME,
    MARKERS,
    OVERLAP,
    REFERENCE,
    axes_or_new,
    colour,
    dash,
    dress,
    legend,
    legend_name,
    line_of,
    share,
    stack,
)
from wavesim.writing import write_figure

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = [
    "COLOURS", "DASHES", "FAINT", "LONGEST_NAME", "MARKERS", "OVERLAP", "REFERENCE",
    "animate_waves", "colour", "legend_name", "new_axes", "plot_arrivals", "plot_bands",
    "plot_changes", "plot_comparison", "plot_contributions", "plot_cross_talk", "plot_cylinders",
    "plot_difference", "plot_differences", "plot_dots", "plot_echoes", "plot_fit", "plot_front",
    "plot_insertion_loss", "plot_loop", "plot_map", "plot_pairs", "plot_power_chart",
    "plot_pulls", "plot_reflection", "plot_residuals", "plot_search", "plot_sensitivities",
    "plot_sound_levels", "plot_sound_map", "plot_sound_orders", "plot_speed_curves",
    "plot_third_octaves", "plot_torque_power", "plot_trace", "plot_transmission_loss",
    "plot_valve_flows", "plot_valve_pressure", "plot_valve_pressures", "plot_wave_diagram",
    "save_animation", "save_figure",
]


CUT_ON = "first mode across begins to travel"
_LOSS = "transmission loss"  # by which lines of losses know one another


@guarded
def new_axes(rows: int = 1, *, width: float = 8.0, height: float = 4.2) -> np.ndarray:
    """Axes one above the other on a figure that belongs to no window.

    Parameters
    ----------
    rows : int
        Number of Axes, 1 to 12.
    width, height : float
        Width of the figure and height of each Axes [inch].

    Returns
    -------
    ndarray of matplotlib Axes, (rows,)

    Raises
    ------
    InputError
        If `rows` is out of range.

    Examples
    --------
    >>> new_axes(2).shape
    (2,)
    """
    from matplotlib.figure import Figure

    rows = check_int("new_axes", "rows", rows, 1, 12)
    width, height = (
        check_number("new_axes", name, size, "inch", 0.5, 100.0)
        for name, size in (("width", width), ("height", height))
    )
    figure = Figure(figsize=(width, height * rows), layout="constrained")
    return figure.subplots(rows, squeeze=False)[:, 0]


@guarded
def save_figure(
    ax: "Axes | Sequence[Axes] | np.ndarray", path: str | Path, dpi: float = 150
) -> Path:
    """Write the figure that holds some Axes to a file.

    Parameters
    ----------
    ax : matplotlib Axes, or a sequence of them
    path : str or Path
        The suffix decides the format: .png, .pdf, .svg.  One that was written so before is
        replaced.
    dpi : float
        Dots per inch of a pixel format.

    Returns
    -------
    Path

    Raises
    ------
    InputError
        If the format is unknown, the file cannot be written, or another one is there.

    Examples
    --------
    >>> import tempfile
    >>> (ax,) = new_axes()
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     save_figure(ax, f"{folder}/empty.png").name
    'empty.png'
    """
    return write_figure(_first(ax).figure, path, dpi)


def _first(ax):
    """The first of some Axes."""
    if hasattr(ax, "figure"):
        return ax
    axes = ax.ravel().tolist() if isinstance(ax, np.ndarray) else ax
    axes = sequence("save_figure", "ax", axes, "matplotlib Axes")
    if not axes or not hasattr(axes[0], "figure"):
        raise InputError(f"save_figure: ax = {type(ax).__name__} must be matplotlib Axes.")
    return axes[0]


@guarded
def plot_trace(
    traces: TraceForm | Sequence[TraceForm],
    ax: "Axes | None" = None,
    label: str | Sequence[str] | None = None,
    **line_kws: Any,
) -> "Axes":
    """One quantity against crank angle or time.

    Parameters
    ----------
    traces : Trace, or sequence of Trace
        All of the same quantity.
    ax : matplotlib Axes or None
    label : str, sequence of str, or None
        Names for the legend; None: the places of the traces.
    **line_kws
        For all lines.

    Returns
    -------
    matplotlib Axes

    Raises
    ------
    InputError
        If there is no trace, if the quantities differ, or if the labels do not match.

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> settings = ws.Settings(cell_length=0.05, tolerance=0.05)
    >>> exhaust = study.exhausts["long collector"]
    >>> point = ws.run_point(study.engine, exhaust, 4500.0, settings=settings)
    >>> (ax,) = ws.plots.new_axes()
    >>> len(plot_trace(point.trace("pressure", "outlet"), ax).lines)
    1
    """
    traces = check_forms("plot_trace", "traces", traces, TraceForm)
    if len({(trace.quantity, trace.x_name) for trace in traces}) != 1:
        raise InputError("plot_trace: traces must be one or more of one and the same quantity.")
    places = [legend_name(trace.at) for trace in traces]
    labels = places if label is None else np.atleast_1d(label).tolist()
    if len(labels) != len(traces):
        raise InputError(f"plot_trace: {len(labels)} labels for {len(traces)} traces.")
    ax = axes_or_new(ax)
    look, angle = display(traces[0].quantity), traces[0].x_name == "theta_deg"
    owners = {trace.cylinder for trace in traces}
    whose = f"cylinder {owners.pop()}" if len(owners) == 1 else "its own cylinder"
    for i, (trace, name) in enumerate(zip(traces, labels, strict=True)):
        style = line_of(i + 1) | {"ls": dash(i), "lw": 1.6, "label": name} | line_kws
        x = trace.x if angle else 1e3 * trace.x
        ax.plot(x, look.factor * trace.values, **style)
    ax.set_xlabel(f"crank angle after firing TDC of {whose} [deg]" if angle else "time [ms]")
    ax.set_ylabel(look.axis)
    if angle:
        first = 90.0 * np.floor(min(trace.x[0] for trace in traces) / 90.0)
        ax.set_xticks(first + np.arange(0.0, 721.0, 90.0))
        ax.set_xlim(first, first + 720.0)
    legend(ax)
    return dress(ax)


@guarded
def plot_transmission_loss(
    loss: LossCurve | Sequence[LossCurve],
    ax: "Axes | None" = None,
    reference: LossCurve | tuple[np.ndarray, np.ndarray] | None = None,
    label: str | Sequence[str] | None = None,
    **line_kws: Any,
) -> "Axes":
    """Transmission loss against frequency, of one or several silencers.

    Parameters
    ----------
    loss : TransmissionLoss, or sequence of TransmissionLoss
        From `wavesim.transmission_loss`.
    ax : matplotlib Axes or None
        With losses already on it, these are added in lines of their own.
    reference : pair of ndarray, or TransmissionLoss, or None
        Frequency [Hz] and loss [dB] to be drawn in grey beneath, such as linear theory.
    label : str, sequence of str, or None
        Names for the legend, one for each loss; None: "computed", numbered if there are several.
    **line_kws
        For the lines of `loss`.

    Returns
    -------
    matplotlib Axes
        A mark of the line's colour shows where the first mode across the widest section begins to
        travel, if that lies within the frequencies: beyond it plane waves are not the whole truth.

    Raises
    ------
    InputError
        If there is no loss, or the labels do not match.

    Examples
    --------
    >>> import wavesim as ws
    >>> chamber = ws.Chamber(0.1, 0.05, case_diameter=0.1)
    >>> loss = ws.transmission_loss(chamber, frequencies=[200, 400])
    >>> (ax,) = ws.plots.new_axes()
    >>> plot_transmission_loss(loss, ax).get_ylabel()
    'transmission loss [dB]'
    """
    losses = check_forms("plot_transmission_loss", "loss", loss, LossCurve)
    ax = axes_or_new(ax)
    if reference is not None:
        given = reference if isinstance(reference, tuple | list) else (
            reference.frequency, reference.loss
        )
        ax.plot(*given, color=REFERENCE, lw=3.0, alpha=0.6, label="reference")
    before = sum(line.get_gid() == _LOSS for line in ax.get_lines())
    usual = ["computed"] if len(losses) == 1 else [f"computed {i + 1}" for i in range(len(losses))]
    labels = usual if label is None else np.atleast_1d(label).tolist()
    if len(labels) != len(losses):
        raise InputError(f"plot_transmission_loss: {len(labels)} labels for {len(losses)} losses.")
    for i, (one, name) in enumerate(zip(losses, labels, strict=True), start=before):
        style = line_of(i + 1) | {"ls": dash(i), "lw": 1.6, "label": legend_name(name)} | line_kws
        (line,) = ax.plot(one.frequency, one.loss, gid=_LOSS, **style)
        _mark_cut_on(ax, one, i, line.get_color())
    ax.set_xlabel("frequency [Hz]")
    ax.set_ylabel("transmission loss [dB]")
    drawn = [line.get_ydata() for line in ax.get_lines()
             if line.get_transform() == ax.transData and np.size(line.get_ydata())]
    highest = np.max(np.concatenate(drawn), initial=0.0, where=np.isfinite(np.concatenate(drawn)))
    ax.set_ylim(0.0, 1.12 * highest if highest > 0.0 else 1.0)
    legend(ax)
    return dress(ax)


def _mark_cut_on(ax, loss, i, shade):
    """A mark at the top where the first mode across begins to travel."""
    cut_on = getattr(loss, "cut_on", nan)
    if not np.min(loss.frequency) < cut_on < np.max(loss.frequency):
        return
    across = ax.get_xaxis_transform()
    label = None if any(line.get_label() == CUT_ON for line in ax.get_lines()) else CUT_ON
    ax.plot([cut_on] * 2, [0.0, 1.0], transform=across, color=shade, lw=0.9, ls=":", label=label)
    ax.text(cut_on, 0.985 - 0.06 * (i % 4), f" {cut_on:.0f} Hz", transform=across, color=shade,
            fontsize=8, ha="left", va="top")


@guarded
def plot_speed_curves(
    curves: SpeedCurve | Sequence[SpeedCurve],
    quantity: str = "torque",
    ax: "Axes | None" = None,
    names: Sequence[str] | None = None,
    **line_kws: Any,
) -> "Axes":
    """A quantity of several speed curves against engine speed.

    Parameters
    ----------
    curves : SpeedCurve, or sequence of SpeedCurve
        Computed or measured: Sweep, Curve, Design.  The first is the reference.
    quantity : str
        One that all of them hold.
    ax : matplotlib Axes or None
    names : sequence of str or None
        For the legend; None: those of the curves.
    **line_kws
        For all lines.

    Returns
    -------
    matplotlib Axes

    Raises
    ------
    InputError
        If there is no curve, or one does not hold the quantity.

    Examples
    --------
    >>> import wavesim as ws
    >>> a = ws.Curve("a", [3000, 4000, 5000], {"torque": [141.0, 158.0, 171.0]})
    >>> b = ws.Curve("b", [3000, 4000, 5000], {"torque": [138.0, 160.0, 175.0]})
    >>> (ax,) = ws.plots.new_axes()
    >>> plot_speed_curves([a, b], "torque", ax).get_ylabel()
    'torque [N m]'
    """
    curves = check_forms("plot_speed_curves", "curves", curves, SpeedCurve)
    look, ax = shown(quantity, *curves), axes_or_new(ax)
    names = [curve.name for curve in curves] if names is None else sequence(
        "plot_speed_curves", "names", names, "texts"
    )
    if len(names) != len(curves):
        raise InputError(f"plot_speed_curves: {len(names)} names for {len(curves)} curves.")
    for i, (curve, name) in enumerate(zip(curves, names, strict=True)):
        y, half_width = look.factor * curve[quantity], curve.uncertainty(quantity)
        _speed_line(ax, curve.rpm, y, i, name, curve.trusted, line_kws)
        if half_width is not None:
            _band(ax, curve.rpm, y, look.factor * half_width, colour(i))
    ax.set_xlabel("engine speed [rev/min]")
    ax.set_ylabel(look.axis)
    _speed_legend(ax, all(np.all(curve.trusted) for curve in curves))
    return dress(ax)


@guarded
def plot_pulls(
    pulls: PulledCurve, quantity: str = "torque", ax: "Axes | None" = None, **line_kws: Any
) -> "Axes":
    """How far each pull of a system lies from their mean, against engine speed.

    A pull that stands apart, or pulls that drift one after the other, are seen here at once.

    Parameters
    ----------
    pulls : MeasuredPulls
    quantity : str
        One that all pulls hold.
    ax : matplotlib Axes or None
    **line_kws
        For all lines.

    Returns
    -------
    matplotlib Axes

    Raises
    ------
    InputError
        If it is no set of pulls, or does not hold the quantity.

    Examples
    --------
    >>> import wavesim as ws
    >>> first = ws.Curve("first", [3000, 4000, 5000], {"torque": [141.0, 158.0, 171.0]})
    >>> second = ws.Curve("second", [3000, 4000, 5000], {"torque": [138.0, 157.0, 173.0]})
    >>> plot_pulls(ws.MeasuredPulls("open", [first, second])).get_ylabel()
    'torque less its mean [%]'
    """
    check_form("plot_pulls", "pulls", pulls, PulledCurve)
    look, ax = shown(quantity, pulls), axes_or_new(ax)
    mean = pulls[quantity]
    with np.errstate(divide="ignore", invalid="ignore"):
        shares = np.where(mean == 0.0, nan, 100.0 * (pulls.by_pull(quantity) / mean - 1.0))
    ax.axhline(0.0, color=REFERENCE, lw=2.0, zorder=1)
    for i, (pull, y) in enumerate(zip(pulls.pulls, shares, strict=True)):
        _speed_line(ax, pulls.rpm, y, i + 1, pull.name, pulls.trusted, line_kws)
    ax.set_xlabel("engine speed [rev/min]")
    ax.set_ylabel(f"{look.label} less its mean [%]")
    _speed_legend(ax, bool(np.all(pulls.trusted)))
    return dress(ax)


@guarded
def plot_power_chart(
    curves: SpeedCurve | Sequence[SpeedCurve],
    ax: "Axes | None" = None,
    comparisons: CurveDifference | Sequence[CurveDifference] = (),
    **line_kws: Any,
) -> "Axes":
    """Torque and power of several speed curves in one chart, peaks and crossings marked.

    Parameters
    ----------
    curves : SpeedCurve, or sequence of SpeedCurve
        The first is the reference.
    ax : matplotlib Axes or None
    comparisons : Comparison, or sequence of Comparison
        Of the curves with the first, in their order, whose crossings are marked.
    **line_kws
        For all lines.

    Returns
    -------
    matplotlib Axes
        With torque on its left scale; a second one has power on the right.  Torque lies above,
        power below; stars stand at the peaks, whose values the legend tells.

    Raises
    ------
    InputError
        If there is no curve, or one does not hold torque and power.

    Examples
    --------
    >>> import wavesim as ws
    >>> a = ws.Curve("a", [3000, 4000, 5000], {"torque": [141.0, 158.0, 171.0],
    ...                                      "power": [44e3, 66e3, 90e3]})
    >>> b = ws.Curve("b", [3000, 4000, 5000], {"torque": [138.0, 160.0, 175.0],
    ...                                      "power": [43e3, 67e3, 92e3]})
    >>> (ax,) = ws.plots.new_axes()
    >>> plot_power_chart([a, b], ax).get_xlabel()
    'engine speed [rev/min]'
    """
    curves = check_forms("plot_power_chart", "curves", curves, SpeedCurve)
    comparisons = _given_comparisons("plot_power_chart", comparisons)
    ax = axes_or_new(ax, height=5.6)
    right = ax.twinx()
    looks = {quantity: shown(quantity, *curves) for quantity in ("torque", "power")}
    for i, curve in enumerate(curves):
        peaks = []
        for scale, (quantity, look) in zip((ax, right), looks.items(), strict=True):
            y = look.factor * curve[quantity]
            thin = {} if scale is ax else {"lw": 0.7 * line_of(i)["lw"], "ms": 4.0}
            _speed_line(scale, curve.rpm, y, i, curve.name, curve.trusted, thin | line_kws)
            if np.isfinite(y).any():
                top = int(np.nanargmax(y))
                scale.plot([curve.rpm[top]], [y[top]], ls="", marker="*", ms=14.0, mew=1.0,
                           color=colour(i), mec="black", zorder=4.0)
                peaks.append(f"{look.text(curve[quantity][top])} {look.unit} at "
                             f"{curve.rpm[top]:g}")
        line = next(one for one in ax.get_lines() if one.get_label() == legend_name(curve.name))
        line.set_label(f"{legend_name(curve.name)}:  {',  '.join(peaks)} rev/min")
    _part_scales(ax, right, comparisons)
    ax.set_xlabel("engine speed [rev/min]")
    ax.set_ylabel(f"{looks['torque'].axis}, upper curves")
    right.set_ylabel(f"{looks['power'].axis}, lower curves")
    ax.plot([], [], ls="", marker="*", ms=11.0, color="white", mec="black", label="peak")
    _speed_legend(ax, all(np.all(curve.trusted) for curve in curves))
    dress(ax)
    right.spines[["top", "left"]].set_visible(False)
    return ax


def _part_scales(ax, right, comparisons):
    """Scales on which torque lies in the upper half and power in the lower one.

    Each scale has figures only where its own curves lie.
    """
    upper, lower = ax.get_ylim(), right.get_ylim()
    high = upper[1] - upper[0]
    ax.set_ylim(upper[0] - 1.25 * high, upper[1] + 0.06 * high)
    before = ax.get_ylim()
    _mark_crossings(ax, comparisons, "torque")
    lane = (before[0] - ax.get_ylim()[0]) / (before[1] - before[0])
    span = 2.15 * (lower[1] - lower[0])
    right.set_ylim(lower[0] - lane * span, lower[0] + span)
    from matplotlib.ticker import MaxNLocator

    for scale, (first, last) in ((ax, upper), (right, lower)):
        ticks = MaxNLocator(5).tick_values(first, last)
        scale.set_yticks([tick for tick in ticks if first <= tick <= last])


def _given_comparisons(owner, comparisons):
    """Comparisons as a list, which may be empty."""
    if not isinstance(comparisons, CurveDifference) and hasattr(comparisons, "__len__") and not len(
        comparisons
    ):
        return []
    return check_forms(owner, "comparisons", comparisons, CurveDifference)


@guarded
def plot_torque_power(
    curves: SpeedCurve | Sequence[SpeedCurve],
    axes: "Sequence[Axes] | np.ndarray | None" = None,
    comparisons: CurveDifference | Sequence[CurveDifference] = (),
    **line_kws: Any,
) -> np.ndarray:
    """Torque above, power below, of several speed curves against engine speed.

    Parameters
    ----------
    curves : SpeedCurve, or sequence of SpeedCurve
        The first is the reference.
    axes : pair of matplotlib Axes, or None
    comparisons : Comparison, or sequence of Comparison
        Of the curves with the first, in their order, whose crossings are marked.
    **line_kws
        For all lines.

    Returns
    -------
    ndarray of matplotlib Axes, (2,)

    Raises
    ------
    InputError
        If there is no curve, one does not hold torque and power, or `axes` is no pair.

    Examples
    --------
    >>> import wavesim as ws
    >>> a = ws.Curve("a", [3000, 4000, 5000], {"torque": [141.0, 158.0, 171.0],
    ...                                      "power": [44e3, 66e3, 90e3]})
    >>> b = ws.Curve("b", [3000, 4000, 5000], {"torque": [138.0, 160.0, 175.0],
    ...                                      "power": [43e3, 67e3, 92e3]})
    >>> len(plot_torque_power([a, b], ws.plots.new_axes(2)))
    2
    """
    axes = stack(axes, 2)
    comparisons = _given_comparisons("plot_torque_power", comparisons)
    for ax, quantity in zip(axes, ("torque", "power"), strict=True):
        plot_speed_curves(curves, quantity, ax=ax, **line_kws)
        _mark_crossings(ax, comparisons, quantity)
    return share(axes)


@guarded
def plot_differences(
    comparisons: CurveDifference | Sequence[CurveDifference],
    axes: "Sequence[Axes] | np.ndarray | None" = None,
    **line_kws: Any,
) -> np.ndarray:
    """Difference of torque above, of power below, of each variant from the reference.

    Parameters
    ----------
    comparisons : Comparison, or sequence of Comparison
        With the same reference.
    axes : pair of matplotlib Axes, or None
    **line_kws
        For all lines of differences.

    Returns
    -------
    ndarray of matplotlib Axes, (2,)

    Raises
    ------
    InputError
        As `plot_difference`, or if `axes` is no pair.

    Examples
    --------
    >>> import wavesim as ws
    >>> a = ws.Curve("a", [3000, 4000, 5000], {"torque": [141.0, 158.0, 171.0],
    ...                                      "power": [44e3, 66e3, 90e3]})
    >>> b = ws.Curve("b", [3000, 4000, 5000], {"torque": [138.0, 160.0, 175.0],
    ...                                      "power": [43e3, 67e3, 92e3]})
    >>> len(plot_differences([ws.compare(a, b)], ws.plots.new_axes(2)))
    2
    """
    axes = stack(axes, 2)
    for ax, quantity in zip(axes, ("torque", "power"), strict=True):
        plot_difference(comparisons, quantity, ax=ax, **line_kws)
    return share(axes)


@guarded
def plot_difference(
    comparisons: CurveDifference | Sequence[CurveDifference],
    quantity: str = "torque",
    ax: "Axes | None" = None,
    **line_kws: Any,
) -> "Axes":
    """Difference of each variant from the reference, with the speeds of crossing marked.

    Parameters
    ----------
    comparisons : Comparison, or sequence of Comparison
        With the same reference.
    quantity : str
        One that all curves hold.
    ax : matplotlib Axes or None
    **line_kws
        For all lines of differences.

    Returns
    -------
    matplotlib Axes

    Raises
    ------
    InputError
        If there is no comparison, the references differ, or a curve does not hold the quantity.

    Examples
    --------
    >>> import wavesim as ws
    >>> a = ws.Curve("a", [3000, 4000, 5000], {"torque": [141.0, 158.0, 171.0]})
    >>> b = ws.Curve("b", [3000, 4000, 5000], {"torque": [138.0, 160.0, 175.0]})
    >>> (ax,) = ws.plots.new_axes()
    >>> plot_difference(ws.compare(a, b), "torque", ax).has_data()
    True
    """
    comparisons = check_forms("plot_difference", "comparisons", comparisons, CurveDifference)
    if len({id(comparison.a) for comparison in comparisons}) != 1:
        raise InputError("plot_difference: comparisons must have the same reference.")
    look = shown(quantity, comparisons[0].a, *(comparison.b for comparison in comparisons))
    ax = axes_or_new(ax)
    ax.axhline(0.0, color=REFERENCE, lw=2.0, zorder=1)
    lanes = len(comparisons)
    for i, comparison in enumerate(comparisons, start=1):
        y = look.factor * comparison.difference(quantity)
        half_width = comparison.uncertainty(quantity)
        name, good = comparison.names[1], comparison.trusted
        _speed_line(ax, comparison.rpm, y, i, name, good, line_kws)
        if half_width is not None:
            _band(ax, comparison.rpm, y, look.factor * half_width, colour(i))
        elif lanes == 1:
            _shade_gain_and_loss(ax, comparison.rpm, y, colour(i))
    low, high = ax.get_ylim()
    ax.set_ylim(low, high + 0.05 * (high - low))
    _mark_crossings(ax, comparisons, quantity)
    unit = "points" if look.unit == "%" else look.unit
    ax.set_xlabel("engine speed [rev/min]")
    ax.set_ylabel(f"difference of {look.label}" + (f" [{unit}]" if unit else ""))
    reference = legend_name(comparisons[0].names[0])
    ax.plot([], [], color=REFERENCE, lw=2.0, label=f"{reference} (reference)")
    _speed_legend(ax, all(np.all(comparison.trusted) for comparison in comparisons))
    return dress(ax)


@guarded
def plot_comparison(
    comparison: CurveDifference | Sequence[CurveDifference],
    quantity: str = "torque",
    axes: "Sequence[Axes] | np.ndarray | None" = None,
    **line_kws: Any,
) -> np.ndarray:
    """All curves above, their differences below, the crossings in both.

    Parameters
    ----------
    comparison : Comparison, or sequence of Comparison
        With the same reference.
    quantity : str
        One that all curves hold.
    axes : pair of matplotlib Axes, or None
    **line_kws
        For the lines of the differences.

    Returns
    -------
    ndarray of matplotlib Axes, (2,)

    Raises
    ------
    InputError
        If a curve does not hold the quantity, or `axes` is no pair.

    Examples
    --------
    >>> import wavesim as ws
    >>> a = ws.Curve("a", [3000, 4000, 5000], {"torque": [141.0, 158.0, 171.0]})
    >>> b = ws.Curve("b", [3000, 4000, 5000], {"torque": [138.0, 160.0, 175.0]})
    >>> len(plot_comparison(ws.compare(a, b), "torque", ws.plots.new_axes(2)))
    2
    """
    comparisons = check_forms("plot_comparison", "comparison", comparison, CurveDifference)
    axes = stack(axes, 2)
    names = [comparisons[0].names[0], *(one.names[1] for one in comparisons)]
    curves = [comparisons[0].a, *(one.b for one in comparisons)]
    plot_speed_curves(curves, quantity, ax=axes[0], names=names)
    plot_difference(comparisons, quantity, ax=axes[1], **line_kws)
    axes[0].set_xlim(axes[1].get_xlim())
    _mark_crossings(axes[0], comparisons, quantity)
    return share(axes)


@guarded
def plot_valve_pressure(
    sweeps: TracedCurve | Sequence[TracedCurve],
    rpm: float,
    ax: "Axes | None" = None,
    *,
    cylinder: int = 1,
    side: str = "exhaust",
    **line_kws: Any,
) -> "Axes":
    """Pressure at a valve against crank angle, with the spans of open valves and their overlap.

    Parameters
    ----------
    sweeps : Sweep, or sequence of Sweep
        The first is the reference; the valve events drawn are those of its engine.
    rpm : float
        Speed [rev/min], computed in every sweep.
    ax : matplotlib Axes or None
    cylinder : int
        Number of the cylinder, from 1.
    side : {"exhaust", "intake"}
        Which valve.
    **line_kws
        For all lines.

    Returns
    -------
    matplotlib Axes
        From shortly before the exhaust valve opens to the closing of the intake valve, in degrees
        of the cylinder's own angle: 0 at firing TDC, 360 at the TDC of gas exchange.

    Raises
    ------
    InputError
        If a sweep has no point at that speed, or there is no such cylinder.

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> settings = ws.Settings(cell_length=0.05, tolerance=0.05)
    >>> exhaust = study.exhausts["long collector"]
    >>> point = ws.run_point(study.engine, exhaust, 4500.0, settings=settings)
    >>> (ax,) = ws.plots.new_axes()
    >>> plot_valve_pressure(ws.Sweep([point]), 4500.0, ax).get_ylabel()
    'pressure at exhaust valve 1 [bar]'
    """
    sweeps = check_forms("plot_valve_pressure", "sweeps", sweeps, TracedCurve)
    check_choice("plot_valve_pressure", "side", side, ("exhaust", "intake"))
    points = [sweep[rpm] for sweep in sweeps]
    meta = points[0].meta
    count = len(meta["firing_angles_deg"])
    cylinder = check_int("plot_valve_pressure", "cylinder", cylinder, 1, count)
    ax, look = axes_or_new(ax), display("pressure")
    events = meta["events_deg"]
    start, stop = events["exhaust"][0] - 30.0, events["intake"][1] + 5.0
    for i, (sweep, point) in enumerate(zip(sweeps, points, strict=True)):
        trace = point.trace("pressure", f"{side} valve {cylinder}")
        x, y = _own_angle(trace, point.meta["firing_angles_deg"][cylinder - 1], start, stop)
        style = line_of(i) | {"label": legend_name(sweep.name)} | line_kws
        ax.plot(x, look.factor * y, **style)
    ambient = meta["outside"][side]["pressure"]
    ax.axhline(look.factor * ambient, color="black", lw=0.8, ls=":", label="ambient")
    ax.set_xlim(start, stop)
    _valve_spans(ax, events, meta["events_lift"])
    _dead_centres(ax, start, stop)
    ax.set_xlabel(f"crank angle after firing TDC of cylinder {cylinder} [deg]")
    ax.set_ylabel(f"pressure at {side} valve {cylinder} [{look.unit}]")
    ax.text(0.012, 0.965, f"{float(rpm):g} rev/min", transform=ax.transAxes, va="top",
            fontweight="bold")
    legend(ax)
    return dress(ax)


@guarded
def plot_cylinders(
    points: Sequence[Any],
    ax: "Axes | None" = None,
    names: Sequence[str] | None = None,
    quantity: str = "imep_net",
) -> "Axes":
    """A quantity of every cylinder, in the order in which they fire.

    Parameters
    ----------
    points : Point, or sequence of Point
        Of one engine.
    ax : matplotlib Axes or None
    names : sequence of str, optional
        One for each point, for the legend; default: their speeds, and their exhausts where two
        speeds are alike.
    quantity : str
        A key of `point.cylinders`.

    Returns
    -------
    matplotlib Axes

    Raises
    ------
    InputError
        If there is no such quantity.

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> settings = ws.Settings(cell_length=0.05, tolerance=0.05)
    >>> exhaust = study.exhausts["long collector"]
    >>> point = ws.run_point(study.engine, exhaust, 4500.0, settings=settings)
    >>> (ax,) = ws.plots.new_axes()
    >>> plot_cylinders([point], ax, quantity="peak_pressure").has_data()
    True
    """
    points = list(points) if isinstance(points, Sequence) else [points]
    if not points:
        raise InputError("plot_cylinders: points is empty, needs one at least.")
    check_choice("plot_cylinders", "quantity", quantity, [
        name for name in points[0].cylinders if name in QUANTITIES
    ])
    ax, look = axes_or_new(ax), display(quantity)
    order = np.argsort(points[0].meta["firing_angles_deg"])
    alike = len({point.rpm for point in points}) < len(points)
    names = names or [f"{point.rpm:g} rev/min{_of_exhaust(point) if alike else ''}"
                      for point in points]
    for i, (point, name) in enumerate(zip(points, names, strict=True)):
        ax.plot(look.factor * point.cylinders[quantity][order], **(line_of(i) | {"lw": 1.2}),
                marker=MARKERS[i % len(MARKERS)], ms=7, label=legend_name(name))
    ax.set_xticks(range(order.size), [str(n + 1) for n in order])
    ax.set_xlabel("cylinder, in firing order")
    ax.set_ylabel(f"{look.label} [{look.unit}]")
    legend(ax)
    return dress(ax)


@guarded
def plot_valve_pressures(
    sweeps: TracedCurve | Sequence[TracedCurve],
    speeds: Sequence[float] | np.ndarray,
    axes: "Sequence[Axes] | np.ndarray | None" = None,
    *,
    cylinder: int = 1,
    side: str = "exhaust",
    **line_kws: Any,
) -> np.ndarray:
    """Pressure at a valve at several speeds, one Axes for each, with one pressure scale.

    Parameters
    ----------
    sweeps : Sweep, or sequence of Sweep
        The first is the reference.
    speeds : sequence of float
        Speeds [rev/min], computed in every sweep.
    axes : sequence of matplotlib Axes, as many as speeds, or None
    cylinder, side, **line_kws
        As for `plot_valve_pressure`.

    Returns
    -------
    ndarray of matplotlib Axes, (n_speed,)

    Raises
    ------
    InputError
        As `plot_valve_pressure`, or if `axes` and `speeds` do not match.

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> settings = ws.Settings(cell_length=0.05, tolerance=0.05)
    >>> exhaust = study.exhausts["long collector"]
    >>> point = ws.run_point(study.engine, exhaust, 4500.0, settings=settings)
    >>> len(plot_valve_pressures(ws.Sweep([point]), [4500.0], ws.plots.new_axes(1)))
    1
    """
    speeds = sequence("plot_valve_pressures", "speeds", speeds, "speeds [rev/min]")
    if not speeds:
        raise InputError("plot_valve_pressures: speeds is empty, needs one at least.")
    axes = stack(axes, len(speeds))
    for ax, rpm in zip(axes, speeds, strict=True):
        plot_valve_pressure(sweeps, rpm, ax, cylinder=cylinder, side=side, **line_kws)
    limits = np.array([ax.get_ylim() for ax in axes])
    for ax in axes:
        ax.set_ylim(limits[:, 0].min(), limits[:, 1].max())
    return share(axes)


@guarded
def plot_dots(
    x: Sequence | np.ndarray,
    y: Sequence[float] | np.ndarray,
    trusted: Sequence[bool] | np.ndarray,
    x_label: str,
    y_label: str,
    ax: "Axes | None" = None,
    **marker_kws: Any,
) -> "Axes":
    """One dot for each of many designs.

    Parameters
    ----------
    x : sequence
        Numbers, or texts, which become names along the axis.
    y : sequence of float
    trusted : sequence of bool
        False for an open dot.
    x_label, y_label : str
    ax : matplotlib Axes or None
    **marker_kws
        For the dots.

    Returns
    -------
    matplotlib Axes

    Examples
    --------
    >>> (ax,) = new_axes()
    >>> plot_dots([0.3, 0.5], [140.0, 143.0], [True, False], "length [m]", "N m", ax).get_xlabel()
    'length [m]'
    """
    ax = axes_or_new(ax)
    _check_alike("plot_dots", x=x, y=y, trusted=trusted)
    numeric = all(isinstance(value, Real) and not isinstance(value, bool) for value in x)
    x = np.array(x if numeric else [_as_name(value) for value in x])
    y, trusted = errors.as_floats("plot_dots", "y", y), np.array(trusted, dtype=bool)
    if y.ndim != 1 or trusted.ndim != 1:
        raise InputError("plot_dots: y and trusted must be lists of single values.")
    style = {"ls": "", "marker": "o", "ms": 6.0, "color": COLOURS[0], "mew": 1.4} | marker_kws
    ax.plot(x, np.where(trusted, y, np.nan), **style)
    if not trusted.all():
        ax.plot(x, np.where(trusted, np.nan, y), **(style | {"mfc": "white"}), label="not trusted")
        legend(ax)
    ax.set_xlabel(x_label)
    ax.set_ylabel(y_label)
    return dress(ax)


@guarded
def plot_pairs(
    columns: Mapping[str, Sequence[float]],
    values: Sequence[float] | np.ndarray,
    label: str,
    axes: "Sequence[Axes] | np.ndarray | None" = None,
) -> np.ndarray:
    """Every pair of fields against one another, a dot for each design, its shade for its value.

    Parameters
    ----------
    columns : mapping of str to sequence of float
        Values of at least two fields by label.
    values : sequence of float
        Of each design; dark is low, light is high, on a grey print too.
    label : str
        Of the values.
    axes : sequence of matplotlib Axes, or None
        As many as there are pairs.

    Returns
    -------
    ndarray of matplotlib Axes, (n_pair,)

    Raises
    ------
    InputError
        If there are fewer than two fields, or `axes` does not match.

    Examples
    --------
    >>> lengths, bores = [0.6, 0.7, 0.8, 0.9], [0.038, 0.042, 0.040, 0.044]
    >>> axes = plot_pairs({"length [m]": lengths, "bore [m]": bores},
    ...                   [140.0, 143.0, 141.0, 139.0], "torque [N m]")
    >>> axes[0].get_xlabel()
    'length [m]'
    """
    check_kind("plot_pairs", "columns", columns, Mapping)
    pairs = list(combinations(columns, 2))
    if not pairs:
        raise InputError("plot_pairs: columns must hold at least two fields.")
    axes = stack(_grid(len(pairs)) if axes is None else axes, len(pairs))
    values = errors.as_floats("plot_pairs", "values", values)
    if values.ndim != 1:
        raise InputError("plot_pairs: values must be a list of single values.")
    best = int(np.nanargmax(values)) if np.isfinite(values).any() else None
    for ax, (x, y) in zip(axes, pairs, strict=True):
        dots = ax.scatter(columns[x], columns[y], c=values, cmap="viridis", s=36.0,
                          edgecolors="black", linewidths=0.5)
        if best is not None:
            ax.plot(columns[x][best], columns[y][best], ls="", marker="*", ms=15.0, mfc="none",
                    mec="black", mew=1.4, label="highest")
        ax.set_xlabel(x)
        ax.set_ylabel(y)
        dress(ax)
    legend(axes[0])
    axes[0].figure.colorbar(dots, ax=list(axes), label=label)
    return axes


def _grid(count):
    """Axes in rows of two or three on a new pyplot figure."""
    from matplotlib import pyplot

    columns = 1 if count == 1 else 2 if count < 5 else 3
    rows = -(-count // columns)
    size = (4.6 * columns + 1.4, 3.8 * rows)
    axes = pyplot.subplots(rows, columns, figsize=size, layout="constrained", squeeze=False)[1]
    for spare in axes.ravel()[count:]:
        spare.set_visible(False)
    return axes.ravel()[:count]


@guarded
def plot_search(
    scores: Sequence[float] | np.ndarray,
    best: Sequence[float] | np.ndarray,
    ax: "Axes | None" = None,
    *,
    label: str = "objective",
    base: float = nan,
    **line_kws: Any,
) -> "Axes":
    """Course of a search.

    Parameters
    ----------
    scores : sequence of float, (n,)
        Objective of every design in the order of trial; NaN: no dot.
    best : sequence of float, (n,)
        The best so far.
    ax : matplotlib Axes or None
    label : str
        Of the objective, with its unit.
    base : float
        Objective of the base, drawn as a line; NaN: none.
    **line_kws
        For the line of the best so far.

    Returns
    -------
    matplotlib Axes

    Examples
    --------
    >>> (ax,) = new_axes()
    >>> plot_search([140.0, 143.0, 141.0], [140.0, 143.0, 143.0], ax).get_xlabel()
    'number of the design'
    """
    ax = axes_or_new(ax)
    _check_alike("plot_search", scores=scores, best=best)
    number = np.arange(1, len(scores) + 1)
    ax.plot(number, scores, ls="", marker="o", ms=4.0, color=REFERENCE, label="each design")
    style = {"color": COLOURS[0], "lw": 2.0, "drawstyle": "steps-post", "label": "best so far"}
    ax.plot(number, best, **(style | line_kws))
    if not isnan(base):
        ax.axhline(base, **(line_of(2) | {"lw": 1.4, "label": "base"}))
    lost = np.flatnonzero(np.isnan(scores))
    if lost.size:
        ax.plot(number[lost], np.full(lost.size, 0.02), ls="", marker="x", ms=5.0, color="black",
                transform=ax.get_xaxis_transform(), label="failed or outside the limits")
    ax.set_xlabel("number of the design")
    ax.set_ylabel(label)
    legend(ax)
    return dress(ax)


# --- pieces ---------------------------------------------------------------------------------------


def _of_exhaust(point):
    """Name of the exhaust of a point behind a comma, empty if it has none."""
    name = getattr(point.exhaust, "name", "")
    return f", {name}" if name else ""


def _as_name(value):
    """A value as a name along an axis."""
    return value if isinstance(value, str) else errors.shown(value)


def _check_alike(owner, **given):
    """Refuse lists of different lengths."""
    lengths = {name: len(sequence(owner, name, values, "numbers"))
               for name, values in given.items()}
    if len(set(lengths.values())) > 1:
        listed = ", ".join(f"{name} ({n})" for name, n in lengths.items())
        raise InputError(f"{owner}: the lengths of {listed} differ.")


def _speed_line(ax, rpm, y, i, name, good, line_kws):
    """Line with a marker at each speed of the curve, open where it is not to be trusted."""
    style = line_of(i) | {
        "marker": MARKERS[i % len(MARKERS)], "ms": 5.5, "label": legend_name(name),
        "zorder": 2.0 + 0.01 * i,
    } | line_kws
    (line,) = ax.plot(rpm, y, **style)
    good = np.asarray(good, dtype=bool)
    if not good.all():
        ax.plot(
            rpm[~good], y[~good], ls="", marker=line.get_marker(), ms=8.0, mfc="white",
            mec=line.get_color(), mew=1.6, zorder=3.0,
        )


def _band(ax, rpm, y, half_width, shade):
    """Band of the stated uncertainty behind a line, named once in the legend."""
    _, named = ax.get_legend_handles_labels()
    label = None if BAND in named else BAND
    ax.fill_between(rpm, y - half_width, y + half_width, color=shade, alpha=0.25, lw=0.0,
                    zorder=0.5, label=label)


def _speed_legend(ax, all_trusted):
    if not all_trusted:
        ax.plot([], [], ls="", marker="o", ms=8.0, mfc="white", mec="black", mew=1.6,
                label="not trusted")
    legend(ax)


def _shade_gain_and_loss(ax, rpm, y, shade):
    """Fill between difference and zero: solid for gain, hatched for loss."""
    kws = {"interpolate": True, "lw": 0.0, "zorder": 0.5}
    ax.fill_between(rpm, y, 0.0, where=y >= 0.0, color=shade, alpha=0.22, **kws)
    ax.fill_between(rpm, y, 0.0, where=y <= 0.0, facecolor="none", edgecolor=shade, hatch="////",
                    alpha=0.35, **kws)


def _mark_crossings(ax, comparisons, quantity):
    """A line of its own for the crossings of each variant, below all that is drawn."""
    found = [(i, comparison.crossings(quantity))
             for i, comparison in enumerate(comparisons, start=1)]
    found = [(i, crossings) for i, crossings in found if crossings]
    low, high = ax.get_ylim()
    lanes = len(found)
    ax.set_ylim(low - (0.10 + 0.08 * lanes) * (high - low) * bool(lanes), high)
    across = ax.get_xaxis_transform()
    for row, (i, crossings) in enumerate(reversed(found)):
        lane, shade = 0.045 + 0.07 * row, colour(i)
        ax.plot([0.0, 1.0], [lane, lane], transform=ax.transAxes, color=shade, ls=dash(i), lw=0.8,
                zorder=1.1)
        ax.plot([0.0], [lane], transform=ax.transAxes, color=shade, ls="", clip_on=False,
                marker=MARKERS[i % len(MARKERS)], ms=5.5, zorder=4.0)
        for crossing in crossings:
            ax.plot([crossing.rpm], [lane], transform=across, marker="|", ms=11.0, mew=2.0,
                    color=shade, zorder=4.0)
            ax.plot([crossing.rpm] * 2, [lane, 1.0], transform=across, color=shade, lw=0.7,
                    ls=":", zorder=1.0)
        width = 0.07 * np.ptp(ax.get_xlim())
        for near in _neighbours([crossing.rpm for crossing in crossings], width):
            names = {crossing.rpm: f"{crossing.rounded:.0f}" for crossing in crossings}
            text = ", ".join(names[rpm] for rpm in near)
            ax.text(np.mean(near), lane, text, transform=across, color="black", fontsize=9,
                    fontweight="bold", ha="center", va="center", zorder=5.0,
                    bbox={"boxstyle": "square,pad=0.15", "fc": "white", "ec": "none"})
    if lanes:
        ax.text(0.995, 0.045 + 0.07 * lanes - 0.03, "curves cross [rev/min]", fontsize=8,
                transform=ax.transAxes, ha="right", va="bottom")


def _neighbours(speeds, width):
    """Speeds in groups whose members lie closer than `width`: their labels would overlap."""
    groups = []
    for rpm in speeds:
        if groups and rpm - groups[-1][-1] < width:
            groups[-1].append(rpm)
        else:
            groups.append([rpm])
    return groups


def _own_angle(trace, firing_angle, start, stop):
    """Trace against the cylinder's own angle from `start` to `stop`, both within two cycles."""
    x = np.arange(start, stop + 0.5)
    return x, np.interp(x + firing_angle, trace.x, trace.values, period=720.0)


def _valve_spans(ax, events, lift):
    """Bars along the bottom while valves are open, shading where both are."""
    low, high = ax.get_ylim()
    height = high - low
    ax.set_ylim(low - 0.20 * height, high + 0.14 * height)  # room for the bars and for a label
    across = ax.get_xaxis_transform()
    for (side, (opens, closes)), y, grey in zip(
        events.items(), (0.03, 0.10), ("#404040", "#9a9a9a"), strict=True
    ):
        ax.plot([opens, closes], [y, y], transform=across, color=grey, lw=5.0,
                solid_capstyle="butt", zorder=1.5)
        first = side == "exhaust"
        ax.text(opens + 2.0 if first else closes - 2.0, y + 0.018, f"{side} valve open",
                transform=across, fontsize=8, ha="left" if first else "right", va="bottom")
    left, right = events["intake"][0], events["exhaust"][1]
    if left < right:
        ax.axvspan(left, right, color=OVERLAP, lw=0.0, zorder=0.3)
        ax.text(0.5 * (left + right), 0.985, f"overlap\n(lift above {1e3 * lift:.3g} mm)",
                transform=across, fontsize=8, ha="center", va="top")


def _dead_centres(ax, start, stop):
    """Ticks every quarter turn, the dead centres named."""
    ticks = np.arange(90.0 * np.ceil(start / 90.0), stop, 90.0)
    names = {0.0: "\nTDC", 180.0: "\nBDC"}
    ax.set_xticks(ticks, [f"{tick:g}{names.get(tick % 360.0, '')}" for tick in ticks])
