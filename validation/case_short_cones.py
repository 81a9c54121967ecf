"""Cones of a few cells and throats between two cells: steady flow keeps its stagnation pressure.

A cone between two pipes carries steady air at Mach 0.2 and 0.5 in its narrow end, either way, on
the default cells of 16 mm.  Isentropic flow keeps the stagnation pressure: the loss must vanish for
cones of 96 mm down to 5 mm, a third of a cell.  A throat between two cells, a cone of 10 mm that
narrows and one that widens again, must pass the flow of de Saint-Venant and Wantzel, and hold the
shock behind it where mass and energy put it.  Gas at rest must stay there.
"""

from functools import cache

import fluids
import numpy as np
from case_conservation import REST_STEPS, even, mach_after_rest
from marches import GAMMA, P0, T0, R, cut, outside
from rounding import bound, left
from scipy.optimize import brentq
from steady_flow import last, mach_of, stagnation, steady
from suite import Case, Check

import wavesim as ws
from wavesim import exact

BORES = ((0.05, 0.038), (0.058, 0.038), (0.06, 0.03))  # m
LENGTHS = (0.005, 0.016, 0.048, 0.096)  # m
MACHS = (0.2, 0.5)  # in the narrow end
PIPE = 0.25  # m, before and behind a cone
CELL = ws.Settings().cell_length
WIDE, TIGHT, CONE = 0.05, 0.03, 0.01  # bores of pipe and throat, length of each cone [m]
DROPS = (0.98, 0.8, 0.6)  # back pressure over the stagnation pressure before a throat
CELLS = (0.016, 0.012, 0.008)  # m, of the throat


@cache
def cone_loss(length, first, final, mach):
    """Loss of stagnation pressure in a cone over p0 - p in its narrow end, and its Mach number."""
    narrow = min(first, final)
    star = exact.area_ratio(mach, GAMMA)  # area of the narrow end over that of the sonic throat
    behind = exact.mach_from_area_ratio(star * (final / narrow) ** 2, GAMMA)
    p_out = P0 * exact.isentropic(behind, GAMMA).pressure
    parts = (ws.Pipe(PIPE, first), ws.Pipe(length, first, end_diameter=final), ws.Pipe(PIPE, final))
    net = ws.Network(
        {"d": ws.Duct(parts=parts)}, {"in": cut("d.start"), "out": cut("d.end", p_out)}
    )
    state = steady(net, 0.6, start=(p_out, 0.0, T0, "air"), samples=2).final["d"]
    there, here = stagnation(state, 4), stagnation(state, -5)
    i = 4 if first == narrow else -5
    return (there - here) / (stagnation(state, i) - state["p"][i]), mach_of(state)[i]


@cache
def throat_flow(back, cell):
    """Steady flow through a throat between two cells: flow [kg/s], p0 behind over p0 before."""
    parts = (ws.Pipe(0.3, WIDE), ws.Pipe(CONE, WIDE, end_diameter=TIGHT),
             ws.Pipe(CONE, TIGHT, end_diameter=WIDE), ws.Pipe(0.3, WIDE))
    parts = tuple(part.replace(cell_length=cell) for part in parts)
    net = ws.Network(
        {"d": ws.Duct(parts=parts)}, {"in": cut("d.start"), "out": cut("d.end", back * P0)}
    )
    result = steady(net, 0.3, start=(back * P0, 0.0, T0, "air"), samples=200)
    state = result.final["d"]
    return last(result, "out")[0], stagnation(state, -4) / stagnation(state, 3)


def choked_flow():
    """Of the throat, isentropic [kg/s]."""
    return 0.25 * np.pi * TIGHT**2 * exact.orifice_flux(P0, T0, 0.5 * P0, GAMMA, R)


def shock_loss(back):
    """p0 behind the shock over p0 before, from mass and energy alone: the flow is choked and its
    stagnation pressure is that of the Mach number in the pipe at the back pressure.
    """
    ratio = (WIDE / TIGHT) ** 2

    def excess(mach):
        p0 = back / exact.isentropic(mach, GAMMA).pressure
        return p0 * ratio / exact.area_ratio(mach, GAMMA) - 1.0

    return back / exact.isentropic(brentq(excess, 0.01, 0.99), GAMMA).pressure


def hourglass():
    """Closed and open cones of a cell or two, for gas at rest."""
    parts = (ws.Pipe(0.1, 0.03), ws.Pipe(0.02, 0.03, end_diameter=0.06), ws.Pipe(0.05, 0.06),
             ws.Pipe(0.006, 0.06, end_diameter=0.02), ws.Pipe(0.006, 0.02, end_diameter=0.05))
    return ws.Network(
        {"d": ws.Duct(parts=parts)},
        {"wall": ws.ClosedEnd("d.start"), "mouth": ws.OpenEnd("d.end", ambient=outside())},
    )


# --- checks ---------------------------------------------------------------------------------------

SHAPIRO = "isentropic flow: Shapiro (1953) ch. 4"
WANTZEL = "de Saint-Venant and Wantzel (1839); Shapiro (1953) ch. 4"
_KEPT = (
    "Steady isentropic flow solves the scheme exactly; what is left is the way to the steady state."
)
_PASSED = (
    "A choked throat is held by the stagnation pressure of one cell before it, with a jet and a "
    "shock inside the next; 220 % passed when the throat was missed."
)
_SHOCK = "Mass and energy fix it, as far as the flow is choked and steady."
_REST = "As in every duct: round-off, which 10 000 steps do not gather up."


