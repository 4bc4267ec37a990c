"""From a message to Readings, by the dialect of the monitor whose topic it matches."""

from __future__ import annotations

import json
import re
from collections import deque
from math import isfinite
from typing import Any, NamedTuple

from panelward.errors import PayloadRefused
from panelward.intake.pointer import NotThere, resolve
from panelward.intake.refusals import Refusals
from panelward.intake.senml import QUANTITY_OF_UNIT
from panelward.intake.senml import resolve as resolve_senml
from panelward.records import QUANTITIES, Monitor, Presence, Reading, Schedule

LONGEST = 256 * 1024
DEEPEST = 64
LARGEST = 1e6  # volts, amps or watts beyond this are a fault of scale, not of a vehicle
OLDEST_MS = 24 * 3600_000  # a payload's time is used when at most 24 h before …
NEWEST_MS = 5_000  # … and 5 s after it was received
BACKLOG_MS = 60_000
CACHE = 4096
REMEMBERED = 32  # payloads of a topic, to know one that is delivered again …
KEPT_BYTES = 4096  # … unless it is longer than this

_TRUE = (b"1", b"true", b"on")
_FALSE = (b"0", b"false", b"off")
_DIGITS = {"volts": 4, "amps": 4, "watts": 3, "celsius": 3}
_STATES = ("closed", "commanded")
_NUMBER = re.compile(rb"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,3})?")


class _Route(NamedTuple):
    """Where an exact topic leads."""

    monitor: Monitor
    circuit: str | None
    quantity: str | None
    backlog_ms: int
    heard: deque[bytes]  # its last payloads, where they have no time of their own


