"""From a checked network to the flat arrays of the kernels: the only door between the two.

Names stay on this side: a `Model` keeps, beside the arrays, which duct, end, store and cylinder
each row belongs to.

Little of a model depends on the speed.  So a `Blueprint` is made first, without one, and hands out
a model for any speed in a fraction of the time.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from math import ceil, pi, sqrt

import numpy as np

from wavesim.arrays.mesh import ducts_beyond_valves, make_mesh
from wavesim.constants import (
    FLANGED_END,
    HOLE_END,
    UNFLANGED_END,
)
from wavesim.descriptions.nodes import (
    AnechoicEnd,
    AreaStep,
    Carburettor,
    ClosedEnd,
    Junction,
    OpenEnd,
    Orifice,
    Perforate,
    Resistance,
    Throttle,
    ValvePort,
    Volume,
)
from wavesim.descriptions.valves import SEAT_LIFT, effective_area, seat_events
from wavesim.descriptions.weather import as_ambient, moist_air
from wavesim.errors import InputError, check_kind, shown
from wavesim.gas.fuels import DRY_AIR
from wavesim.gas.models import PerfectGas
from wavesim.kernels import flat as f
from wavesim.kernels.cylinder import volume as cylinder_volume
from wavesim.kernels.nodes import N_FACE_OUT, N_INNER

VALVE_STEP_DEG = 0.5
SLICE_DEG = 12.0  # longest slice of the cycle in which the number of steps is planned
DEAD_CENTRES = (0.0, 180.0, 360.0, 540.0)
GRID = 6  # decimals of a crank angle [deg] in the kernels
#: Radiation load of an open end, Z / (rho c) = s (l + b s) / (1 + g s + d s^2) with s = i k a, as
#: (l, b, g, d).  l: acoustic length over radius, Levine and Schwinger (1948) unflanged, Nomura et
#: al. (1960) flanged (from memory).  g makes Re(Z) = (k a)^2/4 or (k a)^2/2 at low frequency, as
#: published.  b and d fit the whole curve up to ka = 1.5: Levine and Schwinger by quadrature, and
#: Norris and Sheng (1989) flanged (from memory); |R| is met within 1.3 %.
RADIATION = {
    "unflanged": (UNFLANGED_END, 0.0219, (0.25 + 0.0219) / UNFLANGED_END, 0.0876),
    "flanged": (FLANGED_END, 0.1041, (0.5 + 0.1041) / FLANGED_END, 0.1608),
}
NO_LOSS_LAW = -1.0  # in place of a loss coefficient: the throat and its jet tell the loss
GAS_CONDUCTIVITY = 0.05  # [W/m/K] hot gas between fibres, about 700 K
#: What fills a store or duct at first: (fresh, burned).
FILL = {"air": (0.0, 0.0), "fresh": (1.0, 0.0), "burned": (0.0, 1.0)}
BURNED_START = 900.0  # [K] exhaust gas before the first cycle


@dataclass
class Model:
    """A compiled network: arrays for the kernels and the names of their rows.

    Attributes
    ----------
    net, state, work, record : tuples of arrays
        See `wavesim.kernels.flat`.
    inner, face : ndarray
        Scratch of the nodes, (n_end, N_INNER) and (n_end, N_FACE_OUT).
    ducts : dict
        (first cell, one past the last) by duct name.
    ends : dict
        Row of each duct end by (duct name, side).
    stores : dict
        Row by node name; cylinders are "cylinder 1", ...
    valves : dict
        By side the rows of the ends with its valves, by node name and in order of the cylinders.
    ambient : Ambient
        The weather, which stands in `network` wherever it stated none.
    dx : dict
        Cell length [m] by duct name.
    alike : int
        How often the pattern of slices repeats in a cycle: once for every firing, if even.
    packings : list
        Fibres whose temperature is solved, see `wavesim.march.walltemp`.
    """

    network: object
    gas: object
    settings: object
    engine: object
    net: f.Net
    state: f.State
    work: f.Work
    record: f.Record
    inner: np.ndarray
    face: np.ndarray
    ambient: object
    ducts: dict = field(default_factory=dict)
    ends: dict = field(default_factory=dict)
    stores: dict = field(default_factory=dict)
    valves: dict = field(default_factory=dict)
    dx: dict = field(default_factory=dict)
    alike: int = 1
    packings: list = field(default_factory=list)

    def locate(self, cell):
        """Duct name and position [m] of a cell; a ghost belongs to the nearest duct."""
        near = {name: max(lo - cell, cell - hi + 1, 0) for name, (lo, hi) in self.ducts.items()}
        name = min(near, key=near.get)
        lo, hi = self.ducts[name]
        return name, (min(max(cell, lo), hi - 1) - lo + 0.5) * self.dx[name]

    def centres(self, duct):
        """Cell centres [m] of a duct, (n_cell,)."""
        lo, hi = self.ducts[duct]
        return (np.arange(hi - lo) + 0.5) * self.dx[duct]


#: Fields of `Net` that differ from speed to speed, and those that a run may change: every model has
#: its own.  All others are the same arrays in all models of a Blueprint; nobody may write to them.
BY_SPEED = ("cyl_par", "slice_end", "options")
BY_RUN = ("gas_R", "gas_coef", "cells", "cyl_par")


class Blueprint:
    """A network compiled for no speed yet: what the points of one design share.

    Parameters
    ----------
    still : Model
        At no speed, filled with gas and without samples.  It is never marched nor changed.
    """

    def __init__(self, still):
        self._still = still

    def at(self, rpm=None, samples=0):
        """The model at a speed.

        Parameters
        ----------
        rpm : float or None
            Engine speed [rev/min]; None: no crank turns.
        samples : int
            Number of recorded samples.

        Returns
        -------
        Model
            It owns what a run changes, state, scratch, record and the fields of `Net` in `BY_SPEED`
            and `BY_RUN`; the other arrays of `Net` are those of all models of this Blueprint.
        """
        still = self._still
        own = {name: getattr(still.net, name).copy() for name in {*BY_SPEED, *BY_RUN}}
        options, cylinders = own["options"], own["cyl_par"]
        options[f.OMEGA_DEG] = 6.0 * (rpm or 0.0)
        if cylinders.size:
            start, duration = still.engine.combustion.start_and_duration(rpm)
            cylinders[:, f.SOC], cylinders[:, f.DURATION] = np.round(start, GRID), duration
        if rpm:
            own["slice_end"] = _slice_ends(cylinders) / options[f.OMEGA_DEG]
        net = still.net._replace(**own)
        plan = np.zeros((net.slice_end.size, f.N_PLAN))
        return replace(
            still, net=net, state=_copied(still.state)._replace(plan=plan),
            work=_copied(still.work), record=_empty_record(net, samples),
            inner=still.inner.copy(), face=still.face.copy(), ducts=dict(still.ducts),
            ends=dict(still.ends), stores=dict(still.stores), dx=dict(still.dx), packings=[],
            alike=_repeats(net.slice_end * options[f.OMEGA_DEG], len(cylinders)),
        )


def _copied(arrays):
    return type(arrays)(*(array.copy() for array in arrays))


class _Builder:
    """Lists that grow while the nodes are visited."""

    def __init__(self, network, engine, seams):
        self.network, self.engine = network, engine
        self.ends = {}
        sewn = {(name, "end") for name in seams} | {(name, "start") for name in seams.values()}
        for duct in network.ducts:
            for side in ("start", "end"):
                if (duct, side) not in sewn:
                    self.ends[duct, side] = len(self.ends)
        n = len(self.ends)
        self.kind = np.full(n, f.CLOSED)
        self.store = np.full(n, -1)
        self.valve = np.full(n, -1)
        self.par = np.zeros((n, f.N_END))
        for (duct, side), k in self.ends.items():
            self.par[k, f.AREA] = 0.25 * pi * network.bore(duct, side) ** 2
            self.par[k, f.CD_OUT] = self.par[k, f.CD_IN] = 1.0
        for node in network.nodes.values():
            if isinstance(node, Perforate) and node.packing is not None:  # fibres fill its ends too
                rows = [self.ends[node.annulus, side] for side in ("start", "end")]
                self.par[rows, f.AREA] *= node.packing.gas_fraction
        self.pairs, self.pair_par, self.joints = [], [], []
        self.stores = {}  # name -> row
        self.store_kind, self.store_volume, self.store_start, self.store_cyl = [], [], [], []
        self.valves, self.areas = [], {}  # of every valve, and of one on each side
        self.perforates, self.hole_walls, self.hole_par = [], [], []

    def rows(self, node):
        return [self.ends[end] for end in node.ends]

    def add_store(self, name, kind, vol, start, cylinder=-1):
        """New store; `start` is (p, T, yf, yb) or None, to be taken from the neighbours."""
        self.stores[name] = len(self.store_kind)
        self.store_kind.append(kind)
        self.store_volume.append(vol)
        self.store_start.append(start)
        self.store_cyl.append(cylinder)
        return self.stores[name]

    # one method for each kind of node ----------------------------------------------------------

    def closed(self, name, node):
        self.kind[self.rows(node)] = f.CLOSED

    def anechoic(self, name, node):
        (k,) = self.rows(node)
        self.kind[k] = f.ANECHOIC
        self.par[k, [f.P_REF, f.T_REF]] = node.pressure, node.temperature

    def open(self, name, node):
        (k,) = self.rows(node)
        area = self.par[k, f.AREA]
        share = 1.0
        if node.diameter is not None:
            share = min(1.0, node.discharge_coefficient * 0.25 * pi * node.diameter**2 / area)
        elif node.radiation != "none":
            self.par[k, f.RAD_RADIUS] = sqrt(area / pi)
            self.par[k, f.RAD_MASS : f.RAD_LAG + 1] = RADIATION[node.radiation]
        self.kind[k] = f.PORT
        self.par[k, f.CD_OUT] = share
        self.par[k, f.CD_IN] = share / sqrt(1.0 + node.inflow_loss)
        fill = FILL["fresh"] if node.intake else FILL["air"]
        start = (node.ambient.pressure, node.ambient.temperature, *fill)
        self.store[k] = self.add_store(name, f.AMBIENT, 0.0, start)

    def volume(self, name, node):
        start = (node.pressure, node.temperature, *FILL[node.fill])
        row = self.add_store(name, f.VOLUME, node.volume, start)
        for k, coefficient in zip(self.rows(node), node.coefficients, strict=True):
            self.kind[k] = f.PORT
            self.store[k] = row
            self.par[k, [f.CD_OUT, f.CD_IN]] = min(1.0, coefficient)

    def junction(self, name, node):
        rows = self.rows(node)
        if node.model == "pressure":
            self.kind[rows] = f.BRANCH
            self.joints.append(rows)
            return
        bores = [self.network.bore(*end) for end in node.ends]
        row = self.add_store(name, f.CELL, node.gas_volume(bores), None)
        self.kind[rows] = f.PORT
        self.store[rows] = row
        self.par[rows, f.DIR_X : f.DIR_Z + 1] = node.unit_vectors

    def pair(self, node, throats, losses=(NO_LOSS_LAW, NO_LOSS_LAW)):
        self.kind[self.rows(node)] = f.PAIR
        self.pairs.append(self.rows(node))
        self.pair_par.append((*throats, *losses))

    def step(self, name, node):
        a, b = self.par[self.rows(node), f.AREA]
        small, large = min(a, b), max(a, b)
        loss = node.contraction_loss(small / large)
        losses = (loss if a > b else NO_LOSS_LAW, loss if b > a else NO_LOSS_LAW)
        self.pair(node, (small, small), losses)

    def orifice(self, name, node):
        hole = 0.25 * pi * node.diameter**2
        self.pair(node, tuple(hole * coefficient for coefficient in node.coefficients))

    def throttle(self, name, node):
        self.pair(node, (node.effective_area, node.effective_area))

    def carburettor(self, name, node):
        areas = self.par[self.rows(node), f.AREA]
        self.pair(node, tuple(node.throat(area) for area in areas[::-1]))

    def resistance(self, name, node):
        areas = self.par[self.rows(node), f.AREA]
        losses = tuple(node.rating.loss_coefficient(area) for area in areas[::-1])
        self.pair(node, (min(areas), min(areas)), losses)

    def perforate(self, name, node):
        self.perforates.append(node)

    def valve_port(self, name, node):
        (k,) = self.rows(node)
        if self.engine is None:
            raise InputError(f"Network: node {name!r} needs an engine with its cylinders.")
        store = f"cylinder {node.cylinder}"
        if store not in self.stores:
            self.add_store(store, f.CYLINDER, 0.0, None, node.cylinder - 1)
        self.kind[k] = f.PORT
        self.store[k] = self.stores[store]
        self.valve[k] = len(self.valves)
        if node.side not in self.areas:
            valve = getattr(self.engine, f"{node.side}_valve")
            self.areas[node.side] = _valve_areas(valve, node.side)
        forward, reverse = self.areas[node.side]
        self.valves.append((forward, reverse) if node.side == "intake" else (reverse, forward))


_HANDLERS = {
    ClosedEnd: _Builder.closed,
    AnechoicEnd: _Builder.anechoic,
    OpenEnd: _Builder.open,
    Volume: _Builder.volume,
    Junction: _Builder.junction,
    AreaStep: _Builder.step,
    Orifice: _Builder.orifice,
    Throttle: _Builder.throttle,
    Carburettor: _Builder.carburettor,
    Resistance: _Builder.resistance,
    Perforate: _Builder.perforate,
    ValvePort: _Builder.valve_port,
}


def _drill(build, mesh):
    """Holes between the ducts of every perforated wall; packings narrow and slow the annulus."""
    for node in build.perforates:
        (lo, hi), (lo2, hi2) = mesh.ducts[node.core], mesh.ducts[node.annulus]
        bore = np.sqrt(4.0 / pi * mesh.cells[f.VOL, lo:hi] / mesh.dx[node.core])
        build.hole_walls.append((len(build.hole_par), hi - lo, lo, lo2))
        row = np.zeros((hi - lo, f.N_HOLE))
        row[:, f.HOLE_AREA] = node.hole_area(bore) * mesh.dx[node.core]
        row[:, f.HOLE_LENGTH] = node.wall_thickness + HOLE_END * node.hole_diameter
        row[:, f.HOLE_LOSS] = (1.0 - node.porosity**2) / (2.0 * node.discharge_coefficient**2)
        if node.packing is not None:
            row[:, f.HOLE_BACKING] = 0.5 * HOLE_END * node.hole_diameter * node.packing.resistivity
            _pack(node.packing, row, mesh.cells, mesh.area, slice(lo2, hi2))
        build.hole_par += list(row)


def _pack(packing, holes, cells, area, inside):
    """Fibres in an annulus: less gas, resistance to flow, heat exchange; they shield the case."""
    share = packing.gas_fraction
    cells[f.VOL, inside] *= share
    cells[f.INV_VOL, inside] /= share
    area[inside.start : inside.stop + 1] *= share
    cells[f.HEAT, inside] = 0.0
    holes[:, f.RESIST] = share * packing.resistivity
    # fibres per volume of gas times Nu = 1 around each: 4 k (1 - share) / (share d^2)
    diameter = packing.fibre_diameter or packing.fibre.diameter
    holes[:, f.FIBRE] = 4.0 * GAS_CONDUCTIVITY * (1.0 - share) / (share * diameter**2)


@lru_cache(maxsize=32)  # both meshes and most designs of a search have the same valves
def _valve_areas(valve, side):
    """Effective areas (forward, reverse) over one cycle of a cylinder's own angle; not to be
    written to.
    """
    theta = np.arange(0.0, 720.0 + 0.5 * VALVE_STEP_DEG, VALVE_STEP_DEG)
    return effective_area(valve, side, theta)


def _cylinder_rows(engine, gas, count):
    """`cyl_par` of the first cylinders; their burn is left to the speed."""
    rows = np.zeros((count, f.N_CYL))
    opens, _ = seat_events(engine.exhaust_valve, "exhaust")
    # What is trapped counts when nothing can leave any more, not at the lift of a timing card.
    _, intake_closes = seat_events(engine.intake_valve, "intake", SEAT_LIFT)
    heat = engine.heat
    values = {
        f.BORE: engine.bore,
        f.STROKE: engine.stroke,
        f.ROD: engine.rod,
        f.PIN: engine.pin_offset,
        f.CLEARANCE: engine.clearance_volume,
        f.PHASE: engine.firing_angles_deg[:count],
        f.WIEBE_M: engine.combustion.shape,
        f.Q_FRESH: gas.heat_per_fresh * engine.combustion.efficiency,
        f.HEAD_AREA: heat.head_area_factor * engine.bore_area,
        f.PISTON_AREA: heat.piston_area_factor * engine.bore_area,
        f.T_HEAD: heat.head_temperature,
        f.T_PISTON: heat.piston_temperature,
        f.T_LINER: heat.liner_temperature,
        f.HEAT_MODEL_FACTOR: heat.factor,
        f.EVO: opens % 720.0,
        f.IVC: intake_closes % 720.0,
    }
    for column, value in values.items():
        rows[:, column] = value
    angles = [f.PHASE, f.EVO, f.IVC]
    rows[:, angles] = np.round(rows[:, angles], GRID)
    return rows


def _slice_ends(rows):
    """Crank angles [deg] at which the slices of a cycle end.

    Among them are all angles at which something switches in a cylinder: its dead centres, the
    start of combustion, and where the heat transfer of Woschni changes.
    """
    marks = {720.0}
    for cyl in rows:
        for own in (*DEAD_CENTRES, cyl[f.SOC], cyl[f.EVO], cyl[f.IVC]):
            marks.add(round((cyl[f.PHASE] + own) % 720.0, GRID))
    ends, before = [], 0.0
    for mark in sorted(marks - {0.0}):
        count = ceil((mark - before) / SLICE_DEG - 1e-6)
        step = (mark - before) / count
        ends += [before + i * step for i in range(1, count)] + [mark]
        before = mark
    return np.round(ends, GRID)


def _repeats(ends, cylinders):
    """How often the pattern of slices repeats in a cycle, as often as a cylinder fires at most."""
    for count in range(cylinders, 1, -1):
        if ends.size % count == 0:
            rows = ends.reshape(count, -1)
            shifts = 720.0 / count * np.arange(count)[:, None]
            if (np.abs(rows - shifts - rows[0]) <= 2.0 / f.PER_DEGREE).all():
                return count
    return 1


def compile_network(
    network, gas, settings, *, engine=None, rpm=None, samples=0, initial=None, join=True,
    ambient=None,
):
    """Flat arrays of a network at one speed: `blueprint_of` it, and `Blueprint.at` that speed.

    Parameters
    ----------
    network, gas, settings, engine, initial, join, ambient
        As for `blueprint_of`.
    rpm, samples
        As for `Blueprint.at`.

    Returns
    -------
    Model

    Raises
    ------
    InputError
        As `blueprint_of` does.
    """
    drawn = blueprint_of(
        network, gas, settings, engine=engine, initial=initial, join=join, ambient=ambient
    )
    return drawn.at(rpm, samples)


def blueprint_of(
    network, gas, settings, *, engine=None, initial=None, join=True, ambient=None
):
    """A network compiled for no speed yet.

    Parameters
    ----------
    network : Network
        Checked here once more.
    gas : PerfectGas or EngineGas
    settings : Settings
    engine : Engine or None
        Needed if the network has valve ports.
    initial : mapping or None
        State at the start by duct name: (p [Pa], u [m/s], T [K], fill) with fill "air", "fresh",
        "burned" or a pair (yf, yb), or a function of x [m] that returns such a tuple of arrays.
        Ducts left out hold still gas: fresh charge at intake conditions, burned gas at 900 K on
        the exhaust side of the valves, air otherwise.
    join : bool
        Lay ducts of equal bore side by side without a node; False keeps the two ends of each.
    ambient : Ambient or None
        The weather, for every place that states no air; None: an Ambient().

    Returns
    -------
    Blueprint

    Raises
    ------
    InputError
        If the network has faults, `initial` names an unknown duct, valves lack an engine, the
        ends of an engine open to different pressures, or humid air meets a PerfectGas.
    """
    ambient = as_ambient(ambient)
    network = network.validate().in_weather(
        ambient, unequal_pressures=engine is None or settings.unequal_pressures
    )
    return draw(network, gas, settings, ambient, engine=engine, initial=initial, join=join)


def draw(network, gas, settings, ambient, *, engine=None, initial=None, join=True):
    """`blueprint_of` a network without faults that the weather has been put into."""
    gas = _in_humid_air(gas, network, ambient)
    _check_scheme(network, gas, settings.scheme)
    check_kind("compile_network", "initial", initial, Mapping, optional=True)
    unknown = set(initial or {}) - set(network.ducts)
    if unknown:
        raise InputError(
            f"initial: {shown(sorted(map(str, unknown)))} are not ducts of the network."
        )
    mesh = make_mesh(network, settings, join)
    build = _Builder(network, engine, mesh.seams)
    for name, node in network.nodes.items():
        if all(end in build.ends for end in node.ends):  # else a seam, which needs no node
            _HANDLERS[type(node)](build, name, node)
    _drill(build, mesh)
    net = _net(build, mesh, gas, settings)
    model = Model(
        network=network, gas=gas, settings=settings, engine=engine, net=net,
        state=_empty_state(net), work=_empty_work(net), record=_empty_record(net, 0),
        inner=np.zeros((len(build.ends), N_INNER)), face=np.zeros((len(build.ends), N_FACE_OUT)),
        ambient=ambient, ducts=mesh.ducts, ends=build.ends, stores=build.stores, dx=mesh.dx,
        valves={side: _valves_of(network, side, build.ends) for side in ("intake", "exhaust")},
    )
    _fill(model, build, initial or {})
    net.options[f.MIXED] = _mixed(model)
    return Blueprint(model)


def _valves_of(network, side, ends):
    """Rows of the valves of one side by node name, in order of their cylinders."""
    ports = [(name, node) for name, node in network.nodes.items()
             if isinstance(node, ValvePort) and node.side == side]
    ports.sort(key=lambda port: port[1].cylinder)
    return {name: ends[node.ends[0]] for name, node in ports}


def _in_humid_air(gas, network, ambient):
    """The gas with the humidity of the air that is drawn in; one whose air is stated keeps it."""
    outer = [node for node in network.nodes.values() if node.beyond is not None]
    inlets = [node for node in outer if node.side == "intake"] or outer
    shares = {node.beyond.vapour_share for node in inlets} - {None} or {ambient.vapour_share}
    low, high = min(shares), max(shares)
    if high == 0.0:
        return gas
    if isinstance(gas, PerfectGas):
        raise InputError(
            f"Ambient: relative_humidity gives the air {100.0 * high:.2g} % of vapour, must be 0 "
            "with a PerfectGas, which is the same in any air; hand in an EngineGas."
        )
    if high - low > 1e-6:
        raise InputError(
            f"Ambient: the inlets draw air with {100.0 * low:.3g} and {100.0 * high:.3g} % of "
            "vapour, must be equal; state the weather once as `ambient`."
        )
    return gas.replace(air=moist_air(high)) if gas.air == DRY_AIR else gas


def _check_scheme(network, gas, scheme):
    """Refuse what the method of characteristics cannot march."""
    if scheme != "characteristics":
        return
    if not isinstance(gas, PerfectGas):
        raise InputError(
            f"Settings: scheme = {scheme!r} needs a gas of constant heat capacities; hand in "
            "gas=PerfectGas(...) or choose 'finite volume'."
        )
    for name, node in network.nodes.items():
        if isinstance(node, Perforate):
            raise InputError(
                f"Settings: scheme = {scheme!r} does not know the perforated wall {name!r}; "
                "choose 'finite volume'."
            )


def use_gas(model, gas):
    """Give a model another engine gas, of another mixture strength; mass and energy stay."""
    table = gas.table()
    model.gas = gas
    model.net.gas_R[:] = table.R
    model.net.gas_coef[:] = table.coef
    if model.engine is not None:
        model.net.cyl_par[:, f.Q_FRESH] = gas.heat_per_fresh * model.engine.combustion.efficiency
    for row in np.flatnonzero(model.net.store_int[:, f.STORE_KIND] == f.AMBIENT):
        now = model.work.store[row]
        _show_ambient(model, row, now[f.NP], now[f.NT], now[f.NYF], now[f.NYB])


def _net(build, mesh, gas, settings):
    """The constant arrays, but for what the speed decides."""
    table = gas.table()
    start = np.array([side == "start" for _, side in build.ends])
    cell = np.array([
        mesh.ducts[duct][0] if side == "start" else mesh.ducts[duct][1] - 1
        for duct, side in build.ends
    ])
    build.par[:, f.SIGN] = np.where(start, -1.0, 1.0)
    by_store = [np.flatnonzero(build.store == s) for s in range(len(build.store_kind))]
    listed = [*by_store, *build.joints]
    stops = np.cumsum([0, *map(len, listed)])
    ranges = _int([stops[:-1], stops[1:]]).T.copy()
    options = np.zeros(f.N_OPTION)
    options[f.CFL] = settings.cfl
    options[f.FRICTION_ON] = settings.friction
    options[f.HEAT_ON] = settings.wall_heat
    cylinders = sum(kind == f.CYLINDER for kind in build.store_kind)
    return f.Net(
        gas_kind=int(table.kind),
        gas_R=_float(table.R),
        gas_coef=_float(table.coef),
        cells=mesh.cells,
        area=mesh.area,
        duct=_int(list(mesh.ducts.values())).reshape(-1, 2),
        taper=_int(mesh.tapers if settings.scheme == "finite volume" else []),
        end_int=_int(
            [build.kind, cell, np.where(start, cell, cell + 1), build.store, build.valve]
        ).T.copy(),
        end_par=build.par,
        pair=_int(build.pairs).reshape(-1, 2),
        pair_par=_float(build.pair_par).reshape(-1, f.N_PAIR),
        joint=ranges[len(by_store):],
        listed=_int(np.concatenate([*listed, []])),
        store_int=_int([
            [kind, cyl, *ends] for kind, cyl, ends in
            zip(build.store_kind, build.store_cyl, ranges[:len(by_store)], strict=True)
        ]).reshape(-1, f.N_STORE_INT),
        store_volume=_float(build.store_volume),
        hole_wall=_int(build.hole_walls).reshape(-1, f.N_HOLE_WALL),
        hole_par=_float(np.reshape(build.hole_par, (-1, f.N_HOLE)).T),
        cyl_par=_cylinder_rows(build.engine, gas, cylinders) if cylinders
        else np.zeros((0, f.N_CYL)),
        valve_area=_float(build.valves).reshape(len(build.valves), 2, -1)
        if build.valves
        else np.zeros((0, 2, 2)),
        slice_end=np.zeros(0),
        options=options,
    )


def _float(values):
    return np.ascontiguousarray(values, dtype=np.float64)


def _int(values):
    return np.ascontiguousarray(values, dtype=np.int64)


def _empty_state(net):
    n, n_end, n_store = net.area.size - 1, net.end_int.shape[0], net.store_int.shape[0]
    return f.State(
        U=np.zeros((f.N_CONSERVED, n)),
        T=np.zeros(n),
        end=np.zeros((n_end, f.N_END_STATE)),
        store=np.zeros((n_store, f.N_STORE)),
        cyl=np.zeros((net.cyl_par.shape[0], f.N_CYL_STATE)),
        hole_u=np.zeros(net.hole_par.shape[1]),
        clock=np.zeros(f.N_CLOCK),
        plan=np.zeros((net.slice_end.size, f.N_PLAN)),
    )


def _empty_work(net):
    n = net.area.size - 1
    W, Q = np.zeros((f.N_PRIMITIVE, n)), np.ones((f.N_FACE, n))
    Q[[f.HALF_F, f.HALF_B, f.PER_MASS]] = 0.0
    return f.Work(
        W=W,
        Q=Q,
        F=np.zeros((f.N_FLUX, n + 1)),
        store=np.ones((net.store_int.shape[0], f.N_STORE_NOW)),
        hole=np.zeros((f.N_PASS, net.hole_par.shape[1])),
    )


def _empty_record(net, samples):
    n, n_end, n_store = net.area.size - 1, net.end_int.shape[0], net.store_int.shape[0]
    return f.Record(
        end_sum=np.zeros((n_end, f.N_END_SUM)),
        cyl_sum=np.zeros((net.cyl_par.shape[0], f.N_CYL_SUM)),
        wall=np.zeros((2, n)),
        ways=np.zeros((f.N_WAY, net.hole_par.shape[1])),
        field=np.zeros((samples, f.N_FIELD, n), dtype=np.float32),
        store=np.zeros((samples, n_store, f.N_STORE_SAMPLE)),
        end=np.zeros((samples, n_end, f.N_END_SAMPLE)),
        interval=np.zeros(2),
    )


# --- state at the start ---------------------------------------------------------------------------


def _fill(model, build, initial):
    """Gas in ducts and stores before the first step."""
    usual = _usual_fill(model.network, model.ambient)
    kinds = {start: _columns(model.gas, *start) for start in set(usual.values())}
    for name in model.ducts:
        given = name in initial
        _lay_gas(model, name, _given(model, name, initial[name]) if given else kinds[usual[name]])
    for first, count, _, annulus in model.net.hole_wall:
        if model.net.hole_par[f.FIBRE, first] > 0.0:
            fibres = slice(annulus, annulus + count)
            model.net.cells[f.WALL, fibres] = model.state.T[fibres]  # as warm as the gas between
    for row in build.stores.values():
        start = build.store_start[row]
        kind = build.store_kind[row]
        if kind == f.CYLINDER:
            _fill_cylinder(model, row, build.engine)
        elif kind == f.AMBIENT:
            _show_ambient(model, row, *start)
        else:
            fill_store(model, row, *(start or _neighbour(model, row)), build.store_volume[row])


def _mixed(model):
    """False if there is nothing but air, inside and outside: its parts need not be followed."""
    outside = model.net.store_int[:, f.STORE_KIND] == f.AMBIENT
    parts = (
        model.state.U[[f.Y1, f.Y2]], model.state.store[:, [f.SF, f.SB]],
        model.work.store[outside][:, [f.NYF, f.NYB]],
    )
    return not isinstance(model.gas, PerfectGas) or any(np.any(part) for part in parts)


def _usual_fill(network, ambient):
    """(p, u, T, fill) of every duct by the side of the valves on which it lies."""
    usual = dict.fromkeys(network.ducts, (ambient.pressure, 0.0, ambient.temperature, "air"))
    for side, fill, T in (("intake", "fresh", None), ("exhaust", "burned", BURNED_START)):
        reached, outside = ducts_beyond_valves(network, side)
        air = outside or ambient
        usual.update({name: (air.pressure, 0.0, T or air.temperature, fill) for name in reached})
    return usual


def _given(model, name, start):
    """`_columns` of the gas that `initial` puts into a duct."""
    lo, hi = model.ducts[name]
    values = start(model.centres(name)) if callable(start) else start
    try:
        p, u, T, fill = values
        mixture = FILL[fill] if isinstance(fill, str) else fill
        p, u, T, yf, yb = (
            np.broadcast_to(v, hi - lo).astype(float) for v in (p, u, T, *mixture)
        )
    except (KeyError, TypeError, ValueError, OverflowError) as error:
        raise InputError(
            f"initial: duct {name!r} = {shown(values)} must be (pressure [Pa], velocity [m/s], "
            f"temperature [K], fill), with numbers or an array of {hi - lo}."
        ) from error
    if not (np.all(p > 0) and np.all(T > 0) and np.all(np.isfinite(u))):
        raise InputError(f"initial: duct {name!r} needs p > 0 Pa, T > 0 K and finite u [m/s].")
    return _columns(model.gas, p, u, T, (yf, yb))


def _columns(gas, p, u, T, fill):
    """Rows of `State.U`, temperature, and what ends see of it; one column for a uniform gas."""
    yf, yb = FILL[fill] if isinstance(fill, str) else fill
    p, u, T, yf, yb = (np.atleast_1d(v).astype(float) for v in (p, u, T, yf, yb))
    rho = gas.density(p, T, yf, yb)
    U = np.empty((f.N_CONSERVED, rho.size))
    U[f.R], U[f.M], U[f.Y1], U[f.Y2] = rho, rho * u, rho * yf, rho * yb
    U[f.E] = rho * (gas.e(T, yf, yb) + 0.5 * u**2)
    return U, T, np.array([rho, u, p, yf, yb])


def _lay_gas(model, name, columns):
    """Fill the cells and ends of a duct."""
    U, T, seen = columns
    lo, hi = model.ducts[name]
    model.state.U[:, lo:hi] = U
    model.state.T[lo:hi] = T
    for side, i in (("start", 0), ("end", -1)):
        if (name, side) in model.ends:  # else a seam
            end = model.state.end[model.ends[name, side]]
            end[: f.ES_YB + 1] = seen[:, i]
            end[f.ES_AUX] = seen[f.ES_P, i]


def fill_store(model, row, p, T, yf, yb, vol):
    """Gas at rest in a store: pressure [Pa], temperature [K], mass fractions, volume [m3]."""
    gas, store = model.gas, model.state.store
    mass = vol * float(gas.density(p, T, yf, yb))
    store[row] = 0.0
    store[row, f.SM : f.SB + 1] = mass, mass * float(gas.e(T, yf, yb)), mass * yf, mass * yb
    model.state.store[row, f.ST] = T
    model.work.store[row, f.N_WIDTH] = vol ** (1.0 / 3.0)


def _neighbour(model, row):
    """(p, T, yf, yb) around a store: pressure, density and composition averaged by area."""
    net, gas = model.net, model.gas
    ends = net.listed[net.store_int[row, f.STORE_FIRST] : net.store_int[row, f.STORE_LAST]]
    cells = net.end_int[ends, f.END_CELL]
    r, _, _, y1, y2 = model.state.U[:, cells]
    p = r * gas.R(y1 / r, y2 / r) * model.state.T[cells]
    share = net.end_par[ends, f.AREA] / net.end_par[ends, f.AREA].sum()
    p, rho, y1, y2 = (float(share @ v) for v in (p, r, y1, y2))
    yf, yb = y1 / rho, y2 / rho
    return p, p / (rho * float(gas.R(yf, yb))), yf, yb


def _show_ambient(model, row, p, T, yf, yb):
    """Constant state that the ends of the surroundings see."""
    gas, now = model.gas, model.work.store[row]
    now[f.NP], now[f.NT], now[f.NYF], now[f.NYB] = p, T, yf, yb
    now[f.NGAMMA] = gas.gamma(T, yf, yb)
    now[f.NCP] = gas.cp(T, yf, yb)
    now[f.NR] = gas.R(yf, yb)
    now[f.NH] = gas.h(T, yf, yb)
    now[f.NVX : f.NVZ + 1] = 0.0
    now[f.NRHO] = gas.density(p, T, yf, yb)


def _fill_cylinder(model, row, engine):
    """Rough state at crank angle 0, by the stroke in which the cylinder is."""
    cyl = model.net.cyl_par[model.net.store_int[row, f.STORE_CYL]]
    own = model.state.cyl[model.net.store_int[row, f.STORE_CYL]]
    angle = -cyl[f.PHASE] % 720.0
    vol = cylinder_volume(cyl, 0.0)
    largest = engine.clearance_volume + engine.displacement / engine.cylinders
    air = model.network.air_outside("intake", model.ambient)
    p_air, T_air = air.pressure, air.temperature + 40.0
    squeeze = largest / vol
    stroke = int(angle // 180.0)
    p, T, fill = (
        (4.0 * p_air * squeeze**1.3, 1300.0 * squeeze**0.3, "burned"),
        (p_air, BURNED_START, "burned"),
        (p_air, T_air, "fresh"),
        (p_air * squeeze**1.35, T_air * squeeze**0.35, "fresh"),
    )[stroke]
    fill_store(model, row, p, T, *FILL[fill], vol)
    model.state.store[row, f.ST] = T
    model.work.store[row, f.N_ANGLE] = np.nan
    own[f.P_IVC], own[f.V_IVC], own[f.T_IVC] = p_air, largest, T_air
