"""What others make of the figures a review reckons: review.json.

intervals   Welch's t-test and its interval, Student's t, slopes of straight lines: SciPy
adjusted    a difference beside something else that it goes with: statsmodels' least squares
falses      Benjamini and Hochberg: statsmodels
quantiles   of a spread: NumPy
energy      Wh and duty of real household draws (appliances.json, 10 s apart, out of the data that sktime carries), by
            NumPy's trapezoids and by counting; some readings are taken out, which makes a gap

Run by `tests/run.sh --full`, which compares with the frozen file; `--write` freezes it.
"""

from __future__ import annotations

import json
import sys
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np
import statsmodels.api as sm
from scipy import integrate, stats
from statsmodels.stats.multitest import multipletests

HERE = Path(__file__).parent
SEED = 20_261_127
PERIOD_S = 10
OUT = (120, 150)  # readings that are taken out


def intervals(chance: np.random.Generator) -> list[dict[str, Any]]:
    found = []
    for n in range(40):
        before = chance.normal(10, chance.uniform(0.1, 3), chance.integers(2, 30))
        now = chance.normal(10 + chance.uniform(-2, 2), chance.uniform(0.1, 3), chance.integers(2, 30))
        if n % 7 == 0:
            now = np.round(now, 1)
        test = stats.ttest_ind(now, before, equal_var=False)
        low, high = test.confidence_interval(0.95)
        found.append({
            "before": before.tolist(), "now": now.tolist(), "low": float(low), "high": float(high), "p": float(test.pvalue),
        })  # fmt: skip
    return found


def adjusted(chance: np.random.Generator) -> list[dict[str, Any]]:
    found = []
    for _ in range(20):
        n, m = chance.integers(4, 20, 2)
        x = chance.normal(15, 6, n + m)
        group = np.repeat([0.0, 1.0], [n, m])
        y = 0.2 + 0.02 * x + chance.uniform(-0.1, 0.1) * group + chance.normal(0, 0.05, n + m)
        fit = sm.OLS(y, np.column_stack([np.ones(n + m), group, x - x.mean()])).fit()
        low, high = fit.conf_int(0.05)[1]
        found.append({
            "before": y[:n].tolist(), "now": y[n:].tolist(), "x_before": x[:n].tolist(), "x_now": x[n:].tolist(),
            "at": [float(fit.params[0]), float(fit.params[0] + fit.params[1])], "low": float(low), "high": float(high),
            "p": float(fit.pvalues[1]),
        })  # fmt: skip
    return found


def slopes(chance: np.random.Generator) -> list[dict[str, Any]]:
    found = []
    for _ in range(20):
        x = np.sort(chance.uniform(0, 60, chance.integers(3, 60)))
        y = chance.uniform(-1, 1) * x + chance.normal(0, 2, len(x))
        line = stats.linregress(x, y)
        half = float(stats.t.ppf(0.975, len(x) - 2)) * line.stderr
        found.append({
            "x": x.tolist(), "y": y.tolist(), "slope": float(line.slope), "low": float(line.slope - half),
            "high": float(line.slope + half), "at_end": float(line.intercept + line.slope * x.max()),
        })  # fmt: skip
    return found


def falses(chance: np.random.Generator) -> list[dict[str, Any]]:
    found = []
    for n in range(40):
        p = chance.uniform(0, 1, 60) ** (1 + n % 4)
        if n % 5 == 0:
            p = np.round(p, 1)  # some alike
        found.append({"p": p.tolist(), "told": multipletests(p, alpha=0.1, method="fdr_bh")[0].tolist()})
    return found


def energy() -> list[dict[str, Any]]:
    found = []
    for draw in json.loads((HERE / "appliances.json").read_text())["draws"]:
        watts = np.array(draw["watts"])
        time_s = np.arange(len(watts)) * PERIOD_S
        on_w = float(watts.min() + watts.max()) / 2
        kept = np.r_[0 : OUT[0], OUT[1] : len(watts)]
        halves = [kept[kept < OUT[0]], kept[kept >= OUT[1]]]
        found.append({
            "class": draw["class"], "trace": draw["trace"], "on_w": on_w,
            "wh": float(np.trapezoid(watts, time_s)) / 3600,
            "wh_scipy": float(integrate.trapezoid(watts, time_s)) / 3600,
            "duty": float((watts[:-1] > on_w).mean()),
            "wh_with_gap": sum(float(np.trapezoid(watts[h], time_s[h])) for h in halves) / 3600,
            "read_s_with_gap": float(sum((len(h) - 1) * PERIOD_S for h in halves)),
        })  # fmt: skip
    return found


def made() -> dict[str, Any]:
    chance = np.random.default_rng(SEED)
    spread = np.abs(chance.normal(3, 2, 5000)).round(2)
    return {
        "made_with": {name: version(name) for name in ("numpy", "scipy", "statsmodels")},
        "intervals": intervals(chance), "slopes": slopes(chance), "falses": falses(chance),
        "t": [[share, freedom, float(stats.t.ppf(share, freedom))] for freedom in (1, 1.7, 4, 12.3, 60, 400)
              for share in (0.6, 0.9, 0.975, 0.999)],
        "quantiles": {
            "values": spread.tolist(),
            "at": [[q, float(np.quantile(spread, q, method="inverted_cdf"))] for q in (0.05, 0.5, 0.95, 0.999)],
        },
        "energy": energy(), "adjusted": adjusted(np.random.default_rng(SEED + 1)),
    }  # fmt: skip


def _numbers(value: Any) -> list[float]:
    if isinstance(value, dict):
        return [x for key, each in value.items() if key != "made_with" for x in _numbers(each)]
    if isinstance(value, list):
        return [x for each in value for x in _numbers(each)]
    return [float(value)]


def main() -> int:
    path = HERE / "review.json"
    new = made()
    if "--write" in sys.argv:
        path.write_text(json.dumps(new) + "\n")
        return 0
    one, two = _numbers(json.loads(path.read_text())), _numbers(json.loads(json.dumps(new)))
    worst = max(abs(a - b) / max(1.0, abs(a)) for a, b in zip(one, two, strict=True))
    print(f"review.json: worst difference {worst:.1e}")
    return 0 if worst < 1e-9 else 1


if __name__ == "__main__":
    sys.exit(main())
