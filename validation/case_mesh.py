"""Mesh: torque of the example engine on the default cells beside finer and coarser ones.

The example engine runs at two speeds on cells from 32 mm down to an eighth of the default 16 mm,
at the speed of the largest error with both collectors.  Compared with the finest mesh are torque,
filling, the pressure at the exhaust valve, and the difference of the collectors, which is what a
study asks for.  The error is of first order in the cell length: steep fronts, and contacts between
hot and cold gas at the valves.  (The short collector has cells of about 8 mm on every mesh down to
that, see `wavesim.arrays.mesh`; only below do all ducts follow the cell length.)
"""

from functools import cache

import numpy as np
from suite import Case, Check

import wavesim as ws

USUAL = ws.Settings().cell_length
SHORT, LONG = EXHAUSTS = ("short collector", "long collector")
WORST, BEST = 4000.0, 7000.0  # speeds at which the error of the mesh is large and small [rev/min]
POINTS = ((WORST, SHORT), (WORST, LONG), (BEST, SHORT))
MESHES = {WORST: (0.032, 0.016, 0.008, 0.004, 0.002), BEST: (0.032, 0.016, 0.008, 0.004)}  # m


@cache
def point(name, rpm, cell_length=USUAL):
    """Converged cycle of the example engine with one of its exhausts."""
    study = ws.load(ws.demo_path("collector"))
    settings = ws.Settings(cell_length=cell_length, tolerance=1e-4)
    found = ws.run_point(study.engine, study.exhausts[name], rpm, settings=settings)
    assert found.converged
    return found


def torque(name, rpm, cell_length=USUAL):
    """Torque [N m]."""
    return point(name, rpm, cell_length).torque


def gain(rpm, cell_length):
    """Torque that the long collector has more than the short one [N m]."""
    return torque(LONG, rpm, cell_length) - torque(SHORT, rpm, cell_length)


def trace(name, rpm, cell_length):
    """Pressure at exhaust valve 1 [Pa]."""
    return point(name, rpm, cell_length).trace("pressure", "exhaust valve 1").values


def trace_gap(name, rpm, cell_length):
    """Difference of the valve pressure from that on the finest mesh, rms over the amplitude."""
    fine = trace(name, rpm, MESHES[rpm][-1])
    return np.sqrt(np.mean((trace(name, rpm, cell_length) - fine) ** 2)) / np.ptp(fine)


def order(coarse, middle, fine):
    """Observed order of three results on cells each half as long as those before (Roache 1994)."""
    return np.log2((middle - coarse) / (fine - middle))


# --- checks ---------------------------------------------------------------------------------------

#: Bound of torque at the default mesh by speed, and why.
TORQUE = {
    WORST: ("0.3 %", "The promise that has set the default cell length (tests/test_mesh.py)."),
    BEST: ("0.02 %", "At this speed errors of the mesh hardly reach the filling: what is left is "
           "the tolerance of 0.01 % of a settled cycle, twice."),
}


def _usual_checks():
    for rpm, name in POINTS:
        finest = MESHES[rpm][-1]
        source = f"this library, cells of {1e3 * finest:g} mm"
        allowed, why = TORQUE[rpm]
        where = f"{name}, {rpm:g} rev/min, cells of {1e3 * USUAL:g} mm"
        usual, fine = (point(name, rpm, dx) for dx in (USUAL, finest))
        yield Check(f"{where}: torque", usual.torque, fine.torque, allowed, source, why, "N m")
        yield Check(f"{where}: volumetric efficiency", usual.volumetric_efficiency,
                    fine.volumetric_efficiency, allowed, source, "The torque follows the filling.")
        yield Check(f"{where}: pressure at the exhaust valve, rms over amplitude",
                    trace_gap(name, rpm, USUAL), 0.0, "0.02 abs", source,
                    "Fronts are smeared over some three cells, which they pass in 2 to 4 deg.")


