"""The working gas against cantera, published numbers and thermodynamic identities."""

import cantera
import numpy as np
import pytest
from case_gas_properties import (
    AIR,
    BURNED,
    CANTERA_NAMES,
    FRESH,
    PART_INDEX,
    cantera_cp_and_h,
    compressed,
    flame_temperature,
    formation,
    library_flame,
    phase,
    set_moles,
    vapour_burning,
)
from from_python import from_python

from wavesim.errors import ConvergenceError, InputError
from wavesim.fields.description import describe, restore
from wavesim.gas.fuels import DRY_AIR, blend, burned_moles, fresh_moles, released_heat
from wavesim.gas.models import FUELS, EngineGas, Fuel, PerfectGas
from wavesim.gas.species import (
    ATOMIC_MASS,
    SPECIES,
    T_REFERENCE,
    cp,
    h,
    mixture_cp,
    mixture_h,
    mixture_mass,
    molar_mass,
    s,
)
from wavesim.kernels.thermo import energy_cv, gas_constant

STRENGTHS = (0.8, 1.0, 1.2)
NO_ARGON = {"O2": 1.0, "N2": 3.76}  # the air behind reference values TH-9 and TH-10


@pytest.fixture(scope="module")
def cantera_gas():
    return phase()


def assert_near_cantera(gas, part, phase):
    T = np.concatenate([np.arange(250.0, 296.0, 5.0), np.arange(300.0, 2501.0, 10.0)])
    moles = gas.parts[PART_INDEX[part]]
    cp_ref, h_ref = cantera_cp_and_h(phase, moles, T)
    rise_ref = h_ref - cantera_cp_and_h(phase, moles, [T_REFERENCE])[1]
    assert np.max(np.abs(gas.cp(T, *part) / cp_ref - 1.0)) < 0.005
    assert np.max(np.abs(gas.h(T, *part) / rise_ref - 1.0)) < 0.002


# --- species -----------------------------------------------------------------------------------


@pytest.mark.parametrize("name", SPECIES)
def test_species_data_are_those_of_cantera(name, cantera_gas):
    i = cantera_gas.species_index(CANTERA_NAMES.get(name, name))
    assert molar_mass(name) == pytest.approx(cantera_gas.molecular_weights[i] * 1e-3, rel=1e-9)
    for T in (200.0, 298.15, 999.0, 1001.0, 3000.0):
        cantera_gas.TP = T, cantera_gas.reference_pressure
        assert cp(name, T) == pytest.approx(cantera_gas.partial_molar_cp[i] * 1e-3, rel=1e-8)
        h_ref = cantera_gas.partial_molar_enthalpies[i] * 1e-3
        assert h(name, T) == pytest.approx(h_ref, rel=1e-8, abs=1e-2)
        s_ref = cantera_gas.standard_entropies_R[i] * cantera.gas_constant * 1e-3
        assert s(name, T) == pytest.approx(s_ref, rel=1e-8)


@pytest.mark.parametrize("name", SPECIES)
def test_species_properties_join_smoothly_where_the_two_ranges_meet(name):
    below, above = np.nextafter(1000.0, 0.0), 1000.0
    for f in (cp, h, s):
        assert f(name, below) == pytest.approx(f(name, above), rel=2e-5)


def test_rich_product_ratio_is_the_equilibrium_of_the_water_gas_reaction_near_1740_K():
    T = 1740.0
    gibbs = {name: h(name, T) - T * s(name, T) for name in ("CO2", "H2", "CO", "H2O")}
    change = gibbs["CO"] + gibbs["H2O"] - gibbs["CO2"] - gibbs["H2"]
    assert np.exp(-change / (8.314462618 * T)) == pytest.approx(3.5, rel=0.03)


def test_unknown_species_is_refused_with_the_nearest_name():
    with pytest.raises(InputError, match="species: name = 'etanol'.*did you mean 'ethanol'"):
        cp("etanol", 300.0)


# --- engine gas against cantera ------------------------------------------------------------------


