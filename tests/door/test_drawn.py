"""The drawings: where the lines stand against published gates, what is unread, strange names."""

from __future__ import annotations

import itertools
import re
import xml.etree.ElementTree as ET
from datetime import date
from math import inf, log10
from zoneinfo import ZoneInfo

import pytest
from tests.door.test_pages import HOSTILE

from panelward.door import drawn
from panelward.door.held import HOUR_MS, Held, Hour
from panelward.door.words import LANGUAGES, words
from panelward.ratings import withstand_a2s
from panelward.ratings.curves import LEAST_S, MOST_S, band, bears, opens_within
from panelward.records import Circuit, Protection, Schedule, Segment, Sense, Supply, Vehicle

T = words("en")
BLADE = Protection(kind="blade-fuse", type="C", rating_a=15)
PLAN = Schedule(vehicle=Vehicle(name="Van", id="van"), supplies=(Supply(id="house", kind="dc", nominal_v=12.8),))
T0 = 1_777_615_200_000
SVG = "{http://www.w3.org/2000/svg}"


def way(*segments: Segment) -> Circuit:
    return Circuit(id="D1", label="Pump", monitor=None, supply="house", sense=Sense(), protection=BLADE, conductor=segments)


def held(*pairs: tuple[float, float]) -> tuple[Held, ...]:
    return tuple(Held(seconds=s, amps=a, begins_ms=T0) for s, a in pairs)


def parsed(svg: str) -> ET.Element:
    """As XML: stricter than a page needs, and whatever was put in as text has stayed text."""
    return ET.fromstring(svg.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1))


# Gates of ISO 8820-3 type C, as in data sheets naming it (two public texts): multiple, least and most seconds.
GATES = ((1.35, 0.75, 600.0), (1.60, 0.25, 50.0), (2.00, 0.15, 5.0), (3.50, 0.08, 0.5))


@pytest.mark.parametrize(("multiple", "least_s", "most_s"), GATES)
def test_the_band_lies_within_the_gates_of_its_standard(multiple: float, least_s: float, most_s: float) -> None:
    found = band(BLADE)
    assert found is not None
    early = at(found.earliest, 15 * multiple)
    late = at(found.latest, 15 * multiple)
    assert least_s * 0.99 <= early <= late <= most_s * 1.03


def at(points: tuple[tuple[float, float], ...], amps: float) -> float:
    """Between two points of a line, on log scales."""
    for (a, s), (b, r) in itertools.pairwise(points):
        if a <= amps <= b:
            share = log10(amps / a) / log10(b / a)
            return float(s * (r / s) ** share)
    return inf


def test_nothing_is_claimed_where_nothing_is_published() -> None:
    assert band(Protection(kind="electronic", rating_a=10)) is None
    assert not opens_within(Protection(kind="electronic", rating_a=10), 1000.0, 1e6)
    assert not opens_within(BLADE, 15.0, 100 * 3600), "it carries its rating for 100 h at the least (ISO 8820-3)"
    assert opens_within(BLADE, 1.35 * 15, 600)


def test_the_conductors_limit_ends_at_its_ampacity_and_at_k2s2() -> None:
    found = bears(PLAN, way(Segment(area_mm2=2.5, insulation_c=105, length_m=4)))
    assert found is not None
    amps, seconds = found.warm[-1]
    assert seconds == pytest.approx(MOST_S)
    assert amps == pytest.approx(found.ampacity.thermal_a, rel=1e-6)
    for amps, seconds in found.short:  # IEC 60364-4-43: t = k²S² / I², k = 143 for cross-linked copper
        assert amps**2 * seconds == pytest.approx((143 * 2.5) ** 2)
        assert seconds <= 5.0 * 1.0001
    assert withstand_a2s(2.5, 105) == (143 * 2.5) ** 2
    assert bears(PLAN, way()) is None
    assert bears(PLAN, way(Segment(length_m=4))) is None, "no size, no line"


def test_the_weakest_stretch_decides() -> None:
    thin, thick = Segment(area_mm2=1.5, insulation_c=105), Segment(area_mm2=6, insulation_c=105)
    assert bears(PLAN, way(thick, thin)) == bears(PLAN, way(thin, thick))
    both, alone = bears(PLAN, way(thick, thin)), bears(PLAN, way(thin))
    assert both is not None
    assert alone is not None
    assert both.short == alone.short


def test_a_measured_point_stands_where_its_numbers_say() -> None:
    svg = drawn.coordination("D1", held((60, 4.0)), band(BLADE), None, (), T, rating_a=15)
    circle = next(c for c in parsed(svg).iter(f"{SVG}circle") if c.get("r") == "3")
    ticks = {t.text: float(t.get("x") or 0) for t in parsed(svg).iter(f"{SVG}text") if t.get("text-anchor") == "middle"}
    x = ticks["2"] + (ticks["5"] - ticks["2"]) * log10(4 / 2) / log10(5 / 2)
    assert float(circle.get("cx") or 0) == pytest.approx(x, abs=0.2)
    y = 320 - 310 * log10(60 / LEAST_S) / log10(MOST_S / LEAST_S)
    assert float(circle.get("cy") or 0) == pytest.approx(y, abs=0.1)


