"""The rig's van handed over: twelve ways with swapped labels and a wrong fuse planted, at most 30 taps and 40 minutes."""

from __future__ import annotations

from dataclasses import replace

import pytest
from fitters import START_MS, USUAL, VAN, Fitter, van_schedule

from panelward import sealed
from panelward.commission import Session
from panelward.records import Record
from panelward.rig import Life, Van

MOST_TAPS, MOST_NUMBERS, MOST_MINUTES = 30, 14, 40.0  # what an installer puts up with: common practice, no source


def handed_over(*, seed: int, swap: bool, wrong_fuse: bool, overnight: bool = False) -> tuple[Fitter, Van]:
    schedule, text = van_schedule()
    van = Van(str(VAN), seed, START_MS)
    life = Life(van)
    life.commissioning()
    if swap:
        van.mix_up("D4", "D5")
    session = Session(schedule, text, START_MS)
    fuse = ((r"^D5 Mast lights: 10 A", "20"), (r"20 A found", "")) if wrong_fuse else ()
    swapped = ((r"^D4 Water pump rose", "Mast lights"), (r"^D5 Mast lights rose", "pump"))
    usual = tuple((p, "yes" if overnight else "no") if p == "Keep measuring" else (p, t) for p, t in USUAL)
    fitter = Fitter(life, session, (*fuse, *swapped, (r"rose by", ""), (r"One lap", "done"), *usual))
    fitter.clamp = True

    def at(minutes: float) -> object:
        return lambda v: v.now_ms >= START_MS + round(minutes * 60_000)

    fitter.wait_for = [
        (r"isolated now", at(0.5)), (r"Cover on", at(4.1)), (r"Start now", at(5.1)), (r"clamp round", at(6.7)),
        (r"switch one steady", at(7.5)), (r"One lap", at(17.9)), (r"never at the panel", at(18.1)),
    ]  # fmt: skip
    fitter.live(40)
    return fitter, van


@pytest.mark.parametrize("seed", range(1, 6))
def test_swapped_labels_and_a_wrong_fuse_are_both_found_within_what_a_person_puts_up_with(seed: int) -> None:
    fitter, van = handed_over(seed=seed, swap=True, wrong_fuse=True)
    assert fitter.session.over
    (made,) = fitter.made
    assert made.differs[:2] == (
        "The labels of D4 and D5 are swapped: Water pump is on D5, Mast lights on D4.",
        "D5 Mast lights: 20 A was found where 10 A is scheduled (too large); 10 A is left in it.",
    )
    assert any(line.startswith("Labels swapped: Water pump is on D5 and Mast lights on D4") for line in fitter.said)
    assert fitter.taps() <= MOST_TAPS
    assert fitter.session.state.numbers <= MOST_NUMBERS
    assert (van.now_ms - START_MS) / 60_000 <= MOST_MINUTES
    _measured(made, van)
    _checked(made, van, fitter.session.state.reference)


def _checked(made: Record, van: Van, reference: str) -> None:
    """Gains and zeros against the rig's own: what a channel was made to be wrong by."""
    gains = {way.seen_on or way.circuit: way.gain for way in made.circuits if way.gain is not None}
    assert reference in gains
    assert len(gains) >= 3
    for channel, gain in gains.items():
        assert gain == pytest.approx(van.channels[channel]._gain, abs=0.016 if channel == reference else 0.025), channel
    for way in made.circuits:
        if way.zero_a is not None:
            assert way.zero_a == pytest.approx(van.channels[way.seen_on or way.circuit]._zero_a, abs=0.003)
    assert sum(way.zero_a is not None for way in made.circuits) == 13
    for way_id, watts in (("D1", 1.6), ("D3", 0.5)):
        way = made.circuit(way_id)
        assert way is not None
        assert way.standby is not None
        assert way.standby.watts == pytest.approx(watts, abs=0.1)
        assert way.standby.low_w < watts < way.standby.high_w


