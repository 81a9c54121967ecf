"""Wall temperature: correlations against textbook numbers, the balance against another root."""

from math import pi

import numpy as np
import pytest
from case_wall_temperature import independent_root
from references import reference

from wavesim.descriptions.materials import gauge
from wavesim.descriptions.walls import (
    Coating,
    Outside,
    Wall,
    Wrap,
    air_properties,
    heat_to_outside,
    nusselt_cross_flow,
    nusselt_still_air,
    outer_heat_transfer,
    sections_of,
    wall_balance,
    wall_balances,
)

BARE = Wall(0.0015, "mild steel")
WRAPPED = BARE.replace(wrap=Wrap(thickness=0.006, conductivity=0.1))
COATED = BARE.replace(coating=Coating(thickness=0.0005, conductivity=1.0))
WINDY = BARE.replace(outside="road speed")
ALL = [BARE, WRAPPED, COATED, WINDY, WRAPPED.replace(outside="dyno-cell fan"),
       Wall("16 gauge", "titanium", emissivity=0.2, outside=Outside(air_speed=3, temperature=250))]


# --- correlations ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("T", "mu", "k"),
    [(300, 1.8630e-5, 0.02649), (600, 3.0533e-5, 0.04579), (900, 3.9993e-5, 0.06391)],
)
def test_air_agrees_with_kinetic_theory(T, mu, k):
    viscosity, conductivity = air_properties(float(T))
    assert viscosity * 101325 / (287.05 * T) == pytest.approx(mu, rel=0.03)
    assert conductivity == pytest.approx(k, rel=0.05)


def test_still_air_agrees_with_a_textbook_steam_pipe():
    # HT-7: 0.1 m at 165 degC in air of 23 degC, film conductivity 0.0313 W/(m K).
    row = reference("HT-7", "churchill_chu")
    assert nusselt_still_air(**row.case) == pytest.approx(row.value, rel=0.01)
    h = outer_heat_transfer(438.15, 0.1, Outside(temperature=296.15))
    assert h == pytest.approx(row.value * 0.0313 / 0.1, rel=0.02)


def test_cross_flow_agrees_with_a_textbook_rod():
    # HT-8: 12.7 mm at 128 degC in 10 m/s of 26 degC.
    row = reference("HT-8", "churchill_bernstein")
    assert nusselt_cross_flow(**row.case) == pytest.approx(row.value, rel=0.01)
    h = outer_heat_transfer(401.55, 0.0127, Outside(air_speed=10.0, temperature=299.35))
    assert h == pytest.approx(96.0, rel=0.03)


def test_without_wind_the_law_of_still_air_is_left():
    calm = outer_heat_transfer(700.0, 0.05, Outside())
    breath = outer_heat_transfer(700.0, 0.05, Outside(air_speed=1e-3))
    assert breath == pytest.approx(calm, rel=1e-5)
    storm = outer_heat_transfer(700.0, 0.05, Outside(air_speed=60.0))
    viscosity, k = air_properties(0.5 * (700.0 + 298.15))
    assert storm == pytest.approx(nusselt_cross_flow(60.0 * 0.05 / viscosity) * k / 0.05, rel=1e-3)


# --- balance -----------------------------------------------------------------------------------


@pytest.mark.parametrize("wall", ALL)
@pytest.mark.parametrize("bore", [0.03, 0.06])
@pytest.mark.parametrize("h", [20.0, 100.0, 400.0])
@pytest.mark.parametrize("T_gas", [500.0, 900.0, 1300.0])
def test_balance_agrees_with_an_independent_root(wall, bore, h, T_gas):
    found = wall_balance(h, T_gas, wall, bore)
    inner, outer, heat = independent_root(h, T_gas, wall, bore)
    assert found.inner == pytest.approx(inner, abs=1e-4)
    assert found.outer == pytest.approx(outer, abs=1e-4)
    assert found.heat == pytest.approx(heat, rel=1e-6)


def test_balance_takes_arrays():
    h, T = np.array([50.0, 100.0, 200.0]), np.array([[700.0], [1000.0]])
    found = wall_balance(h, T, WRAPPED, 0.05)
    assert found.inner.shape == (2, 3)
    one = wall_balance(100.0, 1000.0, WRAPPED, 0.05)
    assert found.outer[1, 1] == pytest.approx(float(one.outer), abs=1e-9)


