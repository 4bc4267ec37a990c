"""What changed from one journey to the next, and what is ageing: day by day figures of each way, with intervals.

A day counts where three quarters of it were read. Of all that is compared, as many are told as keep the share of those told by
chance below a tenth (Benjamini and Hochberg).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from math import inf

import numpy as np

from panelward.records import Commissioned, Record, Schedule
from panelward.review.gathered import Gathered, Way
from panelward.review.habits import Day
from panelward.review.report import Ageing, Change, Span
from panelward.review.source import Floats
from panelward.review.statistics import adjusted, slope, steps, survives, t_quantile, welch
from panelward.wording.past import rough

READ_SHARE = 0.75  # of a day that counts
LEAST_READINGS = 20  # of a level in a day
LEAST_REST_MS = 1_800_000
LEAST_EDGES = 5
LEAST_AGEING_DAYS = 7
MONTH_DAYS, WEEK_DAYS = 30.0, 7.0
MOST_WEEKS = 520.0  # further off is no date
UNITS = {"standby_w": "W", "duty": "", "starts_per_day": "a day", "surge_a": "A", "source_ohm": "ohm"}
# A difference that is sure and does not matter: less than these shares of what it was, or less than so much (own choice).
LEAST_SHARE = 0.03
LEAST_SIZE = {"standby_w": 0.3, "duty": 0.01, "starts_per_day": 0.5, "surge_a": 0.2, "source_ohm": 0.0005, "level_w": 0.3}

Metric = tuple[str, Callable[[Day, float], float | None]]  # its name; of a day and its length in ms


def metrics(way: Way) -> Iterator[Metric]:
    """What can be told of a way."""
    circuit = way.circuit
    if circuit.role == "load":
        # A level that counts as rest is told by its name.
        rests = any(level.watts <= way.habits.on_w for load in circuit.loads for level in load.levels)
        if not rests and any(load.standby_max_w is not None or load.always_draws_w is not None for load in circuit.loads):
            yield "standby_w", lambda day, _: day.rest_wms / day.rest_ms if day.rest_ms >= LEAST_REST_MS else None
        if way.habits.told_apart:
            yield "duty", lambda day, _: day.on_ms / day.read_ms
            yield "starts_per_day", lambda day, whole: day.starts * whole / day.read_ms
        for load in circuit.loads:
            for level in load.levels:
                yield f"level_w:{level.name}", _level(level.name)
        if way.habits.surge_seen:
            yield "surge_a", lambda day, _: float(np.median(day.surges)) if len(day.surges) >= LEAST_EDGES else None
    elif circuit.role == "meter":
        yield "source_ohm", lambda day, _: float(np.median(day.ohms)) if len(day.ohms) >= LEAST_EDGES else None


def _level(name: str) -> Callable[[Day, float], float | None]:
    def mean(day: Day, _: float) -> float | None:
        count, watts = day.levels.get(name, (0.0, 0.0))
        return watts / count if count >= LEAST_READINGS else None

    return mean


def daily(way: Way, gathered: Gathered, span: Span, of: Callable[[Day, float], float | None]) -> tuple[Floats, Floats]:
    """(days since the first, figures) of those days of a span that can tell."""
    xs, ys = [], []
    for number, day in sorted(way.habits.days.items()):
        begins, ends = int(gathered.days_ms[number]), int(gathered.days_ms[number + 1])
        middle, whole = (begins + ends) / 2.0, float(ends - begins)
        if not span.from_ms <= middle < span.to_ms:
            continue
        if way.circuit.role == "load" and day.read_ms < READ_SHARE * whole:
            continue
        value = of(day, whole)
        if value is not None:
            xs.append((middle - float(gathered.days_ms[0])) / 86_400_000)
            ys.append(value)
    return np.array(xs), np.array(ys)


def changes(schedule: Schedule, gathered: Gathered, before: Span | None, now: Span) -> tuple[Change, ...]:
    """All that could be compared, in panel order."""
    if before is None:
        return ()
    found: list[Change] = []
    for circuit in schedule.circuits:
        way = gathered.ways[circuit.id]
        for name, of in metrics(way):
            (days_1, one), (days_2, two) = daily(way, gathered, before, of), daily(way, gathered, now, of)
            result = welch(one, two)
            like_warmth = False
            if name == "duty" and any(load.kind == "compressor" for load in circuit.loads):
                warm = adjusted(one, two, _warmth(schedule, gathered, days_1), _warmth(schedule, gathered, days_2))
                result, like_warmth = (warm, True) if warm is not None else (result, False)
            if result is not None:
                unit = UNITS.get(name, "W")
                found.append(
                    Change(
                        way=circuit.id, metric=name, before=result.before, now=result.now, low=result.low, high=result.high,
                        p=result.p, told=False, unit=unit, before_n=len(one), now_n=len(two),
                        adjusted=like_warmth,
                    )
                )  # fmt: skip
    told = survives([each.p for each in found])
    return tuple(_said(schedule, each, survived=is_told and matters(each)) for each, is_told in zip(found, told, strict=True))


def _warmth(schedule: Schedule, gathered: Gathered, days: Floats) -> Floats:
    """How warm it was outside on each of these days, °C; NaN: not known."""
    probe = next((p.id for p in schedule.probes if p.where == "outside"), None)
    if probe is None or not len(days):
        return np.full(len(days), np.nan)
    celsius = gathered.probes[probe].celsius
    of = np.searchsorted(gathered.days_ms, gathered.edges_ms[:-1], side="right") - 1
    known = ~np.isnan(celsius)
    count = len(gathered.days_ms) - 1
    with np.errstate(invalid="ignore"):
        means = np.bincount(of[known], celsius[known], count) / np.bincount(of[known], minlength=count)
    at = np.searchsorted(gathered.days_ms, days * 86_400_000 + float(gathered.days_ms[0]), side="right") - 1
    return np.asarray(means[at], np.float64)


def matters(change: Change) -> bool:
    """Is it more than a trifle?"""
    size = abs(change.now - change.before)
    least = LEAST_SIZE.get(change.metric.partition(":")[0], 0.0)
    return size >= max(least, LEAST_SHARE * abs(change.before))


def _said(schedule: Schedule, change: Change, *, survived: bool) -> Change:
    label = schedule.circuit(change.way).label
    return Change(
        way=change.way, metric=change.metric, before=change.before, now=change.now, low=change.low, high=change.high,
        p=change.p, told=survived, unit=change.unit, before_n=change.before_n, now_n=change.now_n,
        adjusted=change.adjusted, text=sentence(label, change.metric, change.before, change.now, like_warmth=change.adjusted),
    )  # fmt: skip


def sentence(label: str, metric: str, before: float, now: float, *, like_warmth: bool = False) -> str:
    """In words, with the two figures."""
    name, _, level = metric.partition(":")
    up = "more" if now > before else "less"
    if name == "standby_w":
        return f"{label} draws {up} at rest: {now:.3g} W, before {before:.3g} W."
    if name == "level_w":
        return f"{label} draws {up} at {level}: {now:.3g} W, before {before:.3g} W."
    if name == "duty":
        like = ", at like warmth outside" if like_warmth else ""
        return f"{label} runs {up}: {rough(100 * now)} % of the time, before {rough(100 * before)} %{like}."
    if name == "starts_per_day":
        often = "more often" if now > before else "less often"
        return f"{label} starts {often}: {now:.3g} times a day, before {before:.3g}."
    if name == "surge_a":
        return f"{label} draws {up} as it starts: {now:.3g} A, before {before:.3g} A."
    return f"The volts at {label} give way {up} under load: {1000 * now:.3g} mΩ, before {1000 * before:.3g} mΩ."


def ageing(schedule: Schedule, gathered: Gathered, span: Span, record: Record | None) -> tuple[Ageing, ...]:
    """Slopes over all days that were looked at, this journey's and the one before, against the sealed record."""
    found = []
    for circuit in schedule.circuits:
        way = gathered.ways[circuit.id]
        commissioned = record.circuit(circuit.id) if record is not None else None
        for name, of in metrics(way):
            if name in ("duty", "starts_per_day"):
                continue  # weather and people, not age
            xs, ys = daily(way, gathered, span, of)
            if len(xs) < LEAST_AGEING_DAYS or xs[-1] - xs[0] < LEAST_AGEING_DAYS - 1:
                continue
            line = slope(xs, ys)
            if line is None:
                continue
            stepped = steps(xs, ys)
            was, limit = _recorded(commissioned, name), _limit(way, name)
            p10, p50, p90 = (None, None, None) if stepped else weeks(line.at_end, line.per, line.sd, line.freedom, limit)
            found.append(
                Ageing(
                    way=circuit.id, metric=name, record=was, now=line.at_end, slope_per_month=line.per * MONTH_DAYS,
                    low=line.low * MONTH_DAYS, high=line.high * MONTH_DAYS, limit=limit, weeks_p10=p10, weeks_p50=p50,
                    weeks_p90=p90, unit=UNITS.get(name, "W"), stepped=stepped,
                )
            )  # fmt: skip
    return tuple(found)


