"""Handing messages over: to a process that imports apprise and lives only while there is something to send.

`delivery` starts and ends that process (`helper`), `addresses` reads and masks addresses, `policy` says when to
try again and when to give up. The outbox in the journal owns all retrying; nothing here repeats a send.
"""

from panelward.notify.addresses import addresses_from, masked
from panelward.notify.delivery import Delivery, SendResult, SendRow

__all__ = ["Delivery", "SendResult", "SendRow", "addresses_from", "masked"]
