"""From a description to the arrays that are marched: every column against a value by hand.

Nothing is marched, so that these tests run in a fraction of a second, without the compiler too:
`faults.py` plants many of its faults before them.  Where two things could be taken for one another
(head and piston, forward and back, start and end, intake and exhaust) their numbers differ.  All
data are invented; formulas are from handbooks and written once more.
"""

from functools import cache
from math import cos, exp, log, pi, radians, sin, sqrt

import numpy as np
import pytest

import wavesim as ws
from wavesim.arrays.compile import compile_network
from wavesim.kernels import cylinder
from wavesim.kernels import flat as f
from wavesim.march.walltemp import find_solved_walls, update_walls

RPM = 3000.0
BORE, STROKE, ROD, RATIO, PIN = 0.09, 0.08, 0.14, 11.0, 0.003
FIRING = (0.0, 450.0, 200.0)  # of cylinders 1, 2, 3 [deg]: order 1, 3, 2 at 200, 250, 270 deg
HEAT = {"head_temperature": 431.0, "piston_temperature": 502.0, "liner_temperature": 403.0,
        "head_area_factor": 1.21, "piston_area_factor": 1.07, "factor": 0.8}
INSIDE, OUTSIDE = ws.Ambient(pressure=91e3, temperature=281.0), ws.Ambient(
    pressure=93e3, temperature=284.0)


def flat_lift(opens, closes, peak):
    """Lift that is at its peak but for two degrees at both ends [m]."""
    half = 0.5 * (closes - opens)
    return ws.LiftTable(
        angle_deg=(-half, 2.0 - half, half - 2.0, half), lift=(0.0, peak, peak, 0.0),
        lobe_centre_deg=abs(0.5 * (opens + closes) - 360.0),
    )


def valve(diameter, count, lift, forward, reverse, **more):
    flow = ws.FlowCoefficients(
        lift_ratio=(0.1, 0.4), forward=(forward,) * 2, reverse=(reverse,) * 2
    )
    return ws.Valve(diameter=diameter, count=count, lift=lift, flow=flow, **more)


@cache
def engine():
    return ws.load(ws.demo_path("collector")).engine.replace(
        bore=BORE, stroke=STROKE, rod=ROD, compression_ratio=RATIO, pin_offset=PIN,
        firing_order=(1, 3, 2), firing_intervals_deg=(200.0, 250.0, 270.0), banks=(1, 1, 1),
        exhaust_valve=valve(0.028, 1, flat_lift(130.0, 370.0, 0.008), 0.62, 0.51),
        intake_valve=valve(0.033, 2, flat_lift(345.0, 595.0, 0.009), 0.58, 0.44,
                           lash=0.0005, advance_deg=5.0),
        combustion=ws.Wiebe(ca50_deg=ws.Table([2000, 4000], [8.0, 10.0]), burn_10_90_deg=26.0,
                            shape=1.7, efficiency=0.96),
        heat=ws.Woschni(**HEAT), friction=ws.ChenFlynn(
            constant=3e4, peak_pressure=0.006, speed=8e3, speed_squared=110.0),
        intake_port=ws.Pipe(0.1, 0.045, end_diameter=0.043),
        exhaust_port=ws.Pipe(0.09, 0.035, end_diameter=0.037),
        fuel="iso-octane", air_fuel_lambda=1.1,
        intake=ws.Intake(
            runner=ws.Pipe(0.3, 0.045), plenum_volume=0.0041, throttle_diameter=0.06,
            plate_angle_deg=50.0, inlet=ws.Pipe(0.35, 0.07), entry_loss=0.2, ambient=INSIDE),
    )


EXHAUST = ws.Exhaust(
    primary=ws.Pipe(0.6, 0.037), collector=ws.Pipe(0.5, 0.05), ambient=OUTSIDE,
    merge=ws.Merge(angle_deg=20.0),
)
SETTINGS = ws.Settings(cell_length=0.05, cfl=0.77, wall_heat=False, unequal_pressures=True)


