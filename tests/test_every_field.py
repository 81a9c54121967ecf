"""Every field acts: each is changed inside its range, and some array, number or the bill differs.

The engine and the exhausts here state all they can, so that no field is idle for want of something
else.  What a field does once a run goes on (walls, fibres and burn between cycles, quantities after
the last) counts too.  Fields that act in no array are listed with the test that sees them act.
"""

from dataclasses import fields

import numpy as np
import pytest
from examples_of_all_kinds import CELL, OTHERS, PARTS
from rounding import left

import wavesim as ws
from wavesim.arrays.compile import compile_network
from wavesim.descriptions.nodes import Node
from wavesim.errors import InputError
from wavesim.fields.description import Description, vary
from wavesim.kernels import flat as f
from wavesim.march.burn import follow_burn
from wavesim.march.evaluate import evaluate
from wavesim.march.walltemp import find_solved_walls, update_walls
from wavesim.show.quantities import CYLINDERS

RPM = 3100.0
STUDY = ws.load(ws.demo_path("collector"))
SETTINGS = ws.Settings(cell_length=0.06, unequal_pressures=True)
AIR = ws.Ambient(pressure=95e3, temperature=290.0, relative_humidity=0.5)
WALL = ws.Wall(
    0.0015, ws.METALS["titanium"], emissivity=0.6, coating=ws.Coating(thickness=2e-4),
    wrap=ws.Wrap(thickness=0.003), outside=ws.Outside(air_speed=5.0, temperature=295.0,
                                                      pressure=97e3))
BARE = ws.Wall(0.0012, ws.METALS["stainless 304"], emissivity=0.5, outside="dyno-cell fan")
SHINY = ws.Wall(0.0012, ws.METALS["stainless 304"])
FLOW = ws.FlowCoefficients(lift_ratio=(0.1, 0.2, 0.3), forward=(0.7, 0.6, 0.5),
                           reverse=(0.6, 0.5, 0.4))
FUEL = ws.Fuel(name="test", C=8.0, H=15.0, O=0.3, lower_heating_value=42e6,
               vapour={"iso-octane": 0.5, "toluene": 0.5})
SCALING = ws.FlameScaling(residual=0.06, air_fuel_lambda=0.95, rpm=4000.0, temperature=350.0,
                          pressure=98e3, fuel="gasoline")


def engine(**changes):
    return STUDY.engine.replace(**{
        "firing_intervals_deg": (170.0, 190.0, 175.0, 185.0), "banks": (1, 2, 2, 1),
        "pin_offset": 0.002, "fuel": FUEL, "air_fuel_lambda": 0.95,
        "intake_port": ws.Pipe(0.1, 0.042, end_diameter=0.041, wall_temperature=350.0,
                               extra_loss=0.2, cell_length=CELL),
        "exhaust_port": (ws.Pipe(0.05, 0.036, wall=WALL), ws.Bend(
            0.036, 40.0, radius=0.06, wall_temperature=500.0, cell_length=CELL)),
        "exhaust_valve": ws.Valve(diameter=0.03, count=2, lash=1e-4, advance_deg=2.0, flow=FLOW,
                                  lift=ws.Cam(opens_deg=45.0, closes_deg=15.0, lift=0.009,
                                              checking_lift=0.001)),
        "intake_valve": STUDY.engine.intake_valve.replace(lash=1e-4, flow=FLOW.replace(
            reference="head")),
        "intake": STUDY.engine.intake.replace(plate_angle_deg=60.0, ambient=AIR),
        "combustion": ws.Wiebe(ca50_deg=ws.Table([2000, 6000], [8.0, 12.0]), burn_10_90_deg=25.0,
                               scaling=SCALING),
        "friction": ws.ChenFlynn(), "heat": ws.Woschni(),
    } | changes)


CARD = ws.CamCard(
    duration_deg=232.0, checking_lift=0.00127, measured_at="tappet", lobe_centre_deg=108.0,
    lift=0.0122, rocker_ratio=1.6, lash=0.0004, lash_stated="cold", lash_growth=-1e-4,
    opening_share=0.48)
BOXED = ws.CamCard(
    duration_deg=230.0, checking_lift=0.00127, measured_at="tappet", lobe_separation_deg=110.0,
    intake_centre_deg=106.0, lobe_lift=0.0076, rocker_ratio=1.6, closing_lobe="gentle")
