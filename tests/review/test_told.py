"""What a review says in sentences: chosen worst first, in time order, and in the project's words."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from panelward.records import GROUP_OF
from panelward.review.alarms import Alarm, alarms_of
from panelward.review.report import ABOUT, Report, Sentence
from panelward.review.source import Columns
from panelward.review.whole import Asked, Beside, review
from panelward.schedule import load
from panelward.wording.past import figure, lasting, listed, moment, past
from plans import T0
from review.made import Made, columns

FORBIDDEN = ("safe", "ok", "fine", "restored", "normal", "reset", "blown", "dead", "larger", "just", "guaranteed",
             "protected", "bigger")  # fmt: skip
RISE = re.compile(r"\d+ A (fuse|breaker)|(fit|use|replace)\w* (a|the) \d+", re.IGNORECASE)
HOUR_MS = 3_600_000
SCHEDULE = replace(load(Path(__file__).parents[2] / "config" / "survey-van.toml")[0], probes=())
FIGURES: tuple[dict[str, Any], ...] = (
    {}, {"draw_a": 17.234, "draw_w": 221.9, "before_a": 14.2, "device": "breaker", "volts": 11.93, "hours_left": 3.2},
    {"before_a": 4.7, "dip_v": 2.1, "message": "cut off on a short circuit", "cutoff_v": 11.6, "standby_w": 3.0},
)  # fmt: skip


def proper(text: str) -> None:
    words = re.findall(r"[a-z]+", text.lower())
    assert not [w for w in words if w in FORBIDDEN], text
    assert not RISE.search(text), text
    assert text[0].isupper() or text[0].isdigit(), text
    assert text.endswith("."), text
    assert "  " not in text, text
    assert "None" not in text, text
    assert "nan" not in words, text


@pytest.mark.parametrize("kind", [k for k in GROUP_OF if k != "drill"])
def test_every_kind_of_alarm_has_its_sentence(kind: str) -> None:
    for figures, lasted, cause in product(FIGURES, (None, 7.0, 90_000.0), (None, "unknown", "device-opened", "load-failed")):
        text = past(kind, "Äußerst lange Werkbank Steckdosen", figures, lasted, cause)
        proper(text)
        assert len(text) <= 180, text


def test_times_lengths_and_lists() -> None:
    from zoneinfo import ZoneInfo

    assert moment(T0, ZoneInfo("Europe/Oslo")) == "Fri 1 May 08:00"
    assert [lasting(s) for s in (3, 90, 7200, 200_000)] == ["3 s", "1.5 min", "2 h", "2.31 days"]
    assert [figure(v) for v in (0.0123, 12.345, 12_345.6)] == ["0.0123", "12.3", "12,346"]
    assert (listed(["A"]), listed(["A", "B"]), listed(list("ABCDEF"))) == ("A", "A and B", "A, B, C, D and 2 more")


def stream(hours: float, amps: float, *, off: tuple[float, float] = (0, 0), out: tuple[float, float] = (0, 0)) -> Columns:
    """A steady draw; nothing drawn in `off`, nothing read in `out` (hours)."""
    time = T0 + 2000 * np.arange(round(hours * 1800))
    at = (time - T0) / HOUR_MS
    drawn = np.where((at >= off[0]) & (at < off[1]), 0.0, amps)
    kept = ~((at >= out[0]) & (at < out[1]))
    return columns(time[kept].tolist(), drawn[kept].tolist(), [12.8] * int(kept.sum()))


def alarm(way: str, kind: str, begin_h: float, end_h: float | None, *, priority: str = "medium", **keys: Any) -> Alarm:
    since, end = T0 + round(begin_h * HOUR_MS), None if end_h is None else T0 + round(end_h * HOUR_MS)
    return Alarm(
        id=f"{way}-{kind}-{begin_h}", subject=keys.pop("subject", "circuit"), subject_id=way, group=GROUP_OF[kind], kind=kind,
        priority=priority, since_ms=since, began_ms=since + 60_000, ended_ms=end, suppressed=False, episodes=[(since, end)],
        **keys,
    )  # fmt: skip


def report(made: dict[str, Columns], alarms: list[Alarm], **keys: Any) -> Report:
    return review(Made(made), SCHEDULE, Asked(), Beside(alarms=alarms, **keys), made_ms=T0)


ALL = [
    alarm("D6", "feed-lost", 1, 3, priority="high", cause="unknown"),
    alarm("D4", "protection-opened", 4, None, priority="high", cause="device-opened", figures={"before_a": 14.0}),
    alarm("D9", "standby-drain", 2, 5, figures={"draw_w": 21.0, "standby_w": 3.0}),
    alarm("dc-panel", "readings-overdue", 6, 7, subject="monitor"),
    alarm("house", "undervoltage-approach", 8, 9, priority="high", subject="supply", figures={"cutoff_v": 11.6}),
    *(alarm(f"D{n}", "off-profile", n / 2, n / 2 + 0.1, priority="low", figures={"draw_w": 9.0}) for n in (1, 2, 3, 5, 7, 8)),
    alarm("D6", "off-profile", 9.5, None, priority="low"),
]


@pytest.fixture(scope="module")
def whole() -> Report:
    made = {
        "D6": stream(10, 0.1, off=(1, 3), out=(6, 7)), "D4": stream(10, 4.8, off=(4, 10), out=(6, 7)),
        "D9": stream(10, 1.7, out=(6, 7)), "SH": stream(10, 7.0, out=(6, 7)),
    }  # fmt: skip
    return report(made, ALL)


def test_at_most_eight_in_time_order_the_worst_of_all(whole: Report) -> None:
    assert len(whole.happened) == 8
    assert [s.number for s in whole.happened] == list(range(1, 9))
    times = [s.at_ms for s in whole.happened]
    assert times == sorted(times)
    assert {"D6", "D4", "D9"} <= {s.way for s in whole.happened}
    assert sum(s.way == "D6" for s in whole.happened) == 1  # its lesser one comes after all others' first
    assert whole.more_happened == len({(a.subject_id, a.kind) for a in ALL}) - 8


def test_every_sentence_is_in_the_projects_words(whole: Report) -> None:
    for each in (*whole.cannot_say, *whole.happened, *whole.answers):
        proper(each.text)
        assert each.about in ABOUT, each


def test_every_question_of_a_review_is_answered(whole: Report) -> None:
    assert {each.about for each in whole.answers} == set(ABOUT)
    empty = report({}, [])
    assert [each.text for each in empty.answers] == ["Nothing was read, so no question can be answered."]
    for each in (*empty.cannot_say, *empty.answers):
        proper(each.text)


def test_what_was_not_read_comes_first(whole: Report) -> None:
    first: Sentence = whole.cannot_say[0]
    assert first.text.startswith("Never, or hardly ever, read: ")
    assert any("were not read for 1 h in all" in s.text for s in whole.cannot_say)


def test_openings_downs_and_lines_agree(whole: Report) -> None:
    assert [(o.way, o.kind, o.cause) for o in whole.openings] == [
        ("D6", "feed-lost", "unknown"), ("D4", "protection-opened", "device-opened"),
    ]  # fmt: skip
    assert whole.openings[1].amps_before == 14.0
    down = {d.way: d for d in whole.down}
    assert down["D6"].down_s == pytest.approx(7200)
    assert dict(down["D6"].causes) == {"unknown": pytest.approx(7200)}
    assert down["D6"].available_share == pytest.approx(1 - 2 / 9, abs=0.001)
    assert "D4" not in down  # it is switched
    pieces = dict(whole.lines)["D6"]
    assert sum(p.to_ms - p.from_ms for p in pieces if p.what == "no-feed") == pytest.approx(2 * HOUR_MS, abs=200_000)
    assert sum(p.to_ms - p.from_ms for p in pieces if p.what == "unread") == pytest.approx(HOUR_MS, abs=200_000)
    assert pieces[0].from_ms == whole.span.from_ms
    assert pieces[-1].to_ms == whole.span.to_ms
    assert all(a.to_ms == b.from_ms for a, b in zip(pieces, pieces[1:], strict=False))  # noqa: RUF007


def test_an_alarm_is_right_or_wrong_only_where_the_readings_say_so(whole: Report) -> None:
    verdicts = {(j.way, j.kind): j.verdict for j in whole.judged}
    assert verdicts["D6", "feed-lost"] == "right"
    assert verdicts["D4", "protection-opened"] == "right"
    assert verdicts["D9", "standby-drain"] == "right"
    assert verdicts[None, "undervoltage-approach"] == "unknown"  # the bus stayed at 12.8 V
    assert verdicts["D1", "off-profile"] == "unknown"  # never read
    belied = report({"D6": stream(10, 0.1)}, ALL[:1])
    assert [j.verdict for j in belied.judged] == ["wrong"]


def test_where_no_alarms_are_known_nothing_is_claimed_of_them() -> None:
    found = report({"D6": stream(2, 0.1)}, [], alarms_known="No alarms of this time are known.")
    assert any(s.text == "No alarms of this time are known." for s in found.cannot_say)
    said = next(s.text for s in found.answers if s.about == "openings")
    assert "not known" in said


def test_a_life_is_read_from_its_objects() -> None:
    base = {"id": "a", "group": "dead", "kind": "feed-lost", "subject": {"circuit": "D6"}, "cause": None, "confidence": None,
            "circuits": [], "priority": "medium"}  # fmt: skip
    steps = [
        ("begins", 100.0, 90.0, "unacknowledged", {}), ("acknowledge", 160.0, 90.0, "acknowledged", {"who": "Kari"}),
        ("changes", 170.0, 90.0, "acknowledged", {"kind": "protection-opened", "cause": "device-opened", "priority": "high"}),
        ("ends", 300.0, 90.0, "acknowledged", {"off_for_s": 200.0}), ("begins-again", 400.0, 395.0, "unacknowledged", {}),
        ("ends", 500.0, 395.0, "normal", {}),
    ]  # fmt: skip
    objects = [base | {"event": e, "time": t, "since": s, "state": st} | more for e, t, s, st, more in steps]
    (found,) = alarms_of(
        [*objects, base | {"kind": "drill", "id": "d", "event": "begins", "time": 1, "since": 1, "state": "x"}]
    )
    assert (found.priority, found.cause, found.since_ms, found.seen_ms) == ("high", "device-opened", 90_000, 160_000)
    assert found.answer == "acknowledged by Kari"
    assert found.episodes == [(90_000, 290_000), (395_000, 500_000)]
    assert (found.ended_ms, found.over_ms) == (500_000, 500_000)
