"""A shock comes back from a closed end as a shock and from an open end as a rarefaction.

A shock runs into still gas and meets the end of its pipe.  Closed end: pressure, temperature and
speed of the reflected shock against the exact reflection (Liepmann and Roshko 1957, ch. 3).  Open
end held at the outside pressure (Rudinger 1969): the quasi-steady exit state in its three regimes,
subsonic, sonic, and supersonic where nothing can run back, and how far the returned rarefaction has
come.  Shock Mach numbers from 1.1 to 3, cells of 5 mm.
"""

from functools import cache

import numpy as np
from case_riemann import crossing
from marches import IDEAL, P0, T0, R, cut
from references import references
from suite import Case, Check

import wavesim as ws
from wavesim import exact

BORE = 0.05  # m
LENGTH, RUN, CELL = 3.0, 0.2, 0.005  # of the pipe, of the shock before it meets the end, m
CLOSED_HOLD, OPEN_HOLD = 0.25, 0.5  # march after that, as the way of sound in the still gas [m]


@cache
def shock_at(end, mach, gamma, hold):
    """A shock sent into an end: the result, and the sound speed before it [m/s]."""
    c1, behind = exact.sound_speed(T0, gamma, R), exact.moving_shock(mach, gamma)

    def start(x):
        hit = x < LENGTH - RUN
        return (
            np.where(hit, P0 * behind.pressure, P0), np.where(hit, behind.u * c1, 0.0),
            np.where(hit, T0 * behind.temperature, T0), "air",
        )

    feed = ws.AnechoicEnd(
        "a.start", pressure=P0 * behind.pressure, temperature=T0 * behind.temperature
    )
    net = ws.Network({"a": ws.Pipe(LENGTH, BORE, cell_length=CELL)}, {"far": feed, "end": end})
    result = ws.simulate(
        net, RUN / (mach * c1) + hold / c1, gas=ws.PerfectGas(gamma, R), settings=IDEAL,
        initial={"a": start}, samples=400,
    )
    return result, c1


# closed end ---------------------------------------------------------------------------------------

WALL = ws.ClosedEnd("a.end")
WALL_ROWS = [row for row in references("FW-8") if row.quantity != "p2/p1"]


def at_wall(row):
    """p5/p1 or T5/T1 of a row, between the heated cells at the wall and the shock."""
    final = shock_at(WALL, row.case["shock_mach"], row.case["gamma"], CLOSED_HOLD)[0].final["a"]
    name, rest = ("p", P0) if row.quantity == "p5/p1" else ("T", T0)
    away = LENGTH - final["x"]
    return final[name][(away > 0.1) & (away < 0.2)].mean() / rest


def reflected_shock(mach, gamma):
    """Distance of the reflected shock from the wall, found and exact [m]."""
    final = shock_at(WALL, mach, gamma, CLOSED_HOLD)[0].final["a"]
    before, behind = exact.moving_shock(mach, gamma), exact.shock_at_closed_end(mach, gamma)
    density = behind.over_incident / (behind.temperature / before.temperature)
    run = before.u / (density - 1.0) * CLOSED_HOLD  # mass that stops between shock and wall
    middle = 0.5 * (before.pressure + behind.pressure) * P0
    return LENGTH - crossing(final["x"], final["p"], middle, LENGTH - run, 6.0 * CELL), run


# open end -----------------------------------------------------------------------------------------

MOUTH = cut("a.end")
GAMMA = 1.4  # of all rows
EXIT = {"u3/c1", "M3", "p3/p1", "c3/c1"}
MOUTH_ROWS = [
    row for row in references("FW-9") if row.quantity in EXIT and "shock_mach" in row.case
]
FANS = (1.1, 1.2, 1.3, 1.5)  # shock Mach numbers with a rarefaction that runs far


def exit_state(mach, hold=OPEN_HOLD):
    """u3/c1, M3, p3/p1 and c3/c1 at the end of the march, from the face of the open end."""
    result, c1 = shock_at(MOUTH, mach, GAMMA, hold)
    p, u, flow = (
        result.trace(name, "end").values[-1] for name in ("pressure", "velocity", "mass_flow")
    )
    c = np.sqrt(GAMMA * p * u * 0.25 * np.pi * BORE**2 / flow)
    return {"u3/c1": u / c1, "M3": u / c, "p3/p1": p / P0, "c3/c1": c / c1}