CARDS = {"exhaust_valve": ws.Valve(diameter=0.03, count=2, lift=CARD),
         "intake_valve": ws.Valve(diameter=0.035, lift=BOXED),
         "combustion": ws.Wiebe(scaling=SCALING.replace(held="ignition", fuel=None)),
         "fuel": "gasoline"}
RATING = ws.FlowRating(0.03, 3000.0, pressure=98e3, temperature=300.0)
STACKS = ws.Intake(
    runner=ws.Pipe(0.1, 0.04), plenum_volume=None, throttle_diameter=None, throttle_at="runner",
    carburettor=RATING, filter=RATING.replace(flow=0.06), plate_angle_deg=60.0,
    stack=ws.Pipe(0.1, 0.042), ambient=AIR)
BOXES = ws.Intake(
    runner=ws.Pipe(0.1, 0.04), plenum_volume=0.004, throttle_diameter=0.05, ambient=AIR,
    inlet=ws.Pipe(0.3, 0.06), inlets=2, airbox_volume=0.006, airbox_duct=ws.Pipe(0.2, 0.055))
PIPE = ws.Pipe(0.2, 0.05)
PRIMARIES = tuple((ws.Pipe(0.4 + 0.1 * n, 0.04, wall=wall),)
                  for n, wall in enumerate((WALL, BARE, SHINY, SHINY)))


def exhaust(*parts, **changes):
    laid = (PIPE, *(piece for part in parts for piece in (part, PIPE)))
    return ws.Exhaust(**{
        "primaries": PRIMARIES, "merge": ws.Merge(angle_deg=20.0, volume=1e-4),
        "collector": laid, "ambient": AIR, "bank_link": ws.XPipe(angle_deg=25.0),
        "pipe": PIPE, "tailpipe": PIPE,
    } | changes)


#: Engines with exhausts, of which all fields together are looked at.
SYSTEMS = [
    (engine(), exhaust(*(example for examples in PARTS.values() for example in examples[:1]))),
    (engine(**CARDS, intake=BOXES), exhaust(
        *(example for examples in PARTS.values() for example in examples[1:]),
        bank_link=ws.HPipe(tube=ws.Pipe(0.3, 0.04), angle_deg=60.0))),
    (engine(banks=(1, 1, 1, 1), intake=STACKS,
            exhaust_valve=ws.Valve(diameter=0.03, lift=BOXED)), exhaust(
        primaries=None, primary=ws.Pipe(0.5, 0.04), pairs=((1, 4), (2, 3)),
        secondary=ws.Pipe(0.3, 0.045),
        pair_merge=ws.Merge(angle_deg=12.0, cone_length=0.05, cone_diameter=0.042),
        bank_link=None)),
    (engine(), exhaust(ws.PerforatedSilencer(
        0.2, 0.05, case_diameter=0.1, wall_temperature=600.0, packing=ws.Packing(
            ws.Fibre(density=2600.0, heat_capacity=810.0, diameter=2e-5), bulk_density=90.0)))),
]  # fmt: skip

#: Fields that no array, quantity or bill shows, and where each acts instead.
ELSEWHERE = {
    "name": "legends and files: test_results.py, test_plots.py",
    "Fuel.source": "where a number comes from: documentation",
    "Fuel.density": "blends by volume: test_gas.py",
    "Metal.heat_capacity": "documentation of the metal",
    "Metal.max_service_temperature": "warnings: test_walls.py",
    "Fibre.heat_capacity": "Packing.heat_capacity: test_silencer_descriptions.py",
}


