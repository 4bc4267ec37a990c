"""Computes thermal_solve_ivp.json anew with scipy: the heat of two-term bodies on stepped waveforms.

Run by `tests/run.sh --full`, which compares with the frozen file; `--write` freezes it.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np
import scipy
from scipy.integrate import solve_ivp

HERE = Path(__file__).parent
CASES = {
    "steady 1.35": [(1.35, 5.0)] * 12,
    "steady 2.0": [(2.0, 0.3)] * 10,
    "start and run": [(3.0, 0.8), (0.6, 30.0), (0.0, 60.0)] * 3,
    "hob pulses": [(1.8, 1.5), (0.0, 1.5)] * 10,
    "slow rise": [(0.1 * i, 20.0) for i in range(14)],
    "overload then rest": [(1.5, 40.0), (0.0, 300.0), (1.5, 40.0)],
}
BODIES = [(1.0005, ((0.98, 0.93), (0.02, 120.0))), (1.345, ((0.421, 1.173), (0.579, 72.6))), (1.4495, ((1.0, 150.0),))]


def main() -> int:
    cases = []
    for name, steps in CASES.items():
        for pickup, terms in BODIES:
            taus = np.array([tau for _, tau in terms])
            shares = np.array([share for share, _ in terms])
            state = np.zeros(len(terms))
            rows = []
            for multiple, dt_s in steps:
                drive = (multiple / pickup) ** 2
                solved = solve_ivp(
                    lambda _t, x, drive=drive, taus=taus: (drive - x) / taus,
                    (0.0, dt_s), state, method="LSODA", rtol=1e-9, atol=1e-12,
                )  # fmt: skip
                state = solved.y[:, -1]
                rows.append([multiple, dt_s, float(shares @ state)])
            cases.append({"name": name, "pickup": pickup, "terms": terms, "steps": rows})
    made = {"made_with": {"scipy": scipy.__version__, "numpy": np.__version__}, "cases": cases}
    path = HERE / "thermal_solve_ivp.json"
    if "--write" in sys.argv:
        path.write_text(json.dumps(made) + "\n")
        return 0
    frozen = json.loads(path.read_text())
    worst = 0.0
    for new, old in zip(cases, frozen["cases"], strict=True):
        for a, b in zip(new["steps"], old["steps"], strict=True):
            worst = max(worst, abs(a[2] - b[2]) / max(1e-6, abs(b[2])))
    print(f"thermal: {len(cases)} cases, largest relative difference to the frozen values {worst:.2e}")
    return 0 if worst < 1e-4 else 1


if __name__ == "__main__":
    raise SystemExit(main())
