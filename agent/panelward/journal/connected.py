"""What every part of the journal stands on: one connection, transactions, faults in plain words."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from panelward.journal.opening import Still, open_to_read, plain


class Connected:
    """One connection, used by the thread that made it. It does not look for a file that went; the store does."""

    def __init__(self, path: Path, connection: sqlite3.Connection) -> None:
        self.path = path
        self._connection = connection
        self._durable: bool | None = None

    def _ask(self, sql: str, values: Sequence[Any] = ()) -> list[tuple[Any, ...]]:
        """All rows of a question. Raises EnvironmentFault."""
        try:
            if isinstance(self._connection, Still) and self._connection.outdated(self.path):
                again = open_to_read(self.path)
                self._connection.close()
                self._connection = again
            return self._connection.execute(sql, values).fetchall()
        except sqlite3.Error as error:
            raise plain(error, self.path) from error

    @contextmanager
    def _transaction(self, *, durable: bool) -> Iterator[sqlite3.Connection]:
        """All or nothing; durable: on the disk itself when it returns. Raises sqlite3.Error.

        Without `durable` a power cut may take the last few transactions, never their order (sqlite.org/pragma.html
        on synchronous and write-ahead logs); the next durable one takes them along.
        """
        connection = self._connection
        if durable is not self._durable:
            connection.execute(f"PRAGMA synchronous = {'FULL' if durable else 'NORMAL'}")
            self._durable = durable
        connection.execute("BEGIN IMMEDIATE")
        try:
            yield connection
            connection.execute("COMMIT")
        except BaseException:
            if connection.in_transaction:  # SQLite itself undoes some faults
                connection.execute("ROLLBACK")
            raise
