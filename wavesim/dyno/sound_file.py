"""Sound as a file: the pressure of an engine that runs up, on a stated scale."""

import io
import struct
from collections.abc import Sequence
from math import pi
from pathlib import Path

import numpy as np

from wavesim.dyno.sound import Sound
from wavesim.errors import InputError, as_floats, check_int, check_kind, check_number
from wavesim.fields.description import sequence
from wavesim.guard import guarded
from wavesim.writing import MAKER, holds_mark, whole_file

RATES = (1000, 384_000)  # samples per second of a sound file
FULL_SCALE = 1000.0  # [Pa] of the loudest sample, unless stated: open pipes at 0.5 m come near it


@guarded
def run_up(
    sounds: Sequence[Sound], duration: float, rate: int = 44100, highest: float = 8000.0
) -> np.ndarray:
    """Pressure of an engine that runs up through some speeds.

    Parameters
    ----------
    sounds : sequence of Sound
        Two at least, at one distance.
    duration : float
        Of the run-up [s], 0.5 to 120.
    rate : int
        Samples per second, 1000 to 384 000.
    highest : float
        Frequency above which orders are left out [Hz].

    Returns
    -------
    ndarray
        Pressure [Pa] at each sample: the orders keep their phase to the crankshaft.  Their
        amplitudes are read straight between the computed speeds, and their phases the shorter way
        round, so that an order whose phase turns from speed to speed is no quieter in between.

    Raises
    ------
    InputError
        If there are too few sounds, they are not heard alike, or a value is out of range.

    Examples
    --------
    >>> from wavesim.dyno.sound import radiate
    >>> flow = 0.01 * np.cos(2.0 * np.radians(np.arange(720.0)))
    >>> sounds = [radiate(flow, rpm, 1.2, 0.5) for rpm in (3000.0, 6000.0)]
    >>> run_up(sounds, 2.0, rate=8000).shape
    (16000,)
    """
    duration = check_number("run_up", "duration", duration, "s", 0.5, 120.0)
    rate = check_int("run_up", "rate", rate, *RATES, "1/s")
    highest = check_number("run_up", "highest", highest, "Hz", 1.0, 1e5)
    sounds = sequence("run_up", "sounds", sounds, "Sound")
    for i, one in enumerate(sounds):
        check_kind("run_up", f"sounds[{i}]", one, Sound)
    sounds = sorted(sounds, key=lambda one: one.rpm)
    if len({one.rpm for one in sounds}) < max(2, len(sounds)):
        raise InputError("run_up: needs the sound at 2 speeds or more, each once.")
    if len({(one.distance, one.ground) for one in sounds}) > 1:
        raise InputError("run_up: all sounds must be heard at one distance and on one ground.")
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
        size = np.interp(speed, known, np.abs(values))
        phase = np.interp(speed, known, np.unwrap(np.angle(values)))
        out += heard * np.sqrt(2.0) * size * np.cos(order * angle + phase)
    return out


@guarded
def write_wav(
    pressure: np.ndarray, path: str | Path, *, full_scale: float = FULL_SCALE, rate: int = 44100
) -> float:
    """Write a pressure signal as a sound file of one channel.

    Parameters
    ----------
    pressure : ndarray, (n,)
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
        If a value is no number or out of range, or the file cannot be written or is another's.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     write_wav(np.array([0.0, 500.0, 0.0, -1500.0]), f"{folder}/a.wav")
    0.25
    """
    from scipy.io import wavfile

    check_number("write_wav", "full_scale", full_scale, "Pa", 0.0, 1e6, low_open=True)
    rate = check_int("write_wav", "rate", rate, *RATES, "1/s")
    shares = as_floats("write_wav", "pressure", pressure) / full_scale
    if shares.ndim != 1 or not shares.size or not np.isfinite(shares).all():
        raise InputError("write_wav: pressure must be an array of finite values.")
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
