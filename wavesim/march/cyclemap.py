"""A cycle as a map of the engine's state on itself: fixed points and Floquet multipliers.

The map takes the state at crank angle 0, all cells and stores, to that at 720.  A periodic state
is a fixed point x of this map F, and the eigenvalues of its derivative J there are the Floquet
multipliers: a small disturbance ends up multiplied by the largest of them, cycle after cycle, and
dies out if that is below one (Guckenheimer and Holmes, Nonlinear Oscillations, Dynamical Systems
and Bifurcations of Vector Fields (1983), sec. 1.5).  J v is (F(x + h v) - F(x)) / h, one cycle
for each v.

* Fixed points are found by Newton's method with GMRES (Saad and Schultz, SIAM J. Sci. Stat.
  Comput. 7 (1986) 856), whose steps are halved while they do not bring F(x) nearer to x.
* The largest multiplier is read off a disturbance v, J v, J J v ... by dynamic mode decomposition
  (Schmid, J. Fluid Mech. 656 (2010) 5), each brought back to the same small size.

All references from memory.
"""

import numpy as np

from wavesim.errors import SolverError
from wavesim.kernels import flat as f
from wavesim.march.advance import march_to, run_cycle

SPEED = 600.0  # [m/s] against which velocities count
NEWTON, KRYLOV = 10, 20  # iterations, products with the derivative in each
HALVINGS = 6  # of a step of Newton's method
EXACT = 1e-8  # residual at which Newton's method has found a state
SLIGHT, SEEN = 1e-6, 10  # disturbance for the derivative; products from which a multiplier is read
FAINTEST = 1e-2  # share of the strongest pattern in which a disturbance dies below which is noise


def fill_less(model, shares):
    """Take a share of its gas from each cylinder, by number; what is left keeps its temperature."""
    for number, share in shares.items():
        row = model.stores[f"cylinder {number}"]
        model.state.store[row, [f.SM, f.SE, f.SF, f.SB]] *= 1.0 - share


class Renaming:
    """Rows of all arrays after the cylinders have changed places, one firing later."""

    def __init__(self, model, following):
        self.cells = np.arange(model.state.T.size)
        for name, (lo, hi) in model.ducts.items():
            self.cells[lo:hi] = np.arange(*model.ducts[following.ducts[name]])
        self.ends = np.arange(model.state.end.shape[0])
        for (duct, side), row in model.ends.items():
            self.ends[row] = model.ends[following.ducts[duct], side]
        cylinders = {f"cylinder {a}": f"cylinder {b}" for a, b in following.cylinders.items()}
        names = following.nodes | cylinders
        self.stores = np.arange(model.state.store.shape[0])
        for name, row in model.stores.items():
            self.stores[row] = model.stores[names[name]]
        self.cylinders = np.array([following.cylinders[n + 1] - 1 for n in range(len(cylinders))])
        self.holes = np.arange(model.state.hole_u.size)
        first = {annulus: (hole, count) for hole, count, _, annulus in model.net.hole_wall}
        for annulus, (hole, count) in first.items():
            other = first[self.cells[annulus]][0]
            self.holes[hole : hole + count] = np.arange(other, other + count)


class CycleMap:
    """A cycle of a model as a map of its state on itself; walls and steps stay as they are.

    A state is one vector.  Cells count by their share of the volume and relative to the gas that
    they hold, a store like a hundredth of all cells; what the march remembers beside the gas,
    such as the faces of the last step, hardly counts.
    """

    def __init__(self, model):
        self.model = model
        state = model.state
        self.arrays = [state.U, state.T, state.end, state.store, state.cyl, state.hole_u,
                       model.work.W[f.WARMED]]
        self.sizes = np.concatenate([size.ravel() for size in self._sizes()])
        self.counts = self.sizes < 1e5  # what is gas

    def _sizes(self):
        state, net = self.model.state, self.model.net
        rho = state.U[f.R]
        inside = np.zeros(rho.size, dtype=bool)
        for lo, hi in self.model.ducts.values():
            inside[lo:hi] = True
        volume = np.where(inside, net.cells[f.VOL], 0.0)
        per_share = np.sqrt(volume.sum() / np.where(inside, volume, 1e30))
        heat = np.maximum(np.abs(state.U[f.E]), 1e5 / 0.4)
        cells = per_share * np.stack([rho, rho * SPEED, heat, rho, rho])
        store = np.full_like(state.store, 1e9)
        held = net.store_int[:, f.STORE_KIND] != f.AMBIENT
        mass = state.store[held, f.SM]
        for column, unit in ((f.SM, 1.0), (f.SE, 0.5 * SPEED**2), (f.SF, 1.0), (f.SB, 1.0),
                             (f.SX, SPEED), (f.SY, SPEED), (f.SZ, SPEED)):
            store[held, column] = 10.0 * mass * unit
        return (
            np.where(inside, cells, 1e9), np.full_like(state.T, 1e9),
            1e7 * np.maximum(np.abs(state.end), 1.0), store,
            1e6 * np.maximum(np.abs(state.cyl), 1e-6), np.full_like(state.hole_u, 1e6),
            np.full_like(state.T, 1e9),
        )

    def state(self):
        """The state now."""
        return np.concatenate([a.ravel() for a in self.arrays]) / self.sizes

    def set(self, state):
        """Put a state into the model."""
        values, at = state * self.sizes, 0
        for array in self.arrays:
            array[...] = values[at : at + array.size].reshape(array.shape)
            at += array.size
        self.model.work.store[:, f.N_ANGLE] = np.nan  # known volumes belong to another angle

    def __call__(self, state=None):
        """The state a cycle later."""
        if state is not None:
            self.set(state)
        run_cycle(self.model, self.model.settings, 1, None, sampled=False)
        self.model.state.plan[:, f.FASTEST] = 0.0
        return self.state()

    def fire(self, renaming):
        """March to the next firing and rename the cylinders."""
        model = self.model
        model.state.clock[:] = 0.0
        model.record.interval[:] = 0.0
        for sums in (model.record.end_sum, model.record.cyl_sum, model.record.wall):
            sums[:] = 0.0
        interval = 720.0 / len(renaming.cylinders)
        march_to(model, interval / model.net.options[f.OMEGA_DEG],
                 model.settings.max_steps_per_cycle)
        U, T, end, store, cyl, hole_u, warmed = self.arrays
        U[:] = U[:, renaming.cells]
        end[:] = end[renaming.ends]
        store[:] = store[renaming.stores]
        cyl[:] = cyl[renaming.cylinders]
        hole_u[:] = hole_u[renaming.holes]
        for array in (T, warmed):
            array[:] = array[renaming.cells]
        model.state.plan[:, f.FASTEST] = 0.0
        model.work.store[:, f.N_ANGLE] = np.nan


