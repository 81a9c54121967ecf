"""wavesim: unsteady gas dynamics of engine exhausts, from the cylinders to the tailpipe tip.

Describe an engine and an exhaust, sweep the speed, compare the variants::

    import wavesim as ws

    study = ws.load(ws.demo_path("collector"))
    short, long = study.exhausts.values()
    a = ws.speed_sweep(study.engine, short, rpm=range(2000, 7001, 500))
    b = ws.speed_sweep(study.engine, long, rpm=range(2000, 7001, 500))
    print(ws.compare(a, b).summary())

All quantities are in SI units; crank angles are in degrees and say so in their names.
"""

from importlib import import_module

from wavesim import units
from wavesim._version import __version__
from wavesim.descriptions.assemble import assemble
from wavesim.descriptions.combustion import ChenFlynn, FlameScaling, Wiebe, Woschni
from wavesim.descriptions.engine import Engine, vee_firing_intervals
from wavesim.descriptions.exhaust import Exhaust
from wavesim.descriptions.intake import Intake
from wavesim.descriptions.joints import HPipe, Merge, XPipe
from wavesim.descriptions.materials import FIBRES, METALS, ROUGHNESS, Fibre, Metal, Packing, gauge
from wavesim.descriptions.network import Network
from wavesim.descriptions.nodes import (
    AnechoicEnd,
    AreaStep,
    Carburettor,
    ClosedEnd,
    Junction,
    OpenEnd,
    Orifice,
    Perforate,
    Resistance,
    Throttle,
    ValvePort,
    Volume,
)
from wavesim.descriptions.parts import Monolith, Plate
from wavesim.descriptions.pipes import Amounts, Bend, Duct, Pipe
from wavesim.descriptions.pull import Pull, WallSection, WallsLeft, Warmed
from wavesim.descriptions.ratings import FlowRating
from wavesim.descriptions.settings import Settings
from wavesim.descriptions.silencers import Chamber, PerforatedSilencer, Resonator, SideTube
from wavesim.descriptions.study import Study, demo_path, load, save
from wavesim.descriptions.tubework import BentTube, Flange, Megaphone
from wavesim.descriptions.valves import (
    Cam,
    CamCard,
    FlowCoefficients,
    LiftTable,
    Valve,
    lobe_centres,
)
from wavesim.descriptions.walls import Coating, Outside, Wall, WallState, Wrap, wall_balance
from wavesim.descriptions.warming import Warming, wall_warming
from wavesim.descriptions.weather import Ambient
from wavesim.dyno.choice import Choice, Measure, choice
from wavesim.dyno.correction import (
    STANDARDS,
    CorrectionStandard,
    corrected,
    correction_factor,
    uncorrected,
)
from wavesim.dyno.fit import Fit, FittedParameter, fit
from wavesim.dyno.predict import Prediction, predict
from wavesim.dyno.pulls import MeasuredPulls, demo_pulls, read_pulls
from wavesim.dyno.repeat import (
    BandDifference,
    CrossingSet,
    MeasuredDifference,
    measured_difference,
)
from wavesim.dyno.sound import Sound, a_weighting, radiate, sound
from wavesim.dyno.sound_curve import InsertionLoss, SoundCurve, insertion_loss, sound_curve
from wavesim.dyno.sound_file import run_up, write_wav
from wavesim.dyno.uncertain import Factor, Offset
from wavesim.errors import ConvergenceError, InputError, SolverError, WavesimError, nearest
from wavesim.fields.description import describe, restore, vary
from wavesim.fields.tables import Table
from wavesim.front.sheet import sheet
from wavesim.gas.models import FUELS, EngineGas, Fuel, PerfectGas, TableGas
from wavesim.many.explore import Design, Exploration, explore
from wavesim.many.maps import SpeedMap
from wavesim.many.optimise import Objective, Optimum, optimise
from wavesim.many.sensitivity import Sensitivities, Slope, sensitivities
from wavesim.many.space import designs
from wavesim.many.store import Store, StoreCheck
from wavesim.many.sweep import run_study, speed_sweep, speed_sweeps
from wavesim.march.acoustics import TransmissionLoss, transmission_loss
from wavesim.march.attribution import Attribution, attribution
from wavesim.march.echoes import CrossTalk, Echo, Echoes, cross_talk, echoes, exhaust_reflection
from wavesim.march.run import run_network, run_point, simulate
from wavesim.march.states import periodic_states
from wavesim.results.arrivals import Arrivals, Route, arrivals
from wavesim.results.bill import Bill, BillRow, bill
from wavesim.results.compare import Band, Comparison, CrossingSpeed
from wavesim.results.comparisons import Comparisons, compare
from wavesim.results.contributions import Contributions, contributions
from wavesim.results.curves import Curve, Reading
from wavesim.results.diagram import WaveDiagram, wave_diagram
from wavesim.results.explain import Explanation, Reason, explain
from wavesim.results.points import Failure, Point, Sweep, Transient
from wavesim.results.states import PeriodicState, PeriodicStates
from wavesim.results.traces import Extreme, Samples, Trace
from wavesim.results.waves import Reflection, Waves
from wavesim.show import plots
from wavesim.show.drawings import draw_exhaust
from wavesim.show.forms import SpeedCurve
from wavesim.show.quantities import (
    CYLINDERS,
    QUANTITIES,
    SOUNDS,
    TRACES,
    Quantity,
    quantity_table,
)

