"""Sound of the open ends: from the volume flow at the tip to levels, spectra and a sound file.

An opening much smaller than a wavelength radiates as a point that breathes.  With the volume flow Q
at the opening, the pressure at the distance r in the open is

    p(t) = rho / (4 pi r) dQ/dt,        p_rms(f) = rho f Q_rms(f) / (2 r),

rho being the density of the air outside (Pierce, Acoustics, 1981, sec. 4; from memory).  On hard
ground at the height of the source the pressure is twice that.  A periodic engine radiates at the
multiples of half its speed only; the n-th order is n times the crankshaft's.

Not in this model: the noise of the jet itself, the sound that pipe and silencer walls radiate, the
ground's own absorption, wind.  Real engines are louder at high frequency, and a level computed here
proves nothing before the law: the local code and a licensed measurement decide.
"""

import io
import struct
from collections.abc import Sequence
from dataclasses import dataclass
from math import pi
from pathlib import Path

import numpy as np

from wavesim.constants import R_AIR
from wavesim.errors import InputError, check_choice, check_int, check_number
from wavesim.guard import guarded
from wavesim.results.points import Point
from wavesim.results.traces import Samples
from wavesim.writing import MAKER, holds_mark, whole_file

P_REFERENCE = 2e-5  # [Pa] of sound pressure levels
#: Poles of the A-weighting [Hz]: IEC 61672-1 (2013), annex E.
A_POLES = (20.599, 107.6526, 737.8622, 12194.22)
AT_1000 = 1.0e3
RATES = (1000, 384_000)  # samples per second of a sound file
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
    """Sound pressure level [dB] of mean squares [Pa2]; minus infinity where there is none."""
    with np.errstate(divide="ignore"):
        return 10.0 * np.log10(np.asarray(pressure_squared) / P_REFERENCE**2)


@guarded
def third_octave(index: int | np.ndarray) -> float | np.ndarray:
    """Exact mid-band frequency [Hz] of a third octave, 0 for 1000 Hz: 1000 * 10^(index / 10).

    IEC 61260-1 (2014), base ten.
    """
    return AT_1000 * 10.0 ** (np.asarray(index) / 10.0)


