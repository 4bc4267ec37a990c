"""matplotlib's SVG made fit to stand within a page: the page's inks, text as text, no id twice, alike at every run."""

from __future__ import annotations

import re
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from html import escape
from io import StringIO
from typing import Any

import matplotlib
from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure

from panelward.papers.drawn import RED_PENCIL

INK = "#000000"
RED = RED_PENCIL
NARROW, WIDE = 336.0, 690.0  # units across: a phone of 360 px less its margins; a sheet of A4
TEXT = 11.0  # units high: a drawing is shown at one unit a px or larger
FAINT = 0.25
_LOOK: Any = {
    "svg.fonttype": "none",  # text stays text: it can be found, and is sharp
    "svg.hashsalt": "panelward",  # ids are else drawn anew at every run
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans"],
    "font.size": TEXT,
    "text.parse_math": False,  # a label may hold a $
    "hatch.linewidth": 0.8,
    "path.simplify": False,
}


@contextmanager
def sheet(wide: float, high: float) -> Iterator[tuple[Figure, Axes]]:
    """A figure of that size with one axes all over it, in units from its left foot."""
    with matplotlib.rc_context(_LOOK), warnings.catch_warnings():
        # A label may be in any script; the browser has its letters, though matplotlib's own font has not.
        warnings.filterwarnings("ignore", message=".*[Gg]lyph.*")
        figure = Figure(figsize=(wide / 72, high / 72), dpi=72)
        figure.patch.set_visible(False)
        axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
        axes.set(xlim=(0.0, wide), ylim=(0.0, high))
        axes.set_axis_off()
        yield figure, axes


def svg(figure: Figure, title: str, said: str, *, key: str, kind: str = "") -> str:
    """The figure as an element of the page. `key`: another for every drawing of one page; `kind`: a class more."""
    out = StringIO()
    FigureCanvasSVG(figure).print_svg(out, metadata={"Date": None, "Creator": None, "Format": None, "Type": None})  # type: ignore[no-untyped-call]
    text = out.getvalue()
    wide, high = (72 * float(each) for each in figure.get_size_inches())
    body = text[text.index(">", text.index("<svg ")) + 1 : text.rindex("</svg>")]
    body = re.sub(r"<metadata>.*?</metadata>", "", body, flags=re.S)
    body = re.sub(r"<defs>\s*<style[^>]*>.*?</style>\s*</defs>", "", body, flags=re.S)  # would rule the whole page
    body = re.sub(r"<!--.*?-->", "", body, flags=re.S)  # texts, once more
    body = re.sub(r"<[^>]+>", _tag, body)
    body = _unique(body, key)
    body = re.sub(r"\s*\n\s*", "\n", body).strip()
    names = f"drawing {kind}".strip()
    return (
        f'<svg class="{names}" role="img" viewBox="0 0 {wide:g} {high:g}" aria-label="{escape(title)}" focusable="false">'
        f"<desc>{escape(said)}</desc>\n{body}</svg>"
    )


def _tag(found: re.Match[str]) -> str:
    tag = found[0].replace("xlink:href", "href").replace(INK, "currentColor").replace(RED, "var(--red)")
    tag = re.sub(r"-?\d+\.\d\d+", lambda number: f"{float(number[0]):.1f}".removesuffix(".0"), tag) if " d=" in tag else tag
    tag = re.sub(r"-?\d+\.\d{3,}", lambda number: f"{float(number[0]):.2f}", tag)
    return re.sub(r"\s+", " ", tag)


def _unique(body: str, key: str) -> str:
    """Only ids that something points to stay, and none is another drawing's."""
    used = set(re.findall(r"url\(#([^)]+)\)", body)) | set(re.findall(r'href="#([^"]+)"', body))
    body = re.sub(r' id="([^"]+)"', lambda m: f' id="{key}-{m[1]}"' if m[1] in used else "", body)
    body = re.sub(r"url\(#([^)]+)\)", rf"url(#{key}-\1)", body)
    return re.sub(r'href="#([^"]+)"', rf'href="#{key}-\1"', body)
