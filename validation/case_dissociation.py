"""Dissociation: what burned gas that dissociates changes in a cycle and between two exhausts.

The library's burned gas keeps its composition.  At the temperatures of combustion real gas
dissociates, which holds heat back near the top and gives it out again on the way down.  Here a
cylinder of the example engine, valves shut, is integrated by scipy with burned gas in equilibrium
by cantera, composition frozen below 1700 K, and once more with frozen gas, beside the library's
march.  All gas has one temperature; a burned zone of its own would be hotter early in the burn and
dissociate somewhat more.

From the pressure with equilibrium follows the heat release that frozen gas would need for the same
pressure.  A Wiebe law with the same heat and a burn so much longer that it gives the same work
stands for it, and two exhausts are compared without and with it.
"""

from dataclasses import replace
from functools import cache

import cantera
import numpy as np
from case_motored_cylinder import P_BOTTOM, RPM, T_BOTTOM, example, turn
from references import references
from scipy.interpolate import CubicSpline, RectBivariateSpline
from scipy.optimize import brentq
from single_zone import BurningZone
from suite import Case, Check

import wavesim as ws
from wavesim.gas.species import T_REFERENCE

SPECIES = ("N2", "O2", "Ar", "CO2", "H2O", "CO", "H2", "OH", "H", "O", "NO", "N")
FUELS = {"methane": "CH4", "propane": "C3H8"}
FUEL_SPECIES = {"iso-octane": "C8H18,isooctane", "toluene": "C7H8"}
FREEZING = 1700.0  # K; chemistry follows the falling temperature no further
TEMPERATURES = np.arange(200.0, 4001.0, 50.0)
PRESSURES = np.geomspace(0.2e5, 300e5, 9)
LAMBDAS = (0.92, 1.0)  # the example's, and stoichiometric
RESIDUAL = 0.05
EFFICIENCY = 0.97
BURN = ws.Wiebe(ca50_deg=9.0, burn_10_90_deg=24.0, efficiency=EFFICIENCY)
TRIED = 5.0  # deg of burn angle, to see what it does to the work
OPENS = 135  # deg after top dead centre: the exhaust valve is about to open
SEEN_BY_EXHAUST = ("work", f"pressure at {OPENS} deg", f"temperature at {OPENS} deg")
COMPARED_LAMBDA = 1.0  # where dissociation does most
COMPARED_RPM = (2500.0, 3500.0, 5000.0, 6500.0)
SETTINGS = ws.Settings(cell_length=0.03, sample_deg=2.0, tolerance=5e-4)


# gas by cantera -----------------------------------------------------------------------------------


@cache
def phase(*names):
    """Ideal-gas phase of some species with the data file of cantera."""
    library = {sp.name: sp for sp in cantera.Species.list_from_file("nasa_gas.yaml")}
    return cantera.Solution(thermo="ideal-gas", species=[library[name] for name in names])


def set_state(gas, T, p, moles):
    """Bring a phase to a temperature [K], pressure [Pa] and composition [mol]."""
    gas.TPX = T, p, {FUEL_SPECIES.get(name, name): n for name, n in moles.items()}


def gas_constant(gas):
    """Of the mixture [J/(kg K)]."""
    return cantera.gas_constant / gas.mean_molecular_weight


class Frozen:
    """Sensible energy e(T, p) [J/kg] and R(T, p) [J/(kg K)] of a fixed composition."""

    def __init__(self, moles):
        gas = phase(*(FUEL_SPECIES.get(name, name) for name in moles))
        set_state(gas, T_REFERENCE, P_BOTTOM, moles)
        zero, self.constant = gas.enthalpy_mass, gas_constant(gas)
        energies = []
        for T in TEMPERATURES:
            set_state(gas, T, P_BOTTOM, moles)
            energies.append(gas.int_energy_mass - zero)
        self.e = lambda T, p: curve(T)
        curve = CubicSpline(TEMPERATURES, energies)

    def R(self, T, p):
        """Gas constant, the same everywhere."""
        return self.constant


