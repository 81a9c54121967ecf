"""Bands over measured differences cover what they promise: simulations with known truth.

The pulls are invented: a torque curve, a difference that changes sign, a shift of every pull,
scatter that is smooth over speed, noise from point to point, and drift over the session.
"""

import numpy as np
import pytest
from scipy import stats

from wavesim import InputError, measured_difference
from wavesim.dyno.repeat import crossing_set

RPM = np.linspace(2000.0, 7000.0, 21)
TORQUE = 200.0 * np.exp(-(((RPM - 5000.0) / 4000.0) ** 2))
TRUE = 6.0 * np.sin((RPM - 2500.0) / 1400.0)
CROSSING = 2500.0 + 1400.0 * np.pi
CROSSINGS = (2500.0, CROSSING)
SMOOTH = np.linalg.cholesky(
    np.exp(-0.5 * ((RPM[:, None] - RPM) / 600.0) ** 2) + 1e-9 * np.eye(RPM.size)
)
#: Shares of torque: shift of a pull, smooth scatter, noise, drift over the session.
USUAL = {"shift": 0.007, "smooth": 0.006, "noise": 0.004, "drift": -0.01}
KINDS = {
    "usual": USUAL,
    "without drift": {**USUAL, "drift": 0.0},
    "rough": {"shift": 0.003, "smooth": 0.003, "noise": 0.009, "drift": -0.01},
    "smooth": {"shift": 0.004, "smooth": 0.009, "noise": 0.002, "drift": -0.02},
}


def session(n, rng, *, shift, smooth, noise, drift):
    """Pulls (n, m) of both systems, made in turn."""
    time = np.arange(2 * n) / (2 * n - 1)
    scatter = shift * rng.standard_normal((2 * n, 1))
    scatter = scatter + smooth * rng.standard_normal((2 * n, RPM.size)) @ SMOOTH.T
    scatter += noise * rng.standard_normal((2 * n, RPM.size))
    scatter += drift * time[:, None] * np.linspace(0.7, 1.3, RPM.size)
    truth = np.tile(TORQUE, (2 * n, 1))
    truth[1::2] += TRUE
    pulls = truth + TORQUE * scatter
    return pulls[::2], pulls[1::2]


def coverage(n, kind, repeats, seed=7):
    """Percent of speeds in the pointwise band, of whole curves in the simultaneous band, of both
    true crossings in their set, of averages in their interval; median half widths in percent."""
    rng = np.random.default_rng(seed)
    hits, widths = np.zeros(4), []
    for _ in range(repeats):
        found = measured_difference(RPM, *session(n, rng, **KINDS[kind]))
        error = np.abs(found.difference - TRUE)
        average = found.band_average()
        hits += (
            np.mean(error <= found.half_width),
            np.all(error <= found.simultaneous_half_width),
            np.mean([any(low <= rpm <= high for low, high in found.crossings().pieces)
                     for rpm in CROSSINGS]),
            abs(average.difference - np.trapezoid(TRUE, RPM) / 5000.0) <= average.half_width,
        )
        widths.append((np.median(found.half_width / TORQUE),
                       np.median(found.simultaneous_half_width / TORQUE)))
    return 100.0 * hits / repeats, 100.0 * np.median(widths, axis=0)


@pytest.mark.slow
@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("n", [3, 5, 10])
def test_bands_cover_what_they_promise(n, kind):
    (point, curve, crossing, average), widths = coverage(n, kind, 2000)
    print(f"{n:2d} pulls, {kind}: pointwise {point:.1f} %, curves {curve:.1f} %, crossings "
          f"{crossing:.1f} %, averages {average:.1f} %; half widths {widths[0]:.2f} and "
          f"{widths[1]:.2f} % of torque")
    assert 93.0 <= point <= 97.0
    assert 93.0 <= curve <= 98.0
    assert 93.0 <= crossing <= 98.0
    assert 93.0 <= average <= 97.0


@pytest.mark.parametrize("n", [3, 10])
def test_bands_cover_what_they_promise_in_a_quick_look(n):
    """Two hundred sessions, bounds three standard errors of their count wider."""
    (point, curve, crossing, average), _ = coverage(n, "usual", 200)
    assert 93.0 - 3.0 <= point <= 97.0 + 3.0
    for found in (curve, crossing, average):
        assert 95.0 - 5.0 <= found


def test_least_squares_at_one_speed_agree_with_a_general_library():
    """Linear regression on system and order, by scipy's own t distribution and numpy's solver."""
    a, b = session(4, np.random.default_rng(3), **USUAL)
    found = measured_difference(RPM, a, b)
    y = np.vstack([a, b])[:, 5]
    order = np.r_[0, 2, 4, 6, 1, 3, 5, 7].astype(float)
    x = np.column_stack([np.ones(8), np.r_[np.zeros(4), np.ones(4)], order - 3.5])
    beta, rss, _, _ = np.linalg.lstsq(x, y, rcond=None)
    assert found.difference[5] == pytest.approx(beta[1], abs=1e-9)
    assert found.drift[5] == pytest.approx(beta[2], abs=1e-9)
    assert found.degrees_of_freedom == 5


def test_drift_is_not_taken_for_a_difference():
    """Without scatter a session that only drifts shows a difference of nothing."""
    a, b = session(3, np.random.default_rng(0), shift=0, smooth=0, noise=0, drift=-0.05)
    found = measured_difference(RPM, a, b)
    np.testing.assert_allclose(found.difference, TRUE, atol=1e-10)
    assert np.all(found.half_width < 1e-9)


