"""Computes tolerance_factors.json anew with scipy: two-sided tolerance factors of a normal population, and chi-square.

Run by `tests/run.sh --full`, which compares with the frozen file; `--write` freezes it. The condition is the exact one;
scipy gives the non-central and the chi-square distributions and the quadrature, none of which the program shares:
R solves P(ncx2(1, x^2) <= R^2) = share, the outer integral is adaptive, the root is Brent's.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np
import scipy
from scipy import integrate, optimize, stats

HERE = Path(__file__).parent
READINGS = (2, 3, 4, 5, 6, 8, 10, 15, 20, 30, 43, 50, 80, 100, 120, 200, 500, 1000)
KINDS = ((0.95, 0.95), (0.90, 0.99), (0.99, 0.95))  # share, confidence


def factor(n: int, share: float, confidence: float) -> float:
    def half_width(x: float) -> float:
        return float(np.sqrt(stats.ncx2.ppf(share, 1, x * x)) if x > 1e-9 else stats.norm.ppf((1 + share) / 2))

    def sure(k: float) -> float:
        def inner(z: float) -> float:
            return 2 * stats.norm.pdf(z) * stats.chi2.sf((n - 1) * half_width(z / np.sqrt(n)) ** 2 / k**2, n - 1)

        return float(integrate.quad(inner, 0, 8, epsabs=1e-11, epsrel=1e-11, limit=200)[0])

    return float(optimize.brentq(lambda k: sure(k) - confidence, 0.5, 300, xtol=1e-10))


def main() -> int:
    factors = [[n, share, confidence, factor(n, share, confidence)] for share, confidence in KINDS for n in READINGS]
    chi2 = [
        [share, freedom, float(stats.chi2.ppf(share, freedom))]
        for freedom in (1, 2, 5, 29, 42, 199, 4999)
        for share in (0.001, 0.01, 0.05, 0.5, 0.95)
    ]
    made = {"made_with": {"scipy": scipy.__version__, "numpy": np.__version__}, "factors": factors, "chi2": chi2}
    path = HERE / "tolerance_factors.json"
    if "--write" in sys.argv:
        path.write_text(json.dumps(made) + "\n")
        return 0
    frozen = json.loads(path.read_text())
    worst = max(
        abs(new[-1] / old[-1] - 1) for key in ("factors", "chi2") for new, old in zip(made[key], frozen[key], strict=True)
    )
    print(f"tolerance_factors.json: worst relative difference {worst:.1e}")
    return 0 if worst < 1e-6 else 1


if __name__ == "__main__":
    sys.exit(main())
