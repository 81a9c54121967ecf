"""Travel times, crank angles of echoes and tuning rules against hand and published numbers."""

import numpy as np
import pytest
from exact_checks import check, rows

import wavesim as ws
from wavesim import exact
from wavesim.errors import InputError
from wavesim.units import inch

# Sound speeds of air at 300, 600 and 900 K, gamma 1.4 (AC-4 of the reference table) [m/s].
C300, C600, C900 = 347.219, 491.042, 601.401


def bell_length(exhaust_degrees, rpm):
    return {"length": exact.length_rule(exhaust_degrees - 180.0, rpm)}


def bell_bore(displacement, length):
    return {"bore": exact.bore_rule(displacement, length)}


def delay(rpm, length, c):
    found = exact.return_delay(rpm, length, c)
    assert exact.tuned_length(rpm, found, c) == pytest.approx(length, rel=1e-14)
    return {"return_delay": found}


def tuned_rpm(delay_deg, length, c):
    return {"rpm": exact.return_rpm(delay_deg, length, c)}


def implied_speed(exhaust_degrees, rpm):
    # The rule measures the pipe from 3 inches behind the valve.
    whole = exact.length_rule(exhaust_degrees - 180.0, rpm) + 3.0 * inch
    return {"return_speed": exact.return_speed(exhaust_degrees, rpm, whole)}


def firing(cylinders, rpm):
    return {"firing_frequency": exact.firing_frequency(cylinders, rpm)}


def peak_torque(primary_area, displacement):
    rpm = exact.peak_torque_rule(primary_area, displacement)
    return {
        "peak_torque_rpm": rpm,
        "stroke_mean_speed": exact.stroke_mean_speed(primary_area, displacement, rpm),
    }


RULES = {
    "TU-1": bell_length,
    "TU-2": bell_bore,
    "TU-3": delay,
    "TU-4": tuned_rpm,
    "TU-5": implied_speed,
    "TU-6": firing,
    "TU-7": peak_torque,
}


@rows(RULES)
def test_tuning_rule_gives_the_published_number(row):
    check(RULES, row)


def test_time_of_a_wave_is_its_way_over_its_speed():
    """1.5 m: by hand 4.32004 ms at 300 K, and 2.03648 and 6.10945 ms along and against Mach 0.5."""
    assert exact.wave_time(1.5, C300) == pytest.approx(4.32004e-3, rel=2e-6)
    flow = 0.5 * C600
    assert exact.wave_time(1.5, C600, flow) == pytest.approx(2.03648e-3, rel=3e-6)
    assert exact.wave_time(1.5, C600, -flow) == pytest.approx(6.10945e-3, rel=3e-6)


def test_times_of_ducts_end_to_end_add_up():
    """0.75 m at 900 K and 0.75 m at 300 K: 1.24709 + 2.16002 ms."""
    both = exact.wave_time([0.75, 0.75], [C900, C300])
    assert both == pytest.approx(3.40711e-3, rel=2e-6)
    assert both == pytest.approx(1.5 / exact.mean_speed([C900, C300]), rel=1e-14)


def test_way_there_and_back_takes_longer_in_flow_by_the_square_of_its_mach_number():
    still = exact.round_trip_time(0.8, 550.0)
    assert still == pytest.approx(1.6 / 550.0, rel=1e-14)
    moving = exact.round_trip_time(0.8, 550.0, 0.3 * 550.0)
    assert moving / still == pytest.approx(1.0 / 0.91, rel=1e-13)
    assert exact.round_trip_time(0.8, 550.0, -0.3 * 550.0) == pytest.approx(moving, rel=1e-14)


def test_time_through_gas_that_moves_ever_faster_is_a_logarithm():
    """c = 500 m/s, u = 100 x: the integral of dx/(c + u) over a metre is ln(1.2)/100."""
    T = 500.0**2 / (1.4 * 287.05)
    along = exact.travel_time(lambda x: T, 1.0, 1.4, 287.05, velocity=lambda x: 100.0 * x)
    assert along == pytest.approx(np.log(1.2) / 100.0, rel=1e-12)
    still = exact.travel_time(lambda x: T, 1.0, 1.4, 287.05)
    assert still == pytest.approx(exact.wave_time(1.0, 500.0), rel=1e-12)


def test_echo_and_pulse_of_the_next_cylinder_arrive_where_the_crank_then_stands():
    """By hand: 0.8 m at 550 m/s is 52.364 deg at 6000 rev/min each way."""
    way = exact.wave_time(0.8, 550.0)
    assert exact.crank_angle(way, 6000.0) == pytest.approx(52.364, abs=6e-4)
    assert exact.arrival_angle(130.0, 6000.0, way, way) == pytest.approx(234.727, abs=6e-4)
    assert exact.arrival_angle(310.0, 6000.0, way, way) == pytest.approx(414.727, abs=6e-4)
    assert exact.arrival_angle(130.0, 6000.0) == 130.0