def test_heat_capacity_and_enthalpy_of_air_agree_with_cantera(cantera_gas):
    assert_near_cantera(EngineGas(), AIR, cantera_gas)


@pytest.mark.parametrize("lam", STRENGTHS)
@pytest.mark.parametrize("fuel", FUELS)
def test_heat_capacity_and_enthalpy_of_burned_gas_agree_with_cantera(fuel, lam, cantera_gas):
    assert_near_cantera(EngineGas(fuel, lam), BURNED, cantera_gas)


@pytest.mark.parametrize("lam", (0.6, *STRENGTHS, 1.6))
@pytest.mark.parametrize("fuel", FUELS)
def test_heat_capacity_and_enthalpy_of_fresh_charge_agree_with_cantera(fuel, lam, cantera_gas):
    assert_near_cantera(EngineGas(fuel, lam), FRESH, cantera_gas)


@pytest.mark.parametrize("fuel", FUELS)
def test_gas_constant_of_every_part_is_exact(fuel, cantera_gas):
    gas = EngineGas(fuel, 0.9)
    for part, i in PART_INDEX.items():
        set_moles(cantera_gas, 300.0, gas.parts[i])
        exact = cantera.gas_constant / cantera_gas.mean_molecular_weight
        assert gas.R(*part) == pytest.approx(exact, rel=1e-8)


@pytest.mark.parametrize("fuel", FUELS)
@pytest.mark.parametrize("lam", (0.6, 1.0, 1.6))
def test_heat_capacity_is_positive_wherever_an_iteration_may_pass(fuel, lam):
    T = np.linspace(100.0, 5000.0, 491)
    for part in PART_INDEX:
        assert np.min(EngineGas(fuel, lam).cv(T, *part)) > 200.0


@pytest.mark.parametrize("lam", (0.6, 1.0, 1.6))
def test_burned_gas_keeps_a_sound_heat_capacity_at_flame_temperature(lam):
    gas = EngineGas("gasoline", lam)
    T = np.array([2600.0, 2800.0, 3000.0])
    assert gas.cp(T, *BURNED) == pytest.approx(mixture_cp(gas.parts[2], T), rel=0.015)


# --- published numbers ---------------------------------------------------------------------------

T_LIST = np.array([300.0, 500.0, 700.0, 1000.0, 1200.0, 1500.0, 1800.0, 2000.0])
GAMMA_BURNED = {
    "iso-octane": (8, 18, 290.64, [1.3709, 1.3467, 1.3236, 1.2934, 1.2804, 1.2665, 1.2571, 1.2524]),
    "propane": (3, 8, 293.55, [1.3710, 1.3475, 1.3244, 1.2940, 1.2809, 1.2667, 1.2571, 1.2523]),
    "methane": (1, 4, 300.88, [1.3713, 1.3493, 1.3265, 1.2957, 1.2821, 1.2673, 1.2571, 1.2521]),
}


def alkane(name, C, H):
    return Fuel(name=name, C=C, H=H, O=0, lower_heating_value=45e6)


@pytest.mark.parametrize(
    ("fuel", "ratio"),
    [
        ("iso-octane", 15.128),
        ("gasoline", 14.600),
        ("ethanol", 9.003),
        ("methanol", 6.472),
        ("E85", 9.802),
    ],
)
def test_stoichiometric_air_fuel_ratio_is_the_published_one(fuel, ratio):  # TH-8
    assert EngineGas(fuel).air_fuel_ratio == pytest.approx(ratio, rel=5e-4)
    assert EngineGas(fuel, 1.3).air_fuel_ratio == pytest.approx(1.3 * ratio, rel=5e-4)


@pytest.mark.parametrize(("C", "H", "ratio"), [(1, 1.85, 14.571), (1, 4, 17.235), (3, 8, 15.675)])
def test_air_fuel_ratio_follows_from_the_atoms_alone(C, H, ratio):  # TH-8
    assert alkane("fuel", C, H).stoichiometric_ratio() == pytest.approx(ratio, rel=5e-4)


