"""Messages on their way: none is marked as being sent that was not handed to the sender."""

from __future__ import annotations

import json
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from alarm.edges import edge
from brokers import wait_for
from daemon.test_real_time import NOW_S
from journal.journals import message, transition
from panelward.alarm import Alarms
from panelward.daemon.outward import Doing, Outward
from panelward.errors import EnvironmentFault
from panelward.journal import Journal
from panelward.notify import SendResult
from panelward.records import Request
from panelward.records.people import People, Person, everybody
from plans import PLAN, T0
from sinks import Sink


class Fitful(Journal):
    """A journal whose disk fails for one question, of which `fails` is the name: the real one otherwise."""

    fails = ""

    def _fail(self, name: str) -> None:
        if self.fails == name:
            self.fails = ""
            raise EnvironmentFault(f"{self.path}: the disk fails to read or write.")

    def next_due_s(self) -> float | None:
        self._fail("next_due_s")
        return super().next_due_s()

    def attempts(self, row: int) -> int:
        self._fail("attempts")
        return super().attempts(row)

    def last_transitions(self, limit: int, alarm_id: str | None = None) -> list[dict[str, object]]:
        self._fail("last_transitions")
        return super().last_transitions(limit, alarm_id)

    def handed_over_since(self, ref: str, since_s: float) -> int:
        self._fail("handed_over_since")
        return super().handed_over_since(ref, since_s)


@pytest.mark.parametrize("fails", ["", "next_due_s", "attempts", "handed_over_since"])
@pytest.mark.parametrize("behaviour", ["200", "500"])
def test_a_disk_that_fails_for_a_moment_leaves_no_message_half_way(tmp_path: Path, fails: str, behaviour: str) -> None:
    journal = Fitful.open(tmp_path / "j.sqlite")
    results: list[list[SendResult]] = []
    with Sink(behaviour) as sink:
        outward = Outward(
            journal, everybody(("notify-1",)), {"notify-1": sink.url}, now_ms=lambda: 0, rate=1.0, doing=Doing, prefix="",
            publish=lambda *_, **__: None, sent=results.append, heard=lambda *_: None, log=lambda _: None, real_s=lambda: NOW_S,
        )  # fmt: skip
        outward.start()
        try:
            rows = [
                replace(message(name, priority="medium"), created_real_s=NOW_S, due_real_s=NOW_S, expires_real_s=NOW_S + 900)
                for name in ("a", "b", "c")
            ]
            journal.commit([transition(row.alarm_id) for row in rows], rows)
            assert isinstance(journal, Fitful)
            journal.fails = fails
            for _ in range(4):
                outward.deliver()
                if wait_for(lambda: bool(results), 20 if not fails else 3):
                    outward.settle(results.pop())
                if all(row.attempts or row.status == "handed-over" for row in journal.outbox_rows()):
                    break
            left = {row.status for row in journal.outbox_rows()}
            assert left == {"handed-over" if behaviour == "200" else "waiting"}
            assert journal.fails == "" or behaviour == "200"  # it did fail
        finally:
            outward.end()
            journal.close()


def test_an_address_that_hangs_holds_no_other_up(tmp_path: Path) -> None:
    """It has one message on its way; what comes for others goes out beside it."""
    journal = Journal.open(tmp_path / "j.sqlite")
    results: list[list[SendResult]] = []
    with Sink("500", "drip") as bad, Sink("200") as good:
        urls = {"notify-1": bad.url, "notify-2": good.url}
        clock = [NOW_S]
        outward = Outward(
            journal, everybody(tuple(urls)), urls, now_ms=lambda: 0, rate=1.0, doing=Doing, prefix="",
            publish=lambda *_, **__: None, sent=results.append, heard=lambda *_: None, log=lambda _: None,
            real_s=lambda: clock[0],
        )  # fmt: skip
        outward.start()
        try:
            for name in ("a", "b"):
                rows = [
                    replace(
                        message(name, ref=ref), created_real_s=clock[0], due_real_s=clock[0], expires_real_s=clock[0] + 90_000
                    )
                    for ref in urls
                ]
                journal.commit([transition(name)], rows)
                clock[0] += 60.0  # its next try has come
                outward.deliver()
                while len(outward.lanes.on_way()) > (1 if name == "b" else 0):
                    assert wait_for(lambda: bool(results), 20)
                    outward.settle(results.pop(0))
            status = {(row.alarm_id, row.address_ref): row.status for row in journal.outbox_rows()}
            assert status[("b", "notify-2")] == "handed-over", "while the other one hangs"
            assert status[("a", "notify-1")] == "trying"
        finally:
            outward.end()
            journal.close()


def test_what_cannot_be_read_as_the_broker_comes_is_told_it_later(tmp_path: Path) -> None:
    said: list[str] = []
    told: list[str] = []

    def publish(topic: str, payload: bytes, *, retain: bool = False) -> None:
        told.append(topic)

    with closing(Fitful.open(tmp_path / "j.sqlite")) as journal:
        outward = Outward(
            journal, everybody(()), {}, now_ms=lambda: 0, rate=1.0, doing=Doing, prefix="van/", publish=publish,
            sent=lambda _: None, heard=lambda *_: None, log=said.append, real_s=lambda: NOW_S,
        )  # fmt: skip
        row = transition("D1")
        journal.commit([replace(row, object={**row.object, "subject": {"circuit": "D1"}, "group": "dead"})])
        journal.fails = "last_transitions"  # type: ignore[attr-defined]
        outward.publish_standing()
        assert (told, len(said)) == ([], 1)
        outward.commit(None)
        assert told == ["van/alarm/circuit/D1/dead"]
        outward.commit(None)
        assert len(told) == 1, "once"


