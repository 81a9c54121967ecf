"""What waves do at ends, steps, contacts and junctions, small ones and large ones.

Small waves: Pierce, Acoustics (1981) ch. 7; Kinsler et al. (2000) ch. 6 (rows AC-16 to 18).  Large
waves: Rudinger (1969); Benson (1982); Liepmann and Roshko (1957) (rows FW-*).  A wave is sent down
the duct "a"; pressures are read beside the node while its plateau stands there.
"""

import numpy as np
import pytest
from case_area_step import CONTRACTIONS, EXPANSIONS, LOSS_FREE, STEPS, beside, over_step
from case_junction_waves import (
    BORE,
    EQUAL,
    HOMENTROPIC,
    IN_LINE,
    MEETINGS,
    MODELS,
    TEE,
    UNEQUAL,
    constant_pressure_junction,
    equal_pipes,
    four_into_one,
    small_wave,
    through_junction,
)
from case_shock_ends import MOUTH_ROWS, WALL_ROWS, at_wall, exit_state
from case_travel_times import echo
from marches import AIR, C0, GAMMA, IDEAL, P0, T0, R, cut, endless, send_wave
from plateaus import LONG, SHORT, SMALL, near, share
from references import reference, references

import wavesim as ws
from wavesim import exact

# small waves ----------------------------------------------------------------------------------


@pytest.mark.parametrize("model", MODELS)
@pytest.mark.parametrize("row", EQUAL, ids=[row.label for row in EQUAL])
def test_equal_pipes_share_a_small_wave(row, model):
    """AC-17: R = (2 - n)/n, T = 2/n within 1 %."""
    reflected, passed = equal_pipes(row.case["pipes"], model)
    assert reflected == pytest.approx(row.value, abs=0.01)
    assert passed == pytest.approx(1.0 + row.value, abs=0.01)


@pytest.mark.parametrize("model", MODELS)
@pytest.mark.parametrize("incident", ["primary", "collector"])
def test_four_primaries_and_a_collector_share_a_small_wave(incident, model):
    """AC-17: four 40 mm primaries at 15 deg to the axis of a 60 mm collector."""
    found = four_into_one(incident, model)
    for quantity, value in zip(("reflection", "transmission"), found, strict=True):
        row = reference("AC-17", quantity, incident=incident)
        assert value == pytest.approx(row.value, abs=0.01)


@pytest.mark.parametrize("model", MODELS)
@pytest.mark.parametrize("bores", UNEQUAL)
def test_unequal_pipes_share_a_small_wave_by_their_areas(bores, model):
    reflected, passed = small_wave(bores, model)
    theory = exact.junction([d * d for d in bores])
    assert reflected == pytest.approx(theory.reflection, abs=0.01)
    assert passed == pytest.approx(theory.transmission, abs=0.01)


@pytest.mark.parametrize("row", STEPS, ids=[row.label for row in STEPS])
def test_step_reflects_and_passes_a_small_wave_by_its_areas(row):
    """AC-16, within 0.005."""
    result = over_step(1.0 + SMALL, row.case["area_ratio"])
    assert share(result, "a", "end") - 1.0 == pytest.approx(row.value, abs=5e-3)
    assert share(result, "b", "start") == pytest.approx(1.0 + row.value, abs=5e-3)


@pytest.mark.parametrize("hot_first", [True, False])
def test_contact_of_hot_and_cold_gas_reflects_a_small_wave(hot_first):
    """AC-18 between two ducts of one bore; from cold to hot the sign turns."""
    given = references("AC-18")[0].case
    T1, T2 = (given["T_1"], given["T_2"])[:: 1 if hot_first else -1]
    theory = exact.temperature_contact(T1, T2)
    if hot_first:
        assert theory.reflection == pytest.approx(reference("AC-18", "reflection").value, abs=1e-6)
    result = send_wave(
        1.0 + SMALL, {"a": (LONG, 0.04), "b": (SHORT, 0.04)},
        {"far": endless("a.start", temperature=T1), "end": endless("b.end", temperature=T2),
         "joint": ws.AreaStep(("a.end", "b.start"))},
        T=T1, others=T2, hold=0.25,
    )
    assert share(result, "a", "end") - 1.0 == pytest.approx(theory.reflection, abs=5e-3)
    assert share(result, "b", "start") == pytest.approx(theory.transmission, abs=5e-3)


