"""Cell updates per second: the march beside a loop in C and Clawpack; what full physics costs.

One closed duct of air without walls.  The loop in C does what our march does there: three
conserved values, cells of any area, the temperature.  It is compiled with -O3 -march=native, and
once more with -ffast-math on top, which allows what our kernels do not.  A last figure is for
constant area and no temperature, as Clawpack (classic, Roe, in Fortran) has it.
"""

import ducts
import pyclaw_twin
from case_riemann import states
from measuring import Row, least

SIZES = (20, 100, 1000, 10_000, 100_000)
UPDATES = 2_000_000  # cell updates in one turn
TOLD = {"ours": "our march", "c": "C", "c fast": "C with -ffast-math",
        "c plain": "C with -ffast-math, constant area", "clawpack": "Clawpack"}
FAST = "-ffast-math"
#: Target and time to march [s].  The same scheme in C reaches some 20 at 1000 cells.
AGAINST_CLAWPACK = {1000: ("", 0.05), 100_000: (">= 15", 2e-4)}


def run(quick):
    """All rows."""
    loops = {}
    if not ducts.c_compiler():
        print("No C compiler: the loop in C is left out.")
    else:
        strict, fast = ducts.c_loop(), ducts.c_loop(FAST)
        loops = {"c": (strict, True), "c fast": (fast, True), "c plain": (fast, False)}
        ours = ducts.plain(1000)
        yield Row("largest difference of density between our march and C, 200 steps",
                  ducts.difference(ours, ducts.InC(strict, ours, True)), target="<= 1e-9")
    for cells in SIZES[:3] if quick else SIZES:
        yield from rates(cells, loops, 3 if quick else 15)
    yield from full_physics(3 if quick else 25)


def rates(cells, loops, turns):
    """Rows of one number of cells."""
    ours = ducts.plain(cells)
    works = {"ours": stepper(ours.march, cells)}
    for name, (function, duct) in loops.items():
        works[name] = stepper(ducts.InC(function, ours, duct).march, cells)
    if cells in AGAINST_CLAWPACK and pyclaw_twin.IS_HERE:
        works["clawpack"] = clawpack(cells, AGAINST_CLAWPACK[cells][1])
    cost = least(works, turns)
    for name, seconds in cost.items():
        yield Row(f"{TOLD[name]}, {cells} cells", 1e-6 / seconds, "M updates/s")
    targets = {"c": ">= 0.95" if cells == 1000 else "",
               "clawpack": AGAINST_CLAWPACK.get(cells, ("",))[0]}
    for name in list(works)[1:]:
        yield Row(f"our march over {TOLD[name]}, {cells} cells", cost[name] / cost["ours"],
                  target=targets.get(name, ""))


def stepper(march, cells):
    """A call that marches some steps and returns the seconds of one cell in one of them."""
    steps = max(20, UPDATES // cells)

    def work():
        seconds, done = march(steps=steps)
        return seconds / (done * cells)

    return work


def clawpack(cells, t):
    """The same for Clawpack, on Sod's tube."""

    def work():
        left, right, x0, _, gamma, _ = states("RP-1")
        seconds, steps = ducts.clawpack(left, right, gamma, x0, t, 1.0, cells)
        return seconds / (steps * cells)

    return work


def full_physics(turns):
    """Rows of the speed per cell with everything that an engine's ducts have.

    The second keeps area, two parts, friction and heat, but the heat capacity of a perfect gas: the
    difference is what the polynomials of the engine gas cost.
    """
    cost = least({
        "plain": stepper(ducts.plain(1000).march, 1000),
        "full": stepper(ducts.full(1000).march, 1000),
        "perfect": stepper(ducts.full(1000, ducts.GAS).march, 1000),
    }, turns)
    yield Row("full engine physics over plain march, speed per cell, 1000 cells",
              cost["plain"] / cost["full"], target=">= 0.55")
    yield Row("the same with a perfect gas over plain march, speed per cell, 1000 cells",
              cost["plain"] / cost["perfect"])
