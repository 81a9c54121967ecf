"""The method of characteristics: what it does right, to which order, and what it cannot do.

It shares all ends and stores with the finite-volume scheme and nothing else, so that agreement of
both on one network says something about each.
"""

from functools import cache

import case_conservation as networks
import numpy as np
import pytest
from case_smooth_wave import (
    MESHES,
    acoustic_error,
    drift_error,
    nozzle_error,
    slope,
)
from case_two_schemes import (
    AMPLITUDE,
    FW4,
    JOINTS,
    PUBLISHED_MESH,
    RPM,
    SCHEMES,
    burst_audit,
    cycle,
    ideal,
    rms,
    shock_speed,
    steepened,
    valve_pressure,
    wall_pressure,
)
from marches import AIR, C0, GAMMA, P0, T0, R, cut, march_tube, modes

import wavesim as ws
from wavesim import exact
from wavesim.arrays.compile import compile_network
from wavesim.kernels import flat as f

LINES = ideal("characteristics")
FIRST_ORDER = pytest.approx(1.0, abs=0.15)


def quietest(model):
    """Largest Mach number in a network."""
    return max(
        np.abs(model.state.U[f.M, lo:hi] / model.state.U[f.R, lo:hi]).max() / C0
        for lo, hi in model.ducts.values()
    )


# --- what must hold to round-off ------------------------------------------------------------------


@pytest.mark.parametrize("junction", networks.MODELS)
@pytest.mark.parametrize("warmer", [0.0, 100.0], ids=["even", "hot and cold"])
def test_gas_at_rest_stays_at_rest_in_any_network(junction, warmer):
    """10 000 steps through cones, steps, junctions, volumes, holes and open ends."""
    net = networks.many_parts(junction, networks.OPEN, (networks.REST, networks.REST))
    start = {name: (P0, 0.0, T0 + warmer * i, "burned") for i, name in enumerate(net.ducts)}
    model = compile_network(net, AIR, ws.Settings(scheme="characteristics"), initial=start)
    _, steps = networks.run_model(model, 1e9, 10_000)
    assert steps == 10_000
    assert quietest(model) < 1e-12


def contact(cells, u=50.0, t=1.2e-3):
    """Hot burned gas behind cold air at one speed and pressure; the cells no wall has reached."""

    def start(x):
        hot = x < 1.3
        return 1e5 + 0.0 * x, u + 0.0 * x, np.where(hot, 900.0, 300.0), (0.0 * x, 1.0 * hot)

    final = march_tube(start, 3.0, cells, t, settings=LINES).final["d"]
    quiet = (final["x"] > 1.0) & (final["x"] < 1.8)
    return {name: values[quiet] for name, values in final.items()}


def test_contact_is_carried_along_path_lines_without_any_noise():
    """Pressure and velocity stay even to round-off, the mass on both sides of it is kept, and it
    stands where the flow has carried it; it is smeared over a width that falls as sqrt(dx).
    """
    widths = []
    for cells in (300, 1200):
        gas = contact(cells)
        dx = gas["x"][1] - gas["x"][0]
        assert np.abs(gas["p"] / 1e5 - 1.0).max() < 1e-12
        assert np.abs(gas["u"] / 50.0 - 1.0).max() < 1e-12
        hot, cold = (1e5 / (R * T) for T in (900.0, 300.0))
        place = gas["x"][0] - 0.5 * dx + dx * np.sum((gas["rho"] - cold) / (hot - cold))
        assert place == pytest.approx(1.3 + 50.0 * 1.2e-3, abs=0.02 * dx)
        burned = gas["rho"] * gas["burned"]
        assert gas["x"][0] - 0.5 * dx + dx * burned.sum() / hot == pytest.approx(
            place, abs=0.02 * dx
        )
        widths.append(dx * (cold - hot) / np.diff(gas["rho"]).max())
    assert widths[0] / widths[1] == pytest.approx(2.0, rel=0.15)


# --- order ----------------------------------------------------------------------------------------


def test_steepening_sound_pulse_converges_with_order_one():
    errors = np.array([acoustic_error(n, settings=LINES) for n in MESHES])
    assert slope(MESHES, errors[:, 0]) == FIRST_ORDER
    assert slope(MESHES, errors[:, 1]) == FIRST_ORDER
    assert errors[-1, 0] < 2e-4 and errors[-1, 1] < 3e-3


