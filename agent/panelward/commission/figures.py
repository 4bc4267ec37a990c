"""From runs to levels: pooled readings, their tolerance interval, the exponent, the start."""

from __future__ import annotations

from dataclasses import dataclass, field
from math import ceil, log, sqrt
from statistics import fmean, median

from panelward.commission.runs import STEADY, Channel, Run
from panelward.ratings.behaviour import at_nominal
from panelward.ratings.tolerance import factor
from panelward.records import Circuit, Level, Load, Measured

BAND = 0.15  # of a level that the schedule gives no tolerance: common practice, no source
STANDBY_BAND = 0.3  # a standby is small against the resolution: common practice, no source
MOVED = 0.02  # of ln(volts): the volts moved enough to tell an exponent …
TOLD_SD = 0.25  # … whose standard error is then below this: two of `behaves` lie 0.5 apart at the least
SAME = 0.04  # two runs whose means lie nearer than this are one level: it drifts that much as it warms (no source)
# A standby stands still by the rule of IEC 62301:2005: within 5 % of the most over five minutes, after five to settle. Its
# second edition (2011, from memory) asks for less than 1 % an hour, or 10 mW an hour, which no panel's monitor can show.
STABLE, STABLE_MS, SETTLE_MS = 0.05, 60_000, 300_000
SETTLING = 0.1  # a change no greater is no switch, but how it settles: common practice, no source
BLOCKS = 6  # minutes in a row: the first and the last lie five apart (pieces are longer where a run has dropped readings)
FITS = 1.5  # a named level's tolerance times this: it is meant for that level, and differs


@dataclass(slots=True)
class Pool:
    """Runs of one level, its readings at nominal volts."""

    values: list[float] = field(default_factory=list)
    readings: int = 0
    runs: list[Run] = field(default_factory=list)

    @property
    def mean(self) -> float:
        return fmean(self.values)

    @property
    def sd(self) -> float:
        return _sd(self.values)


def _sd(values: list[float]) -> float:
    """statistics.stdev is exact and thirty times as slow."""
    if len(values) < 2:
        return 0.0
    mean = fmean(values)
    return sqrt(sum((value - mean) ** 2 for value in values) / (len(values) - 1))


def behaves(circuit: Circuit) -> str:
    return circuit.loads[0].behaves if circuit.loads else "constant-power"


def fitted_exponent(channel: Channel) -> float | None:
    """Watts ~ volts ** exponent within each level's runs together; None: the volts did not move enough to tell."""
    xx = xy = yy = 0.0
    n = levels = 0
    widest = 0.0
    for run in every_run(channel):
        pairs = [(log(v), log(w)) for v, w in zip(run.volts, run.watts, strict=True) if v > 0.0 and w > channel.nothing_w]
        if len(pairs) < 2 * STEADY or fmean(run.watts) < 10 * channel.step_w:
            continue
        mx, my = fmean(x for x, _ in pairs), fmean(y for _, y in pairs)
        widest = max(widest, max(x for x, _ in pairs) - min(x for x, _ in pairs))
        xx += sum((x - mx) ** 2 for x, _ in pairs)
        xy += sum((x - mx) * (y - my) for x, y in pairs)
        yy += sum((y - my) ** 2 for _, y in pairs)
        n += len(pairs)
        levels += 1
    if widest < MOVED or n - levels - 1 < STEADY or xx <= 0.0:
        return None
    slope = xy / xx
    error = sqrt(max(0.0, yy - slope * xy) / (n - levels - 1) / xx)
    return round(slope, 2) if error <= TOLD_SD and -1.5 <= slope <= 4.5 else None


def pools(channel: Channel, exponent: float | None = None) -> list[Pool]:
    """The levels that were seen, the smallest first; what draws nothing is none."""
    at = channel.exponent if exponent is None else exponent
    found: list[Pool] = []
    steady = [r for r in every_run(channel) if len(r.watts) >= STEADY]
    pieces = [
        (r, [at_nominal(w, v or None, channel.nominal_v, at) for v, w in zip(r.volts, r.watts, strict=True)]) for r in steady
    ]
    for run, values in sorted(pieces, key=lambda piece: (fmean(piece[1]), piece[0].begun_ms)):
        mean = fmean(values)
        if mean <= channel.nothing_w:
            continue
        last = found[-1] if found else None
        if last is None or not _same(last, values, channel.step_w):
            found.append(last := Pool())
        last.values += values
        last.readings += run.readings
        last.runs.append(run)
    return found


