"""Exhaust side: primaries, merge, collector, pipe, tailpipe."""

from dataclasses import dataclass

from wavesim.description import Description, checked, choice, number, part, sequence, text
from wavesim.nodes import Ambient
from wavesim.pipes import Pipe, as_line, line


def _primaries(owner, name, value):
    lines = sequence(owner, name, value, "lines, one per cylinder")
    return tuple(as_line(one, owner, f"{name}[{i}]") for i, one in enumerate(lines))


@dataclass(frozen=True, kw_only=True)
class Merge(Description):
    """Where the primaries meet the collector.

    Parameters
    ----------
    angle_deg : float
        Angle of each primary with the axis of the collector [deg], 0 to 90.
    model : {"momentum", "pressure"}
        As for Junction.
    volume : float or None
        Gas volume [m3], 1e-8 to 0.1; None: from the bores.
    """

    angle_deg: float = number("deg", 0.0, 90.0, 15.0)
    model: str = choice(("momentum", "pressure"), "momentum")
    volume: float | None = number("m3", 1e-8, 0.1, None)


@dataclass(frozen=True, kw_only=True)
class Exhaust(Description):
    """Everything behind the exhaust ports.

    Parameters
    ----------
    name : str
        For legends and reports.
    primary : Pipe, sequence of Pipe or None
        Line from a port to the merge, the same for every cylinder.
    primaries : sequence of lines or None
        Instead: one line per cylinder, by cylinder number.
    merge : Merge or None
        None: individual stacks, every primary ends in the open air.
    collector, pipe, tailpipe : Pipe or sequence of Pipe
        Lines behind the merge, in this order; () where there is none.
    radiation : {"unflanged", "flanged", "none"}
        Of the open end, as for OpenEnd.
    ambient : Ambient
        The air outside.

    Raises
    ------
    InputError
        If not exactly one of `primary` and `primaries` is given, a merge has nothing behind it,
        or a line stands behind no merge.

    Examples
    --------
    >>> short = Exhaust(primary=Pipe(0.75, 0.038), collector=Pipe(0.15, 0.058))
    >>> short.with_collector(length=0.60).collector[0].length
    0.6
    """

    name: str = text("")
    primary: tuple[Pipe, ...] | None = line(None)
    primaries: tuple[tuple[Pipe, ...], ...] | None = checked(
        _primaries, None, kinds=(Pipe,), many=True
    )
    merge: Merge | None = part(Merge, default=Merge(), optional=True)
    collector: tuple[Pipe, ...] = line(())
    pipe: tuple[Pipe, ...] = line(())
    tailpipe: tuple[Pipe, ...] = line(())
    radiation: str = choice(("unflanged", "flanged", "none"), "unflanged")
    ambient: Ambient = part(Ambient, default=Ambient())

    def _check(self):
        if (self.primary is None) == (self.primaries is None):
            self._refuse("give exactly one of primary and primaries.")
        if not all(self.primaries or [self.primary]):
            self._refuse("primaries = () must hold at least one Pipe for every cylinder.")
        behind = self.collector + self.pipe + self.tailpipe
        if self.merge is None and behind:
            self._refuse("merge = None leaves collector, pipe and tailpipe nowhere to start.")
        if self.merge is not None and not behind:
            self._refuse(
                "merge needs a collector, pipe or tailpipe behind it (merge = None makes "
                "individual stacks)."
            )

    def primary_lines(self, cylinders):
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
        """
        if self.primaries is None:
            return (self.primary,) * cylinders
        if len(self.primaries) != cylinders:
            self._refuse(
                f"primaries has {len(self.primaries)} lines, must have {cylinders}, one per "
                "cylinder."
            )
        return self.primaries

    def with_primary(self, **changes):
        """Copy with fields of the first pipe of every primary changed.

        Parameters
        ----------
        **changes
            Fields of Pipe, such as length and diameter.

        Raises
        ------
        InputError
            If a field is unknown or a value is refused.
        """
        if self.primaries is None:
            return self._with("primary", changes)
        lines = ((one[0].replace(**changes), *one[1:]) for one in self.primaries)
        return self.replace(primaries=tuple(lines))

    def with_collector(self, **changes):
        """Copy with fields of the first pipe of the collector changed; see `with_primary`."""
        return self._with("collector", changes)

    def with_pipe(self, **changes):
        """Copy with fields of the first piece of `pipe` changed; see `with_primary`."""
        return self._with("pipe", changes)

    def with_tailpipe(self, **changes):
        """Copy with fields of the first piece of the tailpipe changed; see `with_primary`."""
        return self._with("tailpipe", changes)

    def _with(self, name, changes):
        parts = getattr(self, name)
        if not parts:
            self._refuse(f"{name} = () has no Pipe to change, give one by replace({name}=...).")
        return self.replace(**{name: (parts[0].replace(**changes), *parts[1:])})
