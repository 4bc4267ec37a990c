"""The review's file: its order, its figures, what it makes of nothing and of hostile texts."""

from __future__ import annotations

import re
from dataclasses import replace
from html import unescape
from html.parser import HTMLParser
from typing import Any

import pytest

from panelward.review import drawn_journey, page_changes, page_parts
from panelward.review.band import at, earliest, inside, latest
from panelward.review.page import html
from panelward.review.page_sheet import SECTIONS
from panelward.review.report import ABOUT, Band, Energy, Held, Nights, Piece, Sentence
from review import sheets

PLAN = sheets.schedule()
HOSTILE = """<script>alert(1)</script>"'&$x$\u202e<img src=//h.example/x>"""


class Tables(HTMLParser):
    """caption -> rows of cells as they are read."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.found: dict[str, list[list[str]]] = {}
        self._caption, self._into = "", ""
        self._rows: list[list[str]] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag == "table":
            self._caption, self._rows = "", []
        elif tag == "tr":
            self._rows.append([])
        elif tag in ("td", "th"):
            self._rows[-1].append("")
            self._into = "cell"
        elif tag == "caption":
            self._into = "caption"

    def handle_endtag(self, tag: str) -> None:
        if tag in ("td", "th", "caption"):
            self._into = ""
        elif tag == "table":
            self.found[self._caption] = self._rows

    def handle_data(self, data: str) -> None:
        if self._into == "caption":
            self._caption += data
        elif self._into == "cell":
            self._rows[-1][-1] += data


def table(text: str, caption: str) -> list[list[str]]:
    """The only table whose caption begins so."""
    (found,) = [rows for name, rows in Tables(text).found.items() if name.startswith(caption)]
    return found


def plain(text: str) -> str:
    """As it was written: without what holds a number to its unit."""
    return unescape(text).replace("\u00a0", " ")


def value(cell: str) -> float:
    """A cell's figure; its unit is left out."""
    found = re.match(r"[−0-9.,]+", cell)
    assert found, cell
    return float(found[0].replace("−", "-").replace(",", ""))


def near(cell: str, wanted: float) -> bool:
    """Shown with three digits that count."""
    return value(cell) == pytest.approx(wanted, rel=0.006, abs=0.0006)


@pytest.fixture(scope="module")
def month() -> Any:
    return sheets.journey(PLAN)


@pytest.fixture(scope="module")
def text(month: Any) -> str:
    return html(month, PLAN)


def test_page_one_stands_in_its_order(text: str) -> None:
    heads = [unescape(head) for head in re.findall(r"<h2[^>]*>(.*?)</h2>", text)]
    assert heads[:4] == [
        "What these pages can't say",
        "What happened",
        "The journey along the panel",
        "What used the energy",
    ]
    assert heads[4:] == [name for name in SECTIONS.values() if name != "What used the energy"]
    assert set(SECTIONS) == set(ABOUT)


def test_every_link_leads_somewhere(text: str) -> None:
    ids = re.findall(r'\bid="([^"]+)"', text)
    assert len(ids) == len(set(ids))
    links = re.findall(r'href="#([^"]+)"', text)
    assert len(links) > 60
    assert set(links) <= set(ids)
    assert re.findall(r'(?:href|src|url\()="?(?!#)[^#"]', text.replace("url(#", "#")) == []


def test_what_happened_leads_to_its_way_and_its_numbers_stand_on_the_lines(text: str, month: Any) -> None:
    happened = re.search(r'<ol class="happened">(.*?)</ol>', text, re.S)
    assert happened is not None
    items = re.findall(r'<li value="(\d+)"><a href="#([^"]+)">(.*?)</a>', happened[1])
    assert [(int(n), plain(said)) for n, _, said in items] == [(s.number, s.text) for s in month.happened]
    for (_, to, _), sentence in zip(items, month.happened, strict=True):
        if sentence.way is not None:
            assert f'<h3 id="{to}">{sentence.way} ' in text
    for kind in ("narrow", "wide"):
        drawn = re.search(rf'<svg class="drawing {kind}".*?</svg>', text, re.S)
        assert drawn is not None
        numbers = re.findall(r"<text[^>]*var\(--red\)[^>]*>(\d)</text>", drawn[0])
        assert numbers == ["5", "6", "3", "4", "1", "2", "7", "8"]  # above all lines what is of no single way; in panel order


