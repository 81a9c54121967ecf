"""Nodes: what happens where ducts end or meet.

Every node says in `at` which duct ends it takes: one text such as "primary 1.end", or a tuple of
them.  "start" is the end with x = 0, "end" the one with x = length.
"""

from collections.abc import Sequence
from dataclasses import KW_ONLY, dataclass
from functools import cached_property
from math import acos, cos, pi, radians, sqrt
from typing import NamedTuple

import numpy as np

from wavesim.constants import (
    DISCHARGE_RANGE,
    HOLE_DISCHARGE,
    HOLE_RANGE,
    MAX_CYLINDERS,
    POROSITY_RANGE,
)
from wavesim.descriptions.materials import Packing
from wavesim.descriptions.pipes import BORE_RANGE
from wavesim.descriptions.ratings import FlowRating
from wavesim.descriptions.weather import Ambient, of_weather
from wavesim.errors import InputError, check_number, shown
from wavesim.fields.description import (
    Description,
    checked,
    choice,
    flag,
    integer,
    number,
    part,
    sequence,
    text,
)

SIDES = ("start", "end")
POINT = 1e-3  # gas of a junction without volume, over that of the ball


def _ends(count=None):
    """Field `at` for exactly `count` duct ends, or any number."""

    def check(owner, name, value):
        ends = (value,) if isinstance(value, str) else sequence(owner, name, value, "duct ends")
        if not all(isinstance(end, str) for end in ends):
            raise InputError(
                f"{owner}: {name} = {shown(value)} must name duct ends such as 'pipe.end'."
            )
        if count is not None and len(ends) != count:
            raise InputError(
                f"{owner}: {name} = {shown(value)} must name {count} duct end(s), got {len(ends)}."
            )
        return ends[0] if count == 1 else ends

    return checked(check)


def _coefficients(default):
    """Field for a discharge coefficient or several, each above 0 and at most 1.2."""

    def check_one(owner, name, value):
        return check_number(owner, name, value, "1", *DISCHARGE_RANGE, low_open=True)

    def check(owner, name, value):
        if not isinstance(value, (tuple, list)):
            return check_one(owner, name, value)
        return tuple(check_one(owner, f"{name}[{i}]", v) for i, v in enumerate(value))

    return checked(check, default, unit="1", low=DISCHARGE_RANGE[0], high=DISCHARGE_RANGE[1])


def _spread(owner, field, value, count, of_what):
    """A float or a tuple as a tuple of `count` floats, one for each of something."""
    values = value if isinstance(value, tuple) else (value,) * count
    if len(values) != count:
        raise InputError(
            f"{owner}: {field} = {shown(value)} has {len(values)} values, needs 1 or {count}, "
            f"one for each {of_what}."
        )
    return values


class Beyond(NamedTuple):
    """Still gas beyond an end that leads out of the network.

    Attributes
    ----------
    pressure, temperature : float
        [Pa], [K].
    vapour_share : float or None
        Mole share of water vapour, if it is air; None: it is more of the gas in the duct.
    """

    pressure: float
    temperature: float
    vapour_share: float | None = None


