"""Bends, plates, monoliths, lines of many parts, exhaust topologies and their study files."""

import json
from dataclasses import dataclass
from functools import partial
from math import pi

import numpy as np
import pytest

from wavesim.descriptions.assemble import assemble
from wavesim.descriptions.exhaust import Exhaust, HPipe, Merge, XPipe
from wavesim.descriptions.lines import Plan
from wavesim.descriptions.materials import ROUGHNESS, gauge
from wavesim.descriptions.nodes import AreaStep, Junction, Orifice, Throttle
from wavesim.descriptions.parts import Monolith, Plate
from wavesim.descriptions.pieces import Opening
from wavesim.descriptions.pipes import Amounts, Bend, Duct, Part, Pipe, friction_factor
from wavesim.descriptions.silencers import Chamber, PerforatedSilencer, Resonator, SideTube
from wavesim.descriptions.study import demo_path, load, save
from wavesim.descriptions.walls import Wall
from wavesim.errors import InputError
from wavesim.fields.description import describe, number, restore, vary
from wavesim.units import cpsi

fluids = pytest.importorskip("fluids")

STUDY = load(demo_path("collector"))
ENGINE = STUDY.engine
V4 = ENGINE.replace(banks=(1, 2, 2, 1))
EXHAUST = Exhaust(primary=Pipe(0.7, 0.038), collector=Pipe(0.3, 0.054), pipe=Pipe(1.0, 0.054))

REYNOLDS = np.array([2e4, 1e5, 3e5, 1e6])


# --- bends -------------------------------------------------------------------------------------


def total_loss(bend, reynolds):
    """Loss with the wall friction of the arc."""
    friction = friction_factor(reynolds, bend.roughness / bend.diameter)
    return bend.loss_coefficient(reynolds) + friction * bend.length / bend.diameter


def handbook(method, ratio, angle, reynolds, roughness=0.0):
    return np.array([
        fluids.bend_rounded(0.05, angle, rc=0.05 * ratio, Re=re, roughness=roughness, method=method)
        for re in reynolds
    ])  # fmt: skip


@pytest.mark.parametrize("roughness", [0.0, 4.5e-5])
@pytest.mark.parametrize("angle", [15, 30, 45, 60, 90, 135, 180])
@pytest.mark.parametrize("ratio", [0.7, 1.0, 1.5, 2.0, 3.0, 5.0, 10.0])
def test_bend_loses_what_its_formula_says_within_one_and_a_half_percent(ratio, angle, roughness):
    bend = Bend(0.05, angle, radius_ratio=ratio, roughness=roughness)
    expected = handbook("Rennels", ratio, angle, REYNOLDS, roughness)
    np.testing.assert_allclose(total_loss(bend, REYNOLDS), expected, rtol=0.015)


def test_bend_formula_is_exact_at_a_given_friction_factor():
    bend = Bend(0.05, 60, radius=0.09)
    a, b = bend.loss_constants
    for f in (0.012, 0.018, 0.04):
        total = fluids.bend_rounded(0.05, 60, fd=f, rc=0.09, method="Rennels")
        assert a + b * f + f * bend.length / 0.05 == pytest.approx(total, rel=1e-12)


@pytest.mark.parametrize("method", ["Miller", "Ito"])
@pytest.mark.parametrize("ratio", [1.0, 1.5, 2.0, 3.0, 5.0])
def test_smooth_right_angle_agrees_with_other_handbooks_within_their_scatter(method, ratio):
    bend = Bend(0.05, 90, radius_ratio=ratio, roughness=0.0)
    expected = handbook(method, ratio, 90, REYNOLDS)
    np.testing.assert_allclose(total_loss(bend, REYNOLDS), expected, rtol=0.20)


