"""Fuels by name, and what a kilogram of fuel makes with air: fresh charge and burned products.

Mixtures are dicts from species name to moles.  The excess-air ratio `lam` is the air supplied
over the air needed to burn all carbon to CO2 and all hydrogen to H2O.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from math import sqrt

from wavesim.errors import InputError, check_choice, check_number, shown
from wavesim.fields.description import Description, Named, checked, number, text
from wavesim.gas.species import (
    ATOMIC_MASS,
    SPECIES,
    T_REFERENCE,
    h,
    mixture_mass,
    molar_mass,
)

# Constant of CO2 + H2 = CO + H2O in rich exhaust gas: Heywood, Internal Combustion Engine
# Fundamentals (1988), section 4.9 (from memory); the equilibrium value of about 1740 K.
WATER_GAS_CONSTANT = 3.5


def amounts(owner, name, value):
    """`value` as a Named mapping from known species to positive amounts [mol], in any scale."""
    try:
        pairs = [(key, n) for key, n in (value.items() if isinstance(value, Mapping) else value)]
    except (TypeError, ValueError):
        message = f"{owner}: {name} = {shown(value)} must map species names to moles [mol]."
        raise InputError(message) from None
    checked_pairs = [
        (
            check_choice(owner, f"{name} species", species, SPECIES),
            check_number(owner, f"{name}[{species!r}]", n, "mol", 0.0, 1e6, low_open=True),
        )
        for species, n in pairs
    ]
    if not checked_pairs:
        raise InputError(f"{owner}: {name} is empty, at least one species is needed.")
    return Named(checked_pairs, owner=f"{owner}: {name}")


def air_amounts(owner, name, value):
    """`value` as `amounts`, O2 among them."""
    air = amounts(owner, name, value)
    if "O2" not in air:
        raise InputError(
            f"{owner}: {name} = {shown(value)} mol holds no O2, more than 0 mol is needed."
        )
    return air


#: Dry air in mole percent; carbon dioxide (0.03 %) is counted with argon.  Hence 3.773 mol of
#: nitrogen and argon per mole of oxygen and 28.96 g/mol: Heywood (1988), table 3.1, from memory.
DRY_AIR = Named({"O2": 20.95, "N2": 78.09, "Ar": 0.96}, owner="DRY_AIR")

#: Surrogate of gasoline vapour with H/C = 1.87 and 106 g/mol.
GASOLINE_VAPOUR = Named({"iso-octane": 0.626, "toluene": 0.374}, owner="GASOLINE_VAPOUR")


@dataclass(frozen=True, kw_only=True)
class Fuel(Description):
    """A fuel: its atoms, its heating value, and the vapour that it forms in the fresh charge.

    Parameters
    ----------
    name : str
        For reports.
    C, H, O : float
        Atoms of carbon, hydrogen and oxygen, per molecule or in any other ratio (CH1.85).
    lower_heating_value : float
        Heat of complete combustion at 298.15 K and constant pressure, water as vapour, of the
        fuel as metered, that is liquid [J/kg], 1e6 to 1.5e8.  The heat of evaporation is thereby
        taken from the heat release and not from the intake air.
    vapour : mapping of str to float
        Moles of the species (keys of `wavesim.gas.species.SPECIES`) that stand for the vapour; they
        give its heat capacity and molar mass.
    density : float
        Density of the liquid [kg/m3], 1 to 2000; used by `blend`.
    source : str
        Where the numbers come from.

    Raises
    ------
    InputError
        If a value is outside its range or a species is unknown.

    Examples
    --------
    >>> pump = Fuel(name="pump", C=1, H=1.85, O=0, lower_heating_value=43e6)
    >>> round(pump.stoichiometric_ratio(), 2)
    14.57
    """

    name: str = text()
    C: float = number("1", 0.0, 100.0)
    H: float = number("1", 0.0, 300.0)
    O: float = number("1", 0.0, 100.0)  # noqa: E741
    lower_heating_value: float = number("J/kg", 1e6, 1.5e8)
    vapour: Named = checked(amounts, GASOLINE_VAPOUR)
    density: float = number("kg/m3", 1.0, 2000.0, 745.0)
    source: str = text("")

    def _check(self):
        if self.oxygen_need <= 0.0:
            self._refuse(
                f"C = {self.C:g}, H = {self.H:g}, O = {self.O:g} atoms need no oxygen to burn: "
                "C + H/4 must exceed O/2 (no unit)."
            )

    @property
    def formula_mass(self) -> float:
        """Mass of the formula C, H, O as written [kg/mol]."""
        return sum(getattr(self, element) * ATOMIC_MASS[element] for element in "CHO")

    @property
    def oxygen_need(self) -> float:
        """Moles of O2 that burn one mole of the formula completely [1]."""
        return self.C + self.H / 4.0 - self.O / 2.0

    @property
    def vapour_molar_mass(self) -> float:
        """Molar mass of the vapour [kg/mol]."""
        return mixture_mass(self.vapour) / sum(self.vapour.values())

    def stoichiometric_ratio(self, air: Mapping[str, float] = DRY_AIR) -> float:
        """Mass of air that burns unit mass of fuel completely [kg/kg].

        Parameters
        ----------
        air : mapping of str to float
            Moles of the species of the air, O2 among them.
        """
        air_per_oxygen = mixture_mass(air) / air["O2"]
        return self.oxygen_need * air_per_oxygen / self.formula_mass


def fresh_moles(fuel, lam, air=DRY_AIR):
    """Moles in the fresh charge that holds one kilogram of fuel, as vapour.

    Parameters
    ----------
    fuel : Fuel
        The fuel.
    lam : float
        Excess-air ratio [1].
    air : mapping of str to float
        Moles of the species of the air, O2 among them.

    Returns
    -------
    dict
        Species name to moles.
    """
    scale = lam * fuel.oxygen_need / fuel.formula_mass / air["O2"]
    moles = {name: n * scale for name, n in air.items()}
    vapour_mass = mixture_mass(fuel.vapour)
    for name, n in fuel.vapour.items():
        moles[name] = moles.get(name, 0.0) + n / vapour_mass
    return moles


def burned_moles(fuel, lam, air=DRY_AIR):
    """Moles of products of one kilogram of fuel, not dissociated.

    Parameters
    ----------
    fuel : Fuel
        The fuel.
    lam : float
        Excess-air ratio [1], 0.5 or more.
    air : mapping of str to float
        Moles of the species of the air, O2 among them.

    Returns
    -------
    dict
        Species name to moles: CO2, H2O, O2 if lean, CO and H2 if rich; the rest of the air.

    Notes
    -----
    Rich products hold no oxygen; the carbon and hydrogen that it cannot burn appear as CO and
    H2 in the ratio ``CO H2O = 3.5 CO2 H2``.  With totals C, H, O that is a quadratic in CO2.
    Heywood (1988), section 4.9, from memory.
    """
    scale = lam * fuel.oxygen_need / fuel.formula_mass / air["O2"]
    moles = {name: n * scale for name, n in air.items()}
    excess = moles.pop("O2") * (1.0 - 1.0 / lam)
    C = fuel.C / fuel.formula_mass + moles.pop("CO2", 0.0)
    H2 = 0.5 * fuel.H / fuel.formula_mass + moles.pop("H2O", 0.0)
    if excess >= 0.0:
        return _present({**moles, "CO2": C, "H2O": H2, "O2": excess})
    oxygen = 2.0 * C + H2 + 2.0 * excess
    CO2 = _rich_carbon_dioxide(C, H2, oxygen)
    H2O = oxygen - C - CO2
    return _present({**moles, "CO2": CO2, "H2O": H2O, "CO": C - CO2, "H2": H2 - H2O})


def _present(moles):
    return {name: n for name, n in moles.items() if n > 0.0}


def _rich_carbon_dioxide(C, H2, oxygen):
    """Root of (K-1) x^2 + (oxygen + K (H2 - oxygen + C)) x - C (oxygen - C) = 0."""
    K = WATER_GAS_CONSTANT
    half = 0.5 * (oxygen + K * (H2 - oxygen + C))
    product = C * (oxygen - C)
    return product / (half + sqrt(half * half + (K - 1.0) * product))


def released_heat(fuel, lam, air=DRY_AIR):
    """Heat released by one kilogram of fuel [J/kg], limited by oxygen when rich.

    Parameters
    ----------
    fuel : Fuel
        The fuel.
    lam : float
        Excess-air ratio [1].
    air : mapping of str to float
        Moles of the species of the air, O2 among them.

    Returns
    -------
    float
        The lower heating value less that of the CO and H2 left in the products (heats of
        formation of NASA TM-4513).

    Examples
    --------
    >>> rich, full = (released_heat(FUELS["iso-octane"], lam) for lam in (0.85, 1.0))
    >>> round(rich / full, 2)
    0.8
    """
    left = burned_moles(fuel, lam, air)
    carbon_monoxide = h("CO", T_REFERENCE) - h("CO2", T_REFERENCE)
    hydrogen = h("H2", T_REFERENCE) - h("H2O", T_REFERENCE)
    lost = left.get("CO", 0.0) * carbon_monoxide + left.get("H2", 0.0) * hydrogen
    return fuel.lower_heating_value - float(lost)


def blend(name, volumes):
    """Fuel mixed of others by volume.

    Parameters
    ----------
    name : str
        Name of the blend.
    volumes : mapping of Fuel to float
        Volumes of the liquids, in any unit.

    Returns
    -------
    Fuel
        Atoms, vapour and heating value follow from the masses; volumes are taken to add up.

    Raises
    ------
    InputError
        If a volume is not positive.

    Examples
    --------
    >>> E10 = blend("E10", {FUELS["gasoline"]: 0.9, FUELS["ethanol"]: 0.1})
    >>> round(E10.stoichiometric_ratio(), 2)
    14.01
    """
    shares = {
        fuel: check_number("blend", f"volume of {fuel.name}", v, "1", 0.0, 1e9, low_open=True)
        for fuel, v in volumes.items()
    }
    mass = sum(v * fuel.density for fuel, v in shares.items())
    parts = [(fuel, v * fuel.density / mass) for fuel, v in shares.items()]
    vapour = {}
    for fuel, w in parts:
        for species, n in fuel.vapour.items():
            vapour[species] = vapour.get(species, 0.0) + w * n / mixture_mass(fuel.vapour)
    molecules = sum(vapour.values())
    atoms = {
        e: sum(w * getattr(fuel, e) / fuel.formula_mass for fuel, w in parts) / molecules
        for e in "CHO"
    }
    return Fuel(
        name=name,
        **atoms,
        lower_heating_value=sum(w * fuel.lower_heating_value for fuel, w in parts),
        vapour=vapour,
        density=mass / sum(shares.values()),
        source="blend of " + ", ".join(f"{100 * w:.1f} % {f.name} by mass" for f, w in parts),
    )


def _single(name, liquid_formation, density):
    """Fuel of one species; the heating value follows from heats of formation [J/mol]."""
    atoms = {"C": 0, "H": 0, "O": 0, **SPECIES[name].atoms}
    products = atoms["C"] * h("CO2", T_REFERENCE) + atoms["H"] / 2 * h("H2O", T_REFERENCE)
    return Fuel(
        name=name,
        **atoms,
        lower_heating_value=float(liquid_formation - products) / molar_mass(name),
        vapour={name: 1.0},
        density=density,
        source=f"heat of formation of the liquid {liquid_formation / 1e3:g} kJ/mol and density "
        "as in chemical handbooks (from memory), products from NASA TM-4513",
    )


_GASOLINE = Fuel(
    name="gasoline",
    C=1,
    H=1.87,
    O=0,
    lower_heating_value=43.1e6,
    source="vapour and heating value of a surrogate with H/C = 1.87, 62.6 mol % iso-octane and "
    "37.4 mol % toluene (liquid heats of formation -259.3 and 12.2 kJ/mol, NASA TM-4513); "
    "published heating values of gasoline run from 42.7 to 44 MJ/kg",
)
_ETHANOL = _single("ethanol", -277.7e3, 789.0)

#: Fuels by name.
FUELS = {
    "gasoline": _GASOLINE,
    "iso-octane": _single("iso-octane", -259.3e3, 692.0),
    "ethanol": _ETHANOL,
    "methanol": _single("methanol", -238.7e3, 792.0),
    "E85": blend("E85", {_ETHANOL: 0.85, _GASOLINE: 0.15}),
}

#: What fuels of FUELS are called elsewhere.
OTHER_NAMES = {"petrol": "gasoline"}


def as_fuel(owner, name, value):
    """`value` as a Fuel: itself, or the one of FUELS that it names.

    Parameters
    ----------
    owner, name : str
        Object and field, for the message.
    value : Fuel or str
        What the user gave.

    Raises
    ------
    InputError
        If it is neither; the message lists the known fuels.
    """
    return value if isinstance(value, Fuel) else FUELS[known_fuel(owner, name, value)]


def known_fuel(owner, name, value, known=FUELS):
    """Name of a fuel that goes by that name or by another, in any case; "petrol" is gasoline.

    Parameters
    ----------
    owner, name : str
        Object and field, for the message.
    value : str
        What the user gave.
    known : collection of str
        The names to choose from.

    Raises
    ------
    InputError
        If no fuel is called so; the message lists the known fuels.

    Examples
    --------
    >>> known_fuel("Engine", "fuel", "Petrol")
    'gasoline'
    """
    names = {one.casefold(): one for one in known} | OTHER_NAMES
    said = names.get(value.casefold(), value) if isinstance(value, str) else value
    return check_choice(owner, name, said, known)
