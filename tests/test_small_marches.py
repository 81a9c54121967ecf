"""Marches of a few cells and a few dozen steps, each against an exact solution; laws of a cylinder.

They run in a fraction of a second, also without the compiler: for that reason most of the faults in
`faults.py` are tried on them.  The sources stand with the solutions in `wavesim.exact`.
"""

import numpy as np
import pytest
from case_conservation import books
from case_motored_cylinder import row_of, sealed_model
from case_organ_pipes import CORRECTION
from case_perforated_resonator import QUIET, two_ducts
from case_smooth_wave import acoustic_error, slope
from marches import AIR, C0, GAMMA, IDEAL, P0, T0, R, cut, endless, march_tube, outside, send_wave

import wavesim as ws
from wavesim import exact
from wavesim.arrays.compile import compile_network
from wavesim.kernels import cylinder
from wavesim.kernels import flat as f
from wavesim.march.advance import march_to

CELL = 0.05  # m
CP = GAMMA * R / (GAMMA - 1.0)


def plateau(result, name, side):
    """Mean of p/p0 in the three cells at one end of a duct."""
    cells = slice(-3, None) if side == "end" else slice(None, 3)
    return result.final[name]["p"][cells].mean() / P0


def frequency(x, values):
    """Frequency [Hz] from the zeros of a signal."""
    i = np.flatnonzero(values[1:] * values[:-1] < 0.0)
    zeros = x[i] - values[i] * (x[i + 1] - x[i]) / (values[i + 1] - values[i])
    assert len(zeros) >= 4
    return 0.5 / np.diff(zeros).mean()


# inside a duct --------------------------------------------------------------------------------


def test_sound_pulse_converges_with_order_two_on_coarse_meshes():
    """As in `test_order`, with a fraction of the cells."""
    meshes = np.array([25, 50, 100])
    errors = np.array([acoustic_error(n) for n in meshes])
    assert slope(meshes, errors[:, 0]) >= 1.85
    assert errors[-1, 0] < 8e-5


def cone_drift(cells):
    """How far isentropic flow through a cone moves off in 4 ms, mean of |dp/p|."""
    length, wide, narrow, p_in, p_out = 0.3, 0.05, 0.042, 1.5e5, 1.2e5
    net = ws.Network(
        {"d": ws.Pipe(length, wide, end_diameter=narrow, cell_length=length / cells)},
        {"in": cut("d.start", p_in), "out": cut("d.end", p_out)},
    )
    exit_mach = exact.mach_from_pressure_ratio(p_out / p_in, GAMMA)

    def steady(x):
        area = net.ducts["d"].area_at(x) / (0.25 * np.pi * narrow**2)
        mach = exact.mach_from_area_ratio(area * exact.area_ratio(exit_mach, GAMMA), GAMMA)
        share = exact.isentropic(mach, GAMMA)
        T = T0 * share.temperature
        return p_in * share.pressure, mach * np.sqrt(GAMMA * R * T), T, "air"

    gas = ws.simulate(
        net, 4e-3, gas=AIR, settings=IDEAL, initial={"d": steady}, samples=0
    ).final["d"]
    return np.abs(gas["p"] / steady(gas["x"])[0] - 1.0).mean()


def test_steady_flow_through_a_cone_stays_the_better_the_finer():
    """Shapiro (1953) ch. 4: what is left falls with the square of the cell length.

    The cone is gentle: in a steep one nothing is left.
    """
    coarse, fine = cone_drift(10), cone_drift(20)
    assert coarse < 5e-4
    assert coarse / fine == pytest.approx(4.0, rel=0.15)


