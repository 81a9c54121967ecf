"""Steady flow and losses against published tables and against the conservation laws."""

import numpy as np
import pytest
from exact_checks import check, rows

from wavesim import exact
from wavesim.errors import InputError


def isentropic(mach, gamma):
    names = ("T/T0", "p/p0", "rho/rho0", "A/A*")
    return dict(zip(names, exact.isentropic(mach, gamma), strict=True))


def normal_shock(mach, gamma):
    names = ("M2", "p2/p1", "rho2/rho1", "T2/T1", "p02/p01")
    return dict(zip(names, exact.normal_shock(mach, gamma), strict=True))


def fanno(mach, gamma):
    return {"fL*/D": exact.fanno_length(mach, gamma)}


def fanno_pipe(diameter, length, friction_factor, gamma, mach=None):
    reach = friction_factor * length / diameter
    if mach is None:
        return {"choked_inlet_mach": exact.fanno_inlet_mach_choked(reach, gamma)}
    end = exact.fanno_exit_mach(mach, reach, gamma)
    before, behind = exact.fanno_ratios(mach, gamma), exact.fanno_ratios(end, gamma)
    return {
        "M2": end,
        "p2/p1": behind.pressure / before.pressure,
        "p02/p01": behind.stagnation_pressure / before.stagnation_pressure,
    }


def rayleigh(mach, gamma):
    return dict(zip(("T0/T0*", "T/T*", "p/p*"), exact.rayleigh(mach, gamma), strict=True))


def cooled_pipe(mach, gamma, **ratio):
    before = exact.rayleigh(mach, gamma)
    end = exact.mach_from_rayleigh(before.stagnation_temperature * ratio["T02/T01"], gamma)
    return {"M2": end, "p2/p1": exact.rayleigh(end, gamma).pressure / before.pressure}


def dynamic_head(mach, gamma):
    return {"head_ratio": exact.dynamic_head_ratio(mach, gamma)}


FLOWS = {
    "ST-1": isentropic,
    "ST-2": normal_shock,
    "ST-3": fanno,
    "ST-4": fanno_pipe,
    "ST-5": rayleigh,
    "ST-6": cooled_pipe,
    "ST-12": dynamic_head,
}


@rows(FLOWS)
def test_steady_flow_has_the_tabulated_ratios(row):
    check(FLOWS, row)


def choked(gamma, p_0=None, T_0=None, R=None, diameter=None):
    if p_0 is None:
        return {
            "flow_factor": exact.choked_flux(1.0, 1.0, gamma, 1.0),
            "p*/p0": exact.critical_pressure_ratio(gamma),
        }
    flux = exact.choked_flux(p_0, T_0, gamma, R)
    area = 0.0 if diameter is None else 0.25 * np.pi * diameter**2
    return {"mass_flux": flux, "mass_flow": flux * area}


def orifice(p_0, T_0, gamma, R, pressure_ratio):
    return {"mass_flux": exact.orifice_flux(p_0, T_0, pressure_ratio * p_0, gamma, R)}


def nozzle(exit_area, gamma, shock_area=None):
    if shock_area is None:
        return exact.nozzle_limits(exit_area, gamma)._asdict()
    state = exact.nozzle_shock(exit_area, shock_area, gamma)
    return dict(zip(("M1", "M2", "p02/p01", "Me", "pe/p01"), state[1:], strict=True))


def parabolic_nozzle(throat, growth, x_inlet, x_exit, gamma, **back_pressure):
    ends = [1.0 + growth * (x - throat) ** 2 for x in (x_inlet, x_exit)]
    if not back_pressure:
        fast = exact.mach_from_area_ratio(ends[1], gamma, supersonic=True)
        return {
            "Me_free": fast,
            "pe/p0_free": exact.isentropic(fast, gamma).pressure,
            "M_inlet": exact.mach_from_area_ratio(ends[0], gamma),
        }
    state = exact.nozzle_shock_from_back_pressure(ends[1], back_pressure["pe/p0"], gamma)
    place = throat + np.sqrt((state.shock_area - 1.0) / growth)
    names = ("A_shock/A*", "M1", "M2", "p02/p01", "Me")
    return dict(zip(names, state, strict=False)) | {"x_shock": place}


NOZZLES = {"ST-7": choked, "ST-8": orifice, "ST-9": nozzle, "ST-10": parabolic_nozzle}


@rows(NOZZLES)
def test_nozzle_passes_the_published_flow(row):
    check(NOZZLES, row)


def enlargement(mach, area_ratio, gamma):
    state = exact.sudden_enlargement(mach, area_ratio, gamma)
    return dict(zip(("M2", "p2/p1", "p02/p01", "loss"), state, strict=True))


def friction(reynolds, roughness):
    laws = (exact.colebrook, exact.haaland, exact.churchill)
    return {law.__name__: law(reynolds, roughness) for law in laws}


def combining(angle_deg, flow_ratio):
    return {"branch_loss": exact.combining_loss(flow_ratio, angle_deg)}


def dividing(angle_deg, flow_ratio):
    return {"branch_loss": exact.dividing_loss(flow_ratio, angle_deg)}


def cooling(T_in, T_wall, **pipe):
    return {"T_out": exact.pipe_cooling(T_in, T_wall, **pipe)}


LOSSES = {
    "ST-11": enlargement,
    "LO-1": friction,
    "LO-6": combining,
    "LO-7": dividing,
    "HT-4": cooling,
}


@rows(LOSSES)
def test_loss_is_the_published_one(row):
    check(LOSSES, row)


