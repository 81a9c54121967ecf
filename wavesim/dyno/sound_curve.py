"""Sound against speed: levels of a sweep, its map over order and speed, insertion loss of two."""

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, overload

import numpy as np

from wavesim.dyno.sound import CAUTION, WEIGHTINGS, Sound, level, nominal, sound
from wavesim.dyno.sound_file import FULL_SCALE, run_up, write_wav
from wavesim.errors import InputError, check_choice, check_kind
from wavesim.fields.description import check_text, sequence
from wavesim.fields.tabular import Column, Sheet, Tabular
from wavesim.guard import guarded
from wavesim.results.curves import CurveMethods, place_of_speed
from wavesim.results.points import Sweep
from wavesim.show.quantities import SOUNDS

if TYPE_CHECKING:
    from matplotlib.axes import Axes


@guarded
class SoundCurve(CurveMethods):
    """Sound of one system against engine speed, as `sound_curve` returns it.

    `found["sound_level"]` and `found.sound_level` are a level at all speeds, `found[4500]` is the
    Sound at one of them.  It is a speed curve, to be drawn beside others.

    Parameters
    ----------
    sounds : sequence of Sound
        At least one, each speed once, all at one distance and on one ground.
    name : str
        For tables and figures.
    trusted : sequence of bool, optional
        False where the cycle did not converge, in the order of `sounds`; default: all are.
    notes : sequence of str
        Sentences on what limits it; what is outside the model is added.

    Raises
    ------
    InputError
        If there is no sound, or they do not belong together.

    Examples
    --------
    >>> import wavesim as ws
    >>> flow = 0.01 * np.cos(2.0 * np.radians(np.arange(720.0)))
    >>> curve = SoundCurve([ws.radiate(flow, rpm, 1.2, 0.5) for rpm in (3000.0, 6000.0)], "tone")
    >>> curve.unit("sound_level"), curve.order_levels().shape == (2, curve.orders.size)
    ('dB', True)
    >>> curve.third_octaves("A")[1].shape[0], curve.mean_level("A") < curve.mean_level("Z")
    (2, True)
    >>> curve.run_up(1.0, rate=8000).shape
    (8000,)
    >>> axes = curve.plot(), curve.plot_map()
    >>> curve.uncertainty("sound_level") is None
    True
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     share = curve.to_wav(f"{folder}/tone.wav", duration=0.5, rate=8000)
    >>> curve.sound_level.round(1)
    array([ 98.6, 104.6])
    """

    def __init__(
        self,
        sounds: Sequence[Sound],
        name: str = "",
        *,
        trusted: Sequence[bool] | None = None,
        notes: Sequence[str] = (),
    ) -> None:
        sounds = sequence("SoundCurve", "sounds", sounds, "Sound")
        for i, one in enumerate(sounds):
            check_kind("SoundCurve", f"sounds[{i}]", one, Sound)
        if not sounds:
            raise InputError("SoundCurve: sounds = [] is empty, needs one Sound at least.")
        if len({(one.distance, one.ground) for one in sounds}) > 1:
            raise InputError("SoundCurve: all sounds must be heard at one distance and on one "
                             "ground.")
        if len({one.rpm for one in sounds}) < len(sounds):
            raise InputError("SoundCurve: each speed must be there once.")
        good = [True] * len(sounds) if trusted is None else sequence(
            "SoundCurve", "trusted", trusted, "True and False")
        if len(good) != len(sounds):
            raise InputError(f"SoundCurve: trusted must hold {len(sounds)} times True or False.")
        order = np.argsort([one.rpm for one in sounds])
        self.sounds = tuple(sounds[i] for i in order)
        self.trusted = np.array([bool(good[i]) for i in order])
        self.name = check_text("SoundCurve", "name", name)
        self._stated = sequence("SoundCurve", "notes", notes, "texts")

    def __repr__(self) -> str:
        return (f"<SoundCurve {self.name!r}: {len(self)} speeds, up to "
                f"{self['sound_level_a'].max():.1f} dB(A), {self.place}>")

    def __len__(self) -> int:
        return len(self.sounds)

    def __iter__(self) -> Iterator[Sound]:
        return iter(self.sounds)

    @property
    def rpm(self) -> np.ndarray:
        """Speeds [rev/min], (n_rpm,)."""
        return np.array([one.rpm for one in self.sounds])

    @property
    def quantities(self) -> tuple[str, ...]:
        """Names of the levels it holds."""
        return tuple(SOUNDS)

    @property
    def place(self) -> str:
        """Where it is heard, in words."""
        return self.sounds[0].place

    @property
    def notes(self) -> tuple[str, ...]:
        """Sentences on what limits it."""
        loose = ", ".join(f"{rpm:g}" for rpm in self.rpm[~self.trusted])
        found = [f"Not converged at {loose} rev/min."] if loose else []
        return (f"Heard at: {self.place}.", *self._stated, *found, CAUTION)

    @property
    def orders(self) -> np.ndarray:
        """Orders that all speeds hold, (n_order,)."""
        return min((one.orders for one in self.sounds), key=len)

    @overload
    def __getitem__(self, key: str) -> np.ndarray: ...

    @overload
    def __getitem__(self, key: float) -> Sound: ...

    def __getitem__(self, key):
        """A level as an array (n_rpm,) [dB], or the Sound at a speed [rev/min]."""
        if isinstance(key, str):
            check_choice("SoundCurve", "quantity", key, self.quantities)
            weighting = "A" if key == "sound_level_a" else "Z"
            return np.array([one.level(weighting) for one in self.sounds])
        return self.sounds[place_of_speed("SoundCurve", key, self.rpm)]

    def unit(self, quantity: str) -> str:
        """Unit of a level: dB."""
        return SOUNDS[check_choice("SoundCurve", "quantity", quantity, self.quantities)].unit

    def order_levels(self, weighting: str = "Z") -> np.ndarray:
        """Level of each order at each speed [dB], (n_rpm, n_order).

        Parameters
        ----------
        weighting : {"Z", "A"}
        """
        return np.array([one.order_levels(weighting)[: self.orders.size] for one in self.sounds])

    def third_octaves(self, weighting: str = "Z") -> tuple[np.ndarray, np.ndarray]:
        """Levels by third octave at each speed.

        Parameters
        ----------
        weighting : {"Z", "A"}

        Returns
        -------
        frequency : ndarray, (m,)
            Mid-band frequencies [Hz] that the orders fill at every speed.
        levels : ndarray, (n_rpm, m)
            [dB]; minus infinity where no order falls into the band.
        """
        found = [one.third_octaves(weighting) for one in self.sounds]
        count = min(f.size for f, _ in found)
        return found[0][0][:count], np.array([levels[:count] for _, levels in found])

    def mean_level(self, weighting: str = "A") -> float:
        """Level of the mean square over speed [dB], as a slow run-up would average it.

        Parameters
        ----------
        weighting : {"Z", "A"}
        """
        check_choice("SoundCurve", "weighting", weighting, WEIGHTINGS)
        squares = np.array([one.squares(weighting).sum() for one in self.sounds])
        if len(self) == 1:
            return float(level(squares[0]))
        return float(level(np.trapezoid(squares, self.rpm) / np.ptp(self.rpm)))

    def plot(
        self, ax: "Axes | None" = None, quantity: str | None = None, **line_kws: Any
    ) -> "Axes":
        """Draw the levels against engine speed.

        Parameters
        ----------
        ax : matplotlib Axes or None
            None makes a new figure.
        quantity : str or None
            One of `quantities`; None: with A-weighting.
        **line_kws
            For the line.

        Returns
        -------
        matplotlib Axes
        """
        from wavesim.show import plots

        return plots.plot_sound_levels(self, quantity or "sound_level_a", ax, **line_kws)

    def plot_map(self, ax: "Axes | None" = None, weighting: str = "Z", **mesh_kws: Any) -> "Axes":
        """Draw the level over order and speed.

        Parameters
        ----------
        ax : matplotlib Axes or None
            None makes a new figure.
        weighting : {"Z", "A"}
        **mesh_kws
            For the picture, such as vmin and vmax [dB], so that two systems can be compared.

        Returns
        -------
        matplotlib Axes

        Raises
        ------
        InputError
            If there are less than two speeds.
        """
        from wavesim.show import plots

        return plots.plot_sound_map(self, ax, weighting=weighting, **mesh_kws)

    def run_up(self, duration: float = 8.0, rate: int = 44100) -> np.ndarray:
        """Pressure [Pa] of a run-up through all speeds: see `wavesim.run_up`."""
        return run_up(self.sounds, duration, rate)

    def to_wav(
        self, path: str | Path, *, duration: float = 8.0, full_scale: float = FULL_SCALE,
        rate: int = 44100,
    ) -> float:
        """Write a run-up through all speeds as a sound file.

        Parameters
        ----------
        path : str or Path
            The file; it is replaced if it is one of the library's.
        duration : float
            Of the run-up [s], 0.5 to 120.
        full_scale : float
            Pressure at the largest sample [Pa].  It is the same for every system unless stated, so
            that two files can be heard against each other.
        rate : int
            Samples per second, 1000 to 384 000.

        Returns
        -------
        float
            Share of samples that were cut off; 0 if the scale was large enough.

        Raises
        ------
        InputError
            If there are less than two speeds, a value is out of range, or the file cannot be
            written or is another's.
        """
        return write_wav(self.run_up(duration, rate), path, full_scale=full_scale, rate=rate)


