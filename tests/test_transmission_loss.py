"""Transmission loss of silencers at small amplitude against linear theory.

Theory: `wavesim.exact.silencers`, transfer matrices after Munjal (2014), and the rows AC-11 to
AC-15, LO-10 and LO-13 of the table of references.  The solver sends one pulse through the silencer
(`wavesim.transmission_loss`); its cells are 10 mm long unless a test says otherwise.
"""

from functools import cache

import numpy as np
import pytest
from marches import GAMMA, R
from references import references

import wavesim as ws
from wavesim import exact

C = 343.2  # m/s, in all rows
T = C**2 / (GAMMA * R)  # K
DENSITY = 101325.0 / (R * T)
FREQUENCY = np.arange(10.0, 1001.0, 10.0)


def computed(parts, frequencies=FREQUENCY, cell_length=0.01, **options):
    """Transmission loss [dB] in air at 343.2 m/s."""
    result = ws.transmission_loss(
        parts, temperature=T, frequencies=frequencies,
        settings=ws.Settings(cell_length=cell_length), **options,
    )
    assert result.quiet
    return result.loss


def rms(a, b, keep=slice(None)):
    return float(np.sqrt(np.mean((a - b)[keep] ** 2)))


# chambers -------------------------------------------------------------------------------------


def chamber(case):
    """Chamber of a row of AC-11 to AC-13; the tubes have thin walls, as in theory."""
    return ws.Chamber(
        case["length"], case["inlet"], case_diameter=case["diameter"], tube_wall=0.0003,
        end_diameter=case.get("outlet"), inlet_extension=case.get("inlet_inside", 0.0),
        outlet_extension=case.get("outlet_inside", 0.0),
    )


def test_expansion_chamber_has_the_loss_of_theory_below_500_hertz():
    """Within 0.1 dB rms at 10 mm cells was asked for; reached are 0.001 dB."""
    below = FREQUENCY <= 500.0
    for bore, outlet in ((0.05, None), (0.05, 0.04), (0.0375, None)):
        theory = exact.expansion_chamber_loss(FREQUENCY, 0.3, 0.15, bore, outlet, c=C)
        found = computed(ws.Chamber(0.3, bore, case_diameter=0.15, end_diameter=outlet))
        assert rms(found, theory, below) < 2e-3
        assert rms(found, theory) < 0.02


GIVEN = [row for row in references("AC-11", "AC-12", "AC-13") if "length" in row.case]


@cache
def at_published_frequencies(key):
    """Loss by frequency of one silencer, at all frequencies of its rows."""
    rows = [row for row in GIVEN if shape(row) == key]
    frequencies = [row.case["f"] for row in rows]
    return dict(zip(frequencies, computed(chamber(rows[0].case), frequencies, 0.005), strict=True))


def shape(row):
    return tuple((k, v) for k, v in row.case.items() if k != "f")


@pytest.mark.parametrize("row", GIVEN, ids=[row.label for row in GIVEN])
def test_chamber_has_the_published_loss(row):
    """Expansion chambers, unequal outlet, tubes that reach in: 5 mm cells, all within 0.1 dB of
    theory (0.3 dB and, with tubes inside, 0.5 dB were asked for).
    """
    assert at_published_frequencies(shape(row))[row.case["f"]] == pytest.approx(row.value, abs=0.1)


def test_chamber_with_tubes_inside_has_the_loss_of_theory_off_its_peaks():
    """Half- and quarter-length tubes: within 0.1 dB where the loss is below 30 dB and 20 Hz away
    from the sharp dips; 0.5 dB was asked for.
    """
    theory = exact.expansion_chamber_loss(FREQUENCY, 0.3, 0.15, 0.05, None, 0.15, 0.075, C)
    found = computed(chamber({"length": 0.3, "inlet": 0.05, "diameter": 0.15,
                              "inlet_inside": 0.15, "outlet_inside": 0.075}))
    steep = np.abs(np.gradient(theory, FREQUENCY)) > 0.1  # dB/Hz
    off_peak = (theory < 30.0) & ~steep
    assert off_peak.sum() > 80
    assert np.abs(found - theory)[off_peak].max() < 0.1


