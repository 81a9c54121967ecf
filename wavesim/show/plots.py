"""Figures: traces, speed curves, differences with their crossings, pressure at the valves.

Every function draws on the Axes it is given, or on a new figure, and returns the Axes.  Nothing is
shown on the screen and nothing is calculated here beyond the change of unit; matplotlib is imported
inside the functions only, so that `import wavesim` stays quick.

The first curve is the reference and grey, the others take colours that colour-blind readers can
tell apart (Okabe and Ito, 2008, Color Universal Design) and markers of different shapes.  A point
that is not to be trusted, such as one that did not converge, has an open marker; where a curve
states its uncertainty, a band of that width lies behind it.
"""

from collections.abc import Sequence
from numbers import Real
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from wavesim import errors
from wavesim.errors import InputError, check_choice, check_int, check_number
from wavesim.fields.description import sequence
from wavesim.guard import guarded
from wavesim.show.forms import (
    CurveDifference,
    LossCurve,
    SpeedCurve,
    TracedCurve,
    TraceForm,
    check_form,
    check_forms,
    shown,
)
from wavesim.show.quantities import QUANTITIES, display
from wavesim.writing import write_figure

if TYPE_CHECKING:
    from matplotlib.axes import Axes

REFERENCE = "#777777"
COLOURS = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#E69F00", "#56B4E9")
MARKERS = "oDs^vp<>"
DASHES = ("-", "--", "-.", ":")
FAINT = "#d9d9d9"
OVERLAP = "#fbe7a8"
BAND = "stated uncertainty"
LONGEST_NAME = 48  # letters in a legend
_LEGEND_WIDTH = 80  # letters in a line of a legend, were they all of the widest


@guarded
def colour(i: int) -> str:
    """Colour of curve number i: grey for the first, the reference."""
    return REFERENCE if i == 0 else COLOURS[(i - 1) % len(COLOURS)]


@guarded
def legend_name(name: str) -> str:
    """A name as a legend can show it, whatever it is.

    A long one is cut, a dollar begins no formula, and an underscore in front, by which matplotlib
    leaves a curve out of the legend, gets a space before it.

    Examples
    --------
    >>> legend_name("_$5 pipe")
    ' _\\\\$5 pipe'
    """
    words = " ".join(str(name).split())
    words = words if len(words) <= LONGEST_NAME else f"{words[: LONGEST_NAME - 3]}..."
    return (" " if words.startswith("_") else "") + words.replace("$", r"\$")


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
    """
    traces = check_forms("plot_trace", "traces", traces, TraceForm)
    if len({(trace.quantity, trace.x_name) for trace in traces}) != 1:
        raise InputError("plot_trace: traces must be one or more of one and the same quantity.")
    places = [legend_name(trace.at) for trace in traces]
    labels = places if label is None else np.atleast_1d(label).tolist()
    if len(labels) != len(traces):
        raise InputError(f"plot_trace: {len(labels)} labels for {len(traces)} traces.")
    ax = _axes(ax)
    look, angle = display(traces[0].quantity), traces[0].x_name == "theta_deg"
    owners = {trace.cylinder for trace in traces}
    whose = f"cylinder {owners.pop()}" if len(owners) == 1 else "its own cylinder"
    for i, (trace, name) in enumerate(zip(traces, labels, strict=True)):
        style = {"color": COLOURS[i % len(COLOURS)], "ls": DASHES[i % len(DASHES)], "lw": 1.6,
                 "label": name} | line_kws
        x = trace.x if angle else 1e3 * trace.x
        ax.plot(x, look.factor * trace.values, **style)
    ax.set_xlabel(f"crank angle after firing TDC of {whose} [deg]" if angle else "time [ms]")
    ax.set_ylabel(look.axis)
    if angle:
        first = 90.0 * np.floor(min(trace.x[0] for trace in traces) / 90.0)
        ax.set_xticks(first + np.arange(0.0, 721.0, 90.0))
        ax.set_xlim(first, first + 720.0)
    _legend(ax)
    return _dress(ax)


@guarded
def plot_transmission_loss(
    loss: LossCurve,
    ax: "Axes | None" = None,
    reference: LossCurve | tuple[np.ndarray, np.ndarray] | None = None,
    label: str = "computed",
    **line_kws: Any,
) -> "Axes":
    """Transmission loss against frequency.

    Parameters
    ----------
    loss : TransmissionLoss
        From `wavesim.transmission_loss`.
    ax : matplotlib Axes or None
    reference : pair of ndarray, or TransmissionLoss, or None
        Frequency [Hz] and loss [dB] to be drawn in grey beneath, such as linear theory.
    label : str
        Name of the curve for the legend.
    **line_kws
        For the line of `loss`.

    Returns
    -------
    matplotlib Axes
    """
    ax = _axes(ax)
    if reference is not None:
        given = reference if isinstance(reference, tuple | list) else (
            reference.frequency, reference.loss
        )
        ax.plot(*given, color=REFERENCE, lw=3.0, alpha=0.6, label="reference")
    style = {"color": COLOURS[0], "lw": 1.6, "label": label} | line_kws
    ax.plot(loss.frequency, loss.loss, **style)
    ax.set_xlabel("frequency [Hz]")
    ax.set_ylabel("transmission loss [dB]")
    ax.set_ylim(bottom=0.0)
    _legend(ax)
    return _dress(ax)


@guarded
def plot_speed_curves(
    curves: SpeedCurve | Sequence[SpeedCurve],
    quantity: str = "torque",
    ax: "Axes | None" = None,
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
    **line_kws
        For all lines.

    Returns
    -------
    matplotlib Axes

    Raises
    ------
    InputError
        If there is no curve, or one does not hold the quantity.
    """
    curves = check_forms("plot_speed_curves", "curves", curves, SpeedCurve)
    look, ax = shown(quantity, *curves), _axes(ax)
    for i, curve in enumerate(curves):
        y, half_width = look.factor * curve[quantity], curve.uncertainty(quantity)
        _speed_line(ax, curve.rpm, y, i, curve.name, curve.trusted, line_kws)
        if half_width is not None:
            _band(ax, curve.rpm, y, look.factor * half_width, colour(i))
    ax.set_xlabel("engine speed [rev/min]")
    ax.set_ylabel(look.axis)
    _speed_legend(ax, all(np.all(curve.trusted) for curve in curves))
    return _dress(ax)


