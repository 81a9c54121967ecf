"""Exhaust side: primaries, secondaries, merge, collector, pipe, tailpipe, link of two banks.

What stands behind an engine may be an Exhaust, or a Network of one's own; whoever needs the ducts
and nodes asks `network_of`.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from wavesim.constants import MAX_CYLINDERS
from wavesim.descriptions.assemble import assemble
from wavesim.descriptions.engine import Engine
from wavesim.descriptions.joints import HPipe, Merge, XPipe
from wavesim.descriptions.lines import PARTS
from wavesim.descriptions.network import Network
from wavesim.descriptions.nodes import ValvePort
from wavesim.descriptions.pipes import Part, as_line, line
from wavesim.descriptions.weather import Ambient, of_weather
from wavesim.errors import InputError, check_int, check_kind, shown
from wavesim.fields.description import Description, checked, choice, part, sequence, text


def _primaries(owner, name, value):
    lines = sequence(owner, name, value, "lines, one per cylinder")
    return tuple(as_line(one, owner, f"{name}[{i}]", PARTS) for i, one in enumerate(lines))


def _pairs(owner, name, value):
    pairs = sequence(owner, name, value, "groups of cylinder numbers")
    return tuple(
        tuple(
            check_int(owner, f"{name}[{i}][{j}]", n, 1, MAX_CYLINDERS)
            for j, n in enumerate(sequence(owner, f"{name}[{i}]", pair, "cylinder numbers"))
        )
        for i, pair in enumerate(pairs)
    )


@dataclass(frozen=True, kw_only=True)
class Exhaust(Description):
    """Everything behind the exhaust ports: header, collector, pipes, mufflers, tailpipe.

    A header is the primaries with the merge in which they end.

    A line is a part or a sequence of parts laid end to end: `Pipe`, `Bend`, `Plate`, `Monolith`,
    `PerforatedSilencer`, `Chamber`, `SideTube`, `Resonator`.  A taper is a Pipe with an
    `end_diameter`, a turn-out at the end is a Bend.

    Parameters
    ----------
    name : str
        For legends and reports.
    primary : line or None
        From a port to the merge, the same for every cylinder.
    primaries : sequence of lines or None
        Instead: one line per cylinder, by cylinder number.
    pairs : sequence of sequences of int or None
        Cylinders whose primaries meet first, each in a secondary: ``((1, 4), (2, 3))`` makes four
        into two into one.
    secondary : line
        From the merge of a pair to the merge of all, the same for every pair.
    pair_merge : Merge
        Where the primaries of a pair meet.
    merge : Merge or None
        Where primaries or secondaries meet.  None: they do not, each goes on into a collector, pipe
        and tailpipe of its own, laid end to end; without these it is a stack that ends in the open
        air.  The system of a single is best said so.
    collector, pipe, tailpipe : line
        Behind the merge, or behind every primary or secondary if there is none, in this order; ()
        where there is none.
    bank_link : HPipe, XPipe, Merge or None
        What joins the banks of a V engine where their collectors end, or the two systems of a twin
        with `merge` None where its primaries or collectors end: an H-pipe, an X-pipe, or a merge
        into one pipe (then `pipe` and `tailpipe` exist once).  None: every bank keeps to itself.
    radiation : {"unflanged", "flanged", "none"}
        Of the open end, as for OpenEnd.
    ambient : Ambient or None
        The air outside; None: the weather.

    Raises
    ------
    InputError
        If not exactly one of `primary` and `primaries` is given, only one of `pairs` and
        `secondary`, or a merge or a link has nothing behind it.

    Examples
    --------
    >>> from wavesim.descriptions.pipes import Bend, Pipe
    >>> from wavesim.descriptions.silencers import PerforatedSilencer
    >>> short = Exhaust(primary=Pipe(0.75, 0.038), collector=Pipe(0.15, 0.058))
    >>> short.with_collector(length=0.60).collector[0].length
    0.6
    >>> complete = short.replace(
    ...     pipe=(Pipe(0.8, 0.054), Bend(0.054, 45, radius_ratio=1.5), Pipe(1.2, 0.054)),
    ...     tailpipe=(PerforatedSilencer(0.4, 0.054, case_diameter=0.13), Pipe(0.5, 0.054)))
    >>> len(complete.pipe)
    3

    A single with a megaphone, and two outlets for each pair of a four:

    >>> from wavesim.descriptions.tubework import Megaphone
    >>> single = Exhaust(primary=Pipe(0.6, 0.042), merge=None,
    ...                  pipe=Megaphone(0.4, diameter=0.042, end_diameter=0.09))
    >>> four = Exhaust(primary=Pipe(0.4, 0.038), pairs=((1, 4), (2, 3)), merge=None,
    ...                secondary=Pipe(0.4, 0.045), tailpipe=Pipe(0.6, 0.05))
    """

    name: str = text("")
    primary: tuple[Part, ...] | None = line(None, kinds=PARTS)
    primaries: tuple[tuple[Part, ...], ...] | None = checked(
        _primaries, None, kinds=PARTS, tag="part"
    )
    pairs: tuple[tuple[int, ...], ...] | None = checked(_pairs, None)
    secondary: tuple[Part, ...] = line((), kinds=PARTS)
    pair_merge: Merge = part(Merge, default=Merge())
    merge: Merge | None = part(Merge, default=Merge(), optional=True)
    collector: tuple[Part, ...] = line((), kinds=PARTS)
    bank_link: HPipe | XPipe | Merge | None = part(HPipe, XPipe, Merge, default=None, optional=True)
    pipe: tuple[Part, ...] = line((), kinds=PARTS)
    tailpipe: tuple[Part, ...] = line((), kinds=PARTS)
    radiation: str = choice(("unflanged", "flanged", "none"), "unflanged")
    ambient: Ambient | None = part(Ambient, default=None, **of_weather())

    def _check(self):
        if (self.primary is None) == (self.primaries is None):
            self._refuse("give exactly one of primary and primaries.")
        if not all(self.primaries or [self.primary]):
            self._refuse("primaries = () must hold at least one Pipe for every cylinder.")
        if (self.pairs is None) != (not self.secondary):
            self._refuse("give both pairs and secondary, or neither.")
        behind = self.collector + self.pipe + self.tailpipe
        if self.merge is not None and not behind:
            self._refuse(
                "merge needs a collector, pipe or tailpipe behind it (merge = None makes "
                "individual stacks)."
            )
        if self.bank_link is not None and not self.pipe + self.tailpipe:
            self._refuse("bank_link needs a pipe or tailpipe behind it.")
        if self.bank_link is not None and self.merge is not None and not self.collector:
            self._refuse(
                "bank_link needs a collector before it (or merge = None, if the primaries end at "
                "the link)."
            )

    def network(self, engine: Engine) -> Network:
        """All ducts and nodes of an engine with this exhaust, to be changed one by one.

        Parameters
        ----------
        engine : Engine
            With its intake.

        Returns
        -------
        Network
            Runs, sweeps and explorations take it in the place of the exhaust; see `Network` for
            what can be changed.

        Raises
        ------
        InputError
            If engine and exhaust do not fit; all faults are listed at once.

        Examples
        --------
        >>> import wavesim as ws
        >>> engine = ws.load(ws.demo_path("collector")).engine
        >>> system = ws.Exhaust(primary=ws.Pipe(0.75, 0.038), collector=ws.Pipe(0.5, 0.058))
        >>> sorted(system.network(engine).ducts)[:3]
        ['collector', 'exhaust port 1', 'exhaust port 2']
        """
        return assemble(engine, self)

    def pairs_of(self, bank: Sequence[int], cylinders: int) -> tuple[tuple[int, ...], ...]:
        """Pairs that consist of the cylinders of one bank.

        Parameters
        ----------
        bank : sequence of int
            Numbers of the cylinders of the bank.
        cylinders : int
            Number of cylinders of the engine.

        Returns
        -------
        tuple of tuple of int
            In the order of `pairs`.

        Raises
        ------
        InputError
            If a cylinder is not in the pairs exactly once, or a pair spans two banks.

        Examples
        --------
        >>> import wavesim as ws
        >>> system = ws.Exhaust(primary=ws.Pipe(0.75, 0.038), secondary=ws.Pipe(0.4, 0.045),
        ...                     pairs=((1, 4), (2, 3)), pipe=ws.Pipe(1.0, 0.055),
        ...                     tailpipe=ws.Pipe(0.5, 0.05))
        >>> system.pairs_of((1, 2, 3, 4), 4)
        ((1, 4), (2, 3))
        """
        if sorted(n for pair in self.pairs for n in pair) != list(range(1, cylinders + 1)):
            self._refuse(
                f"pairs = {self.pairs!r} (no unit) must hold every cylinder number from 1 to "
                f"{cylinders} exactly once."
            )
        own = tuple(pair for pair in self.pairs if set(pair) & set(bank))
        for pair in own:
            if not set(pair) <= set(bank):
                self._refuse(
                    f"pairs: {pair} (no unit) spans two banks, must hold cylinders of one bank "
                    f"such as {tuple(bank)}."
                )
        return own

    def primary_lines(self, cylinders: int) -> tuple[tuple[Part, ...], ...]:
        """Primary of every cylinder.

        Parameters
        ----------
        cylinders : int
            Number of cylinders.

        Returns
        -------
        tuple of lines
            By cylinder number.

        Raises
        ------
        InputError
            If `primaries` has another number of lines.

        Examples
        --------
        >>> import wavesim as ws
        >>> system = ws.Exhaust(primary=ws.Pipe(0.75, 0.038), secondary=ws.Pipe(0.4, 0.045),
        ...                     pairs=((1, 4), (2, 3)), pipe=ws.Pipe(1.0, 0.055),
        ...                     tailpipe=ws.Pipe(0.5, 0.05))
        >>> len(system.primary_lines(4))
        4
        """
        if self.primaries is None:
            return (self.primary,) * cylinders
        if len(self.primaries) != cylinders:
            self._refuse(
                f"primaries has {len(self.primaries)} lines, must have {cylinders}, one per "
                "cylinder."
            )
        return self.primaries

    def with_primary(self, **changes: Any) -> "Exhaust":
        """Copy with fields of the first part of every primary changed.

        Parameters
        ----------
        **changes
            Fields of this part, such as length and diameter.

        Raises
        ------
        InputError
            If a field is unknown or a value is refused.

        Examples
        --------
        >>> import wavesim as ws
        >>> system = ws.Exhaust(primary=ws.Pipe(0.75, 0.038), secondary=ws.Pipe(0.4, 0.045),
        ...                     pairs=((1, 4), (2, 3)), pipe=ws.Pipe(1.0, 0.055),
        ...                     tailpipe=ws.Pipe(0.5, 0.05))
        >>> system.with_primary(length="800 mm").primary[0].length
        0.8
        """
        if self.primaries is None:
            return self._with("primary", changes)
        lines = ((one[0].replace(**changes), *one[1:]) for one in self.primaries)
        return self.replace(primaries=tuple(lines))

    def with_secondary(self, **changes: Any) -> "Exhaust":
        """Copy with fields of the first part of every secondary changed; see `with_primary`.

        Examples
        --------
        >>> import wavesim as ws
        >>> system = ws.Exhaust(primary=ws.Pipe(0.75, 0.038), secondary=ws.Pipe(0.4, 0.045),
        ...                     pairs=((1, 4), (2, 3)), pipe=ws.Pipe(1.0, 0.055),
        ...                     tailpipe=ws.Pipe(0.5, 0.05))
        >>> system.with_secondary(diameter="48 mm").secondary[0].diameter
        0.048
        """
        return self._with("secondary", changes)

    def with_collector(self, **changes: Any) -> "Exhaust":
        """Copy with fields of the first part of the collector changed; see `with_primary`."""
        return self._with("collector", changes)

    def with_pipe(self, **changes: Any) -> "Exhaust":
        """Copy with fields of the first part of `pipe` changed; see `with_primary`.

        Examples
        --------
        >>> import wavesim as ws
        >>> system = ws.Exhaust(primary=ws.Pipe(0.75, 0.038), secondary=ws.Pipe(0.4, 0.045),
        ...                     pairs=((1, 4), (2, 3)), pipe=ws.Pipe(1.0, 0.055),
        ...                     tailpipe=ws.Pipe(0.5, 0.05))
        >>> system.with_pipe(length="1.2 m").pipe[0].length
        1.2
        """
        return self._with("pipe", changes)

    def with_tailpipe(self, **changes: Any) -> "Exhaust":
        """Copy with fields of the first part of the tailpipe changed; see `with_primary`.

        Examples
        --------
        >>> import wavesim as ws
        >>> system = ws.Exhaust(primary=ws.Pipe(0.75, 0.038), secondary=ws.Pipe(0.4, 0.045),
        ...                     pairs=((1, 4), (2, 3)), pipe=ws.Pipe(1.0, 0.055),
        ...                     tailpipe=ws.Pipe(0.5, 0.05))
        >>> system.with_tailpipe(diameter="55 mm").tailpipe[0].diameter
        0.055
        """
        return self._with("tailpipe", changes)

    def _with(self, name, changes):
        parts = getattr(self, name)
        if not parts:
            self._refuse(f"{name} = () has no Pipe to change, give one by replace({name}=...).")
        return self.replace(**{name: (parts[0].replace(**changes), *parts[1:])})


#: What may stand behind an engine.
SYSTEMS = (Exhaust, Network)


def network_of(engine, system):
    """Checked network of an engine with what stands behind it.

    Parameters
    ----------
    engine : Engine
    system : Exhaust or Network
        A Network holds the intake too, and valve ports for every cylinder.

    Returns
    -------
    Network

    Raises
    ------
    InputError
        If it is something else, does not fit the engine or has faults; all are listed at once.
    """
    check_kind("network", "engine", engine, Engine)
    if isinstance(system, Exhaust):
        return system.network(engine)
    if not isinstance(system, Network):
        raise InputError(f"exhaust = {shown(system)} must be an Exhaust or a Network.")
    ports = {node.cylinder for node in system.nodes.values() if isinstance(node, ValvePort)}
    if ports != set(range(1, engine.cylinders + 1)):
        there = ", ".join(map(str, sorted(ports))) or "none"
        raise InputError(
            f"Network: it has valve ports of the cylinders {there}, must have those of 1 to "
            f"{engine.cylinders}, the cylinders of the engine."
        )
    return system.validate()


def banks_of(owner, exhaust, engine):
    """Bank of every cylinder of an engine that may be given by its number of cylinders.

    Parameters
    ----------
    owner : str
        Who asks, for messages.
    exhaust : Exhaust
    engine : Engine, int or None
        None: as many cylinders as `primaries`, in one bank.

    Returns
    -------
    tuple of int
        By cylinder number.

    Raises
    ------
    InputError
        If the number of cylinders is not known or does not fit.
    """
    if isinstance(engine, Engine):
        return engine.banks or (1,) * engine.cylinders
    if engine is None and exhaust.primaries is None:
        raise InputError(
            f"{owner}: engine = None must be an Engine or a number of cylinders from 1 to "
            f"{MAX_CYLINDERS}, since `primary` stands for the primaries of all cylinders."
        )
    given = len(exhaust.primaries) if engine is None else engine
    return (1,) * check_int(owner, "engine", given, 1, MAX_CYLINDERS)
