"""Quarter-wave side branch: the frequency it takes out, and the loss around it.

A closed tube beside a pipe is the branch Y = j S tan kL (Munjal 2014, sec. 2.15): it takes out
c/4L and its odd multiples and does nothing where it is half a wave long.  A small pulse gives the
loss of tubes of two lengths and bores, in air and in burned gas of 900 K, without end correction
as in theory; with the end correction of the library the tube acts longer by 0.8217 of its radius
(Nomura et al. 1960).  A tube that hangs on a junction of the momentum model does the same, on cells
of 5 mm and on the default ones; gas that is given to the junction itself counts as more duct.
"""

import numpy as np
from references import reference, references
from suite import Case, Check
from transmission import FREQUENCY, GASES, C, T, area, computed, draw_loss, peak, sound_speed, worst

import wavesim as ws
from wavesim import exact
from wavesim.descriptions.nodes import ball

SIDE = references("AC-14")
CELL = 0.005  # m
BORE = SIDE[0].case["pipe"]  # m, of the pipe


def published_tube():
    """The tube of AC-14."""
    case = SIDE[0].case
    return ws.SideTube(case["length"], case["diameter"], end_correction=0.0)


def published_losses():
    """Losses [dB] at the frequencies of AC-14."""
    return computed(published_tube(), [row.case["f"] for row in SIDE], CELL, bore=BORE)


def theory(tube, frequency=FREQUENCY, c=C):
    """Loss of a tube without end correction [dB]."""
    return exact.quarter_wave_branch_loss(frequency, tube.length, tube.diameter, BORE, c)


TUBES = {
    "40 x 250 mm": published_tube(),
    "25 x 400 mm": ws.SideTube(0.4, 0.025, end_correction=0.0),
}


ANGLES = (180.0, 0.0, 90.0)  # deg, of the pipe before and behind and of the tube


def at_junction(tube, cell=CELL, volume=None, frequency=FREQUENCY):
    """Loss of a tube that hangs on a junction of the momentum model [dB]."""
    bores = {"inlet": BORE, "outlet": BORE, "side": tube.diameter}
    lengths = {"inlet": 1.2, "outlet": 0.3, "side": tube.length}
    net = ws.Network(
        {name: ws.Pipe(lengths[name], bores[name], cell_length=cell) for name in bores},
        {
            "before": ws.AnechoicEnd("inlet.start", temperature=T),
            "behind": ws.AnechoicEnd("outlet.end", temperature=T),
            "wall": ws.ClosedEnd("side.end"),
            "meet": ws.Junction(
                ("inlet.end", "outlet.start", "side.start"), angles_deg=ANGLES, volume=volume
            ),
        },
    )
    return computed(net, frequency, cell, inlet="inlet", outlet="outlet")


def filled_theory(tube, volume, frequency=FREQUENCY):
    """Loss of a tube and of a volume of gas at one place beside a pipe [dB].

    |1 + Z Y / 2| with Z = rho c / S of the pipe and Y = j (s tan kl + k V) / (rho c).
    """
    k = 2.0 * np.pi * frequency / C
    beside_pipe = area(tube.diameter) * np.tan(k * tube.length) + k * volume
    return 10.0 * np.log10(1.0 + (0.5 * beside_pipe / area(BORE)) ** 2)


def beside(tube, c):
    """Where `FREQUENCY` lies more than a tenth beside every peak, on whose flanks a shift of a
    thousandth already makes tenths of a decibel.
    """
    quarters = FREQUENCY / (c / (4.0 * tube.length))
    odd = 2.0 * np.maximum(np.round(0.5 * (quarters - 1.0)), 0.0) + 1.0
    return np.abs(quarters / odd - 1.0) > 0.1


