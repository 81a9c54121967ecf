"""What exhausts are made of: metals, gauges of sheet, the state of the inner surface, packing.

The numbers are handbook values for a first estimate.  Grades of one name differ between mills and
every surface changes with age: give your own `Metal`, roughness or flow resistivity where you
know better.
"""

from dataclasses import KW_ONLY, dataclass

from wavesim.errors import InputError, check_choice, check_int, check_number, nearest, shown
from wavesim.fields.description import Description, checked, number, text
from wavesim.guard import guarded
from wavesim.measures import FIRST_GAUGE, LAST_GAUGE, in_unit

# --- metals ------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Metal(Description):
    """Metal of a tube wall.

    Parameters
    ----------
    name : str
        For reports.
    density : float
        [kg/m3], 1000 to 20000.
    conductivity : float
        Thermal conductivity at the usual temperature of an exhaust [W/(m K)], 1 to 450.
    emissivity : float
        Total hemispherical emissivity of the outer surface in use, 0.01 to 1.
    heat_capacity : float
        [J/(kg K)], 100 to 2000.
    max_service_temperature : float
        Temperature above which the metal scales fast or loses its strength [K], 400 to 2000: a
        caution for the reader, nothing is calculated from it.

    Examples
    --------
    >>> from wavesim.descriptions.materials import METALS
    >>> METALS["mild steel"].replace(emissivity=0.6).emissivity
    0.6
    """

    name: str = text("")
    density: float = number("kg/m3", 1000.0, 20000.0)
    conductivity: float = number("W/(m K)", 1.0, 450.0)
    emissivity: float = number("1", 0.01, 1.0)
    heat_capacity: float = number("J/(kg K)", 100.0, 2000.0)
    max_service_temperature: float = number("K", 400.0, 2000.0)


def _metal(name, density, conductivity, emissivity, heat_capacity, max_service_temperature):
    return name, Metal(
        name=name, density=density, conductivity=conductivity, emissivity=emissivity,
        heat_capacity=heat_capacity, max_service_temperature=max_service_temperature,
    )  # fmt: skip


#: Metals by name.  Density, conductivity and heat capacity near 600 K and emissivities: Incropera
#: and DeWitt, Fundamentals of Heat and Mass Transfer, Tables A.1 and A.11; grade 409 and alloy
#: 625 (UNS N06625): ASM Metals Handbook vol. 1 and 2; limits in air: ASM Specialty Handbook,
#: Stainless Steels (1994), lower of the continuous and the cyclic value.  All from memory.
#: Emissivities are those of surfaces that have been hot: oxidised mild steel, lightly oxidised
#: stainless steel and titanium; they range over a factor of two with age.
METALS = dict(
    (
        _metal("mild steel", 7850.0, 48.0, 0.80, 560.0, 770.0),
        _metal("aluminised steel", 7850.0, 48.0, 0.30, 560.0, 950.0),
        _metal("stainless 304", 7900.0, 19.8, 0.33, 557.0, 1140.0),
        _metal("stainless 409", 7760.0, 26.0, 0.33, 530.0, 980.0),
        _metal("titanium", 4510.0, 19.4, 0.40, 591.0, 700.0),
        _metal("nickel alloy", 8440.0, 14.0, 0.50, 480.0, 1250.0),
    )
)


def metal_field(default="mild steel"):
    """Field for a Metal or the name of one in METALS."""

    def check(owner, name, value):
        return value if isinstance(value, Metal) else check_choice(owner, name, value, METALS)

    return checked(check, default, kinds=(Metal,))


def as_metal(value):
    """Metal from a Metal or a name in METALS."""
    return value if isinstance(value, Metal) else METALS[value]


# --- gauge -------------------------------------------------------------------------------------

#: Standards of `gauge`, with the word that a text such as "16 swg" has for each.
GAUGE_STANDARDS = {"Birmingham": "gauge", "standard wire": "swg", "sheet": "sheet gauge"}


@guarded
def gauge(n: int, standard: str = "Birmingham") -> float:
    """Thickness of a gauge number; any length may be given as a text such as "16 gauge" too.

    Parameters
    ----------
    n : int
        Gauge, 7 to 24; the higher, the thinner.
    standard : {"Birmingham", "standard wire", "sheet"}
        Birmingham or Stubs' gauge, by which tube is ordered ("16 gauge", "16 bwg"); the British
        standard wire gauge ("16 swg"); the manufacturers' gauge of steel sheet in the United
        States ("16 sheet gauge", "16 msg").  Sources stand in `wavesim.measures`.

    Returns
    -------
    float
        Thickness [m].

    Raises
    ------
    InputError
        If `n` is no whole number from 7 to 24, or there is no such standard.

    Examples
    --------
    >>> [round(1e3 * gauge(16, standard), 3) for standard in GAUGE_STANDARDS]
    [1.651, 1.626, 1.519]
    """
    word = GAUGE_STANDARDS[check_choice("gauge", "standard", standard, GAUGE_STANDARDS)]
    return in_unit(f"{check_int('gauge', 'n', n, FIRST_GAUGE, LAST_GAUGE)} {word}", "m")


# --- inner surface -----------------------------------------------------------------------------

