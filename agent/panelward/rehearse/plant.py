"""Faults planted into one's own readings: which message they would have had, word for word, and when.

    WHERE KIND WHEN [for 2h]      freezer feed-lost 02:10      "Bench sockets" overload Tue 14:00 for 20min

WHERE is a position, a label or a word of it, a feeder, a supply or a monitor. WHEN is local: the first such time at least an
hour after the readings begin, or a day and a time. Each fault runs in a week of its own, beside the readings as they are.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from panelward.errors import BadInput
from panelward.records import Circuit, Reading, Record, Schedule
from panelward.rehearse import faults, plain, told, unfound
from panelward.rehearse.beside import Compared, Message, Run
from panelward.rehearse.change import Change, Since
from panelward.rehearse.fused import Fused
from panelward.rehearse.meter import Meters
from panelward.rehearse.named import KINDS, Named, named
from panelward.schedule.values import most_like, printable
from panelward.wording import say, title

LEAD_MS = 3600_000
MOST_PLANTS = 8
THROUGH = ("overload", "stall")  # what opens a device
WHOLE = 3  # messages that are shown as they stand on the phone, of the others the sentence
DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
FORM = '"WHERE KIND WHEN", like "freezer feed-lost 02:10"'
_LASTS = re.compile(r"\s+for\s+([0-9]{1,4}(?:\.[0-9]+)?)\s*(s|min|h|d)$", re.IGNORECASE)
_SECONDS = {"s": 1.0, "min": 60.0, "h": 3600.0, "d": 86_400.0}
_CLOCK = re.compile(r"^(?:([a-z]{3})[a-z]*\s+)?([0-9]{1,2}):([0-9]{2})$", re.IGNORECASE)


@dataclass(slots=True)
class Plant:
    """One fault: what, where, and when it begins once the first reading tells what week it is."""

    text: str
    part: Named
    kind: str
    when: str
    lasts_ms: int | None
    changes: dict[str, Change]
    from_ms: int | None = None
    begun: bool = False
    changed: int = 0  # readings that are otherwise
    compared: Compared = field(default_factory=Compared)

    @property
    def fused(self) -> Fused | None:
        """The draw through its device, where it is one."""
        return next((change for change in self.changes.values() if isinstance(change, Fused)), None)

    def from_its_end(self, message: Message) -> bool:
        """Does it come of the plant's own end: nothing that the fault would have done?"""
        return self.lasts_ms is not None and self.from_ms is not None and message.at_ms >= self.from_ms + self.lasts_ms

    @property
    def found(self) -> list[Message]:
        """The messages that the readings as they are do not have, in time order."""
        others = [after for before, after in self.compared.otherwise if before.text != after.text]
        return sorted((*self.compared.only_after, *others), key=lambda m: m.at_ms)


def plants(wanted: Sequence[str], schedule: Schedule) -> tuple[Plant, ...]:
    """The faults asked for. BadInput: what was not understood, with the kinds that there are."""
    if len(wanted) > MOST_PLANTS:
        raise BadInput(f"--plant: {len(wanted)} faults; at most {MOST_PLANTS} at once, each runs beside the readings")
    return tuple(_plant(text, schedule) for text in wanted)


def _plant(text: str, schedule: Schedule) -> Plant:
    lasting = _LASTS.search(text)
    rest = text[: lasting.start()] if lasting else text
    kinds = "|".join(sorted(faults.ALL, key=len, reverse=True))
    found = re.fullmatch(rf"\s*(?P<where>\S.*?)\s+(?P<kind>{kinds})\s+(?P<when>\S.*?)\s*", rest, re.IGNORECASE)
    timeless = re.fullmatch(rf"\s*\S.*?\s+(?:{kinds})\s*", rest, re.IGNORECASE)
    if found is None and timeless is not None:
        raise BadInput(
            f'--plant "{printable(text)}": the time is missing: when does it begin? For example "{printable(rest.strip())} '
            '02:10", Tue 02:10 or 2026-05-05T02:10'
        )
    if found is None:
        raise BadInput(f'--plant "{printable(text)}": wanted {FORM}. {_kinds(rest)}')
    kind, when = found["kind"].casefold(), found["when"]
    of = [each for each in KINDS if kind in faults.KINDS[each]]
    where = found["where"].strip("\"'")
    try:
        part = named(schedule, where, of, text)
    except BadInput:
        part = named(schedule, where, whole=text)  # then the kinds that it can have are named
    if _resolved(when, schedule.vehicle.timezone, 0) is None:
        raise BadInput(
            f'--plant "{printable(text)}": wanted when, like 02:10, Tue 02:10 or 2026-05-05T02:10; found "{printable(when)}"'
        )
    lasts_ms = round(1000 * float(lasting[1]) * _SECONDS[lasting[2].casefold()]) if lasting else None
    return Plant(text, part, kind, when, lasts_ms, faults.changes(schedule, part, kind))


