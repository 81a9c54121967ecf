"""Drawings of an exhaust: the whole system to scale, and what its parts weigh and measure.

The drawing lays every line straight along its centre line, as a fitter measures it: lengths and
bores have one scale.  What a bend turns is written beside it, what a silencer holds is drawn inside
its case.  Only the oblique strokes between two lines, which stand for the merges, have no length.
It is made of the pieces that parts are laid of (`descriptions.pieces`), so that a new part is drawn
without a word here.
"""

from itertools import pairwise
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from wavesim.descriptions.engine import Engine
from wavesim.descriptions.exhaust import Exhaust, banks_of
from wavesim.descriptions.joints import HPipe, Merge
from wavesim.descriptions.parts import Monolith
from wavesim.descriptions.pieces import Branch, Opening, Stretch
from wavesim.descriptions.pipes import Bend, Part
from wavesim.errors import check_kind
from wavesim.guard import guarded
from wavesim.show.style import COLOURS, FAINT, dress, legend, legend_name

if TYPE_CHECKING:
    from matplotlib.axes import Axes

GAP = 0.06  # [m] along the drawing for the strokes of a merge
_LANE = 0.04  # [m] of room between two lines that lie side by side
_PLATE = 0.004  # [m] thickness with which a plate is drawn
_KEY_COLUMNS = 2
_KEY_LINE = 11.8  # [point] height of a line of the key


class Laid(NamedTuple):
    """One line where it lies in the drawing.

    Attributes
    ----------
    name : str
        Such as "primary 2".
    parts : tuple of Part
    x, y : float
        Start of its centre line [m].
    end : float
        Where it ends along x [m].
    """

    name: str
    parts: tuple[Part, ...]
    x: float
    y: float
    end: float


@guarded
def draw_exhaust(
    exhaust: Exhaust, engine: Engine | int | None = None, ax: "Axes | None" = None
) -> "Axes":
    """Draw an exhaust to scale: lines with their bores and lengths, bends, silencers, joints.

    Parameters
    ----------
    exhaust : Exhaust
    engine : Engine, int or None
        The engine, or its number of cylinders in one bank; None: as many as `primaries`.
    ax : matplotlib Axes or None
        None makes a new figure.

    Returns
    -------
    matplotlib Axes
        The gas runs from left to right.  Lines are laid straight along their centre line; lengths
        and bores have one scale [m].  Equal lines are numbered once, and the numbers are the key
        to the sizes below, in mm.

    Raises
    ------
    InputError
        If the number of cylinders is not known or does not fit.

    Examples
    --------
    >>> from wavesim.descriptions.pipes import Pipe
    >>> system = Exhaust(name="open", primary=Pipe(0.75, 0.038), collector=Pipe(0.5, 0.058))
    >>> ax = draw_exhaust(system, 4)
    >>> ax.get_title(loc="left"), ax.get_xlabel()
    ('open', 'length along the flow [m]')
    """
    check_kind("draw_exhaust", "exhaust", exhaust, Exhaust)
    lines, joints, linked = _laid(exhaust, banks_of("draw_exhaust", exhaust, engine))
    if ax is None:
        count = sum(map(len, {line.parts for line in lines})) + (exhaust.bank_link is not None)
        ax = _figure_for(lines, count)
    key = _draw(ax, exhaust, lines, joints, linked)
    _dress_drawing(ax, exhaust, lines, key)
    return ax


class Outline(NamedTuple):
    """A system as it lies in its drawing, not yet drawn.

    Attributes
    ----------
    exhaust : Exhaust
    lines : list of Laid
    joints : list of pairs of (x, y)
    linked : list of Laid
    low, high, long : float
        How far it reaches below and above the axis of its first line, and along the flow [m].
    """

    exhaust: Exhaust
    lines: list[Laid]
    joints: list
    linked: list[Laid]
    low: float
    high: float
    long: float

    def draw(self, ax: "Axes", x: float, y: float) -> list[str]:
        """Draw it on some Axes with its start at (x, y) [m]; returns the key to its numbers."""
        lines, linked = ([one._replace(x=one.x + x, y=one.y + y, end=one.end + x) for one in some]
                         for some in (self.lines, self.linked))
        joints = [((x0 + x, y0 + y), (x1 + x, y1 + y)) for (x0, y0), (x1, y1) in self.joints]
        return _draw(ax, self.exhaust, lines, joints, linked)


