"""The panel directory as one HTML file: no scripts, nothing fetched; for the screen at 360 px and for paper."""

from __future__ import annotations

from collections.abc import Iterator
from html import escape

from panelward.papers.directory import (
    CAUTION,
    CUTTING,
    LEGEND,
    LIFE,
    TITLE,
    Directory,
    Fitted,
    Row,
    Strip,
    marks,
    shortened,
    strips,
    unbroken,
)
from panelward.papers.drawn import BOX, INKS, RED_PENCIL, SYMBOLS, ink_on

_PAGE = {"a5": "A5", "a4": "A4", "letter": "letter"}
_STYLE = """\
:root { --paper: #fff; --ink: #000; --faint: #555; --red: RED_PENCIL; color-scheme: light dark }
@media (prefers-color-scheme: dark) { :root { --paper: #111; --ink: #f4f4f4; --faint: #aaa; --red: #ff8a86 } }
* { box-sizing: border-box }
body { margin: 0 auto; padding: 12px; max-width: 60rem; background: var(--paper); color: var(--ink);
  font: 16px/1.35 "DejaVu Sans", Verdana, Arial, sans-serif; overflow-wrap: anywhere }
h1 { font-size: 1.5rem; margin: 0 }
h2 { font-size: 1.1rem; margin: 1.5rem 0 .25rem }
p { margin: .25rem 0 }
table { width: 100%; border-collapse: collapse; border-top: 2px solid; margin-top: .5rem }
tr { break-inside: avoid }
thead th { font-size: .8rem; font-weight: normal; color: var(--faint); vertical-align: bottom }
th, td { text-align: left; vertical-align: middle; padding: 4px 6px; border-bottom: 1px solid var(--ink) }
tbody tr { height: 48px }
.way { font-size: 1.25rem; font-weight: bold; width: 6rem }
.long { font-size: .85rem }
.purpose b { font-size: 1.05rem }
.device .text { white-space: nowrap }
.small { font-size: .8rem; color: var(--faint) }
.on { font-size: .8rem; font-weight: bold; border: 1px solid; padding: 0 4px; white-space: nowrap }
.life { background: var(--ink); color: var(--paper); border-color: var(--ink) }
.red { color: var(--red); font-size: .85rem; font-weight: bold }
.hands { font-size: .85rem; font-weight: bold }
.device span, .device svg { vertical-align: middle }
.chip { display: inline-block; min-width: 2.6em; padding: 1px 4px; border: 1.5px solid #000; border-radius: 3px;
  outline: 1px solid var(--paper); font-weight: bold; text-align: center;
  print-color-adjust: exact; -webkit-print-color-adjust: exact }
svg { width: 44px; height: 20px; fill: none; stroke: currentColor; margin-right: 4px }
.legend { list-style: none; margin: 0; padding: 0; display: flex; flex-wrap: wrap; gap: 4px 16px; font-size: .85rem }
.caution { border: 2px solid; padding: 6px 8px; font-weight: bold; margin: 1rem 0 .5rem }
.printed { display: none }
.strips { display: grid; grid-template-columns: repeat(auto-fill, 60mm); list-style: none; margin: 8px 0; padding: 1px }
.strip { width: 60mm; height: 12mm; overflow: hidden; display: flex; align-items: center; gap: 1.5mm; padding: 0 1.5mm;
  outline: .2mm solid var(--faint); break-inside: avoid; line-height: 1.1 }
.strip .pos { flex: none; width: 12mm; text-align: center; font-weight: bold; white-space: nowrap; overflow: hidden }
.strip .what { flex: 1; min-width: 0 }
.strip b { display: block; line-height: 1.05; max-height: 2.1em; overflow: hidden }
.strip .line { display: flex; align-items: center; gap: 1mm; font-size: 6.5pt; white-space: nowrap }
.strip .line .text { flex: 1; overflow: hidden; text-overflow: ellipsis }
.strip .marks { font-size: 5.5pt; font-weight: bold; text-align: right; line-height: 1 }
.strip .chip { font-size: 7.5pt; padding: 0 2px }
@media screen and (min-width: 521px) {
  th.way { width: 12% }
  td.device, td.run, td.fed { width: 26% }
}
@media screen and (min-width: 521px) and (max-width: 720px) { .device .text { white-space: normal } }
@media screen and (max-width: 520px) {
  body { padding: 8px }
  table, tbody, tr, td, th { display: block }
  thead { position: absolute; clip-path: inset(50%); width: 1px; height: 1px; overflow: hidden }
  tbody tr { display: grid; grid-template-columns: 3.6rem 1fr; height: auto; min-height: 48px; padding: 6px 0;
    border-bottom: 1px solid }
  th, td { border: 0; padding: 1px 4px }
  tbody th { grid-row: 1 / span 3 }
  tbody td { grid-column: 2 }
  .way { width: auto }
  tbody .long { grid-area: auto / 1 / auto / -1 }
}
@media print {
  :root { --paper: #fff; --ink: #000; --faint: #333; --red: RED_PENCIL }
  @page { size: PAGE; margin: 10mm;
    @bottom-right { content: "page " counter(page) " of " counter(pages); font: 7pt "DejaVu Sans", Verdana, sans-serif } }
  html, body { font-size: 8.5pt }
  body { padding: 0; max-width: none }
  h1 { display: none }
  .printed { display: revert }
  thead { display: table-header-group }
  tfoot { display: table-footer-group }
  tbody tr { height: 7.5mm }
  .running { border: 0; padding: 0 0 1mm; font-size: 12pt; font-weight: bold; color: #000 }
  .foot { border: 0; border-top: 1px solid; font-size: 6.5pt; padding: 1mm 0 0 }
  .way { width: 14mm; font-size: 11pt }
  .long { font-size: 7pt }
  td.device { width: 29mm; font-size: 7.5pt }
  td.run { width: 31mm }
  th, td { padding: 2px 4px }
  thead th { font-size: 7pt }
  .on, .small, .hands, .red { font-size: 7pt }
  svg { width: 9mm; height: 4mm }
  section { break-inside: avoid }
  section.labels { break-inside: auto; break-before: page }
  .caution { border-width: 1px; font-size: 7pt }
  .screen { display: none }
}
"""


