"""Who hangs where: any order, asked only where it is not plain, swapped labels found on the spot; and their twins."""

from __future__ import annotations

import pytest
from benches import DETECTOR, FAN, LIGHT, PUMP, TWIN, WAY, Bench

from panelward.commission.finish import record

SOCKET = WAY % ("D5", "Bench sockets", "socket", "")


def on(bench: Bench, way: str, watts: float, seconds: float = 20.0) -> None:
    bench.amps[way] = watts / bench.volts
    bench.run(seconds)


def differs(bench: Bench) -> tuple[str, ...]:
    return record(bench.schedule, bench.session.state, bench.session.lap).differs


def asked(bench: Bench) -> str:
    return bench.session.prompt or ""


def test_in_any_order_nothing_is_asked_where_each_fits_its_own_label() -> None:
    bench = Bench(PUMP, LIGHT, FAN)
    for way, watts in (("D3", 9.5), ("D2", 84), ("D1", 60), ("D3", 35), ("D2", 0), ("D3", 11.8), ("D1", 0), ("D3", 0)):
        on(bench, way, watts)
        assert "One lap" in asked(bench)
    assert bench.session.state.found == {"D1": "D1", "D2": "D2", "D3": "D3"}
    assert differs(bench) == ()
    assert bench.session.missing() == []


def test_swapped_labels_are_found_on_the_spot_and_said_as_one_sentence() -> None:
    bench = Bench(PUMP, LIGHT)
    on(bench, "D1", 84)  # the lights, on the pump's channel
    assert "D1 Water pump rose by 6.6 A (84 W). Written for it: 60 W. Which load did you switch?" in asked(bench)
    bench.answer("lights")
    assert bench.heard("The label of D1 does not fit: Deck lights hangs there (84")
    on(bench, "D2", 60)
    assert bench.heard("Labels swapped: Water pump is on D2 and Deck lights on D1")
    assert "One lap" in asked(bench)
    assert differs(bench) == ("The labels of D1 and D2 are swapped: Water pump is on D2, Deck lights on D1.",)
    made = record(bench.schedule, bench.session.state, bench.session.lap)
    pump, lights = made.circuit("D1"), made.circuit("D2")
    assert pump is not None
    assert lights is not None
    assert (pump.seen_on, lights.seen_on) == ("D2", "D1")
    assert pump.levels[0].watts == pytest.approx(60, rel=0.01)
    assert lights.levels[0].watts == pytest.approx(84, rel=0.01)


def test_its_twin_that_draws_more_than_written_is_a_difference_and_no_swap() -> None:
    bench = Bench(PUMP, LIGHT)
    on(bench, "D1", 84)
    bench.answer("")  # what rose fits the lights better: Enter alone confirms no label
    assert bench.heard("Say which load: what rose fits Deck lights better than Water pump.")
    assert bench.session.state.found == {}
    bench.answer("Water pump")
    on(bench, "D2", 84)
    assert bench.session.state.found == {"D1": "D1", "D2": "D2"}
    assert differs(bench) == ("D1 Water pump: unnamed level at 6.6 A (84 W) is none of the levels written.",)


def test_enter_means_what_the_question_says_where_the_other_half_of_a_swap_was_told_meanwhile() -> None:
    bench = Bench(PUMP, LIGHT)
    on(bench, "D1", 84)  # the lights, on the pump's channel; nobody answers yet
    on(bench, "D1", 0)
    on(bench, "D2", 60)
    assert "Enter:" not in asked(bench)
    bench.answer("lights")
    bench.run(2)
    assert "D2 Deck lights rose by" in asked(bench)
    assert "Enter: Water pump." in asked(bench)
    bench.answer("")
    assert bench.session.state.found == {"D1": "D2", "D2": "D1"}


WIDE = WAY % ("D1", "Water pump", "pump", 'levels = [ { name = "pumping", watts = 62, tolerance = 0.35 } ]')


