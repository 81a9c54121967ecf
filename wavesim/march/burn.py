"""Burn angles that answer to the charge, set anew between cycles.

After a cycle the trapped charge of every cylinder is known.  Where the engine asks for it
(`FlameScaling`) the burn of its next cycle follows from that, so that burn and charge converge
together, as wall temperatures do.
"""

import numpy as np

from wavesim.errors import InputError
from wavesim.gas.flame import PRESSURES, TEMPERATURES
from wavesim.gas.models import EngineGas
from wavesim.kernels import flat as f

LATEST = 359.0  # [deg] after firing dead centre: all must be burned then
EARLIEST = -179.0
_CHARGE = ((f.TRAP_T, TEMPERATURES), (f.TRAP_P, PRESSURES))


def residual_mole_fraction(gas, fresh, burned, mass):
    """Mole fraction of burned gas in a charge.

    Parameters
    ----------
    gas : PerfectGas or EngineGas
    fresh, burned, mass : float or ndarray
        Fresh charge, burned gas and all of it [kg].

    Returns
    -------
    float or ndarray
        Moles are masses times gas constants, but for one common factor.
    """
    return burned * gas.R(0.0, 1.0) / (mass * gas.R(fresh / mass, burned / mass))


def check_burn(engine, gas):
    """Refuse a gas of which no mixture is known where the burn is to follow the mixture."""
    if engine.combustion.scaling is not None and not isinstance(gas, EngineGas):
        raise InputError(
            f"run_point: gas = {gas!r} has no mixture, combustion.scaling needs an EngineGas."
        )


def follow_burn(model, rpm):
    """Give every cylinder the burn that its last charge asks for.

    Parameters
    ----------
    model : Model
        After a cycle; start and duration of combustion are changed.
    rpm : float
        Engine speed [rev/min].

    Returns
    -------
    int
        How many cylinders would burn beyond what the cycle holds, and were held to that.
    """
    combustion = model.engine.combustion
    if combustion.scaling is None:
        return 0
    fuel = model.gas.fuel.name
    limited = 0
    for cyl, charge in zip(model.net.cyl_par, model.record.cyl_sum, strict=True):
        x = float(residual_mole_fraction(
            model.gas, charge[f.TRAP_FRESH], charge[f.TRAP_BURNED], charge[f.TRAP_MASS]
        ))
        ratio = combustion.scaling.angle_ratio(
            fuel, rpm, min(1.0, max(0.0, x)), model.gas.lam,
            *(min(high, max(low, charge[column])) for column, (low, high) in _CHARGE),
        )
        start, duration = combustion.start_and_duration(rpm, ratio)
        held = max(start, EARLIEST), min(duration, LATEST - max(start, EARLIEST))
        limited += held != (start, duration)
        cyl[f.SOC], cyl[f.DURATION] = held
    return limited


def take_burn(model, other):
    """Start with the burn of another model of the same engine."""
    columns = [f.SOC, f.DURATION]
    model.net.cyl_par[:, columns] = other.net.cyl_par[:, columns]


def burn_angles(model):
    """Angles at which 10 %, 50 % and 90 % were burned in the last cycle, (3, n_cyl) [deg].

    Each after the firing dead centre of its own cylinder.
    """
    combustion = model.engine.combustion
    found = [combustion.burn_angles(cyl[f.SOC], cyl[f.DURATION]) for cyl in model.net.cyl_par]
    return np.array(found).T
