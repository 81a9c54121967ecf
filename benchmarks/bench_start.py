"""Time of the demo study with an empty kernel cache (cold) and with a filled one (warm).

    python benchmarks/bench_start.py

Also prints the time to import the package, and from process start to the first step.
"""

import os
import subprocess
import sys
import tempfile
import time

FIRST_STEP = """
import wavesim as ws
net = ws.Network({"pipe": ws.Pipe(1.0, 0.04)},
                 {"wall": ws.ClosedEnd("pipe.start"), "open": ws.OpenEnd("pipe.end")})
ws.simulate(net, 1e-5, samples=2)
"""


def seconds(arguments, cache):
    """Wall time of one Python process with the given kernel cache."""
    start = time.perf_counter()
    subprocess.run(
        [sys.executable, *arguments], check=True, capture_output=True,
        env=os.environ | {"WAVESIM_CACHE": cache, "MPLBACKEND": "Agg"},
    )
    return time.perf_counter() - start


def main():
    """Run and print."""
    with tempfile.TemporaryDirectory() as folder:
        cache = os.path.join(folder, "cache")
        print(f"import wavesim                 {seconds(['-c', 'import wavesim'], cache):6.2f} s")
        for name in ("cold", "warm"):
            out = os.path.join(folder, name)
            demo = seconds(["-m", "wavesim", "demo", "--out", out], cache)
            print(f"demo, {name}                     {demo:6.2f} s   (2 exhausts, 12 speeds)")
        print(f"process start to first step    {seconds(['-c', FIRST_STEP], cache):6.2f} s")


if __name__ == "__main__":
    main()
