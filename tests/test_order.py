"""Order of accuracy on smooth flow: the error must fall with the square of the cell length.

Errors are means of absolute differences of cell averages (the exact averages by Gauss quadrature),
on meshes each twice as fine as the one before.  Steepening waves are read where they are smooth.
"""

import numpy as np
import pytest
from case_smooth_wave import (
    CONE_MESHES,
    MESHES,
    acoustic_error,
    drift_error,
    nozzle_error,
    slope,
)
from case_steepening import BIRTHS, SINE_ROWS, birth, sine_velocity, sine_wave
from references import reference


def test_steepening_sound_pulse_converges_with_order_two():
    """A simple wave, Whitham (1974) sec. 6.8, half-way to breaking."""
    errors = np.array([acoustic_error(n) for n in MESHES])
    assert slope(MESHES, errors[:, 0]) >= 1.9
    assert slope(MESHES, errors[:, 1]) >= 1.9
    assert errors[-1, 0] < 1e-6 and errors[-1, 1] < 2e-5


@pytest.mark.parametrize("quantity", ["rho", "burned"])
def test_smooth_contact_is_carried_with_order_two(quantity):
    errors = np.array([drift_error(n, quantity) for n in MESHES])
    assert slope(MESHES, errors) >= 1.9
    assert errors[-1] < 2e-5


def test_steady_flow_through_a_cone_converges_with_order_two():
    """Isentropic flow between two open ends, Shapiro (1953) ch. 4: the area source and the ends
    must be of second order as well.
    """
    errors = np.array([nozzle_error(n) for n in CONE_MESHES])
    assert slope(CONE_MESHES, errors[:, 0]) >= 1.9
    assert slope(CONE_MESHES, errors[:, 1]) >= 1.9
    assert errors[-1, 0] < 1e-5 and errors[-1, 1] < 1e-5


def test_sine_wave_steepens_as_published():
    """FW-4: half-way to breaking, read between the cells of a long tube."""
    final = sine_wave(600, SINE_ROWS[0].case["time_share"])
    for row in SINE_ROWS:
        bound = 5e-3 * row.case["amplitude"]
        assert sine_velocity(row, final) == pytest.approx(row.value, abs=bound), row.label


@pytest.mark.parametrize("wave, quantity, which, bound", BIRTHS)
def test_shock_is_born_where_and_when_published(wave, quantity, which, bound):
    """FW-4 to FW-6."""
    row = reference(wave.split()[0], quantity)
    assert birth(wave)[which] == pytest.approx(row.value, rel=float(bound.split()[0]) / 100.0)
