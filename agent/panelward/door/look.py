"""A long look at the journal, in a helper process whose memory goes with it.

    door ──▶ python -m panelward.door.look --journal J … ──JSON lines──▶ Looked

Standard input names the ways. The first line of the answer tells of the look itself, each that follows of one way.
Reckoning takes about 2 µs a reading on a desk computer and some six times that on a small one: MOST_READINGS ends it there
within about 20 s. So a large journal is looked at over fewer days, and the page says over how many.
"""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import json
import os
import sys
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any
from zoneinfo import ZoneInfo

from panelward.door.held import HOUR_MS, Held, Holding, Hour, Seen
from panelward.door.words import Words
from panelward.records import Schedule

DAYS = 7.0
SPANS_H = (168.0, 120.0, 72.0, 48.0, 36.0, 24.0, 12.0, 6.0, 3.0, 1.0)
MOST_READINGS = 1_600_000
KEPT_S = 300.0  # a look is good for so long
HELPER_S = 300.0
MOST_BYTES = 64 * 1024 * 1024
NICE = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class Looked:
    """What a look found. A way's part is made from its line when it is asked for."""

    from_ms: int
    to_ms: int
    wanted_ms: int  # it was to begin here
    begins_ms: int  # the journal itself begins here
    clock_sets: int  # how often the clock was set in the span
    clock_most_ms: int  # by how much at the most
    damaged: int  # blocks that could not be read
    lines: Mapping[str, bytes] = field(default_factory=dict)

    @property
    def span_s(self) -> float:
        return (self.to_ms - self.from_ms) / 1000

    @property
    def shortened(self) -> bool:
        """The journal reaches further back, but there is too much of it."""
        return self.from_ms > max(self.wanted_ms, self.begins_ms)

    def way(self, circuit: str) -> Seen | None:
        """None: it was not asked for."""
        line = self.lines.get(circuit)
        return None if line is None else seen_of(json.loads(line))


def seen_of(body: Mapping[str, Any]) -> Seen:
    """A way's part from its plain values."""
    return Seen(
        held=tuple(Held(seconds=s, amps=a, begins_ms=b) for s, a, b in body["held"]),
        hours=tuple(Hour(begins_ms=b, mean_a=m, low_a=lo, high_a=hi, unread_s=u) for b, m, lo, hi, u in body["hours"]),
        unread_share=body["unread_share"],
        readings=body["readings"],
    )


def plain_of(circuit: str, seen: Seen) -> dict[str, Any]:
    """The other way."""
    return {
        "id": circuit,
        "held": [[held.seconds, round(held.amps, 4), held.begins_ms] for held in seen.held],
        "hours": [
            [h.begins_ms, None if h.mean_a is None else round(h.mean_a, 4), h.low_a, h.high_a, round(h.unread_s, 3)]
            for h in seen.hours
        ],
        "unread_share": round(seen.unread_share, 6),
        "readings": seen.readings,
    }


