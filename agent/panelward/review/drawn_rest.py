"""When each way drew, and the volts where they are sensed: both as ink along a line, as on the journey's drawing."""

from __future__ import annotations

from collections.abc import Sequence

from matplotlib.collections import PolyCollection

from panelward.review.drawn import FAINT, INK, NARROW, RED, TEXT, sheet, svg
from panelward.review.report import Energy, Tide, Volts

_ROW, _MIDDLE, _HALF, _HEAD = 38.0, 28.0, 7.0, 18.0


def hours(rows: Sequence[tuple[str, Energy]]) -> str:
    """Energy by local hour, each line against its own largest hour: when, not how much."""
    high = _HEAD + _ROW * len(rows) + 6.0
    step = (NARROW - 8.0) / 24
    with sheet(NARROW, high) as (figure, axes):
        for hour in range(0, 25, 6):
            x = 4.0 + hour * step
            axes.plot([x, x], [2.0, high - _HEAD + 2.0], color=INK, alpha=FAINT, linewidth=0.6)
            axes.text(x, high - 11.0, str(hour), fontsize=TEXT, ha={0: "left", 24: "right"}.get(hour, "center"))
        for at, (name, energy) in enumerate(rows):
            y = high - _HEAD - at * _ROW - _MIDDLE
            most = max(energy.by_hour_wh, default=0.0)
            axes.text(0.0, y + _HALF + 3.0, _short(name, 44), fontsize=TEXT)
            axes.plot([4.0, NARROW - 4.0], [y, y], color=INK, linewidth=0.7)
            blocks = [
                [(4.0 + hour * step, y - _HALF * wh / most), (4.0 + (hour + 1) * step, y - _HALF * wh / most),
                 (4.0 + (hour + 1) * step, y + _HALF * wh / most), (4.0 + hour * step, y + _HALF * wh / most)]
                for hour, wh in enumerate(energy.by_hour_wh) if most > 0.0 and wh > 0.0
            ]  # fmt: skip
            if blocks:
                axes.add_collection(PolyCollection(blocks, facecolors=INK, edgecolors="none"))
        said = "; ".join(f"{name}: most at {busiest(each)} h" for name, each in rows if any(each.by_hour_wh))
        return svg(figure, "When each way drew, by local hour", said or "Nothing was drawn.", key="hours")


def busiest(energy: Energy) -> int | None:
    """The local hour with the most energy."""
    if not any(energy.by_hour_wh):
        return None
    return max(range(len(energy.by_hour_wh)), key=lambda hour: energy.by_hour_wh[hour])


def volts(rows: Sequence[tuple[str, Volts]], *, key: str, of: str) -> str:
    """How long each branch stood at which volts; a tick at the middle, in red what is too low."""
    rows = [(name, each) for name, each in rows if sum(each.counts) > 0]
    if not rows:
        return ""
    spans = [(each, _ends(each)) for _, each in rows]
    least = min(min(ends[0], each.low_v) for each, ends in spans) - 0.1
    most = max(max(ends[1], each.low_v) for each, ends in spans) + 0.1
    high = _HEAD + _ROW * len(rows) + 6.0

    def x_of(value: float) -> float:
        return 4.0 + (NARROW - 8.0) * (value - least) / (most - least)

    with sheet(NARROW, high) as (figure, axes):
        every = next(step for step in (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 500.0) if (most - least) / step <= 7.0)
        tick = every * -(-least // every)
        while tick <= most:
            axes.plot([x_of(tick)] * 2, [2.0, high - _HEAD + 2.0], color=INK, alpha=FAINT, linewidth=0.6)
            axes.text(min(max(x_of(tick), 12.0), NARROW - 12.0), high - 11.0, f"{tick:g} V", fontsize=TEXT, ha="center")
            tick += every
        for at, (name, each) in enumerate(rows):
            y = high - _HEAD - at * _ROW - _MIDDLE
            axes.text(0.0, y + _HALF + 3.0, _short(name, 44), fontsize=TEXT)
            top = max(each.counts)
            axes.plot([4.0, NARROW - 4.0], [y, y], color=INK, alpha=0.5, linewidth=0.5)
            for low, ink in ((False, INK), (True, RED)):
                blocks = []
                for i, count in enumerate(each.counts):
                    from_v = each.first_v + i * each.step_v
                    if count and (from_v + each.step_v / 2 < each.low_v) == low:
                        half = max(0.5, _HALF * count / top)
                        a, b = x_of(from_v), x_of(from_v + each.step_v)
                        blocks.append([(a, y - half), (b, y - half), (b, y + half), (a, y + half)])
                if blocks:
                    axes.add_collection(PolyCollection(blocks, facecolors=ink, edgecolors="none"))
            axes.plot([x_of(each.low_v)] * 2, [y - _HALF - 2, y + _HALF + 2], color=RED, linewidth=1.2, dashes=(2, 1.5))
        ends = ((name, *_ends(each)) for name, each in rows)
        said = "; ".join(f"{name}: from {lowest:.1f} to {highest:.1f} V" for name, lowest, highest in ends)
        return svg(figure, f"Volts of each branch{f' on {of}' if of else ''}", said, key=key)


def _ends(each: Volts) -> tuple[float, float]:
    full = [i for i, count in enumerate(each.counts) if count]
    return each.first_v + full[0] * each.step_v, each.first_v + (full[-1] + 1) * each.step_v


def tide(tides: Sequence[Tide], names: Sequence[str]) -> str:
    """The charge from dawn to dusk to dawn, as a tide's line; broken where it isn't known."""
    known = [each.charge_ah for each in tides if each.charge_ah is not None]
    if len(known) < 2:
        return ""
    high, left, foot, top = 170.0, 44.0, 26.0, 160.0
    least, most = min(0.0, *known), max(known) * 1.05 or 1.0
    first, last = tides[0].at_ms, tides[-1].at_ms

    def point(each: Tide) -> tuple[float, float]:
        assert each.charge_ah is not None
        share = (each.at_ms - first) / max(1, last - first)
        return left + (NARROW - left - 10.0) * share, foot + (top - foot) * (each.charge_ah - least) / (most - least)

    with sheet(NARROW, high) as (figure, axes):
        for i in range(3):
            value = least + (most - least) / 1.05 * i / 2
            y = foot + (top - foot) * (value - least) / (most - least)
            axes.plot([left, NARROW - 8.0], [y, y], color=INK, alpha=FAINT, linewidth=0.6)
            axes.text(left - 4.0, y - 4.0, f"{value:.0f} Ah", fontsize=TEXT, ha="right")
        run: list[tuple[float, float]] = []
        for each in (*tides, None):
            if each is not None and each.charge_ah is not None:
                run.append(point(each))
                continue
            if run:
                axes.plot(*zip(*run, strict=True), color=INK, linewidth=1.6)
            run = []
        for which, face in (("dawn", "none"), ("dusk", INK)):
            at = [point(each) for each in tides if each.which == which and each.charge_ah is not None]
            if at:
                xs, ys = zip(*at, strict=True)
                axes.plot(xs, ys, linestyle="none", marker="o", markersize=6, markerfacecolor=face, markeredgecolor=INK)
        axes.text(left, 8.0, names[0], fontsize=TEXT)
        axes.text(NARROW - 4.0, 8.0, names[-1], fontsize=TEXT, ha="right")
        said = f"From {min(known):.0f} to {max(known):.0f} Ah; {len(tides) - len(known)} of {len(tides)} are not known."
        return svg(figure, "Charge of the bank at each dawn and dusk", said, key="tide")


def _short(text: str, most: int) -> str:
    return text if len(text) <= most else text[: most - 1].rstrip() + "…"
