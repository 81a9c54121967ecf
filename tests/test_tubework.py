"""Tube by outer diameter and gauge, bent tubes, megaphones, flanges, stepped primaries.

All data are invented.
"""

from math import pi, radians, tan

import numpy as np
import pytest
from scipy.optimize import brentq

import wavesim as ws
from wavesim.descriptions.study import demo_path
from wavesim.errors import InputError
from wavesim.fields.description import describe, restore
from wavesim.fields.toml_form import build, plain

INCH = 0.0254
WALL = ws.Wall("16 gauge", "stainless 304")


def from_table(**line):
    """The primary of an exhaust whose table is given."""
    table = {"primary": line, "collector": {"length": 0.3, "diameter": 0.05}}
    return build(ws.Exhaust, table, demo_path("collector").parent, "exhaust").primary


# --- outer diameter -------------------------------------------------------------------------------


@pytest.mark.parametrize("given", [{"thickness": "16 gauge"}, {"wall": WALL}])
def test_bore_is_the_outer_diameter_less_the_metal_on_both_sides(given):
    """0.065 inch is 16 of Birmingham's gauge."""
    for tube in (ws.Pipe(0.5, outer_diameter="1 5/8 inch", **given),
                 ws.Bend(angle_deg=90, radius=0.06, outer_diameter="1 5/8 inch", **given),
                 ws.BentTube(0.5, outer_diameter="1 5/8 inch", angles_deg=(90,), radius=0.06,
                             **given)):
        assert tube.diameter == pytest.approx((1.625 - 0.130) * INCH, rel=1e-14)


def test_coating_takes_room_from_the_bore():
    wall = WALL.replace(coating=ws.Coating(thickness=3e-4))
    assert ws.Pipe(0.5, outer_diameter=0.05, wall=wall).diameter == pytest.approx(
        0.05 - 2 * WALL.thickness - 6e-4)


def test_taper_by_its_outer_diameters():
    tube = ws.Pipe(0.5, outer_diameter=0.05, end_outer_diameter=0.06, thickness=0.002)
    assert (tube.diameter, tube.end_diameter) == pytest.approx((0.046, 0.056))


def test_thickness_of_a_tube_makes_its_mass():
    """Length times density times the area of the ring of metal."""
    tube = ws.Pipe(0.8, outer_diameter=0.05, thickness=0.0012)
    mass = 7850.0 * 0.8 * pi / 4.0 * (0.05**2 - 0.0476**2)
    exhaust = ws.Exhaust(primary=tube, collector=ws.Pipe(0.3, 0.05))
    assert ws.bill(exhaust, 1).rows[0].amounts.tube_mass == pytest.approx(mass, rel=1e-12)


def test_of_bore_and_outer_diameter_the_one_that_is_changed_counts():
    tube = ws.Pipe(0.5, outer_diameter=0.05, thickness=0.002)
    assert tube.replace(outer_diameter=0.06).diameter == pytest.approx(0.056)
    assert tube.replace(thickness=0.001).diameter == pytest.approx(0.048)
    assert tube.replace(length=0.6).diameter == tube.diameter
    bored = tube.replace(diameter=0.04)
    assert (bored.diameter, bored.outer_diameter, bored.thickness) == (0.04, None, 0.002)
    system = ws.Exhaust(primary=tube, collector=ws.Pipe(0.3, 0.05))
    assert ws.vary(system, "primary.outer_diameter", "60 mm").primary[0].diameter == 0.056
    bent = ws.BentTube(0.5, outer_diameter=0.05, thickness=0.002, angles_deg=(90,), radius=0.06)
    assert bent.replace(wall=WALL, thickness=None).diameter == pytest.approx(0.05 - 2 * 0.001651)


@pytest.mark.parametrize("tube", [
    ws.Pipe(0.5, outer_diameter=0.05, end_outer_diameter=0.06, thickness="18 gauge"),
    ws.Bend(angle_deg=90, radius=0.06, outer_diameter=0.05, wall=WALL),
])
def test_tube_by_outer_diameter_comes_back_as_it_was(tube):
    assert restore(describe(tube)) == tube
    assert build(type(tube), plain(tube), demo_path("collector").parent, "tube") == tube


