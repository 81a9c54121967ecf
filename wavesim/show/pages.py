"""Two pages of paper: text, tables and figures set on A4 without any other program.

All lengths are in inches from the lower left corner of a page, sizes of letters in points.
"""

from functools import cache
from typing import NamedTuple

from wavesim.show.panels import INK, STYLE, draw_rule
from wavesim.show.style import FAINT

PAPER = (8.268, 11.693)  # A4 [inch]
MARGIN = 0.55
_LEADING = 1.28  # of a line, in sizes of its letters
_ROW = 1.42  # of a row of a table
_FONT = "DejaVu Sans"


class Setting(NamedTuple):
    """How a text is set.

    Attributes
    ----------
    size : float
        Of its letters [point].
    bold : bool
    shade : str
    bullet : str
        Before each paragraph.
    gap : float
        Between paragraphs [point].
    """

    size: float = 7.6
    bold: bool = False
    shade: str = INK
    bullet: str = ""
    gap: float = 2.0


def new_page():
    """An empty page, as a matplotlib Figure."""
    from matplotlib.figure import Figure

    return Figure(figsize=PAPER)


def wrapped(paragraph, width, setting):
    """A paragraph in lines of a width [inch]; a word that is longer than a line is broken."""
    lines, line = [], ""
    for word in paragraph.split(" "):
        longer = f"{line} {word}" if line else word
        if text_width(longer, setting) <= width:
            line = longer
            continue
        lines += [line] if line else []
        while text_width(word, setting) > width and len(word) > 1:
            cut = max(1, int(len(word) * width / text_width(word, setting)) - 1)
            lines.append(word[:cut])
            word = word[cut:]
        line = word
    return [*lines, line] if line else lines


def text_width(text, setting):
    """Width of a text in a line [inch]."""
    words = text.split(" ")
    space = _word_width(" ", setting.bold)
    return setting.size * (sum(_word_width(word, setting.bold) for word in words)
                           + space * (len(words) - 1))


@cache
def _word_width(word, bold):
    """Width of a word [inch] for each point of the size of its letters."""
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import text_to_path

    look = FontProperties(family=_FONT, size=10.0, weight="bold" if bold else "normal")
    return text_to_path.get_text_width_height_descent(word, look, ismath=False)[0] / 720.0


def text_height(paragraphs, width, setting):
    """Height that a text takes [inch]."""
    indent = _indent(setting)
    count = sum(len(wrapped(one, width - indent, setting)) for one in paragraphs)
    return (count * _LEADING * setting.size + setting.gap * max(0, len(paragraphs))) / 72.0


def _indent(setting):
    return 1.1 * setting.size / 72.0 if setting.bullet else 0.0


def put_text(page, x, y, width, paragraphs, setting=Setting()):  # noqa: B008
    """Set paragraphs below y; returns the y below them."""
    indent = _indent(setting)
    for one in paragraphs:
        if setting.bullet:
            _put(page, x, y, setting.bullet, setting)
        for line in wrapped(one, width - indent, setting):
            _put(page, x + indent, y, line, setting)
            y -= _LEADING * setting.size / 72.0
        y -= setting.gap / 72.0
    return y


def _put(page, x, y, text, setting, side="left"):
    w, h = page.get_size_inches()
    page.text(x / w, y / h, text, fontsize=setting.size, family=_FONT, color=setting.shade,
              weight="bold" if setting.bold else "normal", va="top", ha=side, parse_math=False)


HEADING = 0.06 + (_LEADING * 9.0 + 3.0) / 72.0  # height that a heading takes [inch]


def put_heading(page, x, y, width, words):
    """A heading with a rule above; returns the y below it."""
    draw_rule(page, x, y, width, 0.8, INK)
    return put_text(page, x, y - 0.06, width, [words], Setting(9.0, bold=True, gap=3.0))


def table_height(rows, setting):
    """Height that a table takes [inch]."""
    return len(rows) * _ROW * setting.size / 72.0


def put_table(page, x, y, widths, rows, setting=Setting()):  # noqa: B008
    """A table whose first row is its heading and first column its words; returns the y below."""
    height = _ROW * setting.size / 72.0
    for k, row in enumerate(rows):
        look = setting._replace(bold=k == 0)
        right = x + widths[0]
        _put(page, x, y, row[0], look)
        for width, cell in zip(widths[1:], row[1:], strict=True):
            right += width
            _put(page, right, y, cell, look, "right")
        y -= height
        draw_rule(page, x, y + 0.25 * setting.size / 72.0, sum(widths), 0.4,
                  INK if k == 0 else FAINT)
    return y


def pdf_of(make_pages, creator):
    """Bytes of a PDF file.

    Parameters
    ----------
    make_pages : callable
        Returns the pages.
    creator : str
        Is noted in the file, also behind its end, where any reader stops.
    """
    import io

    from matplotlib import rc_context
    from matplotlib.backends.backend_pdf import PdfPages

    made = io.BytesIO()
    with rc_context(STYLE | {"pdf.fonttype": 42}):
        with PdfPages(made, metadata={"Creator": creator}) as pdf:
            for page in make_pages():
                pdf.savefig(page)
    return made.getvalue() + f"% {creator}\n".encode()
