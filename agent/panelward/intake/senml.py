"""SenML JSON, RFC 8428: base fields, resolution, relative time. Published Python libraries for it are unmaintained.

Base fields hold from their record to the next record with the same field (section 4.1); a time below 2^28 is relative
to now (4.5.3); resolved records have no base fields and stand in time order (4.6).
"""

from __future__ import annotations

import re
from typing import Any

from panelward.errors import PayloadRefused

VERSION = 10
ABSOLUTE_FROM_S = 2**28
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9\-:./_]*")
_BASE_NUMBERS = ("bt", "bv", "bs")
_NUMBERS = ("v", "s", "t", "ut")


def resolve(pack: Any, now_s: float) -> list[dict[str, Any]]:
    """Resolved records of a parsed pack (a list of objects), in time order; PayloadRefused names what is wrong."""
    if not isinstance(pack, list) or not pack:
        raise PayloadRefused("not-senml", "a SenML pack is a JSON array of records")
    base: dict[str, Any] = {}
    version: Any = None
    resolved: list[dict[str, Any]] = []
    for record in pack:
        if not isinstance(record, dict):
            raise PayloadRefused("not-senml", "a SenML record is a JSON object")
        _check(record)
        if "bver" in record:
            if version is not None and record["bver"] != version:
                raise PayloadRefused("senml-version", "bver differs within one pack")
            version = record["bver"]
        base.update({key: record[key] for key in ("bn", "bu", "bt", "bv", "bs") if key in record})
        one = _resolved(record, base, now_s)
        if one is not None:
            resolved.append(one)
    if version is not None and version > VERSION:
        raise PayloadRefused("senml-version", f"bver {version}; this program reads up to {VERSION}")
    resolved.sort(key=lambda r: r["t"])
    return resolved


def _check(record: dict[str, Any]) -> None:
    for key in record:
        if key.endswith("_"):
            raise PayloadRefused("senml-must-understand", f"field {key!r} must be understood, and is not known")
    for key in (*_BASE_NUMBERS, *_NUMBERS, "bver"):
        value = record.get(key, 0)
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            raise PayloadRefused("not-senml", f"{key} must be a number")
    for key, kind in (("bn", str), ("bu", str), ("n", str), ("u", str), ("vs", str), ("vd", str), ("vb", bool)):
        if key in record and not isinstance(record[key], kind):
            raise PayloadRefused("not-senml", f"{key} must be {'a text' if kind is str else 'true or false'}")
    if sum(key in record for key in ("v", "vs", "vb", "vd")) > 1:
        raise PayloadRefused("not-senml", "a record has one of v, vs, vb, vd")


def _resolved(record: dict[str, Any], base: dict[str, Any], now_s: float) -> dict[str, Any] | None:
    has_value = any(key in record for key in ("v", "vs", "vb", "vd"))
    has_sum = "s" in record or "bs" in base
    named = "n" in record or "u" in record or "t" in record
    if not has_value and "s" not in record and not (named and ("bv" in base or "bs" in base)):
        if named and not (set(record) & {"bn", "bt", "bu", "bv", "bs", "bver"}):
            raise PayloadRefused("not-senml", "a record without a value")
        return None  # a record of base fields only
    name = base.get("bn", "") + record.get("n", "")
    if not _NAME.fullmatch(name):
        raise PayloadRefused("senml-name", f"{name[:60]!r} is no SenML name")
    time_s = base.get("bt", 0) + record.get("t", 0)
    one: dict[str, Any] = {"n": name}
    unit = record.get("u", base.get("bu"))
    if unit is not None:
        one["u"] = unit
    one["t"] = time_s if time_s >= ABSOLUTE_FROM_S else now_s + time_s
    if "v" in record or ("bv" in base and not has_value):
        one["v"] = base.get("bv", 0) + record.get("v", 0)
    for key in ("vs", "vb", "vd", "ut"):
        if key in record:
            one[key] = record[key]
    if has_sum:
        one["s"] = base.get("bs", 0) + record.get("s", 0)
    known = {"bn", "bt", "bu", "bv", "bs", "bver", "n", "u", "v", "vs", "vb", "vd", "s", "t", "ut"}
    one |= {key: value for key, value in record.items() if key not in known}
    version = record.get("bver", base.get("bver"))
    if version is not None and version != VERSION:
        one["bver"] = version
    return one


# Unit -> quantity and what to multiply by. RFC 8428 12.1; the secondary units of RFC 8798 are allowed in `u` by
# extension only, but monitors do send them: they are scaled here rather than refused.
QUANTITY_OF_UNIT = {
    "V": ("volts", 1.0),
    "A": ("amps", 1.0),
    "W": ("watts", 1.0),
    "Cel": ("celsius", 1.0),
    "mV": ("volts", 0.001),
    "mA": ("amps", 0.001),
    "kW": ("watts", 1000.0),
    "/": ("closed", 1.0),
}
