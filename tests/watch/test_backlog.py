"""Readings that come late in a burst, after a gap of the link: history, never now. Streams are invented.

Energy and heat carry on over them; nothing that was over before they came is told.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

import pytest

from panelward.core import Core
from panelward.records import Output, Reading, Settings, Transition
from panelward.wording import message
from plans import DETECTOR, FREEZER, SOCKETS, T0, Draw, plan, stream

VAN = plan(FREEZER, SOCKETS, DETECTOR)
FLUSH_MS = 3  # between two readings of a flush


def flushed(
    draws: dict[str, Draw | float], from_s: float, until_s: float, *, origin: str, volts: Draw | float = 13.0
) -> Iterator[Reading]:
    """What was measured in between, all of it received at `until_s` in one burst."""
    rows = stream(draws, until_s - from_s - 2.0, start_ms=T0 + round(from_s * 1000), volts=volts)
    for n, reading in enumerate(rows):
        yield reading._replace(received_ms=T0 + round(until_s * 1000) + n * FLUSH_MS, origin=origin)


def fed(*parts: Iterable[Reading], schedule: object = VAN) -> tuple[list[Transition], Core]:
    core = Core()
    out: list[Output] = list(core.feed(Settings(received_ms=T0, schedule=schedule, started=True)))  # type: ignore[arg-type]
    for part in parts:
        for reading in part:
            out += core.feed(reading)
    return [t for t in out if isinstance(t, Transition)], core


def after(t0_s: float, draws: dict[str, Draw | float], seconds: float) -> list[Reading]:
    return list(stream(draws, seconds, start_ms=T0 + round(t0_s * 1000)))


def said(found: list[Transition]) -> list[tuple[str, str, str]]:
    return [(t.subject_id, t.kind, t.event) for t in found if t.kind != "readings-overdue"]


RUNNING: dict[str, Draw | float] = {"D1": 4.0, "D6": 0.1, "D7": 3.0}
ORIGINS = pytest.mark.parametrize("origin", ["backlog", "live"])  # a monitor says so, or only the two times show it


@ORIGINS
def test_a_feed_lost_and_back_within_it_is_not_told_as_now(origin: str) -> None:
    lost = RUNNING | {"D1": lambda t: 0.0 if 300 <= t < 1500 else 4.0}
    found, _ = fed(stream(RUNNING, 60), flushed(lost, 62, 3600, origin=origin), after(3660, RUNNING, 300))
    assert said(found) == []


@ORIGINS
def test_the_monitors_silence_is_told_once_and_so_is_its_end(origin: str) -> None:
    found, _ = fed(stream(RUNNING, 60), flushed(RUNNING, 62, 3600, origin=origin), after(3660, RUNNING, 300))
    assert [(t.subject, t.event) for t in found] == [("monitor", "begins"), ("monitor", "ends")]
    whole = Core()
    whole.feed(Settings(received_ms=T0, schedule=VAN, started=True))
    out = [o for r in stream(RUNNING, 60) for o in whole.feed(r)] + whole.advance(T0 + 1_800_000)
    for part in (flushed(RUNNING, 62, 3600, origin=origin), after(3660, RUNNING, 300)):
        out += [o for r in part for o in whole.feed(r)]
    assert [(o.subject_id, o.event) for o in out if isinstance(o, Transition)] == [("dc", "begins"), ("dc", "ends")]


@ORIGINS
def test_energy_within_it_counts(origin: str) -> None:
    _, core = fed(stream(RUNNING, 60), flushed(RUNNING, 62, 3600, origin=origin), after(3600, RUNNING, 60))
    assert core.watch is not None
    way = core.watch.ways["D7"]
    assert way.energy_wh() == pytest.approx(39.0 * 3660 / 3600, rel=1e-3)
    assert way.unknown_ms == 0


@ORIGINS
def test_the_heat_of_an_overload_within_it_lasts_until_now(origin: str) -> None:
    """17.6 A on 15 A until the end of the gap: the device is warm now, and what goes on is told with its true beginning."""
    over = RUNNING | {"D7": lambda t: 17.6 if t >= 3000 else 3.0}
    history, core = fed(stream(RUNNING, 60), flushed(over, 62, 3600, origin=origin))
    assert said(history) == []
    assert core.watch is not None
    assert core.watch.ways["D7"].over.quick_heat() > 0.9
    rested, _ = fed(stream(RUNNING, 60), flushed(over, 62, 3600, origin=origin), after(3600, RUNNING, 300))
    assert said(rested) == []
    goes_on = RUNNING | {"D7": 17.6}
    found, _ = fed(stream(RUNNING, 60), flushed(over, 62, 3600, origin=origin), after(3600, goes_on, 60))
    (told,) = (t for t in found if t.kind == "overcurrent-approach")
    assert (told.event, told.since_ms) == ("begins", T0 + 3_062_000)
    assert told.at_ms >= T0 + 3_600_000


@ORIGINS
def test_a_drain_within_it_is_judged_from_its_own_hours(origin: str) -> None:
    """A run longer than its longest that ended within it is not told; one that goes on is told at once, from its start."""
    long = RUNNING | {"D1": lambda t: 4.0 if t < 12_000 else 0.12}
    found, _ = fed(stream(RUNNING, 60), flushed(long, 62, 14_000, origin=origin), after(14_000, RUNNING | {"D1": 0.12}, 60))
    assert said(found) == []
    found, _ = fed(stream(RUNNING, 60), flushed(RUNNING, 62, 14_000, origin=origin), after(14_000, RUNNING, 60))
    assert [(t.kind, t.since_ms) for t in found if t.kind != "readings-overdue"] == [("overlong-run", T0)]


@ORIGINS
def test_values_that_can_not_be_within_it_are_no_suspicion_now(origin: str) -> None:
    odd = RUNNING | {"D7": -4.0}
    found, _ = fed(stream(RUNNING, 60), flushed(odd, 62, 3600, origin=origin), after(3600, RUNNING, 60))
    assert said(found) == []


@ORIGINS
def test_a_bus_near_its_cut_off_within_it_is_over(origin: str) -> None:
    low = flushed(RUNNING, 62, 3600, origin=origin, volts=11.7)
    found, _ = fed(stream(RUNNING, 60), low, after(3600, RUNNING, 300))
    assert said(found) == []


def test_a_flush_at_its_own_pace_is_no_clock_step_where_the_monitor_says_that_it_is_one() -> None:
    """Replayed at two seconds a reading, an hour late for an hour: a constant difference of the two times, like a step."""
    late = [
        r._replace(received_ms=r.time_ms + 3_600_000, origin="backlog")
        for r in stream(RUNNING | {"D1": lambda t: 0.0 if 300 <= t < 1500 else 4.0}, 3598)
    ]
    found, core = fed(late, after(7200, RUNNING, 300))
    assert said(found) == []
    assert core.watch is not None
    assert core.watch.ways["D7"].energy_wh() == pytest.approx(39.0 * 3598 / 3600 + 39.0 * 300 / 3600, rel=1e-3)
    twin, _ = fed([r._replace(origin="live") for r in late])
    assert {(t.kind, t.cause) for t in twin if t.subject_id == "D7"} == {("reading-suspect", "clock-step")}


def test_what_comes_after_now_is_late_and_goes_nowhere() -> None:
    """Live readings first, the flush between them: it is not after its own last, so neither heat nor energy take it."""
    live = after(3600, RUNNING, 120)
    flood = list(flushed({"D7": 24.0}, 62, 3630, origin="backlog"))
    mixed = sorted([*live, *flood], key=lambda r: r.received_ms)
    found, core = fed(stream(RUNNING, 60), mixed)
    plain, same = fed(stream(RUNNING, 60), live)
    assert said(found) == said(plain) == []
    assert core.watch is not None
    assert same.watch is not None
    assert core.watch.ways["D7"].energy_2mwms == same.watch.ways["D7"].energy_2mwms
    assert core.watch.ways["D7"].late == 2 * len(flood) + len(flood)  # volts, amps and watts of each


@ORIGINS
def test_a_feed_lost_within_it_and_still_lost_is_told_once_when_now_is_known(origin: str) -> None:
    lost = RUNNING | {"D1": lambda t: 0.0 if t >= 1500 else 4.0}
    now = RUNNING | {"D1": 0.0}
    found, _ = fed(stream(RUNNING, 60), flushed(lost, 62, 3600, origin=origin), after(3600, now, 300))
    dead = [t for t in found if t.group == "dead"]
    assert [(t.subject_id, t.event) for t in dead] == [("D1", "begins")]
    assert dead[0].at_ms >= T0 + 3_600_000
    assert dead[0].since_ms == T0 + (62 + 1500) * 1000, "when it was measured to be lost"


@ORIGINS
def test_what_was_lost_and_back_and_is_lost_now_is_lost_since_the_last_time(origin: str) -> None:
    lost = RUNNING | {"D1": lambda t: 0.0 if 300 <= t < 1500 or t >= 2400 else 4.0}
    now = RUNNING | {"D1": 0.0}
    found, _ = fed(stream(RUNNING, 60), flushed(lost, 62, 3600, origin=origin), after(3600, now, 300))
    assert [t.since_ms for t in found if t.group == "dead"] == [T0 + (62 + 2400) * 1000]


@ORIGINS
def test_what_stopped_just_before_the_gap_and_drew_in_it_is_not_lost_since_then(origin: str) -> None:
    first = RUNNING | {"D1": lambda t: 0.0 if t >= 58 else 4.0}
    lost = RUNNING | {"D1": lambda t: 0.0 if t >= 2400 else 4.0}
    now = RUNNING | {"D1": 0.0}
    found, _ = fed(stream(first, 60), flushed(lost, 62, 3600, origin=origin), after(3600, now, 300))
    assert [t.since_ms for t in found if t.group == "dead"] == [T0 + (62 + 2400) * 1000]


@ORIGINS
@pytest.mark.parametrize(("missing_s", "since_s"), [(60, 62 + 1500), (600, 3600 + 600)], ids=["a minute", "ten minutes"])
def test_what_lies_in_a_hole_of_it_is_not_known(origin: str, missing_s: int, since_s: int) -> None:
    lost = RUNNING | {"D1": lambda t: 0.0 if t >= 1500 else 4.0}
    now = RUNNING | {"D1": 0.0}
    history = flushed(lost, 62, 3600, origin=origin)
    found, _ = fed(stream(RUNNING, 60), history, after(3600 + missing_s, now, 300))
    assert [t.since_ms for t in found if t.group == "dead"] == [T0 + since_s * 1000]


@ORIGINS
def test_a_fuse_that_opened_within_it_is_named_by_the_draw_of_then(origin: str) -> None:
    """Twice a 15 A fuse's rating for a minute: longer than it bears (the gates' 2.0: 5 s at the most)."""
    opened = RUNNING | {"D7": lambda t: 3.0 if t < 1500 else 30.0 if t < 1560 else 0.0}
    now = RUNNING | {"D7": 0.0}
    found, _ = fed(stream(RUNNING, 60), flushed(opened, 62, 3600, origin=origin), after(3600, now, 300))
    (told,) = (t for t in found if t.group == "dead")
    assert (told.kind, told.cause, told.since_ms) == ("protection-opened", "device-opened", T0 + (62 + 1560) * 1000)
    assert told.at_ms >= T0 + 3_600_000
    hand = RUNNING | {"D7": lambda t: 3.0 if t < 1560 else 0.0}
    twin, _ = fed(stream(RUNNING, 60), flushed(hand, 62, 3600, origin=origin), after(3600, now, 300))
    assert said(twin) == []


@ORIGINS
def test_two_that_were_lost_at_different_times_did_not_stop_together(origin: str) -> None:
    lost = RUNNING | {"D1": lambda t: 0.0 if t >= 1500 else 4.0, "D6": lambda t: 0.0 if t >= 2400 else 0.1, "D7": 0.0}
    apart, _ = fed(stream(RUNNING, 60), flushed(lost, 62, 3600, origin=origin), after(3600, dict.fromkeys(RUNNING, 0.0), 300))
    found = [(t.subject, t.subject_id, t.since_ms) for t in apart if t.group == "dead"]
    assert found == [("circuit", "D1", T0 + 1_562_000), ("circuit", "D6", T0 + 2_462_000)]
    lost |= {"D6": lambda t: 0.0 if t >= 1502 else 0.1}
    together, _ = fed(
        stream(RUNNING, 60), flushed(lost, 62, 3600, origin=origin), after(3600, dict.fromkeys(RUNNING, 0.0), 300)
    )
    found = [(t.subject, t.subject_id, t.since_ms) for t in together if t.group == "dead"]
    assert found == [("supply", "house", T0 + 1_562_000)]


SLOW = replace(VAN, monitors=(replace(VAN.monitors[0], expect_every_s=60.0),))
DAY_S = 30 * 3600 + 60


def test_the_first_messages_after_a_day_name_its_day_and_say_no_now() -> None:
    """30 h without a link at a reading a minute: what was lost meanwhile carries its weekday."""
    lost = RUNNING | {"D1": lambda t: 0.0 if t >= 1500 else 4.0}
    before = stream(RUNNING, 600, period_s=60.0)
    rows = stream(lost, DAY_S - 720, period_s=60.0, start_ms=T0 + 660_000)
    history = [r._replace(received_ms=T0 + DAY_S * 1000 + n, origin="backlog") for n, r in enumerate(rows)]
    now = stream(RUNNING | {"D1": 0.0}, 900, period_s=60.0, start_ms=T0 + DAY_S * 1000)
    found, _ = fed(before, history, now, schedule=SLOW)
    first, back, dead = found
    assert (first.kind, back.event, dead.kind) == ("readings-overdue", "ends", "feed-lost")
    assert message(back, SLOW) == "Readings from dc are back since 12:01, after 30 h. Those of the time between come in late."
    assert dead.since_ms == T0 + (660 + 1500) * 1000
    assert message(dead, SLOW).endswith("No draw for 29 h, since Fri 06:36.")
    twin, _ = fed(
        stream(RUNNING, 600, period_s=60.0), stream(RUNNING, 60, period_s=60.0, start_ms=T0 + DAY_S * 1000), schedule=SLOW
    )
    assert message(twin[-1], SLOW).endswith("What happened in between is not known.")
