"""From a file to a Schedule: read, parse, check everything, convert."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

from pydantic import ValidationError

from panelward.errors import Fault, ScheduleError
from panelward.records import Schedule
from panelward.schedule import rules
from panelward.schedule.convert import schedule_of
from panelward.schedule.faults import Report
from panelward.schedule.models import Document
from panelward.schedule.places import Places
from panelward.schedule.values import printable

_PLACE = re.compile(r"\s*\(at (?:line (\d+), column \d+|end of document)\)$")


def load(path: str | Path) -> tuple[Schedule, str]:
    """The schedule of a file, and the file's own text. Raises ScheduleError: the file or what stands in it."""
    file = str(path)
    try:
        content = Path(path).read_bytes()
    except FileNotFoundError:
        raise _single(file, None, "a schedule", "no such file", "Name one with --schedule.") from None
    except (OSError, ValueError) as error:  # ValueError: a name that no file can have
        why = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise _single(file, None, "a file that can be read", why) from None
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        found = f"the byte 0x{content[error.start]:02x}"
        raise _single(file, line, "text in UTF-8", found, "Save the file as UTF-8.") from None
    return parse(text, file), text


def parse(text: str, file: str) -> Schedule:
    """The schedule that a TOML text describes. `file` stands in the faults. Raises ScheduleError with all of them."""
    try:
        raw = tomllib.loads(text)
        places = Places(text)
    except RecursionError:
        raise _single(file, None, "a schedule", "brackets nested too deep") from None
    except ValueError as error:  # TOMLDecodeError, or a number of thousands of digits
        raise _syntax(text, file, error) from None
    report = Report(file, raw, places)
    document: Document | None = None
    try:
        document = Document.model_validate(raw)
    except ValidationError as error:
        report.take(error)
    rules.check(report)
    faults = report.faults()
    if faults or document is None:
        raise ScheduleError(faults)
    return schedule_of(document)


def _syntax(text: str, file: str, error: ValueError) -> ScheduleError:
    message = str(error)
    place = _PLACE.search(message)
    line: int | None = None
    if place is not None:
        line = int(place.group(1)) if place.group(1) else text.count("\n") + 1
        message = message[: place.start()]
    return _single(file, line, "TOML", printable(message, 200), "The line itself or the one before it is mistyped.")


def _single(file: str, line: int | None, wanted: str, found: str, remedy: str = "") -> ScheduleError:
    return ScheduleError((Fault(file, line, "the file", wanted, found, remedy),))