def effect(engine, exhaust, settings=SETTINGS, ambient=None):
    """All that a run would get from these descriptions: arrays, solved walls, quantities, bill."""
    gas = ws.EngineGas(engine.fuel, engine.air_fuel_lambda)
    model = compile_network(ws.assemble(engine, exhaust), gas, settings, engine=engine, rpm=RPM,
                            ambient=ambient)
    model.record.cyl_sum[:, [f.TRAP_MASS, f.TRAP_FRESH, f.TRAP_BURNED]] = 6e-4, 5e-4, 8e-5
    model.record.cyl_sum[:, [f.TRAP_T, f.TRAP_P]] = 380.0, 1.5e5
    model.record.wall[f.GRIP] = 1e-3
    model.record.wall[f.GAIN] = -0.2
    walls = find_solved_walls(model)
    follow_burn(model, RPM)
    update_walls(model, walls, 120.0 / RPM)
    count = engine.cylinders
    amounts = {name: 1.0 + 0.01 * i + 0.1 * np.arange(count) for i, name in enumerate(CYLINDERS)}
    values, _ = evaluate(engine, model.gas, RPM, amounts, 0.0,
                         model.network.air_outside("intake", model.ambient))
    arrays = (*model.net, *model.state, model.work.store)
    return [np.asarray(array).tobytes() for array in arrays], repr(values), ws.bill(
        exhaust, engine).rows


def others(field, value):
    """Values of a field beside the one that it has."""
    facts = field.metadata
    if isinstance(value, ws.Table):
        return [ws.Table(value.x, [0.97 * y for y in value.y]),
                ws.Table([1.1 * x for x in value.x], value.y)]
    if isinstance(value, bool) or "choices" in facts:
        return [word for word in facts["choices"] if word != value]
    if field.name == "metal":
        return [name for name in ("mild steel", "titanium") if name != value]
    if field.name in ("fuel", "material", "outside"):
        known = {"fuel": "iso-octane", "material": "steel wool", "outside": "road speed"}
        return [known[field.name]]
    if isinstance(value, tuple) and value and not isinstance(value[0], (Description, tuple)):
        return [(*value[:i], other, *value[i + 1:]) for i, one in enumerate(value)
                for other in (one + 1, 0.98 * one + 1e-6)] + [value[::-1]]
    if "low" not in facts:
        return []
    low, high = facts["low"], facts["high"]
    if value is None:
        return [(low + high) / 2.0, low + 0.1 * (high - low), low + 0.01 * (high - low)]
    if isinstance(value, int):
        return [value + 1, value - 1]
    return [1.04 * value, 0.96 * value, value + 0.01 * (high - low), value - 0.01 * (high - low)]


def leaves(thing, path=()):
    """Triples (description, field, path) of all fields that hold no description."""
    for field in fields(thing):
        if field.name == "_":
            continue
        value, here = getattr(thing, field.name), (*path, field.name)
        nested = value if isinstance(value, tuple) else (value,)
        for i, one in enumerate(nested):
            deeper = (*here, str(i)) if isinstance(value, tuple) else here
            if isinstance(one, Description) and not isinstance(one, (Node, ws.Table)):
                yield from leaves(one, deeper)
            elif isinstance(one, tuple):
                for j, part in enumerate(one):
                    if isinstance(part, Description):
                        yield from leaves(part, (*deeper, str(j)))
        if not isinstance(value, Description) or isinstance(value, ws.Table):
            yield thing, field, here


def kinds_of_leaves():
    """Paths to each field of each kind: {(kind, field): [(system, side, path, field)]}."""
    found = {}
    for i, system in enumerate(SYSTEMS):
        for side, thing in enumerate(system):
            for owner, field, path in leaves(thing):
                places = found.setdefault((type(owner).__name__, field.name), [])
                places.append((i, side, path, field, getattr(owner, field.name)))
    return found


LEAVES = kinds_of_leaves()
BEFORE = {}


def acts(number, side, path, field, value):
    """True if a change of one leaf changes what a run gets; None if it cannot be changed alone."""
    system = list(SYSTEMS[number])
    if number not in BEFORE:
        BEFORE[number] = effect(*system)
    tried = None
    for other in others(field, value):
        try:
            changed = vary(system[side], ".".join(path), other)
            after = effect(*(changed if i == side else thing for i, thing in enumerate(system)))
        except InputError:
            continue
        if after != BEFORE[number]:
            return True
        tried = False
    return tried


NUMBERS = [key for key, places in LEAVES.items()
           if any(others(field, value) for *_, field, value in places)]


@pytest.mark.parametrize("key", NUMBERS, ids=".".join)
def test_field_acts(key):
    """In one place at least."""
    if key[1] == "name" or ".".join(key) in ELSEWHERE:
        assert not any(acts(*place) for place in LEAVES[key])
    else:
        assert any(acts(*place) for place in LEAVES[key]), LEAVES[key][0][2]


