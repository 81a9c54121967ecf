"""The whole job on a study: sweep every variant, compare with the base, write tables and figures.

    sweeps = run_study(load("study.toml"))
    print(study_text(sweeps))
    write_report(sweeps, "out")
"""

import re
from pathlib import Path

from wavesim.errors import InputError
from wavesim.results.compare import compare
from wavesim.show import plots

COLUMNS = ("torque", "power", "volumetric_efficiency")


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


def study_text(sweeps):
    """Readable text: a table for each variant, then its comparison with the base.

    Parameters
    ----------
    sweeps : mapping of str to Sweep
        Base first, as `run_study` returns them.

    Returns
    -------
    str
    """
    parts = [f"{name}\n{sweep.table(COLUMNS)}" for name, sweep in sweeps.items()]
    comparisons, reasons = compare_to_base(sweeps)
    parts += [_titled(name, comparison.summary()) for name, comparison in comparisons.items()]
    parts += [_titled(name, f"No comparison: {reason}") for name, reason in reasons.items()]
    return "\n\n".join(parts)


def write_report(sweeps, folder):
    """Write tables, complete results, comparisons and figures.

    Parameters
    ----------
    sweeps : mapping of str to Sweep
        Base first, as `run_study` returns them.
    folder : str or Path
        Made if it is not there; files of the same names are overwritten.

    Returns
    -------
    list of Path
        summary.txt; sweep_NAME.csv and sweep_NAME.npz for every variant; difference_NAME.csv for
        every comparison; and the figures that the finished points allow: torque_power.png,
        difference.png, exhaust_valve_pressure.png.

    Raises
    ------
    InputError
        If the folder cannot be made.
    """
    folder = make_folder(folder)
    files = [folder / "summary.txt"]
    files[0].write_text(study_text(sweeps) + "\n", encoding="utf-8")
    comparisons, _ = compare_to_base(sweeps)
    names = _file_names(sweeps)
    for name, sweep in sweeps.items():
        files += [folder / f"sweep_{names[name]}.csv", folder / f"sweep_{names[name]}.npz"]
        sweep.to_csv(files[-2])
        sweep.save(files[-1])
    for name, comparison in comparisons.items():
        files.append(folder / f"difference_{names[name]}.csv")
        comparison.to_csv(files[-1])
    return files + _write_figures(sweeps, comparisons, folder)


def make_folder(folder):
    """The folder as a Path, made with its parents if it is not there.

    Raises
    ------
    InputError
        If it cannot be made.
    """
    folder = Path(folder)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(f"cannot make the folder {str(folder)!r}: {error.strerror}.") from error
    return folder


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


def _write_figures(sweeps, comparisons, folder):
    """Draw what the finished points allow; returns the files."""
    done = [sweep for sweep in sweeps.values() if len(sweep)]
    if not done:
        return []
    axes = {"torque_power": plots.plot_torque_power(done, plots.new_axes(2))}
    if comparisons:
        chosen = list(comparisons.values())
        axes["difference"] = plots.plot_differences(chosen, plots.new_axes(2))
    speeds = telling_speeds(done, comparisons.values())
    if speeds:
        axes["exhaust_valve_pressure"] = plots.plot_valve_pressures(
            done, speeds, plots.new_axes(len(speeds), height=3.6)
        )
    return [plots.save_figure(ax, folder / f"{name}.png") for name, ax in axes.items()]


def _titled(name, text):
    return f"{name} against the base\n{text}"


def _file_names(names):
    """A different, harmless file name for each name."""
    found = {}
    for name in names:
        stem = re.sub(r"[^\w-]+", "_", name).strip("_").lower() or "exhaust"
        taken, number = stem, 2
        while taken in found.values():
            taken, number = f"{stem}_{number}", number + 1
        found[name] = taken
    return found
