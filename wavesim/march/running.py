"""A running engine with a small pulse in its exhaust: the difference of two marches.

The engine of a computed point goes on with its gas, on cells that resolve the pulse, until the
exhaust valve of one cylinder opens.  From there it is marched twice, with and without a rise of
pressure over a few cells before that valve.  Both take the same steps, so that their difference is
the pulse alone: it runs in the moving gas and meets valves as they stand.
"""

import numpy as np

from wavesim.arrays.compile import compile_network
from wavesim.descriptions.engine import CYCLE_DEG
from wavesim.descriptions.nodes import ValvePort
from wavesim.descriptions.settings import SCHEMES
from wavesim.errors import InputError, SolverError
from wavesim.kernels import flat as f
from wavesim.kernels.nodes import FP
from wavesim.march.advance import march_to, plan_steps, run_cycle
from wavesim.march.burn import take_burn
from wavesim.march.cycles import take_over
from wavesim.march.prolong import prolong

CYCLES = 3  # on the fine mesh before the pulse is sent
AMPLITUDE = 1e-3  # of the pulse over the pressure
_NEXT = 1e-12  # share of the time by which a step is asked for


class Running:
    """An engine that repeats its cycle, on cells of a given length.

    Parameters
    ----------
    point : Point
        With the gas to start from.
    cell_length : float
        [m].

    Raises
    ------
    InputError
        If the point has no such gas.
    """

    def __init__(self, point, cell_length):
        if not point.restart:
            raise InputError("echoes: flow = True needs a point with the gas to go on from, as "
                             "those of run_point and of speed_sweep have.")
        network = point.network.in_weather(point.ambient)
        own = point.settings.replace(scheme=SCHEMES[0])
        model, self.model = (
            compile_network(network, point.gas, settings, engine=point.engine, rpm=point.rpm,
                            ambient=point.ambient)
            for settings in (own, own.replace(cell_length=cell_length)))
        take_over(model, point, "fine" if "fine" in point.restart else None)
        prolong(model, self.model)
        take_burn(self.model, model)
        for _ in range(CYCLES):
            run_cycle(self.model, self.model.settings, 1, None, sampled=False)
            plan_steps(self.model, self.model.settings, firm=True)
        self.valves = {node.cylinder: node.ends[0] for node in network.nodes.values()
                       if isinstance(node, ValvePort) and node.side == "exhaust"}
        self.valves = dict(sorted(self.valves.items()))
        self._begin()

    def _begin(self):
        """Start a cycle."""
        model = self.model
        model.state.clock[:] = 0.0
        model.record.interval[:] = 0.0

    def _step(self):
        """One step, and the first of a new cycle where one has ended; its size [s]."""
        model = self.model
        now = model.state.clock[f.TIME]
        if now * model.net.options[f.OMEGA_DEG] >= CYCLE_DEG * (1.0 - _NEXT):
            self._begin()
            now = 0.0
        march_to(model, now * (1.0 + _NEXT) + 1e-15, model.settings.max_steps_per_cycle)
        return float(model.state.clock[f.LAST_DT])

    def _kept(self):
        """All that a march changes and needs, copied."""
        model = self.model
        arrays = (*model.state, *model.work, model.inner, model.face)
        return [(array, array.copy()) for array in arrays]

    def response(self, cylinder, angle, pulse, longest):
        """What a pulse brings to all exhaust valves.

        Parameters
        ----------
        cylinder : int
            At whose valve it is sent.
        angle : float
            Crank angle at which it is [deg].
        pulse : float
            Half length [m].
        longest : float
            Time to march [s].

        Returns
        -------
        time : ndarray, (n,)
            Since it was sent [s], even steps.
        records : dict of ndarray, each (n,)
            Change of pressure at each valve over the height of the rise, by cylinder.
        sound : float
            Speed of sound at the valve when it was sent [m/s].

        Raises
        ------
        SolverError
            If a march fails, or the two take different steps.
        """
        model = self.model
        until = (angle % CYCLE_DEG) / model.net.options[f.OMEGA_DEG]
        march_to(model, until, model.settings.max_steps_per_cycle)
        height, sound = self._at_valve(cylinder)
        start = self._kept()
        time, quiet = self._listen(longest)
        for array, values in start:
            array[...] = values
        self._raise(cylinder, pulse)
        again, loud = self._listen(longest)
        n = min(len(time), len(again))
        if not np.allclose(time[:n], again[:n], rtol=1e-9, atol=0.0):
            raise SolverError("echoes: the march with the pulse took other steps than the one "
                              "without; a smaller cfl may help.")
        even = np.arange(0.5 * time[-1] / n, time[n - 1], time[-1] / n)
        found = (loud[:n] - quiet[:n]) / (AMPLITUDE * height)
        return even, {number: np.interp(even, time[:n], record) for number, record in zip(
            self.valves, found.T, strict=True)}, sound

    def _listen(self, longest):
        """Times of the middles of steps, and pressure at all valves."""
        rows = [self.model.ends[end] for end in self.valves.values()]
        now, times, heard = 0.0, [], []
        while now < longest:
            dt = self._step()
            times.append(now + 0.5 * dt)
            heard.append(self.model.face[rows, FP].copy())
            now += dt
        return np.array(times), np.array(heard)

    def _state(self, cells):
        """Density, velocity, temperature and fractions of some cells."""
        U, T = self.model.state.U[:, cells], self.model.state.T[cells]
        rho = U[f.R]
        return rho, U[f.M] / rho, T, U[f.Y1] / rho, U[f.Y2] / rho

    def _at_valve(self, cylinder):
        """Pressure [Pa] and speed of sound [m/s] in the cell at a valve."""
        duct, side = self.valves[cylinder]
        lo, hi = self.model.ducts[duct]
        cell = slice(lo, lo + 1) if side == "start" else slice(hi - 1, hi)
        rho, _, T, yf, yb = self._state(cell)
        return (float((rho / self.model.gas.density(1.0, T, yf, yb))[0]),
                float(self.model.gas.sound_speed(T, yf, yb)[0]))

    def _raise(self, cylinder, pulse):
        """Raise the pressure before a valve along an isentrope; the velocity stays."""
        model, gas = self.model, self.model.gas
        duct, side = self.valves[cylinder]
        cells = slice(*model.ducts[duct])
        x = model.centres(duct)
        away = x if side == "start" else model.network.ducts[duct].length - x
        rho, u, T, yf, yb = self._state(cells)
        height, _ = self._at_valve(cylinder)
        pressure = rho / gas.density(1.0, T, yf, yb)
        ratio = 1.0 + AMPLITUDE * height / pressure * np.exp(-((away / pulse) ** 2))
        gamma = gas.gamma(T, yf, yb)
        hot = T * ratio ** ((gamma - 1.0) / gamma)
        denser = ratio * T / hot
        U = model.state.U[:, cells]
        kinetic = 0.5 * u * u
        gain = rho * (denser * (gas.e(hot, yf, yb) + kinetic) - gas.e(T, yf, yb) - kinetic)
        U[[f.R, f.M, f.Y1, f.Y2]] *= denser
        U[f.E] += gain
        model.state.T[cells] = hot
