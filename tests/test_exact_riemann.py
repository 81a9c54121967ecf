"""The exact Riemann solution against published star states, and against itself."""

import numpy as np
import pytest
from exact_checks import check, rows

from wavesim import exact
from wavesim.errors import InputError

SOD = ((1.0, 0.0, 1.0), (0.125, 0.0, 0.1), 1.4)
FAMILIES = {
    "two fans": ((1.0, -0.5, 1.0), (1.0, 0.5, 1.0), 1.4),
    "two shocks": ((1.0, 1.0, 1.0), (0.8, -1.5, 0.9), 1.4),
    "fan and shock": SOD,
    "shock and fan": ((0.125, 0.0, 0.1), (1.0, 0.0, 1.0), 1.4),
    "two gases": ((1.0, 0.0, 3.0), (1.2, 0.1, 1.0), 1.3, 1.67),
}
FILLED = pytest.mark.parametrize("problem", FAMILIES.values(), ids=FAMILIES)


def solution(gamma, gamma_right=None, R=None, x0=None, t=None, **state):
    def side(s):
        p, u = state[f"p_{s}"], state.get(f"u_{s}", 0.0)
        rho = state.get(f"rho_{s}") or p / (R * state[f"T_{s}"])
        return rho, u, p

    return exact.solve_riemann(side("l"), side("r"), gamma, gamma_right)


def riemann(x0, t, **case):
    found = solution(**case)
    names = ("p_star", "u_star", "rho_star_left", "rho_star_right")
    speeds = {
        "left_head": found.left_wave[0],
        "left_tail": found.left_wave[1],
        "contact": found.u_star,
        "right_head": found.right_wave[1],
    }
    return {n: getattr(found, n) for n in names} | {
        f"x_{n}": x0 + speed * t for n, speed in speeds.items()
    }


SHOCK_TUBES = {f"RP-{n}": riemann for n in (1, 2, 3, 4, 5, 6, 7, 8, 10, 11, 12)}


@rows(SHOCK_TUBES)
def test_star_state_and_wave_places_are_the_published_ones(row):
    check(SHOCK_TUBES, row)


def shock_into_still_gas(shock_mach, gamma):
    gas = exact.moving_shock(shock_mach, gamma)
    return {"rho": gas.density, "u": gas.u * np.sqrt(gamma), "p": gas.pressure}


def standing_shock(mach, gamma):
    gas = exact.normal_shock(mach, gamma)
    u = mach * np.sqrt(gamma) / gas.density
    return {"rho": gas.density, "u": u, "p": gas.pressure}


def escape(rho, p, gamma):
    return {"escape_speed": exact.escape_speed(np.sqrt(gamma * p / rho), gamma)}


STATES = {"RP-9": shock_into_still_gas, "RP-14": standing_shock, "RP-15": escape}


@rows(STATES)
def test_gas_behind_a_shock_or_a_full_expansion_has_the_published_state(row):
    check(STATES, row)


@FILLED
def test_both_waves_meet_at_the_contact(problem):
    s = exact.solve_riemann(*problem)
    eps = 1e-9 * max(1.0, abs(s.u_star))
    rho, u, p = s.sample(np.array([s.u_star - eps, s.u_star + eps]))
    assert np.allclose(p, s.p_star, rtol=1e-10)
    assert np.allclose(u, s.u_star, rtol=1e-8)
    assert np.allclose(rho, [s.rho_star_left, s.rho_star_right], rtol=1e-10)


@FILLED
def test_mass_momentum_and_energy_change_by_the_boundary_fluxes(problem):
    """At t = 1 the content of -w..w is that of the start plus what its ends have let in."""
    s = exact.solve_riemann(*problem)
    w = 1.5 * max(abs(s.left_wave[0]), abs(s.right_wave[1]))
    breaks = sorted({-w, *s.left_wave, s.u_star, *s.right_wave, w})
    nodes, weights = np.polynomial.legendre.leggauss(40)
    total = np.zeros(3)
    for a, b in zip(breaks[:-1], breaks[1:], strict=True):
        ray = 0.5 * (a + b) + 0.5 * (b - a) * nodes
        gamma = s.left.gamma if 0.5 * (a + b) < s.u_star else s.right.gamma
        total += 0.5 * (b - a) * (conserved(*s.sample(ray), gamma) @ weights)
    start = w * (conserved(*s.left[:4]) + conserved(*s.right[:4]))
    inflow = flux(*s.left[:4]) - flux(*s.right[:4])
    assert np.allclose(total, start + inflow, rtol=1e-10, atol=1e-10)


