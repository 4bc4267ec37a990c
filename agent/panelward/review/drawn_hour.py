"""The hours around an alarm: its way's current, those beside it, the volts and the warmth, one above the other."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise

from matplotlib.axes import Axes

from panelward.review.drawn import FAINT, INK, NARROW, RED, TEXT, sheet, svg
from panelward.review.hour import Hour, Minute, Series

_LEFT, _RIGHT, _HIGH, _GAP, _HEAD, _FOOT = 44.0, NARROW - 6.0, 70.0, 28.0, 6.0, 22.0
MOST = 8  # lines of currents: more would be no drawing
Value = Callable[[Minute], float | None]


def drawn(hour: Hour, clock: Callable[[int], str]) -> str:
    """Empty where nothing was read. A line breaks where a minute has no reading."""
    own = set(hour.ways)
    labels = dict(hour.labels)
    strips: list[tuple[str, Series, Value, str]] = [
        (f"{each.way} {labels.get(each.way, '')}", each, _amps, "A") for each in hour.series[:MOST] if _any(each, _amps)
    ]
    volts = next((each for each in hour.series if each.way in own and _any(each, _volts)), None)
    volts = volts or next((each for each in hour.series if _any(each, _volts)), None)
    if volts is not None:
        strips.append((f"volts, read at {volts.way}", volts, _volts, "V"))
    strips += [(f"warmth, {each.way}", each, _celsius, "°C") for each in hour.warmth if _any(each, _celsius)]
    if not strips:
        return ""
    high = _HEAD + len(strips) * (_HIGH + _GAP) + _FOOT
    with sheet(NARROW, high) as (figure, axes):
        for at, (name, series, value, unit) in enumerate(strips):
            foot = high - _HEAD - at * (_HIGH + _GAP) - _GAP - _HIGH + 8.0
            _strip(axes, hour, name, series, value, unit, foot)
        x = _x(hour, hour.since_ms)
        axes.plot([x, x], [_FOOT, high - _HEAD - 8.0], color=RED, linewidth=1.4)
        for at_ms, place in ((hour.from_ms, "left"), (hour.since_ms, "center"), (hour.to_ms, "right")):
            colour = RED if place == "center" else INK
            axes.text(_x(hour, at_ms), 6.0, clock(at_ms), fontsize=TEXT, ha=place, color=colour)
        said = "; ".join(f"{name}: {_range(series, value, unit)} {unit}" for name, series, value, unit in strips)
        return svg(figure, "The hours around the alarm", said, key="hour")


def _amps(minute: Minute) -> float | None:
    return minute.amps


def _volts(minute: Minute) -> float | None:
    return minute.volts


def _extreme(minute: Minute, unit: str) -> float | None:
    """The most amps, the lowest volts: what a mean hides."""
    return {"A": minute.most_a, "V": minute.least_v}.get(unit)


def _celsius(minute: Minute) -> float | None:
    return minute.celsius


def _any(series: Series, value: Value) -> bool:
    return any(value(minute) is not None for minute in series.minutes)


def _range(series: Series, value: Value, unit: str) -> str:
    found = [here for minute in series.minutes if (here := value(minute)) is not None]
    if unit == "V":
        found += [minute.least_v for minute in series.minutes if minute.least_v is not None]
    return f"{min(found):.3g} to {max(found):.3g}"


def _x(hour: Hour, at_ms: float) -> float:
    return _LEFT + (_RIGHT - _LEFT) * (at_ms - hour.from_ms) / (hour.to_ms - hour.from_ms)


def _strip(axes: Axes, hour: Hour, name: str, series: Series, value: Value, unit: str, foot: float) -> None:
    known = [(minute, here) for minute in series.minutes if (here := value(minute)) is not None]
    values = [here for _, here in known] + [found for minute, _ in known if (found := _extreme(minute, unit)) is not None]
    low, high = min(values), max(values)
    if unit == "A":
        low, high = min(low, 0.0), max(high, 0.1)
    if high - low < 0.2:
        low, high = low - 0.1, high + 0.1

    def y(here: float) -> float:
        return foot + _HIGH * 0.86 * (here - low) / (high - low)

    axes.text(0.0, foot + _HIGH * 0.86 + 11.0, name if len(name) <= 46 else name[:45].rstrip() + "…", fontsize=TEXT)
    for here in (low, high):
        axes.plot([_LEFT, _RIGHT], [y(here), y(here)], color=INK, alpha=FAINT, linewidth=0.6)
        axes.text(_LEFT - 4.0, y(here) - 4.0, f"{here:.3g} {unit}", fontsize=TEXT - 0.5, ha="right")
    for minute, here in known:
        extreme = _extreme(minute, unit)
        if extreme is not None and abs(extreme - here) > 0.02 * (high - low):
            x = _x(hour, minute.at_ms + 30_000)
            axes.plot([x, x], [y(here), y(extreme)], color=INK, linewidth=0.7)
    for run in _unbroken(known):
        xs = [_x(hour, minute.at_ms + 30_000) for minute, _ in run]
        ys = [y(here) for _, here in run]
        if len(run) == 1:
            xs, ys = [xs[0] - 0.7, xs[0] + 0.7], [ys[0], ys[0]]
        axes.plot(xs, ys, color=INK, linewidth=1.5)


def _unbroken(known: Sequence[tuple[Minute, float]]) -> list[list[tuple[Minute, float]]]:
    """Runs of minutes that follow each other."""
    runs = [[known[0]]]
    for before, here in pairwise(known):
        if here[0].at_ms - before[0].at_ms > 60_000:
            runs.append([])
        runs[-1].append(here)
    return runs
