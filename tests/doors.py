"""Every public function and method with arguments that are right, to be called with wrong ones."""

import dataclasses
from functools import partial

import examples_of_all_kinds as examples
import numpy as np
from fakes import fake_sweep
from store_worker import invented_point

import wavesim as ws
import wavesim.front.report
from wavesim.dyno import sound as dyno_sound
from wavesim.show import plots

STUDY = ws.load(ws.demo_path("collector"))
ENGINE, EXHAUST = STUDY.engine, STUDY.exhausts[STUDY.base]
SWEEP = fake_sweep(np.arange(2000.0, 5000.0, 1000.0), [100.0, 110.0, 120.0], "a")
OTHER = fake_sweep(np.arange(2000.0, 5000.0, 1000.0), [105.0, 108.0, 125.0], "b")
COMPARISON = ws.compare(SWEEP, OTHER)
POINT = invented_point(3000.0)
SWEEP_CURVE = ws.Curve("x", [2000.0, 3000.0], {"torque": [100.0, 110.0]},
                       uncertainty={"torque": 3.0})
NETWORK = ws.Network({"pipe": ws.Pipe(0.1, 0.04)}, {"a": ws.ClosedEnd("pipe.start"),
                                                    "b": ws.OpenEnd("pipe.end")})
SPACE = {"exhaust.primary.length": (0.45, 0.90)}
PAIR = {"engine": ENGINE, "exhaust": EXHAUST}
COARSE = ws.Settings(cell_length=0.1, sample_deg=10.0, tolerance=5e-2)
SPEEDS = {"settings": ws.Settings(), "threads": 1, "executor": None, "store": None}


