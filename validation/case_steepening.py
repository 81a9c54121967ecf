"""Simple waves steepen into shocks at the place and with the form of the exact solution.

In a simple wave every velocity u keeps its speed c0 + (gamma + 1)/2 u (Whitham 1974, sec. 6.8), so
that compressions lean forward and break.  Compared are the form of a sine wave half-way to
breaking; the time and the place at which the sine wave, the waves of a sine piston and of an
accelerating piston (Landau and Lifshitz, ch. X), the wave of a linear rise of inlet pressure and a
linear front first break; the speed of the shock that the front becomes; and how the shock inside
the sine wave decays (Blackstock 1966).

The birth of a shock is read as in the theory.  A label s tells when or where a part of the wave was
emitted, its velocity u(s) is known, and its place x(s) is found in the march by its velocity.  At
birth dx/ds = 0 at the label that breaks first; dx/ds at several earlier times is carried on to
there by a straight line.  A front whose velocity is linear in x breaks everywhere at once.
"""

from collections.abc import Callable
from functools import cache
from typing import NamedTuple

import numpy as np
from case_smooth_wave import RHO0
from marches import C0, GAMMA, IDEAL, P0, T0, march_tube, simple_ramp
from references import reference, references
from scipy.optimize import brentq
from suite import Case, Check

import wavesim as ws
from wavesim import exact

LEAN = 0.5 * (GAMMA + 1.0)  # growth of the wave speed with velocity


def start_of(velocity):
    """Start state of a simple wave whose velocity [m/s] is a function of x."""

    def start(x):
        u = velocity(x)
        c = C0 + 0.5 * (GAMMA - 1.0) * u
        return P0 * (c / C0) ** (2.0 * GAMMA / (GAMMA - 1.0)), u, T0 * (c / C0) ** 2, "air"

    return start


# the sine wave ------------------------------------------------------------------------------------

SINE_ROWS = [row for row in references("FW-4") if row.quantity == "u"]
GIVEN = SINE_ROWS[0].case
BREAKING = reference("FW-4", "breaking_time").value  # [s]


def sine(x):
    """Velocity of the sine wave at the start [m/s]."""
    return GIVEN["amplitude"] * np.sin(2.0 * np.pi / GIVEN["wavelength"] * x)


def sine_wave(cells, share, length=6.0, settings=IDEAL):
    """Final state of the sine wave after a share of its breaking time, in a long tube."""
    return march_tube(
        start_of(sine), length, cells, share * BREAKING, settings=settings
    ).final["d"]


def sine_velocity(row, final, start=2.0):
    """Velocity [m/s] at the place of a row, counted from `start` [m] and moved with c0."""
    place = start + row.case["xi"] + C0 * row.case["time_share"] * BREAKING
    return np.interp(place, final["x"], final["u"])


def exact_shock_share(sigma):
    """Velocity behind the shock of a sine wave over its amplitude, sigma breaking times old."""
    return np.sin(brentq(lambda angle: angle - sigma * np.sin(angle), 1e-3, np.pi))


def one_sine(x, start=1.0):
    """A single period of the sine wave, still gas before and behind it."""
    return sine(np.clip(x - start, 0.0, GIVEN["wavelength"]))


@cache
def marched_sine(sigma):
    """Place from the middle [m] and velocity [m/s] of one sine, sigma breaking times old."""
    middle = 1.0 + 0.5 * GIVEN["wavelength"] + C0 * sigma * BREAKING
    length = np.ceil(middle + 1.5)
    final = march_tube(
        start_of(one_sine), length, round(100.0 * length), sigma * BREAKING
    ).final["d"]
    return final["x"] - middle, final["u"]


def shock_middle(sigma):
    """Place of the shock of one sine from the middle of the wave [m]."""
    x, u = marched_sine(sigma)
    near = np.flatnonzero(np.abs(x) < 0.1)
    i = near[np.flatnonzero((u[near][:-1] > 0.0) & (u[near][1:] <= 0.0))[0]]
    return np.interp(0.0, [-u[i], -u[i + 1]], [x[i], x[i + 1]])