@pytest.mark.parametrize("gamma", [1.25, 1.4, 5.0 / 3.0])
@pytest.mark.parametrize("mach", [0.05, 0.6, 1.0, 1.7, 4.0])
def test_inverse_relations_find_the_mach_number_again(mach, gamma):
    fast, state = mach > 1.0, exact.isentropic(mach, gamma)
    near = pytest.approx(mach, rel=2e-7)
    assert exact.mach_from_area_ratio(state.area, gamma, supersonic=fast) == near
    assert exact.mach_from_pressure_ratio(state.pressure, gamma) == near
    assert exact.mach_from_fanno_length(exact.fanno_length(mach, gamma), gamma, fast) == near
    heat = exact.rayleigh(mach, gamma).stagnation_temperature
    assert exact.mach_from_rayleigh(min(heat, 1.0), gamma, supersonic=fast) == near


@pytest.mark.parametrize(("mach", "ratio"), [(0.1, 1.5), (0.5, 2.0), (0.9, 6.0)])
def test_enlargement_keeps_mass_momentum_and_energy(mach, ratio):
    g, state = 1.4, exact.sudden_enlargement(mach, ratio, 1.4)
    # Per unit area and pressure of the narrow side: temperature from the energy equation.
    heat = (1 + 0.5 * (g - 1) * mach**2) / (1 + 0.5 * (g - 1) * state.mach**2)
    assert state.pressure * state.mach * ratio / np.sqrt(heat) == pytest.approx(mach, rel=1e-12)
    pushed = ratio + g * mach**2
    assert ratio * state.pressure * (1 + g * state.mach**2) == pytest.approx(pushed, rel=1e-12)


def test_slow_enlargement_loses_what_borda_found():
    assert exact.sudden_enlargement(1e-3, 2.0, 1.4).loss == pytest.approx(0.25, rel=1e-4)


def test_enlargement_to_the_same_area_changes_nothing():
    state = exact.sudden_enlargement(0.4, 1.0, 1.4)
    assert state.mach == pytest.approx(0.4, rel=1e-12)
    assert abs(state.loss) < 1e-12


def test_orifice_flow_rises_until_it_chokes():
    p = np.linspace(1e5, 0.0, 50)
    flux = exact.orifice_flux(1e5, 300.0, p, 1.4, 287.05)
    assert flux[0] == 0.0 and (np.diff(flux) >= 0.0).all()
    assert flux[-1] == pytest.approx(exact.choked_flux(1e5, 300.0, 1.4, 287.05), rel=1e-12)


def test_nozzle_profile_is_subsonic_then_supersonic_then_behind_the_shock():
    x = np.linspace(0.0, 3.0, 301)
    area = 1.0 + 2.2 * (x - 1.5) ** 2
    mach, pressure = exact.nozzle_profile(area, 150, 1.4, shock_area=2.0)
    state = exact.nozzle_shock(area[-1], 2.0, 1.4)
    assert mach[150] == pytest.approx(1.0) and (mach[:150] < 1.0).all()
    assert (mach[151:210] > 1.0).all() and (mach[220:] < 1.0).all()
    assert pressure[-1] == pytest.approx(state.exit_pressure, rel=1e-10)
    free = exact.nozzle_profile(area, 150, 1.4)[0]
    assert (free[151:] > 1.0).all()


@pytest.mark.parametrize("shock_area", [1.2, 1.5, 1.9])
def test_back_pressure_leads_back_to_its_shock(shock_area):
    pressure = exact.nozzle_shock(2.0, shock_area, 1.4).exit_pressure
    found = exact.nozzle_shock_from_back_pressure(2.0, pressure, 1.4)
    assert found.shock_area == pytest.approx(shock_area, rel=1e-9)


@pytest.mark.parametrize("roughness", [0.0, 1e-3, 1e-2])
@pytest.mark.parametrize("reynolds", [1e4, 1e5, 1e6])
def test_explicit_friction_laws_stay_near_colebrook(reynolds, roughness):
    solved = exact.colebrook(reynolds, roughness)
    assert exact.haaland(reynolds, roughness) == pytest.approx(solved, rel=0.03)
    assert exact.churchill(reynolds, roughness) == pytest.approx(solved, rel=0.03)
    y = solved**-0.5
    assert y == pytest.approx(-2.0 * np.log10(roughness / 3.7 + 2.51 * y / reynolds), rel=1e-12)


def test_slow_flow_has_laminar_friction():
    assert exact.churchill(1000.0) == pytest.approx(exact.laminar(1000.0), rel=1e-3)


@pytest.mark.parametrize(
    ("call", "word"),
    [
        (lambda: exact.mach_from_area_ratio(0.9, 1.4), "A/A"),
        (lambda: exact.normal_shock(0.9, 1.4), "normal_shock"),
        (lambda: exact.orifice_flux(1e5, 300.0, 1.1e5, 1.4, 287.05), "orifice_flux"),
        (lambda: exact.nozzle_shock(2.0, 3.0, 1.4), "shock_area"),
        (lambda: exact.nozzle_shock_from_back_pressure(2.0, 0.99, 1.4), "no shock"),
        (lambda: exact.fanno_exit_mach(0.5, 2.0, 1.4), "chokes"),
        (lambda: exact.mach_from_rayleigh(1.2, 1.4), "T0/T0"),
        (lambda: exact.mach_from_rayleigh(0.3, 1.4, supersonic=True), "supersonic"),
        (lambda: exact.sudden_enlargement(0.3, 0.5, 1.4), "area ratio"),
        (lambda: exact.sudden_enlargement(1.3, 2.0, 1.4), "mach"),
    ],
)
def test_impossible_flow_is_refused_with_its_name(call, word):
    with pytest.raises(InputError, match=word):
        call()