def _measured(made: Record, van: Van) -> None:
    """The record against the rig's own physics, at 12.8 V, within a channel's gain (1 %) and zero (5 mA)."""
    truth = {
        ("D1", "compressor"): 52.0 * (1 + 0.008 * (van.world.inside_c - 20)) + 1.6, ("D2", "idle"): 24.0, ("D2", "busy"): 45.0,
        ("D5", "on"): 84.0, ("D6", "watching"): 1.32, ("D9", "idle"): 21.0, ("D11", "running"): 6.0, ("D12", "drilling"): 260.0,
    }  # fmt: skip
    for (way_id, name), watts in truth.items():
        way = made.circuit(way_id)
        assert way is not None
        found = {one.name: one for one in way.levels}
        if name == "busy" and name not in found:
            continue  # it was not busy for long enough
        assert found[name].watts == pytest.approx(watts, rel=0.02, abs=0.08), (way_id, name)
    fan = made.circuit("D8")
    assert fan is not None
    at_nominal = [2 + 33 * speed**3 * (12.8 / 13.5) ** 2.5 for speed in (0.596, 0.665, 1.0)]
    assert [one.name for one in fan.levels] == ["half", "middle", "full"]
    for one, watts in zip(fan.levels, at_nominal, strict=True):
        assert one.watts == pytest.approx(watts, rel=0.06)  # its electronics' 2 W do not go with the volts
    heater = made.circuit("D3")
    assert heater is not None
    stages = {one.name: one for one in heater.levels}
    assert stages["glow"].lasted_s == pytest.approx(90, abs=6)  # the rig glows 90 s and runs down 180 s
    assert stages["run-down"].lasted_s == pytest.approx(180, abs=6) if "run-down" in stages else True
    (monitor,) = made.monitors
    assert (monitor.period_s, monitor.reports, monitor.resolution_a) == (2.0, "sample", pytest.approx(0.01))


def test_the_twin_with_nothing_planted_has_neither() -> None:
    fitter, _ = handed_over(seed=2, swap=False, wrong_fuse=False)
    (made,) = fitter.made
    assert not [text for text in made.differs if "label" in text or "found where" in text]
    assert all(way.seen_on is None for way in made.circuits)
    assert [way.circuit for way in made.circuits if way.as_found_a is None] == []


def test_nothing_that_must_stay_on_is_asked_to_be_switched_off() -> None:
    fitter, _ = handed_over(seed=3, swap=True, wrong_fuse=False)
    for text in (*fitter.asked, *fitter.said):
        for label in ("Gas detector", "Onboard computer", "Satellite terminal"):
            assert f"Switch {label}" not in text
            assert f"{label} off" not in text
    warned = next(text for text in fitter.asked if "What will move, heat or pump" in text)
    for label in ("Roof fan", "Water pump", "Sump pump", "Core drill", "Air heater"):
        assert label in warned
    assert fitter.asked.index(warned) < next(i for i, text in enumerate(fitter.asked) if "Start now" in text)
    heater = next(text for text in fitter.asked if "run-down" in text or "cool down" in text)
    assert "never at the panel" in heater


def test_what_cycles_is_measured_on_for_a_day_with_nobody_there() -> None:
    schedule, text = van_schedule()
    van = Van(str(VAN), 4, START_MS)
    life = Life(van)
    session = Session(schedule, text, START_MS)
    fitter = Fitter(life, session, ((r"isolated now", "no"), (r"clamp round", "don't know"), (r"One lap", "done"),
                                    (r"Keep measuring", ""), *USUAL))  # fmt: skip
    fitter.period_ms = 10_000  # the rig's ways read every 10 s: a night is long
    fitter.live(20)
    assert session.unattended
    assert len(fitter.made) == 1
    taps = fitter.taps()
    fitter.live(25 * 60)
    assert session.over
    assert fitter.taps() == taps
    first, second = fitter.made
    before, after = first.circuit("D1"), second.circuit("D1")
    assert before is not None
    assert after is not None
    assert (before.runs or 0) < 5
    assert (after.runs or 0) >= 20 or van.now_ms - START_MS >= 24 * 3_600_000
    assert after.run_s is not None
    assert after.idle_s is not None
    assert any("with nobody there" in text for text in second.remarks)
    versions = sealed.append(sealed.append((), first), second)
    assert [one.version for one in versions] == [1, 2]
    assert replace(versions[0], seal="", version=0) == first
