"""What parts of an exhaust do: the same engine run with an echo or a source of waves taken away.

Four things can be taken away.

* ``tip``: the open ends of the exhaust send nothing back.
* ``silencers``: parts that are no tubes are replaced by plain pipes of their length and first bore.
* ``neighbours``: every cylinder has the whole exhaust for itself, the other valves shut.
* ``all``: the primaries, or what follows the ports, end in pipes without end; nothing comes back.

An end that sends nothing back is an endless pipe whose gas stands in a mean state: at rest, with
that invariant of Riemann, u - 2 c/(g - 1) along the way out, which the mean flow there brings back.
Its mean pressure is that outside, or in a pipe that of the cycle with the echo; its mean flow,
temperature and sound speed are its own, found by running `ROUNDS` times.  So only what varies is
swallowed.

The changes need not add up: waves that are taken away one by one have worked together, mean
pressures move with the flow, and a cylinder alone sends less gas through a collector.  What is left
of the whole is a line of its own.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from wavesim.arrays.mesh import ducts_beyond_valves
from wavesim.descriptions.network import Network
from wavesim.descriptions.nodes import (
    AnechoicEnd,
    ClosedEnd,
    OpenEnd,
    Perforate,
    ValvePort,
)
from wavesim.descriptions.pipes import Pipe, Tube
from wavesim.errors import InputError, check_choice, check_kind
from wavesim.fields.description import sequence
from wavesim.fields.tabular import Column, Sheet, Tabular
from wavesim.guard import guarded
from wavesim.march.run import run_network, run_point
from wavesim.results.points import Point, Sweep
from wavesim.show.quantities import QUANTITIES, display, rows_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes

FEATURES = ("tip", "silencers", "neighbours")
ALL = "all"
ROUNDS = 4  # runs until the mean state beyond an end is that of its own flow
REST = "rest"
#: What is followed.
QUANTITIES_OF = ("torque", "overlap_exhaust_pressure", "residual_fraction", "trapped_air")
LABELS = {
    "tip": "echo of the open ends", "silencers": "silencers instead of pipe",
    "neighbours": "pulses of the other cylinders", REST: "rest: merges, steps, mean flow",
    ALL: "all that comes back",
}


@guarded
@dataclass(frozen=True, eq=False)
class Attribution(Tabular):
    """What features of an exhaust do at each speed, as `attribution` returns it.

    Attributes
    ----------
    rpm : ndarray, (n,)
        [rev/min].
    features : tuple of str
    changes : dict of dict of ndarray
        By quantity and feature: with it less without it, SI units, (n,).  "all" is the whole, and
        "rest" what the features leave of it.
    without : dict of Sweep
        The runs, by feature and "all".

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> settings = ws.Settings(cell_length=0.05, tolerance=0.05)
    >>> single = study.engine.replace(firing_order=(1,))
    >>> header = ws.Exhaust(primary=ws.Pipe("700 mm", "40 mm"), merge=None)
    >>> point = ws.run_point(single, header, 4500.0, settings=settings)
    >>> found = ws.attribution(ws.Sweep([point]), ["tip"])
    >>> found.changes["torque"]["tip"].shape
    (1,)
    >>> print(found.table("torque").splitlines()[0])
         change of torque [N m] at  4500
    >>> ax = found.plot(quantity="torque")
    """

    rpm: np.ndarray
    features: tuple[str, ...]
    changes: Mapping[str, Mapping[str, np.ndarray]]
    without: Mapping[str, Sweep]

    _index = "rpm"

    def __repr__(self) -> str:
        return f"<Attribution: {', '.join(self.features)}, {self.rpm.size} speeds>"

    def _lines(self):
        return (*self.features, REST, ALL)

    def _columns(self):
        yield Column("rpm", "rev/min", self.rpm)
        for quantity, changes in self.changes.items():
            for line in self._lines():
                yield Column(f"{quantity} by {line}", QUANTITIES[quantity].unit, changes[line])

    def _rows(self, quantity):
        look = display(quantity)
        rows = [[f"change of {look.axis} at", *(f"{rpm:g}" for rpm in self.rpm)]]
        return rows + [
            [LABELS[line], *(look.text(value, "+") for value in self.changes[quantity][line])]
            for line in self._lines()
        ]

    def table(self, quantity: str = "torque") -> str:
        """Text table: a line for each feature, a column for each speed [rev/min].

        Parameters
        ----------
        quantity : {"torque", "overlap_exhaust_pressure", "residual_fraction", "trapped_air"}

        Returns
        -------
        str

        Raises
        ------
        InputError
            If the quantity is not followed.
        """
        check_choice("Attribution", "quantity", quantity, self.changes)
        return rows_text([[*row, ""] for row in self._rows(quantity)])

    def _sheet(self):
        return Sheet(self._rows("torque"), "with the feature less without it", [_MEANING])

    def plot(
        self, ax: "Axes | None" = None, quantity: str = "torque", **line_kws: Any
    ) -> "Axes":
        """Draw the changes against engine speed.

        Parameters
        ----------
        ax : matplotlib Axes or None
            None makes a new figure.
        quantity : str
            As for `table`.
        **line_kws
            For the lines.

        Returns
        -------
        matplotlib Axes

        Raises
        ------
        InputError
            If the quantity is not followed.
        """
        from wavesim.show import plots

        check_choice("Attribution", "quantity", quantity, self.changes)
        lines = {LABELS[line]: self.changes[quantity][line] for line in self._lines()}
        return plots.plot_changes(self.rpm, lines, quantity, ax, **line_kws)


_MEANING = ("Features were taken away one by one; what they did together, and what merges and "
            "steps do, stands in the rest.")


@guarded
def attribution(
    sweep: Sweep, features: Sequence[str] = FEATURES, *, progress: bool = False
) -> Attribution:
    """Run an engine again without an echo or a source, to see what each does.

    Parameters
    ----------
    sweep : Sweep
        Of an engine with an Exhaust, with traces.
    features : sequence of str
        Among "tip", "silencers" and "neighbours"; the text of the module says what is taken away.
    progress : bool
        True prints a line for each run.

    Returns
    -------
    Attribution

    Raises
    ------
    InputError
        If a feature is unknown, or the points have no traces or no Exhaust.

    Notes
    -----
    One run for each feature and speed and four for an end that is to send nothing back, each with
    the settings of its point.

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> settings = ws.Settings(cell_length=0.05, tolerance=0.02)
    >>> exhaust = study.exhausts["short collector"]
    >>> sweep = ws.Sweep([ws.run_point(study.engine, exhaust, 3500.0, settings=settings)])
    >>> found = ws.attribution(sweep, ["tip"])
    >>> bool(found.changes["torque"]["tip"][0] < -10.0)  # the echo of its mouth costs torque
    True
    """
    check_kind("attribution", "sweep", sweep, Sweep)
    features = tuple(check_choice("attribution", "features", one, FEATURES) for one in
                     sequence("attribution", "features", features, "names of features"))
    if not sweep.points:
        raise InputError("attribution: sweep holds no point, needs at least one.")
    without = {}
    for feature in (*features, ALL):
        points = []
        for point in sweep:
            if progress:
                print(f"{feature} at {point.rpm:g} rev/min")
            points.append(_run(point, feature))
        without[feature] = Sweep(points, name=f"without {feature}")
    changes = {
        quantity: {feature: sweep[quantity] - run[quantity] for feature, run in without.items()}
        for quantity in QUANTITIES_OF
    }
    for lines in changes.values():
        lines[REST] = lines[ALL] - sum((lines[one] for one in features), np.zeros(len(sweep)))
    return Attribution(sweep.rpm, features, changes, without)


def _run(point: Point, feature: str) -> Point:
    """The point once more without a feature."""
    if point.samples is None:
        raise InputError("attribution: the traces of the points were not kept.")
    common = {"settings": point.settings, "ambient": point.ambient, "gas": point.gas}
    if feature in ("tip", ALL):
        without = {"tip": _without_tip, ALL: _without_echo}[feature]
        flow = point
        for _ in range(ROUNDS):
            flow = run_network(point.engine, without(point, flow), point.rpm, **common)
        return flow
    if feature == "silencers":
        if point.exhaust is None:
            raise InputError("attribution: silencers are known of an Exhaust, not of a Network.")
        return run_point(point.engine, _plain(point.exhaust), point.rpm, **common)
    return run_network(point.engine, _alone(point), point.rpm, **common)


def _plain(exhaust):
    """The exhaust with plain pipes in the place of all that is no tube."""
    def line(parts):
        return tuple(
            part if isinstance(part, Tube) else Pipe(part.length, part.diameter)
            for part in parts if isinstance(part, Tube) or part.adds_length
        )

    names = ("collector", "pipe", "tailpipe", "secondary")
    changes = {name: line(getattr(exhaust, name)) for name in names if getattr(exhaust, name)}
    return exhaust.replace(**changes)


def _endless(point, flow, end, pressure=None):
    """End at which nothing varies that comes back.

    Beyond it stands a mean state: the pressure of a point, if none is given, and all else of the
    point `flow`.
    """
    duct, side = end.rpartition(".")[::2]
    x = 0.0 if side == "start" else point.samples.layout["ducts"][duct]["length"]
    p = point.trace("pressure", duct, x).mean() if pressure is None else pressure
    T, u, c, gamma = (flow.trace(name, duct, x).mean()
                      for name in ("temperature", "velocity", "sound_speed", "gamma"))
    out = -u if side == "start" else u
    ratio = 1.0 - 0.5 * (gamma - 1.0) * out / c  # of the sound speed at rest beyond
    return AnechoicEnd(
        end, pressure=p * ratio ** (2.0 * gamma / (gamma - 1.0)), temperature=T * ratio**2)


def _without_tip(point, flow):
    """The network whose open ends on the exhaust side send nothing back."""
    network = point.network
    for name, node in network.in_weather(point.ambient).nodes.items():
        if isinstance(node, OpenEnd) and not node.intake:
            end = _endless(point, flow, node.at, node.beyond.pressure)
            network = network.without_node(name).with_node(name, end)
    return network


def _without_echo(point, flow):
    """The network in which every primary, or port, ends in a pipe without end."""
    network = point.network
    reached, _ = ducts_beyond_valves(network.in_weather(point.ambient), "exhaust")
    kept, nodes = {}, {}
    at = {end: name for name, node in network.nodes.items() for end in node.ends}
    for name, node in network.nodes.items():
        if not (isinstance(node, ValvePort) and node.side == "exhaust"):
            continue
        nodes[name], (duct, side) = node, node.ends[0]
        while True:
            kept[duct] = network.ducts[duct]
            far = duct, "end" if side == "start" else "start"
            joint = network.nodes[at[far]]
            nexts = [end for end in joint.ends if end != far]
            if len(nexts) != 1 or isinstance(joint, OpenEnd):
                nodes[f"{name} endless"] = _endless(point, flow, ".".join(far))
                break
            nodes[at[far]] = joint
            duct, side = nexts[0]
    ducts = {name: duct for name, duct in network.ducts.items() if name not in reached}
    others = {name: node for name, node in network.nodes.items()
              if not any(duct in reached for duct in _ducts_of(node))}
    return Network(ducts | kept, others | nodes)


def _ducts_of(node):
    return [duct for duct, _ in node.ends] or [node.core, node.annulus]


def _alone(point):
    """The network with a copy of the exhaust side for every cylinder, its other valves shut."""
    network = point.network
    reached, _ = ducts_beyond_valves(network.in_weather(point.ambient), "exhaust")
    ducts = {name: duct for name, duct in network.ducts.items() if name not in reached}
    nodes = {name: node for name, node in network.nodes.items()
             if not any(duct in reached for duct in _ducts_of(node))}
    for own in range(1, point.engine.cylinders + 1):
        ducts |= {f"{name} of {own}": network.ducts[name] for name in reached}
        for name, node in network.nodes.items():
            if not any(duct in reached for duct in _ducts_of(node)):
                continue
            copy = _renamed(node, own)
            if isinstance(node, ValvePort):
                if node.cylinder == own:
                    nodes[name] = copy
                    continue
                copy = ClosedEnd(copy.at)
            nodes[f"{name} of {own}"] = copy
    return Network(ducts, nodes)


def _renamed(node, own):
    """A node at the copies of its ducts."""
    if isinstance(node, Perforate):
        return node.replace(core=f"{node.core} of {own}", annulus=f"{node.annulus} of {own}")
    for duct, side in node.ends:
        node = node.with_end(f"{duct}.{side}", f"{duct} of {own}.{side}")
    return node
