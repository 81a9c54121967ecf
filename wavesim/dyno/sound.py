"""Sound of the open ends at one speed: from the volume flow at the tip to levels and spectra.

An opening much smaller than a wavelength radiates as a point that breathes.  With the volume flow Q
at the opening, the pressure at the distance r in the open is

    p(t) = rho / (4 pi r) dQ/dt,        p_rms(f) = rho f Q_rms(f) / (2 r),

rho being the density of the air outside (Pierce, Acoustics, 1981, sec. 4; from memory).  On hard
ground at the height of the source the pressure is twice that.  A periodic engine radiates at the
multiples of half its speed only; the n-th order is n times the crankshaft's.

Not in this model: the noise of the jet itself, the sound that pipe and silencer walls radiate, the
ground's own absorption, wind.  Nor are waves shorter than ten cells of the last duct, which the
mesh does not carry: orders above that frequency, some 3 kHz with the usual cells, are left out.
Real engines are louder there.  A level computed here proves nothing before the law: the local code
and a licensed measurement decide.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import pi
from typing import TYPE_CHECKING, Any

import numpy as np

from wavesim.constants import R_AIR, RPM_RANGE
from wavesim.errors import InputError, as_floats, check_choice, check_int, check_number
from wavesim.fields.description import sequence
from wavesim.fields.tabular import Column, Sheet, Tabular
from wavesim.guard import guarded
from wavesim.results.points import Point
from wavesim.results.traces import Samples

if TYPE_CHECKING:
    from matplotlib.axes import Axes

P_REFERENCE = 2e-5  # [Pa] of sound pressure levels
#: Poles of the A-weighting [Hz]: IEC 61672-1 (2013), annex E.
A_POLES = (20.599, 107.6526, 737.8622, 12194.22)
AT_1000 = 1.0e3
WEIGHTINGS = ("Z", "A")
DISTANCES = (0.1, 1000.0)  # [m]
SIDES = ("exhaust", "intake")
CELLS_PER_WAVE = 10.0  # fewest that carry a wave
#: What a third octave is called, by its place within the decade: IEC 61260-1 (2014), annex E.
_NOMINAL = (1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0)
CAUTION = (
    "Flow noise and shell noise are not in it.  Open exhausts damage hearing; whether a system is "
    "legal is for the local code and a licensed measurement to decide."
)


@guarded
def a_weighting(frequency: float | np.ndarray) -> float | np.ndarray:
    """A-weighting in decibels.

    Parameters
    ----------
    frequency : float or ndarray
        [Hz], above 0.

    Returns
    -------
    float or ndarray
        [dB], 0 at 1000 Hz.

    Notes
    -----
    IEC 61672-1 (2013), annex E: poles at 20.599 Hz and 12194.22 Hz (twice), 107.6526 Hz and
    737.8622 Hz (once), four zeros at 0.

    Examples
    --------
    >>> [round(float(a_weighting(f)), 1) for f in (63.1, 1000.0, 7943.28)]
    [-26.2, 0.0, -1.1]
    """
    def gain(f):
        f1, f2, f3, f4 = A_POLES
        s = np.square(f)
        return f4**2 * s**2 / (
            (s + f1**2) * np.sqrt((s + f2**2) * (s + f3**2)) * (s + f4**2)
        )

    return 20.0 * np.log10(gain(np.asarray(frequency, dtype=float)) / gain(AT_1000))


@guarded
def level(pressure_squared: float | np.ndarray) -> float | np.ndarray:
    """Sound pressure level [dB] of mean squares [Pa2]; minus infinity where there is none.

    Examples
    --------
    >>> round(float(level(1.0)), 2)
    93.98
    """
    with np.errstate(divide="ignore"):
        return 10.0 * np.log10(np.asarray(pressure_squared) / P_REFERENCE**2)


@guarded
def third_octave(index: int | np.ndarray) -> float | np.ndarray:
    """Exact mid-band frequency [Hz] of a third octave, 0 for 1000 Hz: 1000 * 10^(index / 10).

    IEC 61260-1 (2014), base ten.

    Examples
    --------
    >>> third_octave(np.array([-12, 0])).round(2).tolist()
    [63.1, 1000.0]
    """
    return AT_1000 * 10.0 ** (np.asarray(index) / 10.0)


def nominal(frequency):
    """What the third octave of an exact mid-band frequency [Hz] is called, such as "63 Hz"."""
    index = round(10.0 * np.log10(frequency))
    return f"{_NOMINAL[index % 10] * 10.0 ** (index // 10):g} Hz"


@guarded
@dataclass(frozen=True, eq=False)
class Sound(Tabular):
    """Sound of the open ends at one speed, as `sound` returns it.

    Attributes
    ----------
    rpm : float
        Engine speed [rev/min].
    orders : ndarray, (n,)
        Orders of the crankshaft: 0.5, 1, 1.5, ...
    pressure : ndarray, (n,) complex
        Root mean square pressure of each order with its phase [Pa]: that of cos(order * angle) at
        crank angle 0.
    distance : float
        [m].
    ground : bool
        True on hard ground at the height of the source, False in the free field.
    source : str
        What radiates, such as "exhaust".
    highest : float
        Frequency [Hz] up to which the mesh carries waves; orders above it are left out.

    Examples
    --------
    >>> import wavesim as ws
    >>> flow = 0.01 * np.cos(2.0 * np.radians(np.arange(720.0)))  # m3/s
    >>> heard = ws.radiate(flow, 6000.0, 1.2, 0.5)
    >>> heard.level("A") < heard.level(), round(float(np.sum(heard.squares())) ** 0.5, 3) > 0.0
    (True, True)
    >>> heard.order_levels().shape == heard.orders.shape, heard.up_to(500.0).orders.size > 0
    (True, True)
    >>> middles, levels = heard.third_octaves("A")
    >>> angle, pressure = heard.waveform(512)
    >>> angle.size, pressure.size
    (512, 512)
    >>> axes = heard.plot(), heard.plot_third_octaves()
    """

    rpm: float
    orders: np.ndarray
    pressure: np.ndarray
    distance: float
    ground: bool = False
    source: str = ""
    highest: float = np.inf

    _index = "order"

    def __repr__(self) -> str:
        return (f"<Sound at {self.rpm:g} rev/min: {self.level():.1f} dB, {self.level('A'):.1f} "
                f"dB(A) at {self.distance:g} m>")

    @property
    def place(self) -> str:
        """Where it is heard, in words."""
        where = "on hard ground" if self.ground else "in the free field"
        limit = [] if np.isinf(self.highest) else [f"up to {1e-3 * self.highest:.1f} kHz"]
        source = [self.source] if self.source else []
        return ", ".join([*source, f"{self.distance:g} m, {where}", *limit])

    @property
    def frequency(self) -> np.ndarray:
        """Frequency of each order [Hz], (n,)."""
        return self.orders * self.rpm / 60.0

    def up_to(self, frequency: float) -> "Sound":
        """The same without what lies above a frequency [Hz], 1 to 100 000."""
        frequency = check_number("Sound", "frequency", frequency, "Hz", 1.0, 1e5)
        heard = np.where(self.frequency <= frequency, self.pressure, 0.0)
        return replace(self, pressure=heard, highest=min(frequency, self.highest))

    def squares(self, weighting: str = "Z") -> np.ndarray:
        """Mean square of the pressure of each order [Pa2], (n,).

        Parameters
        ----------
        weighting : {"Z", "A"}
            None, or that of the ear at moderate levels.

        Raises
        ------
        InputError
            If there is no such weighting.
        """
        check_choice("Sound", "weighting", weighting, WEIGHTINGS)
        squares = np.abs(self.pressure) ** 2
        return squares if weighting == "Z" else squares * 10.0 ** (
            0.1 * a_weighting(self.frequency)
        )

    def level(self, weighting: str = "Z") -> float:
        """Sound pressure level of all orders together [dB]."""
        return float(level(self.squares(weighting).sum()))

    def order_levels(self, weighting: str = "Z") -> np.ndarray:
        """Sound pressure level of each order [dB], (n,)."""
        return level(self.squares(weighting))

    def third_octaves(self, weighting: str = "Z") -> tuple[np.ndarray, np.ndarray]:
        """Sound pressure levels by third octave.

        Returns
        -------
        frequency : ndarray, (m,)
            Exact mid-band frequencies [Hz], from 25 Hz up to the last that the orders fill.
        levels : ndarray, (m,)
            [dB]; minus infinity where no order falls into the band, or the mesh carries none.
        """
        squares, f = self.squares(weighting), self.frequency
        last = int(np.floor(10.0 * np.log10(f[-1] / AT_1000) - 0.5))
        index = np.arange(-16, last + 1)
        edges = third_octave(np.append(index, index[-1] + 1) - 0.5)
        place = np.digitize(f, edges) - 1
        sums = np.array([squares[place == i].sum() for i in range(index.size)])
        return third_octave(index), level(sums)

    def waveform(self, samples: int = 2048) -> tuple[np.ndarray, np.ndarray]:
        """Pressure over one cycle.

        Parameters
        ----------
        samples : int
            Equally spaced in crank angle, 4 to 100 000.

        Returns
        -------
        theta_deg, pressure : ndarray, (samples,)
            Crank angle [deg] and pressure [Pa].
        """
        samples = check_int("Sound", "samples", samples, 4, 100_000)
        theta = np.arange(samples) * 720.0 / samples
        turn = np.exp(1j * np.radians(theta)[:, None] * self.orders)
        return theta, np.sqrt(2.0) * (turn @ self.pressure).real

    def plot(
        self, ax: "Axes | None" = None, weighting: str = "Z", **line_kws: Any
    ) -> "Axes":
        """Draw the level of each order as a line.

        Parameters
        ----------
        ax : matplotlib Axes or None
            None makes a new figure.
        weighting : {"Z", "A"}
        **line_kws
            For the lines.

        Returns
        -------
        matplotlib Axes
        """
        from wavesim.show import plots

        return plots.plot_sound_orders(self, ax, weighting=weighting, **line_kws)

    def plot_third_octaves(
        self, ax: "Axes | None" = None, weighting: str = "Z", **line_kws: Any
    ) -> "Axes":
        """Draw the level of each third octave; takes and returns what `plot` does."""
        from wavesim.show import plots

        return plots.plot_third_octaves(self, ax, weighting=weighting, **line_kws)

    def _columns(self):
        yield Column("order", "", self.orders)
        yield Column("frequency", "Hz", self.frequency)
        yield Column("sound_level", "dB", self.order_levels())
        yield Column("sound_level_a", "dB", self.order_levels("A"))
        yield Column("pressure_rms", "Pa", np.abs(self.pressure))
        yield Column("phase_deg", "deg", np.degrees(np.angle(self.pressure)))

    def _meanings(self):
        yield f"Sound at {self.rpm:g} rev/min, {self.place}.  {CAUTION}"
        yield "order: of the crankshaft, half of it the camshaft's"
        yield "sound_level [dB]: Level of the order, without weighting, 20 micropascals being 0."
        yield "sound_level_a [dB]: The same with A-weighting."

    def _sheet(self):
        rows = [["third octave", "dB", "dB(A)"]]
        f, plain = self.third_octaves()
        weighted = self.third_octaves("A")[1]
        rows += [[nominal(one), f"{z:.1f}", f"{a:.1f}"]
                 for one, z, a in zip(f, plain, weighted, strict=True) if np.isfinite(z)]
        rows.append(["all", f"{self.level():.1f}", f"{self.level('A'):.1f}"])
        return Sheet(rows, f"{self.rpm:g} rev/min, {self.place}", [CAUTION])


@guarded
def sound(
    point: Point,
    *,
    distance: float = 0.5,
    ground: bool = True,
    side: str = "exhaust",
    at: Sequence[str] | None = None,
) -> Sound:
    """Sound that the open ends of a point radiate.

    Parameters
    ----------
    point : Point
        With its samples.
    distance : float
        From the opening [m], 0.1 to 1000; all openings of the side count as one place.
    ground : bool
        True: on hard ground at the height of the source, which doubles the pressure; False: free
        field.
    side : {"exhaust", "intake"}
        Which openings.
    at : sequence of str or None
        Instead: names of nodes that take one duct end.

    Returns
    -------
    Sound

    Raises
    ------
    InputError
        If the point has no samples, no such opening, or a value is out of range.

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> settings = ws.Settings(cell_length=0.05, tolerance=0.05)
    >>> exhaust = study.exhausts["long collector"]
    >>> point = ws.run_point(study.engine, exhaust, 4500.0, settings=settings)
    >>> heard = ws.sound(point, distance=0.5)
    >>> heard.level("A") < heard.level()
    True
    """
    check_choice("sound", "side", side, SIDES)
    if point.samples is None:
        raise InputError("sound: the point has no samples, run it with its traces.")
    names = _openings(point, side) if at is None else sequence("sound", "at", at, "names of nodes")
    if not names:
        raise InputError("sound: at = [] is empty, name one node at least.")
    flow = sum(tip_flow(point.samples, name) for name in names)  # refuses unknown names
    outside = point.meta["outside"][side]
    density = outside["pressure"] / (R_AIR * outside["temperature"])
    made = radiate(flow, point.rpm, density, distance, ground)
    highest = min(_carried(point.samples, name) for name in names)
    return replace(made, source=side if at is None else ", ".join(names)).up_to(highest)


def _carried(samples, node):
    """Frequency [Hz] up to which the cells before an opening carry waves, a border of octaves."""
    nodes = samples.layout["nodes"]
    duct, _ = samples.layout["ends"][nodes[node]]
    cell = samples.layout["ducts"][duct]["dx"]
    most = samples.trace("sound_speed", node).values.mean() / (CELLS_PER_WAVE * cell)
    return float(third_octave(np.floor(10.0 * np.log10(most / AT_1000) - 0.5) + 0.5))


@guarded
def radiate(
    flow: np.ndarray, rpm: float, density: float, distance: float, ground: bool = True
) -> Sound:
    """Sound of a volume flow over one cycle.

    Parameters
    ----------
    flow : ndarray, (n,)
        Volume flow out of the opening [m3/s] at equal steps of crank angle over 720 deg, the last
        one step before its end.
    rpm : float
        Engine speed [rev/min].
    density : float
        Of the air outside [kg/m3].
    distance : float
        [m], 0.1 to 1000.
    ground : bool
        As for `sound`.

    Returns
    -------
    Sound

    Raises
    ------
    InputError
        If there are too few values, one is no number, or a value is out of range.

    Examples
    --------
    A source of 0.01 m3/s at 200 Hz, half a metre away:

    >>> flow = 2.0**0.5 * 0.01 * np.cos(2.0 * np.radians(np.arange(720.0)))
    >>> round(radiate(flow, 6000.0, 1.2, 0.5, ground=False).level(), 3)
    101.584
    """
    flow = as_floats("radiate", "flow", flow)
    if flow.ndim != 1 or flow.size < 4 or not np.isfinite(flow).all():
        raise InputError("radiate: flow must be an array of 4 finite values or more.")
    rpm = check_number("radiate", "rpm", rpm, "rev/min", *RPM_RANGE)
    density = check_number("radiate", "density", density, "kg/m3", 0.01, 100.0)
    distance = check_number("radiate", "distance", distance, "m", *DISTANCES)
    lines = np.fft.rfft(flow) / len(flow)
    orders = 0.5 * np.arange(1, (len(flow) + 1) // 2)
    flow_rms = np.sqrt(2.0) * lines[1 : orders.size + 1]
    rate = 2j * pi * orders * rpm / 60.0
    pressure = density * rate * flow_rms / (4.0 * pi * distance)
    return Sound(rpm, orders, (2.0 if ground else 1.0) * pressure, distance, bool(ground))


@guarded
def tip_flow(samples: Samples, node: str) -> np.ndarray:
    """Volume flow out of a duct at a node that takes one duct end [m3/s], (n_sample,).

    Raises
    ------
    InputError
        If there is no such node.
    """
    nodes = samples.layout["nodes"]
    duct, side = samples.layout["ends"][nodes[check_choice("tip_flow", "node", node, nodes)]]
    bore = samples.layout["ducts"][duct]["bores"][0 if side == "start" else -1]
    return 0.25 * pi * bore**2 * samples.trace("velocity", node).values


def _openings(point, side):
    first = "outlet" if side == "exhaust" else "air inlet"
    names = [name for name in point.samples.layout["nodes"] if name.startswith(first)]
    if not names:
        raise InputError(f"sound: the {side} side has no open end, name one by `at`.")
    return names