def test_steady_flow_through_a_cone_of_one_cell_stays():
    """Isentropic flow (Shapiro 1953, ch. 4), Mach 0.4 in the narrow pipe, in the mean area of
    every cell: it does not move off in 2 ms.
    """
    parts = (ws.Pipe(0.1, 0.03), ws.Pipe(CELL, 0.03, end_diameter=0.06), ws.Pipe(0.1, 0.06))
    duct = ws.Duct(parts=parts)
    faces = np.linspace(0.0, duct.length, 6)
    area = duct.volume(faces[:-1], faces[1:]) / CELL
    critical = area / area[0] * exact.area_ratio(0.4, GAMMA)
    mach = np.array([exact.mach_from_area_ratio(share, GAMMA) for share in critical])
    share = [exact.isentropic(m, GAMMA) for m in mach]
    p, T = (np.array([getattr(s, name) for s in share]) for name in ("pressure", "temperature"))
    start = P0 * p, mach * np.sqrt(GAMMA * R * T0 * T), T0 * T, "air"
    net = ws.Network({"d": duct}, {"in": cut("d.start"), "out": cut("d.end", P0 * p[-1])})
    settings = IDEAL.replace(cell_length=CELL)
    final = ws.simulate(
        net, 2e-3, gas=AIR, settings=settings, initial={"d": lambda x: start}, samples=0
    ).final["d"]
    assert final["p"] == pytest.approx(start[0], rel=1e-9)
    assert final["u"] == pytest.approx(start[1], rel=1e-8)


def test_fractions_stay_between_what_they_were():
    """Three gases side by side carried along faster than sound; no share may leave 0 to 1."""
    mixtures = np.array([(1.0, 0.0), (0.0, 1.0), (0.0, 0.0), (0.3, 0.4)])

    def start(x):
        fresh, burned = mixtures[(x / (3.0 * CELL)).astype(int) % 4].T
        return 0.0 * x + P0, 0.0 * x + 600.0, 0.0 * x + T0, (fresh, burned)

    final = march_tube(start, 30 * CELL, 30, 1.5e-3).final["d"]
    for share in (final["fresh"], final["burned"], 1.0 - final["fresh"] - final["burned"]):
        assert share.min() > -1e-12 and share.max() < 1.0 + 1e-12


def test_shock_tube_of_fifty_cells_has_no_ripples():
    """Density falls from left to right everywhere in Sod's tube, within 0.2 % of the left one."""

    def start(x):
        left = x < 0.5
        return np.where(left, 1e5, 1e4), 0.0 * x, np.where(left, 1.0, 0.8) * 348.4, "air"

    rho = march_tube(start, 1.0, 50, 6e-4).final["d"]["rho"]
    assert np.diff(rho).max() < 2e-3 * rho[0]


@pytest.mark.parametrize("scheme", ["finite volume", "characteristics"])
@pytest.mark.parametrize("u", [-50.0, 50.0])
@pytest.mark.parametrize("t", [2e-4, 1.2e-3])
def test_contact_of_hot_and_cold_gas_moves_with_the_flow(scheme, u, t):
    """To a fiftieth of a cell, by the mass on both sides; nothing lighter nor denser appears, and
    pressure and velocity stay even.
    """
    length = 3.0

    def start(x):
        return P0 + 0.0 * x, u + 0.0 * x, np.where(x < 0.5 * length, 900.0, 300.0), "air"

    gas = march_tube(start, length, 60, t, settings=IDEAL.replace(scheme=scheme)).final["d"]
    seen = (gas["x"] > 1.0) & (gas["x"] < 2.0)  # no wave from a wall has come here
    hot, cold = P0 / (R * 900.0), P0 / (R * 300.0)
    share = (gas["rho"][seen] - cold) / (hot - cold)
    assert share.min() > -1e-9 and share.max() < 1.0 + 1e-9
    assert gas["p"][seen] == pytest.approx(P0, rel=1e-9)
    assert gas["u"][seen] == pytest.approx(u, rel=1e-9)
    assert 1.0 + CELL * share.sum() == pytest.approx(0.5 * length + u * t, abs=0.02 * CELL)


# ends and nodes -------------------------------------------------------------------------------


@pytest.mark.parametrize("radiation", CORRECTION)
def test_open_pipe_sounds_as_if_longer_by_its_end_correction(radiation):
    """Quarter wave of a wide pipe of 16 cells, 0.4 % (AC-6, AC-7)."""
    length, radius = 0.5, 0.03
    net = ws.Network(
        {"d": ws.Pipe(length, 2.0 * radius, cell_length=length / 16)},
        {"wall": ws.ClosedEnd("d.start"),
         "mouth": ws.OpenEnd("d.end", radiation=radiation, ambient=outside())},
    )

    def start(x):
        q = 1e-4 * np.cos(0.5 * np.pi * x / length)
        return P0 * (1.0 + q), 0.0 * x, T0 * (1.0 + q) ** ((GAMMA - 1.0) / GAMMA), "air"

    result = ws.simulate(
        net, 18.0 * length / C0, gas=AIR, settings=IDEAL, initial={"d": start}, samples=240
    )
    sound = result.trace("pressure", "wall")
    (theory,) = exact.pipe_modes(length, "closed-open", 1, C0, CORRECTION[radiation] * radius)
    assert frequency(sound.x, sound.values - P0) == pytest.approx(theory, rel=4e-3)


