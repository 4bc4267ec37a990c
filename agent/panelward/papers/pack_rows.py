"""The tables of the hand-over pack."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from html import escape
from typing import Any

from reportlab.lib.colors import white
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.platypus import KeepTogether, Paragraph, Spacer, Table

from panelward.papers.directory import LIFE, unbroken
from panelward.papers.pack import Watched
from panelward.papers.pack_always import AlwaysOn, Bank, sentence
from panelward.papers.pack_devices import DeviceLine
from panelward.papers.pack_record import RecordPart, Setting, WayRecord
from panelward.papers.printing import RED, Face, Mark, boxed, fitted_text, heads, ruled
from panelward.papers.remarks import Remark
from panelward.schedule.detect.draw import duration

TOP = [("VALIGN", (0, 1), (-1, -1), "TOP")]
NONE = "–"


@dataclass(frozen=True, slots=True)
class Styles:
    """The pack's letters."""

    face: Face
    text: Any
    small: Any
    tiny: Any
    bold: Any
    red: Any
    item: Any
    head: Any
    title: Any
    long_rows: bool  # break within rows

    @classmethod
    def of(cls, face: Face, *, long_rows: bool = False) -> Styles:
        text = ParagraphStyle("text", fontName=face.plain, fontSize=8.4, leading=10.4)
        bold = ParagraphStyle("bold", parent=text, fontName=face.bold)
        return cls(
            face=face, long_rows=long_rows, text=text, bold=bold,
            small=ParagraphStyle("small", parent=text, fontSize=7.2, leading=8.8),
            tiny=ParagraphStyle("tiny", parent=text, fontSize=6.2, leading=7.6),
            red=ParagraphStyle("red", parent=bold, textColor=RED),
            item=ParagraphStyle("item", parent=text, leftIndent=5 * mm, firstLineIndent=-5 * mm, spaceAfter=0.8 * mm),
            head=ParagraphStyle("head", parent=bold, fontSize=9.6, leading=12, spaceBefore=3 * mm, spaceAfter=1 * mm),
            title=ParagraphStyle("title", parent=bold, fontSize=13, leading=16, spaceBefore=4 * mm, spaceAfter=2 * mm),
        )  # fmt: skip


def figure(value: float | None, digits: int = 3) -> str:
    """To so many digits; what is not known is a dash."""
    return NONE if value is None else f"{value:.{digits}g}" if abs(value) < 10**digits else f"{value:.0f}"


def place(position: str, style: Styles, room: float) -> Any:
    """A way's position, in letters that fit its column; a very long one is broken."""
    text, size = fitted_text(position, style.face.bold, (10, 9, 8, 7, 6), room - 2 * mm)
    size = 6 if "…" in text else size
    return Paragraph(escape(position), ParagraphStyle("place", parent=style.bold, fontSize=size, leading=size * 1.2))


def _small(style: Styles, *lines: str) -> list[Any]:
    return [Paragraph(escape(unbroken(line)), style.small) for line in lines if line]


def device_table(lines: Sequence[DeviceLine], style: Styles, width: float) -> Any:
    columns = [width * share for share in (0.08, 0.18, 0.19, 0.23, 0.09, 0.09, 0.08, 0.06)]
    body: list[list[Any]] = [
        heads(
            style.small, "Way", "Purpose", "Device; A scheduled / found / left", "Conductor; ampacity, rule that decided",
            "Most, A: maker, way", "Steady, A; used", "Worst held, A", "Marks",
        )
    ]  # fmt: skip
    spans: list[Any] = []
    for at, line in enumerate(lines, start=1):
        body.append(_device_row(line, style, columns[0]))
        if not line.device.text:
            spans.append(("SPAN", (1, at), (-1, at)))
    return ruled(body, columns, [*TOP, *spans], long_rows=style.long_rows)


