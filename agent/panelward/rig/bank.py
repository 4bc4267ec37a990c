"""The bank: open-circuit volts of its charge, a resistance, a slower one behind a capacity, a cut-off. Physics of its own."""

from __future__ import annotations

from math import exp

# Iron-phosphate cell at rest, volts by charge; four in series. From memory, +-0.03 V; flat in the middle on purpose.
_CELL_V = (
    (0.0, 2.50), (0.03, 2.80), (0.07, 2.95), (0.10, 3.05), (0.15, 3.14), (0.20, 3.20), (0.30, 3.25), (0.50, 3.29),
    (0.70, 3.32), (0.90, 3.35), (0.97, 3.37), (1.0, 3.42),
)  # fmt: skip
CELLS = 4
RESTORE_S = 30.0  # this long above its restoring volts before it closes again


class Bank:
    """State of charge 0 to 1; discharge current is positive."""

    def __init__(
        self, capacity_ah: float, charge: float, cutoff_v: float | None, cutoff_delay_s: float, restore_v: float | None = None
    ) -> None:
        self.capacity_ah, self.charge = capacity_ah, charge
        # The cells, and the cable and fuse between them and the panel: 7 mohm, so about 1.9 kA on a bolted fault there.
        self.cells_ohm, self.cable_ohm = 0.004, 0.003
        self.r0_ohm, self.r1_ohm, self.tau1_s = self.cells_ohm + self.cable_ohm, 0.003, 60.0
        self._v1 = 0.0
        self.cutoff_v, self._delay_s, self._under_s = cutoff_v, cutoff_delay_s, 0.0
        self.cut = False  # the low-voltage disconnect has opened
        self._restore_v, self._over_s = restore_v, 0.0
        self.cells_wh = 0.0  # taken from the cells
        self.out_wh = 0.0  # given to the bus
        self.heat_wh = 0.0  # turned to heat on the way, with what the slow resistance's capacity holds
        self.out_ah = 0.0

    def open_circuit_v(self) -> float:
        below = _CELL_V[0]
        for above in _CELL_V[1:]:
            if self.charge <= above[0]:
                share = (self.charge - below[0]) / (above[0] - below[0])
                return CELLS * (below[1] + share * (above[1] - below[1]))
            below = above
        return CELLS * _CELL_V[-1][1]

    def volts(self, amps: float) -> float:
        """Volts at the panel at a discharge current."""
        return max(0.0, self.open_circuit_v() - amps * self.r0_ohm - self._v1)

    def step(self, amps: float, dt_s: float) -> None:
        """Carry charge and volts on."""
        given_ah = amps * dt_s / 3600.0
        self.cells_wh += self.open_circuit_v() * given_ah
        self.out_wh += self.volts(amps) * given_ah
        self.heat_wh += (self._v1 + amps * self.r0_ohm) * given_ah
        self._v1 = amps * self.r1_ohm + (self._v1 - amps * self.r1_ohm) * exp(-dt_s / self.tau1_s)
        self.charge = min(1.0, max(0.0, self.charge - amps * dt_s / 3600.0 / self.capacity_ah))
        self.out_ah += amps * dt_s / 3600.0
        if self.cutoff_v is not None:
            self._under_s = self._under_s + dt_s if self.volts(amps) < self.cutoff_v else 0.0
            if self._under_s > self._delay_s:
                self.cut = True
        if self.cut and self._restore_v is not None:
            self._over_s = self._over_s + dt_s if self.volts(amps) >= self._restore_v else 0.0
            if self._over_s > RESTORE_S:
                self.cut, self._over_s = False, 0.0
