"""Faults planted into a quiet day: each found by the message it would have had; the day as it was stays silent."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import pytest

import plans
from panelward.errors import BadInput
from panelward.records import Level, Protection, Reading, Schedule, Segment, Surge
from panelward.rehearse import rehearse
from panelward.rehearse.change import Since
from panelward.rehearse.faults import ALL, KINDS
from panelward.rehearse.plant import Plant, planted, plants

PUMP = plans.circuit(
    "D4", "Deck pump", "pump", behaves="constant-current",
    levels=(Level(name="pumping", watts=62, tolerance=0.35, surge=Surge(times=3.5, seconds=0.4)),), longest_run_s=600.0,
    conductor=(Segment(area_mm2=4.0, length_m=5, insulation_c=105, bundled=1, ambient_c=30),),
)  # fmt: skip
BASE = plans.plan(plans.METER, plans.FREEZER, PUMP, plans.DETECTOR, plans.SOCKETS, plans.INVERTER)
SIX_H_S = 6 * 3600.0  # from 08:00 in Oslo's summer, 06:00Z: the plan's own zone is UTC


def day(hours: float = 6.0, period_s: float = 5.0) -> Iterator[Reading]:
    """A quiet one: the freezer runs a third of the time, the pump some minutes an hour, the inverter idles in its hours."""

    def freezer(t: float) -> float:
        return 4.0 if t % 1800 < 600 else 0.15

    def pump(t: float) -> float:
        return 4.8 if 900 <= t % 3600 < 990 else 0.0

    draws = {
        "D1": freezer,
        "D4": pump,
        "D6": lambda _: 0.1,
        "D7": lambda t: 2.0 if t % 7200 < 3600 else 0.0,
        "D9": lambda t: 1.6 if t > 4000 else 0.1,
    }
    whole = draws | {"SH": lambda t: sum(draw(t) for draw in draws.values())}
    return plans.stream(whole, hours * 3600, period_s=period_s, volts=13.0)


def found(*wanted: str, hours: float = 6.0) -> tuple[Plant, ...]:
    return planted(plants(wanted, BASE), BASE, day(hours)).plants


def test_the_day_as_it_was_is_silent() -> None:
    told = [t for t in rehearse(BASE, day()) if t.told and t.priority != "journal"]
    assert [(t.subject_id, t.kind) for t in told] == []


@pytest.mark.parametrize(
    ("wanted", "kind", "subject", "within_s"),
    [
        ("freezer feed-lost 08:10", "feed-lost", "D1", 120),
        ("Gas detector feed-lost 09:00", "feed-lost", "D6", 120),
        ("D7 overload 09:30", "overcurrent-approach", "D7", 60),
        ("sockets opens 08:30", "protection-opened", "D7", 300),
        ("D4 short 10:00", "protection-opened", "D4", 120),
        ("pump stall 08:15", "off-profile", "D4", 120),
        ("D4 runs-on 08:00", "overlong-run", "D4", 900),
        ("D1 overdue 09:00", "readings-overdue", "D1", 200),
        ("supply house feed-lost 09:00", "feed-lost", "house", 60),
        ("house falls 08:00", "undervoltage-approach", "house", 4 * 3600),
        ("monitor dc overdue 09:00", "readings-overdue", "dc", 200),
    ],
)
def test_a_planted_fault_is_told(wanted: str, kind: str, subject: str, within_s: float) -> None:
    (plant,) = found(wanted, hours=5.0 if "falls" in wanted else 4.5)
    mine = [m for m in plant.found if (m.kind, m.subject_id) == (kind, subject)]
    assert mine, [(m.kind, m.subject_id) for m in plant.found]
    assert plant.from_ms is not None
    assert 0 <= mine[0].at_ms - plant.from_ms <= within_s * 1000


def test_the_message_is_the_phone_s_word_for_word() -> None:
    """As the daemon would have composed it: `wording.body` of the same transition, the first message of all."""
    from panelward.wording import alarm_object, body

    (plant,) = found("freezer feed-lost 08:10", hours=2.5)
    lost_ms = plans.T0 + 130 * 60_000

    frozen = {r.time_ms: r.amps or 0.0 for r in day(2.5) if r.circuit == "D1" and r.time_ms >= lost_ms}

    def lived(r: Reading) -> Reading:
        if r.time_ms < lost_ms or r.circuit not in ("D1", "SH"):
            return r
        amps = round((r.amps or 0.0) - frozen[r.time_ms], 4)
        return r._replace(amps=amps, watts=round(amps * 13.0, 3))

    told = next(t for t in rehearse(BASE, map(lived, day(2.5))) if t.told)
    assert plant.found[0].phone == body(alarm_object(told, BASE), 1)
    assert plant.found[0].at_ms == told.at_ms


def test_several_each_in_a_week_of_its_own() -> None:
    one, other = found("freezer feed-lost 08:10", "D7 overload 09:30", hours=4.0)
    assert {m.subject_id for m in one.found} == {"D1"}
    assert {m.subject_id for m in other.found} == {"D7"}
    assert one.found == found("freezer feed-lost 08:10", hours=4.0)[0].found


def test_one_that_nothing_can_show_is_said_to_have_no_message() -> None:
    """A switched circuit that draws nothing at the time and after: nothing would have told."""
    answer = planted(plants(["D4 feed-lost 10:00"], BASE), BASE, day(4.2))
    assert not answer.plants[0].found
    assert any("No message: nothing would have told you" in s for s in answer.sentences())


def test_it_ends_where_it_was_to_last() -> None:
    (plant,) = found("freezer feed-lost 08:10 for 20min", hours=4.0)
    assert [m.event for m in plant.found] == ["begins", "ends"]
    assert plant.lasts_ms == 1_200_000


def test_who_publishes_changes_only_publishes_this_one() -> None:
    """Its next reading would have been hours away."""
    sense = replace(plans.BUS, publishes="on-change")
    freezer = replace(plans.FREEZER, sense=sense)
    schedule = plans.plan(plans.METER, freezer, plans.DETECTOR)

    def changes() -> Iterator[Reading]:
        yield from plans.stream({"D1": 4.0}, 0, volts=13.0)
        yield from plans.stream({"D6": 0.1}, 3 * 3600, period_s=5.0, volts=13.0)

    answer = planted(plants(["D1 feed-lost 08:00"], schedule), schedule, changes())
    assert [(m.kind, m.subject_id) for m in answer.plants[0].found][:1] == [("feed-lost", "D1")]


def with_device(device: Protection) -> Schedule:
    """The plan with another device on the deck pump."""
    circuits = tuple(replace(c, protection=device) if c.id == "D4" else c for c in BASE.circuits)
    return replace(BASE, circuits=circuits)


def test_a_planted_stall_opens_its_device() -> None:
    """19.2 A on 10 A: of type C the likely one opens in 1.4 s, so no reading holds it for longer, and nothing flows after."""
    schedule = with_device(Protection(kind="blade-fuse", type="C", rating_a=10))
    answer = planted(plants(["D4 stall 08:00"], schedule), schedule, day(4.0))
    (plant,) = answer.plants
    assert not any(m.kind in ("protection-doubtful", "off-profile") for m in plant.found)
    fused = plant.fused
    assert fused is not None
    assert fused.opened_ms == plans.T0 + 2 * 3600_000 + 905_000  # it runs from a quarter past; one reading shows it
    said = list(answer.sentences())
    assert any("Its device opens by Fri 08:15, 15 min after that began" in s for s in said)
    assert any(s.startswith("Why: Deck pump (D4): device opened: ") for s in said) == (not plant.found)


def test_a_start_in_a_stall_is_not_multiplied() -> None:
    """A sample of a start of 16.8 A: stalled, a motor draws 4 times what it runs at and not 4 times that."""
    (plant,) = plants(["D4 stall 08:00"], BASE)
    other = plant.changes["D4"](Reading("D4", 0, 0, 13.0, 16.8, 218.4), Since(0.0, None, 13.0))
    assert other is not None
    assert other.amps == pytest.approx(4 * 62 * 1.35 / 12.8, abs=1e-3)


def test_an_overload_opens_its_device_and_its_end_is_marked() -> None:
    """Likely open after half a minute, at 1.3 times; what comes when the plant ends is no message of the fault."""
    answer = planted(plants(["D7 overload 08:30 for 20min"], BASE), BASE, day(5.0))
    (plant,) = answer.plants
    assert plant.fused is not None
    assert plant.from_ms is not None
    assert plant.fused.opened_ms is not None
    assert 20_000 <= plant.fused.opened_ms - plant.from_ms <= 40_000
    assert plant.found[0].kind == "overcurrent-approach"
    assert not any(m.kind == "protection-doubtful" for m in plant.found)
    for message, line in zip(plant.found, answer.as_json()["plants"][0]["messages"], strict=True):
        assert line["from_its_end"] == (message.at_ms >= plant.from_ms + 1_200_000)


def test_of_a_device_of_which_nothing_is_published_the_end_is_marked() -> None:
    """It is held to the plant's own end: that it draws nothing then is no cut-off."""
    schedule = with_device(Protection(kind="electronic", rating_a=10))
    answer = planted(plants(["D4 overload 08:30 for 20min"], schedule), schedule, day(5.0))
    (plant,) = answer.plants
    assert plant.fused is not None
    assert plant.fused.opened_ms is None
    said = list(answer.sentences())
    assert any(s.startswith("When its device opens is not published for its type") for s in said)
    after = [m for m in plant.found if plant.from_its_end(m)]
    assert after
    assert sum("from the end of what was planted" in s for s in said) == len(after)


