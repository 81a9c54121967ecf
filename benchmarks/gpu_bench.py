"""What a GPU does, beside the processor in the same run; parts by name, all if none is given.

    python benchmarks/gpu_bench.py [cycles] [steps] [curves] [designs] [map] [search]
    python benchmarks/gpu_bench.py cluster                  two GPUs, each of a Dask worker
    compute-sanitizer --tool racecheck python benchmarks/gpu_bench.py race

Needs an NVIDIA GPU and `pip install wavesim[gpu]`, `cluster` also `wavesim[cluster]`.
"""

import os
import subprocess
import sys
import time
import traceback
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np

import wavesim as ws
from wavesim.gpu import slots, target
from wavesim.gpu.device import Device
from wavesim.kernels import jit
from wavesim.many import pool
from wavesim.march.advance import Cycle, begin_cycle, march_to, plan_steps, run_cycle
from wavesim.march.rig import Rig

CASES = {"collector": "short collector", "complete": "complete, 51 mm"}
SPACE = {"exhaust.primary.length": (0.4, 1.0), "exhaust.collector.length": (0.15, 0.6),
         "exhaust.merge.angle_deg": (8.0, 20.0)}
#: Tubes that do not fit the ports: a step of bore behind every valve, whose solution is costly.
STEPPED = SPACE | {"exhaust.primary.diameter": (0.035, 0.042)}
SEARCH_SPACE = SPACE | {"exhaust.tailpipe.*.diameter": (0.044, 0.060)}
#: Both cut off the best design at 3500 and 5500 rev/min, which has 17.3 kg and 9.7 kPa.
SEARCH_LIMITS = {"mass": (None, 17.0), "back_pressure": (None, 9e3)}
SIZES = {"collector": (2112,), "complete": (1, 132, 528, 1056, 2112, 4096)}
OUT = Path(os.environ.get("OUT", "."))
CLOCK = time.perf_counter()


def say(*what):
    print(f"[{time.perf_counter() - CLOCK:6.1f}]", *what, flush=True)


def case(study):
    found = ws.load(ws.demo_path(study))
    return found.engine_of(CASES[study]), found.exhausts[CASES[study]]


def model_at(study, rpm, is_coarse=False):
    rig = Rig(*case(study), ws.Settings())
    return Rig(*case(study), rig.coarse if is_coarse else rig.settings).at(rpm)[0]


class Slots:
    """Memory of slots and one lane."""

    def __init__(self, device, size):
        file, _ = pool._shared_file(size)
        self.memory = pool.map_memory(file, size)
        self.device, self.at = device, 0
        self.lane, = device.lanes(self.memory, 1)

    def place(self, model, traces=False):
        layout = slots.layout_of(model, traces)
        start, self.at = self.at, self.at + layout.words
        words = self.memory[start:self.at]
        slots.settle_in(model, layout, words)
        return start, words

    def run(self, starts):
        clock = time.perf_counter()
        self.lane.run(starts)
        return time.perf_counter() - clock


