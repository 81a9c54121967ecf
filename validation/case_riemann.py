"""Riemann problems: shock tubes against the exact solution, and as sharp as Clawpack.

A diaphragm between two states of a perfect gas is taken away at t = 0 (Sod 1978; Toro 2009, table
4.1; Lax 1954; Woodward and Colella's walls as two tubes; two in SI units).  Compared are the states
between the waves and the places of shocks and contacts with 400 cells per metre, and the mean error
of density with that of Clawpack, a general finite-volume library, on as many cells.
"""

from functools import cache

import numpy as np
import pyclaw_twin
from marches import march_tube, plain
from references import references
from suite import Case, Check

import wavesim as ws
from wavesim import exact

PAD = 1.0  # tube beyond each side of the window, so that no wall is heard [m]
TUBES = ("RP-1", "RP-2", "RP-4", "RP-5", "RP-8", "RP-10", "RP-11")
SHARP = ("RP-2", "RP-4", "RP-5", "RP-8", "RP-10", "RP-11")  # compared at 200 cells per metre
CFL = 0.9  # as in the twin


def states(id):
    """(left, right) as (rho, u, p), x0, t, gamma and gas constant of a case."""
    given = references(id)[0].case
    gas_constant = given.get("R", 1.0)

    def side(s):
        p = given[f"p_{s}"]
        if f"rho_{s}" in given:
            return given[f"rho_{s}"], given[f"u_{s}"], p
        return p / (gas_constant * given[f"T_{s}"]), 0.0, p

    return side("l"), side("r"), given["x0"], given["t"], given["gamma"], gas_constant


def window(id):
    """Length of the part that is looked at [m]."""
    return 2.0 if id == "RP-10" else 1.0


def start_state(id, pad=PAD):
    """State before the diaphragm is taken away as a function of x [m], and the gas.

    The window begins at x = `pad`.
    """
    left, right, x0, _, gamma, gas_constant = states(id)

    def start(x):
        rho, u, p = (
            np.where(x < x0 + pad, a, b) for a, b in zip(left, right, strict=True)
        )
        return p, u, p / (gas_constant * rho), "air"

    return start, ws.PerfectGas(gamma, gas_constant)


@cache
def marched(id, cells_per_metre):
    """Cell centres and final state of a case, window only."""
    start, gas = start_state(id)
    length = window(id) + 2.0 * PAD
    result = march_tube(
        start, length, round(length * cells_per_metre), states(id)[3], gas=gas,
        settings=plain(CFL),
    ).final["d"]
    x = result["x"] - PAD
    inside = (x > 0.0) & (x < window(id))
    return x[inside], {name: result[name][inside] for name in ("rho", "u", "p")}


def solution(id):
    left, right, x0, t, gamma, _ = states(id)
    return exact.solve_riemann(left, right, gamma), x0, t


def density_error(id, cells_per_metre):
    """Mean of |rho - exact| over the window, values at cell centres as in the twin."""
    x, found = marched(id, cells_per_metre)
    tube, x0, t = solution(id)
    return np.mean(np.abs(found["rho"] - tube.sample((x - x0) / t)[0]))


def twin_error(id, cells_per_metre):
    left, right, x0, t, gamma, _ = states(id)
    length = window(id)
    x, rho = pyclaw_twin.density(
        left, right, gamma, x0, t, length, round(length * cells_per_metre)
    )
    return np.mean(np.abs(rho - solution(id)[0].sample((x - x0) / t)[0]))


def middle(id, side):
    """Cells in the middle half of the star region left or right of the contact."""
    x, _ = marched(id, 400)
    tube, x0, t = solution(id)
    if side == "left":
        low, high = x0 + t * tube.left_wave[1], x0 + t * tube.u_star
    else:
        low, high = x0 + t * tube.u_star, x0 + t * tube.right_wave[0]
    quarter = 0.25 * (high - low)
    return (x > low + quarter) & (x < high - quarter)


def crossing(x, values, level, near, reach):
    """Place next to `near` where values cross the level, interpolated."""
    around = np.flatnonzero(np.abs(x - near) < reach)
    v = values[around] - level
    i = around[np.flatnonzero(v[:-1] * v[1:] <= 0.0)[0]]
    w = (level - values[i]) / (values[i + 1] - values[i])
    return x[i] + w * (x[i + 1] - x[i])