def test_bend_loss_falls_with_radius_and_reynolds_number_and_grows_with_angle():
    by_ratio = [Bend(0.05, 90, radius_ratio=r).loss_coefficient(1e5) for r in (1, 1.5, 2, 3)]
    by_angle = [Bend(0.05, a, radius_ratio=1.5).loss_coefficient(1e5) for a in (20, 45, 70, 90)]
    assert np.all(np.diff(by_ratio) < 0.0) and np.all(np.diff(by_angle) > 0.0)
    assert np.all(np.diff(Bend(0.05, 90, radius_ratio=1.5).loss_coefficient(REYNOLDS)) < 0.0)


def test_length_of_a_bend_follows_its_centre_line():
    assert Bend(0.05, 90, radius=0.1).length == pytest.approx(0.05 * pi)
    assert Bend(0.05, 90, radius_ratio=2).length == pytest.approx(0.05 * pi)


def test_straight_pipe_loses_only_what_is_stated():
    np.testing.assert_array_equal(Pipe(1.0, 0.05).loss_coefficient(REYNOLDS), 0.0)
    joint = Pipe(0.1, 0.05, extra_loss=0.3)
    np.testing.assert_array_equal(joint.loss_coefficient(REYNOLDS), 0.3)


@pytest.mark.parametrize("rough", [0.0, 1e-4, 1e-3, 1e-2, 0.05])
def test_friction_factor_is_within_two_percent_of_colebrook(rough):
    turbulent = np.geomspace(4e3, 1e7, 40)
    expected = [fluids.friction.Clamond(re, rough) for re in turbulent]
    np.testing.assert_allclose(friction_factor(turbulent, rough), expected, rtol=0.02)
    assert friction_factor(1000.0, rough) == pytest.approx(0.064)


def test_tube_gauges_are_those_of_the_birmingham_table():
    for n in range(7, 25):
        expected = fluids.piping.t_from_gauge(n, SI=True, schedule="BWG")
        assert gauge(n) == pytest.approx(expected, abs=5e-6)


def test_roughness_may_be_given_by_name():
    rusty = Pipe(1.0, 0.05, roughness="light rust")
    assert rusty.roughness == ROUGHNESS["light rust"] == Bend(
        0.05, 90, radius_ratio=1.5, roughness="light rust").roughness
    assert list(ROUGHNESS.values()) == sorted(ROUGHNESS.values())


# --- ducts of several kinds of tube ------------------------------------------------------------

RUN = Duct(parts=(Pipe(0.5, 0.05), Bend(0.05, 45, radius_ratio=1.5),
                  Pipe(0.3, 0.05, end_diameter=0.07)))  # fmt: skip


def test_pipes_and_bends_of_one_bore_make_one_duct():
    assert RUN.length == pytest.approx(0.8 + 0.075 * pi / 4)
    assert RUN.diameter_at(0.52) == 0.05 and RUN.end_diameter == 0.07
    assert RUN.volume() == pytest.approx(sum(part.gas_volume for part in RUN.parts), rel=1e-12)


@pytest.mark.parametrize("cells", [7, 50, 333])
def test_loss_of_a_bend_is_spread_over_cells_without_loss(cells):
    faces = np.linspace(0.0, RUN.length, cells + 1)
    per_metre = [part.loss_coefficient(1e5) / part.length for part in RUN.parts]
    spread = RUN.mean(per_metre, faces[:-1], faces[1:])
    total = RUN.parts[1].loss_coefficient(1e5)
    assert np.sum(spread * np.diff(faces)) == pytest.approx(total, rel=1e-12)


def test_hydraulic_diameter_is_the_bore_unless_given():
    slot = Duct(parts=(Pipe(0.5, 0.05, hydraulic_diameter=0.01), Pipe(0.5, 0.05)))
    np.testing.assert_allclose(slot.hydraulic_diameter_at(np.array([0.2, 0.7])), [0.01, 0.05])
    np.testing.assert_allclose(RUN.hydraulic_diameter_at(0.9), RUN.diameter_at(0.9))


# --- plates and monoliths ----------------------------------------------------------------------


