"""Figures of the sheet, each drawn into a box of a page: a figure of its own or part of a page.

A box is (x, y, width, height) in inches from the lower left corner of its figure, and holds axes
with all their labels.  Lines and colours are those of `style`; A is the reference, B the variant.
"""

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np

from wavesim.show.drawings import Outline
from wavesim.show.quantities import display
from wavesim.show.style import FAINT, MARKERS, REFERENCE, colour, dress, legend_name, line_of

#: Sizes of all that is drawn on the sheet.
STYLE = {
    "font.size": 8.0, "axes.labelsize": 8.0, "axes.titlesize": 8.5, "xtick.labelsize": 7.5,
    "ytick.labelsize": 7.5, "legend.fontsize": 7.5, "axes.linewidth": 0.6, "xtick.major.width": 0.6,
    "ytick.major.width": 0.6, "xtick.major.size": 2.5, "ytick.major.size": 2.5,
    "hatch.linewidth": 0.5, "svg.fonttype": "path", "axes.labelpad": 2.0,
}
INK = "#1a1a1a"
_EDGE = 0.05  # [inch] beside the systems
_HEAD = 0.40  # [inch] above a system, for its name and the numbers of its parts
_LARGEST = 2.4  # [inch/m] scale of short systems
_MOST_MARKS = 14  # of a measured curve
_THIN = 0.06  # share of the largest difference below which a part goes into the rest
_LETTERS = "AB"
#: Of bars in a stack, in the order of the parts that are drawn: neighbours differ on a grey print.
_BARS = (("#0067ad", ""), ("#f0bd30", "//"), ("#7a1f3d", ""), ("#9fd8bd", ".."), ("#c85200", "xx"),
         ("#dddddd", "\\\\"), ("#3a0c4a", ""), ("#ffffff", "||"), ("#5fc98a", "--"),
         ("#8a8a8a", "++"))
_PALE = "#b9d6ea"  # gain and loss behind the difference
_SAID = ("#111111", "#c85200")  # measured, predicted


class Said(NamedTuple):
    """A difference that was measured or predicted, with bands round it.

    Attributes
    ----------
    word : str
        "measured" or "predicted".
    rpm, difference : ndarray, (n,)
        [rev/min], SI unit.
    bands : mapping of str to ndarray, each (n,)
        Half widths by what is said of them, the widest first.
    """

    word: str
    rpm: np.ndarray
    difference: np.ndarray
    bands: Mapping[str, np.ndarray]


def figure_of(width, height, draw):
    """A figure of that size [inch] with one panel all over it."""
    from matplotlib import rc_context
    from matplotlib.figure import Figure

    with rc_context(STYLE):
        figure = Figure(figsize=(width, height))
        draw(figure, (0.0, 0.0, width, height))
    return figure


def svg_of(figure):
    """A figure as the text of an SVG picture, without what stands before its first element."""
    import io

    from matplotlib import rc_context

    text = io.StringIO()
    with rc_context(STYLE):
        figure.savefig(text, format="svg", metadata={"Date": None, "Creator": None})
    whole = text.getvalue()
    return whole[whole.index("<svg"):]


def _axes(figure, box, left=0.46, right=0.08, bottom=0.34, top=0.2):
    """Axes in a box, with room for their labels [inch]."""
    x, y, width, height = box
    w, h = figure.get_size_inches()
    ax = figure.add_axes([(x + left) / w, (y + bottom) / h, (width - left - right) / w,
                          (height - bottom - top) / h])
    return dress(ax)


# --- the systems ----------------------------------------------------------------------------------


def systems_height(width, outlines):
    """Height [inch] that both systems take in a box of that width, and what `draw_systems` asks."""
    return _lay(width, outlines)[-1]