def page(directory: Directory, *, paper: str = "a5", labels: bool = False) -> str:
    """The whole file as text. `paper` is a5, a4 or letter; `labels` adds the strips. Every text of the schedule is escaped."""
    return "\n".join(_page(directory, paper, labels)) + "\n"


def _page(directory: Directory, paper: str, labels: bool) -> Iterator[str]:
    name = escape(directory.vehicle)
    yield "<!doctype html>"
    yield '<html lang="en">'
    yield '<head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">'
    yield f"<title>{TITLE}: {name}</title>"
    yield f"<style>\n{_STYLE.replace('RED_PENCIL', RED_PENCIL).replace('PAGE', _PAGE[paper])}</style></head>"
    yield "<body><main>"
    yield f"<h1>{name}</h1>"
    yield f'<p class="screen">{TITLE}</p>'
    # ARIA roles are said again because a narrow screen lays the table out as blocks.
    yield '<table role="table" aria-label="Ways of the panel"><thead role="rowgroup">'
    yield f'<tr class="printed" aria-hidden="true"><td colspan="4" class="running">{name} · {TITLE}</td></tr>'
    yield _heads("Way", "Purpose", "Device", "Conductor, fed by")
    yield '</thead><tfoot class="printed" aria-hidden="true"><tr><td colspan="4" class="foot">'
    yield f'{escape(directory.foot)}<br>{CAUTION}</td></tr></tfoot><tbody role="rowgroup">'
    for row in directory.rows:
        yield _row(row)
    yield "</tbody></table>"
    if directory.feeders:
        yield '<section><h2>Feeders</h2><table role="table" aria-label="Feeders"><thead role="rowgroup">'
        yield _heads("Feeder", "Device", "Fed by")
        yield '</thead><tbody role="rowgroup">'
        for feeder in directory.feeders:
            head = f"{_way(feeder.feeder)}"
            fed = f'<td role="cell" class="small fed">{escape(unbroken(feeder.fed_by))}</td>'
            yield f'<tr role="row">{head}<td role="cell" class="device">{_device(feeder.device)}</td>{fed}</tr>'
        yield "</tbody></table></section>"
    yield from _legend(directory)
    yield f'<p class="caution">{CAUTION}</p>'
    yield f'<p class="small screen">{escape(directory.foot)}</p>'
    if labels:
        yield f'<section class="labels"><h2>Labels</h2><p class="small">{CUTTING}</p><ul class="strips">'
        for strip in strips(directory):
            yield _strip(strip)
        yield f'</ul><p class="printed foot">{escape(directory.foot)}<br>{CAUTION}</p></section>'
    yield "</main></body></html>"


