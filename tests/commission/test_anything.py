"""Whatever is read and typed, in whatever order: no crash, no half state, and it can be put down and taken up."""

from __future__ import annotations

import json
from random import Random

import pytest
from benches import DETECTOR, FAN, LIGHT, PUMP, START_MS, TWIN, WAY, Bench

from panelward import sealed
from panelward.commission import Session
from panelward.records import Presence, Reading

ANSWERS = (
    "", "", "", "yes", "no", "covered", "done", "don't know", "15", "-3.2", "20 A", "skip", "skip, because no", "was D1",
    "redo D2", "skip D3, because it is off", "Deck lights", "D4", "purple", "started", "nan", "not by us", "redo",
    "was", "?", "0", "1e9",
)  # fmt: skip
SOCKET = WAY % ("D5", "Bench sockets", "socket", "")


@pytest.mark.parametrize("seed", range(40))
def test_anything(seed: int) -> None:
    chance = Random(seed)
    bench = Bench(PUMP, LIGHT, FAN, TWIN, DETECTOR, SOCKET, lap=False)
    session, now_ms = bench.session, START_MS
    draws = dict.fromkeys(bench.amps, 0.0)
    volts = 13.0
    for n in range(700):
        now_ms += chance.choice((200, 2000, 2000, 2000, 2000, 60_000 if chance.random() < 0.03 else 2000))
        if chance.random() < 0.08:
            way = chance.choice(list(draws))
            draws[way] = chance.choice((0.0, 0.0, 4.6, 6.4, 2.7, 0.9, 0.7, -3.0, 0.1, 20.0, 1e5))
        if chance.random() < 0.02:
            volts = chance.choice((0.0, 11.0, 12.8, 14.4, 13.0, -1.0))
        for name, amps in (("SH", sum(draws.values())), *draws.items()):
            noisy = round(amps + chance.gauss(0.0, chance.choice((0.005, 0.05, 1.0 if n % 97 < 12 else 0.01))), 2)
            time_ms = now_ms - chance.choice((0, 0, 0, 0, 5000))
            shape = chance.random()
            reading = (
                Reading(name, time_ms, now_ms, None, noisy) if shape < 0.1
                else Reading(name, time_ms, now_ms, volts) if shape < 0.15
                else Reading(name, time_ms, now_ms, None, None, noisy * 13) if shape < 0.2
                else Reading(name, time_ms, now_ms, closed=True) if shape < 0.25
                else Reading(name, time_ms, now_ms, volts, noisy, origin="retained") if shape < 0.27
                else Reading("T1", time_ms, now_ms, celsius=20.0) if shape < 0.29
                else Reading(name, time_ms, now_ms, volts, noisy, noisy * volts)
            )  # fmt: skip
            session.reading(reading)
        if chance.random() < 0.01:
            session.presence(Presence(received_ms=now_ms, subject="monitor", name="dc", here=False))
        if chance.random() < 0.25 and session.prompt is not None:
            session.answer(chance.choice(ANSWERS))
        if session.made is not None:
            made = session.made
            session.made = None
            assert sealed.read(sealed.render(sealed.append((), made)), "x")[0].circuits == made.circuits
        if chance.random() < 0.02:
            kept = json.loads(json.dumps(session.save(), allow_nan=False))
            session = Session.restore(kept, bench.schedule, bench.text, now_ms, "kept.json")
        if session.over:
            break
    session.summary()
