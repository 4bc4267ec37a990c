"""What a review can't say, before all else: what was not read, doubts about the clock, what the sensing can't show."""

from __future__ import annotations

from collections.abc import Iterator

from panelward.review.report import Sentence
from panelward.review.told import Known
from panelward.wording.past import lasting, listed, short

UNREAD_TOLD = 0.01  # of the span; less is told in the table only
UNREAD_S = 3600.0


def cannot_say(known: Known) -> tuple[Sentence, ...]:
    found = list(_unread(known))
    for at_ms, by_ms in known.clock_sets:
        direction = "forward" if by_ms > 0 else "back"
        found.append(
            Sentence(text=f"The clock was set {direction} by {lasting(abs(by_ms) / 1000)}: times near it may be off.", at_ms=at_ms, about="trust")
        )  # fmt: skip
    found += known.doubts
    found += _not_sensed(known)
    if known.alarms_known:
        found.append(Sentence(text=known.alarms_known, about="alarms"))
    if known.before is None:
        found.append(Sentence(text="No journey before this one is kept: there is nothing to compare it with.", about="changes"))
    elif known.compared != "the journey before":
        found.append(
            Sentence(text=f"No journey before this one is known: it is compared with {known.compared}.", about="changes")
        )
    if not known.record:
        found.append(
            Sentence(text="No commissioning record was given: ageing is told without what was measured then.", about="ageing")
        )
    if known.tides and all(t.charge_ah is None for t in known.tides):
        found.append(
            Sentence(text="How full the bank was is not known: it was never seen full, or too long ago to count on from there.", about="bank")
        )  # fmt: skip
    if any(e.by_doing_wh and {name for name, _ in e.by_doing_wh} <= {"unknown", "lights-out"} for e in known.energy):
        found.append(
            Sentence(text="Whether it drove or stood can't be told: no ignition, engine or outside supply is among what is read.", about="doing")
        )  # fmt: skip
    return tuple(found)


def _unread(known: Known) -> Iterator[Sentence]:
    if not known.readings:
        yield Sentence(text="No reading lies in this time: nothing can be said of any way.", about="trust")
        return
    whole_s = (known.span.to_ms - known.span.from_ms) / 1000
    never = [c.way for c in known.coverage if c.read_s <= 0.0]
    if never:
        yield Sentence(text=f"Never, or hardly ever, read: {listed([known.label(w) for w in never])}.", about="trust")
    much = [c for c in known.coverage if c.read_s > 0.0 and c.unread_s >= max(60.0, min(UNREAD_S, UNREAD_TOLD * whole_s))]
    if much:
        alike = {round(c.unread_s / 360) for c in much}
        if len(alike) == 1 and len(much) > 1:
            yield Sentence(
                text=f"{len(much)} ways were not read for {lasting(much[0].unread_s)} in all.", at_ms=much[0].longest_from_ms, about="trust"
            )  # fmt: skip
        else:
            most = max(much, key=lambda c: c.unread_s)
            others = f"; {len(much) - 1} more ways for less" if len(much) > 1 else ""
            yield Sentence(
                text=f"{known.label(most.way)} was not read for {lasting(most.unread_s)} in all{others}.", way=most.way, at_ms=most.longest_from_ms, about="trust"
            )  # fmt: skip
    late = sum(c.late_readings for c in known.coverage)
    if late:
        yield Sentence(text=f"{late:,} readings came too late to be put in their place, and are in no figure.", about="trust")


def _not_sensed(known: Known) -> Iterator[Sentence]:
    bus = [v for v in known.volts if v.volts_at == "bus"]
    if bus and len(bus) == len(known.volts):
        yield Sentence(text="Volts are sensed at the bus only: a bad joint or cable behind it does not show.", about="volts")
    held = [c.label for c in known.schedule.circuits if c.sense.publishes == "on-change"]
    if held:
        yield Sentence(
            text=f"{listed([short(x) for x in held])} speak only when something changes: silence and no change look alike.",
            about="trust",
        )
    mean = [c.label for c in known.schedule.circuits if c.sense.reports == "mean"]
    if mean:
        yield Sentence(text=f"{listed([short(x) for x in mean])} report means: short peaks are not in them.", about="margins")
