"""The rig's physics against published figures; its faults against their truth; its seed against itself."""

from __future__ import annotations

import json
import tomllib
from math import inf
from pathlib import Path
from random import Random

import pytest

from panelward.errors import ScheduleError
from panelward.rig import FAULTS, Life, Row, Van, write
from panelward.rig.fuse import Breaker, Link, fitted
from panelward.rig.loads import Fan, fan_power_share

SCHEDULE = str(Path(__file__).parents[2] / "config" / "survey-van.toml")
PUBLISHED = tomllib.loads((Path(__file__).parent.parent / "reference" / "devices.toml").read_text())
MORNING = 1_777_896_000_000  # 2026-05-04T12:00Z


def test_the_roof_fan_draws_what_such_fans_draw() -> None:
    """Common practice, no source: about 35 W (2.6 A, so the bus stood near 13.5 V) at full, nearly a third of that at the
    70 % setting, about 9 W at half. Within 10 %.
    """
    fan = Fan()
    drawn = {}
    for setting in fan.SPEED:
        fan.setting = setting
        drawn[setting] = fan.draws(13.5)
    assert drawn["full"] == pytest.approx(35.0, rel=0.1)
    assert drawn["full"] / 13.5 == pytest.approx(2.6, rel=0.1)
    assert drawn["70 %"] == pytest.approx(35.0 / 3, rel=0.1)
    assert drawn["half"] == pytest.approx(9.0, rel=0.1)


def test_the_settings_percentage_is_not_the_speed() -> None:
    """A cube law in the setting itself can't fit these figures: 0.7^3 and 0.5^3 of 35 W are 12.0 W and 4.4 W."""
    assert Fan.SPEED["half"] != 0.5
    assert fan_power_share(0.5) * 35 < 0.9 * 9


@pytest.mark.parametrize(
    ("before", "after", "power", "result"),
    [(1200, 1500, 5.0, 9.77), (1.0, 0.9, 50.0, 36.45), (1.0, 0.5, 1.0, 0.125), (1.0, 1.2, 1.0, 1.728)],
)
def test_the_affinity_law_by_published_examples(before: float, after: float, power: float, result: float) -> None:
    """theprimecalculator.com (1200 to 1500 rpm, 5 hp: 9.77 hp); reducingenergy.blogspot.com 2008-08 (90 %: 36.45 of 50 hp);
    pe-calc.com (half speed, one eighth; + 20 % speed, x 1.728).
    """
    assert power * fan_power_share(after / before) == pytest.approx(result, rel=1e-3)


def opens_after_s(link: Link, multiple: float) -> float:
    step_s = 0.002 if multiple > 1.5 else 0.02
    seconds = 0.0
    while seconds < 4000:
        seconds += step_s
        if link.step(multiple * link.rating_a, step_s):
            return seconds
        if seconds > 5:
            step_s = 0.5
    return inf


@pytest.mark.parametrize("seed", range(12))
def test_a_fuse_of_the_rig_melts_inside_the_gates_of_type_c(seed: int) -> None:
    for multiple, min_s, max_s in PUBLISHED["gates"]["blade-fuse-C"]["rows"][1:]:
        seconds = opens_after_s(fitted("blade-fuse", "C", 15.0, Random(seed)), multiple)
        assert min_s <= seconds <= max_s, multiple
    assert opens_after_s(fitted("blade-fuse", "C", 15.0, Random(seed)), 1.0) == inf


def test_a_breaker_of_the_rig_keeps_to_iec_60898_1() -> None:
    for seed in range(8):
        assert opens_after_s(Breaker(10.0, Random(seed)), 1.13) == inf
        assert 1 < opens_after_s(Breaker(10.0, Random(seed)), 2.55) < 60
        assert opens_after_s(Breaker(10.0, Random(seed)), 5.0) < 0.1


def van(seed: int = 1, start_ms: int = MORNING) -> Life:
    life = Life(Van(SCHEDULE, seed, start_ms))
    life.people(2, seed)
    return life


def test_energy_out_of_the_bank_is_what_the_branches_took() -> None:
    life = van()
    life.van.no_sun = True
    life.step_to(MORNING + 6 * 3_600_000)
    bank = life.van.bank
    assert bank.out_ah == pytest.approx((0.8 - bank.charge) * bank.capacity_ah, rel=1e-6)
    assert life.van.branch_wh == pytest.approx(bank.out_ah * 13.1, rel=0.03)


def test_the_freezer_keeps_its_cold_by_cycling() -> None:
    """Its duty lies in the schedule's own band, 0.15 to 0.65."""
    life = van()
    runs = starts = 0
    was = False
    for n in range(12 * 720):
        life.step_to(MORNING + n * 5000)
        runs += life.van.freezer.on
        starts += life.van.freezer.on and not was
        was = life.van.freezer.on
    assert 0.15 < runs / (12 * 720) < 0.65
    assert 4 <= starts <= 60
    assert life.van.freezer.samples_c < -15.0


def test_same_seed_same_bytes_and_another_seed_others(tmp_path: Path) -> None:
    texts = []
    for name, seed in (("a", 4), ("b", 4), ("c", 5)):
        path = tmp_path / f"{name}.csv"
        write(van(seed), str(path), hours=0.5, period_s=2, seed=seed)
        texts.append(path.read_text())
    assert texts[0] == texts[1] != texts[2]
    assert texts[0].startswith("time,circuit,volts,amps,watts,closed")


def after(name: str, seconds: float = 60.0, lead_s: float = 600.0) -> tuple[dict[str, Row], Life]:
    """The rows some time after a fault."""
    life = van()
    life.befall(f"{name}+{lead_s:g}")
    life.step_to(MORNING + round((lead_s + seconds) * 1000))
    return {row.circuit: row for row in life.van.sample()}, life


def test_each_fault_is_what_its_truth_says() -> None:
    for name in ("freezer-feed-lost", "detector-feed-lost", "freezer-switched-off", "pump-short"):
        rows, life = after(name)
        row = rows[life.truth[-1].circuit]
        assert row.amps is not None
        assert abs(row.amps) < 0.03, name
        assert rows["SH"].volts is not None
        assert rows["SH"].volts > 12, name
    assert after("freezer-switched-off")[0]["D1"].closed is False
    rows, _ = after("supply-lost")
    assert {row.volts for row in rows.values() if row.volts is not None} == {0.0}
    rows, _ = after("rear-feeder-lost")
    assert all(abs(rows[way].amps or 0) < 0.03 for way in ("D5", "D7", "D8", "D12"))
    assert after("monitor-silent")[0] == {}
    assert (after("bench-overload")[0]["D7"].amps or 0) > 17
    _, life = after("drill-stall", 120)
    assert [way for _, way in life.van.opened] == ["D12"]


def test_a_fault_that_is_none_is_refused_with_the_list() -> None:
    with pytest.raises(ScheduleError, match="bench-overload"):
        van().befall("meteor")


def test_the_truth_stands_beside_the_file(tmp_path: Path) -> None:
    life = van()
    life.befall("freezer-feed-lost+60")
    write(life, str(tmp_path / "x.csv"), hours=0.1, period_s=2, seed=1)
    truth = json.loads((tmp_path / "x.truth.json").read_text())
    assert truth["faults"][0]["fault"] == "freezer-feed-lost"
    assert truth["faults"][0]["begins"] == MORNING / 1000 + 60
    assert {f[1] for f in FAULTS.values()} > {None}
