"""Common practice beside ours: open collectors and complete systems of two bores on a V engine.

An invented six-cylinder V engine of three litres with mild cams stands on open collectors with
extensions, then on a complete system of too small a bore for each bank, and on one 20 % larger,
with and without a link of the banks.  What people who tune engines say of such systems has no
source; it was seen in pulls of seconds and is worth no more than sign and size.  It stands beside
our numbers as a question, not as a bound.

Walls are taken in three ways: those of minutes at each speed, those that warm in a pull of eleven
seconds, and stated ones of 550 to 800 K, the same at all speeds.  One thing after another is then
changed, to see what makes the loss of torque in the middle of the range.  Nothing was fitted to an
answer.  The checks are of other kinds: books that close, friction and bends of the handbook, and
the mesh.
"""

from functools import cache

import numpy as np
from case_complete_system import handbook_loss, marched_loss, overlap_pressure
from references import reference
from rounding import WHY, bound, left_in_cycle
from suite import Case, Check

import wavesim as ws

SPEEDS = (2000.0, 2750.0, 3500.0, 4000.0, 4500.0, 5000.0, 6000.0, 6500.0)
MIDDLE = (3500.0, 4000.0, 4500.0)
FUELLED = SPEEDS[-1:]
SETTINGS = ws.Settings(cell_length=0.05, sample_deg=5.0, tolerance=3e-3, max_cycles=25)
FINE = ws.Settings(cell_length=0.02, sample_deg=5.0, tolerance=1e-3)
WORST = 4000.0  # rev/min, where the linked systems lose most
BORE = 0.046  # m, of the small system
LARGER = 1.2  # times that
REACH = 0.15  # m, from the merge to the link or the pipe
FAR_REACH = 0.80
BALANCE = ws.Pipe(0.25, 0.030, heat_factor=1.5, wall_temperature=600.0)  # tube of an H-pipe
OPEN = "open collectors"
UPPER_FROM = 5000.0  # rev/min
UPPER = f"mean torque from {UPPER_FROM:g} rev/min on"
BANKS = ("no link", "X-pipe")
SIZES = ("small", "larger")
PULLED = ws.Pull(400.0, walls=450.0)  # 11 s from the first speed to the last; the metal before [K]
#: Temperatures stated for every line [K], the same at all speeds.
AS_STATED = {"primary": 800.0, "collector": 750.0, "pipe": 650.0, "tailpipe": 550.0}
STEADY, PULL, STATED = "walls of minutes", "walls of a pull", "stated walls"
WALLS = (STEADY, PULL, STATED)


# engine and exhausts ------------------------------------------------------------------------------


def engine(overlap=0.0, **changes):
    """The invented engine; both valves open `overlap` [deg] longer about top dead centre."""
    lift = {"checking_lift": 1e-3}
    intake = ws.Cam(opens_deg=2.0 + overlap, closes_deg=42.0, lift=0.0100, **lift)
    exhaust = ws.Cam(opens_deg=42.0, closes_deg=2.0 + overlap, lift=0.0095, **lift)
    runner = ws.Pipe(0.38, 0.043, end_diameter=0.042, wall_temperature=325.0)
    given = {
        "combustion": ws.Wiebe(
            ca50_deg=9.0, efficiency=0.97,
            burn_10_90_deg=ws.Table(x=(2000, 4500, 7000), y=(23.0, 25.0, 28.0))),
    } | changes
    return ws.Engine(
        name="invented three-litre V6", bore=0.089, stroke=0.0802, rod=0.145,
        compression_ratio=10.5, firing_order=(1, 2, 3, 4, 5, 6), banks=(1, 2, 1, 2, 1, 2),
        air_fuel_lambda=0.9,
        intake_valve=ws.Valve(diameter=0.033, count=2, lift=intake),
        exhaust_valve=ws.Valve(diameter=0.0295, count=2, lift=exhaust),
        intake_port=ws.Pipe(0.10, 0.042, end_diameter=0.040, wall_temperature=350.0),
        exhaust_port=ws.Pipe(
            0.08, 0.035, end_diameter=0.037, wall_temperature=550.0, heat_factor=2.0),
        intake=ws.Intake(
            runner=runner, plenum_volume=0.005, throttle_diameter=0.070,
            inlet=ws.Pipe(0.35, 0.078)),
        **given,
    )


