"""The table that the command prints, 80 columns, every share with its interval."""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Iterable
from math import sqrt
from typing import Any

Line = dict[str, Any]
PRIORITIES = ("high", "medium", "low")


def wilson(hits: int, n: int, z: float = 1.96) -> tuple[float, float]:
    """The 95 % interval of a share (Wilson 1927)."""
    if n == 0:
        return 0.0, 1.0
    share = hits / n
    middle = (share + z * z / (2 * n)) / (1 + z * z / n)
    half = z * sqrt(share * (1 - share) / n + z * z / (4 * n * n)) / (1 + z * z / n)
    return max(0.0, middle - half), min(1.0, middle + half)


def share(hits: int, n: int) -> str:
    """`97.5 [91-99] n=80`."""
    if n == 0:
        return "-"
    low, high = wilson(hits, n)
    return f"{100 * hits / n:5.1f} [{100 * low:4.1f},{100 * high:5.1f}] n={n}"


def rate(events: int, weeks: float) -> str:
    """Events a week: an interval of the counts by their square root's (approx.), 3/n for none."""
    if weeks <= 0:
        return "-"
    if events == 0:
        return f"0 [<{3 / weeks:.3f}]"
    low = max(0.0, sqrt(events) - 0.98) ** 2
    high = (sqrt(events + 1) + 0.98) ** 2
    return f"{events / weeks:.3f} [{low / weeks:.3f},{high / weeks:.3f}]"


def percentile(values: Iterable[float], share_of: float) -> float | None:
    ordered = sorted(values)
    return ordered[min(len(ordered) - 1, int(share_of * len(ordered)))] if ordered else None


def seconds(value: float | None) -> str:
    return "-" if value is None else f"{value:.0f}"


def ok(lines: Iterable[Line]) -> list[Line]:
    return [o for o in lines if not o["void"]]


def recall(lines: list[Line]) -> tuple[int, int, int]:
    """In time, found at all, due."""
    due = [o for o in lines if o["must"] and o["knowable"]]
    return sum(o["in_time"] for o in due), sum(o["found"] for o in due), len(due)


Told = list[tuple[float, bool]]
EDGES = (0.0, 0.3, 0.5, 0.7, 0.85, 0.95, 1.0001)


def said_confidence(lines: list[Line]) -> Told:
    """Of each first word about a dead circuit, false ones too: its confidence, and whether kind and named cause are right."""
    return [
        (float(d["confidence"]), o["found"] and (d["said"] is None or d["said"] in o["right_causes"]))
        for o in lines
        if (d := o["decision"]) is not None and d["confidence"] is not None
    ]


def first_candidates(lines: list[Line]) -> Told:
    """Of each first word about a real fault: the probability of its first candidate, and whether that is the truth."""
    told: Told = []
    for o in lines:
        if o["found"] and o["decision"] is not None and o["decision"]["candidates"]:
            cause, p = max(o["decision"]["candidates"].items(), key=lambda item: (item[1], item[0]))
            if cause != "supply-lost":  # that is what is seen, no cause
                told.append((float(p), cause in o["right_causes"]))
    return told


def calibration(told: Told) -> tuple[list[tuple[str, int, float, float]], float | None]:
    """Bins: (bin, n, mean said, share right); and the expected calibration error."""
    rows: list[tuple[str, int, float, float]] = []
    error = 0.0
    for low, high in itertools.pairwise(EDGES):
        inside = [(p, r) for p, r in told if low <= p < high]
        if inside:
            said = sum(p for p, _ in inside) / len(inside)
            right = sum(r for _, r in inside) / len(inside)
            rows.append((f"{low:.2f}-{min(high, 1.0):.2f}", len(inside), said, right))
            error += len(inside) / len(told) * abs(said - right)
    return rows, error if told else None


