"""What a new schedule, or a new people.toml, changes: a line a change, as a person would say it. Never a secret.

difference(old, new) -> ("D4 protection.rating_a 10 -> 15", …)      new_findings(old, new) -> what vetting has to say now
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import fields, is_dataclass
from typing import Any

from panelward.records import Schedule
from panelward.records.people import People
from panelward.schedule.values import printable
from panelward.schedule.vetting import Finding, vet

SECRET = ("username", "password_file", "key_file", "cert_file", "sign_of_life_to")  # that it changed is said, not how
_WRITTEN = {"standby_max_w": "standby_w.max", "longest_run_s": "longest_run", "fault_min_a": "fault_a.min",
            "fault_max_a": "fault_a.max", "return_path": "return", "unheard_after_s": "unheard_after"}  # fmt: skip
_LEFT_OUT = ("id", "name")  # what a part is called by stands before its key


def difference(old: Schedule, new: Schedule) -> tuple[str, ...]:
    """Every change, in the order of the file: what went, what came, what is otherwise; nothing where they say the same."""
    out = list(_changes("vehicle", _flat(old.vehicle, ()), _flat(new.vehicle, ())))
    out += _changes("broker", _flat(old.broker), _flat(new.broker))
    out += _parts("monitor", _by(old.monitors, "name"), _by(new.monitors, "name"))
    for word, those, these in (
        ("supply", old.supplies, new.supplies), ("feeder", old.feeders, new.feeders), ("probe", old.probes, new.probes)
    ):  # fmt: skip
        out += _parts(word, _by(those, "id"), _by(these, "id"))
    was, now = _by(old.circuits, "id"), _by(new.circuits, "id")
    senses = {
        (a.name, f.name): (getattr(a.sense, f.name), getattr(b.sense, f.name))
        for a in old.monitors for b in new.monitors if a.name == b.name for f in fields(a.sense)
    }  # fmt: skip
    for name in (*was, *(n for n in now if n not in was)):
        before, after = was.get(name), now.get(name)
        if before is None:
            out.append(f"{_shown(name)} {_shown(now[name].label)}: added")
            continue
        if after is None:
            out.append(f"{_shown(name)} {_shown(before.label)}: removed")
            continue
        a, b = _flat(before), _flat(after)
        for key in [k for k in a if k.startswith("sense.")]:  # its monitor's, said there
            if (a[key], b[key]) == senses.get((before.monitor, key.removeprefix("sense."))) and before.monitor == after.monitor:
                del a[key], b[key]
        out += _changes(_shown(name), a, b)
    both = [n for n in was if n in now]
    if both != [n for n in now if n in was]:
        out.append("the circuits stand in another order")
    return tuple(out)


def new_findings(old: Schedule, new: Schedule) -> tuple[str, ...]:
    """What vetting refuses or warns of that it did not before."""
    before = {_said(finding) for finding in vet(old)}
    return tuple(_said(f) for f in vet(new) if f.grade in ("refuse", "warn") and _said(f) not in before)


def people_difference(
    old: People, new: People, old_addresses: Mapping[str, str], new_addresses: Mapping[str, str]
) -> tuple[str, ...]:
    """The same for who is told; of addresses only that they are others."""
    out = list(_changes("people", _flat(old), _flat(new)))
    was, now = ({p.name: p for p in people.persons} for people in (old, new))
    for name in (*was, *(n for n in now if n not in was)):
        before, after = was.get(name), now.get(name)
        if before is None or after is None:
            out.append(f"{_shown(name)}: {'no more told' if after is None else 'told from now on'}")
            continue
        out += _changes(_shown(name), _flat(before), _flat(after))
        if [old_addresses.get(ref) for ref in before.refs] != [new_addresses.get(ref) for ref in after.refs]:
            out.append(f"{_shown(name)}: other addresses")
    return tuple(out)


def _said(finding: Finding) -> str:
    where = f"{_shown(finding.circuit)}: " if finding.circuit is not None else ""
    return f"{finding.grade}: {where}{finding.message} {finding.remedy}".strip()


def _by(parts: Iterable[Any], key: str) -> dict[str, Any]:
    return {getattr(part, key): part for part in parts}


def _parts(word: str, was: Mapping[str, Any], now: Mapping[str, Any]) -> Iterator[str]:
    for name in (*was, *(n for n in now if n not in was)):
        before, after = was.get(name), now.get(name)
        if before is None or after is None:
            yield f"{word} {_shown(name)}: {'removed' if after is None else 'added'}"
        else:
            yield from _changes(f"{word} {_shown(name)}", _flat(before), _flat(after))


def _changes(where: str, was: Mapping[str, Any], now: Mapping[str, Any]) -> Iterator[str]:
    for key in (*was, *(k for k in now if k not in was)):
        before, after = was.get(key), now.get(key)
        if before != after:
            secret = key.rpartition(".")[2] in SECRET
            yield f"{where} {key} changed" if secret else f"{where} {key} {_text(key, before)} -> {_text(key, after)}"


def _flat(part: Any, left_out: tuple[str, ...] = _LEFT_OUT) -> dict[str, Any]:
    """{dotted key: plain value} of a record, as its keys are written."""
    out: dict[str, Any] = {}
    if part is None:
        return out
    for each in fields(part):
        value, key = getattr(part, each.name), _WRITTEN.get(each.name, each.name)
        if each.name in left_out or (isinstance(part, People) and each.name == "persons") or each.name == "refs":
            continue
        if is_dataclass(value):
            out |= {f"{key}.{k}": v for k, v in _flat(value, ()).items()}
        elif isinstance(value, tuple) and any(is_dataclass(v) for v in value):
            single = "load" if key == "loads" else key
            for n, v in enumerate(value, start=1):
                name = getattr(v, "name", None)
                place = f"{single}.{_shown(name)}" if name is not None else single if len(value) == 1 else f"{single}[{n}]"
                out |= {f"{place}.{k}": x for k, x in _flat(v, _LEFT_OUT).items()}
        elif key == "fields":
            for quantity, pointer in value:
                out |= {f"fields.{quantity}.{k}": v for k, v in _flat(pointer, ()).items()}
        else:
            out[key] = value
    return out


def _text(key: str, value: Any) -> str:
    """A value in a line."""
    last = key.rpartition(".")[2]
    if value is None or value == ():
        return "none"
    if last == "hours":
        return ", ".join(f"{_clock(a)}-{_clock(b)}" for a, b in value)
    if last == "sleeping":
        return f"{_clock(value[0])}-{_clock(value[1])}"
    if last == "evening_min":
        return _clock(value)
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return f"{value:.10g}"
    if isinstance(value, tuple):
        return ", ".join(_text(key, v) for v in value)
    return _shown(value)


def _shown(value: object) -> str:
    return printable(str(value), 80)


def _clock(minute: int) -> str:
    return f"{minute // 60:02d}:{minute % 60:02d}"
