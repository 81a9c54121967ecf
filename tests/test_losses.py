"""Pressure losses and heat transfer of steady flow: pipes, bends, plates, monoliths.

Theory: Shapiro, Compressible Fluid Flow (1953) ch. 6 and 7; the correlations named in
`wavesim.kernels.cells`, taken here from `wavesim.exact` and from the general-purpose library
`fluids`; rows LO-1, LO-8 and HT-1 of the table of references.
"""

import fluids
import numpy as np
import pytest
from from_python import from_python
from marches import AIR, GAMMA, P0, T0, R, cut, endless
from references import references

import wavesim as ws
from wavesim import exact
from wavesim.kernels import cells
from wavesim.lines import Plan

CP = GAMMA * R / (GAMMA - 1.0)
PRANDTL = 0.71


def flow_through(parts, p_in, p_out, t=0.5, T_in=T0, **settings):
    """Steady flow of air through a line of parts to an open end: ducts by name.

    It comes from an open end, or, hot, from an endless pipe in which `p_in` is the pressure at
    rest.
    """
    plan = Plan()
    first, last = plan.lay(("line", parts if isinstance(parts, tuple) else (parts,)))
    source = cut if T_in == T0 else endless
    plan.nodes["in"], plan.nodes["out"] = source(first, p_in, T_in), cut(last, p_out)
    start = dict.fromkeys(plan.ducts, (0.5 * (p_in + p_out), 0.0, T_in, "air"))
    result = ws.simulate(
        ws.Network(plan.ducts, plan.nodes), t, gas=AIR, settings=ws.Settings(**settings),
        initial=start, samples=50,
    )
    flow = result.trace("mass_flow", "out").values[-5:]
    assert np.ptp(flow) < 1e-4 * abs(flow.mean())
    return result.final


def mach_of(gas):
    return gas["u"] / np.sqrt(GAMMA * R * gas["T"])


def reynolds_of(gas, bore):
    return gas["rho"] * gas["u"] * bore / AIR.viscosity(gas["T"])


def stagnation(gas, i):
    """Stagnation pressure in cell i [Pa]."""
    return gas["p"][i] * (1.0 + 0.5 * (GAMMA - 1.0) * mach_of(gas)[i] ** 2) ** (
        GAMMA / (GAMMA - 1.0)
    )


def darcy(re, rough=0.0):
    """Friction factor of the solver, written down once more: laminar, blended, Haaland."""
    share = np.clip((re - 2300.0) / 1700.0, 0.0, 1.0)
    return (1.0 - share) * exact.laminar(re) + share * exact.haaland(np.maximum(re, 2300.0), rough)


# friction factor and heat transfer: the numbers -----------------------------------------------


def wall_terms(re, roughness=0.0, u=30.0, T=600.0, bore=0.05):
    """(Darcy factor, Nusselt number) from the kernel at a Reynolds number."""
    re = np.atleast_1d(np.asarray(re, dtype=float))
    mu = np.full(re.size, AIR.viscosity(T))
    r, one = re * mu / (u * bore), np.ones(re.size)
    drag, resist, stanton, still = (np.zeros(re.size) for _ in range(4))
    from_python(cells.wall_coefficients)(
        re.size, r, u * one, T * one, bore * one, (roughness / 3.7) ** 1.11 * one,
        0.5 / bore * one, 0.0 * one, one, drag, resist, stanton, still,
    )
    factor = (drag + resist / (r * u)) * 2.0 * bore
    conductance = (stanton * r * u + still) * bore**2 / 4.0  # Nu mu / Pr
    return factor, conductance * PRANDTL / mu


LO1 = [row for row in references("LO-1") if row.quantity != "churchill"]


@pytest.mark.parametrize("row", LO1, ids=[row.label for row in LO1])
def test_friction_factor_has_the_published_value(row):
    """Haaland within 0.1 %, Colebrook within 2 %."""
    factor, _ = wall_terms(row.case["reynolds"], row.case["roughness"])
    within = 1e-3 if row.quantity == "haaland" else 0.02
    assert factor[0] == pytest.approx(row.value, rel=within)


