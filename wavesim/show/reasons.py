"""Figures that explain: parts of a difference, echoes, cross-talk, arrivals, reflection.

Like `plots`, every function draws on the Axes it is given, or on a new figure, and returns them.
"""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from wavesim.errors import InputError, check_int
from wavesim.show.forms import (
    ArrivalForm,
    DifferenceParts,
    EchoRecord,
    LoopForm,
    PairShares,
    ReflectionForm,
    WayPicture,
    check_form,
    check_forms,
)
from wavesim.show.quantities import display
from wavesim.show.style import (
    COLOURS,
    MARKERS,
    OVERLAP,
    REFERENCE,
    axes_or_new,
    dash,
    dress,
    edged,
    legend,
    legend_name,
    name_joints,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes

#: Of bars in a stack: no two have one hatching, so that a grey print is enough.
SHADES = ("#0072B2", "#E69F00", "#004c3a", "#F0E442", "#D55E00", "#56B4E9", "#5c3566", "#b8b8b8",
          "#CC79A7", "#404040")
_NEAR = 250.0  # crank angle from the middle of the overlap that arrivals are drawn to [deg]
MOST_NAMED = 12  # echoes of a figure
HATCHES = ("", "//", "--", "..", "oo", "\\\\", "xx", "++", "||", "*")


def plot_contributions(
    found: DifferenceParts, ax: "Axes | None" = None, **bar_kws: Any
) -> "Axes":
    """Parts of a difference of torque as stacked bars over speed, their sum as a line.

    Parts that are too thin to be seen at any speed are left out.

    Parameters
    ----------
    found : Contributions
        From `wavesim.contributions`.
    ax : matplotlib Axes or None
    **bar_kws
        For all bars.

    Returns
    -------
    matplotlib Axes

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> settings = ws.Settings(cell_length=0.05, tolerance=0.05)
    >>> exhaust = study.exhausts["long collector"]
    >>> point = ws.run_point(study.engine, exhaust, 4500.0, settings=settings)
    >>> (ax,) = ws.plots.new_axes()
    >>> sweep = ws.Sweep([point])
    >>> plot_contributions(ws.contributions(sweep, sweep), ax).get_ylabel()
    'difference of torque [N m]'
    """
    check_form("plot_contributions", "found", found, DifferenceParts)
    ax, rpm = axes_or_new(ax), found.rpm
    width = 0.7 * (np.diff(rpm).min() if rpm.size > 1 else 0.1 * rpm[0])
    ends = {1.0: np.zeros(rpm.size), -1.0: np.zeros(rpm.size)}
    least = 2e-3 * np.sum(np.abs(list(found.parts.values())), axis=0).max()
    for i, (name, values) in enumerate(found.parts.items()):
        if np.abs(values).max() <= least:  # too thin to be seen: no place in the legend
            continue
        style = {"color": SHADES[i % len(SHADES)], "hatch": HATCHES[i % len(HATCHES)],
                 "edgecolor": "white", "lw": 0.4, "width": width} | bar_kws
        label = found.labels[name]
        for sign, end in ends.items():
            height = np.where(sign * values > 0.0, values, 0.0)
            ax.bar(rpm, height, bottom=end, label=label, **style)
            end += height
            label = None
    ax.plot(rpm, found.total, color="black", lw=1.8, marker="o", ms=5.5, mfc="white", mew=1.6,
            label="torque", zorder=4.0)
    ax.axhline(0.0, color="black", lw=0.8)
    ax.use_sticky_edges = False  # else the bars end at the frame
    ax.margins(y=0.06)
    ax.set_xlabel("engine speed [rev/min]")
    ax.set_ylabel("difference of torque [N m]")
    a, b = map(legend_name, found.names)
    ax.set_title(f"{b} against {a}", loc="left", fontsize=10)
    ax.legend(frameon=False, loc="upper left", bbox_to_anchor=(1.0, 1.0), fontsize=9)
    return dress(ax)


def plot_reflection(
    found: ReflectionForm | Sequence[ReflectionForm],
    ax: "Axes | None" = None,
    label: str | Sequence[str] | None = None,
    **line_kws: Any,
) -> "Axes":
    """Magnitude of reflection coefficients against frequency.

    Parameters
    ----------
    found : Reflection, or sequence of Reflection
    ax : matplotlib Axes or None
    label : str, sequence of str, or None
        Names for the legend; None: the places.
    **line_kws
        For all lines.

    Returns
    -------
    matplotlib Axes

    Raises
    ------
    InputError
        If there is none, or if the labels do not match.

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> settings = ws.Settings(cell_length=0.05, tolerance=0.05)
    >>> exhaust = study.exhausts["long collector"]
    >>> point = ws.run_point(study.engine, exhaust, 4500.0, settings=settings)
    >>> (ax,) = ws.plots.new_axes()
    >>> plot_reflection(point.waves("exhaust valve 1").reflection(), ax).get_xlabel()
    'frequency [Hz]'
    """
    found = check_forms("plot_reflection", "found", found, ReflectionForm)
    labels = [one.at for one in found] if label is None else np.atleast_1d(label).tolist()
    if len(labels) != len(found):
        raise InputError(f"plot_reflection: {len(labels)} labels for {len(found)} reflections.")
    ax = axes_or_new(ax)
    for i, (one, name) in enumerate(zip(found, labels, strict=True)):
        few = {"marker": MARKERS[i % len(MARKERS)], "ms": 4.0} if one.frequency.size < 60 else {}
        style = {"color": COLOURS[i % len(COLOURS)], "ls": dash(i), "lw": 1.6,
                 "label": legend_name(name), **few} | line_kws
        ax.plot(one.frequency, np.abs(one.coefficient), **style)
    ax.axhline(1.0, color=REFERENCE, lw=0.8)
    ax.annotate("1: all that was sent comes back", (1.0, 1.0), xytext=(-4.0, 3.0),
                xycoords=ax.get_yaxis_transform(), textcoords="offset points", fontsize=8,
                ha="right", va="bottom")
    ax.set_ylim(bottom=0.0)
    ax.set_xlabel("frequency [Hz]")
    ax.set_ylabel("reflected over incident pressure")
    legend(ax)
    return dress(ax)


def plot_echoes(heard: EchoRecord, ax: "Axes | None" = None, **line_kws: Any) -> "Axes":
    """What the sending valve hears after its pulse, against crank angle, echoes named.

    Parameters
    ----------
    heard : Echoes
        From `wavesim.echoes`.
    ax : matplotlib Axes or None
    **line_kws
        For the record.

    Returns
    -------
    matplotlib Axes

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> settings = ws.Settings(cell_length=0.05, tolerance=0.05)
    >>> exhaust = study.exhausts["long collector"]
    >>> point = ws.run_point(study.engine, exhaust, 4500.0, settings=settings)
    >>> (ax,) = ws.plots.new_axes()
    >>> plot_echoes(ws.echoes(point), ax).get_ylabel()
    'share of the pulse'
    """
    check_form("plot_echoes", "heard", heard, EchoRecord)
    ax = axes_or_new(ax)
    degrees = 6.0 * heard.rpm
    style = {"color": COLOURS[0], "lw": 1.4} | line_kws
    ax.plot(degrees * heard.time, heard.records[heard.cylinder], **style)
    own = heard.found[heard.cylinder]
    span = max((abs(echo.size) for echo in own), default=1.0)
    if heard.overlap is not None:
        ax.axvspan(*heard.overlap, color=OVERLAP, lw=0.0, zorder=0.3)
        ax.text(np.mean(heard.overlap), 0.99, "overlap", transform=ax.get_xaxis_transform(),
                fontsize=8, ha="center", va="top")
    loud = sorted((echo for echo in own if echo.sender and abs(echo.size) > 0.1 * span),
                  key=lambda echo: -abs(echo.size))[:MOST_NAMED]
    for i, echo in enumerate(sorted(loud, key=lambda echo: echo.angle), start=1):
        height = np.interp(echo.time, heard.time, heard.records[heard.cylinder])
        up = height > 0.0
        ax.annotate(str(i), (echo.angle, np.clip(height, -1.15 * span, 1.15 * span)),
                    xytext=(0.0, 4.0 if up else -4.0), textcoords="offset points", fontsize=9,
                    ha="center", va="bottom" if up else "top")
        ax.plot([], [], ls="", label=f"{i:2}  {echo.size:+.2f} at {echo.angle:.0f} deg: "
                                     f"{legend_name(echo.sender)}")
    ax.set_ylim(-1.25 * span, 1.25 * span)  # the pulse itself is higher
    ax.set_xlim(0.0, degrees * heard.time[-1])
    ax.axhline(0.0, color="black", lw=0.8)
    ax.set_xlabel(f"crank angle after exhaust opening at {heard.rpm:g} rev/min [deg]")
    ax.set_ylabel("share of the pulse")
    state = "engine running" if heard.flow else "gas at rest, valves shut"
    ax.set_title(f"Echoes at exhaust valve {heard.cylinder}: {state}", loc="left", fontsize=10)
    if loud:
        ax.legend(frameon=False, loc="upper left", bbox_to_anchor=(1.0, 1.0), fontsize=9,
                  handlelength=0.0, handletextpad=0.0, title="share, arrival, sent back by",
                  alignment="left")
    return dress(ax)


def plot_cross_talk(found: PairShares, ax: "Axes | None" = None, **image_kws: Any) -> "Axes":
    """Shares of pressure over senders and listeners as a picture, those in overlap framed.

    Parameters
    ----------
    found : CrossTalk
        From `wavesim.cross_talk`.
    ax : matplotlib Axes or None
    **image_kws
        For the picture.

    Returns
    -------
    matplotlib Axes

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> settings = ws.Settings(cell_length=0.05, tolerance=0.05)
    >>> exhaust = study.exhausts["long collector"]
    >>> point = ws.run_point(study.engine, exhaust, 4500.0, settings=settings)
    >>> (ax,) = ws.plots.new_axes()
    >>> plot_cross_talk(ws.cross_talk(point), ax).get_ylabel()
    'sent by cylinder'
    """
    check_form("plot_cross_talk", "found", found, PairShares)
    from matplotlib.patches import Rectangle

    ax, n = axes_or_new(ax), len(found.size)
    most = max(1e-9, float(np.abs(found.size).max()))
    ax.imshow(np.abs(found.size), **({"cmap": "Greys", "vmin": 0.0, "vmax": 1.6 * most,
                                      "aspect": "auto"} | image_kws))
    for i in range(n):
        for j in range(n):
            if found.size[i, j]:
                ax.text(j, i, f"{found.size[i, j]:+.2f}\n{1e3 * found.time[i, j]:.1f} ms",
                        ha="center", va="center", fontsize=9,
                        color="white" if abs(found.size[i, j]) > 0.8 * most else "black")
            if found.in_overlap[i, j]:
                ax.add_patch(Rectangle((j - 0.47, i - 0.47), 0.94, 0.94, fill=False, lw=2.6,
                                       edgecolor="black"))
    numbers = [str(k + 1) for k in range(n)]
    ax.set_xticks(range(n), numbers)
    ax.set_yticks(range(n), numbers)
    ax.set_xlabel("heard at the exhaust valve of cylinder")
    ax.set_ylabel("sent by cylinder")
    ax.set_title(f"Cross-talk at {found.rpm:g} rev/min: share of the pulse, time on the way; "
                 "framed: heard in overlap", loc="left", fontsize=10)
    ax.spines[:].set_visible(False)
    return ax


def plot_arrivals(found: ArrivalForm, ax: "Axes | None" = None, **line_kws: Any) -> "Axes":
    """When fronts come to a valve against engine speed, over the band of the overlap.

    Each route has a line for the peak of the blowdown and a thin one for the front of exhaust
    opening; solid lines bring suction, broken ones pressure.

    Parameters
    ----------
    found : Arrivals
        From `wavesim.arrivals`.
    ax : matplotlib Axes or None
    **line_kws
        For the lines of the peaks.

    Returns
    -------
    matplotlib Axes

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> settings = ws.Settings(cell_length=0.05, tolerance=0.05)
    >>> exhaust = study.exhausts["long collector"]
    >>> point = ws.run_point(study.engine, exhaust, 4500.0, settings=settings)
    >>> (ax,) = ws.plots.new_axes()
    >>> plot_arrivals(ws.arrivals(point), ax).get_xlabel()
    'engine speed [rev/min]'
    """
    check_form("plot_arrivals", "found", found, ArrivalForm)
    ax = axes_or_new(ax)
    if found.overlap is not None:
        ax.axhspan(*found.overlap, color=OVERLAP, lw=0.0, zorder=0.3, label="overlap")
    middle = None if found.overlap is None else 0.5 * sum(found.overlap)
    for i, route in enumerate(found.routes):
        seen = middle is None or not np.abs(found.peak[i] - middle).min() > _NEAR
        style = {"color": COLOURS[i % len(COLOURS)], "ls": "-" if route.size < 0.0 else "--",
                 "marker": MARKERS[i % len(MARKERS)], "ms": 5.0, "lw": 1.8} | line_kws
        label = f"{legend_name(route.name)} ({route.size:+.2f})" if seen else None
        ax.plot(found.rpm, found.peak[i], label=label, **style)
        ax.plot(found.rpm, found.first[i], **(style | {"lw": 0.8, "marker": ""}))
    if middle is not None:
        low, high = ax.get_ylim()
        ax.set_ylim(max(low, middle - _NEAR), min(high, middle + _NEAR))
    ax.set_xlabel("engine speed [rev/min]")
    ax.set_ylabel(f"crank angle after firing TDC of cylinder {found.cylinder} [deg]")
    ax.set_title(f"Arrivals at exhaust valve {found.cylinder}: peak of the blowdown, thin: its "
                 "front", loc="left", fontsize=10)
    ax.legend(frameon=False, loc="upper left", bbox_to_anchor=(1.0, 1.0), fontsize=9)
    return dress(ax)


def plot_wave_diagram(found: WayPicture, ax: "Axes | None" = None, **image_kws: Any) -> "Axes":
    """Pressure over the way from a valve to the open air and crank angle, fronts over it.

    Parameters
    ----------
    found : WaveDiagram
        From `wavesim.wave_diagram`.
    ax : matplotlib Axes or None
    **image_kws
        For the picture.

    Returns
    -------
    matplotlib Axes
        Way along, crank angle upward, from before exhaust opening on for a cycle.

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> settings = ws.Settings(cell_length=0.05, tolerance=0.05)
    >>> exhaust = study.exhausts["long collector"]
    >>> point = ws.run_point(study.engine, exhaust, 4500.0, settings=settings)
    >>> (ax,) = ws.plots.new_axes()
    >>> plot_wave_diagram(ws.wave_diagram(point), ax).get_xlabel()
    'way from exhaust valve 1 [m]'
    """
    check_form("plot_wave_diagram", "found", found, WayPicture)
    ax, look = axes_or_new(ax, height=6.0), display("pressure")
    opens = found.events["exhaust"][0]
    start = opens - 20.0
    angle = (found.angle - start) % 720.0 + start
    order = np.argsort(angle)
    style = {"cmap": "cividis", "shading": "nearest", "rasterized": True} | image_kws
    image = ax.pcolormesh(found.x, angle[order], look.factor * found.pressure[order], **style)
    ax.figure.colorbar(image, ax=ax, label=look.axis, pad=0.02)
    for x, line in found.fronts:
        ax.plot(x, line, color="white", lw=1.1, path_effects=edged(1.1))
    for x, _ in found.joints:
        ax.axvline(x, color="white", lw=0.8, ls=":", path_effects=edged(0.8))
    name_joints(ax, found.joints, found.x[-1])
    left, right = found.events["intake"][0], found.events["exhaust"][1]
    if left < right:
        for edge in (left, right):
            ax.axhline(edge, color="black", lw=1.0, ls="--")
        ax.text(0.01, right + 3.0, "overlap", transform=ax.get_yaxis_transform(), fontsize=9,
                va="bottom", bbox={"boxstyle": "square,pad=0.15", "fc": "white", "ec": "none"})
    ax.set_ylim(start, min(start + 720.0, found.events["intake"][1] + 30.0))
    ax.set_xlim(found.x[0], found.x[-1])
    ax.set_xlabel(f"way from exhaust valve {found.cylinder} [m]")
    ax.set_ylabel(f"crank angle after firing TDC of cylinder {found.cylinder} [deg]")
    ax.text(0.985, 0.985, f"{found.rpm:g} rev/min", transform=ax.transAxes, ha="right", va="top",
            fontweight="bold", bbox={"boxstyle": "square,pad=0.2", "fc": "white", "ec": "none"})
    return ax


def plot_loop(
    point: LoopForm, ax: "Axes | None" = None, *, cylinder: int = 1, logarithmic: bool = False,
    **line_kws: Any,
) -> "Axes":
    """Pressure against volume of a cylinder, with the areas of pumping and of the blowdown loss.

    Parameters
    ----------
    point : Point
        With its traces.
    ax : matplotlib Axes or None
    cylinder : int
    logarithmic : bool
        Both axes logarithmic: compression and expansion become straight lines, and the loop of the
        gas exchange can be seen.
    **line_kws
        For the line.

    Returns
    -------
    matplotlib Axes

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> settings = ws.Settings(cell_length=0.05, tolerance=0.05)
    >>> exhaust = study.exhausts["long collector"]
    >>> point = ws.run_point(study.engine, exhaust, 4500.0, settings=settings)
    >>> (ax,) = ws.plots.new_axes()
    >>> plot_loop(point, ax).get_xlabel()
    'volume of cylinder 1 [cm3]'
    """
    check_form("plot_loop", "point", point, LoopForm)
    cylinder = check_int("plot_loop", "cylinder", cylinder, 1, len(point.meta["firing_angles_deg"]))
    ax, look, size = axes_or_new(ax, height=5.0), display("pressure"), display("volume")
    _draw_loop(ax, point, cylinder, line_kws)
    if logarithmic:
        for axis, scale in ((ax.xaxis, ax.set_xscale), (ax.yaxis, ax.set_yscale)):
            scale("log", subs=(2.0, 5.0))
            for which in (axis.set_major_formatter, axis.set_minor_formatter):
                which("{x:g}")
    else:
        ax.set_ylim(0.0, None)
        _magnify(ax, point, cylinder, line_kws)
    ax.set_xlabel(f"volume of cylinder {cylinder} [{size.unit}]")
    ax.set_ylabel(look.axis)
    ax.text(0.985, 0.965, f"{point.rpm:g} rev/min", transform=ax.transAxes, ha="right", va="top",
            fontweight="bold")
    legend(ax)
    return dress(ax)


def _magnify(ax, point, cylinder, line_kws):
    """The gas exchange once more within the figure, where its areas can be seen."""
    small = ax.inset_axes((0.42, 0.36, 0.56, 0.5))
    _draw_loop(small, point, cylinder, line_kws)
    look = display("pressure")
    pressure = point.trace("pressure", f"cylinder {cylinder}").own_angle(cylinder)
    late = (pressure.x >= 200.0) & (pressure.x <= 540.0)  # after the steepest part of the blowdown
    small.set_ylim(0.0, 1.15 * look.factor * pressure.values[late].max())
    small.set_title(f"gas exchange [{look.unit}]", loc="left", fontsize=8)
    small.tick_params(labelsize=8)
    dress(small)


def _draw_loop(ax, point, cylinder, line_kws):
    """The line of a cycle with the areas of pumping and of the blowdown loss."""
    look, size = display("pressure"), display("volume")
    place = f"cylinder {cylinder}"
    pressure, volume = (point.trace(name, place).own_angle(cylinder)
                        for name in ("pressure", "volume"))
    p, V = look.factor * pressure.values, size.factor * volume.values
    outside = look.factor * point.meta["outside"]["intake"]["pressure"]
    for i, (name, start, stop) in enumerate((("exhaust stroke", 180.0, 360.0),
                                             ("intake stroke", 360.0, 540.0))):
        inside = (pressure.x >= start) & (pressure.x <= stop)
        ax.fill_between(V[inside], p[inside], outside, color=COLOURS[1 + i], alpha=0.35, lw=0.0,
                        hatch=("", "//")[i], label=f"pumping, {name}")
    opens = point.meta["events_deg"]["exhaust"][0]
    if opens < 180.0:
        gamma = point.trace("gamma", place).own_angle(cylinder)
        inside = (pressure.x >= opens) & (pressure.x <= 180.0)
        first = np.flatnonzero(inside)[0]
        kept = p[first] * (V[first] / V[inside]) ** gamma.values[first]
        ax.plot(V[inside], kept, color="black", lw=1.0, ls=":")
        ax.fill_between(V[inside], p[inside], kept, color=REFERENCE, alpha=0.5, lw=0.0,
                        hatch="..", label="lost by blowdown")
    style = {"color": COLOURS[0], "lw": 1.8} | line_kws
    ax.plot(np.append(V, V[0]), np.append(p, p[0]), **style)
    ax.axhline(outside, color="black", lw=0.8, ls="--", label="air outside")


def plot_valve_flows(
    point: LoopForm, ax: "Axes | None" = None, *, cylinder: int = 1, **line_kws: Any
) -> "Axes":
    """Mass flow out of a cylinder by its exhaust valve, and into it by its intake valve.

    Parameters
    ----------
    point : Point
        With its traces.
    ax : matplotlib Axes or None
    cylinder : int
    **line_kws
        For both lines.

    Returns
    -------
    matplotlib Axes
        Below zero gas flows back.

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> settings = ws.Settings(cell_length=0.05, tolerance=0.05)
    >>> exhaust = study.exhausts["long collector"]
    >>> point = ws.run_point(study.engine, exhaust, 4500.0, settings=settings)
    >>> (ax,) = ws.plots.new_axes()
    >>> plot_valve_flows(point, ax).get_ylabel()
    'mass flow at the valves [g/s]'
    """
    check_form("plot_valve_flows", "point", point, LoopForm)
    cylinder = check_int("plot_valve_flows", "cylinder", cylinder, 1,
                         len(point.meta["firing_angles_deg"]))
    ax, look, events = axes_or_new(ax), display("mass_flow"), point.meta["events_deg"]
    for i, (side, sign, word) in enumerate((("exhaust", -1.0, "out by the exhaust valve"),
                                            ("intake", 1.0, "in by the intake valve"))):
        flow = point.trace("mass_flow", f"{side} valve {cylinder}").own_angle(cylinder)
        style = {"color": COLOURS[i], "ls": dash(i), "lw": 1.8, "label": word} | line_kws
        ax.plot(flow.x, sign * look.factor * flow.values, **style)
    left, right = events["intake"][0], events["exhaust"][1]
    if left < right:
        ax.axvspan(left, right, color=OVERLAP, lw=0.0, zorder=0.3, label="overlap")
    ax.axhline(0.0, color="black", lw=0.8)
    ax.set_xlim(events["exhaust"][0] - 20.0, events["intake"][1] + 20.0)
    ax.set_xlabel(f"crank angle after firing TDC of cylinder {cylinder} [deg]")
    ax.set_ylabel(f"mass flow at the valves [{look.unit}]")
    ax.text(0.985, 0.965, f"{point.rpm:g} rev/min", transform=ax.transAxes, ha="right", va="top",
            fontweight="bold")
    legend(ax)
    return dress(ax)


def plot_changes(
    rpm: np.ndarray,
    lines: Mapping[str, np.ndarray],
    quantity: str,
    ax: "Axes | None" = None,
    **line_kws: Any,
) -> "Axes":
    """Changes of a quantity against engine speed, a line for each cause; the last is the whole.

    Parameters
    ----------
    rpm : ndarray, (n,)
        [rev/min].
    lines : mapping of str to ndarray, each (n,)
        By words for the legend, SI units.
    quantity : str
        A key of `QUANTITIES`.
    ax : matplotlib Axes or None
    **line_kws
        For all lines.

    Returns
    -------
    matplotlib Axes

    Examples
    --------
    >>> from wavesim.show.plots import new_axes
    >>> (ax,) = new_axes()
    >>> lines = {"open ends": np.array([-5.0, 2.0]), "all": np.array([-6.0, 3.0])}
    >>> plot_changes(np.array([3000.0, 4000.0]), lines, "torque", ax).get_ylabel()
    'change of torque [N m]'
    """
    ax, look = axes_or_new(ax), display(quantity)
    *_, whole = lines
    for i, (name, values) in enumerate(lines.items()):
        style = {"color": COLOURS[i % len(COLOURS)], "ls": dash(i), "lw": 1.8,
                 "marker": MARKERS[i % len(MARKERS)], "ms": 5.0, "label": name}
        if name == whole:
            style |= {"color": "black", "ls": "-", "lw": 2.4}
        ax.plot(rpm, look.factor * np.asarray(values), **(style | line_kws))
    ax.axhline(0.0, color=REFERENCE, lw=0.8)
    ax.set_xlabel("engine speed [rev/min]")
    ax.set_ylabel(f"change of {look.axis}")
    legend(ax)
    return dress(ax)
