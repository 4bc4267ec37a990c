"""How river's streaming detectors do on labelled streams, at many settings of each: detectors.json.

Run by `tests/run.sh --full`, which compares with the frozen file; `--write` freezes it. ADWIN (Bifet and Gavalda 2007), Page-
Hinkley (Page 1954) and half-space trees (Tan, Ting and Liu 2011), the three that `river` documents for this.

days        the streams of tests/labelled.py: false alarms per 1000 quiet days, and the median delay in days of each move.
            Half-space trees see a value between -8 and 8 and remember 50.
readings    the runner's pace and the fan of change_points.json, and the fan with odd readings: false alarms (what is raised
            within five readings of an alarm is the same), labels found within ten readings, median delay in readings.
            Labelled are the marks of three of five people, and the switching. Values are scaled so that the most is 1;
            Page-Hinkley's settings are multiples of the median change between readings; half-space trees remember 20.

Each line: detector, its setting, figures. What of them is fair to compare is chosen in tests/watch/test_detectors.py.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterator
from importlib.metadata import version
from itertools import pairwise
from pathlib import Path
from statistics import median
from typing import Any

from river import anomaly, drift

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parent))

import labelled  # noqa: E402

WITHIN, SAME = 10, 5
ADWIN = [10.0**-n for n in (0.3, 0.5, 0.75, 1, 1.25, 1.5, 2, 2.5, 3, 4, 5, 6, 7, 8)]
HINKLEY = [
    (k, h) for k in (0.05, 0.25, 0.5, 0.75, 1, 2) for h in (2, 3, 3.5, 4, 4.5, 5, 6, 7, 8, 9, 10, 12, 15, 20, 30, 40, 60, 80)
]
TREES = [0.5 + 0.02 * n for n in range(25)] + [0.985, 0.99, 0.995, 0.999]


def adwin(delta: float, few: int = 5) -> Callable[[list[float]], list[int]]:
    def run(values: list[float]) -> list[int]:
        one = drift.ADWIN(delta=delta, clock=1, min_window_length=few, grace_period=2 * few)
        out = []
        for n, x in enumerate(values):
            one.update(x)
            if one.drift_detected:
                out.append(n)
        return out

    return run


def hinkley(delta: float, threshold: float, least: int = 30) -> Callable[[list[float]], list[int]]:
    def run(values: list[float]) -> list[int]:
        one = drift.PageHinkley(min_instances=least, delta=delta, threshold=threshold)
        out = []
        for n, x in enumerate(values):
            one.update(x)
            if one.drift_detected:
                out.append(n)
        return out

    return run


def scores(values: list[float], window: int, low: float, high: float) -> list[float]:
    trees = anomaly.HalfSpaceTrees(n_trees=10, height=8, window_size=window, limits={"x": (low, high)}, seed=6)
    out = []
    for x in values:
        row = {"x": x}
        out.append(trees.score_one(row))
        trees.learn_one(row)
    return out


def detectors(few: int, least: int, noise: float) -> Iterator[tuple[str, str, Callable[[list[float]], list[int]]]]:
    """What alarms by itself; the scores of the trees are cut below."""
    for delta in ADWIN:
        yield "ADWIN", f"delta {delta:.2g}", adwin(delta, few)
    for k, h in HINKLEY:
        yield "Page-Hinkley", f"delta {k} threshold {h}", hinkley(k * noise, h * noise, least)


def days() -> list[list[Any]]:
    quiet = labelled.quiet()
    moved = [labelled.moved(by, a_day) for _, by, a_day in labelled.MOVES]
    out: list[list[Any]] = []
    for name, setting, run in detectors(5, 30, 1.0):
        delays = [labelled.delay([run(x) for x in streams]) for streams in moved]
        out.append([name, setting, round(labelled.false_per_1000([run(x) for x in quiet]), 3), delays])
    seen = [[scores(x, 50, -8.0, 8.0) for x in streams] for streams in (quiet, *moved)]
    for cut in TREES:
        raised = [[[n for n, s in enumerate(x) if s > cut] for x in streams] for streams in seen]
        delays = [labelled.delay(r) for r in raised[1:]]
        out.append(["half-space trees", f"score {cut:.3g}", round(labelled.false_per_1000(raised[0]), 3), delays])
    return out


def counted(raised: list[list[int]], series: list[tuple[list[float], list[int]]]) -> list[float | None]:
    delays, false = [], 0
    for found, (_, labels) in zip(raised, series, strict=True):
        more, wrong = labelled.found(found, labels, WITHIN, SAME)
        delays, false = delays + more, false + wrong
    return [false, len(delays), median(delays) if delays else None]


def readings() -> dict[str, list[list[Any]]]:
    cut = json.loads((HERE / "change_points.json").read_text())
    fans = [(x["amps"], x["truth"]) for x in cut["levels"]]
    odd = [(labelled.with_odd_readings(amps, truth[0]), truth) for amps, truth in fans]
    runs: dict[str, list[tuple[list[float], list[int]]]] = {"fan": fans, "fan with odd readings": odd}
    for case in cut["annotated"]:
        if case["name"] == "run_log":
            marks = [n for people in case["annotators"] for n in people]
            runs[case["name"]] = [(case["values"], sorted({n for n in marks if marks.count(n) >= 3}))]
    out: dict[str, list[list[Any]]] = {}
    for name, series in runs.items():
        scaled = [([x / max(values) for x in values], labels) for values, labels in series]
        noise = median(abs(a - b) for values, _ in scaled for a, b in pairwise(values)) or 0.02
        lines = []
        for detector, setting, run in detectors(2, 2, noise):
            lines.append([detector, setting, *counted([run(values) for values, _ in scaled], scaled)])
        seen = [scores(values, 20, -0.1, 1.1) for values, _ in scaled]
        for least in TREES:
            raised = [[n for n, s in enumerate(x) if s > least] for x in seen]
            lines.append(["half-space trees", f"score {least:.3g}", *counted(raised, scaled)])
        out[name] = lines
    return out


def main() -> int:
    made = {"made_by": {"river": version("river")}, "days": days(), "readings": readings()}
    path = HERE / "detectors.json"
    if "--write" in sys.argv:
        path.write_text(json.dumps(made).replace('["', '\n["') + "\n")
        return 0
    frozen = json.loads(path.read_text())
    same = all(made[key] == frozen[key] for key in ("days", "readings"))
    print(f"detectors.json: {'as frozen' if same else 'NOT as frozen'}")
    return 0 if same else 1


if __name__ == "__main__":
    sys.exit(main())