def fan(mach, p_ratio):
    """Distance from the mouth [m] at which the returned rarefaction has the pressure p_ratio p1."""
    shock = exact.moving_shock(mach, GAMMA)
    c2 = np.sqrt(shock.temperature)
    c = c2 * (p_ratio / shock.pressure) ** (0.5 * (GAMMA - 1.0) / GAMMA)
    u = shock.u + 2.0 / (GAMMA - 1.0) * (c2 - c)
    return (c - u) * OPEN_HOLD


def rarefaction(mach):
    """Distance of the middle of the returned rarefaction from the mouth, found and exact [m]."""
    final = shock_at(MOUTH, mach, GAMMA, OPEN_HOLD)[0].final["a"]
    shock, end = exact.moving_shock(mach, GAMMA), exact.shock_at_open_end(mach, GAMMA)
    middle = 0.5 * (shock.pressure + end.pressure)
    away = fan(mach, middle)
    found = crossing(final["x"], final["p"], middle * P0, LENGTH - away, 10.0 * CELL)
    return LENGTH - found, away


# checks -------------------------------------------------------------------------------------------


def _wall_checks():
    for row in WALL_ROWS:
        mach, gamma = row.case["shock_mach"], row.case["gamma"]
        yield Check(
            f"{row.quantity} behind the reflected shock, shock Mach {mach:g}, gamma {gamma:g}",
            at_wall(row), row.value, "0.05 %", row.source,
            "The scheme keeps mass, momentum and energy, so that the level behind a captured shock "
            "is exact but for small ripples that the two jumps of the start send out.",
        )
        if row.quantity == "p5/p1":
            found, should = reflected_shock(mach, gamma)
            yield Check(
                f"way of the reflected shock from the wall, shock Mach {mach:g}, gamma {gamma:g}",
                found, should, "0.0005 abs", "mass balance of the exact reflection, Liepmann and "
                "Roshko 1957, ch. 3",
                "A tenth of a cell of 5 mm, 0.2 % of the way: the speed of a captured shock is "
                "exact, its birth at the wall costs a few hundredths of a cell.",
                "m",
            )


def _mouth_checks():
    for row in MOUTH_ROWS:
        mach = row.case["shock_mach"]
        yield Check(
            f"{row.quantity} at the open end, shock Mach {mach:g}", exit_state(mach)[row.quantity],
            row.value, "0.002 %", row.source,
            "Once the rarefaction has moved off, the exit is a steady state in which the end has "
            "no cell error; what is left are traces of the start and the digits of the table.",
        )
    shock = exact.moving_shock(2.5, GAMMA)
    state = exit_state(2.5, 0.3)
    for quantity, value in (("p3/p1", shock.pressure), ("u3/c1", shock.u), ("M3", shock.mach)):
        yield Check(
            f"{quantity} at the open end, shock Mach 2.5, supersonic gas", state[quantity], value,
            "0.1 %", "moving shock, Liepmann and Roshko 1957, sec. 3.2",
            "Nothing runs back, so that the exit shows what arrives, with the ripples of the start "
            "of a strong shock.",
        )
    for mach in FANS:
        found, should = rarefaction(mach)
        yield Check(
            f"way of the middle of the returned rarefaction, shock Mach {mach:g}", found, should,
            "0.001 abs", "simple wave centred at the end, Rudinger 1969",
            "A fifth of a cell of 5 mm: the shock meets the end over several cells, where the "
            "exact rarefaction starts from a point.",
            "m",
        )


def _heating_note():
    final = shock_at(WALL, 2.0, GAMMA, CLOSED_HOLD)[0].final["a"]
    excess = final["T"][-1] / T0 / exact.shock_at_closed_end(2.0, GAMMA).temperature - 1.0
    return (
        f"The cell at the wall is {excess:+.2%} off the exact temperature after a shock of Mach 2: "
        "a shock that is reflected on a mesh leaves a little too much entropy there, as in all "
        "conservative schemes. Pressures are not touched by it."
    )


# figure -------------------------------------------------------------------------------------------


