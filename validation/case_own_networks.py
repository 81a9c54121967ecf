"""Networks of one's own: a bypass and two tailpipes from one box, by sound and on an engine.

A small pulse runs through a pipe with a bypass and through a box with two unequal tailpipes, in
still air.  What passes is compared with transfer matrices of plane waves (Munjal 2014, ch. 2 and
3): two pipes side by side add their admittances, which is the tube of Herschel and Quincke; a box
feeds the admittances of its tailpipes.  Both are built with the methods that change a network.
The same changes are then made behind the example engine, whose books of mass and energy must close.
"""

from functools import cache

import numpy as np
from case_conservation import LAW
from case_expansion_chamber import MUNJAL, pipe
from marches import P0, endless
from rounding import WHY, bound, left_in_cycle
from suite import Case, Check
from transmission import FREQUENCY, C, T, area, computed

import wavesim as ws
from wavesim.descriptions.nodes import ball

CELL = 0.005  # m
BORE = 0.05  # m, of pipe and inlet
MODELS = ("pressure", "momentum")
PLACES = (0.6, 1.05)  # m, of the bypass from the start of the pipe
BYPASSES = {"80 cm x 30 mm": (0.8, 0.03), "62 cm x 50 mm": (0.62, 0.05)}  # length, bore [m]
BOX = (0.35, 0.14)  # m
#: Length and bore [m] of each tailpipe, and the bore of the end behind it.
TAILS = {"tail 1": (0.45, 0.045, 0.045), "tail 2": (0.8, 0.03, 0.045)}
LONG = 2.0  # m, of the inlet, which holds the pulse
SPEED = 4000.0  # rev/min


# networks in still air --------------------------------------------------------------------------


def straight(length):
    """A pipe between two ends that swallow all waves."""
    return ws.Network(
        {"pipe": ws.Pipe(length, BORE)},
        {"before": endless("pipe.start", P0, T), "behind": endless("pipe.end", P0, T)},
    )


def with_bypass(size, model="pressure", volume=None):
    """The pipe with a line beside its middle; `volume` of gas in each junction [m3]."""
    places = [("pipe", LONG + x) for x in PLACES]
    network = straight(LONG + 2.0).with_link("bypass", ws.Pipe(*size), *places, model=model)
    for name, node in network.nodes.items():
        if isinstance(node, ws.Junction):
            network = network.with_node(name, node.replace(volume=volume))
    return network


def with_two_tails():
    """A box with two tailpipes behind the pipe."""
    network = straight(LONG).with_line("box", ws.Pipe(*BOX), after="pipe.end")
    for name, (length, bore, end) in TAILS.items():
        network = network.with_duct(name, ws.Pipe(length, bore))
        network = network.with_line(f"{name} end", ws.Pipe(0.1, end), after=f"{name}.end")
        network = network.with_node(f"far {name}", endless(f"{name} end.end", P0, T))
    fork = ("box.end", *(f"{name}.start" for name in TAILS))
    return network.with_node("fork", ws.Junction(fork, model="pressure")).validate()


@cache
def passed(what, outlet, *options):
    """Pressure of the wave that leaves by a duct over that of the incident one, by frequency."""
    network = what(*options)
    loss = computed(network, cell_length=CELL, inlet="pipe", outlet=outlet, longest=2.0)
    section = area(network.bore("pipe", "start")) / area(network.bore(outlet, "end"))
    return np.sqrt(section) * 10.0 ** (-loss / 20.0)


# theory -----------------------------------------------------------------------------------------


def side_by_side(*chains):
    """Transfer matrices (n, 2, 2) of two-ports whose ends meet: their admittances add."""
    matrices = [np.moveaxis(chain, 0, -1) for chain in chains]
    through = 1.0 / sum(1.0 / b for (_, b), _ in matrices)
    first = through * sum(a / b for (a, b), _ in matrices)
    last = through * sum(d / b for (_, b), (_, d) in matrices)
    back = (first * last - 1.0) / through
    return np.moveaxis(np.array([[first, through], [back, last]]), -1, 0)


def store(volume):
    """The same of gas that is compressed where pipes meet: the admittance j k V."""
    matrices = np.zeros((FREQUENCY.size, 2, 2), complex) + np.eye(2)
    matrices[:, 1, 0] = 2j * np.pi * FREQUENCY / C * volume
    return matrices


def passed_by_bypass(size, volume=0.0):
    """Pressure that passes the pipe with a bypass, of an incident wave of one."""
    length, bore = size
    pair = side_by_side(pipe(PLACES[1] - PLACES[0], area(BORE)), pipe(length, area(bore)))
    (a, b), (c, d) = np.moveaxis(store(volume) @ pair @ store(volume), 0, -1)
    section = area(BORE)
    return np.abs(2.0 / (a + b * section + c / section + d))


def passed_by_tails():
    """Pressure that leaves each tailpipe, of an incident wave of one, by its name."""
    chains = {name: pipe(length, area(bore)) for name, (length, bore, _) in TAILS.items()}
    feeds, at_fork = {}, 0.0
    for name, (_, _, end) in TAILS.items():
        (a, b), (c, d) = np.moveaxis(chains[name], 0, -1)
        feeds[name] = 1.0 / (a + b * area(end))  # pressure at its end for one at the fork
        at_fork = at_fork + (c + d * area(end)) * feeds[name]
    (a, b), (c, d) = np.moveaxis(pipe(BOX[0], area(BOX[1])), 0, -1)
    section = area(BORE)
    fork = 2.0 * section / ((a + b * at_fork) * section + c + d * at_fork)
    return {name: np.abs(fork * feed) for name, feed in feeds.items()}


