"""Wall temperatures that are solved together with the gas, against an independent root.

The balance of one metre of wall is solved in `test_walls.independent_root` by scipy for the heat
instead of the temperature; here it is met by runs: steady flow with the correlation of Gnielinski
(1976) inside, and an engine with the heat that its pulsating flow has passed.
"""

import numpy as np
import pytest
from marches import AIR, P0, cut, endless
from test_losses import PRANDTL, R, darcy
from test_walls import independent_root

import wavesim as ws
from wavesim import run
from wavesim.compile import compile_network
from wavesim.kernels import flat as f
from wavesim.walltemp import find_solved_walls, update_walls

BARE = ws.Wall("16 gauge", "mild steel", outside="dyno-cell fan")
WRAPPED = BARE.replace(wrap=ws.Wrap(thickness=0.006))
COATED = BARE.replace(coating=ws.Coating(thickness=0.0005))
COARSE = ws.Settings(cell_length=0.03, sample_deg=2.0)


# steady flow ----------------------------------------------------------------------------------


def hot_flow(wall, bore=0.04, rounds=12, chunk=0.05):
    """Hot steady flow through a walled pipe; the wall is renewed after every chunk of time.

    Returns the model, the solved walls, and the heat transfer coefficient and gas temperature of
    each cell by the correlation.
    """
    net = ws.Network(
        {"d": ws.Pipe(1.0, bore, wall=wall, cell_length=0.02)},
        {"in": endless("d.start", 1.3e5, 1000.0), "out": cut("d.end")},
    )
    start = {"d": (1.1e5, 100.0, 1000.0, "air")}
    model = compile_network(net, AIR, ws.Settings(), initial=start)
    walls = find_solved_walls(model)
    for i in range(1, rounds + 1):
        model.record.wall[:] = 0.0
        run.march_to(model, i * chunk, 1_000_000)
        update_walls(model, walls, chunk)
    lo, hi = model.ducts["d"]
    T, U = model.state.T[lo:hi], model.state.U[:, lo:hi]
    mu = AIR.viscosity(T)
    re = np.abs(U[f.M]) * bore / mu
    f8 = darcy(re, 4.5e-5 / bore) / 8.0
    nusselt = f8 * (re - 1000.0) * PRANDTL / (
        1.0 + 12.7 * np.sqrt(f8) * (PRANDTL ** (2.0 / 3.0) - 1.0)
    )
    cp = 1.4 * R / 0.4
    return model, walls, nusselt * mu * cp / PRANDTL / bore, T


@pytest.mark.parametrize("wall", [BARE, WRAPPED, COATED], ids=["bare", "wrapped", "coated"])
def test_wall_in_steady_flow_settles_where_an_independent_root_lies(wall):
    """Inner and outer surface within 1 K along the pipe, with the correlation at the cells' state.
    """
    _, (solved,), h, T = hot_flow(wall)
    for i in range(2, len(T) - 2, 8):
        inner, outer, heat = independent_root(h[i], T[i], wall, 0.04)
        assert solved.state.inner[i] == pytest.approx(inner, abs=1.0)
        assert solved.state.outer[i] == pytest.approx(outer, abs=1.0)
        assert solved.state.heat[i] == pytest.approx(heat, rel=5e-3)


def test_wall_passes_on_the_heat_that_the_gas_gives_up():
    """Enthalpy between inlet and outlet, the heat books of the march, and the sum over the wall."""
    model, (solved,), _, _ = hot_flow(BARE)
    lo, hi = model.ducts["d"]
    flux = model.work.F[f.E, [lo, hi]] * 0.25 * np.pi * 0.04**2
    through_wall = float((solved.state.heat * 0.02).sum())
    assert flux[0] - flux[1] == pytest.approx(through_wall, rel=5e-3)
    assert -model.record.wall[f.GAIN][lo:hi].sum() / 0.05 == pytest.approx(through_wall, rel=2e-3)


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