def shock_share(sigma):
    """Half the jump over the amplitude at the shock of one sine, flanks drawn out to its middle."""
    x, u = marched_sine(sigma)
    shock = shock_middle(sigma)

    def flank(side):
        away = side * (x - shock)
        part = (away > 0.04) & (away < 0.3)
        return np.polyval(np.polyfit(x[part] - shock, u[part], 2), 0.0)

    return 0.5 * (flank(-1.0) - flank(1.0)) / GIVEN["amplitude"]


# births of shocks ---------------------------------------------------------------------------------

OFFSET = 0.5  # tube behind the place x = 0 of a wave [m]


class Wave(NamedTuple):
    """A simple wave by its labels, how long it is watched, and how it is read."""

    speed: Callable  # velocity u [m/s] of a label
    path: Callable  # place of emission [m]
    emitted: Callable  # time of emission [s]
    last: float  # labels run from 0 to here when the march starts
    birth: float  # label that breaks first
    fitted: tuple  # labels between which x(s) is fitted, and the degree of the polynomial
    watched: tuple  # times at which the march starts and is read first and last [s]
    tube: tuple  # length [m] and cells


def still(s):
    """Emission at one place, or at one time."""
    return 0.0 * s


def driven_sine():
    """Wave of a piston that swings as a sine; its second front has no kink."""
    amplitude, f = (references("FW-5")[0].case[name] for name in ("amplitude", "frequency"))
    w = 2.0 * np.pi * f
    return Wave(
        lambda s: amplitude * np.sin(w * s), lambda s: amplitude / w * (1.0 - np.cos(w * s)),
        lambda s: s, 7e-3, 1.0 / f, (0.92 / f, 1.08 / f, 3), (7e-3, 8e-3, 12e-3), (5.0, 500),
    )


def accelerating_piston():
    """Wave of a piston that starts from rest; it breaks at its foot, which is a kink."""
    a = reference("FW-6", "shock_time").case["acceleration"]
    return Wave(
        lambda s: a * s, lambda s: 0.5 * a * s * s, lambda s: s, 4e-3, 0.0, (0.4e-3, 2e-3, 2),
        (4e-3, 5e-3, 10e-3), (6.5, 800),
    )


def pressure_ramp():
    """Wave of an inlet whose pressure rises linearly; it breaks at its foot, which is a kink."""
    given = reference("FW-6", "ramp_shock_distance").case
    time, rise = given["rise_time"], given["rise"] / given["p_0"]
    power = 0.5 * (GAMMA - 1.0) / GAMMA
    return Wave(
        lambda s: 2.0 / (GAMMA - 1.0) * C0 * ((1.0 + rise * s / time) ** power - 1.0), still,
        lambda s: s, time, 0.0, (0.1 * time, 0.6 * time, 3), (time, 1.1e-3, 2e-3), (1.8, 1600),
    )


WAVES = {
    "FW-4": lambda: Wave(
        sine, lambda s: s, still, GIVEN["wavelength"], 0.5, (0.42, 0.58, 3),
        (0.0, 0.2 * BREAKING, 0.6 * BREAKING), (4.0, 800),
    ),
    "FW-5": driven_sine,
    "FW-6 piston": accelerating_piston,
    "FW-6 ramp": pressure_ramp,
}


def place(wave, s, t):
    """Exact place of labels [m]."""
    return wave.path(s) + (C0 + LEAN * wave.speed(s)) * (t - wave.emitted(s))


def read_places(wave, s, t, final):
    """Places [m] at which the march has the velocities of labels; it is searched near the exact
    ones, because a wave has each velocity more than once.
    """
    x, u = final["x"] - OFFSET, final["u"]
    should = place(wave, s, t)
    near = (x > should.min() - 3.0 * (x[1] - x[0])) & (x < should.max() + 3.0 * (x[1] - x[0]))
    return np.interp(wave.speed(s), u[near][::-1], x[near][::-1])