@guarded
def sound_curve(
    sweep: Sweep,
    *,
    distance: float = 0.5,
    ground: bool = True,
    side: str = "exhaust",
    at: Sequence[str] | None = None,
) -> SoundCurve:
    """Sound of the open ends at every speed of a sweep.

    Parameters
    ----------
    sweep : Sweep
        With its traces.
    distance, ground, side, at
        As for `sound`.

    Returns
    -------
    SoundCurve
        All speeds up to the lowest frequency to which the mesh carries waves at one of them.

    Raises
    ------
    InputError
        If the sweep has no point or a point no traces, or as `sound`.

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> settings = ws.Settings(cell_length=0.05, tolerance=0.05)
    >>> sweep = ws.speed_sweep(study.engine, study.exhausts["long collector"], [3000, 4500],
    ...                        settings=settings, progress=False)
    >>> bool(np.all(ws.sound_curve(sweep).sound_level > 100.0))
    True
    """
    check_kind("sound_curve", "sweep", sweep, Sweep)
    if not len(sweep):
        raise InputError("sound_curve: the sweep has no point.")
    found = [sound(point, distance=distance, ground=ground, side=side, at=at) for point in sweep]
    highest = min(one.highest for one in found)
    return SoundCurve([one.up_to(highest) for one in found], sweep.name,
                      trusted=sweep.trusted.tolist())


