"""Steady flow reached by marching: nozzles, holes, steps, friction; and vessels that empty.

Theory: Shapiro, Compressible Fluid Flow (1953), ch. 4-6; Anderson (1995) for the nozzle with a
shock; numbers from rows ST-* and TH-5 of the reference table.
"""

import case_borda_carnot as step
import case_fittings as fittings
import case_nozzle as nozzle
import case_orifice as orifice
import case_vessel_blowdown as vessel
import numpy as np
import pytest
from marches import GAMMA, P0, T0, R, cut
from references import reference, references
from steady_flow import mach_of, reynolds_of, steady

import wavesim as ws
from wavesim import exact

# nozzles --------------------------------------------------------------------------------------


@pytest.mark.parametrize("pressure_ratio", nozzle.RATIOS)
@pytest.mark.parametrize("backwards", [False, True])
def test_converging_nozzle_passes_the_isentropic_flow(pressure_ratio, backwards):
    """A cone between two open ends, subsonic and choked."""
    flow, drift = nozzle.cone_flow(pressure_ratio, backwards, cells=80)
    assert drift < 1e-5
    ideal = nozzle.ideal_flow(nozzle.P_IN, T0, pressure_ratio * nozzle.P_IN, nozzle.NARROW)
    assert flow == pytest.approx(ideal, rel=1e-3)


def test_large_vessel_feeds_a_nozzle_isentropically():
    """One cubic metre keeps its state within 0.05 % meanwhile."""
    flow, p, T = nozzle.vessel_flow()
    assert p == pytest.approx(nozzle.P_IN, rel=5e-3)
    assert flow == pytest.approx(nozzle.ideal_flow(p, T, P0, nozzle.TIP), rel=1e-3)


def test_laval_nozzle_holds_its_shock_where_theory_puts_it():
    """ST-10, pe/p0 = 0.6784; pressures 1 %, place two cells."""
    cells = 300
    row = {r.quantity: r.value for r in references("ST-10")}
    final, area_of = nozzle.anderson(cells)
    x, p, mach = final["x"], final["p"] / nozzle.P_IN, mach_of(final)
    ahead = mach > 1.0
    shock = x[np.flatnonzero(ahead)[-1]]
    assert abs(shock - row["x_shock"]) < 2.0 * 3.0 / cells
    area = area_of(x)
    theory_mach, theory_p = exact.nozzle_profile(
        area, int(np.argmin(area)), GAMMA, row["A_shock/A*"]
    )
    clear = np.abs(x - row["x_shock"]) > 4.0 * 3.0 / cells
    assert p[clear] == pytest.approx(theory_p[clear], rel=1e-2)
    assert mach[0] == pytest.approx(theory_mach[0], rel=1e-2)
    assert mach[-1] == pytest.approx(row["Me"], rel=1e-2)


# holes ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("where", ["outlet", "inlet", "middle"])
@pytest.mark.parametrize("row", orifice.COLD)
def test_choked_hole_passes_the_critical_flow(row, where):
    """ST-7 with a discharge coefficient of 0.8; 0.1 %."""
    assert orifice.hole_flow(row.case, where) == pytest.approx(orifice.AREA * row.value, rel=1e-3)


@pytest.mark.parametrize("row", orifice.CHOKED, ids=[row.label for row in orifice.CHOKED])
def test_hot_vessel_chokes_its_outlet_at_the_critical_flow(row):
    """ST-7 from a large volume of hot gas through its own opening; the volume hardly changes."""
    p_0, gamma = row.case["p_0"], row.case["gamma"]
    flow, p, _ = orifice.vessel_opening(p_0, row.case["T_0"], ws.PerfectGas(gamma, R))
    drop = (p / p_0) ** (0.5 * (gamma + 1.0) / gamma)
    assert flow == pytest.approx(drop * orifice.OPENING * row.value, rel=1e-3)


@pytest.mark.parametrize("where", ["outlet", "inlet"])
@pytest.mark.parametrize("row", orifice.SUBCRITICAL, ids=[row.label for row in orifice.SUBCRITICAL])
def test_unchoked_hole_passes_the_isentropic_flow(row, where):
    """ST-8 with a discharge coefficient of 0.8; 0.1 %."""
    assert orifice.hole_flow(row.case, where) == pytest.approx(orifice.AREA * row.value, rel=1e-3)


@pytest.mark.parametrize("share", fittings.HOLES)
def test_plate_in_a_duct_loses_the_head_of_its_jet(share):
    """Thin plate: K = (1/(sigma Cd) - 1)^2 on the pipe's dynamic pressure, the jet's own recovery
    behind the plate included (Idelchik; Kirchhoff's jet with Borda's loss).
    """
    theory = fittings.jet_loss(share, fittings.HOLE_COEFFICIENT)
    assert fittings.orifice_loss(share) == pytest.approx(theory, rel=2e-2)


def test_flow_through_a_hole_reverses_with_the_pressure():
    """Same flow both ways with one coefficient; in the ratio of two with two."""
    forward, backward = orifice.two_ways(2e5, 0.8e5, 0.8), orifice.two_ways(0.8e5, 2e5, 0.8)
    assert forward == pytest.approx(-backward, rel=1e-5)
    assert orifice.two_ways(2e5, 0.8e5, (0.8, 0.6)) == pytest.approx(forward, rel=1e-6)
    assert orifice.two_ways(0.8e5, 2e5, (0.8, 0.6)) == pytest.approx(-0.75 * forward, rel=1e-3)


