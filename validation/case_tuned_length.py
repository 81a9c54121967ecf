"""Tuned length: when the wave is back at the exhaust valve, beside travel-time arithmetic.

A small cylinder opens into gas at rest, and the rarefaction returns from the open end after 12 N
L/c degrees (rows TU-3 and TU-4 of the reference table).  Its head is where the trace leaves that of
the same pipe with an end that lets waves out.  In the same way each echo of a header is picked out:
from the merge, the closed neighbours and the end of the collector.  The blowdown of a half-litre
cylinder comes back later, as the theory of simple waves says; how late the wave is in a running
engine is shown in a table.
"""

from functools import cache

import numpy as np
from case_two_schemes import GAS as FUEL_GAS
from case_two_schemes import single_cylinder
from marches import IDEAL, P0, endless
from references import references
from scipy.signal import lfilter
from suite import Case, Check

import wavesim as ws
from wavesim import exact
from wavesim.arrays.compile import compile_network
from wavesim.kernels import cylinder
from wavesim.kernels import flat as f
from wavesim.march.advance import march_to

GAMMA, R = 1.33, 288.0
GAS = ws.PerfectGas(GAMMA, R)
BORE, PORT = 0.04, 0.1  # exhaust of the single cylinders [m]
CELL = 0.0025
PROBE = 20.5 * CELL  # where waves are read: beyond the gas that a small cylinder has pushed out [m]
STEP_DEG, LAST_DEG = 0.25, 350.0
THETA = np.arange(0.0, LAST_DEG, STEP_DEG)
HEAD = 1e-4  # share of its crest at which a wave counts as arrived
WEAK = 1.5e5  # opening pressure from which the small cylinder makes little more than sound [Pa]

HEADER = {"own": 0.8, "collector": 0.5, "far": 3.0}  # lengths [m]
PRIMARY_BORE, COLLECTOR_BORE = 0.038, 0.058
HEADER_RPM, HEADER_C = 6000.0, 550.0


@cache
def small_cylinder():
    """A cylinder of 14 cm3 on pipes of 40 mm, whose waves are little more than sound."""

    def valve(opens, closes):
        cam = ws.Cam(opens_deg=opens, closes_deg=closes, lift=0.003, checking_lift=0.0005)
        return ws.Valve(diameter=0.012, lift=cam)

    return single_cylinder()[0].replace(
        name="invented small single", bore=0.03, stroke=0.02, rod=0.06,
        intake_valve=valve(13, 53), exhaust_valve=valve(51, 12),
    )


def pipe(length):
    """Exhaust of one pipe, with the ideal open end of the arithmetic; the length is from PROBE."""
    primary = ws.Pipe(PROBE + length - PORT, BORE)
    return ws.Exhaust(primary=primary, merge=None, radiation="none")


# --- one blowdown into gas at rest ----------------------------------------------------------------


def still_model(engine, exhaust, rpm, c, ends):
    """Compiled engine whose exhaust holds gas at rest; only exhaust valve 1 opens.

    `ends` are nodes in place of those of the same name.
    """
    net = ws.assemble(engine, exhaust)
    net = ws.Network(net.ducts, {**net.nodes, **ends})
    still = (P0, 0.0, c**2 / (GAMMA * R), "burned")
    start = {name: still for name in net.ducts
             if name.startswith(("exhaust", "primary", "collector"))}
    model = compile_network(net, GAS, IDEAL.replace(cell_length=CELL), engine=engine, rpm=rpm,
                            samples=len(THETA), initial=start)
    fired = model.net.end_int[model.ends["exhaust port 1", "start"], f.END_VALVE]
    model.net.valve_area[np.arange(len(model.net.valve_area)) != fired] = 0.0
    model.net.cyl_par[:, [f.Q_FRESH, f.HEAT_MODEL_FACTOR]] = 0.0
    return model


def compress(model, pressure, temperature):
    """Fill cylinder 1 at top dead centre so that it has this state when its valve opens."""
    cyl = model.net.cyl_par[0]
    squeeze = cylinder.volume(cyl, cyl[f.EVO]) / cyl[f.CLEARANCE]
    p, T = pressure * squeeze**GAMMA, temperature * squeeze ** (GAMMA - 1.0)
    row, mass = model.stores["cylinder 1"], p * cyl[f.CLEARANCE] / (R * T)
    model.state.store[row, : f.SB + 1] = mass, mass * float(GAS.e(T)), 0.0, mass
    model.state.store[row, f.ST] = T


