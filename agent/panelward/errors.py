"""Every error that crosses a room's wall, and whose fault it is.

    PanelwardError           base; never raised itself
      ScheduleError          the schedule's author: file, line, key, wanted, found
      ReadingsError          the author of a readings file
      RecordError            a commissioning record that was changed after it was sealed, or is none
      ProfileError           a learned profile that was changed by hand, or is none
      BadInput               the asker: a value on the command line that can't be
      PayloadRefused         the monitor: one message could not be read; counted, never fatal
      RequestRefused         the asker: an illegal request; it changed nothing
      EnvironmentFault       this machine: broker, disk, permissions, ports

Exit codes: the first five 2, the last 3. What is not in this tree is our own bug.
"""

from __future__ import annotations

from dataclasses import dataclass


class PanelwardError(Exception):
    """Base of all; says what went wrong and what to do about it, in one text."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong in a file that a person wrote."""

    file: str
    line: int | None
    key: str
    wanted: str
    found: str
    remedy: str = ""

    def __str__(self) -> str:
        place = f"{self.file}, line {self.line}" if self.line else self.file
        text = f"{place}: {self.key}: wanted {self.wanted}; found {self.found}"
        return f"{text}. {self.remedy}" if self.remedy else text


class ScheduleError(PanelwardError):
    """The schedule can't be used; carries every fault found, not only the first."""

    def __init__(self, faults: tuple[Fault, ...]) -> None:
        super().__init__("\n".join(str(fault) for fault in faults))
        self.faults = faults


class ReadingsError(PanelwardError):
    """A readings file can't be used as it is."""

    def __init__(self, fault: Fault) -> None:
        super().__init__(str(fault))
        self.fault = fault


class ProfileError(PanelwardError):
    """A learned profile can't be used: not one, of another vehicle, or not as it was written."""

    def __init__(self, fault: Fault) -> None:
        super().__init__(str(fault))
        self.fault = fault


class RecordError(PanelwardError):
    """A commissioning record can't be used: not one, of another vehicle, or not as it was sealed."""

    def __init__(self, fault: Fault) -> None:
        super().__init__(str(fault))
        self.fault = fault


class BadInput(PanelwardError):
    """A value that a person typed can't be used; says which, what was wanted and what was found."""


class PayloadRefused(PanelwardError):
    """One message that can't be read.

    `reason` is a short stable word for counting, `detail` names what was found.
    """

    def __init__(self, reason: str, detail: str) -> None:
        super().__init__(f"{reason}: {detail}")
        self.reason = reason
        self.detail = detail


class RequestRefused(PanelwardError):
    """A request that is not legal in the present state. Nothing was changed."""


class EnvironmentFault(PanelwardError):
    """Something outside: the broker, the disk, a port, a permission."""
