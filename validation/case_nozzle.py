"""Nozzles: subsonic, choked, and with a shock, against isentropic and shock relations.

A cone between two open ends passes its steady flow from a pressure ratio of 0.95 down to 0.3, drawn
both ways, and another cone empties a large vessel: mass flow against de Saint-Venant and Wantzel.
Nozzles A = 1 + k (x - 1.5)^2, 3 m long, discharge against a back pressure that holds a shock in
their widening half (Anderson 1995, and three of Anderson 2003): place of the shock, Mach number at
inlet and outlet, and pressure along the nozzle, with 60 cells in the cone and 100 in the others.
"""

from functools import cache

import numpy as np
from case_riemann import crossing
from marches import GAMMA, P0, T0, R, cut
from references import reference, references
from steady_flow import last, mach_of, stagnation, steady
from suite import Case, Check

import wavesim as ws
from wavesim import exact

P_IN = 1.5e5
WIDE, NARROW, CONE = 0.05, 0.03, 0.3  # bores and length of the cone [m]
RATIOS = (0.95, 0.8, 0.6, 0.3)
TIP = 0.02  # bore of the nozzle on the vessel [m]
THROAT, LENGTH = 1.5, 3.0  # of the nozzles with a shock [m]
SHOCKS = tuple(row.case for row in references("ST-9") if row.quantity == "Me")


@cache
def cone_flow(pressure_ratio, backwards=False, cells=60):
    """Mass flow [kg/s] of a cone between two open ends, and how far it still moves, relative."""
    a, b = (NARROW, WIDE) if backwards else (WIDE, NARROW)
    first, final = ("d.end", "d.start") if backwards else ("d.start", "d.end")
    p_out = pressure_ratio * P_IN
    net = ws.Network(
        {"d": ws.Pipe(CONE, a, end_diameter=b, cell_length=CONE / cells)},
        {"in": cut(first, P_IN), "out": cut(final, p_out)},
    )
    return last(steady(net, 0.15, start=(p_out, 0.0, T0, "air")), "out")


def ideal_flow(p_in, T_in, p_out, diameter):
    """Isentropic mass flow [kg/s] through a round area, choked or not."""
    return 0.25 * np.pi * diameter**2 * exact.orifice_flux(p_in, T_in, p_out, GAMMA, R)


@cache
def vessel_flow(cells=100):
    """Mass flow [kg/s] of a cone behind one cubic metre; pressure [Pa], temperature [K] in it."""
    net = ws.Network(
        {"d": ws.Pipe(0.2, 0.05, end_diameter=TIP, cell_length=0.2 / cells)},
        {
            "box": ws.Volume(("d.start",), volume=1.0, pressure=P_IN, temperature=T0),
            "out": cut("d.end", P0),
        },
    )
    result = steady(net, 0.03)
    state = [result.trace(name, "box").values[-1] for name in ("pressure", "temperature")]
    return last(result, "out")[0], *state


@cache
def laval(growth, exit_pressure, cells):
    """Nozzle A = 1 + growth (x - 1.5)^2 as sixty short cones; `exit_pressure` over that before it.

    Returns the final state, and the area over the throat's as a function of x.
    """
    x = np.linspace(0.0, LENGTH, 61)
    d = 0.1 * np.sqrt(1.0 + growth * (x - THROAT) ** 2)
    parts = [
        ws.Pipe(x[i + 1] - x[i], d[i], end_diameter=d[i + 1], cell_length=LENGTH / cells)
        for i in range(60)
    ]
    net = ws.Network(
        {"d": ws.Duct(parts=tuple(parts))},
        {"in": cut("d.start", P_IN), "out": cut("d.end", exit_pressure * P_IN)},
    )
    area = net.ducts["d"].area_at
    return steady(net, 0.2, samples=2).final["d"], lambda x: area(x) / area(THROAT)


def anderson(cells=100):
    """ST-10: `laval` with the growth and back pressure of Anderson (1995)."""
    given = references("ST-10")[0].case
    return laval(given["growth"], given["pe/p0"], cells)


def held_shocks():
    """(label, final state, area function, area of shock, its place [m]) of the four nozzles."""
    row = {r.quantity: r.value for r in references("ST-10")}
    final, area = anderson()
    yield f"outlet {area(LENGTH):g} throats", final, area, row["A_shock/A*"], row["x_shock"]
    for given in SHOCKS:
        growth = (given["exit_area"] - 1.0) / THROAT**2
        place = THROAT + np.sqrt((given["shock_area"] - 1.0) / growth)
        final, area = laval(growth, reference("ST-9", "pe/p01", **given).value, 100)
        yield f"outlet {area(LENGTH):g} throats", final, area, given["shock_area"], place


def profile(x, area, shock_area):
    """Exact Mach number and pressure [Pa] at places along a nozzle."""
    share = np.maximum(area(x), 1.0)
    mach, p = exact.nozzle_profile(share, int(np.searchsorted(x, THROAT)), GAMMA, shock_area)
    return mach, p * P_IN


