"""What stands on the sheet: the words and numbers of a comparison, before anybody lays them out."""

import re
from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any, NamedTuple

import numpy as np

from wavesim._version import __version__
from wavesim.descriptions.exhaust import Exhaust
from wavesim.dyno.choice import choice
from wavesim.dyno.sound import CAUTION as OF_SOUND
from wavesim.dyno.sound_curve import SoundCurve, sound_curve
from wavesim.errors import InputError, check_kind, shown
from wavesim.fields.tables import Table
from wavesim.results.bill import bill
from wavesim.results.comparisons import compare
from wavesim.results.explain import explain
from wavesim.results.points import Sweep
from wavesim.show.drawings import Outline, outline
from wavesim.show.forms import CurveDifference, SpeedCurve, check_forms
from wavesim.show.panels import Said
from wavesim.show.quantities import display

LETTERS = ("A", "B")
LEAN = 0.02  # share by which B must run leaner on A's fuel to be warned of
_APART = "erred apart"  # of a band that a prediction holds for comparison only
LISTED = 3  # speeds of which the reasons are told
CAUTIONS = (
    "All this is computed, and shows neither that an engine is safe nor that a vehicle is legal.",
    "After a change of the exhaust check the mixture over the whole speed range before full load: "
    "an over-lean engine can destroy its pistons and valves.",
    "Open and lightly silenced exhausts damage hearing within minutes. Pipes burn skin and set "
    "fire to cables, fuel lines and grass. Exhaust gas kills in closed rooms.",
    "Noise, emissions and changes to a vehicle are regulated, differently from place to place: "
    "local codes and licensed practice decide what may be run.",
)


class SheetContent(NamedTuple):
    """All that stands on a sheet, in the order of reading.

    Attributes
    ----------
    question : str
    names : (str, str)
        Of A and B.
    block : list of (str, str)
        The title block: what it is about.
    answer : list of str
        The question answered in sentences.
    outlines : list of Outline
        Systems to be drawn; a Network cannot be.
    comparison : Comparison
    said : list of Said
        Differences that were measured or predicted.
    measured : list of SpeedCurve
        Measured curves of A and B, or none.
    explanation : Explanation or None
    reasons : list of str
        Why, in sentences.
    small : list of (curves, str, str)
        Pairs of curves, quantity and title of the small figures.
    rows : list of (str, str, str, str)
        Numbers: what, A, B, difference; the heading first.
    assumed, certain, cautions : list of str
    """

    question: str
    names: tuple[str, str]
    block: list[tuple[str, str]]
    answer: list[str]
    outlines: list[Outline]
    comparison: Any
    said: list[Said]
    measured: list
    explanation: Any
    reasons: list[str]
    small: list[tuple[Any, str, str]]
    rows: list[tuple[str, str, str, str]]
    assumed: list[str]
    certain: list[str]
    cautions: list[str]


def content_of(
    a, b, question="", measured=None, predicted=None, bands=None, distance=0.5, pulls=None
) -> SheetContent:
    """Gather all that stands on a sheet; takes what `sheet` does."""
    for name, curve in (("a", a), ("b", b)):
        check_kind("sheet", name, curve, Sweep)
        if len(curve) < 2 or "engine" not in curve.points[0].meta:
            raise InputError(f"sheet: {name} must be a Sweep of two speeds at least that `wavesim` "
                             "computed.")
    comparison = compare(a, b, bands=bands)
    sounds = _sounds(a, b, distance)
    said = [one for one in (_said("measured", measured), _said("predicted", predicted)) if one]
    try:
        explanation = explain(a, b)
    except InputError:  # of engines that do not burn there is no account
        explanation = None
    engine = a.points[0].engine
    exhausts = [curve.points[0].exhaust for curve in (a, b)]
    outlines = [outline(one, engine) for one in exhausts if isinstance(one, Exhaust)]
    names = tuple(comparison.names)
    return SheetContent(
        question=question or f"What does {names[1]} change against {names[0]}?",
        names=names, block=_block(a, engine, names, comparison),
        answer=_answer(comparison, said, sounds, a, b, distance),
        outlines=outlines if len(outlines) == 2 else [],
        comparison=comparison, said=said, measured=_measured_curves(measured, pulls),
        explanation=explanation, reasons=_reasons(explanation),
        small=_small(a, b, sounds), rows=_rows(a, b, bands, sounds, comparison, distance),
        assumed=[*_undrawn(outlines), *_assumed(a, engine)],
        certain=_certain(comparison, said, a, explanation),
        cautions=[*_mixture(a, b), *CAUTIONS,
                  *([f"Sound: {OF_SOUND[0].lower()}{OF_SOUND[1:]}"] if sounds else [])],
    )


# --- differences that were given ------------------------------------------------------------------


