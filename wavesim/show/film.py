"""Moving pictures: pressure and velocity along an exhaust through one cycle."""

import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from wavesim.errors import InputError, check_number
from wavesim.guard import guarded
from wavesim.show.forms import WayFilm, check_form
from wavesim.show.quantities import display
from wavesim.show.style import COLOURS, FAINT, OVERLAP, REFERENCE, dress, name_joints, stack
from wavesim.writing import check_gif, write_gif

if TYPE_CHECKING:
    from matplotlib.animation import FuncAnimation
    from matplotlib.axes import Axes

CYCLE = 720.0  # [deg]
_LEAST_STEP, _MOST_STEP = 0.5, 90.0  # crank angle between two pictures [deg]


@guarded
def animate_waves(
    found: WayFilm,
    axes: "Sequence[Axes] | np.ndarray | None" = None,
    *,
    step_deg: float = 10.0,
) -> "FuncAnimation":
    """Pressure and velocity over the way from a valve to the open air, moving through one cycle.

    Parameters
    ----------
    found : WaveDiagram
        From `wavesim.wave_diagram`.
    axes : pair of matplotlib Axes, or None
        Pressure above, velocity below; None makes a new figure.
    step_deg : float
        Crank angle between two pictures [deg], 0.5 to 90.

    Returns
    -------
    matplotlib.animation.FuncAnimation
        It begins at exhaust opening.  The shaded band is what the cycle covers at each place, the
        thin line its mean.

    Raises
    ------
    InputError
        If the step is out of range, or there are not two Axes.

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> settings = ws.Settings(cell_length=0.05, tolerance=0.05)
    >>> exhaust = study.exhausts["long collector"]
    >>> point = ws.run_point(study.engine, exhaust, 4500.0, settings=settings)
    >>> film = ws.wave_diagram(point).animate(ws.plots.new_axes(2, height=2.5), step_deg=60.0)
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     ws.plots.save_animation(film, f"{folder}/waves.gif", dpi=40).name
    'waves.gif'
    """
    from matplotlib.animation import FuncAnimation

    check_form("animate_waves", "found", found, WayFilm)
    step = check_number("animate_waves", "step_deg", step_deg, "deg", _LEAST_STEP, _MOST_STEP)
    axes = stack(axes, 2)
    opens, closes = found.events["exhaust"]
    intake = found.events["intake"]
    angles = opens + np.arange(0.0, CYCLE, step)
    drawn = []
    for ax, name, values in ((axes[0], "pressure", found.pressure),
                             (axes[1], "velocity", found.velocity)):
        look = display(name)
        values = look.factor * values
        ax.fill_between(found.x, values.min(axis=0), values.max(axis=0), color=FAINT, lw=0.0)
        ax.plot(found.x, values.mean(axis=0), color=REFERENCE, lw=1.0, ls="--")
        line, = ax.plot(found.x, values[0], color=COLOURS[0], lw=2.2)
        drawn.append((line, values))
        for x, _ in found.joints:
            ax.axvline(x, color="black", lw=0.8, ls=":")
        ax.set_xlim(found.x[0], found.x[-1])
        ax.set_ylabel(look.axis)
        dress(ax)
    name_joints(axes[0], found.joints, found.x[-1])
    axes[1].axhline(0.0, color="black", lw=0.8)
    axes[1].set_xlabel(f"way from exhaust valve {found.cylinder} [m]")
    axes[1].text(0.985, 0.03, f"{found.rpm:g} rev/min", transform=axes[1].transAxes, ha="right",
                 va="bottom", fontweight="bold")
    box = {"boxstyle": "square,pad=0.25", "fc": "white", "ec": "none"}
    word = axes[0].text(0.985, 0.95, "", transform=axes[0].transAxes, ha="right", va="top",
                        bbox=box)

    def show(angle):
        own = angle % CYCLE
        for line, values in drawn:
            line.set_ydata(_at(found.angle, values, own))
        state = _state(own, opens, closes, intake)
        word.set_text(f"{own:.0f} deg after firing, {state}")
        word.get_bbox_patch().set_facecolor(OVERLAP if state == "overlap" else "white")
        return [line for line, _ in drawn] + [word]

    figure = axes[0].figure
    film = FuncAnimation(figure, show, frames=angles, interval=80.0)
    figure.draw_without_rendering()  # the first picture
    figure.set_layout_engine("none")  # laid out once, for it takes as long as the drawing
    return film


def _at(angles, values, angle):
    """Values over the way at one crank angle, on a straight line between the recorded ones."""
    later = int(np.searchsorted(angles, angle)) % angles.size
    before = later - 1  # the last one before the first
    span = (angles[later] - angles[before]) % CYCLE
    share = ((angle - angles[before]) % CYCLE) / span
    return (1.0 - share) * values[before] + share * values[later]


def _state(angle, opens, closes, intake):
    """What the valves do at an angle of the cylinder."""
    def is_open(start, stop):
        return (angle - start) % CYCLE < stop - start

    out, into = is_open(opens, closes), is_open(*intake)
    if out and into:
        return "overlap"
    return "exhaust open" if out else "intake open" if into else "valves shut"


@guarded
def save_animation(
    film: "FuncAnimation", path: str | Path, *, fps: float = 12.0, dpi: float = 80.0
) -> Path:
    """Write an animation to a GIF file.

    Parameters
    ----------
    film : matplotlib.animation.FuncAnimation
        Such as from `animate_waves`.
    path : str or Path
        The file, of suffix .gif.  One that was written so before is replaced.
    fps : float
        Pictures in a second, 1 to 50.
    dpi : float
        Dots per inch, 10 to 600.

    Returns
    -------
    Path

    Raises
    ------
    InputError
        If the suffix is another, the file cannot be written, or another one is there.

    Notes
    -----
    Drawn by matplotlib's writer for pillow.  For another format give `film.save` a writer of
    matplotlib; that replaces whatever is there.

    Examples
    --------
    See `animate_waves`.
    """
    from matplotlib.animation import Animation, PillowWriter

    if not isinstance(film, Animation):
        raise InputError(f"save_animation: film = {type(film).__name__} must be an animation of "
                         "matplotlib.")
    fps = check_number("save_animation", "fps", fps, "1/s", 1.0, 50.0)
    dpi = check_number("save_animation", "dpi", dpi, "1/inch", 10.0, 600.0)
    path = check_gif(path, "save_animation")  # before the pictures are drawn, which takes long
    with tempfile.TemporaryDirectory() as folder:
        unfinished = Path(folder) / "film.gif"
        film.save(unfinished, writer=PillowWriter(fps=fps), dpi=dpi)
        return write_gif(path, "save_animation", unfinished.read_bytes())
