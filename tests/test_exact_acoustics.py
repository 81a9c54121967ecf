"""Linear acoustics and silencers against published numbers and against energy balances."""

import numpy as np
import pytest
from exact_checks import check, rows
from references import reference

from wavesim import exact
from wavesim.errors import InputError


def circle(diameter):
    return 0.25 * np.pi * diameter**2


def uniform_pipe(length, c, mode, ends="closed-open"):
    return {"frequency": exact.pipe_modes(length, ends, int(mode), c)[-1]}


def temperature(T, gamma, R, length=None):
    c = exact.sound_speed(T, gamma, R)
    if length is None:
        return {"sound_speed": c}
    return {"quarter_wave": exact.pipe_modes(length, "closed-open", 1, c)[0]}


def hot_pipe(T_closed, T_open, length, gamma, R):
    def profile(x):
        return T_closed + (T_open - T_closed) * x / length

    first, second = exact.gradient_modes(profile, length, "closed-open", 2, gamma, R)
    travel = exact.travel_time(profile, length, gamma, R)
    return {
        "mode_1": first,
        "mode_2": second,
        "travel_time": travel,
        "travel_estimate": 0.25 / travel,
    }


def corrected_pipe(length, radius, c, correction):
    modes = exact.pipe_modes(length, "closed-open", 1, c, end_correction=correction * radius)
    return {"frequency": modes[0]}


def flowing_pipe(length, c, mach):
    return {"frequency": exact.pipe_modes(length, "closed-open", 1, c, mach=mach)[0]}


def resonator(radius, length, volume, c, corrections=0.0):
    area = circle(2.0 * radius)
    return {
        "lumped": exact.helmholtz_frequency(area, length + corrections * radius, volume, c),
        "distributed": exact.helmholtz_frequency_distributed(area, length, volume, c),
    }


MODES = {
    "AC-1": uniform_pipe,
    "AC-2": uniform_pipe,
    "AC-3": uniform_pipe,
    "AC-4": temperature,
    "AC-5": hot_pipe,
    "AC-8": corrected_pipe,
    "AC-9": flowing_pipe,
    "AC-10": resonator,
}


@rows(MODES)
def test_pipe_and_resonator_ring_at_the_published_frequency(row):
    check(MODES, row)


def open_end(ka=None):
    if ka is None:
        return {"end_correction_published": exact.UNFLANGED_END}
    theory = exact.levine_schwinger(ka)
    fit = exact.end_fit_silva(ka)
    return {
        "reflection": theory.reflection,
        "end_correction": theory.correction,
        "reflection_davies": exact.end_fit_davies(ka),
        "reflection_silva": fit.reflection,
        "end_correction_silva": fit.correction,
    }


def other_ends():
    return {
        "end_correction_flanged": exact.FLANGED_END,
        "end_correction_piston": exact.PISTON_END,
    }


def radiation(radius, f, c):
    ka = 2.0 * np.pi * f / c * radius
    return {"ka": ka, "radiated_fraction": exact.radiated_fraction(ka)}


ENDS = {"AC-6": open_end, "AC-7": other_ends, "SO-4": radiation}


@rows(ENDS)
def test_open_end_reflects_as_published(row):
    check(ENDS, row)


def area_step(area_ratio):
    return exact.area_step(1.0, area_ratio)._asdict()


def pipes_meet(pipes=0.0, primaries=0.0, primary=0.0, collector=0.0, incident="primary"):
    if pipes:
        return exact.junction([1.0] * int(pipes))._asdict()
    areas = [circle(primary)] * int(primaries) + [circle(collector)]
    return exact.junction(areas, 0 if incident == "primary" else -1)._asdict()


def gas_contact(T_1, T_2):
    return exact.temperature_contact(T_1, T_2)._asdict()


def choked_nozzle(mach, gamma):
    return {"reflection": exact.choked_nozzle_reflection(mach, gamma)}


SCATTERERS = {
    "AC-16": area_step,
    "AC-17": pipes_meet,
    "AC-18": gas_contact,
    "AC-19": choked_nozzle,
}


@rows(SCATTERERS)
def test_plane_wave_is_split_as_published(row):
    check(SCATTERERS, row)


def chamber(f=None, ratio=None, kl_over_pi=None, **shape):
    if ratio is None:
        return {"transmission_loss": exact.expansion_chamber_loss(f, **shape)}
    loss = exact.expansion_chamber_loss(kl_over_pi, 0.5, np.sqrt(ratio), 1.0, c=1.0)
    return {"transmission_loss": loss}