def test_contact_inside_a_duct_reflects_a_small_wave():
    """AC-18 with the contact between two cells."""
    given = references("AC-18")[0].case
    T1, T2 = given["T_1"], given["T_2"]
    c1 = exact.sound_speed(T1, GAMMA, R)

    def start(x):
        q = SMALL * np.clip((3.0 - x) / 0.3, 0.0, 1.0)
        return P0 * (1.0 + q), q * c1 / GAMMA, np.where(
            x < 3.0, T1 * (1.0 + q) ** (0.4 / 1.4), T2), "air"

    net = ws.Network(
        {"a": ws.Pipe(4.5, 0.04, cell_length=0.01)},
        {"far": endless("a.start", temperature=T1), "end": endless("a.end", temperature=T2)},
    )
    final = ws.simulate(
        net, 0.6 / c1, gas=AIR, settings=IDEAL, initial={"a": start}, samples=0
    ).final["a"]
    contact = 300  # cells before the contact
    before = (final["p"][contact - 12 : contact - 2].mean() / P0 - 1.0) / SMALL
    beyond = (final["p"][contact + 2 : contact + 12].mean() / P0 - 1.0) / SMALL
    assert before - 1.0 == pytest.approx(reference("AC-18", "reflection").value, abs=5e-3)
    assert beyond == pytest.approx(reference("AC-18", "transmission").value, abs=5e-3)


def test_anechoic_end_swallows_a_wave():
    """Less than 0.02 % of a small wave and 0.5 % of a large one comes back."""
    for p_ratio, allowed in ((1.0 + SMALL, 2e-4), (1.3, 5e-3)):
        result = send_wave(
            p_ratio, {"a": (LONG, 0.05)}, {"far": endless("a.start"), "end": endless("a.end")},
            hold=0.25,
        )
        assert abs(near(result, "a", "end") - p_ratio) < allowed * (p_ratio - 1.0)


# waves of finite amplitude --------------------------------------------------------------------


def at_end(p_ratio, end, hold=0.1):
    return send_wave(
        p_ratio, {"a": (LONG, 0.05)}, {"far": endless("a.start"), "end": end}, hold=hold,
        dx=0.005, samples=400,
    )


@pytest.mark.parametrize("p_ratio", [0.5, 0.8, 1.1, 1.2, 1.5, 2.0])
def test_simple_wave_carries_the_published_velocity(p_ratio):
    """FW-1: p, u and c of a wave that has run 0.5 m."""
    length = 3.0
    row = {r.quantity: r.value for r in references("FW-1") if r.case["p_ratio"] == p_ratio}
    pressure, velocity, temperature = P0 * p_ratio, row["u"], T0 * (row["c"] / C0) ** 2

    def start(x):
        s = np.clip((2.0 - x) / 0.3, 0.0, 1.0)
        X = 1.0 + (row["c"] / C0 - 1.0) * s
        return P0 * X**7, 5.0 * C0 * (X - 1.0), T0 * X**2, "air"

    net = ws.Network(
        {"a": ws.Pipe(length, 0.05, cell_length=0.01)},
        {"far": ws.AnechoicEnd("a.start", pressure=pressure, temperature=temperature),
         "end": endless("a.end")},
    )
    final = ws.simulate(
        net, 0.5 / C0, gas=AIR, settings=IDEAL, initial={"a": start}, samples=0
    ).final["a"]
    plateau = (final["x"] > 1.45) & (final["x"] < 1.6)
    assert final["p"][plateau] == pytest.approx(pressure, rel=5e-3)
    assert final["u"][plateau] == pytest.approx(velocity, rel=5e-3)


CLOSED = references("FW-2")


@pytest.mark.parametrize("row", CLOSED, ids=[row.label for row in CLOSED])
def test_closed_end_doubles_the_riemann_variable_of_a_wave(row):
    """FW-2, within 0.5 %."""
    found = at_end(row.case["p_ratio"], ws.ClosedEnd("a.end")).trace("pressure", "end").values[-1]
    assert found / P0 == pytest.approx(row.value, rel=5e-3)


#: Pushing waves whose exit stays subsonic; drawing waves take in air and are tested below.
OPEN = [row for row in references("FW-3") if 1.0 < row.case["p_ratio"] < 2.0]


