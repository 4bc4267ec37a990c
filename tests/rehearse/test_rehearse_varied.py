"""The physics along a journey: nothing varied, nothing changed; a thicker conductor never worse; devices by their set."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from math import ceil, inf

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import plans
from panelward.ratings import loop_ohm
from panelward.records import Feeder, Level, Load, Protection, Reading, Schedule, Segment, Surge
from panelward.rehearse.along import Along, along
from panelward.rehearse.laid import FINEST, Losses
from panelward.rehearse.openings import Openings
from panelward.rehearse.variation import Variation, weighed
from panelward.rehearse.varied import Varied

PUMP = plans.circuit(
    "D4", "Deck pump", "pump", levels=(Level(name="pumping", watts=60),),
    conductor=(Segment(area_mm2=2.5, length_m=6, insulation_c=105, bundled=1, ambient_c=30),),
)  # fmt: skip
HEATER = replace(
    PUMP, id="D5", label="Boot warmer", loads=(Load(kind="heater-element", behaves="constant-impedance"),), supply="house"
)  # fmt: skip
LONG = replace(PUMP, id="D3", label="Far winch", loads=(Load(kind="electronics", levels=(Level(name="on", watts=100),)),))
BASE = plans.plan(plans.METER, LONG, PUMP, HEATER)


def laid(schedule: Schedule, way: str, **keys: object) -> Schedule:
    """The schedule with another conductor on one way."""
    circuits = tuple(replace(c, conductor=(replace(c.conductor[0], **keys),)) if c.id == way else c for c in schedule.circuits)
    return replace(schedule, circuits=circuits)


def fitted(schedule: Schedule, way: str, amps: float) -> Schedule:
    device = Protection(kind="blade-fuse", type="C", rating_a=amps)
    return replace(schedule, circuits=tuple(replace(c, protection=device) if c.id == way else c for c in schedule.circuits))


def unvetted(before: Schedule, after: Schedule) -> Variation:
    """A variation whose sizes are for the arithmetic's sake."""
    circuits = tuple(c.id for c in after.circuits if c != before.circuit(c.id))
    return Variation(
        before=before, after=after, changes=(), circuits=circuits, feeders=(), supplies=(), licensed=(), warned=()
    )  # fmt: skip


def day(amps: float = 5.0, *, every_s: float = 2.0, hours: float = 1.0) -> Iterator[Reading]:
    """A pump, a warmer and a far load that come and go, and the meter before them in each moment."""

    def runs(t: float) -> float:
        return amps if t % 600 < 120 else 0.0

    draws = {"SH": lambda t: 2.0 * runs(t) + 8.0, "D3": lambda _: 8.0, "D4": runs, "D5": runs}
    return plans.stream(draws, hours * 3600, period_s=every_s, volts=12.6)


def test_a_variation_that_changes_nothing_gives_the_same_to_the_bit() -> None:
    found = along(weighed(BASE, BASE), day())
    assert found.compared.identical
    varied = Varied(weighed(BASE, BASE))
    assert all(varied.take(reading) is reading for reading in day())


def test_a_conductor_of_its_own_size_gives_the_same_to_the_bit() -> None:
    """Judged on the way, as another would be, and not a reading is otherwise."""
    varied = Varied(unvetted(BASE, laid(BASE, "D4", bundled=2)))  # another place; the first 30 K are the same copper
    same = Varied(unvetted(BASE, fitted(BASE, "D4", 10.0)))
    assert all(same.take(reading) is reading for reading in day())
    assert all(varied.take(reading) == reading for reading in day(0.0))


def test_what_is_lost_is_r_times_i() -> None:
    """5 A on 12 m of 2.5 and of 6 mm²: by the greatest resistance of IEC 60228 at the warmth that it comes to."""
    variation = weighed(BASE, laid(BASE, "D5", area_mm2=6.0))
    found = dict(along(variation, day(hours=2.0)).judged)["D5"]
    old, new = (
        loop_ohm((Segment(area_mm2=a, length_m=6, insulation_c=105),), conductor_c=30.0).ohm * 5.0 / 12.8 for a in (2.5, 6.0)
    )
    assert found.old.losses.percentile(95) == pytest.approx(old, rel=0.01)
    # A resistance draws more at more volts.
    more = (12.6 - 12.8 * new) / (12.6 - 12.8 * old)
    assert found.new.losses.percentile(95) == pytest.approx(new * more, rel=0.01)


