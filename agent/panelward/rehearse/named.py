"""Which part of the vehicle a person means: by its position on the panel (its id), its label, or a word of it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from panelward.errors import BadInput
from panelward.records import Schedule
from panelward.schedule.values import listed, most_like, printable

KINDS = ("circuit", "feeder", "supply", "monitor")


@dataclass(frozen=True, slots=True)
class Named:
    """One part: its kind, its id, and how a person is told of it."""

    kind: str  # circuit | feeder | supply | monitor
    id: str
    title: str


def parts(schedule: Schedule, kinds: Sequence[str] = KINDS) -> tuple[Named, ...]:
    """All that can be named, in the order of the file."""
    found: list[Named] = []
    if "circuit" in kinds:
        found += [Named("circuit", c.id, f"{c.label} ({c.id})") for c in schedule.circuits]
    if "feeder" in kinds:
        found += [Named("feeder", f.id, f"feeder {f.id}") for f in schedule.feeders]
    if "supply" in kinds:
        found += [Named("supply", s.id, f"supply {s.id}") for s in schedule.supplies]
    if "monitor" in kinds:
        found += [Named("monitor", m.name, f"monitor {m.name}") for m in schedule.monitors]
    return tuple(found)


def named(schedule: Schedule, text: str, kinds: Sequence[str] = KINDS, whole: str = "") -> Named:
    """The one part that `text` names. BadInput: none, or more than one; `whole` is what was asked, for the message."""
    there = parts(schedule, kinds)
    wanted = _folded(text)
    labels = {c.id: _folded(c.label) for c in schedule.circuits}

    def label(part: Named) -> str:
        return labels[part.id] if part.kind == "circuit" else _folded(part.id)

    tries = (
        [p for p in there if p.id == text.strip() and p.kind == "circuit"],
        [p for p in there if wanted in (_folded(p.id), label(p), _folded(f"{p.kind} {p.id}"))],
        [p for p in there if wanted and re.search(rf"\b{re.escape(wanted)}\b", label(p))],
        [p for p in there if len(wanted) >= 3 and wanted in label(p)],
    )
    found: list[Named] = next((each for each in tries if each), [])
    if len(found) == 1:
        return found[0]
    asked = f'"{printable(whole)}": ' if whole else ""
    if found:
        both = listed([p.title for p in found])
        raise BadInput(f'{asked}"{printable(text)}" may be {both}; name it by its position, or as one of these')
    near = most_like(text, [p.id for p in there] + [c.label for c in schedule.circuits])
    what = listed([p.title for p in there])
    hint = f" Did you mean {near}?" if near else ""
    raise BadInput(f'{asked}nothing here is called "{printable(text)}"; there are {what}.{hint}')


def _folded(text: str) -> str:
    return " ".join(text.casefold().split())
