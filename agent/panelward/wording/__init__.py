"""Every text about an alarm: a transition and the schedule in; the alarm object, its sentence and evidence out.

Pure. The words are in `english`, the choosing in `say`. No other room holds text about alarms.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

from panelward.records import Circuit, Facts, Figure, Fitter, Schedule, Transition
from panelward.wording import english, flood, say
from panelward.wording.together import Piece, dated, ring, together

__all__ = [
    "Known", "Piece", "alarm_object", "body", "dated", "message", "number_of", "once", "repeated", "title", "together",
    "with_link",
]  # fmt: skip

COLD = ("door-open", "hot-load", "iced", "condenser-blocked", "charge-lost")  # why a compressor runs more
UNLOADED_A = 1.0  # an inverter that runs nothing, or next to nothing
MOSTLY = 0.6  # what the two likeliest causes must have together to be named alone
_WEIGHTS = re.compile(r" \([^()]* [+-]\d+\.\d\)(?=\.)")  # of a piece of evidence, as `_fact` adds them: not for a phone


def alarm_object(transition: Transition, schedule: Schedule, *, again: bool = False) -> dict[str, Any]:
    """The alarm object, the same on MQTT, in rehearsal and everywhere. Figures to 4 digits, probabilities to 3 places."""
    found: dict[str, Any] = {
        "id": transition.id,
        "sequence": transition.sequence,
        "time": transition.at_ms / 1000.0,
        "since": transition.since_ms / 1000.0,
        "subject": {transition.subject: transition.subject_id},
        transition.subject: transition.subject_id,
        "group": transition.group,
        "kind": transition.kind,
        "was": transition.was,
        "event": transition.event,
        "state": transition.state,
        "latched": transition.latched,
        "priority": transition.priority,
        "cause": transition.cause,
        "candidates": [[cause, round(p, 3)] for cause, p in transition.candidates],
        "circuits": list(transition.circuits),
        "message": message(transition, schedule, again=again),
        "evidence": [_fact(name, facts, transition, schedule) for name, facts in transition.evidence],
        "confidence": None if transition.confidence is None else round(transition.confidence, 3),
    }
    if transition.who:
        found["who"] = transition.who
    if transition.why:
        found["why"] = transition.why
    for name, value in transition.figures:
        found.setdefault(name, _leave(value))
    return found


def message(transition: Transition, schedule: Schedule, *, again: bool = False) -> str:
    """The phone's sentence: the act, the label, what was seen, since when; at most 140 characters."""
    if transition.kind == "flood":
        return flood.message(transition, schedule, again=again)
    situation, manner = say.situation_of(transition)
    circuit = _spoken_for(transition, schedule)
    figures = dict(transition.figures)
    label = circuit.label if circuit is not None else transition.subject_id
    if situation == "withdrawn":
        manner, label = _withdrawn(transition, schedule, circuit)
    elif situation == "parent-lost":
        manner = _parent_manner(transition, schedule)
    elif situation == "near-cut-off":
        manner = _cut_off_manner(schedule, transition, figures)
    elif situation == "suspect-swapped":
        manner = "several" if len(transition.circuits) > 2 else "*"
    elif manner is None:
        manner = say.manner_of(schedule, circuit)
        if situation in ("off-stalled", "off-more-than-listed"):
            manner = say.turning(circuit, situation, manner)
    repeat = again or transition.event in ("begins-again", "re-alarm", "unsuppress", "chatter-over")
    others = [c.label for c in schedule.circuits if c.id in _doubted(transition) and c.id != transition.subject_id]
    tails = [tail for tail in english.PERHAPS if len(others) == 1 or "{other}" not in tail] if others else []
    tail = tuple(tail.format(other=say.shorten(others[0], say.LABEL_MOST)) for tail in tails)
    return say.sentence(situation, manner, _values(transition, schedule, figures), label, again=repeat, tails=tail)


def title(schedule: Schedule) -> str:
    """The notification's head."""
    return say.shorten(schedule.vehicle.name, 40)


class Known(NamedTuple):
    """What is known beside an alarm; None: it is not."""

    inside_c: float | None = None  # how warm it is inside the load
    charge: float | None = None  # of the bank: share left
    charge_error: float = 0.0  # … and how far that may be wrong


