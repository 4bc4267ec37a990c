"""From a file to a Schedule: read, parse, check everything, convert."""

from __future__ import annotations

import re
import tomllib
from codecs import BOM_UTF16_BE, BOM_UTF16_LE
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from panelward.errors import Fault, ScheduleError
from panelward.records import Schedule
from panelward.schedule import rules
from panelward.schedule.convert import schedule_of
from panelward.schedule.faults import Report
from panelward.schedule.models import Document
from panelward.schedule.places import Places
from panelward.schedule.values import printable

_NO_TEXT = "Name the circuit schedule, a text file like schedule.toml."
_CONTROLS = re.compile(rb"[\x01-\x08\x0e-\x1a\x1c-\x1f]")
_PLACE = re.compile(r"\s*\(at (?:line (\d+), column \d+|end of document)\)$")


def load(path: str | Path) -> tuple[Schedule, str]:
    """The schedule of a file, and the file's own text. Raises ScheduleError: the file or what stands in it."""
    file = str(path)
    try:
        content = Path(path).read_bytes()
    except FileNotFoundError:
        raise _single(file, None, "a schedule", "no such file", "Name one with --schedule.") from None
    except IsADirectoryError:
        remedy = "Name the file in it, like schedule.toml."
        raise _single(file, None, "a file that can be read", "a folder", remedy) from None
    except (OSError, ValueError) as error:  # ValueError: a name that no file can have
        why = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise _single(file, None, "a file that can be read", why) from None
    if content.startswith((BOM_UTF16_LE, BOM_UTF16_BE)):
        raise _single(file, 1, "text in UTF-8", "text in UTF-16", "Save the file as UTF-8.")
    if b"\0" in content:
        raise _single(file, None, "text", "a binary file", _NO_TEXT)
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        if _CONTROLS.search(content):
            raise _single(file, None, "text", "a binary file", _NO_TEXT) from None
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
    return from_tables(raw, file, places)


def from_tables(raw: dict[str, Any], file: str, places: Places | None = None) -> Schedule:
    """The schedule of a document that is read already, or was put together from several. Raises ScheduleError likewise."""
    report = Report(file, raw, places or Places(""))
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
    lines = text.splitlines()
    if place is not None and not place.group(1):  # a text that never ends begins further up
        line = next((n for n, written in enumerate(lines, 1) if _half_quoted(written)), line)
    at = min(line or 1, len(lines)) - 1
    found, remedy = _slip(lines, at, message) if lines else ("", "")
    remedy = remedy or "The line itself or the one before it is mistyped."
    return _single(file, line, "TOML", found or printable(message, 200), remedy)


_STRING = re.compile(r'"(?:[^"\\]|\\.)*"|\'[^\']*\'')
_GAUGE = re.compile(r"(?<=[=\[,])\s*([1-4]/0|0{2,4})(?=\s*(?:[,}\]#]|$))")
_COMMA = re.compile(r"=\s*([+-]?[0-9]+),([0-9]+)(?=\s*(?:[,}#]|$))")
_MEASURE = re.compile(r"=\s*([+-]?[0-9]+(?:\.[0-9]+)?)\s*(?!e[+-]?[0-9]|[xob][0-9a-f])([A-Za-z°%][\w²°]*)")
_WORD = re.compile(r"=\s*([A-Za-z][\w ./-]*?)(?=\s*(?:[,}\]#]|$))")
_HEADER = re.compile(r"\s*\[\s*(circuit|monitor|probe)\s*\]")
_SEVERAL = re.compile(r"\s*\[\[\s*(circuit|monitor|probe)\s*\]\]")


def _slip(lines: list[str], at: int, message: str) -> tuple[str, str]:
    """What a person may have mistyped in a line that is no TOML, and the remedy; empty where it can't be told."""
    line = lines[at]
    if message.startswith("Cannot "):
        return _twice(lines, at)
    if message.startswith("Duplicate "):
        return "", "Leave one of the two out."
    if '"""' in line or "'''" in line:
        return "", ""
    rest = _outside(line)
    if re.search("[“”„‟‘’]", rest.partition("#")[0]):
        return "curly quotes", 'Write straight quotes: "…".'
    if _half_quoted(line):
        return "a quotation mark without its other one", "Put the missing quotation mark at the other end of the text."
    if found := _COMMA.search(rest):
        if len(found[2]) == 3:
            return f"{found[1]},{found[2]}", "Write a point before decimals, and nothing between thousands."
        return f"{found[1]},{found[2]}", f"Write a point: {found[1]}.{found[2]}."
    if found := _GAUGE.search(rest):
        return f"{found[1]} without quotes", f'Put it in quotes: "{found[1]}".'
    if found := _MEASURE.search(rest):
        return f"{found[1]} {found[2]}", "Write the number alone, in the unit that the key ends with."
    if (found := _WORD.search(rest)) and found[1] not in ("true", "false", "inf", "nan"):
        if found[1].casefold() in ("true", "false"):
            return printable(found[1]), f"Write it in small letters: {found[1].casefold()}."
        return f"{printable(found[1])} without quotes", f'Put it in quotes: "{printable(found[1])}".'
    return "", ""


def _outside(line: str) -> str:
    """What stands outside of texts in quotes and of a comment."""
    return re.sub(r"^([^\"]*?)#.*", r"\1", _STRING.sub("_", line))


def _half_quoted(line: str) -> bool:
    rest = _outside(line)
    return '"""' not in line and "'''" not in line and ('"' in rest or re.search(r"[=,\[]\s*'", rest) is not None)


def _twice(lines: list[str], at: int) -> tuple[str, str]:
    """The same for what stands twice."""
    if found := _HEADER.match(lines[at]):
        return f"[{found[1]}] once more", f"Write each as [[{found[1]}]], with two brackets."
    if found := _SEVERAL.match(lines[at]):
        first = next((n for n, line in enumerate(lines, 1) if (m := _HEADER.match(line)) and m[1] == found[1]), None)
        if first is not None:
            return f"[{found[1]}] on line {first}", f"Write that too as [[{found[1]}]], with two brackets."
    if (found := re.match(r"\s*\[+\s*(\w*)", lines[at])) is not None:
        several = found[1] in ("circuit", "monitor", "probe")
        remedy = f"Is [[{found[1]}]] missing above it?" if several else "Put all its keys under one header."
        return f"{printable(lines[at].strip())} once more", remedy
    key = lines[at].partition("=")[0].strip()
    return f"{printable(key)} once more in one table", "Leave one of them out. Or is a header like [[circuit]] missing between?"


def _single(file: str, line: int | None, wanted: str, found: str, remedy: str = "") -> ScheduleError:
    return ScheduleError((Fault(file, line, "the file", wanted, found, remedy),))