@pytest.mark.parametrize(
    ("fuel", "value"),
    [("iso-octane", 44.34e6), ("methanol", 19.92e6), ("ethanol", 26.81e6), ("E85", 29.2e6)],
)
def test_lower_heating_value_is_the_published_one(fuel, value):  # TH-8
    assert FUELS[fuel].lower_heating_value == pytest.approx(value, rel=5e-3)


def test_heating_value_of_gasoline_is_that_of_its_surrogate_and_in_the_published_range():
    vapour = FUELS["gasoline"].vapour
    liquid = {"iso-octane": -259.3e3, "toluene": 12.2e3}  # heats of formation [J/mol]
    heat = 0.0
    for name, n in vapour.items():
        atoms = SPECIES[name].atoms
        products = atoms["C"] * h("CO2", T_REFERENCE) + atoms["H"] / 2 * h("H2O", T_REFERENCE)
        heat += n * (liquid[name] - products)
    value = FUELS["gasoline"].lower_heating_value
    assert value == pytest.approx(heat / mixture_mass(vapour), rel=1e-3)
    assert 42.7e6 <= value <= 44.0e6


@pytest.mark.parametrize("name", GAMMA_BURNED)
def test_gamma_and_gas_constant_of_burned_gas_match_the_reference(name):  # TH-9
    C, H, R, gamma = GAMMA_BURNED[name]
    gas = EngineGas(alkane(name, C, H), air=NO_ARGON)
    assert gas.R(*BURNED) == pytest.approx(R, rel=5e-5)
    assert gas.gamma(T_LIST, *BURNED) == pytest.approx(np.array(gamma), abs=0.003)


def test_composition_and_enthalpy_of_burned_iso_octane_match_the_reference():  # TH-9
    gas = EngineGas("iso-octane", air=NO_ARGON)
    moles = gas.parts[2]
    shares = {name: n / sum(moles.values()) for name, n in moles.items()}
    assert shares == pytest.approx({"CO2": 0.125, "H2O": 0.14063, "N2": 0.73438}, abs=1e-5)
    cp_ref = np.array([1074.2, 1128.9, 1188.8, 1281.4, 1327.0, 1381.1, 1421.3, 1442.0])
    assert gas.cp(T_LIST, *BURNED) == pytest.approx(cp_ref, rel=0.003)
    h_ref = np.array([222.29e3, 824.87e3, 1492.46e3, 2199.53e3])
    assert gas.h(np.array([500.0, 1000.0, 1500.0, 2000.0]), *BURNED) == pytest.approx(
        h_ref, rel=0.003
    )


def test_gamma_and_heat_capacity_of_air_match_the_reference():  # TH-10
    gamma_ref = [1.3992, 1.3845, 1.3638, 1.3340, 1.3223, 1.3095, 1.3007, 1.2964]
    cp_ref = np.array([1010.1, 1037.8, 1080.4, 1151.0, 1182.5, 1219.3, 1246.4, 1260.6])
    gas = EngineGas(air=NO_ARGON)
    assert gas.gamma(T_LIST) == pytest.approx(np.array(gamma_ref), abs=0.003)
    assert gas.cp(T_LIST) == pytest.approx(cp_ref, rel=0.003)
    assert EngineGas().gamma(T_LIST) == pytest.approx(np.array(gamma_ref), abs=0.003)


@pytest.mark.parametrize(
    ("ratio", "T2", "p2", "work"),
    [
        (8, 711.310, 17.7828e5, 295.368e3),
        (10, 770.680, 24.0838e5, 343.000e3),
        (12, 821.931, 30.8224e5, 384.829e3),
    ],
)
def test_isentropic_compression_of_simple_air_matches_the_reference(ratio, T2, p2, work):  # TH-4
    gas = EngineGas(air={"O2": 21, "N2": 79})
    T = compressed(gas, 320.0, ratio)
    assert T == pytest.approx(T2, rel=1e-3)
    assert 1e5 * ratio * T / 320.0 == pytest.approx(p2, rel=1e-3)
    assert gas.e(T) - gas.e(320.0) == pytest.approx(work, rel=2e-3)


