"""`panelward now`: a line is wrapped, what people copy from it is never cut."""

from __future__ import annotations

from typing import Any
from zoneinfo import ZoneInfo

import pytest

from panelward.commands.now import table

ROW: dict[str, Any] = {
    "at_ms": 1_777_615_200_000, "real_s": 1.0, "rate": 1.0, "connected": True, "circuits": [], "doing": None, "works": [],
    "refused": 0, "standing": [],
}  # fmt: skip


@pytest.mark.parametrize(
    "place", ["D1", "circuit-with-a-long-name", "monitor.the-panel-behind-the-galley-of-the-after-cabin-far"]
)
@pytest.mark.parametrize("state", ["normal", "returned-unacknowledged"])
def test_the_id_of_an_alarm_is_whole_on_one_line(place: str, state: str) -> None:
    alarm_id = f"{place}-overcurrent-20260501T060111701Z"
    alarm = {"id": alarm_id, "priority": "high", "kind": "overcurrent-approach", "state": state, "message": "Look " * 40}
    lines = "\n".join(table(ROW, [alarm], 1.0, ZoneInfo("UTC"))).splitlines()
    assert [line.split()[-1] for line in lines if " id " in f" {line.strip()} "] == [alarm_id]
    assert all(len(line) <= 80 for line in lines if alarm_id not in line or len(alarm_id) < 69)


def test_it_says_which_circuits_are_out_of_service_until_when() -> None:
    removed = {"circuit": "D1", "who": "Kari", "why": "new shunt", "until_ms": ROW["at_ms"] + 3_600_000}
    over = removed | {"circuit": "D2", "until_ms": ROW["at_ms"] - 1}
    text = " ".join(" ".join(table(ROW | {"out_of_service": [removed, over]}, [], 1.0, ZoneInfo("UTC"))).split())
    assert "D1 is out of service by Kari until Fri 07:00 (new shunt): its alarms are not sent." in text
    assert "D2" not in text