def _wall(walls, line, metal="mild steel"):
    """Fields of a tube that say how hot its wall is."""
    if walls == STATED:
        return {"wall_temperature": AS_STATED[line]}
    return {"wall": ws.Wall("16 gauge", metal, outside="dyno-cell fan")}


def exhaust(name, walls=STEADY, cone=None, reach=REACH, link=None):
    """Open collectors, or a complete system as "small, no link"; see `SYSTEMS`.

    Parameters
    ----------
    name : str
    walls : {"walls of minutes", "walls of a pull", "stated walls"}
    cone : float or None
        Length of the cone of the merge [m].
    reach : float
        Length of the collector before the link or the pipe [m].
    link : HPipe or XPipe, optional
        Instead of the X-pipe that the name asks for.
    """
    header = {"heat_factor": 2.0}
    primary = ws.Pipe(0.70, 0.038, **header, **_wall(walls, "primary"))
    bore, hot = 0.054, header | _wall(walls, "collector")
    collector = (ws.Pipe(reach, bore, **hot),)
    common = {"name": name, "primary": primary,
              "merge": ws.Merge(angle_deg=12.0, cone_length=cone)}
    if name == OPEN:
        return ws.Exhaust(**common, collector=(*collector, ws.Pipe(0.50, bore, **hot)))
    size, asked = name.split(", ")
    joint = (link or ws.XPipe()) if asked == BANKS[1] else None
    own = BORE * (1.0 if size == SIZES[0] else LARGER)
    return ws.Exhaust(
        **common, collector=collector, bank_link=joint, **_complete(own, bore, walls)
    )


def _complete(bore, before, walls):
    """Pipe and tailpipe of one bank: taper, bends, packed silencer, turn-out."""
    used = {"heat_factor": 1.5, "roughness": "light rust"}
    front = used | _wall(walls, "pipe", "aluminised steel")
    rear = used | _wall(walls, "tailpipe", "aluminised steel")

    def bend(angle, tube):
        return ws.Bend(bore, angle, radius_ratio=1.5, **tube)

    def straight(length, tube):
        return ws.Pipe(length, bore, **tube)

    silencer = ws.PerforatedSilencer(
        0.45, bore, case_diameter=0.15, porosity=0.30, packing=ws.Packing(bulk_density=100.0))
    return {
        "pipe": (
            ws.Pipe(0.10, before, end_diameter=bore, **front), straight(0.35, front),
            bend(45, front), straight(0.25, front), bend(45, front), straight(1.15, front)),
        "tailpipe": (
            silencer, straight(0.15, rear), bend(60, rear), straight(0.40, rear), bend(60, rear),
            straight(0.55, rear), bend(30, rear)),
    }


SYSTEMS = (OPEN, *(f"{size}, {link}" for link in BANKS for size in SIZES))


def sweep(name, walls=STEADY, speeds=SPEEDS, settings=SETTINGS):
    """One system over speed."""
    return _sweep(name, walls, speeds, settings)


@cache
def _sweep(name, walls, speeds, settings):
    return ws.speed_sweep(engine(), exhaust(name, walls), speeds, settings=settings, threads=1,
                          progress=False, pull=PULLED if walls == PULL else None)


@cache
def on_fixed_fuel(name, speeds=FUELLED, settings=SETTINGS):
    """Excess-air ratio with the fuel flow of the open collectors, by speed."""
    base = sweep(OPEN, STEADY, speeds, settings)
    found = ws.speed_sweep(engine(), exhaust(name), speeds, settings=settings, threads=1,
                           progress=False, fuel_from=base)
    return found["air_fuel_lambda"]


# what practice speaks about -----------------------------------------------------------------------


def change(name, walls=STEADY, speeds=SPEEDS, settings=SETTINGS):
    """Torque over that of the open collectors, less one, by speed [%]."""
    own, base = (sweep(one, walls, speeds, settings)["torque"] for one in (name, OPEN))
    return 100.0 * (own / base - 1.0)


