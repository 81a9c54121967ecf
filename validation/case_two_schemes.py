"""Two schemes: the finite-volume scheme beside the method of characteristics.

Both share the ends, valves and cylinders and nothing else: how gas moves inside a pipe is computed
in two ways that have no line in common.  They are compared on a steepening wave with its exact
solution, on the echo of every kind of node, on a single cylinder and on the example engine, all
with a gas of constant heat capacities.  The characteristics are of first order; two meshes
extrapolated to no cell length (Richardson 1911) take most of that away.  What this method cannot do
is shown as well: shocks run at a wrong speed and mass is lost.
"""

from functools import cache

import numpy as np
from marches import AIR, C0, GAMMA, IDEAL, P0, T0, endless, march_tube, outside
from references import reference, references
from rounding import WHY, bound, left
from suite import Case, Check

import wavesim as ws
from wavesim import exact

SCHEMES = FINITE, LINES = ("finite volume", "characteristics")


def ideal(scheme):
    """Settings of a scheme without friction and wall heat."""
    return IDEAL.replace(scheme=scheme)


def rms(values):
    """Root of the mean square."""
    return np.sqrt(np.mean(values**2))


# --- a steepening wave ----------------------------------------------------------------------------

FW4 = [row for row in references("FW-4") if row.quantity == "u"]
AMPLITUDE = FW4[0].case["amplitude"]
MESHES = {FINITE: (50, 100, 200, 400), LINES: (100, 200, 400, 800)}  # cells per metre
PUBLISHED_MESH = {FINITE: 100, LINES: 2000}


def sine_wave(x, t):
    """Exact state of the wave of FW-4 at time t; its node starts at x = 1 m."""
    k = 2.0 * np.pi / FW4[0].case["wavelength"]
    return exact.simple_wave_field(
        lambda s: AMPLITUDE * np.sin(k * s), x - 1.0, t, AMPLITUDE, C0, GAMMA
    )


@cache
def steepened(scheme, cells_per_metre):
    """Half-way to breaking: place [m], velocity and exact velocity [m/s] where no wall is heard."""
    t = FW4[0].case["time_share"] * reference("FW-4", "breaking_time").value

    def start(x):
        wave = sine_wave(x, 0.0)
        p = P0 * wave.p_ratio
        return p, wave.u, p * T0 / (P0 * wave.rho_ratio), "air"

    final = march_tube(start, 4.0, 4 * cells_per_metre, t, settings=ideal(scheme)).final["d"]
    x = final["x"]
    unheard = np.abs(x - 1.0 - C0 * t) < 0.52
    return x[unheard] - 1.0 - C0 * t, final["u"][unheard], sine_wave(x[unheard], t).u


def sine_error(scheme, cells_per_metre):
    """Mean error of velocity over the amplitude."""
    _, u, exactly = steepened(scheme, cells_per_metre)
    return np.mean(np.abs(u - exactly)) / AMPLITUDE


def order(scheme):
    """Order of convergence by least squares over the meshes."""
    meshes = MESHES[scheme]
    errors = [sine_error(scheme, n) for n in meshes]
    return -np.polyfit(np.log(meshes), np.log(errors), 1)[0]


# --- the echo of every node -----------------------------------------------------------------------

JOINTS = {
    "wall": lambda: ws.ClosedEnd("a.end"),
    "open end": lambda: ws.OpenEnd("a.end", ambient=outside()),
    "nozzle": lambda: ws.OpenEnd("a.end", diameter=0.02, ambient=outside()),
    "endless": lambda: endless("a.end"),
    "step": lambda: ws.AreaStep(("a.end", "b.start")),
    "orifice": lambda: ws.Orifice(("a.end", "b.start"), diameter=0.02),
    "throttle": lambda: ws.Throttle(("a.end", "b.start"), diameter=0.04, plate_angle_deg=50.0),
    "volume": lambda: ws.Volume(("a.end", "b.start"), volume=1e-3, temperature=400.0),
    "equal pressure": lambda: ws.Junction(("a.end", "b.start", "c.start"), model="pressure"),
    "momentum": lambda: ws.Junction(("a.end", "b.start", "c.start"), angles_deg=(180, 0, 70)),
}