def test_the_energy_table_shows_the_reports_figures_in_panel_order(text: str, month: Any) -> None:
    rows = table(text, "Wh of each way, beside")[1:]
    assert [row[0].split(" ")[0] for row in rows[: len(month.ways)]] == list(month.ways)
    by_way = {each.way: each for each in month.energy if each.way}
    for row in rows[: len(month.ways)]:
        energy = by_way[row[0].split(" ")[0]]
        assert near(row[1], energy.energy_wh)
        assert near(row[2], energy.wh_per_day)
        assert near(row[3], energy.before_wh_per_day)
        assert value(row[5]) == pytest.approx(100 * energy.read_share, abs=0.06)
    assert "±" in rows[-1][1]
    assert rows[-1][3] == "not known"


def test_margins_tides_and_volts_show_the_reports_figures(text: str, month: Any) -> None:
    margins = {each.way: each for each in month.margins}
    rows = table(text, "Margins, the least first")[1:]
    shown = [value(row[1]) for row in rows]
    assert shown == sorted(shown)
    for row in rows:
        margin = margins[row[0].split(" ")[0]]
        assert value(row[1]) == pytest.approx(100 * margin.least_margin, abs=0.06)
        assert near(row[2], margin.worst_minute_a)
    for row, tide in zip(table(text, "The bank, every twelve")[1:], month.tides, strict=True):
        assert row[1] == "not known" if tide.charge_ah is None else near(row[1], tide.charge_ah)
        assert near(row[3], tide.out_ah)
    for row, volts in zip(table(text, "Lost in the conductor")[1:], month.volts, strict=True):
        assert near(row[1], volts.drop_at_p95_v)
    of_bus = [volts for volts in month.volts if volts.volts_at == "bus"]
    rows = table(text, "Volts where they are sensed")[1:]
    assert len(rows) == len(month.volts) - len(of_bus) + len({PLAN.circuit(each.way).supply for each in of_bus})
    assert sum(near(row[4], of_bus[0].p50_v) for row in rows) >= 1
    for row, change in zip(table(text, "What changed, with its")[1:], [c for c in month.changes if c.told], strict=True):
        assert near(row[2], change.before)
        assert near(row[3], change.now)
    assert len(table(text, "Compared, no change proved")) == 1 + sum(not c.told for c in month.changes)


def test_every_answer_stands_above_its_table(text: str, month: Any) -> None:
    for answer in month.answers:
        section = text[text.index(f'<h2 id="{answer.about}">') :]
        section = section[: section.find("<h2", 4)]
        assert answer.text in plain(section)


def test_an_answer_without_a_section_is_said_all_the_same() -> None:
    odd = Sentence(text="Nobody asked for this.", about="elsewhere")
    assert "Nobody asked for this." in html(sheets.empty(PLAN, answers=(odd,)), PLAN)


def test_nothing_known_is_said_and_no_zero_is_made_of_it() -> None:
    for report in (sheets.empty(), sheets.empty(PLAN), sheets.unknown(PLAN)):
        text = html(report, PLAN)
        assert "None" not in re.sub(r"<[^>]+>", "", text)
        assert "nan" not in re.sub(r"<[^>]+>", " ", text).casefold().split()
    rows = table(html(sheets.unknown(PLAN), PLAN), "Wh of each way, in panel order")[1:]
    assert rows
    assert all(row[1:4] == ["not known"] * 3 for row in rows)


