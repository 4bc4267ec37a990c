"""The key of the links in messages: a file beside the journal, made by who writes the journal, read by the door."""

from __future__ import annotations

import os
import secrets
import stat
from contextlib import suppress
from pathlib import Path

from panelward.errors import EnvironmentFault
from panelward.records.links import KEY_BYTES

MODE = 0o640


def path_of(journal: str | Path) -> Path:
    return Path(f"{journal}.door-key")


def read(journal: str | Path) -> bytes:
    """The key. Raises EnvironmentFault: it is not there, can't be read, is none, or everybody may read it."""
    path = path_of(journal)
    try:
        with path.open("rb") as file:
            open_to_all = stat.S_IMODE(os.fstat(file.fileno()).st_mode) & 0o007
            key = file.read(KEY_BYTES + 1)
    except OSError as error:
        raise EnvironmentFault(f"{path}: can't be read: {error.strerror}") from None
    if open_to_all:
        raise EnvironmentFault(f"{path}: everybody may read it: chmod 640, or delete it, a new one is made at the next start")
    if len(key) != KEY_BYTES:
        raise EnvironmentFault(f"{path}: is no key of {KEY_BYTES} bytes: delete it, a new one is made at the next start")
    return key


def made(journal: str | Path) -> bytes:
    """The key; made where there is none, whole or not at all, and never in the place of another. Raises EnvironmentFault."""
    path = path_of(journal)
    if not path.exists():
        part = path.with_name(f"{path.name}.{os.getpid()}.new")
        try:
            try:
                fd = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
                with os.fdopen(fd, "wb") as file:
                    os.fchmod(file.fileno(), MODE)
                    file.write(secrets.token_bytes(KEY_BYTES))
                    file.flush()
                    os.fsync(file.fileno())
                with suppress(FileExistsError):  # somebody else was quicker: theirs holds
                    os.link(part, path)
            finally:
                part.unlink(missing_ok=True)
        except OSError as error:
            raise EnvironmentFault(f"{path}: can't be made: {error.strerror}") from None
    return read(journal)
