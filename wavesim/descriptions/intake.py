"""Intake side: runners, plenum, throttle, inlet."""

from dataclasses import dataclass

from wavesim.descriptions.pipes import BORE_RANGE, Tube, line
from wavesim.descriptions.weather import Ambient, of_weather
from wavesim.fields.description import Description, number, part


@dataclass(frozen=True, kw_only=True)
class Intake(Description):
    """Everything between the air and the intake ports.

    Parameters
    ----------
    runner : Pipe, Bend or sequence of them
        Line from the plenum to the intake port, the same for every cylinder.
    plenum_volume : float
        Gas volume of the plenum [m3], 1e-5 to 0.1.
    throttle_diameter : float
        Bore of the throttle [m], 0.003 to 0.5 and no larger than the inlet line at its end.
    plate_angle_deg : float
        Throttle plate [deg], 8 (closed) to 90 (wide open).
    inlet : Pipe, Bend or sequence of them
        Line from the open air to the throttle.
    entry_loss : float
        Loss coefficient of the air entering the inlet, 0 to 10; 0.05 is a well rounded
        bell-mouth (Idelchik, Diagram 3-4, r/D = 0.17).
    ambient : Ambient or None
        The air outside; None: the weather.

    Raises
    ------
    InputError
        If a value is outside its range.
    """

    runner: tuple[Tube, ...] = line()
    plenum_volume: float = number("m3", 1e-5, 0.1)
    throttle_diameter: float = number("m", *BORE_RANGE)
    plate_angle_deg: float = number("deg", 8.0, 90.0, 90.0)
    inlet: tuple[Tube, ...] = line()
    entry_loss: float = number("1", 0.0, 10.0, 0.05)
    ambient: Ambient | None = part(Ambient, default=None, **of_weather())
