"""Deliberate faults of the package: each must fail a test (`test_mutations.py`).

Those of the kernels come first, then those between descriptions and arrays, then those between
arrays, quantities and files.

`python tests/faults.py` prints the table that stands in DEVELOPERS.md.
"""

import shutil
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[1]


@dataclass(frozen=True)
class Fault:
    """One expression that stands in a module once, what replaces it, the test that fails."""

    name: str
    file: str  # in wavesim
    right: str
    wrong: str
    test: str  # in tests


FAULTS = (
    Fault(
        "area source of the wrong sign", "kernels/cells.py",
        'face pressures."""\n    for i in range(np.uintp(n) - I1):\n        j = i + I1\n'
        "        a0 = dt * area[i] * inv_vol[i]\n        a1 = dt * area[j] * inv_vol[i]\n"
        "        wall = 0.5 *",
        'face pressures."""\n    for i in range(np.uintp(n) - I1):\n        j = i + I1\n'
        "        a0 = dt * area[i] * inv_vol[i]\n        a1 = dt * area[j] * inv_vol[i]\n"
        "        wall = -0.5 *",
        "test_small_marches.py::test_steady_flow_through_a_cone_stays_the_better_the_finer",
    ),
    Fault(
        "half step ahead without the pressure", "kernels/cells.py",
        "hp = warmed[i] - nu * ui * sp - z * c[i] * squeeze", "hp = 0.0",
        "test_small_marches.py::test_sound_pulse_converges_with_order_two_on_coarse_meshes",
    ),
    Fault(
        "limiter that does not limit", "kernels/cells.py",
        "max(0.0, min(low, mean)) + min(0.0, max(high, mean))", "mean",
        "test_small_marches.py::test_shock_tube_of_fifty_cells_has_no_ripples",
    ),
    Fault(
        "flux from the downwind side of the contact", "kernels/cells.py",
        "from_left = thrust < 0.0", "from_left = thrust > 0.0",
        "test_small_marches.py::test_contact_of_hot_and_cold_gas_moves_with_the_flow",
    ),
    Fault(
        "wall that feels the temperature of the passing gas", "kernels/cells.py",
        "T[i] * (1.0 + 0.5 * RECOVERY * gm1 * mach * mach)", "T[i]",
        "test_small_marches.py::test_wall_feels_the_recovery_temperature",
    ),
    Fault(
        "gas at a wall that listens to what the end remembers", "kernels/march.py",
        "came = face[f.ES_CAME]", "came = 1.0",
        "test_small_marches.py::test_gas_at_a_wall_knows_nothing_of_the_last_step",
    ),
    Fault(
        "gas that came in forgotten when the flow turns", "kernels/march.py",
        "came = face[f.ES_CAME]", "came = 1.0 if face[f.ES_V] < 0.0 else 0.0",
        "test_small_marches.py::test_gas_that_came_in_leaves_first_when_the_flow_turns",
    ),
    Fault(
        "slug before an open end used up in whole steps", "kernels/nodes.py",
        "share = slug / max(slug, -dt * expected(state, k))", "share = 1.0",
        "test_small_marches.py::"
        "test_gas_that_has_left_an_open_end_comes_back_to_the_last_of_it",
    ),
    Fault(
        "wall of a steep taper without its push", "kernels/tapers.py",
        "m[i] += dt * inv_vol[i] * push[i]", "m[i] += 0.0 * push[i]",
        "test_small_marches.py::test_steady_flow_through_a_cone_of_one_cell_stays",
    ),
    Fault(
        "fractions that leave as those at the face", "kernels/cells.py",
        "return max(0.0, 1.0 - passed * per_mass)", "return 1.0",
        "test_small_marches.py::test_fractions_stay_between_what_they_were",
    ),
    Fault(
        "small store that gives on the gas it had", "kernels/openings.py",
        "row[f.SB] / mass + share * yb", "row[f.SB] / mass",
        "test_small_marches.py::test_small_volume_gives_no_more_than_it_holds",
    ),
    Fault(
        "cycle that counts as settled while something fills", "march/cycles.py",
        "or history[-1].shift > tolerance", "or history[-1].shift > 1.0",
        "test_cycles.py::test_cycle_has_not_settled_while_something_fills",
    ),
    Fault(
        "cylinder after the next in place of the next", "descriptions/symmetry.py",
        "following = order[1:] + order[:1]", "following = order[2:] + order[:2]",
        "test_periodic_states.py::test_succession_follows_the_firing_order",
    ),
    Fault(
        "fixed point sought where a cycle gives nothing", "march/cyclemap.py",
        "return derivative(cycle, state, after, direction) - direction",
        "return derivative(cycle, state, after, direction)",
        "test_periodic_states.py::test_fixed_point_is_found_where_disturbances_grow",
    ),
    Fault(
        "step too far taken a second time", "march/cyclemap.py",
        "step = 0.5 * step", "step = 1.0 * step",
        "test_periodic_states.py::test_step_beyond_what_an_engine_can_be_is_halved",
    ),
    Fault(
        "multiplier of the map that does nothing", "march/cyclemap.py",
        "left[:, :rank].T @ after", "left[:, :rank].T @ before",
        "test_periodic_states.py::test_leading_multiplier_of_known_maps_is_found",
    ),
    Fault(
        "friction twice as large", "kernels/cells.py",
        "drag[i] = friction[i]", "drag[i] = 2.0 * friction[i]",
        "test_losses.py::test_friction_factor_has_the_published_value",
    ),
    Fault(
        "heat transfer without the 4 of 4 St/D", "kernels/cells.py",
        "scale = 4.0 * per_d", "scale = per_d",
        "test_losses.py::test_nusselt_number_has_the_published_value",
    ),
    Fault(
        "path line of the characteristics to the wrong side", "kernels/characteristics.py",
        "line(i, nu, u[i], u[L], u[R]", "line(i, nu, -u[i], -u[L], -u[R]",
        "test_small_marches.py::test_contact_of_hot_and_cold_gas_moves_with_the_flow",
    ),
    Fault(
        "gas constant of burned gas for fresh charge", "kernels/thermo.py",
        "R[AIR] + yf * (R[FRESH]", "R[AIR] + yf * (R[BURNED]",
        "test_gas.py::test_kernels_see_the_same_gas",
    ),
    Fault(
        "open end without its end correction", "kernels/nodes.py",
        "radius = net.end_par[k, f.RAD_RADIUS]", "radius = 0.0",
        "test_small_marches.py::test_open_pipe_sounds_as_if_longer_by_its_end_correction",
    ),
    Fault(
        "wrong exponent in the flow out of a hole", "kernels/ends.py",
        "blow = math.exp(x / gamma) / phi", "blow = math.exp(x) / phi",
        "test_small_marches.py::test_hole_at_the_end_of_a_pipe_passes_the_isentropic_flow",
    ),
    Fault(
        "enlargement without the pressure on its wall", "kernels/pairs.py",
        "tau * pU_star + flux * (jet - q) - pD_star",
        "bore * (tau * pU_star - pD_star) + flux * (jet - q)",
        "test_small_marches.py::test_wave_meets_a_sudden_enlargement_by_the_momentum_law",
    ),
    Fault(
        "momentum of a junction of the wrong sign", "kernels/stores.py",
        "gx -= push * x", "gx += push * x",
        "test_small_marches.py::test_branch_in_line_gets_more_of_a_wave_than_the_side_branch",
    ),
    Fault(
        "half the inertance of the holes of a wall", "kernels/perforate.py",
        "inertia = donor_r * length[q]", "inertia = 0.5 * donor_r * length[q]",
        "test_small_marches.py::test_gas_in_the_holes_of_a_wall_swings_between_two_closed_ducts",
    ),
    Fault(
        "piston that hangs below its crank", "kernels/cylinder.py",
        "+ math.sqrt(cyl[f.ROD]", "- math.sqrt(cyl[f.ROD]",
        "test_cylinder.py::test_piston_stands_where_the_slider_crank_puts_it",
    ),
    Fault(
        "Wiebe's exponent without its 1", "kernels/cylinder.py",
        "y ** (m + 1.0)", "y ** m",
        "test_cylinder.py::test_charge_burns_as_wiebe_says",
    ),
    Fault(
        "residual counted as fresh charge", "kernels/stores.py",
        "sums[f.TRAP_BURNED] = row[f.SB]", "sums[f.TRAP_BURNED] = row[f.SF]",
        "test_small_marches.py::test_books_of_the_trapped_gas_tell_fresh_charge_from_residual",
    ),
    Fault(
        "burned gas that leaves counted as fresh", "kernels/step.py",
        "out[f.OUT_BURNED] += area * face[k, F_BURNED]",
        "out[f.OUT_BURNED] += area * face[k, F_FRESH]",
        "test_small_marches.py::test_books_of_an_open_end_tell_what_has_left",
    ),
    Fault(
        "opening pressure read when the intake valve closes", "kernels/stores.py",
        "reaches(cyl[f.EVO], before, after)", "reaches(cyl[f.IVC], before, after)",
        "test_small_marches.py::"
        "test_opening_pressure_is_that_of_the_cylinder_when_its_exhaust_valve_opens",
    ),
    Fault(
        "wall heat of the burning gas at a tenth of its velocity", "kernels/cylinder.py",
        "w += 3.24e-3 * area", "w += 3.24e-4 * area",
        "test_small_marches.py::test_combustion_adds_to_the_gas_velocity_of_woschni",
    ),
    Fault(
        "half of the liner that the piston uncovers", "kernels/cylinder.py",
        "liner = 4.0 * max", "liner = 2.0 * max",
        "test_small_marches.py::test_liner_takes_heat_as_far_as_the_piston_has_uncovered_it",
    ),
    Fault(
        "angle of peak pressure of the neighbour in firing order", "kernels/stores.py",
        "sums[f.PEAK_ANGLE] = middle", "sums[f.PEAK_ANGLE] = 180.0 + middle",
        "test_small_marches.py::test_pressure_of_a_motored_cylinder_peaks_at_dead_centre",
    ),
    Fault(
        "temperatures of head and piston exchanged", "arrays/compile.py",
        "f.T_HEAD: heat.head_temperature", "f.T_HEAD: heat.piston_temperature",
        "test_wiring.py::test_column_of_the_cylinders_holds_the_field_of_its_name",
    ),
    Fault(
        "liner as hot as the piston", "arrays/compile.py",
        "f.T_LINER: heat.liner_temperature", "f.T_LINER: heat.piston_temperature",
        "test_wiring.py::test_column_of_the_cylinders_holds_the_field_of_its_name",
    ),
    Fault(
        "area of the head for the piston", "arrays/compile.py",
        "f.PISTON_AREA: heat.piston_area_factor", "f.PISTON_AREA: heat.head_area_factor",
        "test_wiring.py::test_column_of_the_cylinders_holds_the_field_of_its_name",
    ),
    Fault(
        "cylinders without their pin offset", "arrays/compile.py",
        "f.PIN: engine.pin_offset", "f.PIN: 0.0",
        "test_wiring.py::test_pin_offset_moves_both_dead_centres_and_lengthens_the_stroke",
    ),
    Fault(
        "factor on the cylinder's wall heat left out", "arrays/compile.py",
        "f.HEAT_MODEL_FACTOR: heat.factor", "f.HEAT_MODEL_FACTOR: 1.0",
        "test_wiring.py::test_column_of_the_cylinders_holds_the_field_of_its_name",
    ),
    Fault(
        "every cylinder fires as the next", "arrays/compile.py",
        "engine.firing_angles_deg[:count]",
        "np.roll(engine.firing_angles_deg, -1)[:count]",
        "test_wiring.py::test_cylinders_fire_in_their_order_after_their_intervals",
    ),
    Fault(
        "all of the charge burns, whatever its efficiency", "arrays/compile.py",
        "f.Q_FRESH: gas.heat_per_fresh * engine.combustion.efficiency",
        "f.Q_FRESH: gas.heat_per_fresh",
        "test_wiring.py::test_fresh_charge_releases_the_heat_of_its_fuel",
    ),
    Fault(
        "opening and closing of the exhaust valve exchanged", "arrays/compile.py",
        "opens, _ = seat_events", "_, opens = seat_events",
        "test_wiring.py::test_gas_is_trapped_and_released_where_the_lift_tables_end",
    ),
    Fault(
        "intake valve that shuts when it opens", "arrays/compile.py",
        "_, intake_closes =", "intake_closes, _ =",
        "test_wiring.py::test_gas_is_trapped_and_released_where_the_lift_tables_end",
    ),
    Fault(
        "forward and reverse flow of the valves exchanged", "arrays/compile.py",
        'if node.side == "intake" else (reverse', 'if node.side != "intake" else (reverse',
        "test_wiring.py::test_flow_coefficients_stand_for_the_direction_that_they_were_measured_in",
    ),
    Fault(
        "throat of an orifice without its coefficient on the way back", "arrays/compile.py",
        "tuple(hole * coefficient for coefficient in", "tuple(hole * node.coefficients[0] for _ in",
        "test_wiring.py::test_orifice_has_a_coefficient_for_each_direction",
    ),
    Fault(
        "contraction that loses on the way into the wider duct", "arrays/compile.py",
        "losses = (loss if a > b else NO_LOSS_LAW, loss if b > a",
        "losses = (loss if b > a else NO_LOSS_LAW, loss if a > b",
        "test_wiring.py::test_contraction_loses_on_the_way_into_the_narrower_duct",
    ),
    Fault(
        "entry loss on the way out", "arrays/compile.py",
        "self.par[k, f.CD_OUT] = share\n        self.par[k, f.CD_IN] = share / sqrt",
        "self.par[k, f.CD_IN] = share\n        self.par[k, f.CD_OUT] = share / sqrt",
        "test_wiring.py::test_entry_loss_narrows_the_way_in_and_not_the_way_out",
    ),
    Fault(
        "nozzle without its coefficient", "arrays/compile.py",
        "share = min(1.0, node.discharge_coefficient * 0.25", "share = min(1.0, 0.25",
        "test_wiring.py::test_nozzle_at_an_open_end_has_its_own_area_and_coefficient",
    ),
    Fault(
        "radiation of the bore's diameter", "arrays/compile.py",
        "sqrt(area / pi)", "2.0 * sqrt(area / pi)",
        "test_wiring.py::test_open_end_radiates_as_the_bore_and_word_of_its_own",
    ),
    Fault(
        "air drawn into the intake without fuel", "arrays/compile.py",
        'FILL["fresh"] if node.intake else FILL["air"]', 'FILL["air"]',
        "test_wiring.py::test_each_side_of_the_engine_opens_to_its_own_air",
    ),
    Fault(
        "openings of a volume alike", "arrays/compile.py",
        "self.par[k, [f.CD_OUT, f.CD_IN]] = min(1.0, coefficient)",
        "self.par[k, [f.CD_OUT, f.CD_IN]] = min(1.0, node.coefficients[0])",
        "test_wiring.py::test_each_opening_of_a_volume_has_its_own_coefficient",
    ),
    Fault(
        "hole area of the annulus side", "arrays/compile.py",
        "node.hole_area(bore) * mesh.dx[node.core]", "node.hole_area(bore)",
        "test_wiring.py::test_holes_of_a_wall_have_their_area_length_and_loss",
    ),
    Fault(
        "holes without the length beyond their wall", "arrays/compile.py",
        "node.wall_thickness + HOLE_END * node.hole_diameter", "node.wall_thickness",
        "test_wiring.py::test_holes_of_a_wall_have_their_area_length_and_loss",
    ),
    Fault(
        "fibre that takes no room at the ends", "arrays/compile.py",
        "self.par[rows, f.AREA] *= node.packing.gas_fraction", "pass",
        "test_wiring.py::test_packing_takes_the_room_of_its_fibres",
    ),
    Fault(
        "fibres of their stated material though a diameter is given", "arrays/compile.py",
        "packing.fibre_diameter or packing.fibre.diameter", "packing.fibre.diameter",
        "test_wiring.py::test_packing_resists_the_flow_and_holds_its_heat",
    ),
    Fault(
        "friction and wall heat exchanged", "arrays/compile.py",
        "options[f.HEAT_ON] = settings.wall_heat", "options[f.HEAT_ON] = settings.friction",
        "test_wiring.py::test_settings_stand_among_the_options",
    ),
    Fault(
        "crank that turns twice as fast", "arrays/compile.py",
        "options[f.OMEGA_DEG] = 6.0", "options[f.OMEGA_DEG] = 12.0",
        "test_wiring.py::test_settings_stand_among_the_options",
    ),
    Fault(
        "walls that one speed leaves to the next of the same design", "arrays/compile.py",
        'BY_RUN = ("gas_R", "gas_coef", "cells", "cyl_par")',
        'BY_RUN = ("gas_R", "gas_coef", "cyl_par")',
        "test_rig.py::test_model_of_a_rig_is_the_same_whatever_was_run_before",
    ),
    Fault(
        "burn of one speed at all speeds of a design", "arrays/compile.py",
        "combustion.start_and_duration(rpm)", "combustion.start_and_duration(3000.0)",
        "test_rig.py::test_burn_and_slices_are_those_of_the_speed",
    ),
    Fault(
        "taper laid the wrong way round", "arrays/mesh.py",
        "area = duct.area_at(faces)", "area = duct.area_at(duct.length - faces)",
        "test_wiring.py::test_ends_of_a_tapered_duct_have_its_two_bores",
    ),
    Fault(
        "roughness against the radius", "arrays/mesh.py",
        "rough / (HAALAND_ROUGH * rows[f.DIAM])", "2.0 * rough / (HAALAND_ROUGH * rows[f.DIAM])",
        "test_wiring.py::test_cells_have_the_wall_of_their_pipe",
    ),
    Fault(
        "factor on heat left out", "arrays/mesh.py",
        "warm * [p.heat_factor for p in parts]", "1.0 * warm",
        "test_wiring.py::test_cells_have_the_wall_of_their_pipe",
    ),
    Fault(
        "heat through walls of no temperature", "arrays/mesh.py",
        "p.wall_temperature is not None or p.wall is not None", "True",
        "test_wiring.py::test_pipe_without_a_wall_temperature_passes_no_heat",
    ),
    Fault(
        "loss of a pipe counted twice", "arrays/mesh.py",
        "rows[f.BEND] = duct.mean", "rows[f.BEND] = 2.0 * duct.mean",
        "test_wiring.py::test_cells_have_the_wall_of_their_pipe",
    ),
    Fault(
        "separation in a bend left out", "descriptions/pipes.py",
        "2.4 * half + separation", "2.4 * half",
        "test_wiring.py::test_bend_loses_what_the_handbook_says",
    ),
    Fault(
        "plate of a throttle that closes only across the bore", "descriptions/nodes.py",
        " / cos(radians(closed_angle_deg))", "",
        "test_wiring.py::test_throttle_leaves_open_what_the_ellipse_of_its_plate_does_not_cover",
    ),
    Fault(
        "carburettor whose jet does not mix behind it", "descriptions/ratings.py",
        "(p_t - p) * area + m * (self._jet(p_t)[0] - q)", "(p_t - p) * area",
        "test_intakes.py::test_throat_of_a_carburettor_loses_what_borda_and_carnot_say",
    ),
    Fault(
        "bore less the metal of one side", "descriptions/pipes.py",
        "metal = 2.0 * tube.thickness", "metal = 1.0 * tube.thickness",
        "test_tubework.py::test_bore_is_the_outer_diameter_less_the_metal_on_both_sides",
    ),
    Fault(
        "degrees Celsius counted from absolute zero", "measures.py",
        "value = value * factor + zero", "value = value * factor",
        "test_measures.py::"
        "test_value_with_an_exact_unit_is_that_written_in_si_to_the_bit",
    ),
    Fault(
        "cam advance that moves both lobes towards dead centre", "descriptions/valves.py",
        "return centre, 2.0 * separation - centre", "return centre, centre",
        "test_cam_card.py::test_card_of_one_camshaft_serves_both_valves",
    ),
    Fault(
        "closing flank with the shape of the opening one", "descriptions/valves.py",
        "return self.lobe, self.closing_lobe or self.lobe", "return self.lobe, self.lobe",
        "test_cam_card.py::test_closing_flank_of_another_shape_keeps_the_stated_duration",
    ),
    Fault(
        "exhaust lobe behind dead centre", "descriptions/valves.py",
        'else -1.0) * self.lobe_centre_deg', 'else 1.0) * self.lobe_centre_deg',
        "test_wiring.py::"
        "test_measured_lift_is_centred_after_dead_centre_at_the_intake_and_before_at_the_exhaust",
    ),
    Fault(
        "advance that retards", "descriptions/valves.py",
        "valve.lift.centre_deg(side) - valve.advance_deg",
        "valve.lift.centre_deg(side) + valve.advance_deg",
        "test_wiring.py::test_valve_area_stands_at_the_angles_of_the_lift",
    ),
    Fault(
        "lash added to the lift", "descriptions/valves.py",
        "valve.lift.lift_at(angle) - valve.lash", "valve.lift.lift_at(angle) + valve.lash",
        "test_wiring.py::test_lash_is_taken_off_the_lift",
    ),
    Fault(
        "one valve where there are two", "descriptions/valves.py",
        "return valve.count * forward", "return forward",
        "test_wiring.py::test_flow_coefficients_stand_for_the_direction_that_they_were_measured_in",
    ),
    Fault(
        "half burned taken for a tenth burned", "descriptions/combustion.py",
        "value_at(self.ca50_deg, rpm) - t50 * lead", "value_at(self.ca50_deg, rpm) - t10 * lead",
        "test_wiring.py::test_burn_passes_its_stated_angles",
    ),
    Fault(
        "swept volume of the stroke, whatever the pin offset", "descriptions/engine.py",
        "return top - sqrt((self.rod - throw) ** 2 - offset**2)", "return self.stroke",
        "test_wiring.py::test_pin_offset_moves_both_dead_centres_and_lengthens_the_stroke",
    ),
    Fault(
        "cone with the area of the widest tube alone", "descriptions/joints.py",
        "sqrt(sum(_long(tube)", "sqrt(max(_long(tube)",
        "test_merge_cone.py::"
        "test_cone_begins_with_the_area_of_all_tubes_and_ends_with_the_bore_behind",
    ),
    Fault(
        "merge of half its angle", "descriptions/assemble.py",
        "tilt, turn = radians(merge.angle_deg)", "tilt, turn = radians(0.5 * merge.angle_deg)",
        "test_wiring.py::test_primaries_meet_the_collector_at_the_angle_of_their_merge",
    ),
    Fault(
        "weather at the intake of an engine that stands elsewhere", "descriptions/weather.py",
        "        if value is not None:\n            return value\n", "",
        "test_wiring.py::test_each_side_of_the_engine_opens_to_its_own_air",
    ),
    Fault(
        "humidity per cent for humidity", "descriptions/weather.py",
        "return self.relative_humidity * saturated",
        "return 0.01 * self.relative_humidity * saturated",
        "test_wiring.py::test_humid_air_holds_less_oxygen_for_the_same_volume",
    ),
    Fault(
        "one end plate for two", "descriptions/silencers.py",
        "plates = 2.0 * density * self.shell * _disc(case, self.diameter)",
        "plates = density * self.shell * _disc(case, self.diameter)",
        "test_wiring.py::test_bill_weighs_the_fibre_of_a_packing_and_both_end_plates",
    ),
    Fault(
        "case that passes its heat to the gas between the fibres", "arrays/compile.py",
        "    cells[f.HEAT, inside] = 0.0\n", "",
        "test_wiring.py::test_fibres_start_as_warm_as_their_gas_and_shield_it_from_the_case",
    ),
    Fault(
        "air outside in place of the case of a packed silencer", "march/walltemp.py",
        "model.ambient.temperature if T is None else T", "model.ambient.temperature",
        "test_wiring.py::test_fibres_without_flow_take_the_temperature_of_their_case",
    ),
    Fault(
        "gross work with the intake stroke", "march/evaluate.py",
        "total(work[:, 0] + work[:, 3]) / Vd", "total(work[:, 0] + work[:, 2]) / Vd",
        "test_stub_run.py::"
        "test_mean_effective_pressure_is_the_work_of_its_strokes_over_the_swept_volume",
    ),
    Fault(
        "pumping that counts as work", "march/evaluate.py",
        '"pmep": -total', '"pmep": total',
        "test_stub_run.py::"
        "test_mean_effective_pressure_is_the_work_of_its_strokes_over_the_swept_volume",
    ),
    Fault(
        "swept volume of all for one cylinder", "march/evaluate.py",
        "Vd = engine.displacement / count", "Vd = engine.displacement",
        "test_stub_run.py::"
        "test_mean_effective_pressure_is_the_work_of_its_strokes_over_the_swept_volume",
    ),
    Fault(
        "volumetric efficiency against standard air", "march/evaluate.py",
        "gas.density(air.pressure, air.temperature, 0.0, 0.0)",
        "gas.density(101325.0, 298.15, 0.0, 0.0)",
        "test_stub_run.py::test_volumetric_efficiency_refers_to_the_air_at_the_intake",
    ),
    Fault(
        "trapped fuel counted as air", "march/evaluate.py",
        '"trapped_air": trapped * dry_share', '"trapped_air": trapped',
        "test_stub_run.py::test_air_is_what_the_fresh_charge_holds_beside_its_fuel",
    ),
    Fault(
        "residual gas against the fresh charge", "march/evaluate.py",
        'total(amounts["trapped_burned"]) / mass', 'total(amounts["trapped_burned"]) / trapped',
        "test_stub_run.py::test_shares_of_the_trapped_gas_are_of_its_mass",
    ),
    Fault(
        "trapping efficiency upside down", "march/evaluate.py",
        "_ratio(trapped, delivered)", "_ratio(delivered, trapped)",
        "test_stub_run.py::test_shares_of_the_trapped_gas_are_of_its_mass",
    ),
    Fault(
        "burned gas that leaves taken for fresh charge", "march/evaluate.py",
        '"exhaust_burned": -exhaust.burned', '"exhaust_burned": -exhaust.fresh',
        "test_stub_run.py::test_what_leaves_counts_as_positive",
    ),
    Fault(
        "torque of a two-stroke", "march/evaluate.py",
        "/ (4.0 * pi)", "/ (2.0 * pi)",
        "test_stub_run.py::test_torque_turns_through_four_pi_in_a_cycle",
    ),
    Fault(
        "a cycle in every turn", "march/evaluate.py",
        "cycles_per_second = rpm / 120.0", "cycles_per_second = rpm / 60.0",
        "test_stub_run.py::test_air_is_what_the_fresh_charge_holds_beside_its_fuel",
    ),
    Fault(
        "friction at half the piston speed", "march/evaluate.py",
        "engine.mean_piston_speed(rpm)", "engine.mean_piston_speed(0.5 * rpm)",
        "test_stub_run.py::test_friction_has_four_terms",
    ),
    Fault(
        "spread from the highest to the mean", "march/evaluate.py",
        "values.max() - values.min()", "values.max() - values.mean()",
        "test_stub_run.py::test_spread_is_from_the_highest_to_the_lowest_over_the_mean",
    ),
    Fault(
        "power over fuel for fuel over power", "march/evaluate.py",
        "fuel_mass_flow / power if", "power / fuel_mass_flow if",
        "test_stub_run.py::test_heat_is_shared_between_walls_and_work",
    ),
    Fault(
        "peak before dead centre at nearly 720 deg", "march/evaluate.py",
        "angle > 360.0, angle - 720.0", "angle > 720.0, angle - 720.0",
        "test_stub_run.py::test_peak_before_dead_centre_has_a_negative_angle",
    ),
    Fault(
        "fibres that forget what they took up at the speed before", "march/walltemp.py",
        "share = 1.0 / -np.expm1(-z) - 1.0 / z", "share = np.ones_like(z)",
        "test_pull.py::"
        "test_fibres_follow_a_step_of_the_gas_temperature_by_the_exact_exponential",
    ),
    Fault(
        "angles of the burn exchanged", "march/evaluate.py",
        "zip((10, 50, 90), burn, strict=True)", "zip((10, 90, 50), burn, strict=True)",
        "test_stub_run.py::test_burn_passes_its_shares_where_wiebe_says",
    ),
    Fault(
        "strokes named from the end", "march/evaluate.py",
        "enumerate(STROKES)}", "enumerate(STROKES[::-1])}",
        "test_stub_run.py::test_work_of_each_stroke_keeps_its_name",
    ),
    Fault(
        "heat released for heat lost", "march/readout.py",
        "wall_heat=sums[:, f.WALL_LOSS]", "wall_heat=sums[:, f.HEAT_RELEASE]",
        "test_stub_run.py::test_gas_at_the_events_keeps_its_name",
    ),
    Fault(
        "gas at exhaust opening for gas at intake closing", "march/readout.py",
        "trapped_pressure=sums[:, f.TRAP_P]", "trapped_pressure=sums[:, f.EVO_P]",
        "test_stub_run.py::test_gas_at_the_events_keeps_its_name",
    ),
    Fault(
        "fresh charge and burned gas at the valves exchanged", "march/readout.py",
        "f.OUT_FRESH, f.OUT_BURNED)", "f.OUT_BURNED, f.OUT_FRESH)",
        "test_stub_run.py::test_what_leaves_counts_as_positive",
    ),
    Fault(
        "back pressure against the air at the intake", "march/readout.py",
        "model.network.air_outside(side, model.ambient).pressure",
        'model.network.air_outside("intake", model.ambient).pressure',
        "test_stub_run.py::test_back_pressure_is_gauge_against_the_air_at_the_exhaust",
    ),
    Fault(
        "cylinders in the samples without their pin offset", "march/readout.py",
        '"pin_offset": f.PIN', '"pin_offset": f.CLEARANCE',
        "test_stub_run.py::test_volume_follows_the_piston_of_its_own_cylinder",
    ),
    Fault(
        "firing angle from the start of the burn", "march/readout.py",
        '"firing_deg": f.PHASE', '"firing_deg": f.SOC',
        "test_stub_run.py::test_spike_stands_at_its_own_angle_of_its_cylinder",
    ),
    Fault(
        "samples half a step late", "march/run.py",
        "x = np.arange(model.record.field.shape[0]) * settings.sample_deg",
        "x = (np.arange(model.record.field.shape[0]) + 0.5) * settings.sample_deg",
        "test_stub_run.py::test_spike_stands_at_its_own_angle_of_its_cylinder",
    ),
    Fault(
        "fresh and burned share of the samples exchanged", "results/traces.py",
        '_FIELD = ("pressure", "velocity", "temperature", "fresh", "burned")',
        '_FIELD = ("pressure", "velocity", "temperature", "burned", "fresh")',
        "test_stub_run.py::test_trace_in_a_duct_is_read_at_its_place",
    ),
    Fault(
        "mass of a cylinder for its temperature", "results/traces.py",
        '_STORE = ("pressure", "temperature", "mass"',
        '_STORE = ("pressure", "mass", "temperature"',
        "test_stub_run.py::test_trace_of_a_cylinder_holds_what_it_names",
    ),
    Fault(
        "velocity and mass flow at ends exchanged", "results/traces.py",
        '_FACE = ("pressure", "velocity", "mass_flow")',
        '_FACE = ("pressure", "mass_flow", "velocity")',
        "test_stub_run.py::test_trace_at_a_valve_holds_what_it_names",
    ),
    Fault(
        "own angle turned the wrong way", "results/traces.py",
        "x = (self.x - firing - start)", "x = (self.x + firing - start)",
        "test_stub_run.py::test_spike_stands_at_its_own_angle_of_its_cylinder",
    ),
    Fault(
        "traces in ducts read half a cell late", "results/traces.py",
        'x / info["dx"] - 0.5', 'x / info["dx"]',
        "test_stub_run.py::test_trace_in_a_duct_is_read_at_its_place",
    ),
    Fault(
        "other end of the duct at a valve", "results/traces.py",
        '0.0 if side == "start" else length', 'length if side == "start" else 0.0',
        "test_stub_run.py::test_trace_at_an_end_of_a_duct_is_read_at_that_end",
    ),
    Fault(
        "imbalance of energy in the column of mass", "results/points.py",
        '[float(audit["mass_error"]) for', '[float(audit["energy_error"]) for',
        "test_stub_run.py::test_csv_file_holds_each_quantity_under_its_name",
    ),
    Fault(
        "names of the cylinders' amounts in another order than their rows", "results/points.py",
        '"cylinders": list(p.cylinders)', '"cylinders": sorted(p.cylinders)',
        "test_stub_run.py::test_file_gives_back_every_number",
    ),
    Fault(
        "power shown in tens of watts", "show/quantities.py",
        '"W": ("kW", 1e-3, 1)', '"W": ("kW", 1e-2, 1)',
        "test_quantities.py::test_shown_value_is_the_si_value_in_the_shown_unit",
    ),
    Fault(
        "fuel consumption per kilojoule", "show/quantities.py",
        '"kg/J": ("g/kWh", 3.6e9, 1)', '"kg/J": ("g/kWh", 3.6e6, 1)',
        "test_quantities.py::test_shown_value_is_the_si_value_in_the_shown_unit",
    ),
    Fault(
        "emergency exits of the holes under another name", "march/books.py",
        '"capped_holes": f.CAPPED_HOLE', '"capped_holes": f.FLOORED_FACE',
        "test_stub_run.py::test_summary_names_every_emergency_exit",
    ),
    Fault(
        "correction to the air of a standard upside down", "dyno/correction.py",
        "thin = self.pressure / pressure", "thin = pressure / self.pressure",
        "test_correction.py::test_factor_agrees_with_worked_numbers_to_their_last_digit",
    ),
    Fault(
        "scatter of the pulls as if their mean were known", "dyno/pulls.py",
        "values.std(axis=0, ddof=1)", "values.std(axis=0)",
        "test_pulls.py::test_mean_and_scatter_are_those_of_a_general_library",
    ),
    Fault(
        "mistaken units guessed the wrong way round", "dyno/rows.py",
        "share = factor / stated[quantity]", "share = stated[quantity] / factor",
        "test_pulls.py::test_wrong_unit_is_refused_and_named",
    ),
    Fault(
        "band for all speeds as wide as that for one", "dyno/repeat.py",
        "one * error, sup * error", "one * error, one * error",
        "test_repeat.py::test_bands_cover_what_they_promise_in_a_quick_look",
    ),
    Fault(
        "scatter of one pull for that of their mean", "dyno/fit.py",
        "/ sqrt(n * (n - 1.0))", "/ sqrt(n - 1.0)",
        "test_fit.py::test_line_through_pulls_agrees_with_a_t_interval_of_a_textbook",
    ),
    Fault(
        "errors of the baseline that do not cancel in the variant", "dyno/predict.py",
        "_band(made, found, *(g_other - g_base))", "_band(made, found, *g_other)",
        "test_fit.py::test_what_is_not_determined_widens_a_prediction",
    ),
)


def copy_of_package(folder, fault=None):
    """Copy `wavesim` into a folder, with one fault in it."""
    shutil.copytree(ROOT / "wavesim", folder / "wavesim")
    if fault is not None:
        path = folder / "wavesim" / fault.file
        source = path.read_text(encoding="utf-8")
        count = source.count(fault.right)
        assert count == 1, (
            f"fault {fault.name!r} does not apply any more: {fault.right!r} stands {count} times "
            f"in wavesim/{fault.file}; rewrite it in tests/faults.py."
        )
        path.write_text(source.replace(fault.right, fault.wrong), encoding="utf-8")


def table():
    """All faults as the table of DEVELOPERS.md."""
    rows = ["| fault | file | test that fails |", "|---|---|---|"]
    for fault in FAULTS:
        module, test = fault.test.split("::")
        rows.append(f"| {fault.name} | `{fault.file}` | `{module}`: `{test}` |")
    return "\n".join(rows)


if __name__ == "__main__":
    print(table())