def test_average_of_a_band_is_a_plain_t_interval_without_drift_in_the_model():
    """Two pulls of each in the order A B B A: drift drops out, the interval is the pooled t."""
    a, b = session(2, np.random.default_rng(5), **USUAL)
    found = measured_difference(RPM, a, b, order=((0, 3), (1, 2)))
    average = found.band_average()
    means = [np.trapezoid(p, RPM, axis=1) / 5000.0 for p in (a, b)]
    assert average.difference == pytest.approx(means[1].mean() - means[0].mean(), abs=1e-9)
    assert average.percent == pytest.approx(100.0 * average.difference / means[0].mean(), rel=0.02)


def test_crossing_set_holds_the_crossing_and_shrinks_with_more_pulls():
    wide, narrow = (
        measured_difference(RPM, *session(n, np.random.default_rng(11), **USUAL)).crossings()
        for n in (3, 40)
    )
    for found in (wide, narrow):
        assert any(low <= CROSSING <= high for low, high in found.pieces)
    sizes = [sum(high - low for low, high in found.pieces) for found in (wide, narrow)]
    assert sizes[1] < 0.5 * sizes[0]
    assert min(abs(rpm - CROSSING) for rpm in narrow.estimates) < 100.0


def test_crossing_between_two_speeds_is_found_whatever_the_band():
    """The difference passes zero in a jump, between bands much narrower than the jump."""
    rpm = np.array([2000.0, 3000.0, 4000.0])
    for half_width in (0.0, 1e-6, 1e-3):
        found = crossing_set(rpm, np.array([5.0, -5.0, -5.0]), np.full(3, half_width))
        ((low, high),) = found.pieces
        assert low <= 2500.0 <= high and high - low < 100.0
        assert found.estimates == (2500.0,)
    apart = crossing_set(rpm, np.array([0.1, 5.0, 0.1]), np.ones(3))
    assert len(apart.pieces) == 2 and "in 2 pieces" in str(apart)
    none = crossing_set(rpm, np.array([4.0, 5.0, 6.0]), np.ones(3))
    assert none.pieces == () and str(none) == "There is no crossing within these speeds."


def test_summary_says_what_is_real_where_curves_may_cross_and_what_more_pulls_show():
    a, b = session(10, np.random.default_rng(11), **USUAL)
    found = measured_difference(RPM, a, b, names=("short", "long"))
    text = found.summary()
    above = RPM[found.is_real & (found.difference > 0.0)]
    assert np.all(np.diff(above) == 250.0)
    assert f"'long' is above 'short' from {above[0]:g} to {above[-1]:g} rev/min." in text
    assert "The curves may cross from" in text and "drifted by" in text
    shown = ", ".join(f"{found.smallest_difference(n):.1f}" for n in (3, 5, 10))
    assert f"3, 5, 10 pulls of each system show a difference of the average of {shown} N m" in text
    same = measured_difference(RPM, a[:5], a[5:], names=("short", "again"))
    assert "Nowhere is the difference larger" in same.summary()


def test_smallest_difference_is_shown_as_often_as_promised():
    """Sessions with exactly that difference: four in five say that it is real."""
    rng = np.random.default_rng(2)
    many = measured_difference(RPM, *session(200, rng, **USUAL))
    delta = many.smallest_difference(4)
    shown = 0
    for _ in range(1000):
        a, b = session(4, rng, **USUAL)
        b = b - TRUE + delta
        average = measured_difference(RPM, a, b).band_average()
        shown += abs(average.difference) > average.half_width
    assert shown / 1000.0 == pytest.approx(0.80, abs=0.04)


def test_number_of_pulls_is_the_first_that_shows_the_difference():
    found = measured_difference(RPM, *session(5, np.random.default_rng(1), **USUAL))
    for difference in (1.0, 2.0, 4.0):
        n = found.pulls_needed(difference)
        assert found.smallest_difference(n) <= difference
        assert n == 2 or found.smallest_difference(n - 1) > difference
    assert found.pulls_needed(1e-6) is None


def test_power_agrees_with_the_t_test_of_a_textbook():
    """Cohen (1988), table 2.3.5 (from memory): d = 0.5, 64 in each group, two-sided 5 %: 0.80."""
    from wavesim.dyno.repeat import _power, quantile

    shift = 0.5 * np.sqrt(64.0 / 2.0)
    assert _power(shift, quantile(0.95, 126), 126) == pytest.approx(0.80, abs=0.005)
    assert _power(0.0, quantile(0.95, 7), 7) == pytest.approx(0.05, abs=1e-9)
    assert stats.t.isf(0.025, 7) == pytest.approx(quantile(0.95, 7))


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"rpm": [3000.0, 2000.0]}, "increasing speeds"),
        ({"a": [[1.0, 2.0]]}, "at least 2 pulls"),
        ({"a": [[1.0, 2.0, 3.0], [1.0, 2.0, 3.0]]}, r"shape \(2, 3\)"),
        ({"b": [[1.0, -2.0], [1.0, 2.0]]}, "b must hold finite values above 0"),
        ({"order": ((0, 1), (2,))}, "a number for each of the 2 \\+ 2 pulls"),
        ({"order": ((0, 1), (1, 2))}, "no number twice"),
        ({"level": 1.5}, "level = 1.5"),
    ],
)
def test_bad_pulls_are_refused(changes, sentence):
    values = {"rpm": [2000.0, 3000.0], "a": [[1.0, 2.0], [1.1, 2.1]],
              "b": [[1.2, 2.2], [1.3, 2.3]]} | changes
    with pytest.raises(InputError, match=sentence):
        measured_difference(values.pop("rpm"), values.pop("a"), values.pop("b"), **values)
