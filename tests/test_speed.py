"""The loops over cells stay vectorised: their machine code, and the pace that goes with it.

Wide code alone proves little, for it may stand beside a loop that works cell by cell.  So time is
looked at as well: ratios with wide margins between things that take turns.  How fast the march is
on a machine is for `python -m benchmarks` to say.
"""

import inspect
import math
import re
import time

import llvmlite.binding as llvm
import numba
import numpy as np
import pytest
from marches import AIR, IDEAL
from numba.core.registry import CPUDispatcher

import wavesim as ws
from wavesim.arrays.compile import compile_network
from wavesim.kernels import cells
from wavesim.kernels.march import march

LOOPS = {
    name: thing for name, thing in vars(cells).items()
    if isinstance(thing, CPUDispatcher) and not thing.targetoptions.get("forceinline")
}
NUMBERS = {"dt", "dt_friction", "dt_heat", "k", "gas_R", "cv", "over_gm1"}
CELLS = 1000

wide_registers = pytest.mark.skipif(
    not llvm.get_host_cpu_features().get("avx2"), reason="the processor has no AVX2"
)


def argument(name):
    """Something that a loop over `CELLS` cells takes under this name."""
    if name == "n":
        return CELLS
    if name in NUMBERS:
        return 1e-9 if name.startswith("dt") else 0.7
    if name == "coef":
        return np.linspace(1.0, 2.0, 24).reshape(3, 8)
    return np.linspace(1.0, 2.0, CELLS + 1)


def arguments(loop):
    return [argument(name) for name in inspect.signature(loop.py_func).parameters]


def compiled(loop, **options):
    """A loop compiled anew, so that Python can call it, with some options changed."""
    usual = {name: value for name, value in loop.targetoptions.items() if name != "nopython"}
    again = numba.njit(**usual | {"no_cpython_wrapper": False} | options)(loop.py_func)
    again.compile(tuple(map(numba.typeof, arguments(loop))))
    return again


def test_all_loops_over_cells_are_found():
    assert {"reconstruct", "flux_mixture", "update_flow", "wall_coefficients"} <= set(LOOPS)


@wide_registers
@pytest.mark.parametrize("name", LOOPS)
def test_loop_over_cells_works_on_wide_registers(name):
    (code,) = compiled(LOOPS[name]).inspect_asm().values()
    if name == "largest":  # works on the bits
        assert re.search(r"\tvp(maxs|cmpgt)q\t.*%[yz]mm", code)
        return
    assert re.search(r"\tv(mul|fn?m(add|sub)\d+)pd\t.*%[yz]mm", code)
    for costly in ("div", "sqrt"):
        if f"\tv{costly}sd\t" in code:
            assert re.search(rf"\tv{costly}pd\t.*%[yz]mm", code), costly


def fastest(works, turns=40):
    """Least seconds of each call.

    They take turns, in short spells: some of them meet an idle moment of the busiest machine.
    """
    least = [math.inf] * len(works)
    for _ in range(turns):
        for i, work in enumerate(works):
            clock = time.perf_counter()
            work()
            least[i] = min(least[i], time.perf_counter() - clock)
    return least


def repeated(loop, calls=50):
    """A call that runs a compiled loop some times."""
    given = arguments(loop)

    def work():
        for _ in range(calls):
            loop(*given)

    return work


@wide_registers
@pytest.mark.parametrize(
    "name", ["primitives_perfect", "primitives_mixture", "reconstruct", "carry_parts",
             "wall_coefficients", "apply_walls"],
)
def test_loop_with_divisions_is_faster_than_cell_by_cell(name):
    """Python's division, which must raise on zero, holds the vectoriser off: one cell at a time.

    Only of loops that divide themselves: what they call, as the fluxes do, keeps its own division.
    Three to six times slower where this was written; a loop that is not vectorised gives 1.
    """
    ours, single = compiled(LOOPS[name]), compiled(LOOPS[name], error_model="python")
    quick, slow = fastest([repeated(ours), repeated(single)])
    assert slow > 1.5 * quick


def long_duct(gas):
    """Closed duct of `CELLS` cells; of engine gas with warm rough walls, of air without."""
    full = isinstance(gas, ws.EngineGas)
    net = ws.Network(
        {"d": ws.Pipe(1.0, 0.04, cell_length=1.0 / CELLS,
                      wall_temperature=500.0 if full else None)},
        {"left": ws.ClosedEnd("d.start"), "right": ws.ClosedEnd("d.end")},
    )
    return compile_network(net, gas, ws.Settings() if full else IDEAL)


ENGINE_ONLY = {"fraction_slopes", "carry_parts", "flux_fractions", "update_mixture",
               "wall_coefficients", "apply_walls"}
NEITHER = {"fractions"}  # of a perfect gas of several parts


@pytest.mark.parametrize("gas", [AIR, ws.EngineGas()], ids=["perfect", "engine"])
def test_step_costs_no_more_than_its_loops(gas):
    """A loop that is no longer vectorised inside the march, or a detour of any kind, costs time.

    0.8 where this was written: in the march nobody hands the arrays over.
    """
    full = isinstance(gas, ws.EngineGas)
    others = "_perfect" if full else "_mixture"
    idle = NEITHER if full else NEITHER | ENGINE_ONLY
    names = [name for name in LOOPS if not name.endswith(others) and name not in idle]
    model = long_duct(gas)

    def steps():
        march(model.net, model.state, model.work, model.record, model.inner, model.face, 1e9, 50)

    together, *alone = fastest([steps] + [repeated(compiled(LOOPS[name])) for name in names])
    assert together < 1.3 * sum(alone)