def test_plate_becomes_an_orifice_between_two_ducts():
    system = EXHAUST.replace(pipe=(Pipe(0.5, 0.054), Plate(0.04), Pipe(0.5, 0.054)))
    node = assemble(ENGINE, system).nodes["plate pipe/1 - pipe/2"]
    assert isinstance(node, Orifice) and node.diameter == 0.04
    assert node.ends == (("pipe/1", "end"), ("pipe/2", "start"))


def test_monolith_counts_its_channels():
    brick = Monolith(0.12, 0.1, cell_density=400 * cpsi, wall_thickness=0.165e-3)
    pitch = 0.0254 / 20
    assert brick.hydraulic_diameter == pytest.approx(pitch - 0.165e-3)
    assert brick.open_fraction == pytest.approx((1 - 0.165e-3 / pitch) ** 2)
    walls = 4 * brick.hydraulic_diameter * 400 * cpsi * pi / 4 * 0.1**2 * 0.12
    assert brick.wetted_area == pytest.approx(walls)
    assert brick.channels.gas_volume == pytest.approx(brick.gas_volume)


def test_monolith_becomes_a_duct_between_two_steps():
    brick = Monolith(0.12, 0.1, cell_density=400 * cpsi, wall_thickness=0.165e-3)
    cones = Pipe(0.1, 0.054, end_diameter=0.1), brick, Pipe(0.1, 0.1, end_diameter=0.054)
    network = assemble(ENGINE, EXHAUST.replace(pipe=cones))
    channels = network.ducts["pipe/2 channels"]
    assert channels.area_at(0.0) == pytest.approx(brick.open_fraction * pi / 4 * 0.1**2)
    assert channels.hydraulic_diameter_at(0.05) == pytest.approx(brick.hydraulic_diameter)
    assert isinstance(network.nodes["step pipe/2 channels - pipe/3"], AreaStep)


@pytest.mark.parametrize(
    ("line", "fragment"),
    [
        ((Pipe(0.3, 0.054), Plate(0.04)), "pipe: Plate must stand between .* put a Pipe behind"),
        ((Pipe(0.3, 0.054), SideTube(0.3, 0.04)), "SideTube .* behind"),
        ((Pipe(0.3, 0.054), Plate(0.06), Pipe(0.3, 0.054)), "diameter = 0.06 m .* at most 0.054 m"),
        ((Pipe(0.3, 0.054), Plate(0.04), SideTube(0.3, 0.04), Pipe(0.3, 0.054)),
         "a hole and a side branch meet"),
    ],
)  # fmt: skip
def test_part_that_cannot_stand_where_it_does_is_named(line, fragment):
    with pytest.raises(InputError, match=fragment):
        assemble(ENGINE, EXHAUST.replace(pipe=line))


def test_part_that_hangs_on_a_merge_is_named():
    with pytest.raises(InputError, match="collector: SideTube .* put a Pipe before it"):
        assemble(ENGINE, EXHAUST.replace(collector=(SideTube(0.3, 0.04), Pipe(0.3, 0.054))))


# --- what a part brings to its line ------------------------------------------------------------


@dataclass(frozen=True)
class Shutter(Part):
    """A part as others may write one: a plate on a shaft, which becomes a Throttle."""

    diameter: float = number("m", 0.003, 0.5)

    @property
    def pieces(self):
        throttle = partial(Throttle, diameter=self.diameter, plate_angle_deg=60.0)
        return (Opening("shutter", self.diameter, throttle),)

    def amounts(self, wall):
        return Amounts()


def nodes_of(*parts):
    """Nodes of a line by name."""
    plan = Plan()
    plan.lay(("line", parts))
    return plan.nodes


def test_part_brings_its_own_joint():
    pipe = Pipe(0.3, 0.05)
    assert nodes_of(pipe, Shutter(0.04), pipe) == {
        "shutter line/1 - line/2": Throttle(("line/1.end", "line/2.start"), diameter=0.04,
                                            plate_angle_deg=60.0)}  # fmt: skip
    assert not Shutter(0.05).adds_length
    with pytest.raises(InputError, match="line: Shutter must stand between two other parts"):
        nodes_of(pipe, Shutter(0.05))


