"""From an engine and an exhaust to a network of named ducts and nodes.

::

    air inlet | inlet | throttle | throttle body | plenum | runner 1 | intake port 1 | valve
    valve | exhaust port 1 | primary 1 | merge | collector | pipe | tailpipe | outlet
                             primary 1, 4 | merge 1-4 | secondary 1-4 | merge | ...

Gas flows along +x in all of them.  Lines that follow one another are joined by an AreaStep; what
becomes of the parts of a line is told in `wavesim.descriptions.lines`.
"""

from math import cos, pi, radians, sin

from wavesim.descriptions.engine import Engine
from wavesim.descriptions.joints import HPipe, Merge
from wavesim.descriptions.lines import Plan
from wavesim.descriptions.network import Network
from wavesim.descriptions.nodes import Junction, OpenEnd, Throttle, ValvePort, Volume
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
    The throttle opens into the plenum through a "throttle body" as long as it is wide.
    """
    check_kind("assemble", "engine", engine, Engine)
    if not hasattr(exhaust, "primary_lines"):
        raise InputError(f"assemble: exhaust = {shown(exhaust)} must be of type Exhaust.")
    plan = Plan()
    _add_intake(plan, engine)
    _add_exhaust(plan, engine, exhaust)
    return Network(plan.ducts, plan.nodes, name=exhaust.name).validate()


def _add_intake(plan, engine):
    intake, bore = engine.intake, engine.intake.throttle_diameter
    inlet, before = plan.lay(("inlet", intake.inlet))
    behind, mouth = plan.lay(("throttle body", (Pipe(bore, bore),)))
    plan.nodes["air inlet"] = OpenEnd(
        inlet, ambient=intake.ambient, intake=True, entry_loss=intake.entry_loss
    )
    plan.nodes["throttle"] = Throttle(
        (before, behind), diameter=bore, plate_angle_deg=intake.plate_angle_deg
    )
    mouths = [mouth]
    for n in range(1, engine.cylinders + 1):
        start, seat = plan.lay(
            (f"runner {n}", intake.runner), (f"intake port {n}", engine.intake_port)
        )
        mouths.append(start)
        plan.nodes[f"intake valve {n}"] = ValvePort(seat, cylinder=n, side="intake")
    own = intake.ambient
    stated = {} if own is None else {"pressure": own.pressure, "temperature": own.temperature}
    plan.nodes["plenum"] = Volume(
        tuple(mouths), volume=intake.plenum_volume, fill="fresh", **stated
    )


def _add_exhaust(plan, engine, exhaust):
    groups = _groups(engine, exhaust)
    ends = _add_primaries(plan, engine, exhaust)
    ends = {suffix: _add_pairs(plan, exhaust, bank, ends) for suffix, bank in groups}
    if exhaust.merge is None:
        for suffix, (end,) in ends.items():
            _open(plan, exhaust, suffix, end)
        return
    before, behind = _lines_of(exhaust)
    for suffix, meeting in ends.items():
        lines = [(name + suffix, parts) for name, parts in before]
        ends[suffix] = _gather(plan, exhaust.merge, meeting, lines, "merge" + suffix)
    if exhaust.bank_link is not None:
        ends = _link_banks(plan, exhaust, ends, behind)
    for suffix, end in ends.items():
        _open(plan, exhaust, suffix, end)


def _lines_of(exhaust):
    """Lines (name, parts) behind the merge: those before the link of the banks, those behind."""
    names = ("collector", "pipe", "tailpipe")
    lines = [(name, getattr(exhaust, name)) for name in names if getattr(exhaust, name)]
    return (lines, []) if exhaust.bank_link is None else (lines[:1], lines[1:])


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
        meeting.append(_gather(plan, exhaust.pair_merge, own, lines, f"merge {name}"))
    return meeting


def _gather(plan, merge, ends, lines, name):
    """Let duct ends meet before lines; one alone is simply continued.  Returns the last end."""
    if len(ends) == 1:
        return plan.lay(*lines, after=ends[0])[1]
    start, end = plan.lay(*lines)
    plan.nodes[name] = _merge(merge, ends, start)
    return end


def _open(plan, exhaust, suffix, end):
    plan.nodes["outlet" + suffix] = OpenEnd(
        end, radiation=exhaust.radiation, ambient=exhaust.ambient
    )


def _link_banks(plan, exhaust, ends, lines):
    """Join the ends of the collectors; returns the last ends by suffix."""
    link = exhaust.bank_link
    if len(ends) < 2 or (len(ends) > 2 and not isinstance(link, Merge)):
        needed = "2 or more banks" if isinstance(link, Merge) else "2 banks"
        raise InputError(
            f"Exhaust: bank_link = {type(link).__name__} needs an engine with {needed}, this one "
            f"has {len(ends)} (Engine.banks says which cylinder is in which)."
        )
    if isinstance(link, Merge):
        return {"": _gather(plan, link, list(ends.values()), lines, "bank merge")}
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
    if exhaust.merge is None:
        return [(f" {n}", [n]) for n in numbers]
    banks = engine.banks or (1,) * engine.cylinders
    if len(set(banks)) == 1:
        return [("", list(numbers))]
    return [
        (f" bank {bank}", [n for n in numbers if banks[n - 1] == bank])
        for bank in sorted(set(banks))
    ]


def _merge(merge, ends, start):
    """Junction of primaries evenly round the axis of the collector, which points along z."""
    tilt, turn = radians(merge.angle_deg), 2.0 * pi / len(ends)
    primaries = [
        (sin(tilt) * cos(i * turn), sin(tilt) * sin(i * turn), -cos(tilt))
        for i in range(len(ends))
    ]
    return Junction(
        (*ends, start),
        model=merge.model,
        directions=(*primaries, (0.0, 0.0, 1.0)),
        volume=merge.volume,
    )
