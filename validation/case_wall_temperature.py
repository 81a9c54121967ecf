"""Wall temperatures that are solved with the flow, against an independent root of the balance.

Bare, wrapped, coated and wind-blown tubes: inner and outer temperature against a root that scipy
finds for the heat of one metre instead of the temperature, with the outer heat transfer of the
library, and with that of Churchill and Chu (1975) and Churchill and Bernstein (1977) on the air of
cantera.  Then the same walls beside hot steady flow with the heat transfer of Gnielinski (1976),
and round an engine at 4500 rev/min with the heat that its pulsating flow has passed in a cycle.
"""

from functools import cache
from math import log, pi
from typing import NamedTuple
from unittest.mock import patch

import numpy as np
from case_gas_properties import kinetic, kinetic_at
from marches import AIR, cut, endless
from references import reference
from scipy.constants import Stefan_Boltzmann, g
from scipy.optimize import brentq
from steady_flow import CP, PRANDTL, RECOVERY, darcy, gnielinski
from suite import Case, Check

import wavesim as ws
from wavesim.arrays.compile import compile_network
from wavesim.descriptions.materials import METALS
from wavesim.descriptions.walls import (
    nusselt_cross_flow,
    nusselt_still_air,
    outer_heat_transfer,
    wall_balance,
)
from wavesim.gas.fuels import DRY_AIR
from wavesim.kernels import flat as f
from wavesim.march import advance
from wavesim.march.walltemp import find_solved_walls, update_walls

BORE = 0.04  # of the pipe with steady flow [m]
BARE = ws.Wall("16 gauge", "mild steel", outside="dyno-cell fan")
WRAPPED = BARE.replace(wrap=ws.Wrap(thickness=0.006))
COATED = BARE.replace(coating=ws.Coating(thickness=0.0005))
WALLS = {"bare": BARE, "wrapped": WRAPPED, "coated": COATED}
OUTSIDES = {"still air": "still air", "fan of 6 m/s": "dyno-cell fan", "road, 14 m/s": "road speed"}
RPM = 4500.0
COARSE = ws.Settings(cell_length=0.03, sample_deg=2.0, tolerance=1e-4)


# the balance of one metre ---------------------------------------------------------------------


def independent_root(h, T_gas, wall, bore, outer_law=outer_heat_transfer):
    """Inner and outer temperature by solving for the heat of one metre instead."""
    layers, d = [], bore
    if wall.coating:
        layers.append((d, d + 2 * wall.coating.thickness, wall.coating.conductivity))
        d = layers[-1][1]
    layers.append((d, d + 2 * wall.thickness, METALS[wall.metal].conductivity))
    d = layers[-1][1]
    emissivity = METALS[wall.metal].emissivity if wall.emissivity is None else wall.emissivity
    if wall.wrap:
        layers.append((d, d + 2 * wall.wrap.thickness, wall.wrap.conductivity))
        d, emissivity = layers[-1][1], wall.wrap.emissivity
    resistance = sum(log(b / a) / (2 * pi * k) for a, b, k in layers)

    def surplus(heat):
        inner = T_gas - heat / (h * pi * bore)
        outer = inner - heat * resistance
        convection = outer_law(outer, d, wall.air) * (outer - wall.air.temperature)
        radiation = emissivity * Stefan_Boltzmann * (outer**4 - wall.air.temperature**4)
        return pi * d * (convection + radiation) - heat

    most = (T_gas - wall.air.temperature) / (1 / (h * pi * bore) + resistance)
    heat = brentq(surplus, 0.0, most, xtol=1e-9, rtol=1e-14)
    inner = T_gas - heat / (h * pi * bore)
    return inner, inner - heat * resistance, heat