def test_cut_of_a_tube_by_outer_diameter_keeps_its_bores():
    tube = ws.Pipe(0.5, outer_diameter=0.05, end_outer_diameter=0.06, thickness=0.002)
    first, second = tube.cut(0.25)
    assert (first.diameter, first.outlet_diameter) == pytest.approx((0.046, 0.051))
    assert (second.diameter, second.outlet_diameter) == pytest.approx((0.051, 0.056))


@pytest.mark.parametrize(("action", "message"), [
    (lambda: ws.Pipe(0.5, outer_diameter=0.05), "needs the thickness .* '16 gauge', or a wall"),
    (lambda: ws.Pipe(0.5, 0.05, outer_diameter=0.05, thickness=0.002),
     "diameter = 0.05 m stands beside outer_diameter = 0.05 m, which leaves 0.046 m"),
    (lambda: ws.Pipe(0.5, 0.05, wall=WALL, thickness=0.002), "beside the wall or in it, not both"),
    (lambda: ws.Pipe(0.5, outer_diameter=0.006, thickness=0.003), "diameter = 0 m is outside"),
    (lambda: ws.Pipe(0.5, thickness=0.003), "missing field diameter .the bore., or outer_diameter"),
    (lambda: ws.BentTube(0.1, 0.05, angles_deg=(90, 90), radius=0.06),
     "length = 0.1 m is outside .*its bends alone are 0.188496"),
    (lambda: ws.BentTube(0.5, 0.05, angles_deg=(), radius=0.06), "a straight tube is a Pipe"),
    (lambda: ws.Megaphone(diameter=0.05, end_diameter=0.08), "exactly one of length"),
    (lambda: ws.Megaphone(0.3, diameter=0.05, end_diameter=0.04), "a megaphone opens"),
    (lambda: ws.Megaphone(0.3, diameter=0.05, end_diameter=0.08, reverse_length=0.03),
     "both reverse_length and reverse_diameter"),
    (lambda: ws.Megaphone(0.3, diameter=0.05, end_diameter=0.08, reverse_length=0.03,
                          reverse_diameter=0.08), "a reverse cone narrows"),
    (lambda: ws.Flange(0.02, 0.05, outer_diameter=0.05), "more than the bore"),
])  # fmt: skip
def test_tube_that_cannot_be_is_refused_with_the_cure(action, message):
    with pytest.raises(InputError, match=message):
        action()


# --- bent tubes, cones, flanges, steps ------------------------------------------------------------


def test_bent_tube_is_as_long_along_its_centre_line_as_it_says():
    tube = ws.BentTube(0.75, 0.04, angles_deg=(90, 60, 30), radius=0.07)
    arcs = [radians(angle) * 0.07 for angle in (90, 60, 30)]
    assert sum(piece.length for piece in tube.pieces) == pytest.approx(0.75, abs=1e-15)
    assert [piece.length for piece in tube.pieces[1::2]] == pytest.approx(arcs)
    assert tube.straight == pytest.approx((0.75 - sum(arcs)) / 4)
    exhaust = ws.Exhaust(primary=tube, collector=ws.Pipe(0.3, 0.05))
    row = ws.bill(exhaust, 4).rows[0].amounts
    assert (row.length, row.bends, row.bend_angle_deg) == pytest.approx((3.0, 12, 720.0))


def test_bent_tube_loses_what_its_bends_lose():
    tube = ws.BentTube(0.75, 0.04, angles_deg=(90, 60), radius=0.07)
    lost = sum(piece.loss_coefficient(1e5) for piece in tube.pieces)
    assert lost == pytest.approx(sum(
        ws.Bend(0.04, angle, radius=0.07).loss_coefficient(1e5) for angle in (90, 60)))


def test_cone_by_its_included_angle():
    cone = ws.Megaphone(diameter=0.04, end_diameter=0.1, angle_deg=12.0)
    assert 2.0 * cone.cone_length * tan(radians(6.0)) == pytest.approx(0.06)