@cache
def wall_pressure(scheme, cell_length, joint):
    """Pressure [Pa] at the closed start of a cone whose other end is the joint; smooth waves."""
    node = JOINTS[joint]()
    sizes = {"a": (1.0, 0.05, 0.04), "b": (0.5, 0.05, 0.05), "c": (0.6, 0.04, 0.04)}
    used = dict.fromkeys(duct for duct, _ in node.ends)
    ducts = {
        name: ws.Pipe(sizes[name][0], sizes[name][1], end_diameter=sizes[name][2],
                      cell_length=cell_length)
        for name in used
    }
    walls = {f"cap {name}": ws.ClosedEnd(f"{name}.end") for name in used if name != "a"}
    nodes = {"probe": ws.ClosedEnd("a.start"), joint: node, **walls}

    def swelling(x):
        q = 0.1 * np.cos(np.pi * np.clip((x - 0.5) / 0.6, -0.5, 0.5)) ** 4
        return P0 * (1.0 + q), 0.0 * x, T0 * (1.0 + q) ** (0.4 / 1.4), "air"

    start = dict.fromkeys(used, (P0, 0.0, 400.0, "air")) | {"a": swelling}
    result = ws.simulate(
        ws.Network(ducts, nodes), 8e-3, gas=AIR, settings=ws.Settings(scheme=scheme),
        initial=start, samples=400,
    )
    return result.trace("pressure", "probe").values


# --- engines --------------------------------------------------------------------------------------

GAS = ws.PerfectGas(1.33, 288.0, heat_per_fresh=2.7e6, fuel_fraction=0.064)
RPM = (3000.0, 5000.0)
FINE = 0.005  # cells of the single cylinder [m]
DEMO_RPM = (3000.0, 6000.0)  # with few and with many steep fronts
DEMO_FINE = 0.005


def single_cylinder():
    """Invented half-litre engine with a straight primary and an open end."""

    def valve(diameter, opens, closes):
        lift = ws.Cam(opens_deg=opens, closes_deg=closes, lift=0.009, checking_lift=0.001)
        return ws.Valve(diameter=diameter, count=2, lift=lift)

    engine = ws.Engine(
        name="invented single", bore=0.086, stroke=0.086, rod=0.143, compression_ratio=10.0,
        firing_order=(1,), intake_valve=valve(0.033, 13, 53), exhaust_valve=valve(0.028, 51, 12),
        intake_port=ws.Pipe(0.1, 0.042), exhaust_port=ws.Pipe(0.1, 0.04),
        intake=ws.Intake(
            runner=ws.Pipe(0.3, 0.042), plenum_volume=0.004, throttle_diameter=0.06,
            inlet=ws.Pipe(0.3, 0.06),
        ),
    )
    primary = ws.Pipe(0.7, 0.04, wall_temperature=700.0, heat_factor=1.5)
    return engine, ws.Exhaust(primary=primary, merge=None)


def _converged(engine, exhaust, rpm, scheme, cell_length, tolerance):
    settings = ws.Settings(scheme=scheme, cell_length=cell_length, tolerance=tolerance)
    point = ws.run_point(engine, exhaust, rpm, gas=GAS, settings=settings)
    assert point.converged
    return point


@cache
def cycle(scheme, cell_length, rpm):
    """Converged cycle of the single cylinder."""
    return _converged(*single_cylinder(), rpm, scheme, cell_length, 1e-4)


@cache
def demo_cycle(scheme, cell_length, rpm):
    """Converged cycle of the example engine with the short collector."""
    study = ws.load(ws.demo_path("collector"))
    exhaust = study.exhausts["short collector"]
    return _converged(study.engine, exhaust, rpm, scheme, cell_length, 2e-4)


def valve_pressure(scheme, cell_length, rpm, run=cycle):
    """Pressure at the exhaust valve of cylinder 1 [Pa] by crank angle."""
    return run(scheme, cell_length, rpm).trace("pressure", "exhaust valve 1").values


def torque(scheme, cell_length, rpm, run=cycle):
    """Torque [N m]."""
    return run(scheme, cell_length, rpm).torque


