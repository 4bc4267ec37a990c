"""A review's report made by hand, for the pages alone: every figure is invented, and bears no relation to another."""

from __future__ import annotations

import math
import random
from pathlib import Path
from typing import Any

from panelward.ratings.curves import ampacity_of
from panelward.ratings.devices import GATES, set_names
from panelward.records import Circuit, Schedule
from panelward.review.report import (
    Ageing,
    Band,
    Change,
    Charge,
    Coverage,
    Down,
    Energy,
    Episode,
    Held,
    Journey,
    Judged,
    Margin,
    Nights,
    Opening,
    Piece,
    Report,
    Saving,
    Sentence,
    Span,
    Tide,
    Volts,
)
from panelward.schedule import load

VAN = Path(__file__).parent.parent.parent / "config" / "survey-van.toml"
FROM_MS = 1_777_838_400_000  # 2026-05-03T20:00:00Z
HOUR_MS, DAY_MS = 3_600_000, 86_400_000


def schedule() -> Schedule:
    return load(VAN)[0]


def at(day: float) -> int:
    return FROM_MS + round(day * DAY_MS)


def empty(plan: Schedule | None = None, **keys: Any) -> Report:
    """Nothing is known of anything."""
    base: dict[str, Any] = {
        "vehicle": "Survey van", "vehicle_id": "survey-van", "timezone": "Europe/Oslo", "version": "0.1.0",
        "schedule_sha256": "5" * 64, "record_sha256": None, "made_ms": at(31),
        "span": Span(from_ms=FROM_MS, to_ms=at(30), how="the last journey"), "before": None, "journeys": (), "readings": 0,
        "source": "journal", "ways": (), "labels": (), "cannot_say": (), "happened": (), "more_happened": 0, "coverage": (),
        "lines": (), "energy": (), "openings": (), "down": (), "changes": (), "ageing": (), "margins": (), "volts": (),
        "tides": (), "nights": (), "savings": (), "charge": (), "judged": (), "answers": (),
    }  # fmt: skip
    if plan is not None:
        base |= {
            "ways": tuple(each.id for each in _ways(plan)),
            "labels": tuple((each.id, each.label) for each in plan.circuits),
        }
    return Report(**(base | keys))


def _ways(plan: Schedule) -> list[Circuit]:
    return [each for each in plan.circuits if each.role != "meter"]


def unknown(plan: Schedule) -> Report:
    """A row of everything, and None wherever it may stand."""
    ways = [each.id for each in _ways(plan)]
    first = ways[0]
    nothing: dict[str, Any] = dict.fromkeys(
        ("device", "fitted_a", "ampacity_a", "ampacity_rule", "way_max_a", "maker_a", "worst_minute_a", "worst_3h_a", "p999_a",
         "hours_above_80", "least_margin", "conductor_c", "insulation_c", "fuse_life")
    )  # fmt: skip
    return empty(
        plan,
        coverage=tuple(Coverage(way=way, read_s=0.0, unread_s=30 * 86_400.0, late_readings=0) for way in ways),
        lines=tuple((way, (Piece(from_ms=FROM_MS, to_ms=at(30), what="unread"),)) for way in ways),
        energy=tuple(
            Energy(way=way, what="circuit", label="", energy_wh=None, wh_per_day=None, share=None, read_share=0.0)
            for way in ways
        ),
        openings=(
            Opening(
                way=first, at_ms=at(1), ended_ms=None, cause=None, confidence=None, amps_before=None, celsius=None, volts=None,
                answered_ms=None, answer=None, alarm_id=None,
            ),
        ),
        down=(Down(way=first, down_s=0.0, read_s=0.0, causes=()),),
        ageing=(
            Ageing(
                way=first, metric="standby_w", record=None, now=1.0, slope_per_month=0.0, low=-1.0, high=1.0, limit=None,
                weeks_p10=None, weeks_p50=None, weeks_p90=None, unit="W",
            ),
        ),
        margins=tuple(Margin(way=way, **nothing) for way in ways),
        volts=(Volts(way=first, volts_at="bus", low_share=None, low_v=11.5, p05_v=None, p50_v=None, drop_at_p95_v=None),),
        tides=(Tide(at_ms=at(0.4), which="dawn", charge_ah=None, in_ah=0.0, out_ah=0.0, least_v=None, unread_s=3600.0),),
        nights=(Nights(scenario="none", p10=None, p50=None, p90=None, why_not="no charge was counted"),),
        savings=(Saving(way=first, wh_per_day=3.0, nights_more_p50=None),),
        judged=(
            Judged(
                alarm_id="x", way=None, kind="drill", priority="low", began_ms=at(1), told_ms=None, seen_ms=None, over_ms=None,
                delay_s=None, verdict="unknown", why="",
            ),
        ),
    )  # fmt: skip