@cache
def engine_model():
    gas = ws.EngineGas("iso-octane", lam=1.1)
    return compile_network(ws.assemble(engine(), EXHAUST), gas, SETTINGS, engine=engine(), rpm=RPM)


def model_of(ducts, nodes, **more):
    """A network of ducts whose free ends are closed, compiled."""
    taken = {end for node in nodes.values() for end in node.ends}
    walls = {f"free {name} {side}": ws.ClosedEnd(f"{name}.{side}") for name in ducts
             for side in ("start", "end") if (name, side) not in taken}
    return compile_network(ws.Network(ducts, nodes | walls), ws.EngineGas(),
                           ws.Settings(cell_length=0.02), **more)


def end(model, name):
    """Row of the end of a duct."""
    duct, _, side = name.rpartition(".")
    return model.net.end_par[model.ends[duct, side]]


def disc(diameter):
    return 0.25 * pi * diameter**2


# --- cylinders ------------------------------------------------------------------------------------

TRAVEL = sqrt((ROD + 0.5 * STROKE) ** 2 - PIN**2) - sqrt((ROD - 0.5 * STROKE) ** 2 - PIN**2)
SWEPT = disc(BORE) * TRAVEL

#: Column of `cyl_par` by hand, the same in all cylinders.
CYLINDER = {
    "BORE": BORE, "STROKE": STROKE, "ROD": ROD, "PIN": PIN, "CLEARANCE": SWEPT / (RATIO - 1.0),
    "WIEBE_M": 1.7, "HEAD_AREA": 1.21 * disc(BORE), "PISTON_AREA": 1.07 * disc(BORE),
    "T_HEAD": 431.0, "T_PISTON": 502.0, "T_LINER": 403.0, "HEAT_MODEL_FACTOR": 0.8,
}


@pytest.mark.parametrize("column", CYLINDER)
def test_column_of_the_cylinders_holds_the_field_of_its_name(column):
    found = engine_model().net.cyl_par[:, getattr(f, column)]
    assert found == pytest.approx(np.full(3, CYLINDER[column]), rel=1e-12)


def test_cylinders_fire_in_their_order_after_their_intervals():
    assert engine_model().net.cyl_par[:, f.PHASE] == pytest.approx(FIRING)


def test_burn_passes_its_stated_angles():
    """Wiebe's law with 10, 50 and 90 % at the places that were asked for, Heywood eq. 9.27."""
    _, start, duration = engine_model().net.cyl_par[0, [f.PHASE, f.SOC, f.DURATION]]

    def place(share):
        return start + duration * (-log(1.0 - share * (1.0 - exp(-6.908))) / 6.908) ** (1.0 / 2.7)

    assert place(0.5) == pytest.approx(9.0, abs=1e-6)  # 3000 of 2000 to 4000 rev/min: 8 to 10
    assert place(0.9) - place(0.1) == pytest.approx(26.0, abs=1e-6)


def test_fresh_charge_releases_the_heat_of_its_fuel():
    """44.3 MJ/kg and 15.13 kg of air per kg, Heywood (1988) table D.4; 96 % burn."""
    heat = 0.96 * 44.3e6 / (1.0 + 1.1 * 15.13)
    assert engine_model().net.cyl_par[:, f.Q_FRESH] == pytest.approx(np.full(3, heat), rel=4e-3)


def test_gas_is_trapped_and_released_where_the_lift_tables_end():
    """At 0.05 mm of lift the intake valve counts as shut, at 0.1 mm the exhaust valve as open."""
    cyl = engine_model().net.cyl_par
    assert cyl[:, f.EVO] == pytest.approx(np.full(3, 130.0), abs=0.5)
    assert cyl[:, f.IVC] == pytest.approx(np.full(3, 595.0 - 5.0), abs=0.5)


