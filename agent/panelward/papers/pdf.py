"""The panel directory as a PDF for a printer: A5, A4 or letter, the same bytes for the same directory on one machine.

A row is never cut; heading, foot and "page n of m" stand on every page. The letters come from DejaVu Sans where the
system has it, else from the fonts that reportlab brings along, which hold Western European letters only.
"""

from __future__ import annotations

from collections.abc import Iterator
from html import escape
from typing import Any

from reportlab.lib.enums import TA_CENTER
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.platypus import Flowable, KeepTogether, PageBreak, Paragraph, Spacer, Table

from panelward.papers.directory import (
    CAUTION,
    CUTTING,
    LEGEND,
    TITLE,
    Directory,
    Fitted,
    Row,
    Strip,
    marks,
    strips,
    unbroken,
)
from panelward.papers.printing import (
    FAINT,
    FONT_FOLDERS,
    MARGIN,
    PAPERS,
    RED,
    Edge,
    Face,
    Mark,
    Printed,
    boxed,
    draw_chip,
    face_of,
    fitted_text,
    heads,
    holdable,
    paged,
    ruled,
)

STRIP = (60 * mm, 12 * mm)


def printed(
    directory: Directory, *, paper: str = "a5", labels: bool = False, font_folders: tuple[str, ...] = FONT_FOLDERS
) -> Printed:
    """The directory as a PDF. `paper` is a5, a4 or letter; `labels` adds the label strips, a way each."""
    face = face_of(font_folders)
    missing: list[str] = []
    directory = holdable(directory, face, missing)
    size = PAPERS[paper]
    edge = Edge(
        vehicle=directory.vehicle, title=TITLE, caution=CAUTION, foot=f"{directory.date} · {directory.file}",
        end=f" · schedule {directory.hash}",
    )  # fmt: skip
    content, pages = paged(
        lambda: list(story(directory, face, size[0] - 2 * MARGIN, labels)), edge, face, size,
        title=f"{TITLE}: {directory.vehicle}", subject=f"schedule {directory.hash}",
    )  # fmt: skip
    return Printed(content, pages, "".join(missing))


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
            draw_chip(canvas, self.face, self.strip.device, left, 1.2 * mm, 9 * mm, 3.8 * mm)
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


def story(directory: Directory, face: Face, width: float, labels: bool = False) -> Iterator[Any]:
    """The paper without its edges: rows, feeders, legend, label strips."""
    large = width > 150 * mm
    size = 9.5 if large else 8.0
    text = ParagraphStyle("text", fontName=face.plain, fontSize=size, leading=size * 1.2)
    bold = ParagraphStyle("bold", parent=text, fontName=face.bold)
    small = ParagraphStyle("small", parent=text, fontSize=size - 1.2, leading=(size - 1.2) * 1.2)
    red = ParagraphStyle("red", parent=small, textColor=RED, fontName=face.bold)
    centred = ParagraphStyle("way", parent=bold, fontSize=size + 4, leading=size + 5, alignment=TA_CENTER)
    title = ParagraphStyle("title", parent=bold, fontSize=size + 2, leading=size + 6, spaceBefore=3 * mm)

    def cell(device: Fitted) -> list[Any]:
        parts: list[Any] = [Mark(device, face, 4.2 * mm)] if device.symbol or device.chip else []
        parts += [Spacer(0, 0.6 * mm), Paragraph(escape(unbroken(device.text)), small)] if device.text else []
        return [*parts, Paragraph(escape(device.differs), red)] if device.differs else parts

    def way(position: str, column: float) -> Paragraph:
        room = column - 2 * mm
        chosen = next((s for s in (size + 4, size + 2, size, 6) if stringWidth(position, face.bold, s) <= room), 6)
        style = ParagraphStyle("fitted", parent=centred, fontSize=chosen, leading=chosen * 1.15)
        return Paragraph(escape(position), style)

    def purpose(row: Row) -> list[Any]:
        said = " ".join(boxed(mark, face) for mark in marks(row))
        parts: list[Any] = [Paragraph(escape(row.purpose), text if row.spare else bold)]
        if said:
            parts.append(Paragraph(f"{said} {escape(unbroken(row.reason))}", small))
        if row.hands:
            parts.append(Paragraph(row.hands, ParagraphStyle("hands", parent=small, fontName=face.bold)))
        return parts

    shares = (0.13, 0.42, 0.22, 0.23)
    columns = [width * share for share in shares]
    body: list[list[Any]] = [heads(small, "Way", "Purpose", "Device", "Conductor, fed by")]
    for row in directory.rows:
        run = [Paragraph(escape(unbroken(said)), small) for said in (row.conductor, row.fed_by) if said]
        body.append([way(row.position, columns[0]), purpose(row), cell(row.device), run])
    spans = [("SPAN", (1, i), (3, i)) for i, row in enumerate(directory.rows, 1) if row.spare]
    yield ruled(body, columns, spans)
    if directory.feeders:
        feeders: list[list[Any]] = [heads(small, "Feeder", "Device", "Fed by")]
        for f in directory.feeders:
            name = Paragraph(escape(f.feeder), bold)
            feeders.append([name, cell(f.device), Paragraph(escape(unbroken(f.fed_by)), small)])
        # Heading and first row stay together; a long list may still run over pages.
        yield KeepTogether([Paragraph("Feeders", title), ruled(feeders, [width * share for share in (0.35, 0.3, 0.35)])])
    yield KeepTogether(list(_legend(directory, face, width, small, title)))
    if labels and directory.rows:
        yield PageBreak()
        yield Paragraph(CUTTING, small)
        yield Spacer(0, 2 * mm)
        yield from _sheet(directory, face, width)


def _legend(directory: Directory, face: Face, width: float, small: Any, title: Any) -> Iterator[Any]:
    if not (directory.chips or directory.symbols or directory.meanings):
        return
    yield Paragraph("Legend", title)
    if directory.chips:
        yield Paragraph(LEGEND, small)
    keys = [(Fitted(chip=number, colour=colour), f"{number} A {colour}") for number, colour in directory.chips]
    keys += [(Fitted(symbol=symbol), name) for symbol, name in directory.symbols]
    cells = [(Mark(device, face, 4 * mm), Paragraph(name, small)) for device, name in keys]
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
        yield Paragraph(f"{boxed(mark, face)} {meaning}", small)


def _sheet(directory: Directory, face: Face, width: float) -> Iterator[Any]:
    across = int(width // STRIP[0])
    labels = [_Strip(strip, face) for strip in strips(directory)]
    rows: list[list[Any]] = [list(labels[i : i + across]) for i in range(0, len(labels), across)]
    rows[-1] += [""] * (across - len(rows[-1]))
    pad = [(f"{side}PADDING", (0, 0), (-1, -1), 0) for side in ("LEFT", "RIGHT", "TOP", "BOTTOM")]
    yield Table(rows, colWidths=[STRIP[0]] * across, rowHeights=[STRIP[1]] * len(rows), style=pad, hAlign="LEFT")
