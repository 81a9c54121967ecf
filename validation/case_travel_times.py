"""Small pulses arrive after the time that sound speed and mean flow say.

A pulse of a ten-thousandth of the pressure runs along a pipe, and the time until its middle passes
a place is compared with the integral of dx over c + u, or c - u against the flow: air as a perfect
gas from 300 to 1200 K, engine gas with the sound speed of cantera, mean flow to Mach 0.5, hot and
cold gas in one duct and in two, a pipe along which the temperature falls (AC-5), and the way to an
open end and back, in crank degrees (TU-3).  Cells of 10 mm.
"""

from functools import cache

import numpy as np
from marches import AIR, GAMMA, IDEAL, P0, R, cut, endless
from references import reference, references
from suite import Case, Check

import wavesim as ws
from wavesim import exact

SIZE, HALF = 1e-4, 0.24  # of the pulse: height over p, and half its length [m]
LENGTH, CELL = 14.0, 0.01  # of the pipe, so long that no end is heard in time, m
START, PLACE = 6.25, 7.75  # of the pulse at time 0, and where it is awaited [m]
WAY = PLACE - START
TEMPERATURES = (300.0, 600.0, 900.0, 1200.0)
MACHS = (0.1, 0.3, 0.5)


def hump(x, middle, half):
    """Smooth pulse of height one."""
    return np.cos(0.5 * np.pi * np.clip((x - middle) / half, -1.0, 1.0)) ** 4


def middle_time(t, signal):
    """When the middle of a pulse passes [s]: centre of the area above a tenth of its height."""
    above = np.maximum(signal - 0.1 * signal.max(), 0.0)
    return np.sum(t * above) / np.sum(above)


def passing(temperature, mach=0.0, way=1, gas=AIR, fill="air", ducts=1):
    """Times [s] and pressures over the rest [1] while a pulse passes, 1.5 m from its start.

    `temperature` is a function of x [K], with the joint of two ducts in the middle of the pipe;
    `way` is 1 along the flow and -1 against it.
    """
    start, place = (START, PLACE)[::way]
    x, yb = np.linspace(START, PLACE, 201), 1.0 if fill == "burned" else 0.0
    slowest = float(gas.sound_speed(temperature(x).min(), 0.0, yb))
    T = float(temperature(np.array(start)))
    gamma, c = float(gas.gamma(T, 0.0, yb)), float(gas.sound_speed(T, 0.0, yb))

    def state(x):
        q = SIZE * hump(x, start, HALF)
        warmer = (1.0 + q) ** ((gamma - 1.0) / gamma)
        return P0 * (1.0 + q), mach * c + way * q * c / gamma, temperature(x) * warmer, fill

    part = LENGTH / ducts
    names = "ab"[:ducts]
    nodes = {"far": endless("a.start"), "end": endless(f"{names[-1]}.end")}
    if ducts == 2:
        nodes["joint"] = ws.AreaStep(("a.end", "b.start"))
    result = ws.simulate(
        ws.Network({name: ws.Pipe(part, 0.05, cell_length=CELL) for name in names}, nodes),
        1.2 * WAY / (slowest * (1.0 + way * mach)), gas=gas, settings=IDEAL, samples=2000,
        initial={name: lambda x, i=i: state(x + i * part) for i, name in enumerate(names)},
    )
    trace = result.trace("pressure", names[int(place / part)], place % part)
    return trace.x, trace.values / P0 - 1.0


def arrival(*pipe, **flow):
    """When a pulse that starts at time 0 has come 1.5 m [s]; arguments of `passing`."""
    return middle_time(*passing(*pipe, **flow))


def even(T):
    """One temperature everywhere."""
    return lambda x: T + 0.0 * x


@cache
def even_arrival(T, mach=0.0, way=1, gas=AIR, fill="air"):
    """`arrival` in a pipe of one temperature [K]."""
    return arrival(even(T), mach, way, gas, fill)


@cache
def cantera_phase(gas, fill):
    """A part of the engine gas in cantera."""
    import cantera

    moles = gas.parts[{"air": 0, "burned": 2}[fill]]
    library = {species.name: species for species in cantera.Species.list_from_file("nasa_gas.yaml")}
    phase = cantera.Solution(thermo="ideal-gas", species=[library[name] for name in moles])
    phase.TPX = 300.0, P0, moles
    return phase


