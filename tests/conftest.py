"""Makes the helper modules of this folder importable from every test; and the one browser of a worker."""

from __future__ import annotations

import shutil
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

sys.path.insert(0, str(Path(__file__).parent))

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """One for all tests of a worker: a second driver in one process finds the loop of the first and gives up."""
    if CHROMIUM is None:
        pytest.skip("no Chromium on this machine (Debian: apt-get install chromium)")
    sync_api = pytest.importorskip("playwright.sync_api")
    with sync_api.sync_playwright() as playwright:
        made = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield made
        made.close()