def findings(link, walls, speeds=SPEEDS, settings=SETTINGS):
    """What practice speaks about, for the small and the larger system.

    Returns
    -------
    dict
        By finding, a pair [%]: loss of peak power and of peak torque, mean change of torque at the
        upper speeds and up to half the speed of peak power, and the largest loss of torque between
        that and the speed of peak torque.
    """
    base = sweep(OPEN, walls, speeds, settings)
    half = 0.5 * base.rpm[np.argmax(base["power"])]
    low = base.rpm <= half
    middle = ~low & (base.rpm <= base.rpm[np.argmax(base["torque"])])
    found = {}
    for size in SIZES:
        name = f"{size}, {link}"
        own = sweep(name, walls, speeds, settings)
        torque = change(name, walls, speeds, settings)
        for finding, value in (
            ("peak power", 100.0 * (own["power"].max() / base["power"].max() - 1.0)),
            ("peak torque", 100.0 * (own["torque"].max() / base["torque"].max() - 1.0)),
            (UPPER, torque[base.rpm >= UPPER_FROM].mean()),
            ("mean torque up to half the speed of peak power", torque[low].mean()),
            ("largest loss of torque in the middle", torque[middle].min()),
        ):
            found.setdefault(finding, []).append(float(value))
    return found


#: What practice says of the small and the larger system, without a source.
PRACTICE = {
    "peak power": "-3 and -1",
    "peak torque": "-5 and -2.5",
    UPPER: "nothing is said",
    "mean torque up to half the speed of peak power": "slightly up, both",
    "largest loss of torque in the middle": "nothing is said",
}


def masses():
    """Mass of the small and of the larger system [kg]."""
    return [ws.bill(exhaust(f"{size}, {BANKS[0]}"), engine()).mass for size in SIZES]


# what makes the loss in the middle ----------------------------------------------------------------


def _answering(held):
    """Combustion whose burn angle answers to residual gas, about the open collectors."""
    point = sweep(OPEN)[4000.0]
    scaling = ws.FlameScaling.of(point, rpm=None, temperature=None, pressure=None, held=held)
    return engine().combustion.replace(scaling=scaling)


CONES = "cone of 150 mm at the merge", "cone of 300 mm at the merge"
LESS_OVERLAP = "each valve shut 10 deg more in overlap"
SLOWER_BURN = "burn slower with residual gas, ignition held"
TOGETHER = "walls of a pull, cone of 150 mm and less overlap together"
#: One thing changed in engine and exhausts: words, and changes of the engine and of the exhausts.
FACTORS = {
    "as in the table": lambda: ({}, {}),
    PULL: lambda: ({}, {"walls": PULL}),
    STATED: lambda: ({}, {"walls": STATED}),
    CONES[0]: lambda: ({}, {"cone": 0.15}),
    CONES[1]: lambda: ({}, {"cone": 0.3}),
    LESS_OVERLAP: lambda: ({"overlap": -10.0}, {}),
    SLOWER_BURN: lambda: ({"combustion": _answering("ignition")}, {}),
    TOGETHER: lambda: ({"overlap": -10.0}, {"walls": PULL, "cone": 0.15}),
}
#: One thing changed in the link alone.
LINKS = {
    "X-pipe 800 mm behind the merge": {"reach": FAR_REACH},
    "H-pipe of 30 mm instead": {"link": ws.HPipe(tube=BALANCE)},
}
_COMPARED = (OPEN, *(f"{SIZES[0]}, {link}" for link in BANKS))


def _torque(name, speeds, settings, of_engine=(), of_exhaust=()):
    """Torque of one system with changes [N m]; a pull begins at the lowest speed of all."""
    changes = dict(of_exhaust)
    pull = PULLED if changes.get("walls") == PULL else None
    run = speeds if pull is None else [rpm for rpm in SPEEDS if rpm <= max(speeds)]
    found = ws.speed_sweep(
        engine(**dict(of_engine)), exhaust(name, **changes), run, settings=settings, threads=1,
        progress=False, pull=pull,
    )
    return np.array([found[rpm].torque for rpm in speeds])


@cache
def middle(factor, speeds=MIDDLE, settings=SETTINGS):
    """Torque of the small system with each link over the open collectors, less one [%].

    Returns
    -------
    ndarray, (2, n_rpm)
        Without a link, and with.
    """
    if factor in ("as in the table", PULL, STATED):
        walls = STEADY if factor not in WALLS else factor
        chosen = np.isin(SPEEDS, speeds)
        return np.array([change(name, walls)[chosen] for name in _COMPARED[1:]])
    changes = FACTORS[factor]()
    base, *others = (_torque(name, speeds, settings, *changes) for name in _COMPARED)
    return 100.0 * (np.array(others) / base - 1.0)


