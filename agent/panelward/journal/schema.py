"""The tables, made by named migrations: each runs in one transaction with the row that says it ran.

A migration is never changed once it is out; a new one goes to the end of MIGRATIONS.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable

APPLICATION_ID = 0x50574A4C  # "PWJL", at byte 68 of the file: this file is ours


def first_tables(connection: sqlite3.Connection) -> None:
    """Everything of the first version."""
    for statement in (
        # A run of readings without another input between. Rowid tables: bodies over a page's quarter spill badly otherwise.
        """CREATE TABLE blocks (
            first_number INTEGER PRIMARY KEY, last_number INTEGER NOT NULL,
            first_received_ms INTEGER NOT NULL, last_received_ms INTEGER NOT NULL, body BLOB NOT NULL)""",
        """CREATE TABLE inputs (
            number INTEGER PRIMARY KEY, kind TEXT NOT NULL, received_ms INTEGER NOT NULL, body TEXT NOT NULL)""",
        # Numbers that were given and whose readings are gone: dropped while the disk failed, or in a file set aside.
        "CREATE TABLE dropped (first_number INTEGER PRIMARY KEY, last_number INTEGER NOT NULL)",
        """CREATE TABLE transitions (
            alarm_id TEXT NOT NULL, sequence INTEGER NOT NULL, number INTEGER NOT NULL, at_ms INTEGER NOT NULL,
            real_s REAL, subject TEXT NOT NULL, subject_id TEXT NOT NULL, group_name TEXT NOT NULL,
            state TEXT NOT NULL, object TEXT NOT NULL, PRIMARY KEY (alarm_id, sequence))""",
        """CREATE TABLE outbox (
            id INTEGER PRIMARY KEY, alarm_id TEXT NOT NULL, sequence INTEGER NOT NULL, address_ref TEXT NOT NULL,
            title TEXT NOT NULL, body TEXT NOT NULL, kind TEXT NOT NULL, priority TEXT NOT NULL,
            created_real_s REAL NOT NULL, due_real_s REAL NOT NULL, expires_real_s REAL NOT NULL,
            status TEXT NOT NULL DEFAULT 'waiting', attempts INTEGER NOT NULL DEFAULT 0,
            last_why TEXT NOT NULL DEFAULT '', repeat INTEGER NOT NULL DEFAULT 0,
            UNIQUE (alarm_id, sequence, address_ref))""",
        "CREATE INDEX outbox_open ON outbox (due_real_s) WHERE status = 'waiting'",
        "CREATE TABLE snapshots (number INTEGER PRIMARY KEY, body BLOB NOT NULL)",
        "CREATE TABLE present (id INTEGER PRIMARY KEY CHECK (id = 1), body TEXT NOT NULL)",
        "CREATE TABLE counters (name TEXT PRIMARY KEY, value INTEGER NOT NULL)",
    ):
        connection.execute(statement)


def doing(connection: sqlite3.Connection) -> None:
    """What the vehicle was doing, a row a change."""
    connection.execute("CREATE TABLE doing (at_ms INTEGER NOT NULL, body TEXT NOT NULL, PRIMARY KEY (at_ms, body))")


def replaced(connection: sqlite3.Connection) -> None:
    """What was replaced, a row a time: kept for good, as a record may be years old."""
    connection.execute("CREATE TABLE replaced (at_ms INTEGER NOT NULL, body TEXT NOT NULL, PRIMARY KEY (at_ms, body))")


def errands(connection: sqlite3.Connection) -> None:
    """Several messages of one transition to one address: repeats, and what waits for the morning or the evening sheet."""
    connection.execute(
        """CREATE TABLE errands (
            id INTEGER PRIMARY KEY, alarm_id TEXT NOT NULL, sequence INTEGER NOT NULL, address_ref TEXT NOT NULL,
            title TEXT NOT NULL, body TEXT NOT NULL, kind TEXT NOT NULL, priority TEXT NOT NULL,
            created_real_s REAL NOT NULL, due_real_s REAL NOT NULL, expires_real_s REAL NOT NULL,
            status TEXT NOT NULL DEFAULT 'waiting', attempts INTEGER NOT NULL DEFAULT 0,
            last_why TEXT NOT NULL DEFAULT '', repeat INTEGER NOT NULL DEFAULT 0,
            step TEXT NOT NULL DEFAULT 'begun', until_answered INTEGER NOT NULL DEFAULT 0,
            on_sheet INTEGER NOT NULL DEFAULT 0, rank INTEGER NOT NULL DEFAULT 1, settled_real_s REAL,
            UNIQUE (alarm_id, sequence, address_ref, step))"""
    )
    columns = (
        "id, alarm_id, sequence, address_ref, title, body, kind, priority, created_real_s, due_real_s, expires_real_s, "
        "status, attempts, last_why, repeat"
    )
    connection.execute(f"INSERT INTO errands ({columns}) SELECT {columns} FROM outbox")
    connection.execute("DROP TABLE outbox")
    connection.execute("ALTER TABLE errands RENAME TO outbox")
    connection.execute("CREATE INDEX outbox_open ON outbox (due_real_s) WHERE status = 'waiting'")


def changes(connection: sqlite3.Connection) -> None:
    """What was changed by a person or by a reload, a row a time: schedule, people, time zone; and what was refused."""
    connection.execute("CREATE TABLE changes (id INTEGER PRIMARY KEY, at_ms INTEGER NOT NULL, body TEXT NOT NULL)")


def sums(connection: sqlite3.Connection) -> None:
    """Sums by the minute and by the hour, a row an hour and a day of all circuits; from here on blocks are of version 2 too.

    The numbers are of the first and the last input that went in.
    """
    for table in ("minute_sums", "hour_sums"):
        connection.execute(
            f"CREATE TABLE {table} (from_ms INTEGER PRIMARY KEY, first_number INTEGER NOT NULL, "
            "last_number INTEGER NOT NULL, body BLOB NOT NULL)"
        )
    connection.execute("CREATE TABLE summing (id INTEGER PRIMARY KEY CHECK (id = 1), body BLOB NOT NULL)")


MIGRATIONS: tuple[Callable[[sqlite3.Connection], None], ...] = (first_tables, doing, replaced, errands, changes, sums)

# What only adds a table beside the others: a reader does without, so that a copy of an older version can be looked at.
BESIDE: tuple[Callable[[sqlite3.Connection], None], ...] = (sums,)


class NewerJournal(Exception):
    """The file was written by a newer version: the names of its migrations that this one doesn't know."""


def pending(connection: sqlite3.Connection) -> list[Callable[[sqlite3.Connection], None]]:
    """The migrations that have not run, in order. Raises NewerJournal."""
    tables = connection.execute("SELECT count(*) FROM sqlite_master WHERE name = 'migrations'").fetchone()[0]
    ran = [name for (name,) in connection.execute("SELECT name FROM migrations ORDER BY rowid")] if tables else []
    unknown = [name for name in ran if name not in {each.__name__ for each in MIGRATIONS}]
    if unknown:
        raise NewerJournal(", ".join(unknown))
    return [each for each in MIGRATIONS if each.__name__ not in ran]


def migrate(connection: sqlite3.Connection) -> None:
    """Bring the file up to date, all or nothing."""
    todo = pending(connection)
    if not todo:
        return
    connection.execute("BEGIN IMMEDIATE")
    try:
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        connection.execute("CREATE TABLE IF NOT EXISTS migrations (name TEXT NOT NULL UNIQUE)")
        for each in todo:
            each(connection)
            connection.execute("INSERT INTO migrations VALUES (?)", (each.__name__,))
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise
