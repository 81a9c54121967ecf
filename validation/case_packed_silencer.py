"""Packed straight-through silencer: loss by linear models of the fibre, and its flow resistance.

Two ducts with holes between them, the outer one filled with fibre of a stated flow resistivity.
At small amplitude the loss is compared with the two-duct solution (Sullivan and Crocker 1978) with
the fibre as an equivalent fluid: once by the equations of motion and energy of the gas in it
(Zwikker and Kosten 1949) with the same resistivity and heat transfer, then by the fit to
measurements of Delany and Bazley (1970), for which the trend counts.  Geometry after Selamet et al.
(2004), holes assumed.  Gas driven along a packing must lose the pressure of its resistivity.
"""

from functools import cache

import numpy as np
from case_perforated_resonator import silencer, two_ducts
from marches import AIR, GAMMA, P0, R, outside
from references import references
from suite import Case, Check
from transmission import DENSITY, FREQUENCY, C, T, computed, draw_loss, rms, worst

import wavesim as ws
from wavesim import exact
from wavesim.arrays.compile import compile_network
from wavesim.kernels import flat as f
from wavesim.march.advance import march_to

LO13 = references("LO-13")
SIZE = tuple(
    LO13[0].case[name] for name in ("length", "pipe", "shell", "porosity", "hole", "wall")
)
RESISTIVITIES = tuple(dict.fromkeys(row.case["resistivity"] for row in LO13))  # Pa s/m2
FILLINGS = dict(zip(RESISTIVITIES, (100.0, 200.0), strict=True))  # bulk density [kg/m3]
CONDUCTIVITY = 0.05  # of the gas round the fibres [W/m/K]


def sutherland(temperature):
    """Viscosity of air [Pa s]."""
    return 1.716e-5 * (temperature / 273.15) ** 1.5 * (273.15 + 110.4) / (temperature + 110.4)


def warmed(resistivity, temperature=T):
    """Resistivity, given for 293 K, at another temperature [Pa s/m2]."""
    return resistivity * sutherland(temperature) / 1.81e-5


def packing_of(resistivity):
    """Glass fibre of a flow resistivity."""
    return ws.Packing(bulk_density=FILLINGS[resistivity], flow_resistivity=resistivity)


@cache
def solver(resistivity, cell_length=0.01):
    """Loss by the solver [dB]."""
    return computed(silencer(*SIZE, packing_of(resistivity)), cell_length=cell_length)


def linear_model(resistivity, isothermal=False):
    """Loss [dB] by the linear model of the same fibre: its resistance on the gas in the annulus
    and on the holes, and the time in which gas and fibre come to one temperature.
    """
    packing = packing_of(resistivity)
    share, diameter = packing.gas_fraction, packing.fibre.diameter
    conductance = 4.0 * CONDUCTIVITY * (1.0 - share) / (share * diameter**2)  # W/m3/K, Nu = 1
    heat_time = 0.0 if isothermal else DENSITY * R / (GAMMA - 1.0) / conductance
    porosity, hole = SIZE[3], SIZE[4]
    behind_holes = 0.5 * 0.75 * hole * warmed(resistivity) / (DENSITY * C) / porosity

    def filling(frequency):
        return exact.fibre_filling(frequency, warmed(resistivity), share, DENSITY, GAMMA, heat_time)

    def wall(frequency):
        k = 2.0 * np.pi * frequency / C
        return exact.perforate_sullivan_crocker(k, *SIZE[3:]) + behind_holes

    return exact.perforated_loss(FREQUENCY, *SIZE, C, filling, wall)


def measured_fit(resistivity):
    """Loss [dB] with the fit of Delany and Bazley for the fibre."""
    return exact.perforated_loss(
        FREQUENCY, *SIZE, C, lambda frequency: exact.delany_bazley(frequency, resistivity)
    )


def at(frequency, loss):
    """Loss at one frequency [dB]."""
    return float(np.interp(frequency, FREQUENCY, loss))


def driven_along(resistivity, temperature=340.0):
    """The model in steady flow along a packed annulus behind nearly closed holes.

    Ducts and fibres act in turn, so that a flow is steady only in equal steps: the march ends with
    some of them.
    """
    packing = ws.Packing(bulk_density=100.0, flow_resistivity=resistivity)
    ends = {
        "annulus start": ws.OpenEnd("annulus.start", radiation="none", entry_loss=0.0,
                                    ambient=outside(P0 + 2000.0)),
        "annulus end": ws.OpenEnd("annulus.end", radiation="none", ambient=outside()),
    }
    net = two_ducts(0.001, packing=packing, ends=ends)
    start = {"core": (P0 + 1000.0, 0.0, temperature, "air"),
             "annulus": (P0, 0.0, temperature, "air")}
    model = compile_network(net, AIR, ws.Settings(), initial=start)
    settled, step = 0.3, 5e-6  # s; a fifth of what the cells would allow
    march_to(model, settled, 1_000_000)
    for k in range(1, 501):
        march_to(model, settled + k * step, 1)
    return model


