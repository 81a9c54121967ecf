"""Walls that warm in a pull, against an exact exponential, scipy, and walls of minutes.

One metre of bare, wrapped and coated tube after a step of the gas temperature: the exact
exponential where the loss to the air is linear, scipy's integrator of eighth order where it is not.
Then a pull of an engine from 450 K: the heat of all its walls against that integrator with the gas
side of each speed, and a pull so slow that its walls must stand where they do after minutes at one
speed.
"""

from functools import cache, partial
from math import exp, pi
from unittest.mock import patch

import numpy as np
from case_wall_temperature import BARE, WALLS, header, study
from scipy.constants import Stefan_Boltzmann
from scipy.integrate import solve_ivp
from scipy.optimize import newton
from suite import Case, Check

import wavesim as ws
from wavesim.descriptions import warming
from wavesim.descriptions.materials import METALS
from wavesim.descriptions.walls import outer_heat_transfer

BORE = 0.05  # of one metre of tube [m]
COARSE = ws.Settings(cell_length=0.06, sample_deg=10.0)
RPM = (3000.0, 4500.0, 6000.0)
RATE = 300.0  # [rev/min/s]
PULL = ws.Pull(RATE, walls=450.0)


# one metre of tube ----------------------------------------------------------------------------


def heat_capacity(wall, bore):
    """Of one metre of metal [J/(m K)], from its ring."""
    inner = bore + (2.0 * wall.coating.thickness if wall.coating else 0.0)
    area = 0.25 * pi * ((inner + 2.0 * wall.thickness) ** 2 - inner**2)
    return METALS[wall.metal].density * METALS[wall.metal].heat_capacity * area


def layers(wall, bore):
    """Resistance inside and outside of the middle of the metal [K m/W], and outermost bore [m]."""

    def layer(d, thickness, k):
        return np.log(1.0 + 2.0 * thickness / d) / (2.0 * pi * k), d + 2.0 * thickness

    coat, wrap, d = 0.0, 0.0, bore
    if wall.coating:
        coat, d = layer(d, wall.coating.thickness, wall.coating.conductivity)
    half, d = layer(d, wall.thickness, METALS[wall.metal].conductivity)
    if wall.wrap:
        wrap, d = layer(d, wall.wrap.thickness, wall.wrap.conductivity)
    return coat + 0.5 * half, wrap + 0.5 * half, d


def exponential(wall, coefficient, h, T0, T_gas, duration):
    """Exact metal temperature [K] and heat from gas and to air [J/m] with a linear outer loss."""
    inside, outside, diameter = layers(wall, BORE)
    g_in = 1.0 / (1.0 / (h * pi * BORE) + inside)
    g_out = 1.0 / (1.0 / (coefficient * pi * diameter) + outside)
    T_air, rate = wall.air.temperature, (g_in + g_out) / heat_capacity(wall, BORE)
    rest = (g_in * T_gas + g_out * T_air) / (g_in + g_out)
    left = exp(-rate * duration)
    mean = rest + (T0 - rest) * (1.0 - left) / (rate * duration)
    return (rest + (T0 - rest) * left, duration * g_in * (T_gas - mean),
            duration * g_out * (mean - T_air))


def linear_warming(wall, coefficient, h, T0, T_gas, duration, **options):
    """`wall_warming` with a constant heat transfer coefficient to the air."""

    def linear(surface, diameter, wall):
        return pi * diameter * coefficient * (surface - wall.air.temperature)

    with patch.object(warming, "heat_to_outside", linear):
        return ws.wall_warming(T0, h, T_gas, wall, BORE, duration, **options)


