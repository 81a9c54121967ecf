"""Laminar burning velocity of fuel and air, and what it says of the time that a charge burns.

A flame front in an engine is wrinkled by turbulence, which grows with piston speed, and eaten from
its wrinkles inward at the laminar velocity.  From that picture Hires, Tabaczynski and Novak
(SAE 780232, 1978) took the burn angle as proportional to

    (mean piston speed)^(1/3)  S_L^(-2/3).

The laminar velocity is the correlation of Metghalchi and Keck, Combust. Flame 48 (1982) 191, in the
form and with the constants of Heywood (1988), table 9.3; its fall with burned gas in the charge is
that of Rhodes and Keck, SAE 850047 (1985).  All four from memory.
"""

from typing import NamedTuple

from wavesim.constants import LAMBDA_RANGE, STANDARD_PRESSURE
from wavesim.errors import check_number
from wavesim.gas.fuels import known_fuel


class _Peak(NamedTuple):
    """Fuel-air ratio of the fastest flame over the stoichiometric one, its velocity at 298 K and
    1 atm [m/s], and how it falls beside it [m/s]."""

    phi: float
    velocity: float
    fall: float


#: Constants by fuel, Heywood (1988), table 9.3 (from memory).
FLAMES = {
    "gasoline": _Peak(1.21, 0.305, -0.549),
    "iso-octane": _Peak(1.13, 0.263, -0.847),
    "methanol": _Peak(1.11, 0.369, -1.405),
}
#: Of the unburned charge [K], [Pa]: wide, to hold whatever a cycle that still settles may pass.
TEMPERATURES, PRESSURES = (200.0, 1400.0), (1e3, 1e8)
SLOWEST = 0.01  # [m/s] below it the correlation says that nothing burns


def laminar_burning_velocity(
    fuel, lam, residual=0.0, temperature=298.0, pressure=STANDARD_PRESSURE
):
    """Laminar burning velocity of a premixed charge.

    Parameters
    ----------
    fuel : {"gasoline", "iso-octane", "methanol"}
    lam : float
        Excess-air ratio, 0.6 to 1.6.
    residual : float
        Mole fraction of burned gas in the charge, 0 to 1.
    temperature : float
        Of the unburned charge [K], 200 to 1400.
    pressure : float
        [Pa], 1e3 to 1e8.

    Returns
    -------
    float
        [m/s]; 0.01 where the correlation gives less, for it knows no limit of burning.

    Raises
    ------
    InputError
        If a value is outside its range.

    Notes
    -----
    S_L = (B_m + B_2 (phi - phi_m)^2) (T / 298 K)^a (p / 1 atm)^b (1 - 2.06 x^0.77), with
    a = 2.18 - 0.8 (phi - 1), b = -0.16 + 0.22 (phi - 1): Metghalchi and Keck (1982), Rhodes and
    Keck (1985), in Heywood (1988), eqs. 9.32 to 9.34 (from memory).  It was measured to 700 K,
    50 atm and 30 % of diluent, near-stoichiometric mixtures.

    Examples
    --------
    >>> round(laminar_burning_velocity("gasoline", 1.0), 4)
    0.2808
    >>> round(laminar_burning_velocity("gasoline", 1.0, residual=0.10), 4)
    0.1826
    """
    owner = "laminar_burning_velocity"
    peak = FLAMES[known_fuel(owner, "fuel", fuel, FLAMES)]
    phi = 1.0 / check_number(owner, "lam", lam, "1", *LAMBDA_RANGE)
    check_number(owner, "residual", residual, "1", 0.0, 1.0)
    check_number(owner, "temperature", temperature, "K", *TEMPERATURES)
    check_number(owner, "pressure", pressure, "Pa", *PRESSURES)
    cold = peak.velocity + peak.fall * (phi - peak.phi) ** 2
    hot = (temperature / 298.0) ** (2.18 - 0.8 * (phi - 1.0))
    pressed = (pressure / STANDARD_PRESSURE) ** (-0.16 + 0.22 * (phi - 1.0))
    diluted = 1.0 - 2.06 * residual**0.77
    return max(SLOWEST, max(0.0, cold) * hot * pressed * max(0.0, diluted))


def burn_angle_ratio(speed_ratio, velocity_ratio):
    """Burn angle over that of a reference point.

    Parameters
    ----------
    speed_ratio : float
        Engine speed over that of the reference point, above 0.
    velocity_ratio : float
        Laminar burning velocity over that of the reference point, above 0.

    Notes
    -----
    speed^(1/3) S_L^(-2/3): Hires, Tabaczynski and Novak, SAE 780232 (1978), from memory.

    Examples
    --------
    >>> round(burn_angle_ratio(8.0, 1.0), 12), round(burn_angle_ratio(1.0, 0.125), 12)
    (2.0, 4.0)
    """
    return speed_ratio ** (1.0 / 3.0) * velocity_ratio ** (-2.0 / 3.0)
