"""What the owner's first screen says, as plain records: the present row, the standing alarms and the plan in. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from panelward.journal import OutboxRow
from panelward.papers.directory import SPARE, panel_directory
from panelward.records import Circuit, Record, Schedule

PAST = 1022.0  # of the rule's thousandths: past its end
QUIET_S = 30.0  # the present row is written every few seconds: older than this, nobody watches
UNANSWERED = ("unacknowledged", "returned-unacknowledged")
ASIDE = ("shelved", "out-of-service")
_RANK = {"high": 0, "medium": 1, "low": 2, "journal": 3}
# Among alarms of one priority: what heats a cable, has lost its feed, is about to; then by age. Common practice, no source.
_SOONEST = ("conductor-overheating", "overcurrent-approach", "protection-opened", "feed-lost", "undervoltage-approach")
_PLACES = ("circuit", "supply", "feeder", "monitor", "broker", "vehicle", "address", "people", "journal")


@dataclass(frozen=True, slots=True, kw_only=True)
class Asking:
    """One alarm as a person meets it."""

    id: str
    sequence: int
    sentence: str
    priority: str
    kind: str
    state: str
    latched: bool
    since_ms: float
    told_ms: float | None  # a phone's service took it then, on the vehicle's clock
    ways: tuple[str, ...]
    life: bool
    unanswered: bool
    aside: bool

    @property
    def to_reset(self) -> bool:
        """Seen, over, and kept until somebody says that they looked."""
        return self.latched and self.state == "acknowledged"


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """One printed row of the panel. Amps are None where there is no reading: that is no zero."""

    position: str
    label: str
    chip: str = ""
    colour: str = ""
    symbol: str = ""
    device: str = ""
    rating_a: float | None = None
    low_a: float | None = None  # the bracket: where this load was when commissioned
    high_a: float | None = None
    amps: float | None = None
    nothing_a: float = 0.0  # a reading up to this is no draw
    since_ms: float | None = None  # of the last reading, where none comes any more
    never: bool = False  # no reading yet
    always_on: bool = False
    life: bool = False
    source: bool = False
    spare: bool = False
    ringed: bool = False
    circuit: str | None = None
    other: bool = False  # here another kind of supply begins: alternating current beside direct

    @property
    def side(self) -> str:
        """Where it hangs on a panel with odd ways left and even ones right; no number: left."""
        digits = "".join(c if c.isdecimal() and c.isascii() else " " for c in self.position).split()
        return "right" if digits and int(digits[-1]) % 2 == 0 else "left"

    @property
    def over(self) -> bool:
        return self.rating_a is not None and self.amps is not None and abs(self.amps) > self.rating_a

    def place(self, amps: float | None) -> float | None:
        """Where on the rule, in thousandths of its length; above the rating past its end."""
        if amps is None or not self.rating_a:
            return None
        if abs(amps) <= self.nothing_a:
            return 0.0
        return round(1000 * abs(amps) / self.rating_a, 1) if abs(amps) <= self.rating_a else PAST


@dataclass(frozen=True, slots=True, kw_only=True)
class First:
    """The whole of it."""

    now_ms: float
    heard_ms: float | None  # of the newest reading
    quiet_s: float | None  # so long nobody has watched; None: somebody does
    watched: bool  # ever
    connected: bool = True
    asking: tuple[Asking, ...] = ()  # the worst first
    seen: tuple[Asking, ...] = ()  # answered, and still so
    aside: tuple[Asking, ...] = ()
    ways: tuple[Way, ...] = ()
    silent: tuple[str, ...] = ()  # positions without a reading
    blind: tuple[str, ...] = ()  # positions that can't be watched for a lost feed
    waiting: int = 0
    works: tuple[Mapping[str, Any], ...] = ()
    removed: tuple[Mapping[str, Any], ...] = ()  # circuits out of service
    rate: float = 1.0
    row: Mapping[str, Any] = field(default_factory=dict)


def now_ms(row: Mapping[str, Any], real_s: float) -> float:
    """The vehicle's time."""
    behind_s = max(0.0, real_s - row["real_s"]) if row else 0.0
    return float(row["at_ms"] + behind_s * 1000 * row["rate"]) if row else real_s * 1000


def vehicle_ms(row: Mapping[str, Any], at_real_s: float) -> float:
    """A moment of the host's clock as the vehicle's time."""
    return float(row["at_ms"] + (at_real_s - row["real_s"]) * 1000 * row["rate"]) if row else at_real_s * 1000


def became(message: OutboxRow, real_s: float) -> str:
    """The status of a message; `withdrawn`: somebody answered, or it was overtaken, before its time ran out."""
    return "withdrawn" if message.status == "expired" and message.expires_real_s > real_s else message.status


def _worst_first(alarm: Asking) -> tuple[int, bool, int, float]:
    soonest = _SOONEST.index(alarm.kind) if alarm.kind in _SOONEST else len(_SOONEST)
    return _RANK.get(alarm.priority, 3), not alarm.life, soonest, alarm.since_ms


