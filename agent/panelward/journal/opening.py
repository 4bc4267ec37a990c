"""Opening the file: is it ours, is it whole, can it be written; and what to do where it is not.

A file that is not a journal is never touched. A damaged journal is set aside under another name, and what can
still be read of what must not be lost (transitions, messages, snapshots) goes over into a new one.
"""

from __future__ import annotations

import contextlib
import json
import os
import sqlite3
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import quote

from panelward.errors import EnvironmentFault
from panelward.journal import schema

BUSY_MS = 2000  # a reader's checkpoint at most; nobody else writes
WHOLE_CHECK_BYTES = 32 << 20  # up to here every page is looked at; beyond, the newest of each table
_WAL_KEEPS_BYTES = 4 << 20
# Of a new file. A commit of a few hundred bytes writes whole pages. Measured at 12 readings/s, a commit every 5 s, on the clock
# of the readings: 64 bytes a reading are written with pages of 1 KiB, 98 with 2, 171 with 4. On the real clock 120 with
# 1 KiB, as the kernel writes a page that is not full yet, too (tests/benchmarks/test_bench_written.py).
_PAGE_BYTES = 1024
_CACHE_KIB = 512  # the writer appends: a small cache is enough on a small computer
_HEADER = b"SQLite format 3\0"
_ID_AT = 68  # of the application id in the header: sqlite.org/fileformat2.html, 1.3
_DAMAGE = (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB)
_SALVAGED = (
    "transitions", "outbox", "snapshots", "counters", "doing", "replaced", "changes", "minute_sums", "hour_sums",
)  # fmt: skip


def open_to_write(path: Path, *, create: bool) -> tuple[sqlite3.Connection, Path | None]:
    """(connection, where a damaged file was set aside). Raises EnvironmentFault."""
    _look_first(path, create)
    try:
        return _connect_to_write(path), None
    except sqlite3.Error as error:
        if not is_damage(error):
            raise plain(error, path) from error
    return begin_anew(path)


def begin_anew(path: Path) -> tuple[sqlite3.Connection, Path]:
    """Set the damaged file aside and begin a new one with what could be saved. Raises EnvironmentFault."""
    try:
        aside = _set_aside(path)
        connection = _connect_to_write(path)
        _salvage(aside, connection)
    except OSError as error:
        raise EnvironmentFault(
            f"{path}: the journal is damaged and can't be set aside: {error.strerror}. "
            "Move it away by hand; a new one is begun at the next start."
        ) from error
    except sqlite3.Error as error:
        raise plain(error, path) from error
    return connection, aside


def open_to_read(path: Path) -> sqlite3.Connection:
    """For another process than the one that writes. Raises EnvironmentFault."""
    if not path.exists():
        raise EnvironmentFault(f"{path}: there is no journal. Start `panelward watch`, or name the file with --journal.")
    _refuse_others(path)
    try:
        try:
            return _connect_to_read(path, "mode=ro")
        except sqlite3.OperationalError:
            # Nobody writes and we may not make the files beside it: then what is in the file is all there is.
            if _beside(path, "-wal").exists():
                raise
            return _connect_to_read(path, "mode=ro&immutable=1")
    except sqlite3.Error as error:
        raise plain(error, path) from error


def is_damage(error: sqlite3.Error) -> bool:
    return _code(error) in _DAMAGE


def is_lost(error: sqlite3.Error) -> bool:
    """Whether the disk itself failed, so that the open file may be no use any more."""
    return _code(error) in (sqlite3.SQLITE_IOERR, sqlite3.SQLITE_CANTOPEN)