@pytest.mark.parametrize(
    ("wanted", "why"),
    [
        ("D4 stall 08:20 for 10min", "Why: it did not run then: every reading would have been as it was."),
        ("D4 feed-lost 08:00", "Why: Deck pump (D4): lost feed: found only together with something else: switched: no draw"),
        (
            "D7 more-than-listed 08:00 for 20min",
            "Why: Bench sockets (D7): more than is listed can't be watched: not all of its levels",
        ),
        ("D4 runs-on 08:00 for 5min", "found within 10 min of the first reading that shows it, and it was there for 5 min"),
    ],
)
def test_no_message_is_given_its_reason(wanted: str, why: str) -> None:
    """By what `check` says of that circuit."""
    answer = planted(plants([wanted], BASE), BASE, day(3.5))
    assert not answer.plants[0].found
    said = list(answer.sentences())
    assert any(why in s for s in said), said


def test_outside_the_readings_it_is_not_planted() -> None:
    answer = planted(plants(["D1 feed-lost 2027-01-01T08:00"], BASE), BASE, day(0.2))
    assert not answer.plants[0].begun
    assert any("not planted: the readings go from 2026-05-01 06:00" in s for s in answer.outside())
    assert list(answer.sentences()) == []
    nothing = planted(plants(["D1 feed-lost 08:00"], BASE), BASE, iter(()))
    assert any("the readings are none" in s for s in nothing.outside())


