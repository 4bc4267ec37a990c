"""One message as it was heard, and a store for them that stays bounded whatever is published."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

# Our own bounds: together some 60 MB, so that it runs beside the watch on a computer with 512 MB.
MOST_TOPICS = 10_000
MOST_MESSAGES = 100_000
MOST_OF_A_TOPIC = 2_000
MOST_BYTES = 24 * 1024 * 1024
LONGEST_PAYLOAD = 64 * 1024  # a pack of a whole panel is some 10 KiB; of what is longer the head is kept
HEAD = 200
LONGEST_TOPIC = 500


class Heard(NamedTuple):
    """One message. `size` is its whole length where only the head of its payload was kept."""

    received_ms: int
    topic: str
    payload: bytes
    retained: bool = False
    size: int | None = None

    @property
    def cut(self) -> bool:
        return self.size is not None and self.size > len(self.payload)


def in_order(heard: Heard) -> tuple[int, str, bytes, bool, int]:
    """To sort by: the order in which they were heard, and one only where several came at once."""
    return heard.received_ms, heard.topic, heard.payload, heard.retained, heard.size or 0


class Kept:
    """The first messages of each topic, as long as there is room; how many came besides is counted."""

    def __init__(self) -> None:
        self.messages = 0  # all that came
        self.not_kept = 0
        self.topics_not_kept = 0  # messages on topics beyond what is kept, or with names that are too long
        self._by_topic: dict[str, list[Heard]] = {}
        self._kept = 0
        self._bytes = 0

    @property
    def topics(self) -> int:
        return len(self._by_topic)

    def add(self, heard: Heard) -> None:
        self.messages += 1
        found = self._by_topic.get(heard.topic)
        if found is None:
            if len(self._by_topic) >= MOST_TOPICS or len(heard.topic) > LONGEST_TOPIC:
                self.topics_not_kept += 1
                self.not_kept += 1
                return
            found = self._by_topic[heard.topic] = []
        if len(heard.payload) > LONGEST_PAYLOAD:
            heard = heard._replace(payload=heard.payload[:HEAD], size=len(heard.payload))
        full = self._kept >= MOST_MESSAGES or self._bytes + len(heard.payload) > MOST_BYTES
        # The first of a topic is kept always: a full store shall not hide that there is another topic.
        if found and (full or len(found) >= MOST_OF_A_TOPIC):
            self.not_kept += 1
            return
        if full:
            heard = heard._replace(payload=heard.payload[:HEAD], size=len(heard.payload))
        if found:
            heard = heard._replace(topic=found[0].topic)  # one text for all of a topic
        found.append(heard)
        self._kept += 1
        self._bytes += len(heard.payload)

    def records(self) -> Iterator[Heard]:
        for found in list(self._by_topic.values()):
            yield from list(found)
