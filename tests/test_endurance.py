"""Endurance: random systems run or say why not; long runs neither drift nor allocate.

Each random case either runs, with its ledger closed, positive pressures and no NaN, or ends with
one clear sentence.  The number of steps is bounded, so that none can hang.
"""

import math
import re
from datetime import timedelta

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from random_systems import engines, networks

import wavesim as ws
from wavesim.run import simulate

LEDGER = 1e-10
CASES = 50  # of each kind
MORE = 500
#: NaN says that there is no such number: no power, no heat, no fuel, no flow.
MAY_LACK = {
    "bsfc", "heat_loss", "indicated_efficiency", "lambda", "air_fuel_ratio", "trapping_efficiency",
    "exhaust_temperature",
}
ENGINE_SETTINGS = ws.Settings(
    cell_length=0.1, sample_deg=10.0, min_cycles=1, max_cycles=2, max_steps_per_cycle=40_000
)


def random_cases(count, **options):
    """Hypothesis settings: `count` cases, the same ones in every run unless told otherwise."""
    return settings(
        max_examples=count, deadline=timedelta(seconds=60), database=None,
        suppress_health_check=list(HealthCheck), **options,
    )


def check_sentence(error):
    """One sentence for people: who, what, where; no traceback words, no empty brackets."""
    text = str(error)
    assert re.search(r"[A-Za-z]{3}", text) and len(text) > 25 and text.endswith("."), text
    assert not re.search(r"Traceback|<.* object at|IndexError|KeyError", text), text


def check_network(build):
    """Draw a network, run it, check it."""
    try:
        network, duration, gas, how, states = build()
        done = simulate(network, duration, gas=gas, settings=how, initial=states, samples=20)
    except ws.WavesimError as error:
        check_sentence(error)
        return False
    for name, last in done.final.items():
        for quantity in ("rho", "p", "T"):
            assert np.all(last[quantity] > 0.0) and np.all(np.isfinite(last[quantity])), name
        assert np.all(np.isfinite(last["u"])), name
    assert np.all(np.isfinite(done.samples.cells)) and np.all(done.samples.cells[:, 0] > 0.0)
    assert abs(done.audit["mass_error"]) < LEDGER and abs(done.audit["energy_error"]) < LEDGER
    return True


def check_engine(build):
    """Draw an engine, run two cycles, check them."""
    try:
        engine, exhaust, rpm = build()
        point = ws.run_point(engine, exhaust, rpm, settings=ENGINE_SETTINGS)
    except ws.WavesimError as error:
        check_sentence(error)
        return False
    lacking = {name for name, value in point.values.items() if math.isnan(value)}
    assert lacking <= MAY_LACK
    assert np.all(np.isfinite(point.samples.cells)) and np.all(point.samples.cells[:, 0] > 0.0)
    assert abs(point.audit["mass_error"]) < LEDGER and abs(point.audit["energy_error"]) < LEDGER
    return True


def drawn(data, strategy):
    return lambda: data.draw(strategy())


@given(st.data())
@random_cases(CASES, derandomize=True)
def test_random_networks_run_or_say_why_not(data):
    check_network(drawn(data, networks))


@given(st.data())
@random_cases(CASES, derandomize=True)
def test_random_engines_run_or_say_why_not(data):
    check_engine(drawn(data, engines))


@pytest.mark.nightly
@given(st.data())
@random_cases(MORE, print_blob=True)
def test_many_random_networks_run_or_say_why_not(data):
    check_network(drawn(data, networks))


@pytest.mark.nightly
@given(st.data())
@random_cases(MORE, print_blob=True)
def test_many_random_engines_run_or_say_why_not(data):
    check_engine(drawn(data, engines))
