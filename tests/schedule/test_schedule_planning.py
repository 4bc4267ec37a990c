"""One circuit without a schedule, and the spreadsheet through the command, as a person runs them."""

from __future__ import annotations

import json
import re
from math import inf
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panelward.commands import main
from panelward.errors import BadInput
from panelward.ratings import device, far_fault_a, far_short, opening_times_s
from panelward.schedule import parse
from panelward.schedule.planning import Wanted, lines_of, load_of, propose

CONFIG = Path(__file__).parent.parent.parent / "config"


def answer(capsys: pytest.CaptureFixture[str], *args: str) -> list[str]:
    assert main(["check", *args]) == 0
    return capsys.readouterr().out.splitlines()


def wanted(**keys: object) -> Wanted:
    base: dict[str, object] = {"watts": 35.0, "amps": None, "nominal_v": 12.0, "length_m": 5.0, "feed": "switched"}
    return Wanted(**(base | keys))  # type: ignore[arg-type]


def test_six_lines_say_device_conductor_drop_and_reasons(capsys: pytest.CaptureFixture[str]) -> None:
    lines = answer(capsys, "--load", "35 W", "--volts", "12", "--length", "5", "--feed", "always-on")
    assert len(lines) == 6
    assert all(len(line) <= 80 for line in lines)
    assert lines[0].startswith("Draws 3.33 A at 10.5 V")  # 35 W / 10.5 V
    assert "5 A blade fuse" in lines[1]
    assert "33 CFR 183.425" in lines[2]
    assert "3 % allowed" in lines[3]
    assert "before every switch and disconnect" in lines[4]
    assert "licensed practice" in lines[5]


