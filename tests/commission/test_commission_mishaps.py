"""What goes wrong on the way: each is said clearly, nothing is half done, and what was measured before stays."""

from __future__ import annotations

import json

import pytest
from benches import FAN, LIGHT, PUMP, Bench

from panelward import sealed
from panelward.commission import Session
from panelward.commission.finish import record
from panelward.errors import BadInput, RecordError
from panelward.records import Presence, Record


def made(bench: Bench) -> Record:
    return record(bench.schedule, bench.session.state, bench.session.lap)


def on(bench: Bench, way: str, watts: float, seconds: float = 20.0) -> None:
    bench.amps[way] = watts / bench.volts
    bench.run(seconds)


def test_a_monitor_that_dies_half_way_is_said_and_what_was_measured_stays() -> None:
    bench = Bench(PUMP, LIGHT)
    on(bench, "D1", 60)
    bench.dead = True
    on(bench, "D2", 84, 60)  # switched unseen
    assert sum("No readings from dc for 1" in line for line in bench.said) == 1
    assert bench.heard("nothing is measured until they are back")
    assert "D2" not in bench.session.state.found
    bench.dead = False
    bench.run(20)
    assert bench.heard("Readings from dc are back after 62 s. What was on meanwhile is measured anew.")
    ways = {way.circuit: way for way in made(bench).circuits}
    assert ways["D1"].levels[0].watts == pytest.approx(60, rel=0.01)
    assert ways["D2"].levels[0].watts == pytest.approx(84, rel=0.01)  # it stands there; nobody saw it rise
    on(bench, "D2", 0)
    on(bench, "D2", 84)
    assert bench.session.state.found == {"D1": "D1", "D2": "D2"}


def test_its_last_will_says_it_at_once() -> None:
    bench = Bench(PUMP)
    gone = Presence(received_ms=bench.now_ms + 1, subject="monitor", name="dc", here=False)
    assert any("No readings from dc" in line for line in bench.session.presence(gone))


def test_one_lost_reading_is_no_death() -> None:
    bench = Bench(PUMP)
    on(bench, "D1", 60)
    bench.dead = True
    bench.run(6)
    bench.dead = False
    bench.run(20)
    assert not bench.heard("No readings")


def test_a_record_can_be_made_though_the_monitor_never_came_back() -> None:
    bench = Bench(PUMP, LIGHT)
    on(bench, "D1", 60)
    bench.dead = True
    bench.run(60)
    bench.answer("done")
    assert bench.heard("Not seen yet: Deck lights.")
    bench.answer("done")
    bench.answer("")
    assert bench.session.over
    assert bench.session.made is not None
    lights = bench.session.made.circuit("D2")
    assert lights is not None
    assert lights.skipped == "not seen in the lap"


@pytest.mark.parametrize(
    "text", ["purple", "-5", "99999", "17", "1e400", "nan", "\x00\x1b[2J", "15 A; rm -rf /", "五", "x" * 5000]
)
def test_nonsense_for_a_fuse_is_asked_again_and_nothing_is_noted(text: str) -> None:
    bench = Bench(PUMP, lap=False)
    for answer in ("Kari", "none", "", "covered"):
        bench.answer(answer)
    prompt = bench.session.prompt
    assert prompt is not None
    assert "D1 Water pump: 10 A red blade fuse, as scheduled?" in prompt
    before = sealed.plain(bench.session.state)
    bench.answer(text)
    assert bench.session.prompt == prompt
    after = sealed.plain(bench.session.state)
    assert {key: value for key, value in after.items() if key not in ("taps", "numbers")} == {
        key: value for key, value in before.items() if key not in ("taps", "numbers")
    }
    assert bench.said[-1].startswith(("Wanted amps up to 600", "No blade fuse has 17 A printed on it"))
    assert all(c.isprintable() for c in bench.said[-1])


def test_every_question_takes_dont_know() -> None:
    """From the first to the last, with nothing else said."""
    bench = Bench(PUMP, LIGHT)
    bench.session.state.phase = "who"
    on(bench, "D1", 150)  # neither the pump nor the lights: it asks
    asked = []
    for _ in range(40):
        if bench.session.over:
            break
        prompt = bench.session.prompt
        assert prompt is not None
        asked.append(prompt)
        must_act = ("It takes about", "Enter: seal it", "One lap", "Cover on")
        bench.answer("done" if any(text in prompt for text in must_act) else "don't know")
        bench.run(2)
    assert bench.session.over
    assert any("Which load did you switch" in text for text in asked)
    assert bench.session.made is not None
    assert "What rose on D1 is not known." in bench.session.made.remarks
    assert "The gain was not compared with a clamp." in bench.session.made.remarks


