"""What the pages are put together from: numbers, times, tables, figures and links as HTML. Every text is escaped here."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from html import escape
from zoneinfo import ZoneInfo

from panelward.papers.directory import Fitted
from panelward.papers.drawn import BOX, INKS, SYMBOLS, ink_on

UNKNOWN = "not known"
HOUR_S, DAY_S = 3600.0, 86_400.0
LONG = 18  # letters: more of them are folded into lines


class Safe(str):
    """HTML that is ready: whatever is no Safe is escaped."""

    __slots__ = ()


_UNIT = re.compile(r"(?<=[0-9]) (?=(?:A|V|W|Wh|Ah|h|min|s|m|mm²|Hz|%|°C)(?!\w))")


def safe(text: str) -> str:
    """Escaped, each number held to its unit by a no-break space."""
    return text if isinstance(text, Safe) else escape(_UNIT.sub("\u00a0", text))


@dataclass(frozen=True, slots=True)
class Clock:
    """Local times of the vehicle."""

    zone: ZoneInfo

    def local(self, at_ms: int) -> datetime:
        return datetime.fromtimestamp(at_ms / 1000, UTC).astimezone(self.zone)

    def moment(self, at_ms: int | None) -> str:
        """Tue 12 May 14:02"""
        if at_ms is None:
            return UNKNOWN
        return f"{self.local(at_ms):%a} {self.day(at_ms)} {self.local(at_ms):%H:%M}".replace(" ", "\u00a0")

    def short(self, at_ms: int) -> str:
        """12 May 14:02, on one line"""
        return f"{self.day(at_ms)} {self.local(at_ms):%H:%M}".replace(" ", "\u00a0")

    def day(self, at_ms: int) -> str:
        """12 May"""
        local = self.local(at_ms)
        return f"{local.day} {local:%b}"


def number(value: float | None, unit: str = "") -> str:
    """Three digits that count; not known is said, never a zero."""
    if value is None:
        return UNKNOWN
    size = abs(value)
    if size >= 99.95:
        text = f"{value:,.0f}"
    elif size >= 9.995:
        text = f"{value:.1f}"
    elif size >= 0.9995:
        text = f"{value:.2f}"
    else:
        text = f"{value:.3f}" if size >= 0.0005 else "0"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    text = text.replace("-", "−")
    return f"{text}\u00a0{unit}" if unit else text


def share(value: float | None) -> str:
    """A share as percent; a little is not nothing, and nearly all is not all."""
    if value is None:
        return UNKNOWN
    percent = 100.0 * value
    if 0.0 < percent < 0.1:
        return "below\u00a00.1\u00a0%"
    if 99.9 < percent < 100.0:
        return "above\u00a099.9\u00a0%"
    return f"{percent:.1f}\u00a0%".replace(".0\u00a0", "\u00a0").replace("-", "−")


def lasting(seconds: float | None) -> str:
    """45 s, 12 min, 3.5 h, 2.1 days"""
    if seconds is None:
        return UNKNOWN
    for least, unit, name in ((2 * DAY_S, DAY_S, "days"), (HOUR_S, HOUR_S, "h"), (60.0, 60.0, "min")):
        if seconds >= least:
            return f"{seconds / unit:.3g}\u00a0{name}"
    return f"{seconds:.3g}\u00a0s" if seconds >= 1.0 or seconds == 0.0 else "below\u00a01\u00a0s"


def plural(count: float, one: str, many: str = "") -> str:
    return f"{count:,g} {one if count == 1 else many or one + 's'}"


def table(
    caption: str,
    heads: Sequence[str],
    rows: Iterable[Sequence[str]],
    *,
    words: Sequence[int] = (0,),
    marked: Sequence[bool] = (),
    shown: str = "",
    folds: bool = False,
) -> str:
    """A table in a box of its own, which scrolls where the sheet is too narrow. The first cell of a row is its head.

    `words`: the columns that hold words; the others hold figures. `marked`: the rows for the red pencil. `shown`: the
    caption, where it is another than the box's name, which no other box of the page may have. `folds`: on a phone each row
    is an entry of a list, and each cell has its column's name before it.
    """
    names = [f' data-head="{escape(head)}"' if folds else "" for head in heads]
    made = []
    for at, row in enumerate(rows):
        first, *rest = row
        cells = "".join(f"<td{names[i]}{_class(cell, i, words)}>{_cell(cell)}</td>" for i, cell in enumerate(rest, 1))
        red = ' class="red"' if at < len(marked) and marked[at] else ""
        made.append(f'<tr{red}><th scope="row">{safe(first)}</th>{cells}</tr>')
    columns = "".join(f'<th scope="col"{_figures(i, words)}>{safe(head)}</th>' for i, head in enumerate(heads))
    return (
        f'<section class="box{" folds" if folds else ""}" aria-label="{escape(caption)}" tabindex="0"><table>'
        f"<caption><span>{safe(shown or caption)}</span></caption>"
        f"<thead><tr>{columns}</tr></thead><tbody>\n" + "\n".join(made) + "\n</tbody></table></section>"
    )


def _cell(cell: str) -> str:
    return f'<span class="unknown">{UNKNOWN}</span>' if cell == UNKNOWN else safe(cell)


def _class(cell: str, column: int, words: Sequence[int]) -> str:
    """A text that takes several lines wants some room, in the narrowest sheet too."""
    long = column in words and len(re.sub(r"<[^>]+>", "", cell)) > LONG
    return ' class="long"' if long else _figures(column, words)


def _figures(column: int, words: Sequence[int]) -> str:
    return "" if column in words else ' class="n"'


def figure(drawing: str, caption: str) -> str:
    return f"<figure>{drawing}<figcaption>{safe(caption)}</figcaption></figure>"


def folded(summary: str, body: str) -> str:
    return f"<details><summary>{safe(summary)}</summary>{body}</details>"


def paragraph(text: str, kind: str = "") -> str:
    return f'<p class="{kind}">{safe(text)}</p>' if kind else f"<p>{safe(text)}</p>"


def link(text: str, to: str) -> Safe:
    return Safe(f'<a href="#{to}">{safe(text)}</a>')


def symbol(name: str) -> str:
    lines = "".join(f'<path d="M{" L".join(f"{x:g} {y:g}" for x, y in line)}"/>' for line in SYMBOLS[name])
    return f'<svg class="symbol" viewBox="-1 -1 {BOX[0] + 2:g} {BOX[1] + 2:g}" aria-hidden="true">{lines}</svg>'


def chip(device: Fitted) -> str:
    """The device as it hangs in its way: its symbol, a blade fuse's standard colour with its number, its name."""
    out = symbol(device.symbol) if device.symbol else ""
    if device.chip:
        ink = INKS[device.colour]
        out += f'<span class="chip" style="background:{ink};color:{ink_on(device.colour)}">{escape(device.chip)}</span>'
    differs = f' <span class="pencil">{escape(device.differs)}</span>' if device.differs else ""
    return f"{out} <span>{escape(device.text)}</span>{differs}" if device.text else out
