"""A planted draw through its device: once the likely one of its type has opened, nothing flows any more."""

from __future__ import annotations

from panelward.ratings import Specimens, device
from panelward.records import Circuit, Reading
from panelward.rehearse.change import Change, Since

GAP_S = 10.0  # and three periods: in a longer gap it is taken to have rested, as nothing shows that it drew


class Fused:
    """A change of readings that ends itself. Its set is carried from cold at what is planted, each reading held until the next.

    The likely device is the middle one of the set's inner members, as in `ratings`. Of a type that nothing is published of it
    can't be known: it holds.
    """

    def __init__(self, circuit: Circuit, draws: Change, lost: Change, period_s: float) -> None:
        assert circuit.protection is not None
        self._draws, self._lost = draws, lost
        self._device = device(circuit.protection)
        self._set = Specimens(self._device) if self._device.members else None
        inner = [i for i, member in enumerate(self._device.members) if not member.corner]
        self._inner = inner or list(range(len(self._device.members)))
        self._gap_s = 3600.0 if circuit.sense.publishes == "on-change" else max(GAP_S, 3.0 * period_s)
        self._last_ms: int | None = None
        self._last_a = 0.0
        self._by_amps = False  # it reports amps: watts beside them are the same once more
        self.opened_ms: int | None = None

    @property
    def known(self) -> bool:
        """Is anything published of when its type opens?"""
        return self._set is not None

    def __call__(self, reading: Reading, since: Since) -> Reading | None:
        if self.opened_ms is not None:
            return self._lost(reading, since)
        other = self._draws(reading, since)
        if other is None:
            return None
        volts = other.volts if other.volts is not None else since.volts
        self._by_amps = self._by_amps or other.amps is not None
        amps = other.amps
        if amps is None and not self._by_amps and other.watts is not None and volts:
            amps = other.watts / volts
        if amps is not None and self._opens(other.time_ms, abs(amps)):
            self.opened_ms = other.time_ms
            return self._lost(reading, since)
        return other

    def _opens(self, at_ms: int, amps: float) -> bool:
        """What was planted last was held until now; does the likely one open on it?"""
        was_ms, was_a = self._last_ms, self._last_a
        self._last_ms, self._last_a = at_ms, amps
        if self._set is None or was_ms is None or at_ms <= was_ms:
            return False
        seconds, multiple = (at_ms - was_ms) / 1000.0, was_a / self._device.rating_a
        if seconds > self._gap_s:
            multiple = 0.0
        magnetic = self._device.magnetic
        if magnetic is not None and multiple >= (magnetic[0] + magnetic[1]) / 2.0:
            return True
        self._set.carry(seconds, multiple**2, None)
        heats = self._set.heats()
        return 2 * sum(heats[i] >= 1.0 for i in self._inner) > len(self._inner)
