"""Junction of several pipes: how it divides small and large waves, in both models.

A small wave comes along one branch: reflected and passed shares follow the areas (Pierce 1981:
R = (2 S1 - S)/S, T = 2 S1/S with S the sum of all).  A small pulse shows the same up to 1 kHz; the
momentum model may be given gas of its own, whose stiffness acoustics adds as the admittance j k V.
Large waves at one pressure are compared with the balances of mass and energy, and with the
homentropic law of Benson (1982).  Two equal branches in line must let any wave pass.
"""

from functools import cache

import numpy as np
from marches import C0, GAMMA, R, endless, send_wave
from plateaus import LONG, SECOND_ORDER, SHORT, SMALL, near
from references import references
from scipy.optimize import brentq
from suite import Case, Check
from transmission import FREQUENCY, C, T, computed, worst

import wavesim as ws
from wavesim import exact
from wavesim.descriptions.nodes import ball

MODELS = ("momentum", "pressure")
BORE = 0.04  # m, of equal pipes
UNEQUAL = ((0.03, 0.05, 0.04), (0.06, 0.02, 0.035, 0.05))  # bores, the wave comes along the first
EQUAL = [row for row in references("AC-17") if "pipes" in row.case]
MERGE = [row for row in references("AC-17") if "primaries" in row.case]
MEETINGS = references("FW-13")
#: FW-13 takes one entropy for all branches and so does not keep energy.  With energy kept the
#: case of 1.5 into four pipes lies 0.52 % off, just outside the table's 0.5 %; the others lie
#: 0.05 % and 0.38 % off.
HOMENTROPIC = [row for row in MEETINGS if row.case["others"] < 4]
IN_LINE = ((-1.0, 0.0, 0.0), (1.0, 0.0, 0.0))
TEE = (*IN_LINE, (0.0, 1.0, 0.0))


@cache
def through_junction(p_ratio, diameters, model, directions=None):
    """Pressure ratios at a junction in every branch; the wave comes along the first one."""
    names = "abcdef"[: len(diameters)]
    pipes = {
        name: (LONG if name == "a" else SHORT, d)
        for name, d in zip(names, diameters, strict=True)
    }
    nodes = {f"far {name}": endless(f"{name}.start") for name in names}
    nodes["meet"] = ws.Junction(
        tuple(f"{name}.end" for name in names), model=model, directions=directions
    )
    result = send_wave(p_ratio, pipes, nodes, hold=0.25)
    return np.array([near(result, name, "end") for name in names])


def small_wave(diameters, model, directions=None):
    """Reflection, and transmission into every other branch."""
    waves = (through_junction(1.0 + SMALL, tuple(diameters), model, directions) - 1.0) / SMALL
    return waves[0] - 1.0, waves[1:]


def equal_pipes(pipes, model):
    """`small_wave` of equal pipes spread evenly."""
    return small_wave([BORE] * int(pipes), model)


def four_into_one(incident, model):
    """`small_wave` of four 40 mm primaries at 15 deg to the axis of a 60 mm collector."""
    tilt, turn = np.radians(15.0), np.radians([45.0, 135.0, 225.0, 315.0])
    primaries = np.column_stack(
        (np.sin(tilt) * np.cos(turn), np.sin(tilt) * np.sin(turn), np.full(4, -np.cos(tilt)))
    )
    given = MERGE[0].case
    ways = [(given["primary"], tuple(way)) for way in primaries]
    ways.append((given["collector"], (0.0, 0.0, 1.0)))
    if incident == "collector":
        ways = ways[::-1]
    return small_wave([d for d, _ in ways], model, tuple(way for _, way in ways))


def pulse_loss(diameters, model, volume=None):
    """Transmission loss [dB] from the first branch into the second, all others endless."""
    names = "abcdef"[: len(diameters)]
    near_sides = {name: "end" if name == "a" else "start" for name in names}
    far_sides = {name: "start" if name == "a" else "end" for name in names}
    nodes = {
        f"far {name}": ws.AnechoicEnd(f"{name}.{far_sides[name]}", temperature=T) for name in names
    }
    nodes["meet"] = ws.Junction(
        tuple(f"{name}.{near_sides[name]}" for name in names), model=model, volume=volume
    )
    pipes = {
        name: ws.Pipe(1.2 if name == "a" else 0.3, d)
        for name, d in zip(names, diameters, strict=True)
    }
    return computed(ws.Network(pipes, nodes), inlet="a", outlet="b")


def pulse_theory(diameters, volume=0.0):
    """The same by acoustics: one pressure, and the gas volume of the junction."""
    areas = 0.25 * np.pi * np.square(diameters)
    admittance = areas.sum() + 2j * np.pi * FREQUENCY / C * volume
    return 20.0 * np.log10(np.abs(admittance) / (2.0 * np.sqrt(areas[0] * areas[1])))