def test_two_chambers_with_a_shared_tube_have_the_loss_of_the_chain():
    """Baffle with an internal tube: the chain of two chambers and the pipe between them, within
    0.1 dB off the steep flanks at 5 mm cells.
    """
    both = (
        ws.Chamber(0.2, 0.05, case_diameter=0.15, outlet_extension=0.05, tube_wall=0.0003),
        ws.Chamber(0.25, 0.05, case_diameter=0.15, inlet_extension=0.05, tube_wall=0.0003),
    )
    found, k = computed(both, cell_length=0.005), 2.0 * np.pi * FREQUENCY / C
    wide, narrow = 0.15**2, 0.05**2

    def pipe(length, area):
        cos, sin = np.cos(k * length), np.sin(k * length)
        return np.moveaxis(np.array([[cos, 1j * sin / area], [1j * area * sin, cos]]), -1, 0)

    stub = np.zeros((k.size, 2, 2), complex) + np.eye(2)
    stub[:, 1, 0] = 1j * (wide - narrow) * np.tan(0.05 * k)
    chain = pipe(0.15, wide) @ stub @ pipe(0.1, narrow) @ stub @ pipe(0.2, wide)
    (a, b), (c, d) = np.moveaxis(chain, 0, -1)
    theory = 20.0 * np.log10(np.abs(a + b * narrow + c / narrow + d) / 2.0)
    smooth = np.abs(np.gradient(theory, FREQUENCY)) < 0.1
    assert np.abs(found - theory)[smooth].max() < 0.1


# side branches --------------------------------------------------------------------------------

SIDE = [row for row in references("AC-14")]


def test_quarter_wave_tube_has_the_published_loss():
    """AC-14, all seven frequencies within 0.3 dB (0.8 dB beside the peak), 5 mm cells."""
    case = SIDE[0].case
    tube = ws.SideTube(case["length"], case["diameter"], end_correction=0.0)
    found = computed(tube, [row.case["f"] for row in SIDE], 0.005, bore=case["pipe"])
    for row, loss in zip(SIDE, found, strict=True):
        steep = abs(row.case["f"] - 343.2) < 10.0
        assert loss == pytest.approx(row.value, abs=0.8 if steep else 0.05)


def test_helmholtz_resonator_has_the_loss_of_a_neck_with_waves_in_it():
    """The branch of a tube with a volume behind it, Y = j tan(kL + phi) S with the volume as the
    end; within 0.05 dB beside the peak.  The lumped neck of AC-15 resonates 1.2 % higher (136.9
    against 135.3 Hz): its rows are met within 1 dB, most of them within 0.1 dB.
    """
    case = references("AC-15")[0].case
    area, volume, pipe = np.pi * case["radius"] ** 2, case["volume"], 0.25 * np.pi * 0.05**2
    can = ws.Resonator(volume=volume, neck_length=case["length"], neck_diameter=0.02,
                       end_correction=0.0, cell_length=0.005)
    rows = [row for row in references("AC-15") if row.quantity == "transmission_loss"]
    f0 = references("AC-15")[0].value
    frequencies = np.array([row.case["f_over_f0"] * f0 for row in rows])
    found = computed(can, np.append(frequencies, FREQUENCY), bore=0.05)
    for row, loss in zip(rows, found, strict=False):
        assert loss == pytest.approx(row.value, abs=1.0)
    k = 2.0 * np.pi * FREQUENCY / C
    end = 1j * k * volume  # admittance of the volume
    swing = 1j * area * np.tan(k * case["length"])
    branch = area * (end + swing) / (area + 1j * end * np.tan(k * case["length"]))
    theory = 20.0 * np.log10(np.abs(1.0 + branch / (2.0 * pipe)))
    beside = np.abs(FREQUENCY - 135.3) > 15.0
    assert np.abs(found[len(rows):] - theory)[beside].max() < 0.05


# perforated cores -----------------------------------------------------------------------------


def silencer(length, bore, shell, porosity, hole, wall, packing=None):
    """Perforated silencer whose annulus has the area that theory gives it (no core wall)."""
    outer = bore + 2.0 * wall
    return ws.PerforatedSilencer(
        length, bore, case_diameter=np.sqrt(shell**2 - bore**2 + outer**2), hole_diameter=hole,
        porosity=porosity, core_wall=wall, packing=packing,
    )


LO10 = references("LO-10")


def test_concentric_resonator_has_the_loss_of_theory():
    """LO-10, impedance of Sullivan and Crocker, 10 mm cells: 0.02 dB rms to 1 kHz, where 0.2 dB was
    asked for; 0.1 dB to 1.5 kHz.  Above, the resonance of the holes needs shorter cells.
    """
    case = LO10[0].case
    size = [case[n] for n in ("length", "pipe", "shell", "porosity", "hole", "wall")]
    frequency = np.arange(25.0, 1501.0, 25.0)
    theory = exact.perforated_loss(frequency, *size, C)
    found = computed(silencer(*size), frequency)
    assert rms(found, theory, frequency <= 1000.0) < 0.02
    assert rms(found, theory) < 0.1


