"""Motored cylinder: compression without losses, Woschni's heat to the walls, work of a whole turn.

A cylinder of the example engine with valves that never open and no fire turns from bottom dead
centre to bottom dead centre.  Without wall heat a perfect gas must follow p V^gamma and a real one
the isentrope of cantera, and the turn must cost no work.  With wall heat pressure, heat and work
are compared with the first law integrated by scipy, into which Woschni's coefficient is written
once more.  Piston travel and heat transfer coefficient stand beside published numbers.
"""

from functools import cache

import cantera
import numpy as np
from marches import IDEAL
from references import reference, references
from single_zone import SingleZone
from suite import Case, Check

import wavesim as ws
from wavesim.arrays.compile import compile_network
from wavesim.kernels import cylinder
from wavesim.kernels import flat as f
from wavesim.kernels.march import march

BORE, STROKE, ROD, RATIO = 0.086, 0.086, 0.1455, 10.0  # of row TH-2
RPM = 2000.0
P_BOTTOM, T_BOTTOM = 1e5, 330.0
GAMMA = 1.35
PERFECT = ws.PerfectGas(GAMMA)
COMPRESSING = 3  # the cylinder that is at bottom dead centre and compresses when the cycle starts
FILLS = {"air": (0.0, 0.0), "burned gas": (0.0, 1.0)}  # shares of fresh charge and burned gas


def row_of(**values):
    """A row of cylinder parameters, lengths as in TH-2."""
    cyl = np.zeros(f.N_CYL)
    cyl[[f.BORE, f.STROKE, f.ROD]] = BORE, STROKE, ROD
    cyl[f.CLEARANCE] = 0.25 * np.pi * BORE**2 * STROKE / (RATIO - 1.0)
    for name, value in values.items():
        cyl[getattr(f, name)] = value
    return cyl


def travel(theta_deg):
    """Travel of the piston of TH-2 [m]."""
    cyl = row_of()
    return (cylinder.volume(cyl, theta_deg) - cyl[f.CLEARANCE]) / (0.25 * np.pi * BORE**2)


def volumes():
    """Volumes of the cylinder of TH-2 [m3] by the names of the rows."""
    v0, v90, v180 = (cylinder.volume(row_of(), angle) for angle in (0.0, 90.0, 180.0))
    return {"clearance": v0, "displacement": v180 - v0, "volume_90": v90}


def woschni(p, T, piston_speed, angle, **valves):
    """Heat transfer coefficient [W/(m2 K)] from the heat flow through one square metre of head."""
    cyl = row_of(
        HEAD_AREA=1.0, T_HEAD=T - 1.0, T_LINER=T, T_PISTON=T, HEAT_MODEL_FACTOR=1.0,
        SOC=340.0, IVC=580.0, EVO=140.0, **valves,
    )
    own = np.zeros(f.N_CYL_STATE)
    own[[f.P_IVC, f.V_IVC, f.T_IVC]] = 1e5, 5e-4, 350.0
    now = np.zeros(f.N_STORE_NOW)
    now[[f.NP, f.NT, f.NVOL]] = p, T, cyl[f.CLEARANCE]
    omega_deg = 180.0 * piston_speed / STROKE
    return cylinder.wall_loss(cyl, own, now, angle, omega_deg)


# --- a cylinder whose valves stay shut ------------------------------------------------------------


@cache
def example():
    """The example engine and one of its exhausts."""
    study = ws.load(ws.demo_path("collector"))
    return study.engine, next(iter(study.exhausts.values()))


def sealed_model(gas, rpm=RPM, wall_heat=False):
    """The example engine with valves that never open, no fire and, by default, no wall heat."""
    engine, exhaust = example()
    if not wall_heat:
        engine = engine.replace(heat=ws.Woschni(factor=0.0))
    model = compile_network(
        ws.assemble(engine, exhaust), gas, IDEAL.replace(cell_length=0.1),
        engine=engine, rpm=rpm, samples=720,
    )
    model.net.valve_area[:] = 0.0
    model.net.cyl_par[:, f.Q_FRESH] = 0.0
    model.net.cyl_par[:, f.DURATION] = 1.0
    model.net.cyl_par[:, f.SOC] = 719.5  # the fresh charge turns to burned gas after all is read
    return model


def charge(model, number, mass, T, fill):
    """Fill a cylinder with `mass` [kg] at `T` [K], of the `fill` (fresh, burned)."""
    row = model.stores[f"cylinder {number}"]
    yf, yb = fill
    energy = mass * float(model.gas.e(T, yf, yb))
    model.state.store[row, : f.SB + 1] = mass, energy, mass * yf, mass * yb
    model.state.store[row, f.ST] = T


