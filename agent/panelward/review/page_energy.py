"""What used the energy, when, and while the vehicle did what."""

from __future__ import annotations

from collections.abc import Iterator
from html import escape

from panelward.review.drawn_rest import busiest, hours
from panelward.review.page_parts import Safe, figure, folded, number, safe, share, table
from panelward.review.page_sheet import Sheet, order
from panelward.review.report import Energy

_WHAT = {"inverter-loss": "lost in the inverter", "unassigned": "no circuit accounts for it", "meter": "the bank's meter"}
_DOING = ("under-way", "at-rest", "outside-supply", "lights-out", "nobody-aboard", "unknown")


def energy(sheet: Sheet) -> Iterator[str]:
    report = sheet.report
    yield sheet.heading("energy")
    yield from sheet.said("energy")
    rows = in_order(sheet)
    if not rows:
        yield sheet.none("No energy was read.", "energy")
        return
    earlier = report.before
    if earlier is not None:
        before = f"beside the journey before, {sheet.clock.day(earlier.from_ms)} to {sheet.clock.day(earlier.to_ms)}"
    else:
        before = "in panel order; there is no journey before to set beside it"
    yield table(
        "Energy of each way, in panel order",
        ("Way", "Wh", "Wh a day", *(["before, Wh a day"] if earlier else []), "of all", "read"),
        (
            (
                _head(sheet, each),
                _wh(each),
                shown(each, each.wh_per_day),
                *([number(each.before_wh_per_day)] if earlier else []),
                _share(each),
                share(each.read_share),
            )
            for each in rows
        ),
        shown=f"Wh of each way, {before}. Unread time is not known, not zero.",
        folds=True,
    )


def _share(each: Energy) -> str:
    """Of all that was drawn; a charger brings, a meter sees all, and what a feed carries on is counted where it ends."""
    if each.what in ("charger", "meter"):
        return ""
    if each.share is None and each.energy_wh is not None:
        return "" if each.what == "unassigned" else "counted with others"
    return share(each.share)


def in_order(sheet: Sheet) -> list[Energy]:
    return sorted(sheet.report.energy, key=lambda each: (each.what == "meter", order(sheet.report.ways, each.way)))


def _head(sheet: Sheet, each: Energy) -> Safe:
    what = _WHAT.get(each.what, "" if each.way is not None else each.what)
    head = sheet.head(each.way, label=each.label)
    if each.what == "charger":
        what = "a charger: brought in"
    said = what and what.casefold() != each.label.casefold()
    return Safe(f'{head}<br> <span class="small">{escape(what)}</span>') if said else head


def _name(sheet: Sheet, each: Energy) -> str:
    """One way may have two rows: what it took, and what it lost."""
    return f"{each.way or ''} {each.label or sheet.labels.get(each.way or '', '')}".strip()


def _wh(each: Energy) -> str:
    # Two standard deviations: what the sentence above holds it to.
    error = f" ± {number(2.0 * each.sd_wh)}" if each.sd_wh is not None and each.energy_wh is not None else ""
    return Safe(f"{safe(shown(each, each.energy_wh))}{error}")


def shown(each: Energy, wh: float | None) -> str:
    """Below nothing no load draws: that is its sensor's zero."""
    below = wh is not None and wh < 0.0 and each.what in ("circuit", "inverter-loss", "charger")
    return number(0.0 if below else wh)


def when(sheet: Sheet) -> Iterator[str]:
    yield sheet.heading("when")
    yield from sheet.said("when")
    rows = [(_name(sheet, each), each) for each in in_order(sheet) if any(each.by_hour_wh)]
    if not rows:
        yield sheet.none("No energy was read.", "when")
        return
    yield '<div class="beside">'
    yield figure(hours(rows), "Each line against its own largest hour: it shows when, not how much. Local hours.")
    yield table(
        "The busiest hour of each way",
        ("Way", "Busiest hour", "Wh in it", "from 22 to 6"),
        ((_head(sheet, each), _hour(each), shown(each, max(each.by_hour_wh)), share(_night(each))) for _, each in rows),
        words=(0, 1),
    )
    yield "</div>"
    yield folded(
        "Wh in each hour of the day, way by way",
        table(
            "Wh in each local hour of the day",
            ("Way", *(str(hour) for hour in range(24))),
            ((_head(sheet, each), *(shown(each, wh) for wh in each.by_hour_wh)) for _, each in rows),
        ),
    )


def _hour(each: Energy) -> str:
    hour = busiest(each)
    return f"{hour} to {hour + 1} h".replace(" ", "\u00a0") if hour is not None else "none"


def _night(each: Energy) -> float | None:
    whole = sum(each.by_hour_wh)
    if whole <= 0.0 or min(each.by_hour_wh) < -0.05 * whole:
        return None  # what is about nothing has no share
    return max(0.0, sum(wh for hour, wh in enumerate(each.by_hour_wh) if hour >= 22 or hour < 6) / whole)


def doing(sheet: Sheet) -> Iterator[str]:
    yield sheet.heading("doing")
    yield from sheet.said("doing")
    rows = [each for each in in_order(sheet) if each.by_doing_wh]
    found = {name for each in rows for name, _ in each.by_doing_wh}
    names = [*(name for name in _DOING if name in found), *sorted(found - set(_DOING))]
    if not rows:
        yield sheet.none("What the vehicle was doing is not known.", "doing")
        return
    yield table(
        "Wh of each way by what the vehicle was doing",
        ("Way", *({"shore": "on shore", "unknown": "not known"}.get(name, name) for name in names)),
        ((_head(sheet, each), *(shown(each, dict(each.by_doing_wh).get(name, 0.0)) for name in names)) for each in rows),
    )
