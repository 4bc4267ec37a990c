"""The commissioning record as a file: all its versions, each closed by a hash over its canonical text.

A seal shows a change; it is no signature: print it and sign the paper. The file is refused unless every byte stands as it
was written: each version's seal is reckoned anew, each names the seal of the one before, and the text itself is compared
with what this room writes. What stands at its default is not written, so that a record made before a key was added keeps
its seal.
"""

from __future__ import annotations

import hashlib
import json
import os
import types
from dataclasses import MISSING, fields, is_dataclass, replace
from functools import lru_cache
from math import isfinite
from pathlib import Path
from typing import Any, Union, get_args, get_origin, get_type_hints

from panelward.errors import EnvironmentFault, Fault, RecordError
from panelward.records import Record

__all__ = [
    "append", "load", "made", "parse", "path_of", "plain", "read", "render", "replace_file", "schedule_hash", "seal", "text_of",
    "unfinished_path_of", "write",
]  # fmt: skip

FORMAT = 1
LONGEST = 8 * 1024 * 1024  # bytes; twenty versions of sixty circuits are below 1 MB
_RENEW = "Take the file from a copy, or measure anew with `panelward commission`."


def path_of(schedule_path: str) -> Path:
    """Where the record of a schedule lies: schedule.toml -> schedule.record.json."""
    return Path(schedule_path.removesuffix(".toml") + ".record.json")


def unfinished_path_of(schedule_path: str) -> Path:
    """Where a commissioning that is not over keeps its state: schedule.toml -> schedule.commission.json."""
    return Path(schedule_path.removesuffix(".toml") + ".commission.json")


def schedule_hash(text: str) -> str:
    """The first digits by which the watch and the page tell whether they have read the same schedule."""
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()[:12]


# Writing.


def seal(record: Record) -> Record:
    """The same record with its seal."""
    return replace(record, seal=_hash(plain(record)))


def text_of(record: Record) -> str:
    """One sealed version as one line: what the journal keeps."""
    return json.dumps(plain(record), ensure_ascii=False, separators=(",", ":"))


def append(versions: tuple[Record, ...], record: Record) -> tuple[Record, ...]:
    """The versions with a new one after them: numbered, chained, sealed."""
    last = versions[-1] if versions else None
    numbered = replace(record, version=last.version + 1 if last else 1, previous=last.seal if last else "")
    return (*versions, seal(numbered))


def render(versions: tuple[Record, ...]) -> str:
    """The whole file."""
    bodies = [plain(record) for record in versions]
    return _rendered({"format": FORMAT, "vehicle": versions[0].vehicle, "versions": bodies})


def write(path: Path, versions: tuple[Record, ...]) -> None:
    """Replace the file as a whole: it is the old one or the new one, never half of either."""
    replace_file(path, render(versions))


def replace_file(path: Path, text: str) -> None:
    """Write beside it, flush to the disk, rename over it, flush the folder. EnvironmentFault where that fails."""
    beside = path.with_name(path.name + ".new")
    try:
        with beside.open("w", encoding="utf-8", newline="") as out:
            out.write(text)
            out.flush()
            os.fsync(out.fileno())
        os.replace(beside, path)
        folder = os.open(path.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)
    except OSError as error:
        raise EnvironmentFault(f"{path}: can't be written: {error.strerror}") from None


def plain(value: Any) -> Any:
    """Plain values of records, without what stands at its default."""
    if is_dataclass(value) and not isinstance(value, type):
        found = {each.name: getattr(value, each.name) for each in fields(value) if getattr(value, each.name) != each.default}
        return {name: plain(each) for name, each in found.items()}
    if isinstance(value, dict):
        return {key: plain(each) for key, each in value.items()}
    return [plain(each) for each in value] if isinstance(value, (tuple, list)) else value


# Reading.


def load(path: Path, vehicle: str | None = None) -> tuple[Record, ...]:
    """All versions of a file, the newest last. RecordError names what is wrong and where."""
    file = str(path)
    try:
        content = path.read_bytes()
    except FileNotFoundError:
        raise _bad(file, "the file", "a commissioning record", "no such file", "`panelward commission` makes one.") from None
    except OSError as error:
        raise _bad(file, "the file", "a file that can be read", str(error.strerror)) from None
    if len(content) > LONGEST:
        raise _bad(file, "the file", f"at most {LONGEST} bytes", str(len(content)))
    try:
        text = content.decode("utf-8")
    except UnicodeDecodeError as error:
        raise _bad(file, "the file", "text in UTF-8", f"another byte at {error.start}", _RENEW) from None
    return read(text, file, vehicle)


def read(text: str, file: str, vehicle: str | None = None) -> tuple[Record, ...]:
    """All versions of a text. With `vehicle`, it must be that vehicle's."""
    document = _document(text, file)
    versions: list[Record] = []
    for at, body in enumerate(document["versions"]):
        place = f"version {at + 1}"
        record = _sealed(body, file, place)
        before = versions[-1].seal if versions else ""
        if record.version != at + 1 or record.previous != before:
            raise _bad(
                file,
                place,
                f"version {at + 1} after the one before it",
                f"version {record.version}, chained to another",
                _RENEW,
            )
        if record.vehicle != document["vehicle"]:
            raise _bad(file, place, f"vehicle {document['vehicle']}", record.vehicle, _RENEW)
        versions.append(record)
    if _rendered(document) != text:
        raise _bad(file, "the text", "the file as it was written", "another byte between the sealed texts", _RENEW)
    if vehicle is not None and document["vehicle"] != vehicle:
        raise _bad(
            file, "vehicle", f"the record of {vehicle}", f"that of {document['vehicle']}", "Name the right file with --record."
        )
    return tuple(versions)


