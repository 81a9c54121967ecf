"""One weather for all places that state no air, pressures that must agree, and humid air."""

import dataclasses

import numpy as np
import pytest
from case_humid_air import (
    SULTRY,
    WEATHERS,
    P,
    cipm_density,
    engine_point,
    humid,
    iapws,
    saturated,
)
from references import references

import wavesim as ws
import wavesim.many.work
from wavesim.arrays.compile import compile_network
from wavesim.descriptions.weather import moist_air, saturation_pressure, under
from wavesim.fields.description import _KINDS
from wavesim.kernels import flat as f
from wavesim.many.store import point_key
from wavesim.march.walltemp import update_walls

COARSE = ws.Settings(cell_length=0.05, sample_deg=10.0, tolerance=2e-2)
HIGH = ws.Ambient(pressure=8.0e4, temperature=280.0)  # about 1950 m above the sea
WALLED = {"wall": ws.Wall(1.5e-3, outside="dyno-cell fan")}


@pytest.fixture(scope="module")
def system():
    study = ws.load(ws.demo_path("collector"))
    exhaust = study.exhausts[study.base]
    return study.engine, exhaust.with_collector(wall_temperature=None, **WALLED)


# --- one weather ----------------------------------------------------------------------------------


def test_one_weather_is_that_weather_stated_at_every_place(system):
    engine, exhaust = system
    wind = ws.Outside(air_speed=6.0, temperature=HIGH.temperature, pressure=HIGH.pressure)
    stated = (
        ws.vary(engine, "intake.ambient", HIGH),
        exhaust.replace(ambient=HIGH).with_collector(wall=WALLED["wall"].replace(outside=wind)),
    )
    once = ws.run_point(*system, 5500, settings=COARSE, ambient=HIGH)
    everywhere = ws.run_point(*stated, 5500, settings=COARSE)
    assert once.values == everywhere.values
    assert once.meta["walls"] == everywhere.meta["walls"]
    assert once.ambient == HIGH and everywhere.ambient == ws.Ambient()
    assert once.weather == everywhere.weather == {"air inlet": HIGH, "outlet": HIGH}
    assert once.meta["outside"] == everywhere.meta["outside"]
    assert once.exhaust == exhaust  # as it was described


def test_place_that_states_its_air_keeps_it(system):
    own = ws.Ambient(pressure=9e4, temperature=310.0)
    hot = ws.Outside(temperature=350.0, pressure=1e5)
    pipe = ws.Pipe(1.0, 0.04, wall=ws.Wall(1e-3, outside=hot))
    network = ws.Network(
        {"pipe": pipe},
        {"mouth": ws.OpenEnd("pipe.end", ambient=own),
         "box": ws.Volume("pipe.start", volume=1e-3, pressure=1.2e5, temperature=300.0)},
    )
    assert network.in_weather(HIGH) is network
    bay = ws.Wall(1e-3, outside=ws.Outside(temperature=350.0))
    filled = under(bay, HIGH).outside
    assert (filled.temperature, filled.pressure) == (350.0, HIGH.pressure)


def test_no_place_has_a_weather_of_its_own():
    """Every field whose default would be 298.15 K or 101325 Pa is None and says of what.

    But for the weather itself, and the air of the flow bench on which a part was rated.
    """
    own, asked = set(), set()
    for kind in list(_KINDS.values()):
        if not dataclasses.is_dataclass(kind) or not kind.__module__.startswith("wavesim"):
            continue
        for field in dataclasses.fields(kind):
            if field.default in (298.15, 101325.0):
                own.add(kind.__name__)
            if "weather" in field.metadata:
                asked.add(f"{kind.__name__}.{field.name}")
    assert own == {"Ambient", "FlowRating"}
    assert asked == {
        "Intake.ambient", "Exhaust.ambient", "OpenEnd.ambient", "Wall.outside",
        *(f"{kind}.{what}" for kind in ("AnechoicEnd", "Volume", "Outside")
          for what in ("pressure", "temperature")),
    }  # fmt: skip


