"""What must hold exactly, whatever the mesh: gas at rest stays, mass and energy are kept.

The laws need no source; the bounds are those of round-off.
"""

import numpy as np
import pytest
from marches import P0, T0, outside

import wavesim as ws
from wavesim.compile import compile_network
from wavesim.kernels import flat as f
from wavesim.kernels.march import march
from wavesim.run import contents

GASES = [ws.PerfectGas(), ws.EngineGas()]
IDS = ["perfect", "engine"]
MODELS = ["momentum", "pressure"]


def many_parts(model, ends, boxes, order=None):
    """A network with every kind of node: cone, step, junction, volumes, orifice, throttle.

    `ends` are the nodes at the three outer ends, `boxes` the start states of the two volumes.
    """
    sizes = {
        "taper": (0.3, 0.03, 0.05), "wide": (0.2, 0.06, 0.06), "left": (0.2, 0.04, 0.04),
        "right": (0.15, 0.035, 0.035), "before": (0.2, 0.04, 0.04), "behind": (0.2, 0.04, 0.04),
        "short": (0.1, 0.04, 0.04), "horn": (0.2, 0.04, 0.045),
    }
    ducts = {
        name: ws.Pipe(sizes[name][0], sizes[name][1], end_diameter=sizes[name][2],
                      cell_length=0.015, wall_temperature=None)
        for name in order or sizes
    }
    nodes = {
        "step": ws.AreaStep(("taper.end", "wide.start")),
        "merge": ws.Junction(
            ("wide.end", "left.start", "right.start"), model=model, angles_deg=(180, 20, -75)
        ),
        "box": ws.Volume(("left.end", "before.start"), volume=2e-3,
                         discharge_coefficient=(0.8, 1.0), **boxes[0]),
        "hole": ws.Orifice(("before.end", "behind.start"), diameter=0.02),
        "plate": ws.Throttle(("behind.end", "short.start"), diameter=0.04, plate_angle_deg=40.0),
        "plenum": ws.Volume(("short.end", "horn.start"), volume=1e-3, **boxes[1]),
        **ends,
    }
    return ws.Network(ducts, nodes)


REST = {"pressure": P0, "temperature": T0}
OPEN = {
    "wall": ws.ClosedEnd("taper.start"),
    "mouth": ws.OpenEnd("horn.end", ambient=outside()),
    "nozzle": ws.OpenEnd("right.end", diameter=0.02, ambient=outside()),
}
CLOSED = {
    "wall": ws.ClosedEnd("taper.start"),
    "cap": ws.ClosedEnd("horn.end"),
    "plug": ws.ClosedEnd("right.end"),
}
BURSTING = (
    {"pressure": 1.5e5, "temperature": 400.0, "fill": "fresh"},
    {"pressure": 4e5, "temperature": 900.0, "fill": "burned"},
)
VIOLENT = {
    "taper": (5e5, 0.0, 1200.0, "burned"), "wide": (1e5, 0.0, 300.0, "air"),
    "left": (2e5, 100.0, 500.0, (0.3, 0.4)), "right": (0.5e5, -80.0, 300.0, "fresh"),
    "before": (3e5, 0.0, 700.0, "burned"), "behind": (1e5, 0.0, 300.0, "air"),
    "short": (1e5, 0.0, 300.0, "fresh"), "horn": (2e5, 0.0, 800.0, "burned"),
}


def run(model, t_end, max_steps):
    status, steps = march(
        model.net, model.state, model.work, model.record, model.inner, model.face, t_end, max_steps
    )
    return status, steps


@pytest.mark.parametrize("gas", GASES, ids=IDS)
@pytest.mark.parametrize("fill", ["air", "burned"])
@pytest.mark.parametrize("junction", MODELS)
def test_gas_at_rest_stays_at_rest_in_any_network(gas, fill, junction):
    """10 000 steps through cones, steps, junctions, volumes, holes and open ends."""
    net = many_parts(junction, OPEN, (REST, REST))
    start = dict.fromkeys(net.ducts, (P0, 0.0, T0, fill))
    model = compile_network(net, gas, ws.Settings(), initial=start)
    _, steps = run(model, 1e9, 10_000)
    assert steps == 10_000
    for lo, hi in model.ducts.values():
        u = model.state.U[f.M, lo:hi] / model.state.U[f.R, lo:hi]
        assert np.abs(u / model.work.W[f.C, lo:hi]).max() < 1e-12


