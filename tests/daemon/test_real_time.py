"""Messages that wait while the clock is set: none is lost by it, none goes out early, none waits for the other century."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from daemon.test_clock import Host
from journal.journals import message, transition
from panelward.clock import RealTime
from panelward.daemon.outward import Doing, Outward
from panelward.journal import Journal, OutboxRow
from panelward.records.people import everybody

NOW_S = 1_790_000_000.0
KEEPS_S = 86_400.0


class Phones:
    """The daemon's part: outbox and delivery's clock, over restarts; nothing is sent."""

    def __init__(self, path: Path, wall_s: float) -> None:
        self.path, self.host = path, Host(wall_s)
        self.start()

    def start(self) -> None:
        self.journal = Journal.open(self.path)
        self.journal.recover()
        self.real = RealTime(self.journal.newest_waiting_s(), wall=lambda: self.host.wall_s, monotonic=lambda: self.host.mono_s)
        self.outward = Outward(
            self.journal, everybody(("phone",)), {"phone": "json://phone"}, now_ms=lambda: 0, rate=1.0, doing=Doing, prefix="",
            publish=lambda *_, **__: None, sent=lambda _: None, heard=lambda *_: None, log=lambda _: None,
            real_s=self.real.now_s,
        )  # fmt: skip
        if self.real.first_step_s:
            assert self.outward.clock_was_set(self.real.first_step_s, hours=False)

    def turn(self) -> None:
        step_s = self.real.step_s()
        if step_s and self.outward.clock_was_set(step_s, hours=self.real.set):
            self.real.follow(step_s)

    def off(self, wall_s: float) -> None:
        self.journal.close()
        self.host.wall_s, self.host.mono_s = wall_s, 3.0
        self.start()

    def waits(self, alarm: str, after_s: float = 0.0, **keys: object) -> None:
        now_s = self.real.now_s()
        made = replace(
            message(alarm), created_real_s=now_s, due_real_s=now_s + after_s, expires_real_s=now_s + after_s + KEEPS_S, **keys
        )
        self.journal.commit([transition(alarm, state="normal")], [made])  # what is over may run out

    def row(self, alarm: str) -> OutboxRow:
        return self.journal.outbox_rows(alarm)[0]

    def due_in_s(self, alarm: str) -> float:
        return self.row(alarm).due_real_s - self.real.now_s()

    def looked(self) -> list[str]:
        """What would go out now, after what is too old was given up."""
        self.journal.expire(self.real.now_s())
        return [row.alarm_id for row in self.journal.due(self.real.now_s())]


@pytest.mark.parametrize("step_s", [NOW_S, 3600.0, -3600.0, 40 * 86_400.0, -40 * 86_400.0])
def test_a_step_neither_loses_a_message_nor_holds_one_back(tmp_path: Path, step_s: float) -> None:
    """Network and time come at the same moment: what was found before must not be too old by then."""
    phones = Phones(tmp_path / "j.sqlite", 30.0 if step_s == NOW_S else NOW_S)
    phones.waits("at-once")
    phones.waits("next-person", 900.0, until_answered=True, step="again-1")
    phones.host.passes(60.0)
    phones.turn()
    phones.host.wall_s += step_s
    phones.turn()
    assert phones.real.now_s() == pytest.approx(phones.host.wall_s)
    assert phones.looked() == ["at-once"]
    assert phones.due_in_s("next-person") == pytest.approx(840.0)
    phones.host.passes(841.0)
    phones.turn()
    assert phones.looked() == ["at-once", "next-person"]
    phones.host.passes(KEEPS_S)
    assert phones.looked() == [], "a day is a day all the same"


def test_what_waits_for_an_hour_comes_at_that_hour(tmp_path: Path) -> None:
    """The morning and the evening sheet are hours of the day: a clock that was an hour wrong does not move them."""
    for n, step_s in enumerate((3600.0, -3600.0)):
        phones = Phones(tmp_path / f"{n}.sqlite", NOW_S)
        phones.waits("sheet", 7200.0, on_sheet=True)
        phones.host.wall_s += step_s
        phones.turn()
        assert phones.row("sheet").due_real_s == pytest.approx(NOW_S + 7200.0)
    phones.host.wall_s += 86_400.0 * 20
    phones.turn()
    assert phones.looked() == ["sheet"], "past its hour it goes out; it is not too old by a step"


def test_of_1970_no_hour_can_be_known(tmp_path: Path) -> None:
    phones = Phones(tmp_path / "j.sqlite", 30.0)
    phones.waits("sheet", 7200.0, on_sheet=True)
    phones.host.wall_s = NOW_S
    phones.turn()
    assert phones.due_in_s("sheet") == pytest.approx(7200.0)


def test_slewing_and_the_published_step_threshold_move_nothing(tmp_path: Path) -> None:
    """RFC 5905: steps from 0.128 s; below it slews, at most 500 ppm. Ours follows from 1 s, and what is below adds up."""
    phones = Phones(tmp_path / "j.sqlite", NOW_S)
    phones.waits("later", 900.0, until_answered=True, step="again-1")
    for _ in range(7):
        phones.host.wall_s += 0.128
        phones.turn()
    assert phones.real.now_s() == NOW_S
    phones.host.wall_s += 0.128
    phones.turn()
    assert phones.real.now_s() == pytest.approx(NOW_S + 8 * 0.128)
    assert phones.due_in_s("later") == pytest.approx(900.0)


def test_a_restart_between_1970_and_the_right_time_loses_nothing_either(tmp_path: Path) -> None:
    phones = Phones(tmp_path / "j.sqlite", 30.0)
    phones.waits("found-in-1970")
    phones.off(NOW_S)
    assert phones.looked() == ["found-in-1970"]
    assert phones.row("found-in-1970").created_real_s == pytest.approx(NOW_S)


def test_a_restart_into_1970_goes_on_where_it_was(tmp_path: Path) -> None:
    """With a network but no time yet, what waits goes out all the same, and then the clock is set."""
    phones = Phones(tmp_path / "j.sqlite", NOW_S)
    phones.waits("of-before")
    phones.off(12.0)
    assert phones.looked() == ["of-before"]
    phones.waits("of-now")
    phones.host.passes(30.0)
    phones.turn()
    phones.host.wall_s = NOW_S + 7200.0
    phones.turn()
    assert phones.looked() == ["of-before", "of-now"]
    assert phones.real.now_s() == NOW_S + 7200.0


def test_the_time_off_counts_where_both_clocks_can_be(tmp_path: Path) -> None:
    phones = Phones(tmp_path / "j.sqlite", NOW_S)
    phones.waits("old")
    phones.off(NOW_S + KEEPS_S + 1.0)
    assert phones.looked() == []
    assert phones.row("old").status == "expired"


def test_a_wall_clock_that_falls_back_to_1970_is_not_followed(tmp_path: Path) -> None:
    phones = Phones(tmp_path / "j.sqlite", NOW_S)
    phones.waits("later", 900.0)
    phones.host.wall_s = 5.0
    phones.turn()
    phones.host.passes(900.0)
    phones.turn()
    assert phones.looked() == ["later"]


def test_the_hours_limit_of_an_address_moves_along(tmp_path: Path) -> None:
    """At most so many an hour: set back by an hour, the last hour's are still the last hour's, no more."""
    phones = Phones(tmp_path / "j.sqlite", NOW_S)
    phones.waits("sent", priority="medium")
    phones.journal.mark_trying([1])
    phones.journal.settle(1, "handed-over", now_s=phones.real.now_s())
    phones.host.passes(600.0)
    phones.host.wall_s -= 7200.0
    phones.turn()
    for gone_s, taken in ((0.0, 1), (2900.0, 1), (200.0, 0)):
        phones.host.passes(gone_s)
        assert phones.journal.handed_over_since("notify-1", phones.real.now_s() - 3600.0) == taken
