"""From what was heard to what it is: proposals, proved by intake, and what their readings show."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from statistics import median
from typing import Any

from panelward.listen import proof, series
from panelward.listen.findings import Findings, FoundCircuit, FoundMonitor, Range, StateTopic
from panelward.listen.heard import Heard, in_order
from panelward.listen.packs import senml
from panelward.listen.payloads import look
from panelward.listen.proposals import LOOKED_AT, Proposal, Topic, json, plain
from panelward.listen.shape import ANY, MARKS, natural
from panelward.listen.states import state_of
from panelward.listen.unread import TWICE, unread
from panelward.records import QUANTITIES, Monitor, Reading

MOST_CIRCUITS = 500  # of one monitor; no vehicle's panel has so many ways (our own choice)
MOST_MONITORS = 20  # on one broker (our own choice)
OWN = "panelward/"
FIGURES = ("volts", "amps", "watts", "celsius")


def find(
    records: Iterable[Heard],
    *,
    from_ms: int | None = None,
    until_ms: int | None = None,
    not_kept: int = 0,
    topics_not_kept: int = 0,
) -> Findings:
    """What the records show, in whatever order they come. `from_ms`, `until_ms`: when listening began and ended, if known."""
    heard = sorted(records, key=in_order)
    by_topic: dict[str, list[Heard]] = {}
    of_broker = own = 0
    for one in heard:
        if one.topic.startswith("$"):  # MQTT 5.0 section 4.7.2
            of_broker += 1
        elif one.topic.startswith(OWN):
            own += 1
        else:
            by_topic.setdefault(one.topic, []).append(one)
    topics = {
        name: Topic(name, tuple(found), tuple(look(one) for one in found[:LOOKED_AT]))
        for name, found in sorted(by_topic.items())
    }
    proposed, crowded, circuits = _taken([*plain(topics.values()), *json(topics.values()), *senml(topics.values())])
    claimed = {topic: str(p.table["name"]) for p in proposed for topic in p.topics}
    tables = [p.table for p in proposed]
    found_read = proof.Read()
    if proposed:
        schedule = proof.schedule_of(tables, circuits)
        found_read = proof.read(schedule, (one for one in heard if one.topic in claimed))
    read_of: dict[str, list[Reading]] = {}
    for reading in found_read.readings:
        read_of.setdefault(circuits[reading.circuit], []).append(reading)
    end_ms = max(until_ms or 0, heard[-1].received_ms if heard else 0)
    begun_ms = from_ms if from_ms is not None else heard[0].received_ms if heard else end_ms
    left = [topic for name, topic in topics.items() if name not in found_read.understood]
    monitors: list[FoundMonitor] = []
    for each in proposed:
        name = str(each.table["name"])
        if name in read_of:
            record = next(m for m in schedule.monitors if m.name == name)
            monitors.append(_monitor(each, record, read_of[name], left, found_read, topics, end_ms))
    states = {m.state.topic for m in monitors if m.state is not None}
    return Findings(
        span_s=round((end_ms - begun_ms) / 1000.0, 3),
        messages=len(heard) + not_kept,
        topics=len({one.topic for one in heard}),
        monitors=tuple(monitors),
        unread=unread(topics, found_read, states, crowded),
        own=own,
        of_broker=of_broker,
        not_kept=not_kept,
        topics_not_kept=topics_not_kept,
    )


def _taken(proposals: list[Proposal]) -> tuple[list[Proposal], dict[str, str], dict[str, str]]:
    """The proposals that a schedule can hold, each with a name; topics that it can't, and why; each circuit's monitor."""
    circuits: dict[str, str] = {}
    why: dict[str, str] = {}
    kept: list[Proposal] = []
    for each in sorted(proposals, key=lambda p: (-len(p.circuits), p.table["topic"], p.table.get("record_name", ""), p.topics)):
        if len(each.circuits) > MOST_CIRCUITS:
            why |= dict.fromkeys(each.topics, "more names at the place of the circuit than a panel has ways")
            continue
        if len(kept) >= MOST_MONITORS:
            why |= dict.fromkeys(each.topics, f"it would be one more monitor than the {MOST_MONITORS} that are drafted")
            continue
        each.table = {"name": _name(each.table["topic"], [str(p.table["name"]) for p in kept]), **each.table}
        fresh = [circuit for circuit in each.circuits if circuit not in circuits]
        twice = [circuit for circuit in each.circuits if circuit in circuits]
        if not fresh or not proof.can_be_scheduled(each.table, fresh):
            why |= dict.fromkeys(each.topics, "" if fresh else TWICE)
            continue
        if twice:
            each.doubts.append(
                f"{', '.join(twice)}: published by {circuits[twice[0]]} too. An id stands once in a schedule, so of these "
                f"only {circuits[twice[0]]}'s are drafted. Let one of the monitors call them something else."
            )
        circuits |= dict.fromkeys(fresh, str(each.table["name"]))
        kept.append(each)
    return kept, {topic: reason for topic, reason in why.items() if reason}, circuits


def _name(topic: str, taken: Sequence[str]) -> str:
    """A monitor's name made of the fixed parts of its topic."""
    fixed = [part for part in topic.split("/") if part not in (*MARKS, ANY)]
    name = re.sub(r"[^A-Za-z0-9_-]+", "-", "-".join(fixed)).strip("-")[:40] or "monitor"
    number = 2
    made = name
    while made in taken:
        made, number = f"{name}-{number}", number + 1
    return made