def test_walk_meets_every_kind_of_description():
    """All but nodes, which `test_all_kinds.py` walks, and what is no part of engine and exhaust."""
    met = {kind for kind, _ in LEAVES}
    apart = {"Duct", "Network", "Settings", "Study", "Table", "EngineGas", "Ambient",
             "Pull", "Warmed", "WallSection", "WallsLeft"}
    assert {kind.__name__ for kind in (*PARTS, *OTHERS)} - apart <= met


# --- the weather --------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["pressure", "temperature", "relative_humidity"])
def test_weather_acts_where_no_air_is_stated(name):
    bare = engine(intake=STUDY.engine.intake), exhaust(ambient=None)
    air = ws.Ambient(temperature=290.0, relative_humidity=0.4)
    other = air.replace(**{name: 0.95 * getattr(air, name)})
    assert effect(*bare, ambient=air) != effect(*bare, ambient=other)
    stated = engine(), exhaust()
    assert effect(*stated, ambient=air)[2] == effect(*stated, ambient=other)[2]


# --- settings -----------------------------------------------------------------------------------

#: Settings that act in arrays, with another value.
IN_ARRAYS = {"cell_length": 0.05, "cfl": 0.7, "friction": False, "wall_heat": False}


@pytest.mark.parametrize("name", IN_ARRAYS)
def test_setting_acts_in_the_arrays(name):
    system = SYSTEMS[2]
    assert effect(*system) != effect(*system, SETTINGS.replace(**{name: IN_ARRAYS[name]}))


QUICK = ws.Settings(cell_length=0.06, sample_deg=5.0, tolerance=3e-3, coarse_start=1.0)
SMALL = (STUDY.engine.replace(firing_order=(1,)), ws.Exhaust(
    primary=ws.Pipe(0.4, 0.04, wall_temperature=600.0), merge=None))


def run(**changes):
    return ws.run_point(*SMALL, 3000.0, settings=QUICK.replace(**changes))


@pytest.fixture(scope="module")
def usual():
    return run()


def test_tolerance_and_the_limits_of_cycles_end_the_run(usual):
    count = usual.audit["cycles"]
    assert usual.converged and count >= QUICK.min_cycles
    assert run(tolerance=1e-5).audit["cycles"] > count
    assert run(min_cycles=count + 3).audit["cycles"] == count + 3
    short = run(max_cycles=2, min_cycles=1)
    assert short.audit["cycles"] == 2 and not short.converged


def test_coarse_start_runs_cycles_on_a_coarser_mesh(usual):
    assert usual.audit["coarse_cycles"] == 0
    assert run(coarse_start=2.0).audit["coarse_cycles"] > 0


def test_samples_stand_as_far_apart_as_asked(usual):
    assert np.diff(usual.trace("pressure", "outlet 1").x) == pytest.approx(5.0)
    assert np.diff(run(sample_deg=8.0).trace("pressure", "outlet 1").x) == pytest.approx(8.0)


def test_step_limit_stops_a_run():
    with pytest.raises(ws.SolverError, match="1000 steps"):
        run(cell_length=0.002, max_steps_per_cycle=1000)


def test_scheme_chooses_the_solver():
    net = ws.Network({"d": ws.Pipe(0.3, 0.04)}, {
        "a": ws.ClosedEnd("d.start"), "b": ws.ClosedEnd("d.end")})
    start = {"d": lambda x: (1e5 * (1.0 + 0.1 * x), 0.0 * x, 300.0 + 0.0 * x, "air")}
    by = [ws.simulate(net, 5e-4, settings=ws.Settings(scheme=scheme), initial=start).audit
          for scheme in ("finite volume", "characteristics")]
    assert abs(by[0]["mass_error"]) < left(by[0]["steps"]) < abs(by[1]["mass_error"])


