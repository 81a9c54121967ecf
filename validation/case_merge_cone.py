"""Merge with a cone: what tubes side by side and a cone reflect, pass and lose, beside a joint.

Four tubes of 38 mm end side by side in a cone that begins with the area of all of them and ends
with the bore of the collector, 58 mm.  A small pulse along one tube must come back and pass as
plane waves do at a junction of the areas with a cone of spherical waves behind it (Munjal 2014,
ch. 2 and 3; Pierce 1981, ch. 7), the other tubes being endless, or closed as by valves.

In steady flow along the axis four equal streams fill the cone and lose nothing.  One stream alone
loses what a sudden enlargement to the whole area loses (Borda and Carnot), after which the cone
narrows without loss; without a cone it enlarges to the bore of the collector.  What the cone does
to the torque of the demo engine stands in a table without a bound, for nothing is published about
that.
"""

from functools import cache

import numpy as np
from case_taper import (
    BEFORE,
    CENTRE,
    MUNJAL,
    TONES,
    WIDTH,
    caught,
    cone,
    pulse,
)
from marches import AIR, C0, GAMMA, IDEAL, P0, T0, R, cut, endless
from rounding import WHY, bound, left_in_cycle
from suite import Case, Check
from transmission import FREQUENCY, C, T, area, computed, rms

import wavesim as ws
from wavesim import exact
from wavesim.descriptions.assemble import gather
from wavesim.descriptions.lines import Plan

TUBE, COLLECTOR, TUBES = 0.038, 0.058, 4  # m, m
WIDE = TUBE * np.sqrt(TUBES)  # m, bore with the area of all tubes
LENGTHS = (0.06, 0.15, 0.30)  # m, of cones
SHUT = 0.6  # m, length of tubes that are closed at the far end
CELL = 0.005  # m
MODELS = ("momentum", "pressure")
FARS = ("endless", "closed")
MACH = 0.1  # in the collector


# waves --------------------------------------------------------------------------------------------


def merge(length, model="momentum", angle_deg=0.0):
    """Merge with a cone, or without one for a `length` of None."""
    return ws.Merge(angle_deg=angle_deg, model=model, cone_length=length)


def network(one, lengths, collector, nodes):
    """Tubes "a" to "d" of some lengths [m], the merge and a collector; `nodes` by duct end."""
    plan = Plan()
    names = "abcd"[: len(lengths)]
    ends = [plan.lay((name, (ws.Pipe(length, TUBE, cell_length=CELL),)))[1]
            for name, length in zip(names, lengths, strict=True)]
    last = gather(plan, one, ends, [
        ("collector", (ws.Pipe(collector, COLLECTOR, cell_length=CELL),))], "merge")
    for end in (*(f"{name}.start" for name in names), last):
        plan.nodes[f"far {end.partition('.')[0]}"] = nodes(end)
    return ws.Network(plan.ducts, plan.nodes)


def far_ends(far, **state):
    """Node at a duct end: tubes beside "a" are endless or closed."""

    def node(end):
        if far == "closed" and end[0] in "bcd" and end.endswith("start"):
            return ws.ClosedEnd(end)
        return ws.AnechoicEnd(end, **state)

    return node


def beside(k, far):
    """Admittance of the three other tubes, over 1/(rho c)."""
    each = 1j * np.tan(k * SHUT) if far == "closed" else np.ones_like(k)
    return (TUBES - 1) * area(TUBE) * each


def behind(k, length):
    """Matrices (n, 2, 2) of the cone, or of the ball of gas that a joint without one has."""
    if length is None:
        one, none = np.ones_like(k), np.zeros_like(k)
        held = 1j * k * np.pi / 6.0 * COLLECTOR**3
        return np.moveaxis(np.array([[one, none], [held, one]]), -1, 0)
    return cone(k, length, WIDE, COLLECTOR)


def reflection(k, length, far):
    """Pressure reflection coefficient (complex) at the end of tube a."""
    (a, b), (c, d) = np.moveaxis(behind(k, length), 0, -1)
    outlet = area(COLLECTOR)
    meets = beside(k, far) + (c + d * outlet) / (a + b * outlet)
    return (area(TUBE) - meets) / (area(TUBE) + meets)


