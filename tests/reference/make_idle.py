"""Computes idle_survival.json anew with scipy: the predictive Student t of idle times, as seen and further on.

Run by `tests/run.sh --full`, which compares with the frozen file; `--write` freezes it. The predictive distribution of
one more normal value is Student's t with n - 1 degrees of freedom about the mean, with s sqrt(1 + 1/n) for its scale.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np
import scipy
from scipy import stats

HERE = Path(__file__).parent
FREEDOMS = (1, 2, 5, 19, 29, 63, 127)
ASKED_T = (-3.0, -0.5, 0.0, 0.3, 1.0, 2.5, 3.3, 5.0, 20.0)
ABOVE = (0.001, 0.0002)  # the watch's own, and a stricter one
MINUTES = {  # kind of law: minutes drawn by a fixed seed
    "log-normal": stats.lognorm(0.237, scale=24.3),
    "gamma": stats.gamma(17.4, scale=25 / 17.4),
    "weibull": stats.weibull_min(4.5, scale=27.4),
}


def main() -> int:
    tails = [[t, freedom, float(stats.t.sf(t, freedom))] for freedom in FREEDOMS for t in ASKED_T]
    quantiles = [[freedom, above, float(stats.t.isf(above, freedom))] for freedom in FREEDOMS for above in ABOVE]
    cases = []
    for seed, (name, law) in enumerate(MINUTES.items()):
        for n in (30, 64, 128):
            idle_s = [round(float(x) * 60) for x in law.rvs(size=n, random_state=np.random.default_rng(100 * seed + n))]
            logs = np.log(idle_s)
            scale = logs.std(ddof=1) * np.sqrt(1 + 1 / n)
            spread = stats.t(n - 1, loc=logs.mean(), scale=scale)
            for above in ABOVE:
                end_s = float(np.exp(spread.isf(above)))
                due_s = max(end_s, 1.25 * max(idle_s), 1.5 * max(idle_s[-3:]))
                asked = [
                    [round(m * due_s), float(spread.sf(np.log(round(m * due_s) * end_s / due_s)))]
                    for m in (0.2, 0.5, 0.9, 1.1, 2)
                ]
                cases.append({
                    "law": name, "above": above, "idle_s": idle_s, "due_s": due_s, "survival": asked,
                    "deviation": float(logs.std(ddof=1)), "skewness": float(stats.skew(logs)),
                })  # fmt: skip
    made = {
        "made_with": {"scipy": scipy.__version__, "numpy": np.__version__},
        "tails": tails, "quantiles": quantiles, "cases": cases,
    }  # fmt: skip
    path = HERE / "idle_survival.json"
    if "--write" in sys.argv:
        path.write_text(json.dumps(made) + "\n")
        return 0
    frozen = json.loads(path.read_text())
    pairs = [(a[-1], b[-1]) for key in ("tails", "quantiles") for a, b in zip(made[key], frozen[key], strict=True)]
    for new, old in zip(cases, frozen["cases"], strict=True):
        pairs += [(new["due_s"], old["due_s"])]
        pairs += [(a[1], b[1]) for a, b in zip(new["survival"], old["survival"], strict=True)]
    worst = max(abs(a - b) / abs(b) for a, b in pairs)
    print(f"idle: {len(pairs)} values, largest relative difference to the frozen values {worst:.2e}")
    return 0 if worst < 1e-9 else 1


if __name__ == "__main__":
    raise SystemExit(main())
