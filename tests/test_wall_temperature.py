"""Wall temperatures that are solved together with the gas, against an independent root.

The balance of one metre of wall is solved in `case_wall_temperature.independent_root` by scipy for
the heat instead of the temperature; here it is met by runs: steady flow with the correlation of
Gnielinski (1976) inside, and an engine with the heat that its pulsating flow has passed.
"""

import pytest
from case_wall_temperature import (
    COARSE,
    RPM,
    WALLS,
    engine_run,
    engine_walls,
    header,
    hot_flow,
    independent_root,
    study,
)
from marches import AIR, P0
from test_jobs import SINGLE

import wavesim as ws
from wavesim.arrays.compile import compile_network
from wavesim.kernels import flat as f
from wavesim.march.cycles import settle, settled
from wavesim.march.walltemp import find_solved_walls

# steady flow ----------------------------------------------------------------------------------


@pytest.mark.parametrize("name", WALLS)
def test_wall_in_steady_flow_settles_where_an_independent_root_lies(name):
    """Inner and outer surface within 1 K along the pipe, with the correlation at the cells' state.
    """
    flow = hot_flow(WALLS[name])
    state, T = flow.solved.state, flow.temperature
    for i in range(2, len(T) - 2, 8):
        inner, outer, heat = independent_root(flow.coefficient[i], T[i], WALLS[name], 0.04)
        assert state.inner[i] == pytest.approx(inner, abs=1.0)
        assert state.outer[i] == pytest.approx(outer, abs=1.0)
        assert state.heat[i] == pytest.approx(heat, rel=5e-3)


def test_wall_passes_on_the_heat_that_the_gas_gives_up():
    """Enthalpy between inlet and outlet, the heat books of the march, and the sum over the wall."""
    flow = hot_flow(WALLS["bare"])
    lo, hi = flow.model.ducts["d"]
    through_wall = float((flow.solved.state.heat * 0.02).sum())
    assert flow.given == pytest.approx(through_wall, rel=5e-3)
    given_up = -flow.model.record.wall[f.GAIN, lo:hi].sum() / 0.05
    assert given_up == pytest.approx(through_wall, rel=2e-3)


def test_wall_stays_as_cold_as_the_air_in_a_march_without_an_engine():
    cold = ws.Wall(0.0015, outside=ws.Outside(temperature=260.0))
    net = ws.Network({"d": ws.Pipe(0.3, 0.04, wall=cold)},
                     {"a": ws.ClosedEnd("d.start"), "b": ws.ClosedEnd("d.end")})
    final = ws.simulate(
        net, 20.0, gas=AIR, initial={"d": (P0, 0.0, 400.0, "air")}, samples=0,
        settings=ws.Settings(cell_length=0.1),
    ).final["d"]
    assert 259.9 < final["T"].mean() < 300.0


# an engine ------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["bare", "wrapped"])
def test_wall_of_an_engine_is_the_root_of_its_balance(name):
    """The temperatures of the last cycle within 1 K of the root with that cycle's heat: the wall
    has come to rest together with the gas.
    """
    point, handed = engine_run(name)
    assert point.converged
    for cell, bore, h, gas in engine_walls(name, every=4):
        inner, _, _ = independent_root(h, gas, WALLS[name], bore)
        assert handed.before[cell] == pytest.approx(inner, abs=1.0)
        assert 20.0 < h < 2000.0 and 700.0 < gas < 1500.0


def test_wrapped_exhaust_is_hotter_inside_and_cooler_outside():
    """And the gas keeps more of its heat."""
    bare, wrapped = (engine_run(name)[0].meta["walls"] for name in ("bare", "wrapped"))
    for duct in ("primary 1", "collector"):
        inside, outside = (
            [walls[duct][0][key] for walls in (bare, wrapped)]
            for key in ("inner_mean", "outer_mean")
        )
        assert inside[1] > inside[0] + 50.0
        assert outside[1] < outside[0] - 50.0
        assert wrapped[duct][0]["heat"] < bare[duct][0]["heat"]
    ends = [
        engine_run(name)[0].trace("temperature", "collector", 0.28).values
        for name in ("bare", "wrapped")
    ]
    assert ends[1].mean() > ends[0].mean() + 5.0