def summary(lines: list[Line]) -> dict[str, Any]:
    """The figures by name; the test's bounds are over these."""
    good = ok(lines)
    faults = [o for o in good if not o["innocent"]]
    floor = [o for o in faults if o["rule"] == "floor" and o["must"] and o["knowable"]]
    load = [o for o in faults if o["rule"] == "load" and o["must"]]
    told = [o for o in faults if o["found"] and o["knowable"]]
    innocent = [o for o in good if o["innocent"] and o["knowable"]]
    named = [o for o in told if o["named"] is not None]
    tellable = [o for o in told if o["tellable"]]
    unseeable = [o for o in good if not o["knowable"]]
    every = [o for o in good if o["knowable"]]
    return {
        "cases": len(lines), "void": len(lines) - len(good),
        "unknowable": sum(not o["knowable"] for o in good),
        "floor_in_time": (sum(o["in_time"] for o in floor), len(floor)),
        "floor_found": (sum(o["found"] for o in floor), len(floor)),
        "load_in_time": (sum(o["in_time"] for o in load), len(load)),
        "load_found": (sum(o["found"] for o in load), len(load)),
        "silent_in_time": _rule(faults, "silent"),
        "top_1": (sum(bool(o["right"]) for o in told), len(told)),
        "top_1_tellable": (sum(bool(o["right"]) for o in tellable), len(tellable)),
        "named_tellable": (sum(o["named"] is not None for o in tellable), len(tellable)),
        "named_untellable": (sum(o["named"] is not None for o in told) - sum(o["named"] is not None for o in tellable),
                             len(told) - len(tellable)),
        "named": (sum(o["named"] is not None for o in told), len(told)),
        "named_right": (sum(bool(o["right"]) for o in named), len(named)),
        "confident_wrong": (sum(bool(o["wrong"]) for o in every), len(every)),
        "unseeable_false": (sum(bool(o["false"]) for o in unseeable), len(unseeable)),
        "innocent_false": (sum(bool(o["false"]) for o in innocent), len(innocent)),
        "innocent_high": (sum(any(f[0] == "high" for f in o["false"]) for o in innocent), len(innocent)),
        "at_parent": _parents(told),
        "extra": (sum(o["extra"] > 0 for o in told), len(told)),
    }  # fmt: skip


def _rule(faults: list[Line], rule: str) -> tuple[int, int]:
    due = [o for o in faults if o["rule"] == rule and o["must"]]
    return sum(o["in_time"] for o in due), len(due)


def _parents(told: list[Line]) -> tuple[int, int]:
    family = [
        o
        for o in told
        if o["cause"] in ("feeder-lost", "isolator", "low-voltage-disconnect", "battery-protection", "source-limited")
    ]
    return sum(o["parent"] for o in family), len(family)


NAMES = (
    ("floor_in_time", "lost feed, floor: in time"), ("floor_found", "lost feed, floor: ever"),
    ("load_in_time", "opened under load: in time"), ("load_found", "opened under load: ever"),
    ("silent_in_time", "readings overdue: in time"), ("top_1", "first choice right, all"),
    ("top_1_tellable", "first choice right, it shows"), ("named", "cause named (rest abstains)"),
    ("named_tellable", "  named where it shows"), ("named_untellable", "  named where it can't show"),
    ("named_right", "right where named"), ("confident_wrong", "confident and wrong, all"),
    ("innocent_false", "innocents with any alarm"), ("innocent_high", "innocents with a high"),
    ("at_parent", "told at the parent"), ("extra", "more than one alarm"), ("unseeable_false", "floor not to be seen: false"),
)  # fmt: skip


def table(lines: list[Line], weeks: list[Line]) -> str:
    out: list[str] = []
    good = ok(lines)
    if lines:
        figures = summary(lines)
        out.append(
            f"cases {figures['cases']}, void {figures['void']}, floor below 5 x resolution {figures['unknowable']} (apart)"
        )
        out.append("")
        out.append(f"{'':32} {'watch, % [95 %]':28}")
        for key, name in NAMES:
            out.append(f"{name:32} {share(*figures[key])}")
        out += [
            "",
            *_families(good),
            "",
            *_baselines(good),
            "",
            *_by_point(good),
            "",
            *_confusion(good),
            "",
            *_calibrated(good),
        ]
    if weeks:
        out += ["", *_weeks(weeks)]
    return "\n".join(line[:80].rstrip() for line in out)


def _order(name: str) -> tuple[bool, int, str]:
    """H1 to H14, then the rest."""
    number = name[1:].split("-", maxsplit=1)[0]
    return not (name[0] == "H" and number.isdigit()), int(number) if number.isdigit() else 0, name


