"""The lines of a sheet, read into ways with their conductors and loads; every fault is told with its line."""

from __future__ import annotations

import re

from panelward.schedule.models import LOAD_KINDS
from panelward.schedule.sheet.cells import (
    FIGURE,
    Marks,
    Supply,
    Unclear,
    Wrong,
    bare,
    checked,
    clean,
    flat,
    fold,
    made_id,
    read_feeder,
    read_figure,
    read_run,
    read_supply,
    read_word,
    size_column,
)
from panelward.schedule.sheet.columns import (
    FIGURES,
    LOAD,
    LOAD_WORDS,
    LONGEST,
    MOST_WAYS,
    SEGMENT,
    SIZES,
    SPARE,
    UNITS,
    WAY,
    WORDS,
)
from panelward.schedule.sheet.headers import Rows, rows_below
from panelward.schedule.sheet.panel import Load, Panel, Way
from panelward.schedule.values import ID_WORDS, Text, shown

_TOTAL = re.compile(
    r"(?:(?:sub|grand|sum)[ -]?)?totals?|totalt|(?:zwischen|gesamt)?summe|insgesamt|gesamt|sum|delsum|Σ", re.IGNORECASE
)
_HEADING = "a line with one cell filled and no position: taken for a heading, left out"
_BROKEN = re.compile(r"#(?:ref|n/a|value|name|div/0|num|null|spill)[!?]?", re.IGNORECASE)  # a formula that failed


def read(panel: Panel, text: str) -> None:
    """Put what a sheet says into the panel. Raises ScheduleError where its header can't be read, or where it has no way."""
    rows, width = rows_below(panel, text)
    _Reading(panel, width).rows(rows)
    if not panel.ways and not panel.spares and not panel.faults:
        panel.fault(None, "the sheet", "at least one way", "none")
    panel.stop()