@pytest.mark.parametrize("watts", [81.0, 110.0])  # within the pump's tolerance though nearer to the lights; beyond both
def test_a_draw_that_nobody_could_name_is_not_sealed_under_the_label(watts: float) -> None:
    bench = Bench(WIDE, LIGHT)
    on(bench, "D1", watts)
    bench.answer("don't know")
    pump = record(bench.schedule, bench.session.state, bench.session.lap).circuit("D1")
    assert pump is not None
    assert (pump.levels, pump.skipped) == ((), "nobody told which load drew there")


def test_its_twin_whose_rise_nobody_saw_is_measured_where_it_fits_its_own_label_best() -> None:
    bench = Bench(WIDE, LIGHT)
    bench.dead = True
    on(bench, "D1", 66)
    bench.dead = False
    bench.run(40)
    assert bench.session.state.found == {}
    pump = record(bench.schedule, bench.session.state, bench.session.lap).circuit("D1")
    assert pump is not None
    assert [round(one.watts) for one in pump.levels] == [66]
    assert pump.skipped is None


def test_what_was_left_out_and_is_switched_after_all_is_not_called_unmeasured() -> None:
    bench = Bench(PUMP, LIGHT)
    bench.answer("skip D1, because the tank is empty")
    on(bench, "D1", 60)
    pump = record(bench.schedule, bench.session.state, bench.session.lap).circuit("D1")
    assert pump is not None
    assert (len(pump.levels), pump.skipped) == (1, None)


def test_a_pair_as_alike_as_twins_is_corrected_by_the_person() -> None:
    """60 and 61 W can't be told apart; the remark names what was taken, and `was` corrects it."""
    bench = Bench(PUMP, TWIN)
    on(bench, "D1", 61)
    assert bench.heard("D1 Water pump: seen, 61")
    bench.answer("was Bilge pump")
    assert bench.heard("The label of D1 does not fit: Bilge pump hangs there")
    on(bench, "D4", 60)
    assert bench.heard("Labels swapped: Water pump is on D4 and Bilge pump on D1")


def test_sockets_take_what_is_plugged_in_without_a_question() -> None:
    bench = Bench(PUMP, SOCKET)
    on(bench, "D5", 200)
    assert bench.session.state.found == {"D5": "D5"}
    assert "One lap" in asked(bench)


def test_two_rising_together_by_their_own_labels_need_no_question() -> None:
    bench = Bench(PUMP, LIGHT)
    bench.amps |= {"D1": 60 / 13.2, "D2": 84 / 13.2}
    bench.run(20)
    assert bench.session.state.found == {"D1": "D1", "D2": "D2"}
    assert "One lap" in asked(bench)


def test_two_rising_together_on_each_others_channel_are_told_apart_by_size() -> None:
    bench = Bench(PUMP, LIGHT)
    bench.amps |= {"D1": 84 / 13.2, "D2": 60 / 13.2}
    bench.run(20)
    assert bench.heard("D1 and D2 rose together; told apart by their size.")
    assert bench.heard("Labels swapped: ")
    assert "One lap" in asked(bench)


def test_two_rising_together_that_size_does_not_tell_are_told_by_the_order_they_go_off() -> None:
    bench = Bench(PUMP, TWIN)
    bench.amps |= {"D1": 75 / 13.2, "D4": 75.5 / 13.2}  # both more than written
    bench.run(20)
    assert "D1 and D4 rose together and can't be told apart by size. Switch Water pump off" in asked(bench)
    taps = bench.session.state.taps
    on(bench, "D4", 0)
    on(bench, "D1", 0)
    assert bench.heard("D4 fell first.")
    assert bench.heard("Labels swapped: ")
    assert bench.session.state.found == {"D4": "D1", "D1": "D4"}
    assert bench.session.state.taps == taps
    assert "One lap" in asked(bench)