def test_megaphone_sounds_as_a_cone():
    """Conical horn, closed at the narrow end, open and without radiation at the wide one.

    tan(k L) = -k x0 with x0 the distance from the apex to the narrow end: Fletcher and Rossing,
    The Physics of Musical Instruments (1991), sec. 8.7 (from memory).
    """
    cone = ws.Megaphone(0.5, diameter=0.04, end_diameter=0.12)
    x0 = 0.5 * 0.04 / 0.08
    k = brentq(lambda k: np.tan(0.5 * k) + k * x0, 0.51 * pi / 0.5, 0.999 * pi / 0.5)
    period = 2.0 * pi / (k * ws.PerfectGas().sound_speed(300.0))
    air = ws.Ambient(pressure=1e5, temperature=300.0)
    horn = ws.Network({}, {}).with_line("cone", cone).with_node(
        "wall", ws.ClosedEnd("cone.start")).with_node(
        "mouth", ws.OpenEnd("cone.end", radiation="none", ambient=air))

    def start(x):
        r = x0 + x
        return 1e5 * (1.0 + 1e-4 * np.sin(k * (x0 + 0.5 - r)) / r), 0.0 * x, 300.0 + 0.0 * x, "air"

    run = ws.simulate(horn, 4.0 * period, initial={"cone": start}, samples=800,
                      settings=ws.Settings(cell_length=0.005))
    trace = run.trace("pressure", "cone", 0.0)
    signal = trace.values - 1e5
    down = np.flatnonzero((signal[:-1] > 0.0) & (signal[1:] <= 0.0))
    times = [np.interp(0.0, [-signal[i], -signal[i + 1]], [trace.x[i], trace.x[i + 1]])
             for i in down]
    assert np.diff(times).mean() == pytest.approx(period, rel=0.005)


def test_stepped_primary_is_a_line_of_tubes_with_shared_thickness():
    parts = from_table(thickness="16 gauge", parts=[
        {"length": "300 mm", "outer_diameter": "1 5/8 inch"},
        {"length": "350 mm", "outer_diameter": "1 3/4 inch"},
        {"part": "megaphone", "length": "200 mm", "diameter": 0.0411, "end_diameter": "60 mm"},
    ])
    assert [part.diameter for part in parts[:2]] == pytest.approx([1.495 * INCH, 1.62 * INCH])
    assert parts[2].thickness == ws.gauge(16)
    network = ws.Exhaust(primary=parts, collector=ws.Pipe(0.3, 0.06)).network(
        ws.load(demo_path("collector")).engine)
    step = network.nodes["step primary 1/1 - primary 1/2"]
    assert isinstance(step, ws.AreaStep)


def test_flange_of_another_bore_makes_two_steps_and_weighs_what_its_ring_weighs():
    flange = ws.Flange(0.02, 0.045, outer_diameter=0.09)
    network = ws.Exhaust(
        primary=ws.Pipe(0.5, 0.04), collector=(ws.Pipe(0.2, 0.05), flange, ws.Pipe(0.2, 0.05)),
    ).network(ws.load(demo_path("collector")).engine)
    assert {"step collector/1 - collector/2", "step collector/2 - collector/3"} <= set(
        network.nodes)
    assert flange.mass == pytest.approx(7850.0 * 0.02 * pi / 4.0 * (0.09**2 - 0.045**2))


@pytest.mark.parametrize(("word", "kind", "fields"), [
    ("bent tube", ws.BentTube, {"length": 0.5, "diameter": 0.04, "angles_deg": [90],
                                "radius": 0.06}),
    ("megaphone", ws.Megaphone, {"length": 0.5, "diameter": 0.04, "end_diameter": 0.06}),
    ("flange", ws.Flange, {"length": 0.02, "diameter": 0.04, "outer_diameter": 0.08}),
])
def test_part_has_its_word_in_a_study(word, kind, fields):
    assert isinstance(from_table(part=word, **fields)[0], kind)
