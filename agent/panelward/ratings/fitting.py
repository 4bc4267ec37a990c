"""Which standard rating and which conductor fit a load: what planning proposes and what vetting names as a remedy.

Nothing here proposes a device above what a conductor carries: `most_a` is that limit, and the maker's and the way's.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import inf

from panelward.ratings.ampacity import Ampacity, corrected_ampacity_a
from panelward.ratings.conductor import AWG_SIZES, STANDARD_MM2, awg_area_mm2
from panelward.ratings.devices import device, family
from panelward.ratings.specimens import opening_times_s
from panelward.records import Protection, Segment

STEADY_SHARE = 0.8  # of its rating: holder's heat in practice (75 % at 25 °C: a fuse guide), NEC 210.20(A) for UL breakers
ORDINARY_TIMES = 4.0  # a device of up to four times the load is an ordinary choice; common practice, no source
STALL_TIMES = 4.0  # a stalled motor draws three to five times its running current; common practice, no source
STALL_OPENS_S = 60.0


def standard_ratings_a(protection: Protection) -> tuple[float, ...]:
    """The standard ratings of this kind and type, A, rising; none for an electronic output."""
    return family(protection).ratings_a


def fitting_ratings_a(
    protection: Protection, steady_a: float, *, surges: Sequence[tuple[float, float]] = (), most_a: float = inf
) -> tuple[float, ...]:
    """Standard ratings that carry `steady_a` at no more than 80 % of their rating, rising, at most `most_a`.

    `surges` are (amps, seconds): a rating whose earliest opening comes within one is left out. The list ends at four times
    the steady draw, or after the first that fits. Empty: none fits.
    """
    found: list[float] = []
    for rating in standard_ratings_a(protection):
        if rating > most_a * (1 + 1e-9) or rating * STEADY_SHARE < steady_a * (1 - 1e-9):
            continue
        if found and rating > ORDINARY_TIMES * steady_a:
            break
        of = device(replace(protection, rating_a=rating, as_left_a=None))
        earliest = [opening_times_s(of, amps / rating)[0] for amps, _ in surges]
        if all(t is None or t > seconds for t, (_, seconds) in zip(earliest, surges, strict=True)):
            found.append(rating)
    return tuple(found)


def greatest_standard_a(protection: Protection, most_a: float) -> float | None:
    """The greatest standard rating at or below `most_a`, A."""
    return max((r for r in standard_ratings_a(protection) if r <= most_a * (1 + 1e-9)), default=None)


def stall(protection: Protection, steady_a: float, times: float = STALL_TIMES) -> str:
    """A stalled motor here: the device `opens` within a minute, `may-open` in some minutes, or perhaps `carries` it on."""
    _, _, latest = opening_times_s(device(protection), times * steady_a / protection.fitted_a)
    if latest is None:
        return "may-open"
    if latest <= STALL_OPENS_S:
        return "opens"
    return "carries" if latest == inf else "may-open"


@dataclass(frozen=True, slots=True)
class Size:
    """A conductor of a standard size, in its place."""

    segment: Segment
    text: str  # 2.5 mm²
    ampacity: Ampacity | None


def standard_sizes(like: Segment, kind: str, rules: Sequence[str]) -> list[Size]:
    """Every standard size in the place of `like`, rising: AWG where it is an AWG, else mm²."""
    if like.awg is not None or like.sae is not None:
        segments = [(replace(like, area_mm2=None, sae=None, awg=awg), f"{awg} AWG") for awg in AWG_SIZES]
        segments.sort(key=lambda pair: awg_area_mm2(pair[0].awg or ""))
    else:
        segments = [(replace(like, area_mm2=mm2), f"{mm2:g} mm²") for mm2 in STANDARD_MM2]
    return [Size(segment, text, corrected_ampacity_a(segment, kind, rules)) for segment, text in segments]
