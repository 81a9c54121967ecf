"""Merges whose tubes end side by side in a cone: geometry, network, bill, gas."""

from math import pi, sqrt

import case_merge_cone as case
import numpy as np
import pytest

import wavesim as ws
from wavesim.descriptions.assemble import assemble, gather
from wavesim.descriptions.lines import Plan
from wavesim.errors import InputError
from wavesim.results.bill import bill

STUDY = ws.load(ws.demo_path("collector"))
ENGINE = STUDY.engine
TUBE, WIDE = 0.038, 0.076  # bores of a primary, and of a circle with the area of four [m]
CONE = ws.Merge(angle_deg=12.0, cone_length=0.12)
SHORT = STUDY.exhausts[STUDY.base].replace(merge=CONE)
QUICK = ws.Settings(cell_length=0.05, coarse_start=1.0, sample_deg=10.0, tolerance=3e-3)


# geometry and names -------------------------------------------------------------------------------


def test_cone_begins_with_the_area_of_all_tubes_and_ends_with_the_bore_behind():
    tubes = [(ws.Pipe(0.5, d),) for d in (0.03, 0.04, 0.12)]
    cone = CONE.cone(tubes, (ws.Pipe(0.3, 0.05),))
    assert cone.length == 0.12 and cone.outlet_diameter == 0.05
    assert cone.diameter == pytest.approx(0.13, rel=1e-12)  # 3, 4 and 12 make 13


def test_cone_lies_between_the_merge_and_the_collector():
    network = assemble(ENGINE, SHORT)
    cone = network.ducts["merge cone"]
    assert (cone.start_diameter, cone.end_diameter) == (pytest.approx(WIDE), 0.058)
    assert network.nodes["merge"].ends[-1] == ("merge cone", "start")
    assert network.nodes["step merge cone - collector"].ends == (
        ("merge cone", "end"), ("collector", "start"))


def test_merge_without_a_cone_has_no_length():
    lumped = SHORT.replace(merge=CONE.replace(cone_length=None))
    assert lumped == STUDY.exhausts[STUDY.base]
    assert "merge cone" not in assemble(ENGINE, lumped).ducts


def test_throat_is_narrower_than_what_follows():
    throat = SHORT.replace(merge=CONE.replace(cone_diameter=0.050))
    network = assemble(ENGINE, throat)
    assert network.ducts["merge cone"].end_diameter == 0.050
    step = network.nodes["step merge cone - collector"]
    assert isinstance(step, ws.AreaStep)


def test_every_merge_of_pairs_and_banks_has_its_own_cone():
    pairs = SHORT.replace(pairs=((1, 4), (2, 3)), secondary=ws.Pipe(0.4, 0.045),
                          pair_merge=ws.Merge(cone_length=0.06))
    ducts = assemble(ENGINE, pairs).ducts
    assert ducts["merge 2-3 cone"].start_diameter == pytest.approx(sqrt(2.0) * TUBE)
    assert ducts["merge cone"].start_diameter == pytest.approx(sqrt(2.0) * 0.045)
    banks = SHORT.replace(bank_link=ws.Merge(cone_length=0.2), pipe=ws.Pipe(1.0, 0.065))
    ducts = assemble(ENGINE.replace(banks=(1, 2, 2, 1)), banks).ducts
    assert ducts["merge bank 2 cone"].start_diameter == pytest.approx(sqrt(2.0) * TUBE)
    link = ducts["bank merge cone"]
    assert (link.start_diameter, link.end_diameter) == (pytest.approx(sqrt(2.0) * 0.058), 0.065)


def test_one_tube_alone_goes_on_as_a_taper():
    network = assemble(ENGINE.replace(firing_order=(1,)), SHORT)
    cone = network.ducts["merge cone"]
    assert (cone.start_diameter, cone.end_diameter) == (pytest.approx(TUBE), 0.058)
    assert "merge" not in network.nodes