class Node(Description):
    """Base of all nodes.

    Attributes
    ----------
    side : {"intake", "exhaust"} or None
        On which side of an engine the node is; None if it may be on either.
    beyond : Beyond or None
        What lies beyond a node through which gas leaves or enters the network, the weather filled
        in; None for all others.
    """

    side = None
    beyond = None

    #: Bore of an opening that must fit into the ducts [m], a field where there is one.
    diameter = None

    @cached_property
    def ends(self) -> tuple[tuple[str, str], ...]:
        """Duct ends as a tuple of (duct name, side)."""
        return tuple((name, side) for name, _, side in (end.rpartition(".") for end in self._at))

    @property
    def _at(self):
        return (self.at,) if isinstance(self.at, str) else self.at

    def without_duct(self, duct: str) -> "Node | None":
        """What is left when a duct is taken away.

        Parameters
        ----------
        duct : str
            Name of the duct.

        Returns
        -------
        Node or None
            The node itself if it does not take an end of this duct, a Junction or a Volume with
            the other ends if it has any, else None.
        """
        return None if any(name == duct for name, _ in self.ends) else self

    def with_end(self, old: str, new: str) -> "Node":
        """Copy that takes another duct end in the place of one.

        Parameters
        ----------
        old, new : str
            Duct ends such as "pipe.end"; without the old one the node is returned as it is.
        """
        if old not in self._at:
            return self
        at = tuple(new if end == old else end for end in self._at)
        return self.replace(at=at[0] if isinstance(self.at, str) else at)

    def _keeping(self, duct, *by_end):
        """The node with those ends that are not of a duct, and of the named fields their items."""
        kept = [i for i, (name, _) in enumerate(self.ends) if name != duct]
        if len(kept) in (0, len(self.ends)):
            return self if kept else None
        given = {field: getattr(self, field) for field in by_end}
        return self.replace(
            at=[self.at[i] for i in kept],
            **{name: [values[i] for i in kept] for name, values in given.items()
               if isinstance(values, tuple)},
        )


class OuterNode(Node):
    """Base of nodes that lead out of the network: they have the fields `ambient` and `intake`."""

    @property
    def side(self) -> str:
        """Side of the engine, as `intake` says."""
        return "intake" if self.intake else "exhaust"

    @property
    def beyond(self) -> "Beyond | None":
        """The air outside; None as long as no weather is stated."""
        air = self.ambient
        return air and Beyond(air.pressure, air.temperature, air.vapour_share)


@dataclass(frozen=True)
class ClosedEnd(Node):
    """Rigid wall that closes a duct.

    Parameters
    ----------
    at : str
        Duct end.

    Examples
    --------
    >>> ClosedEnd("pipe.start").at
    'pipe.start'
    """

    at: str = _ends(1)


@dataclass(frozen=True)
class AnechoicEnd(OuterNode):
    """End that swallows every wave which reaches it and sends none back.

    Parameters
    ----------
    at : str
        Duct end.
    pressure : float or None
        Pressure of the gas at rest beyond the end [Pa], 1e3 to 1e7; None: of the weather.
    temperature : float or None
        Its temperature [K], 150 to 3500; None: of the weather.  Waves are swallowed whole only if
        it is that of the gas in the duct.
    intake : bool
        True: the end is on the intake side of an engine; False: on its exhaust side.

    Examples
    --------
    >>> AnechoicEnd("pipe.end").at
    'pipe.end'
    """

    at: str = _ends(1)
    _: KW_ONLY
    pressure: float | None = number("Pa", 1e3, 1e7, None, **of_weather("pressure"))
    temperature: float | None = number("K", 150.0, 3500.0, None, **of_weather("temperature"))
    intake: bool = flag(False)

    @property
    def beyond(self) -> "Beyond":
        """The gas at rest beyond the end."""
        return Beyond(self.pressure, self.temperature)


@dataclass(frozen=True)
class OpenEnd(OuterNode):
    """End that is open to the air, with or without a nozzle.

    Parameters
    ----------
    at : str
        Duct end.
    radiation : {"unflanged", "flanged", "none"}
        How sound leaves: a free pipe end (Levine and Schwinger 1948), an end in a large wall, or
        no radiation and no end correction at all.
    ambient : Ambient or None
        The air outside; None: the weather.
    intake : bool
        True: the end is on the intake side of an engine, what flows in counts as fresh charge;
        False: it is on the exhaust side, what flows in counts as ambient air.
    entry_loss : float or None
        Loss coefficient of inflow, referred to the dynamic pressure in the pipe, 0 to 10.  None:
        1.0 for a free thin-walled end, 0.5 for an end flush in a wall, 0.0 without radiation
        (Idelchik, Handbook of Hydraulic Resistance, Diagram 3-4, as republished by ASHRAE).
    diameter : float or None
        Bore of a nozzle or restrictor at the end [m], 0.003 to 0.5 and no larger than the duct;
        None: the full bore.
    discharge_coefficient : float
        Of that nozzle, above 0, at most 1.2.

    Examples
    --------
    >>> OpenEnd("pipe.end").at
    'pipe.end'
    """

    at: str = _ends(1)
    _: KW_ONLY
    radiation: str = choice(("unflanged", "flanged", "none"), "unflanged")
    ambient: Ambient | None = part(Ambient, default=None, **of_weather())
    intake: bool = flag(False)
    entry_loss: float | None = number("1", 0.0, 10.0, None)
    diameter: float | None = number("m", *BORE_RANGE, default=None)
    discharge_coefficient: float = number("1", *DISCHARGE_RANGE, 1.0, low_open=True)

    @property
    def inflow_loss(self) -> float:
        """Loss coefficient of inflow with None resolved."""
        if self.entry_loss is not None:
            return self.entry_loss
        return {"unflanged": 1.0, "flanged": 0.5, "none": 0.0}[self.radiation]