def test_two_kinds_of_joint_in_one_place_are_refused():
    pipe, chamber = Pipe(0.3, 0.05), Chamber(0.3, 0.04, case_diameter=0.15)
    with pytest.raises(InputError, match="Chamber stands where shutter and plate meet, put a Pipe"):
        nodes_of(pipe, Shutter(0.05), chamber, pipe)
    with pytest.raises(InputError, match="SideTube stands where a hole and a side branch meet"):
        nodes_of(pipe, Shutter(0.05), SideTube(0.2, 0.03), pipe)


def test_of_a_plate_and_the_hole_of_a_chamber_the_narrower_counts():
    pipe, chamber = Pipe(0.3, 0.05), Chamber(0.3, 0.05, end_diameter=0.04, case_diameter=0.15)
    for hole in (0.03, 0.045):
        nodes = nodes_of(pipe, chamber, Plate(hole), pipe)
        assert nodes["plate line/2 chamber - line/3"].diameter == min(hole, 0.04)


# --- topologies --------------------------------------------------------------------------------


def test_four_into_two_into_one():
    system = EXHAUST.replace(pairs=((1, 4), (2, 3)), secondary=Pipe(0.4, 0.044))
    network = assemble(ENGINE, system)
    assert network.nodes["merge 1-4"].ends == (
        ("primary 1", "end"), ("primary 4", "end"), ("secondary 1-4", "start"))  # fmt: skip
    assert network.nodes["merge"].ends == (
        ("secondary 1-4", "end"), ("secondary 2-3", "end"), ("collector", "start"))  # fmt: skip
    assert system.with_secondary(length=0.5).secondary == (Pipe(0.5, 0.044),)


def test_pairs_within_banks():
    system = EXHAUST.replace(pairs=((1, 4), (2, 3)), secondary=Pipe(0.4, 0.044))
    network = assemble(V4, system)
    assert network.nodes["step secondary 1-4 - collector bank 1"].ends[0] == (
        "secondary 1-4", "end")  # fmt: skip
    with pytest.raises(InputError, match=r"pairs: \(1, 2\) .* spans two banks"):
        assemble(V4, system.replace(pairs=((1, 2), (3, 4))))
    for pairs in (((1, 4), (2, 2)), ((1, 4), (2, 3), (5, 6)), ((1, 4),)):
        with pytest.raises(InputError, match="every cylinder number from 1 to 4 exactly once"):
            assemble(ENGINE, system.replace(pairs=pairs))


def test_h_pipe_joins_the_ends_of_two_collectors():
    network = assemble(V4, EXHAUST.replace(bank_link=HPipe(tube=Pipe(0.3, 0.045))))
    assert network.nodes["h-pipe bank 1"].ends == (
        ("collector bank 1", "end"), ("pipe bank 1", "start"), ("h-pipe", "start"))  # fmt: skip
    assert network.nodes["h-pipe bank 2"].ends[2] == ("h-pipe", "end")
    back, on, across = network.nodes["h-pipe bank 1"].unit_vectors
    np.testing.assert_allclose([back @ on, on @ across], [-1.0, 0.0], atol=1e-15)
    assert {"outlet bank 1", "outlet bank 2"} <= set(network.nodes)


def test_x_pipe_lets_each_stream_run_straight_to_the_other_side():
    network = assemble(V4, EXHAUST.replace(bank_link=XPipe(angle_deg=25)))
    node = network.nodes["x-pipe"]
    assert isinstance(node, Junction)
    assert [duct for duct, _ in node.ends] == [
        "collector bank 1", "collector bank 2", "pipe bank 1", "pipe bank 2"]  # fmt: skip
    v = node.unit_vectors
    np.testing.assert_allclose([v[0] + v[3], v[1] + v[2]], 0.0, atol=1e-15)
    assert v[2] @ [0, 0, 1] == pytest.approx(np.cos(np.radians(25)))


