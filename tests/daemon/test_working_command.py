"""What `panelward working` reads from its command line, and what `now` and `alarms` say of it."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import pytest

from panelward.commands import main
from panelward.commands.now import work_lines
from panelward.commands.working import seconds_of, seconds_until
from panelward.daemon.requests import read
from panelward.errors import PayloadRefused
from plans import T0

OSLO = ZoneInfo("Europe/Oslo")
T0_S = T0 / 1000  # 08:00 in Oslo


@pytest.mark.parametrize(
    ("text", "seconds"),
    [("2h", 7200), ("45min", 2700), ("1h30min", 5400), ("90s", 90), ("1h 5min", 3900),
     ("", None), ("0h", None), ("2", None), ("two hours", None), ("-1h", None), ("30min1h", None)],
)  # fmt: skip
def test_spans(text: str, seconds: int | None) -> None:
    assert seconds_of(text) == seconds


@pytest.mark.parametrize(
    ("text", "seconds"),
    [("15:00", 7 * 3600), ("8:30", 1800), ("08:00", 86_400), ("07:59", 86_340), ("24:00", None), ("noon", None), ("8", None)],
)
def test_a_time_of_the_day_is_the_next_one_in_the_vehicles_zone(text: str, seconds: int | None) -> None:
    assert seconds_until(text, T0_S, OSLO) == seconds


def test_a_time_beyond_the_change_of_the_clocks_is_counted_in_real_hours() -> None:
    """Oslo sets its clocks forward on 2026-03-29 at 02:00: from 23:00 to 07:00 are seven hours."""
    night_s = 1_774_735_200  # 2026-03-28T22:00:00Z, 23:00 in Oslo
    assert seconds_until("07:00", night_s, OSLO) == 7 * 3600


def test_wrong_times_are_refused_before_anybody_is_asked(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["working", "--for", "soon", "--who", "Kari"]) == 2
    assert "2h" in capsys.readouterr().err
    assert main(["working", "--until", "25:00", "--who", "Kari"]) == 2
    assert "15:00" in capsys.readouterr().err


def test_work_that_stands_is_shown_and_past_work_is_not() -> None:
    row = {
        "at_ms": T0, "real_s": 0.0, "rate": 1.0,
        "works": [
            {"who": "Kari", "circuit": None, "why": "", "until_ms": T0 + 3_600_000},
            {"who": "Ola", "circuit": "D1", "why": "fan", "until_ms": T0 + 60_000},
        ],
    }  # fmt: skip
    assert "\n".join(work_lines(row, 61.0, OSLO)) == (
        "Kari works on the whole panel until 09:00: alarms there are not sent, except of\n  life."
    )
    assert len(work_lines(row, 0.0, OSLO)) == 2
    assert work_lines({"at_ms": T0, "real_s": 0.0, "rate": 1.0}, 0.0, OSLO) == []


def test_a_request_for_work_is_read() -> None:
    found = read("working", b'{"id": "1", "circuit": "D1", "who": "Kari", "for_s": 60, "why": "fan", "reply_to": "a/b"}', T0)
    assert (found.kind, found.circuit, found.who, found.for_s, found.done) == ("working", "D1", "Kari", 60, False)
    assert read("working", b'{"done": true}', T0).done
    with pytest.raises(PayloadRefused, match="done"):
        read("working", b'{"done": 1}', T0)
