"""Conservation: closed networks keep their books, open ones balance them, gas at rest stays there.

Shocks between 0.5 and 5 bar run for thousands of steps through a closed network of cones, steps,
junctions, volumes, holes and a perforated silencer: mass, energy, fresh charge and burned gas must
stay.  In open networks, along cooled walls and in whole engine cycles what is there must change by
what has come, gone, burned and passed the walls.  Gas at one pressure must not move, whatever the
taper and however hot beside cold.  These laws need no source; only round-off is left.
"""

from functools import cache

import numpy as np
from marches import P0, T0, outside
from rounding import SURE, WHY, bound, left, left_in_cycle
from suite import Case, Check

import wavesim as ws
from wavesim.arrays.compile import compile_network
from wavesim.kernels import flat as f
from wavesim.kernels.march import march
from wavesim.march.books import contents

GASES = {"perfect": ws.PerfectGas(), "engine": ws.EngineGas()}
MODELS = ("momentum", "pressure")
BOOKS = ("mass", "energy", "fresh charge", "burned gas")


def many_parts(model, ends, boxes, order=None):
    """A network with every kind of node: cone, step, junction, volumes, orifice, throttle.

    `ends` are the nodes at the three outer ends, `boxes` the start states of the two volumes.
    """
    sizes = {
        "taper": (0.3, 0.03, 0.05), "wide": (0.2, 0.06, 0.06), "left": (0.2, 0.04, 0.04),
        "right": (0.15, 0.035, 0.035), "before": (0.2, 0.04, 0.04), "behind": (0.2, 0.04, 0.04),
        "short": (0.1, 0.04, 0.04), "horn": (0.2, 0.04, 0.045),
    }
    ducts = {
        name: ws.Pipe(sizes[name][0], sizes[name][1], end_diameter=sizes[name][2],
                      cell_length=0.015, wall_temperature=None)
        for name in order or sizes
    }
    nodes = {
        "step": ws.AreaStep(("taper.end", "wide.start")),
        "merge": ws.Junction(
            ("wide.end", "left.start", "right.start"), model=model, angles_deg=(180, 20, -75)
        ),
        "box": ws.Volume(("left.end", "before.start"), volume=2e-3,
                         discharge_coefficient=(0.8, 1.0), **boxes[0]),
        "hole": ws.Orifice(("before.end", "behind.start"), diameter=0.02),
        "plate": ws.Throttle(("behind.end", "short.start"), diameter=0.04, plate_angle_deg=40.0),
        "plenum": ws.Volume(("short.end", "horn.start"), volume=1e-3, **boxes[1]),
        **ends,
    }
    return ws.Network(ducts, nodes)


REST = {"pressure": P0, "temperature": T0}
OPEN = {
    "wall": ws.ClosedEnd("taper.start"),
    "mouth": ws.OpenEnd("horn.end", ambient=outside()),
    "nozzle": ws.OpenEnd("right.end", diameter=0.02, ambient=outside()),
}
CLOSED = {
    "wall": ws.ClosedEnd("taper.start"),
    "cap": ws.ClosedEnd("horn.end"),
    "plug": ws.ClosedEnd("right.end"),
}
BURSTING = (
    {"pressure": 1.5e5, "temperature": 400.0, "fill": "fresh"},
    {"pressure": 4e5, "temperature": 900.0, "fill": "burned"},
)
VIOLENT = {
    "taper": (5e5, 0.0, 1200.0, "burned"), "wide": (1e5, 0.0, 300.0, "air"),
    "left": (2e5, 100.0, 500.0, (0.3, 0.4)), "right": (0.5e5, -80.0, 300.0, "fresh"),
    "before": (3e5, 0.0, 700.0, "burned"), "behind": (1e5, 0.0, 300.0, "air"),
    "short": (1e5, 0.0, 300.0, "fresh"), "horn": (2e5, 0.0, 800.0, "burned"),
}


REST_STEPS = 10_000


