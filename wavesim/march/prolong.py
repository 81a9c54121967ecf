"""From a coarse mesh to a fine one: the same network goes on with the gas it holds."""

import numpy as np

from wavesim.arrays.compile import use_gas
from wavesim.gas.models import EngineGas
from wavesim.kernels import flat as f


def prolong(coarse, fine):
    """Give a model the gas, the wall temperatures and the mixture of one with other cells.

    Parameters
    ----------
    coarse, fine : Model
        Compiled from the same network; `fine` is changed.

    Notes
    -----
    Conserved values are interpolated linearly between cell centres, so that density and internal
    energy stay positive.  Mass and energy change a little: the books of a run start after this.
    """
    for duct, (lo, hi) in fine.ducts.items():
        first, last = coarse.ducts[duct]
        new, old = fine.centres(duct), coarse.centres(duct)
        for row in range(f.N_CONSERVED):
            fine.state.U[row, lo:hi] = np.interp(new, old, coarse.state.U[row, first:last])
        fine.state.T[lo:hi] = np.interp(new, old, coarse.state.T[first:last])
        walls = coarse.net.cells[f.WALL, first:last]
        fine.net.cells[f.WALL, lo:hi] = np.interp(new, old, walls)
    for end, row in fine.ends.items():
        if end in coarse.ends:  # a seam of one mesh may be a node of the other
            fine.state.end[row] = coarse.state.end[coarse.ends[end]]
    for mine, other in (
        (fine.state.store, coarse.state.store),
        (fine.state.cyl, coarse.state.cyl),
    ):
        mine[...] = other
    if isinstance(fine.gas, EngineGas):
        use_gas(fine, coarse.gas)