@pytest.mark.parametrize("quantity", ["rho", "burned"])
def test_smooth_contact_is_carried_with_order_one(quantity):
    errors = np.array([drift_error(n, quantity, settings=LINES) for n in MESHES])
    assert slope(MESHES, errors) == FIRST_ORDER
    assert errors[-1] < 2e-3


def test_steady_flow_through_a_cone_converges_with_order_one():
    """Area change and open ends; Shapiro (1953) ch. 4."""
    meshes = np.array([20, 40, 80])
    errors = np.array([nozzle_error(n, settings=LINES) for n in meshes])
    assert slope(meshes, errors[:, 0]) == FIRST_ORDER
    assert slope(meshes, errors[:, 1]) == FIRST_ORDER
    assert errors[-1, 0] < 5e-4 and errors[-1, 1] < 8e-3


@cache
def heated_flow(scheme, cells):
    """Steady flow through a hot bend: mass flow [kg/s] and rise of temperature [K]."""
    length = 1.0
    net = ws.Network(
        {"d": ws.Bend(radius=length / np.pi * 2.0, angle_deg=90.0, diameter=0.04,
                      wall_temperature=700.0, cell_length=length / cells)},
        {"in": cut("d.start", 1.1e5), "out": cut("d.end")},
    )
    result = ws.simulate(
        net, 0.1, gas=AIR, settings=ws.Settings(scheme=scheme), samples=2,
        initial={"d": (P0, 50.0, T0, "air")},
    )
    assert result.audit["wall_heat"] > 0.0
    final = result.final["d"]
    rise = np.interp(0.9 * length, final["x"], final["T"]) - T0
    return np.array([result.trace("mass_flow", "out").values[-1], rise])


def test_friction_and_wall_heat_bring_the_flow_of_the_other_scheme():
    meshes = np.array([25, 50, 100])
    goal = heated_flow("finite volume", 100)
    errors = np.abs([heated_flow("characteristics", n) / goal - 1.0 for n in meshes])
    assert slope(meshes, errors[:, 0]) == pytest.approx(1.0, abs=0.25)
    assert slope(meshes, errors[:, 1]) == pytest.approx(1.0, abs=0.25)
    assert errors[-1].max() < 5e-3


# --- waves ----------------------------------------------------------------------------------------

def test_sine_wave_steepens_as_published():
    """FW-4: half-way to breaking, on a mesh as fine as the first order needs."""
    xi, u, _ = steepened("characteristics", PUBLISHED_MESH["characteristics"])
    for row in FW4:
        assert np.interp(row.case["xi"], xi, u) == pytest.approx(
            row.value, abs=5e-3 * AMPLITUDE
        ), row.label


@pytest.mark.parametrize("ends", ["closed-closed", "closed-open"])
def test_organ_pipe_sounds_its_modes(ends):
    """AC-1 and AC-3, first three modes within 0.3 %."""
    length, cells, periods = 1.0, 100, 15
    last = ws.ClosedEnd("d.end") if ends == "closed-closed" else cut("d.end")
    net = ws.Network(
        {"d": ws.Pipe(length, 0.05, cell_length=length / cells)},
        {"wall": ws.ClosedEnd("d.start"), "end": last},
    )

    def start(x):
        q = 1e-4 * np.sin(np.pi * np.clip(x / (0.3 * length), 0.0, 1.0)) ** 2
        return P0 * (1.0 + q), 0.0 * x, T0 * (1.0 + q) ** (0.4 / 1.4), "air"

    result = ws.simulate(
        net, 2.0 * periods * length / C0, gas=AIR, settings=LINES, samples=100 * periods,
        initial={"d": start},
    )
    trace = result.trace("pressure", "wall")
    theory = exact.pipe_modes(length, ends, 3, C0)
    found = modes(trace.values[100:] / P0, trace.x[1], theory)
    assert found == pytest.approx(theory, rel=3e-3)