def test_each_load_by_its_behaviour() -> None:
    after = laid(laid(BASE, "D4", area_mm2=6.0), "D5", area_mm2=6.0)
    varied = Varied(weighed(BASE, after))
    read = {(a.circuit): (a.amps, b.amps) for a, b in varied.meters.in_step(day(), varied.take) if a.amps == 5.0}
    assert read["D4"][1] is not None
    assert read["D5"][1] is not None
    assert read["D4"][1] < 5.0 < read["D5"][1]  # of constant power, and a resistance


def test_the_meter_moves_with_its_circuits() -> None:
    """Though it stands before them in each moment; else a draw would come from nowhere."""
    varied = Varied(weighed(BASE, laid(BASE, "D4", area_mm2=6.0)))
    moments: dict[int, dict[str, float]] = {}
    for reading, other in varied.meters.in_step(day(), varied.take):
        moments.setdefault(reading.time_ms, {})[reading.circuit] = other.amps or 0.0
    for amps in moments.values():
        assert amps["SH"] == pytest.approx(amps["D3"] + amps["D4"] + amps["D5"], abs=1e-3)


def test_watts_stay_volts_times_amps() -> None:
    varied = Varied(weighed(BASE, laid(BASE, "D4", area_mm2=6.0)))
    for reading in day():
        other = varied.take(reading)
        assert other.volts is not None
        assert other.watts == pytest.approx(other.volts * (other.amps or 0.0), abs=0.002)


def test_a_thin_long_wire_browns_out_when_p_is_above_v2_over_4r() -> None:
    """100 W at 12.6 V: 2 x 60 m of 2.5 mm² (7.98 ohm per km) bring 41 W at 20 °C at the most."""
    found = dict(along(unvetted(BASE, laid(BASE, "D3", length_m=60.0)), day(hours=0.5)).judged)["D3"]
    assert len(found.brown_outs) == 1
    assert found.brown_out_s == pytest.approx(1800.0, abs=4.0)
    most_w = 12.6**2 / (4 * 0.12 * 7.98)
    assert most_w < found.brown_outs[0].watts
    short = dict(along(unvetted(BASE, laid(BASE, "D3", length_m=20.0)), day(hours=0.5)).judged)["D3"]
    assert not short.brown_outs  # … and 2 x 20 m bring 124 W


