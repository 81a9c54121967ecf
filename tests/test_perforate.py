"""Exchange of gas through a perforated wall: stable, conserving, and of the right size.

The hole law is the quasi-steady one of row LO-9 with the linear resistance of Sullivan and Crocker
(1978) beside it; what must hold exactly needs no source.
"""

import numpy as np
import pytest
from case_packed_silencer import driven_along, pressure_gradients
from case_perforated_resonator import QUIET, after_burst, equalised, held, two_ducts
from marches import AIR, P0, T0, outside

import wavesim as ws
from wavesim import exact
from wavesim.arrays.compile import compile_network
from wavesim.kernels import flat as f
from wavesim.march.advance import march_to

GASES = {"perfect": ws.PerfectGas(), "engine": ws.EngineGas()}


@pytest.mark.parametrize("dx", [0.01, 0.05])
@pytest.mark.parametrize("annulus", [0.01, 0.08])
@pytest.mark.parametrize("hole,wall", [(3e-4, 1e-4), (3.5e-3, 1.5e-3)])
@pytest.mark.parametrize("porosity", [0.001, 0.03, 0.3, 0.6])
@pytest.mark.parametrize("gas", GASES.values(), ids=GASES)
def test_exchange_is_stable_and_conserves_at_any_porosity(gas, porosity, hole, wall, annulus, dx):
    """8 bar and 1400 K beside 1 bar and 300 K at a Courant number of 0.95, from the narrowest to
    the widest annulus and from 0.1 % to 60 % open wall: 30 ms are marched at the step of the ducts,
    and mass, energy, fresh charge and burned gas are kept to round-off.
    """
    net = two_ducts(porosity, hole, wall, annulus=annulus, dx=dx)
    model, before = after_burst(net, gas)
    assert held(model) == pytest.approx(before, rel=1e-12)
    spread = [np.ptp(model.work.W[f.P, lo:hi]) for lo, hi in model.ducts.values()]
    assert max(spread) < 8e5
    assert np.abs(model.state.hole_u).max() < 800.0  # no swing of its own


@pytest.mark.parametrize("porosity", [0.001, 0.1, 0.6])
def test_exchange_takes_no_smaller_step_than_the_ducts(porosity):
    """As many steps with holes as with a solid wall, within the change of the waves themselves."""
    start = {"core": (1.1e5, 0.0, 600.0, "air"), "annulus": (1e5, 0.0, 600.0, "air")}
    net = two_ducts(porosity, hole=3e-4, wall=1e-4)
    solid = ws.Network(dict(net.ducts), {k: v for k, v in net.nodes.items() if k != "holes"})
    steps = [
        ws.simulate(n, 0.02, gas=AIR, settings=QUIET, initial=start, samples=0).audit["steps"]
        for n in (net, solid)
    ]
    assert steps[0] <= 1.05 * steps[1]


@pytest.mark.parametrize("packing", [None, ws.Packing(bulk_density=120.0)], ids=["empty", "packed"])
@pytest.mark.parametrize("porosity", [0.001, 0.6])
def test_gas_at_rest_under_one_pressure_stays_at_rest(porosity, packing):
    """Also where core and annulus hold different gas at different temperature."""
    start = {"core": (P0, 0.0, 900.0, "burned"), "annulus": (P0, 0.0, 400.0, "fresh")}
    net = two_ducts(porosity, packing=packing)
    model = compile_network(net, GASES["engine"], QUIET, initial=start)
    march_to(model, 0.05, 100_000)
    for lo, hi in model.ducts.values():
        assert np.abs(model.work.W[f.U, lo:hi]).max() < 1e-8
        assert model.work.W[f.P, lo:hi] == pytest.approx(P0, rel=1e-10)
    assert np.abs(model.state.hole_u).max() < 1e-8


