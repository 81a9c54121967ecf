"""Sudden enlargement and contraction against Borda, Carnot and handbook coefficients.

Steady flow of Mach 0.1 to 0.7 in the narrow of two pipes of different bore.  Enlargement: Mach
number, pressures and loss behind the step against mass, energy and momentum with the pressure of
the narrow pipe on the annular wall (the compressible form of Borda and Carnot; Shapiro 1953,
ch. 5).  Contraction: the stagnation pressure lost on the dynamic pressure of the narrow pipe
against Rennels and Hudson (2012), as the library fluids has them, for a sharp edge, and against
the enlargement of a jet of known area.  Twenty cells in each pipe.
"""

from functools import cache

import fluids
import numpy as np
from marches import GAMMA, T0, cut
from references import references
from steady_flow import mach_of, stagnation, steady
from suite import Case, Check

import wavesim as ws
from wavesim import exact

NARROW, P_IN = 0.03, 1.5e5  # m, Pa
ENLARGEMENTS = [row for row in references("ST-11") if row.quantity == "loss"]
RATIOS, COEFFICIENTS, MACHS = (2.0, 4.0), (None, 0.8, 1.0), (0.1, 0.3, 0.5)


def over_step(first, second, p_in, p_out, contraction_coefficient=None, flip=False):
    """States (Mach, p, p0, rho, u) beside a step between two ducts of the given bores [m]."""
    at = ("a.end", "b.start")
    step = ws.AreaStep(
        at[::-1] if flip else at, contraction_coefficient=contraction_coefficient
    )
    net = ws.Network(
        {"a": ws.Pipe(0.3, first, cell_length=0.015), "b": ws.Pipe(0.3, second, cell_length=0.015)},
        {"in": cut("a.start", p_in), "out": cut("b.end", p_out), "step": step},
    )
    final = steady(net, 0.4, start=(p_out, 0.0, T0, "air"), samples=2).final

    def state(gas, cell):
        return (
            mach_of(gas)[cell], gas["p"][cell], stagnation(gas, cell), gas["rho"][cell],
            gas["u"][cell],
        )

    return state(final["a"], -3), state(final["b"], 3)


@cache
def enlargement(mach, area_ratio):
    """M1 before an enlargement and the quantities of ST-11 behind it, in a dict.

    The pressure behind is that with which theory has `mach` before the step.
    """
    theory = exact.sudden_enlargement(mach, area_ratio, GAMMA)
    p_out = P_IN * exact.isentropic(mach, GAMMA).pressure * theory.pressure
    before, behind = over_step(NARROW, NARROW * np.sqrt(area_ratio), P_IN, p_out)
    return {
        "M1": before[0], "M2": behind[0], "p2/p1": behind[1] / before[1],
        "p02/p01": behind[2] / before[2],
        "loss": (before[2] - behind[2]) / (before[2] - before[1]),
    }


@cache
def contraction(ratio, coefficient, mach, flip=False):
    """Loss on the dynamic pressure behind a contraction near Mach number `mach` there."""
    p_out = P_IN * exact.isentropic(mach, GAMMA).pressure
    before, behind = over_step(NARROW * np.sqrt(ratio), NARROW, P_IN, p_out, coefficient, flip)
    return (before[2] - behind[2]) / (0.5 * behind[3] * behind[4] ** 2)


def _enlargement_checks():
    for row in references("ST-11"):
        given = row.case["mach"], row.case["area_ratio"]
        yield Check(
            f"{row.quantity} of an enlargement to {given[1]:g} areas, Mach {given[0]:g}",
            enlargement(*given)[row.quantity], row.value, "0.01 %", row.source,
            "The step itself solves these balances, and loss-free cells add nothing: left are the "
            "digits of the table and the last of the way to rest.",
        )
    for ratio in RATIOS:
        found = enlargement(0.1, ratio)
        yield Check(
            f"loss of an enlargement to {ratio:g} areas, Mach 0.1", found["loss"],
            fluids.fittings.diffuser_sharp(Di1=NARROW, Di2=NARROW * np.sqrt(ratio)), "1 %",
            "Borda and Carnot, incompressible; fluids library",
            "Compressibility changes it with the square of the Mach number, half a per cent here.",
        )


