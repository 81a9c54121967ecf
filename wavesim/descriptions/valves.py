"""Valves: lift against crank angle and the effective area of the opening.

The crank angle of a cylinder is its own: 0 firing top dead centre, 180 bottom, 360 top dead centre
of gas exchange, 540 bottom, and so on with a period of 720 degrees.

A synthesised lobe is even about its centre.  With u = angle from the centre / half base duration,

    lift / peak = 1 + c2 u^2 + cp u^p + cq u^q + cr u^r,     |u| <= 1,

whose four constants follow from zero lift, velocity, acceleration and jerk at the seats: the
2-p-q-r polynomial cam (Stoddart, Machine Design 25, 1953; from memory).
"""

from dataclasses import dataclass
from functools import lru_cache, partial
from math import pi
from pathlib import Path
from typing import Any

import numpy as np

from wavesim.errors import InputError, check_choice, check_number
from wavesim.fields.description import Description, choice, integer, number, numbers, part
from wavesim.fields.tables import check_points, read_columns
from wavesim.guard import guarded

LIFT_RANGE = (0.0005, 0.03)  # peak lift [m]
RATIO_RANGE = (0.0, 0.6)  # lift over head diameter [1]
SEAT_LIFT = 5e-5  # lift at the ends of a measured table that still counts as closed [m]
SIDES = ("intake", "exhaust")
SEPARATION_RANGE = (80.0, 140.0)  # of lobe centres [deg of the cam]
CHECKING_LIFT = 1e-4  # default lift at which timing is stated [m]

LOBES = {"gentle": (4, 6, 8), "medium": (6, 10, 14), "full": (10, 18, 26)}
_GAS_EXCHANGE_TDC = 360.0
_WIDEST_BASE = 700.0  # seat to seat [deg]; the lobe must fit into one cycle


def _lobe_terms(lobe):
    """Exponents and constants of the lobe polynomial after its leading 1."""
    p, q, r = LOBES[lobe]
    return (
        (2, -p * q * r / ((p - 2) * (q - 2) * (r - 2))),
        (p, 2 * q * r / ((p - 2) * (q - p) * (r - p))),
        (q, -2 * p * r / ((q - 2) * (q - p) * (r - q))),
        (r, 2 * p * q / ((r - 2) * (r - p) * (r - q))),
    )


def _lobe_shape(lobe, u):
    """Lift over peak lift at u = angle from the centre over half the base duration."""
    u = np.minimum(np.abs(u), 1.0)
    shape = 1.0 + sum(constant * u**power for power, constant in _lobe_terms(lobe))
    return np.where(u < 1.0, np.maximum(shape, 0.0), 0.0)


def _bisect(is_inside, inside, outside):
    """Boundary between an inside and an outside point, to the last digit."""
    for _ in range(80):
        middle = 0.5 * (inside + outside)
        inside, outside = (middle, outside) if is_inside(middle) else (inside, middle)
    return 0.5 * (inside + outside)


@lru_cache(maxsize=256)
def _checking_place(lobe, level):
    """Place u on the lobe where lift over peak lift is `level`."""
    return _bisect(lambda u: _lobe_shape(lobe, u) >= level, 0.0, 1.0)