#: Sand-grain roughness by the state of the pipe [m].  Moody, Trans. ASME 66 (1944) 671: drawn
#: tube 0.000005 ft, commercial steel 0.00015 ft (from memory).  The rest from Idelchik, Handbook
#: of Hydraulic Resistance, table of equivalent roughness, as republished in the Python package
#: `fluids`: "welded, used, general corrosion" 0.15 mm; "seamless, moderately corroded" or "scale,
#: small depositions only" 0.4 mm; "welded, small deposits" 1.5 mm.
ROUGHNESS = {
    "drawn": 1.5e-6,
    "new steel": 4.5e-5,
    "light rust": 1.5e-4,
    "heavy rust": 4.0e-4,
    "scale": 1.5e-3,
}

ROUGHNESS_RANGE = (0.0, 0.005)  # [m]


def roughness_field(default=ROUGHNESS["new steel"]):
    """Field for a sand-grain roughness [m], or the name of a state in ROUGHNESS."""
    low, high = ROUGHNESS_RANGE

    def check(owner, name, value):
        if not isinstance(value, str):
            return check_number(owner, name, value, "m", low, high)
        if value not in ROUGHNESS:
            raise InputError(
                f"{owner}: {name} = {shown(value)} must be one of "
                f"{', '.join(map(repr, ROUGHNESS))} or a number in the valid range {low:g} m to "
                f"{high:g} m{nearest(value, ROUGHNESS)}"
            )
        return ROUGHNESS[value]

    return checked(check, default, unit="m", low=low, high=high)


# --- packing -----------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Fibre(Description):
    """Fibre for the packing of a silencer.

    Parameters
    ----------
    density : float
        Of the solid [kg/m3], 100 to 20000.
    heat_capacity : float
        Of the solid [J/(kg K)], 100 to 3000.
    diameter : float
        Usual diameter of one fibre [m], 1e-6 to 5e-4.

    Examples
    --------
    >>> Fibre(density=2600.0, heat_capacity=810.0, diameter=2e-5).density
    2600.0
    """

    density: float = number("kg/m3", 100.0, 20000.0)
    heat_capacity: float = number("J/(kg K)", 100.0, 3000.0)
    diameter: float = number("m", 1e-6, 5e-4)


#: Fibres by name.  Solids: Incropera and DeWitt, Table A.3, and makers' data sheets for E-glass
#: and basalt (from memory).  Diameters: rovings for silencers are drawn at about 24 um and basalt
#: wool at about 9 um (from memory); steel wool of medium grade is near 60 um.
FIBRES = {
    "glass fibre": Fibre(density=2550.0, heat_capacity=800.0, diameter=24e-6),
    "basalt wool": Fibre(density=2750.0, heat_capacity=840.0, diameter=9e-6),
    "steel wool": Fibre(density=7850.0, heat_capacity=490.0, diameter=60e-6),
}

_GLASS = FIBRES["glass fibre"].density


def _fibre(owner, name, value):
    return value if isinstance(value, Fibre) else check_choice(owner, name, value, FIBRES)


@dataclass(frozen=True)
class Packing(Description):
    """Fibrous absorber that fills the space round a perforated core.

    Parameters
    ----------
    material : str or Fibre
        A name in FIBRES, or a Fibre.
    bulk_density : float
        Mass of fibre per volume filled [kg/m3], 5 to 1000 and at most 60 % of the solid; 100 is
        common practice, no source.
    fibre_diameter : float or None
        [m], 1e-6 to 5e-4; None: the usual one of the material.
    flow_resistivity : float or None
        Pressure gradient per superficial velocity in air at room temperature [Pa s/m2], 100 to
        1e6; None: estimated, see `resistivity`.

    Raises
    ------
    InputError
        If a value is outside its range.

    Examples
    --------
    >>> wool = Packing(bulk_density=100.0)
    >>> round(wool.resistivity), round(wool.gas_fraction, 3)
    (6339, 0.961)
    """

    material: str | Fibre = checked(_fibre, "glass fibre", kinds=(Fibre,))
    _: KW_ONLY
    bulk_density: float = number("kg/m3", 5.0, 1000.0, 100.0)
    fibre_diameter: float | None = number("m", 1e-6, 5e-4, None)
    flow_resistivity: float | None = number("Pa s/m2", 100.0, 1e6, None)

    def _check(self):
        densest = min(1000.0, 0.6 * self.fibre.density)
        check_number(self._owner, "bulk_density", self.bulk_density, "kg/m3", 5.0, densest,
                     hint="at most 60 % of the solid")

    @property
    def fibre(self) -> Fibre:
        """The Fibre."""
        return self.material if isinstance(self.material, Fibre) else FIBRES[self.material]

    @property
    def gas_fraction(self) -> float:
        """Share of the filled volume that is left to the gas, 0 to 1."""
        return 1.0 - self.bulk_density / self.fibre.density

    @property
    def heat_capacity(self) -> float:
        """Heat capacity of the fibre in one cubic metre of packing [J/(m3 K)]."""
        return self.bulk_density * self.fibre.heat_capacity

    @property
    def resistivity(self) -> float:
        """Flow resistivity in air at room temperature [Pa s/m2]; it grows as the viscosity does.

        Notes
        -----
        Unless given: R = 3.18e-9 rho^1.53 / d^2 with the bulk density rho and the diameter d of
        the fibre, Bies and Hansen, Applied Acoustics 13 (1980) 357 (from memory), a fit to glass
        fibre.  For another solid rho is the bulk density of glass fibre that takes up the same
        room.  Measured packings scatter by a factor of two about it.
        """
        if self.flow_resistivity is not None:
            return self.flow_resistivity
        as_glass = self.bulk_density * _GLASS / self.fibre.density
        diameter = self.fibre_diameter or self.fibre.diameter
        return 3.18e-9 * as_glass**1.53 / diameter**2
