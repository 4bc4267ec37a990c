"""What the commands that write papers share: a file whole or not at all, letters that a font lacks, a date."""

from __future__ import annotations

import argparse
import os
import re
import sys
from contextlib import suppress
from datetime import date
from pathlib import Path

from panelward.errors import EnvironmentFault, RequestRefused

STDOUT = "-"


def say_missing(name: str, letters: str) -> None:
    """Tell which letters are printed as "?"."""
    if letters:
        named = ", ".join(f"{c} (U+{ord(c):04X})" for c in letters)
        print(f'{name}: not in the fonts of this computer, printed as "?": {named}', file=sys.stderr)


def target_of(name: str | None, force: bool) -> Path | None:
    """The file to write; refused where it is there already and `force` is not asked for."""
    if name is None:
        return None
    path = Path(name)
    try:
        if path.exists() and not path.is_file():
            raise EnvironmentFault(f"{path}: can't be written: not an ordinary file")
        if os.path.lexists(path) and not force:
            raise RequestRefused(f"{path}: is there already; nothing was written. Name another file, or add --force.")
    except (OSError, ValueError) as error:  # ValueError: a name that no file can have
        raise _unwritable(path, error) from None
    return path


def put(files: list[tuple[Path, bytes]]) -> None:
    """Write all files whole or none that was begun: each under another name first, then renamed."""
    parts: list[tuple[Path, Path]] = []
    path = Path()
    try:
        for path, content in files:
            part = path.with_name(f".{path.name[:200]}.{os.getpid()}.part")
            parts.append((part, path))
            with open(part, "xb") as out:
                out.write(content)
                out.flush()
                os.fsync(out.fileno())
        for part, path in parts:
            os.replace(part, path)
    except (OSError, ValueError) as error:
        raise _unwritable(path, error) from None
    finally:
        for part, _ in parts:
            with suppress(OSError, ValueError):
                part.unlink(missing_ok=True)


def _unwritable(path: Path, error: Exception) -> EnvironmentFault:
    why = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
    return EnvironmentFault(f"{path}: can't be written: {why}")


def day_of(text: str) -> date:
    """A date of the command line."""
    if re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text) is None:
        raise argparse.ArgumentTypeError(f"wanted a date like 2026-05-01, found {text!r}")
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(f"{text}: {error}") from None