def _lay(width, outlines):
    """Scale [inch/m], whether side by side, and height of the box [inch].

    Side by side where both are short, so that this makes the drawing no more than a third smaller.
    """
    longs, width = [one.long for one in outlines], width - 2.0 * _EDGE
    below = min(width / max(longs), _LARGEST)
    beside = min((width - 0.4) / sum(longs), _LARGEST)
    is_beside = 1.34 * beside > below
    scale = beside if is_beside else below
    tall = [scale * (one.high - one.low) for one in outlines]
    rows = [max(tall)] if is_beside else tall
    return scale, is_beside, sum(rows) + (_HEAD + 0.08) * len(rows) + 0.25


def draw_systems(figure, box, outlines: Sequence[Outline], names: Sequence[str]):
    """Both systems on one scale, their parts numbered, with a bar that gives the scale.

    Returns
    -------
    list of list of str
        The key to the numbers of each.
    """
    scale, is_beside, _ = _lay(box[2], outlines)
    ax = _axes(figure, box, 0.0, 0.0, 0.0, 0.0)
    ax.set_axis_off()
    ax.set_xlim(0.0, box[2] / scale)
    ax.set_ylim(-box[3] / scale, 0.0)
    keys, x, y = [], _EDGE / scale, 0.0
    for one, name, letter in zip(outlines, names, _LETTERS, strict=False):
        before = len(ax.texts)
        head = _HEAD / scale
        keys.append(one.draw(ax, x, y - head - one.high))
        _unfold(ax.texts[before:], scale)
        ax.text(x, y - 0.02 / scale, f"{letter}  {legend_name(name)}", va="top", ha="left",
                fontsize=8.5, fontweight="bold", color=INK)
        if is_beside:
            x += one.long + 0.4 / scale
        else:
            y -= head + one.high - one.low + 0.08 / scale
    for patch in ax.patches:
        patch.set_linewidth(0.5)
    _scale_bar(ax, scale, box)
    return keys


def _unfold(labels, scale):
    """Numbers that would overlap are put one row higher."""
    taken = []  # (row, y, right end) in points
    for label in sorted(labels, key=lambda one: (-round(one.xy[1], 3), one.xy[0])):
        label.set_fontsize(7.0)
        x, y = 72.0 * scale * label.xy[0], 72.0 * scale * label.xy[1]
        half = 0.5 * 4.6 * len(label.get_text()) + 0.8
        row = 0
        while any(row == other and abs(y - height) < 6.0 and x - half < end
                  for other, height, end in taken):
            row += 1
        taken.append((row, y, x + half))
        dx, dy = label.get_position()
        label.set_position((dx, dy - 1.0 + 7.5 * row))


def _scale_bar(ax, scale, box):
    """A bar of a round length, and the scale as a ratio."""
    long = 0.5 if scale > 0.7 else 1.0
    right, low = (box[2] - _EDGE) / scale, -box[3] / scale + 0.10 / scale
    ax.plot([right - long, right], [low, low], color=INK, lw=2.0, solid_capstyle="butt")
    for end in (right - long, right):
        ax.plot([end, end], [low - 0.03 / scale, low + 0.03 / scale], color=INK, lw=0.8)
    words = "all lines laid straight, lengths and bores in one scale; hatched: bends"
    ax.text(right - long - 0.06 / scale, low, f"{long:g} m", va="center", ha="right", fontsize=7.0)
    if box[2] > 5.0:
        ax.text(_EDGE / scale, low, words, va="center", ha="left", fontsize=7.0, style="italic")


# --- curves ---------------------------------------------------------------------------------------