@dataclass(frozen=True, kw_only=True)
class Cam(Description):
    """Smooth lift synthesised from timing and peak lift.

    Parameters
    ----------
    opens_deg : float
        Opening angle before its dead centre [deg], -120 to 200: before bottom dead centre for an
        exhaust valve, before top dead centre for an intake valve.
    closes_deg : float
        Closing angle after its dead centre [deg], -120 to 200: after top dead centre for an
        exhaust valve, after bottom dead centre for an intake valve.
    lift : float
        Peak lift at the valve [m], 0.0005 to 0.03.
    checking_lift : float
        Lift at which both angles are stated [m], above 0 and below `lift`; 0.1 mm is our choice.
    lobe : {"gentle", "medium", "full"}
        Shape of the flanks; "full" opens faster and dwells longer near the peak.  Their exponents
        are our choice.

    Raises
    ------
    InputError
        If a value is outside its range, the duration 180 + opens + closes is not within 60 to
        400 deg, or the lobe from seat to seat would be longer than 700 deg.

    Examples
    --------
    >>> Cam(opens_deg=20, closes_deg=55, lift="9.5 mm", checking_lift="1 mm").checking_lift
    0.001
    """

    opens_deg: float = number("deg", -120.0, 200.0)
    closes_deg: float = number("deg", -120.0, 200.0)
    lift: float = number("m", *LIFT_RANGE)
    checking_lift: float = number("m", 0.0, LIFT_RANGE[1], CHECKING_LIFT, low_open=True)
    lobe: str = choice(LOBES, "medium")

    def _check(self):
        owner, limits = self._owner, {"low_open": True, "high_open": True}
        check_number(owner, "checking_lift", self.checking_lift, "m", 0.0, self.lift, **limits,
                     hint="below the peak lift")
        check_number(owner, "duration_deg", self.duration_deg, "deg", 60.0, 400.0)
        check_number(owner, "base_duration_deg", self.base_duration_deg, "deg", 0.0, _WIDEST_BASE,
                     hint="checking_lift is too near the peak lift")

    @classmethod
    def from_card(cls, side: str, **card: Any) -> "Cam":
        """Even lobe from the values of a cam card.

        Parameters
        ----------
        side : {"intake", "exhaust"}
            Which valve it moves.
        **card
            Fields of `CamCard`: duration_deg, checking_lift, measured_at, lobe_centre_deg, lift,
            rocker_ratio, lobe, ...  Lash and uneven flanks are kept by a CamCard itself, which a
            Valve takes as well.

        Raises
        ------
        InputError
            If a value is refused, or the card has lash or uneven flanks.

        Examples
        --------
        >>> cam = Cam.from_card("intake", duration_deg=232, checking_lift=0.00127,
        ...                     measured_at="tappet", lobe_centre_deg=108, lift=0.0122,
        ...                     rocker_ratio=1.6)
        >>> cam.opens_deg, cam.closes_deg, round(1e3 * cam.checking_lift, 3)
        (8.0, 44.0, 2.032)
        """
        card = CamCard(**card)
        if card.hot_lash or card.opening_share != 0.5 or card.closing_lobe not in (None, card.lobe):
            raise InputError(
                "Cam: a card with lash or uneven flanks is more than a Cam can hold; give the "
                "CamCard to Valve(lift=...)."
            )
        opens, closes = card.events(side, card.timing_lift)
        return cls(opens_deg=round(opens, 9), closes_deg=round(closes, 9), lift=card.peak_lift,
                   checking_lift=card.timing_lift, lobe=card.lobe)

    @property
    def timing_lift(self) -> float:
        """Lift of the valve at which its timing is stated [m]."""
        return self.checking_lift

    @property
    def duration_deg(self) -> float:
        """Crank angle between the two stated angles [deg]."""
        return 180.0 + self.opens_deg + self.closes_deg

    @property
    def base_duration_deg(self) -> float:
        """Crank angle from seat to seat of the synthesised lobe [deg]."""
        return self.duration_deg / _checking_place(self.lobe, self.checking_lift / self.lift)

    def centre_deg(self, side: str) -> float:
        """Crank angle of the peak [deg] for side "intake" or "exhaust".

        Examples
        --------
        >>> from wavesim import Cam
        >>> cam = Cam(opens_deg=20, closes_deg=55, lift="9 mm")
        >>> cam.centre_deg("intake")
        467.5
        """
        before = 360.0 if side == "intake" else 180.0
        return before + 90.0 + 0.5 * (self.closes_deg - self.opens_deg)

    def lift_at(self, angle_deg: float | np.ndarray) -> float | np.ndarray:
        """Lift [m] at angles from the centre of the lobe [deg], an array or a number.

        Examples
        --------
        >>> from wavesim import Cam
        >>> cam = Cam(opens_deg=20, closes_deg=55, lift="9 mm")
        >>> float(cam.lift_at(0.0))
        0.009
        """
        return self.lift * _lobe_shape(self.lobe, angle_deg / (0.5 * self.base_duration_deg))