def loss(k, length, far):
    """Transmission loss from tube a into the collector [dB]."""
    (a, b), (c, d) = np.moveaxis(behind(k, length), 0, -1)
    inlet, outlet = area(TUBE), area(COLLECTOR)
    c, d = c + beside(k, far) * a, d + beside(k, far) * b
    ratio = 0.5 * (a + b * outlet + c / inlet + d * outlet / inlet)
    return 20.0 * np.log10(np.abs(ratio)) + 10.0 * np.log10(inlet / outlet)


@cache
def echo(length, far="endless", model="momentum"):
    """March a pulse along tube a into the merge and catch what comes back."""
    rest = SHUT if far == "closed" else 0.3
    net = network(merge(length, model), (BEFORE, *[rest] * (TUBES - 1)), 0.5,
                  far_ends(far, pressure=P0, temperature=T0))
    duration = (2.0 * (BEFORE + (length or 0.0)) - CENTRE + 6.0 * WIDTH) / C0
    trace = ws.simulate(
        net, duration, gas=AIR, settings=IDEAL, samples=2000,
        initial=dict.fromkeys(net.ducts, (P0, 0.0, T0, "air")) | {"a": pulse},
    ).trace("pressure", "far a")
    return caught(trace, lambda k: reflection(k, length, far))


def pulse_loss(length, far="endless", model="momentum"):
    """`loss` at `FREQUENCY`, as marched."""
    net = network(merge(length, model), (1.2, *[SHUT] * (TUBES - 1)), 0.3,
                  far_ends(far, temperature=T))
    return computed(net, cell_length=CELL, inlet="a", outlet="collector")


# steady flow --------------------------------------------------------------------------------------


def stagnation(gas, i):
    """Mach number and stagnation pressure [Pa] in cell i."""
    mach = gas["u"][i] / float(AIR.sound_speed(gas["T"][i]))
    return mach, gas["p"][i] / exact.isentropic(mach, GAMMA).pressure


