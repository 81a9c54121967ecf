"""Shock tubes beside Clawpack: error and speed on as many cells.

The tubes and their exact solutions are those of `validation/case_riemann.py`.  For its errors our
tube has a metre more on both sides, so that no wall is heard; for the time it takes both have the
same cells, ours between walls.
"""

import ducts
import numpy as np
import pyclaw_twin
from case_riemann import (
    CFL,
    density_error,
    marched,
    plain,
    start_state,
    states,
    twin_error,
    window,
)
from measuring import Row, least

TUBES = {"Sod": "RP-1", "Toro 1": "RP-2", "Toro 2": "RP-3", "Toro 3": "RP-4", "Toro 4": "RP-5"}
TOROS = {f"Toro {i}": f"RP-{i + 1}" for i in range(1, 6)}
CELLS = 1000


def run(quick):
    """All rows."""
    turns = 2 if quick else 7
    yield Row("Toro's five tubes that run and stay positive", sum(map(positive, TOROS.values())),
              target=">= 5")
    if not pyclaw_twin.IS_HERE:
        print(pyclaw_twin.MISSING)
        return
    for name, id in TUBES.items():
        yield from beside_clawpack(name, id, turns)


def positive(id):
    """True if a tube ends with positive density and pressure everywhere."""
    _, found = marched(id, CELLS)
    return bool(found["rho"].min() > 0.0 and found["p"].min() > 0.0)


def beside_clawpack(name, id, turns):
    """Rows of one tube."""
    mine, twin = density_error(id, CELLS), twin_error(id, CELLS)
    yield Row(f"{name}: our mean error of density, {CELLS} cells", mine, "kg/m3")
    if not np.isfinite(twin):
        print(f"{name}: Clawpack returns no number.")
        return
    yield Row(f"{name}: our error of density over Clawpack's, {CELLS} cells", mine / twin,
              target="<= 1")
    cost = costs(id, CELLS, turns)
    yield Row(f"{name}: our speed over Clawpack's, {CELLS} cells", cost["clawpack"] / cost["ours"])


def costs(id, cells, turns):
    """Seconds that each takes for a tube on as many cells per metre, by name."""
    left, right, x0, t, gamma, _ = states(id)
    length, count = window(id), round(window(id) * cells)
    start, gas = start_state(id, 0.0)
    ours = ducts.tube(length, count, gas, plain(CFL), start)
    return least({
        "ours": lambda: ours.march(t_end=t)[0],
        "clawpack": lambda: ducts.clawpack(left, right, gamma, x0, t, length, count)[0],
    }, turns)
