"""The coordination diagram of a way: the device's band, the conductor's limit, and what was held for how long."""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil, floor, log, log10

from matplotlib.axes import Axes

from panelward.ratings.curves import LEAST_S, MOST_S, ROUND, TIMES, Bears, Point, round_amps
from panelward.review.band import earliest, inside, latest
from panelward.review.drawn import FAINT, INK, NARROW, RED, TEXT, sheet, svg
from panelward.review.report import Band, Held, Margin, Opening

HIGH = 300.0
_LEFT, _FOOT, _RIGHT, _TOP = 48.0, 40.0, NARROW - 8.0, HIGH - 8.0
_SHADE = 0.16
OPENED = "protection-opened"  # of any other kind the curve meets nothing


class _Scale:
    """Amps across, seconds up, both logarithmic."""

    def __init__(self, least_a: float, most_a: float) -> None:
        self.least_a, self.most_a = round_amps(least_a, up=False), round_amps(most_a, up=True)

    def x(self, amps: float) -> float:
        share = log(amps / self.least_a) / log(self.most_a / self.least_a)
        return _LEFT + (_RIGHT - _LEFT) * min(1.0, max(0.0, share))

    def y(self, seconds: float) -> float:
        share = log(seconds / LEAST_S) / log(MOST_S / LEAST_S)
        return _FOOT + (_TOP - _FOOT) * min(1.0, max(0.0, share))

    def on(self, points: Sequence[Point]) -> tuple[list[float], list[float]]:
        inside = self._cut(points)
        return [self.x(a) for a, _ in inside], [self.y(s) for _, s in inside]

    def _cut(self, points: Sequence[Point]) -> list[Point]:
        """What lies on the paper: a line that leaves it ends at its edge."""
        found: list[Point] = []
        for at, (amps, seconds) in enumerate(points):
            if at:
                for edge in (MOST_S, LEAST_S):
                    a0, s0 = points[at - 1]
                    if (s0 - edge) * (seconds - edge) < 0.0:
                        part = log(edge / s0) / log(seconds / s0)
                        found.append((a0 * (amps / a0) ** part, edge))
            if LEAST_S <= seconds <= MOST_S and amps <= self.most_a * 1.001:
                found.append((amps, seconds))
        return found


def seen(margin: Margin, openings: Sequence[Opening]) -> list[Opening]:
    """Those whose current was read. A short circuit opens a device between two readings: what flowed before says nothing."""
    early = earliest(margin.band)
    least = early[0][0] if early else margin.fitted_a or 0.0
    return [each for each in openings if each.kind == OPENED and each.amps_before is not None and each.amps_before >= least]


def coordination(name: str, margin: Margin, bears: Bears | None, openings: Sequence[Opening], *, key: str) -> str:
    """The drawing; empty where there is neither a device, nor a conductor, nor anything held."""
    held = [each for each in margin.held if each.amps > 0.0]
    base = margin.fitted_a or margin.ampacity_a
    if base is None and not held:
        return ""
    limits = [6.0 * base if base else 1.0, 1.6 * (margin.ampacity_a or 0.0)]
    most = max([*limits, *(each.amps * 1.3 for each in held)])
    least = min([0.2 * (base or most), *(each.amps * 0.8 for each in held)])
    scale = _Scale(max(least, most / 2000), most)
    with sheet(NARROW, HIGH) as (figure, axes):
        _grid(axes, scale)
        _band(axes, scale, margin.band)
        if bears is not None:
            for points, dash in ((bears.warm, (6, 3)), (bears.short, (1.2, 2))):
                axes.plot(*scale.on(points), color=INK, linewidth=2.2, dashes=dash)
        elif margin.ampacity_a is not None:
            upright = [(margin.ampacity_a, MOST_S), (margin.ampacity_a, LEAST_S)]
            axes.plot(*scale.on(upright), color=INK, linewidth=2.2, dashes=(6, 3))
        curve = [(max(scale.least_a, each.amps), min(MOST_S, max(LEAST_S, each.seconds))) for each in held]
        axes.plot(*scale.on(curve), color=INK, linewidth=1.8, marker="o", markersize=5)
        within, beyond = inside(margin)
        for each in (*within, *beyond):
            axes.plot([scale.x(each.amps)], [scale.y(each.seconds)], marker="o", markersize=13, markerfacecolor="none",
                      markeredgecolor=RED, markeredgewidth=2.0)  # fmt: skip
        for opening in seen(margin, openings):
            _opening(axes, scale, opening, held)
        said = _said(margin, held, within, beyond, openings)
        return svg(figure, f"Coordination diagram of {name}", said, key=key)


