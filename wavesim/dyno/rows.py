"""From the rows of a log to the curves of its pulls, with a sentence on all that is odd about them.

What a curve needs is one value at each of some increasing speeds.  A log holds what its maker
recorded: a pull upward and the coasting after it, rows written twice, rows before the engine ran, a
stretch in which the recorder slept.  What can be put right without a choice is put right and told
in the notes of the curve; where there is a choice it is the user's, and what must be wrong, such as
a unit, is refused.
"""

from math import inf, pi

import numpy as np

from wavesim.constants import AIR_PRESSURE_RANGE, LAMBDA_RANGE, RPM_RANGE
from wavesim.dyno.logfile import SI_UNITS, factors
from wavesim.errors import InputError
from wavesim.results.curves import Curve
from wavesim.units import hp, kW, metric_hp

#: Least and largest value by name, in SI units: beyond them a unit must be wrong.
LIMITS = {
    "torque": (-1e5, 1e5), "power": (-1e7, 1e7), "bmep": (-1e7, 1e7),
    "barometer": AIR_PRESSURE_RANGE, "inlet_air_temperature": (220.0, 340.0),
    "relative_humidity": (0.0, 1.0), "exhaust_temperature": (220.0, 2000.0),
    "air_fuel_lambda": (0.2, 10.0 * LAMBDA_RANGE[1]), "air_fuel_ratio": (1.0, 200.0),
    "air_mass_flow": (0.0, 10.0), "fuel_mass_flow": (0.0, 1.0), "back_pressure": (-1e5, 5e5),
}  # fmt: skip

#: Share of the range of speed by which a speed must turn back to end a sweep; less is jitter.
TURN = 0.05
#: A gap is so many times the usual distance of two speeds, and so large a share of the range.
GAP_STEPS, GAP_SHARE = 3.0, 0.05
#: Speeds all below this in "rev/min" are revolutions per second, unless power and torque say no.
SLOW = 400.0
#: Units that are mistaken for one another: SI value of one, by words.
_TAKEN = {
    "torque": {unit: factors(unit, "N m")[0] for unit in ("N m", "lb ft", "kgf m")},
    "power": {"W": 1.0, "kW": kW, "hp": hp, "PS": metric_hp},
    "rpm": {"rev/min": 1.0, "rev/s": 60.0, "rad/s": factors("rad/s", "rev/min")[0],
            "thousand rev/min": 1e3},
}  # fmt: skip
_SAME = 0.015  # relative: two ratios that are one
_TOLD, _LARGEST = 0.01, 0.2  # relative: disagreement of power that is told, and that is refused


def curves_of(log, name, direction=None):
    """Curves of all pulls of a log.

    Parameters
    ----------
    log : Log
    name : str
        Of the curve; several are numbered.
    direction : {"up", "down", "all"} or None
        Which sweeps are wanted, each a pull, or all rows as one pull; None: there must be one sweep
        alone.

    Returns
    -------
    list of Curve
        Each with notes on what was odd.

    Raises
    ------
    InputError
        If speeds are not speeds, there are several sweeps and no direction, or power and torque
        show that a unit is wrong.
    """
    log, notes = _running(log)
    _check_mixture(log)
    _check_power(log)
    _check_limits(log)
    log, repeated = _without_repeats(log)
    stretches = _wanted(log, _stretches(log.values["rpm"]), direction)
    outside = log.lines.size - len({i for first, last in stretches for i in range(first, last + 1)})
    if outside:
        notes.append(f"{_rows(outside)} outside of the sweep left out.")
    curves = []
    for i, (first, last) in enumerate(stretches, start=1):
        label = name if len(stretches) == 1 else f"{name}, {i}"
        values = {key: column[first : last + 1] for key, column in log.values.items()}
        falls = values["rpm"][0] > values["rpm"][-1]
        values, merged = _by_speed(log.owner, values)
        own = [*notes, *repeated, *merged, *_gap_notes(values["rpm"]), *_power_notes(values)]
        if falls:
            own.insert(0, "The speed falls in this pull.")
        rpm = values.pop("rpm")
        curves.append(Curve(label, rpm, values, units=log.units, notes=own))
    return curves


def gaps(rpm):
    """Pairs of speeds between which a curve has a gap.

    Parameters
    ----------
    rpm : ndarray, (n,)
        Increasing [rev/min].

    Examples
    --------
    >>> gaps(np.array([2000.0, 2250.0, 2500.0, 2750.0, 4000.0, 4250.0, 4500.0]))
    [(2750.0, 4000.0)]
    """
    steps = np.diff(rpm)
    if steps.size < 3:
        return []
    wide = (steps > GAP_STEPS * np.median(steps)) & (steps > GAP_SHARE * (rpm[-1] - rpm[0]))
    return [(float(rpm[i]), float(rpm[i + 1])) for i in np.flatnonzero(wide)]


