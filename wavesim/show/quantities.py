"""Quantities of an operating point and of traces: label, unit, meaning, and what people read."""

import textwrap
from collections.abc import Sequence
from typing import NamedTuple

from wavesim.errors import check_choice
from wavesim.fields.description import sequence
from wavesim.guard import guarded


class Quantity(NamedTuple):
    """What a name stands for.

    Attributes
    ----------
    label : str
        Words for tables and axes.
    unit : str
        SI unit, "1" for none.
    meaning : str
        How it is counted, in a sentence or two.
    shown : str
        Unit that people read, where it is not the usual one for the SI unit: "%".

    Examples
    --------
    >>> QUANTITIES["trapped_air"].unit
    'kg'
    """

    label: str
    unit: str
    meaning: str
    shown: str = ""


#: Scalars of a Point.
QUANTITIES = {
    "torque": Quantity(
        "torque", "N m",
        "Brake torque of the whole engine, mean over the cycle: net work of the gas on the "
        "pistons less friction by formula.",
    ),
    "power": Quantity(
        "power", "W", "Brake power: torque times angular speed of the crankshaft.",
    ),
    "bmep": Quantity(
        "brake mean effective pressure", "Pa",
        "imep_net less fmep; 4 pi times torque over the swept volume of all cylinders.",
    ),
    "imep_gross": Quantity(
        "gross indicated mean effective pressure", "Pa",
        "Work of the gas on the pistons in compression and expansion over the swept volume, mean "
        "of the cylinders; a stroke is half a turn, the first from the firing dead centre on.",
    ),
    "imep_net": Quantity(
        "net indicated mean effective pressure", "Pa",
        "Work of the gas on the pistons in all four strokes over the swept volume, mean of the "
        "cylinders: imep_gross less pmep.",
    ),
    "pmep": Quantity(
        "pumping mean effective pressure", "Pa",
        "Work of the pistons on the gas in the exhaust and the intake stroke over the swept "
        "volume: positive where pumping costs work.",
    ),
    "pmep_exhaust": Quantity(
        "pumping of the exhaust stroke", "Pa",
        "Part of pmep from the exhaust stroke, against the pressure outside the intake: positive "
        "where the piston pushes gas out against more than that.",
    ),
    "pmep_recompression": Quantity(
        "pumping while no valve is open", "Pa",
        "Part of pmep from exhaust closing to intake opening, against the pressure outside the "
        "intake: gas pressed together and let go; 0 with overlap.",
    ),
    "pmep_intake": Quantity(
        "pumping of the intake stroke", "Pa",
        "Part of pmep from the intake stroke, against the pressure outside the intake: positive "
        "where the piston draws gas in from less than that.  pmep is the sum of its three parts.",
    ),
    "blowdown_loss": Quantity(
        "work lost by opening before bottom dead centre", "Pa",
        "What an expansion without loss of heat or gas, from exhaust opening to bottom dead "
        "centre, would have given more, over the swept volume; it is missing in imep_gross and no "
        "part of pmep.",
    ),
    "fmep": Quantity(
        "friction mean effective pressure", "Pa",
        "Friction by the formula of the engine, from the mean piston speed and from peak_pressure; "
        "positive; auxiliaries count only as far as its constants hold them.",
    ),
    "volumetric_efficiency": Quantity(
        "volumetric efficiency", "1",
        "air_per_cycle over the dry air that fills the swept volume at the pressure, temperature "
        "and humidity of the surroundings of the intake, static; without fuel vapour and without "
        "burned gas.",
        "%",
    ),
    "air_per_cycle": Quantity(
        "air delivered to the cylinders per cycle", "kg",
        "Dry air in the fresh charge that passed the intake valves of all cylinders, less what "
        "flowed back; without the fuel vapour and the water vapour in it; what went on into the "
        "exhaust is counted.",
    ),
    "trapped_air": Quantity(
        "air trapped in the cylinders per cycle", "kg",
        "Dry air in the fresh charge of all cylinders when their intake valves have shut; air "
        "left over in burned gas is not counted.",
    ),
    "residual_fraction": Quantity(
        "residual gas at intake closing", "1",
        "Burned gas over all gas, by mass, of all cylinders when their intake valves have shut: "
        "what stayed, and what came back from exhaust and intake.  Spare air in burned gas counts "
        "as burned gas; outside air that came in by the tailpipe counts as neither.",
        "%",
    ),
    "scavenging_efficiency": Quantity(
        "fresh share of the trapped gas", "1",
        "Fresh charge over all gas, by mass, of all cylinders when their intake valves have shut.",
        "%",
    ),
    "trapping_efficiency": Quantity(
        "trapped share of the delivered fresh charge", "1",
        "Fresh charge in all cylinders when their intake valves have shut over what the intake "
        "valves delivered.",
        "%",
    ),
    "delivery_ratio": Quantity(
        "delivery ratio", "1",
        "Fresh charge that passed the intake valves, less what flowed back, over the fresh charge "
        "that fills the swept volume at the pressure and temperature of the surroundings of the "
        "intake (Heywood 1988, eq. 6.20).",
        "%",
    ),
    "charging_efficiency": Quantity(
        "charging efficiency", "1",
        "Fresh charge in all cylinders when their intake valves have shut over the same as in "
        "delivery_ratio: delivery_ratio times trapping_efficiency (Heywood 1988, eq. 6.24).",
        "%",
    ),
    "short_circuit": Quantity(
        "fresh charge lost to the exhaust per cycle", "kg",
        "Fresh charge, air and fuel, that left by the exhaust valves of all cylinders, less what "
        "came back.",
    ),
    "overlap_exhaust_backflow": Quantity(
        "gas from the exhaust back into the cylinders per cycle", "kg",
        "All gas that passes the exhaust valves into the cylinders during overlap.",
    ),
    "overlap_intake_backflow": Quantity(
        "gas from the cylinders into the intake per cycle", "kg",
        "All gas that passes the intake valves out of the cylinders during overlap.",
    ),
    "air_fuel_lambda": Quantity(
        "excess-air ratio", "1",
        "Air-fuel ratio of the fresh charge over the stoichiometric one: as the engine says, or "
        "as a given fuel flow makes it; below 1 is rich.",
    ),
    "air_fuel_ratio": Quantity(
        "air-fuel ratio by mass", "1",
        "Mass of dry air over mass of fuel in the fresh charge.",
    ),
    "air_mass_flow": Quantity(
        "air mass flow", "kg/s", "air_per_cycle as a mean over time.",
    ),
    "fuel_mass_flow": Quantity(
        "fuel mass flow", "kg/s",
        "Fuel in the fresh charge that the intake valves delivered, mean over time.",
    ),
    "exhaust_mass_flow": Quantity(
        "exhaust mass flow", "kg/s",
        "All gas that left by the exhaust valves less what came back, mean over time.",
    ),
    "bsfc": Quantity(
        "brake specific fuel consumption", "kg/J",
        "fuel_mass_flow over power, in g/kWh where people read it (1 kg/J is 3.6e9 g/kWh); NaN "
        "where there is no power.",
    ),
    "exhaust_temperature": Quantity(
        "mean stagnation temperature at the exhaust valves", "K",
        "Temperature whose enthalpy all gas that leaves by the exhaust valves carries on average "
        "over its mass, energy of motion included; a probe in the pipe reads another one.",
    ),
    "back_pressure": Quantity(
        "mean gauge pressure at the exhaust valves", "Pa",
        "Static pressure in the ducts at the exhaust valves, mean over time and cylinders, less "
        "that of the surroundings of the exhaust; it is not pmep.",
    ),
    "overlap_exhaust_pressure": Quantity(
        "mean pressure at the exhaust valves in overlap", "Pa",
        "Absolute, in the ducts at the exhaust valves, mean over the crank angle of the overlap "
        "and over the cylinders.  Overlap runs from intake opening to exhaust closing, both at the "
        "smaller of the two checking lifts; NaN without overlap.",
    ),
    "overlap_pressure_difference": Quantity(
        "mean pressure of intake less exhaust in overlap", "Pa",
        "In the ducts at the valves, mean over the overlap and the cylinders; positive where fresh "
        "charge is driven through the cylinder towards the exhaust.",
    ),
    "overlap_lowest_pressure": Quantity(
        "lowest pressure at the exhaust valves in overlap", "Pa",
        "Absolute, mean of the cylinders.",
    ),
    "overlap_lowest_angle": Quantity(
        "crank angle of the lowest pressure in overlap", "deg",
        "From the middle of the overlap, negative before it, mean of the cylinders.",
    ),
    "overlap_highest_pressure": Quantity(
        "highest pressure at the exhaust valves in overlap", "Pa",
        "Absolute, mean of the cylinders.",
    ),
    "overlap_highest_angle": Quantity(
        "crank angle of the highest pressure in overlap", "deg",
        "From the middle of the overlap, negative before it, mean of the cylinders.",
    ),
    "peak_pressure": Quantity(
        "peak cylinder pressure", "Pa",
        "Highest absolute pressure of the cycle in each cylinder, mean of the cylinders.",
    ),
    "peak_pressure_angle": Quantity(
        "crank angle of peak pressure", "deg",
        "After the firing dead centre of each cylinder, negative before it, mean of the cylinders.",
    ),
    "burn_angle_10": Quantity(
        "crank angle of 10 % burned", "deg",
        "After the firing dead centre of each cylinder, negative before it, where 10 % of the "
        "charge that burns has burned; mean of the cylinders.  As stated, or as a FlameScaling "
        "made it of the charge.",
    ),
    "burn_angle_50": Quantity(
        "crank angle of 50 % burned", "deg", "As burn_angle_10, for half of the charge.",
    ),
    "burn_angle_90": Quantity(
        "crank angle of 90 % burned", "deg", "As burn_angle_10, for 90 % of the charge.",
    ),
    "burn_duration": Quantity(
        "burn duration, 10 % to 90 %", "deg",
        "Crank angle from 10 % to 90 % burned of each cylinder, mean of the cylinders; the whole "
        "burn is longer.",
    ),
    "trapped_pressure": Quantity(
        "cylinder pressure at intake closing", "Pa",
        "Absolute pressure when the intake valve has shut, mean of the cylinders.",
    ),
    "trapped_temperature": Quantity(
        "cylinder temperature at intake closing", "K",
        "Temperature of the gas, well mixed and at rest, when the intake valve has shut, mean of "
        "the cylinders.",
    ),
    "opening_pressure": Quantity(
        "cylinder pressure at exhaust opening", "Pa",
        "Absolute pressure when the exhaust valve reaches its checking lift, mean of the "
        "cylinders.",
    ),
    "heat_loss_share": Quantity(
        "share of the released heat lost to the cylinder walls", "1",
        "Heat to head, pistons and liners over the whole cycle, less what they give back, over the "
        "heat released.",
        "%",
    ),
    "indicated_efficiency": Quantity(
        "net indicated efficiency", "1",
        "Net work of the gas on the pistons over the lower heating value of all fuel delivered, "
        "burned or not.",
        "%",
    ),
    "imep_spread": Quantity(
        "spread of imep_net between cylinders", "1",
        "Largest less smallest of the cylinders over their mean; 0 for one cylinder.", "%",
    ),
    "volumetric_efficiency_spread": Quantity(
        "spread of volumetric efficiency between cylinders", "1",
        "Largest less smallest of the cylinders over their mean; 0 for one cylinder.", "%",
    ),
    "residual_fraction_spread": Quantity(
        "spread of residual gas between cylinders", "1",
        "Largest less smallest of the cylinders over their mean, not in points; 0 for one "
        "cylinder.", "%",
    ),
    "peak_pressure_spread": Quantity(
        "spread of peak pressure between cylinders", "1",
        "Largest less smallest of the cylinders over their mean; 0 for one cylinder.", "%",
    ),
}
#: Those quantities that each cylinder has for itself.
_OWN = (
    "imep_gross", "imep_net", "pmep", "pmep_exhaust", "pmep_recompression", "pmep_intake",
    "blowdown_loss", "volumetric_efficiency", "air_per_cycle", "trapped_air",
    "residual_fraction", "scavenging_efficiency", "trapping_efficiency", "delivery_ratio",
    "charging_efficiency", "short_circuit", "overlap_exhaust_backflow", "overlap_intake_backflow",
    "exhaust_temperature", "back_pressure", "overlap_exhaust_pressure",
    "overlap_pressure_difference", "overlap_lowest_pressure", "overlap_lowest_angle",
    "overlap_highest_pressure", "overlap_highest_angle", "peak_pressure", "peak_pressure_angle",
    "burn_angle_10", "burn_angle_50", "burn_angle_90", "burn_duration", "trapped_pressure",
    "trapped_temperature", "opening_pressure", "heat_loss_share", "indicated_efficiency",
)
#: Arrays of a Point by cylinder: amounts of one cycle, then quantities of each cylinder alone.
CYLINDERS = {
    "work_expansion": Quantity(
        "work in the expansion stroke", "J",
        "Of the gas on the piston, from firing dead centre half a turn on.",
    ),
    "work_exhaust": Quantity(
        "work in the exhaust stroke", "J",
        "Of the gas on the piston, negative, in the next half turn.",
    ),
    "work_intake": Quantity(
        "work in the intake stroke", "J", "Of the gas on the piston, in the next half turn.",
    ),
    "work_compression": Quantity(
        "work in the compression stroke", "J",
        "Of the gas on the piston, negative, in the last half turn before firing.",
    ),
    "pumping_exhaust": Quantity(
        "work of pumping in the exhaust stroke", "J",
        "Of the piston on the gas, against the pressure outside the intake, while a valve is open.",
    ),
    "pumping_recompression": Quantity(
        "work of pumping while no valve is open", "J",
        "Of the piston on the gas, against the pressure outside the intake, from exhaust closing "
        "to intake opening.",
    ),
    "pumping_intake": Quantity(
        "work of pumping in the intake stroke", "J",
        "Of the piston on the gas, against the pressure outside the intake, while a valve is open.",
    ),
    "blowdown_work": Quantity(
        "work lost by blowdown", "J",
        "Against an expansion without loss from exhaust opening to bottom dead centre.",
    ),
    "released_heat": Quantity(
        "heat of combustion", "J", "Of the charge that burned, times the efficiency of combustion.",
    ),
    "wall_heat": Quantity(
        "heat to the cylinder walls", "J",
        "To head, piston and liner over the whole cycle, less what they give back.",
    ),
    "burned_charge": Quantity(
        "fresh charge that burned", "kg", "Air and fuel that turned into burned gas.",
    ),
    "trapped_mass": Quantity(
        "mass at intake closing", "kg", "All gas when the intake valve has shut.",
    ),
    "trapped_fresh": Quantity(
        "fresh charge at intake closing", "kg", "Air and fuel when the intake valve has shut.",
    ),
    "trapped_burned": Quantity(
        "burned gas at intake closing", "kg", "Burned gas when the intake valve has shut.",
    ),
    "intake_mass": Quantity(
        "mass through the intake valve", "kg", "All gas into the cylinder less what flowed back.",
    ),
    "intake_energy": Quantity(
        "energy through the intake valve", "J",
        "Stagnation enthalpy of that gas, 0 at 298.15 K.",
    ),
    "intake_fresh": Quantity(
        "fresh charge through the intake valve", "kg", "Air and fuel in that gas.",
    ),
    "intake_burned": Quantity(
        "burned gas through the intake valve", "kg",
        "Burned gas in that gas, negative where more was pushed back.",
    ),
    "exhaust_mass": Quantity(
        "mass through the exhaust valve", "kg", "All gas out of the cylinder less what came back.",
    ),
    "exhaust_energy": Quantity(
        "energy through the exhaust valve", "J",
        "Stagnation enthalpy of that gas, 0 at 298.15 K.",
    ),
    "exhaust_burned": Quantity(
        "burned gas through the exhaust valve", "kg", "Burned gas in that gas.",
    ),
    "opening_temperature": Quantity(
        "cylinder temperature at exhaust opening", "K",
        "When the exhaust valve reaches its checking lift.",
    ),
    "opening_mass": Quantity(
        "mass at exhaust opening", "kg", "When the exhaust valve reaches its checking lift.",
    ),
} | {name: QUANTITIES[name] for name in _OWN}
#: Quantities of a trace.
TRACES = {
    "pressure": Quantity("pressure", "Pa", "Static, absolute."),
    "velocity": Quantity(
        "velocity", "m/s",
        "Of the gas, mean over the section: in a duct along x, at a node out of the duct.",
    ),
    "temperature": Quantity("temperature", "K", "Static; at a node that of the last cell."),
    "fresh": Quantity(
        "mass fraction of fresh charge", "1", "Air with its fuel vapour; at a node of the last "
        "cell.",
    ),
    "burned": Quantity(
        "mass fraction of burned gas", "1", "With its spare air; the rest is outside air; at a "
        "node of the last cell.",
    ),
    "mass_flow": Quantity(
        "mass flow", "kg/s", "In a duct along x, at a node out of the duct.",
    ),
    "mass": Quantity("mass", "kg", "All gas in a cylinder, a volume or a junction."),
    "density": Quantity("density", "kg/m3", "From pressure, temperature and composition."),
    "sound_speed": Quantity(
        "speed of sound", "m/s", "From temperature and composition, composition frozen.",
    ),
    "gamma": Quantity(
        "ratio of heat capacities", "1", "From temperature and composition, composition frozen.",
    ),
    "mach": Quantity("Mach number", "1", "velocity over sound_speed, with the sign of velocity."),
    "volume": Quantity(
        "volume", "m3", "Of the gas in a cylinder, a volume or a junction.",
    ),
}
#: Levels of a SoundCurve.
SOUNDS = {
    "sound_level": Quantity(
        "sound pressure level", "dB",
        "Of all orders together, without weighting, 20 micropascals being 0; from the flow at the "
        "open ends alone: noise of the jet and sound of the shells are not in it.",
    ),
    "sound_level_a": Quantity(
        "A-weighted sound pressure level", "dB",
        "sound_level with the A-weighting of IEC 61672-1, which follows the ear at moderate "
        "levels.",
        "dB(A)",
    ),
}
#: Columns of a CSV file beside the quantities; those that are flags or counts have no unit.
COLUMNS = {
    "rpm": Quantity("engine speed", "rev/min", "Revolutions of the crankshaft."),
    "interpolated": Quantity(
        "interpolation", "", "1 where a curve was not computed but read off its neighbours.",
    ),
    "cycles": Quantity("number of cycles", "", "Engine cycles that were run on the final mesh."),
    "converged": Quantity(
        "convergence", "", "1 if the cycle repeated itself within the tolerance.",
    ),
    "mass_error": Quantity(
        "imbalance of mass", "1",
        "Mass that the books of the last cycle miss, over the air that passed.",
    ),
    "energy_error": Quantity(
        "imbalance of energy", "1",
        "Energy that the books of the last cycle miss, over the heat that was released.",
    ),
}
#: What people read: (unit, factor from SI, decimals) by SI unit, and by the unit that is shown.
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
    "kg/m3": ("kg/m3", 1.0, 3),
    "m3": ("cm3", 1e6, 1),
    "J": ("J", 1.0, 1),
    "1": ("", 1.0, 3),
    "%": ("%", 100.0, 1),
    "dB": ("dB", 1.0, 1),
    "dB(A)": ("dB(A)", 1.0, 1),
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
        A key of `QUANTITIES`, `CYLINDERS`, `TRACES` or `SOUNDS`.

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
    known = CYLINDERS | TRACES | SOUNDS | QUANTITIES
    found = known[check_choice("display", "quantity", quantity, known)]
    return Display(found.label, *_READABLE[found.shown or found.unit])


