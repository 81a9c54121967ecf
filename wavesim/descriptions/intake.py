"""Intake side: inlets, filters, airbox, throttles or carburettors, plenum, runners."""

from dataclasses import dataclass

from wavesim.descriptions.pipes import BORE_RANGE, Tube, line
from wavesim.descriptions.ratings import FlowRating
from wavesim.descriptions.weather import Ambient, of_weather
from wavesim.fields.description import Description, choice, integer, number, part


@dataclass(frozen=True, kw_only=True)
class Intake(Description):
    """Everything between the air and the intake ports.

    ::

        throttle_at = "inlet":   air | inlet | (airbox | duct) | throttle | plenum | runners
        throttle_at = "runner":  air | inlet | plenum | stacks | throttles | runners
        without a plenum:        air | stacks | throttles | runners

    A filter stands in the mouth of every inlet, or of every stack where there is no plenum.

    Parameters
    ----------
    runner : Pipe, Bend or sequence of them
        Line to the intake port, the same for every cylinder: from the plenum, or from the throttle
        of the cylinder.
    plenum_volume : float or None
        Gas volume of the plenum, or of the airbox from which the stacks draw [m3], 1e-5 to 0.1;
        None: every cylinder draws from the open air by itself.
    throttle_diameter : float or None
        Bore of every throttle [m], 0.003 to 0.5 and no larger than the line before it; None: there
        is none, or a carburettor in its place.
    plate_angle_deg : float
        Plate of every throttle or carburettor [deg], 8 (closed) to 90 (wide open).
    throttle_at : {"inlet", "runner"}
        Where throttles or carburettors stand: one in every inlet, before the plenum, or one for
        every cylinder, as on motorcycles.
    carburettor : FlowRating or None
        Instead of a throttle: flow of one carburettor on a bench, its throttle wide open.
    inlet : Pipe, Bend or sequence of them
        Line from the open air to throttle, airbox or plenum; () without a plenum.
    inlets : int
        How many such lines there are, each with its throttle or carburettor if these stand in the
        inlets, 1 to 8.
    filter : FlowRating or None
        Loss of pressure of one air filter at a flow.
    airbox_volume : float or None
        Gas volume of a box between the inlets and their throttles [m3], 1e-5 to 0.1.
    airbox_duct : Pipe, Bend or sequence of them
        Line from that box to each throttle; () without a box.
    stack : Pipe, Bend or sequence of them
        Line before the throttle of every cylinder, from the plenum or the open air; () makes it as
        long as it is wide.
    entry_loss : float
        Loss coefficient of the air entering from the open air, 0 to 10; 0.05 is a well rounded
        bell-mouth (Idelchik, Diagram 3-4, r/D = 0.17).
    ambient : Ambient or None
        The air outside; None: the weather.

    Raises
    ------
    InputError
        If a value is outside its range or the values do not fit together.

    Examples
    --------
    A plenum behind one throttle, throttles of a motorcycle in their airbox, open stacks with a
    carburettor each, and a plenum with two throttles behind a common box:

    >>> from wavesim.descriptions.pipes import Pipe
    >>> runner, pipe = Pipe("0.15 m", "38 mm"), Pipe("0.3 m", "60 mm")
    >>> car = Intake(runner=runner, plenum_volume="4 litre", throttle_diameter="60 mm", inlet=pipe)
    >>> motorcycle = Intake(runner=runner, plenum_volume="8 litre", throttle_diameter="38 mm",
    ...                     throttle_at="runner", inlet=pipe, inlets=2,
    ...                     filter=FlowRating("150 cfm", "10 inH2O"), stack=Pipe(0.05, 0.038))
    >>> stacks = Intake(runner=runner, plenum_volume=None, throttle_diameter=None,
    ...                 throttle_at="runner", stack=Pipe("60 mm", "40 mm"),
    ...                 carburettor=FlowRating("110 cfm", "1.5 inHg"))
    >>> twin = car.replace(inlets=2, airbox_volume="6 litre", airbox_duct=Pipe("0.2 m", "60 mm"))
    """

    runner: tuple[Tube, ...] = line()
    plenum_volume: float | None = number("m3", 1e-5, 0.1, optional=True)
    throttle_diameter: float | None = number("m", *BORE_RANGE, optional=True)
    plate_angle_deg: float = number("deg", 8.0, 90.0, 90.0)
    throttle_at: str = choice(("inlet", "runner"), "inlet")
    carburettor: FlowRating | None = part(FlowRating, default=None, optional=True)
    inlet: tuple[Tube, ...] = line(())
    inlets: int = integer(1, 8, 1)
    filter: FlowRating | None = part(FlowRating, default=None, optional=True)
    airbox_volume: float | None = number("m3", 1e-5, 0.1, None)
    airbox_duct: tuple[Tube, ...] = line(())
    stack: tuple[Tube, ...] = line(())
    entry_loss: float = number("1", 0.0, 10.0, 0.05)
    ambient: Ambient | None = part(Ambient, default=None, **of_weather())

    def _check(self):
        if self.throttle_diameter is not None and self.carburettor is not None:
            self._refuse(
                f"throttle_diameter = {self.throttle_diameter:g} m stands beside a carburettor, "
                "whose rating includes its throttle; give throttle_diameter = None."
            )
        if not self.is_throttled and self.plate_angle_deg != 90.0:
            self._refuse(
                f"plate_angle_deg = {self.plate_angle_deg:g} deg has no throttle to turn; give a "
                "throttle_diameter or a carburettor."
            )
        if self.plenum_volume is None:
            self._check_open()
        elif not self.inlet:
            self._refuse("inlet = () must hold at least one Pipe before a plenum.")
        if (self.airbox_volume is None) != (not self.airbox_duct):
            self._refuse("give both airbox_volume and airbox_duct, or neither.")
        if self.airbox_volume is not None and self.throttle_at == "runner":
            self._refuse(
                "airbox_volume with throttle_at = 'runner' is one box too many; the airbox from "
                "which the stacks draw is the plenum_volume."
            )
        if self.stack and self.throttle_at == "inlet":
            self._refuse("stack needs throttle_at = 'runner'; lengthen the runner instead.")

    def _check_open(self):
        """Refuse what needs a plenum where there is none."""
        if self.throttle_at == "inlet":
            self._refuse(
                "plenum_volume = None needs throttle_at = 'runner', one throttle or carburettor "
                "for every cylinder (or none)."
            )
        for name, unset in (("inlet", ()), ("inlets", 1), ("airbox_volume", None)):
            if getattr(self, name) != unset:
                self._refuse(f"{name} needs a plenum_volume; without a plenum the air comes by the "
                             "stacks.")

    @property
    def is_throttled(self) -> bool:
        """True if it has throttles or carburettors."""
        return self.throttle_diameter is not None or self.carburettor is not None
