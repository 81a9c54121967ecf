"""Periodic states: an even-firing four that runs in more than one way, and how stable each way is.

The example engine with the long collector is marched to rest at speeds from 4000 to 5250 rev/min,
from a cold start and towards the state in which all cylinders do the same.  At some speeds the
cylinders fall into two groups, every other firing being stronger, while the state with all alike is
unstable or stands beside; with a merge that keeps momentum this is so at more speeds than with one
of one pressure.  Compared are: finer cells; the other scheme, with a perfect gas; the merge of one
pressure, where all starts must agree; the state one firing later; and the leading Floquet
multiplier with the eigenvalues that ARPACK finds of the same map and with the growth of an
alternation in a plain march.
"""

from functools import cache

import numpy as np
from case_two_schemes import GAS
from scipy.sparse.linalg import LinearOperator, eigs
from suite import Case, Check

import wavesim as ws
from wavesim.kernels import flat as f
from wavesim.march.cyclemap import CycleMap, derivative, fill_less
from wavesim.march.states import STARTS, search

RPM = tuple(np.arange(4000.0, 5251.0, 125.0))
SPLIT = (4500.0, 5000.0)  # at these the cylinders differ with the momentum merge
COMPARED = 4500.0
UNSTABLE = 5000.0  # here the state with all alike is unstable
ALIKE = (4000.0, 4500.0)  # here all starts lead to cylinders that do the same, pressure merge
SYMMETRIC = 1e-4  # spread that is no more than what is left to settle
MODELS = ("momentum", "pressure")
USUAL = ws.Settings().cell_length


@cache
def system(model):
    """Engine and exhaust with a merge of a model."""
    study = ws.load(ws.demo_path("collector"))
    exhaust = study.exhausts["long collector"]
    return study.engine, ws.vary(exhaust, "merge.model", model)


@cache
def states(model, rpm, cell_length=USUAL, scheme="finite volume", gas=None, starts=("all alike",)):
    """`PeriodicStates`."""
    settings = ws.Settings(cell_length=cell_length, scheme=scheme)
    return ws.periodic_states(*system(model), rpm, settings=settings, gas=gas, starts=starts)


def settled(*case, **options):
    """State that the cold start leads to."""
    return states(*case, **options)[0]


def alone(*case, **options):
    """The same where nothing else is asked for."""
    return settled(*case, **options, starts=())


def alike(*case, **options):
    """State in which all cylinders do the same; None if none was found."""
    found = (s for s in states(*case, **options) if "all alike" in s.starts)
    return next(found, None)


# --- the multiplier in two other ways -------------------------------------------------------------


@cache
def cycle_map():
    """Map of a cycle at the state with all alike, which is unstable, and that state."""
    found = search(*system("momentum"), UNSTABLE, ws.Settings(), ("all alike",))
    cycle = CycleMap(found.runs[-1].model)
    return cycle, cycle.state()


def arpack_multiplier():
    """Size of the largest eigenvalue of the derivative of the map, by ARPACK."""
    cycle, state = cycle_map()
    after = cycle(state)

    def product(direction):
        direction = direction.ravel()
        return derivative(cycle, state, after, direction)

    operator = LinearOperator((state.size, state.size), product, dtype=float)
    start = cycle(disturbed(1e-5)) - after
    values = eigs(operator, k=1, v0=start, ncv=12, tol=1e-4, return_eigenvectors=False)
    cycle.set(state)
    return float(np.abs(values).max())


def disturbed(size):
    """The state with a little more gas in every other cylinder of the firing order."""
    cycle, state = cycle_map()
    cycle.set(state)
    firing = np.argsort(cycle.model.net.cyl_par[:, f.PHASE])
    fill_less(cycle.model, {int(n) + 1: -size * (-1.0) ** i for i, n in enumerate(firing)})
    return cycle.state()


def marched_growth(cycles=6):
    """Growth of the alternation of the indicated work in the last of some cycles."""
    cycle, state = cycle_map()
    works = []
    for start in (state, disturbed(1e-5)):
        cycle.set(start)
        own = []
        for _ in range(cycles):
            cycle()
            own.append(cycle.model.record.cyl_sum[:, f.WORK_0 : f.WORK_3 + 1].sum(axis=1))
        works.append(np.array(own))
    cycle.set(state)
    order = np.argsort(cycle.model.net.cyl_par[:, f.PHASE])
    apart = (works[1] - works[0])[:, order] @ [1.0, -1.0, 1.0, -1.0]
    return float(apart[-1] / apart[-2])


# --- checks ---------------------------------------------------------------------------------------


def _mesh_checks():
    for rpm in SPLIT:
        yield Check(
            f"spread of imep_net between cylinders, momentum merge, {rpm:g} rev/min",
            settled("momentum", rpm).spread, alone("momentum", rpm, 0.5 * USUAL).spread, "4 %",
            "cells half as long", "The split does not come from the mesh.",
        )
    for cell, name in ((USUAL, ""), (0.5 * USUAL, ", cells half as long")):
        found = settled if cell == USUAL else alone
        yield Check(
            f"spread, pressure merge, {COMPARED:g} rev/min{name}",
            found("pressure", COMPARED, cell).spread, 0.0, f"{SYMMETRIC} abs", "symmetry",
            "Cylinders that are alike do the same; what is left dies out by a sixth in every cycle "
            "and is settled to 1e-6.",
        )


