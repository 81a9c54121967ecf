"""The march for a GPU in plain Python, beside that of the processor; run with two variables set.

    NUMBA_ENABLE_CUDASIM=1 NUMBA_DISABLE_JIT=1 python tests/gpu_worker.py same|barriers

Threads of a block run one at a time, from barrier to barrier, in an order that is chosen.  Where
every barrier is in its place the order does not matter; where one is missing, it does.
"""

import inspect
import json
import sys
import threading
import time
import warnings
from unittest.mock import patch

import numpy as np

import wavesim as ws
from wavesim.arrays.compile import compile_network
from wavesim.gpu import frame, slots, target
from wavesim.kernels import flat as f
from wavesim.kernels import perforate
from wavesim.kernels.march import march
from wavesim.kernels.step import primitives
from wavesim.kernels.thermo import energy_cv
from wavesim.march.advance import _worst_cell
from wavesim.march.rig import Rig

THREADS = 8
ORDERS = {"up": range(THREADS), "down": range(THREADS - 1, -1, -1)}


class Block:
    """What the functions of `target` ask for, as numba's simulator has it."""

    def __init__(self, order, words, skipped=None):
        self.order, self.skipped = list(order), skipped
        self._turn = threading.Condition()
        self._left = []  # who has still to come to the next barrier, in order
        self._busy, self._is_one_busy = {}, False
        self._met = {}  # who waits, by warp
        self._is_broken = False
        self._mine = threading.local()
        self._near = np.zeros(words)
        self.blockDim = self.blockIdx = self.threadIdx = self.shared = self.atomic = self

    @property
    def x(self):
        """Of the block: its number, of the thread: its own, by who asks."""
        asking = inspect.currentframe().f_back.f_code.co_name
        return 0 if asking == "crew_of_launch" else self._mine.number

    def array(self, shape, kind):
        return self._near

    def add(self, values, place, number):
        old = values[place]
        values[place] += number
        return old

    def max(self, values, place, number):
        values[place] = max(values[place], number)

    def syncthreads(self):
        self.syncthreads_or(False)

    def _is_skipped(self):
        return self.skipped is not None and any(
            (one.f_code.co_filename, one.f_lineno) == (frame.__file__, self.skipped)
            for one in (sys._getframe(3), sys._getframe(4)))

    def syncthreads_or(self, is_busy):
        if self._is_skipped():
            return is_busy
        self._busy[self._mine.number] = is_busy
        self._pass_on()
        self._wait()
        return self._is_one_busy

    def syncwarp(self):
        """Where the threads of a warp wait for each other."""
        warp = self._mine.number // target.WARP
        self._wait_among(warp, [one for one in self.order if one // target.WARP == warp])

    def syncothers(self):
        """Where all warps but the last wait for each other."""
        if not self._is_skipped():
            self._wait_among("meet", [one for one in self.order if one < THREADS - target.WARP])

    def _wait_among(self, place, mates):
        """Wait for some threads: those that have still to come go on."""
        mine = self._mine.number
        met = self._met.setdefault(place, set())
        met.add(mine)
        if len(met) == len(mates):
            met.clear()
            return
        with self._turn:
            self._left.remove(mine)
            behind = max(self._left.index(one) for one in mates if one in self._left)
            self._left.insert(behind + 1, mine)
            self._turn.notify_all()
        self._wait()

    def _pass_on(self, is_over=False):
        with self._turn:
            self._left.remove(self._mine.number)
            if is_over:
                self.order.remove(self._mine.number)
            if not self._left:
                self._left = list(self.order)
                self._is_one_busy, self._busy = any(self._busy.values()), {}
            self._turn.notify_all()

    def _wait(self):
        with self._turn:
            while not self._left or self._left[0] != self._mine.number:
                self._turn.wait()
                if self._is_broken:
                    raise RuntimeError("another thread has failed")

    def _break(self):
        with self._turn:
            self._is_broken = True
            self._turn.notify_all()

    def run(self, kernel, *arguments):
        faults = []

        def one(number):
            self._mine.number = number
            try:
                self._wait()
                kernel(*arguments)
                self._pass_on(is_over=True)
            except BaseException as fault:
                faults.append(fault)
                self._break()

        target._now = lambda: self
        self._left = list(self.order)
        crew = [threading.Thread(target=one, args=(i,), daemon=True) for i in range(THREADS)]
        for thread in crew:
            thread.start()
        patience = time.monotonic() + 30.0
        for thread in crew:
            thread.join(max(0.0, patience - time.monotonic()))
        if any(thread.is_alive() for thread in crew):
            self._break()
            raise RuntimeError("threads wait for each other")
        if faults:
            raise faults[0]


def perforated(length):
    """Holes from a tube into a packing, and from that into an empty case: ducts and nodes."""
    ducts = {name: ws.Pipe(length, bore, cell_length=0.02)
             for name, bore in (("core", 0.04), ("annulus", 0.08), ("case", 0.06))}
    holes = {"hole_diameter": 3e-3, "porosity": 0.2, "wall_thickness": 1.5e-3}
    nodes = {
        "holes": ws.Perforate("core", "annulus", packing=ws.Packing(bulk_density=100.0), **holes),
        "more holes": ws.Perforate("annulus", "case", **holes),
    } | {f"{duct} {side}": ws.ClosedEnd(f"{duct}.{side}")
         for duct in ducts for side in ("start", "end")}
    return ducts, nodes


def nodes_of_all_kinds():
    """Sixty cells, a steep cone, holes into a packing and out of it, every kind of node: a model
    and its time.
    """
    pipe = ws.Pipe(0.1, 0.04, cell_length=0.02)
    cone = ws.Pipe(0.1, 0.04, end_diameter=0.05, cell_length=0.02, wall_temperature=400.0)
    steep = ws.Pipe(0.06, 0.06, end_diameter=0.12, cell_length=0.02)
    ducts = {name: pipe for name in "abcde"} | {"f": cone, "g": pipe, "h": steep}
    ducts |= perforated(0.1)[0]
    nodes = {
        "wall": ws.ClosedEnd("a.start"),
        "hole": ws.Orifice(("a.end", "b.start"), diameter=0.02),
        "tee": ws.Junction(("b.end", "c.start", "d.start"), angles_deg=(180.0, 0.0, 60.0)),
        "meet": ws.Junction(("c.end", "e.start"), model="pressure"),
        "box": ws.Volume(("d.end", "f.start"), volume=1e-4),
        "plate": ws.Throttle(("f.end", "g.start"), diameter=0.04, plate_angle_deg=50.0),
        "step": ws.AreaStep(("g.end", "h.start")),
        "mouth": ws.OpenEnd("h.end"),
        "far": ws.AnechoicEnd("e.end"),
    } | perforated(0.1)[1]
    initial = {
        "a": (4e5, 0.0, 1000.0, "burned"), "b": (1e5, 50.0, 300.0, "air"),
        "d": (2e5, -30.0, 500.0, (0.3, 0.4)), "f": (3e5, 0.0, 800.0, "fresh"),
        "core": (3e5, 40.0, 700.0, "burned"), "annulus": (1e5, 0.0, 300.0, "air"),
        "case": (2e5, 0.0, 500.0, "air"),
    }
    model = compile_network(ws.Network(ducts, nodes), ws.EngineGas(), ws.Settings(),
                            initial=initial, samples=9)
    model.record.interval[0] = 2e-5
    return model, 2e-4


def engine():
    """An engine on coarse cells, with samples: a model and the time of a few degrees."""
    study = ws.load(ws.demo_path("collector"))
    rig = Rig(study.engine, study.exhausts["short collector"], ws.Settings(cell_length=0.2))
    model, _ = rig.at(4500.0)
    model.record.interval[0] = 1.0 / 27000.0
    return model, 16.0 / 27000.0


def perfect():
    """A perfect gas of one composition."""
    pipe = ws.Pipe(0.3, 0.04)
    model = compile_network(
        ws.Network({"a": pipe}, {"wall": ws.ClosedEnd("a.start"), "mouth": ws.OpenEnd("a.end")}),
        ws.PerfectGas(), ws.Settings(cell_length=0.03), samples=9,
        initial={"a": lambda x: (1e5 + 5e4 * (x > 0.1), 0.0, 300.0, "air")},
    )
    model.record.interval[0] = 5e-5
    return model, 4e-4


CASES = {"nodes": nodes_of_all_kinds, "engine": engine, "perfect": perfect}
GAS_IS_NEAR = {"engine"}  # of the others it stays on the bench


def by_blocks(case, order, skipped=None, share=1.0, cfl=None, max_steps=200):
    """Model and slot of a case after the march of a block."""
    model, duration = CASES[case]()
    duration *= share
    if cfl is not None:
        model.net.options[f.CFL] = cfl
    layout = slots.layout_of(model, traces=True)
    words = np.zeros(layout.words, dtype=np.int64)
    slots.settle_in(model, layout, words)
    slots.ask(words, np.arange(1, 9) * (duration / 8.0), max_steps, True)
    mirror = np.zeros_like(words)
    near = int(layout.job[slots.NEAR_END])
    each = near + (model.state.U.size if case in GAS_IS_NEAR else 0)
    bench = np.full(slots.BENCH, np.nan)
    gas = 8 * slots.ROW * slots.ROWS["state.U"][0]
    for address, array in ((1, words), (2, mirror), (3, bench), (3 + gas, bench[gas // 8:]),
                           (4, np.zeros(1)), (5, np.zeros(1))):
        target.show(address, array.view(float))
    Block(ORDERS[order], each, skipped).run(frame.cycles, 1, 2, 3, 4, 1, 5, near, each)
    kept = slice(layout.job[slots.TOLD_END], None)  # stays on the device
    words[kept] = mirror[kept]
    return model, words


def off(case, order):
    """(largest relative difference to the processor, by array; status; steps of both)."""
    model, duration = CASES[case]()
    steps = 0
    for end in np.arange(1, 9) * (duration / 8.0):
        steps += march(*(model.net, model.state, model.work, model.record, model.inner, model.face),
                       end, 10_000)[1]
    twin, words = by_blocks(case, order)
    return differences(model, twin), *slots.answer(words), steps


def differences(model, twin):
    """Largest relative difference by array, but for what loops hand on to the next: rates and
    impedances of cells, values at their faces, and what goes through holes.
    """
    found = {}
    rows = [f.RATE, f.PER_Z]
    twin.work.W[rows], twin.work.Q[:] = model.work.W[rows], model.work.Q
    for side in (slice(None, 2), slice(-2, None)):  # between ghost cells
        twin.work.F[:, side] = model.work.F[:, side]
    for (name, x), y in zip(slots.arrays_of(model).items(), slots.arrays_of(twin).values(),
                            strict=True):
        if name != "work.hole" and x.size and not np.array_equal(x, y, equal_nan=True):
            found[name] = float(np.nanmax(np.abs(x - y)) / np.nanmax(np.abs(x)))
    return found


@patch("math.sqrt", np.sqrt)  # NaN below 0, as where it is compiled
@patch.object(target, "root", np.sqrt)
def trouble(case, cfl, max_steps):
    """(status, steps in the quarter turn in which the march ended, worst cell) on both."""
    model, duration = CASES[case]()
    model.net.options[f.CFL] = cfl
    used = 0
    for end in np.arange(1, 9) * (duration / 8.0):
        status, steps = march(*(model.net, model.state, model.work, model.record, model.inner,
                                model.face), end, max_steps - used)
        if status != f.OK:
            break
        used += steps
    twin, words = by_blocks(case, "up", cfl=cfl, max_steps=max_steps)
    return [(status, steps, _worst_cell(model)), (*slots.answer(words)[:2], _worst_cell(twin))]


def through_holes(exchange):
    """Any sound gas on both sides of two walls, after a step of exchange."""
    model = compile_network(ws.Network(*perforated(0.22)), ws.EngineGas(), ws.Settings())
    net, state, work, record = model.net, model.state, model.work, model.record
    random = np.random.default_rng(5)
    r, fresh, burned, T = (random.uniform(*limits, size=state.T.size)
                           for limits in ((0.3, 3.0), (0.0, 0.4), (0.0, 0.4), (300.0, 1100.0)))
    u = random.uniform(-200.0, 200.0, size=T.size)
    warmth, _ = energy_cv(net.gas_coef, T, fresh, burned)
    state.U[:] = r, r * u, r * (warmth + 0.5 * u * u), r * fresh, r * burned
    state.T[:] = T + random.uniform(-5.0, 5.0, size=T.size)
    for some, size in ((state.hole_u, 50.0), (work.F, 100.0), (record.wall, 1.0),
                       (record.ways, 1e-3)):
        some[:] = random.uniform(-size, size, size=some.shape)
    primitives(net, state, work)
    exchange(net, state, work, record, 1e-4)
    return model


def off_through_holes(order):
    """(differences to the processor; walls with packing and without; holes; how many capped)."""
    model = through_holes(perforate.exchange)
    twin = through_holes(lambda *all_: Block(ORDERS[order], 0).run(
        frame.perforate.exchange, *all_))
    packed = model.net.hole_par[f.RESIST, model.net.hole_wall[:, f.FIRST_HOLE]] > 0.0
    return (differences(model, twin), packed.tolist(), model.state.hole_u.size,
            model.state.clock[f.CAPPED_HOLE])


def barriers():
    """Lines at which all threads of a crew or of a block wait for each other, in every step."""
    found = []
    for part, waits in ((frame.march_step, ("line_up(is_busy)", "barrier()", "meet()")),
                        (frame.find_fluxes, ("barrier()",)),
                        (frame.cycles, ("if not line_up(is_busy):",))):
        source, first = inspect.getsourcelines(part)
        found += [first + i for i, line in enumerate(source) if line.strip() in waits]
    return found


def differs(case, line):
    """True if a march without the barrier of a line depends on the order of the threads."""
    found = []
    for order in ORDERS:
        try:
            _, words = by_blocks(case, order, line, 0.5)
        except (ArithmeticError, ValueError, LookupError, RuntimeError):
            return True
        found.append(words[slots.NEAR_AT:].copy())
    right = by_blocks(case, "up", share=0.5)[1][slots.NEAR_AT:]
    return any(not np.array_equal(right, one) for one in found)


def main(what):
    warnings.simplefilter("ignore")
    if what == "same":
        return {"march": {f"{case} {order}": off(case, order)
                          for case in CASES for order in ORDERS},
                "trouble": [trouble("nodes", 0.85, 5), trouble("engine", 6.0, 200)],
                "holes": {order: off_through_holes(order) for order in ORDERS}}
    return {line: [case for case in CASES if differs(case, line)]
            for line in barriers()}


if __name__ == "__main__":
    print(json.dumps(main(sys.argv[1])))