@pytest.mark.parametrize("name", ["bare", "wrapped"])
def test_solved_walls_cost_at_most_a_few_more_cycles(name):
    """Four more than the same exhaust with its final mean temperature given beforehand."""
    point, _ = engine_run(name)
    mean = point.meta["walls"]["primary 1"][0]["inner_mean"]
    fixed = ws.run_point(
        study().engine, header(study(), temperature=mean), RPM, settings=COARSE
    )
    assert fixed.converged
    assert point.audit["cycles"] <= fixed.audit["cycles"] + 4
    assert point.torque == pytest.approx(fixed.torque, rel=0.01)


def test_books_close_with_heat_through_the_walls():
    for name in ("bare", "wrapped"):
        point, _ = engine_run(name)
        assert abs(point.audit["mass_error"]) < 1e-10
        assert abs(point.audit["energy_error"]) < 1e-10
        assert point.audit["wall_heat"] < 0.0


# packings -------------------------------------------------------------------------------------


def packed(engine, exhaust, rpm, settings, start=None):
    """Fibres [K], heat they take up and pass on [W] by cell, and the Cycles of a run.

    `start` [K]: of the fibres at first.
    """
    model = compile_network(
        exhaust.network(engine), ws.EngineGas(engine.fuel, engine.air_fuel_lambda), settings,
        engine=engine, rpm=rpm,
    )
    walls = find_solved_walls(model)
    (packing,) = model.packings
    if start is not None:
        model.net.cells[f.WALL, packing.cells] = start
    cycles = settle(model, walls, settings, rpm=rpm, fuel_flow=None, stop=None)
    T = model.net.cells[f.WALL, packing.cells].copy()
    taken = -model.record.wall[f.GAIN, packing.cells] * rpm / 120.0
    return T, taken, packing.loss * (T - packing.beyond), cycles


def test_fibres_come_to_rest_where_they_pass_on_what_they_take_up():
    """In every cell, from cold and from hot fibres; what passes them goes through the packing to
    the case and to the air.
    """
    found = study()
    settings = ws.Settings(cell_length=0.04, tolerance=1e-6, min_cycles=60, max_cycles=60)
    temperatures = []
    for start in (400.0, 1000.0):
        T, taken, passed, _ = packed(
            found.engine, found.exhausts["complete, 51 mm"], 2000.0, settings, start
        )
        assert taken == pytest.approx(passed, rel=2e-2)
        temperatures.append(T)
    assert temperatures[0] == pytest.approx(temperatures[1], abs=0.05)


@pytest.mark.parametrize(("case", "rpm"), [(0.15, 3000.0), (0.15, 5000.0)])
def test_fibres_in_the_large_case_of_a_single_settle(case, rpm):
    """The gas that they hold takes ten times the heat by which a change moves their balance, and
    the tail breathes in cold air: full steps swing there for ever.
    """
    silencer = ws.PerforatedSilencer(
        0.45, 0.042, case_diameter=case, porosity=0.3, packing=ws.Packing(bulk_density=100.0)
    )
    exhaust = ws.Exhaust(primary=ws.Pipe(0.5, 0.042, wall_temperature=700.0), merge=None,
                         tailpipe=(silencer, ws.Pipe(0.2, 0.042, wall_temperature=600.0)))
    settings = ws.Settings(cell_length=0.06, tolerance=1e-4)
    _, taken, passed, cycles = packed(SINGLE, exhaust, rpm, settings)
    assert settled(cycles.history, settings.tolerance) and len(cycles.history) < 50
    assert taken == pytest.approx(passed, abs=0.01 * abs(taken).sum())
