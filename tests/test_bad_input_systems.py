"""Wrong descriptions of complete systems: one sentence that says who, what, and what is allowed."""

import math

import pytest

from wavesim.descriptions.exhaust import Exhaust, HPipe, Merge, XPipe
from wavesim.descriptions.materials import Fibre, Metal, Packing, gauge
from wavesim.descriptions.nodes import Junction, Perforate
from wavesim.descriptions.parts import Monolith, Plate
from wavesim.descriptions.pipes import Bend, Duct, Pipe
from wavesim.descriptions.silencers import Chamber, PerforatedSilencer, Resonator, SideTube
from wavesim.descriptions.walls import Coating, Outside, Wall, Wrap
from wavesim.errors import InputError

NAN = math.nan
EXHAUST = Exhaust(primary=Pipe(0.7, 0.038), collector=Pipe(0.3, 0.054), pipe=Pipe(1.0, 0.054))
METAL = {"density": 7850.0, "conductivity": 48.0, "emissivity": 0.8, "heat_capacity": 560.0,
         "max_service_temperature": 770.0}  # fmt: skip


def make(kind, **fixed):
    return lambda **changes: lambda: kind(**{**fixed, **changes})


pipe = make(Pipe, length=0.5, diameter=0.05)
bend = make(Bend, diameter=0.05, angle_deg=90.0, radius_ratio=1.5)
brick = make(Monolith, length=0.1, diameter=0.1, cell_density=6.2e5, wall_thickness=0.17e-3)
box = make(PerforatedSilencer, length=0.4, diameter=0.05, case_diameter=0.13)
chamber = make(Chamber, length=0.3, diameter=0.05, case_diameter=0.15)
side = make(SideTube, length=0.3, diameter=0.04)
can = make(Resonator, volume=0.002, neck_length=0.04, neck_diameter=0.03)
perforate = make(Perforate, core="a", annulus="b", hole_diameter=0.003, porosity=0.1,
                 wall_thickness=0.001)
wall = make(Wall, thickness=0.0015)
joint = make(Junction, at=("a.end", "b.start"))
merge = make(Merge)
exhaust = make(EXHAUST.replace)

