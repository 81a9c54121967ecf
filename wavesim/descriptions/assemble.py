"""From an engine and an exhaust to a network of named ducts and nodes.

::

    air inlet | inlet | throttle | throttle body | plenum | runner 1 | intake port 1 | valve
    air inlet | filter | inlet | airbox | airbox duct | carburettor | throttle body | plenum | ...
                         inlet | plenum | stack 1 | throttle 1 | throttle body 1 | runner 1 | ...
    valve | exhaust port 1 | primary 1 | merge | collector | pipe | tailpipe | outlet
                             primary 1, 4 | merge 1-4 | secondary 1-4 | merge | ...
                             primary 1 | merge | merge cone | collector | ...

Gas flows along +x in all of them.  Lines that follow one another are joined by an AreaStep; what
becomes of the parts of a line is told in `wavesim.descriptions.lines`.
"""

from math import cos, pi, radians, sin

from wavesim.descriptions.engine import Engine
from wavesim.descriptions.joints import HPipe, Merge
from wavesim.descriptions.lines import Plan
from wavesim.descriptions.network import Network
from wavesim.descriptions.nodes import (
    Carburettor,
    Junction,
    OpenEnd,
    Resistance,
    Throttle,
    ValvePort,
    Volume,
    ball,
)
from wavesim.descriptions.pipes import Pipe
from wavesim.errors import InputError, check_kind, shown
from wavesim.fields.description import Description
from wavesim.guard import guarded


@guarded
def assemble(engine: Engine, exhaust: Description) -> Network:
    """Network of an engine with an exhaust.

    Parameters
    ----------
    engine : Engine
        The engine with its intake.
    exhaust : Exhaust
        The exhaust; an engine with more than one bank gets one merge, collector and outlet for
        each bank.

    Returns
    -------
    Network
        Checked.

    Raises
    ------
    InputError
        If the parts do not fit; all faults are listed at once.

    Notes
    -----
    A throttle or carburettor opens through a "throttle body" as long as it is wide, and so is the
    "filter housing" between the open air and a filter.

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> network = assemble(study.engine, study.exhausts["short collector"])
    >>> [name for name in network.ducts if name.endswith(" 1")]
    ['runner 1', 'intake port 1', 'exhaust port 1', 'primary 1']
    """
    check_kind("assemble", "engine", engine, Engine)
    if not hasattr(exhaust, "primary_lines"):
        raise InputError(f"assemble: exhaust = {shown(exhaust)} must be of type Exhaust.")
    plan = Plan()
    _add_intake(plan, engine)
    _add_exhaust(plan, engine, exhaust)
    return Network(plan.ducts, plan.nodes, name=exhaust.name).validate()


def _add_intake(plan, engine):
    intake = engine.intake
    own = intake.ambient
    stated = {} if own is None else {"pressure": own.pressure, "temperature": own.temperature}

    def box(name, ends, volume):
        plan.nodes[name] = Volume(tuple(ends), volume=volume, fill="fresh", **stated)

    mouths = [] if intake.plenum_volume is None else _add_inlets(plan, intake, box)
    for n in range(1, engine.cylinders + 1):
        start, seat = _add_runner(plan, engine, n)
        plan.nodes[f"intake valve {n}"] = ValvePort(seat, cylinder=n, side="intake")
        if intake.plenum_volume is not None:
            mouths.append(start)
    if intake.plenum_volume is not None:
        box("plenum", mouths, intake.plenum_volume)


def _add_inlets(plan, intake, box):
    """From the air to the plenum; the duct ends that open into it."""
    ends = {}
    for suffix in _suffixes(intake.inlets):
        start, ends[suffix] = plan.lay((f"inlet{suffix}", intake.inlet))
        _open_intake(plan, intake, start, suffix)
    if intake.airbox_volume is not None:
        before = list(ends.values())
        for suffix in ends:
            start, ends[suffix] = plan.lay((f"airbox duct{suffix}", intake.airbox_duct))
            before.append(start)
        box("airbox", before, intake.airbox_volume)
    if intake.throttle_at == "runner":
        return list(ends.values())
    return [_throttled(plan, intake, end, suffix) for suffix, end in ends.items()]