def crank(model, angle_deg):
    """Turn the crank on to an angle of the cycle; samples belong to whole degrees."""
    omega = model.net.options[f.OMEGA_DEG]
    model.record.interval[:] = 1.0 / omega, 0.0
    status, _ = march(
        model.net, model.state, model.work, model.record, model.inner, model.face,
        angle_deg / omega, 1_000_000,
    )
    assert status == f.OK


def sampled(model, number):
    """Pressure [Pa], temperature [K] and mass [kg] of a cylinder at every degree of the cycle."""
    return model.record.store[:, model.stores[f"cylinder {number}"], :3].T


def clearance(ratio):
    """Volume at top dead centre [m3] of a cylinder of the example with a compression ratio."""
    engine, _ = example()
    return engine.displacement / engine.cylinders / (ratio - 1.0)


def charge_mass(gas, fill, ratio):
    """Gas at the start of the compression [kg]."""
    return ratio * clearance(ratio) * float(gas.density(P_BOTTOM, T_BOTTOM, *fill))


@cache
def turn(gas, fill=(0.0, 0.0), wall_heat=False, ratio=None, **columns):
    """Compression and expansion of one cylinder by the library, from bottom dead centre.

    `columns` are columns of the row of the cylinder.  Returns samples of every degree of pressure
    "p" [Pa] and temperature "T" [K]; and work of the "compression" (put in) and of the whole turn
    (given), "lost" heat to the walls, and "released" heat [J].
    """
    ratio = ratio or example()[0].compression_ratio
    model = sealed_model(gas, wall_heat=wall_heat)
    for name, value in ({"CLEARANCE": clearance(ratio)} | columns).items():
        model.net.cyl_par[:, getattr(f, name)] = value
    charge(model, COMPRESSING, charge_mass(gas, fill, ratio), T_BOTTOM, fill)
    crank(model, 360.0)
    sums = model.record.cyl_sum[COMPRESSING - 1].copy()
    crank(model, 361.0)  # completes the sample at 360
    p, T, _ = sampled(model, COMPRESSING)
    return {
        "p": p[:361], "T": T[:361], "compression": -sums[f.WORK_3],
        "work": sums[f.WORK_3] + sums[f.WORK_0], "lost": sums[f.WALL_LOSS],
        "released": sums[f.HEAT_RELEASE],
    }


@cache
def first_law(gas=PERFECT, wall_heat=False, ratio=None, **burn):
    """The same turn by scipy, see `SingleZone`."""
    engine, _ = example()
    ratio = ratio or engine.compression_ratio
    zone = SingleZone(engine, gas, RPM, ratio, P_BOTTOM, T_BOTTOM, wall_heat, **burn)
    return zone.turn()


def cantera_top(name):
    """Pressure [Pa] and temperature [K] at top dead centre by cantera, frozen composition."""
    parts = dict(zip(("air", "fresh charge", "burned gas"), ws.EngineGas().parts, strict=True))
    library = {sp.name: sp for sp in cantera.Species.list_from_file("nasa_gas.yaml")}
    phase = cantera.Solution(
        thermo="ideal-gas", species=[library[species] for species in parts[name]]
    )
    phase.TPX = T_BOTTOM, P_BOTTOM, dict(parts[name])
    phase.SV = phase.entropy_mass, phase.volume_mass / example()[0].compression_ratio
    return phase.P, phase.T


# --- checks ---------------------------------------------------------------------------------------


def _piston_checks():
    why = "The piston is computed in closed form: only the rounding of the printed number is left."
    for row in references("TH-2"):
        if row.quantity == "travel" and row.value > 0.0:
            angle = row.case["theta_deg"]
            yield Check(f"piston travel at {angle:g} deg", travel(angle), row.value,
                        f"{row.tolerance} abs", row.source, why, row.unit)
    for quantity, value in volumes().items():
        row = reference("TH-2", quantity)
        yield Check(f"cylinder of 86 by 86 mm, {quantity.replace('_90', ' at 90 deg')}", value,
                    row.value, f"{row.tolerance} abs", row.source, why, row.unit)


