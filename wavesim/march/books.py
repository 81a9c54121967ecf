"""The books of mass and energy: what a model holds, what passed its ends, what does not balance."""

import numpy as np

from wavesim.kernels import flat as f

#: Emergency exits of the kernels by their names in the audit; a sound run takes none.  Limits that
#: belong to a model, such as a throat no wider than its bore, are not among them.
EXITS = {
    "unsolved_ends": f.UNSOLVED_END,
    "unsolved_pairs": f.UNSOLVED_PAIR,
    "unsolved_junctions": f.UNSOLVED_JOINT,
    "unsolved_stores": f.UNSOLVED_STORE,
    "unsolved_tapers": f.UNSOLVED_TAPER,
    "floored_faces": f.FLOORED_FACE,
    "capped_holes": f.CAPPED_HOLE,
    "clipped_fractions": f.CLIPPED_FRACTION,
}


def exits(model):
    """How often each emergency exit was taken since the clock of the model began."""
    return {name: int(model.state.clock[column]) for name, column in EXITS.items()}


def contents(model):
    """Mass [kg] and energy [J] in all ducts and stores."""
    mass = energy = 0.0
    for lo, hi in model.ducts.values():
        vol = model.net.cells[f.VOL, lo:hi]
        mass += float(vol @ model.state.U[f.R, lo:hi])
        energy += float(vol @ model.state.U[f.E, lo:hi])
    held = model.net.store_int[:, f.STORE_KIND] != f.AMBIENT
    return mass + float(model.state.store[held, f.SM].sum()), energy + float(
        model.state.store[held, f.SE].sum()
    )


class Scales:
    """Mass [kg] in each duct and in each store that is not the surroundings, again and again.

    Parameters
    ----------
    model : Model
        Of which later calls want the masses.
    """

    def __init__(self, model):
        # A ghost, which holds nothing, before each duct: so one call adds up all of them, each to
        # the bit as `sum` would, which begins with 0.
        rows = [np.append(0, np.arange(lo, hi)) for lo, hi in model.ducts.values()]
        self._cells = np.concatenate(rows)
        self._starts = np.cumsum([0, *map(len, rows[:-1])])
        self._volume = model.net.cells[f.VOL, self._cells]
        self._held = np.flatnonzero(model.net.store_int[:, f.STORE_KIND] != f.AMBIENT)

    def __call__(self, model):
        in_ducts = np.add.reduceat(self._volume * model.state.U[f.R, self._cells], self._starts)
        return np.append(in_ducts, model.state.store[self._held, f.SM])


def outer_ends(model):
    """Rows of the ends through which gas leaves or enters the system."""
    net = model.net
    outside = np.zeros(net.end_int.shape[0], dtype=bool)
    outside[net.end_int[:, f.END_KIND] == f.ANECHOIC] = True
    port = net.end_int[:, f.END_KIND] == f.PORT
    outside[port] = net.store_int[net.end_int[port, f.END_STORE], f.STORE_KIND] == f.AMBIENT
    return outside


def ledger(model, before, after, source, scale_energy):
    """Imbalance of mass and energy between two instants, relative to what passed or is held."""
    ends = model.record.end_sum[outer_ends(model)]
    lost_mass, lost_energy = ends[:, f.OUT_MASS].sum(), ends[:, f.OUT_ENERGY].sum()
    inside = np.concatenate([np.arange(lo, hi) for lo, hi in model.ducts.values()])
    gained = float(model.record.wall[f.GAIN][inside].sum())
    mass_error = after[0] - before[0] + lost_mass
    energy_error = after[1] - before[1] + lost_energy - gained - source
    mass_scale = max(np.abs(ends[:, f.OUT_MASS]).sum(), before[0])
    energy_scale = max(np.abs(ends[:, f.OUT_ENERGY]).sum(), abs(before[1]), scale_energy)
    return {
        "mass_error": float(mass_error / mass_scale),
        "energy_error": float(energy_error / energy_scale),
        "mass_before": before[0], "mass_after": after[0],
        "energy_before": before[1], "energy_after": after[1],
        "wall_heat": gained,
        "steps": int(model.state.clock[f.STEPS]),
        **exits(model),
    }


def cycle_ledger(model, before, after):
    """Imbalance over one cycle, relative to the air that passed and to the heat that was released.

    Where next to no air passes or burns, what the system holds and what enters it count instead.
    """
    sums = model.record.cyl_sum
    work = sums[:, f.WORK_0 : f.WORK_3 + 1].sum()
    released, lost = sums[:, f.HEAT_RELEASE].sum(), sums[:, f.WALL_LOSS].sum()
    books = ledger(model, before, after, released - lost - work, released)
    ends = model.record.end_sum[outer_ends(model)]
    passed = np.abs(ends[:, f.OUT_MASS]).sum()
    books["mass_error"] *= max(passed, before[0]) / max(0.5 * passed, 1e-6 * before[0])
    return books
