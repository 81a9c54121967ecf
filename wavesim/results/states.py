"""Periodic states of an engine at one speed, with their stability, as results.

`wavesim.march.states` looks for them.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from wavesim.fields.tabular import Column, Sheet, Tabular
from wavesim.guard import guarded
from wavesim.results.points import Point
from wavesim.show.quantities import rows_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes


@guarded
@dataclass(frozen=True)
class PeriodicState:
    """One way in which an engine can run at a speed.

    Attributes
    ----------
    point : Point
        Its last cycle; `point.cylinders["imep_net"]` tells the cylinders apart.
    starts : tuple of str
        The starts that led here.
    multiplier : complex
        Leading Floquet multiplier, of one cycle: of its size a small disturbance is after one
        cycle what it was before, in the long run.
    alternation : float
        Growth in a cycle of a small disturbance that makes every other firing stronger; NaN with
        an odd number of cylinders.
    shift_of : int or None
        Place of the state that this one is one firing later, if that was found too.

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> settings = ws.Settings(cell_length=0.05, tolerance=0.05)
    >>> single = study.engine.replace(firing_order=(1,))
    >>> header = ws.Exhaust(primary=ws.Pipe("700 mm", "40 mm"), merge=None)
    >>> settings = settings.replace(tolerance=1e-3)
    >>> state = ws.periodic_states(single, header, 4500, settings=settings)[0]
    >>> state.stable, bool(abs(state.multiplier) < 1.0)
    (True, True)
    """

    point: Point
    starts: tuple[str, ...]
    multiplier: complex
    alternation: float
    shift_of: int | None = None

    def __repr__(self) -> str:
        kind = "stable" if self.stable else "unstable"
        return f"<PeriodicState: {self.point.torque:.2f} N m, {kind}>"

    @property
    def stable(self) -> bool:
        """True if a small disturbance dies out."""
        return abs(self.multiplier) < 1.0

    @property
    def imep(self) -> np.ndarray:
        """Net mean effective pressure of each cylinder [Pa], (n_cylinder,)."""
        return self.point.cylinders["imep_net"]

    @property
    def spread(self) -> float:
        """Largest less smallest net mean effective pressure of the cylinders over their mean."""
        return float(np.ptp(self.imep) / self.imep.mean())


@guarded
class PeriodicStates(Tabular):
    """All periodic states that were found at a speed; a sequence of `PeriodicState`.

    Attributes
    ----------
    rpm : float
        Engine speed [rev/min].
    states : tuple of PeriodicState
        That of the cold start first.
    notes : tuple of str
        Starts that led to no state, and why.

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> settings = ws.Settings(cell_length=0.05, tolerance=0.05)
    >>> single = study.engine.replace(firing_order=(1,))
    >>> header = ws.Exhaust(primary=ws.Pipe("700 mm", "40 mm"), merge=None)
    >>> found = ws.periodic_states(single, header, 4500, settings=settings.replace(tolerance=1e-3))
    >>> len(found), bool(found.torque_range < 0.1)
    (1, True)
    >>> print(found.summary().splitlines()[0])
    1 periodic state at 4500 rev/min
    >>> ax = found.plot()
    """

    def __init__(
        self, rpm: float, states: Sequence[PeriodicState], notes: Sequence[str] = ()
    ) -> None:
        self.rpm, self.states, self.notes = rpm, tuple(states), tuple(notes)

    def __len__(self) -> int:
        return len(self.states)

    def __iter__(self) -> Iterator[PeriodicState]:
        return iter(self.states)

    def __getitem__(self, place: int) -> PeriodicState:
        return self.states[place]

    def __repr__(self) -> str:
        return f"<PeriodicStates at {self.rpm:g} rev/min: {len(self)}>"

    @property
    def torque_range(self) -> float:
        """Largest less smallest torque of the stable states [N m], 0 if there is one."""
        torques = [state.point.torque for state in self if state.stable]
        return max(torques) - min(torques) if torques else 0.0

    def summary(self) -> str:
        """Readable text: torque, cylinders and stability of each state, and what led to it.

        Returns
        -------
        str
            Torque in N m, mean effective pressures in bar by cylinder number.
        """
        sheet = self._sheet()
        return "\n".join([sheet.caption, rows_text(sheet.rows), *sheet.notes])

    def plot(self, ax: "Axes | None" = None) -> "Axes":
        """Draw the net mean effective pressure of the cylinders of each state.

        Parameters
        ----------
        ax : matplotlib Axes or None
            None makes a new figure.
        """
        from wavesim.show import plots

        return plots.plot_cylinders(
            [state.point for state in self], ax, [self._name(i) for i in range(len(self))]
        )

    def _name(self, i):
        state = self[i]
        kind = "stable" if state.stable else "unstable"
        shift = "" if state.shift_of is None else f", {state.shift_of + 1} one firing later"
        return f"{i + 1}, {kind}{shift}"

    def _sheet(self):
        head = [["", "torque", "imep_net by cylinder", "spread", "multiplier", "alternation",
                 "found from"], ["", "N m", "bar", "%", "a cycle", "a cycle", ""]]
        body = [
            [self._name(i), f"{state.point.torque:.2f}",
             "  ".join(f"{p / 1e5:.3f}" for p in state.imep), f"{100.0 * state.spread:.2f}",
             f"{abs(state.multiplier):.3f}", f"{state.alternation:.3f}", ", ".join(state.starts)]
            for i, state in enumerate(self)
        ]
        found = f"{len(self)} periodic state{'s' * (len(self) != 1)} at {self.rpm:g} rev/min"
        return Sheet([*head, *body], found, self.notes, heads=2)

    def _columns(self):
        yield Column("torque", "N m", np.array([state.point.torque for state in self]))
        for n in range(self[0].imep.size):
            yield Column(f"imep_net {n + 1}", "Pa", np.array([state.imep[n] for state in self]))
        yield Column("spread", "1", np.array([state.spread for state in self]))
        yield Column("multiplier", "1", np.array([abs(state.multiplier) for state in self]))
        yield Column("alternation", "1", np.array([state.alternation for state in self]))
        yield Column("stable", "", [state.stable for state in self])

    def _meanings(self):
        return [f"periodic states at {self.rpm:g} rev/min", *self.notes]
