"""Traces in little room: what points need on the disk.

The gas in the ducts is most of a point.  It is rounded to `STEPS`, far below what the mesh moves,
and written as second differences along the crank angle, which are small numbers wherever nothing
jumps and pack to a tenth.  Rounding twice is rounding once, so that a point that was read and
written again is the same.  What integrals are made of, the pressures and masses of the cylinders
and what passes the duct ends, keeps single precision.  The gas from which a run can start keeps
every bit.
"""

import numpy as np

from wavesim.gas.models import describe_gas, restore_gas
from wavesim.results.traces import SAMPLE_ARRAYS, Samples

#: Steps to which the gas in the ducts is rounded: pressure [Pa], velocity [m/s], temperature [K],
#: fresh and burned fraction.
STEPS = (20.0, 0.05, 0.1, 2e-4, 2e-4)
_WIDTHS = (np.uint16, np.uint32, np.uint64)  # of the numbers, the first that holds all


def pack_samples(samples, exact):
    """Samples as arrays by name, and plain data that says how they are written.

    Parameters
    ----------
    samples : Samples
    exact : bool
        True keeps every bit.

    Returns
    -------
    arrays : dict of str to ndarray
    facts : dict
    """
    facts = {"layout": samples.layout, "x_name": samples.x_name}
    arrays = {name: getattr(samples, name) for name in SAMPLE_ARRAYS}
    cells = arrays["cells"]
    if exact or not cells.size or cells.shape[1] != len(STEPS) or not np.isfinite(cells).all():
        return arrays, facts
    coded, offsets, width = _coded(cells)
    arrays["cells"] = coded
    for name in ("stores", "faces"):
        arrays[name] = _split(arrays[name].astype(np.float32))
    shapes = {name: list(getattr(samples, name).shape) for name in ("cells", "stores", "faces")}
    facts["rounded"] = {"steps": list(STEPS), "offsets": offsets, "bytes": width, "shapes": shapes}
    return arrays, facts


def unpack_samples(arrays, facts):
    """Samples from what `pack_samples` returned; arrays that do not fit raise ValueError."""
    found = {name: arrays[name] for name in SAMPLE_ARRAYS}
    rounded = facts.get("rounded")
    if rounded is not None:
        shapes = {name: tuple(map(int, shape)) for name, shape in rounded["shapes"].items()}
        found["cells"] = _decoded(found["cells"], shapes["cells"], rounded)
        for name in ("stores", "faces"):
            found[name] = _joined(found[name], np.float32, shapes[name]).astype(float)
    x, *rest = (found[name] for name in SAMPLE_ARRAYS)
    return Samples(x, facts["x_name"], *rest, facts["layout"])


def _coded(cells):
    """Bytes of the rounded numbers, the number that each field begins at, bytes of a number."""
    counts = np.round(cells.astype(float) / np.array(STEPS)[None, :, None]).astype(np.int64)
    offsets = counts.min(axis=(0, 2))
    counts -= offsets[None, :, None]
    kind = next(kind for kind in _WIDTHS if counts.max() <= np.iinfo(kind).max)
    bits = np.iinfo(kind).bits
    steps = counts.astype(kind)
    for _ in range(2):  # differences run over the edge and come back when they are summed
        steps[1:] = np.diff(steps, axis=0)
    signed = steps.view(f"i{bits // 8}")
    folded = (steps << kind(1)) ^ (signed >> (bits - 1)).view(kind)  # 0, -1, 1, -2: 0, 1, 2, 3
    return _split(folded), offsets.tolist(), bits // 8


def _decoded(coded, shape, rounded):
    kind = np.dtype(f"u{int(rounded['bytes'])}").type
    folded = _joined(coded, kind, shape)
    steps = (folded >> kind(1)) ^ (kind(0) - (folded & kind(1)))
    for _ in range(2):
        steps = np.cumsum(steps, axis=0, dtype=kind)
    counts = steps.astype(float) + np.array(rounded["offsets"], dtype=float)[None, :, None]
    return (counts * np.array(rounded["steps"], dtype=float)[None, :, None]).astype(np.float32)


def _split(values):
    """Bytes of numbers, all first bytes together and so on, along the crank angle."""
    flat = np.ascontiguousarray(np.moveaxis(values, 0, -1)).reshape(-1, 1)
    return flat.view(np.uint8).reshape(flat.size, values.itemsize).T.copy()


def _joined(coded, kind, shape):
    """Numbers of a shape from what `_split` returned."""
    size = np.dtype(kind).itemsize
    if coded.dtype != np.uint8 or coded.size != np.prod(shape, dtype=float) * size:
        raise ValueError("an array has another size than its shape says")
    flat = np.ascontiguousarray(coded.reshape(size, -1).T).reshape(-1)
    return np.moveaxis(flat.view(kind).reshape(*shape[1:], shape[0]), -1, 0)


# --- the gas to start from ------------------------------------------------------------------------


def pack_restart(restart):
    """What a run needs to start from, as arrays by name and plain data; every bit is kept."""
    arrays = {f"state/{name}": values for name, values in restart["state"].items()}
    arrays |= {"walls": restart["walls"], "burn": restart["burn"]}
    ducts = {name: [int(i) for i in span] for name, span in restart["ducts"].items()}
    facts = {"ducts": ducts, "state": list(restart["state"]), "gas": describe_gas(restart["gas"])}
    if "fine" in restart:
        more, facts["fine"] = pack_restart(restart["fine"])
        arrays |= {f"fine/{name}": values for name, values in more.items()}
    return arrays, facts


def unpack_restart(arrays, facts):
    """What `pack_restart` was given."""
    found = {
        "state": {name: arrays[f"state/{name}"] for name in facts["state"]},
        "ducts": {name: tuple(span) for name, span in facts["ducts"].items()},
        "walls": arrays["walls"], "burn": arrays["burn"], "gas": restore_gas(facts["gas"]),
    }
    if "fine" in facts:
        own = {name.removeprefix("fine/"): values for name, values in arrays.items()
               if name.startswith("fine/")}
        found["fine"] = unpack_restart(own, facts["fine"])
    return found