def body(
    found: dict[str, Any], number: int, *, fitter: Fitter | None = None, known: Known | None = None
) -> str:  # fmt: skip
    """The notification's text: the sentence, then why, what else it could be, what is known, number, caution."""
    lines = [str(found["message"])]
    evidence = [_WEIGHTS.sub("", str(line)) for line in found["evidence"][:3]]
    if evidence:
        lines.append(english.WHY + " ".join(evidence))
    if len(found["candidates"]) > 1 and found["cause"] in (None, "unknown") and found["event"] not in ("ends", "withdrawn"):
        could = [english.CAUSES.get(cause, cause) for cause, p in found["candidates"] if p >= 0.1]
        lines.append(english.EITHER + ", ".join(could) + ".")
        tell = _either(found["candidates"], str(found.get("device", "fuse")), parent="circuit" not in found)
        if tell not in lines[0] and not lines[0].startswith(english.LEAVE):
            lines.append(english.TELL + tell)
    lines += _beside(known or Known())
    lines += ring(lines, fitter)
    lines.append(english.MESSAGE_NUMBER.format(number=number))
    lines.append(english.CAUTION)
    return "\n".join(lines)


def with_link(text: str, link: str) -> str:
    """A notification's text with the link that answers it, before its number and the caution."""
    lines = text.split("\n")
    return "\n".join([*lines[:-2], english.ANSWER.format(link=link), *lines[-2:]])


def _beside(known: Known) -> list[str]:
    inside = [english.INSIDE.format(celsius=say.number(known.inside_c))] if known.inside_c is not None else []
    if known.charge is None:
        return inside
    percent, error = round(100.0 * known.charge), max(1, round(100.0 * known.charge_error))
    return [*inside, english.CHARGE.format(percent=percent, error=error)]


def number_of(text: str) -> int:
    """The running number in a notification's text; 0: none."""
    found = re.search(re.escape(english.MESSAGE_NUMBER).replace(r"\{number\}", r"(\d+)"), text)
    return int(found[1]) if found else 0


def repeated(text: str) -> str:
    """The same text where it may have arrived before."""
    return text if text.startswith(english.AGAIN) else english.AGAIN + text


def once(text: str) -> str:
    """The same text to whom it comes for the first time."""
    return text.removeprefix(english.AGAIN)


def _either(candidates: Iterable[Sequence[Any]], word: str, *, parent: bool) -> str:
    """The two likeliest causes, and what tells them apart by looking or listening; of more as likely, where to begin."""
    two = list(candidates)[:2]
    first = sorted(str(cause) for cause, _ in two) if sum(p for _, p in two) >= MOSTLY else []
    pairs, other = (english.EITHER_PARENT, english.EITHER_PARENT_OTHER) if parent else (english.EITHER_OR, english.EITHER_OTHER)
    if two and two[0][0] in COLD:
        pairs, other = english.EITHER_COLD, english.EITHER_COLD_OTHER
    template = pairs.get((first[0], first[1])) if len(first) == 2 else None
    return (template or other).format(word=word)


def _doubted(transition: Transition) -> tuple[Figure, ...]:
    """The circuits that this may be about, because their names look swapped."""
    facts = next((dict(facts) for name, facts in transition.evidence if name == "names-swapped"), {})
    circuits = facts.get("circuits", ())
    return circuits if isinstance(circuits, tuple) else ()


def _stopped(transition: Transition) -> tuple[Figure, ...]:
    """The circuits that it covers, less those that had stopped before it."""
    stopped = dict(transition.figures).get("stopped")
    return stopped if isinstance(stopped, tuple) else transition.circuits


def _spoken_for(transition: Transition, schedule: Schedule) -> Circuit | None:
    """The circuit whose label stands in the sentence: the subject, or the one that matters most of those covered."""
    ids = [transition.subject_id] if transition.subject == "circuit" else list(_stopped(transition))
    worth = {"life": 0, "property": 1, "comfort": 2}
    known = [c for c in schedule.circuits if c.id in ids and (c.role != "meter" or len(ids) == 1)]
    return min(known, key=lambda c: (worth[c.importance], c.feed != "always-on"), default=None)


