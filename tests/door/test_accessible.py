"""Every page that the door links to: axe-core, html-validate, reflow and targets by WCAG 2.2, light and dark."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import urllib.error
import urllib.request
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest

from door.conftest import Opened
from door.doorway import PHONES_PX, Doorway

HERE = Path(__file__).parent
AXE = HERE / "node_modules" / "axe-core" / "axe.min.js"
VALIDATE = HERE / "node_modules" / "html-validate"
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
ALSO = ("/login", "/no-such-page")
FITTS_PX, LEAST_PX = 48, 24  # ours; WCAG 2.2, 2.5.8


class Links(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found += [value for name, value in attrs if tag == "a" and name == "href" and value]


def fetched(url: str) -> tuple[int, str]:
    try:
        with urllib.request.urlopen(url, timeout=20) as answer:
            return answer.status, answer.read().decode()
    except urllib.error.HTTPError as error:
        with error:
            return error.code, error.read().decode()


@pytest.fixture(scope="module")
def pages(doorway: Doorway) -> dict[str, str]:
    """Address -> HTML of each page that a tap leads to from the first one: two of each kind are enough."""
    found: dict[str, str] = {}
    waiting, kinds = ["/", *ALSO], {}
    while waiting:
        path = waiting.pop(0)
        if path in found:
            continue
        kind = re.sub(r"(?<=^/)(\w+)/.*", r"\1/", path)
        kinds[kind] = kinds.get(kind, 0) + 1
        if kinds[kind] > 2:
            continue
        status, html = fetched(doorway.url + path)
        assert status == (404 if path == "/no-such-page" else 200), f"{path} leads nowhere: {status}"
        found[path] = html
        links = Links()
        links.feed(html)
        waiting += [link.partition("#")[0] for link in links.found if link.startswith("/") and not urlsplit(link).netloc]
    assert {"/", "/behind", "/messages", "/alarms", "/unseen"} <= found.keys()
    assert any(path.startswith("/alarm/") for path in found)
    return found


def test_html_is_valid(pages: dict[str, str]) -> None:
    node = shutil.which("node")
    if node is None or not VALIDATE.exists():
        pytest.skip("no html-validate here: npm ci --prefix tests/door")
    ended = subprocess.run(
        [node, str(HERE / "validate.cjs")], input=json.dumps(pages), capture_output=True, text=True, timeout=120, check=True
    )
    assert json.loads(ended.stdout) == []


def test_the_validator_finds_what_is_wrong() -> None:
    node = shutil.which("node")
    if node is None or not VALIDATE.exists():
        pytest.skip("no html-validate here: npm ci --prefix tests/door")
    wrong = {"/": "<!doctype html><html lang=en><head><title>x</title></head><body><p><div></div></p></body></html>"}
    ended = subprocess.run(
        [node, str(HERE / "validate.cjs")], input=json.dumps(wrong), capture_output=True, text=True, timeout=120, check=True
    )
    assert json.loads(ended.stdout)


def unfolded(page: Any) -> None:
    """Everything that can be opened is judged too."""
    page.evaluate("() => document.querySelectorAll('details').forEach(d => { d.open = true })")


def each(opened: Opened, pages: dict[str, str], width: int, **context: Any) -> Any:
    page = opened(width, "/behind", missing=True, **context)
    origin = re.match(r"https?://[^/]+", page.url)
    assert origin is not None
    for path in pages:
        page.goto(origin[0] + path)
        unfolded(page)
        yield path, page


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing(opened: Opened, pages: dict[str, str], scheme: str) -> None:
    if not AXE.exists():
        pytest.skip("no axe-core here: npm ci --prefix tests/door")
    axe, found = AXE.read_text(), []
    for path, page in each(opened, pages, 360, color_scheme=scheme):
        page.evaluate(axe)
        result = page.evaluate("tags => axe.run({ runOnly: tags, resultTypes: ['violations'] })", TAGS)
        assert len(result["passes"]) > 5, path
        for violation in result["violations"]:
            nodes = [node["html"][:120] for node in violation["nodes"][:3]]
            found.append(f"{path}: {violation['impact']}: {violation['id']}: {violation['help']}: {nodes}")
    assert not found, "\n".join(found)


def test_axe_finds_what_is_wrong(opened: Opened) -> None:
    if not AXE.exists():
        pytest.skip("no axe-core here: npm ci --prefix tests/door")
    page = opened(360, "/behind")
    wrong = '<input name=x><p><font color="#ccc">faint</font></p>'
    page.evaluate("wrong => document.querySelector('main').insertAdjacentHTML('beforeend', wrong)", wrong)
    page.evaluate(AXE.read_text())
    result = page.evaluate("tags => axe.run({ runOnly: tags })", TAGS)
    assert {"label", "color-contrast"} <= {violation["id"] for violation in result["violations"]}


@pytest.mark.parametrize("width", [320, *PHONES_PX])
def test_no_page_scrolls_sideways(opened: Opened, pages: dict[str, str], width: int) -> None:
    """WCAG 2.2, 1.4.10: 320 CSS px is 1,280 px at 400 %; 360 px at 200 % is a phone's page in its narrowest."""
    found = []
    for path, page in each(opened, pages, width):
        wide = page.evaluate(
            "() => [document.documentElement.scrollWidth, document.documentElement.clientWidth,"
            " [...document.querySelectorAll('main *')].filter(e => e.getBoundingClientRect().right > innerWidth + 1"
            " && !e.closest('svg')).slice(0, 3).map(e => e.outerHTML.slice(0, 100))]"
        )
        if wide[0] > wide[1]:
            found.append((path, wide))
    assert found == []


TARGETS = """() => [...document.querySelectorAll('a, button, summary, input:not([type=hidden]), select, textarea')]
  .filter(e => e.checkVisibility() && !e.closest('.vh')).map(e => {
    const box = (e.matches('[type=checkbox], [type=radio]') && e.closest('label') || e).getBoundingClientRect();
    return [e.tagName + ' ' + (e.innerText || e.name || e.getAttribute('aria-label') || '').slice(0, 40),
            Math.round(box.height * 10) / 10, Math.round(box.width), getComputedStyle(e).display,
            !!e.closest('.answers'), e.closest('.answers') ? Math.round(e.parentElement.getBoundingClientRect().width) : 0];
  })"""


def test_targets_are_for_thumbs(opened: Opened, pages: dict[str, str]) -> None:
    """Rows, keys and fields 48 px; the answers as wide as the sheet. A link within a sentence has at least 24 px."""
    found, answers = [], 0
    for path, page in each(opened, pages, 360):
        for name, high, wide, display, answer, room in page.evaluate(TARGETS):
            inline = display.startswith("inline") and name.startswith("A ")
            if high < (LEAST_PX if inline else FITTS_PX) or wide < LEAST_PX:
                found.append((path, name, high, wide, display))
            if answer and not name.startswith("INPUT"):
                answers += 1
                assert wide >= 0.85 * room, (path, name, wide, room)
                assert wide >= 280, (path, name, wide)
    assert not found, "\n".join(map(str, found))
    assert answers >= 6