def cantera_sound_speed(gas, T, fill):
    """Sound speed [m/s] by cantera, composition frozen."""
    phase = cantera_phase(gas, fill)
    phase.TP = T, P0
    return np.sqrt(phase.cp / phase.cv * P0 / phase.density)


JOINT = 0.5 * LENGTH


@cache
def contact_arrival(before, beyond, ducts):
    """`arrival` through gas at two temperatures [K] that meet half-way."""
    return arrival(lambda x: np.where(x < JOINT, before, beyond), ducts=ducts)


GRADIENT = reference("AC-5", "travel_time")


def gradient_arrival():
    """`arrival` through the falling temperature of AC-5, a quarter of a metre before and behind."""
    given = GRADIENT.case
    ends = JOINT + np.array([-0.5, 0.5]) * given["length"]
    return arrival(lambda x: np.interp(x, ends, [given["T_closed"], given["T_open"]]))


@cache
def echo(length, c, half=0.15):
    """When a pulse that starts at a closed end is back from an ideal open end [s]."""
    T = c * c / (GAMMA * R)
    net = ws.Network(
        {"a": ws.Pipe(length, 0.05, cell_length=CELL)},
        {"wall": ws.ClosedEnd("a.start"), "mouth": cut("a.end", P0, min(T, 340.0))},
    )

    def start(x):
        q = 1e-4 * hump(x, 0.0, half)
        return P0 * (1.0 + q), 0.0 * x, T * (1.0 + q) ** ((GAMMA - 1.0) / GAMMA), "air"

    result = ws.simulate(
        net, 2.5 * length / c, gas=AIR, settings=IDEAL, initial={"a": start}, samples=2500
    )
    trace = result.trace("pressure", "wall")
    back = trace.x > length / c
    return middle_time(trace.x[back], 1.0 - trace.values[back] / P0)


# checks -------------------------------------------------------------------------------------------

GAS = ws.EngineGas()
FLOW_T = 600.0  # of the pipes with mean flow [K]
KINSLER = "distance over sound speed, Kinsler et al. 2000, ch. 5"
CONVECTED = "distance over c + u or c - u, Landau and Lifshitz, Fluid Mechanics, sec. 68"
CANTERA = "cantera, frozen composition"
STILL_WHY = (
    "Half a millimetre in a metre: the limiter leans the pulse back by a few hundredths of a cell "
    "of 10 mm, and its own height makes it faster by 0.01 %."
)


def sound_speed(T):
    """Of the perfect gas [m/s]."""
    return exact.sound_speed(T, GAMMA, R)


def _still_checks():
    for T in TEMPERATURES:
        yield Check(
            f"time for 1.5 m, perfect gas at {T:g} K", even_arrival(T),
            exact.wave_time(WAY, sound_speed(T)),
            "0.05 %", KINSLER, STILL_WHY, "s",
        )
    for before, beyond in ((900.0, 300.0), (300.0, 900.0)):
        should = exact.wave_time([0.5 * WAY] * 2, [sound_speed(before), sound_speed(beyond)])
        for ducts, where in ((1, "inside a duct"), (2, "where two ducts meet")):
            yield Check(
                f"time for 1.5 m, {before:g} K then {beyond:g} K, contact {where}",
                contact_arrival(before, beyond, ducts), should, "0.05 %", KINSLER, STILL_WHY, "s",
            )
    hot, cold = (GRADIENT.case[name] for name in ("T_closed", "T_open"))
    outside = [0.5 * (WAY - GRADIENT.case["length"])] * 2
    yield Check(
        f"time for 1.5 m, {hot:g} K falling to {cold:g} K over 1 m", gradient_arrival(),
        exact.wave_time(outside, [sound_speed(hot), sound_speed(cold)]) + GRADIENT.value,
        "0.05 %", GRADIENT.source, STILL_WHY, "s",
    )


def _flow_checks():
    c = sound_speed(FLOW_T)
    for mach in MACHS:
        for way, words in ((1, "along"), (-1, "against")):
            yield Check(
                f"time for 1.5 m {words} a flow of Mach {mach:g} at {FLOW_T:g} K",
                even_arrival(FLOW_T, mach, way), exact.wave_time(WAY, c, way * mach * c), "0.1 %",
                CONVECTED,
                "As in still gas along the flow; against it the waves along the flow set the step "
                "of time, and the slow pulse, of a third of their Courant number, keeps its shape "
                "less well.",
                "s",
            )