def test_of_what_stands_one_that_cannot_be_published_holds_up_no_other(tmp_path: Path) -> None:
    """An older journal holds half an emoji; the link refuses a topic: the others are told, and it is said once."""
    said: list[str] = []
    told: dict[str, bytes] = {}

    def publish(topic: str, payload: bytes, *, retain: bool = False) -> None:
        if "/D2/" in topic:
            raise ValueError("Publish topic cannot contain wildcards.")
        told[topic] = payload

    journal = Journal.open(tmp_path / "j.sqlite")
    outward = Outward(
        journal, everybody(()), {}, now_ms=lambda: 0, rate=1.0, doing=Doing, prefix="van/", publish=publish,
        sent=lambda _: None, heard=lambda *_: None, log=said.append, real_s=lambda: NOW_S,
    )  # fmt: skip
    try:
        rows = []
        for name in ("D1", "D2", "D3"):
            row = transition(name)
            shown = {**row.object, "subject": {"circuit": name}, "group": "dead", "who": "Kari \ud83d"}
            rows.append(replace(row, subject_id=name, object=shown))
        journal.commit(rows)
        for _ in range(2):
            outward.publish_standing()
    finally:
        journal.close()
    assert list(told) == ["van/alarm/circuit/D1/dead", "van/alarm/circuit/D3/dead"]
    assert all(json.loads(payload)["who"] == "Kari ?" for payload in told.values())
    assert len(said) == 1
    assert "D2" in said[0]


@pytest.mark.parametrize("changed", [True, False])
@pytest.mark.parametrize(("away", "back"), [("shelve", "unshelve"), ("out-of-service", "in-service"), ("working", "working")])
def test_a_high_alarm_that_is_let_out_while_it_stands_sounds_and_repeats_as_if_it_began(
    tmp_path: Path, away: str, back: str, changed: bool
) -> None:
    """However much was said of it before: nobody has answered it since."""
    journal, alarms = Journal.open(tmp_path / "j.sqlite"), Alarms()
    ada = Person(name="Ada", refs=("Ada",), priorities=("high",))
    outward = Outward(
        journal, People(persons=(ada,)), {"Ada": "json://ada"}, now_ms=lambda: T0, rate=1.0, doing=Doing, prefix="",
        publish=lambda *_, **__: None, sent=lambda _: None, heard=lambda *_: None, log=lambda _: None, real_s=lambda: NOW_S,
    )  # fmt: skip

    def said() -> list[tuple[str, bool]]:
        known = len(journal.outbox_rows())
        outward.write(alarms.out(), PLAN, None)
        rows = journal.outbox_rows()[known:]
        journal.settle([row.id for row in rows if row.step in ("begun", "changed")], "handed-over", "", now_s=NOW_S)
        return [(row.step, row.on_sheet) for row in rows]

    def ask(kind: str, *, done: bool = False) -> None:
        request = Request(kind=kind, received_ms=T0, circuit="D1", who="Ada", for_s=600.0, done=done)
        assert (alarms.working if kind == "working" else alarms.request)(request, T0 + 120_000).done

    rises = [("again-1", False), ("again-2", False)]
    alarms.edge(edge("D1", priority="high"))
    assert said() == [("begun", False), *rises]
    if changed:
        alarms.edge(edge("D1", "changes", 60, priority="high", cause="load-failed", since_ms=T0))
        assert said() == [("changed", False)]
    ask(away)
    if away == "working":  # what comes while somebody works there is held back
        alarms.edge(edge("D1", "changes", 130, priority="high", cause="unknown", since_ms=T0))
    assert said() == []
    ask(back, done=True)
    assert said() == [("changed", False), *rises]
    journal.close()


def test_an_address_that_takes_long_holds_no_other_up(tmp_path: Path) -> None:
    """Its three messages go one behind the other; what comes for another meanwhile is taken before they are."""
    journal = Journal.open(tmp_path / "j.sqlite")
    results: list[list[SendResult]] = []
    with Sink("hang") as slow, Sink("200") as good:
        urls = {"notify-1": f"{slow.url}?rto=60", "notify-2": good.url}
        outward = Outward(
            journal, everybody(tuple(urls)), urls, now_ms=lambda: 0, rate=1.0, doing=Doing, prefix="",
            publish=lambda *_, **__: None, sent=results.append, heard=lambda *_: None, log=lambda _: None,
            real_s=lambda: NOW_S,
        )  # fmt: skip
        outward.start()
        try:
            for name, ref in (("a", "notify-1"), ("b", "notify-1"), ("c", "notify-1"), ("d", "notify-2"), ("e", "notify-2")):
                row = replace(message(name, ref=ref), created_real_s=NOW_S, due_real_s=NOW_S, expires_real_s=NOW_S + 90_000)
                journal.commit([transition(name)], [row])
                outward.deliver()
                while ref == "notify-2" and journal.outbox_rows(name)[0].status != "handed-over":
                    assert wait_for(lambda: bool(results), 20)
                    outward.settle(results.pop(0))
                    outward.deliver()
            assert {row.alarm_id: row.status for row in journal.outbox_rows()} == {
                "a": "trying", "b": "waiting", "c": "waiting", "d": "handed-over", "e": "handed-over"
            }  # fmt: skip
        finally:
            outward.end()
            journal.close()
