"""Abrupt change of bore: what it reflects and passes of small and of large waves.

A wave runs down a duct of gas at rest to a step of area.  The small wave is compared with acoustics
(Pierce 1981: R = (S1 - S2)/(S1 + S2), T = 1 + R), large ones with the quasi-steady laws (Benson
1982): energy and mass where the bore narrows in the direction of the flow, momentum with the
narrow side's pressure on the shoulder where it widens.  Read are the pressures on both sides of the
step while the plateau of the wave stands there; gamma is 1.4, cells are 10 mm long.
"""

from functools import cache

import numpy as np
from marches import C0, GAMMA, endless, send_wave
from plateaus import LONG, SECOND_ORDER, SMALL, near, share
from references import references
from scipy.optimize import brentq
from suite import Case, Check

import wavesim as ws
from wavesim import exact

STEPS = [row for row in references("AC-16") if row.quantity == "reflection"]
CONTRACTIONS = references("FW-11")
EXPANSIONS = [row for row in references("FW-12") if row.case["law"] == "momentum"]
PLACES = {"before": ("a", "end"), "beyond": ("b", "start")}
LOSS_FREE = {"contraction_coefficient": 1.0}  # a rounded entry into the narrow duct, as in the laws


@cache
def over_step(p_ratio, area_ratio, **step):
    """Result of a wave that meets a step of the given area ratio."""
    bore = 0.1 if area_ratio < 1.0 else 0.03
    return send_wave(
        p_ratio,
        {"a": (LONG, bore), "b": (2.0, bore * np.sqrt(area_ratio))},
        {"far": endless("a.start"), "end": endless("b.end"),
         "step": ws.AreaStep(("a.end", "b.start"), **step)},
        hold=0.2,
    )


def beside(p_ratio, area_ratio, **step):
    """p/p0 before and beyond a step, as in `wavesim.exact.wave_at_area_change`."""
    result = over_step(p_ratio, area_ratio, **step)
    return exact.waves.WaveAtStep(*(near(result, *place) for place in PLACES.values()))


def drawn_into_wider_duct(p_ratio, area_ratio):
    """p/p0 on both sides of a drawing wave that pulls gas out of a narrower duct beyond the step.

    The gas leaves the narrow duct with the loss of a sudden enlargement, at constant stagnation
    temperature; both ducts keep the Riemann variables that reach the step (Benson 1982).
    """
    incident = exact.simple_wave(p_ratio, C0, GAMMA)
    arriving = incident.u + 5.0 * incident.c

    def beyond(c_ratio):
        """Velocity out of the narrow duct, and the enlargement behind it."""
        speed = 5.0 * C0 * (1.0 - c_ratio)
        return speed, exact.sudden_enlargement(speed / (c_ratio * C0), 1.0 / area_ratio, GAMMA)

    def excess(c_ratio):
        speed, wide = beyond(c_ratio)
        still = (c_ratio * C0) ** 2 + 0.2 * speed**2  # c0 squared, the same on both sides
        u = -wide.mach * np.sqrt(still / (1.0 + 0.2 * wide.mach**2))
        c = C0 * (c_ratio**7 * wide.pressure) ** (1.0 / 7.0)  # of the gas that was in the wide duct
        return u + 5.0 * c - arriving

    c_ratio = brentq(excess, 5.0 / 6.0 + 1e-9, 1.0 - 1e-9)  # from a sonic outflow to none
    p = c_ratio**7
    return exact.waves.WaveAtStep(p * beyond(c_ratio)[1].pressure, p)


def quasi_steady(p_ratio, area_ratio):
    """p/p0 on both sides by the law for the direction in which the gas passes the step."""
    if p_ratio < 1.0 and area_ratio < 1.0:
        return drawn_into_wider_duct(p_ratio, area_ratio)
    law = "momentum" if p_ratio > 1.0 and area_ratio > 1.0 else "isentropic"
    return exact.wave_at_area_change(p_ratio, area_ratio, GAMMA, law)


def _small_checks():
    for row in STEPS:
        ratio = row.case["area_ratio"]
        result = over_step(1.0 + SMALL, ratio)
        reflected, passed = share(result, "a", "end") - 1.0, share(result, "b", "start")
        for name, ours, reference in (
            ("reflection", reflected, row.value), ("transmission", passed, 1.0 + row.value),
        ):
            yield Check(f"{name} of a small wave, area ratio {ratio:g}", ours, reference,
                        "0.0002 abs", row.source, SECOND_ORDER)