@guarded
def quantity_table(names: str | Sequence[str] | None = None) -> str:
    """What quantities mean, as text.

    Parameters
    ----------
    names : str, sequence of str, or None
        Keys of `QUANTITIES`, `CYLINDERS`, `TRACES` or `SOUNDS`; None: all, under headings.

    Returns
    -------
    str
        For each quantity its name, label and SI unit, and below these its meaning.

    Raises
    ------
    InputError
        If there is no such quantity.

    Examples
    --------
    >>> print(quantity_table("pmep"))
    pmep: pumping mean effective pressure [Pa]
        Work of the pistons on the gas in the exhaust and the intake stroke over the swept volume:
        positive where pumping costs work.
    """
    if names is None:
        own = {name: found for name, found in CYLINDERS.items() if name not in QUANTITIES}
        groups = {
            "Scalars of a point: point.values": QUANTITIES,
            "Arrays by cylinder: point.cylinders, beside "
            + ", ".join(name for name in CYLINDERS if name in QUANTITIES): own,
            "Traces: point.trace(quantity, at)": TRACES,
            "Sound: sound_curve(sweep)": SOUNDS,
        }
        return "\n\n".join(
            f"{textwrap.fill(title, 98)}\n\n{_entries(group)}" for title, group in groups.items()
        )
    if isinstance(names, str):
        names = [names]
    names = sequence("quantity_table", "names", names, "names of quantities")
    known = CYLINDERS | TRACES | SOUNDS | QUANTITIES
    chosen = [check_choice("quantity_table", "names", name, known) for name in names]
    return _entries({name: known[name] for name in chosen})


def _entries(quantities):
    return "\n".join(
        f"{name}: {found.label} [{found.unit}]\n"
        + textwrap.fill(found.meaning, 98, initial_indent="    ", subsequent_indent="    ")
        for name, found in quantities.items()
    )


def column_head(name):
    """Head of a column of a CSV file, such as "power [W]"; the argument is as in `column_notes`."""
    unit = (QUANTITIES | SOUNDS | COLUMNS)[name].unit
    return f"{name} [{unit}]" if unit else name


def column_notes(names):
    """Lines that say what the columns of a CSV file mean.

    Parameters
    ----------
    names : iterable of str
        Keys of `QUANTITIES`, `SOUNDS` or `COLUMNS`.

    Returns
    -------
    list of str

    Examples
    --------
    >>> column_notes(["power"])
    ['power [W]: Power.  Brake power: torque times angular speed of the crankshaft.']
    """
    known = QUANTITIES | SOUNDS | COLUMNS
    return [
        f"{column_head(name)}: {known[name].label[0].upper()}{known[name].label[1:]}.  "
        f"{known[name].meaning}"
        for name in names
    ]


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