def _coefficient_checks():
    row = reference("HT-3", "woschni_closed")
    p, T, speed = (row.case[name] for name in ("p", "T", "piston_speed"))
    closed, exchange = (woschni(p, T, speed, angle) for angle in (600.0, 300.0))
    yield Check(
        f"Woschni's coefficient at {p / 1e5:g} bar, {T:g} K, {speed:g} m/s, valves closed", closed,
        row.value, f"{row.tolerance} abs", row.source,
        "A formula: only the rounding of the printed number is left.", row.unit,
    )
    yield Check(
        "Woschni's coefficient, gas exchange over closed valves", exchange / closed,
        (6.18 / 2.28) ** 0.8, "1e-9 %", "Woschni, SAE 670931, 1967",
        "A ratio of powers of two constants is met to round-off.",
    )


def _lossless_checks():
    ratio = example()[0].compression_ratio
    found = turn(PERFECT)
    yield Check(
        f"no losses, p at top over bottom, gamma {GAMMA:g}", found["p"][180] / found["p"][0],
        ratio**GAMMA, "0.001 %", "p V^gamma = constant",
        "A step of half a degree makes an error of third order in its size; 400 lead to the top.",
    )
    for name, fill in FILLS.items():
        p, T = cantera_top(name)
        ours = turn(ws.EngineGas(), fill)
        for symbol, mine, value, unit in (("p", ours["p"], p, "Pa"), ("T", ours["T"], T, "K")):
            yield Check(
                f"no losses, {symbol} of {name} at top", mine[180], value, "0.1 %",
                "cantera, isentrope of the same species (nasa_gas.yaml)",
                "The heat capacity is fitted within 0.2 %, with errors of both signs that cancel "
                "in part on the way from 330 K to 800 K.", unit,
            )
    for name, gas in (("perfect gas", PERFECT), ("air", ws.EngineGas())):
        found = turn(gas)
        yield Check(
            f"no losses, work of a turn over that of compression, {name}",
            found["work"] / found["compression"], 0.0, "1e-7 abs", "reversible process",
            "The steps up and down are mirror images, so that their errors cancel but for the "
            "eighth digit.",
        )


def _wall_heat_checks():
    found, law = turn(PERFECT, wall_heat=True), first_law(wall_heat=True)
    source = "first law with Woschni's coefficient by scipy (Heywood 1988, eq. 12.19)"
    state = ("The march solves the equation that scipy solves to ten digits in steps of half a "
             "degree, with second order.")
    for name, ours, value, allowed, unit, why in (
        ("highest pressure", found["p"].max(), law["p"].max(), "0.005 %", "Pa", state),
        ("temperature at top", found["T"][180], law["T"][180], "0.005 %", "K", state),
        ("temperature back at bottom", found["T"][360], law["T"][360], "0.005 %", "K", state),
        ("work of a turn", found["work"], law["work"], "0.005 %", "J", state),
        ("heat to the walls in a turn", found["lost"], law["lost"], "0.02 %", "J",
         "Heat from and to the walls cancel in part; where the valves would open the coefficient "
         "jumps at the end of a step."),
    ):
        yield Check(f"with wall heat, {name}", ours, value, allowed, source, why, unit)


def draw():
    """Pressure without wall heat, and what wall heat changes, over the first law by scipy."""
    upper, lower = axes = ws.plots.new_axes(2, height=3.2)
    ours, law = ([go(PERFECT, wall_heat=walls)["p"] for walls in (False, True)]
                 for go in (turn, first_law))
    theta = np.arange(-180, 181)
    grey = {"color": ws.plots.REFERENCE, "label": "first law by scipy"}
    dots = {"color": ws.plots.COLOURS[0], "markevery": 6, "label": "wavesim"}
    upper.semilogy(theta, law[0] / 1e5, **grey)
    upper.semilogy(theta, ours[0] / 1e5, ".", **dots)
    upper.set_yticks([1, 2, 5, 10, 20], ["1", "2", "5", "10", "20"])
    upper.set_title(f"Motored without wall heat, gamma {GAMMA:g}, {RPM:g} rev/min", loc="left")
    upper.set_ylabel("pressure [bar]")
    lower.plot(theta, 100.0 * (law[1] / law[0] - 1.0), **grey)
    lower.plot(theta, 100.0 * (ours[1] / ours[0] - 1.0), ".", **dots)
    lower.axhline(0.0, color="0.7", lw=0.8, zorder=0)
    lower.set_title("What heat from and to the walls changes", loc="left")
    lower.set_ylabel("change of pressure [%]")
    lower.set_xlabel("crank angle after top dead centre [deg]")
    for ax in axes:
        ax.legend(frameon=False)
        ax.set_xticks(np.arange(-180, 181, 45))
    return axes


def run():
    """All checks, and the pressure of a turn with and without wall heat as a figure."""
    return Case((*_piston_checks(), *_coefficient_checks(), *_lossless_checks(),
                 *_wall_heat_checks()), draw())