def test_pin_offset_moves_both_dead_centres_and_lengthens_the_stroke():
    """Extremes where crank and rod lie in line: sin = e / (l + r) and e / (l - r)."""
    theta = np.arange(-30.0, 330.0, 0.01)
    cyl = engine_model().net.cyl_par[0]
    volume = np.array([cylinder.volume(cyl, angle) for angle in theta[::10]])
    top, bottom = theta[::10][volume.argmin()], theta[::10][volume.argmax()]
    assert top == pytest.approx(np.degrees(np.arcsin(PIN / (ROD + 0.5 * STROKE))), abs=0.1)
    low = 180.0 + np.degrees(np.arcsin(PIN / (ROD - 0.5 * STROKE)))
    assert bottom == pytest.approx(low, abs=0.1)
    assert np.ptp(volume) == pytest.approx(SWEPT, rel=1e-6) and TRAVEL > STROKE
    assert engine().displacement == pytest.approx(3.0 * SWEPT, rel=1e-12)
    assert engine().mean_piston_speed(3000.0) == pytest.approx(100.0 * TRAVEL, rel=1e-12)


# --- valves ---------------------------------------------------------------------------------------

#: Effective area [m2] by side: into the cylinder and out of it.
AREAS = {
    "intake": (2.0 * 0.58 * pi * 0.033 * 0.0085, 2.0 * 0.44 * pi * 0.033 * 0.0085),
    "exhaust": (0.51 * pi * 0.028 * 0.008, 0.62 * pi * 0.028 * 0.008),
}


def valve_row(side, number=1):
    """Effective areas out of the duct and into it against the cylinder's own angle."""
    model = engine_model()
    where = "end" if side == "intake" else "start"
    k = model.ends[f"{side} port {number}", where]
    assert model.net.end_int[k, f.END_STORE] == model.stores[f"cylinder {number}"]
    return model.net.valve_area[model.net.end_int[k, f.END_VALVE]]


def test_flow_coefficients_stand_for_the_direction_that_they_were_measured_in():
    """Out of the intake port is forward, out of the exhaust port backward."""
    into, out = AREAS["intake"]
    assert valve_row("intake").max(axis=1) == pytest.approx([into, out], rel=1e-6)
    into, out = AREAS["exhaust"]
    assert valve_row("exhaust").max(axis=1) == pytest.approx([into, out], rel=1e-6)


@pytest.mark.parametrize(("side", "opens", "closes"), [
    ("exhaust", 130.0, 370.0),
    ("intake", 340.0, 590.0),  # advanced by 5
])
def test_valve_area_stands_at_the_angles_of_the_lift(side, opens, closes):
    angle = np.arange(1441) * 0.5
    open_at = angle[valve_row(side)[0] > 0.0]
    assert open_at[0] == pytest.approx(opens, abs=2.0)  # with its lash the flank opens later
    assert open_at[-1] == pytest.approx(closes, abs=2.0)


def test_lash_is_taken_off_the_lift():
    assert valve_row("intake")[0].max() / (2.0 * 0.58 * pi * 0.033) == pytest.approx(0.0085)


def test_cam_opens_before_and_closes_after_the_dead_centres_of_its_side():
    cam = ws.Cam(opens_deg=40.0, closes_deg=10.0, lift=0.009, checking_lift=0.001)
    for side, opens, closes in (("exhaust", 180.0 - 40.0, 360.0 + 10.0),
                                ("intake", 360.0 - 40.0, 540.0 + 10.0)):
        centre = cam.centre_deg(side)
        assert centre == pytest.approx(0.5 * (opens + closes))
        for angle in (opens, closes):
            assert float(cam.lift_at(angle - centre)) == pytest.approx(0.001, rel=1e-6)
    assert float(cam.lift_at(0.0)) == pytest.approx(0.009)


def test_measured_lift_is_centred_after_dead_centre_at_the_intake_and_before_at_the_exhaust():
    table = flat_lift(350.0, 580.0, 0.009)  # centre 105 deg away
    assert table.centre_deg("intake") == pytest.approx(465.0)
    assert table.centre_deg("exhaust") == pytest.approx(255.0)