__all__ = [
    "a_weighting",
    "Ambient",
    "Amounts",
    "AnechoicEnd",
    "AreaStep",
    "Arrivals",
    "arrivals",
    "assemble",
    "Attribution",
    "attribution",
    "Band",
    "BandDifference",
    "Bend",
    "BentTube",
    "Bill",
    "bill",
    "BillRow",
    "Cam",
    "CamCard",
    "Carburettor",
    "Chamber",
    "ChenFlynn",
    "Choice",
    "choice",
    "ClosedEnd",
    "Coating",
    "compare",
    "Comparison",
    "Comparisons",
    "Contributions",
    "contributions",
    "ConvergenceError",
    "corrected",
    "correction_factor",
    "CorrectionStandard",
    "cross_talk",
    "CrossingSet",
    "CrossingSpeed",
    "CrossTalk",
    "Curve",
    "CYLINDERS",
    "demo_path",
    "demo_pulls",
    "describe",
    "Design",
    "designs",
    "draw_exhaust",
    "Duct",
    "Echo",
    "Echoes",
    "echoes",
    "Engine",
    "EngineGas",
    "exact",
    "Exhaust",
    "exhaust_reflection",
    "explain",
    "Explanation",
    "Exploration",
    "explore",
    "Extreme",
    "Factor",
    "Failure",
    "Fibre",
    "FIBRES",
    "fit",
    "Fit",
    "FittedParameter",
    "FlameScaling",
    "Flange",
    "FlowCoefficients",
    "FlowRating",
    "Fuel",
    "FUELS",
    "gauge",
    "HPipe",
    "InputError",
    "insertion_loss",
    "InsertionLoss",
    "Intake",
    "Junction",
    "LiftTable",
    "load",
    "lobe_centres",
    "measured_difference",
    "MeasuredDifference",
    "MeasuredPulls",
    "Measure",
    "Megaphone",
    "Merge",
    "Metal",
    "METALS",
    "Monolith",
    "Network",
    "Objective",
    "Offset",
    "OpenEnd",
    "optimise",
    "Optimum",
    "Orifice",
    "Outside",
    "Packing",
    "PerfectGas",
    "Perforate",
    "PerforatedSilencer",
    "periodic_states",
    "PeriodicState",
    "PeriodicStates",
    "Pipe",
    "Plate",
    "plots",
    "Point",
    "predict",
    "Prediction",
    "Pull",
    "QUANTITIES",
    "Quantity",
    "quantity_table",
    "read_pulls",
    "radiate",
    "Reading",
    "Reason",
    "Reflection",
    "Resistance",
    "Resonator",
    "restore",
    "ROUGHNESS",
    "Route",
    "run_network",
    "run_point",
    "run_study",
    "run_up",
    "Samples",
    "save",
    "Sensitivities",
    "sensitivities",
    "Settings",
    "sheet",
    "SideTube",
    "simulate",
    "Slope",
    "SolverError",
    "Sound",
    "sound",
    "sound_curve",
    "SoundCurve",
    "SOUNDS",
    "speed_sweep",
    "speed_sweeps",
    "SpeedCurve",
    "SpeedMap",
    "STANDARDS",
    "Store",
    "StoreCheck",
    "Study",
    "Sweep",
    "Table",
    "TableGas",
    "Throttle",
    "Trace",
    "TRACES",
    "Transient",
    "transmission_loss",
    "TransmissionLoss",
    "uncorrected",
    "units",
    "Valve",
    "ValvePort",
    "vary",
    "vee_firing_intervals",
    "Volume",
    "Wall",
    "wall_balance",
    "wall_warming",
    "WallSection",
    "WallsLeft",
    "WallState",
    "Warmed",
    "Warming",
    "wave_diagram",
    "WaveDiagram",
    "Waves",
    "WavesimError",
    "Wiebe",
    "Woschni",
    "Wrap",
    "write_wav",
    "XPipe",
    "__version__",
]


def __getattr__(name):
    """Load `exact` when it is asked for; offer the right name for an unknown one."""
    if name == "exact":
        return import_module("wavesim.exact")
    raise AttributeError(f"module 'wavesim' has no attribute {name!r}{nearest(name, __all__)}")


def __dir__():
    return sorted({*globals(), *__all__})