def _device_row(line: DeviceLine, style: Styles, room: float) -> list[Any]:
    device: list[Any] = [Mark(line.device, style.face, 3.4 * mm)] if line.device.symbol or line.device.chip else []
    device += _small(style, line.device.text)
    if line.scheduled_a is not None:
        left = f"{line.left_a:g}" if line.left_a is not None else NONE
        if line.left_a not in (None, line.scheduled_a):
            left = f'<font name="{style.face.bold}" color="{RED.hexval().replace("0x", "#")}">{left}</font>'
        found = f"{line.found_a:g}" if line.found_a is not None else NONE
        device.append(Paragraph(f"{line.scheduled_a:g} / {found} / {left}", style.small))
    below = "below " if line.bound else ""
    carries = "" if line.ampacity_a is None else f"{below}{line.ampacity_a:.3g} A, {line.rule}"
    taken = f"taken for it: {', '.join(line.assumed)}" if line.assumed else ""
    most = (
        f"maker {', '.join(f'{each:g}' for each in line.maker_a)}" if line.maker_a else "",
        f"way {line.way_max_a:g}" if line.way_max_a is not None else "",
    )
    steady = figure(line.steady_a) + (" (s)" if line.steady_from == "schedule" else "")
    used = "open" if line.open_ended else "" if line.used is None else f"{100 * line.used:.0f} %"
    worst = "" if line.worst_60_a is None else f"{figure(line.worst_60_a)} / {figure(line.worst_3h_a)}"
    marks = " ".join(map(str, line.marks))
    kind = line.what if line.what == "main" else ""
    return [
        place(line.position, style, room),
        [Paragraph(escape(line.purpose), style.bold if line.device.text else style.text), *_small(style, kind)],
        device,
        _small(style, line.conductor or NONE, carries, taken) if line.device.text else "",
        _small(style, *(most if any(most) else (NONE,))),
        _small(style, steady, used),
        _small(style, worst or NONE),
        Paragraph(marks, style.red),
    ]


def remark_parts(remark: Remark, purpose: str, style: Styles, width: float) -> Iterator[Any]:
    facts = [
        f"{name}: {said}" if name else said
        for name, said in (("rule", remark.rule), ("limit", remark.limit), ("found", remark.found), ("", remark.source))
        if said
    ]
    where = f"{purpose} ({remark.way}): " if remark.way and not remark.english else ""
    parts = [
        Paragraph(escape(unbroken(where + remark.text)), style.text),
        Paragraph(escape(unbroken(" · ".join(facts))), style.tiny),
    ]
    parts += [Paragraph(escape(unbroken(remark.remedy)), style.small)] if remark.remedy else []
    pad = [
        ("LEFTPADDING", (0, 0), (-1, -1), 1 * mm),
        ("TOPPADDING", (0, 0), (-1, -1), 0.6 * mm),
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
    ]
    yield Table([[Paragraph(str(remark.number), style.red), parts]], colWidths=[9 * mm, width - 9 * mm], style=pad)


def record_tables(record: RecordPart, style: Styles, width: float) -> Iterator[Any]:
    if not record.there:
        yield Paragraph(escape(record.said), style.red)
        return
    ambient = "not told" if record.ambient_c is None else f"{record.ambient_c:g} °C"
    yield Paragraph(
        escape(f"Version {record.version} of {record.versions}, {record.made}, by {record.who}. Instrument: {record.instrument}"
               f". Ambient: {ambient}. Instrument calibrated on: ____________ (where it is not named)."), style.text,
    )  # fmt: skip
    if not record.same_schedule:
        said = f"Measured by another schedule than this one ({record.schedule_hash}): see section 3."
        yield Paragraph(escape(said), style.red)
    for each in record.monitors:
        told = [
            f"a reading every {each.period_s:g} s" if each.period_s is not None else "period not told",
            f"reports a {each.reports}" if each.reports else "sample or mean: not told",
            f"steps of {each.resolution_a:g} A" if each.resolution_a is not None else "steps not told",
        ]
        yield Paragraph(escape(f"Monitor {each.monitor}: {', '.join(told)}."), style.text)
    sign = f"counts {record.meter_sign}" if record.meter_sign else "which way it counts is not settled"
    yield Paragraph(f"Bank's meter: {sign}.", style.text)
    yield Paragraph(escape(record.said), style.bold)
    for text in record.holes:
        yield Paragraph(f"– {escape(text)}", style.item)
    for text in record.remarks:
        yield Paragraph(f"– {escape(text)}", style.item)
    yield Spacer(0, 2 * mm)
    columns = [width * share for share in (0.08, 0.22, 0.16, 0.065, 0.065, 0.055, 0.145, 0.09, 0.12)]
    names = ("Way", "Purpose; zero, gain", "Setting", "W", "A", "V", "95 %, W (readings)", "Surge", "Drop, reckoned")
    body: list[list[Any]] = [heads(style.small, *names)]
    joined: list[Any] = []
    for way in record.ways:
        rows = _record_rows(way, style, columns[0])
        joined += [("LINEBELOW", (0, at), (1, at), 0.6, white) for at in range(len(body), len(body) + len(rows) - 1)]
        body += rows
    yield ruled(body, columns, [*TOP, *joined], long_rows=style.long_rows)
    yield Paragraph(
        "Watts and amps at the supply's nominal volts, as the monitor reports them: its gain stands beside them, not taken "
        "out. 95 %: two-sided tolerance interval of single readings, 95 % confidence. (p): provisional. Surge –: not "
        "observable at this period, or none seen. Drop: along the way's own conductor at its highest setting, reckoned; "
        "write in what was measured at the load.",
        style.small,
    )


