"""The sheet as one HTML file: it needs nothing from elsewhere, and prints on two pages."""

import base64

from wavesim.front.content import LETTERS, sentences
from wavesim.show import panels
from wavesim.show.style import colour

WIDE, NARROW = 7.4, 3.9  # [inch] of the figures for paper and screen, and for a phone
_CSS = """
:root { color-scheme: light; --ink: #1a1a1a; --soft: #5a5a5a; --line: #cfcfcf; --a: A_COLOUR;
  --b: B_COLOUR; }
* { box-sizing: border-box; }
body { margin: 0; background: #ececea; color: var(--ink);
  font: 15px/1.45 "Helvetica Neue", Helvetica, Arial, "Liberation Sans", sans-serif; }
main { max-width: 1120px; margin: 0 auto; padding: 34px 44px 28px; background: #fff; }
h1 { font-size: 30px; line-height: 1.15; margin: 0 0 14px; letter-spacing: -0.01em; }
h2 { font-size: 16px; margin: 26px 0 8px; padding-top: 7px; border-top: 1.5px solid var(--ink); }
p { margin: 0 0 8px; }
ul { margin: 0; padding: 0; list-style: none; }
li { padding-left: 1.1em; text-indent: -1.1em; margin: 0 0 5px; }
li::before { content: "\\2013"; display: inline-block; width: 1.1em; text-indent: 0; }
img { display: block; width: 100%; height: auto; }
h1, li, dd, p, td:first-child { overflow-wrap: anywhere; }
header { display: grid; grid-template-columns: minmax(0, 1fr) 330px; gap: 36px; }
dl { margin: 0; display: grid; grid-template-columns: 92px minmax(0, 1fr); font-size: 13.5px;
  border-bottom: 1px solid var(--ink); align-self: start; }
dt, dd { margin: 0; padding: 5px 0; border-top: 1px solid var(--ink); }
dt { color: var(--soft); }
dd.a, dd.b { font-weight: 700; }
dd.a::before, dd.b::before { content: ""; display: inline-block; width: 16px; height: 4px;
  margin-right: 7px; vertical-align: 3px; background: var(--a); }
dd.b::before { background: var(--b); }
.narrow { display: none; }
.keys { font-size: 12.5px; line-height: 1.35; margin-top: 8px; }
.keys ol { margin: 0 0 8px; padding: 0; list-style: none; columns: 3; column-gap: 24px; }
.keys li { padding: 0; text-indent: 0; margin: 0; }
.keys li::before { content: none; }
.two { display: grid; grid-template-columns: minmax(0, 1fr) minmax(0, 1fr); gap: 0 36px; }
.small { display: grid; grid-template-columns: repeat(3, minmax(0, 1fr)); gap: 12px 18px; }
table { border-collapse: collapse; width: 100%; font-size: 13.5px;
  font-variant-numeric: tabular-nums; }
th, td { text-align: right; padding: 3px 0 3px 10px; border-bottom: 1px solid var(--line);
  white-space: nowrap; }
th:first-child, td:first-child { text-align: left; padding-left: 0; white-space: normal; }
thead th { border-bottom: 1.2px solid var(--ink); }
.terms { font-size: 13.5px; }
footer { margin-top: 22px; color: var(--soft); font-size: 12px; }
@media screen and (max-width: 700px) {
  main { padding: 18px 14px; }
  h1 { font-size: 23px; }
  header, .two { grid-template-columns: minmax(0, 1fr); gap: 0; }
  dl { margin-top: 12px; }
  .keys ol { columns: 1; }
  .small { grid-template-columns: minmax(0, 1fr); }
  .wide { display: none; }
  .narrow { display: block; }
  th, td { padding-left: 8px; }
  th:last-child, td:last-child { white-space: normal; }
}
@page { size: A4; margin: 11mm 12mm; }
@media print {
  body { background: none; font-size: 8pt; line-height: 1.3; }
  main { max-width: none; padding: 0; }
  h1 { font-size: 16pt; margin-bottom: 6pt; }
  h2 { font-size: 9.5pt; margin: 7pt 0 4pt; padding-top: 3pt; border-top-width: 0.8pt;
    break-after: avoid; }
  li, p { margin-bottom: 1.6pt; }
  header { grid-template-columns: minmax(0, 1fr) 60mm; gap: 7mm; }
  dl { font-size: 7.4pt; grid-template-columns: 17mm minmax(0, 1fr); }
  dt, dd { padding: 1.6pt 0; border-top-width: 0.6pt; }
  .keys, .reasons { font-size: 6.7pt; line-height: 1.25; }
  .keys { margin-top: 3pt; line-height: 1.25; }
  .keys ol { margin-bottom: 3pt; }
  .first { height: 271mm; display: flex; flex-direction: column; }
  .curves { flex: 1 1 0; min-height: 60mm; display: flex; flex-direction: column; }
  .curves img { flex: 1 1 0; min-height: 0; object-fit: contain; object-position: top; }
  .curves .narrow { display: none; }
  .why { break-before: page; }
  .why h2 { margin-top: 0; }
  table, .terms { font-size: 6.4pt; line-height: 1.22; }
  th, td { padding: 0.5pt 0 0.5pt 4pt; }
  .terms h2 { margin-top: 5pt; }
  .two { gap: 0 6mm; }
  .small { gap: 0 3mm; }
  .small img { max-height: 29mm; object-fit: contain; object-position: left; }
  .why img { max-height: 66mm; object-fit: contain; object-position: left top; }
  img, tr { break-inside: avoid; }
  footer { display: none; }
}
"""


