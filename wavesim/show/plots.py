"""Figures: traces, speed curves, differences with their crossings, pressure at the valves.

Every function draws on the Axes it is given, or on a new figure, and returns the Axes.  Nothing is
shown on the screen and nothing is calculated here beyond the change of unit; matplotlib is imported
inside the functions only, so that `import wavesim` stays quick.

The first curve is the reference and grey, the others take colours that colour-blind readers can
tell apart (Okabe and Ito, 2008, Color Universal Design) and markers of different shapes.  A point
that did not converge has an open marker.
"""

from pathlib import Path

import numpy as np

from wavesim.errors import InputError, check_choice, check_int
from wavesim.show.quantities import QUANTITIES, display

REFERENCE = "#777777"
COLOURS = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#E69F00", "#56B4E9")
MARKERS = "oDs^vp<>"
FAINT = "#d9d9d9"
OVERLAP = "#fbe7a8"


def colour(i):
    """Colour of curve number i: grey for the first, the reference."""
    return REFERENCE if i == 0 else COLOURS[(i - 1) % len(COLOURS)]


def new_axes(rows=1, *, width=8.0, height=4.2):
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
    figure = Figure(figsize=(width, height * rows), layout="constrained")
    return figure.subplots(rows, squeeze=False)[:, 0]


def save_figure(ax, path, dpi=150):
    """Write the figure that holds some Axes to a file.

    Parameters
    ----------
    ax : matplotlib Axes, or a sequence of them
    path : str or Path
        The suffix decides the format: .png, .pdf, .svg.
    dpi : float
        Dots per inch of a pixel format.

    Returns
    -------
    Path

    Raises
    ------
    InputError
        If the format is unknown or the file cannot be written.
    """
    figure = np.ravel(ax)[0].figure
    try:
        figure.savefig(path, dpi=dpi)
    except (OSError, ValueError) as error:
        raise InputError(f"save_figure: cannot write {str(path)!r}: {error}.") from error
    return Path(path)


def plot_trace(traces, ax=None, label=None, **line_kws):
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
    traces = [traces] if hasattr(traces, "x_name") else list(traces)
    if len({(trace.quantity, trace.x_name) for trace in traces}) != 1:
        raise InputError("plot_trace: traces must be one or more of one and the same quantity.")
    labels = [trace.at for trace in traces] if label is None else np.atleast_1d(label).tolist()
    if len(labels) != len(traces):
        raise InputError(f"plot_trace: {len(labels)} labels for {len(traces)} traces.")
    ax = _axes(ax)
    shown, angle = display(traces[0].quantity), traces[0].x_name == "theta_deg"
    owners = {trace.cylinder for trace in traces}
    whose = f"cylinder {owners.pop()}" if len(owners) == 1 else "its own cylinder"
    for i, (trace, name) in enumerate(zip(traces, labels, strict=True)):
        style = {"color": COLOURS[i % len(COLOURS)], "lw": 1.6, "label": name} | line_kws
        x = trace.x if angle else 1e3 * trace.x
        ax.plot(x, shown.factor * trace.values, **style)
    ax.set_xlabel(f"crank angle after firing TDC of {whose} [deg]" if angle else "time [ms]")
    ax.set_ylabel(shown.axis)
    if angle:
        first = 90.0 * np.floor(min(trace.x[0] for trace in traces) / 90.0)
        ax.set_xticks(first + np.arange(0.0, 721.0, 90.0))
        ax.set_xlim(first, first + 720.0)
    _legend(ax)
    return _dress(ax)


def plot_transmission_loss(loss, ax=None, reference=None, label="computed", **line_kws):
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


def plot_speed_curves(sweeps, quantity="torque", ax=None, **line_kws):
    """A quantity of several sweeps against engine speed.

    Parameters
    ----------
    sweeps : Sweep, or sequence of Sweep
        The first is the reference.
    quantity : str
        A key of `QUANTITIES`.
    ax : matplotlib Axes or None
    **line_kws
        For all lines.

    Returns
    -------
    matplotlib Axes

    Raises
    ------
    InputError
        If there is no sweep or no such quantity.
    """
    sweeps = _sweeps("plot_speed_curves", sweeps)
    check_choice("plot_speed_curves", "quantity", quantity, QUANTITIES)
    ax, shown = _axes(ax), display(quantity)
    for i, sweep in enumerate(sweeps):
        good = [point.converged for point in sweep]
        _speed_line(ax, sweep.rpm, shown.factor * sweep[quantity], i, sweep.name, good, line_kws)
    ax.set_xlabel("engine speed [rev/min]")
    ax.set_ylabel(shown.axis)
    _speed_legend(ax, any(not point.converged for sweep in sweeps for point in sweep))
    return _dress(ax)


