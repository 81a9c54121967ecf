"""Pressure losses and heat transfer of steady flow: pipes, bends, plates, monoliths.

Theory: Shapiro, Compressible Fluid Flow (1953) ch. 6 and 7; the correlations named in
`wavesim.kernels.cells`, taken here from `wavesim.exact` and from the general-purpose library
`fluids`; rows LO-1, LO-8 and HT-1 of the table of references.
"""

import case_bends as bends
import case_fanno as fanno
import case_fittings as fittings
import case_rayleigh as rayleigh
import numpy as np
import pytest
from case_friction_factor import HT1, LAMINAR, LO1, ROUGHNESSES, TURBULENT, library, wall_terms
from marches import AIR, GAMMA
from steady_flow import along, darcy, gnielinski, mach_of, reynolds_of, warmth

from wavesim import exact

# friction factor and heat transfer: the numbers -----------------------------------------------


@pytest.mark.parametrize("row", LO1, ids=[row.label for row in LO1])
def test_friction_factor_has_the_published_value(row):
    """Haaland within 0.1 %, Colebrook within 2 %."""
    factor, _ = wall_terms(row.case["reynolds"], row.case["roughness"])
    within = 1e-3 if row.quantity == "haaland" else 0.02
    assert factor[0] == pytest.approx(row.value, rel=within)


@pytest.mark.parametrize("roughness", ROUGHNESSES)
def test_friction_factor_agrees_with_a_general_library(roughness):
    """`fluids`: Haaland within 0.1 %, Colebrook within 2 % (3 % at 5 % roughness), 64/Re exact."""
    factor, _ = wall_terms(TURBULENT, roughness)
    haaland, colebrook = (
        library(law, TURBULENT, roughness) for law in ("Haaland", "Colebrook")
    )
    assert factor == pytest.approx(haaland, rel=1e-3)
    assert factor == pytest.approx(colebrook, rel=0.03 if roughness > 0.02 else 0.02)
    assert wall_terms(LAMINAR, roughness)[0] == pytest.approx(64.0 / LAMINAR, rel=1e-12)


def test_friction_factor_has_no_jump_between_laminar_and_turbulent():
    re = np.linspace(2200.0, 4200.0, 2001)
    factor, nusselt = wall_terms(re)
    assert np.abs(np.diff(factor)).max() < 2e-5
    assert np.abs(np.diff(nusselt)).max() < 0.02
    assert factor == pytest.approx(darcy(re), rel=1e-3)


@pytest.mark.parametrize("row", HT1, ids=[row.label for row in HT1])
def test_nusselt_number_has_the_published_value(row):
    """Gnielinski (1976) within 2.5 %: the row has Prandtl 0.70 and the friction factor of a smooth
    pipe, the solver 0.71 and that of Haaland.
    """
    _, nusselt = wall_terms(row.case["reynolds"])
    assert nusselt[0] == pytest.approx(row.value, rel=0.025)


def test_nusselt_number_is_gnielinskis_with_the_friction_of_the_wall():
    """To the last digits of his formula above Re 4000, and 3.66 below 2300."""
    for re, rough in ((4e3, 0.0), (1e4, 1e-3), (1e5, 1e-2), (2e6, 1e-4)):
        formula = gnielinski(re, exact.haaland(re, rough))
        assert wall_terms(re, rough)[1][0] == pytest.approx(formula, rel=1e-3)
    assert wall_terms([1.0, 100.0, 2300.0])[1] == pytest.approx(3.66, rel=1e-9)


# long pipes -----------------------------------------------------------------------------------


@pytest.mark.parametrize("roughness", fanno.ROUGHNESS.values())
@pytest.mark.parametrize("p_in,length", fanno.RUNS)
def test_long_pipe_loses_the_pressure_of_fanno(p_in, length, roughness):
    """Adiabatic friction from Mach 0.11 to 0.6: the pressure drop within 0.5 % of the integral with
    the friction factor at the local Reynolds number, and of Fanno's closed form with its mean.
    """
    bore = fanno.BORE
    gas, _ = fanno.long_pipe(p_in, length, roughness, cell_length=0.015)
    mach, re = mach_of(gas), reynolds_of(gas, bore)
    i, j = 3, min(len(mach) - 4, int(np.searchsorted(mach, 0.6)) - 1)
    assert j > i + 20 and mach[i] > 0.1
    flux = gas["rho"][i] * gas["u"][i]

    def slopes(m, total):
        T = total / (1.0 + 0.5 * (GAMMA - 1.0) * m * m)
        return darcy(flux * bore / AIR.viscosity(T), roughness / bore) / bore, 0.0

    drop = gas["p"][i] - gas["p"][j]
    assert drop == pytest.approx(gas["p"][i] - along(gas, i, j, slopes)[0], rel=5e-3)
    run = darcy(re[i : j + 1], roughness / bore).mean() * (gas["x"][j] - gas["x"][i]) / bore
    behind = exact.fanno_exit_mach(mach[i], run, GAMMA)
    ratio = exact.fanno_ratios(behind, GAMMA).pressure / exact.fanno_ratios(
        mach[i], GAMMA).pressure
    assert drop == pytest.approx(gas["p"][i] * (1.0 - ratio), rel=5e-3)


