"""Small stores: junctions, merges and volumes of any size down to none.

What a store passes in a step may be many times what it holds.  A pressure of 2:1 is let go at
volumes of 1e-6 to 1 m3 and at momentum junctions of 1e-8 to 0.1 m3 between pipes of 40 mm, on the
default mesh and Courant number: the books must close.  What stands beside a volume after a wave
must be what the balances of mass and energy ask of one without gas: from the first pipe gas comes
to rest in it, and flows from rest into the second.  With the volume the difference from that limit
must go to zero in proportion.  The torque of the example engine must follow the gas volume of its
merge without a jump, down to where it says nothing more.
"""

from functools import cache
from typing import NamedTuple

import numpy as np
from case_conservation import REST_STEPS, mach_after_rest
from marches import C0, GAMMA, P0, T0, R, cut, endless, send_wave
from plateaus import LONG, SHORT
from rounding import WHY, bound, left
from scipy.optimize import brentq
from suite import Case, Check

import wavesim as ws
from wavesim import exact
from wavesim.descriptions.nodes import ball

CP = GAMMA * R / (GAMMA - 1.0)
BORE = 0.04  # m
WAVE = 2.0  # pressure over that at rest
SMALLER = 1.5  # the same of the wave whose plateau is compared: no shock stands in it yet
GAS = ws.EngineGas()
VOLUMES = tuple(10.0 ** np.arange(-6.0, 0.1, 1.0))  # m3, of a Volume
JUNCTIONS = tuple(10.0 ** np.arange(-8.0, -0.9, 1.0))  # m3, of a Junction
TEE = (180.0, 0.0, 70.0)  # deg

# --- a wave into a store between pipes ------------------------------------------------------------


@cache
def between_pipes(volume):
    """Volume between two endless pipes and a wave that comes along the first."""
    nodes = {
        "far a": endless("a.start"), "far b": endless("b.end"),
        "box": ws.Volume(("a.end", "b.start"), volume=volume, temperature=T0),
    }
    return send_wave(
        SMALLER, {"a": (LONG, BORE), "b": (SHORT, BORE)}, nodes, hold=0.6, samples=2000
    )


def plateau(result, name):
    """Mean of p/p0 near the volume; the last step, a shorter one, disturbs the cells beside it."""
    cells = slice(-12, -4) if name == "a" else slice(4, 12)
    return result.final[name]["p"][cells].mean() / P0


class Meeting(NamedTuple):
    """What stands on both sides of a volume without gas, pressures over that at rest."""

    before: float
    behind: float


def without_gas():
    """`Meeting` by the balances of mass and energy, simple waves in both pipes."""
    incident = exact.simple_wave(SMALLER, C0, GAMMA)
    arriving = incident.u + 5.0 * incident.c

    def inflow(z):
        """Mass flux and stagnation temperature of what comes at the pressure z of the volume."""
        c = C0 * z ** (1.0 / 7.0)
        u, T = arriving - 5.0 * c, c**2 / (GAMMA * R)
        return z * P0 / (R * T) * u, T + 0.5 * u**2 / CP

    def outflow(z, warm, y):
        """Mass flux into the second pipe at the pressure y, and its velocity less the wave's."""
        T = warm * (y / z) ** (2.0 / 7.0)
        u = np.sqrt(2.0 * CP * (warm - T))
        return y * P0 / (R * T) * u, u - exact.simple_wave(y, C0, GAMMA).u

    def behind(z):
        warm = inflow(z)[1]
        return brentq(lambda y: outflow(z, warm, y)[1], 1.0 + 1e-9, z * (1.0 - 1e-12))

    def excess(z):
        flux, warm = inflow(z)
        return flux - outflow(z, warm, behind(z))[0]

    z = brentq(excess, 1.0 + 1e-3, 0.999 * (arriving / (5.0 * C0)) ** 7.0)
    return Meeting(z, behind(z))


def tee(volume, kind="junction", gas=GAS):
    """Closed tee of three pipes in one of which the pressure is 2:1; the result of `simulate`."""
    names = "abc"
    ends = tuple(f"{name}.end" for name in names)
    nodes = {f"wall {name}": ws.ClosedEnd(f"{name}.start") for name in names}
    nodes["meet"] = (
        ws.Junction(ends, angles_deg=TEE, volume=volume) if kind == "junction"
        else ws.Volume(ends, volume=volume, temperature=T0, fill="fresh")
    )
    start = dict.fromkeys(names, (P0, 0.0, T0, "air"))
    start["a"] = (WAVE * P0, 0.0, 900.0, "burned")
    net = ws.Network({name: ws.Pipe(0.5, BORE) for name in names}, nodes)
    settings = ws.Settings(friction=False, wall_heat=False)
    return ws.simulate(net, 0.02, gas=gas, settings=settings, initial=start, samples=2000)


