"""Several messages in one: what matters most leads, no alarm stands twice, nothing is left out unsaid."""

from __future__ import annotations

import pytest

from panelward.wording import Piece, together

NIGHT_S = 1_795_732_200.0  # 2026-11-26 22:30 UTC


def piece(name: str, rank: int, ago_s: float = 3600.0, sentence: str = "") -> Piece:
    return Piece(name, sentence or f"Look at {name}: it draws 3 A since 02:10.", rank, NIGHT_S - ago_s)


def test_what_matters_most_leads_and_each_alarm_stands_once() -> None:
    text = together(
        [piece("fan", 3), piece("freezer", 1, 9000.0), piece("freezer", 11, 600.0, "Check the samples before use."),
         piece("gas", 0)], "network", 31, "UTC", NIGHT_S,
    )  # fmt: skip
    lines = text.splitlines()
    assert lines[0].startswith("Look at gas")
    assert lines[1] == "Also, from 20:00 to 22:30, while no message went out:"
    assert lines[2:4] == ["- Look at fan: it draws 3 A since 02:10.", "- Check the samples before use."]
    assert lines[4] == "Message 31."
    assert "does not protect" in lines[5]


@pytest.mark.parametrize("how", ["network", "sleep", "sheet"])
def test_one_alone_has_no_list_and_many_say_how_many_more(how: str) -> None:
    assert "Also" not in together([piece("fan", 3)], how, 1, "UTC", NIGHT_S)
    text = together([piece(f"way {n}", 2) for n in range(30)], how, 1, "UTC", NIGHT_S)
    assert text.count("\n- ") == 8
    assert "And 21 more" in text


def test_beyond_a_day_the_weekday_is_said() -> None:
    text = together([piece("fan", 3, 30 * 3600.0), piece("pump", 2)], "network", 1, "UTC", NIGHT_S)
    assert "from Wed 16:30 to 22:30" in text