@cache
def birth(name):
    """Age [s] and distance run [m] of the label that breaks first, from the march."""
    wave = WAVES[name]()
    begin, first, last = wave.watched
    *between, degree = wave.fitted
    emitted, s = np.linspace(0.0, wave.last, 4001), np.linspace(*between, 9)
    order = np.argsort(place(wave, emitted, begin))
    times = np.linspace(first, last, 5)

    def velocity(x):
        where = place(wave, emitted, begin)[order]
        return np.interp(x - OFFSET, where, wave.speed(emitted)[order])

    def read(t):
        final = march_tube(start_of(velocity), *wave.tube, t - begin).final["d"]
        fit = np.polyfit(s - wave.birth, read_places(wave, s, t, final), degree)
        return fit[-2], fit[-1]  # dx/ds and x of the label that breaks first

    slopes, places = np.transpose([read(t) for t in times])
    growth, start = np.polyfit(times, slopes, 1)
    t = -start / growth
    x = np.polyval(np.polyfit(times, places, 1), t)
    return t - wave.emitted(wave.birth), x - wave.path(wave.birth)


# a front whose velocity is linear in x ------------------------------------------------------------

RATIOS = (1.3, 1.5, 2.0)  # of pressure
WIDTH, FOOT = 0.3, 1.5  # of the front and of the still gas behind its foot at the start [m]


def focus(p_ratio):
    """Time [s] and place [m] at which all of the front arrives at once."""
    t = WIDTH / (LEAN * exact.simple_wave(p_ratio, C0, GAMMA).u)
    return t, FOOT + C0 * t


@cache
def front(p_ratio, t):
    """State of a front after t [s], cells of 8 mm."""
    return march_tube(simple_ramp(p_ratio, FOOT, WIDTH), 5.0, 625, t).final["d"]


def passage(final, name, value):
    """Last place at which a quantity falls through a value [m]."""
    x, values = final["x"], final[name]
    i = np.flatnonzero(values > value)[-1]
    return np.interp(-value, -values[i : i + 2], x[i : i + 2])


def front_width(p_ratio, t):
    """Twice the distance between a quarter and three quarters of the velocity [m]."""
    final, u = front(p_ratio, t), exact.simple_wave(p_ratio, C0, GAMMA).u
    return 2.0 * (passage(final, "u", 0.25 * u) - passage(final, "u", 0.75 * u))


def front_birth(p_ratio):
    """Time [s] and place [m] at which the width of the front falls to zero."""
    times = np.linspace(0.2, 0.7, 4) * focus(p_ratio)[0]
    u = exact.simple_wave(p_ratio, C0, GAMMA).u
    middle = [passage(front(p_ratio, t), "u", 0.5 * u) for t in times]
    growth, width = np.polyfit(times, [front_width(p_ratio, t) for t in times], 1)
    t = -width / growth
    return t, np.polyval(np.polyfit(times, middle, 1), t)


def born_shock(p_ratio):
    """Speed of the shock [m/s] and pressure ratio behind it: the front meets still gas."""
    wave = exact.simple_wave(p_ratio, C0, GAMMA)
    behind = RHO0 * p_ratio ** (1.0 / GAMMA), wave.u, p_ratio * P0
    tube = exact.solve_riemann(behind, (RHO0, 0.0, P0), GAMMA)
    return tube.right_wave[0], tube.p_star / P0


def shock_place(p_ratio, age=2.0):
    """Where the march and the exact solution have the shock [m], `age` births after the start."""
    t, x = focus(p_ratio)
    speed, behind = born_shock(p_ratio)
    found = passage(front(p_ratio, age * t), "p", 0.5 * (1.0 + behind) * P0)
    return found, x + speed * (age - 1.0) * t


# checks -------------------------------------------------------------------------------------------

SIMPLE = "simple wave, Whitham 1974, sec. 6.8"
BLACKSTOCK = "Blackstock, J. Acoust. Soc. Am. 39 (1966) 1019"


