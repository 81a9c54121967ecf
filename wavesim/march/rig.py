"""An engine with what stands behind it, in one weather: made once, run at any speed.

Ducts and nodes, mesh, arrays, valve areas, the gas at the start and the first guess of the walls
do not depend on the speed.  A `Rig` makes them once, on the fine mesh and on the coarse one, and
hands out a model for any speed.  `rig_of` keeps the last few, so that the points of a sweep share
one whoever computes them, and in whatever order.
"""

from dataclasses import replace
from functools import cached_property, lru_cache

from wavesim.arrays.compile import draw
from wavesim.descriptions.exhaust import network_of
from wavesim.descriptions.weather import as_ambient
from wavesim.gas.models import EngineGas
from wavesim.march.burn import check_burn, take_burn
from wavesim.march.prolong import Lines, prolong
from wavesim.march.walltemp import copied, find_solved_walls, guess, lay_walls

KEPT = 8  # rigs; each holds about a megabyte


def rig_of(engine, system, settings, gas=None, ambient=None):
    """The Rig of these, kept from the last time or made now.

    Parameters
    ----------
    engine : Engine
    system : Exhaust or Network
        What stands behind the engine; a Network holds the intake too.
    settings : Settings
    gas : PerfectGas, EngineGas or None
        None: the engine's fuel at its mixture strength.
    ambient : Ambient or None
        The weather; None: an Ambient().

    Returns
    -------
    Rig

    Raises
    ------
    InputError
        If the parts do not fit or have faults.

    Examples
    --------
    All speeds of one design, each with arrays of its own for what a run changes:

    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> rig = rig_of(study.engine, study.exhausts["short collector"], ws.Settings())
    >>> models = [rig.at(rpm)[0] for rpm in (3000.0, 4500.0, 6000.0)]
    >>> models[0].net.valve_area is models[2].net.valve_area
    True
    """
    parts = engine, system, settings, gas, ambient
    try:
        hash(parts)
    except TypeError:  # no description: what asks for one names it
        return Rig(*parts)
    return _kept(*parts)


class Rig:
    """An engine with what stands behind it, in one weather.

    Parameters
    ----------
    engine, system, settings, gas, ambient
        As for `rig_of`.

    Attributes
    ----------
    described : Network
        As it was described.
    network : Network
        With the weather put in.
    gas : PerfectGas or EngineGas
        At the start.
    coarse : Settings or None
        Of the cycles before those on the fine mesh; None: there are to be none.
    """

    def __init__(self, engine, system, settings, gas=None, ambient=None):
        self.engine, self.system, self.settings = engine, system, settings
        self.described = network_of(engine, system)
        self.gas = gas or EngineGas(engine.fuel, engine.air_fuel_lambda)
        check_burn(engine, self.gas)
        self.ambient = as_ambient(ambient)
        self.network = self.described.in_weather(  # once, for both meshes
            self.ambient, unequal_pressures=settings.unequal_pressures
        )
        self._lines = None  # from the coarse mesh to the fine one

    @cached_property
    def coarse(self):
        settings = self.settings
        if settings.coarse_start == 1.0:
            return None
        return settings.replace(
            cell_length=min(0.2, settings.coarse_start * settings.cell_length), coarse_start=1.0,
            tolerance=max(1e-2, settings.tolerance), sample_deg=10.0, min_cycles=1, max_cycles=20,
        )

    def at(self, rpm, moment=None, rough=None):
        """The model at a speed on the fine mesh, before the first cycle.

        Parameters
        ----------
        rpm : float
            Engine speed [rev/min].
        moment : Moment or None
            In a pull: which speed of it this is.
        rough : Model or None
            Of `coarse_at`, after its cycles: the model goes on from it, see `prolong`.

        Returns
        -------
        model : Model
        walls : list of SolvedWall
        """
        model, walls = self._fine.at(rpm, moment, goes_on=rough is not None)
        if rough is not None:
            self.prolong(rough, model)
        return model, walls

    def coarse_at(self, rpm, moment=None):
        """As `at` on the coarse mesh, without samples; only where `coarse` is not None."""
        return self._coarse.at(rpm, moment)

    def prolong(self, coarse, fine):
        """Give a model of `at` the gas, the walls, the mixture and the burn of one of `coarse_at`.

        Parameters
        ----------
        coarse, fine : Model
            `fine` is changed.
        """
        if self._lines is None:
            self._lines = Lines(coarse, fine)
        prolong(coarse, fine, self._lines)
        take_burn(fine, coarse)

    @cached_property
    def _fine(self):
        return _Laid(self, self.settings, round(720.0 / self.settings.sample_deg))

    @cached_property
    def _coarse(self):
        return _Laid(self, self.coarse, 0)


class _Laid:
    """A rig on one mesh."""

    def __init__(self, rig, settings, samples):
        self.samples = samples
        self.drawn = draw(rig.network, rig.gas, settings, rig.ambient, engine=rig.engine)
        self.start = None  # walls and packings as they stand before the first cycle

    def at(self, rpm, moment, goes_on=False):
        """See `Rig.at`; what goes on from another model needs no first guess of its walls."""
        model = self.drawn.at(rpm, self.samples)
        if moment is not None:  # its walls are what the speed before has left
            return model, find_solved_walls(model, moment)
        if self.start is None:
            self.start = lay_walls(model), model.packings
        walls, packings = self.start
        if not goes_on:
            guess(model, walls)
        model.packings = [replace(one) for one in packings]
        return model, copied(walls)


_kept = lru_cache(maxsize=KEPT)(Rig)
