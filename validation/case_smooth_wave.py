"""Smooth flow: the error falls with the square of the cell length.

A sound pulse that steepens half-way to breaking (Whitham 1974, sec. 6.8), a hump of density and one
of composition that the flow carries along, and steady flow through a cone between two open ends
(Shapiro 1953, ch. 4).  Each is marched on meshes twice as fine as the one before; errors are means
of absolute differences of cell averages, the exact averages by Gauss quadrature.  The order is the
slope of the error over the cell length by least squares.  Crest and front of the pulse are read at
the default cell length too.
"""

from functools import cache

import numpy as np
from marches import AIR, C0, GAMMA, IDEAL, P0, T0, R, cut, march_tube
from suite import Case, Check

import wavesim as ws
from wavesim import exact

RHO0 = P0 / (R * T0)
NODES, WEIGHTS = np.polynomial.legendre.leggauss(6)
MESHES = np.array([100, 200, 400, 800])  # cells in 2 m
CONE_MESHES = np.array([40, 80, 160])  # cells in 0.3 m; coarser ones are steep, see `tapers`
LENGTH = 2.0  # of the tube [m]
AMPLITUDE = 20.0  # of the pulse [m/s]
PULSE_TIME = 2.6e-3  # half the time to breaking; the pulse has run 0.9 m [s]


def averages(function, length, cells):
    """Averages of a function of x over the cells of a tube, (n_value, cells)."""
    dx = length / cells
    points = (np.arange(cells)[:, None] + 0.5 + 0.5 * NODES) * dx
    return np.array([0.5 * values @ WEIGHTS for values in function(points)])


def hump(x, middle, width):
    """Smooth hump of height one that is zero beyond half its width: cos^4."""
    s = np.clip((x - middle) / width, -0.5, 0.5)
    return np.cos(np.pi * s) ** 4


def slope(cells, errors):
    """Order by least squares over the meshes."""
    return -np.polyfit(np.log(cells), np.log(errors), 1)[0]


def profile(x):
    """Velocity of the pulse at the start [m/s]."""
    return AMPLITUDE * hump(x, 0.5, 0.8)


def pulse(x, t):
    """Density [kg/m3], momentum and energy of the exact pulse at any places."""
    field = exact.simple_wave_field(profile, x.ravel(), t, AMPLITUDE, C0, GAMMA)
    rho, u, p = RHO0 * field.rho_ratio, field.u, P0 * field.p_ratio
    conserved = rho, rho * u, p / (GAMMA - 1.0) + 0.5 * rho * u * u
    return [values.reshape(x.shape) for values in conserved]


def marched_pulse(cells, settings=IDEAL):
    """Final state of the pulse on a mesh."""

    def start(x):
        rho, m, e = averages(lambda x: pulse(x, 0.0), LENGTH, cells)
        p = (GAMMA - 1.0) * (e - 0.5 * m * m / rho)
        return p, m / rho, p / (rho * R), "air"

    return march_tube(start, LENGTH, cells, PULSE_TIME, settings=settings).final["d"]


def acoustic_error(cells, settings=IDEAL):
    """Error of density [1, over rest] and velocity [1, over amplitude] of a steepening pulse."""
    final = marched_pulse(cells, settings)
    rho, m, _ = averages(lambda x: pulse(x, PULSE_TIME), LENGTH, cells)
    return (
        np.mean(np.abs(final["rho"] - rho)) / RHO0,
        np.mean(np.abs(final["u"] - m / rho)) / AMPLITUDE,
    )


def crest_and_front(cells):
    """Highest velocity [m/s] of the marched pulse, and where its front has half of it [m]."""
    final = marched_pulse(cells)
    x, u = final["x"], final["u"]
    i = np.flatnonzero(u > 0.5 * AMPLITUDE)[-1]
    share = (u[i] - 0.5 * AMPLITUDE) / (u[i] - u[i + 1])
    return u.max(), x[i] + share * (x[i + 1] - x[i])


