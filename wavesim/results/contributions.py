"""What makes a difference of torque: parts of two speed curves that add up to the whole.

The torque T of an engine is that of its gross work, less pumping, less friction:
4 pi T = W - P - F, W being the work of the gas in compression and expansion in a cycle.  W is a
product of six factors,

    W = m s h r k e,

* m, gas trapped in the cylinders [kg],
* s, its fresh share,
* h, heat that a kilogram of fresh charge of this mixture releases when it turns to burned gas,
* r, heat released over what the trapped fresh charge would so release,
* k, share of the released heat that the cylinder walls have not taken, 1 less heat_loss_share,
* e, gross work over the heat so kept: compression ratio, burn angles, exhaust opening.

The change of a product from a to b is split by the logarithmic mean
L(a, b) = (b - a)/ln(b/a) into

    W_b - W_a = L(W_a, W_b) [ln(m_b/m_a) + ln(s_b/s_a) + ... ],

one term for each factor (the additive logarithmic mean Divisia method; Ang, Energy Policy 32 (2004)
1131, from memory).  It leaves no remainder, does not depend on an order of the factors, and changes
only its signs when a and b are exchanged.  The parts of pumping, and friction, are differences.
"""

from math import pi
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from wavesim.errors import InputError, check_kind
from wavesim.fields.tabular import Column, Sheet, Tabular
from wavesim.guard import guarded
from wavesim.results.points import Sweep
from wavesim.show.quantities import rows_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes


class Part(NamedTuple):
    """A part of a difference of torque.

    Attributes
    ----------
    label : str
        Words for tables and figures.
    meaning : str
        What it holds.
    """

    label: str
    meaning: str


#: Parts of a difference of torque, in the order of the cycle.
PARTS = {
    "trapped_mass": Part("trapped gas", "More or less gas in the cylinders at intake closing."),
    "fresh_share": Part("fresh share", "More or less of that gas is fresh charge, not residual."),
    "mixture": Part("mixture", "Heat that a kilogram of the fresh charge has to give."),
    "heat_release": Part(
        "heat release", "Heat released over what the trapped fresh charge has to give."),
    "wall_heat": Part("heat to the walls", "Share of the heat that the cylinder walls take."),
    "conversion": Part(
        "conversion of heat",
        "Work of compression and expansion over the heat kept: timing of burn and exhaust opening, "
        "heat capacity of the gas."),
    "exhaust_stroke": Part("pumping, exhaust stroke", "Work of the exhaust stroke."),
    "recompression": Part("pumping, valves shut", "Work from exhaust closing to intake opening."),
    "intake_stroke": Part("pumping, intake stroke", "Work of the intake stroke."),
    "friction": Part("friction", "Friction by the formula of the engine."),
}
_FACTORS = tuple(PARTS)[:6]


@guarded
class Contributions(Tabular):
    """Parts of a difference of torque against speed, as `contributions` returns them.

    Attributes
    ----------
    rpm : ndarray, (n,)
        Speeds that both curves hold [rev/min].
    parts : dict of ndarray, each (n,)
        Parts of the difference [N m] by the names of `PARTS`; also `found["friction"]`.
    names : (str, str)
        Of reference and variant.

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> settings = ws.Settings(cell_length=0.05, tolerance=0.05)
    >>> single = study.engine.replace(firing_order=(1,))
    >>> short, long = (ws.Exhaust(primary=ws.Pipe(length, 0.04), merge=None)
    ...                for length in (0.5, 0.9))
    >>> a, b = (ws.speed_sweep(single, exhaust, [4500], settings=settings, progress=False)
    ...         for exhaust in (short, long))
    >>> found = ws.contributions(a, b)
    >>> found.names
    ('A', 'B')
    >>> bool(abs(sum(found.parts.values()) - (b.torque - a.torque))[0] < 1e-9)
    True
    >>> print(found.table().splitlines()[0])
    part of the difference [N m] at   4500
    >>> ax = found.plot()
    """

    _index = "rpm"

    def __init__(
        self, rpm: np.ndarray, parts: dict[str, np.ndarray], names: tuple[str, str]
    ) -> None:
        self.rpm, self.parts, self.names = rpm, parts, names

    def __getitem__(self, part: str) -> np.ndarray:
        """A part of the difference [N m], (n,)."""
        if part not in self.parts:
            raise InputError(f"Contributions: {part!r} must be one of {', '.join(self.parts)}.")
        return self.parts[part]

    @property
    def labels(self) -> dict[str, str]:
        """Words for the parts, by their names."""
        return {name: PARTS[name].label for name in self.parts}

    @property
    def total(self) -> np.ndarray:
        """The whole difference of torque, b - a [N m], (n,): the sum of all parts."""
        return np.sum(list(self.parts.values()), axis=0)

    def __repr__(self) -> str:
        b, a = self.names[1], self.names[0]
        return f"<Contributions: {b!r} against {a!r}, {self.rpm.size} speeds>"

    def _columns(self):
        yield Column("rpm", "rev/min", self.rpm)
        for name, values in self.parts.items():
            yield Column(name, "N m", values)
        yield Column("torque difference", "N m", self.total)

    def _meanings(self):
        yield f"{self.names[1]} against {self.names[0]}: parts of the difference of torque."
        for name, part in PARTS.items():
            yield f"{name} [N m]: {part.meaning}"

    def _rows(self):
        head = ["part of the difference [N m] at", *(f"{rpm:g}" for rpm in self.rpm)]
        body = [[word, *(f"{value:+.2f}" for value in values)]
                for word, values in zip(self.labels.values(), self.parts.values(), strict=True)]
        return [head, *body, ["torque", *(f"{value:+.2f}" for value in self.total)]]

    def table(self) -> str:
        """Text table: a line for each part, a column for each speed [rev/min], in N m."""
        return rows_text([[*row, ""] for row in self._rows()])

    def _sheet(self):
        return Sheet(self._rows(), f"{self.names[1]} against {self.names[0]}")

    def plot(self, ax: "Axes | None" = None, **bar_kws: Any) -> "Axes":
        """Draw the parts as stacked bars over speed and their sum as a line.

        Parameters
        ----------
        ax : matplotlib Axes or None
            None makes a new figure.
        **bar_kws
            For all bars.

        Returns
        -------
        matplotlib Axes
        """
        from wavesim.show import plots

        return plots.plot_contributions(self, ax, **bar_kws)


