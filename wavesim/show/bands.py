"""Figures of what pulls can say: differences with bands, curves before and after a fit.

Like `plots`, every function draws on the Axes it is given, or on a new figure, and returns them.
Bands differ in lightness, and every one but the innermost has a dashed edge, so that a grey print
is enough.
"""

from typing import TYPE_CHECKING, Any

import numpy as np

from wavesim.errors import check_choice
from wavesim.guard import guarded
from wavesim.show.forms import BandedDifference, FittedCurves, check_form
from wavesim.show.quantities import display
from wavesim.show.style import (
    COLOURS,
    MARKERS,
    REFERENCE,
    axes_or_new,
    dress,
    legend,
    legend_name,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_EDGES = ((0, (6, 2)), (0, (1, 1.5)))  # of all bands but the innermost


@guarded
def plot_bands(found: BandedDifference, ax: "Axes | None" = None, **line_kws: Any) -> "Axes":
    """Difference of two systems with the bands round it, and where the curves may cross.

    Parameters
    ----------
    found : MeasuredDifference or Prediction
    ax : matplotlib Axes or None
    **line_kws
        For the line of the difference.

    Returns
    -------
    matplotlib Axes

    Examples
    --------
    >>> import wavesim as ws
    >>> a = [[150.0, 181.0, 170.0], [149.2, 180.3, 169.1], [149.6, 180.0, 169.2]]
    >>> b = [[153.1, 180.9, 174.2], [153.5, 180.7, 173.7], [152.6, 180.2, 173.6]]
    >>> (ax,) = ws.plots.new_axes()
    >>> found = ws.measured_difference([2000.0, 4000.0, 6000.0], a, b)
    >>> plot_bands(found, ax).get_ylabel()
    'difference of torque [N m]'
    """
    check_form("plot_bands", "found", found, BandedDifference)
    from matplotlib.colors import to_rgba

    ax, look, shade = axes_or_new(ax), display(found.quantity), COLOURS[0]
    y = look.factor * found.difference
    ax.axhline(0.0, color=REFERENCE, lw=2.0, zorder=1.0)
    last = len(found.bands) - 1
    for i, (name, half_width) in enumerate(found.bands.items()):
        low, high = y - look.factor * half_width, y + look.factor * half_width
        edge = {"lw": 1.0, "ls": _EDGES[i % len(_EDGES)]} if i < last else {"lw": 0.0}
        ax.fill_between(found.rpm, low, high, fc=to_rgba(shade, 0.14 + 0.16 * (i == last)),
                        ec=shade, zorder=0.5 + 0.1 * i, label=name, **edge)
    a, b = map(legend_name, found.names)
    ax.plot(found.rpm, y, **({"color": shade, "lw": 1.9, "marker": MARKERS[0], "ms": 5.0,
                              "zorder": 3.0, "label": f"{b} less {a}"} | line_kws))
    _mark_pieces(ax, found.pieces)
    ax.set_xlabel("engine speed [rev/min]")
    unit = "points" if look.unit == "%" else look.unit
    ax.set_ylabel(f"difference of {look.label}" + (f" [{unit}]" if unit else ""))
    legend(ax)
    return dress(ax)


def _mark_pieces(ax, pieces):
    """A bar on a line of its own, below all that is drawn, for each piece."""
    if not pieces:
        return
    low, high = ax.get_ylim()
    ax.set_ylim(low - 0.12 * (high - low), high)
    across = ax.get_xaxis_transform()
    for one in pieces:
        ax.plot(one, [0.04, 0.04], transform=across, color="black", lw=2.5, marker="|", ms=9.0,
                mew=1.6, zorder=4.0, solid_capstyle="butt")
    ax.text(0.995, 0.06, "the curves may cross here", transform=ax.transAxes, fontsize=8,
            ha="right", va="bottom")


@guarded
def plot_fit(
    found: FittedCurves, ax: "Axes | None" = None, quantity: str | None = None, **line_kws: Any
) -> "Axes":
    """Mean of the pulls with its band, and what was computed before and after the fit.

    Parameters
    ----------
    found : Fit
    ax : matplotlib Axes or None
    quantity : str or None
        One that was fitted; None: the first.
    **line_kws
        For the line after the fit.

    Returns
    -------
    matplotlib Axes

    Raises
    ------
    InputError
        If the quantity was not fitted.

    Examples
    --------
    >>> import wavesim as ws
    >>> single = ws.load(ws.demo_path("collector")).engine.replace(firing_order=(1,))
    >>> short = ws.Exhaust(primary=ws.Pipe(0.5, "40 mm"), merge=None)
    >>> pulls = [[42.1, 39.4, 45.2], [41.7, 39.1, 45.1], [42.3, 39.6, 45.6]]  # N m, invented
    >>> found = ws.fit([3000, 4500, 6000], pulls, single, short,
    ...                {"engine.friction.constant": (0.0, 9e4)}, hold_back=0, progress=False,
    ...                settings=ws.Settings(cell_length=0.1, tolerance=0.01))
    >>> (ax,) = ws.plots.new_axes()
    >>> plot_fit(found, ax).get_ylabel()
    'torque [N m]'
    """
    quantity, look, ax = _fitted("plot_fit", found, quantity, ax)
    measured, start, computed, band = (
        look.factor * curves[quantity]
        for curves in (found.measured, found.start, found.computed, found.scatter)
    )
    ax.fill_between(found.rpm, measured - band, measured + band, color=REFERENCE, alpha=0.35,
                    lw=0.0, zorder=0.5, label="band of their mean")
    ax.plot(found.rpm, start, color=COLOURS[1], lw=1.5, ls="--", label="computed before the fit")
    ax.plot(found.rpm, computed, **({"color": COLOURS[0], "lw": 1.9, "zorder": 2.5,
                                     "label": "computed after it"} | line_kws))
    _dots(ax, found, measured, "pulls, mean")
    ax.set_ylabel(look.axis)
    legend(ax)
    return dress(ax)


@guarded
def plot_residuals(
    found: FittedCurves, ax: "Axes | None" = None, quantity: str | None = None, **line_kws: Any
) -> "Axes":
    """What the pulls lie above the computed curve, before and after a fit, with their band.

    Parameters
    ----------
    found : Fit
    ax : matplotlib Axes or None
    quantity : str or None
        One that was fitted; None: the first.
    **line_kws
        For the line after the fit.

    Returns
    -------
    matplotlib Axes

    Raises
    ------
    InputError
        If the quantity was not fitted.

    Examples
    --------
    >>> import wavesim as ws
    >>> single = ws.load(ws.demo_path("collector")).engine.replace(firing_order=(1,))
    >>> short = ws.Exhaust(primary=ws.Pipe(0.5, "40 mm"), merge=None)
    >>> pulls = [[42.1, 39.4, 45.2], [41.7, 39.1, 45.1], [42.3, 39.6, 45.6]]  # N m, invented
    >>> found = ws.fit([3000, 4500, 6000], pulls, single, short,
    ...                {"engine.friction.constant": (0.0, 9e4)}, hold_back=0, progress=False,
    ...                settings=ws.Settings(cell_length=0.1, tolerance=0.01))
    >>> (ax,) = ws.plots.new_axes()
    >>> plot_residuals(found, ax).get_ylabel()
    'torque, pulls less computed [N m]'
    """
    quantity, look, ax = _fitted("plot_residuals", found, quantity, ax)
    before, after = (look.factor * (found.measured[quantity] - curves[quantity])
                     for curves in (found.start, found.computed))
    band = look.factor * found.scatter[quantity]
    ax.axhline(0.0, color=REFERENCE, lw=2.0, zorder=1.0)
    ax.fill_between(found.rpm, -band, band, color=REFERENCE, alpha=0.35, lw=0.0, zorder=0.5,
                    label="band of their mean")
    ax.plot(found.rpm, before, color=COLOURS[1], lw=1.5, ls="--", label="before the fit")
    ax.plot(found.rpm, after, **({"color": COLOURS[0], "lw": 1.9, "label": "after it"} | line_kws))
    _dots(ax, found, after, None)
    unit = f" [{look.unit}]" if look.unit else ""
    ax.set_ylabel(f"{look.label}, pulls less computed{unit}")
    legend(ax)
    return dress(ax)


def _fitted(owner, found, quantity, ax):
    check_form(owner, "found", found, FittedCurves)
    quantity = next(iter(found.measured)) if quantity is None else quantity
    check_choice(owner, "quantity", quantity, found.measured)
    ax = axes_or_new(ax)
    ax.set_xlabel("engine speed [rev/min]")
    return quantity, display(quantity), ax


def _dots(ax, found, y, name):
    """Dots at the speeds of the fit, open ones where a speed was held back."""
    kept = ~np.asarray(found.held_back, dtype=bool)
    style = {"ls": "", "marker": MARKERS[0], "ms": 6.0, "mec": "black", "mew": 1.2, "zorder": 3.0}
    ax.plot(found.rpm[kept], y[kept], mfc="black", label=name, **style)
    if not kept.all():
        ax.plot(found.rpm[~kept], y[~kept], mfc="white", label="held back from the fit", **style)
