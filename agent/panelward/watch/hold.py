"""How long a load bears to be without its feed. Beyond that a person must look, though it draws again."""

from __future__ import annotations

from panelward.records import Circuit

# A closed refrigerator keeps its food about 4 h (USDA and FDA food safety advice, from memory).
COLD_S = 4 * 3600.0
KEPT_S = 3600.0  # always-on electronics: their own battery, their own clock (common practice, no source)


def hold_s(circuit: Circuit) -> float:
    """Seconds. What life depends on bears nothing."""
    if circuit.importance == "life":
        return 0.0
    if any(load.kind == "compressor" for load in circuit.loads):
        return COLD_S
    return KEPT_S if circuit.feed == "always-on" else float("inf")
