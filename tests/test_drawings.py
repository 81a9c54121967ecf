"""The drawing of an exhaust to scale and that of its bill: what is drawn, where, and how large."""

import numpy as np
import pytest
from examples_of_all_kinds import PARTS
from matplotlib import pyplot
from matplotlib.colors import to_hex

import wavesim as ws
from wavesim.errors import InputError
from wavesim.show.drawings import GAP

ENGINE = ws.load(ws.demo_path("collector")).engine
PRIMARY = ws.Pipe(0.75, 0.038)


@pytest.fixture(autouse=True)
def closed():
    yield
    pyplot.close("all")


def boxes(ax):
    """Left, right, lower and upper edge of everything that is filled [m]."""
    found = []
    for patch in ax.patches:
        x, y = patch.get_xy().T
        found.append((x.min(), x.max(), y.min(), y.max()))
    return found


def key(ax):
    """Sizes by number, as the key tells them."""
    lines = "\n".join(text.get_text() for text in ax.texts).splitlines()
    return [line for line in lines if ":" in line and line[0].isdigit()]


def test_lengths_and_bores_have_one_scale_and_follow_one_another():
    exhaust = ws.Exhaust(name="x", primary=PRIMARY, collector=ws.Pipe(0.3, 0.058),
                         pipe=(ws.Pipe(0.2, 0.058, end_diameter=0.05), ws.Pipe(0.5, 0.05)))
    ax = ws.draw_exhaust(exhaust, ENGINE)
    assert ax.get_aspect() == 1.0 and ax.get_title(loc="left") == "x"
    found = boxes(ax)
    assert len(found) == 4 + 3
    primaries, (collector, taper, pipe) = found[:4], found[4:]
    assert all(box[:2] == pytest.approx((0.0, 0.75)) for box in primaries)
    assert all(box[3] - box[2] == pytest.approx(0.038) for box in primaries)
    lower = sorted(primaries, key=lambda box: box[2])
    assert all(a[3] < b[2] for a, b in zip(lower, lower[1:], strict=False))
    assert collector[:2] == pytest.approx((0.75 + GAP, 1.05 + GAP))
    assert collector[3] - collector[2] == pytest.approx(0.058)
    assert (taper[0], pipe[0]) == pytest.approx((collector[1], taper[1]))
    assert pipe[1] - pipe[0] == pytest.approx(0.5)
    corners = ax.patches[5].get_xy()
    ends = [np.ptp(corners[np.isclose(corners[:, 0], x), 1]) for x in taper[:2]]
    assert ends == pytest.approx([0.058, 0.05])
    assert key(ax) == ["1  primary 1: tube, length 750, bore 38",
                       "2  collector: tube, length 300, bore 58",
                       "3  pipe: taper, length 200, bore 58 to 50",
                       "4  pipe: tube, length 500, bore 50"]


def test_total_length_of_the_drawing_is_that_of_the_bill():
    study = ws.load(ws.demo_path("complete"))
    for exhaust in study.exhausts.values():
        ax = ws.draw_exhaust(exhaust, study.engine)
        primary = exhaust.primary_lines(4)[0]
        own = sum(part.length for part in primary)
        laid = ws.bill(exhaust, study.engine).total.length - 4 * own + own
        assert max(box[1] for box in boxes(ax)) == pytest.approx(laid + GAP)


def test_cone_of_a_merge_is_drawn_between_the_tubes_and_what_follows():
    pairs = {"pairs": ((1, 4), (2, 3)), "secondary": ws.Pipe(0.4, 0.045),
             "pair_merge": ws.Merge(cone_length=0.06)}
    banks = {"bank_link": ws.Merge(cone_length=0.2), "pipe": ws.Pipe(1.0, 0.065)}
    v4 = ENGINE.replace(banks=(1, 2, 2, 1))
    for changes, engine, gaps in (({}, ENGINE, 1), (pairs, ENGINE, 2), (banks, v4, 2)):
        exhaust = ws.Exhaust(primary=PRIMARY, merge=ws.Merge(cone_length=0.12),
                             collector=ws.Pipe(0.3, 0.058), **changes)
        ax = ws.draw_exhaust(exhaust, engine)
        along = {"": 0.75 + 0.12 + 0.3, "pairs": 0.06 + 0.4, "bank_link": 0.2 + 1.0}
        reach = sum(length for name, length in along.items() if not name or name in changes)
        assert max(box[1] for box in boxes(ax)) == pytest.approx(reach + gaps * GAP)
    first = ws.draw_exhaust(ws.Exhaust(primary=PRIMARY, merge=ws.Merge(cone_length=0.12),
                                       collector=ws.Pipe(0.3, 0.058)), ENGINE)
    assert key(first)[1] == "2  merge cone: taper, length 120, bore 76 to 58"
    cone = boxes(first)[4]
    assert cone[:2] == pytest.approx((0.75 + GAP, 0.87 + GAP))
    assert cone[3] - cone[2] == pytest.approx(0.076)


