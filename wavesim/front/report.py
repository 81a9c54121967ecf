"""The whole job on a study: sweep every variant, compare with the base, write tables and figures.

    sweeps = run_study(load("study.toml"))
    print(study_text(sweeps))
    write_report(sweeps, "out")
"""

import re
import unicodedata
from collections.abc import Mapping
from contextlib import suppress
from functools import partial

from wavesim.errors import InputError, check_kind, shown_path
from wavesim.front.folder import ResultFolder
from wavesim.guard import guarded
from wavesim.results.comparisons import compare
from wavesim.results.explain import explain
from wavesim.results.points import Sweep
from wavesim.show import plots
from wavesim.show.style import titled
from wavesim.writing import whole_file

COLUMNS = ("torque", "power", "volumetric_efficiency")
#: What is printed below every study.
CAUTION = (
    "Caution: all this is computed, and shows neither that an engine is safe nor that a vehicle\n"
    "is legal. Open exhausts harm hearing, bare pipes burn skin, exhaust gas kills in closed\n"
    "rooms, and a mixture that turns lean can destroy the engine. Local codes and licensed\n"
    "practice decide what may be run."
)
LONGEST_STEM = 120  # bytes of the name of an exhaust in the name of a file


def compare_to_base(sweeps):
    """Compare every variant with the base.

    Parameters
    ----------
    sweeps : mapping of str to Sweep
        Base first, as `run_study` returns them.

    Returns
    -------
    comparisons : dict of str to Comparison
        By name of the variant.
    reasons : dict of str to str
        Why there is none, by name of the variant.
    """
    (_, base), *variants = sweeps.items()
    comparisons, reasons = {}, {}
    for name, sweep in variants:
        try:
            comparisons[name] = compare(base, sweep)
        except InputError as error:
            reasons[name] = str(error)
    return comparisons, reasons


def explain_to_base(sweeps):
    """Explain the difference of every variant from the base; takes what `compare_to_base` does.

    Returns
    -------
    dict of str to Explanation
        By name of the variant, without those of which there is no account, such as of engines that
        do not burn.
    """
    (_, base), *variants = sweeps.items()
    found = {}
    for name, sweep in variants:
        with suppress(InputError):
            found[name] = explain(base, sweep)
    return found


def study_text(sweeps, explained=None):
    """Readable text: a table of each variant, its comparison with the base, why, and a caution.

    Parameters
    ----------
    sweeps : mapping of str to Sweep
        Base first, as `run_study` returns them.
    explained : mapping of str to Explanation, optional
        From `explain_to_base`, which is asked if it is not given.

    Returns
    -------
    str
    """
    explained = explain_to_base(sweeps) if explained is None else explained
    parts = [f"{name}\n{sweep.table(COLUMNS)}" for name, sweep in sweeps.items()]
    comparisons, reasons = compare_to_base(sweeps)
    parts += [_titled(name, comparison.summary()) for name, comparison in comparisons.items()]
    parts += [_titled(name, f"No comparison: {reason}") for name, reason in reasons.items()]
    parts += [one.summary() for one in explained.values()]
    return "\n\n".join([*parts, CAUTION])


def report_names(names):
    """Names of all files that the report on some exhausts may consist of.

    Parameters
    ----------
    names : sequence of str
        Of the exhausts, base first.

    Returns
    -------
    list of str
    """
    stems = _file_names(names)
    sweeps = [f"sweep_{stem}.{kind}" for stem in stems.values() for kind in ("csv", "npz")]
    variants = [stems[name] for name in list(names)[1:]]
    differences = [f"difference_{stem}.csv" for stem in variants]
    differences += [f"contributions_{stem}.{kind}" for stem in variants for kind in ("csv", "png")]
    return ["summary.txt", *sweeps, *differences, *(f"{figure}.png" for figure in _FIGURES)]


@guarded
def write_report(sweeps, folder, title=""):
    """Write tables, complete results, comparisons and figures.

    Parameters
    ----------
    sweeps : mapping of str to Sweep
        Base first, as `run_study` returns them.
    folder : str or Path
        Made if it is not there.  Files of the same names are replaced if a report wrote them and
        nobody changed them since: see `wavesim.front.folder`.
    title : str
        Of the study, for the figures; the engine is named behind it.

    Returns
    -------
    list of Path
        summary.txt; sweep_NAME.csv and sweep_NAME.npz for every variant; difference_NAME.csv for
        every comparison; contributions_NAME.csv and contributions_NAME.png, what each difference of
        torque is made of; and the figures that the finished points allow: chart.png,
        torque_power.png, difference.png, exhaust_valve_pressure.png.

    Raises
    ------
    InputError
        If the folder cannot be made or written to, or holds a file of that name which is not its
        own: nothing is written.  If some files cannot be written: all others are.
    """
    check_kind("write_report", "sweeps", sweeps, Mapping)
    for name, sweep in sweeps.items():
        check_kind("write_report", f"sweeps[{name!r}]", sweep, Sweep)
    place = ResultFolder(folder)
    place.check(report_names(sweeps))
    written, failed = write_files(sweeps, place, title)
    if failed:
        raise InputError(failure_text(failed, place.path))
    return written


