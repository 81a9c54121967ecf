"""Small examples of every kind of part, node and other description.

`test_all_kinds.py` walks all kinds that the package has and names those that have no example here.
Every field of a part or node differs from its default in one of its examples at least.  All data
are invented.
"""

import wavesim as ws
from wavesim.descriptions.lines import Plan

P0, T0 = 95e3, 310.0  # [Pa], [K] of the gas at rest
CELL = 0.02  # [m]
AIR = ws.Ambient(pressure=P0, temperature=T0)
STUDY = ws.load(ws.demo_path("complete"))
ENGINE = STUDY.engine.replace(firing_order=(1,))
WALL = ws.Wall("16 gauge", "stainless 304", emissivity=0.5, coating=ws.Coating(thickness=2e-4),
               wrap=ws.Wrap(thickness=0.003), outside="road speed")
RATING = ws.FlowRating(0.03, 3000.0, pressure=98e3, temperature=300.0)
TUBE = {"wall_temperature": 400.0, "roughness": 1e-4, "heat_factor": 1.2,
        "friction_factor_scale": 0.9, "cell_length": CELL}
CASE = {"wall_temperature": 400.0, "shell": 0.001, "metal": "titanium", "cell_length": CELL}

#: Parts by class; they stand between two pipes of 50 mm.
PARTS = {
    ws.Pipe: (
        ws.Pipe(0.1, 0.05, end_diameter=0.04, extra_loss=0.3, **TUBE),
        ws.Pipe(0.1, 0.05, hydraulic_diameter=0.02, wall=WALL, cell_length=CELL),
        ws.Pipe(0.1, outer_diameter=0.052, end_outer_diameter=0.06, thickness=0.002),
    ),
    ws.Bend: (
        ws.Bend(0.05, 60.0, radius_ratio=1.5, **TUBE),
        ws.Bend(0.05, 60.0, radius=0.08, wall=WALL, cell_length=CELL),
        ws.Bend(angle_deg=60.0, radius=0.08, outer_diameter=0.052, thickness=0.002),
    ),
    ws.BentTube: (
        ws.BentTube(0.4, outer_diameter=0.052, thickness=0.002, angles_deg=(60.0, 40.0),
                    radius=0.08, **TUBE),
        ws.BentTube(0.3, 0.05, angles_deg=(90.0,), radius=0.08, wall=WALL, cell_length=CELL),
    ),
    ws.Megaphone: (
        ws.Megaphone(0.1, diameter=0.05, end_diameter=0.08, reverse_length=0.04,
                     reverse_diameter=0.05, thickness=0.002, **TUBE),
        ws.Megaphone(diameter=0.05, end_diameter=0.08, angle_deg=10.0, wall=WALL,
                     cell_length=CELL),
    ),
    ws.Flange: (
        ws.Flange(0.05, 0.049, outer_diameter=0.09, metal="titanium", wall_temperature=400.0,
                  cell_length=CELL),
    ),
    ws.Plate: (ws.Plate(0.03, discharge_coefficient=0.7),),
    ws.Monolith: (
        ws.Monolith(0.1, 0.08, cell_density=6.2e5, wall_thickness=1.7e-4, wall_density=1800.0,
                    **CASE),
    ),
    ws.PerforatedSilencer: (
        ws.PerforatedSilencer(
            0.1, 0.05, case_diameter=0.1, hole_diameter=0.004, porosity=0.2, core_wall=0.001,
            discharge_coefficient=0.8, packing=ws.Packing("basalt wool", bulk_density=90.0),
            core_loss=0.1, roughness="drawn", heat_factor=1.2, **CASE),
        ws.PerforatedSilencer(0.1, 0.05, case_diameter=0.1, heat_factor=1.2, **CASE),
    ),
    ws.Chamber: (
        ws.Chamber(0.2, 0.05, end_diameter=0.04, case_diameter=0.12, inlet_extension=0.06,
                   outlet_extension=0.05, tube_wall=0.001, heat_factor=1.2, **CASE),
        ws.Chamber(0.1, 0.05, end_diameter=0.03, case_diameter=0.12, cell_length=CELL),
    ),
    ws.SideTube: (ws.SideTube(0.1, 0.03, end_correction=0.005, **CASE),),
    ws.Resonator: (
        ws.Resonator(volume=5e-4, neck_length=0.06, neck_diameter=0.03, end_correction=0.01,
                     mass=1.2, cell_length=CELL),
    ),
}  # fmt: skip

#: Ducts that the nodes below join; an end that no node takes is closed.
DUCTS = {
    "a": ws.Pipe(0.1, 0.04, cell_length=CELL),
    "b": ws.Pipe(0.1, 0.05, cell_length=CELL),
    "c": ws.Pipe(0.08, 0.03, end_diameter=0.04, cell_length=CELL),
}
PAIR, THREE = ("a.end", "b.start"), ("a.end", "b.start", "c.start")

