"""What a journal shows at the hand-over: the worst alarm first, a wrong fuse as a remark at its way."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest
from packed import VAN

from panelward.papers.pack import Facts, Pack, handover_pack
from panelward.papers.pack_pdf import printed_pack
from panelward.papers.pack_readings import MOST, Readings, standing
from panelward.schedule import load

PLAN, _ = load(VAN)
FACTS = Facts(
    vehicle="Survey van", vehicle_id="survey-van", timezone="Europe/Oslo", made="2026-05-01", schedule_file="survey-van.toml",
    schedule_hash="12345678", schedule_sha256="12345678" * 8,
)  # fmt: skip


def local(at_ms: float) -> str:
    return f"{datetime.fromtimestamp(at_ms / 1000, UTC):%Y-%m-%d %H:%M}"


def alarm(number: int, way: str, priority: str, **more: Any) -> dict[str, Any]:
    found: dict[str, Any] = {
        "id": f"{way}-dead-{number}", "subject": {"circuit": way}, "kind": "feed-lost", "event": "begins",
        "state": "unacknowledged", "priority": priority, "since": 1_780_000_000.0 + 60 * number,
        "message": f"Look at it, {number}.",
    }  # fmt: skip
    return found | more


def packed(*alarms: dict[str, Any]) -> Pack:
    readings = Readings(
        file="j.sqlite", from_="2026-06-01 06:00", to="2026-06-08 06:00", unread_share=0.0, clock_sets=0, damaged=0,
        standing=standing(alarms, PLAN, local),
    )  # fmt: skip
    return handover_pack(PLAN, FACTS, None, readings=readings)


def test_the_worst_first_then_what_goes_on_then_the_oldest() -> None:
    found = packed(
        alarm(1, "D4", "medium"), alarm(2, "D5", "high", event="ends"), alarm(3, "D6", "high"), alarm(4, "D1", "high"),
        alarm(5, "D2", "high", state="suppressed"),
    ).readings  # fmt: skip
    assert found is not None
    assert [each.way for each in found.standing] == ["D6", "D1", "D5", "D4"]


def test_a_fuse_that_is_another_is_a_numbered_remark_at_its_way() -> None:
    said = "Keep all off at Bench sockets, ring the fitter."
    pack = packed(alarm(1, "D7", "high", kind="protection-doubtful", message=said), alarm(2, "D4", "high"))
    (remark,) = (each for each in pack.remarks if each.rule == "alarm that stands")
    assert (remark.way, remark.text) == ("D7", said)
    assert remark.number in next(line for line in pack.devices if line.position == "D7").marks


@pytest.mark.parametrize(("many", "more"), [(MOST, ""), (MOST + 3, "and 3 more: ")])
def test_so_many_on_the_cover_and_how_many_more(many: int, more: str) -> None:
    from io import BytesIO

    from pypdf import PdfReader

    pack = packed(*(alarm(number, "D4", "high") for number in range(many)))
    text = " ".join(PdfReader(BytesIO(printed_pack(pack).content)).pages[0].extract_text().split())
    assert text.count("Look at it, ") == MOST
    assert ("more: `panelward alarms`" in text) == bool(more)
    assert more in text
