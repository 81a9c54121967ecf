"""Measure the speed of everything, one group after the other; see README.md of this folder."""

import argparse
import sys
import time
import warnings
from importlib import import_module
from pathlib import Path

FOLDER = Path(__file__).resolve().parent
# groups import each other by plain names, and the tubes of the validation
sys.path[:0] = [str(FOLDER), str(FOLDER.parent / "validation")]

import measuring  # noqa: E402

GROUPS = {
    "cells": "bench_cells", "tubes": "bench_tubes", "engine": "bench_engine", "host": "bench_host",
    "sweep": "bench_sweep", "scale": "scale_out", "start": "bench_start",
    "accuracy": "bench_accuracy",
}


def main(arguments=None):
    """Measure, print, keep, and return 1 if a target was missed, else 0."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks", description=__doc__)
    parser.add_argument("group", nargs="*", help=f"{', '.join(GROUPS)}; all if none is given")
    parser.add_argument("--quick", action="store_true",
                        help="within a minute: few repetitions, small cases, nothing is kept")
    given = parser.parse_args(arguments)
    unknown = sorted(set(given.group) - set(GROUPS))
    if unknown:
        parser.error(f"no group {', '.join(unknown)}; there are {', '.join(GROUPS)}")
    warnings.simplefilter("ignore")  # of the other library
    source = measuring.origin()
    print("{}, commit {}, {}, {} cores, load {}".format(*source))
    clock = time.perf_counter()
    missed = []
    for name in given.group or GROUPS:
        missed += [row for row in measure(name, given.quick, source) if row.met is False]
    print(f"\n{time.perf_counter() - clock:.0f} s, "
          + (f"{len(missed)} missed:" if missed else "all targets met."))
    for row in missed:
        print(measuring.line(*row.cells()))
    return 1 if missed else 0


def measure(name, quick, source):
    """Rows of a group, printed while they are measured and kept in the history."""
    module = import_module(GROUPS[name])
    print(f"\n{module.__doc__.splitlines()[0]}\n\n{measuring.line('what')}")
    rows = []
    for row in module.run(quick):
        print(measuring.line(*row.cells()), flush=True)
        rows.append(row)
    if not quick:
        measuring.keep(name, rows, source)
    return rows


if __name__ == "__main__":
    sys.exit(main())