def _kinds(text: str) -> str:
    near = next((n for n in (most_like(word, faults.ALL) for word in text.split()) if n), "")
    hint = f"Did you mean {near}? " if near else ""
    return f"{hint}The kinds are: {', '.join(faults.ALL)}"


def _resolved(when: str, timezone: str, first_ms: int) -> int | None:
    """Unix milliseconds; None: it is no time."""
    zone = ZoneInfo(timezone)
    clock = _CLOCK.match(when)
    if clock is None:
        try:
            moment = datetime.fromisoformat(when)
        except ValueError:
            return None
        if not 1970 < moment.year < 3000:
            return None
        return round((moment if moment.tzinfo else moment.replace(tzinfo=zone)).timestamp() * 1000)
    day, hour, minute = clock[1], int(clock[2]), int(clock[3])
    if hour > 23 or minute > 59 or (day is not None and day.casefold() not in DAYS):
        return None
    earliest = datetime.fromtimestamp((first_ms + LEAD_MS) / 1000.0, UTC).astimezone(zone)
    at = earliest.replace(hour=hour, minute=minute, second=0, microsecond=0)
    if at < earliest:
        at += timedelta(days=1)
    while day is not None and DAYS[at.weekday()] != day.casefold():
        at += timedelta(days=1)
    return round(at.timestamp() * 1000)


class Planted:
    """One fault's readings."""

    def __init__(self, schedule: Schedule, plant: Plant) -> None:
        self._plant = plant
        self._circuits = {c.id: c for c in schedule.circuits}
        self.meters = Meters(schedule)
        self._last: dict[str, Reading] = {}
        self._volts: dict[str, float] = {}

    def saw(self, reading: Reading) -> None:
        """A reading from before it."""
        self._last[reading.circuit] = reading
        if reading.volts is not None:
            self._volts[reading.circuit] = reading.volts

    def begins(self, at_ms: int) -> Iterator[Reading]:
        """What is published at once by who publishes changes only."""
        for circuit_id in self._plant.changes:
            circuit, last = self._circuits.get(circuit_id), self._last.get(circuit_id)
            if circuit is None or last is None or circuit.sense.publishes != "on-change":
                continue
            held = last._replace(time_ms=at_ms, received_ms=at_ms, commanded=None)
            other = self.take(held)
            if other is not None and other != held:
                yield other

    def take(self, reading: Reading) -> Reading | None:
        """A reading as the fault has it; None: none comes."""
        plant, begun_ms = self._plant, self._plant.from_ms
        change = plant.changes.get(reading.circuit)
        circuit = self._circuits.get(reading.circuit)
        over = begun_ms is None or (plant.lasts_ms is not None and reading.time_ms >= begun_ms + plant.lasts_ms)
        if reading.volts is not None:
            self._volts[reading.circuit] = reading.volts
        if change is None or begun_ms is None or reading.time_ms < begun_ms or over:
            if circuit is not None and not self.meters.meters(circuit.id):
                if reading.amps is not None:
                    self.meters.note(circuit, 0.0, 0.0)
                return reading
            return self.meters.moved(circuit, reading) if circuit is not None else reading
        seconds = (reading.time_ms - begun_ms) / 1000.0
        since = Since(seconds, self._last.get(reading.circuit), self._volts.get(reading.circuit))
        other = change(reading, since)
        plant.changed += other != reading
        if circuit is not None and not self.meters.meters(circuit.id):
            self._noted(circuit, reading, other)
        return other

    def _noted(self, circuit: Circuit, reading: Reading, other: Reading | None) -> None:
        """Of what is not read, or read stuck, nothing else flows; the meter shows what does."""
        if self._plant.kind in ("overdue", "stuck") or other is None:
            return
        if reading.amps is not None and other.amps is not None:
            self.meters.note(circuit, reading.amps, other.amps)


