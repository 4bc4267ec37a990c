"""How much heat a compressor carries away, told from the lengths of its rests and runs alone.

    rest = K / load        run = K / (cooling - load)        so        cooling / K = 1 / rest + 1 / run

K is what its air and its thermostat's band hold. People, goods and weather change the load, and cancel; ice, lost charge and
blocked vents change the cooling, and do not (trade practice, section 8.6: duty = (UA (outside - inside) + use) / cooling).
What it is held against: the rhythm of the commissioning record where there is one, else its own first half-days. In warmth
a sound one carries less too: how warm it is shows in the rest itself, which shortens with the load, so no probe is needed.

A rest says as much: one that lasts far beyond those of late, though it can't have grown so cold around it, is none.
"""

from __future__ import annotations

from math import sqrt
from statistics import median
from typing import Any

from panelward.records import Commissioned

SPAN_MS = 12 * 3600_000  # what is judged together
PAIRS, PAIRS_HABIT, PAIRS_SPAN_MS = 4, 6, 6 * 3600_000  # at least so many rests with their runs, over so long
KEPT_PAIRS = 96
SHARE = 0.65  # of the pairs below it: an open door makes single ones short of cold, and hardly raises one
# A box takes 0.21 to 0.24 of its cooling less at twice the load, by weather: 1.2 % a kelvin at 18 K across its walls, 0.6 % at
# 40 K (computed from Carnot's share with 12 K of condensing over the air, and 0.8 % more watts a kelvin).
LESS_WITH_LOAD, LESS_MOST, MORE_MOST = 0.23, 0.7, 1.15
WEAK_RECORD, WEAK_HABIT = 0.86, 0.80  # of what it carried: sound ones stay above 0.94 (simulated)
SOUND = 0.92
RATIO = 1.15  # … and more of its time, else it is its contents that changed: they lengthen rests and runs alike
BLOCKS, BLOCKS_MOST = 3, 28  # half-days before its habit is one, and after which nothing more is learned
RECORDED_RUNS = 4
ENDLESS_MS, ENDLESS_TIMES, ENDLESS_CYCLES = 24 * 3600_000, 1.5, 12  # without a rest, where it used to rest
SLOPE = 0.016  # of duty per kelvin across its walls, as in `cooling`
COLDER_K_PER_H = 3.0  # no night falls faster for long (common practice, no source)
NIGHTS_MS = 3 * 86_400_000
STILL_TIMES, STILL_LEAST_MS = 1.5, 3600_000  # of the longest rest of late


