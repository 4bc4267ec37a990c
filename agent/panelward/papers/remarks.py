"""The remarks of the red pencil: what vetting, the record and the readings show, numbered like an inspector's."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Protocol

from panelward.ratings import family
from panelward.ratings.curves import ampacity_of, opens_within
from panelward.ratings.fitting import STEADY_SHARE
from panelward.records import Circuit, Commissioned, Schedule

GRADES = ("refuse", "warn")  # of vetting: what stands in red pencil; notes are counted
MINUTE_S, LONG_S = 60.0, 10_800.0
CONTINUOUS = "continuous load, 80 %"
CONTINUOUS_SOURCE = "holder's heat in practice (75 % at 25 °C: a fuse guide), NEC 210.20(A) for UL breakers"

Say = Callable[[str], str]  # a text by its key

ENGLISH = {
    "results.rule_record": "record against schedule",
    "results.rule_band": "the device's band",
    "results.over_ampacity": "More current than its conductor may carry was held for three hours.",
    "results.over_ampacity_remedy": "Lower the load or fit a thicker conductor; have a qualified person look at the cable.",
    "results.continuous": "For three hours more than 80 % of the device's rating was held.",
    "results.continuous_remedy": "Spread the load over more ways, or lower it.",
    "results.may_open": "So much was held for a minute that a device of this type may open.",
    "results.may_open_remedy": "Find out what drew it. Replace a device only like for like.",
}  # a test holds them to the page's


class Worst(Protocol):
    """What the readings of a span show of one way."""

    def worst_a(self, seconds: float) -> float | None: ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Remark:
    """One remark of the red pencil. What vetting and the record say stays in their English."""

    number: int
    way: str  # empty: the whole
    text: str
    rule: str = ""
    found: str = ""
    limit: str = ""
    source: str = ""
    remedy: str = ""
    english: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Three:
    """A way's device by its three ratings, A. None: not known, which is no zero."""

    scheduled_a: float | None = None
    found_a: float | None = None
    left_a: float | None = None


def three_of(circuit: Circuit, commissioned: Commissioned | None) -> Three:
    """As scheduled, as found, as left: the record's word before the schedule's."""
    fitted = circuit.protection
    found_a = fitted.as_found_a if fitted else None
    left_a = fitted.as_left_a if fitted else None
    if commissioned is not None:
        found_a = commissioned.as_found_a if commissioned.as_found_a is not None else found_a
        left_a = commissioned.as_left_a if commissioned.as_left_a is not None else left_a
    return Three(scheduled_a=fitted.rating_a if fitted else None, found_a=found_a, left_a=left_a)


def remarks(
    schedule: Schedule,
    findings: Iterable[Mapping[str, Any]],
    differs: Iterable[str],
    seen: Mapping[str, Worst],
    order: Mapping[str, int],
    say: Say = ENGLISH.__getitem__,
    others: Iterable[Remark] = (),
) -> tuple[Remark, ...]:
    """Numbered as they are met: the whole first, then along the panel. What is seen alike on several ways is told on each.

    `others` are numbered with them.
    """
    found: list[tuple[int, Remark]] = []

    def put(way: str, text: str, **more: Any) -> None:
        found.append((order.get(way, -1), Remark(number=0, way=way if way in order else "", text=text, **more)))

    for finding in findings:
        if finding["grade"] in GRADES:
            put(
                finding["circuit"] or "", finding["message"], rule=finding["rule"], source=finding["source"],
                found=_figure(finding["found"], finding["unit"]), limit=_figure(finding["limit"], finding["unit"]),
                remedy=finding["remedy"],
            )  # fmt: skip
    for text in differs:
        put(_named(text, schedule), text, rule=say("results.rule_record"))
    for circuit in schedule.circuits:
        for text, more in _held(schedule, circuit, seen.get(circuit.id), say):
            put(circuit.id, text, english=False, **more)
    found += [(order.get(remark.way, -1), remark) for remark in others]
    found.sort(key=lambda pair: pair[0])
    return tuple(replace(remark, number=number) for number, (_, remark) in enumerate(found, start=1))


def _held(schedule: Schedule, circuit: Circuit, seen: Worst | None, say: Say) -> list[tuple[str, dict[str, Any]]]:
    """What the readings of the last days show beyond a limit."""
    device, out = circuit.protection, []
    if seen is None or circuit.role == "meter":
        return []
    long_a, minute_a = seen.worst_a(LONG_S), seen.worst_a(MINUTE_S)
    ampacity = ampacity_of(schedule, circuit)
    if long_a is not None and ampacity is not None and long_a > ampacity.amps:
        limit = f"{ampacity.amps:.3g} A"
        out.append(
            (
                say("results.over_ampacity"),
                {"rule": ampacity.rule, "found": f"{long_a:.3g} A", "limit": limit, "source": ampacity.source,
                 "remedy": say("results.over_ampacity_remedy")},
            )
        )  # fmt: skip
    if device is None:
        return out
    if long_a is not None and long_a > STEADY_SHARE * device.fitted_a:
        out.append(
            (
                say("results.continuous"),
                {"rule": CONTINUOUS, "found": f"{long_a:.3g} A", "limit": f"{STEADY_SHARE * device.fitted_a:.3g} A",
                 "source": CONTINUOUS_SOURCE, "remedy": say("results.continuous_remedy")},
            )
        )  # fmt: skip
    if minute_a is not None and minute_a > 0.0 and opens_within(device, minute_a, MINUTE_S):
        out.append(
            (
                say("results.may_open"),
                {"rule": say("results.rule_band"), "found": f"{minute_a:.3g} A", "limit": f"{device.fitted_a:g} A",
                 "source": family(device).source, "remedy": say("results.may_open_remedy")},
            )
        )  # fmt: skip
    return out


def _figure(value: float | str | None, unit: str | None) -> str:
    if value is None:
        return ""
    text = f"{value:g}" if isinstance(value, (int, float)) else str(value)
    return f"{text} {unit}" if unit else text


def _named(text: str, schedule: Schedule) -> str:
    """The way that a sentence of the record begins with: "D4 Water pump: …", "D4: …"."""
    head = text.partition(":")[0]
    names = (c.id for c in schedule.circuits if head == c.id or head.startswith((f"{c.id} ", f"{c.label} (")))
    return next(names, "")
