"""What the tests of the living daemon share."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from houses import House


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    """A house with its broker; the daemon is started by who wants it."""
    made = House(tmp_path)
    made.broker.start()
    yield made
    made.end()
