"""What anybody may send as a request: read, or refused by name; its answer can always be sent."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from panelward.daemon import requests
from panelward.daemon.starting import Faults
from panelward.errors import PayloadRefused
from panelward.records import Answer

TEXTS = ("id", "alarm", "circuit", "who", "why", "presence", "what", "timezone", "reply_to")
ANY_TEXT = st.text(st.characters(codec=None), max_size=40)  # lone surrogates too


@given(kind=st.sampled_from(requests.KINDS), body=st.dictionaries(st.sampled_from(TEXTS), ANY_TEXT))
def test_whatever_text_json_can_hold_what_is_read_is_utf_8_and_can_be_answered(kind: str, body: dict[str, str]) -> None:
    found = requests.read(kind, json.dumps(body).encode(), 0)
    for name in TEXTS:
        (getattr(found, name) or "").encode()
    json.loads(requests.answer(Answer(id=found.id, done=False, why=found.why)))


@pytest.mark.parametrize(("who", "read"), [("Kari \\ud83d", "Kari ?"), ("Kari \\ud83d\\ude80", "Kari 🚀"), ("Kåri", "Kåri")])
def test_half_an_emoji_is_replaced_and_a_whole_one_stays(who: str, read: str) -> None:
    assert requests.read("acknowledge", f'{{"who": "{who}"}}'.encode(), 0).who == read


def test_a_priority_of_half_an_emoji_is_refused_in_words() -> None:
    with pytest.raises(PayloadRefused, match="priority must be"):
        requests.read("drill", b'{"priority": "\\ud800"}', 0)


def test_a_fault_of_ours_is_said_once_with_its_place() -> None:
    said: list[str] = []
    faults = Faults(said.append)
    for _ in range(3):
        try:
            raise LookupError("of ours")
        except LookupError as error:
            faults.fault("a message on van/x", error)
    assert len(said) == 1
    assert "a message on van/x" in said[0]
    assert "LookupError: of ours" in said[0]


@pytest.mark.parametrize("kind", requests.BY_ANYBODY)
@pytest.mark.parametrize("who", ["", "  ", None])
def test_who_asked_stands_in_the_journal_also_where_nobody_is_named(kind: str, who: str | None) -> None:
    body = {} if who is None else {"who": who}
    assert requests.read(kind, json.dumps(body).encode(), 0).who == requests.UNNAMED
    assert requests.read(kind, b'{"who": "Kari"}', 0).who == "Kari"


@pytest.mark.parametrize("kind", ["note", "replaced", "timezone", "working"])
def test_what_needs_a_name_is_still_refused_without_one_by_whoever_judges_it(kind: str) -> None:
    assert requests.read(kind, b"{}", 0).who == ""
