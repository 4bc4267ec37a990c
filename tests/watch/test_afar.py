"""A vehicle that falls silent, heard from elsewhere; and what looks like it and is a link that comes and goes."""

from __future__ import annotations

from dataclasses import replace

import pytest

from panelward.core import Core
from panelward.records import Answer, Presence, Request, Settings, Transition
from panelward.wording import message
from plans import FREEZER, PLAN, T0


def afar(*, life: bool = False, after_s: float | None = None) -> Core:
    schedule = replace(PLAN, circuits=PLAN.circuits if life else (FREEZER,))  # a gas detector is among them
    schedule = replace(schedule, vehicle=replace(schedule.vehicle, unheard_after_s=after_s))
    core = Core()
    core.feed(Settings(received_ms=T0, schedule=schedule, schedule_text="", started=True))
    return core


def sign(core: Core, at_s: float, here: bool = True) -> list[Transition]:
    found = core.feed(
        Presence(received_ms=T0 + round(at_s * 1000), subject="vehicle", name=core.schedule.vehicle.id, here=here)
    )
    return [t for t in found if isinstance(t, Transition)]


def until(core: Core, at_s: float) -> list[Transition]:
    return [t for t in core.advance(T0 + round(at_s * 1000)) if isinstance(t, Transition)]


def test_no_word_for_two_hours_is_told_and_word_again_too() -> None:
    core = afar()
    for at_s in range(0, 3600, 30):
        assert sign(core, at_s) == []
    last_s = 3570
    assert until(core, last_s + 7199) == []
    (told,) = until(core, last_s + 7200)
    assert (told.kind, told.subject, told.priority) == ("readings-overdue", "vehicle", "medium")
    assert told.since_ms == T0 + last_s * 1000
    (back,) = sign(core, last_s + 9000)
    assert (back.event, back.told) == ("ends", True)


def test_its_last_will_alone_is_a_link_that_dropped() -> None:
    core = afar()
    sign(core, 0)
    assert sign(core, 60, here=False) == []
    assert sign(core, 5000) == []
    assert until(core, 5000 + 7199) == []


def test_never_heard_at_all_counts_from_the_start() -> None:
    core = afar(after_s=1800)
    sign(core, 0, here=False)
    (told,) = until(core, 1800)
    assert dict(told.evidence)["vehicle-gone"] == ()


def test_its_last_words_are_part_of_the_evidence() -> None:
    core = afar(after_s=900)
    sign(core, 0)
    core.feed(Presence(received_ms=T0 + 1000, subject="bank", name=core.schedule.vehicle.id, here=False))
    (told,) = until(core, 900)
    assert dict(told.evidence)["vehicle-low"] == ()


def test_who_watches_aboard_says_nothing_of_it() -> None:
    assert until(afar(), 86_400) == []


def test_where_life_is_at_stake_it_is_high_and_saving_changes_nothing() -> None:
    core = afar(life=True, after_s=900)
    sign(core, 0)
    other = Core()
    other.restore(core.save(), core.schedule, silence_from_start=False)
    assert [t.priority for t in until(core, 900)] == ["high"]
    assert [t.priority for t in until(other, 900)] == ["high"]


def link(core: Core, at_s: float, here: bool) -> list[Transition]:
    """Its own broker comes or goes."""
    found = core.feed(Presence(received_ms=T0 + round(at_s * 1000), subject="broker", name="127.0.0.1", here=here))
    return [t for t in found if isinstance(t, Transition)]


def test_while_its_own_broker_is_away_that_is_said_and_no_silence_of_the_vehicle() -> None:
    core = afar(after_s=1800)
    sign(core, 0)
    sign(core, 600)
    link(core, 900, here=False)
    (told,) = until(core, 86_400)
    assert (told.subject, told.at_ms, told.circuits) == ("broker", T0 + 1_020_000, ())
    assert message(told, core.schedule).startswith("Look at the link of the watch from afar: its broker is away")
    (back,) = link(core, 86_400, here=True)
    assert message(back, core.schedule).startswith("Nothing to do: the watch from afar has its broker back")
    # It was silent for 300 s that could be heard: 1500 are left.
    assert until(core, 86_400 + 1499) == []
    (silent,) = until(core, 86_400 + 1500)
    assert (silent.subject, silent.since_ms) == ("vehicle", T0 + 600_000)