@pytest.mark.parametrize("ratio, bound", [(1.1, 1e-5), (1.5, 1e-4), (2.0, 3e-4)])
def test_weak_riemann_problem_reaches_its_star_state(ratio, bound):
    """The error is that of a shock's entropy, of third order in its strength (RP-10: ratio 2)."""
    def start(x):
        return np.where(x < 1.0, ratio, 1.0) * 1e5, 0.0 * x, T0 + 0.0 * x, "air"

    final = march_tube(start, 2.0, 400, 1e-3, settings=LINES).final["d"]
    tube = exact.solve_riemann(
        (ratio * 1e5 / (R * T0), 0.0, ratio * 1e5), (1e5 / (R * T0), 0.0, 1e5), GAMMA
    )
    edges = 1.0 + 1e-3 * np.array([tube.left_wave[1], tube.right_wave[0]])
    middle = np.abs(final["x"] - edges.mean()) < 0.1 * np.ptp(edges)
    assert final["p"][middle] == pytest.approx(tube.p_star, rel=bound)
    assert final["u"][middle] == pytest.approx(tube.u_star, rel=10.0 * bound)


def test_open_end_chokes_at_the_sonic_state_of_the_fan():
    """Still gas of 4 bar before an open end: the face takes the sonic ray of the centred fan,
    Landau and Lifshitz, Fluid Mechanics, ch. X.
    """
    net = ws.Network(
        {"d": ws.Pipe(2.0, 0.05, cell_length=0.02)}, {"wall": ws.ClosedEnd("d.start"),
                                                     "out": cut("d.end")},
    )
    result = ws.simulate(
        net, 3e-3, gas=AIR, settings=LINES, samples=50, initial={"d": (4e5, 0.0, T0, "air")}
    )
    speed = 2.0 / (GAMMA + 1.0)
    p = result.trace("pressure", "out").values[5:]
    v = result.trace("velocity", "out").values[5:]
    assert v == pytest.approx(speed * C0, rel=1e-6)
    assert p == pytest.approx(4e5 * speed ** (2.0 * GAMMA / (GAMMA - 1.0)), rel=1e-6)


def test_gas_leaves_an_open_end_faster_than_sound():
    start = (P0, 1.5 * C0, T0, "air")
    net = ws.Network(
        {"d": ws.Pipe(1.0, 0.05, cell_length=0.02)},
        {"far": ws.ClosedEnd("d.start"), "out": cut("d.end")},
    )
    result = ws.simulate(net, 1e-3, gas=AIR, settings=LINES, samples=20, initial={"d": start})
    assert result.trace("velocity", "out").values == pytest.approx(1.5 * C0, rel=1e-9)
    assert result.trace("pressure", "out").values == pytest.approx(P0, rel=1e-9)


# --- what it cannot do ----------------------------------------------------------------------------


@pytest.mark.parametrize("mach, error", [(1.2, 0.001), (1.5, -0.029), (2.0, -0.107)])
def test_shock_runs_at_a_wrong_speed_on_any_mesh(mach, error):
    """A limit of the method, not of the mesh; the finite-volume scheme is right within 0.03 %."""
    for cells in (400, 800):
        assert shock_speed("characteristics", mach, cells) == pytest.approx(error, abs=2e-3)
        assert abs(shock_speed("finite volume", mach, cells)) < 3e-4


@pytest.mark.parametrize("ratio, mass, energy", [(2.0, 1e-3, 9e-4), (5.0, 2e-2, 5e-2)])
def test_shocks_in_a_closed_tube_spoil_mass_and_energy(ratio, mass, energy):
    """The audit says so, and a finer mesh does not help; finite volume keeps both."""
    for cells in (100, 400):
        wrong = burst_audit("characteristics", ratio, cells)
        right = burst_audit("finite volume", ratio, cells)
        assert abs(wrong["mass_error"]) > mass and abs(wrong["energy_error"]) > energy
        assert abs(right["mass_error"]) < 1e-12 and abs(right["energy_error"]) < 1e-12


def test_smooth_waves_in_a_closed_tube_keep_mass_the_better_the_finer():
    def start(x):
        q = 0.02 * np.cos(np.pi * x)
        return P0 * (1.0 + q), 0.0 * x, T0 * (1.0 + q) ** (0.4 / 1.4), "air"

    errors = [
        abs(march_tube(start, 1.0, cells, 5e-3, settings=LINES).audit["energy_error"])
        for cells in (50, 100, 200)
    ]
    assert errors[0] > 1.6 * errors[1] > 1.6**2 * errors[2]
    assert errors[2] < 1e-5


def test_violent_shock_stops_with_an_error_that_says_where():
    """Toro's test 3, a pressure ratio of 100 000."""
    def start(x):
        left = x < 0.5
        return np.where(left, 1e8, 1e3), 0.0 * x, np.where(left, 3e7, 3e2), "air"

    with pytest.raises(ws.SolverError, match="Unphysical state in duct 'd' at x = 0.5"):
        march_tube(start, 1.0, 100, 1e-3, settings=LINES)