def outline(exhaust: Exhaust, engine: Engine | int | None) -> Outline:
    """Lay an exhaust out, to be drawn among others on one scale.

    Parameters
    ----------
    exhaust, engine
        As for `draw_exhaust`.
    """
    lines, joints, linked = _laid(exhaust, banks_of("sheet", exhaust, engine))
    low = min(line.y - 0.5 * _width(line.parts) for line in lines)
    high = max(line.y + _reach(line.parts) for line in lines)
    return Outline(exhaust, lines, joints, linked, low, high, max(line.end for line in lines))


def _draw(ax, exhaust, lines, joints, linked):
    """All lines with their numbers; returns the key to them."""
    for (x0, y0), (x1, y1) in joints:
        ax.plot([x0, x1], [y0, y1], color="black", lw=1.0, solid_capstyle="round", zorder=1.0)
    known, key = {}, []
    for line in lines:
        is_new = line.parts not in known
        known.setdefault(line.parts, line.name)
        _line(ax, line, key if is_new else None)
    link = exhaust.bank_link
    if link is not None and not isinstance(link, Merge):
        _bank_link(ax, link, linked, key)
    return key


def plot_bill(
    parts: list[tuple[str, float, float]], name: str = "", ax: "Axes | None" = None, **bar_kws: Any
) -> "Axes":
    """Length and mass of every part as bars.

    Parameters
    ----------
    parts : sequence of (str, float, float)
        Label, length [m] and mass [kg].
    name : str
        Of the exhaust, for the title.
    ax : matplotlib Axes or None
        None makes a new figure.
    **bar_kws
        For the bars.

    Returns
    -------
    matplotlib Axes
        With lengths along the lower scale; a second one above it has the masses.
    """
    if ax is None:
        from matplotlib import pyplot

        size = (8.0, 1.9 + 0.34 * len(parts))
        ax = pyplot.subplots(figsize=size, layout="constrained")[1]
    labels, lengths, masses = zip(*parts, strict=True)
    place = np.arange(len(parts))
    upper = ax.twiny()
    style = {"height": 0.36, "edgecolor": "black", "linewidth": 0.6}
    ax.barh(place - 0.2, lengths, **(
        style | {"color": COLOURS[0], "label": f"length, {sum(lengths):.2f} m in all"} | bar_kws))
    upper.barh(place + 0.2, masses, **(
        style | {"color": COLOURS[3], "hatch": "///",
                 "label": f"mass, {sum(masses):.2f} kg in all"} | bar_kws))
    for scale, values, shift, digits in ((ax, lengths, -0.2, 3), (upper, masses, 0.2, 2)):
        scale.set_xlim(0.0, 1.15 * max(values, default=0.0) or 1.0)
        for i, value in enumerate(values):
            scale.text(value, i + shift, f" {value:.{digits}f}", va="center", fontsize=8)
    ax.set_yticks(place, [legend_name(label) for label in labels])
    ax.invert_yaxis()
    ax.set_xlabel("length [m]")
    upper.set_xlabel("mass [kg]")
    dress(ax).grid(False, axis="y")
    upper.spines[["right"]].set_visible(False)
    legend(ax, also=upper, loc="lower right", bbox_to_anchor=(1.0, 0.0), ncols=1)
    if name:
        ax.set_title(legend_name(name), loc="left", fontsize=11, fontweight="bold")
    return ax


# --- where everything lies ------------------------------------------------------------------------


def _laid(exhaust, banks):
    """Lines where they lie, the strokes between them, and the two lines that a link joins.

    Strokes are pairs of (x, y).
    """
    count = len(banks)
    groups = {bank: [n for n in range(1, count + 1) if banks[n - 1] == bank]
              for bank in sorted(set(banks))}
    pairs = {bank: [(n,) for n in own] if exhaust.pairs is None else exhaust.pairs_of(own, count)
             for bank, own in groups.items()}
    lines, joints = _primaries(exhaust, pairs, count), []
    ends = {n: line for n, line in zip((n for own in pairs.values() for pair in own for n in pair),
                                       lines, strict=True)}
    meeting = {bank: [] for bank in groups}
    for bank, own in pairs.items():
        for pair in own:
            if exhaust.pairs is None:
                meeting[bank].append(ends[pair[0]])
                continue
            own_tubes = [ends[n] for n in pair]
            named = [(f"secondary {'-'.join(map(str, pair))}", exhaust.secondary)]
            laid = _behind(own_tubes, exhaust.pair_merge, named, joints)
            lines += laid
            meeting[bank].append(laid[-1])
    before, after = _lines_of(exhaust)
    if exhaust.merge is None:
        systems = [[line] for own in meeting.values() for line in own]
        suffixes = [f" {n}" for n in range(1, len(systems) + 1)]
    else:
        systems = list(meeting.values())
        suffixes = [f" bank {bank}" for bank in groups] if len(groups) > 1 else [""]
    start = max(line.end for own in systems for line in own) + GAP
    outlets, linked = [], []
    for own, suffix in zip(systems, suffixes, strict=True):
        named = [(name + suffix, parts) for name, parts in before]
        laid = _behind(own, exhaust.merge, named, joints, start)
        linked.append((laid or own)[-1])
        if not isinstance(exhaust.bank_link, Merge):
            named = [(name + suffix, parts) for name, parts in after]
            laid += _behind([linked[-1]], None, named, joints)
        lines += laid
        outlets.append((laid or own)[-1])
    if isinstance(exhaust.bank_link, Merge):
        lines += _behind(outlets, exhaust.bank_link, after, joints)
    return lines, joints, linked[:2]