@guarded
def plot_torque_power(
    curves: SpeedCurve | Sequence[SpeedCurve],
    axes: "Sequence[Axes] | np.ndarray | None" = None,
    **line_kws: Any,
) -> np.ndarray:
    """Torque above, power below, of several speed curves against engine speed.

    Parameters
    ----------
    curves : SpeedCurve, or sequence of SpeedCurve
        The first is the reference.
    axes : pair of matplotlib Axes, or None
    **line_kws
        For all lines.

    Returns
    -------
    ndarray of matplotlib Axes, (2,)

    Raises
    ------
    InputError
        If there is no curve, one does not hold torque and power, or `axes` is no pair.
    """
    axes = _stack(axes, 2)
    for ax, quantity in zip(axes, ("torque", "power"), strict=True):
        plot_speed_curves(curves, quantity, ax=ax, **line_kws)
    return _share(axes)


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
    """
    axes = _stack(axes, 2)
    for ax, quantity in zip(axes, ("torque", "power"), strict=True):
        plot_difference(comparisons, quantity, ax=ax, **line_kws)
    return _share(axes)


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
    """
    comparisons = check_forms("plot_difference", "comparisons", comparisons, CurveDifference)
    if len({id(comparison.a) for comparison in comparisons}) != 1:
        raise InputError("plot_difference: comparisons must have the same reference.")
    look = shown(quantity, comparisons[0].a, *(comparison.b for comparison in comparisons))
    ax = _axes(ax)
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
    ax.set_ylim(low - (0.10 + 0.055 * lanes) * (high - low), high + 0.05 * (high - low))
    for i, comparison in enumerate(comparisons, start=1):
        _mark_crossings(ax, comparison.crossing_rpm(quantity), i, 0.05 * (lanes - i) + 0.05)
    unit = "points" if look.unit == "%" else look.unit
    ax.set_xlabel("engine speed [rev/min]")
    ax.set_ylabel(f"difference of {look.label}" + (f" [{unit}]" if unit else ""))
    reference = legend_name(comparisons[0].names[0])
    ax.plot([], [], color=REFERENCE, lw=2.0, label=f"{reference} (reference)")
    _speed_legend(ax, all(np.all(comparison.trusted) for comparison in comparisons))
    return _dress(ax)