@pytest.mark.parametrize("ratio", [8, 10, 12])
@pytest.mark.parametrize("part", [AIR, FRESH])
def test_isentropic_compression_agrees_with_cantera(ratio, part, cantera_gas):
    gas = EngineGas("gasoline")
    set_moles(cantera_gas, 320.0, gas.parts[PART_INDEX[part]])
    cantera_gas.SV = cantera_gas.s, cantera_gas.v / ratio
    assert compressed(gas, 320.0, ratio, part) == pytest.approx(cantera_gas.T, rel=1e-3)


def test_viscosity_follows_sutherland_and_conductivity_the_prandtl_number():  # HT-5
    gas = EngineGas()
    T = np.array([300.0, 600.0, 900.0, 1200.0])
    mu = np.array([1.8459e-5, 3.0162e-5, 3.8959e-5, 4.6249e-5])
    assert gas.viscosity(T) == pytest.approx(mu, rel=1e-4)
    k = np.array([0.02649, 0.04579, 0.06391, 0.08066])
    assert gas.conductivity(T) == pytest.approx(k, rel=0.06)
    assert PerfectGas().viscosity(T) == pytest.approx(mu, rel=1e-4)


# --- composition and heat ------------------------------------------------------------------------


def atoms_of(moles):
    return {
        element: sum(n * SPECIES[name].atoms.get(element, 0) for name, n in moles.items())
        for element in ATOMIC_MASS
    }


@pytest.mark.parametrize("lam", (0.6, 0.85, 1.0, 1.2, 1.6))
@pytest.mark.parametrize("fuel", FUELS)
def test_combustion_keeps_mass_and_every_element(fuel, lam):
    fuel = FUELS[fuel]
    fresh, burned = fresh_moles(fuel, lam), burned_moles(fuel, lam)
    mass = 1.0 + lam * fuel.stoichiometric_ratio()
    assert mixture_mass(fresh) == pytest.approx(mass, rel=1e-12)
    assert mixture_mass(burned) == pytest.approx(mass, rel=1e-12)
    # The vapour of gasoline is a surrogate whose H/C is rounded to 1.87.
    assert atoms_of(burned) == pytest.approx(atoms_of(fresh), rel=1e-4, abs=1e-9)
    assert min(burned.values()) > 0.0


def test_humidity_and_carbon_dioxide_of_the_air_pass_through_combustion():
    air = {"O2": 20.5, "N2": 76.4, "Ar": 0.9, "CO2": 0.04, "H2O": 2.16}
    for lam in (0.8, 1.0, 1.2):
        fuel = FUELS["ethanol"]
        fresh, burned = fresh_moles(fuel, lam, air), burned_moles(fuel, lam, air)
        assert atoms_of(burned) == pytest.approx(atoms_of(fresh), rel=1e-9)


def test_rich_products_obey_the_water_gas_constant_and_hold_no_oxygen():
    m = burned_moles(FUELS["iso-octane"], 0.8)
    assert m["CO"] * m["H2O"] / (m["CO2"] * m["H2"]) == pytest.approx(3.5, rel=1e-12)
    assert "O2" not in m


def test_composition_is_continuous_through_the_stoichiometric_point():
    rich, lean = (burned_moles(FUELS["gasoline"], 1.0 + d) for d in (-1e-9, 1e-9))
    for name in ("CO2", "H2O", "N2", "Ar"):
        assert rich[name] == pytest.approx(lean[name], rel=1e-7)


def test_lean_fuel_releases_its_whole_heating_value():
    fuel = FUELS["gasoline"]
    for lam in (1.0, 1.3):
        assert released_heat(fuel, lam) == fuel.lower_heating_value
        gas = EngineGas(fuel, lam)
        assert gas.heat_per_fresh == pytest.approx(gas.fuel_fraction * gas.heating_value, rel=1e-14)