@pytest.mark.parametrize("p_ratio", [0.8, 1.3, 2.0])
def test_hole_at_the_end_of_a_pipe_passes_the_isentropic_flow(p_ratio):
    """Drawn in, pushed out, choked: mass flow from stagnation pressure and temperature, 0.1 %."""
    bore, hole = 0.05, 0.03
    nozzle = cut("a.end").replace(diameter=hole, discharge_coefficient=1.0)
    result = send_wave(
        p_ratio, {"a": (1.5, bore)}, {"far": endless("a.start"), "hole": nozzle}, hold=0.3,
        dx=CELL, samples=400,
    )
    p, u, T = (result.final["a"][name][-3:].mean() for name in ("p", "u", "T"))
    flow = result.trace("mass_flow", "hole").values[-1]
    area = 0.25 * np.pi * hole**2
    if p_ratio < 1.0:
        assert -flow == pytest.approx(area * exact.orifice_flux(P0, T0, p, GAMMA, R), rel=1e-3)
    else:
        stagnant = T + 0.5 * u * u / CP
        p_in = p * (stagnant / T) ** (GAMMA / (GAMMA - 1.0))
        assert flow == pytest.approx(
            area * exact.orifice_flux(p_in, stagnant, P0, GAMMA, R), rel=1e-3
        )


def test_wave_meets_a_sudden_enlargement_by_the_momentum_law():
    """Benson (1982), twice the area, within 0.1 % of the pressures on both sides."""
    result = send_wave(
        1.5, {"a": (1.5, 0.03), "b": (1.0, 0.03 * np.sqrt(2.0))},
        {"far": endless("a.start"), "end": endless("b.end"),
         "step": ws.AreaStep(("a.end", "b.start"))},
        hold=0.3, dx=CELL,
    )
    theory = exact.wave_at_area_change(1.5, 2.0, GAMMA, "momentum")
    assert plateau(result, "a", "end") == pytest.approx(theory.before, rel=1e-3)
    assert plateau(result, "b", "start") == pytest.approx(theory.beyond, rel=1e-3)


def behind_junction(*directions):
    """p/p0 in all branches of a junction of equal pipes; a wave of 1.5 comes along the first."""
    names = "abc"[: len(directions)]
    nodes = {f"far {name}": endless(f"{name}.start") for name in names}
    nodes["meet"] = ws.Junction(tuple(f"{name}.end" for name in names), directions=directions)
    pipes = {name: (1.5 if name == "a" else 1.0, 0.04) for name in names}
    result = send_wave(1.5, pipes, nodes, hold=0.1, dx=CELL)
    return [plateau(result, name, "end") for name in names]


def test_wave_passes_a_junction_of_two_pipes_in_line():
    found = behind_junction((-1.0, 0.0, 0.0), (1.0, 0.0, 0.0))
    assert found == pytest.approx([1.5, 1.5], rel=3e-3)


def test_branch_in_line_gets_more_of_a_wave_than_the_side_branch():
    """Bassett, Winterbone and Pearson (2001): a tee fed through its run."""
    _, run, side = behind_junction((-1.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0))
    assert run > side * 1.05


def test_small_volume_gives_no_more_than_it_holds():
    """1 cm3 between pipes of hot burned gas and cold charge, 2:1: all books to round-off."""
    net = ws.Network(
        {name: ws.Pipe(0.3, 0.04, cell_length=CELL) for name in "ab"},
        {"wall a": ws.ClosedEnd("a.start"), "wall b": ws.ClosedEnd("b.end"),
         "box": ws.Volume(("a.end", "b.start"), volume=1e-6)},
    )
    start = {"a": (2.0 * P0, 0.0, 1200.0, "burned"), "b": (P0, 0.0, 300.0, "fresh")}
    model = compile_network(net, ws.EngineGas(), IDEAL, initial=start)
    before = books(model)
    for t in 5e-5 * np.arange(1.0, 41.0):
        march_to(model, t, 1000)
        p = model.work.store[model.stores["box"], f.NP]
        assert 0.95 * P0 < p < 2.05 * P0
        assert 290.0 < model.state.store[model.stores["box"], f.ST] < 1250.0
    assert books(model) == pytest.approx(before, rel=1e-13)