@given(
    amps=st.lists(st.floats(0.0, 12.0), min_size=3, max_size=12),
    sizes=st.lists(st.sampled_from([0.5, 0.75, 1.0, 1.5, 2.5, 4.0, 6.0, 10.0]), min_size=2, max_size=2, unique=True),
    length_m=st.floats(2.0, 40.0),
)
@settings(max_examples=40, deadline=None)
def test_a_thicker_conductor_never_makes_more_brown_outs(amps: list[float], sizes: list[float], length_m: float) -> None:
    """What was read did flow, so what is there brought it; of two others the thicker browns out for no longer."""
    thin, thick = sorted(sizes)
    before = laid(BASE, "D3", length_m=length_m, area_mm2=10.0)

    def seconds(area: float) -> float:
        varied = Varied(unvetted(before, laid(before, "D3", area_mm2=area)))
        for reading in plans.stream({"D3": lambda t: amps[int(t // 60) % len(amps)]}, 60.0 * len(amps), volts=12.6):
            varied.take(reading)
        return varied.ways["D3"].brown_out_s if "D3" in varied.ways else 0.0

    assert seconds(thick) <= seconds(thin)
    assert seconds(16.0) == 0.0


def test_quantities_that_come_by_themselves() -> None:
    """A monitor that publishes volts, amps and watts one after the other."""
    varied = Varied(weighed(BASE, laid(BASE, "D4", area_mm2=6.0)))
    whole = Varied(weighed(BASE, laid(BASE, "D4", area_mm2=6.0)))
    for r in day(hours=0.1):
        together = whole.take(r)
        varied.take(r._replace(amps=None, watts=None))
        amps = varied.take(r._replace(volts=None, watts=None))
        watts = varied.take(r._replace(volts=None, amps=None))
        assert amps.amps == together.amps
        assert watts.watts == pytest.approx(together.watts, abs=0.01)


def test_readings_that_the_listed_conductor_cannot_have_brought_are_left_and_counted() -> None:
    far = laid(BASE, "D3", length_m=400.0)
    found = dict(along(unvetted(far, laid(far, "D3", area_mm2=4.0)), day(hours=0.1)).judged)["D3"]
    assert found.unreckoned == 181
    assert any(
        "is not the one on the list" in s for s in along(unvetted(far, laid(far, "D3", area_mm2=4.0)), day()).sentences()
    )


@given(st.lists(st.floats(0.0, 0.3), min_size=1, max_size=200), st.floats(1.0, 100.0))
def test_a_percentile_of_what_was_lost(shares: list[float], percent: float) -> None:
    """Against the sorted list: the least share that so many of a hundred seconds did not exceed, to the width of a step."""
    losses = Losses()
    for share in shares:
        losses.take(share, 12.0, 1.0, 0)
    found = losses.percentile(percent)
    assert found is not None
    exact = sorted(shares)[max(0, ceil(len(shares) * percent / 100.0 - 1e-9) - 1)]
    assert abs(found - exact) <= FINEST + 1e-12


def behind(schedule: Schedule, way: str, **keys: object) -> Schedule:
    """The way behind a feeder with such a conductor."""
    feeder = Feeder(id="rear", supply="house", conductor=(Segment(insulation_c=105, ambient_c=30, **keys),))  # type: ignore[arg-type]
    circuits = tuple(replace(c, feeder="rear") if c.id == way else c for c in schedule.circuits)
    return replace(schedule, feeders=(feeder,), circuits=circuits)


def test_a_thicker_feeder_lifts_the_bar_behind_it() -> None:
    """2 x 5 m of 6 mm² at 5 A lose 0.165 V more than 16 mm² (0.060 V) at 20 °C: its bar stands higher by that."""
    before, after = behind(BASE, "D4", area_mm2=6.0, length_m=5.0), behind(BASE, "D4", area_mm2=16.0, length_m=5.0)
    variation = replace(unvetted(before, after), circuits=(), feeders=("rear",))
    varied = Varied(variation)
    lifted = [(a.volts, b.volts, b.amps) for a in day(hours=0.1) if (b := varied.take(a)).circuit == "D4" and a.amps == 5.0]
    was_v, is_v, amps = lifted[-1]
    assert was_v is not None
    assert is_v is not None
    assert amps is not None
    assert is_v - was_v == pytest.approx(5.0 * 10 * (3.30 - 1.21) / 1000.0, rel=0.1)
    assert amps < 5.0  # of constant power
    assert varied.feeders["rear"].old.losses.percentile(95) == pytest.approx(5.0 * 10 * 0.0033 / 12.8, rel=0.1)


def test_volts_that_are_measured_at_the_load() -> None:
    """They are the load's own: the bus stands higher by what the conductor loses, and the load then by what it loses less."""
    at_load = replace(plans.BUS, volts_at="load")
    before = replace(BASE, circuits=tuple(replace(c, sense=at_load) if c.id == "D4" else c for c in BASE.circuits))
    varied = Varied(weighed(before, laid(before, "D4", area_mm2=6.0)))
    for reading in day(hours=0.1):
        other = varied.take(reading)
        if reading.circuit == "D4" and reading.amps:
            judged = varied.ways["D4"]
            assert other.volts is not None
            assert other.amps is not None
            source_v = 12.6 + judged.old.laid.ohm * 5.0
            assert other.volts == pytest.approx(source_v - judged.new.laid.ohm * other.amps, abs=1e-3)
            assert other.volts * other.amps == pytest.approx(12.6 * 5.0, rel=1e-4)  # constant power


# Devices, by their set.


def test_openings_of_a_set() -> None:
    """Twice the rating for a minute opens every blade of type C (ISO 8820-3: 5 s at the most); 0.9 times for an hour none."""
    found = Openings(Protection(kind="blade-fuse", type="C", rating_a=10))
    for second in range(3600):
        found.take(second * 1000, 1.0, 20.0 if second < 60 else 1.0, None)
    found.end()
    (overload,) = found.found
    assert overload.share == 1.0
    assert 0.15 <= (overload.after_s(10) or 0.0) <= (overload.after_s(90) or inf) <= 6.0
    calm = Openings(Protection(kind="blade-fuse", type="C", rating_a=10))
    for second in range(3600):
        calm.take(second * 1000, 1.0, 9.0, None)
    calm.end()
    assert calm.found == []


def samples(*starts: tuple[float, float], most_a: float = 30.0, seen: int = 1, sampled: bool = True) -> Openings:
    """A reading every 5 s on a 10 A blade: so many of a start, then 5 A for a while."""
    found = Openings(Protection(kind="blade-fuse", type="C", rating_a=10), starts, 6.0, sampled=sampled)
    for n in range(720):
        found.take(n * 5000, 5.0, most_a if 10 <= n < 10 + seen else 5.0 if 10 < n < 100 else 0.0, None)
    found.end()
    return found


def test_a_start_lasts_no_longer_than_it_is_listed() -> None:
    """30 A for 0.2 s on 10 A, read once in 5 s: held for 5 s it would open every blade of type C, which opens none so soon."""
    start = samples((31.0, 0.2))
    assert all(each.share < 0.5 and not each.over for each in start.found)
    assert (start.started.count, start.alone.count, start.most_a) == (1, 0, 30.0)
    # A mean was held, whatever starts; so are two samples in a row but for the listed seconds of the first.
    assert samples((31.0, 0.2), sampled=False).found[0].share == 1.0
    assert samples((31.0, 0.2), seen=2).found[0].share == 1.0


def test_of_a_single_sample_that_is_no_start_nothing_is_reckoned() -> None:
    for found in (samples(), samples((20.0, 0.2))):
        assert not found.found
        assert (found.started.count, found.alone.count, found.alone.most_a) == (0, 1, 30.0)
        assert not found.stopped  # 5 A flowed after it, so it was not the fuse


def test_after_a_single_sample_nothing_flowed() -> None:
    """It may have been the fuse: of a bigger one nothing is said."""
    readings = plans.stream({"D4": lambda t: 60.0 if t == 600 else 4.0 if t < 600 else 0.0, "SH": 3.0}, 1200, volts=12.6)
    found = along(weighed(BASE, fitted(BASE, "D4", 20.0)), readings)
    assert found.compared.untold == ("D4",)


def test_what_flowed_and_the_highest_reading_do_not_gainsay_each_other() -> None:
    """A pump's start of 16.2 A on 10 A, in one reading of many."""
    pump = replace(
        PUMP,
        protection=Protection(kind="blade-fuse", type="C", rating_a=10),
        loads=(
            Load(kind="pump", levels=(Level(name="pumping", watts=62, tolerance=0.35, surge=Surge(times=3.5, seconds=0.4)),)),
        ),
    )
    base = plans.plan(plans.METER, LONG, pump)
    readings = list(
        plans.stream({"D4": lambda t: 16.2 if t == 600 else 4.8 if 600 < t < 700 else 0.0, "SH": 3.0}, 1200, period_s=10.0)
    )
    text = "\n".join(along(weighed(base, fitted(base, "D4", 7.5)), readings).sentences())
    said = "apart from starts, what flowed never reached the rating of its {} A fuse; the highest single reading was 16.2 A."
    assert f"Deck pump (D4), as it is: {said.format('10')}" in text
    assert "Deck pump (D4), as varied: 1 start above its 7.5 A fuse, of the listed length: it may open." in text
    assert "1 overload" not in text
    assert "the readings go on where a 7.5 A may have opened" in text
    unlisted = plans.plan(
        plans.METER, LONG, replace(pump, loads=(Load(kind="electronics", levels=(Level(name="on", watts=62),)),))
    )
    text = "\n".join(along(weighed(unlisted, fitted(unlisted, "D4", 7.5)), readings).sentences())
    assert "apart from single readings, what flowed never reached the rating of its 10 A fuse" in text
    assert "up to 16.2 A: one reading, its length can't be known." in text


@pytest.mark.parametrize("shift_ms", [0, 300])
def test_a_start_behind_a_feeder_is_no_overload_of_the_feeder(shift_ms: int) -> None:
    """A drill of 4 times its 20 A for 0.6 s behind 40 A, in one reading; its readings in step with the others or not."""
    drill = replace(
        plans.circuit("D12", "Core drill", "motor", feeder="rear"),
        loads=(Load(kind="motor", levels=(Level(name="on", watts=260, tolerance=0.4, surge=Surge(times=4.0, seconds=0.6)),)),),
        conductor=(Segment(area_mm2=10.0, length_m=5, insulation_c=105, bundled=1, ambient_c=30),),
        protection=Protection(kind="blade-fuse", type="E", rating_a=30),
    )
    rear = Feeder(
        id="rear", supply="house", protection=Protection(kind="bolt-fuse", rating_a=40),
        conductor=(Segment(area_mm2=16.0, length_m=1.5, insulation_c=105, bundled=1, ambient_c=40),),
    )  # fmt: skip
    base = replace(plans.plan(plans.METER, plans.LIGHTS, drill), feeders=(rear,))
    after = replace(base, feeders=(replace(rear, conductor=(replace(rear.conductor[0], area_mm2=25.0),)),))
    draws = {"D5": 6.0, "D12": lambda t: 80.0 if t == 600 else 20.0 if 600 < t < 700 else 0.0, "SH": 10.0}
    readings = [
        r._replace(time_ms=r.time_ms + shift_ms, received_ms=r.received_ms + shift_ms) if r.circuit == "D12" else r
        for r in plans.stream(draws, 1800, period_s=10.0)
    ]
    readings.sort(key=lambda r: r.received_ms)
    found = along(weighed(base, after), readings)
    feeder = dict(found.judged)["rear"].old.openings
    assert feeder is not None
    assert not feeder.found
    assert feeder.most_a == 86.0
    text = "\n".join(found.sentences())
    assert "Feeder rear, as it is: apart from starts, what flowed never reached the rating of its 40 A" in text
    assert "the highest single reading was 86 A" in text


def test_what_no_standard_tells_is_not_told() -> None:
    found = Openings(Protection(kind="electronic", rating_a=10))
    for second in range(60):
        found.take(second * 1000, 1.0, 20.0, None)
    found.end()
    assert found.found[0].after_s(50) is None
    assert not found.published


def overloaded() -> Iterator[Reading]:
    """28 A on 15 A until the fuse opens after half a minute; nothing after."""
    draws = {"D4": lambda t: 28.0 if 1800 <= t < 1830 else 0.0 if t >= 1830 else 4.0, "D3": 8.0}
    draws["SH"] = lambda t: draws["D4"](t) + 8.0
    return plans.stream(draws, 5400, volts=12.6)


def test_a_smaller_device_opens_in_the_set() -> None:
    found = along(weighed(BASE, fitted(BASE, "D4", 10.0)), overloaded())
    new = dict(found.judged)["D4"].new.openings
    assert new is not None
    assert new.found[0].share == 1.0


def test_a_bigger_device_is_never_said_to_have_held() -> None:
    """Where the scheduled one opened, what would have flowed on was never read."""
    found: Along = along(weighed(BASE, fitted(BASE, "D4", 20.0)), overloaded())
    text = "\n".join(found.sentences())
    assert found.compared.before.opened["D4"] == 1
    assert found.compared.untold == ("D4",)
    assert "As varied, without Deck pump (D4): no openings told" in text
    assert "The alarms of Deck pump (D4) are not compared, because the device opened as it is" in text
    assert found.compared.identical is None
    assert found.as_json()["alarms"]["identical"] is None
    assert found.compared.same == 0
    assert "of that nothing can be said" in text
    assert "held" not in text.replace("would have opened", "")
    assert not found.compared.only_before
    assert "Deck pump (D4), as varied:" not in text
    after = found.as_json()["ways"]["D4"]["after"]
    assert (after["device_a"], after["overloads"]) == (20, None)


def test_nor_where_the_scheduled_one_may_have_opened() -> None:
    """The watch did not name it, but some of the set would have: what was read may be what it let through."""
    readings = plans.stream({"D4": lambda t: 17.0 if 600 <= t < 900 else 0.0, "SH": 3.0}, 1200, volts=12.6)
    found = along(weighed(BASE, fitted(BASE, "D4", 20.0)), readings)
    text = "\n".join(found.sentences())
    assert found.compared.before.opened["D4"] == 0
    assert found.compared.untold == ("D4",)
    assert "The 15 A may have opened then." in text
    # Not a transition differs, and yet the same is said only of what was compared.
    assert "As varied: the same" not in text
    assert "of what is compared the same, to the letter and the millisecond" in text
    assert "The alarms of Deck pump (D4) are not compared, because" in text
    assert found.as_json()["alarms"]["identical"] is None
    assert "none of the set" not in text


def test_a_smaller_device_is_not_called_a_wrong_one() -> None:
    """What flowed past 15 A proves nothing of the 10 A that would have been there."""
    readings = list(plans.stream({"D4": lambda t: 14.5 if 600 <= t < 3600 else 0.0, "SH": 3.0}, 4000, volts=12.6))
    found = along(weighed(BASE, fitted(BASE, "D4", 10.0)), readings)
    assert not any(m.kind == "protection-doubtful" for m in found.compared.only_after)
    text = "\n".join(found.sentences())
    assert "the readings go on where a 10 A would have opened" in text


def test_behind_a_bigger_feeder_device_nothing_is_compared_where_it_may_have_opened() -> None:
    """50 A through a 40 A feeder for ten minutes, and another circuit of the supply that is compared all the same."""
    lights = replace(plans.LIGHTS, protection=Protection(kind="bolt-fuse", rating_a=60))
    rear = Feeder(
        id="rear", supply="house", protection=Protection(kind="blade-fuse", type="E", rating_a=40),
        conductor=(Segment(area_mm2=25.0, length_m=1.5, insulation_c=105, bundled=1, ambient_c=30),),
    )  # fmt: skip
    base = replace(plans.plan(plans.METER, LONG, lights), feeders=(rear,))
    bigger = replace(rear, protection=Protection(kind="blade-fuse", type="E", rating_a=60))
    variation = Variation(
        before=base, after=replace(base, feeders=(bigger,)), changes=("x",), circuits=(), feeders=("rear",), supplies=(),
        licensed=(), warned=(),
    )  # fmt: skip
    readings = plans.stream({"D5": lambda t: 50.0 if 600 <= t < 1200 else 6.0, "D3": 8.0, "SH": 58.0}, 1800, period_s=5.0)
    found = along(variation, readings)
    assert found.compared.untold == ("rear", "D5")
    assert "The alarms of feeder rear, Mast lights (D5) are not compared" in "\n".join(found.sentences())


def test_a_charger_s_current_is_taken_as_it_was() -> None:
    sun = replace(plans.circuit("D13", "Solar charger"), role="charger", loads=(), feed=None)
    base = plans.plan(plans.METER, sun)
    readings = plans.stream({"D13": -10.0, "SH": -10.0}, 600, volts=13.0)
    found = along(weighed(base, laid(base, "D13", area_mm2=6.0)), readings)
    assert found.compared.identical
    lowest = dict(found.judged)["D13"].new.losses.lowest_v
    assert lowest is not None
    assert lowest > 13.0  # it pushes: its own end stands higher
    assert "a charger's current is taken as it was" in "\n".join(found.sentences())


def test_it_says_that_it_is_arithmetic() -> None:
    said = list(along(weighed(BASE, laid(BASE, "D4", area_mm2=6.0)), day()).sentences())
    assert said[-1].startswith("This is arithmetic on what was read")
    assert "local code and licensed practice win" in said[-1]