def _trend_checks():
    torques = [torque(SHORT, WORST, dx) for dx in MESHES[WORST]]
    cells = ", ".join(f"{1e3 * dx:g}" for dx in MESHES[WORST][-3:])
    yield Check(
        f"{SHORT}, {WORST:g} rev/min: order of convergence of torque, cells of {cells} mm",
        order(*torques[-3:]), 1.0, "0.5 abs",
        "order of a limited scheme at fronts, Roache, J. Fluids Eng. 116 (1994) 405",
        "Fronts and contacts are of first order and smooth waves of second: between one half "
        "and one and a half, or the error does not fall as supposed.",
    )
    usual, fine = (gain(WORST, dx) for dx in (USUAL, MESHES[WORST][-1]))
    yield Check(
        f"torque of the long less the short collector, {WORST:g} rev/min", usual, fine, "0.5 abs",
        f"this library, cells of {1e3 * MESHES[WORST][-1]:g} mm",
        "The difference of two torques of which each is known to 0.3 %, or 0.5 N m.", "N m",
    )


def _table():
    """All meshes as a Markdown table."""
    rows = ["| rev/min | exhaust | cells [mm] | torque [N m] | off the finest [%] "
            "| rms of valve pressure over amplitude [%] |", "|---:|---|---:|---:|---:|---:|"]
    for rpm, name in POINTS:
        fine = torque(name, rpm, MESHES[rpm][-1])
        for dx in MESHES[rpm]:
            found = torque(name, rpm, dx)
            rows.append(
                f"| {rpm:g} | {name} | {1e3 * dx:g} | {found:.2f} | "
                f"{100.0 * (found / fine - 1.0):+.3f} | {100.0 * trace_gap(name, rpm, dx):.2f} |"
            )
    return "\n".join(rows)


def _notes():
    fine, finest = (torque(SHORT, WORST, dx) for dx in MESHES[WORST][-2:])
    limit = 2.0 * finest - fine
    off = 100.0 * (torque(SHORT, WORST) / limit - 1.0)
    return (
        f"Extrapolated to no cell length with first order (Richardson 1911), the {SHORT} at "
        f"{WORST:g} rev/min has {limit:.2f} N m; the default mesh is {off:+.2f} % off that.",
        "All meshes, against the finest of each speed:\n\n" + _table(),
    )


def draw():
    """Torque over the cell length, and the valve pressure on three meshes."""
    upper, lower = axes = ws.plots.new_axes(2, height=3.4)
    for i, (rpm, name) in enumerate(POINTS):
        meshes = MESHES[rpm]
        fine = torque(name, rpm, meshes[-1])
        upper.semilogx([1e3 * dx for dx in meshes],
                       [100.0 * (torque(name, rpm, dx) / fine - 1.0) for dx in meshes],
                       ws.plots.MARKERS[i] + "-", color=ws.plots.COLOURS[i],
                       label=f"{name}, {rpm:g} rev/min")
    upper.axvline(1e3 * USUAL, color=ws.plots.REFERENCE, ls="--", lw=1.0)
    upper.text(1e3 * USUAL, 0.05, " default", color=ws.plots.REFERENCE,
               transform=upper.get_xaxis_transform())
    upper.axhspan(-0.3, 0.3, color=ws.plots.FAINT, zorder=0)
    upper.set_xticks([2, 4, 8, 16, 32], ["2", "4", "8", "16", "32"])
    upper.minorticks_off()
    upper.set_xlabel("cell length [mm]")
    upper.set_ylabel("torque from that on\nthe finest mesh [%]")
    upper.set_title("Example engine; grey: 0.3 %", loc="left")
    for i, dx in enumerate(MESHES[WORST][::-2]):
        lower.plot(trace(SHORT, WORST, dx) / 1e5, lw=1.3, color=ws.plots.colour(i),
                   label=f"cells of {1e3 * dx:g} mm")
    lower.set_title(f"{SHORT}, {WORST:g} rev/min", loc="left")
    lower.set_xlabel("crank angle after firing top dead centre of cylinder 1 [deg]")
    lower.set_ylabel("pressure at\nexhaust valve 1 [bar]")
    lower.set_xticks(np.arange(0, 721, 90))
    for ax in axes:
        ax.legend(frameon=False)
    return axes


def run():
    """All checks, torque over the cell length as a figure, all meshes as a table."""
    return Case((*_usual_checks(), *_trend_checks()), draw(), _notes())
