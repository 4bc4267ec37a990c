"""What makes draws creep together, or seem to: air that nobody measures, a monitor's gain, people's taps, a summer, a
publisher that speaks on change. Each beside the wear that it hides. Streams are invented; the air is that of `test_drift`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from heapq import merge
from random import Random

import pytest

from panelward.records import (
    Circuit,
    Commissioned,
    Level,
    Measured,
    Output,
    Probe,
    Reading,
    Record,
    Schedule,
    Sense,
    Transition,
)
from panelward.wording import alarm_object
from plans import METER, PLAN, T0, circuit
from watch.test_drift import DAY_MS, FAN, live, measured, told, warm

Share = Callable[[int], float]
LOADS = {
    "D8": FAN,
    "D4": circuit("D4", "Tank heater", "heater-element", behaves="constant-impedance", levels=(Level(name="on", watts=60),)),
    "D5": circuit("D5", "Cabin lights", "light", levels=(Level(name="on", watts=20),)),
    "D6": circuit("D6", "Data logger", "electronics", levels=(Level(name="on", watts=15),)),
    "D7": circuit("D7", "Water pump", "pump", behaves="constant-current", levels=(Level(name="wet", watts=60),)),
    "D1": circuit("D1", "Freezer", "compressor", levels=(Level(name="compressor", watts=50),)),
}


def kept(*names: str) -> Record:
    """Measured at 20 degrees; a fan at its upper speed."""
    ways = []
    for name in names:
        level = LOADS[name].loads[0].levels[-1]
        assert level.watts is not None
        exponent = {"D8": 2.5, "D4": 2.0, "D7": 1.0}.get(name, 0.0)
        ways.append(Commissioned(circuit=name, exponent=exponent, levels=(measured(level.name, level.watts),)))
    return Record(
        vehicle="survey-van", version=1, made_ms=T0, who="Kari", instrument="clamp", ambient_c=20.0, circuits=tuple(ways)
    )


def plan(*names: str, probe: str | None = None, circuits: tuple[Circuit, ...] = ()) -> Schedule:
    probes = (Probe(id="T2", where=probe, monitor="dc"),) if probe else ()
    return replace(PLAN, circuits=(METER, *(circuits or [LOADS[name] for name in names])), feeders=(), probes=probes)


def rows(name: str, share: Share, count: int, *, seed: int = 1, sd: float = 0.01, within: float = 0.0) -> Iterator[Reading]:
    """Forty readings a day at `share` of its record; `within` a day they differ by so much."""
    rng = Random(f"{seed} {name}")
    watts = LOADS[name].loads[0].levels[-1].watts
    assert watts is not None
    for day in range(count):
        odd = 1.0 + rng.gauss(0.0, sd)
        for n in range(40):
            at_ms = T0 + day * DAY_MS + n * 30_000
            amps = watts * share(day) * (odd + rng.gauss(0.0, within)) / 12.8
            yield Reading(circuit=name, time_ms=at_ms, received_ms=at_ms, volts=12.8, amps=round(amps, 2))


def probe(celsius: Share, count: int) -> Iterator[Reading]:
    for n in range(count * 48):
        at_ms = T0 + n * DAY_MS // 48
        yield Reading(circuit="T2", time_ms=at_ms, received_ms=at_ms, celsius=celsius(n // 48))


def both(*streams: Iterator[Reading]) -> list[Reading]:
    return list(merge(*streams, key=lambda row: row.received_ms))


def begun(out: list[Output]) -> list[tuple[str, str | None]]:
    return [(t.subject_id, t.cause) for t in told(out) if t.event == "begins"]


def thick(celsius: float) -> float:
    return warm(celsius) / warm(20.0)


# --- a fan whose air nobody measures


def test_a_fan_without_a_probe_that_wears_is_told_by_its_even_rise() -> None:
    """+20 % in 30 days; by +15 % as with a probe."""
    out = live(rows("D8", lambda day: 1.0 + 0.2 * day / 30, 24), schedule=plan("D8"), kept=kept("D8"))
    assert begun(out) == [("D8", "needs-more")]


@pytest.mark.parametrize(
    "celsius",
    [
        lambda day: 20.0 if day < 9 else -8.0,
        lambda day: 20.0 - 28.0 * min(1.0, max(0.0, (day - 9) / 3)),
        lambda day: 24.0 - 25.0 * min(1.0, day / 60),
        lambda day: -18.0,
        lambda day: 20.0 - 25.0 * min(1.0, day / 14),
    ],
    ids=["a front at once", "a front of three days", "autumn", "always in the far north", "two weeks' drive to the north"],
)
def test_cold_that_no_probe_tells_is_no_wear(celsius: Share) -> None:
    out = live(rows("D8", lambda day: thick(celsius(day)), 60), schedule=plan("D8"), kept=kept("D8"))
    assert begun(out) == []


@pytest.mark.parametrize("heated", [True, False])
@pytest.mark.parametrize("outside_c", [-15.0, 2.0, 30.0])
def test_air_between_outside_and_a_heated_room_is_no_wear(outside_c: float, heated: bool) -> None:
    air_c = max(outside_c, 21.0) if heated else outside_c
    out = live(
        both(probe(lambda _: outside_c, 40), rows("D8", lambda _: thick(air_c), 40)),
        schedule=plan("D8", probe="outside"),
        kept=kept("D8"),
    )
    assert begun(out) == []


# --- what all circuits of a monitor do


@pytest.mark.parametrize("whole", [0.07, -0.07])
def test_a_gain_that_ages_is_no_load_s_wear(whole: float) -> None:
    names = ("D4", "D5", "D6", "D7")

    def ages(day: int) -> float:
        return 1.0 + whole * min(1.0, day / 25)

    together = both(*(rows(name, ages, 50) for name in names))
    assert begun(live(together, schedule=plan(*names), kept=kept(*names))) == []
    alone = live(rows("D4", ages, 50), schedule=plan("D4"), kept=kept("D4"))
    assert [subject for subject, _ in begun(alone)] == ["D4"]  # nothing tells it from wear there


def test_one_that_wears_among_others_is_told() -> None:
    names = ("D4", "D5", "D6", "D8")
    streams = [rows("D4", lambda day: 1.0 + 0.2 * day / 30, 24), *(rows(name, lambda _: 1.0, 24) for name in names[1:])]
    assert begun(live(both(*streams), schedule=plan(*names), kept=kept(*names))) == [("D4", "needs-more")]


# --- people's taps, a summer


@pytest.mark.parametrize("then", [0.88, 1.12])
def test_people_who_tap_otherwise_wear_no_pump(then: float) -> None:
    out = live(rows("D7", lambda day: 1.0 if day < 10 else then, 40, within=0.07), schedule=plan("D7"), kept=kept("D7"))
    assert begun(out) == []


def test_a_pump_that_clogs_evenly_is_told() -> None:
    out = live(rows("D7", lambda day: 1.0 + 0.25 * day / 30, 30, within=0.07), schedule=plan("D7"), kept=kept("D7"))
    assert begun(out) == [("D7", "needs-more")]


def test_a_summer_wears_no_compressor() -> None:
    """Its watts go with the warmth, by 0.6 to 1.1 % a kelvin (from memory)."""
    for per_k in (0.006, 0.011):
        stream = both(
            probe(lambda day: 15.0 + 0.4 * day, 45),
            rows("D1", lambda day: 1.0 + per_k * (0.4 * day - 5.0), 45),  # noqa: B023
        )
        assert begun(live(stream, schedule=plan("D1", probe="outside"), kept=kept("D1"))) == []


def test_a_compressor_that_wears_is_told_where_it_is_known_how_warm_it_is() -> None:
    def worn(day: int) -> float:
        return 1.0 + 0.2 * day / 30

    for where, celsius in (("outside", 22.0), ("panel", 28.0)):
        stream = both(probe(lambda _: celsius, 30), rows("D1", worn, 30))  # noqa: B023
        assert begun(live(stream, schedule=plan("D1", probe=where), kept=kept("D1"))) == [("D1", "needs-more")]
    assert begun(live(rows("D1", worn, 24), schedule=plan("D1"), kept=kept("D1"))) == []  # it may be summer


# --- a publisher on change


def on_change(share: Share, count: int) -> Iterator[Reading]:
    """A lamp's evenings: said when it is lit, and when it is dark again two hours later."""
    for day in range(count):
        for hour, amps in ((19, 20 * share(day) / 12.8), (21, 0.0)):
            at_ms = T0 + day * DAY_MS + hour * 3_600_000
            yield Reading(circuit="D5", time_ms=at_ms, received_ms=at_ms, volts=12.8, amps=round(amps, 2))


