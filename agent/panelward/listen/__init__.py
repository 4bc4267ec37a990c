"""What a broker's messages say of the monitors that publish them, and the schedule drafted from it. Pure.

    Kept().add(heard)                what was heard, in bounded memory
    find(records) -> Findings        which part of a topic is the circuit, which the quantity; how often, how finely
    draft(findings, broker) -> str   a schedule's TOML; what nobody can read from a broker is left to be filled in
    report(findings) -> lines        the same for a person, at 80 columns

The order in which the records are given does not matter: each has its time. What is drafted is proved: all that was heard
goes once more through the intake of the drafted monitors, and what they can't read is not drafted.
"""

from panelward.listen.draft import draft
from panelward.listen.find import find
from panelward.listen.findings import Findings, FoundCircuit, FoundMonitor, StateTopic, Unread
from panelward.listen.heard import Heard, Kept
from panelward.listen.proof import proved
from panelward.listen.told import report

__all__ = [
    "Findings",
    "FoundCircuit",
    "FoundMonitor",
    "Heard",
    "Kept",
    "StateTopic",
    "Unread",
    "draft",
    "find",
    "proved",
    "report",
]