def _gap_notes(rpm):
    return [f"No row between {low:.0f} and {high:.0f} rev/min: what is read there is a straight "
            "line." for low, high in gaps(rpm)]


# --- rows -----------------------------------------------------------------------------------------


def _kept(log, rows):
    return log._replace(lines=log.lines[rows],
                        values={name: column[rows] for name, column in log.values.items()})


def _running(log):
    """The rows in which the engine runs, and notes on the others."""
    rpm = log.values["rpm"]
    known = ~np.isnan(rpm)
    _check_speeds(log, rpm[known])
    runs = known & (rpm >= RPM_RANGE[0])
    notes = []
    if not known.all():
        notes.append(f"{_rows(np.sum(~known))} without a speed left out.")
    if np.any(known & ~runs):
        notes.append(f"{_rows(np.sum(known & ~runs))} below {RPM_RANGE[0]:g} rev/min left out.")
    if runs.sum() < 2:
        count = int(runs.sum())
        raise InputError(f"{log.owner}: {_rows(count)} hold{'s' * (count == 1)} a speed of a "
                         "running engine, at least 2 are needed.")
    return _kept(log, runs), notes


def _rows(count):
    return f"{count} row" if count == 1 else f"{count} rows"


def _check_speeds(log, rpm):
    """Refuse speeds that must be revolutions per second, or are no speeds of an engine."""
    if not rpm.any():
        raise InputError(f"{log.owner}: no row holds the speed of a running engine.")
    _refuse_beyond(log, "rpm", 0.0, RPM_RANGE[1])
    if rpm.max() >= SLOW or _agrees(log):
        return
    guess = "thousand rev/min ('krpm')" if rpm.max() < 0.1 * RPM_RANGE[0] else "rev/s"
    raise InputError(f"{log.owner}: rpm reaches {rpm.max():.4g} rev/min at most, no speed of an "
                     f"engine; are the speeds in {guess}?")


def _agrees(log):
    """True where torque and power are there and vouch for the speeds."""
    ratio = _ratio(log.values)
    return ratio is not None and abs(np.log(np.median(ratio))) < _TOLD


def _without_repeats(log):
    """Rows that do not repeat the row before them."""
    table = np.array(list(log.values.values()))
    same = np.all((table[:, 1:] == table[:, :-1])
                  | (np.isnan(table[:, 1:]) & np.isnan(table[:, :-1])), axis=0)
    if not same.any():
        return log, []
    count = int(same.sum())
    told = f"{_rows(count)} repeat{'s' if count == 1 else ''} the one before and count once."
    return _kept(log, np.append(True, ~same)), [told]


def _by_speed(owner, values):
    """Rows in order of speed, those of one speed as their mean."""
    rpm, place, count = np.unique(values["rpm"], return_inverse=True, return_counts=True)
    if rpm.size < 2:
        raise InputError(f"{owner}: all rows hold the speed {rpm[0]:g} rev/min, at least 2 speeds "
                         "are needed.")
    place = place.reshape(-1)
    means = {"rpm": rpm}
    for name, column in values.items():
        if name != "rpm":
            there = ~np.isnan(column)
            sums = np.bincount(place[there], column[there], rpm.size)
            with np.errstate(invalid="ignore"):
                means[name] = sums / np.bincount(place[there], minlength=rpm.size)
    twice = int(np.sum(count > 1))
    told = f"{twice} speed{' stands' if twice == 1 else 's stand'} there more than once, read as "
    return means, [f"{told}the mean."] if twice else []


# --- sweeps ---------------------------------------------------------------------------------------


def _stretches(rpm):
    """(first row, last row) of all rising and falling stretches of the speed."""
    least = TURN * float(np.ptp(rpm))
    corners, rising, high, low = [0], None, 0, 0
    for i, speed in enumerate(rpm):
        high = i if speed > rpm[high] else high
        low = i if speed < rpm[low] else low
        if rising is not False and rpm[high] - speed > least:
            corners += [high] if rising else []
            rising, high, low = False, i, i
        elif rising is not True and speed - rpm[low] > least:
            corners += [low] if rising is False else []
            rising, high, low = True, i, i
    stops = [*corners[1:], rpm.size - 1]
    return [(_last_alike(rpm, start), stop)
            for start, stop in zip(corners, stops, strict=True) if stop > start]


def _last_alike(rpm, row):
    """Last row of those that follow with the same speed, where a sweep has turned."""
    while 0 < row < rpm.size - 1 and rpm[row + 1] == rpm[row]:
        row += 1
    return row