def shock_place(final, shock_area, near):
    """Where the pressure crosses the middle of the jump [m]."""
    before = exact.mach_from_area_ratio(shock_area, GAMMA, supersonic=True)
    low = P_IN * exact.isentropic(before, GAMMA).pressure
    middle = 0.5 * low * (1.0 + exact.normal_shock(before, GAMMA).pressure)
    return crossing(final["x"], final["p"], middle, near, 0.3)


def _cone_checks():
    for ratio, backwards in [*((r, False) for r in RATIOS), (0.6, True), (0.3, True)]:
        yield Check(
            f"mass flow of a cone at pressure ratio {ratio:g}{', drawn backwards' * backwards}",
            cone_flow(ratio, backwards)[0], ideal_flow(P_IN, T0, ratio * P_IN, NARROW), "0.1 %",
            "de Saint-Venant and Wantzel (1839); Shapiro (1953) ch. 4",
            "Nothing is lost in the model either; the scheme leaves an error of second order in "
            "the cell length, below a thousandth with 60 cells.", "kg/s",
        )
    flow, p, T = vessel_flow()
    yield Check(
        "mass flow of a cone behind a large vessel", flow, ideal_flow(p, T, P0, TIP), "0.1 %",
        "de Saint-Venant and Wantzel (1839); Shapiro (1953) ch. 4",
        "The vessel is so large that the flow is steady to a few parts in ten thousand.", "kg/s",
    )


def _shock_checks(label, final, area, shock_area, place):
    source = "Anderson, Modern Compressible Flow (2003) ch. 5"
    yield Check(
        f"place of the shock, {label}", shock_place(final, shock_area, place), place,
        f"{0.25 * LENGTH / 100:g} abs", source,
        "Mass and energy fix the stagnation pressure that the shock must cost, so that it cannot "
        "stand wrong by more than a fraction of a cell.", "m",
    )
    theory, _ = profile(final["x"], area, shock_area)
    for where, i in (("inlet", 0), ("outlet", -1)):
        yield Check(
            f"Mach number at the {where}, {label}", mach_of(final)[i], theory[i], "0.1 %", source,
            "Set by the flow that the throat passes, which is second order in the cell length.",
        )
    loss = exact.nozzle_shock(area(LENGTH), shock_area, GAMMA).stagnation_ratio
    yield Check(
        f"stagnation pressure behind the shock over that before it, {label}",
        stagnation(final, -1) / P_IN, loss, "0.02 %", source,
        "The jump conditions hold in the mean over any number of cells, so that only the error of "
        "the flow itself is left.",
    )
    stations = {"half way to the throat": 0.5 * THROAT, "at the throat": THROAT,
                "half way from throat to shock": 0.5 * (THROAT + place),
                "half way from shock to outlet": 0.5 * (place + LENGTH)}
    for where, at in stations.items():
        fine = np.sort([*np.linspace(0.0, LENGTH, 3001), at])
        yield Check(
            f"pressure {where}, {label}", np.interp(at, final["x"], final["p"]),
            profile(fine, area, shock_area)[1][np.searchsorted(fine, at)],
            "0.1 %", source,
            "Second order in the cell length too, also across the throat, where the flow is sonic.",
            "Pa",
        )


def draw():
    """Flow of the cone over the pressure ratio; pressure along the four nozzles."""
    axes = ws.plots.new_axes(2, height=3.6)
    ratio = np.linspace(0.25, 1.0, 301)
    axes[0].plot(ratio, [1e3 * ideal_flow(P_IN, T0, r * P_IN, NARROW) for r in ratio],
                 color=ws.plots.REFERENCE, label="isentropic")
    axes[0].plot(RATIOS, [1e3 * cone_flow(r)[0] for r in RATIOS], "o", color=ws.plots.COLOURS[0],
                 label="marched, 60 cells")
    axes[0].set(xlabel="pressure behind over stagnation pressure before", ylabel="mass flow [g/s]",
                ylim=(0.0, None))
    axes[0].set_title("Cone 50 to 30 mm", loc="left")
    fine = np.linspace(0.0, LENGTH, 1501)
    for i, (label, final, area, shock_area, _) in enumerate(held_shocks()):
        axes[1].plot(fine, 1e-5 * profile(fine, area, shock_area)[1], color=ws.plots.REFERENCE,
                     label=None if i else "exact")
        axes[1].plot(final["x"], 1e-5 * final["p"], ".", ms=4, color=ws.plots.COLOURS[i],
                     label=label)
    axes[1].set(xlabel="position [m]", ylabel="pressure [bar]", ylim=(0.0, None))
    axes[1].set_title("Nozzles with a shock, throat at 1.5 m, 100 cells", loc="left")
    for ax in axes:
        ax.legend(frameon=False)
    return axes


def run():
    """Flow of the cones, and everything about the four shocks."""
    shocks = (check for nozzle in held_shocks() for check in _shock_checks(*nozzle))
    return Case((*_cone_checks(), *shocks), draw())