@dataclass(frozen=True)
class Orifice(Node):
    """Hole in a plate between two ducts.

    Parameters
    ----------
    at : (str, str)
        Duct ends before and behind the plate; forward flow runs from the first to the second.
    diameter : float
        Bore of the hole [m], 0.003 to 0.5 and no larger than either duct.
    discharge_coefficient : float or (float, float)
        Both directions, or forward and reverse; above 0, at most 1.2.  0.8 is common practice, no
        source.

    Examples
    --------
    >>> Orifice(("a.end", "b.start"), diameter="20 mm").diameter
    0.02
    """

    at: tuple[str, str] = _ends(2)
    _: KW_ONLY
    diameter: float = number("m", *BORE_RANGE)
    discharge_coefficient: float | tuple[float, float] = _coefficients(0.8)

    def _check(self):
        _spread(
            self._owner, "discharge_coefficient", self.discharge_coefficient, 2, "flow direction"
        )

    @property
    def coefficients(self) -> tuple[float, ...]:
        """Discharge coefficients (forward, reverse)."""
        return _spread(
            self._owner, "discharge_coefficient", self.discharge_coefficient, 2, "flow direction"
        )


@dataclass(frozen=True)
class AreaStep(Node):
    """Sudden change of bore between two ducts.

    Parameters
    ----------
    at : (str, str)
        The two duct ends, in either order.
    contraction_coefficient : float or None
        Narrowest area of the jet over the smaller bore area when gas enters the smaller bore,
        0.5 to 1; None: a sharp edge, from the ratio of areas.

    Examples
    --------
    >>> AreaStep(("a.end", "b.start")).at
    ('a.end', 'b.start')
    """

    at: tuple[str, str] = _ends(2)
    _: KW_ONLY
    contraction_coefficient: float | None = number("1", 0.5, 1.0, None)

    def contraction(self, area_ratio: float) -> float:
        """Jet area over the smaller bore area, 0.617 to 1.

        Parameters
        ----------
        area_ratio : float
            Smaller over larger bore area, 0 to 1.

        Notes
        -----
        Sharp edge: 1 / Cc = 1 + 0.622 (1 - 0.215 b^2 - 0.785 b^5), b = ratio of diameters.
        Rennels and Hudson, Pipe Flow (2012), ch. 10 (from memory).

        Examples
        --------
        >>> from wavesim import AreaStep
        >>> step = AreaStep(("wide.end", "narrow.start"))
        >>> 0.6 < step.contraction(0.5) < 1.0
        True
        """
        if self.contraction_coefficient is not None:
            return self.contraction_coefficient
        b = sqrt(area_ratio)
        return 1.0 / (1.0 + 0.622 * (1.0 - 0.215 * b**2 - 0.785 * b**5))

    def contraction_loss(self, area_ratio: float) -> float:
        """Loss coefficient of flow into the smaller bore, on its dynamic pressure.

        Parameters
        ----------
        area_ratio : float
            Smaller over larger bore area, 0 to 1.

        Notes
        -----
        The jet spreads again with the loss of a sudden enlargement, (1 / Cc - 1)^2, and for a
        sharp edge 0.0696 (1 - b^5) / Cc^2 is lost before it.  Rennels and Hudson (2012), ch. 10
        (from memory); diameters 2:1 give 0.4956.

        Examples
        --------
        >>> round(AreaStep(("a.end", "b.start")).contraction_loss(0.25), 4)
        0.4956
        """
        inverse = 1.0 / self.contraction(area_ratio)
        spreading = (inverse - 1.0) ** 2
        if self.contraction_coefficient is not None:
            return spreading
        return spreading + 0.0696 * (1.0 - area_ratio**2.5) * inverse**2


