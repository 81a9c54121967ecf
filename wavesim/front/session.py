"""A session at the dynamometer in one go: read, correct, compare, fit, predict, and the sheet.

A session file names a study, the pulls of two of its exhausts, and what is uncertain of the engine:
see the example `wavesim/data/pulls/session.toml`, which explains itself line by line.
"""

import os
import tomllib
from collections.abc import Mapping
from functools import partial
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from wavesim.constants import ZERO_CELSIUS
from wavesim.descriptions.study import Study, demo_path, files_of, load
from wavesim.descriptions.weather import Ambient
from wavesim.dyno.correction import STANDARDS, corrected
from wavesim.dyno.fit import Fit, fit
from wavesim.dyno.predict import Prediction, predict
from wavesim.dyno.pulls import MeasuredPulls, demo_pulls, read_pulls
from wavesim.dyno.repeat import MeasuredDifference, measured_difference
from wavesim.dyno.uncertain import Factor, Offset
from wavesim.errors import InputError, check_choice, check_keys, check_number, shown, shown_path
from wavesim.fields.description import check_text, sequence
from wavesim.front.content import SheetContent, content_of
from wavesim.front.report import CAUTION
from wavesim.front.sheet import write_page, write_paper
from wavesim.many.sweep import checked_speeds, speed_sweep
from wavesim.many.work import CPU
from wavesim.reading import read_text
from wavesim.show import plots
from wavesim.writing import as_path, whole_file

_KEYS = ("question", "study", "standard", "columns", "systems", "fit")
_OF_SYSTEM = ("exhaust", "pulls", "order")
_OF_FIT = ("quantities", "rpm", "cell_length", "parameters")
_MOVES = {"factor": Factor, "offset": Offset}
_LARGEST = 2**20  # [byte] of a session file
NO_STANDARD = "none"
FILES = ("summary.txt", "difference.csv", "fit.csv", "prediction.csv", "pulls.png", "fit.png",
         "sheet.html", "sheet.pdf")


class Session(NamedTuple):
    """What a session file says.

    Attributes
    ----------
    question : str
    study : Study
    standard : str
        Key of `STANDARDS`, or "none".
    exhausts : (str, str)
        Names in the study, the baseline first.
    pulls : (MeasuredPulls, MeasuredPulls)
        As they were read.
    quantities : tuple of str
        To be met by the fit.
    rpm : list of float or None
        Speeds of the fit [rev/min].
    cell_length : float or None
        Of the fit [m].
    space : dict
        Ranges by dotted path.
    inputs : list of Path
        All files that were read.
    """

    question: str
    study: Study
    standard: str
    exhausts: tuple[str, str]
    pulls: tuple[MeasuredPulls, MeasuredPulls]
    quantities: tuple[str, ...]
    rpm: list[float] | None
    cell_length: float | None
    space: dict[str, Any]
    inputs: list[Path]


class SessionResult(NamedTuple):
    """What comes out of a session.

    Attributes
    ----------
    pulls : (MeasuredPulls, MeasuredPulls)
        In the air of the standard.
    difference : MeasuredDifference
    found : Fit
    prediction : Prediction
    content : SheetContent
    """

    pulls: tuple[MeasuredPulls, MeasuredPulls]
    difference: MeasuredDifference
    found: Fit
    prediction: Prediction
    content: SheetContent


def demo_files() -> list[Path]:
    """Files of the example session: itself first, the pulls, and the study with its curves."""
    pulls = [path for name in ("short collector", "long collector") for path in demo_pulls(name)]
    study = demo_path("collector")
    own = pulls[0].parent / "session.toml"
    return [own, *sorted(pulls), *sorted(study.parent.iterdir())]


