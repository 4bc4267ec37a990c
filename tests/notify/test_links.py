"""The link that answers one alarm: made, read, refused with a reason, spent; the key; which messages carry it.

The MAC is checked against openssl's own HMAC-SHA256.
"""

from __future__ import annotations

import base64
import os
import shutil
import stat
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from panelward.daemon.answering import Answering
from panelward.errors import EnvironmentFault, RequestRefused
from panelward.journal import OutboxRow, door_key
from panelward.records import links
from panelward.wording import with_link

KEY, OTHER = bytes(range(32)), bytes(range(1, 33))
NOW_S = 1_780_000_000.0
ALARM = "circuit-D1-dead-1777615200000"
GOOD = links.make(KEY, ALARM, 3, NOW_S + links.LASTS_S)


def changed(token: str, at: int) -> str:
    return token[:at] + ("A" if token[at] != "A" else "B") + token[at + 1 :]


def test_what_is_made_is_read_for_a_day_and_is_short_and_fit_for_an_address() -> None:
    assert links.read(KEY, GOOD, NOW_S) == (ALARM, 3)
    assert links.read(KEY, GOOD, NOW_S + links.LASTS_S - 1) == (ALARM, 3)
    assert len(GOOD) <= 80
    assert all(c.isalnum() or c in "-_" for c in GOOD)


@given(st.text(min_size=1, max_size=200), st.integers(1, 2**31), st.binary(min_size=32, max_size=32))
def test_any_alarm_comes_back_as_it_was_and_under_no_other_key(alarm: str, sequence: int, key: bytes) -> None:
    try:
        alarm.encode("utf-8")
    except UnicodeEncodeError:
        return
    token = links.make(key, alarm, sequence, NOW_S + 60)
    assert links.read(key, token, NOW_S) == (alarm, sequence)
    other = bytes([key[0] ^ 1]) + key[1:]
    with pytest.raises(RequestRefused):
        links.read(other, token, NOW_S)


@pytest.mark.skipif(shutil.which("openssl") is None, reason="openssl is not here")
def test_its_mac_is_hmac_sha256_by_openssl() -> None:
    raw = base64.urlsafe_b64decode(GOOD + "=" * (-len(GOOD) % 4))
    asked = ["openssl", "dgst", "-sha256", "-mac", "HMAC", "-macopt", f"hexkey:{KEY.hex()}", "-binary"]
    done = subprocess.run(asked, input=b"panelward answer\0" + raw[16:], capture_output=True, check=True)
    assert raw[:16] == done.stdout[:16]
    assert raw[16:] == round(NOW_S + 86_400).to_bytes(4, "big") + (3).to_bytes(4, "big") + ALARM.encode()


@pytest.mark.parametrize(
    ("token", "key", "now_s", "why"),
    [
        ("", KEY, NOW_S, links.MALFORMED),
        ("A", KEY, NOW_S, links.MALFORMED),
        ("../../etc/passwd", KEY, NOW_S, links.MALFORMED),
        ("é" * 40, KEY, NOW_S, links.MALFORMED),
        (GOOD + "!", KEY, NOW_S, links.MALFORMED),
        ("A" * 5000, KEY, NOW_S, links.MALFORMED),
        (GOOD[:22], KEY, NOW_S, links.MALFORMED),
        (GOOD[:-2], KEY, NOW_S, links.MALFORMED),
        (GOOD[:-4], KEY, NOW_S, links.FOREIGN),
        (GOOD[4:], KEY, NOW_S, links.FOREIGN),
        (GOOD + "AAAA", KEY, NOW_S, links.FOREIGN),
        (changed(GOOD, 0), KEY, NOW_S, links.FOREIGN),
        (changed(GOOD, 24), KEY, NOW_S, links.FOREIGN),  # its expiry
        (changed(GOOD, 30), KEY, NOW_S, links.FOREIGN),  # its sequence
        (changed(GOOD, 50), KEY, NOW_S, links.FOREIGN),  # its alarm
        (GOOD, OTHER, NOW_S, links.FOREIGN),
        (GOOD, b"", NOW_S, links.FOREIGN),
        (GOOD, KEY, NOW_S + links.LASTS_S, links.EXPIRED),
        (GOOD, KEY, NOW_S + 10 * links.LASTS_S, links.EXPIRED),
        (GOOD, KEY, 30.0, links.NO_CLOCK),  # 1970: it would hold for fifty years
        (GOOD, KEY, NOW_S - 3600.0, links.NO_CLOCK),
        (links.make(KEY, ALARM, 1, 30.0 + links.LASTS_S), KEY, NOW_S, links.EXPIRED),  # made in 1970, then the clock was set
    ],
)
def test_what_does_not_hold_is_refused_with_its_reason(token: str, key: bytes, now_s: float, why: str) -> None:
    with pytest.raises(RequestRefused) as refused:
        links.read(key, token, now_s)
    assert str(refused.value) == why


