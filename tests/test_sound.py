"""Sound from the volume flow of an opening: published levels, identities, an engine."""

import numpy as np
import pytest
from scipy.io import wavfile

import wavesim as ws
from wavesim import (
    InputError,
    SoundCurve,
    a_weighting,
    insertion_loss,
    radiate,
    run_up,
    sound,
    sound_curve,
    write_wav,
)
from wavesim.dyno.sound import nominal, third_octave, tip_flow
from wavesim.show import plots
from wavesim.show.sounds import OUTSIDE

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
    assert heard.order_levels()[heard.frequency > heard.highest].max() == -np.inf
    cell = point.samples.layout["ducts"]["collector"]["dx"]
    waves = point.trace("sound_speed", "outlet").values.mean() / heard.highest / cell
    assert 10.0 < waves < 10.0 * 10.0**0.1  # cells to the shortest wave
    loudest = heard.orders[np.argmax(np.abs(heard.pressure))]
    assert loudest == 2.0  # firing order of a four
    intake = sound(point, side="intake", distance=1.0)
    assert 60.0 < intake.level("A") < heard.level("A")


def test_insertion_loss_of_a_source_half_as_strong():
    """20 log10(2) = 6.0206 dB, with and without weighting, in the one band that sounds."""
    loss = insertion_loss(pulsating(rms=0.02), pulsating(rms=0.01))
    for found in (loss.total, loss.total_a, loss.bands[np.isfinite(loss.bands)]):
        assert np.max(found) == pytest.approx(20.0 * np.log10(2.0), abs=1e-6)
    assert loss.bands.shape == (1, loss.frequency.size)
    for other in (pulsating(distance=1.0), pulsating(ground=True)):
        with pytest.raises(InputError, match="both must be heard at one place"):
            insertion_loss(pulsating(), other)
    with pytest.raises(InputError, match="must share a speed"):
        insertion_loss(pulsating(), pulsating(rpm=3000.0))


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


def test_run_up_is_no_quieter_where_the_phase_of_an_order_turns():
    """Halfway between two speeds at which an order stands in opposite phase."""
    same = radiate(np.cos(2.0 * THETA), 3000.0, 1.2, 0.5, False)
    turned = radiate(np.cos(2.0 * THETA + 3.0), 3030.0, 1.2, 0.5, False)
    heard = run_up([same, turned], 2.0, rate=8000)
    size = np.abs(same.pressure).max()
    for part in np.split(heard, 10):
        assert np.sqrt(np.mean(part**2)) == pytest.approx(size, rel=0.03)


def test_monopole_is_the_limit_of_an_analytic_pulsating_sphere():
    """A wave p = A cos(k r - w t) / r moves the air by Euler's equation as
    u = A / (rho c r) [cos(k r - w t) + sin(k r - w t) / (k r)].  The flow through a sphere of
    radius a, taken for a point source, gives back the level at any distance but for
    10 log10(1 + (k a)^2), by which a sphere is no point (Pierce 1981, sec. 4-1; from memory)."""
    rho, c, rpm, distance, amplitude = 1.2, 343.0, 6000.0, 0.5, 2.0
    omega = 2.0 * 2.0 * np.pi * rpm / 60.0  # order 2
    k = omega / c
    exact = 20.0 * np.log10(amplitude / distance / np.sqrt(2.0) / 2e-5)
    excess = []
    for a in (0.1, 0.03, 0.01):
        phase = k * a - 2.0 * THETA
        u = amplitude / (rho * c * a) * (np.cos(phase) + np.sin(phase) / (k * a))
        made = radiate(4.0 * np.pi * a**2 * u, rpm, rho, distance, False)
        excess.append(made.level() - exact)
        assert excess[-1] == pytest.approx(10.0 * np.log10(1.0 + (k * a) ** 2), abs=1e-9)
    assert excess[0] > 30.0 * excess[2] > 0.0  # as the square of the radius