@guarded
class InsertionLoss(Tabular):
    """By how much one system is quieter than another, as `insertion_loss` returns it.

    Attributes
    ----------
    rpm : ndarray, (n,)
        Speeds that both hold [rev/min].
    total, total_a : ndarray, (n,)
        Difference of the levels without and with A-weighting [dB], positive where the second
        system is quieter.
    frequency : ndarray, (m,)
        Mid-band frequencies of third octaves [Hz].
    bands : ndarray, (n, m)
        Difference of the levels by third octave [dB], NaN where one has no order in the band.
    names : (str, str)
        Of the system without and that with.
    place : str
        Where both are heard.

    Examples
    --------
    >>> import wavesim as ws
    >>> flow = 0.01 * np.cos(2.0 * np.radians(np.arange(720.0)))  # m3/s
    >>> loud, quiet = (ws.radiate(size * flow, 6000.0, 1.2, 0.5) for size in (2.0, 1.0))
    >>> found = ws.insertion_loss(loud, quiet)
    >>> found.total.round(2), found.rpm
    (array([6.02]), array([6000.]))
    >>> ax = found.plot()
    """

    _index = "rpm"

    def __init__(
        self,
        rpm: np.ndarray,
        totals: tuple[np.ndarray, np.ndarray],
        frequency: np.ndarray,
        bands: np.ndarray,
        names: tuple[str, str],
        place: str,
    ) -> None:
        self.rpm, self.frequency, self.bands = rpm, frequency, bands
        self.total, self.total_a = totals
        self.names, self.place = names, place

    def __repr__(self) -> str:
        return (f"<InsertionLoss: {self.names[1]!r} against {self.names[0]!r}, "
                f"{self.rpm.size} speeds, {self.total_a.mean():+.1f} dB(A) in the mean>")

    def plot(self, ax: "Axes | None" = None, **line_kws: Any) -> "Axes":
        """Draw the loss against engine speed, with and without A-weighting.

        Parameters
        ----------
        ax : matplotlib Axes or None
            None makes a new figure.
        **line_kws
            For both lines.

        Returns
        -------
        matplotlib Axes
        """
        from wavesim.show import plots

        return plots.plot_insertion_loss(self, ax, **line_kws)

    def _columns(self):
        yield Column("rpm", "rev/min", self.rpm)
        yield Column("insertion_loss", "dB", self.total)
        yield Column("insertion_loss_a", "dB", self.total_a)
        for f, values in zip(self.frequency, self.bands.T, strict=True):
            yield Column(f"third octave {nominal(f)}", "dB", values)

    def _meanings(self):
        yield f"{self.names[1]} against {self.names[0]}, {self.place}.  {CAUTION}"
        yield "insertion_loss [dB]: Level of the first less that of the second."
        yield "insertion_loss_a [dB]: The same with A-weighting."

    def _sheet(self):
        rows = [["rev/min", "dB", "dB(A)"]]
        rows += [[f"{rpm:g}", f"{z:+.1f}", f"{a:+.1f}"]
                 for rpm, z, a in zip(self.rpm, self.total, self.total_a, strict=True)]
        return Sheet(rows, f"insertion loss, {self.names[1]} against {self.names[0]}", [CAUTION])


