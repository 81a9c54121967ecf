"""Figures of many designs: maps over a dimension and speed, bars of sensitivities."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from wavesim.errors import InputError, check_kind
from wavesim.show.forms import MapForm, SlopesForm, check_form
from wavesim.show.quantities import display
from wavesim.show.style import (
    COLOURS,
    DASHES,
    REFERENCE,
    axes_or_new,
    dress,
    edged,
    legend,
    legend_name,
    legend_title,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes

LEVELS = 12  # filled contours, about
_SEEN = 0.05  # share of the dimension along which a line must be seen to have its name
_PLACES = (0.97, 0.03, 0.74, 0.26, 0.5)  # along its visible part, for the name of a line


def plot_map(
    found: MapForm,
    ax: "Axes | None" = None,
    *,
    lines: Mapping[str, np.ndarray] | None = None,
    goal: str = "largest",
    **fill_kws: Any,
) -> "Axes":
    """A quantity over one dimension and speed, filled, with ridge, base and tuned speeds.

    Dark is low and light is high, on a grey print too.  A difference has its zero line broad, the
    contours of losses dashed.  Points that did not converge have a cross.

    Parameters
    ----------
    found : SpeedMap
        With at least two values and two speeds.
    ax : matplotlib Axes or None
    lines : mapping of str to ndarray, each (n_x,)
        Speeds [rev/min] over the dimension by name, such as from `SpeedMap.tuned_speeds`.
    goal : {"largest", "smallest"}
        Whether the ridge follows the heights or the valleys.
    **fill_kws
        For the filled contours.

    Returns
    -------
    matplotlib Axes
        The dimension along, speed upward.

    Raises
    ------
    InputError
        If there are fewer than two values or speeds, or no numbers.

    Examples
    --------
    >>> import wavesim as ws
    >>> x, rpm = np.linspace(0.2, 0.8, 7), np.array([3000.0, 4000.0])
    >>> heights = 100.0 - (x[:, None] - (0.63 - 1e-4 * (rpm - 3000.0))) ** 2
    >>> made = ws.SpeedMap("exhaust.collector.length", "m", x, rpm, "torque", heights,
    ...                    heights > 0.0, 0.3, 7 * (None,))
    >>> (ax,) = ws.plots.new_axes()
    >>> plot_map(made, ax).get_ylabel()
    'engine speed [rev/min]'
    """
    check_form("plot_map", "found", found, MapForm)
    check_kind("plot_map", "lines", lines, Mapping, optional=True)
    look, values = display(found.quantity), display(found.quantity).factor * found.values
    if min(values.shape) < 2 or not np.isfinite(values).any():
        raise InputError(f"plot_map: found has {values.shape[0]} values and {values.shape[1]} "
                         "speeds, must have at least 2 of each, with numbers.")
    ax = axes_or_new(ax, height=5.2)
    levels = _levels(values, found.title)
    style = {"cmap": "cividis", "levels": levels, "extend": "neither"} | fill_kws
    shown = np.ma.masked_invalid(values.T)
    image = ax.contourf(found.x, found.rpm, shown, **style)
    unit = "points" if found.title and look.unit == "%" else look.unit
    label = f"{look.label} [{unit}]" if unit else look.label
    ax.figure.colorbar(image, ax=ax, pad=0.02,
                       label=f"difference of {label}" if found.title else label)
    _contours(ax, found, shown, levels)
    _ridge(ax, found, goal)
    if found.x[0] <= found.base <= found.x[-1]:
        ax.axvline(found.base, color="black", lw=1.2, ls=":", label="base")
    taken = [(found.base, rpm) for rpm in found.rpm] + [
        (x, rpm) for x, rpm in zip(found.ridge(goal)[0], found.rpm, strict=True) if np.isfinite(x)]
    for i, (name, speeds) in enumerate((lines or {}).items()):
        _tuned_line(ax, found, name, np.asarray(speeds, dtype=float), i, taken)
    loose = np.argwhere(~found.trusted)
    if loose.size:
        ax.plot(found.x[loose[:, 0]], found.rpm[loose[:, 1]], ls="", marker="x", ms=6.0,
                color="black", mew=1.4, path_effects=edged(1.4), label="not converged")
    ax.set_xlim(found.x[0], found.x[-1])
    ax.set_ylim(found.rpm[0], found.rpm[-1])
    ax.set_xlabel(f"{found.path} [{found.unit}]" if found.unit else found.path)
    ax.set_ylabel("engine speed [rev/min]")
    legend(ax, title=legend_name(found.title) or None, alignment="left")
    return ax


def _levels(values, difference):
    """Round heights of the contours; those of a difference lie evenly about zero."""
    from matplotlib.ticker import MaxNLocator

    low, high = np.nanmin(values), np.nanmax(values)
    if difference:
        high = max(abs(low), abs(high))
        low = -high
    if low == high:
        low, high = low - 0.5, high + 0.5
    return MaxNLocator(LEVELS, steps=[1, 2, 2.5, 5, 10]).tick_values(low, high)


def _contours(ax, found, shown, levels):
    """Thin lines at the levels with their values, and the zero line of a difference."""
    low, high = shown.min(), shown.max()
    inner = [level for level in levels if low < level < high and (level or not found.title)]
    if inner:
        lines = ax.contour(found.x, found.rpm, shown, levels=inner, colors="black", linewidths=0.6,
                           alpha=0.7, linestyles=["--" if found.title and level < 0.0 else "-"
                                                  for level in inner])
        sign = "+" if found.title else ""
        ax.clabel(lines, lines.levels[::2], fontsize=8, fmt=lambda value: f"{value:{sign}g}")
    if found.title and low < 0.0 < high:
        ax.contour(found.x, found.rpm, shown, levels=[0.0], colors="black", linewidths=2.6)
        ax.plot([], [], color="black", lw=2.6, label="no difference")


def _ridge(ax, found, goal):
    """Dots where a speed has its best value, open where an end of the dimension is better."""
    place, best = found.ridge(goal)
    word = "ridge" if goal == "largest" else "valley"
    style = {"ls": "", "marker": "o", "ms": 7.0, "mec": "black", "mew": 1.2}
    for there, face, label in ((best, COLOURS[1], f"{word}: best at this speed"),
                               (~best & np.isfinite(place), "white", f"{word}, an end is better")):
        if there.any():
            ax.plot(place[there], found.rpm[there], mfc=face, label=label, clip_on=False,
                    zorder=5.0, **style)


def _tuned_line(ax, found, name, speeds, i, taken):
    """A thin line with its name beside it, where it lies within the map and most room is left."""
    ax.plot(found.x, speeds, color="white", ls=DASHES[i % len(DASHES)], lw=1.2,
            path_effects=edged(1.2))
    fine = np.linspace(found.x[0], found.x[-1], 200)
    heights = np.interp(fine, found.x, speeds)
    inside = np.flatnonzero((heights > found.rpm[0]) & (heights < found.rpm[-1]))
    if inside.size < _SEEN * fine.size:  # nobody would see what the name belongs to
        return
    middle = 0.5 * (fine[0] + fine[-1])
    reach = 0.25 * np.ptp(fine)  # from the place of a name to its middle, about

    def room(k):
        """Distance of the middle of a name from what is there already, in sizes of the map."""
        x = fine[k] + (reach if fine[k] < middle else -reach)
        return min((np.hypot(0.5 * (x - a) / np.ptp(fine), (heights[k] - b) / np.ptp(found.rpm))
                    for a, b in taken), default=1.0)

    k = max((inside[int(share * (inside.size - 1))] for share in _PLACES), key=room)
    left = fine[k] < middle
    taken.append((fine[k] + (reach if left else -reach), heights[k]))
    below = heights[k] > found.rpm[-1] - 0.06 * np.ptp(found.rpm)
    ax.annotate(legend_title(name), (fine[k], heights[k]), xytext=(0.0, -5.0 if below else 5.0),
                textcoords="offset points", fontsize=8, va="top" if below else "bottom",
                ha="left" if left else "right",
                bbox={"boxstyle": "square,pad=0.1", "fc": "white", "ec": "none", "alpha": 0.8})


def plot_sensitivities(
    found: SlopesForm, ax: "Axes | None" = None, **bar_kws: Any
) -> "Axes":
    """Effects of a usual change of each dimension as bars, what does not repeat as whiskers.

    Parameters
    ----------
    found : Sensitivities
        From `wavesim.sensitivities`.
    ax : matplotlib Axes or None
    **bar_kws
        For the bars.

    Returns
    -------
    matplotlib Axes
        The largest effect on top; a bar whose slope is not to be relied on is hatched, and its
        remark stands beside it.

    Examples
    --------
    >>> import wavesim as ws
    >>> slope = ws.Slope("exhaust.collector.length", "m", 0.3, 0.02, 3e-3, -40.0, -42.0, -38.0,
    ...                  2.0, "")
    >>> made = ws.Sensitivities("torque", (3000.0, 6000.0), 150.0, 0.1, (slope,))
    >>> (ax,) = ws.plots.new_axes()
    >>> plot_sensitivities(made, ax).get_xlabel()
    'change of mean torque [N m]'
    """
    check_form("plot_sensitivities", "found", found, SlopesForm)
    look = display(found.quantity)
    slopes = sorted(found.slopes, key=lambda one: abs(np.nan_to_num(one.effect)))
    ax = axes_or_new(ax, height=1.4 + 0.5 * len(slopes))
    for i, one in enumerate(slopes):
        size, error = look.factor * one.effect, look.factor * one.noise * one.change
        style = {"color": REFERENCE if one.remark else COLOURS[0], "edgecolor": "black", "lw": 0.6,
                 "hatch": "//" if one.remark else "", "height": 0.6} | bar_kws
        ax.barh(i, np.nan_to_num(size), **style)
        if np.isfinite(error):
            ax.errorbar(size, i, xerr=error, color="black", capsize=4.0, lw=1.4)
        if one.remark:
            end = max(0.0, np.nan_to_num(size) + np.nan_to_num(error))
            ax.annotate(_short(one.remark), (end, i), xytext=(6.0, 0.0),
                        textcoords="offset points", va="center", fontsize=9)
    ax.axvline(0.0, color="black", lw=0.8)
    ax.set_yticks(range(len(slopes)), [
        f"{legend_name(one.path)}\n+ {one.change_text}" for one in slopes])
    ax.margins(x=0.18)
    ax.set_xlabel(f"change of mean {look.axis}")
    ax.set_title(f"{found.band[0]:g} to {found.band[1]:g} rev/min", loc="left", fontsize=10)
    return dress(ax)


def _short(text, most=40):
    return text if len(text) <= most else f"{text[: most - 3]}..."