def test_a_skip_needs_its_reason_and_stands_in_the_record() -> None:
    bench = Bench(PUMP, LIGHT)
    bench.answer("skip D2")
    assert bench.said[-1] == "Say why, for the record: skip, because …"
    assert bench.session.state.skipped == {}
    bench.answer("skip deck lights, because the mast is down.")
    assert bench.said[-1] == "D2 Deck lights is left out, because the mast is down."
    bench.answer("skip the moon, because it is far")
    assert "Wanted skip with a way or label" in bench.said[-1]
    way = made(bench).circuit("D2")
    assert way is not None
    assert way.skipped == "the mast is down"
    assert bench.session.missing() == ["Water pump"]


def test_redo_measures_one_way_anew_and_keeps_the_others() -> None:
    bench = Bench(PUMP, LIGHT)
    on(bench, "D1", 75)  # the tap was half shut
    bench.answer("Water pump")
    on(bench, "D1", 0)
    on(bench, "D2", 84)
    bench.answer("redo water pump")
    on(bench, "D1", 60)
    ways = {way.circuit: way for way in made(bench).circuits}
    assert [one.watts for one in ways["D1"].levels] == [pytest.approx(60, rel=0.01)]
    assert len(ways["D2"].levels) == 1


def test_a_wrong_fuse_is_found_by_reading_it() -> None:
    bench = Bench(PUMP, LIGHT, lap=False)
    for answer in ("Kari", "none", "", "covered", "", "20 A"):
        bench.answer(answer)
    prompt = bench.session.prompt
    assert prompt is not None
    assert "D2 Deck lights: 20 A found, 10 A scheduled. What is in it now?" in prompt
    bench.answer("20")
    assert bench.heard("20 A is above the schedule. Have it changed before it is used.")
    (said,) = [text for text in made(bench).differs if "found" in text]
    assert said == (
        "D2 Deck lights: 20 A was found where 10 A is scheduled (too large); 20 A is left in it. "
        "Fit the scheduled rating once the panel is isolated."
    )
    way = made(bench).circuit("D2")
    assert way is not None
    assert (way.as_found_a, way.as_left_a) == (20.0, 20.0)


def test_the_cover_stays_on_where_the_monitor_reads_volts() -> None:
    bench = Bench(PUMP, lap=False)
    bench.run(20)
    for answer in ("Kari", "none", ""):
        bench.answer(answer)
    bench.answer("yes")
    assert bench.heard("it is live. Leave the cover on; answer covered or no.")
    assert "Is the panel isolated now" in (bench.session.prompt or "")


def test_a_panel_that_becomes_live_while_its_fuses_are_read_is_said_at_once() -> None:
    bench = Bench(PUMP, LIGHT, lap=False)
    bench.volts = 0.0
    bench.run(20)
    for answer in ("Kari", "none", "", "yes"):
        bench.answer(answer)
    assert "as scheduled?" in (bench.session.prompt or "")
    bench.run(20)
    assert not bench.heard("is live")
    bench.volts = 13.1
    bench.run(6)
    assert sum("Stop: the monitor reads 13.1 V" in line and "Cover on before all else." in line for line in bench.said) == 1
    for text in ("", "don't know", "10"):  # nothing else is asked, and nothing else is taken, before the cover is on
        assert "put the cover on, touch nothing" in (bench.session.prompt or "")
        bench.answer(text)
        assert bench.session.state.as_found == {}
    bench.answer("isolated")
    assert bench.heard("The monitor still reads 13.1 V there: it is live. Cover on.")
    bench.answer("covered")
    assert "D1 Water pump: 10 A" in (bench.session.prompt or "")
    bench.answer("")
    bench.answer("")
    assert "One lap" in (bench.session.prompt or "")  # it is live already: nobody is asked to energise it


def test_its_twin_that_was_isolated_again_is_read_on_with_the_cover_off() -> None:
    bench = Bench(PUMP, LIGHT, lap=False)
    bench.volts = 0.0
    bench.run(20)
    for answer in ("Kari", "none", "", "yes"):
        bench.answer(answer)
    bench.volts = 13.1
    bench.run(4)
    bench.volts = 0.0
    bench.run(4)
    bench.answer("isolated")
    assert "D1 Water pump: 10 A" in (bench.session.prompt or "")
    bench.answer("")
    bench.answer("")
    assert "Cover on, tools out" in (bench.session.prompt or "")


def test_energising_is_asked_for_with_the_cover_on_only() -> None:
    bench = Bench(PUMP, lap=False)
    bench.volts = 0.0
    bench.run(20)
    for answer in ("Kari", "none", "", "yes", ""):
        bench.answer(answer)
    bench.answer("don't know")
    assert "Cover on, tools out" in (bench.session.prompt or "")
    bench.volts = 13.1  # somebody was quicker
    bench.run(6)
    assert "Cover on, tools out" in (bench.session.prompt or "")
    bench.answer("yes")
    assert "One lap" in (bench.session.prompt or "")