@pytest.mark.parametrize(
    ("wanted", "said"),
    [
        ("freezer feed-lst 02:10", "Did you mean feed-lost?"),
        ("freezer on-fire 02:10", f"The kinds are: {', '.join(ALL)}"),
        ("freezer feed-lost", "the time is missing"),
        ("freezer", 'wanted "WHERE KIND WHEN"'),
        ("freezer part-open 02:10", "can't have part-open; it can have feed-lost, switched-off, overload, opens, short, "),
        ("freezer part-open 02:10", "short, more-than-listed, standby, left-on, runs-on, stuck, overdue"),
        ("SH feed-lost 02:10", "it can have stuck, overdue"),
        ("freezer feed-lost 25:10", "wanted when, like 02:10"),
        ("freezer feed-lost Xyz 02:10", "wanted when, like 02:10"),
        ("nobody feed-lost 02:10", 'nothing here is called "nobody"'),
        ("freezer runs-dry 02:10", "a compressor like Sample freezer (D1) can't have runs-dry"),
        ("house stall 02:10", "supply house can't have stall"),
        ("SH feed-lost 02:10", "is a meter"),
        ("rear feed-lost 02:10", "no circuit is behind feeder rear"),
        ("D7 left-on 02:10", "has no levels in the schedule"),
    ],
)
def test_what_can_t_be_planted(wanted: str, said: str) -> None:
    with pytest.raises(BadInput) as raised:
        plants([wanted], BASE)
    assert said in str(raised.value)


def test_every_kind_of_every_part_can_be_asked_for() -> None:
    """No kind is listed that a part of that sort could never have."""
    parts = {"circuit": ("D4", "D1"), "supply": ("house",), "monitor": ("dc",), "feeder": ()}
    pad = plans.circuit("D2", "Warm pad", "heater-element", levels=(Level(name="on", watts=60),), standby_max_w=1.0)
    schedule = replace(BASE, circuits=(*BASE.circuits, pad))
    for part, kinds in KINDS.items():
        for kind in kinds:
            tries = [f"{name} {kind} 08:00" for name in (*parts[part], *(("D2",) if part == "circuit" else ()))]
            assert not tries or any(_can(wanted, schedule) for wanted in tries), kind


def _can(wanted: str, schedule: object) -> bool:
    try:
        plants([wanted], schedule)  # type: ignore[arg-type]
    except BadInput:
        return False
    return True
