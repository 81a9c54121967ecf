"""Friction factor and Nusselt number of the wall against library and handbook.

The routine that gives wall friction and heat to every cell is called at Reynolds numbers of 5 to
5e6 and relative roughnesses of 0 to 5 %.  Its Darcy factor is compared with Haaland (1983), whose
formula it uses, with Colebrook (1939), and with 64/Re, all by the library fluids, and with numbers
recorded beforehand; its Nusselt number with Gnielinski (1976) and with 3.66 of laminar flow.
"""

import fluids
import numpy as np
from from_python import from_python
from marches import AIR
from references import references
from steady_flow import PRANDTL, gnielinski
from suite import Case, Check

import wavesim as ws
from wavesim.kernels import cells

ROUGHNESSES = (0.0, 1e-4, 1e-3, 1e-2, 0.05)  # height over diameter
TURBULENT = np.geomspace(4000.0, 5e6, 60)  # Reynolds numbers
LAMINAR = np.geomspace(5.0, 2299.0, 20)
LO1 = [row for row in references("LO-1") if row.quantity != "churchill"]
HT1 = [row for row in references("HT-1") if row.quantity == "gnielinski"]


def wall_terms(re, roughness=0.0, u=30.0, T=600.0, bore=0.05):
    """(Darcy factor, Nusselt number) from the kernel at a Reynolds number."""
    re = np.atleast_1d(np.asarray(re, dtype=float))
    mu = np.full(re.size, AIR.viscosity(T))
    r, one = re * mu / (u * bore), np.ones(re.size)
    drag, resist, stanton, still = (np.zeros(re.size) for _ in range(4))
    from_python(cells.wall_coefficients)(
        re.size, r, u * one, T * one, bore * one, (roughness / 3.7) ** 1.11 * one,
        0.5 / bore * one, 0.0 * one, one, drag, resist, stanton, still,
    )
    factor = (drag + resist / (r * u)) * 2.0 * bore
    conductance = (stanton * r * u + still) * bore**2 / 4.0  # Nu mu / Pr
    return factor, conductance * PRANDTL / mu


def library(law, re, roughness):
    """Darcy factors of the library fluids by the name of their law."""
    return np.array([getattr(fluids.friction, law)(x, roughness) for x in np.ravel(re).tolist()])


def worst(ours, reference):
    """Index of the largest relative deviation."""
    return int(np.argmax(np.abs(ours / reference - 1.0)))


def _library_checks():
    haaland = ("Haaland, J. Fluids Eng. 105 (1983); fluids library",
               "The same formula, with a series in place of the logarithm that is good to five "
               "digits.")
    colebrook = ("Colebrook, J. ICE 11 (1939); fluids library",
                 "Haaland chose his formula to stay within 2 % of Colebrook's equation.")
    for roughness in ROUGHNESSES:
        factor, nusselt = wall_terms(TURBULENT, roughness)
        for law, allowed, (source, why) in (
            ("Haaland", "0.005 %", haaland), ("Colebrook", "2 %", colebrook)
        ):
            reference = library(law, TURBULENT, roughness)
            i = worst(factor, reference)
            yield Check(
                f"Darcy factor by {law}, roughness {roughness:g}, worst at Re {TURBULENT[i]:.3g}",
                factor[i], reference[i], allowed, source, why,
            )
        reference = gnielinski(TURBULENT, library("Haaland", TURBULENT, roughness))
        i = worst(nusselt, reference)
        yield Check(
            f"Nusselt number, roughness {roughness:g}, worst at Re {TURBULENT[i]:.3g}",
            nusselt[i], reference[i], "0.005 %", "Gnielinski, Int. Chem. Eng. 16 (1976) 359",
            "The same formula with the friction factor above, to which it is nearly proportional.",
        )