@cache
def linked(factor, speeds=MIDDLE, settings=SETTINGS):
    """The same of the linked system alone, with its link changed [%], (n_rpm,)."""
    base = np.array([sweep(OPEN)[rpm].torque for rpm in speeds])
    own = _torque(_COMPARED[-1], speeds, settings, (), LINKS[factor])
    return 100.0 * (own / base - 1.0)


# --- tables ---------------------------------------------------------------------------------------


def _markdown(heads, rows, numbers=1):
    align = ["---"] * numbers + ["---:"] * (len(heads) - numbers)
    return "\n".join(f"| {' | '.join(line)} |" for line in [heads, align, *rows])


def _pair(values):
    return " and ".join(f"{value:+.1f}" for value in values)


def practice_table():
    """Practice beside ours: the three kinds of walls, without and with a link."""
    columns = [(walls, link) for walls in WALLS for link in BANKS]
    found = [findings(link, walls) for walls, link in columns]
    rows = [[finding, said, *(_pair(one[finding]) for one in found)]
            for finding, said in PRACTICE.items()]
    richer = [[float(on_fixed_fuel(f"{size}, {link}")[-1]) for size in SIZES] for link in BANKS]
    rows.append(["lambda on the fuel of the open collectors", f"richer than {engine_lambda():g}",
                 *(f"{small:.3f} and {large:.3f}" for small, large in richer), *[""] * 4])
    small, large = masses()
    grown = f"{100.0 * (large / small - 1.0):+.0f}"
    rows.append(["mass of the larger over the small system", "+15", grown, *[""] * 5])
    heads = ["small and larger system [%]", "practice", *(f"{w}, {link}" for w, link in columns)]
    return _markdown(heads, rows, 2)


def engine_lambda():
    """Stated excess-air ratio."""
    return engine().air_fuel_lambda


def torque_table(walls):
    """Torque of all systems over speed."""
    rows = [
        [f"{rpm:g}", f"{sweep(OPEN, walls)[rpm].torque:.0f}",
         *(f"{change(name, walls)[i]:+.1f}" for name in SYSTEMS[1:])]
        for i, rpm in enumerate(SPEEDS)
    ]
    return _markdown(["rev/min", f"{OPEN} [N m]", *(f"{n} [%]" for n in SYSTEMS[1:])], rows, 0)


def wall_temperature(point, line):
    """Mean temperature of the metal of a line of all banks or cylinders [K]."""
    sections = point.walls_left.sections
    return float(np.mean(np.concatenate(
        [own.temperatures for own in sections
         if own.duct.startswith(line) and not own.duct.endswith("annulus")])))


def wall_table():
    """Temperatures of the small system without a link at some speeds, by kind of walls."""
    name, shown = _COMPARED[1], (SPEEDS[0], WORST, SPEEDS[-1])
    rows = [
        [line, *(f"{wall_temperature(sweep(name, walls)[rpm], line):.0f}"
                 for walls in (STEADY, PULL) for rpm in shown), f"{AS_STATED[line]:.0f}"]
        for line in AS_STATED
    ]
    heads = ["mean of the metal [K]", *(f"{walls}, {rpm:g}" for walls in (STEADY, PULL)
                                        for rpm in shown), STATED]
    return _markdown(heads, rows)


def overlap_table():
    """Gauge pressure in overlap and residual gas, walls of minutes."""
    names = (OPEN, *_COMPARED[1:])
    rows = [
        [f"{rpm:g}", *(f"{overlap_pressure(sweep(name)[rpm]) / 1e3:+.1f}" for name in names),
         *(f"{100.0 * sweep(name)[rpm].residual_fraction:.1f}" for name in names)]
        for rpm in SPEEDS
    ]
    heads = ["rev/min", *(f"{n} [kPa]" for n in names), *(f"{n}, residual [%]" for n in names)]
    return _markdown(heads, rows, 0)


def factor_table():
    """The loss in the middle with one thing after another changed."""
    rows = [[factor, *(f"{value:+.1f}" for link in middle(factor) for value in link)]
            for factor in FACTORS]
    rows += [[factor, *[""] * len(MIDDLE), *(f"{value:+.1f}" for value in linked(factor))]
             for factor in LINKS]
    heads = ["small system", *(f"{link}, {rpm:g}" for link in BANKS for rpm in MIDDLE)]
    return _markdown(heads, rows)


