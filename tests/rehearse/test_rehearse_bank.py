"""A bank of another capacity: the ampere-hours add up, the cut-off acts where they are gone; what can't be known is said."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import plans
from panelward.records import Reading, Schedule
from panelward.rehearse import wiring
from panelward.rehearse.bank import Bank, BankAnswer

BASE = plans.plan(plans.METER, plans.FREEZER)
HOUSE = BASE.supply("house")
MINUTE_MS = 60_000


def with_bank(capacity_ah: float, schedule: Schedule = BASE, **keys: object) -> Schedule:
    battery = replace(HOUSE.battery, capacity_ah=capacity_ah) if HOUSE.battery else None
    return replace(schedule, supplies=(replace(schedule.supply("house"), battery=battery, **keys),))


def journey(*legs: tuple[float, float, float]) -> Iterator[Reading]:
    """Legs of (hours, amps out, volts), a reading every 10 s; it begins with a quarter of an hour at full."""
    at_ms = plans.T0
    for hours, amps, volts in ((0.25, -2.0, 14.2), *legs):
        for _ in range(round(hours * 360)):
            yield Reading("SH", at_ms, at_ms, volts, amps, round(amps * volts, 3))
            at_ms += 10_000


def answer(after: Schedule, readings: Iterator[Reading], before: Schedule = BASE) -> BankAnswer:
    bank = Bank(before, after, before.supply("house"))
    for reading in readings:
        bank.take(reading)
    return bank.answer()


SLOW = replace(BASE, monitors=(replace(BASE.monitors[0], expect_every_s=10.0),))


def test_the_ampere_hours_add_up() -> None:
    """10 h at 12 A out, 4 h at 20 A in: 120 Ah and 80 Ah; of iron-phosphate 99.5 % of what goes in comes out."""
    found = answer(with_bank(280, SLOW), journey((10, 12.0, 13.1), (4, -20.0, 13.6)), SLOW)
    assert found.out_ah == pytest.approx(120.0, rel=0.002)
    assert found.in_ah == pytest.approx(80.5, rel=0.005)  # and the quarter of an hour before
    assert found.before is not None
    assert found.after is not None
    assert found.before.most_ah == pytest.approx(120.0, rel=0.002)
    assert found.after.most_ah == pytest.approx(found.before.most_ah)
    assert (found.before.acts, found.after.acts) == (0, 0)


def test_a_smaller_bank_is_cut_off_where_its_share_is_drawn() -> None:
    """85 % of 100 Ah are gone after 85 / 12 h: 7.08 h."""
    found = answer(with_bank(100, SLOW), journey((10, 12.0, 13.1), (5, -20.0, 13.6), (9, 12.0, 13.1)), SLOW)
    assert found.share == pytest.approx(0.85)
    assert found.after is not None
    assert found.after.acts == 2
    begins_ms = plans.T0 + 900_000
    assert found.after.times_ms[0] - begins_ms == pytest.approx(85.0 / 12.0 * 3.6e6, rel=0.01)
    assert found.after.most_ah == pytest.approx(85.0, rel=0.01)
    assert found.before is not None
    assert found.before.acts == 0


@given(st.floats(20.0, 400.0))
@settings(max_examples=15, deadline=None)
def test_the_same_capacity_says_the_same(capacity_ah: float) -> None:
    before = with_bank(capacity_ah, SLOW)
    found = answer(before, journey((6, 14.0, 13.1), (2, -10.0, 13.6)), before)
    assert found.before == found.after


def test_volts_at_the_cut_off_are_counted_as_they_are() -> None:
    """Twice below 11.6 V for its delay; a dip of one reading is none."""
    before = replace(SLOW, supplies=(replace(HOUSE, cutoff_delay_s=30.0, restore_v=12.8),))
    legs = ((8, 20.0, 13.0), (0.1, 20.0, 11.5), (1, 0.5, 13.0), (0.003, 20.0, 11.0), (0.5, 5.0, 13.0), (0.1, 20.0, 11.5))
    found = answer(with_bank(280, before), journey(*legs), before)
    assert found.acts_by_volts == 2
    assert found.share_by == "volts"
    assert found.share == pytest.approx(0.8, rel=0.02)  # 160 Ah of 200 were drawn when it first cut off
    assert found.after is not None
    assert found.after.least  # what would have been drawn on was never read


def test_another_cut_off_is_counted_by_the_volts_too() -> None:
    found = answer(replace(SLOW, supplies=(replace(HOUSE, cutoff_v=12.9),)), journey((1, 20.0, 12.8), (1, 20.0, 13.0)), SLOW)
    assert (found.acts_by_volts, found.other_acts_by_volts) == (0, 1)


def test_never_have_acted_is_said_in_that_order() -> None:
    found = answer(replace(SLOW, supplies=(replace(HOUSE, cutoff_v=11.8),)), journey((1, 20.0, 12.8)), SLOW)
    text = " ".join(wiring.bank(found, (200.0, 200.0), "UTC"))
    assert "at 11.8 V it would never have acted, by the volts as they were read" in text


@pytest.mark.parametrize(
    ("before", "readings", "why"),
    [
        (replace(SLOW, supplies=(replace(HOUSE, meter=None),)), journey((1, 5.0, 13.0)), "no whole-bank meter"),
        (replace(SLOW, supplies=(replace(HOUSE, cutoff_v=None),)), journey((1, 5.0, 13.0)), "cut-off is not written"),
        (SLOW, iter(()), "the readings hold none of its meter SH"),
        (SLOW, (r._replace(volts=13.0) for r in journey((1, 5.0, 13.0))), "never seen full"),
    ],
    ids=["no meter", "no cut-off", "no readings", "never full"],
)
def test_what_can_t_be_known_is_said(before: Schedule, readings: Iterator[Reading], why: str) -> None:
    after = replace(before, supplies=(replace(before.supply("house"), battery=with_bank(280).supply("house").battery),))
    found = answer(after, readings, before)
    assert why in found.unknown
    assert found.after is None


def test_without_a_full_charge_its_swing_is_a_bound() -> None:
    """60 Ah down, 20 back, 30 down: 70 Ah at the least, wherever it began; more than 85 % of 80 Ah."""
    legs = ((6, 10.0, 13.1), (2, -10.0, 13.4), (3, 10.0, 13.1))

    def unfull() -> Iterator[Reading]:
        return (r for r in journey(*legs) if r.volts != 14.2)

    small, great = answer(with_bank(80, SLOW), unfull(), SLOW), answer(with_bank(90, SLOW), unfull(), SLOW)
    assert small.swing_ah == pytest.approx(70.0, rel=0.002)
    assert (small.swing_acts, great.swing_acts) == (True, False)
    assert "never seen full" in small.unknown


def test_a_swing_is_not_counted_over_a_gap() -> None:
    first = [r for r in journey((6, 10.0, 13.1)) if r.volts != 14.2]
    later = [r._replace(time_ms=r.time_ms + 86_400_000, received_ms=r.received_ms + 86_400_000) for r in first]
    assert answer(with_bank(80, SLOW), iter(first + later), SLOW).swing_ah == pytest.approx(60.0, rel=0.002)
