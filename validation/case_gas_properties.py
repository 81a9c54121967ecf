"""Working gas against cantera: heat capacity, enthalpy, sound speed, expansion, flames, transport.

Air, fresh charge and burned gas of several fuels and mixture strengths from 250 to 2500 K, the
composition frozen: the largest deviations from cantera, a library of chemical thermodynamics, with
its data for the same species.  Then what an engine does with the gas: isentropic compression and
expansion, the heat of rich combustion, the frozen flame temperature and the air need; and the
viscosity of air, which stands for that of every part.
"""

from functools import cache

import cantera
import numpy as np
from scipy.integrate import quad
from scipy.optimize import brentq
from suite import Case, Check

import wavesim as ws
from wavesim.gas.fuels import DRY_AIR, burned_moles, fresh_moles
from wavesim.gas.models import FUELS, EngineGas
from wavesim.gas.species import SPECIES, T_REFERENCE, mixture_mass

AIR, FRESH, BURNED = (0.0, 0.0), (1.0, 0.0), (0.0, 1.0)
PART_INDEX = {AIR: 0, FRESH: 1, BURNED: 2}
PART_NAME = {AIR: "air", FRESH: "charge", BURNED: "burned gas"}
CANTERA_NAMES = {"iso-octane": "C8H18,isooctane", "toluene": "C7H8"}
CANTERA_NAMES |= {"ethanol": "C2H5OH", "methanol": "CH3OH"}
MIXTURES = (("gasoline", 0.8), ("gasoline", 1.0), ("gasoline", 1.2), ("ethanol", 1.0),
            ("methanol", 1.0))
SPAN = np.concatenate([np.arange(250.0, 296.0, 5.0), np.arange(300.0, 2501.0, 10.0)])  # K
SOURCE = "cantera, Goodwin et al., with its NASA polynomials"


# cantera --------------------------------------------------------------------------------------


@cache
def phase():
    """Ideal-gas phase of our species with the data file of cantera."""
    wanted = [CANTERA_NAMES.get(name, name) for name in SPECIES]
    library = {sp.name: sp for sp in cantera.Species.list_from_file("nasa_gas.yaml")}
    return cantera.Solution(thermo="ideal-gas", species=[library[name] for name in wanted])


def set_moles(library, T, moles, p=1e5):
    """Bring a phase to a temperature [K], composition [mol] and pressure [Pa]."""
    library.TPX = T, p, {CANTERA_NAMES.get(name, name): n for name, n in moles.items()}


def cantera_cp_and_h(library, moles, temperatures):
    """cp [J/(kg K)] and h with heats of formation [J/kg] by cantera."""
    cps, hs = [], []
    for T in temperatures:
        set_moles(library, T, moles)
        cps.append(library.cp_mass)
        hs.append(library.enthalpy_mass)
    return np.array(cps), np.array(hs)


def formation(library, moles):
    """Enthalpy of formation [J/kg] by cantera."""
    return cantera_cp_and_h(library, moles, [T_REFERENCE])[1][0]


def vapour_burning(name, library):
    """The fuel with the heating value of its vapour by cantera."""
    fuel = FUELS[name]
    fresh, burned = fresh_moles(fuel, 1.0), burned_moles(fuel, 1.0)
    fall = formation(library, fresh) - formation(library, burned)
    return fuel.replace(lower_heating_value=fall * mixture_mass(fresh))


def isentropic_flux(moles, T, p, p_out):
    """Largest mass flux [kg/(m2 s)] of a nozzle from rest at (p, T) to `p_out` [Pa], by cantera."""
    gas = phase()
    set_moles(gas, T, moles, p)
    entropy, total = gas.s, gas.h

    def flux(throat):
        gas.SP = entropy, throat
        return gas.density * np.sqrt(2.0 * max(0.0, total - gas.h))

    return max(flux(throat) for throat in np.linspace(max(p_out, 0.4 * p), p, 1000))


# ours -----------------------------------------------------------------------------------------


def compressed(gas, T1, ratio, part=AIR):
    """Temperature after isentropic compression by a volume ratio."""

    def entropy_change(T2):
        heat = quad(lambda T: float(gas.cv(T, *part)) / T, T1, T2)[0]
        return heat - float(gas.R(*part)) * np.log(ratio)

    return brentq(entropy_change, 250.0, 2500.0, xtol=1e-6)


def flame_temperature(gas):
    """Temperature of frozen products that keep the enthalpy of charge at 298.15 K [K]."""
    return brentq(lambda T: float(gas.h(T, *BURNED)) - gas.heat_per_fresh, 500.0, 3500.0)


def library_flame(gas):
    """The same by cantera."""
    library = phase()
    set_moles(library, T_REFERENCE, gas.parts[1])
    enthalpy = library.enthalpy_mass
    set_moles(library, T_REFERENCE, gas.parts[2])
    library.HP = enthalpy, 1e5
    return library.T


