"""The header: where it stands, how the cells are parted, and which column each of its cells means."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Sequence
from io import StringIO

from panelward.schedule.sheet.cells import fold
from panelward.schedule.sheet.columns import (
    ALIASES,
    DOUBTFUL,
    FIGURES,
    KNOWN_UNITS,
    MOST_LINES,
    MOST_TITLES,
    NO_UNITS,
    UNITS,
    unit_words,
)
from panelward.schedule.sheet.panel import Column, Panel
from panelward.schedule.values import listed, shown

_HEADS = "position, purpose, supply, feed, device, rating_a, area_mm2 or awg, length_m, load, watts"

Rows = list[tuple[int, list[str]]]  # each with the line it begins on


def rows_below(panel: Panel, text: str) -> tuple[Rows, int]:
    """The rows below the header, and how many cells the header has; its columns are put into the panel.

    The delimiter is the one that finds the most known columns.
    """
    text = text.removeprefix("\ufeff").rstrip(" \t\r\n,;\u00a0")  # empty lines and columns at the end
    lines = list(StringIO(text, newline=""))
    if len(lines) > MOST_LINES:
        panel.fault(MOST_LINES + 1, "the sheet", f"at most {MOST_LINES} lines", f"{len(lines)}")
        panel.stop()
    likest: tuple[tuple[int, int], int, list[str]] = ((-1, 0), 1, [])  # what speaks for a line as the header; the line
    best: tuple[dict[str, list[Column]], int, Rows, tuple[int, str] | None] = ({}, 0, [], None)
    for delimiter in ",;\t":
        rows, error = _split(lines, delimiter)
        for index, (_, cells) in enumerate(rows[: MOST_TITLES + 1]):
            known = _headers(cells)
            words = sum(cell.strip() != "" for cell in cells)
            likest = max(likest, ((len(known), words), rows[index][0], cells), key=lambda row: row[0])
            if len(known) > 1 and ("position" in known or "purpose" in known):
                if len(known) > len(best[0]):
                    best = (known, index, rows, error)
                break
    known, index, rows, error = best
    if not known:
        wanted = f"a header with position, purpose and at least one more column, in the first {MOST_TITLES + 1} lines"
        panel.fault(likest[1], "the header", wanted, _likeness(likest[2]), f"Name the columns like these: {_HEADS}.")
        panel.stop()
    if error is not None:
        panel.fault(error[0], "row", "a row of CSV", error[1], "A quotation mark may be missing.")
    for line, _ in rows[:index]:
        panel.remark(line, "a title above the header, left out")
    _header(panel, *rows[index], known, rows[index + 1 :])
    panel.stop()
    return rows[index + 1 :], len(rows[index][1])


def _header(panel: Panel, line: int, cells: list[str], known: dict[str, list[Column]], rows: Rows) -> None:
    used = {column.at for columns in known.values() for column in columns}
    for name, columns in known.items():
        if len(columns) > 1:
            found = " and ".join(shown(column.header) for column in columns)
            panel.fault(line, f"the header, {name}", "one column for it", found, "Rename or delete one of them.")
        elif columns[0].factor <= 0:
            panel.fault(line, f"the header, {name}", unit_words(name), shown(columns[0].header))
        elif name in ("purpose", "feeder") and fold(columns[0].header) in DOUBTFUL:
            panel.remark(line, f"the column {shown(columns[0].header)} is read as the {name}")
        panel.columns[name] = columns[0]
    for name in ("position", "purpose"):
        if name not in known:
            panel.fault(line, f"the header, {name}", f"a column {name}", "none", f"Name the column {name}.")
    for at, cell in enumerate(cells):
        if at not in used and (cell.strip() or any(len(row) > at and row[at].strip() for _, row in rows)):
            name = f"column {shown(cell.strip())}" if cell.strip() else f"column {at + 1}, which has no name,"
            panel.remark(line, f"the {name} is not known and was left out")


def _split(lines: Iterable[str], delimiter: str) -> tuple[Rows, tuple[int, str] | None]:
    """The rows that are not empty, each with the line it begins on; and the line and words of what can't be read on."""
    reader = csv.reader(lines, delimiter=delimiter, skipinitialspace=True, strict=True)
    rows: Rows = []
    while True:
        line = reader.line_num + 1
        try:
            row = next(reader, None)
        except csv.Error as error:
            return rows, (line, str(error))
        if row is None:
            return rows, None
        if any(cell.strip() for cell in row):
            rows.append((line, row))


def _headers(cells: Sequence[str]) -> dict[str, list[Column]]:
    """The known columns of a header. A factor of 0 says that its unit does not fit."""
    found: dict[str, list[Column]] = {}
    doubtful: list[tuple[tuple[str, ...], Column]] = []
    for at, cell in enumerate(cells):
        header = " ".join(cell.split())
        if fold(header) in DOUBTFUL:
            doubtful.append((DOUBTFUL[fold(header)], Column(at, header)))
        elif (named := _named(header)) is not None:
            found.setdefault(named[0], []).append(Column(at, header, named[1]))
    feeders = sum(names == ("feeder",) for names, _ in doubtful)
    for names, column in doubtful:  # a number or a name: beside a column of positions it is the name
        free = next((name for name in names if name not in found), None)
        if free is not None and (free != "feeder" or feeders == 1):
            found[free] = [column]
    return found


def _likeness(cells: list[str]) -> str:
    """A line that is no header, and which of its words are not known."""
    words = [" ".join(cell.split()) for cell in cells if cell.strip()]
    if not words:
        return "nothing"
    known = {column.header for columns in _headers(cells).values() for column in columns}
    strange = [shown(word) for word in words if word not in known]
    if not known:
        return f"{shown(', '.join(words))}: none of it is known"
    return shown(", ".join(words)) + (f", of which not known: {listed(strange)}" if strange else "")


def _named(header: str) -> tuple[str, float] | None:
    """The column a header means, and what its unit is multiplied by."""
    whole = fold(header)
    bracket = re.fullmatch(r"(.*?)\s*[(\[{]([^()\[\]{}]*)[)\]}]", header)
    if bracket is None and whole in ALIASES:
        return ALIASES[whole], 1.0
    name, _, last = whole.rpartition(" ")
    if bracket is not None:
        name, last = fold(bracket[1]), fold(bracket[2])
    if {name, last} == {"awg", "sae"}:  # two series: which is meant can't be told
        return None
    column = ALIASES.get(f"{name} ({last})") or ALIASES.get(name)
    if bracket is None and (last not in KNOWN_UNITS or column not in ("awg", "sae", *FIGURES)):
        return None
    if column is None or column not in FIGURES:
        return None if column is None else (column, 1.0)
    if last in NO_UNITS:
        return column, 1.0
    return column, UNITS[FIGURES[column][0]].get(last, 0.0)