def test_gas_in_the_holes_of_a_wall_swings_between_two_closed_ducts():
    """Two volumes joined by the mass of the holes: f = c/2pi sqrt(A/l (1/V1 + 1/V2)), 2 %."""
    porosity, hole, wall, length = 0.002, 3.5e-3, 1.5e-3, 0.3
    net = two_ducts(porosity, hole, wall, length, dx=CELL)
    start = {"core": (P0 + 100.0, 0.0, T0, "air"), "annulus": (P0 - 100.0, 0.0, T0, "air")}
    result = ws.simulate(net, 8e-3, gas=AIR, settings=QUIET, initial=start, samples=200)
    core, annulus = (result.trace("pressure", name, 0.5 * length) for name in start)
    slenderness = porosity * np.pi * 0.05 * length / (wall + 0.75 * hole)
    springs = sum(1.0 / duct.volume() for duct in net.ducts.values())
    theory = C0 / (2.0 * np.pi) * np.sqrt(slenderness * springs)
    assert frequency(core.x, core.values - annulus.values) == pytest.approx(theory, rel=0.02)


def test_books_of_an_open_end_tell_what_has_left():
    """Mass, energy, fresh charge and burned gas that a pipe has lost, to round-off."""
    net = ws.Network(
        {"d": ws.Pipe(0.5, 0.04, cell_length=CELL)},
        {"wall": ws.ClosedEnd("d.start"), "mouth": cut("d.end")},
    )
    start = {"d": (2e5, 0.0, 600.0, (0.3, 0.5))}
    model = compile_network(net, ws.EngineGas(), IDEAL, initial=start)
    inside = slice(*model.ducts["d"])

    def held():
        return model.state.U[[f.R, f.E, f.Y1, f.Y2], inside] @ model.net.cells[f.VOL, inside]

    before = held()
    march_to(model, 5e-4, 1000)
    books = model.record.end_sum[
        model.ends["d", "end"], [f.OUT_MASS, f.OUT_ENERGY, f.OUT_FRESH, f.OUT_BURNED]
    ]
    assert books[0] > 0.1 * before[0]
    assert books == pytest.approx(before - held(), rel=1e-9)


def test_wall_feels_the_recovery_temperature():
    """T (1 + 0.892 (gamma - 1)/2 M^2) of turbulent flow; Kays and Crawford (1993)."""
    mach, T = 0.6, 400.0
    pipe = ws.Pipe(0.5, 0.04, cell_length=CELL, wall_temperature=T)
    net = ws.Network(
        {"d": pipe}, {"in": endless("d.start", P0, T), "out": endless("d.end", P0, T)},
    )
    settings = ws.Settings(friction=False, wall_heat=True)
    u = mach * np.sqrt(GAMMA * R * T)
    model = compile_network(net, AIR, settings, initial={"d": (P0, u, T, "air")})
    march_to(model, 1e-4, 100)
    lo, hi = model.ducts["d"]
    gain, grip = model.record.wall[:, lo + 3 : hi - 3]  # no wave from the ends has come there
    felt = T - gain / grip
    assert felt == pytest.approx(T * (1.0 + 0.892 * 0.2 * mach**2), rel=2e-3)


# continuity -----------------------------------------------------------------------------------


def test_gas_at_a_wall_knows_nothing_of_the_last_step():
    """Density and composition that a closed end had before do not reach the gas beside it, which
    would feed its own slope back on it.
    """
    net = ws.Network(
        {"d": ws.Pipe(0.5, 0.04, cell_length=CELL)},
        {"wall": ws.ClosedEnd("d.start"), "far": ws.ClosedEnd("d.end")},
    )

    def start(x):
        return P0 + 0.0 * x, 5.0 + 0.0 * x, 400.0 + 600.0 * x, (0.5 + 0.8 * x, 0.1 + 0.0 * x)

    found = []
    for before in (0.9, 1.1):
        model = compile_network(net, ws.EngineGas(), IDEAL, initial={"d": start})
        model.state.end[:, [f.ES_R, f.ES_YF, f.ES_YB]] *= before
        model.state.end[:, [f.ES_CAME_R, f.ES_CAME_YF, f.ES_CAME_YB]] = before  # none is left
        march_to(model, 2e-4, 100)
        found.append(model.state.U[:, slice(*model.ducts["d"])])
    assert np.array_equal(*found)


