"""Silencers and side branches: geometry, packing, and the ducts and nodes they become."""

from math import pi, sqrt

import pytest

from wavesim.descriptions.assemble import assemble
from wavesim.descriptions.exhaust import Exhaust
from wavesim.descriptions.materials import FIBRES, Packing
from wavesim.descriptions.network import Network
from wavesim.descriptions.nodes import AreaStep, ClosedEnd, Junction, Orifice, Perforate, Volume
from wavesim.descriptions.pipes import Pipe
from wavesim.descriptions.silencers import Chamber, PerforatedSilencer, Resonator, SideTube
from wavesim.descriptions.study import demo_path, load
from wavesim.errors import InputError

ENGINE = load(demo_path("collector")).engine
PIPE = Pipe(0.3, 0.05)
BOX = PerforatedSilencer(0.4, 0.05, case_diameter=0.13, packing=Packing(bulk_density=100.0))


def network(*parts):
    """Network of the demo engine with `parts` as its pipe."""
    exhaust = Exhaust(primary=Pipe(0.7, 0.038), collector=Pipe(0.3, 0.05), pipe=parts)
    return assemble(ENGINE, exhaust)


def ends(node):
    return tuple(f"{duct} {side}" for duct, side in node.ends)


# --- perforated silencer -----------------------------------------------------------------------


def test_core_and_annulus_have_the_areas_of_the_case():
    case = pi / 4 * 0.13**2 * 0.4
    metal = pi / 4 * (BOX.core_outer**2 - 0.05**2) * 0.4
    assert BOX.core.gas_volume + BOX.annulus.gas_volume == pytest.approx(case - metal)
    assert BOX.annulus.diameter == pytest.approx(sqrt(0.13**2 - 0.053**2))
    assert BOX.annulus.hydraulic_diameter == pytest.approx(0.13 - 0.053)


def test_packing_takes_its_room_and_has_its_mass():
    share = 100.0 / FIBRES["glass fibre"].density
    filled = BOX.annulus.gas_volume
    assert BOX.replace(packing=None).gas_volume - BOX.gas_volume == pytest.approx(share * filled)
    assert BOX.packing_mass == pytest.approx(100.0 * filled)
    assert BOX.packing.heat_capacity == pytest.approx(100.0 * 800.0)


@pytest.mark.parametrize(
    ("density", "diameter", "resistivity"),
    [(50, 10e-6, 12643), (100, 10e-6, 36511), (100, 15e-6, 16227), (150, 9e-6, 83823)],
)
def test_resistivity_of_glass_is_that_of_bies_and_hansen(density, diameter, resistivity):
    wool = Packing(bulk_density=density, fibre_diameter=diameter)
    assert wool.resistivity == pytest.approx(resistivity, rel=1e-4)


def test_resistivity_of_silencer_roving_is_of_the_published_size():
    # Selamet, Lee and Huff (from memory): 4896 and 17378 Pa s/m2 at 100 and 200 g/l.
    assert Packing(bulk_density=100).resistivity == pytest.approx(4896, rel=0.35)
    assert Packing(bulk_density=200).resistivity == pytest.approx(17378, rel=0.35)
    assert Packing(flow_resistivity=9000.0).resistivity == 9000.0


def test_silencer_becomes_two_ducts_coupled_by_a_perforate():
    net = network(PIPE, BOX, PIPE)
    core, annulus = net.ducts["pipe/2 core"], net.ducts["pipe/2 annulus"]
    assert core.length == annulus.length == 0.4 and core.start_diameter == 0.05
    node = net.nodes["perforate pipe/2"]
    assert node == Perforate(
        "pipe/2 core", "pipe/2 annulus", hole_diameter=0.0035, porosity=0.3,
        wall_thickness=0.0015, discharge_coefficient=0.76, packing=BOX.packing)  # fmt: skip
    assert node.ends == () and node.hole_area(0.05) == pytest.approx(0.3 * pi * 0.05)
    for side in ("start", "end"):
        assert ends(net.nodes[f"wall pipe/2 annulus {side}"]) == (f"pipe/2 annulus {side}",)
    assert isinstance(net.nodes["step pipe/1 - pipe/2 core"], AreaStep)
    assert isinstance(net.nodes["step pipe/2 core - pipe/3"], AreaStep)