def _families(good: list[Line]) -> list[str]:
    out = [
        f"{'fault':21} {'due':>3} {'in time':>7} {'ever':>4} {'p95 s':>5} {'shows':>5} {'top1':>5} {'abst':>5} "
        f"{'wrong':>5} {'false':>5} {'extra':>5}"
    ]
    for name in sorted({o["family"] for o in good if not o["innocent"]}, key=_order):
        mine = [o for o in good if o["family"] == name and o["knowable"]]
        in_time, found, due = recall(mine)
        told = [o for o in mine if o["found"]]
        late = percentile([o["delay_s"] for o in told if o["must"] and o["delay_s"] is not None], 0.95)
        cells = (
            f"{100 * in_time / due:.0f}%" if due else "-", f"{100 * found / due:.0f}%" if due else "-", seconds(late),
            f"{100 * sum(bool(o['right']) for o in told) / len(told):.0f}%" if told else "-",
            f"{100 * sum(o['named'] is None for o in told) / len(told):.0f}%" if told else "-",
        )  # fmt: skip
        wrong = sum(bool(o["wrong"]) for o in mine)
        false = sum(bool(o["false"]) for o in mine)
        extra = sum(o["extra"] > 0 for o in mine)
        shown = sum(o["tellable"] for o in told)
        out.append(
            f"{name:21} {due:3} {cells[0]:>7} {cells[1]:>4} {cells[2]:>5} {shown:5} {cells[3]:>5} {cells[4]:>5} "
            f"{wrong:5} {false:5} {extra:5}"
        )
    out.append("")
    out.append(f"{'innocent':28} {'n':>4} {'alarms':>6} {'high':>5} {'medium':>6} {'low':>4} {'wrong':>5}")
    for name in sorted({o["family"] for o in good if o["innocent"]}, key=_order):
        mine = [o for o in good if o["family"] == name and o["knowable"]]
        by = Counter(f[0] for o in mine for f in o["false"])
        with_any = sum(bool(o["false"]) for o in mine)
        wrong = sum(bool(o["wrong"]) for o in mine)
        out.append(f"{name:28} {len(mine):4} {with_any:6} {by['high']:5} {by['medium']:6} {by['low']:4} {wrong:5}")
    return out


def _baselines(good: list[Line]) -> list[str]:
    out = [f"{'on the same cases':32} {'watch':>14} {'fixed':>14} {'3 sigma':>14}"]
    due = [o for o in good if not o["innocent"] and o["must"] and o["knowable"] and o["rule"] in ("floor", "load")]
    innocent = [o for o in good if o["innocent"] and o["knowable"]]

    def row(name: str, numbers: tuple[float | None, float | None, float | None], unit: str) -> str:
        cells = " ".join(f"{'-' if n is None else f'{n:.1f}{unit}':>14}" for n in numbers)
        return f"{name:32} {cells}"

    if due:

        def in_time(who: list[Line]) -> float:
            return 100 * sum(bool(o["in_time"]) for o in who) / len(due)

        def late(who: list[Line]) -> float | None:
            return percentile([o["delay_s"] for o in who if o["delay_s"] is not None], 0.95)

        of = (due, [o["fixed"] for o in due], [o["sigma"] for o in due])
        out.append(row("dead circuits, in time", (in_time(of[0]), in_time(of[1]), in_time(of[2])), "%"))
        out.append(row("95th percentile of the delay", (late(of[0]), late(of[1]), late(of[2])), " s"))
    if innocent:
        n = len(innocent)
        false = [sum(counts) / n for counts in zip(
            *((len(o["false"]), o["fixed"]["false"], o["sigma"]["false"]) for o in innocent), strict=True)]  # fmt: skip
        out.append(row("alarms an innocent case", (false[0], false[1], false[2]), ""))
    return out


