"""Command line: run a study file, or an example that comes with the package, and short commands.

    wavesim run STUDY.toml [--out DIR]
    wavesim demo [NAME] [--out DIR]
    wavesim check STUDY.toml        wavesim bill STUDY.toml
    wavesim compare A.npz B.npz     wavesim new [DIR]
    wavesim dyno [SESSION.toml] [--out DIR]

`python -m wavesim` does the same.

Every finished point is kept in DIR/store at once, so that a run that was killed goes on where it
was when it is started again.

A thin layer: it reads arguments, calls the library, prints, and turns errors into one sentence and
an exit code.
"""

import argparse
import signal
import threading
import time
from contextlib import contextmanager
from pathlib import Path

from wavesim._version import __version__
from wavesim.console import let_go, say, tell
from wavesim.descriptions.study import demo_path, files_of, load
from wavesim.errors import InputError, check_number
from wavesim.front import commands as short
from wavesim.front.folder import ResultFolder
from wavesim.front.report import (
    explain_to_base,
    failure_text,
    report_names,
    study_text,
    write_files,
)
from wavesim.many.pool import workplace
from wavesim.many.refine import REFINE_RANGE
from wavesim.many.store import Store
from wavesim.many.sweep import checked_speeds, run_study
from wavesim.many.work import DEVICES

EXAMPLES = ("demo", "collector", "complete", "gain")
OK, UNFINISHED, BAD_INPUT, INTERRUPTED = 0, 1, 2, 130


def main(argv=None):
    """Run the command line.

    Parameters
    ----------
    argv : sequence of str or None
        Arguments without the name of the program; None: those of the process.

    Returns
    -------
    int
        0 all points converged, 1 some failed or did not converge or a file could not be written,
        2 bad input, 130 interrupted.
    """
    try:
        options = _parser().parse_args(argv)
        return options.action(options)
    except (InputError, OSError) as error:
        tell(error)
        return BAD_INPUT
    except KeyboardInterrupt:
        tell("interrupted")
        return INTERRUPTED
    finally:
        let_go()


