"""The line of every key, against tomllib: what it finds in a document must have a place, and the right one."""

from __future__ import annotations

import json
import tomllib
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from panelward.schedule.places import Path, Places

# Forms of the TOML 1.0.0 specification (toml.io/en/v1.0.0): each value is the number of the line it stands on.
FORMS = '''\
bare = 1
"quoted key" = 2
'literal.key' = 3
"esc\\u0061ped" = 4
dotted . "in" . three = 5
text = ["""
not = 7
[nor.this]
""", 9, """a \\""" b""""", 9]   # 9 = comment
literal = [\'\'\'
" = [
\'\'\', 12]
array = [ # first
  14,
  [15, 15],  # ]
  { x = 16, y = { z = 16 } },
  "]",
]
inline = { a = 19, "b" = [19, { c = 19 }] }

[table] # [not]
key = 22
[ spaced . "out" ]
key = 24
[[way]]
key = 26
[way.sub]
key = 28
[[way.deep]]
key = 30
[[way.deep]]
key = 32
[[way]]
key = 34
[way.sub]
key = 36
[[way.deep]]
key = 38
'''


def paths(value: Any, path: Path = ()) -> list[tuple[Path, Any]]:
    found = [(path, value)] if path else []
    items: Any = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, item in items:
        found += paths(item, (*path, key))
    return found


def test_the_forms_of_the_specification() -> None:
    places = Places(FORMS)
    found = paths(tomllib.loads(FORMS))
    numbers = [(path, value) for path, value in found if isinstance(value, int)]
    assert len(numbers) == 25
    assert {path: places.lines[path] for path, _ in numbers} == dict(numbers)
    assert [path for path, _ in found if path not in places.lines] == []


def test_tables_stand_where_their_header_stands() -> None:
    places = Places(FORMS)
    assert places.line(("table",)) == 21
    assert places.line(("way", 1, "deep", 0)) == 37
    assert places.line(("way", 0, "deep", 1)) == 31
    assert places.line(("way", 1, "sub")) == 35
    late = "[a.b]\n[a]\n"
    assert Places(late).line(("a",)) == 2


def test_a_missing_key_stands_where_its_table_stands() -> None:
    places = Places(FORMS)
    assert places.line(("way", 1, "sub", "missing")) == 35
    assert places.line(("inline", "b", 1, "missing")) == 19
    assert places.line(("nowhere",)) is None
    assert places.line(()) is None


def test_line_ends_of_another_system() -> None:
    assert Places(FORMS.replace("\n", "\r\n")).lines == Places(FORMS).lines


TEXTS = st.text(st.characters(codec="utf-8", exclude_categories=["Cs", "Cc"]), max_size=6)
VALUES = st.recursive(
    st.integers(0, 9) | st.booleans() | TEXTS,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(TEXTS, inner, max_size=3),
    max_leaves=8,
)


def written(value: Any) -> str:
    """A value in TOML, its arrays over several lines."""
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{written(key)} = {written(item)}" for key, item in value.items()) + " }"
    if isinstance(value, list):
        return "[\n" + "".join(f"{written(item)}, # ]\n" for item in value) + "]"
    return json.dumps(value, ensure_ascii=False)


@given(st.lists(st.tuples(st.sampled_from(["[{}]", "[[{}]]"]), TEXTS, st.dictionaries(TEXTS, VALUES)), max_size=4))
@settings(deadline=None)
def test_whatever_tomllib_reads_has_a_place(tables: list[tuple[str, str, dict[str, Any]]]) -> None:
    text = ""
    for header, name, keys in tables:
        text += header.format(written(name)) + "\n"
        text += "".join(f"{written(key)} = {written(value)}\n" for key, value in keys.items())
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError:  # a table twice
        return
    places = Places(text)
    lines = text.split("\n")
    for path, value in paths(document):
        line = places.lines[path]
        if isinstance(path[-1], str) and not isinstance(value, dict | list):
            assert f"{written(path[-1])} = {written(value)}" in lines[line - 1]