def _primaries(exhaust, pairs, count):
    """Primaries below one another, those that meet side by side, banks clear of one another."""
    primaries = exhaust.primary_lines(count)
    step = max(_width(line) for line in primaries) + _LANE
    behind = exhaust.collector + exhaust.pipe + exhaust.tailpipe
    between = _reach(behind) + 0.5 * _width(behind) + _LANE if behind else 0.0
    lines, y = [], 0.0
    for own in pairs.values():
        order = [n for pair in own for n in pair]
        if exhaust.merge is None:  # every one goes on by itself
            drops = {pair[-1]: max(step, between - step * (len(pair) - 1)) for pair in own}
        else:
            drops = {order[-1]: max(step, between - step * (len(order) - 1))}
        for n in order:
            lines.append(_at(f"primary {n}", primaries[n - 1], 0.0, y))
            y -= drops.get(n, step)
    return lines


def _lines_of(exhaust):
    """Lines (name, parts) behind the merge: those before the link of the banks, those behind."""
    names = ("collector", "pipe", "tailpipe")
    found = [(name, getattr(exhaust, name)) for name in names if getattr(exhaust, name)]
    if exhaust.bank_link is None:
        return found, []
    first = 1 if exhaust.collector else 0
    return found[:first], found[first:]


def _behind(before, merge, named, joints, start=None):
    """Lay lines end to end behind some others, which meet in a merge or go straight on."""
    if not named:
        return []
    y = float(np.mean([line.y for line in before]))
    if len(before) == 1:
        start = before[0].end
    else:
        start = max(line.end for line in before) + GAP if start is None else start
        joints += [((line.end, line.y), (start, y)) for line in before]
        cone = merge.cone([line.parts for line in before],
                          [part for _, parts in named for part in parts])
        named = [*([("merge cone", (cone,))] if cone is not None else []), *named]
    laid = []
    for name, parts in named:
        laid.append(_at(name, parts, start, y))
        start = laid[-1].end
    return laid


def _at(name, parts, x, y):
    return Laid(name, parts, x, y, x + sum(_length(part) for part in parts))


def _length(part):
    """Length of a part along the flow."""
    return sum(_piece_length(piece) for piece in part.pieces)


def _piece_length(piece):
    if isinstance(piece, Stretch):
        return piece.pipe.length
    return 0.0 if isinstance(piece, (Opening, Branch)) else piece.length


def _width(parts):
    """Widest part of a line across the flow."""
    return max(_outer(part) for part in parts)


def _reach(parts):
    """How far a line reaches above its centre line."""
    return max(map(_top, parts), default=0.0)


def _top(part):
    """How far a part reaches above the centre line: its case, or what hangs on it."""
    hung = [_hung_length(part, one) + _can_side(one) for one in _hanging(part)]
    return max([0.5 * _outer(part), *hung])


def _hanging(part):
    return [piece for piece in part.pieces if isinstance(piece, Branch)]


def _hung_length(part, branch):
    """Length of a branch as it is made, without its end correction."""
    return getattr(part, "length", getattr(part, "neck_length", branch.pipe.length))


def _can_side(branch):
    """Side of a cube as large as the can at the far end of a branch, 0 where there is none."""
    volume = getattr(branch.far_node, "keywords", {}).get("volume")  # of a partial
    return volume ** (1.0 / 3.0) if volume else 0.0


def _outer(part):
    bores = [getattr(part, name, None) for name in ("case_diameter", "diameter", "outlet_diameter")]
    return max((bore for bore in bores if bore is not None), default=0.0)


# --- how it looks ---------------------------------------------------------------------------------