# name of the case: (what is done, fragments of the message)
CASES = {
    # --- joints --------------------------------------------------------------------------------
    "volume in a joint of one pressure": (
        joint(model="pressure", volume=1e-4),
        ["Junction: volume = 0.0001 m3", "None with model = 'pressure'", "1e-8 m3 to 0.1 m3"]),
    "volume in a merge of one pressure": (
        merge(model="pressure", volume=1e-4), ["Merge: volume = 0.0001 m3", "'pressure'"]),
    "end of a cone that is not there": (
        merge(cone_diameter=0.05),
        ["Merge: cone_diameter = 0.05 m", "cone_length", "0.001 m to 30 m"]),
    "cone of millimetres": (merge(cone_length=120), ["Merge: cone_length = 120 m", "30 m"]),
    # --- tubes ---------------------------------------------------------------------------------
    "bend without a radius": (
        bend(radius_ratio=None), ["Bend: give exactly one of radius (in m) and radius_ratio"]),
    "bend with two radii": (bend(radius=0.1), ["Bend: give exactly one of radius"]),
    "bend that turns round": (bend(angle_deg=270), ["Bend: angle_deg = 270 deg", "1 deg to 180"]),
    "bend of radians": (bend(angle_deg=0.785), ["Bend: angle_deg = 0.785 deg", "1 deg to 180"]),
    "bend tighter than its bore": (
        bend(radius_ratio=0.4), ["Bend: radius_ratio = 0.4", "0.5 to 100"]),
    "bend tighter than its bore by radius": (
        bend(radius_ratio=None, radius=0.02), ["Bend: radius = 0.02 m", "0.025 m to 5 m"]),
    "bend radius in millimetres": (
        bend(radius_ratio=None, radius=75), ["Bend: radius = 75 m", "75 mm is 0.075"]),
    "bend of no length": (
        bend(diameter=0.003, angle_deg=1, radius_ratio=1), ["Bend: length", "0.001 m to 30 m"]),
    "bend not a number": (bend(angle_deg=NAN), ["Bend: angle_deg = nan deg", "1 deg to 180 deg"]),
    "two kinds of wall": (
        pipe(wall_temperature=600, wall=Wall(0.0015)),
        ["Pipe: give wall_temperature", "in K", "or wall, not both"]),
    "two kinds of wall in a bend": (
        bend(wall_temperature=600, wall=Wall(0.0015)), ["Bend: give wall_temperature", "not both"]),
    "wall that is a thickness": (
        pipe(wall=0.0015),
        ["Pipe: wall = 0.0015", "must be of type Wall"]),
    "unknown state of the surface": (
        pipe(roughness="ligth rust"),
        ["Pipe: roughness = 'ligth rust'", "'new steel'", "0 m to 0.005 m",
         "did you mean 'light rust'?"]),
    "scale in a narrow tube": (
        pipe(diameter=0.02, roughness="scale"), ["Pipe: roughness = 0.0015 m", "0 m to 0.001 m"]),
    "hydraulic diameter above the bore": (
        pipe(hydraulic_diameter=0.06), ["Pipe: hydraulic_diameter = 0.06 m", "0.0001 m to 0.05 m"]),
    "hydraulic diameter of a taper": (
        pipe(end_diameter=0.06, hydraulic_diameter=0.04),
        ["Pipe: hydraulic_diameter needs the same diameter"]),
    "loss that helps": (
        pipe(extra_loss=-1), ["Pipe: extra_loss = -1", "0 to 100 (no unit)"]),
    "silencer in a duct": (
        lambda: Duct(parts=(Pipe(1, 0.05), box()())), ["Duct: parts = ", "a Pipe or Bend"]),
    # --- plates and monoliths ------------------------------------------------------------------
    "plate without a hole": (
        lambda: Plate(0.0), ["Plate: diameter = 0 m", "0.003 m to 0.5 m"]),
    "plate in millimetres": (lambda: Plate(40), ["Plate: diameter = 40 m", "40 mm is 0.04"]),
    "plate that lets all through": (
        lambda: Plate(0.04, discharge_coefficient=2),
        ["Plate: discharge_coefficient = 2", "1.2 (no unit)"]),
    "cells per square inch": (
        brick(cell_density=400), ["Monolith: cell_density = 400 1/m2", "10000 1/m2 to 3000000"]),
    "walls that fill the channels": (
        brick(wall_thickness=0.0009),
        ["Monolith: wall_thickness = 0.0009 m", "1e-05 m to 0.000635", "half the pitch"]),
    "monolith of no length": (brick(length=0), ["Monolith: length = 0 m", "0.001 m to 30 m"]),
    # --- silencers -----------------------------------------------------------------------------
    "case inside the core": (
        box(case_diameter=0.05),
        ["PerforatedSilencer: case_diameter = 0.05 m", "0.055 m to 0.5 m", "outside of the core"]),
    "case in millimetres": (
        box(case_diameter=130), ["PerforatedSilencer: case_diameter = 130 m", "130 mm is 0.13"]),
    "porosity in percent": (
        box(porosity=30),
        ["PerforatedSilencer: porosity = 30", "0.001 to 0.6"]),
    "holes larger than the core": (
        box(diameter=0.01, hole_diameter=0.02),
        ["PerforatedSilencer: hole_diameter = 0.02 m", "0.0003 m to 0.01 m"]),
    "packing as text": (
        box(packing="basalt wool"),
        ["PerforatedSilencer: packing = 'basalt wool'", "must be of type Packing"]),
    "core as thick as the pipe": (
        box(core_wall=0.05), ["PerforatedSilencer: core_wall = 0.05 m", "0.0003 m to 0.01 m"]),
    "unknown gauge": (
        box(shell="18 guage"),
        ["PerforatedSilencer: shell = '18 guage'", "unknown unit", "did you mean 'gauge'?"]),
    "thickness in words": (
        box(shell="thin"),
        ["PerforatedSilencer: shell = 'thin' is not a number", "0.0003 m to 0.01 m"]),
    "unknown metal": (
        box(metal="stainles 304"),
        ["PerforatedSilencer: metal = 'stainles 304'", "'titanium'", "did you mean 'stainless 30"]),
    "unknown fibre": (
        lambda: Packing("basalt", bulk_density=100),
        ["Packing: material = 'basalt'", "'glass fibre'", "did you mean 'basalt wool'?"]),
    "packing denser than felt": (
        lambda: Packing(bulk_density=2000),
        ["Packing: bulk_density = 2000 kg/m3", "5 kg/m3 to 1000 kg/m3"]),
    "packing denser than its fibre allows": (
        lambda: Packing(Fibre(density=500, heat_capacity=800, diameter=1e-5), bulk_density=400),
        ["Packing: bulk_density = 400 kg/m3", "5 kg/m3 to 300 kg/m3"]),
    "fibre in micrometres": (
        lambda: Packing(fibre_diameter=10),
        ["Packing: fibre_diameter = 10 m", "1e-06 m to 0.0005 m"]),
    "no resistance at all": (
        lambda: Packing(flow_resistivity=0),
        ["Packing: flow_resistivity = 0 Pa s/m2", "100 Pa s/m2 to 1000000 Pa s/m2"]),
    "fibre lighter than air": (
        lambda: Fibre(density=1, heat_capacity=800, diameter=1e-5), ["Fibre: density = 1 kg/m3"]),
    "chamber no wider than its tubes": (
        chamber(case_diameter=0.05), ["Chamber: case_diameter = 0.05 m", "0.055 m to 0.5 m"]),
    "tubes that fill the chamber": (
        chamber(inlet_extension=0.2, outlet_extension=0.1),
        ["Chamber: outlet_extension = 0.1 m", "0 m to 0.099 m"]),
    "tube longer than the chamber": (
        chamber(inlet_extension=0.3), ["Chamber: inlet_extension = 0.3 m", "0 m to 0.299 m"]),
    "tube too short to compute": (
        chamber(inlet_extension=0.0005),
        ["Chamber: inlet_extension = 0.0005 m", "0 m or in the valid range 0.001 m to 0.299 m"]),
    "side tube in millimetres": (side(length=300), ["SideTube: length = 300 m", "300 mm is 0.3"]),
    "negative end correction": (
        side(end_correction=-0.01), ["SideTube: end_correction = -0.01 m", "0 m to 0.5 m"]),
    "resonator in litres": (can(volume=2), ["Resonator: volume = 2 m3", "2 litres is 0.002"]),
    "resonator without a neck": (
        can(neck_length=0), ["Resonator: neck_length = 0 m", "0.001 m to 2 m"]),
    "resonator lighter than nothing": (can(mass=-1), ["Resonator: mass = -1 kg", "0 kg to 100 kg"]),
    "perforate without a name": (perforate(core=7), ["Perforate: core = 7", "text"]),
    "perforate of air alone": (
        perforate(porosity=0.9), ["Perforate: porosity = 0.9", "to 0.6 (no unit)"]),
    "perforate of no thickness": (
        perforate(wall_thickness=0), ["Perforate: wall_thickness = 0 m", "0.0001 m to 0.01 m"]),
    # --- walls and materials -------------------------------------------------------------------
    "wall in millimetres": (wall(thickness=1.5), ["Wall: thickness = 1.5 m", "1.5 mm is 0.0015"]),
    "wall of a gauge that is none": (
        wall(thickness="60 gauge"),
        ["Wall: thickness = '60 gauge' is no gauge", "whole numbers 7 to 24"]),
    "gauge with a fraction": (lambda: gauge(16.5), ["gauge: n = 16.5", "whole number", "7", "24"]),
    "wall of wood": (wall(metal="wood"), ["Wall: metal = 'wood'", "'mild steel'"]),
    "brighter than black": (
        wall(emissivity=1.2),
        ["Wall: emissivity = 1.2", "0.01 to 1 (no unit)"]),
    "wrap as a number": (wall(wrap=0.003), ["Wall: wrap = 0.003", "must be of type Wrap"]),
    "coating as a number": (wall(coating=0.003), ["Wall: coating = 0.003", "of type Coating"]),
    "unknown surroundings": (
        wall(outside="still ai"),
        ["Wall: outside = 'still ai'", "'dyno-cell fan'", "did you mean 'still air'?"]),
    "wrap in millimetres": (
        lambda: Wrap(thickness=3), ["Wrap: thickness = 3 m", "0.0001 m to 0.2 m", "3 mm is 0.003"]),
    "wrap that conducts like copper": (
        lambda: Wrap(thickness=0.003, conductivity=400),
        ["Wrap: conductivity = 400 W/(m K)", "0.01 W/(m K) to 5 W/(m K)"]),
    "coating in micrometres": (
        lambda: Coating(thickness=200), ["Coating: thickness = 200 m", "1e-06 m to 0.01 m"]),
    "storm": (
        lambda: Outside(air_speed=200), ["Outside: air_speed = 200 m/s", "0 m/s to 100 m/s"]),
    "air in degrees Celsius": (
        lambda: Outside(temperature=25), ["Outside: temperature = 25 K", "25 degC is 298.15"]),
    "metal as light as air": (
        lambda: Metal(**{**METAL, "density": 1.2}), ["Metal: density = 1.2 kg/m3", "1000 kg/m3"]),
    "metal that melts at once": (
        lambda: Metal(**{**METAL, "max_service_temperature": 300}),
        ["Metal: max_service_temperature = 300 K", "400 K to 2000 K"]),
    # --- topologies ----------------------------------------------------------------------------
    "pairs without a secondary": (
        exhaust(pairs=((1, 4), (2, 3))), ["Exhaust: give both pairs and secondary"]),
    "secondary without pairs": (
        exhaust(secondary=Pipe(0.4, 0.044)), ["Exhaust: give both pairs and secondary"]),
    "pair of no cylinder": (
        exhaust(pairs=((0, 4), (2, 3)), secondary=Pipe(0.4, 0.044)),
        ["Exhaust: pairs[0][0] = 0", "1 to 64 (no unit)"]),
    "pairs as numbers": (
        exhaust(pairs=(14, 23), secondary=Pipe(0.4, 0.044)),
        ["Exhaust: pairs[0] = 14", "sequence of cylinder numbers"]),
    "link with nothing behind it": (
        exhaust(bank_link=XPipe(), pipe=()), ["Exhaust: bank_link needs a pipe or tailpipe"]),
    "link without a collector": (
        exhaust(bank_link=XPipe(), collector=()),
        ["Exhaust: bank_link needs a collector", "or merge = None"]),
    "link of another kind": (
        exhaust(bank_link=Pipe(0.3, 0.05)),
        ["Exhaust: bank_link = ", "of type HPipe or XPipe or Merge"]),
    "h-pipe without a tube": (
        lambda: HPipe(tube=()), ["HPipe: tube = ()", "at least one Pipe"]),
    "h-pipe along the pipe": (
        lambda: HPipe(tube=Pipe(0.3, 0.05), angle_deg=0),
        ["HPipe: angle_deg = 0 deg", "10 deg to 90 deg"]),
    "x-pipe of streams head on": (
        lambda: XPipe(angle_deg=90), ["XPipe: angle_deg = 90 deg", "0 deg to 80 deg"]),
    "line of something else": (
        exhaust(pipe=(Pipe(1, 0.05), Merge())),
        ["Exhaust: pipe = ", "Pipe, Bend, BentTube", "Plate"]),
}  # fmt: skip


@pytest.mark.parametrize("case", CASES)
def test_wrong_description_is_refused_in_one_telling_sentence(case):
    action, fragments = CASES[case]
    with pytest.raises(InputError) as caught:
        action()
    message = str(caught.value)
    for fragment in fragments:
        assert fragment in message
    assert message[-1] in ".?" and "\n" not in message
    assert ". " not in message and "? " not in message