#: Groups of nodes by the class of the first; each group makes one network.
NODES = {
    ws.ClosedEnd: ((ws.ClosedEnd("a.end"),),),
    ws.AnechoicEnd: ((ws.AnechoicEnd("a.end", pressure=P0, temperature=T0, intake=True),),),
    ws.OpenEnd: (
        (ws.OpenEnd("a.end", radiation="flanged", ambient=AIR, intake=True, entry_loss=0.2),),
        (ws.OpenEnd("a.end", ambient=AIR, diameter=0.03, discharge_coefficient=0.8),),
    ),
    ws.Orifice: ((ws.Orifice(PAIR, diameter=0.02, discharge_coefficient=(0.7, 0.6)),),),
    ws.AreaStep: ((ws.AreaStep(PAIR),), (ws.AreaStep(PAIR, contraction_coefficient=0.8),)),
    ws.Throttle: (
        (ws.Throttle(PAIR, diameter=0.035, plate_angle_deg=50.0, closed_angle_deg=5.0,
                     shaft_diameter=0.006, discharge_coefficient=0.9),),
    ),
    ws.Carburettor: (
        (ws.Carburettor(PAIR, rating=RATING, plate_angle_deg=50.0, closed_angle_deg=5.0),),
    ),
    ws.Resistance: ((ws.Resistance(PAIR, rating=RATING),),),
    ws.Volume: (
        (ws.Volume(THREE, volume=3e-4, discharge_coefficient=(0.8, 1.0, 0.9), pressure=P0,
                   temperature=T0, fill="burned"),),
    ),
    ws.Junction: (
        (ws.Junction(THREE, angles_deg=(180.0, 0.0, 60.0), volume=1e-4),),
        (ws.Junction(THREE, directions=((-1, 0, 0), (1, 0, 0), (0, 1, 1))),),
        (ws.Junction(THREE, model="pressure"),),
    ),
    ws.ValvePort: (
        (ws.ValvePort("a.start", cylinder=1, side="exhaust"),
         ws.ValvePort("b.end", cylinder=1, side="intake")),
    ),
    ws.Perforate: (
        (ws.Perforate("a", "b", hole_diameter=0.003, porosity=0.2, wall_thickness=0.0015),),
        (ws.Perforate("a", "b", hole_diameter=0.003, porosity=0.2, wall_thickness=0.0015,
                      discharge_coefficient=0.8, packing=ws.Packing()),),
    ),
}  # fmt: skip

