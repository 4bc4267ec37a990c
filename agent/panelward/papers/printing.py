"""What the PDFs share: fonts that hold the letters, text that fits, symbols and chips, ruled tables."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass, fields, is_dataclass, replace
from html import escape
from io import BytesIO
from pathlib import Path
from typing import Any
from unicodedata import bidirectional

import reportlab
from reportlab.lib.colors import HexColor, black
from reportlab.lib.pagesizes import A4, A5, letter
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import registerFont, stringWidth
from reportlab.pdfbase.ttfonts import TTFError, TTFont
from reportlab.platypus import BaseDocTemplate, Flowable, Frame, PageTemplate, Paragraph, Table

from panelward.papers.directory import LIFE, Fitted
from panelward.papers.drawn import BOX, INKS, RED_PENCIL, SYMBOLS, ink_on

PAPERS = {"a5": A5, "a4": A4, "letter": letter}
# Where the usual systems keep DejaVu Sans.
FONT_FOLDERS = (
    "/usr/share/fonts/truetype/dejavu",
    "/usr/share/fonts/dejavu-sans-fonts",
    "/usr/share/fonts/dejavu",
    "/usr/share/fonts/TTF",
    "/usr/local/share/fonts",
    "/Library/Fonts",
)
_OWN_FOLDER = str(Path(reportlab.__file__).parent / "fonts")

RIGHT = ("R", "AL")  # Unicode bidirectional classes: Hebrew and its like, Arabic and its like
SWAPPED = str.maketrans("()[]{}<>«»", ")(][}{><»«")
MARGIN = 10 * mm
HEAD = 13 * mm
FOOT = 19 * mm
FAINT = HexColor("#444444")
RED = HexColor(RED_PENCIL)


@dataclass(frozen=True, slots=True)
class Printed:
    """A PDF, its number of pages, and the characters that its fonts don't hold (a "?" stands for each)."""

    content: bytes
    pages: int
    missing: str


@dataclass(frozen=True, slots=True)
class Face:
    """The two fonts by their registered names, and which characters they hold."""

    plain: str
    bold: str
    holds: Callable[[str], bool]


def face_of(folders: Iterable[str]) -> Face:
    places = [(folder, "DejaVuSans.ttf", "DejaVuSans-Bold.ttf") for folder in folders]
    for folder, *files in (*places, (_OWN_FOLDER, "Vera.ttf", "VeraBd.ttf")):
        paths = [Path(folder) / file for file in files]
        if not all(path.is_file() for path in paths):
            continue
        try:
            plain, bold = (TTFont(f"panelward-{path.stem}", str(path)) for path in paths)
        except (TTFError, OSError):  # a broken font is as good as none
            continue
        registerFont(plain)
        registerFont(bold)
        glyphs = plain.face.charToGlyph.keys() & bold.face.charToGlyph.keys()
        return Face(plain.fontName, bold.fontName, frozenset(map(chr, glyphs)).__contains__)
    return Face("Helvetica", "Helvetica-Bold", _in_standard_fonts)


def _in_standard_fonts(letter: str) -> bool:
    try:
        letter.encode("cp1252")
    except UnicodeEncodeError:
        return False
    return True


def holdable(part: Any, face: Face, missing: list[str]) -> Any:
    """The same records with a "?" for each character that the face does not hold; `missing` collects those, once each."""
    if isinstance(part, str):
        missing += [c for c in dict.fromkeys(part) if not face.holds(c) and c not in missing]
        return as_seen("".join(c if face.holds(c) else "?" for c in part))
    if isinstance(part, tuple):
        return tuple(holdable(item, face, missing) for item in part)
    if is_dataclass(part) and not isinstance(part, type):
        return replace(part, **{f.name: holdable(getattr(part, f.name), face, missing) for f in fields(part)})
    return part


