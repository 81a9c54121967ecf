"""The account of a difference of torque: it adds up, and puts each cause under its own name."""

from dataclasses import replace
from math import log, pi

import numpy as np
import pytest
from csv_files import csv_rows
from scipy.integrate import quad

import wavesim as ws
from wavesim.results.contributions import PARTS

SETTINGS = ws.Settings(cell_length=0.05, tolerance=1e-2)
SPEEDS = (2500.0, 4500.0)
GROSS = ("trapped_mass", "fresh_share", "mixture", "heat_release", "wall_heat", "conversion")


@pytest.fixture(scope="module")
def study():
    return ws.load(ws.demo_path("collector"))


@pytest.fixture(scope="module")
def sweeps(study):
    """Both exhausts of the packaged study, coarsely."""
    a, b = list(study.exhausts.values())[:2]
    return tuple(ws.speed_sweep(study.engine, exhaust, SPEEDS, settings=SETTINGS, threads=1)
                 for exhaust in (a, b))


def made(point, **changes):
    """A point with other amounts by cylinder, and the torque that follows from its work."""
    cylinders = point.cylinders | changes
    gross = cylinders["work_expansion"] + cylinders["work_compression"]
    work = gross.sum() - sum(
        cylinders[f"pumping_{part}"].sum() for part in ("exhaust", "recompression", "intake"))
    displacement = point.engine.displacement
    torque = (work - point.fmep * displacement) / (4.0 * pi)
    return replace(point, cylinders=cylinders, values=point.values | {"torque": torque})


def parted(a, b):
    """Parts of the difference of two points."""
    return {name: float(values[0])
            for name, values in ws.contributions(ws.Sweep([a]), ws.Sweep([b])).parts.items()}


def test_parts_add_up_to_the_difference_of_torque(sweeps):
    a, b = sweeps
    found = ws.contributions(a, b)
    assert found.rpm.tolist() == list(SPEEDS)
    assert np.abs(found.total - (b["torque"] - a["torque"])).max() < 1e-9
    assert np.abs(found.total).max() > 1.0
    assert list(found.parts) == list(PARTS)


def largest_remainder(sweeps):
    """Largest difference between the sum of the parts and that of the torques [N m], any pair."""
    base, *variants = sweeps
    many = ws.compare(base, *variants)
    pairs = [many] if isinstance(many, ws.Comparison) else list(many)
    left = [np.abs(pair.contributions().total - pair.difference("torque")).max() for pair in pairs]
    assert len(left) == len(variants) and all(np.any(pair.difference("torque")) for pair in pairs)
    return max(left)


@pytest.mark.parametrize("name", ["demo", "collector", "complete"])
def test_parts_add_up_on_every_comparison_of_a_packaged_study(name):
    quick = ws.load(ws.demo_path(name)).replace(
        rpm=(3000.0, 5500.0), settings=ws.Settings(cell_length=0.1, tolerance=0.05))
    assert largest_remainder(ws.run_study(quick, threads=1, progress=False).values()) < 1e-9


@pytest.mark.slow
@pytest.mark.parametrize("name", ["demo", "collector", "complete"])
def test_parts_add_up_at_every_speed_of_a_packaged_study_as_it_stands(name):
    sweeps = ws.run_study(ws.load(ws.demo_path(name)), progress=False)
    assert largest_remainder(sweeps.values()) < 1e-9


def test_comparison_gives_the_account_under_its_own_names(sweeps):
    a, b = sweeps
    found = ws.Comparison(a, b, names=("short", "long")).contributions()
    assert found.names == ("short", "long")
    plain = ws.contributions(a, b)
    assert all(np.array_equal(found[name], plain[name]) for name in PARTS)
    measured = ws.Curve("measured", SPEEDS, {"torque": [100.0, 120.0]})
    with pytest.raises(ws.InputError, match="contributions: b = .* must be of type Sweep"):
        ws.compare(a, measured).contributions()


def test_exchange_of_the_curves_changes_signs_only(sweeps):
    a, b = sweeps
    on, back = ws.contributions(a, b), ws.contributions(b, a)
    for name in PARTS:
        assert on[name] == pytest.approx(-back[name], abs=1e-12)


def test_engines_that_differ_in_friction_differ_by_friction_alone(study, sweeps):
    rough = study.engine.replace(friction=study.engine.friction.replace(constant=9e4))
    exhaust = next(iter(study.exhausts.values()))
    b = ws.speed_sweep(rough, exhaust, SPEEDS, settings=SETTINGS, threads=1)
    found = ws.contributions(sweeps[0], b)
    assert found["friction"] == pytest.approx(b["torque"] - sweeps[0]["torque"], abs=1e-9)
    for name in set(PARTS) - {"friction"}:
        assert np.all(found[name] == 0.0), name


def test_less_heat_stands_under_heat_release_and_what_the_cooler_gas_makes_of_it(study, sweeps):
    """The cooler gas loses less to the walls and has a smaller heat capacity: some comes back.

    On the fine mesh heat release is 113 to 134 % of the whole, walls and conversion give back 12 to
    17 %, and the gas exchange, near a tuned speed, up to 17 %.
    """
    engine = study.engine
    low = engine.replace(combustion=engine.combustion.replace(
        efficiency=0.97 * engine.combustion.efficiency))
    exhaust = next(iter(study.exhausts.values()))
    b = ws.speed_sweep(low, exhaust, SPEEDS, settings=SETTINGS, threads=1)
    found = ws.contributions(sweeps[0], b)
    gross = np.array([
        (p.cylinders["work_expansion"] + p.cylinders["work_compression"]).sum()
        for p in sweeps[0]]) / (4.0 * pi)
    assert found["heat_release"] == pytest.approx(gross * log(0.97), rel=0.02)
    assert np.all(found["wall_heat"] > 0.0) and np.all(found["conversion"] > 0.0)
    heat = found["heat_release"] + found["wall_heat"] + found["conversion"]
    assert heat / found.total == pytest.approx(1.0, abs=0.25)


