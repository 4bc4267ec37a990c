"""When it left and came home, what is compared, what it did meanwhile, and what sums tell where no readings are kept."""

from __future__ import annotations

from contextlib import closing
from dataclasses import replace
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from panelward.journal import Journal
from panelward.journal.sums import sensed
from panelward.records import Circuit, Doing, Reading, Sense, Supply
from panelward.review.gathered import gather, midnights
from panelward.review.journeys import doing_shares, journeys
from panelward.review.report import Journey
from panelward.review.stored import Stored
from panelward.review.summed import filling
from panelward.review.whole import Asked, Beside, NoSuchJourney, review
from plans import LIGHTS, PLAN, T0
from review.made import Made, columns

H = 3_600_000
DAY = 24 * H
UTC = ZoneInfo("UTC")


def doing(at_h: float, **keys: bool | None) -> Doing:
    return Doing(at_ms=T0 + round(at_h * H), **keys)  # type: ignore[arg-type]


HOMES = [
    doing(0, on_shore=True), doing(30, on_shore=False, under_way=True), doing(33, under_way=False),
    doing(50, on_shore=True), doing(56, on_shore=False, under_way=True),  # a night at a pitch
    doing(100, on_shore=True), doing(140, on_shore=False, under_way=True), doing(150, under_way=False, aboard=True),
    doing(190, laid_up=True),
]  # fmt: skip


def test_journeys_lie_between_long_stays_at_home() -> None:
    found = journeys(HOMES, T0, T0 + 240 * H)
    assert [((j.from_ms - T0) / H, (j.to_ms - T0) / H) for j in found] == [(30, 100), (140, 190)]
    assert found[1].by == "the outside supply until then, being laid up after it"


def test_where_home_is_never_told_there_is_no_journey() -> None:
    assert journeys([], T0, T0 + 240 * H) == ()
    assert journeys([doing(0, by_sun=True), doing(9, by_sun=False)], T0, T0 + 240 * H) == ()


def steady(hours: float, amps: float = 2.0) -> Made:
    time = [T0 + 60_000 * n for n in range(round(hours * 60))]
    return Made({"D5": columns(time, [amps] * len(time), [12.8] * len(time))})


SLOW = replace(PLAN, monitors=(replace(PLAN.monitors[0], expect_every_s=60),), circuits=(LIGHTS,), probes=(),
               supplies=(replace(PLAN.supplies[0], meter=None),))  # fmt: skip


def test_the_last_journey_is_looked_at_and_compared_with_the_one_before() -> None:
    found = review(steady(240), SLOW, Asked(), Beside(doings=HOMES), made_ms=T0)
    assert (found.span.from_ms, found.span.to_ms, found.span.how) == (T0 + 140 * H, T0 + 190 * H, "the last journey")
    assert found.before is not None
    assert (found.before.from_ms, found.before.to_ms) == (T0 + 30 * H, T0 + 100 * H)
    (row,) = [e for e in found.energy if e.way == "D5"]
    assert row.energy_wh == pytest.approx(25.6 * 50, rel=0.001)
    assert row.before_wh_per_day == pytest.approx(25.6 * 24, rel=0.001)
    first = review(steady(240), SLOW, Asked(journey="1"), Beside(doings=HOMES), made_ms=T0)
    assert (first.span.from_ms, first.before) == (T0 + 30 * H, None)
    with pytest.raises(NoSuchJourney):
        review(steady(240), SLOW, Asked(journey="3"), Beside(doings=HOMES), made_ms=T0)


def test_what_ran_while_it_did_what() -> None:
    source = steady(240)
    gathered = gather(source, SLOW, UTC, (T0, T0 + 240 * H), (T0, T0 + 240 * H))
    part = gathered.bins(T0, T0 + 240 * H)
    shares = doing_shares(SLOW, gathered, part, HOMES, UTC)
    hours = {name: float((of * gathered.seconds(part)).sum()) / 3600 for name, of in shares.items()}
    assert hours["under-way"] == pytest.approx(3 + 44 + 10)
    assert hours["outside-supply"] == pytest.approx(30 + 6 + 40)
    assert hours["nobody-aboard"] == pytest.approx(50)
    assert hours["lights-out"] == 0.0  # the lights never were out
    assert hours["at-rest"] == pytest.approx(17 + 40)
    assert sum(hours.values()) == pytest.approx(240)
    assert float(sum(shares.values()).max()) == pytest.approx(1.0)  # type: ignore[union-attr]


