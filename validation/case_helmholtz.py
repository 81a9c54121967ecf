"""Helmholtz resonator: the tone of neck and volume, and the loss it makes beside a pipe.

Free: a volume sounds through its neck, with no pressure at the mouth.  The neck is a duct, so the
tone obeys kL tan kL = S L/V; the lumped formula c/(2 pi) sqrt(S/(V L)) leaves out the gas spring of
the neck itself, S L/(6 V) of the frequency (Kinsler et al. 2000, ch. 10; end corrections are added
to L).  Beside a pipe: frequency of the largest transmission loss, and the loss around it, in air
and in burned gas of 900 K, against the branch of a neck with waves in it and the lumped one.
"""

import numpy as np
from marches import AIR, GAMMA, IDEAL, P0, R, cut, modes
from references import reference, references
from suite import Case, Check
from transmission import FREQUENCY, GASES, C, area, computed, draw_loss, peak, sound_speed, worst

import wavesim as ws
from wavesim import exact

FREE = references("AC-10")
BRANCH = [row for row in references("AC-15") if row.quantity == "transmission_loss"]
LUMPED = reference("AC-15", "resonance")
CELL = 0.005  # m


def free_tone(row):
    """Tone [Hz] of the resonator of a row of AC-10, its neck lengthened by the end corrections."""
    radius, volume, c = (row.case[name] for name in ("radius", "volume", "c"))
    length = neck_length(row)
    T = c**2 / (GAMMA * R)
    net = ws.Network(
        {"neck": ws.Pipe(length, 2.0 * radius, cell_length=length / 10)},
        {
            "box": ws.Volume(("neck.start",), volume=volume, pressure=P0 * 1.0001, temperature=T),
            "mouth": cut("neck.end", P0, T),
        },
    )
    trace = ws.simulate(
        net, 0.3, gas=AIR, settings=IDEAL, samples=3000, initial={"neck": (P0, 0.0, T, "air")}
    ).trace("pressure", "box")
    return modes(trace.values[200:] / P0, trace.x[1], [row.value])[0]


def neck_length(row):
    """Length of the neck of a row of AC-10 with its end corrections [m]."""
    return row.case["length"] + row.case.get("corrections", 0.0) * row.case["radius"]


def published_can():
    """The resonator of AC-15, without end corrections as there."""
    case = LUMPED.case
    return ws.Resonator(
        volume=case["volume"], neck_length=case["length"], neck_diameter=2.0 * case["radius"],
        end_correction=0.0, cell_length=CELL,
    )


def resonance(can, c=C):
    """Frequency [Hz] at which a neck with waves in it short-circuits the pipe."""
    return exact.helmholtz_frequency_distributed(
        area(can.neck_diameter), can.acoustic_neck_length, can.volume, c
    )


def branch_loss(can, bore, frequency=FREQUENCY, c=C):
    """Loss [dB] beside a pipe: the admittance of the volume seen through the neck."""
    k, neck, pipe = 2.0 * np.pi * frequency / c, area(can.neck_diameter), area(bore)
    swing = np.tan(k * can.acoustic_neck_length)
    end = 1j * k * can.volume
    branch = neck * (end + 1j * neck * swing) / (neck + 1j * end * swing)
    return 20.0 * np.log10(np.abs(1.0 + branch / (2.0 * pipe)))


def published_losses():
    """Losses [dB] at the frequencies of AC-15."""
    at = [row.case["f_over_f0"] * LUMPED.value for row in BRANCH]
    return computed(published_can(), at, CELL, bore=LUMPED.case["pipe"])


CANS = {
    "1 litre, neck 20 x 50 mm": (published_can(), LUMPED.case["pipe"]),
    "2 litres, neck 40 x 30 mm": (
        ws.Resonator(volume=0.002, neck_length=0.03, neck_diameter=0.04, cell_length=CELL), 0.05,
    ),
}


def beside(can, c=C):
    """Where `FREQUENCY` lies more than a tenth beside the resonance, on whose flanks a shift of a
    thousandth already makes decibels.
    """
    f0 = resonance(can, c)
    return np.abs(FREQUENCY - f0) > 0.1 * f0


KINSLER = "Kinsler et al., Fundamentals of Acoustics, 4th ed. 2000, ch. 10"
_TONE = (
    "Ten cells in a neck of a fiftieth of a wave: the phase error of second order is (k dx)^2/12, "
    "0.001 %."
)
_SPRING = "The lumped neck has no spring of its own, which lowers the tone by S L/(6 V), 0.35 %."
_PEAK = (
    "The peak is sought to 0.001 %; ten cells or more in a neck of a fortieth of a wave make a "
    "phase error of second order of 0.002 %."
)
_BESIDE = "As much as 0.4 m of straight pipe loses to the scheme at 1 kHz with cells of 5 mm."
_LUMPED = (
    "The lumped neck resonates 0.26 % higher, which moves its loss by 0.3 dB a tenth beside the "
    "peak."
)


def _free_checks():
    for row in FREE:
        ours, name = free_tone(row), "tone of 1 litre through a neck of 20 x 50 mm"
        if row.quantity == "distributed":
            yield Check(name, ours, row.value, "0.002 %", row.source, _TONE, row.unit)
            continue
        name += f" and {row.case['corrections']:g} radii of end correction"
        yield Check(f"{name}, lumped formula", ours, row.value, "0.4 %", row.source, _SPRING,
                    row.unit)
        theory = exact.helmholtz_frequency_distributed(
            np.pi * row.case["radius"] ** 2, neck_length(row), row.case["volume"], row.case["c"]
        )
        yield Check(name, ours, theory, "0.002 %", KINSLER, _TONE, row.unit)


def _branch_checks():
    for name, (can, bore) in CANS.items():
        for fill, options in GASES.items():
            c = sound_speed(options)
            f0 = resonance(can, c)
            yield Check(f"frequency of the largest loss, {name}, {fill}",
                        peak(can, f0, CELL, bore=bore, **options), f0, "0.003 %", KINSLER, _PEAK,
                        "Hz")
            off = worst(computed(can, FREQUENCY, CELL, bore=bore, **options),
                        branch_loss(can, bore, c=c), beside(can, c))
            yield Check(f"worst error of the loss beside the peak, {name}, {fill}", off, 0.0,
                        "0.005 abs", KINSLER, _BESIDE, "dB")
    for row, loss in zip(BRANCH, published_losses(), strict=True):
        yield Check(f"loss at {row.case['f_over_f0']:g} of the lumped resonance", loss, row.value,
                    f"{row.solver_tolerance.split()[0]} abs", row.source, _LUMPED, row.unit)


def draw():
    """Loss of both resonators in cold air and in hot gas."""
    axes = ws.plots.new_axes(len(CANS), height=3.4)
    fine = np.arange(20.0, 600.0, 1.0)
    for ax, (name, (can, bore)) in zip(axes, CANS.items(), strict=True):
        for (fill, options), colour in zip(GASES.items(), ws.plots.COLOURS, strict=False):
            c = sound_speed(options)
            draw_loss(ax, computed(can, fine, CELL, bore=bore, **options),
                      branch_loss(can, bore, fine, c), name, fill, fine, colour)
        ax.set_ylim(0.0, 40.0)
    axes[-1].set_xlabel("frequency [Hz]")
    return axes


def run():
    """Tones of free resonators, and transmission loss of side branches."""
    return Case((*_free_checks(), *_branch_checks()), draw())