@pytest.mark.parametrize("lam", (0.6, 0.8, 0.9))
@pytest.mark.parametrize("fuel", ("iso-octane", "ethanol", "methanol"))
def test_rich_heat_release_is_the_fall_of_formation_enthalpy(fuel, lam, cantera_gas):
    """With the heating value of the vapour, heat = h_fresh - h_burned at 298.15 K by cantera."""
    vapour = vapour_burning(fuel, cantera_gas)
    fresh, burned = fresh_moles(vapour, lam), burned_moles(vapour, lam)
    fall = formation(cantera_gas, fresh) - formation(cantera_gas, burned)
    assert EngineGas(vapour, lam).heat_per_fresh == pytest.approx(fall, rel=1e-6)


@pytest.mark.parametrize("lam", STRENGTHS)
@pytest.mark.parametrize("fuel", ("iso-octane", "ethanol", "methanol"))
def test_frozen_adiabatic_flame_temperature_agrees_with_cantera(fuel, lam, cantera_gas):
    gas = EngineGas(vapour_burning(fuel, cantera_gas), lam)
    ours = flame_temperature(gas)
    assert ours == pytest.approx(library_flame(gas), rel=2e-3)
    assert 1700.0 < ours < 2500.0


def test_blend_takes_the_mass_mean_of_heating_value_and_of_air_need():
    parts = FUELS["ethanol"], FUELS["gasoline"]
    half = blend("half", dict.fromkeys(parts, 0.5))
    w = np.array([fuel.density for fuel in parts]) / sum(fuel.density for fuel in parts)
    heats = [fuel.lower_heating_value for fuel in parts]
    ratios = [fuel.stoichiometric_ratio() for fuel in parts]
    assert half.lower_heating_value == pytest.approx(w @ heats, rel=1e-12)
    assert half.stoichiometric_ratio() == pytest.approx(w @ ratios, rel=1e-12)
    assert half.formula_mass == pytest.approx(half.vapour_molar_mass, rel=1e-4)


def test_dry_air_has_the_published_molar_mass_and_nitrogen_ratio():
    assert mixture_mass(DRY_AIR) / sum(DRY_AIR.values()) == pytest.approx(28.96e-3, rel=2e-4)
    assert (DRY_AIR["N2"] + DRY_AIR["Ar"]) / DRY_AIR["O2"] == pytest.approx(3.773, rel=1e-4)


# --- identities of both gases --------------------------------------------------------------------

GASES = [PerfectGas(gamma=1.33, R=290.0), EngineGas("gasoline", 0.9), EngineGas("methanol", 1.2)]
GASES += [EngineGas("E85", 0.6), EngineGas("ethanol", 1.6)]


def short_name(gas):
    return "perfect gas" if isinstance(gas, PerfectGas) else f"{gas.fuel.name} {gas.lam}"


@pytest.mark.parametrize("gas", GASES, ids=short_name)
def test_temperature_of_the_energy_of_a_temperature_is_that_temperature(gas):
    T = np.linspace(100.0, 5000.0, 99)[:, None]
    yf, yb = np.array([0.0, 1.0, 0.0, 0.3]), np.array([0.0, 0.0, 1.0, 0.5])
    assert gas.temperature(gas.e(T, yf, yb), yf, yb) == pytest.approx(
        np.broadcast_to(T, (99, 4)), rel=1e-10
    )
    assert np.ndim(gas.temperature(gas.e(900.0, 0.2, 0.1), 0.2, 0.1)) == 0