def plain(error: sqlite3.Error, path: Path) -> EnvironmentFault:
    """SQLite's error in words for the person who has to do something."""
    words = {
        sqlite3.SQLITE_FULL: "the disk is full. Free some space",
        sqlite3.SQLITE_READONLY: "it can't be written: the disk or the file is read-only. Check the disk and the owner",
        sqlite3.SQLITE_PERM: "permission denied. Check the owner of the file and of its folder",
        sqlite3.SQLITE_CANTOPEN: "it can't be opened. Check that its folder exists and who owns it",
        sqlite3.SQLITE_IOERR: "the disk fails to read or write. Check its cable, its card, the kernel's messages",
        sqlite3.SQLITE_BUSY: "another program keeps it locked. Stop that program",
        sqlite3.SQLITE_LOCKED: "another program keeps it locked. Stop that program",
        sqlite3.SQLITE_CORRUPT: "it is damaged. `panelward watch` sets it aside at its next start",
        sqlite3.SQLITE_NOTADB: "it is damaged. `panelward watch` sets it aside at its next start",
    }
    said = words.get(_code(error), "it does not work")
    if _code(error) == sqlite3.SQLITE_CANTOPEN and path.parent.is_dir() and not os.access(path.parent, os.W_OK):
        said = "its folder can't be written: the disk is read-only or belongs to somebody else. Check both"
    return EnvironmentFault(f"{path}: {said} ({error}).")


def _code(error: sqlite3.Error) -> int:
    return getattr(error, "sqlite_errorcode", 0) & 0xFF


def _beside(path: Path, suffix: str) -> Path:
    return Path(f"{path}{suffix}")


def _look_first(path: Path, create: bool) -> None:
    if path.exists():
        _refuse_others(path)
    elif not create:
        raise EnvironmentFault(f"{path}: there is no journal here. Name the right file with --journal.")
    else:
        try:
            path.parent.mkdir(exist_ok=True)
        except OSError as error:
            raise EnvironmentFault(
                f"{path}: its folder can't be made: {error.strerror}. Check the disk and the owner."
            ) from error


def _refuse_others(path: Path) -> None:
    """A file of somebody else is not to be opened, let alone moved away. Zeros are what a power cut leaves of ours."""
    try:
        with path.open("rb") as file:
            head = file.read(100)
    except OSError as error:
        raise EnvironmentFault(f"{path}: can't be read: {error.strerror}. Check the path and the owner.") from error
    ours = head.startswith(_HEADER) and head[_ID_AT : _ID_AT + 4] == schema.APPLICATION_ID.to_bytes(4, "big")
    if head.strip(b"\0") and not ours:
        raise EnvironmentFault(
            f"{path}: this is no journal of panelward; it was left as it is. Name another file with --journal."
        )


def _connect_to_write(path: Path) -> sqlite3.Connection:
    connection = sqlite3.connect(path, timeout=BUSY_MS / 1000, isolation_level=None)
    try:
        if path.stat().st_size:
            _check(connection, path)
        else:
            connection.execute(f"PRAGMA page_size = {_PAGE_BYTES}")
        # In this order: the application id reaches the file itself, not only the write-ahead log.
        schema.migrate(connection)
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA secure_delete = OFF")  # zeros over what was pruned would only wear the flash
        page_bytes = connection.execute("PRAGMA page_size").fetchone()[0]
        connection.execute(f"PRAGMA wal_autocheckpoint = {_WAL_KEEPS_BYTES // page_bytes}")
        connection.execute(f"PRAGMA journal_size_limit = {_WAL_KEEPS_BYTES}")
        connection.execute(f"PRAGMA cache_size = -{_CACHE_KIB}")
    except schema.NewerJournal as newer:
        connection.close()
        raise _newer(path, newer) from newer
    except BaseException:
        connection.close()
        raise
    return connection


class Still(sqlite3.Connection):
    """To a file that nobody wrote when it was opened: it never sees what is written later."""

    def outdated(self, path: Path) -> bool:
        """Whether somebody writes it now."""
        return _beside(path, "-wal").exists()


def _connect_to_read(path: Path, how: str) -> sqlite3.Connection:
    connection = sqlite3.connect(
        f"file:{quote(str(path.absolute()))}?{how}",
        uri=True,
        timeout=BUSY_MS / 1000,
        isolation_level=None,
        factory=Still if "immutable" in how else sqlite3.Connection,
    )
    try:
        todo = schema.pending(connection)
    except schema.NewerJournal as newer:
        connection.close()
        raise _newer(path, newer) from newer
    except BaseException:
        connection.close()
        raise
    if any(each not in schema.BESIDE for each in todo):
        connection.close()
        raise EnvironmentFault(f"{path}: written by an older panelward. `panelward watch` brings it up to date.")
    return connection


