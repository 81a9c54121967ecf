"""From a coarse mesh to a fine one: the same network goes on with the gas it holds."""

import numpy as np

from wavesim.arrays.compile import use_gas
from wavesim.gas.models import EngineGas
from wavesim.kernels import flat as f


class Lines:
    """Straight lines between the cell centres of a coarse mesh, read at those of a fine one.

    Parameters
    ----------
    coarse, fine : Model
        Compiled from the same network.

    Notes
    -----
    To the bit what `numpy.interp` gives duct by duct; beyond the last centre of a duct its value
    stays.
    """

    def __init__(self, coarse, fine):
        found = [_lines(coarse, fine, duct) for duct in fine.ducts]
        parts = (np.concatenate(one) for one in zip(*found, strict=True))
        self.cells, self._left, self._right, self._gap, self._beyond = parts

    def __call__(self, values):
        """Values (..., n) of the coarse cells at the fine cells `cells`."""
        left = values[..., self._left]
        return (values[..., self._right] - left) / self._gap * self._beyond + left


def _lines(coarse, fine, duct):
    """Fine cells of a duct, the coarse ones left and right of each, their gap, and the way on."""
    new, old = fine.centres(duct), coarse.centres(duct)
    place = np.searchsorted(old, new, side="right") - 1
    left = np.maximum(place, 0)
    right = np.where(place < 0, 0, np.minimum(place + 1, old.size - 1))
    inside = left != right
    gap = np.where(inside, old[right] - old[left], 1.0)
    beyond = np.where(inside, new - old[left], 0.0)
    first = coarse.ducts[duct][0]
    return np.arange(*fine.ducts[duct]), first + left, first + right, gap, beyond


def prolong(coarse, fine, lines=None):
    """Give a model the gas, the wall temperatures and the mixture of one with other cells.

    Parameters
    ----------
    coarse, fine : Model
        Compiled from the same network; `fine` is changed.
    lines : Lines or None
        Of two such models; None: worked out now.

    Notes
    -----
    Conserved values are interpolated linearly between cell centres, so that density and internal
    energy stay positive.  Mass and energy change a little: the books of a run start after this.
    """
    lines = lines or Lines(coarse, fine)
    fine.state.U[:, lines.cells] = lines(coarse.state.U)
    fine.state.T[lines.cells] = lines(coarse.state.T)
    fine.net.cells[f.WALL, lines.cells] = lines(coarse.net.cells[f.WALL])
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
