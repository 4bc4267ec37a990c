"""Why a circuit shows nothing: hypotheses and evidence as one table of log10 likelihood ratios.

Starting values are proposals from trade practice (no source), to be fitted on simulated cases and then frozen. A cause
is named only at a posterior of at least 0.85 with the runner-up at most 0.10; else it stays `unknown`, with candidates.
"""

from __future__ import annotations

NAMED = 0.85
RUNNER_UP = 0.10

# What a person would call each: switched-off (remotely or at a local switch), device-opened (fuse or breaker in the
# panel), load-failed (the load itself, its in-line fuse or its own lock-out), wiring-open, sensor-failed.
HYPOTHESES = ("switched-off", "device-opened", "load-failed", "wiring-open", "sensor-failed")

PRIORS = {
    "always-on": (0.25, 0.30, 0.20, 0.15, 0.10),
    "switched": (0.75, 0.12, 0.06, 0.04, 0.03),
}

EVIDENCE: dict[str, tuple[float, float, float, float, float]] = {
    #                            switched  device   load  wiring  sensor
    "switch-reported-off":      (+2.5,    -0.5,   -1.0,   -1.0,   -0.5),
    "switch-reported-on":       (-1.5,    +0.3,    0.0,    0.0,    0.0),
    "commanded-off":            (+3.0,    -0.5,   -0.5,   -0.5,   -0.5),
    "over-latest":              (0.0,     +3.0,   +0.3,    0.0,   -0.5),
    "far-over-rating":          (0.0,     +2.0,   +0.3,    0.0,   -0.5),
    "over-rating":              (0.0,     +1.0,   +0.2,    0.0,   -0.3),
    "ordinary-before":          (+0.3,    -0.5,    0.0,    0.0,    0.0),
    "bus-dipped":               (0.0,     +1.5,    0.0,    0.0,   -0.3),
    "bus-dipped-deep":          (0.0,     +2.7,    0.0,    0.0,   -0.3),
    "floor-gone":               (0.0,     +0.3,   -0.3,    0.0,    0.0),
    "no-volts-after-device":    (-1.0,    +2.0,   -2.0,   -1.0,   -0.5),
    "no-volts-after-switch":    (+1.0,    +1.0,   -2.0,   -0.5,   -0.5),
    "no-volts-at-load":         (+0.5,    +0.5,   -2.0,   +0.5,   -0.5),
    "volts-after-device":       (0.0,     -3.0,   +0.3,   +0.3,    0.0),
    "volts-after-switch":       (-1.5,    -3.0,   +0.5,   +0.5,    0.0),
    "volts-at-load":            (-2.0,    -3.0,   +1.0,   -2.0,    0.0),
}  # fmt: skip


def posterior(prior: str, evidence: tuple[str, ...]) -> tuple[tuple[str, float], ...]:
    """Probabilities of the hypotheses given the names of the evidence, most likely first."""
    weights = [p * 10.0 ** sum(EVIDENCE[name][i] for name in evidence) for i, p in enumerate(PRIORS[prior])]
    total = sum(weights)
    ranked = sorted(zip(HYPOTHESES, weights, strict=True), key=lambda pair: -pair[1])
    return tuple((name, weight / total) for name, weight in ranked)


def named(ranked: tuple[tuple[str, float], ...]) -> str | None:
    """The cause, where the evidence carries it."""
    return ranked[0][0] if ranked[0][1] >= NAMED and ranked[1][1] <= RUNNER_UP else None
