"""What a rhythm's alarm says: its figures, its evidence, and why a compressor runs more."""

from __future__ import annotations

from typing import TYPE_CHECKING

from panelward.records import Facts, Figure
from panelward.watch.cooling import INSIDE_OLD_MS, Ranked, warms, weighed
from panelward.watch.duties import mean_warmth, share

if TYPE_CHECKING:
    from panelward.watch.panel import Panel
    from panelward.watch.rhythm import Rhythm

BLIND_WATTS = 0.8
HALF_DAY_MS, LONG_RUN_MS = 12 * 3600_000, 4 * 3600_000
Fact = tuple[str, Facts]
Told = tuple[str | None, list[tuple[str, Figure]], list[Fact], Ranked]


def names(rhythm: Rhythm) -> tuple[str, ...]:
    """What the evidence of a compressor that runs more is called."""
    cooling, runs, active = rhythm.cooling, rhythm.runs, rhythm.active
    assert cooling is not None
    assert rhythm.balance is not None
    found: list[str] = []
    last_ms = runs.last_ms or 0
    warmth = rhythm.warmth()
    load = rhythm.balance.load() if rhythm.balance.on_record else None  # how warm it is round it, told by its rests
    ratio = cooling.watts_ratio(warmth, load)
    if ratio is not None and warmth is None and load is None and ratio > BLIND_WATTS:
        ratio = None  # its watts rise and fall with the warmth, which nobody knows
    if ratio is not None:
        found.append(
            "runs-at-more-watts" if ratio > 1.045
            else "runs-at-its-watts" if ratio > 0.96
            else "runs-at-fewer-watts" if ratio > 0.87
            else "runs-at-far-fewer-watts"
        )  # fmt: skip
    if active == "ajar":
        found.append("air-stays-warm")
    if active == "weak":
        found.append("cools-less")
    crept = cooling.crept
    if crept is not None and active == "habit":
        found.append("crept-up" if crept else "came-at-once")
    elif active == "run" and crept is False:
        found.append("came-at-once")
    if last_ms - rhythm.since_ms >= HALF_DAY_MS:
        found.append("lasts-half-a-day")
    if cooling.eases and active != "run":
        found.append("eases-off")
    if runs.on and last_ms - runs.since_ms > LONG_RUN_MS:
        found.append("never-rests")
    elif active in ("habit", "weak"):
        found.append("still-rests")
    return tuple(found)


def warming(panel: Panel, circuit_id: str, now_ms: int) -> Facts | None:
    """How soon what a compressor keeps is warm; None where nobody knows how warm it is inside and out."""
    inside, outside_c = panel.inside.get(circuit_id), panel.outside_c
    if outside_c is None or inside is None or now_ms - inside[1] > INSIDE_OLD_MS:
        return None
    if (found := warms(inside[0], outside_c)) is None:
        return None
    return (("inside", inside[0]), ("outside", outside_c), ("hours", round(found[0], 1)), ("limit", found[1]))


def told(rhythm: Rhythm, *, weigh: bool, now_ms: int) -> Told:
    """The cause, figures, evidence and candidates of its alarm. `weigh`: why a compressor runs more."""
    case = rhythm.active or ""
    figures: list[tuple[str, Figure]] = [("draw_w", rhythm.last_w), ("draw_a", rhythm.last_a), ("why", case)]
    own, facts = _of_case(rhythm, case, now_ms)
    figures += own
    cause = {"leak": "leak-down", "sump": "water-comes-in"}.get(case)
    if case == "short" and rhythm.short is not None:
        _, cause, _ = rhythm.short.told()
    candidates: Ranked = ()
    if weigh and rhythm.cooling is not None:
        found = names(rhythm)
        cause, candidates = weighed(found)
        facts += [(name, ()) for name in found]
    return cause, figures, facts, candidates


def _of_case(rhythm: Rhythm, case: str, now_ms: int) -> tuple[list[tuple[str, Figure]], list[Fact]]:
    figures: list[tuple[str, Figure]] = []
    facts: list[Fact] = []
    lasts_s = ((rhythm.runs.last_ms or rhythm.since_ms) - rhythm.since_ms) / 1000.0
    if case in ("overlong", "run", "ajar"):
        figures.append(("run_s", lasts_s))
    if rhythm.keeps_dry and case in ("overlong", "sump"):
        figures.append(("to_look_at", True))  # where that water came from is not over with the run
    if case == "overlong" and rhythm.longest_ms is not None:
        facts.append(("longest-run", (("longest_min", rhythm.longest_ms / 60_000.0),)))
    elif case == "run" and rhythm.cooling is not None:
        facts.append(("run-beyond-its-own", (("minutes", lasts_s / 60.0), ("usual", rhythm.usual_ms() / 60_000.0))))
    elif case in ("high", "low") and rhythm.duties is not None:
        duties = rhythm.duties
        low, high = duties.band()
        ran, warmth = share(duties.window), mean_warmth(duties.window)
        figures += [("duty", ran), ("window_h", duties.duty.window_h), ("outside_c", warmth)]
        percent = None if ran is None else round(100.0 * ran)
        facts.append((f"duty-{case}", (("percent", percent), ("window", duties.duty.window_h), ("limit", round(100 * high)),
                                       ("least", round(100 * low)))))  # fmt: skip
        if warmth is not None:
            facts.append(("outside-warmth", (("celsius", warmth),)))
    elif case == "habit" and rhythm.cooling is not None:
        ran, warmth = share(rhythm.day[-64:]), mean_warmth(rhythm.day[-64:])
        figures += [("duty", ran), ("window_h", 16.0), ("outside_c", warmth)]
        expected = rhythm.cooling.expected(warmth, 0)[0] if warmth is not None else None
        percent = None if ran is None else round(100.0 * ran)
        facts.append(("duty-over-habit", (("percent", percent), ("celsius", warmth),
                                          ("habit", None if expected is None else round(100.0 * expected)))))  # fmt: skip
    elif case == "weak" and rhythm.balance is not None and rhythm.balance.ratio is not None:
        percent = round(100.0 * rhythm.balance.ratio)
        figures.append(("percent", percent))
        facts.append(("cools-at", (("percent", percent),)))
    elif case == "off" and rhythm.balance is not None:
        figures.append(("rest_s", lasts_s))
        facts.append(("rests-too-long", (("minutes", lasts_s / 60.0), ("usual", rhythm.balance.usual_rest_ms() / 60_000.0))))
        if (found := warming(rhythm.panel, rhythm.circuit.id, now_ms)) is not None:
            facts.append(("warms", found))
            figures.append(("warms_in_h", dict(found)["hours"]))
    elif case == "short" and rhythm.short is not None:
        own, cause, fact = rhythm.short.told()
        figures += own
        facts.append(fact)
        if cause is not None and rhythm.circuit.sense.volts_at == "bus":
            facts.append(("volts-of-the-bus", ()))
    elif case in ("leak", "sump"):
        part = rhythm.leak if case == "leak" else rhythm.sump
        if part is not None:
            own, fact = part.told()
            figures += own
            facts.append(fact)
    return figures, facts
