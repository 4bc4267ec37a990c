"""A vehicle that falls silent, heard from elsewhere; and what looks like it and is a link that comes and goes."""

from __future__ import annotations

from dataclasses import replace

from panelward.core import Core
from panelward.records import Presence, Settings, Transition
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
