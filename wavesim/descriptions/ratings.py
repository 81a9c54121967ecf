"""What a flow bench says of a part, and the throat or loss that passes the same flow here.

A bench draws air from the room through the part into a box, and the air comes to rest there.  With
the stagnation pressure p0 before the part and the pressure p in the box, a duct of area A behind
the part is at p; its velocity q follows from mass flow and energy,

    m = A q p / (R T),     cp T + q^2 / 2 = cp T0.
"""

from dataclasses import KW_ONLY, dataclass
from math import sqrt

from wavesim.constants import (
    AIR_PRESSURE_RANGE,
    R_AIR,
    STANDARD_PRESSURE,
    STANDARD_TEMPERATURE,
)
from wavesim.errors import check_number
from wavesim.fields.description import Description, number

_GAMMA = 1.4  # of air on the bench
_CP = _GAMMA / (_GAMMA - 1.0) * R_AIR
_POWER = _GAMMA / (_GAMMA - 1.0)
_CRITICAL = (2.0 / (_GAMMA + 1.0)) ** _POWER  # pressure ratio at which a throat chokes
_STEPS = 60
_DEPRESSION_RANGE = (10.0, 25e3)  # [Pa]


@dataclass(frozen=True)
class FlowRating(Description):
    """Flow of air through a part at a stated depression, as a flow bench measures it.

    Parameters
    ----------
    flow : float
        Volume flow of the air before the part [m3/s], 1e-4 to 5: "350 cfm".
    depression : float
        Pressure before the part less that behind it [Pa], 10 to 25e3: "1.5 inHg".
    pressure, temperature : float
        Of the air before the part [Pa], 3e4 to 3e5, and [K], 220 to 340; by default the standard
        atmosphere and 25 degrees Celsius, our choice.

    Raises
    ------
    InputError
        If a value is outside its range, or the depression is more than 40 % of the pressure.

    Notes
    -----
    Carburettors with four barrels are rated at 1.5 inch of mercury and those with two at 3, heads
    and filters at 10 to 28 inch of water (common practice, no source).

    Examples
    --------
    >>> rating = FlowRating("350 cfm", "1.5 inHg")
    >>> round(rating.flow, 4), round(rating.mass_flow, 4)
    (0.1652, 0.1956)
    """

    flow: float = number("m3/s", 1e-4, 5.0)
    depression: float = number("Pa", *_DEPRESSION_RANGE)
    _: KW_ONLY
    pressure: float = number("Pa", *AIR_PRESSURE_RANGE, STANDARD_PRESSURE)
    temperature: float = number("K", 220.0, 340.0, STANDARD_TEMPERATURE)

    def _check(self):
        check_number(self._owner, "depression", self.depression, "Pa",
                     _DEPRESSION_RANGE[0], 0.4 * self.pressure,
                     hint="at most 40 % of the pressure, where nothing chokes yet")

    @property
    def mass_flow(self) -> float:
        """Mass flow on the bench [kg/s]."""
        return self.flow * self.pressure / (R_AIR * self.temperature)

    def throat(self, area: float) -> float | None:
        """Throat that passes the rated flow from still air through a duct to still air [m2].

        Parameters
        ----------
        area : float
            Of the duct behind the part [m2].

        Returns
        -------
        float or None
            None if the duct is too narrow for the flow.

        Notes
        -----
        Isentropic to the throat (pressure p_t, velocity y), then the mixing of Borda and Carnot
        that an Orifice has: p_t A + m y = p A + m q.

        Raises
        ------
        InputError
            If the area is no number above 0.

        Examples
        --------
        >>> round(1e4 * FlowRating("110 cfm", "1.5 inHg").throat(12.6e-4), 2)
        4.4
        """
        area = self._area(area)
        m, p = self.mass_flow, self.pressure - self.depression
        q, T = self._behind(area, p)

        def excess(p_t):
            return (p_t - p) * area + m * (self._jet(p_t)[0] - q)

        low = _CRITICAL * self.pressure
        high = self.pressure * (T / self.temperature) ** _POWER  # where the jet is as fast as q
        if excess(low) > 0.0 or excess(high) < 0.0:
            return None
        for _ in range(_STEPS):
            middle = 0.5 * (low + high)
            low, high = (low, middle) if excess(middle) > 0.0 else (middle, high)
        velocity, density = self._jet(low)
        return m / (density * velocity)

    def loss_coefficient(self, area: float) -> float:
        """Loss of stagnation pressure at the rated flow, over the dynamic pressure behind.

        Parameters
        ----------
        area : float
            Of the duct behind the part [m2].

        Notes
        -----
        The depression is taken as the loss of stagnation pressure of the part alone: of a filter,
        the air before and behind which is slow.

        Raises
        ------
        InputError
            If the area is no number above 0.

        Examples
        --------
        >>> round(FlowRating("150 cfm", 2500.0).loss_coefficient(28.3e-4), 2)
        6.56
        """
        area = self._area(area)
        p0 = self.pressure - self.depression
        p = p0
        for _ in range(_STEPS):
            q, T = self._behind(area, p)
            p = p0 * (T / self.temperature) ** _POWER
        return self.depression / (0.5 * p / (R_AIR * T) * q * q)

    def _area(self, area):
        return check_number(self._owner, "area", area, "m2", 1e-6, 1.0)

    def _behind(self, area, p):
        """Velocity and temperature in a duct at a pressure, at the rated flow."""
        flux = self.mass_flow / area * R_AIR
        root = sqrt(p * p + 2.0 * flux * flux * self.temperature / _CP)
        q = 2.0 * flux * self.temperature / (p + root)
        return q, self.temperature - 0.5 * q * q / _CP

    def _jet(self, p_t):
        """Velocity and density where air from the room has expanded to a pressure."""
        T = self.temperature * (p_t / self.pressure) ** (1.0 / _POWER)
        return sqrt(max(0.0, 2.0 * _CP * (self.temperature - T))), p_t / (R_AIR * T)