def drift_error(cells, quantity, u=300.0, t=1e-3, settings=IDEAL):
    """Error of a hump of density or of composition carried 0.3 m by the flow."""

    def rho(s):
        return averages(lambda x: [RHO0 * (1.0 + 0.2 * hump(x - s, 0.9, 0.6))], LENGTH, cells)[0]

    def share(s):
        return averages(lambda x: [0.2 * hump(x - s, 0.9, 0.6)], LENGTH, cells)[0]

    def start(x):
        if quantity == "rho":
            return P0 + 0.0 * x, u + 0.0 * x, P0 / (rho(0.0) * R), "air"
        return P0 + 0.0 * x, u + 0.0 * x, T0 + 0.0 * x, (0.0 * x, share(0.0))

    final = march_tube(start, LENGTH, cells, t, settings=settings).final["d"]
    x = final["x"]
    unheard = (x > 0.8) & (x < 1.7)  # the waves from the walls have not come here
    if quantity == "rho":
        return np.mean(np.abs(final["rho"] - rho(u * t))[unheard]) / RHO0
    return np.mean(np.abs(final["burned"] - share(u * t))[unheard])


def nozzle_error(cells, back_pressure=1.2e5, p_in=1.5e5, settings=IDEAL):
    """Relative errors of pressure along a cone and of its mass flow, steady subsonic flow."""
    length, wide, narrow = 0.3, 0.05, 0.03
    cone = ws.Pipe(length, wide, end_diameter=narrow, cell_length=length / cells)
    net = ws.Network(
        {"d": cone}, {"in": cut("d.start", p_in), "out": cut("d.end", back_pressure)}
    )
    result = ws.simulate(
        net, 0.15, gas=AIR, settings=settings, samples=2,
        initial={"d": (back_pressure, 0.0, T0, "air")},
    )
    final, throat = result.final["d"], 0.25 * np.pi * narrow**2
    exit_mach = exact.mach_from_pressure_ratio(back_pressure / p_in, GAMMA)
    area = net.ducts["d"].area_at(final["x"]) / throat
    mach = exact.mach_from_area_ratio(area * exact.area_ratio(exit_mach, GAMMA), GAMMA)
    p = p_in * exact.isentropic(mach, GAMMA).pressure
    flow = result.trace("mass_flow", "out").values[-1]
    ideal = throat * exact.orifice_flux(p_in, T0, back_pressure, GAMMA, R)
    return np.mean(np.abs(final["p"] / p - 1.0)), abs(flow / ideal - 1.0)


@cache
def errors():
    """Name: (cell lengths [mm], mean errors) of all flows."""
    sound = np.array([acoustic_error(n) for n in MESHES]).T
    cone = np.array([nozzle_error(n) for n in CONE_MESHES]).T
    drift = {name: np.array([drift_error(n, name) for n in MESHES]) for name in ("rho", "burned")}
    fine, coarse = 1e3 * LENGTH / MESHES, 300.0 / CONE_MESHES
    return {
        "density of a sound pulse": (fine, sound[0]),
        "velocity of a sound pulse": (fine, sound[1]),
        "density carried by the flow": (fine, drift["rho"]),
        "composition carried by the flow": (fine, drift["burned"]),
        "pressure along a cone": (coarse, cone[0]),
        "mass flow of a cone": (coarse, cone[1]),
    }


SOUND_WHY = (
    "Four meshes of a resolved wave leave a scatter of some 5 % in the slope; a first-order piece "
    "anywhere in the scheme or in an end would pull it below 1.9."
)
CARRIED_WHY = (
    "What is only carried feels the limiter most: the few cells that it flattens at crest and feet "
    "become a smaller share on finer meshes, so that the error falls a little faster than with "
    "order 2, but a first-order piece would still show."
)
ORDER = {  # bound of the order and its reason
    "density of a sound pulse": ("0.1 abs", SOUND_WHY),
    "velocity of a sound pulse": ("0.1 abs", SOUND_WHY),
    "density carried by the flow": ("0.2 abs", CARRIED_WHY),
    "composition carried by the flow": ("0.2 abs", CARRIED_WHY),
    "pressure along a cone": ("0.1 abs", SOUND_WHY),
    "mass flow of a cone": ("0.1 abs", SOUND_WHY),
}
SIZE = {  # mean error that the finest mesh may have
    "density of a sound pulse": "1e-6 abs",
    "velocity of a sound pulse": "2e-5 abs",
    "density carried by the flow": "2e-5 abs",
    "composition carried by the flow": "2e-5 abs",
    "pressure along a cone": "1e-5 abs",
    "mass flow of a cone": "1e-5 abs",
}
WAVE, STEADY = "Whitham, Linear and Nonlinear Waves, 1974, sec. 6.8", "Shapiro 1953, ch. 4"
SOURCES = {"sound": WAVE, "carried": "translation of the start profile", "cone": STEADY}


def _source(name):
    return next(source for word, source in SOURCES.items() if word in name)