class _Reading:
    def __init__(self, panel: Panel, width: int) -> None:
        self.panel = panel
        self.width = width  # cells in the header
        self.marks = Marks()
        self.lost = False  # the line above was a fault: what continues it is passed over

    def _fault(self, line: int, column: str, wanted: str, found: str, remedy: str = "") -> None:
        self.panel.fault(line, self.panel.key(column), wanted, found, remedy)

    def rows(self, rows: Rows) -> None:
        for at in [self.panel.columns[name].at for name in FIGURES if name in self.panel.columns]:
            for _, row in rows:
                if at < len(row):
                    self.marks.see(row[at])
        above: Way | None = None
        for line, row in rows:
            cells = {name: clean(row[c.at]) for name, c in self.panel.columns.items() if c.at < len(row)}
            cells = {name: cell for name, cell in cells.items() if cell}
            if not cells and sum(cell.strip() != "" for cell in row) == 1:
                self.panel.remark(line, _HEADING)
            if any(cell.strip() for cell in row[self.width :]):
                remedy = "A decimal comma between commas? Then export with semicolons, or put the cell in quotes."
                self.panel.fault(line, "row", f"{self.width} cells, as the header has", f"{len(row)}", remedy)
                above, self.lost = None, True
            elif cells and not self._sound(line, cells):
                above, self.lost = None, True
            elif cells:
                faults = len(self.panel.faults)
                above = self._line(line, cells, above)
                self.lost = above is None and (self.lost or len(self.panel.faults) > faults)
                if len(self.panel.ways) > MOST_WAYS:
                    self.panel.fault(line, "the sheet", f"at most {MOST_WAYS} ways", "more", "Make one sheet for each panel.")
                    return

    def _sound(self, line: int, cells: dict[str, str]) -> bool:
        """Whether every cell is a value, not a formula, and can be printed."""
        faults = len(self.panel.faults)
        for name, cell in cells.items():
            if cell.startswith("=") or _BROKEN.fullmatch(cell):
                remedy = "Export the values of the cells, not their formulas."
                self._fault(line, name, "a value", f"the formula {shown(cell)}", remedy)
            elif not cell.isprintable():
                self._fault(line, name, "a text without control characters", shown(cell))
            elif len(cell) > LONGEST:
                self._fault(line, name, f"at most {LONGEST} characters", f"{len(cell)}")
        return len(self.panel.faults) == faults

    def _line(self, line: int, cells: dict[str, str], above: Way | None) -> Way | None:
        """Read one line; the way that a continuation below it belongs to."""
        position, label = (bare(cells.pop(name, "")) for name in ("position", "purpose"))
        known = next((way for way in (self.panel.ways.get(made_id(position)),) if way and way.position == position), None)
        if self._totals(position, label, cells, known):
            self.panel.remark(line, "a line of totals, left out")
            return above
        if position and not cells and known is None and fold(label) in SPARE:
            self._spare(line, position)
            return None
        if position and not cells and known is None and not label:
            self.panel.remark(line, "a position and nothing else: taken for a spare way or a heading, left out")
            return None
        if not position and self._heads(label, cells):
            self.panel.remark(line, _HEADING)
            return None
        way = known
        if not position and not label:
            way = above
            if above is None and not self.lost:
                self._fault(line, "position", "a position: there is no way above that this could continue", "nothing")
        elif not position:
            self._fault(line, "position", "a position, as there is a purpose", "nothing")
            return None
        elif known is None:
            way = self._new(line, position, label)
        elif label and label != known.label:
            found = f"{shown(position)} for {shown(label)}, and on line {known.line} for {shown(known.label)}"
            self._fault(line, "position", "a position used for one purpose", found, "Give each way its own position.")
            return None
        if way is not None:
            self._fill(way, line, cells)
        return way

    @staticmethod
    def _totals(position: str, label: str, cells: dict[str, str], known: Way | None) -> bool:
        if position:
            said = [] if label or known is not None else [position]
        else:
            said = [label] if label else list(cells.values())
        return any(_TOTAL.fullmatch(text.rstrip(" :")) for text in said)

    def _heads(self, label: str, cells: dict[str, str]) -> bool:
        """Whether a line without a position is a heading: one cell, and none that continues a way."""
        if label or len(cells) != 1:
            return bool(label) and not cells
        ((name, cell),) = cells.items()
        text = bare(cell)
        if name in ("supply", "feeder", "behind", "device", "always_on_reason"):
            return True
        values: dict[str, object] = {}
        try:
            self._value(name, cell, values)
        except Wrong:
            return not any(c.isdigit() for c in text)
        if name == "load" and "load" in values:
            return fold(text) not in LOAD_WORDS and fold(text).replace(" ", "-") not in LOAD_KINDS
        return isinstance(values.get(name), Unclear)

    def _spare(self, line: int, position: str) -> None:
        try:
            checked(Text("a position", most=80), position)
        except Wrong as wrong:
            self._fault(line, "position", wrong.wanted, wrong.found)
        self.panel.spares.setdefault(position, line)
        self.panel.remark(line, "a spare way: it stands among the vehicle's spares")

    def _new(self, line: int, position: str, label: str) -> Way | None:
        made = made_id(position)
        if position in self.panel.spares:
            found = f"{shown(position)} for {shown(label)}, and spare on line {self.panel.spares[position]}"
            self._fault(line, "position", "a position used for one purpose", found, "Give each way its own position.")
            return None
        if not made:
            self._fault(line, "position", ID_WORDS, shown(position))
            return None
        if made != position:
            self.panel.remark(line, f"the position {shown(position)} is written as the id {made}")
        if made in self.panel.ways:
            other = self.panel.ways[made]
            found = f"{shown(position)}, and {shown(other.position)} on line {other.line}: both give the id {made}"
            self._fault(line, "position", "a position unlike the others", found)
            return None
        try:
            checked(Text("a label", most=80), label)
        except Wrong as wrong:
            self._fault(line, "purpose", wrong.wanted, wrong.found)
        way = self.panel.ways[made] = Way(line, position, made, label)
        return way

    def _fill(self, way: Way, line: int, cells: dict[str, str]) -> None:
        values: dict[str, object] = {}
        for name, cell in cells.items():
            try:
                self._value(name, cell, values)
            except Wrong as wrong:
                self._fault(line, name, wrong.wanted, wrong.found, wrong.remedy)
        sizes = [name for name in SIZES if name in values]
        if len(sizes) > 1:
            self._fault(line, sizes[1], "area_mm2, awg or sae: one of them", "both" if len(sizes) == 2 else "all three")
        supply = values.get("supply")
        if isinstance(supply, Supply):
            self._note_supply(line, supply)
            values["supply"] = supply.id
        for name in WAY:
            if name in values:
                old, where = way.cells.setdefault(name, (values[name], line))
                if old != values[name]:
                    found = f"{shown(cells[name])}, and another on line {where}"
                    self._fault(line, name, f"one value for {way.position}", found)
        if "feeder" in values or "supply" in values:
            self._note_feeder(way, line)
        segment = {name: values[name] for name in SEGMENT if name in values}
        if segment:
            if (same := tuple(segment.items())) in way.seen:
                self.panel.remark(line, f"{way.id}: the same conductor once more, taken for another stretch of that length")
            way.seen.add(same)
            way.segments.append(segment)
        draw = {name: values[name] for name in LOAD if name in values}
        if draw:
            self._draw(way, line, draw)

    def _note_supply(self, line: int, supply: Supply) -> None:
        old, where = self.panel.supplies.get(supply.id, (supply, line))
        if (old.volts and supply.volts and old.volts != supply.volts) or (old.kind and supply.kind and old.kind != supply.kind):
            found = f"{supply.said}, and {old.said} on line {where}"
            self._fault(line, "supply", f"one voltage and kind for {supply.id}", found)
        both = Supply(supply.id, old.volts or supply.volts, old.kind or supply.kind)
        self.panel.supplies[supply.id] = (both, where if old.volts else line)

    def _note_feeder(self, way: Way, line: int) -> None:
        feeder, supply = way.get("feeder"), way.get("supply")
        if not isinstance(feeder, str):
            return
        said = supply if isinstance(supply, str) else None
        old, where = self.panel.feeders.get(feeder, (said, line))
        if said and old and said != old:
            self._fault(line, "feeder", f"one supply for the feeder {feeder}", f"{said}, and {old} on line {where}")
        self.panel.feeders[feeder] = (old or said, where if old else line)

    def _draw(self, way: Way, line: int, draw: dict[str, object]) -> None:
        word, watts = draw.pop("load", None), draw.pop("watts", None)
        if word is not None or not way.loads:
            way.loads.append(Load(line, str(word or "")))
        load = way.loads[-1]
        if isinstance(watts, float):
            load.watts.append(watts)
        for name, value in draw.items():
            if load.cells.setdefault(name, value) != value:
                found = f"another than in the lines above, from line {load.line}"
                self._fault(line, name, f"one value for this load of {way.position}", found)

    def _value(self, name: str, cell: str, values: dict[str, object]) -> None:
        """Put what a cell says into `values`. Raises Wrong."""
        text = bare(cell)
        name = size_column(name, text)
        if name in FIGURES:
            values[name] = self._figure(name, text)
        elif name in WORDS:
            try:
                word = read_word(name, text)
            except Wrong:
                if name != "feed":
                    raise
                word = Unclear(text)
            if values.setdefault(name, word) != word:  # two columns, two sizes of one series
                raise Wrong("one size for a stretch of conductor", f"{shown(text)}, and another in the same line")
        elif name == "supply":
            values[name] = read_supply(text)
        elif name == "feeder":
            values[name] = read_feeder(text)
        elif name == "longest_run":
            values[name] = read_run(text)
        elif name in ("behind", "device"):  # judged when the whole sheet is read
            values[name] = text
        elif name == "load":
            found = FIGURE.fullmatch(flat(text))
            if found and fold(found[3] or "") in UNITS["W"] and "watts" not in self.panel.columns:
                values["watts"] = self._figure("watts", text)
            else:
                values[name] = text
        else:
            values[name] = checked(Text(), text)

    def _figure(self, name: str, text: str) -> float:
        column = self.panel.columns.get(name)
        return read_figure(name, text, column.factor if column else 1.0, self.marks)