def test_whatever_a_label_holds_is_text() -> None:
    plan = replace(PLAN, circuits=tuple(replace(each, label=HOSTILE) for each in PLAN.circuits))
    report = sheets.journey(plan, days=2)
    report = replace(
        report,
        vehicle=HOSTILE, vehicle_id=HOSTILE, source=HOSTILE, version=HOSTILE,
        cannot_say=(Sentence(text=HOSTILE, way="D1"),),
        happened=(Sentence(text=HOSTILE, way="D1", at_ms=sheets.at(1), number=1),),
        answers=tuple(replace(each, text=HOSTILE) for each in report.answers),
        openings=tuple(replace(each, cause=HOSTILE, answer=HOSTILE) for each in report.openings),
        judged=tuple(replace(each, why=HOSTILE, alarm_id=HOSTILE, kind=HOSTILE) for each in report.judged),
        margins=tuple(replace(each, device=HOSTILE, ampacity_rule=HOSTILE) for each in report.margins),
        volts=tuple(replace(each, volts_at=HOSTILE) for each in report.volts),
        nights=(Nights(scenario=HOSTILE, p10=None, p50=None, p90=None, why_not=HOSTILE),),
        energy=(
            *report.energy,
            Energy(way=None, what=HOSTILE, label=HOSTILE, energy_wh=1, wh_per_day=1, share=1, read_share=1),
        ),
    )  # fmt: skip
    text = html(report, plan)
    assert "<script" not in text
    assert "<img" not in text
    assert plain(text).count("<script>alert(1)</script>") > 50


def test_a_way_with_an_odd_id_has_its_section() -> None:
    plan = replace(PLAN, circuits=(replace(PLAN.circuits[1], id='a "b#/ü'),))
    text = html(replace(sheets.unknown(plan)), plan)
    assert 'href="#way-1"' in text
    assert 'id="way-1"' in text


def test_the_file_is_alike_at_every_run_and_small(month: Any, text: str) -> None:
    assert html(month, PLAN) == text
    assert len(text.encode()) < 1_500_000
    assert "2026-" not in re.sub(r"<table.*?</table>", "", text, flags=re.S)  # no date of making in a drawing


def test_an_unknown_time_zone_does_not_keep_the_report_from_being_read(month: Any) -> None:
    assert "What happened" in html(replace(month, timezone="Nowhere/At all"), PLAN)


BLADE = (
    Band(amps=20.0, least_s=100.0, most_s=None),
    Band(amps=30.0, least_s=1.0, most_s=60.0),
    Band(amps=60.0, least_s=0.1, most_s=1.0),
)


def test_a_band_runs_along_its_gates() -> None:
    """A gate holds at its amps; more amps open it no later, fewer no sooner."""
    early, late = earliest(BLADE), latest(BLADE)
    assert at(early, 20.0) == pytest.approx(100.0)
    assert at(early, 30.0) == pytest.approx(1.0)
    assert at(early, 19.0) is None
    assert at(late, 25.0) is None
    assert at(late, 30.0) == pytest.approx(60.0)
    assert at(late, 42.426) == pytest.approx(7.746, rel=1e-3)  # the geometric mean of 60 and 1
    assert at(late, 900.0) == pytest.approx(1.0)


def test_what_was_held_in_the_band_and_beyond_it_is_told_apart() -> None:
    held = (
        Held(seconds=2.0, amps=60.0, at_ms=0), Held(seconds=10.0, amps=30.0, at_ms=0), Held(seconds=60.0, amps=19.0, at_ms=0),
        Held(seconds=600.0, amps=-3.0, at_ms=0),
    )  # fmt: skip
    margin = replace(sheets.unknown(PLAN).margins[0], band=BLADE, held=held)
    within, beyond = inside(margin)
    assert [each.amps for each in within] == [30.0]
    assert [each.amps for each in beyond] == [60.0]


@pytest.mark.parametrize(
    ("given", "wanted"),
    [
        (None, "not known"), (0.0, "0"), (0.04, "0.04"), (9.996, "10"), (12.34, "12.3"), (99.96, "100"), (1234.5, "1,234"),
        (-2.5, "−2.5"), (1e-6, "0"),
    ],
)  # fmt: skip
def test_numbers_show_three_digits(given: float | None, wanted: str) -> None:
    assert page_parts.number(given) == wanted


@pytest.mark.parametrize(("given", "wanted"), [(0.0, "0 %"), (1.0, "100 %"), (0.0004, "below 0.1 %"), (0.9996, "above 99.9 %")])
def test_a_little_is_not_nothing(given: float, wanted: str) -> None:
    assert page_parts.share(given).replace("\u00a0", " ") == wanted


