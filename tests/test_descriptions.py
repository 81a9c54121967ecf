"""Pipes, ducts, nodes, networks, tables, engine: geometry, copies, plain data."""

import copy
import json
import pickle
from math import cos, pi, radians

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import wavesim as ws
from wavesim import errors, units
from wavesim.descriptions.combustion import ChenFlynn, Wiebe
from wavesim.descriptions.engine import vee_firing_intervals
from wavesim.descriptions.exhaust import Exhaust
from wavesim.descriptions.network import Network
from wavesim.descriptions.nodes import (
    AnechoicEnd,
    AreaStep,
    ClosedEnd,
    Junction,
    OpenEnd,
    Orifice,
    Throttle,
    ValvePort,
    Volume,
)
from wavesim.descriptions.pipes import Duct, Pipe, as_line
from wavesim.descriptions.settings import Settings
from wavesim.descriptions.study import demo_path, load
from wavesim.errors import InputError
from wavesim.fields.description import Named, describe, restore, vary
from wavesim.fields.tables import Table

STUDY = load(demo_path("collector"))
ENGINE = STUDY.engine


# --- units, tables, errors ---------------------------------------------------------------------


def test_units_are_si_floats():
    assert 38 * units.mm == pytest.approx(0.038, rel=1e-15)
    assert units.litre == pytest.approx(1000 * units.cc, rel=1e-15)
    assert 0.5 * units.inch == pytest.approx(0.0127, rel=1e-15)
    assert units.metric_hp == pytest.approx(735.49875, rel=1e-12)
    assert units.celsius(0.0) == 273.15


def test_units_leave_speeds_and_angles_as_the_user_counts_them():
    """rev/min and degrees are what every argument takes: no factor may turn them into radians."""
    assert ws.units is units
    assert not {"rpm", "deg"} & set(vars(units))


def test_table_is_linear_inside_and_held_outside():
    table = Table([1000, 3000], [10, 20])
    np.testing.assert_allclose(table(np.array([0, 1000, 2000, 3000, 9000])), [10, 10, 15, 20, 20])


def test_table_from_csv_finds_columns_by_name_and_scales(tmp_path):
    path = tmp_path / "curve.csv"
    path.write_text("# a remark\nrpm, other ,lift_mm\n1000,7,2\n\n2000,8,4\n")
    assert Table.from_csv(path, y="lift_mm", y_scale=1e-3).y == (0.002, 0.004)
    assert Table.from_csv(path).y == (7.0, 8.0)


@given(st.floats(allow_nan=True, allow_infinity=True))
def test_check_number_returns_only_finite_numbers_in_range(value):
    try:
        kept = errors.check_number("Thing", "size", value, "m", 0.1, 2.0, high_open=True)
    except InputError as error:
        assert "0.1 m to 2 m (excluded)" in str(error)
    else:
        assert 0.1 <= kept < 2.0


def test_numpy_scalars_count_as_numbers():
    assert Pipe(np.float64(1.0), np.float32(0.04)).length == 1.0
    assert errors.check_int("Thing", "count", np.int64(3), 1, 4) == 3


def test_solver_error_says_where():
    error = errors.SolverError("negative pressure", duct="tail", position=0.18, cycle=4)
    assert (error.duct, error.position, error.crank_angle_deg, error.cycle) == (
        "tail", 0.18, None, 4)  # fmt: skip


# --- pipes and ducts ---------------------------------------------------------------------------

TAPERED = Duct(parts=(Pipe(0.3, 0.04), Pipe(0.2, 0.04, end_diameter=0.06), Pipe(0.5, 0.06)))


def test_volume_of_a_cone_is_exact():
    cone = Duct(parts=Pipe(0.4, 0.03, end_diameter=0.05))
    frustum = pi * 0.4 / 12 * (0.03**2 + 0.03 * 0.05 + 0.05**2)
    assert cone.volume() == pytest.approx(frustum, rel=1e-14)


def test_volume_between_two_points_is_the_integral_of_the_area():
    x = np.linspace(0.21, 0.83, 200_001)
    integral = np.trapezoid(TAPERED.area_at(x), x)
    assert TAPERED.volume(0.21, 0.83) == pytest.approx(integral, rel=1e-9)


@given(st.lists(st.floats(0.0, 1.0), min_size=1, max_size=30))
def test_cell_volumes_sum_to_the_volume(cuts):
    faces = np.sort([0.0, *cuts, TAPERED.length])
    cells = TAPERED.volume(faces[:-1], faces[1:])
    assert cells.shape == (len(faces) - 1,)
    assert cells.sum() == pytest.approx(TAPERED.volume(), rel=1e-12)


