"""The journal: everything that reached the core and everything that came of it, in one SQLite file.

    append(input)   gives it its number, keeps it in memory
    commit(…)       one transaction: all inputs so far, the transitions after them, their outbox rows

Readings lie in compact blocks (`block`), packed together and summed up some minutes later (`packing`); other inputs lie as rows
of JSON (`spelling`). The file is made and moved on by named migrations (`schema`), opened, checked and, where damaged, set
aside (`opening`). What is past its time goes (`keeping`). One thread writes; other processes read with `Journal.read`, and
copy it while it is written with `back_up`.
"""

from panelward.journal.backup import back_up
from panelward.journal.inforce import InForce, asked_between, in_force
from panelward.journal.keeping import KEEP_READINGS_DAYS, KEEP_TOLD_DAYS, LATEST_OF_ONE
from panelward.journal.packing import KEEP_HOURS_DAYS, KEEP_MINUTES_DAYS, PACK_AFTER_MS
from panelward.journal.rows import Hour, Kept, OutboxRow, RawBlock, StoredTransition, Withdrawal
from panelward.journal.store import Journal
from panelward.journal.sums import Sensed, Sum, sensed

__all__ = [
    "KEEP_HOURS_DAYS",
    "KEEP_MINUTES_DAYS",
    "KEEP_READINGS_DAYS",
    "KEEP_TOLD_DAYS",
    "LATEST_OF_ONE",
    "PACK_AFTER_MS",
    "Hour",
    "InForce",
    "Journal",
    "Kept",
    "OutboxRow",
    "RawBlock",
    "Sensed",
    "StoredTransition",
    "Sum",
    "Withdrawal",
    "asked_between",
    "back_up",
    "in_force",
    "sensed",
]
