"""Words on a difference: each sentence on a made case whose cause is known, silence elsewhere."""

from dataclasses import replace
from math import pi

import numpy as np
import pytest

import wavesim as ws
from wavesim.results import explain as module

RPM = 3500.0
GROSS = ("released_heat", "wall_heat", "work_expansion", "work_compression")
OVERLAP = (330.0, 390.0)


@pytest.fixture(scope="module")
def point():
    study = ws.load(ws.demo_path("collector"))
    settings = ws.Settings(cell_length=0.05, tolerance=2e-2)
    return ws.run_point(study.engine, study.exhausts["short collector"], RPM, settings=settings)


def made(point, overlap=0.0, **factors):
    """A point whose amounts by cylinder are multiplied; torque follows from its work."""
    cylinders = point.cylinders | {
        name: factor * point.cylinders[name] for name, factor in factors.items()}
    gross = (cylinders["work_expansion"] + cylinders["work_compression"]).sum()
    lost = sum(cylinders[f"pumping_{part}"].sum()
               for part in ("exhaust", "recompression", "intake"))
    torque = (gross - lost - point.fmep * point.engine.displacement) / (4.0 * pi)
    pressure = point.overlap_exhaust_pressure + overlap
    values = point.values | {"torque": torque, "overlap_exhaust_pressure": pressure}
    return replace(point, cylinders=cylinders, values=values)


def said(a, b):
    found = ws.explain(ws.Sweep([a], name="old"), ws.Sweep([b], name="new"))
    return found.at(RPM), found


def more_charge(share):
    return dict.fromkeys(("trapped_mass", "trapped_fresh", "trapped_burned", *GROSS), share)


@pytest.fixture
def no_waves(monkeypatch):
    monkeypatch.setattr(module, "_wave", lambda *arguments: "")


def test_more_charge_is_named_with_its_amount(point, no_waves):
    a, b = made(point), made(point, **more_charge(1.05))
    reason, found = said(a, b)
    assert reason.carriers == ("trapped_mass",)
    gain = b.torque - a.torque
    assert reason.difference == pytest.approx(gain, abs=1e-9)
    assert reason.sentences[0] == (
        f"At 3500 rev/min 'new' gives {gain:.1f} N m more than 'old', carried by trapped gas "
        f"({gain:+.1f} N m).")
    assert len(reason.sentences) == 1  # the overlap has not changed
    assert reason.sentences[0] in found.summary()


def test_less_heat_is_a_loss_by_heat_release(point, no_waves):
    reason, _ = said(made(point), made(point, **dict.fromkeys(GROSS, 0.95)))
    assert reason.carriers == ("heat_release",) and "N m less than" in reason.sentences[0]


def test_a_difference_below_one_per_cent_is_not_explained(point, no_waves):
    reason, _ = said(made(point), made(point, overlap=-2e4, **more_charge(1.005)))
    assert reason.carriers == () and reason.sentences[0].endswith("which is too little to explain.")
    assert len(reason.sentences) == 1


def test_causes_that_work_against_each_other_are_called_mixed(point, no_waves):
    """More gas, less of it fresh, less lost to the walls: parts of which no side has the most."""
    b = made(point, trapped_mass=1.16, trapped_fresh=1.04, trapped_burned=2.0,
             released_heat=0.97, wall_heat=0.90, work_expansion=1.02, work_compression=1.02)
    reason, _ = said(made(point), b)
    assert reason.carriers == ()
    assert reason.sentences == (reason.sentences[0],) and "mixed" in reason.sentences[0]


def test_overlap_pressure_is_said_to_fit_a_gain_only_where_it_fell(point, no_waves):
    fits, _ = said(made(point), made(point, overlap=-2e4, **more_charge(1.05)))
    assert "0.20 bar lower" in fits.sentences[1] and "which fits" in fits.sentences[1]
    assert "must show lower pressure in overlap with 'new'" in fits.sentences[2]
    other, _ = said(made(point), made(point, overlap=2e4, **more_charge(1.05)))
    assert "0.20 bar higher" in other.sentences[1]
    assert "does not fit: the cause lies elsewhere" in other.sentences[1]
    assert len(other.sentences) == 2
    small, _ = said(made(point), made(point, overlap=-500.0, **more_charge(1.05)))
    assert len(small.sentences) == 1


def routes(*waves):
    """Arrivals of waves (name, share, first, peak, and the way if it is not 2 m)."""
    return ws.Arrivals(
        1, np.array([RPM]),
        [ws.Route(name, 1, size, *(way or [2.0])) for name, size, _, _, *way in waves],
        np.array([[wave[2]] for wave in waves]), np.array([[wave[3]] for wave in waves]), OVERLAP)