def _newer(path: Path, newer: schema.NewerJournal) -> EnvironmentFault:
    return EnvironmentFault(
        f"{path}: written by a newer panelward (it knows: {newer}); this one left it as it is. "
        "Install the newer version, or name another file with --journal."
    )


def _check(connection: sqlite3.Connection, path: Path) -> None:
    """Raises sqlite3.DatabaseError with SQLITE_CORRUPT where the file is damaged."""
    if path.stat().st_size <= WHOLE_CHECK_BYTES:
        found = connection.execute("PRAGMA quick_check(1)").fetchone()[0]
        if found != "ok":
            error = sqlite3.DatabaseError(found)
            error.sqlite_errorcode = sqlite3.SQLITE_CORRUPT
            raise error
        return
    for (table,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall():
        connection.execute(f'SELECT * FROM "{table}" ORDER BY rowid DESC LIMIT 1').fetchone()


def _set_aside(path: Path) -> Path:
    number = 1
    while (aside := _beside(path, f".damaged-{number}")).exists():
        number += 1
    path.rename(aside)
    for suffix in ("-wal", "-shm"):
        with contextlib.suppress(FileNotFoundError):
            _beside(path, suffix).rename(_beside(aside, suffix))
    return aside


def _salvage(aside: Path, connection: sqlite3.Connection) -> None:
    """Copy what can still be read; numbers go on after the greatest one seen, the lost ones are said to be lost."""
    last = 0
    connection.execute("BEGIN IMMEDIATE")
    address = f"file:{quote(str(aside.absolute()))}?mode=ro"  # what was found damaged stays as it was found
    with contextlib.closing(sqlite3.connect(address, uri=True, isolation_level=None)) as old:
        for table in _SALVAGED:
            for row in filter(None, (_mended(table, each) for each in _readable(old, table))):
                slots = ", ".join("?" * len(row))
                with contextlib.suppress(sqlite3.IntegrityError, sqlite3.OperationalError):
                    connection.execute(f"INSERT OR IGNORE INTO {table} VALUES ({slots})", row)
        for sql in (
            "SELECT max(last_number) FROM (SELECT last_number FROM blocks ORDER BY first_number DESC LIMIT 1)",
            "SELECT max(number) FROM inputs",
            "SELECT max(last_number) FROM dropped",
        ):
            with contextlib.suppress(sqlite3.Error):
                last = max(last, old.execute(sql).fetchone()[0] or 0)
    last = max(last, last_number(connection))
    if last:
        connection.execute("INSERT INTO dropped VALUES (1, ?)", (last,))
    connection.execute("COMMIT")
    _beside(aside, "-shm").unlink(missing_ok=True)


def _readable(old: sqlite3.Connection, table: str) -> Iterator[tuple[object, ...]]:
    """All rows up to the damage, then those behind it from the end."""
    for order in ("ASC", "DESC"):
        try:
            # Where pages are missing at the end, only this setting lets SQLite open the rest.
            old.execute("PRAGMA writable_schema = ON")
            yield from old.execute(f"SELECT * FROM {table} ORDER BY rowid {order}")
        except (sqlite3.Error, OverflowError):
            continue
        return


def _mended(table: str, row: tuple[object, ...]) -> tuple[object, ...] | None:
    """A row whose end lay on a lost page reads as zeros there: an alarm object is no use so, a message still is."""
    if table in ("transitions", "doing", "replaced", "changes"):
        try:
            json.loads(str(row[-1]))
        except ValueError:
            return None
    if table == "outbox":
        return tuple(value.replace("\0", "") if isinstance(value, str) else value for value in row)
    return row


def last_number(connection: sqlite3.Connection) -> int:
    """The greatest number that was ever given, as far as this file knows."""
    found = connection.execute(
        """SELECT max((SELECT ifnull(max(number), 0) FROM inputs), (SELECT ifnull(max(number), 0) FROM snapshots),
            (SELECT ifnull(max(last_number), 0) FROM dropped), (SELECT ifnull(max(number), 0) FROM transitions),
            ifnull((SELECT last_number FROM blocks ORDER BY first_number DESC LIMIT 1), 0))"""
    ).fetchone()[0]
    return int(found)
