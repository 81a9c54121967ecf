"""Fired cylinder: the Otto limit of instant burning, and burns of finite length.

A cylinder of the example engine, valves shut, compresses fresh charge of constant heat capacities,
burns it and expands it to bottom dead centre.  Where all burns at top dead centre and no heat is
lost, the efficiency must be 1 - r^(1-gamma) and the pressures those of the constant-volume cycle,
for all compression ratios and gammas of the reference table.  Longer burns, with and without
Woschni's wall heat, are compared with the first law integrated by scipy.
"""

from functools import cache

import numpy as np
from case_motored_cylinder import P_BOTTOM, T_BOTTOM, clearance, example, first_law, turn
from references import references
from suite import Case, Check

import wavesim as ws
from wavesim import exact

R = 287.05
FRESH = (1.0, 0.0)
GAMMA = 1.3
HEAT_PER_FRESH = 2.2e6  # some 3000 K, as of a rich mixture of gasoline [J/kg]
INSTANT = 1e-3  # duration of a burn that no step resolves [deg]
DURATIONS = (10.0, 20.0, 30.0, 40.0, 60.0, 90.0)  # the middle of the burn is at top dead centre
CHECKED = (10.0, 30.0, 60.0)


def fuel_gas(gamma):
    """A gas that burns."""
    return ws.PerfectGas(gamma, R, heat_per_fresh=HEAT_PER_FRESH)


def cycle(gamma=GAMMA, ratio=None, duration=INSTANT, wall_heat=False):
    """A turn with fire by the library, see `turn`; burns of finite length begin before the top."""
    start = 0.0 if duration == INSTANT else -0.5 * duration
    return turn(fuel_gas(gamma), FRESH, wall_heat, ratio, Q_FRESH=HEAT_PER_FRESH, SOC=start,
                DURATION=duration, WIEBE_M=2.0)


@cache
def law(duration, wall_heat=False):
    """The same turn by scipy."""
    ratio = example()[0].compression_ratio
    heat = HEAT_PER_FRESH * P_BOTTOM * ratio * clearance(ratio) / (R * T_BOTTOM)
    found = first_law(fuel_gas(GAMMA), wall_heat, heat=heat, start=-0.5 * duration,
                      duration=duration)
    return {**found, "released": heat}


def efficiency(found):
    """Work of the turn over the heat released."""
    return found["work"] / found["released"]


def otto_pressure(theta, ratio):
    """Pressure [Pa] of the constant-volume cycle at angles after top dead centre [deg]."""
    engine, _ = example()
    top = clearance(ratio)
    volume = top + engine.bore_area * exact.crank_travel(theta, engine.stroke, engine.rod)
    rise = 1.0 + HEAT_PER_FRESH * (GAMMA - 1.0) / (R * T_BOTTOM * ratio ** (GAMMA - 1.0))
    return P_BOTTOM * (ratio * top / volume) ** GAMMA * np.where(theta > 0.0, rise, 1.0)


# --- checks ---------------------------------------------------------------------------------------


def _limit_checks():
    for row in references("TH-1"):
        ratio, gamma = row.case["compression_ratio"], row.case["gamma"]
        yield Check(
            f"instant burning, efficiency, ratio {ratio:g}, gamma {gamma:g}",
            efficiency(cycle(gamma, ratio)), row.value, "0.005 %", row.source,
            "All burns in the one step of half a degree behind the top, in which the volume grows "
            "by two ten-thousandths; the rest is the rounding of the printed number.",
        )
    found = cycle(ratio=10.0)
    for angle in (0, 1, 180):
        yield Check(
            f"instant burning, pressure {angle} deg after the top, ratio 10, gamma {GAMMA:g}",
            found["p"][180 + angle], otto_pressure(angle, 10.0), "0.01 %",
            "constant-volume cycle, Heywood, Internal Combustion Engine Fundamentals, 1988, ch. 5",
            "As for the efficiency, and samples lie between two steps.", "Pa",
        )


def _burn_checks():
    source = "first law with Wiebe's and Woschni's laws by scipy (Heywood 1988, eq. 9.10, 12.19)"
    why = "Steps of half a degree, with second order, in a burn of {:g} deg at the shortest."
    why = why.format(min(CHECKED))
    for duration in CHECKED:
        for wall_heat, walls in ((False, "no wall heat"), (True, "wall heat")):
            found, reference = cycle(duration=duration, wall_heat=wall_heat), law(
                duration, wall_heat)
            name = f"burn of {duration:g} deg, {walls}"
            yield Check(f"{name}, efficiency", efficiency(found), efficiency(reference), "0.01 %",
                        source, why)
            yield Check(f"{name}, highest pressure", found["p"].max(), reference["p"].max(),
                        "0.06 %", source,
                        "Read from samples of whole degrees, which a fire seen half a step late "
                        "moves by a part of the rise in a step.", "Pa")
            if wall_heat:
                yield Check(f"{name}, heat to the walls", found["lost"], reference["lost"],
                            "0.06 %", source,
                            "Follows the pressure of the burning gas.", "J")


def draw():
    """Efficiency over the length of the burn, and pressures of three burns."""
    upper, lower = axes = ws.plots.new_axes(2, height=3.4)
    limit = exact.otto_efficiency(example()[0].compression_ratio, GAMMA)
    upper.axhline(100.0 * limit, color=ws.plots.REFERENCE, ls="--", label="Otto limit")
    for i, wall_heat in enumerate((False, True)):
        upper.plot(DURATIONS, [100.0 * efficiency(law(d, wall_heat)) for d in DURATIONS],
                   color=ws.plots.REFERENCE, lw=1.0, label="" if i else "first law by scipy")
        upper.plot(DURATIONS, [100.0 * efficiency(cycle(duration=d, wall_heat=wall_heat))
                               for d in DURATIONS], "o", color=ws.plots.COLOURS[i],
                   label="Woschni's wall heat" if wall_heat else "no wall heat")
    upper.plot(0.0, 100.0 * efficiency(cycle()), "o", color=ws.plots.COLOURS[0])
    upper.set_title(f"Efficiency, compression ratio {example()[0].compression_ratio:g}, "
                    f"gamma {GAMMA:g}", loc="left")
    upper.set_xlabel("length of the burn [deg]")
    upper.set_ylabel("work over heat [%]")
    theta = np.arange(-180, 181)
    for i, duration in enumerate((INSTANT, 30.0, 90.0)):
        exactly = law(duration)["p"] if i else otto_pressure(theta, example()[0].compression_ratio)
        lower.plot(theta, exactly / 1e5, color=ws.plots.REFERENCE, lw=1.0)
        lower.plot(theta[::3], cycle(duration=duration)["p"][::3] / 1e5, ".",
                   color=ws.plots.COLOURS[i], label=f"burn of {duration:g} deg" if i else "instant")
    lower.set_title("Pressure, no wall heat; grey: constant-volume cycle and first law", loc="left")
    lower.set_xlim(-90, 90)
    lower.set_xlabel("crank angle after top dead centre [deg]")
    lower.set_ylabel("pressure [bar]")
    for ax in axes:
        ax.legend(frameon=False)
    return axes


def run():
    """All checks, and efficiency and pressure over the length of the burn as a figure."""
    return Case((*_limit_checks(), *_burn_checks()), draw())
