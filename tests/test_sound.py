"""Sound from the volume flow of an opening: published levels, identities, an engine."""

import numpy as np
import pytest
from scipy.io import wavfile

from wavesim import InputError
from wavesim.dyno.sound import (
    a_weighting,
    insertion_loss,
    radiate,
    run_up,
    sound,
    third_octave,
    tip_flow,
    write_wav,
)

THETA = np.radians(np.arange(720.0))  # one cycle


def pulsating(order=2.0, rms=0.01, rpm=6000.0, **changes):
    """A source that pulsates at one order of the crankshaft."""
    given = {"density": 1.2, "distance": 0.5, "ground": False} | changes
    return radiate(np.sqrt(2.0) * rms * np.cos(order * THETA), rpm, **given)


def test_monopole_has_the_published_level():
    """0.01 m3/s at 200 Hz, 0.5 m, 1.2 kg/m3: 2.4 Pa, 101.584 dB; on ground 107.604 dB.
    Pierce (1981), sec. 4."""
    free = pulsating()
    assert np.abs(free.pressure).max() == pytest.approx(2.4, rel=1e-12)
    assert free.level() == pytest.approx(101.584, abs=1e-3)
    assert pulsating(ground=True).level() == pytest.approx(107.604, abs=1e-3)
    assert free.frequency[np.argmax(np.abs(free.pressure))] == 200.0


def test_level_falls_with_the_distance_and_grows_with_a_second_source():
    """0.5 m to 7.5 m: -23.5218 dB; two sources of equal power: +3.0103 dB."""
    near, far = pulsating(), pulsating(distance=7.5)
    assert far.level() - near.level() == pytest.approx(-23.5218, abs=1e-4)
    both = np.sqrt(2.0) * 0.01 * (np.cos(2.0 * THETA) + np.cos(2.0 * THETA + np.pi / 2.0))
    assert radiate(both, 6000.0, 1.2, 0.5, False).level() - near.level() == pytest.approx(
        3.0103, abs=1e-4
    )


@pytest.mark.parametrize(
    ("nominal", "published"),
    [(31.5, -39.4), (63, -26.2), (125, -16.1), (250, -8.6), (500, -3.2), (1000, 0.0), (2000, 1.2),
     (4000, 1.0), (8000, -1.1), (16000, -6.6)],
)
def test_a_weighting_is_that_of_the_standard(nominal, published):
    """Octaves of IEC 61672-1 (2013), as published by an open acoustics library."""
    exact = third_octave(round(10.0 * np.log10(nominal / 1000.0)))
    assert a_weighting(exact) == pytest.approx(published, abs=0.05)


def test_pressure_is_the_derivative_of_the_flow():
    """A source with many orders against its analytic derivative."""
    orders, parts = (0.5, 2.0, 3.5), (0.004, 0.01, -0.006)
    flow = sum(a * np.cos(n * THETA + n) for n, a in zip(orders, parts, strict=True))
    omega = 2.0 * np.pi * 3000.0 / 60.0
    rate = -omega * sum(a * n * np.sin(n * THETA + n) for n, a in zip(orders, parts, strict=True))
    theta, pressure = radiate(flow, 3000.0, 1.2, 2.0).waveform(720)
    np.testing.assert_allclose(pressure, 2.0 * 1.2 / (4.0 * np.pi * 2.0) * rate, atol=1e-10)
    np.testing.assert_array_equal(theta, np.arange(720.0))


def test_third_octaves_hold_all_of_the_sound():
    rng = np.random.default_rng(1)
    made = radiate(rng.standard_normal(720), 6000.0, 1.2, 0.5)
    f, levels = made.third_octaves()
    inside = made.frequency < f[-1] * 10.0**0.05
    total = 10.0 * np.log10(np.sum(10.0 ** (0.1 * levels)))
    assert total == pytest.approx(
        10.0 * np.log10(np.sum(np.abs(made.pressure[inside]) ** 2) / 4e-10), abs=1e-9
    )
    assert f[16] == 1000.0


def test_a_tone_of_1000_hz_weighs_the_same_with_and_without():
    tone = pulsating(order=10.0)
    assert tone.level("A") == pytest.approx(tone.level(), abs=1e-9)
    assert pulsating(order=0.5).level("A") < pulsating(order=0.5).level() - 25.0


def test_engine_radiates_the_derivative_of_its_tip_flow(base):
    """Mean square of the time derivative of the trace, by finite differences."""
    point = base[4500.0]
    heard = sound(point, distance=1.0)
    flow = tip_flow(point.samples, "outlet")
    dt = (point.samples.x[1] - point.samples.x[0]) / (6.0 * point.rpm)
    rate = (np.roll(flow, -1) - np.roll(flow, 1)) / (2.0 * dt)
    density = 101325.0 / (287.05 * 298.15)
    mean_square = np.mean((2.0 * density / (4.0 * np.pi) * rate) ** 2)
    assert 10.0 * np.log10(mean_square / 4e-10) == pytest.approx(heard.level(), abs=0.6)
    loudest = heard.orders[np.argmax(np.abs(heard.pressure))]
    assert loudest == 2.0  # firing order of a four
    intake = sound(point, side="intake", distance=1.0)
    assert 60.0 < intake.level("A") < heard.level("A")


def test_insertion_loss_of_a_source_half_as_strong():
    total, f, loss = insertion_loss(pulsating(rms=0.02), pulsating(rms=0.01))
    assert total == pytest.approx(20.0 * np.log10(2.0), abs=1e-9)
    assert loss[np.isfinite(loss)].max() == pytest.approx(total, abs=1e-6)
    assert f.size == loss.size
    with pytest.raises(InputError, match="distance of both must be the same"):
        insertion_loss(pulsating(), pulsating(distance=1.0))


def test_run_up_sweeps_its_orders_and_keeps_their_strength(tmp_path):
    """Order 2 from 3000 to 6000 rev/min: 100 Hz at the start, 200 Hz at the end, even though the
    pressure of the source grows with frequency."""
    heard = run_up([pulsating(rpm=rpm) for rpm in (3000.0, 6000.0)], 2.0, rate=8000)
    starts = np.flatnonzero((heard[:-1] < 0.0) & (heard[1:] >= 0.0)) / 8000.0
    assert 1.0 / np.diff(starts[:5]).mean() == pytest.approx(100.0, rel=0.03)
    assert 1.0 / np.diff(starts[-5:]).mean() == pytest.approx(200.0, rel=0.03)
    assert np.sqrt(np.mean(heard[-800:] ** 2)) == pytest.approx(2.4, rel=0.03)
    assert write_wav(heard, tmp_path / "a.wav", full_scale=10.0, rate=8000) == 0.0
    rate, data = wavfile.read(tmp_path / "a.wav")
    assert rate == 8000
    np.testing.assert_allclose(data / 32767.0 * 10.0, heard, atol=2e-4)
    assert write_wav(heard, tmp_path / "b.wav", full_scale=1.0, rate=8000) > 0.2


def test_bad_arguments_are_refused(base):
    with pytest.raises(InputError, match="distance = 0 m"):
        sound(base[4500.0], distance=0)
    with pytest.raises(InputError, match="weighting = 'C'"):
        pulsating().level("C")
    with pytest.raises(InputError, match="2 speeds or more"):
        run_up([pulsating()], 2.0)
