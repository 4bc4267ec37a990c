"""What rests and runs alone tell of a compressor, held to the heat balance they come from; and a probe in its box.

duty = (UA (outside - inside) + use) / cooling (trade practice): a rest is K / load, a run K / (cooling - load).
"""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from coolers import COOLER, DAY, HOUR, MIDNIGHT, Cooler, Fault, Weather, readings, schedule

from panelward.records import Commissioned, Duty, Transition
from panelward.watch.balance import Balance
from panelward.watch.box import Box
from panelward.wording import message
from plans import run

K_J = 36_000.0  # 12 kJ/K over a band of 3 K
MADE = Commissioned(circuit="D1", runs=30, run_s=K_J / (70.0 - 21.0), idle_s=K_J / 21.0)  # 21 W come in, 70 W are carried away


def lived(balance: Balance, load_w: float, cooling_w: float, hours: float, *, began_ms: int = 0, k_j: float = K_J) -> int:
    at_ms = began_ms
    while at_ms < began_ms + hours * 3600_000:
        rest_ms, run_ms = round(1000 * k_j / load_w), round(1000 * k_j / (cooling_w - load_w))
        balance.rested(rest_ms, whole=True, ordinary=True)
        at_ms += rest_ms + run_ms
        balance.ran(run_ms, at_ms, whole=True, ordinary=True)
    return at_ms


@pytest.mark.parametrize(
    ("what", "load_w", "cooling_w", "k_j", "weak"),
    [
        ("as made", 21.0, 70.0, K_J, False),
        ("10 K warmer: more comes in, it carries 12 % less", 31.0, 61.6, K_J, False),
        ("a door that people open, warm goods", 50.0, 70.0, K_J, False),
        ("full where it was measured empty: rests and runs as much longer", 21.0, 70.0, 1.6 * K_J, False),
        ("cold round it", 8.0, 78.0, K_J, False),
        ("iced to two fifths", 21.0, 42.0, K_J, True),
        ("iced, in warmth", 30.0, 38.0, K_J, True),
        ("vents half blocked", 21.0, 55.0, K_J, True),
    ],
)
@pytest.mark.parametrize("recorded", [True, False])
def test_less_cooling_is_told_and_more_load_is_not(
    what: str, load_w: float, cooling_w: float, k_j: float, weak: bool, recorded: bool
) -> None:
    balance, at_ms = Balance(30_000, MADE if recorded else None), 0
    if not recorded:
        at_ms = lived(balance, 21.0, 70.0, 60.0)
    lived(balance, load_w, cooling_w, 24.0, began_ms=at_ms, k_j=k_j)
    assert (balance.weak_ms is not None) is weak, what
    if what == "iced to two fifths":
        assert balance.ratio == pytest.approx(42.0 / 70.0, abs=0.01)


def test_without_a_record_and_before_its_habit_is_known_nothing_is_weak() -> None:
    balance = Balance(30_000, None)
    lived(balance, 21.0, 42.0, 20.0)
    assert balance.anchor() is None
    assert balance.weak_ms is None


def test_sound_again_for_half_a_day_it_is_over() -> None:
    balance = Balance(30_000, MADE)
    at_ms = lived(balance, 21.0, 42.0, 24.0)
    at_ms = lived(balance, 21.0, 70.0, 12.0, began_ms=at_ms)
    assert balance.weak_ms is not None
    lived(balance, 21.0, 70.0, 24.0, began_ms=at_ms)
    assert balance.weak_ms is None


def test_a_rest_too_long_for_any_night_and_one_that_may_be_honest() -> None:
    warm, cool = Balance(30_000, MADE), Balance(30_000, MADE)
    warm_ms, cool_ms = lived(warm, 21.0, 70.0, 12.0), lived(cool, 8.0, 78.0, 12.0)
    still_ms = warm.still_ms(warm_ms, at_night=False)
    assert still_ms is not None
    assert K_J / 21.0 * 1500 < still_ms <= 2 * 3600_000
    assert cool.still_ms(cool_ms, at_night=False) is None  # an hour colder and it need not run at all
    assert warm.still_ms(warm_ms, at_night=True) is None  # no night of its own was seen yet
    balance = Balance(30_000, MADE)
    balance.restore(json.loads(json.dumps(warm.save())))
    assert balance.still_ms(warm_ms, at_night=False) == still_ms


@pytest.mark.parametrize(
    ("what", "air", "holds"),
    [
        ("an open door: to a balance with the room", lambda n: 12.0 - 7.0 * 0.95**n, True),
        ("warm goods: it falls", lambda n: 6.5 + 7.0 * 0.97**n, False),
        ("people at the door: it leaps", lambda n: 9.0 + 3.0 * (n % 5 == 0), False),
        ("colder than where its runs begin", lambda n: 4.0, False),
    ],
)
def test_air_that_stays_warm_while_it_runs(what: str, air: object, holds: bool) -> None:
    box = Box()
    for _ in range(8):
        box.starts(6.5)
    box.starts(6.5)
    for n in range(46):
        box.reads(round(air(n), 1), n * 60_000)  # type: ignore[operator]
    assert box.holds() is holds, what


def of_rhythm(found: list[Transition]) -> list[Transition]:
    return [t for t in found if t.group == "rhythm" and t.event in ("begins", "begins-again")]


@pytest.mark.parametrize(("mean_c", "told"), [(28.0, True), (4.0, False)])
def test_switched_off_on_its_own_panel_is_told_within_three_hours_where_it_is_warm(mean_c: float, told: bool) -> None:
    own = schedule(replace(COOLER, loads=(replace(COOLER.loads[0], duty=None),)))
    at_s = 1.4 * DAY
    found = of_rhythm(run(own, readings(Cooler(3, Weather(mean_c, seed=3), people=6), at_s + 4 * HOUR, Fault("off", at_s))))
    assert [(t.kind, dict(t.figures)["why"]) for t in found] == ([("duty-low", "off")] if told else [])
    if told:
        assert (found[0].at_ms - MIDNIGHT) / 1000 - at_s < 3 * HOUR
        assert message(found[0], own).startswith("Check that Sample cooler is switched on: it has not cooled for ")


def test_a_duty_above_its_band_waits_longer_where_it_is_known_to_cool_as_it_should() -> None:
    """A family's door and goods for two days, on a refrigerator on record: more comes in, nothing is wrong with it."""
    assert COOLER.loads[0].duty is None or isinstance(COOLER.loads[0].duty, Duty)
    found = run(schedule(), readings(Cooler(4, Weather(24.0, seed=4), people=40), 4 * DAY, Fault()))
    assert [t.kind for t in of_rhythm(found)] == []
