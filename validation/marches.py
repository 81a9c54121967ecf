"""Shared by cases and solver tests: small networks, simple waves, mode search."""

import numpy as np

import wavesim as ws
from wavesim import exact

GAMMA, R, P0, T0 = 1.4, 287.05, 101325.0, 300.0
AIR = ws.PerfectGas(GAMMA, R)
C0 = exact.sound_speed(T0, GAMMA, R)
IDEAL = ws.Settings(friction=False, wall_heat=False)


def plain(cfl=0.85):
    """Settings without friction and wall heat at a Courant number."""
    return ws.Settings(friction=False, wall_heat=False, cfl=cfl)


def outside(pressure=P0, temperature=T0):
    """Still air of a state."""
    return ws.Ambient(pressure=pressure, temperature=temperature)


def cut(at, pressure=P0, temperature=T0):
    """Open end without radiation and entry loss: the ideal end of the textbooks."""
    return ws.OpenEnd(at, radiation="none", ambient=outside(pressure, temperature))


def endless(at, pressure=P0, temperature=T0):
    """End that lets waves out."""
    return ws.AnechoicEnd(at, pressure=pressure, temperature=temperature)


def march_tube(start, length, cells, t, gas=AIR, settings=IDEAL, diameter=0.05, samples=0):
    """Tube "d" with both ends closed from a start state; the result of `simulate`."""
    net = ws.Network(
        {"d": ws.Pipe(length, diameter, cell_length=length / cells)},
        {"left": ws.ClosedEnd("d.start"), "right": ws.ClosedEnd("d.end")},
    )
    return ws.simulate(
        net, t, gas=gas, settings=settings, initial={"d": start}, samples=samples
    )


def simple_ramp(p_ratio, length, width=0.3, T=T0, gamma=GAMMA, gas_constant=R):
    """Start state of a duct: a simple wave running to its end, rising over `width` [m] there."""
    c0 = exact.sound_speed(T, gamma, gas_constant)
    top = p_ratio ** (0.5 * (gamma - 1.0) / gamma)

    def start(x):
        X = 1.0 + (top - 1.0) * np.clip((length - x) / width, 0.0, 1.0)
        u = 2.0 * c0 / (gamma - 1.0) * (X - 1.0)
        return P0 * X ** (2.0 * gamma / (gamma - 1.0)), u, T * X**2, "air"

    return start


def send_wave(p_ratio, pipes, nodes, hold=0.15, T=T0, others=T0, dx=0.01, samples=0, gas=AIR):
    """Send a simple wave down the duct "a" to its end and stop on its plateau.

    `pipes` maps names to (length, diameter) [m]; all other ducts hold gas at rest at `others` [K].
    """
    width = 0.3
    ducts = {name: ws.Pipe(*size, cell_length=dx) for name, size in pipes.items()}
    start = dict.fromkeys(pipes, (P0, 0.0, others, "air"))
    start["a"] = simple_ramp(p_ratio, pipes["a"][0], width, T)
    c = exact.sound_speed(T, GAMMA, R)
    slowest = min(c, exact.simple_wave(p_ratio, c, GAMMA).speed)
    return ws.simulate(
        ws.Network(ducts, nodes), (width + hold) / slowest, gas=gas, settings=IDEAL,
        initial=start, samples=samples,
    )


def modes(signal, dt, near):
    """Frequencies [Hz] of the peaks of a spectrum next to the frequencies `near` [Hz].

    Hann window, and the peak of the continuous transform between the bins.
    """
    from scipy.optimize import minimize_scalar

    t = np.arange(len(signal)) * dt
    weighed = (signal - signal.mean()) * np.hanning(len(signal))

    def size(f):
        return np.abs(np.exp(-2j * np.pi * f * t) @ weighed)

    def refine(f0):
        grid = np.linspace(0.95 * f0, 1.05 * f0, 101)
        best = grid[np.argmax([size(f) for f in grid])]
        step = grid[1] - grid[0]
        found = minimize_scalar(
            lambda f: -size(f), bounds=(best - step, best + step), method="bounded",
            options={"xatol": 1e-6 * f0},
        )
        return float(found.x)

    return np.array([refine(f0) for f0 in near])