@dataclass(frozen=True, slots=True)
class Answer:
    """All faults, and the readings' end."""

    schedule: Schedule
    plants: tuple[Plant, ...]
    first_ms: int | None
    last_ms: int | None

    def sentences(self) -> Iterator[str]:
        """For a person; a line that begins with | is what the phone shows."""
        zone = self.schedule.vehicle.timezone
        for plant in self.plants:
            if not plant.begun:
                continue
            when = say.day_clock(plant.from_ms, zone) if plant.from_ms is not None else plant.when
            lasts = f", for {say.lasting(plant.lasts_ms / 1000.0)}" if plant.lasts_ms is not None else ""
            what = faults.KINDS[plant.part.kind][plant.kind]
            date = f" ({_date(plant.from_ms, zone)})" if plant.from_ms is not None else ""
            yield f"Planted: {plant.part.title}, {plant.kind}, {when}{date}{lasts}: {what}."
            found = plant.found
            yield from self._device(plant, zone)
            if not found:
                until = say.day_clock(self.last_ms, zone) if self.last_ms is not None else ""
                yield f"No message: nothing would have told you by {until}, where the readings end."
                yield from unfound.why(
                    self.schedule, plant.part, plant.kind, list(plant.changes), plant.changed, self._lasted_s(plant),
                    plant.fused is not None and plant.fused.opened_ms is not None,
                )  # fmt: skip
            for number, message in enumerate(found[: told.SHOWN]):
                at = say.day_clock(message.at_ms, zone)
                yield f"{at}, {self._after(plant, message)}, {message.priority}: {message.kind}{_ended(plant, message)}."
                if number >= WHOLE:
                    yield f"| {message.text}"
                    continue
                yield f"| {title(self.schedule)}"
                for line in message.phone.split("\n"):
                    yield f"| {line}"
            if len(found) > told.SHOWN:
                yield f"… and {told.many(len(found) - told.SHOWN, 'more message')}; --json has them."
            gone = [*plant.compared.only_before]
            if gone:
                yield f"{told.many(len(gone), 'message')} of the readings as they are would not have come."

    def _device(self, plant: Plant, zone: str) -> Iterator[str]:
        """When its device opens on what is planted."""
        fused = plant.fused
        if fused is None or plant.kind not in THROUGH:
            return
        if not fused.known:
            yield "When its device opens is not published for its type: what is planted is taken to flow on."
        elif fused.opened_ms is not None:
            until = "until what was planted ends" if plant.lasts_ms is not None else "from then on"
            at = say.day_clock(fused.opened_ms, zone)
            after = say.lasting(max(1.0, (fused.opened_ms - (plant.from_ms or 0)) / 1000.0))
            yield (
                f"Its device opens by {at}, {after} after that began, as the likely one of its type does from cold; nothing "
                f"flows {until}."
            )

    def _lasted_s(self, plant: Plant) -> float:
        """For how long it was there."""
        until_ms = self.last_ms or 0
        if plant.lasts_ms is not None and plant.from_ms is not None:
            until_ms = min(until_ms, plant.from_ms + plant.lasts_ms)
        return max(1.0, (until_ms - (plant.from_ms or 0)) / 1000.0)

    def outside(self) -> Iterator[str]:
        """Of each that could not be planted, why: its time is not among the readings."""
        zone = self.schedule.vehicle.timezone
        for plant in self.plants:
            if not plant.begun:
                date = f" ({_date(plant.from_ms, zone)})" if plant.from_ms is not None else ""
                yield (
                    f'--plant "{printable(plant.text)}": not planted: the readings {self._span(zone)}, and '
                    f"{printable(plant.when)}{date} is not among them. Name a time that is, or another --from and --to"
                )

    def as_json(self) -> dict[str, Any]:
        return {
            "from": None if self.first_ms is None else self.first_ms / 1000.0,
            "to": None if self.last_ms is None else self.last_ms / 1000.0,
            "plants": [
                {
                    "asked": plant.text,
                    "subject": {plant.part.kind: plant.part.id},
                    "kind": plant.kind,
                    "planted": plant.begun,
                    "begins": None if plant.from_ms is None else plant.from_ms / 1000.0,
                    "lasts_s": None if plant.lasts_ms is None else plant.lasts_ms / 1000.0,
                    "readings_changed": plant.changed,
                    "device_opens": None
                    if plant.fused is None or not plant.fused.opened_ms
                    else plant.fused.opened_ms / 1000.0,
                    "messages": [
                        plain.message_json(m)
                        | {"title": title(self.schedule), "body": m.phone, "after_s": _after_s(plant, m)}
                        | {"from_its_end": plant.from_its_end(m)}
                        for m in plant.found
                    ],
                    "not_sent": [plain.message_json(m) for m in plant.compared.only_before],
                }
                for plant in self.plants
            ],
        }

    def _span(self, zone: str) -> str:
        if self.first_ms is None or self.last_ms is None:
            return "are none"
        return f"go from {_date(self.first_ms, zone)} to {_date(self.last_ms, zone)}"

    @staticmethod
    def _after(plant: Plant, message: Message) -> str:
        return f"{say.lasting(_after_s(plant, message))} later"


