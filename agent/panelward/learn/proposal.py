"""From stands to a profile: what narrows by itself, what only a person may widen.

A level's centre and band are of its own stands (each a mean: what varies between them is the load, not the reading). A
band may only become a part of the one in force; its centre moves by 2 % a week at most and never by more than 10 % from
the anchor, the sealed record or, without one, the schedule. All else is proposed to a person with what it was and is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from panelward.learn.stands import Stand, Stands
from panelward.ratings.tolerance import factor
from panelward.records import Circuit, Commissioned, Level, Load, Profiled, ProfiledLevel, Supply
from panelward.schedule.profile import Proposed

DAYS = 7.0  # seven days or twenty runs, with nine tenths of the readings (trade practice, no source)
VISITS = 20
NEW_VISITS, NEW_DAYS = 10, 3  # of a level that nobody wrote
COVERAGE = 0.9
OFF_CLOCK = 0.1  # share of readings of another clock: then nothing is learned
LEASH_WEEK, LEASH_WHOLE = 0.02, 0.10
GAIN = 0.03  # no band is narrower than what a meter and the weather move
WORTH = 0.8  # a band that is not narrower than this share of the old one changes nothing
ALIKE = 0.08
MAD = 1.4826  # of a normal distribution: its standard deviation over the median deviation
NEVER = ("detector", "socket", "inverter")


@dataclass(frozen=True, slots=True)
class Learned:
    """What one circuit's fortnight says."""

    circuit: str
    why_not: str = ""  # nothing was learned, because …
    narrowed: Profiled | None = None  # by itself
    changes: tuple[str, ...] = ()  # in words
    proposed: tuple[Proposed, ...] = ()


def judge(
    circuit: Circuit, supply: Supply, stands: Stands, *, anchor: Circuit, commissioned: Commissioned | None, weeks: float
) -> Learned:
    """`circuit` as it is in force, `anchor` as it was written; `weeks` since the version in force was made (at most)."""
    why_not = _unfit(circuit, stands)
    if why_not:
        return Learned(circuit.id, why_not)
    load, written = circuit.loads[0], anchor.loads[0]
    step_w = circuit.sense.resolution_a * supply.nominal_v
    rest_w = max(load.standby_max_w or 0.0, 1.5 * (load.always_draws_w or 0.0)) + max(2.0 * step_w, 0.5)
    levels: list[ProfiledLevel] = []
    changes: list[str] = []
    proposed: list[Proposed] = []
    known: list[tuple[float, float]] = [(0.0, rest_w)]
    enough_days = stands.days >= DAYS
    for level in load.levels:
        low_w, high_w = level.watts * (1 - level.tolerance), level.watts * (1 + level.tolerance)
        known.append((low_w - 2 * step_w, high_w + 2 * step_w))
        own = [s for s in stands.found if low_w <= s.watts <= high_w and s.watts > rest_w]
        if len(own) < 2 or not (len(own) >= VISITS or (enough_days and len(own) >= 5)):
            continue
        made = _narrow(circuit, level, own, step_w, _anchor_w(level, written, commissioned), weeks)
        if isinstance(made, ProfiledLevel):
            levels.append(made)
            changes.append(f"{level.name}: {_band(level)} becomes {_band(made)}")
        elif made is not None:
            proposed.append(made)
    standby_w = _standby(load, stands.found, rest_w, step_w, enough_days)
    if standby_w is not None:
        was = "not written" if load.standby_max_w is None else f"{load.standby_max_w:.3g} W"
        changes.append(f"standby: at most {was} becomes at most {standby_w:.3g} W")
    proposed += _unknown(circuit, stands.found, known)
    narrowed = Profiled(circuit=circuit.id, levels=tuple(levels), standby_max_w=standby_w) if levels or standby_w else None
    return Learned(circuit.id, "", narrowed, tuple(changes), tuple(proposed))


def _unfit(circuit: Circuit, stands: Stands) -> str:
    if circuit.role != "load" or len(circuit.loads) != 1:
        return "not one load of its own"
    if circuit.loads[0].kind in NEVER:
        return f"of a load of kind {circuit.loads[0].kind} nothing is learned"
    if stands.off_clock > OFF_CLOCK * (stands.readings + stands.off_clock):
        of = stands.readings + stands.off_clock
        return f"{stands.off_clock} of {of} readings carry another time: the clock jumped, or a backlog"
    if not stands.readings:
        return "no readings"
    if circuit.sense.publishes != "on-change" and stands.coverage < COVERAGE:
        return f"{100 * stands.coverage:.0f} % of the time has readings; {100 * COVERAGE:.0f} % are wanted"
    if stands.days < DAYS and len(stands.found) < VISITS:
        return f"{stands.days:.1f} days and {len(stands.found)} runs; {DAYS:g} days or {VISITS} runs are wanted"
    return ""