def _engine_gas_checks():
    for fill in ("air", "burned"):
        for T in TEMPERATURES:
            yield Check(
                f"time for 1.5 m, engine gas, {fill}, at {T:g} K",
                even_arrival(T, 0.0, 1, GAS, fill),
                exact.wave_time(WAY, cantera_sound_speed(GAS, T, fill)),
                "0.1 %", CANTERA,
                "The fitted heat capacity is good to 0.5 %, which moves the sound speed by less "
                "than 0.1 %.",
                "s",
            )


def _echo_checks():
    for row in references("TU-3"):
        rpm, length, c = (row.case[name] for name in ("rpm", "length", "c"))
        yield Check(
            f"return from an open end {length:g} m away, c = {c:g} m/s, {rpm:g} rev/min",
            6.0 * rpm * echo(length, c), row.value, "0.1 %", row.source,
            "A tenth of a degree: the pulse of 0.3 m leans back by a tenth of a cell on the way, "
            "and the cold air that the mouth takes in moves the end by as little.",
            row.unit,
        )


# figure -------------------------------------------------------------------------------------------


def _draw_pulses(ax):
    for i, T in enumerate(TEMPERATURES):
        t, p = passing(even(T))
        ax.plot(1e3 * t, P0 * p, color=ws.plots.COLOURS[i], label=f"marched, {T:g} K")
        ax.axvline(1e3 * exact.wave_time(WAY, sound_speed(T)), color=ws.plots.REFERENCE, ls="--",
                   label="distance over sound speed" if i == 0 else None)
    ax.set_title("A small pulse passes 1.5 m from its start, still air", loc="left")
    ax.set_xlim(1.5, 5.3)
    ax.set_xlabel("time [ms]")
    ax.set_ylabel("pressure above rest [Pa]")


def _draw_temperatures(ax):
    T = np.linspace(280.0, 1220.0, 48)
    ax.plot(T, 1e3 * WAY / sound_speed(T), color=ws.plots.REFERENCE, label="perfect gas, exact")
    for fill, style in (("air", "--"), ("burned", ":")):
        c = np.array([cantera_sound_speed(GAS, each, fill) for each in T])
        ax.plot(T, 1e3 * WAY / c, style, color=ws.plots.REFERENCE, label=f"{fill}, cantera")
    found = {"perfect gas": (AIR, "air"), "engine gas, air": (GAS, "air"),
             "engine gas, burned": (GAS, "burned")}
    for i, (name, (gas, fill)) in enumerate(found.items()):
        times = [1e3 * even_arrival(each, 0.0, 1, gas, fill) for each in TEMPERATURES]
        ax.plot(TEMPERATURES, times, ws.plots.MARKERS[i], mfc="none",
                color=ws.plots.COLOURS[i], label=f"marched, {name}")
    ax.set_title("Time for 1.5 m", loc="left")
    ax.set_xlabel("temperature [K]")
    ax.set_ylabel("time [ms]")


def _draw_flow(ax):
    c, mach = sound_speed(FLOW_T), np.linspace(0.0, 0.52, 100)
    for way, style, words in ((1, "-", "along"), (-1, "--", "against")):
        ax.plot(mach, 1e3 * WAY / (c * (1.0 + way * mach)), style, color=ws.plots.REFERENCE,
                label=f"exact, {words} the flow")
    for i, way in enumerate((1, -1)):
        times = [1e3 * even_arrival(FLOW_T, m, way) for m in MACHS]
        ax.plot(MACHS, times, ws.plots.MARKERS[i], color=ws.plots.COLOURS[i],
                label=f"marched, {('along', 'against')[i]} the flow")
    ax.set_title(f"Time for 1.5 m at {FLOW_T:g} K with mean flow", loc="left")
    ax.set_xlabel("Mach number of the flow [-]")
    ax.set_ylabel("time [ms]")


def draw():
    """Pulses, and times against temperature and mean flow."""
    axes = ws.plots.new_axes(3, width=9.5, height=3.0)
    for ax, panel in zip(axes, (_draw_pulses, _draw_temperatures, _draw_flow), strict=True):
        panel(ax)
        ax.legend(frameon=False, loc="center left", bbox_to_anchor=(1.0, 0.5))
    return axes


def run():
    """Times in still and moving gas, in engine gas, and there and back, and the figure."""
    checks = (*_still_checks(), *_flow_checks(), *_engine_gas_checks(), *_echo_checks())
    return Case(checks, draw())