def integrated(wall, bore, start, gas_side, duration):
    """Metal temperature [K], heat from the gas and heat to the air [J/m] by scipy, cell by cell.

    `gas_side(t)` gives heat transfer coefficient and gas temperature.  The outermost temperature
    is found by scipy too, from convection and radiation written out here.
    """
    inside, outside, diameter = layers(wall, bore)
    capacity, n = heat_capacity(wall, bore), np.size(start)
    emissivity = wall.wrap.emissivity if wall.wrap else METALS[wall.metal].emissivity
    T_air = wall.air.temperature

    def given(surface):
        convected = outer_heat_transfer(surface, diameter, wall.air) * (surface - T_air)
        radiated = emissivity * Stefan_Boltzmann * (surface**4 - T_air**4)
        return pi * diameter * (convected + radiated)

    def rates(t, y):
        T, (h, gas) = y[:n], gas_side(t)
        taken = (gas - T) / (1.0 / (h * pi * bore) + inside)
        lost = given(newton(lambda s: s + outside * given(s) - T, T, tol=1e-10))
        return np.concatenate([(taken - lost) / capacity, taken, lost])

    y0 = np.concatenate([np.atleast_1d(start), np.zeros(2 * n)])
    y = solve_ivp(rates, (0.0, duration), y0, method="DOP853", rtol=1e-10, atol=1e-6).y[:, -1]
    return y[:n], y[n : 2 * n], y[2 * n :]


def between(first, last, duration, t):
    """Gas side that changes in proportion to time."""
    return tuple(a + t / duration * (b - a) for a, b in zip(first, last, strict=True))


# an engine ------------------------------------------------------------------------------------


@cache
def swept(rate, speeds=RPM, start=450.0):
    """Speeds of an engine with bare pipes in a pull [rev/min/s]; rate 0: walls of minutes."""
    return ws.speed_sweep(
        study().engine, header(study(), BARE), speeds, settings=COARSE, progress=False,
        pull=ws.Pull(rate, walls=start) if rate else None,
    )


def metal(point):
    """Metal temperatures of all walls of a point [K], one after the other."""
    return np.concatenate([section.temperatures for section in point.walls_left.sections])


@cache
def integrated_pull():
    """Heat from gas, stored and to the air [J] of `swept(RATE)`, and the worst metal [K], by scipy.

    The temperature is a pair: ours and scipy's.
    """
    total, worst = np.zeros(3), (0.0, 0.0)
    points = swept(RATE).points
    for before, after in zip(points, points[1:], strict=False):
        duration = (after.rpm - before.rpm) / RATE
        for a, b, old, new in zip(
            before.meta["pull"]["gas"], after.meta["pull"]["gas"],
            before.walls_left.sections, after.walls_left.sections, strict=True,
        ):
            sides = [[np.array(row) for row in side[3:]] for side in (a, b)]
            duct, start = after.network.ducts[new.duct], np.array(old.temperatures)
            bore = duct.diameter_at(np.array(new.positions))
            T, taken, given = integrated(
                BARE, bore, start, partial(between, *sides, duration), duration
            )
            stored = heat_capacity(BARE, bore) * (T - start)
            length = duct.length / len(new.positions)
            total += length * np.array([taken.sum(), stored.sum(), given.sum()])
            i = int(np.argmax(np.abs(T - new.temperatures)))
            pairs = worst, (new.temperatures[i], float(T[i]))
            worst = max(pairs, key=lambda pair: abs(pair[0] - pair[1]))
    return total, worst


# checks ---------------------------------------------------------------------------------------

EXACT = "exact solution of C dT/dt = g_in (T_gas - T) - g_out (T - T_air)"
SCIPY = "scipy, Dormand and Prince's method of eighth order, to 1e-10"
STEP = (25.0, 180.0, 320.0, 950.0, 60.0)  # outer coefficient, inner one, start, gas, seconds
CHANGE = ((120.0, 800.0), (420.0, 1150.0), 400.0, 15.0)  # gas side first and last, start, seconds


