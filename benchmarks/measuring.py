"""What all benchmarks share: rows of the table, turns, fresh processes, and the history."""

import csv
import math
import os
import platform
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

FOLDER = Path(__file__).resolve().parent
REPORT = FOLDER / "report"
HISTORY = FOLDER / "history.csv"
COLUMNS = ("date", "commit", "machine", "cores", "load", "group", "what", "measured", "unit",
           "target", "met")


@dataclass(frozen=True)
class Row:
    """One number.

    Parameters
    ----------
    what : str
        What was measured, with its conditions.  Stays the same from run to run.
    measured : float
    unit : str
        Empty for a pure number.
    target : str
        ">= 0.95" or "<= 60", in the unit; empty for a number without one.
    """

    what: str
    measured: float
    unit: str = ""
    target: str = ""

    @property
    def met(self):
        """True or False, None without a target; NaN meets nothing."""
        if not self.target:
            return None
        sign, bound = self.target.split()
        return bool(self.measured >= float(bound) if sign == ">=" else
                    self.measured <= float(bound))

    def cells(self):
        """The four columns of the table as text."""
        met = {True: "yes", False: "NO", None: ""}[self.met]
        return self.what, f"{self.measured:.4g} {self.unit}".rstrip(), self.target, met


def line(what, measured="measured", target="target", met="met"):
    """One line of the table."""
    return f"{what:<82s} | {measured:>16s} | {target:>8s} | {met}".rstrip()


def seconds(work):
    """Time that a call takes [s]."""
    clock = time.perf_counter()
    work()
    return time.perf_counter() - clock


def least(works, turns):
    """Smallest number that each work returns, by name.

    They take turns, so that a busy spell of the machine meets all of them and ratios stay right.

    Parameters
    ----------
    works : dict of callable
        Each measures itself and returns a number, small is good.
    turns : int
    """
    found = dict.fromkeys(works, math.inf)
    for _ in range(turns):
        for name, work in works.items():
            found[name] = min(found[name], work())
    return found


def fresh_process(*arguments, cache=None):
    """Seconds that a new Python process takes, and what it prints.

    `cache` is the folder of its compiled kernels; None: the usual one.
    """
    environment = os.environ | {"MPLBACKEND": "Agg"} | ({"WAVESIM_CACHE": cache} if cache else {})
    clock = time.perf_counter()
    done = subprocess.run(
        [sys.executable, *arguments], check=True, stdout=subprocess.PIPE, text=True,
        env=environment, cwd=FOLDER.parent,
    )
    return time.perf_counter() - clock, done.stdout


def empty_cache():
    """Temporary folder for kernels, as a context manager."""
    return tempfile.TemporaryDirectory(prefix="kernels")


# --- history --------------------------------------------------------------------------------------


def _git(*arguments):
    done = subprocess.run(["git", *arguments], cwd=FOLDER, capture_output=True, text=True)
    return done.stdout.strip() if done.returncode == 0 else ""


def commit():
    """Short name of the commit, with a + if a source differs from it."""
    changed = _git("status", "--porcelain", "--", "../wavesim", ".", ":!history.csv")
    return (_git("rev-parse", "--short", "HEAD") or "unknown") + ("+" if changed else "")


def processor():
    """Model of the processor."""
    try:
        lines = Path("/proc/cpuinfo").read_text().splitlines()
    except OSError:
        return platform.processor() or platform.machine()
    return next((text.split(":", 1)[1].strip() for text in lines if text.startswith("model name")),
                platform.machine())


def origin():
    """The first columns of the history: when, what and where, and how busy the machine is."""
    load = f"{os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else ""
    now = datetime.now(UTC).strftime("%Y-%m-%d %H:%M")
    return now, commit(), processor(), os.cpu_count(), load


def keep(group, rows, source):
    """Append rows to the history."""
    is_new = not HISTORY.exists()
    with HISTORY.open("a", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, lineterminator="\n")
        if is_new:
            writer.writerow(COLUMNS)
        for row in rows:
            met = "" if row.met is None else "yes" if row.met else "no"
            writer.writerow(
                [*source, group, row.what, f"{row.measured:.5g}", row.unit, row.target, met]
            )