def quarter_wave(f, length, diameter, pipe, c):
    return {"transmission_loss": exact.quarter_wave_branch_loss(f, length, diameter, pipe, c)}


def helmholtz_branch(radius, length, volume, pipe, c, f_over_f0=1.1):
    neck, pipe_area = circle(2.0 * radius), circle(pipe)
    f0 = exact.helmholtz_frequency(neck, length, volume, c)
    loss = exact.helmholtz_branch_loss(f_over_f0 * f0, neck, length, volume, pipe_area, c)
    return {"resonance": f0, "transmission_loss": loss}


def concentric(f, **shape):
    return {"transmission_loss": exact.perforated_loss(f, **shape)}


def packed(f, resistivity, density, **shape):
    def filling(frequency):
        return exact.delany_bazley(frequency, resistivity, density)

    return {"transmission_loss": exact.perforated_loss(f, filling=filling, **shape)}


SILENCERS = {
    "AC-11": chamber,
    "AC-12": chamber,
    "AC-13": chamber,
    "AC-14": quarter_wave,
    "AC-15": helmholtz_branch,
    "LO-10": concentric,
    "LO-13": packed,
}


@rows(SILENCERS)
def test_silencer_has_the_published_transmission_loss(row):
    check(SILENCERS, row)


def perforate(porosity, hole=None, wall=None, f=None, mach=None, c=None, **jet):
    if jet:
        return {"hole_pressure_drop": exact.hole_pressure_drop(porosity=porosity, **jet)}
    if c is None:
        z = exact.perforate_rao_munjal(f, porosity, hole, wall, mach)
        return {"rao_munjal_resistance": z.real, "rao_munjal_reactance": z.imag}
    z = exact.perforate_sullivan_crocker(2.0 * np.pi * f / c, porosity, hole, wall)
    return {"sullivan_crocker_resistance": z.real, "sullivan_crocker_reactance": z.imag}


def resistivity(kind=None, bulk_density=None, fibre=None, **fibres):
    if kind is None:
        return {"bies_hansen": exact.bies_hansen_resistivity(bulk_density, fibre)}
    return {"cox": exact.cox_resistivity(kind=kind, **fibres)}


def absorber(f, resistivity, density, c):
    k0 = 2.0 * np.pi * f / c
    bazley, later = exact.delany_bazley(f, resistivity, density), exact.miki(f, resistivity)
    return {
        "delany_bazley_attenuation": bazley.attenuation(k0),
        "delany_bazley_resistance": bazley.impedance.real,
        "delany_bazley_reactance": bazley.impedance.imag,
        "miki_attenuation": later.attenuation(k0),
    }


MATERIALS = {"LO-9": perforate, "LO-11": resistivity, "LO-12": absorber}


@rows(MATERIALS)
def test_holes_and_wool_resist_as_published(row):
    check(MATERIALS, row)


def weighting(f):
    gain = float(exact.a_weighting(f))
    return {"a_weighting": gain, "a_weighting_table": gain}


def monopole(density, f, flow, distance, c=343.0):
    pressure = exact.monopole_pressure(density, f, flow, distance)
    wall = exact.monopole_pressure(density, f, flow, distance, half_space=True)
    power = exact.monopole_power(density, c, f, flow)
    return {
        "pressure": pressure,
        "level": exact.sound_level(pressure),
        "level_half_space": exact.sound_level(wall),
        "power": power,
        "power_level": exact.sound_level(power, 1e-12, power=True),
    }


def levels(near=None, far=None, sources=None):
    if sources is None:
        return {"distance_change": exact.distance_change(near, far)}
    return {"sum_of_equal": exact.decibel_sum([0.0] * int(sources))}


SOUND = {"SO-1": weighting, "SO-2": monopole, "SO-3": levels}


@rows(SOUND)
def test_sound_level_is_the_published_one(row):
    check(SOUND, row)


def test_end_correction_integral_is_near_the_published_figure():
    published = reference("AC-6", "end_correction_published").value
    assert exact.levine_schwinger(0.0).correction == pytest.approx(published, rel=2e-3)
    assert exact.levine_schwinger(1e-3).correction == pytest.approx(
        exact.levine_schwinger(0.0).correction, rel=1e-4
    )


def test_open_end_loses_little_at_low_frequency():
    ka = 0.01
    lost = 1.0 - exact.levine_schwinger(ka).reflection ** 2
    assert lost == pytest.approx(exact.radiated_fraction(ka), rel=2e-3)


def test_open_end_theory_is_refused_beyond_its_range():
    with pytest.raises(InputError, match="levine_schwinger"):
        exact.levine_schwinger(3.9)