def test_the_twin_goes_off_in_its_own_order() -> None:
    bench = Bench(PUMP, TWIN)
    bench.amps |= {"D1": 75 / 13.2, "D4": 75.5 / 13.2}
    bench.run(20)
    on(bench, "D1", 0)
    assert bench.session.state.found == {"D1": "D1", "D4": "D4"}
    assert not bench.heard("swapped")


def test_nobody_is_asked_to_switch_off_what_must_stay_on() -> None:
    bench = Bench(PUMP, TWIN, DETECTOR, lap=False)
    bench.amps["D6"] = 0.1
    prompts = []
    bench.run(20)
    for text in ("Kari", "none", "", "no"):
        prompts.append(asked(bench))
        bench.answer(text)
    prompts.append(asked(bench))
    bench.run(120)
    for text in [*prompts, *bench.said]:
        assert "detector off" not in text.casefold()
        assert not ("Gas detector" in text and "witch" in text.replace("Nothing is switched", "")), text
    assert any("Leave Gas detector as it is, on" in text for text in prompts)
    assert bench.session.missing() == ["Water pump", "Bilge pump"]


def test_a_way_found_twice_is_measured_anew() -> None:
    bench = Bench(PUMP, LIGHT, TWIN)
    on(bench, "D1", 60)
    on(bench, "D4", 84)
    bench.answer("Water pump")
    assert bench.heard("Water pump was taken to be on D1: that way is measured anew")
    assert bench.session.state.found["D4"] == "D1"
    assert "D1" not in bench.session.state.found


def test_a_start_that_looks_like_another_load_is_judged_by_where_it_settles() -> None:
    bench = Bench(PUMP, LIGHT)
    on(bench, "D1", 84, 6)  # three readings of a start
    on(bench, "D1", 60)
    assert bench.session.state.found == {"D1": "D1"}
    assert "One lap" in asked(bench)


def test_forty_five_seconds_without_a_job_offer_one() -> None:
    bench = Bench(PUMP, FAN)
    bench.run(50)
    assert bench.heard("Still to switch, in any order: Water pump and Roof fan.")
    on(bench, "D3", 35)
    on(bench, "D1", 60)
    bench.run(50)
    assert bench.heard("Still to switch, in any order: Roof fan at middle and half.")
    on(bench, "D3", 11.7)
    on(bench, "D3", 9)
    bench.run(50)
    assert bench.heard("Everything was seen. Type done.")


def test_the_gain_is_told_by_a_clamp_and_the_others_by_the_meter() -> None:
    bench = Bench(PUMP, LIGHT, FAN, lap=False)
    bench.run(20)
    for text in ("Kari", "clamp 3", "", "no"):
        bench.answer(text)
    assert "clamp round the bank's lead" in asked(bench)
    bench.answer("0")
    assert "(Deck lights will do)" in asked(bench)
    on(bench, "D2", 84)
    true_a = 84 / bench.volts / 1.03  # the channel reads 3 % too much
    bench.answer(f"{true_a:.2f} A")
    assert bench.heard("D2 reads +3.0 % beside the clamp")
    assert "One lap" in asked(bench)
    for _ in range(4):
        on(bench, "D2", 0)
        on(bench, "D2", 84)
        on(bench, "D1", 60)
        on(bench, "D1", 0)
    made = record(bench.schedule, bench.session.state, bench.session.lap)
    gains = {way.circuit: way.gain for way in made.circuits}
    assert gains["D2"] == pytest.approx(1.03, abs=0.004)
    assert gains["D1"] == pytest.approx(1.03, abs=0.01)  # the meter adds the same channels here
    assert gains["D3"] is None
    assert made.meter_sign == "discharge-positive"
    assert "D2's channel reads +3.0 % beside the clamp." in made.differs


