"""One house with its door and one browser for all tests of a worker; a page that may not say an error or ask anybody else."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from typing import Any

import pytest

from brokers import wait_for
from door.doorway import BLOWN, BLOWN_A, OVER_A, Doorway

AT_A_TIME = 12  # answers of one test, at most, in quick order
Opened = Callable[..., Any]


@pytest.fixture(scope="session")
def doorway(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Doorway]:
    """Three ways draw too much, one of them of what life depends on; a fourth has blown its fuse."""
    made = Doorway(tmp_path_factory.mktemp("door"))
    try:
        made.open()
        assert wait_for(lambda: "D5" in str(made.present.get("circuits")), 30), made.said()
        made.draws |= OVER_A | {BLOWN: BLOWN_A}
        assert wait_for(lambda: made.state(BLOWN) != "none", 60), made.said()
        made.draws[BLOWN] = 0.0
        assert wait_for(lambda: made.state(BLOWN, "protection-opened") == "unacknowledged", 60), made.said()
        for circuit in OVER_A:
            assert wait_for(lambda c=circuit: made.state(c) == "unacknowledged", 60), (circuit, made.said())
        yield made
    finally:
        made.end()


class Asked:
    """What the door was asked, and when: to it all these phones are one, and it lets nobody ask without an end."""

    def __init__(self) -> None:
        self.posts: list[float] = []
        self.all: list[float] = []

    def note(self, request: Any) -> None:
        self.all.append(time.monotonic())
        if request.method == "POST":
            self.posts.append(self.all[-1])

    def rest(self) -> None:
        """Wait until one test's worth of both is left: 30 answers at once and one a second, 240 requests and ten a second."""
        while _left(self.posts, 30.0, 1.0) < AT_A_TIME or _left(self.all, 240.0, 10.0) < 10 * AT_A_TIME:
            time.sleep(0.2)


def _left(asked: list[float], most: float, per_s: float) -> float:
    left, last_s = most, asked[0] if asked else 0.0
    for at_s in asked:
        left, last_s = min(most, left + (at_s - last_s) * per_s) - 1, at_s
    return min(most, left + (time.monotonic() - last_s) * per_s)


@pytest.fixture(scope="session")
def asked() -> Asked:
    return Asked()


@pytest.fixture
def opened(browser: Any, doorway: Doorway, asked: Asked) -> Iterator[Opened]:
    """`opened(width, path, **context)`: a page in a phone of its own. Errors and foreign requests fail the test."""
    contexts, wrong = [], []

    def page(width: int = 360, path: str = "/", *, lost: bool = False, missing: bool = False, **more: Any) -> Any:
        """`lost`: the door may be out of reach: failed requests are no error; `missing`: nor is a page that is none."""
        asked.rest()
        context = browser.new_context(**({"viewport": {"width": width, "height": 780}, "has_touch": True} | more))
        contexts.append(context)
        context.set_default_timeout(8000)
        made = context.new_page()

        def foreign(request: Any) -> None:
            if not request.url.startswith((doorway.url + "/", "data:")):
                wrong.append(f"asked {request.url}")

        made.on("request", foreign)
        made.on("request", asked.note)
        made.on("pageerror", lambda error: wrong.append(f"page error: {error}"))
        made.on(
            "console",
            lambda said: (
                wrong.append(f"console: {said.text}")
                if said.type in ("error", "warning")
                and not (lost and "net::ERR" in said.text)
                and not (missing and "404" in said.text)
                else None
            ),
        )
        made.goto(doorway.url + path)
        return made

    yield page
    for context in contexts:
        context.close()
    assert wrong == []