def waves(engine, exhaust, rpm, c, opening_pressure, ends=None):
    """Outgoing and returning wave at PROBE over THETA, each as X - 1 = (p/p0)^((g-1)/2g) - 1.

    The cylinder is warmer than the pipe, by so much that what leaves it is about as warm as the gas
    that its wave has compressed: no sound is reflected where they meet.
    """
    model = still_model(engine, exhaust, rpm, c, ends or {})
    warmth = (opening_pressure / P0) ** (0.5 * (GAMMA - 1.0) / GAMMA)
    compress(model, opening_pressure, warmth * c**2 / (GAMMA * R))
    omega = model.net.options[f.OMEGA_DEG]
    model.record.interval[:] = STEP_DEG / omega, 0.0
    march_to(model, LAST_DEG / omega, 1_000_000)
    cell = model.ducts["exhaust port 1"][0] + int(PROBE / CELL)
    p, u = model.record.field[:, :2, cell].T.astype(float)
    return split(p, u, c)


def split(p, u, c):
    """Running waves (X - 1 of each) of pressure and velocity in gas of sound speed c at p0."""
    compressed = (p / P0) ** (0.5 * (GAMMA - 1.0) / GAMMA) - 1.0
    moved = 0.5 * (GAMMA - 1.0) * u / c
    return 0.5 * (compressed + moved), 0.5 * (compressed - moved)


def head(wave, crest):
    """Angle [deg] at which a wave first reaches the share HEAD of a crest."""
    i = np.argmax(wave > HEAD * crest)
    return np.interp(HEAD * crest, wave[i - 1 : i + 1], THETA[i - 1 : i + 1])


@cache
def pipe_waves(engine, length, rpm, c, opening_pressure):
    """(outgoing, returning, returned echo) of one pipe; the echo is what an endless pipe lacks."""
    exhaust = pipe(length)
    quiet = {"outlet 1": endless("primary 1.end", P0, c**2 / (GAMMA * R))}
    out, back = waves(engine, exhaust, rpm, c, opening_pressure)
    alone, none = waves(engine, exhaust, rpm, c, opening_pressure, quiet)
    return alone, back, none - back


def pipe_delay(engine, length, rpm, c, opening_pressure):
    """Angle [deg] from the opening to the head of the returned rarefaction."""
    out, _, echo = pipe_waves(engine, length, rpm, c, opening_pressure)
    return head(echo, out.max()) - head(out, out.max())


# --- a header with a collector --------------------------------------------------------------------


@cache
def header_engine():
    """Four small cylinders on primaries of one bore."""
    return small_cylinder().replace(
        firing_order=(1, 3, 4, 2), exhaust_port=ws.Pipe(PORT, PRIMARY_BORE)
    )


def header(model, neighbours):
    """Four into one; `neighbours` is the length of the other primaries from their valves [m]."""
    own = ws.Pipe(PROBE + HEADER["own"] - PORT, PRIMARY_BORE)
    others = ws.Pipe(neighbours - PORT, PRIMARY_BORE)
    return ws.Exhaust(
        primaries=(own, others, others, others), merge=ws.Merge(model=model), radiation="none",
        collector=ws.Pipe(HEADER["collector"], COLLECTOR_BORE),
    )


@cache
def header_waves(model, neighbours, collector_echoes):
    """Outgoing and returning wave in primary 1 of a header whose other valves are shut.

    Long neighbours do not answer in time.  The collector ends in the open air or lets waves out.
    """
    quiet = {"outlet": endless("collector.end", P0, HEADER_C**2 / (GAMMA * R))}
    return waves(header_engine(), header(model, neighbours), HEADER_RPM, HEADER_C, WEAK,
                 {} if collector_echoes else quiet)


def bare_header(model):
    """Waves of a header of which only the merge answers."""
    return header_waves(model, HEADER["far"], False)


def header_echoes(model):
    """Returned waves by the name of what they come from."""
    bare = bare_header(model)[1]
    return {
        "merge": bare,
        "end of the collector": header_waves(model, HEADER["far"], True)[1] - bare,
        "closed neighbours": header_waves(model, HEADER["own"], False)[1] - bare,
    }


