"""Topics by which a monitor seems to say that it is here, or gone: its last will, its state."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from itertools import pairwise

from panelward.listen.findings import StateTopic
from panelward.listen.proposals import Topic, can_stand
from panelward.listen.shape import ANY, MARKS

WORDS = ("state", "status", "online", "available", "availability", "will", "lwt", "alive", "connection", "connected", "health")
MOST_TEXTS = 4
LONGEST = 60
FEWEST = 2  # readings: more of them must have come while a text stood


def state_of(
    pattern: str, circuits: Sequence[str], topics: Sequence[Topic], readings_ms: Sequence[int], until_ms: int
) -> StateTopic | None:
    """The topic that is most likely this monitor's state.

    `readings_ms`: when its live readings came, sorted; `until_ms`: when listening ended.
    """
    parts = pattern.split("/")
    fixed = next((n for n, part in enumerate(parts) if part in (*MARKS, ANY)), len(parts))
    place = parts.index("{circuit}") if "{circuit}" in parts else -1
    found: list[tuple[int, bool, str, Topic, tuple[str, ...]]] = []
    for topic in topics:
        own = topic.parts
        shared = next((n for n, (a, b) in enumerate(zip(parts[:fixed], own, strict=False)) if a != b), min(fixed, len(own)))
        texts = _texts(topic)
        if not shared or texts is None or not can_stand(topic.name) or (0 <= place < len(own) and own[place] in circuits):
            continue
        retained = any(heard.retained for heard in topic.heard)
        named = own[-1].lower() in WORDS
        if retained or named:
            found.append((-shared, not named, topic.name, topic, texts))
    if not found:
        return None
    topic, texts = min(found, key=lambda one: one[:3])[3:]
    here, gone = _meaning(topic, readings_ms, until_ms)
    return StateTopic(
        topic=topic.name, texts=texts, here=here, gone=gone, retained=any(heard.retained for heard in topic.heard)
    )  # fmt: skip


def _texts(topic: Topic) -> tuple[str, ...] | None:
    """Its different texts; None where they are none of a state."""
    texts: dict[str, None] = {}
    for heard, one in zip(topic.heard, topic.looks, strict=False):
        if one.kind == "empty":
            continue  # so a retained message is taken away
        text = heard.payload.decode("utf-8", "replace").strip()
        state = one.kind in ("text", "state") or (one.kind == "number" and one.value in (0.0, 1.0))
        if not state or not text.isprintable() or len(text) > LONGEST:
            return None
        texts[text] = None
    return tuple(sorted(texts)) if 0 < len(texts) <= MOST_TEXTS else None


def _meaning(topic: Topic, readings_ms: Sequence[int], until_ms: int) -> tuple[str | None, str | None]:
    """(here, gone): a text under which readings came says that it is here; one under which none came, that it is gone.

    The silence must be longer than any wait between two readings before: a state said at the end proves nothing.
    """
    came_under: dict[str, int] = {}
    quiet: dict[str, None] = {}
    heard = [one for one in topic.heard if one.payload.strip()]
    longest = max((b - a for a, b in pairwise(readings_ms)), default=0)
    for n, one in enumerate(heard):
        text = one.payload.decode("utf-8", "replace").strip()
        until = heard[n + 1].received_ms if n + 1 < len(heard) else until_ms
        came = bisect_left(readings_ms, until) - bisect_left(readings_ms, one.received_ms)
        came_under[text] = came_under.get(text, 0) + came
        if not came and until - one.received_ms > longest:
            quiet[text] = None
    here = [text for text, came in came_under.items() if came > FEWEST]
    gone = [text for text in quiet if not came_under[text]]
    return (here[0] if len(here) == 1 else None), (gone[0] if len(here) == len(gone) == 1 else None)
