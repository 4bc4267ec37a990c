"""A reading at the meter's full scale is "this or more". Meters and draws are invented."""

from __future__ import annotations

from dataclasses import replace

import pytest

from panelward.records import Circuit, Protection, Sense, Transition
from panelward.schedule.detect import detectability
from panelward.wording import alarm_object, message
from plans import SOCKETS, plan, run, stream

FULL = Sense(resolution_a=0.01, full_scale_a=25.0)
METERED = replace(SOCKETS, sense=FULL)


def figures(found: list[Transition], kind: str) -> dict[str, object]:
    (told,) = (t for t in found if t.kind == kind and t.event == "begins")
    return dict(told.figures)


@pytest.mark.parametrize("amps", [25.0, 24.99])
def test_full_scale_for_ten_readings_is_said_once_and_ends(amps: float) -> None:
    found = run(plan(METERED), stream({"D7": lambda t: amps if 60 <= t < 120 else 3.0}, 300))
    mine = [t for t in found if t.kind == "reading-suspect"]
    assert [(t.event, t.cause, t.priority) for t in mine] == [("begins", "saturated", "low"), ("ends", "saturated", "low")]
    assert mine[0].at_ms - mine[0].since_ms == 18_000  # the tenth of them, two seconds apart
    assert message(mine[0], plan(METERED)).startswith(
        "Have Bench sockets's meter looked at: it stands at its most, 25 A, since"
    )


@pytest.mark.parametrize("amps", [24.9, 12.5])
def test_a_draw_below_full_scale_is_none(amps: float) -> None:
    found = run(plan(METERED), stream({"D7": lambda t: amps if 60 <= t < 120 else 3.0}, 300))
    assert [t for t in found if t.kind == "reading-suspect"] == []


def test_a_start_that_touches_full_scale_is_none() -> None:
    starts = stream({"D7": lambda t: 25.0 if t % 60 < 4 else 6.0}, 1800)
    assert [t for t in run(plan(METERED), starts) if t.kind == "reading-suspect"] == []


def test_what_flows_above_is_not_reckoned_with_as_if_it_were_known() -> None:
    """At 25 A on 15 A the quickest opens later than now; at "25 A or more" it may open at once, and it is said so."""
    draw = stream({"D7": lambda t: 25.0 if t >= 60 else 3.0}, 90)
    known = figures(run(plan(replace(METERED, sense=replace(FULL, full_scale_a=50.0))), draw), "overcurrent-approach")
    draw = stream({"D7": lambda t: 25.0 if t >= 60 else 3.0}, 90)
    found = run(plan(METERED), draw)
    capped = figures(found, "overcurrent-approach")
    assert isinstance(known["time_to_open_s"], tuple)
    assert capped["time_to_open_s"] == (0.0, None, known["time_to_open_s"][2])  # it opens no later than at 25 A
    assert "draw_is_least" not in known
    assert capped["draw_is_least"] is True
    (told,) = (t for t in found if t.kind == "overcurrent-approach")
    assert message(told, plan(METERED)).startswith("Switch something off at Bench sockets: at least 25 A since ")
    assert alarm_object(told, plan(METERED))["evidence"][0] == "Its meter shows 25 A at the most: it draws this or more."


def test_it_is_high_where_losing_the_circuit_hurts_for_it_may_open_at_once() -> None:
    kept = replace(METERED, importance="property", sense=replace(FULL, full_scale_a=17.0))
    draw = {"D7": lambda t: 17.0 if t >= 60 else 3.0}
    found = [t for t in run(plan(kept), stream(draw, 90)) if t.kind == "overcurrent-approach"]
    assert [t.priority for t in found] == ["high"]


def test_a_lower_bound_proves_another_fuse() -> None:
    """31 A or more for minutes on a type F fuse of 10 A: what proves it at 31 A proves it all the more above."""
    fuse = Protection(kind="blade-fuse", type="F", rating_a=10)
    fitted = replace(METERED, protection=fuse, sense=replace(FULL, full_scale_a=31.0))
    found = run(plan(fitted), stream({"D7": lambda t: 31.0 if t >= 60 else 3.0}, 1200))
    (told,) = (t for t in found if t.kind == "protection-doubtful")
    assert dict(told.figures)["draw_is_least"] is True
    assert "at least 31 A" in message(told, plan(fitted))


def test_a_saturated_value_is_not_stuck_and_not_watts_that_do_not_fit() -> None:
    pads: Circuit = replace(METERED, sense=replace(FULL, full_scale_a=3.2))
    rows = [r._replace(watts=60.0) for r in stream({"D7": 3.2}, 1800, volts=lambda t: 12.6 + 0.8 * (t // 300 % 2))]
    assert [t.cause for t in run(plan(pads), rows) if t.kind == "reading-suspect"] == ["saturated"]


def test_a_meter_too_small_for_its_device_can_not_see_its_overload() -> None:
    def can(sense: Sense) -> str:
        schedule = plan(replace(SOCKETS, sense=sense))
        return next(s.can for s in detectability(schedule) if s.what == "overcurrent")

    assert can(replace(FULL, full_scale_a=15.0)) == "no"
    assert can(replace(FULL, full_scale_a=50.0)) == can(Sense(resolution_a=0.01)) == "yes"
    silent = run(plan(replace(METERED, sense=replace(FULL, full_scale_a=10.0))), stream({"D7": 10.0}, 600))
    assert {t.kind for t in silent} == {"reading-suspect"}