def with_silencer(network):
    """A closed network with a perforated silencer in place of the cap of its horn."""
    pipes = {"core": ws.Pipe(0.3, 0.045, cell_length=0.015),
             "annulus": ws.Pipe(0.3, 0.09, cell_length=0.015)}
    nodes = {name: node for name, node in network.nodes.items() if name != "cap"}
    nodes |= {
        "inlet": ws.AreaStep(("horn.end", "core.start")),
        "end": ws.ClosedEnd("core.end"),
        "front": ws.ClosedEnd("annulus.start"),
        "back": ws.ClosedEnd("annulus.end"),
        "holes": ws.Perforate("core", "annulus", hole_diameter=0.0035, porosity=0.2,
                              wall_thickness=0.0015),
    }
    return ws.Network({**network.ducts, **pipes}, nodes)


def run_model(model, t_end, max_steps):
    """March a compiled network; returns (status, steps)."""
    return march(
        model.net, model.state, model.work, model.record, model.inner, model.face, t_end, max_steps
    )


def books(model):
    """Mass, energy, fresh charge and burned gas in the whole network."""
    fresh, burned = model.state.store[:, f.SF].sum(), model.state.store[:, f.SB].sum()
    for lo, hi in model.ducts.values():
        vol = model.net.cells[f.VOL, lo:hi]
        fresh += vol @ model.state.U[f.Y1, lo:hi]
        burned += vol @ model.state.U[f.Y2, lo:hi]
    return np.array([*contents(model), fresh, burned])


def mach_number(model):
    """Largest Mach number in the cells of a network."""
    speeds = (
        model.state.U[f.M, lo:hi] / model.state.U[f.R, lo:hi] / model.work.W[f.C, lo:hi]
        for lo, hi in model.ducts.values()
    )
    return max(np.abs(speed).max() for speed in speeds)


def mach_after_rest(network, start, gas, steps=REST_STEPS):
    """Largest Mach number after so many steps from a state that should rest."""
    model = compile_network(network, gas, ws.Settings(), initial=start)
    _, done = run_model(model, 1e9, steps)
    assert done == steps
    return mach_number(model)


def even(network, fill="burned"):
    """State of rest, one temperature everywhere."""
    return dict.fromkeys(network.ducts, (P0, 0.0, T0, fill))


def hot_and_cold(network):
    """State of rest, every duct its own temperature and mixture."""
    mixtures = [(0.0, 0.0), (0.0, 1.0), (1.0, 0.0), (0.3, 0.4)]
    return {name: (P0, 0.0, 300.0 + 100.0 * i, mixtures[i % 4])
            for i, name in enumerate(network.ducts)}


def cone():
    """A steep cone between a wall and the open air."""
    return ws.Network(
        {"d": ws.Pipe(0.2, 0.02, end_diameter=0.06, cell_length=0.01, wall_temperature=None)},
        {"wall": ws.ClosedEnd("d.start"), "mouth": ws.OpenEnd("d.end", ambient=outside())},
    )


def bursting_silencer(junction):
    """Closed network with a silencer, and its start state."""
    start = VIOLENT | {"core": (1e5, 0.0, 300.0, "air"), "annulus": (3e5, 0.0, 1000.0, "burned")}
    return with_silencer(many_parts(junction, CLOSED, BURSTING)), start


@cache
def closed_run(gas, junction):
    """Rows of (steps, relative change of each of the books) at times that double up to 0.3 s."""
    network, start = bursting_silencer(junction)
    model = compile_network(network, GASES[gas], ws.Settings(), initial=start)
    before, rows = books(model), []
    for t_end in 0.3 * 2.0 ** np.arange(-10.0, 1.0):
        status, _ = run_model(model, t_end, 1_000_000)
        assert status == f.OK
        rows.append([model.state.clock[f.STEPS], *(books(model) / before - 1.0)])
    return np.array(rows)


@cache
def open_audit(junction):
    """Ledger of the bursting network with open ends."""
    network = many_parts(junction, OPEN, BURSTING)
    return ws.simulate(network, 0.02, gas=GASES["engine"], initial=VIOLENT, samples=0).audit


@cache
def cooled_audit():
    """Ledger of hot gas in a closed pipe with cold walls."""
    network = ws.Network(
        {"d": ws.Pipe(1.0, 0.04, wall_temperature=400.0)},
        {"a": ws.ClosedEnd("d.start"), "b": ws.ClosedEnd("d.end")},
    )
    start = {"d": lambda x: (np.where(x < 0.5, 3e5, 1e5), 0.0 * x, 1000.0 + 0.0 * x, "burned")}
    return ws.simulate(network, 0.05, gas=GASES["engine"], initial=start, samples=0).audit


