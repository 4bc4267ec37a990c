"""The page behind the panel's door: a process of its own, read-only on the journal, asking for changes over MQTT.

plan    the schedule as plain records, read by a helper process (pydantic stays out of this one)
book    the journal, read by one thread
first   what the owner's first screen says: pure
words   every word of the pages, a file a language
live    what changed, to each phone
asks    a change asked of the running daemon
guard   who may ask: sessions, login, forged requests, limits, headers
app     which address shows what
serve   the server
"""

from panelward.door.options import Options
from panelward.door.serve import serve

__all__ = ["Options", "serve"]
