"""Numbers that several rooms share: each is written once, here.

Those that the kernels need too stand in `wavesim.kernels.constants`.
"""

# --- ranges ------------------------------------------------------------------------------------
RPM_RANGE = (100.0, 30000.0)  #: engine speed [rev/min]
LAMBDA_RANGE = (0.6, 1.6)  #: excess-air ratio [1]
MAX_CYLINDERS = 64  #: of an engine
AIR_PRESSURE_RANGE = (3e4, 3e5)  #: of the air outside [Pa]
CELL_RANGE = (0.0005, 1.0)  #: wanted length of computing cells [m]
WALL_TEMPERATURE_RANGE = (200.0, 1500.0)  #: [K]
FACTOR_RANGE = (0.0, 10.0)  #: factors on friction and heat of a wall [1]
SHEET_RANGE = (0.0003, 0.01)  #: thickness of the sheet of cases and tubes in them [m]
DISCHARGE_RANGE = (0.0, 1.2)  #: discharge coefficients, the lower limit excluded [1]
HOLE_RANGE = (0.0003, 0.03)  #: diameter of the holes of a perforated wall [m]
POROSITY_RANGE = (0.001, 0.6)  #: open share of a perforated wall [1]

# --- air ---------------------------------------------------------------------------------------
ZERO_CELSIUS = 273.15  #: [K]
#: Standard atmosphere [Pa], and 25 degC [K]: the air outside unless another is described.  Heats of
#: formation are stated, and enthalpies counted from, this temperature.
STANDARD_PRESSURE, STANDARD_TEMPERATURE = 101325.0, 298.15
R_AIR = 287.05  #: gas constant of dry air [J/(kg K)]

# --- openings ----------------------------------------------------------------------------------
#: Acoustic length of an open pipe end over its radius, at low frequency: thin-walled and free,
#: Levine and Schwinger (1948), whose integral itself gives 0.6127; in a wide wall, Nomura et al.
#: (1960), Norris and Sheng (1989) (from memory).
UNFLANGED_END, FLANGED_END = 0.6133, 0.8217
#: Acoustic length of a hole in a perforated wall beyond the wall, over its diameter, both sides
#: together: Sullivan and Crocker, J. Acoust. Soc. Am. 64 (1978) (from memory).
HOLE_END = 0.75
#: Of the holes of a perforated wall [1]; square-edged ones have 0.7 to 0.85 (common practice, no
#: source).
HOLE_DISCHARGE = 0.76