def test_what_is_published_on_change_stands_until_the_next_word() -> None:
    light = replace(LOADS["D5"], sense=Sense(resolution_a=0.01, publishes="on-change"))
    schedule = plan(circuits=(light,))
    assert begun(live(on_change(lambda day: 1.0 - 0.2 * day / 30, 24), schedule=schedule, kept=kept("D5"))) == [
        ("D5", "needs-less")
    ]
    assert begun(live(on_change(lambda _: 1.0, 40), schedule=schedule, kept=kept("D5"))) == []


@pytest.mark.parametrize("seam", [21, 22, 30, 31])
def test_saving_while_it_stands_changes_nothing(seam: int) -> None:
    schedule = plan(circuits=(replace(LOADS["D5"], sense=Sense(resolution_a=0.01, publishes="on-change")),))
    stream = list(on_change(lambda day: 1.0 - 0.2 * day / 30, 24))
    whole = live(stream, schedule=schedule, kept=kept("D5"))
    assert live(stream, schedule=schedule, kept=kept("D5"), seam=seam) == whole
    assert begun(whole)


# --- the forecast


def test_the_weeks_that_it_foretells_are_those_that_it_takes() -> None:
    """+20 % in 30 days is +30 % in 45; told on the day it is told, the rest in weeks."""
    schedule = plan("D4")
    (found,) = told(live(rows("D4", lambda day: 1.0 + 0.2 * day / 30, 24, sd=0.004), schedule=schedule, kept=kept("D4")))
    assert isinstance(found, Transition)
    left = 45.0 - (found.at_ms - T0) / DAY_MS
    weeks = dict(found.figures)["weeks"]
    assert isinstance(weeks, int)
    assert weeks == pytest.approx(left / 7.0, abs=1.0)
    assert f"+30 % in about {weeks} weeks" in alarm_object(found, schedule)["message"]


def test_a_provisional_level_is_judged_by_nobody() -> None:
    record = kept("D4")
    unsure = Measured(name="on", watts=60, low_w=40, high_w=80, sd_w=10, readings=4, provisional=True)
    record = replace(record, circuits=(replace(record.circuits[0], levels=(unsure,)),))
    assert begun(live(rows("D4", lambda day: 1.0 + 0.01 * day, 30), schedule=plan("D4"), kept=record)) == []