def _cone_checks():
    for a, b in BORES:
        for first, final in ((a, b), (b, a)):
            for mach in MACHS:
                found = [cone_loss(length, first, final, mach)[0] for length in LENGTHS]
                worst = max(found, key=abs)
                yield Check(
                    f"loss of cones from {1e3 * first:g} to {1e3 * final:g} mm, 5 to 96 mm long, "
                    f"Mach {mach:g}, the worst", worst, 0.0, "0.001 abs", SHAPIRO, _KEPT,
                )


def _throat_checks():
    for cell in CELLS:
        for back in DROPS:
            flow, kept = throat_flow(back, cell)
            name = f"throat between cells of {1e3 * cell:g} mm, back pressure {back:g}"
            theory = choked_flow() * min(1.0, unchoked(back))
            yield Check(f"{name}: flow", flow, theory, "1 %", WANTZEL, _PASSED, "kg/s")
            theory = shock_loss(back) if unchoked(back) > 1.0 else 1.0
            yield Check(f"{name}: stagnation pressure behind over that before", kept, theory,
                        "0.2 %", "mass and energy; Shapiro (1953) ch. 5", _SHOCK)


def _rest_checks():
    net = hourglass()
    yield Check("gas at rest in cones of 6 and 20 mm: Mach number after 10 000 steps",
                mach_after_rest(net, even(net), ws.EngineGas()), 0.0,
                bound(left(REST_STEPS)), "conservation law", _REST)


def _notes():
    rows = ["| cone [mm] | long [mm] | narrows | widens |", "|---|---:|---:|---:|"]
    for wide, narrow in BORES:
        for length in LENGTHS:
            losses = [fluids.contraction_conical(Di1=wide, Di2=narrow, l=length, method="Crane"),
                      fluids.diffuser_conical(Di1=narrow, Di2=wide, l=length, method="Crane")]
            rows.append(f"| {1e3 * wide:g} and {1e3 * narrow:g} | {1e3 * length:g} | "
                        + " | ".join(f"{loss:.2f}" for loss in losses) + " |")
    return (
        "Gas that widens too fast leaves the wall, and a steep contraction squeezes it. Such a "
        "loss is stated by the user, as `extra_loss` of the pipe. On the dynamic pressure of the "
        "narrow end a handbook has (Crane TP-410, by fluids):\n\n" + "\n".join(rows),
    )


def draw():
    """Loss over the length of a cone; stagnation pressure along a throat between two cells."""
    axes = ws.plots.new_axes(2, height=3.2)
    first, final = BORES[-1]
    for i, mach in enumerate(MACHS):
        for j, (a, b) in enumerate(((first, final), (final, first))):
            losses = [cone_loss(length, a, b, mach)[0] for length in LENGTHS]
            axes[0].plot(1e3 * np.array(LENGTHS), losses, "-:"[j] + ws.plots.MARKERS[2 * i + j],
                         color=ws.plots.COLOURS[2 * i + j],
                         label=f"{1e3 * a:g} to {1e3 * b:g} mm, Mach {mach:g}")
    axes[0].axvline(1e3 * CELL, color=ws.plots.REFERENCE, ls="--", lw=1.0)
    axes[0].text(1e3 * CELL, 0.9, " one cell", color=ws.plots.REFERENCE,
                 transform=axes[0].get_xaxis_transform())
    real = np.linspace(LENGTHS[0], LENGTHS[-1], 100)
    for style, law, a, b in (("-", fluids.contraction_conical, first, final),
                             (":", fluids.diffuser_conical, final, first)):
        axes[0].plot(1e3 * real, [law(Di1=a, Di2=b, l=x, method="Crane") for x in real], style,
                     color=ws.plots.REFERENCE, label=f"handbook, {1e3 * a:g} to {1e3 * b:g} mm")
    axes[0].set(xlabel="length of the cone [mm]", ylabel="loss over the dynamic\npressure",
                ylim=(-0.05, 1.0))
    axes[0].set_title("Loss of a cone, cells of 16 mm; grey: what a real one adds", loc="left")
    for i, cell in enumerate(CELLS):
        flows = [throat_flow(back, cell)[0] / choked_flow() for back in DROPS]
        axes[1].plot(DROPS, flows, ws.plots.MARKERS[i], color=ws.plots.COLOURS[i],
                     label=f"cells of {1e3 * cell:g} mm")
    back = np.linspace(DROPS[-1], 0.99, 100)
    axes[1].plot(back, [min(1.0, unchoked(b)) for b in back], color=ws.plots.REFERENCE,
                 label="isentropic")
    axes[1].set(xlabel="back pressure over stagnation pressure", ylim=(0.0, 1.2),
                ylabel="flow over the\nchoked flow")
    axes[1].set_title("Throat between two cells, two cones of 10 mm", loc="left")
    for ax, columns in zip(axes, (2, 1), strict=True):
        ax.grid(color=ws.plots.FAINT)
        ax.legend(frameon=False, ncols=columns)
    return axes


def unchoked(back):
    """Isentropic flow to a back pressure in the wide pipe, over the choked flow of the throat."""
    flux = exact.orifice_flux(P0, T0, back * P0, GAMMA, R)
    return flux / exact.orifice_flux(P0, T0, 0.5 * P0, GAMMA, R) * (WIDE / TIGHT) ** 2


def run():
    """Losses of cones, flows of a throat, rest."""
    return Case((*_cone_checks(), *_throat_checks(), *_rest_checks()), draw(), _notes())
