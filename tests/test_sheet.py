"""The sheet: what stands on it, that it needs nothing from elsewhere, and how it looks rendered."""

import base64
import html
import html.parser
import re
import shutil
import subprocess

import numpy as np
import pytest
from fakes import fake_sweep
from matplotlib import rc_context
from matplotlib.image import imread
from matplotlib.text import Text

import wavesim as ws
from wavesim.front.content import content_of, sentences
from wavesim.front.sheet_pdf import pages_of
from wavesim.show import panels
from wavesim.show.panels import Said
from wavesim.writing import MAKER

NASTY = "<script>alert('&')</script> $5_a"
BROWSER = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "chrome"))), None)
with_browser = pytest.mark.skipif(BROWSER is None, reason="no headless Chromium on this machine")


@pytest.fixture(scope="module")
def pair(sweeps):
    """Base and a complete system, with bends and a silencer, at the speeds of the example."""
    base = sweeps["short collector"]
    point = base.points[0]
    tail = (ws.Bend(0.058, 60, radius_ratio=1.5), ws.Pipe(0.8, 0.058),
            ws.Chamber(0.4, 0.058, case_diameter=0.16), ws.Pipe(0.5, 0.058))
    exhaust = point.exhaust.replace(name="complete", tailpipe=tail)
    variant = ws.speed_sweep(point.engine, exhaust, base.rpm.tolist(), settings=point.settings,
                             progress=False, name="complete")
    return base, variant


@pytest.fixture(scope="module")
def measured(pair):
    """Invented pulls: the torques of both with a stated band."""
    curves = [ws.Curve(f"{curve.name}, measured", curve.rpm, {"torque": 0.98 * curve.torque},
                       uncertainty={"torque": 2.0}) for curve in pair]
    return ws.compare(*curves)


@pytest.fixture(scope="module")
def files(pair, measured, tmp_path_factory):
    folder = tmp_path_factory.mktemp("sheet")
    return ws.sheet(*pair, folder / "system", question="Is it worth its weight?",
                    measured=measured)


