"""Thermal memory of devices and conductors: heat as a fraction of the heat at which the device opens.

Form of IEC 60255-149:2013 (was IEC 60255-8): dh/dt = ((I/(k In))^2 - h) / tau, opens at h = 1. One body has one
such term. Two bodies joined (an element in its holder) answer a step with a sum of two exponentials, so a device
is a few terms of that form, each with its share; the shares add to 1 (the Foster form of the thermal network).
Exact for a current that is constant between two readings.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, inf, log

MOST_STEPS = 60  # some ten are enough where the terms are not very far apart


@dataclass(frozen=True, slots=True)
class Body:
    """A device or conductor as heat: `pickup` = k, multiple of the rating it carries for ever; terms (share, tau_s)."""

    pickup: float
    terms: tuple[tuple[float, float], ...]

    def cold(self) -> list[float]:
        return [0.0] * len(self.terms)


def heat(body: Body, state: Sequence[float]) -> float:
    """Heat as a fraction of the opening heat (1.0 = opens)."""
    return sum(share * part for (share, _), part in zip(body.terms, state, strict=True))


def warm(body: Body, state: list[float], multiple: float, dt_s: float) -> None:
    """Carry `state` on by `dt_s` seconds at a constant `multiple` of the rating. Exact, so any step length will do."""
    drive = (multiple / body.pickup) ** 2
    for i, (_, tau_s) in enumerate(body.terms):
        state[i] = drive + (state[i] - drive) * exp(-dt_s / tau_s)


def time_to_open_s(body: Body, state: Sequence[float], multiple: float) -> float:
    """Seconds until the body opens if `multiple` of the rating flows from now on; inf = never.

    One term: the closed form t = tau ln((m^2 - h) / (m^2 - 1)) of IEC 60255-149. More: Newton's steps, which from the
    left of a concave rise never overshoot, to 1e-12 of the heat. Where a hot holder cools while its element warms, the
    heat may pass 1 on the way to less: then its peak is looked at first.
    """
    drive = (multiple / body.pickup) ** 2
    if heat(body, state) >= 1.0:
        return 0.0
    terms = [(share * (drive - part), tau_s) for (share, tau_s), part in zip(body.terms, state, strict=True)]
    if all(size >= 0.0 for size, _ in terms):
        if drive <= 1.0:
            return inf
        return body.terms[0][1] * log(terms[0][0] / (drive - 1.0)) if len(terms) == 1 else _rise(drive, terms)
    peak_s = _peak_s(terms)
    if peak_s is not None and _missing(drive, terms, peak_s) <= 0.0:
        return _between(drive, terms, peak_s)
    if drive <= 1.0:
        return inf
    high = 1.0
    while _missing(drive, terms, high) > 0.0:
        high *= 2.0
    return _between(drive, terms, high)


def _missing(drive: float, terms: list[tuple[float, float]], seconds: float) -> float:
    """What is missing to the opening heat after so many seconds."""
    return 1.0 - drive + sum(size * exp(-seconds / tau_s) for size, tau_s in terms)


def _rise(drive: float, terms: list[tuple[float, float]]) -> float:
    seconds = 0.0
    for _ in range(MOST_STEPS):
        missing, slope = 1.0 - drive, 0.0
        for size, tau_s in terms:
            left = size * exp(-seconds / tau_s)
            missing += left
            slope += left / tau_s
        if missing <= 1e-12 or slope <= 0.0:
            return seconds
        seconds += missing / slope
    return seconds


def _between(drive: float, terms: list[tuple[float, float]], high: float) -> float:
    """The first crossing before `high`, by bisection: there the heat has passed 1."""
    low = 0.0
    while high - low > 1e-10 * high:
        middle = (low + high) / 2.0
        low, high = (middle, high) if _missing(drive, terms, middle) > 0.0 else (low, middle)
    return high


def _peak_s(terms: list[tuple[float, float]]) -> float | None:
    """When the heat of two terms is greatest: the quicker still warms, the slower already cools. None: no such time."""
    if len(terms) != 2:
        return None
    (rising, quick_s), (cooling, slow_s) = sorted(terms, key=lambda term: term[1])
    if rising <= 0.0 or cooling >= 0.0 or quick_s == slow_s:
        return None
    ratio = (rising / quick_s) / (-cooling / slow_s)
    return log(ratio) / (1.0 / quick_s - 1.0 / slow_s) if ratio > 1.0 else None


def iec_60255_149_time_s(current_a: float, before_a: float, pickup_a: float, tau_s: float) -> float:
    """Operating time of a thermal relay: t = tau ln((I^2 - Ip^2) / (I^2 - (k IB)^2)), IEC 60255-149; or inf."""
    if current_a <= pickup_a:
        return inf
    return tau_s * log((current_a**2 - before_a**2) / (current_a**2 - pickup_a**2))