@pytest.mark.parametrize("roughness", [0.0, 1e-4, 1e-3, 1e-2, 0.05])
def test_friction_factor_agrees_with_a_general_library(roughness):
    """`fluids`: Haaland within 0.1 %, Colebrook within 2 % (3 % at 5 % roughness), 64/Re exact."""
    re = np.geomspace(4000.0, 5e6, 60)
    factor, _ = wall_terms(re, roughness)
    haaland, colebrook = (
        [law(x, roughness) for x in re.tolist()]
        for law in (fluids.friction.Haaland, fluids.friction.Colebrook)
    )
    assert factor == pytest.approx(haaland, rel=1e-3)
    assert factor == pytest.approx(colebrook, rel=0.03 if roughness > 0.02 else 0.02)
    slow = np.geomspace(5.0, 2299.0, 20)
    assert wall_terms(slow, roughness)[0] == pytest.approx(64.0 / slow, rel=1e-12)


def test_friction_factor_has_no_jump_between_laminar_and_turbulent():
    re = np.linspace(2200.0, 4200.0, 2001)
    factor, nusselt = wall_terms(re)
    assert np.abs(np.diff(factor)).max() < 2e-5
    assert np.abs(np.diff(nusselt)).max() < 0.02
    assert factor == pytest.approx(darcy(re), rel=1e-3)


HT1 = [row for row in references("HT-1") if row.quantity == "gnielinski"]


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
        f8 = exact.haaland(re, rough) / 8.0
        formula = f8 * (re - 1000.0) * PRANDTL / (
            1.0 + 12.7 * np.sqrt(f8) * (PRANDTL ** (2.0 / 3.0) - 1.0)
        )
        assert wall_terms(re, rough)[1][0] == pytest.approx(formula, rel=1e-3)
    assert wall_terms([1.0, 100.0, 2300.0])[1] == pytest.approx(3.66, rel=1e-9)


# long pipes -----------------------------------------------------------------------------------


def along(gas, i, j, slopes):
    """Integrate dM2/dx and dT0/dx from cell i to cell j; returns (p, T0) there.

    Influence coefficients of Shapiro (1953) table 8.1 for friction and heating in a round pipe;
    `slopes(M, T0)` gives f/D [1/m] and d(ln T0)/dx [1/m].
    """
    from scipy.integrate import solve_ivp

    flux = gas["rho"][i] * gas["u"][i]

    def rate(x, state):
        m2, T0 = state
        friction, heating = slopes(np.sqrt(m2), T0)
        swell = 1.0 + 0.5 * (GAMMA - 1.0) * m2
        grow = GAMMA * m2 * friction + (1.0 + GAMMA * m2) * heating
        return [m2 * swell / (1.0 - m2) * grow, heating * T0]

    m0 = mach_of(gas)[i]
    T00 = gas["T"][i] * (1.0 + 0.5 * (GAMMA - 1.0) * m0**2)
    found = solve_ivp(rate, (gas["x"][i], gas["x"][j]), [m0**2, T00], rtol=1e-10, atol=1e-12)
    m2, T0 = found.y[:, -1]
    T = T0 / (1.0 + 0.5 * (GAMMA - 1.0) * m2)
    return flux * np.sqrt(R * T / (GAMMA * m2)), T0


@pytest.mark.parametrize("roughness", [1.5e-6, 4.5e-5, 4e-4])
@pytest.mark.parametrize("p_in,length", [(1.05e5, 3.0), (1.3e5, 3.0), (1.9e5, 3.0), (1.6e5, 2.0)])
def test_long_pipe_loses_the_pressure_of_fanno(p_in, length, roughness):
    """Adiabatic friction from Mach 0.11 to 0.6: the pressure drop within 0.5 % of the integral with
    the friction factor at the local Reynolds number, and of Fanno's closed form with its mean.
    """
    bore = 0.04
    pipe = ws.Pipe(length, bore, roughness=roughness, cell_length=0.015)
    gas = flow_through(pipe, p_in, P0, wall_heat=False)["line"]
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