def as_seen(text: str) -> str:
    """Right-to-left writing in the order in which it is seen, as the printer draws from left to right.

    Each stretch from its first to its last such letter is turned, numbers in it stay, brackets are swapped. Letters are not
    joined: that wants a shaper. After the Unicode bidirectional algorithm, a line in a left-to-right text at one level.
    """
    sides = [bidirectional(c) for c in text]
    if "R" not in sides and "AL" not in sides:
        return text
    out, at = "", 0
    while at < len(text):
        if sides[at] not in RIGHT:
            out, at = out + text[at], at + 1
            continue
        end = last = at
        while end < len(text) and sides[end] != "L":
            last = end if sides[end] in RIGHT else last
            end += 1
        # Marks stay with their letter, a closing bracket with the stretch that its opening one stands in.
        while last + 1 < len(text) and (sides[last + 1] == "NSM" or _closes(text[at : last + 1], text[last + 1])):
            last += 1
        out, at = out + _turned(text[at : last + 1]), last + 1
    return out


def _closes(stretch: str, bracket: str) -> bool:
    opening = {")": "(", "]": "[", "}": "{"}.get(bracket)
    return opening is not None and stretch.count(opening) > stretch.count(bracket)


def _turned(text: str) -> str:
    parts = re.findall(r"[0-9][0-9.,]*[0-9]|.[\u0300-\u036f\u0591-\u05c7\u064b-\u0652]*", text)
    return "".join(part.translate(SWAPPED) for part in reversed(parts))


def fitted_text(text: str, font: str, sizes: tuple[float, ...], width: float) -> tuple[str, float]:
    """The text and the largest of `sizes` (in points, falling) at which it fits `width` points; else it is shortened."""
    for size in sizes:
        if stringWidth(text, font, size) <= width:
            return text, size
    size = sizes[-1]
    while text and stringWidth(text + "…", font, size) > width:
        text = text[:-1].rstrip()
    return text + "…", size


@dataclass(frozen=True, slots=True, kw_only=True)
class Edge:
    """Heading and foot of each page."""

    vehicle: str
    title: str
    caution: str
    foot: str  # what may be shortened where it is very long …
    end: str  # … and what must be read whole: a hash

    def draw(self, canvas: Any, face: Face, size: tuple[float, float], page: int, pages: int) -> None:
        width, height = size
        inner = width - 2 * MARGIN
        top = height - MARGIN
        canvas.saveState()
        canvas.setFont(face.plain, 8)
        canvas.drawRightString(width - MARGIN, top - 11 * mm, f"page {page} of {pages}")
        name, points = fitted_text(self.vehicle, face.bold, (15, 13, 11, 9, 7.5), inner)
        canvas.setFont(face.bold, points)
        canvas.drawString(MARGIN, top - 5.5 * mm, name)
        canvas.setFont(face.plain, 10)
        canvas.drawString(MARGIN, top - 11 * mm, self.title)
        caution = Paragraph(escape(self.caution), ParagraphStyle("caution", fontName=face.bold, fontSize=7, leading=8.4))
        _, tall = caution.wrap(inner - 3 * mm, FOOT)
        low = MARGIN + 5 * mm
        canvas.rect(MARGIN, low, inner, tall + 2 * mm)
        caution.drawOn(canvas, MARGIN + 1.5 * mm, low + 1 * mm)
        foot, points = fitted_text(self.foot + self.end, face.plain, (7, 6, 5), inner)
        if "…" in foot:  # a very long file name: the hash must still be read
            end = f"…{self.end}"
            room = inner - stringWidth(end, face.plain, points)
            foot = fitted_text(self.foot, face.plain, (points,), room)[0].removesuffix("…") + end
        canvas.setFont(face.plain, points)
        canvas.drawString(MARGIN, MARGIN + 1 * mm, foot)
        canvas.restoreState()