def _monitor(
    each: Proposal,
    record: Monitor,
    readings: list[Reading],
    left: list[Topic],
    found: proof.Read,
    topics: Mapping[str, Topic],
    end_ms: int,
) -> FoundMonitor:
    rows = series.series_of(readings, QUANTITIES)
    publishes = series.publishes(readings)
    step = series.step_a(r.amps for r in readings if r.amps is not None)
    by_circuit: dict[str, list[Reading]] = {}
    for reading in readings:
        by_circuit.setdefault(reading.circuit, []).append(reading)
    circuits = tuple(_circuit(id_, by_circuit[id_], rows, step) for id_ in sorted(by_circuit, key=natural))
    periods = [c.every_s for c in circuits if c.every_s is not None and not c.is_probe]
    periods = periods or [c.every_s for c in circuits if c.every_s is not None]
    live = sorted(r.received_ms for r in readings if r.origin != "retained")
    state: StateTopic | None = state_of(record.topic, tuple(by_circuit), left, live, end_ms)
    return FoundMonitor(
        monitor=record,
        circuits=circuits,
        # The longest, so that none is taken for overdue; who publishes on change has none.
        every_s=max(periods) if periods and publishes != "on-change" else None,
        shortest_s=series.shortest_s(rows),
        resolution_a=step,
        publishes=publishes,
        state=state,
        scales=each.scales,
        doubts=tuple(each.doubts),
        messages=sum(len(topics[topic].heard) for topic in each.topics),
        understood=sum(found.understood.get(topic, 0) for topic in each.topics),
        refused=sum(found.refused.get(topic, 0) for topic in each.topics),
    )


def _circuit(id_: str, readings: list[Reading], rows: series.Series, step: float | None) -> FoundCircuit:
    values: dict[str, list[float]] = {
        q: [getattr(r, q) for r in readings if getattr(r, q) is not None] for q in QUANTITIES
    }  # fmt: skip
    own = series.step_a(values["amps"])
    ranges: dict[str, Any] = {q: _range(values[q]) for q in FIGURES}
    return FoundCircuit(
        id=id_,
        quantities=tuple(q for q in QUANTITIES if values[q]),
        readings=sum(r.origin != "retained" for r in readings),
        retained=sum(r.origin == "retained" for r in readings),
        usual_v=round(median(values["volts"]), 2) if values["volts"] else None,
        every_s=series.every_s(row for (circuit, _), row in rows.items() if circuit == id_),
        step_a=own if own is not None and step is not None and own > step else None,
        **ranges,
    )


def _range(values: list[float]) -> Range | None:
    return (min(values), max(values)) if values else None