# --- fixed points and multipliers -----------------------------------------------------------------


def newton(cycle):
    """Find a fixed point near the present state, and leave the model there; False if it fails."""
    state = cycle.state()
    after = cycle(state)
    for _ in range(NEWTON):
        off = after - state
        if np.linalg.norm(off) < EXACT:
            cycle.set(state)
            return True

        def product(direction, state=state, after=after):
            return derivative(cycle, state, after, direction) - direction

        found = _nearer(cycle, state, off, _gmres(product, -off))
        if found is None:
            return False
        state, after = found
    return False


def _nearer(cycle, state, off, step):
    """(state, state a cycle later) further by a step or part of it, less apart, or None."""
    for _ in range(HALVINGS):
        try:
            after = cycle(state + step)
        except SolverError:  # a step too far
            after = np.inf
        if np.linalg.norm(after - state - step) < np.linalg.norm(off):
            return state + step, after
        step = 0.5 * step
    return None


def derivative(cycle, state, after, direction):
    """Product of the map's derivative at a state with a direction of size 1.

    `after` is the state a cycle later.
    """
    return (cycle(state + SLIGHT * direction) - after) / SLIGHT


def _gmres(product, right):
    """Vector that `product` turns into `right`, to 1 %."""
    length = np.linalg.norm(right)
    basis, H = [right / length], np.zeros((KRYLOV + 1, KRYLOV))
    for j in range(KRYLOV):
        vector = product(basis[j])
        for _ in range(2):
            for i in range(j + 1):
                share = basis[i] @ vector
                H[i, j] += share
                vector = vector - share * basis[i]
        H[j + 1, j] = np.linalg.norm(vector)
        target = np.zeros(j + 2)
        target[0] = length
        found = np.linalg.lstsq(H[: j + 2, : j + 1], target, rcond=None)[0]
        left = np.linalg.norm(H[: j + 2, : j + 1] @ found - target)
        if left < 1e-2 * length or H[j + 1, j] < 1e-12:
            break
        basis.append(vector / H[j + 1, j])
    return np.array(basis[: j + 1]).T @ found


def stability(cycle):
    """(leading multiplier, growth of an alternation in a cycle) at the state of the model."""
    state, plan = cycle.state(), cycle.model.state.plan.copy()
    after = cycle(state)
    firing = np.argsort(cycle.model.net.cyl_par[:, f.PHASE])
    count = firing.size
    rank = np.empty(count)
    rank[firing] = np.arange(count)
    some = np.cos(1.0 + 2.0 * np.arange(count))  # no two cylinders the same, no symmetry
    multiplier, growth = _leading(*_disturbances(cycle, state, after, some)), np.nan
    if count % 2 == 0:
        every_other = np.where(rank % 2 == 0, 1.0, -1.0)
        growth = abs(_leading(*_disturbances(cycle, state, after, every_other)))
    cycle.set(state)
    cycle.model.state.plan[:] = plan
    return multiplier, float(growth)


def _disturbances(cycle, state, after, pattern):
    """Disturbances of size 1 as columns, and what is left of each after a cycle.

    The first fills the cylinders by a pattern; each other is what was left of the one before.
    """
    cycle.set(state)
    fill_less(cycle.model, {n + 1: -SLIGHT * share for n, share in enumerate(pattern)})
    left = cycle.state() - state
    before, later = [], []
    for _ in range(SEEN):
        size = np.linalg.norm(left)
        if not size > 0.0:
            break
        before.append(left / size)
        left = derivative(cycle, state, after, before[-1])
        later.append(left)
    return np.array(before).T, np.array(later).T


def _leading(before, after):
    """Leading eigenvalue of the map that turns each column of `before` into that of `after`.

    The first two are left out, for much in them dies at once.
    """
    if not before.size:
        return 0.0j
    dead = min(2, before.shape[1] - 1)
    before, after = before[:, dead:], after[:, dead:]
    left, sizes, right = np.linalg.svd(before, full_matrices=False)
    rank = int((sizes > FAINTEST * sizes[0]).sum())
    small = left[:, :rank].T @ after @ right[:rank].T / sizes[:rank]
    values = np.linalg.eigvals(small)
    return complex(values[np.argmax(np.abs(values))])