def test_still_gas_of_a_network_without_an_engine_is_that_of_the_weather():
    pipe = ws.Network({"d": ws.Pipe(1.0, 0.04)}, {"wall": ws.ClosedEnd("d.start"),
                                                 "mouth": ws.OpenEnd("d.end")})
    final = ws.simulate(pipe, 1e-3, ambient=HIGH, samples=0).final["d"]
    np.testing.assert_allclose(final["p"], HIGH.pressure, rtol=1e-12)
    np.testing.assert_allclose(final["T"], HIGH.temperature, rtol=1e-12)


def test_fibres_that_no_gas_warms_are_as_cold_as_the_weather():
    box = ws.PerforatedSilencer(0.3, 0.05, case_diameter=0.12, packing=ws.Packing())
    line = ws.Network({"in": ws.Pipe(0.2, 0.05)}, {"mouth": ws.OpenEnd("in.start")})
    line = line.with_line("box", box, after="in.end")
    line = line.with_node("far", ws.OpenEnd(f"{list(line.ducts)[1]}.end"))
    model = compile_network(line, ws.EngineGas(), COARSE, ambient=HIGH)
    update_walls(model, [], 0.02)
    lo, hi = model.ducts["box annulus"]
    np.testing.assert_allclose(model.net.cells[f.WALL, lo:hi], HIGH.temperature)


def test_cold_weather_cools_a_wall_by_part_of_its_own_difference(system):
    """The engine draws the same air; the wall stands between hot gas and the weather."""
    engine = ws.vary(system[0], "intake.ambient", ws.Ambient())
    points = [
        ws.run_point(engine, system[1], 5500, settings=COARSE, ambient=ws.Ambient(temperature=T))
        for T in (320.0, 260.0)
    ]
    hot, cold = (point.meta["walls"]["collector"][0]["outer_mean"] for point in points)
    assert 3.0 < hot - cold < 40.0


def test_weather_reaches_sweeps_designs_stores_and_files(system, tmp_path):
    store = ws.Store(tmp_path / "store")
    sweep = ws.speed_sweep(
        *system, [5500], settings=COARSE, ambient=HIGH, store=store, progress=False
    )
    assert sweep[5500].values == ws.run_point(*system, 5500, settings=COARSE, ambient=HIGH).values
    sweep.save(tmp_path / "sweep.npz")
    assert ws.Sweep.load(tmp_path / "sweep.npz")[5500].ambient == HIGH
    assert store.run_point(*system, 5500, settings=COARSE, ambient=HIGH).ambient == HIGH
    assert store.written == 1  # it was there already
    found = ws.explore(
        *system, [{"exhaust.collector.length": system[1].collector[0].length}], [5500],
        settings=COARSE, ambient=HIGH, progress=False,
    )
    assert found["torque"][0, 0] == sweep[5500].torque
    keys = {point_key(*system, 5500, COARSE, ambient=air) for air in (None, ws.Ambient(), HIGH)}
    assert len(keys) == 2


def test_weather_that_is_none_is_refused(system, tmp_path):
    message = "ambient = 101325 must be an Ambient"
    with pytest.raises(ws.InputError, match=message):
        ws.run_point(*system, 5500, ambient=101325)
    with pytest.raises(ws.InputError, match=message):
        ws.speed_sweep(*system, [5500], ambient=101325, progress=False)
    with pytest.raises(ws.InputError, match=message):
        ws.Store(tmp_path).run_point(*system, 5500, ambient=101325)


def test_search_hands_the_weather_on(system, monkeypatch):
    seen = []

    def run(*_, ambient, **__):
        seen.append(ambient)
        raise ws.SolverError("enough")

    monkeypatch.setattr(wavesim.many.work, "run_point", run)
    ws.optimise(*system, {"exhaust.collector.length": (0.1, 0.2)}, [5500], evaluations=10,
                ambient=HIGH, progress=False)
    assert len(seen) == 10 and set(seen) == {HIGH}