def _add_runner(plan, engine, n):
    """From plenum or air to the intake port of a cylinder; its first and its last duct end."""
    intake = engine.intake
    lines = (f"runner {n}", intake.runner), (f"intake port {n}", engine.intake_port)
    if intake.throttle_at == "inlet":
        return plan.lay(*lines)
    bore = intake.throttle_diameter or intake.runner[0].diameter
    start, end = plan.lay((f"stack {n}", intake.stack or (Pipe(bore, bore),)))
    if intake.plenum_volume is None:
        _open_intake(plan, intake, start, f" {n}")
    if intake.is_throttled:
        end = _throttled(plan, intake, end, f" {n}")
    return start, plan.lay(*lines, after=end)[1]


def _open_intake(plan, intake, end, suffix):
    """The open air before a duct end, with a filter between them if there is one."""
    if intake.filter is not None:
        bore = plan.bore(end)
        start, before = plan.lay((f"filter housing{suffix}", (Pipe(bore, bore),)))
        plan.nodes["filter" + suffix] = Resistance((before, end), rating=intake.filter)
        end = start
    plan.nodes["air inlet" + suffix] = OpenEnd(
        end, ambient=intake.ambient, intake=True, entry_loss=intake.entry_loss
    )


def _throttled(plan, intake, end, suffix):
    """Throttle or carburettor behind a duct end, with its body; the last duct end."""
    if not intake.is_throttled:
        return end
    bore = intake.throttle_diameter or plan.bore(end)
    behind, mouth = plan.lay((f"throttle body{suffix}", (Pipe(bore, bore),)))
    if intake.carburettor is not None:
        plan.nodes["carburettor" + suffix] = Carburettor(
            (end, behind), rating=intake.carburettor, plate_angle_deg=intake.plate_angle_deg
        )
    else:
        plan.nodes["throttle" + suffix] = Throttle(
            (end, behind), diameter=bore, plate_angle_deg=intake.plate_angle_deg
        )
    return mouth


def _suffixes(count):
    """What tells like things apart in their names; nothing where there is one."""
    return [""] if count == 1 else [f" {n}" for n in range(1, count + 1)]


def _add_exhaust(plan, engine, exhaust):
    groups = _groups(engine, exhaust)
    ends = _add_primaries(plan, engine, exhaust)
    ends = {suffix: _add_pairs(plan, exhaust, bank, ends) for suffix, bank in groups}
    before, behind = _lines_of(exhaust)
    for suffix, meeting in ends.items():
        lines = [(name + suffix, parts) for name, parts in before]
        ends[suffix] = gather(plan, exhaust.merge, meeting, lines, "merge" + suffix)
    if exhaust.bank_link is not None:
        ends = _link_banks(plan, exhaust, ends, behind)
    for suffix, end in ends.items():
        _open(plan, exhaust, suffix, end)


def _lines_of(exhaust):
    """Lines (name, parts) behind the merge: those before the link of the banks, those behind."""
    names = ("collector", "pipe", "tailpipe")
    lines = [(name, getattr(exhaust, name)) for name in names if getattr(exhaust, name)]
    before = len(lines) if exhaust.bank_link is None else bool(exhaust.collector)
    return lines[:before], lines[before:]


def _add_primaries(plan, engine, exhaust):
    """Ports and primaries; the last duct end by cylinder number."""
    ends = {}
    for n, primary in enumerate(exhaust.primary_lines(engine.cylinders), start=1):
        own = (f"exhaust port {n}", engine.exhaust_port), (f"primary {n}", primary)
        seat, ends[n] = plan.lay(*own)
        plan.nodes[f"exhaust valve {n}"] = ValvePort(seat, cylinder=n, side="exhaust")
    return ends


def _add_pairs(plan, exhaust, bank, ends):
    """Duct ends that meet in the merge of a bank: of secondaries, or of primaries."""
    if exhaust.pairs is None:
        return [ends[n] for n in bank]
    meeting = []
    for pair in exhaust.pairs_of(bank, len(ends)):
        name = "-".join(map(str, pair))
        lines = [(f"secondary {name}", exhaust.secondary)]
        own = [ends[n] for n in pair]
        meeting.append(gather(plan, exhaust.pair_merge, own, lines, f"merge {name}"))
    return meeting