@dataclass(frozen=True, kw_only=True)
class CamCard(Description):
    """Lift as the card of a camshaft states it: duration at a lift, centre, rocker ratio, lash.

    The lobe is synthesised as for Cam; its two flanks may differ in length and in shape.
    `summary(side)` prints the events that it makes at the valve, which are what the engine feels.

    Parameters
    ----------
    duration_deg : float
        Crank angle between the two moments at which `checking_lift` is passed [deg], 60 to 400.
    checking_lift : float
        That lift [m], above 0, at most 0.005: usually "0.050 inch" or "1 mm".
    measured_at : {"tappet", "valve"}
        Where it is measured: at the tappet (cam follower), before rocker and lash, or at the
        valve.  Taking one for the other changes the duration at the valve by some 20 degrees.
    lobe_centre_deg : float or None
        Centre of the lobe as installed [deg], 0 to 240: after top dead centre of gas exchange for
        an intake valve, before it for an exhaust valve.
    lobe_separation_deg : float or None
        Instead: angle between the lobe centres of one camshaft in degrees of the cam [deg], 80 to
        140.
    intake_centre_deg : float or None
        With it: where the intake centre is when the cam is installed [deg], 0 to 240 after top dead
        centre; None: straight up, both centres at the separation.  See `lobe_centres`.
    lift : float or None
        Peak lift at the valve without lash [m], 0.0005 to 0.03.
    lobe_lift : float or None
        Instead: peak lift at the tappet [m], 0.0002 to 0.03; times `rocker_ratio` it is that at the
        valve.
    rocker_ratio : float
        Lift at the valve over lift at the tappet, 0.5 to 3; 1 where the cam works on the valve
        directly.
    lash : float
        Clearance at the valve [m], 0 to 0.002; taken off the lift.
    lash_stated : {"hot", "cold"}
        Whether that is the clearance of the running engine or of the cold one.
    lash_growth : float or None
        Hot clearance less cold clearance [m], -0.001 to 0.001; needed with a cold lash, because it
        depends on what block, head and valve gear are made of.
    opening_share : float
        Share of the duration that lies before the centre, 0.3 to 0.7; 0.5 is an even lobe, our
        choice where the card does not say.
    lobe : {"medium", "gentle", "full"}
        Shape of the flanks, as for Cam.
    closing_lobe : {"medium", "gentle", "full"} or None
        Shape of the closing flank, if it has another: many cams set the valve down gently.

    Raises
    ------
    InputError
        If a value is outside its range, the checking lift is not below the peak, a cold lash comes
        without its growth, or not exactly one of the ways to state the centre and the peak is used.

    Examples
    --------
    232 degrees at 0.050 inch, measured at the tappet, and the same misread as lift at the valve:

    >>> inch = 0.0254
    >>> card = CamCard(duration_deg=232, checking_lift=0.050 * inch, measured_at="tappet",
    ...                lobe_centre_deg=108, lift=0.480 * inch, rocker_ratio=1.6)
    >>> print(card.summary("intake"))
    opens 40.6 deg before TDC, closes 76.6 deg after BDC at 0.1 mm of valve lift
    opens 19.8 deg before TDC, closes 55.8 deg after BDC at 1 mm of valve lift
    peak 12.19 mm at 108.0 deg after TDC
    >>> print(card.replace(measured_at="valve").summary("intake").splitlines()[0])
    opens 30.6 deg before TDC, closes 66.6 deg after BDC at 0.1 mm of valve lift

    A card as it comes in the box serves both valves:

    >>> box = CamCard(duration_deg=232, checking_lift="0.050 inch", measured_at="tappet",
    ...               lobe_separation_deg=110, intake_centre_deg=106, lobe_lift="0.300 inch",
    ...               rocker_ratio=1.6, lash="0.4 mm", lash_stated="cold", lash_growth="-0.1 mm")
    >>> for side in ("intake", "exhaust"):
    ...     print(box.summary(side).splitlines()[-1])
    peak 11.89 mm at 106.0 deg after TDC
    peak 11.89 mm at 114.0 deg before TDC
    """

    duration_deg: float = number("deg", 60.0, 400.0)
    checking_lift: float = number("m", 0.0, 0.005, low_open=True)
    measured_at: str = choice(("tappet", "valve"))
    lobe_centre_deg: float | None = number("deg", 0.0, 240.0, None)
    lobe_separation_deg: float | None = number("deg", *SEPARATION_RANGE, None)
    intake_centre_deg: float | None = number("deg", 0.0, 240.0, None)
    lift: float | None = number("m", *LIFT_RANGE, None)
    lobe_lift: float | None = number("m", 0.0002, LIFT_RANGE[1], None)
    rocker_ratio: float = number("1", 0.5, 3.0, 1.0)
    lash: float = number("m", 0.0, 0.002, 0.0)
    lash_stated: str = choice(("hot", "cold"), "hot")
    lash_growth: float | None = number("m", -0.001, 0.001, None)
    opening_share: float = number("1", 0.3, 0.7, 0.5)
    lobe: str = choice(LOBES, "medium")
    closing_lobe: str | None = choice(LOBES, None)

    def _check(self):
        owner = self._owner
        self._check_centre()
        if (self.lift is None) == (self.lobe_lift is None):
            self._refuse("give exactly one of lift (at the valve) and lobe_lift (at the tappet).")
        check_number(owner, "lift", self.peak_lift, "m", *LIFT_RANGE,
                     hint="at the valve, with the rocker ratio")
        if self.lash_stated == "cold" and self.lash_growth is None:
            self._refuse(
                "lash_stated = 'cold' needs lash_growth, the hot clearance less the cold one, in "
                "the valid range -0.001 m to 0.001 m."
            )
        check_number(owner, "hot lash", self.hot_lash, "m", 0.0, 0.002)
        check_number(owner, "lash", self.hot_lash, "m", 0.0, self.peak_lift, high_open=True,
                     hint="the valve never opens")
        check_number(owner, "checking_lift", self._gross_checking_lift, "m", self.hot_lash,
                     self.peak_lift, low_open=True, high_open=True,
                     hint="as lift at the valve, between lash and peak")
        check_number(owner, "seat to seat", 2.0 * max(self._flanks), "deg", 0.0, _WIDEST_BASE,
                     hint="checking_lift is too near the peak lift")

    def _check_centre(self):
        if (self.lobe_centre_deg is None) == (self.lobe_separation_deg is None):
            self._refuse(
                "give exactly one of lobe_centre_deg and lobe_separation_deg (degrees of the cam)."
            )
        if self.lobe_separation_deg is None:
            if self.intake_centre_deg is not None:
                self._refuse("intake_centre_deg needs lobe_separation_deg beside it.")
            return
        for side in SIDES:
            check_number(self._owner, f"{side} centre", self._centre(side), "deg", 0.0, 240.0,
                         hint="from lobe_separation_deg and intake_centre_deg")

    def _centre(self, side):
        """Centre of the lobe as installed [deg], beside top dead centre."""
        if self.lobe_centre_deg is not None:
            return self.lobe_centre_deg
        centres = lobe_centres(self.lobe_separation_deg, self.intake_centre_deg)
        return centres[SIDES.index(side)]

    @property
    def peak_lift(self) -> float:
        """Peak lift at the valve without lash [m]."""
        return self.rocker_ratio * self.lobe_lift if self.lift is None else self.lift

    @property
    def hot_lash(self) -> float:
        """Clearance at the valve of the running engine [m]."""
        return self.lash + (self.lash_growth or 0.0) * (self.lash_stated == "cold")

    @property
    def _gross_checking_lift(self):
        """Lift at the valve, lash not taken off, at which the duration is stated [m]."""
        if self.measured_at == "tappet":
            return self.rocker_ratio * self.checking_lift
        return self.checking_lift + self.hot_lash

    @property
    def timing_lift(self) -> float:
        """Lift of the valve at which the stated duration holds [m]."""
        return self._gross_checking_lift - self.hot_lash

    @property
    def _flanks(self):
        """Crank angle from seat to centre and from centre to seat of the lobe [deg]."""
        level = self._gross_checking_lift / self.peak_lift
        shares = self.opening_share, 1.0 - self.opening_share
        return tuple(
            self.duration_deg / _checking_place(lobe, level) * share
            for lobe, share in zip(self._lobes, shares, strict=True)
        )

    @property
    def _lobes(self):
        """Shapes of the opening and of the closing flank."""
        return self.lobe, self.closing_lobe or self.lobe

    def centre_deg(self, side: str) -> float:
        """Crank angle of the lobe centre [deg] for side "intake" or "exhaust".

        Examples
        --------
        >>> from wavesim import CamCard
        >>> card = CamCard(duration_deg=232, checking_lift="0.050 inch", measured_at="tappet",
        ...                lobe_centre_deg=108, lift="0.480 inch", rocker_ratio=1.6)
        >>> card.centre_deg("intake")
        468.0
        """
        return _GAS_EXCHANGE_TDC + (1.0 if side == "intake" else -1.0) * self._centre(side)

    def lift_at(self, angle_deg: float | np.ndarray) -> np.ndarray:
        """Lift of the valve [m] at angles from the lobe centre [deg], an array or a number.

        Examples
        --------
        >>> from wavesim import CamCard
        >>> card = CamCard(duration_deg=232, checking_lift="0.050 inch", measured_at="tappet",
        ...                lobe_centre_deg=108, lift="0.480 inch", rocker_ratio=1.6)
        >>> round(1e3 * float(card.lift_at(0.0)), 2)
        12.19
        """
        angle = np.asarray(angle_deg)
        rising, falling = (
            _lobe_shape(lobe, angle / flank)
            for lobe, flank in zip(self._lobes, self._flanks, strict=True)
        )
        shape = np.where(angle < 0.0, rising, falling)
        return np.maximum(self.peak_lift * shape - self.hot_lash, 0.0)

    def events(self, side: str, lift: float = CHECKING_LIFT) -> tuple[float, float]:
        """Angles at which the valve passes a lift.

        Parameters
        ----------
        side : {"intake", "exhaust"}
            Which side the valve serves.
        lift : float
            Of the valve [m], above 0 and below its peak.

        Returns
        -------
        opens_deg, closes_deg : float
            Before and after the dead centre of the side [deg], as for Cam.

        Examples
        --------
        >>> from wavesim import CamCard
        >>> card = CamCard(duration_deg=232, checking_lift="0.050 inch", measured_at="tappet",
        ...                lobe_centre_deg=108, lift="0.480 inch", rocker_ratio=1.6)
        >>> opens, closes = card.events("intake", lift=0.001)
        >>> round(opens, 1), round(closes, 1)
        (19.8, 55.8)
        """
        check_choice(self._owner, "side", side, SIDES)
        return _beside_dead_centres(side, *_passed(self, side, lift))

    def summary(self, side: str) -> str:
        """The events at 0.1 mm and 1 mm of valve lift and the peak, as text."""
        check_choice(self._owner, "side", side, SIDES)
        return _told(side, partial(self.events, side), self.peak_lift - self.hot_lash,
                     self._centre(side))