@dataclass(frozen=True)
class Throttle(Node):
    """Butterfly plate on a shaft between two ducts.

    Parameters
    ----------
    at : (str, str)
        Duct ends before and behind the plate.
    diameter : float
        Bore of the throttle [m], 0.003 to 0.5 and no larger than either duct.
    plate_angle_deg : float
        Angle of the plate from the plane across the bore [deg], from the closed angle to 90;
        90 is wide open.
    closed_angle_deg : float
        Angle at which the plate touches the bore [deg], 0 to 30; 8 is common practice, no source.
    shaft_diameter : float
        Diameter of the shaft [m], 0 to half the bore.
    discharge_coefficient : float
        Above 0, at most 1.2; 0.85 is common practice, no source.

    Examples
    --------
    >>> Throttle(("a.end", "b.start"), diameter="60 mm", plate_angle_deg=45).plate_angle_deg
    45.0
    """

    at: tuple[str, str] = _ends(2)
    _: KW_ONLY
    diameter: float = number("m", *BORE_RANGE)
    plate_angle_deg: float = number("deg", 0.0, 90.0, 90.0)
    closed_angle_deg: float = number("deg", 0.0, 30.0, 8.0)
    shaft_diameter: float = number("m", 0.0, 0.25, 0.0)
    discharge_coefficient: float = number("1", *DISCHARGE_RANGE, 0.85, low_open=True)

    def _check(self):
        owner, closed = self._owner, self.closed_angle_deg
        check_number(owner, "plate_angle_deg", self.plate_angle_deg, "deg", closed, 90.0)
        check_number(owner, "shaft_diameter", self.shaft_diameter, "m", 0.0, self.diameter / 2.0)

    @property
    def open_area(self) -> float:
        """Area left free by plate and shaft [m2].

        Notes
        -----
        Seen along the bore the plate is an ellipse and the shaft a strip; the area outside both
        is the difference of two segments.  The same as Harrington and Bolt, SAE 700082 (1970),
        in Heywood (1988), eq. 7.18 (from memory), arranged anew.
        """
        narrow = _plate_width(self.plate_angle_deg, self.closed_angle_deg)
        strip = self.shaft_diameter / self.diameter
        plate = narrow * _segment(strip / narrow) if narrow > strip else 0.0
        return 0.5 * self.diameter**2 * (_segment(strip) - plate)

    @property
    def effective_area(self) -> float:
        """Open area times discharge coefficient [m2]."""
        return self.discharge_coefficient * self.open_area