def journey(plan: Schedule, *, days: int = 30, seed: int = 3) -> Report:
    """A month with an opening, a device too large, a lost feed, a rising standby and a night without readings."""
    dice = random.Random(seed)
    ways = _ways(plan)
    whole_s = days * 86_400.0
    return empty(
        plan,
        span=Span(from_ms=FROM_MS, to_ms=at(days), how="the last journey"),
        before=Span(from_ms=at(-20), to_ms=at(-6), how="the journey before"),
        journeys=tuple(Journey(from_ms=at(a), to_ms=at(b), by="the engine") for a, b in ((-20, -6), (0, days))),
        record_sha256="a" * 64,
        readings=31_104_000,
        cannot_say=(
            Sentence(text="Nothing was read for 9.2 h, on all ways.", at_ms=at(0.55 * days), about="trust"),
            Sentence(text="Air heater has no floor while it rests: whether it had its feed then can't be told.", way="D3"),
            Sentence(text="The clock was set once, by 41 s; times before that are corrected.", at_ms=at(2), about="trust"),
        ),
        happened=_happened(days),
        more_happened=2,
        also=(
            Sentence(text="Roof fan started too often.", way="D8", at_ms=at(0.33 * days), about="alarms"),
            Sentence(text="The house bank came down to 11.9 V.", at_ms=at(0.6 * days), about="bank"),
        ),
        still=(
            Sentence(text="Look at Sample freezer's display: no feed.", way="D1", at_ms=at(0.7 * days), about="openings"),
        ),
        episodes=_episodes(days),
        coverage=tuple(
            Coverage(way=each.id, read_s=whole_s - 33_120, unread_s=33_120, late_readings=0, not_observable=("its joints",))
            for each in ways
        ),
        lines=tuple((each.id, _line(each, dice, days)) for each in ways),
        energy=(
            *(_energy(each, dice, days) for each in ways), _other("inverter-loss", 412, days), _other("unassigned", 230, days),
        ),
        openings=(
            Opening(
                way="D7", at_ms=at(0.3 * days), ended_ms=at(0.3 * days + 0.1), cause="device-opened", confidence=0.97,
                amps_before=22.4, celsius=31.0, volts=12.9, answered_ms=at(0.3 * days + 0.01), answer="seen",
                alarm_id="D7-dead-1",
            ),
            Opening(
                way="D1", at_ms=at(0.7 * days), ended_ms=None, kind="feed-lost", cause="switched-off",
                confidence=0.88, amps_before=3.9,
                celsius=None, volts=13.1, answered_ms=None, answer=None, alarm_id="D1-dead-2",
            ),
        ),
        down=tuple(
            Down(way=each.id, down_s=25_200.0, read_s=whole_s, causes=(("switched-off", 25_200.0),))
            if each.id == "D1"
            else Down(way=each.id, down_s=0.0, read_s=whole_s, causes=())
            for each in ways
            if each.feed == "always-on"
        ),
        changes=tuple(_changes(ways, dice)),
        ageing=(
            Ageing(
                way="D8", metric="level_w:high", record=31.0, now=36.2, slope_per_month=1.7, low=1.1, high=2.3, limit=40.3,
                weeks_p10=7.1, weeks_p50=10.4, weeks_p90=16.0, unit="W",
            ),
            Ageing(
                way="D4", metric="surge_a", record=14.0, now=14.2, slope_per_month=0.05, low=-0.2, high=0.3, limit=None,
                weeks_p10=None, weeks_p50=None, weeks_p90=None, unit="A",
            ),
        ),
        margins=tuple(_margin(plan, each, dice, days) for each in ways),
        volts=tuple(_volts(each, dice) for each in ways),
        tides=tuple(_tides(dice, days)),
        nights=(
            Nights(scenario="none", p10=1.6, p50=2.4, p90=3.3),
            Nights(scenario="as it was", p10=5.0, p50=9.0, p90=21.0),
            Nights(scenario="two hours' drive a day", p10=None, p50=None, p90=None, why_not="it was never driven for so long"),
        ),
        savings=tuple(Saving(way=way, wh_per_day=wh, nights_more_p50=0.9) for way, wh in (("D2", 612), ("D1", 430))),
        charge=tuple(
            Charge(source=source, day=f"2026-05-{4 + day:02d}", ah=dice.uniform(5, 60), wh=dice.uniform(60, 780), hours=4)
            for day in range(min(days, 27))
            for source in ("sun", "engine")
        ),
        judged=(
            Judged(
                alarm_id="D7-dead-1", way="D7", kind="protection-opened", priority="medium", began_ms=at(0.3 * days),
                told_ms=at(0.3 * days) + 5000, seen_ms=at(0.3 * days + 0.01), over_ms=at(0.3 * days + 0.1), delay_s=4.0,
                verdict="right", why="its draw came back after the fuse was changed",
            ),
            Judged(
                alarm_id="D4-rhythm-1", way="D4", kind="short-cycling", priority="medium", began_ms=at(0.5 * days),
                told_ms=at(0.5 * days) + 65_000, seen_ms=None, over_ms=at(0.5 * days + 0.2), delay_s=60.0, verdict="wrong",
                why="somebody filled bottles",
            ),
            Judged(
                alarm_id="D8-drift-1", way="D8", kind="departed-from-record", priority="low", began_ms=at(0.8 * days),
                told_ms=None, seen_ms=None, over_ms=None, delay_s=None, verdict="unknown", why="", suppressed=True,
            ),
        ),
        answers=_answers(),
        clock_sets_ms=(at(2),),
    )  # fmt: skip


