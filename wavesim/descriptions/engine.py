"""The engine: geometry, firing, valves, ports, intake, combustion, friction, fuel."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate
from math import pi, sqrt

from wavesim.constants import LAMBDA_RANGE, MAX_CYLINDERS
from wavesim.descriptions.combustion import ChenFlynn, Wiebe, Woschni
from wavesim.descriptions.intake import Intake
from wavesim.descriptions.pipes import Tube, line
from wavesim.descriptions.valves import CHECKING_LIFT, Valve, seat_events
from wavesim.errors import InputError, check_int, check_number, shown
from wavesim.fields.description import Description, checked, number, numbers, part, sequence, text
from wavesim.gas.flame import FLAMES
from wavesim.gas.fuels import Fuel, known_fuel
from wavesim.guard import guarded

CYCLE_DEG = 720.0
MOST_IN_LINE = 4  # cylinders that are taken to stand in one bank if nothing else is said


def _firing_order(owner, name, value):
    order = sequence(owner, name, value, "cylinder numbers")
    order = tuple(
        check_int(owner, f"{name}[{i}]", number, 1, MAX_CYLINDERS) for i, number in enumerate(order)
    )
    if not order or sorted(order) != list(range(1, len(order) + 1)):
        raise InputError(
            f"{owner}: {name} = {order!r} (no unit) must hold every cylinder number from 1 to "
            f"{max(len(order), 1)} exactly once."
        )
    return order


def _banks(owner, name, value):
    banks = sequence(owner, name, value, "bank numbers")
    return tuple(check_int(owner, f"{name}[{i}]", bank, 1, 8) for i, bank in enumerate(banks))


def _fuel(owner, name, value):
    return value if isinstance(value, Fuel) else known_fuel(owner, name, value)


def _check_sum(whose, intervals):
    total = sum(intervals)
    if abs(total - CYCLE_DEG) > 1e-6:
        raise InputError(f"{whose}: the sum = {total:.9g} deg must be {CYCLE_DEG:g} deg.")


@dataclass(frozen=True, kw_only=True)
class Engine(Description):
    """A four-stroke spark-ignition engine with any number of cylinders.

    Parameters
    ----------
    name : str
        For legends and reports.
    bore : float
        Cylinder bore [m], 0.02 to 0.3.
    stroke : float
        Twice the crank throw [m], 0.02 to 0.4.
    rod : float
        Length of the connecting rod between centres [m], 0.03 to 1, longer than the crank throw.
    compression_ratio : float
        Largest over smallest cylinder volume, above 1, at most 25.
    firing_order : sequence of int
        Cylinder numbers in the order of firing; its length is the number of cylinders, (1,) for a
        single.
    firing_intervals_deg : sequence of float or None
        Crank angle from each firing in `firing_order` to the next [deg], 0 to 720, summing to
        720; the last leads back to the first.  None: even firing.
    banks : sequence of int or None
        Bank of every cylinder, by cylinder number, 1 to 8; None: all in one bank.  It must be given
        where the order alone does not say it: of more than four cylinders, and of uneven firing.
    pin_offset : float
        Offset of the piston pin from the cylinder axis [m], positive towards the thrust side, at
        most half of what rod and throw allow.
    intake_valve, exhaust_valve : Valve
        Valves of one cylinder.
    intake_port : Pipe, Bend or sequence of them
        Line from the runner to the intake valve.
    exhaust_port : Pipe, Bend or sequence of them
        Line from the exhaust valve to the primary.
    intake : Intake
        Runners, plenum, throttle and inlet.
    combustion : Wiebe
        Heat release.
    heat : Woschni
        Heat to the cylinder walls.
    friction : ChenFlynn
        Friction.
    fuel : str or Fuel
        One of the names in `wavesim.gas.fuels.FUELS`, or a Fuel; "petrol" is gasoline.
    air_fuel_lambda : float
        Air-fuel ratio over the stoichiometric one, 0.6 to 1.6.

    Raises
    ------
    InputError
        If a value is outside its range or the values do not fit together.

    Examples
    --------
    >>> import wavesim as ws
    >>> lift = {"lift": "9 mm", "checking_lift": "1 mm"}
    >>> single = Engine(
    ...     bore="96 mm", stroke="62 mm", rod="105 mm", compression_ratio=11.5, firing_order=(1,),
    ...     intake_valve=Valve(diameter="37 mm", count=2,
    ...                        lift=ws.Cam(opens_deg=20, closes_deg=55, **lift)),
    ...     exhaust_valve=Valve(diameter="31 mm", count=2,
    ...                         lift=ws.Cam(opens_deg=55, closes_deg=20, **lift)),
    ...     intake_port=ws.Pipe("90 mm", "46 mm"), exhaust_port=ws.Pipe("70 mm", "40 mm"),
    ...     intake=Intake(runner=ws.Pipe("140 mm", "46 mm"), plenum_volume=None,
    ...                   throttle_diameter="46 mm", throttle_at="runner"),
    ...     fuel="petrol")
    >>> print(f"{1e6 * single.displacement:.0f} cm3, {single.fuel}")
    449 cm3, gasoline
    """

    name: str = text("")
    bore: float = number("m", 0.02, 0.3)
    stroke: float = number("m", 0.02, 0.4)
    rod: float = number("m", 0.03, 1.0)
    compression_ratio: float = number("1", 1.0, 25.0, low_open=True)
    firing_order: tuple[int, ...] = checked(
        _firing_order, such_as="(1,) for a single, (1, 3, 4, 2) for a four"
    )
    firing_intervals_deg: tuple[float, ...] | None = numbers("deg", 0.0, CYCLE_DEG, None)
    banks: tuple[int, ...] | None = checked(_banks, None)
    pin_offset: float = number("m", -0.05, 0.05, 0.0)
    intake_valve: Valve = part(Valve)
    exhaust_valve: Valve = part(Valve)
    intake_port: tuple[Tube, ...] = line()
    exhaust_port: tuple[Tube, ...] = line()
    intake: Intake = part(Intake)
    combustion: Wiebe = part(Wiebe, default=Wiebe())
    heat: Woschni = part(Woschni, default=Woschni())
    friction: ChenFlynn = part(ChenFlynn, default=ChenFlynn())
    fuel: str | Fuel = checked(_fuel, "gasoline", kinds=(Fuel,))
    air_fuel_lambda: float = number("1", *LAMBDA_RANGE, default=1.0)

    def _check(self):
        owner, throw = self._owner, 0.5 * self.stroke
        check_number(owner, "rod", self.rod, "m", throw, 1.0, low_open=True,
                     hint="longer than the crank throw")
        widest = 0.5 * (self.rod - throw)
        check_number(owner, "pin_offset", self.pin_offset, "m", -widest, widest)
        for side in ("intake_valve", "exhaust_valve"):
            diameter = getattr(self, side).diameter
            check_number(owner, f"{side}.diameter", diameter, "m", 0.005, self.bore,
                         high_open=True, hint="smaller than the bore")
        self._check_firing()
        self._check_flame()

    def _check_flame(self):
        scaling = self.combustion.scaling
        name = self.fuel if isinstance(self.fuel, str) else self.fuel.name
        if scaling is not None and scaling.fuel is None and name not in FLAMES:
            self._refuse(
                f"combustion.scaling knows no burning velocity of {name!r}, give scaling.fuel as "
                f"one of {', '.join(map(repr, FLAMES))}."
            )

    def _check_firing(self):
        for name in ("firing_intervals_deg", "banks"):
            values = getattr(self, name)
            if values is not None and len(values) != self.cylinders:
                self._refuse(
                    f"{name} = {values!r} has {len(values)} entries, must have {self.cylinders}, "
                    "one per cylinder."
                )
        if self.firing_intervals_deg is not None:
            _check_sum(f"{self._owner}: firing_intervals_deg", self.firing_intervals_deg)
        if self.banks is None:
            self._check_one_bank()

    def _check_one_bank(self):
        """Refuse to guess the banks where both in line and V are common."""
        count, intervals = self.cylinders, self.firing_intervals_deg or ()
        uneven = bool(intervals) and max(intervals) - min(intervals) > 1e-6
        if count <= MOST_IN_LINE and not uneven:
            return
        why = "uneven firing" if uneven else f"{count} cylinders"
        vee = tuple(1 + n % 2 for n in range(count))
        self._refuse(
            f"banks = None must be stated with {why}: {(1,) * count} if all are in one bank, or "
            f"such as {vee} in a V."
        )

    @property
    def cylinders(self) -> int:
        """Number of cylinders."""
        return len(self.firing_order)

    @property
    def bore_area(self) -> float:
        """Area of one bore [m2]."""
        return 0.25 * pi * self.bore**2

    @property
    def piston_travel(self) -> float:
        """Distance between the dead centres [m]; equal to the stroke without pin offset."""
        throw, offset = 0.5 * self.stroke, self.pin_offset
        top = sqrt((self.rod + throw) ** 2 - offset**2)
        return top - sqrt((self.rod - throw) ** 2 - offset**2)

    @property
    def displacement(self) -> float:
        """Swept volume of all cylinders together [m3]."""
        return self.cylinders * self.bore_area * self.piston_travel

    @property
    def clearance_volume(self) -> float:
        """Volume above the piston of one cylinder at top dead centre [m3]."""
        return self.displacement / self.cylinders / (self.compression_ratio - 1.0)

    @property
    def firing_angles_deg(self) -> tuple[float, ...]:
        """Crank angle of firing top dead centre, by cylinder number, cylinder 1 at 0 [deg]."""
        even = (CYCLE_DEG / self.cylinders,) * self.cylinders
        intervals = self.firing_intervals_deg or even
        reached = accumulate(intervals[:-1], initial=0.0)
        angles = dict(zip(self.firing_order, reached, strict=True))
        return tuple((angles[n] - angles[1]) % CYCLE_DEG for n in sorted(angles))

    def valve_timing(self) -> str:
        """When the valves open and close, and how long both are open, as text.

        Returns
        -------
        str
            For both sides what `Valve.summary` says, and the overlap at 1 mm of lift; negative
            where the exhaust valve is down to 1 mm before the intake valve reaches it.

        Examples
        --------
        >>> import wavesim as ws
        >>> engine = ws.load(ws.demo_path("collector")).engine
        >>> print(engine.valve_timing().splitlines()[0])
        intake valve opens 29.2 deg before TDC, closes 69.4 deg after BDC at 0.1 mm of valve lift
        """
        valves = {"intake": self.intake_valve, "exhaust": self.exhaust_valve}
        lines = [
            f"{side} valve {line}" for side, valve in valves.items()
            for line in valve.summary(side).splitlines()
        ]  # fmt: skip
        lift = 10.0 * CHECKING_LIFT
        if all(valve.net_lift > lift for valve in valves.values()):
            opens, _ = seat_events(self.intake_valve, "intake", lift)
            _, closes = seat_events(self.exhaust_valve, "exhaust", lift)
            lines.append(f"overlap {closes - opens:.1f} deg at {1e3 * lift:g} mm of valve lift")
        return "\n".join(lines)

    def mean_piston_speed(self, rpm: float) -> float:
        """Mean piston speed [m/s].

        Parameters
        ----------
        rpm : float
            Engine speed [rev/min].

        Examples
        --------
        >>> import wavesim as ws
        >>> engine = ws.load(ws.demo_path("collector")).engine
        >>> round(engine.mean_piston_speed(6000), 2) == round(2 * engine.stroke * 100, 2)
        True
        """
        return 2.0 * self.piston_travel * rpm / 60.0


@guarded
def vee_firing_intervals(
    firing_order: Sequence[int],
    banks: Sequence[int],
    pin_angles_deg: Sequence[float],
    bank_angle_deg: float,
) -> tuple[float, ...]:
    """Firing intervals of a V engine from its crankshaft.

    Parameters
    ----------
    firing_order : sequence of int
        Cylinder numbers in the order of firing.
    banks : sequence of int
        Bank of every cylinder by cylinder number, 1 or 2.
    pin_angles_deg : sequence of float
        Angle of every cylinder's crank pin by cylinder number, -360 to 360 [deg], counted in the
        direction of rotation with the crank at rest.
    bank_angle_deg : float
        Angle from bank 1 to bank 2 in the direction of rotation, -180 to 180 [deg].

    Returns
    -------
    tuple of float
        For `Engine.firing_intervals_deg`, summing to 720.

    Raises
    ------
    InputError
        If the crankshaft does not allow this order within 720 deg.

    Notes
    -----
    A piston is at top dead centre once per turn, when its pin points along its cylinder.  Each
    firing takes the next such moment; where that needs one turn only (one or two cylinders, for
    example), the other turn goes to the shortest interval, which is the most even choice.

    Examples
    --------
    A twin at 90 deg on one pin:

    >>> vee_firing_intervals((1, 2), (1, 2), (0, 0), 90)
    (450.0, 270.0)
    """
    owner = "vee_firing_intervals"
    order = _firing_order(owner, "firing_order", firing_order)
    bank_angle = check_number(owner, "bank_angle_deg", bank_angle_deg, "deg", -180.0, 180.0)
    banks = sequence(owner, "banks", banks, "bank numbers")
    pin_angles_deg = sequence(owner, "pin_angles_deg", pin_angles_deg, "angles [deg]")
    for name, values in (("banks", banks), ("pin_angles_deg", pin_angles_deg)):
        if len(values) != len(order):
            raise InputError(
                f"{owner}: {name} = {shown(values)} must have {len(order)} entries, one per "
                "cylinder."
            )
    centres = [
        (bank_angle if check_int(owner, f"banks[{i}]", bank, 1, 2) == 2 else 0.0)
        - check_number(owner, f"pin_angles_deg[{i}]", pin, "deg", -360.0, 360.0)
        for i, (bank, pin) in enumerate(zip(banks, pin_angles_deg, strict=True))
    ]
    following = order[1:] + order[:1]
    intervals = [
        360.0 - (centres[a - 1] - centres[b - 1]) % 360.0
        for a, b in zip(order, following, strict=True)
    ]
    if abs(sum(intervals) - 360.0) < 1e-6:
        intervals[intervals.index(min(intervals))] += 360.0
    _check_sum(f"{owner}: firing_order = {order} on this crankshaft", intervals)
    return tuple(intervals)