def test_gas_that_came_in_leaves_first_when_the_flow_turns():
    """Cold air fills most of the end cell of a hot pipe when the flow turns: what leaves is cold
    still, whether the flow turns a little sooner or later.
    """
    net = ws.Network(
        {"d": ws.Pipe(0.2, 0.04, cell_length=0.01)},
        {"wall": ws.ClosedEnd("d.start"), "mouth": ws.OpenEnd("d.end")},
    )
    start = {"d": (P0, -40.0, 1000.0, "air")}
    model = compile_network(net, AIR, IDEAL, initial=start)
    end, seen = model.state.end[model.ends["d", "end"]], []
    march_to(model, 3.6e-4, 100)
    for t in np.arange(3.7e-4, 4.4e-4, 1e-5):
        march_to(model, t, 100)
        seen.append(end[[f.ES_V, f.ES_R]])
    v, density = np.array(seen).T
    assert v[0] < -2.0 and v[-1] > 12.0
    assert np.abs(np.diff(density) / density[1:]).max() < 0.015


def test_gas_that_has_left_an_open_end_comes_back_to_the_last_of_it():
    """The hotter slug before the end is used up somewhere within a step, and the gas in the pipe
    follows its length: whatever is added makes a difference, and none makes that of a whole step.
    """
    net = ws.Network(
        {"d": ws.Pipe(0.5, 0.04, cell_length=CELL)},
        {"wall": ws.ClosedEnd("d.start"), "mouth": ws.OpenEnd("d.end")},
    )
    lengths = np.linspace(0.010, 0.016, 25)  # [m] of the slug; some 3 mm come in with each step
    masses = []
    for length in lengths:
        start = {"d": (0.9e5, 0.0, 300.0, "air")}
        model = compile_network(net, ws.EngineGas(), IDEAL, initial=start)
        end = model.state.end[model.ends["d", "end"]]
        end[[f.ES_SLUG, f.ES_SLUG_T]] = length, 900.0
        march_to(model, 9e-4, 100)
        inside = slice(*model.ducts["d"])
        assert end[f.ES_SLUG] == 0.0
        masses.append(model.net.cells[f.VOL, inside] @ model.state.U[f.R, inside])
    steps = np.diff(masses)  # hot gas is lighter
    assert steps.max() < 0.0 and steps.min() > 3.0 * steps.mean()


# cylinder -------------------------------------------------------------------------------------

FRESH, BURNED = 0.6, 0.3  # mass fractions of the content


def turned(model, begin, turn, mass, T):
    """Books of cylinder 1, filled and turned from its own angle `begin` on by `turn` [deg]."""
    cyl, row = model.net.cyl_par[0], model.stores["cylinder 1"]
    energy = mass * float(model.gas.e(T, FRESH, BURNED))
    model.state.store[row, : f.SB + 1] = mass, energy, mass * FRESH, mass * BURNED
    model.state.store[row, f.ST] = T
    omega = model.net.options[f.OMEGA_DEG]
    model.state.clock[f.TIME] = (cyl[f.PHASE] + begin) / omega
    march_to(model, (cyl[f.PHASE] + begin + turn) / omega, 1000)
    return model.record.cyl_sum[0]


def pressure(model, angle, mass, T):
    """Pressure in cylinder 1 at its own angle [Pa]."""
    volume = cylinder.volume(model.net.cyl_par[0], model.net.cyl_par[0, f.PHASE] + angle)
    return mass * float(model.gas.R(FRESH, BURNED)) * T / volume


