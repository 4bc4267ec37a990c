"""What other conductors, devices and banks would have made of a journey, in sentences."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import inf

from panelward.ratings.devices import family
from panelward.records import Protection
from panelward.rehearse.bank import BankAnswer, CutOffs
from panelward.rehearse.openings import Openings, Overload
from panelward.rehearse.told import CERTAIN, PERCENTS, SHOWN, many, percent, unshown
from panelward.rehearse.varied import Judged
from panelward.wording import say

ON_ITS_VOLTS = "{name}: the alarms are reckoned on the volts of the bank that is there; another would have stood otherwise."


# Conductors.


def conductor(judged: Judged, zone: str) -> Iterator[str]:
    """What is lost on its way, before and after; brown-outs."""
    if not judged.relaid:
        return
    old, new = judged.old, judged.new
    if judged.readings == 0:
        yield f"{judged.title}: no reading of it here, so nothing can be said of it."
        return
    was, now = old.losses.percentile(CERTAIN), new.losses.percentile(CERTAIN)
    if was is None:
        yield f"{judged.title}: it drew nothing here, so nothing was lost on its conductor."
        return
    yield (
        f"{judged.title}: drop at the {CERTAIN}th percentile {percent(was)} -> {percent(now)} of {judged.nominal_v:g} V, "
        f"at the most {percent(old.losses.most)} -> {percent(new.losses.most)}, over {_hours(old.losses.seconds)} of drawing."
    )
    if old.losses.lowest_v is not None and new.losses.lowest_v is not None:
        where = "end" if judged.feeder or judged.charger else "load"
        yield (
            f"{judged.title}: at its {where} at the least {old.losses.lowest_v:.2f} V -> {new.losses.lowest_v:.2f} V, "
            f"{say.day_clock(new.losses.lowest_ms, zone)}."
        )
    if judged.charger:
        yield f"{judged.title}: a charger's current is taken as it was."
    else:
        yield from _brown_outs(judged, zone)
    if judged.fed_by:
        yield f"{judged.title}: {judged.fed_by}, which feeds it, is taken to draw as it did."
    if old.laid.chassis or new.laid.chassis:
        yield f"{judged.title}: it returns by the chassis, whose own share of the drop is not known and not in it."
    if judged.as_taken:
        yield f"{judged.title}: {judged.as_taken}."
    if judged.without_volts:
        yield f"{judged.title}: {many(judged.without_volts, 'reading')} without volts, reckoned at {judged.nominal_v:g} V."
    if judged.unreckoned:
        yield (
            f"{judged.title}: at {many(judged.unreckoned, 'reading')} more is lost on the listed conductor than the bus has: "
            "it is not the one on the list, or its length isn't. They are left as they were."
        )


def _brown_outs(judged: Judged, zone: str) -> Iterator[str]:
    if not judged.brown_outs:
        yield f"{judged.title}: no brown-out as varied: at every reading that conductor brings what its load asks for."
        return
    count = len(judged.brown_outs) + judged.more_brown_outs
    yield (
        f"{judged.title}: {many(count, 'brown-out')} as varied, {say.lasting(judged.brown_out_s)} together: its load asks for "
        "more than V² / 4R, the most that conductor can bring."
    )
    for each in judged.brown_outs[:SHOWN]:
        lasted = say.lasting(max(1.0, each.seconds))
        yield f"{judged.title}: browns out {say.day_clock(each.from_ms, zone)}, for {lasted}, asking for {each.watts:.0f} W."
    yield from unshown(count - min(SHOWN, len(judged.brown_outs)), "brown-out")


# Devices.


def devices(judged: Judged, zone: str, opened_ms: Sequence[int], opened: tuple[int, int]) -> Iterator[str]:
    """What the set of its device's type does on the current. `opened_ms`: when the fitted one was found to
    have opened; `opened`: how often, as it is and as varied.
    """
    old, new = judged.old.openings, judged.new.openings
    if new is None:
        return
    if judged.readings == 0:
        if judged.refitted and not judged.relaid:
            yield f"{judged.title}: no reading of it here, so nothing can be said of it."
        return
    alike = old is not None and _outcomes(old) == _outcomes(new)
    if alike and not (judged.relaid or judged.refitted):
        return  # behind a feeder that is another, and nothing comes of it
    if old is not None:
        yield f"{judged.title}, as it is: {_set_said(old)}"
    if old is not None and judged.cut_short(opened[0] > 0):
        yield from _cut_short(judged, old, new, zone, opened_ms)
        return
    if old is None or old.protection != new.protection:
        yield f"{judged.title}, as varied: {_set_said(new)}"
    elif not alike:
        yield f"{judged.title}, with that conductor: {_set_said(new)}"
    for side, name in ((old, "as it is"), (new, "as varied")):
        if side is not None and not (side is new and alike):
            yield from _overloads(judged, side, name, zone)
    smaller = old is not None and new.protection.fitted_a < old.protection.fitted_a
    if smaller and any(each.share for each in new.found):
        would = "would" if any(each.share == 1.0 for each in new.found) else "may"
        yield (
            f"{judged.title}: the readings go on where a {new.protection.fitted_a:g} A {would} have opened: its openings are "
            "those of the set, and the alarms know nothing of them."
        )
    if opened[1] < opened[0]:
        yield (
            f"{judged.title}: after its device opened nothing flowed in these readings, whatever hangs there: that fewer "
            "openings are told as varied is the watch's doubt, and no opening less."
        )


def _overloads(judged: Judged, side: Openings, name: str, zone: str) -> Iterator[str]:
    shown = [each for each in side.found if each.share or each.over]
    for each in shown[:SHOWN]:
        yield f"{judged.title}, {name}: {_overload(each, side.protection, zone)}"
    yield from unshown(len(shown) - min(SHOWN, len(shown)) + side.more, "overload")


def _cut_short(
    judged: Judged, old: Openings, new: Openings, zone: str, opened_ms: Sequence[int]
) -> Iterator[str]:  # fmt: skip
    """A bigger device where what flowed opened the one that is there, or may have: of it nothing is said."""
    yield from _overloads(judged, old, "as it is", zone)
    for at_ms in opened_ms[:SHOWN]:
        yield f"{judged.title}: {say.day_clock(at_ms, zone)} the {old.protection.fitted_a:g} A opened."
    may = "" if opened_ms else f"The {old.protection.fitted_a:g} A may have opened then. "
    yield (
        f"{judged.title}: {may}What would have flowed on into {new.protection.fitted_a:g} A was never read: of that nothing "
        "can be said, and it is no reason for a rise. Have the cause found."
    )


def _set_said(side: Openings) -> str:
    named = f"{side.protection.fitted_a:g} A {family(side.protection).word}"
    if not side.published:
        return (
            f"no opening times are published for its {side.protection.kind} of {side.protection.fitted_a:g} A: none is claimed."
        )
    overloads = [each for each in side.found if each.over or each.share]
    alone = ""
    if side.alone.count:
        each = "one reading, its length" if side.alone.count == 1 else "one reading each, their length"
        alone = f" {many(side.alone.count, 'single reading')} above it, up to {side.alone.most_a:.3g} A: {each} can't be known."
    if not overloads:
        if not (side.started.count or side.alone.count):
            return f"what flowed never reached the rating of its {named}."
        apart = "apart from starts" if side.started.count else "apart from single readings"
        if side.started.count and side.alone.count:
            apart += " and single readings"
        highest = f"the highest single reading was {side.most_a:.3g} A"
        return f"{apart}, what flowed never reached the rating of its {named}; {highest}.{alone}"
    held, starts = [each for each in overloads if each.over], [each for each in overloads if not each.over]
    said = [f"{many(len(held), 'overload')} of its {named}: {_done(held)}."] if held else []
    if starts:
        said.append(f"{many(len(starts), 'start')} above its {named}, of the listed length: {_done(starts)}.")
    return f"{' '.join(said)}{alone}"


def _done(overloads: Sequence[Overload]) -> str:
    every = sum(each.share == 1.0 for each in overloads)
    some = sum(0.0 < each.share < 1.0 for each in overloads)
    none = len(overloads) - every - some
    words = {"every device of its type's set opens": every, "it may open": some, "none of the set opens on what was read": none}
    return "; ".join(f"{word}{_in(count, len(overloads))}" for word, count in words.items() if count)


def _in(count: int, of: int) -> str:
    return "" if of == 1 else " each time" if count == of else f" in {count}"


def _overload(each: Overload, protection: Protection, zone: str) -> str:
    start = "" if each.over else "a start of "
    when = f"{say.day_clock(each.from_ms, zone)}, {start}up to {each.most_a:.3g} A on {protection.fitted_a:g} A"
    times = [each.after_s(p) for p in PERCENTS]
    if times[0] is None:
        return f"{when}: no opening times are published for it."
    if each.share == 0.0:
        return f"{when}: none of the set opens on what was read."
    if times[0] == inf:  # not even a tenth of it
        first = say.lasting(min(each.opened_s))
        return f"{when}: of the set {100.0 * each.share:.0f} % open, the first within {first}; the others may never."
    words = [f"P{p} {_within(t)}" for p, t in zip(PERCENTS, times, strict=True)]
    return f"{when}: opens {', '.join(words)} ({100.0 * each.share:.0f} % of the set)."


def _within(seconds: float | None) -> str:
    if seconds is None:
        return "not known"
    return "may never open" if seconds == inf else f"within {say.lasting(seconds)}"


def _outcomes(side: Openings) -> list[tuple[int, tuple[float, ...]]]:
    return [(each.from_ms, tuple(each.opened_s)) for each in side.found]


# Banks.


def bank(answer: BankAnswer, capacities: tuple[float, float], zone: str) -> Iterator[str]:
    """How often its cut-off would have acted; `capacities`: as it is and as varied."""
    name = f"Bank of {answer.supply}"
    if answer.cutoff_v is not None:
        yield (
            f"{name}, as it is: by its volts the low-voltage cut-off of {answer.cutoff_v:g} V {_acted(answer.acts_by_volts)}."
        )
    if answer.other_cutoff_v is not None and answer.other_cutoff_v != answer.cutoff_v:
        yield (
            f"{name}: at {answer.other_cutoff_v:g} V it would {_would(answer.other_acts_by_volts)}, by the volts as "
            "they were read."
        )
    before, after = answer.before, answer.after
    if capacities[0] == capacities[1]:
        return
    if before is None or after is None:
        yield f"{name}: by counted Ah it can't be known how often it would have acted: {answer.unknown}."
        yield from _swing(name, answer, capacities, zone)
        yield ON_ITS_VOLTS.format(name=name)
        return
    since = f" Known since {say.day_clock(answer.known_from_ms, zone)}." if answer.known_from_ms is not None else ""
    yield (
        f"{name}: drawn down by {before.most_ah:.0f} Ah at the most, {say.day_clock(before.most_ms, zone)} (the count may be "
        f"wrong by {answer.error_ah:.0f} Ah): {_of(before)} of {before.capacity_ah:g} Ah, {_of(after)} of "
        f"{after.capacity_ah:g} Ah.{since}"
    )
    least = "at least " if after.least and after.acts else ""
    told = ", ".join(say.day_clock(at_ms, zone) for at_ms in after.times_ms[:SHOWN])
    when = f": {told}, {after.cut_h:.0f} h without in all" if after.acts else ""
    by = {
        "table": "the table of its chemistry", "volts": "where it cut off as it is", "borne": "what it has borne as it is",
    }[answer.share_by]  # fmt: skip
    yield (
        f"{name}: with {after.capacity_ah:g} Ah the cut-off would {_would(after.acts, least)} by counted Ah{when}. "
        f"It cuts off at {100.0 * answer.share:.0f} % drawn, by {by}."
    )
    if answer.share_by == "table" and before.acts != answer.acts_by_volts:
        yield (
            f"{name}: by that count the bank as it is {_acted(before.acts)}, by its volts it {_acted(answer.acts_by_volts)}: "
            "they don't agree, so take the count as a bound only."
        )
    if after.least:
        yield f"{name}: what the loads that were cut off would have drawn on was never read: it may be more often."
    yield ON_ITS_VOLTS.format(name=name)


def _swing(name: str, answer: BankAnswer, capacities: tuple[float, float], zone: str) -> Iterator[str]:
    """What it gave at the least, wherever it began."""
    if answer.swing_ah is None:
        return
    was, now = (f"{100.0 * answer.swing_ah / ah:.0f} % of {ah:g} Ah" for ah in capacities)
    by = say.day_clock(answer.swing_ms, zone)
    yield f"{name}: from its fullest to its emptiest here it gave {answer.swing_ah:.0f} Ah, by {by}: {was}, {now}."
    if answer.swing_acts:
        yield f"{name}: that is more than {capacities[1]:g} Ah can give: it would have been cut off once at the least."


def _of(side: CutOffs) -> str:
    return f"{100.0 * side.most_ah / side.capacity_ah:.0f} %"


def _acted(count: int) -> str:
    return "never acted" if count == 0 else f"acted {_times(count)}"


def _would(count: int, least: str = "") -> str:
    return "never have acted" if count == 0 else f"have acted {least}{_times(count)}"


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"


def _hours(seconds: float) -> str:
    return say.lasting(seconds)
