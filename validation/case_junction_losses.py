"""Loss coefficients of a junction of three equal pipes beside published measurements.

Steady flow through a tee or wye of 50 mm pipes at Mach 0.1 in the leg that carries all the flow.
The loss coefficient of a leg is the difference of stagnation pressure between the combined leg and
that leg, over the dynamic pressure of the combined leg; q is the flow of the branch over the whole.

    combining   p0_leg - p0_combined          dividing   p0_combined - p0_leg

Published: the Munich measurements (1926 to 1931) and the formulas of Gardel (1957), both from
memory; the momentum balance without wall forces (LO-6) and the formula of Hager (1984, LO-7).  Run
this file to print the table and draw `report/junction_losses.png` beside it.
"""

import sys
from pathlib import Path

import numpy as np

import wavesim as ws
from wavesim import exact

FOLDER = Path(__file__).resolve().parent
REPORT = FOLDER / "report"
sys.path.insert(0, str(FOLDER.parent / "tests"))

from references import references  # noqa: E402

BORE, LENGTH = 0.05, 0.4  # m
P, T = 101325.0, 300.0
AIR = ws.PerfectGas()
SPEED = 0.1 * float(AIR.sound_speed(T))  # m/s in the combined leg
FLOWS = ("combining", "dividing")
ANGLES = (90.0, 45.0)
RATIOS = (0.0, 0.2, 0.4, 0.6, 0.8, 1.0)
QUANTITIES = {"branch_loss": "branch", "straight_loss": "straight"}


def network(flow, angle_deg, velocities, model="momentum"):
    """Combined leg, straight leg and branch between anechoic ends that drive the velocities.

    `velocities` [m/s] are those wanted in (combined, straight, branch), all positive.
    """
    names = ("combined", "straight", "branch")
    rho_c = float(AIR.density(P, T)) * float(AIR.sound_speed(T))
    into = {"combined": flow == "dividing", "straight": flow == "combining"}
    into["branch"] = into["straight"]
    azimuths = (0.0, 180.0, 180.0 - angle_deg)
    nodes = {
        f"far {name}": ws.AnechoicEnd(
            f"{name}.start", pressure=P + (1.0 if into[name] else -1.0) * rho_c * speed,
            temperature=T,
        )
        for name, speed in zip(names, velocities, strict=True)
    }
    nodes["junction"] = ws.Junction(
        tuple(f"{name}.end" for name in names), model=model, angles_deg=azimuths
    )
    return ws.Network({name: ws.Pipe(LENGTH, BORE, cell_length=0.02) for name in names}, nodes)


def settle(flow, angle_deg, ratio, model="momentum"):
    """(q, branch loss, straight loss) of a steady flow whose flow ratio is near `ratio`."""
    wanted = SPEED * np.array([1.0, 1.0 - ratio, ratio])
    drive = wanted.copy()
    along = np.array([1.0, -1.0, -1.0]) * (1.0 if flow == "dividing" else -1.0)
    for _ in range(3):
        final = ws.simulate(
            network(flow, angle_deg, drive, model), 0.15, gas=AIR, samples=0,
            settings=ws.Settings(friction=False, wall_heat=False),
        ).final
        legs = [final[name] for name in ("combined", "straight", "branch")]
        speed = along * [leg["u"][-2] for leg in legs]
        drive += wanted - speed
    mach2 = np.array([leg["u"][-2] ** 2 / AIR.sound_speed(leg["T"][-2]) ** 2 for leg in legs])
    p = np.array([leg["p"][-2] for leg in legs])
    total = p * (1.0 + 0.2 * mach2) ** 3.5
    head = 0.5 * legs[0]["rho"][-2] * speed[0] ** 2
    sign = 1.0 if flow == "combining" else -1.0
    straight, branch = sign * (total[1:] - total[0]) / head
    return speed[2] / speed[0], branch, straight