def _record_rows(way: WayRecord, style: Styles, room: float) -> list[list[Any]]:
    told = [
        f"zero {round(way.zero_ma):+d} mA" if way.zero_ma is not None else "zero not told",
        f"gain {way.gain:.3f}" if way.gain is not None else "gain not told",
    ]
    about = [", ".join(told)]
    if way.exponent is not None:
        about.append(f"watts as volts to the power {way.exponent:.2f}")
    if way.runs:
        idle = f", rests of {duration(way.idle_s)}" if way.idle_s is not None else ""
        about.append(f"{way.runs} runs of {duration(way.run_s or 0.0)}{idle}")
    if way.seen_on:
        about.append(f"found on the channel of {way.seen_on}: the labels were swapped")
    if way.measured:
        about.append(f"measured {way.measured}")
    name = [Paragraph(escape(way.purpose), style.bold), *_small(style, *about)]
    settings = [each for each in (way.standby, *way.settings) if each is not None]
    if not settings:
        why = f"not measured: {way.skipped}" if way.skipped else "not measured"
        return [[place(way.position, style, room), name, _small(style, why), "", "", "", "", "", ""]]
    drop = [f"{way.drop_v:.2g} V, {100 * (way.drop_share or 0.0):.1f} %"] if way.drop_v is not None else []
    drop += [way.drop_note] if way.drop_note else []
    rows = []
    for at, one in enumerate(settings):
        first = at == 0
        last = at == len(settings) - 1
        rows.append(
            [place(way.position, style, room) if first else "", name if first else "", *_setting(one, style),
             _small(style, *(drop or [NONE]), "______ V") if last else ""]
        )  # fmt: skip
    if way.skipped:
        rows.append(["", "", _small(style, f"not measured: {way.skipped}"), "", "", "", "", "", ""])
    return rows


def _setting(one: Setting, style: Styles) -> list[Any]:
    surge = NONE if one.surge_times is None else f"{one.surge_times:.2g} ×"
    surge += "" if one.surge_s is None else f", {one.surge_s:.2g} s"
    lasted = f", lasted {duration(one.lasted_s)}" if one.lasted_s is not None else ""
    name = one.name + lasted + (" (p)" if one.provisional else "")
    band = f"{figure(one.low_w)} to {figure(one.high_w)} ({one.readings})"
    return [
        _small(style, name), _small(style, figure(one.watts)), _small(style, figure(one.amps)), _small(style, f"{one.volts:g}"),
        _small(style, band), _small(style, surge),
    ]  # fmt: skip


def always_table(lines: Iterable[AlwaysOn], banks: Iterable[Bank], style: Styles, width: float) -> Iterator[Any]:
    for bank in banks:
        yield KeepTogether([Paragraph(escape(unbroken(sentence(bank))), style.text)])
    yield Spacer(0, 2 * mm)
    rows = list(lines)
    if not rows:
        yield Paragraph("Nothing is written as always on.", style.text)
    else:
        columns = [width * share for share in (0.08, 0.24, 0.5, 0.18)]
        body: list[list[Any]] = [heads(style.small, "Way", "What, and why it stays on", "If it is lost", "Draws")]
        for row in rows:
            life = f"{boxed(LIFE, style.face)} " if row.life else ""
            what = [Paragraph(life + escape(row.purpose), style.bold), *_small(style, row.reason)]
            what += _small(style, f"behind: {', '.join(row.behind)}" if row.behind else "")
            floor = "floor not known" if row.floor_w is None else f"floor {figure(row.floor_w)} W"
            floor += {"record": ", measured", "schedule": ", as written"}.get(row.floor_from, "")
            daily = "its day not known" if row.daily_wh is None else f"{row.daily_wh:.0f} Wh a day"
            body.append(
                [
                    place(row.position, style, columns[0]),
                    what,
                    Paragraph(escape(row.lost), style.text),
                    _small(style, floor, daily),
                ]
            )
        yield ruled(body, columns, TOP, long_rows=style.long_rows)


def watched_table(rows: Iterable[Watched], style: Styles, width: float) -> Any:
    columns = [width * share for share in (0.08, 0.14, 0.32, 0.17, 0.29)]
    body: list[list[Any]] = [
        heads(
            style.small,
            "Way",
            "Purpose",
            "Found (within)",
            "Only with something else, or it may be missed",
            "Not found: why",
        )
    ]
    for row in rows:
        unseen = [Paragraph(escape(unbroken(text)), style.tiny) for text in row.unseen] or _small(style, NONE)
        body.append(
            [place(row.position, style, columns[0]), _small(style, row.purpose),
             Paragraph(escape(unbroken("; ".join(row.found) or NONE)), style.tiny),
             Paragraph(escape(unbroken("; ".join(row.together) or NONE)), style.tiny), unseen]
        )  # fmt: skip
    return ruled(body, columns, TOP, long_rows=style.long_rows)