def _episodes(days: int) -> tuple[Episode, ...]:
    rows = (
        (
            "D7-dead-1",
            "D7",
            "protection-opened",
            0.3,
            0.3 + 0.1 / days,
            "device-opened",
            0.97,
            "The fuse cut off.",
        ),
        ("D1-dead-2", "D1", "feed-lost", 0.7, None, "switched-off", 0.88, "Sample freezer had no feed."),
        ("house-1", None, "undervoltage-approach", 0.6, 0.61, None, None, "The house bank came down to 11.9 V."),
    )
    return tuple(
        Episode(
            alarm_id=name, way=way, kind=kind, from_ms=at(begin * days), to_ms=None if end is None else at(end * days),
            most_a=None, least_v=None, cause=cause, confidence=sure, text=text,
        )
        for name, way, kind, begin, end, cause, sure, text in rows
    )  # fmt: skip


def _happened(days: int) -> tuple[Sentence, ...]:
    rows = (
        (0.05, "D6", "Gas detector had no feed for 12 min: a switch.", "openings"),
        (0.3, "D7", "Bench sockets: the fuse cut off, overloaded at 22.4 A for 5 min.", "openings"),
        (0.42, "D2", "Satellite terminal took 612 Wh a day, 40 % of all that was used.", "energy"),
        (0.5, "D4", "Water pump ran 14 min without a stop.", "alarms"),
        (0.55, None, "Nothing was read for 9.2 h: the monitor was silent.", "trust"),
        (0.7, "D1", "Sample freezer was switched off for 7 h.", "openings"),
        (0.8, "D8", "Roof fan needs 17 % more power than when new, rising since May.", "ageing"),
        (0.9, "D9", "Inverter stood by for 61 h with nothing running from it: 1,280 Wh.", "doing"),
    )
    return tuple(
        Sentence(text=text, way=way, at_ms=at(share * days), number=number, about=about)
        for number, (share, way, text, about) in enumerate(rows, 1)
    )