def test_bore_and_part_follow_the_position():
    x = np.array([0.0, 0.3, 0.4, 0.5, 1.0])
    np.testing.assert_allclose(TAPERED.diameter_at(x), [0.04, 0.04, 0.05, 0.06, 0.06])
    np.testing.assert_array_equal(TAPERED.part_index(x), [0, 1, 1, 2, 2])


def test_one_part_is_a_line():
    assert as_line(Pipe(0.1, 0.04)) == (Pipe(0.1, 0.04),)


def test_descriptions_are_frozen_hashable_and_picklable():
    pipe = Pipe(0.5, 0.04)
    with pytest.raises(AttributeError):
        pipe.length = 1.0
    assert hash(pipe) == hash(Pipe(0.5, 0.04))
    assert pickle.loads(pickle.dumps(STUDY)) == STUDY == copy.deepcopy(STUDY)
    assert hash(STUDY) == hash(load(demo_path("collector")))


# --- nodes -------------------------------------------------------------------------------------


def test_nodes_tell_their_ends():
    assert OpenEnd("tail pipe.end").ends == (("tail pipe", "end"),)
    assert Orifice(("a.end", "b.start"), diameter=0.02).ends == (("a", "end"), ("b", "start"))


def test_entry_loss_follows_the_kind_of_end_unless_given():
    losses = [OpenEnd("a.end", radiation=r).inflow_loss for r in ("unflanged", "flanged", "none")]
    assert losses == [1.0, 0.5, 0.0]
    assert OpenEnd("a.end", entry_loss=0.3).inflow_loss == 0.3


@pytest.mark.parametrize("ratio", [0.5, 0.7])
def test_sharp_contraction_loses_what_the_handbook_says(ratio):
    fluids = pytest.importorskip("fluids")
    loss = AreaStep(("a.end", "b.start")).contraction_loss(ratio**2)
    assert loss == pytest.approx(fluids.contraction_sharp(1.0, ratio), rel=1e-6)
    assert loss == pytest.approx({0.5: 0.4956, 0.7: 0.3509}[ratio], abs=1e-4)


def test_contraction_vanishes_without_a_step_and_can_be_set():
    step = AreaStep(("a.end", "b.start"))
    assert step.contraction(1.0) == 1.0 and step.contraction_loss(1.0) == 0.0
    smooth = AreaStep(("a.end", "b.start"), contraction_coefficient=0.8)
    assert smooth.contraction(0.3) == 0.8
    assert smooth.contraction_loss(0.3) == pytest.approx(0.0625)


def throttle(**changes):
    return Throttle(("a.end", "b.start"), diameter=0.06, **changes)


def test_throttle_opens_from_nothing_to_the_bore():
    bore = pi / 4 * 0.06**2
    assert throttle(plate_angle_deg=8.0).open_area == pytest.approx(0.0, abs=1e-15)
    assert throttle().open_area == pytest.approx(bore, rel=1e-12)
    areas = [throttle(plate_angle_deg=a, shaft_diameter=0.01).open_area for a in range(8, 91)]
    assert np.all(np.diff(areas) >= 0.0) and areas[-1] < bore
    assert throttle().effective_area == pytest.approx(0.85 * bore, rel=1e-12)


@pytest.mark.parametrize("angle", [20.0, 45.0, 86.0])
def test_throttle_area_is_what_plate_and_shaft_leave_free(angle):
    node = throttle(plate_angle_deg=angle, shaft_diameter=0.009)
    y = np.linspace(-0.03, 0.03, 600_001)
    narrow = cos(radians(angle)) / cos(radians(8.0))
    half_width = np.sqrt(np.maximum(0.03**2 - y**2, 0.0))
    plate = np.where(np.abs(y) < narrow * 0.03,
                     np.sqrt(np.maximum(0.03**2 - (y / narrow) ** 2, 0.0)), 0.0)
    free = np.where(np.abs(y) > 0.0045, half_width - plate, 0.0)
    assert node.open_area == pytest.approx(2 * np.trapezoid(free, y), rel=1e-4)