def properties(gas, part):
    """(ours, cantera's) cp, enthalpy rise, gamma and sound speed over `SPAN`, by their names."""
    moles = gas.parts[PART_INDEX[part]]
    cp, h = cantera_cp_and_h(phase(), moles, SPAN)
    set_moles(phase(), 300.0, moles)
    gas_R = cantera.gas_constant / phase().mean_molecular_weight
    gamma = cp / (cp - gas_R)
    return {
        "cp": (gas.cp(SPAN, *part), cp),
        "enthalpy above 298.15 K": (gas.h(SPAN, *part), h - formation(phase(), moles)),
        "ratio of heat capacities": (gas.gamma(SPAN, *part), gamma),
        "sound speed": (gas.sound_speed(SPAN, *part), np.sqrt(gamma * gas_R * SPAN)),
    }


def label(gas, part):
    """Name of a part for reports."""
    if part == AIR:
        return "air"
    return f"{PART_NAME[part]} of {gas.fuel.name}, lambda {gas.lam:g}"


BOUNDS = {
    "cp": ("0.5 %", "J/(kg K)", "One polynomial of eight terms from 250 to 2500 K bridges the bend "
           "of the species data at 1000 K; wave speeds follow with a sixth of it."),
    "enthalpy above 298.15 K": ("0.2 %", "J/kg", "The heat given to walls and left in the exhaust "
                                "follows; the fit weighs it against cp."),
    "ratio of heat capacities": ("0.2 %", "", "The error of cp, 0.5 %, times gamma - 1."),
    "sound speed": ("0.1 %", "m/s", "Half the error of the ratio of heat capacities; the gas "
                    "constant is exact."),
}


def parts():
    """All (gas, part) that are compared."""
    yield EngineGas(), AIR
    for part in (FRESH, BURNED):
        for fuel, lam in MIXTURES:
            yield EngineGas(fuel, lam), part


def _property_checks():
    for gas, part in parts():
        for name, (ours, reference) in properties(gas, part).items():
            i = int(np.argmax(np.abs(ours / reference - 1.0)))
            allowed, unit, why = BOUNDS[name]
            yield Check(f"{name}, {label(gas, part)}, worst at {SPAN[i]:g} K", ours[i],
                        reference[i], allowed, SOURCE, why, unit)


# (gas and part, temperature at the start [K], new volume over old)
STROKES = (
    (EngineGas(), AIR, 320.0, 1.0 / 8.0), (EngineGas(), AIR, 320.0, 1.0 / 12.0),
    (EngineGas("gasoline"), FRESH, 320.0, 1.0 / 10.0),
    (EngineGas("gasoline"), BURNED, 2400.0, 10.0),
    (EngineGas("gasoline", 0.8), BURNED, 2400.0, 10.0),
)


def _stroke_checks():
    for gas, part, T, growth in STROKES:
        set_moles(phase(), T, gas.parts[PART_INDEX[part]])
        phase().SV = phase().s, phase().v * growth
        verb, times = ("compressed", 1.0 / growth) if growth < 1.0 else ("expanded", growth)
        yield Check(
            f"temperature of {label(gas, part)}, {T:g} K, {verb} {times:.0f} times",
            compressed(gas, T, 1.0 / growth, part), phase().T, "0.1 %", SOURCE,
            "The errors of cp on the way largely cancel.", "K",
        )


def _flame_checks():
    for fuel in ("iso-octane", "ethanol", "methanol"):
        for lam in (0.8, 1.0, 1.2):
            gas = EngineGas(vapour_burning(fuel, phase()), lam)
            yield Check(
                f"frozen flame temperature of {fuel}, lambda {lam:g}, from 298.15 K",
                flame_temperature(gas), library_flame(gas), "0.02 %", SOURCE,
                "The enthalpy of hot products is fitted to some parts in ten thousand.", "K",
            )
        gas = EngineGas(vapour_burning(fuel, phase()), 0.8)
        fall = formation(phase(), gas.parts[1]) - formation(phase(), gas.parts[2])
        yield Check(
            f"heat of rich charge of {fuel}, lambda 0.8", gas.heat_per_fresh, fall, "0.001 %",
            SOURCE, "Heats of formation are those of the same data to six digits.", "J/kg",
        )
    for fuel in FUELS.values():
        vapour = {CANTERA_NAMES.get(name, name): n for name, n in fuel.vapour.items()}
        yield Check(
            f"air need of {fuel.name}", EngineGas(fuel).air_fuel_ratio,
            phase().stoich_air_fuel_ratio(vapour, dict(DRY_AIR)), "0.01 %", SOURCE,
            "Counting atoms is exact; the formulas of mixed fuels are rounded.", "kg/kg",
        )


@cache
def kinetic():
    """Phase with transport data of GRI-Mech 3.0, mixture-averaged."""
    found = cantera.Solution("gri30.yaml")
    found.transport_model = "mixture-averaged"
    return found