def test_engine_gas_is_refused():
    net = ws.Network({"d": ws.Pipe(1.0, 0.05)}, {"a": ws.ClosedEnd("d.start"), "b": cut("d.end")})
    with pytest.raises(ws.InputError, match="'characteristics' needs a gas of constant heat"):
        ws.simulate(net, 1e-3, gas=ws.EngineGas(), settings=LINES)


def test_perforated_wall_is_refused_by_name():
    net = ws.Network(
        {"core": ws.Pipe(0.2, 0.05), "shell": ws.Pipe(0.2, 0.1)},
        {
            "a": cut("core.start"), "b": cut("core.end"), "c": ws.ClosedEnd("shell.start"),
            "d": ws.ClosedEnd("shell.end"),
            "holes": ws.Perforate("core", "shell", hole_diameter=0.003, porosity=0.1,
                                  wall_thickness=0.001),
        },
    )
    with pytest.raises(ws.InputError, match="does not know the perforated wall 'holes'"):
        ws.simulate(net, 1e-3, gas=AIR, settings=LINES)


# --- both schemes on one network ------------------------------------------------------------------


@pytest.mark.parametrize("joint", JOINTS)
def test_both_schemes_agree_on_the_echo_of_every_node(joint):
    """The gap closes with order one, to within 2 % of the amplitude, rms, on 2.5 mm cells."""
    gaps = []
    for dx in (0.01, 0.005, 0.0025):
        one, other = (wall_pressure(scheme, dx, joint) for scheme in SCHEMES)
        gaps.append(rms(one - other) / np.ptp(one))
    assert gaps[0] > 1.5 * gaps[1] > 1.5**2 * gaps[2]
    assert gaps[2] < 0.02


CELLS = [0.02, 0.01, 0.005]


@pytest.mark.parametrize("rpm", RPM)
def test_both_schemes_agree_on_the_pulse_at_the_exhaust_valve(rpm):
    """Within 2 % of the amplitude, rms over the cycle, from 10 mm cells on; less on finer ones."""
    gaps = []
    for dx in CELLS:
        one, other = (valve_pressure(scheme, dx, rpm) for scheme in SCHEMES)
        gaps.append(rms(one - other) / np.ptp(one))
    assert gaps[1] < 0.02
    assert gaps[2] < 0.01
    assert gaps[0] > 1.4 * gaps[1] > 1.4**2 * gaps[2]


@pytest.mark.parametrize("rpm", RPM)
def test_both_schemes_converge_on_the_engine(rpm):
    """Differences between successive meshes, mean over the cycle.  Valves that open with kinks and
    contacts that they make hold the finite-volume scheme below its second order here; it is closer
    to its limit on the coarsest mesh than the characteristics on the finest.
    """
    orders, last = {}, {}
    for scheme in SCHEMES:
        a, b, c = (valve_pressure(scheme, dx, rpm) for dx in CELLS)
        steps = np.mean(np.abs(a - b)), np.mean(np.abs(b - c))
        orders[scheme], last[scheme] = np.log2(steps[0] / steps[1]), steps
    assert 0.6 < orders["characteristics"] < 1.1
    assert orders["finite volume"] > 0.75
    assert last["finite volume"][0] < last["characteristics"][1]


@pytest.mark.parametrize("rpm", RPM)
def test_audit_of_the_engine_shows_what_is_not_conserved(rpm):
    errors = np.abs([
        [cycle("characteristics", dx, rpm).audit[name] for dx in CELLS]
        for name in ("mass_error", "energy_error")
    ])
    assert (errors[:, 0] > 1.5 * errors[:, 1]).all() and (errors[:, 1] > 1.5 * errors[:, 2]).all()
    assert errors[0, -1] < 0.02 and errors[1, -1] < 1e-3
    assert abs(cycle("finite volume", 0.005, rpm).audit["mass_error"]) < 1e-10


def test_outflow_to_the_air_is_that_of_the_other_scheme():
    """Torque and air of the single cylinder, at the finest mesh."""
    one, other = (cycle(scheme, CELLS[-1], 3000.0) for scheme in SCHEMES)
    assert other.values["torque"] == pytest.approx(one.values["torque"], rel=0.01)
    air = "volumetric_efficiency"
    assert other.values[air] == pytest.approx(one.values[air], rel=0.01)