def _sine_checks():
    final = sine_wave(600, GIVEN["time_share"])
    for row in SINE_ROWS:
        yield Check(
            f"velocity of a sine wave half-way to breaking at {row.case['xi']:g} m, cells of 10 mm",
            sine_velocity(row, final), row.value, "0.05 abs", row.source,
            "A quarter of a per cent of the amplitude: a hundred cells on the wave leave an error "
            "of the second order where it is smooth, and some hundredths of a cell on its front.",
            row.unit,
        )
    for sigma in (3.0, 5.0):
        yield Check(
            f"velocity behind the shock over amplitude, sine wave {sigma:g} breaking times old",
            shock_share(sigma), exact_shock_share(sigma), "1 %", BLACKSTOCK,
            "Flanks drawn out to the middle of a shock that is spread over four cells of 10 mm are "
            "true to half a per cent, and weak-shock theory to the square of its Mach number of "
            "0.06.",
        )


BIRTHS = (  # wave, quantity in the table, place in the answer of `birth`, bound
    ("FW-4", "breaking_time", 0, "0.5 %"),
    ("FW-4", "breaking_distance", 1, "0.5 %"),
    ("FW-5", "shock_distance", 1, "0.5 %"),
    ("FW-6 piston", "shock_time", 0, "0.5 %"),
    ("FW-6 piston", "shock_distance", 1, "0.5 %"),
    ("FW-6 ramp", "ramp_shock_distance", 1, "2 %"),
)
BIRTH_WHY = {
    "0.5 %": "The slope of a front of a dozen cells, read at five times and carried on by a "
             "straight line, repeats within a few parts in a thousand from mesh to mesh.",
    "2 %": "The front is bent and its foot is a kink that every limiter rounds; the curve drawn "
           "on to the foot repeats within 2 % from mesh to mesh.",
}


def _birth_checks():
    for name, quantity, which, bound in BIRTHS:
        row = reference(name.split()[0], quantity)
        given = ", ".join(f"{key} {value:g}" for key, value in row.case.items())
        yield Check(
            f"{row.id} {quantity.replace('_', ' ')} ({given})", birth(name)[which], row.value,
            bound, row.source, BIRTH_WHY[bound], row.unit,
        )


def _front_checks():
    for p_ratio in RATIOS:
        t, x = focus(p_ratio)
        found_t, found_x = front_birth(p_ratio)
        where = f"linear front of 0.3 m, p/p0 = {p_ratio:g}"
        for quantity, ours, value, unit in (
            ("time", found_t, t, "s"), ("distance", found_x - FOOT, x - FOOT, "m"),
        ):
            yield Check(
                f"{quantity} to the shock, {where}", ours, value, "1 %", SIMPLE,
                "The limiter rounds both corners of the front over two or three of its cells of "
                "8 mm, which makes it look a little steeper than it is.",
                unit,
            )
        found, should = shock_place(p_ratio)
        yield Check(
            f"place of the shock at twice that time, {where}", found, should, "0.002 abs",
            "exact Riemann problem, Toro 2009, ch. 4",
            "A quarter of a cell: a conservative scheme moves a shock with the exact speed, which "
            "here means within 0.2 %.",
            "m",
        )


def _entropy_check():
    p_ratio = RATIOS[-1]
    final, shock = front(p_ratio, 2.0 * focus(p_ratio)[0]), shock_place(p_ratio)[1]
    behind = (final["x"] > shock - 0.2) & (final["x"] < shock - 0.05)
    return Check(
        f"p/p0 behind the shock that grew from a front of p/p0 = {p_ratio:g}",
        final["p"][behind].mean() / P0, born_shock(p_ratio)[1], "0.05 %",
        "exact Riemann problem, Toro 2009, ch. 4",
        "The shock makes entropy and lowers the pressure by 0.23 %; the bound is a fifth of that, "
        "so that a shock without its entropy would show.",
    )


# figure -------------------------------------------------------------------------------------------


def exact_sine(sigma):
    """Place from the middle [m] and velocity [m/s] of one sine, its shock in the middle."""
    half = 0.5 * GIVEN["wavelength"]
    s = np.linspace(0.0, half, 2001)
    x = s - half + LEAN * sine(s) * sigma * BREAKING
    kept = np.maximum.accumulate(x) == x
    x, u = x[kept & (x <= 0.0)], sine(s)[kept & (x <= 0.0)]
    return np.concatenate([x, -x[::-1]]), np.concatenate([u, -u[::-1]])