def notes():
    """All tables and what is known and not known, as Markdown."""
    return (
        "Common practice, which has no source, beside ours:\n\n" + practice_table(),
        "Walls of the small system without a link, by rev/min:\n\n" + wall_table(),
        *(f"Torque, {walls}:\n\n" + torque_table(walls) for walls in WALLS),
        _settled_sentence(),
        "Mean gauge pressure at exhaust valve 1 in overlap, and residual gas; walls of minutes, "
        "small system:\n\n" + overlap_table(),
        "Torque over that of the open collectors [%] by rev/min, one thing changed in engine or "
        "exhausts alike:\n\n" + factor_table(),
        *_reading(),
    )


def _settled_sentence():
    points = [point for walls in WALLS for name in SYSTEMS for point in sweep(name, walls)]
    left = sum(not point.converged for point in points)
    return (f"Of {len(points)} points {left} have not settled within {SETTINGS.tolerance:.1%} "
            f"after {SETTINGS.max_cycles} cycles.")


def _at_worst(factor):
    """`middle` of the linked system where it loses most as in the table [%]."""
    return middle(factor)[1][MIDDLE.index(WORST)]


def wall_shift(walls):
    """Most by which other walls move a difference at one speed, in points of torque."""
    return max(np.abs(change(name, walls) - change(name, STEADY)).max() for name in SYSTEMS[1:])


def _reading():
    """What is known and what is not, with its numbers."""
    time = reference("WE-6", "time_constant").value
    steady, pull = ([findings(link, walls) for link in BANKS] for walls in (STEADY, PULL))
    middles = [[min(one["largest loss of torque in the middle"]) for one in both]
               for both in (steady, pull)]
    pressures = [overlap_pressure(sweep(name)[WORST]) / 1e3 for name in _COMPARED]
    base, short, long, shut, burn = map(_at_worst, (
        "as in the table", *CONES, LESS_OVERLAP, SLOWER_BURN))
    far, narrow = (linked(name).min() for name in LINKS)
    together = middle(TOGETHER).min(axis=1)
    duration = (SPEEDS[-1] - SPEEDS[0]) / PULLED.rate
    return (
        f"**Walls.** Walls of minutes are the steady state at that speed.  A tube of 1.5 mm takes "
        f"some {time:.0f} s to come near it (WE-6, recomputed), a pull passes all speeds in "
        f"{duration:.0f} s and leaves the pipes 330 to 430 K cooler.  Waves travel more slowly in "
        "the cooler gas, so that what is lost at one speed is lost at a lower one: at single "
        f"speeds a difference moves by up to {wall_shift(PULL):.0f} % of torque (stated walls: "
        f"{wall_shift(STATED):.0f} %).  The loss at the speed of peak torque all but goes, "
        f"{_pair(steady[0]['peak torque'])} to {_pair(pull[0]['peak torque'])} % without a link, "
        f"because its speed goes; the mean over the upper speeds goes from "
        f"{_pair(steady[0][UPPER])} to {_pair(pull[0][UPPER])} %, where practice knows -3 and -1 "
        f"at the peak.  The largest loss in the middle hardly changes, {middles[0][0]:+.1f} to "
        f"{middles[1][0]:+.1f} % without a link and {middles[0][1]:+.1f} to {middles[1][1]:+.1f} % "
        "with one.",
        f"**The middle.** At {WORST:g} rev/min the mean gauge pressure in overlap is "
        f"{pressures[0]:+.0f} kPa with open collectors, {pressures[1]:+.0f} kPa with the small "
        f"system and {pressures[2]:+.0f} kPa with its banks linked.  The open end sends back a "
        "wave that draws; a pipe behind the collector sends back less, and a link lets in the "
        f"pulse of the other bank.  Of the {base:+.1f} % with a link, 10 deg less of each valve "
        f"leave {shut:+.1f} %; a cone of 150 mm, a usual length, {short:+.1f} %, one "
        f"of 300 mm {long:+.1f} % and more loss at lower speeds; a link further back {far:+.1f} % "
        f"at worst between {MIDDLE[0]:g} and {MIDDLE[-1]:g} rev/min, and a narrow one "
        f"{narrow:+.1f} %.  A burn that answers to residual gas makes it {burn:+.1f} %.  Walls of "
        "a pull, the cone of 150 mm and less overlap together leave at worst "
        f"{together[0]:+.1f} % without a link and {together[1]:+.1f} % with one.",
        "**Below half the speed of peak power** the gain is that of one speed, at which the open "
        "collectors push in overlap; at 2000 rev/min it has either sign.",
        "**What is not known.** Practice says nothing of a loss in the middle, and a third of it "
        "without a link, more with one, is left when all that was looked at here is taken "
        "together.  An independent model of another "
        "engine has it too (no source), which speaks for the waves and against an error of one "
        "program; whether engines show it in full has not been measured here.  Eddies in three "
        "dimensions move what passes from bank to bank; the cylinders and primaries of a real "
        "engine differ, which smooths sharp tuning, and so do the speeds between those of a table; "
        "ports do not warm with the pull here; and practice stands on engines whose lengths are "
        "not stated.  Place and sign of a loss in the middle are worth a test, its size is not to "
        "be relied on.",
    )