def _beside_dead_centres(side, opens, closes):
    """Angles before the first and after the last dead centre of a side, from crank angles [deg]."""
    first, last = (360.0, 540.0) if side == "intake" else (180.0, 360.0)
    return first - opens, closes - last


def _told(side, events, peak, centre):
    """Text on a lift: `events(lift)` gives its angles, `peak` [m] stands at `centre` [deg]."""
    first, last = ("TDC", "BDC") if side == "intake" else ("BDC", "TDC")
    lines = []
    for lift in (CHECKING_LIFT, 10.0 * CHECKING_LIFT):
        if lift < peak:
            opens, closes = events(lift)
            lines.append(
                f"opens {_beside(opens, 'before', 'after')} {first}, closes "
                f"{_beside(closes, 'after', 'before')} {last} at {1e3 * lift:g} mm of valve lift"
            )
    words = ("after", "before") if side == "intake" else ("before", "after")
    return "\n".join([*lines, f"peak {1e3 * peak:.2f} mm at {_beside(centre, *words)} TDC"])


def _beside(angle, before, after):
    """Angle [deg] with the word that its sign asks for."""
    return f"{abs(angle):.1f} deg {before if angle >= 0.0 else after}"


@guarded
def lobe_centres(
    separation_deg: float, intake_centre_deg: float | None = None, *, advance_deg: float = 0.0
) -> tuple[float, float]:
    """Installed centres of the lobes of one camshaft from its lobe separation.

    Parameters
    ----------
    separation_deg : float
        Angle between the lobe centres in degrees of the cam, 80 to 140: half of that between the
        two peaks in degrees of the crank.
    intake_centre_deg : float or None
        Where the intake centre was found when the cam was installed [deg after top dead centre],
        0 to 240.  None: `advance_deg` before the separation.
    advance_deg : float
        How far the cam is installed in advance of straight up [deg of the crank], -30 to 30.

    Returns
    -------
    intake, exhaust : float
        `lobe_centre_deg` of both cards: after and before top dead centre of gas exchange [deg].

    Raises
    ------
    InputError
        If a value is outside its range.

    Notes
    -----
    Common practice, no source: installed straight up, both centres stand at the separation; an
    advanced cam has its intake centre earlier and its exhaust centre as much farther from top dead
    centre.

    Examples
    --------
    >>> lobe_centres(110.0, 106.0)
    (106.0, 114.0)
    """
    owner = "lobe_centres"
    separation = check_number(owner, "separation_deg", separation_deg, "deg", *SEPARATION_RANGE)
    advance = check_number(owner, "advance_deg", advance_deg, "deg", -30.0, 30.0)
    centre = separation - advance if intake_centre_deg is None else intake_centre_deg
    centre = check_number(owner, "intake_centre_deg", centre, "deg", 0.0, 240.0)
    return centre, 2.0 * separation - centre