def first(
    schedule: Schedule | None,
    record: Record | None,
    row: Mapping[str, Any],
    standing: Sequence[Mapping[str, Any]],
    *,
    real_s: float,
    told_s: Mapping[str, float] | None = None,
    waiting: int = 0,
    blind: tuple[str, ...] = (),
) -> First:
    """Everything on the first screen. Without a schedule the ways are those of the row."""
    life = {c.id for c in schedule.circuits if c.importance == "life"} if schedule else set()
    alarms = [asking(alarm, life, row, told_s or {}) for alarm in standing if alarm["state"] != "suppressed"]
    alarms.sort(key=_worst_first)
    unanswered = tuple(a for a in alarms if a.unanswered)
    worst = unanswered[:1] or ()
    heard = [c["heard_ms"] for c in row.get("circuits", ()) if c["heard_ms"] is not None]
    quiet_s = max(0.0, real_s - row["real_s"]) if row else None
    return First(
        now_ms=now_ms(row, real_s),
        heard_ms=max(heard, default=None),
        quiet_s=quiet_s if quiet_s is not None and quiet_s > QUIET_S else None,
        watched=bool(row),
        connected=bool(row.get("connected", True)),
        asking=unanswered,
        seen=tuple(a for a in alarms if not a.unanswered and not a.aside),
        aside=tuple(a for a in alarms if a.aside),
        ways=ways(schedule, record, row, frozenset(w for a in worst for w in a.ways)),
        silent=tuple(c["id"] for c in row.get("circuits", ()) if c["overdue"]),
        blind=blind,
        waiting=waiting,
        works=tuple(w for w in row.get("works", ()) if w["until_ms"] > now_ms(row, real_s)),
        removed=tuple(r for r in row.get("out_of_service", ()) if r["until_ms"] > now_ms(row, real_s)),
        rate=float(row.get("rate", 1.0)),
        row=row,
    )


def asking(alarm: Mapping[str, Any], life: set[str], row: Mapping[str, Any], told_s: Mapping[str, float]) -> Asking:
    """An alarm object as a person meets it."""
    subject = next((alarm[place] for place in _PLACES if place in alarm), "")
    about = (subject, *alarm.get("circuits", ())) if "circuit" in alarm else tuple(alarm.get("circuits", ()))
    told = told_s.get(alarm["id"])
    return Asking(
        id=alarm["id"],
        sequence=alarm["sequence"],
        sentence=alarm["message"],
        priority=alarm["priority"],
        kind=alarm["kind"],
        state=alarm["state"],
        latched=bool(alarm.get("latched")),
        since_ms=alarm["since"] * 1000,
        told_ms=None if told is None else vehicle_ms(row, told),
        ways=about,
        life=any(each in life for each in about),
        unanswered=alarm["state"] in UNANSWERED,
        aside=alarm["state"] in ASIDE,
    )


def ways(schedule: Schedule | None, record: Record | None, row: Mapping[str, Any], ringed: frozenset[str]) -> tuple[Way, ...]:
    """The panel's ways in their own order, spares too."""
    present = {c["id"]: c for c in row.get("circuits", ())}
    if schedule is None:
        return tuple(
            Way(
                position=c["id"], label=c["label"], rating_a=c["rating_a"], ringed=c["id"] in ringed, circuit=c["id"], **_now(c)
            )
            for c in present.values()
            if c["role"] != "meter"
        )
    circuits = {c.id: c for c in schedule.circuits}
    out: list[Way] = []
    kind = ""
    for entry in panel_directory(schedule, spares=schedule.vehicle.spares).rows:
        circuit = circuits.get(entry.position)
        if circuit is None:
            out.append(Way(position=entry.position, label=SPARE, spare=True))
            continue
        low_a, high_a = bracket(schedule, circuit, record)
        before, kind = kind, schedule.supply(circuit.supply).kind
        out.append(
            Way(
                position=entry.position,
                label=circuit.label,
                chip=entry.device.chip,
                colour=entry.device.colour,
                symbol=entry.device.symbol,
                device=entry.device.text,
                rating_a=circuit.protection.fitted_a if circuit.protection else None,
                low_a=low_a,
                high_a=high_a,
                nothing_a=circuit.sense.nothing_a,
                always_on=entry.always_on,
                life=entry.life,
                source=entry.source,
                ringed=circuit.id in ringed,
                circuit=circuit.id,
                other=before not in ("", kind),
                **_now(present.get(circuit.id)),
            )
        )
    return tuple(out)


def _now(found: Mapping[str, Any] | None) -> dict[str, Any]:
    if found is None or found["heard_ms"] is None:
        return {"never": True}
    if found["overdue"]:
        return {"since_ms": found["heard_ms"]}
    return {"amps": found["amps"]}


def bracket(schedule: Schedule, circuit: Circuit, record: Record | None) -> tuple[float | None, float | None]:
    """Amps at nominal volts from the lowest to the highest level that was measured; None: it was not."""
    found = record.circuit(circuit.id) if record else None
    if found is None or found.skipped:
        return None, None
    watts = [each.watts for each in (found.standby, *found.levels) if each is not None]
    if not watts:
        return None, None
    volts = schedule.supply(circuit.supply).nominal_v
    return min(watts) / volts, max(watts) / volts