@pytest.mark.parametrize("row", OPEN, ids=[row.label for row in OPEN])
def test_open_end_turns_a_pushing_wave_into_a_drawing_one(row):
    """FW-3, within 0.5 %."""
    result = at_end(row.case["p_ratio"], cut("a.end"))
    if row.quantity == "exit_velocity":
        found = result.trace("velocity", "end").values[-1]
    else:
        u, T = (result.final["a"][name][-3] for name in ("u", "T"))
        back = 1.0 + (np.sqrt(GAMMA * R * T) - C0 - 0.5 * (GAMMA - 1.0) * u) / (2.0 * C0)
        found = back ** (2.0 * GAMMA / (GAMMA - 1.0))
    assert found == pytest.approx(row.value, rel=5e-3)


def test_open_end_is_sonic_where_the_wave_would_leave_faster_than_sound():
    """The row of FW-3 with p/p0 = 2 would leave at Mach 1.04: the exit is sonic instead, and keeps
    the Riemann variable u + 2c/(g-1) that arrives (Rudinger 1969).
    """
    result = at_end(2.0, cut("a.end"), hold=0.4)
    wave = exact.simple_wave(2.0, C0, GAMMA)
    sonic = (wave.u + 5.0 * wave.c) / 6.0
    assert result.trace("velocity", "end").values[-1] == pytest.approx(sonic, rel=5e-3)
    p = P0 * (sonic / C0) ** 7
    assert result.trace("pressure", "end").values[-1] == pytest.approx(p, rel=5e-3)


@pytest.mark.parametrize("p_ratio", [0.8, 0.9])
def test_drawing_wave_takes_in_air_with_its_own_stagnation_enthalpy(p_ratio):
    """Quasi-steady inflow: energy of the air at rest, isentropic to the face, and the arriving
    Riemann variable u + 2c/(g-1) of the duct (Benson 1982).
    """
    from scipy.optimize import brentq

    incident = exact.simple_wave(p_ratio, C0, GAMMA)
    arriving = incident.u + 5.0 * incident.c

    def excess(p):
        """Air velocity at the face less duct velocity, outward; the duct gas is homentropic."""
        duct_c = C0 * (p / P0) ** (0.5 * (GAMMA - 1.0) / GAMMA)
        air = np.sqrt(2.0 / (GAMMA - 1.0) * (C0**2 - duct_c**2))
        return arriving - 5.0 * duct_c + air

    p = brentq(excess, 0.6 * P0, P0 * (1.0 - 1e-12))
    result = at_end(p_ratio, cut("a.end"))
    assert result.trace("pressure", "end").values[-1] == pytest.approx(p, rel=2e-3)
    assert result.trace("velocity", "end").values[-1] == pytest.approx(
        arriving - 5.0 * C0 * (p / P0) ** (1.0 / 7.0), rel=5e-3
    )


@pytest.mark.parametrize("row", WALL_ROWS, ids=[row.label for row in WALL_ROWS])
def test_shock_comes_back_from_a_wall_as_published(row):
    """FW-8, within 0.1 %, read between wall and shock, clear of the heated cells at the wall."""
    assert at_wall(row) == pytest.approx(row.value, rel=1e-3)


@pytest.mark.parametrize("row", MOUTH_ROWS, ids=[row.label for row in MOUTH_ROWS])
def test_shock_at_an_open_end_leaves_as_published(row):
    """FW-9, within 0.1 %: subsonic exits and sonic ones."""
    assert exit_state(row.case["shock_mach"])[row.quantity] == pytest.approx(row.value, rel=1e-3)


def test_supersonic_gas_behind_a_shock_leaves_undisturbed():
    """FW-9 above Ms = 2.07: nothing can run back from the end."""
    state, behind = exit_state(2.5, 0.3), exact.moving_shock(2.5, 1.4)
    assert behind.mach > 1.0
    assert state["p3/p1"] == pytest.approx(behind.pressure, rel=5e-3)
    assert state["u3/c1"] == pytest.approx(behind.u, rel=5e-3)


