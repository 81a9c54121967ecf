"""Exact and reference solutions: textbook arithmetic, and what the solver is judged by.

Plain numpy and scipy in closed form, by quadrature or by root finding; nothing here knows the
kernels, so an error in the one cannot hide in the other.  ``help(wavesim.exact.NAME)`` tells units,
limits and source.

=============  =====================================================================================
module         content
=============  =====================================================================================
``tuning``     travel times, crank angles at which echoes are back, tuned lengths, rules of thumb:
               `arrival_angle`, `bore_rule`, `crank_angle`, `firing_frequency`, `length_rule`,
               `mean_speed`, `peak_torque_rule`, `resonant_rpm`, `return_delay`, `return_rpm`,
               `return_speed`, `round_trip_time`, `sound_speed`, `stroke_mean_speed`,
               `strong_return_time`, `travel_time`, `tuned_length`, `wave_time`
``waves``      simple waves, steepening, shocks at ends, waves at area changes and junctions:
               `accelerating_piston_shock`, `breaking_time`, `escape_speed`, `moving_shock`,
               `open_end_limits`, `piston_rarefaction`, `piston_shock`, `ramp_shock_distance`,
               `rarefaction_wall_time`, `reflect_closed`, `reflect_open`, `shock_at_closed_end`,
               `shock_at_open_end`, `simple_wave`, `simple_wave_field`,
               `sine_piston_shock_distance`, `wave_at_area_change`, `wave_at_junction`
``acoustics``  pipe modes, open ends, steps and junctions, resonators, sound:
               `FLANGED_END`, `PISTON_END`, `UNFLANGED_END`, `a_weighting`, `area_step`,
               `choked_nozzle_reflection`, `decibel_sum`, `distance_change`, `end_fit_davies`,
               `end_fit_silva`, `gradient_modes`, `helmholtz_frequency`,
               `helmholtz_frequency_distributed`, `junction`, `levine_schwinger`, `monopole_power`,
               `monopole_pressure`, `pipe_modes`, `radiated_fraction`, `sound_level`,
               `temperature_contact`
``silencers``  transmission loss of chambers, branches, perforated and packed pipes; fibre:
               `bies_hansen_resistivity`, `cox_resistivity`, `delany_bazley`,
               `expansion_chamber_loss`, `fibre_filling`, `helmholtz_branch_loss`,
               `hole_pressure_drop`, `miki`, `perforate_rao_munjal`, `perforate_sullivan_crocker`,
               `perforated_loss`, `quarter_wave_branch_loss`
``steady``     isentropic flow, shocks, nozzles, orifices, Fanno and Rayleigh:
               `NozzleShock`, `area_ratio`, `choked_flux`, `critical_pressure_ratio`,
               `dynamic_head_ratio`, `fanno_exit_mach`, `fanno_inlet_mach_choked`, `fanno_length`,
               `fanno_ratios`, `isentropic`, `mach_from_area_ratio`, `mach_from_fanno_length`,
               `mach_from_pressure_ratio`, `mach_from_rayleigh`, `normal_shock`, `nozzle_limits`,
               `nozzle_profile`, `nozzle_shock`, `nozzle_shock_from_back_pressure`, `orifice_flux`,
               `rayleigh`
``losses``     sudden enlargement, junctions, friction factors, cooling:
               `churchill`, `colebrook`, `combining_loss`, `dividing_loss`, `haaland`, `laminar`,
               `pipe_cooling`, `sudden_enlargement`
``riemann``    the exact Riemann problem of one or two perfect gases, vacuum included:
               `RiemannSolution`, `solve_riemann`
``engine``     crank, burning law, ideal cycle, vessels that empty:
               `crank_travel`, `crank_travel_slope`, `cylinder_volume`, `fastest_piston`,
               `filled_vessel_temperature`, `otto_efficiency`, `vessel_pressure`,
               `vessel_time_constant`, `vessel_unchoke_time`, `wiebe_burned`, `wiebe_progress`
=============  =====================================================================================

Sources are named by author and year.  Unless a docstring says otherwise a formula was written
down from memory of the source named and then checked by its numbers, which are collected in the
reference table of the validation folder and tested row by row.

Examples
--------
How long must a primary be whose echo is to come back 120 degrees after the exhaust valve opens, at
6500 rev/min, through gas of 850 K?  (It comes later in a running engine: see `tuned_length`.)

>>> import wavesim as ws
>>> c = ws.exact.sound_speed(850.0, gamma=1.33, gas_constant=288.0)
>>> end = ws.exact.UNFLANGED_END * 0.5 * 38 * ws.units.mm
>>> round(float(ws.exact.tuned_length(6500.0, 120.0, c, end_correction=end)), 3)
0.866
"""

