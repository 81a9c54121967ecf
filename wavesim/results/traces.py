"""Recorded samples of a run, and one quantity at one place against crank angle or time."""

from dataclasses import dataclass
from math import pi

import numpy as np

from wavesim.errors import InputError, check_choice, check_number
from wavesim.show.quantities import TRACES

_FIELD = ("pressure", "velocity", "temperature", "fresh", "burned")
_STORE = ("pressure", "temperature", "mass", "fresh", "burned")
_FACE = ("pressure", "velocity", "mass_flow")
SAMPLE_ARRAYS = ("x", "cells", "stores", "faces")  # of Samples


@dataclass(frozen=True, eq=False)
class Trace:
    """One quantity against crank angle or time.

    Attributes
    ----------
    x : ndarray, (n_sample,)
        Crank angle of cylinder 1 [deg], 0 at its firing top dead centre, or time [s].
    values : ndarray, (n_sample,)
        In SI units.
    quantity, at : str
        What and where.
    x_name : str
        "theta_deg" or "time".
    """

    x: np.ndarray
    values: np.ndarray
    quantity: str
    at: str
    x_name: str = "theta_deg"

    @property
    def unit(self):
        """SI unit of the values."""
        return TRACES[self.quantity][1]

    def plot(self, ax=None, **line_kws):
        """Draw the trace on a matplotlib Axes and return it."""
        from wavesim.show import plots

        return plots.plot_trace(self, ax=ax, **line_kws)


@dataclass(frozen=True, eq=False)
class Samples:
    """Recorded samples of all ducts, stores and ends, with the names of their rows.

    Attributes
    ----------
    x : ndarray, (n_sample,)
        Crank angle [deg] or time [s].
    cells : ndarray, (n_sample, 5, n) float32
        Pressure, velocity, temperature, fresh and burned fraction.
    stores : ndarray, (n_sample, n_store, 5)
        Pressure, temperature, mass, fresh and burned fraction.
    faces : ndarray, (n_sample, n_end, 3)
        Pressure, velocity and mass flow out of the duct at each duct end.
    layout : dict
        Which row is what, fit for JSON: ducts (first cell, one past the last, cell length, bores),
        stores, nodes and ends by name, and the gas constants [J/(kg K)] of air, fresh, burned.
    """

    x: np.ndarray
    x_name: str
    cells: np.ndarray
    stores: np.ndarray
    faces: np.ndarray
    layout: dict

    def places(self):
        """Names that `trace` understands."""
        return [*self.layout["ducts"], *self.layout["stores"], *self.layout["nodes"]]

    def trace(self, quantity, at, x=None):
        """One quantity at one place against crank angle or time.

        Parameters
        ----------
        quantity : str
            A key of `TRACES`.
        at : str
            A duct, with its position `x`; a cylinder, volume or junction cell; or a node that
            takes one duct end, such as "exhaust valve 1" or "outlet".
        x : float or None
            Position from the start of the duct [m], 0 to its length.

        Returns
        -------
        Trace
            Values between cells are interpolated linearly.

        Raises
        ------
        InputError
            If the place or the quantity does not exist there.
        """
        check_choice("trace", "quantity", quantity, list(TRACES))
        check_choice("trace", "at", at, self.places())
        if at in self.layout["ducts"]:
            values = self._in_duct(quantity, at, x)
            at = f"{at} at {x:.4g} m"
        elif at in self.layout["nodes"] and quantity in _FACE:
            values = self.faces[:, self.layout["nodes"][at], _FACE.index(quantity)]
        elif at in self.layout["nodes"]:
            duct, side = self.layout["ends"][self.layout["nodes"][at]]
            length = self.layout["ducts"][duct]["length"]
            values = self._in_duct(quantity, duct, 0.0 if side == "start" else length)
        elif quantity in _STORE:
            values = self.stores[:, self.layout["stores"][at], _STORE.index(quantity)]
        else:
            raise InputError(f"trace: {quantity!r} is not recorded in {at!r}, only {_STORE}.")
        return Trace(self.x, np.asarray(values, dtype=float), quantity, at, self.x_name)

    def _in_duct(self, quantity, duct, x):
        info = self.layout["ducts"][duct]
        check_number(f"trace in duct {duct!r}", "x", x, "m", 0.0, info["length"])
        if quantity == "mass_flow":
            rho = self._density(duct, x)
            d = np.interp(x, info["stations"], info["bores"])
            return rho * self._in_duct("velocity", duct, x) * 0.25 * pi * d * d
        if quantity not in _FIELD:
            raise InputError(f"trace: {quantity!r} is not recorded in ducts.")
        values = self.field(quantity, duct)
        place = min(max(x / info["dx"] - 0.5, 0.0), values.shape[1] - 1.0)
        i = min(int(place), values.shape[1] - 2)
        w = place - i
        return (1.0 - w) * values[:, i] + w * values[:, i + 1]

    def _density(self, duct, x):
        air, fresh, burned = self.layout["gas_R"]
        yf, yb = self._in_duct("fresh", duct, x), self._in_duct("burned", duct, x)
        gas_R = air + yf * (fresh - air) + yb * (burned - air)
        return self._in_duct("pressure", duct, x) / (
            gas_R * self._in_duct("temperature", duct, x)
        )

    def field(self, quantity, duct):
        """Values of one quantity in a whole duct, (n_sample, n_cell), start to end."""
        check_choice("field", "quantity", quantity, _FIELD)
        check_choice("field", "duct", duct, list(self.layout["ducts"]))
        info = self.layout["ducts"][duct]
        return self.cells[:, _FIELD.index(quantity), info["lo"] : info["hi"]]

    def centres(self, duct):
        """Positions of the cell centres of a duct [m], (n_cell,)."""
        info = self.layout["ducts"][duct]
        return (np.arange(info["hi"] - info["lo"]) + 0.5) * info["dx"]
