"""Shared by the cases of waves at nodes: pressures beside a node while a plateau stands there."""

from marches import P0

SMALL = 1e-4  # of the pressure at rest: the amplitude of a small wave
SHORT, LONG = 1.5, 3.0  # m; long enough that no end is heard
SECOND_ORDER = (
    "A wave of 1e-4 of the pressure leaves terms of the second order of its own size, times a "
    "factor below 1; the plateau itself carries no error of the mesh."
)


def near(result, name, side):
    """Mean of p/p0 in the few cells at one end of a duct."""
    cells = slice(-8, None) if side == "end" else slice(None, 8)
    return result.final[name]["p"][cells].mean() / P0


def share(result, name, side):
    """Small wave at the end of a duct over the incident one."""
    return (near(result, name, side) - 1.0) / SMALL