@dataclass(frozen=True)
class Carburettor(Node):
    """Carburettor, or any throttle known by its flow on a bench, between two ducts.

    Fuel is no part of it: what flows in through an intake is fresh charge already.

    Parameters
    ----------
    at : (str, str)
        Duct ends before and behind it.
    rating : FlowRating
        Its flow wide open, from still air into still air.
    plate_angle_deg : float
        Angle of the plate from the plane across the bore [deg], above the closed angle (0 at
        least), to 90; 90 is wide open.
    closed_angle_deg : float
        Angle at which the plate touches the bore [deg], 0 to 30; 8 is common practice, no source.

    Raises
    ------
    InputError
        If a value is outside its range.

    Notes
    -----
    A throat with the mixing loss of an Orifice, so narrow that from reservoir to reservoir the
    rated flow passes at the rated depression; it chokes at lower pressures.  A plate leaves open
    what its ellipse does not cover, 1 - cos(angle) / cos(closed angle) of the throat.

    Examples
    --------
    >>> from wavesim.descriptions.ratings import FlowRating
    >>> Carburettor(("a.end", "b.start"), rating=FlowRating("110 cfm", "1.5 inHg")).at
    ('a.end', 'b.start')
    """

    at: tuple[str, str] = _ends(2)
    _: KW_ONLY
    rating: FlowRating = part(FlowRating)
    plate_angle_deg: float = number("deg", 0.0, 90.0, 90.0)
    closed_angle_deg: float = number("deg", 0.0, 30.0, 8.0)

    def _check(self):
        check_number(self._owner, "plate_angle_deg", self.plate_angle_deg, "deg",
                     self.closed_angle_deg, 90.0, low_open=True)

    @property
    def open_share(self) -> float:
        """Share of the throat that the plate leaves open."""
        return 1.0 - _plate_width(self.plate_angle_deg, self.closed_angle_deg)

    def throat(self, area: float) -> float | None:
        """Throat before a duct of that area [m2]; None if it is too narrow for the rated flow.

        Parameters
        ----------
        area : float
            Of the duct [m2].

        Raises
        ------
        InputError
            If the area is no number above 0.

        Examples
        --------
        >>> rating = FlowRating("110 cfm", "1.5 inHg")
        >>> half = Carburettor(("a.end", "b.start"), rating=rating, plate_angle_deg=45)
        >>> round(half.throat(12.6e-4) / rating.throat(12.6e-4), 3)
        0.286
        """
        wide = self.rating.throat(area)
        return None if wide is None else self.open_share * wide


@dataclass(frozen=True)
class Resistance(Node):
    """Element that resists the flow between two ducts, such as an air filter.

    Parameters
    ----------
    at : (str, str)
        Duct ends before and behind it.
    rating : FlowRating
        Loss of pressure at a flow.

    Notes
    -----
    The loss of stagnation pressure grows as the square of the flow, in both directions.  A clean
    filter resists somewhat more evenly, between the first and the second power.

    Examples
    --------
    >>> from wavesim.descriptions.ratings import FlowRating
    >>> Resistance(("a.end", "b.start"), rating=FlowRating("150 cfm", "10 inH2O")).at
    ('a.end', 'b.start')
    """

    at: tuple[str, str] = _ends(2)
    _: KW_ONLY
    rating: FlowRating = part(FlowRating)


def _plate_width(plate_angle_deg, closed_angle_deg):
    """Short over long axis of the ellipse that a plate is, seen along the bore."""
    return cos(radians(plate_angle_deg)) / cos(radians(closed_angle_deg))


def _segment(a):
    """Area of a unit circle beyond the chord at distance a from its centre."""
    return acos(a) - a * sqrt(1.0 - a * a)


@dataclass(frozen=True)
class Volume(Node):
    """Chamber in which gas comes to rest: plenum, box, balance chamber.

    Parameters
    ----------
    at : tuple of str
        Duct ends that open into it.
    volume : float
        Gas volume [m3], 1e-6 to 1.
    discharge_coefficient : float or tuple of float
        Of every opening, or one for each in the order of `at`; above 0, at most 1.2.
    pressure, temperature : float or None
        State at the start of the calculation [Pa], 1e4 to 1e6, and [K], 200 to 2500; None: of the
        weather.
    fill : {"fresh", "burned", "air"}
        Gas at the start of the calculation.

    Examples
    --------
    >>> Volume(("a.end", "b.start"), volume="4 litre").volume
    0.004
    """

    at: tuple[str, ...] = _ends()
    _: KW_ONLY
    volume: float = number("m3", 1e-6, 1.0)
    discharge_coefficient: float | tuple[float, ...] = _coefficients(1.0)
    pressure: float | None = number("Pa", 1e4, 1e6, None, **of_weather("pressure"))
    temperature: float | None = number("K", 200.0, 2500.0, None, **of_weather("temperature"))
    fill: str = choice(("fresh", "burned", "air"), "air")

    def _check(self):
        _spread(
            self._owner, "discharge_coefficient", self.discharge_coefficient, len(self.at), "end"
        )

    @property
    def coefficients(self) -> tuple[float, ...]:
        """Discharge coefficients in the order of `at`."""
        return _spread(
            self._owner, "discharge_coefficient", self.discharge_coefficient, len(self.at), "end"
        )

    def without_duct(self, duct: str) -> "Node | None":
        """See `Node.without_duct`."""
        return self._keeping(duct, "discharge_coefficient")


