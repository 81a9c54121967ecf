"""The cylinder kernels: piston, burning law, wall heat, and compression without losses.

Heywood, Internal Combustion Engine Fundamentals (1988); Wiebe (1962); Woschni, SAE 670931 (1967);
rows TH-2, TH-3 and HT-3 of the reference table.
"""

import numpy as np
import pytest
from case_motored_cylinder import (
    BORE,
    ROD,
    STROKE,
    charge,
    crank,
    row_of,
    sampled,
    sealed_model,
    travel,
    volumes,
    woschni,
)
from references import reference, references

import wavesim as ws
from wavesim import exact
from wavesim.descriptions.valves import seat_events
from wavesim.kernels import cylinder
from wavesim.kernels import flat as f

TRAVELS = [row for row in references("TH-2") if row.quantity == "travel"]


@pytest.mark.parametrize("row", TRAVELS, ids=[row.label for row in TRAVELS])
def test_piston_stands_where_the_slider_crank_puts_it(row):
    """TH-2."""
    assert travel(row.case["theta_deg"]) == pytest.approx(row.value, abs=row.tolerance)


def test_volumes_of_the_example_cylinder():
    """TH-2: clearance, displacement, volume at 90 deg."""
    for quantity, value in volumes().items():
        row = reference("TH-2", quantity)
        assert value == pytest.approx(row.value, abs=row.tolerance)


@pytest.mark.parametrize("offset", [-0.004, 0.0, 0.008])
@pytest.mark.parametrize("phase", [0.0, 180.0, 540.0])
def test_offset_pin_and_phase_move_the_piston_as_in_the_exact_solution(offset, phase):
    theta = np.linspace(-200.0, 900.0, 111)
    cyl = row_of(PIN=offset, PHASE=phase)
    found = [cylinder.volume(cyl, angle) for angle in theta]
    down = exact.crank_travel(theta - phase, STROKE, ROD, offset)
    assert found == pytest.approx(cyl[f.CLEARANCE] + 0.25 * np.pi * BORE**2 * down, rel=1e-12)


PROGRESS = [
    row for row in references("TH-3")
    if row.quantity == "progress" and row.case["a"] == cylinder.WIEBE_A
]


@pytest.mark.parametrize("row", PROGRESS, ids=[row.label for row in PROGRESS])
def test_charge_burns_as_wiebe_says(row):
    """TH-3; the kernel scales the law so that all has burned at its end."""
    burned = cylinder.wiebe(row.value, row.case["shape"])
    assert burned * (1.0 - np.exp(-cylinder.WIEBE_A)) == pytest.approx(
        row.case["burned"], abs=3e-6
    )


@pytest.mark.parametrize("start", [-25.0, -5.0, 3.0, 700.0])
@pytest.mark.parametrize("step", [0.7, 13.0])
def test_all_of_the_charge_burns_once_in_every_cycle(start, step):
    """However the steps fall on the spark and on the end of the cycle."""
    cyl = row_of(SOC=start, DURATION=60.0, WIEBE_M=2.0)
    for begin in (0.0, 350.0, 719.0, 1440.0):
        edges = np.append(np.arange(begin, begin + 720.0, step), begin + 720.0)
        shares = [cylinder.heat_release(cyl, a, b) for a, b in zip(edges, edges[1:], strict=False)]
        assert sum(shares) == pytest.approx(1.0, abs=1e-12)
        assert min(shares) >= 0.0


def test_woschni_coefficient_has_its_published_size():
    """HT-3 before the spark; the gas exchange has 6.18 in place of 2.28."""
    row = reference("HT-3", "woschni_closed")
    given = row.case
    state = (given["p"], given["T"], given["piston_speed"])
    closed = woschni(*state, angle=600.0)
    assert closed == pytest.approx(row.value, rel=1e-4)
    assert woschni(*state, angle=300.0) / closed == pytest.approx((6.18 / 2.28) ** 0.8, rel=1e-12)