def sharp_edge(ratio, method="Rennels"):
    """Loss coefficient of a sharp-edged contraction by the library fluids."""
    return fluids.fittings.contraction_sharp(
        Di1=NARROW * np.sqrt(ratio), Di2=NARROW, method=method, Re=1e5, fd=0.018
    )


def _contraction_checks():
    why = ("The step takes its stagnation pressure from this coefficient and the dynamic pressure "
           "that it finds itself; left is the last of the way to rest.")
    for ratio in RATIOS:
        for mach in MACHS:
            yield Check(
                f"loss of a sharp contraction from {ratio:g} areas, Mach {mach:g}",
                contraction(ratio, None, mach), sharp_edge(ratio), "0.01 %",
                "Rennels and Hudson, Pipe Flow (2012) ch. 10; fluids library", why,
            )
            yield Check(
                f"loss of a contraction from {ratio:g} areas, jet of 0.8, Mach {mach:g}",
                contraction(ratio, 0.8, mach), (1.0 / 0.8 - 1.0) ** 2, "0.01 %",
                "Borda and Carnot on the jet", why,
            )
        yield Check(
            f"loss of a rounded contraction from {ratio:g} areas, Mach 0.3",
            contraction(ratio, 1.0, 0.3), 0.0, "1e-6 abs", "isentropic flow", why,
        )
        yield Check(
            f"loss of a sharp contraction from {ratio:g} areas beside another handbook",
            contraction(ratio, None, 0.3), sharp_edge(ratio, "Hooper"), "15 %",
            "Hooper, Chem. Eng. (1988); fluids library",
            "Published coefficients of sharp edges differ by as much.",
        )


def draw():
    """Loss coefficients over Mach number: enlargement and contraction."""
    axes = ws.plots.new_axes(2, height=3.4)
    mach = np.linspace(0.05, 0.75, 71)
    for colour, ratio in zip(ws.plots.COLOURS, RATIOS, strict=False):
        axes[0].plot(
            mach, [exact.sudden_enlargement(m, ratio, GAMMA).loss for m in mach],
            color=ws.plots.REFERENCE, label="compressible theory" if ratio == RATIOS[0] else None,
        )
        axes[0].axhline((1.0 - 1.0 / ratio) ** 2, color=ws.plots.REFERENCE, ls=":",
                        label="incompressible" if ratio == RATIOS[0] else None)
        points = [row.case["mach"] for row in ENLARGEMENTS if row.case["area_ratio"] == ratio]
        points = [0.1, *points]
        axes[0].plot(points, [enlargement(m, ratio)["loss"] for m in points], "o", color=colour,
                     label=f"marched, {ratio:g} areas")
        axes[1].axhline(sharp_edge(ratio), color=ws.plots.REFERENCE,
                        label="handbook" if ratio == RATIOS[0] else None)
        axes[1].plot(MACHS, [contraction(ratio, None, m) for m in MACHS], "o", color=colour,
                     label=f"marched, sharp edge, from {ratio:g} areas")
    axes[1].axhline((1.0 / 0.8 - 1.0) ** 2, color=ws.plots.REFERENCE)
    axes[1].plot(MACHS, [contraction(2.0, 0.8, m) for m in MACHS], "s", color=ws.plots.COLOURS[2],
                 label="marched, jet of 0.8, from 2 areas")
    axes[0].set_title("Enlargement: loss over p01 - p1", loc="left")
    axes[1].set_title("Contraction: loss over the dynamic pressure behind", loc="left")
    axes[1].set_xlabel("Mach number in the narrow pipe")
    for ax in axes:
        ax.set(ylabel="loss coefficient", ylim=(0.0, 1.0), xlim=(0.0, 0.8))
        ax.legend(frameon=False, ncols=2, loc="upper left")
    return axes


def run():
    """Enlargements of ST-11 and at low speed; contractions."""
    return Case((*_enlargement_checks(), *_contraction_checks()), draw())
