"""A commissioning at work, whoever asks the questions: the broker's readings, what is kept on the disk, the sealed record.

The terminal and the door page both use it, one at a time: `Kept` holds a lock.
"""

from panelward.handover.hearing import Hearing
from panelward.handover.kept import Kept

__all__ = ["Hearing", "Kept"]