@pytest.mark.parametrize("kind", PARTS, ids=lambda kind: kind.__name__)
def test_every_kind_of_part_is_drawn_in_its_place_and_told_in_the_key(kind):
    for part in PARTS[kind]:
        tube = ws.Pipe(0.2, 0.05)
        exhaust = ws.Exhaust(primary=PRIMARY, collector=(tube, part, tube))
        plain = ws.draw_exhaust(ws.Exhaust(primary=PRIMARY, collector=(tube, tube)), 2)
        ax = ws.draw_exhaust(exhaust, 2)
        assert len(ax.patches) > len(plain.patches)
        longer = ws.bill(exhaust, 2).total.length - ws.bill(
            ws.Exhaust(primary=PRIMARY, collector=(tube, tube)), 2).total.length
        ends = [max(box[1] for box in boxes(one)) for one in (ax, plain)]
        assert ends[0] - ends[1] == pytest.approx(longer if part.adds_length else 0.0)
        assert len(key(ax)) == 4
        drawn = [box for box in boxes(ax) if 0.75 + GAP + 0.15 < box[1]]
        widest = max(box[3] - box[2] for box in drawn)
        assert widest >= getattr(part, "case_diameter", 0.0) - 1e-9


def test_silencer_bends_and_holes_are_told_apart_without_colour():
    box = ws.PerforatedSilencer(0.4, 0.05, case_diameter=0.15, packing=ws.Packing(bulk_density=90))
    exhaust = ws.Exhaust(primary=PRIMARY, collector=(ws.Pipe(0.2, 0.05), box,
                                                     ws.Bend(0.05, 90, radius_ratio=1.5)))
    ax = ws.draw_exhaust(exhaust, 2)
    assert [patch.get_hatch() for patch in ax.patches][-3:] == ["xxx", None, "////"]
    dotted = [line for line in ax.get_lines() if line.get_linestyle() == ":"]
    assert [np.ptp(line.get_xdata()) for line in dotted] == pytest.approx([0.4, 0.4])
    assert "3  collector: perforated silencer, length 400, bore 50, case 150, packed" in key(ax)
    assert any("bend" in line and "90 deg" in line for line in key(ax))
    assert {to_hex(patch.get_edgecolor()) for patch in ax.patches} <= {"#000000"}


def test_pairs_and_banks_are_joined_where_they_meet():
    four = ws.Exhaust(primary=PRIMARY, pairs=((1, 4), (2, 3)), secondary=ws.Pipe(0.3, 0.045),
                      collector=ws.Pipe(0.5, 0.055))
    ax = ws.draw_exhaust(four, 4)
    strokes = [line.get_xydata() for line in ax.get_lines()]
    assert len(strokes) == 4 + 2
    middle = {round(float(stroke[1][1]), 6) for stroke in strokes[:4]}
    assert len(middle) == 2  # two secondaries
    six = ENGINE.replace(firing_order=(1, 2, 3, 4, 5, 6), banks=(1, 2) * 3)
    for link, words in ((ws.HPipe(tube=ws.Pipe(0.4, 0.05)), "tube, length 400, bore 50"),
                        (ws.XPipe(angle_deg=30.0), "crossing, 30 deg from the axis")):
        vee = ws.Exhaust(primary=PRIMARY, collector=ws.Pipe(0.3, 0.055), bank_link=link,
                         pipe=(ws.Pipe(0.4, 0.05), ws.SideTube(0.5, 0.03), ws.Pipe(0.4, 0.05)))
        ax = ws.draw_exhaust(vee, six)
        assert f"link of the banks: {words}" in key(ax)[-1]
        tubes = [box for box in boxes(ax) if box[3] - box[2] == pytest.approx(0.5)]
        assert len(tubes) == 2 and tubes[1][3] < tubes[0][2]  # one bank stays clear of the other
    ax = ws.draw_exhaust(vee.replace(bank_link=ws.Merge()), six)
    assert sum("pipe: tube" in line for line in key(ax)) == 2  # one pipe behind both


def test_stacks_have_no_joints():
    ax = ws.draw_exhaust(ws.Exhaust(primary=PRIMARY, merge=None), 3)
    assert len(ax.patches) == 3 and not ax.get_lines()
    assert ax.get_title(loc="right") == "individual stacks"


