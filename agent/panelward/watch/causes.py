"""Why a circuit shows nothing: hypotheses and evidence as one table of log10 likelihood ratios.

A row is a piece of evidence, a column a hypothesis: how much likelier the evidence is under it, in powers of ten; 0
where it says nothing. The posterior is the prior of this circuit times all rows that were seen. A cause is named only
at a posterior of at least 0.85 with the runner-up at most 0.10; else it stays `unknown`, with its candidates.

The weights were proposed from trade practice (no source), then fitted on simulated cases (`tests/proving/fit.py`, each held to
its proposal) and frozen; the priors are the trade's. `TEMPER` shrinks the sum where pieces of evidence are not independent.
"""

from __future__ import annotations

from panelward.records import Circuit, Supply
from panelward.records.outputs import NAMED, RUNNER_UP

TEMPER = 1.0

HYPOTHESES = (
    "switched-off",  # H1 by a command, or at the panel
    "switched-off-at-load",  # H2 by a switch behind the sensor
    "device-opened",  # H3 its fuse or breaker in the panel
    "feeder-lost",  # H4
    "supply-lost",  # H5 what stands above: isolator, disconnect, the bank
    "rests",  # H6 a thermostat, a float, nobody wants it
    "load-failed",  # H7 element, motor, electronics
    "wiring-open",  # H8 a conductor or terminal
    "sensor-failed",  # H9 the channel reads nothing, the load goes on
    "link-lost",  # H10 no readings: told as readings-overdue, never from here
    "old-message",  # H11 retained or late: never judged here
    "turned-down",  # H12 at the load's own control
    "own-fuse",  # H13 the load's in-line fuse
    "lock-out",  # H14 the load's own low-voltage lock-out
    "source-limited",  # an inverter or electronic output limits and shuts down instead of the device opening
)
# What a lost feed is not: with these the circuit is fed, or nothing is known of it.
NO_LOSS = ("rests", "turned-down", "sensor-failed", "link-lost", "old-message")
ELSEWHERE = ("link-lost", "old-message")  # told of from elsewhere, or never: they compete with nothing here

Evidence = tuple[str, ...]
Ranked = tuple[tuple[str, float], ...]