def handbook_law(surface, diameter, outside):
    """Outer heat transfer coefficient [W/(m2 K)] from the published formulas and cantera's air."""
    film = 0.5 * (surface + outside.temperature)
    mu, k = kinetic_at(film, DRY_AIR)
    nu, prandtl = mu / kinetic().density * 1e5 / outside.pressure, mu * kinetic().cp_mass / k
    rayleigh = g / film * abs(surface - outside.temperature) * diameter**3 * prandtl / nu**2
    spread = (1.0 + (0.559 / prandtl) ** (9.0 / 16.0)) ** (8.0 / 27.0)
    free = (0.60 + 0.387 * rayleigh ** (1.0 / 6.0) / spread) ** 2
    re = outside.air_speed * diameter / nu
    forced = 0.3 + 0.62 * np.sqrt(re) * prandtl ** (1.0 / 3.0) / (
        1.0 + (0.4 / prandtl) ** (2.0 / 3.0)
    ) ** 0.25 * (1.0 + (re / 282000.0) ** 0.625) ** 0.8
    return (free**4 + forced**4 * (outside.air_speed > 0.0)) ** 0.25 * k / diameter


# steady flow ----------------------------------------------------------------------------------


class HotFlow(NamedTuple):
    """A model with hot steady flow, its solved wall, and what the gas gives to it.

    Heat transfer coefficient [W/(m2 K)] by the correlation and recovery temperature [K] of cells;
    enthalpy that the gas gives up between inlet and outlet [W].
    """

    model: object
    solved: object
    coefficient: np.ndarray
    temperature: np.ndarray
    given: float


@cache
def hot_flow(wall, rounds=12, chunk=0.05):
    """`HotFlow` of 1000 K through a walled pipe; the wall is renewed after every chunk of time."""
    net = ws.Network(
        {"d": ws.Pipe(1.0, BORE, wall=wall, cell_length=0.02)},
        {"in": endless("d.start", 1.3e5, 1000.0), "out": cut("d.end")},
    )
    start = {"d": (1.1e5, 100.0, 1000.0, "air")}
    model = compile_network(net, AIR, ws.Settings(), initial=start)
    (solved,) = walls = find_solved_walls(model)
    for i in range(1, rounds + 1):
        for sums in (model.record.wall, model.record.end_sum):
            sums[:] = 0.0
        advance.march_to(model, i * chunk, 1_000_000)
        update_walls(model, walls, chunk)
    lo, hi = model.ducts["d"]
    T, U = model.state.T[lo:hi], model.state.U[:, lo:hi]
    mu = AIR.viscosity(T)
    re = np.abs(U[f.M]) * BORE / mu
    nusselt = gnielinski(re, darcy(re, 4.5e-5 / BORE))
    given = -model.record.end_sum[:, f.OUT_ENERGY].sum() / chunk
    # the wall feels the recovery temperature of a turbulent layer: White, Viscous Fluid Flow
    felt = T + RECOVERY * (U[f.M] / U[f.R]) ** 2 / (2.0 * CP)
    return HotFlow(model, solved, nusselt * mu * CP / PRANDTL / BORE, felt, given)


# an engine ------------------------------------------------------------------------------------


def header(study, wall=None, temperature=None):
    """The open collector with another wall, or one of a given temperature."""
    exhaust = next(iter(study.exhausts.values()))
    change = {"wall": wall} if temperature is None else {
        "wall": None, "wall_temperature": temperature
    }
    return exhaust.replace(
        primary=tuple(tube.replace(**change) for tube in exhaust.primary),
        collector=tuple(tube.replace(**change) for tube in exhaust.collector),
    )


class Handed(NamedTuple):
    """Wall temperatures of a cycle [K], what it has handed to the walls, and the walls.

    `grip` is heat transfer coefficient times surface times time [J/K], `gain` the heat that the gas
    has taken up [J], both for each cell.
    """

    before: np.ndarray
    grip: np.ndarray
    gain: np.ndarray
    walls: list


@cache
def study():
    """The study of complete systems that comes with the package."""
    return ws.load(ws.demo_path("complete"))


@cache
def engine_run(name):
    """A point with a wall of `WALLS`, and what its last cycle has handed to the walls."""
    seen = []

    def spy(model, walls, cycle_time):
        before = model.net.cells[f.WALL].copy()
        seen.append(Handed(
            before, model.record.wall[f.GRIP].copy(), model.record.wall[f.GAIN].copy(), walls
        ))
        return update_walls(model, walls, cycle_time)

    with patch.object(advance, "update_walls", spy):
        point = ws.run_point(study().engine, header(study(), WALLS[name]), RPM, settings=COARSE)
    return point, seen[-1]