def extrapolated(value, scheme, cell_length, *case):
    """`value(scheme, cell_length, *case)` at no cell length, from this and twice this length."""
    return 2.0 * value(scheme, cell_length, *case) - value(scheme, 2.0 * cell_length, *case)


def gaps(trace, cell_length, *case):
    """Difference of the schemes, rms over the amplitude: as marched, and with lines extrapolated.

    `trace(scheme, cell_length, *case)` returns pressures.
    """
    finite = trace(FINITE, cell_length, *case)
    lines = trace(LINES, cell_length, *case), extrapolated(trace, LINES, cell_length, *case)
    return [rms(other - finite) / np.ptp(finite) for other in lines]


# --- what the characteristics cannot do -----------------------------------------------------------


def shock_speed(scheme, mach, cells, length=4.0, before=1.5):
    """Error of the speed of a shock that runs into gas at rest, relative."""
    jump = exact.normal_shock(mach, GAMMA)
    u = mach * C0 * (1.0 - 1.0 / jump.density)
    duration = 1.5 / (mach * C0)

    def start(x):
        behind = x < before
        return (np.where(behind, jump.pressure, 1.0) * P0, np.where(behind, u, 0.0),
                np.where(behind, jump.temperature, 1.0) * T0, "air")

    net = ws.Network(
        {"d": ws.Pipe(length, 0.05, cell_length=length / cells)},
        {"far": endless("d.start"), "wall": ws.ClosedEnd("d.end")},
    )

    def place(t):
        final = ws.simulate(
            net, t, gas=AIR, settings=ideal(scheme), initial={"d": start}, samples=0,
        ).final["d"]
        p = final["p"] / P0 - 0.5 * (1.0 + jump.pressure)
        i = np.flatnonzero((p[:-1] > 0.0) & (p[1:] <= 0.0))[-1]
        return final["x"][i] + p[i] / (p[i] - p[i + 1]) * length / cells

    run = place(duration) - place(0.5 * duration)
    return run / (0.5 * duration * mach * C0) - 1.0


def burst_audit(scheme, ratio, cells):
    """Ledger of a closed tube, half of it at `ratio` times the pressure of the other, 5 ms."""

    def start(x):
        return np.where(x < 0.5, ratio, 1.0) * P0, 0.0 * x, T0 + 0.0 * x, "air"

    return march_tube(start, 1.0, cells, 5e-3, settings=ideal(scheme)).audit


# --- checks ---------------------------------------------------------------------------------------

OTHER = "the other scheme of this library"
EXTRAPOLATED = "the other scheme, extrapolated from two meshes (Richardson 1911)"


def _wave_checks():
    for scheme, ideal_order in ((FINITE, 2.0), (LINES, 1.0)):
        yield Check(
            f"{scheme}: order of convergence on a steepening wave", order(scheme), ideal_order,
            "0.15 abs", "Whitham, Linear and Nonlinear Waves, 1974, sec. 6.8 (simple wave)",
            "Four meshes, the coarsest of which does not resolve the steep part well.",
        )
        xi, u, _ = steepened(scheme, PUBLISHED_MESH[scheme])
        for row in FW4:
            if row.value:
                yield Check(
                    f"{scheme}, {PUBLISHED_MESH[scheme]} cells per metre: velocity "
                    f"{row.case['xi']:g} m behind the node of a steepened wave",
                    np.interp(row.case["xi"], xi, u), row.value, "0.5 %", row.source,
                    "Half a per cent of the amplitude; the first-order scheme needs cells of half "
                    "a millimetre for it.", row.unit,
                )


def _echo_checks():
    for joint in JOINTS:
        marched, limit = gaps(wall_pressure, 0.0025, joint)
        yield Check(
            f"echo of {joint}, 2.5 mm cells: gap of the schemes, rms over amplitude",
            marched, 0.0, "0.02 abs", OTHER,
            "The characteristics smear the echo of a 0.6 m long hump by 1 or 2 % on such cells.",
        )
        yield Check(
            f"echo of {joint}: the same, characteristics extrapolated", limit, 0.0, "0.01 abs",
            EXTRAPOLATED, "What is left after two meshes is of second order: half of the gap or "
            "less.",
        )


