"""JSON Pointer, RFC 6901: where a value stands in a JSON document."""

from __future__ import annotations

from functools import lru_cache
from typing import Any


class NotThere(LookupError):
    """The pointer leads nowhere in this document."""


@lru_cache(maxsize=1024)
def tokens(pointer: str) -> tuple[str, ...]:
    """The reference tokens, unescaped: ~1 before ~0 (RFC 6901 section 4). ValueError where it is no pointer."""
    if pointer == "":
        return ()
    if not pointer.startswith("/"):
        raise ValueError(f"a JSON pointer begins with '/', unlike {pointer!r}")
    return tuple(part.replace("~1", "/").replace("~0", "~") for part in pointer[1:].split("/"))


def resolve(document: Any, pointer: str) -> Any:
    """The value that `pointer` leads to; NotThere where there is none ("-" is past the end of any array)."""
    value = document
    for token in tokens(pointer):
        if isinstance(value, dict):
            if token not in value:
                raise NotThere(pointer)
            value = value[token]
        elif isinstance(value, list):
            # No leading zeros, no sign, no other digits than 0-9.
            index = token if token == "0" or (token[:1] != "0" and token.isascii() and token.isdigit()) else None
            if index is None or len(index) > 9 or int(index) >= len(value):
                raise NotThere(pointer)
            value = value[int(index)]
        else:
            raise NotThere(pointer)
    return value
