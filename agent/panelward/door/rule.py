"""A way's rule, like a slide rule's scale: the whole length is the fitted device's rating."""

from __future__ import annotations

from markupsafe import Markup

from panelward.door.first import Way

_SCALE = "M0 19H1000" + "".join(f"M{at} 19V{9 if at % 500 == 0 else 13}" for at in range(0, 1001, 100))


def drawn(way: Way) -> Markup:
    """The rule with its bracket and its tick; for the eye only, the numbers stand beside it."""
    low, high, now = way.place(way.low_a), way.place(way.high_a), way.place(way.amps)
    bracket = ""
    if low is not None and high is not None:
        bracket = f'<path class="bracket" d="M{low:g} 7V2H{max(high, low + 4):g}V7"/>'
    said = f"rule{' over' if way.over else ''}{' gone' if now is None else ''}"
    tick = f'<path class="tick" transform="translate({now or 0:g} 0)" d="M0 3V20"/>'  # beyond the rating it stands past the end
    return Markup(
        f'<svg class="{said}" viewBox="0 0 1030 20" preserveAspectRatio="none" aria-hidden="true" focusable="false">'
        f'<path class="scale" d="{_SCALE}"/>{bracket}{tick}</svg>'
    )
