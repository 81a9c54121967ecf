"""Random networks and engines, within and beyond what is physical or allowed."""

from hypothesis import strategies as st

import wavesim as ws

SHORT = 0.02  # cell length of the networks [m]


def between(low, high):
    """Numbers that spread evenly over the logarithm, rounded for readable messages."""
    exponent = st.floats(0.0, 1.0).map(lambda u: low * (high / low) ** u)
    return exponent.map(lambda x: float(f"{x:.4g}"))


def shares(low, high):
    """Shares of something, spread evenly."""
    return st.floats(low, high)


class Range:
    """Usual numbers, and those that a wild case may draw as well."""

    def __init__(self, usual, odd):
        self.usual, self.odd = usual, odd

    def __call__(self, wild):
        if not wild:
            return self.usual
        return st.integers(1, 4).flatmap(lambda n: self.odd if n == 1 else self.usual)


LENGTHS = Range(between(0.02, 0.4), between(5e-4, 3.0))
BORES = Range(between(0.008, 0.1), between(2e-3, 0.6))
PRESSURES = Range(between(3e4, 1e6), between(10.0, 1e9))
TEMPERATURES = Range(between(250.0, 2200.0), between(20.0, 6000.0))
VELOCITIES = Range(st.floats(-300.0, 300.0), st.floats(-3000.0, 3000.0))
OPENINGS = Range(shares(0.05, 1.0), shares(0.01, 1.1))  # share of the bore
FILLS = st.sampled_from(["air", "fresh", "burned", (0.3, 0.4)])
COEFFICIENTS = st.floats(0.2, 1.0)
WILD = st.sampled_from([False, False, False, True])


@st.composite
def pipes(draw, wild):
    """Fields of a pipe or taper with its wall options."""
    tube = dict(length=draw(LENGTHS(wild)), diameter=draw(BORES(wild)))
    tube["end_diameter"] = draw(BORES(wild)) if draw(st.booleans()) else tube["diameter"]
    if draw(st.booleans()):
        tube["wall_temperature"] = draw(between(250.0, 1400.0))
    tube["friction_factor_scale"] = draw(st.sampled_from([0.0, 1.0, 10.0]))
    narrow = min(tube["diameter"], tube["end_diameter"])
    tube["roughness"] = narrow * draw(st.sampled_from([0.0, 1e-3, 0.04]))
    return tube


@st.composite
def lone_nodes(draw, end, bore, wild):
    """Something that closes one duct end."""
    kind = draw(st.sampled_from(["closed", "open", "nozzle", "anechoic"]))
    if kind == "closed":
        return ws.ClosedEnd(end)
    if kind == "anechoic":
        return ws.AnechoicEnd(
            end, pressure=draw(PRESSURES(wild)), temperature=draw(TEMPERATURES(wild))
        )
    outside = ws.Ambient(pressure=draw(between(4e4, 2.5e5)))
    more = {"diameter": max(0.003, bore * draw(OPENINGS(wild)))} if kind == "nozzle" else {}
    radiation = draw(st.sampled_from(["unflanged", "flanged", "none"]))
    return ws.OpenEnd(end, radiation=radiation, ambient=outside, intake=draw(st.booleans()), **more)


@st.composite
def joints(draw, ends, bore, wild):
    """Something that joins two or more duct ends."""
    kinds = ["volume", "momentum", "pressure"] + ["step", "orifice", "throttle"] * (len(ends) == 2)
    kind = draw(st.sampled_from(kinds))
    if kind == "volume":
        return ws.Volume(
            ends, volume=draw(between(1e-6, 0.05)), pressure=draw(PRESSURES(wild)),
            temperature=draw(TEMPERATURES(wild)), discharge_coefficient=draw(COEFFICIENTS),
            fill=draw(st.sampled_from(["air", "fresh", "burned"])),
        )
    if kind in ("momentum", "pressure"):
        angles = draw(st.lists(st.floats(-180.0, 180.0), min_size=len(ends), max_size=len(ends)))
        volume = draw(st.none() | between(1e-8, 0.1)) if kind == "momentum" else None
        return ws.Junction(ends, model=kind, angles_deg=angles, volume=volume)
    if kind == "step":
        return ws.AreaStep(ends)
    hole = max(0.003, bore * draw(OPENINGS(wild)))
    if kind == "orifice":
        return ws.Orifice(ends, diameter=hole, discharge_coefficient=draw(COEFFICIENTS))
    return ws.Throttle(ends, diameter=hole, plate_angle_deg=draw(st.floats(8.0, 90.0)))


@st.composite
def networks(draw):
    """Arguments of `simulate`: network, duration, gas, settings, initial states."""
    wild = draw(WILD)
    ducts = {f"d{i}": draw(pipes(wild)) for i in range(draw(st.integers(1, 4)))}
    holes = draw(st.booleans())
    if holes:
        core = draw(pipes(wild))
        core["end_diameter"] = core["diameter"]
        wide = core["diameter"] * draw(shares(0.5, 3.0))
        ducts |= {"core": core, "annulus": core | {"diameter": wide, "end_diameter": wide}}
    bores = {f"{name}.start": tube["diameter"] for name, tube in ducts.items()}
    bores |= {f"{name}.end": tube["end_diameter"] for name, tube in ducts.items()}
    ends = draw(st.permutations(list(bores)))
    nodes = {}
    while ends:
        count = min(len(ends), draw(st.sampled_from([1, 1, 2, 2, 2, 3, 4])))
        taken, ends = tuple(ends[:count]), ends[count:]
        bore = min(bores[end] for end in taken)
        kind = lone_nodes(*taken, bore, wild) if count == 1 else joints(taken, bore, wild)
        nodes[f"n{len(nodes)}"] = draw(kind)
    if holes:
        nodes["holes"] = ws.Perforate(
            "core", "annulus", hole_diameter=draw(between(1e-3, 6e-3)),
            porosity=draw(between(0.01, 0.6)), wall_thickness=1e-3,
            packing=draw(st.sampled_from([None, ws.Packing("steel wool")])),
        )
    states = {
        name: (draw(PRESSURES(wild)), draw(VELOCITIES(wild)), draw(TEMPERATURES(wild)), draw(FILLS))
        for name in ducts
    }
    gas = draw(st.sampled_from([ws.PerfectGas(), ws.EngineGas(), ws.PerfectGas(1.05, 1000.0)]))
    settings = ws.Settings(
        cell_length=SHORT, cfl=draw(st.sampled_from([0.3, 0.85, 1.0])), max_steps_per_cycle=20_000
    )
    pipes_ = {name: ws.Pipe(**tube) for name, tube in ducts.items()}
    return ws.Network(pipes_, nodes), draw(between(1e-4, 5e-3)), gas, settings, states