EVIDENCE: dict[str, tuple[float, ...]] = {
    #                           H1    H2    H3    H4    H5    H6    H7    H8    H9    H10   H11   H12   H13   H14   limits
    "switch-reported-off":    (+2.6, -0.8, -0.5, -0.5, -0.5, -1.0, -1.0, -1.0, -0.5,  0.0,  0.0, -1.0, -1.0, -1.0, -0.5),
    "switch-reported-on":     (-1.5,  0.0, +0.3,  0.0,  0.0,  0.0,  0.0,  0.0,  0.0,  0.0,  0.0,  0.0,  0.0,  0.0,  0.0),
    "output-off-unasked":     (+0.5, -0.8, +1.5, -0.5, -0.5, -1.0, -1.0, -1.0, -0.5,  0.0,  0.0, -1.0, -1.0, -1.0, +1.0),
    "commanded-off":          (+3.0, -0.5, -0.5, -0.5, -0.5, -0.5, -0.5, -0.5, -0.5,  0.0,  0.0, -0.5, -0.5, -0.5, -0.5),
    "over-latest":            ( 0.0,  0.0, +3.0,  0.0,  0.0, -1.0, +0.3,  0.0, -0.5,  0.0,  0.0, -1.0, +1.5,  0.0, +2.0),
    "far-over-rating":        ( 0.0,  0.0, +2.0,  0.0,  0.0, -1.0, +0.3,  0.0, -0.5,  0.0,  0.0, -1.0, +1.0,  0.0, +2.0),
    "over-rating":            ( 0.0,  0.0, +1.1,  0.0,  0.0, -0.5, +0.2,  0.0, -0.3,  0.0,  0.0, -0.5, +0.5,  0.0, +1.2),
    "near-rating-in-heat":    ( 0.0,  0.0, +0.7,  0.0,  0.0,  0.0,  0.0, +0.2,  0.0,  0.0,  0.0,  0.0,  0.0,  0.0,  0.0),
    "ordinary-before":        (+0.3, +0.3, -0.5,  0.0,  0.0, +0.3,  0.0,  0.0,  0.0,  0.0,  0.0, +0.3, -0.2,  0.0, -1.0),
    "over-own-fuse":          ( 0.0,  0.0, -0.3,  0.0,  0.0,  0.0,  0.0,  0.0,  0.0,  0.0,  0.0,  0.0, +1.6,  0.0,  0.0),
    "bus-dipped":             ( 0.0,  0.0, +1.5,  0.0,  0.0, -0.5,  0.0,  0.0, -0.3,  0.0,  0.0, -0.5, +0.7, +1.0, +0.3),
    "bus-dipped-deep":        ( 0.0,  0.0, +2.7,  0.0,  0.0, -1.0,  0.0,  0.0, -0.3,  0.0,  0.0, -1.0, +1.2, +2.0, +0.3),
    "bus-dipped-at-once":     ( 0.0,  0.0, +2.7,  0.0,  0.0, -1.0,  0.0,  0.0, -0.3,  0.0,  0.0, -1.0, +1.2, +1.0, +0.3),
    "floor-gone":             ( 0.0,  0.0, +0.3, +0.3, +0.3, -3.0, -0.3, +0.3,  0.0,  0.0,  0.0, -3.0, +0.3, -0.5,  0.0),
    "no-volts-after-device":  (-1.5, -2.5, +2.0, +1.0, +1.0, -3.0, -3.0, -1.5, -0.5,  0.0,  0.0, -3.0, -3.0, -3.0, +0.5),
    "no-volts-after-switch":  (+1.0, -2.5, +1.2, +0.7, +0.7, -3.0, -3.0, -0.6, -0.5,  0.0,  0.0, -3.0, -3.0, -3.0, +0.5),
    "no-volts-at-load":       (+0.9, -0.8, +0.6, +0.5, +0.5, -3.0, -3.0, +0.5, -0.6,  0.0,  0.0, -3.0, -2.0, -3.0, +0.5),
    "volts-after-device":     ( 0.0, +0.4, -3.0, -3.0, -3.0,  0.0, +0.6, +0.2,  0.0,  0.0,  0.0,  0.0, +0.4, +0.2, -1.0),
    "volts-after-switch":     (-2.5, +0.2, -3.0, -3.0, -3.0,  0.0,  0.0,  0.0,  0.0,  0.0,  0.0,  0.0, +0.2, +0.3, -1.0),
    "volts-at-load":          (-2.5,  0.0, -3.0, -3.0, -3.0,  0.0, +0.2, -2.0,  0.0,  0.0,  0.0,  0.0, +0.1, +0.4, -1.0),
    "no-volts-beside":        (-1.0, -1.0, -2.5, +1.0, +1.0, -1.0, -1.0, -1.0, -0.5,  0.0,  0.0, -1.0, -1.0, -1.0,  0.0),
    "on-without-volts":       (-1.5,  0.0, +0.3,  0.0,  0.0,  0.0,  0.0, +0.1,  0.0,  0.0,  0.0,  0.0,  0.0,  0.0,  0.0),
    "feeder-lives":           ( 0.0,  0.0,  0.0, -3.0, -3.0,  0.0,  0.0,  0.0,  0.0,  0.0,  0.0,  0.0,  0.0,  0.0, -1.0),
    "supply-lives":           ( 0.0,  0.0,  0.0,  0.0, -2.5,  0.0,  0.0,  0.0,  0.0,  0.0,  0.0,  0.0,  0.0,  0.0, -1.0),
    "low-volts-before":       ( 0.0,  0.0,  0.0,  0.0, +0.7,  0.0,  0.0,  0.0,  0.0,  0.0,  0.0,  0.0,  0.0, +2.0, +0.5),
    "ample-volts-before":     ( 0.0,  0.0,  0.0,  0.0,  0.0,  0.0,  0.0,  0.0,  0.0,  0.0,  0.0,  0.0,  0.0, -1.5,  0.0),
    "flickered-before":       (-0.5,  0.0,  0.0, -0.3, -0.3, -0.3, +0.3, +2.0, +0.7,  0.0,  0.0, -0.3, +0.3, +0.3,  0.0),
    "meter-fell-too":         ( 0.0,  0.0,  0.0,  0.0,  0.0,  0.0,  0.0,  0.0, -2.0,  0.0,  0.0,  0.0,  0.0,  0.0,  0.0),
    "meter-goes-on":          (-0.7, -0.7, -0.7, -0.7, -0.7, -0.7, -0.7, -0.7, +1.3,  0.0,  0.0, -0.7, -0.7, -0.7, -0.7),
    "idle-too-long":          ( 0.0,  0.0,  0.0,  0.0,  0.0, -3.0,  0.0,  0.0,  0.0,  0.0,  0.0, -0.3,  0.0,  0.0,  0.0),
    "readings-fresh":         ( 0.0,  0.0,  0.0,  0.0,  0.0,  0.0,  0.0,  0.0,  0.0, -4.0, -4.0,  0.0,  0.0,  0.0,  0.0),
}  # fmt: skip