@pytest.mark.parametrize("ends", ["closed-open", "open-open", "closed-closed"])
def test_gradient_modes_of_an_even_pipe_are_the_uniform_ones(ends):
    c = exact.sound_speed(600.0, 1.4, 287.05)
    even = exact.gradient_modes(lambda x: 600.0, 0.8, ends, 3, 1.4, 287.05)
    assert np.allclose(even, exact.pipe_modes(0.8, ends, 3, c), rtol=1e-9)


@pytest.mark.parametrize("areas", [(1.0, 3.0), (1.0, 1.0, 4.0), (2.0, 1.0, 0.5, 0.1)])
def test_junction_keeps_the_power_of_the_wave(areas):
    wave = exact.junction(areas)
    power = areas[0] * wave.reflection**2 + sum(areas[1:]) * wave.transmission**2
    assert power == pytest.approx(areas[0], rel=1e-14)


def test_contact_seen_from_the_other_side_turns_the_sign():
    there, back = exact.temperature_contact(900.0, 600.0), exact.temperature_contact(600.0, 900.0)
    assert there.reflection == pytest.approx(-back.reflection, rel=1e-14)


def test_chamber_matrix_gives_the_closed_formula():
    f, m = np.linspace(20.0, 1500.0, 50), 9.0
    kl = 2.0 * np.pi * f / 343.2 * 0.3
    formula = 10.0 * np.log10(1.0 + 0.25 * (m - 1.0 / m) ** 2 * np.sin(kl) ** 2)
    assert np.allclose(exact.expansion_chamber_loss(f, 0.3, 0.15, 0.05), formula, atol=1e-10)


def test_chamber_with_a_narrow_outlet_gives_the_closed_formula():
    """Power in over power out; the smaller outlet loses more, not less."""
    f, area_in, area_out = np.linspace(20.0, 1500.0, 50), circle(0.05), circle(0.04)
    kl, area = 2.0 * np.pi * f / 343.2 * 0.3, circle(0.15)
    even = ((1.0 + area_out / area_in) * np.cos(kl)) ** 2
    odd = ((area_out / area + area / area_in) * np.sin(kl)) ** 2
    formula = 10.0 * np.log10(0.25 * area_in / area_out * (even + odd))
    loss = exact.expansion_chamber_loss(f, 0.3, 0.15, 0.05, 0.04)
    assert np.allclose(loss, formula, atol=1e-10)
    assert (loss >= 0.0).all()


def test_tubes_reaching_inside_fill_the_pass_bands_but_not_every_one():
    f = 343.2 / 0.6 * np.array([1.0, 3.0, 4.0])
    loss = exact.expansion_chamber_loss(f, 0.3, 0.15, 0.05, inlet_inside=0.15, outlet_inside=0.075)
    assert (loss[:2] > 60.0).all() and abs(loss[2]) < 1e-6
    with pytest.raises(InputError, match="overlap"):
        exact.expansion_chamber_loss(f, 0.3, 0.15, 0.05, inlet_inside=0.2, outlet_inside=0.2)


def test_chamber_loses_the_same_in_both_directions():
    f = np.linspace(50.0, 1000.0, 20)
    there = exact.expansion_chamber_loss(f, 0.3, 0.15, 0.05, 0.04, 0.1, 0.03)
    back = exact.expansion_chamber_loss(f, 0.3, 0.15, 0.04, 0.05, 0.03, 0.1)
    assert np.allclose(there, back, atol=1e-9)


def test_holes_without_resistance_turn_the_perforated_tube_into_a_chamber():
    f = np.array([250.0, 1000.0, 2000.0])
    tube = exact.perforated_loss(
        f, 0.0667, 0.0493, 0.0762, 0.037, 2.49e-3, 0.81e-3, impedance=lambda f: 1e-6j
    )
    assert np.allclose(tube, exact.expansion_chamber_loss(f, 0.0667, 0.0762, 0.0493), atol=0.01)


def test_wall_without_holes_lets_everything_pass():
    blocked = exact.perforated_loss(
        500.0, 0.3, 0.05, 0.1, 0.05, 3e-3, 1e-3, impedance=lambda f: 1e9
    )
    assert abs(blocked) < 1e-6


def test_unknown_choice_is_refused_with_the_list():
    with pytest.raises(InputError, match="closed-open"):
        exact.pipe_modes(1.0, "open-closed", 1, 343.0)
    with pytest.raises(InputError, match="mineral"):
        exact.cox_resistivity(0.04, 5e-6, "cotton")
