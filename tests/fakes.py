"""Sweeps with chosen numbers, for tests of what is done with results."""

from math import pi

from wavesim.results.points import Point, Sweep
from wavesim.show.quantities import QUANTITIES


def fake_value(name):
    """The value of a quantity in every fake point, another for each: 1.00, 1.01, ... in order."""
    return 1.0 + 0.01 * list(QUANTITIES).index(name)


def fake_sweep(rpm, torque, name="fake", loose=(), failures=None):
    """Sweep whose torque is given; power follows, all other quantities differ from one another.

    Speeds in `loose` are marked as not converged.
    """
    points = []
    for speed, value in zip(rpm, torque, strict=True):
        values = {name: fake_value(name) for name in QUANTITIES}
        values |= {"torque": float(value), "power": float(value) * speed * pi / 30.0}
        audit = {"converged": speed not in loose, "cycles": 5, "tolerance": 5e-4,
                 "mass_error": 0.0, "energy_error": 0.0}
        points.append(Point(float(speed), values, {}, None, audit, {}))
    return Sweep(points, failures, name)
