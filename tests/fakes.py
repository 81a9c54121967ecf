"""Sweeps with chosen numbers, for tests of what is done with results."""

from math import pi
from queue import SimpleQueue

import wavesim.many.work
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


def press_ctrl_c(monkeypatch, after):
    """Interrupt whoever waits for computed points, when it has done so this many times."""
    waits = []

    class Interrupted(SimpleQueue):
        def get(self, **options):
            waits.append(options)
            if options and sum(map(bool, waits)) > after:  # without options it takes what is there
                raise KeyboardInterrupt
            return super().get(**options)

    monkeypatch.setattr(wavesim.many.work, "SimpleQueue", Interrupted)