# How often each comes before anything was seen, by feed (common practice, no source); `priors` shifts them by load.
PRIORS: dict[str, tuple[float, ...]] = {
    "always-on": (0.15, 0.10, 0.30, 0.02, 0.02, 0.05, 0.12, 0.10, 0.08, 0.01, 0.01, 0.02, 0.04, 0.005, 0.0),
    "switched":  (0.48, 0.19, 0.12, 0.01, 0.01, 0.19, 0.05, 0.03, 0.02, 0.01, 0.01, 0.02, 0.02, 0.005, 0.0),
}  # fmt: skip
RESTS = 2.0
LOCKS_OUT = ("compressor", "inverter", "electronics", "charger")  # loads with a low-voltage lock-out of their own
HARD_WIRED = ("detector", "electronics")  # loads that mostly have no switch of their own

# Parents: what takes several circuits together.
UPSTREAM = (
    "feeder-lost",
    "low-voltage-disconnect",
    "isolator",
    "supply-lost",
    "battery-protection",
    "source-limited",
    "switched-off",
    "low-volts",
)
UPSTREAM_PRIORS: dict[str, tuple[float, ...]] = {
    #              feeder   cut-off  isolator supply   bank     limits   off      low
    "feeder":     (0.95,    0.01,    0.01,    0.01,    0.0,     0.0,     0.02,    0.01),
    "disconnect": (0.02,    0.50,    0.25,    0.03,    0.0,     0.0,     0.20,    0.01),
    "isolator":   (0.01,    0.01,    0.93,    0.02,    0.01,    0.0,     0.02,    0.01),
    "supply":     (0.01,    0.02,    0.43,    0.45,    0.06,    0.0,     0.03,    0.01),
    "inverter":   (0.0,     0.0,     0.0,     0.40,    0.0,     0.25,    0.35,    0.01),
}  # fmt: skip
UPSTREAM_EVIDENCE: dict[str, tuple[float, ...]] = {
    #                       feeder  cut-off isolator supply  bank   limits  off     low
    "near-its-cut-off":    ( 0.0,   +2.1,    0.0,    0.0,   +0.3,   0.0,   -0.3,   0.0),
    "far-from-cut-off":    ( 0.0,   -1.5,    0.0,    0.0,    0.0,   0.0,    0.0,   0.0),
    "bus-has-volts":       ( 0.0,    0.0,   +0.8,   -0.7,   -1.0,   0.0,    0.0,  -3.0),
    "bus-without-volts":   (-1.0,   -1.0,   -0.6,   +0.7,   +0.2,  +0.5,   +0.5,  -3.0),
    "bus-low":             (-1.0,   -0.5,   -2.0,   -1.0,   -1.0,   0.0,   -0.5,  +2.5),
    "others-live":         ( 0.0,    0.0,    0.0,   -2.5,   -2.5,   0.0,    0.0,   0.0),
    "volts-high-before":   ( 0.0,    0.0,    0.0,    0.0,   +1.5,   0.0,    0.0,   0.0),
    "source-heavy-before": ( 0.0,    0.0,    0.0,   +0.2,   +0.5,  +2.0,   -0.5,   0.0),
    "source-light-before": ( 0.0,    0.0,    0.0,    0.0,    0.0,  -0.6,   +0.1,   0.0),
}  # fmt: skip