@pytest.mark.parametrize("gas", GASES, ids=short_name)
def test_relations_of_an_ideal_gas_hold(gas):
    T, yf, yb = np.array([280.0, 700.0, 1500.0, 2600.0]), 0.25, 0.6
    R = gas.R(yf, yb)
    assert gas.cp(T, yf, yb) - gas.cv(T, yf, yb) == pytest.approx(np.full(4, R), rel=1e-12)
    assert gas.h(T, yf, yb) - gas.e(T, yf, yb) == pytest.approx(R * T, rel=1e-10)
    assert gas.gamma(T, yf, yb) == pytest.approx(gas.cp(T, yf, yb) / gas.cv(T, yf, yb))
    assert gas.sound_speed(T, yf, yb) ** 2 == pytest.approx(gas.gamma(T, yf, yb) * R * T)
    assert gas.density(1e5, T, yf, yb) * R * T == pytest.approx(np.full(4, 1e5))
    step = 0.01
    slope = (gas.e(T + step, yf, yb) - gas.e(T - step, yf, yb)) / (2 * step)
    assert gas.cv(T, yf, yb) == pytest.approx(slope, rel=1e-6)


@pytest.mark.parametrize("gas", GASES, ids=short_name)
def test_table_holds_the_same_gas_as_plain_numbers(gas):
    kind, R, coef = gas.table()
    assert kind == (0 if isinstance(gas, PerfectGas) else 1)
    assert R.shape == (3,) and coef.shape == (3, 8)
    assert R.dtype == coef.dtype == np.float64 and coef.flags.c_contiguous
    for part, i in PART_INDEX.items():
        assert R[i] == pytest.approx(gas.R(*part), rel=1e-15)
        e = sum(c * 0.85**k for k, c in enumerate(coef[i]))
        assert e == pytest.approx(gas.e(850.0, *part), rel=1e-12)


@pytest.mark.parametrize("gas", GASES, ids=short_name)
def test_kernels_see_the_same_gas(gas):
    _, R, coef = gas.table()
    for T, yf, yb in [(320.0, 1.0, 0.0), (950.0, 0.1, 0.7), (2400.0, 0.0, 1.0)]:
        e, cv = from_python(energy_cv)(coef, T, yf, yb)
        assert e == pytest.approx(gas.e(T, yf, yb), rel=1e-11)
        assert cv == pytest.approx(gas.cv(T, yf, yb), rel=1e-11)
        assert from_python(gas_constant)(R, yf, yb) == pytest.approx(gas.R(yf, yb), rel=1e-14)


def test_properties_of_a_mixture_are_the_mass_mean_of_its_parts():
    gas, T = EngineGas(), 640.0
    for f in (gas.e, gas.h, gas.cv, gas.cp):
        mean = 0.2 * f(T) + 0.3 * f(T, *FRESH) + 0.5 * f(T, *BURNED)
        assert f(T, 0.3, 0.5) == pytest.approx(mean, rel=1e-12)


def test_enthalpy_of_every_part_is_zero_at_the_reference_temperature():
    for part in PART_INDEX:
        assert abs(EngineGas().h(T_REFERENCE, *part)) < 1e-6


def test_energy_above_the_range_of_the_fit_raises_and_names_the_value():
    gas = EngineGas()
    with pytest.raises(ConvergenceError, match=r"e = 5e\+07 J/kg.*100 K and 5000 K"):
        gas.temperature([2e5, 5e7])
    with pytest.raises(ConvergenceError, match="nan"):
        gas.temperature(np.nan)


def test_perfect_gas_keeps_its_given_values():
    gas = PerfectGas(1.4, 287.0, heat_per_fresh=2.7e6, fuel_fraction=0.06)
    assert gas.gamma() == pytest.approx(1.4, rel=1e-15) and gas.R() == 287.0
    assert gas.cv() == pytest.approx(717.5) and gas.cp(300.0) == pytest.approx(1004.5)
    assert gas.e(300.0) == pytest.approx(717.5 * 300.0)
    assert gas.sound_speed(300.0) == pytest.approx(np.sqrt(1.4 * 287.0 * 300.0))
    assert (gas.heat_per_fresh, gas.fuel_fraction) == (2.7e6, 0.06)
    assert gas == PerfectGas(1.4, 287.0, heat_per_fresh=2.7e6, fuel_fraction=0.06)
    assert gas != PerfectGas(1.4, 287.0) and hash(gas) != hash(PerfectGas(1.4, 287.0))