def test_the_answer_for_programs_has_its_figures(capsys: pytest.CaptureFixture[str]) -> None:
    (line,) = answer(capsys, "--load", "35W", "--length", "5", "--json")
    found = json.loads(line)
    assert found["device"] == {"kind": "blade-fuse", "type": "C", "rating_a": 5.0}
    assert found["draw_a"] == 3.333
    assert "Isolate" in found["caution"]


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (["--load", "20 kW", "--length", "2"], "beyond every standard device"),
        (["--load", "35 W"], "--length"),
        (["--load", "35 W", "--length", "0"], "--length"),
        (["--load", "35 W", "--length", "-3"], "--length"),
        (["--load", "35 W", "--length", "nan"], "--length"),
        (["--load", "35", "--length", "3"], 'like "35 W"'),
        (["--load", "0 W", "--length", "3"], "more than nothing"),
        (["--load", "35 W", "--length", "3", "--volts", "230"], "licensed"),
        (["--load", "35 W", "--length", "3", "--volts", "0"], "--volts"),
        (["--load", "35 W", "--length", "3", "--insulation", "20"], "--insulation"),
        (["--load", "35 W", "--length", "3", "--ambient", "400"], "--ambient"),
        (["--load", "35 W", "--length", "3", "--ambient", "120"], "no standard conductor"),
        (["--load", "35 W", "--length", "3", "--kind", "toaster"], "--kind"),
        (["--load", "35 W", "--length", "3", "--rule", "my own"], "--rule"),
        (["--load", "300 W", "--length", "900"], "no standard conductor"),
        (["--load", "35 W", "--length", "3", "--kind", "fridge"], "Did you mean compressor?"),
        (["--load", "35 W", "--length", "3", "--ambient", "75"], "--insulation"),
        (["--load", "35 W", "--length", "3", "--to-csv"], "don't go together"),
        (["--from-csv", "x.csv", "--json"], "don't go together"),
        (["--load", "35 W", "--length", "3", "--volts", "60"], "no device listed"),
        (["--length", "3"], "--load"),
        (["--from-csv", "nowhere.csv"], "nowhere.csv"),
    ],
)
def test_what_can_not_be_answered_is_2_and_says_why(args: list[str], said: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", *args]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert said in " ".join(err.split())


@pytest.mark.parametrize("kind", ["detector", "air-heater"])
def test_what_must_not_be_switched_is_not_put_behind_a_switch(kind: str, capsys: pytest.CaptureFixture[str]) -> None:
    lines = answer(capsys, "--load", "30 W", "--length", "3", "--kind", kind)
    assert "before every switch and disconnect" in lines[4]


def test_a_start_is_lived_through_even_by_the_quickest_of_the_type() -> None:
    """Three times 4 A for half a second: type C opens in 0.15 to 5 s at twice its rating (data sheets naming ISO 8820-3)."""
    found = propose(wanted(watts=None, amps=4.0, kind="compressor", length_m=4.0))
    earliest = opening_times_s(device(found.device), 12.0 / found.device.rating_a)[0]
    assert earliest is not None
    assert earliest > 0.5


@given(
    watts=st.floats(1, 900), length=st.floats(0.5, 15), insulation=st.sampled_from([60.0, 75.0, 105.0]),
    ambient=st.floats(-20, 50), bundled=st.integers(1, 9), awg=st.booleans(), feed=st.sampled_from(["always-on", "switched"]),
    rules=st.sampled_from([(), ("33 CFR 183.425", "NEC 551.10"), ("IEC 60364-5-52",), ("NEC 310.16",)]),
)  # fmt: skip
@settings(deadline=None, max_examples=150)
def test_what_is_proposed_holds_together(
    watts: float, length: float, insulation: float, ambient: float, bundled: int, awg: bool, feed: str, rules: tuple[str, ...]
) -> None:
    """Ib <= In <= Iz (IEC 60364-4-43 433.1), the drop within its limit, and a far short opens the device."""
    try:
        asked = wanted(
            watts=watts, length_m=length, insulation_c=insulation, ambient_c=ambient, bundled=bundled, in_awg=awg, feed=feed,
            rules=rules,
        )  # fmt: skip
        found = propose(asked)
    except BadInput:
        return  # no standard size does it: what it says is tested above
    assert found.draw_a <= 0.8 * found.device.rating_a * (1 + 1e-9)
    assert found.device.rating_a <= found.ampacity.amps * (1 + 1e-9)
    assert found.drop_share <= found.allowed_share * (1 + 1e-9)
    fault = far_fault_a(found.low_v, 0.0, [found.segment])
    short = far_short(device(found.device), fault, [found.segment], "dc", None, rules)
    assert short.latest_s is not None
    assert short.latest_s < inf
    assert short.latest_s <= short.withstand_s
    latest = opening_times_s(device(found.device), fault / found.device.rating_a)[2]
    assert latest is not None
    assert latest <= 5.0
    assert all(len(line) <= 80 for line in lines_of(asked, found))
    assert not re.search(r"e[+-]\d\d", " ".join(lines_of(asked, found)))


@pytest.mark.parametrize(
    ("text", "told"), [("35 W", (35.0, None)), ("2,5A", (None, 2.5)), ("0.4 kW", (400.0, None)), ("80mA", (None, 0.08))]
)
def test_loads_are_watts_or_amps(text: str, told: tuple[float | None, float | None]) -> None:
    assert load_of(text) == pytest.approx(told)


def test_out_to_a_spreadsheet_and_back_is_a_schedule(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", "--schedule", str(CONFIG / "survey-van.toml"), "--to-csv"]) == 0
    sheet = tmp_path / "ways.csv"
    sheet.write_text(capsys.readouterr().out, encoding="utf-8")
    assert main(["check", "--from-csv", str(sheet), "--vehicle", "Survey van"]) == 0
    out, err = capsys.readouterr()
    schedule = parse(out, "draft.toml")
    assert schedule.vehicle.name == "Survey van"
    assert [c.label for c in schedule.circuits][1:3] == ["Sample freezer", "Satellite terminal"]
    assert "feeder rear" in err
    assert "Isolate every source" in " ".join(err.split())


def test_a_spreadsheet_of_another_kind_is_2_and_names_the_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sheet = tmp_path / "ways.csv"
    sheet.write_text("Way;Label;Fuse (A)\nD1;Fridge;-5\n", encoding="utf-8")
    assert main(["check", "--from-csv", str(sheet)]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert "line 2" in " ".join(err.split())
    sheet.write_bytes(b"\xff\xfe\x00W")
    assert main(["check", "--from-csv", str(sheet)]) == 2
    assert "UTF-8" in capsys.readouterr().err


def test_a_small_load_far_away_takes_a_conductor_on_which_its_device_opens_within_five_seconds() -> None:
    """IEC 60364-4-43 434.5.2, from memory. The drop alone would be content with the next thinner size."""
    found = propose(wanted(watts=None, amps=0.1, length_m=150.0))
    latest = opening_times_s(device(found.device), found.far_short_a / found.device.rating_a)[2]
    assert latest is not None
    assert latest <= 5.0
    sizes = [0.5, 0.75, 1.0, 1.5, 2.5, 4.0, 6.0, 10.0, 16.0]
    area = found.segment.area_mm2
    assert area is not None
    thinner = sizes[sizes.index(area) - 1]
    assert 1.1 * found.drop_share * area / thinner <= found.allowed_share
    below = opening_times_s(device(found.device), found.far_short_a * 0.9 * thinner / area / found.device.rating_a)[2]
    assert below is None or below > 5.0
