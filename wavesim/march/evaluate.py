"""From what a cycle left behind to the quantities of an operating point: pure functions."""

from math import pi
from typing import NamedTuple

import numpy as np

from wavesim.show.quantities import CYLINDERS, QUANTITIES

PUMPING = ("exhaust", "recompression", "intake")  # parts of pmep, which they add up to
STROKES = ("expansion", "exhaust", "intake", "compression")  # from firing dead centre on
#: Quantities that are plain means of the cylinders.
_MEANS = (
    "peak_pressure", "peak_pressure_angle", "trapped_pressure", "trapped_temperature",
    "opening_pressure", "burn_angle_10", "burn_angle_50", "burn_angle_90",
    "overlap_exhaust_pressure", "overlap_pressure_difference", "overlap_lowest_pressure",
    "overlap_lowest_angle", "overlap_highest_pressure", "overlap_highest_angle",
)


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
    wall_heat, released_heat : ndarray
        Heat to the walls and heat of combustion [J].
    burned_charge : ndarray
        Fresh charge that burned [kg].
    peak_pressure, peak_pressure_angle : ndarray
        Highest pressure [Pa] and its angle after the cylinder's own firing dead centre, 0 to 720
        [deg].
    trapped_mass, trapped_fresh, trapped_burned : ndarray
        When the intake valve is shut [kg].
    trapped_pressure, trapped_temperature : ndarray
        At that moment [Pa], [K].
    opening_pressure, opening_temperature, opening_mass : ndarray
        When the exhaust valve opens [Pa], [K], [kg].
    """

    work: np.ndarray
    wall_heat: np.ndarray
    released_heat: np.ndarray
    burned_charge: np.ndarray
    peak_pressure: np.ndarray
    peak_pressure_angle: np.ndarray
    trapped_mass: np.ndarray
    trapped_fresh: np.ndarray
    trapped_burned: np.ndarray
    trapped_pressure: np.ndarray
    trapped_temperature: np.ndarray
    opening_pressure: np.ndarray
    opening_temperature: np.ndarray
    opening_mass: np.ndarray


def amounts_of(sums, intake, exhaust, back_pressure, burn, exchange):
    """What a cycle left behind, by cylinder and under the names of `CYLINDERS`.

    Parameters
    ----------
    sums : CycleSums
    intake, exhaust : Flows
        At the valves.
    back_pressure : ndarray, (n_cyl,)
        Mean gauge pressure at each exhaust valve [Pa].
    burn : ndarray, (3, n_cyl)
        Angles at which 10 %, 50 % and 90 % were burned, after the cylinder's own firing dead
        centre [deg].
    exchange : mapping of ndarray, each (n_cyl,)
        From `wavesim.march.exchange.exchange_of`.

    Returns
    -------
    dict of ndarray, each (n_cyl,)
    """
    held = sums._asdict()
    work, angle = held.pop("work"), held.pop("peak_pressure_angle")
    return {
        **{f"work_{stroke}": work[:, i] for i, stroke in enumerate(STROKES)},
        **held,
        "peak_pressure_angle": np.where(angle > 360.0, angle - 720.0, angle),
        **{f"intake_{name}": amount for name, amount in intake._asdict().items()},
        "exhaust_mass": -exhaust.mass,
        "exhaust_energy": -exhaust.energy,
        "exhaust_burned": -exhaust.burned,
        "short_circuit": -exhaust.fresh,
        "back_pressure": back_pressure,
        **{f"burn_angle_{share}": own for share, own in zip((10, 50, 90), burn, strict=True)},
        **exchange,
    }


def evaluate(engine, gas, rpm, amounts, back_pressure, air):
    """All scalars of an operating point, and what each cylinder has for itself.

    Parameters
    ----------
    engine : Engine
    gas : PerfectGas or EngineGas
        As the last cycle burned it.
    rpm : float
        Engine speed [rev/min].
    amounts : mapping of ndarray, each (n_cyl,)
        From `amounts_of`; the `cylinders` of a Point give its `values` again, to the last bit.
    back_pressure : float
        Mean gauge pressure at the exhaust valves [Pa].
    air : Beyond
        The air at the intake: pressure [Pa] and temperature [K] to which the volumetric efficiency
        refers.  All quantities of air are of dry air, as burning and the air-fuel ratio ask for.

    Returns
    -------
    values : dict of float
        By the names of `QUANTITIES`, SI units.
    cylinders : dict of ndarray, each (n_cyl,)
        By the names of `CYLINDERS`: the amounts, and quantities of each cylinder alone.
    """
    own = {**amounts, **_of_gas(engine, gas, air, amounts, _each, len(amounts["trapped_mass"]))}
    own["burn_duration"] = amounts["burn_angle_90"] - amounts["burn_angle_10"]
    values = _of_gas(engine, gas, air, amounts, np.sum, 1)
    values |= {name: amounts[name].mean() for name in _MEANS}
    values |= _of_crank(engine, gas, rpm, amounts, values)
    values |= {
        "back_pressure": back_pressure,
        "burn_duration": own["burn_duration"].mean(),
        "imep_spread": _spread(own["imep_net"]),
        "volumetric_efficiency_spread": _spread(own["volumetric_efficiency"]),
        "residual_fraction_spread": _spread(own["residual_fraction"]),
        "peak_pressure_spread": _spread(own["peak_pressure"]),
    }
    return (
        {name: float(values[name]) for name in QUANTITIES},
        {name: np.array(own[name]) for name in CYLINDERS},
    )


def _each(amounts):
    """Amounts of each cylinder alone, (n_cyl,), in place of the sum of all."""
    return amounts.reshape(len(amounts), -1).sum(axis=1)


def _of_gas(engine, gas, air, amounts, total, count):
    """Quantities of all cylinders together or of each.

    `total` makes them one, `count` is how often its result goes into the swept volume.
    """
    Vd = engine.displacement / count
    work = np.column_stack([amounts[f"work_{stroke}"] for stroke in STROKES])
    air_share = 1.0 - gas.fuel_fraction
    delivered = total(amounts["intake_fresh"])  # fresh charge through the intake valves, net
    trapped, mass = total(amounts["trapped_fresh"]), total(amounts["trapped_mass"])
    dry_share = air_share * (1.0 - gas.humidity)
    reference = float(gas.density(air.pressure, air.temperature, 0.0, 0.0))
    charge = float(gas.density(air.pressure, air.temperature, 1.0, 0.0))
    fuel = delivered * gas.fuel_fraction
    out = [total(amounts[name]) for name in (
        "exhaust_energy", "exhaust_mass", "short_circuit", "exhaust_burned")]
    return {
        "imep_gross": total(work[:, 0] + work[:, 3]) / Vd,
        "imep_net": total(work) / Vd,
        "pmep": -total(work[:, 1] + work[:, 2]) / Vd,
        **{f"pmep_{part}": total(amounts[f"pumping_{part}"]) / Vd for part in PUMPING},
        "blowdown_loss": total(amounts["blowdown_work"]) / Vd,
        "volumetric_efficiency": delivered * air_share / (reference * Vd),
        "delivery_ratio": delivered / (charge * Vd),
        "charging_efficiency": trapped / (charge * Vd),
        "air_per_cycle": delivered * dry_share,
        "trapped_air": trapped * dry_share,
        "residual_fraction": total(amounts["trapped_burned"]) / mass,
        "scavenging_efficiency": trapped / mass,
        "trapping_efficiency": _ratio(trapped, delivered),
        "short_circuit": out[2],
        "overlap_exhaust_backflow": total(amounts["overlap_exhaust_backflow"]),
        "overlap_intake_backflow": total(amounts["overlap_intake_backflow"]),
        "exhaust_temperature": _temperature_of(gas, *out),
        "heat_loss_share": _ratio(total(amounts["wall_heat"]), total(amounts["released_heat"])),
        "indicated_efficiency": _ratio(total(work), fuel * getattr(gas, "heating_value", 0.0)),
    }


def _of_crank(engine, gas, rpm, amounts, values):
    """Quantities that only the engine as a whole has; `values` holds those of its gas."""
    cycles_per_second = rpm / 120.0
    fmep = engine.friction.mean_effective_pressure(
        float(values["peak_pressure"]), engine.mean_piston_speed(rpm)
    )
    bmep = values["imep_net"] - fmep
    torque = bmep * engine.displacement / (4.0 * pi)
    power = torque * rpm * pi / 30.0
    fuel = gas.fuel_fraction
    fuel_mass_flow = amounts["intake_fresh"].sum() * fuel * cycles_per_second
    return {
        "torque": torque,
        "power": power,
        "bmep": bmep,
        "fmep": fmep,
        "air_fuel_lambda": getattr(gas, "lam", float("nan")),
        "air_fuel_ratio": (1.0 - fuel) * (1.0 - gas.humidity) / fuel if fuel else float("inf"),
        "air_mass_flow": values["air_per_cycle"] * cycles_per_second,
        "fuel_mass_flow": fuel_mass_flow,
        "exhaust_mass_flow": amounts["exhaust_mass"].sum() * cycles_per_second,
        "bsfc": fuel_mass_flow / power if power > 0.0 else float("nan"),
    }


def _spread(values):
    """Largest less smallest over the size of the mean."""
    return _ratio(values.max() - values.min(), abs(values.mean()))


def _ratio(part, whole):
    """`part` over `whole`, NaN where there is next to no whole."""
    there = np.abs(whole) > 1e-6 * np.abs(part)
    return np.where(there, part, np.nan) / np.where(there, whole, 1.0)


def _temperature_of(gas, energy, mass, fresh, burned):
    """Temperature at which `mass` carries the enthalpy `energy`, NaN where none is found."""
    there = mass > 0.0
    yf, yb, h = (np.where(there, part, 0.0) / np.where(there, mass, 1.0)
                 for part in (fresh, burned, energy))
    T = np.full(np.shape(mass), 1000.0)
    for _ in range(50):
        step = (h - gas.h(T, yf, yb)) / gas.cp(T, yf, yb)
        T = T + step
        if np.all(np.abs(step) < 1e-9 * T):
            break
    return np.where(there & (np.abs(step) < 1e-9 * T), T, np.nan)