def test_two_banks_may_merge_into_one_pipe():
    system = EXHAUST.replace(bank_link=Merge(angle_deg=20), tailpipe=Pipe(0.5, 0.06))
    network = assemble(V4, system)
    assert network.nodes["bank merge"].ends == (
        ("collector bank 1", "end"), ("collector bank 2", "end"), ("pipe", "start"))  # fmt: skip
    assert network.nodes["outlet"].ends == (("tailpipe", "end"),)


def test_link_needs_two_banks():
    with pytest.raises(InputError, match="bank_link = XPipe needs an engine with 2 banks"):
        assemble(ENGINE, EXHAUST.replace(bank_link=XPipe()))


def test_lines_of_many_parts_survive_plain_data_and_paths():
    system = EXHAUST.replace(
        pairs=((1, 4), (2, 3)), secondary=Pipe(0.4, 0.044),
        bank_link=HPipe(tube=(Pipe(0.2, 0.04), Bend(0.04, 90, radius_ratio=1.5))),
        tailpipe=(Pipe(0.3, 0.05, wall=Wall("16 gauge")),
                  Resonator(volume=2e-3, neck_length=0.04, neck_diameter=0.03),
                  PerforatedSilencer(0.4, 0.05, case_diameter=0.13)))  # fmt: skip
    assert restore(json.loads(json.dumps(describe(system)))) == system
    assert vary(system, "tailpipe.2.porosity", 0.1).tailpipe[2].porosity == 0.1
    assert hash(system) == hash(restore(describe(system)))


# --- study files -------------------------------------------------------------------------------

DEMO = demo_path("collector").read_text(encoding="utf-8")
LINE = """
[exhaust.pipe]
diameter = 0.05
heat_factor = 1.5
roughness = "light rust"
wall = {thickness = "16 gauge", metal = "stainless 304", outside = "road speed"}
parts = [
    {length = 0.5},
    {part = "bend", angle_deg = 45, radius_ratio = 1.5},
    {part = "perforated silencer", length = 0.4, case_diameter = 0.13, packing.bulk_density = 90},
    {part = "side tube", length = 0.2, diameter = 0.03},
    {length = 0.3, heat_factor = 1.0},
]
"""


@pytest.fixture
def write(tmp_path):
    """Function that loads the demo with some text put before its merge."""
    for csv in demo_path("collector").parent.glob("*.csv"):
        (tmp_path / csv.name).write_text(csv.read_text())

    def load_with(extra):
        path = tmp_path / "study.toml"
        path.write_text(DEMO.replace("[exhaust.merge]", f"{extra}\n[exhaust.merge]", 1))
        return load(path)

    return load_with


def test_line_in_a_study_file_reads_as_a_sentence(write):
    first, bend, box, side, last = write(LINE).exhausts["short collector"].pipe
    assert first == Pipe(0.5, 0.05, heat_factor=1.5, roughness="light rust", wall=Wall(
        "16 gauge", "stainless 304", outside="road speed"))
    assert bend == Bend(0.05, 45, radius_ratio=1.5, heat_factor=1.5, roughness="light rust",
                        wall=first.wall)
    assert (box.diameter, box.packing.bulk_density, box.heat_factor) == (0.05, 90.0, 1.5)
    assert side == SideTube(0.2, 0.03)
    assert last.heat_factor == 1.0 and last.wall == first.wall


def test_line_may_also_be_an_array_of_tables(write):
    study = write(
        '[[exhaust.pipe]]\nlength = 0.5\ndiameter = 0.05\n'
        '[[exhaust.pipe]]\npart = "bend"\ndiameter = 0.05\nangle_deg = 30\nradius_ratio = 2\n'
    )
    line = (Pipe(0.5, 0.05), Bend(0.05, 30, radius_ratio=2))
    assert study.exhausts[study.base].pipe == line


