"""Sweeps with chosen numbers, for tests of what is done with results."""

from math import pi

from wavesim.results.points import Point, Sweep
from wavesim.show.quantities import QUANTITIES


def fake_sweep(rpm, torque, name="fake", loose=(), failures=None):
    """Sweep whose torque is given; power follows, all other quantities are 1.

    Speeds in `loose` are marked as not converged.
    """
    points = []
    for speed, value in zip(rpm, torque, strict=True):
        values = dict.fromkeys(QUANTITIES, 1.0)
        values |= {"torque": float(value), "power": float(value) * speed * pi / 30.0}
        audit = {"converged": speed not in loose, "cycles": 5, "tolerance": 5e-4,
                 "mass_error": 0.0, "energy_error": 0.0}
        points.append(Point(float(speed), values, {}, None, audit, {}))
    return Sweep(points, failures, name)
