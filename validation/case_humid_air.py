"""Humid air: saturation, density, heat capacity, and what it takes from an engine.

The saturation pressure is compared with the formula of IAPWS, the humidity of saturated air and its
specific volume with the tables of ASHRAE, the density at any humidity with the equation of the
metrologists (CIPM-2007), which counts the real gas; sound speed and heat capacity with cantera.
Then the example engine breathes hot air, dry and sultry: the vapour takes the place of air and so
of fuel, and the mixture strength stays.
"""

from functools import cache

import numpy as np
from case_gas_properties import SOURCE, phase, set_moles
from references import references
from rounding import WHY, bound, left_in_cycle
from suite import Case, Check

import wavesim as ws
from wavesim.descriptions.weather import moist_air, saturation_pressure

CIPM = "Picard, Davis, Gläser and Fujii, Metrologia 45 (2008) 149, eq. 1"
P = 101325.0  # Pa
#: Pressure [Pa], temperature [K] and relative humidity of the air whose density is compared.
WEATHERS = (
    (P, 293.15, 0.0), (P, 293.15, 0.5), (P, 303.15, 0.9), (P, 278.15, 1.0), (7e4, 298.15, 0.8),
)
SULTRY = ws.Ambient(temperature=308.15, relative_humidity=0.9)
SPEED = 5500.0  # rev/min
COARSE = ws.Settings(cell_length=0.03, tolerance=1e-3, sample_deg=2.0)


def iapws(T):
    """Saturation pressure of water [Pa] at T [K]: IAPWS SR1-86 (1992), eq. 1."""
    v = 1.0 - T / 647.096
    terms = (
        -7.85951783 * v + 1.84408259 * v**1.5 - 11.7866497 * v**3 + 22.6807411 * v**3.5
        - 15.9618719 * v**4 + 1.80122502 * v**7.5
    )
    return 22.064e6 * np.exp(647.096 / T * terms)


def cipm_density(p, T, share):
    """Density of humid air [kg/m3] with the compressibility of the real gas: CIPM-2007, eq. 1.

    `share` is the mole share of vapour.
    """
    t = T - 273.15
    a = 1.58123e-6 - 2.9331e-8 * t + 1.1043e-10 * t * t
    b, c = 5.707e-6 - 2.051e-8 * t, 1.9898e-4 - 2.376e-6 * t
    Z = 1.0 - p / T * (a + b * share + c * share**2)
    Z += (p / T) ** 2 * (1.83e-11 - 0.765e-8 * share**2)
    return p * 28.96546e-3 / (Z * 8.314472 * T) * (1.0 - 0.3780 * share)


def humid(ambient):
    """Engine gas whose air is that of a weather."""
    return ws.EngineGas(air=moist_air(ambient.vapour_share))


def saturated(row):
    """Humidity ratio, or volume of a kilogram of dry air, of saturated air of a row of HU-2."""
    air = ws.Ambient(pressure=row.case["p"], temperature=row.case["T"], relative_humidity=1.0)
    gas = humid(air)
    ratio = gas.humidity / (1.0 - gas.humidity)
    density = float(gas.density(air.pressure, air.temperature))
    return ratio if row.quantity == "humidity_ratio" else (1.0 + ratio) / density


@cache
def engine_point(humidity):
    """The example engine in hot air of a relative humidity."""
    study = ws.load(ws.demo_path("collector"))
    return ws.run_point(
        study.engine, study.exhausts[study.base], SPEED, settings=COARSE,
        ambient=SULTRY.replace(relative_humidity=humidity),
    )


# --- checks ---------------------------------------------------------------------------------------

_REAL = (
    "Ours is an ideal gas, which makes air 0.04 % too light; the molar mass of dry air differs by "
    "0.02 %."
)


def _saturation_checks():
    for row in references("HU-1"):
        yield Check(f"saturation pressure at {row.case['T']:g} K",
                    saturation_pressure(row.case["T"]), row.value, row.solver_tolerance, row.source,
                    "Both formulas fit the same measurements within their scatter.", row.unit)
    T = np.arange(273.16, 341.0, 1.0)
    ours = np.array([saturation_pressure(t) for t in T])
    i = int(np.argmax(np.abs(ours / iapws(T) - 1.0)))
    yield Check(f"saturation pressure, 0 to 67 degrees Celsius, worst at {T[i]:g} K", ours[i],
                iapws(T[i]), "0.05 %", "IAPWS SR1-86 (1992), eq. 1",
                "Both formulas fit the same measurements within their scatter.", "Pa")