class Equilibrium:
    """The same of gas in chemical equilibrium; below `freezing` [K] it keeps its composition.

    Zero is the enthalpy of the undissociated gas `moles` at 298.15 K.
    """

    def __init__(self, moles, freezing=FREEZING):
        gas = phase(*SPECIES)
        set_state(gas, T_REFERENCE, P_BOTTOM, moles)
        zero = gas.enthalpy_mass
        found = np.array([
            [self._state(gas, T, p, moles, freezing) for p in PRESSURES] for T in TEMPERATURES
        ])
        self._e, self._R = (
            RectBivariateSpline(TEMPERATURES, np.log(PRESSURES), field)
            for field in (found[..., 0] - zero, found[..., 1])
        )

    @staticmethod
    def _state(gas, T, p, moles, freezing):
        set_state(gas, max(T, freezing), p, moles)
        gas.equilibrate("TP")
        gas.TP = T, p
        return gas.int_energy_mass, gas_constant(gas)

    def e(self, T, p):
        """Sensible internal energy and what dissociation holds."""
        return self._e.ev(T, np.log(p))

    def R(self, T, p):
        """Gas constant; the more molecules fall apart the larger."""
        return self._R.ev(T, np.log(p))


@cache
def gases(lam):
    """Fresh charge, burned gas frozen and in equilibrium, of gasoline."""
    _, fresh, burned = ws.EngineGas("gasoline", lam).parts
    return Frozen(fresh), Frozen(burned), Equilibrium(burned)


@cache
def closed_flame(name):
    """Temperature [K] and pressure [Pa] of stoichiometric burning at constant volume, 1 atm."""
    fuel = FUELS[name]
    gas = phase(fuel, "O2", "N2")
    gas.TP = T_REFERENCE, cantera.one_atm
    gas.set_equivalence_ratio(1.0, fuel, "O2:1, N2:3.76")
    fresh, density = gas.mole_fraction_dict(), gas.density
    atoms = gas.n_atoms(fuel, "C"), gas.n_atoms(fuel, "H")
    moles = {"CO2": atoms[0] * fresh[fuel], "H2O": 0.5 * atoms[1] * fresh[fuel],
             "N2": fresh["N2"]}
    products = phase(*SPECIES)
    products.TPX = T_REFERENCE, cantera.one_atm, moles
    energy = gas.int_energy_mass - products.enthalpy_mass
    burned = Equilibrium(moles)

    def pressure(T):
        p = 8e5
        for _ in range(30):
            p = density * float(burned.R(T, p)) * T
        return p

    T = brentq(lambda T: float(burned.e(T, pressure(T))) - energy, 1500.0, 3500.0)
    return T, pressure(T)


# one turn of a shut cylinder ----------------------------------------------------------------------


def zone(lam, burned, burn=BURN):
    """The cylinder by scipy."""
    engine, _ = example()
    gas = ws.EngineGas("gasoline", lam)
    start, duration = burn.start_and_duration(RPM)
    one = BurningZone(
        engine, gas, RPM, engine.compression_ratio, P_BOTTOM, T_BOTTOM, wall_heat=True,
        start=start, duration=duration, fresh=gases(lam)[0], burned=burned, residual=RESIDUAL,
    )
    heat = burn.efficiency * gas.heat_per_fresh * (1.0 - RESIDUAL) * one.mass
    return replace(one, heat=heat)


@cache
def frozen_turn(lam, burn=BURN):
    """Compression and expansion with frozen gas, see `SingleZone.turn`."""
    return zone(lam, gases(lam)[1], burn).turn()


@cache
def equilibrium_turn(lam):
    """The same with burned gas in equilibrium."""
    return zone(lam, gases(lam)[2]).turn()


@cache
def marched_turn(lam):
    """The same by the library."""
    gas = ws.EngineGas("gasoline", lam)
    start, duration = BURN.start_and_duration(RPM)
    return turn(gas, (1.0 - RESIDUAL, RESIDUAL), wall_heat=True,
                Q_FRESH=EFFICIENCY * gas.heat_per_fresh, SOC=start, DURATION=duration,
                WIEBE_M=BURN.shape)


def apparent_release(lam):
    """Heat that frozen gas must receive for the pressure of the gas in equilibrium [J].

    Returns
    -------
    theta, heat : ndarray
        Angle after top dead centre [deg], and the heat released until there.
    """
    found, frozen = equilibrium_turn(lam), zone(lam, gases(lam)[1])
    energy = np.array([_energy_of(frozen, *state)
                       for state in zip(found["theta"], found["p"], strict=True)])
    heat = energy - energy[0] + found["works"] + found["losses"]
    return found["theta"], heat


def _energy_of(frozen, theta, p):
    """Energy [J] of the gas of a zone at an angle [deg] and a pressure [Pa]."""
    miss = lambda T: frozen.pressure_at(theta, T) - p  # noqa: E731
    return frozen.energy_at(theta, brentq(miss, 200.0, 3900.0))