def _withdrawn(transition: Transition, schedule: Schedule, circuit: Circuit | None) -> tuple[str, str]:
    """(manner, label): what is no longer judged may still be so; only of what is known to matter least is nothing to do."""
    ids = (transition.subject_id,) if transition.subject == "circuit" else transition.circuits
    known = [c for c in schedule.circuits if c.id in ids]
    least = len(known) == len(ids) and all(c.importance == "comfort" and c.feed != "always-on" for c in known)
    named = circuit.label if circuit is not None else transition.subject_id
    if transition.subject != "circuit":
        return ("*", transition.subject_id) if least else ("parent" if circuit is not None else "matters", named)
    return "*" if least else "matters", named


def _parent_manner(transition: Transition, schedule: Schedule) -> str:
    kinds = [load.kind for c in schedule.circuits if c.id in transition.circuits for load in c.loads]
    if "detector" in kinds:
        return "gas"
    if transition.cause == "low-voltage-disconnect":
        return "cut-off"
    if transition.cause == "source-limited":
        return "limited"
    if transition.cause == "low-volts" and transition.circuits:
        return "low"
    supply = next((s for s in schedule.supplies if s.id == transition.subject_id), None)  # None: renamed since
    if transition.circuits and transition.subject == "supply" and supply is not None and supply.fed_by is not None:
        return "fed"
    if transition.subject == "feeder":
        return "feeder"
    return "*" if transition.circuits else "none"


def _cut_off_manner(schedule: Schedule, transition: Transition, figures: dict[str, Figure]) -> str:
    """What the message must say: hours where known, a bank too cold to charge, an inverter to unload, the last messages."""
    hours = "hours" if figures.get("hours_left") is not None else ""
    second = "cold" if figures.get("too_cold") else "inverter" if _inverter(schedule, transition) else ""
    messages = "messages" if figures.get("carries_messages") else ""
    return "-".join(part for part in (hours, second, messages) if part) or "*"


def _inverter(schedule: Schedule, transition: Transition) -> str:
    """The inverter that can be unloaded: one that draws."""
    draws_a = dict(transition.figures).get("inverter_a")
    if isinstance(draws_a, float) and draws_a < UNLOADED_A:
        return ""
    for circuit in schedule.circuits:
        if circuit.id in transition.circuits and any(load.kind == "inverter" for load in circuit.loads):
            return say.shorten(circuit.label, 14)
    return ""


def _values(transition: Transition, schedule: Schedule, figures: dict[str, Figure]) -> dict[str, str]:
    zone, at_ms, since_ms = schedule.vehicle.timezone, transition.at_ms, transition.since_ms
    first_s = figures.get("first_opening_s")
    first_ms = round(first_s * 1000) if isinstance(first_s, (int, float)) else since_ms
    lasted_s = figures.get("off_for_s", figures.get("silent_s"))
    if not isinstance(lasted_s, (int, float)):
        lasted_s = (at_ms - since_ms) / 1000.0
    amps = say.number(figures.get("draw_a", figures.get("before_a")))
    other = next((c.label for c in schedule.circuits if c.id in transition.circuits and c.id != transition.subject_id), "")
    hours = figures.get("hours_left", figures.get("warms_in_h"))
    place = transition.subject_id
    if transition.subject == "circuit":
        circuit = next((c for c in schedule.circuits if c.id == transition.subject_id), None)
        place = say.shorten(circuit.label, say.LABEL_MOST) if circuit else place
    return {
        "amps": english.AT_LEAST.format(amps=amps) if figures.get("draw_is_least") else amps,
        "other": say.shorten(other, say.LABEL_MOST),
        "watts": say.number(figures.get("draw_w")),
        "volts": say.number(figures.get("volts", figures.get("before_v"))),
        "celsius": say.number(figures.get("panel_c")),
        "hours": say.number(max(0.1, round(hours, 1)) if isinstance(hours, float) else hours),
        "bank": say.number(figures.get("bank_c")),
        "dip": say.number(figures.get("dip_v")),
        "step": say.number(figures.get("step_s")),
        "tries": say.number(figures.get("tries")),
        "ran": _lasting(figures.get("run_s")),
        "rests": _lasting(figures.get("rest_s")),
        "every": _lasting(figures.get("every_s")),
        "within": _lasting(figures.get("within_s")),
        "percent": say.number(
            round(100.0 * duty) if isinstance(duty := figures.get("duty"), float) else figures.get("percent")
        ),
        "window": say.number(figures.get("window_h")),
        "starts": say.number(figures.get("starts")),
        "outside": say.number(figures.get("outside_c")),
        "weeks": say.number(figures.get("weeks")),
        "openings": say.number(figures.get("openings")),
        "first": say.day_clock(first_ms, zone),
        "since": say.clock(since_ms, at_ms, zone),
        "at": say.day_clock(at_ms, zone) if transition.kind == "drill" else say.clock(at_ms, at_ms, zone),
        "lasting": say.lasting(lasted_s),
        "count": str(len(_stopped(transition))),
        "word": (word := _word(transition, schedule, figures)),
        "either": _either(transition.candidates, word, parent=transition.subject != "circuit"),
        "place": say.shorten(place, 20),
        "inverter": _inverter(schedule, transition),
        "vehicle": say.shorten(schedule.vehicle.name, say.LABEL_MOST),
    }