class Intake:
    """All monitors of one schedule.

    One bad value or unknown circuit in a message that has good ones is passed over, and counted in `refusals`; a message
    with nothing good in it is refused as a whole, for the caller to count.
    """

    def __init__(self, schedule: Schedule, refusals: Refusals | None = None) -> None:
        self.refusals = Refusals() if refusals is None else refusals
        self._monitors = schedule.monitors
        self._known: dict[str, str | None] = {c.id: c.monitor for c in schedule.circuits}
        self._known |= {p.id: p.monitor for p in schedule.probes}
        self._patterns = [(m, _topic_pattern(m.topic)) for m in schedule.monitors]
        self._names = {m.name: _name_pattern(m.record_name) for m in schedule.monitors if m.record_name}
        self._wills: dict[str, list[Monitor]] = {}  # a gateway's state may stand for several monitors
        for m in schedule.monitors:
            if m.will:
                self._wills.setdefault(m.will.topic, []).append(m)
        self._routes: dict[str, _Route] = {}
        self._last: dict[str, tuple[int, tuple[object, ...]]] = {}  # newest with a payload's time, to know a double
        self.duplicates = 0

    def subscriptions(self) -> tuple[tuple[str, int], ...]:
        """Topic filters with their QoS."""
        filters: dict[str, int] = {}
        for monitor in self._monitors:
            filters[re.sub(r"\{\w+\}", "+", monitor.topic)] = 1
            if monitor.will:
                filters[monitor.will.topic] = 1
        return tuple(filters.items())

    def message(
        self,
        topic: str,
        payload: bytes,
        *,
        received_ms: int,
        retained: bool = False,
        dup: bool = False,
        clock_trusted: bool = True,
    ) -> tuple[Reading | Presence, ...]:
        """Readings or Presence of one message; PayloadRefused(reason, detail) where it can't be read."""
        route = self._routes.get(topic)
        if route is None:
            if topic in self._wills:
                return self._presence(self._wills[topic], payload, received_ms)
            route = self._route(topic)
        if route.quantity is not None and route.circuit is not None:
            return self._plain(route, route.circuit, route.quantity, payload, received_ms, retained, dup)
        if len(payload) > LONGEST:
            raise PayloadRefused("too-large", f"{len(payload)} bytes; at most {LONGEST}")
        document = parse(payload)
        read = self._senml if route.monitor.dialect == "senml" else self._json
        faults: list[PayloadRefused] = []
        found, timed = read(route, document, received_ms, retained, clock_trusted, faults)
        for fault in faults:
            self.refusals.add(fault, topic, payload)
        if not timed and self._again(route, payload, dup):
            return ()
        return found

    def _route(self, topic: str) -> _Route:
        for monitor, pattern in self._patterns:
            found = pattern.fullmatch(topic)
            if found is None:
                continue
            groups = found.groupdict()
            circuit, quantity = groups.get("circuit"), groups.get("quantity")
            if circuit is not None:
                self._check(circuit, monitor)
            if quantity is not None and quantity not in QUANTITIES:
                raise PayloadRefused("unknown-quantity", f"'{quantity[:40]}' is none of {', '.join(QUANTITIES)}")
            backlog_ms = max(BACKLOG_MS, round(10_000 * monitor.expect_every_s))
            plain = quantity if monitor.dialect == "plain" else None
            route = _Route(monitor, circuit, plain, backlog_ms, deque(maxlen=REMEMBERED))
            if len(self._routes) >= CACHE:
                self._routes.clear()
            self._routes[topic] = route
            return route
        raise PayloadRefused("unknown-topic", f"no monitor of the schedule has topic '{topic[:120]}'")

    def _check(self, circuit: str, monitor: Monitor) -> None:
        if circuit not in self._known:
            raise PayloadRefused("unknown-circuit", f"'{circuit[:60]}' is not in the schedule (monitor {monitor.name})")
        if self._known[circuit] not in (None, monitor.name):
            raise PayloadRefused("other-monitor", f"'{circuit[:60]}' belongs to monitor {self._known[circuit]}")

    @staticmethod
    def _presence(monitors: list[Monitor], payload: bytes, received_ms: int) -> tuple[Presence, ...]:
        text = payload[:200].decode("utf-8", "replace").strip()
        found = tuple(
            Presence(received_ms=received_ms, subject="monitor", name=monitor.name, here=text != monitor.will.gone)
            for monitor in monitors
            if monitor.will is not None and text in (monitor.will.gone, monitor.will.here)
        )
        if not found:
            raise PayloadRefused("unknown-state", f"monitor {monitors[0].name} says {text[:40]!r}")
        return found

    def _again(self, route: _Route, payload: bytes, dup: bool) -> bool:
        """Whether this is a second delivery of what was heard. DUP alone does not tell: it says that the broker has sent
        the message before, not that it reached us (MQTT 5.0 section 3.3.1.1).
        """
        if dup and payload in route.heard:
            self.duplicates += 1
            return True
        if len(payload) <= KEPT_BYTES:
            route.heard.append(payload)
        return False

    def _plain(
        self, route: _Route, circuit: str, quantity: str, payload: bytes, received_ms: int, retained: bool, dup: bool
    ) -> tuple[Reading, ...]:
        values: dict[str, Any] = {quantity: plain_value(quantity, payload)}
        if self._again(route, payload, dup):
            return ()
        return (Reading(circuit, received_ms, received_ms, origin="retained" if retained else "live", **values),)

    def _json(
        self,
        route: _Route,
        document: Any,
        received_ms: int,
        retained: bool,
        clock_trusted: bool,
        faults: list[PayloadRefused],
    ) -> tuple[tuple[Reading, ...], bool]:
        monitor, circuit = route.monitor, route.circuit
        if circuit is None:
            raise PayloadRefused("unknown-circuit", f"monitor {monitor.name}: the topic names no circuit")
        values: dict[str, Any] = {}
        for quantity, where in monitor.fields:
            try:
                raw = resolve(document, where.pointer)
            except NotThere:
                continue
            if raw is None:
                continue
            try:
                values[quantity] = _state(quantity, raw) if quantity in _STATES else _figure(quantity, raw, where.scale)
            except PayloadRefused as fault:
                faults.append(fault)
        if not values:
            if faults:
                raise faults[0]
            wanted = ", ".join(f"{q} at {w.pointer}" for q, w in monitor.fields)
            raise PayloadRefused("nothing-found", f"none of {wanted}"[:300])
        own_s: float | None = None
        if monitor.time_field is not None:
            try:
                own_s = _figure("time", resolve(document, monitor.time_field.pointer), monitor.time_field.scale)
            except NotThere:
                own_s = None
            except PayloadRefused as fault:
                faults.append(fault)
        reading, timed = self._reading(route, circuit, values, own_s, received_ms, retained, clock_trusted)
        return (() if reading is None else (reading,)), timed

    def _senml(
        self,
        route: _Route,
        document: Any,
        received_ms: int,
        retained: bool,
        clock_trusted: bool,
        faults: list[PayloadRefused],
    ) -> tuple[tuple[Reading, ...], bool]:
        now_s = received_ms / 1000.0
        by_time: dict[tuple[str, float], dict[str, Any]] = {}
        pattern = self._names.get(route.monitor.name)
        for record in resolve_senml(document, now_s):
            circuit, quantity = route.circuit, None
            if pattern is not None:
                found = pattern.fullmatch(record["n"])
                if found is None:
                    continue
                circuit = found.groupdict().get("circuit") or circuit
                quantity = found.groupdict().get("quantity")
            of_unit, scale = QUANTITY_OF_UNIT.get(record.get("u", ""), (None, 1.0))
            if "vb" in record and of_unit is None:
                of_unit = "closed"
            quantity = quantity if quantity in QUANTITIES else of_unit
            if circuit is None or quantity is None:
                continue
            raw = record.get("vb", record.get("v"))
            if raw is None:
                continue
            try:
                self._check(circuit, route.monitor)
                value = _state(quantity, raw) if quantity in _STATES else _figure(quantity, raw, scale)
            except PayloadRefused as fault:
                faults.append(fault)
                continue
            by_time.setdefault((circuit, float(record["t"])), {})[quantity] = value
        if not by_time:
            if faults:
                raise faults[0]
            raise PayloadRefused("nothing-found", f"no record names a circuit of monitor {route.monitor.name} and a quantity")
        found_all = [
            # A record without a time is resolved to now: that is none of its own.
            self._reading(route, circuit, values, None if time_s == now_s else time_s, received_ms, retained, clock_trusted)
            for (circuit, time_s), values in by_time.items()
        ]
        return tuple(reading for reading, _ in found_all if reading is not None), any(timed for _, timed in found_all)

    def _reading(
        self,
        route: _Route,
        circuit: str,
        values: dict[str, Any],
        own_s: float | None,
        received_ms: int,
        retained: bool,
        clock_trusted: bool,
    ) -> tuple[Reading | None, bool]:
        """The Reading (None: a double), and whether its time is its own."""
        time_ms = received_ms
        timed = False
        if own_s is not None and clock_trusted:
            own_ms = round(own_s * 1000)
            if received_ms - OLDEST_MS <= own_ms <= received_ms + NEWEST_MS:
                time_ms, timed = own_ms, True
        if timed:
            key = tuple(values.items())
            if self._last.get(circuit) == (time_ms, key):
                self.duplicates += 1
                return None, True
            self._last[circuit] = (time_ms, key)
        origin = "retained" if retained else "backlog" if received_ms - time_ms > route.backlog_ms else "live"
        return Reading(circuit, time_ms, received_ms, origin=origin)._replace(**values), timed


