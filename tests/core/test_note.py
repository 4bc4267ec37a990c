"""The request `note`: said back, refused where it can't be, and nothing else comes of it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from panelward.core import Core
from panelward.records import Answer, Input, Noted, Output, Request, Settings
from plans import FREEZER, SOCKETS, T0, plan, stream

SCHEDULE = plan(FREEZER, SOCKETS)
NOTE = Request(kind="note", received_ms=T0 + 60_000, id="7", who="Kari", why="smelled warm", circuit="D7")


def lived(*requests: Request) -> tuple[Core, list[Output]]:
    core, out = Core(), []
    inputs: list[Input] = [*stream({"D1": lambda t: 4.0 if t < 120 else 0.0, "D7": 5.0}, 600), *requests]
    core.feed(Settings(received_ms=T0, schedule=SCHEDULE))
    for each in sorted(inputs, key=lambda item: item.received_ms):
        out += core.feed(each)
    return core, out


def test_it_comes_back_with_when_who_and_what_and_changes_nothing() -> None:
    core, out = lived(NOTE)
    noted, answer = [item for item in out if isinstance(item, Noted | Answer)]
    assert noted == Noted(at_ms=T0 + 60_000, who="Kari", text="smelled warm", circuit="D7")
    assert answer == Answer(id="7", done=True, why="", state="noted")
    bare, without = lived()
    assert [item for item in out if item not in (noted, answer)] == without
    assert without, "an alarm comes of the freezer, with or without a note"
    assert core.save() == bare.save()


@pytest.mark.parametrize(
    ("keys", "why"),
    [
        ({"who": " "}, "a note needs who writes it"),
        ({"why": ""}, "a note needs a text"),
        ({"circuit": "D99"}, "the schedule has no circuit 'D99'"),
    ],
)
def test_one_that_cannot_be_is_refused_with_its_reason(keys: dict[str, str], why: str) -> None:
    _, out = lived(replace(NOTE, **keys))  # type: ignore[arg-type]
    assert [item for item in out if isinstance(item, Noted | Answer)] == [Answer(id="7", done=False, why=why)]


def test_it_may_be_about_nothing_in_particular() -> None:
    _, out = lived(replace(NOTE, circuit=None))
    assert [item.circuit for item in out if isinstance(item, Noted)] == [None]
