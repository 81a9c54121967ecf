"""The kernels are plain Python as well: the same numbers without the compiler."""

import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import wavesim as ws

CASES = {
    "perfect": (ws.PerfectGas(), "finite volume"),
    "engine": (ws.EngineGas(), "finite volume"),
    "characteristics": (ws.PerfectGas(), "characteristics"),
}


def small_case(case):
    """Fifty cells, every kind of node, some thirty steps of strong waves: final states as lists."""
    gas, scheme = CASES[case]
    pipe = ws.Pipe(0.1, 0.04, cell_length=0.02)
    cone = ws.Pipe(0.1, 0.04, end_diameter=0.05, cell_length=0.02, wall_temperature=400.0)
    ducts = {name: pipe for name in "abcde"} | {"f": cone, "g": pipe, "h": ws.Pipe(0.1, 0.06)}
    nodes = {
        "wall": ws.ClosedEnd("a.start"),
        "hole": ws.Orifice(("a.end", "b.start"), diameter=0.02),
        "tee": ws.Junction(("b.end", "c.start", "d.start"), angles_deg=(180.0, 0.0, 60.0)),
        "meet": ws.Junction(("c.end", "e.start"), model="pressure"),
        "box": ws.Volume(("d.end", "f.start"), volume=1e-4),
        "plate": ws.Throttle(("f.end", "g.start"), diameter=0.04, plate_angle_deg=50.0),
        "step": ws.AreaStep(("g.end", "h.start")),
        "mouth": ws.OpenEnd("h.end"),
        "far": ws.AnechoicEnd("e.end"),
    }
    initial = {
        "a": (4e5, 0.0, 1000.0, "burned"), "b": (1e5, 50.0, 300.0, "air"),
        "d": (2e5, -30.0, 500.0, (0.3, 0.4)), "f": (3e5, 0.0, 800.0, "fresh"),
    }
    if scheme == "finite volume":  # the other scheme knows no perforated walls
        ducts |= {"core": pipe, "annulus": ws.Pipe(0.1, 0.08, cell_length=0.02)}
        nodes |= {
            f"{duct} {side}": ws.ClosedEnd(f"{duct}.{side}")
            for duct in ("core", "annulus") for side in ("start", "end")
        }
        nodes["holes"] = ws.Perforate(
            "core", "annulus", hole_diameter=3e-3, porosity=0.2, wall_thickness=1.5e-3,
            packing=ws.Packing(bulk_density=100.0),
        )
        initial |= {"core": (3e5, 40.0, 700.0, "burned"), "annulus": (1e5, 0.0, 300.0, "air")}
    final = ws.simulate(
        ws.Network(ducts, nodes), 6e-4, gas=gas, initial=initial, samples=3,
        settings=ws.Settings(scheme=scheme),
    ).final
    return {
        duct: {name: list(map(float, values)) for name, values in state.items()}
        for duct, state in final.items()
    }


SCRIPT = """
import json, sys
sys.path.insert(0, sys.argv[1])
from test_kernels_nojit import CASES, small_case
import numba
assert numba.config.DISABLE_JIT
print(json.dumps({name: small_case(name) for name in CASES}))
"""


@pytest.fixture(scope="module")
def interpreted():
    """Results of a fresh Python process with the compiler switched off."""
    done = subprocess.run(
        [sys.executable, "-c", SCRIPT, str(Path(__file__).parent)],
        env={**os.environ, "NUMBA_DISABLE_JIT": "1"}, capture_output=True, text=True, timeout=300,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    return json.loads(done.stdout)


@pytest.mark.parametrize("case", CASES)
def test_interpreted_kernels_give_the_compiled_answer(interpreted, case):
    for duct, state in small_case(case).items():
        for name, values in state.items():
            scale = 1.0 if name in ("fresh", "burned") else np.abs(values).max()
            assert interpreted[case][duct][name] == pytest.approx(
                values, rel=1e-12, abs=1e-12 * scale
            ), f"{name} in {duct}"