def priors(circuit: Circuit, supply: Supply, *, floor: bool) -> tuple[float, ...]:
    """Of one circuit, before anything was seen: its feed and its load decide. They sum to 1."""
    weights = dict(zip(HYPOTHESES, PRIORS["always-on" if circuit.feed == "always-on" else "switched"], strict=True))
    kinds = [load.kind for load in circuit.loads]
    if not floor and circuit.feed == "always-on":
        weights["rests"] = RESTS  # without a floor nearly all that stops rests
    if circuit.feeder is None:
        weights["feeder-lost"] = 0.0
    if kinds and all(kind in HARD_WIRED for kind in kinds):
        weights["switched-off-at-load"] *= 0.3
    if any(kind in LOCKS_OUT for kind in kinds):
        weights["lock-out"] *= 6.0
    if any(load.inline_fuse_a is not None for load in circuit.loads):
        weights["own-fuse"] *= 2.0
    electronic = circuit.protection is not None and circuit.protection.kind == "electronic"
    if supply.fed_by is not None or electronic or "inverter" in kinds:
        weights["source-limited"] = 0.3 * weights["device-opened"]
    total = sum(weights.values())
    return tuple(weight / total for weight in weights.values())


def posterior(prior: tuple[float, ...], evidence: Evidence) -> Ranked:
    """Probabilities of the hypotheses given the names of the evidence, most likely first."""
    return _ranked(HYPOTHESES, prior, [EVIDENCE[name] for name in evidence])


def upstream(guard: str, evidence: Evidence) -> Ranked:
    """The same for a parent: what took its circuits together. `guard`: a row of UPSTREAM_PRIORS."""
    return _ranked(UPSTREAM, UPSTREAM_PRIORS[guard], [UPSTREAM_EVIDENCE[name] for name in evidence])


def _ranked(names: tuple[str, ...], prior: tuple[float, ...], rows: list[tuple[float, ...]]) -> Ranked:
    weights = [p * 10.0 ** (TEMPER * sum(row[i] for row in rows)) for i, p in enumerate(prior)]
    total = sum(weights)
    return tuple(sorted(((n, w / total) for n, w in zip(names, weights, strict=True)), key=lambda pair: -pair[1]))


def named(ranked: Ranked) -> str | None:
    """The cause, where the evidence carries it."""
    return ranked[0][0] if ranked[0][1] >= NAMED and ranked[1][1] <= RUNNER_UP else None


def shown(evidence: Evidence) -> tuple[tuple[str, tuple[tuple[str, float], ...]], ...]:
    """Each piece with its weights, the one that tells most apart first."""
    rows = []
    for name in evidence:
        names, weights = (HYPOTHESES, EVIDENCE[name]) if name in EVIDENCE else (UPSTREAM, UPSTREAM_EVIDENCE[name])
        tells = [w for h, w in zip(names, weights, strict=True) if h not in ELSEWHERE]
        rows.append((min(tells) - max(tells), name, tuple((h, w) for h, w in zip(names, weights, strict=True) if w)))
    rows.sort(key=lambda row: row[0])
    return tuple((name, weights) for _, name, weights in rows)