@pytest.mark.parametrize("instrument", ["none", "None", "no", "don't know", ""])
def test_who_has_no_clamp_meter_is_not_asked_what_it_reads(instrument: str) -> None:
    bench = Bench(PUMP, LIGHT, lap=False)
    bench.run(20)
    for text in ("Kari", instrument, "", "no"):
        bench.answer(text)
    assert "One lap" in asked(bench)
    made = record(bench.schedule, bench.session.state, bench.session.lap)
    assert (made.instrument, made.remarks[-1]) == ("none", "The gain was not compared with a clamp.")


def test_a_clamp_that_tells_nothing_is_asked_twice_and_left_out() -> None:
    bench = Bench(PUMP, LIGHT, lap=False)
    bench.run(20)
    for text in ("Kari", "clamp 3", "", "no", "0", "0.4"):
        bench.answer(text)
    assert bench.heard("that tells no gain (it takes 2 A, of one load). Switch that load off; once more, or don't know.")
    bench.answer("0")
    bench.answer("0.4")
    assert bench.heard("Left out.")
    assert "One lap" in asked(bench)


def clamped(bench: Bench, *pairs: tuple[float, float]) -> None:
    """(what the channel rises by, what the clamp says), in amps."""
    bench.run(20)
    for text in ("Kari", "clamp 3", "", "no"):
        bench.answer(text)
    compared(bench, *pairs)


def compared(bench: Bench, *pairs: tuple[float, float]) -> None:
    for rise_a, clamp_a in pairs:
        bench.amps["D2"] = 0.0
        bench.run(20)
        bench.answer("0")
        bench.amps["D2"] = rise_a
        bench.run(20)
        bench.answer(f"{clamp_a:g}")


def test_a_gain_that_nobody_would_believe_is_asked_again() -> None:
    bench = Bench(PUMP, LIGHT, lap=False)
    clamped(bench, (6.4, 4.0))
    assert bench.heard("D2 rose by 6.40 A, the clamp by 4.00 A: a sensor is rarely wrong by that much.")
    assert "clamp round" in asked(bench)
    assert bench.session.state.gain is None
    compared(bench, (6.4, 6.3))
    assert bench.session.state.gain == pytest.approx(1.016, abs=0.005)


def test_its_twin_that_reads_the_same_twice_is_believed_and_one_that_does_not_is_left_out() -> None:
    bench = Bench(PUMP, LIGHT, lap=False)
    clamped(bench, (6.4, 4.0), (6.4, 4.02))
    assert bench.heard("Twice the same: it is believed.")
    assert bench.session.state.gain == pytest.approx(1.6, abs=0.02)
    other = Bench(PUMP, LIGHT, lap=False)
    clamped(other, (6.4, 4.0), (6.4, 9.0))
    assert other.heard("Twice, and not the same: left out.")
    assert other.session.state.gain is None
    assert "One lap" in asked(other)


@pytest.mark.parametrize("meaned", [True, False])
def test_a_monitor_that_means_is_told_from_one_that_samples(meaned: bool) -> None:
    bench = Bench(PUMP)
    for n in range(8):
        on(bench, "D1", 60, 20)
        if meaned:
            on(bench, "D1", 60 * (0.2 + 0.08 * n), 2)  # the period in which it was switched off
        on(bench, "D1", 0, 20)
    (found,) = record(bench.schedule, bench.session.state, bench.session.lap).monitors
    assert found.reports == ("mean" if meaned else "sample")
    assert found.period_s == 2.0
    assert found.resolution_a == pytest.approx(0.01)
    said = "Monitor dc: looks like it reports a mean; sample is written."
    assert (said in differs(bench)) == meaned


def test_a_resolution_and_a_period_unlike_the_written_ones_are_said() -> None:
    bench = Bench(PUMP, FAN, step_a=0.05, noise_a=0.1)
    bench.schedule = bench.schedule
    for watts in (60, 0, 60, 0):
        on(bench, "D1", watts, 40)
    (found,) = record(bench.schedule, bench.session.state, bench.session.lap).monitors
    assert found.resolution_a == pytest.approx(0.05)