def _parser():
    parser = argparse.ArgumentParser(
        prog="wavesim",
        description="Torque and power of an engine with different exhausts, and why they differ.",
        epilog="Exit code: 0 all points converged, 1 some did not or failed or a file could not "
        "be written, 2 bad input, 130 interrupted.",
    )
    parser.add_argument("--version", action="version", version=f"wavesim {__version__}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    run = commands.add_parser("run", help="run a study file and compare its variants")
    run.set_defaults(action=_run_study)
    demo = commands.add_parser("demo", help="run an example study, copied to DIR/study")
    demo.add_argument("example", nargs="?", choices=EXAMPLES, default=EXAMPLES[0],
                      help="which one, default %(default)s")
    demo.set_defaults(action=_run_demo)
    _run_options(run, demo)
    check = commands.add_parser(
        "check", help="tell all faults of a study, or what it would compute, and draw its exhausts")
    check.add_argument("--out", type=Path, metavar="DIR",
                       help="folder for the drawings, default the working folder")
    check.set_defaults(action=short.check)
    parts = commands.add_parser("bill", help="list the parts of all exhausts of a study")
    parts.set_defaults(action=short.list_parts)
    for command in (run, check, parts):
        command.add_argument("study", type=Path, metavar="STUDY.toml", help="the study file")
    for command in (run, demo, check, parts):
        command.add_argument("--outside", action="store_true",
                             help="let the study read curves from outside its own folder")
    compare = commands.add_parser("compare", help="compare saved curves with the first of them")
    compare.add_argument("sweeps", type=Path, nargs="+", metavar="FILE.npz", help="the curves")
    compare.add_argument("--out", type=Path, metavar="FILE.png", help="draw torque and power there")
    compare.set_defaults(action=short.compare_files)
    bench = commands.add_parser(
        "dyno", help="from pulls to the sheet: read, correct, compare, fit, predict")
    bench.set_defaults(action=short.dyno)
    bench.add_argument("session", type=Path, nargs="?", metavar="SESSION.toml",
                       help="the session file; default an invented one, copied to DIR/session")
    bench.add_argument("--out", type=Path, metavar="DIR",
                       help="folder for all output, made if it is not there; default the name of "
                       "the session with _results")
    _place_options(bench)
    bench.add_argument("--outside", action="store_true",
                       help="let the session read files from outside its own folder")
    new = commands.add_parser("new", help="make a commented study to start from")
    new.add_argument("folder", type=Path, nargs="?", default=Path("my_study"), metavar="DIR",
                     help="folder to make, default %(default)s")
    new.add_argument("--example", choices=EXAMPLES, default=EXAMPLES[0],
                     help="which example to copy, default %(default)s")
    new.set_defaults(action=short.begin)
    return parser


def _run_options(*commands):
    """Options of the commands that compute."""
    for command in commands:
        command.add_argument("--out", type=Path, metavar="DIR",
                             help="folder for all output, made if it is not there; default the "
                             "name of the study with _results")
        _place_options(command)
        command.add_argument("--rpm", type=float, nargs="+", metavar="RPM",
                             help="engine speeds in rev/min instead of those of the study")
        command.add_argument("--refine", type=float, metavar="RPM",
                             help="add speeds where curves bend, cross or jump, no closer than "
                             "this in rev/min")
        command.add_argument("--fresh", action="store_true",
                             help="compute everything anew, points in DIR/store included")


def _place_options(command):
    """Options that say where points are computed."""
    command.add_argument("--threads", type=int, metavar="N",
                         help="threads to compute with, default one per core")
    command.add_argument("--device", choices=DEVICES, default=DEVICES[0],
                         help="what marches the cycles, default %(default)s; with gpu the "
                         "threads are processes that prepare its work")


def _run_study(options):
    return _run(options.study, options.out or Path(f"{options.study.stem}_results"), options)


def _run_demo(options):
    out = options.out or Path(f"{options.example}_results")
    _check_numbers(options)
    return _run(_unpack_demo(out, options.example), out, options)


def _check_numbers(options):
    """Refuse what is wrong before a folder is made."""
    workplace("run", options.device, None, options.threads)
    if options.rpm is not None:
        checked_speeds("run", options.rpm)
    if options.refine is not None:
        check_number("run", "refine", options.refine, "rev/min", *REFINE_RANGE)


def _run(path, out, options):
    """Run one study, print and write everything; returns the exit code."""
    clock = time.perf_counter()
    study = load(path, outside=options.outside)
    if options.rpm:
        study = study.replace(rpm=sorted(options.rpm))
    _check_numbers(options)
    place = ResultFolder(out, files_of(path))
    place.check(report_names(study.exhausts))
    say(f"{study.name or path.name}: {_count(len(study.exhausts), 'exhaust')} at "
        f"{_count(len(study.rpm), 'speed')}")
    store = Store(place.path / "store")
    if options.fresh:
        removed = store.clear()
        if removed:
            was = "was" if removed == 1 else "were"
            say(f"{_count(removed, 'point')} of earlier runs {was} removed from {store.folder}")
    say(f"Finished points are kept in {store.folder}: a run that was stopped or killed goes "
        "on from there (--fresh starts anew).")
    sweeps = run_study(
        study, threads=options.threads, store=store, refine=options.refine, device=options.device
    )
    _tell_store(store)
    explained = explain_to_base(sweeps)
    say(f"\n{study_text(sweeps, explained)}\n")
    with _patience() as is_over:
        written, failed = write_files(sweeps, place, study.name, is_over, store, explained)
    for file in written:
        say(f"wrote {file}")
    say(f"Elapsed time {time.perf_counter() - clock:.1f} s")
    code = _exit_code(study, sweeps.values())
    if failed:
        tell(failure_text(failed, place.path))
    return UNFINISHED if failed and code == OK else code


@contextmanager
def _patience():
    """Let Ctrl-C wait for the end of the block; yields a function that tells whether it came twice.

    Raised in the midst of drawing it might get lost, or become another error.
    """
    usual, pressed = signal.getsignal(signal.SIGINT), []
    is_main = threading.current_thread() is threading.main_thread()
    if not is_main or usual is not signal.default_int_handler:
        yield lambda: False
        return
    signal.signal(signal.SIGINT, lambda *_: pressed.append(True))
    try:
        yield lambda: len(pressed) > 1
    finally:
        signal.signal(signal.SIGINT, usual)


def _tell_store(store):
    """Print what the store gave, and every file in it that is damaged or does not belong there."""
    if store.found:
        say(f"{_count(store.found, 'point')} came from {store.folder}")
    try:
        found = store.check()
    except InputError as error:
        tell(error)
        return
    for name in found.damaged:
        say(f"{store.folder / name} is damaged: left alone, its point was computed again")
    for name in found.foreign:
        say(f"{store.folder / name} does not belong there: left alone")


def _count(number, noun):
    return f"{number} {noun}{'' if number == 1 else 's'}"


def _exit_code(study, sweeps):
    """Exit code of finished sweeps, with a sentence on stderr where something is missing."""
    wanted = len(study.rpm) * len(sweeps)
    done = sum(len(sweep) for sweep in sweeps)
    if any(sweep.interrupted for sweep in sweeps):
        tell(f"interrupted, {done} of {wanted} points were finished and written")
        return INTERRUPTED
    if all(sweep.converged for sweep in sweeps):
        return OK
    loose = sum(not point.converged for sweep in sweeps for point in sweep)
    tell(f"of {wanted} points {wanted - done} failed and {loose} did not converge")
    return UNFINISHED


def _unpack_demo(out, example):
    """Copy an example study to OUT/study; files that are there already are used as they are."""
    source = demo_path(example)
    return short.unpacked([source, *sorted(set(source.parent.iterdir()) - {source})], out / "study")
