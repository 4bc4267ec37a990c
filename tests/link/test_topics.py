"""Topic filters against the pairs of OASIS MQTT 5.0 section 4.7."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from panelward.link.topics import matches, valid_filter

PUBLISHED = tomllib.loads((Path(__file__).parent.parent / "reference" / "mqtt_topics.toml").read_text())


@pytest.mark.parametrize("pair", PUBLISHED["match"]["pairs"], ids=lambda p: f"{p['filter']} {p['topic']}")
def test_pairs(pair: dict[str, object]) -> None:
    assert matches(str(pair["filter"]), str(pair["topic"])) == pair["match"]


@pytest.mark.parametrize("row", PUBLISHED["filters"]["filters"], ids=lambda r: repr(r["f"]))
def test_filters(row: dict[str, object]) -> None:
    assert valid_filter(str(row["f"])) == row["valid"]