def pressure_gradients(resistivity, temperature=340.0):
    """Mean pressure gradient in the middle of `driven_along`, and that of the flow [Pa/m]."""
    model = driven_along(resistivity, temperature)
    lo, _ = model.ducts["annulus"]
    first, last = lo + 10, lo + 20
    p, rho = model.work.W[f.P, first:last], model.state.U[f.R, first:last]
    flux = model.work.F[f.R, first + 1 : last]  # through the faces between these cells
    share = ws.Packing(bulk_density=100.0).gas_fraction
    superficial = share * flux / (0.5 * (rho[1:] + rho[:-1]))
    x = model.centres("annulus")[10:20]
    return (p[0] - p[-1]) / (x[-1] - x[0]), warmed(resistivity, temperature) * superficial.mean()


ZWIKKER = "Zwikker and Kosten (1949) in the two ducts of Sullivan and Crocker (1978)"
_SAME = (
    "The fibres of a cell act in half steps before and behind the exchange, of second order; the "
    "worst place is 1 kHz, where the short wave in the fibre has some 25 cells of 10 mm."
)
_FINE = "Second order: cells of 5 mm leave a quarter of the error of 10 mm."
_FIT = (
    "A fit to walls of many materials, near its lower limit at 100 Hz; measured packings of one "
    "resistivity scatter by as much, so that only the trend is tested."
)
_GRADIENT = (
    "In a step the fibres take the share d = 3 or 9 % of the velocity; steps in turn are right to "
    "d^2/12, below 0.1 %, and wall friction adds 0.05 %."
)


def _checks():
    for resistivity in FILLINGS:
        same, name = linear_model(resistivity), f"{resistivity:g} Pa s/m2"
        yield Check(f"worst error to 1 kHz, {name}, cells of 10 mm",
                    worst(solver(resistivity), same), 0.0, "0.2 abs", ZWIKKER, _SAME, "dB")
        yield Check(f"rms error to 1 kHz, {name}, cells of 10 mm",
                    rms(solver(resistivity), same), 0.0, "0.1 abs", ZWIKKER, _SAME, "dB")
        yield Check(f"worst error to 1 kHz, {name}, cells of 5 mm",
                    worst(solver(resistivity, 0.005), same), 0.0, "0.05 abs", ZWIKKER, _FINE, "dB")
    for row in LO13:
        yield Check(
            f"loss at {row.case['f']:g} Hz, {row.case['resistivity']:g} Pa s/m2, fit",
            at(row.case["f"], solver(row.case["resistivity"])), row.value,
            f"{row.solver_tolerance.split()[0]} abs",
            f"Delany and Bazley (1970), {row.source}", _FIT, row.unit,
        )
    for resistivity in RESISTIVITIES:
        found, law = pressure_gradients(resistivity)
        yield Check(f"pressure gradient of flow along a packing of {resistivity:g} Pa s/m2", found,
                    law, "0.2 %", "Darcy's law with the viscosity of Sutherland", _GRADIENT, "Pa/m")


def _note():
    """How far the isothermal limit and the fit lie from the model that is marched."""
    lines = []
    for resistivity in FILLINGS:
        fine = worst(solver(resistivity), linear_model(resistivity, isothermal=True))
        fit = worst(solver(resistivity), measured_fit(resistivity), FREQUENCY >= 100.0)
        lines.append(
            f"{resistivity:g} Pa s/m2: sound at constant temperature, as in very fine fibre, lies "
            f"up to {fine:.1f} dB away, Delany and Bazley up to {fit:.1f} dB (100 Hz to 1 kHz)."
        )
    return (
        " ".join(lines) + " Fibres of 24 um do not quite force the gas to their temperature; "
        "inertia and tortuosity of the packing are not modelled. Measured curves are not compared.",
    )


def draw():
    """Loss of both fillings with both models of the fibre."""
    axes = ws.plots.new_axes(len(FILLINGS), height=3.6)
    for ax, resistivity in zip(axes, FILLINGS, strict=True):
        draw_loss(ax, solver(resistivity), linear_model(resistivity),
                  f"49 mm core in 164 mm, 257 mm long, fibre of {resistivity:g} Pa s/m²",
                  "cells of 10 mm")
        ax.plot(FREQUENCY, measured_fit(resistivity), "--", color=ws.plots.COLOURS[1],
                label="fit of Delany and Bazley")
        rows = [row for row in LO13 if row.case["resistivity"] == resistivity]
        ax.plot([row.case["f"] for row in rows], [row.value for row in rows], "o",
                color=ws.plots.COLOURS[1], label="the same, tabulated")
        ax.plot(FREQUENCY, linear_model(resistivity, isothermal=True), ":",
                color=ws.plots.COLOURS[2], label="gas at constant temperature")
        ax.legend(frameon=False)
    axes[-1].set_xlabel("frequency [Hz]")
    return axes


def run():
    """Losses of two packings, and the pressure that flow along a packing loses."""
    return Case(tuple(_checks()), draw(), _note())