def _band(axes: Axes, scale: _Scale, band: Sequence[Band]) -> None:
    early, late = earliest(band), latest(band)
    early_x, early_y = scale.on(early)
    late_x, late_y = scale.on(late)
    if early and late:
        corner = max(early_x[-1], late_x[-1])  # a line that left through the foot goes on along it
        axes.fill(
            [*early_x, corner, *reversed(late_x)],
            [*early_y, early_y[-1], *reversed(late_y)],
            color=INK,
            alpha=_SHADE,
            linewidth=0.0,
        )
    elif early:
        axes.fill([*early_x, _RIGHT, _RIGHT], [*early_y, early_y[-1], _TOP], color=INK, alpha=_SHADE, linewidth=0.0)
    for xs, ys in ((early_x, early_y), (late_x, late_y)):
        axes.plot(xs, ys, color=INK, linewidth=0.9)


def _opening(axes: Axes, scale: _Scale, opening: Opening, held: Sequence[Held]) -> None:
    """A cross where what was held met it: at the current before it, as long as that was held at most."""
    if opening.amps_before is None:
        return
    lasted = [each.seconds for each in held if each.amps >= opening.amps_before * 0.98]
    seconds = max(lasted, default=min((each.seconds for each in held), default=LEAST_S))
    axes.plot([scale.x(opening.amps_before)], [scale.y(seconds)], marker="x", markersize=12, color=RED, markeredgewidth=2.6)


def _grid(axes: Axes, scale: _Scale) -> None:
    thin = {"color": INK, "alpha": FAINT, "linewidth": 0.6}
    last = -99.0
    for decade in range(floor(log10(scale.least_a)), ceil(log10(scale.most_a)) + 1):
        for step in ROUND:
            amps = step * 10.0**decade
            if not scale.least_a * 0.999 <= amps <= scale.most_a * 1.001:
                continue
            x = scale.x(amps)
            axes.plot([x, x], [_FOOT, _TOP], **thin)  # type: ignore[arg-type]
            if x - last >= 27.0:
                axes.text(min(x, _RIGHT - 2), _FOOT - 14, f"{amps:g}", fontsize=TEXT, ha="center")
                last = x
    for seconds, text in TIMES:
        y = scale.y(seconds)
        axes.plot([_LEFT, _RIGHT], [y, y], **thin)  # type: ignore[arg-type]
        axes.text(_LEFT - 4, y - 4, text, fontsize=TEXT, ha="right")
    axes.plot([_LEFT, _RIGHT, _RIGHT, _LEFT, _LEFT], [_FOOT, _FOOT, _TOP, _TOP, _FOOT], color=INK, linewidth=1.0)
    axes.text((_LEFT + _RIGHT) / 2, 6.0, "amps, held for at least so long", fontsize=TEXT, ha="center")


def _said(
    margin: Margin, held: Sequence[Held], within: Sequence[Held], beyond: Sequence[Held], openings: Sequence[Opening]
) -> str:
    parts = [f"Fitted: {margin.device or 'not known'}"]
    if margin.ampacity_a is not None:
        parts.append(f"the conductor may carry {margin.ampacity_a:.3g} A for good")
    parts.append("held: " + ", ".join(f"{each.seconds:g} s {each.amps:.3g} A" for each in held) if held else "nothing was held")
    if within or beyond:
        parts.append(f"{len(within)} of these lie within the device's band, {len(beyond)} beyond it")
    if openings:
        parts.append(f"openings marked: {len(openings)}")
    return ". ".join(parts)
