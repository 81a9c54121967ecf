"""The same closed duct of gas marched by wavesim, by a loop in C and by Clawpack."""

import ctypes
import shutil
import subprocess
import tempfile
import time
from pathlib import Path

import numpy as np
import pyclaw_twin

import wavesim as ws
from wavesim.arrays.compile import compile_network
from wavesim.kernels import flat as f
from wavesim.kernels.march import march

GAMMA, R, CFL = 1.4, 287.05, 0.85
DX = 1e-3  # cell length [m]
GAS = ws.PerfectGas(GAMMA, R)
PLAIN = ws.Settings(friction=False, wall_heat=False, cfl=CFL)
FULL = ws.Settings(cfl=CFL)
NEVER, ENDLESS = 1e9, 10**9


class Ours:
    """A compiled network that can be marched again and again from its start."""

    def __init__(self, model):
        self.model = model
        self.start = [np.copy(array) for array in model.state]

    def march(self, t_end=NEVER, steps=ENDLESS):
        """March from the start to `t_end` or for `steps` steps; (seconds, steps)."""
        model = self.model
        for array, first in zip(model.state, self.start, strict=True):
            array[...] = first
        clock = time.perf_counter()
        status, done = march(
            model.net, model.state, model.work, model.record, model.inner, model.face, t_end, steps
        )
        spent = time.perf_counter() - clock
        if status not in (f.OK, f.TOO_MANY_STEPS):
            raise RuntimeError(f"the march ended with status {status} after {done} steps")
        return spent, done


def closed(parts, gas, settings, start):
    """Compiled duct "d" of some parts with both ends closed."""
    net = ws.Network(
        {"d": ws.Duct(parts=tuple(parts))},
        {"left": ws.ClosedEnd("d.start"), "right": ws.ClosedEnd("d.end")},
    )
    return Ours(compile_network(net, gas, settings, initial={"d": start}))


def tube(length, cells, gas, settings, start):
    """Compiled straight duct; one too long for a pipe is laid of several."""
    pieces = int(np.ceil(length / 25.0))
    pipe = ws.Pipe(length / pieces, 0.05, cell_length=length / cells)
    return closed([pipe] * pieces, gas, settings, start)


def burst(length):
    """Start state: gas of 2 bar bursts into gas of 1 bar."""

    def start(x):
        return np.where(x < 0.5 * length, 2e5, 1e5), 0.0 * x, 300.0 + 0.0 * x, "air"

    return start


def plain(cells):
    """Duct without walls, friction or heat, perfect gas."""
    return tube(cells * DX, cells, GAS, PLAIN, burst(cells * DX))


def engine_burst(length):
    """The same with the gases of an engine: hot burned gas bursts into fresh charge."""
    pressure = burst(length)

    def start(x):
        hot = np.clip(10.0 * (0.5 - x / length) + 0.5, 0.0, 1.0)
        return pressure(x)[0], 0.0 * x, 400.0 + 600.0 * hot, (0.5 * (1.0 - hot), hot)

    return start


def full(cells, gas=None):
    """Duct of cones with everything that an engine's ducts have: gas of three parts, warm walls.

    `gas` in place of the engine's has parts that are all alike.
    """
    length, pieces = cells * DX, 10
    cone = ws.Pipe(length / pieces, 0.040, end_diameter=0.045, wall_temperature=500.0,
                   cell_length=DX)
    back = cone.replace(diameter=0.045, end_diameter=0.040)
    parts = [cone, back] * (pieces // 2)
    return closed(parts, gas or ws.EngineGas(), FULL, engine_burst(length))


# --- C --------------------------------------------------------------------------------------------


def c_compiler():
    """Path of the system's C compiler, or None."""
    return shutil.which("cc") or shutil.which("gcc") or shutil.which("clang")


def c_loop(*flags):
    """The function `euler_march` of euler_march.c, compiled with -O3 -march=native and `flags`."""
    source = Path(__file__).with_name("euler_march.c")
    with tempfile.TemporaryDirectory() as folder:
        library = Path(folder) / "euler_march.so"
        subprocess.run(
            [c_compiler(), "-O3", "-march=native", *flags, "-shared", "-fPIC", str(source),
             "-o", str(library), "-lm"], check=True,
        )
        function = ctypes.CDLL(str(library)).euler_march
    pointer, real = ctypes.POINTER(ctypes.c_double), ctypes.c_double
    function.argtypes = [ctypes.c_int, ctypes.c_long, real, real, real, ctypes.c_long,
                         pointer, pointer, pointer]
    function.restype = ctypes.c_long
    return function


class InC:
    """The gas of one of our ducts before its first step, marched by the loop in C.

    Parameters
    ----------
    function : from `c_loop`
    ours : Ours
        A single closed duct of perfect gas.
    duct : bool
        All that our march does in a duct without walls; False: the three Euler equations alone.
    """

    def __init__(self, function, ours, duct):
        net = ours.model.net
        self.function, self.duct = function, duct
        self.start = ours.start[0].copy()
        self.U = self.start.copy()
        n = self.U.shape[1]
        rows = [net.cells[row] for row in (f.INV_DX, f.DLNA, f.INV_VOL)]
        self.geometry = np.concatenate([*rows, net.area])
        self.work = np.ones(14 * n)

    def march(self, steps):
        """March from the start; (seconds, steps)."""
        self.U[...] = self.start
        pointers = [a.ctypes.data_as(ctypes.POINTER(ctypes.c_double))
                    for a in (self.U, self.geometry, self.work)]
        clock = time.perf_counter()
        done = self.function(self.duct, self.U.shape[1], GAMMA, R, CFL, steps, *pointers)
        spent = time.perf_counter() - clock
        if done != steps:
            raise RuntimeError(f"the loop in C broke off after {done} of {steps} steps")
        return spent, done


def difference(ours, c, steps=200):
    """Largest difference of the density after some steps, over the largest density."""
    ours.march(steps=steps)
    c.march(steps)
    lo, hi = ours.model.ducts["d"]
    a, b = ours.model.state.U[f.R, lo:hi], c.U[f.R, lo:hi]
    return float(np.abs(a - b).max() / a.max())


# --- Clawpack -------------------------------------------------------------------------------------


def clawpack(left, right, gamma, x0, t, length, cells):
    """March a Riemann problem by Clawpack; (seconds, steps), the set-up left out."""
    run = pyclaw_twin.controller(left, right, gamma, x0, t, length, cells)
    run.solver.setup(run.solution)
    run.solver.dt = run.solver.dt_initial
    clock = time.perf_counter()
    status = run.solver.evolve_to_time(run.solution, t)
    return time.perf_counter() - clock, status["numsteps"]
