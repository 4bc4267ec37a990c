"""SenML, JSON Pointer and topic filters against the vectors of their standards."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Any

import pytest

from panelward.errors import PayloadRefused
from panelward.intake.pointer import NotThere, resolve
from panelward.intake.senml import resolve as resolve_senml

REFERENCE = Path(__file__).parent.parent / "reference"
SENML = tomllib.loads((REFERENCE / "senml.toml").read_text())["case"]
POINTER = tomllib.loads((REFERENCE / "jsonpointer.toml").read_text())


def _order(record: dict[str, Any]) -> tuple[float, str]:
    return round(record["t"], 3), record["n"]


@pytest.mark.parametrize("case", SENML, ids=[c["name"] for c in SENML])
def test_senml_resolves_as_published(case: dict[str, Any]) -> None:
    """RFC 8428. The third example carries bver 5, which by 4.6 stays in resolved records; its example file omits it,
    and leaves it out of time order, which 4.6 asks for: compared in one order.
    """
    got = resolve_senml(json.loads(case["pack_json"]), case.get("now", 1_700_000_500))
    wanted = json.loads(case["resolved_json"])
    assert [r["t"] for r in got] == sorted(r["t"] for r in got)
    assert len(got) == len(wanted)
    for mine, theirs in zip(sorted(got, key=_order), sorted(wanted, key=_order), strict=True):
        assert mine.pop("bver", 5) == 5
        assert mine.keys() == theirs.keys()
        for key, value in theirs.items():
            assert mine[key] == (pytest.approx(value, abs=1e-6) if isinstance(value, float) else value)


@pytest.mark.parametrize(
    "pack",
    [
        {},
        [],
        [1],
        [{"n": "a"}],
        [{"n": "a", "v": "1"}],
        [{"n": "a", "v": True}],
        [{"n": "a", "v": 1, "vs": "x"}],
        [{"v": 1}],
        [{"n": "-a", "v": 1}],
        [{"n": "a b", "v": 1}],
        [{"n": "a", "v": 1, "new_": 1}],
        [{"bver": 11, "n": "a", "v": 1}],
        [{"bver": 10, "n": "a", "v": 1}, {"bver": 5, "n": "b", "v": 1}],
        [{"bn": 3, "n": "a", "v": 1}],
        [{"bt": "now", "n": "a", "v": 1}],
    ],
)
def test_senml_refuses_what_the_rules_forbid(pack: Any) -> None:
    with pytest.raises(PayloadRefused):
        resolve_senml(pack, 1_700_000_500)


def test_relative_times_count_from_now() -> None:
    """RFC 8428 section 4.5.3: below 2^28 a time is relative to now."""
    got = resolve_senml([{"n": "a", "v": 1, "t": -5}, {"n": "b", "v": 2, "t": 2**28}], 1_700_000_500)
    assert sorted(r["t"] for r in got) == [2**28, 1_700_000_495]


@pytest.mark.parametrize("case", POINTER["cases"], ids=[repr(c["p"]) for c in POINTER["cases"]])
def test_json_pointer_vectors(case: dict[str, str]) -> None:
    assert resolve(json.loads(POINTER["document"]), case["p"]) == json.loads(case["j"])


def test_json_pointer_escapes_in_the_right_order() -> None:
    """RFC 6901 section 4: ~1 before ~0, so that "~01" is "~1"."""
    assert resolve({"~1": 3}, "/~01") == 3


@pytest.mark.parametrize("pointer", ["/foo/01", "/foo/-", "/foo/2", "/foo/1.0", "/foo/+1", "/nowhere", "/foo/0/x", "/foo/٣"])
def test_json_pointer_leads_nowhere(pointer: str) -> None:
    with pytest.raises(NotThere):
        resolve(json.loads(POINTER["document"]), pointer)


def test_a_pointer_begins_with_a_slash() -> None:
    with pytest.raises(ValueError, match="begins"):
        resolve({}, "foo")