def test_coefficient_of_the_head_belongs_to_the_area_of_the_head():
    flow = {"lift_ratio": (0.1, 0.2), "forward": (0.3, 0.5)}
    curtain, head = (ws.FlowCoefficients(**flow, reference=word) for word in ("curtain", "head"))
    lift, diameter = np.array([0.006]), 0.03
    assert curtain.areas(lift, diameter)[0] == pytest.approx([0.5 * pi * 0.03 * 0.006])
    assert head.areas(lift, diameter)[0] == pytest.approx([0.5 * disc(0.03)])


# --- the air outside, and what fills the system first ---------------------------------------------


def outside(name):
    model = engine_model()
    return model.work.store[model.stores[name]]


def test_each_side_of_the_engine_opens_to_its_own_air():
    """What flows into the intake is fresh charge, what is drawn in at the exhaust is air."""
    inlet, outlet = outside("air inlet"), outside("outlet")
    assert list(inlet[[f.NP, f.NT, f.NYF, f.NYB]]) == [91e3, 281.0, 1.0, 0.0]
    assert list(outlet[[f.NP, f.NT, f.NYF, f.NYB]]) == [93e3, 284.0, 0.0, 0.0]
    assert outlet[f.NRHO] == pytest.approx(93e3 / (287.06 * 284.0), rel=1e-3)


def test_unequal_air_is_refused_unless_it_is_meant():
    with pytest.raises(ws.InputError, match="unequal_pressures"):
        compile_network(ws.assemble(engine(), EXHAUST), ws.EngineGas("iso-octane", lam=1.1),
                        SETTINGS.replace(unequal_pressures=False), engine=engine(), rpm=RPM)


def test_air_on_a_mountain_is_thinner():
    """Standard atmosphere at 2000 m: 79495 Pa, 275.15 K, density 1.0065 kg/m3 (ISO 2533)."""
    net = ws.assemble(engine().replace(intake=engine().intake.replace(ambient=None)),
                      EXHAUST.replace(ambient=None))
    model = compile_network(net, ws.EngineGas("iso-octane", lam=1.1), SETTINGS, engine=engine(),
                            rpm=RPM, ambient=ws.Ambient(pressure=79495.0, temperature=275.15))
    for name in ("air inlet", "outlet"):
        assert model.work.store[model.stores[name], f.NP] == 79495.0
    assert model.work.store[model.stores["outlet"], f.NRHO] == pytest.approx(1.0065, rel=1e-3)


def test_plenum_starts_with_fresh_charge_under_the_air_at_its_intake():
    model = engine_model()
    row = model.state.store[model.stores["plenum"]]
    assert row[f.SF] == pytest.approx(row[f.SM], rel=1e-12) and row[f.SB] == 0.0
    assert row[f.ST] == 281.0
    density = 91e3 / (float(model.gas.R(1.0, 0.0)) * 281.0)
    assert row[f.SM] == pytest.approx(0.0041 * density, rel=1e-9)


def test_humid_air_holds_less_oxygen_for_the_same_volume():
    """Saturated at 303.15 K: 4246 Pa of vapour (steam tables), so 4.2 % of the moles."""
    wet = ws.Ambient(temperature=303.15, relative_humidity=1.0)
    assert wet.vapour_share == pytest.approx(4246.0 / 101325.0, rel=6e-3)
    assert wet.dry_pressure == pytest.approx(101325.0 - 4246.0, rel=5e-4)


# --- ends -----------------------------------------------------------------------------------------


def test_entry_loss_narrows_the_way_in_and_not_the_way_out():
    """Half a velocity head more is lost for every half of K: area / sqrt(1 + K)."""
    model = engine_model()
    inlet, outlet = end(model, "inlet.start"), end(model, "collector.end")
    assert (inlet[f.CD_OUT], inlet[f.CD_IN]) == pytest.approx((1.0, 1.0 / sqrt(1.2)))
    assert (outlet[f.CD_OUT], outlet[f.CD_IN]) == pytest.approx((1.0, 1.0 / sqrt(2.0)))