def _said(word, given):
    """A measured or predicted difference in one form, or None."""
    if given is None:
        return None
    if isinstance(getattr(given, "bands", None), Mapping):  # with bands of its own
        if getattr(given, "quantity", "torque") != "torque":
            raise InputError(f"sheet: {word} must be a difference of torque, got one of "
                             f"{given.quantity}.")
        bands = {words: half for words, half in given.bands.items() if _APART not in words}
        return Said(word, np.asarray(given.rpm), np.asarray(given.difference), bands)
    if not isinstance(given, CurveDifference):
        raise InputError(f"sheet: {word} = {shown(given)} must be a difference of torque with its "
                         "bands, such as a Comparison.")
    half = given.uncertainty("torque")
    return Said(word, given.rpm, given.difference("torque"),
                {} if half is None else {"stated uncertainty": half})


def _measured_curves(measured, pulls):
    """Measured curves of A and B, or none."""
    if pulls is None:
        return [measured.a, measured.b] if isinstance(measured, CurveDifference) else []
    curves = check_forms("sheet", "pulls", pulls, SpeedCurve)
    if len(curves) != 2:
        raise InputError(f"sheet: pulls must be two curves, of a and of b, got {len(curves)}.")
    return curves


# --- the head -------------------------------------------------------------------------------------


def _block(a, engine, names, comparison):
    rpm = comparison.rpm
    cylinders = len(engine.firing_order)
    size = f"{1e6 * engine.displacement:.0f} cm3, {cylinders} cylinder{'s' * (cylinders > 1)}"
    return [
        ("Engine", f"{engine.name}, {size}" if engine.name else size),
        ("A, base", names[0]), ("B, variant", names[1]),
        ("Speeds", f"{rpm.size} from {rpm[0]:g} to {rpm[-1]:g} rev/min"),
        ("Made", f"{date.today().isoformat()}, wavesim {__version__}"),
    ]


def _answer(comparison, said, sounds, a, b, distance):
    found = []
    loose = float(np.mean(comparison.threshold("torque")))
    parts = [f"{one.low:.0f} to {one.high:.0f} rev/min {one.percent:+.1f} % "
             f"({one.difference:+.1f} N m" + (", which means nothing)" if
                                              abs(one.difference) < loose else ")")
             for one in comparison.band_averages("torque")]
    found.append(f"Torque of B against A, in the mean: {'; '.join(parts)}.")
    tops = []
    for letter, curve in zip(LETTERS, (a, b), strict=True):
        torque, power = (int(curve[name].argmax()) for name in ("torque", "power"))
        tops.append(f"{letter} {curve['torque'][torque]:.1f} N m at {curve.rpm[torque]:.0f} and "
                    f"{1e-3 * curve['power'][power]:.1f} kW at {curve.rpm[power]:.0f} rev/min")
    found.append(f"Peaks: {'; '.join(tops)}.")
    crossings = [f"{one.rounded:.0f}" for one in comparison.crossings("torque")]
    found.append(f"The curves cross near {', '.join(crossings)} rev/min." if crossings else
                 "The curves do not cross.")
    made = [_bill_of(curve) for curve in (a, b)]
    costs = []
    if all(made):
        change = made[1].mass - made[0].mass
        costs.append(f"B weighs {abs(change):.1f} kg {'more' if change >= 0.0 else 'less'}")
    if sounds:
        change = sounds[1].mean_level("A") - sounds[0].mean_level("A")
        word = "louder" if change >= 0.0 else "quieter"
        costs.append(f"is {abs(change):.1f} dB(A) {word} at {distance:g} m in the mean, by the "
                     "flow at the open ends alone")
    if costs:
        told = " and ".join(costs)
        found.append(f"{told if told.startswith('B') else f'B {told}'}.")
    return [*found, *(_said_words(one) for one in said)]


def _said_words(said):
    """Where a measured or predicted difference leaves its band round zero."""
    if not said.bands:
        return f"{said.word.capitalize()}: no band is stated, so nothing is said of chance."
    words, half = next(iter(said.bands.items()))
    real = np.abs(said.difference) > half
    if not real.any():
        return (f"{said.word.capitalize()}: at no speed does the difference leave its band "
                f"({words}).")
    ups, downs = (_spans(said.rpm, real & (sign * said.difference > 0.0)) for sign in (1.0, -1.0))
    told = [f"B gives more at {ups}"] if ups else []
    told += [f"B gives less at {downs}"] if downs else []
    return (f"{said.word.capitalize()}, outside the band ({words}): {' and '.join(told)} rev/min; "
            "elsewhere chance is enough.")