def draw_power(figure, box, comparison, said=(), measured=()):
    """Torque and power of both on one chart, and their difference of torque below.

    Parameters
    ----------
    figure, box
    comparison : CurveDifference
        Of the computed curves.
    said : sequence of Said
        Differences that were measured or predicted.
    measured : sequence of SpeedCurve
        Measured curves of A and B, or none.
    """
    x, y, width, height = box
    below = (0.46 if said else 0.40) * height
    words = [*(f"{letter}  {legend_name(name)}"
               for letter, name in zip(_LETTERS, comparison.names, strict=True)),
             *(f"{letter} measured" for letter, _ in zip(_LETTERS, measured, strict=False)), "peak"]
    columns = int((width - 0.7) / (0.064 * max(map(len, words)) + 0.62))
    columns = min(max(1, columns), len(words))
    top = 0.10 + 0.145 * -(-len(words) // columns)
    upper = _axes(figure, (x, y + below, width, height - below), right=0.48, bottom=0.05, top=top)
    over = [len(one.word) + max(map(len, one.bands), default=0) for one in said]
    abreast = max(1, int((width - 0.9) / (0.064 * max(over, default=1) + 0.62)))
    rows = -(-(1 + 2 * len(said)) // abreast) if said else 0
    lower = _axes(figure, (x, y, width, below), right=0.48, top=0.06 + 0.15 * rows)
    handles = _curves(upper, comparison, measured)
    upper.legend(handles, words, loc="lower left", bbox_to_anchor=(-0.02, 1.0), frameon=False,
                 ncols=columns, handlelength=2.8, borderaxespad=0.1, columnspacing=1.4,
                 labelspacing=0.25)
    _difference(lower, comparison, said)
    if said:
        lower.legend(loc="lower left", bbox_to_anchor=(-0.02, 1.0), frameon=False, ncols=abreast,
                     borderaxespad=0.1, handlelength=2.4, columnspacing=1.2, labelspacing=0.25)
    upper.set_xlim(lower.get_xlim())
    upper.set_xticklabels([])
    lower.set_xlabel("engine speed [rev/min]")


def _curves(ax, comparison, measured):
    """Torque and power of all; returns handles for a legend."""
    right = ax.twinx()
    right.spines[["top", "left"]].set_visible(False)
    scales = ((ax, "torque"), (right, "power"))
    for scale, quantity in scales:
        look = display(quantity)
        for i, curve in enumerate((comparison.a, comparison.b)):
            thin = 1.0 if scale is ax else 0.6
            style = line_of(i)
            y = look.factor * curve[quantity]
            scale.plot(curve.rpm, y, **(style | {"lw": thin * style["lw"]}), ms=4.0 * thin,
                       marker=MARKERS[i], zorder=2.0 + i)
            _open_dots(scale, curve, y, i)
            top = int(np.nanargmax(y))
            scale.plot([curve.rpm[top]], [y[top]], ls="", marker="*", ms=9.0 + 2.0 * thin,
                       mew=0.7, color=colour(i), mec="black", zorder=5.0)
        for i, curve in enumerate(measured):
            if quantity in curve.quantities:
                every = max(1, len(curve.rpm) // _MOST_MARKS)
                scale.plot(curve.rpm, look.factor * curve[quantity], color=_SAID[0], zorder=4.0,
                           ls=("-", ":")[i], lw=0.7, marker="sx"[i], markevery=every, ms=3.6,
                           mew=0.8, mfc="none")
        scale.set_ylabel(look.axis)
    _share_height(ax, right)
    handles = [ax.plot([], [], **line_of(i), ms=4.0, marker=MARKERS[i])[0] for i in (0, 1)]
    handles += [ax.plot([], [], ls=("-", ":")[i], lw=0.7, marker="sx"[i], ms=3.6, mew=0.8,
                        mfc="none", color=_SAID[0])[0] for i, _ in enumerate(measured)]
    return [*handles, *ax.plot([], [], ls="", marker="*", ms=9.0, color="white", mec="black")]


def _share_height(ax, right):
    """Torque in the upper part of the chart, power in the lower one, with ticks where they lie."""
    from matplotlib.ticker import MaxNLocator

    for scale, (first, last) in ((ax, (0.42, 0.97)), (right, (0.03, 0.62))):
        low, high = scale.dataLim.intervaly
        span = (high - low or 1.0) / (last - first)
        scale.set_ylim(low - first * span, high + (1.0 - last) * span)
        ticks = MaxNLocator(5).tick_values(low, high)
        scale.set_yticks([tick for tick in ticks if low - 0.05 * span <= tick <= high])
    ax.yaxis.set_label_coords(-0.33 / _wide(ax), 0.72, transform=ax.transAxes)
    right.yaxis.set_label_coords(1.0 + 0.34 / _wide(ax), 0.30, transform=ax.transAxes)
    right.grid(False)


def _wide(ax):
    return ax.get_window_extent().width / ax.figure.dpi


def _open_dots(ax, curve, y, i):
    """Open dots where a curve is not to be trusted."""
    loose = ~np.asarray(curve.trusted, dtype=bool)
    if loose.any():
        ax.plot(curve.rpm[loose], y[loose], ls="", marker=MARKERS[i], ms=5.0, mfc="white",
                mec=colour(i), mew=1.2, zorder=4.0)


def _difference(ax, comparison, said):
    look = display("torque")
    ax.axhline(0.0, color=REFERENCE, lw=1.6, zorder=1.0)
    y = look.factor * comparison.difference("torque")
    ax.fill_between(comparison.rpm, y, 0.0, where=y >= 0.0, color=_PALE, lw=0.0, interpolate=True,
                    zorder=0.5)
    ax.fill_between(comparison.rpm, y, 0.0, where=y <= 0.0, facecolor="none", hatch="////",
                    edgecolor=_PALE, lw=0.0, interpolate=True, zorder=0.5)
    ax.plot(comparison.rpm, y, **(line_of(1) | {"lw": 1.6}), marker=MARKERS[1], ms=4.0,
            label="computed", zorder=3.0)
    for one, shade in zip(said, _SAID, strict=False):
        dashed = one.word == "predicted"
        for words, half in list(one.bands.items())[:1]:  # the widest: of a range of speed
            edge = {"facecolor": "none", "hatch": "\\\\\\\\", "edgecolor": shade, "lw": 0.6,
                    } if dashed else {"color": "#cccccc", "lw": 0.0}
            ax.fill_between(one.rpm, look.factor * (one.difference - half),
                            look.factor * (one.difference + half), zorder=1.2, **edge,
                            label=f"{one.word}, {words}")
        ax.plot(one.rpm, look.factor * one.difference, color=shade, lw=1.2,
                ls="-." if dashed else "-", marker="^" if dashed else "s", ms=3.2, zorder=3.5,
                markevery=max(1, len(one.rpm) // _MOST_MARKS), label=one.word)
    low, high = ax.get_ylim()
    ax.set_ylim(low - 0.20 * (high - low), high + 0.06 * (high - low))
    ax.set_ylabel("torque, B less A [N m]")
    ax.yaxis.set_label_coords(-0.33 / _wide(ax), 0.5, transform=ax.transAxes)
    _crossings(ax, [(one.rpm, f"{one.rounded:.0f}") for one in comparison.crossings("torque")])


def _crossings(ax, found):
    """The speeds at which the curves cross, along the lower edge, near ones in two rows."""
    wide, (first, last) = _wide(ax), ax.get_xlim()
    across, ends = ax.get_xaxis_transform(), [-np.inf, -np.inf]
    for rpm, words in found:
        place = wide * (rpm - first) / (last - first)
        row = 0 if place - 0.2 > ends[0] else 1
        ends[row] = place + 0.2
        ax.plot([rpm, rpm], [0.0, 1.0], transform=across, color=INK, lw=0.6, ls=":", zorder=1.0)
        ax.text(rpm, 0.02 + 0.105 * row, words, transform=across, fontsize=7.0, ha="center",
                va="bottom", bbox={"boxstyle": "square,pad=0.1", "fc": "white", "ec": "none"},
                zorder=4.0)
    if found and wide > 4.0:
        ax.annotate("dotted: the curves cross", (1.0, 0.0), (0.0, -24.0), xycoords="axes fraction",
                    textcoords="offset points", fontsize=6.5, ha="right", va="bottom",
                    style="italic")


def draw_quantity(figure, box, curves, quantity, title):
    """One quantity of both against speed, as a small figure with its title above."""
    ax = _axes(figure, box, left=0.42, bottom=0.30, top=0.24)
    look = display(quantity)
    for i, curve in enumerate(curves):
        style = line_of(i)
        y = look.factor * curve[quantity]
        ax.plot(curve.rpm, y, **(style | {"lw": 0.7 * style["lw"]}), marker=MARKERS[i], ms=3.0,
                zorder=2.0 + i)
        _open_dots(ax, curve, y, i)
    low, high = ax.get_ylim()
    least = 0.02 * max(abs(low), abs(high))  # equal curves are no drama of the last digit
    if high - low < least:
        ax.set_ylim(0.5 * (low + high) - least, 0.5 * (low + high) + least)
    ax.locator_params(nbins=4)
    ax.set_xlabel("rev/min", labelpad=1.0)
    unit = f" [{look.unit}]" if look.unit else ""
    ax.set_title(f"{title}{unit}", loc="left", fontsize=8.0, fontweight="bold", pad=3.0,
                 x=-0.36 / _wide(ax))
    ax.title.set_ha("left")


def draw_parts(figure, box, parts):
    """What the difference of torque is made of, as stacked bars, with its words beside it."""
    narrow = box[2] < 4.4
    big = max(np.max(np.abs(parts.total)), 1e-9)
    kept = {name: values for name, values in parts.parts.items()
            if np.max(np.abs(values)) > _THIN * big}
    rest = parts.total - np.sum([np.zeros(len(parts.rpm)), *kept.values()], axis=0)
    rows = -(-(len(kept) + 2) // 2)
    top = 0.12 if not narrow else 0.10 + 0.15 * rows
    ax = _axes(figure, box, right=0.08 if narrow else 1.55, top=top)
    rpm = np.asarray(parts.rpm, dtype=float)
    width = 0.66 * (np.min(np.diff(rpm)) if rpm.size > 1 else 500.0)
    above, below = np.zeros(rpm.size), np.zeros(rpm.size)
    looks = {name: (parts.labels[name], *look)
             for name, look in zip(kept, _BARS, strict=False)} | {"rest": ("all else", "white", "")}
    for name, values in (kept | {"rest": rest}).items():
        label, shade, hatch = looks[name]
        ax.bar(rpm, values, width, bottom=np.where(values >= 0.0, above, below), color=shade,
               hatch=hatch, edgecolor="black", linewidth=0.4, label=label)
        above, below = above + np.maximum(values, 0.0), below + np.minimum(values, 0.0)
    ax.plot(rpm, parts.total, color="black", lw=1.4, marker="o", ms=3.5, mfc="white", label="whole",
            zorder=4.0)
    ax.axhline(0.0, color=INK, lw=0.7)
    ax.set_ylabel("torque, B less A [N m]")
    ax.set_xlabel("engine speed [rev/min]")
    place = ({"loc": "lower left", "bbox_to_anchor": (-0.08, 1.0), "ncols": 2} if narrow
             else {"loc": "upper left", "bbox_to_anchor": (1.0, 1.02)})
    ax.legend(frameon=False, handlelength=1.6, labelspacing=0.35, columnspacing=1.0,
              borderaxespad=0.2, **place)


def draw_rule(figure, x, y, width, weight=0.6, shade=FAINT):
    """A horizontal rule on a page [inch]."""
    from matplotlib.lines import Line2D

    w, h = figure.get_size_inches()
    figure.add_artist(Line2D([x / w, (x + width) / w], [y / h, y / h], color=shade, lw=weight))