def _laminar_checks():
    factor, nusselt = wall_terms(LAMINAR)
    law = np.array([fluids.friction.friction_laminar(re) for re in LAMINAR.tolist()])
    i = worst(factor, law)
    yield Check(
        f"Darcy factor of laminar flow, worst at Re {LAMINAR[i]:.3g}", factor[i], law[i],
        "0.0001 %", "Poiseuille (1840); fluids library", "64/Re needs no approximation.",
    )
    i = worst(nusselt, 3.66)
    yield Check(
        f"Nusselt number of laminar flow, worst at Re {LAMINAR[i]:.3g}", nusselt[i], 3.66,
        "0.01 %", "Incropera and DeWitt, Fundamentals of Heat and Mass Transfer, eq. 8.55",
        "The three digits of the constant are used as they stand.",
    )


def _recorded_checks():
    for row in LO1:
        own = row.quantity == "haaland"
        yield Check(
            f"Darcy factor by {row.quantity.capitalize()} recorded at Re "
            f"{row.case['reynolds']:.0e}, roughness {row.case['roughness']:g}",
            wall_terms(row.case["reynolds"], row.case["roughness"])[0][0], row.value,
            "0.005 %" if own else "2 %", row.source,
            "The bounds of the formulas themselves, on numbers that a change of the library cannot "
            "move.",
        )
    for row in HT1:
        yield Check(
            f"Nusselt number at Re {row.case['reynolds']:.0e}, smooth",
            wall_terms(row.case["reynolds"])[1][0], row.value, row.solver_tolerance, row.source,
            "The recorded value has Prandtl number 0.70 and the friction factor of Petukhov, the "
            "solver 0.71 and Haaland's, one to two per cent apart.",
        )


ROUGH = """Gnielinski's formula was made for smooth pipes. With the friction of a rough wall its
heat transfer grows as fast as friction, while rough walls are known to raise friction more than
heat (Norris 1971, from memory). At the relative roughness of tubes, 1e-3 and less, this hardly
matters; for cast or scaled walls lower `heat_factor`."""


def draw():
    """Friction factor over Reynolds number, its difference from Colebrook, and Nusselt number."""
    axes = ws.plots.new_axes(3, height=3.2)
    span = np.geomspace(600.0, 5e6, 120)
    colours = (*ws.plots.COLOURS, "black")
    for colour, roughness in zip(colours, ROUGHNESSES, strict=False):
        factor, nusselt = wall_terms(span, roughness)
        colebrook = library("Colebrook", TURBULENT, roughness)
        reference = gnielinski(TURBULENT, library("Haaland", TURBULENT, roughness))
        label = f"roughness {roughness:g}" if roughness else "smooth"
        axes[0].plot(TURBULENT, colebrook, color=ws.plots.REFERENCE, lw=3)
        axes[0].plot(span, factor, color=colour, lw=1, label=label)
        off = 100.0 * (wall_terms(TURBULENT, roughness)[0] / colebrook - 1.0)
        axes[1].plot(TURBULENT, off, color=colour, label=label)
        axes[2].plot(TURBULENT, reference, color=ws.plots.REFERENCE, lw=3)
        axes[2].plot(span, nusselt, color=colour, lw=1)
    axes[0].plot([], [], color=ws.plots.REFERENCE, lw=3, label="Colebrook (1939), 64/Re")
    slow = np.geomspace(600.0, 2300.0, 20)
    axes[0].plot(slow, 64.0 / slow, color=ws.plots.REFERENCE, lw=3, zorder=1)
    axes[2].plot([], [], color=ws.plots.REFERENCE, lw=3, label="Gnielinski (1976)")
    axes[0].set(yscale="log", ylabel="Darcy factor")
    axes[0].set_yticks([0.01, 0.02, 0.05, 0.1], ["0.01", "0.02", "0.05", "0.10"])
    axes[1].set(ylabel="difference from Colebrook [%]", ylim=(-3.0, 3.0))
    axes[2].set(yscale="log", ylabel="Nusselt number", xlabel="Reynolds number")
    axes[0].legend(frameon=False, ncols=2, loc="upper right")
    axes[2].legend(frameon=False)
    for ax in axes:
        ax.set(xscale="log", xlim=(600.0, 5e6))
    return axes


def run():
    """Worst deviations over the whole range, laminar flow, and recorded numbers."""
    return Case((*_library_checks(), *_laminar_checks(), *_recorded_checks()), draw(), (ROUGH,))
