"""The hand-over pack as a PDF for a printer: A4 or letter, the same bytes for the same pack on one machine."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from html import escape
from typing import Any

from reportlab.lib.units import mm
from reportlab.platypus import CondPageBreak, PageBreak, Paragraph, Spacer, Table
from reportlab.platypus.doctemplate import LayoutError

from panelward.papers.directory import unbroken
from panelward.papers.pack import Pack
from panelward.papers.pack_devices import some_of
from panelward.papers.pack_readings import MOST, line
from panelward.papers.pack_rows import Styles, always_table, device_table, record_tables, remark_parts, watched_table
from panelward.papers.pack_words import CAUTION, TITLE
from panelward.papers.pdf import story as directory_story
from panelward.papers.printing import FONT_FOLDERS, MARGIN, PAPERS, Edge, Printed, face_of, heads, holdable, paged, ruled

SECTIONS = (
    "Panel directory", "Device schedule", "Remarks", "Commissioning record", "What is always on",
    "What is watched, and what can't be", "Isolation and inspection", "Who is told, and what a message means", "Signatures",
)  # fmt: skip
APART = (1, 2, 7, 9)  # begin a page: one is hung in the door, one goes to the panel, one is signed
LINE = 8.5 * mm  # of a row that is written in by hand


def printed_pack(pack: Pack, *, paper: str = "a4", font_folders: tuple[str, ...] = FONT_FOLDERS) -> Printed:
    """The pack as a PDF. `paper` is a4 or letter."""
    face = face_of(font_folders)
    missing: list[str] = []
    pack = holdable(pack, face, missing)
    pack = replace(pack, missing=", ".join(f"U+{ord(letter):04X}" for letter in missing))
    facts, size = pack.facts, PAPERS[paper]
    seal = pack.record.seal.removeprefix("sha256:")[:12]
    record = f"record {seal}, version {pack.record.version}" if seal else "no record"
    edge = Edge(
        vehicle=facts.vehicle, title=TITLE, caution=CAUTION, foot=f"{facts.made} · {facts.schedule_file}",
        end=f" · schedule {facts.schedule_hash} · {record} · panelward {facts.version}",
    )  # fmt: skip

    def made(long_rows: bool) -> tuple[bytes, int]:
        style = Styles.of(face, long_rows=long_rows)
        return paged(
            lambda: list(_story(pack, style, size[0] - 2 * MARGIN)), edge, face, size,
            title=f"{TITLE}: {facts.vehicle}", subject=f"schedule {facts.schedule_hash}, {record}", gap=2 * mm,
        )  # fmt: skip

    try:
        content, pages = made(long_rows=False)
    except LayoutError:  # a row that no page holds: then rows are broken
        content, pages = made(long_rows=True)
    return Printed(content, pages, "".join(missing))


def _story(pack: Pack, style: Styles, width: float) -> Iterator[Any]:
    yield from _cover(pack, style, width)
    parts: tuple[Callable[[], Iterator[Any]], ...] = (
        lambda: directory_story(pack.directory, style.face, width),
        lambda: _devices(pack, style, width),
        lambda: _remarks(pack, style, width),
        lambda: record_tables(pack.record, style, width),
        lambda: _always(pack, style, width),
        lambda: _watched(pack, style, width),
        lambda: _lists(pack, style, width),
        lambda: _people(pack, style, width),
        lambda: _signatures(pack, style, width),
    )
    for number, (name, part) in enumerate(zip(SECTIONS, parts, strict=True), start=1):
        yield PageBreak() if number in APART else CondPageBreak(55 * mm)
        yield Paragraph(f"{number} &nbsp; {name}", style.title)
        yield from part()


def _facts(pack: Pack) -> list[tuple[str, str]]:
    facts, record = pack.facts, pack.record
    rows = [
        ("Vehicle", f"{facts.vehicle} ({facts.vehicle_id})"),
        ("Made on", f"{facts.made}, time zone {facts.timezone}, panelward {facts.version}"),
        ("Schedule", facts.schedule_file),
        ("Its hash", f"sha256:{facts.schedule_sha256}"),
        ("Record", f"{facts.record_file}, version {record.version} of {record.versions}, sealed {record.made} by {record.who}"
         if record.there else "none: not commissioned"),
    ]  # fmt: skip
    if record.there:
        rows.append(("Its seal", facts.record_seal))
    if pack.readings is not None:
        read = pack.readings
        unread = "" if read.unread_share is None else f", {100 * read.unread_share:.1f} % of the time unread"
        clock = f"; the clock was set {read.clock_sets} times" if read.clock_sets else ""
        bad = f"; {read.damaged} blocks could not be read" if read.damaged else ""
        rows.append(("Journal", f"{read.file}, looked at from {read.from_} to {read.to}{unread}{clock}{bad}"))
    else:
        rows.append(("Journal", "none was looked at: no reading since the record stands here"))
    ring = " ".join(part for part in (facts.fitter, facts.phone) if part)
    rows.append(("Ring", ring or "______________________________ (not in the schedule)"))
    if pack.missing:
        rows.append(("Letters", f'not in the fonts of this computer, printed as "?": {pack.missing}. See the schedule.'))
    return rows


def _fact_table(rows: list[tuple[str, str]], style: Styles, width: float) -> Any:
    body = [[Paragraph(escape(name), style.small), Paragraph(escape(said), style.text)] for name, said in rows]
    pad = [(f"{side}PADDING", (0, 0), (-1, -1), 1 * mm) for side in ("LEFT", "RIGHT", "TOP", "BOTTOM")]
    return Table(body, colWidths=[0.12 * width, 0.88 * width], style=[*pad, ("VALIGN", (0, 0), (-1, -1), "TOP")])


def _cover(pack: Pack, style: Styles, width: float) -> Iterator[Any]:
    yield _fact_table(_facts(pack), style, width)
    yield from _standing(pack, style)
    yield Paragraph("Cautions", style.head)
    for number, text in enumerate(pack.cautions, start=1):
        yield Paragraph(f"{number}. {escape(unbroken(text))}", style.item)
    yield Paragraph("What stands here", style.head)
    for number, name in enumerate(SECTIONS, start=1):
        yield Paragraph(f"{number} &nbsp; {name}", style.small)


def _standing(pack: Pack, style: Styles) -> Iterator[Any]:
    read = pack.readings
    if read is None:
        return
    if not read.standing:
        when = f"when the journal ended, {read.to}" if read.unread_share is not None else "in the journal, which has no reading"
        yield Paragraph(escape(f"No alarm was standing {when}. What is not watched stands in section 6."), style.text)
        return
    yield Paragraph(escape(f"Alarms standing when the journal ended, {read.to}"), style.head)
    for one in read.standing[:MOST]:
        yield Paragraph(escape(unbroken(line(one))), style.red if one.priority == "high" else style.text)
    if len(read.standing) > MOST:
        yield Paragraph(f"and {len(read.standing) - MOST} more: `panelward alarms` lists them.", style.text)


def _devices(pack: Pack, style: Styles, width: float) -> Iterator[Any]:
    yield device_table(pack.devices, style, width)
    yield Paragraph(
        "–: not known or not measured. Ampacity: of the stretch that carries least, in its place, by the strictest of the "
        "rules named for this vehicle. Steady: all at its highest setting, at nominal volts; (s) as the schedule has it. Used: "
        "steady over the device in the way. Worst held: the largest mean current over at least 1 min / 3 h in the journal "
        "looked at. Open: what hangs there is bounded by its device only. Marks: the remarks of section 3.",
        style.small,
    )
    if not pack.spares_aboard:
        return
    body = [heads(style.small, "Spare fuses aboard", "For ways", "How many, counted on")]
    for spare in pack.spares_aboard:
        said = Paragraph(escape(unbroken(spare.why_not or spare.device)), style.red if spare.why_not else style.text)
        body.append([said, Paragraph(escape(some_of(spare.ways, 60)), style.small), ""])
    yield Spacer(0, 3 * mm)
    yield CondPageBreak(30 * mm)
    yield ruled(body, [width * share for share in (0.35, 0.35, 0.3)])


def _remarks(pack: Pack, style: Styles, width: float) -> Iterator[Any]:
    names = {row.position: row.purpose for row in pack.directory.rows}
    if not pack.remarks:
        yield Paragraph("None. That is no proof of anything that was not looked at.", style.text)
    for remark in pack.remarks:
        yield from remark_parts(remark, names.get(remark.way, ""), style, width)
    if pack.notes:
        yield Paragraph(f"Vetting notes {pack.notes} more things of lesser weight: `panelward check` lists them.", style.small)


def _always(pack: Pack, style: Styles, width: float) -> Iterator[Any]:
    yield from always_table(pack.always_on, pack.banks, style, width)


def _watched(pack: Pack, style: Styles, width: float) -> Iterator[Any]:
    yield Paragraph(
        "The time in brackets counts from the first reading that shows it, and is a limit. `panelward check --detect` says "
        "why, and what would mend it.",
        style.small,
    )
    if pack.slower:
        yield Paragraph(escape(pack.slower), style.bold)
    yield Spacer(0, 1.5 * mm)
    yield watched_table(pack.watched, style, width)
    if pack.watched_alike:
        yield Paragraph("Alike for several ways", style.head)
    for text in pack.watched_alike:
        yield Paragraph(f"– {escape(unbroken(text))}", style.item)
    yield Paragraph("Never seen by it", style.head)
    for text in pack.never_seen:
        yield Paragraph(f"– {escape(text)}", style.item)


def _lists(pack: Pack, style: Styles, width: float) -> Iterator[Any]:
    yield Paragraph("Isolating, in this order", style.head)
    number = 0
    for text in pack.isolation:
        before = text.startswith("Before: ")
        number += not before
        yield Paragraph(escape(text) if before else f"{number}. {escape(text)}", style.item)
    for group in dict.fromkeys(each.group for each in pack.inspections):
        body = [heads(style.small, group, "Seen by", "Date")]
        for each in pack.inspections:
            if each.group == group:
                said = [Paragraph(escape(unbroken(each.text)), style.text)]
                who = f"licensed person only · {each.source}" if each.licensed else each.source
                said.append(Paragraph(escape(who), style.tiny))
                body.append(
                    [said, Paragraph("<br/>____________________", style.small), Paragraph("<br/>__________", style.small)]
                )
        yield CondPageBreak(40 * mm)
        yield Spacer(0, 3 * mm)
        yield ruled(body, [width * share for share in (0.66, 0.21, 0.13)])


def _people(pack: Pack, style: Styles, width: float) -> Iterator[Any]:
    if pack.told is None:
        yield Paragraph("Who is told was not named for this pack (--people). Write it here:", style.text)
        body = [heads(style.small, "Name", "What is told", "Sleeps", "Who when nobody answers")]
        body += [["", "", "", ""] for _ in range(3)]
        yield Table(body, colWidths=[width * 0.25] * 4, rowHeights=[5 * mm, LINE, LINE, LINE], style=_written())
    else:
        body = [heads(style.small, "Name", "Is told", "Of", "Sleeps", "When")]
        for each in pack.told:
            cells = (each.name, ", ".join(each.priorities), ", ".join(each.circuits) or "all", each.sleeping or "–", each.after)
            body.append([Paragraph(escape(cell), style.text) for cell in cells])
        yield ruled(body, [width * share for share in (0.22, 0.2, 0.24, 0.14, 0.2)])
        if not pack.told:
            yield Paragraph("Nobody is told: people.toml names no person.", style.red)
    if pack.readings is not None:
        tested = pack.readings.tested
        said = f"A test message was last taken by a phone's service on {tested}." if tested else (
            "No test message is known to have been taken: send one with `panelward drill`, and see it on the phone."
        )  # fmt: skip
        yield Spacer(0, 1.5 * mm)
        yield Paragraph(escape(said), style.text if tested else style.red)
    yield Spacer(0, 2 * mm)
    for word, meaning in pack.means:
        yield Paragraph(f'<font name="{style.face.bold}">{word}</font> &nbsp; {escape(meaning)}', style.item)
    yield Paragraph(
        "What lies in what must stay cold, and who travels where no message reaches: ______________________", style.item
    )


def _written() -> list[Any]:
    from reportlab.lib.colors import black

    return [("LINEBELOW", (0, 0), (-1, -1), 0.4, black), ("VALIGN", (0, 0), (-1, -1), "BOTTOM")]


def _signatures(pack: Pack, style: Styles, width: float) -> Iterator[Any]:
    yield Paragraph(escape(pack.no_signature), style.text)
    yield Spacer(0, 2 * mm)
    yield _fact_table(_facts(pack)[:6], style, width)
    yield Paragraph(
        "The schedule's hash is the SHA-256 of its bytes (of a file without a byte order mark); the record's seal is reckoned "
        "anew whenever it is read. Whoever signs compares both with the files handed over.",
        style.small,
    )
    rows = (
        "Installed and measured by", "Instrument, calibrated on", "AC: licensed person", "Handed over to, the owner",
    )  # fmt: skip
    body = [heads(style.small, "", "Name", "Signature, in ink", "Date")]
    body += [[Paragraph(row, style.text), "", "", ""] for row in rows]
    heights = [6 * mm, *(14 * mm for _ in rows)]
    yield Spacer(0, 4 * mm)
    yield Table(body, colWidths=[width * s for s in (0.26, 0.28, 0.3, 0.16)], rowHeights=heights, style=_written())