def cycles():
    """Cycles a minute for batches of 1 to 4096 points, of one design at many speeds.

    They have the same cells and march in step; `designs` has points that do not.
    """
    device = Device()
    found = Slots(device, 5 * 2**30)
    for study in CASES:
        speeds = np.linspace(2000.0, 7000.0, 63)
        rig = Rig(*case(study), ws.Settings())
        kept = []
        for rpm in speeds:
            found.at = 0
            model = rig.at(rpm)[0]
            ends = begin_cycle(Cycle(model, model.settings, 1, False))
            _, words = found.place(model)
            kept.append((words.copy(), ends))
        faces = rig.at(2000.0)[0].net.area.size
        say(f"{study}: {kept[0][0].size * 8e-6:.2f} MB a slot, {faces} faces")
        for count in SIZES[study]:
            starts, at = [], 0
            for i in range(count):
                words, ends = kept[(i * 63) // count if count < 63 else i % 63]
                found.memory[at:at + words.size] = words
                slots.ask(found.memory[at:], ends, 2_000_000, False)
                starts.append(at)
                at += words.size
            took = found.run(starts)
            steps = sum(slots.answer(found.memory[start:])[2] for start in starts)
            say(f"{count:5d} points, {took:7.3f} s, {60.0 * count / took:9.0f} cycles/min, "
                f"{10.0 * count / took:8.0f} times six cycles, {1e9 * took / steps:6.0f} ns a step")
            job = found.memory[starts[-1] + slots.JOB_AT:][:slots.N_JOB]
            ticks = job[slots.PROFILE:slots.PROFILE + 11]
            if ticks.any():
                say("  ticks a step of stages", (ticks / job[slots.USED]).astype(int).tolist())
    follow(found, starts[:528], [kept[i % 63][1] for i in range(528)])


def follow(found, starts, ends):
    """Four more cycles of the same points, the last with samples."""
    for number in range(2, 6):
        for start, end in zip(starts, ends, strict=True):
            words = found.memory[start:]
            slots.view_of(words, "state.clock", 1, float)[:] = 0.0
            interval = slots.view_of(words, "record.interval", 1, float)
            interval[:] = (end[-1] / 720.0, 0.0) if number == 5 else (0.0, 0.0)
            slots.ask(words, end, 2_000_000, number == 5)
        took = found.run(starts)
        steps = sum(slots.answer(found.memory[start:])[2] for start in starts)
        what = ", with samples" if number == 5 else ""
        say(f"cycle {number} of {len(starts)} points{what}: {took:.3f} s, {1e9 * took / steps:.0f} "
            "ns a step", found.lane.spans[-1])


def steps():
    """A quarter turn beside the processor, from the state after a cycle of the processor."""
    device = Device()
    found = Slots(device, 2**28)
    for study, rpm, is_coarse in (("complete", 4500.0, False), ("complete", 2500.0, False),
                                  ("collector", 6000.0, False), ("complete", 4500.0, True)):
        model = model_at(study, rpm, is_coarse)
        run_cycle(model, model.settings, 1, None, False)
        plan_steps(model, model.settings, False)
        twins = []
        for _ in range(2):
            twin = model_at(study, rpm, is_coarse)
            for name, values in slots.arrays_of(twin).items():
                if not name.startswith("record"):
                    values[...] = slots.arrays_of(model)[name]
            twins.append(found.place(twin) + (twin,))
        ends = begin_cycle(Cycle(model, model.settings, 2, True)) / 8.0
        for start, words, twin in twins:
            begin_cycle(Cycle(twin, model.settings, 2, True))
            slots.ask(words, ends, 100_000, True)
            found.run([start])
            slots.ask_samples(words)
            found.run([start])
        used = 0
        for end in ends:
            used += march_to(model, end, 100_000, 2, used)
        same = np.array_equal(twins[0][1][slots.NEAR_AT:], twins[1][1][slots.NEAR_AT:])
        off = difference(model, twins[0][2])
        told = ", ".join(f"{name} {value:.1e}" for name, value in off.items())
        say(f"{study}, {rpm:g} rev/min, {model.net.taper.size} steep cells: {used} steps of the "
            f"processor, {slots.answer(twins[0][1])} "
            f"of the GPU; repeated to the bit: {same}; {told}")


def race():
    """A few degrees of four points in one block, for `compute-sanitizer --tool racecheck`.

    The tool takes a barrier that some warps pass by for none at all, so they wait as well here.
    """
    target.LAST_WAITS = True
    jit.obstacle = lambda: "this march is for the check alone, and not kept"
    device = Device()
    found = Slots(device, 2**26)
    rig, starts = Rig(*case("complete"), ws.Settings(cell_length=0.1)), []
    for rpm in (6000.0, 5000.0, 6500.0, 7000.0):
        model = rig.at(rpm)[0]
        start, words = found.place(model)
        slots.ask(words, begin_cycle(Cycle(model, model.settings, 1, True)) / 100.0, 10_000, True)
        starts.append(start)
    device.multiprocessors = 1  # as if it had no more: all go to one block
    found.run(starts)
    say([slots.answer(found.memory[start:]) for start in starts])


def difference(a, b):
    """Largest difference relative to the largest value of each row, inside ducts."""
    inside = np.concatenate([np.arange(*span) for span in a.ducts.values()])
    found = {}
    x, y = (one.state.U[:, inside] for one in (a, b))
    size = np.abs(x).max(axis=1, keepdims=True)
    found["gas in ducts"] = float((np.abs(x - y) / np.where(size > 0.0, size, 1.0)).max())
    for of, name in (("state", "store"), ("record", "cyl_sum"), ("record", "end_sum")):
        x, y = (getattr(getattr(one, of), name) for one in (a, b))
        size = np.abs(x).max(axis=0)
        found[name] = float((np.abs(x - y) / np.where(size, size, 1.0)).max())
    for name in ("store", "end"):
        x, y = getattr(a.record, name)[:90], getattr(b.record, name)[:90]
        size = np.abs(x).max(axis=(0, 1))
        found[f"sampled {name}"] = float((np.abs(x - y) / np.where(size, size, 1.0)).max())
    return found


def curves():
    """Both studies at all speeds, on both."""
    for study in CASES:
        whole = ws.load(ws.demo_path(study))
        clock = time.perf_counter()
        gpu = ws.run_study(whole, device="gpu", progress=False)
        middle = time.perf_counter()
        with ProcessPoolExecutor() as executor:
            cpu = ws.run_study(whole, executor=executor, progress=False)
        end = time.perf_counter()
        say(f"{study}: {len(gpu) * len(whole.rpm)} points with traces, GPU {middle - clock:.1f} s, "
            f"{os.cpu_count()} processes {end - middle:.1f} s")
        rows = []
        for name in gpu:
            for rpm in whole.rpm:
                a, b = cpu[name][rpm], gpu[name][rpm]
                rows.append((abs(b.torque / a.torque - 1.0), rpm, name, a.audit["cycles"],
                             b.audit["cycles"], a.converged, b.converged))
        rows.sort(reverse=True)
        off = np.array([row[0] for row in rows])
        say(f"  torque: largest difference {off.max():.1e}, median {np.median(off):.1e}, "
            f"{(off > 1e-4).sum()} of {off.size} above 1e-4; converged "
            f"{sum(r[5] for r in rows)} and {sum(r[6] for r in rows)}")
        for row in rows[:8]:
            say("   ", row)


def host_time(at_work):
    """Processor time [s] of all host processes so far."""
    total = 0.0
    for host in at_work.hosts:
        fields = Path(f"/proc/{host.process.pid}/stat").read_text().rsplit(")", 1)[1].split()
        total += (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
    return total


def designs():
    """Two thousand different designs of a complete system, descriptions in, quantities out."""
    engine, exhaust = case("complete")
    count = int(os.environ.get("DESIGNS", 2000))
    space = STEPPED if os.environ.get("STEPPED") else SPACE
    wanted = ws.designs((engine, exhaust), space, count, method="latin hypercube", seed=1)
    clock = time.perf_counter()
    ws.explore(engine, exhaust, wanted[:64], [4500.0], device="gpu", progress=False)
    say(f"first call, which starts the processes: {time.perf_counter() - clock:.1f} s")
    at_work = pool.gpu_pool()
    for rpm in ([4500.0],):
        before = at_work.cycles, at_work.launches, at_work.busy, host_time(at_work)
        before_spans = len(at_work.spans())
        clock, used = time.perf_counter(), time.process_time()
        found = ws.explore(engine, exhaust, wanted, rpm, device="gpu", progress=False)
        took, used = time.perf_counter() - clock, time.process_time() - used
        count = len(wanted) * len(rpm)
        after = at_work.cycles, at_work.launches, at_work.busy, host_time(at_work)
        marched, launches, busy, hosts = (b - a for a, b in zip(before, after, strict=True))
        spans = np.array(at_work.spans()[before_spans:])
        for row in spans[:: max(1, len(spans) // 12)]:
            say("   a launch of {:.0f} points, {:.0f} new, {:.0f} ms".format(*row))
        good = sum(int(design.trusted.sum()) for design in found)
        say(f"{len(found)} designs at {rpm}: {took:.2f} s, {60.0 * count / took:.0f} points/min; "
            f"{good} of {count} converged, {len(found.failures)} designs failed; "
            f"{marched / count:.1f} cycles a point, {launches} launches of "
            f"{marched / launches:.0f}, lanes busy {busy:.1f} s, this process {used:.1f} s of "
            f"processor, {len(at_work.hosts)} hosts {hosts:.1f} s")
    if os.environ.get("ALONE"):
        return
    with ProcessPoolExecutor() as executor:
        few = wanted[:160]
        ws.explore(engine, exhaust, few[:32], [4500.0], executor=executor, progress=False)
        clock = time.perf_counter()
        beside = ws.explore(engine, exhaust, few, [4500.0], executor=executor, progress=False)
        took = time.perf_counter() - clock
    gpu = ws.explore(engine, exhaust, few, [4500.0], device="gpu", progress=False)
    off = np.abs(gpu.torque / beside.torque - 1.0)
    say(f"beside it {os.cpu_count()} processes: {60.0 * len(few) / took:.0f} points/min; torque of "
        f"{len(few)} designs differs by {off.max():.1e} at most, mostly {np.median(off):.1e}")


def cluster():
    """The same designs on one Dask worker and on two, each with a GPU of its own."""
    from distributed import Client, LocalCluster

    engine, exhaust = case("complete")
    wanted = ws.designs((engine, exhaust), SPACE, int(os.environ.get("DESIGNS", 2000)),
                        method="latin hypercube", seed=1)
    work = "from distributed.cli.dask_worker import main; main()"
    options = ["--nthreads", "512", "--no-nanny", "--no-dashboard"]
    found, workers = [], []
    with LocalCluster(n_workers=0, dashboard_address=None) as here, Client(here) as client:
        for number in range(2):
            workers.append(subprocess.Popen(
                [sys.executable, "-c", work, here.scheduler_address, *options],
                env={**os.environ, "CUDA_VISIBLE_DEVICES": str(number)},
            ))
            client.wait_for_workers(number + 1, timeout=60)
            run = {"device": "gpu", "executor": client.get_executor(), "progress": False}
            ws.explore(engine, exhaust, wanted[:128 * len(workers)], [4500.0], **run)
            clock = time.perf_counter()
            found.append(ws.explore(engine, exhaust, wanted, [4500.0], **run).torque)
            took = time.perf_counter() - clock
            say(f"{len(workers)} workers: {took:.2f} s, {60.0 * len(wanted) / took:.0f} points/min")
        for worker in workers:
            worker.terminate()
            worker.wait()
    say(f"equal to the bit: {np.array_equal(*found)}")


def map():
    """Sixty collector lengths by forty speeds."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    engine, exhaust = case("complete")
    lengths, speeds = np.linspace(0.1, 1.0, 60), np.linspace(2000.0, 7000.0, 40)
    space = {"exhaust.collector.length": lengths.tolist()}
    clock = time.perf_counter()
    ws.explore(engine, exhaust, {"exhaust.collector.length": [0.3]}, speeds, device="gpu",
               progress=False)
    say(f"first call, which starts the processes: {time.perf_counter() - clock:.1f} s")
    clock = time.perf_counter()
    found = ws.explore(engine, exhaust, space, speeds, device="gpu", progress=False)
    took = time.perf_counter() - clock
    size = found.torque.size
    say(f"map of {size} points: {took:.1f} s, {60.0 * size / took:.0f} points/min")
    clock = time.perf_counter()
    with ProcessPoolExecutor(2) as executor:
        ws.explore(engine, exhaust, {"exhaust.collector.length": [0.3]}, speeds[:4],
                   executor=executor, progress=False)
        clock = time.perf_counter()
        few = ws.explore(engine, exhaust, {"exhaust.collector.length": lengths[::40].tolist()},
                         speeds, executor=executor, progress=False)
        cpu = time.perf_counter() - clock
    off = np.abs(few.torque / found.torque[::40] - 1.0)
    say(f"two cores: {few.torque.size} points of it in {cpu:.1f} s, the whole would take "
        f"{cpu * size / few.torque.size:.0f} s; torque differs by {off.max():.1e} at most")
    np.savez(OUT / "map.npz", lengths=lengths, speeds=speeds, torque=found.torque)
    figure, ax = plt.subplots()
    drawn = ax.contourf(speeds, 1e3 * lengths, found.torque, 20)
    figure.colorbar(drawn, label="torque [N m]")
    ax.set(xlabel="engine speed [rev/min]", ylabel="length of the collector [mm]")
    figure.savefig(OUT / "map.png", dpi=120)


def search():
    """A thousand designs searched under limits that cut off the best; beside it the processor.

    SEARCH is the number of designs, SEARCH_CPU how often the processor does the same: 0; 1, with
    the generations of the GPU; or 2, with its own too.
    """
    engine, exhaust = case("complete")
    rpm, times = [3500.0, 5500.0], int(os.environ.get("SEARCH_CPU", 2))
    options = {"evaluations": int(os.environ.get("SEARCH", 1000)), "limits": SEARCH_LIMITS,
               "progress": False}
    some = ws.designs((engine, exhaust), SEARCH_SPACE, 32, method="latin hypercube")
    ws.explore(engine, exhaust, some, rpm, device="gpu", progress=False)

    def found(name, **more):
        clock = time.perf_counter()
        best = ws.optimise(engine, exhaust, SEARCH_SPACE, rpm, **options, **more)
        took = time.perf_counter() - clock
        points = len(rpm) * sum(not np.isnan(one.torque).all() for one in best.exploration)
        say(f"search on {name}: {took:.1f} s, {len(best.exploration)} designs in generations of "
            f"{best.generation}, {points} points computed, {60.0 * points / took:.0f} points/min")
        say("   ", best.objective.text(best.value), "feasible" if best.feasible else "not feasible",
            {path: float(f"{value:.6g}") for path, value in best.best.changes.items()})
        return best

    gpu = found("the GPU", device="gpu")
    say(gpu.summary())
    if not times:
        return
    with ProcessPoolExecutor() as executor:
        cores = f"{os.cpu_count()} processes"
        ws.explore(engine, exhaust, some, rpm, executor=executor, progress=False)
        again, = ws.explore(engine, exhaust, [gpu.best.changes], rpm, executor=executor,
                            progress=False)
        off = np.abs(again.torque / gpu.best.torque - 1.0).max()
        say(f"the best design of the GPU computed by the processor: torque differs by {off:.1e}")
        tell_difference(gpu, found(cores, executor=executor, generation=gpu.generation))
        if times > 1:
            tell_difference(gpu, found(f"{cores}, own generations", executor=executor))


def tell_difference(a, b):
    """How far two searches have gone the same way, and how far apart they ended."""
    same = [_near(x.changes, y.changes) for x, y in zip(a.exploration, b.exploration, strict=False)]
    way = same.index(False) if False in same else len(same)
    shares = [abs(a.best.changes[path] - b.best.changes[path]) / (high - low)
              for path, (low, high) in SEARCH_SPACE.items()]
    torque = np.abs(a.best.torque / b.best.torque - 1.0).max()
    say(f"    the first {way} of {len(same)} designs are the same; objective of the optima differs "
        f"by {abs(a.value / b.value - 1.0):.1e}, torque at a speed by {torque:.1e}, dimensions by "
        f"{max(shares):.1e} of their range")


def _near(a, b):
    return all(np.isclose(a[path], b[path], rtol=1e-12, atol=0.0) for path in a)


def main():
    wanted = sys.argv[1:] or ["cycles", "steps", "curves", "designs", "map", "search"]
    say(f"numpy {np.__version__}, {os.cpu_count()} cores")
    for name in wanted:
        say(f"--- {name}")
        try:
            globals()[name]()
        except Exception:
            traceback.print_exc()


if __name__ == "__main__":
    main()
