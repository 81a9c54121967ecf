"""wavesim: unsteady gas dynamics of engine exhausts, from the cylinders to the tailpipe tip.

Describe an engine and an exhaust, sweep the speed, compare the variants::

    import wavesim as ws

    study = ws.load(ws.demo_path())
    short, long = study.exhausts.values()
    a = ws.speed_sweep(study.engine, short, rpm=range(2000, 7001, 500))
    b = ws.speed_sweep(study.engine, long, rpm=range(2000, 7001, 500))
    print(ws.compare(a, b).summary())

All quantities are in SI units; crank angles are in degrees and say so in their names.
"""

from wavesim.assemble import assemble
from wavesim.combustion import ChenFlynn, Wiebe, Woschni
from wavesim.description import describe, restore, vary
from wavesim.engine import Engine, vee_firing_intervals
from wavesim.errors import ConvergenceError, InputError, SolverError, WavesimError
from wavesim.exhaust import Exhaust, Merge
from wavesim.gas import FUELS, EngineGas, Fuel, PerfectGas
from wavesim.intake import Intake
from wavesim.network import Network
from wavesim.nodes import (
    Ambient,
    AnechoicEnd,
    AreaStep,
    ClosedEnd,
    Junction,
    OpenEnd,
    Orifice,
    Throttle,
    ValvePort,
    Volume,
)
from wavesim.pipes import Duct, Pipe
from wavesim.result import QUANTITIES, TRACES, Point, Sweep, Trace, Transient
from wavesim.run import run_point, simulate
from wavesim.settings import Settings
from wavesim.study import Study, demo_path, load, save
from wavesim.sweep import speed_sweep, speed_sweeps
from wavesim.tables import Table
from wavesim.valves import Cam, FlowCoefficients, LiftTable, Valve

__version__ = "0.1.0"

__all__ = [
    "FUELS", "QUANTITIES", "TRACES", "Ambient", "AnechoicEnd", "AreaStep", "Cam", "ChenFlynn",
    "ClosedEnd", "ConvergenceError", "Duct", "Engine", "EngineGas", "Exhaust", "FlowCoefficients",
    "Fuel", "InputError", "Intake", "Junction", "LiftTable", "Merge", "Network", "OpenEnd",
    "Orifice", "PerfectGas", "Pipe", "Point", "Settings", "SolverError", "Study", "Sweep",
    "Table", "Throttle", "Trace", "Transient", "Valve", "ValvePort", "Volume", "WavesimError",
    "Wiebe", "Woschni", "assemble", "demo_path", "describe", "load", "restore", "run_point",
    "save", "simulate", "speed_sweep", "speed_sweeps", "vary", "vee_firing_intervals",
]