def _nominal(volts: list[float], watts: list[float], channel: Channel, exponent: float) -> list[float]:
    return [at_nominal(w, v or None, channel.nominal_v, exponent) for v, w in zip(volts, watts, strict=True)]


def _same(pool: Pool, values: list[float], step_w: float) -> bool:
    mean, spread = fmean(values), max(pool.sd, _sd(values), step_w / sqrt(12.0))
    apart = abs(mean - pool.mean)
    return apart <= max(3.0 * spread * sqrt(1.0 / len(values) + 1.0 / len(pool.values)), SAME * mean, 0.5 * step_w)


def every_run(channel: Channel) -> list[Run]:
    return [*channel.runs, channel.present] if channel.present is not None and channel.settled else channel.runs


def measured(pool: Pool, name: str, channel: Channel, band: float, least_w: float = 0.0) -> Measured:
    """The pool with its interval; provisional where that is wider than the band asked: a share of the level to either side,
    or `least_w`.
    """
    sd = max(pool.sd, channel.step_w / sqrt(12.0))  # what stands still is no better than its step
    n = len(pool.values)
    half = factor(n) * sd
    mean = pool.mean
    times, seconds = start_of(pool, channel)
    return Measured(
        name=name, watts=round(mean, 3), low_w=round(mean - half, 3), high_w=round(mean + half, 3), sd_w=round(sd, 4),
        readings=pool.readings, provisional=half > max(band * mean, least_w), surge_times=times, surge_s=seconds,
    )  # fmt: skip


def stable(pool: Pool, channel: Channel, exponent: float | None) -> Pool | None:
    """What of a standby stood still, the last of each run; None: nowhere for long enough."""
    at = channel.exponent if exponent is None else exponent
    runs, out = every_run(channel), Pool()
    for run in pool.runs:
        values = _nominal(run.volts, run.watts, channel, at)
        begun_ms = run.begun_ms + run.start_ms
        every_ms = (run.ended_ms - begun_ms) / max(1, len(values) - 1)
        if every_ms <= 0.0:
            continue
        size = max(ceil(STABLE_MS / every_ms), STEADY)
        first = max(0, ceil((_since_ms(runs, runs.index(run), channel, at) + SETTLE_MS - begun_ms) / every_ms))
        for end in range(len(values), first + BLOCKS * size - 1, -size):
            if kept := _still(values[first:end], size, channel.step_w):
                out.values += kept
                out.readings += len(kept) * run.stride
                out.runs.append(run)
                break
    return out if out.runs else None


def _since_ms(runs: list[Run], at: int, channel: Channel, exponent: float) -> int:
    """Since when it settles: back over edges too small to be a switch."""
    while at > 0 and (before_w := runs[at].from_w) is not None and runs[at].watts:
        mean = fmean(_nominal(runs[at].volts, runs[at].watts, channel, exponent))
        if abs(before_w - mean) > max(SETTLING * mean, channel.step_w):
            break
        at -= 1
    return runs[at].begun_ms


def _still(values: list[float], size: int, step_w: float) -> list[float]:
    """The end of these values, as many pieces as lie within the rule of their mean; none where those are too few."""
    means: list[float] = []
    for n in range(len(values) - size, -1, -size):
        more = [*means, fmean(values[n : n + size])]
        if max(more) - min(more) > max(STABLE * max(more), step_w):
            break
        means = more
    return values[-len(means) * size :] if len(means) >= BLOCKS else []


