"""A report as plain values for `--json`: the records' own names, pairs as objects, and `circuits` with each way's energy."""

from __future__ import annotations

from dataclasses import asdict
from math import isfinite
from typing import Any

from panelward.review.report import Report

_PAIRS = ("labels", "by_doing_wh", "causes")


def plain(report: Report) -> dict[str, Any]:
    """Every figure of a report; what is no number is null."""
    found: dict[str, Any] = _tidy(asdict(report))
    found["span"]["days"] = report.span.days
    if report.before is not None:
        found["before"]["days"] = report.before.days
    found["lines"] = [{"way": way, "pieces": [_tidy(asdict(piece)) for piece in pieces]} for way, pieces in report.lines]
    for row, each in zip(found["down"], report.down, strict=True):
        row["available_share"] = each.available_share
    labels = dict(report.labels)
    found["circuits"] = {
        each.way: {
            "label": labels.get(each.way, each.way), "energy_wh": each.energy_wh, "wh_per_day": each.wh_per_day,
            "read_share": each.read_share,
        }
        for each in report.energy
        if each.way is not None and each.what != "inverter-loss"
    }  # fmt: skip
    return found


def _tidy(value: Any, name: str = "") -> Any:
    if isinstance(value, dict):
        return {key: _tidy(each, key) for key, each in value.items()}
    if isinstance(value, tuple | list):
        if name in _PAIRS:
            return {key: _tidy(each) for key, each in value}
        return [_tidy(each) for each in value]
    if isinstance(value, float) and not isfinite(value):
        return None
    return value