def gather(plan, merge, ends, lines, name):
    """Let duct ends meet before lines; one alone is simply continued.

    Parameters
    ----------
    plan : Plan
        With the ducts that end there.
    merge : Merge or None
        With a cone, the duct "NAME cone" comes before the lines.
    ends : sequence of str
        Duct ends that meet.
    lines : sequence of (str, line)
        Name and parts of what follows.
    name : str
        Of the node.

    Returns
    -------
    str
        The last duct end.
    """
    behind = [part for _, parts in lines for part in parts]
    cone = merge and merge.cone([plan.tubes(end) for end in ends], behind)
    if cone is not None:
        lines = [(f"{name} cone", (cone,)), *lines]
    if len(ends) == 1:
        return plan.lay(*lines, after=ends[0])[1] if lines else ends[0]
    start, end = plan.lay(*lines)
    plan.nodes[name] = _merge(merge, ends, start, [plan.bore(at) for at in (*ends, start)])
    return end


def _open(plan, exhaust, suffix, end):
    plan.nodes["outlet" + suffix] = OpenEnd(
        end, radiation=exhaust.radiation, ambient=exhaust.ambient
    )


def _link_banks(plan, exhaust, ends, lines):
    """Join the ends of the collectors; returns the last ends by suffix."""
    link = exhaust.bank_link
    if len(ends) < 2 or (len(ends) > 2 and not isinstance(link, Merge)):
        needed = "2 or more" if isinstance(link, Merge) else "2"
        what = "separate systems" if exhaust.merge is None else "banks"
        raise InputError(
            f"Exhaust: bank_link = {type(link).__name__} needs an engine with {needed} {what}, "
            f"this one has {len(ends)} (Engine.banks says which cylinder is in which)."
        )
    if isinstance(link, Merge):
        return {"": gather(plan, link, list(ends.values()), lines, "bank merge")}
    starts, last = {}, {}
    for suffix in ends:
        own = [(name + suffix, parts) for name, parts in lines]
        starts[suffix], last[suffix] = plan.lay(*own)
    join = _h_pipe if isinstance(link, HPipe) else _x_pipe
    join(plan, link, ends, starts)
    return last


def _h_pipe(plan, link, ends, starts):
    """A tube from the end of one collector to that of the other; the pipes run straight on."""
    a = radians(link.angle_deg)
    for suffix, end, side in zip(ends, plan.lay(("h-pipe", link.tube)), (1.0, -1.0),
                                 strict=True):
        plan.nodes["h-pipe" + suffix] = Junction(
            (ends[suffix], starts[suffix], end),
            model=link.model,
            directions=((0.0, 0.0, -1.0), (0.0, 0.0, 1.0), (side * sin(a), 0.0, cos(a))),
            volume=link.volume,
        )


def _x_pipe(plan, link, ends, starts):
    """All four in one junction; each pipe lies on the side of its own collector."""
    x, z = sin(radians(link.angle_deg)), cos(radians(link.angle_deg))
    plan.nodes["x-pipe"] = Junction(
        (*ends.values(), *starts.values()),
        model=link.model,
        directions=((-x, 0.0, -z), (x, 0.0, -z), (-x, 0.0, z), (x, 0.0, z)),
        volume=link.volume,
    )


def _groups(engine, exhaust):
    """Cylinders that share an outlet, as (suffix of the names, cylinder numbers)."""
    numbers = range(1, engine.cylinders + 1)
    if exhaust.merge is None and exhaust.pairs is not None:
        pairs = exhaust.pairs_of(numbers, engine.cylinders)
        return [(f" {'-'.join(map(str, pair))}", pair) for pair in pairs]
    if exhaust.merge is None:
        return [(f" {n}", [n]) for n in numbers]
    banks = engine.banks or (1,) * engine.cylinders
    if len(set(banks)) == 1:
        return [("", list(numbers))]
    return [
        (f" bank {bank}", [n for n in numbers if banks[n - 1] == bank])
        for bank in sorted(set(banks))
    ]


def _merge(merge, ends, start, bores):
    """Junction of primaries evenly round the axis of the collector, which points along z."""
    tilt, turn = radians(merge.angle_deg), 2.0 * pi / len(ends)
    primaries = [
        (sin(tilt) * cos(i * turn), sin(tilt) * sin(i * turn), -cos(tilt))
        for i in range(len(ends))
    ]
    volume = merge.volume
    if volume is None and merge.cone_length is None and merge.model == "momentum":
        volume = ball(bores)
    return Junction(
        (*ends, start),
        model=merge.model,
        directions=(*primaries, (0.0, 0.0, 1.0)),
        volume=volume,
    )