@dataclass(frozen=True, kw_only=True)
class LiftTable(Description):
    """Measured lift.

    Parameters
    ----------
    angle_deg : sequence of float
        Crank angle from the lobe centre [deg], -360 to 360, strictly increasing, covering at
        most 720 deg.
    lift : sequence of float
        Lift at the valve [m], 0 to 0.03, at most 0.05 mm at both ends, peak at least 0.5 mm.
    lobe_centre_deg : float
        Lobe centre [deg], 0 to 240: after top dead centre of gas exchange for an intake valve,
        before it for an exhaust valve.

    Raises
    ------
    InputError
        If a value is outside its range, the angles do not increase, the valve never opens or
        does not close.

    Notes
    -----
    Between points the lift follows a monotone cubic (Fritsch and Butland 1984, as in
    scipy.interpolate.PchipInterpolator), which never overshoots a measured value.

    Examples
    --------
    >>> LiftTable(angle_deg=(-110, 0, 110), lift=(0, 0.009, 0), lobe_centre_deg=108).lift
    (0.0, 0.009, 0.0)
    """

    angle_deg: tuple[float, ...] = numbers("deg", -360.0, 360.0)
    lift: tuple[float, ...] = numbers("m", 0.0, LIFT_RANGE[1])
    lobe_centre_deg: float = number("deg", 0.0, 240.0)

    def _check(self):
        check_points(self._owner, "angle_deg", self.angle_deg, "lift", self.lift)
        check_number(self._owner, "peak of lift", max(self.lift), "m", *LIFT_RANGE,
                     hint="the valve never opens")
        for i in (0, -1):
            check_number(self._owner, f"lift[{i}]", self.lift[i], "m", 0.0, SEAT_LIFT,
                         hint="the table must start and end at a closed valve")

    @property
    def timing_lift(self) -> float:
        """Lift of the valve at which its timing is told, 0.1 mm."""
        return CHECKING_LIFT

    @classmethod
    def from_csv(
        cls,
        path: str | Path,
        *,
        lobe_centre_deg: float,
        angle: str | None = None,
        lift: str | None = None,
        angle_scale: float = 1.0,
        lift_scale: float = 1.0,
    ) -> "LiftTable":
        """Lift table from two columns of a CSV file with a header line.

        Parameters
        ----------
        path : str or Path
            The file.
        lobe_centre_deg : float
            As for the class [deg].
        angle, lift : str or None
            Names of the columns; None takes the first and the second.
        angle_scale, lift_scale : float
            Factors to crank degrees and metres: 2 for cam degrees, 1e-3 for a lift in mm.

        Raises
        ------
        InputError
            If the file or a column is missing or the table is refused.
        """
        angles, lifts = read_columns(Path(path), (angle, lift), (angle_scale, lift_scale))
        return cls(angle_deg=angles, lift=lifts, lobe_centre_deg=lobe_centre_deg)

    def centre_deg(self, side: str) -> float:
        """Crank angle of the lobe centre [deg] for side "intake" or "exhaust".

        Examples
        --------
        >>> from wavesim import LiftTable
        >>> table = LiftTable(angle_deg=(-110, 0, 110), lift=(0, 0.009, 0), lobe_centre_deg=108)
        >>> table.centre_deg("intake")
        468.0
        """
        return _GAS_EXCHANGE_TDC + (1.0 if side == "intake" else -1.0) * self.lobe_centre_deg

    def lift_at(self, angle_deg: float | np.ndarray) -> float | np.ndarray:
        """Lift [m] at angles from the lobe centre [deg], an array or a number.

        Examples
        --------
        >>> from wavesim import LiftTable
        >>> table = LiftTable(angle_deg=(-110, 0, 110), lift=(0, 0.009, 0), lobe_centre_deg=108)
        >>> round(float(table.lift_at(0.0)), 6)
        0.009
        """
        inside = np.clip(angle_deg, self.angle_deg[0], self.angle_deg[-1])
        return np.where(inside == angle_deg, _curve(self)(inside), 0.0)