def _vectors(owner, name, value):
    vectors = tuple(
        tuple(
            check_number(owner, f"{name}[{i}]", component, "1", -1e6, 1e6)
            for component in sequence(owner, f"{name}[{i}]", vector, "3 numbers")
        )
        for i, vector in enumerate(sequence(owner, name, value, "(x, y, z)"))
    )
    for i, vector in enumerate(vectors):
        if len(vector) != 3 or not any(vector):
            raise InputError(
                f"{owner}: {name}[{i}] = {vector} must be three numbers (no unit), not all zero."
            )
    return vectors


def _angles(owner, name, value):
    return tuple(
        check_number(owner, f"{name}[{i}]", angle, "deg", -360.0, 360.0)
        for i, angle in enumerate(sequence(owner, name, value, "angles in deg"))
    )


def ball(diameters):
    """Volume of a ball as wide as the widest of some bores [m3].

    Parameters
    ----------
    diameters : sequence of float
        Bores [m].

    Examples
    --------
    >>> round(1e6 * ball((0.038, 0.058)), 1)
    102.2
    """
    return pi / 6.0 * max(diameters) ** 3


def check_joint_volume(joint):
    """Refuse a volume in a joint of one pressure, which has none."""
    if joint.model == "pressure" and joint.volume is not None:
        joint._refuse(
            f"volume = {joint.volume:g} m3 must be None with model = 'pressure', which has no "
            "volume; choose model 'momentum' (valid: 1e-8 m3 to 0.1 m3), or put a Volume there."
        )


@dataclass(frozen=True)
class Junction(Node):
    """Point where several ducts meet.

    Parameters
    ----------
    at : tuple of str
        Duct ends, two at least.
    model : {"momentum", "pressure"}
        Momentum balance that feels the angles, or one static pressure for all.
    directions : sequence of (float, float, float) or None
        Vectors from the junction outward along each branch; any length but zero.
    angles_deg : sequence of float or None
        Instead: azimuth of each branch in one plane [deg], -360 to 360.
    volume : float or None
        Gas volume of the junction itself, beside that of the ducts [m3], 1e-8 to 0.1; None: none
        to speak of.  Only of the momentum model.

    Raises
    ------
    InputError
        If both `directions` and `angles_deg` are given or their number differs from that of `at`,
        or a volume is given to the pressure model.

    Notes
    -----
    Without directions or angles the branches are spread evenly in a plane, two of them in line.

    The ducts meet in a point: their lengths run to where their axes cross.  A volume of the
    junction yields to sound as so much more duct; one as large as a `ball` as wide as a side branch
    moves the transmission loss of that branch by 1 to 2 dB (`validation/case_side_branch.py`).  The
    momentum model needs some gas to hold its velocity; without a volume it takes a thousandth of
    the ball.

    Examples
    --------
    >>> Junction(("a.end", "b.end", "c.start")).at
    ('a.end', 'b.end', 'c.start')
    """

    at: tuple[str, ...] = _ends()
    _: KW_ONLY
    model: str = choice(("momentum", "pressure"), "momentum")
    directions: tuple[tuple[float, float, float], ...] | None = checked(_vectors, None)
    angles_deg: tuple[float, ...] | None = checked(_angles, None, unit="deg")
    volume: float | None = number("m3", 1e-8, 0.1, None)

    def _check(self):
        check_joint_volume(self)
        if self.directions is not None and self.angles_deg is not None:
            self._refuse("give directions or angles_deg, not both.")
        for name in ("directions", "angles_deg"):
            value = getattr(self, name)
            if value is not None and len(value) != len(self.at):
                self._refuse(
                    f"{name} has {len(value)} entries, must have {len(self.at)}, one per duct end."
                )

    @property
    def unit_vectors(self) -> np.ndarray:
        """Directions of the branches, (n_branch, 3), outward, of length one."""
        if self.directions is not None:
            vectors = np.array(self.directions)
            return vectors / np.linalg.norm(vectors, axis=1, keepdims=True)
        n = len(self.at)
        even = np.arange(n) * 360.0 / max(n, 1)
        azimuth = np.radians(even if self.angles_deg is None else self.angles_deg)
        return np.column_stack((np.cos(azimuth), np.sin(azimuth), np.zeros(n)))

    def gas_volume(self, diameters: Sequence[float]) -> float:
        """Volume of the junction [m3]: as given, or next to none.

        Parameters
        ----------
        diameters : sequence of float
            Bores of the branches at the junction [m], at least one.

        Raises
        ------
        InputError
            If there is no bore.

        Examples
        --------
        >>> from wavesim import Junction
        >>> bool(Junction(("a.end", "b.start")).gas_volume((0.04, 0.04)) >= 0.0)
        True
        """
        if not len(diameters):
            self._refuse("diameters must hold at least one bore in m.")
        return POINT * ball(diameters) if self.volume is None else self.volume

    def without_duct(self, duct: str) -> "Node | None":
        """See `Node.without_duct`."""
        return self._keeping(duct, "directions", "angles_deg")