def plot_torque_power(sweeps, axes=None, **line_kws):
    """Torque above, power below, of several sweeps against engine speed.

    Parameters
    ----------
    sweeps : Sweep, or sequence of Sweep
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
        If there is no sweep, or `axes` is no pair.
    """
    axes = _stack(axes, 2)
    for ax, quantity in zip(axes, ("torque", "power"), strict=True):
        plot_speed_curves(sweeps, quantity, ax=ax, **line_kws)
    return _share(axes)


def plot_differences(comparisons, axes=None, **line_kws):
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


def plot_difference(comparisons, quantity="torque", ax=None, **line_kws):
    """Difference of each variant from the reference, with the speeds of crossing marked.

    Parameters
    ----------
    comparisons : Comparison, or sequence of Comparison
        With the same reference.
    quantity : str
        A key of `QUANTITIES`.
    ax : matplotlib Axes or None
    **line_kws
        For all lines of differences.

    Returns
    -------
    matplotlib Axes

    Raises
    ------
    InputError
        If there is no comparison, the references differ, or there is no such quantity.
    """
    comparisons = _comparisons(comparisons)
    check_choice("plot_difference", "quantity", quantity, QUANTITIES)
    ax, shown = _axes(ax), display(quantity)
    ax.axhline(0.0, color=REFERENCE, lw=2.0, zorder=1)
    lanes = len(comparisons)
    for i, comparison in enumerate(comparisons, start=1):
        y = shown.factor * comparison.difference(quantity)
        name, good = comparison.names[1], _both_converged(comparison)
        _speed_line(ax, comparison.rpm, y, i, name, good, line_kws)
        if lanes == 1:
            _shade_gain_and_loss(ax, comparison.rpm, y, colour(i))
    low, high = ax.get_ylim()
    ax.set_ylim(low - (0.10 + 0.055 * lanes) * (high - low), high + 0.05 * (high - low))
    for i, comparison in enumerate(comparisons, start=1):
        _mark_crossings(ax, comparison.crossing_rpm(quantity), i, 0.05 * (lanes - i) + 0.05)
    unit = "points" if shown.unit == "%" else shown.unit
    ax.set_xlabel("engine speed [rev/min]")
    ax.set_ylabel(f"difference of {shown.label}" + (f" [{unit}]" if unit else ""))
    ax.plot([], [], color=REFERENCE, lw=2.0, label=f"{comparisons[0].names[0]} (reference)")
    _speed_legend(ax, any(not all(_both_converged(c)) for c in comparisons))
    return _dress(ax)


def plot_comparison(comparison, quantity="torque", axes=None, **line_kws):
    """Both curves above, their difference with its crossings below.

    Parameters
    ----------
    comparison : Comparison
    quantity : str
        A key of `QUANTITIES`.
    axes : pair of matplotlib Axes, or None
    **line_kws
        For the line of the difference.

    Returns
    -------
    ndarray of matplotlib Axes, (2,)

    Raises
    ------
    InputError
        If there is no such quantity, or `axes` is no pair.
    """
    axes = _stack(axes, 2)
    plot_speed_curves([comparison.a, comparison.b], quantity, ax=axes[0])
    plot_difference(comparison, quantity, ax=axes[1], **line_kws)
    axes[0].set_xlim(axes[1].get_xlim())
    return _share(axes)


