"""The review's file in a real browser: no error, nothing asked of anybody, accessible, within a phone's width, on paper."""

from __future__ import annotations

import json
import shutil
import subprocess
from collections.abc import Callable, Iterator
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest

from door.test_accessible import AXE, HERE, TAGS, VALIDATE
from panelward.review import hour_page
from panelward.review.page import html
from review import hours, sheets
from review.test_hour import asked

PLAN = sheets.schedule()
REPORTS = {"month": sheets.journey, "unknown": sheets.unknown, "empty": sheets.empty}
Opened = Callable[..., Any]


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    room = tmp_path_factory.mktemp("review")
    made = {name: room / f"{name}.html" for name in REPORTS}
    for name, path in made.items():
        path.write_text(html(REPORTS[name](PLAN), PLAN), encoding="utf-8")
    made["hour"] = room / "hour.html"
    made["hour"].write_text(hour_page.html(asked(hours.made(room))), encoding="utf-8")
    return made


@pytest.fixture
def opened(browser: Any) -> Iterator[Opened]:
    """`opened(path, width)`: the file; an error, a warning or a request fails the test."""
    contexts, wrong = [], []

    def page(path: Path, width: int = 360, **more: Any) -> Any:
        context = browser.new_context(**({"viewport": {"width": width, "height": 780}} | more))
        contexts.append(context)
        made = context.new_page()
        made.on("request", lambda request: None if request.url.startswith(path.as_uri()) else wrong.append(request.url))
        made.on("pageerror", lambda error: wrong.append(str(error)))
        made.on("console", lambda said: wrong.append(said.text) if said.type in ("error", "warning") else None)
        made.goto(path.as_uri())
        return made

    yield page
    for context in contexts:
        context.close()
    assert wrong == []


def unfolded(page: Any) -> None:
    page.evaluate("() => document.querySelectorAll('details').forEach(d => { d.open = true })")


@pytest.mark.parametrize("name", [*REPORTS, "hour"])
@pytest.mark.parametrize(("width", "scheme"), [(360, "light"), (360, "dark"), (1200, "light")])
def test_axe_finds_nothing(opened: Opened, files: dict[str, Path], name: str, width: int, scheme: str) -> None:
    if not AXE.exists():
        pytest.skip("no axe-core here: npm ci --prefix tests/door")
    page = opened(files[name], width, color_scheme=scheme, bypass_csp=True)
    unfolded(page)
    page.evaluate(AXE.read_text())
    result = page.evaluate("tags => axe.run({ runOnly: tags, resultTypes: ['violations'] })", TAGS)
    assert len(result["passes"]) > 5
    assert [(v["id"], v["help"], [n["html"][:160] for n in v["nodes"][:3]]) for v in result["violations"]] == []


def test_html_is_valid(files: dict[str, Path]) -> None:
    node = shutil.which("node")
    if node is None or not VALIDATE.exists():
        pytest.skip("no html-validate here: npm ci --prefix tests/door")
    pages = {name: path.read_text(encoding="utf-8") for name, path in files.items()}
    ended = subprocess.run(
        [node, str(HERE / "validate.cjs")], input=json.dumps(pages), capture_output=True, text=True, timeout=120, check=True
    )
    assert json.loads(ended.stdout) == []


@pytest.mark.parametrize("width", [320, 360, 1200])
def test_no_page_scrolls_sideways(opened: Opened, files: dict[str, Path], width: int) -> None:
    """Wide tables scroll in a box of their own."""
    for path in files.values():
        page = opened(path, width)
        unfolded(page)
        wide = page.evaluate("() => [document.documentElement.scrollWidth, document.documentElement.clientWidth]")
        assert wide[0] <= wide[1], (path.name, wide)


def test_the_drawing_that_fits_is_the_one_that_is_shown(opened: Opened, files: dict[str, Path]) -> None:
    seen = "() => [...document.querySelectorAll('svg.narrow, svg.wide')].map(e => [e.classList[1], e.checkVisibility()])"
    assert dict(opened(files["month"], 360).evaluate(seen)) == {"narrow": True, "wide": False}
    assert dict(opened(files["month"], 1200).evaluate(seen)) == {"narrow": False, "wide": True}


def test_texts_of_drawings_are_large_enough(opened: Opened, files: dict[str, Path]) -> None:
    """Ten pixels at the least on a phone, and no drawing's text leaves the sheet."""
    page = opened(files["month"], 360)
    texts = page.evaluate(
        "() => [...document.querySelectorAll('svg.drawing text')].filter(e => e.checkVisibility()).map(e => {"
        " const b = e.getBoundingClientRect(); return [e.textContent, b.height, b.left, b.right] })"
    )
    assert len(texts) > 200
    assert [each for each in texts if each[1] < 10 or each[2] < 0 or each[3] > 360] == []


def test_a_tap_on_what_happened_leads_to_its_way(opened: Opened, files: dict[str, Path]) -> None:
    page = opened(files["month"], 360)
    page.get_by_role("link", name="Bench sockets: the fuse cut off").click()
    head = page.get_by_role("heading", name="D7 Bench sockets")
    assert -1 <= head.bounding_box()["y"] < 780  # a part of a pixel may be above


def test_it_prints_on_a4_with_page_one_on_one_page(opened: Opened, files: dict[str, Path]) -> None:
    pypdf = pytest.importorskip("pypdf")
    made = opened(files["month"], 1200).pdf(prefer_css_page_size=True)
    pages = pypdf.PdfReader(BytesIO(made)).pages
    assert [round(float(side)) for side in pages[0].mediabox[2:]] == pytest.approx([595, 842], abs=1)
    first, second = (" ".join(page.extract_text().split()) for page in pages[:2])
    for head in ("What these pages can't say", "What happened", "The journey along the panel", "What used the energy"):
        assert head in first
    assert "no circuit accounts for it" in first  # the last row of the table
    assert "How near each way came to its limit" in second


def test_what_matters_most_is_read_on_a_phone_without_swiping(opened: Opened, files: dict[str, Path]) -> None:
    """Each row is an entry, each figure has its name; nothing of it lies beside the screen, on a wide one neither."""
    boxes = "e => e.filter(b => b.checkVisibility()).map(b => [b.scrollWidth, b.clientWidth])"
    for width in (360, 1200):
        page = opened(files["month"], width)
        found = page.locator(".folds").evaluate_all(boxes)
        assert len(found) > 8
        assert [each for each in found if each[0] > each[1]] == []
    page = opened(files["month"], 360)
    cell = page.locator("[aria-label^='Energy of each way'] td").first
    assert cell.evaluate("e => getComputedStyle(e, '::before').content").startswith('"Wh')


def test_what_cannot_be_said_is_printed_whole(opened: Opened, files: dict[str, Path]) -> None:
    pypdf = pytest.importorskip("pypdf")
    page = opened(files["month"], 1200)
    assert not page.locator("details.shown li").first.is_visible()
    printed = pypdf.PdfReader(BytesIO(page.pdf(prefer_css_page_size=True))).pages[0].extract_text()
    assert "whether it had its feed then" in " ".join(printed.split())
