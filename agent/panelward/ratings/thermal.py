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

    One term: the closed form t = tau ln((m^2 - h) / (m^2 - 1)) of IEC 60255-149. More: bisection to 1e-9 of the time.
    """
    drive = (multiple / body.pickup) ** 2
    now = heat(body, state)
    if now >= 1.0:
        return 0.0
    if drive <= 1.0:
        return inf
    if len(body.terms) == 1:
        return body.terms[0][1] * log((drive - now) / (drive - 1.0))

    def cold_share(t_s: float) -> float:
        rest = sum(share * (drive - part) * exp(-t_s / tau_s) for (share, tau_s), part in zip(body.terms, state, strict=True))
        return drive - 1.0 - rest

    high = 1.0
    while cold_share(high) < 0.0:
        high *= 2.0
    low = 0.0
    while high - low > 1e-9 * high:
        middle = (low + high) / 2.0
        if cold_share(middle) < 0.0:
            low = middle
        else:
            high = middle
    return high


def iec_60255_149_time_s(current_a: float, before_a: float, pickup_a: float, tau_s: float) -> float:
    """Operating time of a thermal relay: t = tau ln((I^2 - Ip^2) / (I^2 - (k IB)^2)), IEC 60255-149; or inf."""
    if current_a <= pickup_a:
        return inf
    return tau_s * log((current_a**2 - before_a**2) / (current_a**2 - pickup_a**2))
