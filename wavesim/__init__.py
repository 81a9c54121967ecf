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

from wavesim import plots
from wavesim._version import __version__
from wavesim.acoustics import TransmissionLoss, transmission_loss
from wavesim.assemble import assemble
from wavesim.bill import Bill, bill
from wavesim.combustion import ChenFlynn, Wiebe, Woschni
from wavesim.compare import Comparison, compare
from wavesim.description import describe, restore, vary
from wavesim.engine import Engine, vee_firing_intervals
from wavesim.errors import ConvergenceError, InputError, SolverError, WavesimError
from wavesim.exhaust import Exhaust
from wavesim.explore import Design, Exploration, explore
from wavesim.gas import FUELS, EngineGas, Fuel, PerfectGas
from wavesim.intake import Intake
from wavesim.joints import Crossing, Crossover, Merge
from wavesim.materials import FIBRES, METALS, ROUGHNESS, Fibre, Metal, Packing, gauge
from wavesim.network import Network
from wavesim.nodes import (
    Ambient,
    AnechoicEnd,
    AreaStep,
    ClosedEnd,
    Junction,
    OpenEnd,
    Orifice,
    Perforate,
    Throttle,
    ValvePort,
    Volume,
)
from wavesim.optimise import Optimum, optimise
from wavesim.parts import Monolith, Plate
from wavesim.pipes import Bend, Duct, Pipe
from wavesim.points import Point, Sweep, Transient
from wavesim.quantities import QUANTITIES, TRACES
from wavesim.run import run_point, simulate
from wavesim.settings import Settings
from wavesim.silencers import Chamber, PerforatedSilencer, Resonator, SideTube
from wavesim.space import designs
from wavesim.store import Store, StoreCheck
from wavesim.study import Study, demo_path, load, save
from wavesim.sweep import run_study, speed_sweep, speed_sweeps
from wavesim.tables import Table
from wavesim.traces import Trace
from wavesim.valves import Cam, FlowCoefficients, LiftTable, Valve
from wavesim.walls import Coating, Outside, Wall, Wrap, wall_balance

__all__ = [
    "FIBRES", "FUELS", "METALS", "QUANTITIES", "ROUGHNESS", "TRACES", "Ambient", "AnechoicEnd",
    "AreaStep", "Bend", "Bill", "Cam", "Chamber", "ChenFlynn", "ClosedEnd", "Coating", "Comparison",
    "ConvergenceError", "Crossing", "Crossover", "Design", "Duct", "Engine", "EngineGas", "Exhaust",
    "Exploration", "Fibre", "FlowCoefficients", "Fuel", "InputError", "Intake", "Junction",
    "LiftTable", "Merge", "Metal", "Monolith", "Network", "OpenEnd", "Optimum", "Orifice",
    "Outside", "Packing", "PerfectGas", "Perforate", "PerforatedSilencer", "Pipe", "Plate", "Point",
    "Resonator", "Settings", "SideTube", "SolverError", "Store", "StoreCheck", "Study", "Sweep",
    "Table", "Throttle", "Trace", "Transient", "TransmissionLoss", "Valve", "ValvePort", "Volume",
    "Wall", "WavesimError", "Wiebe", "Woschni", "Wrap", "assemble", "bill", "compare", "demo_path",
    "describe", "designs", "explore", "gauge", "load", "optimise", "plots", "restore", "run_point",
    "run_study", "save", "simulate", "speed_sweep", "speed_sweeps", "transmission_loss", "vary",
    "vee_firing_intervals", "wall_balance", "__version__",
]
