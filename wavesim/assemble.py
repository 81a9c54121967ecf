"""From an engine and an exhaust to a network of named ducts and nodes.

::

    air inlet | inlet | throttle | throttle body | plenum | runner 1 | intake port 1 | valve
    valve | exhaust port 1 | primary 1 | merge | collector | pipe | tailpipe | outlet

Gas flows along +x in all of them.  A line whose bore jumps becomes several ducts, "pipe/1",
"pipe/2", with an AreaStep between; so do lines that follow one another.
"""

from math import cos, pi, radians, sin

from wavesim.network import Network
from wavesim.nodes import AreaStep, Junction, OpenEnd, Throttle, ValvePort, Volume
from wavesim.pipes import Pipe, split_line


class _Plan:
    """Ducts and nodes while they are collected."""

    def __init__(self):
        self.ducts = {}
        self.nodes = {}

    def lay(self, *named_lines):
        """Add lines (name, parts) end to end; names of the first start and the last end."""
        laid = [piece for name, parts in named_lines for piece in self._pieces(name, parts)]
        for a, b in zip(laid, laid[1:], strict=False):
            self.nodes[f"step {a} - {b}"] = AreaStep((f"{a}.end", f"{b}.start"))
        return f"{laid[0]}.start", f"{laid[-1]}.end"

    def _pieces(self, name, parts):
        ducts = split_line(parts)
        names = [name] if len(ducts) == 1 else [f"{name}/{i}" for i in range(1, len(ducts) + 1)]
        self.ducts.update(zip(names, ducts, strict=True))
        return names


def assemble(engine, exhaust):
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
    plan = _Plan()
    _add_intake(plan, engine)
    _add_exhaust(plan, engine, exhaust)
    return Network(plan.ducts, plan.nodes).validate()


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
    plan.nodes["plenum"] = Volume(
        tuple(mouths),
        volume=intake.plenum_volume,
        pressure=intake.ambient.pressure,
        temperature=intake.ambient.temperature,
        fill="fresh",
    )


def _add_exhaust(plan, engine, exhaust):
    primaries = exhaust.primary_lines(engine.cylinders)
    for suffix, cylinders in _groups(engine, exhaust):
        lines = [(name, getattr(exhaust, name)) for name in ("collector", "pipe", "tailpipe")]
        behind = [(name + suffix, parts) for name, parts in lines if parts]
        alone = len(cylinders) == 1
        ends = []
        for n in cylinders:
            own = (f"exhaust port {n}", engine.exhaust_port), (f"primary {n}", primaries[n - 1])
            seat, end = plan.lay(*own, *(behind if alone else ()))
            plan.nodes[f"exhaust valve {n}"] = ValvePort(seat, cylinder=n, side="exhaust")
            ends.append(end)
        if not alone:
            start, end = plan.lay(*behind)
            plan.nodes["merge" + suffix] = _merge(exhaust.merge, ends, start)
        plan.nodes["outlet" + suffix] = OpenEnd(
            end, radiation=exhaust.radiation, ambient=exhaust.ambient
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
