"""The life cycle of an alarm: its states, its one table of (state, event) -> state, and what it knows of each kind.

The states and their rows are those of IEC 62682 / ISA-18.2 (A to I there); OPC 10000-9 has the same machine.
"""

from __future__ import annotations

from dataclasses import dataclass

from panelward.errors import RequestRefused

NORMAL = "normal"
UNACKNOWLEDGED = "unacknowledged"
ACKNOWLEDGED = "acknowledged"
RETURNED = "returned-unacknowledged"
LATCHED_UNACKNOWLEDGED = "latched-unacknowledged"  # leaves as "unacknowledged", latched
LATCHED_ACKNOWLEDGED = "latched-acknowledged"  # leaves as "acknowledged", latched
SHELVED = "shelved"
SUPPRESSED = "suppressed"
OUT_OF_SERVICE = "out-of-service"

STATES = (
    NORMAL, UNACKNOWLEDGED, ACKNOWLEDGED, RETURNED, LATCHED_UNACKNOWLEDGED, LATCHED_ACKNOWLEDGED,
    SHELVED, SUPPRESSED, OUT_OF_SERVICE,
)  # fmt: skip

# Events that let an alarm out of shelved, suppressed or out-of-service come in forms, by what is the case then: active,
# normal, latched (it ended meanwhile, and nobody looked at what it left), covered by a parent or removed with its circuit.
# Shelved, suppressed, out of service and latched are apart from each other (OPC 10000-9, 5.8.2): the end of one is no other's.
TABLE: dict[tuple[str, str], str] = {
    (NORMAL, "begins"): UNACKNOWLEDGED,
    (UNACKNOWLEDGED, "acknowledge"): ACKNOWLEDGED,
    (ACKNOWLEDGED, "ends"): NORMAL,
    (UNACKNOWLEDGED, "ends"): RETURNED,
    (RETURNED, "acknowledge"): NORMAL,
    (RETURNED, "begins"): UNACKNOWLEDGED,
    (ACKNOWLEDGED, "re-alarm"): UNACKNOWLEDGED,
    (UNACKNOWLEDGED, "ends-latching"): LATCHED_UNACKNOWLEDGED,
    (ACKNOWLEDGED, "ends-latching"): LATCHED_ACKNOWLEDGED,
    (LATCHED_UNACKNOWLEDGED, "acknowledge"): LATCHED_ACKNOWLEDGED,
    (LATCHED_ACKNOWLEDGED, "reset"): NORMAL,
    (LATCHED_UNACKNOWLEDGED, "begins"): UNACKNOWLEDGED,
    (LATCHED_ACKNOWLEDGED, "begins"): UNACKNOWLEDGED,
    (LATCHED_UNACKNOWLEDGED, "begins-while-removed"): OUT_OF_SERVICE,  # what it left to look at stays with it
    (LATCHED_ACKNOWLEDGED, "begins-while-removed"): OUT_OF_SERVICE,
    (SHELVED, "unshelve-while-active"): UNACKNOWLEDGED,
    (SHELVED, "unshelve-while-normal"): NORMAL,
    (SUPPRESSED, "unsuppress-while-active"): UNACKNOWLEDGED,
    (SUPPRESSED, "unsuppress-while-normal"): NORMAL,
    (OUT_OF_SERVICE, "return-while-active"): UNACKNOWLEDGED,
    (OUT_OF_SERVICE, "return-while-normal"): NORMAL,
    (SHELVED, "unshelve-while-latched"): LATCHED_UNACKNOWLEDGED,
    (SUPPRESSED, "unsuppress-while-latched"): LATCHED_UNACKNOWLEDGED,
    (OUT_OF_SERVICE, "return-while-latched"): LATCHED_UNACKNOWLEDGED,
    (SHELVED, "unshelve-while-covered"): SUPPRESSED,
    (OUT_OF_SERVICE, "return-while-covered"): SUPPRESSED,
    (SHELVED, "unshelve-while-removed"): OUT_OF_SERVICE,
    (SUPPRESSED, "unsuppress-while-removed"): OUT_OF_SERVICE,
}
for _state in (NORMAL, UNACKNOWLEDGED, ACKNOWLEDGED, RETURNED):
    TABLE[_state, "shelve"] = SHELVED
    TABLE[_state, "suppress"] = SUPPRESSED
    TABLE[_state, "remove"] = OUT_OF_SERVICE
for _state in (SHELVED, SUPPRESSED, OUT_OF_SERVICE):
    TABLE[_state, "begins"] = _state
    TABLE[_state, "ends"] = _state


@dataclass(frozen=True, slots=True)
class Kind:
    """What the life cycle knows of a kind."""

    on_delay_s: float = 0.0  # the watch gathers its evidence first, so most need none
    off_delay_s: float = 0.0
    latches: bool = False
    end_is_told: bool = False  # a person wants to know that it is over


KINDS: dict[str, Kind] = {
    # 15 s: flow-like signals, ISA-18.2 (2009) guidance, from memory.
    "overcurrent-approach": Kind(off_delay_s=15.0),
    "conductor-overheating": Kind(off_delay_s=15.0, latches=True),
    "protection-doubtful": Kind(),
    "protection-opened": Kind(latches=True, end_is_told=True),
    "feed-lost": Kind(end_is_told=True),
    "standby-drain": Kind(),
    "unassigned-draw": Kind(),
    "off-profile": Kind(),
    "duty-high": Kind(),
    "duty-low": Kind(),
    "overlong-run": Kind(),
    "short-cycling": Kind(),
    "departed-from-record": Kind(),
    "undervoltage-approach": Kind(end_is_told=True),
    "readings-overdue": Kind(end_is_told=True),
    "reading-suspect": Kind(),
    "drill": Kind(),
    "messages-unsent": Kind(),
    "journal-unwritten": Kind(end_is_told=True),
    "flood": Kind(),
}

SHELVE_MOST_S = 24 * 3600.0
SHELVE_MOST_LIFE_S = 3600.0


def step(state: str, event: str) -> str:
    """The state after an event; RequestRefused where the table has no such row."""
    try:
        return TABLE[state, event]
    except KeyError:
        done = _DONE.get(event.partition("-")[0], f"take '{event}'")
        raise RequestRefused(f"an alarm that is {state} can't {done}") from None


_DONE = {
    "acknowledge": "be acknowledged",
    "shelve": "be shelved",
    "remove": "be taken out of service",
    "unshelve": "be taken back: it is not shelved",
    "return": "be put in service: it is not out of it",
}