def test_study_has_a_weather(system, tmp_path):
    engine, exhaust = system
    study = ws.Study(
        engine=ws.vary(engine, "intake.ambient", None), exhausts={"base": exhaust}, rpm=[5500.0],
        settings=COARSE, ambient=HIGH.replace(relative_humidity=0.4),
    )
    ws.save(study, tmp_path / "study.toml")
    assert ws.load(tmp_path / "study.toml") == study
    point = ws.run_study(study, progress=False)["base"][5500]
    assert point.ambient == study.ambient
    written = (tmp_path / "study.toml").read_text()
    for old, new, meant in (("relative_humidity", "humidity", "relative_humidity"),
                            ("[ambient]", "[weather]", "ambient")):
        (tmp_path / "study.toml").write_text(written.replace(old, new))
        with pytest.raises(ws.InputError, match=f"did you mean '{meant}'"):
            ws.load(tmp_path / "study.toml")


# --- two pressures --------------------------------------------------------------------------------


def test_intake_at_altitude_with_its_exhaust_at_sea_level_is_refused(system):
    engine, exhaust = system
    climbed = ws.vary(engine, "intake.ambient", HIGH)
    message = (
        r"Network: 'air inlet' opens to air of 80000 Pa and 'outlet' to 101325 Pa, must be equal; "
        r"state the weather once as `ambient`, or allow it by Settings\(unequal_pressures=True\)"
    )
    with pytest.raises(ws.InputError, match=message):
        ws.run_point(climbed, exhaust, 5500, settings=COARSE)
    with pytest.raises(ws.InputError, match=f"exhaust 'base': {message}"):
        ws.Study(engine=climbed, exhausts={"base": exhaust}, rpm=[5500.0])


def test_bench_that_feeds_the_intake_is_allowed_when_asked_for(system):
    engine, exhaust = system
    allowed = COARSE.replace(unequal_pressures=True)
    fed = ws.vary(engine, "intake.ambient", ws.Ambient(pressure=1.3e5))
    point = ws.run_point(fed, exhaust, 5500, settings=allowed)
    plain = ws.run_point(engine, exhaust, 5500, settings=COARSE)
    assert point.air_mass_flow > 1.2 * plain.air_mass_flow
    assert 0.7 < point.volumetric_efficiency < 1.3  # refers to the air at the intake
    assert point.weather["air inlet"].pressure == 1.3e5 and point.weather["outlet"].pressure == P
    assert [point.meta["outside"][side]["pressure"] for side in ("intake", "exhaust")] == [1.3e5, P]
    ws.Study(engine=fed, exhausts={"base": exhaust}, rpm=[5500.0], settings=allowed)


# --- humid air ------------------------------------------------------------------------------------


@pytest.mark.parametrize("row", references("HU-1"), ids=lambda row: row.label)
def test_saturation_pressure_is_that_of_iapws(row):
    assert saturation_pressure(row.case["T"]) == pytest.approx(row.value, rel=5e-4)
    assert iapws(row.case["T"]) == pytest.approx(row.value, abs=row.tolerance)


@pytest.mark.parametrize("row", references("HU-2"), ids=lambda row: row.label)
def test_saturated_air_is_that_of_the_psychrometric_table(row):
    assert saturated(row) == pytest.approx(row.value, rel=1e-3)


@pytest.mark.parametrize(("p", "T", "humidity"), WEATHERS)
def test_density_of_humid_air_is_that_of_the_metrologists(p, T, humidity):
    air = ws.Ambient(pressure=p, temperature=T, relative_humidity=humidity)
    ours = float(humid(air).density(p, T))
    assert ours == pytest.approx(cipm_density(p, T, air.vapour_share), rel=1e-3)


def test_dry_air_and_vapour_share_the_pressure():
    assert SULTRY.dry_pressure + SULTRY.vapour_share * SULTRY.pressure == pytest.approx(P)
    moles = moist_air(SULTRY.vapour_share)
    assert moles["H2O"] / sum(moles.values()) == pytest.approx(SULTRY.vapour_share)
    assert moist_air(0.0) == ws.EngineGas().air