def test_cone_has_the_wall_of_the_tube_behind_it():
    wall = ws.Wall("16 gauge", "stainless 304")
    behind = ws.Pipe(0.3, 0.058, wall=wall, roughness=1e-4, heat_factor=1.7, extra_loss=2.0,
                     friction_factor_scale=0.5, cell_length=0.03)
    (cone,) = assemble(ENGINE, SHORT.replace(collector=behind)).ducts["merge cone"].parts
    for field in ("wall", "roughness", "heat_factor", "friction_factor_scale", "cell_length"):
        assert getattr(cone, field) == getattr(behind, field)
    assert cone.extra_loss == 0.0  # the probe sits in the collector
    brick = ws.Monolith(0.1, 0.1, cell_density=6.2e5, wall_thickness=1.7e-4)
    (cone,) = assemble(ENGINE, SHORT.replace(collector=(brick, behind))).ducts["merge cone"].parts
    assert cone.outlet_diameter == 0.1 and cone.wall == wall


def test_study_file_states_a_cone(tmp_path):
    text = ws.demo_path("collector").read_text("utf-8").replace(
        "[exhaust.merge]", "[exhaust.merge]\ncone_length = 0.1\ncone_diameter = 0.055")
    path = tmp_path / "study.toml"
    path.write_text(text, "utf-8")
    for name in ws.demo_path("collector").parent.glob("*.csv"):
        (tmp_path / name.name).write_bytes(name.read_bytes())
    study = ws.load(path)
    assert all(one.merge.cone_length == 0.1 and one.merge.cone_diameter == 0.055
               for one in study.exhausts.values())


@pytest.mark.parametrize(("make", "said"), [
    (lambda: ws.Merge(cone_length=0.0),
     "Merge: cone_length = 0 m is outside the valid range 0.001 m to 30 m"),
    (lambda: ws.Merge(cone_length=0.1, cone_diameter=0.6),
     "Merge: cone_diameter = 0.6 m is outside the valid range 0.003 m to 0.5 m"),
    (lambda: ws.Merge(cone_diameter=0.05),
     "Merge: cone_diameter = 0.05 m needs a cone, give its cone_length, 0.001 m to 30 m"),
    (lambda: CONE.cone(4 * [(ws.Pipe(1.0, 0.3),)], (ws.Pipe(1.0, 0.3),)),
     "Merge: cone_length = 0.12 m: 4 tubes side by side have the area of a bore of 0.6 m, must "
     "be at most 0.5 m"),
])  # fmt: skip
def test_impossible_cone_is_refused(make, said):
    with pytest.raises(InputError) as caught:
        make()
    assert said in str(caught.value)


# bill ---------------------------------------------------------------------------------------------


def test_bill_counts_the_developed_cone():
    """Handbook: the mantle of a frustum is pi (r1 + r2) times its slant height."""
    row = bill(SHORT, ENGINE, wall=ws.Wall(0.0015, "mild steel")).lines["merge cone"]
    r1, r2 = 0.5 * WIDE, 0.5 * 0.058
    slant = sqrt(0.12**2 + (r1 - r2) ** 2)
    assert row.length == 0.12
    assert row.gas_volume == pytest.approx(pi / 3.0 * 0.12 * (r1 * r1 + r1 * r2 + r2 * r2))
    assert row.inner_area == pytest.approx(pi * (r1 + r2) * slant)
    middle = pi * (r1 + r2 + 0.0015) * slant  # area half way through the metal
    assert row.tube_mass == pytest.approx(7850.0 * 0.0015 * middle, rel=1e-3)


@pytest.mark.parametrize("changes", [
    {},
    {"pairs": ((1, 4), (2, 3)), "secondary": ws.Pipe(0.4, 0.045),
     "pair_merge": ws.Merge(cone_length=0.06)},
    {"bank_link": ws.Merge(cone_length=0.2), "pipe": ws.Pipe(1.0, 0.065)},
    {"primary": None, "primaries": [ws.Pipe(0.7, d) for d in (0.034, 0.038, 0.038, 0.034)],
     "bank_link": ws.XPipe(), "pipe": ws.Pipe(1.0, 0.065)},
])  # fmt: skip
def test_bill_and_network_have_the_same_cones(changes):
    engine = ENGINE.replace(banks=(1, 2, 2, 1)) if "bank_link" in changes else ENGINE
    exhaust = SHORT.replace(**changes)
    lines = bill(exhaust, engine).lines
    ducts = assemble(engine, exhaust).ducts
    for field, of_duct in (("gas_volume", lambda duct: duct.volume()),
                           ("length", lambda duct: duct.length)):
        billed = sum(getattr(own, field) for name, own in lines.items() if "cone" in name)
        assert billed > 0.0 and billed == pytest.approx(
            sum(of_duct(duct) for name, duct in ducts.items() if "cone" in name))