class Balance:
    """One compressor's."""

    __slots__ = (
        "_block_ms", "_blocks", "_least_s", "_pairs", "_recorded", "_rest_s", "began_ms", "cycles", "longest_ms",
        "longest_rest_ms", "ratio", "sound_ms", "weak_ms",
    )  # fmt: skip

    def __init__(self, period_ms: int, commissioned: Commissioned | None) -> None:
        self._least_s = 2.0 * period_ms / 1000.0  # shorter ones are seen by luck
        self._recorded: tuple[float, float] | None = None
        if commissioned is not None and (commissioned.runs or 0) >= RECORDED_RUNS:
            run_s, idle_s = commissioned.run_s or 0.0, commissioned.idle_s or 0.0
            if min(run_s, idle_s) > self._least_s:
                self._recorded = 1.0 / run_s + 1.0 / idle_s, idle_s
        self._pairs: list[list[float]] = []  # run ended, seconds of the rest before it, of the run
        self._rest_s: float | None = None
        self._blocks: list[list[float]] = []  # cooling / K, rest in seconds: of half a day
        self._block_ms: int | None = None
        self.ratio: float | None = None  # cooling over what it should be
        self.weak_ms: int | None = None  # short of cold since
        self.sound_ms: int | None = None  # … and sound again since
        self.longest_ms = 0  # its longest run
        self.longest_rest_ms = 0  # … and rest
        self.began_ms: int | None = None
        self.cycles = 0

    def anchor(self) -> tuple[float, float, float] | None:
        """Cooling / K and rest of a sound one, and the share of it that is weak."""
        if self._recorded is not None:
            return *self._recorded, WEAK_RECORD
        if len(self._blocks) < BLOCKS:
            return None
        rest_s = median([row[1] for row in self._blocks])
        levels = sorted(row[0] / _with_load(rest_s / row[1]) for row in self._blocks)
        return levels[len(levels) // 4], rest_s, WEAK_HABIT

    def rested(self, length_ms: int, *, whole: bool, ordinary: bool) -> None:
        if ordinary:
            self.longest_rest_ms = max(self.longest_rest_ms, length_ms)
        self._rest_s = length_ms / 1000.0 if whole and length_ms >= 1000.0 * self._least_s else None

    def ran(self, length_ms: int, ended_ms: int, *, whole: bool, ordinary: bool) -> None:
        """A run is over."""
        rest_s, self._rest_s = self._rest_s, None
        if whole and rest_s is not None and length_ms >= 1000.0 * self._least_s:
            self._pairs = [*self._pairs[1 - KEPT_PAIRS :], [float(ended_ms), rest_s, length_ms / 1000.0]]
            self.cycles += 1
        self._pairs = [row for row in self._pairs if ended_ms - row[0] <= SPAN_MS]
        if ordinary:
            self.longest_ms = max(self.longest_ms, length_ms)
        self._weigh(ended_ms)
        self.began_ms = ended_ms if self.began_ms is None else self.began_ms
        if self._block_ms is None or ended_ms - self._block_ms > 2 * SPAN_MS:
            self._block_ms = ended_ms
        elif ended_ms - self._block_ms >= SPAN_MS:
            self._block_ms = ended_ms
            sound = self.ratio is None or self.ratio >= SOUND
            if ordinary and sound and self._enough() and len(self._blocks) < BLOCKS_MOST:
                coolings = sorted(1.0 / row[1] + 1.0 / row[2] for row in self._pairs)
                self._blocks.append([_at(coolings), median([row[1] for row in self._pairs])])

    def _enough(self) -> bool:
        return (
            len(self._pairs) >= (PAIRS if self.on_record else PAIRS_HABIT)
            and self._pairs[-1][0] - self._pairs[0][0] >= PAIRS_SPAN_MS
        )

    def _weigh(self, ended_ms: int) -> None:
        anchor = self.anchor()
        if anchor is None or not self._enough():
            return  # what hardly rests says nothing: what was known stands
        cooling, rest_s, weak = anchor
        self.ratio = _at(sorted((1.0 / row[1] + 1.0 / row[2]) / cooling / _with_load(rest_s / row[1]) for row in self._pairs))
        usual = (1.0 / rest_s) / max(1e-9, cooling - 1.0 / rest_s)  # its run over its rest
        more = median([row[2] / row[1] for row in self._pairs]) >= RATIO * usual
        if self.ratio < weak and more:
            self.weak_ms = self.weak_ms if self.weak_ms is not None else round(self._pairs[0][0])
        if self.ratio < SOUND:
            self.sound_ms = None
        elif self.sound_ms is None:
            self.sound_ms = ended_ms
        elif ended_ms - self.sound_ms >= SPAN_MS:
            self.weak_ms = None

    @property
    def on_record(self) -> bool:
        return self._recorded is not None

    def load(self) -> float | None:
        """Its load over that of its anchor, by the longest of its last rests: doors cut them short, nothing draws them out."""
        anchor = self.anchor()
        return anchor[1] / max(row[1] for row in self._pairs[-PAIRS:]) if anchor is not None and self._pairs else None

    def endless_ms(self) -> int | None:
        """A run beyond this has no place in its life; None: it never showed rests enough."""
        return max(ENDLESS_MS, round(ENDLESS_TIMES * self.longest_ms)) if self.cycles >= ENDLESS_CYCLES else None

    def usual_rest_ms(self) -> int:
        """The middle rest of late."""
        return round(1000.0 * median([row[1] for row in self._pairs])) if self._pairs else 0

    def still_ms(self, began_ms: int, *, at_night: bool) -> int | None:
        """A rest that began then and lasts longer than this is none, however it cools; None: that can't be told.

        `at_night`, and nobody knows how cold: people sleep and open nothing, the longest rest of some nights must be known.
        """
        rows = [row for row in self._pairs if began_ms - row[0] <= SPAN_MS]
        if len(rows) < PAIRS:
            return None
        across_k = min(row[2] / (row[1] + row[2]) for row in rows[-PAIRS:]) / SLOPE
        hours = max(STILL_TIMES * max(row[1] for row in rows) / 3600.0, STILL_LEAST_MS / 3600_000.0)
        falls = 1.0 - 2.0 * COLDER_K_PER_H * hours / across_k
        if falls <= 0.0:
            return None
        still_ms = round(3600_000.0 * across_k / COLDER_K_PER_H * (1.0 - sqrt(falls)))
        if not at_night:
            return still_ms
        known = self.began_ms is not None and began_ms - self.began_ms >= NIGHTS_MS
        return max(still_ms, round(STILL_TIMES * self.longest_rest_ms)) if known else None

    def gap(self) -> None:
        self._rest_s = None

    def save(self) -> dict[str, Any]:
        rows = {"pairs": [list(row) for row in self._pairs], "blocks": [list(row) for row in self._blocks]}
        return {name: getattr(self, name) for name in _KEPT} | rows

    def restore(self, kept: dict[str, Any]) -> None:
        self._pairs, self._blocks = [list(row) for row in kept["pairs"]], [list(row) for row in kept["blocks"]]
        for name in _KEPT:
            setattr(self, name, kept[name])


_KEPT = ("_rest_s", "_block_ms", "ratio", "weak_ms", "sound_ms", "longest_ms", "longest_rest_ms", "began_ms", "cycles")


def _at(ordered: list[float]) -> float:
    return ordered[round(SHARE * (len(ordered) - 1))]


def _with_load(times: float) -> float:
    """Of its cooling, what is left where it is warmer: so many times the load."""
    return min(MORE_MOST, max(LESS_MOST, 1.0 - LESS_WITH_LOAD * (times - 1.0)))