from wavesim.constants import FLANGED_END, UNFLANGED_END
from wavesim.exact.acoustics import (
    PISTON_END,
    a_weighting,
    area_step,
    choked_nozzle_reflection,
    decibel_sum,
    distance_change,
    end_fit_davies,
    end_fit_silva,
    gradient_modes,
    helmholtz_frequency,
    helmholtz_frequency_distributed,
    junction,
    levine_schwinger,
    monopole_power,
    monopole_pressure,
    pipe_modes,
    radiated_fraction,
    sound_level,
    temperature_contact,
)
from wavesim.exact.engine import (
    crank_travel,
    crank_travel_slope,
    cylinder_volume,
    fastest_piston,
    filled_vessel_temperature,
    otto_efficiency,
    vessel_pressure,
    vessel_time_constant,
    vessel_unchoke_time,
    wiebe_burned,
    wiebe_progress,
)
from wavesim.exact.losses import (
    churchill,
    colebrook,
    combining_loss,
    dividing_loss,
    haaland,
    laminar,
    pipe_cooling,
    sudden_enlargement,
)
from wavesim.exact.riemann import RiemannSolution, solve_riemann
from wavesim.exact.silencers import (
    bies_hansen_resistivity,
    cox_resistivity,
    delany_bazley,
    expansion_chamber_loss,
    fibre_filling,
    helmholtz_branch_loss,
    hole_pressure_drop,
    miki,
    perforate_rao_munjal,
    perforate_sullivan_crocker,
    perforated_loss,
    quarter_wave_branch_loss,
)
from wavesim.exact.steady import (
    NozzleShock,
    area_ratio,
    choked_flux,
    critical_pressure_ratio,
    dynamic_head_ratio,
    fanno_exit_mach,
    fanno_inlet_mach_choked,
    fanno_length,
    fanno_ratios,
    isentropic,
    mach_from_area_ratio,
    mach_from_fanno_length,
    mach_from_pressure_ratio,
    mach_from_rayleigh,
    normal_shock,
    nozzle_limits,
    nozzle_profile,
    nozzle_shock,
    nozzle_shock_from_back_pressure,
    orifice_flux,
    rayleigh,
)
from wavesim.exact.tuning import (
    arrival_angle,
    bore_rule,
    crank_angle,
    firing_frequency,
    length_rule,
    mean_speed,
    peak_torque_rule,
    resonant_rpm,
    return_delay,
    return_rpm,
    return_speed,
    round_trip_time,
    sound_speed,
    stroke_mean_speed,
    strong_return_time,
    travel_time,
    tuned_length,
    wave_time,
)
from wavesim.exact.waves import (
    accelerating_piston_shock,
    breaking_time,
    escape_speed,
    moving_shock,
    open_end_limits,
    piston_rarefaction,
    piston_shock,
    ramp_shock_distance,
    rarefaction_wall_time,
    reflect_closed,
    reflect_open,
    shock_at_closed_end,
    shock_at_open_end,
    simple_wave,
    simple_wave_field,
    sine_piston_shock_distance,
    wave_at_area_change,
    wave_at_junction,
)

__all__ = [
    "FLANGED_END",
    "NozzleShock",
    "PISTON_END",
    "RiemannSolution",
    "UNFLANGED_END",
    "a_weighting",
    "accelerating_piston_shock",
    "area_ratio",
    "area_step",
    "arrival_angle",
    "bies_hansen_resistivity",
    "bore_rule",
    "breaking_time",
    "choked_flux",
    "choked_nozzle_reflection",
    "churchill",
    "colebrook",
    "combining_loss",
    "cox_resistivity",
    "crank_angle",
    "crank_travel",
    "crank_travel_slope",
    "critical_pressure_ratio",
    "cylinder_volume",
    "decibel_sum",
    "delany_bazley",
    "distance_change",
    "dividing_loss",
    "dynamic_head_ratio",
    "end_fit_davies",
    "end_fit_silva",
    "escape_speed",
    "expansion_chamber_loss",
    "fanno_exit_mach",
    "fanno_inlet_mach_choked",
    "fanno_length",
    "fanno_ratios",
    "fastest_piston",
    "fibre_filling",
    "filled_vessel_temperature",
    "firing_frequency",
    "gradient_modes",
    "haaland",
    "helmholtz_branch_loss",
    "helmholtz_frequency",
    "helmholtz_frequency_distributed",
    "hole_pressure_drop",
    "isentropic",
    "junction",
    "laminar",
    "length_rule",
    "levine_schwinger",
    "mach_from_area_ratio",
    "mach_from_fanno_length",
    "mach_from_pressure_ratio",
    "mach_from_rayleigh",
    "mean_speed",
    "miki",
    "monopole_power",
    "monopole_pressure",
    "moving_shock",
    "normal_shock",
    "nozzle_limits",
    "nozzle_profile",
    "nozzle_shock",
    "nozzle_shock_from_back_pressure",
    "open_end_limits",
    "orifice_flux",
    "otto_efficiency",
    "peak_torque_rule",
    "perforate_rao_munjal",
    "perforate_sullivan_crocker",
    "perforated_loss",
    "pipe_cooling",
    "pipe_modes",
    "piston_rarefaction",
    "piston_shock",
    "quarter_wave_branch_loss",
    "radiated_fraction",
    "ramp_shock_distance",
    "rarefaction_wall_time",
    "rayleigh",
    "reflect_closed",
    "reflect_open",
    "resonant_rpm",
    "return_delay",
    "return_rpm",
    "return_speed",
    "round_trip_time",
    "shock_at_closed_end",
    "shock_at_open_end",
    "simple_wave",
    "simple_wave_field",
    "sine_piston_shock_distance",
    "solve_riemann",
    "sound_level",
    "sound_speed",
    "stroke_mean_speed",
    "strong_return_time",
    "sudden_enlargement",
    "temperature_contact",
    "travel_time",
    "tuned_length",
    "vessel_pressure",
    "vessel_time_constant",
    "vessel_unchoke_time",
    "wave_at_area_change",
    "wave_at_junction",
    "wave_time",
    "wiebe_burned",
    "wiebe_progress",
]