def _ended(plant: Plant, message: Message) -> str:
    return ", from the end of what was planted" if plant.from_its_end(message) else ""


def _after_s(plant: Plant, message: Message) -> float:
    return max(0.0, (message.at_ms - (plant.from_ms or 0)) / 1000.0)


def _date(at_ms: int, zone: str) -> str:
    return datetime.fromtimestamp(at_ms / 1000.0, UTC).astimezone(ZoneInfo(zone)).strftime("%Y-%m-%d %H:%M")


def planted(
    wanted: Sequence[Plant], schedule: Schedule, readings: Iterable[Reading], *, until_ms: int | None = None,
    record: Record | None = None,
) -> Answer:  # fmt: skip
    """The readings as they are, and from its own moment on beside them each fault's."""
    as_read = Run(schedule, record)
    making = [Planted(schedule, plant) for plant in wanted]
    runs: dict[int, Run] = {}
    first_ms: int | None = None
    last_ms: int | None = None
    for frame in Meters(schedule).frames(readings):
        now_ms = frame[0].received_ms
        if first_ms is None:
            first_ms = now_ms
            for plant in wanted:
                plant.from_ms = _resolved(plant.when, schedule.vehicle.timezone, first_ms)
        last_ms = now_ms
        for i, (plant, maker) in enumerate(zip(wanted, making, strict=True)):
            if not plant.begun and plant.from_ms is not None and first_ms <= plant.from_ms <= now_ms:
                plant.begun = True
                runs[i] = as_read.branch()
                for reading in maker.begins(plant.from_ms):
                    plant.compared.take([], runs[i].feed(reading), (as_read, runs[i]))
        others = {i: _of_moment(making[i], frame) for i in runs}
        for at, reading in enumerate(frame):
            found = as_read.feed(reading)
            for i, maker in enumerate(making):
                if i not in runs:
                    maker.saw(reading)
                    continue
                other = others[i][at]
                told_of = runs[i].feed(other) if other is not None else runs[i].advance(reading.received_ms)
                wanted[i].compared.take(found, told_of, (as_read, runs[i]))
    if until_ms is not None:
        found = as_read.advance(until_ms)
        for i, run in runs.items():
            wanted[i].compared.take(found, run.advance(until_ms), (as_read, run))
    for plant in wanted:
        plant.compared.end()
    return Answer(schedule, tuple(wanted), first_ms, last_ms)


def _of_moment(maker: Planted, frame: Sequence[Reading]) -> list[Reading | None]:
    """The circuits first, then their meter."""
    out: list[Reading | None] = [None if maker.meters.meters(r.circuit) else maker.take(r) for r in frame]
    return [maker.take(r) if maker.meters.meters(r.circuit) else other for r, other in zip(frame, out, strict=True)]
