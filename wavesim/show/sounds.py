"""Figures of sound: levels against speed, spectra, the map over order and speed, insertion loss.

Like `plots`, every function draws on the Axes it is given, or on a new figure, and returns them.
Every figure says below its axis where it is heard and what is not in it.
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from wavesim.errors import InputError
from wavesim.fields.description import sequence
from wavesim.guard import guarded
from wavesim.show.forms import (
    InsertionLossForm,
    SoundCurveForm,
    SoundForm,
    check_form,
    check_forms,
    shown,
)
from wavesim.show.style import (
    MARKERS,
    REFERENCE,
    axes_or_new,
    dash,
    dress,
    legend,
    legend_name,
    line_of,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes

OUTSIDE = "flow noise and shell noise are not in it"
BELOW_LOUDEST = 60.0  # [dB] below the loudest at which levels end
LAST_ORDER = 45.0  # [dB] below the loudest down to which orders are drawn
FEWEST_ORDERS = 8.0  # that a figure shows


@guarded
def plot_sound_levels(
    curves: SoundCurveForm | Sequence[SoundCurveForm],
    quantity: str = "sound_level_a",
    ax: "Axes | None" = None,
    **line_kws: Any,
) -> "Axes":
    """Sound levels of one or several systems against engine speed.

    Parameters
    ----------
    curves : SoundCurve, or sequence of SoundCurve
        The first is the reference.
    quantity : {"sound_level_a", "sound_level"}
    ax : matplotlib Axes or None
    **line_kws
        For all lines.

    Returns
    -------
    matplotlib Axes

    Raises
    ------
    InputError
        If there is no curve, or no such level.

    Examples
    --------
    >>> import wavesim as ws
    >>> flow = 0.01 * np.cos(2.0 * np.radians(np.arange(720.0)))
    >>> curve = ws.SoundCurve([ws.radiate(flow, rpm, 1.2, 0.5) for rpm in (3000.0, 6000.0)])
    >>> (ax,) = ws.plots.new_axes()
    >>> plot_sound_levels(curve, "sound_level_a", ax).get_xlabel()
    'engine speed [rev/min]'
    """
    curves = check_forms("plot_sound_levels", "curves", curves, SoundCurveForm)
    look, ax = shown(quantity, *curves), axes_or_new(ax)
    for i, curve in enumerate(curves):
        style = line_of(i) | {"marker": MARKERS[i % len(MARKERS)], "ms": 5.5,
                              "label": legend_name(curve.name)} | line_kws
        (line,) = ax.plot(curve.rpm, curve[quantity], **style)
        loose = ~np.asarray(curve.trusted, dtype=bool)
        if loose.any():
            ax.plot(curve.rpm[loose], curve[quantity][loose], ls="", marker=line.get_marker(),
                    ms=8.0, mfc="white", mec=line.get_color(), mew=1.6, label="not trusted")
    ax.set_xlabel("engine speed [rev/min]")
    ax.set_ylabel(look.axis)
    _say_outside(ax, curves[0].place)
    legend(ax)
    return dress(ax)


@guarded
def plot_sound_orders(
    sounds: SoundForm | Sequence[SoundForm],
    ax: "Axes | None" = None,
    *,
    weighting: str = "Z",
    names: Sequence[str] | None = None,
    **line_kws: Any,
) -> "Axes":
    """Level of each order of one or several sounds.

    Parameters
    ----------
    sounds : Sound, or sequence of Sound
        The first is the reference.
    ax : matplotlib Axes or None
    weighting : {"Z", "A"}
    names : sequence of str or None
        For the legend; None: the speeds.
    **line_kws
        For all lines.

    Returns
    -------
    matplotlib Axes
        Up to the last order within 45 dB of the loudest.

    Raises
    ------
    InputError
        If there is no sound, no such weighting, or not a name for each.

    Examples
    --------
    >>> import wavesim as ws
    >>> flow = 0.01 * np.cos(2.0 * np.radians(np.arange(720.0)))
    >>> (ax,) = ws.plots.new_axes()
    >>> plot_sound_orders(ws.radiate(flow, 3000.0, 1.2, 0.5), ax).get_xlabel()
    'order of the crankshaft'
    """
    sounds = check_forms("plot_sound_orders", "sounds", sounds, SoundForm)
    names = _names("plot_sound_orders", names, sounds)
    ax = axes_or_new(ax)
    levels = [one.order_levels(weighting) for one in sounds]
    top = max((np.max(one, initial=-np.inf) for one in levels), default=0.0)
    floor = top - BELOW_LOUDEST
    last = FEWEST_ORDERS
    for i, (one, level) in enumerate(zip(sounds, levels, strict=True)):
        style = line_of(i) | {"ls": "-", "lw": 1.6, "marker": MARKERS[i % len(MARKERS)], "ms": 5.0,
                              "label": names[i]} | line_kws
        heard = level >= floor
        place = one.orders[heard] + 0.14 * i  # beside one another
        ax.plot(np.repeat(place, 3), np.ravel(np.column_stack([
            np.full(place.size, floor), level[heard], np.full(place.size, np.nan)])),
            **(style | {"markevery": slice(1, None, 3)}))
        last = max(last, *one.orders[level >= top - LAST_ORDER].tolist(), 0.0)
    if np.isfinite(top):
        ax.set_ylim(floor, top + 5.0)
    ax.set_xlim(0.0, last + 0.5)
    ax.set_xlabel("order of the crankshaft")
    ax.set_ylabel(_level_label("level of the order", weighting))
    _say_outside(ax, sounds[0].place)
    legend(ax)
    return dress(ax)


@guarded
def plot_third_octaves(
    sounds: SoundForm | Sequence[SoundForm],
    ax: "Axes | None" = None,
    *,
    weighting: str = "Z",
    names: Sequence[str] | None = None,
    **line_kws: Any,
) -> "Axes":
    """Levels by third octave of one or several sounds, as steps.

    Parameters
    ----------
    sounds : Sound, or sequence of Sound
        The first is the reference.
    ax : matplotlib Axes or None
    weighting : {"Z", "A"}
    names : sequence of str or None
        For the legend; None: the speeds.
    **line_kws
        For all lines.

    Returns
    -------
    matplotlib Axes
        A gap stands where no order falls into a band.

    Raises
    ------
    InputError
        If there is no sound, no such weighting, or not a name for each.

    Examples
    --------
    >>> import wavesim as ws
    >>> flow = 0.01 * np.cos(2.0 * np.radians(np.arange(720.0)))
    >>> (ax,) = ws.plots.new_axes()
    >>> plot_third_octaves(ws.radiate(flow, 3000.0, 1.2, 0.5), ax).get_xscale()
    'log'
    """
    sounds = check_forms("plot_third_octaves", "sounds", sounds, SoundForm)
    names = _names("plot_third_octaves", names, sounds)
    ax = axes_or_new(ax)
    top = -np.inf
    for i, one in enumerate(sounds):
        f, levels = one.third_octaves(weighting)
        levels = np.where(np.isfinite(levels), levels, np.nan)
        edges = np.append(f * 10.0**-0.05, f[-1] * 10.0**0.05)
        style = line_of(i) | {"label": names[i]} | line_kws
        ax.plot(np.column_stack([edges[:-1], edges[1:]]).ravel(), np.repeat(levels, 2), **style)
        ax.plot(f, levels, ls="", marker=MARKERS[i % len(MARKERS)], ms=5.0, color=style["color"])
        top = max(top, np.nanmax(levels)) if np.isfinite(levels).any() else top
    ax.set_xscale("log")
    ticks = [31.5, 63, 125, 250, 500, 1000, 2000, 4000, 8000]
    low, high = ax.get_xlim()
    ticks = [tick for tick in ticks if low <= tick <= high]
    ax.set_xticks(ticks, [f"{tick:g}" for tick in ticks])
    ax.set_xticks([], minor=True)
    if np.isfinite(top):
        ax.set_ylim(top - BELOW_LOUDEST, top + 5.0)
    ax.set_xlabel("third octave [Hz]")
    ax.set_ylabel(_level_label("level of the third octave", weighting))
    _say_outside(ax, sounds[0].place)
    legend(ax)
    return dress(ax)


@guarded
def plot_sound_map(
    curve: SoundCurveForm, ax: "Axes | None" = None, *, weighting: str = "Z", **mesh_kws: Any
) -> "Axes":
    """Level over order and engine speed; light is loud, on a grey print too.

    Parameters
    ----------
    curve : SoundCurve
        Of two speeds at least.
    ax : matplotlib Axes or None
    weighting : {"Z", "A"}
    **mesh_kws
        For the picture, such as vmin and vmax [dB].

    Returns
    -------
    matplotlib Axes
        With a scale of the levels beside it; each speed reaches half way to its neighbours, and
        what the mesh does not carry is white.

    Raises
    ------
    InputError
        If there are less than two speeds, or no such weighting.

    Examples
    --------
    >>> import wavesim as ws
    >>> flow = 0.01 * np.cos(2.0 * np.radians(np.arange(720.0)))
    >>> curve = ws.SoundCurve([ws.radiate(flow, rpm, 1.2, 0.5) for rpm in (3000.0, 6000.0)])
    >>> (ax,) = ws.plots.new_axes()
    >>> plot_sound_map(curve, ax).get_ylabel()
    'order of the crankshaft'
    """
    check_form("plot_sound_map", "curve", curve, SoundCurveForm)
    if len(curve.rpm) < 2:
        raise InputError("plot_sound_map: curve must hold 2 speeds or more.")
    ax = axes_or_new(ax)
    levels, orders = curve.order_levels(weighting), curve.orders
    top = np.max(levels, initial=-np.inf)
    kept = np.max(levels, axis=0) >= top - LAST_ORDER
    last = max(FEWEST_ORDERS, *orders[kept].tolist(), 0.0)
    shown_orders = orders <= last
    style = {"cmap": "viridis", "vmin": top - BELOW_LOUDEST, "vmax": top} | mesh_kws
    step = orders[1] - orders[0] if orders.size > 1 else 0.5
    edges = np.append(orders[shown_orders] - 0.5 * step, orders[shown_orders][-1] + 0.5 * step)
    drawn = np.ma.masked_invalid(levels[:, shown_orders].T)  # what is left out stays white
    mesh = ax.pcolormesh(_edges(np.asarray(curve.rpm, dtype=float)), edges, drawn, **style)
    ax.figure.colorbar(mesh, ax=ax, label=_level_label("level of the order", weighting))
    ax.set_xlabel("engine speed [rev/min]")
    ax.set_ylabel("order of the crankshaft")
    if curve.name:
        ax.set_title(legend_name(curve.name), loc="left", fontsize=11, fontweight="bold")
    _say_outside(ax, curve.place)
    return ax


@guarded
def plot_insertion_loss(
    loss: InsertionLossForm, ax: "Axes | None" = None, **line_kws: Any
) -> "Axes":
    """Insertion loss against engine speed, with and without A-weighting.

    Parameters
    ----------
    loss : InsertionLoss
        From `wavesim.insertion_loss`.
    ax : matplotlib Axes or None
    **line_kws
        For both lines.

    Returns
    -------
    matplotlib Axes

    Examples
    --------
    >>> import wavesim as ws
    >>> flow = np.cos(2.0 * np.radians(np.arange(720.0)))
    >>> loud, quiet = (ws.radiate(size * flow, 6000.0, 1.2, 0.5) for size in (0.02, 0.01))
    >>> (ax,) = ws.plots.new_axes()
    >>> plot_insertion_loss(ws.insertion_loss(loud, quiet), ax).get_ylabel()
    'insertion loss [dB]'
    """
    check_form("plot_insertion_loss", "loss", loss, InsertionLossForm)
    ax = axes_or_new(ax)
    ax.axhline(0.0, color=REFERENCE, lw=2.0, zorder=1.0)
    for i, (values, word) in enumerate(((loss.total_a, "A-weighted"),
                                        (loss.total, "without weighting")), start=1):
        style = line_of(i) | {"ls": dash(i - 1), "marker": MARKERS[i], "ms": 5.5,
                              "label": word} | line_kws
        ax.plot(loss.rpm, values, **style)
    a, b = map(legend_name, loss.names)
    ax.set_title(f"{b} against {a}", loc="right", fontsize=9)
    ax.set_xlabel("engine speed [rev/min]")
    ax.set_ylabel("insertion loss [dB]")
    _say_outside(ax, loss.place)
    legend(ax)
    return dress(ax)


def _names(owner, names, sounds):
    """Names for a legend, one for each sound."""
    if names is None:
        return [f"{one.rpm:g} rev/min" for one in sounds]
    names = sequence(owner, "names", names, "texts")
    if len(names) != len(sounds):
        raise InputError(f"{owner}: {len(names)} names for {len(sounds)} sounds.")
    return [legend_name(name) for name in names]


def _level_label(words, weighting):
    return f"{words} [{'dB(A)' if weighting == 'A' else 'dB'}]"


def _edges(centres):
    """Borders half way between neighbours; the outer ones as far beyond as within."""
    middle = 0.5 * (centres[1:] + centres[:-1])
    outer = 2.0 * centres[[0, -1]] - middle[[0, -1]]
    return np.concatenate([outer[:1], middle, outer[1:]])


def _say_outside(ax, place):
    """Below the axis: where it is heard, and what is outside the model."""
    ax.annotate(f"{place[:1].upper()}{place[1:]}; {OUTSIDE}.", (0.0, 0.0), (0.0, -34.0),
                xycoords="axes fraction", textcoords="offset points", va="top", ha="left",
                fontsize=8, style="italic")