def test_open_end_radiates_as_the_bore_and_word_of_its_own():
    """Acoustic length 0.6133 a free and 0.8217 a flanged (Levine and Schwinger; Nomura)."""
    for word, length in (("unflanged", 0.6133), ("flanged", 0.8217)):
        row = end(model_of({"d": ws.Pipe(0.2, 0.05)},
                           {"m": ws.OpenEnd("d.end", radiation=word)}), "d.end")
        assert row[f.RAD_RADIUS] == pytest.approx(0.025)
        assert row[f.RAD_MASS] == pytest.approx(length, rel=3e-3)


def test_nozzle_at_an_open_end_has_its_own_area_and_coefficient():
    row = end(model_of({"d": ws.Pipe(0.2, 0.05)}, {"m": ws.OpenEnd(
        "d.end", diameter=0.03, discharge_coefficient=0.8, entry_loss=0.5)}), "d.end")
    assert row[f.CD_OUT] == pytest.approx(0.8 * 0.36)
    assert row[f.CD_IN] == pytest.approx(0.8 * 0.36 / sqrt(1.5))


def test_endless_pipe_holds_its_own_gas():
    row = end(model_of({"d": ws.Pipe(0.2, 0.05)},
                       {"m": ws.AnechoicEnd("d.end", pressure=1.2e5, temperature=330.0)}), "d.end")
    assert (row[f.P_REF], row[f.T_REF]) == (1.2e5, 330.0)


def test_ends_of_a_tapered_duct_have_its_two_bores():
    model = engine_model()
    assert end(model, "exhaust port 1.start")[f.AREA] == pytest.approx(disc(0.035))
    lo, hi = model.ducts["exhaust port 1"]
    assert model.net.area[lo] == pytest.approx(disc(0.035))
    assert model.net.area[hi] == pytest.approx(disc(0.037))
    assert end(model, "intake port 1.end")[f.AREA] == pytest.approx(disc(0.043))


# --- between ducts --------------------------------------------------------------------------------

TWO = {"a": ws.Pipe(0.2, 0.05), "b": ws.Pipe(0.2, 0.05)}
AB = ("a.end", "b.start")


def test_orifice_has_a_coefficient_for_each_direction():
    model = model_of(TWO, {"o": ws.Orifice(AB, diameter=0.02, discharge_coefficient=(0.7, 0.6))})
    (row,) = model.net.pair_par
    assert row[[f.THROAT_ON, f.THROAT_BACK]] == pytest.approx([0.7 * disc(0.02), 0.6 * disc(0.02)])
    assert list(row[[f.LOSS_ON, f.LOSS_BACK]]) == [-1.0, -1.0]
    assert list(model.net.pair[0]) == [model.ends["a", "end"], model.ends["b", "start"]]


def test_throttle_leaves_open_what_the_ellipse_of_its_plate_does_not_cover():
    """Seen along the bore the plate is an ellipse: 1 - cos(angle) / cos(closed angle)."""
    open_share = 1.0 - cos(radians(50.0)) / cos(radians(8.0))
    throats = engine_model().net.pair_par[:, f.THROAT_ON]
    wanted = 0.85 * disc(0.06) * open_share
    assert np.abs(throats / wanted - 1.0).min() < 1e-12
    bare = ws.Throttle(AB, diameter=0.04, shaft_diameter=0.008, discharge_coefficient=1.0)
    half = np.arcsin(0.2)  # the shaft stands alone: a strip across the bore
    strip = 2.0 * 0.02**2 * (half + sin(half) * cos(half))
    assert bare.effective_area == pytest.approx(disc(0.04) - strip, rel=1e-9)


def test_contraction_loses_on_the_way_into_the_narrower_duct():
    """K = 0.4956 for diameters 2:1, Rennels and Hudson (2012), ch. 10."""
    for wide, narrow, here in ((0.06, 0.03, f.LOSS_ON), (0.03, 0.06, f.LOSS_BACK)):
        model = model_of({"a": ws.Pipe(0.2, wide), "b": ws.Pipe(0.2, narrow)},
                         {"s": ws.AreaStep(AB)})
        (row,) = model.net.pair_par
        there = f.LOSS_BACK if here == f.LOSS_ON else f.LOSS_ON
        assert row[here] == pytest.approx(0.4956, abs=1e-4) and row[there] == -1.0
        assert row[[f.THROAT_ON, f.THROAT_BACK]] == pytest.approx([disc(0.03)] * 2)