def _lasting(seconds: Figure) -> str:
    return say.lasting(seconds) if isinstance(seconds, (int, float)) else english.NOTHING_KNOWN


def _word(transition: Transition, schedule: Schedule, figures: dict[str, Figure]) -> str:
    word = figures.get("device")
    if isinstance(word, str):
        return word
    circuit = next((c for c in schedule.circuits if c.id == transition.subject_id), None)
    if circuit is None or circuit.protection is None:
        return "fuse"
    if "fuse" in circuit.protection.kind:
        return "fuse"
    return "breaker" if circuit.protection.kind.startswith("breaker") else "output"


_MEASURED = {"stopped-together": "bus_v", "silence": "every_s"}  # what a piece of evidence leaves out where it is not known


def _fact(name: str, facts: Facts, transition: Transition, schedule: Schedule) -> str:
    if dict(facts).get(_MEASURED.get(name, ""), 0) is None:
        name += "-unmeasured"
    if name == "shows-nothing":
        values = dict(facts)
        name = name if values["floor_w"] else name + "-floorless"
        times = values["readings"]
        facts = tuple((values | {"readings": english.ONCE if times == 1 else english.TIMES.format(times=times)}).items())
    template = english.EVIDENCE[name]
    if name == "under-work":
        values = dict(facts)
        until_ms = int(str(values["until_s"])) * 1000
        until = say.clock(until_ms, transition.at_ms, schedule.vehicle.timezone)
        return template.format(who=say.shorten(str(values["who"]), say.LABEL_MOST), until_s=until)
    if "swapped" in name or name in ("messages-go", "goes-with"):
        label = {c.id: say.shorten(c.label, say.LABEL_MOST) for c in schedule.circuits}
        facts = tuple((key, _labels(value, label)) for key, value in facts)
    if "{" in template:
        return template.format(**{key: _told(key, value) for key, value in facts})
    weights = ", ".join(f"{english.CAUSES[cause]} {weight:+.1f}" for cause, weight in facts if isinstance(weight, (int, float)))
    return f"{template} ({weights})." if weights else f"{template}."


def _labels(value: Figure, label: dict[str, str]) -> Figure:
    """Ids of circuits as a person knows them."""
    if isinstance(value, tuple):
        return ", ".join(label.get(str(item), str(item)) for item in value)
    return label.get(value, value) if isinstance(value, str) else value


def _told(key: str, value: Figure) -> str:
    if key == "hours" and isinstance(value, tuple):
        minutes = [m for m in value if isinstance(m, int)]
        pairs = zip(minutes[::2], minutes[1::2], strict=True)
        return ", ".join(f"{a // 60:02d}:{a % 60:02d} to {b // 60:02d}:{b % 60:02d}" for a, b in pairs)
    return say.number(value)


def _leave(value: Figure) -> Any:
    """A figure as it leaves: 4 significant digits, tuples as lists."""
    if isinstance(value, tuple):
        return [_leave(item) for item in value]
    if isinstance(value, float):
        return float(f"{value:.4g}")
    return value
