"""One circuit before there is a schedule: which device and conductor, what drop, always-on or switched. Pure.

It proposes the smallest standard device that carries the load at no more than 80 % of its rating and lives through its
start, then the smallest standard conductor that carries that device, loses no more than is allowed, and lets the
device open on a short at the far end.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from panelward.errors import BadInput
from panelward.ratings import (
    RULES,
    Ampacity,
    Size,
    Solved,
    area_mm2,
    device,
    drop,
    family,
    far_fault_a,
    far_short,
    fitting_ratings_a,
    loop_ohm,
    solve,
    standard_sizes,
)
from panelward.ratings.colours import blade_colour
from panelward.ratings.devices import BOOST
from panelward.ratings.fitting import STEADY_SHARE
from panelward.records import Protection, Segment

LOW_SHARE = 10.5 / 12.0  # the least a 12 V bank is run at; common practice, no source
ELV_V = 60.0  # above: licensed practice (IEC 61140: touchable parts, dry)
LEAST_MM2 = 1.0  # single conductor; ISO 10133:2012 7.7
NEVER_SWITCHED = ("detector", "air-heater")  # life, and what must cool itself down
LEAST_AWG_MM2 = 1.3  # 16 AWG as a single conductor; 33 CFR 183.425
OPENS_S = 5.0  # IEC 60364-4-43 434.5.2
DEVICES = (("blade-fuse", "C"), ("blade-fuse", "E"), ("bolt-fuse", None))
_LOAD = re.compile(r"\s*([0-9]+(?:[.,][0-9]+)?)\s*(kW|W|A|mA)\s*", re.IGNORECASE)
_UNITS = {"kw": 1000.0, "w": 1.0, "a": 1.0, "ma": 0.001}


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What a person asks for. Watts or amps, volts nominal, metres one way."""

    watts: float | None
    amps: float | None
    nominal_v: float
    length_m: float
    feed: str  # always-on | switched
    kind: str | None = None
    insulation_c: float = 60.0
    ambient_c: float = 30.0
    bundled: int = 1
    in_awg: bool = False
    rules: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """The answer, with its figures."""

    draw_a: float  # at the least volts
    low_v: float
    device: Protection
    least_rating_a: float
    segment: Segment
    size: str
    ampacity: Ampacity
    drop_v: float
    drop_share: float
    allowed_share: float
    far_short_a: float
    breaking_a: float | None
    other_size: str | None  # in the other series
    size_for_3_percent: str | None


def load_of(text: str) -> tuple[float | None, float | None]:
    """(watts, None) or (None, amps) of a text like "35 W" or "2.9 A"; BadInput for anything else."""
    found = _LOAD.fullmatch(text)
    if found is None:
        raise BadInput(f'--load: wanted watts or amps like "35 W" or "2.9 A", found "{text}"')
    value = float(found[1].replace(",", ".")) * _UNITS[found[2].lower()]
    if value <= 0.0:
        raise BadInput(f'--load: wanted more than nothing, found "{text}"')
    return (value, None) if found[2].lower().endswith("w") else (None, value)


def propose(wanted: Wanted) -> Proposal:
    """Device, conductor and drop for one load; BadInput where no standard device or conductor does it, saying why."""
    if not 0.0 < wanted.nominal_v <= ELV_V:
        raise BadInput(
            f"--volts: wanted more than 0 and at most {ELV_V:g} V DC, found {wanted.nominal_v:g} V: above extra-low voltage "
            "and for AC ask a licensed person"
        )
    low_v = LOW_SHARE * wanted.nominal_v
    draw_a = wanted.amps if wanted.amps is not None else (wanted.watts or 0.0) / low_v
    chosen = _device(wanted, draw_a)
    allowed = _allowed(wanted)
    found = _conductor(wanted, chosen, draw_a, allowed, in_awg=wanted.in_awg)
    if isinstance(found, str):
        raise BadInput(f"no standard conductor {found}: shorten the run, feed the load from nearer by, or share it out")
    other = _conductor(wanted, chosen, draw_a, allowed, in_awg=not wanted.in_awg)
    better = _conductor(wanted, chosen, draw_a, drop.CRITICAL_SHARE, in_awg=wanted.in_awg)
    proposal = Proposal(
        draw_a=draw_a, low_v=low_v, device=chosen, least_rating_a=draw_a / STEADY_SHARE, segment=found.size.segment,
        size=found.size.text, ampacity=found.ampacity, drop_v=found.solved.drop_v, drop_share=found.solved.share,
        allowed_share=allowed, far_short_a=found.short_a, breaking_a=family(chosen).breaking_a,
        other_size=other.size.text if not isinstance(other, str) else None,
        size_for_3_percent=better.size.text if not isinstance(better, str) else None,
    )  # fmt: skip
    return proposal


@dataclass(frozen=True, slots=True)
class _Found:
    size: Size
    ampacity: Ampacity
    solved: Solved
    short_a: float


