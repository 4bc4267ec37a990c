"""Computes assignment_scipy.json anew with scipy.optimize.linear_sum_assignment: random and awkward cost matrices.

Run by `tests/run.sh --full`, which compares with the frozen file; `--write` freezes it.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np
import scipy
from scipy.optimize import linear_sum_assignment

HERE = Path(__file__).parent


def matrices() -> list[tuple[str, np.ndarray]]:
    chance = np.random.default_rng(70)
    found = []
    for n in (1, 2, 3, 5, 8, 13, 21, 40):
        found.append((f"uniform {n}", chance.uniform(0.0, 50.0, (n, n)).round(3)))
        found.append((f"few values {n}", chance.integers(0, 4, (n, n)).astype(float)))
        logs = -np.log(chance.uniform(1e-6, 1.0, (n, n)))
        found.append((f"diagonal, two swapped {n}", (logs - 20.0 * np.eye(n)[chance.permutation(n)]).round(3)))
    return found


def main() -> int:
    cases = []
    for name, cost in matrices():
        rows, columns = linear_sum_assignment(cost)
        cases.append(
            {"name": name, "cost": cost.tolist(), "columns": columns.tolist(), "sum": float(cost[rows, columns].sum())}
        )
    made = {"made_with": {"scipy": scipy.__version__, "numpy": np.__version__}, "cases": cases}
    path = HERE / "assignment_scipy.json"
    if "--write" in sys.argv:
        path.write_text(json.dumps(made) + "\n")
        return 0
    frozen = json.loads(path.read_text())
    worst = max(abs(new["sum"] - old["sum"]) for new, old in zip(cases, frozen["cases"], strict=True))
    print(f"assignment: {len(cases)} cases, largest difference of a sum to the frozen values {worst:.2e}")
    return 0 if worst < 1e-6 else 1


if __name__ == "__main__":
    raise SystemExit(main())