#: All other descriptions by class.
OTHERS = {
    ws.Ambient: (AIR,),
    ws.Cam: (ws.Cam(opens_deg=20.0, closes_deg=50.0, lift=0.009, checking_lift=0.0012,
                    lobe="full"),),
    ws.ChenFlynn: (STUDY.engine.friction,),
    ws.Coating: (ws.Coating(thickness=2e-4, conductivity=0.9),),
    ws.Duct: (ws.Duct(parts=(ws.Pipe(0.2, 0.05), ws.Bend(0.05, 45.0, radius=0.1))),),
    ws.Engine: (
        STUDY.engine.replace(firing_intervals_deg=(180, 180, 90, 270), banks=(1, 2, 2, 1)),),
    ws.EngineGas: (ws.EngineGas("methanol", lam=0.9),),
    ws.Exhaust: tuple(STUDY.exhausts.values()),
    ws.Fibre: (ws.Fibre(density=2600.0, heat_capacity=810.0, diameter=2e-5),),
    ws.FlowCoefficients: (
        ws.FlowCoefficients(lift_ratio=(0.1, 0.3), forward=(0.7, 0.5), reverse=(0.6, 0.5),
                            reference="head"),),
    ws.Fuel: (ws.FUELS["methanol"],),
    ws.HPipe: (ws.HPipe(tube=(ws.Pipe(0.2, 0.04), ws.Plate(0.03), ws.Pipe(0.1, 0.04)),
                        angle_deg=60.0, model="pressure"),),
    ws.FlowRating: (RATING,),
    ws.Intake: (
        STUDY.engine.intake,
        ws.Intake(runner=ws.Pipe(0.1, 0.04), plenum_volume=None, throttle_diameter=None,
                  throttle_at="runner", carburettor=RATING, filter=RATING, plate_angle_deg=60.0,
                  stack=ws.Pipe(0.1, 0.042)),
        ws.Intake(runner=ws.Pipe(0.1, 0.04), plenum_volume=0.004, throttle_diameter=0.05,
                  inlet=ws.Pipe(0.3, 0.06), inlets=2, airbox_volume=0.006,
                  airbox_duct=ws.Pipe(0.2, 0.055), entry_loss=0.1, ambient=AIR),
    ),
    ws.LiftTable: (ws.LiftTable(angle_deg=(-100, 0, 100), lift=(0, 0.009, 0),
                                lobe_centre_deg=110.0),),
    ws.Merge: (ws.Merge(angle_deg=20.0, volume=1e-4),
               ws.Merge(model="pressure", cone_length=0.1, cone_diameter=0.045)),
    ws.Metal: (ws.METALS["titanium"],),
    ws.Network: (
        ws.Network(DUCTS, {f"node {i}": group[0] for i, (group, *_) in enumerate(NODES.values())},
                   name="one node of every kind"),),
    ws.Outside: (ws.Outside(air_speed=5.0, temperature=290.0, pressure=9e4),),
    ws.Packing: (ws.Packing(ws.FIBRES["steel wool"], bulk_density=200.0, fibre_diameter=5e-5,
                            flow_resistivity=4000.0),),
    ws.Pull: (
        ws.Pull(400.0, walls=450.0),
        ws.Pull(300.0, walls=ws.Warmed(rpm=2500.0, plate_angle_deg=40.0), pause=20.0),
        ws.Pull(500.0, walls=ws.WallsLeft((
            ws.WallSection(duct="pipe/1", piece=2, positions=(0.1, 0.2), temperatures=(600, 610)),
        ))),
    ),
    ws.Settings: (ws.Settings(cell_length=0.01, cfl=0.8, max_cycles=50, friction=False),),
    ws.Study: (STUDY,),
    ws.Table: (ws.Table([2000, 6000], [8.0, 12.0], name="spark"),),
    ws.Valve: (STUDY.engine.intake_valve, STUDY.engine.exhaust_valve),
    ws.WallSection: (
        ws.WallSection(duct="pipe/1", piece=1, positions=(0.1,), temperatures=(600.0,)),),
    ws.WallsLeft: (
        ws.WallsLeft((ws.WallSection(duct="a", positions=(0.1,), temperatures=(400.0,)),)),),
    ws.Warmed: (ws.Warmed(rpm=2500.0, plate_angle_deg=40.0),),
    ws.Wall: (WALL, ws.Wall(0.002, ws.METALS["titanium"], outside=ws.Outside(air_speed=3.0))),
    ws.CamCard: (
        ws.CamCard(duration_deg=232.0, checking_lift=0.00127, measured_at="tappet",
                   lobe_centre_deg=108.0, lift=0.0122, rocker_ratio=1.6, lash=0.0004,
                   lash_stated="cold", lash_growth=-0.0001, opening_share=0.48, lobe="full"),
        ws.CamCard(duration_deg=240.0, checking_lift=0.001, measured_at="valve",
                   lobe_centre_deg=110.0, lift=0.0095),
        ws.CamCard(duration_deg=230.0, checking_lift=0.00127, measured_at="tappet",
                   lobe_separation_deg=110.0, intake_centre_deg=106.0, lobe_lift=0.0076,
                   rocker_ratio=1.6, closing_lobe="gentle"),
    ),
    ws.FlameScaling: (
        ws.FlameScaling(residual=0.05, air_fuel_lambda=0.9, rpm=4000.0, temperature=350.0,
                        pressure=98e3, held="ignition", fuel="methanol"),
    ),
    ws.Wiebe: (ws.Wiebe(ca50_deg=ws.Table([2000, 6000], [8.0, 12.0]), burn_10_90_deg=30.0),),
    ws.Woschni: (STUDY.engine.heat,),
    ws.Wrap: (ws.Wrap(thickness=0.003, conductivity=0.2, emissivity=0.8),),
    ws.XPipe: (ws.XPipe(angle_deg=30.0, volume=1e-4),),
}  # fmt: skip


def network_of(example):
    """The network of one example: a part between two pipes, or a group of nodes; else None."""
    if isinstance(example, tuple):
        return _joined(example)
    plan = Plan()
    pipe = ws.Pipe(0.1, 0.05, cell_length=CELL)
    plan.lay(("inlet", (pipe,)), ("line", (example,)), ("outlet", (pipe,)))
    return _closed(plan.ducts, plan.nodes)


def _joined(nodes):
    named = [end for node in nodes for end in node.ends]
    named += [(name, "") for node in nodes if not node.ends for name in (node.core, node.annulus)]
    ducts = {name: pipe for name, pipe in DUCTS.items() if name in dict(named)}
    return _closed(ducts, {f"node {i}": node for i, node in enumerate(nodes, start=1)})


def _closed(ducts, nodes):
    """Network whose free ends are walls."""
    taken = {end for node in nodes.values() for end in node.ends}
    free = [(duct, side) for duct in ducts for side in ("start", "end")]
    walls = {
        f"free {duct} {side}": ws.ClosedEnd(f"{duct}.{side}")
        for duct, side in free if (duct, side) not in taken
    }
    return ws.Network(ducts, nodes | walls).validate()
