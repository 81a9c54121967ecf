"""Fuel that is metered for another exhaust: a restrictive one runs richer.

A carburettor or a fixed map delivers the fuel of the air it was set for.  With the fuel flow of one
result given to another run, the mixture follows from the air; heat is limited by oxygen.
"""

import pytest

import wavesim as ws

RPM = 5500.0
COARSE = ws.Settings(cell_length=0.03, sample_deg=2.0)


@pytest.fixture(scope="module")
def study():
    return ws.load(ws.demo_path("collector"))


@pytest.fixture(scope="module")
def open_header(study):
    return next(iter(study.exhausts.values()))


@pytest.fixture(scope="module")
def base(study, open_header):
    """The exhaust for which the fuel is metered."""
    return ws.run_point(study.engine, open_header, RPM, settings=COARSE)


def restricted(exhaust, hole=0.024):
    """The same exhaust with a plate in its collector."""
    first = exhaust.collector[0]
    return exhaust.replace(collector=(
        first, ws.Plate(hole), ws.Pipe(0.2, first.outlet_diameter),
    ))


@pytest.fixture(scope="module")
def choked(study, open_header):
    """The restrictive exhaust."""
    return restricted(open_header)


@pytest.fixture(scope="module")
def rich(study, choked, base):
    return ws.run_point(
        study.engine, choked, RPM, settings=COARSE, fuel_flow=base.fuel_mass_flow
    )


@pytest.fixture(scope="module")
def tuned(study, choked):
    """The restrictive exhaust at the mixture strength of the engine."""
    return ws.run_point(study.engine, choked, RPM, settings=COARSE)


def test_fuel_of_the_same_exhaust_gives_back_its_mixture(study, open_header, base):
    """The fuel flow of a result, given to the same run, changes nothing."""
    again = ws.run_point(
        study.engine, open_header, RPM, settings=COARSE, fuel_flow=base.fuel_mass_flow
    )
    assert again.converged
    assert again.air_fuel_lambda == pytest.approx(study.engine.air_fuel_lambda, rel=1e-3)
    assert again.torque == pytest.approx(base.torque, rel=2e-3)


def test_restrictive_exhaust_runs_richer_on_the_same_fuel(study, rich, base):
    assert rich.converged
    assert rich.air_mass_flow < 0.97 * base.air_mass_flow
    assert rich.air_fuel_lambda < study.engine.air_fuel_lambda - 0.02
    assert rich.meta["fuel_flow"] == base.fuel_mass_flow and base.meta["fuel_flow"] is None
    assert rich.gas.lam == rich.air_fuel_lambda


def test_air_is_lambda_times_the_stoichiometric_air_of_the_fuel(rich, base):
    """lambda * fuel * AFR = air, within the tolerance of the cycles, and the fuel is that given."""
    gas = ws.EngineGas("gasoline", lam=1.0)
    for point in (rich, base):
        lam = point.air_fuel_lambda
        air = lam * point.fuel_mass_flow * gas.air_fuel_ratio
        assert air == pytest.approx(point.air_mass_flow, rel=1e-6)
        assert point.air_fuel_ratio == pytest.approx(lam * gas.air_fuel_ratio, rel=1e-9)
    assert rich.fuel_mass_flow == pytest.approx(base.fuel_mass_flow, rel=1e-3)


def heat_per_air(lam):
    """Heat [J] that a kilogram of air with its fuel releases."""
    gas = ws.EngineGas("gasoline", lam=lam)
    return gas.heat_per_fresh / (1.0 - gas.fuel_fraction)


def test_heat_is_limited_by_oxygen_when_rich():
    """More fuel in the same air releases no more heat; CO and H2, left over in the proportion of
    the water-gas equilibrium (Heywood 1988, sec. 4.9), keep up to 14 % of it at lambda 0.7.  Lean,
    the heat is that of the fuel.
    """
    full = heat_per_air(1.0)
    rich = [heat_per_air(lam) for lam in (0.95, 0.9, 0.8, 0.7)]
    assert full > rich[0] > rich[1] > rich[2] > rich[3] > 0.85 * full
    for lam in (1.1, 1.4):
        assert heat_per_air(lam) == pytest.approx(full / lam, rel=1e-9)


def test_richer_mixture_wastes_fuel_and_makes_less_work(rich, tuned):
    """Beside the same exhaust at the mixture of the engine: the work falls, though by less than the
    heat of its air, for rich products have more molecules and lose less heat; and it takes more
    fuel.
    """
    lam = [point.air_fuel_lambda for point in (rich, tuned)]
    heat = heat_per_air(lam[0]) * rich.air_mass_flow / (heat_per_air(lam[1]) * tuned.air_mass_flow)
    assert heat < rich.imep_gross / tuned.imep_gross < 1.0
    assert rich.torque < tuned.torque
    assert rich.fuel_mass_flow > 1.02 * tuned.fuel_mass_flow
    assert rich.indicated_efficiency < 0.95 * tuned.indicated_efficiency
    assert rich.bsfc > 1.05 * tuned.bsfc


def test_books_close_with_a_mixture_that_follows(rich):
    assert abs(rich.audit["mass_error"]) < 1e-10
    assert abs(rich.audit["energy_error"]) < 1e-10


@pytest.mark.parametrize("share", [0.3, 3.0])
def test_fuel_beyond_any_mixture_that_burns_is_refused(study, open_header, base, share):
    settings = COARSE.replace(max_cycles=6)
    with pytest.raises(ws.ConvergenceError, match="fuel_flow"):
        ws.run_point(
            study.engine, open_header, RPM, settings=settings, fuel_flow=share * base.fuel_mass_flow
        )


def test_a_sweep_takes_its_fuel_from_another(study, open_header, choked):
    """Between the speeds of the other sweep the fuel flow is interpolated."""
    speeds = [5000.0, 6000.0]
    first = ws.speed_sweep(study.engine, open_header, speeds, settings=COARSE, progress=False)
    second = ws.speed_sweep(
        study.engine, choked, [5500.0], settings=COARSE, progress=False, fuel_from=first
    )
    assert second["fuel_mass_flow"][0] == pytest.approx(first["fuel_mass_flow"].mean(), rel=2e-3)
    assert second["air_fuel_lambda"][0] < first["air_fuel_lambda"].min()
    with pytest.raises(ws.InputError, match="5000 to 6000 rev/min"):
        ws.speed_sweep(study.engine, choked, [6500.0], settings=COARSE, fuel_from=first)
