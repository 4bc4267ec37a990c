"""What the vehicle is doing, and what only looks like it. Streams are invented."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

import pytest

from panelward.commands.now import doing_line
from panelward.core import Core
from panelward.daemon.requests import read
from panelward.errors import PayloadRefused
from panelward.journal import Journal
from panelward.records import Answer, Circuit, Doing, Feeder, Output, Reading, Request, Schedule, Sense, Settings, Supply
from plans import BUS, METER, PLAN, T0, circuit, stream

SUN = Circuit(id="S1", label="Solar charger", monitor="dc", supply="house", sense=BUS, role="charger", source="sun")
ENGINE = replace(SUN, id="A1", label="Driving charger", source="engine")
SHORE = replace(SUN, id="L1", label="Mains charger", source="shore")
BEHIND = Sense(volts_at="after-switch", resolution_a=0.01)
KEYED = circuit("K1", "Dash sockets", "socket", feeder="key", sense=BEHIND)
INLET = circuit("I1", "Galley sockets", "socket", supply="inlet", sense=Sense(resolution_a=0.01))


def van(*circuits: Circuit) -> Schedule:
    inlet = Supply(id="inlet", kind="ac", nominal_v=230.0, presence="comes-and-goes")
    key = Feeder(id="key", supply="house", behind=("ignition",))
    return replace(PLAN, circuits=(METER, *circuits), feeders=(key,), supplies=(*PLAN.supplies, inlet), probes=())


def live(
    schedule: Schedule, rows: Iterable[Reading | Request], *, seam: int | None = None, until_s: float = 0.0
) -> list[Output]:
    core = Core()
    out = core.feed(Settings(received_ms=T0, schedule=schedule, started=True))
    for number, row in enumerate(rows):
        out += core.feed(row)
        if number == seam:
            state = json.loads(json.dumps(core.save()))
            core = Core()
            core.restore(state, schedule, silence_from_start=False)
    return out + core.advance(T0 + round(until_s * 1000))


def doings(out: Iterable[Output]) -> list[Doing]:
    return [item for item in out if isinstance(item, Doing)]


def of(schedule: Schedule, seconds: float = 1200.0, volts: Any = 13.0, **draws: Any) -> list[Doing]:
    return doings(live(schedule, stream(draws, seconds, volts=volts)))


def test_a_managed_alternator_at_12_5_v_under_way_is_under_way() -> None:
    found = of(van(ENGINE), volts=lambda t: 12.3 + 0.5 * (t % 60) / 60, A1=-22.0, SH=-5.0)
    assert [(d.under_way, d.at_ms) for d in found] == [(True, T0 + 60_000)]


def test_a_small_solar_feed_that_holds_13_5_v_parked_is_no_engine() -> None:
    found = of(van(SUN, ENGINE), volts=13.5, S1=-0.8, A1=0.0, SH=-0.5)
    assert found[-1] == Doing(at_ms=T0 + 120_000, by_sun=True)  # the bank is charged: whether the engine runs is not known


def test_volts_alone_say_nothing() -> None:
    for volts in (12.4, 13.6, 14.4):
        assert of(van(), volts=volts, SH=0.0) == []


def test_shore_is_there_though_its_charger_is_off() -> None:
    rows = sorted(
        [*stream({"L1": 0.0}, 600, volts=13.0), *stream({"I1": 0.0}, 600, volts=229.0)], key=lambda row: row.received_ms
    )
    found = doings(live(van(SHORE, INLET), rows))
    assert [(d.on_shore, d.under_way, d.at_ms) for d in found] == [(True, False, T0 + 30_000)]


def test_a_shore_charger_that_gives_nothing_does_not_say_that_shore_is_gone() -> None:
    assert of(van(SHORE), L1=0.0) == []


def test_sun_and_engine_together() -> None:
    found = of(van(SUN, ENGINE), S1=-6.0, A1=-20.0)
    assert (found[-1].under_way, found[-1].by_sun) == (True, True)


def test_a_charger_that_gives_nothing_and_a_bank_that_gives_is_at_rest() -> None:
    found = of(van(ENGINE), A1=0.0, SH=4.0)
    assert [d.under_way for d in found] == [False]


def test_a_charger_that_blinks_changes_nothing() -> None:
    found = of(van(SUN, ENGINE), 7200, S1=lambda t: 0.0 if t % 600 < 300 else -5.0, A1=lambda t: 0.0 if t % 120 < 20 else -20.0)
    assert len(found) == 2  # the sun shows, the engine shows, each once
    assert (found[-1].under_way, found[-1].by_sun) == (True, True)


def test_the_ignition_tells_where_its_volts_are_known() -> None:
    def volts(t: float) -> float:
        return 12.4 if 300 <= t < 900 else 0.0

    found = of(van(KEYED), 1200, volts=volts, K1=0.0)
    assert [(d.under_way, (d.at_ms - T0) // 1000) for d in found] == [(False, 60), (True, 310), (False, 960)]


def test_the_bus_volts_of_a_circuit_behind_the_ignition_do_not_tell() -> None:
    assert of(van(replace(KEYED, sense=BUS)), K1=0.0) == []


def test_what_is_no_longer_heard_is_unknown() -> None:
    out = live(van(ENGINE), stream({"A1": -20.0}, 600), until_s=3600)
    assert [(d.under_way, (d.at_ms - T0) // 1000) for d in doings(out)] == [(True, 60), (None, 720)]


def test_a_person_says_who_is_aboard_and_driving_off_ends_it() -> None:
    def said(presence: str, at_s: float) -> Request:
        return Request(kind="presence", received_ms=T0 + round(at_s * 1000), id="7", presence=presence)

    rows: list[Reading | Request] = [*stream({"A1": lambda t: -20.0 if t > 600 else 0.0}, 1200), said("laid-up", 101)]
    rows += [said("fishing", 150)]
    out = live(van(ENGINE), sorted(rows, key=lambda row: row.received_ms))
    answers = [(a.done, a.state) for a in out if isinstance(a, Answer)]
    assert answers == [(True, "laid-up"), (False, None)]
    assert [(d.laid_up, d.under_way, d.aboard) for d in doings(out)] == [(True, False, False), (False, True, None)]


@pytest.mark.parametrize("seam", [3, 40, 170, 400])
def test_saving_in_the_middle_changes_nothing(seam: int) -> None:
    draws = {"A1": lambda t: -20.0 if 200 < t < 500 else 0.0, "S1": lambda t: -4.0 if t > 150 else 0.0, "SH": 3.0}
    rows = list(stream(draws, 1500))
    schedule = van(SUN, ENGINE)
    assert live(schedule, rows, seam=seam) == live(schedule, rows)


def test_it_is_journalled_and_said_in_one_line(tmp_path: Path) -> None:
    doing = Doing(at_ms=T0, under_way=False, on_shore=True, aboard=False)
    journal = Journal.open(tmp_path / "j.sqlite")
    journal.doing([asdict(doing)])
    journal.commit()
    assert journal.doings() == [asdict(doing)]
    journal.close()
    assert doing_line(asdict(doing)) == "The vehicle: at rest, on an outside AC supply, nobody aboard."
    assert doing_line(None) == doing_line(asdict(Doing(at_ms=0))) == "The vehicle: unknown what it is doing."


def test_the_request_is_read() -> None:
    assert read("presence", b'{"presence": "laid-up"}', T0).presence == "laid-up"
    with pytest.raises(PayloadRefused):
        read("presence", b'{"presence": 3}', T0)