def test_walls_solved_together_are_those_solved_alone_to_the_bit():
    """Some settle sooner than others, and some stand in wind: neither tells on the rest."""
    draw = np.random.default_rng(7)
    cases = [
        (sections_of(wall, draw.uniform(0.02, 0.09, n)), draw.uniform(5.0, 900.0, n),
         draw.uniform(260.0, 1400.0, n))
        for wall, n in zip(ALL * 2, (1, 3, 40, 7, 16, 90, 2, 33, 5, 8, 11, 64), strict=True)
    ]
    for case, state in zip(cases, wall_balances(cases), strict=True):
        (alone,) = wall_balances([case])
        assert [v.tobytes() for v in state] == [v.tobytes() for v in alone]
        (wall, bore, *_), h, T_gas = case
        root = [independent_root(a, b, wall, d)[1] for a, b, d in zip(h, T_gas, bore, strict=True)]
        assert state.outer == pytest.approx(root, abs=1e-6)


def test_wrapped_pipe_is_hotter_inside_and_cooler_outside():
    bare, wrapped = (wall_balance(100.0, 900.0, wall, 0.05) for wall in (BARE, WRAPPED))
    assert wrapped.inner > bare.inner + 50.0
    assert wrapped.outer < bare.outer - 50.0
    assert wrapped.heat < bare.heat


def test_coating_keeps_the_metal_cooler_than_the_surface_the_gas_sees():
    state = wall_balance(200.0, 1100.0, COATED, 0.05)
    assert state.outer < COATED.metal_temperature(state, 0.05) < state.inner
    bare = wall_balance(200.0, 1100.0, BARE, 0.05)
    assert COATED.metal_temperature(state, 0.05) < BARE.metal_temperature(bare, 0.05)


def test_more_wrap_more_inside_less_outside():
    thicknesses = [1e-3, 3e-3, 1e-2, 3e-2, 0.1, 0.2]
    states = [
        wall_balance(100.0, 900.0, BARE.replace(wrap=Wrap(thickness=t, conductivity=0.01)), 0.05)
        for t in thicknesses
    ]
    assert np.all(np.diff([float(s.inner) for s in states]) > 0.0)
    assert np.all(np.diff([float(s.outer) for s in states]) < 0.0)
    assert states[-1].inner > 890.0 and states[-1].outer < 310.0


def test_wall_follows_wind_gas_and_heat_transfer():
    winds = [BARE.replace(outside=Outside(air_speed=v)) for v in (0, 1, 3, 10, 30, 100)]
    assert np.all(np.diff([float(wall_balance(100, 900, w, 0.05).inner) for w in winds]) < 0.0)
    by_gas = wall_balance(100.0, np.linspace(400.0, 1400.0, 11), BARE, 0.05)
    assert np.all(np.diff(by_gas.inner) > 0.0) and np.all(np.diff(by_gas.heat) > 0.0)
    by_h = wall_balance(np.geomspace(1.0, 1e5, 11), 900.0, BARE, 0.05)
    assert np.all(np.diff(by_h.inner) > 0.0)
    assert by_h.inner[-1] == pytest.approx(900.0, abs=1.0)


def test_limits_of_no_heat_and_of_cold_gas():
    none = wall_balance(0.0, 900.0, BARE, 0.05)
    assert none.inner == pytest.approx(298.15, abs=1e-6) and none.heat == 0.0
    equal = wall_balance(100.0, 298.15, BARE, 0.05)
    assert (equal.inner, equal.heat) == (pytest.approx(298.15), pytest.approx(0.0, abs=1e-6))
    cold = wall_balance(100.0, 270.0, BARE, 0.05)
    assert 270.0 < cold.inner < cold.outer < 298.15 and cold.heat < 0.0


def test_heat_in_equals_heat_out():
    state = wall_balance(150.0, 1000.0, WRAPPED, 0.05)
    given = heat_to_outside(state.outer, WRAPPED.outer_diameter(0.05), WRAPPED)
    assert given == pytest.approx(float(state.heat), rel=1e-9)
    assert state.heat == pytest.approx(150.0 * pi * 0.05 * (1000.0 - state.inner), rel=1e-9)


def test_gauge_by_text_and_mass_of_a_tube():
    wall = Wall("16 gauge", "stainless 304")
    assert wall.thickness == gauge(16) == pytest.approx(1.651e-3)
    ring = pi * (0.05 + wall.thickness) * wall.thickness
    assert wall.mass_per_length(0.05) == pytest.approx(7900.0 * ring)