ECHO_LENGTHS = {
    "merge": HEADER["own"], "end of the collector": HEADER["own"] + HEADER["collector"],
    "closed neighbours": 2.0 * HEADER["own"],
}


def filling(model):
    """Angle [deg] in which the gas volume of the merge fills: V over c and the area of all pipes.

    A junction of one pressure has no volume.
    """
    if model == "pressure":
        return 0.0
    net = ws.assemble(header_engine(), header(model, HEADER["far"]))
    bores = np.array([net.bore(*end) for end in net.nodes["merge"].ends])
    volume = net.nodes["merge"].gas_volume(bores)
    return exact.crank_angle(volume / (HEADER_C * 0.25 * np.pi * np.sum(bores**2)), HEADER_RPM)


def expected_echoes(model):
    """Returned waves by plane-wave theory, from the outgoing wave of the bare header.

    Coefficients of a junction of one pressure, Pierce (1981) ch. 7; a gas volume in it follows
    with first order, as the balance of its mass says.
    """
    out, fill = bare_header(model)[0], filling(model)
    primary, collector = PRIMARY_BORE**2, COLLECTOR_BORE**2
    areas = 4 * [primary] + [collector]
    in_merge = exact.junction(areas).transmission
    from_collector = exact.junction(areas, 4).transmission

    def passed(wave):
        near, far = 2.0 * fill + STEP_DEG, 2.0 * fill - STEP_DEG
        return lfilter([STEP_DEG / near] * 2, [1.0, -far / near], wave) if fill else wave

    there = passed(in_merge * out)
    at_source = {
        "merge": there - out,
        "end of the collector": -from_collector * passed(there),
        "closed neighbours": 3.0 * in_merge * passed(there),
    }
    return {
        name: np.interp(THETA - exact.return_delay(HEADER_RPM, ECHO_LENGTHS[name], HEADER_C),
                        THETA, wave)
        for name, wave in at_source.items()
    }


def echo_share(model, name, echo, window=40.0):
    """Echo over the outgoing wave, best fit over the first degrees behind its head."""
    out = bare_header(model)[0]
    first = head(out, out.max())
    rise = (THETA > first) & (THETA < first + window)
    later = THETA[rise] + exact.return_delay(HEADER_RPM, ECHO_LENGTHS[name], HEADER_C)
    return np.interp(later, THETA, echo) @ out[rise] / (out[rise] @ out[rise])


def echo_delay(model, name, echo):
    """Angle [deg] from the opening to the head of an echo."""
    out = bare_header(model)[0]
    return head(echo / echo_share(model, name, echo), out.max()) - head(out, out.max())


# --- strong waves ---------------------------------------------------------------------------------


def simple_wave_delay(out, length, rpm, c):
    """Delay [deg] of the head of the echo of a strong wave, by the theory of simple waves.

    `out` is X - 1 of the outgoing wave at the valve over THETA.
    """
    t = (THETA - head(out, out.max())) / (6.0 * rpm)
    return exact.crank_angle(exact.strong_return_time(t, out, length, c, GAMMA), rpm)


# --- engines that run -----------------------------------------------------------------------------

RUNNING_RPM = (2000.0, 3000.0, 4000.0, 5000.0, 6000.0, 7000.0)
RUNNING_LENGTH = 0.8  # of port and primary [m]


