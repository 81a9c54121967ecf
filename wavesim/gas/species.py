"""Ideal-gas properties of single species and of mixtures given in moles.

Each species holds the seven coefficients a1..a7 of the NASA polynomials for two ranges,
200-1000 K and 1000-6000 K, with T in kelvin and Ru the molar gas constant::

    cp/Ru    = a1 + a2 T + a3 T^2 + a4 T^3 + a5 T^4
    h/(Ru T) = a1 + a2 T/2 + a3 T^2/3 + a4 T^3/4 + a5 T^4/5 + a6/T
    s/Ru     = a1 ln T + a2 T + a3 T^2/2 + a4 T^3/3 + a5 T^4/4 + a7      (at 1 bar)

The enthalpy contains the heat of formation at 298.15 K.

Source of all coefficients: B. J. McBride, S. Gordon, M. A. Reno, Coefficients for Calculating
Thermodynamic and Transport Properties of Individual Species, NASA TM-4513 (1993).
"""

from typing import NamedTuple

import numpy as np
from scipy.constants import R as MOLAR_GAS_CONSTANT

from wavesim.constants import STANDARD_TEMPERATURE
from wavesim.errors import check_choice

T_REFERENCE = STANDARD_TEMPERATURE  #: temperature at which heats of formation are stated [K]
_T_MIDDLE = 1000.0  # the two ranges meet here [K]

# Standard atomic weights, abridged (IUPAC 2021) [kg/mol].
ATOMIC_MASS = {"C": 12.011e-3, "H": 1.008e-3, "O": 15.999e-3, "N": 14.007e-3, "Ar": 39.95e-3}


class Species(NamedTuple):
    """Atoms and polynomial coefficients of one gas."""

    atoms: dict
    low: tuple
    high: tuple


_ARGON = (2.5, 0.0, 0.0, 0.0, 0.0, -745.375, 4.37967491)

SPECIES = {
    "N2": Species(
        {"N": 2},
        (3.53100528, -1.23660987e-4, -5.02999437e-7, 2.43530612e-9, -1.40881235e-12,
         -1046.97628, 2.96747468),
        (2.95257626, 1.39690057e-3, -4.92631691e-7, 7.86010367e-11, -4.60755321e-15,
         -923.948645, 5.87189252),
    ),
    "O2": Species(
        {"O": 2},
        (3.78245636, -2.99673415e-3, 9.847302e-6, -9.68129508e-9, 3.24372836e-12,
         -1063.94356, 3.65767573),
        (3.66096083, 6.56365523e-4, -1.41149485e-7, 2.05797658e-11, -1.29913248e-15,
         -1215.97725, 3.41536184),
    ),
    "Ar": Species({"Ar": 1}, _ARGON, _ARGON),
    "CO2": Species(
        {"C": 1, "O": 2},
        (2.35677352, 8.98459677e-3, -7.12356269e-6, 2.45919022e-9, -1.43699548e-13,
         -48371.9697, 9.90105222),
        (4.63659493, 2.74131991e-3, -9.95828531e-7, 1.60373011e-10, -9.16103468e-15,
         -49024.9341, -1.93534855),
    ),
    "H2O": Species(
        {"H": 2, "O": 1},
        (4.19864056, -2.0364341e-3, 6.52040211e-6, -5.48797062e-9, 1.77197817e-12,
         -30293.7267, -0.849032208),
        (2.67703787, 2.97318329e-3, -7.7376969e-7, 9.44336689e-11, -4.26900959e-15,
         -29885.8938, 6.88255571),
    ),
    "CO": Species(
        {"C": 1, "O": 1},
        (3.57953347, -6.1035368e-4, 1.01681433e-6, 9.07005884e-10, -9.04424499e-13,
         -14344.086, 3.50840928),
        (3.04848583, 1.35172818e-3, -4.85794075e-7, 7.88536486e-11, -4.69807489e-15,
         -14266.1171, 6.0170979),
    ),
    "H2": Species(
        {"H": 2},
        (2.34433112, 7.98052075e-3, -1.9478151e-5, 2.01572094e-8, -7.37611761e-12,
         -917.935173, 0.683010238),
        (2.93286579, 8.26607967e-4, -1.46402335e-7, 1.54100359e-11, -6.88804432e-16,
         -813.065597, -1.02432887),
    ),
    "iso-octane": Species(
        {"C": 8, "H": 18},
        (0.815737338, 7.32643959e-2, 1.78300688e-5, -6.9358962e-8, 3.21629382e-11,
         -30477.2862, 24.1509994),
        (15.9899273, 5.5318479e-2, -1.95267072e-5, 3.11779172e-9, -1.85312577e-13,
         -35875.7973, -60.1161414),
    ),
    "toluene": Species(
        {"C": 7, "H": 8},
        (1.611914, 2.11188902e-2, 8.53221453e-5, -1.32566876e-7, 5.59406109e-11,
         4096.51976, 20.2973614),
        (12.939475, 2.66921558e-2, -9.68420108e-6, 1.5739214e-9, -9.46670482e-14,
         -677.035769, -46.7255302),
    ),
    "ethanol": Species(
        {"C": 2, "H": 6, "O": 1},
        (4.85868178, -3.7400674e-3, 6.95550267e-5, -8.86541147e-8, 3.5168443e-11,
         -29996.1309, 4.80192294),
        (6.5628977, 1.52034264e-2, -5.38922247e-6, 8.62150224e-10, -5.12824683e-14,
         -31525.7984, -9.47557644),
    ),
    "methanol": Species(
        {"C": 1, "H": 4, "O": 1},
        (5.71539582, -1.52309129e-2, 6.52441155e-5, -7.10806889e-8, 2.61352698e-11,
         -25642.7656, -1.50409823),
        (3.60134486, 1.02430954e-2, -3.59985517e-6, 5.72505986e-10, -3.3911764e-14,
         -25997.191, 4.70512253),
    ),
}  # fmt: skip


