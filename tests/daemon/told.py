"""The daemon's outward half under a clock of the test's own: real journal, real addressing; phones that take or refuse.

Alarms are written as the core would find them. `got` is what phones took: (seconds from the start, reference, text).
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

from panelward.daemon.outward import Doing, Outward
from panelward.journal import Journal, OutboxRow
from panelward.notify import SendResult
from panelward.records import Schedule, Transition
from panelward.records.outputs import GROUP_OF
from panelward.records.people import People, Person
from plans import PLAN

NOON_MS = 1_790_164_800_000  # Wed 2026-09-23 12:00 UTC
KARI = People(persons=(Person(name="Kari", refs=("Kari",), sleeping=(22 * 60, 7 * 60)),), weekly_day=None)


class Told:
    def __init__(self, folder: Path, people: People = KARI, *, start_ms: int = NOON_MS) -> None:
        self.start_ms = self.ms = start_ms
        self.journal = Journal.open(folder / "j.sqlite")
        self.doing = Doing()
        self.got: list[tuple[float, str, str]] = []
        self.heard: list[tuple[str, bool]] = []
        self.unwritten: list[bool] = []
        self.standing: dict[str, Transition] = {}
        self.addresses = {ref: f"json://{ref}" for person in people.persons for ref in person.refs}
        self.outward = Outward(
            self.journal, people, self.addresses, now_ms=lambda: self.ms, rate=1.0, doing=lambda: self.doing, prefix="",
            publish=lambda *_, **__: None, sent=lambda _: None, heard=lambda *each: self.heard.append(each), log=lambda _: None,
            unwritten=self.unwritten.append, real_s=self.real_s, monotonic=self.real_s, stands=self._stands,
        )  # fmt: skip

    def real_s(self) -> float:
        return self.ms / 1000.0

    def alarm(
        self, circuit: str = "D1", event: str = "begins", sequence: int = 1, *, kind: str = "feed-lost", priority: str = "high",
        state: str = "unacknowledged", alarm_id: str = "", told: bool = True, subject: str = "circuit", who: str = "",
        cause: str | None = None, figures: tuple[tuple[str, float], ...] = (), since_ms: int | None = None,
    ) -> None:  # fmt: skip
        """One transition, as the core finds it now."""
        found = Transition(
            id=alarm_id or f"{circuit}-{kind}", sequence=sequence, at_ms=self.ms,
            since_ms=self.start_ms - 60_000 if since_ms is None else since_ms, subject=subject, subject_id=circuit,
            group=GROUP_OF[kind], kind=kind, was=None, event=event, state=state, latched=False, priority=priority,
            cause=cause or ("unknown" if kind == "feed-lost" else None), candidates=(), confidence=None, circuits=(),
            figures=figures, evidence=(), told=told, who=who,
        )  # fmt: skip
        self.standing[found.id] = found
        if event in ("ends", "withdrawn"):
            del self.standing[found.id]
        self.outward.write([found], PLAN, None)

    def passes(self, seconds: float, result: str = "handed-over", every_s: float = 60.0) -> list[str]:
        """The texts that went out meanwhile, whatever became of them."""
        end_ms, out = self.ms + round(seconds * 1000), []
        while self.ms < end_ms:
            self.ms = min(end_ms, self.ms + round(every_s * 1000))
            out += self.sends(result)
        return out

    def sends(self, result: str = "handed-over", *, maybe_sent: bool = False) -> list[str]:
        """What is due, and what the phones' services say of it."""
        self.outward.deliver()
        out: list[str] = []
        while batches := self.outward.lanes.given():
            rows = [row for batch in batches for row in batch]
            out += [row.body for row in rows]
            known = self.outward._addresses
            became = {row.row: result if row.ref in known else "refused" for row in rows}
            self.got += [
                ((self.ms - self.start_ms) / 1000.0, row.ref, row.body) for row in rows if became[row.row] == "handed-over"
            ]
            self.outward.settle([SendResult(row.row, became[row.row], "no network", maybe_sent) for row in rows])
            self.outward.deliver()
        return out

    def rows(self, alarm_id: str | None = None) -> list[OutboxRow]:
        return self.journal.outbox_rows(alarm_id)

    @property
    def sentences(self) -> list[str]:
        return [text.partition("\n")[0] for _, _, text in self.got]

    def hour(self) -> str:
        return datetime.fromtimestamp(self.ms / 1000.0, UTC).strftime("%a %H:%M")

    def disk(self, *, fails: bool) -> None:
        """SQLite itself refuses to write from now on, or takes it again."""
        self.journal._connection.execute(f"PRAGMA query_only = {int(fails)}")

    def commits(self) -> None:
        """The daemon's own, every few seconds."""
        self.outward.commit({"real_s": self.real_s()})

    def _stands(self, alarm_id: str) -> tuple[Transition, Schedule] | None:
        """As the core would: what stands, of now."""
        found = self.standing.get(alarm_id)
        return None if found is None else (replace(found, event="changes", at_ms=self.ms, told=True), PLAN)