def doors(folder):
    """Functions with right arguments by name, and results are written below a folder."""
    store = ws.Store(folder / "store")
    sweep, study = folder / "a.npz", folder / "study.toml"
    SWEEP.save(sweep)
    ws.save(STUDY, study)
    loss = ws.TransmissionLoss(np.arange(3.0), np.arange(3.0), True)
    return {
        "assemble": (ws.assemble, PAIR),
        "bill": (ws.bill, {"exhaust": EXHAUST, "engine": ENGINE, "wall": ws.Wall(1e-3)}),
        "Bill.to_csv": (ws.bill(EXHAUST, ENGINE).to_csv, {"path": folder / "bill.csv"}),
        "compare": (ws.compare, {"a": SWEEP, "b": OTHER, "bands": [(2000.0, 3000.0)]}),
        "Comparison.values": (COMPARISON.values, {"quantity": "torque"}),
        "Comparison.crossings": (COMPARISON.crossings, {"quantity": "torque"}),
        "Comparison.table": (COMPARISON.table, {"quantities": ["torque"]}),
        "Comparison.summary": (COMPARISON.summary, {"quantities": ["torque"]}),
        "Comparison.to_csv": (COMPARISON.to_csv, {"path": folder / "c.csv",
                                                  "quantities": ["torque"]}),
        "demo_path": (ws.demo_path, {"name": "demo"}),
        "designs": (ws.designs, {"base": STUDY, "space": SPACE, "n": 2, "method": "grid",
                                 "seed": 0}),
        "explore": (ws.explore, PAIR | SPEEDS | {"designs": [{"exhaust.primary.length": 0.5}],
                                                 "rpm": [3000.0], "keep": ["torque"]}),
        "optimise": (ws.optimise, PAIR | SPEEDS | {
            "space": SPACE, "rpm": [3000.0], "objective": "torque", "goal": "largest",
            "band": None, "limits": {"mass": (None, 100.0)}, "method": "nelder-mead",
            "evaluations": 10, "seed": 0, "keep": ["torque"]}),
        "gauge": (ws.gauge, {"n": 16}),
        "load": (ws.load, {"path": study}),
        "restore": (ws.restore, {"data": ws.describe(EXHAUST)}),
        "save": (ws.save, {"study": STUDY, "path": study}),
        "run_point": (ws.run_point, PAIR | {"rpm": 3000.0, "settings": ws.Settings(),
                                            "gas": None, "fuel_flow": None, "start": None}),
        "run_network": (ws.run_network, {"engine": ENGINE, "network": EXHAUST.network(ENGINE),
                                         "rpm": 3000.0, "ambient": None, "pull": None}),
        "weather": (ws.run_point, PAIR | {"rpm": 3000.0, "ambient": ws.Ambient(),
                                          "settings": COARSE}),
        "Curve": (ws.Curve, {"name": "x", "rpm": [2000.0, 3000.0],
                             "values": {"torque": [100.0, 110.0]}, "uncertainty": None,
                             "units": None, "notes": (), "trusted": None}),
        "PerfectGas": (ws.PerfectGas, {"gamma": 1.4, "R": 287.0, "heat_per_fresh": 0.0,
                                       "fuel_fraction": 0.0}),
        "lobe_centres": (ws.lobe_centres, {"separation_deg": 110.0, "intake_centre_deg": 106.0,
                                           "advance_deg": 0.0}),
        "quantity_table": (ws.quantity_table, {"names": ["torque"]}),
        "wall_balance": (ws.wall_balance, {"h_inner": 100.0, "gas_temperature": 900.0,
                                           "wall": ws.Wall(1.5e-3), "diameter": 0.04}),
        "wall_warming": (ws.wall_warming, {
            "metal_temperature": 300.0, "h_inner": 100.0, "gas_temperature": 900.0,
            "wall": ws.Wall(1.5e-3), "diameter": 0.04, "duration": 1.0, "substep": 0.2}),
        "simulate": (ws.simulate, {"network": NETWORK, "duration": 1e-4, "gas": None,
                                   "settings": ws.Settings(), "initial": None, "samples": 5}),
        "periodic_states": (ws.periodic_states, PAIR | {
            "rpm": 3000.0, "settings": COARSE, "gas": None, "ambient": None, "step": 0.05,
            "starts": ("lower speed",)}),
        "speed_sweep": (ws.speed_sweep, PAIR | SPEEDS | {"rpm": [3000.0], "name": "x",
                                                         "fuel_from": None}),
        "speed_sweeps": (ws.speed_sweeps, SPEEDS | {"systems": [("x", ENGINE, EXHAUST)],
                                                    "rpm": [3000.0]}),
        "run_study": (ws.run_study, {"study": STUDY, "threads": 1, "executor": None,
                                     "store": None}),
        "transmission_loss": (ws.transmission_loss, {
            "line": ws.Pipe(0.2, 0.04), "gas": None, "temperature": 298.0, "pressure": 1e5,
            "frequencies": [100.0, 200.0], "settings": None, "bore": None, "amplitude": 1e-5,
            "longest": 0.01}),
        "TransmissionLoss.to_csv": (loss.to_csv, {"path": folder / "loss.csv"}),
        "vary": (ws.vary, {"thing": EXHAUST, "path": "collector.length", "value": 0.3}),
        "vee_firing_intervals": (ws.vee_firing_intervals, {
            "firing_order": (1, 2), "banks": (1, 2), "pin_angles_deg": (0, 0),
            "bank_angle_deg": 90}),
        "Exhaust.with_collector": (EXHAUST.with_collector, {"length": 0.3}),
        "Pipe.replace": (ws.Pipe(0.5, 0.04).replace, {"length": 0.3}),
        "Table.from_csv": (ws.Table.from_csv, {"path": folder / "t.csv", "x": "rpm", "y": "deg",
                                               "x_scale": 1.0, "y_scale": 1.0}),
        "Store": (ws.Store, {"folder": folder / "store"}),
        "Store.run_point": (store.run_point, PAIR | {"rpm": 3000.0, "settings": ws.Settings(),
                                                     "gas": None, "fuel_flow": None}),
        "Store.has": (store.has, {"key": "a" * 64}),
        "Store.get": (store.get, {"key": "a" * 64}),
        "Store.put": (store.put, {"key": "a" * 64, "outcome": POINT}),
        "Store.claim": (store.claim, {"key": "a" * 64}),
        "Store.release": (store.release, {"key": "a" * 64}),
        "Sweep": (ws.Sweep, {"points": [POINT], "failures": {}, "name": "x"}),
        "Sweep.table": (SWEEP.table, {"names": ["torque"]}),
        "Sweep.to_csv": (SWEEP.to_csv, {"path": folder / "s.csv"}),
        "Sweep.save": (SWEEP.save, {"path": sweep}),
        "Sweep.load": (ws.Sweep.load, {"path": sweep}),
        "Sweep[]": (SWEEP.__getitem__, {"key": 3000.0}),
        "Point.trace": (POINT.trace, {"quantity": "pressure", "at": "x", "x": 0.1}),
        "new_axes": (plots.new_axes, {"rows": 1, "width": 8.0, "height": 4.0}),
        "save_figure": (plots.save_figure, {"ax": plots.new_axes(), "path": folder / "a.png",
                                            "dpi": 20.0}),
        "plot_speed_curves": (plots.plot_speed_curves, {"curves": [SWEEP], "quantity": "torque"}),
        "plot_torque_power": (plots.plot_torque_power, {"curves": [SWEEP]}),
        "plot_difference": (plots.plot_difference, {"comparisons": [COMPARISON],
                                                    "quantity": "torque"}),
        "plot_differences": (plots.plot_differences, {"comparisons": [COMPARISON]}),
        "plot_comparison": (plots.plot_comparison, {"comparison": COMPARISON,
                                                    "quantity": "torque"}),
        "plot_valve_pressure": (plots.plot_valve_pressure, {"sweeps": [SWEEP], "rpm": 3000.0,
                                                            "side": "exhaust"}),
        "write_report": (ws.front.report.write_report, {"sweeps": {"a": SWEEP},
                                                        "folder": folder / "out"}),
    }