def _spans(rpm, chosen):
    """Speeds as ranges, such as "2000 to 3000, 5000"."""
    found, first = [], None
    for i, inside in enumerate([*chosen, False]):
        if inside and first is None:
            first = i
        if not inside and first is not None:
            low, high = rpm[first], rpm[i - 1]
            found.append(f"{low:.0f}" if low == high else f"{low:.0f} to {high:.0f}")
            first = None
    return ", ".join(found)


def _bill_of(curve):
    point = curve.points[0]
    exhaust = point.exhaust
    return bill(exhaust, point.engine) if isinstance(exhaust, Exhaust) else None


# --- why, and the numbers -------------------------------------------------------------------------


def _reasons(explanation):
    """The words of `explain`, those of a speed in one paragraph."""
    if explanation is None:
        return ["There is no account of the difference: the engine burns nothing."]
    telling = explanation.telling[:LISTED]
    said = [" ".join(reason.sentences) for reason in telling]
    return [*said, *explanation.bands()] or ["There is no difference of torque at any speed."]


def _sounds(a, b, distance):
    """Sound of both up to the same frequency, or nothing without traces."""
    if any(point.samples is None for curve in (a, b) for point in curve):
        return ()
    try:
        made = [sound_curve(curve, distance=distance) for curve in (a, b)]
    except InputError:  # no end opens into the air, such as behind an endless pipe
        return ()
    highest = min(one.highest for curve in made for one in curve)
    return tuple(SoundCurve([one.up_to(highest) for one in curve], curve.name,
                            trusted=curve.trusted.tolist()) for curve in made)


def _small(a, b, sounds):
    wanted = (("overlap_exhaust_pressure", "Exhaust pressure in overlap"), ("pmep", "Pumping"),
              ("back_pressure", "Back pressure"), ("residual_fraction", "Residual gas"),
              ("air_fuel_lambda", "Mixture, lambda"))
    found = [((a, b), name, title) for name, title in wanted
             if name in a.quantities and name in b.quantities
             and np.isfinite(a[name]).any() and np.isfinite(b[name]).any()]
    if sounds:
        found.append((sounds, "sound_level_a", f"Sound, {_distance_of(sounds)}"))
    return found


def _distance_of(sounds):
    return f"{sounds[0].sounds[0].distance:g} m"


def _rows(a, b, bands, sounds, comparison, distance):
    """What, A, B and the difference, as texts."""
    rows = [("", "A", "B", "B less A")]
    for quantity in ("torque", "power"):
        look = display(quantity)
        for one in comparison.band_averages(quantity):
            rows.append((
                f"{look.label.capitalize()} {one.low:.0f} to {one.high:.0f}, {look.unit}",
                look.text(one.a), look.text(one.b),
                f"{look.text(one.difference, '+')} ({one.percent:+.1f} %)"))
    found = choice({"A": a, "B": b}, bands=bands, distance=distance)
    for name, words in (("peak_torque", "Peak torque"), ("peak_power", "Peak power"),
                        ("back_pressure", "Mean back pressure"), ("mass", "Mass"),
                        ("length", "Length of all lines")):
        measure = found.measures.get(name)
        if measure is None or not np.isfinite(found[name]).all():
            continue
        first, second = found[name]
        rows.append((f"{words}, {measure.shown[0]}", *map(measure.text, (first, second)),
                     _signed(measure.text(second - first))))
        if f"{name}_rpm" in found.measures:
            first, second = found[f"{name}_rpm"]
            rows.append(("at, rev/min", f"{first:.0f}", f"{second:.0f}", f"{second - first:+.0f}"))
    made = [_bill_of(curve) for curve in (a, b)]
    if all(made):
        litres = [1e3 * one.total.gas_volume for one in made]
        rows.append(("Gas volume, litre", *(f"{one:.2f}" for one in litres),
                     f"{litres[1] - litres[0]:+.2f}"))
        for words, name in (("Bends", "bends"), ("Angle of all bends, deg", "bend_angle_deg")):
            first, second = (getattr(one.total, name) for one in made)
            rows.append((words, f"{first:.0f}", f"{second:.0f}", f"{second - first:+.0f}"))
    if sounds:
        for words, values in (
            (f"Sound at {distance:g} m, mean, dB(A)", [one.mean_level("A") for one in sounds]),
            (f"Sound at {distance:g} m, most, dB(A)", [one.sound_level_a.max() for one in sounds])):
            rows.append((words, *(f"{one:.1f}" for one in values), f"{values[1] - values[0]:+.1f}"))
    return rows


def _signed(text):
    return text if text.startswith("-") else f"+{text}"


# --- what it rests on -----------------------------------------------------------------------------


def _undrawn(outlines):
    """Why the systems are not drawn, if they are not."""
    return [] if len(outlines) == 2 else [
        "The systems are not drawn: one of them is a network, which is laid in no lines."]


