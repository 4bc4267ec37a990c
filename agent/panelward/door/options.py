"""What the command line says, for all of the door."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """As given on the command line."""

    schedule: str
    journal: str
    host: str = "127.0.0.1"
    port: int
    password_file: str | None = None
    names: tuple[str, ...] = ()
    cert: str | None = None
    key: str | None = None

    @property
    def alone(self) -> bool:
        """Only this computer can reach it."""
        return self.host in ("127.0.0.1", "::1", "localhost")