def _anchor_w(level: Level, written: Load, commissioned: Commissioned | None) -> float:
    """What it was when it was new: sealed, else written."""
    if commissioned is not None:
        measured = next((x for x in commissioned.levels if x.name == level.name), None)
        if measured is not None:
            return measured.watts
    return next((x.watts for x in written.levels if x.name == level.name), level.watts)


def _narrow(
    circuit: Circuit, level: Level, own: Sequence[Stand], step_w: float, anchor_w: float, weeks: float
) -> ProfiledLevel | Proposed | None:
    watts = [s.watts for s in own]
    centre_w = median(watts)
    spread_w = MAD * median([abs(w - centre_w) for w in watts])
    band_w = factor(len(watts)) * spread_w + max(2.0 * step_w, GAIN * centre_w)
    leash_w = LEASH_WEEK * max(weeks, 1.0) * level.watts + GAIN * level.watts
    if abs(centre_w - anchor_w) > LEASH_WHOLE * anchor_w or abs(centre_w - level.watts) > leash_w:
        moved = f"it stands at {centre_w:.3g} W, {100 * (centre_w / anchor_w - 1):+.0f} % of what it was when new"
        return Proposed(circuit.id, "move", level.name, _round(centre_w), _up(band_w / centre_w), _band(level), moved)
    old_low_w, old_high_w = level.watts * (1 - level.tolerance), level.watts * (1 + level.tolerance)
    low_w, high_w = max(old_low_w, centre_w - band_w), min(old_high_w, centre_w + band_w)
    new_w = (low_w + high_w) / 2.0
    tolerance = (high_w - low_w) / 2.0 / new_w
    if high_w - low_w > WORTH * (old_high_w - old_low_w) or tolerance >= level.tolerance:
        return None
    return ProfiledLevel(name=level.name, watts=_round(new_w), tolerance=_round(tolerance))


def _standby(load: Load, found: Sequence[Stand], rest_w: float, step_w: float, enough_days: bool) -> float | None:
    """The most it rests at, where that is less than what is in force; None: nothing to change."""
    rests = sorted(s.watts for s in found if s.watts <= rest_w)
    if len(rests) < VISITS and not (enough_days and len(rests) >= 5):
        return None
    most_w = rests[min(len(rests) - 1, int(0.99 * len(rests)))]
    made_w = _round(max(most_w * 1.1 + max(step_w, 0.1), (load.always_draws_w or 0.0) * 1.2))
    if load.standby_max_w is not None and made_w > WORTH * load.standby_max_w:
        return None
    return made_w if load.standby_max_w is not None else None


def _unknown(circuit: Circuit, found: Sequence[Stand], known: Sequence[tuple[float, float]]) -> list[Proposed]:
    """Levels that nobody wrote, seen again and again: a person may accept them. A fault may look so too."""
    groups: list[list[Stand]] = []
    for stand in sorted((s for s in found if not any(a <= s.watts <= b for a, b in known)), key=lambda s: s.watts):
        if groups and stand.watts - groups[-1][-1].watts <= ALIKE * stand.watts:
            groups[-1].append(stand)
        else:
            groups.append([stand])
    made = []
    for group in groups:
        days = len({s.since_ms // 86_400_000 for s in group})
        if len(group) < NEW_VISITS or days < NEW_DAYS:
            continue
        centre_w = median(s.watts for s in group)
        band = max(max(abs(s.watts - centre_w) for s in group) / centre_w, GAIN)
        made.append(
            Proposed(
                circuit.id, "level", f"seen at {centre_w:.3g} W", _round(centre_w), _up(band), "no level",
                f"{len(group)} times on {days} days. Accept it only if you know what it is: a load that fails may look so too",
            )
        )  # fmt: skip
    return made


def _band(level: Level | ProfiledLevel) -> str:
    return f"{level.watts:.3g} W ± {100 * level.tolerance:.0f} %"


def _round(value: float) -> float:
    return float(f"{value:.3g}")


def _up(value: float) -> float:
    return float(f"{value + 0.005:.2f}")