def _draw_closed(ax):
    for i, mach in enumerate((1.2, 1.5, 2.0)):
        shock, wall = exact.moving_shock(mach, GAMMA), exact.shock_at_closed_end(mach, GAMMA)
        away = reflected_shock(mach, GAMMA)[1]
        ax.plot([-0.5, -away, -away, 0.0],
                1e-5 * P0 * np.array([shock.pressure] * 2 + [wall.pressure] * 2),
                color=ws.plots.REFERENCE, label="exact" if i == 0 else None)
        final = shock_at(WALL, mach, GAMMA, CLOSED_HOLD)[0].final["a"]
        shown = final["x"] > LENGTH - 0.5
        ax.plot(final["x"][shown] - LENGTH, 1e-5 * final["p"][shown], ws.plots.MARKERS[i], ms=3.0,
                color=ws.plots.COLOURS[i], label=f"shock Mach {mach:g}")
    ax.set_title("Shocks on their way back from a closed end", loc="left")


def _draw_open(ax):
    for i, mach in enumerate((1.2, 1.3, 1.5)):
        shock, end = exact.moving_shock(mach, GAMMA), exact.shock_at_open_end(mach, GAMMA)
        p = np.linspace(shock.pressure, end.pressure, 50)
        away = np.array([fan(mach, ratio) for ratio in p])
        ax.plot([-0.5, *-away, 0.0], 1e-5 * P0 * np.array([p[0], *p, p[-1]]),
                color=ws.plots.REFERENCE, label="exact" if i == 0 else None)
        final = shock_at(MOUTH, mach, GAMMA, OPEN_HOLD)[0].final["a"]
        shown = final["x"] > LENGTH - 0.5
        ax.plot(final["x"][shown] - LENGTH, 1e-5 * final["p"][shown], ws.plots.MARKERS[i], ms=3.0,
                color=ws.plots.COLOURS[i], label=f"shock Mach {mach:g}")
    ax.set_title("Rarefactions on their way back from an open end", loc="left")


def _draw_states(ax):
    mach = np.linspace(1.0, 3.0, 101)
    curves = {
        "closed end": [exact.shock_at_closed_end(m, GAMMA).pressure for m in mach],
        "arriving shock": [exact.moving_shock(m, GAMMA).pressure for m in mach],
        "open end": [exact.shock_at_open_end(m, GAMMA).pressure for m in mach],
    }
    for (name, p), style in zip(curves.items(), ("-", ":", "--"), strict=True):
        ax.semilogy(mach, p, style, color=ws.plots.REFERENCE, label=f"exact, {name}")
    closed = [row for row in WALL_ROWS if row.quantity == "p5/p1" and row.case["gamma"] == GAMMA]
    ax.plot([row.case["shock_mach"] for row in closed], [at_wall(row) for row in closed], "o",
            color=ws.plots.COLOURS[0], label="marched, closed end")
    opened = (1.1, 1.2, 1.3, 1.5, 2.0)
    ax.plot(opened, [exit_state(m)["p3/p1"] for m in opened], "D", color=ws.plots.COLOURS[1],
            label="marched, open end")
    ax.plot([2.5], [exit_state(2.5, 0.3)["p3/p1"]], "D", color=ws.plots.COLOURS[1])
    ax.set_yticks([1, 2, 5, 10, 20, 50], ["1", "2", "5", "10", "20", "50"])
    ax.set_title("Pressure at the end", loc="left")
    ax.set_xlabel("Mach number of the arriving shock [-]")
    ax.set_ylabel("pressure over that before the shock [-]")


def draw():
    """Waves on their way back, and the pressure at both ends against the strength of the shock."""
    axes = ws.plots.new_axes(3, width=9.5, height=3.2)
    for ax, panel in zip(axes, (_draw_closed, _draw_open, _draw_states), strict=True):
        panel(ax)
        ax.legend(frameon=False, loc="center left", bbox_to_anchor=(1.0, 0.5))
    for ax in axes[:2]:
        ax.set_xlabel("position, the end at 0 [m]")
        ax.set_ylabel("pressure [bar]")
    return axes


def run():
    """States and waves at both ends, and the figure."""
    return Case((*_wall_checks(), *_mouth_checks()), draw(), (_heating_note(),))