def test_directions_of_a_junction_have_length_one():
    tee = Junction(("a.end", "b.start", "c.start"), directions=[(-2, 0, 0), (3, 0, 0), (0, 1, 0)])
    np.testing.assert_allclose(tee.unit_vectors, [[-1, 0, 0], [1, 0, 0], [0, 1, 0]])
    plane = Junction(("a.end", "b.start"), angles_deg=(180, 90))
    np.testing.assert_allclose(plane.unit_vectors, [[-1, 0, 0], [0, 1, 0]], atol=1e-15)
    inline = Junction(("a.end", "b.start"))
    np.testing.assert_allclose(inline.unit_vectors.sum(axis=0), 0.0, atol=1e-15)


def test_junction_holds_next_to_no_gas_unless_a_volume_is_given():
    """A thousandth of a ball as wide as the widest bore."""
    small = Junction(("a.end", "b.end")).gas_volume([0.03, 0.06])
    assert small == pytest.approx(1e-3 * pi / 6 * 0.06**3)
    assert Junction(("a.end", "b.end"), volume=1e-4).gas_volume([0.03]) == 1e-4


def test_one_coefficient_serves_every_opening():
    assert Volume(("a.end", "b.start"), volume=1e-3).coefficients == (1.0, 1.0)
    pair = Orifice(("a.end", "b.start"), diameter=0.02, discharge_coefficient=(0.8, 0.7))
    assert pair.coefficients == (0.8, 0.7)


# --- networks ----------------------------------------------------------------------------------


def test_sound_network_has_no_faults():
    network = Network(
        {"a": Pipe(1.0, 0.04), "b": [Pipe(0.5, 0.06), Pipe(0.5, 0.06)]},
        {
            "wall": ClosedEnd("a.start"),
            "step": AreaStep(("a.end", "b.start")),
            "mouth": AnechoicEnd("b.end"),
        },
    )
    assert network.check() == [] and network.validate() is network
    assert network.bore("b", "start") == 0.06 and isinstance(network.ducts["b"], Duct)


def test_all_faults_of_a_network_are_listed_at_once():
    network = Network(
        {"a": Pipe(1.0, 0.04), "header": Pipe(1.0, 0.05), "c": Pipe(1.0, 0.05)},
        {
            "c": ClosedEnd("a.start"),
            "hole": Orifice(("a.end", "header.start"), diameter=0.045),
            "twice": ClosedEnd("a.end"),
            "typo": ClosedEnd("heeder.end"),
            "side": ClosedEnd("c.left"),
            "lone": Junction("c.end"),
            "valve": ValvePort("c.start", cylinder=2, side="exhaust"),
        },
    )
    text = " | ".join(network.check())
    for fragment in (
        "name 'c' is given to a duct and to a node",
        "'a.end' is connected 2 times, by 'hole', 'twice'",
        "diameter = 0.045 m is larger than the bore of 'a.end', valid are at most 0.04 m",
        "'heeder.end' names an unknown duct; did you mean 'header'?",
        "'c.left' must end in '.start' or '.end'",
        "'header.end' is open",
        "junction 'lone' has 1 branch",
        "cylinder 1 has 0 intake valve ports",
        "cylinder 2 has 0 intake valve ports",
    ):
        assert fragment in text
    with pytest.raises(InputError, match=r"fault\(s\): \(1\) .*; \(2\) "):
        network.validate()


def test_restored_network_is_equal():
    network = Network({"a": Pipe(1.0, 0.04)}, {"x": ClosedEnd("a.start"), "y": OpenEnd("a.end")})
    again = restore(json.loads(json.dumps(describe(network))))
    assert again == network and again.check() == []


# --- copies and plain data ---------------------------------------------------------------------


def test_vary_reaches_every_depth():
    exhaust = STUDY.exhausts["short collector"]
    assert vary(exhaust, "collector.length", 0.4).collector[0].length == 0.4
    assert vary(ENGINE, "intake.runner.0.diameter", 0.04).intake.runner[0].diameter == 0.04
    changed = vary(STUDY, "exhausts.long collector.merge.angle_deg", 30.0)
    assert changed.exhausts["long collector"].merge.angle_deg == 30.0
    assert changed.exhausts["short collector"] == exhaust


def test_vary_star_changes_all_items():
    exhaust = Exhaust(
        primaries=[(Pipe(0.5, 0.04), Pipe(0.1, 0.05))] * 2, collector=Pipe(0.2, 0.05)
    )
    varied = vary(exhaust, "primaries.*.0.length", 0.7)
    assert [line[0].length for line in varied.primaries] == [0.7, 0.7]
    one = vary(exhaust, "primaries.1.0.length", 0.7)
    assert [line[0].length for line in one.primaries] == [0.5, 0.7]
    assert exhaust.with_primary(length=0.7) == varied


