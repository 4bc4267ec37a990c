"""What a sheet says of a panel, as far as it is read, with the faults and remarks found so far."""

from __future__ import annotations

from dataclasses import dataclass, field

from panelward.errors import Fault, ScheduleError
from panelward.schedule.sheet.cells import Supply
from panelward.schedule.values import escaped, printable


@dataclass(frozen=True, slots=True)
class Column:
    at: int
    header: str
    factor: float = 1.0


@dataclass(slots=True)
class Load:
    line: int
    word: str = ""  # as the sheet has it
    watts: list[float] = field(default_factory=list)
    cells: dict[str, object] = field(default_factory=dict)


@dataclass(slots=True)
class Way:
    line: int
    position: str
    id: str
    label: str
    cells: dict[str, tuple[object, int]] = field(default_factory=dict)  # value and line
    segments: list[dict[str, object]] = field(default_factory=list)
    seen: set[tuple[tuple[str, object], ...]] = field(default_factory=set)  # the segments so far
    loads: list[Load] = field(default_factory=list)

    def get(self, column: str) -> object:
        return self.cells[column][0] if column in self.cells else None


@dataclass(slots=True)
class Panel:
    file: str
    faults: list[Fault] = field(default_factory=list)
    remarks: dict[str, dict[int, None]] = field(default_factory=dict)  # a remark and its lines
    columns: dict[str, Column] = field(default_factory=dict)
    ways: dict[str, Way] = field(default_factory=dict)
    spares: dict[str, int] = field(default_factory=dict)  # positions, each with its line
    supplies: dict[str, tuple[Supply, int]] = field(default_factory=dict)
    feeders: dict[str, tuple[str | None, int]] = field(default_factory=dict)  # its supply, where said

    def fault(self, line: int | None, key: str, wanted: str, found: str, remedy: str = "") -> None:
        self.faults.append(Fault(self.file, line, *(escaped(part) for part in (key, wanted, found, remedy))))

    def remark(self, line: int, text: str) -> None:
        self.remarks.setdefault(escaped(text), {})[line] = None

    def stop(self) -> None:
        """Raises ScheduleError with every fault so far, where there is one."""
        if self.faults:
            raise ScheduleError(tuple(sorted(self.faults, key=lambda fault: fault.line or 0)))

    def key(self, name: str) -> str:
        """A column as the sheet calls it."""
        column = self.columns.get(name)
        return name if column is None or column.header == name else f'{name}, column "{printable(column.header)}"'