def _convergence_checks():
    for name, (cell, found) in errors().items():
        bound, why = ORDER[name]
        yield Check(
            f"order of accuracy, {name}", slope(1.0 / cell, found), 2.0, bound, _source(name), why
        )
        yield Check(
            f"mean error, {name}, cells of {cell[-1]:.3g} mm", found[-1], 0.0, SIZE[name],
            _source(name),
            "Far below what a pressure gauge resolves; the first-order scheme of the library, the "
            "method of characteristics, exceeds each of these bounds eightfold or more.",
        )


def _pulse_checks():
    cell = 0.008  # m, of the default intake
    top, front = crest_and_front(round(LENGTH / cell))
    foot = 0.5 + 0.8 / np.pi * np.arccos(0.5**0.25)  # where the start profile has half its height
    mesh = f"cells of {1e3 * cell:g} mm"
    yield Check(
        f"crest of a pulse of 0.8 m after {1e3 * PULSE_TIME:g} ms, {mesh}", top, AMPLITUDE,
        "0.5 %", WAVE,
        "A limiter must flatten the crest over two or three cells, which here is half a per cent "
        "of its height; one that flattens more makes peaks of pressure too low.",
        "m/s",
    )
    yield Check(
        f"place of half height on the front of that pulse, {mesh}", front,
        foot + (C0 + 0.25 * (GAMMA + 1.0) * AMPLITUDE) * PULSE_TIME, f"{0.05 * cell:g} abs", WAVE,
        "A second-order scheme knows the place of a front that spans thirty cells to a few "
        "hundredths of a cell; a wave speed wrong by 0.05 % would show.",
        "m",
    )


def _table():
    rows = ["Mean errors by cell length, with the order from each mesh to the next:", "",
            "| flow | cells [mm] | errors | orders |", "|---|---|---|---|"]
    for name, (cell, found) in errors().items():
        orders = np.log2(found[:-1] / found[1:])
        rows.append(
            f"| {name} | {', '.join(f'{dx:.3g}' for dx in cell)} "
            f"| {', '.join(f'{e:.2g}' for e in found)} | {', '.join(f'{n:.2f}' for n in orders)} |"
        )
    return "\n".join(rows)


def _legend(ax):
    ax.legend(frameon=False, loc="center left", bbox_to_anchor=(1.0, 0.5))


def _draw_pulse(ax):
    fine = np.linspace(0.0, LENGTH, 2001)
    ax.plot(fine, profile(fine), color=ws.plots.REFERENCE, ls=":", label="start")
    rho, m, _ = pulse(fine, PULSE_TIME)
    ax.plot(fine, m / rho, color=ws.plots.REFERENCE, label=f"exact, {1e3 * PULSE_TIME:g} ms later")
    for i, cells in enumerate((25, 50, 100)):
        final = marched_pulse(cells)
        ax.plot(final["x"], final["u"], ws.plots.MARKERS[i], ms=4.0, color=ws.plots.COLOURS[i],
                label=f"cells of {1e3 * LENGTH / cells:g} mm")
    ax.set_title("A sound pulse half-way to breaking", loc="left")
    ax.set_xlabel("position [m]")
    ax.set_ylabel("velocity [m/s]")
    _legend(ax)


def _draw_errors(ax):
    for i, (name, (cell, found)) in enumerate(errors().items()):
        ax.loglog(cell, found, ws.plots.MARKERS[i] + "-", ms=5.0, color=ws.plots.COLOURS[i],
                  label=name)
    cell = np.array([2.5, 20.0])
    ax.loglog(cell, 1.2e-3 * (cell / 20.0) ** 2, color=ws.plots.REFERENCE, ls="--",
              label="order 2")
    ax.set_title("Error over cell length", loc="left")
    ax.set_xlabel("cell length [mm]")
    ax.set_ylabel("mean relative error [-]")
    ticks = (2.5, 5.0, 10.0, 20.0)
    ax.set_xticks(ticks, [f"{tick:g}" for tick in ticks])
    ax.minorticks_off()
    _legend(ax)


def draw():
    """The pulse on three meshes, and all errors over the cell length."""
    axes = ws.plots.new_axes(2, width=9.5, height=3.4)
    _draw_pulse(axes[0])
    _draw_errors(axes[1])
    return axes


def run():
    """Orders and sizes of all errors, the pulse at the default mesh, and the figure."""
    return Case((*_convergence_checks(), *_pulse_checks()), draw(), (_table(),))