@guarded
def plot_comparison(
    comparison: CurveDifference,
    quantity: str = "torque",
    axes: "Sequence[Axes] | np.ndarray | None" = None,
    **line_kws: Any,
) -> np.ndarray:
    """Both curves above, their difference with its crossings below.

    Parameters
    ----------
    comparison : Comparison
    quantity : str
        One that both curves hold.
    axes : pair of matplotlib Axes, or None
    **line_kws
        For the line of the difference.

    Returns
    -------
    ndarray of matplotlib Axes, (2,)

    Raises
    ------
    InputError
        If a curve does not hold the quantity, or `axes` is no pair.
    """
    check_form("plot_comparison", "comparison", comparison, CurveDifference)
    axes = _stack(axes, 2)
    plot_speed_curves([comparison.a, comparison.b], quantity, ax=axes[0])
    plot_difference(comparison, quantity, ax=axes[1], **line_kws)
    axes[0].set_xlim(axes[1].get_xlim())
    return _share(axes)


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
    """
    sweeps = check_forms("plot_valve_pressure", "sweeps", sweeps, TracedCurve)
    check_choice("plot_valve_pressure", "side", side, ("exhaust", "intake"))
    points = [sweep[rpm] for sweep in sweeps]
    meta = points[0].meta
    count = len(meta["firing_angles_deg"])
    cylinder = check_int("plot_valve_pressure", "cylinder", cylinder, 1, count)
    ax, look = _axes(ax), display("pressure")
    events = meta["events_deg"]
    start, stop = events["exhaust"][0] - 30.0, events["intake"][1] + 5.0
    for i, (sweep, point) in enumerate(zip(sweeps, points, strict=True)):
        trace = point.trace("pressure", f"{side} valve {cylinder}")
        x, y = _own_angle(trace, point.meta["firing_angles_deg"][cylinder - 1], start, stop)
        style = {"color": colour(i), "lw": 1.8, "label": legend_name(sweep.name)} | line_kws
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
    _legend(ax)
    return _dress(ax)


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
        One for each point, for the legend; default: their speeds.
    quantity : str
        A key of `point.cylinders`.

    Returns
    -------
    matplotlib Axes

    Raises
    ------
    InputError
        If there is no such quantity.
    """
    points = list(points) if isinstance(points, Sequence) else [points]
    if not points:
        raise InputError("plot_cylinders: points is empty, needs one at least.")
    check_choice("plot_cylinders", "quantity", quantity, [
        name for name in points[0].cylinders if name in QUANTITIES
    ])
    ax, look = _axes(ax), display(quantity)
    order = np.argsort(points[0].meta["firing_angles_deg"])
    names = names or [f"{point.rpm:g} rev/min" for point in points]
    for i, (point, name) in enumerate(zip(points, names, strict=True)):
        ax.plot(look.factor * point.cylinders[quantity][order], color=colour(i), lw=1.2,
                marker=MARKERS[i % len(MARKERS)], ms=7, label=name)
    ax.set_xticks(range(order.size), [str(n + 1) for n in order])
    ax.set_xlabel("cylinder, in firing order")
    ax.set_ylabel(f"{look.label} [{look.unit}]")
    _legend(ax)
    return _dress(ax)


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
    """
    speeds = sequence("plot_valve_pressures", "speeds", speeds, "speeds [rev/min]")
    if not speeds:
        raise InputError("plot_valve_pressures: speeds is empty, needs one at least.")
    axes = _stack(axes, len(speeds))
    for ax, rpm in zip(axes, speeds, strict=True):
        plot_valve_pressure(sweeps, rpm, ax, cylinder=cylinder, side=side, **line_kws)
    limits = np.array([ax.get_ylim() for ax in axes])
    for ax in axes:
        ax.set_ylim(limits[:, 0].min(), limits[:, 1].max())
    return _share(axes)


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
    """
    ax = _axes(ax)
    numeric = all(isinstance(value, Real) and not isinstance(value, bool) for value in x)
    x = np.array(x if numeric else [_as_name(value) for value in x])
    _check_alike("plot_dots", x=x, y=y, trusted=trusted)
    y, trusted = np.array(y, dtype=float), np.array(trusted, dtype=bool)
    style = {"ls": "", "marker": "o", "ms": 6.0, "color": COLOURS[0], "mew": 1.4} | marker_kws
    ax.plot(x, np.where(trusted, y, np.nan), **style)
    if not trusted.all():
        ax.plot(x, np.where(trusted, np.nan, y), **(style | {"mfc": "white"}), label="not trusted")
        _legend(ax)
    ax.set_xlabel(x_label)
    ax.set_ylabel(y_label)
    return _dress(ax)