def _figure_for(lines, count):
    """Axes on a new figure that is as long and as high as system and key ask for [inch]."""
    from matplotlib import pyplot

    long = max(line.end for line in lines)
    high = (max(line.y + _reach(line.parts) for line in lines) + 0.06
            - min(line.y - 0.5 * _width(line.parts) for line in lines))
    width = float(np.clip(4.0 * long, 7.0, 14.0))
    height = float(np.clip(1.25 * width * high / long, 1.2, 8.0))
    height += (70.0 + _KEY_LINE * _rows(count)) / 72.0 + 0.5
    return pyplot.subplots(figsize=(width, height), layout="constrained")[1]


def _line(ax, line, key):
    """One line; with a key its parts are numbered and their sizes noted there."""
    x = line.x
    for part in line.parts:
        length = _length(part)
        _part(ax, part, x, line.y)
        if key is not None:
            key.append(f"{len(key) + 1}  {line.name}: {_words(part)}")
            is_flat = not length and not _hanging(part)  # a plate, between two parts
            above = line.y + (0.5 * _width(line.parts) if is_flat else _top(part))
            ax.annotate(str(len(key)), (x + 0.5 * length, above), (0.0, 3.0),
                        textcoords="offset points", ha="center", va="bottom", fontsize=8)
        x += length


def _part(ax, part, x, y):
    case = getattr(part, "case_diameter", None)
    for piece in part.pieces:
        if isinstance(piece, Stretch):
            _stretch(ax, part, piece, x, y, case)
        elif isinstance(piece, Opening):
            _plate(ax, x, y, piece.diameter, 1.25 * max(piece.diameter, case or 0.0))
        elif isinstance(piece, Branch):
            _branch(ax, piece, x, y, _hung_length(part, piece))
        else:
            hatch = "////" if isinstance(piece, Bend) else None
            _tube(ax, piece, x, y, hatch)
        x += _piece_length(piece)


def _tube(ax, tube, x, y, hatch=None):
    """A tube or taper with its true bore."""
    _outline(ax, [(x, tube.diameter), (x + tube.length, tube.outlet_diameter)], y, "#e3e3e3",
             hatch, 2.0)


def _stretch(ax, part, stretch, x, y, case):
    """A duct of its own: core in its case, chamber with the rings beside its tubes, monolith."""
    pipe = stretch.pipe
    if stretch.beside is not None:
        packed = "xxx" if getattr(part, "packing", None) is not None else None
        _outline(ax, [(x, case), (x + pipe.length, case)], y, "white", packed, 1.5)
        half = 0.5 * pipe.diameter
        _outline(ax, [(x, pipe.diameter), (x + pipe.length, pipe.diameter)], y, "#e3e3e3", None,
                 2.0, edge="none")
        for side in (-half, half):
            ax.plot([x, x + pipe.length], [y + side] * 2, color="black", lw=1.4, ls=":", zorder=2.1)
        return
    bore = part.diameter if isinstance(part, Monolith) else pipe.diameter
    first = x - sum(branch.pipe.length for branch in stretch.at_start)
    last = x + pipe.length + sum(branch.pipe.length for branch in stretch.at_end)
    hatch = "+++" if isinstance(part, Monolith) else None
    _outline(ax, [(first, bore), (last, bore)], y, "white", hatch, 1.5)


def _plate(ax, x, y, hole, outer):
    """A plate with its hole, seen from the side."""
    for side in (-1.0, 1.0):
        low, high = sorted((y + side * 0.5 * hole, y + side * 0.5 * outer))
        ax.fill([x - 0.5 * _PLATE, x + 0.5 * _PLATE, x + 0.5 * _PLATE, x - 0.5 * _PLATE],
                [low, low, high, high], color="black", lw=0.0, zorder=3.0)


def _branch(ax, branch, x, y, length):
    """A tube at right angles to the line; a can at its end is a cube of its volume."""
    pipe = branch.pipe
    half, top = 0.5 * pipe.diameter, y + length
    ax.fill([x - half, x + half, x + half, x - half], [y, y, top, top], fc="#e3e3e3", ec="black",
            lw=0.9, zorder=1.8)
    side = _can_side(branch)
    if side:
        ax.fill([x - 0.5 * side, x + 0.5 * side, x + 0.5 * side, x - 0.5 * side],
                [top, top, top + side, top + side], fc="white", ec="black", lw=0.9, zorder=1.8)


def _outline(ax, stations, y, fill, hatch, level, edge="black"):
    """What lies between two mirrored walls: stations are (x, diameter)."""
    upper = [(x, y + 0.5 * d) for x, d in stations]
    lower = [(x, y - 0.5 * d) for x, d in reversed(stations)]
    xs, ys = zip(*upper, *lower, strict=True)
    ax.fill(xs, ys, fc=fill, ec=edge, lw=0.9, hatch=hatch, zorder=level)


