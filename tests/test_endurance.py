"""Endurance: random systems run or say why not; long runs neither drift nor allocate.

Each random case either runs, with its ledger closed, positive pressures and no NaN, or ends with
one clear sentence.  The number of steps is bounded, so that none can hang.
"""

import gc
import math
import re
import resource
import tracemalloc
from collections import Counter
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from random_systems import engines, networks

import wavesim as ws
from wavesim.arrays.compile import compile_network
from wavesim.kernels import flat as f
from wavesim.kernels.march import march
from wavesim.march.advance import march_to
from wavesim.march.run import run_point, simulate

LEDGER = 1e-10
FRACTION = 1e-12  # by which a mass fraction may lie outside 0 to 1: round-off
CASES = 50  # of each kind
MORE = 500
#: NaN says that there is no such number: no power, no heat, no flow.
MAY_LACK = {
    "bsfc", "heat_loss_share", "indicated_efficiency", "trapping_efficiency",
    "exhaust_temperature", "imep_spread", "volumetric_efficiency_spread",
    "residual_fraction_spread",
    "overlap_exhaust_pressure", "overlap_pressure_difference",  # valves without an overlap
    "overlap_lowest_pressure", "overlap_lowest_angle",
    "overlap_highest_pressure", "overlap_highest_angle",
}
TWO_CYCLES = ws.Settings(
    cell_length=0.1, sample_deg=10.0, min_cycles=1, max_cycles=2, max_steps_per_cycle=40_000,
    unequal_pressures=True,
)


# --- random systems -----------------------------------------------------------------------------


def random_cases(count, **options):
    """Hypothesis settings for `count` cases that may take their time, but not for ever."""
    return settings(
        max_examples=count, deadline=timedelta(seconds=120), database=None,
        suppress_health_check=list(HealthCheck), **options,
    )


def check_sentence(error):
    """A sentence for people, not the bowels of the program."""
    text = str(error)
    assert len(text) > 25 and text.endswith("."), text
    assert not re.search(r"Traceback|<.* object at|IndexError|KeyError|ZeroDivision", text), text


def outcome(build, check):
    """Build and run a case and check it; "ran", or the class of its error."""
    try:
        check(*build())
    except ws.WavesimError as error:
        check_sentence(error)
        return type(error).__name__
    return "ran"


def check_samples(samples):
    """Pressures and temperatures above zero, nothing infinite."""
    assert np.all(np.isfinite(samples.cells))
    assert np.all(samples.cells[:, 0] > 0.0) and np.all(samples.cells[:, 2] > 0.0)


def check_fractions(fresh, burned):
    """Shares of fresh charge, burned gas and air between 0 and 1."""
    for share in (fresh, burned, 1.0 - fresh - burned):
        assert np.all(share > -FRACTION) and np.all(share < 1.0 + FRACTION)


def check_held(state, ducts):
    """Fractions in all cells and stores; `state` holds arrays of `kernels.flat.State` by name."""
    for lo, hi in ducts.values():
        r, _, _, fresh, burned = state["U"][:, lo:hi]
        check_fractions(fresh / r, burned / r)
    stores = state["store"]
    stores = stores[stores[:, f.SM] > 0.0]  # the surroundings hold nothing
    check_fractions(*(stores[:, [f.SF, f.SB]] / stores[:, [f.SM]]).T)


def check_ledger(audit):
    """Mass and energy are where they should be."""
    assert abs(audit["mass_error"]) < LEDGER and abs(audit["energy_error"]) < LEDGER, audit


def check_network(network, duration, gas, how, states):
    """March a network and check what comes out."""
    done = simulate(network, duration, gas=gas, settings=how, initial=states, samples=20)
    for name, last in done.final.items():
        assert all(np.all(last[quantity] > 0.0) for quantity in ("rho", "p", "T")), name
        assert all(np.all(np.isfinite(values)) for values in last.values()), name
        check_fractions(last["fresh"], last["burned"])
    check_fractions(done.samples.stores[..., 3], done.samples.stores[..., 4])
    check_samples(done.samples)
    check_ledger(done.audit)


def check_engine(engine, exhaust, rpm):
    """Run two cycles of an engine and check what comes out."""
    point = run_point(engine, exhaust, rpm, settings=TWO_CYCLES)
    assert {name for name, value in point.values.items() if math.isnan(value)} <= MAY_LACK
    check_samples(point.samples)
    assert point.samples.cells[:, 3:].min() > -FRACTION  # of single precision, near 1 no better
    check_held(point.restart["state"], point.restart["ducts"])
    check_ledger(point.audit)


def count_outcomes(strategy, check, options):
    """Run random cases; number of each outcome."""
    counts = Counter()

    @given(st.data())
    @options
    def run(data):
        counts[outcome(lambda: data.draw(strategy()), check)] += 1

    run()
    return counts


KINDS = pytest.mark.parametrize(
    ("strategy", "check"), [(networks, check_network), (engines, check_engine)],
    ids=["networks", "engines"],
)


@KINDS
def test_random_systems_run_or_say_why_not(strategy, check):
    """The same cases in every run."""
    counts = count_outcomes(strategy, check, random_cases(CASES, derandomize=True))
    assert counts["ran"] > 0.4 * CASES  # the cases are no mere nonsense


@pytest.mark.nightly
@KINDS
def test_many_random_systems_run_or_say_why_not(strategy, check):
    """Other cases in every run; a failing one prints how to repeat it."""
    counts = count_outcomes(strategy, check, random_cases(MORE, print_blob=True))
    print(dict(counts))
    assert counts["ran"] > 0.4 * MORE and counts["SolverError"] < 0.1 * MORE