@guarded
def insertion_loss(a: SoundCurve | Sound, b: SoundCurve | Sound) -> InsertionLoss:
    """By how much a system is quieter than another, against speed and by third octave.

    Parameters
    ----------
    a, b : SoundCurve or Sound
        At one distance and on one ground, such as open header and complete system.

    Returns
    -------
    InsertionLoss
        At the speeds that both hold, up to the lowest frequency to which one of them reaches.

    Raises
    ------
    InputError
        If they share no speed, or are not heard alike.

    Examples
    --------
    >>> import wavesim as ws
    >>> flow = np.cos(2.0 * np.radians(np.arange(720.0)))
    >>> loud, quiet = (ws.radiate(size * flow, 6000.0, 1.2, 0.5) for size in (0.02, 0.01))
    >>> insertion_loss(loud, quiet).total.round(2)
    array([6.02])
    """
    curves = []
    for field, one in (("a", a), ("b", b)):
        curves.append(SoundCurve([one]) if isinstance(one, Sound)
                      else check_kind("insertion_loss", field, one, SoundCurve))
    first, second = (curve.sounds[0] for curve in curves)
    if (first.distance, first.ground) != (second.distance, second.ground):
        raise InputError("insertion_loss: both must be heard at one place, got "
                         f"{first.place!r} and {second.place!r}.")
    rpm = np.intersect1d(*(curve.rpm for curve in curves))
    if not rpm.size:
        raise InputError("insertion_loss: the two must share a speed.")
    pairs = [[curve[speed] for curve in curves] for speed in rpm]
    highest = min(one.highest for pair in pairs for one in pair)
    if np.isfinite(highest):
        pairs = [[one.up_to(highest) for one in pair] for pair in pairs]
    totals = tuple(np.array([x.level(weighting) - y.level(weighting) for x, y in pairs])
                   for weighting in WEIGHTINGS)
    octaves = [[one.third_octaves() for one in pair] for pair in pairs]
    count = min(f.size for pair in octaves for f, _ in pair)
    with np.errstate(invalid="ignore"):
        bands = np.array([x[1][:count] - y[1][:count] for x, y in octaves])
    bands[~np.isfinite(bands)] = np.nan
    names = tuple(curve.name or letter for curve, letter in zip(curves, "AB", strict=True))
    return InsertionLoss(rpm, totals, octaves[0][0][0][:count], bands, names,
                         pairs[0][0].place)