def _assumed(a, engine):
    point = a.points[0]
    settings, air = point.settings, point.weather
    burn, heat = engine.combustion, engine.heat
    outside = next((one for name, one in air.items() if name.startswith("outlet")),
                   next(iter(air.values())))
    return [
        f"Engine: bore {1e3 * engine.bore:g} mm, stroke {1e3 * engine.stroke:g} mm, compression "
        f"ratio {engine.compression_ratio:g}, firing order "
        f"{'-'.join(map(str, engine.firing_order))}.",
        "Valves: " + _timing(engine),
        f"Fuel {_fuel(engine)}, lambda {engine.air_fuel_lambda:.3g} as stated. Half is burned at "
        f"{_angle(burn.ca50_deg)}, 10 to 90 % within {_angle(burn.burn_10_90_deg)}, "
        + ("as stated whatever the charge." if burn.scaling is None else
           "answering to residual gas and mixture."),
        f"Heat to the cylinder walls by Woschni's correlation times {heat.factor:g}; friction by a "
        "formula of speed and peak pressure.",
        f"Air outside {1e-2 * outside.pressure:.0f} hPa, {outside.temperature - 273.15:.0f} degC, "
        f"{100.0 * outside.relative_humidity:.0f} % relative humidity.",
        *a.wall_notes,
        f"Flow in one dimension, cells of {1e3 * settings.cell_length:g} mm in the exhaust.",
    ]


def _timing(engine):
    lines = [line for line in engine.valve_timing().splitlines() if " 1 mm" in line]
    return "; ".join(lines) + "." if lines else "as described."


def _fuel(engine):
    return engine.fuel if isinstance(engine.fuel, str) else engine.fuel.name


def _angle(given):
    return "an angle by a table of speed" if isinstance(given, Table) else f"{given:.3g} deg"


def _certain(comparison, said, a, explanation):
    notes = [note for note in comparison.notes() if note not in a.wall_notes]
    words = [one.word for one in said]
    found = [*notes]
    found.append(
        "Torque itself depends on combustion, friction and flow coefficients that were stated; the "
        "difference of two exhausts depends less on them."
        if "measured" not in words else
        "Where the measured band and the computed difference part, believe the measurement.")
    if not words:
        found.append("Nothing here was measured: place and sign of a difference are a question for "
                     "a test, its size is not yet an answer.")
    if "predicted" in words:
        found.append("The predicted band holds what the fitted parameters explain; what the model "
                     "leaves out is not in it.")
    if explanation is not None:
        found.append("The reasons are the account that the computed numbers fit; a measured trace "
                     "of the pressure at the valve is its judge.")
    found.append("Halve the cells to see how much of a difference belongs to them.")
    return found


def _mixture(a, b):
    """By how much B would run leaner on the fuel of A, from the air that both draw."""
    rpm = np.intersect1d(a.rpm, b.rpm)
    if not rpm.size or not all("air_mass_flow" in curve.quantities for curve in (a, b)):
        return []
    more = np.array([b[x].values["air_mass_flow"] / a[x].values["air_mass_flow"] for x in rpm])
    first, last = (np.array([curve[x].values["air_fuel_lambda"] for x in rpm]) for curve in (a, b))
    if np.max(np.abs(last / first - 1.0)) > 1e-3:
        top = int(np.argmax(last / first))
        return [] if last[top] / first[top] < 1.0 + LEAN else [
            f"B runs leaner than A by up to {100.0 * (last[top] / first[top] - 1.0):.1f} %, at "
            f"{rpm[top]:.0f} rev/min."]
    top = int(np.argmax(more))
    if more[top] < 1.0 + LEAN:
        return []
    return [f"The mixture is as stated for both. On the fuel of A, B would run up to "
            f"{100.0 * (more[top] - 1.0):.1f} % leaner, at {rpm[top]:.0f} rev/min, for it draws "
            "more air there."]


_MINUS = re.compile(r"(?<![\w.-])-(?=\d)")
_UNIT = re.compile(r"(?<=\d) (?=(?:N m|kW|bar|deg|degC|rev/min|mm|cm3|hPa|dB|kg|kHz|m|%)(?![\w/]))")


def sentences(paragraphs: Sequence[str]) -> list[str]:
    """Paragraphs as they are set: a true minus before a number, and its unit on its line.

    Examples
    --------
    >>> sentences(["a  gain of -3 %"]) == ["a gain of \N{MINUS SIGN}3\N{NO-BREAK SPACE}%"]
    True
    """
    found = []
    for one in paragraphs:
        text = _UNIT.sub("\N{NO-BREAK SPACE}", " ".join(one.split()))
        found.append(_MINUS.sub("\N{MINUS SIGN}", text).replace("N m", "N\N{NO-BREAK SPACE}m"))
    return found