def plain_value(quantity: str, payload: bytes) -> float | bool:
    """The value of a bare payload; PayloadRefused where it is none of this quantity."""
    if quantity in _STATES:
        word = payload.strip().lower()
        if word in _TRUE:
            return True
        if word in _FALSE:
            return False
        raise PayloadRefused("not-a-state", f"{quantity} must be 1 or 0, not {payload[:40]!r}")
    # Checked for its letters only where float() might take what is no number here (nan, inf, 1_0).
    try:
        value = float(payload)
    except ValueError:
        raise PayloadRefused("not-a-number", f"{quantity} must be a number, not {payload[:40]!r}") from None
    if not -LARGEST <= value <= LARGEST or b"_" in payload:
        raise PayloadRefused("out-of-range", f"{quantity} of {payload[:40]!r}")
    return round(value, _DIGITS[quantity]) + 0.0  # no negative zero


def _figure(quantity: str, raw: Any, scale: float) -> float:
    if isinstance(raw, str) and len(raw) <= 40 and _NUMBER.fullmatch(raw.strip().encode()):
        raw = float(raw)  # some monitors put their numbers in quotes
    if isinstance(raw, bool) or not isinstance(raw, (int, float)):
        raise PayloadRefused("not-a-number", f"{quantity} must be a number, not {str(raw)[:40]!r}")
    try:
        value = float(raw) * scale
    except OverflowError:
        raise PayloadRefused("out-of-range", f"{quantity} is too large a number") from None
    if quantity == "time":
        if not isfinite(value):
            raise PayloadRefused("out-of-range", "the time is no number")
        return value
    if not -LARGEST <= value <= LARGEST:
        raise PayloadRefused("out-of-range", f"{quantity} of {value:g}")
    return round(value, _DIGITS[quantity]) + 0.0  # no negative zero


def _state(quantity: str, raw: Any) -> bool:
    if isinstance(raw, bool):
        return raw
    if isinstance(raw, (int, float)) and raw in (0, 1):
        return bool(raw)
    if isinstance(raw, str):
        word = raw.strip().lower().encode()
        if word in _TRUE or word in _FALSE:
            return word in _TRUE
    raise PayloadRefused("not-a-state", f"{quantity} must be 1 or 0, not {str(raw)[:40]!r}")


def parse(payload: bytes) -> Any:
    """The document of a JSON payload; PayloadRefused where it is none, or deeper than a monitor needs."""
    deep = most = 0
    if payload.count(b"[") + payload.count(b"{") > DEEPEST:
        for byte in payload:  # brackets within texts count too: a false alarm costs one message
            if byte in b"[{":
                deep += 1
                most = max(most, deep)
            elif byte in b"]}":
                deep -= 1
        if most > DEEPEST:
            raise PayloadRefused("too-deep", f"JSON nested more than {DEEPEST} deep")
    try:
        return json.loads(payload.decode("utf-8"), parse_constant=_no_constant)
    except UnicodeDecodeError:
        raise PayloadRefused("not-utf-8", f"{payload[:40]!r}") from None
    except (ValueError, RecursionError) as error:
        raise PayloadRefused("not-json", f"{str(error)[:80]}: {payload[:40]!r}") from None


def _no_constant(word: str) -> float:
    raise PayloadRefused("out-of-range", f"{word} is no JSON number")


def _topic_pattern(topic: str) -> re.Pattern[str]:
    return _pattern(topic, r"[^/]+")


def _name_pattern(name: str) -> re.Pattern[str]:
    return _pattern(name, r"[^/:]+")


def _pattern(text: str, group: str) -> re.Pattern[str]:
    parts = re.split(r"(\{circuit\}|\{quantity\})", text)
    made = [f"(?P<{p[1:-1]}>{group})" if p in ("{circuit}", "{quantity}") else _literal(p) for p in parts]
    return re.compile("".join(made))


def _literal(text: str) -> str:
    """A fixed part of a topic; "+" stands for one level there, as in a filter."""
    return "[^/]*".join(re.escape(piece) for piece in text.split("+"))
