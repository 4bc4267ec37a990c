"""How the pages look: a sheet of paper, black ink, one red pencil. Dark is the same sheet with its inks turned."""

from __future__ import annotations

from panelward.papers.drawn import RED_PENCIL

_STYLE = """\
:root { --paper: #fff; --ink: #000; --faint: #555; --red: RED_PENCIL; color-scheme: light dark }
@media screen and (prefers-color-scheme: dark) { :root { --paper: #111; --ink: #f4f4f4; --faint: #aaa; --red: #ff8a86 } }
* { box-sizing: border-box }
html { -webkit-text-size-adjust: 100%; text-size-adjust: 100% }
body { margin: 0 auto; padding: 0 12px 24px; max-width: 46rem; background: var(--paper); color: var(--ink);
  font: 1rem/1.4 "DejaVu Sans", Verdana, Arial, sans-serif; overflow-wrap: anywhere }
a { color: inherit; text-underline-offset: .2em }
h1 { font-size: 1.4rem; margin: 1rem 0 .25rem }
h2 { font-size: 1.15rem; margin: 2rem 0 .4rem; border-bottom: 2px solid; padding-bottom: 2px }
h3 { font-size: 1.05rem; margin: 1.5rem 0 .25rem }
p { margin: .4rem 0 }
:focus-visible { outline: 3px solid var(--ink); outline-offset: 2px }
.small, figcaption, caption, .unknown { color: var(--faint); font-size: .85rem }
.unknown { white-space: nowrap }
.red th, .red td, .red .unknown, .pencil { color: var(--red); font-weight: bold }
.where { color: var(--faint); font-size: .85rem; white-space: nowrap }
.still { border: 2px solid; padding: .2rem .7rem; margin: .6rem 0 }
.still ul, .story { padding-left: 1.2rem; margin: .3rem 0 }
.still li, .story li { margin: .35rem 0 }
.id { overflow-wrap: anywhere; color: var(--faint); font-size: .7rem }
.happened, .cannot { padding-left: 1.7rem; margin: .5rem 0 }
.happened li, .cannot li { margin: .45rem 0 }
.happened li::marker { color: var(--red); font-weight: bold }
.cannot a, .happened a, .also a, .still a { padding: 3px 0 }
nav a, .ways a { display: inline-block; padding: 3px 0 }
nav ul { columns: 2 13rem; list-style: none; padding: 0; margin: .5rem 0 }
nav li { break-inside: avoid }
.box { overflow-x: auto; margin: .75rem 0 1rem;
  background: linear-gradient(to left, var(--paper) 60%, transparent) right / 2.5rem 100% no-repeat local,
    linear-gradient(to left, var(--faint), transparent) right / .7rem 100% no-repeat scroll }
table { border-collapse: collapse; width: 100%; border-top: 2px solid; font-size: .9rem; overflow-wrap: normal;
  font-variant-numeric: tabular-nums }
caption { text-align: left; padding: 0 0 4px; caption-side: top }
caption span { display: block; position: sticky; left: 0; max-width: calc(100vw - 24px) }
th, td { text-align: left; vertical-align: top; padding: 5px 8px 5px 0; border-bottom: 1px solid; font-weight: normal }
thead th { vertical-align: bottom; color: var(--faint); font-size: .8rem }
tbody th { min-width: 6.5rem; background: var(--paper); position: sticky; left: 0 }
.long { min-width: 11rem }
.long:has(> .id) { min-width: 5rem }
time { white-space: nowrap }
.n { text-align: right; white-space: nowrap; padding-left: 4px }
.n + :not(.n) { padding-left: 14px }
thead .n { white-space: normal }
tbody th b { font-size: 1.05em }
figure { margin: .75rem 0 }
.drawing { display: block; width: 100%; max-width: 24rem; height: auto; fill: currentColor; overflow: visible }
.drawing * { stroke-linejoin: round; stroke-linecap: butt }
.wide { max-width: none; display: none }
.narrow { max-width: none }
figcaption { margin-top: 4px }
.symbol { width: 40px; height: 18px; fill: none; stroke: currentColor; vertical-align: middle }
.chip { display: inline-block; min-width: 2.4em; padding: 0 4px; border: 1.5px solid #000; border-radius: 3px;
  outline: 1px solid var(--paper); font-weight: bold; text-align: center;
  print-color-adjust: exact; -webkit-print-color-adjust: exact }
.device { margin: .2rem 0 }
.key { display: flex; flex-wrap: wrap; gap: 2px 1.1rem; list-style: none; margin: .3rem 0; padding: 0; font-size: .85rem }
.key svg { width: 44px; height: 14px; vertical-align: middle; fill: currentColor; stroke: none }
details { margin: .75rem 0; border-bottom: 1px dashed var(--faint) }
summary { cursor: pointer; min-height: 48px; padding: 12px 0; text-decoration: underline }
.foot { border-top: 2px solid; margin-top: 2rem; padding-top: 6px; font-size: .85rem }
@media screen and (min-width: 44rem), print {
  .wide { display: block }
  .narrow { display: none }
  .way { display: grid; grid-template-columns: minmax(0, 1fr) minmax(0, 1fr); gap: 0 1.5rem; align-items: start }
  .way > h3, .way > p, .way > .told { grid-column: 1 / -1 }
  .beside { display: grid; grid-template-columns: minmax(0, 1fr) minmax(0, 1fr); gap: 0 1.5rem; align-items: start }
  .way .box { margin-top: 0 }
}
@media screen and (min-width: 62rem) {
  main > .box, main > div > .box, details > .box { position: relative; left: 50%; transform: translateX(-50%);
    width: max-content; min-width: 100%; max-width: calc(100vw - 48px) }
}
@media screen and (max-width: 30rem) {
  .folds table, .folds caption, .folds tbody, .folds tr, .folds tbody th { display: block }
  .folds thead { position: absolute; clip-path: inset(50%); width: 1px; height: 1px; overflow: hidden }
  .folds tr { border-bottom: 1px solid; padding: 6px 0 }
  .folds tbody th, .folds td { border: 0; padding: 1px 0; position: static }
  .folds td { display: inline-block; margin-right: .9rem; text-align: left }
  .folds td.long { display: block; min-width: 0 }
  .folds td:empty { display: none }
  .folds td::before { content: attr(data-head) " "; color: var(--faint); font-size: .85em }
}
@media print {
  @page { size: A4; margin: 10mm 12mm 13mm;
    @bottom-right { content: "page " counter(page) " of " counter(pages); font: 7pt "DejaVu Sans", Verdana, sans-serif } }
  :root { --faint: #333 }
  html, body { font-size: 8.5pt; line-height: 1.25 }
  body { padding: 0; max-width: none }
  h1 { margin-top: 0; font-size: 1.25rem }
  h2, h3, caption, thead { break-after: avoid }
  h2 { margin-top: .8rem; font-size: 1.05rem }
  p { margin: .2rem 0 }
  figure { margin: .4rem 0 }
  .cannot a, .happened a, .ways a { padding: 0 }
  .key { font-size: .78rem; gap: 1px .8rem }
  .key svg { width: 32px; height: 10px }
  tr, figure, .way, li { break-inside: avoid }
  thead { display: table-header-group }
  th, td { padding: 1px 6px 1px 0 }
  caption span { max-width: none }
  th br { display: none }
  tbody th { position: static; min-width: 0 }
  .long { min-width: 0 }
  .box { overflow: visible; margin: .3rem 0 .5rem }
  .happened, .cannot { margin: .2rem 0 }
  .happened li, .cannot li { margin: .08rem 0 }
  .second { break-before: page }
  nav, .screen, .shown > summary { display: none }
  .shown { border: 0; margin: 0 }
  .shown::details-content { content-visibility: visible; display: block }
  .still { padding: 0 .4rem; margin: .2rem 0 }
  .still p { margin: .1rem 0 }
  .still p, .still ul { margin: 0 }
  .story { margin: .1rem 0 }
  .still li, .story li { margin: .05rem 0 }
  .still a, .also a { padding: 0 }
  a { text-decoration: none }
  summary { text-decoration: none; min-height: 0; padding: 2px 0 }
  .way { grid-template-columns: 58mm minmax(0, 6fr) minmax(0, 6fr); gap: 0 5mm }
  .way > div:not(.told) { display: contents }
  .way .small { grid-column: 2 / -1 }
  .wide { max-width: 134mm }
}
"""
STYLE = _STYLE.replace("RED_PENCIL", RED_PENCIL)
# Nothing is asked of anybody, whatever a label holds.
POLICY = "default-src 'none'; style-src 'unsafe-inline'"


def document(title: str, body: str) -> str:
    """A whole file. `title` is escaped already."""
    return (
        '<!doctype html>\n<html lang="en">\n<head><meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{title}</title>\n<style>\n{STYLE}</style></head>\n<body>{body}</body></html>\n"
    )