def test_what_waits_for_somebody_stands_with_what_happened(text: str, month: Any) -> None:
    """Behind what these pages can't say: that comes first."""
    head = plain(text[text.index("What happened</h2>") : text.index("The journey along the panel</h2>")])
    assert "Still so at the end:" in head
    assert month.still[0].text in head
    assert "Still so" not in html(replace(month, still=()), PLAN)


def test_what_found_no_room_is_named_with_its_hour_and_leads_to_its_way(text: str, month: Any) -> None:
    line = re.search(r'<p class="also">(.*?)</p>', text)
    assert line is not None
    links = re.findall(r'<a href="#([^"]+)">(.*?)</a>', line[1])
    assert [plain(said)[:8] for _, said in links] == ["Roof fan", "The hous"]
    assert f'<h3 id="{links[0][0]}">D8 ' in text
    assert all(re.search(r"\d\d:\d\d$", said) for _, said in links)


def test_a_ways_story_has_its_beginning_its_end_and_how_surely_its_cause_is_known(text: str) -> None:
    stories = {way: re.search(rf'<h3 id="way-\d+">{way} .*?</section>', text, re.S) for way in ("D7", "D1")}
    assert stories["D7"] is not None
    assert stories["D1"] is not None
    opened, lost = (plain(re.sub(r"<[^>]+>", "", stories[way][0])) for way in ("D7", "D1"))
    assert re.search(
        r"Tue 12 May 22:00 to Wed 13 May 00:24, 2.4 h: .*That it was its fuse or breaker is almost certain\.", opened
    )
    assert re.search(r"\d\d:\d\d, not seen to end: Sample freezer had no feed\.", lost)


def test_an_alarm_stands_no_longer_than_its_condition(month: Any) -> None:
    ended = replace(month.judged[0], over_ms=None, ended_ms=sheets.at(10), seen_ms=None)
    never = replace(ended, ended_ms=None)
    rows = table(html(replace(month, judged=(ended, never)), PLAN), "Each alarm")[1:]
    assert plain(rows[0][6]) == "Wed 13 May 22:00; nobody has answered it"
    assert rows[1][6] == "not seen to end"


def test_no_load_is_said_to_draw_below_nothing(month: Any) -> None:
    hours = tuple(-1.4 if h < 12 else 9.0 for h in range(24))
    rows = (replace(month.energy[0], what="circuit", by_hour_wh=hours, by_doing_wh=(("lights-out", -11.0), ("unknown", 50.0))),)
    text = html(replace(month, energy=rows), PLAN)
    assert "−" not in "".join(table(text, "Wh in each local hour")[1])
    assert table(text, "Wh of each way by what")[1][1:] == ["0", "50"]


def test_what_no_circuit_accounts_for_has_the_error_that_its_sentence_holds_it_to(text: str, month: Any) -> None:
    (of,) = [each for each in month.energy if each.what == "unassigned"]
    (row,) = [row for row in table(text, "Wh of each way, beside") if "±" in row[1]]
    assert near(row[1].partition("± ")[2], 2 * of.sd_wh)


def test_a_step_has_no_date_of_arrival_and_no_slope_no_end(month: Any) -> None:
    base = replace(month.ageing[0], weeks_p50=None, weeks_p10=None, weeks_p90=None)
    cases = {
        "it went in a step, not slowly": replace(base, stepped=True), "not within ten years": base,
        "no slope is proved": replace(base, low=-1.0),
    }  # fmt: skip
    for wanted, row in cases.items():
        assert page_changes.reached(row) == wanted


def test_a_gap_of_an_hour_in_a_month_is_wide_enough_to_be_seen(month: Any) -> None:
    hour = (Piece(from_ms=sheets.at(0), to_ms=sheets.at(15), what="read", nearness=0.1),
            Piece(from_ms=sheets.at(15), to_ms=sheets.at(15) + 3_600_000, what="no-feed"),
            Piece(from_ms=sheets.at(15) + 3_600_000, to_ms=sheets.at(30), what="read", nearness=0.1))  # fmt: skip
    states, _ = drawn_journey._binned(hour, month, 400)
    assert (states == drawn_journey.NO_FEED).sum() == drawn_journey.SEEN


def test_where_no_sun_is_known_none_rises(text: str) -> None:
    assert not re.search(r"\b(dawn|dusk)\b", re.sub(r"<[^>]+>", " ", text))