@cache
def running(rpm):
    """Single cylinder at full load: (delay of the whole returning wave [deg], mean c [m/s]).

    All that returns to the valve has once left it: the delay is that which makes one wave most
    like the other turned over.
    """
    settings = ws.Settings(cell_length=0.01, tolerance=1e-3, sample_deg=0.5)
    point = ws.run_point(*single_cylinder(), rpm, gas=FUEL_GAS, settings=settings)
    fields = [
        np.concatenate([point.samples.field(name, duct).astype(float)
                        for duct in ("exhaust port 1", "primary 1")], axis=1)
        for name in ("pressure", "velocity", "temperature")
    ]
    c = exact.sound_speed(fields[2], GAMMA, R)
    p, u = fields[0][:, 0], fields[1][:, 0]
    level = c[:, 0] / (p / P0) ** (0.5 * (GAMMA - 1.0) / GAMMA)
    out, back = (wave - wave.mean() for wave in split(p, u, level))
    alike = np.fft.irfft(np.fft.rfft(-back) * np.conj(np.fft.rfft(out)), len(out))
    delay = 720.0 / len(out) * np.argmax(alike[: len(out) // 3])
    return delay, exact.mean_speed(c)


# --- checks ---------------------------------------------------------------------------------------


def _pipe_checks():
    why = ("A weak wave runs at the speed of sound; the scheme smears its head by a part of a cell "
           "of 2.5 mm, which the wave crosses in a sixth of a degree.")
    for row in references("TU-3", "TU-4"):
        rpm = row.case.get("rpm", row.value)
        delay = row.case.get("delay_deg", row.value)
        length, c = row.case["length"], row.case["c"]
        yield Check(
            f"{row.id}: angle until the rarefaction is back, {length:g} m, {c:g} m/s, "
            f"{rpm:g} rev/min", pipe_delay(small_cylinder(), length, rpm, c, WEAK), delay, "0.2 %",
            row.source, why, "deg",
        )


def _header_checks():
    for model in ("pressure", "momentum"):
        expected = expected_echoes(model)
        for name, echo in header_echoes(model).items():
            arithmetic = exact.return_delay(HEADER_RPM, ECHO_LENGTHS[name], HEADER_C)
            plain = model == "pressure"
            yield Check(
                f"header, {model} junction: angle until the echo of {name} is back",
                echo_delay(model, name, echo),
                arithmetic if plain else echo_delay(model, name, expected[name]), "0.2 %",
                "travel time 2L/c" if plain else "travel time 2L/c, and filling of the merge",
                "As of one pipe; every passage of the merge smears the head once more.", "deg",
            )
            yield Check(
                f"header, {model} junction: echo of {name} over the outgoing wave",
                echo_share(model, name, echo), echo_share(model, name, expected[name]), "1.5 %",
                "Pierce, Acoustics, 1981, ch. 7",
                "Plane-wave theory of a wave of one or two per cent of the pressure, and cells of "
                "2.5 mm smear what has passed the merge twice.",
            )


STRONG = {1.2e5: "0.2 %", 2e5: "0.3 %", 4e5: "1 %"}  # opening pressure [Pa] and bound
STRONG_ROWS = [row for row in references("TU-3") if row.case["rpm"] in (6000.0, 4000.0)]


def strong_delays(row, pressure):
    """Delay of the head after a strong blowdown [deg]: computed, and by simple waves."""
    given = row.case["length"], row.case["rpm"], row.case["c"]
    out, *_ = pipe_waves(single_cylinder()[0], *given, pressure)
    return pipe_delay(single_cylinder()[0], *given, pressure), simple_wave_delay(out, *given)


def _strong_checks():
    for row in STRONG_ROWS:
        for pressure, allowed in STRONG.items():
            ours, theory = strong_delays(row, pressure)
            yield Check(
                f"blowdown of half a litre from {pressure / 1e5:g} bar, {row.case['length']:g} m, "
                f"{row.case['rpm']:g} rev/min: angle until the rarefaction is back", ours, theory,
                allowed, "simple waves, Whitham, Linear and Nonlinear Waves, 1974, sec. 6.8",
                "The theory takes all gas for that of the pipe; the more leaves the cylinder, the "
                "more of the way leads through gas of another temperature.", "deg",
            )


def _table():
    rows = ["| rev/min | arithmetic [deg] | computed [deg] | later by [%] | implied speed [m/s] |",
            "|---:|---:|---:|---:|---:|"]
    for rpm in RUNNING_RPM:
        delay, c = running(rpm)
        plain = exact.return_delay(rpm, RUNNING_LENGTH, c)
        rows.append(f"| {rpm:g} | {plain:.1f} | {delay:.1f} | {100.0 * (delay / plain - 1.0):+.0f} "
                    f"| {exact.return_speed(delay, rpm, RUNNING_LENGTH):.0f} |")
    return "\n".join(rows)


def _notes():
    row = STRONG_ROWS[0]
    late = [strong_delays(row, p)[0] / row.value - 1.0 for p in STRONG]
    return (
        "Arithmetic with the sound speed of the gas at rest is right for weak waves only.  The "
        "rarefaction comes back against the stream that the blowdown has set going: from opening "
        "pressures of " + ", ".join(f"{p / 1e5:g}" for p in STRONG) + " bar its head is later by "
        + ", ".join(f"{100.0 * share:.1f}" for share in late)
        + f" % at {row.case['rpm']:g} rev/min.",
        f"The same in a running engine: a half-litre single cylinder at full load, "
        f"{RUNNING_LENGTH:g} m from the valve to the open end.  The arithmetic takes the mean "
        "sound speed of the gas in the pipe, the computed delay is that of the whole wave, whose "
        "crest the stream holds back more than its head.  A length from arithmetic therefore "
        "answers best at a lower speed than was asked for.\n\n" + _table(),
    )


def draw():
    """A strong blowdown with and without its echo, echoes of a header, delay over speed."""
    axes = ws.plots.new_axes(3, height=3.3)
    _draw_blowdown(axes[0])
    _draw_header(axes[1])
    _draw_running(axes[2])
    for ax in axes[::2]:
        ax.legend(frameon=False, fontsize="small")
    axes[1].legend(frameon=False, fontsize="small", ncols=3, loc="upper center")
    return axes


def _draw_blowdown(ax):
    row, pressure = STRONG_ROWS[0], max(STRONG)
    given = row.case["length"], row.case["rpm"], row.case["c"]
    out, back, echo = pipe_waves(single_cylinder()[0], *given, pressure)
    # The same outgoing wave until the echo is back, so that its alone is the endless pipe.
    traces = waves(single_cylinder()[0], pipe(given[0]), *given[1:], pressure), (out, back + echo)
    names = f"pipe of {given[0]:g} m with an open end", "endless pipe"
    for (one, other), style, name in zip(traces, ("-", "--"), names, strict=True):
        p = P0 * (1.0 + one + other) ** (2.0 * GAMMA / (GAMMA - 1.0)) / 1e5
        ax.plot(THETA, p, style, color=ws.plots.COLOURS[0], label=name)
    opens = head(out, out.max())
    for i, (delay, name) in enumerate((
        (row.value, "2 L/c"), (strong_delays(row, pressure)[1], "theory of simple waves"),
    )):
        ax.axvline(opens + delay, color=ws.plots.COLOURS[i + 1], lw=1.2, label=f"back: {name}")
    ax.set_title(f"Half a litre opens at {pressure / 1e5:g} bar, {given[1]:g} rev/min, gas at rest "
                 f"at {given[2]:g} m/s", loc="left")
    ax.set_xlim(100.0, LAST_DEG)
    ax.set_xlabel("crank angle after firing top dead centre [deg]")
    ax.set_ylabel(f"pressure {1e3 * PROBE:.0f} mm\nbehind the valve [bar]")


def _draw_header(ax):
    out = bare_header("momentum")[0]
    expected = expected_echoes("momentum")
    for i, (name, echo) in enumerate(header_echoes("momentum").items()):
        ax.plot(THETA, echo / out.max(), color=ws.plots.COLOURS[i], label=f"echo of {name}")
        ax.plot(THETA, expected[name] / out.max(), "--", lw=1.0, color=ws.plots.REFERENCE,
                label="" if i else "plane waves")
    ax.plot(THETA, out / out.max(), ":", color=ws.plots.REFERENCE, label="outgoing wave")
    ax.set_title(f"Echoes of a header with a collector, {HEADER_RPM:g} rev/min", loc="left")
    ax.set_xlim(100.0, LAST_DEG)
    ax.set_xlabel("crank angle after firing top dead centre [deg]")
    ax.set_ylim(top=1.5)
    ax.set_ylabel("wave over crest\nof the outgoing one")


def _draw_running(ax):
    found = np.array([running(rpm) for rpm in RUNNING_RPM])
    plain = [exact.return_delay(rpm, RUNNING_LENGTH, c)
             for rpm, (_, c) in zip(RUNNING_RPM, found, strict=True)]
    ax.plot(RUNNING_RPM, plain, color=ws.plots.REFERENCE, label="12 N L/c, c of the mean gas")
    ax.plot(RUNNING_RPM, found[:, 0], "o-", color=ws.plots.COLOURS[0], label="computed")
    ax.set_title("Running single cylinder: return of the whole wave", loc="left")
    ax.set_xlabel("engine speed [rev/min]")
    ax.set_ylabel("delay [deg]")


def run():
    """All checks, echoes as a figure, running engines as a table."""
    return Case((*_pipe_checks(), *_header_checks(), *_strong_checks()), draw(), _notes())
