"""Run the cases: `python -m validation [case ...]`; see README.md of this folder."""

import argparse
import os
import sys
from pathlib import Path

FOLDER = Path(__file__).resolve().parent
sys.path.insert(0, str(FOLDER))  # cases import each other and the shared set-ups by plain names

import pyclaw_twin  # noqa: E402
import suite  # noqa: E402


def main(arguments=None):
    """Run, report, and return 1 if a case broke or missed a bound, else 0."""
    parser = argparse.ArgumentParser(prog="python -m validation", description=__doc__)
    parser.add_argument("case", nargs="*", help="names of cases; all if none is given")
    parser.add_argument("--workers", type=int, default=os.cpu_count(),
                        help="processes side by side")
    parser.add_argument("--index", action="store_true",
                        help="renew the index of README.md from a run of all cases")
    given = parser.parse_args(arguments)
    unknown = sorted(set(given.case) - set(suite.case_names()))
    if unknown:
        parser.error(f"no case {', '.join(unknown)}; there are {', '.join(suite.case_names())}")
    if given.index and given.case:
        parser.error("--index needs a run of all cases")
    if given.index and not pyclaw_twin.IS_HERE:
        parser.error(pyclaw_twin.MISSING)
    outcomes = suite.run_all(given.case or None, given.workers)
    print("report:", os.path.relpath(suite.write_report(outcomes)))
    if given.index:
        suite.write_index(outcomes)
    return 0 if all(outcome.passed for outcome in outcomes) else 1


if __name__ == "__main__":
    sys.exit(main())