def _bank_link(ax, link, linked, key):
    """A tube between the banks, or the strokes of a crossing, where the lines before it end."""
    if len(linked) < 2:
        return
    one, two = linked
    if isinstance(link, HPipe):
        half = 0.5 * link.tube[0].diameter
        x = one.end
        ax.fill([x - half, x + half, x + half, x - half], [one.y, one.y, two.y, two.y],
                fc="#e3e3e3", ec="black", lw=0.9, zorder=1.8)
        key.append(f"{len(key) + 1}  link of the banks: "
                   f"{', '.join(_words(part) for part in link.tube)}")
    else:
        x, reach = one.end, GAP
        for a, b in ((one, two), (two, one)):
            ax.plot([x - reach, x + reach], [a.y, b.y], color="black", lw=1.0, zorder=1.8)
        key.append(f"{len(key) + 1}  link of the banks: crossing, "
                   f"{link.angle_deg:g} deg from the axis")
    ax.annotate(str(len(key)), (x, 0.5 * (one.y + two.y)), (5.0, 0.0),
                textcoords="offset points", va="center", fontsize=8)


def _words(part):
    """A part and its sizes in mm, as a fitter reads them."""
    def mm(value):
        return f"{round(1e3 * value, 1):g}"

    name = type(part).__name__
    first, last = getattr(part, "diameter", None), getattr(part, "outlet_diameter", None)
    if name == "Pipe":
        name = "tube" if np.isclose(first, last) else "taper"
    length = _length(part)
    hanging = _hanging(part)
    if hanging:
        pipe, side = hanging[0].pipe, _can_side(hanging[0])
        can = [f"can {1e3 * side**3:.3g} litres"] if side else []
        long = mm(_hung_length(part, hanging[0]))
        return ", ".join([_spaced(name), f"length {long}", f"bore {mm(pipe.diameter)}", *can])
    word = "bore" if length else "hole"
    words = [] if first is None else [f"{word} {mm(first)}" + (
        f" to {mm(last)}" if last is not None and not np.isclose(first, last) else ""
    )]
    if isinstance(part, Bend):
        words.append(f"{part.angle_deg:g} deg")
    if getattr(part, "case_diameter", None) is not None:
        words.append(f"case {mm(part.case_diameter)}")
    if length > 0.0:
        words.insert(0, f"length {mm(length)}")
    if getattr(part, "packing", None) is not None:
        words.append("packed")
    return f"{_spaced(name)}, {', '.join(words)}" if words else _spaced(name)


def _spaced(name):
    """The name of a class as words: "PerforatedSilencer" is a perforated silencer."""
    places = [i for i, letter in enumerate(name) if letter.isupper()]
    places = [*([0] if not places or places[0] else []), *places, len(name)]
    return " ".join(name[i:j].lower() for i, j in pairwise(places))


def _rows(count):
    """Lines of the key: one column for a few parts, else two."""
    return count if count < 5 else -(-count // _KEY_COLUMNS)


def _dress_drawing(ax, exhaust, lines, key):
    """Scale, title and key."""
    ax.set_aspect("equal", adjustable="datalim")
    ax.margins(0.03, 0.12)
    ax.set_yticks([])
    ax.grid(True, axis="x", color=FAINT, lw=0.6)
    ax.set_axisbelow(True)
    ax.spines[["top", "right", "left"]].set_visible(False)
    ax.set_xlabel("length along the flow [m]")
    ax.set_title(legend_name(exhaust.name), loc="left", fontsize=11, fontweight="bold")
    if exhaust.merge is None and len(lines) == sum(one.name.startswith("primary") for one in lines):
        ax.set_title("individual stacks", loc="right", fontsize=9)
    rows = _rows(len(key))
    columns = [key[i : i + rows] for i in range(0, len(key), max(1, rows))]
    note = ("All sizes in mm.  Lines are laid straight, lengths and bores in one scale; hatched: "
            "bends; crossed: packing; dotted: perforated.")
    for i, column in enumerate(columns):
        ax.annotate("\n".join(column), (0.5 * i, 0.0), (0.0, -38.0), xycoords="axes fraction",
                    textcoords="offset points", va="top", ha="left", fontsize=8)
    ax.annotate(note, (0.0, 0.0), (0.0, -44.0 - _KEY_LINE * rows), xycoords="axes fraction",
                textcoords="offset points", va="top", ha="left", fontsize=8, style="italic")