def test_concentric_resonator_has_the_published_loss():
    """LO-10: 1 dB below 2 kHz was asked for; 0.1 dB at 5 mm cells."""
    rows = [row for row in LO10 if row.case["f"] <= 1500.0]
    size = [rows[0].case[n] for n in ("length", "pipe", "shell", "porosity", "hole", "wall")]
    found = computed(silencer(*size), [row.case["f"] for row in rows], 0.005)
    for row, loss in zip(rows, found, strict=True):
        assert loss == pytest.approx(row.value, abs=0.1)


@pytest.mark.parametrize("porosity", [0.001, 0.05, 0.3, 0.6])
def test_perforated_silencer_has_the_loss_of_theory_at_any_porosity(porosity):
    """300 mm long, case of 100 mm, to 1 kHz: 0.1 dB rms at 10 mm cells."""
    size = 0.3, 0.0493, 0.1, porosity, 2.49e-3, 0.81e-3
    theory = exact.perforated_loss(FREQUENCY, *size, C)
    assert rms(computed(silencer(*size)), theory) < 0.1


def test_error_of_a_perforated_silencer_falls_with_the_square_of_the_cells():
    size = 0.0667, 0.0493, 0.0762, 0.037, 2.49e-3, 0.81e-3
    frequency = np.arange(100.0, 1501.0, 100.0)
    theory = exact.perforated_loss(frequency, *size, C)
    coarse, fine = (rms(computed(silencer(*size), frequency, dx), theory) for dx in (0.01, 0.005))
    assert coarse > 3.0 * fine


# packings -------------------------------------------------------------------------------------

VISCOSITY = 1.716e-5 * (T / 273.15) ** 1.5 * (273.15 + 110.4) / (T + 110.4)  # Sutherland
WARM = VISCOSITY / 1.81e-5  # resistivities are given for 293 K


def packed(resistivity, bulk_density):
    """Loss by the solver, by the linear model of the same fibre, and by Delany and Bazley."""
    size = 0.2572, 0.049, 0.1644, 0.08, 2.49e-3, 0.9e-3
    packing = ws.Packing(bulk_density=bulk_density, flow_resistivity=resistivity)
    share, d = packing.gas_fraction, packing.fibre.diameter
    conductance = 4.0 * 0.05 * (1.0 - share) / (share * d**2)  # W/m3/K, Nu = 1 on every fibre
    heat_time = DENSITY * R / (GAMMA - 1.0) / conductance
    hole_packing = 0.5 * 0.75 * size[4] * resistivity * WARM / (DENSITY * C) / size[3]

    def wall(f):
        return exact.perforate_sullivan_crocker(2.0 * np.pi * f / C, *size[3:]) + hole_packing

    def model(filling, impedance=None):
        return exact.perforated_loss(FREQUENCY, *size, C, filling, impedance)

    same = model(lambda f: exact.fibre_filling(
        f, resistivity * WARM, share, DENSITY, GAMMA, heat_time), wall)
    fine = model(lambda f: exact.fibre_filling(
        f, resistivity * WARM, share, DENSITY, GAMMA), wall)
    measured_fit = model(lambda f: exact.delany_bazley(f, resistivity))
    return computed(silencer(*size, packing)), same, fine, measured_fit


@pytest.mark.parametrize("resistivity,bulk_density", [(4896.0, 100.0), (17378.0, 200.0)])
def test_packed_silencer_has_the_loss_of_the_linear_model_of_its_fibre(resistivity, bulk_density):
    """Two ducts with the same flow resistivity: 0.5 dB was asked for, 0.2 dB is met everywhere.

    With isothermal sound in the fibre, which 24 um fibres do not quite force, theory is up to 2 dB
    (14 um: less) away at 1 kHz: stated, not hidden.
    """
    found, same, fine, _ = packed(resistivity, bulk_density)
    assert np.abs(found - same).max() < 0.2
    assert np.abs(found - fine)[FREQUENCY <= 300.0].max() < 0.5
    assert np.abs(found - fine).max() < 2.5


@pytest.mark.parametrize("resistivity,bulk_density", [(4896.0, 100.0), (17378.0, 200.0)])
def test_packed_silencer_follows_the_fit_of_delany_and_bazley(resistivity, bulk_density):
    """LO-13: 3 dB, trend only; the fit is near its lower limit at 100 Hz."""
    found, _, _, fit = packed(resistivity, bulk_density)
    assert np.abs(found - fit)[FREQUENCY >= 100.0].max() < 3.0
    rows = [row for row in references("LO-13") if row.case["resistivity"] == resistivity]
    for row in rows:
        assert np.interp(row.case["f"], FREQUENCY, found) == pytest.approx(row.value, abs=3.0)