def kinetic_at(T, moles):
    """(viscosity [Pa s], conductivity [W/(m K)]) by kinetic theory."""
    kinetic().TPX = T, 1e5, {name.upper(): n for name, n in moles.items()}
    return kinetic().viscosity, kinetic().thermal_conductivity


CARRIED = ((EngineGas(), AIR, (300.0, 600.0, 1000.0)),
           (EngineGas("gasoline"), BURNED, (600.0, 1000.0, 1500.0)),
           (EngineGas("gasoline", 0.8), BURNED, (600.0, 1000.0, 1500.0)))


def _transport_checks():
    source = "cantera with GRI-Mech 3.0, mixture-averaged"
    for gas, part, temperatures in CARRIED:
        for T in temperatures:
            viscosity, conductivity = kinetic_at(T, gas.parts[PART_INDEX[part]])
            yield Check(
                f"viscosity of {label(gas, part)}, {T:g} K", gas.viscosity(T), viscosity, "7 %",
                source, "Sutherland's law of air serves all parts; friction goes with the fifth "
                "root of viscosity, so that 7 % of it are 1.4 % of friction.", "Pa s",
            )
            yield Check(
                f"conductivity of {label(gas, part)}, {T:g} K", gas.conductivity(T, *part),
                conductivity, "10 %", source,
                "From that viscosity and one Prandtl number, while hydrogen lowers that of rich "
                "products to 0.67; heat to walls follows with less, as both errors oppose.",
                "W/(m K)",
            )


def dissociation():
    """Note on what frozen composition leaves out."""
    rows = ["| T [K] | cp frozen [J/(kg K)] | cp in equilibrium | bound energy [kJ/kg] |",
            "|---:|---:|---:|---:|"]
    gas = cantera.Solution("gri30.yaml")
    moles = {name.upper(): n for name, n in EngineGas("gasoline").parts[2].items()}
    for T in (1500.0, 1800.0, 2100.0, 2400.0):
        gas.TPX = T, 40e5, moles
        frozen, start = gas.cp_mass, gas.enthalpy_mass
        gas.equilibrate("TP")
        first = gas.enthalpy_mass
        gas.TP = T + 1.0, 40e5
        gas.equilibrate("TP")
        rows.append(f"| {T:g} | {frozen:.0f} | {gas.enthalpy_mass - first:.0f} "
                    f"| {1e-3 * (first - start):.1f} |")
    return "\n".join(rows)


FROZEN = """Left out on purpose: composition is frozen. Products of gasoline in equilibrium at
40 bar bind energy and take up more heat: next to nothing in an exhaust, much in the flame. The
bound energy over cp is by how much the temperature of a frozen flame is too high."""


def draw():
    """Deviations of cp and enthalpy over temperature, and transport over temperature."""
    axes = ws.plots.new_axes(3, height=3.0)
    shown = ((EngineGas(), AIR), (EngineGas("gasoline"), FRESH), (EngineGas("gasoline"), BURNED),
             (EngineGas("gasoline", 0.8), BURNED))
    for colour, (gas, part) in zip(ws.plots.COLOURS, shown, strict=False):
        found = properties(gas, part)
        for ax, name in zip(axes, ("cp", "enthalpy above 298.15 K"), strict=False):
            ours, reference = found[name]
            ax.plot(SPAN, 100.0 * (ours / reference - 1.0), color=colour, label=label(gas, part))
    for ax, name, bound in ((axes[0], "cp", 0.5), (axes[1], "enthalpy", 0.2)):
        ax.set(ylabel=f"{name}: difference [%]", ylim=(-1.5 * bound, 2.2 * bound))
        for edge in (-bound, bound):
            ax.axhline(edge, color=ws.plots.REFERENCE, ls=":")
    T = np.arange(300.0, 2001.0, 50.0)
    for colour, (gas, part, _) in zip(np.array(ws.plots.COLOURS)[[0, 2, 3]], CARRIED, strict=True):
        library = [kinetic_at(t, gas.parts[PART_INDEX[part]])[0] for t in T]
        axes[2].plot(T, 1e6 * np.array(library), color=colour, label=label(gas, part))
    axes[2].plot(T, 1e6 * EngineGas().viscosity(T), "--", color=ws.plots.REFERENCE,
                 label="used for all")
    axes[2].set(ylabel="viscosity [µPa s]", xlabel="temperature [K]")
    for ax in axes:
        ax.set_xlim(250.0, 2500.0)
    for ax in axes[[0, 2]]:
        ax.legend(frameon=False, ncols=2, fontsize="small")
    axes[0].set_title("Difference from cantera; dotted: bound", loc="left")
    axes[2].set_title("Kinetic theory by cantera, and Sutherland's law of air", loc="left")
    return axes


def run():
    """Properties, strokes, flames, transport."""
    checks = (*_property_checks(), *_stroke_checks(), *_flame_checks(), *_transport_checks())
    return Case(checks, draw(), (FROZEN, dissociation()))
