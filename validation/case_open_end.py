"""An open end reflects, radiates and seems longer as Levine and Schwinger (1948) say.

A short sound pulse runs to the mouth of a pipe of radius a, and the waves on its face and inside
the pipe are split into their frequencies, given as ka with the wave number k.  A free end is
compared with the exact theory by quadrature: size of the reflection, share of the power that is
radiated, and end correction.  An end in a wall is compared with the fit of Norris and Sheng (1989).
"""

from functools import cache

import numpy as np
from marches import AIR, C0, GAMMA, IDEAL, P0, T0, R, endless, outside
from references import reference
from suite import Case, Check

import wavesim as ws
from wavesim import exact

RADIUS, LENGTH, CELL = 0.1, 3.0, 0.01  # m
KA = np.array([0.1, 0.25, 0.5, 0.75, 1.0, 1.5])
INSIDE_KA = np.array([0.25, 0.5, 1.0])


def mouth(radiation):
    """Open end of a kind, without the loss of an inlet edge, which does not belong to sound."""
    return ws.OpenEnd("d.end", radiation=radiation, entry_loss=0.0, ambient=outside())


def send_pulse(end, middle, width, size, way, samples):
    """Send a short pulse to an end and march until sound has come `way` [m]."""

    def start(x):
        q = size * np.exp(-(((x - middle) / width) ** 2))
        return P0 * (1.0 + q), q * C0 / GAMMA, T0 * (1.0 + q) ** (0.4 / 1.4), "air"

    pipe = ws.Pipe(LENGTH, 2.0 * RADIUS, cell_length=CELL)
    net = ws.Network({"d": pipe}, {"far": endless("d.start"), "e": end})
    return ws.simulate(
        net, way / C0, gas=AIR, settings=IDEAL, initial={"d": start}, samples=samples
    )


def transform(ka, t, signal):
    """Parts of a signal at the frequencies ka."""
    return np.exp(-1j * np.outer(np.asarray(ka) * C0 / RADIUS, t)) @ signal


@cache
def face_waves(radiation):
    """Times [s], arriving and returning pressure wave [Pa] on the face of an open end."""
    result = send_pulse(mouth(radiation), 2.4, 0.06, 1e-5, 2.2, 2000)
    p, v = result.trace("pressure", "e"), result.trace("velocity", "e")
    z = P0 / (R * T0) * C0
    return p.x, 0.5 * (p.values - P0 + z * v.values), 0.5 * (p.values - P0 - z * v.values)


def face_reflection(radiation, ka):
    """Pressure reflection coefficients (complex) at an open end, from the waves on its face."""
    t, there, back = face_waves(radiation)
    return transform(ka, t, back) / transform(ka, t, there)


def inside_reflection(ka):
    """Reflection coefficients (complex) of a free end: a pulse met on its way back in the pipe,
    against one from a wall.
    """

    def returned(end):
        trace = send_pulse(end, 1.2, 0.08, 1e-3, 3.6, 1500).trace("pressure", "d", 2.0)
        back = trace.x > 1.8 / C0
        return transform(ka, trace.x[back], trace.values[back] - P0)

    return returned(mouth("unflanged")) / returned(ws.ClosedEnd("d.end"))


def correction(reflection, ka):
    """End correction over the radius from the phase of the reflection."""
    return -np.angle(-reflection) / (2.0 * np.asarray(ka))


def norris_sheng(ka):
    """Size of the reflection and end correction over the radius of a pipe end in a wall.

    Norris and Sheng, J. Sound Vib. 135 (1989) 85, fit to their computation; from memory.
    """
    size = (1.0 + 0.323 * ka - 0.077 * ka**2) / (1.0 + 0.323 * ka + 0.923 * ka**2)
    low = reference("AC-7", "end_correction_flanged").value
    return size, low / (1.0 + (0.77 * ka) ** 2 / (1.0 + 0.77 * ka))


# checks -------------------------------------------------------------------------------------------

MODEL = (
    "An end that marches in time can hold only a simple model, a mass, a resistance and a lag; "
    "this is how near those three numbers come to theory up to ka = 1.5"
)
NORRIS = "Norris and Sheng, J. Sound Vib. 135 (1989) 85, fit, from memory"


def _theory(quantity):
    return [reference("AC-6", quantity, ka=ka) for ka in KA]


def _free_checks():
    found = face_reflection("unflanged", KA)
    lengths = correction(found, KA)
    for R_found, length, size, extra in zip(
        found, lengths, _theory("reflection"), _theory("end_correction"), strict=True
    ):
        ka = size.case["ka"]
        yield Check(
            f"reflection of a free end, ka = {ka:g}", abs(R_found), size.value,
            "0.2 %" if ka < 0.5 else "1.3 %", size.source, f"{MODEL}.",
        )
        yield Check(
            f"share of power radiated by a free end, ka = {ka:g}", 1.0 - abs(R_found) ** 2,
            1.0 - size.value**2, "5 %", size.source,
            f"{MODEL}, counted on what leaves, 0.2 dB.",
        )
        yield Check(
            f"end correction of a free end over its radius, ka = {ka:g}", length, extra.value,
            "0.6 %", extra.source, f"{MODEL}; a pipe of 50 mm seems 0.1 mm too long or short.",
        )


