"""What the fitted device may do: every member of its type's set carried through the same current at once.

A member that would have opened long ago on what was seen to flow can't be the one in the way: it is struck out, and
the earliest, likely and latest opening come from those that still stand. In a gap of readings the earliest assumes
that the last draw went on, the latest that none flowed: `_extra` is the difference, which only cools.
"""

from __future__ import annotations

from functools import lru_cache
from math import exp
from operator import add
from typing import Any

from panelward.ratings.devices import MAGNETIC_MAX_S, MAGNETIC_MIN_S, Device, Member
from panelward.ratings.thermal import time_to_open_s

# Heat beyond opening at which a member is struck out. 0.97: meter gain. 1.07: the cold of -20 °C where no probe tells.
STRUCK_WITH_PROBE = 1.0 / 0.97**2
STRUCK_UNKNOWN = (1.07 / 0.97) ** 2
COLD = 1e-9
DECAYS = 16  # step lengths kept


class Specimens:
    """The members of one device's set with their heat; heat 1.0 opens. Currents are multiples of the fitted rating."""

    __slots__ = ("_bodies", "_decay", "_device", "_element", "_extra", "_heats", "_holder", "_inverse",
                 "_kelvin", "_members", "_whole", "standing")  # fmt: skip

    def __init__(self, device: Device) -> None:
        self._device = device
        self._members: tuple[Member, ...] = device.members
        self._bodies = tuple(member.body() for member in device.members)
        self._element = [0.0] * len(device.members)  # each already times its share
        self._holder = [0.0] * len(device.members)
        self._extra: tuple[list[float], list[float]] | None = None
        self._decay: dict[float, tuple[list[float], list[float], list[float], list[float]]] = {}
        self._kelvin: int | None = None
        self._inverse: list[float] = []
        self.standing = [True] * len(device.members)
        self._whole = True  # all stand
        self._heats: list[float] | None = None
        self._at(None)

    def _at(self, panel_c: float | None) -> None:
        """Take the panel's warmth, to the kelvin: what each member carries there."""
        kelvin = 0 if panel_c is None else round(panel_c - self._device.reference_c)
        if kelvin != self._kelvin:
            self._kelvin = kelvin
            self._inverse = [1.0 / (m.pickup * m.factor(kelvin)) ** 2 for m in self._members]
            self._decay.clear()

    def carry(self, dt_s: float, square: float, panel_c: float | None, *, gap: bool = False) -> None:
        """Carry all on by `dt_s` seconds in which `square` (the mean square of the multiple) flowed; exact if constant."""
        self._at(panel_c)
        self._heats = None
        kept = self._decay.get(dt_s)
        if kept is None:
            kept = self._factors(dt_s)
        element_f, element_d, holder_f, holder_d = kept
        extra = self._extra
        if gap:
            before = extra or ([0.0] * len(self._members), [0.0] * len(self._members))
            self._extra = (
                [square * d + x * f for d, x, f in zip(element_d, before[0], element_f, strict=True)],
                [square * d + x * f for d, x, f in zip(holder_d, before[1], holder_f, strict=True)],
            )
            square = 0.0
        elif extra is not None:
            self._extra = (
                [x * f for x, f in zip(extra[0], element_f, strict=True)],
                [x * f for x, f in zip(extra[1], holder_f, strict=True)],
            )
            if max(map(add, *self._extra), default=0.0) < COLD:
                self._extra = None
        # Written out: this is the hot path of the watch.
        self._element = [square * d + x * f for d, x, f in zip(element_d, self._element, element_f)]  # noqa: B905
        self._holder = [square * d + x * f for d, x, f in zip(holder_d, self._holder, holder_f)]  # noqa: B905

    def _factors(self, dt_s: float) -> tuple[list[float], list[float], list[float], list[float]]:
        element_f = [exp(-dt_s / m.element_s) for m in self._members]
        holder_f = [exp(-dt_s / m.holder_s) for m in self._members]
        element_d = [(1.0 - m.share) * i * (1.0 - f) for m, i, f in zip(self._members, self._inverse, element_f, strict=True)]
        holder_d = [m.share * i * (1.0 - f) for m, i, f in zip(self._members, self._inverse, holder_f, strict=True)]
        if len(self._decay) >= DECAYS:
            self._decay.clear()
        self._decay[dt_s] = element_f, element_d, holder_f, holder_d
        return self._decay[dt_s]

    def heats(self) -> list[float]:
        """Heat of each member at the least: nothing flowed in a gap."""
        if self._heats is None:
            self._heats = list(map(add, self._element, self._holder))
        return self._heats

    def strike_out(self, panel_c: float | None) -> bool:
        """Strike out what would have opened on the current that was seen to flow. True if that struck any."""
        limit = STRUCK_UNKNOWN if panel_c is None else STRUCK_WITH_PROBE
        heats = self.heats()
        if max(heats, default=0.0) < limit:
            return False
        found = False
        for i, heat in enumerate(heats):
            if heat >= limit and self.standing[i]:
                self.standing[i], found = False, True
        self._whole = all(self.standing)
        return found

    def hottest(self) -> float:
        """Heat of the standing member that is nearest to opening, at the most; 1 where none stands."""
        heats = self.heats()
        if self._extra is not None:
            heats = list(map(add, heats, map(add, *self._extra)))
        if self._whole:
            return max(heats, default=1.0)
        return max((h for h, stands in zip(heats, self.standing, strict=True) if stands), default=1.0)

    def coolest(self) -> float:
        """Heat of the standing member that is farthest from opening, at the least; 0 where none stands."""
        if self._whole:
            return min(self.heats(), default=0.0)
        return min((h for h, stands in zip(self.heats(), self.standing, strict=True) if stands), default=0.0)

    def may_open_within(self, seconds: float, multiple: float, panel_c: float | None) -> bool:
        """Would any standing member open within `seconds` if `multiple` of the rating flowed from now on?"""
        magnetic = self._device.magnetic
        if magnetic is not None and multiple > magnetic[0]:
            return True
        self._at(panel_c)
        for i in self._standing():
            drive, member = multiple * multiple * self._inverse[i], self._members[i]
            element, holder = self._state(i, hot=True)
            quick, slow = (1.0 - member.share) * drive, member.share * drive
            if element + holder >= 1.0:
                return True
            if element > quick or holder > slow:  # some of it cools: what it comes to is not the most it is
                if self._time_s(i, multiple, hot=True) <= seconds:
                    return True
                continue
            if drive <= 1.0:
                continue
            left_e, left_h = exp(-seconds / member.element_s), exp(-seconds / member.holder_s)
            if quick * (1.0 - left_e) + element * left_e + slow * (1.0 - left_h) + holder * left_h >= 1.0:
                return True
        return False

    def times_s(self, multiple: float, panel_c: float | None) -> tuple[float | None, float | None, float | None]:
        """Earliest, likely and latest seconds to open if `multiple` of the rating flows from now on.

        inf: it may never open. All None: no member stands, nothing is known.
        """
        self._at(panel_c)
        standing = self._standing()
        if not standing:
            return None, None, None
        hot = {i: self._time_s(i, multiple, hot=True) for i in standing}
        cold = hot if self._extra is None else {i: self._time_s(i, multiple, hot=False) for i in standing}
        inner = sorted(hot[i] for i in standing if not self._members[i].corner) or sorted(hot.values())
        earliest, likely, latest = min(hot.values()), inner[len(inner) // 2], max(cold.values())
        if self._device.magnetic is not None:
            at_least, at_most = self._device.magnetic
            earliest = min(earliest, MAGNETIC_MIN_S) if multiple > at_least else earliest
            likely = min(likely, MAGNETIC_MAX_S) if multiple >= (at_least + at_most) / 2 else likely
            latest = min(latest, MAGNETIC_MAX_S) if multiple >= at_most else latest
        return earliest, min(max(likely, earliest), latest), latest

    def _standing(self) -> list[int]:
        return [i for i, stands in enumerate(self.standing) if stands]

    def _state(self, i: int, *, hot: bool) -> tuple[float, float]:
        extra = self._extra if hot else None
        more = (extra[0][i], extra[1][i]) if extra is not None else (0.0, 0.0)
        return self._element[i] + more[0], self._holder[i] + more[1]

    def _time_s(self, i: int, multiple: float, *, hot: bool) -> float:
        member, body = self._members[i], self._bodies[i]
        shares = (1.0 - member.share, member.share)
        state = [part / share if share > 0.0 else 0.0 for part, share in zip(self._state(i, hot=hot), shares, strict=True)]
        return time_to_open_s(body, state, multiple * body.pickup * self._inverse[i] ** 0.5)

    def copy(self) -> Specimens:
        """Another with the same heat, to be asked what would be."""
        other = Specimens(self._device)
        other.restore(self.save())
        return other

    def cool(self) -> None:
        """Take all as cold, whatever flowed."""
        self._element = [0.0] * len(self._members)
        self._holder = [0.0] * len(self._members)
        self._extra = self._heats = None

    def renew(self) -> None:
        """Another device of the type is in the way: it may be any of them again."""
        self.standing = [True] * len(self._members)
        self._whole = True

    def save(self) -> dict[str, Any]:
        """State as plain values."""
        return {
            "element": list(self._element),
            "holder": list(self._holder),
            "extra": [list(part) for part in self._extra] if self._extra else None,
            "standing": list(self.standing),
        }

    def restore(self, state: dict[str, Any]) -> None:
        """Take back what was saved of a device with the same set."""
        self._element, self._holder = list(state["element"]), list(state["holder"])
        self._extra = (list(state["extra"][0]), list(state["extra"][1])) if state["extra"] else None
        self.standing = list(state["standing"])
        self._whole, self._heats = all(self.standing), None


@lru_cache(maxsize=4096)  # a panel has many ways alike
def opening_times_s(
    device: Device, multiple: float, panel_c: float | None = None
) -> tuple[float | None, float | None, float | None]:
    """Earliest, likely and latest seconds from cold at a constant multiple of the rating; inf: it may never open.

    All None: nothing is published for this kind (electronic outputs).
    """
    if not device.members:
        return None, None, None
    return Specimens(device).times_s(multiple, panel_c)