@pytest.mark.parametrize(("cause", "amounts"), [
    ("heat_release", ("released_heat", "wall_heat", "work_expansion", "work_compression")),
    ("wall_heat", ()),
    ("trapped_mass", ("trapped_mass", "trapped_fresh", "trapped_burned", "released_heat",
                      "wall_heat", "work_expansion", "work_compression")),
    ("fresh_share", ("trapped_fresh", "released_heat", "wall_heat", "work_expansion",
                     "work_compression")),
    ("conversion", ("work_expansion", "work_compression")),
])
def test_one_cause_stands_under_its_own_name_alone(sweeps, cause, amounts):
    a = sweeps[0].points[0]
    if cause == "wall_heat":  # the same work out of all heat that is kept
        kept = a.cylinders["released_heat"].sum() - a.cylinders["wall_heat"].sum()
        more = 1.0 - 0.03 * a.cylinders["wall_heat"].sum() / kept
        b = made(a, wall_heat=1.03 * a.cylinders["wall_heat"],
                 **{name: more * a.cylinders[name]
                    for name in ("work_expansion", "work_compression")})
    else:
        b = made(a, **{name: 1.03 * a.cylinders[name] for name in amounts})
    parts = parted(a, b)
    whole = b.torque - made(a).torque
    assert abs(whole) > 0.1
    assert parts.pop(cause) == pytest.approx(whole, abs=1e-9)
    assert max(map(abs, parts.values())) < 1e-9


def test_mixture_holds_what_the_charge_has_to_give(study, sweeps):
    """The same work and heat out of a richer gas: mixture and heat release cancel."""
    a = sweeps[0].points[0]
    richer = a.gas.replace(lam=0.9)
    meta = a.meta | {"gas": a.meta["gas"] | {"lam": 0.9}}
    b = replace(a, meta=meta)
    assert b.gas == richer
    parts = parted(a, b)
    gross = (a.cylinders["work_expansion"] + a.cylinders["work_compression"]).sum()
    wanted = gross / (4.0 * pi) * log(richer.heat_per_fresh / a.gas.heat_per_fresh)
    assert parts["mixture"] == pytest.approx(wanted, rel=1e-9)
    assert parts["heat_release"] == pytest.approx(-wanted, rel=1e-9)


def test_parts_of_a_product_are_its_line_integrals(sweeps):
    """Integral of W d ln f along the path on which every factor goes evenly from ln a to ln b.

    The same split by another way: the logarithmic mean is the mean of W along that path.
    """
    points = [sweep.points[0] for sweep in sweeps]
    work = [(p.cylinders["work_expansion"] + p.cylinders["work_compression"]).sum()
            for p in points]
    mean = quad(lambda t: work[0] ** (1.0 - t) * work[1] ** t, 0.0, 1.0)[0]
    fresh = [p.cylinders["trapped_fresh"].sum() / p.cylinders["trapped_mass"].sum()
             for p in points]
    parts = parted(*points)
    wanted = mean * log(fresh[1] / fresh[0]) / (4.0 * pi)
    assert parts["fresh_share"] == pytest.approx(wanted, rel=1e-9)
    assert sum(parts[name] for name in GROSS) == pytest.approx(
        (work[1] - work[0]) / (4.0 * pi), abs=1e-9)


def test_work_without_heat_and_curves_without_a_common_speed_are_refused(sweeps):
    a = sweeps[0]
    cold = made(a.points[0], released_heat=0.0 * a.points[0].cylinders["released_heat"])
    with pytest.raises(ws.InputError, match="at 2500 rev/min the engine burned too little"):
        ws.contributions(ws.Sweep([cold]), a)
    with pytest.raises(ws.InputError, match="must share a speed"):
        ws.contributions(ws.Sweep(a.points[:1]), ws.Sweep(a.points[1:]))
    with pytest.raises(ws.InputError, match="contributions: a = 'x' .str. must be of type Sweep"):
        ws.contributions("x", a)


def test_table_and_file_hold_every_part_and_the_whole(sweeps, tmp_path):
    found = ws.contributions(*sweeps)
    table = found.table()
    for label in (*found.labels.values(), "2500", "4500"):
        assert label in table
    found.to_csv(tmp_path / "parts.csv")
    heads, *rows = csv_rows(tmp_path / "parts.csv")
    assert heads[0] == "rpm [rev/min]" and heads[-1] == "torque difference [N m]"
    values = np.array(rows, dtype=float)
    assert values[:, 1:-1].sum(axis=1) == pytest.approx(values[:, -1], abs=1e-9)


def test_bars_of_a_speed_reach_from_the_sum_of_losses_to_the_sum_of_gains(sweeps):
    found = ws.contributions(*sweeps)
    ax = found.plot(ws.plots.new_axes()[0])
    tops = [bar.get_y() + bar.get_height() for bars in ax.containers for bar in bars]
    parts = np.array(list(found.parts.values()))
    thin = 2e-2 * np.abs(parts).sum(axis=0).max()  # ten parts that are too thin to be drawn
    assert max(tops) == pytest.approx(parts.clip(min=0.0).sum(axis=0).max(), abs=thin)
    assert min(tops) == pytest.approx(parts.clip(max=0.0).sum(axis=0).min(), abs=thin)
    assert ax.lines[0].get_ydata() == pytest.approx(found.total)