@pytest.mark.parametrize("angle", orifice.PLATES)
def test_throttle_chokes_at_its_effective_area(angle):
    flow, ideal = orifice.throttle_flow(angle)
    assert flow == pytest.approx(ideal, rel=1e-3)


# steps ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("row", step.ENLARGEMENTS, ids=[row.label for row in step.ENLARGEMENTS])
def test_sudden_enlargement_loses_what_borda_and_carnot_say(row):
    """ST-11: Mach number, pressures and loss behind the step within 1 %."""
    found = step.enlargement(row.case["mach"], row.case["area_ratio"])
    assert found["M1"] == pytest.approx(row.case["mach"], rel=1e-2)
    for quantity in ("M2", "p2/p1", "p02/p01", "loss"):
        target = reference("ST-11", quantity, **row.case).value
        assert found[quantity] == pytest.approx(target, rel=1e-2), quantity


@pytest.mark.parametrize("flip", [False, True])
@pytest.mark.parametrize("mach", [0.1, 0.3, 0.5])
@pytest.mark.parametrize("coefficient", [None, 0.8, 1.0])
@pytest.mark.parametrize("ratio", [2.0, 4.0])
def test_sudden_contraction_loses_what_the_description_says(ratio, coefficient, mach, flip):
    """Stagnation pressure lost over the dynamic pressure in the narrow duct."""
    node = ws.AreaStep(("a.end", "b.start"), contraction_coefficient=coefficient)
    found = step.contraction(ratio, coefficient, mach, flip)
    assert found == pytest.approx(node.contraction_loss(1.0 / ratio), rel=1e-2, abs=1e-4)


def test_loss_free_contraction_chokes_where_its_duct_is_sonic():
    """Contraction coefficient one: the isentropic flow of the narrow duct, choked at its mouth."""
    _, behind = step.over_step(0.06, step.NARROW, 3e5, 1e5, contraction_coefficient=1.0)
    ideal = exact.choked_flux(3e5, T0, GAMMA, R)
    assert behind[3] * behind[4] == pytest.approx(ideal, rel=1e-3)


# friction and entry ---------------------------------------------------------------------------


def test_long_rough_pipe_follows_fanno():
    """Shapiro (1953) ch. 6 with the friction factor of Haaland (1983) at the flow's own Re."""
    bore, length, roughness = 0.02, 2.0, 1e-4
    net = ws.Network(
        {"d": ws.Pipe(length, bore, roughness=roughness, cell_length=0.02)},
        {"in": cut("d.start", 1.5e5), "out": cut("d.end", 1.1e5)},
    )
    settings = ws.Settings(wall_heat=False)
    final = steady(net, 0.5, settings=settings, samples=2).final["d"]
    mach = mach_of(final)
    i, j = 5, len(mach) - 6
    reynolds = reynolds_of(final, bore)[i : j + 1]
    factor = np.mean([exact.haaland(re, roughness / bore) for re in reynolds])
    run = factor * (final["x"][j] - final["x"][i]) / bore
    assert mach[j] == pytest.approx(exact.fanno_exit_mach(mach[i], run, GAMMA), rel=3e-3)
    ratio = exact.fanno_ratios(mach[j], GAMMA).pressure / exact.fanno_ratios(
        mach[i], GAMMA).pressure
    assert final["p"][j] / final["p"][i] == pytest.approx(ratio, rel=3e-3)


@pytest.mark.parametrize("radiation, loss", fittings.MOUTHS.items())
def test_gas_that_enters_an_open_end_pays_the_entry_loss(radiation, loss):
    """Idelchik, Handbook of Hydraulic Resistance, Diagram 3-4: 1.0 free, 0.5 flush in a wall."""
    assert fittings.mouth_drop(radiation) == pytest.approx(1.0 + loss, rel=2e-2)


# vessels --------------------------------------------------------------------------------------


@pytest.mark.parametrize("row", vessel.BLOWDOWNS, ids=[row.label for row in vessel.BLOWDOWNS])
def test_vessel_blows_down_as_its_hole_allows(row):
    """TH-5: choked discharge of an isentropic vessel through its own opening; 0.2 %."""
    found = vessel.at(vessel.through_opening(row.case), row.case["t"]) / row.case["p_0"]
    assert found == pytest.approx(row.value, rel=2e-3)


def test_short_open_nozzle_blows_a_vessel_down_as_well():
    """TH-5 with the hole as the nozzle of a wide stub, whose gas counts as part of the vessel."""
    given = vessel.BLOWDOWNS[1].case
    found = vessel.at(vessel.through_nozzle(given, given["t"] * 1.01), given["t"]) / given["p_0"]
    assert found == pytest.approx(vessel.BLOWDOWNS[1].value, rel=2e-3)


def test_vessel_filled_from_the_air_is_warmed_by_the_work_of_filling():
    """Energy balance of an open system: with a first share p1/p2 of gas at Ta the end temperature
    is gamma Ta / (1 + (gamma - 1) p1/p2); gamma Ta from vacuum (Shapiro 1953 ch. 2, TH-5).
    """
    result = vessel.filling()
    p = result.trace("pressure", "box").values[-1]
    T = result.trace("temperature", "box").values[-1]
    assert p == pytest.approx(P0, rel=2e-3)
    assert T == pytest.approx(GAMMA * T0 / (1.0 + (GAMMA - 1.0) * vessel.P_FIRST / P0), rel=2e-3)