@pytest.mark.parametrize("porosity", [0.001, 0.3, 0.6])
def test_pressures_on_both_sides_of_a_perforated_wall_become_equal(porosity):
    """Two closed ducts end under the pressure of the mixture, p = sum(p V) / sum(V), to round-off;
    a perfect gas, so that the law is exact.
    """
    found, mixed = equalised(porosity)
    for pressure in found.values():
        assert pressure == pytest.approx(mixed, rel=1e-12)


def through_flow(p_in, porosity, discharge_coefficient):
    """Steady flow from the core through the holes into the annulus and out of it.

    At a Courant number of 0.1: within a step the ducts bring the gas and then the holes let it
    through, so that the pressures of a single instant are off by half of what one step brings.
    """
    ends = {
        "core start": ws.OpenEnd("core.start", radiation="none", entry_loss=0.0,
                                 ambient=outside(p_in)),
        "annulus end": ws.OpenEnd("annulus.end", radiation="none", ambient=outside()),
    }
    net = two_ducts(porosity, ends=ends)
    holes = net.nodes["holes"].replace(discharge_coefficient=discharge_coefficient)
    net = ws.Network(dict(net.ducts), {**net.nodes, "holes": holes})
    start = {"core": (p_in, 0.0, T0, "air"), "annulus": (P0, 0.0, T0, "air")}
    model = compile_network(net, AIR, QUIET.replace(cfl=0.1), initial=start)
    march_to(model, 0.3, 1_000_000)
    return model


@pytest.mark.parametrize("excess", [200.0, 2000.0, 10000.0])
@pytest.mark.parametrize("porosity", [0.001, 0.003])
@pytest.mark.parametrize("discharge_coefficient", [0.76, 0.6])
def test_steady_cross_flow_loses_the_pressure_of_the_hole_law(
    excess, porosity, discharge_coefficient
):
    """Hole velocity from the mass that leaves the annulus, pressure drop from the two ducts: within
    1 % of rho U^2 (1 - sigma^2) / (2 Cd^2), the linear resistance added.
    """
    model = through_flow(P0 + excess, porosity, discharge_coefficient)
    core, annulus = (slice(*model.ducts[name]) for name in ("core", "annulus"))
    U, W = model.state.U, model.work.W
    k = model.ends["annulus", "end"]
    flow = model.face[k, 5] * model.net.end_par[k, f.AREA]
    density, c = U[f.R, core].mean(), W[f.C, core].mean()
    velocity = flow / (density * porosity * np.pi * 0.05 * 0.3)
    grazing = 0.006 * (c + 72.23 * W[f.U, core].mean()) * density * velocity
    law = exact.hole_pressure_drop(velocity, density, discharge_coefficient, porosity) + grazing
    assert W[f.P, core].mean() - W[f.P, annulus].mean() == pytest.approx(law, rel=0.01)


def test_exchange_runs_backward_as_forward():
    """The mirror image: annulus at high pressure, flow into the core."""
    high, low = (2e5, 0.0, T0, "air"), (1e5, 0.0, T0, "air")
    net = two_ducts(0.1, annulus=0.05)
    forth, back = (
        ws.simulate(net, 1e-3, gas=AIR, settings=QUIET, samples=0,
                    initial={"core": a, "annulus": b}).final
        for a, b in ((high, low), (low, high))
    )
    assert forth["core"]["p"] == pytest.approx(back["annulus"]["p"], rel=1e-9)
    assert forth["annulus"]["T"] == pytest.approx(back["core"]["T"], rel=1e-9)


def test_packing_slows_the_flow_along_the_annulus_and_takes_its_heat():
    """Gas driven along a packed annulus behind nearly closed holes: the pressure gradient is that
    of the resistivity within 0.2 %, and the gas leaves at the temperature of the fibres.
    """
    found, law = pressure_gradients(5000.0, 340.0)
    assert found == pytest.approx(law, rel=2e-3)
    model = driven_along(5000.0, 340.0)
    assert model.state.T[model.ducts["annulus"][1] - 1] == pytest.approx(340.0, abs=1.0)