@lru_cache(maxsize=64)
def _curve(table):
    """Smooth curve through the points of a LiftTable; made once, it is asked very often."""
    from scipy.interpolate import PchipInterpolator

    return PchipInterpolator(table.angle_deg, table.lift)


@dataclass(frozen=True, kw_only=True)
class FlowCoefficients(Description):
    """Discharge coefficients against lift over valve diameter.

    Parameters
    ----------
    lift_ratio : sequence of float
        Lift over head diameter, 0 to 0.6, strictly increasing.
    forward : sequence of float
        Coefficient in the intended direction (into the cylinder for intake, out of it for
        exhaust), 0.001 to 1.2.
    reverse : sequence of float or None
        Coefficient against it, in the same range; None: as forward.
    reference : {"curtain", "head"}
        Area the coefficients belong to: curtain pi D L, or head pi D^2 / 4.

    Raises
    ------
    InputError
        If a value is outside its range or lengths differ.

    Notes
    -----
    Held constant beyond the last point.  Below the first, a curtain coefficient is held and a
    head coefficient falls in proportion to the lift.

    Examples
    --------
    >>> FlowCoefficients(lift_ratio=(0.1, 0.3), forward=(0.7, 0.5)).reference
    'curtain'
    """

    lift_ratio: tuple[float, ...] = numbers("1", *RATIO_RANGE)
    forward: tuple[float, ...] = numbers("1", 1e-3, 1.2)
    reverse: tuple[float, ...] | None = numbers("1", 1e-3, 1.2, None)
    reference: str = choice(("curtain", "head"), "curtain")

    def _check(self):
        for name in ("forward", "reverse"):
            if getattr(self, name) is not None:
                values = getattr(self, name)
                check_points(self._owner, "lift_ratio", self.lift_ratio, name, values)
        if self.reference == "head":
            check_number(self._owner, "lift_ratio[0]", self.lift_ratio[0], "1", *RATIO_RANGE,
                         low_open=True, hint="with reference 'head' leave out the closed valve")

    @classmethod
    def from_csv(
        cls,
        path: str | Path,
        *,
        lift_ratio: str | None = None,
        forward: str | None = None,
        reverse: str | None = None,
        reference: str = "curtain",
    ) -> "FlowCoefficients":
        """Coefficients from columns of a CSV file with a header line.

        Parameters
        ----------
        path : str or Path
            The file.
        lift_ratio, forward : str or None
            Names of the columns; None takes the first and the second.
        reverse : str or None
            Name of the column for reversed flow; None: as forward.
        reference : {"curtain", "head"}
            As for the class.

        Raises
        ------
        InputError
            If the file or a column is missing or the table is refused.
        """
        names = (lift_ratio, forward) if reverse is None else (lift_ratio, forward, reverse)
        columns = read_columns(Path(path), names, (1.0,) * len(names))
        back = columns[2] if reverse is not None else None
        return cls(lift_ratio=columns[0], forward=columns[1], reverse=back, reference=reference)

    def areas(self, lift: np.ndarray, diameter: float) -> tuple[np.ndarray, np.ndarray]:
        """Effective areas (forward, reverse) of one valve [m2].

        Parameters
        ----------
        lift : ndarray
            Lift [m].
        diameter : float
            Head diameter [m].

        Examples
        --------
        >>> from wavesim import FlowCoefficients
        >>> flow = FlowCoefficients(lift_ratio=(0.1, 0.3), forward=(0.7, 0.6))
        >>> forward, reverse = flow.areas([0.0, 0.009], 0.03)
        >>> float(forward[0]), bool(forward[1] > 0.0)
        (0.0, True)
        """
        lift = np.asarray(lift, dtype=float)
        reverse = self.forward if self.reverse is None else self.reverse
        return tuple(self._area(lift, diameter, c) for c in (self.forward, reverse))

    def _area(self, lift, diameter, coefficients):
        ratio, head = lift / diameter, 0.25 * pi * diameter**2
        if self.reference == "curtain":
            area = np.interp(ratio, self.lift_ratio, coefficients) * pi * diameter * lift
        else:
            area = head * np.interp(ratio, (0.0, *self.lift_ratio), (0.0, *coefficients))
        return np.minimum(area, head)


