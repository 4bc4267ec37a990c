"""A simulated year at a reading a minute and a month at one a second of 24 circuits: journal, tables, memory, bytes a day.

python -m pytest tests/benchmarks/test_bench_long.py -m benchmark -s      (an hour and more; a year and a month are also
`python tests/enduring/long.py --days 365 --period 60` and `… --days 30 --period 1 --keep 10`)
"""

from __future__ import annotations

from pathlib import Path

import pytest

from enduring.long import TABLES, Lived, Long


@pytest.mark.benchmark
@pytest.mark.parametrize(
    ("name", "wanted"),
    [
        ("a year at 60 s, kept 40 days", Long(days=365, period_s=60.0, commit_s=60.0, look_days=20.0)),
        ("a month at 1 s, kept 10 days", Long(days=30, period_s=1.0, keep_days=10.0, look_days=2.5)),
    ],
)
def test_long_life(tmp_path: Path, name: str, wanted: Long) -> None:
    sizes = Lived(wanted, tmp_path).run()
    settled = [size for size in sizes if size.day * wanted.look_days > wanted.keep_days + 1]
    print(f"\n{name}: {wanted.readings:,} readings of 24 circuits")
    for label, values in (
        ("journal MB", [size.file_mb for size in settled]),
        ("resident MB", [size.rss_mb for size in settled]),
        ("written MB a day", [size.written_mb_a_day for size in settled]),
        *((table, [float(size.rows[table]) for size in settled]) for table in TABLES),
    ):
        print(f"  {label:<17} first {values[0]:10.1f}  most {max(values):10.1f}  last {values[-1]:10.1f}  "
              f"last/first {values[-1] / values[0] if values[0] else 0:.2f}")  # fmt: skip