def _inside_checks():
    found = inside_reflection(INSIDE_KA)
    for ka, R_found, length in zip(INSIDE_KA, found, correction(found, INSIDE_KA), strict=True):
        size = reference("AC-6", "reflection", ka=ka)
        extra = reference("AC-6", "end_correction", ka=ka)
        yield Check(
            f"reflection of a free end met inside the pipe, ka = {ka:g}", abs(R_found), size.value,
            "1.5 %", size.source,
            "As on the face, and the damping of 2 m of pipe in cells of 10 mm.",
        )
        yield Check(
            f"end correction met inside the pipe, ka = {ka:g}", length, extra.value, "1 %",
            extra.source, "As on the face, and a twentieth of a cell that the way there and back "
            "takes longer than beside a wall.",
        )


def _flanged_checks():
    found = face_reflection("flanged", KA)
    for ka, R_found, length in zip(KA, found, correction(found, KA), strict=True):
        size, extra = norris_sheng(ka)
        yield Check(
            f"reflection of an end in a wall, ka = {ka:g}", abs(R_found), size, "1.5 %", NORRIS,
            f"{MODEL}.",
        )
        yield Check(
            f"end correction of an end in a wall over its radius, ka = {ka:g}", length, extra,
            "2 %", NORRIS, f"{MODEL}; a pipe of 50 mm seems 0.4 mm too long or short.",
        )
    low = np.array([0.05])
    flanged, free = face_reflection("flanged", low)[0], face_reflection("unflanged", low)[0]
    published = reference("AC-7", "end_correction_flanged")
    yield Check(
        "end correction of an end in a wall over its radius, ka = 0.05", correction(flanged, 0.05),
        published.value, "0.3 %", published.source,
        "The published length is that of ka = 0; at 0.05 it is 0.14 % shorter.",
    )
    yield Check(
        "power radiated by an end in a wall over that of a free end, ka = 0.05",
        (1.0 - abs(flanged) ** 2) / (1.0 - abs(free) ** 2), 2.0, "4 %",
        "Pierce, Acoustics, 1981, ch. 7",
        "At low frequency the wall halves the space into which the same flow radiates; the models "
        "of both ends are each true to some per cent of the little power that leaves.",
    )


def _beyond_note():
    rows = ["Beyond ka = 1.5, which is 5.7 kHz for a pipe of 50 mm with a sound speed of 600 m/s, "
            "the model reflects too much of what little comes back, and no bound is set:", "",
            "| ka | reflection | theory | end correction over radius | theory |",
            "|---:|---:|---:|---:|---:|"]
    high = np.array([2.0, 3.0])
    found = face_reflection("unflanged", high)
    for ka, R_found, length in zip(high, found, correction(found, high), strict=True):
        size, extra = (reference("AC-6", name, ka=ka).value
                       for name in ("reflection", "end_correction"))
        rows.append(f"| {ka:g} | {abs(R_found):.3f} | {size:.3f} | {length:.3f} | {extra:.3f} |")
    return "\n".join(rows)


# figure -------------------------------------------------------------------------------------------


def draw():
    """Size of the reflection, radiated power and end correction against ka."""
    ka, low = np.linspace(0.05, 2.0, 79), np.linspace(0.05, 1.5, 59)
    free = [exact.levine_schwinger(each) for each in ka]
    walled = norris_sheng(low)
    size, length = ([getattr(end, name) for end in free] for name in ("reflection", "correction"))
    found = {"free end": face_reflection("unflanged", KA),
             "end in a wall": face_reflection("flanged", KA)}
    inside = inside_reflection(INSIDE_KA)
    axes = ws.plots.new_axes(3, width=9.5, height=3.0)
    curves = (
        ("Size of the reflection", "reflection [-]", size, walled[0], lambda r, _: np.abs(r)),
        ("Share of the power that is radiated", "share of power [-]", 1.0 - np.square(size),
         1.0 - walled[0] ** 2, lambda r, _: 1.0 - np.abs(r) ** 2),
        ("End correction", "length over radius [-]", length, walled[1], correction),
    )
    for ax, (title, label, theory, fit, value) in zip(axes, curves, strict=True):
        ax.plot(ka, theory, color=ws.plots.REFERENCE, label="free end, Levine and Schwinger 1948")
        ax.plot(low, fit, "--", color=ws.plots.REFERENCE,
                label="end in a wall, Norris and Sheng 1989")
        for i, (kind, r) in enumerate(found.items()):
            ax.plot(KA, value(r, KA), ws.plots.MARKERS[i], color=ws.plots.COLOURS[i],
                    label=f"marched, {kind}")
        ax.plot(INSIDE_KA, value(inside, INSIDE_KA), "o", ms=10.0, mfc="none",
                color=ws.plots.COLOURS[2], label="marched, free end, met inside the pipe")
        ax.set_title(title, loc="left")
        ax.set_xlabel("wave number x radius, ka [-]")
        ax.set_ylabel(label)
        ax.set_ylim(bottom=0.0)
    axes[1].legend(frameon=False, loc="center left", bbox_to_anchor=(1.0, 0.5))
    return axes


def run():
    """Free end on its face and from inside, end in a wall, and the figure."""
    checks = (*_free_checks(), *_inside_checks(), *_flanged_checks())
    return Case(checks, draw(), (_beyond_note(),))