# on an engine -----------------------------------------------------------------------------------


@cache
def engine_networks():
    """Engine, and networks of it with a bypass and with two tailpipes from one silencer."""
    study = ws.load(ws.demo_path("complete"))
    network = study.exhausts["complete, 51 mm"].network(study.engine)
    box = "tailpipe/1 core.end"
    twin = (
        network.without_node(network.node_at(box))
        .with_duct("tailpipe 2", ws.Pipe(0.9, 0.04, wall_temperature=600.0))
        .with_node("fork", ws.Junction((box, "tailpipe/2.start", "tailpipe 2.start")))
        .with_node("outlet 2", ws.OpenEnd("tailpipe 2.end"))
    )
    bypass = ws.Pipe(1.1, 0.03, wall_temperature=600.0)
    return study.engine, {
        "bypass": network.with_link("bypass", bypass, ("pipe", 0.3), ("pipe", 1.2)),
        "two tailpipes": twin,
    }


@cache
def engine_point(name):
    """One operating point on a coarse mesh."""
    engine, networks = engine_networks()
    settings = ws.Settings(cell_length=0.03, sample_deg=2.0, tolerance=2e-3)
    return ws.run_network(engine, networks[name], SPEED, settings=settings)


# --- checks ---------------------------------------------------------------------------------------

_SOUND = (
    "A wave of 1 kHz has 69 cells and a phase error of second order of 0.07 % in each length; "
    "where the two ways trap a wave between them, its peak is narrow and shows the most of it."
)
_TAILS = "The same phase error, without a narrow peak."
_CELLS = (
    "The cell of a junction of the momentum model is a twentieth of the wave at 350 Hz: there it "
    "is the admittance j k V of its gas."
)
QUINCKE = "transfer matrices, Munjal (2014) ch. 2; Herschel (1833) and Quincke (1866)"


def _bypass_checks():
    low = FREQUENCY <= 350.0
    for name, size in BYPASSES.items():
        for model in MODELS:
            found = passed(with_bypass, "pipe behind bypass", size, model)
            yield Check(f"bypass {name}, {model} junctions: worst error to 1 kHz of the wave that "
                        "passes, over the incident", np.abs(found - passed_by_bypass(size)).max(),
                        0.0, "0.01 abs", QUINCKE, _SOUND)
        volume = ball([BORE])
        found = passed(with_bypass, "pipe behind bypass", size, "momentum", volume)
        off = np.abs(found - passed_by_bypass(size, volume))[low].max()
        yield Check(f"bypass {name}, momentum junctions with a ball of gas, to 350 Hz", off, 0.0,
                    "0.001 abs", QUINCKE, _CELLS)


def _tail_checks():
    for name, theory in passed_by_tails().items():
        found = passed(with_two_tails, f"{name} end")
        yield Check(f"{name}: worst error to 1 kHz of the wave that leaves, over the incident",
                    np.abs(found - theory).max(), 0.0, "0.005 abs", MUNJAL, _TAILS)


def _book_checks():
    for name in engine_networks()[1]:
        audit = engine_point(name).audit
        for what in ("mass", "energy"):
            yield Check(f"engine with {name}, {SPEED:g} rev/min: ledger of {what}",
                        audit[f"{what}_error"], 0.0, bound(left_in_cycle(audit)), LAW, WHY)


def draw():
    """What passes the bypasses, and what leaves each tailpipe."""
    axes = ws.plots.new_axes(2, height=3.2)
    curves = [
        {f"bypass of {name}": (passed(with_bypass, "pipe behind bypass", size),
                               passed_by_bypass(size)) for name, size in BYPASSES.items()},
        {name: (passed(with_two_tails, f"{name} end"), theory)
         for name, theory in passed_by_tails().items()},
    ]
    for ax, found in zip(axes, curves, strict=True):
        for i, (name, (ours, theory)) in enumerate(found.items()):
            ax.plot(FREQUENCY, theory, color=ws.plots.REFERENCE, lw=4.0, alpha=0.5,
                    label=None if i else "plane waves")
            ax.plot(FREQUENCY, ours, "-" if i == 0 else "--", color=ws.plots.COLOURS[i], lw=1.4,
                    label=name)
        ax.set_ylabel("pressure over incident")
        ax.set_ylim(0.0, 1.3)
        ax.grid(color=ws.plots.FAINT)
        ax.legend(frameon=False, ncols=3, loc="upper left")
    axes[0].set_title("a pipe of 50 mm, the way past the bypass 450 mm", loc="left")
    axes[1].set_title("a box of 140 x 350 mm with two tailpipes", loc="left")
    axes[-1].set_xlabel("frequency [Hz]")
    return axes


def run():
    """Sound through both, and the books of an engine with both."""
    return Case((*_bypass_checks(), *_tail_checks(), *_book_checks()), draw())