def _scheme_check():
    finite = alone("momentum", COMPARED, gas=GAS).spread
    lines = alone(
        "momentum", COMPARED, 0.5 * USUAL, scheme="characteristics", gas=GAS
    ).spread
    yield Check(
        f"spread, momentum merge, {COMPARED:g} rev/min, perfect gas", finite, lines, "15 %",
        "the other scheme of this library, cells half as long",
        "Two schemes that share no line inside the ducts; the second is of first order and smears "
        "the contacts between hot and cold gas.",
    )


def _symmetry_checks():
    for rpm in ALIKE:
        found = states("pressure", rpm, starts=STARTS)
        yield Check(
            f"pressure merge, {rpm:g} rev/min: largest spread of the states that six starts lead "
            "to", max(state.spread for state in found), 0.0, f"{SYMMETRIC} abs", "symmetry",
            "One answer, whatever the start: none of several that repeat and lie close by.",
        )
    found = states("momentum", COMPARED, starts=("one firing later",))
    first, second = (found[i].imep for i in (0, -1))
    order = np.argsort(found[0].point.meta["firing_angles_deg"])
    yield Check(
        f"momentum merge, {COMPARED:g} rev/min: imep_net of the state one firing later, cylinders "
        "renamed, over that of the first", float(second[order[0]] / first[order[1]]), 1.0,
        "0.005 %", "symmetry of the engine",
        "Both are settled to 1e-6; bores that meet in a merge lie side by side, so that their "
        "directions tell the cylinders apart a little.",
    )
    strays = sum(
        is_unstable(alike(model, rpm)) and settled(model, rpm).spread < SYMMETRIC
        for model in MODELS for rpm in RPM
    )
    yield Check(
        "speeds at which the state with all alike is unstable and yet was reached", strays, 0.0,
        "0.5 abs", "meaning of instability", "No march stays where a disturbance grows.",
    )
    split = sum(
        settled(model, rpm).spread > 0.01 and not settled(model, rpm).stable
        for model in MODELS for rpm in RPM
    )
    yield Check(
        "speeds at which the cold start leads to cylinders that differ, and a disturbance grows",
        split, 0.0, "0.5 abs", "meaning of stability", "What a march comes to rest in is stable.",
    )


def is_unstable(state):
    """True of a state that was found and is unstable."""
    return state is not None and not state.stable


def _multiplier_checks():
    ours = abs(alike("momentum", UNSTABLE).multiplier)
    why = "All three take the same map; what differs is how its derivative is looked at."
    for source, value in (
        ("eigenvalues by ARPACK (scipy)", arpack_multiplier()),
        ("growth of an alternation of 1e-5 in a plain march", marched_growth()),
    ):
        yield Check(
            f"leading multiplier, all alike, momentum merge, {UNSTABLE:g} rev/min", ours, value,
            "1 %", source, why,
        )


def draw():
    """Leading multiplier of the state with all alike, and spread of the settled state."""
    upper, lower = axes = ws.plots.new_axes(2, height=2.8)
    for i, model in enumerate(MODELS):
        line = {"color": ws.plots.COLOURS[i], "marker": ws.plots.MARKERS[i],
                "ls": ("-", "--")[i], "label": f"{model} merge"}
        found = [alike(model, rpm) for rpm in RPM]
        upper.plot(RPM, [abs(s.multiplier) if s else np.nan for s in found], **line)
        lower.plot(RPM, [100.0 * settled(model, rpm).spread for rpm in RPM], **line)
    upper.axhline(1.0, color=ws.plots.REFERENCE, lw=1.0)
    upper.text(RPM[0], 1.05, "above this line it grows", fontsize="small",
               color=ws.plots.REFERENCE)
    upper.set_title("All cylinders alike: growth of a small disturbance", loc="left")
    upper.set_ylabel("multiplier a cycle")
    lower.set_title("Cold start: spread of imep_net between cylinders", loc="left")
    lower.set_ylabel("spread [%]")
    lower.set_xlabel("engine speed [rev/min]")
    for ax in axes:
        ax.legend(frameon=False)
    return axes


def _table():
    """Leading multiplier with all alike, and spread from a cold start, as text."""
    rows = []
    for rpm in RPM:
        words = []
        for model in MODELS:
            state = alike(model, rpm)
            growth = f"{abs(state.multiplier):.2f}" if state else "not found"
            words.append(f"{model} {growth}, {100.0 * settled(model, rpm).spread:.2f} %")
        rows.append(f"{rpm:g}: " + "; ".join(words))
    return ("Multiplier a cycle of a small disturbance where all cylinders do the same, and spread "
            "of imep_net from a cold start, by speed and merge: " + ". ".join(rows) + ".")


def run():
    """All checks, and multiplier and spread against speed as a figure."""
    both = states("momentum", COMPARED)
    torques = ", ".join(f"{state.point.torque:.2f}" for state in both)
    notes = (
        f"At {COMPARED:g} rev/min with the momentum merge the torques of the states are {torques} "
        "N m: so much of a difference between two exhausts can be one between two states.",
        _table(),
    )
    return Case((*_mesh_checks(), *_scheme_check(), *_symmetry_checks(), *_multiplier_checks()),
                draw(), notes)
