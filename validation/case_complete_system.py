"""Complete systems: an open collector and systems of two bores on one engine, study `complete`.

The books of every point must close.  What the 51 and 61 mm pipes and tailpipes take from the mean
pressure in full pulsating flow is compared with friction and bends of the handbook, through the
library `fluids`.  Beside that stand our numbers next to what people who tune engines say: that
practice has no source that could be named, and serves as a question, not as a bound.  All data of
the study are invented, and nothing in it was fitted to the answers.
"""

from functools import cache

import fluids
import numpy as np
from rounding import WHY, bound, left_in_cycle
from suite import Case, Check

import wavesim as ws

RPM = tuple(range(1500, 7001, 500))
BALANCED_RPM = (5000.0, 7000.0)
SUTHERLAND = 1.716e-5, 273.15, 110.4  # air: Pa s, K, K; White, Viscous Fluid Flow (1991)


def sweeps(rpm=RPM, settings=None, threads=2):
    """Sweeps of the three exhausts by name: open collector, small bore, 20 % larger bore."""
    study = ws.load(ws.demo_path("complete")).replace(rpm=tuple(map(float, rpm)))
    if settings is not None:
        study = study.replace(settings=settings)
    return ws.run_study(study, threads=threads, progress=False)


def findings(found):
    """The numbers that practice speaks about [%], as a dict.

    Parameters
    ----------
    found : dict of Sweep
        From `sweeps`.

    Returns
    -------
    dict
        Loss of peak power and of peak torque with the small bore, and of torque at the speed where
        the open collector has most; share of the peaks that the larger bore gives back; change of
        torque of both systems, best and mean, up to half the speed of peak power of the open
        collector.
    """
    base, small, large = (sweep for sweep in found.values())
    peak = {
        name: [float(sweep[name].max()) for sweep in (base, small, large)]
        for name in ("power", "torque")
    }
    low = base.rpm <= 0.5 * base.rpm[np.argmax(base["power"])]
    top = np.argmax(base["torque"])
    change = [
        100.0 * (sweep["torque"][low] / base["torque"][low] - 1.0) for sweep in (small, large)
    ]
    lost = {name: values[0] - values[1] for name, values in peak.items()}
    return {
        "loss of peak power, small bore": 100.0 * lost["power"] / peak["power"][0],
        "loss of peak torque, small bore": 100.0 * lost["torque"] / peak["torque"][0],
        "loss of torque at the open collector's speed of peak torque, small bore": 100.0 * (
            1.0 - float(small["torque"][top] / base["torque"][top])),
        "peak power given back by the larger bore": 100.0 * (
            peak["power"][2] - peak["power"][1]) / lost["power"],
        "peak torque given back by the larger bore": 100.0 * (
            peak["torque"][2] - peak["torque"][1]) / lost["torque"],
        "best gain of torque up to half the speed of peak power, small bore": change[0].max(),
        "best gain of torque up to half the speed of peak power, larger bore": change[1].max(),
        "mean change of torque there, small bore": change[0].mean(),
        "mean change of torque there, larger bore": change[1].mean(),
    }


_OVERLAP = "the pressure at the exhaust valve in overlap decides, see the table above"

#: What practice says to each finding, and our reading of what is computed.
PRACTICE = {
    "loss of peak power, small bore": (
        "a few per cent",
        "back pressure grows with the square of the flow and is highest at peak power",
    ),
    "loss of peak torque, small bore": (
        "somewhat more than of power",
        "the open collector draws in overlap at that speed, and a pipe behind it turns the wave "
        "round; but the highest torque of the complete system lies at another speed",
    ),
    "loss of torque at the open collector's speed of peak torque, small bore": (
        "somewhat more than of power", "as before, at one and the same speed",
    ),
    "peak power given back by the larger bore": (
        "most of it",
        "1.2 in bore is 1.44 in area, so half the dynamic pressure, which all losses follow; the "
        "header, the silencer and the reflection at the pipe stay",
    ),
    "peak torque given back by the larger bore": ("most of it", "as for power"),
    "best gain of torque up to half the speed of peak power, small bore": (
        "slightly up",
        "where the open collector pushes into the cylinder in overlap, the pipe takes that away",
    ),
    "best gain of torque up to half the speed of peak power, larger bore": ("slightly up", "alike"),
    "mean change of torque there, small bore": (
        "slightly up", "at the lowest speeds the long pipe pushes instead: " + _OVERLAP,
    ),
    "mean change of torque there, larger bore": ("slightly up", "alike: " + _OVERLAP),
}


def overlap_pressure(point):
    """Mean pressure at exhaust valve 1 while both valves are open, less that of the air [Pa]."""
    events = point.meta["events_deg"]
    trace = point.trace("pressure", "exhaust valve 1")
    own = (trace.x - point.meta["firing_angles_deg"][0]) % 720.0
    both = (own >= events["intake"][0]) & (own <= events["exhaust"][1])
    return float(trace.values[both].mean()) - point.ambient.pressure


