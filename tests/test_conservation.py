"""What must hold exactly, whatever the mesh: gas at rest stays, mass and energy are kept.

The laws need no source; the bounds are those of round-off.
"""

import numpy as np
import pytest
from case_conservation import (
    BURSTING,
    CLOSED,
    GASES,
    MODELS,
    OPEN,
    REST,
    VIOLENT,
    books,
    cooled_audit,
    engine_audit,
    even,
    hot_and_cold,
    mach_after_rest,
    many_parts,
    open_audit,
    run_model,
)

import wavesim as ws
from wavesim.arrays.compile import compile_network
from wavesim.kernels import flat as f


@pytest.mark.parametrize("gas", GASES)
@pytest.mark.parametrize("fill", ["air", "burned"])
@pytest.mark.parametrize("junction", MODELS)
def test_gas_at_rest_stays_at_rest_in_any_network(gas, fill, junction):
    """10 000 steps through cones, steps, junctions, volumes, holes and open ends."""
    net = many_parts(junction, OPEN, (REST, REST))
    assert mach_after_rest(net, even(net, fill), GASES[gas]) < 1e-12


@pytest.mark.parametrize("junction", MODELS)
def test_hot_and_cold_gas_at_one_pressure_stay_at_rest(junction):
    """Every duct its own temperature and mixture: nothing flows where no pressure pushes."""
    net = many_parts(junction, OPEN, (REST, REST))
    assert mach_after_rest(net, hot_and_cold(net), GASES["engine"]) < 1e-12


@pytest.mark.parametrize("gas", GASES)
@pytest.mark.parametrize("junction", MODELS)
def test_closed_network_keeps_mass_energy_and_composition(gas, junction):
    """Thousands of steps of shocks between 0.5 and 5 bar, friction on, walls adiabatic."""
    net = many_parts(junction, CLOSED, BURSTING)
    model = compile_network(net, GASES[gas], ws.Settings(), initial=VIOLENT)
    before = books(model)
    status, steps = run_model(model, 0.03, 100_000)
    assert status == f.OK and steps > 1000
    assert books(model) == pytest.approx(before, rel=1e-12)


@pytest.mark.parametrize("gas", GASES)
@pytest.mark.parametrize("junction", MODELS)
def test_order_of_the_ducts_changes_nothing(gas, junction):
    results = []
    names = list(VIOLENT)
    for order in (names, names[::-1], sorted(names)):
        net = many_parts(junction, CLOSED, BURSTING, order)
        results.append(
            ws.simulate(net, 5e-3, gas=GASES[gas], initial=VIOLENT, samples=0).final
        )
    for name in names:
        for quantity in ("rho", "u", "p", "T"):
            first = results[0][name][quantity]
            for other in results[1:]:
                assert other[name][quantity] == pytest.approx(
                    first, rel=1e-10, abs=1e-10 * np.abs(first).max()
                )


@pytest.mark.parametrize("seed", range(12))
def test_any_start_leaves_a_physical_state_and_closed_books(seed):
    """Random pressures of 0.4 to 8 bar, 280 to 1500 K, 150 m/s and three mixed gases in every duct.

    Density and pressure stay positive, mass fractions between 0 and 1 and their sum too.
    """
    rng = np.random.default_rng(seed)

    def state():
        fresh, burned, _ = rng.dirichlet((0.5, 0.5, 0.5))
        return (
            10.0 ** rng.uniform(4.6, 5.9), rng.uniform(-150.0, 150.0), rng.uniform(280.0, 1500.0),
            (fresh, burned),
        )

    boxes = [
        {"pressure": 10.0 ** rng.uniform(4.6, 5.9), "temperature": rng.uniform(280.0, 1500.0),
         "fill": fill}
        for fill in ("fresh", "burned")
    ]
    net = many_parts(MODELS[seed % 2], OPEN, boxes)
    start = {name: state() for name in net.ducts}
    gas = tuple(GASES.values())[seed // 2 % 2]
    result = ws.simulate(net, 0.01, gas=gas, initial=start, samples=0)
    assert abs(result.audit["mass_error"]) < 1e-12
    assert abs(result.audit["energy_error"]) < 1e-12
    for duct in result.final.values():
        assert duct["rho"].min() > 0.0 and duct["p"].min() > 0.0 and duct["T"].min() > 100.0
        for share in (duct["fresh"], duct["burned"], 1.0 - duct["fresh"] - duct["burned"]):
            assert share.min() > -1e-12 and share.max() < 1.0 + 1e-12


def test_walls_give_what_the_gas_takes_up():
    """Hot gas in a cold closed pipe: the ledger of `simulate` closes with the heat in it."""
    audit = cooled_audit()
    assert audit["wall_heat"] < -0.01 * audit["energy_before"]
    assert abs(audit["mass_error"]) < 1e-12
    assert abs(audit["energy_error"]) < 1e-12


@pytest.mark.parametrize("junction", MODELS)
def test_open_network_closes_its_ledger(junction):
    audit = open_audit(junction)
    assert abs(audit["mass_after"] / audit["mass_before"] - 1.0) > 0.1  # something has left
    assert abs(audit["mass_error"]) < 1e-12
    assert abs(audit["energy_error"]) < 1e-12


@pytest.mark.parametrize("rpm", [2500.0, 6000.0])
def test_engine_cycle_closes_its_ledger(rpm):
    """All that enters, burns, leaves or passes the walls in one converged cycle of the example."""
    audit = engine_audit(rpm)
    assert abs(audit["mass_error"]) < 1e-10
    assert abs(audit["energy_error"]) < 1e-10