def parse(text: str, file: str = "the journal") -> Record:
    """One sealed version from its own text."""
    return _sealed(_json(text, file), file, "the record")


def _document(text: str, file: str) -> dict[str, Any]:
    found = _json(text, file)
    wanted = "an object with format, vehicle and versions"
    if not isinstance(found, dict) or not isinstance(found.get("vehicle"), str) or not isinstance(found.get("versions"), list):
        raise _bad(file, "the file", wanted, "something else", _RENEW)
    if found.get("format") != FORMAT:
        raise _bad(file, "format", str(FORMAT), str(found.get("format"))[:40], "A newer program wrote it: use that.")
    if not found["versions"]:
        raise _bad(file, "versions", "at least one", "none", _RENEW)
    return found


def _json(text: str, file: str) -> Any:
    try:
        return json.loads(text, parse_constant=_no_number)
    except (ValueError, RecursionError) as error:
        line = getattr(error, "lineno", None)
        raise RecordError(Fault(file, line, "the file", "JSON as it was written", str(error)[:120], _RENEW)) from None


def _no_number(text: str) -> float:
    raise ValueError(f"{text} is no number")


def _sealed(body: Any, file: str, place: str) -> Record:
    if not isinstance(body, dict):
        raise _bad(file, place, "an object", type(body).__name__, _RENEW)
    if body.get("seal") != _hash(body):
        who, remedy = str(body.get("who", "?"))[:40], f"Don't judge by it. {_RENEW}"
        raise _bad(file, place, "its text as it was sealed", f"a text that was changed after {who} sealed it", remedy)
    record: Record = made(Record, body, file, place)
    return record


def _hash(body: dict[str, Any]) -> str:
    sealed = {key: value for key, value in body.items() if key != "seal"}
    canonical = json.dumps(sealed, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
    return "sha256:" + hashlib.sha256(canonical.encode("utf-8", "surrogatepass")).hexdigest()


def _rendered(document: dict[str, Any]) -> str:
    return json.dumps(document, ensure_ascii=False, indent=1) + "\n"


# From plain values to records, by the records' own types.


@lru_cache(maxsize=16)
def _hints(record: type) -> dict[str, Any]:
    return get_type_hints(record)


def made(record: type, body: dict[str, Any], file: str, place: str) -> Any:
    """A record from plain values, by the types of its own fields; RecordError names the place of what does not fit."""
    values = {}
    unknown = [name for name in body if name not in _hints(record)]
    if unknown:
        raise _bad(file, place, "keys that this program knows", repr(unknown[0])[:40], "A newer program wrote it: use that.")
    for each in fields(record):
        if each.name in body:
            values[each.name] = _value(_hints(record)[each.name], body[each.name], file, f"{place}: {each.name}")
        elif each.default is MISSING and each.default_factory is MISSING:
            raise _bad(file, place, f"the key {each.name}", "none", _RENEW)
    return record(**values)


def _value(hint: Any, found: Any, file: str, place: str) -> Any:
    if get_origin(hint) in (Union, types.UnionType):
        if found is None:
            return None
        return _value(next(arm for arm in get_args(hint) if arm is not type(None)), found, file, place)
    if get_origin(hint) is tuple:
        if not isinstance(found, list):
            raise _bad(file, place, "a list", type(found).__name__, _RENEW)
        arms = get_args(hint)
        if arms[-1] is not Ellipsis and len(found) != len(arms):
            raise _bad(file, place, f"{len(arms)} values", str(len(found)), _RENEW)
        each_hint = [arms[0]] * len(found) if arms[-1] is Ellipsis else list(arms)
        return tuple(_value(each_hint[at], each, file, f"{place} {at + 1}") for at, each in enumerate(found))
    if get_origin(hint) is list:
        if not isinstance(found, list):
            raise _bad(file, place, "a list", type(found).__name__, _RENEW)
        return [_value(get_args(hint)[0], each, file, f"{place} {at + 1}") for at, each in enumerate(found)]
    if get_origin(hint) is dict:
        if not isinstance(found, dict):
            raise _bad(file, place, "an object", type(found).__name__, _RENEW)
        return {key: _value(get_args(hint)[1], each, file, f"{place} {key}") for key, each in found.items()}
    if is_dataclass(hint) and isinstance(hint, type):
        if not isinstance(found, dict):
            raise _bad(file, place, "an object", type(found).__name__, _RENEW)
        return made(hint, found, file, place)
    number = isinstance(found, (int, float)) and not isinstance(found, bool)
    if hint is float and number and isfinite(found):
        return float(found)
    if (hint is int and number and isinstance(found, int)) or (hint in (bool, str) and isinstance(found, hint)):
        return found
    wanted = {float: "a number", int: "a whole number", bool: "true or false", str: "a text"}[hint]
    raise _bad(file, place, wanted, repr(found)[:40], _RENEW)


def _bad(file: str, place: str, wanted: str, found: str, remedy: str = "") -> RecordError:
    return RecordError(Fault(file, None, place, wanted, found, remedy))