def conserved(rho, u, p, gamma):
    return np.array([rho, rho * u, p / (gamma - 1.0) + 0.5 * rho * u**2])


def flux(rho, u, p, gamma):
    energy = p / (gamma - 1.0) + 0.5 * rho * u**2
    return np.array([rho * u, rho * u**2 + p, u * (energy + p)])


@FILLED
def test_mirrored_problem_gives_the_mirrored_answer(problem):
    (left, right), gammas = problem[:2], problem[2:]
    pair = (*gammas, *gammas)[:2] if len(gammas) == 1 else gammas
    s = exact.solve_riemann(left, right, *pair)
    m = exact.solve_riemann(flip(right), flip(left), *pair[::-1])
    ray = np.linspace(-3.0, 3.0, 101) + 0.0123
    for value, mirrored, sign in zip(s.sample(ray), m.sample(-ray), (1, -1, 1), strict=True):
        assert np.allclose(value, sign * mirrored, rtol=1e-12, atol=1e-12)


def flip(state):
    return state[0], -state[1], state[2]


def test_equal_states_stay_as_they_are():
    gas = (1.2, 3.0, 1e5)
    rho, u, p = exact.solve_riemann(gas, gas, 1.4).sample([-500.0, 0.0, 500.0])
    assert np.allclose((rho, u, p), [[1.2] * 3, [3.0] * 3, [1e5] * 3], rtol=1e-14)


def test_contact_at_rest_stays_at_rest():
    s = exact.solve_riemann((0.29, 0.0, 1e5), (1.16, 0.0, 1e5), 1.4)
    assert abs(s.u_star) < 1e-10
    assert s.p_star == pytest.approx(1e5, rel=1e-14)


def test_gas_pulled_apart_faster_than_it_can_expand_leaves_a_vacuum():
    limit = exact.escape_speed(np.sqrt(1.4 * 0.4), 1.4)
    inside = exact.solve_riemann((1.0, -0.999 * limit, 0.4), (1.0, 0.999 * limit, 0.4), 1.4)
    beyond = exact.solve_riemann((1.0, -1.1 * limit, 0.4), (1.0, 1.1 * limit, 0.4), 1.4)
    assert not inside.vacuum and inside.p_star > 0.0
    assert beyond.vacuum
    rho, _, p = beyond.sample(np.linspace(-0.05, 0.05, 5))
    assert not rho.any() and not p.any()


@pytest.mark.parametrize("empty", ["left", "right"])
def test_gas_expands_into_an_empty_side_up_to_the_escape_speed(empty):
    gas, nothing, c = (1.0, 0.0, 1.0), (0.0, 0.0, 0.0), np.sqrt(1.4)
    edge = exact.escape_speed(c, 1.4)
    pair = (nothing, gas) if empty == "left" else (gas, nothing)
    sign = -1.0 if empty == "left" else 1.0
    rays = sign * np.array([-2.0 * c, 0.999 * edge, 1.1 * edge])
    rho, u, p = exact.solve_riemann(*pair, 1.4).sample(rays)
    assert rho[0] == 1.0 and rho[1] > 0.0 and rho[2] == 0.0
    assert u[1] == pytest.approx(sign * 0.999 * edge, rel=1e-3)
    assert np.isfinite((rho, u, p)).all()


@pytest.mark.parametrize(
    "bad", [(-1.0, 0.0, 1.0), (1.0, 0.0, -1.0), (np.nan, 0.0, 1.0), (0.0, 0.0, 1.0)]
)
def test_impossible_state_is_refused_with_its_name(bad):
    with pytest.raises(InputError, match="right state"):
        exact.solve_riemann((1.0, 0.0, 1.0), bad, 1.4)


def test_two_empty_sides_and_a_gamma_of_one_are_refused():
    with pytest.raises(InputError, match="both sides are empty"):
        exact.solve_riemann((0.0, 0.0, 0.0), (0.0, 0.0, 0.0), 1.4)
    with pytest.raises(InputError, match="gamma"):
        exact.solve_riemann((1.0, 0.0, 1.0), (1.0, 0.0, 1.0), 1.0)