@pytest.fixture
def arriving(monkeypatch, point):
    """Let both points have arrivals that were made; returns the sentence on the wave."""
    at_overlap = {"intake": (OVERLAP[0], 600.0), "exhaust": (120.0, OVERLAP[1])}
    timed = replace(point, meta=point.meta | {"events_deg": at_overlap})

    def sentence(before, after, lower=True):
        given = iter((routes(*before), routes(*after)))
        monkeypatch.setattr(module, "arrivals", lambda point, **kwargs: next(given))
        return module._wave(timed, timed, lower)

    return sentence


def test_suction_that_moves_into_the_overlap_is_named_as_what_lowers_the_pressure(arriving):
    early, in_it = ("own wave from outlet", -0.5, 240.0, 280.0), (
        "own wave from outlet", -0.5, 300.0, 340.0)
    other = ("own wave from merge", -0.6, 200.0, 230.0)
    assert arriving([early, other], [in_it, other]) == (
        "The cylinder's own wave, sent back by outlet, which brings suction (-0.50 of what was "
        "sent), meets the "
        "overlap: it comes 60 deg later.")
    assert arriving([in_it, other], [early, other]) == ""  # that would raise it
    assert "no longer meets the overlap: it comes 60 deg earlier" in arriving(
        [in_it], [early], lower=False)


def test_pressure_that_leaves_the_overlap_is_named_as_what_lowers_the_pressure(arriving):
    in_it, late = ("pulse of cylinder 3", 0.4, 320.0, 350.0), (
        "pulse of cylinder 3", 0.4, 400.0, 430.0)
    found = arriving([in_it], [late])
    assert found.startswith("The pulse of cylinder 3, which brings pressure (+0.40")
    assert "no longer meets the overlap: it comes 80 deg later" in found


def test_wave_whose_way_was_changed_is_named_before_a_louder_one_that_only_its_gas_moved(arriving):
    before = [("own wave from merge", 0.5, 320.0, 350.0, 2.0),
              ("own wave from outlet", -0.3, 240.0, 280.0, 3.0)]
    after = [("own wave from merge", 0.5, 270.0, 290.0, 2.0),
             ("own wave from outlet", -0.3, 300.0, 340.0, 4.0)]
    assert arriving(before, after).startswith("The cylinder's own wave, sent back by outlet")
    unchanged = [before[0], (*before[1][:4], 4.0)]
    assert arriving(unchanged, after).startswith("The cylinder's own wave, sent back by merge")


def test_faint_wave_does_not_hide_a_loud_one_of_its_name(arriving):
    loud = [("own wave from outlet", -0.5, 240.0, 280.0)], [
        ("own wave from outlet", -0.5, 300.0, 340.0)]
    faint = ("own wave from outlet", -0.1, 500.0, 520.0, 5.0)
    for before, after in (loud, [[*one, faint] for one in loud], [[faint, *one] for one in loud]):
        assert "(-0.50 of what was sent), meets the overlap" in arriving(before, after)


def test_waves_that_are_faint_or_hardly_move_are_not_named(arriving):
    faint = [("own wave from outlet", -0.1, 240.0, 280.0)], [
        ("own wave from outlet", -0.1, 320.0, 350.0)]
    still = [("own wave from outlet", -0.5, 300.0, 312.0)], [
        ("own wave from outlet", -0.5, 310.0, 322.0)]
    assert arriving(*faint) == "" and arriving(*still) == ""


def test_bands_tell_the_mean_of_each_third_of_the_range(point, no_waves):
    speeds, gains = (2000.0, 3000.0, 4000.0, 5000.0, 6000.0), (0.96, 0.98, 1.0, 1.02, 1.05)
    a = ws.Sweep([replace(made(point), rpm=rpm) for rpm in speeds], name="old")
    b = ws.Sweep([replace(made(point, **more_charge(gain)), rpm=rpm)
                  for rpm, gain in zip(speeds, gains, strict=True)], name="new")
    found = ws.explain(a, b)
    low, middle, high = found.bands()
    means = [band.b - band.a for band in ws.compare(a, b).band_averages()]
    fine = np.linspace(2000.0, 2000.0 + 4000.0 / 3.0, 100_001)
    mean = np.mean(np.interp(fine, speeds, b["torque"] - a["torque"]))
    assert means[0] == pytest.approx(mean, abs=1e-3)
    assert low.startswith(f"From 2000 to 3333 rev/min the mean difference is {mean:+.1f} N m, "
                          "carried by trapped gas")
    assert middle == f"From 3333 to 4667 rev/min the mean difference is {means[1]:+.1f} N m."
    assert abs(means[1]) < 0.1
    assert f"From 4667 to 6000 rev/min the mean difference is {means[2]:+.1f} N m" in high
    assert [reason.rpm for reason in found.telling] == [6000.0, 2000.0]


def test_speeds_that_were_not_computed_are_refused(point, no_waves):
    _, found = said(made(point), made(point, **more_charge(1.05)))
    with pytest.raises(ws.InputError, match="rpm = 1000.0 must be one of 3500 rev/min"):
        found.at(1000.0)
    with pytest.raises(ws.InputError, match="explain: b = 'x'"):
        ws.explain(ws.Sweep([point]), "x")
