"""From the arrays of a model to named results: samples, last state, sums of a cycle, facts."""


from wavesim.descriptions.nodes import Perforate, Volume
from wavesim.descriptions.valves import valve_events
from wavesim.fields.description import describe
from wavesim.kernels import flat as f
from wavesim.march.evaluate import CycleSums, Flows
from wavesim.results.traces import Samples


def samples_of(model, x, x_name):
    """Samples with the names of their rows."""
    network = model.network
    ducts = {
        name: {
            "lo": int(lo), "hi": int(hi), "dx": model.dx[name], "length": duct.length,
            "stations": [float(b) for b in duct.breaks],
            "bores": [p.diameter for p in duct.parts] + [duct.end_diameter],
        }
        for (name, (lo, hi)), duct in zip(model.ducts.items(), network.ducts.values(), strict=True)
    }
    nodes = {
        name: model.ends[node.ends[0]]
        for name, node in network.nodes.items()
        if len(node.ends) == 1 and not isinstance(node, Volume)
    }
    held = {name: row for name, row in model.stores.items() if name not in nodes}
    cylinders = _cylinders(model)
    layout = {
        "ducts": ducts, "stores": held, "nodes": nodes,
        "ends": [list(end) for end in model.ends],
        "volumes": {
            name: float(model.net.store_volume[row])
            for name, row in held.items() if name not in cylinders
        },
        "cylinders": cylinders,
        "connections": {
            name: [node.core, node.annulus] if isinstance(node, Perforate)
            else [f"{duct}.{side}" for duct, side in node.ends]
            for name, node in network.nodes.items()
        },
        "gas": {"R": model.net.gas_R.tolist(), "coef": model.net.gas_coef.tolist()},
    }
    if cylinders:
        layout["rpm"] = float(model.net.options[f.OMEGA_DEG]) / 6.0
        layout["firing_angles_deg"] = [known["firing_deg"] for known in cylinders.values()]
    record = model.record
    return Samples(x, x_name, record.field, record.store, record.end, layout)


def _cylinders(model):
    """What the volume of each cylinder follows from, by the name of its store."""
    columns = {"bore": f.BORE, "stroke": f.STROKE, "rod": f.ROD, "pin_offset": f.PIN,
               "clearance": f.CLEARANCE, "firing_deg": f.PHASE}
    return {
        f"cylinder {n}": {name: float(row[column]) for name, column in columns.items()}
        for n, row in enumerate(model.net.cyl_par, start=1)
    }


def final_state(model):
    """Last state of every duct."""
    out = {}
    for name, (lo, hi) in model.ducts.items():
        cells = slice(lo, hi)
        U = model.state.U[:, cells]
        out[name] = {
            "x": model.centres(name),
            "rho": U[f.R].copy(),
            "u": U[f.M] / U[f.R],
            "p": model.work.W[f.P, cells].copy(),
            "T": model.state.T[cells].copy(),
            "fresh": U[f.Y1] / U[f.R],
            "burned": U[f.Y2] / U[f.R],
        }
    return out


def valve_rows(model, side):
    """End rows of the valves of one side, by cylinder."""
    return list(model.valves[side].values())


def valve_names(model):
    """Names of the exhaust and the intake valve, by cylinder."""
    return list(zip(model.valves["exhaust"], model.valves["intake"], strict=True))


def cycle_sums(model):
    """Sums of the last cycle by cylinder."""
    sums = model.record.cyl_sum
    return CycleSums(
        work=sums[:, f.WORK_0 : f.WORK_3 + 1], wall_heat=sums[:, f.WALL_LOSS],
        released_heat=sums[:, f.HEAT_RELEASE], burned_charge=sums[:, f.FRESH_BURNED],
        peak_pressure=sums[:, f.PEAK], peak_pressure_angle=sums[:, f.PEAK_ANGLE],
        trapped_mass=sums[:, f.TRAP_MASS], trapped_fresh=sums[:, f.TRAP_FRESH],
        trapped_burned=sums[:, f.TRAP_BURNED], trapped_pressure=sums[:, f.TRAP_P],
        trapped_temperature=sums[:, f.TRAP_T], opening_pressure=sums[:, f.EVO_P],
        opening_temperature=sums[:, f.EVO_T], opening_mass=sums[:, f.EVO_MASS],
    )


def valve_flows(model, side):
    """What passed the valves of one side in the last cycle."""
    ends = model.record.end_sum[valve_rows(model, side)]
    columns = (f.OUT_MASS, f.OUT_ENERGY, f.OUT_FRESH, f.OUT_BURNED)
    return Flows(*(ends[:, column] for column in columns))


def mean_gauge(model, side):
    """Mean pressure at the valves of one side less the pressure of the surroundings there.

    The mean of the cylinders, and each by cylinder, (n_cyl,).
    """
    pressure = model.record.end[:, valve_rows(model, side), 0]
    beyond = model.network.air_outside(side, model.ambient).pressure
    return float(pressure.mean() - beyond), pressure.mean(axis=0) - beyond


def engine_facts(engine, model):
    """Valve events, the lift at which they hold, firing angles, weather, air outside each side."""
    events, level = valve_events(engine.exhaust_valve, engine.intake_valve)
    return {
        "events_deg": events,
        "events_lift": level,
        "firing_angles_deg": [float(a) for a in engine.firing_angles_deg],
        "ambient": describe(model.ambient),
        "weather": {
            name: describe(node.ambient) for name, node in model.network.nodes.items()
            if node.beyond is not None and node.beyond.vapour_share is not None
        },
        "outside": {
            side: model.network.air_outside(side, model.ambient)._asdict() for side in events
        },
    }


def wall_facts(walls):
    """Solved wall temperatures by duct: inner and outer surface, highest and mean [K]."""
    out = {}
    for solved in walls:
        inner, outer, heat = solved.state[:3]
        out.setdefault(solved.duct, []).append(
            {"inner_mean": _mean(inner), "inner_max": float(inner.max()),
             "outer_mean": _mean(outer), "outer_max": float(outer.max()),
             "heat": _mean(heat)}
        )
    return {"walls": out}


def _mean(values):
    """As `values.mean()`, in half the time."""
    return float(values.sum() / values.size)