def test_who_does_not_know_whether_it_is_isolated_is_told_that_no_fuse_is_read() -> None:
    bench = Bench(PUMP, lap=False)
    for answer in ("Kari", "none", "", "don't know"):
        bench.answer(answer)
    assert bench.heard("Then it is taken to be live: the cover stays on, and no fuse or breaker is read.")
    assert "Fuses and breakers were not read: the panel was live." in bench.session.state.remarks


def test_a_question_that_was_open_at_a_stop_is_asked_again() -> None:
    bench = Bench(PUMP, LIGHT)
    on(bench, "D1", 84)
    before = bench.session.prompt
    assert "Which load did you switch" in (before or "")
    kept = json.loads(json.dumps(bench.session.save()))
    for away_s in (0, 3600):
        later = Session.restore(kept, bench.schedule, bench.text, bench.now_ms + away_s * 1000, "kept.json")
        assert later.prompt == before
        later.answer("Deck lights")
        assert later.state.found == {"D1": "D2"}


def test_an_answer_that_was_meant_for_another_question_answers_nothing() -> None:
    bench = Bench(PUMP, LIGHT)
    number, taps = bench.session.number, bench.session.state.taps
    on(bench, "D1", 150)  # it asks whose that is, just before the thumb falls
    assert bench.session.number != number
    assert bench.session.answer("", number) == ["Another question came up just then: nothing was taken for its answer."]
    assert (bench.session.state.found, bench.session.state.taps) == ({}, taps)
    bench.session.answer("Deck lights", bench.session.number)
    assert bench.session.state.found == {"D1": "D2"}


def test_done_twice_by_one_thumb_does_not_confirm_the_holes() -> None:
    bench = Bench(PUMP, LIGHT)
    number = bench.session.number
    bench.session.answer("done", number)
    bench.session.answer("done", number)
    assert bench.session.state.phase == "lap"


def test_energising_is_not_believed_while_the_monitor_reads_nothing() -> None:
    bench = Bench(PUMP, lap=False)
    bench.volts = 0.0
    bench.run(20)
    for answer in ("Kari", "clamp 3", "", "yes", ""):
        bench.answer(answer)
    assert "Cover on, tools out" in (bench.session.prompt or "")
    bench.answer("")
    assert "Energise it now" in (bench.session.prompt or "")
    bench.answer("")
    assert bench.heard("The monitor still reads 0 V.")
    bench.volts = 13.1
    bench.run(10)
    assert bench.heard("Live now, 13.1 V.")  # seen by itself: no answer is needed
    assert "clamp round" in (bench.session.prompt or "")
    zero = bench.session.state.zeros["D1"]
    assert abs(zero) < 0.005


def test_put_down_at_any_moment_and_taken_up_it_ends_the_same() -> None:
    plan = [("D1", 60.0), ("D1", 0.0), ("D3", 35.0), ("D3", 11.7), ("D3", 9.0), ("D3", 0.0), ("D2", 84.0), ("D2", 0.0)]
    whole = Bench(PUMP, LIGHT, FAN)
    for way, watts in plan:
        on(whole, way, watts)
    for stop in range(len(plan)):
        bench = Bench(PUMP, LIGHT, FAN)
        for at, (way, watts) in enumerate(plan):
            on(bench, way, watts)
            if at == stop:
                kept = json.loads(json.dumps(bench.session.save()))
                bench.session = Session.restore(kept, bench.schedule, bench.text, bench.now_ms, "kept.json")
                assert bench.session.prompt is not None
                bench.run(20)
        assert bench.session.state.found == whole.session.state.found or stop in (0, 2, 3, 4)
        for one, other in zip(made(bench).circuits, made(whole).circuits, strict=True):
            assert [level.name for level in one.levels] == [level.name for level in other.levels]
            for a, b in zip(one.levels, other.levels, strict=True):
                assert a.watts == pytest.approx(b.watts, rel=0.01)


def test_saving_changes_nothing() -> None:
    one, other = Bench(PUMP, LIGHT), Bench(PUMP, LIGHT)
    for bench in (one, other):
        for way, watts in (("D1", 60), ("D2", 84), ("D1", 0)):
            on(bench, way, watts)
            if bench is one:
                json.dumps(bench.session.save())
    assert made(one) == made(other)
    assert sealed.plain(one.session.state) == sealed.plain(other.session.state)


def test_another_schedule_or_a_broken_file_is_refused_when_it_goes_on() -> None:
    bench = Bench(PUMP)
    kept = bench.session.save()
    with pytest.raises(BadInput, match="begun with another schedule"):
        Session.restore(kept, bench.schedule, bench.text + "\n", bench.now_ms, "kept.json")
    kept["channels"]["D1"]["runs"] = "many"
    with pytest.raises(RecordError, match="channels D1: runs: wanted a list"):
        Session.restore(kept, bench.schedule, bench.text, bench.now_ms, "kept.json")