@pytest.mark.parametrize("T_in,T_wall", [(300.0, 600.0), (900.0, 500.0), (1100.0, 700.0)])
@pytest.mark.parametrize("p_in", [1.3e5, 1.8e5])
def test_pipe_with_a_warm_or_cold_wall_changes_temperature_as_the_correlation_says(
    p_in, T_in, T_wall
):
    """Stagnation temperature and pressure at the outlet against the integral with friction and
    Gnielinski's Nusselt number at the local Reynolds number: 0.3 % of the change of temperature,
    1 % of that of pressure.
    """
    bore, roughness = 0.04, 4.5e-5
    pipe = ws.Pipe(2.0, bore, wall_temperature=T_wall, heat_factor=1.5, cell_length=0.01)
    gas = flow_through(pipe, p_in, P0, T_in=T_in)["line"]
    i, j = 3, len(gas["x"]) - 4
    flux = gas["rho"][i] * gas["u"][i]

    def slopes(m, total):
        T = total / (1.0 + 0.5 * (GAMMA - 1.0) * m * m)
        re = flux * bore / AIR.viscosity(T)
        f = darcy(re, roughness / bore)
        nusselt = f / 8.0 * (re - 1000.0) * PRANDTL / (
            1.0 + 12.7 * np.sqrt(f / 8.0) * (PRANDTL ** (2.0 / 3.0) - 1.0)
        )
        heating = 1.5 * 4.0 * nusselt / (re * PRANDTL) * (T_wall - T) / bore
        return f / bore, heating / total

    p, total = along(gas, i, j, slopes)
    warmth = gas["T"] * (1.0 + 0.5 * (GAMMA - 1.0) * mach_of(gas) ** 2)
    assert abs(warmth[j] - warmth[i]) > 20.0
    assert warmth[j] - warmth[i] == pytest.approx(total - warmth[i], rel=3e-3)
    assert gas["p"][i] - gas["p"][j] == pytest.approx(gas["p"][i] - p, rel=0.01)


def test_cooled_pipe_follows_the_log_mean_balance():
    """HT-4: T_out = T_w + (T_in - T_w) exp(-h pi D L / (m cp)), with h at the mean of the states,
    within 1 % of the temperature drop: slow flow, moderate cooling.
    """
    bore, T_wall = 0.04, 800.0
    pipe = ws.Pipe(2.0, bore, wall_temperature=T_wall, heat_factor=1.0, cell_length=0.02)
    gas = flow_through(pipe, 1.2e5, P0, T_in=1000.0)["line"]
    i, j = 3, len(gas["x"]) - 4
    T = 0.5 * (gas["T"][i] + gas["T"][j])
    flux = gas["rho"][i] * gas["u"][i]
    re = flux * bore / AIR.viscosity(T)
    f8 = darcy(re, 4.5e-5 / bore) / 8.0
    nusselt = f8 * (re - 1000.0) * PRANDTL / (
        1.0 + 12.7 * np.sqrt(f8) * (PRANDTL ** (2.0 / 3.0) - 1.0)
    )
    h = nusselt * AIR.viscosity(T) * CP / PRANDTL / bore
    flow = flux * 0.25 * np.pi * bore**2
    out = exact.pipe_cooling(
        gas["T"][i], T_wall, h, bore, gas["x"][j] - gas["x"][i], flow, CP
    )
    assert gas["T"][i] - gas["T"][j] == pytest.approx(gas["T"][i] - out, rel=0.01)


@pytest.mark.parametrize("T_wall", [250.0, 1200.0])
def test_frictionless_heating_and_cooling_follow_rayleigh(T_wall):
    """The pressure change within 1 % of Rayleigh's at the ratio of stagnation temperatures."""
    pipe = ws.Pipe(3.0, 0.03, wall_temperature=T_wall, heat_factor=2.0, cell_length=0.01)
    gas = flow_through(
        pipe, 1.6e5, P0, T_in=400.0, friction=False
    )["line"]
    mach = mach_of(gas)
    i, j = 3, len(mach) - 4
    warmth = gas["T"] * (1.0 + 0.5 * (GAMMA - 1.0) * mach**2)
    assert 0.2 < mach[i] < 0.9
    before = exact.rayleigh(mach[i], GAMMA)
    target = before.stagnation_temperature * warmth[j] / warmth[i]
    after = exact.rayleigh(exact.mach_from_rayleigh(target, GAMMA), GAMMA)
    ratio = after.pressure / before.pressure
    assert abs(ratio - 1.0) > 0.02
    assert gas["p"][j] - gas["p"][i] == pytest.approx(gas["p"][i] * (ratio - 1.0), rel=0.01)


# bends ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("cell_length", [0.01, 0.05])
@pytest.mark.parametrize("angle", [30.0, 45.0, 90.0, 180.0])
@pytest.mark.parametrize("ratio", [1.0, 1.5, 3.0])
def test_bend_loses_what_the_handbook_says(ratio, angle, cell_length):
    """Steady flow at Mach 0.1 through a bend between straight pipes: its loss beyond the friction
    of a straight pipe of its length within 3 % of Rennels and Hudson (2012) in the form of
    `fluids`, whether the bend lies in many cells or in a part of one.
    """
    bore, before = 0.05, 1.0
    bend = ws.Bend(bore, angle, radius_ratio=ratio)
    straight = ws.Pipe(before, bore)
    gas = flow_through((straight, bend, straight), 1.03e5, P0, cell_length=cell_length)["line"]
    x = gas["x"]
    i, j = np.searchsorted(x, before - 0.4), np.searchsorted(x, before + bend.length + 0.4)
    span = slice(i, j + 1)
    mach = mach_of(gas)[span]
    factor = darcy(reynolds_of(gas, bore)[span], 4.5e-5 / bore).mean()
    total = np.log(stagnation(gas, i) / stagnation(gas, j)) / (0.5 * GAMMA * (mach**2).mean())
    pipes = factor * (x[j] - x[i] - bend.length) / bore
    asked = fluids.fittings.bend_rounded(
        Di=bore, angle=angle, fd=factor, bend_diameters=ratio, method="Rennels",
        Re=reynolds_of(gas, bore)[span].mean(),
    )
    assert total - pipes == pytest.approx(asked, rel=0.03)