@pytest.mark.parametrize("hot", rayleigh.WARM_OR_COLD, ids=lambda hot: hot.label)
def test_pipe_with_a_warm_or_cold_wall_changes_temperature_as_the_correlation_says(hot):
    """Stagnation temperature and pressure at the outlet against the integral with friction and
    Gnielinski's Nusselt number at the local Reynolds number: 0.1 % of the change of temperature,
    0.2 % of that of pressure.
    """
    gas = rayleigh.heated_pipe(hot, cell_length=0.01).final["line"]
    i, j = 3, len(gas["x"]) - 4
    p, total = along(gas, i, j, rayleigh.slopes(hot, gas["rho"][i] * gas["u"][i]))
    T0 = warmth(gas)
    assert abs(T0[j] - T0[i]) > 20.0
    assert T0[j] - T0[i] == pytest.approx(total - T0[i], rel=1e-3)
    assert gas["p"][i] - gas["p"][j] == pytest.approx(gas["p"][i] - p, rel=2e-3)


def test_cooled_pipe_follows_the_log_mean_balance():
    """HT-4: T_out = T_w + (T_in - T_w) exp(-h pi D L / (m cp)), with h at the mean of the states,
    within 1 % of the temperature drop: slow flow, moderate cooling.
    """
    found, law = rayleigh.exponential(rayleigh.EVEN)
    assert found == pytest.approx(law, rel=0.01)


@pytest.mark.parametrize("hot", rayleigh.SLICK, ids=lambda hot: hot.label)
def test_frictionless_heating_and_cooling_follow_rayleigh(hot):
    """The pressure change within 0.1 % of Rayleigh's at the ratio of stagnation temperatures."""
    gas = rayleigh.heated_pipe(hot, cell_length=0.01).final["line"]
    mach, T0 = mach_of(gas), warmth(gas)
    i, j = 3, len(mach) - 4
    assert 0.2 < mach[i] < 0.9
    before = exact.rayleigh(mach[i], GAMMA)
    target = before.stagnation_temperature * T0[j] / T0[i]
    after = exact.rayleigh(exact.mach_from_rayleigh(target, GAMMA), GAMMA)
    ratio = after.pressure / before.pressure
    assert abs(ratio - 1.0) > 0.02
    assert gas["p"][j] - gas["p"][i] == pytest.approx(gas["p"][i] * (ratio - 1.0), rel=1e-3)


# bends ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("cell_length", bends.CELLS)
@pytest.mark.parametrize("angle", bends.ANGLES)
@pytest.mark.parametrize("ratio", bends.RATIOS)
def test_bend_loses_what_the_handbook_says(ratio, angle, cell_length):
    """Steady flow at Mach 0.1 through a bend between straight pipes: its loss beyond the friction
    of a straight pipe of its length within 3 % of Rennels and Hudson (2012) in the form of
    `fluids`, whether the bend lies in many cells or in a part of one.
    """
    loss = bends.bend_loss(ratio, angle, cell_length)
    assert loss.value == pytest.approx(bends.handbook(ratio, angle, loss), rel=0.03)


@pytest.mark.parametrize("loss,within", [(0.2, 0.005), (2.0, 0.03)])
@pytest.mark.parametrize("length", [0.013, 0.1, 0.7])
def test_extra_loss_of_a_pipe_is_lost_once_however_it_is_cut(length, loss, within):
    """Also in a pipe shorter than a cell: 0.5 % of a loss such as a bend has, 3 % of a loss of two
    dynamic pressures within a single cell at Mach 0.1.
    """
    assert fittings.stated_loss(loss, length) == pytest.approx(loss, rel=within)


# plates and monoliths -------------------------------------------------------------------------


@pytest.mark.parametrize("share,coefficient", fittings.PLATES)
def test_plate_loses_the_head_of_its_jet(share, coefficient):
    """LO-8: K = (1/(sigma Cd) - 1)^2 on the dynamic pressure of the pipe, within 1 % at Mach 0.06
    and below; the jet is nearly incompressible.
    """
    found = fittings.plate_loss(share, coefficient, drop=300.0)
    assert found == pytest.approx(fittings.jet_loss(share, coefficient), rel=0.01)


def test_monolith_has_the_pressure_drop_of_laminar_channels():
    """f Re = 56.91 of square channels (Shah and London 1978): the gradient in the middle within
    0.5 % of Hagen-Poiseuille's form 2 * 56.91/4 * mu u / Dh^2, entry losses left aside.
    """
    brick = fittings.brick_flow(300.0)
    assert 100.0 < brick.reynolds[3] < 2000.0
    found, laminar = fittings.channel_drop(brick)
    assert found == pytest.approx(laminar, rel=5e-3)