@guarded
def contributions(a: Sweep, b: Sweep) -> Contributions:
    """Split the difference of torque between two computed curves into its causes.

    Parameters
    ----------
    a, b : Sweep
        Reference and variant; every difference is b - a.

    Returns
    -------
    Contributions
        At the speeds that both hold.  The parts add up to the whole difference to round-off; with
        a and b exchanged only their signs change.

    Raises
    ------
    InputError
        If a or b is no Sweep, if they share no speed, or if a cylinder burned nothing: work
        without heat has no such factors.

    Notes
    -----
    The module's text gives the algebra.  A part is a term of an account, not an experiment: a
    change of exhaust that lets more residual gas stay takes from `fresh_share`, and the cooler
    flame that follows gives back a little in `wall_heat`.

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> engine, exhaust = study.engine, study.exhausts[study.base]
    >>> settings = ws.Settings(cell_length=0.05, tolerance=0.02)
    >>> a = ws.Sweep([ws.run_point(engine, exhaust, 4000.0, settings=settings)])
    >>> rough = engine.replace(friction=engine.friction.replace(constant=8e4))
    >>> b = ws.Sweep([ws.run_point(rough, exhaust, 4000.0, settings=settings)])
    >>> found = ws.contributions(a, b)
    >>> bool(abs(found.total - (b.torque - a.torque))[0] < 1e-9)
    True
    >>> bool(abs(found["friction"] - found.total)[0] < 1e-9)
    True
    """
    for name, curve in (("a", a), ("b", b)):
        check_kind("contributions", name, curve, Sweep)
    speeds = np.intersect1d(a.rpm, b.rpm)
    if not speeds.size:
        raise InputError("contributions: a and b must share a speed.")
    found = [_split(a[rpm], b[rpm]) for rpm in speeds]
    parts = {name: np.array([one[name] for one in found]) for name in PARTS}
    names = (a.name or "A", b.name or "B")
    return Contributions(speeds, parts, names)


def _split(a, b):
    """Parts of the difference of torque between two points [N m]."""
    before, after = _factors(a), _factors(b)  # first, for they look whether all is there
    work = [_gross_work(point) for point in (a, b)]
    mean = logarithmic_mean(*work) / (4.0 * pi)
    parts = {name: mean * np.log(after[name] / before[name]) for name in _FACTORS}
    for name, quantity in (("exhaust_stroke", "exhaust"), ("recompression", "recompression"),
                           ("intake_stroke", "intake")):
        lost = [point.cylinders[f"pumping_{quantity}"].sum() for point in (a, b)]
        parts[name] = (lost[0] - lost[1]) / (4.0 * pi)
    lost = [point.values["fmep"] * point.engine.displacement for point in (a, b)]
    return parts | {"friction": (lost[0] - lost[1]) / (4.0 * pi)}


def _gross_work(point):
    """Work of the gas in compression and expansion of all cylinders [J]."""
    return point.cylinders["work_expansion"].sum() + point.cylinders["work_compression"].sum()


def _factors(point):
    """Factors of the gross work by the names of `PARTS`."""
    own = {name: values.sum() for name, values in point.cylinders.items()}
    if "released_heat" not in own:
        raise InputError(
            f"contributions: the point at {point.rpm:g} rev/min has no amounts by cylinder."
        )
    released, work = own["released_heat"], _gross_work(point)
    kept = released - own["wall_heat"]
    if min(released, kept, work, own["trapped_fresh"]) <= 0.0:
        raise InputError(
            f"contributions: at {point.rpm:g} rev/min the engine burned too little to give gross "
            f"work ({work:.3g} J a cycle), it must give more than 0 J."
        )
    to_give = point.gas.heat_per_fresh
    return {
        "trapped_mass": own["trapped_mass"],
        "fresh_share": own["trapped_fresh"] / own["trapped_mass"],
        "mixture": to_give,
        "heat_release": released / (own["trapped_fresh"] * to_give),
        "wall_heat": kept / released,
        "conversion": work / kept,
    }


def logarithmic_mean(a: float, b: float) -> float:
    """(b - a)/ln(b/a), and a where the two are equal; both above 0.

    Examples
    --------
    >>> round(logarithmic_mean(1.0, 2.0), 6), logarithmic_mean(3.0, 3.0)
    (1.442695, 3.0)
    """
    turn = float(np.log(b / a))
    return a if turn == 0.0 else a * float(np.expm1(turn)) / turn