def test_lines_without_a_merge_go_straight_on_and_stay_clear_of_one_another():
    twin = ws.Exhaust(primary=PRIMARY, merge=None, collector=ws.Pipe(0.2, 0.04),
                      bank_link=ws.HPipe(tube=ws.Pipe(0.3, 0.03)),
                      pipe=(ws.Pipe(0.3, 0.04), ws.SideTube(0.4, 0.03), ws.Pipe(0.3, 0.04)))
    ax = ws.draw_exhaust(twin, 2)
    assert not ax.get_lines() and ax.get_title(loc="right") == ""
    assert max(box[1] for box in boxes(ax)) == pytest.approx(0.75 + 0.2 + 0.6)
    assert "link of the banks: tube, length 300, bore 30" in key(ax)[-1]
    (link,) = [box for box in boxes(ax) if box[1] - box[0] == pytest.approx(0.03)
               and box[0] < 0.95 < box[1]]
    assert link[3] - link[2] > 0.4  # clear of the side tube of the lower line


def test_cone_of_a_merge_is_drawn_between_the_strokes_and_what_follows():
    plain = ws.Exhaust(primary=PRIMARY, collector=ws.Pipe(0.3, 0.058))
    coned = plain.replace(merge=ws.Merge(cone_length=0.12))
    ax = ws.draw_exhaust(coned, 4)
    assert "2  merge cone: taper, length 120, bore 76 to 58" in key(ax)
    assert len(ax.patches) == 6
    ends = [max(box[1] for box in boxes(one)) for one in (ax, ws.draw_exhaust(plain, 4))]
    assert ends[0] - ends[1] == pytest.approx(0.12)


def test_drawing_takes_given_axes_and_refuses_what_it_cannot_draw():
    (ax,) = ws.plots.new_axes(1)
    exhaust = ws.Exhaust(primary=PRIMARY, collector=ws.Pipe(0.3, 0.058))
    assert ws.draw_exhaust(exhaust, 2, ax) is ax
    with pytest.raises(InputError, match="draw_exhaust: engine = None must be an Engine"):
        ws.draw_exhaust(exhaust)
    with pytest.raises(InputError, match="draw_exhaust: exhaust = 'x'"):
        ws.draw_exhaust("x", 4)


def test_bars_of_the_bill_are_its_lengths_and_masses():
    study = ws.load(ws.demo_path("complete"))
    found = ws.bill(study.exhausts["complete, 51 mm"], study.engine)
    ax = found.plot()
    upper = ax.figure.axes[1]
    lengths = [bar.get_width() for bar in ax.patches]
    masses = [bar.get_width() for bar in upper.patches]
    assert lengths == [row.amounts.length for row in found.rows]
    assert sum(masses) == pytest.approx(found.mass)
    assert (ax.get_xlabel(), upper.get_xlabel()) == ("length [m]", "mass [kg]")
    assert [text.get_text() for text in ax.get_yticklabels()][0] == "primary, part 1: Pipe (4 x)"
    names = [text.get_text() for text in ax.get_legend().get_texts()]
    assert names == [f"length, {found.total.length:.2f} m in all",
                     f"mass, {found.mass:.2f} kg in all"]
    assert {bar.get_hatch() for bar in upper.patches} == {"///"}


# --- systems that do not merge --------------------------------------------------------------------


def test_lines_of_a_single_are_drawn_end_to_end():
    exhaust = ws.Exhaust(primary=PRIMARY, merge=None, pipe=ws.Megaphone(
        0.4, diameter=0.038, end_diameter=0.08, reverse_length=0.05, reverse_diameter=0.05))
    primary, cone, reverse = boxes(ws.draw_exhaust(exhaust, 1))
    assert primary[:2] == pytest.approx((0.0, 0.75))
    assert cone[:2] == pytest.approx((0.75, 1.15)) and reverse[:2] == pytest.approx((1.15, 1.2))
    assert cone[3] - cone[2] == pytest.approx(0.08)


def test_every_stack_and_every_pair_without_a_merge_has_its_own_end():
    stacks = ws.Exhaust(primary=PRIMARY, merge=None, pipe=ws.Pipe(0.4, 0.05))
    assert len(boxes(ws.draw_exhaust(stacks, ENGINE))) == 8
    pairs = stacks.replace(pairs=((1, 4), (2, 3)), secondary=ws.Pipe(0.3, 0.045))
    found = boxes(ws.draw_exhaust(pairs, ENGINE))
    assert len(found) == 4 + 2 + 2
    assert sum(box[1] == pytest.approx(max(b[1] for b in found)) for box in found) == 2


def test_link_of_two_singles_is_drawn_where_their_primaries_end():
    twin = ENGINE.replace(firing_order=(1, 2), banks=(1, 2))
    exhaust = ws.Exhaust(primary=PRIMARY, merge=None, pipe=ws.Pipe(0.4, 0.038),
                         bank_link=ws.HPipe(tube=ws.Pipe(0.3, 0.03)))
    tubes = [box for box in boxes(ws.draw_exhaust(exhaust, twin)) if box[1] - box[0] < 0.1]
    (link,) = tubes
    assert 0.5 * (link[0] + link[1]) == pytest.approx(0.75)
