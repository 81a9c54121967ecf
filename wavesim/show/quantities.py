"""Quantities of an operating point and of traces: label, unit, and how people read them."""

from typing import NamedTuple

from wavesim.errors import check_choice

#: Scalars of a Point: (label, SI unit).
QUANTITIES = {
    "torque": ("torque", "N m"),
    "power": ("power", "W"),
    "bmep": ("brake mean effective pressure", "Pa"),
    "imep_gross": ("gross indicated mean effective pressure", "Pa"),
    "imep_net": ("net indicated mean effective pressure", "Pa"),
    "pmep": ("pumping mean effective pressure", "Pa"),
    "pmep_exhaust": ("pumping of the exhaust stroke", "Pa"),
    "pmep_intake": ("pumping of the intake stroke", "Pa"),
    "fmep": ("friction mean effective pressure", "Pa"),
    "volumetric_efficiency": ("volumetric efficiency", "1"),
    "air_per_cycle": ("air delivered to the cylinders per cycle", "kg"),
    "trapped_air": ("air trapped in the cylinders per cycle", "kg"),
    "residual_fraction": ("residual gas at intake closing", "1"),
    "scavenging_efficiency": ("fresh share of the trapped gas", "1"),
    "trapping_efficiency": ("trapped share of the delivered fresh charge", "1"),
    "short_circuit": ("fresh charge lost to the exhaust per cycle", "kg"),
    "lambda": ("excess-air ratio", "1"),
    "air_fuel_ratio": ("air-fuel ratio by mass", "1"),
    "air_flow": ("air mass flow", "kg/s"),
    "fuel_flow": ("fuel mass flow", "kg/s"),
    "exhaust_flow": ("exhaust mass flow", "kg/s"),
    "bsfc": ("brake specific fuel consumption", "kg/J"),
    "exhaust_temperature": ("mean stagnation temperature at the exhaust valves", "K"),
    "back_pressure": ("mean gauge pressure at the exhaust valves", "Pa"),
    "peak_pressure": ("peak cylinder pressure", "Pa"),
    "peak_pressure_angle": ("crank angle of peak pressure", "deg"),
    "trapped_pressure": ("cylinder pressure at intake closing", "Pa"),
    "trapped_temperature": ("cylinder temperature at intake closing", "K"),
    "opening_pressure": ("cylinder pressure at exhaust opening", "Pa"),
    "heat_loss": ("share of the released heat lost to the cylinder walls", "1"),
    "indicated_efficiency": ("net indicated efficiency", "1"),
}
#: Quantities of a trace: (label, SI unit).
TRACES = {
    "pressure": ("pressure", "Pa"),
    "velocity": ("velocity", "m/s"),
    "temperature": ("temperature", "K"),
    "fresh": ("mass fraction of fresh charge", "1"),
    "burned": ("mass fraction of burned gas", "1"),
    "mass_flow": ("mass flow", "kg/s"),
    "mass": ("mass", "kg"),
}
#: What people read: (unit, factor from SI, decimals) by SI unit.
_READABLE = {
    "N m": ("N m", 1.0, 1),
    "W": ("kW", 1e-3, 1),
    "Pa": ("bar", 1e-5, 3),
    "K": ("K", 1.0, 0),
    "deg": ("deg", 1.0, 1),
    "m/s": ("m/s", 1.0, 1),
    "kg": ("mg", 1e6, 1),
    "kg/s": ("g/s", 1e3, 2),
    "kg/J": ("g/kWh", 3.6e9, 1),
    "1": ("", 1.0, 3),
}
_PERCENT = {
    "volumetric_efficiency", "residual_fraction", "scavenging_efficiency", "trapping_efficiency",
    "heat_loss", "indicated_efficiency",
}


class Display(NamedTuple):
    """How a quantity is shown to people.

    Attributes
    ----------
    label : str
        Words.
    unit : str
        Unit to show, empty where there is none.
    factor : float
        Shown value = factor times SI value.
    decimals : int
        Digits after the point in tables.
    """

    label: str
    unit: str
    factor: float
    decimals: int

    @property
    def axis(self):
        """Label for an axis, such as "power [kW]"."""
        return f"{self.label} [{self.unit}]" if self.unit else self.label

    def text(self, value, sign=""):
        """SI value in the shown unit, as text without the unit; "+" for `sign` forces a sign."""
        return f"{self.factor * value:{sign}.{self.decimals}f}"


def display(quantity):
    """Label, readable unit, factor and decimals of a quantity.

    Parameters
    ----------
    quantity : str
        A key of `QUANTITIES` or of `TRACES`.

    Returns
    -------
    Display

    Raises
    ------
    InputError
        If there is no such quantity.

    Examples
    --------
    >>> display("power").axis, display("power").text(51397.0)
    ('power [kW]', '51.4')
    """
    known = QUANTITIES | TRACES
    label, unit = known[check_choice("display", "quantity", quantity, known)]
    readable = ("%", 100.0, 1) if quantity in _PERCENT else _READABLE[unit]
    return Display(label, *readable)


def rows_text(rows):
    """Rows of cells as right-aligned columns; the last column is left-aligned."""
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]) - 1)]
    return "\n".join(
        "  ".join([*(c.rjust(w) for c, w in zip(row, widths, strict=False)), row[-1]]).rstrip()
        for row in rows
    )


def heading(names):
    """Header rows of a table of quantities: their words stacked, the unit below."""
    words = [name.split("_") for name in names]
    height = max((len(w) for w in words), default=0)
    stacked = [[""] * (height - len(w)) + w for w in words]
    rows = [[column[i] for column in stacked] for i in range(height)]
    return [*rows, [display(name).unit for name in names]]