def test_holes_are_those_of_the_silencer():
    holes = {"hole_diameter": 0.004, "porosity": 0.2, "discharge_coefficient": 0.7}
    node = network(BOX.replace(core_wall=0.002, **holes)).nodes["perforate pipe"]
    assert {name: getattr(node, name) for name in holes} == holes
    assert node.wall_thickness == 0.002


def test_silencer_alone_needs_no_number():
    assert {"pipe core", "pipe annulus"} <= set(network(BOX).ducts)


def test_both_ducts_get_the_same_cells():
    net = network(BOX.replace(cell_length=0.007))
    assert net.ducts["pipe core"].parts[0].cell_length == 0.007
    assert net.ducts["pipe annulus"].parts[0].cell_length == 0.007


def test_core_loses_more_than_a_smooth_pipe_by_its_holes():
    open_area_ratio = 4 * 0.3 * 0.4 / 0.05
    assert BOX.core.loss_coefficient(1e5) == pytest.approx(0.05 * open_area_ratio)
    empty = BOX.replace(packing=None)
    assert empty.core.loss_coefficient(1e5) == pytest.approx(0.03 * open_area_ratio)
    assert BOX.replace(core_loss=0.2).core.loss_coefficient(1e5) == 0.2


@pytest.mark.parametrize("side", ["primary", "collector", "tailpipe"])
def test_silencers_may_stand_in_every_line(side):
    lines = {"primary": Pipe(0.7, 0.05), "collector": Pipe(0.3, 0.05)}
    net = assemble(ENGINE, Exhaust(**{**lines, side: (PIPE, BOX, PIPE)}))
    name = "primary 4" if side == "primary" else side
    assert f"perforate {name}/2" in net.nodes


# --- network check of a perforate --------------------------------------------------------------


def faults(outer, **changes):
    node = {"core": "a", "annulus": "b", "hole_diameter": 0.003, "porosity": 0.1,
            "wall_thickness": 0.001, **changes}  # fmt: skip
    ducts = {"a": Pipe(0.4, 0.05), "b": outer}
    walls = {f"{d}{s}": ClosedEnd(f"{d}.{s}") for d in ducts for s in ("start", "end")}
    return Network(ducts, {**walls, "holes": Perforate(**node)}).check()


def test_network_checks_both_ducts_of_a_perforate():
    assert faults(Pipe(0.4, 0.1)) == []
    assert faults(Pipe(0.5, 0.1)) == [
        "node 'holes': 'b' is 0.5 m long, must be as long as 'a', 0.4 m"]  # fmt: skip
    assert "cell_length of 'a' and 'b' must be equal" in faults(Pipe(0.4, 0.1, cell_length=0.01))[0]
    assert "'bb' names an unknown duct; did you mean 'b'?" in faults(PIPE, annulus="bb")[0]
    assert "core and annulus are both 'a'" in faults(PIPE, annulus="a")[0]
    narrow = {"a": Pipe(0.4, 0.01), "b": Pipe(0.4, 0.1)}
    holes = Perforate("a", "b", hole_diameter=0.02, porosity=0.1, wall_thickness=0.001)
    found = " ".join(Network(narrow, {"holes": holes}).check())
    assert "hole_diameter = 0.02 m is larger than the bore of 'a'" in found
    assert "valid are at most 0.01 m" in found


# --- chambers ----------------------------------------------------------------------------------


def test_plain_chamber_is_a_wide_duct_between_two_steps():
    net = network(PIPE, Chamber(0.3, 0.05, case_diameter=0.15), PIPE)
    assert net.ducts["pipe/2 chamber"].start_diameter == 0.15
    assert ends(net.nodes["step pipe/1 - pipe/2 chamber"]) == ("pipe/1 end", "pipe/2 chamber start")
    assert isinstance(net.nodes["step pipe/2 chamber - pipe/3"], AreaStep)


