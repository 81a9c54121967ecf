"""The bill: sums of parts, masses against hand calculation, text and CSV."""

import csv
from math import pi

import pytest

from wavesim.descriptions.assemble import assemble
from wavesim.descriptions.exhaust import Exhaust, HPipe, Merge
from wavesim.descriptions.materials import METALS, Packing
from wavesim.descriptions.nodes import ClosedEnd
from wavesim.descriptions.parts import Monolith, Plate
from wavesim.descriptions.pipes import Bend, Pipe
from wavesim.descriptions.silencers import Chamber, PerforatedSilencer, Resonator, SideTube
from wavesim.descriptions.study import demo_path, load
from wavesim.descriptions.walls import Wall
from wavesim.errors import InputError
from wavesim.results.bill import DEFAULT_WALL, bill

ENGINE = load(demo_path("collector")).engine
V4 = ENGINE.replace(banks=(1, 2, 2, 1))
STEEL = METALS["mild steel"].density
PIPE = Pipe(0.5, 0.05)
BEND = Bend(0.05, 60, radius_ratio=2.0)
BOX = PerforatedSilencer(0.4, 0.05, case_diameter=0.13, packing=Packing(bulk_density=100.0))
HEADER = {"primary": Pipe(0.75, 0.038), "collector": Pipe(0.3, 0.05)}
COMPLETE = Exhaust(name="complete", **HEADER, pipe=(PIPE, BEND, PIPE), tailpipe=(BOX, PIPE, BEND))


def test_length_and_bends_are_counted():
    total = bill(COMPLETE, ENGINE).total
    arc = pi / 3 * 0.1
    assert total.length == pytest.approx(4 * 0.75 + 0.3 + 3 * 0.5 + 2 * arc + 0.4)
    assert (total.bends, total.bend_angle_deg) == (2, 120.0)


def test_gas_volume_is_that_of_the_computed_ducts():
    empty = COMPLETE.replace(tailpipe=(BOX.replace(packing=None), PIPE))
    ducts = assemble(ENGINE, empty).ducts
    names = ("primary", "collector", "pipe", "tailpipe")
    computed = sum(duct.volume() for name, duct in ducts.items() if name.startswith(names))
    assert bill(empty, ENGINE).total.gas_volume == pytest.approx(computed, rel=1e-12)


def test_mass_and_surface_of_a_straight_tube():
    row = bill(Exhaust(**HEADER), 4, wall=Wall(0.002, "titanium")).rows[1]
    assert row.amounts.tube_mass == pytest.approx(4510.0 * pi * 0.052 * 0.002 * 0.3)
    assert row.amounts.inner_area == pytest.approx(pi * 0.05 * 0.3)
    assert row.amounts.outer_area == pytest.approx(pi * 0.054 * 0.3)


def test_own_wall_counts_before_the_default():
    thin = Exhaust(**{**HEADER, "collector": Pipe(0.3, 0.05, wall=Wall(0.001, "stainless 409"))})
    assert bill(thin, 4).lines["collector"].tube_mass == pytest.approx(
        7760.0 * pi * 0.051 * 0.001 * 0.3)  # fmt: skip
    assert bill(thin, 4).lines["primary"].tube_mass == pytest.approx(
        4 * 0.75 * DEFAULT_WALL.mass_per_length(0.038))  # fmt: skip


def test_mass_of_a_packed_silencer_is_the_sum_of_its_pieces():
    core = 0.7 * pi * 0.0515 * 0.0015 * 0.4
    shell = pi * (0.13 + 0.0012) * 0.0012 * 0.4
    plates = 2 * 0.0012 * pi / 4 * (0.13**2 - 0.05**2)
    wool = 100.0 * pi / 4 * (0.13**2 - 0.053**2) * 0.4
    assert BOX.amounts(DEFAULT_WALL).silencer_mass == pytest.approx(
        STEEL * (core + shell + plates) + wool)  # fmt: skip


