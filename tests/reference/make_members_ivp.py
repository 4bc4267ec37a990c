"""Computes members_solve_ivp.json anew with scipy: when members of the set open, as an event of their equation of heat.

The event is found by the solver on dh/dt = share ((I / k In)^2 - h) / tau of both bodies, from cold and after a preload, not
by the closed form that the agent uses. Run by `tests/run.sh --full`, which compares with the frozen file; `--write` freezes it.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np
import scipy
from scipy.integrate import solve_ivp

from panelward.ratings.members import MEMBERS

HERE = Path(__file__).parent
CHOSEN = {  # of each type the rows by number: corners and points between
    "blade-fuse C": (0, 2, 8, 12),
    "blade-fuse E": (0, 3, 13),
    "bolt-fuse SF 30": (1, 11),
    "bolt-fuse SF 51": (3, 12),
    "breaker-c to 32 A": (0, 5),
    "breaker-b to 63 A": (3, 8),
    "breaker-thermal to 30 A": (2, 9),
    "glass-fuse to 30 A": (0, 9),
}
OVER = (1.02, 1.2, 2.0, 4.0)  # times the pickup
BEFORE = ((0.0, 0.0), (0.6, 300.0), (0.9, 60.0))  # times the pickup, seconds


def event_s(row: tuple[float, ...], multiple: float, before: float, before_s: float) -> float:
    """Seconds to heat 1 at `multiple` of the rating, after `before_s` at `before`."""
    pickup, share, element_s, holder_s = row[:4]
    taus, shares = np.array([element_s, holder_s]), np.array([1.0 - share, share])
    state = np.zeros(2)

    def slope(of: float):  # type: ignore[no-untyped-def]
        drive = (of / pickup) ** 2
        return lambda _t, x: (drive - x) / taus

    def opens(_t, x):  # type: ignore[no-untyped-def]
        return float(shares @ x) - 1.0

    opens.terminal = True  # type: ignore[attr-defined]
    opens.direction = 1.0  # type: ignore[attr-defined]
    if before_s > 0.0:
        state = solve_ivp(slope(before), (0.0, before_s), state, method="LSODA", rtol=1e-10, atol=1e-12).y[:, -1]
    solved = solve_ivp(
        slope(multiple), (0.0, 12.0 * holder_s), state, method="Radau", rtol=1e-9, atol=1e-12, events=opens
    )  # fmt: skip
    return float(solved.t_events[0][0])


def main() -> int:
    cases = []
    for name, numbers in CHOSEN.items():
        for number in numbers:
            row = MEMBERS[name][number]
            for before, before_s in BEFORE:
                for over in OVER:
                    at, then = round(over * row[0], 6), round(before * row[0], 6)
                    seconds = event_s(row, at, then, before_s)
                    cases.append({"type": name, "row": row[:4], "before": [then, before_s], "multiple": at, "opens_s": seconds})
    made = {"made_with": {"scipy": scipy.__version__, "numpy": np.__version__}, "cases": cases}
    path = HERE / "members_solve_ivp.json"
    if "--write" in sys.argv:
        path.write_text(json.dumps(made) + "\n")
        return 0
    frozen = json.loads(path.read_text())["cases"]
    if [case["row"] for case in frozen] != [list(case["row"]) for case in cases]:
        print("members: the set is another than when the values were frozen")
        return 1
    worst = max(abs(new["opens_s"] / old["opens_s"] - 1.0) for new, old in zip(cases, frozen, strict=True))
    print(f"members: {len(cases)} opening times, largest relative difference to the frozen values {worst:.2e}")
    return 0 if worst < 1e-4 else 1


if __name__ == "__main__":
    raise SystemExit(main())