def _single_checks():
    for rpm in RPM:
        marched, limit = gaps(valve_pressure, FINE, rpm)
        name = f"single cylinder, {rpm:g} rev/min"
        yield Check(
            f"{name}, 5 mm cells: pressure at the exhaust valve, gap of the schemes, rms over "
            "amplitude", marched, 0.0, "0.01 abs", OTHER,
            "1 % of the pulse on cells of 5 mm, a sixtieth of the pulse's length; half of what is "
            "asked of a second scheme.",
        )
        yield Check(
            f"{name}: the same, characteristics extrapolated", limit, 0.0, "0.005 abs",
            EXTRAPOLATED, "Extrapolation takes the first-order smearing away; what the valve's "
            "kinks leave is a few thousandths.",
        )
        yield _torque_check(name, cycle, FINE, rpm, "0.2 %")


def _torque_check(name, run, cell_length, rpm, allowed):
    return Check(
        f"{name}: torque, finite volume beside extrapolated characteristics",
        torque(FINITE, cell_length, rpm, run),
        extrapolated(torque, LINES, cell_length, rpm, run), allowed,
        EXTRAPOLATED,
        "Both schemes know the torque to some tenths of a per cent on these meshes.", "N m",
    )


def _demo_checks():
    why = {
        3000.0: "As of the single cylinder: few fronts are steep.",
        6000.0: "Steep fronts run through the header; the characteristics smear and delay them by "
                "some degrees, on any mesh, because they know no shocks.",
    }
    allowed = dict(zip(DEMO_RPM, ("0.01 abs", "0.05 abs"), strict=True))
    for rpm in DEMO_RPM:
        name = f"example engine, {rpm:g} rev/min"
        marched, _ = gaps(valve_pressure, DEMO_FINE, rpm, demo_cycle)
        yield Check(
            f"{name}, 5 mm cells: pressure at exhaust valve 1, gap of the schemes, rms over "
            "amplitude", marched, 0.0, allowed[rpm], OTHER, why[rpm],
        )
        yield _torque_check(name, demo_cycle, DEMO_FINE, rpm, "0.5 %")


DEFICIENCY = "Known deficiency of a scheme in characteristic variables, see the notes: the bound "
DEFICIENCY += "says how large it is, not that it is acceptable."


def _deficiency_checks():
    rankine = "Rankine and Hugoniot, normal shock (Shapiro 1953, ch. 5)"
    for scheme, why, bounds in (
        (FINITE, "A conservative scheme moves shocks at the right speed.",
         {1.2: "0.03 %", 1.5: "0.03 %", 2.0: "0.03 %"}),
        (LINES, DEFICIENCY, {1.2: "0.2 %", 1.5: "3.2 %", 2.0: "11.5 %"}),
    ):
        for mach, allowed in bounds.items():
            speed = mach * C0
            yield Check(f"{scheme}: speed of a shock of Mach {mach:g}, 400 cells",
                        speed * (1.0 + shock_speed(scheme, mach, 400)), speed, allowed, rankine,
                        why, "m/s")
    for ratio, allowed in ((2.0, "0.002 abs"), (5.0, "0.04 abs")):
        for scheme in SCHEMES:
            right, audit = scheme == FINITE, burst_audit(scheme, ratio, 100)
            yield Check(
                f"{scheme}: mass gained in a closed tube, burst of {ratio:g} to 1, 100 cells",
                audit["mass_error"], 0.0, bound(left(audit["steps"], 100)) if right else allowed,
                "conservation law", WHY if right else DEFICIENCY,
            )


def _ledger_table():
    """Markdown table of the ledger of the single cylinder."""
    rows = ["| scheme | cells [mm] | rev/min | torque [N m] | mass [%] | energy [%] |",
            "|---|---:|---:|---:|---:|---:|"]
    for scheme in SCHEMES:
        for dx in (2.0 * FINE, FINE):
            for rpm in RPM:
                point = cycle(scheme, dx, rpm)
                errors = (100.0 * point.audit[f"{name}_error"] for name in ("mass", "energy"))
                rows.append(f"| {scheme} | {1e3 * dx:g} | {rpm:g} | {point.torque:.2f} | "
                            + " | ".join(f"{error:.2g}" for error in errors) + " |")
    return "\n".join(rows)