class _Page(html.parser.HTMLParser):
    """Tags, what they load, and the texts."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.loads, self.text, self.rows = [], [], "", []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.loads += [value for name, value in attrs
                       if name in ("src", "href", "srcset", "data", "action", "poster")]
        if tag == "tr":
            self.rows.append([])
        if tag in ("td", "th"):
            self.rows[-1].append("")

    def handle_data(self, data):
        self.text += data
        if self.rows and self.rows[-1]:
            self.rows[-1][-1] += data


@pytest.fixture(scope="module")
def page(files):
    return _Page(files[0].read_text(encoding="utf-8"))


# --- what stands there ----------------------------------------------------------------------------


def test_sheet_is_one_file_that_loads_nothing(files, page):
    assert {"script", "link", "iframe", "object", "embed"}.isdisjoint(page.tags)
    assert page.loads and all(load.startswith("data:image/svg+xml;base64,") for load in page.loads)
    css = files[0].read_text(encoding="utf-8").split("<style>")[1].split("</style>")[0]
    assert "url(" not in css and "@import" not in css
    for load in page.loads:
        picture = base64.b64decode(load.split(",", 1)[1]).decode()
        assert picture.startswith("<svg") and "<!DOCTYPE" not in picture
        links = re.findall(r'(?:xlink:)?href="([^"]*)"', picture)
        assert all(link.startswith("#") for link in links)


def test_every_part_of_a_decision_is_on_the_sheet(page):
    for words in ("Is it worth its weight?", "The two systems", "Torque and power", "Why",
                  "Pumping, back pressure, residual gas, mixture, sound", "In numbers",
                  "What is assumed", "How certain it is", "Cautions"):
        assert words in page.text
    said = " ".join(page.text.split())
    for words in ("chamber, length 400, bore 58, case 160", "bend, length", "60 deg",
                  "hearing", "kills in closed rooms", "Local codes".lower(), "lambda",
                  "licensed", "repeat within", "In overlap"):
        assert words in said, words


def test_numbers_are_those_of_the_results(pair, page):
    a, b = pair
    rows = {row[0]: row[1:] for row in page.rows}
    comparison = ws.compare(a, b)
    band = comparison.band_averages("torque")[0]
    told = rows[f"Torque {band.low:.0f} to {band.high:.0f}, N\N{NO-BREAK SPACE}m"]
    minus = f"{band.difference:+.1f} ({band.percent:+.1f}\N{NO-BREAK SPACE}%)"
    assert told == [f"{band.a:.1f}", f"{band.b:.1f}", minus.replace("-", "\N{MINUS SIGN}")]
    bills = [ws.bill(curve.points[0].exhaust, curve.points[0].engine) for curve in pair]
    assert rows["Mass, kg"][:2] == [f"{bill.mass:.2f}" for bill in bills]
    assert rows["Gas volume, litre"][1] == f"{1e3 * bills[1].total.gas_volume:.2f}"
    assert rows["Bends"] == ["0", "1", "+1"]
    assert rows["Peak power, kW"][0] == f"{1e-3 * a.power.max():.1f}"
    levels = [ws.sound_curve(curve) for curve in pair]
    highest = min(one.highest for curve in levels for one in curve)
    mean = 10.0 * np.log10(np.trapezoid(
        [one.up_to(highest).squares("A").sum() / 4e-10 for one in levels[1]], b.rpm) / 3000.0)
    assert rows["Sound at 0.5\N{NO-BREAK SPACE}m, mean, dB(A)"][1] == f"{mean:.1f}"


def test_words_are_those_of_explain(pair, page):
    said = " ".join(page.text.split())
    for sentence in ws.explain(*pair).telling[0].sentences:
        assert " ".join(sentences([sentence])[0].split()) in said


def test_measured_difference_is_told_with_its_band(pair, page):
    """2 N m on each side make 2.83 N m; where 0.98 of the difference is more, it is real."""
    a, b = pair
    difference = 0.98 * (b.torque - a.torque)
    real = np.abs(difference) > np.hypot(2.0, 2.0)
    assert real.any()
    said = " ".join(page.text.split())
    told = said.split("Measured, outside the band (stated uncertainty): ")[1].split(".")[0]
    for rpm, sure in zip(a.rpm, real, strict=True):
        low_high = [list(map(float, one)) for one in re.findall(r"(\d{4})(?: to (\d{4}))?", told)
                    for one in [[one[0], one[1] or one[0]]]]
        assert any(low <= rpm <= high for low, high in low_high) == sure


def test_lean_mixture_on_the_fuel_of_the_base_is_warned_of(pair):
    a, b = pair
    content = content_of(b, a)
    more = a["air_mass_flow"] / b["air_mass_flow"]
    top = int(np.argmax(more))
    words = f"up to {100.0 * (more[top] - 1.0):.1f} % leaner, at {a.rpm[top]:.0f} rev/min"
    assert (words in " ".join(content.cautions)) == (more[top] > 1.02)
    assert more[top] > 1.02


def test_bands_that_bring_their_own_words_are_drawn_and_told():
    """Of a difference of 1, 3 and -4 N m with half widths of 2, the last two are more."""
    class Predicted:
        quantity, pieces, names = "torque", ((3500.0, 4200.0),), ("a", "b")
        rpm = np.array([2000.0, 3000.0, 4000.0])
        difference = np.array([1.0, 3.0, -4.0])
        bands = {"95 % at all speeds": np.full(3, 2.0), "95 % at one speed": np.full(3, 1.0)}

    curves = [fake_sweep(Predicted.rpm, torque, name) for name, torque in
              (("a", (100.0, 110.0, 120.0)), ("b", (101.0, 113.0, 116.0)))]
    from wavesim.front import content

    said = content._said("predicted", Predicted())
    assert isinstance(said, Said) and list(said.bands) == list(Predicted.bands)
    assert content._said_words(said) == (
        "Predicted, outside the band (95 % at all speeds): B gives more at 3000 and B gives less "
        "at 4000 rev/min; elsewhere chance is enough.")
    figure = panels.figure_of(7.0, 4.0, lambda f, box: panels.draw_power(
        f, box, ws.compare(*curves), [said]))
    labels = figure.axes[1].get_legend_handles_labels()[1]
    assert {"predicted", "predicted, 95 % at all speeds"} <= set(labels)
    Predicted.quantity = "power"
    with pytest.raises(ws.InputError, match="must be a difference of torque"):
        content._said("predicted", Predicted())


def test_both_systems_are_drawn_on_one_scale_with_true_lengths_and_bores(pair):
    content = content_of(*pair)
    for width in (7.4, 3.9):
        height = panels.systems_height(width, content.outlines)
        figure = panels.figure_of(width, height, lambda f, box: panels.draw_systems(
            f, box, content.outlines, content.names))
        (ax,) = figure.axes
        size = figure.get_size_inches() * ax.get_position().size
        scales = size / [np.ptp(ax.get_xlim()), np.ptp(ax.get_ylim())]
        assert scales[0] == pytest.approx(scales[1], rel=1e-9)
        shapes = [np.ptp(patch.get_xy(), axis=0) for patch in ax.patches]
        primary = pair[0].points[0].exhaust.primary[0]
        assert sum(np.allclose(shape, [primary.length, primary.diameter]) for shape in shapes) == 8
        assert any(np.allclose(shape, [0.4, 0.16]) for shape in shapes)  # the case
        inside = [patch.get_xy() for patch in ax.patches]
        assert max(xy[:, 0].max() for xy in inside) <= ax.get_xlim()[1]
        assert min(xy[:, 1].min() for xy in inside) >= ax.get_ylim()[0]


def test_network_in_place_of_an_exhaust_is_said_not_to_be_drawn(pair):
    point = pair[0].points[0]
    cheap = ws.Settings(cell_length=0.1, tolerance=0.05, sample_deg=4.0)
    sweep = ws.speed_sweep(point.engine, point.exhaust.network(point.engine), [3000.0, 6000.0],
                           settings=cheap, progress=False, name="network")
    content = content_of(pair[0], sweep)
    assert content.outlines == [] and "not drawn" in content.assumed[0]
    assert not any(row[0].startswith("Mass") for row in content.rows)
    with rc_context(panels.STYLE):
        assert len(pages_of(content)) == 2


# --- two pages ------------------------------------------------------------------------------------


def test_paper_has_two_pages_and_all_letters_lie_on_them(files, pair, measured):
    assert len(re.findall(rb"/Type /Page\b", files[1].read_bytes())) == 2
    content = content_of(*pair, "Is it worth its weight, all in all, " * 4, measured, measured,
                         [(3000.0, 4000.0), (4000.0, 5000.0), (5000.0, 6000.0)], 7.5)
    with rc_context(panels.STYLE):
        pages = pages_of(content)
    for sheet in pages:
        sheet.draw_without_rendering()  # lays out the legends
        width, height = sheet.get_size_inches() * sheet.dpi
        for text in sheet.findobj(Text):
            if text.get_text().strip() and text.get_visible():
                box = text.get_window_extent()
                assert box.x0 >= 0.0 and box.x1 <= width + 1.0, text.get_text()
                assert box.y0 >= 0.0 and box.y1 <= height, text.get_text()


def test_last_lines_end_above_the_foot(pair, measured):
    with rc_context(panels.STYLE):
        second = pages_of(content_of(*pair, measured=measured))[1]
    lines = {text.get_text(): text.get_window_extent() for text in second.texts}
    foot = next(box for words, box in lines.items() if words == "2 / 2")
    assert min(box.y0 for words, box in lines.items() if box.y1 > foot.y1 + 1.0) > foot.y1


# --- files ----------------------------------------------------------------------------------------


def test_files_are_replaced_only_as_long_as_nobody_edits_them(pair, tmp_path):
    base = ws.Sweep(pair[0].points, {}, NASTY)
    place = tmp_path / "a.html"
    page, paper = ws.sheet(base, pair[1], place)
    assert (page.name, paper.name) == ("a.html", "a.pdf")
    text = page.read_text(encoding="utf-8")
    assert "<script>" not in text and "&lt;script&gt;" in text
    assert paper.read_bytes().endswith(f"% {MAKER}\n".encode())
    ws.sheet(base, pair[1], place, question="Again?")
    assert "Again?" in page.read_text(encoding="utf-8")
    old = paper.read_bytes()
    page.write_text(page.read_text(encoding="utf-8").replace("Again?", "My own words"))
    with pytest.raises(ws.InputError, match="a.html.* was not written by wavesim or was changed"):
        ws.sheet(base, pair[1], place)
    assert paper.read_bytes() == old
    (tmp_path / "b.pdf").write_bytes(b"%PDF of somebody else")
    with pytest.raises(ws.InputError, match="b.pdf.* was not written by wavesim"):
        ws.sheet(base, pair[1], tmp_path / "b")
    assert not (tmp_path / "b.html").exists()


def test_what_makes_no_sheet_is_refused(pair, tmp_path):
    for arguments, message in (
        ((pair[0], 3), "b = 3"),
        ((pair[0], fake_sweep([3000.0, 4000.0], [1.0, 2.0])), "that `wavesim` computed"),
        ((pair[0], ws.Sweep(pair[1].points[:1])), "two speeds at least"),
    ):
        with pytest.raises(ws.InputError, match=message):
            ws.sheet(*arguments, tmp_path / "x")
    with pytest.raises(ws.InputError, match="measured = 3 .*must be a difference of torque"):
        ws.sheet(*pair, tmp_path / "x", measured=3)
    assert not list(tmp_path.iterdir())


def test_minus_and_units_are_set_as_they_should_be():
    assert sentences(["from  -0.19 to 3-4 and 12 N m, 5 % at 4000 rev/min, A-weighted"]) == [
        "from \N{MINUS SIGN}0.19 to 3-4 and 12\N{NO-BREAK SPACE}N\N{NO-BREAK SPACE}m, "
        "5\N{NO-BREAK SPACE}% at 4000\N{NO-BREAK SPACE}rev/min, A-weighted"]


# --- rendered -------------------------------------------------------------------------------------


def browse(*options):
    """Run a headless Chromium; returns what it prints."""
    done = subprocess.run(
        [BROWSER, "--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars", *options],
        capture_output=True, text=True, timeout=120, check=True)
    return done.stdout


@with_browser
@pytest.mark.parametrize("width", [1200, 400])
def test_sheet_renders_on_a_screen_and_a_phone_without_sideways_scrolling(files, tmp_path, width):
    shot = tmp_path / "shot.png"
    browse(f"--window-size={width},3000", f"--screenshot={shot}", files[0].as_uri())
    picture = imread(shot)[..., :3]
    assert picture.shape[:2] == (3000, width)
    ink = (picture.max(axis=2) < 0.5).mean(axis=1)
    assert (ink[:1500] > 0.01).sum() > 400  # lines of text and figures all the way down
    text = html.escape(files[0].read_text(encoding="utf-8"))
    frame = tmp_path / "frame.html"  # a window cannot be as narrow as a phone
    frame.write_text(f'''<body><iframe width="{width}" height="3000" srcdoc="{text}"></iframe>
        <script>onload = () => {{
            const inner = document.querySelector("iframe").contentDocument;
            document.body.dataset.wide = inner.documentElement.scrollWidth;
            document.body.dataset.pictures = [...inner.images].every(one => one.naturalWidth > 0);
        }}</script></body>''', encoding="utf-8")
    found = browse("--window-size=1400,3000", "--dump-dom", frame.as_uri())
    assert 300 < int(re.search(r'data-wide="(\d+)"', found)[1]) <= width
    assert 'data-pictures="true"' in found


@with_browser
def test_sheet_prints_on_two_pages(files, tmp_path):
    browse("--no-pdf-header-footer", f"--print-to-pdf={tmp_path / 'print.pdf'}", files[0].as_uri())
    assert len(re.findall(rb"/Type /Page\b", (tmp_path / "print.pdf").read_bytes())) == 2