def plot_valve_pressure(sweeps, rpm, ax=None, *, cylinder=1, side="exhaust", **line_kws):
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
    sweeps = _sweeps("plot_valve_pressure", sweeps)
    check_choice("plot_valve_pressure", "side", side, ("exhaust", "intake"))
    points = [sweep[rpm] for sweep in sweeps]
    meta = points[0].meta
    count = len(meta["firing_angles_deg"])
    cylinder = check_int("plot_valve_pressure", "cylinder", cylinder, 1, count)
    ax, shown = _axes(ax), display("pressure")
    events = meta["events_deg"]
    start, stop = events["exhaust"][0] - 30.0, events["intake"][1] + 5.0
    for i, (sweep, point) in enumerate(zip(sweeps, points, strict=True)):
        trace = point.trace("pressure", f"{side} valve {cylinder}")
        x, y = _own_angle(trace, point.meta["firing_angles_deg"][cylinder - 1], start, stop)
        style = {"color": colour(i), "lw": 1.8, "label": sweep.name} | line_kws
        ax.plot(x, shown.factor * y, **style)
    ambient = meta["outside"][side]["pressure"]
    ax.axhline(shown.factor * ambient, color="black", lw=0.8, ls=":", label="ambient")
    ax.set_xlim(start, stop)
    _valve_spans(ax, events, meta["events_lift"])
    _dead_centres(ax, start, stop)
    ax.set_xlabel(f"crank angle after firing TDC of cylinder {cylinder} [deg]")
    ax.set_ylabel(f"pressure at {side} valve {cylinder} [{shown.unit}]")
    ax.text(0.012, 0.965, f"{float(rpm):g} rev/min", transform=ax.transAxes, va="top",
            fontweight="bold")
    _legend(ax)
    return _dress(ax)


def plot_valve_pressures(sweeps, speeds, axes=None, *, cylinder=1, side="exhaust", **line_kws):
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
    axes = _stack(axes, len(speeds))
    for ax, rpm in zip(axes, speeds, strict=True):
        plot_valve_pressure(sweeps, rpm, ax, cylinder=cylinder, side=side, **line_kws)
    limits = np.array([ax.get_ylim() for ax in axes])
    for ax in axes:
        ax.set_ylim(limits[:, 0].min(), limits[:, 1].max())
    return _share(axes)


# --- pieces ---------------------------------------------------------------------------------------


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


def _sweeps(owner, sweeps):
    sweeps = [sweeps] if hasattr(sweeps, "rpm") else list(sweeps)
    if not sweeps or not all(hasattr(sweep, "rpm") for sweep in sweeps):
        raise InputError(f"{owner}: sweeps must be one or more Sweep, got {sweeps!r}.")
    return sweeps


def _comparisons(comparisons):
    given = [comparisons] if hasattr(comparisons, "names") else list(comparisons)
    if not given or len({id(comparison.a) for comparison in given}) != 1:
        raise InputError("plot_difference: needs one or more Comparison with the same reference.")
    return given


def _both_converged(comparison):
    """For each speed of a comparison, False where one of the two did not converge."""
    loose = {p.rpm for s in (comparison.a, comparison.b) for p in s if not p.converged}
    return [rpm not in loose for rpm in comparison.rpm]


def _speed_line(ax, rpm, y, i, name, good, line_kws):
    """Line with a marker at each computed speed, open where not converged."""
    style = {
        "color": colour(i), "lw": 2.0, "marker": MARKERS[i % len(MARKERS)], "ms": 5.5,
        "label": name, "zorder": 2.0 + 0.01 * i,
    } | line_kws
    (line,) = ax.plot(rpm, y, **style)
    good = np.asarray(good, dtype=bool)
    if not good.all():
        ax.plot(
            rpm[~good], y[~good], ls="", marker=line.get_marker(), ms=8.0, mfc="white",
            mec=line.get_color(), mew=1.6, zorder=3.0,
        )


def _speed_legend(ax, some_not_converged):
    if some_not_converged:
        ax.plot([], [], ls="", marker="o", ms=8.0, mfc="white", mec="black", mew=1.6,
                label="not converged")
    _legend(ax)


def _legend(ax):
    """Names above the Axes, where no curve can run through them."""
    ax.legend(frameon=False, loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=3,
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
        ax.text(rpm, lane, f"{rpm:.0f}", transform=across, color=colour(i), fontsize=9,
                fontweight="bold", ha="center", va="center", zorder=5.0,
                bbox={"boxstyle": "square,pad=0.15", "fc": "white", "ec": "none"})


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
