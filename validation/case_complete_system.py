"""Open collector and complete systems of two bores on one engine: the example study `complete`.

Prints our numbers beside what is common practice.  That practice has no source that could be
named: it is what people who tune engines say, and it serves as a question, not as a bound.  All
data of the study are invented, and nothing in it was fitted to the answers.  Run this file to
print the tables and draw `report/complete_system.png` beside it; it takes a minute or two.
"""

from pathlib import Path

import numpy as np

import wavesim as ws

REPORT = Path(__file__).resolve().parent / "report"
RPM = tuple(range(1500, 7001, 500))


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
    return float(trace.values[both].mean()) - point.exhaust.ambient.pressure


def _by_speed(found, value, title):
    """Table of one value of every point, exhausts side by side."""
    lines = [f"{'rev/min':>8s}" + "".join(f"{name:>20s}" for name in found) + f"   {title}"]
    for points in zip(*found.values(), strict=True):
        row = "".join(f"{value(point):20.1f}" for point in points)
        lines.append(f"{points[0].rpm:8.0f}{row}")
    return [*lines, ""]


def report(found):
    """All tables as text."""
    lines = _by_speed(found, lambda point: point.torque, "torque [N m]")
    lines += _by_speed(
        found, lambda point: overlap_pressure(point) / 1e3, "gauge pressure in overlap [kPa]"
    )
    lines += _by_speed(
        found, lambda point: point.back_pressure / 1e3, "mean gauge pressure at the valves [kPa]"
    )
    lines.append(f"{'finding':72s} computed   common practice, no source")
    for name, value in findings(found).items():
        practice, why = PRACTICE[name]
        lines += [f"{name:72s} {value:+7.1f}%   {practice}", f"    because: {why}"]
    worst = max(
        abs(point.audit[key])
        for sweep in found.values() for point in sweep for key in ("mass_error", "energy_error")
    )
    lines += ["", f"worst ledger of mass or energy of all points: {worst:.0e}"]
    return "\n".join(lines)


if __name__ == "__main__":
    REPORT.mkdir(exist_ok=True)
    computed = sweeps()
    print(report(computed))
    axes = ws.plots.plot_torque_power(list(computed.values()))
    print("figure:", ws.plots.save_figure(axes, REPORT / "complete_system.png").name)