def start_of(pool: Pool, channel: Channel) -> tuple[float | None, float | None]:
    """Peak over level and seconds of a start, where its readings show one: two readings of it at the least."""
    period_ms = median(channel.periods) if channel.periods else 0.0
    mean, seen = pool.mean, []
    runs = every_run(channel)
    for at, run in enumerate(runs):
        if run not in pool.runs or run.from_w is None:
            continue
        before = runs[at - 1] if at else None
        if run.from_w < mean and run.start_ms >= 2 * period_ms > 0 and run.peak_w > 1.1 * mean:
            seen.append((run.peak_w / mean, run.start_ms / 1000))
        elif (
            before is not None and before.readings < STEADY and before.from_w is not None and before.from_w < mean < run.from_w
        ):
            seen.append((run.from_w / mean, (run.begun_ms - before.begun_ms) / 1000))  # a start long enough to look like a run
    if not seen:
        return None, None
    times, seconds = max(seen)
    return round(times, 2), round(seconds, 1)


def loose(channel: Channel, exponent: float | None) -> Pool | None:
    """What never stood still, as one provisional pool."""
    at = channel.exponent if exponent is None else exponent
    if len(channel.loose_w) < STEADY:
        return None
    values = [at_nominal(w, v or None, channel.nominal_v, at) for v, w in zip(channel.loose_v, channel.loose_w, strict=True)]
    return Pool(values, len(values))


def named_levels(circuit: Circuit) -> list[tuple[Load, Level]]:
    return [(load, level) for load in circuit.loads for level in load.levels]


def distance(watts: float, rise_w: float, level: Level) -> float:
    """How far a draw is from a level, in its tolerances; the level may be meant with or without the standby."""
    return min(abs(watts - level.watts), abs(rise_w - level.watts)) / (level.tolerance * level.watts)


def standby_of(circuit: Circuit, found: list[Pool], channel: Channel) -> Pool | None:
    """Which of the levels is the standby, if any."""
    if not found:
        return None
    lowest = found[0]
    most = [load.standby_max_w for load in circuit.loads if load.standby_max_w is not None]
    if most and lowest.mean <= FITS * sum(most):
        return lowest
    fits = any(distance(lowest.mean, lowest.mean, level) <= 1.0 for _, level in named_levels(circuit))
    floors = [load.always_draws_w for load in circuit.loads if load.always_draws_w is not None]
    if floors and not fits and lowest.mean <= 2.0 * sum(floors):
        return lowest
    first = next((r for r in channel.runs if len(r.watts) >= STEADY), None)
    if not fits and len(found) > 1 and lowest.mean * 3.0 <= found[1].mean and first is not None and first in lowest.runs:
        return lowest
    return None


def names_of(circuit: Circuit, found: list[Pool], nominal_v: float) -> list[tuple[Pool, str, Level | None]]:
    """Each pool with its name: the schedule's, both in the order of their size, so that the whole fits best; else an
    unnamed level at so many amps.
    """
    meant = _aligned(found, sorted((level for _, level in named_levels(circuit)), key=lambda level: level.watts))
    out: list[tuple[Pool, str, Level | None]] = []
    for pool, level in zip(found, meant, strict=True):
        out.append((pool, level.name if level else f"unnamed level at {pool.mean / nominal_v:.2g} A", level))
    return out


def _aligned(found: list[Pool], levels: list[Level]) -> list[Level | None]:
    """Which level each pool is: in order, at the least sum of distances; what is left over on either side costs `FITS`."""
    n, m = len(found), len(levels)
    cost = [[0.0] * (m + 1) for _ in range(n + 1)]
    for i in range(n, -1, -1):
        for j in range(m, -1, -1):
            if i == n or j == m:
                cost[i][j] = FITS * (n - i + m - j)
                continue
            d = distance(found[i].mean, found[i].mean, levels[j])
            pair = d + cost[i + 1][j + 1] if d <= FITS else 1e9
            cost[i][j] = min(pair, FITS + cost[i + 1][j], FITS + cost[i][j + 1])
    out: list[Level | None] = []
    i = j = 0
    while i < n:
        if j == m or cost[i][j] == FITS + cost[i + 1][j]:
            out.append(None)
            i += 1
        elif cost[i][j] == FITS + cost[i][j + 1]:
            j += 1
        else:
            out.append(levels[j])
            i, j = i + 1, j + 1
    return out