def read_session(path, *, outside=False) -> Session:
    """A session from its file.

    Parameters
    ----------
    path : str or Path
    outside : bool
        True: files that it names may lie outside its own folder.

    Raises
    ------
    InputError
        If the file or one that it names cannot be read, or a key or a value is wrong.
    """
    path = as_path("dyno", path)
    name = path.name
    try:
        raw = tomllib.loads(read_text(path, name, _LARGEST))
    except (tomllib.TOMLDecodeError, RecursionError, ValueError) as error:
        raise InputError(f"{name}: this is no valid TOML, {error}.") from error
    check_keys(name, raw, _KEYS, ("study", "columns", "systems", "fit"), "key")
    place = partial(_file, name, path.parent, outside)
    study_path = place("study", raw["study"])
    study = load(study_path, outside=outside)
    systems = sequence(name, "systems", raw["systems"], "tables")
    if len(systems) != 2:
        raise InputError(f"{name}: systems = {len(systems)} tables must be two, baseline first.")
    columns = _columns(name, raw["columns"])
    exhausts, pulls, read = [], [], []
    for i, system in enumerate(systems):
        where = f"{name}: systems[{i}]"
        if not isinstance(system, Mapping):
            raise InputError(f"{where} = {shown(system)} must be a table.")
        check_keys(where, system, _OF_SYSTEM, ("exhaust", "pulls"), "key")
        exhausts.append(check_choice(where, "exhaust", system["exhaust"], list(study.exhausts)))
        files = [place(f"systems[{i}].pulls", one)
                 for one in sequence(where, "pulls", system["pulls"], "names of files")]
        pulls.append(read_pulls(files, columns, name=exhausts[-1], order=system.get("order")))
        read += files
    if exhausts[0] == exhausts[1]:
        raise InputError(f"{name}: both systems are the exhaust {exhausts[0]!r}.")
    quantities, rpm, cell_length, space = _fit_table(f"{name}: fit", raw["fit"])
    standard = check_choice(name, "standard", raw.get("standard", NO_STANDARD),
                            [*STANDARDS, NO_STANDARD])
    return Session(
        check_text(name, "question", raw.get("question", "")), study, standard, tuple(exhausts),
        tuple(pulls), quantities, rpm, cell_length, space, [path, *files_of(study_path), *read],
    )


def _file(name, folder, outside, field, given):
    """Path of a file that a session names, below its folder unless others are allowed."""
    if not isinstance(given, str) or not given:
        raise InputError(f"{name}: {field} = {shown(given)} must be the name of a file.")
    path = folder / given
    root = os.path.realpath(folder)
    if not outside and os.path.commonpath([root, os.path.realpath(path)]) != root:
        raise InputError(f"{name}: {field} = {shown_path(given)} lies outside the folder of the "
                         "session, which needs --outside.")
    return path


def _columns(name, given):
    if not isinstance(given, Mapping):
        raise InputError(f"{name}: columns = {shown(given)} must be a table of headings.")
    return {key: tuple(one) if isinstance(one, list) else one for key, one in given.items()}


def _fit_table(where, raw):
    """Quantities, speeds, cell length and ranges of the table [fit]."""
    if not isinstance(raw, Mapping):
        raise InputError(f"{where} = {shown(raw)} must be a table.")
    check_keys(where, raw, _OF_FIT, ("parameters",), "key")
    quantities = sequence(where, "quantities", raw.get("quantities", ["torque"]), "names")
    rpm = checked_speeds(where, raw["rpm"]) if "rpm" in raw else None
    cell = raw.get("cell_length")
    if cell is not None:
        cell = check_number(where, "cell_length", cell, "m", 0.001, 0.2)
    if not isinstance(raw["parameters"], Mapping) or not raw["parameters"]:
        raise InputError(f"{where}: parameters must be a table of ranges by dotted path.")
    return quantities, rpm, cell, {
        path: _range(f"{where}: {path!r}", one) for path, one in raw["parameters"].items()}


def _range(where, given):
    kind, pair = None, given
    if isinstance(given, Mapping):
        (kind, pair), *more = given.items() or [("", None)]
        check_choice(where, "kind", kind, list(_MOVES))
        if more:
            raise InputError(f"{where} must be one of factor and offset.")
    if not isinstance(pair, list) or len(pair) != 2:
        raise InputError(f"{where} = {shown(given)} must be a pair [low, high], "
                         "{factor = [low, high]} or {offset = [low, high]}.")
    return _MOVES[kind](*pair) if kind else tuple(pair)