# the function itself --------------------------------------------------------------------------


def test_straight_pipe_has_no_loss_but_that_of_the_scheme():
    """0.4 m of pipe: 0.004 dB at 500 Hz and 0.02 dB at 1 kHz, where 34 cells make a wave."""
    loss = np.abs(computed(ws.Pipe(0.4, 0.05)))
    assert loss[FREQUENCY <= 500.0].max() < 5e-3
    assert loss.max() < 0.03


def test_hot_exhaust_gas_moves_the_curve_with_the_sound_speed():
    gas, chamber_ = ws.EngineGas(), ws.Chamber(0.3, 0.05, case_diameter=0.15)
    c = float(gas.sound_speed(900.0, 0.0, 1.0))
    found = ws.transmission_loss(chamber_, gas=gas, temperature=900.0, frequencies=FREQUENCY)
    theory = exact.expansion_chamber_loss(FREQUENCY, 0.3, 0.15, 0.05, c=c)
    assert rms(found.loss, theory) < 0.01


def test_a_network_is_judged_between_its_named_ducts():
    """The same chamber built by hand, and as parts."""
    net = ws.Network(
        {"before": ws.Pipe(1.5, 0.05), "box": ws.Pipe(0.3, 0.15), "behind": ws.Pipe(0.1, 0.05)},
        {"in": ws.AnechoicEnd("before.start", temperature=T),
         "out": ws.AnechoicEnd("behind.end", temperature=T),
         "wide": ws.AreaStep(("before.end", "box.start")),
         "narrow": ws.AreaStep(("box.end", "behind.start"))},
    )
    by_hand = computed(net, inlet="before", outlet="behind")
    by_part = computed(ws.Chamber(0.3, 0.05, case_diameter=0.15))
    assert by_hand == pytest.approx(by_part, abs=1e-4)


def test_result_can_be_drawn_and_written(tmp_path):
    result = ws.transmission_loss(
        ws.Chamber(0.3, 0.05, case_diameter=0.15), frequencies=np.arange(50.0, 801.0, 50.0)
    )
    theory = exact.expansion_chamber_loss(FREQUENCY, 0.3, 0.15, 0.05)
    ax = result.plot(reference=(FREQUENCY, theory))
    assert ax.get_xlabel() == "frequency [Hz]" and len(ax.lines) == 2
    result.to_csv(tmp_path / "loss.csv")
    f, loss = np.loadtxt(tmp_path / "loss.csv", delimiter=",", skiprows=1).T
    assert f == pytest.approx(result.frequency) and loss == pytest.approx(result.loss)


BAD = [
    (dict(line=ws.SideTube(0.2, 0.04)), "bore"),
    (dict(line=()), "line"),
    (dict(line="pipe"), "line"),
    (dict(line=ws.Pipe(0.2, 0.05), frequencies=[0.0]), "frequencies"),
    (dict(line=ws.Pipe(0.2, 0.05), frequencies=[9000.0]), "cell_length"),
    (dict(line=ws.Pipe(0.2, 0.05), temperature=-5.0), "temperature"),
    (dict(line=ws.Pipe(0.2, 0.05), amplitude=2.0), "amplitude"),
    (dict(line=ws.Pipe(0.2, 0.05), bore=50.0), "bore"),
]


@pytest.mark.parametrize("given,name", BAD, ids=[f"{i} {b[1]}" for i, b in enumerate(BAD)])
def test_bad_input_is_refused_by_name(given, name):
    with pytest.raises(ws.InputError, match=name):
        ws.transmission_loss(**given)


NET = {"a": ws.Pipe(1.5, 0.05), "b": ws.Pipe(0.1, 0.05)}


@pytest.mark.parametrize("nodes,options,words", [
    ({"x": ws.ClosedEnd("a.start")}, {}, "AnechoicEnd"),
    ({"x": ws.AnechoicEnd("a.start")}, {"inlet": "c"}, "valid are"),
    ({"x": ws.AnechoicEnd("a.start")}, {"frequencies": [20.0]}, "at least"),
])
def test_unfit_network_is_refused_with_the_reason(nodes, options, words):
    net = ws.Network(
        NET, nodes | {"s": ws.AreaStep(("a.end", "b.start")), "y": ws.AnechoicEnd("b.end")}
    )
    with pytest.raises(ws.InputError, match=words):
        ws.transmission_loss(net, **{"inlet": "a", "outlet": "b"} | options)
