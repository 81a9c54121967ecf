"""Figure of a choice: variants over two or three aims, and those that none of the others beats."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from wavesim import errors
from wavesim.errors import InputError, check_kind
from wavesim.fields.description import sequence
from wavesim.guard import guarded
from wavesim.show.style import COLOURS, REFERENCE, axes_or_new, dress, legend, legend_name

if TYPE_CHECKING:
    from matplotlib.axes import Axes

LABELLED = 12  # variants up to which the dominated ones are named too
_LONGEST = 26  # letters of a name beside a dot


@guarded
def plot_front(
    columns: Mapping[str, Sequence[float] | np.ndarray],
    front: Sequence[bool] | np.ndarray,
    names: Sequence[str],
    down: Sequence[bool],
    trusted: Sequence[bool] | np.ndarray | None = None,
    ax: "Axes | None" = None,
    **marker_kws: Any,
) -> "Axes":
    """Variants over two aims, or three of which the last is the shade.

    Parameters
    ----------
    columns : mapping of str to sequence of float
        Values of two or three aims by label, one for each variant; NaN: no dot.
    front : sequence of bool
        True for those that no other beats: they are large, framed and named.
    names : sequence of str
        Of the variants.
    down : sequence of bool
        True for each aim of which less is better.
    trusted : sequence of bool or None
        False for an open dot; None: all are trusted.
    ax : matplotlib Axes or None
    **marker_kws
        For all dots.

    Returns
    -------
    matplotlib Axes
        With two aims a stepped line borders what is reached.

    Raises
    ------
    InputError
        If there are not two or three aims, or the lengths differ.

    Examples
    --------
    >>> from wavesim.show import plots
    >>> (ax,) = plots.new_axes()
    >>> plot_front({"torque": [100.0, 110.0], "mass": [5.0, 9.0]}, [True, True], ["a", "b"],
    ...            [False, True], ax=ax).get_ylabel()
    'mass'
    """
    check_kind("plot_front", "columns", columns, Mapping)
    labels = list(columns)
    values = [errors.as_floats("plot_front", label, columns[label]) for label in labels]
    names = sequence("plot_front", "names", names, "texts")
    good = np.ones(len(names), bool) if trusted is None else np.asarray(trusted, dtype=bool)
    front = np.asarray(front, dtype=bool)
    if not 2 <= len(labels) <= 3 or len(sequence("plot_front", "down", down, "flags")) != len(
        labels
    ):
        raise InputError("plot_front: columns must hold two or three aims, down a flag for each.")
    if any(one.shape != (len(names),) for one in (*values, good, front)):
        raise InputError("plot_front: columns, front, names and trusted must be of one length.")
    ax = axes_or_new(ax, height=4.8)
    x, y = values[:2]
    if len(values) == 2 and front.any():
        ax.plot(*_steps(x[front], y[front], *down), color=COLOURS[0], lw=1.2, ls="--", zorder=1.5,
                label="border of what is reached")
    shade = values[2] if len(values) > 2 else None
    for chosen, size, edge, word in ((~front, 34.0, REFERENCE, "beaten by another"),
                                     (front, 110.0, "black", "beaten by no other")):
        for sure in (True, False):
            _dots(ax, x, y, shade, chosen & (good == sure), sure, size, edge, word, marker_kws)
    if shade is not None:
        _shade_scale(ax, shade, labels[2])
    _names(ax, x, y, names, front | (len(names) <= LABELLED), front)
    ax.set_xlabel(labels[0])
    ax.set_ylabel(labels[1])
    ax.margins(0.12, 0.12)
    legend(ax)
    return dress(ax)


def _dots(ax, x, y, shade, chosen, sure, size, edge, word, marker_kws):
    if not chosen.any():
        return
    label = word if sure else f"{word}, not converged"
    style = {"s": size, "edgecolors": edge, "linewidths": 1.3, "label": label, "zorder": 3.0,
             "marker": "o" if sure else "s"} | marker_kws
    if shade is None:
        fill = COLOURS[0] if edge == "black" else "#d0d0d0"
        ax.scatter(x[chosen], y[chosen], color="none" if not sure else fill, **style)
    else:
        ax.scatter(x[chosen], y[chosen], c=shade[chosen], cmap="viridis",
                   vmin=np.nanmin(shade), vmax=np.nanmax(shade), **style)


def _shade_scale(ax, shade, label):
    from matplotlib.cm import ScalarMappable
    from matplotlib.colors import Normalize

    scale = Normalize(np.nanmin(shade), np.nanmax(shade))
    ax.figure.colorbar(ScalarMappable(scale, "viridis"), ax=ax, label=label)


def _names(ax, x, y, names, wanted, front):
    """Names beside the dots, above and below in turn from left to right."""
    order = [i for i in np.argsort(x) if wanted[i] and np.isfinite(x[i]) and np.isfinite(y[i])]
    for turn, i in enumerate(order):
        name = legend_name(names[i])
        name = name if len(name) <= _LONGEST else f"{name[: _LONGEST - 3]}..."
        up = turn % 2 == 0
        ax.annotate(name, (x[i], y[i]), (0.0, 9.0 if up else -9.0), textcoords="offset points",
                    ha="center", va="bottom" if up else "top", fontsize=8,
                    color="black" if front[i] else "#606060", zorder=4.0)


def _steps(x, y, x_down, y_down):
    """Corners of the border of what is reached, from one end of the front to the other.

    Between two neighbours lies the corner that is the worse in both aims.
    """
    order = np.lexsort((y, x))
    x, y = x[order], y[order]
    corner_x = np.maximum(x[:-1], x[1:]) if x_down else np.minimum(x[:-1], x[1:])
    corner_y = np.maximum(y[:-1], y[1:]) if y_down else np.minimum(y[:-1], y[1:])
    xs, ys = np.empty(2 * x.size - 1), np.empty(2 * x.size - 1)
    xs[::2], ys[::2], xs[1::2], ys[1::2] = x, y, corner_x, corner_y
    return xs, ys
