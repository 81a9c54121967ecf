"""From what a cycle left behind to the quantities of an operating point: pure functions."""

from math import pi
from typing import NamedTuple

import numpy as np


class Flows(NamedTuple):
    """Gas that passed the valves of one side in a cycle, net out of the ducts, by cylinder.

    `mass` [kg], `energy` [J], and the parts `fresh` and `burned` of the mass [kg], each (n_cyl,).
    """

    mass: np.ndarray
    energy: np.ndarray
    fresh: np.ndarray
    burned: np.ndarray


class CycleSums(NamedTuple):
    """What a cycle left behind in the cylinders, each (n_cyl,) but `work`.

    Attributes
    ----------
    work : ndarray, (n_cyl, 4)
        Work of the gas on the piston in the four strokes from firing dead centre on [J].
    wall_loss, released : ndarray
        Heat to the walls and heat of combustion [J].
    peak, peak_angle : ndarray
        Highest pressure [Pa] and its angle after the cylinder's own firing dead centre [deg].
    trapped_mass, trapped_fresh, trapped_burned : ndarray
        When the intake valve is shut [kg].
    trapped_pressure, trapped_temperature : ndarray
        At that moment [Pa], [K].
    opening_pressure : ndarray
        When the exhaust valve opens [Pa].
    """

    work: np.ndarray
    wall_loss: np.ndarray
    released: np.ndarray
    peak: np.ndarray
    peak_angle: np.ndarray
    trapped_mass: np.ndarray
    trapped_fresh: np.ndarray
    trapped_burned: np.ndarray
    trapped_pressure: np.ndarray
    trapped_temperature: np.ndarray
    opening_pressure: np.ndarray


def evaluate(engine, gas, rpm, sums, intake, exhaust, back_pressure):
    """All scalars of an operating point, and some of them by cylinder.

    Parameters
    ----------
    engine : Engine
    gas : PerfectGas or EngineGas
        As the last cycle burned it.
    rpm : float
        Engine speed [rev/min].
    sums : CycleSums
    intake, exhaust : Flows
        At the valves.
    back_pressure : float
        Mean gauge pressure at the exhaust valves [Pa].

    Returns
    -------
    values : dict of float
        By the names of `QUANTITIES`, SI units.
    cylinders : dict of ndarray
        Some of them by cylinder, (n_cyl,).
    """
    Vd, work = engine.displacement, sums.work
    cycles_per_second = rpm / 120.0
    fmep = engine.friction.mean_effective_pressure(
        float(sums.peak.mean()), engine.mean_piston_speed(rpm)
    )
    imep_net = work.sum() / Vd
    bmep = imep_net - fmep
    torque = bmep * Vd / (4.0 * pi)
    air_share = 1.0 - gas.fuel_fraction
    delivered = intake.fresh.sum()  # fresh charge through the intake valves, net
    trapped = sums.trapped_fresh.sum()
    fuel = delivered * gas.fuel_fraction
    ambient = engine.intake.ambient
    reference = float(gas.density(ambient.pressure, ambient.temperature, 0.0, 0.0))
    released = sums.released.sum()
    lam = float(getattr(gas, "lam", float("nan")))
    out_mass, out_energy = -exhaust.mass.sum(), -exhaust.energy.sum()
    out_fresh, out_burned = -exhaust.fresh.sum(), -exhaust.burned.sum()
    power = torque * rpm * pi / 30.0
    values = {
        "torque": torque,
        "power": power,
        "bmep": bmep,
        "imep_gross": (work[:, 0] + work[:, 3]).sum() / Vd,
        "imep_net": imep_net,
        "pmep": -(work[:, 1] + work[:, 2]).sum() / Vd,
        "pmep_exhaust": -work[:, 1].sum() / Vd,
        "pmep_intake": -work[:, 2].sum() / Vd,
        "fmep": fmep,
        "volumetric_efficiency": delivered * air_share / (reference * Vd),
        "air_per_cycle": delivered * air_share,
        "trapped_air": trapped * air_share,
        "residual_fraction": sums.trapped_burned.sum() / sums.trapped_mass.sum(),
        "scavenging_efficiency": trapped / sums.trapped_mass.sum(),
        "trapping_efficiency": _ratio(trapped, delivered),
        "short_circuit": out_fresh,
        "lambda": lam,
        "air_fuel_ratio": air_share / gas.fuel_fraction if gas.fuel_fraction else float("inf"),
        "air_flow": delivered * air_share * cycles_per_second,
        "fuel_flow": fuel * cycles_per_second,
        "exhaust_flow": out_mass * cycles_per_second,
        "bsfc": fuel * cycles_per_second / power if power > 0.0 else float("nan"),
        "exhaust_temperature": _temperature_of(gas, out_energy, out_mass, out_fresh, out_burned),
        "back_pressure": back_pressure,
        "peak_pressure": float(sums.peak.mean()),
        "peak_pressure_angle": float(sums.peak_angle.mean()),
        "trapped_pressure": sums.trapped_pressure.mean(),
        "trapped_temperature": sums.trapped_temperature.mean(),
        "opening_pressure": sums.opening_pressure.mean(),
        "heat_loss": _ratio(sums.wall_loss.sum(), released),
        "indicated_efficiency": _ratio(work.sum(), fuel * getattr(gas, "heating_value", 0.0)),
    }
    cylinders = {
        "imep_net": work.sum(axis=1) * len(work) / Vd,
        "trapped_fresh": sums.trapped_fresh.copy(),
        "residual_fraction": sums.trapped_burned / sums.trapped_mass,
        "peak_pressure": sums.peak.copy(),
        "air": intake.fresh * air_share,
    }
    return {name: float(value) for name, value in values.items()}, cylinders


def _ratio(part, whole):
    """`part` over `whole`, NaN where there is next to no whole."""
    return part / whole if abs(whole) > 1e-6 * abs(part) else float("nan")


def _temperature_of(gas, energy, mass, fresh, burned):
    """Temperature at which `mass` carries the enthalpy `energy`."""
    if mass <= 0.0:
        return float("nan")
    yf, yb, h = fresh / mass, burned / mass, energy / mass
    T = 1000.0
    for _ in range(50):
        step = (h - float(gas.h(T, yf, yb))) / float(gas.cp(T, yf, yb))
        T += step
        if abs(step) < 1e-9 * T:
            break
    return T