def constant_pressure_junction(p_ratio, others):
    """p/p0 at a junction of equal pipes under one static pressure that keeps energy.

    One pipe brings u1 at the entropy of the gas at rest; the others take a share each of its mass
    at its stagnation enthalpy, and answer with a simple wave into gas at rest: the wave that comes
    is a ramp, so that no shock stands in them yet.
    """
    incident = exact.simple_wave(p_ratio, C0, GAMMA)
    arriving, cp = incident.u + 5.0 * incident.c, GAMMA * R / (GAMMA - 1.0)

    def excess(z):
        """Velocity in the others less that of their simple wave at p/p0 = z."""
        c = C0 * z ** (1.0 / 7.0)
        u1, warm = arriving - 5.0 * c, c**2 / (GAMMA * R)
        lead = u1 / (others * warm)  # u2 = lead T2, cp T2 + u2^2/2 = cp T + u1^2/2
        whole = cp * warm + 0.5 * u1**2
        u2 = (np.sqrt(cp**2 + 2.0 * lead**2 * whole) - cp) / lead
        return u2 - exact.simple_wave(z, C0, GAMMA).u

    return brentq(excess, 1.001, p_ratio)


PIERCE = "Pierce, Acoustics, 1981, ch. 7"
_POINT = (
    "The node has no extent, as in theory; a pulse of 1e-5 of the pressure has terms of the second "
    "order of 1e-4 dB."
)
_GAS = (
    "A thousandth of a ball of gas is left in the node, and makes a thousandth of half a decibel."
)
_CELL = (
    "The stiffness of the ball makes up to 0.5 dB at 1 kHz, and a scheme of second order with 40 "
    "steps in a period misses 1 % of it."
)
_ENERGY = (
    "Both solve the same balances; the node makes thirty small steps of the ramp, each right to "
    "the third order of its strength."
)
_ENTROPY = (
    "The table gives all branches one entropy, which does not keep energy: the balances themselves "
    "lie up to 0.4 % away."
)
_JOINT = (
    "A joint is no obstacle; 0.1 % of the pressure is 2 % of the dynamic pressure of this wave, "
    "less than a real flange takes."
)


def _small_checks():
    rows = [(row, *(equal_pipes(row.case["pipes"], m) for m in MODELS)) for row in EQUAL]
    for row, *found in rows:
        for model, (reflected, passed) in zip(MODELS, found, strict=True):
            name = f"{row.case['pipes']:g} equal pipes, {model} model"
            yield Check(f"reflection, {name}", reflected, row.value, "0.0001 abs", row.source,
                        SECOND_ORDER)
            yield Check(f"transmission into the worst branch, {name}",
                        _farthest(passed, 1.0 + row.value), 1.0 + row.value, "0.0001 abs",
                        row.source, SECOND_ORDER)
    for row in MERGE:
        for model in MODELS:
            reflected, passed = four_into_one(row.case["incident"], model)
            ours = reflected if row.quantity == "reflection" else _farthest(passed, row.value)
            yield Check(
                f"{row.quantity}, 4 x 40 mm into 60 mm, wave along the {row.case['incident']}, "
                f"{model} model", ours, row.value, "0.0001 abs", row.source, SECOND_ORDER,
            )
    for bores in UNEQUAL:
        theory = exact.junction(np.square(bores))
        for model in MODELS:
            reflected, passed = small_wave(bores, model)
            name = f"bores {_millimetres(bores)}, {model} model"
            yield Check(f"reflection, {name}", reflected, theory.reflection, "0.0001 abs",
                        PIERCE, SECOND_ORDER)
            yield Check(f"transmission into the worst branch, {name}",
                        _farthest(passed, theory.transmission), theory.transmission, "0.0001 abs",
                        PIERCE, SECOND_ORDER)


def _farthest(values, reference):
    """The value farthest from a reference."""
    return values[np.argmax(np.abs(values - reference))]


def _millimetres(bores):
    return ", ".join(f"{1e3 * bore:.0f}" for bore in bores) + " mm"


def _pulse_checks():
    for bores in ((BORE,) * 3, (BORE,) * 5, *UNEQUAL):
        for model in MODELS:
            bound = ("0.001 abs", _GAS) if model == "momentum" else ("0.0001 abs", _POINT)
            yield Check(
                f"worst error of the loss, 10 to 1000 Hz, bores {_millimetres(bores)}, {model} "
                "model", worst(pulse_loss(bores, model), pulse_theory(bores)), 0.0,
                bound[0], PIERCE, bound[1], "dB",
            )
        filled = pulse_loss(bores, "momentum", ball(bores))
        yield Check(
            f"worst error of the loss, 10 to 1000 Hz, bores {_millimetres(bores)}, a ball of gas",
            worst(filled, pulse_theory(bores, ball(bores))), 0.0, "0.005 abs", PIERCE, _CELL, "dB",
        )