PLATEAUS = {"p_star": ("p", "both"), "u_star": ("u", "both"), "rho_star_left": ("rho", "left"),
            "rho_star_right": ("rho", "right")}


def plateau_rows():
    """Rows of the reference table for the states between the waves."""
    return [row for row in references(*TUBES) if row.quantity in PLATEAUS]


def plateau(row, side):
    """Mean of the quantity of a row over the middle of the star region on one side."""
    _, found = marched(row.id, 400)
    return found[PLATEAUS[row.quantity][0]][middle(row.id, side)].mean()


def jumps(id):
    """(row, value before, value behind) of every contact and shock of a case."""
    tube, _, _ = solution(id)
    left, right, *_ = states(id)
    sharp = {
        "x_left_head": (left[0], tube.rho_star_left, tube.left_wave),
        "x_contact": (tube.rho_star_left, tube.rho_star_right, (0.0, 0.0)),
        "x_right_head": (tube.rho_star_right, right[0], tube.right_wave),
    }
    for row in references(id):
        if row.quantity in sharp:
            before, behind, speeds = sharp[row.quantity]
            if speeds[0] == speeds[1]:  # a fan has two edges and no jump
                yield row, before, behind


def jump_place(row, before, behind):
    """Where density crosses the middle of a jump [m]."""
    x, found = marched(row.id, 400)
    return crossing(x, found["rho"], 0.5 * (before + behind), row.value, 6.0 / 400.0)


def _plateau_checks():
    for row in plateau_rows():
        for side in ("left", "right") if PLATEAUS[row.quantity][1] == "both" else (
            PLATEAUS[row.quantity][1],
        ):
            yield Check(
                f"{row.id} {row.quantity}, {side} of the contact", plateau(row, side), row.value,
                row.solver_tolerance, row.source,
                "The middle of a plateau of 400 cells per metre is free of the smeared waves, so "
                "half a per cent leaves room for the start-up error of strong shocks only.",
                row.unit,
            )


def _jump_checks():
    for id in TUBES:
        for row, before, behind in jumps(id):
            yield Check(
                f"{id} {row.quantity}", jump_place(row, before, behind), row.value,
                f"{1.5 / 400.0} abs", row.source,
                "A conservative scheme moves jumps at the exact speed; a cell and a half is the "
                "width over which it smears them.",
                row.unit,
            )


def _sharpness_checks():
    for id, cells in [("RP-1", n) for n in (100, 200, 400)] + [(id, 200) for id in SHARP]:
        yield Check(
            f"{id} mean density error over Clawpack's, {cells} cells per metre",
            density_error(id, cells) / twin_error(id, cells), 0.5, "0.5 abs",
            "Clawpack, Mandli et al., PeerJ Comput. Sci. 2 (2016) e68",
            "Between 0 and 1: at least as sharp as a well-kept general library.",
        )


def draw():
    """Density of four tubes over the exact solution."""
    shown = ("RP-1", "RP-4", "RP-5", "RP-8")
    axes = ws.plots.new_axes(len(shown), height=2.6)
    for ax, id in zip(axes, shown, strict=True):
        tube, x0, t = solution(id)
        x, found = marched(id, 100)
        fine = np.linspace(0.0, window(id), 2001)
        ax.plot(fine, tube.sample((fine - x0) / t)[0], color=ws.plots.REFERENCE, label="exact")
        ax.plot(x, found["rho"], ".", color=ws.plots.COLOURS[0], label="100 cells per metre")
        ax.set_title(f"{id}: {references(id)[0].source.split(',')[0]}", loc="left")
        ax.set_ylabel("density [kg/m³]")
    axes[0].legend(frameon=False)
    axes[-1].set_xlabel("position [m]")
    return axes


def run():
    """All checks, and the density of four tubes as a figure."""
    checks = [*_plateau_checks(), *_jump_checks()]
    if not pyclaw_twin.IS_HERE:
        return Case(tuple(checks), draw(), (pyclaw_twin.MISSING,))
    return Case((*checks, *_sharpness_checks()), draw())