def _answers() -> tuple[Sentence, ...]:
    rows = (
        ("energy", "D2", "Satellite terminal used most: 612 Wh a day, 40 %."),
        ("when", None, "Most was drawn from 18 to 19 h."),
        ("doing", None, "Parked it took 3 times as much a day as driving."),
        ("openings", "D7", "One fuse opened, one feed was switched off."),
        ("down", "D1", "Sample freezer was without feed for 7 h."),
        ("margins", "D7", "Bench sockets came nearest to their limit: 42 % beyond it."),
        ("bank", None, "The bank fell lowest at 6:00 on 14 May: 61 Ah."),
        ("charge", None, "The sun brought three times as much as the engine."),
        ("changes", "D2", "Satellite terminal's standby rose by 3.1 W."),
        ("ageing", "D8", "Roof fan reaches its limit in about 10 weeks if that goes on."),
        ("volts", "D7", "Bench sockets stood below 11.5 V for 1.2 % of the time."),
        ("alarms", None, "Of 2 alarms told, 1 was right, 1 wrong."),
        ("trust", None, "98.7 % of the span was read."),
    )
    return tuple(Sentence(text=text, way=way, about=about) for about, way, text in rows)


def _line(circuit: Circuit, dice: random.Random, days: int) -> tuple[Piece, ...]:
    """A piece an hour."""
    pieces = []
    mean = dice.uniform(0.03, 0.5)
    for hour in range(days * 24):
        from_ms, share, what = FROM_MS + hour * HOUR_MS, hour / (days * 24), "read"
        if 0.55 <= share < 0.563:
            what = "unread"
        elif circuit.id == "D1" and 0.7 <= share < 0.71:
            what = "no-feed"
        near = max(0.0, dice.gauss(mean, 0.3 * mean)) * (1.0 + 0.6 * math.sin(hour / 24 * 2 * math.pi))
        if circuit.id == "D7" and 0.3 <= share < 0.302:
            near = 1.49
        if circuit.id == "D5" and hour % 24 < 12:
            near = 0.0
        known = what == "read" and circuit.protection is not None
        pieces.append(Piece(from_ms=from_ms, to_ms=from_ms + HOUR_MS, what=what, nearness=near if known else None))
    return tuple(pieces)


def _energy(circuit: Circuit, dice: random.Random, days: int) -> Energy:
    a_day = dice.uniform(8, 620)
    hours = [max(0.0, dice.gauss(1, 0.3)) * (2.5 if 17 <= h <= 22 else 1.0) for h in range(24)]
    charger = circuit.role == "charger"
    return Energy(
        way=circuit.id, what="charger" if charger else "circuit", label=circuit.label, energy_wh=a_day * days, wh_per_day=a_day,
        share=None if charger else a_day / 3000, read_share=0.987, before_wh_per_day=a_day * dice.uniform(0.7, 1.2),
        by_hour_wh=tuple(a_day * days * h / sum(hours) for h in hours),
        by_doing_wh=(("driving", a_day * days * 0.2), ("parked", a_day * days * 0.6), ("unknown", a_day * days * 0.2)),
    )  # fmt: skip


def _other(what: str, a_day: float, days: int) -> Energy:
    return Energy(
        way=None, what=what, label={"inverter-loss": "Inverter", "unassigned": "Not on the list"}[what], energy_wh=a_day * days,
        wh_per_day=a_day, share=a_day / 3000, read_share=0.9, sd_wh=12.0 * days if what == "unassigned" else None,
    )  # fmt: skip