def write_files(sweeps, place, title="", is_over=lambda: False, store=None, explained=None):
    """Write the report into a ResultFolder; takes and returns what `ResultFolder.write` does.

    The large files come last: on a disk that fills up the others are there.

    The traces of points that a store in this folder keeps stay there.
    """
    stems, comparisons = _file_names(sweeps), compare_to_base(sweeps)[0]
    explained = explain_to_base(sweeps) if explained is None else explained
    text = study_text(sweeps, explained) + "\n"
    files = {"summary.txt": lambda path: _write_text(path, text)}
    files |= {f"sweep_{stems[name]}.csv": sweep.to_csv for name, sweep in sweeps.items()}
    files |= {
        f"difference_{stems[name]}.csv": comparison.to_csv
        for name, comparison in comparisons.items()
    }
    title = _full_title(title, sweeps)
    for name, one in explained.items():
        files[f"contributions_{stems[name]}.csv"] = one.parts.to_csv
        files[f"contributions_{stems[name]}.png"] = partial(_draw_parts, one, title)
    files |= _figures(sweeps, comparisons, title)
    files |= {f"sweep_{stems[name]}.npz": _saved(sweep, store) for name, sweep in sweeps.items()}
    return place.write(files, is_over)


def _saved(sweep, store):
    """Function that writes the complete result, but for what a store beside it keeps."""
    if store is None:
        return sweep.save
    keys = [point.kept for point in sweep if point.kept and store.has(point.kept)]
    return partial(sweep.save_beside, folder=store.folder.name, keys=keys)


def failure_text(failed, folder):
    """One sentence on files that could not be written."""
    reason = next(iter(failed.values())).rstrip(".")
    first = ", ".join([*list(failed)[:2], *(["..."] if len(failed) > 2 else [])])
    files = f"{len(failed)} file{'s' if len(failed) > 1 else ''} ({first})"
    return f"{files} could not be written to {shown_path(folder)}: {reason}."


def _write_text(path, text):
    with whole_file(path, "summary", text=True) as file:
        file.write(text)


def telling_speeds(sweeps, comparisons, count=3):
    """Speeds to look at: of largest gain and loss of torque, then the highest, lowest and middle.

    Parameters
    ----------
    sweeps, comparisons : sequence
        Of Sweep and of Comparison.
    count : int
        At most so many.

    Returns
    -------
    list of float
        Speeds [rev/min] that every sweep holds, in order.
    """
    common = sorted(set.intersection(*(set(sweep.rpm.tolist()) for sweep in sweeps)))
    if not common:
        return []
    wanted = [common[-1], common[0], common[len(common) // 2]]
    change = [dict(zip(c.rpm.tolist(), c.difference().tolist(), strict=True)) for c in comparisons]
    if change:
        gain = max(common, key=lambda rpm: max(one.get(rpm, 0.0) for one in change))
        loss = min(common, key=lambda rpm: min(one.get(rpm, 0.0) for one in change))
        wanted = [gain, loss, *wanted]
    return sorted(list(dict.fromkeys(wanted))[:count])


_FIGURES = ("chart", "torque_power", "difference", "exhaust_valve_pressure")


def _figures(sweeps, comparisons, title):
    """Functions that draw what the finished points allow, by name of the file."""
    done = [sweep for sweep in sweeps.values() if len(sweep)]
    chosen = list(comparisons.values())
    speeds = telling_speeds(done, chosen) if done else []
    drawn = dict(zip(_FIGURES, (
        done and (lambda: plots.plot_power_chart(done, plots.new_axes(1, height=5.4)[0], chosen)),
        done and (lambda: plots.plot_torque_power(done, plots.new_axes(2), chosen)),
        chosen and (lambda: plots.plot_differences(chosen, plots.new_axes(2))),
        speeds and (lambda: plots.plot_valve_pressures(
            done, speeds, plots.new_axes(len(speeds), height=3.6)
        )),
    ), strict=True))  # fmt: skip
    return {
        f"{name}.png": lambda path, draw=draw: plots.save_figure(titled(draw(), title), path)
        for name, draw in drawn.items()
        if draw
    }


def _draw_parts(explanation, title, path):
    """What a difference of torque is made of, as a figure."""
    (ax,) = plots.new_axes(1, width=9.5, height=5.0)
    plots.save_figure(titled(explanation.plot(ax), title), path)


def _full_title(title, sweeps):
    """Name of the study, and of the engine or engines."""
    points = [sweep.points[0] for sweep in sweeps.values() if len(sweep)]
    engines = [point.engine.name for point in points if "engine" in point.meta]
    named = [name for name in dict.fromkeys(engines) if name]
    return " - ".join([*([title] if title else []), *([", ".join(named)] if named else [])])


def _titled(name, text):
    return f"{name} against the base\n{text}"


def _file_names(names):
    """A different, harmless and not too long file name for each name."""
    found = {}
    for name in names:
        plain = re.sub(r"[^\w-]+", "_", unicodedata.normalize("NFC", name)).strip("_").lower()
        stem = plain.encode()[:LONGEST_STEM].decode(errors="ignore") or "exhaust"
        taken, number = stem, 2
        while taken in found.values():
            taken, number = f"{stem}_{number}", number + 1
        found[name] = taken
    return found
