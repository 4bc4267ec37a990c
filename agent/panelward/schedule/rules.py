"""What ties the keys of a schedule together: references, what needs what, loops.

Judged on the raw document, so that one wrong value hides no other fault. Values of a wrong kind are passed over
here: the models have named them already.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

from panelward.records import QUANTITIES
from panelward.records.topics import topic_fits
from panelward.schedule.faults import Raw, Report, misspelt
from panelward.schedule.models import BEHIND, DIALECTS
from panelward.schedule.places import Path
from panelward.schedule.topics import pattern_fault, placeholders
from panelward.schedule.values import ID_FORM, ID_WORDS, listed, nearest, shown

Item = tuple[Path, Raw]


def check(report: Report) -> None:
    """Add every fault between keys to the report."""
    raw = report.raw
    circuits, monitors, probes = (_array(raw, name) for name in ("circuit", "monitor", "probe"))
    supplies, feeders = (_named(raw, name) for name in ("supply", "feeder"))
    _ids(report, circuits, monitors, probes, supplies, feeders)
    _spares(report, _table(raw, "vehicle"), circuits)
    _broker(report, _table(raw, "broker"))
    for path, monitor in monitors:
        _monitor(report, path, monitor)
    refer = _References(report, circuits, monitors, supplies, feeders)
    for name, (path, supply) in supplies.items():
        _supply(refer, name, path, supply)
    for path, feeder in feeders.values():
        refer.one(path, feeder, "supply", "the id of a supply", list(supplies))
        refer.behind(path, feeder)
        _protection(report, path, feeder)
        _same_supply(report, path, feeder, feeders)
        _conductor(report, path, feeder)
    for path, probe in probes:
        refer.monitor(path, probe)
        _where(refer, path, probe)
    for path, circuit in circuits:
        _circuit(refer, path, circuit)
    _loops(report, circuits, supplies, feeders)


# What is written, as far as it has the right shape.


def _table(raw: Raw, key: str) -> Raw:
    found = raw.get(key)
    return found if isinstance(found, dict) else {}


def _tables(raw: Raw, key: str) -> list[tuple[tuple[str | int, ...], Raw]]:
    """A table, or each of an array of tables, with its path below `raw`."""
    found = raw.get(key)
    if isinstance(found, dict):
        return [((key,), found)]
    return _array(raw, key)


def _array(raw: Raw, key: str) -> list[Item]:
    found = raw.get(key)
    if not isinstance(found, list):
        return []
    return [((key, index), item) for index, item in enumerate(found) if isinstance(item, dict)]


def _named(raw: Raw, key: str) -> dict[str, Item]:
    return {name: ((key, name), item) for name, item in _table(raw, key).items() if isinstance(item, dict)}


def _text(raw: Raw, key: str) -> str | None:
    found = raw.get(key)
    return found if isinstance(found, str) and found.strip() else None


def _texts(raw: Raw, key: str) -> list[tuple[int, str]]:
    found = raw.get(key)
    items = found if isinstance(found, list) else []
    return [(index, item) for index, item in enumerate(items) if isinstance(item, str)]


def _number(raw: Raw, key: str) -> float | None:
    found = raw.get(key)
    return found if isinstance(found, int | float) and not isinstance(found, bool) else None


class _References:
    """What may be named, and by whom."""

    def __init__(
        self,
        report: Report,
        circuits: list[Item],
        monitors: list[Item],
        supplies: dict[str, Item],
        feeders: dict[str, Item],
    ) -> None:
        self.report, self.circuits, self.supplies, self.feeders = report, circuits, supplies, feeders
        self.monitors = monitors
        self.passed_over = _misplaced(report.raw)
        self.circuit_ids = [found for _, circuit in circuits if (found := _text(circuit, "id"))]
        self.monitor_names = [found for _, monitor in monitors if (found := _text(monitor, "name"))]

    def one(self, path: Path, table: Raw, key: str, what: str, known: list[str]) -> str | None:
        """A key that names one of `known`; the name where it does."""
        name = _text(table, key)
        if name is None or name in known:
            return name
        if name in self.passed_over:
            return None
        self._unknown((*path, key), name, what, known)
        return None

    def monitor(self, path: Path, table: Raw) -> None:
        self.one(path, table, "monitor", "the name of a monitor", self.monitor_names)
        if "monitor" not in table and len(self.monitors) > 1:
            wanted = f"the name of a monitor, as there are several: {listed(self.monitor_names)}"
            self.report.add((*path, "monitor"), wanted, "nothing")

    def behind(self, path: Path, table: Raw) -> None:
        for index, name in _texts(table, "behind"):
            if name not in BEHIND and name not in self.feeders and name not in self.passed_over:
                what = "a kind of switch or the id of a feeder"
                self._unknown((*path, "behind", index), name, what, [*BEHIND, *self.feeders])

    def _unknown(self, path: Path, name: str, what: str, known: list[str]) -> None:
        choice = f" ({listed(known)})" if known else " (none is written)"
        self.report.add(path, f"{what}{choice}", shown(name), nearest(name, known))


def _misplaced(raw: Raw) -> dict[str, None]:
    """The ids and names under a misspelt table: that table is the fault, not each reference to what stands in it."""
    found: dict[str, None] = {}
    for key in misspelt(raw):
        found |= dict.fromkeys(_table(raw, key))
        for _, item in _array(raw, key):
            found |= {name: None for name in (_text(item, "id"), _text(item, "name")) if name}
    return found


def _ids(
    report: Report,
    circuits: list[Item],
    monitors: list[Item],
    probes: list[Item],
    supplies: dict[str, Item],
    feeders: dict[str, Item],
) -> None:
    # A probe is read from its monitor like a circuit, by its id: the two share one list.
    _unique(report, [*circuits, *probes], "id", "an id used once")
    _unique(report, monitors, "name", "a name used once")
    for named in (supplies, feeders):
        for name, (path, _) in named.items():
            if ID_FORM.fullmatch(name) is None:
                report.add(path, f"an id of {ID_WORDS}", shown(name))
    for name, (path, _) in feeders.items():
        if name in BEHIND:
            report.add(path, f"a feeder's id that is none of {', '.join(BEHIND)}", shown(name))
    vehicle = _table(report.raw, "vehicle")
    called = _text(vehicle, "name")
    if called is not None and "id" not in vehicle and not vehicle_id(called):
        report.add(("vehicle", "id"), "an id, as none can be made from this name", "nothing", 'Write id = "…", a-z 0-9 -.')


def _unique(report: Report, items: list[Item], key: str, wanted: str) -> None:
    first: dict[str, Path] = {}
    for path, table in items:
        found = _text(table, key)
        if found is None:
            continue
        if found.isprintable() and ID_FORM.fullmatch(found) is None:  # else the models have named it
            report.add((*path, key), ID_WORDS, shown(found))
        if found in first:
            line = report.line((*first[found], key))
            report.add((*path, key), wanted, f"{shown(found)}, also on line {line}")
        first.setdefault(found, path)


def vehicle_id(name: str) -> str:
    """An id made from a name: small letters, digits and single hyphens; empty where nothing of it can stay."""
    from unicodedata import normalize

    plain = normalize("NFKD", name).encode("ascii", "ignore").decode("ascii").lower()
    words = "".join(c if c.isalnum() else " " for c in plain).split()
    return "-".join(words)[:64].rstrip("-")


def _broker(report: Report, broker: Raw) -> None:
    if _text(broker, "password_file") and "username" not in broker:
        report.add(("broker", "username"), "a username beside password_file", "nothing")
    for one, other in (("cert_file", "key_file"), ("key_file", "cert_file")):
        if one in broker and other not in broker:
            report.add(("broker", other), f"{other} beside {one}", "nothing")
    if broker.get("tls", False) is False:
        for key in ("ca_file", "cert_file", "key_file"):
            if key in broker:
                report.add(("broker", "tls"), f"tls = true beside {key}", shown(broker.get("tls")))


def _monitor(report: Report, path: Path, monitor: Raw) -> None:
    dialect, topic = _text(monitor, "dialect"), _text(monitor, "topic")
    fields = monitor.get("fields")
    if topic is not None:
        fault = pattern_fault(topic)
        if fault is not None:
            report.add((*path, "topic"), fault[0], shown(topic), fault[1])
        elif dialect in DIALECTS:
            _topic_for(report, path, dialect, topic, placeholders(_text(monitor, "record_name") or ""))
    if dialect == "json":
        if "fields" not in monitor:
            report.add((*path, "fields"), "where each quantity stands", "nothing", 'fields = { amps = { pointer = "/…" } }')
        elif isinstance(fields, dict) and not any(quantity in fields for quantity in QUANTITIES):
            report.add((*path, "fields"), f"at least one of {', '.join(QUANTITIES)}", shown(fields))
    elif dialect in DIALECTS and "fields" in monitor:
        report.add((*path, "fields"), 'fields only with dialect = "json"', f'dialect "{dialect}"')
    name = _text(monitor, "record_name")
    if dialect in DIALECTS and dialect != "senml" and "record_name" in monitor:
        report.add((*path, "record_name"), 'record_name only with dialect = "senml"', f'dialect "{dialect}"')
    elif name is not None:
        _record_name(report, path, name)
    will = _table(monitor, "will")
    will_topic = _text(will, "topic")
    if will_topic is not None and (set(will_topic) & set("+#{}") or not topic_fits(will_topic)):
        report.add((*path, "will", "topic"), "one topic, without wildcards and braces", shown(will_topic))
    if _text(will, "here") is not None and will.get("here") == will.get("gone"):
        report.add((*path, "will", "here"), "another text than gone", shown(will["here"]))


def _topic_for(report: Report, path: Path, dialect: str, topic: str, record_places: list[str]) -> None:
    names = placeholders(topic)
    needs = {"plain": ("circuit", "quantity"), "json": ("circuit",), "senml": ("circuit",)}[dialect]
    if dialect == "senml" and "circuit" in record_places:
        needs = ()
    missing = [f"{{{name}}}" for name in needs if name not in names]
    where = " in the topic or in record_name" if dialect == "senml" else ""
    if missing:
        report.add((*path, "topic"), f"{' and '.join(missing)}{where} for {dialect}", shown(topic))
    if dialect == "json" and "quantity" in names:
        report.add((*path, "topic"), "no {quantity} for json: fields says where each stands", shown(topic))


def _record_name(report: Report, path: Path, name: str) -> None:
    names = placeholders(name)
    stray = set(name.replace("{circuit}", "").replace("{quantity}", "")) & set("{}")
    if stray or len(names) != len(set(names)):
        wanted = '{circuit} and {quantity} at most once, no other braces, like "urn:dev:{circuit}:{quantity}"'
        report.add((*path, "record_name"), wanted, shown(name))


def _supply(refer: _References, name: str, path: Path, supply: Raw) -> None:
    report = refer.report
    refer.one(path, supply, "fed_by", "the id of a circuit", refer.circuit_ids)
    meter = refer.one(path, supply, "meter", "the id of a circuit", refer.circuit_ids)
    of_meter = next((c for _, c in refer.circuits if c.get("id") == meter), None) if meter else None
    if of_meter is not None and of_meter.get("role", "load") != "meter":
        report.add((*path, "meter"), 'a circuit with role = "meter"', f"{shown(meter)}, a {of_meter.get('role', 'load')}")
    cutoff, restore = _number(supply, "cutoff_v"), _number(supply, "restore_v")
    if cutoff is not None and restore is not None and restore <= cutoff:
        report.add((*path, "restore_v"), f"a voltage above cutoff_v ({cutoff:g})", shown(restore))
    if "cutoff_v" not in supply:
        for key in ("cutoff_delay_s", "restore_v"):
            if key in supply:
                report.add((*path, "cutoff_v"), f"cutoff_v beside {key}", "nothing")


def _where(refer: _References, path: Path, probe: Raw) -> None:
    where = _text(probe, "where")
    if where is None or where in ("panel", "outside", "bank"):
        return
    head, colon, circuit_id = where.partition(":")
    if head != "load" or not colon:
        remedy = nearest(where, ("panel", "outside", "bank"))
        refer.report.add((*path, "where"), "panel, outside, bank or load:<circuit>", shown(where), remedy)
    elif circuit_id not in refer.circuit_ids and circuit_id not in refer.passed_over:
        wanted = f"load: and the id of a circuit ({listed(refer.circuit_ids)})"
        refer.report.add((*path, "where"), wanted, shown(where), nearest(circuit_id, refer.circuit_ids))


def _circuit(refer: _References, path: Path, circuit: Raw) -> None:
    report = refer.report
    refer.monitor(path, circuit)
    refer.behind(path, circuit)
    supply = refer.one(path, circuit, "supply", "the id of a supply", list(refer.supplies))
    feeder = refer.one(path, circuit, "feeder", "the id of a feeder", list(refer.feeders))
    if "supply" not in circuit and "feeder" not in circuit:
        report.add((*path, "supply"), "a supply or a feeder", "nothing", "It is required.")
    of_feeder = _text(refer.feeders[feeder][1], "supply") if feeder else None
    if supply and of_feeder and supply != of_feeder:
        report.add((*path, "supply"), f"the feeder's supply, {of_feeder}, or no supply here", shown(supply))
    if circuit.get("role", "load") == "load":
        if "feed" not in circuit:
            report.add((*path, "feed"), "one of always-on, switched", "nothing", "It is required for a load.")
        if "protection" not in circuit:
            wanted = "a table: its protective device"
            report.add((*path, "protection"), wanted, "nothing", "It is required for a load.")
    if "source" in circuit and circuit.get("role", "load") != "charger":
        report.add((*path, "source"), 'no source, or role = "charger" beside it', shown(circuit["source"]))
    _protection(report, path, circuit)
    _same_supply(refer.report, path, circuit, refer.feeders)
    _conductor(report, path, circuit)
    for below, load in _tables(circuit, "load"):
        first: dict[str, None] = {}
        for place, level in _array(load, "levels"):
            name = _text(level, "name")
            if name is not None and name in first:
                report.add((*path, *below, *place, "name"), "a name used once among its levels", shown(name))
            first[name or ""] = None
        if load.get("hours") == []:
            report.add((*path, *below, "hours"), "at least one span", "an empty array", "Leave it out if any time will do.")


def _same_supply(report: Report, path: Path, table: Raw, feeders: dict[str, Item]) -> None:
    """What stands behind a feeder is fed from that feeder's supply."""
    own = _text(table, "supply")
    above = _text(table, "feeder")
    if own is None and above in feeders and above is not None:
        own = _text(feeders[above][1], "supply")
    for index, name in _texts(table, "behind"):
        other = _text(feeders[name][1], "supply") if name in feeders else None
        if own is not None and other is not None and own != other:
            report.add((*path, "behind", index), f"a feeder of the supply {own}", f"{shown(name)}, of the supply {other}")


