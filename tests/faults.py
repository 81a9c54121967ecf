"""Deliberate faults of the kernels: each must fail a test (`test_mutations.py`).

`python tests/faults.py` prints the table that stands in DEVELOPERS.md.
"""

import shutil
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[1]


@dataclass(frozen=True)
class Fault:
    """One expression of a kernel that stands there once, what replaces it, the test that fails."""

    name: str
    file: str  # in wavesim/kernels
    right: str
    wrong: str
    test: str  # in tests


FAULTS = (
    Fault(
        "area source of the wrong sign", "cells.py",
        "wall = 0.5 * (pm[i] + pp[i])", "wall = -0.5 * (pm[i] + pp[i])",
        "test_small_marches.py::test_steady_flow_through_a_cone_stays_the_better_the_finer",
    ),
    Fault(
        "half step ahead without the pressure", "cells.py",
        "hp = warmed[i] - nu * ui * sp - z * c[i] * squeeze", "hp = 0.0",
        "test_small_marches.py::test_sound_pulse_converges_with_order_two_on_coarse_meshes",
    ),
    Fault(
        "limiter that does not limit", "cells.py",
        "max(0.0, min(low, mean)) + min(0.0, max(high, mean))", "mean",
        "test_small_marches.py::test_shock_tube_of_fifty_cells_has_no_ripples",
    ),
    Fault(
        "flux from the downwind side of the contact", "cells.py",
        "from_left = thrust < 0.0", "from_left = thrust > 0.0",
        "test_small_marches.py::test_contact_of_hot_and_cold_gas_moves_with_the_flow",
    ),
    Fault(
        "wall of a steep taper without its push", "tapers.py",
        "m[i] += dt * inv_vol[i] * push[i]", "m[i] += 0.0 * push[i]",
        "test_small_marches.py::test_steady_flow_through_a_cone_of_one_cell_stays",
    ),
    Fault(
        "fractions that leave as those at the face", "cells.py",
        "return max(0.0, 1.0 - passed * per_mass)", "return 1.0",
        "test_small_marches.py::test_fractions_stay_between_what_they_were",
    ),
    Fault(
        "small store that gives on the gas it had", "openings.py",
        "row[f.SB] / mass + share * yb", "row[f.SB] / mass",
        "test_small_marches.py::test_small_volume_gives_no_more_than_it_holds",
    ),
    Fault(
        "friction twice as large", "cells.py",
        "drag[i] = friction[i]", "drag[i] = 2.0 * friction[i]",
        "test_losses.py::test_friction_factor_has_the_published_value",
    ),
    Fault(
        "heat transfer without the 4 of 4 St/D", "cells.py",
        "scale = 4.0 * per_d", "scale = per_d",
        "test_losses.py::test_nusselt_number_has_the_published_value",
    ),
    Fault(
        "path line of the characteristics to the wrong side", "characteristics.py",
        "line(i, nu, u[i], u[L], u[R]", "line(i, nu, -u[i], -u[L], -u[R]",
        "test_small_marches.py::test_contact_of_hot_and_cold_gas_moves_with_the_flow",
    ),
    Fault(
        "gas constant of burned gas for fresh charge", "thermo.py",
        "R[AIR] + yf * (R[FRESH]", "R[AIR] + yf * (R[BURNED]",
        "test_gas.py::test_kernels_see_the_same_gas",
    ),
    Fault(
        "open end without its end correction", "nodes.py",
        "radius = net.end_par[k, f.RAD_RADIUS]", "radius = 0.0",
        "test_small_marches.py::test_open_pipe_sounds_as_if_longer_by_its_end_correction",
    ),
    Fault(
        "wrong exponent in the flow out of a hole", "ends.py",
        "blow = math.exp(x / gamma) / phi", "blow = math.exp(x) / phi",
        "test_small_marches.py::test_hole_at_the_end_of_a_pipe_passes_the_isentropic_flow",
    ),
    Fault(
        "enlargement without the pressure on its wall", "pairs.py",
        "tau * pU_star + flux * (jet - q) - pD_star",
        "bore * (tau * pU_star - pD_star) + flux * (jet - q)",
        "test_small_marches.py::test_wave_meets_a_sudden_enlargement_by_the_momentum_law",
    ),
    Fault(
        "momentum of a junction of the wrong sign", "stores.py",
        "gx -= push * x", "gx += push * x",
        "test_small_marches.py::test_branch_in_line_gets_more_of_a_wave_than_the_side_branch",
    ),
    Fault(
        "half the inertance of the holes of a wall", "perforate.py",
        "inertia = donor_r * length[q]", "inertia = 0.5 * donor_r * length[q]",
        "test_small_marches.py::test_gas_in_the_holes_of_a_wall_swings_between_two_closed_ducts",
    ),
    Fault(
        "piston that hangs below its crank", "cylinder.py",
        "+ math.sqrt(cyl[f.ROD]", "- math.sqrt(cyl[f.ROD]",
        "test_cylinder.py::test_piston_stands_where_the_slider_crank_puts_it",
    ),
    Fault(
        "Wiebe's exponent without its 1", "cylinder.py",
        "y ** (m + 1.0)", "y ** m",
        "test_cylinder.py::test_charge_burns_as_wiebe_says",
    ),
    Fault(
        "residual counted as fresh charge", "stores.py",
        "sums[f.TRAP_BURNED] = row[f.SB]", "sums[f.TRAP_BURNED] = row[f.SF]",
        "test_small_marches.py::test_books_of_the_trapped_gas_tell_fresh_charge_from_residual",
    ),
    Fault(
        "burned gas that leaves counted as fresh", "step.py",
        "out[f.OUT_BURNED] += area * face[k, F_BURNED]",
        "out[f.OUT_BURNED] += area * face[k, F_FRESH]",
        "test_small_marches.py::test_books_of_an_open_end_tell_what_has_left",
    ),
    Fault(
        "opening pressure read when the exhaust valve closes", "stores.py",
        "passes(cyl[f.EVO], before, after)", "passes(cyl[f.EVC], before, after)",
        "test_small_marches.py::"
        "test_opening_pressure_is_that_of_the_cylinder_when_its_exhaust_valve_opens",
    ),
    Fault(
        "wall heat of the burning gas at a tenth of its velocity", "cylinder.py",
        "w += 3.24e-3 * area", "w += 3.24e-4 * area",
        "test_small_marches.py::test_combustion_adds_to_the_gas_velocity_of_woschni",
    ),
    Fault(
        "half of the liner that the piston uncovers", "cylinder.py",
        "liner = 4.0 * max", "liner = 2.0 * max",
        "test_small_marches.py::test_liner_takes_heat_as_far_as_the_piston_has_uncovered_it",
    ),
    Fault(
        "angle of peak pressure of the neighbour in firing order", "stores.py",
        "sums[f.PEAK_ANGLE] = middle", "sums[f.PEAK_ANGLE] = 180.0 + middle",
        "test_small_marches.py::test_pressure_of_a_motored_cylinder_peaks_at_dead_centre",
    ),
)


def copy_of_package(folder, fault=None):
    """Copy `wavesim` into a folder, with one fault in it."""
    shutil.copytree(ROOT / "wavesim", folder / "wavesim")
    if fault is not None:
        path = folder / "wavesim" / "kernels" / fault.file
        source = path.read_text(encoding="utf-8")
        count = source.count(fault.right)
        assert count == 1, (
            f"fault {fault.name!r} does not apply any more: {fault.right!r} stands {count} times "
            f"in wavesim/kernels/{fault.file}; rewrite it in tests/faults.py."
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