TIMINGS = Range(st.floats(-10.0, 80.0), st.floats(-130.0, 210.0))
LIFTS = Range(st.floats(0.004, 0.014), between(4e-4, 0.03))
RATIOS = Range(st.floats(7.0, 14.0), st.floats(0.9, 26.0))
MIXTURES = Range(st.floats(0.7, 1.3), st.floats(0.5, 1.7))
SPEEDS = Range(between(600.0, 9000.0), between(90.0, 3e4))


@st.composite
def valves(draw, sizes, wild):
    """Valves of one side with a cam of random timing."""
    cam = ws.Cam(
        opens_deg=draw(TIMINGS(wild)), closes_deg=draw(TIMINGS(wild)), lift=draw(LIFTS(wild)),
        lobe=draw(st.sampled_from(["medium", "gentle", "full"])),
    )
    return ws.Valve(diameter=draw(sizes), count=draw(st.integers(1, 2)), lift=cam,
                    advance_deg=draw(st.floats(-20.0, 20.0)))


@st.composite
def parts(draw, bore):
    """One part of a line behind the merge."""
    length, case = draw(between(0.1, 0.8)), bore * draw(shares(1.3, 4.0))
    kind = draw(st.sampled_from(["pipe", "bend", "perforated", "chamber", "side"]))
    if kind == "pipe":
        return ws.Pipe(length, bore, wall=ws.Wall(0.0015))
    if kind == "bend":
        return ws.Bend(bore, 60.0, radius_ratio=1.5)
    if kind == "perforated":
        return ws.PerforatedSilencer(length, bore, case_diameter=case)
    return ws.Chamber(length, bore, case_diameter=case) if kind == "chamber" else ws.SideTube(
        length, 0.5 * bore
    )


@st.composite
def exhausts(draw):
    """Stacks, a bare merge, or a system with bends, silencers and side tubes."""
    bore = draw(between(0.025, 0.06))
    primary = ws.Pipe(draw(between(0.05, 1.2)), bore, wall_temperature=800.0)
    if draw(st.integers(1, 4)) == 1:
        return ws.Exhaust(primary=primary, merge=None)
    wide = bore * draw(shares(0.8, 2.0))
    model = draw(st.sampled_from(["momentum", "pressure"]))
    volume = draw(st.none() | between(1e-8, 0.1)) if model == "momentum" else None
    merge = ws.Merge(angle_deg=draw(st.floats(0.0, 90.0)), model=model, volume=volume,
                     cone_length=draw(st.none() | between(0.02, 0.3)))
    return ws.Exhaust(
        primary=primary, merge=merge, collector=ws.Pipe(draw(between(0.05, 0.8)), wide),
        pipe=tuple(draw(st.lists(parts(wide), max_size=3))),
        radiation=draw(st.sampled_from(["unflanged", "flanged", "none"])),
    )


@st.composite
def engines(draw):
    """Arguments of `run_point`: engine, exhaust, speed."""
    wild = draw(WILD)
    cylinders = draw(st.sampled_from([1, 2, 3, 4]))
    bore = draw(between(0.04, 0.12))
    stroke = bore * draw(shares(0.6, 1.5))
    sizes = shares(0.2, 0.45).map(lambda share: share * bore)
    port = ws.Pipe(draw(between(0.04, 0.2)), draw(between(0.02, 0.06)), wall_temperature=500.0)
    intake = ws.Intake(
        runner=ws.Pipe(draw(between(0.05, 0.6)), draw(between(0.02, 0.06))),
        plenum_volume=draw(between(1e-4, 0.02)), throttle_diameter=draw(between(0.02, 0.08)),
        plate_angle_deg=draw(st.floats(9.0, 90.0)), inlet=ws.Pipe(0.3, 0.08),
        ambient=ws.Ambient(pressure=draw(between(4e4, 2e5)),
                           relative_humidity=draw(st.floats(0.0, 1.0))),
    )
    engine = ws.Engine(
        bore=bore, stroke=stroke, rod=stroke * draw(shares(1.2, 2.2)),
        compression_ratio=draw(RATIOS(wild)),
        firing_order={1: (1,), 2: (1, 2), 3: (1, 3, 2), 4: (1, 3, 4, 2)}[cylinders],
        intake_valve=draw(valves(sizes, wild)), exhaust_valve=draw(valves(sizes, wild)),
        intake_port=port, exhaust_port=port, intake=intake,
        combustion=ws.Wiebe(ca50_deg=draw(st.floats(-15.0, 40.0)),
                            burn_10_90_deg=draw(st.floats(6.0, 80.0))),
        fuel=draw(st.sampled_from(["gasoline", "methanol", "E85"])),
        air_fuel_lambda=draw(MIXTURES(wild)),
    )
    return engine, draw(exhausts()), draw(SPEEDS(wild))