def test_both_in_1970_it_holds_and_a_minute_between_two_clocks_is_none() -> None:
    assert links.read(KEY, links.make(KEY, ALARM, 1, 30.0 + links.LASTS_S), 60.0) == (ALARM, 1)
    assert links.read(KEY, GOOD, NOW_S - 60.0) == (ALARM, 3)


def step(sequence: int, event: str, state: str = "unacknowledged", **keys: Any) -> dict[str, Any]:
    return {"sequence": sequence, "event": event, "state": state, "kind": "feed-lost", "cause": None, "priority": "high"} | keys


BEGUN = step(1, "begins")


@pytest.mark.parametrize(
    ("life", "sequence", "why"),
    [
        ([BEGUN], 1, None),
        ([BEGUN, step(2, "changes")], 1, None),  # figures only: what was said is still the case
        ([BEGUN, step(2, "changes", cause="device-opened")], 1, links.CHANGED),
        ([BEGUN, step(2, "changes", priority="medium")], 1, links.CHANGED),
        ([BEGUN, step(2, "changes", kind="protection-opened")], 1, links.CHANGED),
        ([BEGUN, step(2, "changes", cause="device-opened")], 2, None),
        ([BEGUN, step(2, "ends", "returned-unacknowledged")], 1, None),  # it may still be seen
        ([BEGUN, step(2, "ends", "returned-unacknowledged"), step(3, "begins-again")], 1, links.CHANGED),
        ([BEGUN, step(2, "ends", "returned-unacknowledged"), step(3, "begins-again")], 3, None),
        ([BEGUN, step(2, "acknowledge", "acknowledged")], 1, links.ANSWERED),
        ([BEGUN, step(2, "acknowledge", "acknowledged"), step(3, "ends", "normal")], 1, links.ANSWERED),
        ([BEGUN, step(2, "acknowledge", "acknowledged"), step(3, "re-alarm")], 1, links.ANSWERED),
        ([BEGUN, step(2, "acknowledge", "acknowledged"), step(3, "re-alarm")], 3, None),
        ([BEGUN, step(2, "shelve", "shelved")], 1, links.ANSWERED),
        ([BEGUN, step(2, "out-of-service", "out-of-service")], 1, links.ANSWERED),
        ([BEGUN, step(2, "suppress", "suppressed")], 1, None),  # nobody answered
        ([BEGUN, step(2, "withdrawn", "normal")], 1, links.OVER),
        ([], 1, links.UNKNOWN),
        ([BEGUN], 2, links.UNKNOWN),
        ([step(7, "begins-again")], 1, links.UNKNOWN),  # its beginning went with the years
    ],
)
def test_it_is_of_use_once_and_only_for_what_was_said(life: list[dict[str, Any]], sequence: int, why: str | None) -> None:
    assert links.spent(life, sequence) == why
    assert links.spent(life[::-1], sequence) == why


# The key.


def test_the_key_is_made_once_closed_and_whole(tmp_path: Path) -> None:
    journal = tmp_path / "journal.sqlite"
    with pytest.raises(EnvironmentFault, match="can't be read"):
        door_key.read(journal)
    old = os.umask(0)
    try:
        key = door_key.made(journal)
    finally:
        os.umask(old)
    assert len(key) == 32
    assert door_key.made(journal) == door_key.read(journal) == key
    assert door_key.made(tmp_path / "other.sqlite") != key
    assert [p.name for p in tmp_path.iterdir() if "new" in p.name] == []
    assert stat.S_IMODE(door_key.path_of(journal).stat().st_mode) == 0o640
    assert door_key.path_of(journal).name == "journal.sqlite.door-key"