def test_describe_and_restore_keep_everything():
    data = describe(STUDY)
    assert data["engine"]["type"] == "Engine"
    assert restore(json.loads(json.dumps(data))) == STUDY


def test_named_mapping_keeps_order_and_compares_by_content():
    named = Named([("b", 1), ("a", 2)])
    assert list(named) == ["b", "a"] and named == {"b": 1, "a": 2}
    assert pickle.loads(pickle.dumps(named)) == named and repr(named) == "{'b': 1, 'a': 2}"


# --- engine ------------------------------------------------------------------------------------


def test_displacement_and_clearance():
    engine = ENGINE.replace(compression_ratio=10.0)
    assert engine.displacement / 4 == pytest.approx(499.5572e-6, rel=1e-6)
    assert engine.clearance_volume == pytest.approx(55.50636e-6, rel=1e-6)
    assert engine.mean_piston_speed(6000) == pytest.approx(17.2)


def test_pin_offset_lengthens_the_travel_a_little_either_way():
    left, right = (ENGINE.replace(pin_offset=e) for e in (-0.005, 0.005))
    assert left.piston_travel == right.piston_travel > ENGINE.piston_travel


def test_even_firing_angles_follow_the_order():
    assert ENGINE.firing_angles_deg == (0.0, 540.0, 180.0, 360.0)
    turned = ENGINE.replace(firing_order=(3, 4, 2, 1))
    assert turned.firing_angles_deg == ENGINE.firing_angles_deg


def test_uneven_intervals_are_summed_along_the_order():
    engine = ENGINE.replace(
        firing_intervals_deg=(90.0, 270.0, 90.0, 270.0), banks=(1, 1, 1, 1))
    assert engine.firing_angles_deg == (0.0, 450.0, 90.0, 360.0)


@pytest.mark.parametrize(
    ("order", "banks", "pins", "bank_angle", "expected"),
    [
        ((1,), (1,), (0,), 0, (720,)),
        ((1, 2), (1, 1), (0, 0), 0, (360, 360)),
        ((1, 2), (1, 1), (0, 180), 0, (540, 180)),
        ((1, 2), (1, 2), (0, 0), 90, (450, 270)),
        ((1, 3, 4, 2), (1, 1, 1, 1), (0, 180, 180, 0), 0, (180, 180, 180, 180)),
        # Cross-plane crank, odd cylinders in bank 1, pins shared by 1-2, 3-4, 5-6, 7-8.
        ((1, 8, 4, 3, 6, 5, 7, 2), (1, 2) * 4, (0, 0, 90, 90, 270, 270, 180, 180), -90, (90,) * 8),
    ],
)
def test_vee_intervals_come_from_the_crankshaft(order, banks, pins, bank_angle, expected):
    assert vee_firing_intervals(order, banks, pins, bank_angle) == pytest.approx(expected)


def test_friction_matches_the_reference_numbers():
    found = [ChenFlynn().mean_effective_pressure(70e5, s) / 1e5 for s in (5, 10, 15, 20)]
    assert found == pytest.approx([1.2225, 1.7400, 2.3025, 2.9100], rel=1e-12)


@pytest.mark.parametrize("shape", [0.5, 2.0, 4.0])
def test_wiebe_burns_half_at_ca50_and_all_at_the_end(shape):
    law = Wiebe(ca50_deg=10.0, burn_10_90_deg=30.0, shape=shape)
    start, duration = law.start_and_duration(3000)
    assert law.burned_fraction(10.0, 3000) == pytest.approx(0.5, rel=1e-12)
    assert law.burned_fraction([start, start + duration], 3000) == pytest.approx([0.0, 1.0])
    theta = np.linspace(start, start + duration, 100_001)
    x = law.burned_fraction(theta, 3000)
    spread = np.interp(0.9, x, theta) - np.interp(0.1, x, theta)
    assert spread == pytest.approx(30.0, rel=1e-6)


def test_wiebe_follows_a_table_of_speed():
    law = Wiebe(ca50_deg=Table([2000, 6000], [8, 12]))
    assert law.burned_fraction(10.0, 4000) == pytest.approx(0.5, rel=1e-12)


def test_settings_have_the_agreed_defaults():
    settings = Settings()
    assert (settings.cell_length, settings.cfl, settings.tolerance) == (0.016, 0.85, 1e-3)
    assert settings.replace(cell_length=0.01).cell_length == 0.01