@cache
def steady_loss(length, flowing=1, model="momentum"):
    """Loss of stagnation pressure over the dynamic pressure p0 - p in a tube, Mach number there."""
    speed = MACH * C0 * area(COLLECTOR) / (flowing * area(TUBE))
    surplus = P0 / (R * T0) * C0 * speed

    def node(end):
        name, _, side = end.partition(".")
        if side == "end":
            return cut(end, P0, T0)
        return endless(end, P0 + surplus, T0) if name in "abcd"[:flowing] else ws.ClosedEnd(end)

    net = network(merge(length, model), [0.5] * TUBES, 0.5, node)
    final = ws.simulate(net, 0.4, gas=AIR, settings=IDEAL, samples=0,
                        initial=dict.fromkeys(net.ducts, (P0, 0.0, T0, "air"))).final
    mach, before = stagnation(final["a"], -2)
    _, after = stagnation(final["collector"], len(final["collector"]["p"]) // 2)
    return (before - after) / (before - final["a"]["p"][-2]), mach


def borda(length, mach):
    """Loss of one stream that fills the cone, or the collector, by Borda and Carnot."""
    ratio = (COLLECTOR / TUBE) ** 2 if length is None else TUBES
    return exact.sudden_enlargement(mach, ratio, GAMMA).loss


# engine -------------------------------------------------------------------------------------------


SPEEDS = tuple(range(2000, 7001, 500))
POINT = "joint in a point"
#: What takes the place of the joint of the demo's exhausts.
SYSTEMS = {"short collector": (POINT, 0.1), "long collector": (POINT, 0.1, 0.3)}
CHECKED = "long collector", 0.1, 5500.0  # of which the mesh is refined
FINE = ws.Settings(cell_length=0.008)


def with_cone(exhaust, length):
    """The exhaust with a cone in place of as much of its collector.

    None: as it is; "joint in a point": without the gas of its joint.
    """
    if length is None:
        return exhaust
    if length == POINT:
        return exhaust.replace(merge=exhaust.merge.replace(volume=1e-7))
    (collector,) = exhaust.collector
    return exhaust.replace(
        merge=exhaust.merge.replace(cone_length=length),
        collector=collector.replace(length=collector.length - length),
    )


@cache
def sweep(name, length, speeds=SPEEDS, settings=None):
    """The demo engine with one of its exhausts, with or without a cone."""
    study = ws.load(ws.demo_path("collector"))
    return ws.speed_sweep(study.engine, with_cone(study.exhausts[name], length), speeds, threads=1,
                          settings=settings or study.settings, progress=False)


def moved(name, length):
    """What a cone does to torque [%], by speed."""
    own, lumped = (sweep(name, one)["torque"] for one in (length, None))
    return 100.0 * (own / lumped - 1.0)


# --- checks ---------------------------------------------------------------------------------------


PIERCE = "junction of Pierce (1981), ch. 7, and " + MUNJAL
BORDA = "Borda and Carnot, compressible (rows ST-11), and isentropic flow"
_ECHO = (
    "Cells of 5 mm, 20 in a standard deviation of the pulse: errors of second order are a share of "
    "(1/20)^2 of a tenth."
)
_LOSS = (
    "A wave of 1 kHz has 68 cells; its phase and size are right to second order, some 0.1 %, which "
    "is 0.01 dB."
)
_BORDA = (
    "The rule that brakes a slower stream is Borda's and Carnot's for constant density, right to "
    "1 % of the loss at this Mach number."
)
_NONE = "Streams that fill the cone are not braked; the cone is isentropic but for its cells."


def _name(length):
    if length == POINT:
        return POINT
    return "no cone" if length is None else f"cone of {1e3 * length:.0f} mm"


def _echo_checks():
    k = 2.0 * np.pi * np.array(TONES) / C0
    for length in (None, *LENGTHS):
        for far in FARS:
            found = echo(length, far)
            sizes = np.abs(reflection(k, length, far))
            for tone, size, ours in zip(TONES, sizes, np.abs(found.tones()) * sizes, strict=True):
                yield Check(f"{_name(length)}, other tubes {far}: size of the reflection at "
                            f"{tone:.0f} Hz", ours, size, "0.0005 abs", PIERCE, _ECHO)


def _loss_checks():
    k = 2.0 * np.pi * FREQUENCY / C
    for length in LENGTHS:
        for model in MODELS:
            off = rms(pulse_loss(length, model=model), loss(k, length, "endless"))
            yield Check(f"{_name(length)}, {model} model: rms error of the loss into the "
                        "collector, 10 to 1000 Hz", off, 0.0, "0.01 abs", PIERCE, _LOSS, "dB")


def _steady_checks():
    for length in (None, *LENGTHS):
        ours, mach = steady_loss(length)
        yield Check(f"{_name(length)}: loss of one stream over its dynamic pressure", ours,
                    borda(length, mach), "0.005 abs", BORDA, _BORDA)
    for length in LENGTHS:
        yield Check(f"{_name(length)}: loss of four equal streams", steady_loss(length, TUBES)[0],
                    0.0, "0.005 abs", "isentropic flow", _NONE)


def _ledger_checks():
    audits = [point.audit for name, lengths in SYSTEMS.items() for length in (None, *lengths)
              for point in sweep(name, length)]
    for what in ("mass", "energy"):
        worst = max((audit[f"{what}_error"] for audit in audits), key=abs)
        yield Check(f"demo engine: worst ledger of {what}, over its turnover", worst, 0.0,
                    bound(min(map(left_in_cycle, audits))), "conservation law", WHY)


def _mesh_checks():
    name, length, rpm = CHECKED
    lumped, coned = (sweep(name, one, (rpm,), FINE)[rpm].torque for one in (None, length))
    yield Check(
        f"demo engine, {name}, {rpm:g} rev/min: change of torque by a {_name(length)}",
        moved(name, length)[SPEEDS.index(rpm)], 100.0 * (coned / lumped - 1.0), "0.2 abs",
        "the same on cells of half the length", "Default cells are good for 0.2 % of torque.", "%",
    )


# --- tables and figure ----------------------------------------------------------------------------


def torque_table():
    """Torque of the demo engine, lumped, and what cones do to it."""
    heads = ["rev/min"]
    for name, lengths in SYSTEMS.items():
        heads += [f"{name} [N m]", *(f"{_name(length)} [%]" for length in lengths)]
    rows = []
    for i, rpm in enumerate(SPEEDS):
        row = [f"{rpm:g}"]
        for name, lengths in SYSTEMS.items():
            row.append(f"{sweep(name, None)[rpm].torque:.1f}")
            row += [f"{moved(name, length)[i]:+.1f}" for length in lengths]
        rows.append(row)
    means = ["mean of the sizes"]
    for name, lengths in SYSTEMS.items():
        means += ["", *(f"{np.abs(moved(name, length)).mean():.1f}" for length in lengths)]
    lines = [heads, ["---:"] * len(heads), *rows, means]
    return "\n".join(f"| {' | '.join(line)} |" for line in lines)


def notes():
    """The table of torque and what it says."""
    lumped, coned = steady_loss(None)[0], steady_loss(LENGTHS[1])[0]
    k = 2.0 * np.pi * np.array(TONES[-1:]) / C0
    sizes = [float(np.abs(reflection(k, one, "endless"))[0]) for one in (None, LENGTHS[-1])]
    name, length, rpm = CHECKED
    two = 4500.0
    spread = [100.0 * sweep(name, one)[two].imep_spread for one in (None, POINT, length)]
    return (
        "Torque of the demo engine with the joint as it is, a ball of gas as wide as the "
        "collector, and its change without that gas and by a cone in place of as much of the "
        "collector:\n\n"
        + torque_table(),
        f"**Waves.** One pulse meets the area of the other tubes either way, so that a cone "
        f"changes little of what comes back: at {TONES[-1]:g} Hz {sizes[1]:.2f} of it with a cone "
        f"of {1e3 * LENGTHS[-1]:.0f} mm instead of {sizes[0]:.2f}.",
        f"**Loss.** One stream alone loses {coned:.2f} of its dynamic pressure in a cone that it "
        f"fills at once, {lumped:.2f} without one.  That costs up to "
        f"{-moved(name, length)[SPEEDS.index(rpm)]:.1f} % of torque, at {rpm:g} rev/min with the "
        f"{name}.  A real jet does not fill the cone at once and loses less; how much less depends "
        f"on how the tubes are cut and is not in this model, so that a test may well show a gain "
        f"by such a merge where this table shows a loss.",
        f"**States.** At {two:g} rev/min every other firing of the {name} is strong and cylinders "
        f"differ by {spread[0]:.1f} % in imep_net; in a point or with a cone of "
        f"{1e3 * length:.0f} mm by {spread[1]:.1f} and {spread[2]:.1f} %.  That row tells more of "
        f"which way the engine runs (`case_periodic_states`) than of the cone.",
    )


def draw():
    """Waves that come back, loss against frequency, torque."""
    axes = ws.plots.new_axes(3, height=3.4)
    k = 2.0 * np.pi * FREQUENCY / C
    for length, colour, ls in zip((None, *LENGTHS[1:]), ws.plots.COLOURS, ("-", "--", "-."),
                                  strict=False):
        found = echo(length)
        style = {"color": colour, "ls": ls, "lw": 1.4}
        first = length is None
        axes[0].plot(1e3 * found.time, found.theory, color=ws.plots.REFERENCE, lw=4.0, alpha=0.4,
                     label="plane-wave theory" if first else None)
        axes[0].plot(1e3 * found.time, found.wave, label=_name(length), **style)
        axes[1].plot(FREQUENCY, loss(k, length, "endless"), color=ws.plots.REFERENCE, lw=4.0,
                     alpha=0.4, label="plane-wave theory" if first else None)
        axes[1].plot(FREQUENCY, pulse_loss(length), label=_name(length), **style)
    axes[0].set(xlabel="time [ms]", ylabel="returning over incident peak", xlim=(6.0, 10.0))
    axes[0].set_title("small pulse along one of four tubes, the others endless", loc="left")
    axes[1].set(xlabel="frequency [Hz]", ylabel="loss into the collector [dB]")
    for i, (name, length) in enumerate((name, length) for name, lengths in SYSTEMS.items()
                                       for length in lengths if length != POINT):
        axes[2].plot(SPEEDS, moved(name, length), "osx^"[i] + ("-" if i else "--"),
                     color=ws.plots.COLOURS[i % len(ws.plots.COLOURS)],
                     label=f"{name}, {_name(length)}")
    axes[2].axhline(0.0, color=ws.plots.FAINT, lw=0.8, zorder=0)
    axes[2].set(xlabel="engine speed [rev/min]", ylabel="change of torque [%]")
    axes[2].set_title("demo engine, cone in place of as much collector", loc="left")
    for ax in axes:
        ax.grid(color=ws.plots.FAINT)
        ax.legend(frameon=False, fontsize="small")
    return axes


def run():
    """Waves, steady losses and torque with and without a cone."""
    checks = (*_echo_checks(), *_loss_checks(), *_steady_checks(), *_mesh_checks(),
              *_ledger_checks())
    return Case(checks, draw(), notes())