def _conductor(wanted: Wanted, chosen: Protection, draw_a: float, allowed: float, *, in_awg: bool) -> _Found | str:
    """The smallest standard size that does it, or what none of them does."""
    low_v = LOW_SHARE * wanted.nominal_v
    nominal_w = wanted.watts if wanted.watts is not None else draw_a * wanted.nominal_v
    loads = [("constant-power" if wanted.watts is not None else "constant-current", nominal_w)]
    place = Segment(
        area_mm2=None if in_awg else LEAST_MM2, awg="18" if in_awg else None, length_m=wanted.length_m,
        insulation_c=wanted.insulation_c, ambient_c=wanted.ambient_c, bundled=wanted.bundled,
    )  # fmt: skip
    why_not = "is tabulated by the rules named"
    for size in standard_sizes(place, "dc", wanted.rules):
        segment, ampacity = size.segment, size.ampacity
        if (area_mm2(segment) or 0.0) < (LEAST_AWG_MM2 if in_awg else LEAST_MM2) or ampacity is None or ampacity.bound:
            continue
        if ampacity.amps <= 0.0:
            why_not = (
                f"carries anything at {ampacity.ambient_c:g} °C with {ampacity.insulation_c:g} °C insulation (--insulation)"
            )
            continue
        if ampacity.amps < chosen.rating_a:
            why_not = f"carries {chosen.rating_a:g} A in that place by {ampacity.rule}"
            continue
        solved = solve(loads, loop_ohm([segment], None, draw_a).ohm, wanted.nominal_v, wanted.nominal_v)
        if solved is None or solved.share > allowed * (1 + 1e-9):
            why_not = f"keeps the drop to {100 * allowed:g} % over {wanted.length_m:g} m"
            continue
        short = far_short(device(chosen), far_fault_a(low_v, 0.0, [segment]), [segment], "dc", None, wanted.rules)
        if short.latest_s is None or short.latest_s > min(OPENS_S, short.withstand_s):
            why_not = f"lets {chosen.rating_a:g} A open on a short at its far end"
            continue
        return _Found(size, ampacity, solved, short.amps)
    return why_not


def _device(wanted: Wanted, draw_a: float) -> Protection:
    surges = _surges(wanted, draw_a)
    bus_v = round(BOOST * wanted.nominal_v)
    if bus_v > 58:
        raise BadInput(
            f"--volts: a bus of {wanted.nominal_v:g} V comes to {bus_v} V charging: no device listed here is made for it"
        )
    for kind, letter in DEVICES:
        like = Protection(kind=kind, type=letter, rating_a=1.0, rated_v=58.0 if bus_v > 32 else None)
        fits = fitting_ratings_a(like, draw_a, surges=surges)
        if fits:
            return Protection(kind=kind, type=letter, rating_a=fits[0], rated_v=like.rated_v)
    raise BadInput(
        f"{draw_a:.4g} A is beyond every standard device listed here (500 A at 80 %): share the load out over several "
        "circuits, or have it planned by its maker"
    )


def _surges(wanted: Wanted, draw_a: float) -> list[tuple[float, float]]:
    """A motor's start: three times its draw for half a second; common practice, no source."""
    return [(3.0 * draw_a, 0.5)] if wanted.kind in ("compressor", "fan", "pump", "motor") else []


def _allowed(wanted: Wanted) -> float:
    return drop.CRITICAL_SHARE if wanted.feed == "always-on" or wanted.kind in ("electronics", "detector") else drop.OTHER_SHARE


def lines_of(wanted: Wanted, p: Proposal) -> tuple[str, ...]:
    """The answer in six lines of at most 80 characters."""
    colour = blade_colour(p.device.type, p.device.rating_a) if p.device.kind == "blade-fuse" else None
    named = f"{p.device.kind.replace('-', ' ')}{f' type {p.device.type}' if p.device.type else ''}"
    breaks = f"breaks {p.breaking_a:.0f} A" if p.breaking_a else None
    marks = "marked 58 V or more" if p.device.rated_v else ", ".join(filter(None, [colour, breaks]))
    other = f" ({p.other_size})" if p.other_size else ""
    at = f" at {p.low_v:.3g} V" if wanted.watts is not None else ""
    place = f"{p.ampacity.insulation_c:g} °C, in {p.ampacity.ambient_c:.0f} °C"
    if wanted.kind in NEVER_SWITCHED and wanted.feed == "switched":
        feed = "this must not be switched: before every switch and disconnect"
    elif wanted.feed == "always-on":
        watts = wanted.watts if wanted.watts is not None else p.draw_a * wanted.nominal_v
        feed = f"before every switch and disconnect; {_figure(24 * watts / wanted.nominal_v)} Ah a day if it runs on"
    else:
        feed = "behind the panel switch and the disconnect"
        if p.size_for_3_percent and p.size_for_3_percent != p.size:
            feed += f"; for 3 % drop lay {p.size_for_3_percent}"
    return (
        f"Draws {_figure(p.draw_a)} A{at}: a device of {_figure(p.least_rating_a)} A or more carries that for hours.",
        f"Device: {p.device.rating_a:g} A {named}{f' ({marks})' if marks else ''}, at the source end.",
        f"Conductor: {p.size}{other}: {_figure(p.ampacity.amps)} A by {p.ampacity.rule}, {place}.",
        f"Drop: {_figure(p.drop_v)} V, {_figure(100 * p.drop_share)} % of {100 * p.allowed_share:g} % allowed; {_far(p)}.",
        f"Feed: {feed}.",
        "Isolate every source. Its maker, local code and licensed practice come first.",
    )


def _far(p: Proposal) -> str:
    if p.breaking_a is not None and p.far_short_a > p.breaking_a:
        return "a far short may be more than it breaks"
    return f"a far short, {_figure(p.far_short_a)} A, opens it"


def _figure(value: float) -> str:
    """Three digits, never as a power of ten."""
    if value < 0.001:
        return "0.001"
    return f"{value:.0f}" if value >= 100 else f"{value:.3g}" if value >= 0.1 else f"{value:.3f}"


def known_rules() -> tuple[str, ...]:
    """Names of the ampacity rules for direct current."""
    return tuple(name for name, rule in RULES.items() if "dc" in rule.kinds)
