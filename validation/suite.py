"""What a case of the validation is, and how all of them are run and reported.

A case is a module `case_*.py` with a docstring, whose first line is its title and whose rest says
what is compared with what, and a function

    run() -> Case

without arguments and without side effects.  `python -m validation` runs all of them.
"""

import math
import time
import traceback
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path

import matplotlib

FOLDER = Path(__file__).resolve().parent
REPORT = FOLDER / "report"


@dataclass(frozen=True)
class Check:
    """One number of ours beside one from outside the project.

    Parameters
    ----------
    quantity : str
        What is compared, with the conditions that tell it from its neighbours.
    ours, reference : float
        Computed and reference value, both in `unit`.
    allowed : str
        Bound of the difference: "0.5 %" of the reference, or "0.02 abs" in the unit.
    source : str
        Where the reference comes from: author, year, equation; or the library that computed it.
    why : str
        One sentence that justifies the bound.
    unit : str, optional
        SI symbol; empty for a pure number.
    """

    quantity: str
    ours: float
    reference: float
    allowed: str
    source: str
    why: str
    unit: str = ""

    def __post_init__(self):
        size, kind = self.allowed.split()
        if not float(size) > 0.0 or kind not in ("%", "abs"):
            raise ValueError(f"bound of {self.quantity!r} is {self.allowed!r}; "
                             "write a positive number and '%' or 'abs'")
        if not (self.source and self.why):
            raise ValueError(f"{self.quantity!r} needs a source and a reason for its bound")

    @property
    def difference(self):
        """Difference from the reference, in per cent or in the unit, as the bound."""
        off = float(self.ours) - float(self.reference)
        return 100.0 * off / abs(float(self.reference)) if self.allowed.endswith("%") else off

    @property
    def used(self):
        """Size of the difference over the bound: 1 is the limit, NaN counts as infinite."""
        share = abs(self.difference) / float(self.allowed.split()[0])
        return share if math.isfinite(share) else math.inf

    @property
    def passed(self):
        """True inside the bound."""
        return self.used <= 1.0


@dataclass(frozen=True)
class Case:
    """All checks of one case, the axes of its figure and what else the reader must know."""

    checks: tuple
    axes: object = None  # axes or array of axes of the figure
    notes: tuple = ()  # paragraphs of the report: tables without a bound, limits of the model

    def __post_init__(self):
        if not self.checks:
            raise ValueError("a case without checks proves nothing")


@dataclass(frozen=True)
class Outcome:
    """A case that has been run, in plain values that cross a process border."""

    name: str
    title: str
    about: str
    checks: tuple = ()
    notes: tuple = ()
    figure: str = ""  # file name in the report folder
    error: str = ""  # traceback of a case that broke
    seconds: float = 0.0

    @property
    def passed(self):
        """True if the case ran and every check is inside its bound."""
        return not self.error and all(check.passed for check in self.checks)

    @property
    def used(self):
        """Largest share of a bound that any check uses."""
        return max((check.used for check in self.checks), default=math.inf)


def case_names():
    """Names of all case modules, in the order of the alphabet."""
    return sorted(path.stem for path in FOLDER.glob("case_*.py"))


def run_case(name, folder=REPORT):
    """Run one case, draw its figure into `folder`, and return its `Outcome`."""
    matplotlib.use("Agg")
    start = time.perf_counter()
    title, about, found = name, "", {}
    try:
        module = import_module(name)
        title, _, about = (part.strip() for part in module.__doc__.partition("\n"))
        case = module.run()
        found = {"checks": tuple(case.checks), "notes": tuple(case.notes)}
        if case.axes is not None:
            found["figure"] = save(case.axes, Path(folder) / f"{name}.png")
    except Exception:
        found["error"] = traceback.format_exc()
    return Outcome(name, title.rstrip("."), about, seconds=time.perf_counter() - start, **found)


def save(axes, path):
    """Write the figure of `axes`; returns the name of the file."""
    from wavesim.show.plots import save_figure

    path.parent.mkdir(exist_ok=True)
    return save_figure(axes, path).name


