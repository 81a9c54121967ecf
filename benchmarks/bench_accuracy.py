"""Error against work: Sod's tube beside Clawpack, and an engine from coarse to fine cells.

The engine's torque is compared with that on the finest mesh, mean over some speeds, so that the
error of the mesh next to it looks smaller than it is; cycles go on until they repeat within a tenth
of the default tolerance, one thread.  Draws `report/error_against_work.png`.
"""

import bench_tubes
import numpy as np
import pyclaw_twin
from case_riemann import density_error, twin_error
from engines import OPEN, system
from measuring import REPORT, Row, seconds

import wavesim as ws

MESHES = (100, 200, 400, 800, 1600)  # cells of Sod's tube
LENGTHS = (0.032, 0.024, 0.016, 0.008, 0.004)  # of the engine's cells [m]; the last is the truth
RPM = (2500.0, 4500.0, 6500.0)


def run(quick):
    """All rows; draws the figure."""
    tubes = []
    if pyclaw_twin.IS_HERE:
        tubes = sod(MESHES[:3] if quick else MESHES, 2 if quick else 7)
        yield from tube_rows(tubes)
    else:
        print(pyclaw_twin.MISSING)
    torque = engine(LENGTHS[:3] if quick else LENGTHS, RPM[1:2] if quick else RPM)
    yield from engine_rows(torque)
    print("figure:", draw(tubes, torque))


def sod(meshes, turns):
    """(cells, errors, seconds) of each mesh, both by name of the program."""
    found = []
    for cells in meshes:
        errors = {"ours": density_error("RP-1", cells), "clawpack": twin_error("RP-1", cells)}
        found.append((cells, errors, bench_tubes.costs("RP-1", cells, turns)))
    return found


def tube_rows(found):
    """Rows of Sod's tube."""
    for cells, errors, spent in found:
        for name, told in (("ours", "wavesim"), ("clawpack", "Clawpack")):
            yield Row(f"Sod, {cells} cells, {told}: mean error of density", errors[name], "kg/m3")
            yield Row(f"Sod, {cells} cells, {told}: work", 1e3 * spent[name], "ms")
    yield Row("Sod: Clawpack's work over ours at the error of its finest mesh", equal_error(found))


def equal_error(found):
    """Ratio of the work for one error; ours between the meshes on logarithmic scales."""
    wanted = found[-1][1]["clawpack"]
    error, spent = (np.log([row[k]["ours"] for row in found])[::-1] for k in (1, 2))
    return found[-1][2]["clawpack"] / np.exp(np.interp(np.log(wanted), error, spent))


def engine(lengths, rpm):
    """(cell length, torque at the speeds, seconds of a speed) of each mesh."""
    found = []
    for length in lengths:
        settings = ws.Settings(cell_length=length, tolerance=0.1 * ws.Settings().tolerance)
        torque = []

        def points(settings=settings, torque=torque):
            for speed in rpm:
                torque.append(ws.run_point(*system(OPEN), speed, settings=settings).torque)

        spent = seconds(points) / len(rpm)
        found.append((length, np.array(torque), spent))
    return found


def engine_errors(found):
    """Mean error of torque over the finest mesh, of all others [%]."""
    truth = found[-1][1]
    return [100.0 * float(np.mean(np.abs(torque / truth - 1.0))) for _, torque, _ in found[:-1]]


def engine_rows(found):
    """Rows of the engine."""
    for (length, _, spent), error in zip(found, engine_errors(found), strict=False):
        yield Row(f"demo engine, cells of {1e3 * length:g} mm: mean error of torque", error, "%")
        yield Row(f"demo engine, cells of {1e3 * length:g} mm: work for a speed", spent, "s")
    length, _, spent = found[-1]
    yield Row(f"demo engine, cells of {1e3 * length:g} mm (the truth): work for a speed", spent,
              "s")


def draw(tubes, torque):
    """Figure of both; returns its path."""
    above, below = axes = ws.plots.new_axes(2, width=7.0, height=3.6)
    told = {"ours": ("wavesim", ws.plots.COLOURS[0]), "clawpack": ("Clawpack", ws.plots.REFERENCE)}
    for name, (label, colour) in told.items():
        curve(above, [1e3 * spent[name] for _, _, spent in tubes],
              [errors[name] for _, errors, _ in tubes],
              [f"{cells} cells" for cells, _, _ in tubes], color=colour, label=label)
    above.set_title("Sod's tube, 1 m", loc="left")
    above.set_xlabel("work [ms]")
    above.set_ylabel("mean error of density [kg/m³]")
    above.legend(frameon=False)
    curve(below, [spent for _, _, spent in torque[:-1]], engine_errors(torque),
          [f"{1e3 * length:g} mm" for length, _, _ in torque], color=ws.plots.COLOURS[0])
    below.set_title(f"Demo engine, torque against cells of {1e3 * torque[-1][0]:g} mm", loc="left")
    below.set_xlabel("work for a speed [s]")
    below.set_ylabel("mean error of torque [%]")
    REPORT.mkdir(exist_ok=True)
    return ws.plots.save_figure(axes, REPORT / "error_against_work.png")


def curve(ax, work, errors, names, **line_kws):
    """One curve on logarithmic axes, a name at each point."""
    from matplotlib.ticker import LogLocator

    ax.loglog(work, errors, "o-", **line_kws)
    for x, y, name in zip(work, errors, names, strict=False):
        ax.annotate(name, (x, y), xytext=(7, 3), textcoords="offset points", fontsize="small")
    ax.margins(x=0.15, y=0.15)
    for axis in (ax.xaxis, ax.yaxis):
        axis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
        axis.set_major_formatter("{x:g}")
        axis.set_minor_formatter("")