def test_power_that_is_radiated_is_what_an_open_pipe_does_not_reflect():
    """A pipe of 30 mm radius at 200 Hz, c 343 m/s: k a = 0.10991, 1 - |R|^2 = (k a)^2 = 0.01208.
    An incoming wave p moves 2 p S / (rho c) at an end that reflects it all; the power of the
    monopole over that of the wave is the same number.  W of 0.01 m3/s is 0.0439640 W, 106.431 dB.
    The reflection itself is Levine and Schwinger's (1948), 1.9 % off that limit."""
    rho, c, a, f = 1.2, 343.0, 0.03, 200.0

    def power(heard):
        return 4.0 * np.pi * heard.distance**2 * heard.squares().sum() / (rho * c)

    tone = pulsating()
    assert power(tone) == pytest.approx(0.0439640, rel=1e-5)
    assert 10.0 * np.log10(power(tone) / 1e-12) == pytest.approx(106.431, abs=1e-3)
    ka, area, wave = 2.0 * np.pi * f / c * a, np.pi * a**2, 100.0
    assert ka == pytest.approx(0.10991, abs=1e-5)
    share = power(pulsating(rms=2.0 * wave * area / (rho * c))) / (area * wave**2 / (rho * c))
    assert share == pytest.approx(0.01208, abs=1e-5)
    found = ws.exact.levine_schwinger(ka)
    assert 1.0 - abs(found.reflection) ** 2 == pytest.approx(share, rel=0.02)


def test_third_octaves_bear_their_nominal_names():
    """IEC 61260-1 (2014), annex E, as far as the ear hears."""
    names = [nominal(third_octave(i)) for i in range(-16, 14)]
    assert names[:4] + names[15:18] + names[-1:] == [
        "25 Hz", "31.5 Hz", "40 Hz", "50 Hz", "800 Hz", "1000 Hz", "1250 Hz", "20000 Hz"]


def tones(*levels, rms=0.01, name="tone"):
    return SoundCurve([pulsating(rms=rms * one, rpm=rpm) for rpm, one in levels], name)


def test_level_against_speed_grows_with_the_speed_of_a_steady_source():
    """The same flow at twice the frequency: 6.0206 dB more."""
    curve = tones((6000.0, 1.0), (3000.0, 1.0))
    assert curve.rpm.tolist() == [3000.0, 6000.0]
    assert np.diff(curve.sound_level) == pytest.approx(20.0 * np.log10(2.0), abs=1e-9)
    assert curve[6000.0].level() == curve["sound_level"][1]
    weight = a_weighting(np.array([100.0, 200.0]))
    assert curve.sound_level_a - curve.sound_level == pytest.approx(weight, abs=1e-9)
    squares = 10.0 ** (0.1 * curve.sound_level)
    assert curve.mean_level("Z") == pytest.approx(10.0 * np.log10(squares.mean()), abs=1e-9)


def test_map_holds_the_level_of_its_order_and_nothing_else():
    curve = tones((3000.0, 1.0), (4500.0, 2.0), (6000.0, 1.0))
    levels = curve.order_levels()
    assert levels.shape == (3, curve.orders.size)
    assert (curve.orders[levels.argmax(axis=1)] == 2.0).all()
    assert levels.max(axis=1) == pytest.approx(curve.sound_level)
    mesh = curve.plot_map().collections[0]
    drawn = mesh.get_array()
    loudest = np.unravel_index(drawn.argmax(), drawn.shape)
    assert loudest == (3, 1) or curve.orders[loudest[0]] == 2.0
    assert mesh.get_coordinates()[0, :, 0].tolist() == [2250.0, 3750.0, 5250.0, 6750.0]