def _spares(report: Report, vehicle: Raw, circuits: list[Item]) -> None:
    taken = [_text(circuit, "id") for _, circuit in circuits]
    for index, name in _texts(vehicle, "spares"):
        if name in taken:
            report.add(("vehicle", "spares", index), "the position of a way that is not wired", f"{shown(name)}, a circuit")


def _conductor(report: Report, path: Path, table: Raw) -> None:
    for below, segment in _tables(table, "conductor"):
        sizes = [key for key in ("area_mm2", "awg", "sae") if key in segment]
        if len(sizes) > 1:
            report.add((*path, *below, sizes[1]), "area_mm2, awg or sae: one of them", " and ".join(sizes))


def _protection(report: Report, path: Path, table: Raw) -> None:
    protection = _table(table, "protection")
    kind = _text(protection, "kind")
    if "type" in protection and kind is not None and kind != "blade-fuse":
        report.add((*path, "protection", "type"), "a type only for a blade-fuse", f"a {kind}")


def _loops(report: Report, circuits: list[Item], supplies: dict[str, Item], feeders: dict[str, Item]) -> None:
    by_id: dict[str, Raw] = {}
    for _, circuit in circuits:
        circuit_id = _text(circuit, "id")
        if circuit_id is not None:
            by_id.setdefault(circuit_id, circuit)

    def feeds_supply(name: str) -> Iterable[str]:
        circuit = by_id.get(_text(supplies[name][1], "fed_by") or "", {})
        feeder = feeders.get(_text(circuit, "feeder") or "")
        upstream = _text(feeder[1], "supply") if feeder else _text(circuit, "supply")
        return [upstream] if upstream in supplies and upstream is not None else []

    def feeds_feeder(name: str) -> Iterable[str]:
        return [other for _, other in _texts(feeders[name][1], "behind") if other in feeders]

    for loop in _cycles(list(supplies), feeds_supply):
        found = f"a loop: {' from '.join(_supply_chain(loop, supplies))}"
        report.add(("supply", loop[0], "fed_by"), "a supply that does not feed itself", found)
    for loop in _cycles(list(feeders), feeds_feeder):
        found = f"a loop: {' behind '.join([*loop, loop[0]])}"
        report.add(("feeder", loop[0], "behind"), "a feeder that is not behind itself", found)


def _supply_chain(loop: list[str], supplies: dict[str, Item]) -> list[str]:
    chain: list[str] = []
    for name in loop:
        chain += [name, f"circuit {_text(supplies[name][1], 'fed_by')}"]
    return [*chain, loop[0]]


def _cycles(names: list[str], upstream: Callable[[str], Iterable[str]]) -> list[list[str]]:
    """Each loop once, beginning with the name that stands first in the file. Without recursion: files may be long."""
    done: dict[str, None] = {}
    loops: list[list[str]] = []
    for start in names:
        if start in done:
            continue
        trail: list[str] = [start]
        waiting: list[Any] = [iter(upstream(start))]
        while trail:
            following = next(waiting[-1], None)
            if following is None:
                done[trail.pop()] = None
                waiting.pop()
            elif following in trail:
                loop = trail[trail.index(following) :]
                first = loop.index(min(loop, key=names.index))
                loops.append(loop[first:] + loop[:first])
            elif following not in done:
                trail.append(following)
                waiting.append(iter(upstream(following)))
    return loops