def run_all(names=None, workers=2, folder=REPORT, tell=print):
    """Run the cases side by side in worker processes; returns their outcomes in order."""
    names = case_names() if names is None else list(names)
    with ProcessPoolExecutor(workers) as pool:
        jobs = [pool.submit(run_case, name, folder) for name in names]
        outcomes = []
        for job in jobs:
            outcomes.append(job.result())
            tell(summary(outcomes[-1]))
    return outcomes


def summary(outcome):
    """One line about a case for the terminal."""
    if outcome.error:
        return f"BROKEN  {outcome.name}: {outcome.error.splitlines()[-1]}"
    word = "ok    " if outcome.passed else "MISSED"
    return (f"{word}  {outcome.name}: {len(outcome.checks)} checks, at most "
            f"{outcome.used:.0%} of a bound, {outcome.seconds:.0f} s")


def number(value):
    """A value in five digits."""
    return f"{value:.5g}"


def table(checks):
    """Checks as a Markdown table."""
    rows = ["| quantity | unit | reference | ours | difference | allowed | source |",
            "|---|---|---:|---:|---:|---:|---|"]
    for check in checks:
        sign = " %" if check.allowed.endswith("%") else ""
        mark = "" if check.passed else " **missed**"
        rows.append(
            f"| {check.quantity} | {check.unit} | {number(check.reference)} | {number(check.ours)} "
            f"| {check.difference:+.2g}{sign}{mark} | {check.allowed} | {check.source} |"
        )
    return "\n".join(rows)


def reasons(checks):
    """The reasons of the bounds, each once."""
    found = {}
    for check in checks:
        found.setdefault(check.why, []).append(check.allowed)
    return "\n".join(
        f"- {', '.join(dict.fromkeys(bounds))}: {why}" for why, bounds in found.items()
    )


def chapter(outcome):
    """One case as Markdown."""
    parts = [f"## {outcome.title}", f"`{outcome.name}`, {outcome.seconds:.0f} s", outcome.about]
    if outcome.error:
        parts += ["**This case broke.**", f"```\n{outcome.error}```"]
    if outcome.checks:
        parts += [table(outcome.checks), "Bounds:\n\n" + reasons(outcome.checks)]
    parts += outcome.notes
    if outcome.figure:
        parts.append(f"![{outcome.title}]({outcome.figure})")
    return "\n\n".join(parts)


def index(outcomes):
    """Table of all cases with the check that comes nearest to its bound."""
    rows = ["| case | what | checks | nearest to its bound | difference | allowed |",
            "|---|---|---:|---|---:|---:|"]
    for outcome in outcomes:
        if not outcome.checks:
            rows.append(f"| `{outcome.name}` | {outcome.title} | 0 | broken | | |")
            continue
        worst = max(outcome.checks, key=lambda check: check.used)
        sign = " %" if worst.allowed.endswith("%") else ""
        rows.append(
            f"| `{outcome.name}` | {outcome.title} | {len(outcome.checks)} | {worst.quantity} "
            f"| {worst.difference:+.2g}{sign} | {worst.allowed} |"
        )
    return "\n".join(rows)


def write_report(outcomes, folder=REPORT):
    """Write `report.md` beside the figures; returns its path."""
    folder.mkdir(exist_ok=True)
    missed = [outcome.name for outcome in outcomes if not outcome.passed]
    state = f"Outside their bounds: {', '.join(missed)}." if missed else "All inside their bounds."
    path = folder / "report.md"
    chapters = "\n\n".join(chapter(outcome) for outcome in outcomes)
    path.write_text(f"# Validation\n\n{state}\n\n{index(outcomes)}\n\n{chapters}\n", "utf-8")
    return path


MARK = "<!-- index -->"


def write_index(outcomes, path=FOLDER / "README.md"):
    """Replace the index of all cases in the README of this folder."""
    head, _, _ = path.read_text("utf-8").partition(MARK)
    path.write_text(f"{head}{MARK}\n\n{index(outcomes)}\n", "utf-8")