def test_tuned_length_counts_flow_and_end_correction():
    """By hand: 110 deg at 6000 rev/min and 550 m/s is 0.840278 m, less 4 % for Mach 0.2."""
    assert exact.tuned_length(6000.0, 110.0, 550.0) == pytest.approx(0.840278, abs=6e-7)
    with_flow = exact.tuned_length(6000.0, 110.0, 550.0, 110.0)
    assert with_flow == pytest.approx(0.806667, abs=6e-7)
    assert exact.return_delay(6000.0, with_flow, 550.0, 110.0) == pytest.approx(110.0, rel=1e-13)
    end = exact.UNFLANGED_END * 0.02
    cut = exact.tuned_length(6000.0, 110.0, 550.0, end_correction=end)
    assert cut == pytest.approx(0.840278 - 0.012266, abs=6e-7)
    assert exact.return_rpm(110.0, cut + end, 550.0) == pytest.approx(6000.0, rel=1e-13)


def test_echo_of_several_ducts_takes_the_sum_of_their_delays():
    parts = [exact.return_delay(4500.0, *duct) for duct in ((0.1, 600.0), (0.6, 560.0))]
    assert exact.return_delay(4500.0, [0.1, 0.6], [600.0, 560.0]) == pytest.approx(sum(parts))


def test_resonance_is_met_where_a_multiple_of_the_firing_frequency_is_its_note():
    for cylinders, order in ((4, 1), (6, 2), (1, 3)):
        rpm = exact.resonant_rpm(112.5, cylinders, order)
        assert order * exact.firing_frequency(cylinders, rpm) == pytest.approx(112.5, rel=1e-14)


# strong waves ---------------------------------------------------------------------------------


def step(excess, end):
    """Times and values of a wave that rises to `excess` at once."""
    t = np.array([-1e-3, 0.0, 1e-12, 1e-9, end])
    return t, np.array([0.0, 0.0, 0.0, excess, excess])


def test_weak_wave_is_back_after_twice_the_length_over_the_sound_speed():
    t, excess = step(-1e-7, 1.0)
    time = exact.strong_return_time(t, excess, 0.8, 550.0, 1.33)
    assert time == pytest.approx(exact.round_trip_time(0.8, 550.0), rel=1e-6)


@pytest.mark.parametrize("gamma", [1.33, 1.4])
@pytest.mark.parametrize("excess", [-0.02, -0.08])
def test_head_of_a_centred_fan_is_back_when_the_exact_solution_says(gamma, excess):
    """A piston withdrawn at once, to X = 1 + e behind the fan.

    In the fan u + c = x/t and c = c0 + (g-1)/2 u, so that dx/dt = u - c is a linear equation whose
    solution is a power law (derived here): the head leaves the fan at t1 = L/c0 (1+e)**(-(g+1)/
    (2(g-1))), and runs on through even gas.
    """
    length, c, g = 0.8, 550.0, gamma
    t1 = length / c * (1.0 + excess) ** (-0.5 * (g + 1.0) / (g - 1.0))
    x1 = c * (1.0 + (g + 1.0) / (g - 1.0) * excess) * t1
    whole = t1 + x1 / (c * (1.0 + excess - 2.0 / (g - 1.0) * excess))
    time = exact.strong_return_time(*step(excess, 1.0), length, c, g)
    assert time == pytest.approx(whole, rel=1e-4)


def test_compression_comes_back_late_and_a_rarefaction_early():
    t = np.linspace(0.0, 5e-3, 1000)
    shape = 0.05 * np.sin(np.pi * np.minimum(t / 4e-3, 1.0)) ** 2
    late, early = (exact.strong_return_time(t, s * shape, 0.8, 550.0, 1.33) for s in (1.0, -1.0))
    assert early < exact.round_trip_time(0.8, 550.0) < late


# refusals and documents -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("ask", "words"),
    [
        (lambda: exact.wave_time(-0.1, 500.0), "length must be at least 0 m"),
        (lambda: exact.wave_time(1.0, 500.0, -500.0), "c \\+ velocity must be above 0 m/s"),
        (lambda: exact.round_trip_time(1.0, 500.0, 600.0), "must be above 0 m/s"),
        (lambda: exact.tuned_length(6000.0, 90.0, 500.0, 500.0), "below c = 500.0 m/s"),
        (lambda: exact.tuned_length(6000.0, 1.0, 500.0, end_correction=0.02), "rev/min is over"),
    ],
)
def test_impossible_way_is_refused(ask, words):
    with pytest.raises(InputError, match=words):
        ask()


def test_table_of_the_room_names_all_that_is_there():
    assert ws.exact is exact
    missing = [name for name in exact.__all__ if f"`{name}`" not in exact.__doc__]
    assert missing == []
    assert all((getattr(exact, name).__doc__ or "").strip() for name in exact.__all__)
