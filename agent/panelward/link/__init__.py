"""Connect, subscribe, publish, request and answer over MQTT. Knows bytes and topics, no readings and no alarms.

`topics` is pure; `Link` and `request` bring paho in, when they are first asked for.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from panelward.link.client import Link, Message, request

__all__ = ["Link", "Message", "request"]


def __getattr__(name: str) -> Any:
    if name in __all__:
        from panelward.link import client

        return getattr(client, name)
    raise AttributeError(name)