# --- what the pipes take --------------------------------------------------------------------------


def gas_fields(point, duct):
    """Places [m], pressure [Pa], velocity [m/s], temperature [K], density [kg/m3] in a duct.

    All but the places over crank angle and place.
    """
    samples = point.samples
    names = ("pressure", "velocity", "temperature", "density")
    return samples.centres(duct), *(samples.field(name, duct).astype(float) for name in names)


def straight_lines(exhaust):
    """(duct, parts, where they start [m]) of the lines of constant bore before and behind the
    silencer.
    """
    taper, *pipe = exhaust.pipe
    _, *tail = exhaust.tailpipe
    return (("pipe", pipe, taper.length), ("tailpipe/2", tail, 0.0))


def marched_loss(point, duct, start):
    """Loss of mean pressure and momentum flux [Pa] between the first and the last cell."""
    x, p, u, _, rho = gas_fields(point, duct)
    push = np.mean(p + rho * u**2, axis=0)[x > start]
    return push[0] - push[-1]


def viscosity(T):
    """Dynamic viscosity [Pa s] by Sutherland's law for air."""
    mu_0, T_0, S = SUTHERLAND
    return mu_0 * (T / T_0) ** 1.5 * (T_0 + S) / (T + S)


def handbook_loss(point, duct, parts, start):
    """The same by the Darcy friction factor and the loss of bends, from the marched flow [Pa].

    Both act on the mean over the cycle of rho u |u| / 2.
    """
    x, _, u, T, rho = gas_fields(point, duct)
    bore, roughness = parts[0].diameter, parts[0].roughness
    head = np.mean(0.5 * rho * u * np.abs(u), axis=0)
    reynolds = np.mean(rho * np.abs(u) * bore / viscosity(T), axis=0)
    friction = np.array([
        fluids.friction_factor(Re=one, eD=roughness / bore, Method="Colebrook") for one in reynolds
    ])
    inside = x > start
    loss = np.trapezoid((friction * head)[inside] / bore, x[inside])
    for part in parts:
        if isinstance(part, ws.Bend):
            f = np.interp(start + 0.5 * part.length, x, friction)
            beyond = fluids.fittings.bend_rounded(
                Di=bore, angle=part.angle_deg, fd=f, rc=part.centre_radius, method="Rennels"
            ) - f * part.length / bore
            counted = np.clip((x[-1] - start) / part.length, 0.0, 1.0)
            loss += counted * beyond * np.interp(start + 0.5 * part.length, x, head)
        start += part.length
    return loss


def silencer_coefficients(point):
    """Loss of the silencer over the dynamic pressure in its core: as marched, and by the fit.

    The second is 0.06 times the area of all holes over that of the core, and wall friction.
    """
    x, _, u, _, rho = gas_fields(point, "tailpipe/1 core")
    head = np.mean(0.5 * rho * u * np.abs(u))
    _, p, u, _, rho = gas_fields(point, "pipe")
    before = np.mean((p + rho * u**2)[:, -1])
    _, p, u, T, rho = gas_fields(point, "tailpipe/2")
    behind = np.mean((p + rho * u**2)[:, 0])
    core = point.exhaust.tailpipe[0].core
    reynolds = np.mean(rho * np.abs(u) * core.diameter / viscosity(T))
    friction = fluids.friction_factor(Re=reynolds, eD=core.roughness / core.diameter)
    holes = 4.0 * point.exhaust.tailpipe[0].porosity * core.length / core.diameter
    return (before - behind) / head, 0.06 * holes + friction * core.length / core.diameter


# --- tables ---------------------------------------------------------------------------------------


def _markdown(heads, rows, numbers):
    """A Markdown table: a column of text, so many of numbers, then text."""
    align = ["---"] + ["---:"] * numbers + ["---"] * (len(heads) - 1 - numbers)
    return "\n".join(f"| {' | '.join(line)} |" for line in [heads, align, *rows])


def _by_speed(found, value, title):
    """Table of one value of every point, exhausts side by side."""
    rows = [[f"{points[0].rpm:.0f}", *(f"{value(point):.1f}" for point in points)]
            for points in zip(*found.values(), strict=True)]
    return f"{title}:\n\n" + _markdown(["rev/min", *found], rows, len(found))


def _practice_table(found):
    rows = [[name, f"{value:+.1f}", *PRACTICE[name]] for name, value in findings(found).items()]
    return "Beside common practice, which has no source:\n\n" + _markdown(
        ["finding", "computed [%]", "practice", "our reading"], rows, 1
    )


STATIONS = {"valves": ("exhaust port 1", 0), "collector": ("collector", 0), "pipe": ("pipe", 0),
            "silencer": ("tailpipe/1 core", 0), "tailpipe": ("tailpipe/2", 0)}


def mean_gauge(point, duct, cell):
    """Mean pressure in a cell of a duct less that of the air [Pa]."""
    return np.mean(gas_fields(point, duct)[1][:, cell]) - point.ambient.pressure


