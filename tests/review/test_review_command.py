"""`panelward review` as a person asks for it: files in, figures out, and what is wrong with them said."""

from __future__ import annotations

import json
from contextlib import closing
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from panelward import sealed
from panelward.commands import main
from panelward.intake import write_table
from panelward.journal import Journal
from panelward.records import Clock, Commissioned, Measured, Reading, Record, Settings
from panelward.review.plain import plain
from panelward.review.report import Report
from panelward.review.table import Table
from panelward.review.whole import Asked, Beside, review
from panelward.schedule import load
from plans import T0

VAN = Path(__file__).parents[2] / "config" / "survey-van.toml"
HOUR_MS = 3_600_000
DAY_MS = 24 * HOUR_MS


def days(count: float, *, seed: int = 1, period_ms: int = 30_000, freezer_w: float = 52.0, from_ms: int = T0) -> list[Reading]:
    """A freezer that cycles, lights in the evening, sun by day, and the bank's meter over them all. Invented."""
    chance = np.random.default_rng(seed)
    out = []
    for n in range(round(count * DAY_MS / period_ms)):
        at = from_ms + n * period_ms
        hour = (at // HOUR_MS) % 24
        volts = round(13.1 + float(chance.normal(0, 0.01)), 2)
        on = (at // 60_000) % 40 < 14
        watts = {
            "D1": freezer_w if on else 1.6,
            "D5": 84.0 if 18 <= hour < 21 else 0.0,
            "D13": -90.0 if 8 <= hour < 15 else 0.0,
        }
        amps = {way: round(w / volts * (1 + float(chance.normal(0, 0.01))), 2) for way, w in watts.items()}
        for way, a in amps.items():
            out.append(Reading(way, at, at, volts=volts, amps=a, watts=round(volts * a, 1)))
        total = sum(amps.values()) + 0.3
        out.append(Reading("SH", at, at, volts=volts, amps=round(total, 2), watts=round(volts * total, 1)))
    return out


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's schedule, read every 30 s."""
    path = tmp_path_factory.mktemp("plan") / "s.toml"
    path.write_text(VAN.read_text().replace("expect_every_s = 2", "expect_every_s = 30"))
    return path


def csv(path: Path, readings: list[Reading]) -> Path:
    with path.open("w") as out:
        write_table(readings, out)
    return path


def asked(capsys: pytest.CaptureFixture[str], *words: object) -> dict[str, Any]:
    assert main(["review", *map(str, words), "--json"]) == 0
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    return found


@pytest.fixture(scope="module")
def week(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return csv(tmp_path_factory.mktemp("week") / "week.csv", days(7))


@pytest.fixture(scope="module")
def told(plan: Path, week: Path) -> dict[str, Any]:
    return plain(report_of(plan, week))


def report_of(plan: Path, readings: Path, **keys: Any) -> Report:
    schedule, _ = load(plan)
    return review(Table(readings, schedule), schedule, Asked(**keys), Beside(), made_ms=1)


def test_energy_is_the_integral(told: dict[str, Any], week: Path) -> None:
    made = [r for r in days(7) if r.circuit == "D1"]
    watts, time = np.array([r.watts for r in made], float), np.array([r.time_ms for r in made]) / 1000
    assert told["circuits"]["D1"]["energy_wh"] == pytest.approx(np.trapezoid(watts, time) / 3600, rel=1e-12)
    assert told["circuits"]["D13"]["energy_wh"] > 0  # brought
    assert told["circuits"]["D4"]["energy_wh"] is None  # never read: not known, not zero


def test_shares_hours_and_deeds_add_up(told: dict[str, Any]) -> None:
    rows = [e for e in told["energy"] if e["energy_wh"] is not None]
    assert sum(e["share"] for e in rows if e["share"] is not None) == pytest.approx(1.0)
    for e in rows:
        assert sum(e["by_hour_wh"]) == pytest.approx(e["energy_wh"], rel=1e-9, abs=1e-9)
        assert sum(e["by_doing_wh"].values()) == pytest.approx(e["energy_wh"], rel=1e-9, abs=1e-9)


def test_what_no_circuit_accounts_for_is_told_with_its_error(told: dict[str, Any]) -> None:
    row = next(e for e in told["energy"] if e["what"] == "unassigned")
    # The ways that were never read are not known: so neither is what is left.
    assert row["energy_wh"] is None


def test_the_residual_of_a_panel_that_is_read_whole(tmp_path: Path, plan: Path) -> None:
    text = plan.read_text()
    kept = [
        b
        for b in text.split("[[circuit]]")
        if not b.lstrip().startswith("id") or any(f'"{w}"' in b[:20] for w in ("SH", "D1", "D5", "D13"))
    ]
    path = tmp_path / "s.toml"
    path.write_text("[[circuit]]".join(kept).replace('fed_by = "D9"\n', ""))
    report = report_of(path, csv(tmp_path / "r.csv", days(2)))
    row = next(e for e in report.energy if e.what == "unassigned")
    assert row.energy_wh == pytest.approx(0.3 * 13.1 * 48, rel=0.02)
    assert row.sd_wh is not None
    assert row.sd_wh > 1.0


def test_the_page_and_the_json_have_the_same_figures(plan: Path, week: Path) -> None:
    report = report_of(plan, week)
    found = json.loads(json.dumps(plain(report)))

    def numbers(value: Any) -> list[Any]:
        if isinstance(value, dict):
            return [x for each in value.values() for x in numbers(each)]
        if isinstance(value, list | tuple):
            return [x for each in value for x in numbers(each)]
        return [value] if isinstance(value, int | float | str) else []

    assert set(map(repr, numbers(asdict(report)))) <= set(map(repr, numbers(found))) | {repr(k) for k in _keys(found)}


def _keys(value: Any) -> list[str]:
    if isinstance(value, dict):
        return [*value, *(k for each in value.values() for k in _keys(each))]
    return [k for each in value for k in _keys(each)] if isinstance(value, list) else []


def test_the_same_readings_give_the_same_review(plan: Path, week: Path) -> None:
    assert plain(report_of(plan, week)) == plain(report_of(plan, week))


def test_a_span_that_was_asked_for_is_cut_where_it_was(capsys: pytest.CaptureFixture[str], plan: Path, week: Path) -> None:
    halves = []
    for begin, end in (("2026-05-02T00:00:07Z", "2026-05-03T11:11:11Z"), ("2026-05-03T11:11:11Z", "2026-05-04T01:02:03Z")):
        halves.append(asked(capsys, "--schedule", plan, "--readings", week, "--from", begin, "--to", end))
    whole = asked(
        capsys, "--schedule", plan, "--readings", week, "--from", "2026-05-02T00:00:07Z", "--to", "2026-05-04T01:02:03Z"
    )
    for way in ("D1", "D5", "D13", "SH"):
        parts = sum(half["circuits"][way]["energy_wh"] for half in halves)
        assert parts == pytest.approx(whole["circuits"][way]["energy_wh"], rel=1e-9)
    assert whole["span"]["how"] == "asked"


@pytest.mark.parametrize(("amps", "said"), [(20.7, True), (14.9, False)])
def test_what_was_held_for_seconds_where_a_device_may_open_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], amps: float, said: bool
) -> None:
    """No minute comes near the 15 A of the sockets' fuse; at 1.35 times its rating that opens after 0.75 s at the soonest."""
    rows = []
    for second in range(3600):
        drawn, at = amps if 1800 <= second < 1804 else 3.0, T0 + second * 1000
        rows.append(Reading("D7", at, at, volts=13.1, amps=drawn, watts=round(13.1 * drawn, 1)))
    found = asked(capsys, "--schedule", VAN, "--readings", csv(tmp_path / "r.csv", rows))
    told = [each for each in found["happened"] if "at which its" in each["text"]]
    answered = [each["text"] for each in found["answers"] if each["about"] == "margins"]
    assert answered[0].startswith("For no whole minute")
    assert any(", 100 % of all." in each["text"] for each in found["answers"]), "the one way that was read used it all"
    assert len(told) == int(said)
    assert any("at which its" in text for text in answered) is said
    if said:
        assert told[0]["text"].startswith("Bench sockets carried 20.7 A for ")
        assert told[0]["text"].endswith(" may open.")
        assert T0 + 1_800_000 <= told[0]["at_ms"] <= T0 + 1_804_000


def test_no_readings_at_all_is_a_review_that_says_so(tmp_path: Path, capsys: pytest.CaptureFixture[str], plan: Path) -> None:
    found = asked(capsys, "--schedule", plan, "--readings", csv(tmp_path / "r.csv", []))
    assert found["readings"] == 0
    assert found["cannot_say"][0]["text"].startswith("No reading lies in this time")
    assert all(each["energy_wh"] is None for each in found["circuits"].values())
    with closing(Journal.open(tmp_path / "j.sqlite")):
        pass
    assert asked(capsys, "--schedule", plan, "--journal", tmp_path / "j.sqlite")["readings"] == 0
    assert main(["review", "--schedule", str(plan), "--readings", str(tmp_path / "r.csv")]) == 0
    assert "No reading lies in this time" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--from", "2026-05-03", "--to", "2026-05-02"], "--to: wanted a time after --from"),
        (["--journey", "first"], "--journey: wanted `last` or a number"),
        (["--journey", "2"], "Give --from and --to instead"),
        (["--journey", "last", "--from", "2026-05-02"], "leave --from and --to out"),
        (["--from", "soon"], "wanted RFC 3339"),
    ],
)
def test_what_can_not_be_asked(capsys: pytest.CaptureFixture[str], plan: Path, week: Path, words: list[str], said: str) -> None:
    assert main(["review", "--schedule", str(plan), "--readings", str(week), *words]) == 2
    assert said in " ".join(capsys.readouterr().err.split())


