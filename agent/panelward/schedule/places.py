"""Where each key of a TOML text stands. `tomllib` gives values without positions; a person needs the line.

The text must already have been accepted by tomllib: this scanner follows its structure and judges nothing.
"""

from __future__ import annotations

import re
import tomllib
from bisect import bisect_right

Path = tuple[str | int, ...]

_BLANK = re.compile(r"(?:[ \t\n]|#[^\n]*)*")
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_SCALAR = re.compile(r"[^,\]}#\n]*")
_STRINGS = (  # the longer quotes first; up to two quotes more may belong to the text (TOML 1.0, String)
    re.compile(r'"""(?:[^\\]|\\.)*?"""(?:"{0,2})', re.DOTALL),
    re.compile(r"'''.*?'''(?:'{0,2})", re.DOTALL),
    re.compile(r'"(?:[^"\\\n]|\\.)*"'),
    re.compile(r"'[^'\n]*'"),
)


class Places:
    """The line of every path of a document. A path is made of keys and of indexes from 0: ("circuit", 3, "label")."""

    def __init__(self, text: str) -> None:
        self._text = text.replace("\r\n", "\n")
        self._at = 0
        self._starts = [0, *(m.end() for m in re.finditer("\n", self._text))]
        self._arrays: dict[Path, int] = {}
        self.lines: dict[Path, int] = {}
        self._scan()

    def line(self, path: Path) -> int | None:
        """The line of a path, or of the nearest table around it that is written; None for the whole document."""
        while path:
            if path in self.lines:
                return self.lines[path]
            path = path[:-1]
        return None

    def _scan(self) -> None:
        table: Path = ()
        while True:
            self._blank()
            if self._at >= len(self._text):
                return
            if self._text[self._at] == "[":
                table = self._header()
            else:
                self._pair(table)

    def _header(self) -> Path:
        line = self._line()
        array = self._text.startswith("[[", self._at)
        self._at += 2 if array else 1
        parts = self._key()
        self._at += 2 if array else 1
        path: Path = ()
        for index, part in enumerate(parts):
            path = (*path, part)
            self.lines.setdefault(path, line)
            if array and index == len(parts) - 1:
                count = self._arrays.get(path, 0)
                self._arrays[path] = count + 1
                path = (*path, count)
            elif path in self._arrays:
                path = (*path, self._arrays[path] - 1)
        self.lines[path] = line
        return path

    def _pair(self, table: Path) -> None:
        line = self._line()
        path = table
        for part in self._key():
            path = (*path, part)
            self.lines.setdefault(path, line)
        self._at = self._text.index("=", self._at) + 1
        self._value(path)

    def _key(self) -> list[str]:
        """A dotted key; stands behind it afterwards."""
        parts: list[str] = []
        while True:
            self._blank()
            if self._text[self._at] in "\"'":
                quoted = self._string()
                plain = quoted[1:-1]
                parts.append(next(iter(tomllib.loads(f"{quoted} = 0"))) if "\\" in quoted else plain)
            else:
                found = _BARE_KEY.match(self._text, self._at)
                assert found is not None  # tomllib accepted the text
                self._at = found.end()
                parts.append(found.group())
            self._blank()
            if self._text[self._at] != ".":
                return parts
            self._at += 1

    def _value(self, path: Path) -> None:
        self._blank()
        first = self._text[self._at]
        if first == "[":
            self._at += 1
            index = 0
            while self._inside("]"):
                self.lines[(*path, index)] = self._line()
                self._value((*path, index))
                index += 1
        elif first == "{":
            self._at += 1
            while self._inside("}"):
                self._pair(path)
        elif first in "\"'":
            self._string()
        else:
            found = _SCALAR.match(self._text, self._at)
            assert found is not None  # it matches nothing at all too
            self._at = found.end()

    def _inside(self, closing: str) -> bool:
        """Whether another item follows; stands at it, or behind the closing bracket."""
        self._blank()
        if self._text[self._at] == ",":
            self._at += 1
            self._blank()
        if self._text[self._at] != closing:
            return True
        self._at += 1
        return False

    def _string(self) -> str:
        for pattern in _STRINGS:
            found = pattern.match(self._text, self._at)
            if found is not None:
                self._at = found.end()
                return found.group()
        raise AssertionError("a string that tomllib accepted")

    def _blank(self) -> None:
        found = _BLANK.match(self._text, self._at)
        assert found is not None  # it matches nothing at all too
        self._at = found.end()

    def _line(self) -> int:
        return bisect_right(self._starts, self._at)
