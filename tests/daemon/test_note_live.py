"""The request `note` on a running daemon: journalled once with who and when, over a kill, listed, beside an export."""

from __future__ import annotations

import re
from typing import Any

from brokers import wait_for
from houses import House
from panelward.journal import Journal


def notes(house: House) -> list[dict[str, Any]]:
    journal = Journal.read(house.journal)
    try:
        return journal.notes()
    finally:
        journal.close()


def test_a_moment_is_noted_once_and_shown(house: House) -> None:
    schedule = ("--schedule", str(house.schedule))
    house.start()
    assert wait_for(house.connected), house.said()
    house.live(10, D1=4.0, D7=5.0)
    for arguments, why in ((("x", "--who", ""), "needs who"), (("x", "--who", "Kari", "--circuit", "D99"), "no circuit 'D99'")):
        refused = house.run("note", *arguments, *schedule, journal=False)
        assert (refused.returncode, why in refused.stderr) == (2, True), refused.stderr
    assert notes(house) == []
    done = house.run("note", "smelled warm ✓", "--who", "Kari", "--circuit", "D7", *schedule, journal=False)
    assert (done.returncode, done.stdout) == (0, "Noted by Kari.\n"), done.stderr
    house.kill()  # answered is journalled
    (kept,) = notes(house)
    assert (kept["who"], kept["why"], kept["circuit"]) == ("Kari", "smelled warm ✓", "D7")
    house.start()
    assert wait_for(lambda: house.said().count("broker: connected") == 2), house.said()
    assert notes(house) == [kept], "what is fed again at a start notes nothing anew"
    again = house.run("note", "and again", "--who", "Ola", *schedule, journal=False)
    assert again.returncode == 0, again.stderr
    assert house.stop_daemon() == 0
    assert [row["why"] for row in notes(house)] == ["smelled warm ✓", "and again"]
    listed = house.run("log", "changes", *schedule).stdout
    assert re.search(r"^2026-05-01 \d\d:\d\d noted at D7, by Kari\n  smelled warm ✓$", listed, re.M), listed
    assert re.search(r" noted, by Ola\n  and again$", listed, re.M), listed
    export = house.run("log", "export", "--circuit", "D1")
    assert export.stdout.startswith("time,")
    assert "note" not in export.stdout
    assert "by Ola: and again" in export.stderr
    assert "smelled" not in export.stderr, "about another circuit"
    replayed = house.run("rehearse", "--all")
    assert replayed.returncode == 0, replayed.stderr
