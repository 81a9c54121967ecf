"""Cones of a few cells and throats between two cells (`validation/case_short_cones.py`)."""

import case_short_cones as cones
import numpy as np
import pytest
from from_python import from_python
from marches import P0, T0, endless

import wavesim as ws
from wavesim.arrays.compile import compile_network
from wavesim.kernels.tapers import carried

GAMMA, R = 1.4, 287.05


@pytest.mark.parametrize("bores", cones.BORES)
@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize("length", [0.005, 0.048])
def test_cone_of_few_cells_keeps_its_stagnation_pressure(bores, turned, length):
    """Steady flow at Mach 0.5; a third of a cell and three cells long."""
    loss, mach = cones.cone_loss(length, *(bores[::-1] if turned else bores), 0.5)
    assert mach == pytest.approx(0.5, rel=1e-3)
    assert abs(loss) < 1e-3


@pytest.mark.parametrize("cell", [0.016, 0.012])
def test_throat_between_two_cells_chokes(cell):
    flow, kept = cones.throat_flow(0.6, cell)
    assert flow == pytest.approx(cones.choked_flow(), rel=0.01)
    assert kept == pytest.approx(cones.shock_loss(0.6), rel=2e-3)


@pytest.mark.parametrize("gas", [ws.PerfectGas(), ws.EngineGas()], ids=["perfect", "engine"])
def test_gas_at_rest_stays_at_rest_in_short_cones(gas):
    net = cones.hourglass()
    assert cones.mach_after_rest(net, cones.even(net), gas, steps=3000) < 1e-12


@pytest.mark.parametrize("mach", [-0.3, 0.02, 0.6, 0.95, 1.03, 2.5])
@pytest.mark.parametrize("ratio", [0.013, 0.3, 0.8, 0.97, 1.02, 1.4, 4.0])
def test_gas_carried_to_another_area_flows_isentropically(mach, ratio):
    """Mass flow, stagnation enthalpy and entropy are kept; or the flow is sonic, if that is less.

    Relations of Shapiro (1953) ch. 4 hold for a perfect gas.
    """
    p, T = 1.2e5, 400.0
    r, c = p / (R * T), np.sqrt(GAMMA * R * T)
    u = mach * c
    r1, u1, p1, missed = from_python(carried)(r, u, p, GAMMA, ratio)
    assert missed == 0
    assert p1 / r1**GAMMA == pytest.approx(p / r**GAMMA, rel=1e-10)
    c1 = np.sqrt(GAMMA * p1 / r1)
    heat = c**2 / (GAMMA - 1.0) + 0.5 * u**2
    assert c1**2 / (GAMMA - 1.0) + 0.5 * u1**2 == pytest.approx(heat, rel=1e-10)
    critical = ws.exact.area_ratio(abs(mach), GAMMA)
    if critical > ratio:
        assert r1 * u1 == pytest.approx(r * u * ratio, rel=1e-10)
        assert (abs(u1) > c1) == (abs(u) > c)
    else:
        assert abs(u1) == pytest.approx(c1, rel=1e-10)


def test_only_steep_cones_are_treated_by_themselves():
    """Nothing is spent on tapers of many cells, such as those of the example engine."""
    ducts = {"gentle": ws.Pipe(1.0, 0.04, end_diameter=0.05, cell_length=0.016),
             "steep": ws.Pipe(0.05, 0.04, end_diameter=0.05, cell_length=0.016)}
    nodes = {f"{name} {side}": endless(f"{name}.{side}") for name in ducts
             for side in ("start", "end")}
    model = compile_network(
        ws.Network(ducts, nodes), ws.PerfectGas(), ws.Settings(),
        initial=dict.fromkeys(ducts, (P0, 0.0, T0, "air")),
    )
    assert set(model.net.taper) == set(range(*model.ducts["steep"]))
