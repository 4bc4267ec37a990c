"""Commissioning: each circuit measured at the hand-over, by a machine that is fed readings, answers and time. Pure.

Readings are cut into runs (`runs`), runs pooled into levels with their tolerance intervals (`figures`), edges matched to
circuits (`lap`), a person asked where it is not plain (`answers`); `session` joins them, `finish` makes the record and
`differs` says what differs from the schedule. Nothing here has a clock or touches a file: `commands/commission` does.
"""

from panelward.commission.session import Session

__all__ = ["Session"]