@pytest.mark.parametrize("junction", MODELS)
def test_hot_and_cold_gas_at_one_pressure_stay_at_rest(junction):
    """Every duct its own temperature and mixture: nothing flows where no pressure pushes."""
    net = many_parts(junction, OPEN, (REST, REST))
    mixtures = [(0.0, 0.0), (0.0, 1.0), (1.0, 0.0), (0.3, 0.4)]
    start = {
        name: (P0, 0.0, 300.0 + 100.0 * i, mixtures[i % 4]) for i, name in enumerate(net.ducts)
    }
    model = compile_network(net, ws.EngineGas(), ws.Settings(), initial=start)
    run(model, 1e9, 10_000)
    for lo, hi in model.ducts.values():
        u = model.state.U[f.M, lo:hi] / model.state.U[f.R, lo:hi]
        assert np.abs(u / model.work.W[f.C, lo:hi]).max() < 1e-12


def books(model):
    """Mass, energy, fresh charge and burned gas in the whole network."""
    fresh, burned = model.state.store[:, f.SF].sum(), model.state.store[:, f.SB].sum()
    for lo, hi in model.ducts.values():
        vol = model.net.cells[f.VOL, lo:hi]
        fresh += vol @ model.state.U[f.Y1, lo:hi]
        burned += vol @ model.state.U[f.Y2, lo:hi]
    return np.array([*contents(model), fresh, burned])


@pytest.mark.parametrize("gas", GASES, ids=IDS)
@pytest.mark.parametrize("junction", MODELS)
def test_closed_network_keeps_mass_energy_and_composition(gas, junction):
    """Thousands of steps of shocks between 0.5 and 5 bar, friction on, walls adiabatic."""
    net = many_parts(junction, CLOSED, BURSTING)
    model = compile_network(net, gas, ws.Settings(), initial=VIOLENT)
    before = books(model)
    status, steps = run(model, 0.03, 100_000)
    assert status == f.OK and steps > 1000
    assert books(model) == pytest.approx(before, rel=1e-12)


@pytest.mark.parametrize("gas", GASES, ids=IDS)
@pytest.mark.parametrize("junction", MODELS)
def test_order_of_the_ducts_changes_nothing(gas, junction):
    results = []
    names = list(VIOLENT)
    for order in (names, names[::-1], sorted(names)):
        net = many_parts(junction, CLOSED, BURSTING, order)
        results.append(
            ws.simulate(net, 5e-3, gas=gas, initial=VIOLENT, samples=0).final
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
    result = ws.simulate(net, 0.01, gas=GASES[seed // 2 % 2], initial=start, samples=0)
    assert abs(result.audit["mass_error"]) < 1e-12
    assert abs(result.audit["energy_error"]) < 1e-12
    for duct in result.final.values():
        assert duct["rho"].min() > 0.0 and duct["p"].min() > 0.0 and duct["T"].min() > 100.0
        for share in (duct["fresh"], duct["burned"], 1.0 - duct["fresh"] - duct["burned"]):
            assert share.min() > -1e-9 and share.max() < 1.0 + 1e-9


def test_walls_give_what_the_gas_takes_up():
    """Hot gas in a cold closed pipe: the ledger of `simulate` closes with the heat in it."""
    net = ws.Network(
        {"d": ws.Pipe(1.0, 0.04, wall_temperature=400.0)},
        {"a": ws.ClosedEnd("d.start"), "b": ws.ClosedEnd("d.end")},
    )
    start = {"d": lambda x: (np.where(x < 0.5, 3e5, 1e5), 0.0 * x, 1000.0 + 0.0 * x, "burned")}
    audit = ws.simulate(net, 0.05, gas=ws.EngineGas(), initial=start, samples=0).audit
    assert audit["wall_heat"] < -0.01 * audit["energy_before"]
    assert abs(audit["mass_error"]) < 1e-12
    assert abs(audit["energy_error"]) < 1e-12


@pytest.mark.parametrize("junction", MODELS)
def test_open_network_closes_its_ledger(junction):
    net = many_parts(junction, OPEN, BURSTING)
    audit = ws.simulate(net, 0.02, gas=ws.EngineGas(), initial=VIOLENT, samples=0).audit
    assert abs(audit["mass_after"] / audit["mass_before"] - 1.0) > 0.1  # something has left
    assert abs(audit["mass_error"]) < 1e-12
    assert abs(audit["energy_error"]) < 1e-12


@pytest.mark.parametrize("rpm", [2500.0, 6000.0])
def test_engine_cycle_closes_its_ledger(rpm):
    """All that enters, burns, leaves or passes the walls in one converged cycle of the example."""
    study = ws.load(ws.demo_path())
    exhaust = next(iter(study.exhausts.values()))
    point = ws.run_point(
        study.engine, exhaust, rpm, settings=ws.Settings(cell_length=0.03, tolerance=2e-3)
    )
    assert point.converged
    assert abs(point.audit["mass_error"]) < 1e-10
    assert abs(point.audit["energy_error"]) < 1e-10
