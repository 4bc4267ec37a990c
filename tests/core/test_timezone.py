"""The time zone, changed by a request on a journey: hours move, nothing else does; refused where it is none; replayed."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

from panelward.core import Core
from panelward.records import Answer, Output, Reading, Request, Rezoned, Schedule, Settings, Transition, Vehicle
from panelward.wording import message
from plans import FREEZER, INVERTER, plan, run, stream

VAN = Vehicle(name="Van", id="van", timezone="Europe/Oslo")
SCHEDULE = plan(FREEZER, INVERTER, vehicle=VAN)
AT = datetime(2026, 7, 1, 10, tzinfo=ZoneInfo("UTC"))
AT_MS = round(AT.timestamp() * 1000)


def asked(zone: str, who: str = "Kari", at_ms: int = AT_MS) -> Request:
    return Request(kind="timezone", received_ms=at_ms, id="1", who=who, timezone=zone)


def begun(schedule: Schedule = SCHEDULE, **keys: object) -> Core:
    core = Core()
    core.feed(Settings(received_ms=AT_MS - 1000, schedule=schedule, **keys))  # type: ignore[arg-type]
    return core


def minute(core: Core) -> int:
    assert core.watch is not None
    return core.watch.panel.local_minute(core.now_ms)


@pytest.mark.parametrize("zone", ["Asia/Tokyo", "America/St_Johns", "UTC", "Asia/Kathmandu"])
def test_local_time_is_that_of_the_zone(zone: str) -> None:
    """Against the time zone database itself."""
    core = begun()
    assert minute(core) == 11 * 60 + 59
    out = core.feed(asked(zone))
    assert out == [
        Rezoned(at_ms=AT_MS, timezone=zone, was="Europe/Oslo", who="Kari"),
        Answer(id="1", done=True, why="", state=zone),
    ]
    local = AT.astimezone(ZoneInfo(zone))
    assert minute(core) == local.hour * 60 + local.minute
    assert core.schedule.vehicle.timezone == zone
    again = Core()
    again.restore(core.save(), SCHEDULE, silence_from_start=False)
    assert minute(again) == minute(core)
    assert again.zone == (zone, "Kari", AT_MS)


@pytest.mark.parametrize(
    ("zone", "who", "why"),
    [
        ("Europe/Atlantis", "Kari", "no time zone 'Europe/Atlantis'"), ("", "Kari", "no time zone ''"),
        ("Europe", "Kari", "no time zone"), ("x" * 400, "Kari", "no time zone"),
        ("../../etc/passwd", "Kari", "no time zone"), ("/etc/localtime", "Kari", "no time zone"),
        ("Asia/Tokyo", " ", "needs who"),
    ],
)  # fmt: skip
def test_a_bad_one_is_refused_and_changes_nothing(zone: str, who: str, why: str) -> None:
    core = begun()
    before = core.save() | {"now_ms": AT_MS}
    (answer,) = core.feed(asked(zone, who))
    assert isinstance(answer, Answer)
    assert not answer.done
    assert why in answer.why
    assert core.save() == before


def test_settings_carry_it_and_a_schedule_with_another_zone_ends_it() -> None:
    core = begun(timezone=("Asia/Tokyo", "Kari", 1))
    assert core.schedule.vehicle.timezone == "Asia/Tokyo"
    core.feed(Settings(received_ms=AT_MS, schedule=SCHEDULE))
    assert core.schedule.vehicle.timezone == "Europe/Oslo"
    assert minute(core) == 12 * 60


@pytest.mark.parametrize(("zone", "fault"), [(None, False), ("Asia/Tokyo", True), ("Europe/Stockholm", False)])
def test_the_hours_of_a_load_go_with_it(zone: str | None, fault: bool) -> None:
    """An inverter that may run from 07:00 to 20:00 local, at 12:00 in Oslo: at 19:00 in Tokyo, and on past 20:30."""
    rows: list[Reading | Request] = list(stream({"D9": 0.0}, 60.0, period_s=10.0, start_ms=AT_MS - 120_000))
    if zone is not None:
        rows.append(asked(zone, at_ms=AT_MS - 30_000))
    rows += stream({"D9": 8.0}, 110 * 60.0, period_s=10.0, start_ms=AT_MS)
    assert bool([t for t in run(SCHEDULE, rows) if t.kind == "standby-drain"]) == fault


def test_what_stands_and_what_is_known_goes_on() -> None:
    """The freezer's feed is lost; the zone is changed; its end is told in the new local time, and energy is the same."""

    def lived(zone: str | None) -> tuple[Core, list[Output]]:
        core = begun()
        rows = list(stream({"D1": 4.0, "D9": 0.0}, 600.0, start_ms=AT_MS))
        rows += stream({"D1": 0.0, "D9": 0.0}, 300.0, start_ms=rows[-1].time_ms + 2000)
        out = [o for row in rows for o in core.feed(row)]
        if zone is not None:
            out += [o for o in core.feed(asked(zone, at_ms=rows[-1].received_ms)) if isinstance(o, Transition)]
        for row in stream({"D1": 4.0, "D9": 0.0}, 300.0, start_ms=rows[-1].time_ms + 2000):
            out += core.feed(row)
        return core, out

    (stayed, said), (moved, told) = lived(None), lived("Asia/Tokyo")
    assert told == said
    assert [t.event for t in told if isinstance(t, Transition)] == ["begins", "ends"]
    assert stayed.watch is not None
    assert moved.watch is not None
    assert moved.watch.ways["D1"].energy_wh() == stayed.watch.ways["D1"].energy_wh()
    begins = next(t for t in told if isinstance(t, Transition))
    assert "12:10" in message(begins, stayed.schedule)
    assert "19:10" in message(begins, moved.schedule)
    for part in ("dead", "over"):
        assert moved.watch.ways["D1"].save()[part] == stayed.watch.ways["D1"].save()[part]
    assert replace(moved.schedule, vehicle=VAN) == stayed.schedule