def _coefficients(name, T):
    """Coefficients of one species by temperature, shape (7,) + T.shape."""
    species = SPECIES[check_choice("species", "name", name, SPECIES)]
    low, high = (
        np.reshape(a, (7,) + (1,) * np.ndim(T)) for a in (species.low, species.high)
    )
    return np.where(np.asarray(T) < _T_MIDDLE, low, high)


def molar_mass(name):
    """Molar mass of one species [kg/mol].

    Parameters
    ----------
    name : str
        Key of SPECIES.

    Raises
    ------
    InputError
        If the species is unknown.

    Examples
    --------
    >>> round(molar_mass("CO2"), 6)
    0.044009
    """
    atoms = SPECIES[check_choice("species", "name", name, SPECIES)].atoms
    return sum(n * ATOMIC_MASS[element] for element, n in atoms.items())


def cp(name, T):
    """Molar heat capacity at constant pressure [J/(mol K)], NASA TM-4513 (1993).

    Parameters
    ----------
    name : str
        Key of SPECIES.
    T : float or ndarray
        Temperature [K], 200 to 6000.

    Raises
    ------
    InputError
        If the species is unknown.

    Examples
    --------
    >>> round(float(cp("N2", 300.0)), 2)
    29.13
    """
    a = _coefficients(name, T)
    return MOLAR_GAS_CONSTANT * (a[0] + T * (a[1] + T * (a[2] + T * (a[3] + T * a[4]))))


def h(name, T):
    """Molar enthalpy with the heat of formation [J/mol], NASA TM-4513 (1993).

    Parameters
    ----------
    name : str
        Key of SPECIES.
    T : float or ndarray
        Temperature [K], 200 to 6000.

    Raises
    ------
    InputError
        If the species is unknown.

    Examples
    --------
    >>> round(float(h("CO2", 298.15)), -1)
    -393510.0
    """
    a = _coefficients(name, T)
    series = a[0] + T * (a[1] / 2 + T * (a[2] / 3 + T * (a[3] / 4 + T * a[4] / 5)))
    return MOLAR_GAS_CONSTANT * (a[5] + T * series)


def s(name, T):
    """Molar entropy at 1 bar [J/(mol K)], NASA TM-4513 (1993).

    Parameters
    ----------
    name : str
        Key of SPECIES.
    T : float or ndarray
        Temperature [K], 200 to 6000.

    Raises
    ------
    InputError
        If the species is unknown.

    Examples
    --------
    >>> round(float(s("H2O", 298.15)), 1)
    188.8
    """
    a = _coefficients(name, T)
    series = a[1] + T * (a[2] / 2 + T * (a[3] / 3 + T * a[4] / 4))
    return MOLAR_GAS_CONSTANT * (a[0] * np.log(T) + T * series + a[6])


def mixture_mass(moles):
    """Mass of a mixture [kg].

    Parameters
    ----------
    moles : mapping of str to float
        Amount of each species [mol].

    Examples
    --------
    >>> round(mixture_mass({"H2": 1.0, "O2": 0.5}), 6)
    0.018015
    """
    return sum(n * molar_mass(name) for name, n in moles.items())


def mixture_cp(moles, T):
    """Heat capacity of a mixture per unit mass [J/(kg K)], frozen composition.

    Parameters
    ----------
    moles : mapping of str to float
        Amount of each species [mol].
    T : float or ndarray
        Temperature [K], 200 to 6000.
    """
    return sum(n * cp(name, T) for name, n in moles.items()) / mixture_mass(moles)


def mixture_h(moles, T):
    """Enthalpy of a mixture per unit mass with heats of formation [J/kg], frozen composition.

    Parameters
    ----------
    moles : mapping of str to float
        Amount of each species [mol].
    T : float or ndarray
        Temperature [K], 200 to 6000.
    """
    return sum(n * h(name, T) for name, n in moles.items()) / mixture_mass(moles)