@cache
def tee_pressure(volume, kind):
    """Pressure in the store of a tee over that at rest, (2000,)."""
    return tee(volume, kind).trace("pressure", "meet").values / P0


def distance(volume, least, kind):
    """Pressure in a store from that in the smallest one, rms."""
    return np.sqrt(np.mean((tee_pressure(volume, kind) - tee_pressure(least, kind)) ** 2))


#: The smallest store of a kind, and two larger ones whose distances from it are compared [m3].
LEAST = {"junction": (1e-8, 1e-7, 1e-6), "volume": (1e-6, 2e-6, 4e-6)}


def order(kind):
    """Order in the volume of the distance from the limit, for which the smallest store stands."""
    least, small, large = LEAST[kind]
    ratio = distance(large, least, kind) / distance(small, least, kind)
    return np.log(ratio) / np.log((large - least) / (small - least))


def rest_network():
    """Gas at rest in three pipes of unequal bore that meet in the smallest junction."""
    bores = {"a": 0.02, "b": 0.06, "c": 0.035}
    return ws.Network(
        {name: ws.Pipe(0.3, bore) for name, bore in bores.items()},
        {
            "mouth": cut("a.start"), "wall b": ws.ClosedEnd("b.start"),
            "wall c": ws.ClosedEnd("c.start"),
            "meet": ws.Junction(("a.end", "b.end", "c.end"), angles_deg=TEE, volume=JUNCTIONS[0]),
        },
    )


# --- the merge of the example engine --------------------------------------------------------------

SPEEDS = (2500.0, 3500.0)  # rev/min
MERGES = np.unique(np.round([*np.arange(-8.0, -0.9, 0.5), *np.arange(-5.0, -3.9, 0.25)], 2))
NUDGE = 1.02  # of the volume, to see how steep the torque is


@cache
def torque(rpm, volume):
    """Torque [N m] of the example engine with so much gas in its merge."""
    study = ws.load(ws.demo_path("collector"))
    exhaust = study.exhausts["short collector"]
    merge = exhaust.merge.replace(volume=float(volume))
    point = ws.run_point(study.engine, exhaust.replace(merge=merge), rpm)
    assert point.converged
    return point.torque


def usual_merge():
    """Gas in the merge of the example engine when nothing is said [m3]."""
    exhaust = ws.load(ws.demo_path("collector")).exhausts["short collector"]
    return ball((exhaust.primary[0].outlet_diameter, exhaust.collector[0].diameter))


def steepest(rpm):
    """Largest change of torque [N m] when the volume grows by 2 %."""
    return max(
        abs(torque(rpm, NUDGE * volume) - torque(rpm, volume))
        for volume in 10.0**MERGES if NUDGE * volume < 0.1
    )


# --- checks ---------------------------------------------------------------------------------------

LAW = "conservation law"
BALANCES = "balances of mass and energy, solved with scipy"
_LIMIT = (
    "The wave relation of the ends is right to the third order of the thirty small steps of the "
    "ramp; the gas of the volume has long come and gone."
)
_ORDER = (
    "Filling is linear in the volume; the velocity of a junction is reached at the pace of sound, "
    "whose way is the cube root of the volume."
)
_REST = "As in every network: round-off, which 10 000 steps do not gather up."
_NONE = "A hundredth of the gas that passes in a step: what is left is the tolerance of a cycle."
_SMOOTH = (
    "From 1e-3 to 1e-2 m3 it falls by up to 25 N m in a decade, 0.2 N m in 2 %; as much again is "
    "left to the tolerance of two cycles and to steps that are planned anew."
)


def _book_checks():
    for kind, sizes in (("junction", JUNCTIONS), ("volume", VOLUMES)):
        audits = [tee(volume, kind).audit for volume in sizes]
        for what in ("mass", "energy"):
            worst = max(abs(audit[f"{what}_error"]) for audit in audits)
            share = min(left(audit["steps"]) for audit in audits)
            yield Check(
                f"2:1 across a {kind} of {sizes[0]:.0e} to {sizes[-1]:g} m3: largest "
                f"relative error of the books of {what}", worst, 0.0, bound(share), LAW, WHY,
            )


