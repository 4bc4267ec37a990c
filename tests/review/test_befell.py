"""What befell a vehicle, each time with figures of its own: no peak, hour or date of another."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from panelward.review.alarms import Alarm, alarms_of
from panelward.review.report import Report
from panelward.review.source import Columns
from panelward.wording.past import because, past, still
from plans import T0
from review.made import columns
from review.test_told import ALL, HOUR_MS, alarm, proper, report, stream


def laid(hours: float, amps: Any, volts: Any, out: tuple[float, float] = (0, 0)) -> Columns:
    """Every 2 s: `amps` and `volts` are functions of the hour."""
    time = T0 + 2000 * np.arange(round(hours * 1800))
    at = (time - T0) / HOUR_MS
    time, at = time[~((at >= out[0]) & (at < out[1]))], at[~((at >= out[0]) & (at < out[1]))]
    return columns(time.tolist(), [float(amps(h)) for h in at], [float(volts(h)) for h in at])


def lived(*alarms: Alarm, made: dict[str, Columns]) -> Report:
    return report(made, list(alarms))


def test_a_bank_below_its_cut_off_is_said_to_have_fallen_below_it_and_counted_by_that_alone() -> None:
    """Two hours below, one merely near: the worst that was read, twice."""
    low = {1: 9.8, 4: 11.2, 7: 11.9}
    bus = laid(9, lambda h: 5.0, lambda h: low.get(int(h), 12.9))
    near = [
        alarm("house", "undervoltage-approach", h, h + 1, priority="high", subject="supply", figures={"cutoff_v": 11.6})
        for h in (1, 4, 7)
    ]
    (said,) = [s for s in lived(*near, made={"SH": bus}).happened if s.about == "bank"]
    assert said.text == "The house bank fell to 9.8 V, below its cut-off of 11.6 V; twice."
    (said,) = [s for s in lived(near[2], made={"SH": bus}).happened if s.about == "bank"]
    assert said.text == "The house bank came down to 11.9 V, near its cut-off of 11.6 V."


def test_a_current_is_that_of_its_own_time() -> None:
    found = alarm("D7", "overcurrent-approach", 1, 1.25, figures={"draw_a": 27.2})
    found.episodes = [(T0 + HOUR_MS, T0 + round(1.25 * HOUR_MS)), (T0 + 30 * HOUR_MS, T0 + round(30.25 * HOUR_MS))]
    amps = laid(32, lambda h: 18.1 if 1 <= h < 1.25 else 27.2 if 30 <= h < 30.25 else 2.0, lambda h: 12.8)
    whole = lived(found, made={"D7": amps})
    assert [e.most_a for e in whole.episodes] == [pytest.approx(18.1), pytest.approx(27.2)]
    (said,) = [s for s in whole.happened if s.way == "D7"]
    assert said.text == "Bench sockets carried 18.1 A, more than its device carries for long; again Sat 2 May."
    assert "18.1 A and later 27.2 A" in whole.judged[0].why


def test_what_was_found_again_from_before_its_end_had_not_ended() -> None:
    base = {"id": "a", "group": "rhythm", "kind": "duty-high", "subject": {"circuit": "D1"}, "cause": None, "confidence": None,
            "circuits": [], "priority": "medium", "state": "unacknowledged"}  # fmt: skip
    steps = (("begins", 100.0, 90.0, 3.0), ("ends", 300.0, 90.0, 3.0), ("begins-again", 400.0, 200.0, 4.0))
    (found,) = alarms_of([base | {"event": e, "time": t, "since": s, "draw_a": a} for e, t, s, a in steps])
    assert found.episodes == [(90_000, None)]
    apart = (*steps[:2], ("begins-again", 400.0, 390.0, 4.0))
    (found,) = alarms_of([base | {"event": e, "time": t, "since": s, "draw_a": a} for e, t, s, a in apart])
    assert [begin for begin, _ in found.episodes] == [90_000, 390_000]
    assert [found.figures_of(n)["draw_a"] for n in (0, 1)] == [3.0, 4.0]


@pytest.fixture(scope="module")
def whole() -> Report:
    made = {
        "D6": stream(10, 0.1, off=(1, 3), out=(6, 7)), "D4": stream(10, 4.8, off=(4, 10), out=(6, 7)),
        "SH": stream(10, 7.0, out=(6, 7)),
    }  # fmt: skip
    return report(made, ALL)


def test_what_finds_no_room_is_named_all_the_same(whole: Report) -> None:
    assert len(whole.also) == whole.more_happened > 0
    assert [s.at_ms for s in whole.also] == sorted(s.at_ms or 0 for s in whole.also)
    assert not {s.text for s in whole.also} & {s.text for s in whole.happened}
    for each in whole.also:
        proper(each.text)


def test_what_had_not_ended_says_what_to_do(whole: Report) -> None:
    assert {s.way for s in whole.still} == {"D4", "D6"}
    assert whole.still[0].way == "D4"  # the more urgent
    for each in whole.still:
        proper(each.text)


def test_the_act_of_what_is_still_so_is_that_of_its_message() -> None:
    said = still("standby-drain", "Inverter", "Again: Look what was left on at Inverter: it draws 27 W since 01:00.")
    assert said == "Look what was left on at Inverter: it draws more than at rest."
    said = still("undervoltage-approach", "the house bank", "Switch off what you can do without: hours left unknown.")
    assert said == "Switch off what you can do without: the house bank is near its cut-off."
    said = still("protection-doubtful", "Bench sockets", "Keep all off: at 14:01 it held 27.4 A.")
    assert said == "Read the fuse at Bench sockets and compare it with the sheet: it carried more than the one listed could."


def test_silence_begins_with_the_last_reading() -> None:
    """Not with the piece of the drawn line that it falls in."""
    whole = report({"D6": laid(200, lambda h: 0.1, lambda h: 12.8, out=(101.01, 104.03))}, [])
    (of,) = [c for c in whole.coverage if c.way == "D6"]
    assert of.longest_from_ms == pytest.approx(T0 + 101.01 * HOUR_MS, abs=2001)
    assert of.longest_to_ms == pytest.approx(T0 + 104.03 * HOUR_MS, abs=2001)
    assert [s.at_ms for s in whole.cannot_say if "D6" in (s.way or "")] == [of.longest_from_ms]
    unread = [p.to_ms - p.from_ms for p in dict(whole.lines)["D6"] if p.what == "unread"]
    assert sum(unread) == pytest.approx(3.02 * HOUR_MS, abs=120_000)


def test_a_short_that_was_not_read_is_only_seeming() -> None:
    figures = {"before_a": 4.7, "dip_v": 2.1, "message": "cut off on a short circuit"}
    assert "on what seems to be a short circuit" in past("protection-opened", "Water pump", figures, None, "device-opened")


def test_how_surely_a_cause_is_named_is_said_in_words() -> None:
    assert because("protection-opened", "device-opened", 0.968) == "That it was its fuse or breaker is almost certain."
    assert because("duty-high", "iced", 0.9).startswith("Most likely: ")
    assert because("duty-high", "unknown", 0.9) == "Its cause is not decided."
    assert because("duty-high", None, None) == ""


def test_a_drain_that_was_told_could_be_seen() -> None:
    quiet = report({"D2": stream(10, 1.0)}, [])
    assert "standby drain" in next(c for c in quiet.coverage if c.way == "D2").not_observable
    told = report({"D2": stream(10, 1.0)}, [alarm("D2", "standby-drain", 2, 5, figures={"draw_w": 12.8})])
    assert "standby drain" not in next(c for c in told.coverage if c.way == "D2").not_observable


def test_what_is_lost_in_a_conductor_is_of_the_time_that_it_draws() -> None:
    """A drill draws for a hundredth of the time: the rest of it loses nothing and says nothing."""
    seldom = report({"D12": laid(10, lambda h: 20.0 if h < 0.1 else 0.0, lambda h: 12.8)}, [])
    always = report({"D12": laid(10, lambda h: 20.0, lambda h: 12.8)}, [])
    drops = [v.drop_at_p95_v for r in (seldom, always) for v in r.volts if v.way == "D12"]
    assert drops[0] == pytest.approx(drops[1])
    assert drops[0] is not None
    assert drops[0] > 0.1


def test_ways_beyond_their_limits_are_not_said_to_have_come_near_them() -> None:
    found = report({way: laid(1, lambda h: 40.0, lambda h: 12.8) for way in ("D7", "D12")}, [])
    (said,) = [s.text for s in found.answers if s.about == "margins" and "limit" in s.text]
    assert said.startswith("Bench sockets went furthest beyond its limit: 40 A for a minute")
    assert "Core drill went beyond its, too" in said
    assert "fifth" not in said


def test_what_a_charger_brought_a_day_is_of_days_read() -> None:
    """Ten hours over two dates are no two days."""
    found = report({"D13": laid(20, lambda h: -10.0, lambda h: 13.5)}, [])
    (said,) = [s.text for s in found.answers if s.about == "charge"]
    assert said == "Solar charger brought 200 Ah, 240 Ah a day read."


def test_a_share_of_the_time_has_no_six_places() -> None:
    found = report({"SH": laid(30, lambda h: 5.0, lambda h: 11.0 if h < 0.001 else 12.9)}, [])
    (said,) = [s.text for s in found.answers if s.about == "volts"]
    assert "less than 0.1 % of the time" in said


def test_what_it_was_doing_is_told_before_what_is_not_known() -> None:
    found = report({"D2": laid(60, lambda h: 1.0, lambda h: 12.8), "D5": laid(60, lambda h: 0.0, lambda h: 12.8)}, [])
    (said,) = [s.text for s in found.answers if s.about == "doing"]
    assert said.startswith(("Of all energy", "What the vehicle was doing is not known"))
    assert "at times of which" not in said
    if said.startswith("Of"):
        assert "by night with the lights out was used; for " in said


def test_a_journey_that_emptied_its_bank_says_so_beside_the_nights_it_would_last() -> None:
    """Days of charge and draw alike, then a day below the cut-off."""
    volts = laid(24 * 6, lambda h: 6.0, lambda h: 11.0 if h > 130 else 12.9)
    sun = laid(24 * 6, lambda h: -4.0, lambda h: 12.9)
    load = laid(24 * 6, lambda h: 10.0, lambda h: 12.9)
    low = alarm("house", "undervoltage-approach", 129, None, subject="supply", figures={"cutoff_v": 11.6})
    said = [s.text for s in lived(low, made={"SH": volts, "D13": sun, "D2": load}).answers if s.about == "bank"]
    assert any("whole days of this journey drawn anew" in text for text in said), said
    assert any(text.startswith("On this journey it fell below its cut-off 5.38 days after the start") for text in said), said


def test_a_step_is_no_creeping_and_is_said() -> None:
    """A terminal that draws 12 W, and 3 W more from the sixth day on."""
    amps = laid(24 * 12, lambda h: 1.95 + (0.25 if h > 132 else 0.0) + 0.01 * (h % 7 - 3), lambda h: 12.8)
    found = report({"D2": amps}, [])
    (of,) = [a for a in found.ageing if a.way == "D2" and a.metric == "level_w:idle"]
    assert of.stepped
    (said,) = [s.text for s in found.answers if s.about == "ageing"]
    assert said == "What Satellite terminal draws went in a step, not slowly; else nothing is seen to creep towards its limit."
