"""Per way: its device, its sentence, its coordination diagram and its margins; and the volts of each branch."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from html import escape

from panelward.ratings.curves import Bears, bears
from panelward.review import page_story
from panelward.review.band import inside
from panelward.review.drawn_rest import volts as drawn_volts
from panelward.review.drawn_way import OPENED, coordination, seen
from panelward.review.page_parts import UNKNOWN, chip, figure, lasting, number, paragraph, plural, share, table
from panelward.review.page_sheet import Sheet
from panelward.review.report import Held, Margin, Opening, Volts

RATED, ALLOWED = "The way is rated", "The maker allows"
_LACKING = {RATED: "what the way is rated for", ALLOWED: "what the load's maker allows",
            "The conductor bears": "what the conductor bears"}  # fmt: skip
TOLD_S = (10.0, 60.0, 600.0, 3600.0, 10_800.0)
_NEAR = 0.2  # a device is loaded to 80 % for long at most (the 80 % rule for continuous loads, NEC 210.20(A))
_KEY = (
    ('<path d="M0 1h44v12H0z" fill-opacity=".16" stroke="currentColor" stroke-width=".8"/>',
     "the device's own band: it opens in here"),
    ('<path d="M0 7h44" stroke="currentColor" stroke-width="2.2" stroke-dasharray="9 4"/>',
     "the conductor: to its insulation's limit"),
    ('<path d="M0 7h44" stroke="currentColor" stroke-width="2.2" stroke-dasharray="2 3"/>',
     "the conductor in a short circuit, k²S²"),
    ('<path d="M0 7h44" stroke="currentColor" stroke-width="1.8"/><circle cx="22" cy="7" r="3.5"/>',
     "the largest mean current held for so long"),
    ('<circle cx="22" cy="7" r="6" fill="none" stroke="var(--red)" stroke-width="2"/>', "red ring: within the band or beyond"),
    ('<path d="M16 1l12 12M28 1L16 13" stroke="var(--red)" stroke-width="2.4"/>', "red cross: it opened, after so much"),
)  # fmt: skip


def ways(sheet: Sheet) -> Iterator[str]:
    report = sheet.report
    yield sheet.heading("margins")
    yield from (text for text in sheet.said("margins") if text)
    margins = {each.way: each for each in report.margins}
    if margins:
        yield _nearest(sheet)
        key = "".join(f'<li><svg viewBox="0 0 44 14" aria-hidden="true">{mark}</svg> {text}</li>' for mark, text in _KEY)
        yield paragraph("In each diagram, amps run across and time upwards. The distance between curve and band is the margin.")
        yield f'<ul class="key">{key}</ul>'
    for at, way in enumerate(report.ways, 1):
        if sheet.anchor(way) is None:
            continue
        openings = [each for each in report.openings if each.way == way]
        yield from _way(sheet, way, margins.get(way), openings, at)


def _nearest(sheet: Sheet) -> str:
    """Who is nearest to its limit, first."""
    rows = sorted(sheet.report.margins, key=lambda each: (each.least_margin is None, each.least_margin or 0.0))
    return table(
        "Margins, the least first",
        ("Way", "Least margin", "Heaviest minute", "Fitted", "Conductor"),
        (
            (
                sheet.head(each.way),
                share(each.least_margin),
                number(each.worst_minute_a, "A"),
                number(each.fitted_a, "A") if each.device else "no device known",
                number(each.ampacity_a, "A"),
            )
            for each in rows
        ),
        folds=True,
        marked=[each.least_margin is not None and each.least_margin < 0.0 for each in rows],
        shown="Margins, the least first: what its heaviest minute left of what the device carries in its place.",
    )


def _way(sheet: Sheet, way: str, margin: Margin | None, openings: list[Opening], at: int) -> Iterator[str]:
    entry = sheet.entries.get(way)
    yield f'<section class="way" aria-labelledby="way-{at}"><h3 id="way-{at}">{escape(sheet.name(way))}</h3>'
    if entry is not None and (entry.device.text or entry.conductor):
        parts = [
            chip(entry.device) if entry.device.text else "",
            escape(entry.conductor),
            "ALWAYS ON" if entry.always_on else "",
        ]
        yield f'<p class="device">{" · ".join(part for part in parts if part)}</p>'
    story = "".join(page_story.of_way(sheet, way))
    if story:
        yield f'<div class="told">{story}</div>'
    if margin is None:
        yield sheet.none("Its currents are not known.")
    else:
        sentence, red = said(margin)
        yield paragraph(sentence, "pencil" if red else "")
        yield from _above(sheet, margin)
        circuit = sheet.circuits.get(way)
        limit: Bears | None = bears(sheet.schedule, circuit) if circuit is not None and circuit.conductor else None
        drawing = coordination(sheet.name(way), margin, limit, openings, key=f"w{at}")
        if drawing:
            yield figure(drawing, _met(margin, openings))
        yield _margins(sheet, margin)
    yield "</section>"


def said(margin: Margin) -> tuple[str, bool]:
    """Its margin in a sentence, and whether it is for the red pencil."""
    least, minute = margin.least_margin, margin.worst_minute_a
    if least is None or minute is None:
        why = "no device is known for it" if margin.device is None else "too little of it was read"
        return f"How near it came to its limit is not known: {why}.", False
    device = f"what its {margin.device or 'device'} carries for long in that place"
    if least < 0.0:
        return f"Its heaviest minute, {number(minute, 'A')}, was {share(-least)} more than {device}.", True
    near = " That is near." if least < _NEAR else ""
    return f"Its heaviest minute, {number(minute, 'A')}, left {share(least)} of {device}.{near}", False


def _above(sheet: Sheet, margin: Margin) -> Iterator[str]:
    """A device above what it should guard."""
    circuit = sheet.circuits.get(margin.way)
    exempt = circuit.protection.exemption if circuit is not None and circuit.protection is not None else None
    for limit, of in ((margin.ampacity_a, "its conductor bears in that place"), (margin.way_max_a, "the way is rated for"),
                      (margin.maker_a, "the load's maker allows")):  # fmt: skip
        if limit is not None and margin.fitted_a is not None and margin.fitted_a > limit * 1.0001:
            allowed = of.startswith("its conductor") and exempt is not None
            text = f"Fitted: {number(margin.fitted_a, 'A')}, more than the {number(limit, 'A')} that {of}."
            if allowed and exempt is not None:
                text += f" Written down as allowed by {exempt.rule}, {exempt.edition}: {exempt.why}."
            yield paragraph(text, "" if allowed else "pencil")


def _met(margin: Margin, openings: list[Opening]) -> str:
    within, beyond = inside(margin)
    parts = []
    if beyond:
        longest = beyond[-1]
        parts.append(
            f"{number(longest.amps, 'A')} held for {lasting(longest.seconds)}: its standard's device would have opened."
        )
    elif within:
        longest = within[-1]
        parts.append(f"{number(longest.amps, 'A')} held for {lasting(longest.seconds)}: there it may open.")
    marked = seen(margin, openings)
    if marked:
        parts.append("It opened after " + ", ".join(number(each.amps_before, "A") for each in marked) + ".")
    unseen = sum(each.kind == OPENED for each in openings) - len(marked)
    if unseen:
        parts.append(f"It opened {plural(unseen, 'time')} at a current that was not read: between two readings.")
    if not margin.band:
        parts.append("No standard publishes a band for this device." if margin.device else "No device is known.")
    return " ".join(parts) or "What was held stays left of the band."


def _margins(sheet: Sheet, margin: Margin) -> str:
    life = f"{share(margin.fuse_life)}, an estimate" if margin.fuse_life is not None else "not observable"
    rows = (
        ("Device fitted", margin.device or UNKNOWN),
        ("Least margin", share(margin.least_margin)),
        ("Heaviest minute", number(margin.worst_minute_a, "A")),
        ("Heaviest 3 h", number(margin.worst_3h_a, "A")),
        ("99.9 % are below", number(margin.p999_a, "A")),
        ("Above 80 % of it", lasting(margin.hours_above_80 * 3600) if margin.hours_above_80 else _never(margin)),
        ("The conductor bears", _conductor(margin)),
        ("Hottest, reckoned", _hottest(margin)),
        (RATED, number(margin.way_max_a, "A")),
        (ALLOWED, number(margin.maker_a, "A")),
        ("Used up by starts", life),
    )
    name = sheet.name(margin.way)
    known = [row for row in rows if row[1] != UNKNOWN]
    lacking = [_LACKING.get(row[0], row[0][0].lower() + row[0][1:]) for row in rows if row[1] == UNKNOWN]
    out = "<div>" + table(f"Margins of {name}", ("What", "Figure"), known, shown="Margins", words=(0, 1)) if known else "<div>"
    if margin.held:
        rows_held = (
            (lasting(each.seconds), number(each.amps, "A"), sheet.clock.short(each.at_ms)) for each in told(margin.held)
        )
        shown = "The largest mean current held for so long"
        out += table(f"Held by {name}", ("Held for", "Current", "From"), rows_held, shown=shown, words=(0, 2))
    if lacking:
        out += paragraph(f"Not known: {', '.join(lacking)}.", "small")
    return out + "</div>"


def told(held: Sequence[Held]) -> list[Held]:
    """Of a long curve the round times and the shortest: all of them stand in the drawing and its description."""
    round_s = [each for each in held if each.seconds in TOLD_S]
    if len(held) <= len(TOLD_S) + 1 or len(round_s) < 2:
        return list(held)
    return ([held[0]] if held[0].seconds not in TOLD_S else []) + round_s


def _never(margin: Margin) -> str:
    return UNKNOWN if margin.hours_above_80 is None else "never"


def _conductor(margin: Margin) -> str:
    rule = f", {margin.ampacity_rule}" if margin.ampacity_rule and margin.ampacity_a is not None else ""
    return number(margin.ampacity_a, "A") + rule


def _hottest(margin: Margin) -> str:
    if margin.conductor_c is None:
        return number(None)
    of = f" of {margin.insulation_c:.0f}" if margin.insulation_c is not None else ""
    return f"{margin.conductor_c:.0f}{of} °C"


def volts(sheet: Sheet) -> Iterator[str]:
    report = sheet.report
    yield sheet.heading("volts")
    yield from sheet.said("volts")
    if not report.volts:
        yield sheet.none("No volts were read.", "volts")
        return
    supplies = list(dict.fromkeys(_supply(sheet, each.way) for each in report.volts))
    for at, supply in enumerate(supplies):
        rows = _lines(sheet, [each for each in report.volts if _supply(sheet, each.way) == supply])
        drawing = drawn_volts(rows, key=f"volts{at}", of=supply if len(supplies) > 1 else "")
        if drawing:
            of = f"Supply {supply}: how" if len(supplies) > 1 else "How"
            yield figure(
                drawing, f"{of} long each branch stood at which volts. Red dashes: what is too low; red ink: below it."
            )
    sensed = [
        line
        for supply in supplies
        for line in _lines(sheet, [each for each in report.volts if _supply(sheet, each.way) == supply], supply=supply)
    ]
    yield table(
        "Volts where they are sensed",
        ("Where", "Time too low", "below", "5 % were below", "Middle"),
        (
            (
                name,
                share(each.low_share),
                number(each.low_v, "V"),
                number(each.p05_v, "V"),
                number(each.p50_v, "V"),
            )
            for name, each in sensed
        ),
        folds=True,
        marked=[bool(each.low_share and each.low_share > 0.01) for _, each in sensed],
    )
    lost = [each for each in report.volts if each.drop_at_p95_v is not None]
    if lost:
        yield table(
            "Volts lost in the conductor",
            ("Way", "Lost"),
            ((sheet.head(each.way), number(each.drop_at_p95_v, "V")) for each in lost),
            shown="Lost in the conductor of each way, reckoned, at a high draw of its own (95 % of its time drawing is below).",
        )


def _supply(sheet: Sheet, way: str) -> str:
    return sheet.circuits[way].supply if way in sheet.circuits else ""


def _lines(sheet: Sheet, found: Sequence[Volts], *, supply: str = "") -> list[tuple[str, Volts]]:
    """A line a branch; one for all that are sensed at the bus: it is the same volts."""
    bus = [each for each in found if each.volts_at == "bus"]
    best = max(bus, key=lambda each: sum(each.counts), default=None)
    out = [(sheet.name(each.way), each) for each in found if each.volts_at != "bus"]
    if best is not None:
        bus_name = f"the bus of {supply}" if supply else "the bus"
        of = f"{bus_name}, read at {plural(len(bus), 'way')}" if len(bus) > 1 else sheet.name(best.way)
        out.insert(0, (of, best))
    return out