_THIRD_ORDER = (
    "Both sides solve the same balances; the node sends its waves out by the shock relation, which "
    "leaves the isentropic one by the third order of their strength, at most 1e-4 here."
)
_LOSS = (
    "The table lets the outflow of the narrow duct pass without loss, the model lets it lose what "
    "an enlargement loses: a quarter of its dynamic pressure, 0.7 % of p0."
)


def _label(p_ratio, area_ratio, side):
    return f"p/p0 {side} the step, wave of {p_ratio:g}, area ratio {area_ratio:g}"


def _published_checks():
    for row in (*CONTRACTIONS, *EXPANSIONS):
        p_ratio, ratio = row.case["p_ratio"], row.case["area_ratio"]
        step = LOSS_FREE if row.id == "FW-11" else {}
        pulled = p_ratio < 1.0
        yield Check(
            _label(p_ratio, ratio, row.quantity) + (", by the law without loss" if pulled else ""),
            getattr(beside(p_ratio, ratio, **step), row.quantity), row.value,
            row.solver_tolerance if pulled else "0.01 %", row.source,
            _LOSS if pulled else _THIRD_ORDER,
        )


def _drawing_checks():
    for p_ratio, ratio in ((0.8, 0.5), (0.8, 0.25), (0.8, 4.0), (0.6, 4.0)):
        ours, law = beside(p_ratio, ratio, **LOSS_FREE), quasi_steady(p_ratio, ratio)
        for side in PLACES:
            yield Check(
                _label(p_ratio, ratio, side), getattr(ours, side), getattr(law, side), "0.01 %",
                "Benson (1982), quasi-steady balances, solved with scipy", _THIRD_ORDER,
            )


def _draw_small(ax):
    """Reflection and transmission against the area ratio."""
    ratio = np.geomspace(0.2, 20.0, 200)
    ax.plot(ratio, (1.0 - ratio) / (1.0 + ratio), color=ws.plots.REFERENCE, label="acoustics")
    ax.plot(ratio, 2.0 / (1.0 + ratio), color=ws.plots.REFERENCE)
    given = [row.case["area_ratio"] for row in STEPS]
    found = [over_step(1.0 + SMALL, m) for m in given]
    for i, (name, waves) in enumerate((
        ("transmitted", [share(r, "b", "start") for r in found]),
        ("reflected", [share(r, "a", "end") - 1.0 for r in found]),
    )):
        ax.plot(given, waves, ws.plots.MARKERS[i], color=ws.plots.COLOURS[i], label=name)
    ax.set(xscale="log", xlabel="area beyond the step over area before it",
           ylabel="wave over the incident one")
    ticks = (0.25, 0.5, 1, 2, 4, 9, 16)
    ax.set_xticks(ticks, [f"{tick:g}" for tick in ticks])
    ax.minorticks_off()
    ax.set_title("small wave", loc="left")


def _draw_large(ax, ratio, title):
    """Pressure on both sides of one step against the incident pressure."""
    fine, marched = np.linspace(0.6, 1.6, 51), np.linspace(0.6, 1.6, 6)
    law = np.array([quasi_steady(z, ratio) if z != 1.0 else (1.0, 1.0) for z in fine])
    found = np.array([beside(z, ratio, **LOSS_FREE) for z in marched])
    for i, side in enumerate(PLACES):
        ax.plot(fine, law[:, i], color=ws.plots.REFERENCE, label=None if i else "quasi-steady laws")
        ax.plot(marched, found[:, i], ws.plots.MARKERS[i], color=ws.plots.COLOURS[i],
                label=f"{side} the step")
    ax.plot(fine, 1.0 + 2.0 / (1.0 + ratio) * (fine - 1.0), ":", color=ws.plots.REFERENCE,
            label="acoustics")
    ax.set(xlabel="pressure of the incident wave over that at rest",
           ylabel="pressure over that at rest")
    ax.set_title(title, loc="left")


def draw():
    """Small waves against the area ratio; large ones at a contraction and an enlargement."""
    axes = ws.plots.new_axes(3, height=3.2)
    _draw_small(axes[0])
    _draw_large(axes[1], 0.25, "large wave into a quarter of the area")
    _draw_large(axes[2], 4.0, "large wave into four times the area")
    for ax in axes:
        ax.grid(color=ws.plots.FAINT)
        ax.legend(frameon=False)
    return axes


def run():
    """Small and large waves at steps of area."""
    return Case((*_small_checks(), *_published_checks(), *_drawing_checks()), draw())