def test_a_link_of_its_own_that_comes_and_goes_puts_nothing_off_for_ever() -> None:
    core = afar(after_s=7200)
    sign(core, 0)
    told: list[Transition] = []
    for at_s in range(0, 4 * 7200, 600):  # heard for 540 s of each 600
        told += until(core, at_s) + link(core, at_s, here=False) + until(core, at_s + 60) + link(core, at_s + 60, here=True)
    assert [(t.subject, t.event) for t in told] == [("vehicle", "begins")]
    assert 7200 <= (told[0].at_ms - T0) / 1000 <= 7200 / 0.9 + 600


def test_word_that_comes_with_its_broker_ends_the_wait() -> None:
    core = afar(after_s=1800)
    sign(core, 0)
    link(core, 1790, here=False)
    link(core, 1850, here=True)  # there were 10 s left; bridges connect again first
    assert until(core, 1900) == []
    sign(core, 1910)
    assert until(core, 1910 + 1799) == []


def test_a_restart_while_its_broker_is_away_counts_nothing_either() -> None:
    core = afar(after_s=900)
    sign(core, 0)
    link(core, 10, here=False)
    other = Core()
    other.restore(core.save(), core.schedule, silence_from_start=False)
    other.feed(Settings(received_ms=T0 + 100_000, schedule=core.schedule, schedule_text="", started=True))
    link(other, 100, here=False)
    sign(other, 100, here=False)  # as a start says
    assert [t.subject for t in until(other, 86_400)] == ["broker"]


def drill(core: Core, at_s: float) -> str:
    asked = core.feed(Request(kind="drill", received_ms=T0 + round(at_s * 1000)))
    answer = next(each for each in asked if isinstance(each, Answer))
    assert answer.done
    return message(next(each for each in asked if isinstance(each, Transition)), core.schedule)


def test_its_test_message_is_its_own_and_says_whether_the_vehicle_is_heard() -> None:
    core = afar(after_s=1800)
    sign(core, 0, here=False)
    assert drill(core, 10) == (
        "From afar, look at Survey van or ring: test message, sent Fri 06:00; no sign comes from there. "
        "It proves the way to this phone alone."
    )
    sign(core, 60)
    assert drill(core, 90) == (
        "From afar, nothing to do: test message about Survey van, sent Fri 06:01; its last sign came 30 s ago. "
        "Its own test comes apart."
    )
    until(core, 60 + 1800)
    assert drill(core, 1900).startswith("From afar, look at Survey van or ring: test message")
    aboard = Core()
    aboard.feed(Settings(received_ms=T0, schedule=PLAN, schedule_text="", started=True))
    assert drill(aboard, 10).startswith("Nothing to do: test message from Survey van")


def test_no_word_where_life_is_at_stake_is_never_put_aside_for_long_nor_without_a_reason() -> None:
    core = afar(life=True, after_s=900)
    sign(core, 0)
    (told,) = until(core, 900)

    def shelve(for_s: float, why: str) -> bool:
        asked = core.feed(Request(kind="shelve", received_ms=T0 + 910_000, alarm=told.id, for_s=for_s, why=why, who="Kari"))
        return next(each for each in asked if isinstance(each, Answer)).done

    assert not shelve(3600, "")
    assert not shelve(7200, "painting")
    assert shelve(3600, "painting")
    calm = afar(after_s=900)  # its twin, where it is not
    sign(calm, 0)
    (told,) = until(calm, 900)
    core = calm
    assert shelve(86_400, "")


def test_the_journal_aboard_is_of_low_priority_and_has_its_own_words() -> None:
    core = afar()
    sign(core, 0)
    words = []
    for at_s, here in ((10, False), (20, False), (3600, True)):
        found = core.feed(Presence(received_ms=T0 + at_s * 1000, subject="journal", name="aboard", here=here))
        words += [(t.priority, message(t, core.schedule)) for t in found if isinstance(t, Transition)]
    assert words == [
        ("low", "From afar, look at the disk of Survey van's computer when there: it could write nothing since 06:00. "
                "Its alarms come, but aren't kept."),
        ("low", "Nothing to do: the computer of Survey van writes its journal again since 07:00."),
    ]  # fmt: skip


@pytest.mark.parametrize(("up_s", "down_s"), [(240, 60), (280, 100), (540, 60)])
def test_a_link_of_its_own_that_is_never_up_for_long_delays_no_word_by_a_while_only(up_s: int, down_s: int) -> None:
    core, told, at_s = afar(after_s=1800), [], 0.0
    sign(core, 0)
    while at_s < 7200 and not any(t.subject == "vehicle" for t in told):
        for span_s, here in ((up_s, False), (down_s, True)):
            at_s += span_s
            told += until(core, at_s) + link(core, at_s, here)
    assert [t.event for t in told if t.subject == "vehicle"] == ["begins"]
    assert at_s < 3600
