"""Short commands: check a study, list parts, compare saved curves, run a session, begin.

Each takes the options of the command line, prints, and returns an exit code.
"""

from pathlib import Path

from wavesim.arrays.compile import compile_network
from wavesim.console import say, tell
from wavesim.descriptions.exhaust import Exhaust, network_of
from wavesim.descriptions.study import demo_path, load
from wavesim.errors import InputError, shown_path
from wavesim.front.folder import ResultFolder, make_folder
from wavesim.front.report import failure_text
from wavesim.front.session import (
    FILES,
    demo_files,
    read_session,
    run_session,
    session_files,
    session_text,
)
from wavesim.gas.models import EngineGas
from wavesim.many.pool import workplace
from wavesim.many.store import Store
from wavesim.results.bill import bill
from wavesim.results.comparisons import compare
from wavesim.results.points import Sweep
from wavesim.show import plots
from wavesim.show.drawings import draw_exhaust
from wavesim.show.quantities import rows_text
from wavesim.writing import whole_file


def check(options):
    """Read a study, print what would be computed and when valves open, draw exhausts to scale.

    All faults of the study are told by `load`.  The cells of every exhaust are laid at its lowest
    speed, so that what can be refused there is refused here too.
    """
    study = load(options.study, outside=options.outside)
    rows = [["exhaust", "ducts", "nodes", "cells", "shortest cell"], ["", "", "", "", "mm"]]
    for name, exhaust in study.exhausts.items():
        engine = study.engine_of(name)
        network = network_of(engine, exhaust)
        model = compile_network(
            network.in_weather(study.ambient,
                               unequal_pressures=study.settings.unequal_pressures),
            EngineGas(engine.fuel, engine.air_fuel_lambda), study.settings, engine=engine,
            rpm=min(study.rpm),
        )
        spans = [(first, last, network.ducts[duct].length)
                 for duct, (first, last) in model.ducts.items()]
        cells = sum(last - first for first, last, _ in spans)
        shortest = min(length / (last - first) for first, last, length in spans)
        rows.append([name, str(len(network.ducts)), str(len(network.nodes)), str(cells),
                     f"{1e3 * shortest:.1f}"])
    speeds = f"{min(study.rpm):g} to {max(study.rpm):g} rev/min"
    say(f"{study.name or options.study.name}: no fault found")
    say(f"{len(study.exhausts)} exhausts at {len(study.rpm)} speeds, {speeds}: "
        f"{len(study.exhausts) * len(study.rpm)} points to compute")
    say(f"\n{rows_text(rows)}\n")
    for engine in dict.fromkeys(map(study.engine_of, study.exhausts)):
        say(f"{engine.name or 'engine'}, {1e6 * engine.displacement:.0f} cm3\n"
            f"{engine.valve_timing()}\n")
    drawn = {name: exhaust for name, exhaust in study.exhausts.items()
             if isinstance(exhaust, Exhaust)}
    for number, (name, exhaust) in enumerate(drawn.items(), 1):
        path = _beside(options.out, options.study, f"_exhaust_{number}.png")
        ax = draw_exhaust(exhaust.replace(name=name), study.engine_of(name))
        say(f"wrote {plots.save_figure(ax, path)}")
    return 0


def list_parts(options):
    """Print the bill of every exhaust of a study: length, gas volume and mass of its parts."""
    study = load(options.study, outside=options.outside)
    for name, exhaust in study.exhausts.items():
        if isinstance(exhaust, Exhaust):
            say(f"{bill(exhaust.replace(name=name), study.engine_of(name)).summary()}\n")
        else:
            say(f"{name}: a network has no bill, for it does not know what its ducts are made of\n")
    return 0


def compare_files(options):
    """Compare saved curves with the first of them; print, and draw if asked to."""
    sweeps = [_loaded(path) for path in options.sweeps]
    comparison = compare(*sweeps)
    say(comparison.summary())
    if options.out is not None:
        axes = plots.plot_torque_power(sweeps)
        say(f"wrote {plots.save_figure(axes, options.out)}")
    return 0


def begin(options):
    """Copy the example, a study that explains itself line by line, as a place to start from."""
    source = demo_path(options.example)
    if options.folder.exists():
        raise InputError(f"new: {shown_path(options.folder)} is there already; give the name of a "
                         "folder that is not.")
    folder = make_folder(options.folder)
    for original in sorted(source.parent.iterdir()):
        copy = folder / ("study.toml" if original == source else original.name)
        with whole_file(copy, "new") as file:
            file.write(original.read_bytes())
        say(f"wrote {copy}")
    say(f"Edit {folder / 'study.toml'}, then: wavesim check {folder / 'study.toml'}")
    return 0


def dyno(options):
    """Run a session: read pulls, correct, compare, fit, predict, write the sheet."""
    workplace("dyno", options.device, None, options.threads)
    path = options.session
    out = options.out or Path(f"{path.stem if path else 'dyno'}_results")
    if path is None:
        path = unpacked(demo_files(), out / "session")
    session = read_session(path, outside=options.outside)
    place = ResultFolder(out, session.inputs)
    place.check(FILES)
    first, second = session.exhausts
    say(f"{session.question or path.name}: {len(session.pulls[0].pulls)} pulls of {first!r}, "
        f"{len(session.pulls[1].pulls)} of {second!r}")
    store = Store(place.path / "store")
    say(f"Finished points are kept in {store.folder}: a run that was stopped or killed goes on "
        "from there.")
    result = run_session(session, threads=options.threads, store=store, device=options.device)
    say(f"\n{session_text(session, result)}\n")
    written, failed = place.write(session_files(session, result))
    for file in written:
        say(f"wrote {file}")
    if failed:
        tell(failure_text(failed, place.path))
    return 1 if failed else 0


def unpacked(originals, folder):
    """Copy files of an example to a folder; those that are there already are used as they are.

    Returns
    -------
    Path
        Of the copy of the first.
    """
    folder = make_folder(folder)
    for original in originals:
        copy, content = folder / original.name, original.read_bytes()
        if not copy.exists():
            with whole_file(copy, "demo") as file:
                file.write(content)
            say(f"wrote {copy}")
        elif not copy.is_file() or copy.read_bytes() != content:
            say(f"{copy} differs from the example that comes with wavesim: used as it is")
    return folder / originals[0].name


def _loaded(path):
    sweep = Sweep.load(path)
    if not len(sweep):
        raise InputError(f"compare: {shown_path(path)} holds no point.")
    return sweep


def _beside(folder, study, ending):
    """Path of a figure in a folder, or where the command was given, named after the study."""
    return Path(folder or ".") / f"{study.stem}{ending}"
