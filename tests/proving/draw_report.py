"""The tables of the draws, 80 columns, a group of families after another, every aim with its interval."""

from __future__ import annotations

from collections import Counter
from typing import Any

from proving.draw_cases import GROUPS
from proving.report import percentile, rate, share, wilson

Line = dict[str, Any]
PLAIN = ("band", "fixed", "sigma")
# What is aimed at, in time (our own choice); where none is named, none.
AIMS = {
    "stall": 0.98, "inverter left on": 0.98, "standby +0.1 A": 0.95, "standby +30 mA": 0.85, "iced, lost charge": 0.90,
    "+20 % in 30 days": 0.85, "door open": 0.95, "leak-down": 0.95, "pump dry, endless": 0.97, "glow missing": 0.97,
}  # fmt: skip
ONE_NOTICE = 0.95  # our own choice


def due(lines: list[Line]) -> list[Line]:
    """Faults that are to be told: something was heard of them, and their sensing can show them."""
    return [o for o in lines if not o["innocent"] and not o["void"] and o["must"] and o["knowable"]]


def twins(lines: list[Line]) -> list[Line]:
    return [o for o in lines if o["innocent"] and not o["void"]]


def figures(lines: list[Line]) -> dict[str, Any]:
    """By name, (hits, of how many): the test's bounds are over these."""
    faults, innocent = due(lines), twins(lines)
    told = [o for o in faults if o["found"]]
    unseen = [o for o in lines if not o["innocent"] and not o["void"] and not o["knowable"]]
    found: dict[str, Any] = {
        "void": (sum(o["void"] for o in lines), len(lines)),
        "in_time": (sum(o["in_time"] for o in faults), len(faults)),
        "found": (len(told), len(faults)),
        "cause_right": (sum(o["right"] for o in told), len(told)),
        "cause_wrong": (sum(o["wrong"] for o in told), len(told)),
        "one_notice": (sum(o["notices"] == 1 for o in told), len(told)),
        "fault_false": (sum(bool(o["false"]) for o in faults), len(faults)),
        "twin_false": (sum(bool(o["false"]) for o in innocent), len(innocent)),
        "twin_high": (sum(any(f[0] == "high" for f in o["false"]) for o in innocent), len(innocent)),
        "unseen_false": (sum(bool(o["false"]) for o in unseen), len(unseen)),
    }
    for aim in dict.fromkeys(o["aim"] for o in lines if o["aim"]):
        mine = [o for o in faults if o["aim"] == aim]
        found[f"aim {aim}"] = (sum(o["in_time"] for o in mine), len(mine))
    return found


def span(value: float | None) -> str:
    """Seconds as people say them."""
    if value is None:
        return "-"
    if value < 600:
        return f"{value:.0f} s"
    if value < 7200:
        return f"{value / 60:.0f} min"
    return f"{value / 3600:.1f} h" if value < 4 * 86400 else f"{value / 86400:.1f} d"


def percent(hits: int, of: int) -> str:
    return f"{100 * hits / of:.0f}%" if of else "-"


def table(lines: list[Line]) -> str:
    out: list[str] = []
    for group in GROUPS:
        mine = [o for o in lines if o["group"] == group]
        if mine:
            out += [*_faults(group, mine), "", *_twins(mine), ""]
    out += [*_aims(lines), "", *_whole(lines), "", *_beside(lines)]
    return "\n".join(line[:80].rstrip() for line in out)