def _metre_checks():
    for name, wall in WALLS.items():
        exact = exponential(wall, *STEP)
        for substep in (0.2, 30.0):
            ours = linear_warming(wall, *STEP, substep=substep)
            label = f"{name} tube 60 s after a step of the gas temperature, steps of {substep:g} s"
            why = "Exact for any step; the slope of the loss is taken as a difference."
            yield Check(f"metal, {label}", float(ours.metal), exact[0], "1e-7 abs", EXACT, why, "K")
            yield Check(f"heat from the gas, {label}", float(ours.from_gas), exact[1], "1e-7 %",
                        EXACT, why, "J/m")
        first, last, start, duration = CHANGE
        ours = ws.wall_warming(start, *first, wall, BORE, duration, then=last)
        T, taken, given = integrated(
            wall, BORE, start, partial(between, first, last, duration), duration
        )
        label = f"{name} tube, gas that grows hotter for 15 s"
        why = "Third order in steps of 0.2 s."
        yield Check(f"metal, {label}", float(ours.metal), T[0], "1e-4 abs", SCIPY, why, "K")
        for what, found, expected in (
            ("heat from the gas", ours.from_gas, taken[0]), ("heat to the air", ours.to_air,
                                                             given[0]),
        ):
            yield Check(f"{what}, {label}", float(found), expected, f"{1e-6 * taken[0]:.3g} abs",
                        SCIPY, "1e-6 of the heat from the gas. " + why, "J/m")


def _engine_checks():
    total, worst = integrated_pull()
    books = swept(RATE)[RPM[-1]].meta["pull"]
    for key, expected in zip(("heat_from_gas", "heat_stored", "heat_to_air"), total, strict=True):
        yield Check(
            f"{key.replace('_', ' ')} of all walls in a pull of 10 s", books[key], expected,
            f"{1e-6 * total[0]:.3g} abs", SCIPY, "1e-6 of the heat from the gas.", "J",
        )
    yield Check("heat from the gas less heat stored and heat to the air, over the first",
                (books["heat_from_gas"] - books["heat_stored"] - books["heat_to_air"])
                / books["heat_from_gas"], 0.0, "1e-12 abs", "first law", "Sums of round-off.")
    yield Check("metal in a pull of 10 s, worst cell", worst[0], worst[1], "1e-4 abs", SCIPY,
                "Third order in steps of 0.2 s.", "K")
    slow, minutes = swept(1e-3, RPM[:2])[RPM[1]], swept(0.0)[RPM[1]]
    i = int(np.argmax(np.abs(metal(slow) - metal(minutes))))
    yield Check(
        "metal in a pull of seventeen days, worst cell", metal(slow)[i], metal(minutes)[i],
        "1 abs", "the balance of heat in and out (case_wall_temperature)",
        "Both have come to rest within the tolerance of the cycles.", "K",
    )


def draw():
    """A tube after a step of the gas temperature; the first primary in pulls from several starts.
    """
    axes = ws.plots.new_axes(2, height=3.8)
    times = np.linspace(0.0, STEP[-1], 25)
    for colour, (name, wall) in zip(ws.plots.COLOURS, WALLS.items(), strict=False):
        ours = [float(linear_warming(wall, *STEP[:-1], t).metal) for t in times]
        axes[0].plot(times, ours, color=colour, label=name)
        exact = [exponential(wall, *STEP[:-1], t)[0] for t in times[1::3]]
        axes[0].plot(times[1::3], exact, "o", ms=4, color=ws.plots.REFERENCE)
    axes[0].plot([], [], "o", ms=4, color=ws.plots.REFERENCE, label="exact")
    axes[0].set_title("Gas of 950 K from 0 s on", loc="left")
    axes[0].set_xlabel("time [s]")
    curves = (("minutes at each speed", swept(0.0), "-"), ("pull from 450 K", swept(RATE), "--"),
              ("cold pull", swept(RATE, RPM, "cold"), ":"))
    for colour, (name, sweep, style) in zip(ws.plots.COLOURS, curves, strict=False):
        means = [np.mean(point.walls_left.sections[0].temperatures) for point in sweep]
        axes[1].plot(sweep.rpm, means, style, marker="o", ms=4, color=colour, label=name)
    axes[1].set_title(f"First primary, {RATE:g} rev/min in a second, full load", loc="left")
    axes[1].set_xlabel("engine speed [rev/min]")
    for ax in axes:
        ax.set_ylabel("temperature of the metal [K]")
        ax.legend(frameon=False, ncols=2, loc="upper left")
        low, high = ax.get_ylim()
        ax.set_ylim(low, high + 0.25 * (high - low))
    return axes


def run():
    """One metre of tube, then an engine."""
    return Case((*_metre_checks(), *_engine_checks()), draw())
