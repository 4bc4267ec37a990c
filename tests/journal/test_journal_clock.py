"""Journal times once the clock is known: begun in 1970, set by the network, set back, drifting; shown, exported, pruned."""

from __future__ import annotations

import io
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from journal.journals import SCHEDULE, TEXT, message, parse, transition
from panelward.clock import HostClock
from panelward.intake import write_table
from panelward.journal import Journal
from panelward.journal.corrected import DRIFT, Mark, of_axis, of_number, spans
from panelward.records import Clock, Reading, Settings

NOW = datetime(2026, 7, 4, 12, 0, tzinfo=UTC)
NOW_S = NOW.timestamp()
DAY_MS = 86_400_000


class Vehicle:
    """A computer whose wall clock shows the true time plus an error, over restarts, with the daemon's own clock."""

    def __init__(self, path: Path, error_s: float) -> None:
        self.path, self.error_s, self.true_s, self.mono_s = path, error_s, NOW_S, 50.0
        self.journal = Journal.open(path)
        self.last_ms = 0
        self.start()

    def start(self) -> None:
        self.clock = HostClock(
            not_before_ms=self.last_ms + 1 if self.last_ms else 0,
            wall=lambda: self.true_s + self.error_s, monotonic=lambda: self.mono_s,
        )  # fmt: skip
        self.give(Settings(received_ms=self.clock.now_ms(), schedule=SCHEDULE, schedule_text=TEXT, started=True))
        if self.clock.offset_ms:
            self.give(Clock(received_ms=self.clock.now_ms(), offset_ms=self.clock.offset_ms))

    def give(self, item: Reading | Clock | Settings) -> None:
        self.last_ms = max(self.last_ms, item.received_ms)
        self.journal.append(item)

    def reads(self, seconds: int, every: int = 10, own: bool = False) -> None:
        for _ in range(0, seconds, every):
            self.true_s += every
            self.mono_s += every
            found = self.clock.correction()
            if found is not None:
                self.give(found)
            now_ms = self.clock.now_ms()
            time_ms = round(self.true_s * 1000) - 2000 if own else now_ms
            self.give(Reading("D1", time_ms, now_ms, amps=self.true_s - NOW_S))
        self.journal.commit()

    def off(self, seconds: float, error_s: float | None = None) -> None:
        self.journal.commit()
        self.true_s += seconds
        self.mono_s = 5.0
        self.error_s = self.error_s if error_s is None else error_s
        self.start()

    def errors_s(self) -> list[float]:
        """Of each reading: shown less true, in whole seconds."""
        return [round(r.received_ms / 1000 - NOW_S - (r.amps or 0.0)) for r in self.journal.readings()]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "j.sqlite"


def test_what_was_read_in_1970_is_shown_at_the_time_that_it_was(path: Path) -> None:
    van = Vehicle(path, 30.0 - NOW_S)
    van.reads(600)
    assert {r.received_ms < DAY_MS for r in van.journal.readings()} == {True}, "nothing else is known yet"
    van.error_s = 0.0
    van.reads(600)
    assert set(van.errors_s()) == {0}
    out = io.StringIO()
    assert write_table(van.journal.readings(), out) == 120
    first = out.getvalue().splitlines()[1]
    assert first.startswith("2026-07-04T12:00:10.000Z,D1,")
    raw = [item.received_ms for _, item in van.journal.inputs_after(0, parse) if isinstance(item, Reading)]
    assert raw[0] < DAY_MS, "a replay reads what the core was fed"


def test_a_clock_that_begins_where_the_computer_was_switched_off(path: Path) -> None:
    """Boards without a clock restore the last time they knew: it can be, and is hours late. The network sets it."""
    van = Vehicle(path, 0.0)
    van.reads(300)
    van.off(7200, error_s=-7200.0)
    van.reads(300)
    assert set(van.errors_s()[30:]) == {-7200}
    van.error_s = 0.0
    van.reads(300)
    assert set(van.errors_s()) == {0}
    assert len(list(van.journal.readings(from_ms=round((NOW_S + 7500) * 1000)))) == 60
    assert len(list(van.journal.readings(to_ms=round((NOW_S + 7500) * 1000)))) == 30


def test_a_clock_that_ran_ahead_and_was_set_back(path: Path) -> None:
    """A dead battery's 2030: the axis stays there, what is shown does not; nor after a restart, nor after 40 days."""
    van = Vehicle(path, 4 * 365 * 86400.0)
    van.reads(300)
    van.error_s = 0.0
    van.reads(300)
    assert set(van.errors_s()) == {0}
    van.off(600)
    van.reads(300)
    assert set(van.errors_s()) == {0}
    for _ in range(3):
        van.journal.save_snapshot(van.journal.last_number, {})
    van.journal.prune(round((NOW_S + 1300) * 1000))
    shown = van.errors_s()
    assert set(shown) == {0}
    assert len(shown) == 30, "what is older by the clock that holds went"
    assert van.journal.last_received_ms == round(van.true_s * 1000)


def test_a_run_that_was_never_set_ended_before_the_next_began(path: Path) -> None:
    van = Vehicle(path, 30.0 - NOW_S)
    van.reads(300)
    van.off(100.0, error_s=30.0 - NOW_S - 400.0)
    van.reads(300)
    van.error_s = 0.0
    van.reads(100)
    shown = van.errors_s()
    assert set(shown[30:]) == {0}
    assert set(shown[:30]) == {100}, "how long it was off is not known: at the latest"
    received = [r.received_ms for r in van.journal.readings()]
    assert received == sorted(received)