def test_each_opening_of_a_volume_has_its_own_coefficient():
    model = model_of(TWO, {"v": ws.Volume(
        AB, volume=3e-4, discharge_coefficient=(0.8, 0.6), pressure=1.3e5, temperature=420.0,
        fill="burned")})
    assert list(end(model, "a.end")[[f.CD_OUT, f.CD_IN]]) == [0.8, 0.8]
    assert list(end(model, "b.start")[[f.CD_OUT, f.CD_IN]]) == [0.6, 0.6]
    row = model.state.store[model.stores["v"]]
    density = 1.3e5 / (float(model.gas.R(0.0, 1.0)) * 420.0)
    assert row[f.SM] == pytest.approx(3e-4 * density, rel=1e-9)
    assert row[f.SB] == row[f.SM] and row[f.SF] == 0.0
    assert model.net.store_volume[model.stores["v"]] == 3e-4


def test_branches_of_a_junction_point_where_their_angles_say():
    model = model_of(TWO, {"j": ws.Junction(AB, angles_deg=(90.0, 30.0), volume=1e-4)})
    ways = [end(model, name)[f.DIR_X:f.DIR_Z + 1] for name in AB]
    assert ways[0] == pytest.approx([0.0, 1.0, 0.0], abs=1e-12)
    assert ways[1] == pytest.approx([sqrt(0.75), 0.5, 0.0])
    assert model.net.store_volume[model.stores["j"]] == 1e-4


def test_primaries_meet_the_collector_at_the_angle_of_their_merge():
    model = engine_model()
    along = end(model, "collector.start")[f.DIR_X:f.DIR_Z + 1]
    for n in (1, 2, 3):
        primary = end(model, f"primary {n}.end")[f.DIR_X:f.DIR_Z + 1]
        assert primary @ along == pytest.approx(-cos(radians(20.0)), abs=1e-9)


# --- holes and packings ---------------------------------------------------------------------------

WOOL = ws.Packing("basalt wool", bulk_density=120.0, fibre_diameter=1.2e-5, flow_resistivity=9e3)


def test_holes_of_a_wall_have_their_area_length_and_loss():
    """Length t + 0.75 d, with the correction of both ends; loss (1 - sigma^2) / (2 Cd^2)."""
    model = model_of({"a": ws.Pipe(0.2, 0.05), "b": ws.Pipe(0.2, 0.08)}, {"p": ws.Perforate(
        "a", "b", hole_diameter=0.004, porosity=0.2, wall_thickness=0.0015,
        discharge_coefficient=0.8)})
    row = model.net.hole_par
    assert row[f.HOLE_AREA].sum() == pytest.approx(0.2 * pi * 0.05 * 0.2, rel=1e-9)
    assert row[f.HOLE_LENGTH] == pytest.approx(np.full(row.shape[1], 0.0015 + 0.75 * 0.004))
    assert row[f.HOLE_LOSS] == pytest.approx(np.full(row.shape[1], 0.96 / (2.0 * 0.64)))
    assert list(model.net.hole_wall[0, [f.CORE_CELL, f.ANNULUS_CELL]]) == [
        model.ducts["a"][0], model.ducts["b"][0]]


def packed(case=500.0):
    return model_of(
        {"a": ws.Pipe(0.2, 0.05), "b": ws.Pipe(0.2, 0.08, wall_temperature=case)},
        {"p": ws.Perforate("a", "b", hole_diameter=0.004, porosity=0.2, wall_thickness=0.0015,
                           packing=WOOL)},
        initial={"b": (1e5, 0.0, 640.0, "burned")})


