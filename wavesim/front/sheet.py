"""The sheet: the comparison of two exhausts on one page for a screen and two for paper."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from wavesim.errors import check_number
from wavesim.fields.description import check_text
from wavesim.front.content import SheetContent, content_of
from wavesim.front.sheet_html import html_of
from wavesim.front.sheet_pdf import pages_of
from wavesim.guard import guarded
from wavesim.results.points import Sweep
from wavesim.show.forms import SpeedCurve
from wavesim.show.pages import pdf_of
from wavesim.writing import (
    MAKER,
    as_path,
    check_free,
    holds_mark,
    is_unedited,
    whole_file,
    write_signed,
)


@guarded
def sheet(
    a: Sweep,
    b: Sweep,
    path: str | Path,
    *,
    question: str = "",
    measured: Any = None,
    predicted: Any = None,
    pulls: Sequence[SpeedCurve] | None = None,
    bands: Sequence[tuple[float, float]] | None = None,
    distance: float = 0.5,
) -> tuple[Path, Path]:
    """Put the comparison of two exhausts on one sheet, for a customer or a fabricator.

    Parameters
    ----------
    a, b : Sweep
        Base and variant, of two speeds at least, as `speed_sweep` and `run_study` return them.
        With their traces the sound of both stands on the sheet too.
    path : str or Path
        Of the sheet; its suffix becomes .html for the one file and .pdf for the other.
    question : str
        That the sheet answers, its title; default: what b changes against a.
    measured, predicted : Comparison, MeasuredDifference or another difference of torque, optional
        With its bands, b less a, as `measured_difference` and `predict` return them.
    pulls : pair of MeasuredPulls, Curve or another speed curve, optional
        Measured curves of both, to be drawn beside the computed ones; default: those of `measured`
        if it is a Comparison.
    bands : sequence of (float, float), optional
        Bands of speed to average over [rev/min]; default: three equal parts.
    distance : float
        At which sound is told [m], 0.1 to 1000, on hard ground.

    Returns
    -------
    (Path, Path)
        The HTML file, which holds its figures and needs nothing from elsewhere, and the PDF file
        of two pages.

    Raises
    ------
    InputError
        If a or b is no computed sweep, they share no range of speed, something given is no
        difference, or one of the files is there already and is not the library's or was changed
        since: nothing is written then.

    Examples
    --------
    >>> import tempfile
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector")).replace(rpm=(3000.0, 5000.0))
    >>> study = study.replace(settings=ws.Settings(cell_length=0.1, tolerance=0.05, sample_deg=4.0))
    >>> a, b = ws.run_study(study, progress=False).values()
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     [path.name for path in ws.sheet(a, b, f"{folder}/collector", question="Longer?")]
    ['collector.html', 'collector.pdf']
    """
    path = as_path("sheet", path)
    question = check_text("sheet", "question", question)
    distance = check_number("sheet", "distance", distance, "m", 0.1, 1000.0)
    content = content_of(a, b, question, measured, predicted, bands, distance, pulls)
    page, paper = (path.with_name(f"{_stem(path)}{suffix}") for suffix in (".html", ".pdf"))
    check_free(page, "sheet", is_unedited)
    check_free(paper, "sheet", holds_mark)
    write_paper(content, paper)
    write_page(content, page)
    return page, paper


def write_page(content: SheetContent, path: Path) -> None:
    """Write a sheet as an HTML file, which is replaced as long as nobody edits it."""
    write_signed(path, "sheet", "<!doctype html>\n<!--\n", f"-->\n{html_of(content)}")


def write_paper(content: SheetContent, path: Path) -> None:
    """Write a sheet as a PDF file."""
    made = pdf_of(lambda: pages_of(content), MAKER)
    with whole_file(path, "sheet", is_own=holds_mark) as file:
        file.write(made)


def _stem(path):
    """Name without a suffix that the sheet gives itself."""
    return path.stem if path.suffix.lower() in (".html", ".htm", ".pdf") else path.name