def _air_checks():
    for row in references("HU-2"):
        yield Check(f"{row.quantity.replace('_', ' ')} of saturated air, {row.case['T']:g} K",
                    saturated(row), row.value, row.solver_tolerance, row.source, _REAL, row.unit)
    for p, T, humidity in WEATHERS:
        air = ws.Ambient(pressure=p, temperature=T, relative_humidity=humidity)
        yield Check(f"density at {p:g} Pa, {T:g} K, relative humidity {humidity:g}",
                    float(humid(air).density(p, T)), cipm_density(p, T, air.vapour_share), "0.1 %",
                    CIPM, _REAL, "kg/m3")
    for T in (260.0, 300.0, 600.0, 1200.0):
        gas = humid(SULTRY)
        set_moles(phase(), T, gas.air)
        yield Check(f"heat capacity of sultry air, {T:g} K", float(gas.cp(T)), phase().cp_mass,
                    "0.5 %", SOURCE, "One polynomial of eight terms from 250 to 2500 K.",
                    "J/(kg K)")
        yield Check(f"sound speed in sultry air, {T:g} K", float(gas.sound_speed(T)),
                    phase().sound_speed, "0.1 %", SOURCE,
                    "Half the error of the ratio of heat capacities.", "m/s")


def _engine_checks():
    dry, sultry = engine_point(0.0), engine_point(SULTRY.relative_humidity)
    law = "a vapour of share x takes the room of x of the air (Dalton)"
    yield Check("engine in sultry air: fuel over that in dry air",
                sultry.fuel_mass_flow / dry.fuel_mass_flow, 1.0 - SULTRY.vapour_share, "0.5 %", law,
                "Sound is 0.8 % faster in it, which shifts the tuning by as much of the speed.")
    yield Check("engine in sultry air: dry air per fuel, over that in dry air",
                sultry.air_fuel_ratio / dry.air_fuel_ratio, 1.0, "1e-10 %",
                "stoichiometry: the oxygen of dry air", "Counting atoms is exact.")
    for what in ("mass", "energy"):
        yield Check(f"engine in sultry air: ledger of {what}", sultry.audit[f"{what}_error"], 0.0,
                    bound(left_in_cycle(sultry.audit)), "conservation law", WHY)


def _note():
    dry, sultry = engine_point(0.0), engine_point(SULTRY.relative_humidity)
    loss = 100.0 * (1.0 - sultry.torque / dry.torque)
    return (
        f"At {SULTRY.temperature - 273.15:g} degrees Celsius and a relative humidity of "
        f"{100 * SULTRY.relative_humidity:g} % the air holds {100 * SULTRY.vapour_share:.1f} % of "
        f"vapour, and the torque of the example engine at {SPEED:g} rev/min is {loss:.1f} % lower "
        "than in dry air of the same pressure and temperature. What humidity does to the rate of "
        "burning is not computed."
    )


def draw():
    """Density of air of three humidities over temperature, ours and CIPM-2007."""
    (ax,) = ws.plots.new_axes(1, height=3.6)
    T = np.arange(253.15, 313.2, 2.5)
    for i, humidity in enumerate((0.0, 0.5, 1.0)):
        airs = [ws.Ambient(temperature=t, relative_humidity=humidity) for t in T]
        ours = [float(humid(air).density(P, air.temperature)) for air in airs]
        theirs = [cipm_density(P, air.temperature, air.vapour_share) for air in airs]
        ax.plot(T - 273.15, theirs, color=ws.plots.REFERENCE, lw=4.0, alpha=0.5,
                label=None if i else "CIPM-2007")
        ax.plot(T - 273.15, ours, ("-", "--", ":")[i], color=ws.plots.COLOURS[i], lw=1.4,
                label=f"relative humidity {100 * humidity:g} %")
    ax.set(xlabel="temperature [degrees Celsius]", ylabel="density [kg/m3]")
    ax.set_title("air of 101325 Pa", loc="left")
    ax.grid(color=ws.plots.FAINT)
    ax.legend(frameon=False)
    return ax


def run():
    """Saturation, properties of humid air, an engine that breathes it."""
    return Case((*_saturation_checks(), *_air_checks(), *_engine_checks()), draw(), (_note(),))