# Mid-range values for poppet valves, read within the bands of Heywood, Internal Combustion Engine
# Fundamentals (1988), figs. 6-18 and 6-21, and Annand and Roe, Gas Flow in the Internal Combustion
# Engine (1974); from memory.
_RATIOS = (0.05, 0.10, 0.15, 0.20, 0.25, 0.30)
TYPICAL_FLOW = {
    "exhaust": FlowCoefficients(
        lift_ratio=_RATIOS, forward=(0.70, 0.70, 0.67, 0.63, 0.59, 0.55)
    ),
    "intake": FlowCoefficients(
        lift_ratio=_RATIOS, forward=(0.68, 0.68, 0.65, 0.60, 0.55, 0.50)
    ),
}


@dataclass(frozen=True, kw_only=True)
class Valve(Description):
    """The like valves on one side of a cylinder.

    Parameters
    ----------
    diameter : float
        Head diameter, inner seat diameter if known [m], 0.005 to 0.1.
    count : int
        Valves on this side of one cylinder, 1 to 4.
    lift : Cam, CamCard or LiftTable
        Lift against crank angle.
    flow : FlowCoefficients or None
        None: typical published values of the side.
    lash : float
        Running clearance, taken off the lift [m], 0 to 0.002 and below the peak lift.
    advance_deg : float
        Shift of the whole lift curve [deg], -60 to 60, positive earlier.

    Raises
    ------
    InputError
        If a value is outside its range or the lash keeps the valve below the checking lift.

    Examples
    --------
    >>> cam = Cam(opens_deg=20, closes_deg=55, lift="9.5 mm", checking_lift="1 mm")
    >>> Valve(diameter="33 mm", count=2, lift=cam).lift.lift
    0.0095
    """

    diameter: float = number("m", 0.005, 0.1)
    count: int = integer(1, 4, 1)
    lift: Cam | CamCard | LiftTable = part(Cam, CamCard, LiftTable)
    flow: FlowCoefficients | None = part(FlowCoefficients, default=None)
    lash: float = number("m", 0.0, 0.002, 0.0)
    advance_deg: float = number("deg", -60.0, 60.0, 0.0)

    def _check(self):
        peak = self._peak
        check_number(self._owner, "lash", self.lash, "m", 0.0, peak, high_open=True,
                     hint="the valve never opens")
        check_number(self._owner, "checking_lift", self.lift.timing_lift, "m", 0.0,
                     peak - self.lash, low_open=True,
                     hint="with its lash the valve never opens so far")
        if self.lash and getattr(self.lift, "lash", 0.0):
            self._refuse(
                f"lash = {self.lash:g} m stands beside the lash of its CamCard, "
                f"{self.lift.lash:g} m: one of them must be 0 m."
            )

    @property
    def _peak(self):
        """Peak lift without the lash of this valve [m]."""
        lift = self.lift
        return lift.peak_lift if isinstance(lift, CamCard) else float(np.max(lift.lift))

    @property
    def net_lift(self) -> float:
        """Peak lift less all lash [m]."""
        card_lash = self.lift.hot_lash if isinstance(self.lift, CamCard) else 0.0
        return self._peak - self.lash - card_lash

    def summary(self, side: str) -> str:
        """When the valve opens and closes at 0.1 mm and 1 mm of lift, and its peak, as text.

        Lash and advance are in it, however the lift is given.

        Parameters
        ----------
        side : {"intake", "exhaust"}
            Which side it serves.

        Raises
        ------
        InputError
            If there is no such side.

        Examples
        --------
        >>> lift = Cam(opens_deg=45, closes_deg=6, lift=0.0092, checking_lift="1 mm")
        >>> print(Valve(diameter=0.028, lift=lift, advance_deg=2).summary("exhaust"))
        opens 68.7 deg before BDC, closes 25.7 deg after TDC at 0.1 mm of valve lift
        opens 47.0 deg before BDC, closes 4.0 deg after TDC at 1 mm of valve lift
        peak 9.20 mm at 111.5 deg before TDC
        """
        check_choice(self._owner, "side", side, SIDES)
        centre = (_centre(self, side) - _GAS_EXCHANGE_TDC) * (1.0 if side == "intake" else -1.0)

        def events(lift):
            return _beside_dead_centres(side, *seat_events(self, side, lift))

        return _told(side, events, self.net_lift, centre)