def _faults(group: str, lines: list[Line]) -> list[str]:
    head = ("due", "in time, % [95 %]", "ever", "p95", "cause", "wrong", "one", "false")
    out = ["{:18} {:>3} {:>18} {:>5} {:>7} {:>5} {:>5} {:>5} {:>5}".format(group, *head)]
    for name in sorted({o["family"] for o in lines if not o["innocent"]}):
        mine = due([o for o in lines if o["family"] == name])
        told = [o for o in mine if o["found"]]
        hits = sum(o["in_time"] for o in mine)
        low, high = wilson(hits, len(mine))
        recall = f"{100 * hits / len(mine):3.0f} [{100 * low:3.0f},{100 * high:3.0f}]" if mine else "-"
        late = span(percentile([o["delay_s"] for o in told], 0.95))
        out.append(
            f"{name.removeprefix(group + '-'):18} {len(mine):3} {recall:>18} {percent(len(told), len(mine)):>5} {late:>7} "
            f"{percent(sum(o['right'] for o in told), len(told)):>5} {sum(o['wrong'] for o in told):5} "
            f"{percent(sum(o['notices'] == 1 for o in told), len(told)):>5} {sum(bool(o['false']) for o in mine):5}"
        )
    return out


def _twins(lines: list[Line]) -> list[str]:
    out = [f"{'  twin':25} {'n':>4} {'days':>6} {'alarms':>6} {'high':>5} {'medium':>6} {'low':>5}  what"]
    for name in sorted({o["family"] for o in lines if o["innocent"]}):
        mine = twins([o for o in lines if o["family"] == name])
        by = Counter(f[0] for o in mine for f in o["false"])
        kinds = Counter(f[1] for o in mine for f in o["false"])
        days = sum(o["hours"] for o in mine) / 24
        what = kinds.most_common(1)[0][0] if kinds else ""
        out.append(
            f"  {name.split('-', 1)[1]:23} {len(mine):4} {days:6.1f} {sum(bool(o['false']) for o in mine):6} {by['high']:5} "
            f"{by['medium']:6} {by['low']:5}  {what}"
        )
    return out


def _aims(lines: list[Line]) -> list[str]:
    """Held where the whole interval is not below the aim's edge: short where even its upper end is."""
    out = [f"{'aim, in time':22} {'of cases, % [95 %]':24} {'aim':>5}"]
    found = figures(lines)
    for aim, wanted in AIMS.items():
        hits, n = found.get(f"aim {aim}", (0, 0))
        if n:
            word = "short of it" if wilson(hits, n)[1] < wanted else "held" if hits / n >= wanted else "within its interval"
            out.append(f"{aim:22} {share(hits, n):26} {100 * wanted:3.0f}%  {word}")
    hits, n = found["one_notice"]
    out.append(f"{'one notice a cause':22} {share(hits, n):26} {100 * ONE_NOTICE:3.0f}%")
    return out


def _whole(lines: list[Line]) -> list[str]:
    found = figures(lines)
    innocent = twins(lines)
    weeks = sum(o["hours"] for o in innocent) / 168
    by = Counter(f[0] for o in innocent for f in o["false"])
    out = [f"cases {len(lines)}, void {found['void'][0]}, not to be seen with their sensing {found['unseen_false'][1]} (apart)"]
    names = (
        ("in_time", "told in time"), ("found", "told at all"), ("cause_right", "cause right, of those told"),
        ("cause_wrong", "a wrong cause named"), ("fault_false", "faults with a false alarm besides"),
        ("twin_false", "twins with any alarm"), ("unseen_false", "not to be seen: false"),
    )  # fmt: skip
    out += [f"{name:34} {share(*found[key])}" for key, name in names]
    out += [f"twins: {priority:8} a week {rate(by[priority], weeks)}" for priority in ("high", "medium", "low")]
    return out


def _beside(lines: list[Line]) -> list[str]:
    faults, innocent = due(lines), twins(lines)
    out = [f"{'on the same cases':26} {'watch':>12} {'bands':>12} {'fixed':>12} {'3 sigma':>12}"]
    if faults:
        cells = [sum(o["in_time"] for o in faults), *(sum(o[name]["in_time"] for o in faults) for name in PLAIN)]
        out.append(f"{'in time':26} " + " ".join(f"{100 * hits / len(faults):11.1f}%" for hits in cells))
    if innocent:
        counts = [sum(len(o["false"]) for o in innocent), *(sum(o[name]["false"] for o in innocent) for name in PLAIN)]
        out.append(f"{'alarms an innocent case':26} " + " ".join(f"{n / len(innocent):12.2f}" for n in counts))
    return out
