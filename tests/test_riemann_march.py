"""Shock tubes marched by the finite-volume scheme against the exact solutions.

Cases and numbers: rows RP-* of the reference table (Sod 1978; Toro 2009; Lax 1954).  The exact
densities come from `wavesim.exact`, which the table has checked.
"""

import numpy as np
import pyclaw_twin
import pytest
from case_riemann import (
    PLATEAUS,
    SHARP,
    TUBES,
    crossing,
    density_error,
    jump_place,
    jumps,
    marched,
    plateau,
    plateau_rows,
    twin_error,
)
from marches import march_tube
from references import references

import wavesim as ws

PLATEAU_ROWS = plateau_rows()


@pytest.mark.parametrize("row", PLATEAU_ROWS, ids=[row.label for row in PLATEAU_ROWS])
def test_shock_tube_reaches_the_published_star_state(row):
    side = PLATEAUS[row.quantity][1]
    allowed = float(row.solver_tolerance.split()[0]) / 100.0
    for s in ("left", "right") if side == "both" else (side,):
        assert plateau(row, s) == pytest.approx(row.value, rel=allowed)


JUMP_ROWS = [jump for id in TUBES for jump in jumps(id)]


@pytest.mark.parametrize("jump", JUMP_ROWS, ids=[row.label for row, *_ in JUMP_ROWS])
def test_shocks_and_contacts_stand_within_one_and_a_half_cells(jump):
    row = jump[0]
    assert abs(jump_place(*jump) - row.value) < 1.5 / 400.0


needs_clawpack = pytest.mark.skipif(not pyclaw_twin.IS_HERE, reason=pyclaw_twin.MISSING)


@needs_clawpack
@pytest.mark.parametrize("cells", [100, 200, 400])
def test_sod_tube_is_as_sharp_as_clawpack_with_as_many_cells(cells):
    assert density_error("RP-1", cells) <= 1.0 * twin_error("RP-1", cells)


@needs_clawpack
@pytest.mark.parametrize("id", SHARP)
def test_other_tubes_are_as_sharp_as_clawpack_with_as_many_cells(id):
    assert density_error(id, 200) <= 1.0 * twin_error(id, 200)


@pytest.mark.parametrize("id", ["RP-1", "RP-2", "RP-8", "RP-11"])
def test_shock_tube_error_falls_with_order_of_at_least_four_fifths(id):
    """A shock alone allows order 1, a contact less; Banks et al., J. Comput. Phys. 227 (2008)."""
    assert np.log2(density_error(id, 100) / density_error(id, 400)) / 2.0 > 0.8


def test_gas_torn_apart_keeps_positive_pressure_and_density():
    """Toro's test 2: two rarefactions leave almost a vacuum between them."""
    for cells in (100, 400):
        x, found = marched("RP-3", cells)
        assert found["p"].min() > 0.0 and found["rho"].min() > 0.0
        assert abs(np.interp(0.5, x, found["u"])) < 1e-3
    assert density_error("RP-3", 400) < 0.5 * density_error("RP-3", 100)


@pytest.mark.parametrize("gas", [ws.PerfectGas(), ws.EngineGas()], ids=["perfect", "engine"])
def test_contact_at_rest_stays_at_rest(gas):
    """RP-13: 1200 K burned gas beside 300 K air at one pressure, through thousands of steps."""

    def start(x):
        hot = x < 0.5
        return 1e5 + 0.0 * x, 0.0 * x, np.where(hot, 1200.0, 300.0), (0.0 * x, 1.0 * hot)

    final = march_tube(start, 1.0, 100, 0.05, gas=gas).final["d"]
    assert np.abs(final["u"]).max() < 1e-6
    assert np.abs(final["p"] / 1e5 - 1.0).max() < 1e-12
    assert final["T"][49] == pytest.approx(1200.0, abs=1e-6)
    assert final["T"][50] == pytest.approx(300.0, abs=1e-6)


def test_moving_contact_of_two_gases_makes_little_pressure_noise():
    """A conservative scheme must make some where gamma jumps: Abgrall, J. Comput. Phys. 125
    (1996).  Hot burned gas against cold air at 50 m/s, 10 mm cells.
    """

    def start(x):
        hot = x < 1.3
        u = 50.0 + 0.0 * x
        return 1e5 + 0.0 * x, u, np.where(hot, 900.0, 300.0), (0.0 * x, 1.0 * hot)

    final = march_tube(start, 3.0, 300, 1.2e-3, gas=ws.EngineGas()).final["d"]
    quiet = (final["x"] > 1.25) & (final["x"] < 1.55)  # no wall has been heard there
    assert np.abs(final["p"][quiet] / 1e5 - 1.0).max() < 2e-3


def test_shock_in_oncoming_flow_stands_still():
    """RP-14: a shock of Mach 2 whose speed equals that of the gas before it."""
    rho, u, p = (row.value for row in references("RP-14"))
    mach, gamma = references("RP-14")[0].case["mach"], references("RP-14")[0].case["gamma"]
    c = np.sqrt(gamma)
    length, cells = 4.0, 800

    def start(x):
        before = x < 2.0
        pick = [np.where(before, a, b) for a, b in ((1.0, rho), (mach * c, u), (1.0, p))]
        return pick[2], pick[1], pick[2] / pick[0], "air"

    final = march_tube(start, length, cells, 0.4 / c, gas=ws.PerfectGas(gamma, 1.0)).final["d"]
    place = crossing(final["x"], final["rho"], 0.5 * (1.0 + rho), 2.0, 0.05)
    assert abs(place - 2.0) < 0.5 * length / cells
    behind = (final["x"] > 2.03) & (final["x"] < 2.1)
    for name, value in (("rho", rho), ("u", u), ("p", p)):
        assert final[name][behind].mean() == pytest.approx(value, rel=5e-3)


def tapered_run(sign, gas, t):
    """A bursting slug of hot gas in two cones, drawn from left to right or from right to left."""
    cones = [(0.4, 0.03, 0.05), (0.6, 0.05, 0.04)]
    parts = [
        ws.Pipe(length, a if sign > 0 else b, end_diameter=b if sign > 0 else a, cell_length=0.01)
        for length, a, b in cones[::sign]
    ]

    def start(x):
        s = x if sign > 0 else 1.0 - x
        p, u = np.where(s < 0.35, 4e5, 1e5), sign * np.where(s < 0.2, 50.0, -30.0)
        return p, u, np.where(s < 0.5, 900.0, 300.0), (0.0 * x, np.where(s < 0.4, 0.8, 0.1))

    first, last = ("d.start", "d.end")[::sign]
    net = ws.Network(
        {"d": ws.Duct(parts=tuple(parts))}, {"wall": ws.ClosedEnd(first), "mouth": ws.OpenEnd(last)}
    )
    return ws.simulate(net, t, gas=gas, initial={"d": start}, samples=0).final["d"]


@pytest.mark.parametrize("gas", [ws.PerfectGas(), ws.EngineGas()], ids=["perfect", "engine"])
@pytest.mark.parametrize("t, names", [(1e-3, ("burned",)), (3e-3, ("rho", "u", "p", "T"))])
def test_duct_drawn_backwards_gives_the_mirrored_answer(gas, t, names):
    """Composition for one passage only: the limiter that keeps contacts sharp lets the round-off
    of mass fractions grow, to 5e-11 after three passages.
    """
    there, back = tapered_run(1, gas, t), tapered_run(-1, gas, t)
    for name in names:
        mirrored = back[name][::-1] * (-1.0 if name == "u" else 1.0)
        assert np.abs(there[name] - mirrored).max() < 1e-12 * np.abs(there[name]).max(), name