@pytest.mark.parametrize("loss,within", [(0.2, 0.005), (2.0, 0.03)])
@pytest.mark.parametrize("length", [0.013, 0.1, 0.7])
def test_extra_loss_of_a_pipe_is_lost_once_however_it_is_cut(length, loss, within):
    """Also in a pipe shorter than a cell: 0.5 % of a loss such as a bend has, 3 % of a loss of two
    dynamic pressures within a single cell at Mach 0.1.
    """
    parts = (ws.Pipe(1.0, 0.05), ws.Pipe(length, 0.05, extra_loss=loss), ws.Pipe(1.0, 0.05))
    gas = flow_through(parts, 1.05e5, P0, t=1.0, cell_length=0.02, wall_heat=False)["line"]
    x = gas["x"]
    i, j = np.searchsorted(x, 0.6), np.searchsorted(x, 1.4 + length)
    mach2 = mach_of(gas)[i : j + 1] ** 2
    factor = darcy(reynolds_of(gas, 0.05)[i : j + 1], 4.5e-5 / 0.05).mean()
    total = np.log(stagnation(gas, i) / stagnation(gas, j)) / (0.5 * GAMMA * mach2.mean())
    assert total - factor * (x[j] - x[i]) / 0.05 == pytest.approx(loss, rel=within)


# plates and monoliths -------------------------------------------------------------------------


@pytest.mark.parametrize("share,coefficient", [(0.2, 0.61), (0.5, 0.8), (0.8, 0.8)])
def test_plate_loses_the_head_of_its_jet(share, coefficient):
    """LO-8: K = (1/(sigma Cd) - 1)^2 on the dynamic pressure of the pipe, within 1 % at Mach 0.06
    and below; the jet is nearly incompressible.
    """
    bore = 0.05
    plate = ws.Plate(bore * np.sqrt(share), discharge_coefficient=coefficient)
    pipe = ws.Pipe(0.5, bore)
    theory = (1.0 / (share * coefficient) - 1.0) ** 2
    drop = 300.0  # Pa
    ducts = flow_through(
        (pipe, plate, pipe), P0 + drop, P0, t=1.0, friction=False, wall_heat=False
    )
    before, behind = ducts["line/1"], ducts["line/2"]
    head = 0.5 * before["rho"][-3] * before["u"][-3] ** 2
    loss = (stagnation(before, -3) - stagnation(behind, 2)) / head
    assert loss == pytest.approx(theory, rel=0.01)


def test_monolith_has_the_pressure_drop_of_laminar_channels():
    """f Re = 56.91 of square channels (Shah and London 1978): the gradient in the middle within
    0.5 % of Hagen-Poiseuille's form 2 * 56.91/4 * mu u / Dh^2, entry losses left aside.
    """
    brick = ws.Monolith(0.15, 0.1, cell_density=6.2e5, wall_thickness=0.17e-3)
    cone = ws.Pipe(0.2, 0.1)
    ducts = flow_through((cone, brick, cone), P0 + 300.0, P0, cell_length=0.01)
    gas = ducts["line/2 channels"]
    d, i, j = brick.hydraulic_diameter, 3, len(gas["x"]) - 4
    re = gas["rho"] * gas["u"] * d / AIR.viscosity(gas["T"])
    assert 100.0 < re[i] < 2000.0
    span = slice(i, j + 1)
    gradient = 56.91 / 2.0 * AIR.viscosity(gas["T"][span]) * gas["u"][span] / d**2
    mean = np.trapezoid(gradient, gas["x"][span])
    momentum = gas["rho"][i] * gas["u"][i] * (gas["u"][j] - gas["u"][i])
    assert gas["p"][i] - gas["p"][j] - momentum == pytest.approx(mean, rel=5e-3)
