"""The sheet on two pages of paper."""

from wavesim.front.content import LETTERS, sentences
from wavesim.show import pages, panels
from wavesim.show.pages import MARGIN, PAPER, Setting
from wavesim.show.style import colour

WIDTH = PAPER[0] - 2.0 * MARGIN
TOP = PAPER[1] - MARGIN
_SMALL = Setting(7.0, gap=2.0)
_KEY = Setting(6.6, gap=0.4)
_MOST_KEYS = 3  # columns
_LEAST = 5.4  # [point] of letters that are set smaller to fit on the page
_TERMS = Setting(7.0, bullet="\N{EN DASH}", gap=1.2)
_HALF = 0.5 * WIDTH - 0.1
_ABREAST = 3  # small figures
_LOWEST, _HIGHEST = 1.18, 1.5  # [inch] of a small figure


def pages_of(content):
    """Both pages of a sheet, as matplotlib figures."""
    return [_first(content), _second(content)]


def _first(content):
    page = pages.new_page()
    y = _head(page, content)
    y = _systems(page, content, y)
    y = pages.put_heading(page, MARGIN, y - 0.10, WIDTH, "Torque and power")
    height = min(y - MARGIN - 0.10, 5.2)
    panels.draw_power(page, (MARGIN, y - height, WIDTH, height), content.comparison, content.said,
                      content.measured)
    _foot(page, content, 1)
    return page


def _head(page, content):
    """Question, what was found, and the title block on the right."""
    block = 2.45
    left = WIDTH - block - 0.25
    y = pages.put_text(page, MARGIN, TOP, left, sentences([content.question]),
                       Setting(15.0, bold=True, gap=5.0))
    y = pages.put_text(page, MARGIN, y, left, sentences(content.answer),
                       Setting(8.2, bullet="\N{EN DASH}", gap=2.5))
    other = _block(page, content, MARGIN + left + 0.25, TOP, block)
    return min(y, other) - 0.08


def _block(page, content, x, y, width):
    words = 0.72
    for name, value in content.block:
        panels.draw_rule(page, x, y, width, 0.6, panels.INK)
        pages.put_text(page, x, y - 0.05, words, [name], Setting(6.6, shade="#606060"))
        shade = {"A": 0, "B": 1}.get(name[0] if name[1:2] == "," else "")
        if shade is not None:
            panels.draw_rule(page, x + words - 0.20, y - 0.105, 0.13, 3.0, colour(shade))
        y = pages.put_text(page, x + words, y - 0.05, width - words, sentences([value]),
                           Setting(7.4, bold=name[1:2] == ",")) - 0.02
    panels.draw_rule(page, x, y, width, 0.6, panels.INK)
    return y


def _systems(page, content, y):
    if not content.outlines:
        return y
    y = pages.put_heading(page, MARGIN, y, WIDTH, "The two systems")
    height = panels.systems_height(WIDTH, content.outlines)
    keys = panels.draw_systems(page, (MARGIN, y - height, WIDTH, height), content.outlines,
                               content.names)
    return _keys(page, keys, y - height - 0.06)


def _keys(page, keys, y):
    """The key of each system in columns below one another, all sizes in mm."""
    width, size = WIDTH / _MOST_KEYS, _KEY
    room, words = width - 0.08, [one for key in keys for one in sentences(key)]
    while size.size > _LEAST and any(pages.text_width(one, size) > room for one in words):
        size = size._replace(size=size.size - 0.1)
    for letter, key in zip(LETTERS, keys, strict=True):
        rows = -(-len(key) // _MOST_KEYS)
        pages.put_text(page, MARGIN, y, 0.2, [letter], size._replace(bold=True))
        bottoms = [pages.put_text(page, MARGIN + 0.16 + i * width, y, room,
                                  sentences(key[i * rows : (i + 1) * rows]), size)
                   for i in range(_MOST_KEYS)]
        y = min(bottoms) - 0.03
    return y


def _second(content):
    page = pages.new_page()
    y = pages.put_heading(page, MARGIN, TOP, WIDTH, "Why")
    half = 0.47 * WIDTH
    if content.explanation is not None:
        below = pages.put_text(page, MARGIN, y, half, sentences(content.reasons), _SMALL)
        height = min(max(2.2, y - below), 3.0)
        panels.draw_parts(page, (MARGIN + half + 0.2, y - height, WIDTH - half - 0.2, height),
                          content.explanation.parts)
        y = min(below, y - height)
    else:
        y = pages.put_text(page, MARGIN, y, WIDTH, sentences(content.reasons), _SMALL)
    y = pages.put_heading(page, MARGIN, y - 0.06, WIDTH,
                          "Pumping, back pressure, residual gas, mixture, sound")
    rows = -(-len(content.small) // _ABREAST)
    room = y - MARGIN - 0.05
    setting = _TERMS
    while setting.size > _LEAST and _below(content, setting) > room - rows * _LOWEST:
        setting = setting._replace(size=setting.size - 0.1)
    height = min(max(_LOWEST, (room - _below(content, setting)) / rows), _HIGHEST)
    _small(page, content, y, height)
    _numbers_and_terms(page, content, y - rows * height - 0.04, setting)
    _foot(page, content, 2)
    return page


def _small(page, content, y, height):
    width = WIDTH / _ABREAST
    for i, (curves, quantity, title) in enumerate(content.small):
        row, column = divmod(i, _ABREAST)
        panels.draw_quantity(page, (MARGIN + column * width, y - (row + 1) * height, width - 0.06,
                                    height), curves, quantity, title)


def _halves(content):
    """Left and right half of the last part of the sheet, headings and paragraphs."""
    return ([("What is assumed", content.assumed), ("How certain it is", content.certain)],
            [("Cautions", content.cautions)])


def _below(content, setting):
    """Height of numbers, terms and cautions with letters of some size [inch]."""
    terms, cautions = (
        sum(pages.text_height(sentences(one), width, setting) + pages.HEADING + 0.06
            for _, one in blocks)
        for blocks, width in zip(_halves(content), (_HALF, WIDTH), strict=True))
    table = pages.HEADING + pages.table_height(content.rows, setting._replace(bullet=""))
    return max(table, terms) + cautions + 0.12


def _numbers_and_terms(page, content, y, setting):
    terms, cautions = _halves(content)
    table = pages.put_heading(page, MARGIN, y, _HALF, "In numbers")
    table = pages.put_table(page, MARGIN, table, (_HALF - 2.05, 0.56, 0.56, 0.93),
                            [sentences(row) for row in content.rows], setting._replace(bullet=""))
    other = _blocks(page, MARGIN + _HALF + 0.2, y, _HALF, terms, setting)
    _blocks(page, MARGIN, min(table, other) - 0.04, WIDTH, cautions, setting)


def _blocks(page, x, y, width, blocks, setting):
    for words, paragraphs in blocks:
        y = pages.put_heading(page, x, y, width, words)
        y = pages.put_text(page, x, y, width, sentences(paragraphs), setting) - 0.06
    return y


def _foot(page, content, number):
    words = f"{content.block[0][1]}: {content.names[1]} against {content.names[0]}"
    pages.put_text(page, MARGIN, 0.42, WIDTH - 0.5, sentences([words[:110]]),
                   Setting(6.2, shade="#606060"))
    pages.put_text(page, PAPER[0] - MARGIN - 0.3, 0.42, 0.5, [f"{number} / 2"],
                   Setting(6.2, shade="#606060"))