def _notes():
    return (
        "Use the characteristics to check, not to decide.  They are of first order, so that they "
        "need cells a quarter as long; they smear contacts; they know no shocks, which run too "
        "slowly from Mach 1.2 on, whatever the mesh; and they keep neither mass nor energy, as "
        "the audit of every result tells.  At 6000 rev/min the example engine has steep fronts, "
        "and refining the mesh does not close the gap of the traces, although both schemes give "
        "the same torque.",
        "Ledger of the single cylinder, mass over the air that passes and energy over the heat "
        "released in a cycle:\n\n" + _ledger_table(),
    )


def draw():
    """Pressure at the valve of both engines, gap of the schemes, error on the exact wave."""
    axes = ws.plots.new_axes(4, height=3.0)
    theta = np.arange(720.0)
    shown = ((axes[0], cycle, FINE, 5000.0, "Single cylinder"),
             (axes[1], demo_cycle, DEMO_FINE, 6000.0, "Example engine"))
    for ax, run, dx, rpm, name in shown:
        for i, scheme in enumerate((LINES, FINITE)):
            ax.plot(theta, valve_pressure(scheme, dx, rpm, run) / 1e5, lw=1.3,
                    color=ws.plots.COLOURS[1 - i], label=scheme)
        ax.set_title(f"{name}, {rpm:g} rev/min, cells of {1e3 * dx:g} mm", loc="left")
        ax.set_ylabel("pressure at\nexhaust valve 1 [bar]")
        ax.set_xticks(np.arange(0, 721, 90))
        ax.set_xlabel("crank angle after firing top dead centre of cylinder 1 [deg]")
    rpm = 5000.0
    finite = valve_pressure(FINITE, FINE, rpm)
    lines = {
        "10 mm": valve_pressure(LINES, 2.0 * FINE, rpm), "5 mm": valve_pressure(LINES, FINE, rpm),
        "extrapolated": extrapolated(valve_pressure, LINES, FINE, rpm),
    }
    for (name, trace), colour in zip(lines.items(), ws.plots.COLOURS[1:], strict=False):
        axes[2].plot(theta, 100.0 * (trace - finite) / np.ptp(finite), lw=1.3, color=colour,
                     label=name)
    axes[2].set_title("Single cylinder: characteristics less finite volume on 5 mm", loc="left")
    axes[2].set_ylabel("share of the\namplitude [%]")
    axes[2].set_xticks(np.arange(0, 721, 90))
    axes[2].set_xlabel("crank angle after firing top dead centre of cylinder 1 [deg]")
    for i, scheme in enumerate(SCHEMES):
        cells = np.array(MESHES[scheme])
        axes[3].loglog(1e3 / cells, [100.0 * sine_error(scheme, n) for n in cells],
                       ws.plots.MARKERS[i], color=ws.plots.COLOURS[i],
                       label=f"{scheme}, order {order(scheme):.2f}")
        axes[3].loglog(1e3 / cells, 100.0 * sine_error(scheme, cells[-1])
                       * (cells[-1] / cells) ** (2 - i), "--", color=ws.plots.REFERENCE, lw=1.0,
                       label=f"slope {2 - i}")
    axes[3].set_title("Error of velocity on a steepening wave", loc="left")
    axes[3].set_xlabel("cell length [mm]")
    axes[3].set_ylabel("mean error over\nthe amplitude [%]")
    axes[3].set_xticks([1, 2, 5, 10, 20], ["1", "2", "5", "10", "20"])
    for ax in axes[:3]:
        ax.legend(frameon=False)
    axes[3].set_ylim(bottom=8e-4)
    axes[3].legend(frameon=False, ncols=2, loc="lower right")
    return axes


def run():
    """All checks, the traces of both schemes as a figure, the deficiencies as notes."""
    checks = (*_wave_checks(), *_echo_checks(), *_single_checks(), *_demo_checks(),
              *_deficiency_checks())
    return Case(checks, draw(), _notes())
