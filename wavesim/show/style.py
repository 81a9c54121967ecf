"""How every figure looks: colours, lines, markers, legends, titles; the one place for it.

The first curve is the reference, broad and grey.  The others differ in colour, in line and in
marker, so that any one of the three is enough to tell them apart.  The colours stand in an order of
light and dark (`luma`): on a grey print no two of a figure with up to seven curves are alike, and
neighbours in the legend differ most.  Their hues, blue, vermilion, violet, green, wine and yellow,
are told apart by colour-blind readers, but for violet and wine (after Okabe and Ito, 2008, Color
Universal Design, whose own eight colours have two pairs of one luma).
"""

import numpy as np

from wavesim.errors import InputError

REFERENCE = "#8a8a8a"
COLOURS = ("#0067ad", "#c85200", "#3a0c4a", "#5fc98a", "#7a1f3d", "#f0bd30")
MARKERS = "oDs^vp<>"
DASHES = ("-", "--", "-.", ":", (0, (6, 1, 1, 1, 1, 1)), (0, (9, 2)), (0, (2, 1)))
FAINT = "#d9d9d9"
OVERLAP = "#fbe7a8"
BAND = "stated uncertainty"
LONGEST_NAME = 48  # letters in a legend
_EDGE = 1.0  # width of the dark edge round a light line, beyond its own [points]
_CLOSE = 0.06  # share of a way below which two joints share a text
_LEGEND_WIDTH = 80  # letters in a line of a legend, were they all of the widest


def colour(i: int) -> str:
    """Colour of curve number i: grey for the first, the reference."""
    return REFERENCE if i == 0 else COLOURS[(i - 1) % len(COLOURS)]


def dash(i: int) -> str | tuple:
    """Line style of curve number i: whole for the first."""
    return DASHES[i % len(DASHES)]


def line_of(i: int) -> dict:
    """Colour, line style and width of curve number i; the reference is broad and whole."""
    return {"color": colour(i), "ls": dash(i), "lw": 2.8 if i == 0 else 1.9}


def luma(shade: str) -> float:
    """How light a colour is on a grey print, 0 black to 1 white.

    Weights of ITU-R BT.601: 0.299 red, 0.587 green, 0.114 blue (from memory).

    Examples
    --------
    >>> round(luma("#ffffff"), 2), round(luma("#0067ad"), 2)
    (1.0, 0.31)
    """
    shares = (int(shade[i : i + 2], 16) / 255.0 for i in (1, 3, 5))
    return float(np.dot((0.299, 0.587, 0.114), list(shares)))


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


def axes_or_new(ax, height=4.2):
    """The given Axes, or one on a new pyplot figure of that height [inch]."""
    if ax is not None:
        return ax
    from matplotlib import pyplot

    return pyplot.subplots(figsize=(8.0, height), layout="constrained")[1]


def stack(axes, rows):
    """The given Axes as an array, or new ones one above the other on a new pyplot figure."""
    if axes is None:
        from matplotlib import pyplot

        axes = pyplot.subplots(rows, figsize=(8.0, 3.9 * rows), layout="constrained")[1]
    axes = np.ravel(axes)
    if axes.size != rows:
        raise InputError(f"plots: axes must hold {rows} Axes, got {axes.size}.")
    return axes


def share(axes):
    """One legend and one label of the speed axis for Axes that stand one above the other."""
    for ax in axes[1:]:
        ax.get_legend().remove()
    for ax in axes[:-1]:
        ax.set_xlabel("")
    return axes


def dress(ax):
    """Thin grid behind the lines, no frame above and at the right."""
    ax.grid(True, color=FAINT, lw=0.6)
    ax.set_axisbelow(True)
    ax.spines[["top", "right"]].set_visible(False)
    return ax


def legend(ax, also=None, **legend_kws):
    """Names above the Axes, where no curve can run through them.

    Parameters
    ----------
    ax : matplotlib Axes
    also : matplotlib Axes or None
        With a second scale, whose lines are named too.
    **legend_kws
        Such as another place.
    """
    handles, labels = ax.get_legend_handles_labels()
    if also is not None:
        more = also.get_legend_handles_labels()
        handles, labels = handles + more[0], labels + more[1]
    longest = max(map(len, labels), default=0)
    columns = min(3, max(1, _LEGEND_WIDTH // (longest + 5)))
    style = {"frameon": False, "loc": "lower left", "bbox_to_anchor": (0.0, 1.0),
             "ncols": columns, "borderaxespad": 0.2, "fontsize": 9, "handlelength": 3.2}
    ax.legend(handles, labels, **(style | legend_kws))


def edged(width):
    """For `path_effects`: a dark edge round a light line, so that it is seen on any ground."""
    from matplotlib.patheffects import Normal, Stroke

    return [Stroke(linewidth=width + _EDGE, foreground="black"), Normal()]


def name_joints(ax, joints, length):
    """Names of the joints of a way above the Axes, those that stand close together in one text.

    Parameters
    ----------
    ax : matplotlib Axes
        With the way along.
    joints : sequence of (float, str)
        Steps of bore have no name here.
    length : float
        Of the way, in the unit of the joints.
    """
    texts = []
    for x, name in joints:
        if name.startswith("step "):
            continue
        if texts and x - texts[-1][0] < _CLOSE * length:
            texts[-1][1].append(name)
        else:
            texts.append((x, [name]))
    for x, names in texts:
        ax.text(x, 1.01, legend_title(", ".join(names)), transform=ax.get_xaxis_transform(),
                rotation=30, fontsize=8, ha="left", va="bottom")


def titled(axes, text):
    """Some Axes, after a title in the top left corner of their figure; an empty one is none."""
    if text:
        np.ravel(axes)[0].figure.suptitle(legend_title(text), x=0.01, ha="left", fontsize=11,
                                          fontweight="bold")
    return axes


def legend_title(text):
    """A title that begins no formula."""
    return " ".join(str(text).split()).replace("$", r"\$")
