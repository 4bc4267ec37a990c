"""Alarms by their ids: the last of all, and those nearest to an id that is none."""

from __future__ import annotations

from itertools import takewhile
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from panelward.journal.past import Past

NEAREST = 5


def last_alarms(journal: Past, limit: int) -> list[dict[str, Any]]:
    """The newest object of each of the alarms that changed last, in the order in which they did."""
    found = journal._ask(
        "SELECT number, object FROM transitions WHERE rowid IN (SELECT max(rowid) FROM transitions GROUP BY alarm_id "
        "ORDER BY max(rowid) DESC LIMIT ?) ORDER BY rowid",
        (limit,),
    )
    return journal._shown(found)


def nearest(journal: Past, alarm_id: str) -> tuple[str, ...]:
    """The ids nearest to one that is none, of the same circuit, supply or monitor; the newest first where they are as near."""
    ids = [row[0] for row in journal._ask("SELECT alarm_id FROM transitions GROUP BY alarm_id ORDER BY max(rowid) DESC")]
    asked = f"{alarm_id.casefold()}-"
    of = [each for each in ids if asked.startswith(f"{subject(each).casefold()}-")]
    return tuple(sorted(of, key=lambda each: -_alike(asked, each.casefold()))[:NEAREST])


def _alike(one: str, other: str) -> int:
    """Letters from the beginning."""
    return sum(1 for _ in takewhile(lambda pair: pair[0] == pair[1], zip(one, other, strict=False)))


def subject(alarm_id: str) -> str:
    """D4 of D4-dead-20260612T063010000Z: behind it stand its group and when it began."""
    return alarm_id.rsplit("-", 2)[0]


def which(journal: Past, alarm_id: str) -> str:
    """What to do for one that is none."""
    found = nearest(journal, alarm_id)
    every = "`panelward alarms --last 20` lists them"
    return f"{every}; of {subject(found[0])} it has {', '.join(found)}" if found else every
