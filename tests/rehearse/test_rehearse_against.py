"""Another schedule's alarm keys on the same readings: which messages each would have sent."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import pytest

import plans
from panelward.errors import BadInput
from panelward.records import Level, Protection, Reading, Schedule
from panelward.rehearse.against import against, both, fits

PUMP = plans.circuit("D4", "Deck pump", "pump", levels=(Level(name="pumping", watts=62),), longest_run_s=3600.0)
BASE = plans.plan(plans.METER, plans.FREEZER, PUMP, plans.INVERTER)


def evening() -> Iterator[Reading]:
    """From 18:00: the inverter idles until 21:30, the pump runs for 20 minutes on end."""
    draws = {"D1": lambda _: 0.15, "D4": lambda t: 4.8 if 3600 <= t < 4800 else 0.0, "D9": lambda t: 1.6 if t < 12_600 else 0.1}
    whole = draws | {"SH": lambda t: sum(draw(t) for draw in draws.values())}
    return plans.stream(whole, 14_400, period_s=5.0, volts=13.0, start_ms=plans.T0 + 12 * 3600_000)


def other(way: str, **keys: object) -> Schedule:
    circuits = tuple(replace(c, loads=(replace(c.loads[0], **keys),)) if c.id == way else c for c in BASE.circuits)
    return replace(BASE, circuits=circuits)


def test_the_same_schedule_says_the_same_to_the_bit() -> None:
    found = against(BASE, BASE, evening())
    assert found.compared.identical
    assert found.changes == ()
    assert any("the same, to the letter" in s for s in found.sentences())


def test_longer_hours_send_less() -> None:
    found = against(BASE, other("D9", hours=((420, 1320),)), evening())
    assert [(m.kind, m.subject_id) for m in found.compared.only_before] == [("standby-drain", "D9")]
    assert found.compared.only_after == []
    said = list(found.sentences())
    assert said[0] == "Changed: D9 load.hours 07:00-20:00 -> 07:00-22:00"
    assert any(s.startswith("Only as it is: Fri 20:30 medium: Is Inverter meant to be on?") for s in said)


def test_a_shorter_longest_run_sends_more() -> None:
    found = against(BASE, other("D4", longest_run_s=600.0), evening())
    assert [(m.kind, m.subject_id, m.at_ms) for m in found.compared.only_after] == [
        ("overlong-run", "D4", plans.T0 + 12 * 3600_000 + 3600_000 + 605_000)
    ]
    assert found.compared.only_before == []


def test_another_time_is_said() -> None:
    found = against(other("D4", longest_run_s=600.0), other("D4", longest_run_s=900.0), evening())
    ((before, after),) = found.compared.otherwise
    assert after.at_ms - before.at_ms == 300_000


def test_a_circuit_that_comes_or_goes() -> None:
    less = replace(BASE, circuits=tuple(c for c in BASE.circuits if c.id != "D9"))
    found = against(BASE, less, evening())
    assert [m.subject_id for m in found.compared.only_before] == ["D9"]
    assert {c.id for c in both(less, BASE).circuits} == {"SH", "D1", "D4", "D9"}
    fits(BASE, less, "x")
    fits(less, BASE, "x")


@pytest.mark.parametrize(
    ("after", "said"),
    [
        (replace(BASE, vehicle=replace(BASE.vehicle, id="other")), "it is of other, the readings are of survey-van"),
        (
            replace(BASE, circuits=tuple(
                replace(c, protection=Protection(kind="blade-fuse", type="C", rating_a=20)) if c.id == "D1" else c
                for c in BASE.circuits
            )),
            "D1 protection.rating_a 15 -> 20: that is wiring",
        ),
        (replace(BASE, supplies=(replace(BASE.supplies[0], nominal_v=25.6),)), "supply house nominal_v"),
    ],
)  # fmt: skip
def test_wiring_is_another_matter(after: Schedule, said: str) -> None:
    with pytest.raises(BadInput) as raised:
        fits(BASE, after, "other.toml")
    assert said in str(raised.value)