def test_packing_takes_the_room_of_its_fibres():
    """120 kg/m3 of basalt at 2750 kg/m3."""
    model, share = packed(), 1.0 - 120.0 / 2750.0
    lo, hi = model.ducts["b"]
    assert WOOL.gas_fraction == pytest.approx(share)
    assert model.net.cells[f.VOL, lo:hi].sum() == pytest.approx(share * disc(0.08) * 0.2)
    assert model.net.cells[f.VOL, lo:hi] * model.net.cells[f.INV_VOL, lo:hi] == pytest.approx(1.0)
    assert model.net.area[lo:hi + 1] == pytest.approx(np.full(hi - lo + 1, share * disc(0.08)))
    assert end(model, "b.end")[f.AREA] == pytest.approx(share * disc(0.08))


def test_packing_resists_the_flow_and_holds_its_heat():
    """Nu = 1 about each fibre: 4 k (1 - s) / (s d^2) per volume of gas, k = 0.05 W/(m K)."""
    model, share = packed(), WOOL.gas_fraction
    row = model.net.hole_par
    assert row[f.RESIST] == pytest.approx(np.full(row.shape[1], share * 9e3))
    assert row[f.HOLE_BACKING] == pytest.approx(np.full(row.shape[1], 0.5 * 0.75 * 0.004 * 9e3))
    grip = 4.0 * 0.05 * (1.0 - share) / (share * 1.2e-5**2)
    assert row[f.FIBRE] == pytest.approx(np.full(row.shape[1], grip))


def test_fibres_start_as_warm_as_their_gas_and_shield_it_from_the_case():
    model = packed()
    cells = slice(*model.ducts["b"])
    assert list(set(model.net.cells[f.WALL, cells])) == [640.0]
    assert list(set(model.net.cells[f.HEAT, cells])) == [0.0]


def fibres_without_flow(case):
    """Temperature of fibres whose gas does not move, after forty cycles [K].

    All that the gas takes up is what warms it as the fibres grow warmer.
    """
    model = packed(case)
    cells = slice(*model.ducts["b"])
    T = model.net.cells[f.WALL, cells]
    walls = find_solved_walls(model)
    mass = model.net.cells[f.VOL, cells] * model.state.U[f.R, cells]
    for _ in range(40):
        before = T.copy()
        update_walls(model, walls, 0.04)
        cp = float(model.gas.cp(before.mean(), 0.0, 1.0))
        model.record.wall[f.GAIN, cells] = mass * cp * (T - before)
    return T


def test_fibres_without_flow_take_the_temperature_of_their_case():
    """Or of the air outside, 298.15 K, where the case has none of its own."""
    assert fibres_without_flow(500.0) == pytest.approx(np.full(10, 500.0), abs=0.5)
    assert fibres_without_flow(None) == pytest.approx(np.full(10, 298.15), abs=0.5)


# --- walls ----------------------------------------------------------------------------------------


def test_cells_have_the_wall_of_their_pipe():
    pipe = ws.Pipe(0.2, 0.05, wall_temperature=471.0, roughness=2e-4, heat_factor=1.3,
                   friction_factor_scale=0.9, extra_loss=0.37)
    model = model_of({"d": pipe}, {})
    cells = model.net.cells[:, slice(*model.ducts["d"])]
    assert set(cells[f.WALL]) == {471.0} and set(cells[f.HEAT]) == {1.3}
    assert cells[f.DIAM] == pytest.approx(np.full(10, 0.05))
    assert cells[f.ROUGH] == pytest.approx(np.full(10, (2e-4 / (3.7 * 0.05)) ** 1.11))
    assert cells[f.FRICTION] == pytest.approx(np.full(10, 0.9 / (2.0 * 0.05)))
    assert 2.0 * 0.02 * cells[f.BEND].sum() == pytest.approx(0.37)  # K of the whole pipe
    assert cells[f.INV_DX] == pytest.approx(np.full(10, 50.0))
    assert cells[f.VOL].sum() == pytest.approx(0.2 * disc(0.05))


def test_pipe_without_a_wall_temperature_passes_no_heat():
    model = model_of({"d": ws.Pipe(0.2, 0.05, heat_factor=1.3)}, {})
    assert set(model.net.cells[f.HEAT, slice(*model.ducts["d"])]) == {0.0}