def test_what_may_be_drift_is_not_carried_back(path: Path) -> None:
    """A month without network at 50 ppm is 130 s: half-way back it was half as much, so nothing is touched."""
    assert DRIFT == 500e-6  # RFC 5905, appendix A.1.1: MAXFREQ (from memory)
    day = [Mark(1, 0, True), Mark(500, 86_400_000 + 43_000, False, 43_000)]
    at = 1_790_000_000_000
    slow = [mark._replace(received_ms=mark.received_ms + at) for mark in day]
    assert spans(slow) == ()
    wrong = [slow[0], slow[1]._replace(received_ms=slow[1].received_ms + 1000, shift_ms=44_000)]
    assert of_number(spans(wrong), 2) == (1, 500, at, 44_000, False)


def test_a_wall_clock_that_is_lost_in_between_is_not_followed() -> None:
    """A receiver that falls back to 1970 and recovers."""
    at = 1_790_000_000_000
    marks = [Mark(1, at, True), Mark(50, at + 60_000, False, 0, -at), Mark(90, at + 120_000, False, 0, 0)]
    assert spans(marks) == ()
    assert spans(marks[:2]) == ()


def test_by_time_and_by_number_are_the_same() -> None:
    at = 1_790_000_000_000
    found = spans([Mark(1, 30_000, True), Mark(50, at, False, at - 90_000), Mark(60, at + 99_000, False, 0, -7_200_000)])
    assert of_axis(found, 45_000) == 45_000 + (at - 90_000) - 7_200_000
    assert of_axis(found, at + 5000) == at + 5000 - 7_200_000
    assert of_axis(found, at + 100_000) == at + 100_000 - 7_200_000
    assert [span.add_ms for span in found] == [at - 7_290_000, -7_200_000, -7_200_000]
    assert of_number(found, 49) == found[0]
    assert of_axis((), 5) == 5


def test_a_monitors_own_time_is_not_moved_by_our_clock(path: Path) -> None:
    """Ours was two hours ahead, and could be; the monitor's was right, and its backlog is up to a day old."""
    van = Vehicle(path, 7200.0)
    van.reads(100, own=True)
    van.error_s = 0.0
    van.reads(100, own=True)
    assert set(van.errors_s()) == {0}
    assert {r.time_ms - r.received_ms for r in van.journal.readings()} == {-2000}


def test_alarms_and_doings_of_before_are_shown_at_their_time(path: Path) -> None:
    van = Vehicle(path, 30.0 - NOW_S)
    van.reads(100)
    told = transition("a")
    told.object.update(time=130.0, since=100.0)  # type: ignore[attr-defined]
    van.journal.doing([{"at_ms": 100_000, "laid_up": True}])
    van.journal.commit([told], [message("a")])
    assert van.journal.standing()[0]["since"] == 100.0
    van.error_s = 0.0
    van.reads(100)
    shown = van.journal.standing()[0]
    assert datetime.fromtimestamp(shown["since"], UTC) == NOW + timedelta(seconds=70)
    assert van.journal.last_transitions(5) == [shown]
    assert shown["time"] == NOW_S + 100
    assert van.journal.doings() == [{"at_ms": round((NOW_S + 70) * 1000), "laid_up": True}]


def test_readings_of_1970_are_not_pruned_as_fifty_years_old(path: Path) -> None:
    van = Vehicle(path, 30.0 - NOW_S)
    van.reads(600)
    van.error_s = 0.0
    van.reads(100)
    for _ in range(3):
        van.journal.save_snapshot(van.journal.last_number, {})
    van.journal.prune(round((NOW_S - 3600) * 1000))
    assert set(van.errors_s()) == {0}
    assert len(van.errors_s()) == 70
    van.journal.prune(round((NOW_S + 605) * 1000))
    assert set(van.errors_s()) == {0}
    assert len(van.errors_s()) == 10


def test_where_no_clock_was_ever_set_all_stays_as_it_is(path: Path) -> None:
    """Simulated time of another year, a host that stays in 1970."""
    van = Vehicle(path, 30.0 - NOW_S)
    van.reads(100)
    van.off(50.0, error_s=30.0 - NOW_S)
    van.reads(100)
    shown = [r.received_ms for r in van.journal.readings()]
    assert shown == [r.received_ms for _, r in van.journal.inputs_after(0, parse) if isinstance(r, Reading)]


def test_what_was_spared_keeps_the_time_that_it_was(path: Path) -> None:
    """Around a note of a run that began in 1970, pruned weeks after; what dates it stays, a run that spared nothing goes."""
    van = Vehicle(path, 30.0 - NOW_S)
    for _ in range(60):
        van.reads(60)
    note = {"at_ms": round((30.0 + 1800) * 1000), "kind": "note", "who": "K", "changed": (), "found": (), "why": "x"}
    van.journal.changed([note])
    van.error_s = 0.0
    van.reads(3600)
    van.off(600)
    van.reads(600)
    van.off(30 * 86400)
    van.reads(600)
    for _ in range(3):
        van.journal.save_snapshot(van.journal.last_number, {})
    starts = "SELECT count(*) FROM inputs WHERE kind = 'settings'"
    assert van.journal._ask(starts) == [(3,)]
    for _ in range(3):
        van.journal.prune(round((NOW_S + 86400) * 1000))
    shown = [r.received_ms / 1000 - NOW_S for r in van.journal.readings()]
    spared = [at_s for at_s in shown if at_s < 86400]
    assert 120 <= len(spared) <= 132, "a reading every ten seconds for twenty minutes, and whole blocks"
    assert min(spared) == pytest.approx(1200, abs=70)
    assert max(spared) == pytest.approx(2400, abs=70)
    assert set(van.errors_s()) == {0}
    assert van.journal._ask(starts) == [(2,)]
    assert [row["at_ms"] for row in van.journal.notes()] == [round((NOW_S + 1800) * 1000)]