@guarded
def plot_search(
    scores: Sequence[float] | np.ndarray,
    best: Sequence[float] | np.ndarray,
    ax: "Axes | None" = None,
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
    **line_kws
        For the line of the best so far.

    Returns
    -------
    matplotlib Axes
    """
    ax = _axes(ax)
    _check_alike("plot_search", scores=scores, best=best)
    number = np.arange(1, len(scores) + 1)
    ax.plot(number, scores, ls="", marker="o", ms=4.0, color=REFERENCE, label="each design")
    style = {"color": COLOURS[0], "lw": 2.0, "drawstyle": "steps-post", "label": "best so far"}
    ax.plot(number, best, **(style | line_kws))
    ax.set_xlabel("number of the design")
    ax.set_ylabel("objective")
    _legend(ax)
    return _dress(ax)


# --- pieces ---------------------------------------------------------------------------------------


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


def _axes(ax):
    """The given Axes, or one on a new pyplot figure."""
    if ax is not None:
        return ax
    from matplotlib import pyplot

    return pyplot.subplots(figsize=(8.0, 4.2), layout="constrained")[1]


def _stack(axes, rows):
    """The given Axes as an array, or new ones one above the other on a new pyplot figure."""
    if axes is None:
        from matplotlib import pyplot

        axes = pyplot.subplots(rows, figsize=(8.0, 3.9 * rows), layout="constrained")[1]
    axes = np.ravel(axes)
    if axes.size != rows:
        raise InputError(f"plots: axes must hold {rows} Axes, got {axes.size}.")
    return axes


def _share(axes):
    """One legend and one label of the speed axis for Axes that stand one above the other."""
    for ax in axes[1:]:
        ax.get_legend().remove()
    for ax in axes[:-1]:
        ax.set_xlabel("")
    return axes


def _dress(ax):
    """Thin grid behind the lines, no frame above and at the right."""
    ax.grid(True, color=FAINT, lw=0.6)
    ax.set_axisbelow(True)
    ax.spines[["top", "right"]].set_visible(False)
    return ax


def _speed_line(ax, rpm, y, i, name, good, line_kws):
    """Line with a marker at each speed of the curve, open where it is not to be trusted."""
    style = {
        "color": colour(i), "lw": 2.0, "marker": MARKERS[i % len(MARKERS)], "ms": 5.5,
        "label": legend_name(name), "zorder": 2.0 + 0.01 * i,
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
    _legend(ax)


def _legend(ax):
    """Names above the Axes, where no curve can run through them."""
    longest = max(map(len, ax.get_legend_handles_labels()[1]), default=0)
    columns = min(3, max(1, _LEGEND_WIDTH // (longest + 5)))
    ax.legend(frameon=False, loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=columns,
              borderaxespad=0.2, fontsize=9)


def _shade_gain_and_loss(ax, rpm, y, shade):
    """Fill between difference and zero: solid for gain, hatched for loss."""
    kws = {"interpolate": True, "lw": 0.0, "zorder": 0.5}
    ax.fill_between(rpm, y, 0.0, where=y >= 0.0, color=shade, alpha=0.22, **kws)
    ax.fill_between(rpm, y, 0.0, where=y <= 0.0, facecolor="none", edgecolor=shade, hatch="////",
                    alpha=0.35, **kws)


def _mark_crossings(ax, speeds, i, lane):
    """A tick on the zero line at each crossing and a thin line down to its speed in a lane."""
    across = ax.get_xaxis_transform()
    zero = ax.transAxes.inverted().transform(ax.transData.transform((0.0, 0.0)))[1]
    for rpm in speeds:
        ax.plot([rpm], [0.0], marker="|", ms=13.0, mew=2.0, color=colour(i), zorder=4.0)
        ax.plot([rpm, rpm], [lane, zero], transform=across, color=colour(i), lw=0.9, ls=":",
                zorder=1.2)
    for near in _neighbours(speeds, 0.07 * np.ptp(ax.get_xlim())):
        text = ", ".join(f"{rpm:.0f}" for rpm in near)
        ax.text(np.mean(near), lane, text, transform=across, color=colour(i), fontsize=9,
                fontweight="bold", ha="center", va="center", zorder=5.0,
                bbox={"boxstyle": "square,pad=0.15", "fc": "white", "ec": "none"})


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