def test_books_of_the_trapped_gas_tell_fresh_charge_from_residual():
    """The intake valve of a sealed cylinder of known content closes."""
    model, mass, T = sealed_model(ws.EngineGas()), 6e-4, 350.0
    closes = model.net.cyl_par[0, f.IVC]
    sums = turned(model, closes - 1.0, 2.0, mass, T)
    kept = sums[[f.TRAP_MASS, f.TRAP_FRESH, f.TRAP_BURNED]]
    assert kept == pytest.approx([mass, mass * FRESH, mass * BURNED], rel=1e-12)
    state = [pressure(model, closes, mass, T), T]
    assert sums[[f.TRAP_P, f.TRAP_T]] == pytest.approx(state, rel=0.01)


def test_opening_pressure_is_that_of_the_cylinder_when_its_exhaust_valve_opens():
    model, mass, T = sealed_model(ws.EngineGas()), 6e-4, 1500.0
    opens = model.net.cyl_par[0, f.EVO]
    sums = turned(model, opens - 1.0, 2.0, mass, T)
    assert sums[f.EVO_P] == pytest.approx(pressure(model, opens, mass, T), rel=0.01)


def test_pressure_of_a_motored_cylinder_peaks_at_dead_centre():
    """Within half a degree, and as high as the isentrope says."""
    model, mass, T = sealed_model(ws.PerfectGas(1.35)), 6e-4, 600.0
    sums = turned(model, 350.0, 20.0, mass, T)
    low, high = (pressure(model, angle, mass, T) for angle in (350.0, 360.0))  # at one temperature
    assert sums[f.PEAK_ANGLE] == pytest.approx(360.0, abs=0.5)
    assert sums[f.PEAK] == pytest.approx(low * (high / low) ** 1.35, rel=2e-3)


def test_combustion_adds_to_the_gas_velocity_of_woschni():
    """Woschni, SAE 670931 (1967): w = 2.28 Sp + 3.24e-3 Vd T_r (p - p_motored) / (p_r V_r)."""
    p, T, speed, spark = 60e5, 2000.0, 12.0, -20.0
    p_ref, v_ref, T_ref = 1.1e5, 5e-4, 360.0
    cyl = row_of(HEAD_AREA=1.0, T_HEAD=T - 1.0, T_LINER=T, T_PISTON=T, HEAT_MODEL_FACTOR=1.0,
                 SOC=spark, IVC=580.0, EVO=140.0)
    own, now = np.zeros(f.N_CYL_STATE), np.zeros(f.N_STORE_NOW)
    own[[f.P_IVC, f.V_IVC, f.T_IVC]] = p_ref, v_ref, T_ref
    now[[f.NP, f.NT, f.NVOL]] = p, T, cyl[f.CLEARANCE]
    burning, before = (
        cylinder.wall_loss(cyl, own, now, angle, 180.0 * speed / cyl[f.STROKE])
        for angle in (10.0, spark - 10.0)
    )
    displacement = 0.25 * np.pi * cyl[f.BORE] ** 2 * cyl[f.STROKE]
    motored = p_ref * (v_ref / cyl[f.CLEARANCE]) ** cylinder.POLYTROPIC
    w = 3.24e-3 * displacement * T_ref / (p_ref * v_ref) * (p - motored) / (2.28 * speed)
    assert w > 0.2
    assert burning / before == pytest.approx((1.0 + w) ** 0.8, rel=1e-9)


def test_liner_takes_heat_as_far_as_the_piston_has_uncovered_it():
    """Head of one square metre against the bare part of the liner, pi B h = 4 (V - Vc) / B."""
    cyl = row_of(HEAD_AREA=1.0, HEAT_MODEL_FACTOR=1.0, SOC=-20.0, IVC=580.0, EVO=140.0)
    own, now = np.ones(f.N_CYL_STATE), np.zeros(f.N_STORE_NOW)
    now[[f.NP, f.NT, f.NVOL]] = 1e5, 900.0, cylinder.volume(cyl, 400.0)
    uncovered = (now[f.NVOL] - cyl[f.CLEARANCE]) / (0.25 * np.pi * cyl[f.BORE] ** 2)

    def loss(head, liner):
        cyl[[f.T_HEAD, f.T_LINER, f.T_PISTON]] = head, liner, 900.0
        return cylinder.wall_loss(cyl, own, now, 400.0, 3.6e4)

    area = np.pi * cyl[f.BORE] * uncovered
    assert loss(900.0, 400.0) / loss(400.0, 900.0) == pytest.approx(area, rel=1e-9)
