"""Resonances of pipes and the reflection of open ends, at amplitudes where sound is linear.

Theory: Kinsler et al., Fundamentals of Acoustics (2000) ch. 10; open ends by Levine and Schwinger,
Phys. Rev. 73 (1948) 383, and by the published length of a flanged end (rows AC-* of the table).
"""

import numpy as np
import pytest
from case_helmholtz import free_tone
from case_open_end import INSIDE_KA, KA, correction, face_reflection, inside_reflection
from case_organ_pipes import (
    CORRECTION,
    GRADIENT_ROWS,
    INLETS,
    LOW_MACHS,
    closed_pipe,
    flowing_notes,
    gradient_notes,
    kept_share,
    pulse,
    sounding_modes,
)
from marches import C0, GAMMA, P0, T0, modes
from references import reference

import wavesim as ws
from wavesim import exact

#: name: (gas, temperature [K], what fills the pipe)
GASES = {
    "air 300 K": (ws.PerfectGas(), 300.0, "air"),
    "perfect gas 900 K": (ws.PerfectGas(1.33), 900.0, "air"),
    "engine air 300 K": (ws.EngineGas(), 300.0, "air"),
    "burned gas 900 K": (ws.EngineGas(), 900.0, "burned"),
}


@pytest.mark.parametrize("radiation", CORRECTION)
@pytest.mark.parametrize("ends", ["closed-open", "open-open"])
@pytest.mark.parametrize("name", GASES)
def test_pipe_sounds_its_first_three_modes(name, ends, radiation):
    """Within 0.5 % of the pipe lengthened by the published end correction (AC-1, 2, 4, 8).

    The hot pipes breathe cold air: what they have blown out comes back to them first.
    """
    found, theory = sounding_modes(ends, radiation, *GASES[name])
    assert found == pytest.approx(theory, rel=5e-3)


@pytest.mark.parametrize("diameter", [0.02, 0.1])
def test_end_correction_grows_with_the_bore(diameter):
    found, theory = sounding_modes(
        "open-open", "unflanged", ws.EngineGas(), 900.0, "burned", 1.0, diameter, 60
    )
    assert found == pytest.approx(theory, rel=5e-3)


def test_pipe_with_a_temperature_gradient_sounds_below_its_travel_time():
    """AC-5: 900 K at the closed end, 500 K at the open end; the travel time says 6 % too high."""
    for f, row in zip(gradient_notes(), GRADIENT_ROWS, strict=True):
        assert f == pytest.approx(row.value, rel=float(row.solver_tolerance.split()[0]) / 100.0)


@pytest.mark.parametrize("mach", LOW_MACHS)
@pytest.mark.parametrize("inlet", INLETS)
def test_mean_flow_lowers_the_notes_and_lets_them_die_away(inlet, mach):
    """AC-9: notes within 0.1 %, height kept per round trip within 0.6 %."""
    found, kept, theory = flowing_notes(inlet, mach)
    assert found == pytest.approx(theory, rel=1e-3)
    assert kept == pytest.approx(kept_share(inlet, mach), rel=6e-3)


def test_closed_pipe_sounds_half_waves():
    """AC-3."""
    signal, dt = closed_pipe(pulse(1.0, T0, "air", GAMMA), 1.0)
    theory = exact.pipe_modes(1.0, "closed-closed", 3, C0)
    assert modes(signal, dt, theory) == pytest.approx(theory, rel=3e-3)


def test_sound_in_a_closed_pipe_keeps_its_energy():
    """A lossless pipe rings on: less than 2 % of the lowest mode is lost in 30 round trips."""
    def start(x):
        q = 1e-4 * np.cos(np.pi * x)
        return P0 * (1.0 + q), 0.0 * x, T0 * (1.0 + q) ** (0.4 / 1.4), "air"

    signal, _ = closed_pipe(start, 1.0)
    first, last = np.ptp(signal[:200]), np.ptp(signal[-200:])
    assert last > 0.98 * first


def test_free_pipe_end_reflects_as_levine_and_schwinger_say():
    """AC-6: size within 1.3 % and length within 0.6 % of theory up to ka = 1.5."""
    found = face_reflection("unflanged", KA)
    size = np.array([reference("AC-6", "reflection", ka=ka).value for ka in KA])
    length = np.array([reference("AC-6", "end_correction", ka=ka).value for ka in KA])
    assert np.abs(found) == pytest.approx(size, rel=1.3e-2)
    assert correction(found, KA) == pytest.approx(length, rel=6e-3)


def test_flanged_pipe_end_radiates_twice_as_much_at_low_frequency():
    """|R| = 1 - (ka)^2 against 1 - (ka)^2/2 of the free end (Pierce, Acoustics, 1981, ch. 7)."""
    low = np.array([0.1, 0.15])
    flanged, free = face_reflection("flanged", low), face_reflection("unflanged", low)
    assert 1.0 - np.abs(flanged) == pytest.approx(low**2, rel=6e-2)
    assert 1.0 - np.abs(free) == pytest.approx(0.5 * low**2, rel=6e-2)
    assert correction(flanged, low) == pytest.approx(CORRECTION["flanged"], rel=1.5e-2)


def test_ideal_open_end_reflects_all():
    assert face_reflection("none", KA) == pytest.approx(-np.ones(KA.size), abs=1e-3)


def test_reflection_inside_the_duct_is_that_of_the_end():
    """A pulse sent down the duct and met again on its way back, against one from a wall."""
    theory = [reference("AC-6", "reflection", ka=ka).value for ka in INSIDE_KA]
    assert np.abs(inside_reflection(INSIDE_KA)) == pytest.approx(theory, rel=1.5e-2)


def test_helmholtz_resonator_sounds_as_its_neck_and_volume_say():
    """AC-10: a neck of one dimension on a volume without end corrections."""
    row = reference("AC-10", "distributed")
    allowed = float(row.solver_tolerance.split()[0]) / 100.0
    assert free_tone(row) == pytest.approx(row.value, rel=allowed)
