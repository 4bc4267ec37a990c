"""The panel directory's rows, and the two forms of the paper."""

from __future__ import annotations

from dataclasses import replace
from html.parser import HTMLParser
from io import BytesIO

import pytest
from pypdf import PdfReader

from panelward.errors import RequestRefused
from panelward.papers import Directory, panel_directory
from panelward.papers.drawn import INKS, ink_on
from panelward.papers.html import page
from panelward.papers.pdf import printed
from panelward.papers.printing import as_seen
from panelward.ratings.colours import blade_colour
from panelward.records import Feeder, Protection, Schedule, Segment, Supply
from plans import DETECTOR, FREEZER, INVERTER, LIGHTS, METER, PLAN, circuit, plan

# The colour code as published: ISO 8820-3 / DIN 72581-3, three public lists; high current after a DIN 72581-3 form E extract.
PUBLISHED = {
    1: "black", 2: "grey", 3: "violet", 4: "pink", 5: "tan", 7.5: "brown", 10: "red", 15: "blue", 20: "yellow",
    25: "clear", 30: "green", 35: "blue-green", 40: "orange",
}  # fmt: skip
PUBLISHED_E = {
    20: "yellow", 30: "green", 40: "orange", 50: "red", 60: "blue", 70: "brown", 80: "clear", 100: "violet", 120: "pink",
}  # fmt: skip


def hung(schedule: Schedule = PLAN, *spares: str) -> Directory:
    return panel_directory(schedule, spares=spares, date="2026-05-01", file="van.toml", hash="3f2a91c4")


def texts(content: bytes) -> list[str]:
    return [" ".join(sheet.extract_text().split()) for sheet in PdfReader(BytesIO(content)).pages]


def positions(directory: Directory) -> list[str]:
    return [row.position for row in directory.rows]