def moved(each: Ageing) -> bool:
    """Is its slope proved, and more than a trifle a month?"""
    least = LEAST_SIZE.get(each.metric.partition(":")[0], 0.0)
    return not each.low <= 0.0 <= each.high and abs(each.slope_per_month) >= max(least, LEAST_SHARE * abs(each.now))


def weeks(
    now: float, per_day: float, sd: float, freedom: int, limit: float | None
) -> tuple[float | None, float | None, float | None]:
    """Until the limit, if it goes on so: at the steep, the likely and the flat slope. None: not within ten years, or no limit.

    Nothing is said of a slope that may as well be none.
    """
    if limit is None or limit <= now:
        return (0.0, 0.0, 0.0) if limit is not None and limit < now else (None, None, None)
    aside = t_quantile(0.9, freedom) * sd
    if per_day - t_quantile(0.975, freedom) * sd <= 0.0:
        return None, None, None
    found = []
    for each in (per_day + aside, per_day, per_day - aside):
        at = (limit - now) / each / WEEK_DAYS if each > 0.0 else inf
        found.append(at if at <= MOST_WEEKS else None)
    return found[0], found[1], found[2]


def _recorded(commissioned: Commissioned | None, name: str) -> float | None:
    if commissioned is None:
        return None
    if name == "standby_w":
        return commissioned.standby.watts if commissioned.standby is not None else None
    kind, _, level = name.partition(":")
    if kind == "level_w":
        return next((each.watts for each in commissioned.levels if each.name == level), None)
    return None


def _limit(way: Way, name: str) -> float | None:
    """Where its band ends."""
    loads = way.circuit.loads
    if name == "standby_w":
        known = [load.standby_max_w for load in loads if load.standby_max_w is not None]
        return sum(known) if known else None
    kind, _, level = name.partition(":")
    if kind == "level_w":
        bands = [each.watts * (1.0 + each.tolerance) for load in loads for each in load.levels if each.name == level]
        return max(bands, default=None)
    return None
