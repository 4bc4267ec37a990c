"""The bank over a journey: its tide table, its charge where it can be known, nights, savings; and each way's margin."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from panelward.ratings import steady_c
from panelward.ratings.curves import ampacity_of
from panelward.records import Battery, Circuit, Level, Load, Protection, Schedule, Segment, Surge
from panelward.review.report import Report
from panelward.review.whole import Asked, Beside, review
from plans import BUS, METER, PLAN, T0, circuit
from review.made import Made, columns

H = 3_600_000
DAY = 24 * H
MIDNIGHT = T0 - 6 * H
SLOW = replace(PLAN.monitors[0], expect_every_s=60)
HOUSE = replace(PLAN.supplies[0], battery=Battery(chemistry="lfp", capacity_ah=200, usable=0.85), meter="SH")
FREEZER = circuit("D1", "Sample freezer", feed="always-on")
LIGHTS = circuit("D5", "Mast lights", "light")
ENGINE = Circuit(id="D12", label="Engine charger", monitor="dc", supply="house", sense=BUS, role="charger", source="engine")
SUN = Circuit(id="D13", label="Solar charger", monitor="dc", supply="house", sense=BUS, role="charger", source="sun")
BANKED = Schedule(
    vehicle=PLAN.vehicle, monitors=(SLOW,), supplies=(HOUSE,), circuits=(METER, FREEZER, LIGHTS, SUN, ENGINE)
)  # fmt: skip


def week(days: int = 8, *, full_at_h: float | None = 14.0) -> Made:
    """The freezer takes 2 A throughout, the lights 5 A from 18 to 22; the sun brings 12 A from 8 to 14, then it is full."""
    time = MIDNIGHT + 60_000 * np.arange(days * 1440)
    hour = (time - MIDNIGHT) / H % 24
    freezer = np.full(len(time), 2.0)
    lights = np.where((hour >= 18) & (hour < 22), 5.0, 0.0)
    sun = np.where((hour >= 8) & (hour < 14), -12.0, 0.0)
    engine = np.zeros(len(time))
    volts = np.full(len(time), 13.2)
    if full_at_h is not None:
        tail = (hour >= full_at_h) & (hour < full_at_h + 0.2)
        sun = np.where(tail, -4.0, sun)
        volts = np.where(tail, 14.2, volts)
    meter = freezer + lights + sun + engine
    return Made({
        way: columns(time.tolist(), a.tolist(), volts.tolist())
        for way, a in (("SH", meter), ("D1", freezer), ("D5", lights), ("D13", sun), ("D12", engine))
    })  # fmt: skip


def of(made: Made, schedule: Schedule = BANKED) -> Report:
    return review(made, schedule, Asked(), Beside(), made_ms=T0)


@pytest.fixture(scope="module")
def found() -> Report:
    return of(week())


def test_each_dawn_and_dusk_has_what_came_and_went(found: Report) -> None:
    assert [t.which for t in found.tides] == ["dawn", "dusk"] * 8
    dusk, dawn = found.tides[3], found.tides[4]
    assert (dusk.at_ms - MIDNIGHT, dawn.at_ms - MIDNIGHT) == (DAY + 18 * H, 2 * DAY + 6 * H)
    assert dawn.out_ah == pytest.approx(12 * 2 + 4 * 5, rel=0.01)
    assert dawn.in_ah == pytest.approx(0.0, abs=0.1)
    assert dusk.in_ah == pytest.approx(6 * 10 + 0.2 * 2, rel=0.01)
    assert dusk.least_v == 13.2
    assert dawn.unread_s == pytest.approx(0, abs=1)


def test_charge_is_counted_from_a_full_bank_and_unknown_before(found: Report) -> None:
    assert found.tides[0].charge_ah is None  # the first dawn: not seen full yet
    dusk, dawn = found.tides[1], found.tides[2]
    assert dusk.charge_ah is not None
    assert dawn.charge_ah is not None
    assert dusk.charge_ah == pytest.approx(200 - 2 * 3.8, abs=1.0)
    assert dawn.charge_ah == pytest.approx(dusk.charge_ah - 44, abs=1.0)
    assert all(t.charge_ah is None for t in of(week(full_at_h=None)).tides)


def test_nights_of_days_alike_are_reckoned_by_hand(found: Report) -> None:
    nights = {n.scenario: n for n in found.nights}
    none = nights["none"]
    assert none.p10 == pytest.approx(170 / 68, rel=0.01)
    assert none.p90 == pytest.approx(170 / 68, rel=0.01)
    was = nights["as it was"]
    assert was.p50 == 60.0  # a day brings more than it takes
    drive = nights["two hours' drive a day"]
    assert drive.p50 is None
    assert "engine" in drive.why_not


def test_two_hours_of_the_engine_add_what_it_brings() -> None:
    made = week()
    pieces = dict(made._of)
    engine = pieces["D12"]
    hour = (engine.time_ms - MIDNIGHT) / H % 24
    pieces["D12"] = engine._replace(amps=np.where((hour >= 8) & (hour < 9), -20.0, 0.0))
    pieces["SH"] = pieces["SH"]._replace(amps=pieces["SH"].amps + pieces["D12"].amps)
    drive = next(n for n in of(Made(pieces)).nights if n.scenario.startswith("two hours"))
    assert drive.p50 == pytest.approx(170 / (68 - 2 * 20), rel=0.02)


def test_leaving_off_what_may_be_left_off(found: Report) -> None:
    assert [s.way for s in found.savings] == ["D5"]  # never the freezer
    assert found.savings[0].nights_more_p50 == pytest.approx(170 / 48 - 170 / 68, rel=0.02)
    assert found.savings[0].wh_per_day == pytest.approx(20 * 13.2, rel=0.02)


def test_what_each_charger_brought_day_by_day(found: Report) -> None:
    sun = [c for c in found.charge if c.source == "D13"]
    assert len(sun) == 8
    assert sun[3].ah == pytest.approx(6 * 12 + 0.2 * 4, rel=0.01)
    assert sun[3].hours == pytest.approx(6.2, abs=0.1)
    assert sum(c.ah for c in found.charge if c.source == "D12") == 0.0


def test_too_few_days_say_so() -> None:
    nights = of(week(2)).nights
    assert all(n.p50 is None and n.why_not for n in nights)


# Margins.


def margins(amps: np.ndarray, way: Circuit, period_s: int = 2):  # type: ignore[no-untyped-def]
    plan = Schedule(
        vehicle=PLAN.vehicle, monitors=(replace(SLOW, expect_every_s=period_s),),
        supplies=(replace(HOUSE, meter=None),), circuits=(way,),
    )  # fmt: skip
    time = (T0 + 1000 * period_s * np.arange(len(amps))).tolist()
    report = review(Made({way.id: columns(time, amps.tolist(), [12.8] * len(amps))}), plan, Asked(), Beside(), made_ms=T0)
    return report.margins[0], plan


def test_a_margin_is_what_is_left_of_what_the_device_carries() -> None:
    amps = np.r_[np.full(3000, 3.0), np.full(300, 12.5), np.full(3000, 3.0)]
    found, plan = margins(amps, circuit("D7", "Bench sockets", "socket"))
    assert (found.device, found.fitted_a) == ("blade C 15 A", 15.0)
    assert found.worst_minute_a == pytest.approx(12.5)
    assert found.least_margin == pytest.approx(1 - 12.5 / 15)
    assert found.hours_above_80 == pytest.approx(300 * 2 / 3600)
    assert found.p999_a == pytest.approx(12.5, abs=0.01)
    assert found.worst_3h_a == pytest.approx((5400 * 3.0 + 300 * (12.5 - 3.0)) / 5400, rel=0.001)
    ampacity = ampacity_of(plan, plan.circuits[0])
    assert ampacity is not None
    assert (found.ampacity_a, found.ampacity_rule) == (ampacity.amps, ampacity.rule)
    assert [(b.amps, b.least_s, b.most_s) for b in found.band][:2] == [(15.0, 360_000, None), (20.25, 0.75, 600)]


def test_a_conductor_comes_to_rest_where_the_square_law_has_it() -> None:
    way = circuit(
        "D7", "Bench sockets", "socket", conductor=(Segment(area_mm2=1.5, length_m=4, insulation_c=105, ambient_c=40),)
    )
    found, plan = margins(np.full(4000, 14.0), way)
    ampacity = ampacity_of(plan, way)
    assert ampacity is not None
    assert found.conductor_c == pytest.approx(steady_c(ampacity, 14.0), abs=0.05)
    assert found.conductor_c == pytest.approx(40 + 65 * (14 / ampacity.thermal_a) ** 2, abs=0.05)
    assert found.insulation_c == 105


def test_a_short_pull_warms_a_conductor_by_its_time_constant_only() -> None:
    way = circuit("D7", "Bench sockets", "socket", conductor=(Segment(area_mm2=6, length_m=4, insulation_c=105, ambient_c=40),))
    long, _ = margins(np.r_[np.zeros(300), np.full(4000, 14.0)], way)
    brief, _ = margins(np.r_[np.zeros(300), np.full(60, 14.0), np.zeros(600)], way)
    assert 40 < brief.conductor_c < long.conductor_c


def test_fuse_life_counts_starts_against_what_its_fuse_bears() -> None:
    surge = Surge(times=3.5, seconds=0.4)
    load = Load(kind="pump", standby_max_w=1.0, levels=(Level(name="pumping", watts=62, surge=surge),))
    amps = np.tile(np.r_[np.zeros(50), np.full(20, 4.8)], 40)

    def life(rating: float, kind: str = "blade-fuse") -> float | None:
        protection = Protection(kind=kind, type="C" if kind == "blade-fuse" else None, rating_a=rating)
        found, _ = margins(amps, circuit("D4", "Water pump", "pump", loads=(load,), protection=protection))
        return found.fuse_life  # type: ignore[no-any-return]

    small, great = life(10), life(30)
    assert small is not None
    assert great is not None
    assert 0 < great < small < 1
    assert life(10, "breaker-thermal") is None  # no fuse
    bare = replace(load, levels=(Level(name="pumping", watts=62),))
    found, _ = margins(amps, circuit("D4", "Water pump", "pump", loads=(bare,)))
    assert found.fuse_life is None  # what a start draws is not known


def test_what_was_never_read_has_no_margin() -> None:
    found, _ = margins(np.array([]), circuit("D7", "Bench sockets", "socket"))
    assert (found.worst_minute_a, found.hours_above_80, found.conductor_c, found.least_margin) == (None, None, None, None)
    assert found.held == ()
    assert found.fitted_a == 15.0