@pytest.mark.parametrize(
    ("old", "new", "fragments"),
    [
        ('"bend"', '"bent"', ["exhaust.pipe.parts.1: part = 'bent'", "'side tube'",
                              "did you mean 'bend'"]),
        ("heat_factor = 1.5", "heat_facter = 1.5", ["exhaust.pipe: no key 'heat_facter'",
                                                   "did you mean 'heat_factor'"]),
        ("angle_deg", "angle", ["exhaust.pipe.parts.1: Bend: no field 'angle'", "'angle_deg'"]),
        ("{length = 0.5}", "7", ["exhaust.pipe: parts = ", "list of tables"]),
        ("case_diameter = 0.13", "case_diameter = 130", ["exhaust.pipe.parts.2: PerforatedSilencer",
                                                        "130 mm is 0.13"]),
        ('"road speed"', '"road sped"', ["exhaust.pipe.parts.0.wall: Wall: outside = 'road sped'",
                                         "'road speed'"]),
    ],
)  # fmt: skip
def test_fault_in_a_line_is_named_with_its_place(write, old, new, fragments):
    assert old in LINE
    with pytest.raises(InputError) as caught:
        write(LINE.replace(old, new, 1))
    for fragment in fragments:
        assert fragment in str(caught.value)


def test_line_of_many_parts_is_saved_and_loaded(write, tmp_path):
    study = write(LINE)
    save(study, tmp_path / "out.toml")
    assert load(tmp_path / "out.toml") == study


def test_links_and_pairs_are_saved_and_loaded(tmp_path):
    exhausts = {
        "base": EXHAUST,
        "tri-y": EXHAUST.replace(pairs=((1, 4), (2, 3)), secondary=Pipe(0.4, 0.044)),
        "x": EXHAUST.replace(bank_link=XPipe()),
        "y": EXHAUST.replace(bank_link=Merge()),
        "h": EXHAUST.replace(bank_link=HPipe(tube=Pipe(0.3, 0.045))),
    }
    study = STUDY.replace(engine=V4, exhausts=exhausts, engines={})
    save(study, tmp_path / "out.toml")
    assert load(tmp_path / "out.toml") == study


# --- the study of complete systems -------------------------------------------------------------

COMPLETE = load(demo_path("complete"))


def test_complete_systems_differ_only_in_bore():
    assert COMPLETE.engine == ENGINE
    assert (COMPLETE.rpm[0], COMPLETE.rpm[-1]) == (1500.0, 7000.0)
    collector, small, large = COMPLETE.exhausts.values()
    assert not collector.pipe and not collector.tailpipe
    for a, b in zip(small.pipe + small.tailpipe, large.pipe + large.tailpipe, strict=True):
        assert type(a) is type(b)
        assert b.outlet_diameter == pytest.approx(1.2 * a.outlet_diameter)
    assert small.tailpipe[0].replace(diameter=0.0612) == large.tailpipe[0]


def test_complete_system_is_about_four_metres_with_five_bends():
    small = list(COMPLETE.exhausts.values())[1]
    parts = small.collector + small.pipe + small.tailpipe
    assert sum(part.length for part in parts) == pytest.approx(4.0, abs=0.2)
    assert sum(isinstance(part, Bend) for part in parts) == 5
    assert isinstance(parts[-1], Bend)


def test_variant_may_start_from_another(tmp_path):
    text = demo_path("complete").read_text(encoding="utf-8")
    for csv in demo_path("complete").parent.glob("*.csv"):
        (tmp_path / csv.name).write_text(csv.read_text())
    path = tmp_path / "study.toml"
    path.write_text(text.replace('from = "complete, 51 mm"', 'from = "complete, 52 mm"'))
    with pytest.raises(InputError, match="from = 'complete, 52 mm' .* mean 'complete, 51 mm'"):
        load(path)
    save(COMPLETE, tmp_path / "again.toml")
    assert load(tmp_path / "again.toml") == COMPLETE


def test_unknown_example_is_refused():
    with pytest.raises(InputError, match="demo_path: name = 'complet' .* mean 'complete'"):
        demo_path("complet")