class Words(HTMLParser):
    """The words a browser shows and the tags it meets."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.words.append(data)


@pytest.mark.parametrize("type", ["C", "F", None])
def test_the_colours_are_the_published_ones(type: str | None) -> None:
    assert {a: blade_colour(type, a) for a in PUBLISHED} == PUBLISHED


@pytest.mark.parametrize("type", ["E", None])
def test_the_high_currents_have_their_own_list(type: str | None) -> None:
    assert {a: blade_colour(type, a) for a in PUBLISHED_E} == PUBLISHED_E


@pytest.mark.parametrize(("type", "rating_a"), [("C", 50), ("F", 12), ("E", 5), (None, 8)])
def test_what_no_list_has_is_not_guessed(type: str | None, rating_a: float) -> None:
    assert blade_colour(type, rating_a) is None


@pytest.mark.parametrize("colour", sorted({*PUBLISHED.values(), *PUBLISHED_E.values()}))
def test_each_colour_has_an_ink_on_which_its_number_reads(colour: str) -> None:
    def luminance(ink: str) -> float:  # WCAG 2.1, relative luminance
        parts = [int(ink[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        lin = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
        return 0.2126 * lin[0] + 0.7152 * lin[1] + 0.0722 * lin[2]

    high, low = sorted((luminance(INKS[colour]), luminance(ink_on(colour))), reverse=True)
    assert (high + 0.05) / (low + 0.05) >= 4.5  # WCAG 2.1, 1.4.3: least contrast of a text


def test_the_rows_keep_the_schedules_order_and_a_meter_is_no_way() -> None:
    assert positions(hung()) == ["D1", "D5", "D6", "D7", "D8", "D9"]
    fused = replace(METER, protection=Protection(kind="glass-fuse", rating_a=1))
    assert positions(hung(plan(INVERTER, fused, FREEZER))) == ["D9", "SH", "D1"]


def test_a_row_says_what_is_behind_the_way() -> None:
    row = hung(plan(replace(FREEZER, always_on_reason="samples spoil"))).rows[0]
    assert (row.position, row.purpose, row.reason) == ("D1", "Sample freezer", "samples spoil")
    assert (row.device.text, row.device.symbol) == ("blade fuse C 15 A", "fuse")
    assert (row.device.chip, row.device.colour) == ("15", "blue")
    assert (row.conductor, row.fed_by) == ("4 mm² · 4 m", "house, DC 12.8 V")
    assert row.always_on
    assert not row.life
    assert not row.hands


def test_the_device_is_the_one_left_in_the_way_and_a_difference_is_said() -> None:
    left = Protection(kind="blade-fuse", type="C", rating_a=15, as_found_a=20, as_left_a=10)
    row = hung(plan(replace(FREEZER, protection=left))).rows[0]
    assert (row.device.text, row.device.chip, row.device.colour) == ("blade fuse C 10 A", "10", "red")
    assert row.device.differs == "scheduled: 15 A"
    assert "scheduled: 15\u00a0A" in page(hung(plan(replace(FREEZER, protection=left))))


@pytest.mark.parametrize(
    ("protection", "device", "symbol", "chip"),
    [
        (Protection(kind="blade-fuse", type="E", rating_a=120), "blade fuse E 120 A", "fuse", "120"),
        (Protection(kind="blade-fuse", rating_a=7.5), "blade fuse 7.5 A", "fuse", "7.5"),
        (Protection(kind="blade-fuse", type="C", rating_a=12), "blade fuse C 12 A", "fuse", ""),
        (Protection(kind="bolt-fuse", rating_a=125), "bolt-in fuse 125 A", "fuse", ""),
        (Protection(kind="breaker-b", rating_a=10), "breaker B 10 A", "breaker", ""),
        (Protection(kind="breaker-thermal", rating_a=20), "thermal breaker 20 A", "breaker", ""),
        (Protection(kind="electronic", rating_a=8), "electronic output 8 A", "", ""),
        (None, "no device in the schedule - verify", "", ""),
    ],
)
def test_devices(protection: Protection | None, device: str, symbol: str, chip: str) -> None:
    found = hung(plan(replace(FREEZER, protection=protection))).rows[0].device
    assert (found.text, found.symbol, found.chip) == (device, symbol, chip)


def test_segments_are_joined_and_a_missing_figure_is_left_out() -> None:
    run = (Segment(area_mm2=6, length_m=4.5), Segment(awg="1/0", length_m=2), Segment(length_m=1), Segment())
    assert hung(plan(replace(FREEZER, conductor=run))).rows[0].conductor == "6 mm² · 4.5 m + AWG 1/0 · 2 m + 1 m"
    many = tuple(Segment(length_m=n) for n in range(1, 41))
    assert hung(plan(replace(FREEZER, conductor=many))).rows[0].conductor.endswith("5 m + 35 more segments")


def test_life_licensed_hands_and_sources_are_marked() -> None:
    ac = Supply(id="inverter", kind="ac", nominal_v=230, frequency_hz=50)
    outlet = circuit("A1", "Outlet", "socket", supply="inverter", hands="licensed")
    solar = circuit("D13", "Solar charger", "charger", role="charger", feed=None)
    directory = hung(plan(DETECTOR, outlet, solar, supplies=(*PLAN.supplies, ac)))
    assert directory.rows[0].life
    assert (directory.rows[1].hands, directory.rows[1].fed_by) == ("licensed person only", "inverter, AC 230 V 50 Hz")
    assert directory.rows[2].source
    assert [mark for mark, _ in directory.meanings] == ["ALWAYS ON", "LIFE", "SOURCE"]
    assert "licensed person only" in texts(printed(directory).content)[0]


def test_feeders_have_their_own_table() -> None:
    rear = Feeder(id="rear", supply="house", protection=Protection(kind="bolt-fuse", rating_a=40))
    directory = hung(plan(LIGHTS, feeders=(rear,)))
    assert directory.rows[0].fed_by == "feeder rear, DC 12.8 V"
    assert (directory.feeders[0].device.text, directory.feeders[0].fed_by) == ("bolt-in fuse 40 A", "house, DC 12.8 V")
    for text in (page(directory), texts(printed(directory).content)[0]):
        assert "Feeders" in text


@pytest.mark.parametrize(
    ("spares", "wanted"),
    [
        (("D10", "D2"), ["D1", "D2", "D5", "D6", "D7", "D8", "D9", "D10"]),
        (("X1", "D0"), ["D0", "D1", "D5", "D6", "D7", "D8", "D9", "X1"]),
        (("d11", "D10"), ["D1", "D5", "D6", "D7", "D8", "D9", "D10", "d11"]),
        (("7",), ["D1", "D5", "D6", "D7", "D8", "D9", "7"]),
    ],
)
def test_spares_stand_where_their_positions_belong(spares: tuple[str, ...], wanted: list[str]) -> None:
    directory = hung(PLAN, *spares)
    assert positions(directory) == wanted
    assert {row.purpose for row in directory.rows if row.spare} == {"Spare, no conductor connected - verify"}


@pytest.mark.parametrize("spares", [("D1",), ("d1",), ("SH",), ("D2", "d2"), ("",), (" ",), ("D\n2",), ("D" * 65,)])
def test_a_spare_that_can_not_be_is_refused(spares: tuple[str, ...]) -> None:
    with pytest.raises(RequestRefused):
        hung(PLAN, *spares)


def test_labels_are_text_and_never_markup() -> None:
    evil = '<script>alert("x")</script>&amp;\'<b>'
    schedule = plan(replace(FREEZER, label=evil, always_on_reason=evil), vehicle=replace(PLAN.vehicle, name=evil))
    directory = replace(hung(schedule), file="</style><script>.toml")
    for labels in (False, True):
        text = page(directory, labels=labels)
        shown = Words(text)
        assert {"script", "link", "img", "iframe"}.isdisjoint(tag for tag, _ in shown.tags)
        assert "<script" not in text
        assert evil in shown.words
    assert evil in texts(printed(directory, labels=True).content)[0]


def test_the_page_is_one_file_with_a_table_that_can_be_read_aloud() -> None:
    text = page(hung(PLAN, "D2"), labels=True)
    tags = Words(text).tags
    assert ("html", {"lang": "en"}) in tags
    assert {attrs.get("scope") for tag, attrs in tags if tag == "th"} == {"col", "row"}
    assert not any(name in attrs for _, attrs in tags for name in ("src", "href", "onclick"))
    assert "url(" not in text
    assert "@import" not in text
    assert "size: A5" in text
    assert "size: letter" in page(hung(), paper="letter")
    assert "tbody tr { height: 48px }" in text


def test_both_papers_say_date_schedule_cautions_and_colours_in_words() -> None:
    for text in (page(hung()), texts(printed(hung()).content)[0]):
        assert "2026-05-01 · van.toml · schedule 3f2a91c4" in text
        assert "Replace a fuse only like for like: same type, same rating." in text
        assert "15 A blue" in text
        assert "the number printed on the fuse rules" in text.replace("\n", " ")
        assert "safe" not in text.lower()


@pytest.mark.parametrize("label", ["Long label " * 7 + "end", "W" * 80])
@pytest.mark.parametrize("paper", ["a5", "letter"])
def test_a_label_of_eighty_characters_is_whole(paper: str, label: str) -> None:
    assert len(label) == 80
    directory = hung(plan(replace(FREEZER, label=label, id="P" * 64, always_on_reason="R" * 200)))
    pages = texts(printed(directory, paper=paper, labels=True).content)
    flat = pages[0].replace(" ", "")
    assert label.replace(" ", "") in flat
    assert "P" * 64 in flat
    assert "R" * 200 in flat
    assert label in page(directory, paper=paper)


@pytest.mark.parametrize("paper", ["a5", "letter"])
def test_two_hundred_circuits_run_over_pages_and_no_way_is_lost(paper: str) -> None:
    reason = "a reason long enough to fill more than one line of a narrow column"
    many = [circuit(f"W{n}x", f"Load number {n}", feed="always-on", always_on_reason=reason) for n in range(200)]
    directory = hung(plan(*many))
    paper_ = printed(directory, paper=paper, labels=True)
    pages = texts(paper_.content)
    assert len(pages) == paper_.pages >= 10
    for number, text in enumerate(pages, 1):
        assert f"page {number} of {len(pages)}" in text
        assert "Survey van" in text
        assert "Isolate every source before touching this panel." in text
    words = " ".join(pages).split()
    for n in range(200):
        assert words.count(f"W{n}x") == 2, n  # its row and its label
        row = next(text for text in pages if f"W{n}x" in text.split())
        assert f"Load number {n} " in row  # the row is on one page
    assert all(text.count("Purpose") == 1 for text in pages if "long enough" in text)  # the heads of the columns


def test_many_feeders_run_over_pages() -> None:
    fuse = Protection(kind="bolt-fuse", rating_a=40)
    feeders = tuple(Feeder(id=f"F{n}x", supply="house", protection=fuse) for n in range(60))
    words = " ".join(texts(printed(hung(plan(FREEZER, feeders=feeders))).content)).split()
    assert all(words.count(f"F{n}x") == 1 for n in range(60))


def test_the_same_directory_gives_the_same_bytes_without_traces_of_the_computer() -> None:
    directory = hung(PLAN, "D2")
    first = printed(directory, labels=True)
    assert printed(directory, labels=True).content == first.content
    told = str(PdfReader(BytesIO(first.content)).metadata)
    assert "/usr" not in told
    assert b"/home" not in first.content
    assert "Panel directory: Survey van" in told


def test_what_the_fonts_do_not_hold_is_told_once_and_printed_as_a_question_mark() -> None:
    directory = hung(plan(replace(FREEZER, label="Zamrażarka ロ ロ"), replace(DETECTOR, label="Gas ロ\U000f1234")))
    paper = printed(directory, font_folders=())
    assert {"ロ", "\U000f1234"} <= set(paper.missing)
    assert len(set(paper.missing)) == len(paper.missing)
    assert "? ?" in texts(paper.content)[0]
    assert "Zamrażarka ロ ロ" in page(directory)
    assert printed(hung(), font_folders=()).missing == ""


def test_an_empty_panel_still_makes_a_paper() -> None:
    directory = hung(plan(METER, feeders=()))
    assert directory.rows == ()
    assert printed(directory, labels=True).pages == 1
    assert "<tbody" in page(directory, labels=True)


def test_the_legend_speaks_of_reasons_only_where_there_is_one() -> None:
    plain = hung(plan(replace(FREEZER, always_on_reason=None)))
    assert dict(plain.meanings)["ALWAYS ON"] == "nobody can switch its feed off remotely"
    told = hung(plan(replace(FREEZER, always_on_reason="samples spoil")))
    assert dict(told.meanings)["ALWAYS ON"].endswith("; the reason stands beside it")
    assert "the reason stands beside it" not in page(plain)


def test_on_a_screen_each_column_keeps_its_share_of_the_width() -> None:
    """Without shares one long label takes the width of the columns beside it."""
    text = page(hung(plan(replace(FREEZER, label="x " * 39))))
    wide = text[text.index("@media screen and (min-width: 521px)") :].partition("@media print")[0]
    assert "th.way { width: 12% }" in wide
    assert "td.device, td.run, td.fed { width: 26% }" in wide
    assert 'class="device"' in text
    assert 'class="small run"' in text


@pytest.mark.parametrize(
    ("written", "seen"),  # by the Unicode bidirectional algorithm (UAX 9) in a left-to-right line, letters not joined
    [
        ("Sample freezer 12 (aft)", "Sample freezer 12 (aft)"),
        ("\u05d0\u05d1 \u05d2", "\u05d2 \u05d1\u05d0"),
        ("W3 \u05d0\u05d1 9", "W3 \u05d1\u05d0 9"),
        ("\u05d0 12.5 \u05d1 V", "\u05d1 12.5 \u05d0 V"),
        ("\u05d0 (\u05d1) x", "(\u05d1) \u05d0 x"),
        ("\u05d0\u05b7\u05d1", "\u05d1\u05d0\u05b7"),
        ("\u0645\u0628 fan", "\u0628\u0645 fan"),
    ],
)
def test_right_to_left_writing_is_drawn_in_the_order_in_which_it_is_seen(written: str, seen: str) -> None:
    assert as_seen(written) == seen
