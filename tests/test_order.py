"""Order of accuracy on smooth flow: the error must fall with the square of the cell length.

Errors are means of absolute differences of cell averages (the exact averages by Gauss quadrature),
on meshes each twice as fine as the one before.
"""

import numpy as np
import pytest
from case_smooth_wave import (
    CONE_MESHES,
    MESHES,
    RHO0,
    acoustic_error,
    drift_error,
    nozzle_error,
    slope,
)
from marches import GAMMA, P0, R, march_tube
from references import reference, references

from wavesim import exact


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
    assert errors[-1, 0] < 5e-5 and errors[-1, 1] < 5e-5


FW4 = [row for row in references("FW-4") if row.quantity == "u"]


def test_sine_wave_steepens_as_published():
    """FW-4: half-way to breaking, read between the cells of a long tube."""
    given = FW4[0].case
    k, c = 2.0 * np.pi / given["wavelength"], exact.sound_speed(given["T"], GAMMA, R)
    t = given["time_share"] * reference("FW-4", "breaking_time").value

    def start(x):
        wave = exact.simple_wave_field(
            lambda s: given["amplitude"] * np.sin(k * s), x, 0.0, given["amplitude"], c, GAMMA
        )
        rho, p = RHO0 * wave.rho_ratio, P0 * wave.p_ratio
        return p, wave.u, p / (rho * R), "air"

    final = march_tube(start, 6.0, 600, t).final["d"]
    for row in FW4:
        u = np.interp(2.0 + row.case["xi"] + c * t, final["x"], final["u"])
        assert u == pytest.approx(row.value, abs=5e-3 * given["amplitude"]), row.label