def test_by_night_with_the_lights_out_is_lights_out() -> None:
    time = [T0 + 60_000 * n for n in range(48 * 60)]
    amps = [0.0 if (t // H) % 24 >= 21 or (t // H) % 24 < 6 else 5.0 for t in time]
    source = Made({"D5": columns(time, amps, [12.8] * len(time))})
    gathered = gather(source, SLOW, UTC, (T0, T0 + 48 * H), (T0, T0 + 48 * H))
    part = gathered.bins(T0, T0 + 48 * H)
    shares = doing_shares(SLOW, gathered, part, [doing(-1, under_way=False)], UTC)
    assert float((shares["lights-out"] * gathered.seconds(part)).sum()) / 3600 == pytest.approx(16, abs=0.1)


def test_what_the_vehicle_does_is_told_from_the_readings_where_no_journal_says() -> None:
    """An outside supply that comes and goes: its volts tell when it is there."""
    shore = Circuit(
        id="A1", label="Shore outlet", monitor="dc", supply="shore", feed="switched",
        sense=Sense(volts_at="after-switch", resolution_a=0.01),
    )  # fmt: skip
    supply = Supply(id="shore", kind="ac", nominal_v=230.0, presence="comes-and-goes")
    plan = replace(SLOW, circuits=(*SLOW.circuits, shore), supplies=(*SLOW.supplies, supply))
    time = np.array([T0 + 60_000 * n for n in range(96 * 60)])
    there = ((time - T0) < 20 * H) | ((time - T0) >= 70 * H)
    made = Made({
        "D5": columns(time.tolist(), [2.0] * len(time), [12.8] * len(time)),
        "A1": columns(time.tolist(), [0.0] * len(time), np.where(there, 230.0, 0.0).tolist()),
    })  # fmt: skip
    found = review(made, plan, Asked(), Beside(), made_ms=T0)
    assert found.span.how == "the last journey"
    assert (found.span.from_ms - T0) / H == pytest.approx(20, abs=0.1)
    assert (found.span.to_ms - T0) / H == pytest.approx(70, abs=0.1)
    assert found.journeys == (Journey(from_ms=found.span.from_ms, to_ms=found.span.to_ms, by=found.journeys[0].by),)


def test_midnights_are_the_zones_own() -> None:
    oslo = ZoneInfo("Europe/Oslo")
    begin = 1_774_648_800_000  # 2026-03-27T22:00Z, the week in which the clocks go forward
    found = midnights(begin, begin + 4 * DAY, oslo)
    assert (np.diff(found) / H).tolist() == [24, 24, 23, 24, 24]


def test_sums_tell_the_energy_of_what_is_no_longer_kept(tmp_path: Path) -> None:
    path = tmp_path / "j.sqlite"
    with closing(Journal.open(path)) as store:
        store.sensed = sensed(SLOW)
        for n in range(36 * 60):
            at = T0 + 60_000 * n
            store.append(Reading("D5", at, at, volts=12.8, amps=2.0, watts=25.6))
            if n % 60 == 59:
                store.commit()
        while store.pack(2**60):
            pass
        while store.sum_up():
            pass
        whole = Stored(path)
        kept = (whole.first_ms, whole.last_ms + 1)
        store._connection.execute("DELETE FROM blocks WHERE last_received_ms < ?", (T0 + 24 * H,))
        store._connection.commit()
    source = Stored(path)
    assert source.first_ms > T0 + 20 * H
    gathered = gather(source, SLOW, UTC, kept, kept)
    assert gathered.ways["D5"].grid.wh.sum() < 25.6 * 16
    said = filling(path)(gathered, *kept)
    assert gathered.ways["D5"].grid.wh.sum() == pytest.approx(25.6 * 36, rel=0.005)
    assert gathered.ways["D5"].grid.read_s.sum() == pytest.approx(36 * 3600, rel=0.005)
    assert "only sums" in said[0].text
    before = gathered.ways["D5"].grid.wh.copy()
    assert filling(path)(gathered, *kept) == []
    assert np.array_equal(before, gathered.ways["D5"].grid.wh)