@guarded
@dataclass(frozen=True, eq=False)
class Sound:
    """Sound of a point at a distance.

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
    """

    rpm: float
    orders: np.ndarray
    pressure: np.ndarray
    distance: float

    def __repr__(self):
        return (f"<Sound at {self.rpm:g} rev/min: {self.level():.1f} dB, {self.level('A'):.1f} "
                f"dB(A) at {self.distance:g} m>")

    @property
    def frequency(self):
        """Frequency of each order [Hz], (n,)."""
        return self.orders * self.rpm / 60.0

    def squares(self, weighting="Z"):
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
        check_choice("Sound", "weighting", weighting, ("Z", "A"))
        squares = np.abs(self.pressure) ** 2
        return squares if weighting == "Z" else squares * 10.0 ** (
            0.1 * a_weighting(self.frequency)
        )

    def level(self, weighting="Z"):
        """Sound pressure level of all orders together [dB]."""
        return float(level(self.squares(weighting).sum()))

    def order_levels(self, weighting="Z"):
        """Sound pressure level of each order [dB], (n,)."""
        return level(self.squares(weighting))

    def third_octaves(self, weighting="Z"):
        """Sound pressure levels by third octave.

        Returns
        -------
        frequency : ndarray, (m,)
            Exact mid-band frequencies [Hz], from 25 Hz up to the last that the orders fill.
        levels : ndarray, (m,)
            [dB]; minus infinity where no order falls into the band.
        """
        squares, f = self.squares(weighting), self.frequency
        last = int(np.floor(10.0 * np.log10(f[-1] / AT_1000) - 0.5))
        index = np.arange(-16, last + 1)
        edges = third_octave(np.append(index, index[-1] + 1) - 0.5)
        place = np.digitize(f, edges) - 1
        sums = np.array([squares[place == i].sum() for i in range(index.size)])
        return third_octave(index), level(sums)

    def waveform(self, samples=2048):
        """Pressure over one cycle.

        Parameters
        ----------
        samples : int
            Equally spaced in crank angle.

        Returns
        -------
        theta_deg, pressure : ndarray, (samples,)
            Crank angle [deg] and pressure [Pa].
        """
        theta = np.arange(samples) * 720.0 / samples
        turn = np.exp(1j * np.radians(theta)[:, None] * self.orders)
        return theta, np.sqrt(2.0) * (turn @ self.pressure).real


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
    """
    check_number("sound", "distance", distance, "m", 0.1, 1000.0)
    check_choice("sound", "side", side, ("exhaust", "intake"))
    if point.samples is None:
        raise InputError("sound: the point has no samples, run it with its traces.")
    names = list(at) if at is not None else _openings(point, side)
    flow = sum(tip_flow(point.samples, name) for name in names)
    outside = point.meta["outside"][side]
    density = outside["pressure"] / (R_AIR * outside["temperature"])
    return radiate(flow, point.rpm, density, distance, ground)


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
        [m].
    ground : bool
        As for `sound`.

    Returns
    -------
    Sound
    """
    if np.ndim(flow) != 1 or len(flow) < 4:
        raise InputError("radiate: flow must be an array of 4 values or more.")
    lines = np.fft.rfft(flow) / len(flow)
    orders = 0.5 * np.arange(1, (len(flow) + 1) // 2)
    flow_rms = np.sqrt(2.0) * lines[1 : orders.size + 1]
    rate = 2j * pi * orders * rpm / 60.0
    pressure = density * rate * flow_rms / (4.0 * pi * distance)
    return Sound(float(rpm), orders, (2.0 if ground else 1.0) * pressure, float(distance))


@guarded
def tip_flow(samples: Samples, node: str) -> np.ndarray:
    """Volume flow out of a duct at a node that takes one duct end [m3/s], (n_sample,)."""
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


@guarded
def insertion_loss(
    sound_without: Sound, sound_with: Sound, weighting: str = "Z"
) -> tuple[float, np.ndarray, np.ndarray]:
    """By how much a system is quieter than another, as one number and by third octave.

    Parameters
    ----------
    sound_without, sound_with : Sound
        At one speed and distance, such as open header and complete system.
    weighting : {"Z", "A"}

    Returns
    -------
    total : float
        [dB], positive where the second is quieter.
    frequency, loss : ndarray
        By third octave [Hz], [dB]; NaN where one of them has no order in the band.

    Raises
    ------
    InputError
        If speeds or distances differ.
    """
    for name in ("rpm", "distance"):
        pair = getattr(sound_without, name), getattr(sound_with, name)
        if abs(pair[0] - pair[1]) > 1e-9 * pair[0]:
            raise InputError(f"insertion_loss: the {name} of both must be the same, got "
                             f"{pair[0]:g} and {pair[1]:g}.")
    f, before = sound_without.third_octaves(weighting)
    _, after = sound_with.third_octaves(weighting)
    shared = min(before.size, after.size)
    with np.errstate(invalid="ignore"):
        loss = before[:shared] - after[:shared]
    loss[~np.isfinite(loss)] = np.nan
    return sound_without.level(weighting) - sound_with.level(weighting), f[:shared], loss


@guarded
def run_up(
    sounds: Sequence[Sound], duration: float, rate: int = 44100, highest: float = 8000.0
) -> np.ndarray:
    """Pressure of an engine that runs up through some speeds.

    Parameters
    ----------
    sounds : sequence of Sound
        In order of speed, two at least, with the same orders.
    duration : float
        Of the run-up [s], 0.5 to 120.
    rate : int
        Samples per second, 1000 to 384 000.
    highest : float
        Frequency above which orders are left out [Hz].

    Returns
    -------
    ndarray
        Pressure [Pa] at each sample: the orders keep their phase to the crankshaft, amplitudes are
        read straight between the computed speeds.

    Raises
    ------
    InputError
        If there are too few sounds or the duration is out of range.
    """
    duration = check_number("run_up", "duration", duration, "s", 0.5, 120.0)
    rate = check_int("run_up", "rate", rate, *RATES, "1/s")
    sounds = sorted(sounds, key=lambda one: one.rpm)
    if len(sounds) < 2:
        raise InputError("run_up: needs the sound at 2 speeds or more.")
    t = np.arange(int(duration * rate)) / rate
    first, last = sounds[0].rpm, sounds[-1].rpm
    speed = first + (last - first) * t / duration
    angle = 2.0 * pi / 60.0 * (first * t + 0.5 * (last - first) * t**2 / duration)
    known = np.array([one.rpm for one in sounds])
    count = min(one.orders.size for one in sounds)
    out = np.zeros(t.size)
    for k in range(count):
        order = sounds[0].orders[k]
        heard = order * speed / 60.0 < min(highest, 0.45 * rate)
        if not heard.any():
            break
        values = np.array([one.pressure[k] for one in sounds])
        real, imag = (np.interp(speed, known, part) for part in (values.real, values.imag))
        out += heard * np.sqrt(2.0) * (real * np.cos(order * angle) - imag * np.sin(order * angle))
    return out


@guarded
def write_wav(
    pressure: np.ndarray, path: str | Path, *, full_scale: float, rate: int = 44100
) -> float:
    """Write a pressure signal as a sound file of one channel.

    Parameters
    ----------
    pressure : ndarray
        [Pa].
    path : str or Path
        The file; it is replaced if it is one of the library's.
    full_scale : float
        Pressure at the largest sample [Pa], above 0.  Give the same to all systems that are to be
        heard against each other; what exceeds it is cut off.
    rate : int
        Samples per second, 1000 to 384 000.

    Returns
    -------
    float
        Share of samples that were cut off.

    Raises
    ------
    InputError
        If `full_scale` or `rate` is out of range, or the file cannot be written or is another's.
    """
    from scipy.io import wavfile

    check_number("write_wav", "full_scale", full_scale, "Pa", 0.0, 1e6, low_open=True)
    rate = check_int("write_wav", "rate", rate, *RATES, "1/s")
    shares = np.asarray(pressure) / full_scale
    clipped = np.clip(shares, -1.0, 1.0)
    sound_file = io.BytesIO()
    wavfile.write(sound_file, rate, np.round(32767.0 * clipped).astype(np.int16))
    with whole_file(path, "write_wav", is_own=holds_mark) as file:
        file.write(_with_maker(sound_file.getvalue()))
    return float(np.mean(np.abs(shares) > 1.0))


def _with_maker(riff):
    """A RIFF file that notes its maker behind the sound, in a chunk "ISFT" of the list "INFO"."""
    maker = MAKER.encode() + b"\0" * (2 - len(MAKER) % 2)
    info = b"INFOISFT" + struct.pack("<I", len(maker)) + maker
    riff += b"LIST" + struct.pack("<I", len(info)) + info
    return riff[:4] + struct.pack("<I", len(riff) - 8) + riff[8:]
