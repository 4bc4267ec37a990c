"""What used the energy, when, and while the vehicle did what."""

from __future__ import annotations

from collections.abc import Iterator
from html import escape

from panelward.review.drawn_rest import busiest, hours
from panelward.review.page_parts import Safe, figure, folded, number, safe, share, table
from panelward.review.page_sheet import Sheet, order
from panelward.review.report import Energy

_WHAT = {"inverter-loss": "lost in the inverter", "unassigned": "no circuit accounts for it", "meter": "the bank's meter"}
_DOING = ("driving", "parked", "shore", "asleep", "away", "unknown")


def energy(sheet: Sheet) -> Iterator[str]:
    report = sheet.report
    yield sheet.heading("energy")
    yield from sheet.said("energy")
    rows = in_order(sheet)
    if not rows:
        yield sheet.none("No energy was read.")
        return
    heads = ["Way", "Wh", "Wh a day", "before, Wh a day", "of all", "read"]
    before = (
        f" Before: {sheet.clock.day(report.before.from_ms)} to {sheet.clock.day(report.before.to_ms)}." if report.before else ""
    )
    yield table(
        "Energy of each way, in panel order",
        heads,
        (
            (
                _head(sheet, each),
                _wh(each),
                number(each.wh_per_day),
                number(each.before_wh_per_day),
                share(each.share) if each.what in ("circuit", "inverter-loss", "unassigned") else "",
                share(each.read_share),
            )
            for each in rows
        ),
        shown=f"Wh of each way, beside the journey before.{before} Unread time is not known, not zero.",
    )


def in_order(sheet: Sheet) -> list[Energy]:
    return sorted(sheet.report.energy, key=lambda each: order(sheet.report.ways, each.way))


def _head(sheet: Sheet, each: Energy) -> Safe:
    what = _WHAT.get(each.what, "" if each.way is not None else each.what)
    head = sheet.head(each.way, label=each.label)
    if each.what == "charger":
        what = "a charger: brought in"
    return Safe(f'{head}<br> <span class="small">{escape(what)}</span>') if what else head


def _wh(each: Energy) -> str:
    error = f" ± {number(each.sd_wh)}" if each.sd_wh is not None and each.energy_wh is not None else ""
    return Safe(f"{safe(number(each.energy_wh))}{error}")


def when(sheet: Sheet) -> Iterator[str]:
    yield sheet.heading("when")
    yield from sheet.said("when")
    rows = [(sheet.name(each.way) if each.way else each.label, each) for each in in_order(sheet) if any(each.by_hour_wh)]
    if not rows:
        yield sheet.none("No energy was read.")
        return
    yield '<div class="beside">'
    yield figure(hours(rows), "Each line against its own largest hour: it shows when, not how much. Local hours.")
    yield table(
        "The busiest hour of each way",
        ("Way", "Busiest hour", "Wh in it", "from 22 to 6"),
        ((_head(sheet, each), _hour(each), number(max(each.by_hour_wh)), share(_night(each))) for _, each in rows),
        words=(0, 1),
    )
    yield "</div>"
    yield folded(
        "Wh in each hour of the day, way by way",
        table(
            "Wh in each local hour of the day",
            ("Way", *(str(hour) for hour in range(24))),
            ((_head(sheet, each), *(number(wh) for wh in each.by_hour_wh)) for _, each in rows),
        ),
    )


def _hour(each: Energy) -> str:
    hour = busiest(each)
    return f"{hour}:00 to {hour + 1}:00" if hour is not None else "none"


def _night(each: Energy) -> float | None:
    whole = sum(each.by_hour_wh)
    return sum(wh for hour, wh in enumerate(each.by_hour_wh) if hour >= 22 or hour < 6) / whole if whole else None


def doing(sheet: Sheet) -> Iterator[str]:
    yield sheet.heading("doing")
    yield from sheet.said("doing")
    rows = [each for each in in_order(sheet) if each.by_doing_wh]
    found = {name for each in rows for name, _ in each.by_doing_wh}
    names = [*(name for name in _DOING if name in found), *sorted(found - set(_DOING))]
    if not rows:
        yield sheet.none("What the vehicle was doing is not known.")
        return
    yield table(
        "Wh of each way by what the vehicle was doing",
        ("Way", *({"shore": "on shore", "unknown": "not known"}.get(name, name) for name in names)),
        ((_head(sheet, each), *(number(dict(each.by_doing_wh).get(name, 0.0)) for name in names)) for each in rows),
    )