@cache
def apparent_burn(lam):
    """A Wiebe law for frozen gas that releases the same heat and gives the same work.

    Its efficiency is that of the apparent release when the exhaust valve opens, and its burn angle
    is as much longer as the work asks for, which falls in proportion.
    """
    theta, heat = apparent_release(lam)
    complete = zone(lam, gases(lam)[1]).heat / BURN.efficiency
    burn = BURN.replace(efficiency=float(np.interp(OPENS, theta, heat)) / complete)
    longer = burn.replace(burn_10_90_deg=burn.burn_10_90_deg + TRIED)
    work, less = (frozen_turn(lam, one)["work"] for one in (burn, longer))
    share = (work - equilibrium_turn(lam)["work"]) / (work - less)
    return burn.replace(burn_10_90_deg=burn.burn_10_90_deg + share * TRIED)


# two exhausts -------------------------------------------------------------------------------------


@cache
def compared(rpm=COMPARED_RPM, settings=SETTINGS):
    """Sweeps of the example's two exhausts by (name of the exhaust, with dissociation)."""
    study = ws.load(ws.demo_path("collector"))
    engine = study.engine.replace(air_fuel_lambda=COMPARED_LAMBDA)
    burns = {False: BURN, True: apparent_burn(COMPARED_LAMBDA)}
    keys = [(name, dissociates) for name in study.exhausts for dissociates in burns]
    sweeps = ws.speed_sweeps(
        [(name, engine.replace(combustion=burns[dissociates]), study.exhausts[name])
         for name, dissociates in keys],
        rpm, settings=settings, threads=1, progress=False,
    )
    return dict(zip(keys, sweeps, strict=True))


def shifts(found):
    """What dissociation moves, by speed.

    Returns
    -------
    ndarray, (n_rpm, 3)
        Torque of the base [%], difference of torque between the exhausts without and with
        dissociation [%].
    """
    a, b = dict.fromkeys(name for name, _ in found)
    torque = {key: sweep["torque"] for key, sweep in found.items()}
    moved = torque[a, True] / torque[a, False] - 1.0
    gains = (torque[b, one] / torque[a, one] - 1.0 for one in (False, True))
    return 100.0 * np.column_stack((moved, *gains))


# --- checks ---------------------------------------------------------------------------------------


def _flame_checks():
    why = ("GRI's data of the species differ a little from those of NASA, and the table between "
           "its points from cantera.")
    for row in references("TH-11"):
        T, p = closed_flame(row.case["fuel"])
        yield Check(f"{row.case['fuel']}, burned at constant volume, {row.quantity}",
                    T if row.quantity == "temperature" else p, row.value, "0.1 %", row.source,
                    why, row.unit)


def values_of(found):
    """Numbers of a turn that are compared: name to (value, unit)."""
    return {
        "work": (found["work"], "J"), "heat to the walls": (found["lost"], "J"),
        "highest pressure": (found["p"].max(), "Pa"),
        f"pressure at {OPENS} deg": (found["p"][180 + OPENS], "Pa"),
        f"temperature at {OPENS} deg": (found["T"][180 + OPENS], "K"),
    }


def _march_checks():
    why = "The library fits its heat capacities to NASA's species within 0.1 %."
    for lam in LAMBDAS:
        law = values_of(frozen_turn(lam))
        for name, (ours, unit) in values_of(marched_turn(lam)).items():
            yield Check(f"frozen gas, lambda {lam:g}: {name}", ours, law[name][0], "0.1 %",
                        "first law by scipy, gas by cantera", why, unit)


def _apparent_checks():
    why = ("The work is made equal; a Wiebe law has a shorter tail than the apparent heat release, "
           "so that a part of one per cent of the heat to the walls goes elsewhere.")
    for lam in LAMBDAS:
        law = values_of(equilibrium_turn(lam))
        ours = values_of(frozen_turn(lam, apparent_burn(lam)))
        for name in SEEN_BY_EXHAUST:
            yield Check(f"frozen gas with the apparent burn, lambda {lam:g}: {name}", ours[name][0],
                        law[name][0], "0.5 %", "first law by scipy, equilibrium by cantera", why,
                        ours[name][1])


# --- tables ---------------------------------------------------------------------------------------


def _turn_table():
    rows = ["| | lambda | frozen | equilibrium | change [%] |", "|---|---:|---:|---:|---:|"]
    for lam in LAMBDAS:
        old, new = values_of(frozen_turn(lam)), values_of(equilibrium_turn(lam))
        for name, (value, unit) in old.items():
            factor, unit = (1e-5, "bar") if unit == "Pa" else (1.0, unit)
            rows.append(f"| {name} [{unit}] | {lam:g} | {factor * value:.2f} | "
                        f"{factor * new[name][0]:.2f} | {100 * (new[name][0] / value - 1):+.2f} |")
    return "\n".join(rows)