# --- checks ---------------------------------------------------------------------------------------


def _ledger_checks():
    for walls in WALLS:
        for what in ("mass", "energy"):
            audits = [point.audit for name in SYSTEMS for point in sweep(name, walls)]
            worst = max((audit[f"{what}_error"] for audit in audits), key=abs)
            yield Check(
                f"{walls}: worst ledger of {what} of all points, over its turnover", worst, 0.0,
                bound(min(map(left_in_cycle, audits))), "conservation law", WHY,
            )


def _loss_checks():
    for size in SIZES:
        point = sweep(f"{size}, {BANKS[0]}")[SPEEDS[-1]]
        taper, first, *pipe = point.exhaust.pipe
        behind = SETTINGS.cell_length  # the first cell behind the taper still feels its wall
        pipe = [first.replace(length=first.length - behind), *pipe]
        line = "pipe bank 1", pipe, taper.length + behind
        yield Check(
            f"{size} system, {SPEEDS[-1]:g} rev/min: mean pressure lost in the pipe behind its "
            "taper", marched_loss(point, line[0], line[2]), handbook_loss(point, *line), "2 %",
            "fluids: friction factor of Colebrook, bends of Rennels and Hudson (2012)",
            "Formulas of friction differ by 1 or 2 %, and the handbook's factor is taken at a mean "
            "Reynolds number.", "Pa",
        )


def _mesh_checks():
    fine = [ws.run_point(engine(), exhaust(name), WORST, settings=FINE).torque
            for name in _COMPARED[::2]]
    yield Check(
        f"small system with X-pipe, {WORST:g} rev/min, cells of 50 mm: torque over that of the "
        "open collectors", change(_COMPARED[2])[SPEEDS.index(WORST)],
        100.0 * (fine[1] / fine[0] - 1.0), "0.5 abs", "the same on cells of 20 mm",
        "Ten times less than what the tables speak about.", "%",
    )


def draw():
    """Torque over that of the open collectors for all kinds of walls, and pressure in overlap."""
    *upper, lower = axes = ws.plots.new_axes(4, height=2.9)
    for ax, walls in zip(upper, WALLS, strict=True):
        for i, name in enumerate(SYSTEMS[1:]):
            ax.plot(SPEEDS, change(name, walls), "osx^"[i] + ("--" if i > 1 else "-"),
                    color=ws.plots.COLOURS[i % 2], label=name)
        ax.set_title(f"Torque over that of {OPEN}, {walls}", loc="left")
        ax.set_ylabel("difference [%]")
    for i, name in enumerate(_COMPARED):
        gauge = [overlap_pressure(sweep(name)[rpm]) / 1e3 for rpm in SPEEDS]
        lower.plot(SPEEDS, gauge, "sox"[i] + ("--" if i > 1 else "-"),
                   color=ws.plots.colour(min(i, 1)), label=name)
    lower.set_title(f"Mean pressure at exhaust valve 1 in overlap, {STEADY}", loc="left")
    lower.set_ylabel("gauge pressure [kPa]")
    lower.set_xlabel("engine speed [rev/min]")
    for ax in axes:
        ax.axhline(0.0, color=ws.plots.FAINT, lw=0.8, zorder=0)
        ax.legend(frameon=False, ncols=2, fontsize="small")
    return axes


def run():
    """All checks, torque and pressure in overlap as a figure, all tables as notes."""
    return Case((*_ledger_checks(), *_loss_checks(), *_mesh_checks()), draw(), notes())