@pytest.mark.parametrize("cell_length", [0.03, 0.015, 0.005])
def test_choked_port_blows_into_a_wide_pipe(cell_length):
    """Gas just above the speed of sound meets a step to 4.8 times its area, found at random.

    Neither the pressure of the jet nor that of a wide pipe full of resting gas may push the gas
    beyond what its stagnation enthalpy allows.
    """
    bores = {"port": 0.020, "pipe": 0.0436}
    net = ws.Network(
        {name: ws.Pipe(0.15, bore, cell_length=cell_length) for name, bore in bores.items()},
        {"far": ws.AnechoicEnd("port.start", pressure=1.26e5, temperature=1031.0),
         "step": ws.AreaStep(("port.end", "pipe.start")),
         "mouth": ws.OpenEnd("pipe.end")},
    )
    start = {"port": (1.26e5, 680.0, 1031.0, "burned"), "pipe": (1.05e5, 0.0, 1180.0, "burned")}
    done = simulate(net, 1e-3, gas=ws.EngineGas(), initial=start)
    check_samples(done.samples)
    check_ledger(done.audit)
    assert done.samples.field("pressure", "pipe").min() > 0.2e5


@pytest.fixture(scope="module")
def system():
    study = ws.load(ws.demo_path("collector"))
    return study.engine, study.exhausts[study.base]


def test_small_cylinder_wide_open_to_coarse_cells_does_not_empty(system):
    """Found at random: 7 cm3 at top dead centre lost more gas in a step than they held."""
    engine, exhaust = system
    cam = {"opens_deg": 22.0, "closes_deg": 0.0, "lift": 0.0078}
    tiny = engine.replace(
        bore=0.04, stroke=0.03, rod=0.06, compression_ratio=7.0, firing_order=(1,),
        intake_valve=ws.Valve(diameter=0.015, count=2, lift=ws.Cam(**cam)),
        exhaust_valve=ws.Valve(diameter=0.010, lift=ws.Cam(**cam | {"opens_deg": 0.0})),
        intake=engine.intake.replace(
            plate_angle_deg=9.0, ambient=ws.Ambient(pressure=4e4), runner=ws.Pipe(0.05, 0.02)
        ),
    )
    alone = exhaust.replace(merge=None, collector=(), primary=ws.Pipe(0.05, 0.025))
    check_engine(tiny, alone, 600.0)


@pytest.mark.parametrize("column", [f.SM, f.SE])
def test_cylinder_without_gas_is_named(system, column):
    model = compile_network(
        ws.assemble(*system), ws.EngineGas(), TWO_CYCLES, engine=system[0], rpm=6000.0
    )
    model.state.store[model.stores["cylinder 3"], column] = math.nan
    with pytest.raises(ws.SolverError, match="Unphysical state in 'cylinder 3', at 0.0 deg, cy"):
        march_to(model, 1e-3, 100, cycle=1)


# --- long runs ------------------------------------------------------------------------------------


@pytest.mark.slow
def test_five_hundred_cycles_do_not_drift(system):
    """Net work of cycles 401 to 500 against 101 to 200, and the books of the last cycle."""
    long = ws.Settings(cell_length=0.06, sample_deg=10.0, min_cycles=500, max_cycles=500)
    point = run_point(*system, 4500, settings=long)
    history = np.array(point.audit["history"])
    assert len(history) == 500
    early, late = history[100:200, :5].mean(axis=0), history[400:, :5].mean(axis=0)
    assert late == pytest.approx(early, rel=1e-4)
    check_ledger(point.audit)


def allocations(model, steps):
    """How often the compiled code asks for memory in a march of `steps` steps."""
    from numba.core.runtime import rtsys

    before = rtsys.get_allocation_stats()
    march(model.net, model.state, model.work, model.record, model.inner, model.face, 1e9, steps)
    return rtsys.get_allocation_stats().alloc - before.alloc


def test_steps_allocate_nothing(system):
    """As many allocations for 500 steps as for one: those of the call itself."""
    from numba.core.runtime import _nrt_python

    model = compile_network(
        ws.assemble(*system), ws.EngineGas(), ws.Settings(cell_length=0.1), engine=system[0],
        rpm=6000.0, samples=72,
    )
    enabled = _nrt_python.memsys_stats_enabled()
    _nrt_python.memsys_enable_stats()
    try:
        few, many = allocations(model, 1), allocations(model, 500)
    finally:
        if not enabled:
            _nrt_python.memsys_disable_stats()
    assert many == few


def resident():
    """Memory that this process holds [bytes]."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * resource.getpagesize()


def growth(work):
    """Bytes that Python and the process hold more after some work."""
    gc.collect()
    before, resident_before = tracemalloc.get_traced_memory()[0], resident()
    work()
    gc.collect()
    return tracemalloc.get_traced_memory()[0] - before, resident() - resident_before


@pytest.mark.skipif(not Path("/proc/self/statm").exists(), reason="the system has no /proc")
def test_thousands_of_steps_leave_memory_as_it_was(system):
    """Neither Python nor anything below it holds more after 20 000 steps in a hundred calls."""
    model = compile_network(
        ws.assemble(*system), ws.EngineGas(), ws.Settings(cell_length=0.1), engine=system[0],
        rpm=6000.0, samples=72,
    )

    def steps(calls):
        for _ in range(calls):
            march(
                model.net, model.state, model.work, model.record, model.inner, model.face, 1e9, 200
            )

    tracemalloc.start()
    try:
        steps(100)  # sets up what stays, such as Python's stock of small numbers
        spells = [growth(lambda: steps(100)) for _ in range(3)]
    finally:
        tracemalloc.stop()
    grown, resident_grown = min(spells)  # other threads may ask for memory in one of them
    assert grown < 50_000 and resident_grown < 1_000_000  # no object is as small as 3 bytes a step
