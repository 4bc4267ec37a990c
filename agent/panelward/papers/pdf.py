"""The panel directory as a PDF for a printer: A5, A4 or letter, the same bytes for the same directory on one machine.

A row is never cut; heading, foot and "page n of m" stand on every page. The letters come from DejaVu Sans where the
system has it, else from the fonts that reportlab brings along, which hold Western European letters only.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, fields, is_dataclass, replace
from html import escape
from io import BytesIO
from pathlib import Path
from typing import Any

import reportlab
from reportlab.lib.colors import HexColor, black
from reportlab.lib.enums import TA_CENTER
from reportlab.lib.pagesizes import A4, A5, letter
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import registerFont, stringWidth
from reportlab.pdfbase.ttfonts import TTFError, TTFont
from reportlab.platypus import (
    BaseDocTemplate,
    Flowable,
    Frame,
    KeepTogether,
    PageBreak,
    PageTemplate,
    Paragraph,
    Spacer,
    Table,
)

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
    strips,
    unbroken,
)
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

MARGIN = 10 * mm
HEAD = 13 * mm
FOOT = 19 * mm
STRIP = (60 * mm, 12 * mm)
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


def printed(
    directory: Directory, *, paper: str = "a5", labels: bool = False, font_folders: tuple[str, ...] = FONT_FOLDERS
) -> Printed:
    """The directory as a PDF. `paper` is a5, a4 or letter; `labels` adds the label strips, a way each."""
    face = _face(font_folders)
    missing: list[str] = []
    directory = _holdable(directory, face, missing)
    size = PAPERS[paper]
    pages = 0
    content = b""
    for _ in range(2):  # the first pass counts the pages, the second prints their number
        out = BytesIO()
        document = BaseDocTemplate(
            out, pagesize=size, invariant=1, lang="en", title=f"{TITLE}: {directory.vehicle}", author="panelward",
            creator="panelward", producer="panelward", subject=f"schedule {directory.hash}",
        )  # fmt: skip
        frame = Frame(
            MARGIN, MARGIN + FOOT, size[0] - 2 * MARGIN, size[1] - 2 * MARGIN - FOOT - HEAD,
            leftPadding=0, rightPadding=0, topPadding=0, bottomPadding=0,
        )  # fmt: skip
        edge = _Edge(directory, face, size, pages)
        document.addPageTemplates(PageTemplate(frames=[frame], onPage=edge.draw))
        document.build(list(_story(directory, face, size[0] - 2 * MARGIN, labels)))
        pages, content = document.page, out.getvalue()
    return Printed(content, pages, "".join(missing))


def _face(folders: Iterable[str]) -> Face:
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


def _holdable(part: Any, face: Face, missing: list[str]) -> Any:
    """The same records with a "?" for each character that the face does not hold; `missing` collects those, once each."""
    if isinstance(part, str):
        missing += [c for c in dict.fromkeys(part) if not face.holds(c) and c not in missing]
        return "".join(c if face.holds(c) else "?" for c in part)
    if isinstance(part, tuple):
        return tuple(_holdable(item, face, missing) for item in part)
    if is_dataclass(part) and not isinstance(part, type):
        return replace(part, **{f.name: _holdable(getattr(part, f.name), face, missing) for f in fields(part)})
    return part


def fitted_text(text: str, font: str, sizes: tuple[float, ...], width: float) -> tuple[str, float]:
    """The text and the largest of `sizes` (in points, falling) at which it fits `width` points; else it is shortened."""
    for size in sizes:
        if stringWidth(text, font, size) <= width:
            return text, size
    size = sizes[-1]
    while text and stringWidth(text + "…", font, size) > width:
        text = text[:-1].rstrip()
    return text + "…", size


class _Edge:
    """Heading and foot of each page."""

    def __init__(self, directory: Directory, face: Face, size: tuple[float, float], pages: int) -> None:
        self.directory, self.face, self.size, self.pages = directory, face, size, pages

    def draw(self, canvas: Any, document: Any) -> None:
        width, height = self.size
        inner = width - 2 * MARGIN
        top = height - MARGIN
        canvas.saveState()
        number = f"page {document.page} of {self.pages}"
        canvas.setFont(self.face.plain, 8)
        canvas.drawRightString(width - MARGIN, top - 11 * mm, number)
        name, size = fitted_text(self.directory.vehicle, self.face.bold, (15, 13, 11, 9, 7.5), inner)
        canvas.setFont(self.face.bold, size)
        canvas.drawString(MARGIN, top - 5.5 * mm, name)
        canvas.setFont(self.face.plain, 10)
        canvas.drawString(MARGIN, top - 11 * mm, TITLE)
        caution = Paragraph(CAUTION, ParagraphStyle("caution", fontName=self.face.bold, fontSize=7, leading=8.4))
        _, tall = caution.wrap(inner - 3 * mm, FOOT)
        low = MARGIN + 5 * mm
        canvas.rect(MARGIN, low, inner, tall + 2 * mm)
        caution.drawOn(canvas, MARGIN + 1.5 * mm, low + 1 * mm)
        foot, size = fitted_text(self.directory.foot, self.face.plain, (7, 6, 5), inner)
        if "…" in foot:  # a very long file name: the hash must still be read
            end = f"… · schedule {self.directory.hash}"
            room = inner - stringWidth(end, self.face.plain, size)
            foot = fitted_text(f"{self.directory.date} · {self.directory.file}", self.face.plain, (size,), room)[0]
            foot = foot.removesuffix("…") + end
        canvas.setFont(self.face.plain, size)
        canvas.drawString(MARGIN, MARGIN + 1 * mm, foot)
        canvas.restoreState()


class _Mark(Flowable):  # type: ignore[misc]  # reportlab has no types
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
            _symbol(self.canv, self.device.symbol, 0, 0, self.height * 2.3, self.height)
            left = self.step
        if self.device.chip:
            _chip(self.canv, self.face, self.device, left, 0, self.height * 2.3, self.height)


def _symbol(canvas: Any, name: str, left: float, low: float, width: float, height: float) -> None:
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


def _chip(canvas: Any, face: Face, device: Fitted, left: float, low: float, width: float, height: float) -> None:
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


class _Strip(Flowable):  # type: ignore[misc]
    """One label of 60 x 12 mm with its cutting lines."""

    def __init__(self, strip: Strip, face: Face) -> None:
        super().__init__()
        self.strip, self.face = strip, face

    def wrap(self, _width: float, _height: float) -> tuple[float, float]:
        return STRIP

    def draw(self) -> None:
        canvas, (width, height) = self.canv, STRIP
        canvas.setStrokeColor(FAINT)
        canvas.setLineWidth(0.25)
        canvas.rect(0, 0, width, height)
        column, gap = 13 * mm, 1.5 * mm
        self._text(self.strip.position, (18, 16, 14, 12, 10, 8, 6.5, 5), column - gap, column / 2, height / 2, centred=True)
        left, room = column + gap, width - column - 2 * gap
        self._purpose(left, room)
        # The marks keep their room at the right, below each other; the device's text has the rest.
        size = 6.0 if len(self.strip.marks) < 2 else 5.2
        wide = max((stringWidth(mark, self.face.bold, size) for mark in self.strip.marks), default=-gap) + gap
        low = 2.4 * mm if len(self.strip.marks) < 2 else 1.4 * mm
        canvas.setFont(self.face.bold, size)
        for mark in reversed(self.strip.marks):
            canvas.drawRightString(width - gap, low, mark)
            low += size * 1.1
        if self.strip.device.chip:
            _chip(canvas, self.face, self.strip.device, left, 1.2 * mm, 9 * mm, 3.8 * mm)
            left, room = left + 10 * mm, room - 10 * mm
        self._text(self.strip.device.text, (7.5, 7, 6.5, 6, 5.5, 5), room - wide, left, 2.4 * mm)

    def _purpose(self, left: float, room: float) -> None:
        sizes = (10.0, 9.0, 8.0, 7.0)
        if stringWidth(self.strip.purpose, self.face.bold, sizes[-1]) <= room:
            self._text(self.strip.purpose, sizes, room, left, 7.4 * mm)
            return
        # Too long for one line: two lines in smaller letters, the second shortened where even that is not enough.
        size = 5.0
        for size in (6.5, 6.0, 5.5, 5.0):
            first, rest = _broken(self.strip.purpose, self.face.bold, size, room)
            if stringWidth(rest, self.face.bold, size) <= room:
                break
        self._text(first, (size,), room, left, 9.1 * mm)
        self._text(rest, (size,), room, left, 6.4 * mm)

    def _text(
        self, text: str, sizes: tuple[float, ...], room: float, left: float, low: float, *, centred: bool = False
    ) -> None:
        font = self.face.bold if centred or low > 6 * mm else self.face.plain
        text, size = fitted_text(text, font, sizes, room)
        self.canv.setFont(font, size)
        if centred:
            self.canv.drawCentredString(left, low - size * 0.36, text)
        else:
            self.canv.drawString(left, low, text)


def _broken(text: str, font: str, size: float, width: float) -> tuple[str, str]:
    """The text in two: what fits `width` points, broken at a space where there is one."""
    end = len(text)
    while end > 1 and stringWidth(text[:end], font, size) > width:
        end -= 1
    space = text.rfind(" ", 1, end + 1)
    if space > 0:
        return text[:space], text[space + 1 :]
    return text[:end], text[end:]


def _story(directory: Directory, face: Face, width: float, labels: bool) -> Iterator[Any]:
    large = width > 150 * mm
    size = 9.5 if large else 8.0
    text = ParagraphStyle("text", fontName=face.plain, fontSize=size, leading=size * 1.2)
    bold = ParagraphStyle("bold", parent=text, fontName=face.bold)
    small = ParagraphStyle("small", parent=text, fontSize=size - 1.2, leading=(size - 1.2) * 1.2)
    red = ParagraphStyle("red", parent=small, textColor=RED, fontName=face.bold)
    centred = ParagraphStyle("way", parent=bold, fontSize=size + 4, leading=size + 5, alignment=TA_CENTER)
    title = ParagraphStyle("title", parent=bold, fontSize=size + 2, leading=size + 6, spaceBefore=3 * mm)

    def cell(device: Fitted) -> list[Any]:
        parts: list[Any] = [_Mark(device, face, 4.2 * mm)] if device.symbol or device.chip else []
        parts += [Spacer(0, 0.6 * mm), Paragraph(escape(unbroken(device.text)), small)] if device.text else []
        return [*parts, Paragraph(escape(device.differs), red)] if device.differs else parts

    def way(position: str, column: float) -> Paragraph:
        room = column - 2 * mm
        chosen = next((s for s in (size + 4, size + 2, size, 6) if stringWidth(position, face.bold, s) <= room), 6)
        style = ParagraphStyle("fitted", parent=centred, fontSize=chosen, leading=chosen * 1.15)
        return Paragraph(escape(position), style)

    def purpose(row: Row) -> list[Any]:
        boxed = " ".join(_boxed(mark, face) for mark in marks(row))
        parts: list[Any] = [Paragraph(escape(row.purpose), text if row.spare else bold)]
        if boxed:
            parts.append(Paragraph(f"{boxed} {escape(unbroken(row.reason))}", small))
        if row.hands:
            parts.append(Paragraph(row.hands, ParagraphStyle("hands", parent=small, fontName=face.bold)))
        return parts

    shares = (0.13, 0.42, 0.22, 0.23)
    columns = [width * share for share in shares]
    body: list[list[Any]] = [_heads(small, "Way", "Purpose", "Device", "Conductor, fed by")]
    for row in directory.rows:
        run = [Paragraph(escape(unbroken(said)), small) for said in (row.conductor, row.fed_by) if said]
        body.append([way(row.position, columns[0]), purpose(row), cell(row.device), run])
    spans = [("SPAN", (1, i), (3, i)) for i, row in enumerate(directory.rows, 1) if row.spare]
    yield _table(body, columns, spans)
    if directory.feeders:
        feeders: list[list[Any]] = [_heads(small, "Feeder", "Device", "Fed by")]
        for f in directory.feeders:
            name = Paragraph(escape(f.feeder), bold)
            feeders.append([name, cell(f.device), Paragraph(escape(unbroken(f.fed_by)), small)])
        # Heading and first row stay together; a long list may still run over pages.
        yield KeepTogether([Paragraph("Feeders", title), _table(feeders, [width * share for share in (0.35, 0.3, 0.35)])])
    yield KeepTogether(list(_legend(directory, face, width, small, title)))
    if labels and directory.rows:
        yield PageBreak()
        yield Paragraph(CUTTING, small)
        yield Spacer(0, 2 * mm)
        yield from _sheet(directory, face, width)


def _heads(style: Any, *names: str) -> list[Any]:
    return [Paragraph(name, style) for name in names]


def _table(body: list[list[Any]], columns: list[float], spans: Iterable[Any] = ()) -> Any:
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
    return Table(body, colWidths=columns, repeatRows=1, style=style)


def _boxed(mark: str, face: Face) -> str:
    text = mark.replace(" ", "&nbsp;")
    if mark == LIFE:
        return f'<font name="{face.bold}" backcolor="black" color="white">&nbsp;{text}&nbsp;</font>'
    return f'<font name="{face.bold}">{text}</font>'


def _legend(directory: Directory, face: Face, width: float, small: Any, title: Any) -> Iterator[Any]:
    if not (directory.chips or directory.symbols or directory.meanings):
        return
    yield Paragraph("Legend", title)
    if directory.chips:
        yield Paragraph(LEGEND, small)
    keys = [(Fitted(chip=number, colour=colour), f"{number} A {colour}") for number, colour in directory.chips]
    keys += [(Fitted(symbol=symbol), name) for symbol, name in directory.symbols]
    cells = [(_Mark(device, face, 4 * mm), Paragraph(name, small)) for device, name in keys]
    across = 4 if width < 150 * mm else 5
    if cells:
        rows = [[part for cell in cells[i : i + across] for part in cell] for i in range(0, len(cells), across)]
        rows[-1] += [""] * (2 * across - len(rows[-1]))
        pad = [("LEFTPADDING", (0, 0), (-1, -1), 0), ("RIGHTPADDING", (0, 0), (-1, -1), 0)]
        pad += [("TOPPADDING", (0, 0), (-1, -1), 2), ("BOTTOMPADDING", (0, 0), (-1, -1), 2)]
        mark = 11.5 * mm
        style = [*pad, ("VALIGN", (0, 0), (-1, -1), "MIDDLE")]
        yield Table(rows, colWidths=[mark, width / across - mark] * across, style=style)
    for mark, meaning in directory.meanings:
        yield Paragraph(f"{_boxed(mark, face)} {meaning}", small)


def _sheet(directory: Directory, face: Face, width: float) -> Iterator[Any]:
    across = int(width // STRIP[0])
    labels = [_Strip(strip, face) for strip in strips(directory)]
    rows: list[list[Any]] = [list(labels[i : i + across]) for i in range(0, len(labels), across)]
    rows[-1] += [""] * (across - len(rows[-1]))
    pad = [(f"{side}PADDING", (0, 0), (-1, -1), 0) for side in ("LEFT", "RIGHT", "TOP", "BOTTOM")]
    yield Table(rows, colWidths=[STRIP[0]] * across, rowHeights=[STRIP[1]] * len(rows), style=pad, hAlign="LEFT")