def _station_table(found, rpm):
    """Mean pressures on the way out, and what the silencer takes."""
    rows = [
        [name, *(f"{mean_gauge(sweep[rpm], *place) / 1e3:.1f}" for place in STATIONS.values()),
         *(f"{value:.2f}" for value in silencer_coefficients(sweep[rpm]))]
        for name, sweep in list(found.items())[1:]
    ]
    heads = ["system", *STATIONS, "loss of the silencer", "by the fit"]
    return (
        f"Mean gauge pressure [kPa] where each part begins, {rpm:g} rev/min, and the loss of the "
        "silencer over the dynamic pressure in its core:\n\n"
        + _markdown(heads, rows, len(heads) - 1)
        + "\n\nThe last column is the fit to whole silencers in steady flow: 0.06 times the area "
        "of the holes over that of the bore (Munjal 2014, ch. 3, from memory), and wall friction.  "
        "`case_fittings` compares both in steady flow; pulses drive more gas through the holes, "
        "which comes back without its speed."
    )


def report(found):
    """All tables as Markdown."""
    tables = [
        _by_speed(found, lambda point: point.torque, "Torque [N m]"),
        _by_speed(found, lambda point: overlap_pressure(point) / 1e3,
                  "Gauge pressure in overlap [kPa]"),
        _by_speed(found, lambda point: point.back_pressure / 1e3,
                  "Mean gauge pressure at the valves [kPa]"),
        _station_table(found, max(next(iter(found.values())).rpm)),
        _practice_table(found),
    ]
    return "\n\n".join(tables)


# --- checks ---------------------------------------------------------------------------------------


@cache
def all_points():
    """Sweeps at all speeds."""
    return sweeps(threads=1)


def _ledger_checks():
    for name, sweep in all_points().items():
        for what in ("mass", "energy"):
            worst = max((point.audit[f"{what}_error"] for point in sweep), key=abs)
            yield Check(
                f"{name}: worst ledger of {what} of {len(sweep)} speeds, over its turnover", worst,
                0.0, bound(min(left_in_cycle(point.audit) for point in sweep)), "conservation law",
                "Walls, packing and silencer included, only rounding is left. " + WHY,
            )


def _balance_checks():
    for name, sweep in list(all_points().items())[1:]:
        for rpm in BALANCED_RPM:
            for duct, parts, start in straight_lines(sweep[rpm].exhaust):
                line = "pipe" if duct == "pipe" else "tailpipe behind the silencer"
                yield Check(
                    f"{name}, {rpm:g} rev/min: mean pressure lost in the {line}",
                    marched_loss(sweep[rpm], duct, start),
                    handbook_loss(sweep[rpm], duct, parts, start), "3 %",
                    "fluids: friction factor of Colebrook, bends of Rennels and Hudson (2012)",
                    "Explicit formulas of friction differ from Colebrook's by 1 or 2 %, and the "
                    "handbook's factor is taken at the mean Reynolds number of pulsating flow.",
                    "Pa",
                )


PART_NAMES = {"primary 1": "primary", "collector": "collector", "pipe": "pipe",
              "tailpipe/1 core": "silencer", "tailpipe/2": "tailpipe"}


def draw():
    """Torque and power over speed, and mean pressure on the way out at the highest speed."""
    found = all_points()
    *upper, lower = axes = ws.plots.new_axes(3, height=3.4)
    ws.plots.plot_torque_power(list(found.values()), axes=upper)
    for i, (name, sweep) in enumerate(found.items()):
        point, way = sweep[max(sweep.rpm)], 0.0
        ducts = point.samples.layout["ducts"]
        for duct in ("exhaust port 1", *PART_NAMES):
            if duct in ducts:
                x, p, *_ = gas_fields(point, duct)
                gauge = np.mean(p, axis=0) - point.ambient.pressure
                if i == 1 and "port" not in duct:
                    lower.text(way + 0.5 * ducts[duct]["length"], 44.0, PART_NAMES[duct],
                               ha="center", color=ws.plots.REFERENCE)
                    lower.axvline(way, color=ws.plots.FAINT, lw=0.8, zorder=0)
                lower.plot(way + x, gauge / 1e3, color=ws.plots.colour(i), lw=1.6,
                           label=name if duct == "primary 1" else "")
                way += ducts[duct]["length"]
    lower.set_title(f"Mean pressure on the way out, {max(RPM)} rev/min", loc="left")
    lower.set_xlabel("distance from the exhaust valve of cylinder 1 [m]")
    lower.set_ylabel("mean gauge pressure [kPa]")
    lower.set_ylim(top=49.0)
    lower.legend(frameon=False, bbox_to_anchor=(1.0, 0.85))
    return axes


def run():
    """All checks, torque, power and mean pressure as a figure, all tables as notes."""
    return Case((*_ledger_checks(), *_balance_checks()), draw(), (report(all_points()),))