def _limit_checks():
    theory = without_gas()
    for volume in VOLUMES[:3]:
        found = between_pipes(volume)
        for name, where in (("a", "before"), ("b", "behind")):
            yield Check(
                f"p/p0 {where} a volume of {volume:.0e} m3, wave of {SMALLER:g}",
                plateau(found, name), getattr(theory, where), "0.02 %", BALANCES, _LIMIT,
            )
    for kind, (_, small, large) in LEAST.items():
        yield Check(
            f"pressure in a {kind} of {small:.0e} and {large:.0e} m3: order in the volume of its "
            "distance from the limit", order(kind), 1.0, "0.2 abs", "a law that is linear in the "
            "volume", _ORDER,
        )


def _rest_checks():
    start = {name: (P0, 0.0, 300.0 + 200.0 * i, "burned") for i, name in enumerate("abc")}
    mach = mach_after_rest(rest_network(), start, GAS)
    yield Check(
        f"gas at rest, hot and cold, around a junction of {JUNCTIONS[0]:.0e} m3: Mach number after "
        "10 000 steps", mach, 0.0, bound(left(REST_STEPS)), LAW, _REST,
    )


def _torque_checks():
    for rpm in SPEEDS:
        yield Check(
            f"torque at {rpm:g} rev/min with 1e-7 m3 in the merge", torque(rpm, 1e-7),
            torque(rpm, 1e-8), "0.05 %", "the same with a tenth of it", _NONE, "N m",
        )
        yield Check(
            f"largest change of torque at {rpm:g} rev/min when the merge grows by 2 %",
            steepest(rpm), 0.0, "0.4 abs", "a continuous function of the volume", _SMOOTH, "N m",
        )


def _notes():
    usual = usual_merge()
    rows = ["| gas in the merge [m3] | " + " | ".join(f"{rpm:g} rev/min" for rpm in SPEEDS) + " |",
            "|---:|" + "---:|" * len(SPEEDS)]
    for volume in sorted([*10.0**MERGES, usual]):
        values = " | ".join(f"{torque(rpm, volume):.2f}" for rpm in SPEEDS)
        name = f"{volume:.3g}" + (" (when nothing is said)" if volume == usual else "")
        rows.append(f"| {name} | {values} |")
    return ("Torque [N m] of the example engine with the short collector:\n\n" + "\n".join(rows),)


def _draw_torque(ax):
    for i, rpm in enumerate(SPEEDS):
        ax.semilogx(10.0**MERGES, [torque(rpm, volume) for volume in 10.0**MERGES],
                    ws.plots.MARKERS[i] + "-", color=ws.plots.COLOURS[i], ms=5, lw=1.2,
                    label=f"{rpm:g} rev/min")
    ax.axvline(usual_merge(), color=ws.plots.REFERENCE, ls="--", lw=1.0)
    ax.text(usual_merge(), 0.04, " when nothing is said", color=ws.plots.REFERENCE,
            transform=ax.get_xaxis_transform())
    ax.set(xlabel="gas in the merge [m3]", ylabel="torque [N m]")
    ax.set_title("Example engine, short collector", loc="left")


def _draw_wave(ax):
    theory = without_gas()
    ax.axhline(theory.before, color=ws.plots.REFERENCE, lw=4.0, alpha=0.5, label="without gas")
    for i, volume in enumerate((VOLUMES[0], VOLUMES[2], 1e-3)):
        trace = between_pipes(volume).trace("pressure", "box")
        ax.plot(1e3 * trace.x, trace.values / P0, ("-", "--", "-.")[i], color=ws.plots.COLOURS[i],
                lw=1.4, label=f"{volume:.0e} m3")
    ax.set(xlabel="time [ms]", ylabel="pressure in the volume\nover that at rest")
    ax.set_title(f"Wave of {SMALLER:g} into a volume between two pipes of 40 mm", loc="left")


def draw():
    """Torque over the gas in the merge; pressure in volumes that a wave runs into."""
    axes = ws.plots.new_axes(2, height=3.4)
    _draw_torque(axes[0])
    _draw_wave(axes[1])
    for ax in axes:
        ax.grid(color=ws.plots.FAINT)
        ax.legend(frameon=False)
    return axes


def run():
    """Books, limits, rest, and the torque of the example engine over the gas in its merge."""
    checks = (*_book_checks(), *_limit_checks(), *_rest_checks(), *_torque_checks())
    return Case(checks, draw(), _notes())
