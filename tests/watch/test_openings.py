"""Openings by the published gates (tests/reference/devices.toml), through the core.

A multiple of the rating carried for just longer than the longest published time, then nothing: the device has opened, and
is named. The twin: the same multiple for less than the shortest published time, then nothing: no device of its type can
have opened, so a hand on the switch did it, and no opening is said.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, replace
from math import floor, inf, nextafter
from pathlib import Path
from typing import Any

import pytest

from panelward.records import Protection, Schedule, Transition
from plans import DETECTOR, FREEZER, PLAN, circuit, plan, run, stream

PUBLISHED: dict[str, Any] = tomllib.loads((Path(__file__).resolve().parents[1] / "reference" / "devices.toml").read_text())
BEFORE_S = 60.0
ORDINARY = 0.5  # of the rating, before an opening
COLD = 0.02  # the shortest times are from cold: a device that carried half its rating opens sooner
JUST_LONGER = 1.02
PERIODS_S = (1.0, 5.0)
LONG_S = 300.0  # a longer time is carried at the slower period only: it takes hours of readings


@dataclass(frozen=True)
class Gate:
    kind: str
    type: str | None
    rating_a: float
    multiple: float
    min_s: float
    max_s: float

    def __str__(self) -> str:
        return f"{self.kind}{'-' + self.type if self.type else ''}-{self.rating_a:g}A-{self.multiple:g}x"


def gates() -> list[Gate]:
    rows = PUBLISHED["gates"]
    found = [
        Gate("blade-fuse", letter, rating_a, *row)
        for letter, rating_a in (("C", 10.0), ("E", 30.0), ("F", 10.0))
        for row in rows[f"blade-fuse-{letter}"]["rows"]
    ]
    # The schedule does not tell the two forms of a bolted link apart: what holds for both, where both are printed.
    one, other = ({row[0]: row[1:] for row in rows[f"bolt-fuse-SF-{form}"]["rows"]} for form in (30, 51))
    found += [
        Gate("bolt-fuse", None, 60.0, m, min(one[m][0], other[m][0]), max(one[m][1], other[m][1])) for m in one if m in other
    ]
    iec = PUBLISHED["breaker_iec60898_1"]
    held, tripped, at_255 = iec["no_trip"], iec["trip_after_no_trip"], iec["at_255"]
    for kind, (_, at_once) in iec["instantaneous"].items():
        for rating_a in (16.0, 50.0, 80.0):
            longest_s = tripped["s_above_63_a" if rating_a > 63 else "s"]
            at_255_s = at_255["max_s_above_32_a" if rating_a > 32 else "max_s_up_to_32_a"]
            found += [
                Gate(kind, None, rating_a, held["multiple"], longest_s if rating_a > 63 else held["s"], inf),
                Gate(kind, None, rating_a, tripped["multiple"], 0.0, longest_s),
                Gate(kind, None, rating_a, 2.55, at_255["min_s"], at_255_s),
                Gate(kind, None, rating_a, float(at_once), 0.0, iec["instantaneous_s"]),
            ]
    for kind, rating_a, table in (
        ("breaker-thermal", 15.0, "ul489"),
        ("breaker-thermal", 40.0, "ul489_larger"),
        ("breaker-thermal", 80.0, "ul489_larger"),
        ("breaker-self-resetting", 20.0, "ul489"),
        ("glass-fuse", 5.0, "ul248_14"),
        ("glass-fuse", 15.0, "ul248_14"),
    ):
        found += [
            Gate(kind, None, rating_a, m, 0.0, s) for low, high, m, s in PUBLISHED[table]["rows"] if low <= rating_a <= high
        ]
    return found


GATES = gates()


def panel(gate: Gate, feed: str, period_s: float) -> Schedule:
    """The circuit, two that go on, no conductor: its warmth is tested elsewhere."""
    fitted = Protection(kind=gate.kind, type=gate.type, rating_a=gate.rating_a)
    way = circuit("D7", "Bench sockets", "socket", feed=feed, protection=fitted, conductor=())
    slow = replace(PLAN.monitors[0], expect_every_s=period_s)
    return replace(plan(way, FREEZER, DETECTOR), monitors=(slow,))


def carried(gate: Gate, readings: int, period_s: float, feed: str, before: float) -> list[Transition]:
    """A draw of `before` times the rating, the gate's multiple in so many readings, then nothing for three minutes."""
    over_a = nextafter(gate.multiple, inf) * gate.rating_a
    first = round(BEFORE_S / period_s)

    def draw(t_s: float) -> float:
        n = round(t_s / period_s)
        return before * gate.rating_a if n < first else over_a if n < first + readings else 0.0

    rows = stream({"D7": draw, "D1": 4.0, "D6": 0.1}, (first + readings) * period_s + 180.0, period_s=period_s)
    found = run(panel(gate, feed, period_s), rows)
    assert {t.subject_id for t in found} <= {"D7"}
    return [t for t in found if t.group == "dead"]


def until_open(gate: Gate, period_s: float) -> int:
    """Readings that a draw shows which ends just after the gate's longest time."""
    return floor(JUST_LONGER * gate.max_s / period_s) + 1


def while_closed(gate: Gate, period_s: float) -> int:
    """Readings of a draw that is over before the shortest time, a period before and after them counted in."""
    return min(floor(gate.min_s / period_s) - 1, round(7200.0 / period_s))


def slow_enough(seconds: float, period_s: float) -> bool:
    return period_s == max(PERIODS_S) or seconds <= LONG_S


EXCEEDED = [(g, p) for g in GATES for p in PERIODS_S if g.max_s < inf and slow_enough(g.max_s, p)]
KEPT = [(g, p) for g in GATES for p in PERIODS_S if while_closed(g, p) >= 1 and slow_enough(while_closed(g, p) * p, p)]


@pytest.mark.parametrize("feed", ["switched", "always-on"])
@pytest.mark.parametrize(("gate", "period_s"), EXCEEDED, ids=str)
def test_carried_for_longer_than_the_longest_time_and_then_nothing_is_an_opening(
    gate: Gate, period_s: float, feed: str
) -> None:
    found = carried(gate, until_open(gate, period_s), period_s, feed, ORDINARY)
    assert [(t.kind, t.cause, t.event) for t in found] == [("protection-opened", "device-opened", "begins")]


@pytest.mark.parametrize("feed", ["switched", "always-on"])
@pytest.mark.parametrize(("gate", "period_s"), KEPT, ids=str)
def test_carried_for_less_than_the_shortest_time_and_then_nothing_is_no_opening(gate: Gate, period_s: float, feed: str) -> None:
    """Without a floor nothing is said at all of a circuit that shows nothing."""
    found = carried(gate, while_closed(gate, period_s), period_s, feed, COLD)
    assert [(t.kind, t.cause) for t in found] == []