def _heads(*names: str) -> str:
    cells = "".join(f'<th scope="col" role="columnheader">{name}</th>' for name in names)
    return f'<tr role="row">{cells}</tr>'


def _row(row: Row) -> str:
    head = f'<tr role="row">{_way(row.position)}'
    if row.spare:
        return f'{head}<td role="cell" colspan="3">{escape(row.purpose)}</td></tr>'
    said = [f"<b>{escape(row.purpose)}</b>"]
    beside = [_mark(mark) for mark in marks(row)]
    if row.reason:
        beside.append(f'<span class="small">{escape(unbroken(row.reason))}</span>')
    if beside:
        said.append(" ".join(beside))
    if row.hands:
        said.append(f'<span class="hands">{row.hands}</span>')
    run = "<br>".join(escape(unbroken(text)) for text in (row.conductor, row.fed_by) if text)
    return (
        f'{head}<td role="cell" class="purpose">{"<br>".join(said)}</td>'
        f'<td role="cell" class="device">{_device(row.device)}</td><td role="cell" class="small run">{run}</td></tr>'
    )


def _way(position: str) -> str:
    long = " long" if len(position) > 6 else ""
    return f'<th scope="row" role="rowheader" class="way{long}">{escape(position)}</th>'


def _mark(mark: str) -> str:
    return f'<span class="on{" life" if mark == LIFE else ""}">{mark}</span>'


def _device(device: Fitted) -> str:
    drawn = _symbol(device.symbol) if device.symbol else ""
    if device.chip:
        drawn += _chip(device.chip, device.colour)
    differs = f'<br><span class="red">{escape(unbroken(device.differs))}</span>' if device.differs else ""
    return f'{drawn} <span class="text">{escape(unbroken(device.text))}</span>{differs}' if device.text else ""


def _chip(number: str, colour: str) -> str:
    return f'<span class="chip" style="background:{INKS[colour]};color:{ink_on(colour)}">{number}</span>'


def _symbol(name: str) -> str:
    lines = "".join(f'<path d="M{" L".join(f"{x:g} {y:g}" for x, y in line)}"/>' for line in SYMBOLS[name])
    return f'<svg viewBox="-1 -1 {BOX[0] + 2:g} {BOX[1] + 2:g}" aria-hidden="true">{lines}</svg>'


def _legend(directory: Directory) -> Iterator[str]:
    yield "<section><h2>Legend</h2>"
    if directory.chips:
        yield f"<p>{LEGEND}</p>"
    yield '<ul class="legend">'
    for number, colour in directory.chips:
        yield f"<li>{_chip(number, colour)} {number} A {colour}</li>"
    for symbol, name in directory.symbols:
        yield f'<li class="device">{_symbol(symbol)}<span>{name}</span></li>'
    for mark, meaning in directory.meanings:
        yield f"<li>{_mark(mark)} {meaning}</li>"
    yield "</ul></section>"


def _strip(strip: Strip) -> str:
    # Without measuring: a bold letter is about 0.7 of its size wide; 43 mm are 122 pt; two lines fit up to 7 pt.
    one = 122 / (0.7 * len(strip.purpose))
    size = min(10.0, one) if one >= 7 else max(5.0, min(6.5, 1.7 * one))
    purpose = shortened(strip.purpose, int(1.7 * 122 / (0.7 * size)))
    place = max(4.5, min(16.0, 34 / (0.78 * len(strip.position))))
    position = shortened(strip.position, int(34 / (0.7 * place)))
    chip = _chip(strip.device.chip, strip.device.colour) if strip.device.chip else ""
    beside = "<br>".join(strip.marks)
    return (
        f'<li class="strip"><span class="pos" style="font-size:{place:.1f}pt">{escape(position)}</span>'
        f'<span class="what"><b style="font-size:{size:.1f}pt">{escape(purpose)}</b>'
        f'<span class="line">{chip}<span class="text">{escape(strip.device.text)}</span>'
        f'<span class="marks">{beside}</span></span></span></li>'
    )