def engine_walls(name, every=1):
    """(cell, bore, heat transfer coefficient, temperature that the wall has felt) of an engine."""
    _, handed = engine_run(name)
    period = 120.0 / RPM
    for solved in handed.walls:
        for cell, bore, surface in list(
            zip(solved.cells, solved.bore, solved.surface, strict=True)
        )[::every]:
            h = handed.grip[cell] / (period * surface)
            yield cell, bore, h, handed.before[cell] - handed.gain[cell] / handed.grip[cell]


# checks ---------------------------------------------------------------------------------------

ROOT = "root of the heat by scipy; Incropera and DeWitt, Fundamentals of Heat and Mass Transfer"
HANDBOOK = "Churchill and Chu (1975), Churchill and Bernstein (1977), cantera, scipy"
AIR_OF_LIBRARY = ("Sutherland's laws for viscosity and conductivity and one Prandtl number replace "
                  "kinetic theory, which moves the outer coefficient by two per cent.")


def _correlation_checks():
    still, cross = reference("HT-7", "churchill_chu"), reference("HT-8", "churchill_bernstein")
    for row, found in (
        (still, nusselt_still_air(**still.case)),
        (cross, nusselt_cross_flow(**cross.case)),
    ):
        yield Check(f"Nusselt number of a worked example, {row.quantity.replace('_', ' and ')}",
                    found, row.value, row.solver_tolerance, row.source,
                    "The book works with three digits and reads the groups from rounded tables.")


def _balance_checks():
    for name, wall in WALLS.items():
        for place, outside in OUTSIDES.items():
            placed = wall.replace(outside=outside)
            found = wall_balance(100.0, 900.0, placed, 0.05)
            root = independent_root(100.0, 900.0, placed, 0.05)
            handbook = independent_root(100.0, 900.0, placed, 0.05, handbook_law)
            for i, (side, ours) in enumerate((("inner", found.inner), ("outer", found.outer))):
                label = f"{side} temperature, {name} tube, {place}, gas of 900 K"
                yield Check(f"{label}, root", float(ours), root[i], "0.001 abs", ROOT,
                            "Both are solved to round-off.", "K")
                yield Check(f"{label}, handbook", float(ours), handbook[i], "4 abs", HANDBOOK,
                            AIR_OF_LIBRARY, "K")


def steady_roots(name):
    """(ours, root) of inner and outer temperature and heat, for inner cells of the pipe."""
    flow = hot_flow(WALLS[name])
    inside = range(2, len(flow.temperature) - 2)
    roots = np.array([
        independent_root(flow.coefficient[i], flow.temperature[i], WALLS[name], BORE)
        for i in inside
    ])
    state = flow.solved.state
    ours = np.array([(state.inner[i], state.outer[i], state.heat[i]) for i in inside])
    return ours, roots


def _steady_checks():
    for name in WALLS:
        ours, roots = steady_roots(name)
        for column, (what, allowed, unit) in enumerate((
            ("inner temperature", "0.2 abs", "K"), ("outer temperature", "0.2 abs", "K"),
            ("heat of one metre", "0.1 %", "W/m"),
        )):
            i = int(np.argmax(np.abs(ours[:, column] - roots[:, column])))
            yield Check(
                f"{what}, {name} pipe in steady flow, worst of {len(ours)} cells", ours[i, column],
                roots[i, column], allowed, f"{ROOT}; Gnielinski (1976)",
                "The cell is read half a step of heating beside the state that the wall has felt.",
                unit,
            )
        flow = hot_flow(WALLS[name])
        yield Check(
            f"heat through the wall, {name} pipe in steady flow",
            float((flow.solved.state.heat * 0.02).sum()), flow.given, "0.001 %",
            "first law: enthalpy given up between inlet and outlet",
            "The same heat is booked on both sides; left is the last of the way to rest.", "W",
        )