def test_chambers_in_a_row_share_their_baffle():
    one = Chamber(0.2, 0.05, case_diameter=0.15)
    system = Exhaust(**HEADER, pipe=(PIPE, one, one, PIPE))
    single = one.amounts(DEFAULT_WALL).silencer_mass
    plate = STEEL * 0.0012 * pi / 4 * (0.15**2 - 0.05**2)
    assert bill(system, 4).lines["pipe"].silencer_mass == pytest.approx(2 * single - plate)


def test_every_part_has_its_amounts():
    parts = (PIPE, BEND, Plate(0.03), PIPE, SideTube(0.2, 0.03), PIPE,
             Monolith(0.1, 0.1, cell_density=6.2e5, wall_thickness=0.17e-3), BOX, PIPE,
             Chamber(0.3, 0.05, case_diameter=0.15, inlet_extension=0.1),
             PIPE, Resonator(volume=2e-3, neck_length=0.04, neck_diameter=0.03, mass=0.8), PIPE)
    found = bill(Exhaust(**HEADER, pipe=parts), 4)
    by_part = {row.part: row.amounts for row in found.rows if row.line == "pipe"}
    assert by_part["Resonator"].silencer_mass == 0.8
    assert by_part["Plate"] == (0, 0, 0, 0, 0, 0, 0, 0)
    assert by_part["SideTube"].length == 0.0 and by_part["SideTube"].gas_volume > 0.0
    assert by_part["Monolith"].inner_area > 2.0
    for column in range(8):
        sums = sum(row.amounts[column] for row in found.rows)
        assert found.total[column] == pytest.approx(sums)
    assert found.mass == pytest.approx(found.total.tube_mass + found.total.silencer_mass)


def test_banks_pairs_and_links_are_counted():
    system = Exhaust(**HEADER, pipe=PIPE, pairs=((1, 4), (2, 3)), secondary=Pipe(0.4, 0.044),
                     bank_link=HPipe(tube=Pipe(0.25, 0.045)))
    lines = bill(system, V4).lines
    assert {name: line.length for name, line in lines.items()} == pytest.approx(
        {"primary": 3.0, "secondary": 0.8, "collector": 0.6, "h-pipe": 0.25, "pipe": 1.0})
    merged = system.replace(bank_link=Merge())
    assert bill(merged, V4).lines["pipe"].length == 0.5
    assert "h-pipe" not in bill(merged, V4).lines


def test_unequal_primaries_are_listed_one_by_one():
    system = Exhaust(primaries=[Pipe(x, 0.038) for x in (0.7, 0.8)], collector=PIPE)
    assert list(bill(system).lines) == ["primary 1", "primary 2", "collector"]


def test_number_of_cylinders_must_be_known():
    with pytest.raises(InputError, match="bill: engine = None must be an Engine or a number"):
        bill(COMPLETE)
    with pytest.raises(InputError, match="bill: engine = 0 .* 1 to 64"):
        bill(COMPLETE, 0)
    with pytest.raises(InputError, match="bill: engine = 'four'"):
        bill(COMPLETE, "four")


def test_summary_shows_parts_total_and_assumption():
    text = bill(COMPLETE, ENGINE).summary()
    lines = text.splitlines()
    assert lines[0] == "complete" and "length/m" in lines[1]
    assert any(line.startswith("primary, part 1: Pipe (4 x)") for line in lines)
    assert lines[-2].startswith("total") and "1.50 mm mild steel" in lines[-1]
    assert len({len(line) for line in lines[1:-1]}) == 1


def test_csv_holds_every_part_and_the_total(tmp_path):
    found = bill(COMPLETE, ENGINE)
    found.to_csv(tmp_path / "bill.csv")
    with (tmp_path / "bill.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == len(found.rows) + 1
    assert float(rows[-1]["tube mass [kg]"]) == found.total.tube_mass
    assert rows[0]["line"] == "primary" and rows[0]["count"] == "4"


def test_side_branches_close_what_they_add():
    walls = assemble(ENGINE, COMPLETE.replace(pipe=(PIPE, SideTube(0.2, 0.03), PIPE))).nodes
    assert isinstance(walls["wall pipe side tube end"], ClosedEnd)
