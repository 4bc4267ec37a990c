"""Change points by other people and another program: change_points.json.

Run by `tests/run.sh --full`, which compares with the frozen file; `--write` freezes it. Three parts:

annotated   series that river carries with the change points that five people marked in them (the Turing Change Point Dataset,
            G. van den Burg and C. Williams, 2020), those two of its seven that stand in levels: a runner's pace, who was told
            when to run and when to walk, and the light of an office, which people switch. The other five (prices,
            passengers, employment) wander without levels; a load's draw does not. Beside them ruptures' optimal partition
            into as many parts: dynamic programming, exact, squares about each part's mean.
draws       the measured draws in appliances.json, cut by ruptures (PELT, exact, squares): a change must be worth three
            readings at a fifth of the greatest draw. `steps` are those where the draw stood before and stands after: the
            two readings to either side lie nearer together than half the change, which is a fifth of the greatest draw.
levels      invented: a fan of 35 W, nearly a third of it and about 9 W (common practice, no source) read every 2 s in steps of
            0.1 A with noise, when it was switched, and ruptures' optimal partition.

Licences: river BSD-3-Clause, ruptures BSD-2-Clause; the dataset MIT, its office light CC BY 4.0 (both from memory).
"""

from __future__ import annotations

import json
import sys
from importlib.metadata import version
from pathlib import Path
from random import Random

import numpy as np
import ruptures
from river.drift import datasets

HERE = Path(__file__).parent
SHARE, WORTH = 0.2, 3  # of the greatest draw; readings
VOLTS, STEP_A, NOISE_A = 12.8, 0.1, 0.06
SETTINGS_W = (0.0, 35.0, 11.7, 9.0, 35.0, 9.0, 11.7, 0.0)
EACH = 30  # readings a setting
SEEDS = range(12)


def optimal(values: list[float], changes: int) -> list[int]:
    found = ruptures.Dynp(model="l2", min_size=2, jump=1).fit(np.array(values)).predict(n_bkps=changes)
    return [int(n) for n in found[:-1]]


def annotated() -> list[dict[str, object]]:
    out: list[dict[str, object]] = []
    for name, unit, data, column, parts in (
        ("run_log", "pace, min/km", datasets.RunLog(), "Pace", 9),
        ("occupancy", "light, lx", datasets.Occupancy(), "V3", 9),
    ):
        values = [round(float(row[column]), 3) for _, row in data]
        marks = list(data.annotations.values())
        out.append({"name": name, "unit": unit, "annotators": marks, "optimal": optimal(values, parts - 1), "values": values})
    return out


def draws() -> list[dict[str, object]]:
    out: list[dict[str, object]] = []
    for draw in json.loads((HERE / "appliances.json").read_text())["draws"]:
        watts = draw["watts"]
        least = SHARE * max(watts)
        cut = ruptures.Pelt(model="l2", min_size=2, jump=1).fit(np.array(watts)).predict(pen=WORTH / 2 * least**2)
        changes = [int(n) for n in cut[:-1]]
        steps = []
        for n in changes:
            (a, b), (c, d) = watts[n - 2 : n], watts[n : n + 2]
            by = abs((a + b) / 2 - (c + d) / 2)
            if by >= least and max(abs(a - b), abs(c - d)) < by / 2:
                steps.append(n)
        out.append({"class": draw["class"], "trace": draw["trace"], "changes": changes, "steps": steps})
    return out


def levels() -> list[dict[str, object]]:
    out: list[dict[str, object]] = []
    for seed in SEEDS:
        chance = Random(seed)
        amps, truth = [], []
        for n, watts in enumerate(SETTINGS_W):
            truth += [len(amps)] if n else []
            amps += [round(round((watts / VOLTS + chance.gauss(0.0, NOISE_A)) / STEP_A) * STEP_A, 1) for _ in range(EACH)]
        out.append({"truth": truth, "optimal": optimal(amps, len(truth)), "amps": amps})
    return out


def main() -> int:
    made = {
        "made_by": {name: version(name) for name in ("river", "ruptures", "numpy")},
        "volts": VOLTS,
        "step_a": STEP_A,
        "annotated": annotated(),
        "draws": draws(),
        "levels": levels(),
    }
    path = HERE / "change_points.json"
    if "--write" in sys.argv:
        text = json.dumps(made, separators=(",", ":")).replace('{"name"', '\n{"name"').replace('{"class"', '\n{"class"')
        path.write_text(text.replace('{"truth"', '\n{"truth"') + "\n")
        return 0
    frozen = json.loads(path.read_text())
    same = all(made[key] == frozen[key] for key in ("annotated", "draws", "levels"))
    print(f"change_points.json: {'as frozen' if same else 'NOT as frozen'}")
    return 0 if same else 1


if __name__ == "__main__":
    sys.exit(main())