NOMURA = "Nomura et al. (1960), flanged end"
_PEAK = (
    "A quarter wave has 50 cells or more, a phase error of second order of 0.008 %, most of which "
    "cancels at Courant numbers near 1; the peak is sought to 0.001 %."
)
_BESIDE = (
    "A peak that is 0.003 % off moves the loss a tenth beside it by 0.003 dB, and pipe and tube "
    "lose as much again to the scheme at 1 kHz."
)
_FLANK = (
    "The loss falls by 8.7 dB where the distance from the peak grows by a factor e: at 0.9 % "
    "beside it 0.003 % makes 0.03 dB."
)
_DEFAULT = (
    "A cell of 16 mm is a twentieth of a wave at 1 kHz, and the error of second order ten times "
    "that of 5 mm; with a ball of gas in the junction it was 1.2 dB."
)
_FILLED = (
    "The gas itself makes 1.2 dB; it is filled and emptied with second order in the step, and 40 "
    "steps in a period leave 1 % of that."
)
_ROUND = "The table has three decimals, and far from the peak cells of 5 mm add as much again."


def _peak_checks():
    munjal = SIDE[0].source
    for name, tube in TUBES.items():
        for fill, options in GASES.items():
            c = sound_speed(options)
            quarter = c / (4.0 * tube.length)
            yield Check(f"frequency of the first peak, tube {name}, {fill}",
                        peak(tube, quarter, CELL, bore=BORE, **options), quarter, "0.003 %", munjal,
                        _PEAK, "Hz")
            off = worst(computed(tube, FREQUENCY, CELL, bore=BORE, **options), theory(tube, c=c),
                        beside(tube, c))
            yield Check(f"worst error beside the peaks to 1 kHz, tube {name}, {fill}", off, 0.0,
                        "0.01 abs", munjal, _BESIDE, "dB")
    tube = published_tube().replace(end_correction=None)
    added = reference("AC-7", "end_correction_flanged").value * 0.5 * tube.diameter
    quarter = C / (4.0 * (tube.length + added))
    yield Check("frequency of the first peak, tube 40 x 250 mm with its end correction",
                peak(tube, quarter, CELL, bore=BORE), quarter, "0.003 %", NOMURA, _PEAK, "Hz")


def _junction_checks():
    munjal = SIDE[0].source
    for name, tube in TUBES.items():
        for cell, bound, why in ((CELL, "0.01 abs", _BESIDE), (0.016, "0.06 abs", _DEFAULT)):
            off = worst(at_junction(tube, cell), theory(tube), beside(tube, C))
            yield Check(f"the same at a momentum junction, tube {name}, cells of {1e3 * cell:g} mm",
                        off, 0.0, bound, munjal, why, "dB")
        volume = ball((BORE,))
        off = worst(at_junction(tube, volume=volume), filled_theory(tube, volume), beside(tube, C))
        yield Check(f"the same with a ball of gas in it, tube {name}", off, 0.0, "0.02 abs", munjal,
                    _FILLED, "dB")


def _published_checks():
    quarter = C / (4.0 * SIDE[0].case["length"])
    for row, loss in zip(SIDE, published_losses(), strict=True):
        flank = abs(row.case["f"] - quarter) < 0.05 * quarter
        yield Check(f"loss at {row.case['f']:g} Hz, tube 40 x 250 mm", loss, row.value,
                    "0.03 abs" if flank else "0.002 abs", row.source, _FLANK if flank else _ROUND,
                    row.unit)


def draw():
    """Loss of both tubes in cold air and in hot gas."""
    axes = ws.plots.new_axes(len(TUBES), height=3.4)
    fine = np.arange(10.0, 1001.0, 2.0)
    for ax, (name, tube) in zip(axes, TUBES.items(), strict=True):
        for (fill, options), colour in zip(GASES.items(), ws.plots.COLOURS, strict=False):
            draw_loss(ax, computed(tube, fine, CELL, bore=BORE, **options),
                      theory(tube, fine, sound_speed(options)),
                      f"closed tube of {name} beside a pipe of 50 mm", fill, fine, colour)
        ax.plot(fine, at_junction(tube, frequency=fine), "--", color=ws.plots.COLOURS[2], lw=1.4,
                label="at a momentum junction")
        ax.plot(fine, at_junction(tube, frequency=fine, volume=ball((BORE,))), ":",
                color=ws.plots.COLOURS[3], lw=1.6, label="the same with a ball of gas in it")
        ax.legend(frameon=False)
        ax.set_ylim(0.0, 40.0)
    axes[-1].set_xlabel("frequency [Hz]")
    return axes


def run():
    """Closed tubes beside a pipe."""
    return Case((*_peak_checks(), *_junction_checks(), *_published_checks()), draw())
