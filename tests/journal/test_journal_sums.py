"""Sums by the minute and hour: exact, once of each reading, kept when the readings are gone.

The outside truth is the watch's own energy, and an integration that knows nothing of minutes.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from journals import SCHEDULE, START_MS, TEXT

from panelward.core import Core
from panelward.errors import EnvironmentFault
from panelward.journal import Journal, Sensed, schema, sensed, sumrows
from panelward.journal.octets import DamagedBlock
from panelward.journal.packing import DAY_MS, KEEP_MINUTES_DAYS
from panelward.journal.sums import Row, Sum
from panelward.records import Clock, Presence, Reading, Settings
from plans import FREEZER, SOCKETS, T0, plan

MINUTE_MS, HOUR_MS = 60_000, 3_600_000
FOR_EVER_MS = START_MS * 2
START_H = START_MS // HOUR_MS * HOUR_MS  # a whole hour
EVERY_S = {"D1": Sensed(1000, False, 12.0), "D2": Sensed(1000, False, 12.0), "C1": Sensed(1000, True, 12.0)}


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "j.sqlite"


def started(at_ms: int) -> Settings:
    return Settings(received_ms=at_ms, schedule=SCHEDULE, schedule_text=TEXT, started=True)


def opened(path: Path) -> Journal:
    journal = Journal.open(path)
    journal.sensed = EVERY_S
    return journal


def put(journal: Journal, readings: Sequence[Reading], each: int = 10) -> None:
    for n, reading in enumerate(readings):
        journal.append(reading)
        if n % each == each - 1:
            journal.commit()
    journal.commit()


def settle(journal: Journal, *, most: int = 8192) -> None:
    while journal.pack(FOR_EVER_MS):
        pass
    while journal.sum_up(most=most):
        pass


def minutes(journal: Journal) -> list[Sum]:
    return list(journal.minutes(-FOR_EVER_MS, FOR_EVER_MS))


def hours(journal: Journal) -> list[Sum]:
    return list(journal.hours(-FOR_EVER_MS, FOR_EVER_MS))


def totals(found: Sequence[Sum]) -> dict[str, tuple[int, int, int, int]]:
    out: dict[str, tuple[int, int, int, int]] = {}
    for s in found:
        a, b, c, d = out.get(s.circuit, (0, 0, 0, 0))
        out[s.circuit] = (a + s.read_ms, b + s.energy_2mwms, c + s.charge_2e4ams, d + s.samples)
    return out


def watts(at: Sequence[tuple[int, float]], circuit: str = "D1", **more: float) -> list[Reading]:
    return [Reading(circuit, t, t, volts=12.5, amps=round(w / 12.5, 4), watts=w, **more) for t, w in at]  # type: ignore[arg-type]


STEPS = st.lists(
    st.tuples(st.integers(1, 4_000) | st.sampled_from([9_999, 10_000, 10_001, 59_000, 200_000]), st.integers(-5000, 90_000)),
    min_size=2, max_size=60,
)  # fmt: skip


def walk(steps: Sequence[tuple[int, int]], circuit: str) -> list[Reading]:
    at_ms, found = START_H + 59 * MINUTE_MS, []
    for dt_ms, tenths in steps:
        at_ms += dt_ms
        found += watts([(at_ms, tenths / 10)], circuit)
    return found


@given(STEPS, st.sampled_from(["D1", "C1"]), st.sampled_from([1, 7, 8192]))
@settings(max_examples=60, deadline=None)
def test_minutes_are_hours_are_the_trapezoids_in_whole_numbers(
    tmp_path_factory: pytest.TempPathFactory, steps: list[tuple[int, int]], circuit: str, most: int
) -> None:
    found = walk(steps, circuit)
    journal = opened(tmp_path_factory.mktemp("sums") / "j.sqlite")
    put(journal, found)
    settle(journal, most=most)
    whole = read_ms = 0
    for a, b in pairwise(found):
        if circuit == "C1" or b.time_ms - a.time_ms <= 10_000:
            assert a.watts is not None
            assert b.watts is not None
            whole += (round(a.watts * 1000) + round(b.watts * 1000)) * (b.time_ms - a.time_ms)
            read_ms += b.time_ms - a.time_ms
    assert totals(minutes(journal)) == totals(hours(journal))
    assert totals(minutes(journal))[circuit][:2] == (read_ms, whole)
    assert totals(minutes(journal))[circuit][3] == len(found)
    by_hour: dict[int, int] = {}
    for s in minutes(journal):
        assert 0 <= s.read_ms <= MINUTE_MS
        by_hour[s.from_ms // HOUR_MS * HOUR_MS] = by_hour.get(s.from_ms // HOUR_MS * HOUR_MS, 0) + s.energy_2mwms
    assert by_hour == {s.from_ms: s.energy_2mwms for s in hours(journal)}
    assert all(0 <= s.read_ms <= HOUR_MS for s in hours(journal))


def test_a_trapezoid_over_the_end_of_a_minute_is_cut_where_the_line_crosses_it(path: Path) -> None:
    """From 0 to 100 W in 10 s, 3 s of it before the minute: 3 s at 15 W, 7 s at 65 W in the mean."""
    journal = opened(path)
    put(journal, watts([(START_H + 57_000, 0.0), (START_H + 67_000, 100.0)]))
    settle(journal)
    first, second = minutes(journal)
    assert (first.read_ms, second.read_ms) == (3_000, 7_000)
    assert first.energy_2mwms == 2 * 15_000 * 3_000
    assert second.energy_2mwms == 2 * 65_000 * 7_000
    assert first.energy_wh == pytest.approx(15 * 3 / 3600)
    exact = Fraction(first.energy_2mwms + second.energy_2mwms, 2)
    assert exact == Fraction(50_000 * 10_000)


def test_a_gap_is_unknown_and_not_zero(path: Path) -> None:
    journal = opened(path)
    put(journal, watts([(START_H + s * 1000, 60.0) for s in (*range(30), *range(50, 60), *range(600, 660))]))
    settle(journal)
    found = minutes(journal)
    assert [(s.from_ms - START_H) // MINUTE_MS for s in found] == [0, 10], "of the minutes between nothing is known"
    assert [s.read_ms for s in found] == [29_000 + 9_000, 59_000]
    assert [s.energy_2mwms for s in found] == [2 * 60_000 * 38_000, 2 * 60_000 * 59_000]
    assert [s.samples for s in found] == [40, 60]


def test_who_speaks_on_change_is_held_for_a_day_at_the_most(path: Path) -> None:
    """A computer that was off for a winter knows nothing of it, and the next turn is no longer for that."""
    journal = opened(path)
    at_ms = START_H, START_H + DAY_MS, START_H + 200 * DAY_MS, START_H + 20_000 * DAY_MS
    put(journal, watts([(t, 24.0) for t in at_ms], "C1"))
    settle(journal)
    assert totals(hours(journal))["C1"][:2] == (DAY_MS, 2 * 24_000 * DAY_MS)
    assert len(hours(journal)) == 24 + 3, "and hours in which something was read"


def test_least_and_greatest_and_what_is_not_measured(path: Path) -> None:
    journal = opened(path)
    bare = [Reading("D2", START_H + s * 1000, START_H + s * 1000, watts=24.0) for s in range(10)]
    probe = [Reading("T1", START_H + s * 1000, START_H + s * 1000, celsius=4.0) for s in range(10)]
    old = [Reading("D2", START_H + 5_000, START_H + 5_000, amps=99.0, origin="retained")]
    put(journal, [*watts([(START_H + s * 1000, 10.0 * s) for s in range(10)]), *bare, *probe, *old])
    settle(journal)
    one, two = minutes(journal)
    assert (one.circuit, one.least_a, one.most_a, one.least_v, one.most_v) == ("D1", 0.0, 7.2, 12.5, 12.5)
    assert (two.circuit, two.least_a, two.most_a, two.least_v, two.most_v) == ("D2", 2.0, 2.0, None, None)
    assert two.energy_2mwms == 2 * 24_000 * 9_000
    assert two.charge_ah == pytest.approx(2.0 * 9 / 3600)


@pytest.mark.parametrize("how", ["together", "amps and volts", "amps alone", "three messages", "volts seldom", "watts alone"])
def test_the_same_energy_as_the_watch_has(path: Path, how: str) -> None:
    """The one gap rule, the pairing of quantities and the rounding are the watch's: to the last unit."""
    schedule = plan(FREEZER, SOCKETS)
    core = Core()
    core.feed(Settings(received_ms=T0, schedule=schedule, started=True))
    journal = Journal.open(path)
    journal.sensed = sensed(schedule)
    period_ms = journal.sensed[SOCKETS.id].period_ms
    at_ms = T0
    for n in range(900):
        at_ms += period_ms if n % 100 != 99 else (period_ms * 2, period_ms * 3 + 1, 40 * period_ms)[n // 100 % 3]
        volts, amps = 12.5 + n % 17 / 100, n % 23 / 10
        each: list[dict[str, float]] = {
            "together": [{"volts": volts, "amps": amps, "watts": round(volts * amps * 0.97, 1)}],
            "amps and volts": [{"volts": volts, "amps": amps}],
            "amps alone": [{"amps": amps}],
            "three messages": [{"volts": volts}, {"amps": amps}, {"watts": round(volts * amps, 1)}],
            "volts seldom": [{"volts": volts, "amps": amps} if n % 7 == 0 else {"amps": amps}],
            "watts alone": [{"watts": round(volts * amps, 1)}],
        }[how]
        for quantities in each:
            for item in (SOCKETS.id, FREEZER.id):
                reading = Reading(item, at_ms, at_ms, **quantities)  # type: ignore[arg-type]
                core.feed(reading)
                journal.append(reading)
        journal.commit()
    settle(journal, most=500)
    assert core.watch is not None
    found = totals(hours(journal))
    for item in (SOCKETS.id, FREEZER.id):
        way = core.watch.ways[item]
        assert found[item][1] == way.energy_2mwms > 0
        assert way.unknown_ms > 0


def test_turns_of_any_size_give_the_same_and_a_turn_of_nothing_nothing(path: Path) -> None:
    found = [
        r
        for s in range(4000)
        for r in (*watts([(START_H + s * 1000, s % 77 / 10)]), *watts([(START_H + s * 1000 + 3, 5.0)], "D2"))
    ]
    given = []
    for most in (1, 500, 10**6):
        journal = opened(path.with_name(f"{most}.sqlite"))
        put(journal, found)
        settle(journal, most=most)
        given.append((minutes(journal), hours(journal), journal.summed_to_ms))
        assert not journal.sum_up()
        assert given[-1] == (minutes(journal), hours(journal), journal.summed_to_ms)
        journal.close()
        again = opened(path.with_name(f"{most}.sqlite"))
        assert not again.sum_up()
        assert list(again.hours(START_H, START_H + HOUR_MS, ["D2"])) == [h for h in given[-1][1] if h.circuit == "D2"][:1]
    assert given[0] == given[1] == given[2]
    assert given[0][2] == START_H + 3_999_003


def test_sums_outlive_the_readings_and_are_made_before_these_go(path: Path) -> None:
    """Nothing was packed or summed when pruning comes: it is caught up with first."""
    truth = opened(path.with_name("truth.sqlite"))
    journal = opened(path)
    found = watts([(START_H + s * 1000, s % 77 / 10) for s in range(6000)])
    for each in (truth, journal):
        put(each, found)
        for _ in range(3):
            each.append(Presence(received_ms=START_H + 6_000_000, subject="broker", name="x", here=True))
            each.commit()
            each.save_snapshot(each.last_number, {})
    settle(truth)
    while journal.prune(START_H + 5_000_000):
        pass
    assert len(list(journal.readings())) < 1100
    settle(journal)
    assert (minutes(journal), hours(journal)) == (minutes(truth), hours(truth))


@pytest.mark.parametrize("most", [50, 8192])
def test_a_clock_that_is_set_later_moves_the_sums(path: Path, most: int) -> None:
    """Of a run in 1970 nothing is summed until its time is known; one an hour slow is summed anew, and nothing twice."""
    run = watts([(10_000 + s * 1000, 36.0) for s in range(600)])
    journal = opened(path)
    journal.append(started(5_000))
    put(journal, run)
    settle(journal, most=most)
    assert minutes(journal) == []
    journal.append(Clock(received_ms=START_H, shift_ms=START_H - 610_000))
    put(journal, watts([(START_H + s * 1000, 36.0) for s in range(600)]))
    settle(journal, most=most)
    assert {s.from_ms // HOUR_MS * HOUR_MS for s in minutes(journal)} == {START_H - HOUR_MS, START_H}
    assert totals(hours(journal))["D1"][:2] == (1_199_000, 2 * 36_000 * 1_199_000)

    other = opened(path.with_name("slow.sqlite"))
    other.append(started(START_H - HOUR_MS - 1))
    early = watts([(START_H - HOUR_MS + s * 1000, 36.0) for s in range(300)])
    put(other, early)
    settle(other, most=most)
    assert {s.from_ms // HOUR_MS * HOUR_MS for s in hours(other)} == {START_H - HOUR_MS}
    other.append(Clock(received_ms=START_H + 300_000, shift_ms=HOUR_MS))
    put(other, watts([(START_H + 300_000 + s * 1000, 36.0) for s in range(300)]))
    settle(other, most=most)
    assert {s.from_ms // HOUR_MS * HOUR_MS for s in hours(other)} == {START_H}
    assert totals(hours(other)) == totals(minutes(other)) == {"D1": (599_000, 2 * 36_000 * 599_000, 2 * 28_800 * 599_000, 600)}


def test_a_correction_leaves_what_was_summed_before_it_as_it_is(path: Path) -> None:
    """Two runs of one day; the second one's clock is set: the first one's sums are the same after as before."""
    journal = opened(path)
    journal.append(started(START_H - 1))
    put(journal, watts([(START_H + s * 1000, 12.0 + s % 7) for s in range(900)]))
    settle(journal)
    before = minutes(journal)
    journal.append(started(START_H + 1_000_000 - 1))
    put(journal, watts([(START_H + 1_000_000 + s * 1000, 50.0) for s in range(300)]))
    settle(journal)
    journal.append(Clock(received_ms=START_H + 1_300_000 + 2 * HOUR_MS, shift_ms=2 * HOUR_MS))
    put(journal, watts([(START_H + 1_300_000 + 2 * HOUR_MS + s * 1000, 50.0) for s in range(60)]))
    settle(journal)
    assert minutes(journal)[: len(before)] == before
    assert totals(minutes(journal)) == totals(hours(journal))
    assert totals(minutes(journal))["D1"][0] == 899_000 + 359_000


def test_sums_are_kept_for_their_time(path: Path) -> None:
    journal = opened(path)
    for day in range(3):
        put(journal, watts([(START_H + day * DAY_MS + s * 1000, 12.0) for s in range(60)]))
    settle(journal)
    assert journal.prune_sums(START_H + KEEP_MINUTES_DAYS * DAY_MS) == 0
    journal.prune_sums(START_H + (KEEP_MINUTES_DAYS + 2) * DAY_MS)
    assert len(minutes(journal)) == 1
    assert len(hours(journal)) == 3
    journal.prune_sums(START_H + 10_000 * DAY_MS)
    assert hours(journal) == []


def test_a_journal_of_an_older_version_has_none_until_it_is_brought_up_to_date(path: Path) -> None:
    raw = sqlite3.connect(path, isolation_level=None)
    raw.execute(f"PRAGMA application_id = {schema.APPLICATION_ID}")
    raw.execute("CREATE TABLE migrations (name TEXT NOT NULL UNIQUE)")
    for each in schema.MIGRATIONS[:-1]:
        each(raw)
        raw.execute("INSERT INTO migrations VALUES (?)", (each.__name__,))
    raw.close()
    old = Journal.read(path)
    assert (minutes(old), hours(old), old.summed_to_ms, list(old.readings())) == ([], [], None, [])
    with pytest.raises(EnvironmentFault, match=r"read-only|no such table"):
        old.set_present({})
    old.close()
    journal = opened(path)
    put(journal, watts([(START_H + s * 1000, 12.0) for s in range(60)]))
    settle(journal)
    assert len(minutes(journal)) == 1


WHOLE = st.integers(0, 10**6) | st.integers(-(2**60), 2**60)
PLAIN = st.tuples(
    st.integers(0, 60_000), WHOLE, WHOLE, st.integers(-(10**6), 10**6), st.integers(-1, 10**6), st.integers(-(10**7), 10**7),
    st.integers(-1, 10**6), st.integers(0, 5000),
).map(lambda v: Row((*v[:4], v[3] + v[4], v[5], v[5] + v[6], v[7])))  # fmt: skip


@given(
    st.dictionaries(st.tuples(st.text(max_size=4), st.integers(-(10**6), 10**8).map(lambda n: n * 60_000)), PLAIN, max_size=30)
)
@settings(max_examples=150, deadline=None)
def test_rows_come_back_as_they_were(rows: dict[tuple[str, int], Row]) -> None:
    found = sumrows.read(sumrows.spell(rows, 60_000), 60_000)
    assert {key: row.values() for key, row in found.items()} == {key: row.values() for key, row in rows.items()}


def test_damaged_sums_are_told_and_passed_over(path: Path) -> None:
    body = sumrows.spell({("D1", 60_000): Row()}, 60_000)
    for length in range(len(body)):
        with pytest.raises(DamagedBlock):
            sumrows.read(body[:length], 60_000)
    journal = opened(path)
    for hour in range(2):
        put(journal, watts([(START_H + hour * HOUR_MS + s * 1000, 12.0) for s in range(60)]))
    settle(journal)
    with sqlite3.connect(path) as raw:
        raw.execute("UPDATE minute_sums SET body = X'01' WHERE from_ms = ?", (START_H,))
    raw.close()
    assert [s.from_ms for s in minutes(journal)] == [START_H + HOUR_MS]
    assert journal.damaged_blocks == 1