@pytest.mark.parametrize("gas", GASES[1:], ids=short_name)
def test_engine_gas_survives_the_round_trip_through_plain_data(gas):
    assert restore(describe(gas)) == gas
    assert gas.replace(lam=1.1).lam == 1.1


# --- bad input -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("field", "value", "sentence"),
    [
        ("gamma", 1.0, r"gamma = 1 is outside .*1 \(excluded\) to 2"),
        ("gamma", float("nan"), "gamma = nan .*not a finite number"),
        ("gamma", "1.4", "gamma = '1.4' .*not a number"),
        ("R", 0.0, r"R = 0 J/\(kg K\) is outside .* to 10000 J/\(kg K\)"),
        ("heat_per_fresh", -1.0, "heat_per_fresh = -1 J/kg is outside .*0 J/kg to"),
        ("fuel_fraction", 1.5, "fuel_fraction = 1.5 kg/kg is outside .*0 kg/kg to 1 kg/kg"),
    ],
)
def test_perfect_gas_refuses_what_cannot_be(field, value, sentence):
    with pytest.raises(InputError, match=f"PerfectGas: {sentence}"):
        PerfectGas(**{field: value})


@pytest.mark.parametrize(
    ("field", "value", "sentence"),
    [
        ("lam", 14.7, r"lam = 14.7 is outside .*0.6 to 1.6"),
        ("lam", True, r"lam = True is not a number"),
        ("fuel", "gasolin", "fuel = 'gasolin' must be one of 'gasoline'.*did you mean 'gasoline'"),
        ("fuel", None, "fuel = None must be one of 'gasoline'"),
        ("air", {"N2": 1.0}, "air = .*holds no O2, more than 0 mol"),
        ("air", {"O2": -1.0}, r"air\['O2'\] = -1 mol is outside .*0 mol \(excluded\) to"),
        ("air", {"O3": 1.0}, "air species = 'O3' must be one of 'N2'"),
        ("air", {}, "air is empty"),
        ("air", "O2", "air = 'O2' must map species names to moles"),
        ("air", [21.0, 79.0], r"air = \[21.0, 79.0\] must map species names to moles"),
        ("air", 21.0, "air = 21.0 must map species names to moles"),
    ],
)
def test_engine_gas_refuses_what_cannot_be(field, value, sentence):
    with pytest.raises(InputError, match=f"EngineGas: {sentence}"):
        EngineGas(**{field: value})


@pytest.mark.parametrize(
    ("field", "value", "sentence"),
    [
        ("C", -1, r"C = -1 is outside .*0 to 100"),
        ("O", 40, r"C = 8, H = 18, O = 40 atoms need no oxygen"),
        ("lower_heating_value", 43.0, "lower_heating_value = 43 J/kg is outside .*1000000 J/kg"),
        ("density", 0.745, "density = 0.745 kg/m3 is outside .*1 kg/m3 to 2000 kg/m3"),
        ("vapour", {"octane": 1.0}, "vapour species = 'octane' .*did you mean 'iso-octane'"),
        ("vapour", {"ethanol": 0.0}, r"vapour\['ethanol'\] = 0 mol is outside"),
    ],
)
def test_fuel_refuses_what_cannot_be(field, value, sentence):
    with pytest.raises(InputError, match=f"Fuel: {sentence}"):
        FUELS["iso-octane"].replace(**{field: value})


def test_blend_refuses_a_volume_that_is_not_positive():
    with pytest.raises(InputError, match=r"blend: volume of ethanol = 0 is outside"):
        blend("none", {FUELS["ethanol"]: 0.0})


def test_mixture_enthalpy_is_the_mean_of_the_molar_ones():
    moles = {"N2": 2.0, "CO2": 1.0}
    mean = (2.0 * h("N2", 800.0) + h("CO2", 800.0)) / mixture_mass(moles)
    assert mixture_h(moles, 800.0) == pytest.approx(mean, rel=1e-14)