def published(flow, angle_deg, quantity):
    """Measured loss coefficients at `RATIOS`."""
    rows = [
        row for row in references("LO-5")
        if row.quantity == quantity and row.case["flow"] == flow
        and row.case["angle_deg"] == angle_deg
    ]
    found = {row.case["flow_ratio"]: row.value for row in rows}
    return np.array([found[q] for q in RATIOS])


def gardel(flow, angle_deg, quantity):
    """Flow ratios and loss coefficients by the formulas of Gardel (1957), as far as tabulated."""
    rows = [
        row for row in references("LO-5")
        if row.quantity == f"gardel_{quantity}" and row.case["flow"] == flow
        and row.case["angle_deg"] == angle_deg
    ]
    return [row.case["flow_ratio"] for row in rows], [row.value for row in rows]


def theory(flow, angle_deg):
    """Branch loss by momentum alone, combining, or by Hager (1984), dividing."""
    law = exact.combining_loss if flow == "combining" else exact.dividing_loss
    return np.array([law(q, angle_deg) for q in RATIOS])


def table(model="momentum"):
    """All cases: a dict by (flow, angle) of arrays (n_ratio, 3), q, branch and straight loss."""
    return {
        (flow, angle): np.array([settle(flow, angle, q, model) for q in RATIOS])
        for flow in FLOWS for angle in ANGLES
    }


def report(found):
    """The table as text, one line for each leg and flow ratio."""
    lines = ["flow       angle leg        q   computed published difference   theory"]
    for (flow, angle), values in found.items():
        for column, (quantity, leg) in enumerate(QUANTITIES.items(), start=1):
            measured = published(flow, angle, quantity)
            other = theory(flow, angle) if leg == "branch" else np.full(len(RATIOS), np.nan)
            for q, mine, theirs, law in zip(
                RATIOS, values[:, column], measured, other, strict=True
            ):
                lines.append(
                    f"{flow:10s} {angle:4.0f}  {leg:8s} {q:4.1f} {mine:9.2f} {theirs:9.2f} "
                    f"{mine - theirs:+9.2f}" + (f" {law:11.2f}" if np.isfinite(law) else "")
                )
    lines.append("")
    for (flow, angle), values in found.items():
        for column, (quantity, leg) in enumerate(QUANTITIES.items(), start=1):
            off = values[:, column] - published(flow, angle, quantity)
            lines.append(
                f"{flow} {angle:.0f} deg, {leg}: deviation rms {np.sqrt(np.mean(off**2)):.2f}, "
                f"largest {off[np.argmax(np.abs(off))]:+.2f}"
            )
    return "\n".join(lines)


def draw(found, other, path):
    """Curves of both junction models over the published points; crosses are Gardel's formulas."""
    axes = ws.plots.new_axes(4, height=3.0)
    for ax, (key, values) in zip(axes, found.items(), strict=True):
        for column, (quantity, leg) in enumerate(QUANTITIES.items(), start=1):
            style = {"color": ws.plots.COLOURS[column - 1]}
            ax.plot(RATIOS, published(*key, quantity), "o", label=f"{leg}, measured", **style)
            ax.plot(*gardel(*key, quantity), "x", label=f"{leg}, Gardel's formula", **style)
            ax.plot(values[:, 0], values[:, column], label=f"{leg}, momentum cell", **style)
            ax.plot(other[key][:, 0], other[key][:, column], ":", label=f"{leg}, one pressure",
                    **style)
        ax.set_title(f"{key[0]} flow, branch at {key[1]:.0f} deg", loc="left")
        ax.set_ylabel("loss coefficient")
        ax.axhline(0.0, color="0.7", lw=0.8, zorder=0)
    handles, labels = axes[0].get_legend_handles_labels()
    axes[0].figure.legend(handles, labels, loc="outside upper center", ncols=2, frameon=False)
    axes[-1].set_xlabel("flow of the branch over the whole")
    return ws.plots.save_figure(axes, path)


if __name__ == "__main__":
    REPORT.mkdir(exist_ok=True)
    momentum = table()
    print(report(momentum))
    print("figure:", draw(momentum, table("pressure"), REPORT / "junction_losses.png").name)