class Unspeakable:
    """An object that cannot even be shown."""

    def __repr__(self):
        raise ZeroDivisionError("not even that")


def nested(depth):
    found = 1.0
    for _ in range(depth):
        found = [found]
    return found


#: What no argument is meant to be.
WRONG = {
    "text": "wrong", "bytes": b"wrong", "a number": 3.5, "a large number": 10**5000,
    "minus one": -1, "nan": float("nan"), "truth": True, "complex": 1j, "a list": [1, "a", None],
    "a dict": {"a": 1}, "an object": object(), "a class": ws.Pipe, "a function": len,
    "an array": np.arange(6.0).reshape(2, 3), "something deep": nested(3000),
    "a description": ws.Pipe(0.5, 0.04), "unspeakable": Unspeakable(), "a long text": "x" * 10**6,
    "none": None, "an empty list": [], "a date": np.datetime64("2024-01-01"),
}  # fmt: skip



def more_doors(folder):
    """Calls of public functions and methods that no docstring and no entry above shows."""
    point = ws.run_point(ENGINE, EXHAUST, 3000.0, settings=COARSE)
    sweep, wall = ws.Sweep([point], name="one"), ws.Wall(1e-3)
    pressure, loss = point.trace("pressure", "cylinder 1"), np.arange(3.0)
    loss = ws.TransmissionLoss(loss, loss, True)
    network = EXHAUST.network(ENGINE)
    transient = ws.simulate(NETWORK, 1e-4, gas=ws.PerfectGas(), samples=3)
    found = ws.explore(ENGINE, EXHAUST, [{"exhaust.primary.length": 0.5}], [3000.0, 4000.0],
                       settings=COARSE, threads=1, progress=False, keep=["torque"])
    best = ws.optimise(ENGINE, EXHAUST, SPACE, [3000.0, 4000.0], settings=COARSE, threads=1,
                       evaluations=10, progress=False, method="nelder-mead")
    flow = ENGINE.exhaust_valve.flow
    lift = ENGINE.exhaust_valve.lift
    perforate, volume = node_of("Perforate"), node_of("Volume")
    junction, curve = node_of("Junction"), SWEEP_CURVE
    picked = ws.choice({"a": SWEEP, "b": OTHER}, bands=[(2000.0, 3000.0)], aims=["torque"],
                       distance=1.0, ground=True)
    sound, air = radiated(point), ws.PerfectGas().table()
    noise = ws.SoundCurve([radiated(point, 2000.0), sound], "noise", trusted=[True, True],
                          notes=["invented"])
    air = ws.TableGas(air.R, air.coef)
    paired = EXHAUST.replace(pairs=((1, 4), (2, 3)),
                             secondary=ws.Pipe(0.3, 0.045))
    pulls = ws.MeasuredPulls("pulls", [curve, ws.Curve("y", curve.rpm, {"torque": [101.0, 108.0]})])
    many = ws.compare(SWEEP, OTHER, SWEEP_CURVE)
    states = ws.PeriodicStates(3000.0, [ws.PeriodicState(point, ("cold",), 0.6, 0.5)])
    torque = [[100.0, 110.0], [101.0, 112.0]]
    measured = ws.measured_difference([3000.0, 4000.0], torque, torque)
    actions = [
        lambda: measured.pulls_needed(1.0, 0.8, 3000.0, 4000.0),
        lambda: measured.smallest_difference(3, 0.8, 3000.0, 4000.0),
        lambda: measured.band_average(3000.0, 4000.0),
        lambda: ws.describe(EXHAUST), lambda: ws.restore(ws.describe(wall)),
        lambda: plots.colour(1), lambda: plots.plot_trace(pressure, label="a"),
        lambda: plots.plot_transmission_loss(loss, reference=loss, label="a"),
        lambda: plots.plot_cylinders([point], names=["a"], quantity="imep_net"),
        lambda: plots.plot_valve_pressure(sweep, 3000.0, cylinder=1, side="exhaust"),
        lambda: plots.plot_valve_pressures([sweep], [3000.0], cylinder=1, side="exhaust"),
        lambda: plots.plot_pairs({"a": [1.0, 2.0], "b": [3.0, 1.0]}, [1.0, 2.0], "torque"),
        lambda: examples.RATING.throat(1e-3), lambda: examples.RATING.loss_coefficient(1e-3),
        lambda: node_of("Carburettor").throat(1e-3),
        lambda: many[0], lambda: many.summary(["torque"]), lambda: many.table(["torque"]),
        lambda: many.to_csv(folder / "m.csv", ["torque"]), lambda: many.to_frame(["torque"]),
        lambda: plots.plot_dots([1.0, 2.0], [1.0, 2.0], [True, False], "x", "y"),
        lambda: plots.plot_search([1.0, 2.0], [1.0, 2.0]),
        lambda: dyno_sound.level(1.0), lambda: dyno_sound.third_octave(1),
        lambda: dyno_sound.sound(point, distance=0.5, ground=True, side="exhaust", at=None),
        lambda: dyno_sound.radiate(np.ones(72), 3000.0, 1.2, 0.5),
        lambda: dyno_sound.tip_flow(point.samples, "outlet"),
        lambda: ws.insertion_loss(sound, sound),
        lambda: ws.Choice(["a"], picked.measures, {n: picked[n][:1] for n in picked.measures},
                          aims=["torque"], trusted=np.array([True]), notes=["invented"]),
        lambda: picked.front(["torque"]), lambda: picked.best(["torque"]), lambda: picked["torque"],
        lambda: picked.plot(aims=["torque", "power"]), lambda: picked.to_csv(folder / "p.csv"),
        lambda: ws.run_up([radiated(point, 2000.0), sound], 0.5, 8000, 1000.0),
        lambda: ws.write_wav(np.zeros(10), folder / "a.wav", full_scale=1.0, rate=8000),
        lambda: sound.plot(weighting="A"), lambda: sound.plot_third_octaves(weighting="A"),
        lambda: sound.to_csv(folder / "sound.csv"), lambda: sound.waveform(64),
        lambda: sound.up_to(500.0), lambda: sound.level("A"), lambda: sound.third_octaves("A"),
        lambda: sound.order_levels("A"), lambda: sound.squares("A"),
        lambda: noise["sound_level"], lambda: noise.unit("sound_level"),
        lambda: noise.uncertainty("sound_level"), lambda: noise.order_levels("A"),
        lambda: noise.third_octaves("A"), lambda: noise.mean_level("A"),
        lambda: noise.plot(quantity="sound_level"), lambda: noise.plot_map(weighting="A"),
        lambda: noise.run_up(0.5, 8000), lambda: noise.to_csv(folder / "noise.csv"),
        lambda: noise.to_wav(folder / "n.wav", duration=0.5, full_scale=1.0, rate=8000),
        lambda: ws.insertion_loss(noise, noise).plot(),
        lambda: ws.insertion_loss(noise, noise).to_csv(folder / "loss_of_sound.csv"),
        lambda: lift.centre_deg("exhaust"), lambda: lift.lift_at(10.0),
        lambda: ENGINE.exhaust_valve.lift.centre_deg("exhaust"),
        lambda: ws.Cam(opens_deg=10.0, closes_deg=60.0, lift=9e-3).centre_deg("intake"),
        lambda: ws.Cam(opens_deg=10.0, closes_deg=60.0, lift=9e-3).lift_at(5.0),
        lambda: ENGINE.mean_piston_speed(3000.0), lambda: flow.areas(np.array([1e-3]), 0.03),
        lambda: ENGINE.combustion.burn_angles(-20.0, 60.0),
        lambda: ENGINE.combustion.burned_fraction(5.0, 3000.0),
        lambda: EXHAUST.with_primary(length=0.5), lambda: EXHAUST.with_collector(length=0.5),
        lambda: EXHAUST.replace(pipe=ws.Pipe(0.3, 0.05)).with_pipe(length=0.5),
        lambda: EXHAUST.replace(tailpipe=ws.Pipe(0.3, 0.05)).with_tailpipe(length=0.5),
        lambda: paired.with_secondary(length=0.5), lambda: paired.pairs_of((1, 2, 3, 4), 4),
        lambda: wall.metal_temperature(ws.wall_balance(100.0, 900.0, wall, 0.04), 0.04),
        lambda: junction.without_duct("x"), lambda: junction.gas_volume([0.04] * 3),
        lambda: volume.without_duct("x"), lambda: perforate.without_duct("x"),
        lambda: perforate.with_end(perforate.core, "b"), lambda: perforate.hole_area(0.04),
        lambda: node_of("OpenEnd").without_duct("x"),
        lambda: network.without_duct("collector"), lambda: network.without_node("outlet"),
        lambda: network.with_line("more", ws.Pipe(0.1, 0.04), "collector.end"),
        lambda: network.with_part("collector", 0, length=0.3),
        lambda: network.in_weather(ws.Ambient()).air_outside("exhaust", ws.Ambient()),
        lambda: point.trace("pressure", "collector", 0.1), lambda: point["torque"],
        lambda: point.plot(cylinder=1, side="exhaust"), lambda: point.save(folder / "p.npz"),
        lambda: ws.Point.load(folder / "p.npz"),
        lambda: point.to_csv(folder / "p.csv"), lambda: point.samples.centres("collector"),
        lambda: point.samples.plot(quantity="pressure", at=["cylinder 1"]),
        lambda: point.samples.to_csv(folder / "q.csv", "pressure", ["cylinder 1"]),
        lambda: point.samples.to_frame("pressure", ["cylinder 1"]),
        lambda: pressure.plot(), lambda: pressure.to_csv(folder / "t2.csv"),
        lambda: transient.trace("pressure", "pipe", 0.05), lambda: transient.plot(),
        lambda: transient.to_csv(folder / "u.csv"), lambda: transient.to_frame(),
        lambda: loss.plot(reference=loss), lambda: sweep.plot(quantity="torque"),
        lambda: sweep.unit("torque"), lambda: sweep.uncertainty("torque"),
        lambda: curve.plot(quantity="torque"), lambda: curve.unit("torque"),
        lambda: curve.uncertainty("torque"), lambda: curve.to_csv(folder / "curve.csv"),
        lambda: pulls.uncertainty("torque"), lambda: pulls.unit("torque"),
        lambda: pulls.by_pull("torque", [2500.0]), lambda: pulls.without("x"),
        lambda: pulls.changed(lambda pull: pull), lambda: pulls.scatter("torque"),
        lambda: ws.STANDARDS["ISO 1585"].factor(1e5, 300.0),
        lambda: ws.STANDARDS["ISO 1585"].warnings(1e5, 300.0), lambda: pulls["torque"],
        lambda: pulls.plot(quantity="torque"), lambda: pulls.to_csv(folder / "pulls.csv"),
        lambda: COMPARISON.uncertainty("torque"), lambda: COMPARISON.percent("torque"),
        lambda: COMPARISON.crossing_rpm("torque"), lambda: COMPARISON.band_averages("torque"),
        lambda: COMPARISON.difference("torque"), lambda: COMPARISON.to_frame(["torque"]),
        lambda: COMPARISON.plot(quantity="torque"),
        lambda: found[0]["torque"], lambda: found[0].mean("torque", (3000.0, 4000.0)),
        lambda: found[0].excess({"mass": (None, 1.0)}), lambda: found[0].plot(),
        lambda: found["torque"], lambda: found.mean("torque", (3000.0, 4000.0)),
        lambda: found.built(0), lambda: found.best("torque", count=1),
        lambda: found.summary("torque", count=1), lambda: found.plot(name="torque"),
        lambda: found.to_csv(folder / "f.csv"), lambda: found.to_frame(per_speed=True),
        lambda: best.plot(), lambda: best.to_csv(folder / "o.csv"),
        lambda: ws.FlameScaling.of(point), lambda: ws.SolverError("It burst."),
        lambda: states[0], lambda: states.plot(), lambda: states.to_csv(folder / "v.csv"),
    ]
    for gas in (ws.PerfectGas(), air):
        for method in (gas.viscosity, gas.conductivity, gas.e, gas.temperature):
            actions.append(partial(method, 1e5 if method.__name__ == "temperature" else 300.0))
    for part, *_ in examples.PARTS.values():
        if hasattr(part, "amounts"):
            actions.append(partial(part.amounts, wall))
    return actions


def node_of(kind):
    """The example of a kind of node."""
    nodes = (node for groups in examples.NODES.values() for group in groups for node in group)
    return next(node for node in nodes if type(node).__name__ == kind)


def radiated(point, rpm=3000.0):
    """Sound of a point that is called another speed."""
    return dyno_sound.sound(dataclasses.replace(point, rpm=rpm))
