"""A copy of the journal while it is written: SQLite's online backup, checked, whole or not at all."""

from __future__ import annotations

import contextlib
import os
import sqlite3
from pathlib import Path

from panelward.errors import EnvironmentFault
from panelward.journal import opening

__all__ = ["back_up"]

_OF_THE_SOURCE = (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)


def back_up(path: str | Path, target: str | Path) -> int:
    """Copy what is committed to a new file, a journal like the first; its size. Raises EnvironmentFault and leaves none.

    One step, in one look at the source: its writer goes on meanwhile, only its log of writes (-wal) is not shortened.
    """
    path, target = Path(path), Path(target)
    half = Path(f"{target}.part")
    if target.exists():
        raise EnvironmentFault(f"{target}: is there already, and was left as it is. Name another file.")
    with contextlib.closing(opening.open_to_read(path)) as source:
        try:
            half.unlink(missing_ok=True)
            with contextlib.closing(sqlite3.connect(half, isolation_level=None)) as copy:
                source.backup(copy)
                copy.execute("PRAGMA journal_mode = DELETE")  # one file, complete without others beside it
                found = [row[0] for row in copy.execute("PRAGMA integrity_check(3)")]
            if found != ["ok"]:
                raise EnvironmentFault(f"{path}: the copy is damaged, so it was not kept: {'; '.join(found)}.")
            _onto_the_disk(half)
            os.replace(half, target)
            _onto_the_disk(target.parent)
        except sqlite3.Error as error:
            _away(half)
            at_source = getattr(error, "sqlite_errorcode", 0) & 0xFF in _OF_THE_SOURCE
            raise opening.plain(error, path if at_source else target) from error
        except OSError as error:
            _away(half)
            raise EnvironmentFault(f"{target}: can't be written: {error.strerror}.") from error
        except EnvironmentFault:
            _away(half)
            raise
    return target.stat().st_size


def _onto_the_disk(path: Path) -> None:
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _away(half: Path) -> None:
    for suffix in ("", "-journal", "-wal", "-shm"):
        with contextlib.suppress(OSError):
            Path(f"{half}{suffix}").unlink()