def html_of(content):
    """A sheet as the text of an HTML file, without its first line."""
    from html import escape

    css = _CSS.replace("A_COLOUR", colour(0)).replace("B_COLOUR", colour(1))
    title = escape(" ".join(content.question.split()))
    parts = [_header(content), _systems(content), _curves(content), _why(content),
             _small(content), _numbers(content)]
    return "\n".join([
        '<html lang="en"><head><meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        f"<title>{title}</title>", f"<style>{css}</style></head><body><main>",
        '<div class="first">', *parts[:3], "</div>", *parts[3:], "</main></body></html>", ""])


def _text(words):
    from html import escape  # its list of entities takes long to load

    return escape(*sentences([words]))


def _list(paragraphs):
    return "<ul>" + "".join(f"<li>{_text(one)}</li>" for one in paragraphs) + "</ul>"


def _picture(draw, height, said, width=WIDE, kind=""):
    """A figure as an image within the page; `said` describes it to who cannot see it."""
    figure = panels.figure_of(width, height, draw)
    coded = base64.b64encode(panels.svg_of(figure).encode()).decode()
    style = f' class="{kind}"' if kind else ""
    return f'<img{style} alt="{_text(said)}" src="data:image/svg+xml;base64,{coded}">'


def _both(draw, heights, said):
    """A figure for paper and screen, and one for a phone."""
    return "".join(_picture(draw, height, said, width, kind) for width, height, kind in
                   ((WIDE, heights[0], "wide"), (NARROW, heights[1], "narrow")))


def _header(content):
    lines = []
    for name, value in content.block:
        kind = f' class="{name[0].lower()}"' if name[1:2] == "," else ""
        lines.append(f"<dt>{_text(name)}</dt><dd{kind}>{_text(value)}</dd>")
    return (f"<header><div><h1>{_text(content.question)}</h1>{_list(content.answer)}</div>"
            f"<dl>{''.join(lines)}</dl></header>")


def _systems(content):
    if not content.outlines:
        return ""
    keys = []

    def draw(figure, box):
        keys[:] = panels.draw_systems(figure, box, content.outlines, content.names)

    heights = [panels.systems_height(width, content.outlines) for width in (WIDE, NARROW)]
    pictures = _both(draw, heights, "Both systems drawn to one scale, their parts numbered.")
    lists = []
    for letter, name, key in zip(LETTERS, content.names, keys, strict=True):
        items = "".join(f"<li>{_text(one)}</li>" for one in key)
        lists.append(f"<p><b>{letter}</b> {_text(name)}</p><ol>{items}</ol>")
    return (f'<section><h2>The two systems</h2>{pictures}<div class="keys">'
            f"{''.join(lists)}<p>All sizes in mm.</p></div></section>")


def _curves(content):
    def draw(figure, box):
        panels.draw_power(figure, box, content.comparison, content.said, content.measured)

    more = 0.4 * len(content.said)  # for their legend
    pictures = _both(draw, (4.7 + more, 4.6 + 2.0 * more),
                     "Torque and power of A and B against engine speed, and their difference.")
    return f'<section class="curves"><h2>Torque and power</h2>{pictures}</section>'


def _why(content):
    reasons = "".join(f"<p>{_text(one)}</p>" for one in content.reasons)
    if content.explanation is None:
        return f'<section class="why"><h2>Why</h2>{reasons}</section>'

    def draw(figure, box):
        panels.draw_parts(figure, box, content.explanation.parts)

    picture = _picture(draw, 3.5, "Parts of the difference of torque against engine speed.",
                       NARROW + 0.4)
    return (f'<section class="why"><h2>Why</h2><div class="two"><div class="reasons">{reasons}'
            f"</div><div>{picture}</div></div></section>")


def _small(content):
    pictures = []
    for curves, quantity, title in content.small:
        def draw(figure, box, given=(curves, quantity, title)):
            panels.draw_quantity(figure, box, *given)

        pictures.append(_picture(draw, 1.5, f"{title} of A and B against engine speed.", 2.75))
    return ('<section><h2>Pumping, back pressure, residual gas, mixture, sound</h2>'
            f'<div class="small">{"".join(pictures)}</div></section>')


def _numbers(content):
    head, *body = content.rows
    heads = "".join(f"<th>{_text(cell)}</th>" for cell in head)
    rows = "".join("<tr>" + "".join(f"<td>{_text(cell)}</td>" for cell in row) + "</tr>"
                   for row in body)
    return (
        '<section class="two"><div><h2>In numbers</h2>'
        f"<table><thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table>"
        f'</div><div class="terms"><h2>What is assumed</h2>{_list(content.assumed)}'
        f"<h2>How certain it is</h2>{_list(content.certain)}</div></section>"
        f'<section class="terms"><h2>Cautions</h2>{_list(content.cautions)}</section>')