def _margin(plan: Schedule, circuit: Circuit, dice: random.Random, days: int) -> Margin:
    fitted = circuit.protection.fitted_a if circuit.protection else None
    bears = ampacity_of(plan, circuit) if circuit.conductor else None
    near = 1.49 if circuit.id == "D7" else dice.uniform(0.1, 0.85)
    top = near * (fitted or 10.0)
    shares = ((2, 1.0), (10, 0.98), (60, 0.95), (600, 0.6), (3600, 0.4), (10800, 0.3))
    gates = [gate for name in set_names(circuit.protection) for gate in GATES[name]] if circuit.protection is not None else []
    return Margin(
        way=circuit.id,
        device=f"{circuit.protection.kind.replace('-', ' ')} {fitted:g} A" if circuit.protection else None,
        fitted_a=fitted, ampacity_a=bears.amps if bears else None, ampacity_rule=bears.rule if bears else None,
        way_max_a=circuit.protection.way_max_a if circuit.protection else None, maker_a=None,
        worst_minute_a=top * 0.95, worst_3h_a=top * 0.3, p999_a=top * 0.7, hours_above_80=2.5 if near > 0.8 else 0.0,
        least_margin=1 - near * 0.95, conductor_c=38.0 + 20 * near, insulation_c=105.0, fuse_life=0.012,
        held=tuple(Held(seconds=seconds, amps=top * share, at_ms=at(days * dice.random())) for seconds, share in shares),
        band=tuple(
            Band(
                amps=gate.multiple * (fitted or 0.0),
                least_s=gate.min_s or None,
                most_s=gate.max_s if math.isfinite(gate.max_s) else None,
            )
            for gate in gates
        ),
    )  # fmt: skip


def _changes(ways: list[Circuit], dice: random.Random) -> list[Change]:
    rows = [
        Change(
            way="D2", metric="standby_w", before=4.1, now=7.2, low=2.8, high=3.4, p=0.00002, told=True, unit="W", before_n=14,
            now_n=30, text="Satellite terminal's standby rose by 3.1 W since the journey before: 74 Wh a day.",
        ),
    ]  # fmt: skip
    for each in ways:
        for metric, unit in (("duty", ""), ("starts_per_day", ""), ("level_w:low", "W")):
            before = dice.uniform(0.2, 30)
            rows.append(
                Change(
                    way=each.id, metric=metric, before=before, now=before * 1.02, low=-0.1 * before, high=0.14 * before,
                    p=dice.uniform(0.05, 0.9), told=False, unit=unit, before_n=14, now_n=30,
                )
            )  # fmt: skip
    return rows


def _volts(circuit: Circuit, dice: random.Random) -> Volts:
    counts = [int(4000 * math.exp(-(((i - 14) / 5.0) ** 2))) for i in range(30)]
    return Volts(
        way=circuit.id, volts_at=circuit.sense.volts_at, low_share=0.012 if circuit.id == "D7" else 0.0, low_v=11.5, p05_v=12.1,
        p50_v=12.9, drop_at_p95_v=dice.uniform(0.02, 0.4), counts=tuple(counts), first_v=11.2, step_v=0.1,
    )  # fmt: skip


def _tides(dice: random.Random, days: int) -> list[Tide]:
    rows, charge = [], 150.0
    for half in range(2 * days):
        came, went = (dice.uniform(30, 70), dice.uniform(5, 20)) if half % 2 else (0.0, dice.uniform(20, 45))
        charge = min(190.0, max(20.0, charge + came - went))
        known = not 20 <= half < 23
        rows.append(
            Tide(
                at_ms=at(0.35 + half / 2), which="dusk" if half % 2 else "dawn", charge_ah=charge if known else None,
                in_ah=came, out_ah=went, least_v=12.4 + charge / 400, unread_s=0.0 if known else 5400.0,
            )
        )  # fmt: skip
    return rows
