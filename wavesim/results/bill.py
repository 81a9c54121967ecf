"""Bill of an exhaust: length, gas volume, surface, bends, mass, by part and in total."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from wavesim.descriptions.engine import Engine
from wavesim.descriptions.exhaust import Exhaust, banks_of
from wavesim.descriptions.joints import HPipe, Merge
from wavesim.descriptions.pipes import Amounts, together
from wavesim.descriptions.silencers import Chamber
from wavesim.descriptions.walls import Wall
from wavesim.errors import InputError, check_kind
from wavesim.fields.tabular import Column, Sheet, Tabular
from wavesim.guard import guarded

if TYPE_CHECKING:
    from matplotlib.axes import Axes

#: Wall of tubes that state none: 1.5 mm of mild steel, our choice of a common tube.
DEFAULT_WALL = Wall(0.0015, "mild steel")

#: Columns of the CSV file: (name, unit) by field of Amounts.
COLUMNS = {
    "length": ("length", "m"),
    "gas_volume": ("gas volume", "m3"),
    "inner_area": ("inner area", "m2"),
    "outer_area": ("outer area", "m2"),
    "bends": ("bends", ""),
    "bend_angle_deg": ("bend angle", "deg"),
    "tube_mass": ("tube mass", "kg"),
    "silencer_mass": ("silencer mass", "kg"),
}

#: Columns of the summary: field, heading, factor, decimals.
_SHOWN = (
    ("length", "length/m", 1.0, 3),
    ("gas_volume", "gas/litre", 1e3, 3),
    ("inner_area", "inner/m2", 1.0, 4),
    ("outer_area", "outer/m2", 1.0, 4),
    ("bends", "bends", 1, 0),
    ("bend_angle_deg", "angle/deg", 1.0, 0),
    ("tube_mass", "tube/kg", 1.0, 2),
    ("silencer_mass", "silencer/kg", 1.0, 2),
)


@guarded
@dataclass(frozen=True)
class BillRow:
    """One part of one line.

    Attributes
    ----------
    line : str
        Name of the line, such as "primary".
    part : str
        Class of the part.
    number : int
        Its place in the line, from 1.
    count : int
        How many lines like this the system has.
    amounts : Amounts
        Of all of them together.

    Examples
    --------
    >>> import wavesim as ws
    >>> found = ws.bill(ws.Exhaust(primary=ws.Pipe("750 mm", "38 mm"),
    ...                            collector=ws.Pipe("500 mm", "58 mm")), 4)
    >>> row = found.rows[0]
    >>> row.line, row.part, row.count
    ('primary', 'Pipe', 4)
    """

    line: str
    part: str
    number: int
    count: int
    amounts: Amounts


@guarded
@dataclass(frozen=True)
class Bill(Tabular):
    """What a system is made of.

    Attributes
    ----------
    name : str
        Of the exhaust.
    rows : tuple of BillRow
        Every part in the direction of the flow.
    wall : Wall
        Assumed for tubes without a wall of their own.

    Examples
    --------
    >>> import wavesim as ws
    >>> found = ws.bill(ws.Exhaust(primary=ws.Pipe("750 mm", "38 mm"),
    ...                            collector=ws.Pipe("500 mm", "58 mm")), 4)
    >>> round(found.total.length, 2), round(found.mass, 1), len(found.lines)
    (3.5, 5.5, 2)
    >>> print(found.summary().splitlines()[0][:40])
    part                         length/m  g
    >>> ax = found.plot()
    """

    name: str
    rows: tuple[BillRow, ...]
    wall: Wall

    def __repr__(self) -> str:
        name = f" {self.name!r}" if self.name else ""
        return f"<Bill{name}: {len(self.rows)} parts, {self.mass:.2f} kg>"

    @property
    def total(self) -> Amounts:
        """Amounts of the whole system."""
        return together(row.amounts for row in self.rows)

    @property
    def lines(self) -> Mapping[str, Amounts]:
        """Amounts by name of the line."""
        names = dict.fromkeys(row.line for row in self.rows)
        return {
            name: together(row.amounts for row in self.rows if row.line == name) for name in names
        }

    @property
    def mass(self) -> float:
        """Mass of tubes and silencers together [kg]."""
        return self.total.tube_mass + self.total.silencer_mass

    def summary(self) -> str:
        """Table of all parts with a total, as text.

        Returns
        -------
        str
            Lines of equal columns; lengths in m, volumes in litres, areas in m2, masses in kg.
        """
        sheet = self._sheet()
        widths = [max(map(len, column)) for column in zip(*sheet.rows, strict=True)]
        lines = [
            "  ".join([line[0].ljust(widths[0]), *map(str.rjust, line[1:], widths[1:])])
            for line in sheet.rows
        ]
        lines.insert(-1, "-" * len(lines[0]))
        return "\n".join([*([self.name] if self.name else []), *lines, *sheet.notes])

    def plot(self, ax: "Axes | None" = None, **bar_kws: Any) -> "Axes":
        """Draw the length and the mass of every part to scale.

        Parameters
        ----------
        ax : matplotlib Axes or None
            None makes a new figure.
        **bar_kws
            For the bars.

        Returns
        -------
        matplotlib Axes
            Lengths along the lower scale, masses along the upper one, of all lines of a kind
            together; the totals stand in the legend.
        """
        from wavesim.show import drawings

        parts = [(_label(row), row.amounts.length,
                  row.amounts.tube_mass + row.amounts.silencer_mass) for row in self.rows]
        return drawings.plot_bill(parts, self.name, ax, **bar_kws)

    def _sheet(self):
        head = ["part", *(heading for _, heading, _, _ in _SHOWN)]
        body = [[_label(row), *_cells(row.amounts)] for row in self.rows]
        note = (
            f"Tubes without a wall of their own: {1e3 * self.wall.thickness:.2f} mm "
            f"{self.wall.material.name}.  Flanges that no line lists, hangers, coating and wrap "
            "are not counted."
        )
        return Sheet([head, *body, ["total", *_cells(self.total)]], self.name, [note])

    def _columns(self):
        """All parts, the total in the last row."""
        heads = [(row.line, row.number, row.part, row.count) for row in self.rows]
        heads.append(("total", "", "", ""))
        names = ("line", "number", "part", "count")
        amounts = [*(row.amounts for row in self.rows), self.total]
        return [
            *(Column(name, "", values)
              for name, values in zip(names, zip(*heads, strict=True), strict=True)),
            *(Column(*COLUMNS[field], [getattr(one, field) for one in amounts])
              for field in COLUMNS),
        ]


def _label(row):
    times = f" ({row.count} x)" if row.count > 1 else ""
    return f"{row.line}, part {row.number}: {row.part}{times}"


def _cells(amounts):
    return [f"{getattr(amounts, field) * factor:.{digits}f}" for field, _, factor, digits in _SHOWN]


@guarded
def bill(
    exhaust: Exhaust, engine: Engine | int | None = None, *, wall: Wall = DEFAULT_WALL
) -> Bill:
    """Bill of an exhaust.

    Parameters
    ----------
    exhaust : Exhaust
        The system.
    engine : Engine, int or None
        The engine, or its number of cylinders in one bank; None: as many as `primaries`.
    wall : Wall
        Wall of tubes that have none of their own.

    Returns
    -------
    Bill

    Raises
    ------
    InputError
        If the number of cylinders is not known or does not fit.

    Examples
    --------
    >>> from wavesim.descriptions.exhaust import Exhaust
    >>> from wavesim.descriptions.pipes import Pipe
    >>> found = bill(Exhaust(primary=Pipe(0.75, 0.038), collector=Pipe(0.5, 0.058)), 4)
    >>> round(found.total.length, 3), round(found.mass, 2)
    (3.5, 5.48)
    """
    if not isinstance(exhaust, Exhaust):
        raise InputError(
            f"bill: exhaust = {type(exhaust).__name__} must be an Exhaust; a Network does not know "
            "what its ducts are made of."
        )
    check_kind("bill", "wall", wall, Wall)
    own = banks_of("bill", exhaust, engine)
    banks = [[n for n, bank in enumerate(own, start=1) if bank == one]
             for one in sorted(set(own))]
    rows = []
    for name, count, parts in _named_lines(exhaust, banks):
        for number, (part, amounts) in enumerate(_amounts(parts, wall), start=1):
            total = Amounts(*(count * amount for amount in amounts))
            rows.append(BillRow(name, type(part).__name__, number, count, total))
    return Bill(exhaust.name, tuple(rows), wall)


def _named_lines(exhaust, banks):
    """Triples (name, how many, parts) in the direction of the flow.

    `banks` holds the numbers of the cylinders of each bank.
    """
    cylinders = sum(map(len, banks))
    primaries = exhaust.primary_lines(cylinders)
    yield from _counted("primary", primaries)
    meetings = [[primaries[n - 1] for n in bank] for bank in banks]
    if exhaust.pairs is not None:
        pairs = [exhaust.pairs_of(bank, cylinders) for bank in banks]
        yield from _counted("pair merge cone", _cones(
            exhaust.pair_merge, [[primaries[n - 1] for n in pair] for own in pairs for pair in own],
            exhaust.secondary))
        yield "secondary", len(exhaust.pairs), exhaust.secondary
        meetings = [[exhaust.secondary] * len(own) for own in pairs]
    link, outlet = exhaust.bank_link, exhaust.pipe + exhaust.tailpipe
    behind = exhaust.collector + (() if link else outlet)
    systems = len(banks)
    if exhaust.merge is None:  # each keeps to itself
        systems = cylinders if exhaust.pairs is None else len(exhaust.pairs)
    else:
        yield from _counted("merge cone", _cones(exhaust.merge, meetings, behind))
    yield "collector", systems, exhaust.collector
    if isinstance(link, HPipe):
        yield "h-pipe", 1, link.tube
    if isinstance(link, Merge):
        meeting = [exhaust.collector] * systems
        yield from _counted("bank merge cone", _cones(link, [meeting], outlet))
    outlets = 1 if isinstance(link, Merge) else systems
    yield "pipe", outlets, exhaust.pipe
    yield "tailpipe", outlets, exhaust.tailpipe


def _counted(name, lines):
    """Lines of one name: once with their number if they are alike, else one by one."""
    if len(set(lines)) == 1:
        yield name, len(lines), lines[0]
    else:
        for n, own in enumerate(lines, start=1):
            yield f"{name} {n}", 1, own


def _cones(merge, meetings, behind):
    """The cone of each merge as a line; none if it has none."""
    if merge is None or merge.cone_length is None:
        return []
    return [(merge.cone(tubes, behind),) for tubes in meetings]


def _amounts(parts, wall):
    """Pairs (part, amounts); chambers in a row share the plate between them."""
    for before, part in zip((None, *parts), parts, strict=False):
        amounts = _amounts_of(part, wall)
        if isinstance(before, Chamber) and isinstance(part, Chamber):
            mass = amounts.silencer_mass - part.inlet_plate_mass
            amounts = amounts._replace(silencer_mass=mass)
        yield part, amounts


@lru_cache(maxsize=256)  # most designs of a search share most of their parts
def _amounts_of(part, wall):
    return part.amounts(wall)