@pytest.mark.parametrize("fill", [(0.0, 0.0), (1.0, 0.0), (0.2, 0.8)])
@pytest.mark.parametrize("gas", [ws.PerfectGas(1.35), ws.EngineGas()], ids=["perfect", "engine"])
def test_sealed_cylinder_compresses_and_expands_without_change_of_entropy(gas, fill):
    """A whole cycle from bottom dead centre and back: temperature against the integral of
    cv/T dT = -R dV/V of the same gas (Heywood 1988 sec. 4.4), 0.1 %; the end state is the start.
    """
    from scipy.integrate import quad
    from scipy.optimize import brentq

    model = sealed_model(gas)
    cyl = model.net.cyl_par[0]
    yf, yb = fill
    T_bottom, p_bottom = 330.0, 1e5
    v_bottom, v_top = cylinder.volume(cyl, 180.0), cylinder.volume(cyl, 0.0)

    def entropy(T):
        return quad(lambda t: float(gas.cv(t, yf, yb)) / t, T_bottom, T, epsrel=1e-11)[0]

    squeeze = float(gas.R(yf, yb)) * np.log(v_bottom / v_top)
    T_top = brentq(lambda T: entropy(T) - squeeze, T_bottom, 3000.0)
    mass = v_bottom * float(gas.density(p_bottom, T_bottom, yf, yb))
    charge(model, 1, mass, T_top, fill)
    row = model.stores["cylinder 1"]
    energy = model.state.store[row, f.SE]
    crank(model, 720.0)
    p, T, kept = sampled(model, 1)
    assert kept == pytest.approx(mass, rel=1e-12)
    assert T[180] == pytest.approx(T_bottom, rel=1e-3)
    assert p[180] == pytest.approx(p_bottom, rel=1e-3)
    assert T[360] == pytest.approx(T_top, rel=1e-3)
    assert T[540] == pytest.approx(T_bottom, rel=1e-3)
    assert model.state.store[row, f.SE] == pytest.approx(energy, rel=1e-3)
    if isinstance(gas, ws.PerfectGas):
        assert p[180] / p[0] == pytest.approx((v_top / v_bottom) ** 1.35, rel=1e-3)


def motored(cfl):
    """(work of a turn, heat to the walls, energy at top dead centre) of a sealed cylinder."""
    gas = ws.PerfectGas(1.35)
    model = sealed_model(gas, wall_heat=True)
    model.net.options[f.CFL] = cfl
    charge(model, 3, 6e-4, 350.0, (0.0, 0.0))  # cylinder 3 is at bottom dead centre
    crank(model, 180.0)
    energy = model.state.store[model.stores["cylinder 3"], f.SE]
    crank(model, 360.0)
    sums = model.record.cyl_sum[2]
    return np.array([sums[f.WORK_3] + sums[f.WORK_0], sums[f.WALL_LOSS], energy])


def test_piston_work_and_wall_heat_converge_with_second_order():
    """Steps half as long and half again, with the jump of Woschni's coefficient between valves open
    and closed: the differences fall to a quarter.
    """
    found = np.array([motored(cfl) for cfl in (0.4, 0.2, 0.1)])
    first, second = np.abs(np.diff(found, axis=0))
    assert np.all(first > 3.0 * second)


def test_a_valve_event_on_the_border_of_two_slices_is_never_missed():
    """Trapped gas is read in every cycle, wherever the intake valve closes."""
    study = ws.load(ws.demo_path("collector"))
    valve = study.engine.intake_valve
    closes = seat_events(valve, "intake")[1]
    for target in (590.0, 600.0):
        engine = ws.vary(study.engine, "intake_valve.advance_deg", closes - target)
        point = ws.run_point(
            engine, study.exhausts["short collector"], 5000.0,
            settings=ws.Settings(cell_length=0.03, tolerance=1e-2),
        )
        assert point.trapped_air > 0.5 * point.air_per_cycle
        assert 0.0 < point.residual_fraction < 0.5
