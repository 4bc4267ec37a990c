"""The core: watch and alarm joined behind `feed`, `advance`, `next_deadline_ms`, `save` and `restore`.

The daemon and rehearse both use it. No clock, no I/O, no thread, no randomness: the same five inputs in the same order
give the same outputs, byte for byte.

Inside it time runs on an axis of its own: Unix time less the forward corrections of the wall clock so far. A correction
therefore fires nothing and ends nothing; every time that leaves is Unix time again.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from panelward.alarm import Alarm, Alarms, Removed, Work
from panelward.errors import PanelwardError
from panelward.records import (
    Answer,
    Clock,
    Condition,
    Doing,
    Input,
    Noted,
    Output,
    Presence,
    Reading,
    Record,
    Replaced,
    Request,
    Rezoned,
    Schedule,
    Settings,
    Transition,
)
from panelward.watch import VERSION as WATCH
from panelward.watch import Watch
from panelward.watch.panel import zone_named

VERSION = 14

PRESENCES = ("aboard", "nobody-aboard", "laid-up")
DEVICE = ("device", "fuse", "breaker")  # what a replaced device is called; any other word is the load, or a part of it


class Core:
    """One vehicle's core. The first input must be a Settings."""

    def __init__(self) -> None:
        self.watch: Watch | None = None
        self.record: Record | None = None  # what was measured at the hand-over
        self._alarms = Alarms()
        self._shift_ms = 0
        self.zone: tuple[str, str, int] | None = None  # what was asked for in the place of the schedule's: who, when
        self.offset_ms = 0  # the wall clock's, where it is set, less the axis: people's hours are on it
        self._now_ms = 0  # own axis
        self._known = False

    @property
    def schedule(self) -> Schedule:
        """The schedule in force."""
        return self._ready().schedule

    @property
    def now_ms(self) -> int:
        """Where the core stands, Unix time."""
        return self._now_ms + self._shift_ms

    @property
    def shift_ms(self) -> int:
        """From the core's own axis to Unix time."""
        return self._shift_ms

    @property
    def doing(self) -> Doing | None:
        """What the vehicle does, as far as known; None before the first settings."""
        return self.watch.doing.latest if self.watch is not None else None

    def _ready(self) -> Watch:
        if self.watch is None:
            raise PanelwardError("the core was fed before its settings: feed a Settings first")
        return self.watch

    def feed(self, record: Input) -> list[Output]:
        """Take one input; first everything that was due before it, or at its own time, comes out."""
        if isinstance(record, Reading):
            watch = self._ready()
            shift_ms = self._shift_ms
            now_ms = record.received_ms - shift_ms
            now_ms = max(now_ms, self._now_ms)
            if shift_ms or now_ms != record.received_ms:
                record = record._replace(time_ms=record.time_ms - shift_ms, received_ms=now_ms)
            out = self._advance(watch, now_ms)
            watch.reading(record)
            return self._collect(watch, out) if watch.any_found else out
        if isinstance(record, Settings):
            return self._settings(record)
        watch = self._ready()
        if isinstance(record, Clock):
            # The axis is relabelled before anything can fall due: the correction itself takes no time.
            self._shift_ms += record.shift_ms
            self._alarms.shift_ms = watch.panel.shift_ms = self._shift_ms
            if record.believed:
                self.offset_ms = watch.panel.offset_ms = record.offset_ms
        now_ms = max(self._now_ms, record.received_ms - self._shift_ms)
        out = self._advance(watch, now_ms)
        if isinstance(record, Presence):
            watch.presence(replace(record, received_ms=now_ms))
        elif isinstance(record, Request):
            if record.kind == "replaced":
                return self._replaced(record, now_ms, out)
            if record.kind == "timezone":
                return self._rezoned(watch, record, now_ms, out)
            if record.kind == "note":
                return [*self._collect(watch, out), *self._noted(record, now_ms)]
            answer = self._request(record, now_ms)
            return [*self._collect(watch, out), answer]
        return self._collect(watch, out)

    def advance(self, now_ms: int) -> list[Output]:
        """Fire the deadlines that are due by `now_ms` (Unix time), each at its own time; nothing else changes."""
        return self._advance(self._ready(), max(self._now_ms, now_ms - self._shift_ms))

    @property
    def next_deadline_ms(self) -> int | None:
        """When it next wants to be called, Unix time; None: no deadline stands."""
        watch = self._ready()
        due = [d for d in (watch.next_ms(), self._alarms.next_ms()) if d is not None]
        return min(due) + self._shift_ms if due else None

    def _advance(self, watch: Watch, now_ms: int) -> list[Output]:
        out: list[Output] = []
        while True:
            watch_ms = watch.next_ms()
            alarm_ms = self._alarms.next_ms()
            if watch_ms is not None and watch_ms <= now_ms and (alarm_ms is None or watch_ms <= alarm_ms):
                self._now_ms = max(self._now_ms, watch_ms)
                watch.fire()
                self._collect(watch, out)
            elif alarm_ms is not None and alarm_ms <= now_ms:
                self._now_ms = max(self._now_ms, alarm_ms)
                self._alarms.fire(alarm_ms)
                self._collect(watch, out)
            else:
                self._now_ms = now_ms
                return out

    def _collect(self, watch: Watch, out: list[Output]) -> list[Output]:
        for condition in watch.found():
            self._alarms.edge(condition)
        out.extend(self._alarms.out())
        out.extend(replace(doing, at_ms=doing.at_ms + self._shift_ms) for doing in watch.changes())
        return out

    def _settings(self, settings: Settings) -> list[Output]:
        out: list[Output] = []
        old = self.watch
        now_ms = max(self._now_ms, settings.received_ms - self._shift_ms) if self._known else settings.received_ms
        if old is not None and settings.started:
            old.rest(now_ms)  # before time moves: nothing fell due while nobody watched
        if old is not None:
            out = self._advance(old, now_ms)
        self._known, self._now_ms = True, now_ms
        self.zone = settings.timezone
        schedule, self.record = _in_zone(settings.schedule, self.zone), settings.record
        replaced = dict(old.replaced) if old is not None else {}
        for circuit_id, part, at_ms in settings.replaced:
            replaced[circuit_id, part] = max(at_ms, replaced.get((circuit_id, part), 0))
        if old is None or old.schedule != schedule or old.record != self.record or old.replaced != replaced:
            self._renew(schedule, replaced, now_ms, silence_from_start=settings.silence_from_start)
        self._acquaint(schedule)
        return self._withdrawn(out, now_ms)

    def _renew(
        self, schedule: Schedule, replaced: dict[tuple[str, str], int], now_ms: int, *, silence_from_start: bool
    ) -> None:  # fmt: skip
        """A watch of this schedule that keeps what the old one knows and may keep."""
        new = Watch(schedule, silence_from_start=silence_from_start, now_ms=now_ms, record=self.record, replaced=replaced)
        new.panel.shift_ms, new.panel.offset_ms = self._shift_ms, self.offset_ms
        if self.watch is not None:
            new.restore(self.watch.save())
        self.watch = new

    def _withdrawn(self, out: list[Output], now_ms: int) -> list[Output]:
        """End what stands and is not the case for the watch as it is now."""
        watch = self._ready()
        still = watch.standing()
        for alarm in self._alarms.standing():
            if alarm.active and alarm.key not in still and alarm.ends_ms is None and alarm.condition.kind != "flood":
                self._alarms.edge(_ended(alarm, now_ms))  # what it was about is gone
        self._alarms.cap(now_ms)
        return self._collect(watch, out)

    def _acquaint(self, schedule: Schedule) -> None:
        """What the alarms know of the schedule."""
        self._alarms.life = frozenset(c.id for c in schedule.circuits if c.importance == "life")
        self._alarms.vehicle = schedule.vehicle.id

    def _request(self, request: Request, now_ms: int) -> Answer:
        if request.kind == "drill":
            drill_id = self._alarms.drill(request, now_ms, self._ready().afar.known(now_ms))
            return Answer(id=request.id, done=True, why=drill_id, state="normal")
        if request.kind == "presence":
            if request.presence not in PRESENCES:
                return Answer(id=request.id, done=False, why=f"presence must be one of {', '.join(PRESENCES)}")
            self._ready().doing.tell(request.presence, now_ms)
            return Answer(id=request.id, done=True, why="", state=request.presence)
        known = request.circuit is None or any(c.id == request.circuit for c in self.schedule.circuits)
        if request.kind == "working":
            if not known and not request.done:
                return Answer(id=request.id, done=False, why=f"the schedule has no circuit '{request.circuit}'")
            return self._alarms.working(request, now_ms)
        if request.kind == "out-of-service" and request.alarm is None and not known:
            return Answer(id=request.id, done=False, why=f"the schedule has no circuit '{request.circuit}'")
        return self._alarms.request(request, now_ms)

    def _replaced(self, request: Request, now_ms: int, out: list[Output]) -> list[Output]:
        """Another load or device is there: what is known of the old one is over, what stands of it too."""
        old = self._ready()
        circuit_id, part = request.circuit or "", "device" if request.what.strip().casefold() in DEVICE else "load"
        way = old.ways.get(circuit_id)
        why = ""
        if way is None:
            why = f"the schedule has no circuit '{circuit_id}'"
        elif part == "device" and way.circuit.protection is None:
            why = f"the schedule lists no device of '{circuit_id}'"
        elif part == "load" and way.circuit.role == "meter":
            why = f"'{circuit_id}' is a meter: nothing is learned of its load"
        elif not request.who.strip():
            why = "a replacement needs who says so"
        if way is None or why:
            return [*self._collect(old, out), Answer(id=request.id, done=False, why=why)]
        self._collect(old, out)
        at_ms = now_ms + self._shift_ms
        self._renew(old.schedule, old.replaced | {(circuit_id, part): at_ms}, now_ms, silence_from_start=old.from_start)
        if part == "device":  # the cable is the old one, and as warm
            self._ready().ways[circuit_id].over.cable = way.over.cable
        out = self._withdrawn(out, now_ms)
        out.append(Replaced(at_ms=at_ms, circuit=circuit_id, part=part, what=request.what, who=request.who))
        return [*out, Answer(id=request.id, done=True, why="", state=part)]

    def _rezoned(self, watch: Watch, request: Request, now_ms: int, out: list[Output]) -> list[Output]:
        """Local time is another's from now on; nothing that is known of a circuit changes."""
        name = (request.timezone or "").strip()
        zone, was = zone_named(name), watch.schedule.vehicle.timezone
        self._collect(watch, out)
        if zone is None:
            why = f"there is no time zone '{name[:60]}': it takes a name like Europe/Oslo"
        else:
            why = "" if request.who.strip() else "a change of the time zone needs who asks for it"
        if zone is None or why:
            return [*out, Answer(id=request.id, done=False, why=why, state=was)]
        at_ms = now_ms + self._shift_ms
        self.zone = (name, request.who, at_ms)
        watch.schedule = _in_zone(watch.schedule, self.zone)
        watch.panel.rezone(zone)
        if name != was:
            out.append(Rezoned(at_ms=at_ms, timezone=name, was=was, who=request.who))
        return [*out, Answer(id=request.id, done=True, why="", state=name)]

    def _noted(self, request: Request, now_ms: int) -> list[Output]:
        """This moment is to be kept; nothing else comes of it."""
        known = request.circuit is None or any(c.id == request.circuit for c in self.schedule.circuits)
        why = "" if known else f"the schedule has no circuit '{request.circuit}'"
        why = why or ("" if request.why.strip() else "a note needs a text")
        why = why or ("" if request.who.strip() else "a note needs who writes it")
        if why:
            return [Answer(id=request.id, done=False, why=why)]
        noted = Noted(at_ms=now_ms + self._shift_ms, who=request.who, text=request.why, circuit=request.circuit)
        return [noted, Answer(id=request.id, done=True, why="", state="noted")]

    def standing(self) -> tuple[Alarm, ...]:
        """Alarms that are not over."""
        return self._alarms.standing()

    def as_it_stands(self, alarm_id: str) -> Transition | None:
        """What would be said of a standing alarm now, for a message that waited; nothing comes of it."""
        return self._alarms.as_it_stands(alarm_id, self._now_ms)

    def removed(self) -> tuple[Removed, ...]:
        """Circuits out of service; until when, on the core's own axis."""
        return self._alarms.removed()

    def works(self) -> tuple[Work, ...]:
        """Who works on which circuits; until when, on the core's own axis."""
        return self._alarms.works()

    def save(self) -> dict[str, Any]:
        """All state as plain values; restored into a core with the same schedule, nothing that follows differs."""
        return {
            "version": VERSION,
            "shift_ms": self._shift_ms,
            "offset_ms": self.offset_ms,
            "zone": list(self.zone) if self.zone is not None else None,
            "now_ms": self._now_ms,
            "replaced": [[*key, at_ms] for key, at_ms in self._ready().replaced.items()],
            "watch": self._ready().save(),
            "alarms": self._alarms.save(),
        }

    def restore(
        self, state: dict[str, Any], schedule: Schedule, *, silence_from_start: bool, record: Record | None = None
    ) -> None:
        """Take back saved state. PanelwardError where it is of another version."""
        mine, found = (VERSION, WATCH), (state.get("version"), state.get("watch", {}).get("version"))
        if found != mine:
            raise PanelwardError(f"saved state of version {found}; this program reads {mine}")
        self.offset_ms = state["offset_ms"]
        self.zone = (state["zone"][0], state["zone"][1], state["zone"][2]) if state["zone"] is not None else None
        schedule = _in_zone(schedule, self.zone)
        self._shift_ms, self._now_ms, self._known = state["shift_ms"], state["now_ms"], True
        self.record = record
        replaced = {(circuit_id, part): at_ms for circuit_id, part, at_ms in state["replaced"]}
        watch = Watch(
            schedule, silence_from_start=silence_from_start, now_ms=self._now_ms, record=record, replaced=replaced
        )  # fmt: skip
        watch.restore(state["watch"])
        watch.panel.shift_ms, watch.panel.offset_ms = self._shift_ms, self.offset_ms
        self.watch = watch
        self._alarms = Alarms(shift_ms=self._shift_ms)
        self._acquaint(schedule)
        self._alarms.restore(state["alarms"])


def _in_zone(schedule: Schedule, zone: tuple[str, str, int] | None) -> Schedule:
    if zone is None or zone_named(zone[0]) is None or schedule.vehicle.timezone == zone[0]:
        return schedule
    return replace(schedule, vehicle=replace(schedule.vehicle, timezone=zone[0]))


def _ended(alarm: Alarm, now_ms: int) -> Condition:
    return replace(alarm.condition, edge="withdrawn", at_ms=now_ms, figures=(), evidence=())