def test_tubes_that_reach_in_leave_closed_rings_beside_them():
    chamber = Chamber(0.3, 0.05, case_diameter=0.15, inlet_extension=0.1, outlet_extension=0.05)
    net = network(PIPE, chamber, PIPE)
    assert net.ducts["pipe/1"].length == pytest.approx(0.4)
    assert net.ducts["pipe/2 chamber"].length == pytest.approx(0.15)
    assert net.ducts["pipe/3"].length == pytest.approx(0.35)
    inlet = net.nodes["junction pipe/1 - pipe/2 chamber"]
    assert isinstance(inlet, Junction) and inlet.model == "pressure"
    assert ends(inlet) == ("pipe/1 end", "pipe/2 inlet annulus end", "pipe/2 chamber start")
    outlet = net.nodes["junction pipe/2 chamber - pipe/3"]
    assert ends(outlet) == ("pipe/2 chamber end", "pipe/2 outlet annulus start", "pipe/3 start")
    assert ends(net.nodes["wall pipe/2 inlet annulus start"]) == ("pipe/2 inlet annulus start",)
    ring = net.ducts["pipe/2 inlet annulus"]
    assert ring.area_at(0.0) == pytest.approx(pi / 4 * (0.15**2 - 0.053**2))
    assert ring.hydraulic_diameter_at(0.0) == pytest.approx(0.15 - 0.053)


def test_gas_volume_of_a_chamber_is_the_case_less_the_tube_walls():
    chamber = Chamber(0.3, 0.05, case_diameter=0.15, inlet_extension=0.1, outlet_extension=0.05)
    case = pi / 4 * 0.15**2 * 0.3
    assert chamber.gas_volume == pytest.approx(case - pi / 4 * (0.053**2 - 0.05**2) * 0.15)


def test_chambers_in_a_row_share_a_baffle_with_a_hole_or_a_tube():
    plain = Chamber(0.2, 0.05, case_diameter=0.15)
    net = network(PIPE, plain, plain.replace(diameter=0.04), PIPE)
    hole = net.nodes["plate pipe/2 chamber - pipe/3 chamber"]
    assert isinstance(hole, Orifice) and hole.diameter == 0.04
    net = network(PIPE, plain.replace(outlet_extension=0.06),
                  plain.replace(inlet_extension=0.04), PIPE)
    tube = net.ducts["pipe/3"]
    assert tube.length == pytest.approx(0.1) and tube.start_diameter == 0.05
    assert {"pipe/2 outlet annulus", "pipe/4 inlet annulus"} <= set(net.ducts)


def test_opening_narrower_than_the_pipe_is_a_hole():
    net = network(PIPE, Chamber(0.3, 0.03, case_diameter=0.15), PIPE)
    assert net.nodes["plate pipe/1 - pipe/2 chamber"].diameter == 0.03


# --- side branches -----------------------------------------------------------------------------


def test_side_tube_hangs_on_a_junction_and_is_closed():
    net = network(PIPE, SideTube(0.25, 0.04, end_correction=0.0), PIPE)
    node = net.nodes["junction pipe/1 - pipe/2"]
    assert node.model == "pressure"
    assert ends(node) == ("pipe/1 end", "pipe side tube start", "pipe/2 start")
    assert ends(net.nodes["wall pipe side tube end"]) == ("pipe side tube end",)
    assert net.ducts["pipe side tube"].length == 0.25


def test_several_side_tubes_are_numbered():
    side = SideTube(0.25, 0.04)
    net = network(PIPE, side, side, PIPE, side, PIPE)
    assert len(net.nodes["junction pipe/1 - pipe/2"].ends) == 4
    assert {f"pipe side tube {i}" for i in (1, 2, 3)} <= set(net.ducts)


def test_mouth_correction_is_added_to_the_tube_but_not_to_its_gas():
    side = SideTube(0.25, 0.04)
    assert side.acoustic_length == pytest.approx(0.25 + 0.8217 * 0.02)
    assert side.gas_volume == pytest.approx(pi / 4 * 0.04**2 * 0.25)


def test_resonator_is_a_neck_with_a_volume():
    can = Resonator(volume=0.002, neck_length=0.04, neck_diameter=0.03, end_correction=0.0)
    net = network(PIPE, can, PIPE)
    assert ends(net.nodes["junction pipe/1 - pipe/2"])[1] == "pipe neck start"
    node = net.nodes["pipe resonator"]
    assert isinstance(node, Volume) and node.volume == 0.002
    assert ends(node) == ("pipe neck end",)
    spring = pi / 4 * 0.03**2 / (0.04 * 0.002)
    assert can.frequency(343.0) == pytest.approx(343.0 / (2 * pi) * sqrt(spring))


def test_chamber_without_a_pipe_behind_it_is_refused():
    with pytest.raises(InputError, match="pipe: Chamber must stand between .* a Pipe behind it"):
        network(PIPE, Chamber(0.3, 0.05, case_diameter=0.15))