def paged(
    story: Callable[[], list[Any]],
    edge: Edge,
    face: Face,
    size: tuple[float, float],
    *,
    title: str,
    subject: str,
    gap: float = 0.0,
) -> tuple[bytes, int]:
    """The PDF and its number of pages. `gap` stands below the heading.

    `story` is asked twice: the first pass counts the pages, the second prints their number.
    """
    pages = 0
    content = b""
    for _ in range(2):
        out = BytesIO()
        document = BaseDocTemplate(
            out, pagesize=size, invariant=1, lang="en", title=title, author="panelward",
            creator="panelward", producer="panelward", subject=subject,
        )  # fmt: skip
        frame = Frame(
            MARGIN, MARGIN + FOOT, size[0] - 2 * MARGIN, size[1] - 2 * MARGIN - FOOT - HEAD - gap,
            leftPadding=0, rightPadding=0, topPadding=0, bottomPadding=0,
        )  # fmt: skip

        def draw(canvas: Any, document: Any, of: int = pages) -> None:
            edge.draw(canvas, face, size, document.page, of)

        document.addPageTemplates(PageTemplate(frames=[frame], onPage=draw))
        document.build(story())
        pages, content = document.page, out.getvalue()
    return content, pages


class Mark(Flowable):  # type: ignore[misc]  # reportlab has no types
    """A symbol and a chip beside each other; either may be missing."""

    def __init__(self, device: Fitted, face: Face, height: float) -> None:
        super().__init__()
        self.device, self.face, self.height = device, face, height
        self.step = height * 2.6
        self.width = self.step * (bool(device.symbol) + bool(device.chip))

    def wrap(self, _width: float, _height: float) -> tuple[float, float]:
        return self.width, self.height

    def draw(self) -> None:
        left = 0.0
        if self.device.symbol:
            draw_symbol(self.canv, self.device.symbol, 0, 0, self.height * 2.3, self.height)
            left = self.step
        if self.device.chip:
            draw_chip(self.canv, self.face, self.device, left, 0, self.height * 2.3, self.height)


def draw_symbol(canvas: Any, name: str, left: float, low: float, width: float, height: float) -> None:
    scale = min(width / BOX[0], height / BOX[1])
    middle = low + height / 2
    canvas.saveState()
    canvas.setLineWidth(0.8)
    for line in SYMBOLS[name]:
        path = canvas.beginPath()
        for i, (x, y) in enumerate(line):
            (path.lineTo if i else path.moveTo)(left + x * scale, middle + (BOX[1] / 2 - y) * scale)
        canvas.drawPath(path)
    canvas.restoreState()


def draw_chip(canvas: Any, face: Face, device: Fitted, left: float, low: float, width: float, height: float) -> None:
    canvas.saveState()
    canvas.setFillColor(HexColor(INKS[device.colour]))
    canvas.setStrokeColor(black)
    canvas.setLineWidth(0.8)
    canvas.roundRect(left, low, width, height, height * 0.15, fill=1)
    canvas.setFillColor(HexColor(ink_on(device.colour)))
    text, size = fitted_text(device.chip, face.bold, (height * 0.8, height * 0.6, height * 0.4), width - 2)
    canvas.setFont(face.bold, size)
    canvas.drawCentredString(left + width / 2, low + (height - size * 0.73) / 2, text)
    canvas.restoreState()


def heads(style: Any, *names: str) -> list[Any]:
    return [Paragraph(name, style) for name in names]


def ruled(body: list[list[Any]], columns: list[float], spans: Iterable[Any] = (), *, long_rows: bool = False) -> Any:
    """A table with ruled lines, its head on each page; `long_rows` may break within a row that no page holds."""
    style = [
        ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
        ("LINEABOVE", (0, 0), (-1, 0), 1.2, black),
        ("LINEBELOW", (0, 0), (-1, 0), 0.8, black),
        ("LINEBELOW", (0, 1), (-1, -1), 0.4, black),
        ("LEFTPADDING", (0, 0), (-1, -1), 1 * mm),
        ("RIGHTPADDING", (0, 0), (-1, -1), 1 * mm),
        ("TOPPADDING", (0, 0), (-1, -1), 0.7 * mm),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 0.9 * mm),
        *spans,
    ]
    return Table(body, colWidths=columns, repeatRows=1, style=style, splitInRow=int(long_rows))


def boxed(mark: str, face: Face) -> str:
    text = mark.replace(" ", "&nbsp;")
    if mark == LIFE:
        return f'<font name="{face.bold}" backcolor="black" color="white">&nbsp;{text}&nbsp;</font>'
    return f'<font name="{face.bold}">{text}</font>'
