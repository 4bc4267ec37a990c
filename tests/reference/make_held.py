"""Greatest rolling means and hour figures of a made-up series by pandas: `held_pandas.json`."""

from __future__ import annotations

import json
import random
from pathlib import Path

import pandas as pd

SEED, READINGS = 20_260_501, 4 * 3600
WINDOWS_S = (1, 2, 5, 10, 20, 30, 60, 120, 300, 600, 1200, 1800, 3600, 7200, 10800)


def main() -> None:
    rng = random.Random(SEED)
    amps = [round(max(0.0, rng.gauss(3.0, 2.0)), 4) for _ in range(READINGS)]
    series = pd.Series(amps, index=pd.date_range("2026-05-01T06:00", periods=READINGS, freq="s"))
    hours = series.resample("h").agg(["mean", "min", "max"])
    found = {
        "made_by": f"pandas {pd.__version__}: Series.rolling(n).mean().max(), resample('h')",
        "seed": SEED,
        "readings": READINGS,
        "greatest_rolling_mean": {str(n): float(series.rolling(n).mean().max()) for n in WINDOWS_S},
        "hours": [{name: float(row[name]) for name in ("mean", "min", "max")} for _, row in hours.iterrows()],
    }
    Path(__file__).with_name("held_pandas.json").write_text(json.dumps(found, indent=1) + "\n")


if __name__ == "__main__":
    main()