def test_the_pencil_marks_what_is_beyond_and_nothing_else() -> None:
    fine = drawn.coordination("D1", held((1, 9.0), (60, 4.0)), band(BLADE), None, (), T, rating_a=15)
    assert "pencil" not in fine
    points = held((1, 30.0), (60, 4.0))
    over = drawn.coordination("D1", points, band(BLADE), None, points[:1], T, rating_a=15)
    assert over.count('class="pencil"') == 2, "the point, and the key that says what it means"
    assert "In or beyond a limit" in over


def test_nothing_read_is_no_line_at_zero() -> None:
    for points in ((), held((1, 0.0), (60, 0.0))):
        svg = drawn.coordination("D1", points, band(BLADE), None, (), T, rating_a=15)
        assert "circle" not in svg
        assert "No current was read" in svg
    bare = drawn.coordination("D1", (), None, None, (), T, rating_a=None)
    parsed(bare)


@pytest.mark.parametrize("amps", [1e-4, 0.03, 1.0, 499.9, 12_000.0])
@pytest.mark.parametrize("rating_a", [None, 1.0, 15.0, 500.0])
def test_every_line_stays_on_the_paper(amps: float, rating_a: float | None) -> None:
    device = None if rating_a is None else Protection(kind="bolt-fuse", rating_a=max(30.0, rating_a))
    limits = bears(PLAN, way(Segment(area_mm2=2.5)))
    points = held((1, amps), (10_800, amps / 2))
    root = parsed(drawn.coordination("D1", points, band(device) if device else None, limits, points, T, rating_a=rating_a))
    for path in root.iter(f"{SVG}path"):
        for x, y in re.findall(r"[ML](-?[\d.]+) (-?[\d.]+)", path.get("d") or ""):
            assert 0 <= float(x) <= 360
            assert 0 <= float(y) <= float(root.get("height") or 0)


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("name", HOSTILE)
def test_strange_names_stay_text(name: str, language: str) -> None:
    t = words(language)
    drawings = (
        drawn.coordination(name, held((1, 30.0)), band(BLADE), bears(PLAN, way(Segment(area_mm2=4))), held((1, 30.0)), t,
            rating_a=15),
        drawn.days(name, hours([1.0]), ZoneInfo("UTC"), str, t, key="a"),
    )  # fmt: skip
    for svg in drawings:
        root = parsed(svg)
        assert root.get("role") == "img"
        title = root.find(f"{SVG}title")
        assert title is not None
        assert name in (title.text or "")
        assert root.find(f"{SVG}desc") is not None
        assert "style=" not in svg
        assert not re.search(r"<(script|img|a)\b", svg)


def hours(means: list[float | None], unread: float = 0.0) -> list[Hour]:
    return [
        Hour(
            begins_ms=T0 + i * HOUR_MS, mean_a=m, low_a=None if m is None else m / 2, high_a=None if m is None else m * 2,
            unread_s=3600.0 if m is None else unread,
        )
        for i, m in enumerate(means)
    ]  # fmt: skip


def test_an_hour_without_readings_is_hatched_one_at_zero_is_a_line() -> None:
    svg = drawn.days("D1", hours([2.0, None, 0.0]), ZoneInfo("UTC"), str, T, key="k")
    assert svg.count('fill="url(#hatch-k)"') == 2, "one hour, and the key that says what hatching means"
    assert svg.count('stroke-width="1.8"') == 2, "the hour at zero has its line on the ground, the unread has none"
    assert "1.0 h were not read" in svg
    part = drawn.days("D1", hours([2.0], unread=900), ZoneInfo("UTC"), str, T, key="k")
    assert part.count('fill="url(#hatch-k)"') == 2
    assert 'stroke-width="1.8"' in part


def test_days_are_local_and_the_last_are_shown() -> None:
    named: list[date] = []

    def name(day: date) -> str:
        named.append(day)
        return f"{day:%d.%m.}"

    drawn.days("D1", hours([1.0] * 24 * 12), ZoneInfo("Pacific/Auckland"), name, T, key="k")
    assert len(named) == drawn.MOST_DAYS
    assert named[-1] == date(2026, 5, 13), "06:00 UTC of the first of May is 18:00 there"
    parsed(drawn.days("D1", [], ZoneInfo("UTC"), name, T, key="k"))


def test_charge_and_draw_stand_on_the_same_ground() -> None:
    turned = [Hour(begins_ms=T0, mean_a=-2.0, low_a=-4.0, high_a=-1.0, unread_s=0)]
    same = [Hour(begins_ms=T0, mean_a=2.0, low_a=1.0, high_a=4.0, unread_s=0)]
    assert drawn.days("D1", turned, ZoneInfo("UTC"), str, T, key="k") == drawn.days(
        "D1", same, ZoneInfo("UTC"), str, T, key="k"
    )