def run_session(
    session, *, threads=None, store=None, progress=True, device=CPU
) -> SessionResult:
    """All steps of a session but the writing.

    Parameters
    ----------
    session : Session
    threads, store, progress, device
        As for `explore`.
    """
    run = {"threads": threads, "store": store, "progress": progress, "device": device}
    study, air = session.study, _air(session)
    pulls = session.pulls if session.standard == NO_STANDARD else tuple(
        corrected(one, session.standard) for one in session.pulls)
    difference = measured_difference(None, *pulls)
    base, other = (study.exhausts[name] for name in session.exhausts)
    engine = study.engine_of(session.exhausts[0])
    coarse = study.settings if session.cell_length is None else study.settings.replace(
        cell_length=session.cell_length)
    found = fit(session.rpm, pulls[0], engine, base, session.space,
                quantity=session.quantities, settings=coarse, ambient=air, **run)
    prediction = predict(found, other, quantity="torque", names=session.exhausts, **run)
    sweeps = [
        speed_sweep(found.engine, exhaust, study.rpm, settings=study.settings, ambient=air,
                    name=name, **run)
        for exhaust, name in zip((found.exhaust, other), session.exhausts, strict=True)
    ]
    content = content_of(*sweeps, session.question, difference, prediction, None, 0.5, pulls)
    return SessionResult(pulls, difference, found, prediction, content)


def _air(session):
    """Air to compute in: that of the standard, so that like is compared with like."""
    if session.standard == NO_STANDARD:
        return session.study.ambient
    standard = STANDARDS[session.standard]
    return Ambient(pressure=standard.pressure, temperature=standard.celsius + ZERO_CELSIUS)


def session_text(session, result):
    """Readable text of all steps, and a caution."""
    steps = [("Read", _read_words(session))]
    if session.standard != NO_STANDARD:
        factors = np.concatenate([one["correction_factor"] for one in result.pulls])
        steps.append((f"Corrected to {session.standard}",
                      f"Factors from {factors.min():.4f} to {factors.max():.4f}.  What follows is "
                      "computed in the air of the standard."))
    steps += [
        (f"Measured: {result.difference.names[1]!r} less {result.difference.names[0]!r}",
         result.difference.summary()),
        ("Fitted to the baseline", result.found.summary()),
        ("Predicted before the second system was looked at", result.prediction.summary()),
        ("Prediction against measurement", judged(result.difference, result.prediction)),
        ("In short", "\n".join(result.content.answer)),
    ]
    parts = [f"{words}\n{'-' * len(words)}\n{text}" for words, text in steps]
    return "\n\n".join([*parts, CAUTION])


def _read_words(session):
    lines = []
    for one in session.pulls:
        lines.append(f"{one.name}: {len(one.pulls)} pulls, {one.rpm[0]:.0f} to {one.rpm[-1]:.0f} "
                     "rev/min")
        lines += [f"  {note}" for note in one.notes]
    return "\n".join(lines)


def judged(difference, prediction):
    """At how many speeds the predicted and the measured difference meet within their bands."""
    rpm = prediction.rpm
    inside = (rpm >= difference.rpm[0]) & (rpm <= difference.rpm[-1])
    seen, half = (np.interp(rpm, difference.rpm, values)
                  for values in (difference.difference, difference.simultaneous_half_width))
    gap = np.abs(prediction.difference - seen)
    met = inside & (gap <= half + prediction.simultaneous_half_width)
    where = ", ".join(f"{one:.0f}" for one in rpm[inside & ~met])
    worst = float(gap[inside].max()) if inside.any() else float("nan")
    return (f"The bands meet at {met.sum()} of {inside.sum()} speeds"
            + (f", not at {where} rev/min" if where else "")
            + f"; the differences are at most {worst:.1f} N m apart.")


def session_files(session, result):
    """Functions that write each file of a session, by its name."""
    return {
        "summary.txt": partial(_write_text, session_text(session, result) + "\n"),
        "difference.csv": result.difference.to_csv,
        "fit.csv": result.found.to_csv,
        "prediction.csv": result.prediction.to_csv,
        "pulls.png": lambda path: plots.save_figure(
            result.difference.plot(plots.new_axes(1)[0]), path),
        "fit.png": lambda path: plots.save_figure(result.found.plot(plots.new_axes(1)[0]), path),
        "sheet.html": partial(write_page, result.content),
        "sheet.pdf": partial(write_paper, result.content),
    }


def _write_text(text, path):
    with whole_file(path, "summary", text=True) as file:
        file.write(text)