def test_many_who_make_it_at_once_have_the_same(tmp_path: Path) -> None:
    code = "import sys; from panelward.journal import door_key; print(door_key.made(sys.argv[1]).hex())"
    asked = [sys.executable, "-c", code, str(tmp_path / "j")]
    running = [subprocess.Popen(asked, stdout=subprocess.PIPE, text=True) for _ in range(4)]
    assert len({each.communicate(timeout=60)[0] for each in running}) == 1


@pytest.mark.parametrize("content", [b"", b"short", bytes(33)])
def test_what_is_no_key_is_left_as_it_is_and_said(tmp_path: Path, content: bytes) -> None:
    path = door_key.path_of(tmp_path / "j")
    path.write_bytes(content)
    path.chmod(0o640)
    with pytest.raises(EnvironmentFault, match="no key of 32 bytes"):
        door_key.made(tmp_path / "j")
    assert path.read_bytes() == content
    path.write_bytes(KEY)
    assert door_key.made(tmp_path / "j") == KEY
    path.chmod(0o644)
    with pytest.raises(EnvironmentFault, match="everybody may read it"):
        door_key.made(tmp_path / "j")


# In which messages.


def row(**keys: Any) -> OutboxRow:
    base: dict[str, Any] = {
        "alarm_id": ALARM, "sequence": 1, "address_ref": "Kari", "title": "Van", "body": "Look.\nMessage 1.\nCaution.",
        "kind": "feed-lost", "priority": "high", "created_real_s": 0.0, "due_real_s": 0.0, "expires_real_s": 9.0,
    }  # fmt: skip
    return OutboxRow(**(base | keys))


@pytest.mark.parametrize(
    ("keys", "life", "linked"),
    [
        ({}, [BEGUN], True),
        ({"step": "again-1"}, [BEGUN], True),
        ({"sequence": 2, "step": "changed"}, [BEGUN, step(2, "changes", cause="device-opened")], True),
        ({"on_sheet": True}, [BEGUN], False),
        ({"step": "over"}, [BEGUN], False),
        ({"kind": "drill"}, [BEGUN], False),
        ({}, [BEGUN, step(2, "ends", "returned-unacknowledged")], False),
        ({}, [BEGUN, step(2, "acknowledge", "acknowledged")], False),
        ({}, [BEGUN, step(2, "changes", cause="device-opened")], False),
        ({}, [], False),
    ],
)
def test_a_message_carries_one_only_while_its_alarm_wants_an_answer(
    tmp_path: Path, keys: dict[str, Any], life: list[dict[str, Any]], linked: bool
) -> None:
    answering = Answering(str(tmp_path / "j"), print, wall_s=lambda: NOW_S)
    assert answering.link(row(**keys), lambda _: life) is None, "no page is written in the schedule"
    assert not door_key.path_of(tmp_path / "j").exists()
    answering.at = "http://panel.local:8460/"
    link = answering.link(row(**keys), lambda _: life)
    assert (link is not None) is linked
    if link is not None:
        head, _, token = link.rpartition("/")
        assert head == "http://panel.local:8460/a"
        assert links.read(door_key.read(tmp_path / "j"), token, NOW_S + 86_000) == (ALARM, row(**keys).sequence)
        text = with_link(row().body, link).splitlines()
        assert (text[0], link in text[1], text[2:]) == ("Look.", True, ["Message 1.", "Caution."])


def test_without_a_key_there_is_no_link_and_it_is_said_once(tmp_path: Path) -> None:
    said: list[str] = []
    answering = Answering(str(tmp_path / "gone" / "j"), said.append)
    answering.at = "http://panel.local:8460"
    assert [answering.link(row(), lambda _: [BEGUN]) for _ in range(3)] == [None] * 3
    assert len(said) == 1
    assert "can't be made" in said[0]
    (tmp_path / "gone").mkdir()
    assert answering.link(row(), lambda _: [BEGUN]) is not None, "it is tried again"