def test_bend_loses_what_the_handbook_says():
    """K = 0.206 of 90 deg, r/d = 1.5 at f = 0.0180, friction of its length included (Rennels)."""
    bend = ws.Bend(0.05, 90.0, radius_ratio=1.5, roughness=0.0)
    model = model_of({"d": bend}, {})
    cells = model.net.cells[:, slice(*model.ducts["d"])]
    dx = 1.0 / cells[f.INV_DX]
    factor = 0.0180
    found = 2.0 * float((cells[f.BEND] + factor * cells[f.FRICTION]) @ dx)
    half = sin(radians(45.0))
    wanted = factor * 0.5 * pi * 1.5 + (0.10 + 2.4 * factor) * half + 6.6 * factor * (
        sqrt(half) + half) / 1.5**2
    assert found == pytest.approx(wanted, rel=1e-9) and wanted == pytest.approx(0.206, abs=0.02)


def test_annulus_has_the_area_and_the_hydraulic_diameter_of_its_gap():
    box = ws.PerforatedSilencer(0.4, 0.05, case_diameter=0.12, core_wall=0.0015)
    assert disc(box.annulus.diameter) == pytest.approx(disc(0.12) - disc(0.053))
    assert box.annulus.hydraulic_diameter == pytest.approx(0.12 - 0.053)


# --- settings -------------------------------------------------------------------------------------


def test_settings_stand_among_the_options():
    options = engine_model().net.options
    assert options[f.CFL] == 0.77 and options[f.OMEGA_DEG] == 6.0 * RPM
    assert (options[f.FRICTION_ON], options[f.HEAT_ON]) == (1.0, 0.0)


def test_cells_are_as_long_as_the_settings_ask():
    model = engine_model()
    short = (0.09 + 0.6) / 20.0  # port and primary are a run of less than 20 cells
    assert model.dx["primary 1"] == pytest.approx(0.6 / round(0.6 / short))
    assert model.dx["runner 1"] == pytest.approx(0.3 / round(0.3 / (0.55 * 0.05)))


# --- the bill -------------------------------------------------------------------------------------


def test_bill_weighs_a_tube_by_its_ring_of_metal():
    """pi (d + t) t L rho; 7850 kg/m3 of mild steel."""
    wall = ws.Wall(0.0015, "mild steel")
    exhaust = ws.Exhaust(primary=ws.Pipe(0.6, 0.037), collector=ws.Pipe(0.5, 0.05))
    rows = {row.line: row.amounts for row in ws.bill(exhaust, 3, wall=wall).rows}
    mass = pi * 0.0385 * 0.0015 * 0.6 * 7850.0
    assert rows["primary"].tube_mass == pytest.approx(3.0 * mass, rel=5e-3)
    assert rows["primary"].length == pytest.approx(1.8)
    assert rows["primary"].inner_area == pytest.approx(3.0 * pi * 0.037 * 0.6)
    assert rows["primary"].outer_area == pytest.approx(3.0 * pi * 0.040 * 0.6)
    assert rows["collector"].gas_volume == pytest.approx(disc(0.05) * 0.5)
    assert rows["collector"].silencer_mass == 0.0


def test_bill_weighs_the_fibre_of_a_packing_and_both_end_plates():
    box = ws.PerforatedSilencer(0.4, 0.05, case_diameter=0.12, porosity=0.2, core_wall=0.0015,
                                shell=0.001, metal="mild steel", packing=WOOL)
    density = 7850.0
    core = 0.8 * pi * 0.0515 * 0.0015 * 0.4 * density
    shell = pi * 0.121 * 0.001 * 0.4 * density
    plates = 2.0 * 0.001 * (disc(0.12) - disc(0.05)) * density
    fibre = 120.0 * 0.4 * (disc(0.12) - disc(0.053))
    found = box.amounts(ws.Wall(0.0015, "mild steel"))
    assert found.silencer_mass == pytest.approx(core + shell + plates + fibre, rel=5e-3)
    assert found.tube_mass == 0.0