def _burn_sentence(lam):
    burn = apparent_burn(lam)
    return (f"lambda {lam:g}: {burn.burn_10_90_deg - BURN.burn_10_90_deg:+.1f} deg of burn angle, "
            f"efficiency times {burn.efficiency / BURN.efficiency:.4f}")


def _other_sentence():
    law, ours = equilibrium_turn(1.0), frozen_turn(1.0, apparent_burn(1.0))
    peak, lost = (100.0 * (found / wanted - 1.0) for found, wanted in (
        (ours["p"].max(), law["p"].max()), (ours["lost"], law["lost"])))
    return (f"What the exhaust does not see is met less well: at lambda 1 the highest pressure is "
            f"{peak:+.1f} % and the heat to the walls {lost:+.1f} % off.")


def _exhaust_table(found):
    a, b = dict.fromkeys(name for name, _ in found)
    rows = [f"| rev/min | torque of {a} [%] | exhaust temperature [K] | pressure at exhaust "
            f"opening [%] | {b} over {a}, frozen [%] | the same, dissociation [%] |",
            "|---:|---:|---:|---:|---:|---:|"]
    old, new = found[a, False], found[a, True]
    for i, (moved, frozen, dissociating) in enumerate(shifts(found)):
        hotter = new["exhaust_temperature"][i] - old["exhaust_temperature"][i]
        pressure = 100.0 * (new["opening_pressure"][i] / old["opening_pressure"][i] - 1.0)
        rows.append(f"| {old.rpm[i]:g} | {moved:+.2f} | {hotter:+.0f} | {pressure:+.2f} | "
                    f"{frozen:+.2f} | {dissociating:+.2f} |")
    return "\n".join(rows)


def notes(found):
    """Tables of what dissociation moves, as Markdown."""
    widest = max(abs(new - old) for _, old, new in shifts(found))
    return (
        "What dissociation changes in the shut cylinder:\n\n" + _turn_table(),
        "The burn that stands for it with frozen gas, beside the stated one: "
        + "; ".join(_burn_sentence(lam) for lam in LAMBDAS) + ".  " + _other_sentence(),
        f"What it changes in the example engine at lambda {COMPARED_LAMBDA:g}, and in the "
        "difference between its exhausts:\n\n" + _exhaust_table(found)
        + f"\n\nThe difference moves by at most {widest:.2f} % of torque.",
    )


def draw(found):
    """Apparent heat release, and the difference between two exhausts with and without."""
    upper, lower = axes = ws.plots.new_axes(2, height=3.3)
    for i, lam in enumerate(LAMBDAS):
        theta, heat = apparent_release(lam)
        complete = zone(lam, gases(lam)[1]).heat
        upper.plot(theta, 100.0 * heat / complete, color=ws.plots.COLOURS[i],
                   label=f"apparent, lambda {lam:g}")
    stated = [100.0 * BURN.burned_fraction(angle, RPM) for angle in theta]
    upper.plot(theta, stated, "--", color=ws.plots.REFERENCE, label="stated")
    upper.set_xlim(-30, OPENS)
    upper.set_ylabel("heat released [%]")
    upper.set_xlabel("crank angle after top dead centre [deg]")
    upper.set_title("Heat release that frozen gas needs for the pressure with dissociation",
                    loc="left")
    for i, name in enumerate(dict.fromkeys(name for name, _ in found)):
        old, new = found[name, False], found[name, True]
        lower.plot(old.rpm, 100.0 * (new["torque"] / old["torque"] - 1.0), "ox"[i] + "-",
                   color=ws.plots.COLOURS[i], label=name)
    _, frozen, dissociating = shifts(found).T
    lower.plot(old.rpm, dissociating - frozen, "s--", color=ws.plots.REFERENCE,
               label="difference between them")
    lower.set_ylim(-2.0, 1.0)
    lower.set_xlabel("engine speed [rev/min]")
    lower.set_ylabel("change of torque [%]")
    lower.set_title(f"What it moves in the example engine, lambda {COMPARED_LAMBDA:g}", loc="left")
    for ax in axes:
        ax.legend(frameon=False)
    return axes


def run():
    """All checks, apparent heat release and exhausts as a figure, tables as notes."""
    found = compared()
    return Case((*_flame_checks(), *_march_checks(), *_apparent_checks()), draw(found),
                notes(found))
