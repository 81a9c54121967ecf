"""Draw the figures of the README and of the guide anew: `python notebooks/figures.py`.

It runs the default demo and lengths of collector on the engine of another study, which takes a
minute or two, and writes small PNG files into notebooks/figures.
"""

from pathlib import Path

import matplotlib
from matplotlib import pyplot
from PIL import Image

import wavesim as ws

FOLDER = Path(__file__).parent / "figures"
DPI, COLOURS = 80, 255


def keep(figure, name):
    """Write a figure as a PNG of few colours."""
    FOLDER.mkdir(exist_ok=True)
    path = FOLDER / f"{name}.png"
    figure.savefig(path, dpi=DPI)
    Image.open(path).convert("RGB").quantize(COLOURS).save(path, optimize=True)


def reason(a, b):
    """Torque and power of both, and what the difference of torque is made of."""
    figure, axes = pyplot.subplots(2, figsize=(9, 9), layout="constrained",
                                   height_ratios=(1.1, 1.0))
    ws.plots.plot_power_chart([a, b], axes[0])
    ws.contributions(a, b).plot(axes[1])
    axes[1].use_sticky_edges = False  # the tallest bar ends inside the frame
    axes[1].autoscale_view()
    return figure


def pressure(a, b, rpm):
    """Pressure at an exhaust valve at the speeds of largest gain and loss."""
    axes = ws.plots.new_axes(len(rpm), height=3.4)
    ws.plots.plot_valve_pressures([a, b], rpm, axes)
    return axes[0].figure


def collector_map():
    """Torque over collector length and speed less that of the base, tuned lengths drawn over it."""
    study = ws.load(ws.demo_path("collector"))
    base, settings = study.exhausts[study.base], ws.Settings(cell_length=0.025, sample_deg=2.0)
    lengths = {"exhaust.collector.length": [0.10, 0.15, 0.20, 0.30, 0.40, 0.50, 0.60, 0.80]}
    found = ws.explore(study.engine, base, lengths, range(2000, 7001, 500), settings=settings)
    point = ws.run_point(study.engine, base, 4500.0, settings=settings)
    (ax,) = ws.plots.new_axes(height=5.2)
    return found.map("torque").difference().plot(ax, sound=point).figure


if __name__ == "__main__":
    matplotlib.use("Agg")
    sweeps = ws.run_study(ws.load(ws.demo_path()))
    opened, _, wide = sweeps.values()
    keep(reason(opened, wide), "reason")
    keep(pressure(opened, wide, [3000, 4000]), "valve_pressure")
    exhaust = ws.load(ws.demo_path()).exhausts[wide.name]
    keep(ws.draw_exhaust(exhaust, ws.load(ws.demo_path()).engine).figure, "complete")
    keep(collector_map(), "map")