def test_every_figure_of_sound_says_what_is_outside_the_model(sweeps):
    curves = [sound_curve(sweep) for sweep in sweeps.values()]
    one = curves[0].sounds[0]
    loss = insertion_loss(*curves)
    figures = [one.plot(), one.plot_third_octaves(), curves[0].plot(), curves[0].plot_map(),
               loss.plot(), plots.plot_sound_levels(curves),
               plots.plot_third_octaves([curve[4500.0] for curve in curves])]
    for ax in figures:
        said = [text.get_text() for text in ax.texts]
        assert any(OUTSIDE in words and "0.5 m, on hard ground" in words for words in said)
    assert OUTSIDE.split(" are ")[0] == "flow noise and shell noise"
    for result in (one, curves[0], loss):
        assert "Flow noise and shell noise are not in it" in result._repr_html_()


def test_insertion_loss_of_two_exhausts_is_the_difference_of_their_levels(sweeps):
    """And a silencer before the tip takes the firing order down."""
    a, b = (sound_curve(sweep, distance=2.0) for sweep in sweeps.values())
    loss = insertion_loss(a, b)
    assert loss.rpm.tolist() == a.rpm.tolist()
    common = min(a[4500.0].highest, b[4500.0].highest)
    levels = [[one.up_to(common).level() for one in curve] for curve in (a, b)]
    assert loss.total == pytest.approx(np.subtract(*levels), abs=1e-12)
    engine, exhaust = sweeps["short collector"][4500.0].engine, sweeps["short collector"][
        4500.0].exhaust
    chamber = ws.Chamber(0.3, 0.05, case_diameter=0.2)
    settings = ws.Settings(cell_length=0.05, tolerance=0.02)
    curves = [sound_curve(ws.speed_sweep(engine, one, [4500.0], settings=settings, progress=False))
              for one in (exhaust, exhaust.replace(tailpipe=(chamber, ws.Pipe(0.2, 0.05))))]
    assert insertion_loss(*curves).total_a[0] > 3.0


def test_two_systems_can_be_heard_against_each_other(tmp_path):
    """One scale for both files: a source half as strong is half as large in the file."""
    loud, quiet = tones((3000.0, 2.0), (6000.0, 2.0)), tones((3000.0, 1.0), (6000.0, 1.0))
    sizes = []
    for name, curve in (("loud", loud), ("quiet", quiet)):
        assert curve.to_wav(tmp_path / f"{name}.wav", duration=1.0, rate=8000) == 0.0
        sizes.append(np.abs(wavfile.read(tmp_path / f"{name}.wav")[1].astype(int)).max())
    assert sizes[0] / sizes[1] == pytest.approx(2.0, rel=0.01)
    assert sizes[0] == pytest.approx(32767 * 2.0 * 2.4 * np.sqrt(2.0) / 1000.0, rel=0.01)
    (tmp_path / "mine.wav").write_bytes(b"RIFF of somebody else")
    with pytest.raises(InputError, match="was not written by wavesim"):
        loud.to_wav(tmp_path / "mine.wav", duration=1.0)


def test_sounds_that_do_not_belong_together_are_refused():
    with pytest.raises(InputError, match="one distance and on one ground"):
        SoundCurve([pulsating(), pulsating(rpm=3000.0, distance=1.0)])
    with pytest.raises(InputError, match="each speed must be there once"):
        SoundCurve([pulsating(), pulsating()])
    with pytest.raises(InputError, match="one distance and on one ground"):
        run_up([pulsating(), pulsating(rpm=3000.0, ground=True)], 1.0)
    with pytest.raises(InputError, match="2 speeds or more"):
        tones((3000.0, 1.0)).plot_map()
    with pytest.raises(InputError, match="at = \\[\\] is empty"):
        sound(ws.Point(3000.0, {}, {}, object(), {}, {}), at=[])


def test_bad_arguments_are_refused(base):
    with pytest.raises(InputError, match="distance = 0 m"):
        sound(base[4500.0], distance=0)
    with pytest.raises(InputError, match="weighting = 'C'"):
        pulsating().level("C")
    with pytest.raises(InputError, match="2 speeds or more"):
        run_up([pulsating()], 2.0)
