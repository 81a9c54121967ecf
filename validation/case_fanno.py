"""Long pipes with friction against Fanno flow.

Air runs from a reservoir through smooth, common and rough pipes of 40 mm to an open end, Mach 0.1
to 0.76 at the outlet, and choked.  The reference knows the two pressures and the pipe only: Fanno's
equation (Shapiro 1953, ch. 6) is integrated with the friction factor of Haaland (1983) at the local
Reynolds number until it meets both.  Compared are mass flow, pressure drop and the Mach number at
the outlet, with cells of 50 mm.
"""

from functools import cache

import numpy as np
from marches import AIR, GAMMA, P0, T0, R
from scipy.integrate import cumulative_trapezoid
from scipy.optimize import brentq
from steady_flow import darcy, flow_through, last, mach_of
from suite import Case, Check

import wavesim as ws
from wavesim import exact

BORE = 0.04  # m
ROUGHNESS = {"smooth": 1.5e-6, "common": 4.5e-5, "rough": 4e-4}  # m
RUNS = ((1.05e5, 3.0), (1.3e5, 3.0), (1.6e5, 2.0), (1.9e5, 3.0))  # pressure before [Pa], length [m]
CHOKED = (1.5e5, 1.0, 4e4)  # pressure before [Pa], length [m], pressure behind [Pa]
SOURCE = "Shapiro (1953) ch. 6 with Haaland (1983)"


@cache
def long_pipe(p_in, length, roughness, cell_length=0.05, p_out=P0):
    """Steady adiabatic flow through a pipe: states along it and mass flow [kg/s]."""
    pipe = ws.Pipe(length, BORE, roughness=roughness, cell_length=cell_length)
    result = flow_through(pipe, p_in, p_out, wall_heat=False)
    return result.final["line"], last(result, "out")[0]


def fanno_line(mach, p_in, roughness):
    """Flow that enters a pipe from a reservoir at a Mach number, as far as Mach 1.

    Returns the distances [m] at which it has the Mach numbers and pressures [Pa] of the other two
    arrays, and the mass flow [kg/s].
    """
    m = np.geomspace(mach, 1.0, 4001)
    iso = exact.isentropic(m, GAMMA)
    T = T0 * iso.temperature
    flux = p_in * iso.pressure[0] * mach * np.sqrt(GAMMA / (R * T[0]))
    friction = darcy(flux * BORE / AIR.viscosity(T), roughness / BORE) / BORE
    slope = 2.0 * (1.0 - m**2) / (GAMMA * m**3 * (1.0 + 0.5 * (GAMMA - 1.0) * m**2) * friction)
    x = cumulative_trapezoid(slope, m, initial=0.0)
    return x, m, flux / m * np.sqrt(R * T / GAMMA), flux * 0.25 * np.pi * BORE**2


def fanno_pipe(p_in, length, roughness, p_out=P0):
    """`fanno_line` of a pipe between two pressures [Pa], choked or not, as far as its outlet."""

    def until(mach):
        x, m, p, flow = fanno_line(mach, p_in, roughness)
        return np.interp(length, x, p), x[-1], m, flow

    choked = brentq(lambda mach: until(mach)[1] - length, 0.02, 0.98)
    mach = choked
    if until(choked)[0] < p_out:
        mach = brentq(lambda mach: until(mach)[0] - p_out, 0.02, choked)
    return fanno_line(mach, p_in, roughness)


def pipes():
    """(label, arguments) of the pipes that are not choked."""
    for p_in, length in RUNS:
        for name, roughness in ROUGHNESS.items():
            yield f"{name} pipe, {p_in / 1e5:g} bar, {length:g} m", (p_in, length, roughness)


def _pipe_checks(label, given):
    gas, flow = long_pipe(*given)
    x, mach, p, theory = fanno_pipe(*given)
    near, far = np.interp(gas["x"][[1, -2]], x, p)
    yield Check(
        f"mass flow, {label}", flow, theory, "0.02 %", SOURCE,
        "Friction acts at the end of each step on the state that the step has left, an error "
        "proportional to the cell length, a few parts in 1e5 with 60 cells.", "kg/s",
    )
    yield Check(
        f"pressure drop, {label}", gas["p"][1] - gas["p"][-2], near - far, "0.1 %", SOURCE,
        "The error of the flow, and that the pressure of a cell is its mean and not that of its "
        "centre.", "Pa",
    )
    yield Check(
        f"Mach number in the last cell, {label}", mach_of(gas)[-1],
        np.interp(gas["x"][-1], x, mach), "0.5 %", SOURCE,
        "The velocity is read after the friction of the whole step, half a step beside its mean: "
        "f u dt / 4 D, at most 0.4 % here.",
    )


def _choked_checks():
    p_in, length, p_out = CHOKED
    for name, roughness in ROUGHNESS.items():
        gas, flow = long_pipe(p_in, length, roughness, 0.0125, p_out)
        x, _, p, theory = fanno_pipe(p_in, length, roughness, p_out)
        label = f"{name} pipe, choked, {length:g} m"
        yield Check(
            f"mass flow, {label}", flow, theory, "0.02 %", SOURCE,
            "Mach 1 at the outlet fixes the flow; the last cell, in which the pressure falls "
            "without bound, has little friction left to do.", "kg/s",
        )
        middle = np.argmin(np.abs(gas["x"] - 0.5 * length))
        yield Check(
            f"pressure half way, {label}", gas["p"][middle],
            np.interp(gas["x"][middle], x, p), "0.1 %", SOURCE,
            "Far from the outlet the profile is as smooth as that of other pipes.", "Pa",
        )


def _draw_pipe(axes, colour, marker, label, given):
    """Mach number and pressure along one pipe."""
    gas, _ = long_pipe(*given)
    x, mach, p, _ = fanno_pipe(*given[:3], *given[4:])
    inside = x <= given[1]
    marched = {"marker": marker, "ms": 4, "ls": "none", "color": colour, "label": label}
    for ax, theory, ours in (
        (axes[0], mach, mach_of(gas)), (axes[1], 1e-5 * p, 1e-5 * gas["p"])
    ):
        ax.plot(x[inside], theory[inside], color=ws.plots.REFERENCE, zorder=1)
        every = max(1, len(ours) // 30)
        ax.plot(gas["x"][::every], ours[::every], **marched)


def draw():
    """Mach number and pressure along the pipes with the highest pressure and the choked ones."""
    axes = ws.plots.new_axes(2, height=3.4)
    p_in, length = RUNS[-1]
    before, short, behind = CHOKED
    for colour, (name, roughness) in zip(ws.plots.COLOURS, ROUGHNESS.items(), strict=False):
        _draw_pipe(axes, colour, "o", name, (p_in, length, roughness))
        _draw_pipe(axes, colour, "^", f"{name}, choked", (before, short, roughness, 0.0125, behind))
    axes[0].plot([], [], color=ws.plots.REFERENCE, label="Fanno")
    axes[0].legend(frameon=False, ncols=2, loc="upper right")
    axes[0].set_title(
        f"From {p_in / 1e5:g} bar to {P0 / 1e5:.3f} bar, 3 m; choked: from {before / 1e5:g} bar to "
        f"{behind / 1e5:g} bar, 1 m", loc="left",
    )
    axes[0].set(ylabel="Mach number", xlim=(0.0, 3.05))
    axes[1].set(ylabel="pressure [bar]", xlabel="position [m]", xlim=(0.0, 3.05))
    return axes


def run():
    """Twelve pipes, and three that are choked."""
    checks = [check for pipe in pipes() for check in _pipe_checks(*pipe)]
    return Case((*checks, *_choked_checks()), draw())