def test_files_that_are_not_there(tmp_path: Path, capsys: pytest.CaptureFixture[str], plan: Path) -> None:
    assert main(["review", "--schedule", str(plan), "--readings", str(tmp_path / "no.csv")]) == 2
    assert main(["review", "--schedule", str(plan), "--journal", str(tmp_path / "no.sqlite")]) == 3
    assert main(["review", "--schedule", str(tmp_path / "no.toml"), "--readings", "x"]) == 2
    assert "Traceback" not in capsys.readouterr().err


def test_a_bad_row_ends_it_and_lenient_counts_it(tmp_path: Path, capsys: pytest.CaptureFixture[str], plan: Path) -> None:
    path = csv(tmp_path / "r.csv", days(0.1))
    path.write_text(path.read_text() + "2026-05-01T10:00:00Z,D99,1,1,,,,,,\n")
    assert main(["review", "--schedule", str(plan), "--readings", str(path)]) == 2
    line = path.read_text().count("\n")
    assert f"line {line}: circuit" in " ".join(capsys.readouterr().err.split())
    found = asked(capsys, "--schedule", plan, "--readings", path, "--lenient")
    assert any("1 rows can't be read" in each["text"] for each in found["cannot_say"])


def journal(path: Path, readings: list[Reading], text: str = "", *, clock: Clock | None = None) -> Path:
    with closing(Journal.open(path)) as store:
        if text:
            schedule_path = path.with_suffix(".toml")
            schedule_path.write_text(text)
            schedule, _ = load(schedule_path)
            store.append(Settings(received_ms=readings[0].received_ms, schedule=schedule, schedule_text=text, started=True))
        for n, reading in enumerate(readings):
            store.append(reading)
            if clock is not None and n == len(readings) // 2:
                store.append(clock)
            if n % 5000 == 0:
                store.commit()
        store.commit()
    return path