@pytest.fixture(scope="module")
def study():
    return ws.load(ws.demo_path("complete"))


def header(study, wall=None, temperature=None):
    """The open collector with another wall, or one of a given temperature."""
    exhaust = next(iter(study.exhausts.values()))
    change = {"wall": wall} if temperature is None else {
        "wall": None, "wall_temperature": temperature
    }
    return exhaust.replace(
        primary=tuple(tube.replace(**change) for tube in exhaust.primary),
        collector=tuple(tube.replace(**change) for tube in exhaust.collector),
    )


@pytest.fixture(scope="module")
def runs(study):
    """Points at 4500 rev/min, bare and wrapped, and what each cycle handed to the walls."""
    seen, found = [], {}

    def spy(model, walls, cycle_time):
        before = model.net.cells[f.WALL].copy()
        gain, grip = model.record.wall.copy()
        mean = update_walls(model, walls, cycle_time)
        seen.append((before, grip, gain, walls))
        return mean

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(run, "update_walls", spy)
        for name, wall in (("bare", BARE), ("wrapped", WRAPPED)):
            seen.clear()
            point = ws.run_point(study.engine, header(study, wall), 4500.0, settings=COARSE)
            found[name] = point, list(seen), wall
    return found


@pytest.mark.parametrize("name", ["bare", "wrapped"])
def test_wall_of_an_engine_is_the_root_of_its_balance(runs, name):
    """The temperatures of the last cycle within 1 K of the root with that cycle's heat: the wall
    has come to rest together with the gas.
    """
    point, cycles, wall = runs[name]
    assert point.converged
    before, grip, gain, walls = cycles[-1]
    period = 120.0 / 4500.0
    for solved in walls:
        for cell, bore, surface in list(
            zip(solved.cells, solved.bore, solved.surface, strict=True)
        )[::4]:
            h = grip[cell] / (period * surface)
            gas = before[cell] - gain[cell] / grip[cell]
            inner, _, _ = independent_root(h, gas, wall, bore)
            assert before[cell] == pytest.approx(inner, abs=1.0)
            assert 20.0 < h < 2000.0 and 700.0 < gas < 1500.0


def test_wrapped_exhaust_is_hotter_inside_and_cooler_outside(runs):
    """And the gas keeps more of its heat."""
    bare, wrapped = (runs[name][0].meta["walls"] for name in ("bare", "wrapped"))
    for duct in ("primary 1", "collector"):
        inside, outside = (
            [walls[duct][0][key] for walls in (bare, wrapped)]
            for key in ("inner_mean", "outer_mean")
        )
        assert inside[1] > inside[0] + 50.0
        assert outside[1] < outside[0] - 50.0
        assert wrapped[duct][0]["heat"] < bare[duct][0]["heat"]
    ends = [
        runs[name][0].trace("temperature", "collector", 0.28).values for name in ("bare", "wrapped")
    ]
    assert ends[1].mean() > ends[0].mean() + 5.0


@pytest.mark.parametrize("name", ["bare", "wrapped"])
def test_solved_walls_cost_at_most_a_few_more_cycles(study, runs, name):
    """Four more than the same exhaust with its final mean temperature given beforehand."""
    point = runs[name][0]
    mean = point.meta["walls"]["primary 1"][0]["inner_mean"]
    fixed = ws.run_point(study.engine, header(study, temperature=mean), 4500.0, settings=COARSE)
    assert fixed.converged
    assert point.audit["cycles"] <= fixed.audit["cycles"] + 4
    assert point.torque == pytest.approx(fixed.torque, rel=0.01)


def test_books_close_with_heat_through_the_walls(runs):
    for point, _, _ in runs.values():
        assert abs(point.audit["mass_error"]) < 1e-10
        assert abs(point.audit["energy_error"]) < 1e-10
        assert point.audit["wall_heat"] < 0.0