def span_text(seconds: float, t: Words) -> str:
    """3 days, 5 h: rounded down, so that no more is said than was looked at."""
    days, hours = int(seconds // 86_400), int(seconds // 3600)
    if days >= 2:
        return t("look.days", count=days)
    return t("look.hours", count=hours) if hours >= 1 else f"{int(seconds // 60)} min"


def question(schedule: Schedule) -> dict[str, Any]:
    """Which ways, and how often each is read."""
    periods = {monitor.name: monitor.expect_every_s for monitor in schedule.monitors}
    return {
        "circuits": {
            c.id: [periods[c.monitor], c.sense.publishes == "on-change"] for c in schedule.circuits if c.monitor in periods
        }
    }


def begins_ms(counted: Callable[[int], int], wanted_ms: int, to_ms: int, most: int = MOST_READINGS) -> int:
    """Where to begin, so that no more than `most` readings are looked at; at the least the last hour."""
    if counted(wanted_ms) <= most:
        return wanted_ms
    spans = [round(hours * HOUR_MS) for hours in SPANS_H]
    starts = [to_ms - span for span in spans if to_ms - span > wanted_ms]
    return next((start for start in starts if counted(start) <= most), starts[-1] if starts else wanted_ms)


# In the helper.


def reckon(journal: Any, asked: Mapping[str, Any], wanted_ms: int, to_ms: int, zone: ZoneInfo, most: int) -> list[str]:
    """The lines of the answer."""
    from datetime import UTC, datetime

    from panelward.journal.pace import pace_s

    first = journal.first_received_ms
    from_ms = begins_ms(journal.readings_since, max(wanted_ms, first if first is not None else to_ms - 1), to_ms, most)
    seen_s = pace_s(journal, to_ms, asked["circuits"])  # a monitor may publish less often than is written
    local = datetime.fromtimestamp(to_ms / 1000, UTC).astimezone(zone).utcoffset()
    offset_ms = round(local.total_seconds() * 1000) if local else 0
    ways = {
        circuit: Holding(
            _period_s(period_s, seen_s.get(circuit), on_change), from_ms, to_ms, on_change=on_change, offset_ms=offset_ms
        )
        for circuit, (period_s, on_change) in asked["circuits"].items()
    }
    for found in journal.amps(from_ms, to_ms, ways):
        ways[found.circuit].take(found.times_ms, found.amps)
    sets = journal.clock_sets(from_ms)
    head = {
        "from_ms": from_ms,
        "to_ms": to_ms,
        "wanted_ms": wanted_ms,
        "begins_ms": first if first is not None else to_ms,
        "clock_sets": len(sets),
        "clock_most_ms": max(map(abs, sets), default=0),
        "damaged": journal.damaged_blocks,
    }
    lines = [json.dumps(head)]
    lines += [json.dumps(plain_of(circuit, way.seen()), separators=(",", ":")) for circuit, way in ways.items()]
    return lines


def _period_s(written_s: float, seen_s: float | None, on_change: bool) -> float:
    """As it is seen, where that is longer than is written."""
    return written_s if on_change or seen_s is None else max(written_s, seen_s)


def _main() -> int:
    from panelward.errors import PanelwardError
    from panelward.journal import Journal

    parser = argparse.ArgumentParser(prog="panelward.door.look")
    parser.add_argument("--journal", required=True)
    parser.add_argument("--from-ms", type=int, required=True)
    parser.add_argument("--to-ms", type=int, required=True)
    parser.add_argument("--timezone", default="UTC")
    parser.add_argument("--most", type=int, default=MOST_READINGS)
    args = parser.parse_args()
    with contextlib.suppress(OSError):
        os.nice(NICE)
    try:
        journal = Journal.read(args.journal)
        try:
            lines = reckon(journal, json.load(sys.stdin), args.from_ms, args.to_ms, ZoneInfo(args.timezone), args.most)
        finally:
            journal.close()
    except PanelwardError as error:
        print(error, file=sys.stderr)
        return 3
    sys.stdout.write("\n".join(lines) + "\n")
    return 0


# In the door.


class Looks:
    """One look at a time, kept for some minutes. Nobody waits for it longer than he wants to."""

    def __init__(self, journal: str) -> None:
        self._journal = journal
        self._task: asyncio.Task[None] | None = None
        self._process: asyncio.subprocess.Process | None = None
        self._made_s = float("-inf")
        self._of: tuple[str, str] | None = None
        self.found: Looked | None = None
        self.fault = ""

    async def ask(self, schedule: Schedule, plan_hash: str, to_ms: int, timezone: str, *, wait_s: float) -> Looked | None:
        """The newest look. A new one is begun where that is old; None: there is none yet, ask again in a while."""
        of = (plan_hash, timezone)
        if self._of is not None and self._of[0] != plan_hash:
            self.found = None  # of another schedule: its ways may be others
        stale = time.monotonic() - self._made_s > KEPT_S or self._of != of
        if stale and (self._task is None or self._task.done()):
            self._of = of
            self._task = asyncio.create_task(self._look(schedule, to_ms, timezone), name="look")
        if self.found is None and self._task is not None and not self._task.done():
            await asyncio.wait({self._task}, timeout=wait_s)
        return self.found

    @property
    def looking(self) -> bool:
        return self._task is not None and not self._task.done()

    async def end(self) -> None:
        """No helper outlives the door."""
        if self._task is not None:
            self._task.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await self._task
        await self._end_process()

    async def _look(self, schedule: Schedule, to_ms: int, timezone: str) -> None:
        from_ms = to_ms - round(DAYS * 24 * HOUR_MS)
        words = (sys.executable, "-m", "panelward.door.look", "--journal", self._journal, "--from-ms", str(from_ms))
        pipe = asyncio.subprocess.PIPE
        try:
            self._process = await asyncio.create_subprocess_exec(
                *words, "--to-ms", str(to_ms), "--timezone", timezone, stdin=pipe, stdout=pipe, stderr=pipe
            )
            out, err = await asyncio.wait_for(self._process.communicate(json.dumps(question(schedule)).encode()), HELPER_S)
            if self._process.returncode:
                self.fault = err.decode(errors="replace").strip()[-300:] or "the look ended early"
            else:
                self.found, self.fault = looked(out), ""
        except (OSError, ValueError, KeyError, TimeoutError) as error:
            self.fault = str(error) or type(error).__name__
            await self._end_process()
        self._made_s = time.monotonic()

    async def _end_process(self) -> None:
        if self._process is not None and self._process.returncode is None:
            with contextlib.suppress(ProcessLookupError):
                self._process.kill()
            await self._process.wait()


def looked(out: bytes) -> Looked:
    """The answer of the helper. ValueError, KeyError where it is none."""
    if len(out) > MOST_BYTES:
        raise ValueError(f"a look of {len(out)} bytes")
    head, *lines = out.splitlines()
    return Looked(**json.loads(head), lines={json.loads(line)["id"]: line for line in lines})


if __name__ == "__main__":
    sys.exit(_main())