def _by_point(good: list[Line]) -> list[str]:
    head = ("volts at", "due", "in time", "told", "top1", "named", "wrong", "innocents with alarms")
    out = ["{:13} {:>4} {:>8} {:>5} {:>6} {:>6} {:>7} {:>22}".format(*head)]

    def percent(n: int, of: int) -> str:
        return f"{100 * n / of:.1f}%" if of else "-"

    for point in ("bus", "after-device", "after-switch", "load"):
        mine = [o for o in good if o["grade"]["volts"] == point and o["knowable"]]
        in_time, _, due = recall([o for o in mine if not o["innocent"]])
        told = [o for o in mine if not o["innocent"] and o["found"]]
        innocent = [o for o in mine if o["innocent"]]
        top1 = percent(sum(bool(o["right"]) for o in told), len(told))
        named = percent(sum(o["named"] is not None for o in told), len(told))
        wrong = percent(sum(bool(o["wrong"]) for o in mine), len(mine))
        false = percent(sum(bool(o["false"]) for o in innocent), len(innocent))
        out.append(f"{point:13} {due:4} {percent(in_time, due):>8} {len(told):5} {top1:>6} {named:>6} {wrong:>7} {false:>22}")
    return out


SHORT = {
    "switched-off": "off", "switched-off-at-load": "atload", "device-opened": "device", "feeder-lost": "feeder",
    "low-voltage-disconnect": "lvd", "isolator": "isol", "rests": "rests", "load-failed": "load", "wiring-open": "wire",
    "sensor-failed": "sensor", "link-lost": "link", "own-fuse": "ownfus", "lock-out": "lock", "source-limited": "source",
    "battery-protection": "batt", "supply-lost": "supply", "turned-down": "down", "old-message": "old",
}  # fmt: skip


def _confusion(good: list[Line]) -> list[str]:
    told = [o for o in good if o["found"] and o["knowable"] and not o["innocent"]]
    said = [c for c, _ in Counter(o["choice"] for o in told if o["choice"]).most_common(9)]
    out = ["truth x first choice (named ones in brackets); last: nothing said"]
    out.append(f"{'':12}" + "".join(f"{SHORT.get(c, c)[:6]:>7}" for c in said) + f"{'?':>5}")
    for truth in dict.fromkeys(o["cause"] for o in told):
        mine = [o for o in told if o["cause"] == truth]
        cells = ""
        for cause in said:
            n = sum(o["choice"] == cause for o in mine)
            named = sum(o["named"] == cause for o in mine)
            cells += f"{f'{n}({named})' if n else '.':>7}"
        out.append(f"{SHORT.get(truth, truth):12}{cells}{sum(o['choice'] is None for o in mine):5}")
    return out


def _calibrated(good: list[Line]) -> list[str]:
    mine = [o for o in good if o["knowable"]]
    out: list[str] = []
    for name, told in (("kind and named cause", said_confidence(mine)), ("first candidate", first_candidates(mine))):
        rows, error = calibration(told)
        out.append(f"{name:22} {'n':>5} {'mean said':>10} {'right, % [95 %]':>20}")
        for label, n, said, right in rows:
            low, high = wilson(round(right * n), n)
            out.append(f"  {label:20} {n:5} {said:10.2f} {100 * right:9.1f} [{100 * low:.1f},{100 * high:.1f}]")
        out.append("  calibration error (ECE) " + ("-" if error is None else f"{error:.3f}"))
    return out


def _weeks(weeks: list[Line]) -> list[str]:
    total = sum(w["week"] for w in weeks)
    opened = sum(bool(w["opened"]) for w in weeks)
    out = [
        f"quiet vehicle-weeks: {total:.1f} in {len(weeks)} runs"
        + (f" ({opened} not quiet: {weeks[0]['opened']})" if opened else "")
    ]
    by = Counter(f[0] for w in weeks for f in w["false"])
    for priority in PRIORITIES:
        out.append(f"  {priority:8} a week {rate(by[priority], total)}   ({by[priority]})")
    for name in ("fixed", "sigma"):
        out.append(f"  {name:8} a week {rate(sum(w[name]['false'] for w in weeks), total)}")
    kinds = Counter((f[0], f[1], f[2], f[4]) for w in weeks for f in w["false"])
    out += [f"    {n:4} {' '.join(kind)}" for kind, n in kinds.most_common(8)]
    for period in sorted({w["period"] for w in weeks}):
        mine = [w for w in weeks if w["period"] == period]
        false = Counter(f[0] for w in mine for f in w["false"])
        span = sum(w["week"] for w in mine)
        out.append(f"  at {period:3g} s: {span:5.1f} weeks, high {false['high']}, medium {false['medium']}, low {false['low']}")
    return out
