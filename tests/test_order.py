"""Order of accuracy on smooth flow: the error must fall with the square of the cell length.

Errors are means of absolute differences of cell averages (the exact averages by Gauss quadrature),
on four meshes each twice as fine as the one before.
"""

import numpy as np
import pytest
from marches import AIR, C0, GAMMA, IDEAL, P0, T0, R, cut, march_tube
from references import reference, references

import wavesim as ws
from wavesim import exact

RHO0 = P0 / (R * T0)
NODES, WEIGHTS = np.polynomial.legendre.leggauss(6)


def averages(function, length, cells):
    """Averages of a function of x over the cells of a tube, (n_value, cells)."""
    dx = length / cells
    points = (np.arange(cells)[:, None] + 0.5 + 0.5 * NODES) * dx
    return np.array([0.5 * values @ WEIGHTS for values in function(points)])


def hump(x, middle, width):
    """Smooth hump of height one that is zero beyond half its width: cos^4."""
    s = np.clip((x - middle) / width, -0.5, 0.5)
    return np.cos(np.pi * s) ** 4


def slope(cells, errors):
    """Order by least squares over the meshes."""
    return -np.polyfit(np.log(cells), np.log(errors), 1)[0]


MESHES = np.array([100, 200, 400, 800])


def conserved(field):
    rho, u, p = RHO0 * field.rho_ratio, field.u, P0 * field.p_ratio
    return rho, rho * u, p / (GAMMA - 1.0) + 0.5 * rho * u * u


def acoustic_error(cells, length=2.0, amplitude=20.0, settings=IDEAL):
    """Error of density [1, over rest] and velocity [1, over amplitude] of a steepening pulse."""

    def profile(x):
        return amplitude * hump(x, 0.5, 0.8)

    def field(t):
        def at(x):
            flat = exact.simple_wave_field(profile, x.ravel(), t, amplitude, C0, GAMMA)
            return [v.reshape(x.shape) for v in conserved(flat)]

        return averages(at, length, cells)

    t = 2.6e-3  # half the time to breaking; the pulse has run 0.9 m

    def start(x):
        rho, m, e = field(0.0)
        p = (GAMMA - 1.0) * (e - 0.5 * m * m / rho)
        return p, m / rho, p / (rho * R), "air"

    final = march_tube(start, length, cells, t, settings=settings).final["d"]
    rho, m, _ = field(t)
    return (
        np.mean(np.abs(final["rho"] - rho)) / RHO0,
        np.mean(np.abs(final["u"] - m / rho)) / amplitude,
    )


def test_steepening_sound_pulse_converges_with_order_two():
    """A simple wave, Whitham (1974) sec. 6.8, half-way to breaking."""
    errors = np.array([acoustic_error(n) for n in MESHES])
    assert slope(MESHES, errors[:, 0]) >= 1.9
    assert slope(MESHES, errors[:, 1]) >= 1.9
    assert errors[-1, 0] < 1e-6 and errors[-1, 1] < 2e-5


def drift_error(cells, quantity, length=2.0, u=300.0, t=1e-3, settings=IDEAL):
    """Error of a hump of density or of composition carried 0.3 m by the flow."""

    def rho(s):
        return averages(lambda x: [RHO0 * (1.0 + 0.2 * hump(x - s, 0.9, 0.6))], length, cells)[0]

    def share(s):
        return averages(lambda x: [0.2 * hump(x - s, 0.9, 0.6)], length, cells)[0]

    def start(x):
        if quantity == "rho":
            return P0 + 0.0 * x, u + 0.0 * x, P0 / (rho(0.0) * R), "air"
        return P0 + 0.0 * x, u + 0.0 * x, T0 + 0.0 * x, (0.0 * x, share(0.0))

    final = march_tube(start, length, cells, t, settings=settings).final["d"]
    x = final["x"]
    unheard = (x > 0.8) & (x < 1.7)  # the waves from the walls have not come here
    if quantity == "rho":
        return np.mean(np.abs(final["rho"] - rho(u * t))[unheard]) / RHO0
    return np.mean(np.abs(final["burned"] - share(u * t))[unheard])


@pytest.mark.parametrize("quantity", ["rho", "burned"])
def test_smooth_contact_is_carried_with_order_two(quantity):
    errors = np.array([drift_error(n, quantity) for n in MESHES])
    assert slope(MESHES, errors) >= 1.9
    assert errors[-1] < 2e-5


def nozzle_error(cells, back_pressure=1.2e5, p_in=1.5e5, settings=IDEAL):
    """Relative errors of pressure along a cone and of its mass flow, steady subsonic flow."""
    length, wide, narrow = 0.3, 0.05, 0.03
    cone = ws.Pipe(length, wide, end_diameter=narrow, cell_length=length / cells)
    net = ws.Network(
        {"d": cone}, {"in": cut("d.start", p_in), "out": cut("d.end", back_pressure)}
    )
    result = ws.simulate(
        net, 0.15, gas=AIR, settings=settings, samples=2,
        initial={"d": (back_pressure, 0.0, T0, "air")},
    )
    final, throat = result.final["d"], 0.25 * np.pi * narrow**2
    exit_mach = exact.mach_from_pressure_ratio(back_pressure / p_in, GAMMA)
    area = net.ducts["d"].area_at(final["x"]) / throat
    mach = exact.mach_from_area_ratio(area * exact.area_ratio(exit_mach, GAMMA), GAMMA)
    p = p_in * exact.isentropic(mach, GAMMA).pressure
    flow = result.trace("mass_flow", "out").values[-1]
    ideal = throat * exact.orifice_flux(p_in, T0, back_pressure, GAMMA, R)
    return np.mean(np.abs(final["p"] / p - 1.0)), abs(flow / ideal - 1.0)


def test_steady_flow_through_a_cone_converges_with_order_two():
    """Isentropic flow between two open ends, Shapiro (1953) ch. 4: the area source and the ends
    must be of second order as well.
    """
    meshes = np.array([20, 40, 80])
    errors = np.array([nozzle_error(n) for n in meshes])
    assert slope(meshes, errors[:, 0]) >= 1.9
    assert slope(meshes, errors[:, 1]) >= 1.9
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