def _draw_sine(ax):
    for i, sigma in enumerate((0.5, 1.5, 5.0)):
        ax.plot(*exact_sine(sigma), color=ws.plots.REFERENCE, label="exact" if i == 0 else None)
        x, u = marched_sine(sigma)
        shown = np.abs(x) < 0.52
        ax.plot(x[shown], u[shown], ws.plots.MARKERS[i], ms=3.5, color=ws.plots.COLOURS[i],
                label=f"{sigma:g} breaking times")
    ax.set_title("One sine of 20 m/s, cells of 10 mm", loc="left")
    ax.set_xlabel("position - sound speed x time, from the middle [m]")
    ax.set_ylabel("velocity [m/s]")


def exact_front(p_ratio, age):
    """Place [m] and p/p0 along a front, or the shock that it has become, as in `shock_place`."""
    t, x = focus(p_ratio)
    if age >= 1.0:
        speed, behind = born_shock(p_ratio)
        return np.full(2, x + speed * (age - 1.0) * t), np.array([behind, 1.0])
    fast = exact.simple_wave(p_ratio, C0, GAMMA).speed
    share = np.linspace(0.0, 1.0, 50)
    top = p_ratio ** (0.5 * (GAMMA - 1.0) / GAMMA)
    where = FOOT + C0 * age * t - (WIDTH - (fast - C0) * age * t) * share
    return where[::-1], (1.0 + (top - 1.0) * share[::-1]) ** (2.0 * GAMMA / (GAMMA - 1.0))


def _draw_front(ax, p_ratio=1.5):
    for i, age in enumerate((0.0, 0.5, 1.0, 2.0)):
        where, p = exact_front(p_ratio, age)
        ends = where[0] - 0.3, where[-1] + 0.2
        ax.plot([ends[0], *where, ends[1]], 1e-5 * P0 * np.array([p[0], *p, p[-1]]),
                color=ws.plots.REFERENCE, label="exact" if i == 0 else None)
        t = age * focus(p_ratio)[0]
        final = front(p_ratio, max(t, 1e-9))
        shown = (final["x"] > ends[0]) & (final["x"] < ends[1])
        ax.plot(final["x"][shown], 1e-5 * final["p"][shown], ws.plots.MARKERS[i], ms=3.0,
                color=ws.plots.COLOURS[i], label=f"{1e3 * t:.2f} ms")
    ax.set_title(f"A front of p/p0 = {p_ratio:g} becomes a shock, cells of 8 mm", loc="left")
    ax.set_xlabel("position [m]")
    ax.set_ylabel("pressure [bar]")


def _draw_decay(ax):
    ages = np.linspace(1.6, 6.5, 100)
    ax.plot(ages, [exact_shock_share(age) for age in ages], color=ws.plots.REFERENCE,
            label="Blackstock 1966")
    found = np.arange(2.0, 6.5)
    ax.plot(found, [shock_share(age) for age in found], "o", color=ws.plots.COLOURS[0],
            label="marched")
    ax.set_title("The shock inside that sine decays", loc="left")
    ax.set_xlabel("time over breaking time [-]")
    ax.set_ylabel("velocity over amplitude [-]")
    ax.set_ylim(bottom=0.0)


def draw():
    """Sine wave, front, and decay of a shock, over the exact solutions."""
    axes = ws.plots.new_axes(3, width=9.5, height=3.0)
    for ax, panel in zip(axes, (_draw_sine, _draw_front, _draw_decay), strict=True):
        panel(ax)
        ax.legend(frameon=False, loc="center left", bbox_to_anchor=(1.0, 0.5))
    return axes


def _drift_note():
    return (
        "Weak-shock theory lets the shock of the sine wave run with the sound speed of still gas. "
        "It runs faster by a part of the second order in its Mach number, and in the march has "
        f"gained {1e3 * shock_middle(5.0):.0f} mm on its way of {5.0 * C0 * BREAKING:.1f} m."
    )


def run():
    """Wave form, births of shocks, their speed and their decay, and the figure."""
    checks = (*_sine_checks(), *_birth_checks(), *_front_checks(), _entropy_check())
    return Case(checks, draw(), (_drift_note(),))