@dataclass(frozen=True)
class ValvePort(Node):
    """Duct end that opens into a cylinder through the valves of one side.

    Parameters
    ----------
    at : str
        Duct end at the valve seat.
    cylinder : int
        Number of the cylinder, from 1 to 64.
    side : {"intake", "exhaust"}
        Which valves.

    Examples
    --------
    >>> ValvePort("port.start", cylinder=1, side="exhaust").side
    'exhaust'
    """

    at: str = _ends(1)
    _: KW_ONLY
    cylinder: int = integer(1, MAX_CYLINDERS)
    side: str = choice(("intake", "exhaust"))


@dataclass(frozen=True)
class Perforate(Node):
    """Perforated wall between two ducts of the same length that lie side by side.

    It takes no duct ends: gas passes from every cell of one duct to the cell beside it.

    Parameters
    ----------
    core, annulus : str
        Names of the inner and of the outer duct.
    hole_diameter : float
        [m], 0.0003 to 0.03 and no larger than the core.
    porosity : float
        Open share of the wall of the core, 0.001 to 0.6.
    wall_thickness : float
        Length of the holes [m], 0.0001 to 0.01.
    discharge_coefficient : float
        Of the holes, above 0, at most 1.2; 0.76 is common practice, no source.
    packing : Packing or None
        What fills the annulus beside the gas.

    Examples
    --------
    >>> Perforate("core", "case", hole_diameter="3 mm", porosity=0.2,
    ...           wall_thickness="1.5 mm").porosity
    0.2
    """

    core: str = text()
    annulus: str = text()
    _: KW_ONLY
    hole_diameter: float = number("m", *HOLE_RANGE)
    porosity: float = number("1", *POROSITY_RANGE)
    wall_thickness: float = number("m", 0.0001, 0.01)
    discharge_coefficient: float = number("1", *DISCHARGE_RANGE, HOLE_DISCHARGE, low_open=True)
    packing: Packing | None = part(Packing, default=None, optional=True)

    @property
    def ends(self) -> tuple[tuple[str, str], ...]:
        """No duct ends."""
        return ()

    def without_duct(self, duct: str) -> "Node | None":
        """See `Node.without_duct`: without one of its ducts there is no wall."""
        return None if duct in (self.core, self.annulus) else self

    def with_end(self, old: str, new: str) -> "Node":
        """See `Node.with_end`: it takes none."""
        return self

    def hole_area(self, diameter: float | np.ndarray) -> float | np.ndarray:
        """Area of the holes in one metre of core [m2/m].

        Parameters
        ----------
        diameter : float or ndarray
            Bore of the core [m].

        Examples
        --------
        >>> import math
        >>> from wavesim import Perforate
        >>> holes = Perforate("core", "case", hole_diameter=0.003, porosity=0.2,
        ...                   wall_thickness=0.0015)
        >>> round(float(holes.hole_area(0.05) / (math.pi * 0.05)), 6)  # of a metre of the core
        0.2
        """
        return self.porosity * pi * diameter