def _large_checks():
    for row in MEETINGS:
        p_ratio, others = row.case["p_ratio"], int(row.case["others"])
        found = through_junction(p_ratio, (BORE,) * (others + 1), "pressure")
        law = constant_pressure_junction(p_ratio, others)
        name = f"p/p0, wave of {p_ratio:g} into {others} pipes, one pressure"
        yield Check(f"{name}, energy kept", _farthest(found, law), law, "0.001 %",
                    "balances of mass and energy, solved with scipy", _ENERGY)
        if row in HOMENTROPIC:
            yield Check(f"{name}, homentropic law", _farthest(found, row.value), row.value,
                        row.solver_tolerance, row.source, _ENTROPY)
    for model in MODELS:
        found = through_junction(1.5, (BORE, BORE), model, IN_LINE)
        yield Check(f"p/p0, wave of 1.5 through two pipes in line, {model} model",
                    _farthest(found, 1.5), 1.5, "0.1 %", "the incident wave itself", _JOINT)


def _note():
    """What angles do to a large wave, for which there is no published number."""
    _, run, side = through_junction(1.5, (BORE,) * 3, "momentum", TEE)
    one = constant_pressure_junction(1.5, 2)
    whole = constant_pressure_junction(1.5, 4) / references("FW-13")[0].value - 1.0
    return (
        f"A wave of 1.5 that comes along the run of a tee of equal pipes raises the run beyond to "
        f"{run:.3f} and the side branch to {side:.3f} in the momentum model; one static pressure "
        f"gives both {one:.3f}. Bassett, Winterbone and Pearson (2001) saw that order; no number "
        f"is compared.",
        f"The homentropic law for 1.5 into four pipes is left out: the balances with energy lie "
        f"{100.0 * whole:.2f} % above it, outside its tolerance of 0.5 %.",
    )


def _draw_small(ax):
    pipes = np.array([row.case["pipes"] for row in EQUAL])
    for sign, name in ((2.0, "transmitted"), (2.0 - pipes, "reflected")):
        ax.plot(pipes, sign / pipes, color=ws.plots.REFERENCE,
                label="acoustics" if name == "reflected" else None)
    for i, model in enumerate(MODELS):
        found = [equal_pipes(n, model) for n in pipes]
        style = {"color": ws.plots.COLOURS[i], "ls": "", "marker": "ox"[i], "ms": 8 - i}
        ax.plot(pipes, [wave[0] for wave in found], label=f"{model} model", **style)
        ax.plot(pipes, [wave[1].mean() for wave in found], **style)
    ax.set(xlabel="number of equal pipes", ylabel="wave over the incident one", xticks=pipes)
    ax.set_title("small wave: passed on (above) and reflected (below)", loc="left")


def _draw_pulse(ax):
    bores = UNEQUAL[0]
    found = [(f"{model} model", pulse_loss(bores, model)) for model in MODELS]
    found.append(("momentum, a ball of gas", pulse_loss(bores, "momentum", ball(bores))))
    for volume, name in ((0.0, "acoustics"), (ball(bores), None)):
        ax.plot(FREQUENCY, pulse_theory(bores, volume), color=ws.plots.REFERENCE, lw=4.0, alpha=0.5,
                label=name)
    for i, (name, loss) in enumerate(found):
        ax.plot(FREQUENCY, loss, ("-", "--", "-.")[i], color=ws.plots.COLOURS[i], label=name)
    ax.set(xlabel="frequency [Hz]", ylabel="loss into the 50 mm branch [dB]")
    ax.set_title(f"small pulse along the first of {_millimetres(bores)}", loc="left")


def _draw_large(ax):
    incident = np.linspace(1.05, 1.6, 6)
    for others, marker in ((2, "o"), (4, "s")):
        law = [constant_pressure_junction(z, others) for z in incident]
        ax.plot(incident, law, color=ws.plots.REFERENCE, label="balances" if others == 2 else None)
        found = [through_junction(z, (BORE,) * (others + 1), "pressure").mean() for z in incident]
        ax.plot(incident, found, marker, color=ws.plots.COLOURS[1],
                label=f"one pressure, {others} others")
    tee = np.array([through_junction(z, (BORE,) * 3, "momentum", TEE) for z in incident])
    ax.plot(incident, tee[:, 1], "--", color=ws.plots.COLOURS[0], label="momentum, run of a tee")
    ax.plot(incident, tee[:, 2], ":", color=ws.plots.COLOURS[0], label="momentum, side branch")
    ax.set(xlabel="pressure of the incident wave over that at rest",
           ylabel="pressure over that at rest")
    ax.set_title("large wave", loc="left")


def draw():
    """Shares of a small wave, loss of a small pulse, pressures of a large wave."""
    axes = ws.plots.new_axes(3, height=3.4)
    for ax, part in zip(axes, (_draw_small, _draw_pulse, _draw_large), strict=True):
        part(ax)
        ax.grid(color=ws.plots.FAINT)
        ax.legend(frameon=False)
    return axes


def run():
    """Small and large waves at junctions of both models."""
    return Case((*_small_checks(), *_pulse_checks(), *_large_checks()), draw(), _note())
