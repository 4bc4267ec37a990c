"""What was not understood: why, in plain words, with an example; and what a monitor would have to send instead."""

from __future__ import annotations

from collections.abc import Collection, Mapping

from panelward.listen.fields import UNITS, WORDS
from panelward.listen.findings import Unread
from panelward.listen.heard import Heard
from panelward.listen.payloads import leaves, shown
from panelward.listen.proof import Read
from panelward.listen.proposals import Topic, can_stand
from panelward.listen.shape import MOST_PARTS
from panelward.records import QUANTITIES
from panelward.schedule.values import ID_FORM, ID_WORDS

MOST_REASONS = 20
ELSE = "other reasons"
TWICE = (
    "its circuit's id is taken by another monitor, and stands once in a schedule: let one of the two call it something else"
)  # fmt: skip
# Of messages on a topic that its monitor's dialect otherwise reads, or was meant to read. The reasons are intake's.
_REFUSED = {
    "not-a-number": "no number, where a reading of its circuit was awaited",
    "not-a-state": "neither 1 nor 0, where a switch's state was awaited",
    "out-of-range": "a number beyond what a panel can have, or none",
    "not-json": "broken JSON, where its circuit's readings were awaited",
    "nothing-found": "JSON without any of its monitor's quantities",
    "too-large": "a payload far too long for a reading",
    "not-utf-8": "bytes that are no text",
    "other-monitor": TWICE,
    "unknown-circuit": "its circuit can't be told from the topic",
    "unknown-quantity": "its quantity can't be told from the topic",
}
_KINDS = {
    "empty": "empty: nothing is said",
    "binary": "bytes that are neither text nor JSON",
    "large": "a payload far too long for a reading",
    "broken": "broken JSON",
    "list": "a JSON array that is no SenML pack (RFC 8428)",
    "senml": "SenML without volts, amps, watts, Celsius or a state, or without a name for each circuit",
    "text": "a text, no reading",
}


def unread(
    topics: Mapping[str, Topic], found: Read, states: Collection[str], crowded: Mapping[str, str]
) -> tuple[Unread, ...]:  # fmt: skip
    """By reason, the most topics first."""
    groups: dict[str, list[tuple[int, Heard]]] = {}
    for name, topic in topics.items():
        if name in states:
            continue
        if name in found.why:
            reason, heard = found.why[name]
            groups.setdefault(_REFUSED.get(reason, f"not readable ({reason})"), []).append((found.refused[name], heard))
        elif name not in found.understood:
            groups.setdefault(crowded.get(name) or why(topic), []).append((len(topic.heard), topic.heard[-1]))
    ranked = sorted(groups.items(), key=lambda item: (-len(item[1]), item[0]))
    rest = [one for _, many in ranked[MOST_REASONS:] for one in many]
    ranked = [*ranked[:MOST_REASONS], *([(ELSE, rest)] if rest else [])]
    return tuple(_group(reason, many) for reason, many in ranked)


def _group(reason: str, many: list[tuple[int, Heard]]) -> Unread:
    example = many[0][1]
    return Unread(
        why=reason,
        topics=len(many),
        messages=sum(count for count, _ in many),
        topic=example.topic,
        payload=shown(example),
    )


def why(topic: Topic) -> str:
    """Why no monitor could be made of this topic."""
    kinds = [one.kind for one in topic.looks]
    usual = max(dict.fromkeys(kinds), key=kinds.count)
    if len(topic.parts) > MOST_PARTS:
        return f"a topic of more than {MOST_PARTS} parts"
    if usual == "json":
        return _of_json(topic)
    if usual not in ("number", "state"):
        return _KINDS[usual]
    own = [part for part in topic.parts if part in QUANTITIES]
    if own:
        return _of_place(topic) or "a number, but it is no value of this quantity"
    near = [(part, _near(part)) for part in reversed(topic.parts) if _near(part)]
    if near:
        part, quantity = near[0]
        return f"the topic says '{part}': plain reads it only where it is called {quantity}"
    return "a bare number, and no part of the topic is one of " + ", ".join(QUANTITIES)


def _of_place(topic: Topic) -> str:
    """Where the quantity is plain and the circuit is not."""
    others = [part for part in topic.parts if part and part not in QUANTITIES]
    if any(not can_stand(part) for part in others):
        return "a part of the topic can't be written into a schedule (control characters, braces, + or #)"
    if not others:
        return "no part of the topic is left to name the circuit"
    if any(ID_FORM.fullmatch(part) is None for part in others):
        return f"the part of the topic that may be its circuit is no id: {ID_WORDS}"
    return ""


def _near(part: str) -> str | None:
    """The quantity that this word means, where it is another word for it."""
    word = part.lower()
    if len(word) < 3 and word not in ("ma", "mv", "kw"):
        return None
    return WORDS.get(word) or (UNITS[word][0] if word in UNITS else None)


def _of_json(topic: Topic) -> str:
    document = next(one.value for one in topic.looks if one.kind == "json")
    inner: dict[str, int] = {}
    for pointer in leaves(document):
        last = pointer.rsplit("/", 1)[1].lower()
        if pointer.count("/") > 1 and last in (*WORDS, *UNITS):
            inner[last] = inner.get(last, 0) + 1
    if inner and max(inner.values()) > 1:
        return "JSON with several circuits in one message: json reads one circuit a message, named by its topic"
    if any(pointer.rsplit("/", 1)[1].lower() in WORDS for pointer in leaves(document)):
        return "JSON whose quantities stand twice, or whose topic names no circuit"
    return "JSON without a member that is called like volts, amps, watts, closed or celsius"