def test_vapour_takes_the_place_of_air_and_so_of_fuel():
    """At one mixture strength; within 0.5 %, by what the faster sound shifts the tuning."""
    dry, sultry = engine_point(0.0), engine_point(SULTRY.relative_humidity)
    for what in ("air_mass_flow", "fuel_mass_flow"):
        share = getattr(sultry, what) / getattr(dry, what)
        assert share == pytest.approx(1.0 - SULTRY.vapour_share, rel=5e-3)
    assert sultry.air_fuel_ratio == pytest.approx(dry.air_fuel_ratio, rel=1e-12)
    assert sultry.air_fuel_lambda == dry.air_fuel_lambda
    assert sultry.volumetric_efficiency == pytest.approx(dry.volumetric_efficiency, rel=5e-3)
    assert sultry.torque < (1.0 - SULTRY.vapour_share) * dry.torque
    assert abs(sultry.audit["mass_error"]) < 1e-12 > abs(sultry.audit["energy_error"])


def test_burned_gas_holds_the_water_of_the_air():
    dry, wet = ws.EngineGas("gasoline", 1.0), humid(SULTRY)
    per_carbon = [gas.parts[2]["H2O"] / gas.parts[2]["CO2"] for gas in (dry, wet)]
    drawn = wet.parts[1]["H2O"] / wet.parts[2]["CO2"]
    assert per_carbon[1] == pytest.approx(per_carbon[0] + drawn)
    assert wet.fuel_fraction == pytest.approx(  # one kilogram of fuel takes the same dry air
        1.0 / (1.0 + dry.air_fuel_ratio / (1.0 - wet.humidity)), rel=1e-12
    )


def test_given_fuel_finds_the_mixture_in_humid_air(system):
    options = {"settings": COARSE, "ambient": SULTRY}
    free = ws.run_point(*system, 5500, **options)
    bound = ws.run_point(*system, 5500, fuel_flow=free.fuel_mass_flow, **options)
    assert bound.air_fuel_lambda == pytest.approx(free.air_fuel_lambda, rel=5e-3)


def test_gas_of_another_fuel_gets_the_humidity_and_one_with_its_own_air_keeps_it(system):
    network = system[1].network(system[0])
    oxygen = ws.EngineGas(air={"O2": 30.0, "N2": 70.0})
    given = {
        "methanol": (ws.EngineGas("methanol"), ws.EngineGas("methanol", air=humid(SULTRY).air)),
        "own air": (oxygen, oxygen),
    }
    for gas, expected in given.values():
        model = compile_network(
            network, gas, COARSE, engine=system[0], rpm=5500.0, ambient=SULTRY
        )
        assert model.gas == expected


def test_start_from_a_point_in_dry_air_keeps_the_humidity(system):
    dry = ws.run_point(*system, 5500, settings=COARSE)
    fresh = ws.run_point(*system, 5500, settings=COARSE, ambient=SULTRY)
    started = ws.run_point(*system, 5500, settings=COARSE, ambient=SULTRY, start=dry)
    assert started.air_per_cycle == pytest.approx(fresh.air_per_cycle, rel=2e-2)
    assert started.air_fuel_ratio == pytest.approx(fresh.air_fuel_ratio, rel=1e-12)
    assert started.restart["gas"] == fresh.restart["gas"]


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: ws.Ambient(relative_humidity=50.0), "relative_humidity = 50 .* range 0 to 1 "),
        (lambda: ws.Ambient(pressure=4e4, temperature=340.0, relative_humidity=1.0),
         "relative_humidity = 1 .* at 340 K and 40000 Pa makes 68 % of the air vapour"),
        (lambda: ws.simulate(
            ws.Network({"d": ws.Pipe(1.0, 0.04)},
                       {"a": ws.ClosedEnd("d.start"), "b": ws.OpenEnd("d.end")}),
            1e-3, ambient=SULTRY), "% of vapour, must be 0 with a PerfectGas"),
        (lambda: ws.simulate(
            ws.Network({"d": ws.Pipe(1.0, 0.04)},
                       {"a": ws.OpenEnd("d.start"), "b": ws.OpenEnd("d.end", ambient=SULTRY)}),
            1e-3, gas=ws.EngineGas()), "the inlets draw air with 0 and 5.02 % of vapour"),
    ],
)
def test_air_that_cannot_be_is_refused(make, message):
    with pytest.raises(ws.InputError, match=message):
        make()