def _wanted(log, stretches, direction):
    """The stretches that are asked for; those of a single step are jumps back."""
    rpm = log.values["rpm"]
    long = [(first, last) for first, last in stretches if last - first > 1]
    long = long or stretches
    if direction == "all":
        return [(0, rpm.size - 1)]
    if direction is None:
        if len(long) > 1:
            up = sum(rpm[last] > rpm[first] for first, last in long)
            raise InputError(
                f"{log.owner}: the speed rises {_times(up)} and falls {_times(len(long) - up)}, "
                f"it first turns at line {log.lines[stretches[0][1]]}; direction='up' or 'down' "
                "reads each rising or falling sweep as a pull."
            )
        return long
    chosen = [(first, last) for first, last in long
              if (rpm[last] > rpm[first]) == (direction == "up")]
    if not chosen:
        raise InputError(f"{log.owner}: no sweep goes {direction}, the speed "
                         f"{'falls' if direction == 'up' else 'rises'} all along.")
    return chosen


def _times(count):
    return {0: "never", 1: "once", 2: "twice"}.get(count, f"{count} times")


# --- units ----------------------------------------------------------------------------------------


def _ratio(values):
    """Power over torque times angular speed where both are well above zero, or None."""
    if not {"torque", "power"} <= set(values):
        return None
    made = values["torque"] * values["rpm"] * (pi / 30.0)
    power = values["power"]
    with np.errstate(invalid="ignore"):
        well = (power > 0.0) & (made > 0.0)
        well &= made > 0.2 * np.nanmax(made, initial=0.0)
        well &= power > 0.2 * np.nanmax(power, initial=0.0)
    return power[well] / made[well] if well.sum() > 1 else None


def _check_power(log):
    """Refuse power and torque that show a unit to be wrong."""
    ratio = _ratio(log.values)
    if ratio is None:
        return
    middle = float(np.median(ratio))
    likely = _slips(log.factors, middle)
    if abs(middle - 1.0) <= _LARGEST and not likely:
        return
    guess = f"perhaps {' or '.join(likely[:2])}" if likely else "map one of them only"
    raise InputError(f"{log.owner}: power contradicts torque times speed, it is {middle:.4g} times "
                     f"as large; {guess}.")


def _slips(stated, ratio):
    """Words for the mistaken units that make power so many times torque times speed."""
    found = []
    for quantity, units in _TAKEN.items():
        for word, factor in units.items():
            share = factor / stated[quantity]
            share = 1.0 / share if quantity == "power" else share
            far = abs(np.log(ratio / share))
            if far < _SAME and abs(share - 1.0) > 1e-6:
                verb = "the speeds are" if quantity == "rpm" else f"{quantity} is"
                found.append((far, f"{verb} in {word}"))
    return [words for _, words in sorted(found)]


def _power_notes(values):
    """Sentences on power that goes with torque and speed, but not well."""
    ratio = _ratio(values)
    if ratio is None:
        return []
    percent = 100.0 * (float(np.median(ratio)) - 1.0)
    if abs(percent) > 100.0 * _TOLD:
        return [f"Power is {abs(percent):.1f} % {'above' if percent > 0.0 else 'below'} torque "
                "times speed: perhaps one of them was corrected and the other not."]
    off = int(np.sum(np.abs(ratio - 1.0) > 5.0 * _TOLD))
    speeds = f"{off} speed" if off == 1 else f"{off} speeds"
    return [f"At {speeds} power contradicts torque times speed by more than 5 %."] if off else []


def _check_limits(log):
    """Refuse values that cannot be, for their unit must be wrong."""
    for quantity in log.values:
        if quantity != "rpm":
            _refuse_beyond(log, quantity, *LIMITS.get(quantity, (-inf, inf)))


def _refuse_beyond(log, quantity, low, high):
    found = log.values[quantity]
    wrong = np.flatnonzero((found < low) | (found > high) | np.isinf(found))
    if wrong.size:
        unit = SI_UNITS.get(quantity, "1")
        unit = "" if unit == "1" else f" {unit}"
        raise InputError(
            f"{log.owner}: line {log.lines[wrong[0]]}: {quantity} = {found[wrong[0]]:.6g}{unit} "
            f"is outside the valid range {low:g} to {high:g}{unit}; is its unit the right one?"
        )


def _check_mixture(log):
    """Refuse an air-fuel ratio under the name of lambda, and the other way round."""
    usual = {"air_fuel_lambda": (0.4, 4.0), "air_fuel_ratio": (4.0, 60.0)}
    names = {"air_fuel_lambda": "an air-fuel ratio", "air_fuel_ratio": "lambda"}
    for name, (low, high) in usual.items():
        column = log.values.get(name)
        if column is None or np.isnan(column).all():
            continue
        middle = float(np.nanmedian(column))
        if not low <= middle <= high:
            raise InputError(f"{log.owner}: the median of {name} is {middle:.3g}, usual are "
                             f"{low:g} to {high:g}; is the column {names[name]}?")
