"""Drawings of one way as SVG: the coordination diagram and the last days. Pure: points, hours and words in, text out.

Attributes and classes only, no styles: the page's own rules turn the inks. Every line also differs in its form, for black and
white; what stands in red pencil is said in words beside it. The rule of the first screen is in `rule`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, date, datetime
from html import escape
from math import ceil, floor, log10
from zoneinfo import ZoneInfo

from panelward.door.held import Held, Hour
from panelward.ratings.curves import LEAST_S, MOST_S, ROUND, TIMES, Band, Bears, Point, round_amps

Words = Callable[..., str]

_LEFT, _TOP, _RIGHT, _BOTTOM = 48.0, 10.0, 352.0, 320.0
_INK, _FILL = 'stroke="currentColor"', 'fill="currentColor"'


class _Scale:
    """Amps across, seconds up, both logarithmic."""

    def __init__(self, least_a: float, most_a: float) -> None:
        self.least_a, self.most_a = round_amps(least_a, up=False), round_amps(most_a, up=True)

    def x(self, amps: float) -> float:
        share = log10(amps / self.least_a) / log10(self.most_a / self.least_a)
        return _LEFT + (_RIGHT - _LEFT) * min(1.0, max(0.0, share))

    def y(self, seconds: float) -> float:
        share = log10(seconds / LEAST_S) / log10(MOST_S / LEAST_S)
        return _BOTTOM - (_BOTTOM - _TOP) * min(1.0, max(0.0, share))

    def amps(self) -> Iterator[float]:
        for decade in range(floor(log10(self.least_a)), ceil(log10(self.most_a)) + 1):
            for step in ROUND:
                if self.least_a * 0.999 <= step * 10.0**decade <= self.most_a * 1.001:
                    yield step * 10.0**decade

    def inside(self, points: Sequence[Point]) -> list[Point]:
        """What lies on the paper, cut at its edges."""
        found: list[Point] = []
        for before, here in zip([None, *points], points, strict=False):
            for edge in (MOST_S, LEAST_S):
                if before is not None and (before[1] - edge) * (here[1] - edge) < 0.0:
                    found.append(_between(before, here, edge))
            if LEAST_S <= here[1] <= MOST_S and self.least_a <= here[0] <= self.most_a:
                found.append(here)
        return found

    def path(self, points: Sequence[Point]) -> str:
        return "M" + "L".join(f"{self.x(a):.1f} {self.y(s):.1f}" for a, s in points) if points else ""


def _between(one: Point, other: Point, seconds: float) -> Point:
    share = log10(seconds / one[1]) / log10(other[1] / one[1])
    return one[0] * (other[0] / one[0]) ** share, seconds


def coordination(
    name: str,
    held: Sequence[Held],
    band: Band | None,
    bears: Bears | None,
    over: Sequence[Held],
    t: Words,
    *,
    rating_a: float | None,
) -> str:
    """The device's band, the conductor's limit and what was held. `over`: what lies in or beyond a limit, in red pencil."""
    drawn = [each for each in held if each.amps > 0.0]
    most = max([each.amps * 1.3 for each in drawn] + [6.0 * rating_a if rating_a else 1.0])
    if bears is not None:
        most = max(most, 1.6 * bears.ampacity.thermal_a)
    base = rating_a or (bears.ampacity.amps if bears else most)
    least = max(0.02 * base, min([0.2 * base, *(each.amps * 0.8 for each in drawn)]))
    scale = _Scale(least, most)
    out = [_grid(scale, t)]
    legend: list[tuple[str, str]] = []
    if band is not None:
        early, late = scale.inside(band.earliest), scale.inside(band.latest)
        area = _area(scale, early, late)
        out.append(f'<path class="band" d="{scale.path(area)}Z" {_FILL} fill-opacity="0.14" stroke="none"/>')
        for points in (early, late):
            out.append(f'<path d="{scale.path(points)}" fill="none" {_INK} stroke-width="1"/>')
        legend.append(("band", t("drawn.band", rating=f"{band.rating_a:g}")))
    if bears is not None:
        for of, dash, wide in ((bears.warm, "9 4", 2.5), (bears.short, "2 3", 2.5)):
            path = scale.path(scale.inside(of))
            out.append(f'<path d="{path}" fill="none" {_INK} stroke-width="{wide}" stroke-dasharray="{dash}"/>')
        legend.append(("warm", t("drawn.warm", amps=f"{bears.ampacity.amps:.3g}", celsius=f"{bears.ampacity.rated_c:.0f}")))
        legend.append(("short", t("drawn.short")))
    if drawn:
        line = [(max(scale.least_a, each.amps), each.seconds) for each in drawn]
        out.append(f'<path d="{scale.path(line)}" fill="none" {_INK} stroke-width="2"/>')
        for amps, seconds in line:
            out.append(f'<circle cx="{scale.x(amps):.1f}" cy="{scale.y(seconds):.1f}" r="3" {_FILL}/>')
        for each in over:
            x, y = scale.x(max(scale.least_a, each.amps)), scale.y(each.seconds)
            out.append(
                f'<circle class="pencil" cx="{x:.1f}" cy="{y:.1f}" r="7" fill="none" stroke="#b3131b" stroke-width="2.5"/>'
            )
        legend.append(("held", t("drawn.held")))
    if over:
        legend.append(("over", t("drawn.over")))
    foot = _BOTTOM + 48.0
    for at, (mark, text) in enumerate(legend):
        out.append(_legend(mark, text, foot + 17.0 * at))
    height = foot + 17.0 * len(legend)
    title = t("drawn.coordination", name=name)
    said = ". ".join([*(text for _, text in legend), t("drawn.none") if not drawn else _figures(drawn)])
    return _svg(height, title, said, "".join(out))


def _area(scale: _Scale, early: list[Point], late: list[Point]) -> list[Point]:
    """Between the two lines, and on to the edges of the paper."""
    if not early:
        return []
    corner = (scale.most_a, LEAST_S)
    if not late:
        return [*early, corner, (scale.most_a, MOST_S), (early[0][0], MOST_S)]
    return [*early, *([corner] if late[-1][1] > early[-1][1] * 1.01 else []), *reversed(late), (late[0][0], MOST_S),
            (early[0][0], MOST_S)]  # fmt: skip


def _figures(held: Sequence[Held]) -> str:
    return ", ".join(f"{lasting_text(each.seconds)} {each.amps:.3g} A" for each in held)


def lasting_text(seconds: float) -> str:
    """1 s, 30 s, 2 min, 3 h"""
    if seconds < 60:
        return f"{seconds:g} s"
    return f"{seconds / 60:g} min" if seconds < 3600 else f"{seconds / 3600:.3g} h"


def _legend(mark: str, text: str, y: float) -> str:
    line = f'd="M6 {y - 4:g}H34" fill="none" {_INK}'
    shapes = {
        "band": f'<rect x="6" y="{y - 9:g}" width="28" height="10" {_FILL} fill-opacity="0.14" {_INK}/>',
        "warm": f'<path {line} stroke-width="2.5" stroke-dasharray="9 4"/>',
        "short": f'<path {line} stroke-width="2.5" stroke-dasharray="2 3"/>',
        "held": f'<path {line} stroke-width="2"/><circle cx="20" cy="{y - 4:g}" r="3" {_FILL}/>',
        "over": f'<circle class="pencil" cx="20" cy="{y - 4:g}" r="6" fill="none" stroke="#b3131b" stroke-width="2.5"/>',
    }
    return f'{shapes[mark]}<text x="42" y="{y:g}" font-size="11" {_FILL}>{escape(text)}</text>'


def _grid(scale: _Scale, t: Words) -> str:
    out = []
    thin = f'{_INK} stroke-opacity="0.25" stroke-width="0.7"'
    last = -99.0
    for amps in scale.amps():
        x = scale.x(amps)
        out.append(f'<path d="M{x:.1f} {_TOP:g}V{_BOTTOM:g}" {thin}/>')
        if x - last >= 26.0:
            anchor = "middle" if x < _RIGHT - 8.0 else "end"
            out.append(f'<text x="{x:.1f}" y="{_BOTTOM + 15:g}" font-size="11" text-anchor="{anchor}" {_FILL}>{amps:g}</text>')
            last = x
    for seconds, text in TIMES:
        y = scale.y(seconds)
        out.append(f'<path d="M{_LEFT:g} {y:.1f}H{_RIGHT:g}" {thin}/>')
        out.append(f'<text x="{_LEFT - 5:g}" y="{y + 4:.1f}" font-size="11" text-anchor="end" {_FILL}>{text}</text>')
    out.append(
        f'<rect x="{_LEFT:g}" y="{_TOP:g}" width="{_RIGHT - _LEFT:g}" height="{_BOTTOM - _TOP:g}" fill="none" '
        f'{_INK} stroke-width="1.2"/>'
    )
    middle = (_LEFT + _RIGHT) / 2
    out.append(
        f'<text x="{middle:g}" y="{_BOTTOM + 30:g}" font-size="11" text-anchor="middle" {_FILL}>'
        f"{escape(t('drawn.axes'))}</text>"
    )
    return "".join(out)


def _svg(height: float, title: str, said: str, body: str) -> str:
    return (
        f'<svg class="drawing" role="img" viewBox="0 0 360 {height:g}" width="360" height="{height:g}" focusable="false">'
        f"<title>{escape(title)}</title><desc>{escape(said)}</desc>{body}</svg>"
    )


# The last days.

_DAY_LEFT, _HOUR_WIDE, _DAY_HIGH, _DAY_GAP, _HEAD = 62.0, 12.25, 30.0, 8.0, 14.0
MOST_DAYS = 8


def days(name: str, hours: Sequence[Hour], zone: ZoneInfo, day_name: Callable[[date], str], t: Words, *, key: str) -> str:
    """A row a day, its hours across: the mean as a line, from least to most as a bar, unread hatched. `key` names the hatching:
    another for every drawing of one page.
    """
    by_day: dict[date, list[tuple[int, Hour]]] = {}
    for hour in hours:
        local = datetime.fromtimestamp(hour.begins_ms / 1000, UTC).astimezone(zone)
        by_day.setdefault(local.date(), []).append((local.hour, hour))
    shown = sorted(by_day)[-MOST_DAYS:]
    top = max((max(abs(h.low_a or 0.0), abs(h.high_a or 0.0)) for day in shown for _, h in by_day[day]), default=0.0)
    top_a = round_amps(top, up=True) if top > 0.0 else 1.0
    hatch = f"hatch-{key}"
    out = [
        f'<defs><pattern id="{hatch}" width="5" height="5" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
        f'<path d="M0 0V5" {_INK} stroke-width="1.6" stroke-opacity="0.55"/></pattern></defs>'
    ]
    for hour_of_day in (0, 6, 12, 18, 24):
        x = _DAY_LEFT + _HOUR_WIDE * hour_of_day
        anchor = "end" if hour_of_day == 24 else "middle"
        out.append(f'<text x="{min(x, 358.0):g}" y="10" font-size="10" text-anchor="{anchor}" {_FILL}>{hour_of_day}</text>')
    y = _HEAD
    unread_s = 0.0
    for day in shown:
        base = y + _DAY_HIGH
        out.append(f'<text x="0" y="{base - 9:g}" font-size="11" {_FILL}>{escape(day_name(day))}</text>')
        out.append(f'<path d="M{_DAY_LEFT:g} {base:g}h{24 * _HOUR_WIDE:g}" {_INK} stroke-opacity="0.5" stroke-width="0.8"/>')
        for at, hour in by_day[day]:
            unread_s += hour.unread_s
            out.append(_hour(hour, _DAY_LEFT + _HOUR_WIDE * at, base, top_a, hatch))
        y = base + _DAY_GAP
    y += 6.0
    out.append(f'<rect x="0" y="{y - 2:g}" width="24" height="10" fill="url(#{hatch})" {_INK} stroke-width="0.6"/>')
    out.append(f'<text x="30" y="{y + 7:g}" font-size="11" {_FILL}>{escape(t("drawn.unread"))}</text>')
    scale = t("drawn.row", amps=f"{top_a:g}")
    out.append(f'<text x="0" y="{y + 24:g}" font-size="11" {_FILL}>{escape(scale)}</text>')
    said = f"{scale}. {t('drawn.unread_h', hours=f'{unread_s / 3600:.1f}')}"
    return _svg(y + 32.0, t("drawn.days", name=name), said, "".join(out))


def _hour(hour: Hour, x: float, base: float, top_a: float, hatch: str) -> str:
    """Nothing read: hatched from top to bottom. Part of it: a hatched foot, as wide as what is missing."""
    out = ""
    if hour.mean_a is None:
        wide = _HOUR_WIDE * min(1.0, hour.unread_s / 3600.0)
        return f'<rect x="{x:.2f}" y="{base - _DAY_HIGH:g}" width="{wide:.2f}" height="{_DAY_HIGH:g}" fill="url(#{hatch})"/>'
    if hour.unread_s >= 180.0:
        wide = _HOUR_WIDE * min(1.0, hour.unread_s / 3600.0)
        out += f'<rect x="{x + _HOUR_WIDE - wide:.2f}" y="{base:g}" width="{wide:.2f}" height="5" fill="url(#{hatch})"/>'
    sizes = [abs(hour.low_a or 0.0), abs(hour.high_a or 0.0)]
    low, high = min(sizes), max(sizes)
    if hour.low_a is not None and hour.high_a is not None and hour.low_a < 0.0 < hour.high_a:
        low = 0.0
    rise = _DAY_HIGH / top_a
    y_high, y_low, y_mean = base - rise * high, base - rise * low, base - rise * abs(hour.mean_a)
    out += (
        f'<path d="M{x + _HOUR_WIDE / 2:.2f} {y_low:.1f}V{y_high:.1f}" {_INK} stroke-opacity="0.35" stroke-width="5"/>'
        f'<path d="M{x + 0.6:.2f} {y_mean:.1f}H{x + _HOUR_WIDE - 0.6:.2f}" {_INK} stroke-width="1.8"/>'
    )
    return out