@cache
def engine_audit(rpm):
    """Ledger of one converged cycle of the example engine on a coarse mesh."""
    study = ws.load(ws.demo_path("collector"))
    point = ws.run_point(
        study.engine, next(iter(study.exhausts.values())), rpm,
        settings=ws.Settings(cell_length=0.03, tolerance=2e-3),
    )
    assert point.converged
    return point.audit


# --- checks ---------------------------------------------------------------------------------------

LAW = "conservation law"


def _closed_checks():
    for gas in GASES:
        for junction in MODELS:
            steps, *changes = closed_run(gas, junction)[-1]
            for name, change in zip(BOOKS, changes, strict=True):
                yield Check(
                    f"closed network with silencer, {gas} gas, {junction} junction, {name}: "
                    f"relative change in {steps:.0f} steps", change, 0.0,
                    bound(left(steps)), LAW, WHY,
                )


def _ledger_checks():
    audits = {f"open network, {junction} junction": open_audit(junction) for junction in MODELS}
    audits["closed pipe with cold walls"] = cooled_audit()
    cycles = {f"engine cycle at {rpm:g} rev/min": engine_audit(rpm) for rpm in (2500.0, 6000.0)}
    rows = [(name, audit, left(audit["steps"])) for name, audit in audits.items()]
    rows += [(name, audit, left_in_cycle(audit)) for name, audit in cycles.items()]
    for name, audit, share in rows:
        for what in ("mass", "energy"):
            yield Check(f"{name}, ledger of {what} over its turnover", audit[f"{what}_error"], 0.0,
                        bound(share), LAW, WHY)


def _rest_checks():
    why = ("The push of the walls of a cone cancels the change of pressure times area in every "
           "cell to round-off; what is left sounds in the pipes and walks at random by the root "
           "of the steps at most.")
    for gas, law in GASES.items():
        for junction in MODELS:
            network = many_parts(junction, OPEN, (REST, REST))
            for start in (even, hot_and_cold):
                yield Check(
                    f"gas at rest, {gas} gas, {junction} junction, "
                    f"{start.__name__.replace('_', ' ')}: Mach number after 10 000 steps",
                    mach_after_rest(network, start(network), law), 0.0, bound(left(REST_STEPS)),
                    LAW, why,
                )
        yield Check(f"gas at rest in a cone from 20 to 60 mm, {gas} gas: Mach number after 10 000 "
                    "steps", mach_after_rest(cone(), even(cone()), law), 0.0,
                    bound(left(REST_STEPS)), LAW, why)


def draw():
    """What goes on in the closed network, and what is missing from its books."""
    upper, lower = axes = ws.plots.new_axes(2, height=3.2)
    network, start = bursting_silencer("momentum")
    result = ws.simulate(network, 0.02, gas=GASES["engine"], initial=start, samples=400)
    for i, place in enumerate(("wall", "plug")):
        trace = result.trace("pressure", place)
        upper.plot(1e3 * trace.x, trace.values / 1e5, color=ws.plots.COLOURS[i], lw=1.2,
                   label=f"closed end of {'the cone' if place == 'wall' else 'a branch'}")
    upper.set_title("Pressure in the closed network", loc="left")
    upper.set_xlabel("time [ms]")
    upper.set_ylabel("pressure [bar]")
    found = closed_run("engine", "momentum")
    for i, name in enumerate(BOOKS):
        lower.loglog(found[:, 0], np.maximum(np.abs(found[:, i + 1]), 5e-17),
                     ws.plots.MARKERS[i], color=ws.plots.COLOURS[i], ms=5, label=name)
    n = found[[0, -1], 0]
    lower.loglog(n, [left(steps) / SURE for steps in n], "--", color=ws.plots.REFERENCE,
                 label="rounding at random")
    lower.loglog(n, [left(steps) for steps in n], color=ws.plots.REFERENCE, label="bound")
    lower.set_ylim(3e-17, 1e-11)
    lower.set_title("What is missing from the books (no change is drawn at the bottom)", loc="left")
    lower.set_xlabel("steps")
    lower.set_ylabel("relative change")
    lower.legend(frameon=False, ncols=3, loc="upper left")
    upper.legend(frameon=False)
    return axes


def run():
    """All checks, and the books of a closed network over the steps as a figure."""
    return Case((*_closed_checks(), *_ledger_checks(), *_rest_checks()), draw())