def engine_roots(name, outer_law=outer_heat_transfer):
    """(ours, root) of the inner temperatures of all walls of an engine [K]."""
    before = engine_run(name)[1].before
    return np.array([
        (before[cell], independent_root(h, gas, WALLS[name], bore, outer_law)[0])
        for cell, bore, h, gas in engine_walls(name, 3)
    ]).T


def _engine_checks():
    for name in ("bare", "wrapped"):
        for law, allowed, source, why in (
            (outer_heat_transfer, "0.1 abs", ROOT,
             "The walls have come to rest with the gas: the last cycle moves them no more than the "
             "tolerance of the cycles."),
            (handbook_law, "4 abs", HANDBOOK, AIR_OF_LIBRARY),
        ):
            ours, roots = engine_roots(name, law)
            i = int(np.argmax(np.abs(ours - roots)))
            yield Check(
                f"inner temperature, {name} exhaust of an engine, worst of {len(ours)} cells, "
                f"{'handbook' if law is handbook_law else 'root'}", ours[i], roots[i], allowed,
                source, why, "K",
            )
    means = {name: np.array([(s.inner.mean(), s.outer.mean()) for s in (
        solved.state for solved in engine_run(name)[1].walls)]).mean(axis=0)
        for name in ("bare", "wrapped")}
    roots = {name: np.mean([independent_root(h, gas, WALLS[name], bore, handbook_law)[:2]
                            for _, bore, h, gas in engine_walls(name)], axis=0)
             for name in ("bare", "wrapped")}
    for i, side in enumerate(("inside", "outside")):
        yield Check(
            f"change of mean temperature by the wrap, {side}, engine",
            means["wrapped"][i] - means["bare"][i], roots["wrapped"][i] - roots["bare"][i],
            "4 abs", HANDBOOK, "Hotter inside and cooler outside; " + AIR_OF_LIBRARY, "K",
        )


def draw():
    """Temperatures along the pipe in steady flow and along the first primary of the engine."""
    axes = ws.plots.new_axes(2, height=3.8)
    for colour, name in zip(ws.plots.COLOURS, WALLS, strict=False):
        ours, roots = steady_roots(name)
        x = 0.02 * (np.arange(2, 2 + len(ours)) + 0.5)
        for column, style in ((0, "-"), (1, "--")):
            axes[0].plot(x, ours[:, column], style, color=colour,
                         label=name if column == 0 else None)
            axes[0].plot(x[::4], roots[::4, column], "o", ms=4, color=ws.plots.REFERENCE)
    axes[0].set_title("Steady flow from 1000 K, fan of 6 m/s", loc="left")
    axes[0].set_xlabel("position in the pipe [m]")
    for colour, name in zip(ws.plots.COLOURS, ("bare", "wrapped"), strict=False):
        _, handed = engine_run(name)
        first = handed.walls[0]
        states = list(engine_walls(name))[: len(first.cells)]
        roots = [independent_root(h, gas, WALLS[name], bore, handbook_law)[:2]
                 for _, bore, h, gas in states]
        x = 0.03 * (np.arange(len(first.cells)) + 0.5)
        for column, (values, style) in enumerate(
            ((first.state.inner, "-"), (first.state.outer, "--"))
        ):
            axes[1].plot(x, values, style, color=colour, label=name if column == 0 else None)
            axes[1].plot(x, np.array(roots)[:, column], "o", ms=4, color=ws.plots.REFERENCE)
    axes[1].set_title(f"First primary of an engine at {RPM:g} rev/min, full load", loc="left")
    axes[1].set_xlabel("distance from the port [m]")
    for ax in axes:
        ax.plot([], [], "k--", label="outer surface")
        ax.plot([], [], "o", ms=4, color=ws.plots.REFERENCE, label="independent root")
        ax.set_ylabel("temperature [K]")
        ax.legend(frameon=False, ncols=5, loc="upper center", bbox_to_anchor=(0.5, 1.0))
        low, high = ax.get_ylim()
        ax.set_ylim(low, high + 0.15 * (high - low))
    return axes


def run():
    """Correlations, the balance of one metre, steady flow, an engine."""
    checks = (*_correlation_checks(), *_balance_checks(), *_steady_checks(), *_engine_checks())
    return Case(checks, draw())