def test_cylinders_lose_heat_by_their_own_factor_and_not_by_the_setting_for_ducts(usual):
    """`wall_heat` is of ducts: without it the cylinder works next to the same."""
    cold = run(wall_heat=False)
    assert cold.audit["wall_heat"] == 0.0 != usual.audit["wall_heat"]
    assert cold.heat_loss_share == pytest.approx(usual.heat_loss_share, rel=0.05)
    assert cold.imep_gross == pytest.approx(usual.imep_gross, rel=0.03)
    adiabatic = ws.run_point(
        SMALL[0].replace(heat=ws.Woschni(factor=0.0)), SMALL[1], 3000.0, settings=QUICK)
    assert adiabatic.heat_loss_share == 0.0
    assert adiabatic.imep_gross > 1.05 * usual.imep_gross


# --- signs and sizes in a run ---------------------------------------------------------------------


def other(usual, **changes):
    """A run of the small engine with fields changed."""
    return ws.run_point(SMALL[0].replace(**changes), SMALL[1], 3000.0, settings=QUICK)


def test_part_throttle_draws_less_air_and_costs_pumping_work(usual):
    part = other(usual, intake=SMALL[0].intake.replace(plate_angle_deg=16.0))
    assert part.volumetric_efficiency < 0.85 * usual.volumetric_efficiency
    assert part.pmep_intake > usual.pmep_intake and part.trapped_pressure < usual.trapped_pressure
    assert part.residual_fraction > usual.residual_fraction


def test_thin_air_takes_its_share_of_the_charge(usual):
    """At equal temperature the mass goes with the pressure, about."""
    high = ws.run_point(*SMALL, 3000.0, settings=QUICK, ambient=ws.Ambient(pressure=0.8 * 101325.0))
    assert high.air_per_cycle / usual.air_per_cycle == pytest.approx(0.8, abs=0.02)
    assert high.volumetric_efficiency == pytest.approx(usual.volumetric_efficiency, rel=0.02)
    assert high.imep_gross / usual.imep_gross == pytest.approx(0.8, abs=0.03)


def test_pressure_at_the_tailpipe_alone_pushes_back(usual):
    settings = QUICK.replace(unequal_pressures=True)
    exhaust = SMALL[1].replace(ambient=ws.Ambient(pressure=1.2e5))
    pushed = ws.run_point(SMALL[0], exhaust, 3000.0, settings=settings)
    rise = pushed.pmep_exhaust - usual.pmep_exhaust
    assert rise == pytest.approx(1.2e5 - 101325.0, rel=0.25)
    assert pushed.residual_fraction > usual.residual_fraction


def test_rich_mixture_has_more_fuel_and_lean_mixture_less_heat(usual):
    rich, lean = (other(usual, air_fuel_lambda=value) for value in (0.85, 1.25))
    for point, value in ((rich, 0.85), (lean, 1.25)):
        assert point.air_fuel_ratio / usual.air_fuel_ratio == pytest.approx(
            value / SMALL[0].air_fuel_lambda, rel=1e-9)
    assert lean.imep_gross < usual.imep_gross and lean.bsfc < rich.bsfc
    assert lean.exhaust_temperature < usual.exhaust_temperature


def test_valves_that_pass_less_fill_less(usual):
    poor = ws.FlowCoefficients(lift_ratio=(0.1, 0.3), forward=(0.1, 0.1))
    narrow = other(usual, intake_valve=SMALL[0].intake_valve.replace(flow=poor))
    assert narrow.volumetric_efficiency < 0.95 * usual.volumetric_efficiency
    shut = other(usual, exhaust_valve=SMALL[0].exhaust_valve.replace(flow=poor))
    assert shut.pmep_exhaust > usual.pmep_exhaust


# --- a fuel flow ----------------------------------------------------------------------------------


@pytest.mark.parametrize("flow", [float("nan"), 0.0, -1e-3, float("inf"), True, "1e-3", [1e-3]])
def test_fuel_flow_that_is_none_is_refused_in_one_sentence(flow):
    with pytest.raises(InputError, match=r"^run_point: fuel_flow = .* is .*above 0 kg/s") as told:
        ws.run_point(*SMALL, 3000.0, settings=QUICK, fuel_flow=flow)
    assert len(str(told.value)) < 200 and str(told.value).count(". ") == 0


def test_fuel_flow_into_a_gas_without_fuel_is_refused():
    with pytest.raises(InputError, match="needs an EngineGas"):
        ws.run_point(*SMALL, 3000.0, settings=QUICK, fuel_flow=1e-3, gas=ws.PerfectGas())
