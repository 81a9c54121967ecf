"""Loss coefficients of the junction of the momentum model against measurements on tees and wyes.

The runs and the published values are those of `validation/case_junction_losses.py` (rows LO-5 to
LO-7).  A junction cell holds one pressure and one velocity; the bounds say how far that carries.
"""

import numpy as np
import pytest
from case_junction_losses import (
    ANGLES,
    FLOWS,
    MERGES,
    QUANTITIES,
    RATIOS,
    WIDENINGS,
    curve,
    draw,
    in_line_losses,
    network,
    published,
    report,
    settle,
    table,
)

from wavesim import exact


@pytest.fixture(scope="module")
def found():
    """Computed coefficients by (flow, angle)."""
    return table()


#: Largest and root-mean-square deviation from the Munich measurements over all flow ratios.  The
#: straight leg of a square combining tee is the poor one: the pressure that the turned stream
#: builds up on the wall across does not exist in a cell of one pressure.
ACHIEVED = {
    ("combining", 90.0, "branch_loss"): (0.21, 0.12),
    ("combining", 90.0, "straight_loss"): (0.61, 0.35),
    ("combining", 45.0, "branch_loss"): (0.14, 0.08),
    ("combining", 45.0, "straight_loss"): (0.11, 0.07),
    ("dividing", 90.0, "branch_loss"): (0.29, 0.15),
    ("dividing", 90.0, "straight_loss"): (0.18, 0.14),
    ("dividing", 45.0, "branch_loss"): (0.33, 0.22),
    ("dividing", 45.0, "straight_loss"): (0.21, 0.18),
}


@pytest.mark.parametrize("key", ACHIEVED, ids=["-".join(map(str, key)) for key in ACHIEVED])
def test_loss_coefficients_are_as_near_to_the_measured_ones_as_stated(found, key):
    """0.15 was hoped for; the table says what is reached."""
    off = curve(found, *key) - published(*key)
    largest, rms = ACHIEVED[key]
    assert np.abs(off).max() < largest
    assert np.sqrt(np.mean(off**2)) < rms


@pytest.mark.parametrize("flow", FLOWS)
@pytest.mark.parametrize("angle", ANGLES)
@pytest.mark.parametrize("quantity", QUANTITIES)
def test_sign_is_right_where_the_measured_loss_is_not_small(found, flow, angle, quantity):
    """Above 0.15: also where a fast stream draws a slow one along, with a negative loss.

    Exempt is the straight leg of the square combining tee when it carries a tenth of the flow or
    none: computed 0.04 and 0.00, measured 0.51 and 0.60.
    """
    measured = published(flow, angle, quantity)
    clear = np.abs(measured) > 0.15
    if (flow, angle, quantity) == ("combining", 90.0, "straight_loss"):
        clear &= np.array(RATIOS) < 0.9
    assert np.all(np.sign(curve(found, flow, angle, quantity))[clear] == np.sign(measured)[clear])


def test_flow_ratio_of_each_case_is_the_one_asked_for(found):
    for values in found.values():
        assert values[:, 0] == pytest.approx(RATIOS, abs=0.01)


def test_wye_lies_within_the_scatter_of_the_laws_themselves():
    """At 45 degrees the measurements, Gardel's formula and pure momentum differ by up to 0.3: the
    cell lies inside their band, widened by 0.13.
    """
    values = np.array([settle("combining", 45.0, q)[1] for q in RATIOS])
    momentum = [exact.combining_loss(q, 45.0) for q in RATIOS]
    band = np.array([published("combining", 45.0, "branch_loss"), momentum])
    assert np.all(values > band.min(axis=0) - 0.13)
    assert np.all(values < band.max(axis=0) + 0.13)


@pytest.mark.parametrize("angle", MERGES)
def test_merge_of_small_angle_draws_along_what_flows_slowly(angle):
    """The angles of collectors: the leg with a fifth of the flow gains pressure, as momentum says
    (LO-6), within 0.2; both legs are alike at equal flow, and lose next to nothing: the narrowing
    from two pipes to one is taken as well rounded, where a sharp one would lose 0.25.
    """
    _, weak, strong = settle("combining", angle, 0.2)
    assert weak < -0.25 < 0.0 < strong
    assert weak == pytest.approx(exact.combining_loss(0.2, angle), abs=0.2)
    _, branch, straight = settle("combining", angle, 0.5)
    assert branch == pytest.approx(straight, abs=0.01)
    assert branch == pytest.approx(0.0, abs=0.02)


@pytest.mark.parametrize("ratio", WIDENINGS)
def test_two_pipes_in_line_of_unequal_bore_lose_what_borda_and_carnot_say(ratio):
    """The cell is then a sudden enlargement: rows ST-11, the loss within 1 % of the head."""
    loss, law = in_line_losses(ratio)
    assert loss == pytest.approx(law, abs=0.01)


def test_dead_leg_in_line_with_a_jet_feels_its_head():
    """All the flow of the combined leg turns into the branch: the straight leg, closed by its own
    pressure, stands between the static and the stagnation pressure of the stream.
    """
    _, _, straight = settle("dividing", 90.0, 1.0)
    assert 0.2 < straight < 0.6


def test_table_and_figure_can_be_made(found):
    text = report(found)
    assert text.count("combining") == 4 and text.count("(") == 49 and "rms" in text
    assert len(draw(found, found)) == 4


def test_constant_pressure_junction_knows_no_angle():
    one, other = (settle("combining", angle, 0.4, "pressure")[1:] for angle in ANGLES)
    assert one == pytest.approx(other, abs=1e-6)
    assert network("combining", 45.0, (1.0, 0.5, 0.5)).check() == []