def test_a_journal_and_its_readings_as_a_file_say_the_same(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], plan: Path
) -> None:
    made = days(2)
    one = asked(capsys, "--schedule", plan, "--journal", journal(tmp_path / "j.sqlite", made))
    two = asked(capsys, "--schedule", plan, "--readings", csv(tmp_path / "r.csv", made))
    for key in ("circuits", "coverage", "margins", "volts", "tides", "charge", "nights", "span"):
        assert one[key] == two[key], key


def test_a_circuit_renamed_half_way_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str], plan: Path) -> None:
    text = plan.read_text()
    older = text.replace('id = "D5"', 'id = "W5"')
    made = [r._replace(circuit="W5") if r.circuit == "D5" and n < 10_000 else r for n, r in enumerate(days(2))]
    found = asked(capsys, "--schedule", plan, "--journal", journal(tmp_path / "j.sqlite", made, older))
    said = [each["text"] for each in found["cannot_say"]]
    assert any(
        each.startswith("W5 Mast lights was on the schedule before and is not now; D5 has its label now") for each in said
    )
    assert any("not on this schedule" in each and "W5 (2,500)" in each for each in said)


def test_a_clock_that_was_set_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str], plan: Path) -> None:
    made = days(0.5)
    middle = made[len(made) // 2].received_ms
    clock = Clock(received_ms=middle, shift_ms=0, offset_ms=-7000)
    found = asked(capsys, "--schedule", plan, "--journal", journal(tmp_path / "j.sqlite", made, clock=clock))
    assert any("The clock was set back by 7 s" in each["text"] for each in found["cannot_say"])
    assert len(found["clock_sets_ms"]) == 1


def test_it_reads_a_journal_while_it_is_written(tmp_path: Path, capsys: pytest.CaptureFixture[str], plan: Path) -> None:
    made = days(0.5)
    path = tmp_path / "j.sqlite"
    with closing(Journal.open(path)) as store:
        for reading in made[:4000]:
            store.append(reading)
        store.commit()
        for reading in made[4000:]:
            store.append(reading)
        found = asked(capsys, "--schedule", plan, "--journal", path)
        assert found["readings"] == 4000
        store.commit()
    assert asked(capsys, "--schedule", plan, "--journal", path)["readings"] == len(made)


def test_ageing_is_told_against_the_record(tmp_path: Path, capsys: pytest.CaptureFixture[str], plan: Path) -> None:
    creeping = [
        r for n in range(20) for r in days(1, seed=n, period_ms=60_000, freezer_w=52 + 0.4 * n, from_ms=T0 + n * DAY_MS)
    ]
    level = Measured(name="compressor", watts=52.0, low_w=50, high_w=54, sd_w=1, readings=100)
    record = sealed.seal(
        Record(
            vehicle="survey-van",
            version=1,
            made_ms=T0,
            who="F",
            instrument="I",
            circuits=(Commissioned(circuit="D1", levels=(level,)),),
        )
    )
    path = tmp_path / "c.json"
    sealed.write(path, sealed.append((), replace(record, seal="")))
    slower = tmp_path / "s.toml"
    slower.write_text(plan.read_text().replace("expect_every_s = 30", "expect_every_s = 60"))
    found = asked(capsys, "--schedule", slower, "--readings", csv(tmp_path / "r.csv", creeping), "--record", path)
    row = next(a for a in found["ageing"] if (a["way"], a["metric"]) == ("D1", "level_w:compressor"))
    assert row["record"] == 52.0
    assert row["slope_per_month"] == pytest.approx(12.0, rel=0.02)
    assert row["low"] < 12.0 < row["high"]
    # 52 W with a quarter more is 65 W; from 59.6 W at 0.4 W a day
    assert row["weeks_p50"] == pytest.approx((65 - 59.6) / 0.4 / 7, rel=0.05)
    assert row["weeks_p10"] <= row["weeks_p50"] <= row["weeks_p90"]
    changed = [c for c in found["changes"] if c["told"]]
    assert ("D1", "level_w:compressor") in {(c["way"], c["metric"]) for c in changed}
    assert found["compared"] == "the first half of this time"


def test_a_week_like_the_other_has_not_changed(told: dict[str, Any]) -> None:
    assert told["changes"]
    assert not [c for c in told["changes"] if c["told"]]
