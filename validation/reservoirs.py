"""One cylinder between two reservoirs: an engine without manifolds, shared by cases about filling.

Each valve opens into a mouth so wide and short that no wave can tune anything, and that into still
air of a stated pressure, larger than any volume.  All data are invented.
"""

import numpy as np

import wavesim as ws
from wavesim.descriptions.valves import effective_area, lift_curve, seat_events

BORE, STROKE, ROD = 0.086, 0.086, 0.143
INLET_TEMPERATURE = 298.15
MOUTH_BORE = 0.1
_UNUSED = ws.Pipe(0.1, 0.04)  # ports and intake belong to the network
SETTINGS = ws.Settings(
    cell_length=0.02, coarse_start=1.0, sample_deg=5.0, unequal_pressures=True
)


def network(inlet_pressure, exhaust_pressure, temperature=INLET_TEMPERATURE, mouth=0.03):
    """Network of a cylinder between two reservoirs.

    Parameters
    ----------
    inlet_pressure, exhaust_pressure : float
        [Pa]; both reservoirs hold air.
    temperature : float
        Of both [K].
    mouth : float
        Length of the mouths [m], 100 mm wide; burned gas that is pushed back stays within.
    """
    ducts, nodes = {}, {}
    pipe = ws.Pipe(mouth, MOUTH_BORE)
    for side, pressure, outer in (("intake", inlet_pressure, "start"),
                                  ("exhaust", exhaust_pressure, "end")):
        duct, inner = f"{side} mouth", "start" if outer == "end" else "end"
        ducts[duct] = pipe
        nodes[f"{side} reservoir"] = ws.OpenEnd(
            f"{duct}.{outer}", radiation="none", intake=side == "intake", entry_loss=0.0,
            ambient=ws.Ambient(pressure=pressure, temperature=temperature),
        )
        nodes[f"{side} valve 1"] = ws.ValvePort(f"{duct}.{inner}", cylinder=1, side=side)
    return ws.Network(ducts, nodes).validate()


def engine(intake_valve, exhaust_valve, **changes):
    """One cylinder of half a litre with these valves."""
    intake = ws.Intake(
        runner=_UNUSED, plenum_volume=1e-3, throttle_diameter=0.04, inlet=_UNUSED
    )
    given = {"bore": BORE, "stroke": STROKE, "rod": ROD, "compression_ratio": 10.0} | changes
    return ws.Engine(
        firing_order=(1,), intake_valve=intake_valve, exhaust_valve=exhaust_valve,
        intake_port=_UNUSED, exhaust_port=_UNUSED, intake=intake, **given,
    )


def overlap_factor(engine):
    """Overlap factor of Fox, Cheng and Heywood [deg/m]: (D_i A_i + D_e A_e) / V_d.

    The areas below the lift curves of both valves, from the opening of the intake valve to equal
    lifts and from there to the closing of the exhaust valve [deg m].
    """
    theta = np.arange(180.0, 540.0, 0.05)
    sides = {"intake": engine.intake_valve, "exhaust": engine.exhaust_valve}
    lifts = {side: lift_curve(valve, side, theta) for side, valve in sides.items()}
    lower = np.minimum(lifts["intake"], lifts["exhaust"])
    early = lifts["intake"] < lifts["exhaust"]
    areas = {"intake": np.trapezoid(np.where(early, lower, 0.0), theta),
             "exhaust": np.trapezoid(np.where(early, 0.0, lower), theta)}
    weighted = sum(valve.count * valve.diameter * areas[side] for side, valve in sides.items())
    return weighted * engine.cylinders / engine.displacement


def mean_flow_coefficient(engine):
    """Flow coefficient of the intake valve, averaged over its open period, of its head area."""
    valve = engine.intake_valve
    theta = np.linspace(*seat_events(valve, "intake"), 721)
    area = effective_area(valve, "intake", theta)[0].mean()
    return area / (valve.count * 0.25 * np.pi * valve.diameter**2)


def inlet_mach_index(engine, rpm, sound_speed):
    """Taylor's inlet Mach index: (bore / valve)^2 mean piston speed / (mean coefficient c)."""
    valve = engine.intake_valve
    heads = (engine.bore / valve.diameter) ** 2 / valve.count
    return heads * engine.mean_piston_speed(rpm) / (mean_flow_coefficient(engine) * sound_speed)