def _centre(valve, side):
    return valve.lift.centre_deg(side) - valve.advance_deg


def lift_curve(valve, side, theta_deg):
    """Lift of each valve of one side.

    Parameters
    ----------
    valve : Valve
        The valves.
    side : {"intake", "exhaust"}
        Which side they serve.
    theta_deg : float or ndarray
        Crank angle of the cylinder [deg], any value.

    Returns
    -------
    ndarray
        Lift less lash [m], not negative, shaped like `theta_deg`.
    """
    angle = np.mod(np.asarray(theta_deg) - _centre(valve, side) + 360.0, 720.0) - 360.0
    return np.maximum(valve.lift.lift_at(angle) - valve.lash, 0.0)


def effective_area(valve, side, theta_deg):
    """Effective flow area of all valves of one side together.

    Parameters
    ----------
    valve : Valve
        The valves.
    side : {"intake", "exhaust"}
        Which side they serve.
    theta_deg : float or ndarray
        Crank angle of the cylinder [deg].

    Returns
    -------
    forward, reverse : ndarray
        Coefficient times reference area [m2], at most the area of the heads.  Forward is into
        the cylinder for intake and out of it for exhaust.
    """
    flow = TYPICAL_FLOW[side] if valve.flow is None else valve.flow
    lift = lift_curve(valve, side, theta_deg)
    forward, reverse = flow.areas(lift, valve.diameter)
    return valve.count * forward, valve.count * reverse


@lru_cache(maxsize=256)
def seat_events(valve, side, checking_lift=None):
    """Angles at which the valve passes the checking lift.

    Parameters
    ----------
    valve : Valve
        The valve.
    side : {"intake", "exhaust"}
        Which side it serves.
    checking_lift : float or None
        Lift [m], above 0 and below the peak less lash; None: that of the Cam, 0.1 mm for a table.

    Returns
    -------
    opens_deg, closes_deg : float
        Crank angles of the cylinder [deg], opens < closes.

    Raises
    ------
    InputError
        If the valve never reaches the checking lift.
    """
    level = checking_lift or valve.lift.timing_lift
    centre = _centre(valve, side)
    return _passages(lambda angle: lift_curve(valve, side, angle), centre, level)


def valve_events(exhaust_valve, intake_valve):
    """When the valves of both sides pass one lift: the smaller of the two that they state.

    Only so is an overlap comparable.

    Parameters
    ----------
    exhaust_valve, intake_valve : Valve

    Returns
    -------
    events_deg : dict
        (opens, closes) of each side as lists [deg].
    lift : float
        [m].
    """
    valves = {"exhaust": exhaust_valve, "intake": intake_valve}
    level = min(valve.lift.timing_lift for valve in valves.values())
    return {side: list(seat_events(valve, side, level)) for side, valve in valves.items()}, level


def _passed(lift, side, level):
    """Crank angles at which a lift of a side is passed [deg], opens < closes."""
    centre = lift.centre_deg(side)
    return _passages(lambda angle: lift.lift_at(angle - centre), centre, level)


def _passages(lift_of, centre, level):
    """Angles around a centre [deg] at which a lift [m] is passed."""
    theta = centre + np.arange(-360.0, 360.0, 0.25)
    lift = lift_of(theta)
    check_number("Valve", "checking_lift", level, "m", 0.0, float(lift.max()), low_open=True)

    def is_open(angle):
        return lift_of(angle) >= level

    open_angles = theta[lift >= level]
    opens = _bisect(is_open, open_angles[0], open_angles[0] - 0.25)
    closes = _bisect(is_open, open_angles[-1], open_angles[-1] + 0.25)
    return float(opens), float(closes)