def test_supersonic_gas_crosses_a_joint_of_equal_bores_undisturbed():
    """A shock of Mach 2.5 and the supersonic gas behind it: the joint is no obstacle."""
    behind = exact.moving_shock(2.5, GAMMA)
    hot, fast, high = T0 * behind.temperature, behind.u * C0, P0 * behind.pressure

    def start(x):
        hit = x < 0.8
        return (
            np.where(hit, high, P0), np.where(hit, fast, 0.0), np.where(hit, hot, T0), "air"
        )

    pipe = ws.Pipe(1.0, 0.05, cell_length=0.005)
    net = ws.Network(
        {"a": pipe, "b": pipe},
        {"far": endless("a.start", high, hot), "end": endless("b.end"),
         "joint": ws.AreaStep(("a.end", "b.start"))},
    )
    final = ws.simulate(
        net, 0.6 / (2.5 * C0), gas=AIR, settings=IDEAL, samples=0,
        initial={"a": start, "b": (P0, 0.0, T0, "air")},
    ).final
    for cells in (final["a"]["p"][-10:], final["b"]["p"][:10]):
        assert cells == pytest.approx(high, rel=2e-2)
    x, p = final["b"]["x"], final["b"]["p"]
    shock = x[np.flatnonzero(p > 0.5 * (high + P0))[-1]]
    assert abs(shock - 0.4) < 2.0 * 0.005


@pytest.mark.parametrize("row", CONTRACTIONS, ids=[row.label for row in CONTRACTIONS])
def test_large_wave_meets_a_loss_free_contraction(row):
    """FW-11, within 1 %: energy and mass, no entropy made.  The drawing wave (p/p0 = 0.8) pulls
    gas out of the narrow duct, with the loss of an enlargement, and still lies within 1 %.
    """
    found = beside(row.case["p_ratio"], row.case["area_ratio"], **LOSS_FREE)
    assert getattr(found, row.quantity) == pytest.approx(row.value, rel=1e-2)


@pytest.mark.parametrize("row", EXPANSIONS, ids=[row.label for row in EXPANSIONS])
def test_large_wave_meets_a_sudden_enlargement_by_the_momentum_law(row):
    """FW-12, within 1 %, and nearer to the momentum law than to the isentropic one."""
    found = getattr(beside(row.case["p_ratio"], row.case["area_ratio"]), row.quantity)
    assert found == pytest.approx(row.value, rel=1e-2)
    other = reference("FW-12", row.quantity, **{**row.case, "law": "isentropic"}).value
    assert abs(found - row.value) < 0.1 * abs(found - other)


@pytest.mark.parametrize("row", MEETINGS, ids=[row.label for row in MEETINGS])
def test_large_wave_at_a_constant_pressure_junction_keeps_energy(row):
    """Against the law of one static pressure with the energy balance kept, within 0.001 %."""
    p_ratio, others = row.case["p_ratio"], int(row.case["others"])
    found = through_junction(p_ratio, (BORE,) * (others + 1), "pressure")
    assert found == pytest.approx(constant_pressure_junction(p_ratio, others), rel=1e-5)


@pytest.mark.parametrize("row", HOMENTROPIC, ids=[row.label for row in HOMENTROPIC])
def test_large_wave_at_a_constant_pressure_junction_is_nearly_homentropic(row):
    """FW-13, within 0.5 %."""
    others = int(row.case["others"])
    found = through_junction(row.case["p_ratio"], (BORE,) * (others + 1), "pressure")
    assert found == pytest.approx(np.full(others + 1, row.value), rel=5e-3)


@pytest.mark.parametrize("model", MODELS)
def test_two_branches_in_line_let_a_large_wave_pass(model):
    """A junction of two equal pipes in line is no obstacle: p/p0 = 1.5 passes within 0.1 %."""
    found = through_junction(1.5, (BORE, BORE), model, IN_LINE)
    assert found == pytest.approx(np.full(2, 1.5), rel=1e-3)


def test_straight_branch_gets_more_of_a_large_wave_than_the_side_branch():
    """A tee keeps the momentum of the wave: the leg in line sees the higher pressure, and the
    side leg of a tee fed through its run the lower (Bassett, Winterbone and Pearson 2001).
    """
    _, run, side = through_junction(1.5, (BORE,) * 3, "momentum", TEE)
    assert run > side * 1.01


def test_wave_returns_from_an_open_end_after_the_travel_time():
    """TU-3: there and back in 2 L/c, within one part in a thousand."""
    assert echo(1.0, C0) == pytest.approx(2.0 / C0, rel=1e-3)