def test_cones_that_differ_stand_one_by_one_in_the_bill():
    own = SHORT.replace(primary=None, primaries=[
        ws.Pipe(0.7, d) for d in (0.034, 0.034, 0.038, 0.038)])
    names = bill(own, ENGINE.replace(banks=(1, 1, 2, 2))).lines
    assert {"merge cone 1", "merge cone 2"} < set(names) and "merge cone" not in names


# gas ----------------------------------------------------------------------------------------------


def merged(merge, collector, tubes=4):
    """A merge of pipes of 30 mm, all closed but the first, and the mouth of the collector."""
    plan = Plan()
    names = "abcdef"[:tubes]
    ends = [plan.lay((name, (ws.Pipe(0.2, 0.03, cell_length=0.02),)))[1] for name in names]
    last = gather(plan, merge, ends, [("collector", (collector,))], "merge")
    for name in names:
        plan.nodes[f"wall {name}"] = ws.ClosedEnd(f"{name}.start")
    plan.nodes["mouth"] = ws.ClosedEnd(last)
    return ws.Network(plan.ducts, plan.nodes)


def burst(network):
    """Pressure at the walls [Pa] after tube a stood at 2 bar; change of mass and of energy."""
    start = {name: (1e5, 0.0, 400.0, "air") for name in network.ducts}
    start["a"] = (2e5, 0.0, 900.0, "burned")
    found = ws.simulate(network, 4e-3, initial=start, samples=50)
    walls = [node for node in network.nodes if node.startswith("wall") or node == "mouth"]
    return np.array([found.trace("pressure", wall).values for wall in walls]), found.audit


@pytest.mark.parametrize("merge", [ws.Merge(volume=1e-4), ws.Merge(model="pressure")])
def test_cone_of_one_bore_is_that_much_more_collector(merge):
    lumped, _ = burst(merged(merge, ws.Pipe(0.30, 0.06, cell_length=0.02)))
    cone, _ = burst(merged(merge.replace(cone_length=0.10),
                           ws.Pipe(0.20, 0.06, cell_length=0.02)))
    np.testing.assert_allclose(cone, lumped, rtol=1e-10)
    other, _ = burst(merged(merge, ws.Pipe(0.20, 0.06, cell_length=0.02)))
    assert abs(other / lumped - 1.0).max() > 0.02  # the length is felt


@pytest.mark.parametrize("far", case.FARS)
def test_wave_comes_back_from_a_cone_as_plane_and_spherical_waves_say(far):
    """Pierce (1981), ch. 7, for the tubes side by side, Munjal (2014), ch. 2, for the cone."""
    k = 2.0 * np.pi * np.array(case.TONES) / case.C0
    size = np.abs(case.reflection(k, 0.15, far))
    found = np.abs(case.echo(0.15, far).tones()) * size
    np.testing.assert_allclose(found, size, atol=5e-4)
    assert abs(size - np.abs(case.reflection(k, None, far))).max() > 3e-3


def test_one_stream_fills_the_cone_with_the_loss_of_borda_and_four_lose_nothing():
    loss, mach = case.steady_loss(0.15)
    assert loss == pytest.approx(case.borda(0.15, mach), abs=5e-3)
    assert case.steady_loss(0.15, case.TUBES)[0] == pytest.approx(0.0, abs=5e-3)


def test_merge_with_a_cone_keeps_its_books():
    _, audit = burst(merged(CONE, ws.Pipe(0.20, 0.04, cell_length=0.02)))
    assert abs(audit["mass_error"]) < 1e-13 > abs(audit["energy_error"])


def test_engine_with_a_cone_balances_its_books_and_feels_it():
    points = [ws.run_point(ENGINE, one, 3000.0, settings=QUICK)
              for one in (SHORT, SHORT.replace(merge=CONE.replace(cone_length=None)))]
    for point in points:
        assert abs(point.audit["mass_error"]) < 1e-13 > abs(point.audit["energy_error"])
    assert points[0].exhaust.merge.cone_length == 0.12
    assert abs(points[0].torque / points[1].torque - 1.0) > 1e-3
