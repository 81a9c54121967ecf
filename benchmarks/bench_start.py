"""Start: import of the package, first step, and the compilation of everything.

Each is a Python process of its own from start to end, with a filled cache of kernels or an empty
one.
"""

from measuring import Row, empty_cache, fresh_process, least

IMPORT = "import wavesim, sys; print('matplotlib' in sys.modules)"

FIRST_STEP = """
import wavesim as ws
net = ws.Network({"pipe": ws.Pipe(1.0, 0.04)},
                 {"wall": ws.ClosedEnd("pipe.start"), "open": ws.OpenEnd("pipe.end")})
ws.simulate(net, 1e-5, samples=2)
"""

ENGINE = """
import wavesim as ws
study = ws.load(ws.demo_path("collector"))
ws.run_point(study.engine, study.exhausts[study.base], 6000.0, settings=ws.Settings(
    cell_length=0.1, tolerance=0.1, sample_deg=10.0, min_cycles=1, max_cycles=2))
"""


def run(quick):
    """All rows."""
    fresh_process("-c", FIRST_STEP)  # fills the cache
    works = {"import": IMPORT, "first step": FIRST_STEP}
    cost = least({
        name: lambda code=code: fresh_process("-c", code)[0] for name, code in works.items()
    }, 2 if quick else 5)
    yield Row("process that imports wavesim", cost["import"], "s", "<= 1")
    loaded = fresh_process("-c", IMPORT)[1].strip() == "True"
    yield Row("import of wavesim loads matplotlib (1: yes, 0: no)", float(loaded), target="<= 0")
    yield Row("process that takes a first step, kernels cached", cost["first step"], "s", "<= 1.5")
    if quick:
        print("The cold compilation is left out of a quick run.")
        return
    with empty_cache() as folder:
        yield Row("process that runs an engine, empty cache: compiles everything",
                  fresh_process("-c", ENGINE, cache=folder)[0], "s", "<= 20")
    yield Row("the same, kernels cached", fresh_process("-c", ENGINE)[0], "s")
